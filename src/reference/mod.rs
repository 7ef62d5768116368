//! Room 3: known points found (or given) in the photo become a [`Reference`]: a plane in millimetres tied to pixels.

mod about;
mod beside;
mod coin;
mod coin_ellipse;
mod descent;
#[cfg(test)]
mod drawn;
mod edges;
mod figure;
pub(crate) mod fit;
mod given;
mod id1;
mod lines;
mod nested;
pub mod own;
mod pocket;
mod polarity;
mod pose_fit;
mod profile;
mod quads;
mod ruler;
mod ruler_comb;
mod ruler_read;
mod ruler_unit;
mod search;
mod three;
mod votes;

use crate::card::Printed;
use crate::caveat;
use crate::caveat::Caveat;
use crate::error::Result;
use crate::geometry::{PlaneMap, Point};
use crate::photo::Photo;
use crate::plan::{Coin, PlannedCut, ReferenceKind, Tick};
use crate::units::Measured;
use fit::Fitted;
pub use quads::STEEPEST_DEG;
use serde::Serialize;

/// What gave the scale; the names are those of report.json.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
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

impl Source {
    /// The source in plain words.
    pub fn name(self) -> &'static str {
        match self {
            Source::Card => "a printed card",
            Source::Id1 => "a bank-card sized card",
            Source::Points => "the points you gave",
            Source::Ruler => "a rule",
            Source::Coin => "a coin",
            Source::Pocket => "the pocket's planned size",
            Source::CornerRadius => "the cutter's radius in the corners",
            Source::Given => "the scale you gave",
        }
    }
    /// What the user gave wins over what was found.
    pub fn by_hand(self) -> bool {
        matches!(self, Source::Points | Source::Given)
    }
    /// Which reference the floor's map is made from, smallest first: references by hand, then those that fix the whole
    /// plane (the more points the better), then those that only give a length.
    fn rank(self) -> usize {
        const ORDER: [Source; 8] = [
            Source::Points,
            Source::Given,
            Source::Card,
            Source::Id1,
            Source::Pocket,
            Source::Ruler,
            Source::Coin,
            Source::CornerRadius,
        ];
        ORDER.iter().position(|s| *s == self).unwrap_or(ORDER.len())
    }
}

/// Which plane of the work a reference lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    Rim,
    Floor,
}

#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Known points: photo pixels to millimetres on the reference plane.
    pub points: Vec<(Point, Point)>,
    /// Two photo points and the millimetres between them.
    pub distance: Option<(Point, Point, f64)>,
    /// Known scale of a flat scan, mm per px.
    pub mm_per_px: Option<f64>,
    /// What gives the scale, where the user says so; nothing else is then looked for.
    pub kind: Option<ReferenceKind>,
    pub coin: Option<Coin>,
    /// What neighbouring ticks of the rule are apart.
    pub tick: Option<Tick>,
    /// Two points on the ticked edge of the rule, photo px.
    pub edge_px: Option<(Point, Point)>,
    /// Height of the reference's face above the plane it lies on, mm; our own printed card's, where it is seen.
    pub height_mm: Option<f64>,
    /// The plane the reference lies on, where the user says so.
    pub level: Option<Level>,
    /// Do not look for a card or the planned pocket when nothing is given.
    pub no_search: bool,
    /// Do not look for a card (the planned pocket may still give the scale).
    pub skip_card: bool,
    /// What the printer made of our own card, where the user measured it; wins over the plan's.
    pub card_measured: Option<Printed>,
}

/// A plane in millimetres tied to photo pixels.
#[derive(Debug, Clone)]
pub struct Reference {
    /// Reference-plane millimetres (x right, y down in the reference's own frame) to photo pixels: by the fitted camera with
    /// its lens, or by a homography where no camera was fitted.
    pub to_px: PlaneMap,
    pub source: Source,
    pub level: Level,
    /// Height of the reference's face above the level it lies on, mm (0.76 for a card).
    pub height_mm: f64,
    /// Rms distance of the used points or edge samples from the fitted map, px.
    pub residual_px: f64,
    /// One-sigma relative error of a length on the reference plane at the photo's middle.
    pub relative_sigma: f64,
    /// Where in the photo the reference lies (its middle), px.
    pub at_px: Point,
    /// One-sigma relative error of a length on the reference plane at `at_px`: smaller than `relative_sigma` where the
    /// tilt is uncertain.
    pub local_sigma: f64,
    /// Outline of the object in photo pixels, to be left out of the floor; empty for points.
    pub outline_px: Vec<Point>,
    /// Focal length as known after the fit, px: what the file said and the reference's own perspective together; `None`
    /// for references that do not fit a camera.
    pub focal_px: Option<Measured>,
    /// Whether the camera was fitted to this one and another together: what these say of the scale is one and the same.
    pub together: bool,
}

/// What is known of a reference besides the camera fitted to it.
pub(crate) struct Object {
    pub source: Source,
    pub level: Level,
    pub height_mm: f64,
    /// One sigma of its own size, relative.
    pub size_sigma: f64,
    /// Its middle on its own plane, mm.
    pub about: Point,
    pub outline_px: Vec<Point>,
}

