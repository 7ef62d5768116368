//! Room 1: a photo file becomes a [`Photo`]: upright, in linear light, with what the camera said and without any place.

use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::raster::Plane;
use image::RgbImage;
use serde::Serialize;
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

impl Photo {
    /// Focal length in pixels from the 35 mm equivalent (diagonal convention: 43.2666 mm is the diagonal of 36 x 24).
    pub fn focal_px(&self) -> Option<f64> {
        self.camera.f35_mm.map(|f| f * (self.width as f64).hypot(self.height as f64) / 43.266_615)
    }
}

/// Reads and decodes one photo.
pub fn read(path: &Path, _options: &Options) -> Result<(Photo, Vec<Caveat>)> {
    Err(Error::new(Stage::Photo, path.display().to_string(), "not built yet", ""))
}
