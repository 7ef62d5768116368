//! Closed-form physics of routed pocket floors. Lengths in millimetres, heights in micrometres where the name says so,
//! angles in degrees, slopes as plain ratios. Every function is a textbook formula; the tests hold worked values.
//!
//! Functions take positive, finite inputs. Where a geometry is impossible they give `None`, never a number.

/// Height of the ridge between two passes of a ball nose on a flat floor, mm: h = R - sqrt(R² - s²/4).
///
/// `None` when the stepover is wider than the ball. Source: textbook geometry (circle segment).
pub fn cusp_height_mm(radius_mm: f64, stepover_mm: f64) -> Option<f64> {
    let under = radius_mm * radius_mm - stepover_mm * stepover_mm / 4.0;
    // The slack lets a stepover of exactly the full width pass in spite of rounding.
    (under >= -1e-12 * radius_mm * radius_mm).then(|| radius_mm - under.max(0.0).sqrt())
}

/// Stepover of a ball nose that leaves ridges of the given height, mm: s = 2 sqrt(2 R h - h²), the inverse of
/// [`cusp_height_mm`]. `None` when the height is above the radius.
pub fn stepover_for_cusp_mm(radius_mm: f64, height_mm: f64) -> Option<f64> {
    (height_mm <= radius_mm).then(|| 2.0 * (2.0 * radius_mm * height_mm - height_mm * height_mm).sqrt())
}

/// Height of the ridge that a bull nose leaves, mm: none while the stepover fits in the flat D - 2r, then that of a ball
/// of the corner radius over what sticks out. `None` when the stepover is wider than the cutter.
pub fn bull_nose_height_mm(diameter_mm: f64, corner_radius_mm: f64, stepover_mm: f64) -> Option<f64> {
    let over = stepover_mm - (diameter_mm - 2.0 * corner_radius_mm);
    if over <= 0.0 { Some(0.0) } else { cusp_height_mm(corner_radius_mm, over) }
}

/// Stepover of a bull nose that leaves ridges of the given height, mm. `None` when the height is above the corner radius.
pub fn stepover_for_bull_nose_mm(diameter_mm: f64, corner_radius_mm: f64, height_mm: f64) -> Option<f64> {
    stepover_for_cusp_mm(corner_radius_mm, height_mm).map(|over| diameter_mm - 2.0 * corner_radius_mm + over)
}

/// Height of the saw that a flat cutter leaves when the spindle leans across the passes, mm: s tan(tilt), whatever the
/// order of the passes. Source: geometry of the lower envelope.
pub fn tilt_across_height_mm(stepover_mm: f64, tilt_deg: f64) -> f64 {
    stepover_mm * tilt_deg.to_radians().tan()
}

/// Lean across the passes that a saw of this height needs, degrees: atan(h / s).
pub fn tilt_for_saw_deg(height_mm: f64, stepover_mm: f64) -> f64 {
    height_mm.atan2(stepover_mm).to_degrees()
}

/// Height of the ridges that a flat cutter leaves when the spindle leans along the passes, mm: each pass is dished and
/// h = (D/2 - sqrt(D²/4 - s²/4)) sin(tilt). `None` when the stepover is wider than the cutter.
/// Source: geometry, as in handbooks for the tilted face mill.
pub fn tilt_along_height_mm(diameter_mm: f64, stepover_mm: f64, tilt_deg: f64) -> Option<f64> {
    cusp_height_mm(diameter_mm / 2.0, stepover_mm).map(|h| h * tilt_deg.to_radians().sin())
}

/// Lean along the passes that a dish of this height needs, degrees; `None` when no lean gives it.
pub fn tilt_for_dish_deg(diameter_mm: f64, stepover_mm: f64, height_mm: f64) -> Option<f64> {
    let sine = height_mm / cusp_height_mm(diameter_mm / 2.0, stepover_mm)?;
    (sine.is_finite() && sine <= 1.0).then(|| sine.asin().to_degrees())
}

