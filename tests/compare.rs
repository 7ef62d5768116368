//! Before and after on made floors whose change is known, from photos and from their reports.

mod support;

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use support::spec::Spec;
use tempfile::TempDir;

/// The sample floor of a leaning spindle, smaller: steps of stepover times tangent of the lean, 2.54 mm and 0.02 rad
/// (51 micrometres), lamp at 12 degrees.
fn leaning() -> Spec {
    let mut s = support::samples::samples().into_iter().find(|s| s.0 == "maple-flat-01").unwrap().1;
    s.tilt = [0.0, 0.02];
    s.camera.px = [1800, 1350];
    s.g = 0.07;
    s
}

fn photo(folder: &Path, name: &str, s: &Spec) -> PathBuf {
    let made = support::make(s);
    fs::write(folder.join(format!("{name}.plan.toml")), &made.plan).unwrap();
    let path = folder.join(format!("{name}.jpg"));
    fs::write(&path, &made.jpeg).unwrap();
    path
}

fn lowsun(args: &[&str]) -> Output {
    Command::cargo_bin("lowsun").unwrap().args(args).output().unwrap()
}

fn compared(before: &Path, after: &Path, out: &Path) -> (Value, String) {
    let o = lowsun(&["compare", text(before), text(after), "--out", text(out)]);
    assert!(o.status.success(), "{}", String::from_utf8_lossy(&o.stderr));
    let json = serde_json::from_slice(&fs::read(out.join("compare.json")).unwrap()).unwrap();
    (json, fs::read_to_string(out.join("compare.html")).unwrap())
}

fn text(p: &Path) -> &str {
    p.to_str().unwrap()
}

