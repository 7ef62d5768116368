//! `lowsun reply`: a report becomes a letter to the person who sent the photo.

use super::say;
use crate::save;
use clap::Args;
use lowsun::error::{Error, Result, Stage};
use lowsun::report::Letter;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Reply {
    /// A report: its folder, or its report.json.
    pub report: PathBuf,
    /// Folder for letter.txt and letter.html [default: beside the report].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Whom the letter greets.
    #[arg(long, value_name = "NAME")]
    pub to: Option<String>,
    /// Who signs it.
    #[arg(long, value_name = "NAME")]
    pub from: Option<String>,
    /// Replace an older letter.
    #[arg(long)]
    pub overwrite: bool,
}

/// Writes the letter. Fails when there is no report, when it is of another kind, and when a letter is there already.
pub fn run(args: &Reply) -> Result<ExitCode> {
    let json = if args.report.is_dir() { args.report.join("report.json") } else { args.report.clone() };
    let name = json.display().to_string();
    let text = std::fs::read_to_string(&json).map_err(|e| {
        let hint = "give the folder that lowsun inspect wrote, or its report.json";
        Error::new(Stage::Report, &name, format!("cannot be read ({e})"), hint)
    })?;
    let folder = json.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // Without the page beside it the letter goes without pictures.
    let page = std::fs::read_to_string(folder.join("report.html")).ok();
    let letter = Letter::new(&text, &name, args.to.as_deref(), args.from.as_deref())?;
    let (plain, html) = (letter.text(), letter.html(page.as_deref())?);
    let out = args.out.as_deref().unwrap_or(folder);
    let files = [("letter.txt", plain.as_bytes()), ("letter.html", html.as_bytes())];
    save::check_new(out, &files, args.overwrite)?;
    save::save(out, &files)?;
    let without =
        if page.is_none() { "No report.html lies beside the report: the letter has no pictures.\n" } else { "" };
    say(&format!("{plain}\n{without}letter: {}\n", out.join("letter.html").display()));
    Ok(ExitCode::SUCCESS)
}
