//! Room 7: what each cause would leave on this floor with this plan.

use crate::plan::PlannedCut;
use serde::Serialize;

/// Finding ids, frozen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, PartialOrd, Ord)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    FullWidthFirstPass,
    EngagementSteps,
    AlternatingPasses,
    TiltAcrossPasses,
    TiltAlongPasses,
    Cusps,
    CutterChangeStep,
    OncePerRevolution,
    OncePerTooth,
    Chatter,
    DrivePeriod,
    TurnMarks,
    WoodFigure,
    FuzzOrTear,
    Clean,
    CannotTell,
}

/// One line the plan lets us expect: a name for the reader, the pitch, and the cause(s) it speaks for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExpectedPitch {
    pub what: String,
    pub pitch_mm: f64,
    pub causes: Vec<Cause>,
    /// Direction across the lines in the pocket's frame, where the plan ties it down.
    pub normal_pocket_deg: Option<f64>,
}

/// What to look for.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Expected {
    pub pitches: Vec<ExpectedPitch>,
}

/// Expectations from the plan.
pub fn expected(_plan: &PlannedCut) -> Expected {
    Expected::default()
}
