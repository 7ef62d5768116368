//! Causes that leave evenly spaced lines: pitch, direction, profile and height of each family against each of them.

use super::absence::cut_lines;
use super::digest::{ALIGNED_DEG, AXIS_SCALE_SIGMA, Digest, FEW_PASSES, Line, OBLIQUE_DEG, contrast};
use super::ladder::Ladder;
use super::shape::{self, Kind};
use super::weights::{Case, DECISIVE, FAIR, STRONG, Target, WEAK, between, ramp, size_gain};
use crate::expect::physics::{tilt_for_dish_deg, tilt_for_saw_deg};
use crate::expect::{Cause, PitchRole, planned_cusp_mm};
use crate::marks::Polarity;
use crate::plan::{Pattern, PlannedCut, Shape};
use crate::units::line_difference;

/// Spread of the real feed about the typed one, relative: routers hold their speed to a few per cent under load, and
/// the feed drops near turns (common practice, no source).
const FEED_SIGMA: f64 = 0.03;
/// Pitches that vibration of router bits leaves, mm: F/(60 f) for 1 to 6 m/min and 50 to 400 Hz is 0.04 to 2 mm; under
/// 0.15 mm a photo shows none, and mounts slower than that make up to 3 mm.
const CHATTER_MM: (f64, f64) = (0.15, 3.0);
/// Lean of a spindle or bit that leaves visible ridges, degrees: median and one-sigma of its logarithm. Trade limits
/// are near 0.01 degrees and leave nothing to see; loose mounts reach one degree (common practice, no source).
const LEAN_DEG: (f64, f64) = (0.5, 0.9);
/// A lean above this is not believed, degrees: the operator would see it by eye.
const LEAN_LIMIT_DEG: f64 = 2.5;

/// Leads of screws and pitches of belts that hobby machines are built with, mm: trapezoidal screws 2 to 10, ball screws 5 and
/// 10, tenths of an inch, toothed belts 2 and 3 (common practice, no source). They stand in for a plan that gives none.
const USUAL_LEADS_MM: [f64; 8] = [2.0, 2.54, 3.0, 4.0, 5.0, 5.08, 8.0, 10.0];

/// Causes that show as a family of lines.
pub const PERIODIC: [Cause; 8] = [
    Cause::TiltAcrossPasses,
    Cause::TiltAlongPasses,
    Cause::Cusps,
    Cause::AlternatingPasses,
    Cause::OncePerRevolution,
    Cause::OncePerTooth,
    Cause::Chatter,
    Cause::DrivePeriod,
];

/// Weighs a periodic cause against the families: the best one speaks for it.
pub fn weigh(d: &Digest, case: &mut Case) {
    let best = d
        .lines
        .iter()
        .map(|l| {
            let mut c = Case::new(case.cause, 1.0);
            one(d, l, &mut c);
            passed_over(d, l, &mut c);
            // A doubtful family speaks softly, whatever it says.
            (l, c.log_weight * l.real.sqrt() - STRONG * (1.0 - l.real), c)
        })
        .max_by(|a, b| a.1.total_cmp(&b.1));
    // Of the same lines a family of many says more than rungs one by one.
    let same = |s: &Ladder, l: &Line| {
        l.family.coherent_passes >= FEW_PASSES
            && line_difference(s.normal_deg, l.family.normal_deg.value).abs() < 2.0 * ALIGNED_DEG
            && s.pitch.value < 1.5 * l.family.pitch.value
    };
    let ladder = d.ladder.as_ref().filter(|s| s.real > 0.02 && !d.lines.iter().any(|l| l.real > 0.2 && same(s, l)));
    match (best, ladder) {
        (Some((l, weight, c)), _) if l.real > ladder.map_or(0.02, |s| s.real) => {
            case.family = Some(l.index);
            case.absorb(weight, c);
        }
        (_, Some(l)) => by_ladder(d, l, case),
        _ => case.add(-STRONG - WEAK * d.fitness.value, "no evenly spaced lines were found"),
    }
    if case.cause == Cause::Chatter {
        // Vibration takes up anew in every pass: its lines waver and lose their step, which a pass or a turn never does.
        let words = "lines along one direction that keep no even distance, in a material without figure";
        case.add(STRONG * cut_lines(d) * (1.0 - d.any_line()), words);
    }
}