/// Angle of engagement of a cutter, degrees: acos(1 - 2 ae/D), from 0 (no cut) to 180 (full width). The width is held
/// between 0 and the diameter.
pub fn engagement_deg(width_of_cut_mm: f64, diameter_mm: f64) -> f64 {
    (1.0 - 2.0 * (width_of_cut_mm / diameter_mm).clamp(0.0, 1.0)).acos().to_degrees()
}

/// Mean axial force of a pass against that of a full-width pass, 0 to 1: (cutting part, edge part). The cutting part
/// goes as ae/D, the edge part as phi/180; the true ratio lies between.
/// Source: Altintas, Manufacturing Automation, 2nd ed., ch. 2 (linear edge force model); from memory, checked by
/// quadrature.
pub fn axial_force_ratio(width_of_cut_mm: f64, diameter_mm: f64) -> (f64, f64) {
    let share = (width_of_cut_mm / diameter_mm).clamp(0.0, 1.0);
    (share, engagement_deg(width_of_cut_mm, diameter_mm) / 180.0)
}

/// Step in the floor between two loads, micrometres: difference of axial force over axial stiffness.
pub fn axial_step_um(force_difference_n: f64, z_stiffness_n_per_um: f64) -> f64 {
    force_difference_n / z_stiffness_n_per_um
}

/// Shim at the spindle mount for a slope, mm: slope times the distance between its bolts.
pub fn shim_mm(slope: f64, bolt_spacing_mm: f64) -> f64 {
    slope * bolt_spacing_mm
}

/// Feed per turn of the spindle, mm: F / n.
pub fn feed_per_turn_mm(feed_mm_min: f64, speed_rpm: f64) -> f64 {
    feed_mm_min / speed_rpm
}

/// Feed per tooth, mm: F / (n z).
pub fn feed_per_tooth_mm(feed_mm_min: f64, speed_rpm: f64, flutes: u32) -> f64 {
    feed_mm_min / (speed_rpm * f64::from(flutes))
}

/// Spacing of the marks that a vibration leaves, mm: F / (60 f) with the feed in mm per minute and f in hertz.
pub fn vibration_spacing_mm(feed_mm_min: f64, frequency_hz: f64) -> f64 {
    feed_mm_min / (60.0 * frequency_hz)
}

/// Frequency that leaves marks at this spacing, hertz: F / (60 spacing), the inverse of [`vibration_spacing_mm`].
pub fn vibration_hz(feed_mm_min: f64, spacing_mm: f64) -> f64 {
    feed_mm_min / (60.0 * spacing_mm)
}

/// Stepover rounded down so that passes divide the width evenly, mm: (W - D) / ceil((W - D) / s). `None` when the pocket
/// is no wider than the cutter.
pub fn divided_stepover_mm(width_mm: f64, diameter_mm: f64, stepover_mm: f64) -> Option<f64> {
    let way = width_mm - diameter_mm;
    // 1e-9: a width that is a whole number of stepovers must not gain a pass through rounding of the division.
    (way > 0.0).then(|| way / (way / stepover_mm - 1e-9).ceil().max(1.0))
}

/// One pass over a line across the passes: centre and width of what it covers, mm, and the level it leaves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pass {
    pub centre_mm: f64,
    pub width_mm: f64,
    pub level_um: f64,
}

/// The floor at one place across the passes, micrometres: the lowest of all passes that cover it, in whatever order they
/// were cut. `None` where no pass reaches.
pub fn floor_level_um(passes: &[Pass], at_mm: f64) -> Option<f64> {
    passes.iter().filter(|p| (at_mm - p.centre_mm).abs() <= p.width_mm / 2.0).map(|p| p.level_um).min_by(f64::total_cmp)
}

/// Widths that a first full-width pass can leave as a strip, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StripWidths {
    /// Cut high (down-cut), later passes on one side only (along a wall): the stepover.
    pub proud_one_side_mm: f64,
    /// Cut high, later passes on both sides: 2 s - D; `None` when they meet and nothing is left.
    pub proud_both_sides_mm: Option<f64>,
    /// Cut deep (up-cut): never recut, the full diameter.
    pub deep_mm: f64,
}

