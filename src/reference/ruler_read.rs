//! Reading one edge of a rule: which rows show ticks, their numbers, places and lengths.

use super::ruler::ROWS;
use super::ruler_comb::{Rail, Spectra, TickMap, row, spacing, tick};
use super::ruler_unit::unit;
use crate::photo::Photo;
use crate::plan::Tick;
use crate::stats::{mad_sigma, median};

/// Least number of ticks, and least share of the places between the first and the last that must show one.
const LEAST_TICKS: usize = 15;
const FILLED: f64 = 0.8;

/// Faintest comb beside the strongest along the same edge.
const FAINT: f64 = 0.3;

/// Weakest tick, log light: 6 %.
const WEAKEST: f64 = 0.06;

/// What was read along one edge.
pub struct Reading {
    pub rail: Rail,
    pub map: TickMap,
    /// (u, v, number) of every tick place measured.
    pub points: Vec<(f64, f64, f64)>,
    pub rows: usize,
    /// Scatter of the places about the map, px.
    pub scatter_px: f64,
    pub ticks: (i64, i64),
    pub unit: Option<(Tick, f64)>,
    /// Extent of the longest ticks across, px.
    pub longest_px: f64,
}

/// Reads the ticks along one side of an edge.
pub fn read(photo: &Photo, rail: &Rail) -> Option<Reading> {
    let long = photo.width.max(photo.height) as f64;
    let mut spectra = Spectra::default();
    let mut seen: Vec<(f64, super::ruler_comb::Spacing)> = ROWS
        .iter()
        .filter_map(|v| {
            let v = v * long / 1000.0;
            let (u0, x) = row(photo, rail, v)?;
            Some((v, spacing(u0, &x, rail.half, &mut spectra)?))
        })
        .collect();
    let strongest = seen.iter().map(|s| s.1.strength).fold(0.0, f64::max);
    seen.retain(|s| s.1.strength > 0.15 * strongest);
    // The finest spacing that fills all its places is the rule's own; rows farther out show only the longer ticks.
    let mut lattices: Vec<(f64, f64, f64)> =
        seen.iter().flat_map(|(v, s)| [2.0, 1.0, 0.5].map(|m| (*v, s.frequency * m, s.bend))).collect();
    lattices.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut bases: Vec<Base> = lattices.iter().filter_map(|(v, f, q)| Base::new(photo, rail, *v, *f, *q)).collect();
    // A faint comb beside a strong one is the rule's brushed face, or the picture's own blocks.
    let darkest = bases.iter().map(|b| b.contrast).fold(0.0, f64::max);
    bases.retain(|b| b.contrast > FAINT * darkest);
    let finest = bases.iter().map(|b| b.map.a.abs()).fold(0.0, f64::max);
    bases.retain(|b| b.map.a.abs() > 0.8 * finest);
    bases.iter().max_by(|a, b| a.contrast.total_cmp(&b.contrast))?.read(photo, rail)
}

/// One row in which every tick shows.
struct Base {
    v: f64,
    map: TickMap,
    /// 1 for dark ticks, -1 for bright ones.
    dark: f64,
    ticks: (i64, i64),
    contrast: f64,
}

