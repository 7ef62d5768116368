//! What to change, with numbers for this plan, and the cautions that stand with it.

use super::digest::{Digest, Line};
use super::{Change, Finding};
use crate::expect::Cause;
use crate::expect::cost;
use crate::expect::model::engage::Load;
use crate::expect::physics::{
    bull_nose_height_mm, cusp_height_mm, feed_per_tooth_mm, feed_per_turn_mm, shim_mm, stepover_for_bull_nose_mm,
    stepover_for_cusp_mm, tilt_for_dish_deg, tilt_for_saw_deg, vibration_hz,
};
use crate::marks::Strip;
use crate::plan::{Helix, Material, Shape, USUAL_SKIM_MM};
use crate::units::LengthUnit;

/// Cusp height that is not felt and hardly shows, mm: 0.0005 in, a usual target of fine finishing (common practice, no
/// source).
pub const FINE_CUSP_MM: f64 = 0.0127;
/// Relative change of spindle speed worth a first try against chatter (common practice, no source).
const SPEED_TRY: f64 = 0.15;

/// Lean of a spindle that counts as square for wood, mm per m (about 0.002 in over 8 in; common practice, no source).
const SQUARE_MM_PER_M: f64 = 0.25;

/// What a change acts on, and which way: two changes that pull one lever apart are never given together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Lever {
    #[default]
    Free,
    Skim,
    FirstPass,
    UpCut,
    DownCut,
    SlowerCorners,
    FasterCorners,
    SlowerFeed,
    SmallerStepover,
    WiderStepover,
    /// Leave everything as it is.
    Nothing,
}

impl Lever {
    fn against(self, other: Self) -> bool {
        use Lever::*;
        let apart = |a, b| (self, other) == (a, b) || (self, other) == (b, a);
        apart(UpCut, DownCut)
            || apart(SlowerCorners, FasterCorners)
            || apart(SmallerStepover, WiderStepover)
            || (self == Nothing) != (other == Nothing)
    }
}

/// Takes out every change that pulls against one of a more probable finding; `findings` are sorted, most probable first.
pub fn agree(findings: &mut [Finding]) {
    let mut kept: Vec<Lever> = vec![];
    for f in findings {
        f.changes.retain(|c| !kept.iter().any(|k| k.against(c.lever)));
        kept.extend(f.changes.iter().map(|c| c.lever));
    }
}

const SPINDLE: &str = "Switch the spindle off and unplug it, or lock it out, before touching cutter, collet or mount; cutting edges are sharp even when still.";
const RUNNING: &str = "Wear eye and ear protection and run dust extraction; wood dust harms the lungs, that of hardwood and MDF most. Keep hands away while the spindle turns.";
const MANUAL: &str = "The machine's and the cutter maker's manuals, local codes and licensed practice come first: these numbers are a starting point.";
const LAMP: &str = "Keep the lamp out of eye level and do not look into it; lamps and their housings get hot.";

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

fn range(u: LengthUnit, (a, b): (f64, f64)) -> String {
    match u {
        LengthUnit::Mm => format!("{a:.2} to {b:.2} mm"),
        LengthUnit::In => format!("{:.3} to {:.3} in", a / u.in_mm(), b / u.in_mm()),
    }
}

/// Thickness of the layer that formed the floor, mm: the cutting file's last one, else the planned depth up to half a
/// diameter, a usual layer (common practice, no source).
fn layer_mm(d: &Digest) -> Option<f64> {
    let file = d.plan.cutting_file.as_ref().and_then(|c| c.floor.as_ref()?.last_layer_mm);
    file.or(d.plan.skim_mm).or(Some(d.plan.depth_mm?.min(d.plan.cutter.diameter_mm? / 2.0)))
}

