//! The printed card of our own ([`crate::card`]), found by its saddle corners and told by its QR blocks.
//!
//! The reduced picture gives saddle corners ([`saddles`]), their links give lattices ([`lattice`]); the QR blocks in a
//! lattice say which card it is and how it lies ([`place`], [`code`]); then every corner the card has is looked for at full
//! size ([`refine`]) and the camera is fitted to them all ([`pose`]).

mod code;
mod lattice;
mod place;
mod pose;
mod refine;
mod saddles;

use super::fit::Fitted;
use super::quads::Camera;
use crate::card::{Card, Form, Printed};
use crate::geometry::{Homography, PlaneView, Point};
use crate::photo::Photo;
use crate::raster::Plane;
use lattice::Lattice;
use place::Placement;
use rayon::prelude::*;
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
    /// The camera over the print, origin at [`origin`], +x along the print's x.
    pub fitted: Fitted,
    /// Median distance of the corners from the fit, px.
    pub median_px: f64,
}

/// Long side of the picture searched, px. At 2000 the cells of a card seen at 5 px per mm in a 12-megapixel photo have 10
/// px, the least that shows; twice the size would cost four times the time.
const LONG_SIDE: usize = 2000;

/// Most lattices tried; parts of one card come first.
const MOST_LATTICES: usize = 6;

static CARDS: LazyLock<Vec<Card>> = LazyLock::new(|| Form::ALL.into_iter().map(Card::of).collect());

/// Place on the drawn card that serves as origin, mm in the card frame: on the paper, in the middle of the pocket card and
/// of the first corner of the others.
pub fn origin(form: Form) -> Point {
    let card = &CARDS[Form::ALL.iter().position(|f| *f == form).unwrap_or(0)];
    match form {
        Form::Pocket => Point::new(f64::from(card.cols), f64::from(card.rows)) * (card.pitch_mm() / 2.0),
        _ => Point::new(3.0, 3.0) * card.pitch_mm(),
    }
}

/// Looks for the card in a photo; see [`find`].
pub fn search(photo: &Photo, printed: Printed) -> Option<Find> {
    find(&photo.luma, &super::search::camera(photo), printed)
}

/// Looks for the card in linear luminance. `camera`: what is known of it; `printed`: what the printer made of the sheet.
///
/// `None` when no lattice of saddle corners carries one of the card's QR blocks, or too few of its corners agree.
pub fn find(luma: &Plane, camera: &Camera, printed: Printed) -> Option<Find> {
    let k = luma.width.max(luma.height).div_ceil(LONG_SIDE).max(1);
    let reduced = luma.shrink(k);
    let found = saddles::saddles(&reduced);
    let contrast = |a: Point, b: Point| {
        let (a, b) = (f64::from(reduced.bilinear(a.x, a.y)), f64::from(reduced.bilinear(b.x, b.y)));
        (a - b) / (a + b).max(1e-6)
    };
    let full = |p: Point| Point::new((p.x + 0.5) * k as f64 - 0.5, (p.y + 0.5) * k as f64 - 0.5);
    lattice::lattices(&found, contrast).into_iter().take(MOST_LATTICES).find_map(|l| {
        let to_px = |p: Point| full(l.map.forward(p));
        let placed = place::identify(luma, &l, &to_px, &CARDS)?;
        let card = code::card_of(&CARDS, placed.form)?;
        measure(luma, camera, printed, card, &placed, &l, &full)
    })
}

/// Least share of the card's corners in the photo that must be seen, and least number: a third of them covered, another
/// third lost to gloss and blur.
const LEAST_SHARE: f64 = 0.25;
const LEAST_CORNERS: usize = 12;

/// Largest median distance from the fit, cells: a print on paper that lies flat is straight to a hundredth of a cell.
const LARGEST_MEDIAN: f64 = 0.03;

/// Corners farther from the fit than this many times the scatter are left out.
const OUTLIER: f64 = 4.5;

fn measure(
    luma: &Plane,
    camera: &Camera,
    printed: Printed,
    card: &Card,
    placed: &Placement,
    lattice: &Lattice,
    full: &impl Fn(Point) -> Point,
) -> Option<Find> {
    let middle = origin(card.form);
    let mm = |p: (i32, i32)| printed.point(card.point_mm(p.0, p.1) - middle);
    let corners: Vec<(i32, i32)> = card.saddles();
    // The lattice's own corners fix the first map.
    let first: Vec<(Point, Point)> = corners
        .iter()
        .filter_map(|&p| Some((mm(p), full(*lattice.nodes.get(&placed.forward(p))?))))
        .collect();
    let map = Homography::from_pairs(&first)?;
    let mut view = pose::start(&map, camera)?;
    let mut last = None;
    // The first look follows the lattice's own map, the next the camera fitted to it.
    for (round, reach) in [0.25, 0.15, 0.1].into_iter().enumerate() {
        let at = |p: Point| if round == 0 { map.forward(p) } else { view.forward(p) };
        let step = card.pitch_mm();
        let mut pairs: Vec<Pair> = corners
            .par_iter()
            .filter_map(|&p| {
                let p = mm(p);
                let here = at(p);
                let cell = at(p + Point::new(step, 0.0)).distance(here).min(at(p + Point::new(0.0, step)).distance(here));
                corner(luma, here, cell, reach).map(|q| Pair { mm: p, px: q.at, sigma_px: q.sigma_px })
            })
            .collect();
        let fitted = pose::fit(&view, &pairs, camera)?;
        let scatter = median_px(&fitted.view, &pairs).max(0.02);
        pairs.retain(|q| fitted.view.forward(q.mm).distance(q.px) < OUTLIER * scatter);
        let fitted = pose::fit(&fitted.view, &pairs, camera)?;
        view = fitted.view.clone();
        last = Some((pairs, fitted));
    }
    let (pairs, fitted) = last?;
    let (w, h) = (luma.width as f64, luma.height as f64);
    let inside = |p: Point| p.x > 4.0 && p.y > 4.0 && p.x < w - 5.0 && p.y < h - 5.0;
    let expected = corners.iter().filter(|p| inside(view.forward(mm(**p)))).count();
    let median_px = median_px(&view, &pairs);
    let cell = view.forward(Point::new(card.pitch_mm(), 0.0)).distance(view.forward(Point::default()));
    let enough = pairs.len() >= LEAST_CORNERS && pairs.len() as f64 >= LEAST_SHARE * expected as f64;
    (enough && median_px < (LARGEST_MEDIAN * cell).max(0.4)).then_some(Find {
        form: card.form,
        pairs,
        expected,
        fitted,
        median_px,
    })
}

fn median_px(view: &PlaneView, pairs: &[Pair]) -> f64 {
    let r: Vec<f64> = pairs.iter().map(|p| view.forward(p.mm).distance(p.px)).collect();
    crate::stats::median(&r).unwrap_or(f64::INFINITY)
}

/// The corner within `reach` cells of a place, as seen at full size in a window of a cell's width.
fn corner(luma: &Plane, at: Point, cell: f64, reach: f64) -> Option<refine::Placed> {
    let radius = (0.4 * cell).clamp(3.5, 16.0);
    let q = refine::place(luma, at, radius).filter(|q| q.at.distance(at) < (reach * cell).max(1.0))?;
    saddles::around(luma, q.at, (0.35 * cell).clamp(3.0, 14.0)).map(|_| q)
}
