//! The lamp: how high, and from which side.

use super::{At, DARK, Drawing, INK, LIGHT, Pencil, WOOD};

/// Three heights, each with the cut in section and with what the photo shows of the floor.
pub fn height() -> Drawing {
    let mut p = Pencil::new(480, 530, "The lamp too low, right, and too high, and what the photo shows of the floor");
    let rows: [(f64, &[&str], bool); 3] = [
        (4.0, &["too low: the wall\u{2019}s", "shadow covers", "the floor"], false),
        (12.0, &["right: short shadow,", "every ridge has a", "dark and a bright side"], true),
        (50.0, &["too high: hardly any", "shadow, and the", "ridges vanish"], false),
    ];
    for (n, (angle, words, good)) in rows.into_iter().enumerate() {
        let y = 10.0 + 174.0 * n as f64;
        section(&mut p, y, angle);
        p.mark((312.0, y + 62.0), good);
        p.lines((298.0, y + 100.0), At::Start, words);
        p.text((332.0, y + 68.0), At::Start, &format!("{angle:.0}\u{b0}"));
        if n > 0 {
            p.line(&[(16.0, y - 2.0), (464.0, y - 2.0)], "#cfc6b8", 1.0, "");
        }
    }
    p.done()
}

/// One row: section above, the photo's strip below.
fn section(p: &mut Pencil, y: f64, angle: f64) {
    let (top, left, right, depth) = (y + 86.0, 98.0, 270.0, 16.0);
    let floor = top + depth;
    let slope = angle.to_radians().tan();
    let shadow = (depth / slope).min(right - left);
    p.area(
        &[
            (72.0, top),
            (left, top),
            (left, floor),
            (right, floor),
            (right, top),
            (288.0, top),
            (288.0, top + 30.0),
            (72.0, top + 30.0),
        ],
        WOOD,
        1.0,
    );
    // The lamp on the ray over the rim, as far away as the row has room.
    let away = (62.0f64).min((top - y - 38.0) / slope);
    let lamp = (left - away, top - away * slope);
    let end = (left + shadow, top + shadow * slope);
    p.area(
        &[
            lamp,
            (left, top),
            (end.0, end.1.min(floor)),
            (right, floor),
            (right, top),
            (288.0, top),
            (288.0, (top - 26.0).min(lamp.1)),
        ],
        LIGHT,
        0.5,
    );
    p.area(
        &[(left, top), (left, floor), (left + shadow, floor), (left + shadow, (top + shadow * slope).min(floor))],
        DARK,
        0.85,
    );
    let ridges: Vec<(f64, f64)> = (0..=14)
        .map(|i| (left + f64::from(i) * (right - left) / 14.0, floor - if i % 2 == 0 { 0.0 } else { 3.0 }))
        .collect();
    p.line(&ridges, DARK, 1.2, "");
    let n = 1f64.hypot(slope);
    p.lamp(lamp, (1.0 / n, slope / n));
    // The photo: ridges show as the cotangent of the angle, full at 12 degrees.
    let strip = (left, top + 38.0);
    let show = (12f64.to_radians().tan() / slope).min(1.0);
    p.floor(strip, (right - left, 34.0), 26.0, if angle > 30.0 { 0.35 * show } else { show });
    p.rect(strip, (shadow, 34.0), DARK);
    p.frame(strip, (right - left, 34.0), INK, "");
    p.text((left - 8.0, strip.1 + 22.0), At::End, "photo");
}

/// Across the passes and along them.
pub fn direction() -> Drawing {
    let mut p = Pencil::new(480, 300, "Light across the passes shows the ridges, light along them does not");
    for (x, across) in [(20.0, true), (260.0, false)] {
        p.rect((x, 66.0), (200.0, 170.0), WOOD);
        let (at, size) = ((x + 44.0, 98.0), (130.0, 110.0));
        p.floor(at, size, 18.0, if across { 1.0 } else { 0.06 });
        if across {
            p.rect(at, (28.0, size.1), DARK);
            p.lamp((x + 20.0, 153.0), (1.0, 0.0));
            p.area(&[(x + 22.0, 153.0), (x + 200.0, 104.0), (x + 200.0, 202.0)], LIGHT, 0.3);
            p.arrow((x + 26.0, 153.0), (x + 68.0, 153.0), "#8a6400");
        } else {
            p.rect(at, (size.0, 24.0), DARK);
            p.lamp((x + 109.0, 76.0), (0.0, 1.0));
            p.area(&[(x + 109.0, 78.0), (x + 60.0, 236.0), (x + 158.0, 236.0)], LIGHT, 0.3);
            p.arrow((x + 109.0, 82.0), (x + 109.0, 120.0), "#8a6400");
        }
        p.mark((x + 12.0, 24.0), across);
    }
    p.text((52.0, 30.0), At::Start, "across the passes");
    p.text((292.0, 30.0), At::Start, "along the passes");
    p.text((120.0, 266.0), At::Middle, "every ridge shows");
    p.text((360.0, 266.0), At::Middle, "the same floor,");
    p.text((360.0, 286.0), At::Middle, "and nothing to see");
    p.done()
}