impl Base {
    /// The lattice of frequency `f` and bend `q` put to the test on a row.
    fn new(photo: &Photo, rail: &Rail, v: f64, f: f64, q: f64) -> Option<Self> {
        if !(f < 0.35) {
            return None;
        }
        let plain = TickMap { a: f, b: 0.0, c: 0.0, g: q / rail.half, h: 0.0 };
        let (first, last) =
            (plain.number(-rail.half, v).ceil() as i64 + 1, plain.number(rail.half, v).floor() as i64 - 1);
        if (last - first) < LEAST_TICKS as i64 || last - first > 2000 {
            return None;
        }
        // Which phase, and dark or bright: the one with the highest contrast over the middle half of the edge.
        let some: Vec<i64> = (first + (last - first) / 4..=last - (last - first) / 4).collect();
        let mut best = (0.0, 0.0, 1.0);
        for dark in [1.0, -1.0] {
            for i in 0..8 {
                let phase = f64::from(i) / 8.0;
                let found: Vec<f64> =
                    some.iter().filter_map(|k| narrow(photo, rail, &plain, *k as f64 + phase, v, dark)).collect();
                let c = median(&found).unwrap_or(0.0);
                if c > best.0 {
                    best = (c, phase, dark);
                }
            }
        }
        let (contrast, phase, dark) = best;
        if contrast < WEAKEST {
            return None;
        }
        // Number 0 becomes the tick nearest to the middle.
        let mut map = TickMap { c: -phase, ..plain };
        let mut ticks = (0, 0);
        for round in 0..3 {
            let mut points = vec![];
            let mut depths = vec![];
            for k in first..=last {
                let Some((c, u)) = tick(photo, rail, &map, k as f64, v, dark) else { continue };
                depths.push((k, c));
                if c > 0.35 * contrast {
                    points.push((u, v, k as f64));
                }
            }
            if !even(&depths) {
                return None;
            }
            let run = longest_run(&points.iter().map(|p| p.2 as i64).collect::<Vec<_>>())?;
            points.retain(|p| (run.0..=run.1).contains(&(p.2 as i64)));
            let filled = points.len() as f64 / (run.1 - run.0 + 1) as f64;
            if points.len() < LEAST_TICKS || filled < FILLED {
                return None;
            }
            let next = TickMap::fitted(&points, false)?;
            let off = |p: &(f64, f64, f64)| (next.number(p.0, v) - p.2).abs();
            let all: Vec<f64> = points.iter().map(off).collect();
            // Two places on either side of one tick lean towards it in turn.
            let lean = |odd: i64| {
                let own: Vec<f64> = points
                    .iter()
                    .filter(|p| (p.2 as i64).rem_euclid(2) == odd)
                    .map(|p| next.number(p.0, v) - p.2)
                    .collect();
                median(&own)
            };
            if (lean(0)? - lean(1)?).abs() > LEAN {
                return None;
            }
            // Ticks stand in their places; chance dips wander over the reach of 0.3.
            if median(&all)? > 0.1 {
                return None;
            }
            points.retain(|p| off(p) < 0.2);
            map = TickMap::fitted(&points, false)?;
            ticks = run;
            if round == 2 && ((run.1 - run.0) as usize) < LEAST_TICKS {
                return None;
            }
        }
        Some(Self { v, map, dark, ticks, contrast })
    }

    /// Ticks row by row, their joint map, and their lengths.
    fn read(&self, photo: &Photo, rail: &Rail) -> Option<Reading> {
        let pitch = self.map.spacing_px(0.0, self.v);
        let step = (0.12 * pitch).max(1.5);
        let mut points = vec![];
        let mut rows = 0;
        for direction in [1.0, -1.0] {
            let mut map = self.map;
            let first = if direction > 0.0 { 0 } else { 1 };
            for i in first..60 {
                let v = self.v + direction * step * f64::from(i);
                let mut here = vec![];
                let mut places = 0;
                for k in self.ticks.0..=self.ticks.1 {
                    if let Some((c, u)) = tick(photo, rail, &map, k as f64, v, self.dark) {
                        places += 1;
                        if c > 0.5 * self.contrast {
                            here.push((u, v, k as f64));
                        }
                    }
                }
                if (here.len() as f64) < 0.75 * f64::from(places) || v < 0.0 {
                    break;
                }
                let Some(next) = TickMap::fitted(&here, false) else { break };
                map = next;
                rows += 1;
                points.extend(here);
            }
        }
        let mut map = TickMap::fitted(&points, rows >= 3)?;
        let mut scatter = 0.0;
        for _ in 0..3 {
            let off: Vec<f64> = points.iter().map(|p| p.0 - map.u(p.2, p.1)).collect();
            scatter = mad_sigma(&off)?.max(0.02);
            let kept: Vec<_> = points.iter().zip(&off).filter(|(_, o)| o.abs() < 3.5 * scatter).map(|p| *p.0).collect();
            map = TickMap::fitted(&kept, rows >= 3)?;
            points = kept;
        }
        let lengths = self.lengths(photo, rail, &map, pitch);
        let longest_px = lengths.iter().map(|l| l.1).fold(0.0, f64::max) * pitch + self.v;
        Some(Reading {
            rail: *rail,
            map,
            points,
            rows,
            scatter_px: scatter,
            ticks: self.ticks,
            unit: unit(&lengths),
            longest_px,
        })
    }

