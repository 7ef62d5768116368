//! Where the card lies: one right place, three wrong ones.

use super::{At, DARK, Drawing, INK, Pencil, WOOD};

/// Four small pictures, as the photo would show them.
pub fn places() -> Drawing {
    let mut p = Pencil::new(
        480,
        440,
        "Where to lay the card: flat beside the pocket, lit and whole; not in the shadow, over the edge or out of the picture",
    );
    let size = (80.0, 50.0);
    let cases: [((f64, f64), &[&str], bool); 4] = [
        ((64.0, 112.0), &["flat beside the pocket,", "lit, whole"], true),
        ((30.0, 46.0), &["not in the pocket\u{2019}s", "shadow"], false),
        ((122.0, 74.0), &["not over the edge:", "it tilts and sags"], false),
        ((150.0, 112.0), &["not cut off by", "the picture\u{2019}s edge"], false),
    ];
    for (n, (at, words, good)) in cases.into_iter().enumerate() {
        let (x, y) = (20.0 + 236.0 * (n % 2) as f64, 18.0 + 214.0 * (n / 2) as f64);
        let (w, h) = (204.0, 156.0);
        p.rect((x, y), (w, h), WOOD);
        p.floor((x + 30.0, y + 20.0), (132.0, 76.0), 16.0, 1.0);
        p.rect((x + 30.0, y + 20.0), (34.0, 76.0), DARK);
        let whole = at.0 + size.0 <= w;
        let seen = if whole { size } else { (w - at.0, size.1) };
        p.card((x + at.0, y + at.1 - if n == 0 || n == 3 { 10.0 } else { 0.0 }), seen, if n == 2 { 8.0 } else { 0.0 });
        if n == 1 {
            p.area(
                &[(x + 30.0, y + 46.0), (x + 64.0, y + 46.0), (x + 64.0, y + 96.0), (x + 30.0, y + 96.0)],
                DARK,
                0.7,
            );
        }
        p.frame((x, y), (w, h), INK, "");
        p.mark((x + 6.0, y + 6.0), good);
        p.lines((x + w / 2.0, y + h + 20.0), At::Middle, words);
    }
    p.done()
}
