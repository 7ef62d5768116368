//! The background of a spectrum, and the fundamental of a profile against it.

use super::{Cells, Harmonic, fft_size};
use realfft::RealFftPlanner;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Quantile of the power that stands for its background; teeth of a comb with five periods fill 60 % of
/// the bins, so the median would sit on them.
const QUANTILE: f64 = 0.3;

/// Zero padding: at eight the loss between bins stays under 1 %.
const PAD: usize = 8;
/// Evidence (power over background) that a fundamental, and each further harmonic, must bring. A harmonic of noise brings 1
/// on average; with 2 half the frequency wins now and then, with 6 faint harmonics are lost that fix the frequency.
const FIRST: f64 = 6.0;
const PRICE: f64 = 4.0;
/// Most harmonics.
const MOST: usize = 12;
/// Times the harmonics are taken apart anew at the frequency found.
const ROUNDS: usize = 12;
/// Power over background from which a harmonic takes part: they are few and chosen by evidence already.
const LEAST: f64 = 1.0;
/// Segments for the refinement.
const SEGMENTS: usize = 64;

/// A fundamental frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fundamental {
    /// Cycles per sample, with one sigma (Cramer-Rao for the background found).
    pub frequency: f64,
    pub sigma: f64,
    /// Harmonics used.
    pub harmonics: usize,
    /// Power over background, summed over them.
    pub evidence: f64,
}

