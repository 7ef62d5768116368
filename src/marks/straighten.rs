//! The floor laid out by its distance from the walls: one profile a piece of wall.

use super::flatten::Flat;
use super::stack::Stack;
use super::types::Family;
use crate::floor::Patch;
use crate::geometry::{Point, foot};
use crate::units::{line_difference, turn};
use rayon::prelude::*;

/// Sectors that an outline is cut into by length. More of them leave each less of a faint line, fewer let a wall that was found
/// half a degree off its place smear the lines beside it.
const SECTORS: f64 = 24.0;
/// A sector ends where its wall has turned by this much, degrees.
pub(super) const TURN_DEG: f64 = 25.0;
/// Samples of the view a side of the blocks whose nearest pieces of outline are listed once.
const BLOCK: usize = 16;
/// Share of a sector's reach over which its weight rises and falls at either end.
const RAMP: f64 = 0.2;
/// Directions that differ by less than this are one, degrees: a wall is found to half a degree.
pub(super) const AXIS_DEG: f64 = 3.0;

/// A straight piece of an outline.
#[derive(Clone, Copy)]
pub(super) struct Side {
    pub a: Point,
    pub b: Point,
    /// Length along the sector up to `a`.
    at: f64,
    pub sector: usize,
}

/// The outlines, cut into sectors.
pub(super) struct Walls {
    pub sides: Vec<Side>,
    /// Direction across each sector's wall, degrees, modulo 180.
    pub normals: Vec<f64>,
    /// Length of the longest.
    longest: f64,
}

impl Walls {
    pub fn of(patch: &Patch) -> Self {
        let mut out = Self { sides: Vec::new(), normals: Vec::new(), longest: 0.0 };
        let length =
            |ring: &[Point]| (0..ring.len()).map(|i| ring[i].distance(ring[(i + 1) % ring.len()])).sum::<f64>();
        let piece = length(&patch.outline) / SECTORS;
        if piece > 0.0 {
            out.ring(&patch.outline, piece);
            patch.islands.iter().filter(|i| i.len() > 2).for_each(|i| out.ring(i, piece));
        }
        out
    }

    fn ring(&mut self, ring: &[Point], piece: f64) {
        let direction = |a: Point, b: Point| (b.y - a.y).atan2(b.x - a.x).to_degrees();
        let mut open: Option<(Point, f64, f64)> = None;
        for (i, p) in ring.iter().enumerate() {
            let q = ring[(i + 1) % ring.len()];
            let parts = (p.distance(q) / piece).ceil().max(1.0);
            for k in 0..parts as usize {
                let (a, b) = (p.lerp(q, k as f64 / parts), p.lerp(q, (k + 1) as f64 / parts));
                let (length, deg) = (a.distance(b), direction(a, b));
                if length <= 0.0 {
                    continue;
                }
                let goes_on = open.filter(|(_, so_far, first)| {
                    so_far + length <= 1.01 * piece && turn(*first, deg).abs() <= TURN_DEG
                });
                let (start, so_far, first) = goes_on.unwrap_or((a, 0.0, deg));
                if goes_on.is_none() {
                    self.normals.push(0.0);
                }
                let sector = self.normals.len() - 1;
                self.normals[sector] = crate::units::wrap_180(direction(start, b) + 90.0);
                self.sides.push(Side { a, b, at: so_far, sector });
                self.longest = self.longest.max(so_far + length);
                open = Some((start, so_far + length, first));
            }
        }
    }

    /// The sides that are nearest to some place within `radius` of `p`.
    fn near(&self, p: Point, radius: f64) -> Vec<Side> {
        let distance: Vec<f64> = self.sides.iter().map(|s| p.distance(foot(p, s.a, s.b))).collect();
        let limit = distance.iter().copied().fold(f64::INFINITY, f64::min) + 2.0 * radius;
        self.sides.iter().zip(&distance).filter(|(_, d)| **d <= limit).map(|(s, _)| *s).collect()
    }
}

