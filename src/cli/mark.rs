//! `lowsun mark`: the page on which a person marks what the program did not find.

use super::say;
use crate::save;
use clap::Args;
use lowsun::error::Result;
use lowsun::photo::{self, Photo};
use lowsun::{draw, report};
use std::path::PathBuf;
use std::process::ExitCode;

/// Name of the page in a report's folder.
pub const PAGE: &str = "mark.html";

#[derive(Debug, Args)]
pub struct Mark {
    /// The photo: JPEG, PNG, TIFF, WebP or HEIC.
    pub photo: PathBuf,
    /// Folder for mark.html [default: PHOTO.lowsun beside the photo].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Replace an older page.
    #[arg(long)]
    pub overwrite: bool,
}

/// Writes the page. Fails when the photo cannot be read or a page is there already.
pub fn run(args: &Mark) -> Result<ExitCode> {
    let folder = args.out.clone().unwrap_or_else(|| save::default_folder(&args.photo));
    save::check_new(&folder, &[(PAGE, &[])], args.overwrite)?;
    let (photo, _) = photo::read(&args.photo, &photo::Options::default())?;
    save::save(&folder, &[(PAGE, page(&photo)?.as_bytes())])?;
    say(&format!(
        "{}\nOpen it in a browser, mark the photo, save, and give the file back with --marks.\n",
        folder.join(PAGE).display()
    ));
    Ok(ExitCode::SUCCESS)
}

/// The page for a photo.
pub fn page(photo: &Photo) -> Result<String> {
    report::mark_page(photo, &draw::embedded(photo))
}
