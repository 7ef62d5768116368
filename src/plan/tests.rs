use super::*;
use crate::error::{Result, Stage};

fn parsed(text: &str) -> Result<PlannedCut> {
    let p = parse(text, "a.toml", LengthUnit::Mm)?;
    check(&p, "a.toml")?;
    Ok(p)
}
fn refused(text: &str) -> String {
    let e = parsed(text).expect_err(text);
    assert_eq!(e.stage, Stage::Plan);
    e.to_string()
}
fn slip_ids(text: &str) -> Vec<&'static str> {
    let p = parse(text, "a.toml", LengthUnit::Mm).unwrap();
    check(&p, "a.toml").unwrap().iter().map(|c| c.id).filter(|i| *i != "plan-incomplete").collect()
}

#[test]
fn a_plan_in_inches_becomes_millimetres() {
    let p = parsed(
        "units = \"in\"\n[cutter]\nshape = \"flat\"\ndiameter = 0.25\nhelix = \"up-cut\"\nflutes = 2\n[cut]\npattern = \"parallel\"\nstepover = \"2.5mm\"\ndepth = 0.0984\nfeed = 100\nspeed_rpm = 18000\n[pocket]\nwidth = 4.5\nheight = 5",
    )
    .unwrap();
    assert_eq!(p.cutter.diameter_mm, Some(6.35));
    assert_eq!(p.stepover_mm, Some(2.5));
    assert_eq!(p.feed_mm_min, Some(2540.0));
    assert_eq!(p.pocket_mm, Some((114.3, 127.0)));
    assert_eq!((p.cutter.helix, p.pattern, p.units), (Some(Helix::UpCut), Some(Pattern::Parallel), LengthUnit::In));
}

#[test]
fn a_stepover_in_percent_follows_the_cutter_even_when_that_comes_later() {
    for text in ["[cut]\nstepover = \"40%\"", "[cut]\nstepover_percent = 40"] {
        let p = parsed(text).unwrap();
        assert_eq!(p.stepover_mm, None);
        let facts = PlanFacts { cutter: Some("0.25in".into()), ..Default::default() };
        assert!((merge(p, &facts).unwrap().stepover_mm.unwrap() - 2.54).abs() < 1e-12);
    }
}

#[test]
fn single_facts_win_over_the_file() {
    let p =
        parsed("units = \"in\"\n[cutter]\ndiameter = 0.25\nshape = \"flat\"\n[cut]\nstepover_percent = 40").unwrap();
    let facts = PlanFacts {
        stepover: Some("0.05".into()),
        shape: Some(Shape::BallNose),
        depth: Some("3mm".into()),
        ..Default::default()
    };
    let m = merge(p.clone(), &facts).unwrap();
    assert_eq!(m.stepover_mm, Some(1.27), "a bare fact takes the file's unit");
    assert_eq!((m.cutter.shape, m.depth_mm), (Some(Shape::BallNose), Some(3.0)));
    for (cutter, stepover) in [("6 furlongs", "1"), ("-6", "1"), ("6", "0%"), ("6", "x%")] {
        let facts = PlanFacts { cutter: Some(cutter.into()), stepover: Some(stepover.into()), ..Default::default() };
        assert_eq!(merge(p.clone(), &facts).unwrap_err().stage, Stage::Arguments, "{cutter} {stepover}");
    }
}

#[test]
fn an_unknown_key_is_named_with_its_line_and_the_nearest_known_one() {
    let m = refused("[cutter]\ndiametr = 6");
    assert!(m.contains("line 2") && m.contains("'diametr'") && m.contains("did you mean 'diameter'"), "{m}");
    let m = refused("[cuter]\n");
    assert!(m.contains("line 1") && m.contains("did you mean 'cutter'"), "{m}");
    let m = refused("[cut]\ncolour = 3");
    assert!(m.contains("known here: ") && !m.contains("did you mean"), "{m}");
}

#[test]
fn wrong_words_and_numbers_are_refused_by_name() {
    for (text, part) in [
        ("units = \"cm\"", "'cm'"),
        ("[cutter]\nshape = \"ball\"", "did you mean 'ball-nose'"),
        ("[cut]\nstepover = -2.5", "line 2: stepover is negative"),
        ("[cut]\nstepover = nan", "not a finite"),
        ("[cut]\nfeed = inf", "not a finite"),
        ("[cutter]\ndiameter = 0", "is zero"),
        ("[cutter]\nflutes = 0", "flutes is zero"),
        ("[cut]\nstepover = 2\nstepover_percent = 40", "both given"),
        ("[cut]\nstepover = \"2 furlongs\"", "furlongs"),
        ("[cut]\nstepover = \"x%\"", "not a percentage"),
        ("[cut]\nstepover = true", "a number, or text with a unit"),
        ("[cutter]\ndiameter = 6.35\n[cut]\nstepover = 7", "larger than the cutter"),
        ("[cutter]\ndiameter = 6.35\n[cut]\nstepover_percent = 140", "larger than the cutter"),
        ("[cutter]\ndiameter = 6\ncorner_radius = 4", "more than half"),
        ("[cutter]\ndiameter = 6\n[pocket]\nwidth = 5\nheight = 50", "narrower than the cutter"),
        ("[light]\nelevation_deg = 120", "above 90"),
        ("this is no plan", "line 1"),
    ] {
        let m = refused(text);
        assert!(m.contains(part), "{text}: {m}");
        assert!(m.contains("\n  try: ") && !m.trim_end().ends_with("try:"), "{m}");
    }
}

