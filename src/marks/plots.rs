//! Profile and spectrum of the leading direction, thinned for drawing.

use super::families::{FALSE_ALARM, Found, Search};
use super::types::{Profile, Spectrum};

/// Most points handed on: twice what a page is wide in pixels.
const MOST: usize = 2000;

/// Profile across the leading direction and its spectrum with background and limit.
pub(super) fn of(found: &Found, search: &Search) -> (Profile, Spectrum) {
    let Some((stack, ray)) = &found.lead else { return (Profile::default(), Spectrum::default()) };
    let normal = stack.normal_deg.to_radians();
    let shift = search.flat.middle.x * normal.cos() + search.flat.middle.y * normal.sin();
    let values = stack.mean_profile();
    let k = values.len().div_ceil(MOST).max(1);
    let mut profile = Profile { normal_deg: stack.normal_deg, ..Profile::default() };
    for (i, chunk) in values.chunks(k).enumerate() {
        let known: Vec<f64> = chunk.iter().flatten().copied().collect();
        if !known.is_empty() {
            profile.at.push(shift + stack.t_at(i * k) + (k - 1) as f64 * 0.5 * stack.dt);
            profile.value.push(known.iter().sum::<f64>() / known.len() as f64);
        }
    }
    // Amplitude of a line whose power is p: 2 sqrt(p) / weight; the limit is that of one harmonic over the whole search.
    let amplitude = |p: f64| 2.0 * p.sqrt() / ray.reach.weight;
    let limit = (3.0 * search.trials / FALSE_ALARM).ln();
    let mut spectrum = Spectrum { normal_deg: stack.normal_deg, ..Spectrum::default() };
    let first = (ray.lowest / ray.df) as usize;
    let k = ray.power.len().saturating_sub(first).div_ceil(MOST).max(1);
    for i in (first..ray.power.len()).step_by(k) {
        let group = i..(i + k).min(ray.power.len());
        let top = group.clone().max_by(|a, b| ray.power[*a].total_cmp(&ray.power[*b])).unwrap_or(i);
        spectrum.frequency.push(top as f64 * ray.df);
        spectrum.amplitude.push(amplitude(ray.power[top]));
        spectrum.background.push(amplitude(ray.background[top]));
        spectrum.limit.push(amplitude(ray.background[top] * limit));
    }
    (profile, spectrum)
}
