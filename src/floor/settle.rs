//! A box round a shadow becomes what the camera sees of a rectangle.

use super::rectangle;
use super::search::Sight;
use crate::geometry::{Point, signed_area};
use crate::raster::Plane;
use crate::reference::STEEPEST_DEG;
use nalgebra::Vector3;

/// What perspective makes of a rectangle: each side by itself at the strongest places for it, its ends up to a third of its
/// length (a half of the box's depth) inwards and a quarter outwards of the box; of all fours of such places those that a
/// camera of one of the focal lengths can see a rectangle as, best first, each with [`facing`]. The box itself where there is none.
/// `soft`: the edges smoothed over four samples, so that a grid of as many meets each wall.
pub fn settled(
    sight: &Sight,
    edges: &(Plane, Plane),
    soft: &(Plane, Plane),
    corners: [Point; 4],
    focal_px: &[f64],
) -> Vec<(f64, [Point; 4])> {
    let length = |i: usize| corners[i % 4].distance(corners[(i + 1) % 4]);
    let side = |i: usize| (corners[i], corners[(i + 1) % 4]);
    let sides = [0, 1, 2, 3].map(|i| placed(sight, edges, soft, side(i), length(i + 1).min(length(i + 3))));
    let mut fours: Vec<(f64, f64, [Point; 4])> = Vec::new();
    for pick in 0..sides.iter().map(Vec::len).product() {
        let mut rest: usize = pick;
        let lines = sides.each_ref().map(|s| {
            let k = rest % s.len();
            rest /= s.len();
            &s[k]
        });
        let met = [0, 1, 2, 3].map(|i| rectangle::crossing(lines[(i + 3) % 4].1, lines[i].1));
        let [Some(p), Some(q), Some(r), Some(s)] = met else { continue };
        let four = [p, q, r, s];
        if let Some(facing) = facing(&four, focal_px) {
            let seen = lines.iter().map(|l| l.0.min(PLAIN)).sum::<f64>();
            fours.push((seen * facing.powi(4) * signed_area(&four).abs().sqrt(), facing, four));
        }
    }
    fours.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<(f64, [Point; 4])> = Vec::new();
    for (_, facing, four) in fours {
        let same = |k: &(f64, [Point; 4])| k.1.iter().zip(&four).all(|(p, q)| p.distance(*q) < 6.0 * sight.step);
        if kept.len() < FOURS && !kept.iter().any(same) {
            kept.push((facing, four));
        }
    }
    if kept.is_empty() { vec![(1.0, corners)] } else { kept }
}

/// Strength of a side that is plainly seen, twice the least that counts as seen: a stronger one is none the better.
const PLAIN: f64 = 0.05;
/// Fours of sides that are judged by all their edges, and places looked at for each side.
const FOURS: usize = 24;
const PLACES: usize = 4;

/// Up to [`PLACES`] places of the side of a box that is `depth` deep behind it, and its own, each with its strength: a
/// coarse grid's strongest, well apart, then refined.
fn placed(
    sight: &Sight,
    edges: &(Plane, Plane),
    soft: &(Plane, Plane),
    (a, b): (Point, Point),
    depth: f64,
) -> Vec<(f64, (Point, Point))> {
    let n = rectangle::along(a, b, sight.step).1;
    let line = |t: f64, u: f64| (a + n * t, b + n * u);
    let cell = 4.0 * sight.step;
    let reach = a.distance(b).min(1.5 * depth) / cell;
    let (out, inward) = ((reach / 4.0).ceil() as i32, (reach / 3.0).ceil() as i32);
    let mut grid: Vec<(f64, i32, i32)> = Vec::new();
    for (t, u) in (-out..=inward).flat_map(|t| (-out..=inward).map(move |u| (t, u))) {
        let (p, q) = line(f64::from(t) * cell, f64::from(u) * cell);
        grid.push((rectangle::strength(sight, soft, p, q, 12.0), t, u));
    }
    grid.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut far: Vec<(f64, i32, i32)> = Vec::new();
    let apart = 3.max(out / 2);
    for g in grid {
        if far.len() < PLACES && far.iter().all(|f| (f.1 - g.1).abs() > apart || (f.2 - g.2).abs() > apart) {
            far.push(g);
        }
    }
    // Where the box has it is one more: a wall may hardly be seen.
    far.push((0.0, 0, 0));
    let refined = |(_, t, u): (f64, i32, i32)| {
        let strength = |t: f64, u: f64| {
            let (p, q) = line(t, u);
            rectangle::side_strength(sight, edges, p, q)
        };
        let mut at = (f64::from(t) * cell, f64::from(u) * cell);
        let (mut best, mut move_by) = (strength(at.0, at.1), cell);
        while move_by > 0.2 * sight.step {
            let tries = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)];
            let better = tries
                .map(|(p, q)| (at.0 + p * move_by, at.1 + q * move_by))
                .into_iter()
                .map(|p| (strength(p.0, p.1), p))
                .filter(|p| p.0 > best)
                .max_by(|a, b| a.0.total_cmp(&b.0));
            match better {
                Some(found) => (best, at) = found,
                None => move_by /= 2.0,
            }
        }
        (best, line(at.0, at.1))
    };
    far.into_iter().map(refined).collect()
}

/// Whether a four-sided figure (pixels about the photo's middle) can be a rectangle: at one of the focal lengths its sides'
/// directions in space are square and the plane leans by no more than a camera is held. If so, the largest cosine of the
/// lean: what is seen aslant is rarer. 4 degrees: sides of 200 px found within a pixel, seen from 35 degrees; with 1 true
/// rims fall out, with 15 a side along the grain stays in.
fn facing(corners: &[Point; 4], focal_px: &[f64]) -> Option<f64> {
    let seen = |f: &f64| {
        let ray = corners.map(|c| Vector3::new(c.x, c.y, *f));
        let plane = [0, 1, 2, 3].map(|i| ray[i].cross(&ray[(i + 1) % 4]));
        let (d, e) = (plane[0].cross(&plane[2]).normalize(), plane[1].cross(&plane[3]).normalize());
        let facing = d.cross(&e).normalize().z.abs();
        (d.dot(&e).abs() < 4f64.to_radians().sin() && facing > STEEPEST_DEG.to_radians().cos()).then_some(facing)
    };
    focal_px.iter().filter_map(seen).max_by(f64::total_cmp)
}
