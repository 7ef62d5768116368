//! Room 2a: the cutting file. RS274/NGC as NISTIR 6556 describes it (Kramer, Proctor, Messina, "The NIST RS274/NGC
//! Interpreter - Version 3", 2000, doi 10.6028/NIST.IR.6556), and what other dialects commonly write, each with a caveat.
//!
//! [`read`] turns the file into a flat list of [`Move`]s in millimetres. Each line goes through the grammar ([`line`],
//! [`expression`]), the check of its codes ([`codes`]) and the machine that carries it out ([`machine`], with [`arc`] and
//! [`cycle`]). [`notes`] gathers what was noticed on the way.
//!
//! ```
//! let (path, _) = lowsun::toolpath::parse("G21 G0 X0 Y0 Z0\nG1 X30 F600\nG3 X30 Y10 J5\n", "made-up.ngc").unwrap();
//! assert!((path.totals.cut_mm() - (30.0 + 5.0 * std::f64::consts::PI)).abs() < 1e-9);
//! ```

mod arc;
mod codes;
mod cycle;
mod expression;
mod floor;
#[cfg(test)]
mod floor_tests;
mod lanes;
mod levels;
mod line;
mod machine;
mod moves;
mod notes;
mod order;
#[cfg(test)]
mod tests;

pub use floor::{FirstPass, Floor, Known, PassPattern, Run, floor};
pub use lanes::Spacing;
pub use levels::Level;
pub use moves::{Arc, Kind, Move, Plane, Spin, Totals};

use crate::caveat;
use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::units::LengthUnit;
use machine::{Assumed, Machine};
use std::path::Path;

/// Largest cutting file read, bytes. A day's relief carving has a few megabytes; ten times that is a wrong file, and
/// the moves of a longer one would not fit a small machine's memory.
const MAX_BYTES: u64 = 64_000_000;

/// A cutting file, read.
#[derive(Debug, Clone, PartialEq)]
pub struct Toolpath {
    /// The file as the user named it.
    pub file: String,
    pub moves: Vec<Move>,
    pub totals: Totals,
    /// The unit that the file's lengths are written in (all lengths here are millimetres).
    pub unit: LengthUnit,
}

/// Reads a cutting file.
///
/// Gives its moves in millimetres and the caveats of the reading. Fails at [`Stage::Toolpath`] on a file that cannot be
/// opened, is longer than 64 MB or holds no moves, and on the first line that is not RS274/NGC and that no known dialect
/// explains (with its number and the reason).
pub fn read(path: &Path) -> Result<(Toolpath, Vec<Caveat>)> {
    let name = path.display().to_string();
    let fail = |what: String, hint: &str| Error::new(Stage::Toolpath, name.clone(), what, hint);
    let meta = std::fs::metadata(path)
        .map_err(|e| fail(format!("cannot be opened ({e})"), "check the path of the cutting file, or leave it out"))?;
    if !meta.is_file() {
        return Err(fail("is not a file".into(), "give the cutting file itself, not its folder"));
    }
    if meta.len() > MAX_BYTES {
        let mb = meta.len() / 1_000_000;
        return Err(fail(format!("is {mb} MB, too long for a cutting file"), "was another file given in its place?"));
    }
    let bytes = std::fs::read(path).map_err(|e| fail(format!("cannot be read ({e})"), "check its permissions"))?;
    // Comments may be in any character set: what is not UTF-8 in them is of no account.
    parse(&String::from_utf8_lossy(&bytes), &name)
}

