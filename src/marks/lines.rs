//! Line by line: how far each line of a family stands from its even place, and how strong it is against the others.

use super::comb::{Comb, segment_bounds};
use super::family::FOLD;
use super::stack::Stack;
use super::types::Line;
use crate::stats::{mad_sigma, median};
use crate::units::Measured;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Power over background from which a harmonic helps to place a line.
const CARRIES: f64 = 6.0;
/// Most harmonics used: the eighth of a thin line is as wide as the line.
const MOST: usize = 8;
/// Share of a usual period's weight a period must have.
const WHOLE: f64 = 0.4;
/// Standard deviations from which a line is odd: among a hundred lines of normal scatter one in 1500 floors.
const ODD: f64 = 4.5;
/// Least scatter that is taken as usual, of strength (share) and place (share of the pitch): light from walls, rounding
/// and lens do as much even where all other lines agree better.
const USUAL_SCATTER: f64 = 0.025;
const LEAST_SHIFT: f64 = 0.001;

/// Lines from which their scatter tells the pitch's error, and the most that noise may shift one, share of the pitch.
const PLACED: usize = 10;
const CLEAR: f64 = 0.08;

/// Lines of a comb, in the order of t, with what they scatter by.
pub(super) struct Lines {
    pub lines: Vec<Line>,
    /// Relative standard error of the pitch from the scatter of the lines, noise and uneven passes alike; `None` where
    /// there are too few lines or they are too faint to be placed one by one.
    pub pitch_sigma: Option<f64>,
}

/// Measures every line of a comb. `folded` is the mean profile as [`super::family::fold`] gives it (phase 0 at the
/// middle of the floor); the line is where it departs most from its mean. `None` when no harmonic stands out.
pub(super) fn of(comb: &Comb, stack: &Stack, folded: &[f64]) -> Option<Lines> {
    let f = comb.frequency;
    let carrying: Vec<usize> = (1..=comb.sums.len().min(MOST)).filter(|h| comb.ratio(*h) > CARRIES).collect();
    let deepest = (0..FOLD).max_by(|a, b| folded[*a].abs().total_cmp(&folded[*b].abs()))?;
    let phase = deepest as f64 / FOLD as f64;
    if carrying.is_empty() {
        return None;
    }
    // Periods from half-way before a line to half-way after it.
    let reach = stack.reach();
    let first = ((reach.first * f - phase - 0.5).ceil()) as i64;
    let last = ((reach.last * f - phase + 0.5).floor()) as i64;
    if last <= first || last - first > 4000 {
        return None;
    }
    let starts: Vec<f64> = (first..=last + 1).map(|k| (k as f64 + phase - 0.5) / f).collect();
    // The zeroth harmonic is each period's light.
    let (mut z, w) = segment_bounds(stack, &starts, f, comb.along, &[&carrying[..], &[0]].concat());
    let nets = net(&z.pop()?, &w, folded);
    let usual = median(&w)?;
    let total = comb.reach.weight;
    // Template of one unit of weight.
    let unit: Vec<Complex64> = carrying.iter().map(|h| comb.sums[h - 1] / total).collect();
    let noise: Vec<f64> = carrying.iter().map(|h| comb.noise[h - 1] / total).collect();
    let power: f64 = unit.iter().zip(&noise).map(|(t, n)| t.norm_sqr() / n).sum();
    let steep: f64 =
        carrying.iter().zip(unit.iter().zip(&noise)).map(|(h, (t, n))| (*h as f64).powi(2) * t.norm_sqr() / n).sum();
    let mut rows: Vec<(i64, f64, f64, f64, Measured)> = Vec::new();
    for (i, k) in (first..=last).enumerate().filter(|(i, _)| w[*i] > WHOLE * usual) {
        let at = |tau: f64| -> f64 {
            carrying
                .iter()
                .enumerate()
                .map(|(c, h)| {
                    (z[c][i] * unit[c].conj() * Complex64::from_polar(1.0, TAU * *h as f64 * tau)).re / noise[c]
                })
                .sum()
        };
        let grid: Vec<f64> = (-32..=32).map(|j| at(f64::from(j) / 64.0)).collect();
        let top = (0..64).max_by(|a, b| grid[*a].total_cmp(&grid[*b]))?;
        // Vertex of the parabola through the top and its neighbours.
        let (a, b, c) = (grid[(top + 63) % 64], grid[top], grid[top + 1]);
        let bend = a - 2.0 * b + c;
        let vertex = if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        let tau = (top as f64 - 32.0 + vertex) / 64.0;
        let strength = at(tau) / (power * w[i]);
        rows.push((k, tau, strength, w[i], nets[i]));
    }
    if rows.len() < 3 {
        return None;
    }
    let sigma = |w: f64| (1.0 / (TAU * (2.0 * steep * w).sqrt()), 1.0 / (2.0 * power * w).sqrt());
    let at: Vec<f64> = rows.iter().map(|r| r.0 as f64).collect();
    let shift: Vec<f64> = rows.iter().map(|r| r.1).collect();
    let strength: Vec<f64> = rows.iter().map(|r| r.2).collect();
    let own = rows.iter().map(|r| sigma(r.3)).unzip::<f64, f64, Vec<f64>, Vec<f64>>();
    let (shift_trend, shift_scatter) = about(&at, &shift);
    let (strength_trend, strength_scatter) = about(&at, &strength);
    // Background raised by the lines' own unevenness makes the noise look larger than it is: the scatter itself counts.
    let usual = (median(&own.0)?.max(1e-9), median(&own.1)?.max(1e-9));
    let pitch = 1.0 / comb.own_frequency();
    let mut lines = Vec::with_capacity(rows.len());
    for i in 0..rows.len() {
        let off = shift[i] - shift_trend[i];
        let tall = strength[i] / strength_trend[i].max(1e-6);
        let (st, sa) = (own.0[i] / strength[i].abs().max(0.2), own.1[i] / strength_trend[i].max(1e-6));
        // A line that hardly shows has no place of its own.
        let loose = shift_scatter * own.0[i] / usual.0 / strength[i].abs().max(0.2);
        let shifted = strength[i] > 0.4 && off.abs() > ODD * loose.max(LEAST_SHIFT);
        let even = strength_scatter * own.1[i] / usual.1 / strength_trend[i].max(1e-6);
        let uneven = (tall - 1.0).abs() > ODD * even.max(USUAL_SCATTER);
        lines.push(Line {
            at: (rows[i].0 as f64 + phase) / f,
            shift: Measured::new(off * pitch, st * pitch)?,
            strength: Measured::new(tall, sa)?,
            net: rows[i].4,
            odd: rows.len() >= 6 && (shifted || uneven),
        });
    }
    // Least squares of place on number, weighed as the sums are: var = s^2 sum w^2 d^2 / (sum w d^2)^2.
    let weight: f64 = rows.iter().map(|r| r.3).sum();
    let middle = rows.iter().map(|r| r.3 * r.0 as f64).sum::<f64>() / weight;
    let (mut first, mut second) = (0.0, 0.0);
    for r in &rows {
        let d = (r.0 as f64 - middle).powi(2);
        first += r.3 * d;
        second += r.3 * r.3 * d;
    }
    let enough = rows.len() >= PLACED && median(&own.0)? < CLEAR;
    let pitch_sigma = enough.then(|| shift_scatter * second.sqrt() / first.max(1e-12));
    Some(Lines { lines, pitch_sigma })
}

