//! Finds the pocket's outline: candidates from the plan's size and from what encloses a region, each tested by its edges.

use super::rectangle;
use super::search::Sight;
use crate::geometry::Point;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::rectify::FloorFrame;
use crate::reference::Reference;

/// An outline that was found.
pub struct Found {
    /// Floor frame (walls are vertical: the rim's x and y).
    pub outline: Vec<Point>,
    /// Direction of the pocket's own width, radians in the same frame, where straight walls show it.
    pub axis: Option<f64>,
    pub how: String,
}

pub fn find(photo: &Photo, frame: &FloorFrame, reference: Option<&Reference>, plan: &PlannedCut) -> Option<Found> {
    let sight = Sight::new(photo, frame, reference);
    let edges = sight.edges(1.2);
    let (w, h) = plan.pocket_mm?;
    frame.scale?;
    let (r, score) = rectangle::find(&sight, (w, h))?;
    let r = rectangle::refine(&sight, &edges, r);
    let q = r.corners();
    let s: Vec<_> = (0..4).map(|i| rectangle::support(&sight, &edges, q[i], q[(i + 1) % 4])).collect();
    let how =
        format!("rect {score:.2} {:?}", s.iter().map(|s| format!("{:.2} {:.1}", s.seen, s.drop)).collect::<Vec<_>>());
    let least = plan.cutter.diameter_mm.map_or(0.5, |d| d / 2.0);
    let radius = rectangle::corner_radius(&sight, &edges, &q, least, 1.0);
    Some(Found { outline: rectangle::rounded(&q, radius), axis: Some(r.angle), how })
}
