//! The camera's pose from corners of known place.

use super::super::fit::{Fitted, STEPS, moved};
use super::super::quads::Camera;
use super::Pair;
use crate::geometry::{Homography, PlaneView, Pose};
use nalgebra::{DMatrix, SMatrix, SVector};

/// Fewest corners.
pub const FEWEST: usize = 8;

/// Most rounds, and the Huber limit in sigmas.
const ROUNDS: usize = 30;
const LIMIT: f64 = 2.5;

/// Camera over the card from a map (card mm to photo px), without distortion.
pub fn start(map: &Homography, camera: &Camera) -> Option<PlaneView> {
    let pose = Pose::from_homography(map, camera.focal_px, camera.centre)?;
    Some(PlaneView { pose, k1: camera.k1.0 })
}

/// Turn, shift, ln of the focal length and k1 by weighted least squares of the distances in the photo (Huber weights,
/// Gauss-Newton with Levenberg's damping); focal length and k1 are held by what the camera says of them.
///
/// The pairs' own sigmas are scaled to the scatter that is left, so that the covariance holds whatever they were.
/// `None` with fewer than eight pairs or when the fit leaves the picture.
pub fn fit(from: &PlaneView, pairs: &[Pair], camera: &Camera) -> Option<Fitted> {
    if pairs.len() < FEWEST {
        return None;
    }
    let mut view = from.clone();
    let mut scale = 1.0;
    let mut damping = 1e-4;
    let mut now = sums(&view, pairs, camera, scale);
    for round in 0..ROUNDS {
        let mut a = now.jj;
        for k in 0..8 {
            a[(k, k)] *= 1.0 + damping;
        }
        let step = a.cholesky()?.solve(&now.jr);
        let back: [f64; 8] = std::array::from_fn(|k| -step[k]);
        let next = moved(&view, &back);
        let there = sums(&next, pairs, camera, scale);
        if there.cost.is_finite() && there.cost < now.cost {
            let gain = now.cost - there.cost;
            (view, now) = (next, there);
            damping = f64::max(damping * 0.2, 1e-9);
            if gain < 1e-7 * (1.0 + now.cost) && round > 3 {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e6 {
                break;
            }
        }
        if round == 3 || round == 8 {
            scale = scatter(&view, pairs);
            now = sums(&view, pairs, camera, scale);
        }
    }
    scale = scatter(&view, pairs);
    let last = sums(&view, pairs, camera, scale);
    let inverse = last.jj.try_inverse()?;
    let covariance = DMatrix::from_fn(8, 8, |i, j| inverse[(i, j)]);
    let squares: f64 = pairs.iter().map(|p| view.forward(p.mm).distance(p.px).powi(2)).sum();
    let residual_px = (squares / pairs.len() as f64).sqrt();
    (view.pose.t.z > 0.0 && residual_px.is_finite()).then_some(Fitted { view, residual_px, covariance })
}

/// How much larger the scatter is than the pairs' own sigmas say: by the median, at least a half.
fn scatter(view: &PlaneView, pairs: &[Pair]) -> f64 {
    let r: Vec<f64> = pairs.iter().map(|p| view.forward(p.mm).distance(p.px) / p.sigma_px).collect();
    // Median of the length of a plane normal vector of unit sigmas: 1.1774.
    crate::stats::median(&r).map_or(1.0, |m| m / 1.1774).max(0.5)
}

struct Sums {
    cost: f64,
    jj: SMatrix<f64, 8, 8>,
    jr: SVector<f64, 8>,
}

fn sums(view: &PlaneView, pairs: &[Pair], camera: &Camera, scale: f64) -> Sums {
    let ahead: [PlaneView; 8] = std::array::from_fn(|k| step(view, k, 1.0));
    let behind: [PlaneView; 8] = std::array::from_fn(|k| step(view, k, -1.0));
    let mut s = Sums { cost: 0.0, jj: SMatrix::zeros(), jr: SVector::zeros() };
    for p in pairs {
        let r = (view.forward(p.mm) - p.px) * (1.0 / (p.sigma_px * scale));
        let size = r.x.hypot(r.y);
        let weight = if size > LIMIT { LIMIT / size } else { 1.0 };
        s.cost += if size > LIMIT { LIMIT * (2.0 * size - LIMIT) } else { size * size };
        let (mut jx, mut jy) = (SVector::<f64, 8>::zeros(), SVector::<f64, 8>::zeros());
        for k in 0..8 {
            let d = (ahead[k].forward(p.mm) - behind[k].forward(p.mm)) * (0.5 / (STEPS[k] * p.sigma_px * scale));
            (jx[k], jy[k]) = (d.x, d.y);
        }
        s.jj += (jx * jx.transpose() + jy * jy.transpose()) * weight;
        s.jr += (jx * r.x + jy * r.y) * weight;
    }
    let focal = (view.pose.focal_px / camera.focal_px).ln() / camera.relative;
    let bend = (view.k1 - camera.k1.0) / camera.k1.1;
    s.cost += focal * focal + bend * bend;
    s.jj[(6, 6)] += 1.0 / camera.relative.powi(2);
    s.jr[6] += focal / camera.relative;
    s.jj[(7, 7)] += 1.0 / camera.k1.1.powi(2);
    s.jr[7] += bend / camera.k1.1;
    s
}

fn step(view: &PlaneView, k: usize, sign: f64) -> PlaneView {
    let mut d = [0.0; 8];
    d[k] = sign * STEPS[k];
    moved(view, &d)
}
