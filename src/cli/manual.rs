//! `lowsun manual` and `lowsun completions`: made from the same definitions as `--help`, so that they cannot disagree.

use super::{Cli, say};
use crate::save;
use clap::{Args, Command, CommandFactory};
use clap_complete::Shell;
use clap_mangen::Man;
use lowsun::error::{Error, Result, Stage};
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(Debug, Args)]
pub struct Manual {
    /// Folder for the pages: lowsun.1, lowsun-inspect.1 and so on.
    #[arg(long, value_name = "DIR", default_value = ".")]
    pub out: PathBuf,
    /// Replace files of the same name.
    #[arg(long)]
    pub overwrite: bool,
}

#[derive(Debug, Args)]
pub struct Completions {
    /// The shell.
    pub shell: Shell,
}

/// Writes the pages. Fails when a file is there already or cannot be written.
pub fn run(args: &Manual) -> Result<ExitCode> {
    let mut all = Cli::command().disable_help_subcommand(true);
    all.build();
    let pages: Vec<(String, Vec<u8>)> =
        std::iter::once(&all).chain(all.get_subcommands()).map(page).collect::<std::io::Result<_>>().map_err(|e| {
            Error::new(Stage::Output, "the manual", format!("cannot be made: {e}"), "report this as a fault")
        })?;
    let files: Vec<(&str, &[u8])> = pages.iter().map(|p| (p.0.as_str(), p.1.as_slice())).collect();
    save::check_new(&args.out, &files, args.overwrite)?;
    save::save(&args.out, &files)?;
    say(&format!("{} pages in {}; read one with: man -l lowsun.1\n", files.len(), args.out.display()));
    Ok(ExitCode::SUCCESS)
}

fn page(command: &Command) -> std::io::Result<(String, Vec<u8>)> {
    let man = Man::new(command.clone());
    let mut bytes = vec![];
    man.render(&mut bytes)?;
    Ok((man.get_filename(), bytes))
}

/// Prints the completions; never fails.
pub fn completions(args: &Completions) -> Result<ExitCode> {
    let mut bytes = vec![];
    clap_complete::generate(args.shell, &mut Cli::command(), "lowsun", &mut bytes);
    say(&String::from_utf8_lossy(&bytes));
    Ok(ExitCode::SUCCESS)
}
