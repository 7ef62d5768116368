//! The layout of the book and the way from every older layout to the present one.
//!
//! `PRAGMA user_version` holds the layout's number, `PRAGMA application_id` says that the file is a record book. Steps
//! that have been released are never changed; a new layout is a further step.

use rusqlite::{Connection, TransactionBehavior};

/// "lows" in ASCII: marks the file as ours (SQLite file format, bytes 68 to 71 of the header).
const APPLICATION: i64 = 0x6c6f_7773;

/// What brings a book of layout `n` to layout `n + 1`.
const STEPS: [&str; 2] = [FIRST, SURENESS];

pub(super) const VERSION: usize = STEPS.len();

const FIRST: &str = "
CREATE TABLE photo (
    sha256 TEXT NOT NULL PRIMARY KEY,
    file TEXT NOT NULL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    taken TEXT,
    camera TEXT,
    thumbnail_jpeg BLOB NOT NULL
);
CREATE TABLE inspection (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    inputs_sha256 TEXT NOT NULL,
    program_version TEXT NOT NULL,
    recorded_at TEXT NOT NULL,
    job TEXT,
    machine TEXT,
    cutter TEXT,
    material TEXT,
    plan_text TEXT,
    plan_json TEXT NOT NULL,
    verdict TEXT NOT NULL,
    headline TEXT NOT NULL,
    findings_json TEXT NOT NULL,
    pitch_mm REAL,
    pitch_mm_sigma REAL,
    height_p95_um REAL,
    height_p95_um_sigma REAL,
    visible_lines_per_10mm REAL,
    ridge_contrast REAL,
    mm_per_px REAL,
    mm_per_px_sigma REAL,
    report_json TEXT NOT NULL,
    report_html TEXT NOT NULL,
    UNIQUE (photo_sha256, inputs_sha256, program_version)
);
CREATE INDEX inspection_by_job ON inspection (job);
";

/// How sure the first finding is, of its own so that lists and other tools need not look into the findings.
const SURENESS: &str = "
ALTER TABLE inspection ADD COLUMN probability REAL;
UPDATE inspection SET probability = json_extract(findings_json, '$[0].probability');
";

/// Layout number of a book, or why the file is none for this program.
pub(super) fn version(db: &Connection) -> rusqlite::Result<Result<usize, String>> {
    let number = |pragma: &str| db.query_row(&format!("PRAGMA {pragma}"), [], |r| r.get::<_, i64>(0));
    let tables: i64 = db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0))?;
    let (application, version) = (number("application_id")?, number("user_version")?);
    Ok(match usize::try_from(version) {
        Ok(0) if tables == 0 && application == 0 => Ok(0),
        _ if application != APPLICATION => Err("is an SQLite file, but not a record book".into()),
        Ok(v) if v <= VERSION => Ok(v),
        _ => Err(format!(
            "is a book of layout {version}, made by a newer program; this one ({}) knows layouts up to {VERSION}",
            env!("CARGO_PKG_VERSION")
        )),
    })
}

/// Brings the book to the present layout, all steps or none; a second process that does the same waits and finds it done.
pub(super) fn migrate(db: &mut Connection) -> rusqlite::Result<Result<(), String>> {
    if let Ok(VERSION) = version(db)? {
        return Ok(Ok(()));
    }
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let from = match version(&tx)? {
        Ok(v) => v,
        Err(what) => return Ok(Err(what)),
    };
    for step in &STEPS[from..] {
        tx.execute_batch(step)?;
    }
    tx.execute_batch(&format!("PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {VERSION};"))?;
    tx.commit().map(Ok)
}
