//! Changes against a cutter that leans: the spindle squared, the bit shorter, passes one way.

use super::super::Change;
use super::super::digest::{Digest, Line};
use super::{Lever, change};
use crate::expect::Cause;
use crate::expect::cost;
use crate::expect::physics::{cusp_height_mm, shim_mm, tilt_for_dish_deg, tilt_for_saw_deg};
use crate::units::{LengthUnit, line_difference};

/// Lean of a spindle that counts as square for wood, mm per m (about 0.002 in over 8 in; common practice, no source).
const SQUARE_MM_PER_M: f64 = 0.25;

pub(super) fn one_way(d: &Digest) -> Change {
    let from = d.plan.both_ways.filter(|b| *b).map(|_| "both ways".to_owned());
    let cost = cost::layer(d.plan)
        .map_or("up to twice the time of that layer, for the empty ways back".to_owned(), |l| {
            format!("up to {}, for the empty ways back at the feed; rapid moves take less", l.more(1.0))
        });
    change(
        "direction of the last layer",
        from,
        "one way only (climb)".into(),
        "the side force then always bends the bit the same way, so neighbouring passes agree",
        Some(&cost),
    )
    .leaves("lines two stepovers apart go; a lower, even saw one stepover apart may stay".to_owned())
}

pub(super) fn stick_out() -> Change {
    change(
        "stick-out of the bit",
        None,
        "as short as the pocket's depth allows, or a thicker shank".into(),
        "bending goes with the cube of the free length, its lean with the square",
        None,
    )
    .leaves("a fifth shorter leaves two thirds of the ridges (0.8 squared)".to_owned())
}

/// A slope as a person sets it: per 100 mm and per 4 in.
fn slope_words(slope: f64) -> String {
    format!("{:.2} mm per 100 mm ({:.3} in per 4 in)", 100.0 * slope, 4.0 * slope)
}

/// Light that comes along the lines within this many degrees shows no side: the frame's turn and the lamp's own side are known
/// to a few degrees each.
const ALONG_DEG: f64 = 15.0;

/// Which way the spindle's top leans, from the light and the sign of the lines. Each pass' floor rises to the side away from
/// which the spindle's top leans, and a step falls back beside it: where the lines are thin and dark, they fall going away
/// from the lamp, so the top leans towards the lamp (tests/truth/lean.py turns and presses a disc to see it).
fn leans_to(d: &Digest, line: &Line) -> Option<(&'static str, &'static str)> {
    let from_line = line_difference(d.patch.light.from_deg?.value, line.family.normal_deg.value).abs();
    if from_line > 90.0 - ALONG_DEG {
        return None;
    }
    match line.family.skew {
        k if k < -0.5 => Some(("towards", "away from it")),
        k if k > 0.5 => Some(("away from", "towards it")),
        _ => None,
    }
}

pub(super) fn square_up(d: &Digest, cause: Cause, line: Option<&Line>) -> Vec<Change> {
    let u = d.units;
    let mut out = vec![];
    let across = cause == Cause::TiltAcrossPasses;
    let way = if across { "across" } else { "along" };
    let measured = line.filter(|_| d.scaled).and_then(|l| Some((l.family.height_um?.value, l.family.pitch.value)));
    let needed = measured.and_then(|(h, p)| match cause {
        Cause::TiltAcrossPasses => Some(tilt_for_saw_deg(h / 1000.0, p)),
        _ => tilt_for_dish_deg(d.plan.cutter.diameter_mm?, p, h / 1000.0),
    });
    let to = match needed {
        Some(deg) => {
            let slope = deg.to_radians().tan();
            let side = line.filter(|_| across).and_then(|l| leans_to(d, l));
            let shim = d.plan.machine.mount_bolt_spacing_mm.map_or(String::new(), |b| {
                let row = match side {
                    Some(_) => {
                        "the upper row of its bolts where the plate behind it stands on the side that the top leans to, under the lower row where it stands on the other"
                    }
                    None => "one row of its bolts",
                };
                format!("; a shim of {} under {row}; the rows are {} apart", u.show(shim_mm(slope, b)), u.show(b))
            });
            let side = side.map_or(String::new(), |(to, back)| {
                format!("; its top leans {to} the side that the lamp stood on, so move it {back}")
            });
            format!("square it {way} the passes by about {deg:.2} degrees, {}{side}{shim}", slope_words(slope))
        }
        None => format!("square it {way} the passes, with a dial on an arm in the spindle swept over the table"),
    };
    let left = measured.zip(d.plan.stepover_mm).and_then(|((h, _), s)| {
        let square = SQUARE_MM_PER_M / 1000.0;
        // The last place that heights are shown to.
        let least = if u == LengthUnit::In { 2.54 } else { 1.0 };
        let rest = match cause {
            Cause::TiltAcrossPasses => s * square,
            _ => cusp_height_mm(d.plan.cutter.diameter_mm? / 2.0, s)? * square,
        };
        Some(format!(
            "ridges fall from {} to under {} at the usual {SQUARE_MM_PER_M} mm per m",
            u.show_height(h),
            u.show_height((1000.0 * rest).ceil().max(least))
        ))
    });
    out.push(
        change(
            "spindle mount",
            None,
            to,
            "a spindle that stands square leaves no ridges with a flat cutter, whatever the stepover",
            Some("an hour once; check that nothing is loose first, a lean this large is rarely an adjustment"),
        )
        .leaves(left),
    );
    if across {
        out.push(stick_out());
    } else if let Some(s) = d.plan.stepover_mm {
        let left =
            measured.map(|(h, _)| format!("ridges fall from {} to about {}", u.show_height(h), u.show_height(h / 4.0)));
        let cost = cost::layer(d.plan).map_or("twice the time of the last layer".to_owned(), |l| l.more(1.0));
        out.push(
            change(
                "stepover",
                Some(u.show(s)),
                format!("{} until the spindle is square", u.show(s / 2.0)),
                "the ridges of a dished pass fall with the square of the stepover: half of it leaves a quarter",
                Some(&cost),
            )
            .pulls(Lever::SmallerStepover)
            .leaves(left),
        );
    }
    out
}
