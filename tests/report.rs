//! The report of a made-up inspection: nothing fetched, everything escaped, every key there.

#[path = "support/inspection.rs"]
mod inspection;

use inspection::made_up;
use lowsun::report::Inspection;
use lowsun::{draw, report};
use serde_json::Value;

fn page(i: &Inspection) -> String {
    report::html(i, &draw::pictures(i)).unwrap()
}

/// Every value of attribute `name` in the page.
fn attributes<'a>(page: &'a str, name: &str) -> Vec<&'a str> {
    page.split(&format!(" {name}=\"")).skip(1).map(|t| &t[..t.find('"').unwrap()]).collect()
}

/// Leaves the pages where a person can look at them, and holds that both kinds can be made.
#[test]
fn pages_with_and_without_a_scale_are_made() {
    let mut inches = made_up("pocket-inches.jpg", true);
    inches.plan.units = lowsun::units::LengthUnit::In;
    for (name, i) in
        [("scaled", made_up("pocket.jpg", true)), ("unscaled", made_up("pocket.jpg", false)), ("inches", inches)]
    {
        let page = page(&i);
        assert!(page.len() > 50_000 && page.ends_with("</html>"), "{name}: {} bytes", page.len());
        std::fs::write(format!("{}/page-{name}.html", env!("CARGO_TARGET_TMPDIR")), page).unwrap();
    }
}

#[test]
fn the_page_fetches_nothing_and_runs_nothing() {
    let page = page(&made_up("pocket.jpg", true));
    let sources: Vec<&str> = ["src", "href", "xlink:href"].iter().flat_map(|n| attributes(&page, n)).collect();
    assert_eq!(sources.len(), 2, "two pictures are expected");
    assert!(sources.iter().all(|s| s.starts_with("data:image/jpeg;base64,")), "a source is not inline");
    for word in ["<script", "<link", "<iframe", "javascript:", "@import", "url(", "http:", "https:"] {
        assert!(!page.contains(word), "the page holds {word}");
    }
    assert!(page.contains("Content-Security-Policy"));
}

#[test]
fn a_nasty_name_and_nasty_texts_stay_text() {
    let nasty = "<script>alert(1)</script>\"'&.jpg";
    let mut i = made_up(nasty, true);
    i.explanation.headline = nasty.into();
    i.explanation.findings[0].changes[0].what = nasty.into();
    i.explanation.comparison.matches[0].what = nasty.into();
    i.caveats[0].text = nasty.into();
    i.photo.camera.model = Some(nasty.into());
    i.patch.how = nasty.into();
    let page = page(&i);
    assert!(!page.contains("<script"), "markup from outside got through");
    assert!(page.matches("alert(1)").count() >= 6, "a text is missing from the page");
}

