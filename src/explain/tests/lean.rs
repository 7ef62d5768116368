//! The side that a spindle leans to.

use super::*;

/// Which way the spindle leans: a disc turned in space and lit, by numpy (tests/truth/lean.py).
#[test]
fn the_side_that_a_spindle_leans_to_is_that_of_a_leaning_disc() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/lean.json");
    let truth: serde_json::Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    let text = "[cutter]\nshape = \"flat\"\ndiameter = 6.35\n[cut]\npass_angle_deg = 0\nstepover = 2.54\n[machine]\nmount_bolt_spacing = 80";
    let plan = crate::plan::parse(text, "made-up.toml", Default::default()).unwrap();
    let rows = truth["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 8);
    let said = |skew: f64, lamp: f64| {
        let mut p = patch();
        p.light.from_deg = Some(m(lamp, 2.0));
        let (e, _) = weighed(&frame(), &p, &with_family(Family { skew, ..saw(2.54, 90.0) }), &plan);
        assert_eq!(e.findings[0].id, Cause::TiltAcrossPasses);
        e.findings[0].changes.iter().find(|c| c.what == "spindle mount").unwrap().to.clone()
    };
    for r in rows {
        let f = |k: &str| r[k].as_f64().unwrap();
        let to_the_lamp = (f("top_to_deg") - f("lamp_from_deg")).to_radians().cos() > 0.0;
        let words = said(f("skew"), f("lamp_from_deg"));
        assert_eq!(words.contains("leans towards the side that the lamp"), to_the_lamp, "{r}: {words}");
        assert_eq!(words.contains("leans away from the side that the lamp"), !to_the_lamp, "{r}: {words}");
        assert!(words.contains("upper row of its bolts where the plate behind it stands on the side"), "{words}");
    }
    // Light along the lines shows no side.
    let words = said(-2.0, 5.0);
    assert!(!words.contains("leans") && words.contains("one row of its bolts"), "{words}");
}

#[test]
fn four_ridges_of_wide_passes_are_a_lean_along_without_any_family() {
    let p = plan(&[("diameter = 6.35", "diameter = 25.4"), ("stepover = 2.54", "stepover = 16.3")]);
    let mut marks = plain_marks();
    for y in [12.0, 28.4, 44.5, 60.9] {
        marks.edges.push(edge(y - 0.6, 90.0, 90.0, Polarity::Lit, 20.0));
        marks.edges.push(edge(y + 0.6, 90.0, 90.0, Polarity::Shade, 20.0));
    }
    let (e, _) = says(&marks, &p, Cause::TiltAlongPasses, Verdict::Scallops);
    assert!(e.findings[0].evidence.iter().any(|w| w.contains("4 lines at even distances")), "{:?}", e.findings[0]);
    // One flank each: the same floor steps down pass by pass.
    marks.edges.retain(|e| e.polarity == Polarity::Shade);
    marks.edges.push(edge(77.0 - 0.6, 90.0, 90.0, Polarity::Shade, 20.0));
    says(&marks, &p, Cause::TiltAcrossPasses, Verdict::Scallops);
}
