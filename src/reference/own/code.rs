//! The QR blocks among the checker: read by their text, or compared with the blocks that were printed.

use super::place::{Placement, turned};
use crate::card::{BLOCK_CELLS, CODE_MODULES, Card, Code, Form, MODULE_MM, PITCH_MM};
use crate::geometry::Point;
use crate::raster::Plane;

const N: usize = CODE_MODULES;

/// What stands in one window of 4 x 4 cells of a lattice, as brightness of 21 x 21 modules, row by row along the lattice.
#[derive(Debug, Clone)]
pub struct Window {
    /// The window's first corner, lattice coordinates.
    pub at: (i32, i32),
    /// Brightness less the local middle over the local range: -1 black to 1 white.
    tone: Vec<f32>,
    /// The same before the modules were told apart from their neighbours' blur.
    raw: Vec<f32>,
}

/// Place of the middle of module (x, y), cells from the window's first corner.
fn module(x: f64, y: f64) -> Point {
    let first = f64::from(BLOCK_CELLS) / 2.0 - N as f64 * MODULE_MM / (2.0 * PITCH_MM);
    Point::new(first + (x + 0.5) * MODULE_MM / PITCH_MM, first + (y + 0.5) * MODULE_MM / PITCH_MM)
}

/// Looks into a window: `to_px` maps lattice coordinates to the plane's pixels, `spots` x `spots` samples a module.
///
/// `None` when it leaves the plane.
pub fn look(plane: &Plane, to_px: &impl Fn(Point) -> Point, at: (i32, i32), spots: usize) -> Option<Window> {
    let corner = Point::new(f64::from(at.0), f64::from(at.1));
    let side = f64::from(BLOCK_CELLS);
    for c in [(0.0, 0.0), (side, 0.0), (0.0, side), (side, side)] {
        let p = to_px(corner + Point::new(c.0, c.1));
        if !(p.x >= 0.0 && p.y >= 0.0 && p.x < plane.width as f64 && p.y < plane.height as f64) {
            return None;
        }
    }
    let mut raw = Vec::with_capacity(N * N);
    for y in 0..N {
        for x in 0..N {
            let mut sum = 0.0;
            for k in 0..spots * spots {
                let off = |i: usize| 0.7 * ((i as f64 + 0.5) / spots as f64 - 0.5);
                let p = to_px(corner + module(x as f64 + off(k % spots), y as f64 + off(k / spots)));
                sum += plane.bilinear(p.x, p.y);
            }
            raw.push(sum / (spots * spots) as f32);
        }
    }
    Some(Window { at, tone: tone(&raw, 0.0), raw })
}

/// Every module against the middle and the range of the 7 x 7 round it; `sharpen` times its excess over its four
/// neighbours is added first.
fn tone(raw: &[f32], sharpen: f32) -> Vec<f32> {
    let cell = |v: &[f32], x: usize, y: usize| v[y * N + x];
    let sharp: Vec<f32> = (0..N * N)
        .map(|k| {
            let (x, y) = (k % N, k / N);
            let (l, r) = (x.saturating_sub(1), (x + 1).min(N - 1));
            let (u, d) = (y.saturating_sub(1), (y + 1).min(N - 1));
            let round = (cell(raw, l, y) + cell(raw, r, y) + cell(raw, x, u) + cell(raw, x, d)) / 4.0;
            raw[k] + sharpen * (raw[k] - round)
        })
        .collect();
    // Lowest and highest along rows, then along columns.
    let span = |k: usize| k.saturating_sub(3)..=(k + 3).min(N - 1);
    let mut rows = [(0.0f32, 0.0f32); N * N];
    for (k, r) in rows.iter_mut().enumerate() {
        let (x, y) = (k % N, k / N);
        *r = span(x).fold((f32::MAX, f32::MIN), |(l, h), i| (l.min(sharp[y * N + i]), h.max(sharp[y * N + i])));
    }
    (0..N * N)
        .map(|k| {
            let (x, y) = (k % N, k / N);
            let (low, high) = span(y).fold((f32::MAX, f32::MIN), |(l, h), j| {
                let (a, b) = rows[j * N + x];
                (l.min(a), h.max(b))
            });
            2.0 * (sharp[k] - low) / (high - low).max(1e-6) - 1.0
        })
        .collect()
}

/// Index of module (x, y) of a code turned by `turns` quarter turns against the lattice.
fn index(x: usize, y: usize, turns: usize) -> usize {
    match turns {
        0 => y * N + x,
        1 => x * N + (N - 1 - y),
        2 => (N - 1 - y) * N + (N - 1 - x),
        _ => (N - 1 - x) * N + y,
    }
}

