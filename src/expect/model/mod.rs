//! The floor that a plan leaves, by geometry: every pass in cutting order ([`passes`]), what of its front is still stock
//! and the forces that follow ([`engage`]), the shape its bottom sweeps ([`sweep`]), and the lowest of all passes under
//! each cause ([`relief`]).
//!
//! Pocket frame: millimetres, origin at the corner that the plan's width and height start from, x along the width, y
//! down, seen from above. Heights in micrometres, up positive, over the median floor.

pub mod engage;
pub mod free;
pub mod passes;
pub mod relief;
pub mod sweep;

pub use free::Free;
pub use passes::{Begin, Passes};
pub use relief::{LaidEdge, LaidStrip, Relief};
pub use sweep::Nose;

use super::Cause;
use crate::geometry::Point;
use crate::plan::PlannedCut;
use engage::Piece;
use sweep::Near;

/// Passes, loads and the index over them: everything about a plan that no cause changes.
#[derive(Debug, Clone)]
pub struct Model {
    pub passes: Passes,
    pub pieces: Vec<Piece>,
    near: Near,
}

impl Model {
    /// The passes of a plan, or of its cutting file, with their loads. `begin` is the side that the passes start from; a
    /// cutting file says that itself.
    ///
    /// `None` without a cutter diameter and a stepover, or where the pocket is no wider than the cutter.
    pub fn new(plan: &PlannedCut, begin: Begin) -> Option<Self> {
        let passes = passes::passes(plan, begin)?;
        let (pieces, near) = engage::cut(&passes);
        Some(Self { passes, pieces, near })
    }
}

/// What one cause leaves where the passes begin at one wall.
#[derive(Debug, Clone, PartialEq)]
pub struct Laid {
    pub begin: Begin,
    /// Direction across the passes, away from the wall where they begin, degrees in the pocket's frame, [0, 360).
    pub away_deg: f64,
    /// Way across the pocket, mm; `None` where neither plan nor cutting file gives the pocket's size.
    pub width_mm: Option<f64>,
    /// In order of their place; heights scale with the free number, their signs and ratios do not.
    pub edges: Vec<LaidEdge>,
    pub strips: Vec<LaidStrip>,
}

/// Edges and strips that a cause leaves across the passes, through the middle of the pocket: once for either wall that the
/// passes may begin at, or once where a cutting file says it. Loops: from the wall inwards, and from the middle outwards.
///
/// Empty where the plan has no cutter diameter or stepover. Edges of less than a thousandth of a micrometre are left out.
pub fn laid(cause: Cause, plan: &PlannedCut) -> Vec<Laid> {
    let mut out: Vec<Laid> = vec![];
    for begin in [Begin::Near, Begin::Far] {
        let Some(model) = Model::new(plan, begin) else { continue };
        let relief = model.relief(cause, plan, None);
        let p = &model.passes;
        let away: Point = p.away();
        out.push(Laid {
            begin: p.begin,
            away_deg: crate::units::wrap_360(away.y.atan2(away.x).to_degrees()),
            width_mm: p.size_known.then(|| p.across_mm()),
            edges: relief.edges,
            strips: relief.strips,
        });
        if p.from_file {
            break;
        }
    }
    out
}