/// Weight of few, wide passes: their spacing, their direction, and whether the lines have one flank or two.
fn by_ladder(d: &Digest, l: &Ladder, case: &mut Case) {
    let mut c = Case::new(case.cause, 1.0);
    let lines = format!("{} lines at even distances of {}", l.rungs, d.show(l.pitch.value));
    // Steps of passes that alternate may face either way, one by one or in pairs.
    let ridges = match case.cause {
        Cause::TiltAcrossPasses => -1.0,
        Cause::TiltAlongPasses | Cause::Cusps => 1.0,
        Cause::AlternatingPasses => 0.0,
        _ => return case.add(-STRONG, format!("{lines} stay unexplained")),
    };
    c.add(WEAK, lines);
    if d.scaled {
        let at =
            |role, share| d.expected.of(role).map(move |at| Target { at, relative_sigma: AXIS_SCALE_SIGMA, share });
        let targets: Vec<Target> = match case.cause {
            Cause::AlternatingPasses => at(PitchRole::Twice, 0.7).collect(),
            _ => at(PitchRole::Planned, 0.7).chain(at(PitchRole::Rounded, 0.07)).collect(),
        };
        if !targets.is_empty() {
            let gain = size_gain(l.pitch.value, l.pitch.relative_sigma(), &targets);
            let twice = if case.cause == Cause::AlternatingPasses { "twice " } else { "" };
            let is = if gain > 0.0 { "is" } else { "is not" };
            c.add(gain.clamp(-STRONG, STRONG), format!("their distance {is} {twice}the planned stepover"));
        }
    }
    if let (Some(x), Some(pass)) = (d.patch.pocket_x_deg, d.plan.pass_angle_deg) {
        let off = line_difference(l.normal_deg - x, pass + 90.0).abs();
        let (nats, words) = if off < 2.0 * ALIGNED_DEG { (WEAK, "along") } else { (-FAIR, "across") };
        c.add(nats, format!("they run {words} the planned passes"));
    }
    let words = format!("{:.0} percent of them have a dark and a lit flank, as ridges do", 100.0 * l.two_flanked);
    c.add(ridges * FAIR * (2.0 * l.two_flanked - 1.0), words);
    case.absorb(c.log_weight * l.real.sqrt() - STRONG * (1.0 - l.real), c);
}

/// Weight of one family for one cause.
fn one(d: &Digest, l: &Line, c: &mut Case) {
    if d.scaled {
        let (gain, words) = pitch(d, l, c.cause);
        c.add(gain, words);
    }
    let along_walls = l.family.along_walls.is_some();
    // Lines of a photo without scale fan out, bend and change their spacing as the camera sees them.
    let bent = d.scaled && !along_walls && (l.family.curved || d.fans_out(l));
    if along_walls {
        contour(d, c);
    } else if !bent || l.family.curved {
        direction(d, l, c);
    }
    profile(d, l, c);
    if !along_walls {
        edges(d, l, c);
    }
    height(d, l, c);
    if d.scaled && l.family.wandering {
        // Passes, drives and turns of the cutter keep their step; within a pass only the last may lose it to the next one.
        let words = "the lines keep their distance but lose their step from place to place";
        match c.cause {
            Cause::Chatter => c.add(FAIR, format!("{words}, as vibration does")),
            Cause::OncePerRevolution | Cause::OncePerTooth => c.add(0.0, words),
            _ => c.add(-FAIR, words),
        }
    }
    if bent {
        let words = "the lines are bent like arcs of the cutter";
        match c.cause {
            Cause::OncePerRevolution | Cause::OncePerTooth => c.add(FAIR, words),
            Cause::Chatter => c.add(0.0, words),
            _ => c.add(-FAIR, words),
        }
    }
}

