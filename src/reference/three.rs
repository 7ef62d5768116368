//! The fourth side of a rectangle of known size from the other three, where its own edge is broken by what it crosses.
//!
//! Grain that meets a side at a small angle breaks its edge into pieces too short for a line. Three sides and the camera
//! say where the fourth must lie; there the mean colour along the side still steps, because what crosses it averages out.

use super::edges::Edges;
use super::lines::Line;
use super::quads::{Camera, Quad, STEEPEST_DEG, as_quad};
use crate::geometry::Point;
use nalgebra::Vector3;
use rayon::prelude::*;

/// Least share of each of the three sides that must carry edge: more than of four, since three say less.
const LEAST_COVER: f64 = 0.5;
const MEAN_COVER: f64 = 0.7;

/// How far from the place foretold the fourth side is looked for, as a share of the distance to the side opposite: a
/// focal length wrong by 15 % moves it by 6 % at 30 degrees of obliquity.
const REACH: f64 = 0.08;

/// Weakest step of the mean colour along the side, log units over two reduced px: half of the weakest edge of a line,
/// since two hundred places are averaged.
const WEAKEST: f64 = 0.03;

/// Places along the side on which the mean colour is taken, and the side's turns tried (change of offset at its ends as a
/// share of its length): three lines foretell the direction to a degree.
const PLACES: usize = 40;
const TURNS: [f64; 5] = [-0.012, -0.006, 0.0, 0.006, 0.012];

/// Quads of which three sides are lines and the fourth a step of the mean colour, best first, at most `most`. Arguments
/// as for [`super::quads::quads`].
pub fn completed(
    edges: &Edges,
    lines: &[Line],
    camera: &Camera,
    size_mm: (f64, f64),
    least_px: f64,
    tolerance: f64,
    most: usize,
) -> Vec<Quad> {
    let some: Vec<Three> = (0..lines.len())
        .into_par_iter()
        .flat_map_iter(|i| {
            let mut some = vec![];
            for j in i + 1..lines.len() {
                let (a, b) = (&lines[i], &lines[j]);
                let turn = (a.along.x * b.along.y - a.along.y * b.along.x).abs();
                if turn > 0.42 || a.off(b.at).abs().min(b.off(a.at).abs()) < 0.7 * least_px {
                    continue;
                }
                for (k, rung) in lines.iter().enumerate() {
                    if k != i && k != j {
                        from_three(edges, [a, b, rung], camera, size_mm, least_px, &mut some);
                    }
                }
            }
            best_covered(some)
        })
        .collect();
    let mut out: Vec<Quad> = best_covered(some)
        .into_par_iter()
        .flat_map_iter(|t| {
            let quad = |(r, s, step): (Point, Point, f64)| {
                // A strong step is worth a covered side.
                let mean = (3.0 * t.cover + (step / 0.2).min(1.0)) / 4.0;
                as_quad([t.near.0, t.near.1, s, r], mean, camera, size_mm, tolerance)
            };
            steps_near(edges, t.near, t.far).into_iter().filter_map(quad).collect::<Vec<_>>()
        })
        .collect();
    out.sort_by(|a, b| b.score.total_cmp(&a.score));
    out.truncate(most);
    out
}

/// Three lines that may be sides: the ends of the one in the middle, those foretold of the fourth side (each on the same
/// neighbouring side), and the mean share of the three that carries edge.
struct Three {
    near: (Point, Point),
    far: (Point, Point),
    cover: f64,
}

/// Most triples whose fourth side is looked for; a look takes a tenth of a millisecond. Made photos have a few hundred, a floor
/// ruled all over has ten thousand and more. Fewer could lose a card among such rulings, more only cost time there.
const MOST_LOOKED_AT: usize = 1000;

/// The best covered of the triples; of equal ones the stronger lines', which come first.
fn best_covered(mut some: Vec<Three>) -> Vec<Three> {
    some.sort_by(|a, b| b.cover.total_cmp(&a.cover));
    some.truncate(MOST_LOOKED_AT);
    some
}

