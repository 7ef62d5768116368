//! The camera's pose from corners of known place.

use super::super::fit::{CAMERA, Fitted, STEPS, moved};
use super::super::quads::Camera;
use super::Pair;
use crate::geometry::{Homography, PlaneView, Point, Pose};
use nalgebra::{DMatrix, SMatrix, SVector};

/// Fewest corners.
pub const FEWEST: usize = 8;

/// From how many sigmas on the known focal length lets go.
const FREE: f64 = 2.5;

/// Most rounds, and the Huber limit in sigmas.
const ROUNDS: usize = 30;
const LIMIT: f64 = 2.5;

/// The best of the fits that start from a map (card mm to photo px): with the focal length as known, and where it is only
/// assumed also with those of longer lenses, which a fit does not reach from there.
pub fn first(map: &Homography, pairs: &[Pair], known: &Known) -> Option<Fit> {
    let lenses: &[f64] = if known.camera.relative > ASSUMED { &[1.0, 1.7, 2.8] } else { &[1.0] };
    let fits = lenses.iter().filter_map(|k| {
        let pose = Pose::from_homography(map, known.camera.focal_px * k, known.camera.centre)?;
        fit(&PlaneView::new(pose, known.camera.k1.0, known.camera.k2.0), pairs, known)
    });
    fits.min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// Doubt of a focal length above which it is an assumption, relative.
const ASSUMED: f64 = 0.1;

/// One sigma of the print's aspect against the one it was taken to have (relative, x over y): paper feed and the width of
/// the print differ by some tenths of a per cent (common practice, no source), or by what two bars were misread. Left out,
/// an aspect that is off by 0.3 % would be taken for a tilt of 4 degrees.
pub const ASPECT_SIGMA: f64 = 0.003;
pub const MEASURED_ASPECT_SIGMA: f64 = 0.001;

/// The fit: the camera over true millimetres, and the print's x over y against what it was taken to be.
pub struct Fit {
    pub fitted: Fitted,
    pub aspect: f64,
    /// What the fit made smallest, over the squared scatter: smaller is better among fits of the same pairs.
    cost: f64,
}

impl Fit {
    /// Where a place of the print shows in the photo.
    pub fn forward(&self, mm: Point) -> Point {
        self.fitted.view.forward(stretched(mm, self.aspect.ln()))
    }
}

/// A place of the print whose x over y is off by the factor exp(`ln_aspect`); its area stays.
pub fn stretched(mm: Point, ln_aspect: f64) -> Point {
    let k = (ln_aspect / 2.0).exp();
    Point::new(mm.x * k, mm.y / k)
}

/// The principal point is held where it is: free, it would take up the print's aspect.
const CENTRE_SIGMA_PX: f64 = 1.0;

const N: usize = CAMERA + 1;
const ASPECT_STEP: f64 = 1e-4;

/// What is known beforehand: the camera, and the sigma of the print's aspect.
pub struct Known<'a> {
    pub camera: &'a Camera,
    pub aspect_sigma: f64,
}

#[derive(Clone)]
struct State {
    view: PlaneView,
    ln_aspect: f64,
}

impl State {
    fn moved(&self, d: &[f64; N]) -> Self {
        Self { view: moved(&self.view, &d[..CAMERA]), ln_aspect: self.ln_aspect + d[CAMERA] }
    }
    fn forward(&self, mm: Point) -> Point {
        self.view.forward(stretched(mm, self.ln_aspect))
    }
}

/// Turn, shift, ln of the focal length, lens, principal point and the print's aspect by weighted least squares of the distances in the photo
/// (Huber weights, Gauss-Newton with Levenberg's damping); all but the pose are held by what is known of them beforehand.
///
/// The pairs' own sigmas are scaled to the scatter that is left, so that the covariance holds whatever they were.
/// `None` with fewer than eight pairs or when the fit leaves the picture.
pub fn fit(from: &PlaneView, pairs: &[Pair], known: &Known) -> Option<Fit> {
    if pairs.len() < FEWEST {
        return None;
    }
    let mut state = State { view: from.clone(), ln_aspect: 0.0 };
    let mut scale = 1.0;
    let mut damping = 1e-4;
    let mut now = sums(&state, pairs, known, scale);
    for round in 0..ROUNDS {
        let mut a = now.jj;
        for k in 0..N {
            a[(k, k)] *= 1.0 + damping;
        }
        let step = a.cholesky()?.solve(&now.jr);
        let next = state.moved(&std::array::from_fn(|k| -step[k]));
        let there = sums(&next, pairs, known, scale);
        if there.cost.is_finite() && there.cost < now.cost {
            let gain = now.cost - there.cost;
            (state, now) = (next, there);
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
            scale = scatter(&state, pairs);
            now = sums(&state, pairs, known, scale);
        }
    }
    scale = scatter(&state, pairs);
    let last = sums(&state, pairs, known, scale);
    let inverse = last.jj.try_inverse()?;
    // Whatever the aspect may be is in the covariance of the others.
    let covariance = DMatrix::from_fn(CAMERA, CAMERA, |i, j| inverse[(i, j)]);
    let squares: f64 = pairs.iter().map(|p| state.forward(p.mm).distance(p.px).powi(2)).sum();
    let residual_px = (squares / pairs.len() as f64).sqrt();
    let (view, aspect) = (state.view, state.ln_aspect.exp());
    let fitted = Fitted { view, residual_px, covariance };
    (fitted.view.pose.t.z > 0.0 && residual_px.is_finite()).then_some(Fit {
        fitted,
        aspect,
        cost: last.cost * scale * scale,
    })
}

