//! Ellipses of the reduced picture: centres by votes along the gradients, outlines by consensus.

use super::edges::Edges;
use super::lines::{Crest, crests};
use crate::geometry::Point;
use crate::raster::Plane;
use crate::raster::gaussian_blur;
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use rayon::prelude::*;

/// Smallest half axis looked for, reduced px (a coin of 1.4 % of the photo's long side is known to a per cent at best), and
/// largest, as a share of the shorter side.
const SMALLEST: f64 = 12.0;
const LARGEST: f64 = 0.35;

/// Ratio of the largest to the smallest radius of one band of votes.
const BAND: f64 = 1.3;

/// Strength of an edge beyond which it counts in full, log units per reduced px, and how well its direction must fit
/// (cosine of 20 degrees).
const FULL_STRENGTH: f64 = 0.1;
const ALONG: f64 = 0.94;

/// Least share above the texture round about.
const LEAST_CLEAR: f64 = 0.25;

/// Least share of a circle's votes at a centre: ellipses spread theirs.
const LEAST_VOTES: f64 = 0.15;
const MOST_CENTRES: usize = 8;

/// Flattest ellipse: a circle tilted by 53 degrees.
const FLATTEST: f64 = 0.6;

/// Sectors in which an ellipse must show, and least share of them.
const SECTORS: usize = 72;
const LEAST_SHARE: f64 = 0.45;

/// How near a crest must lie, reduced px.
const NEAR: f64 = 1.3;

/// Trials of three points about one centre.
const TRIALS: usize = 300;

/// An ellipse in pixels: half axes, direction of the long one in radians.
#[derive(Debug, Clone, Copy)]
pub struct Ellipse {
    pub centre: Point,
    pub long: f64,
    pub short: f64,
    pub angle: f64,
    /// Share of the way round that shows an edge, faint ones counted less, less what ellipses a tenth larger or smaller show: nought in a field of texture.
    pub clear: f64,
}

impl Ellipse {
    /// The same in photo pixels.
    pub fn enlarged(&self, edges: &Edges) -> Self {
        let k = edges.k as f64;
        let centre = Point::new(edges.full(self.centre.x), edges.full(self.centre.y));
        Self { centre, long: k * self.long, short: k * self.short, ..*self }
    }
}

/// Ellipses that show over more than half of their way round, best first, at most forty.
pub fn ellipses(edges: &Edges) -> Vec<Ellipse> {
    let crests = crests(edges);
    let (w, h) = (edges.strength.width, edges.strength.height);
    let largest = LARGEST * w.min(h) as f64;
    let mut bands = vec![];
    let mut r = SMALLEST;
    while r < largest {
        bands.push(r);
        r *= BAND;
    }
    let mut all: Vec<Ellipse> = bands
        .par_iter()
        .flat_map_iter(|r| centres(&crests, w, h, *r).into_iter().map(move |c| (c, *r)))
        .flat_map_iter(|(centre, r)| about(&crests, centre, r))
        .collect();
    all.sort_by(|a, b| b.clear.total_cmp(&a.clear));
    let mut out: Vec<Ellipse> = vec![];
    for e in all {
        let same = |o: &Ellipse| {
            o.centre.distance(e.centre) < 2.0 && (o.long - e.long).abs() < 1.5 && (o.short - e.short).abs() < 1.5
        };
        if !out.iter().any(same) {
            out.push(e);
        }
        if out.len() == 40 {
            break;
        }
    }
    out
}

