//! How far the place of one side of an outline can be trusted, by the light on either side of it.

use super::fit::{SHARED, Seen};
use super::profile::Step;
use crate::geometry::Point;
use crate::stats::median;

/// How well the place of one side of an outline is known by the light on either side of it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Trust {
    /// One sigma of the error that all its points share, px.
    pub side_px: f64,
    /// How far it is taken to lie too far out because the inside is burnt out, and one sigma of that, px.
    pub swollen_px: f64,
    pub swelling_px: f64,
}

impl Trust {
    /// By the steps along it; `card`: the outline is a card's face, of whose thickness `wall_px` are seen along the side.
    pub fn of(steps: &[Step], card: bool, wall_px: f64) -> Self {
        let middle = |f: fn(&Step) -> f64| median(&steps.iter().map(f).collect::<Vec<_>>()).unwrap_or(0.0);
        let least = if card { CARD_SIDE_PX } else { WORST_SIDE_PX };
        let burnt = middle(Step::burnt);
        Self {
            side_px: least
                .hypot((STRAY_LIGHT_PX / middle(Step::contrast).max(1e-3)).min(WORST_SIDE_PX))
                .hypot(WALL_SHARE * wall_px.min(WIDEST_WALL_PX)),
            swollen_px: SWELLING_PX.0 * burnt,
            swelling_px: SWELLING_PX.1 * burnt,
        }
    }
    /// A point of side k, seen `offset` px outwards of `px` along the unit vector `out`.
    pub fn seen(&self, px: Point, out: Point, offset: f64, k: usize) -> Seen {
        let mut moves_px = [0.0; SHARED];
        moves_px[k] = self.side_px;
        moves_px[4] = self.swelling_px;
        let sigma_px = POINT_PER_SIDE * self.side_px;
        Seen { px: px + out * (offset - self.swollen_px), sigma_px, moves_px }
    }
    /// A point on the corner between this side and the next, k.
    pub fn corner(&self, next: &Trust, px: Point, k: usize) -> Seen {
        let mut moves_px = [0.0; SHARED];
        moves_px[(k + 3) % 4] = self.side_px / 2.0;
        moves_px[k] = next.side_px / 2.0;
        moves_px[4] = (self.swelling_px + next.swelling_px) / 2.0;
        let sigma_px = POINT_PER_SIDE * self.side_px.max(next.side_px) / 0.7;
        Seen { px, sigma_px, moves_px }
    }
}

/// Common error of a side, px: of a card's with clear contrast (practice photos: 0.1 px, and 0.1 more from end to end), and
/// the largest (shadow at the card's foot, sharpening: sides of a card in made photos of 5 to 13 px per mm lie off by 0.4
/// px; a pocket's worn rim is never known better). Smaller values let one side tilt the plane.
const CARD_SIDE_PX: f64 = 0.2;
const WORST_SIDE_PX: f64 = 0.4;

/// Error of a side, px, over its step in luma: light that changes by 1 % of the range beside an edge 2.5 px wide moves its
/// middle so. Sides of a dark card in its shadow (a step of 0.1) lie off by 0.3 px, clear ones by 0.1.
const STRAY_LIGHT_PX: f64 = 0.025;

/// How far off the edge of a side may lie because the card's own thickness is seen below it, as a share of the width seen:
/// where face and thickness are as bright, the edge is the foot; where they blur into one, it lies half way. Wider than the
/// blur they are two edges, and the nearer one is taken.
const WALL_SHARE: f64 = 0.5;
const WIDEST_WALL_PX: f64 = 3.0;

/// Own scatter of a side's points over its common error: they scatter by 0.15 px and more, but neighbours err alike (grain
/// and print beside the edge, a card that is not flat), so that 48 of them are worth no more than five. A smaller value
/// lets such a bend of one side pass for the lens and bends the whole photo.
const POINT_PER_SIDE: f64 = 2.25;

/// By how much a side lies too far out where the card is burnt out and what it lies on is not (too far in the other way
/// round), and the spread of that, px: the blur of the bright side is cut off at white, so the middle of what is left lies
/// in the dark. Sides of 14 burnt cards in made photos: 0.3 to 1.2 px. All burnt sides share it, so it does not average out.
const SWELLING_PX: (f64, f64) = (0.65, 0.3);

#[cfg(test)]
mod tests {
    use super::*;

    fn step(inside: f32, outside: f32) -> Step {
        Step { offset: 0.0, strength: 1.0, inside: [inside; 3], outside: [outside; 3] }
    }
    fn trust(inside: f32, outside: f32) -> Trust {
        Trust::of(&[step(inside, outside); 5], true, 0.0)
    }

    #[test]
    fn a_faint_side_and_one_above_a_visible_thickness_are_trusted_less() {
        let clear = trust(0.5, 0.01);
        assert!(clear.side_px < 0.21, "{clear:?}");
        assert!(trust(0.03, 0.01).side_px > 1.4 * clear.side_px);
        let thick = Trust::of(&[step(0.5, 0.01); 5], true, 2.0);
        assert!((thick.side_px / clear.side_px.hypot(1.0) - 1.0).abs() < 1e-9, "{thick:?}");
        assert!(Trust::of(&[], true, 0.0).side_px.is_finite());
    }
    /// A white card over-exposed four times, seen through a blur of 1 px (one sigma): its edge reads half of white where the
    /// blur has an eighth left, 1.15 px outside (normal distribution: Q(1.15) = 0.125).
    #[test]
    fn a_burnt_card_is_taken_smaller_and_its_surroundings_likewise() {
        let burnt = trust(1.0, 0.2);
        assert!((1.15 - burnt.swollen_px).abs() < 2.0 * burnt.swelling_px, "{burnt:?}");
        let seen = burnt.seen(Point::default(), Point::new(1.0, 0.0), 1.15, 1);
        assert!(seen.px.x > 0.0 && seen.px.x < 1.0 && seen.moves_px[4] > 0.0);
        assert!(trust(0.2, 1.0).swollen_px < -0.5 && trust(0.7, 0.2).swollen_px == 0.0);
    }
}
