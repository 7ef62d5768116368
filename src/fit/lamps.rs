//! A second lamp: a second shadow along a wall that cannot shade the floor from the first.

use crate::floor::Patch;
use crate::geometry::{Point, signed_area};
use crate::plan::{PlannedCut, Shape};
use rayon::prelude::*;

/// Shortest wall looked along, mm: under it letters and corners decide.
const LEAST_WALL_MM: f64 = 12.0;
/// Nearest and farthest look from the wall, mm: past the wall's own blur and fillet, and as far as a 3 mm wall shades
/// under a lamp at 15 degrees.
const FROM_MM: f64 = 0.8;
const TO_MM: f64 = 12.0;
/// Step along the profile, mm.
const STEP_MM: f64 = 0.2;

/// Share of the floor's light that a second lamp's shadow takes along the worst wall (0 to 1); `None` where the first lamp's
/// side is not known or no straight wall can be looked along. `unit`: floor-frame units per millimetre.
///
/// Along every wall that faces away from the first lamp's shadow the light is followed inwards (median along the wall).
/// A shadow is darker right up to its border and brighter beyond it; figure and the fall of the light with distance know
/// no such border.
pub fn second_shadow(patch: &Patch, plan: &PlannedCut, unit: f64) -> Option<f64> {
    let from = patch.light.from_deg?.value.to_radians();
    let lamp = Point::new(from.cos(), from.sin());
    let o = &patch.outline;
    let sense = signed_area(o).signum();
    let size = signed_area(o).abs().sqrt();
    // A round cutter leaves a fillet at the wall's foot, dark on its own.
    let fillet = match plan.cutter.shape {
        Some(Shape::BallNose) => plan.cutter.diameter_mm.map_or(0.0, |d| d / 2.0),
        Some(Shape::BullNose) => plan.cutter.corner_radius_mm.unwrap_or(0.0),
        _ => 0.0,
    };
    let start = (FROM_MM + fillet) * unit;
    let reach = start + (TO_MM * unit).min(0.4 * size);
    // Two stepovers, so that ridges along the wall even out; at least a millimetre.
    let pitch = (2.0 * plan.stepover_mm.unwrap_or(0.5)).max(1.0) * unit;
    let walls: Vec<(Point, Point, Point)> = (0..o.len())
        .map(|i| (o[i], o[(i + 1) % o.len()]))
        .filter(|(a, b)| a.distance(*b) > LEAST_WALL_MM * unit)
        .map(|(a, b)| {
            let d = (b - a) * (1.0 / a.distance(b));
            (a, b, Point::new(-d.y, d.x) * sense)
        })
        // The wall towards the lamp casts the first shadow; 0.15: walls nearly along the light cast a sliver of it.
        .filter(|(_, _, inwards)| inwards.x * lamp.x + inwards.y * lamp.y > -0.15)
        .collect();
    if walls.is_empty() {
        return None;
    }
    walls
        .par_iter()
        .filter_map(|(a, b, n)| drop_along(patch, (*a, *b, *n), unit, (start, reach), pitch))
        .reduce_with(f64::max)
}

/// The drop of light right at one wall (both ends, way inwards), share; looked at between two distances from the wall.
fn drop_along(
    patch: &Patch,
    (a, b, inwards): (Point, Point, Point),
    unit: f64,
    (start, reach): (f64, f64),
    pitch: f64,
) -> Option<f64> {
    let luma = &patch.view.luma;
    let steps = ((reach - start) / (STEP_MM * unit)) as usize;
    if steps < 20 {
        return None;
    }
    let places = 60;
    let profile: Vec<f64> = (0..steps)
        .map(|k| {
            let t = start + STEP_MM * k as f64 * unit;
            let v: Vec<f64> = (0..places)
                .map(|p| a.lerp(b, 0.15 + 0.7 * (f64::from(p) + 0.5) / f64::from(places)) + inwards * t)
                .map(|q| patch.view.to_sample(q))
                .filter(|s| s.x >= 0.0 && s.y >= 0.0 && s.x < luma.width as f64 && s.y < luma.height as f64)
                .map(|s| f64::from(luma.bilinear(s.x, s.y)))
                .collect();
            crate::stats::median(&v).unwrap_or(0.0).max(1e-4).ln()
        })
        .collect();
    let mean = |from: usize, to: usize| profile[from..to].iter().sum::<f64>() / (to - from).max(1) as f64;
    // The border lies at sample m; 0.4 mm either side are its soft edge. Both sides are means over whole ridges.
    let gap = 2;
    let side = (pitch / (STEP_MM * unit)).ceil() as usize;
    (side + gap..steps.saturating_sub(side + gap))
        .map(|m| {
            let whole = mean(m + gap, (2 * m + gap).min(steps)) - mean(0, m - gap);
            let near = mean(m + gap, m + gap + side) - mean(m - gap - side, m - gap);
            whole.min(near)
        })
        .reduce(f64::max)
        .map(|d| 1.0 - (-d.max(0.0)).exp())
}
