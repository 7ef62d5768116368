//! Room 1: a photo file becomes a [`Photo`]: upright, in linear light, with what the camera said and without any place.

mod colour;
mod decode;
mod exif;
mod guard;
mod heic;
mod jpeg;
mod open;
mod profile;
mod upright;

pub use colour::{LUMINANCE, from_linear, to_linear};

use crate::caveat::COLOUR_PROFILE_UNREADABLE;
use crate::caveat::Caveat;
use crate::caveat::EXIF_UNREADABLE;
use crate::caveat::PHOTO_CROPPED;
use crate::error::{Error, Result, Stage};
use crate::geometry::Point;
use crate::raster::Plane;
use image::RgbImage;
use open::Format;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::path::Path;

/// Limits and switches of this room.
#[derive(Debug, Clone)]
pub struct Options {
    /// Largest accepted picture, pixels (width x height, read from the header before decoding). 200 MP: four times the
    /// largest phone picture; above it memory passes 3 GB.
    pub max_pixels: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self { max_pixels: 200_000_000 }
    }
}

/// What the camera wrote into the file. Location, serial numbers and owner names are never read into this.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Camera {
    pub make: Option<String>,
    pub model: Option<String>,
    /// Local time as written by the camera, `YYYY-MM-DDTHH:MM:SS`.
    pub taken: Option<String>,
    /// 35 mm equivalent focal length (by the frame's diagonal), mm; `None` when absent or 0.
    pub f35_mm: Option<f64>,
}

/// An upright photo.
#[derive(Debug, Clone)]
pub struct Photo {
    /// File name as given (no folder).
    pub file: String,
    pub sha256: String,
    pub width: usize,
    pub height: usize,
    /// Upright sRGB code values, for colour and for drawing on.
    pub rgb: RgbImage,
    /// Upright linear-light luminance (BT.709 weights), 0 to 1.
    pub luma: Plane,
    /// False for grey pictures: colour then says nothing.
    pub has_colour: bool,
    pub camera: Camera,
}

#[cfg(test)]
impl Photo {
    /// A photo of which only its size and its camera's 35 mm equivalent are looked at.
    pub fn blank(width: usize, height: usize, f35_mm: Option<f64>) -> Self {
        Self {
            file: "made.png".into(),
            sha256: String::new(),
            width,
            height,
            rgb: RgbImage::new(1, 1),
            luma: Plane::new(1, 1),
            has_colour: true,
            camera: Camera { f35_mm, ..Default::default() },
        }
    }
}

impl Photo {
    /// Focal length in pixels from the 35 mm equivalent (diagonal convention: 43.2666 mm is the diagonal of 36 x 24).
    pub fn focal_px(&self) -> Option<f64> {
        self.camera.f35_mm.map(|f| f * (self.width as f64).hypot(self.height as f64) / 43.266_615)
    }
    /// Whether a place lies on a pixel of the photo.
    pub fn holds(&self, px: Point) -> bool {
        (-0.5..=self.width as f64 - 0.5).contains(&px.x) && (-0.5..=self.height as f64 - 0.5).contains(&px.y)
    }
    /// Middle of the picture, px (pixel centres are whole numbers).
    pub fn centre(&self) -> Point {
        Point::new((self.width as f64 - 1.0) / 2.0, (self.height as f64 - 1.0) / 2.0)
    }
}

/// Reads and decodes the first picture of a JPEG, HEIC, PNG, TIFF or WebP file, told apart by content.
///
/// The picture comes back upright (EXIF orientation, or the rotation stored in a HEIC file, never both), its luminance
/// in linear light (16-bit files keep their precision), its camera facts without place, serial number or names.
///
/// Fails when the file is missing, a folder, empty, no picture of a known kind, larger than `options.max_pixels`
/// (judged by its header, before decoding), smaller than 64 pixels on a side, cut short or damaged. A broken EXIF block
/// is a caveat, not an error.
pub fn read(path: &Path, options: &Options) -> Result<(Photo, Vec<Caveat>)> {
    let subject = path.display().to_string();
    let data = bytes(path, options)?;
    let format =
        open::format_of(&data).map_err(|what| Error::new(Stage::Photo, subject.as_str(), what, open::READABLE))?;
    let facts = match format {
        Format::Heic => heic::facts(&data),
        _ => exif::facts(&data, false),
    };
    if format == Format::Tiff && facts.raw_preview {
        let what = "this is a raw camera file (only its small preview could be read)";
        return Err(Error::new(Stage::Photo, subject, what, open::READABLE));
    }
    let (decoded, sha256) =
        rayon::join(|| decode::decode(&subject, &data, format, options.max_pixels), || digest(&data));
    let mut caveats = Vec::new();
    let (mut decoded, space) = decoded?;
    let grey = decoded.channels < 3;
    if profile::to_srgb(&mut decoded, &space).is_err() {
        caveats.push(COLOUR_PROFILE_UNREADABLE.plain());
    }
    let (rgb, luma) = upright::upright(decoded, facts.orientation);
    let mut camera = facts.camera;
    if let Some(why) = facts.trouble {
        caveats.push(EXIF_UNREADABLE.with(format!("The camera's notes in the file (EXIF) are damaged: {why}.")));
    }
    if camera.f35_mm.is_some() && exif::cropped(facts.recorded, luma.width, luma.height) {
        camera.f35_mm = None;
        caveats.push(PHOTO_CROPPED.plain());
    }
    let photo = Photo {
        file: path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned(),
        sha256,
        width: luma.width,
        height: luma.height,
        has_colour: !grey && upright::has_colour(&rgb),
        rgb,
        luma,
        camera,
    };
    Ok((photo, caveats))
}

/// SHA-256 of a photo's file, as [`read`] gives it. Fails on a file that is missing, empty or far too long.
pub fn sha256(path: &Path, options: &Options) -> Result<String> {
    Ok(digest(&bytes(path, options)?))
}

fn bytes(path: &Path, options: &Options) -> Result<Vec<u8>> {
    open::bytes(path, options.max_pixels.saturating_mul(8).saturating_add(64 << 20))
}

fn digest(data: &[u8]) -> String {
    format!("{:x}", Sha256::digest(data))
}
