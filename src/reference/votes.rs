//! Where on a plane a rectangle of known size may lie: crests of the reduced picture vote for its sides.

use super::edges::Edges;
use super::fit::Outline;
use super::lines::Crest;
use crate::geometry::{PlaneView, Point};
use rayon::prelude::*;

/// A place of the rectangle: its middle (mm on the plane), its turn (radians), and the votes for its sides.
#[derive(Debug, Clone, Copy)]
pub struct Voted {
    pub at: Point,
    pub turn: f64,
    pub sides: [f64; 4],
}

impl Voted {
    fn score(&self) -> f64 {
        self.sides.iter().sum()
    }
}

/// How far from the card a pocket is looked for, mm.
const FARTHEST_MM: f64 = 500.0;

/// Width of a cell, mm.
const CELL_MM: f64 = 1.0;
/// Turns tried, radians: at the ends of a side of 120 mm half a step is 0.4 mm.
const TURNS: usize = 240;
const TURN: f64 = std::f64::consts::PI / TURNS as f64;
/// Largest angle between a crest and its side, in turns tried: five degrees.
const ALONG: usize = 6;
/// Room left round the marks, cells: a side that does not show may lie beyond all that do.
const ROOM: f64 = 3.0;
/// Contrast beyond which an edge is no better.
const FULL: f32 = 0.12;
/// Least votes of the third best side.
const LEAST: f64 = 0.35;

/// A crest on the plane: where, and its weight.
type Mark = (Point, f32);

/// Cells along and across one direction, with running sums along it.
struct Grid {
    long: usize,
    sums: Vec<f32>,
}

impl Grid {
    /// `marks`: (along, across) in cells, weight.
    fn new(marks: impl Iterator<Item = (f64, f64, f32)>, long: usize, rows: usize) -> Self {
        let mut cells = vec![0f32; long * rows];
        for (u, v, weight) in marks {
            let (i, j) = (u as usize, v as usize);
            // Both rows that the mark lies nearest to.
            let other = if v.fract() < 0.5 { j.saturating_sub(1) } else { (j + 1).min(rows - 1) };
            for j in [j, other] {
                let cell = &mut cells[j * long + i];
                *cell = cell.max(weight);
            }
        }
        let mut sums = vec![0f32; (long + 1) * rows];
        for (sums, cells) in sums.chunks_mut(long + 1).zip(cells.chunks(long)) {
            let mut sum = 0.0;
            for (s, cell) in sums[1..].iter_mut().zip(cells) {
                sum += cell;
                *s = sum;
            }
        }
        Self { long: long + 1, sums }
    }
    /// Whether a stretch of `cells` in a row may hold votes of [`LEAST`].
    fn may(&self, row: usize, cells: usize) -> bool {
        f64::from(self.sums[(row + 1) * self.long - 1]) >= LEAST * cells as f64
    }
    fn mean(&self, row: usize, from: usize, to: usize) -> f64 {
        f64::from(self.sums[row * self.long + to] - self.sums[row * self.long + from]) / (to - from) as f64
    }
}

/// The likeliest places of a rectangle on the plane seen as `plane`, best first, at most `most`.
pub fn places(edges: &Edges, crests: &[Crest], plane: &PlaneView, outline: Outline, most: usize) -> Vec<Voted> {
    let full = |p: Point| Point::new(edges.full(p.x), edges.full(p.y));
    // By their direction.
    let mut marks: Vec<Vec<Mark>> = vec![vec![]; TURNS];
    for c in crests {
        let tangent = Point::new(-f64::from(c.normal.sin()), f64::from(c.normal.cos()));
        let (at, ahead) = (plane.backward(full(c.at)), plane.backward(full(c.at + tangent)));
        let along = (ahead.y - at.y).atan2(ahead.x - at.x).rem_euclid(std::f64::consts::PI);
        if at.x.hypot(at.y) < FARTHEST_MM {
            marks[(along / TURN).round() as usize % TURNS].push((at, c.strength.min(FULL) / FULL));
        }
    }
    let mut all: Vec<Voted> = (0..TURNS).into_par_iter().flat_map_iter(|i| at_turn(&marks, i, outline)).collect();
    all.sort_by(|a, b| b.score().total_cmp(&a.score()));
    let mut out: Vec<Voted> = vec![];
    for v in all {
        let same = |o: &Voted| {
            let turn = (o.turn - v.turn).abs();
            o.at.distance(v.at) < APART_MM && turn.min(std::f64::consts::PI - turn) < 6.0 * TURN
        };
        if !out.iter().any(same) {
            out.push(v);
            if out.len() == most {
                break;
            }
        }
    }
    out
}

/// How far apart two places are, mm.
const APART_MM: f64 = 2.5;

