//! Heights of families: the folded profile is a slope; its integral over one period is the ridge.

use super::light::{self, Lamp};
use super::types::Family;
use crate::units::Measured;

/// Relative uncertainty of an integrated profile: small-slope law, blur, light that is not the lamp's.
const MODEL: f64 = 0.15;

/// Least share of an amplitude that blur may have left and still be made good.
const LEAST_LEFT: f64 = 0.4;

/// Peak-to-valley height; `None` without scale, lamp, or where the light runs along the lines.
pub(super) fn of(f: &Family, lamp: &Lamp) -> Option<Measured> {
    let k = light::um_per_deficit(lamp, f.normal_deg.value)?;
    // The first harmonic carries most of a ridge's height: what a Gaussian blur leaves of it.
    let left = (-2.0 * (std::f64::consts::PI * lamp.blur / f.pitch.value).powi(2)).exp().max(LEAST_LEFT);
    let mean = f.folded.iter().sum::<f64>() / f.folded.len() as f64;
    let step = f.pitch.value / f.folded.len() as f64;
    let (mut z, mut low, mut high) = (0.0f64, 0.0f64, 0.0f64);
    for v in &f.folded {
        z += (v - mean) * step;
        low = low.min(z);
        high = high.max(z);
    }
    let h = (high - low) * k.value.abs() / left;
    // Noise of the first harmonic, integrated: amplitude x pitch / pi.
    let noise = f.harmonics[0] * f.harmonic_noise * f.pitch.value / std::f64::consts::PI * k.value.abs();
    Measured::new(h, (h * k.relative_sigma().hypot(MODEL).hypot(0.5 * (1.0 / left - 1.0))).hypot(noise / left))
}
