//! A comb fitted to a stack: frequency and direction together over all harmonics, with the noise that limits them.

use super::search::Ray;
use super::stack::{Reach, Stack};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Segments the stack is cut into across the lines for the fit.
const SEGMENTS: usize = 48;
/// A harmonic takes part in the fit when its power is this many times its background (e^-6 by chance).
const TAKES_PART: f64 = 6.0;

/// Complex sums of one harmonic over bands and segments.
struct Cells {
    harmonic: f64,
    noise: f64,
    /// `bands` rows of `segments`.
    sum: Vec<Complex64>,
}

/// A fitted comb.
#[derive(Debug, Clone)]
pub(super) struct Comb {
    pub frequency: f64,
    pub frequency_sigma: f64,
    pub normal_deg: f64,
    pub normal_sigma_deg: f64,
    /// Complex sums of harmonics 1, 2, ... (phase at the middle of the floor) and their background powers.
    pub sums: Vec<Complex64>,
    pub noise: Vec<f64>,
    pub reach: Reach,
}

impl Comb {
    /// Power over background of harmonic h (from 1).
    pub fn ratio(&self, h: usize) -> f64 {
        self.sums.get(h - 1).map_or(0.0, |z| z.norm_sqr() / self.noise[h - 1])
    }
    /// Relative brightness amplitude of harmonic h (from 1).
    pub fn amplitude(&self, h: usize, dt: f64) -> f64 {
        self.sums
            .get(h - 1)
            .map_or(0.0, |z| 2.0 * z.norm() / self.reach.weight / bin_loss(h as f64 * self.frequency * dt))
    }
    /// The noise in that amplitude.
    pub fn amplitude_noise(&self, h: usize) -> f64 {
        self.noise.get(h - 1).map_or(0.0, |b| 2.0 * b.sqrt() / self.reach.weight)
    }
    /// Fits a comb of `count` harmonics near `frequency` to a stack. `None` when nothing stands out at all.
    pub fn fit(stack: &Stack, ray: &Ray, frequency: f64, count: usize) -> Option<Self> {
        let reach = ray.reach;
        let mut cells = Vec::new();
        for h in 1..=count {
            let f = h as f64 * frequency;
            let Some(noise) = ray.background_at(f) else { break };
            // The maximum over half a cell to either side, so that a slightly wrong start keeps its high harmonics.
            cells.push(Cells { harmonic: h as f64, noise, sum: demodulate(stack, f, SEGMENTS) });
        }
        if cells.is_empty() {
            return None;
        }
        let middle = |j: usize| stack.t0 + (j as f64 + 0.5) * (stack.bins as f64 * stack.dt / SEGMENTS as f64);
        let turned = |c: &Cells, df: f64, g: f64| -> Complex64 {
            let h = c.harmonic;
            let across: Vec<Complex64> =
                (0..SEGMENTS).map(|j| Complex64::from_polar(1.0, -TAU * h * df * middle(j))).collect();
            (0..stack.bands)
                .map(|b| {
                    let row = &c.sum[b * SEGMENTS..(b + 1) * SEGMENTS];
                    let s: Complex64 = row.iter().zip(&across).map(|(a, e)| a * e).sum();
                    s * Complex64::from_polar(1.0, -TAU * h * g * stack.u_at(b))
                })
                .sum()
        };
        // g = frequency times the turn of the normal, cycles per unit along the lines.
        let (cell_f, cell_g) = (1.0 / reach.length(), 1.0 / (12.0 * reach.var_u).sqrt());
        let strongest = |df: f64, g: f64| {
            (0..cells.len()).max_by(|&a, &b| {
                let r = |i: usize| turned(&cells[i], df, g).norm_sqr() / cells[i].noise;
                r(a).total_cmp(&r(b))
            })
        };
        let lead = strongest(0.0, 0.0)?;
        let h = cells[lead].harmonic;
        let mut at = (0.0, 0.0, 0.0);
        for i in -5i32..=5 {
            for j in -8i32..=8 {
                let (df, g) = (f64::from(i) * cell_f / 8.0 / h, f64::from(j) * cell_g / 8.0 / h);
                let p = turned(&cells[lead], df, g).norm_sqr();
                if p > at.2 {
                    at = (df, g, p);
                }
            }
        }
        let goal = |df: f64, g: f64| -> f64 {
            cells
                .iter()
                .map(|c| {
                    let r = turned(c, df, g).norm_sqr() / c.noise;
                    if r > TAKES_PART { r } else { 0.0 }
                })
                .sum()
        };
        let top = cells.iter().map(|c| c.harmonic).fold(1.0, f64::max).min(h * 3.0);
        let mut best = (at.0, at.1, goal(at.0, at.1));
        let (mut sf, mut sg) = (cell_f / 6.0 / h, cell_g / 6.0 / h);
        while sf > cell_f / 400.0 / top {
            let mut moved = false;
            for (a, b) in [(sf, 0.0), (-sf, 0.0), (0.0, sg), (0.0, -sg)] {
                let v = goal(best.0 + a, best.1 + b);
                if v > best.2 {
                    best = (best.0 + a, best.1 + b, v);
                    moved = true;
                }
            }
            if !moved {
                sf /= 2.0;
                sg /= 2.0;
            }
        }
        let (df, g) = (best.0, best.1);
        let sums: Vec<Complex64> = cells.iter().map(|c| turned(c, df, g)).collect();
        // Cramer-Rao: var(2 pi f) = 1 / (2 sum h^2 rho_h var(t)); the same with u for the direction.
        let information: f64 = cells
            .iter()
            .zip(&sums)
            .map(|(c, z)| c.harmonic.powi(2) * (z.norm_sqr() / c.noise - 1.0).max(0.0))
            .sum::<f64>()
            .max(0.5);
        let f = frequency + df;
        if f < ray.lowest || f > ray.highest {
            return None;
        }
        let sigma = |var: f64| 1.0 / (TAU * (2.0 * information * var).sqrt());
        Some(Self {
            frequency: f,
            frequency_sigma: sigma(reach.var_t),
            normal_deg: stack.normal_deg + (g / f).atan().to_degrees(),
            normal_sigma_deg: (sigma(reach.var_u) / f).to_degrees(),
            sums,
            noise: cells.iter().map(|c| c.noise).collect(),
            reach,
        })
    }
}

