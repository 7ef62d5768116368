//! What a cutting file says about the pocket's floor: its level, its passes, their spacing, order and way of cutting.

use super::lanes;
use super::lanes::{Piece, Place, Spacing};
use super::levels;
use super::levels::Level;
use super::moves::{Move, Spin};
use super::{Toolpath, order};
use crate::geometry::Point;
use crate::units::wrap_180;
use serde::Serialize;

/// A level counts as a floor from this share of the largest level's area on. Below: ledges, engraving, a last outline
/// cut deeper than the pocket. A pocket's own levels are all within a few per cent of each other.
const FLOOR_SHARE: f64 = 0.25;
/// Sloping or curved cuts are what is left to see when they come last and clear at least this share of the largest
/// level's area. Ramps and bevels clear a few per cent, the last trip over a carved relief all of it.
const SURFACE_SHARE: f64 = 0.5;
/// How far out a neighbouring pass is looked for where the cutter is not known, mm: more than any stepover of a router.
const FARTHEST_MM: f64 = 60.0;
/// A last layer up to this thick, and at most half as thick as the one before, is a skim, mm (plans call anything
/// thicker a roughing pass).
const SKIM_MM: f64 = 0.6;
/// Part of a rectangle's side that must be followed by passes for the floor to count as that rectangle.
const SIDE_SHARE: f64 = 0.8;
/// Other cutters at the floor's level count from this length on, mm.
const OTHER_TOOL_MM: f64 = 20.0;
/// How far another level may lie from the planned depth to be taken for it, mm: zero is set by hand to a few hundredths.
const DEPTH_MM: f64 = 0.1;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PassPattern {
    /// Straight passes side by side.
    Parallel,
    /// Loops at constant distances from the walls.
    Contour,
}

/// Where the first pass at the floor's level lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FirstPass {
    AtTheWall,
    InTheMiddle,
}

/// What is known beforehand, from the plan.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Known {
    pub cutter_mm: Option<f64>,
    pub depth_mm: Option<f64>,
}

/// One cut at the floor's level without a break: the cutter's centre, mm from the file's zero.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Line of the file where it begins.
    pub line: usize,
    pub points: Vec<Point>,
}

/// What the file says about the floor. Lengths in mm, places from the file's zero, x right and y up.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
#[schemars(rename = "CutFloor")]
pub struct Floor {
    /// Height of the floor; `None`: the file cuts a slope or a curved surface.
    pub z_mm: Option<f64>,
    /// Depth below zero, where zero is the stock's top; `None` for a floor at or above zero.
    pub depth_mm: Option<f64>,
    /// All flat levels, the lowest first.
    pub levels: Vec<Level>,
    pub tool: Option<u32>,
    /// Other tools that cut at this level, with their length, mm.
    pub other_tools: Vec<(Option<u32>, f64)>,
    pub pattern: Option<PassPattern>,
    /// Direction of straight passes, degrees from the file's x towards its y, [0, 180).
    pub pass_angle_deg: Option<f64>,
    pub both_ways: Option<bool>,
    /// The commonest distances between neighbouring passes.
    pub spacings: Vec<Spacing>,
    /// Straight passes, or loops.
    pub passes: usize,
    /// Share of the length with stock on one side only that is cut climbing; `None`: it cannot be told.
    pub climb_share: Option<f64>,
    pub first_pass: Option<FirstPass>,
    /// Length cut with stock on both sides, as the first of its neighbours.
    pub full_width_mm: f64,
    /// Thickness of the last layer, if it is a skim.
    pub skim_mm: Option<f64>,
    /// Thickness of the last layer, where a level of the same extent lies above.
    pub last_layer_mm: Option<f64>,
    pub feed_mm_min: Option<f64>,
    pub speed_rpm: Option<f64>,
    pub spin: Spin,
    pub length_mm: f64,
    /// Corners of the box round the cutter's centre.
    pub box_mm: [Point; 2],
    /// Passes follow all four sides of that box.
    pub is_rectangle: bool,
    /// The passes themselves, in cutting order.
    #[serde(skip)]
    pub runs: Vec<Run>,
}

