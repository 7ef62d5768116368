//! All drawing in one place: what the rooms found, laid over the photo and over the rectified floor, and two plots.
//! Nothing here measures. Vector shapes are made once ([`overlay`]) and put on paper as SVG or as pixels.

mod floor;
pub mod forecast;
pub mod guide;
mod history;
mod ink;
mod overlay;
mod pair;
mod plot;
mod raster;
pub mod record;
mod request;
mod rim;
mod sheet;
mod svg;

pub use history::history;
pub use pair::pair;
pub use request::{request_drawings, request_pdf};
pub use sheet::{Item, Paper, Sheet};

use ink::Ink;
use overlay::{Shape, foretold, on_floor, on_photo};

use crate::floor::Patch;
use crate::photo::Photo;
use crate::report::{Inspection, Picture, Pictures};
use image::RgbImage;

/// Longest side of a picture in the report, pixels. A full-width A4 print at 200 dpi needs 1500.
const REPORT_SIDE: u32 = 1600;

/// Longest side of the photo in the page to mark it by hand, pixels: a 12 MP photo stays whole, larger ones lose what no
/// hand can place.
const MARK_SIDE: u32 = 4096;

/// The photo alone, without anything its file carried, as a data URI.
pub fn embedded(photo: &Photo) -> String {
    svg::data_uri(&reduced(photo, MARK_SIDE).0)
}

/// The pictures of a report.
pub fn pictures(inspection: &Inspection) -> Pictures {
    let ((photo, floor), (profile, spectrum, rim)) = rayon::join(
        || rayon::join(|| photo_pictures(inspection), || floor_picture(inspection, &inspection.patch)),
        || (plot::profile(inspection), plot::spectrum(inspection), rim::rim(inspection)),
    );
    let (photo, foretold) = photo;
    let other = |patch: &Patch| floor_picture(inspection, patch);
    let (relief, colour) = match &inspection.opposite {
        Some(p) => (Some(other(&p.relief)), Some(other(&p.colour))),
        None => (None, None),
    };
    Pictures { photo, floor, relief, colour, foretold, profile, spectrum, rim }
}

/// Longest side of a thumbnail, pixels: three to a row fill a page, and a thousand of them take about 10 MB.
const THUMBNAIL_SIDE: u32 = 320;

/// The photo as a small JPEG, made from its pixels alone.
pub fn thumbnail(photo: &Photo) -> Vec<u8> {
    svg::jpeg(&reduced(photo, THUMBNAIL_SIDE).0)
}

/// The photo reduced to at most `side` pixels on its longer side, and the factor (under 1 when reduced).
fn reduced(photo: &Photo, side: u32) -> (RgbImage, f64) {
    let k = f64::from(side) / f64::from(photo.rgb.width().max(photo.rgb.height()));
    if k >= 1.0 {
        return (photo.rgb.clone(), 1.0);
    }
    let size = |n: u32| ((f64::from(n) * k).round() as u32).max(1);
    (image::imageops::thumbnail(&photo.rgb, size(photo.rgb.width()), size(photo.rgb.height())), k)
}

/// The photo with what was found, and with what the plan foretells where it could be laid on the floor.
fn photo_pictures(i: &Inspection) -> (Picture, Option<Picture>) {
    let (base, k) = reduced(&i.photo, REPORT_SIDE);
    let drawn = |shapes: Vec<Shape>| Picture { svg: svg::picture(&base, &shapes, None), key: svg::key(&shapes, i) };
    let laid = i.explanation.predicted.as_ref().filter(|p| !p.entries.is_empty());
    (drawn(on_photo(i, k)), laid.map(|p| drawn(foretold(i, p, k))))
}

fn floor_picture(i: &Inspection, patch: &Patch) -> Picture {
    let (base, k) = floor::flattened(patch, REPORT_SIDE as usize);
    let shapes = on_floor(i, k);
    let bar = overlay::scale_bar(i, k, f64::from(base.width()));
    Picture { svg: svg::picture(&base, &shapes, bar), key: svg::key(&shapes, i) }
}
