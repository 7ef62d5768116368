//! Draws the settings of a scene from a seed: what was cut, in what, lit and photographed how.

use super::props::{CARD, COIN, RULE};
use super::spec::*;
use rand::{Rng, SeedableRng, seq::IndexedRandom};
use rand_chacha::ChaCha8Rng;

#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Size {
    Small,
    Phone,
}

/// Causes and how often each is drawn.
pub const CAUSES: [(&str, u32); 17] = [
    ("full-width-first-pass", 13),
    ("engagement-steps", 9),
    ("alternating-passes", 9),
    ("tilt-across-passes", 11),
    ("tilt-along-passes", 7),
    ("cusps", 11),
    ("cutter-change-step", 6),
    ("once-per-revolution", 5),
    ("once-per-tooth", 4),
    ("chatter", 5),
    ("drive-period", 5),
    ("turn-marks", 4),
    ("wood-figure", 7),
    ("fuzz-or-tear", 6),
    ("clean", 9),
    ("both", 7),
    ("cannot-tell", 12),
];

struct Draw(ChaCha8Rng);

impl Draw {
    fn u(&mut self, a: f64, b: f64) -> f64 {
        self.0.random_range(a..b)
    }
    fn log(&mut self, a: f64, b: f64) -> f64 {
        self.u(a.ln(), b.ln()).exp()
    }
    fn yes(&mut self, p: f64) -> bool {
        self.0.random_bool(p)
    }
    fn pick<T: Copy>(&mut self, v: &[T]) -> T {
        *v.choose(&mut self.0).expect("a list to choose from")
    }
    fn sign(&mut self) -> f64 {
        if self.yes(0.5) { 1.0 } else { -1.0 }
    }
}

fn round(v: f64, step: f64) -> f64 {
    (v / step).round() * step
}

/// The scene of a seed. The same arguments always give the same scene.
pub fn draw(seed: u64, cause: Option<&str>, size: Size) -> Spec {
    let mut d = Draw(ChaCha8Rng::seed_from_u64(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x1234));
    let total: u32 = CAUSES.iter().map(|q| q.1).sum();
    let mut k = d.0.random_range(0..total);
    let mut drawn = "clean";
    for (id, n) in CAUSES {
        if k < n {
            drawn = id;
            break;
        }
        k -= n;
    }
    let asked = cause.and_then(|c| CAUSES.iter().find(|q| q.0 == c)).map_or(drawn, |q| q.0);
    let hidden = (asked == "cannot-tell").then(|| d.pick(&["blur", "blur", "high", "along", "burnt", "far", "dark"]));
    let cut = if hidden.is_some() {
        d.pick(&[
            "tilt-across-passes",
            "cusps",
            "alternating-passes",
            "full-width-first-pass",
            "engagement-steps",
            "drive-period",
        ])
    } else {
        asked
    };
    let mut s = base(&mut d, seed, cut, size);
    the_cut(&mut d, &mut s);
    square_up(&mut s);
    the_light(&mut d, &mut s);
    if let Some(h) = hidden {
        hide(&mut d, &mut s, h);
    }
    the_plan(&mut d, &mut s);
    place_refs(&mut d, &mut s);
    place_clutter(&mut d, &mut s);
    // Fine enough for the photo's pixels and for the ridges, and no finer: the cost grows with the cube.
    let finest = if size == Size::Small { 1.7e6 } else { 4.2e6 };
    let ridge = if let Some(Ripple::Arcs { pitch, .. }) = s.ripple { pitch } else { s.stepover };
    let want = (s.size[0] * s.size[1] / finest).sqrt().min((ridge / 8.0).max(0.05));
    s.g = [0.04, 0.05, 0.06, 0.07, 0.08, 0.1, 0.12].into_iter().find(|g| want <= *g).unwrap_or(0.12);
    s
}

