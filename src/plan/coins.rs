//! Coins by name, with their official size.

use serde::Serialize;

/// A round coin.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Coin {
    pub name: &'static str,
    pub diameter_mm: f64,
    pub thickness_mm: f64,
    /// Whether a disc of another metal shows inside its ring.
    pub ringed: bool,
    /// One sigma of a used coin's diameter, mm.
    pub tolerance_mm: f64,
    /// Where the size is from.
    #[serde(skip)]
    pub source: &'static str,
}

const EURO: &str = "Regulation (EU) 729/2014, as listed by eur-lex LEGISSUM:l25028 and a public table";
const US: &str = "usmint.com, coin specifications";
const MEMORY: &str = "from memory";

/// Wear and make of a used coin's diameter, mm (common practice, no source; new coins keep within a few hundredths).
const WORN_MM: f64 = 0.05;

const fn coin(name: &'static str, diameter_mm: f64, thickness_mm: f64, source: &'static str) -> Coin {
    Coin { name, diameter_mm, thickness_mm, ringed: false, tolerance_mm: WORN_MM, source }
}

/// Every coin known by name. Coins with corners, holes or notches are left out: their outline is no circle.
pub const COINS: &[Coin] = &[
    coin("1 euro cent", 16.25, 1.67, EURO),
    coin("2 euro cent", 18.75, 1.67, EURO),
    coin("5 euro cent", 21.25, 1.67, EURO),
    coin("10 euro cent", 19.75, 1.93, EURO),
    coin("50 euro cent", 24.25, 2.38, EURO),
    Coin { ringed: true, ..coin("1 EUR", 23.25, 2.33, EURO) },
    Coin { ringed: true, ..coin("2 EUR", 25.75, 2.20, EURO) },
    coin("US cent", 19.05, 1.52, US),
    coin("US nickel", 21.21, 1.95, US),
    coin("US dime", 17.91, 1.35, US),
    coin("US quarter", 24.26, 1.75, US),
    coin("US half dollar", 30.61, 2.15, US),
    coin("US dollar", 26.49, 2.00, US),
    coin("UK 1p", 20.30, 1.65, MEMORY),
    coin("UK 2p", 25.90, 2.03, MEMORY),
    coin("UK 5p", 18.00, 1.70, MEMORY),
    coin("UK 10p", 24.50, 1.85, MEMORY),
    coin("1 CHF", 23.20, 1.55, MEMORY),
    coin("2 CHF", 27.40, 2.15, MEMORY),
    coin("5 CHF", 31.45, 2.35, MEMORY),
    coin("CA quarter", 23.88, 1.58, MEMORY),
    coin("JP 100 yen", 22.60, 1.70, MEMORY),
];

/// Case, spaces and the words for euro and cent do not matter.
fn plain(text: &str) -> String {
    let t: String = text.to_lowercase().chars().filter(|c| c.is_alphanumeric() || *c == '€').collect();
    t.replace('€', "eur").replace("euro", "eur").replace("cents", "cent").replace("penny", "cent")
}

impl Coin {
    /// The coin of a name such as "1 EUR", "50 euro cent" or "US quarter".
    ///
    /// Fails with a sentence that lists the nearest known names.
    pub fn named(text: &str) -> Result<Coin, String> {
        let wanted = plain(text);
        if let Some(c) = COINS.iter().find(|c| plain(c.name) == wanted) {
            return Ok(*c);
        }
        let mut near: Vec<(f64, &str)> =
            COINS.iter().map(|c| (strsim::jaro_winkler(&wanted, &plain(c.name)), c.name)).collect();
        near.sort_by(|a, b| b.0.total_cmp(&a.0));
        let near: Vec<&str> = near.iter().take(3).map(|n| n.1).collect();
        Err(format!("'{text}' is not a coin known here; the nearest are {}", near.join(", ")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn coins_are_known_by_their_usual_names() {
        for (text, mm) in
            [("1 EUR", 23.25), ("1€", 23.25), ("2 euro", 25.75), ("50 Euro Cents", 24.25), ("us-penny", 19.05)]
        {
            assert_eq!(Coin::named(text).map(|c| c.diameter_mm), Ok(mm), "{text}");
        }
        let e = Coin::named("quarter").unwrap_err();
        assert!(e.contains("US quarter"), "{e}");
        assert!(Coin::named("").is_err());
    }
    /// The mint prints inches too: .750 .835 .705 .955 1.205 1.043 in.
    #[test]
    fn us_coins_agree_with_their_inch_sizes() {
        let inches = [0.750, 0.835, 0.705, 0.955, 1.205, 1.043];
        let us: Vec<&Coin> = COINS.iter().filter(|c| c.source == US).collect();
        assert_eq!(us.len(), inches.len());
        for (c, inch) in us.iter().zip(inches) {
            assert!((c.diameter_mm - 25.4 * inch).abs() < 0.006, "{}", c.name);
        }
    }
    #[test]
    fn no_two_coins_share_a_name() {
        for (i, c) in COINS.iter().enumerate() {
            assert!(COINS[..i].iter().all(|o| plain(o.name) != plain(c.name)), "{}", c.name);
            assert!((15.0..35.0).contains(&c.diameter_mm) && (1.2..2.6).contains(&c.thickness_mm), "{}", c.name);
        }
    }
}
