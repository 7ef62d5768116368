//! The photos of sample-images/: one invented job, the sign of the Heron Point boathouse, and its test cuts.

use super::draw::{Size, draw};
use super::props::{CARD, Prism};
use super::spec::*;

/// A quiet start: everything that a sample does not need is off.
fn plain(seed: u64, cause: &str, material: &'static str) -> Spec {
    let mut s = draw(seed, Some(cause), Size::Phone);
    s.outline = Outline::Rect;
    s.size = [120.0, 80.0];
    s.g = 0.05;
    s.depth = 2.5;
    s.material = material;
    s.tool = Tool { d: 6.0, bottom: Bottom::Flat, up_cut: false, flutes: 2 };
    s.stepover = 2.4;
    s.pattern = Pattern::Parallel { angle: 0.0, both_ways: true, middle_first: false };
    s.perimeter = true;
    (s.lift_um, s.lean, s.tilt, s.ripple) = (0.0, 0.0, [0.0; 2], None);
    (s.turn_um, s.turn_burn, s.torn_um, s.burr, s.gloss) = (0.0, 0.0, 0.0, 0.0, 0.0);
    (s.skim, s.letters, s.tool2, s.parts) = (false, None, None, None);
    (s.fuzz_um, s.figure, s.grain, s.ring_mm) = (1.8, 0.9, 8.0, 3.0);
    (s.feed, s.rpm) = (2400.0, 16000.0);
    s.light = Light { from: 90.0, el: 12.0, dist: 480.0, size: 6.0, ambient: 0.06, second: None };
    s.camera = Camera {
        px: [3264, 2448],
        f35: 26.0,
        tilt: 9.0,
        pan: 70.0,
        roll: 2.0,
        k1: -0.01,
        margin: 0.05,
        blur: 0.9,
        noise: 0.008,
        tone: 0.2,
        expo: 0.55,
        balance: [1.02, 1.0, 0.97],
        sharpen: 0.35,
        denoise: 0.25,
        quality: 86,
        orientation: 1,
        exif: "full",
        shot: 0,
    };
    (s.chips, s.clutter, s.world, s.difficulty) = (0, vec![], "clean", "normal");
    s.plan = PlanFile { omit: vec![], inches: false, percent: false, slip: None, screw_lead: None };
    card(&mut s, -4.0, 2);
    s
}

/// A card below the pocket, turned by `rot`.
fn card(s: &mut Spec, rot: f64, style: u32) {
    let mut r = Ref { kind: RefKind::Card, on_floor: false, at: [0.0; 2], rot, style };
    let c = Prism::from_ref(s, &r).centre();
    r.at = [s.size[0] / 2.0 - c[0], s.size[1] + 12.0 + CARD[1] / 2.0 - c[1]];
    s.refs = vec![r];
}

/// Folder name and settings of every sample.
pub fn samples() -> Vec<(&'static str, Spec)> {
    let mut out = vec![];
    let mut s = plain(401, "full-width-first-pass", "mdf");
    s.lift_um = 110.0;
    s.pattern = Pattern::Parallel { angle: 0.0, both_ways: true, middle_first: true };
    s.stepover = 3.6;
    s.camera.px = [4032, 3024];
    out.push(("mdf-downcut-01", s));

    let mut s = plain(402, "engagement-steps", "oak");
    s.letters = Some(("HERON", 24.0, 4.4));
    s.size = [150.0, 74.0];
    s.tool.d = 4.0;
    s.stepover = 1.6;
    s.lift_um = 150.0;
    s.pattern = Pattern::Contour { inward: false };
    s.perimeter = false;
    s.depth = 1.8;
    s.g = 0.05;
    (s.light.from, s.light.el, s.camera.orientation) = (62.0, 14.0, 3);
    card(&mut s, 3.0, 8);
    out.push(("oak-letters-01", s));

    let mut s = plain(403, "tilt-across-passes", "maple");
    s.tool.d = 6.35;
    s.stepover = 2.54;
    s.tilt = [0.0, 0.011];
    s.light.from = 278.0;
    s.plan.inches = true;
    card(&mut s, 176.0, 3);
    out.push(("maple-flat-01", s));

    let mut s = plain(404, "cusps", "beech");
    s.tool = Tool { bottom: Bottom::Ball, ..s.tool };
    s.stepover = 1.2;
    s.plan.slip = Some(("half of what the plan says", 2.4));
    (s.light.from, s.grain) = (98.0, 62.0);
    s.camera.exif = "none";
    card(&mut s, 5.0, 12);
    out.push(("beech-ball-01", s));

    let mut s = plain(405, "wood-figure", "pine");
    s.skim = true;
    (s.figure, s.ring_mm, s.grain) = (1.1, 2.6, 4.0);
    (s.light.from, s.camera.px) = (86.0, [2448, 3264]);
    (s.camera.roll, s.camera.orientation) = (90.0, 6);
    card(&mut s, -7.0, 1);
    out.push(("pine-skim-01", s));

    let mut s = plain(406, "tilt-across-passes", "maple");
    s.hidden = Some("blur");
    s.tilt = [0.0, 0.010];
    s.camera.px = [2048, 1536];
    s.camera.blur = 13.0;
    out.push(("maple-blurred-01", s));
    out
}
