//! Arcs by centre and by radius (NISTIR 6556, section 3.5.3), in the plane of the arc.

use std::f64::consts::TAU;

/// Largest difference of an arc's two radii in the report, mm: 0.002 mm in millimetres, 0.0002 in in inches.
pub(super) fn tolerance_mm(inch: bool) -> f64 {
    if inch { 0.0002 * 25.4 } else { 0.002 }
}

/// Beyond the report's tolerance an arc is still taken up to this difference, mm, or a thousandth of its radius: files
/// with two decimals of a millimetre (or three of an inch) are off by up to about 0.03 mm. Above it the centre is wrong.
const COARSE_MM: f64 = 0.05;
const COARSE_SHARE: f64 = 0.001;

/// A centre with how far the two radii are apart, and the mean radius, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    pub centre: [f64; 2],
    pub radius: f64,
    pub off: f64,
}

impl Fit {
    pub fn of(start: [f64; 2], end: [f64; 2], centre: [f64; 2]) -> Self {
        let r = |p: [f64; 2]| (p[0] - centre[0]).hypot(p[1] - centre[1]);
        Self { centre, radius: (r(start) + r(end)) / 2.0, off: (r(start) - r(end)).abs() }
    }
    pub fn good(&self, inch: bool) -> bool {
        // A hair more, so that a difference of just the tolerance does not hang on rounding.
        self.off <= tolerance_mm(inch) * (1.0 + 1e-6) + 1e-9 && self.radius > 1e-9
    }
    pub fn coarse(&self) -> bool {
        self.off <= COARSE_MM.max(COARSE_SHARE * self.radius) && self.radius > 1e-9
    }
}

/// The angle run through about `centre`, radians, positive for `ccw`. Equal ends are a full circle.
pub(super) fn turn(start: [f64; 2], end: [f64; 2], centre: [f64; 2], ccw: bool) -> f64 {
    let angle = |p: [f64; 2]| (p[1] - centre[1]).atan2(p[0] - centre[0]);
    let same = (start[0] - end[0]).hypot(start[1] - end[1]) < 1e-9;
    let positive = if same { TAU } else { (angle(end) - angle(start)).rem_euclid(TAU) };
    match (ccw, same) {
        (true, _) => positive,
        (false, true) => -TAU,
        (false, false) => positive - TAU,
    }
}

/// The centre of an arc of signed radius `r` (negative: the longer way round), and how far the ends are too far apart
/// for it, mm.
///
/// Fails, in words, when the ends coincide or the radius cannot span them.
pub(super) fn by_radius(start: [f64; 2], end: [f64; 2], r: f64, ccw: bool) -> Result<Fit, String> {
    let d = [end[0] - start[0], end[1] - start[1]];
    let chord = d[0].hypot(d[1]);
    if chord < 1e-9 {
        return Err("an arc given by its radius ends where it starts; give the centre for a full circle".into());
    }
    let off = chord / 2.0 - r.abs();
    if off > COARSE_MM.max(COARSE_SHARE * r.abs()) {
        return Err(format!(
            "a radius of {:.4} mm is too small for an arc whose ends lie {chord:.4} mm apart",
            r.abs()
        ));
    }
    let h = (r * r - chord * chord / 4.0).max(0.0).sqrt();
    // The shorter way round has its centre on the left when it turns left.
    let side = if ccw == (r > 0.0) { h } else { -h };
    let n = [-d[1] / chord, d[0] / chord];
    let centre = [start[0] + d[0] / 2.0 + n[0] * side, start[1] + d[1] / 2.0 + n[1] * side];
    Ok(Fit { off: off.max(0.0), ..Fit::of(start, end, centre) })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NISTIR 6556, section 3.5.3.2: at (7, 7) "G17 G2 x10 y16 i3 j4" has its centre at (10, 11) and radius 5.
    #[test]
    fn the_reports_centre_example_closes() {
        let f = Fit::of([7.0, 7.0], [10.0, 16.0], [10.0, 11.0]);
        assert!((f.radius - 5.0).abs() < 1e-12 && f.off < 1e-12 && f.good(false));
        assert!(turn([7.0, 7.0], [10.0, 16.0], f.centre, false) < 0.0);
    }

    /// Program C.1 of the report, line n0490: R4 over a chord of 5 mm turns 77.3644 degrees, 5.4011 mm long (computed).
    #[test]
    fn the_reports_radius_example_turns_77_degrees() {
        for ccw in [true, false] {
            let (a, b) = ([0.0, 0.0], [3.0, 4.0]);
            let f = by_radius(a, b, 4.0, ccw).unwrap();
            let t = turn(a, b, f.centre, ccw);
            assert!((t.abs().to_degrees() - 77.3644).abs() < 1e-4 && (t.abs() * f.radius - 5.4011).abs() < 1e-4);
            assert_eq!(t > 0.0, ccw);
            let long = by_radius(a, b, -4.0, ccw).unwrap();
            assert!((turn(a, b, long.centre, ccw).abs().to_degrees() - (360.0 - 77.3644)).abs() < 1e-4);
        }
        assert!(by_radius([0.0, 0.0], [0.0, 0.0], 4.0, true).is_err());
        assert!(by_radius([0.0, 0.0], [9.0, 0.0], 4.0, true).is_err());
    }

    #[test]
    fn tolerances_differ_between_the_units_as_the_report_says() {
        let f = |off| Fit { centre: [0.0; 2], radius: 5.0, off };
        assert!(f(0.002).good(false) && !f(0.0021).good(false) && f(0.005).good(true) && !f(0.0052).good(true));
        assert!(f(0.04).coarse() && !f(0.06).coarse());
    }
}
