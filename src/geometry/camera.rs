//! The pin-hole camera over a plane, and its lens.

use super::{Homography, Point};
use nalgebra::{Matrix3, Vector3};

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
///
/// Where the two terms would fold the picture back (see [`LEAST_STRETCH`]) they no longer hold: from there on the map runs
/// straight on, so that it stays one to one both ways, and [`PlaneView::holds`] says so.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneView {
    pub pose: Pose,
    pub k1: f64,
    pub k2: f64,
    /// r^2 up to which the two terms hold.
    reach: f64,
}

/// Least growth of the photo's radius with the true one at which k1 and k2 are believed: a mark there is drawn five times
/// shorter along the radius than in the middle. Lenses in use stay above a third at the corner (k1 = -0.3, r = 0.83), so a
/// larger value would cut into real photos; at 0 the map folds and one photo point would be two places of the floor.
const LEAST_STRETCH: f64 = 0.2;

impl PlaneView {
    pub fn new(pose: Pose, k1: f64, k2: f64) -> Self {
        // Smallest r^2 with 1 + 3 k1 r^2 + 5 k2 r^4 = LEAST_STRETCH.
        let (a, b, c) = (5.0 * k2, 3.0 * k1, 1.0 - LEAST_STRETCH);
        let q = -0.5 * (b + (b * b - 4.0 * a * c).sqrt().copysign(b));
        let reach = [q / a, c / q].into_iter().filter(|s| *s > 0.0).fold(f64::INFINITY, f64::min);
        Self { pose, k1, k2, reach }
    }
    /// A camera whose lens does not distort.
    pub fn plain(pose: Pose) -> Self {
        Self::new(pose, 0.0, 0.0)
    }
    /// Plane mm to photo px.
    #[inline]
    pub fn forward(&self, p: Point) -> Point {
        let Pose { focal_px, centre, r1, r2, t } = &self.pose;
        let w = 1.0 / (r1.z * p.x + r2.z * p.y + t.z);
        let (x, y) = ((r1.x * p.x + r2.x * p.y + t.x) * w, (r1.y * p.x + r2.y * p.y + t.y) * w);
        let d = focal_px * self.stretch(x * x + y * y).0;
        Point::new(centre.x + d * x, centre.y + d * y)
    }
    /// Photo radius over true radius at the squared true radius `rr`, and its slope along `rr`.
    #[inline]
    fn stretch(&self, rr: f64) -> (f64, f64) {
        if rr <= self.reach {
            return (1.0 + rr * (self.k1 + rr * self.k2), self.k1 + 2.0 * rr * self.k2);
        }
        let (r, end) = (rr.sqrt(), self.reach.sqrt());
        let ahead = end * self.stretch(self.reach).0 - LEAST_STRETCH * end;
        (LEAST_STRETCH + ahead / r, -0.5 * ahead / (r * rr))
    }
    /// Photo px to plane mm.
    pub fn backward(&self, q: Point) -> Point {
        let (f, c) = (self.pose.focal_px, self.pose.centre);
        let (x, y) = ((q.x - c.x) / f, (q.y - c.y) / f);
        let seen = x.hypot(y);
        let mut r = seen.min(self.reach.sqrt());
        // Newton on a radius that only grows: three rounds for a phone's lens, six for a fisheye's.
        for _ in 0..30 {
            let (s, slope) = self.stretch(r * r);
            let step = (r * s - seen) / (s + 2.0 * r * r * slope);
            r -= step;
            if !(step.abs() > 1e-12) {
                break;
            }
        }
        let k = if seen > 0.0 { r / seen } else { 1.0 };
        let (u, v) = (x * k, y * k);
        let (r1, r2, t) = (&self.pose.r1, &self.pose.r2, &self.pose.t);
        // Ray (u, v, 1) s = r1 x + r2 y + t, solved for x and y.
        let (a, b, e) = (r1.x - u * r1.z, r2.x - u * r2.z, u * t.z - t.x);
        let (g, h, k) = (r1.y - v * r1.z, r2.y - v * r2.z, v * t.z - t.y);
        let det = a * h - b * g;
        Point::new((e * h - b * k) / det, (a * k - e * g) / det)
    }
    /// Whether a plane point lies in front of the camera and within the range in which the lens terms hold.
    pub fn holds(&self, p: Point) -> bool {
        let v = self.pose.r1 * p.x + self.pose.r2 * p.y + self.pose.t;
        v.z > 0.0 && (v.x * v.x + v.y * v.y) <= self.reach * v.z * v.z
    }
    /// Jacobian d(forward)/d(p) at `p`, row major: [du/dx, du/dy, dv/dx, dv/dy].
    pub fn jacobian(&self, p: Point) -> [f64; 4] {
        let (r1, r2) = (&self.pose.r1, &self.pose.r2);
        let v = r1 * p.x + r2 * p.y + self.pose.t;
        let (x, y) = (v.x / v.z, v.y / v.z);
        let (s, slope) = self.stretch(x * x + y * y);
        let k = self.pose.focal_px / v.z;
        let column = |r: &Vector3<f64>| {
            let (dx, dy) = (r.x - x * r.z, r.y - y * r.z);
            let along = 2.0 * slope * (x * dx + y * dy);
            (k * (s * dx + x * along), k * (s * dy + y * along))
        };
        let (a, b) = (column(r1), column(r2));
        [a.0, b.0, a.1, b.1]
    }
    /// Local linear scale at the plane point `p`, px per mm: square root of the area ratio.
    pub fn scale_at(&self, p: Point) -> f64 {
        let [a, b, c, d] = self.jacobian(p);
        (a * d - b * c).abs().sqrt()
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

    fn oblique() -> Pose {
        let turn = nalgebra::Rotation3::from_euler_angles(0.5, -0.3, 0.2);
        Pose {
            focal_px: 500.0,
            centre: Point::new(320.0, 240.0),
            r1: turn * Vector3::x(),
            r2: turn * Vector3::y(),
            t: Vector3::new(10.0, -20.0, 300.0),
        }
    }
    // Worked by hand: square over the plane, (x, y) = (0.3, 0.4), r^2 = 0.25, 1 - 0.05 + 0.00625 = 0.95625.
    #[test]
    fn a_lens_moves_points_by_the_two_terms() {
        let pose = Pose { r1: Vector3::x(), r2: Vector3::y(), t: Vector3::new(0.0, 0.0, 100.0), ..oblique() };
        let q = PlaneView::new(pose, -0.2, 0.1).forward(Point::new(30.0, 40.0));
        assert!(q.distance(Point::new(320.0 + 500.0 * 0.3 * 0.95625, 240.0 + 500.0 * 0.4 * 0.95625)) < 1e-9, "{q:?}");
    }
    #[test]
    fn every_lens_maps_one_to_one_and_its_slopes_are_those_of_its_map() {
        for (k1, k2) in [(0.0, 0.0), (-0.02, 0.0), (0.05, 0.0), (-0.3, 0.1), (-0.4, 0.0), (0.1, -0.3), (0.0, -0.2)] {
            let view = PlaneView::new(oblique(), k1, k2);
            let mut ends = [0, 0];
            for i in 0..400 {
                let p = Point::new(f64::from(i % 20) * 40.0 - 400.0, f64::from(i / 20) * 40.0 - 400.0);
                if oblique().r1.z * p.x + oblique().r2.z * p.y + oblique().t.z < 100.0 {
                    continue;
                }
                ends[usize::from(view.holds(p))] += 1;
                assert!(view.backward(view.forward(p)).distance(p) < 1e-6 * (1.0 + p.x.hypot(p.y)), "{k1} {k2} {p:?}");
                let e = 1e-4;
                let x = (view.forward(p + Point::new(e, 0.0)) - view.forward(p - Point::new(e, 0.0))) * (0.5 / e);
                let y = (view.forward(p + Point::new(0.0, e)) - view.forward(p - Point::new(0.0, e))) * (0.5 / e);
                let [a, b, c, d] = view.jacobian(p);
                let off = [a - x.x, b - y.x, c - x.y, d - y.y].iter().fold(0.0, |m: f64, v| m.max(v.abs()));
                assert!(off < 1e-4 * x.distance(Point::default()).max(1.0), "{k1} {k2} {p:?}: {off}");
                assert!(a * d - b * c > 0.0, "folded: {k1} {k2} {p:?}");
            }
            // Lenses that would fold are met beyond their range, those that cannot are not.
            let folds = k1 <= -0.4 || k2 < 0.0;
            assert!(folds == (ends[0] > 0) || k1 == -0.02, "{k1} {k2}: {ends:?}");
        }
    }
}