fn skim(d: &Digest, cause: Cause, height_um: Option<f64>) -> Option<Change> {
    let u = d.units;
    let have = d.plan.skim_mm;
    if have.is_some_and(|k| k >= 0.7 * USUAL_SKIM_MM.0 && k <= 1.3 * USUAL_SKIM_MM.1) {
        return None;
    }
    // A skim must be thicker than the steps it takes away.
    let least = height_um.map_or(0.0, |h| 1.5 * h / 1000.0).max(USUAL_SKIM_MM.0);
    let how = match cause {
        _ if least > USUAL_SKIM_MM.1 => format!(
            "two skims of {} over the whole floor: the steps are higher than one takes",
            u.show(USUAL_SKIM_MM.1)
        ),
        Cause::EngagementSteps => format!(
            "a skim of {} in straight passes one way over the whole floor: loops round corners and islands change their load again",
            range(u, (least, USUAL_SKIM_MM.1))
        ),
        Cause::AlternatingPasses => format!(
            "a skim of {} over the whole floor, at the same stepover, one way",
            range(u, (least, USUAL_SKIM_MM.1))
        ),
        _ => format!(
            "one skim of {} over the whole floor, at the same stepover and with the same passes",
            range(u, (least, USUAL_SKIM_MM.1))
        ),
    };
    let cost =
        cost::layer(d.plan).map_or("about the time of the floor's last layer once more".to_owned(), |l| l.more(1.0));
    let thin = (least + USUAL_SKIM_MM.1.max(least)) / 2.0;
    let effect = height_um.zip(layer_mm(d)).filter(|(_, t)| *t > 2.0 * thin).map(|(h, t)| {
        format!(
            "steps fall from {} to about {}: the force goes with the layer, {} in place of {}",
            u.show_height(h),
            u.show_height((h * thin / t).max(1.0)),
            u.show(thin),
            u.show(t)
        )
    });
    let change = change(
        "last pass over the floor",
        Some(have.map_or("no skim in the plan".to_owned(), |k| format!("a skim of {}", u.show(k)))),
        how,
        "a thin, even cut loads the cutter lightly and alike everywhere, so the level stays",
        Some(&cost),
    );
    Some(change.pulls(Lever::Skim).leaves(effect))
}

/// Share of a first pass's step that is left when its chip is `chip` times as thick (linear edge force model, ratios of
/// coefficients as in the forward model).
fn left_of_step(d: &Digest, chip: f64) -> f64 {
    let share = d.plan.stepover_mm.zip(d.plan.cutter.diameter_mm).map_or(0.4, |(s, dia)| (s / dia).min(0.95));
    let (slot, usual) = (Load::of_share(1.0), Load::of_share(share).axial());
    ((slot.axial_at(chip) - usual) / (slot.axial() - usual)).max(0.0)
}

fn first_pass(d: &Digest, height_um: Option<f64>) -> Change {
    let s = d.plan.stepover_mm.map_or("the planned stepover".to_owned(), |s| d.units.show(s));
    let left = left_of_step(d, 0.5);
    let effect = match height_um {
        Some(h) => format!(
            "at half the feed about {} of {} stay; from an open edge none",
            d.units.show_height(h * left),
            d.units.show_height(h)
        ),
        None => format!("at half the feed about {:.0} percent of the step stay; from an open edge none", 100.0 * left),
    };
    let long = d
        .plan
        .pocket_mm
        .map(|(w, h)| w.max(h))
        .zip(d.plan.feed_mm_min)
        .map(|(l, f)| format!("about {} more, by the pocket's length and the feed", cost::minutes(l / f)));
    change(
        "first pass",
        Some("at full width".into()),
        format!("ramp in along it at half the feed, or take it at {s} from an edge that is already open"),
        "a full-width cut carries 2.3 to 2.5 times the axial force of a 40 percent pass",
        Some(long.as_deref().unwrap_or("a few seconds")),
    )
    .pulls(Lever::FirstPass)
    .leaves(effect)
}

/// A change of helix, named with what it costs at the rim; left out where the plan's helix does not fit what is seen.
fn helix(d: &Digest, strip: Option<&Strip>) -> Option<Change> {
    let u = d.units;
    let wide = d.plan.cutter.diameter_mm.map_or("its full diameter".to_owned(), |v| u.show(v));
    let narrow = d.plan.stepover_mm.map_or("one stepover".to_owned(), |v| u.show(v));
    let (lever, effect, from, to, why, cost) = match d.plan.cutter.helix? {
        Helix::DownCut if strip.is_none_or(|s| s.proud) => (
            Lever::UpCut,
            format!(
                "the first pass lies as deep as it stood high, over {wide} in place of {narrow}; the skim matters more than the helix"
            ),
            "down-cut",
            "up-cut for the floor, after the rim was cut with the down-cut",
            "an up-cut lifts chips out and leaves a cleaner floor; its first pass then lies deep instead of high",
            "an up-cut frays the top edge and lifts the work: clamp it well",
        ),
        Helix::UpCut if strip.is_none_or(|s| !s.proud) => (
            Lever::DownCut,
            format!("what is left is at most {narrow} wide along the wall in place of {wide}"),
            "up-cut",
            "down-cut, whose high first pass the later passes cut away",
            "an up-cut pulls itself into the work; what lies deep is never recut",
            "a down-cut leaves a cleaner top edge, but packs its chips into the cut and runs hotter; the floor is less clean",
        ),
        _ => return None,
    };
    Some(change("helix", Some(from.into()), to.into(), why, Some(cost)).pulls(lever).leaves(effect))
}

