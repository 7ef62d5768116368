//! Outlines from the walls' shadow. The walls on the lamp's side throw the darkest thing in the picture; its outer border
//! is the rim itself, and it runs from corner to corner: a band beside one wall, an L beside two, a crescent in a round
//! pocket. Letters' and chips' shadows, and those of things that lie about, are tried as well: the far walls decide.

use super::rectangle::{self, Rectangle};
use super::round::round;
use super::search::Sight;
use super::settle::settled;
use crate::geometry::{Point, signed_area};
use crate::raster::{Mask, Plane};
use imageproc::geometry::approximate_polygon_dp;
use rayon::prelude::*;

/// Light over that round about under which a sample may be a wall's shadow: from black (0.3) to one that a bright room
/// fills (0.6). Under 0.3 only the blackest are met, over 0.6 figure and glow are.
const LEVELS: [f32; 3] = [0.3, 0.45, 0.6];
/// Shadows this long are tried, share of the picture's longer side (a pocket under a tenth of it shows no marks), and how
/// many of each level: the longest ones, singly and by twos.
const SHORTEST: f64 = 0.08;
const MOST: usize = 5;
/// Boxes round shadows, and elbows of them, that are looked at closely.
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

/// One shadow, or two.
struct Group {
    /// Their contours, one after the other, and the diagonal of the box round them.
    points: Vec<Point>,
    size: f64,
    /// The contours' sides, wiggles under a hundredth of the size drawn straight: rounded ends go, long sides stay.
    sides: Vec<(Point, Point)>,
}

impl Group {
    fn of(contours: &[&Vec<Point>]) -> Self {
        let points: Vec<Point> = contours.iter().flat_map(|c| c.iter().copied()).collect();
        let (a, b) = super::cut::bounds(&points);
        let size = a.distance(b);
        let sides = contours.iter().flat_map(|c| straight(c, size)).collect();
        Self { points, size, sides }
    }
}

/// Rectangles (four-sided figures where the picture still shows perspective: that is where the focal lengths that the camera
/// may have are given, px), pockets with one corner left standing, and rounds. `soft` as for [`notched`].
pub fn laid(sight: &Sight, edges: &(Plane, Plane), soft: &(Plane, Plane), lens: Option<&[f64]>) -> Vec<Laid> {
    let groups: Vec<Group> = LEVELS.par_iter().flat_map_iter(|level| groups(sight, *level)).collect();
    let boxes = closely(sight, groups.iter().flat_map(around));
    let elbows = closely(sight, groups.iter().flat_map(|g| elbows(sight, g)));
    let starts: Vec<[Point; 4]> = boxes.into_iter().chain(elbows).collect();
    let mut all: Vec<Laid> = starts
        .into_par_iter()
        .flat_map_iter(|q| {
            let r = rectangle::refine_size(sight, edges, upright(&q));
            let wholes = match lens {
                None => vec![(1.0, r.corners())],
                Some(focal_px) => settled(sight, edges, soft, q, focal_px),
            };
            let what = if lens.is_none() { "a rectangle" } else { "a four-sided outline" };
            let laid = |outline: Vec<Point>, area: f64, what| Laid { outline, area, axis: Some(r.angle), what };
            let mut both = Vec::new();
            for (i, (facing, whole)) in wholes.into_iter().enumerate() {
                let area = signed_area(&whole).abs() * facing.powi(8);
                both.push(laid(whole.to_vec(), area, what));
                if i == 0 {
                    both.extend(notched(sight, edges, soft, &whole).into_iter().map(|l| laid(l, area, "an L")));
                }
            }
            both
        })
        .collect();
    let rounds: Vec<Laid> = groups.par_iter().filter_map(|g| round(sight, edges, &g.points)).collect();
    all.extend(rounds);
    all
}

/// Those four-sided figures that are worth a closer look, each once.
fn closely(sight: &Sight, all: impl Iterator<Item = [Point; 4]>) -> Vec<[Point; 4]> {
    let mut kept: Vec<(f64, [Point; 4])> = Vec::new();
    for q in all {
        // The same corners, whichever comes first.
        let same = |k: &(f64, [Point; 4])| q.iter().all(|c| k.1.iter().any(|d| c.distance(*d) < 3.0 * sight.step));
        if !kept.iter().any(same)
            && let Some(worth) = shaded(sight, &q)
        {
            kept.push((worth, q));
        }
    }
    kept.sort_by(|a, b| b.0.total_cmp(&a.0));
    kept.truncate(CLOSELY);
    kept.into_iter().map(|k| k.1).collect()
}

/// The rectangle about the middle of a four-sided figure, along its longer sides.
fn upright(q: &[Point; 4]) -> Rectangle {
    let middle = q.iter().fold(Point::default(), |m, p| m + *p * 0.25);
    let (across, down) = (q[1] - q[0] + q[2] - q[3], q[3] - q[0] + q[2] - q[1]);
    let (width, height) = (across.x.hypot(across.y) / 2.0, down.x.hypot(down.y) / 2.0);
    // The width is the longer side.
    if width >= height {
        Rectangle { middle, angle: across.y.atan2(across.x), width, height }
    } else {
        Rectangle { middle, angle: down.y.atan2(down.x), width: height, height: width }
    }
}

