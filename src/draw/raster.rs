//! Shapes as pixels, for the stage records.

use super::Shape;
use image::{Rgb, RgbImage};
use imageproc::drawing::draw_antialiased_line_segment_mut;
use imageproc::pixelops::interpolate;

/// Draws shapes onto a picture; what lies outside is cut off.
pub(super) fn draw_shapes(picture: &mut RgbImage, shapes: &[Shape]) {
    for s in shapes {
        let n = s.points.len();
        let last = if s.closed { n } else { n.saturating_sub(1) };
        for i in 0..last {
            let (a, b) = (s.points[i], s.points[(i + 1) % n]);
            let far = |v: f64| !v.is_finite() || v.abs() > 1e5;
            if far(a.x) || far(a.y) || far(b.x) || far(b.y) {
                continue;
            }
            let steep = (b.y - a.y).abs() > (b.x - a.x).abs();
            let w = s.ink.width().round() as i32;
            for o in 0..w {
                let d = o - w / 2;
                let at = |p: crate::geometry::Point| {
                    let (dx, dy) = if steep { (d, 0) } else { (0, d) };
                    (p.x.round() as i32 + dx, p.y.round() as i32 + dy)
                };
                draw_antialiased_line_segment_mut(picture, at(a), at(b), Rgb(s.ink.rgb()), interpolate);
            }
        }
    }
}
