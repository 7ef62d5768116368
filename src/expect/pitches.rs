//! The pitches that a plan lets us expect, and those that typical slips would make.

use super::physics::{bull_nose_height_mm, cusp_height_mm, divided_stepover_mm, feed_per_tooth_mm, feed_per_turn_mm};
use super::{Cause, Expected, ExpectedPitch, PitchRole};
use crate::plan::{PlannedCut, Shape};
use crate::units::{MM_PER_INCH, wrap_180};

/// A rounded stepover counts apart from the planned one only from this relative difference on: below, no photo of a
/// floor parts the two (aim for pitch: about 0.5 percent).
const ROUNDING_MATTERS: f64 = 0.003;

/// Causes that leave lines one stepover apart with this cutter, most likely first.
pub fn stepover_causes(plan: &PlannedCut) -> Vec<Cause> {
    use Cause::{Cusps, TiltAcrossPasses, TiltAlongPasses};
    match plan.cutter.shape {
        Some(Shape::BallNose) => vec![Cusps],
        Some(Shape::BullNose) => match stepover_past_flat(plan) {
            Some(true) | None => vec![Cusps, TiltAcrossPasses, TiltAlongPasses],
            Some(false) => vec![TiltAcrossPasses, TiltAlongPasses, Cusps],
        },
        Some(Shape::Flat) => vec![TiltAcrossPasses, TiltAlongPasses],
        None => vec![TiltAcrossPasses, Cusps, TiltAlongPasses],
    }
}

/// Whether a bull nose's stepover is wider than its flat; `None` when the plan does not tell.
pub fn stepover_past_flat(plan: &PlannedCut) -> Option<bool> {
    let flat = plan.cutter.diameter_mm? - 2.0 * plan.cutter.corner_radius_mm?;
    Some(plan.stepover_mm? > flat)
}

/// Height that the plan's round cutter leaves at a stepover, mm; `None` for a flat or unknown one.
pub fn planned_cusp_mm(plan: &PlannedCut, stepover_mm: f64) -> Option<f64> {
    let dia = plan.cutter.diameter_mm?;
    match plan.cutter.shape? {
        Shape::BallNose => cusp_height_mm(dia / 2.0, stepover_mm),
        Shape::BullNose => bull_nose_height_mm(dia, plan.cutter.corner_radius_mm?, stepover_mm),
        Shape::Flat => None,
    }
}

/// Every pitch the plan lets us expect, then those of typical slips. Empty for an empty plan; never fails.
pub fn expected(plan: &PlannedCut) -> Expected {
    let across = plan.pass_angle_deg.map(|a| wrap_180(a + 90.0));
    let along = plan.pass_angle_deg.map(wrap_180);
    let mut pitches = vec![];
    let mut add = |what: String, pitch_mm: f64, causes: Vec<Cause>, normal_pocket_deg: Option<f64>, role: PitchRole| {
        if pitch_mm.is_finite() && pitch_mm > 0.0 {
            pitches.push(ExpectedPitch { what, pitch_mm, causes, normal_pocket_deg, role });
        }
    };
    if let Some(s) = plan.stepover_mm {
        add("planned stepover".into(), s, stepover_causes(plan), across, PitchRole::Planned);
        for r in rounded(plan, s) {
            add(
                "stepover rounded down to divide the width".into(),
                r,
                stepover_causes(plan),
                across,
                PitchRole::Rounded,
            );
        }
        if plan.both_ways != Some(false) {
            let what = "double stepover (hand changes from pass to pass)";
            add(what.into(), 2.0 * s, vec![Cause::AlternatingPasses], across, PitchRole::Twice);
        }
    }
    if let (Some(f), Some(n)) = (plan.feed_mm_min, plan.speed_rpm) {
        add("feed per turn".into(), feed_per_turn_mm(f, n), vec![Cause::OncePerRevolution], along, PitchRole::Turn);
        if let Some(z) = plan.cutter.flutes.filter(|z| *z > 1) {
            let tooth = feed_per_tooth_mm(f, n, z);
            add("feed per tooth".into(), tooth, vec![Cause::OncePerTooth], along, PitchRole::Tooth);
        }
    }
    let m = &plan.machine;
    for (what, pitch) in
        [("screw lead", m.screw_lead_mm), ("belt pitch", m.belt_pitch_mm), ("rack pitch", m.rack_pitch_mm)]
    {
        if let Some(p) = pitch {
            add(what.into(), p, vec![Cause::DrivePeriod], None, PitchRole::Drive);
        }
    }
    if let Some(s) = plan.stepover_mm {
        for (slip, pitch) in slips(plan, s) {
            add(slip.what().into(), pitch, stepover_causes(plan), across, PitchRole::Slip);
        }
    }
    Expected { pitches }
}

