//! Points, homographies and the pin-hole camera.
//!
//! Frames: photo pixels have (0, 0) at the centre of the top-left pixel after orientation, x right, y down. Planes are
//! in millimetres (or in pixels where no scale is known), x right, y down as seen from the camera, so that a
//! homography from a plane to the photo has a positive determinant; heights grow towards the camera.

use nalgebra::{DMatrix, Matrix3, SMatrix, SVector, Vector3};
use serde::{Deserialize, Serialize};

/// A point; the field or argument that holds it says in which frame and unit.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Point {
    pub x: f64,
    pub y: f64,
}

impl Point {
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
    pub fn distance(self, o: Point) -> f64 {
        (self.x - o.x).hypot(self.y - o.y)
    }
    pub fn lerp(self, o: Point, t: f64) -> Point {
        Point::new(self.x + (o.x - self.x) * t, self.y + (o.y - self.y) * t)
    }
}

impl std::ops::Add for Point {
    type Output = Point;
    fn add(self, o: Point) -> Point {
        Point::new(self.x + o.x, self.y + o.y)
    }
}
impl std::ops::Sub for Point {
    type Output = Point;
    fn sub(self, o: Point) -> Point {
        Point::new(self.x - o.x, self.y - o.y)
    }
}
impl std::ops::Mul<f64> for Point {
    type Output = Point;
    fn mul(self, k: f64) -> Point {
        Point::new(self.x * k, self.y * k)
    }
}

/// Signed area of a polygon (positive when it runs from +x towards +y, clockwise on a screen).
pub fn signed_area(polygon: &[Point]) -> f64 {
    let n = polygon.len();
    (0..n).map(|i| polygon[i].x * polygon[(i + 1) % n].y - polygon[(i + 1) % n].x * polygon[i].y).sum::<f64>() / 2.0
}

/// Distance from a point to a segment.
pub fn to_segment(p: Point, a: Point, b: Point) -> f64 {
    let (v, w) = (b - a, p - a);
    let t = ((w.x * v.x + w.y * v.y) / (v.x * v.x + v.y * v.y).max(1e-18)).clamp(0.0, 1.0);
    p.distance(a.lerp(b, t))
}

/// Whether a point lies inside a polygon (even-odd rule; points on the border may fall either way).
pub fn contains(polygon: &[Point], p: Point) -> bool {
    let n = polygon.len();
    let mut inside = false;
    for i in 0..n {
        let (a, b) = (polygon[i], polygon[(i + n - 1) % n]);
        if (a.y > p.y) != (b.y > p.y) && p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x {
            inside = !inside;
        }
    }
    inside
}

/// A projective map of the plane kept with its inverse, so that neither can be missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Homography {
    m: Matrix3<f64>,
    inverse: Matrix3<f64>,
}

impl Homography {
    pub fn identity() -> Self {
        Self { m: Matrix3::identity(), inverse: Matrix3::identity() }
    }
    /// `None` when the matrix is singular or not finite. Scaled so that the last element is 1 where that is possible.
    pub fn from_matrix(m: Matrix3<f64>) -> Option<Self> {
        let m = if m[(2, 2)].abs() > 1e-12 * m.amax() { m / m[(2, 2)] } else { m / m.amax() };
        let inverse = m.try_inverse()?;
        (m.iter().chain(inverse.iter()).all(|v| v.is_finite())).then_some(Self { m, inverse })
    }
    pub fn matrix(&self) -> &Matrix3<f64> {
        &self.m
    }
    pub fn forward(&self, p: Point) -> Point {
        apply(&self.m, p)
    }
    pub fn backward(&self, p: Point) -> Point {
        apply(&self.inverse, p)
    }
    pub fn inverse(&self) -> Self {
        Self { m: self.inverse, inverse: self.m }
    }
    /// The same map from a plane whose unit is `k` times smaller: what was 1 is `k`.
    pub fn scaled(&self, k: f64) -> Self {
        let m = Matrix3::from_diagonal(&Vector3::new(1.0 / k, 1.0 / k, 1.0));
        Self::from_matrix(self.m * m).unwrap_or_else(|| self.clone())
    }
    /// First `before`, then `self`.
    pub fn after(&self, before: &Homography) -> Option<Self> {
        Self::from_matrix(self.m * before.m)
    }
    /// Jacobian d(forward)/d(p) at `p`, row major: [du/dx, du/dy, dv/dx, dv/dy].
    pub fn jacobian(&self, p: Point) -> [f64; 4] {
        let m = &self.m;
        let w = m[(2, 0)] * p.x + m[(2, 1)] * p.y + m[(2, 2)];
        let q = self.forward(p);
        [
            (m[(0, 0)] - q.x * m[(2, 0)]) / w,
            (m[(0, 1)] - q.x * m[(2, 1)]) / w,
            (m[(1, 0)] - q.y * m[(2, 0)]) / w,
            (m[(1, 1)] - q.y * m[(2, 1)]) / w,
        ]
    }
    /// Local linear scale at `p`: square root of the area ratio, output units per input unit.
    pub fn scale_at(&self, p: Point) -> f64 {
        let [a, b, c, d] = self.jacobian(p);
        (a * d - b * c).abs().sqrt()
    }

