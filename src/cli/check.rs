//! `lowsun check`: is the photo fit for use?

use super::look::Look;
use super::say;
use clap::Args;
use lowsun::error::Result;
use lowsun::trace::Trace;
use lowsun::{fit, pipeline, plan, report};
use std::path::PathBuf;
use std::process::ExitCode;

/// The exit code of `check` for a photo that must be taken again.
const EXIT_RETAKE: u8 = 3;

#[derive(Debug, Args)]
pub struct Check {
    /// The photo: JPEG, PNG, TIFF, WebP or HEIC.
    pub photo: PathBuf,
    /// What was meant to be cut (TOML). Without it, only what the photo itself shows is judged.
    #[arg(long, value_name = "PLAN.toml")]
    pub plan: Option<PathBuf>,
    /// Print the judgements as JSON instead of text.
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    pub look: Look,
}

/// Judges the photo and prints the judgement. Fails as [`pipeline::check`] does.
pub fn run(args: &Check) -> Result<ExitCode> {
    let options = args.look.options()?;
    let (plan, caveats) = plan::gather(args.plan.as_deref(), &args.look.facts())?;
    let mut trace = Trace::off();
    let checked = pipeline::check(&args.photo, plan, caveats, &options, &mut trace)?;
    let by_hand = if checked.references.is_empty() {
        "\nIf the photo cannot be taken again: lowsun mark writes a page on which a known size is marked by hand.\n"
    } else {
        ""
    };
    say(&if args.json {
        format!("{:#}\n", report::check_json(&checked))
    } else {
        report::check_text(&checked) + by_hand
    });
    args.look.timings(&trace);
    Ok(match checked.fit.verdict() {
        fit::Grade::Retake => ExitCode::from(EXIT_RETAKE),
        _ => ExitCode::SUCCESS,
    })
}
