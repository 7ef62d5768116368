//! The truth file of a scene: what was cut, where things are in the photo, and what an expert could say from it.

use super::camera::View;
use super::cut::{Cut, SOLID};
use super::field::{Field, quantile};
use super::outline::Walls;
use super::plan_file::pocket_mm;
use super::props::{CARD_R, Prism};
use super::spec::{Bottom, Outline, Pattern, Ripple, Spec};
use super::visible::Seen;
use serde_json::{Value, json};

/// One period that a perfect tool would report.
pub struct Family {
    pub pitch: f64,
    pub normal: Option<f64>,
    pub curved: bool,
    pub what: &'static str,
    pub role: &'static str,
}

pub fn families(s: &Spec) -> Vec<Family> {
    let one = |pitch, normal: f64, curved, what, role| Family {
        pitch,
        normal: Some(normal.rem_euclid(180.0)),
        curved,
        what,
        role,
    };
    if s.skim {
        return vec![];
    }
    match s.ripple {
        Some(Ripple::Wave { pitch, normal, .. }) => {
            return vec![one(
                pitch,
                normal,
                false,
                if s.cause == "chatter" { "chatter" } else { "drive lead" },
                "main",
            )];
        }
        Some(Ripple::Arcs { pitch, .. }) => {
            let Pattern::Parallel { angle, .. } = s.pattern else { return vec![] };
            return vec![one(
                pitch,
                angle,
                true,
                if s.cause == "once-per-tooth" { "feed per tooth" } else { "feed per turn" },
                "main",
            )];
        }
        None => {}
    }
    let scallops = matches!(s.cause, "tilt-across-passes" | "tilt-along-passes" | "cusps" | "both");
    match s.pattern {
        Pattern::Parallel { angle, .. } if s.cause == "alternating-passes" => vec![
            one(2.0 * s.stepover, angle + 90.0, false, "two stepovers", "main"),
            one(s.stepover, angle + 90.0, false, "edges one stepover apart", "sub-period"),
        ],
        Pattern::Parallel { angle, .. } if scallops => vec![one(s.stepover, angle + 90.0, false, "stepover", "main")],
        Pattern::Contour { .. } if scallops => match s.outline {
            Outline::Round => {
                vec![Family { pitch: s.stepover, normal: None, curved: true, what: "stepover", role: "main" }]
            }
            _ => [0.0, 90.0].map(|n| one(s.stepover, n, false, "stepover", "main")).into(),
        },
        _ => vec![],
    }
}

/// Handbook height of the ideal ridge in um (from memory; scallop, saw and dish formulas).
pub fn formula_um(s: &Spec) -> Option<f64> {
    let (r, p) = (s.radius(), s.stepover);
    let cusp = |r: f64, p: f64| 1e3 * (r - (r * r - p * p / 4.0).max(0.0).sqrt());
    let tilt = s.tilt[0].hypot(s.tilt[1]);
    let scallop = s.parts.map_or(s.cause, |q| q[1]);
    match (scallop, s.tool.bottom) {
        ("cusps", Bottom::Ball) => Some(cusp(r, p)),
        ("cusps", Bottom::Bull(rc)) => Some(cusp(rc, (p - (s.tool.d - 2.0 * rc)).max(0.0))),
        ("tilt-across-passes", _) => Some(1e3 * p * tilt),
        ("tilt-along-passes", _) => Some(cusp(r, p) * tilt.atan().sin()),
        _ => None,
    }
}

/// Height ranges within one period along the normal, um: (median, 95th percentile).
pub fn ridge(z: &Field, pitch: f64, normal: f64) -> Option<(f64, f64)> {
    let (sn, cs) = normal.to_radians().sin_cos();
    let n = (pitch / z.g).ceil() as usize;
    let mut ranges: Vec<f32> = vec![];
    let step = (z.h * z.w / 60_000).max(1);
    for k in (0..z.h * z.w).step_by(step) {
        let (x, y) = (z.x(k % z.w), z.y(k / z.w));
        let (mut lo, mut hi) = (f32::MAX, f32::MIN);
        for i in 0..=n {
            let t = i as f64 / n as f64 * pitch;
            let v = if z.inside(x + t * cs, y + t * sn) { z.near(x + t * cs, y + t * sn) } else { SOLID };
            (lo, hi) = (lo.min(v), hi.max(v));
        }
        if hi < SOLID / 2.0 {
            ranges.push((hi - lo) * 1e3);
        }
    }
    (ranges.len() > 50).then(|| (f64::from(quantile(&mut ranges, 0.5)), f64::from(quantile(&mut ranges, 0.95))))
}