/// `light`, summed over each period of weight `w`, over the trend of all, against one flank of the mean profile (half its mean
/// swing). A ridge or a groove gives back on one flank what it takes on the other; where the floor steps under a line something
/// stays. The sigma is the scatter of all periods, more for one that is cut short.
fn net(light: &[Complex64], w: &[f64], folded: &[f64]) -> Vec<Measured> {
    let flank = folded.iter().map(|v| v.abs()).sum::<f64>() / (2 * FOLD) as f64;
    let mean: Vec<f64> = light.iter().zip(w).map(|(z, w)| z.re / w.max(1e-9) / flank.max(1e-9)).collect();
    let at: Vec<f64> = (0..mean.len()).map(|i| i as f64).collect();
    let (trend, scatter) = about(&at, &mean);
    // Near the walls a period is cut short, and their light counts the more.
    let usual = median(w).unwrap_or(0.0);
    let sigma = |w: f64| scatter.max(USUAL_SCATTER) * (usual / w.max(1e-9)).max(1.0);
    (0..mean.len()).map(|i| Measured { value: mean[i] - trend[i], sigma: sigma(w[i]) }).collect()
}

/// A smooth trend (quadratic where there are a dozen values, else the median) that single values do not pull, and the
/// robust scatter about it.
fn about(x: &[f64], y: &[f64]) -> (Vec<f64>, f64) {
    let middle = median(y).unwrap_or(0.0);
    let flat = || {
        let off: Vec<f64> = y.iter().map(|v| v - middle).collect();
        (vec![middle; y.len()], mad_sigma(&off).unwrap_or(0.0))
    };
    if y.len() < 12 {
        return flat();
    }
    let (x0, half) = (0.5 * (x[0] + x[x.len() - 1]), (0.5 * (x[x.len() - 1] - x[0])).max(1e-9));
    let terms = |x: f64| nalgebra::Vector3::new(1.0, (x - x0) / half, ((x - x0) / half).powi(2));
    let mut keep: Vec<bool> = {
        let (_, s) = flat();
        y.iter().map(|v| (v - middle).abs() <= 3.0 * s.max(1e-9)).collect()
    };
    let mut trend = vec![middle; y.len()];
    let mut scatter = 0.0;
    for _ in 0..3 {
        let mut a = nalgebra::Matrix3::identity() * 1e-9;
        let mut b = nalgebra::Vector3::zeros();
        for i in (0..y.len()).filter(|i| keep[*i]) {
            let t = terms(x[i]);
            a += t * t.transpose();
            b += t * y[i];
        }
        let Some(fit) = a.cholesky().map(|c| c.solve(&b)) else { return flat() };
        trend = x.iter().map(|x| fit.dot(&terms(*x))).collect();
        let off: Vec<f64> = y.iter().zip(&trend).map(|(v, t)| v - t).collect();
        scatter = mad_sigma(&off).unwrap_or(0.0);
        keep = off.iter().map(|v| v.abs() <= 3.0 * scatter.max(1e-9)).collect();
    }
    (trend, scatter)
}
