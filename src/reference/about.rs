//! What lies about a figure: sides that run on beyond its corners, and steps everywhere.

use super::figure::{Candidate, Figure, NEAR_MM, NEAR_PX, nearest, on_figure, place, side};
use super::fit::Outline;
use super::profile::Profiler;
use crate::stats::median;

/// How far beyond a corner a side is looked for, mm: clear of the shadow that a card's corner casts under a lamp 7 degrees
/// high along the side (6 mm), and on from there.
const BEYOND_MM: (f64, f64) = (7.0, 20.0);
const BEYOND_PLACES: usize = 14;

/// Share of places beyond either end of each side where its line runs on as an edge: a card's sides end at its corners.
/// Of what lies outside the photo nothing is known: 0.
pub fn runs_on(profiler: &Profiler, c: &Candidate, figure: &Figure) -> [[f64; 2]; 4] {
    let view = &c.fitted.view;
    std::array::from_fn(|k| {
        let (normal, tangent, half, far) = side(figure.outline, k);
        [-1.0, 1.0].map(|end| {
            let on = (0..BEYOND_PLACES).filter(|i| {
                let t = (*i as f64 + 0.5) / BEYOND_PLACES as f64;
                let u = end * (half + BEYOND_MM.0 + t * (BEYOND_MM.1 - BEYOND_MM.0));
                let p = place(view, normal * far + tangent * u, normal, u);
                let near = NEAR_PX.max(2.0 * NEAR_MM * p.px_per_mm);
                profiler.holds(p.px, 6.0) && nearest(&profiler.steps(p.px, p.out, near + 6.0, 5.0), 0.0, near).is_some()
            });
            on.count() as f64 / BEYOND_PLACES as f64
        })
    })
}

/// Shifts of the outline at which nothing of a card lies, mm outwards: off its border's print, its side and its shadow.
const BESIDE_MM: [f64; 5] = [-7.5, -6.0, -4.5, 4.5, 6.0];

/// Share of places with a step beside a figure from which on its own steps say nothing. Cards in 60 practice and made photos
/// have up to 0.3 beside them and one of 0.46; in dark, noisy photos any figure has 0.87 and more.
pub const CHANCE: f64 = 0.6;

/// Share of places with a step on sides laid where none is: the median of several shifts. Noise of a dark photo and coarse
/// grain give a step nearly everywhere, and then any outline seems to show.
pub fn by_chance(profiler: &Profiler, c: &Candidate, figure: &Figure) -> f64 {
    let share = |by: f64| {
        let o = figure.outline;
        let moved = Outline { width: o.width + 2.0 * by, height: o.height + 2.0 * by, radius: o.radius };
        let seen = on_figure(profiler, &c.fitted.view, moved, 1);
        seen.sides.iter().sum::<f64>() / 4.0
    };
    median(&BESIDE_MM.map(share)).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::PlannedCut;
    use crate::reference::drawn::{photo, view};
    use crate::reference::figure::CARD;
    use crate::reference::id1;
    use crate::reference::search::Search;

    /// A card on plain stock has no steps beside its sides; noise of a twentieth of the light has them nearly everywhere, and no
    /// card is found in it.
    #[test]
    fn noise_shows_any_outline() {
        let drawn = |grey: f64, noise: f64| {
            let mut chance = crate::stats::Draws::new(7);
            let noise: Vec<f64> = (0..900 * 700).map(|_| noise * (chance.below(2001) as f64 / 1000.0 - 1.0)).collect();
            photo(move |p| {
                let inside = (0.5 - CARD.outline.distance(view().backward(p)) * 6.0).clamp(0.0, 1.0);
                grey * (1.0 - 0.35 * inside) + noise[p.y as usize * 900 + p.x as usize]
            })
        };
        let plan = PlannedCut::default();
        let clear = drawn(200.0, 2.0);
        let card = id1::find(&Search::new(&clear, &plan, None).expect("large enough")).expect("the card");
        assert!(by_chance(&Profiler::new(&clear), &card, &CARD) < 0.1);
        let dark = drawn(40.0, 12.0);
        assert!(by_chance(&Profiler::new(&dark), &card, &CARD) > CHANCE);
        assert!(id1::find(&Search::new(&dark, &plan, None).expect("large enough")).is_none());
    }
}
