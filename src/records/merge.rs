//! One book into another.

use super::Book;
use crate::error::Result;
use rusqlite::{Transaction, TransactionBehavior, params_from_iter, types::Value};

/// Columns that are carried over as they are, in one order: those of a photo, and those of an inspection but its number,
/// which each book gives by itself.
const PHOTO: &str = "sha256, file, width_px, height_px, taken, camera, thumbnail_jpeg";
const INSPECTION: &str = "photo_sha256, inputs_sha256, program_version, recorded_at, job, machine, cutter, material, \
    plan_text, plan_json, verdict, headline, findings_json, pitch_mm, pitch_mm_sigma, height_p95_um, height_p95_um_sigma, \
    visible_lines_per_10mm, ridge_contrast, mm_per_px, mm_per_px_sigma, report_json, report_html, \
    probability";

impl Book {
    /// Takes over every record of `from` that is not here yet, all of them or (when anything fails) none; gives how many
    /// were new and how many were here already. Names in this book stay; missing ones are filled in.
    pub fn merge(&mut self, from: &Book) -> Result<(usize, usize)> {
        let name = self.name.clone();
        let work = |tx: &Transaction| -> rusqlite::Result<(usize, usize)> {
            copy(from, tx, "photo", PHOTO, "")?;
            let fill = "ON CONFLICT (photo_sha256, inputs_sha256, program_version) DO UPDATE SET
                job = coalesce(job, excluded.job), machine = coalesce(machine, excluded.machine),
                cutter = coalesce(cutter, excluded.cutter)";
            let count = "SELECT count(*) FROM inspection";
            let before: i64 = tx.query_row(count, [], |r| r.get(0))?;
            let all = copy(from, tx, "inspection", INSPECTION, fill)?;
            let after: i64 = tx.query_row(count, [], |r| r.get(0))?;
            let new = (after - before) as usize;
            Ok((new, all - new))
        };
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate);
        tx.and_then(|tx| work(&tx).and_then(|n| tx.commit().map(|()| n))).map_err(|e| super::failure(&name, &e))
    }
}

/// Copies the rows of one table; gives how many there were.
fn copy(from: &Book, tx: &Transaction, table: &str, columns: &str, conflict: &str) -> rusqlite::Result<usize> {
    let n = columns.split(',').count();
    let marks = vec!["?"; n].join(", ");
    let or = if conflict.is_empty() { "OR IGNORE" } else { "" };
    let mut put = tx.prepare(&format!("INSERT {or} INTO {table} ({columns}) VALUES ({marks}) {conflict}"))?;
    let mut ask = from.db.prepare(&format!("SELECT {columns} FROM {table} ORDER BY rowid"))?;
    let mut rows = ask.query([])?;
    let mut count = 0;
    while let Some(row) = rows.next()? {
        let values: Vec<Value> = (0..n).map(|i| row.get(i)).collect::<rusqlite::Result<_>>()?;
        put.execute(params_from_iter(values))?;
        count += 1;
    }
    Ok(count)
}
