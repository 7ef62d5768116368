//! The map between a plane and the photo: with the lens where the camera is known, as a homography where it is not.

use super::{Homography, PlaneView, Point, Pose};
use nalgebra::Matrix3;

/// A plane tied to photo pixels, both ways.
#[derive(Debug, Clone, PartialEq)]
pub enum PlaneMap {
    /// A projective map: points given by hand, a flat scan.
    Flat(Homography),
    /// A fitted camera with its lens.
    Lens(PlaneView),
}

impl From<Homography> for PlaneMap {
    fn from(h: Homography) -> Self {
        PlaneMap::Flat(h)
    }
}

impl PlaneMap {
    /// Plane to photo px.
    #[inline]
    pub fn forward(&self, p: Point) -> Point {
        match self {
            PlaneMap::Flat(h) => h.forward(p),
            PlaneMap::Lens(v) => v.forward(p),
        }
    }
    /// Photo px to plane.
    pub fn backward(&self, q: Point) -> Point {
        match self {
            PlaneMap::Flat(h) => h.backward(q),
            PlaneMap::Lens(v) => v.backward(q),
        }
    }
    /// Jacobian d(forward)/d(p) at `p`, row major: [du/dx, du/dy, dv/dx, dv/dy].
    pub fn jacobian(&self, p: Point) -> [f64; 4] {
        match self {
            PlaneMap::Flat(h) => h.jacobian(p),
            PlaneMap::Lens(v) => v.jacobian(p),
        }
    }
    /// Local linear scale at the plane point `p`, px per plane unit: square root of the area ratio.
    pub fn scale_at(&self, p: Point) -> f64 {
        match self {
            PlaneMap::Flat(h) => h.scale_at(p),
            PlaneMap::Lens(v) => v.scale_at(p),
        }
    }
    /// Whether the map can be trusted at the plane point `p`: not where a lens' terms no longer hold.
    pub fn holds(&self, p: Point) -> bool {
        match self {
            PlaneMap::Flat(_) => true,
            PlaneMap::Lens(v) => v.holds(p),
        }
    }
    /// The camera, where it is known.
    pub fn camera(&self) -> Option<&PlaneView> {
        match self {
            PlaneMap::Flat(_) => None,
            PlaneMap::Lens(v) => Some(v),
        }
    }
    /// The same map from a plane whose unit is `k` times smaller: what was 1 is `k`.
    pub fn scaled(&self, k: f64) -> Self {
        match self {
            PlaneMap::Flat(h) => PlaneMap::Flat(h.scaled(k)),
            PlaneMap::Lens(v) => PlaneMap::Lens(v.scaled(k)),
        }
    }
    /// The same map with the plane's axes turned: the new +x axis lies at (cos, sin) in the old axes.
    pub fn turned(&self, cos: f64, sin: f64) -> Self {
        match self {
            PlaneMap::Flat(h) => {
                let turn = Homography::from_matrix(Matrix3::new(cos, -sin, 0.0, sin, cos, 0.0, 0.0, 0.0, 1.0));
                PlaneMap::Flat(turn.and_then(|t| h.after(&t)).unwrap_or_else(|| h.clone()))
            }
            PlaneMap::Lens(v) => PlaneMap::Lens(v.turned(cos, sin)),
        }
    }
    /// First `before`, then this map. A camera's pose then holds the moved plane's columns, which are no rotation: such a
    /// map places points and nothing else. `None` where the two together have no inverse.
    pub fn after(&self, before: &Homography) -> Option<Self> {
        match self {
            PlaneMap::Flat(h) => h.after(before).map(PlaneMap::Flat),
            PlaneMap::Lens(v) => {
                let m = Matrix3::from_columns(&[v.pose.r1, v.pose.r2, v.pose.t]) * before.matrix();
                m.try_inverse()?;
                let [r1, r2, t] = [0, 1, 2].map(|c| m.column(c).into_owned());
                Some(PlaneMap::Lens(PlaneView::new(Pose { r1, r2, t, ..v.pose.clone() }, v.k1, v.k2)))
            }
        }
    }
    /// The map as a projective one, without what the lens bends.
    pub fn projective(&self) -> Option<Homography> {
        match self {
            PlaneMap::Flat(h) => Some(h.clone()),
            PlaneMap::Lens(v) => v.pose.homography(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Rotation3, Vector3};

    #[test]
    fn a_map_after_another_goes_through_both() {
        let turn = Rotation3::from_euler_angles(0.4, -0.2, 0.1);
        let (r1, r2) = (turn * Vector3::x(), turn * Vector3::y());
        let pose =
            Pose { focal_px: 900.0, centre: Point::new(600.0, 450.0), r1, r2, t: Vector3::new(-9.0, 5.0, 250.0) };
        let before =
            Homography::from_matrix(Matrix3::new(0.98, -0.2, 4.0, 0.21, 1.02, -7.0, 1e-4, -2e-4, 1.0)).unwrap();
        let flat = PlaneMap::from(pose.homography().unwrap());
        for map in [flat, PlaneMap::Lens(PlaneView::new(pose, -0.15, 0.03))] {
            let both = map.after(&before).unwrap();
            for p in [Point::new(0.0, 0.0), Point::new(60.0, -40.0), Point::new(-75.0, 50.0)] {
                let q = map.forward(before.forward(p));
                assert!(both.forward(p).distance(q) < 1e-9, "{p:?}");
                assert!(both.backward(q).distance(p) < 1e-7 && both.holds(p), "{p:?}");
            }
        }
    }
}