fn from_three(
    edges: &Edges,
    [a, b, rung]: [&Line; 3],
    camera: &Camera,
    size_mm: (f64, f64),
    least_px: f64,
    out: &mut Vec<Three>,
) {
    let (Some(p), Some(q)) = (a.crossing(rung), b.crossing(rung)) else { return };
    let own = rung.cover(rung.t_of(p), rung.t_of(q));
    if own < LEAST_COVER || p.distance(q) < least_px {
        return;
    }
    for (across, deep) in [size_mm, (size_mm.1, size_mm.0)] {
        for (r, s) in foretold(a, b, rung, (p, q), camera, across, deep).into_iter().flatten() {
            let inside = |c: Point| {
                (0.0..edges.strength.width as f64).contains(&c.x) && (0.0..edges.strength.height as f64).contains(&c.y)
            };
            if p.distance(r) < least_px || !inside(r) || !inside(s) {
                continue;
            }
            let (ca, cb) = (a.cover(a.t_of(p), a.t_of(r)), b.cover(b.t_of(q), b.t_of(s)));
            let cover = (own + ca + cb) / 3.0;
            if ca.min(cb) >= LEAST_COVER && cover >= MEAN_COVER {
                out.push(Three { near: (p, q), far: (r, s), cover });
            }
        }
    }
}

/// The two ends of the fourth side on either side of the rung, by the pose: the sides' direction is the crossing of their
/// planes through the lens, the rung's lies in its own plane and at right angles to it, and its length gives the scale.
fn foretold(
    a: &Line,
    b: &Line,
    rung: &Line,
    (p, q): (Point, Point),
    camera: &Camera,
    across_mm: f64,
    deep_mm: f64,
) -> [Option<(Point, Point)>; 2] {
    let ray = |c: Point| Vector3::new(c.x - camera.centre.x, c.y - camera.centre.y, camera.focal_px).normalize();
    let plane = |l: &Line| ray(l.at).cross(&ray(l.at + l.along * 50.0)).normalize();
    let along = plane(a).cross(&plane(b));
    // Sides that seem parallel meet far away; their planes are then never one.
    if along.norm() < 1e-6 {
        return [None, None];
    }
    let along = along.normalize();
    let across = plane(rung).cross(&along).normalize();
    if along.cross(&across).z.abs() < STEEPEST_DEG.to_radians().cos() {
        return [None, None];
    }
    let (rp, rq) = (ray(p), ray(q));
    let n = rp.cross(&rq);
    let lambda = -across_mm * across.cross(&rq).dot(&n) / n.norm_squared();
    let across = if lambda < 0.0 { -across } else { across };
    let near = rp * lambda.abs();
    let project = |v: Vector3<f64>| {
        (v.z > 1.0).then(|| {
            Point::new(camera.centre.x + camera.focal_px * v.x / v.z, camera.centre.y + camera.focal_px * v.y / v.z)
        })
    };
    [1.0, -1.0].map(|sign| {
        let r = near + along * (sign * deep_mm);
        Some((project(r)?, project(r + across * across_mm)?))
    })
}

/// The two strongest steps of the mean colour near the side from `r` to `s`, each with its ends on the neighbouring sides.
fn steps_near(edges: &Edges, (p, q): (Point, Point), (r, s): (Point, Point)) -> Vec<(Point, Point, f64)> {
    let deep = 0.5 * (p.distance(r) + q.distance(s));
    let half = (2.0 * REACH * deep).ceil() as i32;
    // Ends at offset o and turn t, in reduced px along the neighbouring sides.
    let ends = |o: f64, t: f64| {
        let shift = t * r.distance(s);
        let (r, s) = (p.lerp(r, 1.0 + (o - shift) / deep), q.lerp(s, 1.0 + (o + shift) / deep));
        (r, s)
    };
    let mut peaks: Vec<(Point, Point, f64)> = vec![];
    for turn in TURNS {
        let means: Vec<[f64; 3]> = (-half - 2..=half + 2)
            .map(|i| {
                let (r, s) = ends(0.5 * f64::from(i), turn);
                edges.mean_colour(r, s, PLACES)
            })
            .collect();
        let step = |i: usize| {
            let d = |c: usize| means[i + 2][c] - means[i - 2][c];
            (0..3).map(|c| d(c) * d(c)).sum::<f64>().sqrt()
        };
        for i in 3..means.len() - 3 {
            let here = step(i);
            if here > WEAKEST && here >= step(i - 1) && here > step(i + 1) {
                let (r, s) = ends(0.5 * f64::from(i as i32 - half - 2), turn);
                peaks.push((r, s, here));
            }
        }
    }
    peaks.sort_by(|x, y| y.2.total_cmp(&x.2));
    let mut out: Vec<(Point, Point, f64)> = vec![];
    for peak in peaks {
        // The same step at another turn.
        if !out.iter().any(|o| o.0.lerp(o.1, 0.5).distance(peak.0.lerp(peak.1, 0.5)) < 2.0) {
            out.push(peak);
        }
        if out.len() == 2 {
            break;
        }
    }
    out
}
