//! The camera's pose from points on the outline of a rounded rectangle of known size.

use super::quads::Camera;
use crate::geometry::{PlaneView, Point, Pose};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned, Rotation3, Vector3};

/// A rectangle with rounded corners about the origin, mm.
#[derive(Debug, Clone, Copy)]
pub struct Outline {
    pub width: f64,
    pub height: f64,
    pub radius: f64,
}

impl Outline {
    /// Signed distance to the outline, mm, positive outside.
    pub fn distance(&self, p: Point) -> f64 {
        let qx = p.x.abs() - (self.width / 2.0 - self.radius);
        let qy = p.y.abs() - (self.height / 2.0 - self.radius);
        qx.max(0.0).hypot(qy.max(0.0)) + qx.max(qy).min(0.0) - self.radius
    }
}

/// What the fit gives.
#[derive(Debug, Clone)]
pub struct Fitted {
    pub view: PlaneView,
    /// Rms distance of the points from the outline, px.
    pub residual_px: f64,
    /// Covariance of the eight parameters (turn 3, shift 3, ln focal length, k1).
    pub covariance: DMatrix<f64>,
}

impl Fitted {
    /// One-sigma relative error of a length at the plane point `p`.
    pub fn scale_sigma(&self, p: Point) -> f64 {
        let s0 = self.view.scale_at(p);
        let mut g = DVector::zeros(8);
        for k in 0..8 {
            let mut d = [0.0; 8];
            d[k] = STEPS[k];
            g[k] = (moved(&self.view, &d).scale_at(p) / s0 - 1.0) / STEPS[k];
        }
        (g.transpose() * &self.covariance * g)[(0, 0)].max(0.0).sqrt()
    }
    /// The first radial distortion coefficient with its sigma.
    pub fn k1(&self) -> (f64, f64) {
        (self.view.k1, self.covariance[(7, 7)].max(0.0).sqrt())
    }
    /// One-sigma relative error of the focal length.
    pub fn focal_sigma(&self) -> f64 {
        self.covariance[(6, 6)].max(0.0).sqrt()
    }
}

/// Steps of the numeric derivatives: radians, mm, ln f, k1; each moves the outline by about a hundredth of a pixel to a
/// pixel.
pub const STEPS: [f64; 8] = [1e-5, 1e-5, 1e-5, 1e-3, 1e-3, 1e-2, 1e-4, 1e-4];

pub fn moved(v: &PlaneView, d: &[f64]) -> PlaneView {
    let turn = Rotation3::new(Vector3::new(d[0], d[1], d[2]));
    let pose = Pose {
        focal_px: v.pose.focal_px * d[6].exp(),
        centre: v.pose.centre,
        r1: turn * v.pose.r1,
        r2: turn * v.pose.r2,
        t: v.pose.t + Vector3::new(d[3], d[4], d[5]),
    };
    PlaneView { pose, k1: v.k1 + d[7], k2: v.k2 }
}

struct Problem<'a> {
    start: &'a PlaneView,
    points: &'a [(Point, f64)],
    outline: Outline,
    camera: &'a Camera,
    /// px per mm across the outline at each point.
    px_per_mm: Vec<f64>,
    sigma_px: f64,
    d: DVector<f64>,
}

impl Problem<'_> {
    fn at(&self, d: &[f64]) -> DVector<f64> {
        let v = moved(self.start, d);
        let n = self.points.len();
        let mut r = DVector::zeros(n + 2);
        for (i, (q, w)) in self.points.iter().enumerate() {
            r[i] = self.outline.distance(v.backward(*q)) * self.px_per_mm[i] * w / self.sigma_px;
        }
        r[n] = (v.pose.focal_px / self.camera.focal_px).ln() / self.camera.relative;
        r[n + 1] = (v.k1 - self.camera.k1.0) / self.camera.k1.1;
        r
    }
    fn slopes(&self) -> DMatrix<f64> {
        let mut j = DMatrix::zeros(self.points.len() + 2, 8);
        let mut d: Vec<f64> = self.d.iter().copied().collect();
        for k in 0..8 {
            let here = d[k];
            d[k] = here + STEPS[k];
            let ahead = self.at(&d);
            d[k] = here - STEPS[k];
            let behind = self.at(&d);
            d[k] = here;
            j.set_column(k, &((ahead - behind) / (2.0 * STEPS[k])));
        }
        j
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;
    fn set_params(&mut self, x: &DVector<f64>) {
        self.d.copy_from(x);
    }
    fn params(&self) -> DVector<f64> {
        self.d.clone()
    }
    fn residuals(&self) -> Option<DVector<f64>> {
        let r = self.at(self.d.as_slice());
        r.iter().all(|v| v.is_finite()).then_some(r)
    }
    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.slopes())
    }
}