/// Centres of circles with radii from `r` to `r` times [`BAND`], by votes along the gradients.
fn centres(crests: &[Crest], w: usize, h: usize, r: f64) -> Vec<Point> {
    let mut votes = Plane::new(w, h);
    let (from, to) = (r.floor() as i32, (BAND * r).ceil() as i32);
    for c in crests {
        let d = Point::new(f64::from(c.normal.cos()), f64::from(c.normal.sin()));
        for i in from..=to {
            for s in [f64::from(i), -f64::from(i)] {
                let p = c.at + d * s;
                if p.x > 0.0 && p.y > 0.0 && p.x < w as f64 - 1.0 && p.y < h as f64 - 1.0 {
                    votes.data[p.y.round() as usize * w + p.x.round() as usize] += 1.0 / (f64::from(i) as f32);
                }
            }
        }
    }
    let sigma = (0.06 * r).max(1.0) as f32;
    let votes = gaussian_blur(&votes, sigma);
    // A circle's votes fall within the blur: 2 pi r of them over r, spread over 2 pi sigma^2.
    let full = 1.0 / (sigma * sigma);
    let reach = (0.25 * r).ceil() as usize;
    let mut peaks: Vec<(f32, Point)> = vec![];
    for y in 1..h - 1 {
        for x in 1..w - 1 {
            let v = votes.at(x, y);
            if f64::from(v / full) > LEAST_VOTES
                && v >= votes.at(x - 1, y)
                && v >= votes.at(x + 1, y)
                && v >= votes.at(x, y - 1)
                && v >= votes.at(x, y + 1)
            {
                peaks.push((v, Point::new(x as f64, y as f64)));
            }
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut out: Vec<Point> = vec![];
    for (_, p) in peaks {
        if out.iter().all(|o| o.distance(p) > reach as f64) {
            out.push(p);
        }
        if out.len() == MOST_CENTRES {
            break;
        }
    }
    out
}

/// Ellipses about a centre by consensus: three crests make one, the others agree or not.
fn about(crests: &[Crest], centre: Point, r: f64) -> Vec<Ellipse> {
    let near: Vec<Mark> = crests
        .iter()
        .filter_map(|c| {
            let q = c.at - centre;
            let far = q.x.hypot(q.y);
            if far < 0.65 * r || far > 1.4 * BAND * r {
                return None;
            }
            let radial = (q.x * f64::from(c.normal.cos()) + q.y * f64::from(c.normal.sin())).abs() / far;
            // Within 35 degrees of the direction to the centre.
            let normal = Point::new(f64::from(c.normal.cos()), f64::from(c.normal.sin()));
            (radial > 0.82).then_some(Mark { at: q, normal, weight: (f64::from(c.strength) / FULL_STRENGTH).min(1.0) })
        })
        .collect();
    if near.len() < SECTORS / 2 {
        return vec![];
    }
    let mut found: Vec<(f64, Ellipse)> = vec![];
    // A fixed sequence (Knuth's 64-bit linear congruence), so that one photo always gives one answer.
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % near.len()
    };
    for _ in 0..TRIALS {
        let three = [near[next()].at, near[next()].at, near[next()].at];
        let m = Matrix3::from_fn(|i, j| [three[i].x.powi(2), three[i].x * three[i].y, three[i].y.powi(2)][j]);
        let Some(v) = m.lu().solve(&Vector3::repeat(1.0)) else { continue };
        let Some(e) = from_conic(v[0], v[1], v[2], Point::default()) else { continue };
        if e.short < 0.7 * r || e.long > 1.35 * BAND * r {
            continue;
        }
        let n = sectors(&near, &e).0;
        if n > 0.7 * LEAST_SHARE {
            found.push((n, e));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut out: Vec<Ellipse> = vec![];
    for (_, e) in found.iter().take(30) {
        if out.len() < 6
            && !out.iter().any(|o| (o.long - e.long).abs() < 2.0 && (o.short - e.short).abs() < 2.0)
            && let Some(e) = refined(&near, *e)
        {
            out.push(e);
        }
    }
    out.into_iter().map(|e| Ellipse { centre: e.centre + centre, ..e }).collect()
}

/// A crest about a centre.
struct Mark {
    at: Point,
    normal: Point,
    weight: f64,
}

/// Weighted share of the sectors that show a crest along the ellipse, and those crests.
fn sectors(points: &[Mark], e: &Ellipse) -> (f64, Vec<Point>) {
    let (c, s) = (e.angle.cos(), e.angle.sin());
    let mut seen = [0f64; SECTORS];
    let mut members = vec![];
    for p in points {
        let q = p.at - e.centre;
        let (u, v) = (q.x * c + q.y * s, q.y * c - q.x * s);
        let far = q.x.hypot(q.y);
        let off = far * (1.0 - 1.0 / (u / e.long).hypot(v / e.short).max(1e-9));
        if off.abs() > NEAR {
            continue;
        }
        let (a, b) = (u / e.long.powi(2), v / e.short.powi(2));
        let n = a.hypot(b).max(1e-12);
        let along = ((a * c - b * s) * p.normal.x + (a * s + b * c) * p.normal.y).abs() / n;
        if along > ALONG {
            let k = (q.y.atan2(q.x) / std::f64::consts::TAU + 0.5) * SECTORS as f64;
            let k = (k as usize).min(SECTORS - 1);
            seen[k] = seen[k].max(p.weight);
            members.push(p.at);
        }
    }
    (seen.iter().sum::<f64>() / SECTORS as f64, members)
}

/// The ellipse of least squares (a conic scaled at its inside) through the crests near it, three times over.
fn refined(points: &[Mark], mut e: Ellipse) -> Option<Ellipse> {
    for _ in 0..3 {
        let (_, members) = sectors(points, &e);
        if members.len() < 12 {
            return None;
        }
        e = through(&members, &e)?;
    }
    let share = sectors(points, &e).0;
    let other = [0.85, 0.9, 1.1, 1.15]
        .map(|k| sectors(points, &Ellipse { long: k * e.long, short: k * e.short, ..e }).0)
        .into_iter()
        .fold(f64::INFINITY, f64::min);
    let clear = share - other;
    let good = share >= LEAST_SHARE && clear >= LEAST_CLEAR && e.short >= FLATTEST * e.long;
    good.then_some(Ellipse { clear, ..e })
}

/// The conic of least squares through points near the ellipse `about` (algebraic distance; the conic is scaled to 1 at
/// the inside, so it must hold the old centre).
fn through(points: &[Point], about: &Ellipse) -> Option<Ellipse> {
    let k = 1.0 / about.long;
    let m = DMatrix::from_fn(points.len(), 5, |i, j| {
        let (x, y) = ((points[i].x - about.centre.x) * k, (points[i].y - about.centre.y) * k);
        [x * x, x * y, y * y, x, y][j]
    });
    let v = m.svd(true, true).solve(&DVector::repeat(points.len(), 1.0), 1e-12).ok()?;
    // Centre: the conic's gradient is zero.
    let det = 4.0 * v[0] * v[2] - v[1] * v[1];
    let (x, y) = ((v[1] * v[4] - 2.0 * v[2] * v[3]) / det, (v[1] * v[3] - 2.0 * v[0] * v[4]) / det);
    let s = k * k / (1.0 - (v[3] * x + v[4] * y) / 2.0);
    from_conic(v[0] * s, v[1] * s, v[2] * s, about.centre + Point::new(x, y) * about.long)
}

/// a x^2 + b x y + c y^2 = 1 about a centre.
fn from_conic(a: f64, b: f64, c: f64, centre: Point) -> Option<Ellipse> {
    let (mean, half) = ((a + c) / 2.0, ((a - c) / 2.0).hypot(b / 2.0));
    let (small, large) = (mean - half, mean + half);
    if !(small > 0.0) || !large.is_finite() {
        return None;
    }
    let angle = 0.5 * b.atan2(a - c) + std::f64::consts::FRAC_PI_2;
    let e = Ellipse { centre, long: small.sqrt().recip(), short: large.sqrt().recip(), angle, clear: 0.0 };
    (e.short >= FLATTEST * e.long).then_some(e)
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_conic_gives_its_axes() {
        // x^2 / 9 + y^2 / 4 turned by 30 degrees.
        let (s, c) = 30f64.to_radians().sin_cos();
        let (p, q) = (1.0 / 9.0, 1.0 / 4.0);
        let e = from_conic(p * c * c + q * s * s, 2.0 * (p - q) * s * c, p * s * s + q * c * c, Point::default());
        let e = e.unwrap();
        assert!((e.long - 3.0).abs() < 1e-9 && (e.short - 2.0).abs() < 1e-9);
        assert!((e.angle.to_degrees().rem_euclid(180.0) - 30.0).abs() < 1e-9, "{}", e.angle.to_degrees());
    }
}