/// Weight of the pitch, with words.
fn pitch(d: &Digest, l: &Line, cause: Cause) -> (f64, String) {
    let p = l.family.pitch.value;
    let at = |role: PitchRole, share: f64, sigma: f64| {
        let each = share / d.expected.of(role).count().max(1) as f64;
        d.expected.of(role).map(|at| Target { at, relative_sigma: sigma, share: each }).collect::<Vec<_>>()
    };
    let s = AXIS_SCALE_SIGMA;
    let targets: Vec<Target> = match cause {
        Cause::TiltAcrossPasses | Cause::TiltAlongPasses | Cause::Cusps => {
            [at(PitchRole::Planned, 0.7, s), at(PitchRole::Rounded, 0.14, s), at(PitchRole::Slip, 0.1, s)].concat()
        }
        Cause::AlternatingPasses => {
            let half = if l.family.alternation > 0.3 { at(PitchRole::Planned, 0.2, s) } else { vec![] };
            let rounded = at(PitchRole::Rounded, 0.1, s).into_iter().map(|t| Target { at: 2.0 * t.at, ..t }).collect();
            [at(PitchRole::Twice, 0.6, s), rounded, half].concat()
        }
        Cause::OncePerRevolution => at(PitchRole::Turn, 0.93, FEED_SIGMA),
        Cause::OncePerTooth => at(PitchRole::Tooth, 0.93, FEED_SIGMA),
        Cause::DrivePeriod if d.plan.machine.drive_pitch_mm().is_none() => {
            let share = 0.6 / USUAL_LEADS_MM.len() as f64;
            USUAL_LEADS_MM.map(|at| Target { at, relative_sigma: s, share }).to_vec()
        }
        Cause::DrivePeriod => at(PitchRole::Drive, 0.93, s),
        _ => vec![],
    };
    if cause == Cause::Chatter {
        let inside = p >= CHATTER_MM.0 && p <= CHATTER_MM.1;
        let words = format!(
            "a pitch of {} is {} what vibration of a router bit leaves",
            d.show(p),
            if inside { "within" } else { "outside" }
        );
        return (if inside { WEAK } else { -STRONG }, words);
    }
    if targets.is_empty() {
        // Nothing to hold the pitch against: neither for nor against where the plan is silent, but lines wider than a
        // turn's feed can be are no revolution marks.
        let fine = matches!(cause, Cause::OncePerRevolution | Cause::OncePerTooth);
        return if fine && p > 1.5 {
            (-STRONG, format!("a pitch of {} is too wide for a feed per turn", d.show(p)))
        } else {
            (0.0, String::new())
        };
    }
    let gain = size_gain(p, l.relative_sigma, &targets);
    let nearest = targets.iter().min_by(|a, b| (p / a.at).ln().abs().total_cmp(&(p / b.at).ln().abs()));
    let nearest = nearest.expect("targets is not empty").at;
    let what = d.expected.pitches.iter().find(|e| (e.pitch_mm / nearest - 1.0).abs() < 1e-9);
    let other = if cause == Cause::DrivePeriod { "usual lead of a screw" } else { "rounded stepover, twice" };
    let what = what.map_or(other, |e| e.what.as_str());
    let off = 100.0 * (p / nearest - 1.0);
    let words = if gain > 0.0 {
        format!("the pitch of {} agrees with the {what}, {} ({off:+.1} percent)", d.show(p), d.show(nearest))
    } else {
        format!("the pitch of {} is not the {what}, {} ({off:+.0} percent)", d.show(p), d.show(nearest))
    };
    (gain.clamp(-STRONG - WEAK, DECISIVE + WEAK), words)
}

/// Lines that follow the walls: contour passes do, marks across a pass and a drive's bands do not.
fn contour(d: &Digest, c: &mut Case) {
    let words = "the lines follow the walls";
    match (c.cause, d.plan.pattern) {
        (Cause::OncePerRevolution | Cause::OncePerTooth | Cause::DrivePeriod, _) => {
            c.add(-STRONG, format!("{words}, which these marks do not"));
        }
        (Cause::AlternatingPasses, _) => c.add(-FAIR, format!("{words}, and passes round a contour all run one way")),
        (Cause::Chatter, _) => c.add(-FAIR, format!("{words}, as passes do and vibration seldom does")),
        (_, Some(Pattern::Contour)) => c.add(STRONG, format!("{words}, as the plan's passes do")),
        (_, Some(Pattern::Parallel)) => c.add(-WEAK, format!("{words}, but the plan's passes are parallel")),
        (_, None) => c.add(FAIR, format!("{words}, as contour passes do")),
    }
}