impl Window {
    /// How much each corner (of the turn that puts it first) looks like a finder pattern, -1 to 1.
    pub fn finders(&self) -> [f32; 4] {
        std::array::from_fn(|turns| {
            let mut both = Likeness::default();
            for y in 0..8 {
                for x in 0..8 {
                    // Rings of 7 x 7 black, 5 x 5 white and 3 x 3 black about (3, 3), white beyond.
                    let ring = (x as i32 - 3).abs().max((y as i32 - 3).abs());
                    both.add(self.tone[index(x, y, turns)], if ring == 2 || ring == 4 { 1.0 } else { -1.0 });
                }
            }
            both.value()
        })
    }
    /// Whether two finder patterns at least show: a block may be partly covered.
    pub fn is_likely(&self) -> bool {
        self.finders().iter().filter(|f| **f > LIKELY).count() >= 2
    }
    /// The code's text, and by how many quarter turns it is turned against the lattice.
    pub fn read(&self) -> Option<(Code, usize)> {
        // The corner without a finder pattern is the third round from the code's first; a covered one leaves a choice.
        let finders = self.finders();
        let mut turns: Vec<usize> = (0..4).filter(|t| finders[(t + 2) % 4] < LIKELY).collect();
        turns.sort_by(|a, b| finders[(a + 2) % 4].total_cmp(&finders[(b + 2) % 4]));
        [0.0, 0.6, 1.5].iter().find_map(|&sharpen| {
            let tone = tone(&self.raw, sharpen);
            turns.iter().find_map(|&turns| {
                let grid = rqrr::SimpleGrid::from_func(N, |x, y| tone[index(x, y, turns)] < 0.0);
                let (_, text) = rqrr::Grid::new(grid).decode().ok()?;
                Some((Code::parse(&text)?, turns))
            })
        })
    }
    /// Likeness to a printed block turned by `turns` against the lattice, -1 to 1; blur and noise lower it.
    pub fn likeness(&self, modules: &[bool], turns: usize) -> f32 {
        let mut both = Likeness::default();
        for y in 0..N {
            for x in 0..N {
                both.add(self.tone[index(x, y, turns)], if modules[y * N + x] { -1.0 } else { 1.0 });
            }
        }
        both.value()
    }
}

/// Least likeness of a corner to a finder pattern: one behind heavy blur reaches 0.35, sharp ones 0.9. Checker reaches 0.3
/// here and there; what is let in by mistake costs time only.
const LIKELY: f32 = 0.28;

/// Correlation coefficient of two rows of numbers.
#[derive(Default)]
struct Likeness {
    n: f32,
    a: f32,
    b: f32,
    aa: f32,
    bb: f32,
    ab: f32,
}

impl Likeness {
    fn add(&mut self, a: f32, b: f32) {
        self.n += 1.0;
        self.a += a;
        self.b += b;
        self.aa += a * a;
        self.bb += b * b;
        self.ab += a * b;
    }
    fn value(&self) -> f32 {
        let ab = self.ab - self.a * self.b / self.n;
        let (aa, bb) = (self.aa - self.a * self.a / self.n, self.bb - self.b * self.b / self.n);
        if aa > 1e-6 && bb > 1e-6 { ab / (aa * bb).sqrt() } else { 0.0 }
    }
}

/// Where the cards of `all` would lie for their block `block` to stand in a window.
pub fn placement(card: &Card, block: usize, at: (i32, i32), turns: usize) -> Placement {
    let half = BLOCK_CELLS / 2;
    let cell = card.blocks()[block].cell;
    let there = turned((cell.0 + half, cell.1 + half), turns);
    Placement { form: card.form, turns, shift: (at.0 + half - there.0, at.1 + half - there.1) }
}

/// The card of a form among all of them.
pub fn card_of(all: &[Card], form: Form) -> Option<&Card> {
    all.iter().find(|c| c.form == form)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A printed block in the middle of a plane, `px` per cell, turned.
    fn picture(card: &Card, block: usize, px: f64, turns: usize) -> Plane {
        let b = &card.blocks()[block];
        let middle = Point::new(f64::from(b.cell.0) + 2.0, f64::from(b.cell.1) + 2.0);
        let n = (6.0 * px) as usize;
        let sharp = Plane::from_fn(n, n, |x, y| {
            let mut q = Point::new((x as f64 + 0.5) / px - 3.0, (y as f64 + 0.5) / px - 3.0);
            for _ in 0..turns {
                q = Point::new(q.y, -q.x);
            }
            let dark = card.dark((middle + q) * PITCH_MM);
            // Light falls off to a quarter from left to right.
            (if dark { 0.05 } else { 0.8 }) * (1.0 - 0.75 * x as f32 / n as f32)
        });
        crate::raster::gaussian_blur(&sharp, 1.0)
    }
    #[test]
    fn every_block_is_read_whatever_its_turn() {
        for form in Form::ALL {
            let card = Card::of(form);
            for block in card.blocks() {
                for turns in 0..4 {
                    let px = 22.0;
                    let plane = picture(&card, block.index, px, turns);
                    let to_px = |p: Point| Point::new(p.x * px - 0.5, p.y * px - 0.5);
                    let w = look(&plane, &to_px, (1, 1), 2).unwrap();
                    assert!(w.is_likely());
                    assert_eq!(w.read(), Some((block.code, turns)), "{form} {} turned {turns}", block.index);
                    assert!(w.likeness(&block.modules, turns) > 0.75);
                    assert!(w.likeness(&block.modules, (turns + 1) % 4) < 0.5);
                    // One cell aside nothing is read.
                    assert!(look(&plane, &to_px, (2, 1), 2).unwrap().read().is_none());
                }
            }
        }
    }
}
