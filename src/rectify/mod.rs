//! Room 4: the floor plane at true scale: [`FloorFrame`] (the map) and [`FloorView`] (a resampled piece of it).

use crate::caveat::Caveat;
use crate::geometry::{Homography, Point, Pose};
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::raster::Plane;
use crate::reference::Level;
use crate::reference::Reference;
use crate::reference::Source;
use crate::units::Measured;

/// The floor plane tied to the photo. Where no scale is known, `scale` is `None` and the "millimetres" of this frame are
/// photo pixels at the photo's centre.
#[derive(Debug, Clone)]
pub struct FloorFrame {
    /// Floor frame (mm, or px without scale; +x along the photo's +x at the middle of the floor) to photo pixels.
    pub to_px: Homography,
    /// mm per px at the photo's centre on the floor; `None` without a reference.
    pub scale: Option<Measured>,
    pub source: Option<Source>,
    pub residual_px: f64,
    /// The plane the reference lay on.
    pub level: Option<Level>,
    /// Whether the map was carried from the reference's plane to the floor by the camera's pose.
    pub floor_offset_corrected: bool,
    /// Relative change of scale that the carrying made (0.02 = 2 %).
    pub floor_offset_relative: f64,
    /// Camera pose against the floor plane, where a focal length is known or assumed.
    pub pose: Option<Pose>,
    /// The reference plane's own map (rim), in the same axes as `to_px`, for finding the rim.
    pub rim_to_px: Option<Homography>,
}

/// A resampled piece of the floor plane. Sample (i, j) lies at `origin + (i, j) * step` in the floor frame.
#[derive(Debug, Clone)]
pub struct FloorView {
    pub origin: Point,
    /// Floor-frame units per sample (mm, or px without scale).
    pub step: f64,
    /// Linear-light luminance.
    pub luma: Plane,
    /// Linear-light red / green and blue / green ratios at reduced size (see `chroma_shrink`); `None` for grey photos.
    pub chroma: Option<(Plane, Plane)>,
    /// Samples of `luma` per sample of the chroma planes.
    pub chroma_shrink: usize,
}

impl FloorView {
    pub fn to_floor(&self, i: f64, j: f64) -> Point {
        Point::new(self.origin.x + i * self.step, self.origin.y + j * self.step)
    }
    pub fn to_sample(&self, p: Point) -> Point {
        (p - self.origin) * (1.0 / self.step)
    }
}

/// Carries the reference to the floor plane.
pub fn frame(_photo: &Photo, _reference: Option<&Reference>, _plan: &PlannedCut) -> (FloorFrame, Vec<Caveat>) {
    unimplemented!()
}

impl FloorFrame {
    /// The same frame turned and shifted so that +x runs along the photo's +x at the photo point `middle` and the
    /// origin stays where it was.
    pub fn aligned_at(&self, _middle: Point) -> Self {
        unimplemented!()
    }
}

/// Resamples the floor rectangle from `min` to `max` (floor frame) with the given step.
pub fn view(_photo: &Photo, _frame: &FloorFrame, _min: Point, _max: Point, _step: f64) -> FloorView {
    unimplemented!()
}
