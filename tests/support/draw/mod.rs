//! Draws the settings of a scene from a seed: what was cut, in what, lit and photographed how.

mod cut;
mod light;
pub mod own;
mod place;
mod plan;
mod wide;

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
    draw_with(seed, cause, size, Lying::Any)
}

/// What lies beside the pocket.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Lying {
    /// As drawn: a card mostly, now and then a coin or a rule.
    Any,
    Only(RefKind),
    Nothing,
}

/// As [`draw`], with the reference that lies beside the pocket chosen.
pub fn draw_with(seed: u64, cause: Option<&str>, size: Size, lying: Lying) -> Spec {
    drawn(seed, cause, size, lying, false)
}

/// Puts letters into a pocket that has room for them and nothing else in it.
pub fn letter(s: &mut Spec, seed: u64) {
    let room = s.outline == Outline::Rect && s.size[0] >= 1.3 * s.size[1];
    if room && s.letters.is_none() && s.refs.iter().all(|r| !r.on_floor) {
        let height = 0.45 * s.size[1];
        s.letters = Some((["HIT", "LEE", "OAT", "VAN", "X"][seed as usize % 5], height, 0.23 * height));
    }
}

/// A small scene of any cause, its cutter 3 to 32 mm wide, its stepover 10 to 80 per cent of that.
pub fn draw_wide(seed: u64) -> Spec {
    drawn(seed, None, Size::Small, Lying::Any, true)
}

fn drawn(seed: u64, cause: Option<&str>, size: Size, lying: Lying, wide: bool) -> Spec {
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
    if s.camera.exif == "none" {
        // Nothing in such a file says how it is turned, so it is stored upright.
        s.camera.orientation = 1;
    }
    cut::the_cut(&mut d, &mut s);
    if wide {
        wide::widen(&mut d, &mut s);
    }
    square_up(&mut s);
    light::the_light(&mut d, &mut s);
    if let Some(h) = hidden {
        light::hide(&mut d, &mut s, h);
    }
    plan::the_plan(&mut d, &mut s);
    place::place_refs(&mut d, &mut s, lying);
    place::place_clutter(&mut d, &mut s);
    s.g = grid(&s, size);
    s
}

/// Cell of the floor, mm.
fn grid(s: &Spec, size: Size) -> f64 {
    // Fine enough for the photo's pixels and for the ridges, and no finer: the cost grows with the cube.
    let finest = if size == Size::Small { 1.7e6 } else { 4.2e6 };
    let ridge = if let Some(Ripple::Arcs { pitch, .. }) = s.ripple { pitch } else { s.stepover };
    let want = (s.size[0] * s.size[1] / finest).sqrt().min((ridge / 8.0).max(0.05));
    [0.04, 0.05, 0.06, 0.07, 0.08, 0.1, 0.12].into_iter().find(|g| want <= *g).unwrap_or(0.12)
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
            shot: 0,
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
