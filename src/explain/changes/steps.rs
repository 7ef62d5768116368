//! Changes against steps: a skim, the first pass, the helix, the feed in corners.

use super::super::Change;
use super::super::digest::Digest;
use super::{Lever, change};
use crate::expect::Cause;
use crate::expect::cost;
use crate::expect::model::engage::Load;
use crate::marks::Strip;
use crate::plan::{Helix, USUAL_SKIM_MM};
use crate::units::LengthUnit;

fn range(u: LengthUnit, (a, b): (f64, f64)) -> String {
    match u {
        LengthUnit::Mm => format!("{a:.2} to {b:.2} mm"),
        LengthUnit::In => format!("{:.3} to {:.3} in", a / u.in_mm(), b / u.in_mm()),
    }
}

/// Thickness of the layer that formed the floor, mm: the cutting file's last one, else the planned depth up to half a
/// diameter, a usual layer (common practice, no source).
fn layer_mm(d: &Digest) -> Option<f64> {
    let file = d.plan.cutting_file.as_ref().and_then(|c| c.floor.as_ref()?.last_layer_mm);
    file.or(d.plan.skim_mm).or(Some(d.plan.depth_mm?.min(d.plan.cutter.diameter_mm? / 2.0)))
}

pub(super) fn skim(d: &Digest, cause: Cause, height_um: Option<f64>) -> Option<Change> {
    let u = d.units;
    let have = d.plan.skim_mm;
    if have.is_some_and(|k| k >= 0.7 * USUAL_SKIM_MM.0 && k <= 1.3 * USUAL_SKIM_MM.1) {
        return None;
    }
    // A skim must be thicker than the steps it takes away.
    let least = height_um.map_or(0.0, |h| 1.5 * h / 1000.0).max(USUAL_SKIM_MM.0);
    let how = match cause {
        _ if least > USUAL_SKIM_MM.1 => format!(
            "two skims of {} over the whole floor: the steps are higher than one takes",
            u.show(USUAL_SKIM_MM.1)
        ),
        Cause::EngagementSteps => format!(
            "a skim of {} in straight passes one way over the whole floor: loops round corners and islands change their load again",
            range(u, (least, USUAL_SKIM_MM.1))
        ),
        Cause::AlternatingPasses => format!(
            "a skim of {} over the whole floor, at the same stepover, one way",
            range(u, (least, USUAL_SKIM_MM.1))
        ),
        _ => format!(
            "one skim of {} over the whole floor, at the same stepover and with the same passes",
            range(u, (least, USUAL_SKIM_MM.1))
        ),
    };
    let cost =
        cost::layer(d.plan).map_or("about the time of the floor's last layer once more".to_owned(), |l| l.more(1.0));
    let thin = (least + USUAL_SKIM_MM.1.max(least)) / 2.0;
    let effect = height_um.zip(layer_mm(d)).filter(|(_, t)| *t > 2.0 * thin).map(|(h, t)| {
        format!(
            "steps fall from {} to about {}: the force goes with the layer, {} in place of {}",
            u.show_height(h),
            u.show_height((h * thin / t).max(1.0)),
            u.show(thin),
            u.show(t)
        )
    });
    let change = change(
        "last pass over the floor",
        Some(have.map_or("no skim in the plan".to_owned(), |k| format!("a skim of {}", u.show(k)))),
        how,
        "a thin, even cut loads the cutter lightly and alike everywhere, so the level stays",
        Some(&cost),
    );
    Some(change.pulls(Lever::Skim).leaves(effect))
}

/// Share of a first pass's step that is left when its chip is `chip` times as thick (linear edge force model, ratios of
/// coefficients as in the forward model).
fn left_of_step(d: &Digest, chip: f64) -> f64 {
    let share = d.plan.stepover_mm.zip(d.plan.cutter.diameter_mm).map_or(0.4, |(s, dia)| (s / dia).min(0.95));
    let (slot, usual) = (Load::of_share(1.0), Load::of_share(share).axial());
    ((slot.axial_at(chip) - usual) / (slot.axial() - usual)).max(0.0)
}

pub(super) fn first_pass(d: &Digest, height_um: Option<f64>) -> Change {
    let s = d.plan.stepover_mm.map_or("the planned stepover".to_owned(), |s| d.units.show(s));
    let left = left_of_step(d, 0.5);
    let effect = match height_um {
        Some(h) => format!(
            "at half the feed about {} of {} stay; from an open edge none",
            d.units.show_height(h * left),
            d.units.show_height(h)
        ),
        None => format!("at half the feed about {:.0} percent of the step stay; from an open edge none", 100.0 * left),
    };
    let long = d
        .plan
        .pocket_mm
        .map(|(w, h)| w.max(h))
        .zip(d.plan.feed_mm_min)
        .map(|(l, f)| format!("about {} more, by the pocket's length and the feed", cost::minutes(l / f)));
    change(
        "first pass",
        Some("at full width".into()),
        format!("ramp in along it at half the feed, or take it at {s} from an edge that is already open"),
        "a full-width cut carries 2.3 to 2.5 times the axial force of a 40 percent pass",
        Some(long.as_deref().unwrap_or("a few seconds")),
    )
    .pulls(Lever::FirstPass)
    .leaves(effect)
}

/// A change of helix, named with what it costs at the rim; left out where the plan's helix does not fit what is seen.
pub(super) fn helix(d: &Digest, strip: Option<&Strip>) -> Option<Change> {
    let u = d.units;
    let wide = d.plan.cutter.diameter_mm.map_or("its full diameter".to_owned(), |v| u.show(v));
    let narrow = d.plan.stepover_mm.map_or("one stepover".to_owned(), |v| u.show(v));
    let (lever, effect, from, to, why, cost) = match d.plan.cutter.helix? {
        Helix::DownCut if strip.is_none_or(|s| s.proud) => (
            Lever::UpCut,
            format!(
                "the first pass lies as deep as it stood high, over {wide} in place of {narrow}; the skim matters more than the helix"
            ),
            "down-cut",
            "up-cut for the floor, after the rim was cut with the down-cut",
            "an up-cut lifts chips out and leaves a cleaner floor; its first pass then lies deep instead of high",
            "an up-cut frays the top edge and lifts the work: clamp it well",
        ),
        Helix::UpCut if strip.is_none_or(|s| !s.proud) => (
            Lever::DownCut,
            format!("what is left is at most {narrow} wide along the wall in place of {wide}"),
            "up-cut",
            "down-cut, whose high first pass the later passes cut away",
            "an up-cut pulls itself into the work; what lies deep is never recut",
            "a down-cut leaves a cleaner top edge, but packs its chips into the cut and runs hotter; the floor is less clean",
        ),
        _ => return None,
    };
    Some(change("helix", Some(from.into()), to.into(), why, Some(cost)).pulls(lever).leaves(effect))
}

pub(super) fn corners(d: &Digest, height_um: Option<f64>) -> Change {
    let (least, most) = (left_of_step(d, 0.7), left_of_step(d, 0.5));
    let left = match height_um {
        Some(h) => format!(
            "{} to {} of {} stay",
            d.units.show_height(h * most),
            d.units.show_height(h * least),
            d.units.show_height(h)
        ),
        None => format!("{:.0} to {:.0} percent of the steps stay", 100.0 * most, 100.0 * least),
    };
    change(
        "feed in corners and slots",
        None,
        "30 to 50 percent less where the cutter is more than half in the wood".into(),
        "force follows engagement; less feed there keeps the level",
        Some("some seconds in every corner"),
    )
    .pulls(Lever::SlowerCorners)
    .leaves(format!("about {left}"))
}