#[test]
fn every_key_is_there_and_absent_is_null() {
    let with = report::json(&made_up("pocket.jpg", true));
    let without = report::json(&made_up("pocket.jpg", false));
    for path in [
        "/schema_version",
        "/program/name",
        "/program/version",
        "/photo/file",
        "/photo/sha256",
        "/photo/width_px",
        "/photo/height_px",
        "/photo/taken",
        "/photo/camera",
        "/light/from_deg/value",
        "/light/elevation_deg/sigma",
        "/light/source",
        "/floor/area_mm2",
        "/floor/used_fraction",
        "/floor/outline_px/3/1",
        "/floor/outline_mm",
        "/marks/families/0/pitch_mm",
        "/marks/families/0/normal_deg/sigma",
        "/marks/families/0/curved",
        "/marks/families/0/strength_db",
        "/marks/families/0/false_alarm",
        "/marks/families/0/coherent_passes",
        "/marks/families/0/period_kind",
        "/marks/families/0/height_um",
        "/marks/edges/1/offset_mm",
        "/marks/edges/1/length_mm",
        "/marks/edges/1/normal_deg",
        "/marks/edges/1/polarity",
        "/marks/edges/1/height_um",
        "/marks/strips/0/offset_mm",
        "/marks/strips/0/width_mm",
        "/marks/strips/0/level_um",
        "/marks/quality/visible_lines_per_10mm",
        "/marks/quality/ridge_contrast",
        "/marks/quality/height_p95_um",
        "/marks/rim/ragged_fraction",
        "/comparison/planned_stepover_mm",
        "/comparison/nearest_pitch_mm",
        "/comparison/ratio",
        "/comparison/deviation_sigmas",
        "/comparison/matches",
        "/verdict",
        "/findings/0/id",
        "/findings/0/probability",
        "/findings/0/summary",
        "/findings/0/evidence/0",
        "/findings/0/against/0",
        "/findings/0/changes/0/what",
        "/findings/0/changes/0/from",
        "/findings/0/changes/0/to",
        "/findings/0/changes/0/why",
        "/findings/0/changes/0/cost",
        "/caveats/0/id",
        "/caveats/0/text",
        "/caveats/0/try",
        "/retake",
        "/scale",
    ] {
        assert!(with.pointer(path).is_some(), "{path} is missing");
        assert!(without.pointer(path).is_some(), "{path} is missing without a scale");
    }
    for path in ["/mm_per_px/value", "/source", "/residual_px", "/plane", "/floor_offset_corrected"] {
        assert!(with.pointer(&format!("/scale{path}")).is_some_and(|v| !v.is_null()), "scale{path}");
    }
    assert_eq!(with["scale"]["source"], "id1");
    assert_eq!(with["floor"]["outline_mm"].as_array().map(Vec::len), Some(4));
    for path in [
        "/scale",
        "/floor/area_mm2",
        "/floor/outline_mm",
        "/marks/families/0/pitch_mm",
        "/marks/families/0/height_um",
        "/marks/edges/0/offset_mm",
        "/marks/strips/0/width_mm",
    ] {
        assert_eq!(without.pointer(path), Some(&Value::Null), "{path} has no scale to stand on");
    }
    assert_eq!(without["marks"]["families"][0]["pitch_px"]["value"], 25.0);
}

#[test]
fn lengths_in_json_stay_millimetres_whatever_the_page_shows() {
    let mut i = made_up("pocket.jpg", true);
    i.plan.units = lowsun::units::LengthUnit::In;
    (i.frame.floor_offset_corrected, i.frame.floor_offset_mm) = (true, 3.26);
    // The words of a finding are its room's own; only what this room shows is looked at.
    i.explanation.findings[0].changes.clear();
    assert_eq!(report::json(&i)["marks"]["families"][0]["pitch_mm"]["value"], 2.5);
    let page = page(&i);
    assert!(page.contains("0.09843 \u{b1} 0.00016 in"), "the spacing is not shown in inches");
    assert!(!page.contains(" mm<"), "millimetres are left on an inch page");
    assert!(page.contains("down to the floor by 0.1283 in"), "the way to the floor is not shown in inches");
}

#[test]
fn what_is_not_finite_becomes_null() {
    let mut i = made_up("pocket.jpg", true);
    i.frame.residual_px = f64::NAN;
    i.marks.families[0].strength_db = f64::INFINITY;
    let json = report::json(&i);
    assert!(json["scale"]["residual_px"].is_null() && json["marks"]["families"][0]["strength_db"].is_null());
}

#[test]
fn the_short_text_leads_with_the_verdict_and_names_the_first_change() {
    let i = made_up("pocket.jpg", true);
    let text = report::text(&i);
    assert!(text.starts_with(&i.explanation.headline), "{text}");
    for part in
        ["2.500 \u{b1} 0.004 mm", "planned stepover 2.50 mm", "24 \u{b1} 5 \u{b5}m", "72%", "from 2.50 mm to 1.90 mm"]
    {
        assert!(text.contains(part), "{part} is missing in\n{text}");
    }
    assert!(text.lines().count() < 25, "{text}");
}

/// JSON Schema draft 2020-12, read by a library that knows nothing of this crate.
#[test]
fn reports_follow_their_schema_and_the_schema_can_refuse() {
    let schema = report::schema();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for i in [made_up("pocket.jpg", true), made_up("pocket.jpg", false)] {
        let mut json = report::json(&i);
        let faults: Vec<String> = validator.iter_errors(&json).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(faults.is_empty(), "{faults:#?}");
        let good = json.clone();
        json["marks"]["families"] = Value::Null;
        assert!(!validator.is_valid(&json), "families may not be null");
        json = good.clone();
        json["verdict"] = "perhaps".into();
        assert!(!validator.is_valid(&json), "a verdict of our own making passes");
        json = good;
        json["light"]["from_deg"] = 12.into();
        assert!(!validator.is_valid(&json), "a value without its sigma passes");
    }
}
