//! Rows of the tables and of the list of main numbers.

use super::{Inspection, words};
use crate::marks::{Family, Polarity, Strip};

/// One family of lines against the plan.
pub(super) struct FamilyRow {
    pub pitch: String,
    pub direction: String,
    pub height: String,
    pub strength: String,
    pub kind: &'static str,
    pub plan: String,
}

pub(super) fn family_rows(i: &Inspection) -> Vec<FamilyRow> {
    i.marks.families.iter().map(|f| family_row(i, f)).collect()
}

fn family_row(i: &Inspection, f: &Family) -> FamilyRow {
    FamilyRow {
        pitch: words::length(i, f.pitch),
        direction: if f.along_walls.is_some() {
            "along the walls".into()
        } else if f.curved {
            "curved".into()
        } else if f.wandering {
            format!("{}, out of step from place to place", words::plus_minus(f.normal_deg, "\u{b0}"))
        } else {
            words::plus_minus(f.normal_deg, "\u{b0}")
        },
        height: f.height_um.map_or("not known".into(), |h| words::height(i.plan.units, h)),
        strength: format!("{:.0} dB", f.strength_db),
        kind: words::period_kind(f.period_kind),
        plan: against_plan(i, f),
    }
}

/// What of the plan this pitch agrees with, or that nothing does.
fn against_plan(i: &Inspection, f: &Family) -> String {
    let c = &i.explanation.comparison;
    let mut own: Vec<_> = c.matches.iter().filter(|m| m.pitch_mm == f.pitch.value).collect();
    own.sort_by(|a, b| a.sigmas.abs().total_cmp(&b.sigmas.abs()));
    match own.first() {
        Some(m) => format!("{}, {} ({:.1} sigma off)", m.what, i.plan.units.show(m.expected_mm), m.sigmas.abs()),
        None if i.frame.scale.is_none() => "no scale to compare by".into(),
        None => "nothing in the plan".into(),
    }
}

/// One strip in words.
pub(super) fn strip(i: &Inspection, s: &Strip) -> String {
    let level = match (s.level_um, s.proud) {
        (Some(l), _) => format!(
            "{} {} the floor beside it",
            words::height(i.plan.units, crate::units::Measured { value: l.value.abs(), ..l }),
            if l.value >= 0.0 { "above" } else { "below" }
        ),
        (None, true) => "proud of the floor beside it".into(),
        (None, false) => "below the floor beside it".into(),
    };
    format!("{} wide, {level}", words::length(i, s.width))
}

/// How many edges of either kind, in words.
pub(super) fn edges(i: &Inspection) -> String {
    let shade = i.marks.edges.iter().filter(|e| e.polarity == Polarity::Shade).count();
    let lit = i.marks.edges.len() - shade;
    let count = |n: usize, kind: &str| format!("{n} {kind} {}", if n == 1 { "edge" } else { "edges" });
    match (shade, lit) {
        (0, 0) => "none".into(),
        _ => format!("{}, {}", count(shade, "dark"), count(lit, "bright")),
    }
}

/// Surface figures in the standards' terms: name and value.
pub(super) fn surface(i: &Inspection) -> Vec<(&'static str, String)> {
    let (s, u) = (&i.marks.surface, i.plan.units);
    let heights = [
        ("Ra, arithmetic mean deviation", s.ra_um),
        ("Rq, root mean square deviation", s.rq_um),
        ("Rz, peak to valley in a sampling length", s.rz_um),
    ];
    let mut out: Vec<(&'static str, String)> = vec![];
    out.extend(s.rsm_mm.map(|m| ("RSm, mean width of the profile elements", words::length(i, m))));
    out.extend(
        heights
            .iter()
            .filter_map(|(name, h)| h.map(|h| (*name, format!("{} (estimated from light)", words::height(u, h))))),
    );
    out.extend(s.cut_off_mm.zip(s.sampling_lengths).map(|(lc, n)| {
        let lengths = if n == 1 { "one sampling length".to_owned() } else { format!("{n} sampling lengths") };
        ("Filter", format!("Gaussian, cut-off {lc} mm, {lengths}"))
    }));
    out
}

/// The list of main numbers: name and value.
pub(super) fn main_numbers(i: &Inspection) -> Vec<(&'static str, String)> {
    let u = i.plan.units;
    let c = &i.explanation.comparison;
    let mut out: Vec<(&'static str, String)> = vec![];
    if let Some(f) = i.marks.families.first() {
        out.push(("Spacing of the strongest lines", words::length(i, f.pitch)));
    }
    if let Some(s) = c.planned_stepover_mm {
        let percent = i.plan.stepover_percent.map(|p| format!(" ({p} % of the cutter)")).unwrap_or_default();
        out.push(("Planned stepover", format!("{}{percent}", u.show(s))));
    }
    if let Some(r) = c.ratio {
        out.push(("Found over planned", words::plus_minus(r, "")));
    }
    if let Some(h) = i.marks.families.first().and_then(|f| f.height_um) {
        out.push(("Height of those ridges", words::height(u, h)));
    }
    if let Some(h) = i.marks.quality.height_p95_um {
        out.push(("Height that 95 % of the marks stay under", words::height(u, h)));
    }
    if let Some(h) = i.marks.quality.detectable_height_um {
        out.push(("Smallest ridge this photo can show", format!("about {}", u.show_height(h))));
    }
    out.push(("Long edges", edges(i)));
    let bent: Vec<f64> = i.marks.curves.bent().map(|c| c.length).collect();
    if !bent.is_empty() {
        let all: f64 = bent.iter().sum();
        let all = if i.frame.scale.is_some() { u.show(all) } else { format!("{all:.0} px") };
        out.push(("Lines that bend", format!("{}, {all} in all", bent.len())));
    }
    out.extend(i.marks.strips.iter().take(3).map(|s| ("Strip", strip(i, s))));
    if let Some((n, r)) = i.marks.turns.as_ref().and_then(|t| Some((t.places.len(), t.radius?))) {
        out.push(("Rings where the cutter turned", format!("{n}, radius {}", words::length(i, r))));
    }
    if let Some(r) = i.marks.rim.ragged {
        out.push(("Ragged share of the rim", words::plus_minus(r.scaled(100.0), "%")));
    }
    out.push(("Lamp", words::lamp(i)));
    out
}