/// Which way the lines of a cause run: across or along the passes, along an axis, or any way.
fn direction(d: &Digest, l: &Line, c: &mut Case) {
    let Some(off_axis) = l.off_axis() else { return };
    // Shares of probability against an even spread over 180 degrees; a hit fills 2 * ALIGNED_DEG of them.
    let hit = |share: f64, free: f64| (share * 90.0 / ALIGNED_DEG + free).ln();
    let contour = d.plan.pattern == Some(Pattern::Contour);
    let pass = d.plan.pass_angle_deg.filter(|_| !contour);
    let wanted = match c.cause {
        Cause::Chatter => {
            let gain = if off_axis < ALIGNED_DEG { hit(0.15, 0.7) } else { 0.7_f64.ln() };
            return c.add(gain * 0.5, format!("the lines stand {off_axis:.0} degrees off the pocket's sides"));
        }
        Cause::DrivePeriod => None,
        Cause::OncePerRevolution | Cause::OncePerTooth => pass,
        _ => pass.map(|p| p + 90.0),
    };
    let (gain, words) = match wanted.and_then(|w| l.off(w)) {
        Some(off) if off < ALIGNED_DEG => (hit(0.8, 0.07), "the lines run as the plan's passes let expect".to_owned()),
        Some(off) if off > 90.0 - ALIGNED_DEG => {
            (hit(0.08, 0.07), "the lines run a quarter turn from what the plan's passes let expect".to_owned())
        }
        None if off_axis < ALIGNED_DEG => (hit(0.4, 0.07), "the lines run along the pocket's sides".to_owned()),
        // Passes over the corner are the next usual choice.
        None if off_axis > 45.0 - ALIGNED_DEG && c.cause != Cause::DrivePeriod => {
            (hit(0.05, 0.07), "the lines run at half a right angle to the pocket's sides".to_owned())
        }
        Some(off) if off_axis > OBLIQUE_DEG => {
            (0.07_f64.ln(), format!("the lines stand {off:.0} degrees off what the plan's passes let expect"))
        }
        _ if off_axis > OBLIQUE_DEG => {
            (0.07_f64.ln(), format!("the lines stand {off_axis:.0} degrees off the pocket's sides"))
        }
        _ => (0.0, String::new()),
    };
    c.add(gain, words);
}

/// The folded profile against the shape that the cause leaves, and the alternation of passes.
fn profile(d: &Digest, l: &Line, c: &mut Case) {
    let f = l.family;
    let sigma = d.edge_blur / f.pitch.value;
    let shapes: Vec<Kind> = match c.cause {
        Cause::TiltAcrossPasses => vec![Kind::Saw],
        Cause::TiltAlongPasses => vec![Kind::Ridge { flat: 0.0 }],
        Cause::Cusps => cusp_flats(d.plan, f.pitch.value).into_iter().map(|flat| Kind::Ridge { flat }).collect(),
        // A screw's error within one turn has any shape; vibration is near to a sine.
        Cause::Chatter => vec![Kind::Wave],
        _ => vec![],
    };
    let like = |k: Kind| (shape::likeness(&f.folded, k, sigma), k);
    let [sharp, wide, narrow] = shape::RIDGE_FLATS.map(|flat| Kind::Ridge { flat });
    let all = [Kind::Saw, sharp, wide, narrow, Kind::Wave];
    let most = |v: &[Kind]| v.iter().map(|k| like(*k)).max_by(|a, b| a.0.total_cmp(&b.0));
    let Some(best) = most(&all) else { return };
    match most(&shapes) {
        Some(own) => {
            let nats = shape::weight(own.0, best.0);
            // The best shape of all is worth what an undecided one loses, so that shapes neither favour nor burden causes
            // that have none of their own.
            let words = if nats > -WEAK {
                format!("the profile over one spacing shows {} (likeness {:.2})", own.1.words(), own.0)
            } else {
                format!(
                    "the profile shows {} (likeness {:.2}), not {} ({:.2})",
                    best.1.words(),
                    best.0,
                    own.1.words(),
                    own.0
                )
            };
            c.add(nats + WEAK, words);
        }
        None => c.add(0.0, ""),
    }
    alternation(d, l, c);
}

