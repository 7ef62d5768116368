//! Points, homographies and the pin-hole camera.
//!
//! Frames: photo pixels have (0, 0) at the centre of the top-left pixel after orientation, x right, y down. Planes are
//! in millimetres (or in pixels where no scale is known), x right, y down as seen from the camera, so that a
//! homography from a plane to the photo has a positive determinant; heights grow towards the camera.

mod camera;
mod homography;
mod map;

pub use camera::{PlaneView, Pose};
pub use homography::Homography;
pub use map::PlaneMap;

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
        let d = self - o;
        (d.x * d.x + d.y * d.y).sqrt()
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

/// The point of a segment that is nearest to a point.
pub fn foot(p: Point, a: Point, b: Point) -> Point {
    let (v, w) = (b - a, p - a);
    a.lerp(b, ((w.x * v.x + w.y * v.y) / (v.x * v.x + v.y * v.y).max(1e-18)).clamp(0.0, 1.0))
}

/// Distance from a point to a segment.
pub fn to_segment(p: Point, a: Point, b: Point) -> f64 {
    p.distance(foot(p, a, b))
}

/// Distance from a point to the nearest side of a closed polygon; infinite where it has none.
pub fn to_outline(p: Point, polygon: &[Point]) -> f64 {
    let sides = polygon.iter().zip(polygon.iter().cycle().skip(1));
    sides.map(|(a, b)| to_segment(p, *a, *b)).fold(f64::INFINITY, f64::min)
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
