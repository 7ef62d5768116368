//! Where on the floor the first full-width cuts, corners and re-entries of the planned passes lie: the plan's pocket is laid
//! on the one that was found, the way round that the single edges speak for.

use super::digest::Digest;
use super::place;
use super::weights::FAIR;
use crate::expect::model::{Begin, Model};
use crate::geometry::{Point, signed_area};
use crate::plan::Pattern;

/// Sides of the found pocket may differ from the planned ones by this share, and its area from its box's, for the one to be
/// laid on the other: twice the error of a found outline of a small pocket (0.4 mm a side, 60 mm).
const SIDES: f64 = 0.03;

/// Places that the planned passes give a mark of their own, floor frame, mm.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Predicted {
    /// Outlines of the first cuts at full width.
    pub slots: Vec<Vec<Point>>,
    /// Where the cutter turns by more than 30 degrees.
    pub corners: Vec<Point>,
    /// Where it goes down into the floor's layer.
    pub entries: Vec<Point>,
    /// How it was laid, or why it was not (then everything else is empty).
    pub text: String,
}

/// `None` where the plan does not say enough for any place: cutter, stepover, pattern and the pocket's size, or a cutting
/// file; or where nothing is known in millimetres.
pub fn predicted(d: &Digest) -> Option<Predicted> {
    let straight = d.plan.pattern == Some(Pattern::Parallel) && d.plan.pass_angle_deg.is_some();
    let contour = d.plan.pattern == Some(Pattern::Contour);
    let file = d.plan.cutting_file.is_some();
    if !d.scaled || !(file || (straight || contour) && d.plan.pocket_mm.is_some()) {
        return None;
    }
    let not = |why: &str| {
        Some(Predicted {
            text: format!("Where the plan's own passes begin and turn is not drawn: {why}."),
            ..Predicted::default()
        })
    };
    let Some((turn_deg, middle, size)) = box_of(d) else {
        return not("the pocket's walls were not found");
    };
    // The ways the plan may lie. From a plan alone straight passes begin at either wall, loops at the wall or in the middle;
    // a cutting file knows, but not which way round the board lies in the photo.
    let ways: Vec<(Begin, f64)> =
        if file { vec![(Begin::Near, 0.0), (Begin::Near, 180.0)] } else { vec![(Begin::Near, 0.0), (Begin::Far, 0.0)] };
    let gains = place::each_way(d);
    let gain_of = |way: &(Begin, f64)| {
        let this = |g: &&place::Way| (file || g.begin == way.0) && g.turned_deg == way.1;
        gains.iter().filter(this).map(|g| g.placed.gain).fold(f64::NEG_INFINITY, f64::max)
    };
    let (one, two) = (gain_of(&ways[0]), gain_of(&ways[1]));
    let (best, other) = if one >= two { (&ways[0], two) } else { (&ways[1], one) };
    if !(gain_of(best) > 0.0 && gain_of(best) - other.max(-FAIR) > FAIR) {
        return not("it may lie on this floor in more than one way, and no edge that was found says which");
    }
    let model = Model::new(d.plan, best.0)?;
    let p = &model.passes;
    let fits = p.size_known && (size.0 / p.size_mm.0 - 1.0).abs() < SIDES && (size.1 / p.size_mm.1 - 1.0).abs() < SIDES;
    if !fits {
        return not("the pocket that was found does not have the planned size");
    }
    let (s, c) = (turn_deg + best.1).to_radians().sin_cos();
    let onto = |q: Point| {
        let w = q - Point::new(p.size_mm.0 / 2.0, p.size_mm.1 / 2.0);
        middle + Point::new(w.x * c - w.y * s, w.x * s + w.y * c)
    };
    let mut out = Predicted {
        slots: slots(&model).into_iter().map(|o| o.into_iter().map(onto).collect()).collect(),
        corners: model.turns().into_iter().map(onto).collect(),
        entries: p.lanes.iter().filter_map(|l| l.first().copied()).map(onto).collect(),
        text: String::new(),
    };
    let count = |n: usize, one: &str, more: &str| if n == 1 { format!("one {one}") } else { format!("{n} {more}") };
    out.text = format!(
        "Foretold by the {}, not measured: {} at full width, {} and {} where the cutter goes in. Laid the way round that the edges found speak for.",
        if file { "cutting file" } else { "plan" },
        count(out.slots.len(), "first cut", "first cuts"),
        count(out.corners.len(), "corner", "corners"),
        count(out.entries.len(), "place", "places"),
    );
    Some(out)
}

/// Direction of the found pocket's width, its middle and its sides, where it is a rectangle.
fn box_of(d: &Digest) -> Option<(f64, Point, (f64, f64))> {
    let x = d.patch.pocket_x_deg.filter(|_| !d.patch.outline_assumed)?;
    let (s, c) = x.to_radians().sin_cos();
    let ((u0, u1), (v0, v1)) = (d.patch.reach(x), d.patch.reach(x + 90.0));
    let size = (u1 - u0, v1 - v0);
    if !(signed_area(&d.patch.outline).abs() > (1.0 - 2.0 * SIDES) * size.0 * size.1) {
        return None;
    }
    let (u, v) = ((u0 + u1) / 2.0, (v0 + v1) / 2.0);
    Some((x, Point::new(u * c - v * s, u * s + v * c), size))
}

/// Outlines of the cuts at full width, pocket frame: the way of the cutter's sides there and back.
fn slots(model: &Model) -> Vec<Vec<Point>> {
    let r = model.passes.diameter_mm / 2.0;
    let mut out = vec![];
    let all = &model.pieces;
    let goes_on = |k: usize| {
        let (a, b) = (&all[k - 1], &all[k]);
        let (h, g) = (a.heading(), b.heading());
        a.slot && a.lane == b.lane && h.x * g.x + h.y * g.y > 0.9
    };
    let mut from = 0;
    for k in 1..=all.len() {
        if k < all.len() && all[k].slot == all[from].slot && (!all[k].slot || goes_on(k)) {
            continue;
        }
        let run = &all[from..k];
        if run[0].slot {
            let side =
                |sign: f64| run.iter().flat_map(move |p| [p.a + p.left() * (sign * r), p.b + p.left() * (sign * r)]);
            out.push(side(1.0).chain(side(-1.0).collect::<Vec<_>>().into_iter().rev()).collect());
        }
        from = k;
    }
    out
}
