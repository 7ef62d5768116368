//! The printed card of our own ([`crate::card`]), found by its saddle corners and told by its QR blocks.
//!
//! The reduced picture gives saddle corners ([`saddles`]), their links give lattices ([`lattice`]); the QR blocks in a
//! lattice say which card it is and how it lies ([`place`], [`code`]); then every corner the card has is looked for at full
//! size ([`refine`]) and the camera is fitted to them all ([`pose`]).

mod code;
mod lattice;
mod measure;
mod place;
mod pose;
mod refine;
mod saddles;

use super::quads::Camera;
use super::{Level, Reference, Source};
use crate::card::{Card, Form, PAPER_MM, Printed};
use crate::geometry::{PlaneMap, Point};
use crate::photo::Photo;
use crate::raster::Plane;
use crate::units::Measured;
use pose::Fit;
use std::sync::LazyLock;

/// A saddle corner of the card in the photo.
#[derive(Debug, Clone, Copy)]
pub struct Pair {
    /// Place on the print, mm about [`origin`].
    pub mm: Point,
    pub px: Point,
    /// One sigma of either coordinate, px.
    pub sigma_px: f64,
}

/// The card as found.
pub struct Find {
    pub form: Form,
    pub pairs: Vec<Pair>,
    /// Corners of the card that should lie in the photo.
    pub expected: usize,
    /// The camera over the print, origin at [`origin`], +x along the print's x, and the print's aspect.
    pub fit: Fit,
    /// Median distance of the corners from the fit, px.
    pub median_px: f64,
}

/// Long side of the picture searched, px. At 2000 the cells of a card seen at 5 px per mm in a 12-megapixel photo have 10
/// px, the least that shows; twice the size would cost four times the time.
const LONG_SIDE: usize = 2000;

/// Most lattices tried; parts of one card come first.
const MOST_LATTICES: usize = 6;

/// One sigma of a print's own size: a home printer keeps 100 mm within 0.3 mm or so (common practice, no source) unless it
/// shrinks the page, which only the measured bar tells; a bar read to 0.1 mm leaves 0.1 %.
const PRINTED_RELATIVE: f64 = 0.003;
const MEASURED_RELATIVE: f64 = 0.001;

static CARDS: LazyLock<Vec<Card>> = LazyLock::new(|| Form::ALL.into_iter().map(Card::of).collect());

/// Place on the drawn card that serves as origin, mm in the card frame: on the paper, in the middle of the pocket card and
/// of the first corner of the others.
pub fn origin(form: Form) -> Point {
    match form {
        Form::Pocket => middle(form),
        _ => Point::new(3.0, 3.0) * crate::card::PITCH_MM,
    }
}

/// Middle of the rectangle round the drawn card, mm in the card frame.
fn middle(form: Form) -> Point {
    CARDS
        .iter()
        .find(|c| c.form == form)
        .map_or(Point::default(), |c| Point::new(f64::from(c.cols), f64::from(c.rows)) * (c.pitch_mm() / 2.0))
}

/// Looks for the card in a photo; see [`find`].
pub fn search(photo: &Photo, printed: Option<Printed>) -> Option<Find> {
    find(&photo.luma, &super::search::camera(photo), printed)
}

/// Looks for the card in linear luminance. `camera`: what is known of it; `printed`: what the printer made of the sheet, if that was
/// measured.
///
/// `None` when no lattice of saddle corners carries one of the card's QR blocks, or too few of its corners agree.
pub fn find(luma: &Plane, camera: &Camera, printed: Option<Printed>) -> Option<Find> {
    let k = luma.width.max(luma.height).div_ceil(LONG_SIDE).max(1);
    let reduced = luma.shrink(k);
    let found = saddles::saddles(&reduced);
    let full = |p: Point| Point::new((p.x + 0.5) * k as f64 - 0.5, (p.y + 0.5) * k as f64 - 0.5);
    lattice::lattices(&found, step_across(&reduced)).into_iter().take(MOST_LATTICES).find_map(|l| {
        let placed = place::identify(luma, &l, &|p: Point| full(l.map.forward(p)), &CARDS)?;
        let card = code::card_of(&CARDS, placed.form)?;
        let first = card.saddles().into_iter().filter_map(|p| Some((p, full(*l.nodes.get(&placed.forward(p))?))));
        measure::measure(luma, camera, printed, card, first.collect())
    })
}

/// Contrast between two places: the difference of their brightness over the sum.
fn step_across(plane: &Plane) -> impl Fn(Point, Point) -> f64 {
    |a, b| {
        let (a, b) = (f64::from(plane.bilinear(a.x, a.y)), f64::from(plane.bilinear(b.x, b.y)));
        (a - b) / (a + b).max(1e-6)
    }
}

impl Find {
    /// The card as a reference on `level`; `printed` is what the user measured, if anything.
    pub fn reference(&self, photo: &Photo, printed: Option<Printed>, level: Level) -> Reference {
        let (fitted, view) = (&self.fit.fitted, self.fit.fitted.view.clone());
        let size = printed.map_or(PRINTED_RELATIVE, |_| MEASURED_RELATIVE);
        let scale = printed.unwrap_or_default();
        let about = scale.point(middle(self.form) - origin(self.form));
        let photo_middle = photo.centre();
        let focal = view.pose.focal_px;
        Reference {
            together: false,
            source: Source::Card,
            level,
            height_mm: PAPER_MM,
            residual_px: fitted.residual_px,
            relative_sigma: fitted.scale_sigma_at(photo_middle).hypot(size),
            at_px: view.forward(about),
            local_sigma: fitted.scale_sigma_at(view.forward(about)).hypot(size),
            outline_px: self.outline_px(scale),
            focal_px: Measured::new(focal, focal * fitted.focal_sigma()),
            to_px: PlaneMap::Lens(view),
        }
    }
    /// Outline of the paper in the photo. A window is part of it by way of a seam: along the outer edge, across, round the
    /// window and back, so that by the even-odd rule the window lies outside.
    fn outline_px(&self, printed: Printed) -> Vec<Point> {
        let outlines = CARDS.iter().find(|c| c.form == self.form).map(Card::outlines_mm).unwrap_or_default();
        let mut out = vec![];
        for ring in outlines {
            let n = ring.len();
            // Eighths of every edge follow the lens' bend.
            for k in 0..=8 * n {
                let p = ring[k / 8 % n].lerp(ring[(k / 8 + 1) % n], (k % 8) as f64 / 8.0);
                out.push(self.fit.forward(printed.point(p - origin(self.form))));
            }
        }
        out
    }
}

#[cfg(test)]
mod tests;