/// Shares of the period that lie flat between the cusps of a round cutter.
fn cusp_flats(plan: &PlannedCut, pitch_mm: f64) -> Vec<f64> {
    match (plan.cutter.shape, plan.cutter.diameter_mm, plan.cutter.corner_radius_mm) {
        (Some(Shape::BullNose), Some(d), Some(r)) => vec![((d - 2.0 * r) / pitch_mm).clamp(0.0, 0.9)],
        (Some(Shape::BullNose) | None, _, _) => shape::RIDGE_FLATS.to_vec(),
        _ => vec![0.0],
    }
}

/// Rms share of odd harmonics from which lines a stepover apart differ; of a third of it there is nothing to them (ramp of a
/// floor's ends, a lamp nearer to one side).
const DIFFERS: f64 = 0.3;

/// Likeness to ridges of one kind from which lines at twice the stepover may be, and surely are, those of passes twice as wide: 54
/// made floors whose passes alternate reach 0.95, seven cut twice as wide as planned have 0.98; and by how much a wave is less like.
const RIDGES: (f64, f64) = (0.95, 0.975);
const TOLD: (f64, f64) = (0.02, 0.1);

fn alternation(d: &Digest, l: &Line, c: &mut Case) {
    let f = l.family;
    // At twice the stepover the family is the alternation itself; what alternates beneath it says nothing. But then its lines
    // must differ: what repeats after half of it is no alternation.
    let p = f.pitch.value;
    if d.scaled && d.expected.of(PitchRole::Twice).any(|at| (p / at - 1.0).abs() < 0.05) {
        let [first, second, third, fourth] = f.harmonics;
        let odd = first.hypot(third) / first.hypot(second).hypot(third).hypot(fourth).max(1e-12);
        if c.cause == Cause::AlternatingPasses {
            let words = format!("every second line is like the first: they differ by {:.0} percent", 100.0 * odd);
            c.add(-STRONG * ramp(odd, DIFFERS, DIFFERS / 3.0), words);
            let best = shape::ridge_likeness(&f.folded, d.edge_blur / p);
            // Under blur all shapes are waves.
            let told = ramp(best - shape::likeness(&f.folded, Kind::Wave, 0.0), TOLD.0, TOLD.1);
            let words = format!(
                "all lines are symmetric ridges of one kind (likeness {best:.2}), as passes twice as wide leave"
            );
            c.add(-DECISIVE * told * ramp(best, RIDGES.0, RIDGES.1), words);
        }
        return;
    }
    let noise = f.harmonic_noise.clamp(0.0, 1.0);
    let nats = between(f.alternation, (0.9, 0.45_f64.hypot(noise)), (0.05, 0.1_f64.hypot(noise)), STRONG);
    match c.cause {
        Cause::AlternatingPasses => {
            let words = format!(
                "every second line differs: {:.0} percent as strong as the lines themselves",
                100.0 * f.alternation
            );
            c.add(nats.max(-WEAK), words);
        }
        Cause::TiltAcrossPasses | Cause::TiltAlongPasses | Cause::Cusps if nats > 0.0 => {
            c.add(-nats, "every second line differs, which an even lean or a round cutter does not do");
        }
        _ => {}
    }
}

/// Edges along the family: an even lean leaves them all of one polarity, alternating passes and ridges do not.
fn edges(d: &Digest, l: &Line, c: &mut Case) {
    let Some(one) = one_sidedness(d, l) else { return };
    let words = format!("{:.0} percent of the edges along these lines step the same way", 100.0 * one);
    let gain = between(one, (0.95, 0.1), (0.6, 0.15), FAIR);
    match c.cause {
        Cause::TiltAcrossPasses => c.add(gain, words),
        Cause::AlternatingPasses => c.add(-gain, words),
        // Ridges have a flank to either side; that one of them was burnt out or in shadow says nothing.
        Cause::Cusps if gain < 0.0 => c.add(-gain, words),
        _ => {}
    }
}

