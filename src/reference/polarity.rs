//! Whether a figure lies proud of what surrounds it or is sunken into it, by the side on which its shadow falls.

use super::fit::Outline;
use crate::geometry::{PlaneView, Point};
use crate::photo::Photo;
use crate::stats::median;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lie {
    /// A shadow outside, on the side away from the lamp: a card, a coin, a rule.
    Proud,
    /// A shadow inside, on the lamp's side: a pocket.
    Sunken,
    /// No shadow tells: a high or diffuse lamp, or a dark surface.
    Unclear,
}

/// Least drop of the light into a cast shadow, natural log: to two fifths. Shading and print on pale stock stay above it; a
/// lamp with a fifth of room light casts shadows of a fifth to a sixth.
const SHADOW: f64 = -0.9;

/// Strips looked at beside each side, mm from it: next to it, and well away from it. A card of 0.76 mm under a lamp at 20
/// degrees casts a shadow of 2 mm; a pocket of 2 mm one of 5.5 mm.
const NEXT_OUT: (f64, f64) = (0.5, 1.4);
const NEXT_IN: (f64, f64) = (0.8, 2.6);
const AWAY: (f64, f64) = (12.0, 18.0);

/// How the rounded rectangle `outline` (mm about the view's origin) lies. Reads the photo's light along its four sides.
pub fn lie(photo: &Photo, view: &PlaneView, outline: Outline) -> Lie {
    let (w, h) = (outline.width / 2.0, outline.height / 2.0);
    let sides = [(0.0, -1.0, w, h), (1.0, 0.0, h, w), (0.0, 1.0, w, h), (-1.0, 0.0, h, w)];
    let strip = |(nx, ny, half, far): (f64, f64, f64, f64), (from, to): (f64, f64)| {
        let (normal, along) = (Point::new(nx, ny), Point::new(-ny, nx));
        let straight = half - outline.radius - 1.0;
        let mut values = vec![];
        for i in 0..24 {
            for j in 0..3 {
                let u = straight * (2.0 * (f64::from(i) + 0.5) / 24.0 - 1.0);
                let q = view.forward(normal * (far + from + (to - from) * f64::from(j) / 2.0) + along * u);
                if q.x >= 0.0 && q.y >= 0.0 && q.x <= photo.width as f64 - 1.0 && q.y <= photo.height as f64 - 1.0 {
                    values.push(f64::from(photo.luma.bilinear(q.x, q.y) + 0.002).ln());
                }
            }
        }
        // A strip mostly outside the photo says nothing.
        if values.len() < 24 { None } else { median(&values) }
    };
    let inward = |(a, b): (f64, f64)| (-b, -a);
    let drops = |next: (f64, f64), away: (f64, f64)| {
        sides.iter().filter(|s| strip(**s, next).zip(strip(**s, away)).is_some_and(|(n, a)| n - a < SHADOW)).count()
    };
    let outside = drops(NEXT_OUT, AWAY);
    let inside = drops(inward(NEXT_IN), inward(AWAY));
    match (outside, inside) {
        (1..=3, _) => Lie::Proud,
        // One lamp shades one side or two that meet.
        (0, 1 | 2) => Lie::Sunken,
        _ => Lie::Unclear,
    }
}
