//! What lies beside a pass: at places along the path of one level a line is sent out to the left and to the right, to the
//! next pass on either side, its distance, its direction and whether it was cut before.

use super::moves::{Kind, Move};
use crate::geometry::Point;
use std::collections::HashSet;

/// Chords of arcs leave them by at most this, mm.
const SAGITTA_MM: f64 = 0.01;
/// Passes nearer than this are the same one cut twice, mm: below the finest stepover in use (about 0.05 mm).
const SAME_PASS_MM: f64 = 0.02;
/// Two passes run beside each other when the cosine between them is at least this (26 degrees).
const ALONGSIDE: f64 = 0.9;
/// Places looked at on one level. The spacing's share of the length is then good to about 2 per cent.
const PLACES: usize = 3000;
/// Cells of the search grid along the longer side; only a matter of speed.
const CELLS: f64 = 256.0;

/// A straight piece of the path.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub a: Point,
    pub b: Point,
    /// Index of its move.
    pub from: usize,
}

impl Piece {
    fn length(&self) -> f64 {
        self.a.distance(self.b)
    }
    fn heading(&self) -> Point {
        (self.b - self.a) * (1.0 / self.length())
    }
}

/// The XY path of some moves as straight pieces in cutting order.
pub(super) fn pieces(moves: &[Move], which: &[usize]) -> Vec<Piece> {
    let mut out = vec![];
    for k in which {
        let m = &moves[*k];
        let n = match m.kind {
            Kind::Arc(a) => {
                let step = 2.0 * (1.0 - SAGITTA_MM / a.radius_mm.max(2.0 * SAGITTA_MM)).acos();
                (a.turn_rad.abs() / step).ceil().clamp(1.0, 2000.0) as usize
            }
            _ => 1,
        };
        let at = |i: usize| m.at(i as f64 / n as f64);
        for i in 0..n {
            let (p, q) = (at(i), at(i + 1));
            let piece = Piece { a: Point::new(p[0], p[1]), b: Point::new(q[0], q[1]), from: *k };
            if piece.length() > 1e-9 {
                out.push(piece);
            }
        }
    }
    out
}

/// The next pass on one side.
#[derive(Debug, Clone, Copy)]
pub(super) struct Beside {
    pub distance: f64,
    pub same_way: bool,
    /// Distance of the nearest pass alongside that was cut before this place.
    pub earlier_at: Option<f64>,
}

/// What lies left and right of one place on the path.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    /// Index of the piece.
    pub piece: usize,
    /// Length of path it stands for, mm.
    pub weight: f64,
    /// Left, right; `None`: nothing runs alongside within reach.
    pub sides: [Option<Beside>; 2],
}

struct Grid<'a> {
    pieces: &'a [Piece],
    origin: Point,
    cell: f64,
    columns: i64,
    rows: i64,
    cells: Vec<Vec<u32>>,
}

impl<'a> Grid<'a> {
    fn new(pieces: &'a [Piece]) -> Self {
        let (low, high) = bounds(pieces);
        let cell = ((high.x - low.x).max(high.y - low.y) / CELLS).max(1e-3);
        let count = |a: f64, b: f64| ((b - a) / cell) as i64 + 1;
        let (columns, rows) = (count(low.x, high.x), count(low.y, high.y));
        let mut g = Self { pieces, origin: low, cell, columns, rows, cells: vec![vec![]; (columns * rows) as usize] };
        for (k, p) in pieces.iter().enumerate() {
            let mut on = vec![];
            g.walk(p.a, p.b, |c| {
                on.push(c);
                true
            });
            on.into_iter().for_each(|c| g.cells[c].push(k as u32));
        }
        g
    }
    /// Calls `visit` for the cells along a line, in order, until it gives false (after Amanatides and Woo, "A fast voxel
    /// traversal algorithm for ray tracing", Eurographics 1987).
    fn walk(&self, a: Point, b: Point, mut visit: impl FnMut(usize) -> bool) {
        let local = |p: Point| [(p.x - self.origin.x) / self.cell, (p.y - self.origin.y) / self.cell];
        let (from, to) = (local(a), local(b));
        let mut cell = from.map(|v| v.floor() as i64);
        let last = to.map(|v| v.floor() as i64);
        let d = [to[0] - from[0], to[1] - from[1]];
        let step = d.map(|v| if v > 0.0 { 1 } else { -1 });
        let (mut next, mut each) = ([f64::INFINITY; 2], [f64::INFINITY; 2]);
        for k in 0..2 {
            if d[k] != 0.0 {
                each[k] = 1.0 / d[k].abs();
                let border = cell[k] as f64 + if d[k] > 0.0 { 1.0 } else { 0.0 };
                next[k] = (border - from[k]) / d[k];
            }
        }
        for _ in 0..(last[0] - cell[0]).abs() + (last[1] - cell[1]).abs() + 1 {
            if (0..self.columns).contains(&cell[0])
                && (0..self.rows).contains(&cell[1])
                && !visit((cell[1] * self.columns + cell[0]) as usize)
            {
                return;
            }
            let k = usize::from(next[1] < next[0]);
            cell[k] += step[k];
            next[k] += each[k];
        }
    }
    /// The first pass that the line from `p` along the unit vector `n` meets within `reach` mm.
    fn next(&self, p: Point, n: Point, heading: Point, own: usize, reach: f64) -> Option<Beside> {
        let (mut first, mut earlier): (Option<(f64, usize)>, Option<f64>) = (None, None);
        let cos = |k: usize| {
            let h = self.pieces[k].heading();
            h.x * heading.x + h.y * heading.y
        };
        let mut walked = 0.0;
        self.walk(p, p + n * reach, |c| {
            for k in self.cells[c].iter().map(|k| *k as usize) {
                let q = self.pieces[k];
                let (d, rel) = (q.b - q.a, q.a - p);
                let det = d.x * n.y - n.x * d.y;
                if det.abs() < 1e-12 {
                    continue;
                }
                let t = (d.x * rel.y - rel.x * d.y) / det;
                let u = (n.x * rel.y - rel.x * n.y) / det;
                if !(0.0..=1.0).contains(&u) || t <= SAME_PASS_MM || t > reach {
                    continue;
                }
                if first.is_none_or(|f| t < f.0) {
                    first = Some((t, k));
                }
                if k < own && earlier.is_none_or(|e| t < e) && cos(k).abs() >= ALONGSIDE {
                    earlier = Some(t);
                }
            }
            walked += self.cell;
            // A walk of n cells has come at least n / 1.42 - 1 sides of a cell far.
            let far = walked / std::f64::consts::SQRT_2 - self.cell;
            !earlier.is_some_and(|e| e < far)
        });
        let (distance, k) = first?;
        (cos(k).abs() >= ALONGSIDE).then_some(Beside { distance, same_way: cos(k) > 0.0, earlier_at: earlier })
    }
}

