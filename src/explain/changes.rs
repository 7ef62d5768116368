//! What to change, with numbers for this plan, and the cautions that stand with it.

use super::Change;
use super::digest::{Digest, Line};
use crate::expect::Cause;
use crate::expect::physics::{
    feed_per_turn_mm, floor_minutes, shim_mm, stepover_for_bull_nose_mm, stepover_for_cusp_mm, tilt_for_dish_deg,
    tilt_for_saw_deg, vibration_hz,
};
use crate::marks::Strip;
use crate::plan::{Helix, Material, Shape, USUAL_SKIM_MM};
use crate::units::LengthUnit;

/// Cusp height that is not felt and hardly shows, mm: 0.0005 in, a usual target of fine finishing (common practice, no
/// source).
pub const FINE_CUSP_MM: f64 = 0.0127;
/// Relative change of spindle speed worth a first try against chatter (common practice, no source).
const SPEED_TRY: f64 = 0.15;

const SPINDLE: &str = "Switch the spindle off and unplug it, or lock it out, before touching cutter, collet or mount; cutting edges are sharp even when still.";
const RUNNING: &str = "Wear eye and ear protection and run dust extraction; wood dust harms the lungs, that of hardwood and MDF most. Keep hands away while the spindle turns.";
const MANUAL: &str = "The machine's and the cutter maker's manuals, local codes and licensed practice come first: these numbers are a starting point.";
const LAMP: &str = "Keep the lamp out of eye level and do not look into it; lamps and their housings get hot.";

fn change(what: &str, from: Option<String>, to: String, why: impl Into<String>, cost: Option<&str>) -> Change {
    let cautions = vec![SPINDLE.to_owned(), RUNNING.into(), MANUAL.into()];
    Change { what: what.into(), from, to, why: why.into(), cost: cost.map(str::to_owned), cautions }
}

/// Changes for one cause; `line` and `strip` are the marks that spoke for it.
pub fn changes(d: &Digest, cause: Cause, line: Option<&Line>, strip: Option<&Strip>) -> Vec<Change> {
    match cause {
        Cause::FullWidthFirstPass => vec![skim(d), Some(first_pass(d)), helix(d, strip)].into_iter().flatten().collect(),
        Cause::EngagementSteps => vec![skim(d), Some(corners())].into_iter().flatten().collect(),
        Cause::AlternatingPasses => vec![Some(one_way(d)), skim(d), Some(stick_out())].into_iter().flatten().collect(),
        Cause::TiltAcrossPasses | Cause::TiltAlongPasses => square_up(d, cause, line),
        Cause::Cusps => cusps(d),
        Cause::CutterChangeStep => vec![change(
            "Z of the second cutter",
            None,
            correction(d),
            "both cutters then leave one level",
            Some("a fresh Z measurement after every change of cutter"),
        )],
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
        Cause::TurnMarks => vec![change(
            "turns of the path",
            None,
            "round the corners of the path and let the machine keep its speed through them".into(),
            "a cutter that stands still rubs and burns",
            None,
        )],
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
        }],
        Cause::Clean | Cause::CannotTell => vec![],
    }
}

/// Cautions for taking the photo again.
pub fn photo_cautions() -> Vec<String> {
    vec![LAMP.into(), SPINDLE.into()]
}

fn range(u: LengthUnit, (a, b): (f64, f64)) -> String {
    match u {
        LengthUnit::Mm => format!("{a:.2} to {b:.2} mm"),
        LengthUnit::In => format!("{:.3} to {:.3} in", a / u.in_mm(), b / u.in_mm()),
    }
}

fn skim(d: &Digest) -> Option<Change> {
    let u = d.units;
    let have = d.plan.skim_mm;
    if have.is_some_and(|k| k >= 0.7 * USUAL_SKIM_MM.0 && k <= 1.3 * USUAL_SKIM_MM.1) {
        return None;
    }
    let minutes = match (d.plan.pocket_mm, d.plan.cutter.diameter_mm, d.plan.stepover_mm, d.plan.feed_mm_min) {
        (Some(p), Some(dia), Some(s), Some(f)) => {
            format!(
                "about {:.1} minutes more for this floor, twice the time of its last layer",
                floor_minutes(p, dia, s, f)
            )
        }
        _ => "about twice the time of the floor's last layer".into(),
    };
    Some(change(
        "last pass over the floor",
        Some(have.map_or("no skim in the plan".to_owned(), |k| format!("a skim of {}", u.show(k)))),
        format!("a skim of {} over the whole floor", range(u, USUAL_SKIM_MM)),
        "a thin, even cut loads the cutter lightly and alike everywhere, so the level stays",
        Some(&minutes),
    ))
}

