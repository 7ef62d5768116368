//! What to change, with numbers for this plan, and the cautions that stand with it.

mod feed;
mod lean;
mod lever;
mod steps;

pub use lever::{Lever, agree};

use super::Change;
use super::digest::{Digest, Line};
use crate::expect::cost;
use crate::expect::physics::{stepover_for_bull_nose_mm, stepover_for_cusp_mm};
use crate::expect::{Cause, planned_cusp_mm};
use crate::marks::Strip;
use crate::plan::Shape;
use feed::{chatter, slower_feed, turn};
use lean::{one_way, square_up, stick_out};
use steps::{corners, first_pass, helix, skim};

/// Cusp height that is not felt and hardly shows, mm: 0.0005 in, a usual target of fine finishing (common practice, no
/// source).
pub const FINE_CUSP_MM: f64 = 0.0127;

const SPINDLE: &str = "A spinning cutter takes fingers. Switch the spindle off, unplug it or lock it out, and wait until it stands still before you reach in, measure, or touch cutter, collet or mount; cutting edges are sharp even when still.";
const RUNNING: &str = "Wear eye and ear protection and run dust extraction, with a fitting mask; wood and board dust harms the lungs, that of hardwood and MDF most. Keep hands away while the spindle turns.";
const LAMP: &str = "A lamp at eye level dazzles and gets hot: point it at the work, do not look into it, keep it off dust and chips, and fasten its cable.";
const MANUAL: &str = "The machine's and the cutter maker's manuals, local codes and licensed practice come before anything said here; the numbers are a starting point. Change one thing at a time and try it on scrap.";

/// The usual cautions: those that stand with the changes that need them, together, as at the end of every page.
pub const CAUTIONS: [&str; 4] = [SPINDLE, RUNNING, LAMP, MANUAL];

fn change(what: &str, from: Option<String>, to: String, why: impl Into<String>, cost: Option<&str>) -> Change {
    let cautions = vec![SPINDLE.to_owned(), RUNNING.into(), MANUAL.into()];
    let (effect, lever) = (None, Lever::Free);
    Change { what: what.into(), from, to, why: why.into(), effect, cost: cost.map(str::to_owned), cautions, lever }
}

impl Change {
    fn pulls(self, lever: Lever) -> Self {
        Self { lever, ..self }
    }
    fn leaves(self, effect: impl Into<Option<String>>) -> Self {
        Self { effect: effect.into(), ..self }
    }
}

/// Changes for one cause, the most worthwhile first; `line` and `strip` are the marks that spoke for it.
pub fn changes(d: &Digest, cause: Cause, line: Option<&Line>, strip: Option<&Strip>) -> Vec<Change> {
    let height = line
        .and_then(|l| l.family.height_um)
        .or(strip.and_then(|s| s.level_um))
        .map(|h| h.value.abs())
        .or(d.loose.median_height_um)
        .filter(|_| d.scaled);
    let some = |all: Vec<Option<Change>>| all.into_iter().flatten().collect();
    match cause {
        Cause::FullWidthFirstPass => some(vec![skim(d, cause, height), Some(first_pass(d, height)), helix(d, strip)]),
        Cause::EngagementSteps => some(vec![skim(d, cause, height), Some(corners(d, height))]),
        Cause::AlternatingPasses => some(vec![Some(one_way(d)), skim(d, cause, height), Some(stick_out())]),
        Cause::TiltAcrossPasses | Cause::TiltAlongPasses => square_up(d, cause, line),
        Cause::Cusps => cusps(d, line),
        Cause::CutterChangeStep => vec![
            change(
                "Z of the second cutter",
                None,
                correction(d),
                "both cutters then leave one level",
                Some("a minute: a fresh Z measurement after every change of cutter"),
            )
            .leaves(height.map(|h| format!("the step of {} goes to what Z is measured to, 10 to 20 \u{b5}m by hand", d.units.show_height(h)))),
        ],
        Cause::OncePerRevolution => turn(d),
        Cause::OncePerTooth => vec![slower_feed(d, "every cutting edge's mark gets shorter and lower")],
        Cause::Chatter => chatter(d, line),
        Cause::DrivePeriod => vec![change(
            "drive of the axis that the bands cross",
            None,
            "clean it, check the screw for bend and its bearings and nut for play (or the belt's teeth and tension, the rack for chips)".into(),
            "the bands repeat at the drive's own pitch, so no stepover or feed removes them",
            Some("an hour at the machine; look first at which axis moves while the band forms"),
        )],
        Cause::TurnMarks => vec![
            change(
                "turns of the path",
                None,
                "round the corners of the path and let the machine keep its speed through them".into(),
                "a cutter that stands still rubs and burns",
                None,
            )
            .pulls(Lever::FasterCorners),
        ],
        Cause::FuzzOrTear => vec![
            change("cutter", None, "a sharp one, kept for finishing".into(), "a sharp edge cuts the fibre instead of tearing it", None),
            change(
                "direction",
                None,
                "take the last skim along the grain, as a climb cut".into(),
                "fibre is then pressed down where it is cut",
                Some("climb cuts pull the work: clamp it well"),
            ),
        ],
        Cause::WoodFigure => vec![Change {
            cautions: vec![],
            ..change(
                "nothing at the machine",
                None,
                "leave cutter and settings alone".into(),
                "the lines are the wood's own; light from the opposite side shows it: they stay as they are, ridges flip",
                None,
            )
            .pulls(Lever::Nothing)
        }],
        Cause::Clean | Cause::CannotTell => vec![],
    }
}

