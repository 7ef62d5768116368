//! The bank-card sized card (ID-1): the best figure of its size and corners.

use super::about::{CHANCE, by_chance, runs_on};
use super::edges::Edges;
use super::figure::{CARD, Candidate, examine};
use super::polarity::{Lie, lie};
use super::quads::{Camera, Quad, quads};
use super::search::Search;
use super::three::completed;
use crate::geometry::Point;
use rayon::prelude::*;

/// Shortest side of a card looked for, px of the reduced picture: 3.5 % of its long side. On a smaller card the rounding of
/// the corners cannot be told.
const LEAST_SIDE: f64 = 30.0;

/// Largest deviation of log aspect and corner cosine of a quad of the reduced picture, and most quads looked at closely.
const COARSE_SHAPE: f64 = 0.06;
const MOST_QUADS: usize = 120;
const MOST_COMPLETED: usize = 60;

/// What makes a candidate a card: least mean share of the corner arcs that show an edge of radius 3.18 mm, least share of
/// one corner, least mean share of the sides and of one side. Practice photos: cards 0.93 and more, 0.7, 0.89, 0.6; the
/// best figure that is none 0.55, 0, 1.0, 0.96. The limits lie nearer to the cards: a wrong scale is worse than none.
const CORNER_SHARE: f64 = 0.75;
const ONE_CORNER: f64 = 0.4;
const OTHER_CORNERS: f64 = 0.7;
const ALL_ELSE: f64 = 1.7;
const SIDE_SHARE: f64 = 0.8;
const ONE_SIDE: f64 = 0.5;

/// Largest rms of the edge points about the outline, mm: the sides of a card are straight to a twentieth.
const LARGEST_RMS_MM: f64 = 0.06;

/// One sigma of a card's own size: ISO/IEC 7810 allows 85.47 to 85.72 mm and 53.92 to 54.03 mm, +-0.15 % and +-0.1 %.
pub const SIZE_RELATIVE: f64 = 0.001;

/// Focal lengths tried besides the usual one where the file names none, as multiples of it (26 mm against 35 mm film): the
/// second lens of many phones (50 to 60 mm), the third (70 to 85 mm), and the wide one (13 to 15 mm; common practice, no
/// source). A card seen through them has no likely shape under the usual one.
const OTHER_LENSES: [f64; 3] = [2.1, 3.0, 0.54];

/// The best figure that passes as a card; where the file names no focal length, under that of another lens if need be.
pub fn find(s: &Search) -> Option<Candidate> {
    let known = s.photo.focal_px().is_some();
    find_by(s, s.camera, s.reduced).or_else(|| {
        let by = |k: &f64| {
            let other = |c: Camera| Camera { focal_px: c.focal_px * k, ..c };
            find_by(s, other(s.camera), other(s.reduced)).filter(|c| stands_alone(c, s))
        };
        OTHER_LENSES.iter().filter(|_| !known).find_map(by)
    })
}

/// A card whose sides show as lines of their own only in a less reduced picture: grain crosses one at a small angle, or its
/// shadow ends close to another. Costs as much as all other searches together.
pub fn find_closer(s: &Search) -> Option<Candidate> {
    let s = &s.closer()?;
    find_by(s, s.camera, s.reduced).filter(|c| stands_alone(c, s))
}

/// The best figure that passes as a card: of four straight edges, else of three and a fourth that is broken.
fn find_by(s: &Search, camera: Camera, reduced: Camera) -> Option<Candidate> {
    let size = (CARD.outline.width, CARD.outline.height);
    let best = |found: &[Quad]| best_card(found, s, &camera);
    best(&quads(&s.lines, &reduced, size, LEAST_SIDE, COARSE_SHAPE, MOST_QUADS)).or_else(|| {
        let mut some = completed(&s.edges, &s.lines, &reduced, size, LEAST_SIDE, COARSE_SHAPE, MOST_COMPLETED);
        some.retain(|q| stands_out(q, &s.edges));
        // Three sides say less than four: only a card with all its corners will do.
        best(&some).filter(|c| c.quality() > FULL_SCORE || stands_alone(c, s))
    })
}