/// The text of a cutting file into moves; `name` stands in messages. Fails as [`read`] does.
pub fn parse(text: &str, name: &str) -> Result<(Toolpath, Vec<Caveat>)> {
    let mut assumed = Assumed { inch: false, absolute_centres: false };
    let mut run = carry_out(text, name, assumed)?;
    let unit_open = !matches!(run.first_unit, Some((_, false)));
    if unit_open {
        assumed.inch = match run.first_unit {
            Some((inch, _)) => inch,
            None => Size::of(&run.moves).looks_like_inches(),
        };
        if assumed.inch {
            run = carry_out(text, name, assumed)?;
        }
    }
    let (steps, places) = run.centre_votes;
    if places > steps {
        assumed.absolute_centres = true;
        run = carry_out(text, name, assumed)?;
    }
    let moves = run.take_moves();
    if !moves.iter().any(Move::is_cut) {
        return Err(Error::new(
            Stage::Toolpath,
            name,
            "holds no cutting move (G1, G2 or G3)",
            "give the file that the machine ran; was another file given in its place?",
        ));
    }
    let mut caveats = run.notes.caveats();
    let unit = match (run.first_unit, assumed.inch) {
        (Some((true, false)), _) | (_, true) => LengthUnit::In,
        _ => LengthUnit::Mm,
    };
    if unit_open {
        caveats.insert(0, unit_caveat(&run, &moves, unit));
    }
    let totals = Totals::of(&moves, run.dwell_min);
    Ok((Toolpath { file: name.to_owned(), moves, totals, unit }, caveats))
}

/// One run over all lines. Fails on the first bad line.
fn carry_out(text: &str, name: &str, assumed: Assumed) -> Result<Machine> {
    let mut machine = Machine::new(assumed);
    // Old files end their lines with a carriage return alone.
    let end = if text.contains('\n') { '\n' } else { '\r' };
    let mut percents = 0;
    for (k, raw) in text.trim_start_matches('\u{feff}').split(end).enumerate() {
        let fail = |why: String| {
            Error::new(
                Stage::Toolpath,
                name,
                format!("line {}: {why}", k + 1),
                "correct that line, or give the cutting file as the machine ran it (RS274/NGC)",
            )
        };
        if raw.trim() == "%" {
            percents += 1;
            if percents == 2 || machine.first_unit.is_some() || !machine.moves.is_empty() {
                break;
            }
            continue;
        }
        let line = line::read(raw).map_err(fail)?;
        machine.run(k + 1, &line).map_err(fail)?;
        if machine.ended {
            break;
        }
    }
    Ok(machine)
}

/// The bare numbers of a file, to tell its unit by.
struct Size {
    extent: f64,
    feed: Option<f64>,
}

impl Size {
    /// From moves that were read as millimetres.
    fn of(moves: &[Move]) -> Self {
        let cuts = || moves.iter().filter(|m| m.is_cut());
        let extent = cuts().flat_map(|m| [m.end_mm[0].abs(), m.end_mm[1].abs()]).fold(0.0, f64::max);
        Self { extent, feed: cuts().filter_map(|m| m.feed_mm_min).reduce(f64::max) }
    }
    /// Common practice, no source: no router table is 130 inches (3.3 m) from its zero; wood is cut at 1000 to 8000
    /// mm/min (40 to 300 in/min), so that a fastest feed under 300 is inches; without a feed, work within 20 of its zero
    /// is (20 mm are a coin, 20 in a sign).
    fn looks_like_inches(&self) -> bool {
        match self.feed {
            _ if self.extent > 130.0 => false,
            Some(f) => f < 300.0,
            None => self.extent < 20.0,
        }
    }
}

fn unit_caveat(run: &Machine, moves: &[Move], unit: LengthUnit) -> Caveat {
    let word = if unit == LengthUnit::In { "inches" } else { "millimetres" };
    let text = match run.first_unit {
        Some(_) => format!("The cutting file moves before it names its unit; it was read in {word} from the start."),
        None => {
            let s = Size::of(moves);
            let feed = s.feed.map(|f| format!(" and its fastest feed is {:.0}", f / unit.in_mm())).unwrap_or_default();
            format!(
                "The cutting file names no unit (G20 or G21). It was guessed to be in {word}: its cuts reach {:.1} from \
                 zero{feed}.",
                s.extent / unit.in_mm()
            )
        }
    };
    caveat::TOOLPATH_UNITS.with(text)
}
