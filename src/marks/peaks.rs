//! Points of the plane's spectrum that stand over their surroundings: straight, evenly spaced lines of any direction.

use super::flatten::Flat;
use crate::signal::PlaneSpectrum;
use crate::units::{line_difference, wrap_180};

/// One point: a plane wave in the floor's brightness.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peak {
    /// Cycles per floor-frame unit; `fx` is not negative.
    pub fx: f64,
    pub fy: f64,
    /// ln of power over the local background.
    pub log_ratio: f64,
    /// ln of its power.
    pub log_power: f64,
}

impl Peak {
    pub fn frequency(&self) -> f64 {
        self.fx.hypot(self.fy)
    }
    pub fn normal_deg(&self) -> f64 {
        wrap_180(self.fy.atan2(self.fx).to_degrees())
    }
}

/// Most peaks kept: a lattice of two families shows some hundred.
const MOST: usize = 400;

/// Local maxima whose power exceeds the local background by `least` (natural logarithm), strongest first; periods
/// from `shortest` samples on.
pub(super) fn find(spectrum: &PlaneSpectrum, flat: &Flat, least: f64, shortest: f64) -> Vec<Peak> {
    let mut out = Vec::new();
    let (w, step) = (spectrum.log_power.width, flat.step);
    let lowest = 2.7 / flat.extent;
    let highest = 1.0 / (shortest * step);
    for kx in 0..spectrum.kx_max {
        let (p, b) = (spectrum.log_power.row(kx), spectrum.log_background.row(kx));
        for c in 1..w - 1 {
            let rise = f64::from(p[c] - b[c]);
            if rise < least || p[c] < p[c - 1] || p[c] < p[c + 1] {
                continue;
            }
            let (x, y) = (kx as isize, c as isize - spectrum.ky_max as isize);
            if kx == 0 && y < 0 {
                continue;
            }
            let here = f64::from(p[c]);
            let tops = (-1..=1)
                .flat_map(|i| (-1..=1).map(move |j| (i, j)))
                .filter(|d| *d != (0, 0))
                .all(|(i, j)| spectrum.log_power_at(x + i, y + j).is_none_or(|v| v <= here));
            let Some((vx, vy)) = spectrum.vertex(x, y).filter(|_| tops) else { continue };
            let (vx, vy) = if vx < 0.0 { (-vx, -vy) } else { (vx, vy) };
            let peak = Peak {
                fx: vx / spectrum.fft_width as f64 / step,
                fy: vy / spectrum.fft_height as f64 / step,
                log_ratio: rise,
                log_power: here,
            };
            if peak.frequency() >= lowest && peak.frequency() <= highest {
                out.push(peak);
            }
        }
    }
    out.sort_by(|a, b| b.log_ratio.total_cmp(&a.log_ratio));
    out.truncate(MOST);
    out
}

/// Turns a rough direction onto the strongest peak within `within` degrees of it (power times frequency squared: the
/// steepest lines fix the direction best). The rough direction when there is none.
pub(super) fn snap(rough_deg: f64, peaks: &[Peak], within: f64) -> f64 {
    let steepness = |p: &Peak| p.log_power + 2.0 * p.frequency().ln();
    let near = peaks.iter().filter(|p| line_difference(p.normal_deg(), rough_deg).abs() <= within && p.log_ratio > 3.2);
    let best = near.max_by(|a, b| steepness(a).total_cmp(&steepness(b)));
    wrap_180(best.map_or(rough_deg, Peak::normal_deg))
}
