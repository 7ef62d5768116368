//! Marks along the passes: which of those that the plan lets expect could show in this photo, and which need a finer one.

use super::digest::{Digest, USUAL_BLUR_PX};
use super::{Along, AlongMark, PitchMatch};
use crate::expect::PitchRole;
use crate::marks::FINEST;

/// Periods per sigma of blur from which a tenth of the contrast is left: exp(-2 (pi 0.34)^2) = 0.1.
const BLUR: f64 = 0.34;

/// Marks along the passes; `None` without a scale.
pub fn along(d: &Digest, px_per_mm: f64, matches: &[PitchMatch]) -> Option<Along> {
    if !d.scaled || !(px_per_mm > 0.0) {
        return None;
    }
    // Pixels that a period must have: for the grid, and for the blur.
    let px = FINEST.max(d.patch.blur_px.unwrap_or(USUAL_BLUR_PX) / BLUR);
    let along = |e: &&crate::expect::ExpectedPitch| matches!(e.role, PitchRole::Turn | PitchRole::Tooth);
    let marks = d.expected.pitches.iter().filter(along).map(|e| {
        let needed = px / e.pitch_mm;
        let found_mm = matches.iter().find(|m| m.what == e.what).map(|m| m.pitch_mm);
        let shows = needed <= px_per_mm;
        AlongMark { what: e.what.clone(), pitch_mm: e.pitch_mm, px_per_mm_needed: needed, shows, found_mm }
    });
    Some(Along { px_per_mm, finest_mm: px / px_per_mm, marks: marks.collect() })
}

#[cfg(test)]
mod tests {
    use super::super::tests::{frame, patch, plain_marks, plan};
    use super::*;
    use crate::expect::expected;
    use crate::fit;
    use crate::floor::Patch;

    #[test]
    fn what_is_too_fine_says_how_fine_a_photo_must_be() {
        // 3600 mm/min at 12000 turns: 0.3 mm a turn, 0.15 mm a tooth.
        let p = plan(&[]);
        let (frame, marks) = (frame(), plain_marks());
        let expected = expected(&p);
        let look = |blur_px: f64, px_per_mm: f64| {
            let patch = Patch { blur_px: Some(blur_px), ..patch() };
            let fit = fit::judge((3000, 2000), &frame, &[], &patch, &p, &fit::Seen::default());
            let d = Digest::new(&frame, &patch, &fit, &marks, &p, &expected);
            along(&d, px_per_mm, &[]).unwrap()
        };
        let sharp = look(1.0, 20.0);
        assert!((sharp.finest_mm - 0.175).abs() < 1e-9);
        let needed: Vec<(f64, bool)> = sharp.marks.iter().map(|m| (m.px_per_mm_needed, m.shows)).collect();
        assert_eq!(needed.iter().map(|n| n.1).collect::<Vec<_>>(), [true, false]);
        assert!((needed[0].0 - 3.5 / 0.3).abs() < 1e-9 && (needed[1].0 - 3.5 / 0.15).abs() < 1e-9);
        // A blur of 3.4 px asks for ten pixels a period.
        assert!(look(3.4, 20.0).marks.iter().all(|m| !m.shows));
        assert!((look(3.4, 20.0).marks[0].px_per_mm_needed - 10.0 / 0.3).abs() < 1e-9);
    }
}
