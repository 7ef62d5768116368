//! `lowsun expect`: what a plan would leave on the floor, without a photo.

use super::say;
use crate::save;
use clap::Args;
use lowsun::draw;
use lowsun::error::{Error, Result, Stage};
use lowsun::expect::forecast::forecast;
use lowsun::plan::{self, PlanFacts};
use lowsun::report::{OutlookPictures, expect_html, expect_json, expect_text};
use lowsun::units::LengthUnit;
use rayon::prelude::*;
use std::path::PathBuf;
use std::process::ExitCode;

/// Height of a usual lamp over the floor, degrees.
const USUAL_LAMP_DEG: f64 = 12.0;

#[derive(Debug, Args)]
pub struct Expect {
    /// What is meant to be cut (TOML); cutter diameter and stepover are needed.
    #[arg(long, value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// The cutting file (RS274/NGC): its own passes are then laid, in their order.
    #[arg(long, value_name = "FILE")]
    pub toolpath: Option<PathBuf>,
    /// Folder for expect.html and expect.json [default: PLAN.expect beside the plan].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Unit of what is shown [default: the plan's].
    #[arg(long)]
    pub units: Option<LengthUnit>,
    /// Replace an older forecast in a folder that already holds something. Other files there are left alone.
    #[arg(long)]
    pub overwrite: bool,
    /// Print expect.json on standard output instead of the short text.
    #[arg(long)]
    pub json: bool,
}

/// Lays the passes, writes the page and the JSON, prints a few lines.
///
/// Fails as [`plan::gather`] does, at [`Stage::Plan`] on a plan without cutter or stepover, and when the folder is in use or
/// cannot be written.
pub fn run(args: &Expect) -> Result<ExitCode> {
    let folder = args.out.clone().unwrap_or_else(|| args.plan.with_extension("expect"));
    save::check_free(&folder, args.overwrite, "--out")?;
    let facts = PlanFacts { units: args.units, toolpath: args.toolpath.clone(), ..Default::default() };
    let (plan, caveats) = plan::gather(Some(&args.plan), &facts)?;
    let name = args.plan.file_name().map_or("the plan".into(), |n| n.to_string_lossy());
    let forecast = forecast(&plan).ok_or_else(|| {
        Error::new(
            Stage::Plan,
            args.plan.display().to_string(),
            "does not give both the cutter's diameter and the stepover",
            "add diameter under [cutter] and stepover under [cut]; nothing can be laid without them",
        )
    })?;
    let elevation = plan.light_elevation_deg.filter(|e| *e > 0.0 && *e < 90.0).unwrap_or(USUAL_LAMP_DEG);
    let pictures: Vec<OutlookPictures> = forecast
        .outlooks
        .par_iter()
        .map(|o| OutlookPictures {
            section: draw::forecast::section(&forecast.model, &o.relief, plan.units),
            lit: draw::forecast::lit(&forecast.model, &o.relief, &plan, elevation),
        })
        .collect();
    let json = format!("{:#}\n", expect_json(&forecast, &caveats));
    let page = expect_html(&name, &forecast, &plan, &pictures, elevation, &caveats)?;
    save::save(&folder, &[("expect.html", page.as_bytes()), ("expect.json", json.as_bytes())])?;
    say(&if args.json {
        json
    } else {
        format!("{}\npage: {}\n", expect_text(&name, &forecast, &plan), folder.join("expect.html").display())
    });
    Ok(ExitCode::SUCCESS)
}