/// Height against what the cause can physically leave.
fn height(d: &Digest, l: &Line, c: &mut Case) {
    let (Some(h), true) = (l.family.height_um, d.scaled) else { return };
    let (h_mm, p) = (h.value / 1000.0, l.family.pitch.value);
    if !(h_mm > 0.0) {
        return;
    }
    let tall = d.units.show_height(h.value);
    match c.cause {
        Cause::TiltAcrossPasses => lean(c, Some(tilt_for_saw_deg(h_mm, p)), &tall, "across"),
        Cause::TiltAlongPasses => {
            if let Some(dia) = d.plan.cutter.diameter_mm.filter(|dia| *dia >= p) {
                lean(c, tilt_for_dish_deg(dia, p, h_mm), &tall, "along");
            }
        }
        Cause::Cusps => {
            let Some(want) = planned_cusp_mm(d.plan, p) else { return };
            if want < 0.5e-3 {
                return c.add(-STRONG, format!("this cutter leaves no ridge at a stepover of {}", d.show(p)));
            }
            // Heights from one photo are good to a third; without a cusp they may be anything within a factor of four.
            let sigma = 0.35_f64.hypot(h.relative_sigma().min(1.0));
            let gain = between((h_mm / want).ln(), (0.0, sigma), (0.0, 1.4), FAIR);
            let wanted = d.units.show_height(1000.0 * want);
            let words = format!("ridges measure {tall} high, geometry of this cutter gives {wanted}");
            c.add(gain, words);
        }
        _ => {}
    }
}

fn lean(c: &mut Case, needed_deg: Option<f64>, tall: &str, way: &str) {
    match needed_deg {
        Some(deg) if deg <= LEAN_LIMIT_DEG => {
            let z = (deg / LEAN_DEG.0).ln() / LEAN_DEG.1;
            c.add(-0.5 * z * z, format!("ridges {tall} high need a lean of {deg:.2} degrees {way} the passes"));
        }
        _ => c.add(
            -STRONG,
            format!("ridges {tall} high would need a lean of more than {LEAN_LIMIT_DEG} degrees {way} the passes"),
        ),
    }
}

/// Weight per ln of the ratio of brightness changes: lines three times weaker than others are the main fault in one case
/// of fifteen; 1 would let faint by-marks win over plain ones, 4 would silence every second family.
const QUIETER: f64 = 2.5;

/// Weight against a cause that leaves a stronger family unexplained.
fn passed_over(d: &Digest, l: &Line, c: &mut Case) {
    let Some(top) = d.lines.first().filter(|t| t.index != l.index) else { return };
    let ratio = top.family.pitch.value / l.family.pitch.value;
    let whole = if ratio > 1.0 { ratio } else { 1.0 / ratio };
    let parallel = line_difference(top.family.normal_deg.value, l.family.normal_deg.value).abs() < 2.0 * ALIGNED_DEG;
    // Lines at a whole fraction or multiple belong to the same marks.
    if parallel && whole < 6.5 && (whole - whole.round()).abs() < 0.04 {
        return;
    }
    let louder = (top.real * contrast(top.family) / (l.real * contrast(l.family)).max(1e-9)).max(1.0).ln();
    c.add(
        -(QUIETER * louder).min(DECISIVE),
        format!("stronger lines at {} stay unexplained", d.show(top.family.pitch.value)),
    );
}

/// Edges along a family: share that is of the more frequent polarity, by length, where there are four or more.
pub fn one_sidedness(d: &Digest, l: &Line) -> Option<f64> {
    let along: Vec<_> = d
        .marks
        .edges
        .iter()
        .filter(|e| line_difference(e.normal_deg, l.family.normal_deg.value).abs() < ALIGNED_DEG)
        .collect();
    let total: f64 = along.iter().map(|e| e.length).sum();
    let shade: f64 = along.iter().filter(|e| e.polarity == Polarity::Shade).map(|e| e.length).sum();
    (along.len() >= 4 && total > 0.0).then(|| (shade / total).max(1.0 - shade / total))
}
