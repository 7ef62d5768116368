//! Lines that bend: steps round letters and along walls, or the rings that a cutter leaves where it turns.

use super::digest::{COLOUR_SHARE, has_figure};
use super::weights::ramp;
use crate::floor::Patch;
use crate::geometry::{Point, to_segment};
use crate::marks::{Curve, Edge, Marks, Polarity};
use crate::plan::PlannedCut;

/// Length of bent lines over the floor's side (root of its area) from which there may be something, and surely is. Of some 100
/// made floors without steps or rings (2026-11) all but four had less than 0.35; floors with steps round letters up to 5.
const LENGTH: (f64, f64) = (0.35, 1.0);
/// Radius of a ring over the cutter's.
const RING: (f64, f64) = (0.6, 1.2);
/// Share of the curves' length that rings are of, between all steps and all rings: of made floors (2026-11) with turn marks
/// 0.60 to 1, with steps 0 to 0.31.
const RINGS: (f64, f64) = (0.4, 0.58);
/// Share of shade up to which lines are relief, and from which they are rings of wood, which are dark all round: a step is lit on
/// one side of a letter and dark on the other, and shows best where it is lit (made floors: 0 to 0.76).
const DARK: (f64, f64) = (0.75, 0.95);
/// An edge this near to a ring is part of it, millimetres.
const BESIDE_MM: f64 = 1.0;

/// What the bent lines are.
#[derive(Debug, Clone, Copy)]
pub struct Bent {
    /// How surely there are steps, and rings, 0 to 1.
    pub steps: f64,
    pub rings: f64,
    /// How far the curves let rings of the cutter's size found by other means be turn marks, 0 to 1.
    pub rings_likely: f64,
    /// Length of the bent lines that are no rings, floor-frame units.
    pub length: f64,
    /// Share of it that is shade.
    pub shade_share: f64,
}

/// Whether a curve is an arc of the cutter's own size.
fn is_ring(c: &Curve, plan: &PlannedCut, scaled: bool) -> bool {
    let sizes = c.radius.zip(plan.cutter.diameter_mm).filter(|_| scaled);
    sizes.is_some_and(|(r, d)| (RING.0..RING.1).contains(&(r / (d / 2.0))))
}

/// Weighs the curves of a floor.
pub fn find(patch: &Patch, marks: &Marks, plan: &PlannedCut, scaled: bool) -> Bent {
    let side = patch.area.max(1e-9).sqrt();
    let ring = |c: &&Curve| is_ring(c, plan, scaled);
    let all: f64 = marks.curves.lines.iter().map(|c| c.length).sum();
    let of_rings: f64 = marks.curves.lines.iter().filter(ring).map(|c| c.length).sum();
    let share = if all > 0.0 { of_rings / all } else { 0.0 };
    let mostly = ramp(share, RINGS.0, RINGS.1);
    let (mut length, mut shade) = (0.0, 0.0);
    for c in marks.curves.bent().filter(|c| !ring(c)) {
        length += c.length;
        shade += if c.polarity == Polarity::Shade { c.length } else { 0.0 };
    }
    let shade_share = if length > 0.0 { shade / length } else { 0.0 };
    let colour = marks.curves.chroma_share.map_or(0.0, |c| ramp(c.value - c.sigma, COLOUR_SHARE.0, COLOUR_SHARE.1));
    let figure = if has_figure(plan) { 1.0 - (1.0 - colour) * (1.0 - ramp(shade_share, DARK.0, DARK.1)) } else { 0.0 };
    // Lines that bend with a family are that family's.
    let even = marks.families.iter().any(|f| f.curved);
    let trust = if patch.outline_assumed || even { 0.0 } else { 1.0 };
    Bent {
        steps: trust * ramp(length / side, LENGTH.0, LENGTH.1) * (1.0 - figure) * (1.0 - mostly),
        rings: trust * ramp(of_rings / side, LENGTH.0, LENGTH.1) * mostly,
        rings_likely: if all < LENGTH.0 * side { 1.0 } else { mostly },
        length,
        shade_share,
    }
}

/// Whether an edge is part of a ring, or the border of a row of rings.
pub fn on_ring(e: &Edge, marks: &Marks, plan: &PlannedCut, scaled: bool) -> bool {
    let near = |p: Point, c: &Curve| c.path.windows(2).any(|s| to_segment(p, s[0], s[1]) < BESIDE_MM);
    let middle = e.from.lerp(e.to, 0.5);
    along_row(e, marks) || marks.curves.lines.iter().any(|c| is_ring(c, plan, scaled) && near(middle, c))
}

/// Fewest rings in line that make a row, and how far its border may lie from the line, radii: it is a radius away, and the edges'
/// own places scatter by a sixth. A row reaches as far beyond the last ring that was found as a few rings in a gap do.
const ROW: usize = 3;
const ROW_BORDER: f64 = 1.2;
const ROW_END: f64 = 6.0;

/// Whether an edge runs along a row of rings: where they overlap their outer halves make one line.
fn along_row(e: &Edge, marks: &Marks) -> bool {
    let Some((places, radius)) = marks.turns.as_ref().and_then(|t| Some((&t.places, t.radius?.value))) else {
        return false;
    };
    let length = e.from.distance(e.to).max(1e-9);
    let along = (e.to - e.from) * (1.0 / length);
    let at: Vec<f64> = places
        .iter()
        .map(|p| *p - e.from)
        .filter(|d| (d.y * along.x - d.x * along.y).abs() < ROW_BORDER * radius)
        .map(|d| d.x * along.x + d.y * along.y)
        .collect();
    let (first, last) = at.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(*t), b.max(*t)));
    at.len() >= ROW && first < ROW_END * radius && last > length - ROW_END * radius
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::marks::Turns;
    use crate::units::Measured;

    #[test]
    fn the_border_of_a_row_of_rings_is_theirs() {
        let edge = |from: (f64, f64), to: (f64, f64)| Edge {
            from: Point::new(from.0, from.1),
            to: Point::new(to.0, to.1),
            offset: 0.0,
            length: 10.0,
            normal_deg: 90.0,
            polarity: Polarity::Shade,
            deficit: Measured { value: 0.1, sigma: 0.01 },
            snr: 12.0,
            height_um: None,
            chroma_share: None,
            stands_out: false,
        };
        // Rings of 2 mm radius along x, two of three found.
        let places = [0.0, 3.0, 9.0, 12.0, 18.0].map(|x| Point::new(x, 0.0)).to_vec();
        let marks = Marks { turns: Some(Turns { places, radius: Measured::new(2.0, 0.1) }), ..Marks::default() };
        let own = |e: Edge| on_ring(&e, &marks, &PlannedCut::default(), true);
        assert!(own(edge((2.0, 2.1), (12.0, 1.9))));
        assert!(!own(edge((2.0, 2.1), (12.0, 6.0))), "it leaves the row");
        assert!(!own(edge((15.0, 2.0), (45.0, 2.0))), "it runs on beyond the row");
        assert!(!own(edge((2.0, 8.0), (12.0, 8.0))));
    }
}
