//! The front door: arguments in, exit code out (`cli` documents them).

mod cli;
mod save;

use clap::Parser;
use lowsun::error::Stage;
use std::process::ExitCode;

fn main() -> ExitCode {
    cli::Cli::parse().command.run().unwrap_or_else(|e| {
        eprintln!("lowsun: {e}");
        ExitCode::from(if e.stage == Stage::Arguments { 2 } else { 1 })
    })
}
