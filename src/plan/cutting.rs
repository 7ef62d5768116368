//! What a cutting file says about the cut, laid over the plan: it is what the machine ran, so it wins over the plan
//! file; both values stand in a caveat where they differ.

use super::{Pattern, PlannedCut};
use crate::caveat;
use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::toolpath;
use crate::toolpath::{Floor, Known, PassPattern, Totals};
use crate::units::{LengthUnit, line_difference, wrap_180};
use serde::Serialize;
use std::path::{Component, Path, PathBuf};

/// The cutting file as read.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct CuttingFile {
    pub file: String,
    /// The unit its lengths are written in; all lengths here are millimetres.
    pub unit: LengthUnit,
    pub totals: Totals,
    /// `None`: it clears no floor.
    pub floor: Option<Floor>,
}

/// Two lengths (or feeds, or speeds) this near, as a share, are the same: more than rounding to three figures does.
const SAME_SHARE: f64 = 0.01;
/// Two angles this near, degrees, are the same.
const SAME_DEG: f64 = 1.0;
/// Two depths or skims this near are the same, mm: zero is set by hand to a few hundredths.
const SAME_DEPTH_MM: f64 = 0.05;
/// Within this factor of ten times: layers are rounded to whole steps.
const TENFOLD: f64 = 1.2;
/// From this share of the passes on, the commonest spacing is the stepover that was set.
const ONE_STEPOVER: f64 = 0.5;

/// Where the cutting file that a plan names lies: beside the plan. Fails on a name that leads out of the plan's folder.
pub(super) fn beside(plan: &Path, named: &str) -> Result<PathBuf> {
    let inside = !named.is_empty() && Path::new(named).components().all(|c| matches!(c, Component::Normal(_)));
    if !inside {
        return Err(Error::new(
            Stage::Plan,
            plan.display().to_string(),
            format!("toolpath: '{named}' leads out of the plan's own folder"),
            "name a file beside the plan, or give another one with --toolpath",
        ));
    }
    Ok(plan.parent().unwrap_or(Path::new("")).join(named))
}

/// Reads the cutting file and fills the plan from it. `wished` is the plan with the command line's facts over it: what
/// is known of cutter and depth, and what the file is set against.
///
/// Fails as [`toolpath::read`] does.
pub(super) fn lay_over(plan: &mut PlannedCut, wished: &PlannedCut, path: &Path) -> Result<Vec<Caveat>> {
    let (read, mut caveats) = toolpath::read(path)?;
    let known = Known { cutter_mm: wished.cutter.diameter_mm, depth_mm: wished.depth_mm };
    let floor = toolpath::floor(&read, &known);
    match &floor {
        Some(f) => {
            caveats.extend(doubts(f, wished));
            fill(plan, wished, f);
        }
        None => caveats.push(
            caveat::TOOLPATH_NO_FLOOR.with("The cutting file clears no floor: it has single lines or holes only."),
        ),
    }
    plan.cutting_file = Some(CuttingFile { file: read.file, unit: read.unit, totals: read.totals, floor });
    Ok(caveats)
}

/// What of the floor's facts holds for a plan: every value that the file can give.
struct Said {
    stepover_mm: Option<f64>,
    depth_mm: Option<f64>,
    pocket_mm: Option<(f64, f64)>,
    pattern: Option<Pattern>,
    angle_deg: Option<f64>,
}

impl Said {
    fn of(f: &Floor, wished: &PlannedCut) -> Self {
        // An uneven spacing is better than none, and worse than what the plan says.
        let sure = |share: f64| share >= ONE_STEPOVER || wished.stepover_mm.is_none();
        let outer = |d: f64| {
            let [low, high] = f.box_mm;
            (high.x - low.x + d, high.y - low.y + d)
        };
        Self {
            stepover_mm: f.spacings.first().filter(|s| f.pattern.is_some() && sure(s.share)).map(|s| s.mm),
            depth_mm: f.depth_mm,
            pocket_mm: wished.cutter.diameter_mm.filter(|_| f.is_rectangle && f.depth_mm.is_some()).map(outer),
            pattern: f.pattern.map(|p| match p {
                PassPattern::Parallel => Pattern::Parallel,
                PassPattern::Contour => Pattern::Contour,
            }),
            // The file's y runs up the board, the plan's angles grow clockwise seen from above.
            angle_deg: f.pass_angle_deg.map(|a| wrap_180(-a)),
        }
    }
}

fn fill(plan: &mut PlannedCut, wished: &PlannedCut, f: &Floor) {
    let said = Said::of(f, wished);
    if let Some(s) = said.stepover_mm {
        (plan.stepover_mm, plan.stepover_percent) = (Some(s), None);
    }
    plan.depth_mm = said.depth_mm.or(plan.depth_mm);
    plan.pocket_mm = said.pocket_mm.or(plan.pocket_mm);
    plan.pattern = said.pattern.or(plan.pattern);
    plan.pass_angle_deg = said.angle_deg.or(plan.pass_angle_deg);
    plan.both_ways = f.both_ways.or(plan.both_ways);
    plan.skim_mm = f.skim_mm.or(plan.skim_mm);
    plan.feed_mm_min = f.feed_mm_min.or(plan.feed_mm_min);
    plan.speed_rpm = f.speed_rpm.or(plan.speed_rpm);
}

