//! Strips: two parallel edges of opposite polarity with a level of its own between them.

use super::types::{Edge, Polarity, Strip};
use crate::floor::Light;
use crate::geometry::Point;
use crate::marks::light;
use crate::units::{Measured, line_difference};

/// Parallel within this, degrees.
const PARALLEL: f64 = 1.5;
/// Share of the shorter edge that must run beside the longer.
const OVERLAP: f64 = 0.6;
/// Share of a wall's length that a single edge along it must have to bound a strip at that wall.
const WALL_SHARE: f64 = 0.5;

/// Pairs edges into strips between `narrowest` and `widest` (floor units), strongest first, each edge used once.
/// `regular` marks directions (normals) whose lines repeat: their edges are a family, not strips, but for those that stand out
/// of it.
pub(super) fn find(edges: &[Edge], outline: &[Point], lamp: &Light, limits: (f64, f64), regular: &[f64]) -> Vec<Strip> {
    let mut pairs: Vec<(f64, Strip)> = Vec::new();
    for (i, a) in edges.iter().enumerate() {
        let regular = regular.iter().any(|n| line_difference(a.normal_deg, *n).abs() < 3.0);
        for (j, b) in edges.iter().enumerate().skip(i + 1) {
            if regular && !(a.stands_out && b.stands_out) {
                continue;
            }
            if a.polarity == b.polarity || line_difference(a.normal_deg, b.normal_deg).abs() > PARALLEL {
                continue;
            }
            if let Some(s) = pair(edges, i, j, outline, lamp, limits) {
                pairs.push((a.snr.min(b.snr) * s.length.sqrt(), s));
            }
        }
    }
    for (i, a) in edges.iter().enumerate() {
        let regular = regular.iter().any(|n| line_difference(a.normal_deg, *n).abs() < 3.0);
        if let Some(s) = beside_wall(a, i, outline, lamp, limits).filter(|_| !regular) {
            // Half the evidence of a strip with both edges in sight.
            pairs.push((0.5 * a.snr * s.length.sqrt(), s));
        }
    }
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut used = vec![false; edges.len()];
    let mut out = Vec::new();
    for (_, s) in pairs {
        if !used[s.edges.0] && !used[s.edges.1] {
            used[s.edges.0] = true;
            used[s.edges.1] = true;
            out.push(s);
        }
    }
    out
}

/// A strip between a wall and one long edge along it: the other edge is the wall itself.
fn beside_wall(e: &Edge, i: usize, outline: &[Point], lamp: &Light, limits: (f64, f64)) -> Option<Strip> {
    let middle = e.from.lerp(e.to, 0.5);
    let (width, side) = wall(outline, middle, e.normal_deg, 3.0)?;
    if e.length < WALL_SHARE * side.2 || width < limits.0 || width > limits.1 {
        return None;
    }
    let (s, c) = e.normal_deg.to_radians().sin_cos();
    // +1 where the wall stands on the side the normal points to.
    let towards = ((side.0 - middle).x * c + (side.0 - middle).y * s).signum();
    // Shade: higher on the lamp's side.
    let lamp_side = light::across(lamp, e.normal_deg)?.signum();
    let proud = (e.polarity == Polarity::Shade) == (towards == lamp_side);
    let offset = e.offset + towards * width / 2.0;
    Some(Strip {
        offset,
        normal_deg: e.normal_deg,
        width: Measured::new(width, 0.15 * limits.0 / 0.3)?,
        length: e.length,
        proud,
        level_um: e.height_um.map(|h| Measured { value: h.value.abs() * if proud { 1.0 } else { -1.0 }, ..h }),
        wall_distance: Some(width / 2.0),
        edges: (i, i),
    })
}

