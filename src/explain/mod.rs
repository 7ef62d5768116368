//! Room 8: which causes the marks support, how strongly, what speaks against, and what to change.

use crate::caveat::Caveat;
use crate::expect::{Cause, Expected};
use crate::floor::Patch;
use crate::marks::Marks;
use crate::plan::PlannedCut;
use crate::rectify::FloorFrame;
use crate::units::Measured;
use serde::Serialize;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    DeflectionSteps,
    Scallops,
    Both,
    Other,
    NoneSeen,
    CannotTell,
}

/// One change with numbers.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    pub what: String,
    pub from: Option<String>,
    pub to: String,
    pub why: String,
    pub cost: Option<String>,
    /// Cautions that stand with this change (ids of the cautions registry text, spelled out).
    #[serde(skip)]
    pub cautions: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    pub id: Cause,
    pub probability: f64,
    pub summary: String,
    pub evidence: Vec<String>,
    pub against: Vec<String>,
    pub changes: Vec<Change>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PitchMatch {
    pub what: String,
    pub expected_mm: f64,
    pub pitch_mm: f64,
    pub sigmas: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Comparison {
    pub planned_stepover_mm: Option<f64>,
    pub nearest_pitch_mm: Option<f64>,
    pub ratio: Option<Measured>,
    pub deviation_sigmas: Option<f64>,
    pub matches: Vec<PitchMatch>,
}

/// Why the photo should be taken again, and how.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Retake {
    pub reasons: Vec<String>,
    pub advice: Vec<String>,
}

#[derive(Debug, Clone)]
pub struct Explanation {
    pub verdict: Verdict,
    /// Sorted, most probable first; probabilities sum to at most 1.
    pub findings: Vec<Finding>,
    pub comparison: Comparison,
    pub retake: Option<Retake>,
    /// One sentence a hobbyist understands.
    pub headline: String,
    /// The photo or test cut that would separate the leading causes best.
    pub would_settle: Option<String>,
}

/// Weighs the causes.
pub fn weigh(
    _frame: &FloorFrame,
    _patch: &Patch,
    _marks: &Marks,
    _plan: &PlannedCut,
    _expected: &Expected,
) -> (Explanation, Vec<Caveat>) {
    unimplemented!()
}
