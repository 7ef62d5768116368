//! What a printer made of the sheet: the bars of 100 mm as they came out.

use crate::geometry::Point;
use crate::units::{LengthUnit, parse_length};
use serde::Serialize;

/// Length of the bars beside the card as drawn, mm.
pub const BAR_MM: f64 = 100.0;

/// How far a printed bar may be from 100 mm before it is taken for a slip. "Fit to page" shrinks by 2 to 8 % (common
/// practice, no source); a bar measured in the wrong unit is off by far more than 20 %.
const LARGEST_CHANGE: f64 = 0.2;

/// Printed size over drawn size, along the card's x and y. (1, 1) when nobody measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Printed {
    pub x: f64,
    pub y: f64,
}

impl Default for Printed {
    fn default() -> Self {
        Self { x: 1.0, y: 1.0 }
    }
}

impl Printed {
    /// What to try when [`parse`](Self::parse) fails.
    pub const HINT: &str =
        "measure the printed bars and give both as 99.4mm, or the one along x and the one along y as 99.4x99.7mm";

    /// Reads the measured length of both bars (`99.4mm`) or of the bar along x and the bar along y (`99.4x99.7mm`,
    /// `99.4mmx99.7mm`). A unit on the last alone holds for both; without one `bare` does.
    ///
    /// Fails, with a sentence for the user, on a text that is no length and on one that is not within 20 % of 100 mm.
    pub fn parse(text: &str, bare: LengthUnit) -> Result<Self, String> {
        let factor = |t: &str| {
            let mm = parse_length(t, bare)?;
            let k = mm / BAR_MM;
            if (k - 1.0).abs() <= LARGEST_CHANGE {
                return Ok(k);
            }
            Err(format!("'{}' is {mm:.1} mm, and the bar is drawn {BAR_MM:.0} mm long", t.trim()))
        };
        let Some((x, y)) = text.split_once(['x', 'X', '\u{d7}']) else {
            return factor(text).map(|k| Self { x: k, y: k });
        };
        let unit = y.trim().trim_start_matches(|c: char| c.is_ascii_digit() || ".,/+-".contains(c)).trim();
        let bare_x = !x.contains(|c: char| c.is_alphabetic() || c == '"');
        let x = if bare_x { format!("{x}{unit}") } else { x.to_owned() };
        Ok(Self { x: factor(&x)?, y: factor(y)? })
    }
    /// A place of the card as drawn, where it is on the paper: mm in the card frame.
    pub fn point(self, drawn: Point) -> Point {
        Point::new(drawn.x * self.x, drawn.y * self.y)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn bars_are_read_together_or_one_by_one() {
        let read = |t: &str| Printed::parse(t, LengthUnit::Mm);
        assert!((read("99.4mm").unwrap().x - 0.994).abs() < 1e-12);
        let one = read("99.4").unwrap();
        assert!(one == read("99.4mm").unwrap() && one.x == one.y);
        for both in ["99.4mmx99.7mm", "99.4x99.7mm", "99.4 X 99.7", "9.94x9.97cm"] {
            let p = read(both).unwrap();
            assert!((p.x - 0.994).abs() < 1e-12 && (p.y - 0.997).abs() < 1e-12, "{both}: {p:?}");
        }
        let inches = Printed::parse("3.937in", LengthUnit::Mm).unwrap();
        assert!((inches.x - 0.999998).abs() < 1e-9);
        assert_eq!(Printed::parse("3.937", LengthUnit::In), Ok(inches));
    }
    #[test]
    fn a_bar_of_another_length_is_refused() {
        for bad in ["", "100in", "50mm", "0", "-99mm", "nan", "99.4mmx", "x99.4mm", "99 furlongs", "99.4x50mm"] {
            assert!(Printed::parse(bad, LengthUnit::Mm).is_err(), "{bad}");
        }
    }
    #[test]
    fn x_and_y_scale_apart() {
        let p = Printed::parse("99mm x 102mm", LengthUnit::Mm).unwrap().point(Point::new(20.0, 40.0));
        assert!(p.distance(Point::new(19.8, 40.8)) < 1e-12);
    }
}
