//! What a book is asked for.

use super::Book;
use crate::error::{Error, Result, Stage};
use crate::units::Measured;
use rusqlite::{OptionalExtension, Row, params_from_iter};
use serde::Serialize;
use serde_json::Value;

/// Which records are meant; `None` = any. Names and words match whole, in either case.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Filter {
    pub job: Option<String>,
    pub material: Option<String>,
    pub cutter: Option<String>,
    pub machine: Option<String>,
    pub verdict: Option<String>,
    /// First and last day, `YYYY-MM-DD`.
    pub since: Option<String>,
    pub until: Option<String>,
}

/// One kept inspection without its report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Record {
    pub id: i64,
    /// When the photo was taken (the camera's own clock), or where the file does not say, when it was recorded (UTC).
    pub date: String,
    pub recorded_at: String,
    /// 1 for the first inspection of this photo that the book has, and so on.
    pub revision: i64,
    pub file: String,
    pub photo_sha256: String,
    pub inputs_sha256: String,
    pub program_version: String,
    pub job: Option<String>,
    pub machine: Option<String>,
    pub cutter: Option<String>,
    pub material: Option<String>,
    pub verdict: String,
    pub headline: String,
    /// Of the first finding.
    pub probability: Option<f64>,
    pub pitch_mm: Option<Measured>,
    pub height_p95_um: Option<Measured>,
    pub visible_lines_per_10mm: Option<f64>,
    pub ridge_contrast: Option<f64>,
    pub mm_per_px: Option<Measured>,
    pub findings: Value,
}

/// A record with everything that is kept of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stored {
    pub record: Record,
    pub plan_text: Option<String>,
    pub report_json: String,
    pub report_html: String,
    pub thumbnail_jpeg: Vec<u8>,
}

/// A figure that can be followed over time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Figure {
    /// Spacing of the strongest lines.
    Pitch,
    /// Height that 95 % of the marks stay under.
    Height,
    /// Visible lines per 10 mm.
    Lines,
    /// Brightness contrast of the marks (depends on the lamp).
    Contrast,
    /// Millimetres per pixel.
    Scale,
}

impl Figure {
    /// The figure of one record; a sigma of 0 where none is kept.
    pub fn of(self, r: &Record) -> Option<Measured> {
        let bare = |v: Option<f64>| v.map(|value| Measured { value, sigma: 0.0 });
        match self {
            Self::Pitch => r.pitch_mm,
            Self::Height => r.height_p95_um,
            Self::Lines => bare(r.visible_lines_per_10mm),
            Self::Contrast => bare(r.ridge_contrast),
            Self::Scale => r.mm_per_px,
        }
    }
    pub fn title(self) -> &'static str {
        match self {
            Self::Pitch => "spacing of the strongest lines, mm",
            Self::Height => "ridge height, \u{b5}m",
            Self::Lines => "visible lines per 10 mm",
            Self::Contrast => "contrast of the marks, %",
            Self::Scale => "scale, mm per pixel",
        }
    }
    /// What the value is times for showing: contrast goes in per cent.
    pub fn factor(self) -> f64 {
        if self == Self::Contrast { 100.0 } else { 1.0 }
    }
}

/// One value on a time axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Days since 1970-01-01.
    pub day: f64,
    pub value: Measured,
}

/// One row a record, numbered in the order a photo's inspections were recorded.
const RECORDS: &str = "
SELECT * FROM (
    SELECT i.id, coalesce(p.taken, i.recorded_at) AS date, i.recorded_at,
        row_number() OVER (PARTITION BY i.photo_sha256 ORDER BY i.recorded_at, i.id) AS revision,
        p.file, i.photo_sha256, i.inputs_sha256, i.program_version, i.job, i.machine, i.cutter, i.material, i.verdict,
        i.headline, i.pitch_mm, i.pitch_mm_sigma, i.height_p95_um, i.height_p95_um_sigma, i.visible_lines_per_10mm,
        i.ridge_contrast, i.mm_per_px, i.mm_per_px_sigma, i.findings_json, i.probability
    FROM inspection i JOIN photo p ON p.sha256 = i.photo_sha256
)";

