//! Outlines from the walls' shadow. The walls on the lamp's side throw the darkest thing in the picture; its outer border
//! is the rim itself, and it runs from corner to corner: a band beside one wall, an L beside two, a crescent in a round
//! pocket. Letters' and chips' shadows, and those of things that lie about, are tried as well: the far walls decide.

use super::rectangle::{self, Rectangle};
use super::search::Sight;
use crate::geometry::{Point, signed_area};
use crate::raster::{Mask, Plane};
use imageproc::geometry::approximate_polygon_dp;
use nalgebra::{SMatrix, SVector};
use rayon::prelude::*;

/// Light over that round about under which a sample may be a wall's shadow: from black (0.3) to one that a bright room
/// fills (0.6). Under 0.3 only the blackest are met, over 0.6 figure and glow are.
const LEVELS: [f32; 3] = [0.3, 0.45, 0.6];
/// Shadows this long are tried, share of the picture's longer side (a pocket under a tenth of it shows no marks), and how
/// many of each level: the longest ones, singly and by twos.
const SHORTEST: f64 = 0.08;
const MOST: usize = 5;
/// Boxes round shadows that are looked at closely.
const CLOSELY: usize = 12;

/// A figure laid round a shadow, clockwise on the screen.
pub struct Laid {
    pub outline: Vec<Point>,
    /// Area that counts for its size: an L is as good as the rectangle round it.
    pub area: f64,
    /// Direction of its straight walls, radians.
    pub axis: Option<f64>,
    pub what: &'static str,
}

/// Rectangles (four-sided figures where the picture still shows perspective, that is `upright` is false), pockets with one
/// corner left standing, and rounds.
pub fn laid(sight: &Sight, edges: &(Plane, Plane), upright: bool) -> Vec<Laid> {
    let groups: Vec<Vec<Vec<Point>>> = LEVELS.par_iter().flat_map_iter(|level| groups(sight, *level)).collect();
    let mut boxes: Vec<(f64, Rectangle)> = Vec::new();
    for r in groups.iter().flat_map(|g| around(g)) {
        let same = |b: &(f64, Rectangle)| {
            let (p, q) = (b.1.corners(), r.corners());
            (0..4).all(|i| p[i].distance(q[i]) < 3.0 * sight.step)
        };
        if !boxes.iter().any(same)
            && let Some(worth) = shaded(sight, &r.corners())
        {
            boxes.push((worth, r));
        }
    }
    boxes.sort_by(|a, b| b.0.total_cmp(&a.0));
    boxes.truncate(CLOSELY);
    let soft = sight.edges(4.0);
    let mut all: Vec<Laid> = boxes
        .into_par_iter()
        .flat_map_iter(|(_, r)| {
            let r = rectangle::refine_size(sight, edges, r);
            let whole = if upright { r.corners() } else { settled(sight, edges, &soft, r.corners()) };
            let what = if upright { "a rectangle" } else { "a four-sided outline" };
            let area = signed_area(&whole).abs();
            let four = Laid { outline: whole.to_vec(), area, axis: Some(r.angle), what };
            let notched = notched(sight, edges, &soft, &whole).map(|outline| Laid {
                outline,
                area,
                axis: Some(r.angle),
                what: "an L",
            });
            std::iter::once(four).chain(notched)
        })
        .collect();
    let rounds: Vec<Laid> = groups.par_iter().filter_map(|g| round(sight, edges, &g.concat())).collect();
    all.extend(rounds);
    all
}

