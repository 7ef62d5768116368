//! What one cause leaves: the lowest of all passes at any place, a section across the passes, its edges and strips.

use super::engage::{Load, Piece};
use super::free::{Free, free};
use super::sweep::{Nose, Stand, height_um};
use super::{Begin, Model};
use crate::expect::Cause;
use crate::expect::physics::{feed_per_tooth_mm, feed_per_turn_mm, vibration_spacing_mm};
use crate::geometry::Point;
use crate::plan::{Helix, Pattern, PlannedCut};
use serde::Serialize;

/// Samples of the section for each stepover.
const SAMPLES: f64 = 48.0;
/// Pitches of marks along the feed in their section.
const PITCHES: f64 = 10.0;
/// Most samples of a section.
const MOST_SAMPLES: f64 = 20_000.0;
/// On either side of a border of a pass, mm: the height is looked at this near.
const BESIDE_MM: f64 = 1e-6;
/// Edges lower than this share of the free number are none: loads are summed over 180 angles and good to a few thousandths.
const LEAST_SHARE: f64 = 0.01;
/// Edges lower than this are none, micrometres.
const LEAST_EDGE_UM: f64 = 1e-3;
/// Usual frequency of chatter where nothing is known of it, hertz (100 to 600; common practice, no source).
const CHATTER_HZ: f64 = 250.0;

/// A step across the passes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LaidEdge {
    /// From the wall where the passes begin, mm.
    pub at_mm: f64,
    /// Positive: the floor rises going away from that wall, micrometres.
    pub height_um: f64,
}

/// A strip between two edges.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LaidStrip {
    pub from_mm: f64,
    pub width_mm: f64,
    /// Level over the floor beside it, micrometres.
    pub level_um: f64,
}

/// The floor under one cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Relief {
    pub cause: Cause,
    pub free: Option<Free>,
    /// Value of the free number that was used.
    pub used: f64,
    /// Through the middle of the pocket: mm from the wall where the passes begin, micrometres over the median. Both sides
    /// of every edge are in it. Marks of turns and teeth: along a pass, from the middle of the pocket.
    pub section: Vec<(f64, f64)>,
    pub edges: Vec<LaidEdge>,
    pub strips: Vec<LaidStrip>,
    /// Highest to lowest of the section, micrometres; of what repeats, away from the walls.
    pub height_um: f64,
    /// What the section repeats at, mm; `None` where it does not.
    pub period_mm: Option<f64>,
    /// Slope harmonics 1 to 3 over the section's period, largest 1: what the light shows.
    pub slope_harmonics: Option<[f64; 3]>,
}

/// Relief beyond the sweep of a stiff or giving cutter.
#[derive(Debug, Clone, Copy)]
enum Extra {
    None,
    /// One arc each so many mm of feed.
    Arcs(f64),
    /// Ripples so many mm apart across a direction.
    Wave(f64, Point),
    /// A dip under the cutter where the path turns.
    Rings,
    /// A smaller cutter, of this diameter, in what the large one could not reach.
    Corners(f64),
}

/// One cause laid on a model.
#[derive(Debug, Clone)]
pub struct Floor<'a> {
    model: &'a Model,
    nose: Nose,
    stands: Vec<Stand>,
    extra: Extra,
    amount: f64,
    turns: Vec<Point>,
}

/// Sign of a deflection: a down-cut is pushed up by its load, an up-cut pulls itself down, and a compression cutter has an
/// up-cut tip. A straight flute has hardly an axial force. Not known: drawn as a down-cut.
fn helix_sign(plan: &PlannedCut) -> f64 {
    match plan.cutter.helix {
        Some(Helix::UpCut | Helix::Compression) => -1.0,
        Some(Helix::Straight) => 0.0,
        Some(Helix::DownCut) | None => 1.0,
    }
}

