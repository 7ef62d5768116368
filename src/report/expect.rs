//! What `lowsun expect` says: the floor that a plan would leave, as a page, as JSON and as a few lines of text.

use super::json::{Program, program, value_of};
use super::{render, words};
use crate::caveat::Caveat;
use crate::error::Result;
use crate::expect::cost;
use crate::expect::forecast::{Forecast, Outlook, WhatIf, shown_mm};
use crate::expect::model::Free;
use crate::expect::model::free;
use crate::expect::{Cause, model};
use crate::explain;
use crate::explain::findings::record;
use crate::plan::PlannedCut;
use crate::units::LengthUnit;
use askama::Template;
use serde::Serialize;
use serde_json::Value;
use std::fmt::Write;

/// Section and made picture of one cause, trusted SVG of this crate.
#[derive(Debug, Clone, Default)]
pub struct OutlookPictures {
    pub section: String,
    pub lit: String,
}

/// A height for the reader: whole micrometres from ten up, else one place; thousandths of an inch (thou).
fn height(u: LengthUnit, um: f64) -> String {
    match u {
        _ if um <= 0.0 => "none".into(),
        LengthUnit::Mm if um < 10.0 => format!("{um:.1} \u{b5}m"),
        LengthUnit::Mm => format!("{um:.0} \u{b5}m"),
        LengthUnit::In if um < 0.127 => "under 0.01 thou".into(),
        LengthUnit::In => format!("{:.2} thou", um / 25.4),
    }
}

fn range(u: LengthUnit, o: &Outlook) -> String {
    if o.high_um <= 0.0 {
        return "none".into();
    }
    if (o.high_um / o.low_um.max(1e-9) - 1.0).abs() < 1e-6 {
        return height(u, o.drawn_um);
    }
    format!("{} (from {} to {})", height(u, o.drawn_um), height(u, o.low_um), height(u, o.high_um))
}

fn assumed(f: &Free) -> String {
    let unit = if f.unit == "um" { "\u{b5}m" } else { f.unit };
    format!(
        "{} {:.3} {unit} (usually {:.3} to {:.3}; {})",
        f.what,
        Short(f.drawn),
        Short(f.low),
        Short(f.high),
        f.origin
    )
}

/// Three figures at most.
struct Short(f64);
impl std::fmt::Display for Short {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        let v = self.0;
        match v.abs() {
            a if a >= 100.0 => write!(f, "{v:.0}"),
            a if a >= 10.0 => write!(f, "{v:.1}"),
            _ => write!(f, "{v:.2}"),
        }
    }
}

/// Where its edges and strips lie, in words.
fn places(u: LengthUnit, o: &Outlook) -> Option<String> {
    if let Some(p) = o.relief.period_mm.filter(|_| o.drawn_um > 0.0) {
        return Some(format!("repeats every {}", u.show(p)));
    }
    let strips: Vec<String> = o
        .relief
        .strips
        .iter()
        .take(3)
        .map(|s| {
            let way = if s.level_um > 0.0 { "high" } else { "deep" };
            let place = if s.from_mm < 1e-6 {
                "at the wall".to_owned()
            } else {
                format!("{} from the wall", u.show(s.from_mm))
            };
            format!("a strip {} wide lies {way}, {place}", u.show(s.width_mm))
        })
        .collect();
    (!strips.is_empty()).then(|| strips.join("; "))
}

struct Row<'a> {
    name: &'static str,
    line: &'static str,
    range: String,
    assumed: Option<String>,
    places: Option<String>,
    pictures: &'a OutlookPictures,
}

struct OtherRow {
    change: String,
    first: String,
    alternating: String,
    lean: String,
    cusps: String,
    time: String,
}

#[derive(Template)]
#[template(path = "expect.html", config = "src/report/askama.toml")]
struct Page<'a> {
    name: &'a str,
    facts: Vec<(&'static str, String)>,
    assumed: &'a [String],
    rows: Vec<Row<'a>>,
    others: Vec<OtherRow>,
    machines: Vec<(&'static str, String)>,
    layer: Option<String>,
    elevation: f64,
    from_file: bool,
    caveats: &'a [Caveat],
    cautions: &'a [&'static str],
}

fn facts(f: &Forecast, plan: &PlannedCut) -> Vec<(&'static str, String)> {
    let (u, p) = (plan.units, &f.model.passes);
    let shape = plan.cutter.shape.map_or("shape not given, taken for flat".into(), |s| s.word().to_owned());
    let way = match (p.contour, plan.both_ways) {
        (true, _) => "loops along the walls",
        (false, Some(false)) => "straight passes, one way",
        (false, _) => "straight passes, to and fro",
    };
    vec![
        ("Cutter", format!("{} {shape}", u.show(p.diameter_mm))),
        (
            "Stepover",
            format!("{} ({} of the cutter)", u.show(p.stepover_mm), words::percent(p.stepover_mm / p.diameter_mm)),
        ),
        (
            "Passes",
            format!(
                "{way}; {} in all, {}",
                u.show(p.length_mm()),
                if p.from_file { "from the cutting file" } else { "as the plan lays them" }
            ),
        ),
        ("Pocket", format!("{} x {}", u.show(p.size_mm.0), u.show(p.size_mm.1))),
    ]
}