/// Sharp steps: (median height, 95th percentile um, length mm), heights from 0.15 mm on either side.
pub fn edges(z: &Field) -> Option<(f64, f64, f64)> {
    let d = ((0.15 / z.g).round() as usize).max(1);
    let across = |k: usize, s: usize| (z.v[k + s * d] - z.v[k - s * d], z.v[k + s] - z.v[k - s]);
    let (mut heights, mut length) = (vec![], 0.0);
    for j in d..z.h - d {
        for i in d..z.w - d {
            let k = j * z.w + i;
            if [k - d * z.w, k + d * z.w, k - d, k + d].iter().any(|q| z.v[*q] > SOLID / 2.0) {
                continue;
            }
            let ((hx, gx), (hy, gy)) = (across(k, 1), across(k, z.w));
            let (g, s, h) = if gx.abs() > gy.abs() { (gx.abs(), 1, hx.abs()) } else { (gy.abs(), z.w, hy.abs()) };
            // Steepest along its own direction, at least 3 um high and steeper than any tilt.
            if h > 0.003
                && g / (2.0 * z.g as f32) > 0.03
                && g >= across(k - s, s).1.abs()
                && g > across(k + s, s).1.abs()
            {
                heights.push(h * 1e3);
                length += z.g * f64::from((gx * gx + gy * gy).sqrt() / g);
            }
        }
    }
    (length > 5.0).then(|| (f64::from(quantile(&mut heights, 0.5)), f64::from(quantile(&mut heights, 0.95)), length))
}

/// What the first full-width passes left: mask, level over the median floor (um), area (mm2), length (mm).
pub struct Strip {
    pub mask: Field,
    pub level_um: f64,
    pub area: f64,
    pub length: f64,
}

pub fn strip(s: &Spec, c: &Cut) -> Option<Strip> {
    let mut floor: Vec<f32> = c.z.v.iter().step_by(37).copied().filter(|v| *v < SOLID).collect();
    let median = quantile(&mut floor, 0.5);
    let mut mask = c.z.like(0.0);
    let mut level = vec![];
    for (k, m) in mask.v.iter_mut().enumerate() {
        let (z, f) = (c.z.v[k], c.first.v[k]);
        if z < SOLID && f <= z + 5e-4 && (z - median).abs() > 0.003 {
            *m = 1.0;
            level.push((z - median) * 1e3);
        }
    }
    let area = level.len() as f64 * s.g * s.g;
    if area < 20.0 {
        return None;
    }
    // Length of the middle line: area over the width that half the area lies within (by erosion).
    let mut edge = 0usize;
    for j in 1..mask.h - 1 {
        for i in 1..mask.w - 1 {
            let k = j * mask.w + i;
            if mask.v[k] > 0.5 {
                edge += usize::from(mask.v[k - 1] < 0.5) + usize::from(mask.v[k + 1] < 0.5);
                edge += usize::from(mask.v[k - mask.w] < 0.5) + usize::from(mask.v[k + mask.w] < 0.5);
            }
        }
    }
    // Half the outline, less for slanting borders counted cell by cell.
    let slant = match s.pattern {
        Pattern::Parallel { angle, .. } => angle.to_radians().sin().abs() + angle.to_radians().cos().abs(),
        Pattern::Contour { .. } => 1.08,
    };
    // A band of length l and width w has the outline 2 (l + w) and the area l w.
    let half = edge as f64 * s.g / slant / 2.0;
    let length = (half + (half * half - 4.0 * area).max(0.0).sqrt()) / 2.0;
    let level_um = f64::from(quantile(&mut level, 0.5));
    Some(Strip { mask, level_um, area, length: length.max(1.0) })
}

