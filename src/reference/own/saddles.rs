//! Saddle corners of a reduced picture: points where two dark and two bright sectors meet.

use super::refine::place;
use crate::geometry::Point;
use crate::raster::Plane;
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};

/// A saddle corner.
#[derive(Debug, Clone, Copy)]
pub struct Saddle {
    /// Place in the plane's pixels.
    pub at: Point,
    /// Direction of the middle of the bright sectors, radians, modulo pi.
    pub bright: f64,
    /// Directions of the two edges, radians, modulo pi; the second lies a quarter turn or so further on.
    pub edges: [f64; 2],
}

/// Half the span of the second differences, px. Cells must be over twice as wide; a larger span is slower to follow
/// small cells, a smaller one sees noise.
const SPAN: usize = 3;

/// Smallest saddle curvature against the square of the local mean. Black print on white paper gives 0.5 to 3; two thirds
/// of the light from elsewhere (haze, gloss) still 0.06; wood's figure under 0.01.
const LEAST_CURVATURE: f32 = 0.03;

/// Most saddles kept, strongest first: the largest form has under 800, its QR blocks add some.
const MOST: usize = 6000;

/// Radius of the ring that is looked round, px: inside the four cells that meet.
const RING: f64 = 4.5;
const PLACES: usize = 24;

/// Finds saddle corners, strongest first. Brightness counts against its own local mean, so that shadow does not matter.
pub fn saddles(plane: &Plane) -> Vec<Saddle> {
    let (w, h) = (plane.width, plane.height);
    let margin = SPAN + 4;
    if w < 4 * margin || h < 4 * margin {
        return vec![];
    }
    let response = curvature(&smooth(plane));
    let mut peaks: Vec<(f32, usize, usize)> = (margin..h - margin)
        .into_par_iter()
        .flat_map_iter(|y| {
            let response = &response;
            let row = response.row(y);
            (margin..w - margin).filter_map(move |x| {
                let v = row[x];
                (v > LEAST_CURVATURE && is_peak(response, x, y)).then_some((v, x, y))
            })
        })
        .collect();
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.2, a.1).cmp(&(b.2, b.1))));
    peaks.truncate(MOST);
    peaks.par_iter().filter_map(|&(_, x, y)| examine(plane, Point::new(x as f64, y as f64))).collect()
}

/// Mean over 3 x 3 samples (border rows and columns are left as they are).
fn smooth(p: &Plane) -> Plane {
    let (w, h) = (p.width, p.height);
    let mut out = p.clone();
    out.data.par_chunks_mut(w).enumerate().skip(1).take(h - 2).for_each_init(
        || vec![0.0f32; w],
        |sum, (y, row)| {
            let (a, b, c) = (p.row(y - 1), p.row(y), p.row(y + 1));
            for x in 0..w {
                sum[x] = a[x] + b[x] + c[x];
            }
            for x in 1..w - 1 {
                row[x] = (sum[x - 1] + sum[x] + sum[x + 1]) / 9.0;
            }
        },
    );
    out
}

/// Minus the determinant of the second differences over the square of the local mean; zero near the border.
fn curvature(p: &Plane) -> Plane {
    let (w, h, d) = (p.width, p.height, SPAN);
    let mut out = Plane::new(w, h);
    out.data.par_chunks_mut(w).enumerate().skip(d).take(h - 2 * d).for_each(|(y, row)| {
        let (up, mid, down) = (p.row(y - d), p.row(y), p.row(y + d));
        let n = w - 2 * d;
        let (ul, uc, ur) = (&up[..n], &up[d..d + n], &up[2 * d..]);
        let (ml, mc, mr) = (&mid[..n], &mid[d..d + n], &mid[2 * d..]);
        let (dl, dc, dr) = (&down[..n], &down[d..d + n], &down[2 * d..]);
        for (x, o) in row[d..d + n].iter_mut().enumerate() {
            let xy = 0.25 * (ul[x] + dr[x] - ur[x] - dl[x]);
            let xx = ml[x] + mr[x] - 2.0 * mc[x];
            let yy = uc[x] + dc[x] - 2.0 * mc[x];
            let mean = 0.125 * (ul[x] + uc[x] + ur[x] + ml[x] + mr[x] + dl[x] + dc[x] + dr[x]);
            *o = (xy * xy - xx * yy) / (mean * mean + 1e-7);
        }
    });
    out
}

fn is_peak(p: &Plane, x: usize, y: usize) -> bool {
    let v = p.at(x, y);
    (y - 3..=y + 3).all(|j| {
        p.row(j)[x - 3..=x + 3].iter().enumerate().all(|(i, q)| {
            // Of two equal samples the first in reading order counts.
            let before = (j, x - 3 + i) < (y, x);
            *q < v || (*q == v && !before)
        })
    })
}

/// Places the saddle and looks round it: four changes of sign, opposite sectors alike.
fn examine(plane: &Plane, start: Point) -> Option<Saddle> {
    let at = place(plane, start, RING + 0.5).filter(|p| p.distance(start) < 2.5)?;
    around(plane, at, RING)
}