fn corners(d: &Digest, height_um: Option<f64>) -> Change {
    let (least, most) = (left_of_step(d, 0.7), left_of_step(d, 0.5));
    let left = match height_um {
        Some(h) => format!(
            "{} to {} of {} stay",
            d.units.show_height(h * most),
            d.units.show_height(h * least),
            d.units.show_height(h)
        ),
        None => format!("{:.0} to {:.0} percent of the steps stay", 100.0 * most, 100.0 * least),
    };
    change(
        "feed in corners and slots",
        None,
        "30 to 50 percent less where the cutter is more than half in the wood".into(),
        "force follows engagement; less feed there keeps the level",
        Some("some seconds in every corner"),
    )
    .pulls(Lever::SlowerCorners)
    .leaves(format!("about {left}"))
}

fn one_way(d: &Digest) -> Change {
    let from = d.plan.both_ways.filter(|b| *b).map(|_| "both ways".to_owned());
    let cost = cost::layer(d.plan)
        .map_or("up to twice the time of that layer, for the empty ways back".to_owned(), |l| {
            format!("up to {}, for the empty ways back at the feed; rapid moves take less", l.more(1.0))
        });
    change(
        "direction of the last layer",
        from,
        "one way only (climb)".into(),
        "the side force then always bends the bit the same way, so neighbouring passes agree",
        Some(&cost),
    )
    .leaves("lines two stepovers apart go; a lower, even saw one stepover apart may stay".to_owned())
}

fn stick_out() -> Change {
    change(
        "stick-out of the bit",
        None,
        "as short as the pocket's depth allows, or a thicker shank".into(),
        "bending goes with the cube of the free length, its lean with the square",
        None,
    )
    .leaves("a fifth shorter leaves two thirds of the ridges (0.8 squared)".to_owned())
}

/// A slope as a person sets it: per 100 mm and per 4 in.
fn slope_words(slope: f64) -> String {
    format!("{:.2} mm per 100 mm ({:.3} in per 4 in)", 100.0 * slope, 4.0 * slope)
}

/// Which way the spindle's top leans, from the light and the sign of the lines: a saw whose thin lines are dark steps
/// down going away from the lamp, so each pass rises that way and the spindle's top leans towards the lamp.
fn leans_to(d: &Digest, line: &Line) -> Option<&'static str> {
    d.patch.light.from_deg?;
    match line.family.skew {
        k if k < -0.5 => Some("its top leans towards the side that the lamp stood on"),
        k if k > 0.5 => Some("its top leans away from the side that the lamp stood on"),
        _ => None,
    }
}

