//! `lowsun records`: what a record book holds.

use super::say;
use crate::save;
use clap::{Args, Subcommand, ValueEnum};
use lowsun::draw;
use lowsun::error::{Error, Result, Stage};
use lowsun::records::{self, Book, Figure, Filter, Record};
use lowsun::units::LengthUnit;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Records {
    #[command(subcommand)]
    pub what: What,
}

#[derive(Debug, Subcommand)]
pub enum What {
    /// One line a record, oldest first.
    List {
        /// The record book.
        book: PathBuf,
        #[command(flatten)]
        wanted: Wanted,
        /// Unit of lengths in the list.
        #[arg(long, default_value = "mm")]
        units: LengthUnit,
    },
    /// One record in full; with --out also its report, plan and thumbnail as files.
    Show {
        /// The record book.
        book: PathBuf,
        /// The record's number, as the list shows it.
        number: i64,
        /// Write report.html, report.json, thumbnail.jpg and, where kept, plan.toml into this folder.
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Replace files of the same name.
        #[arg(long)]
        overwrite: bool,
        /// Unit of lengths in the text.
        #[arg(long, default_value = "mm")]
        units: LengthUnit,
    },
    /// One figure over time, a line for every cutter or machine, as SVG.
    Plot {
        /// The record book.
        book: PathBuf,
        /// Which figure.
        #[arg(long, default_value = "height")]
        figure: Figure,
        /// What is told apart.
        #[arg(long, default_value = "cutter")]
        by: By,
        /// The SVG file.
        #[arg(long, value_name = "FILE.svg")]
        out: PathBuf,
        /// Replace the file.
        #[arg(long)]
        overwrite: bool,
        #[command(flatten)]
        wanted: Wanted,
    },
    /// The records as CSV or JSON.
    Export {
        /// The record book.
        book: PathBuf,
        /// Form of the export.
        #[arg(long = "as", value_name = "FORM", default_value = "csv")]
        form: Form,
        /// The file [default: standard output].
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// Replace the file.
        #[arg(long)]
        overwrite: bool,
        #[command(flatten)]
        wanted: Wanted,
    },
    /// Take the records of other books into one. Nothing is doubled, the other books stay as they are.
    Merge {
        /// The book that takes them; it is made when missing.
        into: PathBuf,
        /// Books whose records are taken.
        #[arg(required = true)]
        from: Vec<PathBuf>,
    },
}

/// Which records.
#[derive(Debug, Args)]
pub struct Wanted {
    /// Only this job.
    #[arg(long, value_name = "NAME", help_heading = "Which records")]
    pub job: Option<String>,
    /// Only this material, as the plan has it.
    #[arg(long, value_name = "KIND", help_heading = "Which records")]
    pub material: Option<String>,
    /// Only this cutter, as the list shows it.
    #[arg(long, value_name = "NAME", help_heading = "Which records")]
    pub cutter: Option<String>,
    /// Only this machine.
    #[arg(long, value_name = "NAME", help_heading = "Which records")]
    pub machine: Option<String>,
    /// Only this verdict, such as deflection-steps.
    #[arg(long, value_name = "WORD", help_heading = "Which records")]
    pub verdict: Option<String>,
    /// From this day on.
    #[arg(long, value_name = "YYYY-MM-DD", help_heading = "Which records")]
    pub since: Option<String>,
    /// Up to and with this day.
    #[arg(long, value_name = "YYYY-MM-DD", help_heading = "Which records")]
    pub until: Option<String>,
}

impl Wanted {
    fn of(&self, book: &Path) -> Result<Vec<Record>> {
        let w = self;
        Book::read(book)?.list(&Filter {
            job: w.job.clone(),
            material: w.material.clone(),
            cutter: w.cutter.clone(),
            machine: w.machine.clone(),
            verdict: w.verdict.clone(),
            since: w.since.clone(),
            until: w.until.clone(),
        })
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum By {
    Cutter,
    Machine,
    Job,
    Material,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Form {
    Csv,
    Json,
}

/// Fails as the book does, on files that are there already, and when a file cannot be written.
pub fn run(args: &Records) -> Result<ExitCode> {
    match &args.what {
        What::List { book, wanted, units } => {
            let records = wanted.of(book)?;
            say(&match records.as_slice() {
                [] => "no records\n".to_owned(),
                some => records::table(some, *units),
            });
        }
        What::Show { book, number, out, overwrite, units } => {
            let stored = Book::read(book)?.get(*number)?;
            if let Some(folder) = out {
                // As inspect writes it; the book keeps it without line breaks.
                let report: Option<serde_json::Value> = serde_json::from_str(&stored.report_json).ok();
                let report = report.map_or(stored.report_json.clone(), |r| format!("{r:#}\n"));
                let mut files = vec![
                    ("report.html", stored.report_html.as_bytes()),
                    ("report.json", report.as_bytes()),
                    ("thumbnail.jpg", &stored.thumbnail_jpeg),
                ];
                files.extend(stored.plan_text.as_ref().map(|p| ("plan.toml", p.as_bytes())));
                save::check_new(folder, &files, *overwrite)?;
                save::save(folder, &files)?;
            }
            say(&records::one(&stored, *units));
        }
        What::Plot { book, figure, by, out, overwrite, wanted } => {
            let records = wanted.of(book)?;
            let svg = draw::history(*figure, &series(&records, *figure, *by)).ok_or_else(|| {
                let hint = "take another figure with --figure, or fewer filters";
                Error::new(Stage::Records, book.display().to_string(), "holds no such figure of these records", hint)
            })?;
            save::save_file(out, svg.as_bytes(), *overwrite)?;
            say(&format!("{}\n", out.display()));
        }
        What::Export { book, form, out, overwrite, wanted } => {
            let records = wanted.of(book)?;
            let text = match form {
                Form::Csv => records::csv(&records),
                Form::Json => format!("{:#}\n", records::json(&records)),
            };
            match out {
                Some(file) => save::save_file(file, text.as_bytes(), *overwrite)?,
                None => say(&text),
            }
        }
        What::Merge { into, from } => {
            let mut book = Book::open(into)?;
            for other in from {
                let (new, known) = book.merge(&Book::read(other)?)?;
                say(&format!("{}: {new} new, {known} known already\n", other.display()));
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The figure of every record that has it, by what the records are told apart by.
fn series(records: &[Record], figure: Figure, by: By) -> Vec<(String, Vec<records::Point>)> {
    let mut out: Vec<(String, Vec<records::Point>)> = vec![];
    for r in records {
        let name = match by {
            By::Cutter => &r.cutter,
            By::Machine => &r.machine,
            By::Job => &r.job,
            By::Material => &r.material,
        };
        let (Some(value), Some(day)) = (figure.of(r), r.day()) else { continue };
        let name = name.clone().unwrap_or("not named".into());
        let point = records::Point { day, value };
        match out.iter_mut().find(|s| s.0 == name) {
            Some(s) => s.1.push(point),
            None => out.push((name, vec![point])),
        }
    }
    out
}
