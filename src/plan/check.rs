//! A second look at a read plan: what no cutter can do (error), what looks like a slip of the pen, what is missing.

use super::{PlannedCut, Shape};
use crate::caveat::{self, Caveat};
use crate::error::{Error, Result, Stage};
use crate::units::{LengthUnit, MM_PER_INCH};

/// Usual skim of a pocket floor, mm (0.005 to 0.010 in; common practice, no source).
pub const USUAL_SKIM_MM: (f64, f64) = (0.127, 0.254);
/// A skim above this is more likely a slip of the pen than meant, mm: over twice the usual upper end, and at half a
/// millimetre a skim is a roughing pass of its own.
const SKIM_LIMIT_MM: f64 = 0.6;
/// Cutters below this are micro tools that no routed pocket floor of hand size is cleared with, mm (common practice, no
/// source). 0.8 mm also parts a 1/4 or 1/2 inch number typed under mm from a 1 mm cutter.
const SMALLEST_CUTTER_MM: f64 = 0.8;
/// Cutters above this are not fitted to routers, mm (surfacing cutters end near 100; common practice, no source).
const LARGEST_CUTTER_MM: f64 = 120.0;
/// Feed per turn outside these is a slip, mm: below, a router bit only rubs; above, its gullets cannot clear the chip.
const FEED_PER_TURN_MM: (f64, f64) = (0.01, 4.0);
/// Router spindles turn between these, turns per minute, with room on either side (facts: 6 to 30 thousand).
const SPEED_RPM: (f64, f64) = (1000.0, 60_000.0);
/// Deepest pocket taken at its word, mm: deeper than any router bit reaches.
const DEEPEST_MM: f64 = 100.0;

/// Looks over a plan in millimetres; `name` is the file it came from.
///
/// Fails at [`Stage::Plan`] on what cannot be cut: a stepover above the diameter, a corner radius above half of it, a
/// pocket narrower than the cutter, a lamp above the zenith. Probable slips and missing keys come back as caveats.
pub fn check(plan: &PlannedCut, name: &str) -> Result<Vec<Caveat>> {
    impossible(plan, name)?;
    let mut out = slips(plan);
    out.extend(missing(plan));
    Ok(out)
}

fn impossible(plan: &PlannedCut, name: &str) -> Result<()> {
    let u = plan.units;
    let fail = |what: String, hint: &str| Err(Error::new(Stage::Plan, name, what, hint));
    let d = plan.cutter.diameter_mm;
    if let (Some(s), Some(d)) = (plan.stepover_mm, d)
        && s > d * (1.0 + 1e-9)
    {
        let (s, d) = (u.show(s), u.show(d));
        return fail(
            format!("the stepover ({s}) is larger than the cutter ({d}): stock would be left between passes"),
            "check both numbers and their units; as a share of the diameter write stepover = \"40%\"",
        );
    }
    for c in std::iter::once(&plan.cutter).chain(&plan.second_cutter) {
        if let (Some(r), Some(d)) = (c.corner_radius_mm, c.diameter_mm)
            && r > d / 2.0 * (1.0 + 1e-9)
        {
            return fail(
                format!("the corner radius ({}) is more than half the cutter ({})", u.show(r), u.show(d)),
                "a ball nose has a corner radius of half its diameter; no cutter has more",
            );
        }
    }
    if let (Some((w, h)), Some(d)) = (plan.pocket_mm, d)
        && w.min(h) < d
    {
        return fail(
            format!("the pocket ({} x {}) is narrower than the cutter ({})", u.show(w), u.show(h), u.show(d)),
            "check the pocket's width and height and their units",
        );
    }
    if plan.light_elevation_deg.is_some_and(|e| e > 90.0) {
        return fail("elevation_deg is above 90".into(), "give the lamp's height above the floor, 0 to 90 degrees");
    }
    Ok(())
}