/// What the file leaves in doubt about the floor.
fn doubts(f: &Floor, wished: &PlannedCut) -> Vec<Caveat> {
    let u = wished.units;
    let mut out = vec![];
    match (f.z_mm, f.depth_mm) {
        (None, _) => out.push(caveat::TOOLPATH_NO_FLOOR.with(
            "The last passes of the cutting file follow a slope or a carved surface: they have no one level, and no depth is taken from them.",
        )),
        (Some(_), Some(d)) if wished.depth_mm.is_none() => out.push(caveat::TOOLPATH_STOCK_TOP.with(format!(
            "The floor is cut {} below the cutting file's zero; that zero was taken for the stock's top.",
            u.show(d)
        ))),
        (Some(z), None) => out.push(caveat::TOOLPATH_STOCK_TOP.with(format!(
            "The floor is cut at {} in the cutting file, not below its zero: zero is not the stock's top there, and no depth was taken.",
            u.show(z)
        ))),
        _ => {}
    }
    if let Some(first) = f.spacings.first().filter(|s| s.share < ONE_STEPOVER) {
        let list: Vec<String> =
            f.spacings.iter().map(|s| format!("{} ({:.0} %)", u.show(s.mm), s.share * 100.0)).collect();
        out.push(caveat::TOOLPATH_UNEVEN_SPACING.with(format!(
            "Only {:.0} % of the passes lie {} from the next; the commonest distances are {}.",
            first.share * 100.0,
            u.show(first.mm),
            list.join(", ")
        )));
    }
    if !f.other_tools.is_empty() && wished.second_cutter.is_none() {
        let name = |t: Option<u32>| t.map_or("a tool without number".into(), |t| format!("tool {t}"));
        let list: Vec<String> =
            f.other_tools.iter().map(|(t, l)| format!("{} over {}", name(*t), u.show(*l))).collect();
        out.push(caveat::TOOLPATH_SEVERAL_TOOLS.with(format!(
            "Most of the floor is cut by {}; at the same level also {}.",
            name(f.tool),
            list.join(", ")
        )));
    }
    out
}

/// One caveat for every value that `wished` and the cutting file give differently. `done` is the finished plan, which
/// tells whose value was used.
pub(super) fn differences(wished: &PlannedCut, done: &PlannedCut) -> Vec<Caveat> {
    let Some(f) = done.cutting_file.as_ref().and_then(|c| c.floor.as_ref()) else { return vec![] };
    let (u, said) = (done.units, Said::of(f, wished));
    let (mut out, mut skims) = (vec![], vec![]);
    let mut say = |what: &str, plan: String, file: String, file_used: bool| {
        let used = if file_used { "the cutting file's was used" } else { "the one from the command line was used" };
        out.push(
            caveat::TOOLPATH_AGAINST_PLAN
                .with(format!("{what}: {plan} in the plan, {file} in the cutting file; {used}.")),
        );
    };
    let share = |a: f64, b: f64| (a / b - 1.0).abs() <= SAME_SHARE;
    let near = |a: f64, b: f64| (a - b).abs() <= SAME_DEPTH_MM || share(a, b);
    type Same<'a> = &'a dyn Fn(f64, f64) -> bool;
    type Show<'a> = &'a dyn Fn(f64) -> String;
    // What, in the plan, in the file, as used.
    type Number<'a> = (&'a str, Option<f64>, Option<f64>, Option<f64>, Same<'a>, Show<'a>);
    let length: Show = &|v| u.show(v);
    let numbers: [Number; 6] = [
        ("Stepover", wished.stepover_mm, said.stepover_mm, done.stepover_mm, &share, length),
        ("Depth", wished.depth_mm, said.depth_mm, done.depth_mm, &near, length),
        ("Skim", wished.skim_mm, f.skim_mm, done.skim_mm, &near, length),
        ("Feed", wished.feed_mm_min, f.feed_mm_min, done.feed_mm_min, &share, &|v| format!("{} per minute", u.show(v))),
        ("Speed", wished.speed_rpm, f.speed_rpm, done.speed_rpm, &share, &|v| format!("{v:.0} turns per minute")),
        (
            "Direction of the passes",
            wished.pass_angle_deg,
            said.angle_deg,
            done.pass_angle_deg,
            &|a, b| line_difference(a, b).abs() <= SAME_DEG,
            &|v| format!("{v:.0} degrees"),
        ),
    ];
    for (what, plan, file, used, same, show) in numbers {
        if let (Some(p), Some(c)) = (plan, file)
            && !same(p, c)
        {
            say(what, show(p), show(c), used == Some(c));
        }
    }
    let tenfold = |a: f64, b: f64| (a / b / 10.0).ln().abs() <= TENFOLD.ln();
    if let (Some(k), Some(layer)) = (wished.skim_mm, f.last_layer_mm)
        && (tenfold(layer, k) || tenfold(k, layer))
    {
        skims.push(caveat::PLAN_SLIP_SKIM.with(format!(
            "The plan's skim is {}, the cutting file's last layer {}: the decimal point of one of them is one place off.",
            u.show(k),
            u.show(layer)
        )));
    }
    if let (Some(p), Some(c)) = (wished.pattern, said.pattern)
        && p != c
    {
        let word =
            |p: Pattern| (if p == Pattern::Parallel { "parallel passes" } else { "loops along the walls" }).into();
        say("Pattern", word(p), word(c), done.pattern == Some(c));
    }
    if let (Some(p), Some(c)) = (wished.both_ways, f.both_ways)
        && p != c
    {
        let word = |b: bool| (if b { "to and fro" } else { "one way only" }).into();
        say("Passes", word(p), word(c), true);
    }
    if let (Some(p), Some(c)) = (wished.pocket_mm, said.pocket_mm)
        && !(share(p.0, c.0) && share(p.1, c.1))
    {
        let size = |s: (f64, f64)| format!("{} x {}", u.show(s.0), u.show(s.1));
        say("Pocket", size(p), size(c), done.pocket_mm == Some(c));
    }
    out.extend(skims);
    out
}
