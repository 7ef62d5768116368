//! A comb fitted to a stack: frequency and direction together over all harmonics, with the noise that limits them.

use super::search::{CAP, HARMONICS, Ray, log_gamma_tail};
use super::stack::{Reach, Stack};
use crate::signal::{Cells, Harmonic, Offset};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Segments the stack is cut into across the lines for the fit.
const SEGMENTS: usize = 48;
/// A harmonic takes part in the fit when its power is this many times its background (e^-9 by chance, sixteen tried).
const TAKES_PART: f64 = 9.0;
/// Cells of the transform, along and across, that a start may be off: the nearest line of another family is further.
const REACH: f64 = 2.5;
/// Tiles across and along the lines whose agreement is tested: two periods or more each, and few enough that each still
/// holds some of a faint line.
const ACROSS: usize = 12;
const ALONG: usize = 4;
/// Share of a usual tile's weight under which a tile is left out.
const THIN: f64 = 0.15;
/// Times the sums are made anew at what was found: the first start may lie cells away from the maximum.
const ROUNDS: usize = 3;

/// A fitted comb.
#[derive(Debug, Clone)]
pub(super) struct Comb {
    /// Along the stack's direction, cycles per floor-frame unit.
    pub frequency: f64,
    pub frequency_sigma: f64,
    /// Along the lines of the stack: 0 where its direction is the comb's own.
    pub along: f64,
    pub normal_deg: f64,
    pub normal_sigma_deg: f64,
    /// Complex sums of harmonics 1, 2, ... (phase at the middle of the floor) and their background powers.
    pub sums: Vec<Complex64>,
    pub noise: Vec<f64>,
    /// Evidence of each harmonic from the scatter between tiles of the floor: minus ln of the chance that tiles which
    /// disagree as much as these do add up to as much.
    pub agreement: Vec<f64>,
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
    /// ln of the chance that the background does this at one place: harmonics one by one by the smaller of their power
    /// over the background and their agreement from tile to tile, summed over the number of harmonics that is best.
    pub fn log_chance(&self) -> f64 {
        let (mut t, mut least) = (0.0, 0.0f64);
        for (i, agreement) in self.agreement.iter().enumerate() {
            t += self.ratio(i + 1).min(*agreement).min(CAP);
            if HARMONICS.contains(&(i + 1)) {
                least = least.min(log_gamma_tail(i + 1, t));
            }
        }
        least
    }
    /// Rms share of the brightness change in harmonics that are no multiple of k, noise taken off.
    pub fn share_off(&self, k: usize) -> f64 {
        let (mut off, mut all) = (0.0, 0.0);
        for h in 1..=self.sums.len() {
            let p = (self.sums[h - 1].norm_sqr() - 3.0 * self.noise[h - 1]).max(0.0);
            all += p;
            if h % k != 0 {
                off += p;
            }
        }
        if all > 0.0 { (off / all).sqrt() } else { 0.0 }
    }
    /// Largest power over background among harmonics that are no multiple of k.
    pub fn evidence_off(&self, k: usize) -> f64 {
        (1..=self.sums.len()).filter(|h| h % k != 0).map(|h| self.ratio(h)).fold(0.0, f64::max)
    }
    /// Frequency across its own lines.
    pub fn own_frequency(&self) -> f64 {
        self.frequency.hypot(self.along)
    }
    /// Fits a comb of `count` harmonics near `frequency` to a stack: frequency and direction at once. `None` when nothing
    /// stands out at all or the maximum lies outside the searched range.
    pub fn fit(stack: &Stack, ray: &Ray, frequency: f64, count: usize) -> Option<Self> {
        let reach = ray.reach;
        let width = stack.bins as f64 * stack.dt / SEGMENTS as f64;
        let cells = Cells {
            t: (0..SEGMENTS).map(|j| stack.t0 + (j as f64 + 0.5) * width).collect(),
            u: (0..stack.bands).map(|b| stack.u_at(b)).collect(),
            var_t: reach.var_t,
            var_u: reach.var_u,
            cov: reach.cov,
        };
        let (mut f, mut along) = (frequency, 0.0);
        let mut harmonics: Vec<Harmonic> = Vec::new();
        let mut offset = Offset::default();
        for round in 0..ROUNDS {
            harmonics = (1..=count)
                .map_while(|h| {
                    let number = h as f64;
                    let noise = ray.background_at(number * f)?;
                    let mut sums = demodulate(stack, number * f, SEGMENTS);
                    for (b, row) in sums.chunks_mut(SEGMENTS).enumerate() {
                        let e = Complex64::from_polar(1.0, -TAU * number * along * stack.u_at(b));
                        row.iter_mut().for_each(|v| *v *= e);
                    }
                    Some(Harmonic { number, noise, cells: sums })
                })
                .collect();
            let start = if round == 0 { cells.coarse(&harmonics, REACH)? } else { (0.0, 0.0) };
            offset = cells.refine(&harmonics, start, TAKES_PART)?;
            if round + 1 == ROUNDS || offset.along_t.abs() * count as f64 * reach.length() < 0.1 {
                break;
            }
            f += offset.along_t;
            along += offset.along_u;
            if !(f > 0.5 * ray.lowest && f < 2.0 * ray.highest) {
                return None;
            }
        }
        let sums: Vec<Complex64> = harmonics.iter().map(|h| cells.sum(h, offset.along_t, offset.along_u)).collect();
        let tiles = Tiles::of(stack, reach.length() * f);
        let agreement = harmonics.iter().map(|h| tiles.agreement(&cells, h, &offset)).collect();
        f += offset.along_t;
        along += offset.along_u;
        if f < ray.lowest || f > ray.highest {
            return None;
        }
        let turn = (along / f).atan();
        let (sin, cos) = turn.sin_cos();
        Some(Self {
            frequency: f,
            frequency_sigma: (offset.sigma_t * cos).hypot(offset.sigma_u * sin),
            along,
            normal_deg: stack.normal_deg + turn.to_degrees(),
            normal_sigma_deg: (offset.sigma_u / f).to_degrees(),
            sums,
            noise: harmonics.iter().map(|h| h.noise).collect(),
            agreement,
            reach,
        })
    }
}