    /// Length of every tick in spacings: how far out from the base row it keeps half of its contrast.
    fn lengths(&self, photo: &Photo, rail: &Rail, map: &TickMap, pitch: f64) -> Vec<(i64, f64)> {
        let step = (0.1 * pitch).max(1.0);
        (self.ticks.0..=self.ticks.1)
            .filter_map(|k| {
                let own: Vec<f64> = (-1..=1)
                    .filter_map(|i| narrow(photo, rail, map, k as f64, self.v + f64::from(i) * step, self.dark))
                    .collect();
                let own = median(&own)?;
                if own < 0.3 * self.contrast {
                    return None;
                }
                let mut out = 0.0;
                let mut missed = 0;
                // A quarter inch in 1/32 in is the longest step between grades: 18 spacings hold every tick.
                let n = (18.0 * pitch / step) as i32;
                for i in 1..=n {
                    let v = self.v + step * f64::from(i);
                    let Some(c) = narrow(photo, rail, map, k as f64, v, self.dark) else { break };
                    if c > 0.5 * own.min(1.5 * self.contrast) {
                        out = step * f64::from(i);
                        missed = 0;
                    } else {
                        missed += 1;
                        if missed > 2 {
                            break;
                        }
                    }
                }
                Some((k, out / pitch))
            })
            .collect()
    }
}

/// Whether every second and every third tick is about as dark as the others: between the ticks of too fine a comb there is
/// only ground.
fn even(depths: &[(i64, f64)]) -> bool {
    [2, 3].into_iter().all(|m| {
        let classes: Vec<f64> = (0..m)
            .filter_map(|c| {
                let own: Vec<f64> = depths.iter().filter(|d| d.0.rem_euclid(m) == c).map(|d| d.1).collect();
                median(&own)
            })
            .collect();
        let (low, high) = classes.iter().fold((f64::INFINITY, 0.0), |(a, b): (f64, f64), c| (a.min(*c), b.max(*c)));
        classes.len() as i64 == m && low > EVEN * high
    })
}

/// Largest difference of place between even and odd ticks, spacings: engraved ones keep within 0.02 mm.
const LEAN: f64 = 0.08;

/// Least contrast of a class of ticks against the darkest class; thinner half-millimetre ticks stay above it.
const EVEN: f64 = 0.35;

/// Contrast at the very place of a tick (no search) against the gap it stands out from less, log light, positive where it
/// is a tick; `dark`: 1 for dark ticks, -1 for bright ones.
fn narrow(photo: &Photo, rail: &Rail, map: &TickMap, k: f64, v: f64, dark: f64) -> Option<f64> {
    let at = |k: f64| {
        let p = rail.px(map.u(k, v), v);
        let inside = p.x >= 0.0 && p.y >= 0.0 && p.x <= photo.width as f64 - 1.0 && p.y <= photo.height as f64 - 1.0;
        inside.then(|| dark * f64::from(photo.luma.bilinear(p.x, p.y) + 0.01).ln())
    };
    Some(at(k - 0.5)?.min(at(k + 0.5)?) - at(k)?)
}

/// The longest run of numbers with no gap of more than two.
fn longest_run(numbers: &[i64]) -> Option<(i64, i64)> {
    let mut best: Option<(i64, i64)> = None;
    let mut from = *numbers.first()?;
    for (i, k) in numbers.iter().enumerate() {
        if numbers.get(i + 1).is_none_or(|n| n - k > 3) {
            if best.is_none_or(|b| k - from > b.1 - b.0) {
                best = Some((from, *k));
            }
            from = numbers.get(i + 1).copied().unwrap_or(*k);
        }
    }
    best
}
