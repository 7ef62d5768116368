//! How the passes of one level are laid and in what order: side by side or round and round, to and fro or one way,
//! climbing or not, from the middle or from the wall.

use super::floor::{FirstPass, PassPattern};
use super::lanes::{Piece, Place};
use super::moves::Spin;
use crate::geometry::Point;
use crate::units::line_difference;
use std::ops::Range;

/// Neighbours within this of the spacing are the next pass (the last one may be narrower, corners are wider).
const NEXT_PASS: f64 = 1.5;
/// More than this share of the neighbours running the other way: to and fro. Loops have neighbours of their own way,
/// but for the innermost.
const TO_AND_FRO: f64 = 0.5;
/// From this share of the length within five degrees of one heading on, passes run one way.
const ONE_HEADING: f64 = 0.7;
/// How far a straight pass may turn from the common direction, degrees.
const STRAIGHT_DEG: f64 = 5.0;
/// Shares between these leave open from where the passes started.
const CLEAR_MAJORITY: f64 = 0.7;

#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Layout {
    pub pattern: Option<PassPattern>,
    pub angle_deg: Option<f64>,
    pub both_ways: Option<bool>,
    pub passes: usize,
}

/// Whether the second piece goes on where the first ends.
fn joined(a: &Piece, b: &Piece) -> bool {
    a.b.distance(b.a) < 1e-6
}

fn heading_deg(p: &Piece) -> f64 {
    (p.b.y - p.a.y).atan2(p.b.x - p.a.x).to_degrees()
}

/// Commonest direction of the pieces, degrees in [0, 180), by length.
fn main_direction(pieces: &[Piece]) -> f64 {
    let mut bins = [0.0; 360];
    for p in pieces {
        bins[((heading_deg(p).rem_euclid(180.0) * 2.0) as usize).min(359)] += p.a.distance(p.b);
    }
    let near = |k: usize| bins[(k + 359) % 360] + bins[k] + bins[(k + 1) % 360];
    let best = (0..360).max_by(|a, b| near(*a).total_cmp(&near(*b))).unwrap_or(0);
    let centre = best as f64 / 2.0 + 0.25;
    let (mut sum, mut all) = (0.0, 0.0);
    for p in pieces {
        let off = line_difference(heading_deg(p), centre);
        if off.abs() < 1.0 {
            sum += off * p.a.distance(p.b);
            all += p.a.distance(p.b);
        }
    }
    if all > 0.0 { centre + sum / all } else { centre }
}

/// How the passes are laid. Without a spacing (single lines) nothing is said.
pub(super) fn layout(pieces: &[Piece], places: &[Place], spacing: Option<f64>) -> Layout {
    let Some(s) = spacing else { return Layout::default() };
    let (mut same, mut other) = (0.0, 0.0);
    for p in places {
        for b in p.sides.iter().flatten().filter(|b| b.distance <= NEXT_PASS * s) {
            *(if b.same_way { &mut same } else { &mut other }) += p.weight;
        }
    }
    if same + other <= 0.0 {
        return Layout::default();
    }
    let angle = main_direction(pieces);
    let both_ways = other / (same + other) > TO_AND_FRO;
    // Length by heading: along the common direction, against it, and all.
    let (mut along, mut against, mut all) = (0.0, 0.0, 0.0);
    for p in pieces {
        let l = p.a.distance(p.b);
        all += l;
        if line_difference(heading_deg(p), angle).abs() <= STRAIGHT_DEG {
            let back = (heading_deg(p) - angle).to_radians().cos() < 0.0;
            *(if back { &mut against } else { &mut along }) += l;
        }
    }
    let one_way = along.max(against) >= ONE_HEADING * all;
    if (both_ways && along + against >= 0.5 * all) || one_way {
        return Layout {
            pattern: Some(PassPattern::Parallel),
            angle_deg: Some(angle),
            both_ways: Some(!one_way),
            passes: straight_passes(pieces, angle, s),
        };
    }
    Layout {
        pattern: (!both_ways).then_some(PassPattern::Contour),
        angle_deg: None,
        both_ways: None,
        passes: unbroken(pieces).iter().map(|r| (turned(&pieces[r.clone()]).abs() / 360.0).round() as usize).sum(),
    }
}

/// Degrees by which the second piece turns to the left.
fn bend(a: &Piece, b: &Piece) -> f64 {
    let d = (heading_deg(b) - heading_deg(a)).rem_euclid(360.0);
    if d > 180.0 { d - 360.0 } else { d }
}

