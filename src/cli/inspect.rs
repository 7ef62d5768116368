//! `lowsun inspect`: one photo, one report.

use super::keep::Keep;
use super::look::Look;
use super::mark;
use super::say;
use crate::save;
use clap::Args;
use lowsun::error::Result;
use lowsun::plan::PlanFacts;
use lowsun::records::Entry;
use lowsun::trace::Trace;
use lowsun::{draw, pipeline, plan, report};
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Inspect {
    /// The photo: JPEG, PNG, TIFF, WebP or HEIC, lamp low to one side, a bank card beside the pocket.
    pub photo: PathBuf,
    /// What was meant to be cut (TOML). Single facts below win over it.
    #[arg(long, value_name = "PLAN.toml")]
    pub plan: Option<PathBuf>,
    /// Folder for the report [default: PHOTO.lowsun beside the photo].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Replace the report in a folder that already holds something. Other files there are left alone.
    #[arg(long)]
    pub overwrite: bool,
    /// Print report.json on standard output instead of the short text.
    #[arg(long)]
    pub json: bool,

    #[command(flatten)]
    pub keep: Keep,

    /// Save what every stage hands on (NN-stage.png, NN-stage.json) in this folder.
    #[arg(long, value_name = "DIR", help_heading = "Looking inside")]
    pub trace: Option<PathBuf>,
    #[command(flatten)]
    pub look: Look,
}

/// Measures the photo and writes the report. Fails as [`pipeline::inspect`] does, and when the folder is in use.
pub fn run(args: &Inspect) -> Result<ExitCode> {
    let options = args.look.options()?;
    let folder = args.out.clone().unwrap_or_else(|| save::default_folder(&args.photo));
    save::check_free(&folder, args.overwrite, "--out")?;
    if let Some(dir) = &args.trace {
        save::check_free(dir, args.overwrite, "--trace")?;
    }
    let mut book = args.keep.open()?;
    let facts = PlanFacts { names: args.keep.names(), ..args.look.facts() };
    let (plan, caveats) = plan::gather(args.plan.as_deref(), &facts)?;
    let mut trace = match &args.trace {
        Some(dir) => Trace::into_folder(dir)?,
        None => Trace::off(),
    };
    let inspection = pipeline::inspect(&args.photo, plan, caveats, &options, &mut trace)?;
    let report = report::json(&inspection);
    let json = format!("{report:#}\n");
    let pictures = trace.stage("draw", || draw::pictures(&inspection));
    let page = trace.stage("report", || report::html(&inspection, &pictures))?;
    if let Some(book) = &mut book {
        let plan_text = args.plan.as_deref().and_then(|p| std::fs::read_to_string(p).ok());
        let entry = Entry {
            report: &report,
            html: &page,
            thumbnail: &draw::thumbnail(&inspection.photo),
            plan: &inspection.plan,
            plan_text: plan_text.as_deref(),
        };
        eprintln!("{}", args.keep.told(&trace.stage("record", || book.add(&entry, args.overwrite))?));
    }
    // Where nothing of known size was found, the page to mark it by hand lies beside the report.
    let to_mark = if inspection.references.is_empty() { Some(mark::page(&inspection.photo)?) } else { None };
    let mut files = vec![("report.html", page.as_bytes()), ("report.json", json.as_bytes())];
    files.extend(to_mark.as_ref().map(|p| (mark::PAGE, p.as_bytes())));
    save::save(&folder, &files)?;
    say(&if args.json {
        json
    } else {
        let hint = to_mark
            .map_or(String::new(), |_| format!("no scale: mark it by hand in {}\n", folder.join(mark::PAGE).display()));
        format!("{}\n{hint}report: {}\n", report::text(&inspection), folder.join("report.html").display())
    });
    args.look.timings(&trace);
    Ok(ExitCode::SUCCESS)
}