/// Follows from [`floor_level_um`]: what stands high is cut away wherever another pass reaches, what lies deep stays.
pub fn strip_widths(diameter_mm: f64, stepover_mm: f64) -> StripWidths {
    let both = 2.0 * stepover_mm - diameter_mm;
    StripWidths {
        proud_one_side_mm: stepover_mm,
        proud_both_sides_mm: (both > 0.0).then_some(both),
        deep_mm: diameter_mm,
    }
}

/// Time to go over a rectangular floor once, minutes: passes along the long side, one stepover apart, at the feed.
/// Turns, ramps and slowing at corners are left out, so this is a lower limit.
pub fn floor_minutes(size_mm: (f64, f64), diameter_mm: f64, stepover_mm: f64, feed_mm_min: f64) -> f64 {
    let (long, short) = (size_mm.0.max(size_mm.1) - diameter_mm, size_mm.0.min(size_mm.1) - diameter_mm);
    let passes = (short.max(0.0) / stepover_mm).ceil() + 1.0;
    (passes * long.max(0.0) + short.max(0.0)) / feed_mm_min
}

#[cfg(test)]
mod tests {
    use super::*;
    fn near(a: f64, b: f64, tol: f64) {
        assert!((a - b).abs() <= tol, "got {a}, expected {b}");
    }
    // "Published": a worked example or table in public text. The others were computed with numpy, or by brute force over
    // the lower envelope of a turning cutter.
    #[test]
    fn ball_nose_ridges_match_worked_examples() {
        // Published: R 3, s 0.5 -> 0.0104; R 3, h 0.005 -> 0.346; R 5, s 0.5 -> 0.0063.
        near(cusp_height_mm(3.0, 0.5).unwrap(), 0.010435, 5e-7);
        near(stepover_for_cusp_mm(3.0, 0.005).unwrap(), 0.346266, 5e-7);
        near(cusp_height_mm(5.0, 0.5).unwrap(), 0.006254, 5e-7);
        near(cusp_height_mm(1.5875, 0.3175).unwrap(), 0.007957, 5e-7);
        near(stepover_for_cusp_mm(3.175, 0.0127).unwrap(), 0.567393, 5e-7);
        assert_eq!(cusp_height_mm(1.0, 2.1), None);
    }
    #[test]
    fn bull_nose_ridges_start_where_the_flat_ends() {
        near(bull_nose_height_mm(6.35, 0.8, 2.54).unwrap(), 0.0, 0.0);
        near(bull_nose_height_mm(6.35, 0.8, 5.5).unwrap(), 0.093335, 5e-7);
        near(bull_nose_height_mm(6.35, 0.8, 6.35).unwrap(), 0.8, 1e-6);
        near(bull_nose_height_mm(12.7, 3.175, 7.0).unwrap(), 0.016678, 5e-7);
        near(bull_nose_height_mm(6.0, 3.0, 0.5).unwrap(), cusp_height_mm(3.0, 0.5).unwrap(), 0.0);
        near(stepover_for_bull_nose_mm(12.7, 3.175, 0.016678).unwrap(), 7.0, 2e-4);
    }
    #[test]
    fn tilt_leaves_a_saw_across_and_a_dish_along() {
        near(tilt_across_height_mm(2.54, 1.0), 0.044336, 5e-7);
        near(tilt_across_height_mm(10.0, 0.05), 0.008727, 5e-7);
        near(tilt_for_saw_deg(0.044336, 2.54), 1.0, 1e-4);
        let milliradian = 0.001_f64.asin().to_degrees();
        near(tilt_along_height_mm(25.4, 20.32, milliradian).unwrap() * 1e3, 5.080, 5e-4);
        near(tilt_along_height_mm(100.0, 80.0, milliradian).unwrap() * 1e3, 20.0, 5e-4);
        near(tilt_along_height_mm(6.35, 2.54, 1.0).unwrap() * 1e3, 4.626, 1e-3);
        near(tilt_for_dish_deg(6.35, 2.54, 0.004626).unwrap(), 1.0, 2e-4);
        assert_eq!(tilt_for_dish_deg(6.35, 2.54, 5.0), None);
        // Published: a tram error of 0.25 mrad over 80 mm of bolts asks for 0.020 mm.
        near(shim_mm(0.25e-3, 80.0), 0.020, 1e-12);
    }
    #[test]
    fn engagement_and_axial_force_follow_the_arc() {
        for (share, deg) in [(0.10, 36.8699), (0.25, 60.0), (0.40, 78.4630), (0.45, 84.2608), (0.5, 90.0), (1.0, 180.0)]
        {
            near(engagement_deg(share * 6.35, 6.35), deg, 5e-5);
        }
        let (cutting, edge) = axial_force_ratio(2.54, 6.35);
        near(cutting, 0.400, 1e-12);
        near(edge, 0.4359, 5e-5);
        // The linear edge model by hand for a slot and a 40 % pass (N 2, a 3 mm, c 0.05 mm, Al6082-T6 coefficients as
        // published, Kac 273 N/mm2, Kae 2.8 N/mm): 34.470 and 14.089 N.
        let slot = (2.0 * 3.0 / std::f64::consts::PI * 273.0 * 0.05, 2.0 * 3.0 / 2.0 * 2.8);
        near(slot.0 + slot.1, 34.470, 1e-3);
        near(slot.0 * cutting + slot.1 * edge, 14.089, 1e-3);
        near(axial_step_um(20.380, 5.0), 4.076, 1e-9);
    }
    #[test]
    fn feed_marks_and_vibration_follow_the_speed() {
        near(feed_per_turn_mm(2500.0, 18000.0), 0.138889, 5e-7);
        near(feed_per_tooth_mm(2500.0, 18000.0, 2), 0.069444, 5e-7);
        // Published chip-load table: 100 in/min at 10000 turns, two flutes: 0.005 in.
        near(feed_per_tooth_mm(100.0 * 25.4, 10000.0, 2) / 25.4, 0.005, 1e-12);
        near(vibration_spacing_mm(2500.0, 120.0), 0.3472, 5e-5);
        near(vibration_hz(2500.0, 0.3472), 120.0, 0.01);
    }
    #[test]
    fn passes_that_divide_the_width_are_a_little_closer() {
        near(divided_stepover_mm(126.0, 25.4, 17.5).unwrap(), 100.6 / 6.0, 1e-12);
        near(divided_stepover_mm(16.35, 6.35, 2.5).unwrap(), 2.5, 1e-12);
        assert_eq!(divided_stepover_mm(6.0, 6.35, 2.5), None);
    }
    #[test]
    fn the_floor_is_the_lowest_of_all_passes() {
        let (d, s) = (6.35, 4.0);
        let width = |levels: &[f64], wanted: f64| {
            let passes: Vec<Pass> = levels
                .iter()
                .enumerate()
                .map(|(i, l)| Pass { centre_mm: i as f64 * s, width_mm: d, level_um: *l })
                .collect();
            let step = 1e-3;
            let n = (0..40_000).filter(|i| floor_level_um(&passes, *i as f64 * step - 10.0) == Some(wanted)).count();
            n as f64 * step
        };
        let w = strip_widths(d, s);
        near(width(&[30.0, 0.0, 0.0], 30.0), w.proud_one_side_mm, 2e-3);
        near(width(&[0.0, 30.0, 0.0], 30.0), w.proud_both_sides_mm.unwrap(), 2e-3);
        near(width(&[0.0, -30.0, 0.0], -30.0), w.deep_mm, 2e-3);
        // With a stepover under half the diameter a high pass between two low ones leaves nothing.
        assert_eq!(strip_widths(6.35, 2.54).proud_both_sides_mm, None);
        assert_eq!(floor_level_um(&[], 0.0), None);
    }
    #[test]
    fn a_floor_takes_its_passes_times_its_length() {
        // 100 x 50 floor, cutter 10, stepover 5: 9 passes of 90 and 40 across = 850 mm.
        near(floor_minutes((100.0, 50.0), 10.0, 5.0, 850.0), 1.0, 1e-12);
    }
}
