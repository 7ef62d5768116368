//! The rim from near: its most ragged stretch, cut from the photo.

use super::overlay::rim as ragged;
use super::{Picture, svg};
use crate::geometry::Point;
use crate::report::Inspection;

/// Width of what is shown, mm (5 to 10 burrs side by side), and height over width.
const SHOWN_MM: f64 = 16.0;
const SHAPE: f64 = 0.5;
/// Least width in picture pixels: a photo of 7 px per mm is enlarged to it.
const LEAST_PX: f64 = 900.0;

/// The stretch with the longest ragged piece in its middle; `None` where no piece is ragged.
pub(super) fn rim(i: &Inspection) -> Option<Picture> {
    let piece = i.marks.rim.pieces.first()?;
    let map = i.frame.rim();
    let middle = map.forward(*piece.points.get(piece.points.len() / 2)?);
    let px_per_mm = map.scale_at(piece.points[0]);
    let (w, h) = (SHOWN_MM * px_per_mm, SHOWN_MM * SHAPE * px_per_mm);
    let (width, height) = (f64::from(i.photo.rgb.width()), f64::from(i.photo.rgb.height()));
    let (w, h) = (w.min(width), h.min(height));
    let left = (middle.x - w / 2.0).clamp(0.0, width - w);
    let top = (middle.y - h / 2.0).clamp(0.0, height - h);
    let cut = image::imageops::crop_imm(&i.photo.rgb, left as u32, top as u32, w as u32, h as u32).to_image();
    if cut.width() < 8 || cut.height() < 8 {
        return None;
    }
    let k = (LEAST_PX / f64::from(cut.width())).max(1.0);
    let size = |n: u32| (f64::from(n) * k).round() as u32;
    let filter = image::imageops::FilterType::CatmullRom;
    let cut = image::imageops::resize(&cut, size(cut.width()), size(cut.height()), filter);
    let origin = Point::new(left.floor(), top.floor());
    let shapes = ragged(i, &|p| (map.forward(p) - origin) * k);
    Some(Picture { svg: svg::picture(&cut, &shapes, None), key: svg::key(&shapes, i) })
}
