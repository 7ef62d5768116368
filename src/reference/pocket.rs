//! The planned pocket's rim: as a reference where there is no card, and to tell whether a card lies on the floor.

use super::edges::Edges;
use super::figure::{Candidate, Figure, examine};
use super::fit::Outline;
use super::lines::Line;
use super::profile::Profiler;
use super::quads::{Camera, Quad, pose, quads};
use crate::geometry::{PlaneView, Point};
use crate::plan::PlannedCut;
use rayon::prelude::*;

/// Shortest side of a pocket that may serve, px of the reduced picture, and most quads looked at.
const LEAST_SIDE: f64 = 60.0;
const MOST_QUADS: usize = 60;
const COARSE_SHAPE: f64 = 0.05;

/// Corner radius assumed where the plan names no cutter, mm (common practice, no source: 6 mm and 1/4 in cutters).
const USUAL_RADIUS_MM: f64 = 3.1;

/// Largest difference of scale between a pocket and a card beside it: a deep pocket seen from near (12 mm at 150 mm) and
/// its rim's own looseness.
const SCALE_SLACK: f64 = 0.03;

/// The rim as a figure: outer size of the plan, corners of the cutter's radius.
pub fn rim(plan: &PlannedCut) -> Option<Figure> {
    let (w, h) = plan.pocket_mm.filter(|(w, h)| *w > 0.0 && *h > 0.0 && w.is_finite() && h.is_finite())?;
    let radius = plan.cutter.diameter_mm.map_or(USUAL_RADIUS_MM, |d| d / 2.0).clamp(0.0, 0.45 * w.min(h));
    // The first side of a quad is the long one.
    Some(Figure { outline: Outline { width: w.max(h), height: w.min(h), radius }, innermost: false })
}

/// Quads of the reduced picture (photo px) that have the rim's shape, best first.
pub fn rim_quads(edges: &Edges, lines: &[Line], reduced: &Camera, figure: &Figure) -> Vec<Quad> {
    let size = (figure.outline.width, figure.outline.height);
    quads(lines, reduced, size, LEAST_SIDE, COARSE_SHAPE, MOST_QUADS)
        .into_iter()
        .map(|q| Quad { corners: q.corners.map(|c| Point::new(edges.full(c.x), edges.full(c.y))), ..q })
        .collect()
}

/// The rims among the quads looked at closely, best first.
pub fn rims(profiler: &Profiler, quads: &[Quad], figure: &Figure, camera: &Camera, reach_px: f64) -> Vec<Candidate> {
    let mut out: Vec<Candidate> =
        quads.par_iter().filter_map(|q| examine(profiler, q, figure, camera, reach_px)).collect();
    out.sort_by(|a, b| b.quality().total_cmp(&a.quality()));
    out
}

/// What makes a candidate the planned pocket: torn rims and worn edges leave gaps, but its four sides must show for the
/// most part, and its corners with the cutter's radius. Practice photos: true rims 0.95 and more, 0.9, 0.71; a floor taken
/// for the rim 0.95, 0.81, 0.54.
pub fn is_rim(c: &Candidate) -> bool {
    let least = c.sides.iter().copied().fold(f64::INFINITY, f64::min);
    c.side_share() >= RIM_SIDES
        && least >= RIM_ONE_SIDE
        && c.corner_share() >= RIM_CORNERS
        && c.fitted.residual_px < LARGEST_RIM_RMS_MM * c.px_per_mm
}

const RIM_SIDES: f64 = 0.7;
const RIM_ONE_SIDE: f64 = 0.5;
const RIM_CORNERS: f64 = 0.65;
const LARGEST_RIM_RMS_MM: f64 = 0.12;

/// One sigma of a pocket's width as cut, mm: runout, a spring pass, a rounded top edge (common practice, no source).
pub const RIM_SIZE_SIGMA_MM: f64 = 0.15;

/// Whether a quad (photo px) seen as the rim lies in a plane parallel to the card's at nearly the card's distance.
pub fn agrees(card: &PlaneView, quad: &Quad, figure: &Figure, camera: &Camera) -> bool {
    let own = Camera { focal_px: card.pose.focal_px, ..*camera };
    pose(&quad.corners, &own, (figure.outline.width, figure.outline.height)).is_some_and(|p| {
        let apart = p.normal().dot(&card.pose.normal()).clamp(-1.0, 1.0).acos().to_degrees();
        (p.distance() / card.pose.distance()).ln().abs() < SCALE_SLACK && apart < 6.0
    })
}

/// Whether a card lies inside (`Some(true)`) or beside (`Some(false)`) a quad that has the rim's size at the card's scale.
/// `None` where no such quad is seen.
pub fn holds_card(card: &PlaneView, quads: &[Quad], figure: &Figure, camera: &Camera) -> Option<bool> {
    let middle = card.forward(Point::default());
    quads.iter().find(|q| agrees(card, q, figure, camera)).map(|q| crate::geometry::contains(&q.corners, middle))
}
