//! The camera's pose by least squares of whatever a reference shows of itself: points on a circle, ticks of a rule.

use super::descent::{least, slopes};
use super::fit::{STEPS, moved};
use super::quads::Camera;
use crate::geometry::PlaneView;
use crate::geometry::Point;
use crate::geometry::Pose;
use nalgebra::{DMatrix, DVector, Vector3};

/// How far from square above people hold a phone over a pocket, degrees on each axis (one sigma; common practice, no
/// source). It decides only where the reference itself says nothing of its tilt: a smaller value hides a slanted photo, a
/// larger one lets noise tilt the plane.
pub const TILT_SIGMA_DEG: f64 = 15.0;

/// Free sizes of the eight parameters (rad, mm, ln f, k1): so loose that they only hold what the reference leaves open,
/// such as the turn of a circle about its own axis.
const FREE: [f64; 8] = [3.0, 3.0, 3.0, 1000.0, 1000.0, 1000.0, 3.0, 1.0];

/// What the fit gives.
#[derive(Debug, Clone)]
pub struct Solved {
    pub view: PlaneView,
    /// Sum of squares of all residuals and priors.
    pub cost: f64,
    /// Residuals at the end, as the caller gave them.
    pub residuals: Vec<f64>,
    covariance: DMatrix<f64>,
}

impl Solved {
    /// One-sigma relative error of a length at the photo point `px`.
    pub fn scale_sigma(&self, px: Point) -> f64 {
        let s0 = scale_at(&self.view, px);
        let mut g = DVector::zeros(8);
        for k in 0..8 {
            let mut d = [0.0; 8];
            d[k] = STEPS[k];
            g[k] = (scale_at(&moved(&self.view, &d), px) / s0).ln() / STEPS[k];
        }
        (g.transpose() * &self.covariance * g)[(0, 0)].max(0.0).sqrt()
    }
    /// One-sigma relative error of the focal length.
    pub fn focal_sigma(&self) -> f64 {
        self.covariance[(6, 6)].max(0.0).sqrt()
    }
}

/// px per mm at a photo point (square root of the area ratio).
pub fn scale_at(view: &PlaneView, px: Point) -> f64 {
    view.scale_at(view.backward(px))
}

/// The view from `start` that makes the residuals `own` (each in its own sigmas, their number the same for every view)
/// least, together with what is known of focal length, lens and tilt. Levenberg-Marquardt.
///
/// `None` when the fit does not settle or the plane would lie behind the camera.
pub fn solve(start: &PlaneView, camera: &Camera, own: impl Fn(&PlaneView) -> Vec<f64>) -> Option<Solved> {
    let all = |d: &[f64]| {
        let v = moved(start, d);
        let mut r = own(&v);
        let tilt = v.pose.normal() / TILT_SIGMA_DEG.to_radians();
        r.extend([tilt.x, tilt.y]);
        r.push((v.pose.focal_px / camera.focal_px).ln() / camera.relative);
        r.push((v.k1 - camera.k1.0) / camera.k1.1);
        r.extend(d.iter().zip(FREE).map(|(d, free)| d / free));
        DVector::from_vec(r)
    };
    let slopes = |d: &[f64]| slopes(all, d, &STEPS[..FREE.len()]);
    let rest = least(FREE.len(), all, slopes)?;
    let j = slopes(&rest.steps);
    let covariance = (j.transpose() * j).try_inverse()?;
    let view = moved(start, &rest.steps);
    let residuals = own(&view);
    let cost = 2.0 * rest.objective;
    (view.pose.t.z > 0.0 && cost.is_finite()).then_some(Solved { view, cost, residuals, covariance })
}

/// A view of a plane whose +x axis and normal are given in camera axes, with the plane point (0, 0) at `t`.
pub fn facing(camera: &Camera, x: Vector3<f64>, normal: Vector3<f64>, t: Vector3<f64>) -> PlaneView {
    // The normal points to the camera; x cross y points away from it.
    let away = if normal.z > 0.0 { normal } else { -normal }.normalize();
    let r1 = (x - away * x.dot(&away)).normalize();
    let r2 = away.cross(&r1);
    PlaneView::new(Pose { focal_px: camera.focal_px, centre: camera.centre, r1, r2, t }, camera.k1.0, 0.0)
}
