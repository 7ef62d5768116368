//! Photos drawn for the tests of this room: a grey plane seen by a known camera.

use super::quads::Camera;
use crate::geometry::{PlaneView, Point, Pose};
use crate::photo::Photo;
use crate::raster::Plane;
use nalgebra::{Rotation3, Vector3};

/// 900 x 700 px, 26 mm equivalent.
pub fn camera() -> Camera {
    let centre = Point::new(449.5, 349.5);
    Camera { focal_px: 900.0, relative: 0.03, centre, k1: (0.0, 0.012), k2: (0.0, 0.012) }
}

/// A slightly oblique view of a plane.
pub fn view() -> PlaneView {
    let turn = Rotation3::from_euler_angles(0.06, -0.08, 0.1);
    let pose = Pose {
        focal_px: 900.0,
        centre: camera().centre,
        r1: turn * Vector3::x(),
        r2: turn * Vector3::y(),
        t: Vector3::new(2.0, -1.0, 150.0),
    };
    PlaneView::plain(pose)
}

/// A photo with the sRGB code value `light` at each pixel.
pub fn photo(light: impl Fn(Point) -> f64) -> Photo {
    let rgb = image::RgbImage::from_fn(900, 700, |x, y| {
        image::Rgb([light(Point::new(f64::from(x), f64::from(y))).round() as u8; 3])
    });
    Photo {
        file: "drawn.png".into(),
        sha256: String::new(),
        width: 900,
        height: 700,
        luma: Plane::from_fn(900, 700, |x, y| f32::from(rgb.get_pixel(x as u32, y as u32)[0]) / 255.0),
        rgb,
        has_colour: true,
        camera: crate::photo::Camera { f35_mm: Some(900.0 * 43.266_615 / 900f64.hypot(700.0)), ..Default::default() },
    }
}