/// Least quality (2 = every place of every side and corner) of a figure found by three sides, or through a lens that the file
/// does not name. The best figure that is none has 1.55; cards with a stripe or a chip that runs off the edge 1.77 and more.
const CLEAR: f64 = 1.75;

/// Whether the mean colour differs between a strip just inside and one just outside of every side: a card is another
/// thing than what it lies on, while a piece of a grid of lines is not.
fn stands_out(q: &Quad, edges: &Edges) -> bool {
    let middle = q.corners.iter().fold(Point::default(), |a, p| a + *p) * 0.25;
    (0..4).all(|k| {
        let (a, b) = (q.corners[k], q.corners[(k + 1) % 4]);
        let t = STRIP_PX / a.lerp(b, 0.5).distance(middle).max(1.0);
        let [inside, outside] = [t, -t].map(|t| edges.mean_colour(a.lerp(middle, t), b.lerp(middle, t), 40));
        (0..3).map(|c| (inside[c] - outside[c]).powi(2)).sum::<f64>().sqrt() > OTHER_COLOUR
    })
}

/// How far the strips lie from the side, reduced px: clear of the edge's own blur.
const STRIP_PX: f64 = 4.0;
/// Least difference of the mean colours, log units (about the same as a fraction of the light): paper under grid lines
/// differs by under 0.02 from square to square; white card on pale wood by 0.1 and more.
const OTHER_COLOUR: f64 = 0.05;

fn best_card(found: &[Quad], s: &Search, camera: &Camera) -> Option<Candidate> {
    // A few at a time: the best quads come first, and a full score cannot be beaten.
    let mut best: Option<Candidate> = None;
    for some in found.chunks(8) {
        let here = some
            .par_iter()
            .filter_map(|q| {
                let corners = q.corners.map(|c| Point::new(s.edges.full(c.x), s.edges.full(c.y)));
                examine(&s.profiler, &Quad { corners, ..q.clone() }, &CARD, camera, s.reach_px)
            })
            .filter(|c| is_card(c) && !is_pocket(c, s) && !is_piece(c, s))
            .filter(|c| by_chance(&s.profiler, c, &CARD) < CHANCE)
            .max_by(|a, b| a.quality().total_cmp(&b.quality()));
        if here.as_ref().map_or(-1.0, Candidate::quality) > best.as_ref().map_or(-1.0, Candidate::quality) {
            best = here;
        }
        if best.as_ref().is_some_and(|b| b.quality() > FULL_SCORE) {
            break;
        }
    }
    best
}

/// Quality (2 = every place of every side and corner) above which no better card is looked for.
const FULL_SCORE: f64 = 1.9;

/// Least px per mm on a card: the arc leaves the sharp corner by 1.3 mm at most, which must be six pixels to be told from
/// it. Below this any grid of lines would do for a card.
const LEAST_PX_PER_MM: f64 = 4.5;

/// A pocket of nearly a card's size, or lines in it: a shadow falls inside; where no shadow tells, the plan's size does.
fn is_pocket(c: &Candidate, s: &Search) -> bool {
    let planned = || {
        let near = |a: f64, b: f64| (a / b).ln().abs() < POCKET_NEAR;
        s.plan.pocket_mm.is_some_and(|(w, h)| near(w.max(h), CARD.outline.width) && near(w.min(h), CARD.outline.height))
    };
    match lie(s.photo, &c.fitted.view, CARD.outline) {
        Lie::Proud => false,
        Lie::Sunken => true,
        Lie::Mixed => !other_colour(c, s),
        Lie::Unclear => planned() && !other_colour(c, s),
    }
}

/// Whether a figure is a piece of something larger: two of its sides run on beyond its corners, and neither its colour nor
/// a whole outline says that it is a thing of its own. The corner of a pocket and a step of its floor make such figures.
fn is_piece(c: &Candidate, s: &Search) -> bool {
    let on = runs_on(&s.profiler, c, &CARD).iter().filter(|ends| ends.iter().any(|v| *v > RUNS_ON)).count();
    on >= 2 && c.quality() <= FULL_SCORE && !other_colour(c, s)
}