/// Fundamental of an evenly sampled profile whose mean and trend do not matter: all harmonics together, each weighed by
/// the background about it, each freed of the others' lobes. `None` under 32 samples or where nothing stands out.
pub fn fundamental(profile: &[f64]) -> Option<Fundamental> {
    let n = profile.len();
    let at: Vec<f64> = (0..n).map(|i| i as f64 - (n as f64 - 1.0) / 2.0).collect();
    let (a, b, ..) = crate::stats::fit_line(&at, profile, None).filter(|_| n >= 32)?;
    let x: Vec<f64> = profile.iter().zip(&at).map(|(v, t)| v - a - b * t).collect();
    // A Hann window keeps lobes from passing for harmonics, none keeps faint ones: whichever leaves less.
    [true, false]
        .into_iter()
        .filter_map(|window| {
            let (f, count, evidence) = start(&x, window)?;
            refined(&x, &at, f, count, evidence)
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|r| r.0)
}

/// The maximum near `f`, and what the fit costs: n ln(rest) and [`PRICE`] for every harmonic.
fn refined(x: &[f64], at: &[f64], mut f: f64, count: usize, evidence: f64) -> Option<(Fundamental, f64)> {
    let n = x.len();
    let width = n as f64 / SEGMENTS as f64;
    let cells = Cells {
        t: (0..SEGMENTS).map(|j| (j as f64 + 0.5) * width - n as f64 / 2.0).collect(),
        u: vec![0.0],
        var_t: ((n * n) as f64 - 1.0) / 12.0,
        var_u: 0.0,
        cov: 0.0,
    };
    let mut offset = super::Offset::default();
    let mut left = 0.0;
    for _ in 0..ROUNDS {
        let (parts, rest) = parts(x, at, f, count)?;
        left = rest.iter().map(|v| v * v).sum::<f64>();
        let (mut power, df) = power(&rest, 2);
        // Where a harmonic was taken out hardly any power is left: the bins next to the gap stand for it.
        for h in 1..=count {
            let k = (h as f64 * f / df).round() as usize;
            if k >= 3 && k + 3 < power.len() {
                let (before, after) = (power[k - 3], power[k + 3]);
                power[k - 1..=k + 1].copy_from_slice(&[before, 0.5 * (before + after), after]);
            }
        }
        let noise = background(&power, df, n as f64);
        let harmonics: Vec<Harmonic> = parts
            .iter()
            .enumerate()
            .map(|(i, part)| {
                let number = (i + 1) as f64;
                let mut sums = vec![Complex64::default(); SEGMENTS];
                for (k, t) in at.iter().enumerate() {
                    sums[k * SEGMENTS / n] += part + Complex64::from_polar(rest[k], -TAU * number * f * t);
                }
                let k = ((number * f / df).round() as usize).min(noise.len() - 1);
                Harmonic { number, noise: noise[k], cells: sums }
            })
            .collect();
        offset = cells.refine(&harmonics, (0.0, 0.0), LEAST)?;
        f += offset.along_t;
        if offset.along_t.abs() < 0.01 * offset.sigma_t {
            break;
        }
    }
    let cost = n as f64 * left.max(1e-300).ln() + 2.0 * PRICE * count as f64;
    Some((Fundamental { frequency: f, sigma: offset.sigma_t, harmonics: count, evidence }, cost))
}

/// Power spectrum of a profile, padded, and the distance of its bins.
fn power(x: &[f64], pad: usize) -> (Vec<f64>, f64) {
    let size = fft_size(x.len() * pad);
    let mut buffer = vec![0.0; size];
    buffer[..x.len()].copy_from_slice(x);
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(size);
    let mut out = fft.make_output_vec();
    // Lengths come from the same plan, so this cannot fail.
    let _ = fft.process(&mut buffer, &mut out);
    (out.iter().map(|c| c.norm_sqr().max(1e-300)).collect(), 1.0 / size as f64)
}

/// Frequency to start from, the number of harmonics and their evidence.
fn start(x: &[f64], window: bool) -> Option<(f64, usize, f64)> {
    let n = x.len();
    let windowed: Vec<f64> = x.iter().zip(super::hann(n)).map(|(v, w)| if window { v * w } else { *v }).collect();
    let (power, df) = power(&windowed, PAD);
    let noise = background(&power, df, n as f64 / if window { 2.0 } else { 1.0 });
    let ratio = |f: f64| {
        let k = (f / df).round() as usize;
        Some(power.get(k)? / noise[k])
    };
    let mut best = (0.0, 0.0, 0);
    let mut f = 2.5 / n as f64;
    while f < 0.4 {
        let mut gain = 0.0;
        for h in 1..=MOST.min((0.45 / f) as usize) {
            gain += ratio(h as f64 * f)? - if h == 1 { FIRST } else { PRICE };
            if gain > best.0 {
                best = (gain, f, h);
            }
        }
        f += df / 4.0;
    }
    (best.2 > 0).then(|| (best.1, best.2, best.0 + FIRST + PRICE * (best.2 - 1) as f64))
}

/// Least squares of all harmonics of `f` together (with mean and slope): their amplitudes, without the mirror image at
/// minus f that a real wave has and that would pull, and what none of them explains.
fn parts(x: &[f64], at: &[f64], f: f64, count: usize) -> Option<(Vec<Complex64>, Vec<f64>)> {
    let n = x.len();
    let half = n as f64 / 2.0;
    let m = nalgebra::DMatrix::from_fn(n, 2 * count + 2, |i, j| match j {
        0 => 1.0,
        1 => at[i] / half,
        _ => {
            let phase = TAU * (j / 2) as f64 * f * at[i];
            if j % 2 == 0 { phase.cos() } else { phase.sin() }
        }
    });
    let normal = m.tr_mul(&m);
    let side = m.tr_mul(&nalgebra::DVector::from_column_slice(x));
    let fit = normal.cholesky()?.solve(&side);
    let all = &m * &fit;
    let parts = (1..=count).map(|h| Complex64::new(fit[2 * h], -fit[2 * h + 1]) / 2.0).collect();
    Some((parts, (0..n).map(|i| x[i] - all[i]).collect()))
}

/// Background of a power spectrum (bins `df` apart, signal `length` long): a low quantile of the power over a window of 1/1.5 to 1.5 times the frequency and at
/// least 12 cells to either side, scaled to the mean of an exponential variate.
pub fn background(power: &[f64], df: f64, length: f64) -> Vec<f64> {
    let cell = ((1.0 / length / df) as usize).max(1);
    // One value a cell is enough, and windows move by a quarter of their own width.
    let coarse: Vec<f64> = (0..power.len()).step_by(cell.div_ceil(2)).map(|i| power[i]).collect();
    let q = cell.div_ceil(2);
    let scale = 1.0 / -(1.0 - QUANTILE).ln();
    let mut knots: Vec<(f64, f64)> = Vec::new();
    let mut k = 0.0f64;
    while (k as usize) < coarse.len() {
        let c = k as usize;
        let half = (c as f64 / 3.0).max(24.0) as usize;
        let (a, b) = (c.saturating_sub(half).max(3), (c + half).min(coarse.len() - 1));
        if b > a {
            let mut v: Vec<f64> = coarse[a..=b].to_vec();
            v.sort_by(f64::total_cmp);
            let i = ((v.len() - 1) as f64 * QUANTILE) as usize;
            knots.push((c as f64 * q as f64, (v[i] * scale).max(1e-12).ln()));
        }
        k += (half as f64 / 4.0).max(1.0);
    }
    let mut out = Vec::with_capacity(power.len());
    let mut j = 0;
    for i in 0..power.len() {
        let x = i as f64;
        while j + 1 < knots.len() && knots[j + 1].0 < x {
            j += 1;
        }
        let v = match (knots.get(j), knots.get(j + 1)) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * ((x - a.0) / (b.0 - a.0)).clamp(0.0, 1.0),
            (Some(a), None) => a.1,
            _ => 0.0,
        };
        out.push(v.exp());
    }
    out
}
