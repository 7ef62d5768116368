//! The camera over a plane from what is seen of it: points on the outline of a rounded rectangle of known size, or known
//! points. Pose, focal length, lens distortion and principal point are fitted together, each with what is known of it
//! beforehand, so that every sigma holds the doubt of all the others.

mod pair;

use super::descent::{least, slopes};
use super::quads::Camera;
use crate::geometry::{Homography, PlaneView, Point, Pose};
use nalgebra::{DMatrix, DVector, Rotation3, Vector3};
pub use pair::{Laid, Together, fit_two};

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

/// A point on an outline: where it is seen (photo px), its weight (0 to 1), and how much it moves with the common error of
/// each of the four sides (top, right, bottom, left; 1 on a side, a half of each neighbour on a corner).
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    pub px: Point,
    pub weight: f64,
    pub sides: [f64; 4],
}

/// How far a point of an outline can be trusted, px: its own scatter, and the common error of all points of one side.
#[derive(Debug, Clone, Copy)]
pub struct EdgeSigma {
    pub point: f64,
    pub side: f64,
}

/// A known point: plane mm, photo px, one sigma of each photo coordinate.
#[derive(Debug, Clone, Copy)]
pub struct Pair {
    pub mm: Point,
    pub px: Point,
    pub sigma_px: f64,
}

/// Parameters of the camera: turn 3, shift 3, ln focal length, k1, k2, principal point 2.
pub const CAMERA: usize = 11;
/// Steps of the numeric derivatives: radians, mm, ln f, k1, k2, px; each moves the picture by about a hundredth of a pixel
/// to a pixel.
pub const STEPS: [f64; CAMERA] = [1e-5, 1e-5, 1e-5, 1e-3, 1e-3, 1e-2, 1e-4, 1e-4, 1e-4, 1e-1, 1e-1];

/// Doubt of the principal point, share of the photo's diagonal: lenses are centred to about a hundredth, and a stabiliser
/// moves by as much (common practice, no source). Of small weight here: a wrong centre looks like a little more tilt.
const CENTRE_SHARE: f64 = 0.005;

/// One sigma of either coordinate of the principal point, px.
fn centre_sigma_px(camera: &Camera) -> f64 {
    (CENTRE_SHARE * 2.0 * camera.centre.x.hypot(camera.centre.y)).max(1e-3)
}

/// What the fit gives.
#[derive(Debug, Clone)]
pub struct Fitted {
    pub view: PlaneView,
    /// Rms distance of the points from the outline, or of the known points from their places, px.
    pub residual_px: f64,
    /// Covariance of the camera's parameters, in the order of [`STEPS`].
    pub covariance: DMatrix<f64>,
}

impl Fitted {
    fn gradient(&self, what: impl Fn(&PlaneView) -> f64) -> DVector<f64> {
        DVector::from_fn(CAMERA, |k, _| {
            let mut d = [0.0; CAMERA];
            d[k] = STEPS[k];
            let ahead = what(&moved(&self.view, &d));
            d[k] = -STEPS[k];
            (ahead - what(&moved(&self.view, &d))) / (2.0 * STEPS[k])
        })
    }
    fn sigma(&self, g: &DVector<f64>) -> f64 {
        (g.transpose() * &self.covariance * g)[(0, 0)].max(0.0).sqrt()
    }
    /// One-sigma relative error of a length at the photo point `q`.
    pub fn scale_sigma_at(&self, q: Point) -> f64 {
        self.sigma(&self.gradient(|v| v.scale_at(v.backward(q)).ln()))
    }
    /// How far the ratio of the scales at two photo points is uncertain because the lens is: the part that k1 and k2 make.
    pub fn lens_sigma(&self, a: Point, b: Point) -> f64 {
        let mut g = self.gradient(|v| (v.scale_at(v.backward(a)) / v.scale_at(v.backward(b))).ln());
        for k in (0..CAMERA).filter(|k| !(7..9).contains(k)) {
            g[k] = 0.0;
        }
        self.sigma(&g)
    }
    /// The radial distortion coefficients with their sigmas.
    pub fn k1(&self) -> (f64, f64) {
        (self.view.k1, self.covariance[(7, 7)].max(0.0).sqrt())
    }
    pub fn k2(&self) -> (f64, f64) {
        (self.view.k2, self.covariance[(8, 8)].max(0.0).sqrt())
    }
    /// What is known of the camera after this fit: the principal point as before.
    pub fn camera(&self, before: &Camera) -> Camera {
        let (focal_px, relative) = (self.view.pose.focal_px, self.focal_sigma());
        Camera { focal_px, relative, k1: self.k1(), k2: self.k2(), ..*before }
    }
    /// One-sigma relative error of the focal length.
    pub fn focal_sigma(&self) -> f64 {
        self.covariance[(6, 6)].max(0.0).sqrt()
    }
}

