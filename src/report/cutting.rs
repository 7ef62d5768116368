//! What was read from the cutting file, in words and in the plan's units.

use super::words;
use crate::plan::{CuttingFile, PlannedCut};
use crate::toolpath::{FirstPass, Floor, PassPattern};
use crate::units::LengthUnit;

/// Names and values; empty where no cutting file was given.
pub(super) fn rows(plan: &PlannedCut) -> Vec<(&'static str, String)> {
    let Some(c) = &plan.cutting_file else { return vec![] };
    let u = plan.units;
    let mut out = vec![("File", c.file.clone()), ("Whole cut", whole(c, u))];
    if let Some(f) = &c.floor {
        out.extend(floor(f, u));
    }
    out
}

fn whole(c: &CuttingFile, u: LengthUnit) -> String {
    let t = &c.totals;
    let time = match t.cut_min {
        m if m <= 0.0 => String::new(),
        m if m < 1.0 => format!(", {:.0} seconds at its feeds", m * 60.0),
        m => format!(", {m:.1} minutes at its feeds"),
    };
    format!("{} of cutting{time}; {} of rapid moves", u.show(t.cut_mm()), u.show(t.rapid_mm))
}

fn floor(f: &Floor, u: LengthUnit) -> Vec<(&'static str, String)> {
    let mut out = vec![(
        "Floor",
        match (f.z_mm, f.depth_mm) {
            (None, _) => "a slope or a carved surface".into(),
            (_, Some(d)) => format!("{} below the file's zero", u.show(d)),
            (Some(z), None) => format!("at {} in the file", u.show(z)),
        },
    )];
    let passes = match (f.pattern, f.both_ways) {
        (Some(PassPattern::Parallel), Some(true)) => format!("{} straight passes, to and fro", f.passes),
        (Some(PassPattern::Parallel), _) => format!("{} straight passes, one way", f.passes),
        (Some(PassPattern::Contour), _) => format!("loops along the walls, about {} turns", f.passes),
        (None, _) => "no regular pattern".into(),
    };
    let angle = f.pass_angle_deg.map(|a| format!(", {a:.0}\u{b0} from the file's X")).unwrap_or_default();
    out.push(("Passes there", format!("{passes}{angle}; {} in all", u.show(f.length_mm))));
    if let Some(s) = f.spacings.first() {
        out.push(("From pass to pass", format!("{} ({} of them)", u.show(s.mm), words::percent(s.share))));
    }
    if let Some(first) = f.first_pass {
        let word = match first {
            FirstPass::AtTheWall => "at the wall",
            FirstPass::InTheMiddle => "in the middle",
        };
        out.push(("First pass", format!("{word}; {} cut at full width", u.show(f.full_width_mm))));
    }
    if let Some(c) = f.climb_share {
        out.push((
            "Way of cutting",
            format!("{} climbing, {} conventional", words::percent(c), words::percent(1.0 - c)),
        ));
    }
    match (f.skim_mm, f.last_layer_mm) {
        (Some(s), _) => out.push(("Last layer", format!("a skim of {}", u.show(s)))),
        (None, Some(t)) => out.push(("Last layer", format!("{}, no skim", u.show(t)))),
        _ => {}
    }
    let feed = f.feed_mm_min.map(|v| format!("{} per minute", u.show(v)));
    let speed = f.speed_rpm.map(|v| format!("{v:.0} turns per minute"));
    let both: Vec<String> = feed.into_iter().chain(speed).collect();
    if !both.is_empty() {
        out.push(("Feed and speed there", both.join(", ")));
    }
    if let Some(t) = f.tool {
        let others: Vec<String> = f.other_tools.iter().filter_map(|o| o.0).map(|n| format!("T{n}")).collect();
        let also = if others.is_empty() { String::new() } else { format!("; also {}", others.join(", ")) };
        out.push(("Tool there", format!("T{t}{also}")));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::PlanFacts;
    use crate::plan::gather;

    #[test]
    fn the_facts_are_told_in_the_plans_units() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("made-up.ngc");
        let mut text = String::from("G21 F1270 S16000 M3 T1\nG0 X0 Y0 Z5\nG1 Z-2.54\n");
        for k in 0..12 {
            text += &format!("G1 Y{}\nX{}\n", 2.54 * f64::from(k), if k % 2 == 0 { 80 } else { 0 });
        }
        std::fs::write(&file, text).unwrap();
        let facts = PlanFacts { units: Some(LengthUnit::In), toolpath: Some(file), ..Default::default() };
        let (plan, _) = gather(None, &facts).unwrap();
        let rows = rows(&plan);
        let of = |name: &str| rows.iter().find(|r| r.0 == name).map(|r| r.1.as_str()).unwrap_or_default();
        assert_eq!(of("Floor"), "0.1000 in below the file's zero");
        assert!(of("Passes there").starts_with("12 straight passes, to and fro, 0\u{b0}"), "{rows:?}");
        assert!(of("From pass to pass").starts_with("0.1000 in (100"), "{rows:?}");
        assert_eq!(of("Feed and speed there"), "50.000 in per minute, 16000 turns per minute");
        assert_eq!(of("Tool there"), "T1");
        assert!(super::rows(&PlannedCut::default()).is_empty());
    }
}
