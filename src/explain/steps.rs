//! Causes that leave single edges and strips: the first full-width pass, changes of engagement, a change of cutter.

use super::digest::{ALIGNED_DEG, Digest, Fitness, Line, OBLIQUE_DEG, REAL, along_figure, off_axis};
use super::ladder::{self, ONE_LINE};
use super::place;
use super::weights::{Case, DECISIVE, FAIR, STRONG, Target, WEAK, ramp, size_gain};
use crate::expect::Cause;
use crate::expect::physics::strip_widths;
use crate::marks::Strip;
use crate::plan::{Helix, Material, Pattern};
use crate::units::line_difference;

/// Relative spread of a strip's width about its formula: edges are rounded and the first pass may swerve (common
/// practice, no source).
pub const WIDTH_SIGMA: f64 = 0.06;
/// Steps are even (one Z difference between two cutters) when their heights scatter by less than this share, and uneven
/// (load that follows engagement) above twice that.
const EVEN_SCATTER: f64 = 0.25;

/// Plans that name the wrong helix: one in twenty (common practice, no source). Anything else leaves strips high and low alike.
const HELIX_SLIP: f64 = 0.05;

/// Causes that show as edges.
pub const STEPPED: [Cause; 3] = [Cause::FullWidthFirstPass, Cause::EngagementSteps, Cause::CutterChangeStep];

/// Weighs an edge cause against edges and strips that no family explains.
pub fn weigh(d: &Digest, case: &mut Case) {
    presence(&d.fitness, d.loose.amount, case);
    if d.loose.amount <= 0.0 {
        return;
    }
    match case.cause {
        Cause::FullWidthFirstPass => first_pass(d, case),
        Cause::EngagementSteps => engagement(d, case),
        Cause::CutterChangeStep => cutter_change(d, case),
        _ => {}
    }
}

/// The strip that speaks most for a first pass at full width, with its weights and words.
fn best_strip(d: &Digest) -> Option<(usize, Vec<(f64, String)>)> {
    let of = |s: &Strip| {
        let (gain, words) = width_gain(d, s);
        // Two rings can lie as far apart as a stepover by chance.
        let figure = if d.is_wood() { along_figure(s.normal_deg, d.marks) } else { 0.0 };
        vec![(if gain > 0.0 { gain * (1.0 - figure) } else { gain }, words), side(d, s.proud), runs(d, s)]
    };
    let worth = |(i, s): &(usize, &Strip)| total(&of(s)) * d.marks.strips[*i].length.sqrt();
    loose_strips(d).into_iter().max_by(|a, b| worth(a).total_cmp(&worth(b))).map(|(i, s)| (i, of(s)))
}

fn total(notes: &[(f64, String)]) -> f64 {
    notes.iter().map(|q| q.0).sum()
}

/// A strip of its width, or single edges where the plan's first pass leaves them: whichever says more.
fn first_pass(d: &Digest, case: &mut Case) {
    let placed = place::weigh(d);
    let at_least = placed.as_ref().map_or(f64::NEG_INFINITY, |p| p.gain);
    match (best_strip(d), placed) {
        (Some((i, notes)), _) if total(&notes) >= at_least => {
            case.strips.push(i);
            notes.into_iter().for_each(|(nats, words)| case.add(nats, words));
        }
        (_, Some(p)) => case.add(p.gain, p.words),
        _ => case.add(-FAIR, "no strip with two edges was found, only single edges"),
    }
    if let Some(near) = d.loose.near_islands.filter(|n| *n > 0.5) {
        let words = format!("{:.0} percent of the edges lie close to letters or islands", 100.0 * near);
        case.add((0.5 - near) * 2.0 * FAIR, words);
    }
}

/// An edge with an edge of the other sign nearer than this share of a strip's width is the flank of a ridge, not the end of a
/// level: flanks of wide passes lie a tenth of the stepover apart.
const FLANKS: f64 = 0.25;

/// Whether a strip is the one along a wall: not even the better part of its own width lies between.
pub fn beside_wall(s: &Strip) -> bool {
    s.wall_distance.is_some_and(|w| w < 0.75 * s.width.value)
}

