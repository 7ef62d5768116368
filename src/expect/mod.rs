//! Room 7: what each cause would leave on this floor with this plan: the closed forms ([`physics`]), the pitches that
//! follow from one plan ([`expected`]), and the floor itself, pass by pass ([`model`]).

pub mod cost;
pub mod forecast;
pub mod model;
pub mod physics;
mod pitches;

pub use pitches::{Slip, divisions, expected, planned_cusp_mm, slips, stepover_causes, stepover_past_flat};

use serde::{Deserialize, Serialize};

/// Finding ids, frozen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, PartialOrd, Ord, schemars::JsonSchema)]
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

/// Why a pitch is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PitchRole {
    /// The stepover as planned.
    Planned,
    /// The stepover rounded down so that passes divide the pocket evenly.
    Rounded,
    /// Twice the stepover: the period of passes that alternate.
    Twice,
    /// Feed per turn of the spindle.
    Turn,
    /// Feed per tooth.
    Tooth,
    /// Screw lead, belt or rack pitch.
    Drive,
    /// What a typical slip would have cut.
    Slip,
}

/// One line the plan lets us expect: a name for the reader, the pitch, and the cause(s) it speaks for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExpectedPitch {
    pub what: String,
    pub pitch_mm: f64,
    pub causes: Vec<Cause>,
    /// Direction across the lines in the pocket's frame, where the plan ties it down.
    pub normal_pocket_deg: Option<f64>,
    pub role: PitchRole,
}

/// What to look for.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Expected {
    pub pitches: Vec<ExpectedPitch>,
}

impl Expected {
    /// The pitches that are expected for one reason, mm.
    pub fn of(&self, role: PitchRole) -> impl Iterator<Item = f64> {
        self.pitches.iter().filter(move |p| p.role == role).map(|p| p.pitch_mm)
    }
}