#[test]
fn probable_slips_are_named_and_a_usual_plan_has_none() {
    let usual = "[cutter]\nshape = \"flat\"\ndiameter = 6.35\n[cut]\nstepover = 2.54\nskim = 0.18\nfeed = 2500\nspeed_rpm = 18000";
    assert!(slip_ids(usual).is_empty(), "{:?}", slip_ids(usual));
    assert_eq!(slip_ids("[cutter]\ndiameter = 0.25\n[cut]\nstepover = 0.1"), ["plan-slip-units"]);
    assert_eq!(slip_ids("units = \"in\"\n[cutter]\ndiameter = 6.35"), ["plan-slip-units"]);
    assert_eq!(slip_ids("[cut]\nskim = 1.8"), ["plan-slip-skim"]);
    assert_eq!(slip_ids("units = \"in\"\n[cut]\nskim = 0.07"), ["plan-slip-skim"]);
    assert_eq!(slip_ids("[cutter]\ndiameter = 6\n[cut]\nstepover_percent = 0.4"), ["plan-slip-percent"]);
    assert_eq!(slip_ids("[cut]\nfeed = 100\nspeed_rpm = 18000"), ["plan-slip-feed"]);
    assert_eq!(slip_ids("[cutter]\nshape = \"flat\"\ndiameter = 6\ncorner_radius = 1"), ["plan-slip-cutter"]);
}

#[test]
fn what_is_missing_is_one_caveat() {
    let c = check(&PlannedCut::default(), "x").unwrap();
    assert_eq!(c.len(), 1);
    assert!(c[0].text.contains("stepover (") && c[0].text.contains("helix ("), "{}", c[0].text);
}

#[test]
fn known_points_and_the_machine_are_read() {
    let p = parsed("[reference]\nkind = \"points\"\nplane = \"floor\"\npoints = [{ px = [10, 20], at = [0, \"1in\"] }]\n[machine]\nscrew_lead = 5\n[second_cutter]\ndiameter = 3.175").unwrap();
    assert_eq!(p.reference.points, [(Point::new(10.0, 20.0), Point::new(0.0, 25.4))]);
    assert_eq!((p.reference.on_floor, p.reference.kind), (Some(true), Some(ReferenceKind::Points)));
    assert_eq!(p.machine.screw_lead_mm, Some(5.0));
    assert_eq!(p.second_cutter.unwrap().diameter_mm, Some(3.175));
}

#[test]
fn a_file_that_is_no_plan_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    assert!(read(&dir.path().join("none.toml")).unwrap_err().to_string().contains("cannot be opened"));
    assert!(read(dir.path()).unwrap_err().to_string().contains("is not a file"));
    let f = dir.path().join("photo.toml");
    std::fs::write(&f, [0xff, 0xd8, 0xff, 0xe0]).unwrap();
    assert!(read(&f).unwrap_err().to_string().contains("not text"));
    std::fs::write(&f, "\u{feff}[cut]\ndepth = 2").unwrap();
    assert_eq!(read(&f).unwrap().0.depth_mm, Some(2.0));
}

#[test]
fn printed_bars_are_read_with_the_plan() {
    let read = |v: &str| parsed(&format!("[reference]\ncard_measured = {v}")).map(|p| p.reference.card_measured);
    let both = read("\"99.4x99.7mm\"").unwrap().unwrap();
    assert!((both.x - 0.994).abs() < 1e-12 && (both.y - 0.997).abs() < 1e-12);
    assert_eq!(read("99.5").unwrap(), read("\"99.5mm\"").unwrap());
    let told = read("\"9.94mm\"").unwrap_err().to_string();
    assert!(told.contains("line 2") && told.contains("card_measured") && told.contains("100 mm"), "{told}");
}

/// A made-up cutting file beside a plan: to and fro along X, 16 passes 2.4 mm apart, 80 mm long, two layers, 2.5 mm deep.
fn with_cutting_file(plan: &str, facts: PlanFacts) -> Result<(PlannedCut, Vec<crate::caveat::Caveat>)> {
    let dir = tempfile::tempdir().unwrap();
    let mut text = String::from("G21 G90 G94 T1 S16000 M3 F2400\nG0 X0 Y0 Z5\n");
    for z in [-2.32, -2.5] {
        text += &format!("G0 X0 Y0\nG1 Z{z}\n");
        for k in 0..16 {
            text += &format!("G1 Y{:.1}\nX{}\n", 2.4 * f64::from(k), if k % 2 == 0 { 80 } else { 0 });
        }
        text += "G0 Z5\n";
    }
    std::fs::write(dir.path().join("cut.ngc"), text).unwrap();
    let path = dir.path().join("plan.toml");
    std::fs::write(&path, plan).unwrap();
    gather(Some(&path), &PlanFacts { toolpath: facts.toolpath.map(|t| dir.path().join(t)), ..facts })
}

