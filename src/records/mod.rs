//! The record book: every inspection kept in one SQLite file that any SQLite program can open.
//!
//! A photo is recognised by the SHA-256 of its file, an inspection by photo, inputs (plan and options) and version of the
//! program: the same three are never kept twice; the same photo with other inputs is a further revision of it. What is
//! kept comes from report.json alone, so neither place, serial number nor owner name can enter.
//!
//! The book uses SQLite's rollback journal, not its write-ahead log: then a copy of the one file is whole whenever nobody
//! writes, and it can be read where nothing may be written (a log would need a second file beside it). Writers take
//! turns; each addition is one transaction on disk before it is reported. This room may open its own file, no other.

mod entry;
mod export;
mod merge;
mod query;
mod schema;

pub use entry::{Added, Entry};
pub use export::{csv, json, one, table};
pub use query::{Figure, Filter, Point, Record, Stored};

use crate::error::{Error, Result, Stage};
use rusqlite::{Connection, ErrorCode, OpenFlags};
use std::path::Path;
use std::time::Duration;

/// How long a writer waits for its turn. An addition takes milliseconds, a merge of some thousand records a minute at
/// most on a slow disk; shorter would turn away writers that only had to wait.
const PATIENCE: Duration = Duration::from_secs(120);

/// An open book.
#[derive(Debug)]
pub struct Book {
    db: Connection,
    /// As the user named it, for messages.
    name: String,
}

impl Book {
    /// Opens a book to add to it; a file that is not there is made, an older book is brought to the present layout.
    ///
    /// Fails at [`Stage::Records`] when the file cannot be opened or written, is no record book, or is one of a newer
    /// program.
    pub fn open(path: &Path) -> Result<Self> {
        let name = path.display().to_string();
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut book = Self::connect(path, name, flags)?;
        // SQLite opens what it may not write without a word, and would fail only after the photo was measured.
        if book.db.is_readonly(rusqlite::MAIN_DB).map_err(|e| book.fail(&e))? {
            let hint = "copy the book to a place where you may write";
            return Err(Error::new(Stage::Records, book.name, "cannot be written", hint));
        }
        let done = book.settle();
        done.map_err(|e| book.fail(&e)).and_then(|fit| fit.map_err(|what| book.refused(what)))?;
        Ok(book)
    }

    /// Opens a book only to read it; works on a file and in a folder where nothing may be written. An older book is
    /// brought to the present layout in memory, its file stays as it is.
    ///
    /// Fails as [`open`](Self::open) does, and on a file that is not there.
    pub fn read(path: &Path) -> Result<Self> {
        let name = path.display().to_string();
        if !path.is_file() {
            let hint = "check the path of the book; inspect --record BOOK starts one";
            return Err(Error::new(Stage::Records, name, "there is no such book", hint));
        }
        // Where the disk allows it, open to write: what a killed writer left is then tidied up first. SQLite falls back to
        // reading alone by itself.
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut book = Self::connect(path, name, flags)?;
        let version = schema::version(&book.db).map_err(|e| book.fail(&e))?.map_err(|what| book.refused(what))?;
        if version < schema::VERSION {
            let copy = || -> rusqlite::Result<Connection> {
                let mut copy = Connection::open_in_memory()?;
                rusqlite::backup::Backup::new(&book.db, &mut copy)?.run_to_completion(4096, Duration::ZERO, None)?;
                Ok(copy)
            };
            book.db = copy().map_err(|e| book.fail(&e))?;
            let done = book.settle();
            done.map_err(|e| book.fail(&e)).and_then(|fit| fit.map_err(|what| book.refused(what)))?;
        }
        Ok(book)
    }

    fn connect(path: &Path, name: String, flags: OpenFlags) -> Result<Self> {
        match Connection::open_with_flags(path, flags).and_then(|db| db.busy_timeout(PATIENCE).map(|()| db)) {
            Ok(db) => Ok(Self { db, name }),
            Err(e) => Err(failure(&name, &e)),
        }
    }

    /// Rules of this connection and the present layout; the inner error says why the file is no book for us.
    fn settle(&mut self) -> rusqlite::Result<std::result::Result<(), String>> {
        let mode: String = self.db.query_row("PRAGMA journal_mode", [], |r| r.get(0))?;
        if !["delete", "memory"].contains(&mode.as_str()) {
            // Another program may have changed it; see the head of this file for why it is changed back.
            self.db.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(()))?;
        }
        // Safe against a power cut as well, not only against a killed process.
        self.db.execute_batch("PRAGMA synchronous = EXTRA; PRAGMA foreign_keys = ON;")?;
        schema::migrate(&mut self.db)
    }

    fn fail(&self, e: &rusqlite::Error) -> Error {
        failure(&self.name, e)
    }

    fn refused(&self, what: String) -> Error {
        let hint = "name another file; the one named was left as it is";
        Error::new(Stage::Records, self.name.clone(), what, hint)
    }
}

/// SQLite's refusal in words a person can act on.
fn failure(name: &str, e: &rusqlite::Error) -> Error {
    let (what, hint) = match e.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => ("is no record book, nor any other SQLite file", "name another file"),
        Some(ErrorCode::CannotOpen) => (
            "cannot be opened",
            "check that its folder exists and that you may write there; a copy that was taken in the middle of writing must first be opened where it can be written",
        ),
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => {
            ("cannot be written", "copy the book to a place where you may write")
        }
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            ("is being written by another program, which did not finish", "end the other program and try again")
        }
        Some(ErrorCode::DiskFull) => ("has no room left on its disk", "make room; what was in the book is still there"),
        Some(ErrorCode::DatabaseCorrupt) => (
            "is damaged",
            "take the last good copy; books are copied whole while nobody writes, or with records merge NEW OLD",
        ),
        _ => return Error::new(Stage::Records, name, e.to_string(), "check the file and its disk"),
    };
    Error::new(Stage::Records, name, format!("{what} ({e})"), hint)
}
