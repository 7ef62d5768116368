//! Heights of families: the folded profile is a slope; its integral over one period is the ridge.

use super::comb::blur_loss;
use super::light::{self, Lamp};
use super::types::Family;
use crate::units::Measured;

/// Relative uncertainty of an integrated profile: small-slope law, blur, light that is not the lamp's.
const MODEL: f64 = 0.15;

/// The same for bright lines: how steep the lit step is and how far the camera's white cuts it off cannot be seen. On made
/// floors 20 to 110 um high they were read 0 to 57 percent too low.
const MODEL_BRIGHT: f64 = 0.4;

/// Skewness of the folded profile from which a family is one of thin bright lines: a sine has 0, symmetric ridges 0, a line
/// over a fifth of the spacing 1.5.
const BRIGHT_LINES: f64 = 1.0;

/// Least share of an amplitude that blur may have left and still be made good.
const LEAST_LEFT: f64 = 0.4;

/// Fall-off from which a profile is taken for a wave.
const WAVE: f64 = 3.0;
/// Skewness from which a profile is one of thin lines: between that of ridges (0) and of a line over a fifth of the spacing (1.5).
const THIN: f64 = 0.7;
/// Peak to valley of ridges (a row of parabolas) and of a saw over that of their first harmonic.
const RIDGES: f64 = std::f64::consts::PI * std::f64::consts::PI / 8.0;
const SAW: f64 = std::f64::consts::FRAC_PI_2;
/// Relative uncertainty of the lens's blur: measured on edges that the phone has sharpened, or smoothed.
const BLUR_DOUBT: f64 = 0.15;
/// Noises by which a harmonic must fall short to be missing.
const CLEAR: f64 = 3.0;
/// Harmonics and samples of the model that blur is worked out on: blur takes the rest at any pitch that can be seen.
const HARMONICS: usize = 48;
const SAMPLES: usize = 256;

/// Peak-to-valley height; `None` without scale, lamp, or where the light runs along the lines.
pub(super) fn of(f: &Family, lamp: &Lamp) -> Option<Measured> {
    // Lines that follow the walls are given as a lamp straight across them would show them.
    let normal_deg = if f.along_walls.is_some() { lamp.light.from_deg?.value } else { f.normal_deg.value };
    let k = light::um_per_deficit(lamp, normal_deg)?;
    let (left, doubt) = left_by_blur(f, lamp.blur / f.pitch.value);
    let mean = f.folded.iter().sum::<f64>() / f.folded.len() as f64;
    let step = f.pitch.value / f.folded.len() as f64;
    let (mut z, mut low, mut high) = (0.0f64, 0.0f64, 0.0f64);
    for v in &f.folded {
        z += (v - mean) * step;
        low = low.min(z);
        high = high.max(z);
    }
    let missing = (high - low) / left;
    // Steps that face the lamp are thin bright lines, and those hide part of their height.
    let gain = if f.skew > BRIGHT_LINES { light::lit_flank(missing, lamp, k, bright_width(f)) } else { 1.0 };
    let h = missing * k.value.abs() * gain;
    // Noise of the first harmonic, integrated: amplitude x pitch / pi.
    let noise = f.harmonics[0] * f.harmonic_noise * f.pitch.value / std::f64::consts::PI * k.value.abs();
    let model = if f.skew > BRIGHT_LINES { MODEL_BRIGHT } else { MODEL };
    let relative = k.relative_sigma().hypot(model).hypot(doubt).hypot(0.5 * (gain - 1.0));
    Measured::new(h, (h * relative).hypot(noise * gain / left))
}

/// What the lens's blur (`blur`, one sigma, share of the pitch) left of the height, and the relative doubt about it.
///
/// Every harmonic loses exp(-2 (pi h b)^2), so what is lost depends on how the harmonics fall off: of a wave, which is all first
/// harmonic, less than of a saw, whose step is as sharp as the highest. Where only the first can be seen, its own loss is made
/// good, and what the rest adds is that of ridges, as cutters leave them, the doubt reaching to a wave and to a saw; where a second
/// harmonic as strong as that of ridges would have been seen, half-way between ridges and a wave.
fn left_by_blur(f: &Family, blur: f64) -> (f64, f64) {
    let lines = f.skew.abs() > THIN;
    let first = blur_loss(blur).max(LEAST_LEFT);
    let of = |k: f64| (tall(k, blur, lines) / tall(k, 0.0, lines)).clamp(LEAST_LEFT, 1.0);
    match f.fall_off {
        Some(k) => {
            let at = |k: f64| of(k.clamp(0.0, WAVE));
            let left = at(k.value);
            (left, 0.5 * (at(k.value - k.sigma) - at(k.value + k.sigma)).abs() / left)
        }
        None => {
            let (full, shape) = beyond_first(lacks_second(&f.harmonics, f.harmonic_noise, blur));
            (first / full, (shape / full).hypot(2.0 * BLUR_DOUBT * (1.0 / first).ln()))
        }
    }
}