fn square_up(d: &Digest, cause: Cause, line: Option<&Line>) -> Vec<Change> {
    let u = d.units;
    let mut out = vec![];
    let across = cause == Cause::TiltAcrossPasses;
    let way = if across { "across" } else { "along" };
    let measured = line.filter(|_| d.scaled).and_then(|l| Some((l.family.height_um?.value, l.family.pitch.value)));
    let needed = measured.and_then(|(h, p)| match cause {
        Cause::TiltAcrossPasses => Some(tilt_for_saw_deg(h / 1000.0, p)),
        _ => tilt_for_dish_deg(d.plan.cutter.diameter_mm?, p, h / 1000.0),
    });
    let to = match needed {
        Some(deg) => {
            let slope = deg.to_radians().tan();
            let shim = d.plan.machine.mount_bolt_spacing_mm.map_or(String::new(), |b| {
                format!(
                    "; a shim of {} under one row of its bolts, which are {} apart",
                    u.show(shim_mm(slope, b)),
                    u.show(b)
                )
            });
            let side = line
                .filter(|_| across)
                .and_then(|l| leans_to(d, l))
                .map_or(String::new(), |s| format!("; {s}, so move it back from there"));
            format!("square it {way} the passes by about {deg:.2} degrees, {}{shim}{side}", slope_words(slope))
        }
        None => format!("square it {way} the passes, with a dial on an arm in the spindle swept over the table"),
    };
    let left = measured.zip(d.plan.stepover_mm).and_then(|((h, _), s)| {
        let square = SQUARE_MM_PER_M / 1000.0;
        // The last place that heights are shown to.
        let least = if u == LengthUnit::In { 2.54 } else { 1.0 };
        let rest = match cause {
            Cause::TiltAcrossPasses => s * square,
            _ => cusp_height_mm(d.plan.cutter.diameter_mm? / 2.0, s)? * square,
        };
        Some(format!(
            "ridges fall from {} to under {} at the usual {SQUARE_MM_PER_M} mm per m",
            u.show_height(h),
            u.show_height((1000.0 * rest).ceil().max(least))
        ))
    });
    out.push(
        change(
            "spindle mount",
            None,
            to,
            "a spindle that stands square leaves no ridges with a flat cutter, whatever the stepover",
            Some("an hour once; check that nothing is loose first, a lean this large is rarely an adjustment"),
        )
        .leaves(left),
    );
    if across {
        out.push(stick_out());
    } else if let Some(s) = d.plan.stepover_mm {
        let left =
            measured.map(|(h, _)| format!("ridges fall from {} to about {}", u.show_height(h), u.show_height(h / 4.0)));
        let cost = cost::layer(d.plan).map_or("twice the time of the last layer".to_owned(), |l| l.more(1.0));
        out.push(
            change(
                "stepover",
                Some(u.show(s)),
                format!("{} until the spindle is square", u.show(s / 2.0)),
                "the ridges of a dished pass fall with the square of the stepover: half of it leaves a quarter",
                Some(&cost),
            )
            .pulls(Lever::SmallerStepover)
            .leaves(left),
        );
    }
    out
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
        let now = match (d.plan.cutter.shape, d.plan.cutter.corner_radius_mm) {
            (Some(Shape::BullNose), Some(r)) => bull_nose_height_mm(dia, r, s),
            _ => cusp_height_mm(dia / 2.0, s),
        };
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

fn slower_feed(d: &Digest, why: &str) -> Change {
    let from = d.plan.feed_mm_min.map(|f| format!("{} per minute", d.units.show(f)));
    let to = d
        .plan
        .feed_mm_min
        .map_or("two thirds of the feed".to_owned(), |f| format!("{} per minute", d.units.show(f * 2.0 / 3.0)));
    let cost = cost::layer(d.plan).map_or("half as much time again".to_owned(), |l| l.more(0.5));
    change("feed of the last layer", from, to, why, Some(&format!("{cost}; too slow a feed rubs and burns")))
        .pulls(Lever::SlowerFeed)
        .leaves("marks two thirds as far apart and less than half as high".to_owned())
}

fn turn(d: &Digest) -> Vec<Change> {
    let rates = d.plan.feed_mm_min.zip(d.plan.speed_rpm);
    let per_turn = rates.map(|(f, n)| feed_per_turn_mm(f, n));
    let tooth = rates.zip(d.plan.cutter.flutes.filter(|z| *z > 1)).map(|((f, n), z)| (feed_per_tooth_mm(f, n, z), z));
    let why = match (per_turn, tooth) {
        (Some(p), Some((t, _))) => format!(
            "marks {} apart come from one edge that cuts alone; that happens once the runout is near the feed per tooth, {}",
            d.units.show(p),
            d.units.show(t)
        ),
        (Some(p), None) => format!("marks {} apart come from one edge that cuts alone", d.units.show(p)),
        _ => "one edge then no longer cuts alone".to_owned(),
    };
    let left = tooth.map(|(t, z)| format!("marks {} apart and {} times lower", d.units.show(t), z * z));
    vec![
        change(
            "runout",
            None,
            "clean bit, collet and taper, turn the bit in the collet, measure with a dial: under 0.025 mm (0.001 in)"
                .into(),
            why,
            Some("ten minutes with a dial"),
        )
        .leaves(left),
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
