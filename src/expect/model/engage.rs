//! What of the cutter's front is still stock at each place along the passes, and the mean forces that follow.

use super::passes::Passes;
use super::sweep::Near;
use crate::geometry::Point;
use crate::geometry::to_segment;

/// Angles looked at on the front half circle: the width of cut is then good to 0.1 per cent of the diameter.
const ANGLES: usize = 180;
/// Most pieces that the passes are cut into; beyond it pieces get longer than an eighth of the diameter, and loads in
/// corners coarser. 40 000 take a quarter of a second.
const MOST_PIECES: f64 = 40_000.0;
/// From this share of the diameter in stock on, a cut counts as full width: the next wider case, beside a pass cut
/// before, has at most 0.9 at the widest stepover that leaves no stock.
const SLOT: f64 = 0.95;
/// Force coefficients of the linear edge force model at a chip of 0.05 mm, per mm of depth: tangential and radial
/// cutting part times chip, tangential and radial edge part, axial cutting part times chip, axial edge part. Al6082-T6,
/// carbide (table 5 in Chin. J. Mech. Eng. 2021, doi 10.1186/s10033-021-00536-9). None are published for routed wood;
/// only their ratios matter here: the axial ratio of a 40 per cent pass is 0.400 with cutting parts alone and 0.436 with
/// edge parts alone, so no choice moves a level by more than a tenth.
const KT: (f64, f64) = (631.0 * 0.05, 13.0);
const KR: (f64, f64) = (99.0 * 0.05, 10.0);
const KA: (f64, f64) = (273.0 * 0.05, 2.8);

/// Mean forces of one place, as shares of those of a full-width cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Cutting part of the axial force, which is also the share of the diameter that meets stock; edge part.
    pub cutting: f64,
    pub edge: f64,
    /// Force on the cutter to the left of its heading, the left as seen from above.
    pub left: f64,
}

impl Load {
    /// A cut over an arc of the front from `from` to `to`, degrees, counted from the side where a tooth enters a thin chip:
    /// from 0 it cuts conventionally, up to 180 it climbs. The spindle turns clockwise.
    pub fn of_arc(from_deg: f64, to_deg: f64) -> Self {
        let n = 20_000;
        Self::of((0..n).map(|k| {
            let a = (k as f64 + 0.5) * 180.0 / n as f64;
            a >= from_deg && a <= to_deg
        }))
    }
    /// `stock`: whether there is stock at evenly spaced angles of the front, from left to right.
    ///
    /// Source: Altintas, Manufacturing Automation, 2nd ed., ch. 2, with the integrals over whatever arcs meet stock.
    fn of(stock: impl ExactSizeIterator<Item = bool>) -> Self {
        let step = std::f64::consts::PI / stock.len() as f64;
        let (mut cutting, mut edge, mut side) = (0.0, 0.0, 0.0);
        for (k, there) in stock.enumerate() {
            if there {
                let (s, c) = ((k as f64 + 0.5) * step).sin_cos();
                cutting += s * step;
                edge += step;
                side += ((KT.0 * s + KT.1) * s - (KR.0 * s + KR.1) * c) * step;
            }
        }
        let slot = KT.0 * std::f64::consts::FRAC_PI_2 + 2.0 * KT.1;
        Self { cutting: cutting / 2.0, edge: edge / std::f64::consts::PI, left: side / slot }
    }
    /// Mean axial force against that of a full-width cut.
    pub fn axial(&self) -> f64 {
        self.axial_at(1.0)
    }
    /// The same with a chip `chip` times as thick as the full-width cut's.
    pub fn axial_at(&self, chip: f64) -> f64 {
        let (cutting, edge) = (2.0 * KA.0, std::f64::consts::PI * KA.1);
        (cutting * self.cutting * chip + edge * self.edge) / (cutting + edge)
    }
    /// The load of a pass that takes this share of the diameter beside an earlier one.
    pub fn of_share(share: f64) -> Self {
        Self::of_arc(0.0, super::super::physics::engagement_deg(share, 1.0))
    }
}

/// A short straight piece of the passes with its load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    pub a: Point,
    pub b: Point,
    pub lane: usize,
    /// Way along the lane up to `a`, mm.
    pub from_mm: f64,
    pub load: Load,
    /// Part of a cut at full width that is longer than the cutter's diameter.
    pub slot: bool,
}

