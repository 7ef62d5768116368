use super::*;

fn m(value: f64, sigma: f64) -> Measured {
    Measured { value, sigma }
}

fn lines(pitch: f64, height: Option<f64>, contrast: f64) -> Mark {
    Mark {
        kind: Kind::Lines,
        size_mm: m(pitch, 0.005 * pitch),
        normal_deg: 0.0,
        height_um: height.map(|h| m(h, 0.1 * h)),
        contrast: Some(contrast),
    }
}

fn side(height: Option<f64>, marks: Vec<Mark>) -> Side {
    Side {
        file: "a.jpg".into(),
        sha256: height.map_or("bare".into(), |h| h.to_string()),
        taken: None,
        verdict: "scallops".into(),
        said: String::new(),
        fitness: Some("go".into()),
        mm_per_px: Some(m(0.05, 0.0001)),
        light_from_deg: Some(m(180.0, 2.0)),
        light_elevation_deg: Some(m(12.0, 0.5)),
        planned_stepover_mm: Some(2.5),
        height_um: height.map(|h| m(h, 0.1 * h)),
        is_wood: false,
        visible_pitch_mm: marks.first().map(|m| m.size_mm),
        ridge_contrast: 0.05,
        detectable_contrast: 0.004,
        detectable_height_um: Some(4.0),
        edges: 0,
        marks,
    }
}

fn set(before: Side, after: Side) -> Compared {
    compare(before, after, LengthUnit::Mm)
}

/// Chances from scipy 1.11 (scipy.stats.norm.sf(z) * 2); see tests/truth/differences.py.
#[test]
fn significance_agrees_with_scipy() {
    let truth: serde_json::Value =
        serde_json::from_str(include_str!("../../tests/truth/differences.json")).expect("committed numbers");
    let cases = truth["cases"].as_array().unwrap();
    assert!(cases.len() >= 8);
    for c in cases {
        let number = |k: &str| c[k].as_f64().unwrap();
        let (a, b) = (m(number("before"), number("before_sigma")), m(number("after"), number("after_sigma")));
        let d = judge::both(Some(a), Some(b)).unwrap();
        assert!((d.change.unwrap().sigma / number("sigma") - 1.0).abs() < 1e-12, "{c}");
        assert!((d.sigmas.unwrap() - number("z")).abs() < 1e-9 * number("z").abs().max(1.0), "{c}");
        // The series behind erfc is good to some 1e-11 of its value.
        assert!((d.chance.unwrap() / number("p") - 1.0).abs() < 1e-9, "{c}: {:?}", d.chance);
    }
}

#[test]
fn a_difference_is_judged_by_its_own_sigma() {
    let judged = |a: f64, b: f64| {
        set(side(Some(a), vec![lines(2.5, Some(a), 0.05)]), side(Some(b), vec![lines(2.5, Some(b), 0.05)]))
            .height_um
            .judged
    };
    assert_eq!(judged(60.0, 25.0), Judged::Less);
    assert_eq!(judged(25.0, 60.0), Judged::More);
    // 50 and 36 with 10 % each: sigma 6.16, 2.27 sigmas.
    assert_eq!(judged(50.0, 36.0), Judged::MaybeLess);
    assert_eq!(judged(50.0, 45.0), Judged::Alike);
}

#[test]
fn a_floor_that_shows_nothing_is_lower_only_by_what_its_photo_could_show() {
    let before = side(Some(40.0), vec![lines(2.5, Some(40.0), 0.05)]);
    let c = set(before.clone(), side(None, vec![]));
    assert_eq!((c.height_um.judged, c.height_um.limit), (Judged::Less, Some(4.0)));
    assert!((c.height_um.sigmas.unwrap() + 9.0).abs() < 1e-12);
    assert_eq!(c.marks[0].fate, Fate::Went);
    assert!(
        c.headline.starts_with("The ridges are lower: 40 ± 4 µm before, nothing that shows after"),
        "{}",
        c.headline
    );
    let mut blind = side(None, vec![]);
    blind.detectable_height_um = Some(38.0);
    let c = set(before.clone(), blind);
    assert_eq!((c.height_um.judged, c.marks[0].fate), (Judged::Open, Fate::NotSeenAfter));
    // Marks without a height are not "nothing".
    let c = set(before.clone(), side(None, vec![lines(2.5, None, 0.05)]));
    assert_eq!(c.height_um.judged, Judged::Open);
    // Nor is the height of the wood's figure that of the cutter.
    let mut wood = side(Some(70.0), vec![]);
    (wood.is_wood, wood.edges) = (true, 3);
    let c = set(before.clone(), wood);
    assert_eq!(c.height_um.judged, Judged::Open);
    assert!(c.height_um.why.unwrap().contains("wood's own figure"));
    // The other way round.
    let c = set(side(None, vec![]), before);
    assert_eq!((c.height_um.judged, c.marks[0].fate), (Judged::More, Fate::New));
}

#[test]
fn marks_are_paired_by_size_and_their_fate_is_told() {
    let before = side(Some(30.0), vec![lines(2.5, Some(30.0), 0.05), lines(5.0, Some(20.0), 0.03)]);
    let after = side(Some(30.0), vec![lines(2.53, Some(30.0), 0.05), lines(1.2, Some(20.0), 0.03)]);
    let fates: Vec<Fate> = set(before, after).marks.iter().map(|p| p.fate).collect();
    assert_eq!(fates, [Fate::Stayed, Fate::Went, Fate::New]);
}

#[test]
fn lamps_that_differ_forbid_bare_contrast_but_not_heights() {
    let make = |e: f64| {
        let mut s = side(Some(40.0), vec![lines(2.5, Some(40.0), 0.05)]);
        s.light_elevation_deg = Some(m(e, 0.5));
        s
    };
    let c = set(make(12.0), make(12.3));
    assert!(c.lamps.alike && c.limits[0].contains("both be compared"), "{}", c.limits[0]);
    let c = set(make(12.0), make(20.0));
    // cot 20 / cot 12 = 2.7475 / 4.7046 (tables of the cotangent).
    assert!((c.lamps.factor.unwrap().value - 0.5840).abs() < 1e-4);
    assert!(!c.lamps.alike && c.limits[0].contains("bare contrast may not"), "{}", c.limits[0]);
    assert_eq!(c.height_um.judged, Judged::Alike);
    let mut dark = make(12.0);
    dark.light_elevation_deg = None;
    let c = set(dark, make(12.0));
    assert!(c.limits[0].contains("neither heights nor bare contrast"), "{}", c.limits[0]);
}

#[test]
fn without_a_scale_nothing_in_millimetres_is_compared() {
    let mut bare = side(None, vec![]);
    (bare.mm_per_px, bare.detectable_height_um, bare.visible_pitch_mm) = (None, None, None);
    let c = set(side(Some(40.0), vec![lines(2.5, Some(40.0), 0.05)]), bare);
    assert_eq!((c.height_um.judged, c.visible_lines_per_10mm.judged), (Judged::Open, Judged::Open));
    assert!(c.limits.iter().any(|l| l.contains("no scale")));
    assert!(c.height_um.why.unwrap().contains("no scale"));
}
