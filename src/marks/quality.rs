//! What the floor looks like overall, and what would have been seen on it.

use super::families::{FALSE_ALARM, Found};
use super::flatten::Flat;
use super::light::{self, Lamp};
use super::types::{Edge, Family, Quality};
use crate::units::Measured;

/// Pitch that stands for the planned one where no hint is given, millimetres: two fifths of a quarter-inch cutter.
const USUAL_PITCH: f64 = 2.5;
/// Contrast a line needs to be seen by eye under raking light (about one per cent, common practice, no source).
const VISIBLE: f64 = 0.01;

/// Sums up families and edges; `pitch` is the planned stepover in floor units.
pub(super) fn of(
    flat: &Flat,
    found: &Found,
    trials: f64,
    edges: &[Edge],
    texture_rms: f64,
    pitch: Option<f64>,
    lamp: &Lamp,
) -> Quality {
    let visible: Vec<&Family> = found.families.iter().filter(|f| f.contrast >= VISIBLE).collect();
    let finest = visible.iter().map(|f| f.pitch.value).fold(f64::INFINITY, f64::min);
    let contrast = visible.iter().map(|f| f.contrast * f.contrast).fold(0.0, f64::max).sqrt();
    let ridge = visible.iter().filter_map(|f| f.height_um).max_by(|a, b| a.value.total_cmp(&b.value));
    let (detectable_contrast, detectable_height_um) = detectable(flat, found, trials, pitch, lamp);
    Quality {
        visible_lines_per_10mm: (finest.is_finite() && lamp.scaled).then(|| 10.0 / finest),
        ridge_contrast: contrast,
        height_p95_um: ridge.or_else(|| tallest(edges)),
        texture_rms,
        detectable_contrast,
        least_false_alarm: found.least,
        detectable_height_um,
    }
}

/// 95th percentile of edge heights, every millimetre of edge counted once.
fn tallest(edges: &[Edge]) -> Option<Measured> {
    let mut known: Vec<(Measured, f64)> =
        edges.iter().filter_map(|e| e.height_um.map(|h| (Measured { value: h.value.abs(), ..h }, e.length))).collect();
    known.sort_by(|a, b| b.0.value.total_cmp(&a.0.value));
    let mut left = 0.05 * known.iter().map(|k| k.1).sum::<f64>();
    known
        .iter()
        .find(|k| {
            left -= k.1;
            left <= 0.0
        })
        .map(|k| k.0)
}

fn detectable(flat: &Flat, found: &Found, trials: f64, pitch: Option<f64>, lamp: &Lamp) -> (f64, Option<f64>) {
    let Some((stack, ray)) = &found.lead else { return (0.0, None) };
    let pitch = pitch.unwrap_or(USUAL_PITCH * flat.unit);
    // On a small or coarse piece of floor the lowest frequency lies over the highest: then nothing could be looked for.
    let f = (1.0 / pitch).max(ray.lowest).min(ray.highest);
    // The median round about: a family's own lobes raise the background next to its line.
    let round: Vec<f64> = (-8..=8).filter_map(|i| ray.background_at(f * 1.3f64.powf(f64::from(i) / 8.0))).collect();
    let Some(background) = crate::stats::median(&round) else { return (0.0, None) };
    // One harmonic at the significance limit of the whole search.
    let amplitude = 2.0 * (background * (3.0 * trials / FALSE_ALARM).ln()).sqrt() / ray.reach.weight;
    let height =
        light::um_per_deficit(lamp, stack.normal_deg).map(|k| amplitude * pitch / std::f64::consts::PI * k.value.abs());
    (amplitude * std::f64::consts::FRAC_1_SQRT_2, height)
}
