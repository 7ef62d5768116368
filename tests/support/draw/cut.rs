//! What was cut, and how, for every cause.

use super::super::spec::*;
use super::super::wood::Stock;
use super::{Draw, round};

fn letters(d: &mut Draw, s: &mut Spec) {
    s.outline = Outline::Rect;
    s.size = [round(s.size[0].max(96.0), 2.0), round(s.size[1].max(62.0), 2.0)];
    let text = d
        .pick(&["ELM", "FIN", "LEE", "TIE", "NET", "HIT", "VAN", "KIN", "LOT", "MAY", "ALE", "X", "OAT", "TEN", "INN"]);
    let height = s.size[1] * d.u(0.36, 0.5);
    let stroke = height * d.u(0.2, 0.27);
    s.letters = Some((text, height, stroke));
    s.tool.d = d.pick(&[3.175, 4.0, 6.0, 6.35]);
}

pub(super) fn the_cut(d: &mut Draw, s: &mut Spec) {
    let k = match s.difficulty {
        "easy" => 1.5,
        "hard" => 0.5,
        _ => 1.0,
    };
    let angle = d.pick(&[0.0, 0.0, 0.0, 90.0, 90.0, 45.0, 30.0, -17.0]);
    let parallel = |angle, both_ways, middle_first| Pattern::Parallel { angle, both_ways, middle_first };
    let flat_step = |d: &mut Draw, s: &Spec| round(s.tool.d * d.u(0.35, 0.72), 0.05);
    let across = |a: f64| (a + 90.0).to_radians().sin_cos();
    s.pattern = parallel(angle, d.yes(0.7), false);
    s.stepover = flat_step(d, s);
    let pixel = s.size[0] * 2.0 / s.camera.px[0].max(s.camera.px[1]) as f64;
    match s.cause {
        "full-width-first-pass" | "both" => {
            s.lift_um = k * d.log(40.0, 160.0) * if s.tool.up_cut { -1.0 } else { 1.0 };
            let edge = d.yes(0.5);
            if s.cause == "full-width-first-pass" && d.yes(0.4) {
                s.pattern = Pattern::Contour { inward: d.yes(0.35) };
                s.perimeter = false;
                s.stepover = round(s.tool.d * d.u(0.35, 0.6), 0.05);
            } else {
                s.outline = Outline::Rect;
                let a = if edge || d.yes(0.7) { d.pick(&[0.0, 90.0]) } else { angle };
                s.pattern = parallel(a, d.yes(0.7), !edge);
                s.perimeter = !edge;
            }
            if s.cause == "both" {
                let Pattern::Parallel { angle: a, .. } = s.pattern else { return };
                if d.yes(0.7) {
                    s.parts = Some(["full-width-first-pass", "cusps"]);
                    if d.yes(0.6) {
                        let rc = s.tool.d * d.u(0.15, 0.3);
                        s.tool.bottom = Bottom::Bull(rc);
                        s.stepover = round(s.tool.d - 2.0 * rc + rc * d.u(0.35, 0.8), 0.05);
                    } else {
                        s.tool.bottom = Bottom::Ball;
                        s.stepover = round((8.0 * s.tool.d / 2.0 * d.log(0.015, 0.07)).sqrt(), 0.05);
                    }
                } else {
                    s.parts = Some(["full-width-first-pass", "tilt-across-passes"]);
                    let (t, (sn, cs)) = (k * d.log(0.008, 0.02) * d.sign(), across(a));
                    s.tilt = [t * cs, t * sn];
                }
            }
        }
        "engagement-steps" => {
            letters(d, s);
            s.lift_um = k * d.log(70.0, 200.0) * if s.tool.up_cut { -1.0 } else { 1.0 };
            s.stepover = round(s.tool.d * d.u(0.3, 0.55), 0.05);
            if d.yes(0.8) {
                s.pattern = Pattern::Contour { inward: d.yes(0.4) };
                s.perimeter = false;
            }
        }
        "alternating-passes" => {
            s.pattern = parallel(angle, true, d.yes(0.2));
            s.stepover = round(s.tool.d * d.u(0.45, 0.8), 0.05);
            s.lean = (k * d.log(0.025, 0.07)).min(0.09) * d.sign();
        }
        "tilt-across-passes" => {
            let (t, (sn, cs)) = (k * d.log(0.005, 0.02) * d.sign(), across(angle));
            s.tilt = [t * cs, t * sn];
        }
        "tilt-along-passes" => {
            s.tool.d = d.pick(&[12.7, 16.0, 19.05, 25.4, 25.4]);
            s.size = [round(s.size[0].max(110.0) * 1.25, 2.0), round(s.size[1].max(76.0) * 1.2, 2.0)];
            s.outline = Outline::Rect;
            s.stepover = round(s.tool.d * d.u(0.55, 0.85), 0.1);
            let a = d.pick(&[0.0, 90.0]);
            s.pattern = parallel(a, true, false);
            let (t, (sn, cs)) = (k * d.log(0.009, 0.022) * d.sign(), a.to_radians().sin_cos());
            s.tilt = [t * cs, t * sn];
        }
        "cusps" => {
            let h = (k * d.log(0.012, 0.06)).min(0.09);
            s.tool.d = d.pick(&[3.0, 3.175, 6.0, 6.35, 8.0, 12.7]);
            if d.yes(0.7) {
                s.tool.bottom = Bottom::Ball;
                s.stepover = round((8.0 * s.tool.d / 2.0 * h).sqrt(), 0.05);
            } else {
                s.tool.d = d.pick(&[6.0, 6.35, 8.0, 12.7]);
                let rc = s.tool.d * d.u(0.12, 0.3);
                s.tool.bottom = Bottom::Bull(rc);
                s.stepover = round(s.tool.d - 2.0 * rc + (8.0 * rc * h).sqrt(), 0.05);
            }
            if d.yes(0.2) && s.stepover < 0.6 * s.tool.d {
                s.pattern = Pattern::Contour { inward: d.yes(0.5) };
            }
        }
        "cutter-change-step" => {
            letters(d, s);
            s.tool.d = d.pick(&[6.0, 6.35, 8.0]);
            let d2 = d.pick(&[2.0, 3.0, 3.175]);
            s.tool2 = Some((d2, d2 * 0.4, k * d.log(35.0, 110.0) * d.sign()));
            s.pattern = Pattern::Contour { inward: d.yes(0.5) };
            s.perimeter = false;
            s.stepover = round(s.tool.d * d.u(0.3, 0.5), 0.05);
            s.lift_um = d.u(0.0, 8.0);
        }
        "once-per-revolution" | "once-per-tooth" => {
            let pitch = (pixel * d.u(4.5, 11.0)).clamp(0.22, 2.0);
            s.tool.flutes = 2;
            let turn = if s.cause == "once-per-tooth" { pitch * 2.0 } else { pitch };
            s.rpm = d.pick(&[6000.0, 8000.0, 10000.0, 12000.0]);
            s.feed = round(turn * s.rpm, 10.0);
            let pitch = s.feed / s.rpm * pitch / turn;
            s.ripple = Some(Ripple::Arcs { pitch, um: k * d.log(6.0, 16.0) });
            s.outline = Outline::Rect;
            s.pattern = parallel(d.pick(&[0.0, 90.0]), true, false);
            s.perimeter = false;
            s.tool.d = d.pick(&[6.0, 6.35, 8.0, 12.7]);
            s.stepover = flat_step(d, s);
        }
        "chatter" => {
            let normal = angle + d.sign() * d.u(12.0, 70.0);
            let pitch = (pixel * d.u(5.0, 14.0)).clamp(0.5, 3.0);
            s.ripple = Some(Ripple::Wave { pitch, um: k * d.log(7.0, 20.0), normal, wander: d.u(0.2, 0.7) });
        }
        "drive-period" => {
            let lead = d.pick(&[2.0, 2.54, 4.0, 5.0, 5.0, 8.0]);
            s.plan.screw_lead = Some(lead);
            let normal = d.pick(&[0.0, 90.0]);
            s.ripple = Some(Ripple::Wave { pitch: lead, um: k * d.log(2.0, 7.0) * lead, normal, wander: 0.0 });
        }
        "turn-marks" => {
            if d.yes(0.7) {
                s.pattern = Pattern::Contour { inward: d.yes(0.5) };
                s.stepover = round(s.tool.d * d.u(0.35, 0.6), 0.05);
            } else {
                s.pattern = parallel(d.pick(&[0.0, 90.0]), true, false);
            }
            s.outline = Outline::Rect;
            s.perimeter = false;
            s.turn_um = -k * d.log(12.0, 45.0);
            s.turn_burn = if matches!(s.material, "foam" | "plastic" | "aluminium") { 0.0 } else { d.u(0.0, 0.8) };
        }
        "wood-figure" => {
            s.skim = true;
            s.material = d.pick(&["pine", "pine", "oak", "plywood"]);
            s.figure = d.u(0.9, 1.15);
            s.ring_mm = s.stepover * d.u(0.8, 1.3);
            s.grain = angle + d.u(-9.0, 9.0);
        }
        "fuzz-or-tear" => {
            s.skim = true;
            s.tool.up_cut = d.yes(0.7);
            s.material = d.pick(&["pine", "oak", "plywood", "beech", "mdf"]);
            s.torn_um = k * d.log(22.0, 60.0);
            s.fuzz_um = d.u(2.0, 5.0);
            s.burr = d.u(0.2, 0.6);
        }
        _ => s.skim = true,
    }
    if s.tool.up_cut && s.burr == 0.0 && Stock::is_wood(s.material) && d.yes(0.6) {
        s.burr = d.u(0.1, 0.4);
    }
    if s.cause == "clean" {
        s.figure *= 0.6;
    }
}

/// Direction across the marks, pocket degrees; `None` when they run every way.
pub(super) fn across_marks(s: &Spec) -> Option<f64> {
    match (&s.ripple, &s.pattern) {
        (Some(Ripple::Wave { normal, .. }), _) => Some(*normal),
        (Some(Ripple::Arcs { .. }), Pattern::Parallel { angle, .. }) => Some(*angle),
        (None, Pattern::Parallel { angle, .. }) => Some(angle + 90.0),
        _ => None,
    }
}
