//! The short text for the terminal: about a dozen lines a person can act on.

use super::{Inspection, words};
use crate::units::Measured;
use std::fmt::Write;

/// Findings shown; the page has them all.
const MOST_FINDINGS: usize = 3;
/// Caveats shown; likewise.
const MOST_CAVEATS: usize = 3;
/// A second or third finding under this probability is not worth a line here.
const LEAST: f64 = 0.05;

/// The text, ending in a line break; the caller adds where the report lies.
pub fn text(i: &Inspection) -> String {
    let e = &i.explanation;
    let mut out = format!("{}\n\n", e.headline);
    let mut row = |name: &str, value: String| {
        let _ = writeln!(out, "  {name:<9} {value}");
    };
    row("spacing", spacing(i));
    if let Some(h) = ridge_height(i) {
        row("height", words::height(i.plan.units, h));
    }
    for s in i.marks.strips.iter().take(1) {
        row("strip", super::numbers::strip(i, s));
    }
    if let Some(r) = i.marks.rim.ragged {
        row("rim", format!("{} of it ragged", words::plus_minus(r.scaled(100.0), "%")));
    }
    row("scale", words::scale(i));
    row("lamp", words::lamp(i));
    out.push('\n');
    for (n, f) in e.findings.iter().take(MOST_FINDINGS).enumerate() {
        if n == 0 || f.probability >= LEAST {
            let _ = writeln!(out, "  {:>4}  {}: {}", words::percent(f.probability), words::cause(f.id), f.summary);
        }
    }
    if let Some(c) = e.findings.first().and_then(|f| f.changes.first()) {
        let from = c.from.as_deref().map(|f| format!("from {f} ")).unwrap_or_default();
        let _ = writeln!(out, "\nchange first: {}: {from}to {} ({})", c.what, c.to, c.why);
    }
    if let Some(r) = &e.retake {
        let _ = writeln!(out, "\nbetter photo: {}", r.advice.first().map_or("see the report", String::as_str));
    } else if let Some(s) = &e.would_settle {
        let _ = writeln!(out, "\nto be sure: {s}");
    }
    for c in i.caveats.iter().take(MOST_CAVEATS) {
        let _ = writeln!(out, "note: {}", c.text);
    }
    if i.caveats.len() > MOST_CAVEATS {
        let _ = writeln!(out, "note: {} more in the report", i.caveats.len() - MOST_CAVEATS);
    }
    out
}

/// The strongest family against the planned stepover.
fn spacing(i: &Inspection) -> String {
    let planned = i.explanation.comparison.planned_stepover_mm.map(|s| i.plan.units.show(s));
    let found = i.marks.families.first().map(|f| words::length(i, f.pitch));
    match (found, planned) {
        (Some(f), Some(p)) => format!("{f} (planned stepover {p})"),
        (Some(f), None) => f,
        (None, Some(p)) => format!("no evenly spaced lines (planned stepover {p})"),
        (None, None) => "no evenly spaced lines".into(),
    }
}

fn ridge_height(i: &Inspection) -> Option<Measured> {
    i.marks.families.first().and_then(|f| f.height_um).or(i.marks.quality.height_p95_um)
}