    /// The map of least squares from four or more pairs (input, output): smallest sum of squared distances in the output
    /// plane. Direct linear transform with normalised coordinates, then Gauss-Newton steps (more than four pairs).
    ///
    /// Fails (`None`) on fewer than four pairs, on collinear or coincident points, and on a set that would mirror the
    /// plane or put points behind the camera. Source: Hartley & Zisserman, Multiple View Geometry, algorithm 4.2.
    pub fn from_pairs(pairs: &[(Point, Point)]) -> Option<Self> {
        if pairs.len() < 4 {
            return None;
        }
        let (na, a) = normalise(pairs.iter().map(|p| p.0))?;
        let (nb, b) = normalise(pairs.iter().map(|p| p.1))?;
        // Nine rows at least, so that the thin SVD holds the null vector.
        let mut d = DMatrix::zeros((2 * pairs.len()).max(9), 9);
        for (i, (p, q)) in a.iter().zip(&b).enumerate() {
            let h = [p.x, p.y, 1.0];
            for k in 0..3 {
                d[(2 * i, k)] = h[k];
                d[(2 * i, 6 + k)] = -q.x * h[k];
                d[(2 * i + 1, 3 + k)] = h[k];
                d[(2 * i + 1, 6 + k)] = -q.y * h[k];
            }
        }
        let svd = d.svd(false, true);
        let s = &svd.singular_values;
        let mut order: Vec<usize> = (0..9).collect();
        order.sort_by(|&i, &j| s[j].total_cmp(&s[i]));
        // A second null direction means the points do not fix the map. 1e-7 of the largest: normalised data are of
        // order one, so this is far above rounding and far below any usable layout.
        if s[order[7]] < 1e-7 * s[order[0]] {
            return None;
        }
        let v = svd.v_t?.row(order[8]).transpose();
        let mut h = Matrix3::new(v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8]);
        if pairs.len() > 4 {
            h = nearest(h, &a, &b);
        }
        let map = Self::from_matrix(nb.try_inverse()? * h * na)?;
        let m = &map.m;
        let w = |p: Point| m[(2, 0)] * p.x + m[(2, 1)] * p.y + m[(2, 2)];
        let sign = w(pairs[0].0).signum();
        (pairs.iter().all(|(p, _)| w(*p) * sign > 0.0)).then_some(map)
    }
}

/// Gauss-Newton from a starting map to the smallest sum of squared distances |h(a) - b|, in normalised coordinates. A step
/// that does not lower the sum ends the search, so the result is never worse than the start.
fn nearest(start: Matrix3<f64>, a: &[Point], b: &[Point]) -> Matrix3<f64> {
    let cost = |h: &Matrix3<f64>| a.iter().zip(b).map(|(p, q)| apply(h, *p).distance(*q).powi(2)).sum::<f64>();
    let mut h = start / start.norm();
    let mut best = cost(&h);
    // Converges in three or four steps on corners with a pixel of noise.
    for _ in 0..20 {
        let (mut jj, mut jr) = (SMatrix::<f64, 9, 9>::zeros(), SVector::<f64, 9>::zeros());
        for (p, q) in a.iter().zip(b) {
            let w = 1.0 / (h[(2, 0)] * p.x + h[(2, 1)] * p.y + h[(2, 2)]);
            let at = apply(&h, *p);
            let (x, y) = (p.x * w, p.y * w);
            let du = SVector::<f64, 9>::from([x, y, w, 0.0, 0.0, 0.0, -at.x * x, -at.x * y, -at.x * w]);
            let dv = SVector::<f64, 9>::from([0.0, 0.0, 0.0, x, y, w, -at.y * x, -at.y * y, -at.y * w]);
            jj += du * du.transpose() + dv * dv.transpose();
            jr += du * (q.x - at.x) + dv * (q.y - at.y);
        }
        // The size of h is free: held by its own direction.
        let own = SVector::<f64, 9>::from_iterator(h.transpose().iter().copied());
        jj += own * own.transpose() * jj.trace();
        let Some(step) = jj.cholesky().map(|c| c.solve(&jr)) else { break };
        let next = h + Matrix3::from_row_slice(step.as_slice());
        let next = next / next.norm();
        let sum = cost(&next);
        if !(sum < best) {
            break;
        }
        let gain = best - sum;
        (h, best) = (next, sum);
        if gain < 1e-14 * best {
            break;
        }
    }
    h
}