impl Floor {
    /// The stepover: the commonest spacing.
    pub fn stepover_mm(&self) -> Option<f64> {
        self.spacings.first().map(|s| s.mm)
    }
}

/// Reads the floor out of the moves. `None` when nothing but straight ways down is cut.
pub fn floor(path: &Toolpath, known: &Known) -> Option<Floor> {
    let moves = &path.moves;
    let (mut levels, surface) = levels::find(moves);
    let reach = known.cutter_mm.map_or(FARTHEST_MM, |d| d * 1.001);
    for l in &mut levels {
        l.area_mm2 = area(&lanes::pieces(moves, &l.moves), reach);
    }
    let length = |which: &[usize]| which.iter().map(|k| moves[*k].length_mm()).sum::<f64>();
    let sloping = area(&lanes::pieces(moves, &surface), reach);
    let most = levels.iter().map(|l| l.area_mm2).fold(0.0, f64::max);
    let chosen = choose(&levels, known.depth_mm);
    let later = chosen.is_none_or(|k| surface.last() > levels[k].moves.last());
    let (z, which) = match chosen {
        _ if sloping > 0.0 && later && sloping >= SURFACE_SHARE * most => (None, surface),
        Some(k) => (Some(levels[k].z_mm), levels[k].moves.clone()),
        None => return None,
    };
    let tool = commonest(which.iter().map(|k| (moves[*k].tool, moves[*k].length_mm())))?;
    let own: Vec<usize> = which.iter().copied().filter(|k| moves[*k].tool == tool).collect();
    let mut other_tools: Vec<(Option<u32>, f64)> = vec![];
    for k in which.iter().filter(|k| moves[**k].tool != tool) {
        match other_tools.iter_mut().find(|t| t.0 == moves[*k].tool) {
            Some(t) => t.1 += moves[*k].length_mm(),
            None => other_tools.push((moves[*k].tool, moves[*k].length_mm())),
        }
    }
    other_tools.retain(|t| t.1 >= OTHER_TOOL_MM);
    let pieces = lanes::pieces(moves, &own);
    let places = lanes::look_aside(&pieces, reach);
    let spacings = lanes::spacings(&places, 3);
    let (low, high) = lanes::bounds(&pieces);
    let cuts = || own.iter().map(|k| &moves[*k]);
    let by_length = |value: fn(&Move) -> Option<f64>| {
        commonest(cuts().filter_map(|m| Some((value(m)?.to_bits(), m.length_mm())))).map(f64::from_bits)
    };
    let spin = commonest(cuts().map(|m| (m.spin, m.length_mm()))).unwrap_or(Spin::Off);
    let layout = order::layout(&pieces, &places, spacings.first().map(|s| s.mm));
    let sides = order::sides(&places, &pieces, spacings.first().map(|s| s.mm), known.cutter_mm);
    let last_layer_mm = z.and_then(|z| last_layer(&levels, z));
    let before = z.and_then(|z| last_layer(&levels, z + last_layer_mm?));
    let thin =
        |t: &f64| *t <= SKIM_MM && before.or(z.map(|z| -z - t).filter(|d| *d > 0.0)).is_some_and(|b| *t <= b / 2.0);
    Some(Floor {
        z_mm: z,
        depth_mm: z.filter(|z| *z < 0.0).map(|z| -z),
        tool,
        other_tools,
        pattern: layout.pattern,
        pass_angle_deg: layout.angle_deg.map(|a| wrap_180((a * 100.0).round() / 100.0)),
        both_ways: layout.both_ways,
        passes: layout.passes,
        climb_share: sides.climb_share(spin),
        first_pass: order::first_pass(&layout, &sides, &pieces, low, high),
        full_width_mm: sides.full_width,
        skim_mm: last_layer_mm.filter(thin),
        last_layer_mm,
        feed_mm_min: by_length(|m| m.feed_mm_min),
        speed_rpm: by_length(|m| m.speed_rpm),
        spin,
        length_mm: length(&own),
        box_mm: [low, high],
        is_rectangle: is_rectangle(&pieces, low, high),
        runs: runs(&pieces, moves),
        spacings,
        levels,
    })
}

