//! The map between a plane and the photo: with the lens where the camera is known, as a homography where it is not.

use super::{Homography, PlaneView, Point};
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
    /// The map as a projective one, without what the lens bends.
    pub fn projective(&self) -> Option<Homography> {
        match self {
            PlaneMap::Flat(h) => Some(h.clone()),
            PlaneMap::Lens(v) => v.pose.homography(),
        }
    }
}