/// Strips between two level steps whose edges no family explains.
pub fn loose_strips<'a>(d: &'a Digest) -> Vec<(usize, &'a Strip)> {
    let loose = |i: usize| d.loose.indices.contains(&i);
    let singles = || d.loose.indices.iter().map(|i| &d.marks.edges[*i]);
    let step = |i: usize, width: f64| !ladder::is_ridge(&d.marks.edges[i], singles(), FLANKS * width);
    // Of a ladder of ridges the two flanks of one rung are no strip either.
    let rung = |s: &Strip| {
        d.ladder
            .as_ref()
            .is_some_and(|l| l.real > 0.5 && l.two_flanked > 0.5 && s.width.value < ONE_LINE * l.pitch.value)
    };
    // Where even passes run into a wall at an angle, the lap that is cut round the walls ends them.
    let lap = |s: &Strip| {
        let across =
            |l: &&Line| l.real > REAL && line_difference(l.family.normal_deg.value, s.normal_deg).abs() > OBLIQUE_DEG;
        beside_wall(s) && d.lines.iter().any(|l| across(&l))
    };
    d.marks
        .strips
        .iter()
        .enumerate()
        .filter(|(_, s)| loose(s.edges.0) && loose(s.edges.1) && !rung(s) && !lap(s))
        .filter(|(_, s)| step(s.edges.0, s.width.value) && step(s.edges.1, s.width.value))
        .collect()
}

fn presence(fitness: &Fitness, amount: f64, case: &mut Case) {
    if amount > 0.0 {
        case.add(-STRONG * (1.0 - amount), "few edges stand apart from the even lines");
    } else {
        case.add(-STRONG - WEAK * fitness.value, "no single edges or strips were found");
    }
}

/// Width of a strip against what a first full-width pass leaves, with words.
fn width_gain(d: &Digest, s: &Strip) -> (f64, String) {
    let (Some(dia), Some(step), true) = (d.plan.cutter.diameter_mm, d.plan.stepover_mm, d.scaled) else {
        return (0.0, format!("a {} strip {} wide", word(s.proud), d.show(s.width.value)));
    };
    let w = strip_widths(dia, step);
    let t = |at: f64, share: f64| Target { at, relative_sigma: WIDTH_SIGMA, share };
    let (targets, wanted): (Vec<Target>, f64) = if s.proud {
        let both = w.proud_both_sides_mm.map(|b| t(b, 0.2));
        (std::iter::once(t(w.proud_one_side_mm, 0.55)).chain(both).collect(), w.proud_one_side_mm)
    } else {
        (vec![t(w.deep_mm, 0.75)], w.deep_mm)
    };
    let gain = size_gain(s.width.value, s.width.relative_sigma().min(1.0), &targets);
    let words = format!(
        "a {} strip {} wide over {} of its length; a first pass at full width leaves {}",
        word(s.proud),
        d.show(s.width.value),
        d.show(s.length),
        d.show(wanted)
    );
    (gain.clamp(-FAIR, STRONG), words)
}

fn word(proud: bool) -> &'static str {
    if proud { "proud" } else { "deep" }
}

/// Raised or sunken against the helix: a down-cut is pushed up by its cut, an up-cut pulled in.
fn side(d: &Digest, proud: bool) -> (f64, String) {
    let usual = match d.plan.cutter.helix {
        Some(Helix::DownCut) => true,
        Some(Helix::UpCut) => false,
        _ => return (0.0, String::new()),
    };
    let cut = if usual {
        "a down-cut is pushed up and leaves its first pass high"
    } else {
        "an up-cut pulls in and leaves its first pass deep"
    };
    let seen = if proud { "stands proud" } else { "lies deep" };
    let gain = |share: f64| (share / 0.5).ln();
    if usual == proud {
        (gain(1.0 - HELIX_SLIP), format!("it {seen}, and {cut}"))
    } else {
        (gain(HELIX_SLIP), format!("it {seen}, but {cut}"))
    }
}

/// How far a strip and the wall beside it may stand out of line, degrees, one sigma: one machine cuts both, within a tenth;
/// the wall is found to 0.4 mm over 60, the strip to 0.1 over 40. Twice as much lets rings of figure in, half of it throws
/// out strips beside short walls.
const OUT_OF_LINE_DEG: f64 = 0.45;