/// The value with the most weight.
fn commonest<T: PartialEq + Copy>(values: impl Iterator<Item = (T, f64)>) -> Option<T> {
    let mut sums: Vec<(T, f64)> = vec![];
    for (v, w) in values {
        match sums.iter_mut().find(|s| s.0 == v) {
            Some(s) => s.1 += w,
            None => sums.push((v, w)),
        }
    }
    sums.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|s| s.0)
}

/// Area cleared, mm2: every place's length times half the way to either neighbour. Lone passes clear none here, and
/// passes run again and again clear only once.
fn area(pieces: &[Piece], reach: f64) -> f64 {
    let places = lanes::look_aside(pieces, reach);
    let Some(s) = lanes::spacings(&places, 1).first().map(|s| s.mm) else { return 0.0 };
    let width = |p: &Place| {
        let sides = p.sides.map(|b| b.map_or(0.0, |b| b.distance.min(1.5 * s) / 2.0));
        sides[0] + sides[1]
    };
    places.iter().map(|p| p.weight * width(p)).sum::<f64>().min(lanes::touched(pieces, s))
}

/// The floor among the levels: the one at the planned depth, else the lowest of substantial area, else (single lines
/// only) the lowest of substantial length.
fn choose(levels: &[Level], depth_mm: Option<f64>) -> Option<usize> {
    let lowest = |of: fn(&Level) -> f64| {
        let most = levels.iter().map(of).fold(0.0, f64::max);
        levels.iter().position(|l| most > 0.0 && of(l) >= FLOOR_SHARE * most)
    };
    let planned = depth_mm.and_then(|d| {
        let near = levels.iter().enumerate().filter(|(_, l)| (l.z_mm + d).abs() <= DEPTH_MM && l.area_mm2 > 0.0);
        near.max_by(|a, b| a.1.area_mm2.total_cmp(&b.1.area_mm2)).map(|q| q.0)
    });
    planned.or_else(|| lowest(|l| l.area_mm2)).or_else(|| lowest(|l| l.length_mm))
}

/// Height of the next level above `z` that clears about as much as the level at `z`.
fn last_layer(levels: &[Level], z: f64) -> Option<f64> {
    let own = levels.iter().min_by(|a, b| (a.z_mm - z).abs().total_cmp(&(b.z_mm - z).abs()))?;
    levels.iter().find(|l| l.z_mm > own.z_mm && l.area_mm2 > 0.5 * own.area_mm2).map(|l| l.z_mm - own.z_mm)
}

/// Whether passes run along all four sides of the box.
fn is_rectangle(pieces: &[Piece], low: Point, high: Point) -> bool {
    // A twentieth of a millimetre from the side: rounding, and no other pass.
    let near = |v: f64, side: f64| (v - side).abs() < 0.05;
    let along = |on: &dyn Fn(&Piece) -> bool, of: &dyn Fn(&Piece) -> f64, side: f64| {
        pieces.iter().filter(|p| on(p)).map(|p| of(p).abs()).sum::<f64>() >= SIDE_SHARE * side
    };
    let (w, h) = (high.x - low.x, high.y - low.y);
    let x = |p: &Piece| p.b.x - p.a.x;
    let y = |p: &Piece| p.b.y - p.a.y;
    w > 0.0
        && h > 0.0
        && [low.y, high.y].iter().all(|s| along(&|p| near(p.a.y, *s) && near(p.b.y, *s), &x, w))
        && [low.x, high.x].iter().all(|s| along(&|p| near(p.a.x, *s) && near(p.b.x, *s), &y, h))
}

fn runs(pieces: &[Piece], moves: &[Move]) -> Vec<Run> {
    let run = |r: std::ops::Range<usize>| Run {
        line: moves[pieces[r.start].from].line,
        points: std::iter::once(pieces[r.start].a).chain(pieces[r].iter().map(|p| p.b)).collect(),
    };
    order::unbroken(pieces).into_iter().map(run).collect()
}
