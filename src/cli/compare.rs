//! `lowsun compare`: the same floor, or the same job, before and after a change.

use super::inspect::{make, plan_of};
use super::look::Look;
use super::say;
use crate::save;
use clap::Args;
use lowsun::compare::{self, Pictures, Side};
use lowsun::error::{Error, Result, Stage};
use lowsun::records::Book;
use lowsun::report::Inspection;
use lowsun::trace::Trace;
use lowsun::units::LengthUnit;
use lowsun::{draw, plan};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Compare {
    /// Before: a photo, a report.json, the folder that holds one, or BOOK#NUMBER for a record of a book.
    pub before: PathBuf,
    /// After: likewise.
    pub after: PathBuf,
    /// What was meant to be cut (TOML), for photos on both sides. NAME.plan.toml beside a photo wins over it.
    #[arg(long, value_name = "PLAN.toml")]
    pub plan: Option<PathBuf>,
    /// The plan after the change, where it is another one.
    #[arg(long, value_name = "PLAN.toml")]
    pub plan_after: Option<PathBuf>,
    /// Folder for compare.html and compare.json [default: AFTER.compared beside AFTER].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Replace files of the same name.
    #[arg(long)]
    pub overwrite: bool,
    /// Print compare.json on standard output instead of the short text.
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    pub look: Look,
}

/// One side: what its report says, and everything measured where it is a photo.
struct Seen {
    side: Side,
    /// The unit of its sentences.
    unit: Option<LengthUnit>,
    inspection: Option<Inspection>,
}

/// Fails on a side that is neither photo nor report, as an inspection does on a photo, and on files that are there
/// already.
pub fn run(args: &Compare) -> Result<ExitCode> {
    let folder = args.out.clone().unwrap_or_else(|| args.after.with_extension("compared"));
    let names = ["compare.html", "compare.json"];
    save::check_new(&folder, &names.map(|n| (n, &[] as &[u8])), args.overwrite)?;
    let before = seen(args, &args.before, args.plan.as_deref())?;
    let after = seen(args, &args.after, args.plan_after.as_deref().or(args.plan.as_deref()))?;
    let unit = args.look.units.or(after.unit).unwrap_or_default();
    let pictures = match (&before.inspection, &after.inspection) {
        (Some(b), Some(a)) => draw::pair(b, a),
        _ => Pictures::default(),
    };
    let compared = compare::compare(before.side, after.side, unit);
    let (page, json) = (compare::html(&compared, &pictures, unit)?, format!("{:#}\n", compared.json()));
    save::save(&folder, &[(names[0], page.as_bytes()), (names[1], json.as_bytes())])?;
    say(&if args.json {
        json
    } else {
        format!("{}\npage: {}\n", compare::text(&compared, unit), folder.join(names[0]).display())
    });
    Ok(ExitCode::SUCCESS)
}

fn seen(args: &Compare, path: &Path, plan: Option<&Path>) -> Result<Seen> {
    let name = path.display().to_string();
    if let Some(report) = earlier(path, &name)? {
        return Ok(Seen { side: Side::read(&report, &name)?, unit: unit(&report), inspection: None });
    }
    let (plan, caveats) = plan::gather(plan_of(path, plan).as_deref(), &args.look.facts())?;
    let made = make(path, plan, caveats, &args.look.options()?, &mut Trace::off())?;
    Ok(Seen { side: Side::read(&made.report, &name)?, unit: unit(&made.report), inspection: Some(made.inspection) })
}

fn unit(report: &Value) -> Option<LengthUnit> {
    serde_json::from_value(report["units"].clone()).ok()
}

/// The report that is meant; `None` where a photo is.
fn earlier(path: &Path, name: &str) -> Result<Option<Value>> {
    let text = match name.rsplit_once('#') {
        Some((book, number)) if !path.exists() => {
            let number = number.parse().map_err(|_| {
                let hint = "write the book, # and the record's number, such as shop.book#12";
                Error::new(Stage::Arguments, name, "names no record", hint)
            })?;
            Book::read(book.as_ref())?.get(number)?.report_json
        }
        _ => {
            let file = if path.is_dir() { path.join("report.json") } else { path.to_owned() };
            if file.extension().is_none_or(|e| e != "json") {
                return Ok(None);
            }
            std::fs::read_to_string(&file).map_err(|e| {
                let hint = "give a photo, a report.json, or the folder that holds one";
                Error::new(Stage::Compare, file.display().to_string(), format!("cannot be read ({e})"), hint)
            })?
        }
    };
    let hint = "give a photo, a report.json of this program, or the folder that holds one";
    serde_json::from_str(&text)
        .map(Some)
        .map_err(|e| Error::new(Stage::Compare, name, format!("is not JSON ({e})"), hint))
}
