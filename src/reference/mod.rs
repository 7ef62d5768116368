//! Room 3: known points found (or given) in the photo become a [`Reference`]: a plane in millimetres tied to pixels.

mod given;

use crate::caveat::Caveat;
use crate::error::Result;
use crate::geometry::{Homography, Point};
use crate::photo::Photo;
use crate::plan::PlannedCut;
use serde::Serialize;

/// What gave the scale; the names are those of report.json.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    Card,
    Id1,
    Points,
    Ruler,
    Coin,
    Pocket,
    CornerRadius,
    Given,
}

/// Which plane of the work a reference lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    Rim,
    Floor,
}

#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Known points: photo pixels to millimetres on the reference plane.
    pub points: Vec<(Point, Point)>,
    /// Known scale of a flat scan, mm per px.
    pub mm_per_px: Option<f64>,
    /// The plane the reference lies on, where the user says so.
    pub level: Option<Level>,
    /// Look for no card even if none is given otherwise.
    pub no_search: bool,
}

/// A plane in millimetres tied to photo pixels.
#[derive(Debug, Clone)]
pub struct Reference {
    /// Reference-plane millimetres (x right, y down in the reference's own frame) to photo pixels.
    pub to_px: Homography,
    pub source: Source,
    pub level: Level,
    /// Height of the reference's face above the level it lies on, mm (0.76 for a card).
    pub height_mm: f64,
    /// Rms distance of the used points or edge samples from the fitted map, px.
    pub residual_px: f64,
    /// One-sigma relative error of a length on the reference plane at the reference.
    pub relative_sigma: f64,
    /// Outline of the object in photo pixels, to be left out of the floor; empty for points.
    pub outline_px: Vec<Point>,
    /// Focal length estimated from the reference's own perspective, px, with sigma (only where it is significant).
    pub focal_px: Option<crate::units::Measured>,
}

/// Finds the reference: known points, else a known scale, else what is searched for in the photo.
///
/// `None` when there is none (rectify raises the caveat): not an error. Fails on points that cannot fix a plane and on a
/// scale that is not positive.
pub fn find(photo: &Photo, plan: &PlannedCut, options: &Options) -> Result<(Option<Reference>, Vec<Caveat>)> {
    let points = if options.points.is_empty() { &plan.reference.points } else { &options.points };
    let on_floor = |f: bool| if f { Level::Floor } else { Level::Rim };
    let level = options.level.or(plan.reference.on_floor.map(on_floor));
    if !points.is_empty() {
        return given::from_points(photo, points, level).map(|(r, c)| (Some(r), c));
    }
    if let Some(mm_per_px) = options.mm_per_px.or(plan.reference.mm_per_px) {
        return given::from_scale(photo, mm_per_px, level).map(|r| (Some(r), vec![]));
    }
    Ok((None, vec![]))
}