/// Lower left and upper right corner of all pieces.
pub(super) fn bounds(pieces: &[Piece]) -> (Point, Point) {
    let start = (Point::new(f64::MAX, f64::MAX), Point::new(f64::MIN, f64::MIN));
    pieces
        .iter()
        .flat_map(|p| [p.a, p.b])
        .fold(start, |(l, h), p| (Point::new(l.x.min(p.x), l.y.min(p.y)), Point::new(h.x.max(p.x), h.y.max(p.y))))
}

/// Looks to both sides at evenly spaced places along the path, up to `reach` mm.
pub(super) fn look_aside(pieces: &[Piece], reach: f64) -> Vec<Place> {
    let total: f64 = pieces.iter().map(Piece::length).sum();
    if total <= 0.0 {
        return vec![];
    }
    let grid = Grid::new(pieces);
    let (low, high) = bounds(pieces);
    let reach = reach.min(low.distance(high));
    let step = total / PLACES as f64;
    let (mut out, mut done, mut next) = (Vec::with_capacity(PLACES), 0.0, step / 2.0);
    for (k, p) in pieces.iter().enumerate() {
        let l = p.length();
        while next < done + l {
            let (at, heading) = (p.a.lerp(p.b, (next - done) / l), p.heading());
            let left = Point::new(-heading.y, heading.x);
            let sides = [left, left * -1.0].map(|n| grid.next(at, n, heading, k, reach));
            out.push(Place { piece: k, weight: step, sides });
            next += step;
        }
        done += l;
    }
    out
}

/// Area of the squares of side `s` mm that the path touches, mm2: a pass run several times counts once.
pub(super) fn touched(pieces: &[Piece], s: f64) -> f64 {
    let (low, high) = bounds(pieces);
    let s = s.max(low.distance(high) / 2000.0);
    let mut seen = HashSet::new();
    for p in pieces {
        let n = (2.0 * p.length() / s).ceil();
        for i in 0..=n as usize {
            let q = p.a.lerp(p.b, i as f64 / n);
            seen.insert(((q.x / s).floor() as i64, (q.y / s).floor() as i64));
        }
    }
    seen.len() as f64 * s * s
}

/// A distance that many places share.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Spacing {
    pub mm: f64,
    /// Share of all passes with a neighbour that have it, 0 to 1.
    pub share: f64,
}

/// How far apart two distances may be and still be one spacing: 3 per cent, more than rounding does to them and less
/// than two settings that anyone would tell apart.
const ONE_SPACING: f64 = 0.03;

/// The commonest distances to the next pass, the commonest first, up to `most`.
pub(super) fn spacings(places: &[Place], most: usize) -> Vec<Spacing> {
    let mut d: Vec<(f64, f64)> =
        places.iter().flat_map(|p| p.sides.iter().flatten().map(|b| (b.distance, p.weight))).collect();
    d.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: f64 = d.iter().map(|q| q.1).sum();
    let mut out = vec![];
    while out.len() < most && !d.is_empty() {
        let (mut best, mut from, mut sum) = ((0.0, 0, 0), 0, 0.0);
        for to in 0..d.len() {
            sum += d[to].1;
            while d[to].0 > d[from].0 * (1.0 + ONE_SPACING) {
                sum -= d[from].1;
                from += 1;
            }
            if sum > best.0 {
                best = (sum, from, to);
            }
        }
        let (sum, from, to) = best;
        let mut half = sum / 2.0;
        let middle = d[from..=to].iter().find(|q| {
            half -= q.1;
            half <= 0.0
        });
        let mm = middle.map_or(d[from].0, |q| q.0);
        out.push(Spacing { mm, share: sum / all });
        d.retain(|q| (q.0 / mm - 1.0).abs() > 2.0 * ONE_SPACING);
    }
    out
}