/// The camera moved by steps `d` in the order of [`STEPS`]; steps left off at the end are none.
pub fn moved(v: &PlaneView, d: &[f64]) -> PlaneView {
    let d: [f64; CAMERA] = std::array::from_fn(|k| d.get(k).copied().unwrap_or(0.0));
    let turn = Rotation3::new(Vector3::new(d[0], d[1], d[2]));
    let pose = Pose {
        focal_px: v.pose.focal_px * d[6].exp(),
        centre: v.pose.centre + Point::new(d[9], d[10]),
        r1: turn * v.pose.r1,
        r2: turn * v.pose.r2,
        t: v.pose.t + Vector3::new(d[3], d[4], d[5]),
    };
    PlaneView::new(pose, v.k1 + d[7], v.k2 + d[8])
}

/// Residuals of what is seen, in sigmas, for one camera and parameters of the sight's own, of which nothing is known
/// beforehand; `common` are further parameters in sigmas of their own.
trait Sight {
    /// Steps of the numeric derivatives along the sight's own parameters.
    fn own_steps(&self) -> &[f64] {
        &[]
    }
    fn residuals(&self, v: &PlaneView, own: &[f64]) -> Vec<f64>;
    /// Slopes of the residuals along the common parameters (rows as the residuals).
    fn common(&self) -> DMatrix<f64>;
}

struct Problem<'a, S: Sight> {
    start: &'a PlaneView,
    sight: &'a S,
    camera: &'a Camera,
    /// [`STEPS`] and those of the sight's own parameters.
    steps: Vec<f64>,
    /// `sight.common()`, kept.
    common: DMatrix<f64>,
}

impl<S: Sight> Problem<'_, S> {
    /// Residuals of the sight, then those of what is known beforehand: ln f, k1, k2, centre, the common parameters.
    fn at(&self, d: &[f64]) -> DVector<f64> {
        let (camera, rest) = d.split_at(CAMERA);
        let (own, common) = rest.split_at(self.steps.len() - CAMERA);
        let v = moved(self.start, camera);
        let common = DVector::from_column_slice(common);
        let seen = DVector::from_vec(self.sight.residuals(&v, own)) + &self.common * &common;
        let c = self.camera;
        let centre = (v.pose.centre - c.centre) * (1.0 / centre_sigma_px(c));
        let known = [
            (v.pose.focal_px / c.focal_px).ln() / c.relative,
            (v.k1 - c.k1.0) / c.k1.1,
            (v.k2 - c.k2.0) / c.k2.1,
            centre.x,
            centre.y,
        ];
        DVector::from_iterator(
            seen.len() + known.len() + common.len(),
            seen.iter().copied().chain(known).chain(common.iter().copied()),
        )
    }
    fn slopes(&self, d: &[f64]) -> DMatrix<f64> {
        let (n, m, free) = (self.common.nrows(), self.common.ncols(), self.steps.len());
        let mut j = DMatrix::zeros(n + 5 + m, free + m);
        j.view_mut((0, 0), (n + 5 + m, free)).copy_from(&slopes(|d| self.at(d), d, &self.steps));
        j.view_mut((0, free), (n, m)).copy_from(&self.common);
        for k in 0..m {
            j[(n + 5 + k, free + k)] = 1.0;
        }
        j
    }
}

/// One solved round: the camera, the sight's own parameters and the common ones, the residuals of the sight alone, the
/// covariance of the camera's parameters (if asked for), and the sum of squares with everything known beforehand.
struct Solved {
    view: PlaneView,
    own: Vec<f64>,
    common: Vec<f64>,
    residuals: Vec<f64>,
    covariance: Option<DMatrix<f64>>,
    sum: f64,
}

