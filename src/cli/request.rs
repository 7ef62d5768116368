//! `lowsun request`: the sheet that asks a customer for a photo.

use super::say;
use crate::save;
use clap::Args;
use lowsun::card::{Form, Printed};
use lowsun::draw::{self, Paper, Sheet};
use lowsun::error::Result;
use lowsun::report;
use lowsun::units::LengthUnit;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Request {
    /// Paper in the customer's printer.
    #[arg(long, default_value = "a4")]
    pub paper: Paper,
    /// Unit of the lengths to send.
    #[arg(long, default_value = "mm")]
    pub units: LengthUnit,
    /// Which card stands on page two.
    #[arg(long, default_value = "pocket")]
    pub form: Form,
    /// Who asks.
    #[arg(long, value_name = "NAME")]
    pub from: Option<String>,
    /// Folder for the PDF and the HTML page.
    #[arg(long, value_name = "DIR", default_value = ".")]
    pub out: PathBuf,
    /// Replace files of the same name.
    #[arg(long)]
    pub overwrite: bool,
}

/// Writes both files. Fails when one is there already or cannot be written.
pub fn run(args: &Request) -> Result<ExitCode> {
    let words = report::Request::new(args.units, args.from.as_deref());
    let card = Sheet::of(args.form, args.paper, Printed::default())?;
    let pdf = draw::request_pdf(&words, &card);
    let html = words.html(args.paper.name(), &draw::request_drawings(), &card.svg())?;
    let name = format!("lowsun-request-{}", args.paper.name());
    let (a, b) = (name.clone() + ".pdf", name + ".html");
    let files = [(a.as_str(), pdf.as_slice()), (b.as_str(), html.as_bytes())];
    save::check_new(&args.out, &files, args.overwrite)?;
    save::save(&args.out, &files)?;
    say(&format!("{}\n{}\n", args.out.join(&a).display(), args.out.join(&b).display()));
    Ok(ExitCode::SUCCESS)
}