/// Contours of the longest shadows under a level, on the plane: each by itself, and every two of them.
fn groups(sight: &Sight, level: f32) -> Vec<Vec<Vec<Point>>> {
    let (w, h) = (sight.log.width / 2, sight.log.height / 2);
    let dark = Mask::from_fn(w, h, |i, j| {
        sight.valid.at(2 * i, 2 * j)
            && sight.ratio.at(2 * i, 2 * j) + sight.ratio.at(2 * i + 1, 2 * j + 1) < 2.0 * level
    });
    let long = SHORTEST * w.max(h) as f64;
    // A shadow a quarter of whose border lies along a reference is that reference's own.
    let clear = sight.valid.erode(5);
    let its_own = |c: &[Point]| {
        let touching = c.iter().filter(|p| !clear.at(2 * p.x as usize, 2 * p.y as usize)).count();
        4 * touching > c.len()
    };
    let mut parts: Vec<(f64, Vec<Point>)> = super::region::contours(&dark.dilate(1).erode(1), 2e-4)
        .into_iter()
        .filter(|c| !its_own(c))
        .filter_map(|c| {
            let (a, b) = super::cut::bounds(&c);
            let at = |v: f64| 2.0 * v + 0.5;
            let on_plane = || c.iter().map(|p| sight.to_plane(at(p.x), at(p.y))).collect();
            (a.distance(b) > long).then(|| (a.distance(b), on_plane()))
        })
        .collect();
    parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    parts.truncate(MOST);
    let mut out: Vec<Vec<Vec<Point>>> = parts.iter().map(|p| vec![p.1.clone()]).collect();
    for i in 0..parts.len() {
        for j in i + 1..parts.len() {
            out.push(vec![parts[i].1.clone(), parts[j].1.clone()]);
        }
    }
    out
}

/// Boxes round a group of contours, one for each direction in which a long side of it runs.
fn around(group: &[Vec<Point>]) -> Vec<Rectangle> {
    let all = group.concat();
    let (a, b) = super::cut::bounds(&all);
    let size = a.distance(b);
    // A hundredth of the size: rounded ends go, long sides stay.
    let mut sides: Vec<(f64, f64)> = Vec::new();
    for c in group {
        let corners = approximate_polygon_dp(&c.iter().map(|p| pixel(*p, size)).collect::<Vec<_>>(), 10.0, true);
        for i in 0..corners.len() {
            let (p, q) = (corners[i], corners[(i + 1) % corners.len()]);
            let (dx, dy) = (f64::from(q.x - p.x), f64::from(q.y - p.y));
            sides.push((dx.hypot(dy), dy.atan2(dx).rem_euclid(std::f64::consts::FRAC_PI_2)));
        }
    }
    sides.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut turns: Vec<f64> = Vec::new();
    for (length, turn) in sides {
        let off = |t: &f64| {
            let d = (turn - t).rem_euclid(std::f64::consts::FRAC_PI_2);
            d.min(std::f64::consts::FRAC_PI_2 - d) < 2f64.to_radians()
        };
        if length > 200.0 && turns.len() < 3 && !turns.iter().any(off) {
            turns.push(turn);
        }
    }
    turns
        .into_iter()
        .map(|angle| {
            let (c, s) = (angle.cos(), angle.sin());
            let turned: Vec<Point> = all.iter().map(|p| Point::new(p.x * c + p.y * s, p.y * c - p.x * s)).collect();
            let (a, b) = super::cut::bounds(&turned);
            let m = (a + b) * 0.5;
            let middle = Point::new(m.x * c - m.y * s, m.x * s + m.y * c);
            let (width, height) = (b.x - a.x, b.y - a.y);
            // The width is the longer side.
            if width >= height {
                Rectangle { middle, angle, width, height }
            } else {
                Rectangle { middle, angle: angle - std::f64::consts::FRAC_PI_2, width: height, height: width }
            }
        })
        .collect()
}

/// Thousandths of `size` in whole numbers, which the polygon library asks for.
fn pixel(p: Point, size: f64) -> imageproc::point::Point<i32> {
    let k = 1000.0 / size.max(1e-12);
    imageproc::point::Point::new((p.x * k).round() as i32, (p.y * k).round() as i32)
}

/// Share of a box's sides with a shadow just inside and none just outside, times the root of its area; nothing where no
/// side has it on two fifths of its length: the wall next to the lamp throws it from end to end, that of an L on half of it.
fn shaded(sight: &Sight, corners: &[Point; 4]) -> Option<f64> {
    let shares = [0, 1, 2, 3].map(|i| {
        let (points, n) = rectangle::along(corners[i], corners[(i + 1) % 4], 4.0 * sight.step);
        let drop =
            |p: &&Point| sight.log_at(**p - n * (6.0 * sight.step)) - sight.log_at(**p + n * (6.0 * sight.step)) > 0.5;
        points.iter().filter(drop).count() as f64 / points.len() as f64
    });
    let area = corners[0].distance(corners[1]) * corners[1].distance(corners[2]);
    let longest = shares.iter().copied().fold(0.0, f64::max);
    (longest > 0.4).then(|| shares.iter().sum::<f64>() * area.sqrt())
}