/// Contours of the longest shadows under a level, on the plane: each by itself, and every two of them.
fn groups(sight: &Sight, level: f32) -> Vec<Group> {
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
    let mut out: Vec<Group> = parts.iter().map(|p| Group::of(&[&p.1])).collect();
    for (i, p) in parts.iter().enumerate() {
        out.extend(parts[i + 1..].iter().map(|q| Group::of(&[&p.1, &q.1])));
    }
    out
}

/// Boxes round a group of contours, one for each direction in which a long side of it runs.
fn around(group: &Group) -> Vec<[Point; 4]> {
    let along = |(p, q): &(Point, Point)| ((*q - *p).y.atan2((*q - *p).x)).rem_euclid(std::f64::consts::FRAC_PI_2);
    let mut sides: Vec<(f64, f64)> = group.sides.iter().map(|s| (s.0.distance(s.1), along(s))).collect();
    sides.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut turns: Vec<f64> = Vec::new();
    for (length, turn) in sides {
        let off = |t: &f64| {
            let d = (turn - t).rem_euclid(std::f64::consts::FRAC_PI_2);
            d.min(std::f64::consts::FRAC_PI_2 - d) < 2f64.to_radians()
        };
        if length > 0.2 * group.size && turns.len() < 3 && !turns.iter().any(off) {
            turns.push(turn);
        }
    }
    turns
        .into_iter()
        .map(|angle| {
            let (c, s) = (angle.cos(), angle.sin());
            let turned: Vec<Point> =
                group.points.iter().map(|p| Point::new(p.x * c + p.y * s, p.y * c - p.x * s)).collect();
            let (a, b) = super::cut::bounds(&turned);
            let m = (a + b) * 0.5;
            let middle = Point::new(m.x * c - m.y * s, m.x * s + m.y * c);
            Rectangle { middle, angle, width: b.x - a.x, height: b.y - a.y }.corners()
        })
        .collect()
}

/// The sides of a contour whose wiggles under a hundredth of `size` are drawn straight.
fn straight(contour: &[Point], size: f64) -> Vec<(Point, Point)> {
    // Thousandths of the size in whole numbers, which the polygon library asks for.
    let k = 1000.0 / size.max(1e-12);
    let pixels: Vec<_> = contour
        .iter()
        .map(|p| imageproc::point::Point::new((p.x * k).round() as i32, (p.y * k).round() as i32))
        .collect();
    let back = |p: &imageproc::point::Point<i32>| Point::new(f64::from(p.x), f64::from(p.y)) * (size / 1000.0);
    let corners: Vec<Point> = approximate_polygon_dp(&pixels, 10.0, true).iter().map(back).collect();
    corners.iter().copied().zip(corners.iter().copied().cycle().skip(1)).collect()
}

/// Two walls that meet, each in shadow from their corner to its other end, as the parallelogram they span: what hangs on the
/// shadow elsewhere (a thing's own shadow, a letter's) has no say.
fn elbows(sight: &Sight, group: &Group) -> Vec<[Point; 4]> {
    // With the shadow to the right, as inside an outline that runs clockwise on the screen.
    let shaded = |(p, q): (Point, Point)| {
        let (points, n) = rectangle::along(p, q, 2.0 * sight.step);
        5 * points.iter().filter(|m| sight.drop(**m, n, 5.0) > 0.5).count() > 3 * points.len()
    };
    let long = |s: &(Point, Point)| s.0.distance(s.1) > 0.15 * group.size;
    let either_way = |s: &(Point, Point)| [*s, (s.1, s.0)].into_iter().find(|s| shaded(*s));
    let pieces: Vec<(Point, Point)> = group.sides.iter().filter(|s| long(s)).filter_map(either_way).collect();
    // Pieces of one wall are one, from end to end.
    let joined = |s: &(Point, Point)| {
        let d = (s.1 - s.0) * (1.0 / s.0.distance(s.1));
        let at = |p: Point| ((p - s.0).x * d.x + (p - s.0).y * d.y, ((p - s.0).y * d.x - (p - s.0).x * d.y).abs());
        let on = |t: &&(Point, Point)| [t.0, t.1].iter().all(|p| at(*p).1 < 4.0 * sight.step) && at(t.1).0 > at(t.0).0;
        let ends = pieces.iter().filter(on).flat_map(|t| [at(t.0).0, at(t.1).0]);
        let (from, to) = ends.fold((0.0, 0.0), |(lo, hi): (f64, f64), v| (lo.min(v), hi.max(v)));
        (s.0 + d * from, s.0 + d * to)
    };
    let walls: Vec<(Point, Point)> = pieces.iter().map(joined).collect();
    let mut out = Vec::new();
    for v in &walls {
        for w in &walls {
            let (d, e) = (v.1 - v.0, w.1 - w.0);
            let (l, m) = (d.x.hypot(d.y), e.x.hypot(e.y));
            // 55 degrees to 125: what a right angle looks like from 35 degrees aslant.
            if (d.x * e.y - d.y * e.x) < 0.82 * l * m {
                continue;
            }
            let Some(c) = rectangle::crossing(*v, *w) else { continue };
            if c.distance(v.1) < 0.2 * l && c.distance(w.0) < 0.2 * m {
                out.push([v.0, c, w.1, v.0 + w.1 - c]);
            }
        }
    }
    out
}

