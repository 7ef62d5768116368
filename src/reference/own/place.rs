//! Which card lies where on a lattice of saddle corners.

use super::code::{Window, card_of, look, placement};
use super::lattice::Lattice;
use crate::card::{BLOCK_CELLS, Card, Form};
use crate::geometry::Point;
use crate::raster::Plane;
use rayon::prelude::*;
use std::collections::HashMap;

/// A card laid on a lattice: card lattice point p stands at the turned p plus the shift.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placement {
    pub form: Form,
    /// Quarter turns, +x towards +y.
    pub turns: usize,
    pub shift: (i32, i32),
}

/// Lattice vector after quarter turns, +x towards +y.
pub fn turned(p: (i32, i32), turns: usize) -> (i32, i32) {
    match turns % 4 {
        0 => p,
        1 => (-p.1, p.0),
        2 => (-p.0, -p.1),
        _ => (p.1, -p.0),
    }
}

impl Placement {
    /// Card lattice point to the lattice it lies on.
    pub fn forward(&self, p: (i32, i32)) -> (i32, i32) {
        let q = turned(p, self.turns);
        (q.0 + self.shift.0, q.1 + self.shift.1)
    }
    /// First corner (in the lattice it lies on) of the window of a block whose first corner on the card is `cell`.
    fn window(&self, cell: (i32, i32)) -> (i32, i32) {
        let half = BLOCK_CELLS / 2;
        let middle = self.forward((cell.0 + half, cell.1 + half));
        (middle.0 - half, middle.1 - half)
    }
    /// Whether the squares of the lattice have the card's colours: all nodes but a few lie on saddles of the card.
    fn suits(&self, card: &Card, lattice: &Lattice) -> bool {
        let back = |p: (i32, i32)| turned((p.0 - self.shift.0, p.1 - self.shift.1), 4 - self.turns);
        // The cell between the nodes (0, 0) and (1, 1), by twice its middle.
        let twice = turned((1 - 2 * self.shift.0, 1 - 2 * self.shift.1), 4 - self.turns);
        let cell = ((twice.0 - 1).div_euclid(2), (twice.1 - 1).div_euclid(2));
        let white = (cell.0 + cell.1).rem_euclid(2) != 0;
        let on = lattice.nodes.keys().filter(|n| {
            let p = back(**n);
            card.is_saddle(p.0, p.1)
        });
        white == lattice.white_at_origin && on.count() as f64 >= LEAST_ON * lattice.nodes.len() as f64
    }
}

/// Least share of a lattice's nodes that must be saddle corners of the card: chance corners of a code's modules or of
/// what lies beside the card may have been linked to it.
const LEAST_ON: f64 = 0.85;

/// From which likeness a block counts as seen where no code can be read, the least sum of such likenesses that tells a
/// card, and by how much it must lead every other card, turn or shift. A chance pattern reaches 0.15; another block in
/// the same turn shares the finder patterns and reaches two thirds of the true one, with a scatter of 0.05.
const SEEN: f32 = 0.35;
const ALIKE: f32 = 0.5;
const LEAD: f32 = 0.2;

/// Finds the card that explains a lattice, by its codes.
///
/// `to_px` maps lattice coordinates to pixels of `plane`. `None` when no code can be read and no card stands out by the
/// likeness of its blocks: a plain checker alone is never a card.
pub fn identify(
    plane: &Plane,
    lattice: &Lattice,
    to_px: &(impl Fn(Point) -> Point + Sync),
    all: &[Card],
) -> Option<Placement> {
    let windows = likely_windows(plane, lattice, to_px);
    let mut read: Vec<(Placement, usize)> = vec![];
    for w in &windows {
        let Some((code, turns)) = look(plane, to_px, w.at, 3).and_then(|w| w.read()) else { continue };
        let Some(card) = card_of(all, code.form).filter(|c| f64::from(code.pitch_um) == c.pitch_mm() * 1e3) else {
            continue;
        };
        let p = placement(card, code.block, w.at, turns);
        if p.suits(card, lattice) {
            match read.iter_mut().find(|q| q.0 == p) {
                Some(q) => q.1 += 1,
                None => read.push((p, 1)),
            }
        }
    }
    read.sort_by_key(|q| std::cmp::Reverse(q.1));
    match read[..] {
        [] => alike(plane, lattice, to_px, all, &windows),
        [one] => Some(one.0),
        [first, second, ..] => (first.1 > second.1).then_some(first.0),
    }
}

/// Windows of 4 x 4 cells with no saddles in them and some beside them, that show finder patterns.
fn likely_windows(plane: &Plane, lattice: &Lattice, to_px: &(impl Fn(Point) -> Point + Sync)) -> Vec<Window> {
    let side = BLOCK_CELLS;
    // Every window that some node lies one cell beside.
    let mut beside: HashMap<(i32, i32), usize> = HashMap::new();
    for n in lattice.nodes.keys() {
        for k in -1..=side {
            for (i, j) in [(k, -1), (side + 1, k), (side - k, side + 1), (-1, side - k)] {
                *beside.entry((n.0 - i, n.1 - j)).or_default() += 1;
            }
        }
    }
    let inside = |w: (i32, i32)| {
        let all = (0..=side).flat_map(|a| (0..=side).map(move |b| (w.0 + a, w.1 + b)));
        all.into_iter().filter(|p| lattice.nodes.contains_key(p)).count()
    };
    let mut some: Vec<(i32, i32)> =
        beside.into_iter().filter(|w| w.1 >= BESIDE && inside(w.0) <= INSIDE).map(|w| w.0).collect();
    some.sort_unstable();
    some.into_par_iter().filter_map(|w| look(plane, to_px, w, 1).filter(Window::is_likely)).collect()
}

/// Fewest nodes one cell beside a window that may be a block (an uncovered block has 7 and more of 24), and most on or in
/// it (none, but for a chance saddle of modules).
const BESIDE: usize = 3;
const INSIDE: usize = 2;

/// The placement whose blocks look most like those in the photo, if it leads clearly.
fn alike(
    plane: &Plane,
    lattice: &Lattice,
    to_px: &(impl Fn(Point) -> Point + Sync),
    all: &[Card],
    windows: &[Window],
) -> Option<Placement> {
    let mut tried: Vec<(Placement, f32)> = vec![];
    for w in windows {
        for card in all {
            for (block, turns) in (0..card.blocks().len()).flat_map(|b| (0..4).map(move |t| (b, t))) {
                let p = placement(card, block, w.at, turns);
                if tried.iter().all(|q| q.0 != p) && p.suits(card, lattice) {
                    tried.push((p, score(plane, to_px, card, &p)));
                }
            }
        }
    }
    tried.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (best, first) = *tried.first()?;
    let second = tried.get(1).map_or(0.0, |q| q.1);
    (first > ALIKE && first - second > LEAD).then_some(best)
}

/// Sum of the likenesses of a card's blocks that are seen.
fn score(plane: &Plane, to_px: &(impl Fn(Point) -> Point + Sync), card: &Card, p: &Placement) -> f32 {
    let all = card.blocks().iter().filter_map(|b| {
        let w = look(plane, to_px, p.window(b.cell), 2)?;
        Some(w.likeness(&b.modules, p.turns))
    });
    all.filter(|l| *l > SEEN).sum()
}
