//! Ticks along a straight edge: their spacing by spectrum, perspective along the edge followed by phase, every tick's place
//! and length.

use crate::geometry::Point;
use crate::photo::Photo;
use nalgebra::{DMatrix, DVector};
use realfft::RealFftPlanner;

/// A straight edge in photo pixels: u along it from its middle, v across it (away from the edge, over the ticks).
#[derive(Debug, Clone, Copy)]
pub struct Rail {
    pub at: Point,
    /// Unit vectors.
    pub along: Point,
    pub across: Point,
    /// Half of its length, px.
    pub half: f64,
}

impl Rail {
    pub fn new(a: Point, b: Point, side: f64) -> Self {
        let length = a.distance(b).max(1e-9);
        let along = (b - a) * (1.0 / length);
        Self { at: a.lerp(b, 0.5), along, across: Point::new(-along.y, along.x) * side, half: length / 2.0 }
    }
    pub fn px(&self, u: f64, v: f64) -> Point {
        self.at + self.along * u + self.across * v
    }
}

/// Added to linear light before the logarithm (see `edges`).
const LOG_FLOOR: f32 = 0.01;

/// Shortest and longest spacing looked for, px: below, ticks are no longer told apart; above, too few are in the photo.
const SPACING_PX: (f64, f64) = (3.2, 90.0);

/// Strongest perspective along the edge: change of spacing from the middle to an end. 0.35 is a rule as long as 0.7 focal
/// lengths under 45 degrees.
const STRONGEST: f64 = 0.35;

/// Part of the edge that lies in the photo at distance `v`, from the middle. `None` where that is under 60 px.
fn extent(photo: &Photo, rail: &Rail, v: f64) -> Option<(f64, usize)> {
    let (w, h) = (photo.width as f64 - 1.0, photo.height as f64 - 1.0);
    let inside = |u: f64| {
        let p = rail.px(u, v);
        p.x >= 0.0 && p.y >= 0.0 && p.x <= w && p.y <= h
    };
    let n = (2.0 * rail.half) as usize;
    let at = |i: usize| i as f64 - rail.half;
    let first = (0..n).find(|i| inside(at(*i)))?;
    let last = (first..n).rev().find(|i| inside(at(*i)))?;
    (last - first >= 60).then(|| (at(first), last - first + 1))
}

/// Log light along the edge at distance `v`, one value a px from -half to half, three rows averaged. `None` where less
/// than 60 px lie in the photo.
pub fn row(photo: &Photo, rail: &Rail, v: f64) -> Option<(f64, Vec<f64>)> {
    let (u0, n) = extent(photo, rail, v)?;
    Some((u0, (0..n).map(|i| light(photo, rail, u0 + i as f64, v)).collect()))
}

/// Windows of that row, `count` of them evenly spread, each a `count`th of it but within `px`; worked out as asked for.
pub fn windows(
    photo: &Photo,
    rail: &Rail,
    v: f64,
    count: usize,
    px: (usize, usize),
) -> Option<impl Iterator<Item = Vec<f64>>> {
    let (u0, whole) = extent(photo, rail, v)?;
    let n = (whole / count.max(2)).clamp(px.0, px.1).min(whole);
    Some((1..=count).map(move |i| {
        let first = (whole - n) * i / (count + 1);
        (first..first + n).map(|k| light(photo, rail, u0 + k as f64, v)).collect()
    }))
}

fn light(photo: &Photo, rail: &Rail, u: f64, v: f64) -> f64 {
    let (w, h) = (photo.width as f64 - 1.0, photo.height as f64 - 1.0);
    let sum: f32 = [-1.0, 0.0, 1.0]
        .map(|d| {
            let p = rail.px(u, v + d);
            photo.luma.bilinear(p.x.clamp(0.0, w), p.y.clamp(0.0, h))
        })
        .into_iter()
        .sum();
    f64::from(sum / 3.0 + LOG_FLOOR).ln()
}