fn solve<S: Sight>(start: &PlaneView, sight: &S, camera: &Camera, covariance: bool) -> Option<Solved> {
    let common = sight.common();
    let (n, m) = (common.nrows(), common.ncols());
    let steps: Vec<f64> = STEPS.iter().chain(sight.own_steps()).copied().collect();
    let free = steps.len();
    let problem = Problem { start, sight, camera, steps, common };
    let rest = least(free + m, |d| problem.at(d), |d| problem.slopes(d))?;
    let r = problem.at(&rest.steps);
    let covariance = if covariance {
        let j = problem.slopes(&rest.steps);
        Some((j.transpose() * j).try_inverse()?.view((0, 0), (CAMERA, CAMERA)).into_owned())
    } else {
        None
    };
    let view = moved(start, &rest.steps);
    let residuals = r.rows(0, n).iter().copied().collect();
    let (own, common) = (rest.steps[CAMERA..free].to_vec(), rest.steps[free..].to_vec());
    (view.pose.t.z > 0.0).then_some(Solved { view, own, common, residuals, covariance, sum: r.norm_squared() })
}

struct OnOutline<'a> {
    points: &'a [Seen],
    weights: Vec<f64>,
    outline: Outline,
    /// px per mm across the outline at each point.
    px_per_mm: Vec<f64>,
    sigma: EdgeSigma,
}

impl<'a> OnOutline<'a> {
    fn new(points: &'a [Seen], outline: Outline, sigma: EdgeSigma) -> Self {
        Self { points, weights: points.iter().map(|p| p.weight).collect(), outline, px_per_mm: vec![], sigma }
    }
    /// Takes the scale across the outline from a view near the one looked for.
    fn aim(&mut self, view: &PlaneView) {
        self.px_per_mm = self.points.iter().map(|p| across(view, self.outline, p.px)).collect();
    }
    /// Huber weights by the residuals.
    fn reweigh(&mut self, r: &[f64]) {
        for (i, w) in self.weights.iter_mut().enumerate() {
            let e = if *w > 0.0 { (r[i] / *w).abs() } else { 0.0 };
            *w = self.points[i].weight * huber(e);
        }
    }
    /// Rms distance of the points from the outline, px.
    fn rms_px(&self, r: &[f64]) -> f64 {
        let sum: f64 = r.iter().map(|r| (r * self.sigma.point).powi(2)).sum();
        let weight: f64 = self.weights.iter().map(|w| w * w).sum();
        (sum / weight.max(1e-9)).sqrt()
    }
    /// Change of the points' residuals when the sides move outwards by `px` each.
    fn shift(&self, i: usize, px: [f64; 4]) -> f64 {
        let moved: f64 = self.points[i].sides.iter().zip(px).map(|(s, px)| s * px).sum();
        -moved * self.weights[i] / self.sigma.point
    }
}

impl Sight for OnOutline<'_> {
    fn residuals(&self, v: &PlaneView, _: &[f64]) -> Vec<f64> {
        let one = |(i, p): (usize, &Seen)| {
            self.outline.distance(v.backward(p.px)) * self.px_per_mm[i] * self.weights[i] / self.sigma.point
        };
        self.points.iter().enumerate().map(one).collect()
    }
    fn common(&self) -> DMatrix<f64> {
        DMatrix::from_fn(self.points.len(), 4, |i, k| {
            self.shift(i, std::array::from_fn(|s| if s == k { self.sigma.side } else { 0.0 }))
        })
    }
}

/// Fits the view to weighted outline points: least squares of the distances across the outline by Levenberg-Marquardt,
/// three rounds with Huber weights (limit 1.5 sigma). Each side has a common error of its own, which is fitted too: light
/// and shadow beside an edge move all its points alike, and no number of points averages that out.
///
/// `None` with too few points or when the fit leaves the picture.
pub fn fit(start: &PlaneView, points: &[Seen], outline: Outline, camera: &Camera, sigma: EdgeSigma) -> Option<Fitted> {
    if points.len() < LEAST_POINTS {
        return None;
    }
    let mut sight = OnOutline::new(points, outline, sigma);
    let mut view = start.clone();
    for last in [false, false, true] {
        sight.aim(&view);
        let done = solve(&view, &sight, camera, last)?;
        view = done.view;
        if let Some(covariance) = done.covariance {
            return Some(Fitted { view, residual_px: sight.rms_px(&done.residuals), covariance });
        }
        sight.reweigh(&done.residuals);
    }
    None
}

