//! Ellipses of the reduced picture: centres by votes along the gradients, outlines by consensus.

use super::edges::Edges;
use super::lines::{Crest, crests};
use crate::geometry::Point;
use crate::raster::Plane;
use crate::raster::gaussian_blur;
use crate::stats::Draws;
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

/// Centres of circles with radii from `r` to `r` times [`BAND`], by votes along the gradients. Large circles vote on a
/// coarser grid: their votes spread more anyway.
fn centres(crests: &[Crest], w: usize, h: usize, r: f64) -> Vec<Point> {
    let sigma = (0.06 * r).max(1.0);
    let grid = (sigma / 1.5).floor().max(1.0);
    let (w, h) = ((w as f64 / grid).ceil() as usize, (h as f64 / grid).ceil() as usize);
    let mut votes = Plane::new(w, h);
    let steps = ((BAND - 1.0) * r / grid).ceil() as i32;
    for c in crests {
        let d = Point::new(f64::from(c.normal.cos()), f64::from(c.normal.sin()));
        for i in 0..=steps {
            let far = r + grid * f64::from(i);
            for s in [far, -far] {
                let p = (c.at + d * s) * (1.0 / grid);
                if p.x > 0.0 && p.y > 0.0 && p.x < w as f64 - 1.0 && p.y < h as f64 - 1.0 {
                    votes.data[p.y.round() as usize * w + p.x.round() as usize] += (grid / far) as f32;
                }
            }
        }
    }
    let votes = gaussian_blur(&votes, (sigma / grid) as f32);
    // A circle's votes fall within the blur: 2 pi r of them over r, spread over 2 pi sigma^2.
    let full = (grid * grid / (sigma * sigma)) as f32;
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
                peaks.push((v, Point::new(x as f64 * grid, y as f64 * grid)));
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
            let far = length(q.x, q.y);
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
    let polar = Polar::new(&near, r);
    let mut found: Vec<(f64, Ellipse)> = vec![];
    let mut draws = Draws::new(0x2545_f491_4f6c_dd1d);
    let mut next = || draws.below(near.len());
    for _ in 0..TRIALS {
        let three = [near[next()].at, near[next()].at, near[next()].at];
        let m = Matrix3::from_fn(|i, j| [three[i].x.powi(2), three[i].x * three[i].y, three[i].y.powi(2)][j]);
        let Some(v) = m.lu().solve(&Vector3::repeat(1.0)) else { continue };
        let Some(e) = from_conic(v[0], v[1], v[2], Point::default()) else { continue };
        if e.short < 0.7 * r || e.long > 1.35 * BAND * r {
            continue;
        }
        let n = polar.share(&e);
        // Half of what the refined ellipse must show; texture shows as much anywhere.
        if n > 0.7 * LEAST_SHARE && n - polar.elsewhere(&e) > 0.5 * LEAST_CLEAR {
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

/// Crests about a centre by direction and distance, so that one trial costs a walk round its ellipse.
struct Polar {
    /// Radius, normal and weight of the strongest crest of every place; weight 0 where there is none.
    places: Vec<(f64, Point, f64)>,
    directions: Vec<Point>,
    /// Radius of the innermost place, reduced px; places are one px apart.
    from: f64,
    bins: usize,
}

impl Polar {
    fn new(marks: &[Mark], r: f64) -> Self {
        // Within one direction the flattest ellipse changes by under a pixel.
        let cells = SECTORS * (BAND * r / 25.0).ceil().clamp(1.0, 8.0) as usize;
        let from = (0.65 * r).floor() - 2.0;
        let bins = (1.4 * BAND * r - from).ceil() as usize + 3;
        let mut places = vec![(0.0, Point::default(), 0.0); cells * bins];
        for m in marks {
            let far = m.at.x.hypot(m.at.y);
            let k = (m.at.y.atan2(m.at.x) / std::f64::consts::TAU + 0.5) * cells as f64;
            let place = &mut places[(k as usize).min(cells - 1) * bins + ((far - from) as usize).min(bins - 1)];
            if m.weight > place.2 {
                *place = (far, m.normal, m.weight);
            }
        }
        let directions = (0..cells)
            .map(|k| {
                let a = ((k as f64 + 0.5) / cells as f64 - 0.5) * std::f64::consts::TAU;
                Point::new(a.cos(), a.sin())
            })
            .collect();
        Self { places, directions, from, bins }
    }
    /// The least share that larger and smaller ellipses show.
    fn elsewhere(&self, e: &Ellipse) -> f64 {
        sizes(e).map(|e| self.share(&e)).into_iter().fold(f64::INFINITY, f64::min)
    }
    /// Weighted share of the sectors that show a crest along an ellipse about the centre.
    fn share(&self, e: &Ellipse) -> f64 {
        let (c, s) = (e.angle.cos(), e.angle.sin());
        let per = self.directions.len() / SECTORS;
        let mut sum = 0.0;
        for (k, some) in self.directions.chunks(per).enumerate() {
            let mut seen = 0f64;
            for (i, d) in some.iter().enumerate() {
                let (u, v) = (d.x * c + d.y * s, d.y * c - d.x * s);
                let far = 1.0 / length(u / e.long, v / e.short);
                let (a, b) = (u / e.long.powi(2), v / e.short.powi(2));
                let normal = Point::new(a * c - b * s, a * s + b * c) * (1.0 / length(a, b).max(1e-12));
                let first = ((far - self.from - NEAR).max(0.0) as usize).min(self.bins - 1);
                let last = ((far - self.from + NEAR).max(0.0) as usize).min(self.bins - 1);
                for p in &self.places[(k * per + i) * self.bins..][first..=last] {
                    if p.2 > seen && (p.0 - far).abs() <= NEAR && (p.1.x * normal.x + p.1.y * normal.y).abs() > ALONG {
                        seen = p.2;
                    }
                }
            }
            sum += seen;
        }
        sum / SECTORS as f64
    }
}

/// Length of a vector of pixels, which needs no guard against overflow: `hypot` costs five times as much, millions of times.
fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// Ellipses a tenth and a sixth larger and smaller.
fn sizes(e: &Ellipse) -> [Ellipse; 4] {
    [0.85, 0.9, 1.1, 1.15].map(|k| Ellipse { long: k * e.long, short: k * e.short, ..*e })
}

/// Weighted share of the sectors that show a crest along the ellipse, and those crests.
fn sectors(points: &[Mark], e: &Ellipse) -> (f64, Vec<Point>) {
    let (c, s) = (e.angle.cos(), e.angle.sin());
    let mut seen = [0f64; SECTORS];
    let mut members = vec![];
    for p in points {
        let q = p.at - e.centre;
        let (u, v) = (q.x * c + q.y * s, q.y * c - q.x * s);
        let far = length(q.x, q.y);
        let off = far * (1.0 - 1.0 / length(u / e.long, v / e.short).max(1e-9));
        if off.abs() > NEAR {
            continue;
        }
        let (a, b) = (u / e.long.powi(2), v / e.short.powi(2));
        let n = length(a, b).max(1e-12);
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
    if share < LEAST_SHARE || e.short < FLATTEST * e.long {
        return None;
    }
    let other = sizes(&e).map(|e| sectors(points, &e).0).into_iter().fold(f64::INFINITY, f64::min);
    let clear = share - other;
    (clear >= LEAST_CLEAR).then_some(Ellipse { clear, ..e })
}

/// The conic of least squares through points near the ellipse `about` (algebraic distance; the conic is scaled to 1 at
/// the inside, so it must hold the old centre).
fn through(points: &[Point], about: &Ellipse) -> Option<Ellipse> {
    let k = 1.0 / about.long;
    let m = DMatrix::from_fn(points.len(), 5, |i, j| {
        let (x, y) = ((points[i].x - about.centre.x) * k, (points[i].y - about.centre.y) * k);
        [x * x, x * y, y * y, x, y][j]
    });
    // Coordinates are of the order of one, so that the normal equations are sound.
    let v = m.tr_mul(&m).cholesky()?.solve(&m.tr_mul(&DVector::repeat(points.len(), 1.0)));
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
    /// Source: OpenCV's `fitEllipse` (least squares) on the same noisy points (tests/truth/ellipse.json). The two weigh the
    /// points differently; a tenth of the noise of 0.3 px is left for that.
    #[test]
    fn ellipses_are_those_of_opencv() {
        let facts: serde_json::Value = serde_json::from_str(include_str!("../../tests/truth/ellipse.json")).unwrap();
        for case in facts["cases"].as_array().unwrap() {
            let number = |v: &serde_json::Value| v.as_f64().unwrap();
            let points: Vec<Point> =
                case["points"].as_array().unwrap().iter().map(|p| Point::new(number(&p[0]), number(&p[1]))).collect();
            let centre = Point::new(number(&case["centre"][0]), number(&case["centre"][1]));
            let (long, short) = (number(&case["long"]), number(&case["short"]));
            let near =
                Ellipse { centre: centre + Point::new(2.0, -1.0), long: 1.05 * long, short, angle: 0.0, clear: 0.0 };
            let e = through(&points, &near).unwrap();
            assert!(e.centre.distance(centre) < 0.03, "{e:?}, centre {centre:?}");
            assert!((e.long - long).abs() < 0.03 && (e.short - short).abs() < 0.03, "{e:?}, axes {long} {short}");
            let turn = (e.angle.to_degrees() - number(&case["angle_deg"])).rem_euclid(180.0);
            assert!(turn.min(180.0 - turn) < 0.3, "{e:?}, angle {}", case["angle_deg"]);
        }
    }
}
