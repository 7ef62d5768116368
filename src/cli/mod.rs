//! The command line: one file a subcommand with its flags and what it does, [`look`] for the flags that several share.
//! Bad values are told with what was expected; clap ends with exit code 2 on what it refuses itself.

mod card;
mod check;
mod compare;
mod expect;
mod inspect;
mod keep;
mod look;
mod manual;
mod many;
mod mark;
mod records;
mod reply;
mod request;

use clap::{Parser, Subcommand};
use lowsun::error::Result;
use std::io::Write;
use std::process::ExitCode;

const EXIT_CODES: &str = "\
Exit codes:
  0  inspect: a report was written for every photo, whatever it says; check: go, or usable with care; others: done
  1  a photo could not be measured, or the book not be read or written (the message says why and what to try)
  2  the command line cannot be followed (unknown flag, bad value, output folder in use)
  3  check: retake, the photo cannot carry an answer

Examples:
  lowsun check pocket.jpg --plan pocket.toml
  lowsun inspect pocket.jpg --plan pocket.toml
  lowsun inspect pocket.jpg --cutter 1/4in --stepover 40% --depth 0.1in --units in --out report
  lowsun inspect pocket.jpg --plan pocket.toml --record shop.book --job boathouse
  lowsun records list shop.book --job boathouse
  lowsun request --paper letter --units in --out to-send
  lowsun reply pocket.lowsun --to Ann --from \"The boathouse\"
  lowsun compare before.jpg after.jpg --plan pocket.toml
  lowsun expect --plan pocket.toml --out forecast
  lowsun card --form pocket --paper letter --out to-print
  lowsun inspect pocket.jpg --marks pocket.marks.toml
  lowsun inspect photos --plan pocket.toml --shard 2/8
  lowsun inspect scan.png --mm-per-px 0.0423 --light-from left --light-elevation 12";

/// Reads a raking-light photo of a routed pocket floor: what made its ridges, how high they are, what to change.
#[derive(Debug, Parser)]
#[command(name = "lowsun", version, about, after_help = EXIT_CODES, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Measure photos and write report.html and report.json for each; over several also a summary.
    #[command(after_help = EXIT_CODES)]
    Inspect(Box<inspect::Inspect>),
    /// Write our own reference card, to print: PDF and SVG, in its cutting lines, with bars to check the printer.
    #[command(after_help = EXIT_CODES)]
    Card(card::Card),
    /// Say within a second whether a photo is fit for use, and what to change. Writes nothing.
    #[command(after_help = EXIT_CODES)]
    Check(Box<check::Check>),
    /// Write the page on which reference points and the floor's outline are marked by hand (works offline).
    Mark(mark::Mark),
    /// Write the sheet that asks a customer for a photo: how to take it, which facts to send, the card on page two.
    Request(request::Request),
    /// Turn a report into a plain letter (text and HTML) to the person who sent the photo.
    Reply(reply::Reply),
    /// Say what a plan would leave on the floor, without a photo: expect.html and expect.json.
    #[command(after_help = EXIT_CODES)]
    Expect(expect::Expect),
    /// Write the manual pages (man), one a subcommand.
    Manual(manual::Manual),
    /// Print the completions of a shell, to be saved where it looks for them.
    Completions(manual::Completions),
    /// Look into a book of inspections kept with inspect --record: list, show, plot, export, merge.
    #[command(after_help = EXIT_CODES)]
    Records(records::Records),
    /// Set two floors side by side, before and after a change: what is lower, what went, what stayed, what is new.
    #[command(after_help = EXIT_CODES)]
    Compare(Box<compare::Compare>),
}

impl Command {
    /// Does what was asked for; gives the exit code.
    pub fn run(&self) -> Result<ExitCode> {
        match self {
            Self::Inspect(args) => inspect::run(args),
            Self::Card(args) => card::run(args),
            Self::Check(args) => check::run(args),
            Self::Mark(args) => mark::run(args),
            Self::Request(args) => request::run(args),
            Self::Reply(args) => reply::run(args),
            Self::Expect(args) => expect::run(args),
            Self::Manual(args) => manual::run(args),
            Self::Completions(args) => manual::completions(args),
            Self::Records(args) => records::run(args),
            Self::Compare(args) => compare::run(args),
        }
    }
}

/// To standard output. A reader that closes its end early is no failure of ours.
fn say(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}
