//! A rectangle of known size looked for by its edges: first everywhere on a coarse picture, then closely.

use super::search::Sight;
use crate::geometry::Point;
use crate::raster::Plane;
use rayon::prelude::*;

/// Edge strength at which a sample counts fully, as a step of ln(light) over the smoothing width: 0.25 is a change of
/// light by a quarter, the weakest wall that still shows clearly. Higher lets the shadow alone decide, lower lets grain in.
const FULL_STEP: f32 = 0.25;

/// A rectangle on the rim's plane: middle, direction of its width, size; frame units.
#[derive(Debug, Clone, Copy)]
pub struct Rectangle {
    pub middle: Point,
    pub angle: f64,
    pub width: f64,
    pub height: f64,
}

impl Rectangle {
    /// Corners in the order top-left, top-right, bottom-right, bottom-left of its own frame.
    pub fn corners(&self) -> [Point; 4] {
        let (c, s) = (self.angle.cos(), self.angle.sin());
        [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)].map(|(u, v)| {
            let (u, v) = (u * self.width, v * self.height);
            self.middle + Point::new(u * c - v * s, u * s + v * c)
        })
    }
}

/// The best place for a rectangle of `size` (frame units), with its score; `None` when it does not fit into the picture.
pub fn find(sight: &Sight, size: (f64, f64)) -> Option<(Rectangle, f64)> {
    // About 450 samples across: 0.6 mm, a third of the finest wall-to-wall slack. All directions are first tried at half of
    // that; the ten best (a direction, its neighbours, and two other guesses) decide.
    let fine = Reduced::new(sight, 2);
    let coarse = Reduced::new(sight, 4);
    let mut tried: Vec<(f64, f64)> = directions(&fine)
        .into_par_iter()
        .filter_map(|angle| coarse.best(sight, size, angle).map(|(_, score)| (angle, score)))
        .collect();
    tried.sort_by(|a, b| b.1.total_cmp(&a.1));
    tried
        .into_par_iter()
        .take(10)
        .filter_map(|(angle, _)| fine.best(sight, size, angle))
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

/// The search picture, reduced: gradient across x and y (0 where nothing is shown) and light of each sample.
struct Reduced {
    k: usize,
    width: usize,
    height: usize,
    data: Vec<[f32; 3]>,
}

impl Reduced {
    fn new(sight: &Sight, k: usize) -> Self {
        let log = sight.log.shrink(k);
        let (gx, gy) = crate::raster::gradients(&crate::raster::gaussian_blur(&log, 1.2));
        let shown = |at: usize| sight.valid.at(at % log.width * k, at / log.width * k);
        let keep = |at: usize, g: f32| if shown(at) { g } else { 0.0 };
        let data = (0..log.data.len()).map(|at| [keep(at, gx.data[at]), keep(at, gy.data[at]), log.data[at]]).collect();
        Self { k, width: log.width, height: log.height, data }
    }

    /// The best rectangle of `size` in one direction, with its score.
    fn best(&self, sight: &Sight, size: (f64, f64), angle: f64) -> Option<(Rectangle, f64)> {
        let k = self.k as f64;
        let step = sight.step * k;
        let (u, v, score) = Turned::new(self, angle).best(size.0 / step, size.1 / step)?;
        let (c, s) = (angle.cos(), angle.sin());
        let at = |v: f64| (v + 0.5) * k - 0.5;
        let x = self.width as f64 / 2.0 + u * c - v * s;
        let y = self.height as f64 / 2.0 + u * s + v * c;
        let middle = sight.to_plane(at(x), at(y));
        Some((Rectangle { middle, angle, width: size.0, height: size.1 }, score))
    }
}

/// Directions to try, radians in [0, pi): the strongest of the picture's straight edges, and near its own axes.
fn directions(picture: &Reduced) -> Vec<f64> {
    let mut histogram = [0.0f64; 90];
    for [x, y, _] in &picture.data {
        let g = x.hypot(*y);
        if g > 0.03 {
            let bin = y.atan2(*x).to_degrees().rem_euclid(90.0) as usize % 90;
            histogram[bin] += f64::from(g.min(FULL_STEP));
        }
    }
    let smooth: Vec<f64> =
        (0..90).map(|i| histogram[(i + 89) % 90] + 2.0 * histogram[i] + histogram[(i + 1) % 90]).collect();
    let mut order: Vec<usize> =
        (0..90).filter(|i| smooth[*i] >= smooth[(i + 1) % 90] && smooth[*i] >= smooth[(i + 89) % 90]).collect();
    order.sort_by(|a, b| smooth[*b].total_cmp(&smooth[*a]));
    let mut all: Vec<usize> = order.iter().take(8).flat_map(|i| [*i, (i + 1) % 90, (i + 89) % 90]).collect();
    all.extend([87, 88, 89, 0, 1, 2, 3]);
    all.sort_unstable();
    all.dedup();
    all.iter().flat_map(|i| [*i as f64 + 0.5, *i as f64 + 90.5]).map(f64::to_radians).collect()
}

/// Sums along rows and columns of the picture turned by one angle.
struct Turned {
    n: usize,
    /// Summed along u: strength of edges across v, and light; along v (stored transposed): edges across u, and light.
    along_u: Vec<[f32; 2]>,
    along_v: Vec<[f32; 2]>,
}

impl Turned {
    fn new(picture: &Reduced, angle: f64) -> Self {
        let (w, h) = (picture.width, picture.height);
        let n = (w as f64).hypot(h as f64).ceil() as usize + 2;
        let (c, s) = (angle.cos(), angle.sin());
        let (cx, cy, half) = (w as f64 / 2.0, h as f64 / 2.0, n as f64 / 2.0);
        let mut t = Self { n, along_u: vec![[0.0; 2]; n * (n + 1)], along_v: vec![[0.0; 2]; n * (n + 1)] };
        for j in 0..n {
            for i in 0..n {
                let (u, v) = (i as f64 - half, j as f64 - half);
                let (x, y) = (cx + u * c - v * s, cy + u * s + v * c);
                let (mut eu, mut ev, mut l) = (0.0, 0.0, 0.0);
                if x >= 0.0 && y >= 0.0 && x < w as f64 - 0.5 && y < h as f64 - 0.5 {
                    let [a, b, light] = picture.data[(y + 0.5) as i32 as usize * w + (x + 0.5) as i32 as usize];
                    let (c, s) = (c as f32, s as f32);
                    eu = (a * c + b * s).abs().min(FULL_STEP);
                    ev = (b * c - a * s).abs().min(FULL_STEP);
                    l = light;
                }
                let add = |[e, m]: [f32; 2], edge: f32| [e + edge, m + l];
                // Row sums run along u in rows of n + 1; column sums likewise.
                let (ru, rv) = (j * (n + 1) + i, i * (n + 1) + j);
                t.along_u[ru + 1] = add(t.along_u[ru], ev);
                t.along_v[rv + 1] = add(t.along_v[rv], eu);
            }
        }
        t
    }

    /// Best middle (samples from the picture's centre, turned frame) of a w x h rectangle, and its score.
    fn best(&self, w: f64, h: f64) -> Option<(f64, f64, f64)> {
        let n = self.n as isize;
        let (hw, hh) = ((w / 2.0).round() as isize, (h / 2.0).round() as isize);
        if hw < 4 || hh < 4 || 2 * hw + 2 >= n || 2 * hh + 2 >= n {
            return None;
        }
        // Rounded corners are left out: 6 % of the side, 3 to 5 mm on the usual pocket.
        let (tw, th) = (hw - (hw / 8).max(2), hh - (hh / 8).max(2));
        let mean = |sums: &[[f32; 2]], what: usize, line: isize, from: isize, to: isize| {
            let r = line * (n + 1);
            (sums[(r + to) as usize][what] - sums[(r + from) as usize][what]) / (to - from) as f32
        };
        let edge = |sums, line, from, to| mean(sums, 0, line, from, to);
        let light = |sums, line, from, to| mean(sums, 1, line, from, to);
        let mut best: Option<(f64, f64, f64)> = None;
        for j in hh + 3..n - hh - 3 {
            for i in hw + 3..n - hw - 3 {
                let lines = [
                    edge(&self.along_u, j - hh, i - tw, i + tw),
                    edge(&self.along_u, j + hh, i - tw, i + tw),
                    edge(&self.along_v, i - hw, j - th, j + th),
                    edge(&self.along_v, i + hw, j - th, j + th),
                ];
                let least = lines.iter().fold(f32::MAX, |a, b| a.min(*b));
                let sum: f32 = lines.iter().sum();
                let score = sum + 3.0 * least;
                if best.is_some_and(|b| f64::from(score) + 0.3 < b.2) {
                    continue;
                }
                // A deep shadow just inside at least one side: outside less inside, 2 samples off the line.
                let drops = [
                    light(&self.along_u, j - hh - 2, i - tw, i + tw) - light(&self.along_u, j - hh + 2, i - tw, i + tw),
                    light(&self.along_u, j + hh + 2, i - tw, i + tw) - light(&self.along_u, j + hh - 2, i - tw, i + tw),
                    light(&self.along_v, i - hw - 2, j - th, j + th) - light(&self.along_v, i - hw + 2, j - th, j + th),
                    light(&self.along_v, i + hw + 2, j - th, j + th) - light(&self.along_v, i + hw - 2, j - th, j + th),
                ];
                let drop = drops.iter().fold(0.0f32, |a, b| a.max(*b));
                let score = f64::from(score + 0.15 * drop.min(2.0));
                if best.is_none_or(|b| score > b.2) {
                    let half = self.n as f64 / 2.0;
                    best = Some((i as f64 - half, j as f64 - half, score));
                }
            }
        }
        best
    }
}

/// Moves and turns a rectangle a little to where its edges are strongest on the fine picture.
pub fn refine(sight: &Sight, edges: &(Plane, Plane), start: Rectangle) -> Rectangle {
    let value = |r: &Rectangle| {
        let q = r.corners();
        (0..4).map(|i| side_strength(sight, edges, q[i], q[(i + 1) % 4])).sum::<f64>()
    };
    let mut best = (value(&start), start);
    let span = start.width.max(start.height);
    let mut move_by = 3.0 * sight.step;
    while move_by > 0.15 * sight.step {
        let mut moved = false;
        for (dx, dy, da) in
            [(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)]
        {
            let r = Rectangle {
                middle: best.1.middle + Point::new(dx, dy) * move_by,
                angle: best.1.angle + da * move_by / (0.5 * span),
                ..best.1
            };
            let v = value(&r);
            if v > best.0 {
                best = (v, r);
                moved = true;
            }
        }
        if !moved {
            move_by /= 2.0;
        }
    }
    best.1
}

/// Points along a side without its rounded ends, and the unit normal to the right of its direction (inwards for corners
/// that run clockwise on the screen).
pub fn along(a: Point, b: Point, step: f64) -> (Vec<Point>, Point) {
    let length = a.distance(b);
    let d = (b - a) * (1.0 / length.max(1e-12));
    let trim = 0.06 * length;
    let n = (((length - 2.0 * trim) / step).floor() as usize).max(2);
    let points = (0..=n).map(|i| a + d * (trim + (length - 2.0 * trim) * i as f64 / n as f64)).collect();
    (points, Point::new(-d.y, d.x))
}

/// Like [`refine`], but each side may also move by itself: for a rectangle whose size is not known.
pub fn refine_size(sight: &Sight, edges: &(Plane, Plane), start: Rectangle) -> Rectangle {
    let mut r = start;
    for _ in 0..3 {
        r = refine(sight, edges, r);
        for side in 0..4 {
            let q = r.corners();
            let (a, b) = (q[side], q[(side + 1) % 4]);
            let n = along(a, b, sight.step).1;
            // Within 8 samples either way; ties go to where it was.
            let move_by = (-32..=32)
                .map(|t| f64::from(t) * 0.25 * sight.step)
                .map(|t| (side_strength(sight, edges, a + n * t, b + n * t) - 0.001 * (t / sight.step).abs(), t))
                .max_by(|x, y| x.0.total_cmp(&y.0))
                .map_or(0.0, |b| b.1);
            r.middle = r.middle + n * (move_by / 2.0);
            if side % 2 == 0 { r.height -= move_by } else { r.width -= move_by }
        }
    }
    r
}

/// Mean strength of a side's edges, 0 to [`FULL_STEP`].
pub fn side_strength(sight: &Sight, edges: &(Plane, Plane), a: Point, b: Point) -> f64 {
    strength(sight, edges, a, b, 2.0)
}

/// The same from points `every` so many samples.
pub fn strength(sight: &Sight, edges: &(Plane, Plane), a: Point, b: Point, every: f64) -> f64 {
    let (points, n) = along(a, b, every * sight.step);
    let sum: f64 = points.iter().map(|p| f64::from(FULL_STEP).min(across(sight, edges, *p, n).abs())).sum();
    sum / points.len() as f64
}

/// Change of ln(light) along `n` at a point of the plane, per sample.
pub fn across(sight: &Sight, edges: &(Plane, Plane), p: Point, n: Point) -> f64 {
    let q = sight.to_sample(p);
    f64::from(edges.0.bilinear(q.x, q.y)) * n.x + f64::from(edges.1.bilinear(q.x, q.y)) * n.y
}

/// A rectangle on the side from `a` to `b` (interior to the right), as deep as its far side and flanks are seen; at least
/// `least` deep.
pub fn extend(sight: &Sight, edges: &(Plane, Plane), a: Point, b: Point, least: f64) -> Option<Rectangle> {
    let length = a.distance(b);
    let d = (b - a) * (1.0 / length.max(1e-12));
    let n = Point::new(-d.y, d.x);
    let s = sight.step;
    // The far side at one depth: its own strength, and that of the flanks on the way to it.
    let (mut flanks, mut best): (f64, Option<(f64, f64)>) = (0.0, None);
    for i in 1..(4.0 * length / s) as usize {
        let depth = i as f64 * s;
        if !sight.shows((a + b) * 0.5 + n * depth) {
            break;
        }
        // Flanks may stand a few samples off, since the band's ends are rounded.
        let flank = |p: Point, sign: f64| {
            (-4..=4)
                .map(|t| across(sight, edges, p + n * depth + d * (sign * f64::from(t) * s), d).abs())
                .fold(0.0, f64::max)
        };
        flanks += f64::from(FULL_STEP).min(flank(a, 1.0)) + f64::from(FULL_STEP).min(flank(b, 1.0));
        if depth < least + 4.0 * s {
            continue;
        }
        let far = side_strength(sight, edges, a + n * depth, b + n * depth);
        // Between equals the deeper one: ridges inside are also lines from flank to flank, the stock outside has none.
        let value = far + 0.5 * flanks / i as f64 + 0.05 * (depth / length).ln();
        if best.is_none_or(|b| value > b.0) {
            best = Some((value, depth));
        }
    }
    let depth = best?.1;
    let middle = (a + b) * 0.5 + n * (depth / 2.0);
    Some(Rectangle { middle, angle: d.y.atan2(d.x), width: length, height: depth })
}

/// A polygon (interior to the right of its sides) whose sides are moved along their normals to the strongest edge near
/// by: enclosed regions end at the outer foot of an edge, the wall stands at its steepest place.
pub fn snapped(sight: &Sight, edges: &(Plane, Plane), polygon: &[Point]) -> Vec<Point> {
    let n = polygon.len();
    let s = sight.step;
    let lines: Vec<(Point, Point)> = (0..n)
        .map(|i| {
            let (a, b) = (polygon[i], polygon[(i + 1) % n]);
            let normal = along(a, b, s).1;
            let strength = |t: f64, u: f64| side_strength(sight, edges, a + normal * t, b + normal * u);
            // Both ends together first, then (on sides long enough to show a turn) each by itself.
            let shift = |f: &dyn Fn(f64) -> f64, reach: i32| {
                (-2..=reach).map(|t| f64::from(t) * 0.5 * s).max_by(|x, y| f(*x).total_cmp(&f(*y))).unwrap_or(0.0)
            };
            let t = shift(&|t| strength(t, t), 12);
            let (mut t, mut u) = (t, t);
            if a.distance(b) > 40.0 * s {
                t += shift(&|v| strength(t + v, u), 2);
                u += shift(&|v| strength(t, u + v), 2);
            }
            (a + normal * t, b + normal * u)
        })
        .collect();
    (0..n)
        .map(|i| {
            let (p, q) = (lines[(i + n - 1) % n], lines[i]);
            // Nearly parallel sides do not fix their crossing.
            crossing(p, q).unwrap_or((p.1 + q.0) * 0.5)
        })
        .collect()
}

/// Where two lines (a point and another on each) cross; `None` when they are within 17 degrees of parallel.
pub fn crossing(p: (Point, Point), q: (Point, Point)) -> Option<Point> {
    let (d, e) = (p.1 - p.0, q.1 - q.0);
    let cross = d.x * e.y - d.y * e.x;
    let sine = cross / (d.x.hypot(d.y) * e.x.hypot(e.y)).max(1e-12);
    let t = ((q.0.x - p.0.x) * e.y - (q.0.y - p.0.y) * e.x) / cross;
    (sine.abs() >= 0.3).then(|| p.0 + d * t)
}

/// The outline with its corners rounded by `radius`: nine points a corner.
pub fn rounded(corners: &[Point], radius: f64) -> Vec<Point> {
    let n = corners.len();
    (0..n)
        .flat_map(|i| arc(corners[(i + n - 1) % n], corners[i], corners[(i + 1) % n], radius))
        .map(|(p, _)| p)
        .collect()
}

/// Points of the arc that rounds the corner `b` between `a` and `c`, each with its outward normal.
fn arc(a: Point, b: Point, c: Point, radius: f64) -> Vec<(Point, Point)> {
    let unit = |p: Point| p * (1.0 / p.x.hypot(p.y).max(1e-12));
    let (u, v) = (unit(a - b), unit(c - b));
    let half = ((u.x * v.x + u.y * v.y).clamp(-1.0, 1.0).acos() / 2.0).max(1e-3);
    let inner = unit(u + v);
    if radius <= 0.0 || half > 1.5 {
        return vec![(b, inner * -1.0)];
    }
    // Not more than 45 % of either side.
    let reach = (radius / half.tan()).min(0.45 * a.distance(b).min(b.distance(c)));
    let radius = reach * half.tan();
    let middle = b + inner * (radius / half.sin());
    (0..9)
        .map(|i| {
            let p = (b + u * reach).lerp(b + v * reach, f64::from(i) / 8.0);
            let out = unit(p - middle);
            (middle + out * radius, out)
        })
        .collect()
}

/// Radius of the outline's corners, frame units: the one along whose arcs the edges are strongest, from `least` (the
/// cutter's own radius: no inside corner can be tighter) upwards.
pub fn corner_radius(sight: &Sight, edges: &(Plane, Plane), corners: &[Point], least: f64, unit: f64) -> f64 {
    let n = corners.len();
    let strength = |radius: f64| {
        let points: Vec<(Point, Point)> =
            (0..n).flat_map(|i| arc(corners[(i + n - 1) % n], corners[i], corners[(i + 1) % n], radius)).collect();
        points.iter().map(|(p, n)| f64::from(FULL_STEP).min(across(sight, edges, *p, *n).abs())).sum::<f64>()
            / points.len() as f64
    };
    // Half-millimetre to 30 mm in steps of a quarter: finer than the outline's own doubt at a corner (0.41 times the step).
    let mut tries: Vec<f64> = (0..19).map(|i| 0.5 * 1.25f64.powi(i) * unit).filter(|r| *r > least * 1.05).collect();
    tries.push(least);
    tries.into_iter().map(|r| (strength(r), r)).max_by(|a, b| a.0.total_cmp(&b.0)).map_or(least, |b| b.1)
}
