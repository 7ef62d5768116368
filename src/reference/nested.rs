//! Rim or foot: a pocket's rim and the foot of its walls have the same planned size, seen at two depths.

use super::figure::{Candidate, EDGE_SIGMA, Figure, OnFigure, best_three, examine, on_figure, traced};
use super::fit::{Seen, fit};
use super::pocket::{corners, is_rim};
use super::profile::Profiler;
use super::quads::{Camera, Quad};
use crate::geometry::{Point, signed_area};

/// How far the search from half way between foot and rim reaches, in distances from foot to rim: both edges of every side,
/// for an outline may have some sides at the rim and others at the foot. The examination prefers the outer of two edges.
const BOTH: f64 = 1.2;

/// Share of the growth from foot to rim from which another outline is not the same: one with one side of four at the foot
/// lacks a quarter.
const OTHER: f64 = 0.15;

/// How far the search for a foot below the found outline may stray, same unit: under a half, so that it does not come back
/// to the outline it started from.
const STRAY: f64 = 0.45;

/// Least distance between rim and foot in the photo at which they are two edges, px: the blur of one edge.
const TELLABLE_PX: f64 = 3.0;

/// The outer of two outlines of the planned size, and what is left of the doubt.
pub struct Rim {
    pub candidate: Candidate,
    /// Doubt of its scale (relative, one sigma) from taking foot for rim: half of their difference where both stay
    /// possible, else 0.
    pub doubt: f64,
}

/// Looks for a second outline of the planned size, as high over the found one as the pocket is deep: where it shows, it is
/// the rim, for the foot lies inside of its rim in every view into a pocket. Where the rim's place lies outside the photo or
/// too near to the foot's to be told, and no foot shows below the found outline, both stay possible.
pub fn outer(profiler: &Profiler, found: Candidate, figure: &Figure, camera: &Camera, depth_mm: Option<f64>) -> Rim {
    // An unknown depth has a doubt of its own, larger than this one.
    let Some(depth) = depth_mm.filter(|d| *d > 0.0) else { return Rim { candidate: found, doubt: 0.0 } };
    let view = found.fitted.view.clone();
    let distance = view.pose.distance();
    let half = depth / (2.0 * distance.max(depth));
    let at = |up: f64| corners(&view.shifted(up), figure.outline);
    let (here, above) = (at(0.0), at(depth));
    let apart = here.iter().zip(&above).map(|(a, b)| a.distance(*b)).sum::<f64>() / 4.0;
    if apart < TELLABLE_PX {
        return Rim { candidate: found, doubt: half };
    }
    let other = |corners: [Point; 4], reach: f64| {
        let own = Camera { k1: (view.k1, camera.k1.1), k2: (view.k2, camera.k2.1), ..*camera };
        examine(profiler, &Quad { corners, score: 0.0 }, figure, &own, reach * apart).filter(is_rim)
    };
    // Another outline differs in size by a good part of what the depth makes; else it is the same once more.
    let area = |c: &[Point; 4]| signed_area(c).abs().ln();
    let grown =
        |c: &Candidate| (area(&corners(&c.fitted.view, figure.outline)) - area(&here)) / (area(&above) - area(&here));
    let raised = raised(profiler, &found, figure, camera, depth, apart);
    if let Some(rim) = raised.or_else(|| other(at(0.5 * depth), BOTH)).filter(|c| grown(c) > OTHER) {
        return Rim { candidate: rim, doubt: 0.0 };
    }
    let hidden = above.iter().any(|c| !profiler.holds(*c, 0.0));
    let doubt = if hidden && !other(at(-depth), STRAY).is_some_and(|c| grown(&c) < -OTHER) { half } else { 0.0 };
    Rim { candidate: found, doubt }
}

/// How far a pocket may be from its planned depth, as a share of it, for its rim to be looked for straight over the found
/// outline: a tenth is 0.5 mm of 5 mm, more than a zero is set wrong by.
const DEEPER: f64 = 0.1;

/// Least share of a side that shows right over the found one. Of twelve made photos feet had 0.48 and more right over them,
/// rims nothing beyond 0.06 but for one with other lines over two sides, which the fit brought back to itself.
const RAISED: f64 = 0.45;

/// The outline that shows right over the found one, about `depth` mm (`apart` px) up. Sides over which nothing shows may be
/// the rim's already, or their rim may be lost in shadow: three others place it without them, fewer need them.
fn raised(
    profiler: &Profiler,
    found: &Candidate,
    figure: &Figure,
    camera: &Camera,
    depth: f64,
    apart: f64,
) -> Option<Candidate> {
    let view = &found.fitted.view;
    let outline = figure.outline;
    let steps = (DEEPER * apart / 1.5).ceil();
    // The found outline may be bent by sides of both, so that its rim lies a few px off.
    let above = (-steps as i32..=steps as i32)
        .map(|i| on_figure(profiler, &view.shifted(depth * (1.0 + DEEPER * f64::from(i) / steps)), outline, 0))
        .max_by(|a, b| best_three(a.sides).0.total_cmp(&best_three(b.sides).0))?;
    let up = above.sides.map(|share| share >= RAISED);
    let shown = up.iter().filter(|u| **u).count();
    if shown == 0 {
        return None;
    }
    let by = |points: &[Seen]| {
        let led = fit(view, points, outline, camera, EDGE_SIGMA)?;
        traced(profiler, led.view, outline, camera, 0)
            .filter(|c| c.side_share() > found.side_share() - LOST)
            .filter(|c| c.fitted.residual_px < WORSE * found.fitted.residual_px)
    };
    let over = along(&above, up);
    let kept = along(&on_figure(profiler, view, outline, 1), up.map(|u| !u));
    let all = by(&[over.clone(), kept].concat());
    let alone = if shown == 3 { by(&over) } else { None };
    all.into_iter().chain(alone).max_by(|a, b| a.quality().total_cmp(&b.quality()))
}