fn slips(plan: &PlannedCut) -> Vec<Caveat> {
    let u = plan.units;
    let mut out = vec![];
    let d = plan.cutter.diameter_mm;
    if let Some(d) = d.filter(|d| *d < SMALLEST_CUTTER_MM || *d > LARGEST_CUTTER_MM) {
        let (n, other) = (d / u.in_mm(), if u == LengthUnit::Mm { "in" } else { "mm" });
        let meant = if u == LengthUnit::Mm { d * MM_PER_INCH } else { n };
        let tail = if (SMALLEST_CUTTER_MM..=LARGEST_CUTTER_MM).contains(&meant) {
            format!(
                "; {n} {other} would be a usual size, so the plan's numbers look like {other} under units = \"{u}\""
            )
        } else {
            String::new()
        };
        out.push(caveat::PLAN_SLIP_UNITS.with(format!("A cutter of {} is not a usual size{tail}.", u.show(d))));
    }
    if let Some(k) = plan.skim_mm.filter(|k| *k > SKIM_LIMIT_MM) {
        let ten = k / 10.0;
        let tail = if (USUAL_SKIM_MM.0 * 0.7..USUAL_SKIM_MM.1 * 1.5).contains(&ten) {
            format!(": perhaps {} was meant, the decimal point is one place off", u.show(ten))
        } else {
            String::new()
        };
        out.push(caveat::PLAN_SLIP_SKIM.with(format!(
            "A skim of {} is thick: {} to {} is usual{tail}.",
            u.show(k),
            u.show(USUAL_SKIM_MM.0),
            u.show(USUAL_SKIM_MM.1)
        )));
    }
    if let Some(p) = plan.stepover_percent.filter(|p| *p <= 1.0) {
        out.push(caveat::PLAN_SLIP_PERCENT.with(format!(
            "A stepover of {p} percent of the diameter is very small; if a fraction was meant, write {} percent.",
            p * 100.0
        )));
    }
    if let (Some(f), Some(n)) = (plan.feed_mm_min, plan.speed_rpm)
        && !(FEED_PER_TURN_MM.0..=FEED_PER_TURN_MM.1).contains(&(f / n))
    {
        out.push(caveat::PLAN_SLIP_FEED.with(format!(
            "Feed {} per minute at {n:.0} turns per minute is {} per turn, outside what router bits run at: check the feed's unit (it is per minute, in {u}).",
            u.show(f),
            u.show(f / n)
        )));
    }
    if let Some(n) = plan.speed_rpm.filter(|n| !(SPEED_RPM.0..=SPEED_RPM.1).contains(n)) {
        out.push(
            caveat::PLAN_SLIP_FEED
                .with(format!("A spindle speed of {n:.0} turns per minute is not usual on a router.")),
        );
    }
    if let Some(z) = plan.depth_mm.filter(|z| *z > DEEPEST_MM) {
        out.push(caveat::PLAN_SLIP_UNITS.with(format!("A pocket {} deep is beyond a router bit's reach.", u.show(z))));
    }
    if let (Some(shape), Some(r)) = (plan.cutter.shape, plan.cutter.corner_radius_mm) {
        let wrong = match shape {
            Shape::Flat => r > 0.2,
            Shape::BallNose => d.is_some_and(|d| (r - d / 2.0).abs() > 0.05 * d),
            Shape::BullNose => false,
        };
        if wrong {
            out.push(caveat::PLAN_SLIP_CUTTER.with(format!(
                "The plan names a {} cutter with a corner radius of {}; the corner radius was left aside.",
                shape.word(),
                u.show(r)
            )));
        }
    }
    out
}

/// One caveat that lists what is missing and what each absence costs.
fn missing(plan: &PlannedCut) -> Option<Caveat> {
    let c = &plan.cutter;
    let costs = [
        (
            c.diameter_mm.is_none(),
            "cutter diameter (strip widths, heights of ridges and corner radii cannot be set against it)",
        ),
        (plan.stepover_mm.is_none(), "stepover (a pitch cannot be called the plan's or not)"),
        (c.shape.is_none(), "cutter shape (cusps of a ball or bull nose and tilt marks of a flat one stay one group)"),
        (c.helix.is_none(), "helix (raised and sunken first passes cannot be told expected from odd)"),
        (plan.depth_mm.is_none(), "depth (the wall's shadow then gives no lamp height, and heights no micrometres)"),
        (plan.pattern.is_none(), "pattern (steps at turns are weighed for both patterns)"),
        (
            plan.feed_mm_min.is_none() || plan.speed_rpm.is_none(),
            "feed and speed (revolution marks have no expected pitch)",
        ),
        (plan.material.is_none(), "material (wood figure and torn fibre are weighed as for wood)"),
    ];
    let list: Vec<&str> = costs.iter().filter(|(absent, _)| *absent).map(|(_, t)| *t).collect();
    let bull = (c.shape == Some(Shape::BullNose) && c.corner_radius_mm.is_none())
        .then_some("corner radius of the bull nose (the height of its ridges stays open)");
    let list: Vec<&str> = list.into_iter().chain(bull).collect();
    (!list.is_empty()).then(|| caveat::PLAN_INCOMPLETE.with(format!("The plan does not give: {}.", list.join("; "))))
}

impl Shape {
    /// The word for a reader.
    pub fn word(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::BullNose => "bull-nose",
            Self::BallNose => "ball-nose",
        }
    }
}
