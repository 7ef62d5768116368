//! Room 8: which causes the marks support, how strongly, what speaks against, and what to change.
//!
//! The marks are sorted once ([`digest`]), every cause is laid on the scales ([`cases`], from [`periodic`], [`steps`] and
//! [`absence`]), weights become probabilities and a verdict ([`verdict`]), and words and changes follow.

mod absence;
mod along;
mod bent;
mod cases;
mod changes;
mod digest;
pub mod findings;
mod ladder;
mod loose;
mod periodic;
mod place;
mod predicted;
mod prior;
mod rim;
pub mod settle;
mod shape;
mod slips;
mod steps;
#[cfg(test)]
mod tests;
mod verdict;
mod weights;
mod words;

pub use changes::{CAUTIONS, Lever};
pub use predicted::Predicted;
pub use words::sureness;

use digest::Digest;

use crate::caveat::Caveat;
use crate::expect::{Cause, Expected};
use crate::fit::{Fit, Grade};
use crate::floor::Patch;
use crate::marks::Marks;
use crate::plan::PlannedCut;
use crate::rectify::FloorFrame;
use crate::units::Measured;
use serde::Serialize;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Change {
    pub what: String,
    pub from: Option<String>,
    pub to: String,
    pub why: String,
    /// What it does to the ridges' height.
    pub effect: Option<String>,
    pub cost: Option<String>,
    /// Cautions that stand with this change (ids of the cautions registry text, spelled out).
    #[serde(skip)]
    pub cautions: Vec<String>,
    #[serde(skip)]
    pub lever: Lever,
}

#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Finding {
    pub id: Cause,
    pub probability: f64,
    pub summary: String,
    pub evidence: Vec<String>,
    pub against: Vec<String>,
    pub changes: Vec<Change>,
}

#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PitchMatch {
    pub what: String,
    pub expected_mm: f64,
    pub pitch_mm: f64,
    pub sigmas: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Default, schemars::JsonSchema)]
pub struct Comparison {
    pub planned_stepover_mm: Option<f64>,
    pub nearest_pitch_mm: Option<f64>,
    pub ratio: Option<Measured>,
    pub deviation_sigmas: Option<f64>,
    pub matches: Vec<PitchMatch>,
}

/// Marks along the passes that this photo could show.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Along {
    /// Resolution at the middle of the floor.
    pub px_per_mm: f64,
    /// Finest spacing that shows at this resolution and sharpness.
    pub finest_mm: f64,
    /// What the plan lets expect: feed per turn, feed per tooth.
    pub marks: Vec<AlongMark>,
}

/// One kind of marks along the passes.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct AlongMark {
    pub what: String,
    pub pitch_mm: f64,
    /// Resolution from which they would show in a photo as sharp as this one.
    pub px_per_mm_needed: f64,
    pub shows: bool,
    /// The spacing of lines that agrees with them; null where none does.
    pub found_mm: Option<f64>,
}

/// Why the photo should be taken again, and how.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
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
    /// `None` without a scale.
    pub along: Option<Along>,
    pub retake: Option<Retake>,
    /// One sentence a hobbyist understands.
    pub headline: String,
    /// The photo or test cut that would separate the leading causes best.
    pub would_settle: Option<String>,
    /// Where the planned passes give the floor marks of their own; `None` where the plan does not say.
    pub predicted: Option<Predicted>,
}

/// Findings under this probability are not listed.
const SHOWN: f64 = 0.02;
/// Findings from this probability on carry changes.
const ADVISED: f64 = 0.25;
/// Under this probability of the leading cause the report says what would settle it.
const OPEN: f64 = 0.8;

