//! What the rim says: torn fibre along the top edges comes from a cutter that lifts fibre, or from a dull one.
//!
//! Its weights are small. The made scenes have ragged rims under torn floors by construction, and of real ones nothing was
//! counted: that an up-cut frays the rim and a down-cut does not is common practice, no source.

use super::digest::Digest;
use super::weights::{Case, WEAK, ramp};
use crate::expect::Cause;
use crate::marks::RimPiece;
use crate::plan::Helix;
use crate::units::line_difference;

/// Ragged share, less its sigma, from which a rim may be torn and surely is: clean rims of made scenes were found ragged
/// over up to 0.12 (one of fifteen over more).
const RAGGED: (f64, f64) = (0.1, 0.4);
/// A rim that stays under this share with its sigma is clean.
const CLEAN: f64 = 0.12;
/// Share of the torn length on walls across the grain from which the grain is reason enough.
const ACROSS: f64 = 0.8;

/// Adds what the rim says to a cause; nothing where it was not judged, or in materials without fibre.
pub fn weigh(d: &Digest, case: &mut Case) {
    let Some(r) = d.marks.rim.ragged.filter(|_| d.is_wood()) else { return };
    let torn = ramp(r.value - r.sigma, RAGGED.0, RAGGED.1);
    let share = format!("the rim is ragged over {:.0} percent of the length that could be judged", 100.0 * r.value);
    match case.cause {
        Cause::FuzzOrTear if r.value + r.sigma < CLEAN => {
            case.add(-WEAK / 2.0, "the rim is clean: this cutter parts the fibre there");
        }
        Cause::FuzzOrTear if torn > 0.0 => {
            let (part, why) = excuse(d);
            case.add(WEAK * torn * part, format!("{share}{why}"));
        }
        Cause::FullWidthFirstPass if torn > 0.0 && d.plan.cutter.helix.is_none() => {
            let Some(strip) = case.strips.first().and_then(|s| d.marks.strips.get(*s)) else { return };
            let sign = if strip.proud { -1.0 } else { 1.0 };
            case.add(
                sign * WEAK * torn,
                format!("{share}, as an up-cut leaves it; an up-cut leaves its first pass deep"),
            );
        }
        _ => {}
    }
}

/// What else would leave such a rim: the share of the weight that is left, and the words.
fn excuse(d: &Digest) -> (f64, &'static str) {
    let across = across_grain(d).is_some_and(|a| a > ACROSS);
    match (d.plan.cutter.helix, across) {
        (Some(Helix::UpCut), _) => (0.5, ", which an up-cut does by itself"),
        (_, true) => (0.5, ", nearly all of it where walls cross the grain, which tears first with any cutter"),
        (Some(Helix::DownCut), _) => (1.0, ", which a sharp down-cut does not do"),
        _ => (1.0, ""),
    }
}

/// Share of the ragged length on walls that run across the grain.
fn across_grain(d: &Digest) -> Option<f64> {
    let grain = d.plan.grain_angle_deg? + d.patch.pocket_x_deg?;
    let length = |f: &dyn Fn(&&RimPiece) -> bool| d.marks.rim.pieces.iter().filter(f).map(|p| p.length).sum::<f64>();
    let all = length(&|_| true);
    // The wall runs a quarter turn from its normal: across the grain where the normal lies along it.
    (all > 0.0).then(|| length(&|p| line_difference(p.normal_deg, grain).abs() < 45.0) / all)
}

#[cfg(test)]
mod tests {
    use super::super::tests::{frame, patch, plain_marks, plan};
    use super::*;
    use crate::expect::expected;
    use crate::fit;
    use crate::marks::{Marks, Rim};
    use crate::plan::PlannedCut;
    use crate::units::Measured;

    /// What the rim adds; `sides`: ragged pieces by the direction towards their stock.
    fn weight(share: f64, sides: &[f64], p: &PlannedCut) -> f64 {
        let piece = |n: &f64| RimPiece { points: vec![], length: 10.0, normal_deg: *n, island: false };
        let rim =
            Rim { ragged: Measured::new(share, 0.05), judged_fraction: 0.9, pieces: sides.iter().map(piece).collect() };
        let marks = Marks { rim, ..plain_marks() };
        let (frame, patch) = (frame(), patch());
        let fit = fit::judge((3000, 2000), &frame, &[], &patch, p, &fit::Seen::default());
        let expected = expected(p);
        let mut case = Case::new(Cause::FuzzOrTear, 1.0);
        weigh(&Digest::new(&frame, &patch, &fit, &marks, p, &expected), &mut case);
        case.log_weight
    }
    #[test]
    fn a_ragged_rim_speaks_for_torn_fibre_and_less_where_the_plan_explains_it() {
        let down = plan(&[]);
        assert!((weight(0.5, &[0.0, 90.0], &down) - WEAK).abs() < 1e-9);
        assert!((weight(0.5, &[0.0], &plan(&[("down-cut", "up-cut")])) - WEAK / 2.0).abs() < 1e-9);
        assert!((weight(0.02, &[], &down) + WEAK / 2.0).abs() < 1e-9);
        assert_eq!(weight(0.14, &[0.0], &down), 0.0, "within what clean rims show");
        assert_eq!(weight(0.5, &[0.0], &plan(&[("hardwood", "mdf")])), 0.0, "no fibre");
        let grain = plan(&[("kind = \"hardwood\"", "kind = \"hardwood\"\ngrain_angle_deg = 0")]);
        assert!((weight(0.5, &[5.0, 175.0], &grain) - WEAK / 2.0).abs() < 1e-9, "all across the grain");
        assert!((weight(0.5, &[5.0, 85.0], &grain) - WEAK).abs() < 1e-9);
    }
}