/// Which way the strip runs: a pass of the plan runs along the planned passes, or along a wall.
fn runs(d: &Digest, s: &Strip) -> (f64, String) {
    let Some(x) = d.patch.pocket_x_deg else { return (0.0, String::new()) };
    let pocket_deg = s.normal_deg - x;
    let off_axis = off_axis(pocket_deg);
    let contour = d.plan.pattern == Some(Pattern::Contour);
    let pass = d.plan.pass_angle_deg.filter(|_| !contour).map(|p| line_difference(pocket_deg, p + 90.0).abs());
    let off = pass.map_or(off_axis, |p| p.min(off_axis));
    // In a photo that perspective still bends walls and passes differ by degrees.
    if off < ALIGNED_DEG && d.scaled {
        // Against lines that fell anywhere within the same few degrees.
        let chance = (2.0 * ALIGNED_DEG / (OUT_OF_LINE_DEG * std::f64::consts::TAU.sqrt())).ln();
        let nats = (chance - 0.5 * (off / OUT_OF_LINE_DEG).powi(2)).clamp(-STRONG, WEAK);
        let words = match nats > 0.0 {
            true => "it runs as the passes do, true to the walls".to_owned(),
            false => format!("it stands {off:.1} degrees off the walls and passes, which run true to one another"),
        };
        return (nats, words);
    }
    let (nats, words) = match pass {
        Some(off) if off < ALIGNED_DEG => (WEAK, "it runs as the plan's passes do"),
        // The first pass may be the one along the walls.
        Some(off) if off > OBLIQUE_DEG && off_axis > OBLIQUE_DEG => (-STRONG, "no pass of the plan runs that way"),
        None if off_axis > OBLIQUE_DEG && d.patch.islands.is_empty() => (-FAIR, "it runs along none of the walls"),
        _ => (0.0, ""),
    };
    (nats, words.to_owned())
}

fn engagement(d: &Digest, case: &mut Case) {
    match d.plan.pattern {
        Some(Pattern::Contour) => case.add(FAIR, "contour passes meet corners and slots at changing engagement"),
        Some(Pattern::Parallel) if d.patch.islands.is_empty() => {
            case.add(-FAIR, "parallel passes in a plain pocket keep their engagement")
        }
        _ => {}
    }
    if d.bent.steps > 0.0 && !d.patch.islands.is_empty() {
        let words = format!(
            "{} of lines that bend round letters, {:.0} percent of them dark: there the bite changes",
            d.show(d.bent.length),
            100.0 * d.bent.shade_share
        );
        case.add(WEAK * d.bent.steps, words);
    }
    if let Some(near) = d.loose.near_islands {
        case.add(
            (near - 0.5) * 2.0 * FAIR,
            format!(
                "{:.0} percent of the edges lie close to the letters or islands, where engagement changes",
                100.0 * near
            ),
        );
    }
    let strip = best_strip(d).map_or(f64::NEG_INFINITY, |s| total(&s.1));
    let first = place::weigh(d).map_or(strip, |p| p.gain.max(strip));
    if first > WEAK {
        case.add(-(first - WEAK).min(FAIR), "edges lie just where a first full-width pass leaves them");
    }
    if let Some(s) = d.loose.height_scatter {
        case.add(
            WEAK * (2.0 * ramp(s, EVEN_SCATTER, 2.0 * EVEN_SCATTER) - 1.0),
            format!("heights of the steps scatter by {:.0} percent", 100.0 * s),
        );
    }
}

fn cutter_change(d: &Digest, case: &mut Case) {
    if let Some(near) = d.loose.near_islands {
        case.add(
            (near - 0.5) * 2.0 * WEAK,
            format!("{:.0} percent of the edges lie close to letters or islands", 100.0 * near),
        );
    }
    if let Some(s) = d.loose.height_scatter {
        case.add(
            FAIR * (1.0 - 2.0 * ramp(s, EVEN_SCATTER, 2.0 * EVEN_SCATTER)),
            format!(
                "steps are all about {} high (scatter {:.0} percent)",
                d.units.show_height(d.loose.median_height_um.unwrap_or(0.0)),
                100.0 * s
            ),
        );
    }
}

/// Material and skim: what they do to every deflection cause.
pub fn deflection_conditions(d: &Digest, case: &mut Case) {
    if d.plan.material == Some(Material::Foam) {
        let words = "foam cuts with hardly any force: deflection leaves no visible step in it";
        // A drive with play alternates without any force.
        let play = case.cause == Cause::AlternatingPasses;
        case.add(if play { -FAIR } else { -DECISIVE }, words);
    }
    if let Some(k) = d.plan.skim_mm.filter(|k| *k < 0.6) {
        case.add(
            -FAIR,
            format!("the plan ends with a skim of {}, which removes steps of the roughing passes", d.units.show(k)),
        );
    }
}
