//! Made photos of routed pocket floors with known truth. Nothing here comes from the program that is tested: floors are
//! cut by brute force (the cutter's bottom stamped along its path, the lowest stays), lit by a small lamp with cast
//! shadows, and photographed by a plain camera. The one exception is what our own card's print looks like: that is the
//! program's drawing, or a picture of the printed page.

#![allow(dead_code, unused_imports, reason = "each test target uses its own part of the maker")]

pub mod camera;
pub mod cut;
pub mod develop;
pub mod draw;
pub mod field;
pub mod floors;
pub mod light;
pub mod ngc;
pub mod noise;
pub mod other_side;
pub mod outline;
pub mod pairs;
pub mod paths;
pub mod plan_file;
pub mod print;
pub mod profiles;
pub mod props;
pub mod quick;
pub mod render;
pub mod samples;
pub mod spec;
pub mod surface;
pub mod tables;
pub mod truth;
pub mod visible;
pub mod warp;
pub mod wood;

use field::Field;
use spec::Spec;

/// A photo, the plan that goes with it, and the truth.
pub struct Made {
    pub jpeg: Vec<u8>,
    pub plan: String,
    pub truth: serde_json::Value,
}

/// Rounds the cut floor's edges over about 0.05 mm, inside the pocket only.
fn round_edges(z: &mut Field, sigma_mm: f64) {
    let (mut weight, mut sum) = (z.like(0.0), z.like(0.0));
    for (k, v) in z.v.iter().enumerate().filter(|q| *q.1 < cut::SOLID) {
        weight.v[k] = 1.0;
        sum.v[k] = *v;
    }
    let sigma = sigma_mm / z.g;
    weight.blur(sigma);
    sum.blur(sigma);
    for (k, v) in z.v.iter_mut().enumerate().filter(|q| *q.1 < cut::SOLID) {
        *v = sum.v[k] / weight.v[k];
    }
}

/// Cuts the pocket of a scene, edges rounded as real ones are.
pub fn cut_floor(s: &Spec, walls: &outline::Walls) -> cut::Cut {
    let mut c = cut::cut(s, walls);
    round_edges(&mut c.z, 0.05);
    c
}

/// The camera of a scene: it takes in the pocket and what lies beside it.
pub fn view_of(s: &Spec) -> camera::View {
    let (walls, props) = (outline::Walls::new(s), props::Prism::all(s));
    let mut frame: Vec<[f64; 3]> = walls.polygon.iter().map(|p| [p[0], p[1], 0.0]).collect();
    for p in props.iter().take(s.refs.len()).filter(|p| !p.kind.starts_with("rule")) {
        frame.extend((0..4).map(|k| [p.corner(k)[0], p.corner(k)[1], p.z1]));
    }
    if let Some(p) = props.first().filter(|p| p.kind.starts_with("rule")) {
        let c = p.centre();
        frame.extend([
            [c[0] - 40.0, c[1], 0.0],
            [c[0] + 40.0, c[1], 0.0],
            [c[0], c[1] - 12.0, 0.0],
            [c[0], c[1] + 12.0, 0.0],
        ]);
    }
    camera::View::framing(s, &frame)
}

