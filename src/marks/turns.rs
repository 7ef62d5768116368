//! Rings of the cutter's size: where passes turn and the cutter dwells, it cuts a little deeper or burns the wood.
//!
//! Light changes across a ring's line along its radius, whatever made it (groove or burn) and wherever the lamp stands. So every
//! sample votes for the two places a radius away along its gradient (Hough's transform for circles; Ballard, Pattern
//! Recognition 13 (1981) 111, from memory). Lines and half circles vote for one place too, but from one side: the sums of
//! the votes' directions, once and twice round, are taken off.

use super::flatten::Flat;
use super::types::{Family, Turns};
use crate::raster::{Mask, Plane, gaussian_blur, gradients};
use crate::stats::median;
use crate::units::Measured;
use rayon::prelude::*;

/// Samples that the cutter's radius is reduced to, and the fewest that still tell a ring from a spot. More samples make the
/// rings' lines wider than the votes' spread, fewer let chips pass for rings.
const RADIUS: f64 = 14.0;
const LEAST_RADIUS: f64 = 8.0;
/// Radii of rings over the cutter's: the groove lies inside the cutter's edge by up to its own width, half a millimetre.
const RADII: [f64; 7] = [0.77, 0.82, 0.87, 0.92, 0.97, 1.02, 1.07];
/// A radius at which a cutter leaves no ring: what is found there is the floor's own texture.
const CONTROL: f64 = 1.35;
/// Share of a full ring's votes (a line two samples wide, seen all round) from which there is a ring. Of some 40 made floors
/// without rings most had no place above it; four with rings had 9 to 22.
const SEEN: f64 = 0.2;
/// Fewest rings: passes turn at both ends or in all corners. Of 34 made floors without rings one showed five such places,
/// the others none where the control below had its say.
const FEWEST: usize = 7;
/// Directions of gradients that are counted, over half a turn: a direction that the whole floor has (grain) weighs less.
const DIRECTIONS: usize = 36;
/// Gradient over the floor's median at which a sample has half its vote.
const STEEP: f32 = 2.0;
/// Least vote that is cast.
const LEAST_VOTE: f32 = 0.1;

/// One sample's vote.
struct Vote {
    x: f32,
    y: f32,
    cos: f32,
    sin: f32,
    weight: f32,
}

/// Highest part of the stepover, and the relative error of it, at which rows of rings show as lines: no ring is sharper.
const PARTS: f64 = 12.0;
const NEAR: f64 = 0.01;

/// Whether a family is what evenly spaced rings leave in the spectrum: bent lines at a whole part of the stepover.
pub(super) fn row_of_rings(f: &Family, stepover: Option<f64>) -> bool {
    let n = stepover.map_or(0.0, |s| s / f.pitch.value);
    f.curved && f.along_walls.is_none() && (0.5..=PARTS + 0.5).contains(&n) && (n / n.round() - 1.0).abs() < NEAR
}

/// The rings; `None` where the cutter's radius (floor units) is not known or too few samples wide to look.
pub(super) fn find(flat: &Flat, cutter_radius: Option<f64>) -> Option<Turns> {
    let radius = cutter_radius.filter(|r| *r / flat.step >= LEAST_RADIUS)?;
    let k = ((radius / flat.step / RADIUS) as usize).max(1);
    let (rel, used) = flat.reduced(k);
    let step = flat.step * k as f64;
    let votes = votes(&rel, &used);
    let r = radius / step;
    let rings = |share: &f64| places(&votes, &used, share * r);
    let mut all: Vec<(f64, Vec<(f32, usize)>)> =
        RADII.par_iter().chain([CONTROL].par_iter()).map(|q| (*q, rings(q))).collect();
    let (_, control) = all.pop()?;
    let sum = |p: &[(f32, usize)]| p.iter().map(|q| f64::from(q.0)).sum::<f64>();
    let total: f64 = all.iter().map(|a| sum(&a.1)).sum();
    let middle = all.iter().map(|a| a.0 * sum(&a.1)).sum::<f64>() / total.max(1e-9);
    let spread = (all.iter().map(|a| (a.0 - middle).powi(2) * sum(&a.1)).sum::<f64>() / total.max(1e-9)).sqrt();
    let (_, best) = all.into_iter().max_by(|a, b| sum(&a.1).total_cmp(&sum(&b.1)))?;
    if best.len() < FEWEST || 4 * control.len() > best.len() {
        return Some(Turns::default());
    }
    let at = |i: usize| flat.place(k, i % used.width, i / used.width);
    // Half a step of the radii tried is as fine as this looks.
    let step = 0.5 * (RADII[1] - RADII[0]);
    Some(Turns {
        radius: Measured::new(middle * radius, radius * step.hypot(spread)),
        places: best.iter().map(|p| at(p.1)).collect(),
    })
}