/// How much larger the scatter is than the pairs' own sigmas say: by the median, at least a half.
fn scatter(state: &State, pairs: &[Pair]) -> f64 {
    let r: Vec<f64> = pairs.iter().map(|p| state.forward(p.mm).distance(p.px) / p.sigma_px).collect();
    // Median of the length of a plane normal vector of unit sigmas: 1.1774.
    crate::stats::median(&r).map_or(1.0, |m| m / 1.1774).max(0.5)
}

struct Sums {
    cost: f64,
    jj: SMatrix<f64, N, N>,
    jr: SVector<f64, N>,
}

fn sums(state: &State, pairs: &[Pair], known: &Known, scale: f64) -> Sums {
    let steps: [f64; N] = std::array::from_fn(|k| if k < CAMERA { STEPS[k] } else { ASPECT_STEP });
    let aside = |k: usize, sign: f64| state.moved(&std::array::from_fn(|i| if i == k { sign * steps[k] } else { 0.0 }));
    let ahead: [State; N] = std::array::from_fn(|k| aside(k, 1.0));
    let behind: [State; N] = std::array::from_fn(|k| aside(k, -1.0));
    let mut s = Sums { cost: 0.0, jj: SMatrix::zeros(), jr: SVector::zeros() };
    for p in pairs {
        let unit = 1.0 / (p.sigma_px * scale);
        let r = (state.forward(p.mm) - p.px) * unit;
        let size = r.x.hypot(r.y);
        let weight = if size > LIMIT { LIMIT / size } else { 1.0 };
        s.cost += if size > LIMIT { LIMIT * (2.0 * size - LIMIT) } else { size * size };
        let (mut jx, mut jy) = (SVector::<f64, N>::zeros(), SVector::<f64, N>::zeros());
        for k in 0..N {
            let d = (ahead[k].forward(p.mm) - behind[k].forward(p.mm)) * (0.5 * unit / steps[k]);
            (jx[k], jy[k]) = (d.x, d.y);
        }
        s.jj += (jx * jx.transpose() + jy * jy.transpose()) * weight;
        s.jr += (jx * r.x + jy * r.y) * weight;
    }
    let camera = known.camera;
    let held = [
        (6, (state.view.pose.focal_px / camera.focal_px).ln(), camera.relative),
        (7, state.view.k1 - camera.k1.0, camera.k1.1),
        (8, state.view.k2 - camera.k2.0, camera.k2.1),
        (9, state.view.pose.centre.x - camera.centre.x, CENTRE_SIGMA_PX),
        (10, state.view.pose.centre.y - camera.centre.y, CENTRE_SIGMA_PX),
        (CAMERA, state.ln_aspect, known.aspect_sigma),
    ];
    for (k, off, sigma) in held {
        // The focal length is held as by a Cauchy law: near its value as firmly as by a normal one, but a tele lens that
        // was taken for the main one can break free.
        let free = if k == 6 { FREE } else { 1e6 };
        let t = (off / (free * sigma)).powi(2);
        s.cost += free * free * t.ln_1p();
        s.jj[(k, k)] += 1.0 / (sigma * sigma * (1.0 + t));
        s.jr[k] += off / (sigma * sigma * (1.0 + t));
    }
    s
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Rotation3, Vector3};

    /// Corners of a lattice seen through a made camera, the print stretched by 0.4 %.
    #[test]
    fn camera_and_aspect_of_a_made_view_are_found_again() {
        let turn = Rotation3::from_euler_angles(0.4, -0.2, 0.3);
        let pose = Pose {
            focal_px: 3100.0,
            centre: Point::new(2000.0, 1500.0),
            r1: turn * Vector3::x(),
            r2: turn * Vector3::y(),
            t: Vector3::new(10.0, -8.0, 260.0),
        };
        let truth = PlaneView::new(pose.clone(), -0.01, 0.0);
        let mut pairs = vec![];
        for i in 0..20 {
            for j in 0..12 {
                let mm = Point::new(f64::from(i) * 4.0 - 40.0, f64::from(j) * 4.0 - 24.0);
                let off = Point::new((f64::from(i * 7 + j * 3)).sin(), (f64::from(i * 5 + j * 11)).sin()) * 0.05;
                let px = truth.forward(stretched(mm, 0.004)) + off;
                pairs.push(Pair { mm, px, sigma_px: 0.02 });
            }
        }
        // One corner is something else.
        pairs[17].px = pairs[17].px + Point::new(5.0, 3.0);
        let camera =
            Camera { focal_px: 3000.0, relative: 0.03, centre: pose.centre, k1: (0.0, 0.012), k2: (0.0, 0.012) };
        let start = PlaneView::plain(Pose { focal_px: 3000.0, t: Vector3::new(11.0, -7.0, 250.0), ..pose });
        let got = fit(&start, &pairs, &Known { camera: &camera, aspect_sigma: ASPECT_SIGMA }).unwrap();
        assert!((got.aspect.ln() - 0.004).abs() < 4e-4, "aspect {}", got.aspect);
        let p = Point::new(30.0, 20.0);
        assert!(got.fitted.view.forward(p).distance(truth.forward(p)) < 0.06);
        let (scale, sigma) =
            (got.fitted.view.scale_at(p) / truth.scale_at(p) - 1.0, got.fitted.scale_sigma_at(truth.forward(p)));
        assert!(scale.abs() < 3.5 * sigma && sigma < 1e-3, "{scale} +- {sigma}");
        assert!(fit(&start, &pairs[..7], &Known { camera: &camera, aspect_sigma: ASPECT_SIGMA }).is_none());
    }
}
