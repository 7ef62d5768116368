//! Changes against marks along the feed: runout, feed, speed.

use super::super::Change;
use super::super::digest::{Digest, Line};
use super::{Lever, change};
use crate::expect::cost;
use crate::expect::physics::{feed_per_tooth_mm, feed_per_turn_mm, vibration_hz};
use crate::plan::Material;

/// Relative change of spindle speed worth a first try against chatter (common practice, no source).
const SPEED_TRY: f64 = 0.15;

pub(super) fn slower_feed(d: &Digest, why: &str) -> Change {
    let from = d.plan.feed_mm_min.map(|f| format!("{} per minute", d.units.show(f)));
    let to = d
        .plan
        .feed_mm_min
        .map_or("two thirds of the feed".to_owned(), |f| format!("{} per minute", d.units.show(f * 2.0 / 3.0)));
    let cost = cost::layer(d.plan).map_or("half as much time again".to_owned(), |l| l.more(0.5));
    change("feed of the last layer", from, to, why, Some(&format!("{cost}; too slow a feed rubs and burns")))
        .pulls(Lever::SlowerFeed)
        .leaves("marks two thirds as far apart and less than half as high".to_owned())
}

pub(super) fn turn(d: &Digest) -> Vec<Change> {
    let rates = d.plan.feed_mm_min.zip(d.plan.speed_rpm);
    let per_turn = rates.map(|(f, n)| feed_per_turn_mm(f, n));
    let tooth = rates.zip(d.plan.cutter.flutes.filter(|z| *z > 1)).map(|((f, n), z)| (feed_per_tooth_mm(f, n, z), z));
    let why = match (per_turn, tooth) {
        (Some(p), Some((t, _))) => format!(
            "marks {} apart come from one edge that cuts alone; that happens once the runout is near the feed per tooth, {}",
            d.units.show(p),
            d.units.show(t)
        ),
        (Some(p), None) => format!("marks {} apart come from one edge that cuts alone", d.units.show(p)),
        _ => "one edge then no longer cuts alone".to_owned(),
    };
    let left = tooth.map(|(t, z)| format!("marks {} apart and {} times lower", d.units.show(t), z * z));
    vec![
        change(
            "runout",
            None,
            "clean bit, collet and taper, turn the bit in the collet, measure with a dial: under 0.025 mm (0.001 in)"
                .into(),
            why,
            Some("ten minutes with a dial"),
        )
        .leaves(left),
        slower_feed(d, "the marks come closer and get lower, with the square of the feed"),
    ]
}

pub(super) fn chatter(d: &Digest, line: Option<&Line>) -> Vec<Change> {
    let hz = line.filter(|_| d.scaled).zip(d.plan.feed_mm_min).map(|(l, f)| vibration_hz(f, l.family.pitch.value));
    let why = hz.map_or("ripples follow one frequency of bit, mount or work".to_owned(), |f| {
        format!("at the planned feed these ripples are {f:.0} vibrations a second; another speed leaves that resonance")
    });
    let speed = d.plan.speed_rpm.map(|n| {
        change(
            "spindle speed",
            Some(format!("{n:.0} turns per minute")),
            format!("{:.0} or {:.0} turns per minute", n * (1.0 - SPEED_TRY), n * (1.0 + SPEED_TRY)),
            why.clone(),
            Some("a test cut; stay within the cutter maker's limit"),
        )
    });
    let clamp = change(
        "clamping and stick-out",
        None,
        "hold the work down close to the cut, shorten the bit's stick-out, check the spindle mount for play".into(),
        why,
        None,
    );
    let soft = d.plan.material == Some(Material::Plywood) || d.plan.material == Some(Material::Plastic);
    let flat = soft.then(|| {
        change(
            "support",
            None,
            "support thin stock over its whole area".into(),
            "a sheet that rings makes ripples too",
            None,
        )
    });
    speed.into_iter().chain([clamp]).chain(flat).collect()
}
