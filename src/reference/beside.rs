//! The planned pocket's rim beside a card: the card says how large the rim must look and how it is tilted, so that three
//! of its sides will do. Both are then fitted together.

use super::Level;
use super::figure::{
    BUNDLE_MM, CARD, CARD_THICKNESS_MM, Candidate, EDGE_SIGMA, Edge, Figure, Place, best_three, on_edge, on_figure,
    side_places, steps_at, straight_edges,
};
use super::fit::{Laid, Seen, Together, fit_two};
use super::lines::crests;
use super::pocket::{LARGEST_RIM_RMS_MM, LEAST_SIDE, RIM_CORNERS, RIM_SIZE_SIGMA_MM, corners, lies_inside};
use super::polarity::{Lie, lie};
use super::profile::Step;
use super::search::Search;
use super::votes::places;
use crate::geometry::{PlaneView, Point};

/// A card and the rim beside it, or round it, as one camera sees both.
#[derive(Debug, Clone)]
pub struct Beside {
    pub card: Candidate,
    pub rim: Candidate,
    /// Which plane the card lies on.
    pub level: Level,
    /// Share of the best three sides and of the best three corners that show, less what the planned size had to give way.
    quality: f64,
}

/// Most places looked at at full size. True rims were the first or second in practice and made photos.
const MOST: usize = 6;

/// Quality from which on no better place or edge is looked for: a shadow or a chip over one corner in four leaves more,
/// a wrong edge of a pair that is a wall's width off less.
const ENOUGH: f64 = 1.9;

/// How far a side may lie from where the card foretells it, mm: the card's tilt and lens leave half a percent of a pocket
/// of 150 mm, and the places are searched in steps of a millimetre.
const REACH_MM: f64 = 1.8;

/// Combinations of edges that are fitted at one place: two edges (rim, foot) on each of three sides.
const COMBINATIONS: usize = 8;

/// The rim of the planned size beside the card (then the card lies on the stock) or round it (then it lies on the floor).
/// `height_mm`: that of the card's face over what it lies on, where the user says so.
///
/// `None` where no place shows three sides and the corners between them, and where the plan's size does not fit the card's.
pub fn beside(s: &Search, card: &Candidate, height_mm: Option<f64>, figure: &Figure) -> Option<Beside> {
    let high = height_mm.unwrap_or(CARD_THICKNESS_MM);
    let depth = s.plan.depth_mm.filter(|d| *d > 0.0);
    let levels = [Some((Level::Rim, -high)), depth.map(|d| (Level::Floor, d - high))];
    let crests = crests(&s.edges);
    let mut best: Option<Beside> = None;
    for (level, up_mm) in levels.into_iter().flatten().filter(|l| s.given_level.is_none_or(|g| g == l.0)) {
        let card_view = &card.fitted.view;
        if card_view.scale_at(Point::default()) * figure.outline.height < LEAST_SIDE * s.edges.k as f64 {
            return None;
        }
        for p in places(&s.edges, &crests, &card_view.shifted(up_mm), figure.outline, MOST) {
            let laid = Laid { at: p.at, turn: p.turn, up_mm };
            let rim = corners(&laid.view(card_view), figure.outline);
            let inside = lies_inside(card_view, (CARD.outline.width, CARD.outline.height), &rim);
            if inside != Some(level == Level::Floor) {
                continue;
            }
            let found = settle(s, card, laid, figure, level);
            let quality = |b: &Option<Beside>| b.as_ref().map_or(f64::NEG_INFINITY, |b| b.quality);
            if quality(&found) > quality(&best) {
                best = found;
            }
            if quality(&best) > ENOUGH {
                return best;
            }
        }
    }
    best
}

/// The rim near `laid`: of the likeliest combinations of straight edges the one that fits best.
fn settle(s: &Search, card: &Candidate, laid: Laid, figure: &Figure, level: Level) -> Option<Beside> {
    let start = laid.view(&card.fitted.view);
    let sides: [(Vec<Place>, Vec<Vec<Step>>); 4] = std::array::from_fn(|k| {
        let places = side_places(&start, figure.outline, k);
        let steps = steps_at(&s.profiler, &places, REACH_MM * places[places.len() / 2].px_per_mm);
        (places, steps)
    });
    let found: [Vec<Edge>; 4] = std::array::from_fn(|k| straight_edges(&sides[k].0, &sides[k].1));
    let foretold = FORETOLD.hypot(card.fitted.scale_sigma_at(start.forward(Point::default())));
    let mut best: Option<Beside> = None;
    for edges in ranked(&found, figure, foretold).into_iter().take(COMBINATIONS) {
        let on = |k: usize| Some(on_edge(edges[k].as_ref()?, k, &sides[k].0, &sides[k].1));
        let points: Vec<Seen> = (0..4).filter_map(on).flatten().collect();
        let Some(b) = together(s, card, &points, laid, figure, level) else { continue };
        if best.as_ref().is_none_or(|best| b.quality > best.quality) {
            best = Some(b);
        }
        if best.as_ref().is_some_and(|b| b.quality > ENOUGH) {
            break;
        }
    }
    best
}