impl Model {
    /// The floor under one cause; `value` is its free number, else the one that is drawn.
    pub fn floor(&self, cause: Cause, plan: &PlannedCut, value: Option<f64>) -> Floor<'_> {
        let amount = value.or_else(|| free(cause, plan).map(|f| f.drawn)).unwrap_or(0.0);
        let p = &self.passes;
        let usual = Load::of_share((p.stepover_mm / p.diameter_mm).min(1.0)).axial();
        let rise = helix_sign(plan) * amount;
        let (along, away) = (p.along(), p.away());
        let stand = |q: &Piece| -> Stand {
            let level = |level_um: f64| Stand { level_um, slope: Point::default() };
            let slope = |slope: Point| Stand { level_um: 0.0, slope };
            match cause {
                Cause::FullWidthFirstPass => level(rise * if q.slot { q.load.axial() } else { usual }),
                Cause::EngagementSteps => level(rise * if q.slot { usual } else { q.load.axial() }),
                // Pushed to the left the bit's left side rises.
                Cause::AlternatingPasses => slope(q.left() * (amount * q.load.left)),
                Cause::TiltAcrossPasses => slope(away * amount),
                Cause::TiltAlongPasses => slope(along * amount),
                _ => level(0.0),
            }
        };
        let feed = plan.feed_mm_min.zip(plan.speed_rpm);
        let extra = match cause {
            Cause::OncePerRevolution => feed.map_or(Extra::None, |(f, n)| Extra::Arcs(feed_per_turn_mm(f, n))),
            Cause::OncePerTooth => feed
                .zip(plan.cutter.flutes)
                .map_or(Extra::None, |((f, n), z)| Extra::Arcs(feed_per_tooth_mm(f, n, z.max(1)))),
            Cause::Chatter => {
                let spacing = plan.feed_mm_min.map_or(1.0, |f| vibration_spacing_mm(f, CHATTER_HZ));
                // Often oblique: a third of a right angle off the passes.
                let (s, c) = 30f64.to_radians().sin_cos();
                Extra::Wave(spacing, along * c + away * s)
            }
            Cause::DrivePeriod => plan.machine.drive_pitch_mm().map_or(Extra::None, |pitch| Extra::Wave(pitch, away)),
            Cause::TurnMarks => Extra::Rings,
            Cause::CutterChangeStep => {
                let second = plan.second_cutter.as_ref().and_then(|c| c.diameter_mm);
                second.filter(|d| *d < p.diameter_mm).map_or(Extra::None, Extra::Corners)
            }
            _ => Extra::None,
        };
        let turns = if cause == Cause::TurnMarks { self.turns() } else { vec![] };
        let nose = match cause {
            Cause::Cusps => Nose::of(&plan.cutter),
            // Leans show on top of a round nose's own cusps.
            Cause::TiltAcrossPasses | Cause::TiltAlongPasses | Cause::AlternatingPasses => Nose::of(&plan.cutter),
            _ => Nose::Flat,
        };
        Floor { model: self, nose, stands: self.pieces.iter().map(stand).collect(), extra, amount, turns }
    }

    /// The floor of a flat cutter that rises (down-cut, positive) or dips with every change of its load: first passes and
    /// everything else together. `rise_um` is its height at full width over an unloaded cutter.
    pub fn giving_way(&self, rise_um: f64) -> Floor<'_> {
        let stand = |q: &Piece| Stand { level_um: rise_um * q.load.axial(), slope: Point::default() };
        let stands = self.pieces.iter().map(stand).collect();
        Floor { model: self, nose: Nose::Flat, stands, extra: Extra::None, amount: rise_um, turns: vec![] }
    }

    /// Where the cutter turns by more than 30 degrees.
    pub fn turns(&self) -> Vec<Point> {
        let turn = |w: &[Piece]| {
            let (a, b) = (w[0].heading(), w[1].heading());
            w[0].lane == w[1].lane && a.x * b.x + a.y * b.y < 30f64.to_radians().cos()
        };
        self.pieces.windows(2).filter(|w| turn(w)).map(|w| w[1].a).collect()
    }

    /// What a cause leaves; `value` is its free number, else the one that is drawn.
    pub fn relief(&self, cause: Cause, plan: &PlannedCut, value: Option<f64>) -> Relief {
        let floor = self.floor(cause, plan, value);
        let s = self.passes.stepover_mm;
        let (mut section, borders) = floor.section();
        if let Extra::Arcs(pitch) = floor.extra {
            section = floor.along_pass(pitch);
        }
        let level: Vec<f64> = section.iter().map(|q| q.1).collect();
        let median = crate::stats::median(&level).unwrap_or(0.0);
        section.iter_mut().for_each(|q| q.1 -= median);
        let edges = floor.edges(&borders);
        let across = self.passes.across_mm();
        // Only a pass that lies at another level makes a strip of a lone edge and the wall beside it.
        let steps = matches!(cause, Cause::FullWidthFirstPass | Cause::EngagementSteps);
        let strips = strips(&edges, across, if steps { self.passes.diameter_mm } else { 0.0 });
        // What repeats is looked at away from the walls, where the last pass shows its whole width.
        let margin = if steps { 0.0 } else { self.passes.diameter_mm.min(across / 3.0) };
        let inner = section.iter().filter(|q| q.0 >= margin && q.0 <= across - margin).map(|q| q.1);
        let (low, high) = inner.fold((f64::INFINITY, f64::NEG_INFINITY), |m, z| (m.0.min(z), m.1.max(z)));
        let period_mm = match cause {
            Cause::TiltAcrossPasses | Cause::TiltAlongPasses | Cause::Cusps => Some(s),
            Cause::AlternatingPasses if plan.pattern == Some(Pattern::Contour) => Some(s),
            Cause::AlternatingPasses if plan.both_ways == Some(false) => Some(s),
            Cause::AlternatingPasses => Some(2.0 * s),
            _ => match floor.extra {
                Extra::Arcs(pitch) | Extra::Wave(pitch, _) => Some(pitch),
                _ => None,
            },
        };
        let harmonics = matches!(floor.extra, Extra::None).then(|| floor.slope_harmonics(period_mm?));
        Relief {
            cause,
            free: free(cause, plan),
            used: floor.amount,
            section,
            edges,
            strips,
            height_um: if high > low { high - low } else { 0.0 },
            period_mm,
            slope_harmonics: harmonics.flatten(),
        }
    }
}