/// Fits the view to weighted outline points (photo px, weight 0 to 1): least squares of the distances across the outline
/// by Levenberg-Marquardt, three rounds with Huber weights (limit 1.5 sigma).
///
/// `sigma_px`: what one point is worth; points along an edge share its systematic error, so this is larger than their
/// scatter. `None` with too few points or when the fit leaves the picture.
pub fn fit(
    start: &PlaneView,
    points: &[(Point, f64)],
    outline: Outline,
    camera: &Camera,
    sigma_px: f64,
) -> Option<Fitted> {
    if points.len() < 12 {
        return None;
    }
    let mut view = start.clone();
    let mut weighted = points.to_vec();
    let mut covariance = None;
    let mut residual_px = 0.0;
    for round in 0..3 {
        let px_per_mm = weighted.iter().map(|(q, _)| across(&view, outline, *q)).collect();
        let problem =
            Problem { start: &view, points: &weighted, outline, camera, px_per_mm, sigma_px, d: DVector::zeros(8) };
        let (done, report) = LevenbergMarquardt::new().with_patience(20).with_tol(1e-8).minimize(problem);
        if !report.objective_function.is_finite() {
            return None;
        }
        let r = done.at(done.d.as_slice());
        if round == 2 {
            let j = done.slopes();
            covariance = (j.transpose() * j).try_inverse();
            let n = points.len();
            let (s, w) = (0..n).fold((0.0, 0.0), |(s, w), i| {
                let k = weighted[i].1;
                (s + (r[i] * sigma_px).powi(2), w + k * k)
            });
            residual_px = (s / w.max(1e-9)).sqrt();
        }
        let next = moved(&view, done.d.as_slice());
        let limit = 1.5;
        for (i, p) in weighted.iter_mut().enumerate() {
            let e = if p.1 > 0.0 { (r[i] / p.1).abs() } else { 0.0 };
            p.1 = points[i].1 * if e > limit { (limit / e).sqrt() } else { 1.0 };
        }
        view = next;
    }
    (view.pose.t.z > 0.0).then_some(Fitted { view, residual_px, covariance: covariance? })
}

/// px per mm across the outline near a photo point.
fn across(v: &PlaneView, outline: Outline, q: Point) -> f64 {
    let p = v.backward(q);
    let e = 0.01;
    let (dx, dy) = (
        outline.distance(p + Point::new(e, 0.0)) - outline.distance(p - Point::new(e, 0.0)),
        outline.distance(p + Point::new(0.0, e)) - outline.distance(p - Point::new(0.0, e)),
    );
    // Slope of the distance in px: gradient by the map's inverse.
    let o = v.forward(p);
    let (x, y) = (v.forward(p + Point::new(1.0, 0.0)) - o, v.forward(p + Point::new(0.0, 1.0)) - o);
    let det = x.x * y.y - x.y * y.x;
    let (gx, gy) = (dx / (2.0 * e), dy / (2.0 * e));
    let (hu, hv) = ((gx * y.y - gy * x.y) / det, (gy * x.x - gx * y.x) / det);
    1.0 / hu.hypot(hv).max(1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;
    const CARD: Outline = Outline { width: 85.60, height: 53.98, radius: 3.18 };

    #[test]
    fn distances_to_the_outline_are_as_drawn() {
        assert!((CARD.distance(Point::new(42.80, 0.0))).abs() < 1e-12);
        assert!((CARD.distance(Point::new(0.0, 28.0)) - 1.01).abs() < 1e-12);
        // The sharp corner lies (sqrt 2 - 1) r outside.
        let gap = (2f64.sqrt() - 1.0) * 3.18;
        assert!((CARD.distance(Point::new(-42.80, 26.99)) - gap).abs() < 1e-12);
        assert!((CARD.distance(Point::default()) + 26.99).abs() < 1e-12);
    }
    #[test]
    fn a_made_view_is_found_again() {
        let turn = Rotation3::from_euler_angles(0.4, -0.2, 0.3);
        let pose = Pose {
            focal_px: 3000.0,
            centre: Point::new(2000.0, 1500.0),
            r1: turn * Vector3::x(),
            r2: turn * Vector3::y(),
            t: Vector3::new(30.0, -20.0, 220.0),
        };
        let truth = PlaneView { pose, k1: -0.01, k2: 0.0 };
        let p = Point::new(11.0, -7.0);
        assert!(truth.backward(truth.forward(p)).distance(p) < 1e-6);
        let mut points = vec![];
        for i in 0..60 {
            let u = -39.0 + 78.0 * f64::from(i) / 59.0;
            let v = u * 0.6;
            for q in [Point::new(u, 26.99), Point::new(u, -26.99), Point::new(42.8, v), Point::new(-42.8, v)] {
                points.push((truth.forward(q), 1.0));
            }
        }
        let start = moved(&truth, &[0.02, -0.03, 0.01, 1.0, -1.0, 3.0, 0.0, 0.01]);
        let camera = Camera { focal_px: 3000.0, relative: 0.03, centre: Point::new(2000.0, 1500.0), k1: (0.0, 0.012) };
        let got = fit(&start, &points, CARD, &camera, 0.5).unwrap();
        assert!(got.residual_px < 0.02, "{}", got.residual_px);
        assert!((got.view.k1 + 0.01).abs() < 0.003, "k1 {}", got.view.k1);
        assert!(got.view.forward(p).distance(truth.forward(p)) < 0.05);
        let s = got.scale_sigma(Point::default());
        assert!(s > 1e-5 && s < 2e-3, "{s}");
    }
}
