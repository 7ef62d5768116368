//! Every corner of the known card looked for at full size, and the camera fitted to them all.

use super::super::quads::Camera;
use super::{Find, Pair, origin, pose, refine, saddles};
use crate::card::{Card, Printed};
use crate::geometry::{Homography, Point};
use crate::raster::Plane;
use rayon::prelude::*;

/// Least share of the card's corners in the photo that must be seen, and least number: a third of them covered, another
/// third lost to gloss and blur.
const LEAST_SHARE: f64 = 0.25;
const LEAST_CORNERS: usize = 12;

/// Largest median distance from the fit, cells: a print on paper that lies flat is straight to a hundredth of a cell.
const LARGEST_MEDIAN: f64 = 0.03;

/// Corners farther from the fit than this many times the scatter are left out.
const OUTLIER: f64 = 4.5;

/// Finds and fits every corner of a card, from some of its corners (lattice point and photo px) as the reduced picture
/// shows them. `None` when too few are found or they do not lie in one plane.
pub fn measure(
    luma: &Plane,
    camera: &Camera,
    printed: Option<Printed>,
    card: &Card,
    some: Vec<((i32, i32), Point)>,
) -> Option<Find> {
    let sigma = printed.map_or(pose::ASPECT_SIGMA, |_| pose::MEASURED_ASPECT_SIGMA);
    let known = pose::Known { camera, aspect_sigma: sigma };
    let printed = printed.unwrap_or_default();
    let mm = |p: (i32, i32)| printed.point(card.point_mm(p.0, p.1) - origin(card.form));
    let corners = card.saddles();
    let first: Vec<(Point, Point)> = some.into_iter().map(|(p, q)| (mm(p), q)).collect();
    let map = Homography::from_pairs(&first)?;
    let mut last: Option<(Vec<Pair>, pose::Fit)> = None;
    // The first look follows the lattice's own map, the next the camera fitted to it.
    for reach in [0.25, 0.15, 0.1] {
        let at = |p: Point| last.as_ref().map_or_else(|| map.forward(p), |l| l.1.forward(p));
        let step = card.pitch_mm();
        let mut pairs: Vec<Pair> = corners
            .par_iter()
            .filter_map(|&p| {
                let p = mm(p);
                let here = at(p);
                let cell =
                    at(p + Point::new(step, 0.0)).distance(here).min(at(p + Point::new(0.0, step)).distance(here));
                corner(luma, here, cell, reach).map(|q| Pair { mm: p, px: q.at, sigma_px: q.sigma_px })
            })
            .collect();
        let first = match &last {
            None => pose::first(&map, &pairs, &known)?,
            Some(l) => pose::fit(&l.1.fitted.view, &pairs, &known)?,
        };
        let scatter = median_px(&first, &pairs).max(0.02);
        pairs.retain(|q| first.forward(q.mm).distance(q.px) < OUTLIER * scatter);
        let fit = pose::fit(&first.fitted.view, &pairs, &known)?;
        last = Some((pairs, fit));
    }
    let (pairs, fit) = last?;
    let (w, h) = (luma.width as f64, luma.height as f64);
    let inside = |p: Point| p.x > 4.0 && p.y > 4.0 && p.x < w - 5.0 && p.y < h - 5.0;
    let expected = corners.iter().filter(|p| inside(fit.forward(mm(**p)))).count();
    let median_px = median_px(&fit, &pairs);
    let cell = fit.forward(Point::new(card.pitch_mm(), 0.0)).distance(fit.forward(Point::default()));
    let enough = pairs.len() >= LEAST_CORNERS && pairs.len() as f64 >= LEAST_SHARE * expected as f64;
    (enough && median_px < (LARGEST_MEDIAN * cell).max(0.4)).then_some(Find {
        form: card.form,
        pairs,
        expected,
        fit,
        median_px,
    })
}

fn median_px(fit: &pose::Fit, pairs: &[Pair]) -> f64 {
    let r: Vec<f64> = pairs.iter().map(|p| fit.forward(p.mm).distance(p.px)).collect();
    crate::stats::median(&r).unwrap_or(f64::INFINITY)
}

/// The corner within `reach` cells of a place, as seen at full size in a window of a cell's width.
fn corner(luma: &Plane, at: Point, cell: f64, reach: f64) -> Option<refine::Placed> {
    let radius = (0.4 * cell).clamp(3.5, 14.0);
    let near = |q: &Point| q.distance(at) < (reach * cell).max(1.0);
    let rough = refine::place(luma, at, radius).filter(near)?;
    let q = refine::balance(luma, rough, radius).filter(|q| near(&q.at))?;
    saddles::around(luma, q.at, (0.35 * cell).clamp(3.0, 14.0)).map(|_| q)
}