/// Everything that has been found out about a scene.
pub struct Facts<'a> {
    pub s: &'a Spec,
    pub view: &'a View,
    pub walls: &'a Walls,
    pub cut: &'a Cut,
    pub marks: Seen,
    pub strip_seen: Option<Seen>,
    pub elsewhere: Option<Seen>,
    pub parts: Option<(Seen, Seen)>,
    pub figure: Option<Seen>,
    pub strip: Option<Strip>,
    pub lit_fraction: f64,
    pub texture_rms: f64,
    pub burr: f64,
    pub props: &'a [Prism],
}

fn verdict_of(cause: &str) -> &'static str {
    match cause {
        "full-width-first-pass" | "engagement-steps" | "alternating-passes" => "deflection-steps",
        "tilt-across-passes" | "tilt-along-passes" | "cusps" => "scallops",
        "both" => "both",
        "clean" => "none-seen",
        "cannot-tell" => "cannot-tell",
        _ => "other",
    }
}

/// Cause, hidden cause, accepted findings, accepted verdicts, seen.
pub fn judge(f: &Facts) -> (String, Option<String>, Vec<String>, Vec<String>, &'static str) {
    let s = f.s;
    let seen = f.marks.word();
    let clear = |q: &Option<Seen>| q.is_some_and(|v| v.db >= 36.0);
    let mut accept: Vec<&str> = vec![s.cause];
    let omitted = |k: &str| s.plan.omit.contains(&k);
    let figure = clear(&f.figure) && s.hidden.is_none_or(|h| h != "blur");
    let mut verdicts: Vec<&str>;
    let (mut cause, mut hidden) = (s.cause, None);
    if s.cause == "clean" {
        verdicts = vec!["none-seen"];
    } else if seen == "no" {
        (cause, hidden) = ("cannot-tell", Some(s.cause.to_string()));
        accept = vec!["cannot-tell"];
        verdicts = vec!["cannot-tell", "none-seen"];
        if s.hidden.is_none() {
            accept.push("clean");
        }
        if figure {
            accept.push("wood-figure");
            verdicts.push("other");
        }
    } else {
        verdicts = vec![verdict_of(s.cause)];
        match s.cause {
            "full-width-first-pass" if clear(&f.elsewhere) => accept.push("engagement-steps"),
            "engagement-steps" if clear(&f.strip_seen) => accept.push("full-width-first-pass"),
            "cutter-change-step" => accept.push("engagement-steps"),
            "wood-figure" => {
                accept.push("clean");
                verdicts.push("none-seen");
            }
            "fuzz-or-tear" => verdicts.push("none-seen"),
            "once-per-revolution" if omitted("feed") || omitted("speed_rpm") || omitted("flutes") => {
                accept.push("once-per-tooth")
            }
            "once-per-tooth" if omitted("feed") || omitted("speed_rpm") || omitted("flutes") => {
                accept.push("once-per-revolution")
            }
            "drive-period" if s.plan.screw_lead.is_none() => accept.push("chatter"),
            "tilt-across-passes" | "tilt-along-passes" if omitted("shape") => accept.push("cusps"),
            "cusps" if omitted("shape") => accept.push("tilt-across-passes"),
            "both" => {
                if let Some((steps, scallops)) = f.parts {
                    let names = s.parts.expect("both has its parts");
                    if steps.db < 36.0 {
                        accept.push(names[1]);
                        verdicts.push("scallops");
                    }
                    if scallops.db < 36.0 {
                        accept.push(names[0]);
                        verdicts.push("deflection-steps");
                    }
                }
            }
            _ => {}
        }
        if seen == "faint" {
            accept.extend(["cannot-tell", "clean"]);
            verdicts.extend(["cannot-tell", "none-seen"]);
            if figure {
                accept.push("wood-figure");
                verdicts.push("other");
            }
        }
    }
    if s.cause == "clean" && figure {
        accept.push("wood-figure");
        verdicts.push("other");
    }
    let own = |mut v: Vec<&str>| {
        let mut seen = std::collections::HashSet::new();
        v.retain(|q| seen.insert(*q));
        v.into_iter().map(String::from).collect()
    };
    (cause.into(), hidden, own(accept), own(verdicts), if s.cause == "clean" { "no" } else { seen })
}