/// The points that lie on the sides asked for.
fn along(seen: &OnFigure, sides: [bool; 4]) -> Vec<Seen> {
    seen.points.iter().filter(|p| (0..4).any(|k| sides[k] && p.sides[k] == 1.0)).cloned().collect()
}

/// What the raised outline may lack of its sides against the found one, one side in shadow; and how much worse it may fit.
const LOST: f64 = 0.3;
const WORSE: f64 = 1.3;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::PlaneView;
    use crate::photo::Photo;
    use crate::reference::drawn::{self, camera, view as rim_view};
    use crate::reference::fit::Outline;

    const POCKET: Figure = Figure { outline: Outline { width: 90.0, height: 60.0, radius: 3.0 }, innermost: false };
    const DEPTH: f64 = 4.0;

    const PALE: f64 = 190.0;
    const DARK: f64 = 60.0;

    /// A wall, a floor of middling light, one pixel of blur; `stock` by the place on its plane.
    fn pocket(wall: f64, stock: impl Fn(Point) -> f64 + Sync) -> Photo {
        let floor = 120.0;
        let (high, low) = (rim_view(), rim_view().shifted(-DEPTH));
        let inside = |v: &PlaneView, p: Point| (0.5 - POCKET.outline.distance(v.backward(p)) * 3.0).clamp(0.0, 1.0);
        drawn::photo(|p| {
            let (a, b, top) = (inside(&high, p), inside(&low, p), stock(high.backward(p)));
            (top + a * (wall - top) + a * b * (floor - wall)).floor()
        })
    }
    fn at(profiler: &Profiler, view: &PlaneView) -> Candidate {
        let quad = Quad { corners: corners(view, POCKET.outline), score: 1.0 };
        examine(profiler, &quad, &POCKET, &camera(), 4.0).expect("the drawn outline shows")
    }
    #[test]
    fn a_rim_right_over_its_foot_shows_by_three_sides() {
        // Beyond the right side the stock is as dark as the wall.
        let photo = pocket(DARK, |q| if q.x > 40.0 { DARK } else { PALE });
        let profiler = Profiler::new(&photo);
        let foot = at(&profiler, &rim_view().shifted(-DEPTH));
        assert!(error(&foot) < -0.02, "fixture is broken: the foot is not found ({})", error(&foot));
        let rim = outer(&profiler, foot, &POCKET, &camera(), Some(DEPTH * 1.05));
        assert!(error(&rim.candidate).abs() < 0.002 && rim.doubt == 0.0, "{} {}", error(&rim.candidate), rim.doubt);
    }
    /// Side of the found outline over the true rim's, less one.
    fn error(c: &Candidate) -> f64 {
        let area = |v: &PlaneView| signed_area(&corners(v, POCKET.outline)).abs().sqrt();
        area(&c.fitted.view) / area(&rim_view()) - 1.0
    }
    #[test]
    fn of_two_nested_outlines_the_outer_is_the_rim() {
        let photo = pocket(DARK, |_| PALE);
        let profiler = Profiler::new(&photo);
        let foot = at(&profiler, &rim_view().shifted(-DEPTH));
        assert!(error(&foot) < -0.02, "fixture is broken: the foot is not found ({})", error(&foot));
        let rim = outer(&profiler, foot.clone(), &POCKET, &camera(), Some(DEPTH));
        assert!(error(&rim.candidate).abs() < 0.001 && rim.doubt == 0.0, "{} {}", error(&rim.candidate), rim.doubt);
        // The rim itself stays.
        let again = outer(&profiler, at(&profiler, &rim_view()), &POCKET, &camera(), Some(DEPTH));
        assert!(error(&again.candidate).abs() < 0.001 && again.doubt == 0.0);
        // A pocket so flat that both are one edge: half of the difference is the doubt.
        let flat = outer(&profiler, foot, &POCKET, &camera(), Some(0.5)).doubt;
        assert!((flat - 0.25 / 154.0).abs() < 1e-4, "{flat}");
    }
    #[test]
    fn an_outline_alone_in_the_photo_stays_and_one_that_fills_it_is_doubted() {
        let photo = pocket(PALE, |_| PALE);
        let profiler = Profiler::new(&photo);
        let found = at(&profiler, &rim_view().shifted(-DEPTH));
        let kept = outer(&profiler, found.clone(), &POCKET, &camera(), Some(DEPTH));
        assert!((error(&kept.candidate) - error(&found)).abs() < 1e-9 && kept.doubt == 0.0);
        // So deep a pocket would have its rim outside the photo.
        let deep = outer(&profiler, found, &POCKET, &camera(), Some(80.0)).doubt;
        assert!((deep - 40.0 / 154.0).abs() < 0.005, "{deep}");
    }
}
