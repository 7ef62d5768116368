//! Which card lies where on a lattice of saddle corners.

use super::code::{Window, card_of, look, placement};
use super::lattice::Lattice;
use crate::card::{BLOCK_CELLS, Card, Cell, Form};
use crate::geometry::Point;
use crate::raster::Plane;

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
    /// The same for places between the points.
    pub fn forward_f(&self, p: Point) -> Point {
        let q = match self.turns % 4 {
            0 => p,
            1 => Point::new(-p.y, p.x),
            2 => Point::new(-p.x, -p.y),
            _ => Point::new(p.y, -p.x),
        };
        q + Point::new(f64::from(self.shift.0), f64::from(self.shift.1))
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

/// Likeness (mean over the card's blocks in the photo) from which a card is known although no code could be read, and
/// by how much it must lead every other card, turn or shift. A chance pattern reaches 0.1; a covered block counts 0.
const ALIKE: f32 = 0.3;
const LEAD: f32 = 0.15;

/// Finds the card that explains a lattice, by its codes.
///
/// `to_px` maps lattice coordinates to pixels of `plane`. `None` when no code can be read and no card stands out by the
/// likeness of its blocks: a plain checker alone is never a card.
pub fn identify(plane: &Plane, lattice: &Lattice, to_px: &impl Fn(Point) -> Point, all: &[Card]) -> Option<Placement> {
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

/// Windows of 4 x 4 cells without saddles inside that show finder patterns.
fn likely_windows(plane: &Plane, lattice: &Lattice, to_px: &impl Fn(Point) -> Point) -> Vec<Window> {
    let keys = || lattice.nodes.keys();
    let (Some(i0), Some(i1)) = (keys().map(|k| k.0).min(), keys().map(|k| k.0).max()) else { return vec![] };
    let (Some(j0), Some(j1)) = (keys().map(|k| k.1).min(), keys().map(|k| k.1).max()) else { return vec![] };
    let mut out = vec![];
    // A block that touches the lattice's nodes on one side at least.
    for j in j0 - BLOCK_CELLS - 1..=j1 + 1 {
        for i in i0 - BLOCK_CELLS - 1..=i1 + 1 {
            let inner = (1..BLOCK_CELLS).flat_map(|a| (1..BLOCK_CELLS).map(move |b| (i + a, j + b)));
            if inner.into_iter().filter(|p| lattice.nodes.contains_key(p)).count() > 1 {
                continue;
            }
            out.extend(look(plane, to_px, (i, j), 1).filter(Window::is_likely));
        }
    }
    out
}

/// The placement whose blocks look most like those in the photo, if it leads clearly.
fn alike(
    plane: &Plane,
    lattice: &Lattice,
    to_px: &impl Fn(Point) -> Point,
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

/// Mean likeness of a card's blocks that lie in the photo.
fn score(plane: &Plane, to_px: &impl Fn(Point) -> Point, card: &Card, p: &Placement) -> f32 {
    let seen = card.blocks().iter().filter_map(|b| {
        let w = look(plane, to_px, p.window(b.cell), 2)?;
        Some(w.likeness(&b.modules, p.turns))
    });
    let (n, sum) = seen.fold((0, 0.0), |(n, s), v| (n + 1, s + v));
    if n == 0 { 0.0 } else { sum / n as f32 }
}

/// The cell of the card under a place of the lattice it lies on, for drawing and tests.
pub fn cell_under(card: &Card, p: &Placement, at: (i32, i32)) -> Cell {
    let twice = turned((2 * (at.0 - p.shift.0) + 1, 2 * (at.1 - p.shift.1) + 1), 4 - p.turns);
    card.cell((twice.0 - 1).div_euclid(2), (twice.1 - 1).div_euclid(2))
}
