//! Whether two lamps are alike enough for bare contrast to be compared.

use super::Side;
use crate::report::plus_minus;
use crate::units::Measured;
use serde::Serialize;

/// Lamps that alone would change contrast by less than this factor count as alike: 10 %, what a usual sigma of a lamp's
/// height (half a degree at 12) makes anyway.
const ALIKE: f64 = 1.1;
/// The same for the sigma of that factor.
const KNOWN: f64 = 0.15;

/// The two lamps.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lamps {
    pub contrast_before: f64,
    pub contrast_after: f64,
    /// What the change of lamp alone does to the contrast of the same ridges; `None` where a lamp is not known.
    pub factor: Option<Measured>,
    pub alike: bool,
    heights: (Option<Measured>, Option<Measured>),
}

/// Small slopes under raking light change brightness by slope times cot(elevation) times the cosine between light and the
/// lines' normal (small-slope shading, Lambert), so the factor is the ratio of those.
pub(super) fn compare(before: &Side, after: &Side) -> Lamps {
    let ln_gain = |s: &Side| -> Option<Measured> {
        let e = s.light_elevation_deg?;
        let (sin, cos) = e.value.to_radians().sin_cos();
        let of_height = Measured::new((cos / sin).ln(), e.sigma.to_radians() / (sin * cos).abs())?;
        let (Some(from), Some(m)) = (s.light_from_deg, s.marks.first()) else { return Some(of_height) };
        let d = (from.value - m.normal_deg).to_radians();
        let turn = Measured::new(d.cos().abs().ln(), from.sigma.to_radians() * d.tan().abs())?;
        Measured::new(of_height.value + turn.value, of_height.sigma.hypot(turn.sigma))
    };
    let factor = ln_gain(before).zip(ln_gain(after)).and_then(|(a, b)| {
        let value = (b.value - a.value).exp();
        Measured::new(value, value * a.sigma.hypot(b.sigma))
    });
    let alike = factor.is_some_and(|f| f.value.max(1.0 / f.value) < ALIKE && f.sigma < KNOWN);
    Lamps {
        contrast_before: before.ridge_contrast,
        contrast_after: after.ridge_contrast,
        factor,
        alike,
        heights: (before.light_elevation_deg, after.light_elevation_deg),
    }
}

impl Lamps {
    /// What the lamps allow, in sentences.
    pub fn words(&self) -> String {
        let degrees = |m: Option<Measured>| m.map_or("not known".into(), |m| plus_minus(m, "\u{b0}"));
        let lamps =
            format!("Lamp above the floor: {} before, {} after.", degrees(self.heights.0), degrees(self.heights.1));
        match self.factor {
            Some(_) if self.alike => {
                format!("{lamps} They are alike, so heights and bare contrast may both be compared.")
            }
            Some(f) => format!(
                "{lamps} The lamps alone change the contrast of the same ridges by a factor of {}. Heights take the lamp into account and may be compared; bare contrast may not.",
                plus_minus(f, "")
            ),
            None => format!(
                "{lamps} Without the height of both lamps neither heights nor bare contrast may be compared; spacing and number of lines may."
            ),
        }
    }
}