fn votes(rel: &Plane, used: &Mask) -> Vec<Vote> {
    let (gx, gy) = gradients(&gaussian_blur(rel, 1.0));
    let inner = used.erode(2);
    let at: Vec<usize> = (0..inner.data.len()).filter(|i| inner.data[*i]).collect();
    let size = |i: usize| gx.data[i].hypot(gy.data[i]);
    let Some(usual) = median(&at.iter().step_by(7).map(|i| f64::from(size(*i))).collect::<Vec<_>>()) else {
        return Vec::new();
    };
    let limit = (STEEP * usual as f32).powi(2).max(1e-12);
    let weight = |i: usize| {
        let m = size(i).powi(2);
        m / (m + limit)
    };
    let bin = |i: usize| {
        let turn = f64::from(gy.data[i].atan2(gx.data[i])) / std::f64::consts::PI;
        (turn.rem_euclid(1.0) * DIRECTIONS as f64) as usize % DIRECTIONS
    };
    let mut by_direction = [0.0f32; DIRECTIONS];
    at.iter().for_each(|i| by_direction[bin(*i)] += weight(*i));
    let mean = by_direction.iter().sum::<f32>() / DIRECTIONS as f32;
    let near = |b: usize| {
        [DIRECTIONS - 1, 0, 1].map(|d| by_direction[(b + d) % DIRECTIONS]).iter().sum::<f32>() / 3.0 / mean.max(1e-9)
    };
    at.into_iter()
        .filter_map(|i| {
            let weight = weight(i) / near(bin(i)).max(0.1);
            let (x, y) = ((i % rel.width) as f32, (i / rel.width) as f32);
            let m = size(i).max(1e-12);
            (weight > LEAST_VOTE).then(|| Vote { x, y, cos: gx.data[i] / m, sin: gy.data[i] / m, weight })
        })
        .collect()
}

/// Middles of rings of radius `r` (samples) with their share of a full ring's votes, strongest first, no two nearer than half
/// a radius.
fn places(votes: &[Vote], used: &Mask, r: f64) -> Vec<(f32, usize)> {
    let (w, h) = (used.width, used.height);
    let mut sums = [(); 5].map(|()| Plane::new(w, h));
    for v in votes {
        for side in [r as f32, -(r as f32)] {
            let (x, y) = ((v.x + side * v.cos).round(), (v.y + side * v.sin).round());
            if x < 0.0 || y < 0.0 || x >= w as f32 || y >= h as f32 {
                continue;
            }
            let i = y as usize * w + x as usize;
            let (c, s) = (v.cos * side.signum(), v.sin * side.signum());
            for (p, e) in sums.iter_mut().zip([1.0, c, s, c * c - s * s, 2.0 * c * s]) {
                p.data[i] += v.weight * e;
            }
        }
    }
    let [all, c1, s1, c2, s2] = sums.map(|p| gaussian_blur(&p, 1.0));
    // What votes against one side or for two opposite ones only takes away from all votes.
    let may = |i: &usize| used.data[*i] && all.data[*i] / r as f32 > SEEN as f32;
    let share = |i: usize| (all.data[i] - c1.data[i].hypot(s1.data[i]) - c2.data[i].hypot(s2.data[i])) / r as f32;
    let mut found: Vec<(f32, usize)> =
        (0..w * h).filter(may).map(|i| (share(i), i)).filter(|p| p.0 > SEEN as f32).collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<(f32, usize)> = Vec::new();
    let far = |a: usize, b: usize| ((a % w) as f64 - (b % w) as f64).hypot((a / w) as f64 - (b / w) as f64) > 0.5 * r;
    for p in found {
        if kept.iter().all(|q| far(p.1, q.1)) {
            kept.push(p);
        }
    }
    kept
}
