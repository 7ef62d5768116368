//! Directions of long straight edges from the plane's spectrum: an edge of any spacing fills a ray across it.

use super::flatten::Flat;
use crate::signal::PlaneSpectrum;
use crate::units::line_difference;
use rayon::prelude::*;

/// Degrees between directions tried: half the angle under which a ray of 40 cells leaves its own cell.
const STEP_DEG: f64 = 0.75;
/// Standard deviations (robust, over all directions) a ray must stand out by.
const LEAST: f64 = 4.5;
/// Most directions handed on.
const MOST: usize = 5;

/// Normals of directions whose rays stand out, strongest first; those within 3 degrees of `known` are left out.
pub(super) fn find(s: &PlaneSpectrum, flat: &Flat, known: &[f64]) -> Vec<f64> {
    let count = (180.0 / STEP_DEG) as usize;
    let cell = 1.0 / flat.extent;
    // From shading wider than an eighth of the floor to lines a third of a millimetre wide.
    let last = (3.0 / flat.unit).min(1.0 / (super::FINEST * flat.step));
    let steps = ((last / cell) as usize).clamp(16, 400);
    let rays: Vec<f64> = (0..count)
        .into_par_iter()
        .map(|i| {
            let (sy, sx) = (i as f64 * STEP_DEG).to_radians().sin_cos();
            let (mut sum, mut n) = (0.0, 0.0);
            for k in 8..steps {
                let f = k as f64 * cell * flat.step;
                let (x, y) = s.cell_of(f * sx, f * sy);
                let at = |dx: isize, dy: isize| {
                    let (x, y) = (x.round() as isize + dx, y.round() as isize + dy);
                    Some(s.log_power_at(x, y)? - s.log_background_at(x, y)?)
                };
                if let Some(v) = at(0, 0) {
                    sum += v.clamp(-2.0, 3.0);
                    n += 1.0;
                }
            }
            if n > 0.0 { sum / n } else { 0.0 }
        })
        .collect();
    let (Some(middle), Some(noise)) = (crate::stats::median(&rays), crate::stats::mad_sigma(&rays)) else {
        return Vec::new();
    };
    let mut order: Vec<usize> = (0..count).filter(|i| rays[*i] - middle > LEAST * noise).collect();
    order.sort_by(|a, b| rays[*b].total_cmp(&rays[*a]));
    let mut out: Vec<f64> = Vec::new();
    for i in order {
        let deg = i as f64 * STEP_DEG;
        if out.len() < MOST && known.iter().chain(&out).all(|k| line_difference(deg, *k).abs() > 3.0) {
            out.push(deg);
        }
    }
    out
}