/// The nearest of some sides: distance, its foot, the side.
pub(super) fn nearest(p: Point, sides: &[Side]) -> Option<(f64, Point, &Side)> {
    sides
        .iter()
        .map(|s| {
            let f = foot(p, s.a, s.b);
            (p.distance(f), f, s)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The floor laid out by distance from the walls, and by place along them; one band a sector.
///
/// Every sample is weighed by how squarely the light falls across its wall (c, where the lamp is known): the mean of a bin is
/// sum(c rel) / sum(c^2), what the lines would show with the lamp straight across them. Straight families are taken out of
/// the first beside the walls they do not run along.
pub(super) fn straightened(
    flat: &Flat,
    walls: &Walls,
    straight: &[Family],
    lamp: Option<f64>,
    deepest: f64,
) -> [Stack; 2] {
    let dt = flat.step / 2.0;
    let bands = walls.normals.len();
    let bins = [deepest, walls.longest].map(|reach| (reach / dt).ceil() as usize + 3);
    let [x0, y0, x1, y1] = flat.bounds;
    let towards = lamp.map(|deg| deg.to_radians().sin_cos());
    let at = |x: f64, y: f64| Point::new(flat.origin.x + x * flat.step, flat.origin.y + y * flat.step);
    let half = BLOCK as f64 / 2.0;
    let oblique: Vec<Vec<&Family>> =
        walls.normals.iter().map(|n| straight.iter().filter(|f| !runs_along(f, *n)).collect()).collect();
    let rows: Vec<usize> = (y0..=y1).step_by(BLOCK).collect();
    let empty = || bins.map(|n| vec![[0.0f64; 2]; n * bands]);
    let parts = rows.len().div_ceil(rayon::current_num_threads().clamp(1, 8)).max(1);
    let sums = rows
        .par_chunks(parts)
        .map(|rows| {
            let mut sums = empty();
            for (by, bx) in rows.iter().flat_map(|y| (x0..=x1).step_by(BLOCK).map(move |x| (*y, x))) {
                let block =
                    || (by..(by + BLOCK).min(y1 + 1)).flat_map(|y| (bx..(bx + BLOCK).min(x1 + 1)).map(move |x| (x, y)));
                if !block().any(|(x, y)| flat.used.at(x, y)) {
                    continue;
                }
                let near = walls.near(at(bx as f64 + half, by as f64 + half), 1.5 * half * flat.step);
                for (x, y) in block().filter(|(x, y)| flat.used.at(*x, *y)) {
                    let p = at(x as f64, y as f64);
                    let Some((d, f, side)) = nearest(p, &near).filter(|n| n.0 > 0.0 && n.0 < deepest) else { continue };
                    let n = (p - f) * (1.0 / d);
                    let along = side.at + side.a.distance(f);
                    let c = towards.map_or((1.0, 1.0), |(s, c)| (n.x * c + n.y * s, n.x * s - n.y * c));
                    let lines: f64 = oblique[side.sector].iter().map(|f| shown(f, p)).sum();
                    let v = f64::from(flat.rel.at(x, y));
                    let both = [(d, c.0, v - lines, bins[0]), (along, c.1, v, bins[1])];
                    for (sums, (t, c, v, bins)) in sums.iter_mut().zip(both) {
                        let (i, r) = ((t / dt) as usize, (t / dt).fract());
                        let cell = side.sector * bins + i.min(bins - 2);
                        for (k, part) in [(cell, 1.0 - r), (cell + 1, r)] {
                            sums[k][0] += part * c * v;
                            sums[k][1] += part * c * c;
                        }
                    }
                }
            }
            sums
        })
        .reduce(empty, |mut a, b| {
            a.iter_mut().flatten().zip(b.iter().flatten()).for_each(|(x, y)| {
                x[0] += y[0];
                x[1] += y[1];
            });
            a
        });
    let mut of = sums.into_iter().zip(bins).map(|(both, bins)| {
        let (sum, weight) = both.iter().map(|v| (v[0], v[1])).unzip();
        let mut s =
            Stack { normal_deg: 0.0, middle: flat.middle, t0: 0.0, dt, bins, u0: 0.0, du: 0.0, bands, sum, weight };
        (0..bands).for_each(|b| level(&mut s, b));
        s
    });
    let mut next = || of.next().expect("two stacks are made of two sums");
    [next(), next()]
}

/// Whether a straight family runs along walls of this normal.
pub(super) fn runs_along(f: &Family, normal_deg: f64) -> bool {
    line_difference(f.normal_deg.value, normal_deg).abs() < AXIS_DEG
}

/// Relative brightness of a straight family at a place; 0 where its phase is not known.
fn shown(f: &Family, p: Point) -> f64 {
    let (s, c) = f.normal_deg.value.to_radians().sin_cos();
    let turns = f.offset.map(|o| ((p.x * c + p.y * s - o) / f.pitch.value).rem_euclid(1.0));
    let n = f.folded.len();
    turns.and_then(|t| f.folded.get((t * n as f64) as usize % n.max(1)).copied()).unwrap_or(0.0)
}

/// Takes mean and trend out of a band and lets its weight rise and fall smoothly at the ends of its reach.
fn level(s: &mut Stack, band: usize) {
    let row = band * s.bins..(band + 1) * s.bins;
    let top = s.weight[row.clone()].iter().copied().fold(0.0, f64::max);
    let full = |w: &f64| *w > 0.1 * top;
    let (Some(first), Some(last)) =
        (s.weight[row.clone()].iter().position(full), s.weight[row.clone()].iter().rposition(full))
    else {
        return;
    };
    let (mut t, mut v, mut w) = (vec![], vec![], vec![]);
    for i in first..=last {
        let k = row.start + i;
        if s.weight[k] > 0.0 {
            t.push(i as f64);
            v.push(s.sum[k] / s.weight[k]);
            w.push(s.weight[k]);
        }
    }
    let (a, b, ..) = crate::stats::fit_line(&t, &v, Some(&w)).unwrap_or_default();
    let ramp = RAMP * (last - first) as f64;
    for i in 0..s.bins {
        let k = row.start + i;
        let end = if i < first || i > last { 0.0 } else { ((i - first).min(last - i) as f64 / ramp.max(1.0)).min(1.0) };
        let g = 0.5 - 0.5 * (std::f64::consts::PI * end).cos();
        s.sum[k] = g * (s.sum[k] - s.weight[k] * (a + b * i as f64));
        s.weight[k] *= g;
    }
}