/// Weighs every cause by the marks and the plan; never fails.
///
/// Probabilities follow from weights of evidence: prior of the plan times the likelihood of families (pitch, direction,
/// profile, height), of loose edges and strips, of colour and flecks; tempered, capped, and with room for something
/// else. Caveats name slips of the plan that the marks give away.
pub fn weigh(
    frame: &FloorFrame,
    patch: &Patch,
    fit: &Fit,
    marks: &Marks,
    plan: &PlannedCut,
    expected: &Expected,
) -> (Explanation, Vec<Caveat>) {
    let d = Digest::new(frame, patch, fit, marks, plan, expected);
    let (cases, pair) = cases::all(&d);
    // Without a scale the pitch, and without the plan's straight walls the floor itself, is in doubt.
    let sure = d.scaled && (patch.pocket_x_deg.is_some() || plan.pocket_mm.is_none() || patch.outline_given);
    let ridges = if plan.skim_mm.is_some() { verdict::CAP } else { verdict::CAP_RIDGES };
    let (p, together) = verdict::probabilities(&cases, pair, sure, ridges);
    let verdict = verdict::verdict(&cases, &p, together);
    let mut order: Vec<usize> = (0..cases.len()).collect();
    order.sort_by(|a, b| p[*b].total_cmp(&p[*a]));
    let line_of = |i: usize| cases[i].family.and_then(|f| d.lines.iter().find(|l| l.index == f));
    let strip_of = |i: usize| cases[i].strips.first().and_then(|s| marks.strips.get(*s));
    let mut findings: Vec<Finding> = order
        .iter()
        .enumerate()
        .filter(|(rank, i)| *rank == 0 || p[**i] >= SHOWN)
        .map(|(rank, i)| {
            let (line, strip, cause) = (line_of(*i), strip_of(*i), cases[*i].cause);
            // Changes for what is likely only: advice on every remote cause would contradict itself.
            let told = rank == 0 || p[*i] >= ADVISED;
            Finding {
                id: cause,
                probability: p[*i],
                summary: words::summary(&d, cause, line, strip),
                evidence: cases[*i].evidence(),
                against: cases[*i].against(),
                changes: if told { changes::changes(&d, cause, line, strip) } else { vec![] },
            }
        })
        .collect();
    changes::agree(&mut findings);
    let (top, second) = (order[0], order[1]);
    let seen = words::seen(&d, cases[top].cause, line_of(top), strip_of(top));
    let headline = words::headline(&d, verdict, (cases[top].cause, p[top]), Some(cases[second].cause), seen);
    let open = p[top] < OPEN && verdict != Verdict::Both;
    let causes: Vec<(Cause, f64)> = order.iter().map(|i| (cases[*i].cause, p[*i])).collect();
    let settled = open.then(|| settle::settle(&causes, plan)).flatten();
    let comparison = slips::compare(&d);
    let middle = d.patch.view.to_floor(0.5 * patch.view.luma.width as f64, 0.5 * patch.view.luma.height as f64);
    let explanation = Explanation {
        verdict,
        findings,
        along: along::along(&d, frame.to_px.scale_at(middle), &comparison.matches),
        comparison,
        retake: retake(&d, fit.verdict(), verdict),
        headline,
        would_settle: settled,
        predicted: predicted::predicted(&d),
    };
    let slips = slips::slips(&d, cases[top].cause, line_of(top), strip_of(top));
    (explanation, slips)
}

/// When to take the photo again: it is not fit for use, it could not have shown ridges, or it does not decide.
fn retake(d: &Digest, fit: Grade, verdict: Verdict) -> Option<Retake> {
    let poor = d.fitness.value < 0.5 && absence::tool_marks(d) < 0.5;
    if fit < Grade::Retake && !poor && verdict != Verdict::CannotTell {
        return None;
    }
    let (mut reasons, mut advice): (Vec<String>, Vec<String>) = d.fitness.faults.iter().cloned().unzip();
    if reasons.is_empty() {
        reasons.push("the marks fit several causes alike".into());
        advice.push("take a second photo with the lamp on the opposite side".into());
    }
    advice.dedup();
    advice.extend(changes::photo_cautions());
    Some(Retake { reasons, advice })
}