impl Floor<'_> {
    /// Height at `p`, micrometres over the unloaded cutter's level; `None` where no pass reaches.
    pub fn at(&self, p: Point) -> Option<f64> {
        let m = self.model;
        let r = m.passes.diameter_mm / 2.0;
        let (mut low, mut last) = (None::<f64>, None);
        for k in m.near.at(p) {
            let k = *k as usize;
            if let Some(z) = height_um(&m.pieces[k], &self.stands[k], self.nose, r, p) {
                low = Some(low.map_or(z, |l| l.min(z)));
                last = Some(k);
            }
        }
        match self.extra {
            Extra::None => low,
            Extra::Corners(d2) => self.with_corners(p, low, d2),
            Extra::Rings => low.map(|z| {
                let inside = self.turns.iter().any(|t| t.distance(p) <= r);
                if inside { z - self.amount } else { z }
            }),
            Extra::Wave(pitch, n) => {
                low.map(|z| z + self.amount / 2.0 * (std::f64::consts::TAU * (p.x * n.x + p.y * n.y) / pitch).sin())
            }
            Extra::Arcs(pitch) => low.zip(last).map(|(z, k)| {
                let q = &m.pieces[k];
                let (h, w) = (q.heading(), p - q.a);
                let along = w.x * h.x + w.y * h.y;
                let aside2 = (w.x * w.x + w.y * w.y - along * along).max(0.0);
                // The front edge of the last pass draws an arc of the cutter's radius once per turn.
                let t = ((q.from_mm + along - (r * r - aside2).max(0.0).sqrt()) / pitch).rem_euclid(1.0);
                z + self.amount * (2.0 * t - 1.0) * (2.0 * t - 1.0)
            }),
        }
    }

    /// The second cutter goes where the first leaves stock: into the corners, from where its own centre can stand.
    fn with_corners(&self, p: Point, low: Option<f64>, d2: f64) -> Option<f64> {
        let (w, h) = self.model.passes.size_mm;
        let (r1, r2) = (self.model.passes.diameter_mm / 2.0, d2 / 2.0);
        let centre = |v: f64, size: f64| if v < size / 2.0 { v.clamp(r2, r1) } else { v.clamp(size - r1, size - r2) };
        let c = Point::new(centre(p.x, w), centre(p.y, h));
        let second = (c.distance(p) <= r2).then_some(self.amount);
        match (low, second) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    /// Section through the middle, and the places where a pass may end.
    fn section(&self) -> (Vec<(f64, f64)>, Vec<f64>) {
        let m = self.model;
        let p = &m.passes;
        let (across, r, away) = (p.across_mm(), p.diameter_mm / 2.0, p.away());
        let middle = p.on_middle(across / 2.0);
        let (mut borders, mut centres) = (vec![], vec![]);
        for q in &m.pieces {
            // Only pieces alongside the passes that the section crosses.
            let place = |v: Point| ((v - middle).x * away.x + (v - middle).y * away.y) + across / 2.0;
            let off = |v: Point| (v - middle).x * away.y - (v - middle).y * away.x;
            let (a, b) = (off(q.a), off(q.b));
            if (q.heading().x * away.x + q.heading().y * away.y).abs() < 0.1 && a.min(b) <= 0.0 && a.max(b) >= 0.0 {
                let at = (place(q.a) + place(q.b)) / 2.0;
                centres.push(at);
                borders.extend([at - r, at + r]);
            }
        }
        borders.retain(|b| *b > BESIDE_MM * 2.0 && *b < across - BESIDE_MM * 2.0);
        for v in [&mut borders, &mut centres] {
            v.sort_by(f64::total_cmp);
            v.dedup_by(|a, b| (*a - *b).abs() < 1e-5);
        }
        let n = (across / p.stepover_mm * SAMPLES).clamp(200.0, MOST_SAMPLES).ceil();
        let between = centres.windows(2).map(|w| (w[0] + w[1]) / 2.0);
        let beside = borders.iter().flat_map(|b| [b - BESIDE_MM, b + BESIDE_MM]);
        let mut places: Vec<f64> =
            (0..=n as usize).map(|k| across * k as f64 / n).chain(between).chain(beside).collect();
        places.sort_by(f64::total_cmp);
        let section = places.into_iter().filter_map(|t| Some((t, self.at(p.on_middle(t))?))).collect();
        (section, borders)
    }

    /// Section along a pass through the middle of the pocket: what lies along the feed is not seen across it.
    fn along_pass(&self, pitch: f64) -> Vec<(f64, f64)> {
        let p = &self.model.passes;
        let middle = p.on_middle(p.across_mm() / 2.0);
        let at = |k: usize| pitch * k as f64 / SAMPLES;
        let place = |t: f64| Some((t, self.at(middle + p.along() * t)?));
        (0..=(PITCHES * SAMPLES) as usize).filter_map(|k| place(at(k))).collect()
    }

    fn edges(&self, borders: &[f64]) -> Vec<LaidEdge> {
        let z = |t: f64| self.at(self.model.passes.on_middle(t));
        let edge = |b: &f64| {
            let height_um = z(b + BESIDE_MM)? - z(b - BESIDE_MM)?;
            (height_um.abs() >= LEAST_EDGE_UM.max(LEAST_SHARE * self.amount.abs()))
                .then_some(LaidEdge { at_mm: *b, height_um })
        };
        borders.iter().filter_map(edge).collect()
    }

    /// Amplitudes of the slope's harmonics 1 to 3 over whole periods about the middle, the largest 1. `None` on an even
    /// floor, or where fewer than two periods fit.
    fn slope_harmonics(&self, period: f64) -> Option<[f64; 3]> {
        let across = self.model.passes.across_mm();
        let periods = ((across - 2.0 * self.model.passes.diameter_mm) / period).floor().min(8.0);
        if periods < 2.0 {
            return None;
        }
        const N: usize = 600;
        let from = (across - periods * period) / 2.0;
        let n = N * periods as usize;
        // Half a sample off, so that no sample falls on an edge.
        let z: Vec<f64> = (0..n)
            .map(|k| self.at(self.model.passes.on_middle(from + (k as f64 + 0.5) * period / N as f64)))
            .collect::<Option<_>>()?;
        // The slope of a height's k-th harmonic is k times it.
        let amplitude = |k: f64| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, v) in z.iter().enumerate() {
                let (s, c) = (std::f64::consts::TAU * k * (i as f64 + 0.5) / N as f64).sin_cos();
                (re, im) = (re + v * c, im + v * s);
            }
            k * re.hypot(im)
        };
        let all = [1.0, 2.0, 3.0].map(amplitude);
        let most = all.iter().copied().fold(0.0, f64::max);
        (most > 1e-9 * n as f64).then(|| all.map(|a| a / most))
    }
}

