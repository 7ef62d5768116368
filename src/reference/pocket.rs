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
pub const LEAST_SIDE: f64 = 60.0;
const MOST_QUADS: usize = 60;
const COARSE_SHAPE: f64 = 0.05;

/// Corner radius assumed where the plan names no cutter, mm (common practice, no source: 6 mm and 1/4 in cutters).
const USUAL_RADIUS_MM: f64 = 3.1;

/// Largest difference of scale between a pocket and a card beside it: a deep pocket seen from near (12 mm at 150 mm) and
/// its rim's own looseness.
const SCALE_SLACK: f64 = 0.03;

/// The rim as a figure: outer size of the plan, corners of the radius of the cutter, or of a smaller one that came after it.
pub fn rim(plan: &PlannedCut) -> Option<Figure> {
    let (w, h) = plan.pocket_mm.filter(|(w, h)| *w > 0.0 && *h > 0.0 && w.is_finite() && h.is_finite())?;
    let cutters = [Some(&plan.cutter), plan.second_cutter.as_ref()].into_iter().flatten();
    let smallest = cutters.filter_map(|c| c.diameter_mm).reduce(f64::min);
    let radius = smallest.map_or(USUAL_RADIUS_MM, |d| d / 2.0).clamp(0.0, 0.45 * w.min(h));
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
        && (0..4).all(|k| c.corners[k] + c.corners[(k + 1) % 4] >= 2.0 * RIM_SIDE_CORNERS)
        && c.fitted.residual_px < LARGEST_RIM_RMS_MM * c.px_per_mm
}

const RIM_SIDES: f64 = 0.7;
const RIM_ONE_SIDE: f64 = 0.5;
/// Least share of the two corners of one side: a ridge or a shadow's border taken for a side meets the others where no
/// corner is, and both of its corners fail together.
const RIM_SIDE_CORNERS: f64 = 0.4;
pub const RIM_CORNERS: f64 = 0.65;
pub const LARGEST_RIM_RMS_MM: f64 = 0.12;

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

/// Where a card lies by the quads that have the rim's size at the card's scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    Inside,
    Beside,
    /// Quads of equal right say both; `true`: the best one has it inside.
    Torn(bool),
    /// No such quad is seen.
    Unseen,
}

/// Whether a card of `size` (mm, about the view's origin) lies inside or beside the planned pocket. `quads`: best first.
/// Lines of grain and of the card itself make quads of the rim's size too: one that cuts the card or shares a side with it
/// is no rim, and one nearly as good as the best that says otherwise leaves the answer open.
pub fn holds_card(card: &PlaneView, size: (f64, f64), quads: &[Quad], figure: &Figure, camera: &Camera) -> Holds {
    let lies: Vec<(bool, f64)> = quads
        .iter()
        .filter(|q| agrees(card, q, figure, camera))
        .filter_map(|q| Some((lies_inside(card, size, &q.corners)?, q.score)))
        .collect();
    let Some((first, best)) = lies.first().copied() else { return Holds::Unseen };
    if lies.iter().any(|(inside, score)| *inside != first && *score > best - AS_GOOD) {
        return Holds::Torn(first);
    }
    if first { Holds::Inside } else { Holds::Beside }
}

/// Sharp corners (photo px) of an outline about the origin of the plane seen as `view`.
pub fn corners(view: &PlaneView, outline: Outline) -> [Point; 4] {
    let (w, h) = (outline.width / 2.0, outline.height / 2.0);
    [(-w, -h), (w, -h), (w, h), (-w, h)].map(|(x, y)| view.forward(Point::new(x, y)))
}

/// Whether the card lies wholly inside the quad (photo px) or wholly beside it; `None` where their outlines meet.
pub fn lies_inside(card: &PlaneView, size: (f64, f64), corners_px: &[Point; 4]) -> Option<bool> {
    let (w, h) = (size.0 / 2.0 + CLEAR_MM, size.1 / 2.0 + CLEAR_MM);
    let corners = [(-w, -h), (w, -h), (w, h), (-w, h)].map(|(x, y)| Point::new(x, y));
    let sides = |k: usize| (0..AROUND).map(move |i| (k, i as f64 / AROUND as f64));
    let around = (0..4).flat_map(sides).map(|(k, t)| card.forward(corners[k].lerp(corners[(k + 1) % 4], t)));
    let inside = around.filter(|p| crate::geometry::contains(corners_px, *p)).count();
    let within = |c: &Point| {
        let mm = card.backward(*c);
        mm.x.abs() < w && mm.y.abs() < h
    };
    match inside {
        n if n == 4 * AROUND => Some(true),
        0 if !corners_px.iter().any(within) => Some(false),
        _ => None,
    }
}

