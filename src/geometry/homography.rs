//! Projective maps of the plane.

use super::Point;
use nalgebra::{DMatrix, Matrix3, SMatrix, SVector, Vector3};

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
    #[inline]
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

#[inline]
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
}