fn seen_json(q: &Seen) -> Value {
    let r = |v: f64, k: f64| (v * k).round() / k;
    json!({ "db": r(q.db, 10.0), "contrast": r(q.contrast, 1e4), "area": r(q.area, 1e3) })
}

pub fn truth(f: &Facts) -> Value {
    let (s, v) = (f.s, f.view);
    let floor = -s.depth;
    let (mm_per_px, photo_x) = v.scale(s.centre(), floor);
    let r = |v: f64, k: f64| (v * k).round() / k;
    let px = |p: [f64; 2], z: f64| {
        let q = v.project([p[0], p[1], z]);
        json!([r(q[0], 1e3), r(q[1], 1e3)])
    };
    let (cause, hidden, accept, verdicts, seen) = judge(f);
    let fams = families(s);
    let [pw, ph] = pocket_mm(s);
    let family_json: Vec<Value> = fams
        .iter()
        .map(|q| {
            let span = q.normal.map_or(ph / 2.0, |n| pw * n.to_radians().cos().abs() + ph * n.to_radians().sin().abs());
            let visible = if q.role == "main" { json!(seen == "yes") } else { Value::Null };
            json!({
                "pitch_mm": r(q.pitch, 1e5), "normal_pocket_deg": q.normal, "curved": q.curved, "what": q.what, "role": q.role,
                "normal_deg": q.normal.map(|n| r((n - photo_x).rem_euclid(180.0), 100.0)),
                "periods": (span / q.pitch).floor(), "visible": visible,
            })
        })
        .collect();
    let main = fams.iter().find(|q| q.role == "main");
    let ridges = main.and_then(|q| ridge(&f.cut.z, q.pitch, q.normal.unwrap_or(0.0)));
    let stepped = matches!(
        s.cause,
        "full-width-first-pass"
            | "engagement-steps"
            | "cutter-change-step"
            | "both"
            | "tilt-across-passes"
            | "alternating-passes"
    );
    let edge = if stepped && !s.skim { edges(&f.cut.z) } else { None };
    let corners = [[2.0, 2.0], [2.0 + pw, 2.0], [2.0 + pw, 2.0 + ph], [2.0, 2.0 + ph]];
    let refs: Vec<Value> = s
        .refs
        .iter()
        .zip(f.props)
        .map(|(q, p)| {
            let c: Vec<[f64; 2]> = (0..4).map(|k| p.corner(k)).collect();
            let mut o = json!({
                "kind": p.kind, "plane": if q.on_floor { "floor" } else { "rim" }, "height_mm": r(p.z1 - p.z0, 1e3),
                "size_mm": [p.len, p.wid], "rot_deg": q.rot, "corners_mm": c,
                "corners_px": c.iter().map(|m| px(*m, p.z1)).collect::<Vec<_>>(),
            });
            if p.kind == "id1" {
                o["corner_radius_mm"] = json!(CARD_R);
            }
            if let Some(print) = &p.print {
                print.tell(&mut o, |u, v| p.out(u, v), |m| px(m, p.z1));
            }
            if p.is_coin() {
                o["centre_mm"] = json!(p.centre());
                o["centre_px"] = px(p.centre(), p.z1);
            }
            o
        })
        .collect();
    let strips: Vec<Value> = f
        .strip
        .iter()
        .map(|q| json!({ "width_mm": r(q.area / q.length, 100.0), "level_um": r(q.level_um, 10.0), "length_mm": r(q.length, 10.0), "area_mm2": r(q.area, 10.0) }))
        .collect();
    let mut flat: Vec<f32> = f.cut.z.v.iter().step_by(7).copied().filter(|v| *v < SOLID).collect();
    let p2v = (quantile(&mut flat, 0.995) - quantile(&mut flat, 0.005)) * 1e3;
    let bottom = match s.tool.bottom {
        Bottom::Flat => "flat",
        Bottom::Bull(_) => "bull",
        Bottom::Ball => "ball",
    };
    let mut visibility = json!({
        "marks": seen_json(&f.marks), "share": 1.0 / (1.0 + s.light.ambient), "lit_fraction": r(f.lit_fraction, 1e4), "texture_rms": r(f.texture_rms, 1e4),
    });
    for (k, q) in [
        ("strip", f.strip_seen),
        ("elsewhere", f.elsewhere),
        ("steps", f.parts.map(|p| p.0)),
        ("scallops", f.parts.map(|p| p.1)),
        ("figure", f.figure),
    ] {
        if let Some(q) = q {
            visibility[k] = seen_json(&q);
        }
    }
    let cut = json!({
        "made_up": true, "cause": cause, "hidden_cause": hidden, "parts": s.parts, "accept": accept, "verdict_accept": verdicts,
        "seen": seen, "visible_db": r(f.marks.db, 10.0), "mark_contrast": r(f.marks.contrast, 1e4), "visibility": visibility,
        "difficulty": s.difficulty, "world": s.world, "pair": null, "families": family_json,
        "heights_um": {
            "ridge_median": ridges.map(|q| r(q.0, 10.0)), "ridge_p95": ridges.map(|q| r(q.1, 10.0)),
            "ridge_formula": formula_um(s).map(|q| r(q, 10.0)),
            "edge_median_um": edge.map(|q| r(q.0, 10.0)), "edge_p95_um": edge.map(|q| r(q.1, 10.0)), "edge_length_mm": edge.map_or(0.0, |q| r(q.2, 10.0)),
        },
        "strips": strips, "rim_burr_fraction": r(f.burr, 1e3),
    });
    let photo = json!({
        "plan_slip": s.plan.slip.map(|q| json!({ "kind": q.0, "planned_mm": q.1 })),
        "lamp": { "from_pocket_deg": r(s.light.from, 100.0), "from_deg": r((s.light.from - photo_x).rem_euclid(360.0), 100.0), "elevation_deg": s.light.el, "distance_mm": s.light.dist },
        "photo": { "width_px": s.camera.px[0], "height_px": s.camera.px[1], "orientation": s.camera.orientation, "exif": s.camera.exif },
        "mm_per_px": mm_per_px, "photo_x_in_pocket_deg": r(photo_x, 1e3),
        "pocket_shape": match s.outline { Outline::Rect => "rect", Outline::L => "L", Outline::Round => "round" }, "pocket_mm": [pw, ph],
        "pocket_floor_corners_px": corners.map(|c| px(c, floor)), "pocket_rim_corners_px": corners.map(|c| px(c, 0.0)),
        "pocket_outline_mm": f.walls.polygon, "pocket_outline_floor_px": f.walls.polygon.iter().map(|c| px(*c, floor)).collect::<Vec<_>>(),
        "refs": refs, "floor_homography": v.homography(floor), "top_homography": v.homography(0.0),
        "f_px": v.f, "cx_px": v.c[0], "cy_px": v.c[1], "k1": v.k1, "distance_mm": v.distance(),
        "engagement_levels_um": f.cut.levels.iter().take(20).map(|q| [r(q.0, 1e3), r(q.1, 100.0)]).collect::<Vec<_>>(),
        "floor_p2v_um": p2v,
    });
    let spec = json!({
            "seed": s.seed, "material": s.material, "size": s.size, "depth": s.depth, "stepover": s.stepover,
            "tool": { "d": s.tool.d, "kind": bottom, "helix": if s.tool.up_cut { "up-cut" } else { "down-cut" }, "flutes": s.tool.flutes },
            "tool2": s.tool2.map(|q| json!({ "d": q.0, "stepover": q.1, "dz": q.2 })), "pattern": format!("{:?}", s.pattern), "perimeter": s.perimeter,
            "lift": s.lift_um, "lean": s.lean, "tilt": s.tilt, "finish": s.skim, "ripple": format!("{:?}", s.ripple), "turn_um": s.turn_um, "torn_um": s.torn_um,
            "grain": s.grain, "ring_mm": s.ring_mm, "figure": s.figure, "fuzz_um": s.fuzz_um, "letters": s.letters.map(|q| q.0), "hidden": s.hidden,
            "feed": s.feed, "rpm": s.rpm, "g": s.g, "light": format!("{:?}", s.light), "camera": format!("{:?}", s.camera), "plan": { "omit": s.plan.omit },
    });
    let mut all = serde_json::Map::new();
    for part in [cut, photo, json!({ "spec": spec })] {
        all.extend(part.as_object().expect("written as an object").clone());
    }
    Value::Object(all)
}