/// Each side by itself, its ends up to a third of its length inwards and a twelfth outwards of the box: what perspective does
/// to a rectangle. `soft` as for [`notched`].
fn settled(sight: &Sight, edges: &(Plane, Plane), soft: &(Plane, Plane), corners: [Point; 4]) -> [Point; 4] {
    let mut lines = [(Point::default(), Point::default()); 4];
    for (i, line) in lines.iter_mut().enumerate() {
        let (a, b) = (corners[i], corners[(i + 1) % 4]);
        let n = rectangle::along(a, b, sight.step).1;
        let strength = |t: f64, u: f64| rectangle::side_strength(sight, edges, a + n * t, b + n * u);
        let coarse = |t: f64, u: f64| rectangle::strength(sight, soft, a + n * t, b + n * u, 12.0);
        let (mut best, mut at) = (coarse(0.0, 0.0), (0.0, 0.0));
        let steps = (a.distance(b) / 12.0 / (4.0 * sight.step)).ceil() as i32;
        for t in -steps..=4 * steps {
            for u in -steps..=4 * steps {
                let (t, u) = (f64::from(t) * 4.0 * sight.step, f64::from(u) * 4.0 * sight.step);
                let v = coarse(t, u);
                if v > best {
                    (best, at) = (v, (t, u));
                }
            }
        }
        let mut move_by = 4.0 * sight.step;
        best = strength(at.0, at.1);
        while move_by > 0.2 * sight.step {
            let tries = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)];
            let to = tries.map(|(p, q)| (at.0 + p * move_by, at.1 + q * move_by));
            match to
                .into_iter()
                .map(|p| (strength(p.0, p.1), p))
                .filter(|p| p.0 > best)
                .max_by(|a, b| a.0.total_cmp(&b.0))
            {
                Some(found) => (best, at) = found,
                None => move_by /= 2.0,
            }
        }
        *line = (a + n * at.0, b + n * at.1);
    }
    std::array::from_fn(|i| rectangle::crossing(lines[(i + 3) % 4], lines[i]).unwrap_or(corners[i]))
}

/// The same with one corner left standing (an L), where the two walls of that corner are seen better than the two pieces
/// of the box that they replace. `soft`: the edges smoothed over four samples, so that a grid of as many meets each wall.
fn notched(sight: &Sight, edges: &(Plane, Plane), soft: &(Plane, Plane), q: &[Point; 4]) -> Option<Vec<Point>> {
    let mut best: Option<(f64, usize, f64, f64)> = None;
    let corner = |i: usize| (q[(i + 3) % 4], q[i], q[(i + 1) % 4], q[(i + 2) % 4]);
    let gain = |edges: &(Plane, Plane), every: f64, i: usize, s: f64, t: f64| {
        let strength = |a, b| rectangle::strength(sight, edges, a, b, every);
        let (before, at, after, far) = corner(i);
        let (p, r) = (before.lerp(at, s), at.lerp(after, t));
        let inner = p.lerp(far.lerp(after, s), t);
        strength(p, inner).min(strength(inner, r)) - strength(p, at).max(strength(at, r))
    };
    for i in 0..4 {
        let (before, at, after, _) = corner(i);
        let steps = |a: Point, b: Point| (a.distance(b) / (4.0 * sight.step)).max(1.0) as usize;
        let (m, n) = (steps(before, at), steps(at, after));
        // A corner of a seventh to six sevenths of the sides: smaller ones are a rounding, larger ones leave a slot.
        let inside = |n: usize| (n / 7..n - n / 7).map(move |k| k as f64 / n as f64);
        for s in inside(m) {
            for t in inside(n) {
                let g = gain(soft, 16.0, i, s, t);
                if g > 0.0 && best.is_none_or(|b| g > b.0) {
                    best = Some((g, i, s, t));
                }
            }
        }
    }
    let (_, i, s, t) = best?;
    let (before, at, after, far) = corner(i);
    let (ds, dt) = (sight.step / before.distance(at), sight.step / at.distance(after));
    let near = (-5i32..=5).flat_map(|a| (-5i32..=5).map(move |b| (s + f64::from(a) * ds, t + f64::from(b) * dt)));
    let (g, s, t) = near.map(|(s, t)| (gain(edges, 4.0, i, s, t), s, t)).max_by(|a, b| a.0.total_cmp(&b.0))?;
    let (p, r) = (before.lerp(at, s), at.lerp(after, t));
    let shape = vec![far, before, p, p.lerp(far.lerp(after, s), t), r, after];
    (g > 0.0).then(|| rectangle::snapped(sight, edges, &shape))
}

