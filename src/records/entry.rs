//! One inspection into the book.

use super::Book;
use crate::error::{Error, Result, Stage};
use crate::plan::{Names, PlannedCut};
use crate::units::LengthUnit;
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params};
use serde_json::Value;

/// What is kept of one inspection.
#[derive(Debug)]
pub struct Entry<'a> {
    /// report.json.
    pub report: &'a Value,
    pub html: &'a str,
    /// A small JPEG made from the photo's pixels, never a piece of the file.
    pub thumbnail: &'a [u8],
    pub plan: &'a PlannedCut,
    /// The plan file as it was written, where there was one.
    pub plan_text: Option<&'a str>,
}

impl<'a> Entry<'a> {
    /// An entry without the plan's own text.
    pub fn of(report: &'a Value, html: &'a str, thumbnail: &'a [u8], plan: &'a PlannedCut) -> Self {
        Self { report, html, thumbnail, plan, plan_text: None }
    }
}

/// What came of adding.
#[derive(Debug, Clone, PartialEq)]
pub enum Added {
    /// Kept under this number.
    New(i64),
    /// The same inspection is there already, under this number. `left`: names that it carries there and that were asked
    /// for otherwise, in words.
    Known { id: i64, left: Vec<String> },
}

/// Names of an inspection in the book, in one order everywhere.
const NAMES: [&str; 3] = ["job", "machine", "cutter"];

impl Book {
    /// Keeps one inspection. The same photo, inputs and program version are not kept twice: then only names that are
    /// missing in the book are filled in, or with `rename` replaced.
    ///
    /// Fails at [`Stage::Records`] when the book cannot be written, or on a report that lacks what makes it known again.
    pub fn add(&mut self, entry: &Entry, rename: bool) -> Result<Added> {
        let name = self.name.clone();
        let text = |at: &str| {
            entry.report.pointer(at).and_then(Value::as_str).ok_or_else(|| {
                let hint = "make the report anew with this program";
                Error::new(Stage::Records, name.clone(), format!("a report without {at} cannot be kept"), hint)
            })
        };
        let key = [text("/photo/sha256")?, text("/inputs_sha256")?, text("/program/version")?];
        let (file, verdict, headline) = (text("/photo/file")?, text("/verdict")?, text("/headline")?);
        let names = names(entry.plan);
        let put = |tx: &Transaction| -> rusqlite::Result<Added> {
            if let Some(id) = find(tx, key)? {
                return Ok(Added::Known { id, left: name_again(tx, id, &names, rename)? });
            }
            let r = Values(entry.report);
            tx.execute(
                "INSERT OR IGNORE INTO photo VALUES (?, ?, ?, ?, ?, ?, ?)",
                params![
                    key[0],
                    file,
                    r.number("/photo/width_px"),
                    r.number("/photo/height_px"),
                    r.text("/photo/taken"),
                    r.text("/photo/camera"),
                    entry.thumbnail
                ],
            )?;
            tx.execute(
                "INSERT INTO inspection (photo_sha256, inputs_sha256, program_version, recorded_at, job, machine, cutter,
                    material, plan_text, plan_json, verdict, headline, findings_json, pitch_mm, pitch_mm_sigma,
                    height_p95_um, height_p95_um_sigma, visible_lines_per_10mm, ridge_contrast, mm_per_px,
                    mm_per_px_sigma, report_json, report_html, probability)
                 VALUES (?1, ?2, ?3, strftime('%Y-%m-%dT%H:%M:%SZ', 'now'), ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13,
                    ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23)",
                params![
                    key[0],
                    key[1],
                    key[2],
                    names[0],
                    names[1],
                    names[2],
                    entry.plan.material.map(|m| word(&m)),
                    entry.plan_text,
                    json(entry.plan),
                    verdict,
                    headline,
                    json(&entry.report["findings"]),
                    r.number("/marks/families/0/pitch_mm/value"),
                    r.number("/marks/families/0/pitch_mm/sigma"),
                    r.number("/marks/quality/height_p95_um/value"),
                    r.number("/marks/quality/height_p95_um/sigma"),
                    r.number("/marks/quality/visible_lines_per_10mm"),
                    r.number("/marks/quality/ridge_contrast"),
                    r.number("/scale/mm_per_px/value"),
                    r.number("/scale/mm_per_px/sigma"),
                    json(entry.report),
                    entry.html,
                    r.number("/findings/0/probability")
                ],
            )?;
            Ok(Added::New(tx.last_insert_rowid()))
        };
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate);
        tx.and_then(|tx| put(&tx).and_then(|a| tx.commit().map(|()| a))).map_err(|e| self.fail(&e))
    }

    /// The number of the inspection of this photo with these inputs by this program, where the book has it.
    pub fn holds(&self, photo_sha256: &str, inputs_sha256: &str) -> Result<Option<i64>> {
        find(&self.db, [photo_sha256, inputs_sha256, env!("CARGO_PKG_VERSION")]).map_err(|e| self.fail(&e))
    }
}

fn find(db: &rusqlite::Connection, key: [&str; 3]) -> rusqlite::Result<Option<i64>> {
    let sql = "SELECT id FROM inspection WHERE photo_sha256 = ? AND inputs_sha256 = ? AND program_version = ?";
    db.query_row(sql, key, |r| r.get(0)).optional()
}

/// Fills in or replaces names of a kept inspection; gives those that were left against the wish, in words.
fn name_again(tx: &Transaction, id: i64, names: &[Option<String>; 3], rename: bool) -> rusqlite::Result<Vec<String>> {
    let mut left = vec![];
    for (column, wished) in NAMES.iter().zip(names) {
        let Some(wished) = wished else { continue };
        let select = format!("SELECT {column} FROM inspection WHERE id = ?");
        match tx.query_row(&select, [id], |r| r.get::<_, Option<String>>(0))? {
            Some(there) if there == *wished => {}
            Some(there) if !rename => left.push(format!("{column} stays '{there}', not '{wished}'")),
            _ => {
                tx.execute(&format!("UPDATE inspection SET {column} = ? WHERE id = ?"), params![wished, id])?;
            }
        }
    }
    Ok(left)
}

/// Job, machine, cutter. A cutter without a name goes by what it is, so that records can still be told apart by it.
fn names(plan: &PlannedCut) -> [Option<String>; 3] {
    let Names { job, machine, cutter } = plan.names.clone();
    [job, machine, cutter.or_else(|| describe(plan))]
}

fn describe(plan: &PlannedCut) -> Option<String> {
    let c = &plan.cutter;
    let size = c.diameter_mm.map(|d| LengthUnit::show(plan.units, d));
    let words = [size, c.shape.map(|s| word(&s)), c.helix.map(|h| word(&h))];
    let words: Vec<String> = words.into_iter().flatten().collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// The word an enum is written as in plan and report.
fn word(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

fn json(value: &impl serde::Serialize) -> String {
    serde_json::to_string(value).unwrap_or_else(|_| "null".into())
}

/// Values of a report by their place.
struct Values<'a>(&'a Value);

impl Values<'_> {
    fn number(&self, at: &str) -> Option<f64> {
        self.0.pointer(at)?.as_f64()
    }
    fn text(&self, at: &str) -> Option<&str> {
        self.0.pointer(at)?.as_str()
    }
}
