//! What the lamp says about slopes: the small-slope law of raking light.
//!
//! Relative brightness = (slope along the direction the light travels) x cot(elevation). Integrated across an edge: the
//! missing light (floor-frame length) is height x cot(elevation) x cosine between the edge's normal and the lamp.

use crate::floor::Light;
use crate::floor::Patch;
use crate::units::Measured;

/// Closest the light may run along an edge and still tell its height: sine of 15 degrees. Nearer, the edge's own
/// roughness lights it as much as its step does.
const ACROSS: f64 = 0.259;
/// Relative uncertainty of the small-slope law itself for shaded edges: rounding, ambient light, blur (a tenth), and for
/// lit edges, which stop brightening once they face the lamp.
const MODEL_SHADE: f64 = 0.12;
const MODEL_LIT: f64 = 0.3;

/// Least share of the light on the floor that is taken to be the lamp's: where the walls' shadow is brighter than half the
/// floor, what was taken for shadow is hardly one.
const LEAST_SHARE: f64 = 0.5;
/// Width of a sharp step's flank, millimetres: edges left by a cutter are rounded by about 0.05 mm (common practice, no
/// source). A narrower flank would hide more of a lit step's height, a wider one less.
const FLANK: f64 = 0.08;
/// Steepest lit flank that is still followed: nearly 60 degrees. A flank as steep as a wall shows no more of its height.
const STEEPEST: f64 = 1.5;

/// The lamp as heights need it.
pub(super) struct Lamp<'a> {
    pub light: &'a Light,
    /// Whether lengths are millimetres.
    pub scaled: bool,
    /// Share of the light on the lit floor that comes from the lamp; the rest fills the shadows as well.
    pub share: f64,
    /// One-sigma width of the blur, floor-frame units.
    pub blur: f64,
}

impl<'a> Lamp<'a> {
    pub fn of(patch: &'a Patch, scaled: bool) -> Self {
        let share = patch.shadow_contrast.map_or(1.0, |c| (1.0 - 1.0 / c.max(1.0)).max(LEAST_SHARE));
        Self { light: &patch.light, scaled, share, blur: patch.blur_px.unwrap_or(0.0) * patch.view.step }
    }
}

/// Cosine between the normal and the direction to the lamp; `None` without a lamp.
pub(super) fn cosine(light: &Light, normal_deg: f64) -> Option<f64> {
    light.from_deg.map(|d| (d.value - normal_deg).to_radians().cos())
}

/// The same where the light runs across the lines enough to tell heights, `None` where it runs along them.
pub(super) fn across(light: &Light, normal_deg: f64) -> Option<f64> {
    cosine(light, normal_deg).filter(|c| c.abs() >= ACROSS)
}

/// Micrometres of height per millimetre of missing light, with the relative uncertainty of elevation; `None` where lamp
/// or scale is unknown or the light runs along the lines.
pub(super) fn um_per_deficit(lamp: &Lamp, normal_deg: f64) -> Option<Measured> {
    let light = lamp.light;
    let c = cosine(light, normal_deg)?;
    let e = light.elevation_deg.filter(|e| e.value > 0.5 && e.value < 89.0)?;
    if !lamp.scaled || c.abs() < ACROSS {
        return None;
    }
    let r = e.value.to_radians();
    // dh / h = 2 de / sin 2e; the direction adds tan(angle) d(angle).
    let turn = light.from_deg.map_or(0.0, |d| d.sigma.to_radians()) * (1.0 / (c * c) - 1.0).max(0.0).sqrt();
    // Room light dilutes every change of the lamp's; a third of that correction stays in doubt.
    let room = (1.0 / lamp.share - 1.0) / 3.0;
    let relative = (2.0 * e.sigma.to_radians() / (2.0 * r).sin()).hypot(turn).hypot(room);
    let k = 1000.0 * r.tan() / c / lamp.share;
    Measured::new(k, (k * relative).abs())
}

