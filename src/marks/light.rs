//! What the lamp says about slopes: the small-slope law of raking light.
//!
//! Relative brightness = (slope along the direction the light travels) x cot(elevation). Integrated across an edge: the
//! missing light (floor-frame length) is height x cot(elevation) x cosine between the edge's normal and the lamp.

use crate::floor::Light;
use crate::units::Measured;

/// Closest the light may run along an edge and still tell its height: sine of 15 degrees. Nearer, the edge's own
/// roughness lights it as much as its step does.
const ACROSS: f64 = 0.259;
/// Relative uncertainty of the small-slope law itself for shaded edges: rounding, ambient light, blur (a tenth), and for
/// lit edges, which stop brightening once they face the lamp.
const MODEL_SHADE: f64 = 0.12;
const MODEL_LIT: f64 = 0.3;

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
pub(super) fn um_per_deficit(light: &Light, scaled: bool, normal_deg: f64) -> Option<Measured> {
    let c = cosine(light, normal_deg)?;
    let e = light.elevation_deg.filter(|e| e.value > 0.5 && e.value < 89.0)?;
    if !scaled || c.abs() < ACROSS {
        return None;
    }
    let r = e.value.to_radians();
    // dh / h = 2 de / sin 2e; the direction adds tan(angle) d(angle).
    let turn = light.from_deg.map_or(0.0, |d| d.sigma.to_radians()) * (1.0 / (c * c) - 1.0).max(0.0).sqrt();
    let relative = (2.0 * e.sigma.to_radians() / (2.0 * r).sin()).hypot(turn);
    Measured::new(1000.0 * r.tan() / c, (1000.0 * r.tan() / c * relative).abs())
}

/// Step height from missing light; positive = higher on the side the normal points to.
pub(super) fn step_height(deficit: Measured, light: &Light, scaled: bool, normal_deg: f64) -> Option<Measured> {
    let k = um_per_deficit(light, scaled, normal_deg)?;
    let h = deficit.value * k.value;
    let model = if deficit.value >= 0.0 { MODEL_SHADE } else { MODEL_LIT };
    let relative = k.relative_sigma().hypot(model);
    Measured::new(h, (h * relative).hypot(deficit.sigma * k.value))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_millimetre_of_shadow_at_ten_degrees_is_88_micrometres() {
        // Worked value: h = L tan(alpha), L 0.5 mm at 10 degrees: 0.08816 mm; one degree of elevation is 10.2 %.
        let light = Light { from_deg: Measured::new(90.0, 0.0), elevation_deg: Measured::new(10.0, 1.0), source: None };
        let h = step_height(Measured { value: 0.5, sigma: 0.0 }, &light, true, 90.0).unwrap();
        assert!((h.value - 88.16).abs() < 0.01, "{}", h.value);
        assert!((h.relative_sigma() - 0.1021f64.hypot(MODEL_SHADE)).abs() < 1e-3);
        // Seen from the other side the same edge is lower on the side of the normal.
        assert!(step_height(Measured { value: 0.5, sigma: 0.0 }, &light, true, 270.0).unwrap().value < 0.0);
        assert!(step_height(Measured { value: 0.5, sigma: 0.0 }, &light, true, 0.0).is_none());
        assert!(step_height(Measured { value: 0.5, sigma: 0.0 }, &light, false, 90.0).is_none());
    }
}
