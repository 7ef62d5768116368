//! Four lines that can be the outline of a rectangle of known size seen by the camera.

use super::lines::Line;
use crate::geometry::{Homography, Point, Pose, signed_area};

/// What the camera can be: principal point and focal length in the pixels of the picture searched, and how far the focal
/// length is known (relative, one sigma).
#[derive(Debug, Clone, Copy)]
pub struct Camera {
    pub focal_px: f64,
    pub relative: f64,
    pub centre: Point,
    /// Radial distortion coefficients as far as known, and their sigmas.
    pub k1: (f64, f64),
    pub k2: (f64, f64),
}

/// A rectangle hypothesis in the picture's pixels: corners in order, the first side is the long one.
#[derive(Debug, Clone)]
pub struct Quad {
    pub corners: [Point; 4],
    /// Mean share of the sides that carries edge, less a part for the deviation from the wanted shape.
    pub score: f64,
}

/// Least share of one side that must carry edge, and of all four on average. A side broken by prints or by a stripe of
/// the stock's colour still passes; four chance lines of grain seldom do.
const LEAST_COVER: f64 = 0.35;
const MEAN_COVER: f64 = 0.55;

/// Largest obliquity looked for, degrees: beyond it a floor is not readable either.
pub const STEEPEST_DEG: f64 = 50.0;

/// Quads among the lines whose pose says width x height, best first, at most `most`.
///
/// `least_px`: shortest side in px. `tolerance`: largest deviation of log aspect and of the corner's cosine.
pub fn quads(
    lines: &[Line],
    camera: &Camera,
    size_mm: (f64, f64),
    least_px: f64,
    tolerance: f64,
    most: usize,
) -> Vec<Quad> {
    let mut out: Vec<Quad> = vec![];
    for i in 0..lines.len() {
        for j in i + 1..lines.len() {
            let (a, b) = (&lines[i], &lines[j]);
            let turn = (a.along.x * b.along.y - a.along.y * b.along.x).abs();
            // Opposite sides converge by up to 25 degrees under strong perspective.
            if turn > 0.42 || a.off(b.at).abs().min(b.off(a.at).abs()) < 0.7 * least_px {
                continue;
            }
            let mut rungs: Vec<(usize, Point, Point, f64)> = vec![];
            for (k, c) in lines.iter().enumerate() {
                if k == i || k == j {
                    continue;
                }
                let (Some(p), Some(q)) = (a.crossing(c), b.crossing(c)) else { continue };
                let cover = c.cover(c.t_of(p), c.t_of(q));
                if cover > LEAST_COVER && p.distance(q) > least_px {
                    rungs.push((k, p, q, cover));
                }
            }
            for (n, r) in rungs.iter().enumerate() {
                for s in &rungs[n + 1..] {
                    // Every quad is met twice, from either pair of opposite sides.
                    if i > r.0.min(s.0) || r.1.distance(s.1) < least_px || r.2.distance(s.2) < least_px {
                        continue;
                    }
                    let (ca, cb) = (a.cover(a.t_of(r.1), a.t_of(s.1)), b.cover(b.t_of(r.2), b.t_of(s.2)));
                    let mean = (ca + cb + r.3 + s.3) / 4.0;
                    if ca.min(cb) < LEAST_COVER || mean < MEAN_COVER {
                        continue;
                    }
                    if let Some(q) = as_quad([r.1, s.1, s.2, r.2], mean, camera, size_mm, tolerance) {
                        out.push(q);
                    }
                }
            }
        }
    }
    out.sort_by(|a, b| b.score.total_cmp(&a.score));
    out.truncate(most);
    out
}

/// The four corners as a quad, if they are convex and their pose says width x height.
pub fn as_quad(mut c: [Point; 4], cover: f64, camera: &Camera, size_mm: (f64, f64), tolerance: f64) -> Option<Quad> {
    if signed_area(&c) < 0.0 {
        c.reverse();
    }
    // Convex: every corner turns the same way.
    for k in 0..4 {
        let (p, q, r) = (c[k], c[(k + 1) % 4], c[(k + 2) % 4]);
        if (q.x - p.x) * (r.y - q.y) - (q.y - p.y) * (r.x - q.x) <= 0.0 {
            return None;
        }
    }
    let mut best: Option<Quad> = None;
    for first in 0..2 {
        let corners = [c[first], c[(first + 1) % 4], c[(first + 2) % 4], c[(first + 3) % 4]];
        // A focal length that is not well known may move by one sigma to fit.
        let steps: &[f64] = if camera.relative > 0.08 { &[-1.0, -0.5, 0.0, 0.5, 1.0] } else { &[0.0] };
        for s in steps {
            let focal_px = camera.focal_px * (1.0 + s * camera.relative);
            let Some((aspect, skew, tilt)) = shape(&corners, focal_px, camera.centre, size_mm) else { continue };
            if aspect.abs() > tolerance || skew.abs() > tolerance || tilt > STEEPEST_DEG {
                continue;
            }
            let score = cover - 0.15 * (aspect.abs() + skew.abs()) / tolerance;
            if best.as_ref().is_none_or(|b| score > b.score) {
                best = Some(Quad { corners, score });
            }
        }
    }
    best
}

