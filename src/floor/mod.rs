//! Room 5: which pixels are lit, sharp pocket floor; the walls' shadow; the lamp's side and height.

use crate::caveat::Caveat;
use crate::error::Result;
use crate::geometry::Point;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::raster::Mask;
use crate::rectify::{FloorFrame, FloorView};
use crate::reference::Reference;
use crate::units::Measured;
use serde::Serialize;

#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Outline given by the user, photo pixels; three or more points.
    pub outline_px: Vec<Point>,
    /// Lamp given by the user.
    pub light_from_deg: Option<f64>,
    pub light_elevation_deg: Option<f64>,
}

/// How the lamp's place is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LightSource {
    Given,
    WallShadow,
}

/// The lamp: direction the light comes from (floor frame, degrees) and elevation above the floor at its middle.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Light {
    pub from_deg: Option<Measured>,
    pub elevation_deg: Option<Measured>,
    pub source: Option<LightSource>,
}

/// The lit floor, ready to be measured.
#[derive(Debug, Clone)]
pub struct Patch {
    /// Full-resolution piece of the floor plane that holds the whole outline.
    pub view: FloorView,
    /// True where `view` shows lit, sharp, flat pocket floor (walls, shadows, letters, card, chips, clipped left out).
    pub mask: Mask,
    /// Outline of the pocket's floor, floor frame and photo pixels, same points.
    pub outline: Vec<Point>,
    pub outline_px: Vec<Point>,
    /// Outlines of what stands inside (letters, islands, card), floor frame.
    pub islands: Vec<Vec<Point>>,
    /// Direction of the pocket's own +x (its width) in the floor frame, degrees, where the outline shows straight walls.
    pub pocket_x_deg: Option<f64>,
    pub light: Light,
    /// True where the outline was given, false where it was found.
    pub outline_given: bool,
    /// Area of the used floor, floor-frame units squared.
    pub area: f64,
    /// Used share of the area inside the outline.
    pub used_fraction: f64,
    /// Share of the floor inside the outline that is burnt out / black.
    pub burnt_fraction: f64,
    pub black_fraction: f64,
    /// Width of the blur of the sharpest edges around the floor (one-sigma of a Gaussian edge), photo pixels.
    pub blur_px: Option<f64>,
    /// Mean linear luminance of the lit floor over that of the walls' shadow: 1 = no shadow at all.
    pub shadow_contrast: Option<f64>,
    /// How the outline was found, for the reader: one short sentence.
    pub how: String,
}

/// Finds the floor. Fails when nothing in the photo can be a lit floor at all (all black, all burnt out, too small).
pub fn find(
    _photo: &Photo,
    _frame: &FloorFrame,
    _reference: Option<&Reference>,
    _plan: &PlannedCut,
    _options: &Options,
) -> Result<(FloorFrame, Patch, Vec<Caveat>)> {
    unimplemented!()
}