fn apply(m: &Matrix3<f64>, p: Point) -> Point {
    let v = m * Vector3::new(p.x, p.y, 1.0);
    Point::new(v.x / v.z, v.y / v.z)
}

fn normalise(points: impl Iterator<Item = Point> + Clone) -> Option<(Matrix3<f64>, Vec<Point>)> {
    let n = points.clone().count() as f64;
    let c = points.clone().fold(Point::default(), |a, p| a + p) * (1.0 / n);
    let d = points.clone().map(|p| p.distance(c)).sum::<f64>() / n;
    if !(d > 0.0) || !d.is_finite() {
        return None;
    }
    let k = std::f64::consts::SQRT_2 / d;
    let t = Matrix3::new(k, 0.0, -k * c.x, 0.0, k, -k * c.y, 0.0, 0.0, 1.0);
    Some((t, points.map(|p| (p - c) * k).collect()))
}

/// A pin-hole camera seen from a plane: focal length and principal point in pixels, and the plane's pose
/// (columns r1, r2 of the rotation and the translation t, plane millimetres to camera millimetres; camera looks along +z).
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    pub focal_px: f64,
    pub centre: Point,
    pub r1: Vector3<f64>,
    pub r2: Vector3<f64>,
    pub t: Vector3<f64>,
}

impl Pose {
    /// The pose of a plane from its homography (plane mm to photo px) and a known focal length (square pixels, no skew).
    ///
    /// The rotation is the nearest orthonormal pair to the homography's columns (polar decomposition). `None` when the
    /// plane would lie behind the camera or the homography is degenerate.
    pub fn from_homography(h: &Homography, focal_px: f64, centre: Point) -> Option<Self> {
        let k = Matrix3::new(focal_px, 0.0, centre.x, 0.0, focal_px, centre.y, 0.0, 0.0, 1.0);
        let mut m = k.try_inverse()? * h.matrix();
        if m[(2, 2)] < 0.0 {
            m = -m;
        }
        let (a, b, t) = (m.column(0).into_owned(), m.column(1).into_owned(), m.column(2).into_owned());
        let scale = (a.norm() * b.norm()).sqrt();
        if !(scale > 0.0) {
            return None;
        }
        let (a, b, t) = (a / a.norm(), b / b.norm(), t / scale);
        // Symmetric orthogonalisation: the bisector stays, both vectors turn by the same amount.
        let (p, q) = ((a + b).normalize(), (a - b).normalize());
        let h = std::f64::consts::FRAC_1_SQRT_2;
        let (r1, r2) = ((p + q) * h, (p - q) * h);
        (t.z > 0.0 && r1.iter().chain(r2.iter()).all(|v| v.is_finite())).then_some(Self { focal_px, centre, r1, r2, t })
    }
    /// Unit normal of the plane towards the camera (x right and y down make x cross y point away from it).
    pub fn normal(&self) -> Vector3<f64> {
        -self.r1.cross(&self.r2)
    }
    /// The same camera seen from a parallel plane `up_mm` nearer to the camera (negative: farther), same x and y axes.
    pub fn shifted(&self, up_mm: f64) -> Self {
        Self { t: self.t + self.normal() * up_mm, ..self.clone() }
    }
    /// The same camera with the plane's axes turned: the new +x axis lies at (cos, sin) in the old axes.
    pub fn turned(&self, cos: f64, sin: f64) -> Self {
        Self { r1: self.r1 * cos + self.r2 * sin, r2: self.r2 * cos - self.r1 * sin, ..self.clone() }
    }
    /// The same camera over a plane whose millimetres are `k` times smaller: what was 1 mm is `k` mm.
    pub fn scaled(&self, k: f64) -> Self {
        Self { t: self.t * k, ..self.clone() }
    }
    /// Plane millimetres to photo pixels.
    pub fn homography(&self) -> Option<Homography> {
        let k = Matrix3::new(self.focal_px, 0.0, self.centre.x, 0.0, self.focal_px, self.centre.y, 0.0, 0.0, 1.0);
        Homography::from_matrix(k * Matrix3::from_columns(&[self.r1, self.r2, self.t]))
    }
    /// Distance from the camera to the plane along the plane's normal, mm.
    pub fn distance(&self) -> f64 {
        -self.t.dot(&self.normal())
    }
    /// Angle between the camera's axis and the plane's normal, degrees.
    pub fn obliquity_deg(&self) -> f64 {
        (-self.normal().z).clamp(-1.0, 1.0).acos().to_degrees()
    }
}