fn base(d: &mut Draw, seed: u64, cut: &'static str, size: Size) -> Spec {
    let difficulty = d.pick(&["easy", "normal", "normal", "hard"]);
    let material = d.pick(&["mdf", "mdf", "pine", "oak", "maple", "beech", "plywood", "foam", "plastic", "aluminium"]);
    let w = round(d.u(74.0, 150.0), 2.0);
    let h = round((w * d.u(0.55, 0.8)).clamp(46.0, 100.0), 2.0);
    let px = match size {
        Size::Small => d.pick(&[[1600, 1200], [1600, 1200], [2048, 1536]]),
        Size::Phone => d.pick(&[[4032, 3024], [3264, 2448]]),
    };
    let orientation = d.pick(&[1, 1, 1, 1, 3, 6, 8]);
    let px = if orientation >= 6 { [px[1], px[0]] } else { px };
    let hard = difficulty == "hard";
    let phone = size == Size::Phone;
    let tilt = if hard { d.u(4.0, 32.0) } else { d.u(1.0, 17.0) };
    let quarter = d.pick(&[0.0, 0.0, 0.0, 90.0, -90.0, 180.0]);
    Spec {
        seed,
        cause: cut,
        parts: None,
        hidden: None,
        size: [w, h],
        outline: d.pick(&[Outline::Rect, Outline::Rect, Outline::Rect, Outline::Rect, Outline::L, Outline::Round]),
        depth: 2.5,
        tool: Tool {
            d: d.pick(&[3.175, 4.0, 6.0, 6.0, 6.35, 6.35, 8.0]),
            bottom: Bottom::Flat,
            up_cut: d.yes(0.4),
            flutes: d.pick(&[1, 2, 2, 2, 3]),
        },
        tool2: None,
        stepover: 0.0,
        pattern: Pattern::Parallel { angle: 0.0, both_ways: true, middle_first: false },
        perimeter: true,
        lift_um: 0.0,
        lean: 0.0,
        tilt: [0.0, 0.0],
        ripple: None,
        skim: false,
        turn_um: 0.0,
        turn_burn: 0.0,
        torn_um: 0.0,
        burr: 0.0,
        burr_mm: 0.25,
        fuzz_um: d.u(1.0, 2.6) * if matches!(material, "plastic" | "aluminium") { 0.3 } else { 1.0 },
        material,
        grain: d.pick(&[0.0, 90.0, 0.0, 45.0]) + d.u(-20.0, 20.0),
        ring_mm: d.u(1.2, 4.5),
        figure: d.u(0.5, 1.1),
        gloss: match material {
            "aluminium" => 0.06,
            "plastic" => 0.03,
            _ => 0.0,
        },
        letters: None,
        feed: d.pick(&[1500.0, 2000.0, 2500.0, 3000.0, 4000.0]),
        rpm: d.pick(&[12000.0, 16000.0, 18000.0, 22000.0]),
        g: 0.05,
        light: Light {
            from: 90.0,
            el: 12.0,
            dist: d.log(360.0, 1000.0),
            size: d.log(1.5, 25.0),
            ambient: d.log(0.02, 0.25),
            second: None,
        },
        camera: Camera {
            px,
            f35: if d.yes(0.1) { d.u(50.0, 70.0) } else { d.u(22.0, 30.0) },
            tilt,
            pan: d.u(0.0, 360.0),
            roll: quarter + d.u(-8.0, 8.0),
            k1: d.u(-0.03, 0.015),
            margin: d.u(0.03, 0.09),
            blur: if phone { d.u(0.6, 1.4) } else { d.u(0.5, 1.0) } * if hard { 1.3 } else { 1.0 },
            noise: d.log(0.004, if hard { 0.03 } else { 0.014 }),
            tone: d.u(0.0, 0.35),
            expo: d.u(0.38, 0.72),
            balance: [d.u(0.93, 1.09), 1.0, d.u(0.86, 1.12)],
            sharpen: d.u(0.0, 0.7),
            denoise: d.u(0.0, 0.4),
            quality: d.0.random_range(70..96),
            orientation,
            exif: d.pick(&["full", "full", "full", "short", "none"]),
        },
        refs: vec![],
        clutter: vec![],
        chips: if d.yes(0.25) { d.0.random_range(5..40) } else { 0 },
        world: d.pick(&["clean", "clean", "moderate", "busy"]),
        difficulty,
        plan: PlanFile { omit: vec![], inches: false, percent: false, slip: None, screw_lead: None },
    }
}