/// Least number of points on one outline.
const LEAST_POINTS: usize = 12;

/// Square root of the Huber weight of a residual of `e` sigmas.
fn huber(e: f64) -> f64 {
    const LIMIT: f64 = 1.5;
    if e > LIMIT { (LIMIT / e).sqrt() } else { 1.0 }
}

struct OnPoints<'a> {
    pairs: &'a [Pair],
    weights: Vec<f64>,
}

impl Sight for OnPoints<'_> {
    fn residuals(&self, v: &PlaneView, _: &[f64]) -> Vec<f64> {
        let one = |(p, w): (&Pair, &f64)| {
            let d = (v.forward(p.mm) - p.px) * (w / p.sigma_px);
            [d.x, d.y]
        };
        self.pairs.iter().zip(&self.weights).flat_map(one).collect()
    }
    fn common(&self) -> DMatrix<f64> {
        DMatrix::zeros(2 * self.pairs.len(), 0)
    }
}

/// Known points from which on a wrong one is told by the others: more than twice the eleven parameters.
pub const ROBUST_FROM: usize = 13;

/// Doubt of k1 and k2 about zero for a lens that nobody has corrected: wide-angle webcams and action cameras reach -0.3
/// and 0.1 (OpenCV's own calibration pictures: k1 = -0.27).
const UNCORRECTED: f64 = 0.3;
/// By how much the sum of squares must fall before such a lens is believed: five sigmas, so that the noise of a small card
/// does not bend the whole photo.
const UNCORRECTED_GAIN: f64 = 25.0;

/// Fits the view to known points: least squares of their distances in the photo, each over its own sigma. From
/// 13 points on with Huber weights, and all sigmas grow where the points scatter more than they say.
///
/// The lens is first taken to be corrected by the phone (`camera.k1`, `camera.k2`); where the points say by five sigmas that
/// it is not, both coefficients are set free. `None` with fewer than four points, points on one line, or a fit that leaves
/// the picture.
pub fn fit_pairs(pairs: &[Pair], camera: &Camera) -> Option<Fitted> {
    let places: Vec<(Point, Point)> = pairs.iter().map(|p| (p.mm, p.px)).collect();
    let h = Homography::from_pairs(&places)?;
    let pose = Pose::from_homography(&h, camera.focal_px, camera.centre)?;
    let start = PlaneView::new(pose, camera.k1.0, camera.k2.0);
    let plain = settled(&start, pairs, camera);
    if pairs.len() < ROBUST_FROM {
        return plain.map(|f| f.0);
    }
    let free = Camera { k1: (0.0, UNCORRECTED), k2: (0.0, UNCORRECTED), ..*camera };
    let bent = settled(&start, pairs, &free);
    match (plain, bent) {
        (Some(p), Some(b)) => Some(if p.1 - b.1 > UNCORRECTED_GAIN * b.2 { b.0 } else { p.0 }),
        (p, b) => p.or(b).map(|f| f.0),
    }
}

/// The fit with one idea of the camera, its sum of squares, and the growth of the variances.
fn settled(start: &PlaneView, pairs: &[Pair], camera: &Camera) -> Option<(Fitted, f64, f64)> {
    let mut view = start.clone();
    let mut weights = vec![1.0; pairs.len()];
    let robust = pairs.len() >= ROBUST_FROM;
    for last in [false, false, true] {
        let sight = OnPoints { pairs, weights: weights.clone() };
        let done = solve(&view, &sight, camera, last)?;
        view = done.view;
        if let Some(covariance) = done.covariance {
            let squares: f64 = pairs.iter().map(|p| view.forward(p.mm).distance(p.px).powi(2)).sum();
            let seen: f64 = done.residuals.iter().map(|r| r * r).sum();
            let spare = 2.0 * pairs.len() as f64 - CAMERA as f64;
            let growth = if robust { (seen / spare).max(1.0) } else { 1.0 };
            let residual_px = (squares / pairs.len() as f64).sqrt();
            return Some((Fitted { view, residual_px, covariance: covariance * growth }, done.sum, growth));
        }
        if robust {
            for (k, w) in weights.iter_mut().enumerate() {
                let r = done.residuals[2 * k].hypot(done.residuals[2 * k + 1]) / *w;
                *w = huber(r);
            }
        }
    }
    None
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
mod tests;
