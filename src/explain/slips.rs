//! The pitch set against the plan, and slips of plan or machine that the difference gives away.

use super::digest::{AXIS_SCALE_SIGMA, Digest, Line};
use super::{Comparison, PitchMatch, steps};
use crate::caveat::{self, Caveat};
use crate::expect::{Cause, Slip, divisions, slips as slips_of};
use crate::marks::Strip;
use crate::plan::{Helix, PlannedCut};
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
        let pitch = Measured { value: l.family.pitch.value, sigma: sigma_mm(l) };
        out.extend(stepover_slip(d.plan, s, pitch, d.pocket_ratio));
    }
    if let (Some(s), Some(h)) = (strip, d.plan.cutter.helix) {
        let odd = matches!((h, s.proud), (Helix::DownCut, false) | (Helix::UpCut, true));
        // A deep strip along a wall may be the last pass round the wall, which any cutter leaves deeper than a slot.
        if odd && !steps::beside_wall(s) {
            let (plan, seen) = if s.proud { ("an up-cut", "proud") } else { ("a down-cut", "deep") };
            out.push(caveat::PLAN_SLIP_HELIX.with(format!(
                "The plan says {plan}, but the first pass stands {seen}: the other helix would do that."
            )));
        }
    }
    if let (Some(r), Some(Helix::DownCut)) = (d.marks.rim.ragged, d.plan.cutter.helix)
        && r.value - r.sigma > RAGGED
    {
        out.push(caveat::PLAN_SLIP_HELIX.with(format!(
            "The rim is ragged over {:.0} percent of its length; a sharp down-cut leaves a clean rim. The cutter is dull, or not a down-cut.",
            100.0 * r.value
        )));
    }
    out
}