/// How far a card stays clear of a rim, mm: a line within a millimetre of its own side is that side, its thickness or its
/// shadow. More would leave out cards that are pushed against the pocket's wall.
const CLEAR_MM: f64 = 1.5;
/// Places looked at along each of its sides: every 4 mm or closer.
const AROUND: usize = 24;

/// How much less of its sides a quad may show and still count as much as the best (share of the sides): a cast shadow or a
/// print over half of one side hides an eighth of a true rim.
const AS_GOOD: f64 = 0.12;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Pose;
    use crate::reference::fit::Outline;
    use nalgebra::Vector3;

    /// A camera straight over a plane 200 mm away: 5 px per mm.
    fn view(distance: f64) -> PlaneView {
        let pose = Pose {
            focal_px: 1000.0,
            centre: Point::new(800.0, 600.0),
            r1: Vector3::x(),
            r2: Vector3::y(),
            t: Vector3::new(0.0, 0.0, distance),
        };
        PlaneView::plain(pose)
    }
    /// A quad of 120 x 80 mm whose middle lies `x` mm to the right of the card's.
    fn quad(x: f64, score: f64) -> Quad {
        let at = |u: f64, v: f64| view(196.0).forward(Point::new(x + u, v));
        Quad { corners: [at(-60.0, -40.0), at(60.0, -40.0), at(60.0, 40.0), at(-60.0, 40.0)], score }
    }
    #[test]
    fn a_side_whose_corners_both_fail_is_no_side_of_a_rim() {
        use crate::reference::{drawn, figure};
        let figure = Figure { outline: Outline { width: 90.0, height: 60.0, radius: 3.0 }, innermost: false };
        let photo =
            drawn::photo(|p| if figure.outline.distance(drawn::view().backward(p)) < 0.0 { 90.0 } else { 180.0 });
        let quad = Quad { corners: corners(&drawn::view(), figure.outline), score: 1.0 };
        let seen = figure::examine(&Profiler::new(&photo), &quad, &figure, &drawn::camera(), 4.0).expect("it shows");
        let with = |corners: [f64; 4]| is_rim(&Candidate { corners, ..seen.clone() });
        assert!(with([1.0; 4]));
        assert!(with([1.0, 0.3, 1.0, 0.4]), "torn corners that do not share a side");
        assert!(!with([1.0, 0.3, 0.4, 1.0]), "the right side meets the others where no corner is");
    }
    #[test]
    fn a_card_lies_where_all_good_quads_of_the_rim_say() {
        let figure = Figure { outline: Outline { width: 120.0, height: 80.0, radius: 3.0 }, innermost: false };
        let centre = Point::new(800.0, 600.0);
        let camera = Camera { focal_px: 1000.0, relative: 0.03, centre, k1: (0.0, 0.01), k2: (0.0, 0.01) };
        let holds = |quads: &[Quad]| holds_card(&view(200.0), (85.6, 53.98), quads, &figure, &camera);
        assert_eq!(holds(&[]), Holds::Unseen);
        assert_eq!(holds(&[quad(5.0, 0.9), quad(6.0, 0.85)]), Holds::Inside);
        assert_eq!(holds(&[quad(110.0, 0.9), quad(111.0, 0.85)]), Holds::Beside);
        assert_eq!(holds(&[quad(110.0, 0.9), quad(5.0, 0.85)]), Holds::Torn(false));
        assert_eq!(holds(&[quad(5.0, 0.9), quad(110.0, 0.85)]), Holds::Torn(true));
        // One that shares a side with the card or cuts it is no rim, inside (its own left side) or beside (its right side).
        assert_eq!(holds(&[quad(17.2, 0.9), quad(110.0, 0.6)]), Holds::Beside);
        assert_eq!(holds(&[quad(60.0, 0.9), quad(5.0, 0.6)]), Holds::Inside);
        assert_eq!(holds(&[quad(102.8, 0.9), quad(5.0, 0.6)]), Holds::Inside);
        assert_eq!(holds(&[quad(17.2, 0.9)]), Holds::Unseen);
        // A much worse one has no say, nor has one of another scale.
        assert_eq!(holds(&[quad(5.0, 0.9), quad(110.0, 0.6)]), Holds::Inside);
        let far = |x: f64| Quad { corners: quad(x, 0.9).corners.map(|c| centre + (c - centre) * 0.9), score: 0.9 };
        assert_eq!(holds(&[far(110.0), quad(5.0, 0.85)]), Holds::Inside);
    }
}