/// Makes the scene.
pub fn make(s: &Spec) -> Made {
    let walls = outline::Walls::new(s);
    let c = cut_floor(s, &walls);
    let mut rough = c.z.clone();
    surface::roughen(s, &mut rough);
    let (burr, ragged) = surface::burr(s, &walls, &c.z);
    let stock = wood::Stock::new(s);
    let props = props::Prism::all(s);
    let view = view_of(s);
    let (pixel, _) = view.scale(s.centre(), -s.depth);
    let scene = render::Scene {
        s,
        walls: &walls,
        view: &view,
        stock: &stock,
        z: &rough,
        burr: &burr,
        burn: c.burn.as_ref(),
        props: &props,
    };
    let (planes, lit) = render::render(&scene, pixel);

    // How strongly the marks show: the same floor without them, with them, and rough.
    let mut level = c.z.clone();
    let mut some: Vec<f32> = level.v.iter().step_by(17).copied().filter(|v| *v < cut::SOLID).collect();
    let middle = field::median(&mut some);
    level.v.iter_mut().filter(|v| **v < cut::SOLID).for_each(|v| *v = middle);
    let light = |z: &Field| render::light_floor(s, z, None, &[], None).e;
    let (flat, clean) = (light(&level), light(&c.z));
    let wide = if s.stepover > 3.0 && !s.skim { 5.0 * s.stepover } else { 12.8 };
    let luminance = |x: f64, y: f64| {
        let c = stock.colour(x, y, -s.depth);
        f64::from(0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2])
    };
    let base = if s.cause == "fuzz-or-tear" { &clean } else { &lit.e };
    let rating = visible::Rating::new(s, &flat, &clean, base, luminance, &c.z, pixel, wide);
    let all = |_: f64, _: f64| true;
    let mut marks = rating.rate(&rating.change(&clean, &flat, all), true);
    let figure = wood::Stock::is_wood(s.material).then(|| {
        let mean = 0.3 * f64::from(s.figure as f32);
        let depth = match s.material {
            "pine" => 0.45,
            "oak" => 0.3,
            "beech" => 0.2,
            _ => 0.2,
        };
        rating.rate(&rating.colour_change(|x, y| -depth * (f64::from(stock.figure_at(x, y, -s.depth)) - mean)), false)
    });
    match s.cause {
        "wood-figure" => marks = figure.unwrap_or_default(),
        "fuzz-or-tear" => marks = rating.rate(&rating.change(&lit.e, &clean, all), true),
        "turn-marks" => {
            if let Some(b) = &c.burn {
                let m = rating.rate(&rating.colour_change(|x, y| -0.8 * f64::from(b.near(x, y))), true);
                if m.db > marks.db {
                    marks = m;
                }
            }
        }
        _ => {}
    }
    let strip = if s.skim || s.lift_um == 0.0 { None } else { truth::strip(s, &c) };
    let (mut strip_seen, mut elsewhere, mut parts) = (None, None, None);
    if let Some(q) = &strip {
        let mut near = q.mask.clone();
        near.blur(0.6 / s.g);
        strip_seen = Some(rating.rate(&rating.change(&clean, &flat, |x, y| near.at(x, y) > 0.02), true));
        elsewhere = Some(rating.rate(&rating.change(&clean, &flat, |x, y| near.at(x, y) <= 0.02), true));
    }
    if s.cause == "both" {
        let steps =
            Spec { tool: spec::Tool { bottom: spec::Bottom::Flat, ..s.tool.clone() }, tilt: [0.0, 0.0], ..s.clone() };
        let scallops = Spec { lift_um: 0.0, ..s.clone() };
        let one = |q: &Spec| rating.rate(&rating.change(&light(&cut_floor(q, &walls).z), &flat, all), true);
        parts = Some((one(&steps), one(&scallops)));
    }
    let bright = {
        let (mut sum, mut n) = (0.0, 0.0);
        for j in (0..c.z.h).step_by(16) {
            for i in (0..c.z.w).step_by(16) {
                if c.z.v[j * c.z.w + i] < cut::SOLID {
                    sum += luminance(c.z.x(i), c.z.y(j));
                    n += 1.0;
                }
            }
        }
        sum / f64::max(n, 1.0) * (1.0 + s.light.ambient)
    };
    let jpeg = develop::encode(s, develop::develop(s, planes, bright));
    let facts = truth::Facts {
        s,
        view: &view,
        walls: &walls,
        cut: &c,
        marks,
        strip_seen,
        elsewhere,
        parts,
        figure,
        strip,
        lit_fraction: rating.lit_fraction,
        texture_rms: rating.texture_rms,
        burr: ragged,
        props: &props,
    };
    Made { jpeg, plan: plan_file::plan_file(s), truth: truth::truth(&facts) }
}