/// Spacing along one row: k = phase + f u / (1 + q u / half), u from the middle.
#[derive(Debug, Clone, Copy)]
pub struct Spacing {
    /// Ticks per px at the middle.
    pub frequency: f64,
    pub bend: f64,
    /// Power of the peak over the mean power of the row.
    pub strength: f64,
}

/// Share of the row's power in its strongest line, and that line's frequency (cycles per px), without perspective.
pub fn purity(x: &[f64], spectra: &mut Spectra) -> (f64, f64) {
    let (power, n) = spectra.power(x);
    let (from, to) = band(n);
    let Some(k) = (from..to).max_by(|a, b| power[*a].total_cmp(&power[*b])) else { return (0.0, 0.0) };
    let around = |k: usize| power[k.saturating_sub(1)..=(k + 1).min(power.len() - 1)].iter().sum::<f64>();
    let total: f64 = power[(n / 200).max(2)..].iter().sum();
    (around(k) / total.max(1e-12), vertex(&power, k) / n as f64)
}

fn band(n: usize) -> (usize, usize) {
    let from = ((n as f64 / SPACING_PX.1).ceil() as usize).max(4);
    (from, ((n as f64 / SPACING_PX.0) as usize).min(n / 2))
}

fn vertex(power: &[f64], k: usize) -> f64 {
    let (a, b, c) =
        (power[k - 1].max(1e-30).ln(), power[k].max(1e-30).ln(), power[(k + 1).min(power.len() - 1)].max(1e-30).ln());
    let bend = a - 2.0 * b + c;
    k as f64 + if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// Power spectra under a Hann window; plans and the last window are kept, for hundreds of rows have one length.
#[derive(Default)]
pub struct Spectra {
    planner: RealFftPlanner<f64>,
    window: Vec<f64>,
}

impl Spectra {
    /// Power spectrum of the mean-free row times the window, and its length.
    fn power(&mut self, x: &[f64]) -> (Vec<f64>, usize) {
        let n = x.len() & !1;
        if self.window.len() != n {
            self.window = crate::signal::hann(n);
        }
        let mean = x.iter().sum::<f64>() / x.len().max(1) as f64;
        let mut buffer: Vec<f64> = self.window.iter().zip(x).map(|(w, v)| w * (v - mean)).collect();
        let fft = self.planner.plan_fft_forward(n);
        let mut out = fft.make_output_vec();
        // Lengths come from the same plan, so this cannot fail.
        let _ = fft.process(&mut buffer, &mut out);
        (out.iter().map(|c| c.norm_sqr()).collect(), n)
    }
}

/// The strongest spacing of a row that starts at `u0`: spectra of the row straightened by a range of perspectives, first
/// of its middle third, then of the whole.
pub fn spacing(u0: f64, x: &[f64], half: f64, spectra: &mut Spectra) -> Option<Spacing> {
    let smooth = high_pass(x, (SPACING_PX.1 * 1.2) as usize);
    let mut best: Option<Spacing> = None;
    let (mut centre, mut reach, mut part) = (0.0, STRONGEST, 1.0 / 3.0);
    for _ in 0..2 {
        let mut here: Option<Spacing> = None;
        // Half a tick of error at the ends of the part: 2 / (ticks in it), in terms of the whole.
        let finest = 2.0 * half * part / 5.0;
        let step = (1.6 / (finest * part)).clamp(0.001, 0.03);
        let n = (reach / step).ceil() as i32;
        for i in -n..=n {
            let q = centre + f64::from(i) * step;
            let Some((power, len, per_px)) = straightened(u0, &smooth, half, q, part, spectra) else { continue };
            let (from, to) = band(len);
            let Some(k) = (from..to).max_by(|a, b| power[*a].total_cmp(&power[*b])) else { continue };
            let mean = power[from..to].iter().sum::<f64>() / (to - from).max(1) as f64;
            let s = Spacing {
                frequency: vertex(&power, k) / len as f64 / per_px,
                bend: q,
                strength: power[k] / mean.max(1e-30),
            };
            if here.as_ref().is_none_or(|b| s.strength > b.strength) {
                here = Some(s);
            }
        }
        let s = here?;
        (centre, reach, part) = (s.bend, 2.0 * step, 1.0);
        best = Some(s);
    }
    best
}

/// Power spectrum of the part of the row about its middle, resampled evenly in u / (1 + q u / half), its length, and px at
/// the middle per sample.
fn straightened(
    u0: f64,
    x: &[f64],
    half: f64,
    q: f64,
    part: f64,
    spectra: &mut Spectra,
) -> Option<(Vec<f64>, usize, f64)> {
    let warp = |u: f64| u / (1.0 + q * u / half);
    let (a, b) = ((-part * half).max(u0), (part * half).min(u0 + x.len() as f64 - 1.0));
    if b - a < 40.0 {
        return None;
    }
    let (wa, wb) = (warp(a), warp(b));
    let n = ((b - a) as usize) & !1;
    let step = (wb - wa) / n as f64;
    let y: Vec<f64> = (0..n)
        .map(|i| {
            let w = wa + step * i as f64;
            let u = w / (1.0 - q * w / half);
            let t = (u - u0).clamp(0.0, x.len() as f64 - 1.001);
            let k = t as usize;
            x[k] + (x[k + 1] - x[k]) * (t - k as f64)
        })
        .collect();
    let (power, len) = spectra.power(&y);
    Some((power, len, step))
}

/// The row less its moving mean over `width` px.
fn high_pass(x: &[f64], width: usize) -> Vec<f64> {
    let mut sums = vec![0.0; x.len() + 1];
    for (i, v) in x.iter().enumerate() {
        sums[i + 1] = sums[i] + v;
    }
    (0..x.len())
        .map(|i| {
            let (a, b) = (i.saturating_sub(width / 2), (i + width / 2 + 1).min(x.len()));
            x[i] - (sums[b] - sums[a]) / (b - a) as f64
        })
        .collect()
}

/// Tick number at (u, v): (a u + b v + c) / (g u + h v + 1).
#[derive(Debug, Clone, Copy)]
pub struct TickMap {
    pub a: f64,
    pub b: f64,
    pub c: f64,
    pub g: f64,
    pub h: f64,
}

impl TickMap {
    pub fn number(&self, u: f64, v: f64) -> f64 {
        (self.a * u + self.b * v + self.c) / (self.g * u + self.h * v + 1.0)
    }
    pub fn u(&self, k: f64, v: f64) -> f64 {
        (k * (self.h * v + 1.0) - self.b * v - self.c) / (self.a - k * self.g)
    }
    /// px between ticks at (u, v).
    pub fn spacing_px(&self, u: f64, v: f64) -> f64 {
        let k = self.number(u, v);
        (self.u(k + 0.5, v) - self.u(k - 0.5, v)).abs()
    }
    /// Least squares through ticks (u, v, k); with one row only, v says nothing and is left out.
    pub fn fitted(points: &[(f64, f64, f64)], rows: bool) -> Option<Self> {
        let n = if rows { 5 } else { 3 };
        if points.len() < 2 * n {
            return None;
        }
        let (su, sv, sk) = points.iter().fold((1.0, 1.0, 1.0), |(a, b, c): (f64, f64, f64), p| {
            (a.max(p.0.abs()), b.max(p.1.abs()), c.max(p.2.abs()))
        });
        let mut map: Option<Self> = None;
        for _ in 0..3 {
            let mut m = DMatrix::zeros(points.len(), n);
            let mut y = DVector::zeros(points.len());
            for (i, (u, v, k)) in points.iter().enumerate() {
                let w = map.as_ref().map_or(1.0, |o| 1.0 / (o.g * u + o.h * v + 1.0));
                let own = [u / su, 1.0, -k * u / (su * sk), v / sv, -k * v / (sv * sk)];
                for j in 0..n {
                    m[(i, j)] = own[j] * w;
                }
                y[i] = k * w;
            }
            let x = m.svd(true, true).solve(&y, 1e-12).ok()?;
            let at = |j: usize| if j < n { x[j] } else { 0.0 };
            let next = Self { a: at(0) / su, c: at(1), g: at(2) / (su * sk), b: at(3) / sv, h: at(4) / (sv * sk) };
            if ![next.a, next.b, next.c, next.g, next.h].iter().all(|v| v.is_finite()) || next.a == 0.0 {
                return None;
            }
            map = Some(next);
        }
        map
    }
}

/// Contrast of the place of tick `k` against either gap beside it (log light, positive where the tick is darker), and where
/// within 0.3 spacings the tick is darkest (its centroid), px.
pub fn tick(photo: &Photo, rail: &Rail, map: &TickMap, k: f64, v: f64, dark: f64) -> Option<(f64, f64)> {
    let at = |k: f64| map.u(k, v);
    let (u, left, right) = (at(k), at(k - 0.5), at(k + 0.5));
    let inside = |u: f64| {
        let p = rail.px(u, v);
        p.x >= 1.0 && p.y >= 1.0 && p.x <= photo.width as f64 - 2.0 && p.y <= photo.height as f64 - 2.0
    };
    if !(inside(left) && inside(right)) {
        return None;
    }
    let gap = |k: f64| [-0.06, 0.0, 0.06].map(|d| light(photo, rail, at(k + d), v)).into_iter().sum::<f64>() / 3.0;
    // The nearer gap in light: a place between a tick and its gap stands out from one side only.
    let ground = dark * (dark * gap(k - 0.5)).min(dark * gap(k + 0.5));
    let reach = 0.3 * (right - left).abs();
    let n = (4.0 * reach).ceil().max(4.0) as i32;
    let (mut sum, mut weight, mut deepest) = (0.0, 0.0, f64::NEG_INFINITY);
    for i in -n..=n {
        let du = reach * f64::from(i) / f64::from(n);
        let depth = dark * (ground - light(photo, rail, u + du, v));
        deepest = deepest.max(depth);
        // Square: the tick's own flanks weigh more than the ground's texture.
        let d = depth.max(0.0).powi(2);
        sum += d * du;
        weight += d;
    }
    Some((deepest, u + if weight > 0.0 { sum / weight } else { 0.0 }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bent_comb_gives_its_spacing_and_perspective() {
        // 9.3 px at the middle, spacing falling by 2 x 12 % to an end.
        let (f, q, half) = (1.0 / 9.3, 0.12, 700.0);
        let x: Vec<f64> = (0..1400)
            .map(|i| {
                let u = f64::from(i) - half;
                let k = f * u / (1.0 + q * u / half);
                if (k - k.round()).abs() < 0.12 { -1.0 } else { 0.0 }
            })
            .collect();
        let s = spacing(-half, &x, half, &mut Spectra::default()).unwrap();
        assert!((s.frequency / f - 1.0).abs() < 0.002, "{}", 1.0 / s.frequency);
        assert!((s.bend - q).abs() < 0.01, "{}", s.bend);
    }
    #[test]
    fn ticks_in_perspective_give_back_their_map() {
        let truth = TickMap { a: 0.08, b: 0.004, c: 3.0, g: 1e-4, h: -2e-4 };
        let mut points = vec![];
        for k in -40..=40 {
            for v in [5.0, 15.0, 25.0, 35.0] {
                points.push((truth.u(f64::from(k), v), v, f64::from(k)));
            }
        }
        let got = TickMap::fitted(&points, true).unwrap();
        assert!((got.a - truth.a).abs() < 1e-9 && (got.h - truth.h).abs() < 1e-9, "{got:?}");
        assert!((got.number(got.u(7.0, 12.0), 12.0) - 7.0).abs() < 1e-9);
    }
}
