//! The front door: arguments in, one report out, exit code (`cli` documents them).

mod cli;
mod print;
mod save;

use clap::Parser;
use lowsun::error::{Result, Stage};
use lowsun::trace::Trace;
use lowsun::{draw, fit, pipeline, plan, report};
use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    let done = match cli::Cli::parse().command {
        cli::Command::Inspect(args) => inspect(&args),
        cli::Command::Check(args) => check(&args),
        cli::Command::Card(args) => print::card(&args).map(|told| {
            say(&told);
            ExitCode::SUCCESS
        }),
    };
    done.unwrap_or_else(|e| {
        eprintln!("lowsun: {e}");
        ExitCode::from(if e.stage == Stage::Arguments { 2 } else { 1 })
    })
}

fn inspect(args: &cli::Inspect) -> Result<ExitCode> {
    let options = args.look.options()?;
    let folder = args.out.clone().unwrap_or_else(|| save::default_folder(&args.photo));
    save::check_free(&folder, args.overwrite, "--out")?;
    if let Some(dir) = &args.trace {
        save::check_free(dir, args.overwrite, "--trace")?;
    }
    let (plan, caveats) = plan::gather(args.plan.as_deref(), &args.look.facts())?;
    let mut trace = match &args.trace {
        Some(dir) => Trace::into_folder(dir)?,
        None => Trace::off(),
    };
    let inspection = pipeline::inspect(&args.photo, plan, caveats, &options, &mut trace)?;
    let json = format!("{:#}\n", report::json(&inspection));
    let pictures = trace.stage("draw", || draw::pictures(&inspection));
    let page = trace.stage("report", || report::html(&inspection, &pictures))?;
    save::save(&folder, &[("report.html", page.as_bytes()), ("report.json", json.as_bytes())])?;
    say(&if args.json {
        json
    } else {
        format!("{}\nreport: {}\n", report::text(&inspection), folder.join("report.html").display())
    });
    timings(&args.look, &trace);
    Ok(ExitCode::SUCCESS)
}

fn check(args: &cli::Check) -> Result<ExitCode> {
    let options = args.look.options()?;
    let (plan, caveats) = plan::gather(args.plan.as_deref(), &args.look.facts())?;
    let mut trace = Trace::off();
    let checked = pipeline::check(&args.photo, plan, caveats, &options, &mut trace)?;
    say(&if args.json { format!("{:#}\n", report::check_json(&checked)) } else { report::check_text(&checked) });
    timings(&args.look, &trace);
    Ok(match checked.fit.verdict() {
        fit::Grade::Retake => ExitCode::from(cli::EXIT_RETAKE),
        _ => ExitCode::SUCCESS,
    })
}

/// To standard output. A reader that closes its end early is no failure of ours.
fn say(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}

fn timings(look: &cli::Look, trace: &Trace) {
    if !look.timings {
        return;
    }
    for (stage, took) in trace.stamps() {
        eprintln!("{stage:>12} {:>8.1} ms", took.as_secs_f64() * 1e3);
    }
    let total: f64 = trace.stamps().iter().map(|s| s.1.as_secs_f64()).sum();
    eprintln!("{:>12} {:>8.1} ms", "total", total * 1e3);
}
