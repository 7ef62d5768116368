//! Sentences: the headline, one summary a finding, and what would settle an open question.

use super::Verdict;
use super::digest::{Digest, Line};
use super::findings::record;
use crate::expect::{Cause, planned_cusp_mm};
use crate::marks::Strip;

fn lines_seen(d: &Digest, l: &Line) -> String {
    let height = match l.family.height_um {
        Some(h) if h.value > 2.0 * h.sigma => format!(", about {} high", d.units.show_height(h.value)),
        _ => String::new(),
    };
    format!("even lines every {}{height}", d.show(l.family.pitch.value))
}

fn strip_seen(d: &Digest, s: &Strip) -> String {
    let side = if s.proud { "stands proud" } else { "lies deep" };
    let level = s.level_um.map_or(String::new(), |l| format!(" by about {}", d.units.show_height(l.value.abs())));
    format!("a strip {} wide {side}{level}", d.show(s.width.value))
}

/// What was seen that speaks for a cause, in a few words.
pub fn seen(d: &Digest, cause: Cause, line: Option<&Line>, strip: Option<&Strip>) -> Option<String> {
    let rings = d.marks.turns.as_ref().map_or(0, |t| t.places.len());
    if cause == Cause::TurnMarks && rings > 0 {
        return Some(format!("{rings} rings of the cutter's size"));
    }
    if cause == Cause::TurnMarks && d.bent.rings > 0.0 {
        return Some("arcs of the cutter's size".into());
    }
    if cause == Cause::EngagementSteps && d.bent.steps > 0.5 {
        return Some(format!("lines that bend with letters and walls, {} in all", d.show(d.bent.length)));
    }
    strip.map(|s| strip_seen(d, s)).or_else(|| line.map(|l| lines_seen(d, l))).or_else(|| {
        let h = d.loose.median_height_um.map_or(String::new(), |h| format!(", about {} high", d.units.show_height(h)));
        (!d.loose.indices.is_empty()).then(|| format!("{} single edges{h}", d.loose.indices.len()))
    })
}

/// One sentence for a finding.
pub fn summary(d: &Digest, cause: Cause, line: Option<&Line>, strip: Option<&Strip>) -> String {
    let line_of = record(cause).line;
    match cause {
        Cause::Clean => match d.fitness.limit_um {
            Some(h) => {
                format!("No ridge was seen; in this photo one of {} or more would have shown.", d.units.show_height(h))
            }
            None => "No ridge was seen in this photo.".into(),
        },
        Cause::CannotTell => match d.fitness.faults.first() {
            Some((what, _)) => format!("The photo does not decide it. {what}."),
            None => line_of.into(),
        },
        Cause::Cusps => match (line, line.and_then(|l| planned_cusp_mm(d.plan, l.family.pitch.value))) {
            (Some(l), Some(h)) if h > 5e-4 => format!(
                "Cusps of the {} cutter: {}; its geometry gives {} at that spacing.",
                d.plan.cutter.shape.map_or("round", |s| s.word()),
                lines_seen(d, l),
                d.units.show_height(1000.0 * h)
            ),
            (Some(l), _) => format!("{line_of} Seen: {}.", lines_seen(d, l)),
            _ => line_of.into(),
        },
        Cause::WoodFigure | Cause::FuzzOrTear | Cause::TurnMarks => line_of.into(),
        _ => seen(d, cause, line, strip).map_or(line_of.into(), |s| format!("{line_of} Seen: {s}.")),
    }
}

/// The headline.
pub fn headline(
    d: &Digest,
    verdict: Verdict,
    top: (Cause, f64),
    second: Option<Cause>,
    seen: Option<String>,
) -> String {
    let (cause, p) = top;
    let what = record(cause).title.to_lowercase();
    let mut seen = seen.unwrap_or_else(|| "marks".into());
    if let Some(first) = seen.get(..1) {
        seen = first.to_uppercase() + &seen[1..];
    }
    let sure = sureness(p);
    match verdict {
        Verdict::NoneSeen => summary(d, Cause::Clean, None, None),
        Verdict::CannotTell if cause == Cause::CannotTell => summary(d, Cause::CannotTell, None, None),
        Verdict::CannotTell => format!(
            "{seen}, but this photo does not decide between {what}{}.",
            second.map_or(" and other causes".into(), |s| format!(" and {}", record(s).title.to_lowercase()))
        ),
        Verdict::Both => format!(
            "Two things at once: {what}, and {} ({}).",
            second.map_or("deflection steps".into(), |s| record(s).title.to_lowercase()),
            seen.to_lowercase()
        ),
        Verdict::Other if matches!(cause, Cause::WoodFigure | Cause::FuzzOrTear) => {
            format!("No ridges of the cutter stand out; what shows is {sure} {what}.")
        }
        _ => format!("{seen}: {sure} {what}."),
    }
}

/// A probability in words.
pub fn sureness(p: f64) -> &'static str {
    match p {
        p if p >= 0.9 => "very likely",
        p if p >= 0.75 => "likely",
        p if p >= 0.5 => "more likely than not",
        _ => "perhaps",
    }
}
