//! `lowsun inspect`: one photo, one report; several go through [`many`].

use super::keep::Keep;
use super::look::{Look, side};
use super::{many, mark, say};
use crate::save;
use clap::Args;
use lowsun::caveat::Caveat;
use lowsun::error::{Error, Result, Stage};
use lowsun::plan::{PlanFacts, PlannedCut};
use lowsun::records::Entry;
use lowsun::report::Inspection;
use lowsun::trace::Trace;
use lowsun::{draw, pipeline, plan, report};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Inspect {
    /// The photo: JPEG, PNG, TIFF, WebP or HEIC, lamp low to one side, a bank card beside the pocket. Several photos, a
    /// folder or a quoted pattern are measured side by side.
    #[arg(required = true, value_name = "PHOTO|DIR|PATTERN")]
    pub photos: Vec<PathBuf>,
    /// What was meant to be cut (TOML) [default: NAME.plan.toml beside the photo, which among several photos wins over
    /// this one]. Single facts below win over it.
    #[arg(long, value_name = "PLAN.toml")]
    pub plan: Option<PathBuf>,
    /// Folder for the report, or for those of several photos [default: PHOTO.lowsun or DIR.lowsun beside it].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Replace the report in a folder that already holds something (among several photos: measure all of them anew).
    /// Other files there are left alone.
    #[arg(long)]
    pub overwrite: bool,
    /// Print report.json on standard output (several photos: summary.json) instead of the short text.
    #[arg(long)]
    pub json: bool,
    /// Of several photos only this part, by their file names: number/count, such as 2/8.
    #[arg(long, value_name = "K/N", value_parser = many::shard, help_heading = "Several photos")]
    pub shard: Option<(u32, u32)>,
    /// How many photos are read at once; each takes memory of its own [default: the cores, four at most].
    #[arg(long, value_name = "N", help_heading = "Several photos")]
    pub at_once: Option<std::num::NonZeroU8>,

    /// A second photo of the same floor, lamp on the opposite side: relief is then told from wood figure.
    #[arg(long, value_name = "PHOTO2", help_heading = "Floor and lamp")]
    pub opposite: Option<PathBuf>,
    /// Where the light comes from in the second photo, as in --light-from [default: read from the walls' shadow].
    #[arg(
        long,
        value_name = "SIDE",
        allow_hyphen_values = true,
        help_heading = "Floor and lamp",
        requires = "opposite"
    )]
    pub opposite_light_from: Option<String>,

    #[command(flatten)]
    pub keep: Keep,

    /// Save what every stage hands on (NN-stage.png, NN-stage.json) in this folder.
    #[arg(long, value_name = "DIR", help_heading = "Looking inside")]
    pub trace: Option<PathBuf>,
    #[command(flatten)]
    pub look: Look,
}

/// One photo's report.
pub struct Made {
    pub inspection: Inspection,
    pub report: Value,
    pub page: String,
}

impl Made {
    /// What goes into a record book.
    pub fn entry<'a>(&'a self, thumbnail: &'a [u8]) -> Entry<'a> {
        Entry::of(&self.report, &self.page, thumbnail, &self.inspection.plan)
    }
    /// report.json as text.
    pub fn json(&self) -> String {
        format!("{:#}\n", self.report)
    }
    /// The files of the report's folder: `json` as of [`Made::json`], `to_mark` as of [`page_to_mark`].
    pub fn files<'a>(&'a self, json: &'a str, to_mark: Option<&'a str>) -> Vec<(&'a str, &'a [u8])> {
        let mut files = vec![("report.html", self.page.as_bytes()), ("report.json", json.as_bytes())];
        files.extend(to_mark.map(|p| (mark::PAGE, p.as_bytes())));
        files
    }
}

/// Inspects one photo and makes its report. Fails as [`pipeline::inspect`] does.
pub fn make(
    photo: &Path,
    plan: PlannedCut,
    caveats: Vec<Caveat>,
    options: &pipeline::Options,
    trace: &mut Trace,
) -> Result<Made> {
    let inspection = pipeline::inspect(photo, plan, caveats, options, trace)?;
    let report = report::json(&inspection);
    let pictures = trace.stage("draw", || draw::pictures(&inspection));
    let page = trace.stage("report", || report::html(&inspection, &pictures))?;
    Ok(Made { inspection, report, page })
}

/// The plan of a photo: `NAME.plan.toml` beside it, else the one that goes for all.
pub fn plan_of(photo: &Path, all: Option<&Path>) -> Option<PathBuf> {
    let own = photo.with_extension("plan.toml");
    if own.is_file() { Some(own) } else { all.map(Path::to_owned) }
}

/// Where nothing of known size was found, the page to mark it by hand, which lies beside the report.
pub fn page_to_mark(i: &Inspection) -> Result<Option<String>> {
    if i.references.is_empty() { mark::page(&i.photo).map(Some) } else { Ok(None) }
}

/// Measures the photos and writes the reports. Fails as [`pipeline::inspect`] does, and when the folder is in use.
pub fn run(args: &Inspect) -> Result<ExitCode> {
    match args.photos.as_slice() {
        [photo] if args.shard.is_none() && !many::is_many(&args.photos) => one(args, photo),
        _ if args.opposite.is_some() => Err(Error::new(
            Stage::Arguments,
            "--opposite",
            "a second photo goes with one photo, and several were given",
            "inspect each pair by itself",
        )),
        _ => many::run(args),
    }
}

fn one(args: &Inspect, photo: &Path) -> Result<ExitCode> {
    let options = pipeline::Options {
        opposite: args.opposite.clone(),
        opposite_light_from_deg: args.opposite_light_from.as_deref().map(side).transpose()?,
        ..args.look.options()?
    };
    let folder = args.out.clone().unwrap_or_else(|| save::default_folder(photo));
    save::check_free(&folder, args.overwrite, "--out")?;
    if let Some(dir) = &args.trace {
        save::check_free(dir, args.overwrite, "--trace")?;
    }
    let mut book = args.keep.open()?;
    let facts = PlanFacts { names: args.keep.names(), ..args.look.facts() };
    let plan_file = args.plan.clone().or_else(|| plan_of(photo, None));
    let (plan, caveats) = plan::gather(plan_file.as_deref(), &facts)?;
    let mut trace = match &args.trace {
        Some(dir) => Trace::into_folder(dir)?,
        None => Trace::off(),
    };
    let made = make(photo, plan, caveats, &options, &mut trace)?;
    if let Some(book) = &mut book {
        let thumbnail = draw::thumbnail(&made.inspection.photo);
        eprintln!("{}", args.keep.add(book, made.entry(&thumbnail), plan_file.as_deref(), args.overwrite)?);
    }
    let (json, to_mark) = (made.json(), page_to_mark(&made.inspection)?);
    save::save(&folder, &made.files(&json, to_mark.as_deref()))?;
    say(&if args.json {
        json
    } else {
        let hint = to_mark
            .map_or(String::new(), |_| format!("no scale: mark it by hand in {}\n", folder.join(mark::PAGE).display()));
        format!("{}\n{hint}report: {}\n", report::text(&made.inspection), folder.join("report.html").display())
    });
    args.look.timings(&trace);
    Ok(ExitCode::SUCCESS)
}