/// A pin-hole camera over a plane with two terms of radial lens distortion: with (x, y) the undistorted position
/// in focal lengths from the principal point, the photo shows (x, y) (1 + k1 r^2 + k2 r^4), r^2 = x^2 + y^2 (the
/// convention of OpenCV's `calibrateCamera`).
#[derive(Debug, Clone)]
pub struct PlaneView {
    pub pose: Pose,
    pub k1: f64,
    pub k2: f64,
}

impl PlaneView {
    /// A camera whose lens does not distort.
    pub fn plain(pose: Pose) -> Self {
        Self { pose, k1: 0.0, k2: 0.0 }
    }
    /// Plane mm to photo px.
    pub fn forward(&self, p: Point) -> Point {
        let v = self.pose.r1 * p.x + self.pose.r2 * p.y + self.pose.t;
        let (x, y) = (v.x / v.z, v.y / v.z);
        let d = self.pose.focal_px * self.stretch(x * x + y * y);
        Point::new(self.pose.centre.x + d * x, self.pose.centre.y + d * y)
    }
    fn stretch(&self, rr: f64) -> f64 {
        1.0 + rr * (self.k1 + rr * self.k2)
    }
    /// Photo px to plane mm.
    pub fn backward(&self, q: Point) -> Point {
        let (f, c) = (self.pose.focal_px, self.pose.centre);
        let (x, y) = ((q.x - c.x) / f, (q.y - c.y) / f);
        let (mut u, mut v) = (x, y);
        // Fixed point: the error shrinks by 2 k1 r^2 each time, under 0.05 for a phone (four rounds), 0.5 for a fisheye.
        for _ in 0..30 {
            let d = self.stretch(u * u + v * v);
            let (a, b) = (x / d, y / d);
            let moved = (a - u).abs() + (b - v).abs();
            (u, v) = (a, b);
            if !(moved > 1e-10) {
                break;
            }
        }
        let (r1, r2, t) = (&self.pose.r1, &self.pose.r2, &self.pose.t);
        // Ray (u, v, 1) s = r1 x + r2 y + t, solved for x and y.
        let (a, b, e) = (r1.x - u * r1.z, r2.x - u * r2.z, u * t.z - t.x);
        let (g, h, k) = (r1.y - v * r1.z, r2.y - v * r2.z, v * t.z - t.y);
        let det = a * h - b * g;
        Point::new((e * h - b * k) / det, (a * k - e * g) / det)
    }
    /// Local linear scale at the plane point `p`, px per mm: square root of the area ratio.
    pub fn scale_at(&self, p: Point) -> f64 {
        let e = 0.5;
        let x = self.forward(p + Point::new(e, 0.0)) - self.forward(p - Point::new(e, 0.0));
        let y = self.forward(p + Point::new(0.0, e)) - self.forward(p - Point::new(0.0, e));
        (x.x * y.y - x.y * y.x).abs().sqrt() / (2.0 * e)
    }
    /// The homography nearest (least squares) to this view over the rectangle of half sizes `half` about `middle` (plane mm).
    pub fn homography(&self, middle: Point, half: (f64, f64)) -> Option<Homography> {
        let mut pairs = vec![];
        for i in -2..=2 {
            for j in -2..=2 {
                let p = Point::new(middle.x + half.0 * f64::from(i) / 2.0, middle.y + half.1 * f64::from(j) / 2.0);
                pairs.push((p, self.forward(p)));
            }
        }
        Homography::from_pairs(&pairs)
    }
    /// The same camera seen from a parallel plane `up_mm` nearer to the camera (negative: farther), same x and y axes.
    pub fn shifted(&self, up_mm: f64) -> Self {
        Self { pose: self.pose.shifted(up_mm), ..*self }
    }
    /// The same camera with the plane's axes turned: the new +x axis lies at (cos, sin) in the old axes.
    pub fn turned(&self, cos: f64, sin: f64) -> Self {
        Self { pose: self.pose.turned(cos, sin), ..*self }
    }
    /// The same camera over a plane whose millimetres are `k` times smaller: what was 1 mm is `k` mm.
    pub fn scaled(&self, k: f64) -> Self {
        Self { pose: self.pose.scaled(k), ..*self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    fn close(a: Point, x: f64, y: f64, tol: f64) {
        assert!(a.distance(Point::new(x, y)) < tol, "got {a:?}, expected ({x}, {y})");
    }
    // Worked values: ID-1 corners under H = [10.2 -1.35 412; 0.85 9.6 655; 0.0004 -0.0011 1], computed by hand and by
    // numpy.
    #[test]
    fn card_corners_give_back_the_worked_homography() {
        let mm = [(0.0, 0.0), (85.60, 0.0), (85.60, 53.98), (0.0, 53.98)];
        let px = [(412.0, 655.0), (1242.574257, 703.666460), (1243.506260, 1278.096797), (360.534838, 1247.268297)];
        let pairs: Vec<_> = mm.iter().zip(&px).map(|(a, b)| (Point::new(a.0, a.1), Point::new(b.0, b.1))).collect();
        let h = Homography::from_pairs(&pairs).unwrap();
        close(h.forward(Point::new(42.80, 26.99)), 822.4610, 962.5827, 2e-4);
        close(h.forward(Point::new(20.0, 10.0)), 604.3129, 770.3109, 2e-4);
        close(h.backward(Point::new(800.0, 900.0)), 40.28314, 21.27113, 2e-5);
        assert!((h.matrix()[(0, 0)] - 10.2).abs() < 1e-5 && (h.matrix()[(2, 1)] + 0.0011).abs() < 1e-8);
    }
    #[test]
    fn the_unit_square_maps_as_worked() {
        let a = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
        let b = [(0.0, 0.0), (2.0, 0.2), (1.7, 1.4), (0.1, 1.1)];
        let pairs: Vec<_> = a.iter().zip(&b).map(|(a, b)| (Point::new(a.0, a.1), Point::new(b.0, b.1))).collect();
        let h = Homography::from_pairs(&pairs).unwrap();
        close(h.forward(Point::new(0.5, 0.5)), 0.884487, 0.728401, 1e-6);
    }
    #[test]
    fn collinear_points_do_not_fix_a_map() {
        let p = |x: f64| (Point::new(x, 2.0 * x), Point::new(3.0 * x, x + 1.0));
        assert!(Homography::from_pairs(&[p(0.0), p(1.0), p(2.0), p(3.0)]).is_none());
        assert!(Homography::from_pairs(&[p(0.0), p(1.0)]).is_none());
    }
    #[test]
    fn a_plane_nearer_to_the_camera_looks_larger_by_its_share_of_the_distance() {
        let pose = Pose {
            focal_px: 3000.0,
            centre: Point::new(2000.0, 1500.0),
            r1: Vector3::x(),
            r2: Vector3::y(),
            t: Vector3::new(-40.0, -30.0, 200.0),
        };
        assert!((pose.distance() - 200.0).abs() < 1e-12);
        let up = pose.shifted(2.0).homography().unwrap();
        let ratio = up.scale_at(Point::new(40.0, 30.0)) / pose.homography().unwrap().scale_at(Point::new(40.0, 30.0));
        assert!((ratio - 200.0 / 198.0).abs() < 1e-12, "{ratio}");
        let again = Pose::from_homography(&pose.homography().unwrap(), 3000.0, Point::new(2000.0, 1500.0)).unwrap();
        assert!((again.t - pose.t).norm() < 1e-9 && again.obliquity_deg() < 1e-6);
    }
}
