//! Room 4: the floor plane at true scale: [`FloorFrame`] (the map) and [`FloorView`] (a resampled piece of it).

mod compare;
mod frame;
mod view;

pub use frame::frame;
pub use view::{light_view, view};

use crate::geometry::{PlaneMap, Point, Pose};
use crate::raster::Plane;
use crate::reference::Level;
use crate::reference::Source;
use crate::units::Measured;
use serde::Serialize;

/// The floor plane tied to the photo. Where no scale is known, `scale` is `None` and the "millimetres" of this frame are
/// photo pixels counted from the photo's centre.
#[derive(Debug, Clone)]
pub struct FloorFrame {
    /// Floor frame (mm, or px without scale; +x along the photo's +x at the middle of the floor) to photo pixels, with the
    /// lens' distortion where it was fitted.
    pub to_px: PlaneMap,
    /// mm per px at the photo's centre on the floor; `None` without a reference.
    pub scale: Option<Measured>,
    pub source: Option<Source>,
    pub residual_px: f64,
    /// The plane the reference lay on.
    pub level: Option<Level>,
    /// Whether the map was carried from the reference's plane to the floor by the camera's pose.
    pub floor_offset_corrected: bool,
    /// Relative change of scale that the carrying made (0.02 = 2 %: the floor lies 2 % farther than the reference).
    pub floor_offset_relative: f64,
    /// One sigma of that change: the focal length's, and the heights' over the camera's distance.
    pub floor_offset_sigma: f64,
    /// How much lower than the reference's face the floor was taken to lie, mm.
    pub floor_offset_mm: f64,
    /// Camera pose against the floor plane, where a focal length is known or assumed.
    pub pose: Option<Pose>,
    /// Map of the stock's top plane, in the same axes as `to_px`: a vertical wall's rim and foot have the same x and y.
    /// `None` without scale. Equal to `to_px` where the depth is unknown.
    pub rim_to_px: Option<PlaneMap>,
    /// How much higher than the floor the plane of `rim_to_px` lies, mm.
    pub rim_up_mm: f64,
    /// Every reference there was, as compared with the one this frame is made from, which comes first.
    pub compared: Vec<Compared>,
}

/// What one reference says about the scale at the floor against the one that the frame is made from.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Compared {
    pub source: Source,
    pub level: Level,
    /// mm per px by this reference over mm per px by the first one, less 1; sigma of that difference.
    pub relative_difference: Measured,
    /// Share in the weighted mean of the scale; 0 where it was left out.
    pub weight: f64,
}

impl FloorFrame {
    /// The frame of a known map, floor plane to photo px, about which nothing else is known. `scale`: mm per px at the
    /// photo's centre; `None` where the plane's unit is not a millimetre.
    pub fn from_homography(to_px: impl Into<PlaneMap>, scale: Option<Measured>) -> Self {
        let to_px = to_px.into();
        Self {
            rim_to_px: scale.is_some().then(|| to_px.clone()),
            to_px,
            scale,
            source: None,
            residual_px: 0.0,
            level: None,
            floor_offset_corrected: false,
            floor_offset_relative: 0.0,
            floor_offset_sigma: 0.0,
            floor_offset_mm: 0.0,
            pose: None,
            rim_up_mm: 0.0,
            compared: vec![],
        }
    }
    /// Map of the stock's top plane; the floor's where that is not known.
    pub fn rim(&self) -> &PlaneMap {
        self.rim_to_px.as_ref().unwrap_or(&self.to_px)
    }
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
    /// Near black they tend to 1.
    pub chroma: Option<(Plane, Plane)>,
    /// Samples of `luma` per sample of the chroma planes, laid out as [`Plane::shrink`] does: chroma sample i is centred
    /// at luma sample (i + 0.5) k - 0.5.
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
