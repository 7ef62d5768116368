//! Quick photos for references: a stock with a plain pocket and one thing beside it, without cutting the floor. Rays meet
//! tops, sides, stock, walls and floor exactly; shadows are sharp; the floor's ridges are a brightness wave.

use super::camera::View;
use super::develop;
use super::draw::{Lying, Size, draw_with};
use super::field::P;
use super::light::{lambert, lamp_at};
use super::outline::Walls;
use super::plan_file;
use super::props::Prism;
use super::spec::{Outline, Spec};
use super::wood::{Rgb, Stock};
use rayon::prelude::*;
use serde_json::{Value, json};

/// A photo, its plan and the truth about the reference and the floor's map.
pub struct Quick {
    pub jpeg: Vec<u8>,
    pub plan: String,
    pub truth: Value,
    pub spec: Spec,
}

/// The quick photo of a seed.
pub fn quick(seed: u64, size: Size, lying: Lying) -> Quick {
    let mut s = draw_with(seed, Some("cusps"), size, lying);
    s.clutter.clear();
    // Bad photos are another test's matter.
    s.camera.expo = s.camera.expo.clamp(0.35, 0.75);
    photo(s)
}

/// The quick photo of a scene.
pub fn photo(s: Spec) -> Quick {
    let (walls, stock, props) = (Walls::new(&s), Stock::new(&s), Prism::all(&s));
    let mut frame: Vec<[f64; 3]> = walls.polygon.iter().map(|p| [p[0], p[1], 0.0]).collect();
    for p in &props {
        if p.kind.starts_with("rule") {
            // A rule may run out of the picture.
            let c = p.centre();
            frame.extend(
                [[-50.0, 0.0], [50.0, 0.0], [0.0, -14.0], [0.0, 14.0]].map(|d| [c[0] + d[0], c[1] + d[1], 0.0]),
            );
        } else {
            frame.extend((0..4).map(|k| [p.corner(k)[0], p.corner(k)[1], p.z1]));
        }
    }
    let view = View::framing(&s, &frame);
    let lamp = lamp_at(&s);
    // Inside corners carry the cutter's radius.
    let open = |p: P| {
        let r = s.radius();
        let (c, [w, h]) = (s.centre(), s.size);
        if s.outline != Outline::Rect {
            return walls.room(p) > 0.0;
        }
        let (a, b) = ((p[0] - c[0]).abs() - (w / 2.0 - 2.0 - r), (p[1] - c[1]).abs() - (h / 2.0 - 2.0 - r));
        a.max(0.0).hypot(b.max(0.0)) < r && a < r && b < r
    };
    let blocked = |p: [f64; 3]| {
        let at = |z: f64| {
            let t = (z - p[2]) / (lamp[2] - p[2]);
            [p[0] + t * (lamp[0] - p[0]), p[1] + t * (lamp[1] - p[1])]
        };
        let wall = p[2] < -0.01 && (1..=6).any(|k| !open(at(p[2] * (1.0 - f64::from(k) / 6.0))));
        wall || props.iter().any(|q| {
            let low = q.z0.max(p[2] + 0.01);
            q.z1 > p[2] + 0.02 && (0..=10).any(|k| q.covers(at(low + (q.z1 - low) * f64::from(k) / 10.0)))
        })
    };
    let lit = |p: [f64; 3], n: [f64; 3]| {
        let own = if blocked(p) { 0.0 } else { lambert(&s, lamp, p, n) };
        (own + s.light.ambient) as f32
    };
    let look = |px: P| -> Rgb {
        let d = view.ray(px);
        let at = |z: f64| view.meet(d, z);
        for q in &props {
            for i in 0..=8 {
                let z = q.z1 + (q.z0 - q.z1) * f64::from(i) / 8.0;
                let p = at(z);
                if q.covers(p) && (q.z0 > -0.01 || open(at(0.0))) {
                    if i == 0 {
                        let e = lit([p[0], p[1], z], [0.0, 0.0, 1.0]);
                        return q.face(p).map(|c| c * e);
                    }
                    let c = q.centre();
                    let m = (p[0] - c[0]).hypot(p[1] - c[1]).max(1e-9);
                    let n = [(p[0] - c[0]) / m, (p[1] - c[1]) / m, 0.0];
                    let e = lambert(&s, lamp, [p[0], p[1], z], n) + 0.8 * s.light.ambient;
                    return q.side().map(|c| c * e as f32);
                }
            }
        }
        let top = at(0.0);
        if !open(top) {
            let e = lit([top[0], top[1], 0.0], [0.0, 0.0, 1.0]);
            return stock.colour(top[0], top[1], 0.0).map(|c| c * e);
        }
        for i in 1..=12 {
            let z = -s.depth * f64::from(i) / 12.0;
            let p = at(z);
            if !open(p) {
                let away = walls.away(p);
                let inside = [p[0] + 0.05 * away[0], p[1] + 0.05 * away[1], z];
                let e = lit(inside, [away[0], away[1], 0.0]);
                return stock.colour(p[0], p[1], z).map(|c| c * e);
            }
        }
        let p = at(-s.depth);
        let wave = 1.0 + 0.25 * (std::f64::consts::TAU * p[1] / s.stepover.max(0.3)).sin() as f32;
        let e = lit([p[0], p[1], -s.depth], [0.0, 0.0, 1.0]) * wave;
        stock.colour(p[0], p[1], -s.depth).map(|c| c * e)
    };
    let [w, h] = view.size;
    let mut px = vec![[0f32; 3]; w * h];
    px.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        for (i, c) in row.iter_mut().enumerate() {
            // Bare stock needs one look, things with edges four.
            let g = view.ground([i as f64, j as f64], 0.0);
            let near = props.iter().any(|q| {
                let c = q.centre();
                (g[0] - c[0]).hypot(g[1] - c[1]) < q.reach() + 20.0
            });
            if !near && walls.room(g).abs() > 6.0 {
                *c = look([i as f64, j as f64]);
                continue;
            }
            for (a, b) in [(-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)] {
                let l = look([i as f64 + a, j as f64 + b]);
                (0..3).for_each(|k| c[k] += 0.25 * l[k]);
            }
        }
    });
    let m = s.centre();
    let mean = stock.colour(m[0], m[1], 0.0);
    let bright = f64::from(0.2126 * mean[0] + 0.7152 * mean[1] + 0.0722 * mean[2]) * (1.0 + s.light.ambient);
    let planes = (0..3).map(|k| px.iter().map(|c| c[k]).collect()).collect();
    let jpeg = develop::encode(&s, develop::develop(&s, planes, bright));
    let refs: Vec<Value> = s
        .refs
        .iter()
        .zip(&props)
        .map(|(r, q)| {
            let corners: Vec<P> = (0..4).map(|k| q.corner(k)).collect();
            let c = q.centre();
            json!({
                "kind": q.kind, "plane": if r.on_floor { "floor" } else { "rim" }, "height_mm": q.z1 - q.z0,
                "size_mm": [q.len, q.wid], "corners_mm": corners, "centre_px": view.project([c[0], c[1], q.z1]),
                "corners_px": corners.iter().map(|p| view.project([p[0], p[1], q.z1])).collect::<Vec<_>>(),
            })
        })
        .collect();
    let rim: Vec<P> =
        [[2.0, 2.0], [s.size[0] - 2.0, 2.0], [s.size[0] - 2.0, s.size[1] - 2.0], [2.0, s.size[1] - 2.0]].to_vec();
    let corner = |z: f64| rim.iter().map(|p| view.project([p[0], p[1], z])).collect::<Vec<_>>();
    let truth = json!({
        "refs": refs, "photo": { "width_px": w, "height_px": h, "exif": s.camera.exif },
        "floor_homography": view.homography(-s.depth), "top_homography": view.homography(0.0), "k1": view.k1,
        "f_px": view.f, "tilt_deg": s.camera.tilt, "cutter_mm": s.tool.d, "outline": format!("{:?}", s.outline), "distance_mm": view.distance(), "depth_mm": s.depth,
        "pocket_rim_corners_px": corner(0.0), "pocket_floor_corners_px": corner(-s.depth),
        "pocket_mm": [s.size[0] - 4.0, s.size[1] - 4.0],
    });
    Quick { jpeg, plan: plan_file::plan_file(&s), truth, spec: s }
}