fn at_turn(marks: &[Vec<Mark>], index: usize, outline: Outline) -> Vec<Voted> {
    let turn = index as f64 * TURN;
    let (along, across) = (Point::new(turn.cos(), turn.sin()), Point::new(-turn.sin(), turn.cos()));
    let dot = |a: Point, b: Point| a.x * b.x + a.y * b.y;
    let near = |of: usize| -> Vec<(f64, f64, f32)> {
        let some = (0..=2 * ALONG).flat_map(|i| &marks[(of + TURNS + i - ALONG) % TURNS]);
        some.map(|(at, weight)| (dot(*at, along), dot(*at, across), *weight)).collect()
    };
    let (lying, standing) = (near(index), near(index + TURNS / 2));
    let (mut low, mut high) = ((f64::INFINITY, f64::INFINITY), (f64::NEG_INFINITY, f64::NEG_INFINITY));
    for (u, v, _) in lying.iter().chain(&standing) {
        low = (low.0.min(*u), low.1.min(*v));
        high = (high.0.max(*u), high.1.max(*v));
    }
    let room = ROOM * CELL_MM;
    let (low, high) = ((low.0 - room, low.1 - room), (high.0 + room, high.1 + room));
    let (w, h) = ((outline.width / CELL_MM).round() as usize, (outline.height / CELL_MM).round() as usize);
    let r = (outline.radius / CELL_MM).ceil() as usize;
    if !(high.0 - low.0 > outline.width && high.1 - low.1 > outline.height) || w <= 2 * r + 2 || h <= 2 * r + 2 {
        return vec![];
    }
    let cells = |a: f64| (a / CELL_MM) as usize + 1;
    let (nu, nv) = (cells(high.0 - low.0), cells(high.1 - low.1));
    let to = |(u, v, weight): &(f64, f64, f32)| ((u - low.0) / CELL_MM, (v - low.1) / CELL_MM, *weight);
    let rows = Grid::new(lying.iter().map(to), nu, nv);
    let columns = Grid::new(standing.iter().map(to).map(|(u, v, k)| (v, u, k)), nv, nu);
    // Three of four sides: both of one pair, and one of the other.
    let pairs = |grid: &Grid, count: usize, apart: usize, cells: usize| -> Vec<(usize, bool)> {
        let both = |i: usize| [i, i + apart].map(|i| grid.may(i, cells));
        let some = (0..count.saturating_sub(apart)).map(|i| (i, both(i)));
        some.filter(|(_, may)| may[0] || may[1]).map(|(i, may)| (i, may[0] && may[1])).collect()
    };
    let (lying, standing) = (pairs(&rows, nv, h, w - 2 * r), pairs(&columns, nu, w, h - 2 * r));
    let mut out = vec![];
    for (j, two) in lying {
        for (i, other) in &standing {
            if !(two || *other) {
                continue;
            }
            let [top, bottom] = [j, j + h].map(|j| rows.mean(j, i + r, i + w - r));
            if top.max(bottom) < LEAST {
                continue;
            }
            let [left, right] = [*i, i + w].map(|i| columns.mean(i, j + r, j + h - r));
            let sides = [top, right, bottom, left];
            let mut sorted = sides;
            sorted.sort_by(f64::total_cmp);
            if sorted[1] < LEAST {
                continue;
            }
            let (u, v) = (low.0 + (*i as f64 + 0.5) * CELL_MM, low.1 + (j as f64 + 0.5) * CELL_MM);
            let at = along * (u + outline.width / 2.0) + across * (v + outline.height / 2.0);
            out.push(Voted { at, turn, sides });
        }
    }
    // Of one turn only the best: neighbours say the same.
    out.sort_by(|a, b| b.score().total_cmp(&a.score()));
    out.truncate(40);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::drawn::{photo, view};
    use crate::reference::edges::{LONG_SIDE, edges};
    use crate::reference::fit::Laid;
    use crate::reference::lines::crests;

    #[test]
    fn the_drawn_rectangle_gets_most_votes() {
        let outline = Outline { width: 64.0, height: 40.0, radius: 3.0 };
        let laid = Laid { at: Point::new(5.0, 21.0), turn: 0.2, up_mm: 0.0 };
        let own = laid.view(&view());
        let drawn = photo(|p| 190.0 - 90.0 * (0.5 - outline.distance(own.backward(p)) * 6.0).clamp(0.0, 1.0));
        let e = edges(&drawn, LONG_SIDE).expect("large enough");
        let best = places(&e, &crests(&e), &view(), outline, 3)[0];
        assert!(best.at.distance(laid.at) < 1.0 && (best.turn - laid.turn).abs() < 2.0 * TURN, "{best:?}");
        assert!(best.sides.iter().all(|v| *v > 0.9), "{best:?}");
    }
}
