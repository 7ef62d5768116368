//! Whether a figure lies proud of what surrounds it or is sunken into it, by the side on which its shadow falls.

use super::fit::Outline;
use crate::geometry::{PlaneView, Point};
use crate::photo::{Photo, to_linear};
use crate::stats::median;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lie {
    /// A shadow outside, on the side away from the lamp: a card, a coin, a rule.
    Proud,
    /// A shadow inside, on the lamp's side: a pocket.
    Sunken,
    /// Shadows on both sides of its outline: lines within a pocket, or a card with dark print along a side.
    Mixed,
    /// No shadow tells: a high or diffuse lamp, or a dark surface.
    Unclear,
}

/// Least drop of the light into a cast shadow, natural log: to two fifths. Shading and print on pale stock stay above it; a
/// lamp with a fifth of room light casts shadows of a fifth to a sixth.
const SHADOW: f64 = -0.9;

/// Largest difference of the drops of red, green and blue in a shadow, natural log: a warm lamp with cool room light, which
/// keeps a fifth of the red and half of the blue, makes 0.9. A coloured stripe on a card makes 2 and more.
const PAINT: f64 = 1.2;

/// Whether the light (ln of red, green, blue) `near` an edge has dropped from that `away` from it as into a shadow.
fn shaded(near: [f64; 3], away: [f64; 3]) -> bool {
    let drop: [f64; 3] = std::array::from_fn(|c| near[c] - away[c]);
    let (most, least) = drop.iter().fold((f64::MIN, f64::MAX), |(a, b), d| (a.max(*d), b.min(*d)));
    // Green stands for the light: it carries most of the luminance.
    drop[1] < SHADOW && most - least < PAINT
}

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
        let mut values = [vec![], vec![], vec![]];
        for i in 0..24 {
            for j in 0..3 {
                let u = straight * (2.0 * (f64::from(i) + 0.5) / 24.0 - 1.0);
                let q = view.forward(normal * (far + from + (to - from) * f64::from(j) / 2.0) + along * u);
                if q.x >= 0.0 && q.y >= 0.0 && q.x <= photo.width as f64 - 1.0 && q.y <= photo.height as f64 - 1.0 {
                    let p = photo.rgb.get_pixel(q.x.round() as u32, q.y.round() as u32);
                    for (all, v) in values.iter_mut().zip(p.0) {
                        all.push((to_linear(f64::from(v) / 255.0) + 0.002).ln());
                    }
                }
            }
        }
        // A strip mostly outside the photo says nothing.
        let [r, g, b] = &values;
        if r.len() < 24 { None } else { Some([median(r)?, median(g)?, median(b)?]) }
    };
    let inward = |(a, b): (f64, f64)| (-b, -a);
    let drops = |next: (f64, f64), away: (f64, f64)| {
        sides.map(|s| strip(s, next).zip(strip(s, away)).is_some_and(|(n, a)| shaded(n, a)))
    };
    let inside = drops(inward(NEXT_IN), inward(AWAY));
    // A shadow that begins inside and runs on over the side is no shadow of the figure.
    let outside = drops(NEXT_OUT, AWAY).into_iter().zip(inside).filter(|(out, within)| *out && !within).count();
    match (outside, inside.into_iter().filter(|s| *s).count()) {
        (1..=3, 0) => Lie::Proud,
        (1..=3, _) => Lie::Mixed,
        // One lamp shades one side or two that meet, and a letter in the pocket a third; all four are a printed frame.
        (0, 1..=3) => Lie::Sunken,
        _ => Lie::Unclear,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_coloured_stripe_is_no_shadow() {
        let ln = |v: [f64; 3]| v.map(f64::ln);
        let white = ln([0.8, 0.75, 0.6]);
        // A warm lamp taken away: a fifth of the red is left, half of the blue.
        assert!(shaded(ln([0.16, 0.2, 0.3]), white));
        // A blue stripe, sRGB 45, 90, 220 on white.
        assert!(!shaded(ln([0.026, 0.102, 0.72]), white));
        assert!(!shaded(ln([0.5, 0.5, 0.4]), white), "print that is hardly darker");
    }

    /// Strips of shadow along the sides of a card's outline: which side (0 top, 1 right, 2 bottom, 3 left), and from where to
    /// where, mm outwards.
    fn shadows(strips: &[(usize, f64, f64)]) -> Lie {
        use crate::reference::drawn::{photo, view};
        use crate::reference::figure::CARD;
        let (w, h) = (CARD.outline.width / 2.0, CARD.outline.height / 2.0);
        let drawn = photo(|p| {
            let q = view().backward(p);
            let out = [-q.y - h, q.x - w, q.y - h, -q.x - w];
            if strips.iter().any(|(k, from, to)| (*from..*to).contains(&out[*k])) { 60.0 } else { 200.0 }
        });
        lie(&drawn, &view(), CARD.outline)
    }
    #[test]
    fn a_shadow_is_a_figures_own_where_it_begins_at_its_side() {
        assert_eq!(shadows(&[]), Lie::Unclear);
        assert_eq!(shadows(&[(1, 0.0, 5.0), (2, 0.0, 5.0)]), Lie::Proud);
        assert_eq!(shadows(&[(1, -5.0, 0.0), (2, -5.0, 0.0)]), Lie::Sunken);
        assert_eq!(shadows(&[(1, -5.0, 5.0)]), Lie::Sunken, "it runs on over the side");
        assert_eq!(shadows(&[(0, -5.0, 0.0), (1, -5.0, 0.0), (3, -5.0, 0.0)]), Lie::Sunken, "two walls and a letter");
        assert_eq!(shadows(&[(0, -5.0, 0.0), (1, 0.0, 5.0)]), Lie::Mixed);
        assert_eq!(shadows(&[0, 1, 2, 3].map(|k| (k, -5.0, 0.0))), Lie::Unclear, "a printed frame");
    }
}