/// Sums of x exp(-2 pi i f t) over segments of equal width, band by band.
pub(super) fn demodulate(stack: &Stack, f: f64, segments: usize) -> Vec<Complex64> {
    let mut out = vec![Complex64::default(); stack.bands * segments];
    let step = Complex64::from_polar(1.0, -TAU * f * stack.dt);
    let mut phasor = Complex64::from_polar(1.0, -TAU * f * stack.t0);
    for i in 0..stack.bins {
        if i % 256 == 0 {
            phasor = Complex64::from_polar(1.0, -TAU * f * stack.t_at(i));
        }
        let j = i * segments / stack.bins;
        for b in 0..stack.bands {
            out[b * segments + j] += phasor * stack.sum[b * stack.bins + i];
        }
        phasor *= step;
    }
    out
}

/// Sums of weights over the same segments.
pub(super) fn segment_weights(stack: &Stack, segments: usize) -> Vec<f64> {
    let mut out = vec![0.0; stack.bands * segments];
    for i in 0..stack.bins {
        for b in 0..stack.bands {
            out[b * segments + i * segments / stack.bins] += stack.weight[b * stack.bins + i];
        }
    }
    out
}

/// What linear splitting over bins leaves of an amplitude: sinc^2 of cycles per bin.
pub(super) fn bin_loss(cycles_per_bin: f64) -> f64 {
    let x = std::f64::consts::PI * cycles_per_bin;
    if x.abs() < 1e-6 { 1.0 } else { (x.sin() / x).powi(2).max(0.1) }
}
