//! Which spacings stand out in a stack of profiles: power over a coloured background, harmonics summed.

use super::stack::{Reach, Stack};
use crate::signal::PlaneSpectrum;
use realfft::RealFftPlanner;
use statrs::function::gamma::gamma_ur;

/// Zero padding of the profile's transform: at four the loss between bins stays under 3 %.
const PAD: usize = 4;
/// Numbers of harmonics tried. Few for smooth ridges, many for thin lines far apart.
pub(super) const HARMONICS: [usize; 7] = [1, 2, 3, 4, 6, 8, 12];
/// One harmonic may add at most this much evidence (power over background): above it the line is certain anyway, and
/// an uncapped strong line would lend its strength to every sub-multiple.
pub(super) const CAP: f64 = 40.0;
/// Below this many periods over the floor the background may fall so fast from cell to cell that only the cells next
/// door tell it.
const NEAR_CELLS: f64 = 25.0;

/// Power along one direction, over its background.
pub(super) struct Ray {
    /// Frequency of bin k is k * df, cycles per floor-frame unit.
    pub df: f64,
    pub power: Vec<f64>,
    pub background: Vec<f64>,
    pub reach: Reach,
    pub lowest: f64,
    pub highest: f64,
}

/// A spacing that stands out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub frequency: f64,
    /// ln of the chance that the background alone does this at one frequency.
    pub log_p: f64,
}

impl Ray {
    /// Where the plane's spectrum is given, the background about the same place of it counts too. `least`: shortest period, in
    /// samples of `step`.
    pub fn of(stack: &Stack, spectrum: Option<&PlaneSpectrum>, step: f64, least: f64) -> Self {
        let reach = stack.reach();
        let (sum, _) = stack.total();
        let n = crate::signal::fft_size(sum.len() * PAD);
        let mut buf = vec![0.0; n];
        buf[..sum.len()].copy_from_slice(&sum);
        let fft = RealFftPlanner::<f64>::new().plan_fft_forward(n);
        let mut out = fft.make_output_vec();
        // Lengths come from the same plan, so this cannot fail.
        let _ = fft.process(&mut buf, &mut out);
        let df = 1.0 / (n as f64 * stack.dt);
        let highest = 1.0 / (least * step);
        let keep = ((highest / df) as usize + 1).min(out.len());
        let power: Vec<f64> = out[..keep].iter().map(|c| c.norm_sqr().max(1e-12)).collect();
        let lowest = 2.7 / reach.length().max(step);
        let along = crate::signal::background(&power, df, reach.length());
        let (sy, sx) = stack.normal_deg.to_radians().sin_cos();
        let near = near_mean(&power, df, reach.length());
        let background = along
            .iter()
            .enumerate()
            .map(|(k, b)| {
                let f = k as f64 * df * step;
                let round = spectrum.and_then(|s| {
                    let (cx, cy) = s.cell_of(f * sx, f * sy);
                    s.log_background_at(cx.round() as isize, cy.round() as isize)
                });
                let b = if (k as f64 * df * reach.length()) < NEAR_CELLS {
                    b.max(near.get(k).copied().unwrap_or(0.0))
                } else {
                    *b
                };
                round.map_or(b, |r| b.max(r.exp()))
            })
            .collect();
        Self { df, power, background, reach, lowest, highest: highest.min((keep - 1) as f64 * df) }
    }
    pub fn background_at(&self, f: f64) -> Option<f64> {
        self.background.get((f / self.df).round() as usize).copied()
    }
    /// The spacing with the smallest chance, frequencies within two cells of a multiple of any of `taken` left out. Of equal
    /// chances (a loud line and its lobes all exceed the cap) the one with the most power.
    pub fn best(&self, taken: &[f64]) -> Option<Candidate> {
        let cell = 1.0 / self.reach.length();
        let free = |f: f64| {
            taken.iter().all(|t| {
                let n = (f / t).round();
                n < 1.0 || (f - n * t).abs() > 2.0 * cell
            })
        };
        let whitened: Vec<f64> = (0..self.power.len())
            .map(|k| if free(k as f64 * self.df) { self.power[k] / self.background[k] } else { 1.0 })
            .collect();
        let at = |f: f64| -> Option<f64> {
            let i = (f / self.df).round() as usize;
            whitened.get(i).copied()
        };
        let mut best: Option<(Candidate, f64)> = None;
        let mut f = self.lowest;
        while f <= self.highest {
            let wide = f / cell < 40.0;
            let most = if wide { 12 } else { 4 };
            let (mut t, mut all, mut n) = (0.0, 0.0, 0);
            for h in 1..=most {
                let Some(r) = at(h as f64 * f) else { break };
                t += r.min(CAP);
                all += r;
                n += 1;
                if HARMONICS.contains(&n) && t > 8.0 {
                    let log_p = log_gamma_tail(n, t);
                    let beats = |(b, power): &(Candidate, f64)| log_p < b.log_p || (log_p == b.log_p && all > *power);
                    if best.as_ref().is_none_or(beats) {
                        best = Some((Candidate { frequency: f, log_p }, all));
                    }
                }
            }
            f += self.df / if wide { 6.0 } else { 2.0 };
        }
        best.map(|b| b.0)
    }
}

/// ln of the chance that a sum of n unit exponential variates exceeds t.
pub(super) fn log_gamma_tail(n: usize, t: f64) -> f64 {
    if t < 500.0 {
        let q = gamma_ur(n as f64, t);
        if q > 1e-290 {
            return q.ln();
        }
    }
    // Leading term of the finite sum exp(-t) t^(n-1) / (n-1)!.
    -t + (n as f64 - 1.0) * t.ln() - (1..n).map(|k| (k as f64).ln()).sum::<f64>()
}

/// Mean power 2 to 3.5 cells to either side.
fn near_mean(power: &[f64], df: f64, length: f64) -> Vec<f64> {
    let cell = 1.0 / length / df;
    if !cell.is_finite() {
        // Nothing of the patch lies along this ray.
        return Vec::new();
    }
    let (a, b) = ((2.0 * cell) as usize, (3.5 * cell) as usize);
    let last = ((NEAR_CELLS * cell) as usize + 1).min(power.len());
    (0..last)
        .map(|k| {
            let (mut s, mut n) = (0.0, 0.0);
            for d in a..=b {
                for i in [k.checked_sub(d), Some(k + d)].into_iter().flatten() {
                    if let Some(p) = power.get(i) {
                        s += p;
                        n += 1.0;
                    }
                }
            }
            if n > 0.0 { s / n } else { 0.0 }
        })
        .collect()
}