/// Tiles of the floor: groups of bands by groups of segments.
struct Tiles {
    /// Tile of every cell (band x SEGMENTS + segment).
    of: Vec<usize>,
    weight: Vec<f64>,
}

impl Tiles {
    fn of(stack: &Stack, periods: f64) -> Self {
        let across = ((periods / 2.0) as usize).clamp(3, ACROSS);
        let along = stack.bands.min(ALONG);
        let of: Vec<usize> = (0..stack.bands * SEGMENTS)
            .map(|c| (c / SEGMENTS * along / stack.bands) * across + c % SEGMENTS * across / SEGMENTS)
            .collect();
        let mut weight = vec![0.0; across * along];
        for (w, tile) in segment_weights(stack, SEGMENTS).iter().zip(&of) {
            weight[*tile] += w;
        }
        Self { of, weight }
    }

    /// F test of one harmonic's mean over the tiles against their scatter about it: with n + 1 tiles of complex sums the
    /// chance of a ratio F is (1 + F / n)^-n (two and 2 n degrees of freedom). Unlike a background beside the line it
    /// holds for any noise that is unlike from tile to tile, growth rings among them.
    fn agreement(&self, cells: &Cells, h: &Harmonic, at: &Offset) -> f64 {
        let across: Vec<Complex64> =
            cells.t.iter().map(|t| Complex64::from_polar(1.0, -TAU * h.number * at.along_t * t)).collect();
        let mut z = vec![Complex64::default(); self.weight.len()];
        for (b, (row, u)) in h.cells.chunks(SEGMENTS).zip(&cells.u).enumerate() {
            let e = Complex64::from_polar(1.0, -TAU * h.number * at.along_u * u);
            for (j, (v, a)) in row.iter().zip(&across).enumerate() {
                z[self.of[b * SEGMENTS + j]] += v * a * e;
            }
        }
        let usual = self.weight.iter().sum::<f64>() / self.weight.len() as f64;
        let full: Vec<usize> = (0..z.len()).filter(|i| self.weight[*i] > THIN * usual).collect();
        let (sum, weight) = full.iter().fold((Complex64::default(), 0.0), |s, i| (s.0 + z[*i], s.1 + self.weight[*i]));
        let n = full.len() as f64 - 1.0;
        if n < 2.0 || weight <= 0.0 {
            return 0.0;
        }
        let mean = sum / weight;
        let off: f64 = full.iter().map(|i| (z[*i] - mean * self.weight[*i]).norm_sqr() / self.weight[*i]).sum();
        n * (1.0 + sum.norm_sqr() / weight / off.max(1e-300)).ln()
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

/// Sums of harmonics h of frequency `f` (and of `along` along the lines) between successive `starts` over all bands, and
/// the weights: one row a harmonic. Bins belong to the segment their middle lies in.
pub(super) fn segment_bounds(
    stack: &Stack,
    starts: &[f64],
    f: f64,
    along: f64,
    harmonics: &[usize],
) -> (Vec<Vec<Complex64>>, Vec<f64>) {
    let n = starts.len().saturating_sub(1);
    let mut w = vec![0.0; n];
    let mut z = vec![vec![Complex64::default(); n]; harmonics.len()];
    let place: Vec<Option<usize>> = (0..stack.bins)
        .map(|i| {
            let after = starts.partition_point(|s| *s <= stack.t_at(i));
            (after > 0 && after <= n).then(|| after - 1)
        })
        .collect();
    for (i, j) in place.iter().enumerate() {
        if let Some(j) = j {
            w[*j] += (0..stack.bands).map(|b| stack.weight[b * stack.bins + i]).sum::<f64>();
        }
    }
    for (row, h) in z.iter_mut().zip(harmonics) {
        let h = *h as f64;
        let turn: Vec<Complex64> =
            (0..stack.bands).map(|b| Complex64::from_polar(1.0, -TAU * h * along * stack.u_at(b))).collect();
        for (i, j) in place.iter().enumerate() {
            if let Some(j) = j {
                let e = Complex64::from_polar(1.0, -TAU * h * f * stack.t_at(i));
                let s: Complex64 = turn.iter().enumerate().map(|(b, t)| t * stack.sum[b * stack.bins + i]).sum();
                row[*j] += e * s;
            }
        }
    }
    (z, w)
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

/// What a Gaussian blur leaves of a wave's amplitude; `cycles` of the wave lie within one sigma.
pub(super) fn blur_loss(cycles: f64) -> f64 {
    (-2.0 * (std::f64::consts::PI * cycles).powi(2)).exp()
}

/// What linear splitting over bins leaves of an amplitude: sinc^2 of cycles per bin.
pub(super) fn bin_loss(cycles_per_bin: f64) -> f64 {
    let x = std::f64::consts::PI * cycles_per_bin;
    if x.abs() < 1e-6 { 1.0 } else { (x.sin() / x).powi(2).max(0.1) }
}