impl Book {
    /// Records that pass the filter, oldest first. Fails at [`Stage::Arguments`] on a day that is none, and at
    /// [`Stage::Records`] when the book cannot be read.
    pub fn list(&self, filter: &Filter) -> Result<Vec<Record>> {
        let day = |option: &str, text: &Option<String>| -> Result<Option<String>> {
            let Some(t) = text else { return Ok(None) };
            let read: jiff::civil::Date = t.trim().parse().map_err(|_| {
                let hint = "write a day as year-month-day, such as 2026-03-31";
                Error::new(Stage::Arguments, option, format!("'{t}' is no day"), hint)
            })?;
            Ok(Some(read.to_string()))
        };
        let wishes = [
            ("job = ? COLLATE NOCASE", filter.job.clone()),
            ("material = ? COLLATE NOCASE", filter.material.clone()),
            ("cutter = ? COLLATE NOCASE", filter.cutter.clone()),
            ("machine = ? COLLATE NOCASE", filter.machine.clone()),
            ("verdict = ? COLLATE NOCASE", filter.verdict.clone()),
            ("substr(date, 1, 10) >= ?", day("--since", &filter.since)?),
            ("substr(date, 1, 10) <= ?", day("--until", &filter.until)?),
        ];
        let (terms, values): (Vec<&str>, Vec<String>) =
            wishes.into_iter().filter_map(|(term, value)| Some((term, value?))).unzip();
        let all = if terms.is_empty() { String::new() } else { format!(" WHERE {}", terms.join(" AND ")) };
        let mut ask = self.db.prepare(&format!("{RECORDS}{all} ORDER BY date, id")).map_err(|e| self.fail(&e))?;
        let rows = ask.query_map(params_from_iter(values), record).map_err(|e| self.fail(&e))?;
        rows.collect::<rusqlite::Result<_>>().map_err(|e| self.fail(&e))
    }

    /// Everything kept under one number. Fails at [`Stage::Records`] when the book has no such record.
    pub fn get(&self, id: i64) -> Result<Stored> {
        let found = || -> rusqlite::Result<Option<Stored>> {
            let one = self.db.query_row(&format!("{RECORDS} WHERE id = ?"), [id], record).optional()?;
            let Some(record) = one else { return Ok(None) };
            let sql = "SELECT plan_text, report_json, report_html, thumbnail_jpeg FROM inspection i
                       JOIN photo p ON p.sha256 = i.photo_sha256 WHERE i.id = ?";
            self.db.query_row(sql, [id], |r| {
                Ok(Some(Stored {
                    record,
                    plan_text: r.get(0)?,
                    report_json: r.get(1)?,
                    report_html: r.get(2)?,
                    thumbnail_jpeg: r.get(3)?,
                }))
            })
        };
        found().map_err(|e| self.fail(&e))?.ok_or_else(|| {
            let hint = "records list BOOK shows the numbers there are";
            Error::new(Stage::Records, self.name.clone(), format!("has no record {id}"), hint)
        })
    }
}

fn record(r: &Row) -> rusqlite::Result<Record> {
    let measured = |at: usize| -> rusqlite::Result<Option<Measured>> {
        Ok(r.get::<_, Option<f64>>(at)?.zip(r.get(at + 1)?).and_then(|(v, s)| Measured::new(v, s)))
    };
    Ok(Record {
        id: r.get(0)?,
        date: r.get(1)?,
        recorded_at: r.get(2)?,
        revision: r.get(3)?,
        file: r.get(4)?,
        photo_sha256: r.get(5)?,
        inputs_sha256: r.get(6)?,
        program_version: r.get(7)?,
        job: r.get(8)?,
        machine: r.get(9)?,
        cutter: r.get(10)?,
        material: r.get(11)?,
        verdict: r.get(12)?,
        headline: r.get(13)?,
        probability: r.get(23)?,
        pitch_mm: measured(14)?,
        height_p95_um: measured(16)?,
        visible_lines_per_10mm: r.get(18)?,
        ridge_contrast: r.get(19)?,
        mm_per_px: measured(20)?,
        findings: serde_json::from_str(&r.get::<_, String>(22)?).unwrap_or_default(),
    })
}

impl Record {
    /// Days from 1970-01-01 to `date`; `None` where the date cannot be read.
    pub fn day(&self) -> Option<f64> {
        let text = self.date.trim_end_matches('Z');
        let at: jiff::civil::DateTime = text.parse().ok()?;
        let seconds = jiff::tz::Offset::UTC.to_timestamp(at).ok()?.as_second();
        Some(seconds as f64 / 86_400.0)
    }
}