/// Step height from missing light over a line about `width` wide; positive = higher on the side the normal points to.
pub(super) fn step_height(deficit: Measured, lamp: &Lamp, normal_deg: f64, width: f64) -> Option<Measured> {
    let k = um_per_deficit(lamp, normal_deg)?;
    let lit = deficit.value < 0.0;
    let gain = if lit { lit_flank(deficit.value.abs(), lamp, k, width) } else { 1.0 };
    let h = deficit.value * k.value * gain;
    let model = if lit { MODEL_LIT.hypot(0.5 * (gain - 1.0)) } else { MODEL_SHADE };
    let relative = k.relative_sigma().hypot(model);
    Measured::new(h, (h * relative).hypot(deficit.sigma * k.value * gain))
}

/// What the height of a step that faces the lamp must be multiplied by: `extra` light (floor-frame length) in a line about
/// `width` wide, `k` as of [`um_per_deficit`].
pub(super) fn lit_flank(extra: f64, lamp: &Lamp, k: Measured, width: f64) -> f64 {
    let flank = (width * width - (2.5 * lamp.blur).powi(2)).max(0.0).sqrt().max(FLANK);
    lit_gain(extra / lamp.share / flank, 1000.0 / (k.value * lamp.share).abs())
}

/// Height of a lit flank over what the small-slope law says: a flank of slope p facing the lamp is (1 + p c) / sqrt(1 +
/// p^2) times as bright as the floor (Lambert's law, c = cotangent of the elevation), not 1 + p c. `excess` is the mean
/// relative brightness change over the flank.
fn lit_gain(excess: f64, c: f64) -> f64 {
    let bright = |p: f64| (1.0 + p * c) / p.hypot(1.0) - 1.0;
    let (mut low, mut high) = (0.0, STEEPEST.min(0.7 * c));
    for _ in 0..40 {
        let p = 0.5 * (low + high);
        if bright(p) < excess { low = p } else { high = p }
    }
    if low > 1e-6 { (low * c / bright(low)).max(1.0) } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_millimetre_of_shadow_at_ten_degrees_is_88_micrometres() {
        // Worked value: h = L tan(alpha), L 0.5 mm at 10 degrees: 0.08816 mm; one degree of elevation is 10.2 %.
        let light = Light { from_deg: Measured::new(90.0, 0.0), elevation_deg: Measured::new(10.0, 1.0), source: None };
        let lamp = Lamp { light: &light, scaled: true, share: 1.0, blur: 0.0 };
        let step = |value: f64, lamp: &Lamp, deg: f64| step_height(Measured { value, sigma: 0.0 }, lamp, deg, 0.3);
        let h = step(0.5, &lamp, 90.0).unwrap();
        assert!((h.value - 88.16).abs() < 0.01, "{}", h.value);
        assert!((h.relative_sigma() - 0.1021f64.hypot(MODEL_SHADE)).abs() < 1e-3);
        // Seen from the other side the same edge is lower on the side of the normal.
        assert!(step(0.5, &lamp, 270.0).unwrap().value < 0.0);
        assert!(step(0.5, &lamp, 0.0).is_none());
        assert!(step(0.5, &Lamp { scaled: false, ..lamp }, 90.0).is_none());
    }

    #[test]
    fn room_light_and_steep_lit_flanks_hide_height() {
        let light = Light { from_deg: Measured::new(90.0, 0.0), elevation_deg: Measured::new(10.0, 1.0), source: None };
        let lamp = Lamp { light: &light, scaled: true, share: 0.8, blur: 0.0 };
        // 0.5 mm of a light that is 0.8 lamp: 0.625 mm of the lamp's own, 110.2 um.
        let h = step_height(Measured { value: 0.5, sigma: 0.0 }, &lamp, 90.0, 0.3).unwrap();
        assert!((h.value - 110.2).abs() < 0.02, "{}", h.value);
        // A 45 degree flank is (1 + 5.671) / sqrt 2 - 1 = 3.717 brighter where the small-slope law says 5.671.
        assert!((lit_gain(3.717, 5.671) - 5.671 / 3.717).abs() < 1e-3);
        assert!((lit_gain(0.01, 5.671) - 1.0).abs() < 1e-3);
    }
}
