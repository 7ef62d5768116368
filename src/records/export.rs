//! Records as bytes: CSV and JSON for other programs, a table and a page of text for the terminal.

use super::{Record, Stored};
use crate::report::{height, length_in, plus_minus};
use crate::units::{LengthUnit, Measured};
use serde_json::{Value, json};
use std::fmt::Write;

/// RFC 4180, one record a line, units in the names of the columns; what is not known stays empty.
pub fn csv(records: &[Record]) -> String {
    let head = [
        "id",
        "date",
        "recorded_at",
        "revision",
        "file",
        "photo_sha256",
        "inputs_sha256",
        "program_version",
        "job",
        "machine",
        "cutter",
        "material",
        "verdict",
        "headline",
        "top_finding",
        "top_probability",
        "pitch_mm",
        "pitch_mm_sigma",
        "height_p95_um",
        "height_p95_um_sigma",
        "visible_lines_per_10mm",
        "ridge_contrast",
        "mm_per_px",
        "mm_per_px_sigma",
    ];
    let mut out = csv::Writer::from_writer(vec![]);
    // Writing to memory does not fail.
    let _ = out.write_record(head);
    for r in records {
        let number = |v: Option<f64>| v.map(|v| v.to_string()).unwrap_or_default();
        let text = |v: &Option<String>| v.clone().unwrap_or_default();
        let pair = |m: Option<Measured>| [number(m.map(|m| m.value)), number(m.map(|m| m.sigma))];
        let mut row = vec![
            r.id.to_string(),
            r.date.clone(),
            r.recorded_at.clone(),
            r.revision.to_string(),
            r.file.clone(),
            r.photo_sha256.clone(),
            r.inputs_sha256.clone(),
            r.program_version.clone(),
            text(&r.job),
            text(&r.machine),
            text(&r.cutter),
            text(&r.material),
            r.verdict.clone(),
            r.headline.clone(),
            r.findings[0]["id"].as_str().unwrap_or_default().to_owned(),
            number(r.probability),
        ];
        row.extend(pair(r.pitch_mm));
        row.extend(pair(r.height_p95_um));
        row.extend([number(r.visible_lines_per_10mm), number(r.ridge_contrast)]);
        row.extend(pair(r.mm_per_px));
        let _ = out.write_record(row);
    }
    out.into_inner().ok().and_then(|b| String::from_utf8(b).ok()).unwrap_or_default()
}

/// The records as a JSON list, names as in the CSV, measured values as {value, sigma}.
pub fn json(records: &[Record]) -> Value {
    json!(records)
}

/// The most a name or verdict takes in the table; longer ones are cut.
const WIDEST: usize = 24;

/// A table for the terminal: one record a line.
pub fn table(records: &[Record], unit: LengthUnit) -> String {
    let known = |v: &Option<String>| v.clone().unwrap_or("-".into());
    let rows = records.iter().map(|r| {
        [
            r.id.to_string(),
            r.date.chars().take(10).collect(),
            known(&r.job),
            known(&r.machine),
            known(&r.cutter),
            known(&r.material),
            r.probability.map_or(r.verdict.clone(), |p| format!("{} {:.0}%", r.verdict, p * 100.0)),
            r.pitch_mm.map_or("-".into(), |p| length_in(unit, p)),
            r.height_p95_um.map_or("-".into(), |h| height(unit, h)),
            if r.revision > 1 { format!("{} (revision {})", r.file, r.revision) } else { r.file.clone() },
        ]
    });
    let head = ["no", "date", "job", "machine", "cutter", "material", "verdict", "spacing", "height", "photo"];
    let rows: Vec<[String; 10]> = std::iter::once(head.map(str::to_owned)).chain(rows).collect();
    let width = |c: usize| rows.iter().map(|r| r[c].chars().count().min(WIDEST)).max().unwrap_or(0);
    let widths: Vec<usize> = (0..10).map(width).collect();
    let mut out = String::new();
    for row in &rows {
        let mut line = String::new();
        for (c, text) in row.iter().enumerate() {
            let cut: String = if c == 9 { text.clone() } else { text.chars().take(WIDEST).collect() };
            let _ = write!(line, "{cut:<w$}  ", w = if c == 9 { 0 } else { widths[c] });
        }
        out += line.trim_end();
        out.push('\n');
    }
    out
}

/// One record in full, for the terminal.
pub fn one(s: &Stored, unit: LengthUnit) -> String {
    let r = &s.record;
    let mut out = format!("{}\n\n", r.headline);
    let mut row = |name: &str, value: Option<String>| {
        let _ = writeln!(out, "  {name:<10} {}", value.unwrap_or("not known".into()));
    };
    row("record", Some(format!("{}, recorded {}, program {}", r.id, r.recorded_at, r.program_version)));
    row("photo", Some(format!("{}, {}, revision {}", r.file, r.date, r.revision)));
    row("sha-256", Some(r.photo_sha256.clone()));
    row("job", r.job.clone());
    row("machine", r.machine.clone());
    row("cutter", r.cutter.clone());
    row("material", r.material.clone());
    row("verdict", Some(r.verdict.clone()));
    row("spacing", r.pitch_mm.map(|p| length_in(unit, p)));
    row("height", r.height_p95_um.map(|h| height(unit, h)));
    row("lines", r.visible_lines_per_10mm.map(|v| format!("{v:.2} visible per 10 mm")));
    row("contrast", r.ridge_contrast.map(|v| format!("{:.1} %", v * 100.0)));
    row("scale", r.mm_per_px.map(|m| plus_minus(m, "mm per pixel")));
    out.push('\n');
    for f in r.findings.as_array().into_iter().flatten().take(3) {
        let (p, id) = (f["probability"].as_f64().unwrap_or(0.0), f["id"].as_str().unwrap_or("?"));
        let _ = writeln!(out, "  {:>3.0}%  {id}: {}", p * 100.0, f["summary"].as_str().unwrap_or_default());
    }
    if let Some(plan) = &s.plan_text {
        let _ = write!(out, "\nplan as it was written:\n\n{}\n", plan.trim_end());
    }
    out
}
