//! The plan file's slips and gaps.

use super::super::spec::*;
use super::{Draw, round};
use rand::Rng;

pub(super) fn the_plan(d: &mut Draw, s: &mut Spec) {
    let height = match s.pattern {
        Pattern::Parallel { angle, .. } if angle.rem_euclid(180.0) == 90.0 => s.size[0],
        _ => s.size[1],
    } - 4.0;
    let p = &mut s.plan;
    p.inches = d.yes(0.12);
    p.percent = d.yes(0.2);
    let repeats =
        matches!(s.cause, "tilt-across-passes" | "tilt-along-passes" | "cusps" | "alternating-passes" | "both");
    if d.yes(0.22) {
        let wide = height - s.tool.d;
        p.slip = Some(match d.0.random_range(0..4) {
            0 | 1 if matches!(s.pattern, Pattern::Parallel { .. }) && s.letters.is_none() => {
                let planned = s.stepover;
                s.stepover = wide / (wide / planned).ceil();
                ("rounded so that passes divide the width", planned)
            }
            2 if repeats => ("half of what the plan says", s.stepover * 2.0),
            _ if repeats => ("twice what the plan says", round(s.stepover / 2.0, 0.001)),
            _ => ("rounded figure in the plan", round(s.stepover, 0.01)),
        });
        if p.slip.is_some_and(|q| (q.1 - s.stepover).abs() < 1e-6 || q.1 > s.tool.d) {
            p.slip = None;
        }
    }
    for key in [
        "feed",
        "speed_rpm",
        "depth",
        "flutes",
        "helix",
        "pattern",
        "pass_angle_deg",
        "both_ways",
        "stepover",
        "material",
        "grain_angle_deg",
        "pocket",
        "shape",
        "diameter",
    ] {
        let rate = match key {
            "stepover" | "shape" | "diameter" => 0.025,
            "pocket" if s.outline == Outline::Rect => 0.12,
            "pocket" => 0.5,
            _ => 0.08,
        };
        if d.yes(rate) {
            p.omit.push(key);
        }
    }
    if s.plan.screw_lead.is_none() && d.yes(0.1) {
        s.plan.screw_lead = Some(d.pick(&[2.0, 4.0, 5.0, 8.0, 10.0]));
    } else if s.plan.screw_lead.is_some() && d.yes(0.2) {
        s.plan.screw_lead = None;
    }
}