fn first_pass(d: &Digest) -> Change {
    let s = d.plan.stepover_mm.map_or("the planned stepover".to_owned(), |s| d.units.show(s));
    change(
        "first pass",
        Some("at full width".into()),
        format!("ramp in along it at half the feed, or take it at {s} from an edge that is already open"),
        "a full-width cut carries 2.3 to 2.5 times the axial force of a 40 percent pass",
        Some("a few seconds"),
    )
}

/// A change of helix, named with what it costs at the rim; left out where the plan's helix does not fit what is seen.
fn helix(d: &Digest, strip: Option<&Strip>) -> Option<Change> {
    let (from, to, why, cost) = match d.plan.cutter.helix? {
        Helix::DownCut if strip.is_none_or(|s| s.proud) => (
            "down-cut",
            "up-cut for the floor, after the rim was cut with the down-cut",
            "an up-cut lifts chips out and leaves a cleaner floor; its first pass then lies deep instead of high",
            "an up-cut frays the top edge and lifts the work: clamp it well",
        ),
        Helix::UpCut if strip.is_none_or(|s| !s.proud) => (
            "up-cut",
            "down-cut, whose high first pass the later passes cut away",
            "an up-cut pulls itself into the work; what lies deep is never recut",
            "a down-cut packs its chips into the cut and runs hotter; the floor is less clean",
        ),
        _ => return None,
    };
    Some(change("helix", Some(from.into()), to.into(), why, Some(cost)))
}

fn corners() -> Change {
    change(
        "feed in corners and slots",
        None,
        "30 to 50 percent less where the cutter is more than half in the wood".into(),
        "force follows engagement; less feed there keeps the level",
        Some("some time in every corner"),
    )
}

fn one_way(d: &Digest) -> Change {
    let from = d.plan.both_ways.filter(|b| *b).map(|_| "both ways".to_owned());
    change(
        "direction of the last layer",
        from,
        "one way only (climb)".into(),
        "the side force then always bends the bit the same way, so neighbouring passes agree",
        Some("nearly twice the time of that layer, for the empty ways back"),
    )
}

fn stick_out() -> Change {
    change(
        "stick-out of the bit",
        None,
        "as short as the pocket's depth allows, or a thicker shank".into(),
        "bending goes with the cube of the free length: a fifth shorter is half the bend",
        None,
    )
}

fn square_up(d: &Digest, cause: Cause, line: Option<&Line>) -> Vec<Change> {
    let u = d.units;
    let mut out = vec![];
    let way = if cause == Cause::TiltAcrossPasses { "across" } else { "along" };
    let needed = line.filter(|_| d.scaled).and_then(|l| {
        let h = l.family.height_um?.value / 1000.0;
        match cause {
            Cause::TiltAcrossPasses => Some(tilt_for_saw_deg(h, l.family.pitch.value)),
            _ => tilt_for_dish_deg(d.plan.cutter.diameter_mm?, l.family.pitch.value, h),
        }
    });
    let to = match needed {
        Some(deg) => {
            let slope = deg.to_radians().tan();
            let shim = match d.plan.machine.mount_bolt_spacing_mm {
                Some(b) => format!("a shim of {} under one bolt row ({} apart)", u.show(shim_mm(slope, b)), u.show(b)),
                None => match u {
                    LengthUnit::Mm => format!("a shim of {:.2} mm per 100 mm between the mount's bolts", 100.0 * slope),
                    LengthUnit::In => format!("a shim of {:.4} in per inch between the mount's bolts", slope),
                },
            };
            format!("square it {way} the passes by about {deg:.2} degrees: {shim}")
        }
        None => format!("square it {way} the passes, with a dial on an arm in the spindle swept over the table"),
    };
    out.push(change(
        "spindle mount",
        None,
        to,
        "a spindle that stands square leaves no ridges with a flat cutter, whatever the stepover",
        Some("an hour once; check that nothing is loose first, a lean this large is rarely an adjustment"),
    ));
    if cause == Cause::TiltAcrossPasses {
        out.push(stick_out());
    } else if let Some(s) = d.plan.stepover_mm {
        out.push(change(
            "stepover",
            Some(u.show(s)),
            format!("{} until the spindle is square", u.show(s / 2.0)),
            "the ridges of a dished pass fall with the square of the stepover: half of it leaves a quarter",
            Some("twice the time"),
        ));
    }
    out
}

