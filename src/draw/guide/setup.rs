//! Lamp, card, pocket and camera: from the side, from above, and the camera alone.

use super::{At, CARD, CUT, DARK, Drawing, INK, LIGHT, Pencil, WOOD};

/// Depth of the drawn pocket and length of its wall's shadow: five times, a lamp at 11.3 degrees.
const DEPTH: f64 = 22.0;
const SHADOW: f64 = 5.0 * DEPTH;

/// The whole set-up seen from the side.
pub fn side() -> Drawing {
    let mut p = Pencil::new(480, 372, "Lamp, card, pocket and phone seen from the side");
    let (top, left, right) = (232.0, 210.0, 400.0);
    let (floor, table) = (top + DEPTH, top + 46.0);
    let slope = DEPTH / SHADOW;
    let lamp = (52.0, top - (left - 52.0) * slope);
    p.rect((0.0, table), (480.0, 5.0), "#8d8478");
    p.area(
        &[
            (120.0, top),
            (left, top),
            (left, floor),
            (right, floor),
            (right, top),
            (452.0, top),
            (452.0, table),
            (120.0, table),
        ],
        WOOD,
        1.0,
    );
    // The light: over the rim down to where the shadow ends, and flat over the stock.
    let far = (452.0, top - 24.0);
    p.area(&[lamp, (left, top), (left + SHADOW, floor), (right, floor), (right, top), (452.0, top), far], LIGHT, 0.5);
    p.area(&[(left, top), (left, floor), (left + SHADOW, floor)], DARK, 0.85);
    p.line(&[lamp, (left + SHADOW, floor)], "#b98900", 1.5, "5 4");
    // Ridges on the floor, larger than life.
    let ridges: Vec<(f64, f64)> = (0..=15)
        .map(|i| (left + f64::from(i) * (right - left) / 15.0, floor - if i % 2 == 0 { 0.0 } else { 4.0 }))
        .collect();
    p.line(&ridges, DARK, 1.5, "");
    p.rect((136.0, top - 4.0), (58.0, 4.0), CARD);
    p.line(&[(lamp.0 - 16.0, lamp.1 + 2.0), (lamp.0 - 16.0, table)], DARK, 4.0, "");
    p.rect((lamp.0 - 34.0, table - 5.0), (36.0, 5.0), DARK);
    let n = 1f64.hypot(slope);
    p.lamp(lamp, (1.0 / n, slope / n));
    // The phone and what it sees.
    let phone = (290.0, 50.0);
    p.line(&[(phone.0, phone.1 + 4.0), (128.0, top)], INK, 1.2, "2 5");
    p.line(&[(phone.0, phone.1 + 4.0), (444.0, top)], INK, 1.2, "2 5");
    p.phone(phone, 0.0);
    p.text((phone.0, 28.0), At::Middle, "phone flat above the pocket");
    p.measure((phone.0, 62.0), (phone.0, top - 2.0));
    p.lines((phone.0 + 10.0, 138.0), At::Start, &["20 to", "40 cm"]);
    p.text((12.0, 150.0), At::Start, "one lamp, low:");
    p.text((12.0, 170.0), At::Start, "10 to 15\u{b0}");
    p.text((165.0, top + 22.0), At::Middle, "card");
    p.line(&[(left, floor + 4.0), (left, 304.0)], INK, 1.0, "");
    p.line(&[(left + SHADOW, floor + 4.0), (left + SHADOW, 304.0)], INK, 1.0, "");
    p.measure((left, 298.0), (left + SHADOW, 298.0));
    p.text((left + SHADOW / 2.0, 322.0), At::Middle, "the wall\u{2019}s shadow:");
    p.text((left + SHADOW / 2.0, 342.0), At::Middle, "4 to 6 times as long as the pocket is deep");
    p.text((26.0, 302.0), At::Start, "30 to 60 cm away");
    p.done()
}

/// The same from above.
pub fn above() -> Drawing {
    let mut p = Pencil::new(480, 392, "Lamp, card and pocket seen from above, and what the photo takes in");
    p.rect((112.0, 44.0), (352.0, 336.0), WOOD);
    let (at, size) = ((160.0, 88.0), (256.0, 150.0));
    p.floor(at, size, 24.0, 1.0);
    let lamp = (58.0, 163.0);
    p.area(&[lamp, (150.0, 80.0), (464.0, 44.0), (464.0, 372.0), (150.0, 246.0)], LIGHT, 0.3);
    p.rect(at, (66.0, size.1), DARK);
    p.lamp(lamp, (1.0, 0.0));
    p.arrow((70.0, 163.0), (150.0, 163.0), "#8a6400");
    p.card((214.0, 262.0), (128.0, 80.0), -4.0);
    p.frame((138.0, 66.0), (302.0, 294.0), INK, "7 5");
    p.text((288.0, 34.0), At::Middle, "the photo: pocket and card fill it");
    p.lines((10.0, 208.0), At::Start, &["lamp shines", "across", "the passes"]);
    p.lines((10.0, 108.0), At::Start, &["shadow of", "the wall"]);
    p.line(&[(86.0, 103.0), (158.0, 103.0)], INK, 1.4, "");
    p.lines((356.0, 290.0), At::Start, &["card flat", "beside it,", "lit"]);
    p.done()
}

/// The camera square above the work, and from the side.
pub fn camera() -> Drawing {
    let mut p = Pencil::new(
        480,
        290,
        "The phone square above the work shows the pocket's true shape; from the side it is skewed",
    );
    for (x, turn, good) in [(120.0, 0.0, true), (360.0, 48.0, false)] {
        p.rect((x - 100.0, 132.0), (200.0, 26.0), WOOD);
        p.rect((x - 60.0, 132.0), (120.0, 12.0), CUT);
        let phone = if good { (x, 48.0) } else { (x + 74.0, 62.0) };
        for end in [x - 74.0, x + 74.0] {
            p.line(&[phone, (end, 132.0)], INK, 1.2, "2 5");
        }
        p.phone(phone, turn);
        let picture: [(f64, f64); 4] = if good {
            [(x - 60.0, 182.0), (x + 60.0, 182.0), (x + 60.0, 242.0), (x - 60.0, 242.0)]
        } else {
            [(x - 44.0, 190.0), (x + 60.0, 174.0), (x + 60.0, 250.0), (x - 44.0, 234.0)]
        };
        p.rect((x - 84.0, 168.0), (168.0, 88.0), WOOD);
        p.area(&picture, CUT, 1.0);
        p.frame((x - 84.0, 168.0), (168.0, 88.0), INK, "");
        p.mark((x - 96.0, 24.0), good);
    }
    p.text((120.0, 278.0), At::Middle, "flat above: true shape");
    p.text((360.0, 278.0), At::Middle, "from the side: skewed, soft");
    p.done()
}
