//! The last fraction of a pixel: where the second photo is off by d, what is colour leaves d . grad(colour) in the
//! difference of both photos. The affine d that explains most of the difference is taken off (Lucas and Kanade 1981).
//! Relief is not like the slope of the colour, so it does not pull.

use crate::geometry::{Homography, Point};
use crate::raster::{Plane, gaussian_blur};
use crate::rectify::FloorView;
use nalgebra::{Matrix3, SMatrix, SVector};
use rayon::prelude::*;

/// Longer side of the view this is done on, samples, and rounds.
pub(super) const SIDE: usize = 1600;
pub(super) const ROUNDS: usize = 4;
/// Smoothing before slopes are taken, samples: the law holds for shifts up to about this.
const SMOOTH: f32 = 1.5;
/// Light slower than this (samples, one sigma) is the lamp's.
const SLOW: f32 = 40.0;
/// Largest log ratio of the photos that still counts: beyond it one is in shadow.
const LARGEST: f32 = 0.3;
/// Largest step of one round, samples.
const STRIDE: f64 = 3.0;

/// The map p -> p + d on the floor; `None` where the colour has no slopes.
pub(super) fn step(
    mine: &FloorView,
    other: &FloorView,
    lit: impl Fn(usize, usize) -> bool + Sync,
) -> Option<Homography> {
    let (w, h) = (mine.luma.width.min(other.luma.width), mine.luma.height.min(other.luma.height));
    let fast = |p: &Plane| {
        let log = Plane::from_fn(w, h, |x, y| p.at(x, y).max(1e-4).ln());
        (gaussian_blur(&log, SMOOTH), gaussian_blur(&log, SLOW))
    };
    let ((a, slow_a), (b, slow_b)) = rayon::join(|| fast(&mine.luma), || fast(&other.luma));
    let of = |x: usize, y: usize| (a.at(x, y) - slow_a.at(x, y), b.at(x, y) - slow_b.at(x, y));
    let sum = |x: usize, y: usize| 0.5 * (a.at(x, y) + b.at(x, y));
    let centre = (w as f64 / 2.0, h as f64 / 2.0);
    let row = |y: usize| {
        let (mut m, mut r) = (SMatrix::<f64, 6, 6>::zeros(), SVector::<f64, 6>::zeros());
        for x in 1..w - 1 {
            let (u, v) = of(x, y);
            let d = u - v;
            if !lit(x, y) || !(d.abs() < LARGEST) {
                continue;
            }
            let (gx, gy) = (0.5 * (sum(x + 1, y) - sum(x - 1, y)), 0.5 * (sum(x, y + 1) - sum(x, y - 1)));
            if gx.hypot(gy) > 0.5 * LARGEST {
                continue;
            }
            let (gx, gy) = (f64::from(gx), f64::from(gy));
            let (i, j) = ((x as f64 - centre.0) / centre.0, (y as f64 - centre.1) / centre.1);
            let t = SVector::<f64, 6>::from([gx, gx * i, gx * j, gy, gy * i, gy * j]);
            m += t * t.transpose();
            r += t * f64::from(d);
        }
        (m, r)
    };
    let nothing = || (SMatrix::<f64, 6, 6>::zeros(), SVector::<f64, 6>::zeros());
    let (m, r) = (1..h.saturating_sub(1)).into_par_iter().map(row).reduce(nothing, |a, b| (a.0 + b.0, a.1 + b.1));
    // Ways in which the colour has no slope stay as they are.
    let least = 0.02 * m.trace() / 6.0;
    let c = (m + SMatrix::<f64, 6, 6>::identity() * least.max(1e-12)).cholesky()?.solve(&r);
    let most = c.iter().map(|v| v.abs()).fold(0.0, f64::max);
    let c = c * (STRIDE / most.max(STRIDE));
    let s = mine.step;
    let middle = mine.to_floor(centre.0, centre.1);
    // Displacement in floor units = (c0 + c1 i + c2 j, c3 + c4 i + c5 j) step.
    let (ki, kj) = (1.0 / (centre.0 * s), 1.0 / (centre.1 * s));
    let about = Point::new(middle.x, middle.y);
    let row = |c0: f64, ci: f64, cj: f64| [s * ci * ki, s * cj * kj, s * (c0 - ci * ki * about.x - cj * kj * about.y)];
    let (x, y) = (row(c[0], c[1], c[2]), row(c[3], c[4], c[5]));
    Homography::from_matrix(Matrix3::new(1.0 + x[0], x[1], x[2], y[0], 1.0 + y[1], y[2], 0.0, 0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(shift: f64, relief: f64) -> FloorView {
        let colour = |x: f64, y: f64| 0.1 * ((x * 0.21 + y * 0.05).sin() + (y * 0.17 - x * 0.08).cos());
        let luma = Plane::from_fn(300, 240, |x, y| {
            let (x, y) = (x as f64, y as f64);
            (0.4 * (1.0 + colour(x - shift, y) + relief * (x * 0.3).sin())) as f32
        });
        FloorView { origin: Point::new(3.0, 4.0), step: 0.1, luma, chroma: None, chroma_shrink: 1 }
    }

    #[test]
    fn a_shift_of_colour_is_found_beside_relief_that_flips() {
        let (a, b) = (seen(0.0, 0.05), seen(0.6, -0.05));
        let found = step(&a, &b, |_, _| true).unwrap();
        let at = Point::new(15.0, 12.0);
        let off = (found.forward(at) - at) * 10.0;
        assert!((off.x - 0.6).abs() < 0.06 && off.y.abs() < 0.06, "{off:?}");
    }
}