/// The saddle at `at` as the ring of `radius` px sees it; `None` when that is not two bright and two dark sectors.
pub fn around(plane: &Plane, at: Point, radius: f64) -> Option<Saddle> {
    let ring: [f64; PLACES] = std::array::from_fn(|k| {
        let (s, c) = (TAU * k as f64 / PLACES as f64).sin_cos();
        f64::from(plane.bilinear(at.x + radius * c, at.y + radius * s))
    });
    let mean = ring.iter().sum::<f64>() / PLACES as f64;
    if !(mean > 0.0) {
        return None;
    }
    // Opposite places: their mean is the saddle, their difference everything else (an edge, shading).
    let half = PLACES / 2;
    let even: [f64; PLACES] = std::array::from_fn(|k| (ring[k] + ring[(k + half) % PLACES]) / 2.0 - mean);
    let (mut saddle, mut rest, mut twice) = (0.0, 0.0, (0.0, 0.0));
    for k in 0..PLACES {
        saddle += even[k] * even[k];
        rest += (ring[k] - mean - even[k]).powi(2);
        let (s, c) = (2.0 * TAU * k as f64 / PLACES as f64).sin_cos();
        twice = (twice.0 + even[k] * c, twice.1 + even[k] * s);
    }
    let amplitude = (saddle / PLACES as f64).sqrt() / mean;
    let second = (twice.0 * twice.0 + twice.1 * twice.1) * 2.0 / PLACES as f64;
    if amplitude < LEAST_AMPLITUDE || rest > LARGEST_REST * saddle || second < LEAST_SECOND * saddle {
        return None;
    }
    // The two edges: the changes of sign over half a turn.
    let mut edges = vec![];
    for k in 0..half {
        let (a, b) = (even[k], even[k + 1]);
        if (a > 0.0) != (b > 0.0) {
            edges.push((k as f64 + a / (a - b)) * TAU / PLACES as f64);
        }
    }
    let [a, b] = edges[..] else { return None };
    (b - a > LEAST_ANGLE && PI - (b - a) > LEAST_ANGLE).then(|| Saddle {
        at,
        bright: (twice.1.atan2(twice.0) / 2.0).rem_euclid(PI),
        edges: [a, b],
    })
}

/// Least rms of the ring's saddle part against its mean; black on white gives 0.8, a third of it in haze 0.25.
const LEAST_AMPLITUDE: f64 = 0.12;
/// Most of everything else (power against the saddle's): a shadow's border across a saddle reaches 0.5.
const LARGEST_REST: f64 = 0.6;
/// Least part of the saddle's power that turns twice round the ring: 0.81 for sharp square sectors, 1 for blurred ones.
const LEAST_SECOND: f64 = 0.6;
/// Least angle between the edges, radians: square corners seen 50 degrees obliquely keep 65 degrees.
const LEAST_ANGLE: f64 = 0.7;

#[cfg(test)]
mod tests {
    use super::*;

    fn board(cell: f64, turn: f64) -> Plane {
        let p = Plane::from_fn(160, 150, |x, y| {
            let (x, y) = (x as f64 - 71.3, y as f64 - 66.8);
            let (u, v) = (x * turn.cos() + y * turn.sin(), y * turn.cos() - x * turn.sin());
            let white = ((u / cell).floor() + (v / cell).floor()).rem_euclid(2.0) == 0.0;
            // One third of the board lies in shadow.
            (if white { 0.8 } else { 0.05 }) * if x > 20.0 { 0.12 } else { 1.0 }
        });
        crate::raster::gaussian_blur(&p, 0.8)
    }
    #[test]
    fn every_corner_of_a_board_is_found_in_light_and_shadow() {
        for cell in [11.0, 20.0, 40.0] {
            for turn in [0.0, 0.35, 0.78] {
                let plane = board(cell, turn);
                let found = saddles(&plane);
                let mut missed = 0;
                let mut all = 0;
                for i in -15..15 {
                    for j in -15..15 {
                        let (u, v) = (f64::from(i) * cell, f64::from(j) * cell);
                        let at =
                            Point::new(71.3 + u * turn.cos() - v * turn.sin(), 66.8 + u * turn.sin() + v * turn.cos());
                        // The shadow's border itself may hide a corner.
                        let inside = at.x > 10.0 && at.y > 10.0 && at.x < 148.0 && at.y < 138.0;
                        if inside && (at.x - 91.8).abs() > 7.0 {
                            all += 1;
                            missed += usize::from(!found.iter().any(|s| s.at.distance(at) < 0.6));
                        }
                    }
                }
                assert!(missed == 0 && all > 6, "cell {cell} turn {turn}: {missed} of {all} missed");
            }
        }
    }
    #[test]
    fn directions_tell_the_edges_and_the_bright_sectors() {
        let plane = board(20.0, 0.35);
        let s = around(&plane, Point::new(71.3, 66.8), 5.0).unwrap();
        assert!((s.edges[0] - 0.35).abs() < 0.08 && (s.edges[1] - 0.35 - PI / 2.0).abs() < 0.08, "{:?}", s.edges);
        assert!((s.bright - 0.35 - PI / 4.0).abs() < 0.08, "{}", s.bright);
    }
    #[test]
    fn edges_dots_and_lines_are_no_saddles() {
        let edge = Plane::from_fn(80, 80, |x, y| if 2 * x + y < 110 { 0.8 } else { 0.1 });
        let dots =
            Plane::from_fn(80, 80, |x, y| if (x % 20).abs_diff(10) + (y % 20).abs_diff(10) < 5 { 0.1 } else { 0.8 });
        let lines = Plane::from_fn(80, 80, |x, y| if x % 20 < 3 || y % 20 < 3 { 0.1 } else { 0.8 });
        for p in [edge, dots, lines] {
            assert!(saddles(&p).is_empty());
        }
    }
}