/// Log of the aspect over the wanted one, cosine between the sides, and obliquity in degrees, by the pose.
pub fn shape(corners: &[Point; 4], focal_px: f64, centre: Point, (w, h): (f64, f64)) -> Option<(f64, f64, f64)> {
    let m = from_square(corners)?;
    // Columns in camera axes: K^-1 H.
    let column = |k: usize| {
        let v = m.matrix().column(k);
        nalgebra::Vector3::new((v[0] - centre.x * v[2]) / focal_px, (v[1] - centre.y * v[2]) / focal_px, v[2])
    };
    let (a, b) = (column(0) / w, column(1) / h);
    let (na, nb) = (a.norm(), b.norm());
    let normal = a.cross(&b).normalize();
    let tilt = normal.z.abs().clamp(0.0, 1.0).acos().to_degrees();
    let out = ((na / nb).ln(), a.dot(&b) / (na * nb), tilt);
    (out.0.is_finite() && out.1.is_finite()).then_some(out)
}

/// Log of the aspect over the wanted one and cosine between the sides, under the focal length near the camera's that fits best.
pub fn nearest_shape(corners: &[Point; 4], camera: &Camera, size: (f64, f64)) -> Option<(f64, f64)> {
    let steps: &[f64] = if camera.relative > 0.08 { &[-1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5] } else { &[0.0] };
    steps
        .iter()
        .filter_map(|s| shape(corners, camera.focal_px * (1.0 + s * camera.relative), camera.centre, size))
        .map(|(a, s, _)| (a, s))
        .min_by(|a, b| a.0.hypot(a.1).total_cmp(&b.0.hypot(b.1)))
}

/// Largest deviation of log aspect and corner cosine of the free lines. A focal length wrong by 3 % makes up to 1 % at 30
/// degrees, lens distortion of 1.2 % up to 0.7 %, of 3 %, the most that phones leave, up to 1.8 %. For a card, whose corners
/// turn down what it is not, all of that: less loses cards near the photo's edge. A rim has few corners that show, and more
/// than the usual lens makes would let the foot of a wall stand for one of its sides.
pub const CARD_SHAPE: f64 = 0.028;
pub const RIM_SHAPE: f64 = 0.02;

/// How much a corner off by this moves the shape is allowed on top, px: lines through 48 steps that scatter by half a pixel
/// or more beside grain, print and shadow. On a small card seen obliquely a pixel is 2 % of the shape.
const CORNER_PX: f64 = 0.7;

/// Largest deviations of log aspect and corner cosine for a figure seen at these corners; `most` for one seen sharply.
pub fn shape_limits(corners: &[Point; 4], camera: &Camera, size: (f64, f64), most: f64) -> Option<(f64, f64)> {
    let at = |c: &[Point; 4]| shape(c, camera.focal_px, camera.centre, size);
    let (aspect, skew, _) = at(corners)?;
    let mut most = (most, most);
    for k in 0..4 {
        for step in [Point::new(CORNER_PX, 0.0), Point::new(0.0, CORNER_PX)] {
            let mut moved = *corners;
            moved[k] = moved[k] + step;
            let (a, s, _) = at(&moved)?;
            most = (most.0.hypot(a - aspect), most.1.hypot(s - skew));
        }
    }
    Some(most)
}

/// Pose of a width x height rectangle, origin at its middle, from its four corners in order.
pub fn pose(corners: &[Point; 4], camera: &Camera, (w, h): (f64, f64)) -> Option<Pose> {
    let (x, y) = (w / 2.0, h / 2.0);
    let mm = [Point::new(-x, -y), Point::new(x, -y), Point::new(x, y), Point::new(-x, y)];
    let pairs: Vec<_> = mm.into_iter().zip(*corners).collect();
    Pose::from_homography(&Homography::from_pairs(&pairs)?, camera.focal_px, camera.centre)
}

/// Unit square to quad (Heckbert 1989, closed form).
fn from_square(c: &[Point; 4]) -> Option<Homography> {
    let s = c[0] - c[1] + c[2] - c[3];
    let (d1, d2) = (c[1] - c[2], c[3] - c[2]);
    let det = d1.x * d2.y - d1.y * d2.x;
    let (g, h) = ((s.x * d2.y - s.y * d2.x) / det, (d1.x * s.y - d1.y * s.x) / det);
    Homography::from_matrix(nalgebra::Matrix3::new(
        c[1].x - c[0].x + g * c[1].x,
        c[3].x - c[0].x + h * c[3].x,
        c[0].x,
        c[1].y - c[0].y + g * c[1].y,
        c[3].y - c[0].y + h * c[3].y,
        c[0].y,
        g,
        h,
        1.0,
    ))
}