/// A round pocket is as wide as high, and only then.
fn square_up(s: &mut Spec) {
    if s.outline == Outline::Round {
        s.size = [s.size[1].clamp(60.0, 96.0); 2];
    }
}

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

fn the_cut(d: &mut Draw, s: &mut Spec) {
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
    if s.tool.up_cut && s.burr == 0.0 && super::wood::Stock::is_wood(s.material) && d.yes(0.6) {
        s.burr = d.u(0.1, 0.4);
    }
    if s.cause == "clean" {
        s.figure *= 0.6;
    }
}

/// Direction across the marks, pocket degrees; `None` when they run every way.
pub fn across_marks(s: &Spec) -> Option<f64> {
    match (&s.ripple, &s.pattern) {
        (Some(Ripple::Wave { normal, .. }), _) => Some(*normal),
        (Some(Ripple::Arcs { .. }), Pattern::Parallel { angle, .. }) => Some(*angle),
        (None, Pattern::Parallel { angle, .. }) => Some(angle + 90.0),
        _ => None,
    }
}

fn the_light(d: &mut Draw, s: &mut Spec) {
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

fn hide(d: &mut Draw, s: &mut Spec, how: &'static str) {
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

fn the_plan(d: &mut Draw, s: &mut Spec) {
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

fn place_refs(d: &mut Draw, s: &mut Spec) {
    let what = d.u(0.0, 1.0);
    let kind = if what < 0.78 {
        RefKind::Card
    } else if what < 0.85 {
        RefKind::Coin
    } else if what < 0.93 {
        RefKind::Rule
    } else {
        s.plan.omit.retain(|k| *k != "pocket");
        return;
    };
    let (l, w) = match kind {
        RefKind::Card => (CARD[0], CARD[1]),
        RefKind::Coin => (COIN[0], COIN[0]),
        RefKind::Rule => (RULE[0], RULE[1]),
    };
    let fits = s.size[0] > 128.0 && s.size[1] > 84.0 && s.letters.is_none() && s.outline == Outline::Rect;
    let on_floor = kind == RefKind::Card && fits && d.yes(0.5);
    let style = d.0.random_range(0..100);
    // Of some places that fit, the one that keeps the frame smallest.
    let mut best: Option<(f64, Ref)> = None;
    for _ in 0..250 {
        let rot = if d.yes(0.6) { d.pick(&[0.0, 90.0, 180.0, 270.0]) + d.u(-14.0, 14.0) } else { d.u(0.0, 360.0) };
        let (sn, cs) = rot.to_radians().sin_cos();
        let reach = if on_floor { 0.5 } else { 1.0 };
        let c = s.centre();
        let (span_x, span_y) = (s.size[0] / 2.0 + 62.0, s.size[1] / 2.0 + 62.0);
        let m = [c[0] + reach * d.u(-span_x, span_x), c[1] + reach * d.u(-span_y, span_y)];
        let round_shape = kind == RefKind::Coin;
        let at = if round_shape { m } else { [m[0] - l / 2.0 * cs + w / 2.0 * sn, m[1] - l / 2.0 * sn - w / 2.0 * cs] };
        let edge: Vec<[f64; 2]> = (0..=8)
            .flat_map(|i| {
                let t = f64::from(i) / 8.0 - 0.5;
                [(t, -0.5), (t, 0.5), (-0.5, t), (0.5, t), (t, 0.0)]
            })
            .map(|(a, b)| [m[0] + a * l * cs - b * w * sn, m[1] + a * l * sn + b * w * cs])
            .collect();
        let inner = edge.iter().all(|p| p[0] > 6.0 && p[1] > 6.0 && p[0] < s.size[0] - 6.0 && p[1] < s.size[1] - 6.0);
        let outer = edge.iter().all(|p| p[0] < -3.0 || p[1] < -3.0 || p[0] > s.size[0] + 3.0 || p[1] > s.size[1] + 3.0);
        if (on_floor && inner) || (!on_floor && outer) {
            let span = |k: usize| {
                let (a, b) = edge.iter().fold((0.0, s.size[k]), |(a, b): (f64, f64), p| (a.min(p[k]), b.max(p[k])));
                b - a
            };
            let frame = span(0).max(span(1) * 4.0 / 3.0) * d.u(0.85, 1.15);
            if best.as_ref().is_none_or(|b| frame < b.0) {
                best = Some((frame, Ref { kind, on_floor, at, rot: rot.rem_euclid(360.0), style }));
            }
        }
    }
    if let Some((_, r)) = best {
        s.refs.push(r);
        return;
    }
    s.plan.omit.retain(|k| *k != "pocket");
}

fn place_clutter(d: &mut Draw, s: &mut Spec) {
    let n = match s.world {
        "clean" => 0,
        "moderate" => 2,
        _ => 4,
    };
    let c = s.centre();
    let lamp = s.light.from;
    for _ in 0..n {
        let kind = d.pick(&["block", "block", "tape", "tape", "pencil"]);
        // Tall things stay off the lamp's side, so that they do not darken the pocket.
        let turn = if kind == "block" { d.u(75.0, 285.0) } else { d.u(0.0, 360.0) };
        let (sn, cs) = (lamp + turn).to_radians().sin_cos();
        let r = s.size[0].hypot(s.size[1]) / 2.0 + d.u(22.0, 60.0);
        let col = d.pick(&[
            [0.3, 0.05, 0.03],
            [0.05, 0.06, 0.07],
            [0.1, 0.3, 0.6],
            [0.6, 0.6, 0.58],
            [0.55, 0.45, 0.1],
            [0.5, 0.36, 0.2],
        ]);
        let (len, wid, h) = match kind {
            "block" => (d.u(15.0, 45.0), d.u(10.0, 30.0), d.u(3.0, 14.0)),
            "tape" => (d.u(50.0, 150.0), 25.0, 0.12),
            _ => (d.u(60.0, 140.0), 7.0, 7.0),
        };
        let item =
            Clutter { kind, at: [c[0] + r * cs, c[1] + r * sn], rot: lamp + turn + d.u(-30.0, 30.0), len, wid, h, col };
        let clear = s.refs.iter().all(|q| {
            let (sn, cs) = q.rot.to_radians().sin_cos();
            let m = if q.kind == RefKind::Coin {
                q.at
            } else {
                [q.at[0] + 42.0 * cs - 27.0 * sn, q.at[1] + 42.0 * sn + 27.0 * cs]
            };
            (m[0] - item.at[0]).hypot(m[1] - item.at[1]) > 62.0 + len
        });
        if clear {
            s.clutter.push(item);
        }
    }
    for _ in 0..s.chips {
        let floor = d.yes(0.6);
        let (x, y) = if floor {
            (d.u(6.0, s.size[0] - 6.0), d.u(6.0, s.size[1] - 6.0))
        } else {
            (d.u(-25.0, s.size[0] + 25.0), d.u(-25.0, s.size[1] + 25.0))
        };
        let l = d.u(0.5, 2.2);
        s.clutter.push(Clutter {
            kind: if floor { "chip-floor" } else { "chip" },
            at: [x, y],
            rot: d.u(0.0, 360.0),
            len: l,
            wid: l * d.u(0.3, 0.8),
            h: d.u(0.1, 0.5),
            col: [0.5, 0.36, 0.2],
        });
    }
}
