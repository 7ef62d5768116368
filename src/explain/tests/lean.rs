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