/// A round whose rim the group's contour follows for at least a quarter of the way round.
fn round(sight: &Sight, edges: &(Plane, Plane), contour: &[Point]) -> Option<Laid> {
    let near = 1.5 * sight.step;
    let (a, b) = super::cut::bounds(contour);
    let size = a.distance(b);
    let n = contour.len();
    if n < 60 {
        return None;
    }
    // Three points a third of the contour's stretch apart at most: 400 draws meet an arc that holds a quarter of the points
    // with near certainty (1 - (1 - 1/64)^400 = 0.998).
    let mut state = 12345u64;
    let mut draw = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        contour[((state >> 33) as usize) % n]
    };
    let mut best: Option<(usize, Point, f64)> = None;
    for _ in 0..400 {
        let Some((m, r)) = through([draw(), draw(), draw()]) else { continue };
        if r < 0.25 * size || r > 1.2 * size {
            continue;
        }
        let on = contour.iter().step_by(3).filter(|p| (p.distance(m) - r).abs() < near).count();
        if best.is_none_or(|b| on > b.0) {
            best = Some((on, m, r));
        }
    }
    let (on, middle, radius) = best?;
    let covered = on as f64 * 3.0 * contour[0].distance(contour[1]).max(2.0 * sight.step);
    if covered < 0.25 * std::f64::consts::TAU * radius {
        return None;
    }
    // Perspective makes it an ellipse: radius over the angle up to the second order.
    let terms = |a: f64| SVector::<f64, 5>::from([1.0, a.cos(), a.sin(), (2.0 * a).cos(), (2.0 * a).sin()]);
    let mut shape = terms(0.0) * 0.0;
    shape[0] = radius;
    for reach in [0.1, 0.05, 0.03] {
        let (mut m, mut v) = (SMatrix::<f64, 5, 5>::identity() * 1e-6, SVector::<f64, 5>::zeros());
        for k in 0..180 {
            let a = f64::from(k).to_radians() * 2.0;
            let out = Point::new(a.cos(), a.sin());
            let expected = terms(a).dot(&shape);
            let steps = (reach * radius / (0.5 * sight.step)).ceil() as i32;
            let found = (-steps..=steps)
                .map(|t| expected + f64::from(t) * 0.5 * sight.step)
                .map(|r| (rectangle::across(sight, edges, middle + out * r, out).abs().min(0.25), r))
                .max_by(|x, y| {
                    (x.0 - 0.3 * (x.1 - expected).abs() / radius)
                        .total_cmp(&(y.0 - 0.3 * (y.1 - expected).abs() / radius))
                });
            if let Some((strength, r)) = found.filter(|f| f.0 > 0.025) {
                m += terms(a) * terms(a).transpose() * strength;
                v += terms(a) * (r * strength);
            }
        }
        shape = m.cholesky()?.solve(&v);
    }
    let flat = shape[3].hypot(shape[4]) / shape[0];
    // 0.2: a circle seen 48 degrees from above its plane.
    if !(flat < 0.2 && shape[0] > 0.0) {
        return None;
    }
    let outline: Vec<Point> = (0..72)
        .map(|k| f64::from(k).to_radians() * 5.0)
        .map(|a| middle + Point::new(a.cos(), a.sin()) * terms(a).dot(&shape))
        .collect();
    Some(Laid { area: signed_area(&outline).abs(), outline, axis: None, what: "a circle" })
}

/// Middle and radius of the circle through three points.
fn through([a, b, c]: [Point; 3]) -> Option<(Point, f64)> {
    let (p, q) = (b - a, c - a);
    let d = 2.0 * (p.x * q.y - p.y * q.x);
    let (pp, qq) = (p.x * p.x + p.y * p.y, q.x * q.x + q.y * q.y);
    let m = Point::new(q.y * pp - p.y * qq, p.x * qq - q.x * pp) * (1.0 / d);
    (d.abs() > 1e-9 * (pp + qq)).then(|| (a + m, m.x.hypot(m.y)))
}