/// Share of the places beyond a corner from which on a side runs on. Of 16 cards of no other colour than the stock's in
/// practice and made photos one has two sides that do (a rule and grain run past it; its own outline is whole); figures that
/// are none have 0.8 and more. One such side is no sign: a card may lie along the stock's edge.
const RUNS_ON: f64 = 0.75;

/// Whether a figure that was found on less than four sides, or through a lens that the file does not name, is a thing of its
/// own: nearly every place of its outline shows, and it casts a shadow or is of another colour. Tiles are as regular.
fn stands_alone(c: &Candidate, s: &Search) -> bool {
    c.quality() > CLEAR && (lie(s.photo, &c.fitted.view, CARD.outline) == Lie::Proud || other_colour(c, s))
}

/// Whether a figure has another colour than what it lies in, not only another light: the floor of a pocket is of the same
/// stock as its face.
fn other_colour(c: &Candidate, s: &Search) -> bool {
    let (w, h) = (CARD.outline.width / 2.0, CARD.outline.height / 2.0);
    let strip = |mm: f64| {
        let at = |x: f64, y: f64| {
            let p = c.fitted.view.forward(Point::new(x, y));
            Point::new(s.edges.reduced(p.x), s.edges.reduced(p.y))
        };
        let corners = [at(-w - mm, -h - mm), at(w + mm, -h - mm), at(w + mm, h + mm), at(-w - mm, h + mm)];
        let mut mean = [0.0; 3];
        for k in 0..4 {
            let colour = s.edges.mean_colour(corners[k], corners[(k + 1) % 4], 40);
            mean.iter_mut().zip(colour).for_each(|(m, c)| *m += c / 4.0);
        }
        mean
    };
    let [inside, outside] = [-STRIP_MM, STRIP_MM].map(strip);
    let [red, blue] = [0, 2].map(|k| (inside[k] - inside[1]) - (outside[k] - outside[1]));
    red.hypot(blue) > OTHER_TINT
}

/// Strips this far inside and outside of the edge, mm: clear of the contact shadow and on the plain border of most cards.
const STRIP_MM: f64 = 4.0;
/// Least difference of ln(R/G) and ln(B/G): fresh wood against an aged face makes 0.2, lamp against room light 0.2; coloured
/// cards 0.5 and more (common practice, no source).
const OTHER_TINT: f64 = 0.4;

/// How near to a card's size a pocket must be to pass for one: the shape's tolerance of 2 % and what a wrong focal length
/// adds.
const POCKET_NEAR: f64 = 0.08;

/// Doubt of the scale (relative, one sigma) where one corner does not show: then one of the sides that meet there may be the
/// edge of the card's shadow or thickness, 3 px off at that end, and the tilt that follows spoils the scale beside the card.
/// Of three such cards in made photos the errors over the pocket were 0.1, 0.1 and 1.5 %.
const LOST_CORNER: f64 = 0.008;

/// What a card's own outline leaves in doubt of its scale, beyond the fit's own sigma.
pub fn doubt(c: &Candidate) -> f64 {
    if c.corners.iter().any(|v| *v < ONE_CORNER) { LOST_CORNER } else { 0.0 }
}