/// Peak to valley over that of the first harmonic alone, and the doubt: of ridges, or half-way to a wave.
fn beyond_first(wave: bool) -> (f64, f64) {
    if wave { (0.5 * (1.0 + RIDGES), 0.5 * (RIDGES - 1.0)) } else { (RIDGES, 0.5 * (SAW - 1.0)) }
}

/// Whether ridges (slopes whose second harmonic is half the first) would have shown a second harmonic, and none is there.
/// `noise` is relative to the first.
fn lacks_second(harmonics: &[f64], noise: f64, blur: f64) -> bool {
    0.5 * blur_loss(2.0 * blur) / blur_loss(blur) > harmonics[1] / harmonics[0] + CLEAR * noise
}

/// Peak to valley of heights whose slope has harmonics h^-k, each blurred by `blur` of the period: thin lines of one sign
/// (`lines`) or even slopes between ridges.
fn tall(k: f64, blur: f64, lines: bool) -> f64 {
    let size = |n: f64| n.powf(-k - 1.0) * blur_loss(n * blur);
    let harmonics: Vec<(f64, f64)> = (1..=HARMONICS).map(|h| (h as f64, size(h as f64))).collect();
    let heights = (0..SAMPLES).map(|i| {
        let t = std::f64::consts::TAU * (i as f64 + 0.5) / SAMPLES as f64;
        harmonics.iter().map(|(n, size)| size * if lines { (n * t).sin() } else { (n * t).cos() }).sum::<f64>()
    });
    let (low, high) = heights.fold((f64::MAX, f64::MIN), |(l, h), z| (l.min(z), h.max(z)));
    high - low
}

/// Width at half height of the bright line in a folded profile, floor-frame units.
fn bright_width(f: &Family) -> f64 {
    let top = f.folded.iter().copied().fold(0.0, f64::max);
    let wide = f.folded.iter().filter(|v| **v > top / 2.0).count();
    wide as f64 / f.folded.len() as f64 * f.pitch.value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blurred_saw_loses_more_than_a_blurred_wave() {
        // Unblurred: saw sum sin(h t) / h is pi high, ridges sum cos(h t) / h^2 pi^2 / 4, a wave 2.
        assert!((tall(0.0, 0.0, true) / std::f64::consts::PI - 1.0).abs() < 0.2, "Gibbs adds a sixth");
        assert!((tall(1.0, 0.0, false) / (std::f64::consts::PI.powi(2) / 4.0) - 1.0).abs() < 0.02);
        let left = |k: f64, lines: bool| tall(k, 0.1, lines) / tall(k, 0.0, lines);
        // exp(-2 (0.1 pi)^2) = 0.8209 of the first harmonic.
        assert!((left(30.0, true) - 0.8209).abs() < 1e-3);
        assert!(left(0.0, true) < left(1.0, false) && left(1.0, false) < 0.8209);
    }

    #[test]
    fn ridges_of_which_only_a_wave_is_left_are_a_quarter_taller() {
        // z = 4 t^2 over one pitch is 1 high; its first harmonic, 4 / pi^2, is 8 / pi^2 from peak to valley.
        let first = 2.0 * 4.0 / std::f64::consts::PI.powi(2);
        assert!((1.0 / beyond_first(false).0 - first).abs() < 1e-12);
        // Blur of a fifth of the pitch leaves a hundredth of the second harmonic: the whole model says the same.
        let b = 0.2;
        let left = first * (-2.0 * (std::f64::consts::PI * b).powi(2)).exp();
        assert!((tall(1.0, b, false) / tall(1.0, 0.0, false) / left - 1.0).abs() < 0.05);
        // A wave lies within the doubt.
        let (full, doubt) = beyond_first(true);
        assert!(full - doubt <= 1.0 && full + doubt >= RIDGES - 1e-12);
    }

    #[test]
    fn a_second_harmonic_is_missing_only_where_it_would_have_been_seen() {
        let wave = [1.0, 0.1, 0.0, 0.0];
        assert!(lacks_second(&wave, 0.05, 0.05));
        assert!(!lacks_second(&wave, 0.2, 0.05), "noise could hide it");
        assert!(!lacks_second(&wave, 0.05, 0.2), "blur has taken it");
        assert!(!lacks_second(&[1.0, 0.45, 0.0, 0.0], 0.05, 0.05), "it is there");
    }
}