#[test]
fn a_cutting_file_fills_what_the_plan_leaves_open() {
    let (p, c) = with_cutting_file("toolpath = \"cut.ngc\"\n[cutter]\ndiameter = 6", PlanFacts::default()).unwrap();
    let near = |a: Option<f64>, b: f64| a.is_some_and(|a| (a - b).abs() < 1e-6);
    assert!(near(p.stepover_mm, 2.4) && near(p.depth_mm, 2.5) && near(p.skim_mm, 0.18), "{p:?}");
    assert!(near(p.feed_mm_min, 2400.0) && near(p.speed_rpm, 16000.0) && near(p.pass_angle_deg, 0.0));
    assert_eq!((p.pattern, p.both_ways, p.pocket_mm), (Some(Pattern::Parallel), Some(true), None));
    let ids: Vec<_> = c.iter().map(|c| c.id).collect();
    assert_eq!(ids, ["toolpath-stock-top", "plan-incomplete"]);
    assert!(!c[1].text.contains("stepover (") && c[1].text.contains("helix ("), "{}", c[1].text);
}

#[test]
fn where_plan_and_cutting_file_differ_both_values_are_named() {
    let plan = "[cutter]\ndiameter = 6\n[cut]\nstepover_percent = 50\ndepth = 2.5\npattern = \"contour\"\nfeed = 2405\nspeed_rpm = 18000";
    let given = PlanFacts { toolpath: Some("cut.ngc".into()), ..Default::default() };
    let (p, c) = with_cutting_file(plan, given).unwrap();
    let told: Vec<&str> = c.iter().filter(|c| c.id == "toolpath-against-plan").map(|c| c.text.as_str()).collect();
    assert_eq!(told.len(), 3, "{told:?}");
    assert!(
        told[0].contains("3.00 mm in the plan, 2.40 mm in the cutting file; the cutting file's was used"),
        "{told:?}"
    );
    assert!(told[1].starts_with("Speed: 18000") && told[2].starts_with("Pattern: loops"), "{told:?}");
    assert!((p.stepover_mm.unwrap() - 2.4).abs() < 1e-6 && p.stepover_percent.is_none());
    // The command line wins over both.
    let given = PlanFacts { toolpath: Some("cut.ngc".into()), stepover: Some("1.2".into()), ..Default::default() };
    let (p, c) = with_cutting_file("[cutter]\ndiameter = 6", given).unwrap();
    assert_eq!(p.stepover_mm, Some(1.2));
    assert!(
        c.iter().any(|c| c.text.contains("1.20 mm in the plan") && c.text.contains("command line was used")),
        "{c:?}"
    );
}

#[test]
fn a_cutting_file_that_cannot_be_read_is_an_error_with_its_stage() {
    for named in ["../cut.ngc", "/etc/cut.ngc", ""] {
        let e = with_cutting_file(&format!("toolpath = \"{named}\""), PlanFacts::default()).unwrap_err();
        assert!(e.stage == Stage::Plan && e.to_string().contains("own folder"), "{e}");
    }
    let e = with_cutting_file("toolpath = \"none.ngc\"", PlanFacts::default()).unwrap_err();
    assert!(e.stage == Stage::Toolpath && e.to_string().contains("cannot be opened"), "{e}");
}

#[test]
fn a_last_layer_ten_times_the_skim_is_named() {
    let layer = |z: f64| {
        let pass = |k: u32| format!("G1 Y{}\nX{}\n", 2.4 * f64::from(k), if k.is_multiple_of(2) { 80 } else { 0 });
        format!("G0 Z5\nG0 X0 Y0\nG1 Z{z}\n{}", (0..8).map(pass).collect::<String>())
    };
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("cut.ngc"), format!("G21 F1500 S16000 M3\n{}{}", layer(-1.2), layer(-3.0))).unwrap();
    for (skim, named) in [(0.18, true), (0.3, false), (0.15, true)] {
        let path = dir.path().join("plan.toml");
        let text = format!("toolpath = \"cut.ngc\"\n[cutter]\ndiameter = 6\n[cut]\nskim = {skim}");
        std::fs::write(&path, text).unwrap();
        let (_, c) = gather(Some(&path), &PlanFacts::default()).unwrap();
        let told = c.iter().any(|c| c.id == "plan-slip-skim" && c.text.contains("1.80 mm"));
        assert_eq!(told, named, "{skim}: {c:?}");
    }
}