fn is_card(c: &Candidate) -> bool {
    if c.px_per_mm < LEAST_PX_PER_MM {
        return false;
    }
    let least = |v: &[f64; 4]| v.iter().copied().fold(f64::INFINITY, f64::min);
    // One corner may be lost (print of the stock's colour, a shadow) where everything else shows.
    let others = c.corners.iter().filter(|v| **v >= OTHER_CORNERS).count();
    let corners = least(&c.corners) >= ONE_CORNER || (others == 3 && c.quality() >= ALL_ELSE);
    corners
        && c.corner_share() >= CORNER_SHARE
        && c.side_share() >= SIDE_SHARE
        && least(&c.sides) >= ONE_SIDE
        && c.fitted.residual_px < (LARGEST_RMS_MM * c.px_per_mm).max(0.5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{PlaneView, Pose};
    use crate::photo::Photo;
    use crate::plan::PlannedCut;
    use crate::reference::drawn::{photo, view};
    use crate::reference::fit::Outline;
    use nalgebra::{Rotation3, Vector3};

    fn found(photo: &Photo) -> Option<Candidate> {
        find(&Search::new(photo, &PlannedCut::default(), None).expect("large enough"))
    }
    /// How much of a pixel lies inside an outline whose middle is at (`x`, 0) mm.
    fn covered(outline: Outline, x: f64, p: Point) -> f64 {
        (0.5 - outline.distance(view().backward(p) - Point::new(x, 0.0)) * 6.0).clamp(0.0, 1.0)
    }
    /// Cards seen through a lens and a focal length that are not as the file and the usual lens say (by less than two sigmas),
    /// with the thickness lit brighter than the face along two sides, two to three pixels wide: each side stays with the
    /// edge chosen for it. Without that corners lie off by 3 px and more.
    #[test]
    fn a_lit_thickness_beside_the_face_does_not_draw_the_fit() {
        for (focal, k1, turn) in [(1.06, 0.02, (-0.5, 0.3)), (0.94, -0.02, (-0.5, 0.3))] {
            let turn = Rotation3::from_euler_angles(turn.0, turn.1, 0.4);
            let pose = Pose {
                focal_px: focal * view().pose.focal_px,
                r1: turn * Vector3::x(),
                r2: turn * Vector3::y(),
                ..view().pose
            };
            let truth = PlaneView::new(pose, k1, 0.0);
            let covered = |p: Point, by: f64| {
                let q = truth.backward(p) - Point::new(by, by);
                (0.5 - CARD.outline.distance(q) * 6.0).clamp(0.0, 1.0)
            };
            let c = found(&photo(|p| {
                let below = 110.0 + 130.0 * covered(p, 0.37);
                below + covered(p, 0.0) * (180.0 - below)
            }));
            let c = c.expect("the card");
            for (x, y) in [(-42.8, -26.99), (42.8, -26.99), (42.8, 26.99), (-42.8, 26.99)] {
                let p = Point::new(x, y);
                // The same card turned by half a circle is the same.
                let off = [p, p * -1.0].map(|q| c.fitted.view.forward(q).distance(truth.forward(p)));
                assert!(off[0].min(off[1]) < 0.8, "{focal} {k1}: {off:?} px");
            }
        }
    }
    /// A card with a corner cut off is found by the rest, and its scale is doubted.
    #[test]
    fn a_lost_corner_leaves_a_doubt() {
        let card = |cut_mm: f64| {
            let c = found(&photo(|p| {
                let q = view().backward(p);
                let lost = q.x + q.y > (CARD.outline.width + CARD.outline.height) / 2.0 - cut_mm;
                if lost { 200.0 } else { 200.0 - 70.0 * covered(CARD.outline, 0.0, p) }
            }));
            doubt(&c.expect("the card"))
        };
        assert_eq!((card(0.0), card(5.0)), (0.0, LOST_CORNER));
    }
    /// The end of a pocket as wide as a card is high, with a step across its floor that ends in the first part of two
    /// corners of a card's radius, as steps of a floor do where passes turn.
    #[test]
    fn an_end_of_a_pocket_is_no_card() {
        let long = Outline { width: 125.6, ..CARD.outline };
        let half = |p: Point| view().backward(p).x > 0.25 * CARD.outline.radius - CARD.outline.width / 2.0;
        let pocket = |p: Point| {
            let near = if half(p) { 1.0 } else { covered(CARD.outline, 0.0, p) };
            200.0 - (70.0 - 25.0 * (1.0 - near)) * covered(long, -20.0, p)
        };
        assert!(found(&photo(pocket)).is_none());
        // The same outline, ending at its corners.
        assert!(found(&photo(|p| 200.0 - 70.0 * covered(CARD.outline, 0.0, p))).is_some());
    }
}