impl Piece {
    pub fn length(&self) -> f64 {
        self.a.distance(self.b)
    }
    pub fn heading(&self) -> Point {
        (self.b - self.a) * (1.0 / self.length())
    }
    /// Unit vector to the left of the heading, seen from above (y is down).
    pub fn left(&self) -> Point {
        let h = self.heading();
        Point::new(h.y, -h.x)
    }
}

/// The passes in pieces, with the load that each meets halfway in what the ones before have left. Changes of load within a
/// piece (the first instant of a turn is a full-width cut) are not followed: bit and frame give way over about a
/// millimetre of path (common practice, no source).
pub(super) fn cut(p: &Passes) -> (Vec<Piece>, Near) {
    let d = p.diameter_mm;
    let step = (d / 8.0).max(p.length_mm() / MOST_PIECES);
    let idle = Load { cutting: 0.0, edge: 0.0, left: 0.0 };
    let mut pieces = vec![];
    for (lane, points) in p.lanes.iter().enumerate() {
        let mut from_mm = 0.0;
        for w in points.windows(2) {
            let l = w[0].distance(w[1]);
            if l < 1e-6 {
                continue;
            }
            let n = (l / step).ceil().max(1.0);
            for k in 0..n as usize {
                let at = |k: usize| w[0].lerp(w[1], k as f64 / n);
                let way = from_mm + l * k as f64 / n;
                pieces.push(Piece { a: at(k), b: at(k + 1), lane, from_mm: way, load: idle, slot: false });
            }
            from_mm += l;
        }
    }
    let near = Near::new(&pieces, d / 2.0);
    let loads: Vec<Load> = {
        use rayon::prelude::*;
        (0..pieces.len()).into_par_iter().map(|k| load(&pieces, &near, k, d / 2.0, p.clockwise)).collect()
    };
    pieces.iter_mut().zip(loads).for_each(|(piece, load)| piece.load = load);
    mark_slots(&mut pieces, d);
    (pieces, near)
}

fn load(pieces: &[Piece], near: &Near, own: usize, r: f64, clockwise: bool) -> Load {
    let p = pieces[own];
    let at = p.a.lerp(p.b, 0.5);
    let (h, left) = (p.heading(), p.left());
    // Everything that reaches the circle: pieces cut before, and the first half of this one behind it.
    let earlier: Vec<(Point, Point)> = near
        .around(at, r)
        .into_iter()
        .filter(|k| (*k as usize) < own)
        .map(|k| (pieces[k as usize].a, pieces[k as usize].b))
        .filter(|(a, b)| to_segment(at, *a, *b) < 2.0 * r)
        .collect();
    let earlier = joined(earlier);
    // The tooth goes from left to right over the front of a spindle that turns clockwise, else from right to left.
    let first = if clockwise { left } else { left * -1.0 };
    let load = Load::of((0..ANGLES).map(|k| {
        let (s, c) = ((k as f64 + 0.5) / ANGLES as f64 * std::f64::consts::PI).sin_cos();
        let q = at + (first * c + h * s) * r;
        !earlier.iter().any(|(a, b)| to_segment(q, *a, *b) < r * (1.0 - 1e-6))
    }));
    Load { left: if clockwise { load.left } else { -load.left }, ..load }
}

/// Joins segments that go on straight from one another: a pass is then looked at once, not piece by piece.
fn joined(mut segments: Vec<(Point, Point)>) -> Vec<(Point, Point)> {
    let mut out: Vec<(Point, Point)> = vec![];
    for (a, b) in segments.drain(..) {
        match out.last_mut() {
            Some(last) if last.1.distance(a) < 1e-9 && to_segment(last.1, last.0, b) < 1e-9 => last.1 = b,
            _ => out.push((a, b)),
        }
    }
    out
}

/// Full width for longer than the cutter is wide: a first pass, not the way over to the next one.
fn mark_slots(pieces: &mut [Piece], d: f64) {
    let mut k = 0;
    while k < pieces.len() {
        let (mut end, mut length) = (k, 0.0);
        while end < pieces.len() && pieces[end].load.cutting > SLOT && pieces[end].lane == pieces[k].lane {
            length += pieces[end].length();
            end += 1;
        }
        if length > d {
            pieces[k..end].iter_mut().for_each(|p| p.slot = true);
        }
        k = end.max(k + 1);
    }
}