/// What a pitch other than the planned stepover `s` gives away; `None` within its own sigma. `pocket` is the pocket's
/// measured size over the planned one, where something else than the pocket gives the scale.
fn stepover_slip(plan: &PlannedCut, s: f64, pitch: Measured, pocket: Option<Measured>) -> Option<Caveat> {
    let p = pitch.value;
    let agrees = |at: f64| (p - at).abs() <= AGREES_SIGMAS * pitch.sigma;
    if agrees(s) {
        return None;
    }
    let u = plan.units;
    let apart = format!("The lines are {} apart where the plan says {}", u.show(p), u.show(s));
    if let Some((way, step)) = divisions(plan, s).into_iter().find(|q| agrees(q.1)) {
        let n = (way / step).round();
        return Some(caveat::STEPOVER_ROUNDED.with(format!(
            "{apart}: the stepover was rounded down so that {n} whole steps fill the {} that the cutter's centre crosses.",
            u.show(way)
        )));
    }
    let found: Vec<(Slip, f64)> = slips_of(plan, s).into_iter().filter(|q| agrees(q.1)).collect();
    if let Some((slip, at)) = found.first() {
        let kind = match slip {
            Slip::Half | Slip::Twice => caveat::PLAN_SLIP_TWICE,
            Slip::Inches | Slip::Millimetres => caveat::PLAN_SLIP_INCH,
            Slip::SecondCutter => caveat::PLAN_SLIP_DIAMETER,
        };
        let list: Vec<&str> = found.iter().map(|q| q.0.what()).collect();
        return Some(kind.with(format!("{apart}: {}, which is {}.", list.join(", or "), u.show(*at))));
    }
    let off = p / s - 1.0;
    let set = |tail: String| Some(caveat::PLAN_SLIP_STEPOVER.with(format!("{apart} ({:.3} times){tail}.", p / s)));
    if off.abs() < AXIS_SCALE_LIMIT {
        let (percent, way) = (
            format!("{:+.1} percent, {:+.1} sigma", 100.0 * off, (p - s) / pitch.sigma),
            if off > 0.0 { "long" } else { "short" },
        );
        let Some(size) = pocket else {
            return Some(
                caveat::AXIS_SCALE
                    .with(format!("{apart} ({percent}): the stepover was rounded, or the axis runs {way}.")),
            );
        };
        let size_off = format!("{:+.1} \u{b1} {:.1} percent", 100.0 * (size.value - 1.0), 100.0 * size.sigma);
        let together = size.sigma.hypot(pitch.sigma / s);
        let (to_pitch, to_plan) = ((size.value - p / s).abs() / together, (size.value - 1.0).abs() / size.sigma);
        // The pocket's size must tell the two apart: near the one and far from the other.
        return match (to_pitch <= AGREES_SIGMAS, to_plan <= AGREES_SIGMAS) {
            (true, false) => Some(caveat::AXIS_SCALE.with(format!(
                "{apart} ({percent}), and the pocket itself is off its planned size by {size_off}: the axis runs {way}, or the thing of known size is not what it was taken for."
            ))),
            (false, true) => set(format!(" while the pocket is as large as planned ({size_off}): the axes are right, the stepover was set otherwise")),
            _ => Some(caveat::AXIS_SCALE.with(format!(
                "{apart} ({percent}): the stepover was rounded, or the axis runs {way}; the pocket's own size ({size_off}) does not decide."
            ))),
        };
    }
    if let (Some(dia), Some(k)) = (plan.cutter.diameter_mm, plan.cutter.diameter_mm.map(|dia| s / dia))
        && let Some(other) = USUAL_DIAMETERS_MM.into_iter().find(|v| agrees(k * v) && (dia / v - 1.0).abs() > 0.02)
    {
        return Some(caveat::PLAN_SLIP_DIAMETER.with(format!(
            "{apart} ({:.2} times): {:.0} percent of a {} cutter, not of {}; perhaps the share was taken of another diameter.",
            p / s,
            100.0 * k,
            u.show(other),
            u.show(dia)
        )));
    }
    set(String::new())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::parse;
    /// 40 percent of 6.35 mm, in a pocket whose sides no stepover near it divides.
    fn plan(more: &str) -> PlannedCut {
        let text = format!("[cutter]\ndiameter = 6.35\n{more}\n[cut]\npass_angle_deg = 0\nstepover = 2.54");
        parse(&text, "made-up.toml", Default::default()).unwrap()
    }
    fn of(p: &PlannedCut, pitch: f64, pocket: Option<f64>) -> Option<Caveat> {
        let pocket = pocket.map(|value| Measured { value, sigma: 0.003 });
        stepover_slip(p, 2.54, Measured { value: pitch, sigma: 0.006 * pitch }, pocket)
    }
    fn id(p: &PlannedCut, pitch: f64, pocket: Option<f64>) -> Option<&'static str> {
        of(p, pitch, pocket).map(|c| c.id)
    }
    #[test]
    fn each_slip_has_its_own_name_and_numbers() {
        let p = plan("");
        assert_eq!(id(&p, 1.27, None), Some("plan-slip-twice"));
        assert_eq!(id(&p, 5.08, None), Some("plan-slip-twice"));
        assert!(of(&p, 5.08, None).unwrap().text.contains("5.08 mm apart where the plan says 2.54 mm"));
        assert_eq!(id(&p, 0.1, None), Some("plan-slip-inch"));
        // 40 percent of 10 mm.
        let c = of(&p, 4.0, None).unwrap();
        assert!(c.id == "plan-slip-diameter" && c.text.contains("40 percent of a 10.00 mm cutter"), "{}", c.text);
        assert_eq!(id(&p, 3.7, None), Some("plan-slip-stepover"), "nothing explains it");
        // The second cutter's share, and an inch plan whose number was cut as millimetres.
        let two = plan("[second_cutter]\ndiameter = 3.6");
        assert_eq!(id(&two, 2.54 * 3.6 / 6.35, None), Some("plan-slip-diameter"));
        let room = PlannedCut { pocket_mm: Some((100.0, 76.0)), ..plan("") };
        let c = of(&room, 69.65 / 29.0, None).unwrap_or_else(|| panic!("not named"));
        assert_eq!(c.id, "plan-slip-diameter", "28 steps fill it, not 29; 40 percent of 6 mm fits: {}", c.text);
        let c = stepover_slip(&room, 2.6, Measured { value: 69.65 / 27.0, sigma: 0.004 }, None).unwrap();
        assert!(c.id == "stepover-rounded" && c.text.contains("27 whole steps fill the 69.65 mm"), "{}", c.text);
    }
    #[test]
    fn the_pockets_own_size_tells_an_axis_from_a_setting() {
        let p = plan("");
        let pitch = 2.54 * 1.03;
        assert_eq!(id(&p, pitch, None), Some("axis-scale"));
        assert!(of(&p, pitch, Some(1.03)).unwrap().text.contains("the axis runs long"));
        assert_eq!(id(&p, pitch, Some(1.0)), Some("plan-slip-stepover"));
        assert!(of(&p, pitch, Some(1.0)).unwrap().text.contains("the axes are right"));
        assert!(of(&p, pitch, Some(0.95)).unwrap().text.contains("does not decide"));
    }
    #[test]
    fn nothing_is_named_within_the_pitchs_own_sigma() {
        let two = PlannedCut { pocket_mm: Some((100.0, 76.0)), ..plan("[second_cutter]\ndiameter = 3.6") };
        for k in -30..=30 {
            let pitch = 2.54 * (1.0 + f64::from(k) / 30.0 * 0.0175);
            for pocket in [None, Some(1.0), Some(1.02)] {
                assert_eq!(id(&two, pitch, pocket), None, "{pitch}");
            }
        }
        // Twice the stepover with a wide sigma is no slip either where the plan's own lies within it.
        assert_eq!(stepover_slip(&two, 2.54, Measured { value: 3.0, sigma: 0.2 }, None), None);
    }
}
