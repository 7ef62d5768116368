//! The lamp, and marks hidden on purpose.

use super::super::spec::*;
use super::cut::across_marks;
use super::{Draw, round};

pub(super) fn the_light(d: &mut Draw, s: &mut Spec) {
    let hard = s.difficulty == "hard";
    let off = if hard { d.u(-55.0, 55.0) } else { d.u(-32.0, 32.0) };
    s.light.from = match across_marks(s) {
        Some(a) => a + 180.0 * f64::from(u8::from(d.yes(0.5))) + off,
        None => d.u(0.0, 360.0),
    }
    .rem_euclid(360.0);
    s.light.el = if hard && d.yes(0.3) { d.u(20.0, 35.0) } else { d.log(7.0, 20.0) };
    let room = s.size[1].min(s.size[0]) * 0.28 * s.light.el.to_radians().tan();
    let deepest = if s.letters.is_some() { room * 0.55 } else { room };
    s.depth = round(d.log(0.9, 6.0).min(deepest).max(0.6), 0.1);
    if d.yes(0.25) {
        s.light.second = Some((d.u(0.0, 360.0), d.u(25.0, 60.0), d.u(0.04, 0.14)));
    }
}

pub(super) fn hide(d: &mut Draw, s: &mut Spec, how: &'static str) {
    s.hidden = Some(how);
    match how {
        "blur" => {
            s.camera.blur =
                d.log(7.0, 16.0) * (s.stepover / 2.5).clamp(1.0, 2.0) * s.camera.px[0].max(s.camera.px[1]) as f64
                    / 2000.0
        }
        "high" => {
            s.light.el = d.u(52.0, 72.0);
            s.tilt = s.tilt.map(|t| t * 0.25);
            s.lift_um *= 0.25;
            s.lean *= 0.3;
        }
        "along" => {
            if let Some(a) = across_marks(s) {
                s.light.from = (a + 90.0 + d.u(-3.0, 3.0)).rem_euclid(360.0);
            }
            s.tilt = s.tilt.map(|t| t * 0.5);
            s.lift_um *= 0.3;
        }
        "burnt" => s.camera.expo = d.u(4.0, 9.0),
        "far" => {
            s.camera.margin = d.u(0.36, 0.42);
            s.lift_um *= 0.4;
            s.tilt = s.tilt.map(|t| t * 0.4);
        }
        _ => {
            s.camera.expo = d.u(0.006, 0.02);
            s.camera.noise = d.u(0.02, 0.05);
        }
    }
}
