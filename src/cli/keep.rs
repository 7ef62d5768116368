//! Flags of everything that keeps inspections in a record book.

use clap::Args;
use lowsun::error::Result;
use lowsun::plan::Names;
use lowsun::records::{Added, Book, Entry};
use std::path::{Path, PathBuf};

#[derive(Debug, Args)]
pub struct Keep {
    /// Keep the inspection in this record book (one SQLite file; it is made when missing).
    #[arg(long, value_name = "BOOK", help_heading = "Record book")]
    pub record: Option<PathBuf>,
    /// What the job is called in the book [default: the plan's job].
    #[arg(long, value_name = "NAME", help_heading = "Record book", requires = "record")]
    pub job: Option<String>,
    /// What the machine is called in the book [default: the plan's machine.name].
    #[arg(long, value_name = "NAME", help_heading = "Record book", requires = "record")]
    pub machine: Option<String>,
    /// What the cutter is called in the book [default: the plan's cutter.name, else its size and shape].
    #[arg(long, value_name = "NAME", help_heading = "Record book", requires = "record")]
    pub cutter_id: Option<String>,
}

impl Keep {
    pub fn names(&self) -> Names {
        Names { job: self.job.clone(), machine: self.machine.clone(), cutter: self.cutter_id.clone() }
    }
    /// The book, where one was named: before any photo is measured, so that a bad path fails at once.
    pub fn open(&self) -> Result<Option<Book>> {
        self.record.as_deref().map(Book::open).transpose()
    }
    /// Adds an inspection with the text of its plan file; gives what to tell the user.
    pub fn add(&self, book: &mut Book, entry: Entry, plan_file: Option<&Path>, rename: bool) -> Result<String> {
        let plan_text = plan_file.and_then(|p| std::fs::read_to_string(p).ok());
        let added = book.add(&Entry { plan_text: plan_text.as_deref(), ..entry }, rename)?;
        Ok(self.told(&added))
    }
    fn told(&self, added: &Added) -> String {
        let book = self.record.as_deref().unwrap_or_else(|| "the book".as_ref()).display();
        match added {
            Added::New(id) => format!("recorded as {id} in {book}"),
            Added::Known { id, left } if left.is_empty() => format!("recorded already as {id} in {book}"),
            Added::Known { id, left } => {
                format!("recorded already as {id} in {book}; {} (--overwrite renames)", left.join(", "))
            }
        }
    }
}
