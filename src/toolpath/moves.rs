//! What the reading of a cutting file gives: a flat list of moves in millimetres, and its totals.

use serde::Serialize;

/// The plane in which arcs run and cycles drill.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Plane {
    Xy,
    Zx,
    Yz,
}

impl Plane {
    /// First and second axis of the plane and the axis across it (0 x, 1 y, 2 z), right-handed.
    pub fn axes(self) -> [usize; 3] {
        match self {
            Self::Xy => [0, 1, 2],
            Self::Zx => [2, 0, 1],
            Self::Yz => [1, 2, 0],
        }
    }
}

/// Which way the spindle turns, seen from its motor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Spin {
    Clockwise,
    Counterclockwise,
    Off,
}

/// A circular arc or helix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Arc {
    pub plane: Plane,
    /// Centre along the plane's first and second axis, mm.
    pub centre_mm: [f64; 2],
    pub radius_mm: f64,
    /// Angle run through, radians, positive from the first axis towards the second (G3).
    pub turn_rad: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// At the machine's own fastest rate; cuts nothing.
    Rapid,
    Line,
    Arc(Arc),
}

/// One move of the cutter's tip. Millimetres from the program's zero that was in force at the first cut.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Move {
    /// Line of the file, from 1.
    pub line: usize,
    pub kind: Kind,
    pub start_mm: [f64; 3],
    pub end_mm: [f64; 3],
    /// Whether the file says where the move starts along every axis that moves. The first move of a file does not.
    pub from_known: bool,
    /// Whether the file says at which Z it runs.
    pub z_known: bool,
    /// Part of a drilling cycle.
    pub drilling: bool,
    /// Millimetres per minute along the path; `None`: rapid, or the file gives none.
    pub feed_mm_min: Option<f64>,
    pub speed_rpm: Option<f64>,
    pub spin: Spin,
    pub tool: Option<u32>,
}

impl Move {
    pub fn is_cut(&self) -> bool {
        self.kind != Kind::Rapid
    }
    /// Length along the path, mm (of a helix along the helix).
    pub fn length_mm(&self) -> f64 {
        let d = |a: usize| self.end_mm[a] - self.start_mm[a];
        match self.kind {
            Kind::Arc(arc) => (arc.radius_mm * arc.turn_rad).hypot(d(arc.plane.axes()[2])),
            _ => d(0).hypot(d(1)).hypot(d(2)),
        }
    }
    /// The place after share `t` (0 to 1) of the move, mm.
    pub fn at(&self, t: f64) -> [f64; 3] {
        let mut p = [0, 1, 2].map(|a| self.start_mm[a] + (self.end_mm[a] - self.start_mm[a]) * t);
        if let Kind::Arc(arc) = self.kind
            && t > 0.0
            && t < 1.0
        {
            let [a, b, _] = arc.plane.axes();
            let from = [self.start_mm[a] - arc.centre_mm[0], self.start_mm[b] - arc.centre_mm[1]];
            let (s, c) = (arc.turn_rad * t).sin_cos();
            p[a] = arc.centre_mm[0] + from[0] * c - from[1] * s;
            p[b] = arc.centre_mm[1] + from[0] * s + from[1] * c;
        }
        p
    }
    /// Lowest and highest Z on the move, mm. Exact for lines and for arcs of the XY plane; others are sampled at 16
    /// places, good to half a per cent of the radius.
    pub fn z_span_mm(&self) -> (f64, f64) {
        let steps = match self.kind {
            Kind::Arc(a) if a.plane != Plane::Xy => 16,
            _ => 1,
        };
        (0..=steps)
            .map(|k| self.at(f64::from(k) / f64::from(steps))[2])
            .fold((f64::INFINITY, f64::NEG_INFINITY), |s, z| (s.0.min(z), s.1.max(z)))
    }
}

/// Sums over the moves. Moves whose start the file does not say are left out.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, schemars::JsonSchema)]
pub struct Totals {
    pub line_mm: f64,
    /// Along arcs that run clockwise (G2) and counterclockwise (G3).
    pub clockwise_mm: f64,
    pub counterclockwise_mm: f64,
    pub rapid_mm: f64,
    /// Time of the cutting moves at their feed, minutes; speeding up and slowing down is not in it.
    pub cut_min: f64,
    /// Length of cutting moves for which the file gives no feed; they are not in the time.
    pub without_feed_mm: f64,
    pub dwell_min: f64,
}

impl Totals {
    pub fn cut_mm(&self) -> f64 {
        self.line_mm + self.clockwise_mm + self.counterclockwise_mm
    }
    pub(super) fn of(moves: &[Move], dwell_min: f64) -> Self {
        let mut t = Self { dwell_min, ..Self::default() };
        for m in moves.iter().filter(|m| m.from_known) {
            let l = m.length_mm();
            match m.kind {
                Kind::Rapid => t.rapid_mm += l,
                Kind::Line => t.line_mm += l,
                Kind::Arc(a) if a.turn_rad < 0.0 => t.clockwise_mm += l,
                Kind::Arc(_) => t.counterclockwise_mm += l,
            }
            match m.feed_mm_min.filter(|f| *f > 0.0) {
                Some(f) if m.is_cut() => t.cut_min += l / f,
                None if m.is_cut() => t.without_feed_mm += l,
                _ => {}
            }
        }
        t
    }
}