/// From which doubt on, relative, the lens earns a caveat: the error that 95 of 100 photos are to stay under.
const LENS_DOUBT: f64 = 0.003;

impl Reference {
    /// The reference to which a camera was fitted, and a caveat where it says too little of the lens for the middle of the
    /// photo.
    pub(crate) fn from_fit(fitted: &Fitted, photo: &Photo, object: Object) -> (Self, Option<Caveat>) {
        let view = fitted.view.clone();
        let middle = photo.centre();
        let (at_px, focal) = (view.forward(object.about), view.pose.focal_px);
        let lens = fitted.lens_sigma(middle, at_px);
        let caveat = (lens > LENS_DOUBT).then(|| {
            caveat::LENS_UNKNOWN.with(format!(
                "The scale comes from {} that covers too little of the photo to show how the lens bends it: at the photo's \
                 middle this leaves a doubt of {:.1} %.",
                object.source.name(),
                100.0 * lens
            ))
        });
        let reference = Self {
            source: object.source,
            level: object.level,
            height_mm: object.height_mm,
            residual_px: fitted.residual_px,
            relative_sigma: fitted.scale_sigma_at(middle).hypot(object.size_sigma),
            at_px,
            local_sigma: fitted.scale_sigma_at(at_px).hypot(object.size_sigma),
            outline_px: object.outline_px,
            focal_px: Measured::new(focal, focal * fitted.focal_sigma()),
            to_px: PlaneMap::Lens(view),
            together: false,
        };
        (reference, caveat)
    }
    /// The same reference with more doubt of its scale (relative, one sigma).
    pub(crate) fn doubted(self, relative: f64) -> Self {
        let (relative_sigma, local_sigma) = (self.relative_sigma.hypot(relative), self.local_sigma.hypot(relative));
        Self { relative_sigma, local_sigma, ..self }
    }
    /// The same reference with its millimetres `k` times smaller: what was 1 mm is `k` mm. Its own height stays.
    pub fn scaled(&self, k: f64) -> Self {
        Self { to_px: self.to_px.scaled(k), ..self.clone() }
    }
}

/// Main lens of a phone where the file does not say: 26 mm equivalent (common practice, no source; phones since 2015 lie
/// between 24 and 29 mm). 15 % covers a change of the picture's format and light cropping, not a tele lens.
const ASSUMED_F35_MM: f64 = 26.0;
pub const ASSUMED_F35_RELATIVE: f64 = 0.15;

/// Doubt of a 35 mm equivalent in the file: the two conventions (diagonal or long side) differ by 4 % on a 4:3 sensor and
/// the value is rounded to whole millimetres, 2 % at 26 mm.
pub const CAMERA_F35_RELATIVE: f64 = 0.03;

/// Focal length in pixels of the lens that is assumed where the file does not say.
pub fn assumed_focal_px(photo: &Photo) -> f64 {
    ASSUMED_F35_MM * (photo.width as f64).hypot(photo.height as f64) / 43.266_615
}

/// Finds the references, the one to make the floor's map from first: known points, a known scale, then what is searched
/// for in the photo. What is given by hand wins; what else is found then only serves to compare.
///
/// Empty when there is none (rectify raises the caveat): not an error. Fails on points that cannot fix a plane and on a
/// scale that is not positive.
pub fn find(photo: &Photo, plan: &PlannedCut, options: &Options) -> Result<(Vec<Reference>, Vec<Caveat>)> {
    let given = !options.points.is_empty() || options.distance.is_some();
    let points = if !given { &plan.reference.points } else { &options.points };
    let on_floor = |f: bool| if f { Level::Floor } else { Level::Rim };
    let level = options.level.or(plan.reference.on_floor.map(on_floor));
    let height_mm = options.height_mm.or(plan.reference.height_mm).unwrap_or(0.0);
    let (mut all, mut caveats) = (vec![], vec![]);
    if !points.is_empty() {
        let (reference, new) = given::from_points(photo, points, level, height_mm)?;
        all.push(reference);
        caveats.extend(new);
    } else if let Some(distance) = options.distance {
        let (reference, new) = given::from_distance(photo, distance, level, height_mm)?;
        all.push(reference);
        caveats.extend(new);
    } else if let Some(mm_per_px) = options.mm_per_px.or(plan.reference.mm_per_px) {
        all.push(given::from_scale(photo, mm_per_px, level)?);
    }
    if !options.no_search && options.kind.or(plan.reference.kind) != Some(ReferenceKind::None) {
        // The level by hand is that of the reference by hand, where there is one.
        let level = level.filter(|_| all.is_empty());
        let (found, new) = search::search(photo, plan, level, options);
        if all.is_empty() {
            caveats.extend(new);
        }
        all.extend(found);
    }
    all.sort_by_key(|r| r.source.rank());
    Ok((all, caveats))
}