/// Card and rim fitted together, led by the rim's `points`, if what is then seen of the rim passes as one.
fn together(
    s: &Search,
    card: &Candidate,
    points: &[Seen],
    laid: Laid,
    figure: &Figure,
    level: Level,
) -> Option<Beside> {
    let fit = |view: &PlaneView, points: &[Seen], laid: Laid, rounds: usize| {
        let on_card = on_figure(&s.profiler, view, CARD.outline, 1);
        let (one, two) = ((on_card.points.as_slice(), CARD.outline), (points, figure.outline));
        let both = fit_two(view, one, two, laid, RIM_SIZE_SIGMA_MM, &s.camera, EDGE_SIGMA, rounds)?;
        Some((both, on_card))
    };
    let (mut now, _): (Together, _) = fit(&card.fitted.view, points, laid, 1)?;
    let mut seen = None;
    for _ in 0..2 {
        let on_rim = on_figure(&s.profiler, &now.second.view, now.outline, 1);
        // The first look is from a rough place.
        if best_three(on_rim.sides).1 < ROUGH.0 || on_rim.corners.iter().sum::<f64>() < 4.0 * ROUGH.1 {
            return None;
        }
        let (both, on_card) = fit(&now.first.view, &on_rim.points, now.laid, 2)?;
        now = both;
        seen = Some((on_card, on_rim));
    }
    let (on_card, on_rim) = seen?;
    let give_way: f64 = now.size_off.iter().map(|o| o * o).sum();
    let quality = best_three(on_rim.sides).0 + best_three(on_rim.corners).0 - GIVE_WAY * give_way;
    let (card_now, rim) = (Candidate::new(now.first, &on_card), Candidate::new(now.second, &on_rim));
    let passes = best_three(on_rim.sides).1 >= RIM_ONE_OF_THREE
        && rim.corner_share() >= RIM_CORNERS
        && now.size_off.iter().all(|o| o.abs() < OTHER_SIZE)
        && rim.fitted.residual_px < LARGEST_RIM_RMS_MM * rim.px_per_mm
        && card_now.fitted.residual_px < 1.3 * card.fitted.residual_px + 0.1
        // A thing of about the planned shape is no pocket: its shadow falls outside.
        && lie(s.photo, &rim.fitted.view, figure.outline) != Lie::Proud;
    passes.then_some(Beside { card: card_now, rim, level, quality })
}

/// Least share of the third best side, and mean share of the corners, that a fit is worth going on with.
const ROUGH: (f64, f64) = (0.5, 0.5);

/// Least share that shows of the third best side: letters that run into the wall leave two thirds.
const RIM_ONE_OF_THREE: f64 = 0.6;

/// From how many sigmas on a pocket's width or height is another than the planned one.
const OTHER_SIZE: f64 = 2.5;

/// What a square sigma of giving way costs of the quality: an edge of the foot taken for the rim's, two sigmas off, as much
/// as a side and a corner that do not show.
const GIVE_WAY: f64 = 0.1;

/// Combinations of edges, at most one side without, best first. `foretold`: one sigma of the scale that the card foretells
/// there.
fn ranked(found: &[Vec<Edge>; 4], figure: &Figure, foretold: f64) -> Vec<[Option<Edge>; 4]> {
    let sizes = [figure.outline.height, figure.outline.width];
    let some = |k: usize| found[k].iter().map(|e| Some(*e)).chain([None]).collect::<Vec<_>>();
    let mut all: Vec<[Option<Edge>; 4]> = vec![[None; 4]];
    for k in 0..4 {
        let with = |edges: [Option<Edge>; 4]| {
            some(k).into_iter().map(move |e| std::array::from_fn(|i| if i == k { e } else { edges[i] }))
        };
        all = all.into_iter().flat_map(with).collect();
    }
    let score = |edges: &[Option<Edge>; 4]| {
        let shown = edges.iter().flatten().count() as f64;
        let mut score = edges.iter().flatten().map(|e| e.share).sum::<f64>() / shown - MISSING * (4.0 - shown);
        for k in 0..2 {
            // How much wider apart opposite sides are than foretold.
            if let (Some(p), Some(q)) = (edges[k], edges[k + 2]) {
                score -= WIDER * ((p.a + q.a) / (foretold * sizes[k])).powi(2);
            }
        }
        for (edges, e) in found.iter().zip(edges) {
            let Some(e) = e else { continue };
            let outer = |o: &Edge| (0.05..BUNDLE_MM).contains(&(o.a - e.a)) && o.share > e.share - 0.1;
            score -= if edges.iter().any(outer) { INNER } else { 0.0 };
        }
        score
    };
    all.retain(|edges| edges.iter().flatten().count() >= 3);
    let mut ranked: Vec<(f64, [Option<Edge>; 4])> = all.into_iter().map(|edges| (score(&edges), edges)).collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.into_iter().map(|r| r.1).collect()
}