/// Least darkening (natural logarithm) of a shadow's border, and the share of a wall's length from which on it has one.
const BORDER: (f64, f64) = (0.5, 0.4);

/// Share of a side's length with a shadow's border along it: `way` 1 for a shadow just inside, -1 for one just outside.
fn darker(sight: &Sight, a: Point, b: Point, way: f64) -> f64 {
    let (points, inward) = rectangle::along(a, b, 4.0 * sight.step);
    points.iter().filter(|p| way * sight.drop(**p, inward, 6.0) > BORDER.0).count() as f64 / points.len() as f64
}

/// Share of a box's sides with a shadow just inside and none just outside, times the root of its area; nothing where no
/// side has it on two fifths of its length: the wall next to the lamp throws it from end to end, that of an L on half of it.
fn shaded(sight: &Sight, corners: &[Point; 4]) -> Option<f64> {
    let shares = [0, 1, 2, 3].map(|i| darker(sight, corners[i], corners[(i + 1) % 4], 1.0));
    let area = corners[0].distance(corners[1]) * corners[1].distance(corners[2]);
    let longest = shares.iter().copied().fold(0.0, f64::max);
    (longest > BORDER.1).then(|| shares.iter().sum::<f64>() * area.sqrt())
}

/// Figures with one corner left standing (Ls) within a four-sided one, for each corner the best whose two walls are seen better
/// than the two pieces of the figure that they replace. `soft`: the edges smoothed over four samples, so that a grid of as many
/// meets each wall.
pub fn notched(sight: &Sight, edges: &(Plane, Plane), soft: &(Plane, Plane), q: &[Point; 4]) -> Vec<Vec<Point>> {
    (0..4)
        .filter_map(|i| standing(sight, edges, soft, [q[(i + 3) % 4], q[i], q[(i + 1) % 4], q[(i + 2) % 4]]))
        .collect()
}

/// The best L whose standing corner is the second of four.
fn standing(
    sight: &Sight,
    edges: &(Plane, Plane),
    soft: &(Plane, Plane),
    [before, at, after, far]: [Point; 4],
) -> Option<Vec<Point>> {
    let walls = |s: f64, t: f64| {
        let p = before.lerp(at, s);
        [p, p.lerp(far.lerp(after, s), t), at.lerp(after, t)]
    };
    let gain = |edges: &(Plane, Plane), every: f64, s: f64, t: f64| {
        let strength = |a, b| rectangle::strength(sight, edges, a, b, every);
        let [p, inner, r] = walls(s, t);
        strength(p, inner).min(strength(inner, r)) - strength(p, at).max(strength(at, r))
    };
    // A shadow's far border is as strong as a wall. Its shadow lies on the standing corner, or else a wall faces it that has one
    // too: one lamp cannot throw both.
    let inside = |a, b| darker(sight, a, b, 1.0) > BORDER.1;
    let outside = |a, b| darker(sight, a, b, -1.0) >= BORDER.1;
    let facing = [inside(far, before), inside(after, far)];
    let no_wall = |a, b, faces: bool| outside(a, b) || (faces && inside(a, b));
    let steps = |a: Point, b: Point| (a.distance(b) / (4.0 * sight.step)).max(1.0) as usize;
    // A corner of a seventh to six sevenths of the sides: smaller ones are a rounding, larger ones leave a slot.
    let places = |n: usize| (n / 7..n - n / 7).map(move |k| k as f64 / n as f64);
    let (m, n) = (steps(before, at), steps(at, after));
    let mut best: Option<(f64, f64, f64)> = None;
    for (s, t) in places(m).flat_map(|s| places(n).map(move |t| (s, t))) {
        let g = gain(soft, 16.0, s, t);
        let [p, inner, r] = walls(s, t);
        if g > 0.0 && best.is_none_or(|b| g > b.0) && !no_wall(p, inner, facing[0]) && !no_wall(inner, r, facing[1]) {
            best = Some((g, s, t));
        }
    }
    let (_, s, t) = best?;
    let (ds, dt) = (sight.step / before.distance(at), sight.step / at.distance(after));
    let near = (-5i32..=5).flat_map(|a| (-5i32..=5).map(move |b| (s + f64::from(a) * ds, t + f64::from(b) * dt)));
    let (g, s, t) = near.map(|(s, t)| (gain(edges, 4.0, s, t), s, t)).max_by(|a, b| a.0.total_cmp(&b.0))?;
    let [p, inner, r] = walls(s, t);
    (g > 0.0).then(|| rectangle::snapped(sight, edges, &[far, before, p, inner, r, after]))
}