fn cusps(d: &Digest) -> Vec<Change> {
    let u = d.units;
    let (Some(dia), Some(s)) = (d.plan.cutter.diameter_mm, d.plan.stepover_mm) else {
        return vec![flat_cutter()];
    };
    let fine = match (d.plan.cutter.shape, d.plan.cutter.corner_radius_mm) {
        (Some(Shape::BallNose), _) => stepover_for_cusp_mm(dia / 2.0, FINE_CUSP_MM),
        (Some(Shape::BullNose), Some(r)) => stepover_for_bull_nose_mm(dia, r, FINE_CUSP_MM),
        _ => None,
    };
    let mut out = vec![];
    if let Some(fine) = fine.filter(|f| *f < s) {
        let cost = format!("{:.1} times the time of the floor", s / fine);
        out.push(change(
            "stepover",
            Some(u.show(s)),
            u.show(fine),
            format!("ridges fall to {}", u.show_height(1000.0 * FINE_CUSP_MM)),
            Some(&cost),
        ));
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

fn slower_feed(d: &Digest, why: &str) -> Change {
    let from = d.plan.feed_mm_min.map(|f| format!("{} per minute", d.units.show(f)));
    let to = d
        .plan
        .feed_mm_min
        .map_or("two thirds of the feed".to_owned(), |f| format!("{} per minute", d.units.show(f * 2.0 / 3.0)));
    change("feed of the last layer", from, to, why, Some("half as much time again; too slow a feed rubs and burns"))
}

fn turn(d: &Digest) -> Vec<Change> {
    let per_turn = d.plan.feed_mm_min.zip(d.plan.speed_rpm).map(|(f, n)| d.units.show(feed_per_turn_mm(f, n)));
    let why = per_turn.map_or("one edge then no longer cuts alone".to_owned(), |p| {
        format!("marks {p} apart come from one edge that cuts alone")
    });
    vec![
        change(
            "runout",
            None,
            "clean bit, collet and taper, turn the bit in the collet, measure with a dial: under 0.025 mm (0.001 in)"
                .into(),
            why,
            None,
        ),
        slower_feed(d, "the marks come closer and get lower, with the square of the feed"),
    ]
}

fn chatter(d: &Digest, line: Option<&Line>) -> Vec<Change> {
    let hz = line.filter(|_| d.scaled).zip(d.plan.feed_mm_min).map(|(l, f)| vibration_hz(f, l.family.pitch.value));
    let why = hz.map_or("ripples follow one frequency of bit, mount or work".to_owned(), |f| {
        format!("at the planned feed these ripples are {f:.0} vibrations a second; another speed leaves that resonance")
    });
    let speed = d.plan.speed_rpm.map(|n| {
        change(
            "spindle speed",
            Some(format!("{n:.0} turns per minute")),
            format!("{:.0} or {:.0} turns per minute", n * (1.0 - SPEED_TRY), n * (1.0 + SPEED_TRY)),
            why.clone(),
            Some("a test cut; stay within the cutter maker's limit"),
        )
    });
    let clamp = change(
        "clamping and stick-out",
        None,
        "hold the work down close to the cut, shorten the bit's stick-out, check the spindle mount for play".into(),
        why,
        None,
    );
    let soft = d.plan.material == Some(Material::Plywood) || d.plan.material == Some(Material::Plastic);
    let flat = soft.then(|| {
        change(
            "support",
            None,
            "support thin stock over its whole area".into(),
            "a sheet that rings makes ripples too",
            None,
        )
    });
    speed.into_iter().chain([clamp]).chain(flat).collect()
}