fn pair(edges: &[Edge], i: usize, j: usize, outline: &[Point], lamp: &Light, limits: (f64, f64)) -> Option<Strip> {
    let (a, b) = (&edges[i], &edges[j]);
    // One normal for both, weighted by length.
    let normal_deg = a.normal_deg + line_difference(b.normal_deg, a.normal_deg) * b.length / (a.length + b.length);
    let (s, c) = normal_deg.to_radians().sin_cos();
    let across = |p: Point| p.x * c + p.y * s;
    let along = |p: Point| p.y * c - p.x * s;
    let span = |e: &Edge| {
        let (x, y) = (along(e.from), along(e.to));
        (x.min(y), x.max(y))
    };
    let (sa, sb) = (span(a), span(b));
    let common = (sa.0.max(sb.0), sa.1.min(sb.1));
    let length = common.1 - common.0;
    if length < OVERLAP * (sa.1 - sa.0).min(sb.1 - sb.0) {
        return None;
    }
    // Positions at the middle of the common stretch.
    let u = 0.5 * (common.0 + common.1);
    let at = |e: &Edge| {
        let (u0, u1) = (along(e.from), along(e.to));
        across(e.from.lerp(e.to, if (u1 - u0).abs() > 0.0 { (u - u0) / (u1 - u0) } else { 0.5 }))
    };
    let (ta, tb) = (at(a), at(b));
    let width = (ta - tb).abs();
    if width < limits.0 || width > limits.1 {
        return None;
    }
    // Going with the light, lit then shade is proud, shade then lit is deep.
    let to_lamp = light::across(lamp, normal_deg)?;
    let nearer = if (ta > tb) == (to_lamp > 0.0) { a } else { b };
    let proud = nearer.polarity == Polarity::Lit;
    // The shaded edge carries the level: lit edges stop brightening.
    let shade = if a.polarity == Polarity::Shade { a } else { b };
    let level_um = shade.height_um.map(|h| Measured { value: h.value.abs() * if proud { 1.0 } else { -1.0 }, ..h });
    let offset = 0.5 * (ta + tb);
    let middle = Point::new(offset * c - u * s, offset * s + u * c);
    Some(Strip {
        offset,
        normal_deg,
        width: Measured::new(
            width,
            (0.1 * a.deficit.value.abs()).hypot(0.1 * b.deficit.value.abs()).max(0.03 * limits.0),
        )?,
        length,
        proud,
        level_um,
        wall_distance: wall(outline, middle, normal_deg, 10.0).map(|w| w.0),
        edges: (i, j),
    })
}

/// Distance from a point to the nearest side of the outline that runs along the strip (within `within` degrees), and
/// that side: its nearest point, and its direction's length over pieces that join straight.
fn wall(outline: &[Point], p: Point, normal_deg: f64, within: f64) -> Option<(f64, (Point, f64, f64))> {
    let n = outline.len();
    let (s, c) = normal_deg.to_radians().sin_cos();
    let mut best: Option<(f64, (Point, f64, f64))> = None;
    for i in 0..n {
        let (a, b) = (outline[i], outline[(i + 1) % n]);
        let d = b - a;
        let length = d.x.hypot(d.y);
        let side_normal = d.x.atan2(-d.y).to_degrees();
        if length <= 0.0 || line_difference(side_normal, normal_deg).abs() > within {
            continue;
        }
        let t = ((p - a).x * d.x + (p - a).y * d.y) / (length * length);
        if (-0.05..=1.05).contains(&t) {
            let away = ((p - a).x * d.y - (p - a).y * d.x).abs() / length;
            let foot = a + d * t;
            // All pieces of the outline on this same line.
            let level = foot.x * c + foot.y * s;
            let run: f64 = (0..n)
                .filter_map(|k| {
                    let (q, r) = (outline[k], outline[(k + 1) % n]);
                    let m = q.lerp(r, 0.5);
                    let e = r - q;
                    let turn = line_difference(e.x.atan2(-e.y).to_degrees(), normal_deg).abs();
                    (turn <= within && (m.x * c + m.y * s - level).abs() < 0.1 * length.max(1.0))
                        .then(|| e.x.hypot(e.y))
                })
                .sum();
            if best.is_none_or(|(v, _)| away < v) {
                best = Some((away, (foot, t, run)));
            }
        }
    }
    best
}