#[test]
fn a_change_is_seen_a_new_lamp_is_not_taken_for_one_and_a_lost_scale_is_said() {
    let folder = TempDir::new().unwrap();
    let dir = folder.path();
    let before = photo(dir, "before", &leaning());
    let mut s = leaning();
    (s.tilt, s.seed) = ([0.0, 0.004], s.seed + 1);
    let squared = photo(dir, "squared", &s);
    let mut s = leaning();
    s.tilt = [0.0, 0.0];
    let flat = photo(dir, "flat", &s);
    let mut s = leaning();
    s.light.el = 19.0;
    let lamp = photo(dir, "lamp", &s);
    let mut s = leaning();
    s.refs.clear();
    s.plan.omit = vec!["pocket"];
    let lost = photo(dir, "lost", &s);

    // Each photo once; what needs no pictures is compared by the reports.
    for photo in [&before, &squared, &flat, &lamp] {
        let o = lowsun(&["inspect", text(photo), "--record", text(&dir.join("book"))]);
        assert!(o.status.success(), "{}", String::from_utf8_lossy(&o.stderr));
    }
    let report = |photo: &Path| photo.with_extension("lowsun");

    let (c, page) = compared(&before, &squared, &dir.join("a"));
    assert_eq!(c["height_um"]["judged"], "less", "{c:#}");
    assert!(c["height_um"]["sigmas"].as_f64().unwrap() < -3.0);
    let of = |c: &Value, size: f64| {
        let near = |m: &Value| (m["before"]["size_mm"]["value"].as_f64().unwrap_or(0.0) / size - 1.0).abs() < 0.02;
        c["marks"].as_array().unwrap().iter().find(|m| near(m)).map(|m| m["fate"].clone()).unwrap()
    };
    assert_eq!(of(&c, 2.54), "stayed");
    // Steps of 51 and 10 micrometres: 41 less.
    let change = &c["height_um"]["change"];
    let off = change["value"].as_f64().unwrap() + 2540.0 * (0.02f64.tan() - 0.004f64.tan());
    assert!(off.abs() < 3.0 * change["sigma"].as_f64().unwrap(), "{change}");
    assert!(c["headline"].as_str().unwrap().starts_with("The ridges are lower"));
    assert_eq!(page.matches("data:image/jpeg;base64,").count(), 2, "both floors are shown");
    assert!(page.contains("Before: orange") && !page.contains("<script"));
    assert!(!page.contains("http:") && !page.contains("https:"));
    // Both floors are drawn in one box of millimetres.
    let boxes: Vec<&str> = page.split("viewBox=\"").skip(1).map(|t| &t[..t.find('"').unwrap()]).collect();
    assert_eq!(boxes[0], boxes[1]);

    // From reports alone, or records: the same numbers, no pictures, and that is said.
    let (reports, page) = compared(&report(&before), &report(&squared).join("report.json"), &dir.join("f"));
    assert_eq!(reports, c);
    assert!(page.contains("No pictures: at least one side is a report") && !page.contains("data:image"));
    let book = |n: u32| PathBuf::from(format!("{}#{n}", text(&dir.join("book"))));
    assert_eq!(compared(&book(1), &book(2), &dir.join("g")).0, c);

    let (back, _) = compared(&report(&squared), &report(&before), &dir.join("b"));
    assert_eq!(back["height_um"]["judged"], "more");
    assert_eq!(back["height_um"]["sigmas"].as_f64().unwrap(), -c["height_um"]["sigmas"].as_f64().unwrap());

    // A floor without any ridge: they are gone, or the photo cannot say; never higher, never still there.
    let (c, _) = compared(&report(&before), &report(&flat), &dir.join("h"));
    assert!(["less", "open"].iter().any(|j| c["height_um"]["judged"] == *j), "{c:#}");
    assert!(["went", "not-seen-after"].iter().any(|f| of(&c, 2.54) == *f), "{c:#}");

    let (c, page) = compared(&report(&before), &report(&lamp), &dir.join("c"));
    assert!(c["height_um"]["sigmas"].as_f64().unwrap().abs() < 3.0, "{c:#}");
    assert_eq!(of(&c, 2.54), "stayed");
    assert_eq!(c["lamps"]["alike"], false);
    // cot 19 / cot 12 is 0.617 (tables of the cotangent); the lamp's height is read from the wall's shadow to some degrees.
    let factor = c["lamps"]["factor"]["value"].as_f64().unwrap();
    assert!((0.5..0.76).contains(&factor), "{factor}");
    assert!(page.contains("bare contrast may not"));

    let (c, page) = compared(&before, &lost, &dir.join("d"));
    assert_eq!(c["height_um"]["judged"], "open", "{c:#}");
    assert!(page.contains("has no scale") && page.contains("not one scale"));
}

#[test]
fn sides_that_are_none_are_refused_and_nothing_is_overwritten() {
    let folder = TempDir::new().unwrap();
    let at = |n: &str| folder.path().join(n);
    fs::write(at("other.json"), "{\"a\": 1}").unwrap();
    fs::write(at("broken.json"), "{").unwrap();
    fs::create_dir(at("empty")).unwrap();
    for (before, words) in [
        ("other.json", "no report"),
        ("broken.json", "not JSON"),
        ("empty", "cannot be read"),
        ("none.jpg", "reading the photo"),
        ("none#3", "no such book"),
    ] {
        let o = lowsun(&["compare", text(&at(before)), text(&at("other.json")), "--out", text(&at("out"))]);
        let said = String::from_utf8_lossy(&o.stderr).into_owned();
        assert_eq!(o.status.code(), Some(1), "{said}");
        assert!(said.contains(words) && said.contains("try: ") && !at("out").exists(), "{said}");
    }
    fs::create_dir(at("used")).unwrap();
    fs::write(at("used/compare.html"), "mine").unwrap();
    let o = lowsun(&["compare", text(&at("other.json")), text(&at("other.json")), "--out", text(&at("used"))]);
    assert_eq!(o.status.code(), Some(2));
    assert_eq!(fs::read_to_string(at("used/compare.html")).unwrap(), "mine");
}
