//! Units and measured values. Lengths are millimetres inside the crate; inches exist only at the doors.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Millimetres per inch, exact (international inch, 1959).
pub const MM_PER_INCH: f64 = 25.4;

/// A value with its one-sigma uncertainty, both in the unit that the holding field's name states.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Measured {
    pub value: f64,
    pub sigma: f64,
}

impl Measured {
    /// A finite value and a finite, non-negative sigma; `None` otherwise.
    pub fn new(value: f64, sigma: f64) -> Option<Self> {
        (value.is_finite() && sigma.is_finite() && sigma >= 0.0).then_some(Self { value, sigma })
    }
    /// Both value and sigma times an exact factor.
    pub fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, sigma: self.sigma * factor.abs() }
    }
    /// Sigma over the absolute value; infinite when the value is zero.
    pub fn relative_sigma(self) -> f64 {
        if self.value == 0.0 { f64::INFINITY } else { self.sigma / self.value.abs() }
    }
    /// Adds an independent relative uncertainty in quadrature.
    pub fn with_relative(self, relative: f64) -> Self {
        Self { value: self.value, sigma: self.sigma.hypot(self.value * relative) }
    }
}

/// The unit lengths are typed in and shown in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, clap::ValueEnum, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum LengthUnit {
    #[default]
    Mm,
    In,
}

impl LengthUnit {
    /// How many millimetres one of this unit is.
    pub fn in_mm(self) -> f64 {
        match self {
            Self::Mm => 1.0,
            Self::In => MM_PER_INCH,
        }
    }
    /// A length for a person: millimetres with about three significant figures, inches with three or four decimals.
    pub fn show(self, mm: f64) -> String {
        match self {
            Self::Mm if mm.abs() >= 100.0 => format!("{mm:.1} mm"),
            Self::Mm if mm.abs() >= 1.0 => format!("{mm:.2} mm"),
            Self::Mm => format!("{mm:.3} mm"),
            Self::In if mm.abs() >= 25.4 => format!("{:.3} in", mm / MM_PER_INCH),
            Self::In => format!("{:.4} in", mm / MM_PER_INCH),
        }
    }
    /// A small height given in micrometres, in micrometres or in thousandths of an inch; one place more under one, so that
    /// nothing that was measured reads as nought.
    pub fn show_height(self, um: f64) -> String {
        let more = |v: f64| usize::from(v.abs() < 0.95);
        let thou = um / 25.4;
        match self {
            Self::Mm => format!("{um:.*} µm", more(um)),
            Self::In => format!("{thou:.*} thousandths of an inch", 1 + more(thou)),
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            Self::Mm => "mm",
            Self::In => "in",
        })
    }
}

/// Reads a length such as `6.35`, `6mm`, `0.25in`, `0.25"` or `1/4in` into millimetres; a bare number takes `default`.
///
/// Fails (with a sentence for the user) on an empty text, an unknown unit, or a number that is not finite.
pub fn parse_length(text: &str, default: LengthUnit) -> Result<f64, String> {
    let t = text.trim();
    let split = t.find(|c: char| c.is_alphabetic() || c == '"').unwrap_or(t.len());
    let (number, unit) = (t[..split].trim(), t[split..].trim().to_ascii_lowercase());
    let unit = match unit.as_str() {
        "" => default.in_mm(),
        "mm" => 1.0,
        "cm" => 10.0,
        "um" | "µm" => 0.001,
        "in" | "inch" | "inches" | "\"" => MM_PER_INCH,
        other => {
            return Err(format!(
                "'{other}' is not a unit of length known here: write mm or in, such as 6.35mm or 0.25in"
            ));
        }
    };
    let value = match number.split_once('/') {
        Some((a, b)) => a.trim().parse::<f64>().ok().zip(b.trim().parse::<f64>().ok()).map(|(a, b)| a / b),
        None => number.parse::<f64>().ok(),
    };
    match value {
        Some(v) if v.is_finite() => Ok(v * unit),
        _ => Err(format!("'{text}' is not a length: write a number with mm or in, such as 6.35mm or 0.25in")),
    }
}

/// An angle brought into [0, 180): the direction of a line, which has no sense.
pub fn wrap_180(deg: f64) -> f64 {
    let w = deg.rem_euclid(180.0);
    if w >= 180.0 { 0.0 } else { w }
}

/// An angle brought into [0, 360).
pub fn wrap_360(deg: f64) -> f64 {
    let w = deg.rem_euclid(360.0);
    if w >= 360.0 { 0.0 } else { w }
}

/// The turn from direction a to direction b, in [-180, 180).
pub fn turn(a: f64, b: f64) -> f64 {
    wrap_360(b - a + 180.0) - 180.0
}

/// Smallest difference a - b of two line directions, in (-90, 90].
pub fn line_difference(a: f64, b: f64) -> f64 {
    let d = wrap_180(a - b);
    if d > 90.0 { d - 180.0 } else { d }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn lengths_carry_their_unit() {
        assert_eq!(parse_length("0.25in", LengthUnit::Mm), Ok(6.35));
        assert_eq!(parse_length("6 mm", LengthUnit::In), Ok(6.0));
        assert_eq!(parse_length("1/4\"", LengthUnit::Mm), Ok(6.35));
        assert!((parse_length("0.1", LengthUnit::In).unwrap() - 2.54).abs() < 1e-12);
        for bad in ["", "mm", "6 furlongs", "nan", "1/0"] {
            assert!(parse_length(bad, LengthUnit::Mm).is_err(), "{bad}");
        }
    }
    #[test]
    fn line_directions_differ_by_at_most_a_quarter_turn() {
        assert!((line_difference(179.0, 1.0) + 2.0).abs() < 1e-12);
        assert!((line_difference(1.0, 179.0) - 2.0).abs() < 1e-12);
    }
}
