//! The surface that the bottom of a cutter sweeps along the passes, and the lowest of all of them.

use super::engage::Piece;
use crate::geometry::Point;
use crate::plan::{Cutter, Shape};

/// The end of a cutter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Nose {
    Flat,
    Ball,
    /// Corner radius, mm.
    Bull(f64),
}

impl Nose {
    /// A cutter whose shape the plan does not give, or a bull nose without its corner radius, counts as flat.
    pub fn of(c: &Cutter) -> Self {
        match (c.shape, c.corner_radius_mm) {
            (Some(Shape::BallNose), _) => Self::Ball,
            (Some(Shape::BullNose), Some(r)) => Self::Bull(r),
            _ => Self::Flat,
        }
    }
    /// Height of the end over its lowest place, micrometres, `rho` mm from the axis of a cutter of radius `r` mm.
    pub fn height_um(self, rho: f64, r: f64) -> f64 {
        let over = |c: f64, e: f64| 1e3 * (c - (c * c - e * e).max(0.0).sqrt());
        match self {
            Self::Flat => 0.0,
            Self::Ball => over(r, rho.min(r)),
            Self::Bull(c) => over(c, (rho - (r - c)).clamp(0.0, c)),
        }
    }
    /// Radius of the flat part, mm.
    fn flat_radius(self, r: f64) -> f64 {
        match self {
            Self::Flat => r,
            Self::Ball => 0.0,
            Self::Bull(c) => r - c,
        }
    }
}

/// How the bottom stands on one piece: its level, micrometres, and its slope, micrometres per mm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stand {
    pub level_um: f64,
    pub slope: Point,
}

/// Height that one piece leaves at `p`, micrometres; `None` where the cutter of radius `r` does not reach.
///
/// The cutter's bottom over all places of its centre along the piece, the lowest of them: for a flat end, at either end
/// of what reaches `p`; for a round one also beside `p` and where its flat ends. A round end that leans is taken to keep
/// its shape, which a ball does and a bull nose does but for the square of the lean.
pub fn height_um(piece: &Piece, stand: &Stand, nose: Nose, r: f64, p: Point) -> Option<f64> {
    let (h, l, w) = (piece.heading(), piece.length(), p - piece.a);
    let along = w.x * h.x + w.y * h.y;
    let aside2 = (w.x * w.x + w.y * w.y - along * along).max(0.0);
    let chord = |radius: f64| (radius * radius - aside2).max(0.0).sqrt();
    if aside2 > r * r {
        return None;
    }
    let (from, to) = ((along - chord(r)).max(0.0), (along + chord(r)).min(l));
    if from > to {
        return None;
    }
    let at = |t: f64| {
        let t = t.clamp(from, to);
        let from_axis = p - (piece.a + h * t);
        let lean = if nose == Nose::Ball { 0.0 } else { from_axis.x * stand.slope.x + from_axis.y * stand.slope.y };
        stand.level_um + lean + nose.height_um((aside2 + (along - t) * (along - t)).sqrt(), r)
    };
    let low = at(from).min(at(to));
    Some(match nose {
        Nose::Flat => low,
        _ => {
            let flat = chord(nose.flat_radius(r));
            low.min(at(along)).min(at(along - flat)).min(at(along + flat))
        }
    })
}

/// Which pieces reach a place: a grid of cells with the pieces that cover any part of them, in cutting order.
#[derive(Debug, Clone)]
pub struct Near {
    low: Point,
    cell: f64,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<u32>>,
}

/// Most cells of the grid; larger cells only cost time.
const MOST_CELLS: f64 = 1e6;

impl Near {
    /// `reach`: the cutter's radius, mm.
    pub fn new(pieces: &[Piece], reach: f64) -> Self {
        let ends = || pieces.iter().flat_map(|p| [p.a, p.b]);
        let span = |of: fn(Point) -> f64| {
            let v = ends().map(of);
            (v.clone().fold(f64::INFINITY, f64::min) - reach, v.fold(f64::NEG_INFINITY, f64::max) + reach)
        };
        if pieces.is_empty() {
            return Self { low: Point::default(), cell: 1.0, columns: 0, rows: 0, cells: vec![] };
        }
        let ((x0, x1), (y0, y1)) = (span(|p| p.x), span(|p| p.y));
        let cell = (reach / 2.0).max(((x1 - x0) * (y1 - y0) / MOST_CELLS).sqrt());
        let count = |a: f64| (a / cell).ceil().max(1.0) as usize;
        let (columns, rows) = (count(x1 - x0), count(y1 - y0));
        let mut out = Self { low: Point::new(x0, y0), cell, columns, rows, cells: vec![vec![]; columns * rows] };
        for (k, p) in pieces.iter().enumerate() {
            let (i0, j0) = out.cell_of(Point::new(p.a.x.min(p.b.x) - reach, p.a.y.min(p.b.y) - reach));
            let (i1, j1) = out.cell_of(Point::new(p.a.x.max(p.b.x) + reach, p.a.y.max(p.b.y) + reach));
            for j in j0..=j1 {
                (i0..=i1).for_each(|i| out.cells[j * columns + i].push(k as u32));
            }
        }
        out
    }
    fn cell_of(&self, p: Point) -> (usize, usize) {
        let k = |v: f64, n: usize| ((v / self.cell).max(0.0) as usize).min(n - 1);
        (k(p.x - self.low.x, self.columns), k(p.y - self.low.y, self.rows))
    }
    /// Pieces that may cover `p`, in cutting order.
    pub fn at(&self, p: Point) -> &[u32] {
        if self.cells.is_empty() {
            return &[];
        }
        let (i, j) = self.cell_of(p);
        &self.cells[j * self.columns + i]
    }
    /// Pieces that may cover any place within `reach` of `p`, in cutting order.
    pub fn around(&self, p: Point, reach: f64) -> Vec<u32> {
        if self.cells.is_empty() {
            return vec![];
        }
        let (i0, j0) = self.cell_of(Point::new(p.x - reach, p.y - reach));
        let (i1, j1) = self.cell_of(Point::new(p.x + reach, p.y + reach));
        let mut out: Vec<u32> = (j0..=j1)
            .flat_map(|j| (i0..=i1).flat_map(move |i| self.cells[j * self.columns + i].iter().copied()))
            .collect();
        out.sort_unstable();
        out.dedup();
        out
    }
}
