//! A comparison for people: a page of one file, and a short text for the terminal.

use super::{Compared, Difference, Fate, Judged, Kind, Mark};
use crate::report::{height, length_in, plus_minus};
use crate::units::{LengthUnit, Measured};
use askama::Template;
use std::fmt::Write;

/// What is drawn; absent where a side is a report without its photo.
#[derive(Debug, Clone, Default)]
pub struct Pictures {
    /// Both floors at one scale and one grey scale, as SVG.
    pub floors: Option<(String, String)>,
    /// Both spectra in one plot, as SVG.
    pub spectra: Option<String>,
}

#[derive(Template)]
#[template(path = "compare.html", config = "src/compare/askama.toml")]
struct Page<'a> {
    c: &'a Compared,
    pictures: &'a Pictures,
    figures: Vec<[String; 5]>,
    marks: Vec<[String; 5]>,
}

/// The page as UTF-8 text; fails only when the template does, which the build has checked.
pub fn html(c: &Compared, pictures: &Pictures, unit: LengthUnit) -> crate::error::Result<String> {
    Page { c, pictures, figures: figures(c, unit), marks: marks(c, unit) }.render().map_err(|e| {
        crate::error::Error::new(crate::error::Stage::Compare, "the page", e.to_string(), "report this as a fault")
    })
}

/// A dozen lines for the terminal.
pub fn text(c: &Compared, unit: LengthUnit) -> String {
    let mut out = format!("{}\n\n", c.headline);
    for [name, before, after, change, judged] in figures(c, unit) {
        let _ = writeln!(
            out,
            "  {name}: {before} before, {after} after; {}{judged}",
            if change == "-" { String::new() } else { format!("{change}; ") }
        );
    }
    out.push('\n');
    for [fate, what, before, after, more] in marks(c, unit) {
        let _ = writeln!(out, "  {fate}: {what} {before} / {after}; {more}");
    }
    for l in &c.limits {
        let _ = writeln!(out, "note: {l}");
    }
    out
}

/// Name, before, after, change, judgement.
fn figures(c: &Compared, unit: LengthUnit) -> Vec<[String; 5]> {
    let um = |m: Measured| height(unit, m);
    let lines = |m: Measured| plus_minus(m, "");
    let percent = |v: f64| if v > 0.0 { format!("{:.1} %", 100.0 * v) } else { "no even lines".into() };
    let mut counted = row("Visible lines per 10 mm", &c.visible_lines_per_10mm, unit, &lines);
    for (cell, side) in [(1, &c.before), (2, &c.after)] {
        if side.mm_per_px.is_some() && side.visible_pitch_mm.is_none() {
            counted[cell] = "none visible".into();
        }
    }
    let contrast = match (c.lamps.factor, c.lamps.alike) {
        _ if c.lamps.contrast_before == 0.0 && c.lamps.contrast_after == 0.0 => "nothing to compare".to_owned(),
        (_, true) => "may be compared: the lamps are alike".to_owned(),
        (Some(f), _) => format!("not comparable: the lamps alone make a factor of {}", plus_minus(f, "")),
        (None, _) => "not comparable: the lamps are not both known".to_owned(),
    };
    vec![
        row("Ridge height (95 % stay under)", &c.height_um, unit, &um),
        counted,
        [
            "Bare contrast".into(),
            percent(c.lamps.contrast_before),
            percent(c.lamps.contrast_after),
            "-".into(),
            contrast,
        ],
    ]
}

fn row(name: &str, d: &Difference, unit: LengthUnit, show: &dyn Fn(Measured) -> String) -> [String; 5] {
    let value = |m: Option<Measured>| match (m, d.limit) {
        (Some(m), _) => show(m),
        (None, Some(l)) if matches!(d.judged, Judged::Open) => format!("nothing above about {}", unit.show_height(l)),
        (None, Some(l)) => format!("under about {}", unit.show_height(l)),
        (None, None) => "not known".into(),
    };
    let change = d.change.map_or("-".into(), show);
    [name.into(), value(d.before), value(d.after), change, judged(d)]
}

fn judged(d: &Difference) -> String {
    let sigmas = d.sigmas.map_or(String::new(), |s| format!(", {:.1} sigma", s.abs()));
    let word = match d.judged {
        Judged::Less => "less",
        Judged::More => "more",
        Judged::MaybeLess => "perhaps less",
        Judged::MaybeMore => "perhaps more",
        Judged::Alike => "no difference beyond the doubt",
        Judged::Open => "cannot be told",
    };
    let why = d.why.as_ref().map_or(String::new(), |w| format!(": {w}"));
    format!("{word}{sigmas}{why}")
}

/// Fate, what, before, after, more.
fn marks(c: &Compared, unit: LengthUnit) -> Vec<[String; 5]> {
    let one = |m: &Option<Mark>| match m {
        Some(m) => {
            let high = m.height_um.map_or(String::new(), |h| format!(", {}", height(unit, h)));
            format!("{}{high}", length_in(unit, m.size_mm))
        }
        None => "-".into(),
    };
    c.marks
        .iter()
        .map(|p| {
            let kind = p.before.as_ref().or(p.after.as_ref()).map(|m| m.kind);
            let what = if kind == Some(Kind::Strip) { "strip, wide" } else { "even lines, every" };
            let more = match p.fate {
                Fate::Went => "the photo after would have shown it".into(),
                Fate::New => "the photo before would have shown it".into(),
                Fate::NotSeenAfter | Fate::NotSeenBefore => "whether that photo could have shown it is not sure".into(),
                Fate::Stayed => {
                    let part =
                        |name: &str, d: &Option<Difference>| d.as_ref().map(|d| format!("{name}: {}", judged(d)));
                    let size = part(if kind == Some(Kind::Strip) { "width" } else { "spacing" }, &p.size_mm);
                    [size, part("height", &p.height_um)].into_iter().flatten().collect::<Vec<_>>().join("; ")
                }
            };
            let fate = match p.fate {
                Fate::Stayed => "stayed",
                Fate::Went => "went",
                Fate::New => "new",
                Fate::NotSeenAfter => "not seen after",
                Fate::NotSeenBefore => "not seen before",
            };
            [fate.into(), what.into(), one(&p.before), one(&p.after), more]
        })
        .collect()
}
