//! `lowsun card`: the reference card as files to print.

use super::say;
use crate::save;
use clap::Args;
use lowsun::card::{Form, Printed};
use lowsun::draw::{Paper, Sheet};
use lowsun::error::{Error, Result, Stage};
use lowsun::units::LengthUnit;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Card {
    /// Which card: pocket for beside or in a pocket, corner (an L) for a pocket's corner, frame with a window.
    #[arg(long, default_value = "pocket")]
    pub form: Form,
    /// Paper in the printer.
    #[arg(long, default_value = "a4")]
    pub paper: Paper,
    /// Folder for the PDF and the SVG, or one file ending in .pdf or .svg.
    #[arg(long, value_name = "DIR|FILE", default_value = ".")]
    pub out: PathBuf,
    /// What the printer made of the bars of an earlier sheet (99.4mm, or x and y apart as 99.4x99.7mm): the new one is
    /// drawn so that it comes out true.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub card_measured: Option<String>,
    /// Replace files of the same name.
    #[arg(long)]
    pub overwrite: bool,
}

/// Writes the files; tells where they are.
///
/// Fails at [`Stage::Arguments`] on a bar that cannot be, on a file that is there already, and on an ending that is
/// neither; at [`Stage::Output`] when a file cannot be written.
pub fn run(args: &Card) -> Result<ExitCode> {
    let printed = match &args.card_measured {
        Some(t) => Printed::parse(t, LengthUnit::Mm)
            .map_err(|e| Error::new(Stage::Arguments, "--card-measured", e, Printed::HINT))?,
        None => Printed::default(),
    };
    let sheet = Sheet::of(args.form, args.paper, printed)?;
    let (pdf, svg) = (sheet.pdf(), sheet.svg());
    let ending = args.out.extension().map(|e| e.to_ascii_lowercase());
    let is_folder = args.out.is_dir();
    let (folder, files): (&Path, Vec<(String, &[u8])>) = match ending.as_ref().and_then(|e| e.to_str()) {
        Some(e @ ("pdf" | "svg")) if !is_folder => {
            let name = args.out.file_name().map_or_else(|| sheet.name(), |n| n.to_string_lossy().into_owned());
            let parent = args.out.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
            (parent, vec![(name, if e == "pdf" { &pdf } else { svg.as_bytes() })])
        }
        Some(_) if args.out.is_file() => {
            let hint = "name a folder, or a file ending in .pdf or .svg";
            let name = args.out.display().to_string();
            return Err(Error::new(Stage::Arguments, name, "is neither .pdf nor .svg", hint));
        }
        _ => (&args.out, vec![(sheet.name() + ".pdf", &pdf), (sheet.name() + ".svg", svg.as_bytes())]),
    };
    let files: Vec<(&str, &[u8])> = files.iter().map(|f| (f.0.as_str(), f.1)).collect();
    save::check_new(folder, &files, args.overwrite)?;
    save::save(folder, &files)?;
    let mut told = String::new();
    for (name, _) in &files {
        told += &format!("{}\n", folder.join(name).display());
    }
    say(&(told + "Print at 100 %, not \"fit to page\", and measure both bars: they should be 100.0 mm.\n"));
    Ok(ExitCode::SUCCESS)
}