/// What a side without edge, an edge with another one just outside, and each square sigma of the distance foretold cost a
/// combination, in shares of the sides that show. They only say in which order the combinations are tried.
const MISSING: f64 = 0.1;
const INNER: f64 = 0.1;
const WIDER: f64 = 0.02;

/// Doubt of the scale foretold beside a card besides the fit's own: sides a pixel off on a small pocket.
const FORETOLD: f64 = 0.004;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::Photo;
    use crate::plan::PlannedCut;
    use crate::reference::drawn::{photo, view};
    use crate::reference::fit::Outline;
    use crate::reference::{id1, pocket};

    const CUTTER_MM: f64 = 4.0;

    fn plan(width: f64, height: f64) -> PlannedCut {
        let mut plan = PlannedCut { pocket_mm: Some((width, height)), depth_mm: Some(3.0), ..Default::default() };
        plan.cutter.diameter_mm = Some(CUTTER_MM);
        plan
    }
    fn inside(outline: Outline, p: Point) -> f64 {
        (0.5 - outline.distance(p) * 6.0).clamp(0.0, 1.0)
    }
    fn laid(at: (f64, f64), turn_deg: f64, up_mm: f64) -> PlaneView {
        Laid { at: Point::new(at.0, at.1), turn: f64::to_radians(turn_deg), up_mm }.view(&view())
    }
    /// A card on stock with a pocket of `size` seen as `rim`, whose floor is as pale as the stock: a shadow 3 mm wide runs
    /// along three of its sides, and nothing shows the fourth.
    fn scene(card: &PlaneView, rim: &PlaneView, size: (f64, f64)) -> Photo {
        let outline = Outline { width: size.0, height: size.1, radius: CUTTER_MM / 2.0 };
        let floor = Outline { width: size.0 - 6.0, height: size.1 + 20.0, radius: 1.0 };
        photo(|p| {
            let at = rim.backward(p);
            let shadow = inside(outline, at) * (1.0 - inside(floor, at - Point::new(0.0, 13.0)));
            let stock = 200.0 - 170.0 * shadow;
            stock + inside(CARD.outline, card.backward(p)) * (130.0 - stock)
        })
    }
    fn found(photo: &Photo, plan: &PlannedCut) -> Option<Beside> {
        let s = Search::new(photo, plan, None).expect("large enough");
        let card = id1::find(&s).expect("the card");
        beside(&s, &card, None, &pocket::rim(plan).expect("planned"))
    }
    #[test]
    fn three_sides_beside_the_card_are_the_rim_and_make_the_scale_there_surer() {
        let (card, rim) = (laid((0.0, -22.0), -6.0, 0.0), laid((5.0, 31.0), -3.0, -CARD_THICKNESS_MM));
        let photo = scene(&card, &rim, (64.0, 40.0));
        let b = found(&photo, &plan(64.0, 40.0)).expect("the rim");
        assert_eq!(b.level, Level::Rim);
        let middle = rim.forward(Point::default());
        let scale = |v: &PlaneView| v.scale_at(v.backward(middle));
        let error = (scale(&b.rim.fitted.view) / scale(&rim)).ln();
        assert!(error.abs() < 5e-4, "{error}");
        // Both lie on parallel planes of one camera.
        let turn = b.card.fitted.view.pose.normal().dot(&b.rim.fitted.view.pose.normal());
        assert!((turn - 1.0).abs() < 1e-9);
        let plan = plan(64.0, 40.0);
        let s = Search::new(&photo, &plan, None).expect("large enough");
        let alone = id1::find(&s).expect("the card").fitted.scale_sigma_at(middle);
        let both = b.card.fitted.scale_sigma_at(middle);
        assert!(both < 0.7 * alone, "{both} {alone}");
    }
    #[test]
    fn a_pocket_of_another_size_is_not_the_planned_one() {
        let (card, rim) = (laid((0.0, -22.0), -6.0, 0.0), laid((5.0, 31.0), -3.0, -CARD_THICKNESS_MM));
        let photo = scene(&card, &rim, (64.0, 40.0));
        assert!(found(&photo, &plan(67.0, 42.0)).is_none());
    }
    #[test]
    fn a_card_within_the_rim_lies_on_the_floor() {
        let depth = 3.0;
        let (card, rim) = (laid((0.0, 4.0), 2.0, 0.0), laid((1.0, 2.0), 3.0, depth - CARD_THICKNESS_MM));
        let b = found(&scene(&card, &rim, (108.0, 74.0)), &plan(108.0, 74.0)).expect("the rim");
        assert_eq!(b.level, Level::Floor);
    }
}