/// Cautions for taking the photo again.
pub fn photo_cautions() -> Vec<String> {
    vec![LAMP.into(), SPINDLE.into()]
}

/// The spacing that was measured counts, not the planned one, where the two differ.
fn cusps(d: &Digest, line: Option<&Line>) -> Vec<Change> {
    let u = d.units;
    let measured = line.filter(|_| d.scaled).map(|l| l.family.pitch.value);
    let (Some(dia), Some(s)) = (d.plan.cutter.diameter_mm, measured.or(d.plan.stepover_mm)) else {
        return vec![flat_cutter()];
    };
    let fine = match (d.plan.cutter.shape, d.plan.cutter.corner_radius_mm) {
        (Some(Shape::BallNose), _) => stepover_for_cusp_mm(dia / 2.0, FINE_CUSP_MM),
        (Some(Shape::BullNose), Some(r)) => stepover_for_bull_nose_mm(dia, r, FINE_CUSP_MM),
        _ => None,
    };
    let mut out = vec![];
    if let Some(fine) = fine.filter(|f| *f < s) {
        let times = format!("{:.1} times the time of that layer", s / fine);
        let cost = cost::layer(d.plan).map_or(times.clone(), |l| format!("{times}: {}", l.more(s / fine - 1.0)));
        let now = planned_cusp_mm(d.plan, s);
        out.push(
            change(
                "stepover",
                Some(u.show(s)),
                u.show(fine),
                "a cusp falls with the square of the stepover",
                Some(&cost),
            )
            .pulls(Lever::SmallerStepover)
            .leaves(now.map(|h| {
                format!("ridges fall from {} to {}", u.show_height(1000.0 * h), u.show_height(1000.0 * FINE_CUSP_MM))
            })),
        );
    }
    out.push(flat_cutter());
    out
}

fn flat_cutter() -> Change {
    change(
        "cutter for the floor",
        None,
        "a flat one for the last layer".into(),
        "a flat cutter leaves no cusps at any stepover below its diameter",
        Some("a change of cutter, and its Z measured again"),
    )
    .leaves("no cusps; a spindle out of square then shows as a saw".to_owned())
}

fn correction(d: &Digest) -> String {
    match d.loose.median_height_um {
        Some(h) => format!(
            "correct it by about {}: lower it where its area stands high, raise it where it lies deep",
            d.units.show_height(h)
        ),
        None => "measure it again with the first cutter's gauge, on the same spot".into(),
    }
}
