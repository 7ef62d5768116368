//! The few facts that matter most, given one by one, over or without a plan file.

use super::{Helix, Names, Pattern, PlannedCut, Shape, check, cutting, file};
use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::units::{LengthUnit, parse_length};
use std::path::{Path, PathBuf};

/// Facts given one by one (the same words as on the command line); `None` leaves the plan's own.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PlanFacts {
    /// Unit of bare lengths in these facts and in a file that names none, and of what is shown.
    pub units: Option<LengthUnit>,
    /// Cutter diameter: `6.35`, `6.35mm`, `0.25in`, `1/4in`.
    pub cutter: Option<String>,
    pub shape: Option<Shape>,
    pub helix: Option<Helix>,
    /// Stepover: `40%` of the diameter, or a length such as `2.5mm`.
    pub stepover: Option<String>,
    /// Depth of the pocket's floor below the rim.
    pub depth: Option<String>,
    pub pattern: Option<Pattern>,
    /// Outer width and height of a rectangular pocket: `116x76mm`, `4.5inx3in`.
    pub pocket: Option<String>,
    /// The cutting file; wins over the one that the plan names.
    pub toolpath: Option<PathBuf>,
    /// What job, machine and cutter are called.
    pub names: Names,
}

/// A stepover as typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Stepover {
    Mm(f64),
    Percent(f64),
}

pub(super) fn parse_stepover(text: &str, units: LengthUnit) -> std::result::Result<Stepover, String> {
    match text.trim().strip_suffix('%') {
        Some(p) => match p.trim().parse::<f64>() {
            Ok(v) if v.is_finite() => Ok(Stepover::Percent(v)),
            _ => Err(format!("'{text}' is not a percentage: write a number and %, such as 40%")),
        },
        None => parse_length(text, units).map(Stepover::Mm),
    }
}

/// Width and height as typed, `WxH`; a unit on the height alone holds for both.
fn parse_size(text: &str, units: LengthUnit) -> std::result::Result<(f64, f64), String> {
    let (w, h) = text
        .split_once(['x', 'X', '\u{d7}'])
        .ok_or_else(|| format!("'{text}' is not a size: the x between width and height is missing"))?;
    let unit = h.trim().trim_start_matches(|c: char| c.is_ascii_digit() || ".,/+-eE".contains(c)).trim();
    let bare = w.trim().chars().all(|c| c.is_ascii_digit() || ". /".contains(c));
    let w = if bare { format!("{w}{unit}") } else { w.to_owned() };
    Ok((parse_length(&w, units)?, parse_length(h, units)?))
}

impl PlannedCut {
    /// Brings the stepover in line with the percentage it was written as, where there is one.
    pub(super) fn resolve_stepover(&mut self) {
        if let Some(p) = self.stepover_percent {
            self.stepover_mm = self.cutter.diameter_mm.map(|d| d * p / 100.0);
        }
    }
}

/// The plan with single facts over it: a fact wins over the file. Call [`check`] on the result.
///
/// Fails at [`Stage::Arguments`] on a length that cannot be read or is not above zero.
pub fn merge(mut plan: PlannedCut, facts: &PlanFacts) -> Result<PlannedCut> {
    let bare = facts.units.unwrap_or(plan.units);
    plan.units = bare;
    plan.names = facts.names.or(&plan.names);
    let above_zero = |option: &str, v: f64, what: String, hint: &str| {
        if v > 0.0 { Ok(v) } else { Err(Error::new(Stage::Arguments, option, what, hint)) }
    };
    let length = |option: &str, text: &Option<String>| -> Result<Option<f64>> {
        let Some(t) = text else { return Ok(None) };
        let hint = "write a length such as 6.35mm or 0.25in";
        let mm = parse_length(t, bare).map_err(|e| Error::new(Stage::Arguments, option, e, hint))?;
        above_zero(option, mm, format!("'{t}' is not above zero"), hint).map(Some)
    };
    if let Some(d) = length("--cutter", &facts.cutter)? {
        plan.cutter.diameter_mm = Some(d);
    }
    if let Some(d) = length("--depth", &facts.depth)? {
        plan.depth_mm = Some(d);
    }
    plan.cutter.shape = facts.shape.or(plan.cutter.shape);
    plan.cutter.helix = facts.helix.or(plan.cutter.helix);
    plan.pattern = facts.pattern.or(plan.pattern);
    if let Some(t) = &facts.pocket {
        let hint = "write width x height with a unit, such as 116x76mm or 4.5x3in";
        let (w, h) = parse_size(t, bare).map_err(|e| Error::new(Stage::Arguments, "--pocket", e, hint))?;
        let zero = || format!("'{t}' is not above zero");
        plan.pocket_mm = Some((above_zero("--pocket", w, zero(), hint)?, above_zero("--pocket", h, zero(), hint)?));
    }
    if let Some(t) = &facts.stepover {
        let hint = "write a share of the diameter such as 40%, or a length such as 2.5mm";
        let zero = format!("'{t}' is not above zero");
        match parse_stepover(t, bare).map_err(|e| Error::new(Stage::Arguments, "--stepover", e, hint))? {
            Stepover::Mm(v) => {
                plan.stepover_mm = Some(above_zero("--stepover", v, zero, hint)?);
                plan.stepover_percent = None;
            }
            Stepover::Percent(p) => plan.stepover_percent = Some(above_zero("--stepover", p, zero, hint)?),
        }
    }
    plan.resolve_stepover();
    Ok(plan)
}

/// The whole room: the plan file where there is one, the cutting file over it, the facts over both, then the look-over
/// of the result.
///
/// Fails as [`read`](super::read), [`toolpath::read`](crate::toolpath::read) and [`merge`] do, and on a cutting file that
/// the plan names outside its own folder.
pub fn gather(path: Option<&Path>, facts: &PlanFacts) -> Result<(PlannedCut, Vec<Caveat>)> {
    let (name, mut plan) = match path {
        Some(p) => {
            let name = p.display().to_string();
            let plan = file::parse(&file::text_of(p)?, &name, facts.units.unwrap_or_default())?;
            (name, plan)
        }
        None => ("the plan".to_owned(), PlannedCut::default()),
    };
    let cutting_file = match (&facts.toolpath, path, &plan.toolpath) {
        (Some(given), _, _) => Some(given.clone()),
        (None, Some(p), Some(named)) => Some(cutting::beside(p, named)?),
        _ => None,
    };
    let wished = merge(plan.clone(), facts)?;
    let Some(cutting_file) = cutting_file else {
        let caveats = check(&wished, &name)?;
        return Ok((wished, caveats));
    };
    let mut caveats = cutting::lay_over(&mut plan, &wished, &cutting_file)?;
    let plan = merge(plan, facts)?;
    caveats.extend(cutting::differences(&wished, &plan));
    caveats.extend(check(&plan, &name)?);
    Ok((plan, caveats))
}