/// Way of the cutter's centre from wall to wall, mm, and the stepover not above `s` that divides it evenly: across the
/// planned direction where it is known, else both ways.
pub fn divisions(plan: &PlannedCut, s: f64) -> Vec<(f64, f64)> {
    let (Some((w, h)), Some(d)) = (plan.pocket_mm, plan.cutter.diameter_mm) else { return vec![] };
    let sides = match plan.pass_angle_deg.map(wrap_180) {
        Some(a) if !(1.0..=179.0).contains(&a) => vec![h],
        Some(a) if (a - 90.0).abs() < 1.0 => vec![w],
        _ => vec![w, h],
    };
    sides.into_iter().filter_map(|side| Some((side - d, divided_stepover_mm(side, d, s)?))).collect()
}

fn rounded(plan: &PlannedCut, s: f64) -> Vec<f64> {
    let mut out: Vec<f64> = vec![];
    for (_, r) in divisions(plan, s) {
        if (r / s - 1.0).abs() > ROUNDING_MATTERS && !out.iter().any(|o| (o / r - 1.0).abs() < ROUNDING_MATTERS) {
            out.push(r);
        }
    }
    out
}

/// A typical slip in setting the stepover.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slip {
    Half,
    Twice,
    Inches,
    Millimetres,
    SecondCutter,
}

impl Slip {
    /// What was done, for the reader.
    pub fn what(self) -> &'static str {
        match self {
            Self::Half => "half of the planned stepover (share taken of the radius, or a second setting)",
            Self::Twice => "double of the planned stepover",
            Self::Inches => "stepover's number read in inches",
            Self::Millimetres => "stepover's number read in millimetres",
            Self::SecondCutter => "same share of the second cutter's diameter",
        }
    }
}

/// The pitches that typical slips with a stepover of `s` mm would cut, mm.
pub fn slips(plan: &PlannedCut, s: f64) -> Vec<(Slip, f64)> {
    let mut out = vec![
        (Slip::Half, s / 2.0),
        (Slip::Twice, s * 2.0),
        (Slip::Inches, s * MM_PER_INCH),
        (Slip::Millimetres, s / MM_PER_INCH),
    ];
    let second = plan.second_cutter.as_ref().and_then(|c| c.diameter_mm);
    if let (Some(d), Some(d2)) = (plan.cutter.diameter_mm, second) {
        out.push((Slip::SecondCutter, s * d2 / d));
    }
    // A pitch wider than the cutter leaves stock standing: no slip can be cut that way.
    let widest = plan.cutter.diameter_mm.unwrap_or(f64::INFINITY);
    out.retain(|(_, p)| *p <= widest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    fn plan() -> PlannedCut {
        let text = "[cutter]\nshape = \"flat\"\ndiameter = 6.35\nflutes = 2\n[cut]\npattern = \"parallel\"\npass_angle_deg = 0\nboth_ways = true\nstepover = 2.54\nfeed = 2500\nspeed_rpm = 18000\n[pocket]\nwidth = 116\nheight = 76\n[machine]\nscrew_lead = 5";
        crate::plan::parse(text, "t", Default::default()).unwrap()
    }
    fn of(e: &Expected, role: PitchRole) -> Vec<f64> {
        e.pitches.iter().filter(|p| p.role == role).map(|p| p.pitch_mm).collect()
    }
    #[test]
    fn a_full_plan_lists_stepover_turn_tooth_and_drive() {
        let e = expected(&plan());
        assert_eq!(of(&e, PitchRole::Planned), [2.54]);
        assert_eq!(of(&e, PitchRole::Twice), [5.08]);
        assert_eq!(of(&e, PitchRole::Turn), [2500.0 / 18000.0]);
        assert_eq!(of(&e, PitchRole::Tooth), [2500.0 / 36000.0]);
        assert_eq!(of(&e, PitchRole::Drive), [5.0]);
        // (76 - 6.35) / 28 passes: passes along the width step across the height.
        assert_eq!(of(&e, PitchRole::Rounded), [69.65 / 28.0]);
        assert_eq!(e.pitches[0].normal_pocket_deg, Some(90.0));
        // Half, twice and 1/25.4 can be cut; 64.5 mm with a 6.35 mm cutter cannot.
        assert_eq!(of(&e, PitchRole::Slip), [1.27, 5.08, 0.1]);
    }
    #[test]
    fn an_empty_plan_expects_nothing() {
        assert!(expected(&PlannedCut::default()).pitches.is_empty());
    }
    #[test]
    fn the_cutter_decides_what_a_line_at_the_stepover_means() {
        let mut p = plan();
        assert_eq!(stepover_causes(&p)[0], Cause::TiltAcrossPasses);
        p.cutter.shape = Some(Shape::BallNose);
        assert_eq!(stepover_causes(&p), [Cause::Cusps]);
        p.cutter.shape = Some(Shape::BullNose);
        p.cutter.corner_radius_mm = Some(1.5);
        assert_eq!(stepover_causes(&p)[0], Cause::TiltAcrossPasses, "2.54 fits in the flat of 3.35");
        p.stepover_mm = Some(4.4);
        assert_eq!(stepover_causes(&p)[0], Cause::Cusps);
    }
}