/// A strip lies between an edge and the next one of the other sign, or between a wall and a lone edge within `wall` mm.
fn strips(edges: &[LaidEdge], across: f64, wall: f64) -> Vec<LaidStrip> {
    let mut out = vec![];
    let mut used = vec![false; edges.len()];
    for k in 1..edges.len() {
        let (a, b) = (edges[k - 1], edges[k]);
        // Steps that differ by more than half are no two sides of one strip.
        if (0.5..=2.0).contains(&(-b.height_um / a.height_um)) {
            let level_um = (a.height_um - b.height_um) / 2.0;
            out.push(LaidStrip { from_mm: a.at_mm, width_mm: b.at_mm - a.at_mm, level_um });
            (used[k - 1], used[k]) = (true, true);
        }
    }
    if let Some(e) = edges.first().filter(|e| !used[0] && e.at_mm <= wall * 1.001) {
        out.insert(0, LaidStrip { from_mm: 0.0, width_mm: e.at_mm, level_um: -e.height_um });
    }
    if let Some(e) = edges.last().filter(|e| used.last() == Some(&false) && across - e.at_mm <= wall * 1.001) {
        out.push(LaidStrip { from_mm: e.at_mm, width_mm: across - e.at_mm, level_um: e.height_um });
    }
    out
}

impl Begin {
    pub fn word(self, contour: bool) -> &'static str {
        match (self, contour) {
            (Self::Near, true) => "from the wall inwards",
            (Self::Far, true) => "from the middle outwards",
            (Self::Near, false) => "beginning at one wall",
            (Self::Far, false) => "beginning at the other wall",
        }
    }
}