/// Straight stretches longer than the way over to the next pass.
fn straight_passes(pieces: &[Piece], angle: f64, s: f64) -> usize {
    let (mut n, mut run) = (0, 0.0);
    for (k, p) in pieces.iter().enumerate() {
        let straight = line_difference(heading_deg(p), angle).abs() <= STRAIGHT_DEG;
        let on = straight && k > 0 && joined(&pieces[k - 1], p);
        if !on {
            run = 0.0;
        }
        if straight {
            let before = run;
            run += p.a.distance(p.b);
            n += usize::from(before <= 1.5 * s && run > 1.5 * s);
        }
    }
    n
}

/// Where the stock stood while the passes were cut.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Sides {
    /// Length with the floor already cut on the left only, on the right only, and on neither side though passes follow
    /// there, mm.
    cut_left: f64,
    cut_right: f64,
    pub full_width: f64,
    /// Of loops: length whose already cut side lies inward, and outward.
    inward: f64,
    outward: f64,
}

impl Sides {
    /// Clockwise and stock on the right is climb milling (the tooth moves against the feed there); so is the other hand
    /// with stock on the left.
    pub fn climb_share(&self, spin: Spin) -> Option<f64> {
        let all = self.cut_left + self.cut_right;
        match spin {
            _ if all <= 0.0 => None,
            Spin::Clockwise => Some(self.cut_left / all),
            Spin::Counterclockwise => Some(self.cut_right / all),
            Spin::Off => None,
        }
    }
}

pub(super) fn sides(places: &[Place], pieces: &[Piece], spacing: Option<f64>, cutter_mm: Option<f64>) -> Sides {
    let mut out = Sides::default();
    let Some(s) = spacing else { return out };
    // Without the cutter's diameter a pass counts as cut free by one that is the next beside it.
    let reach = cutter_mm.unwrap_or(NEXT_PASS * s);
    let turns = turning(pieces);
    for p in places {
        let [left, right] = p.sides.map(|b| b.and_then(|b| b.earlier_at).is_some_and(|e| e <= reach));
        let inner_left = turns[p.piece] > 0.0;
        match (left, right) {
            (true, false) => out.cut_left += p.weight,
            (false, true) => out.cut_right += p.weight,
            (false, false) if p.sides.iter().any(Option::is_some) => out.full_width += p.weight,
            _ => {}
        }
        if left != right && turns[p.piece] != 0.0 {
            *(if left == inner_left { &mut out.inward } else { &mut out.outward }) += p.weight;
        }
    }
    out
}

/// Ranges of pieces that go on from one another.
pub(super) fn unbroken(pieces: &[Piece]) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = vec![];
    for k in 0..pieces.len() {
        match out.last_mut().filter(|_| k > 0 && joined(&pieces[k - 1], &pieces[k])) {
            Some(r) => r.end = k + 1,
            None => out.push(k..k + 1),
        }
    }
    out
}

/// Degrees turned to the left over unbroken pieces.
fn turned(pieces: &[Piece]) -> f64 {
    pieces.windows(2).map(|w| bend(&w[0], &w[1])).sum()
}

/// For every piece the sense in which its unbroken run turns (positive: to the left), 0 for runs that do not close.
fn turning(pieces: &[Piece]) -> Vec<f64> {
    let mut out = vec![0.0; pieces.len()];
    for r in unbroken(pieces) {
        let sum = turned(&pieces[r.clone()]);
        // Three quarters of a turn: a rectangle's loop shows three of its corners between its ends.
        out[r].fill(if sum.abs() >= 269.0 { sum.signum() } else { 0.0 });
    }
    out
}

/// Where the first pass lies: of straight passes by its place across them, of loops by which side was cut before.
pub(super) fn first_pass(
    layout: &Layout,
    sides: &Sides,
    pieces: &[Piece],
    low: Point,
    high: Point,
) -> Option<FirstPass> {
    match layout.pattern? {
        PassPattern::Contour => {
            let all = sides.inward + sides.outward;
            match sides.inward / all {
                share if share >= CLEAR_MAJORITY => Some(FirstPass::InTheMiddle),
                share if share <= 1.0 - CLEAR_MAJORITY => Some(FirstPass::AtTheWall),
                _ => None,
            }
        }
        PassPattern::Parallel => {
            let angle = layout.angle_deg?.to_radians();
            let across = |p: Point| p.y * angle.cos() - p.x * angle.sin();
            let corners = [low, high, Point::new(low.x, high.y), Point::new(high.x, low.y)].map(across);
            let (min, max) = corners.iter().fold((f64::MAX, f64::MIN), |s, v| (s.0.min(*v), s.1.max(*v)));
            let first = pieces
                .iter()
                .find(|p| line_difference(heading_deg(p), layout.angle_deg.unwrap_or(0.0)).abs() <= STRAIGHT_DEG)?;
            // Within a tenth of the width from either side.
            let t = (across(first.a) - min) / (max - min);
            Some(if (0.1..=0.9).contains(&t) { FirstPass::InTheMiddle } else { FirstPass::AtTheWall })
        }
    }
}
