//! Two looks at a floor, before and after a change: what is lower, what went, what stayed, what is new, and whether the
//! difference is more than the doubt of the two measurements.
//!
//! Works on what report.json says ([`Side`]), so that photos and earlier reports are compared by the same numbers. The two
//! measurements are taken as independent; a card or lamp that both share makes the true doubt of the difference smaller,
//! never larger. Sigma counts follow the normal distribution.

mod judge;
mod lamp;
mod marks;
mod page;
mod side;

pub use judge::{Difference, Judged, chance};
pub use lamp::Lamps;
pub use marks::{Fate, MarkPair};
pub use page::{Pictures, html, text};
pub use side::{Kind, Mark, Side};

use crate::units::{LengthUnit, Measured};
use serde::Serialize;

/// Raised only when a key changes its meaning or goes away.
pub const COMPARISON_VERSION: u32 = 1;

/// Both sides and what came of setting them against each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    pub comparison_version: u32,
    pub before: Side,
    pub after: Side,
    /// One sentence.
    pub headline: String,
    pub height_um: Difference,
    pub visible_lines_per_10mm: Difference,
    /// Bare contrast with what the lamps alone would change in it; never judged by itself.
    pub lamps: Lamps,
    pub marks: Vec<MarkPair>,
    /// What limits the comparison, in sentences.
    pub limits: Vec<String>,
}

/// Sets two reports against each other; never fails: what cannot be compared is said.
pub fn compare(before: Side, after: Side, unit: LengthUnit) -> Compared {
    let lamps = lamp::compare(&before, &after);
    let marks = marks::pair(&before, &after);
    let height_um = height(&before, &after);
    let lines = judge::both(lines_of(&before), lines_of(&after)).unwrap_or_else(|| {
        let why = match (&before.mm_per_px, &after.mm_per_px) {
            (Some(_), Some(_)) => "no evenly spaced lines are visible on one of them; see which went or are new",
            _ => "one of them has no scale",
        };
        judge::open(lines_of(&before), lines_of(&after), why)
    });
    let headline = headline(&before, &after, &height_um, &marks, unit);
    let limits = limits(&before, &after, &lamps, unit);
    Compared {
        comparison_version: COMPARISON_VERSION,
        before,
        after,
        headline,
        height_um,
        visible_lines_per_10mm: lines,
        lamps,
        marks,
        limits,
    }
}

/// Visible lines per 10 mm with the sigma of the spacing they follow from.
fn lines_of(s: &Side) -> Option<Measured> {
    let pitch = s.visible_pitch_mm?;
    Measured::new(10.0 / pitch.value, 10.0 * pitch.sigma / (pitch.value * pitch.value))
}

fn height(before: &Side, after: &Side) -> Difference {
    if let Some(d) = judge::both(before.cut_height_um(), after.cut_height_um()) {
        return d;
    }
    let known = |s: &Side| s.cut_height_um().is_some();
    match (known(before), known(after)) {
        (true, false) => judge::fell(before, after),
        (false, true) => judge::fell(after, before).turned(),
        _ => judge::open(None, None, "no ridge height is known on either"),
    }
}

fn headline(before: &Side, after: &Side, height: &Difference, marks: &[MarkPair], unit: LengthUnit) -> String {
    let show = |m: Option<Measured>| m.map_or("nothing that shows".into(), |h| crate::report::height(unit, h));
    let (a, b) = (show(height.before), show(height.after));
    let sure = |d: &Difference| d.sigmas.map_or(String::new(), |s| format!(" ({:.1} sigma)", s.abs()));
    let gone = |fate: Fate| marks.iter().filter(|m| m.fate == fate).count();
    let more = match (gone(Fate::Went), gone(Fate::New)) {
        (0, 0) => String::new(),
        (w, 0) => format!(" {} went.", mark_count(w)),
        (0, n) => format!(" {} new.", mark_count(n)),
        (w, n) => format!(" {} went, {n} new.", mark_count(w)),
    };
    let first = match height.judged {
        Judged::Less => format!("The ridges are lower: {a} before, {b} after{}.", sure(height)),
        Judged::More => format!("The ridges are higher: {a} before, {b} after{}.", sure(height)),
        Judged::MaybeLess => {
            format!("The ridges may be lower, which is not certain: {a} before, {b} after{}.", sure(height))
        }
        Judged::MaybeMore => {
            format!("The ridges may be higher, which is not certain: {a} before, {b} after{}.", sure(height))
        }
        Judged::Alike => format!("No difference in height beyond the doubt: {a} before, {b} after{}.", sure(height)),
        Judged::Open => "Whether the ridges changed in height cannot be told.".to_owned(),
    };
    let same = if before.sha256 == after.sha256 { " Both are the same photo." } else { "" };
    first + &more + same
}

fn mark_count(n: usize) -> String {
    if n == 1 { "One kind of mark".into() } else { format!("{n} kinds of marks") }
}

fn limits(before: &Side, after: &Side, lamps: &Lamps, unit: LengthUnit) -> Vec<String> {
    let mut out = vec![lamps.words()];
    for (when, s) in [("before", before), ("after", after)] {
        match s.mm_per_px {
            None => out.push(format!(
                "The photo {when} has no scale: spacing, heights and lines per 10 mm cannot be compared, only what kind of marks there are."
            )),
            Some(m) if m.relative_sigma() > POOR_SCALE => out.push(format!(
                "The scale of the photo {when} is known to {:.1} % only; that doubt is part of every sigma here.",
                100.0 * m.relative_sigma()
            )),
            Some(_) => {}
        }
        if s.fitness.as_deref() == Some("retake") {
            out.push(format!("The photo {when} should be taken again: what it does not show may still be there."));
        }
    }
    if let (Some(a), Some(b)) = (before.detectable_height_um, after.detectable_height_um)
        && (a / b).max(b / a) > UNLIKE_EYES
    {
        out.push(format!(
            "The photos do not see equally well: the smallest even ridges they can show are about {} before and {} after.",
            unit.show_height(a),
            unit.show_height(b)
        ));
    }
    if let (Some(a), Some(b)) = (before.planned_stepover_mm, after.planned_stepover_mm)
        && (a / b - 1.0).abs() > 0.005
    {
        out.push(format!(
            "The planned stepover changed from {} to {}: other spacing and height are to be expected.",
            unit.show(a),
            unit.show(b)
        ));
    }
    out
}

/// Relative sigma of a scale above which it is pointed out: 1 %, the width of one line in a hundred. Below it other
/// doubts rule (a height's own is 10 % and more); above it the scale may decide.
const POOR_SCALE: f64 = 0.01;
/// Ratio of what two photos can show from which the difference is pointed out. Two photos with one set-up stay under 1.5;
/// at 2 a ridge plain in one may be missing in the other.
const UNLIKE_EYES: f64 = 2.0;

impl Compared {
    /// As JSON: measured values are {value, sigma}, null is "not known".
    pub fn json(&self) -> serde_json::Value {
        serde_json::to_value(self).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests;