fn others(u: LengthUnit, all: &[WhatIf]) -> Vec<OtherRow> {
    let row = |w: &WhatIf| OtherRow {
        change: w.change.clone(),
        first: height(u, w.first_pass_um),
        alternating: height(u, w.alternating_um),
        lean: height(u, w.lean_across_um),
        cusps: height(u, w.cusps_um),
        time: w.minutes.map_or("not known".into(), cost::minutes),
    };
    all.iter().map(row).collect()
}

/// The page; `pictures` stand in the order of the outlooks. Fails only when the template does, which the build has checked.
pub fn expect_html(
    name: &str,
    f: &Forecast,
    plan: &PlannedCut,
    pictures: &[OutlookPictures],
    elevation: f64,
    caveats: &[Caveat],
) -> Result<String> {
    let u = plan.units;
    let row = |(o, pictures): (&Outlook, _)| Row {
        name: record(o.relief.cause).title,
        line: record(o.relief.cause).line,
        range: range(u, o),
        assumed: o.relief.free.as_ref().map(assumed),
        places: places(u, o),
        pictures,
    };
    let at = |k: f64| height(u, free::full_width_um(plan, k));
    let page = Page {
        name,
        facts: facts(f, plan),
        assumed: &f.model.passes.assumed,
        rows: f.outlooks.iter().zip(pictures).map(row).collect(),
        others: others(u, &f.what_if),
        machines: free::MACHINES.iter().map(|(n, low, high)| (*n, format!("{} to {}", at(*high), at(*low)))).collect(),
        layer: f.layer.map(|l| format!("{}, by {}", cost::minutes(l.minutes), l.from)),
        elevation,
        from_file: f.model.passes.from_file,
        caveats,
        cautions: &explain::CAUTIONS,
    };
    render(&page, name)
}

#[derive(Serialize)]
struct Foretold<'a> {
    id: Cause,
    height_um: [f64; 3],
    free: Option<Free>,
    period_mm: Option<f64>,
    slope_harmonics: Option<[f64; 3]>,
    edges: &'a [model::LaidEdge],
    strips: &'a [model::LaidStrip],
    section: &'a [(f64, f64)],
}

#[derive(Serialize)]
struct Expectation<'a> {
    schema_version: u32,
    program: Program,
    cutter_mm: f64,
    stepover_mm: f64,
    pocket_mm: (f64, f64),
    from_cutting_file: bool,
    assumed: &'a [String],
    causes: Vec<Foretold<'a>>,
    what_if: &'a [WhatIf],
    caveats: &'a [Caveat],
}

/// The forecast as JSON: lengths in millimetres, places from the wall where the passes begin, heights in micrometres;
/// `height_um` holds the least, the drawn and the largest, the sections their first stepovers.
pub fn expect_json(f: &Forecast, caveats: &[Caveat]) -> Value {
    let p = &f.model.passes;
    let shown = shown_mm(&f.model);
    let causes = f
        .outlooks
        .iter()
        .map(|o| {
            let r = &o.relief;
            Foretold {
                id: r.cause,
                height_um: [o.low_um, o.drawn_um, o.high_um],
                free: r.free,
                period_mm: r.period_mm,
                slope_harmonics: r.slope_harmonics,
                edges: &r.edges,
                strips: &r.strips,
                section: &r.section[..r.section.partition_point(|q| q.0 <= shown)],
            }
        })
        .collect();
    value_of(&Expectation {
        schema_version: super::json::SCHEMA_VERSION,
        program: program(),
        cutter_mm: p.diameter_mm,
        stepover_mm: p.stepover_mm,
        pocket_mm: p.size_mm,
        from_cutting_file: p.from_file,
        assumed: &p.assumed,
        causes,
        what_if: &f.what_if,
        caveats,
    })
}

/// The forecast in a few lines, ending in a line break.
pub fn expect_text(name: &str, f: &Forecast, plan: &PlannedCut) -> String {
    let u = plan.units;
    let mut out = format!("{name}: what the plan would leave\n");
    for (what, value) in facts(f, plan) {
        let _ = writeln!(out, "  {what}: {value}");
    }
    out.push('\n');
    for o in &f.outlooks {
        let _ = write!(out, "{}: {}", record(o.relief.cause).title, range(u, o));
        let _ = writeln!(out, "{}", places(u, o).map_or(String::new(), |p| format!("; {p}")));
    }
    out.push_str("\nOther settings (first pass | there and back | lean across | cusps | time):\n");
    for o in others(u, &f.what_if) {
        let _ =
            writeln!(out, "  {}: {} | {} | {} | {} | {}", o.change, o.first, o.alternating, o.lean, o.cusps, o.time);
    }
    out
}
