//! The pitch set against the plan, and slips of plan or machine that the difference gives away.

use super::digest::{AXIS_SCALE_SIGMA, Digest, Line};
use super::{Comparison, PitchMatch};
use crate::caveat::{self, Caveat};
use crate::expect::{Cause, PitchRole};
use crate::marks::Strip;
use crate::plan::Helix;
use crate::units::Measured;

/// A pitch agrees with an expected one within this many sigmas.
const AGREES_SIGMAS: f64 = 3.0;
/// Beyond this relative difference an unexplained pitch is another setting, not an axis that runs a little long or short.
const AXIS_SCALE_LIMIT: f64 = 0.04;
/// Usual cutter diameters, mm (1/8, 6, 1/4, 8, 3/8, 10, 12, 1/2 in, 20, 1 in; common practice, no source).
const USUAL_DIAMETERS_MM: [f64; 10] = [3.175, 6.0, 6.35, 8.0, 9.525, 10.0, 12.0, 12.7, 20.0, 25.4];
/// A rim ragged over more than this share does not fit a sharp down-cut.
const RAGGED: f64 = 0.3;

/// Sigma of a pitch against the plan: measurement, scale, and the axis.
fn sigma_mm(l: &Line) -> f64 {
    l.family.pitch.value * l.relative_sigma.hypot(AXIS_SCALE_SIGMA)
}

/// The families against every expected pitch.
pub fn compare(d: &Digest) -> Comparison {
    let planned = d.plan.stepover_mm;
    if !d.scaled {
        return Comparison { planned_stepover_mm: planned, ..Default::default() };
    }
    let solid: Vec<&Line> = d.lines.iter().filter(|l| l.real > 0.3).collect();
    let mut matches = vec![];
    for l in &solid {
        for e in &d.expected.pitches {
            let sigmas = (l.family.pitch.value - e.pitch_mm) / sigma_mm(l);
            if sigmas.abs() <= AGREES_SIGMAS {
                let what = e.what.clone();
                matches.push(PitchMatch { what, expected_mm: e.pitch_mm, pitch_mm: l.family.pitch.value, sigmas });
            }
        }
    }
    let nearest = planned.and_then(|s| {
        let off = |l: &&&Line| (l.family.pitch.value / s).ln().abs();
        solid.iter().min_by(|a, b| off(a).total_cmp(&off(b))).map(|l| (*l, s))
    });
    Comparison {
        planned_stepover_mm: planned,
        nearest_pitch_mm: nearest.map(|(l, _)| l.family.pitch.value),
        ratio: nearest.and_then(|(l, s)| {
            let r = l.family.pitch.value / s;
            Measured::new(r, r * l.relative_sigma)
        }),
        deviation_sigmas: nearest.map(|(l, s)| (l.family.pitch.value - s) / sigma_mm(l)),
        matches,
    }
}

/// Slips that the family of the leading cause gives away. `strip` is the strip that speaks for a first pass.
pub fn slips(d: &Digest, cause: Cause, line: Option<&Line>, strip: Option<&Strip>) -> Vec<Caveat> {
    let mut out = vec![];
    let ridges = matches!(cause, Cause::TiltAcrossPasses | Cause::TiltAlongPasses | Cause::Cusps);
    if let (Some(l), Some(s), true, true) = (line, d.plan.stepover_mm, d.scaled, ridges) {
        out.extend(stepover_slip(d, l, s));
    }
    if let (Some(s), Some(h)) = (strip, d.plan.cutter.helix) {
        let odd = matches!((h, s.proud), (Helix::DownCut, false) | (Helix::UpCut, true));
        // A deep strip along a wall may be the last pass round the wall, which any cutter leaves deeper than a slot.
        let by_wall = s.wall_distance.is_some_and(|w| w < 0.75 * s.width.value);
        if odd && !by_wall {
            let (plan, seen) = if s.proud { ("an up-cut", "proud") } else { ("a down-cut", "deep") };
            out.push(caveat::PLAN_SLIP_HELIX.with(format!(
                "The plan says {plan}, but the first pass stands {seen}: the other helix would do that."
            )));
        }
    }
    if let (Some(r), Some(Helix::DownCut)) = (d.marks.rim_ragged, d.plan.cutter.helix)
        && r.value - r.sigma > RAGGED
    {
        out.push(caveat::PLAN_SLIP_HELIX.with(format!(
            "The rim is ragged over {:.0} percent of its length; a sharp down-cut leaves a clean rim. The cutter is dull, or not a down-cut.",
            100.0 * r.value
        )));
    }
    out
}

fn stepover_slip(d: &Digest, l: &Line, s: f64) -> Option<Caveat> {
    let p = l.family.pitch.value;
    let agrees = |at: f64| (p - at).abs() <= AGREES_SIGMAS * sigma_mm(l);
    if agrees(s) {
        return None;
    }
    let (seen, planned) = (d.show(p), d.show(s));
    let of = |role: PitchRole| d.expected.pitches.iter().find(|e| e.role == role && agrees(e.pitch_mm));
    if of(PitchRole::Rounded).is_some() {
        return Some(caveat::STEPOVER_ROUNDED.with(format!(
            "The lines are {seen} apart, not {planned}: the stepover was rounded down so that whole passes fill the pocket."
        )));
    }
    if let Some(e) = of(PitchRole::Slip) {
        return Some(
            caveat::PLAN_SLIP_STEPOVER
                .with(format!("The lines are {seen} apart where the plan says {planned}: {}.", e.what)),
        );
    }
    let off = p / s - 1.0;
    if off.abs() < AXIS_SCALE_LIMIT {
        return Some(caveat::AXIS_SCALE.with(format!(
            "The lines are {seen} apart where the plan says {planned} ({:+.1} percent, {:+.1} sigma): the stepover was rounded, or the axis runs {}.",
            100.0 * off,
            (p - s) / sigma_mm(l),
            if off > 0.0 { "long" } else { "short" }
        )));
    }
    let share = d.plan.cutter.diameter_mm.map(|dia| s / dia);
    let other = share.and_then(|k| {
        USUAL_DIAMETERS_MM
            .into_iter()
            .find(|u| agrees(k * u) && d.plan.cutter.diameter_mm.is_some_and(|dia| (dia / u - 1.0).abs() > 0.02))
    });
    let guess = match (other, share) {
        (Some(u), Some(k)) => format!(
            ": {:.0} percent of a {} cutter, perhaps the share was taken of another diameter",
            100.0 * k,
            d.show(u)
        ),
        _ => String::new(),
    };
    Some(
        caveat::PLAN_SLIP_STEPOVER
            .with(format!("The lines are {seen} apart where the plan says {planned} ({:.2} times){guess}.", p / s)),
    )
}
