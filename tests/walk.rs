//! The whole walk on made photos: every folder of sample-images/ and a dozen small fresh scenes, against their truth.
//! The maker in tests/support/ is checked on its own first, against handbook formulas, so that it can serve as truth.

mod support;

use lowsun::card::Form;
use lowsun::geometry::{Point, signed_area};
use lowsun::plan::{PlanFacts, gather};
use lowsun::trace::Trace;
use lowsun::{pipeline, report};
use serde_json::Value;
use std::path::Path;
use support::draw::own::{Lay, lay};
use support::draw::{Lying, Size, draw, draw_with, letter};
use support::field::{Field, P, quantile};
use support::outline::Walls;
use support::spec::{Bottom, Outline, Pattern, Ref, RefKind, Spec, Tool};
use support::{Made, make, truth};

/// The program's own report on a photo and its plan, as JSON; `Err` with its message when it cannot go on.
fn walk(photo: &Path, plan: &Path) -> Result<Value, String> {
    let (plan, caveats) = gather(Some(plan), &PlanFacts::default()).map_err(|e| e.to_string())?;
    let inspection = pipeline::inspect(photo, plan, caveats, &pipeline::Options::default(), &mut Trace::off())
        .map_err(|e| e.to_string())?;
    let json = report::json(&inspection);
    // Draft 2020-12, by a library that knows nothing of this crate; every photo walked here must follow it.
    jsonschema::validate(&report::schema(), &json)
        .map_err(|e| format!("against the schema, {}: {e}", e.instance_path()))?;
    Ok(json)
}

/// The same on a made scene.
fn report_on(made: &Made) -> Result<Value, String> {
    let folder = tempfile::tempdir().unwrap();
    let (photo, plan) = (folder.path().join("p.jpg"), folder.path().join("p.toml"));
    std::fs::write(&photo, &made.jpeg).unwrap();
    std::fs::write(&plan, &made.plan).unwrap();
    walk(&photo, &plan)
}

fn number(v: &Value) -> Option<f64> {
    v.as_f64().or_else(|| v["value"].as_f64())
}

fn points(v: &Value) -> Vec<P> {
    let of = |p: &Value| Some([p[0].as_f64()?, p[1].as_f64()?]);
    v.as_array().map(|a| a.iter().filter_map(of).collect()).unwrap_or_default()
}

/// Photo pixels back to millimetres on the floor by the truth's camera.
fn back_to_floor(t: &Value, px: P) -> P {
    let f = |k: &str| t[k].as_f64().unwrap();
    let (xd, yd) = ((px[0] - f("cx_px")) / f("f_px"), (px[1] - f("cy_px")) / f("f_px"));
    let (mut x, mut y) = (xd, yd);
    for _ in 0..20 {
        let s = 1.0 + f("k1") * (x * x + y * y);
        (x, y) = (xd / s, yd / s);
    }
    let h = nalgebra::Matrix3::from_fn(|i, j| t["floor_homography"][i][j].as_f64().unwrap());
    let q =
        h.try_inverse().unwrap() * nalgebra::Vector3::new(x * f("f_px") + f("cx_px"), y * f("f_px") + f("cy_px"), 1.0);
    [q[0] / q[2], q[1] / q[2]]
}

/// How much too long the report's millimetres are, in per cent; `None` where it gives none.
fn scale_error(t: &Value, r: &Value) -> Option<f64> {
    let (px, mm) = (points(&r["floor"]["outline_px"]), points(&r["floor"]["outline_mm"]));
    if px.len() < 3 || px.len() != mm.len() || r["scale"].is_null() {
        return None;
    }
    let true_mm: Vec<P> = px.iter().map(|p| back_to_floor(t, *p)).collect();
    let size = |v: &[P]| {
        let n = v.len() as f64;
        let c = v.iter().fold([0.0, 0.0], |a, p| [a[0] + p[0] / n, a[1] + p[1] / n]);
        v.iter().map(|p| (p[0] - c[0]).powi(2) + (p[1] - c[1]).powi(2)).sum::<f64>().sqrt()
    };
    Some((size(&mm) / size(&true_mm) - 1.0) * 100.0)
}

/// Error of the reported family nearest to the truth's main one, per cent; `None` where either has none.
fn pitch_error(t: &Value, r: &Value) -> Option<f64> {
    let want = t["families"].as_array()?.iter().find(|f| f["role"] == "main" && f["periods"].as_f64() >= Some(6.0))?;
    let want = want["pitch_mm"].as_f64()?;
    let got = r["marks"]["families"].as_array()?.iter().filter_map(|f| number(&f["pitch_mm"]));
    got.map(|p| (p / want - 1.0) * 100.0).min_by(|a, b| a.abs().total_cmp(&b.abs()))
}

fn verdict_accepted(t: &Value, r: &Value) -> bool {
    t["verdict_accept"].as_array().unwrap().contains(&r["verdict"])
}

/// Tolerances of the sample photos. Scale 0.5 %: a card is good to 0.3 % (ISO/IEC 7810 limits) and its corners to a
/// fraction of a pixel. Pitch 1 %: the scale's share and a fit over twenty periods and more.
const SCALE_PCT: f64 = 0.5;
const PITCH_PCT: f64 = 1.0;

#[test]
fn every_sample_photo_is_read_as_its_truth_says() {
    let root = Path::new("sample-images");
    let text = std::fs::read_to_string(root.join("README.md")).unwrap();
    let listed: Vec<&str> = text.lines().filter_map(|l| l.strip_prefix("| [")?.split(']').next()).collect();
    assert!(listed.len() >= 6, "the README lists {} samples", listed.len());
    let mut folders: Vec<String> = std::fs::read_dir(root)
        .unwrap()
        .map(|e| e.unwrap())
        .filter(|e| e.path().is_dir())
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .collect();
    folders.sort();
    let mut want: Vec<String> = listed.iter().map(|q| (*q).to_owned()).collect();
    want.sort();
    assert_eq!(folders, want, "folders and the README's list differ");
    let mut bad = vec![];
    for name in &folders {
        let dir = root.join(name);
        let t: Value = serde_json::from_str(&std::fs::read_to_string(dir.join("truth.json")).unwrap()).unwrap();
        assert_eq!(t["made_up"], true, "{name}: the truth must say that the photo is made up");
        match walk(&dir.join("photo.jpg"), &dir.join("plan.toml")) {
            Ok(r) => bad.extend(faults(&t, &r).into_iter().map(|f| format!("{name}: {f}"))),
            Err(e) => bad.push(format!("{name}: {e}")),
        }
    }
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}

/// What a report gets wrong against the truth.
fn faults(t: &Value, r: &Value) -> Vec<String> {
    let mut bad = vec![];
    if !verdict_accepted(t, r) {
        bad.push(format!("verdict {} is not among {}", r["verdict"], t["verdict_accept"]));
    }
    if r.to_string().contains("12.582") || r.to_string().contains("65.7225") {
        bad.push("the photo's place came out again".into());
    }
    if t["seen"] != "yes" && t["cause"] != "clean" {
        if r["retake"].is_null() {
            bad.push("a photo that shows nothing must be sent back".into());
        }
        return bad;
    }
    match scale_error(t, r) {
        Some(e) if e.abs() < SCALE_PCT => {}
        other => bad.push(format!("scale is off by {other:?} %")),
    }
    if t["families"].as_array().is_some_and(|f| !f.is_empty()) {
        match pitch_error(t, r) {
            Some(e) if e.abs() < PITCH_PCT => {}
            other => bad.push(format!("pitch is off by {other:?} %")),
        }
    }
    bad
}

/// Ten scenes that were not looked at one by one. Single scenes may fail (dim, oblique, hidden marks); of the whole
/// set these shares must hold, which a broken room drops far below.
#[test]
fn fresh_scenes_are_read_well_enough() {
    let (mut lines, mut verdicts, mut scaled, mut pitched, mut sure_wrong) = (vec![], 0, (0, 0), (0, 0), 0);
    const CAUSES: [&str; 10] = [
        "full-width-first-pass",
        "engagement-steps",
        "alternating-passes",
        "tilt-across-passes",
        "tilt-along-passes",
        "cusps",
        "once-per-revolution",
        "wood-figure",
        "clean",
        "full-width-first-pass",
    ];
    for (seed, cause) in (9101..).zip(CAUSES) {
        let made = make(&draw(seed, Some(cause), Size::Small));
        let t = &made.truth;
        let r = match report_on(&made) {
            Ok(r) => r,
            Err(e) => {
                lines.push(format!("{seed} {}: {e}", t["cause"]));
                continue;
            }
        };
        verdicts += usize::from(verdict_accepted(t, &r));
        if t["refs"].as_array().is_some_and(|q| q.iter().any(|q| q["kind"] == "id1")) && t["spec"]["hidden"].is_null() {
            scaled.1 += 1;
            scaled.0 += usize::from(scale_error(t, &r).is_some_and(|e| e.abs() < 1.0));
        }
        if t["seen"] == "yes" && t["families"].as_array().is_some_and(|f| !f.is_empty()) {
            pitched.1 += 1;
            pitched.0 += usize::from(pitch_error(t, &r).is_some_and(|e| e.abs() < 2.0));
        }
        let top = &r["findings"][0];
        let accepted = t["accept"].as_array().unwrap().contains(&top["id"]) || r["verdict"] == "both";
        sure_wrong += usize::from(!accepted && number(&top["probability"]).unwrap_or(0.0) > 0.8);
        lines.push(format!(
            "{seed} {}: {} {} {}, scale {:?} %, pitch {:?} %",
            t["cause"],
            top["id"],
            top["probability"],
            r["verdict"],
            scale_error(t, &r),
            pitch_error(t, &r)
        ));
    }
    let n = CAUSES.len();
    let said = lines.join("\n");
    println!("{said}");
    assert!(verdicts * 2 >= n, "verdict right in {verdicts} of {n}\n{said}");
    assert!(scaled.0 * 10 >= scaled.1 * 6, "scale within 1 % in {scaled:?}\n{said}");
    assert!(pitched.0 * 10 >= pitched.1 * 5, "pitch within 2 % in {pitched:?}\n{said}");
    assert!(sure_wrong <= 2, "{sure_wrong} sure and wrong\n{said}");
}

/// The small scene of a seed, as `make-scenes` draws it: its truth and the program's report.
fn small_scene(seed: u64) -> (Value, Value) {
    let made = make(&draw(seed, None, Size::Small));
    let report = report_on(&made).unwrap();
    (made.truth, report)
}

/// L-shaped pockets whose plan gives the size of their box; one wall of the standing corner throws a shadow, the other is lit.
/// Growth rings that run on over the corner are no steps then.
#[test]
fn an_l_is_not_taken_for_its_box() {
    let area = |v: &Value| {
        let outline: Vec<Point> = points(v).iter().map(|p| Point::new(p[0], p[1])).collect();
        signed_area(&outline).abs()
    };
    for seed in [31015, 31027] {
        let (t, r) = small_scene(seed);
        assert_eq!(t["pocket_shape"], "L");
        let ratio = area(&r["floor"]["outline_px"]) / area(&t["pocket_outline_floor_px"]);
        assert!((0.9..1.1).contains(&ratio), "seed {seed}: {ratio:.2} of the pocket's area");
        assert!(verdict_accepted(&t, &r), "seed {seed}: {}", r["verdict"]);
    }
}

/// Steps on maple that face the lamp burn out to white: that is no colour of the wood.
#[test]
fn white_flanks_are_no_colour() {
    let (t, r) = small_scene(31034);
    assert!(t["cause"] == "tilt-across-passes" && t["spec"]["material"] == "maple");
    assert!(pitch_error(&t, &r).is_some_and(|e| e.abs() < 0.5));
    let lines = &r["marks"]["families"][0];
    assert_ne!(lines["period_kind"], "colour", "{}", lines["colour_share"]);
    assert_eq!(r["findings"][0]["id"], "tilt-across-passes");
}

/// Cards and rules that the eye sees at once: a pale card on pale pine whose grain crosses a side at a small angle and whose shadow
/// ends close to another; a rule under a floor whose ridges show along the sides of every letter.
#[test]
fn a_plain_reference_is_found_on_a_busy_photo() {
    let card = make(&draw(32000, None, Size::Phone));
    assert_eq!(report_on(&card).unwrap()["scale"]["source"], "id1");
    let mut s = draw(32033, None, Size::Phone);
    letter(&mut s, 32033);
    assert_eq!(report_on(&make(&s)).unwrap()["scale"]["source"], "ruler");
}

/// Two of the floor's ridges and the borders of two shadows make a figure of a card's shape within a pocket; the pocket's own
/// planned size is the scale.
#[test]
fn lines_within_a_pocket_are_no_card() {
    let made = make(&draw_with(33022, None, Size::Small, Lying::Nothing));
    let r = report_on(&made).unwrap();
    assert_eq!(r["scale"]["source"], "pocket");
    assert!(pitch_error(&made.truth, &r).is_some_and(|e| e.abs() < 0.5));
}

/// Nothing of known size beside a floor of even ridges, the camera well aslant: the pocket's square corners take the lean out, so
/// that the ridges keep one spacing.
#[test]
fn even_lines_stay_even_without_a_reference() {
    let made = make(&draw_with(33047, None, Size::Small, Lying::Nothing));
    let r = report_on(&made).unwrap();
    assert!(r["scale"].is_null() && made.truth["cause"] == "cusps");
    assert_eq!(r["findings"][0]["id"], "cusps");
    let pitch = &r["marks"]["families"][0]["pitch_px"];
    assert!(number(&pitch["sigma"]).unwrap() < 0.002 * number(pitch).unwrap(), "{pitch}");
}

/// Walls that show rim and foot alike, some sides of each: the planned pocket's size is that of the rim. Taken for the foot it
/// makes every length 2 % too long.
#[test]
fn a_pockets_size_is_that_of_its_rim() {
    for seed in [33014, 33039] {
        let made = make(&draw_with(seed, None, Size::Small, Lying::Nothing));
        let r = report_on(&made).unwrap();
        assert_eq!(r["scale"]["source"], "pocket");
        let e = scale_error(&made.truth, &r);
        assert!(e.is_some_and(|e| e.abs() < 0.3), "{seed}: {e:?} %");
    }
}

/// A shallow pocket with letters under a high lamp: no wall casts a shadow, but the rim that gave the scale is the floor's outline,
/// and what stands in it is not told from letters, so that no steps are called likely.
#[test]
fn the_rim_that_gave_the_scale_is_the_outline_without_a_shadow() {
    let made = make(&draw(38018, None, Size::Phone));
    let r = report_on(&made).unwrap();
    assert_eq!(r["scale"]["source"], "pocket");
    let ids: Vec<&str> = r["caveats"].as_array().unwrap().iter().filter_map(|c| c["id"].as_str()).collect();
    assert!(!ids.contains(&"outline-assumed") && r["light"]["from_deg"].is_null(), "{ids:?}");
    let steps = r["findings"].as_array().unwrap().iter().find(|f| f["id"] == "engagement-steps");
    assert!(steps.is_none_or(|f| number(&f["probability"]).unwrap() < 0.5), "{steps:?}");
}

/// Among even ridges the first pass, in the middle of the floor, lies lower than the others: no strip shows, but one of the two
/// ridges beside it is darker and the other brighter than a ridge alone would be.
#[test]
fn a_first_pass_between_ridges_is_told_with_them() {
    let made = make(&draw(32008, None, Size::Phone));
    assert_eq!(made.truth["cause"], "both");
    assert_eq!(report_on(&made).unwrap()["verdict"], "both");
}

/// The floor is taken from the photo through the lens itself. With a lens that bends the corners of the photo by 2 % either
/// way and a printed card beside the pocket, pitch and outline are right to 0.15 %: ridges a tenth of a pixel off over the
/// floor, and the card's own sigma. A homography nearest to the lens is off by two to five times that.
#[test]
fn a_lens_that_bends_the_photo_is_undone() {
    for k1 in [-0.03, 0.03] {
        let mut s = draw(1, Some("cusps"), Size::Small);
        lay(&mut s, Lay { form: Form::Pocket, misprinted: false, from_page: false }, Size::Small);
        s.camera.k1 = k1;
        let made = make(&s);
        let r = report_on(&made).unwrap();
        let (pitch, scale) = (pitch_error(&made.truth, &r), scale_error(&made.truth, &r));
        println!("k1 {k1}: pitch {pitch:?} %, scale {scale:?} %");
        assert!(pitch.is_some_and(|e| e.abs() < 0.15) && scale.is_some_and(|e| e.abs() < 0.15), "{pitch:?} {scale:?}");
    }
}

/// A small square pocket cut with parallel passes along x, nothing else set.
fn bare(tool: Tool, stepover: f64) -> Spec {
    let mut s = draw(1, Some("clean"), Size::Small);
    s.size = [44.0, 44.0];
    s.outline = Outline::Rect;
    (s.skim, s.tilt, s.lift_um, s.lean, s.ripple) = (false, [0.0; 2], 0.0, 0.0, None);
    (s.letters, s.tool2, s.perimeter) = (None, None, false);
    s.pattern = Pattern::Parallel { angle: 0.0, both_ways: true, middle_first: false };
    (s.tool, s.stepover, s.g) = (tool, stepover, 0.025);
    s
}

fn tool(d: f64, bottom: Bottom) -> Tool {
    Tool { d, bottom, up_cut: false, flutes: 2 }
}

/// Heights along y at the middle of the pocket, um.
fn profile(z: &Field) -> Vec<f64> {
    let i = z.w / 2;
    (0..z.h).map(|j| f64::from(z.v[j * z.w + i]) * 1e3).filter(|v| *v < 5e4).collect()
}

/// Largest minus smallest height away from the pocket's walls.
fn range(s: &Spec, away: f64) -> f64 {
    let p = profile(&support::cut::cut(s, &Walls::new(s)).z);
    let k = (away / s.g) as usize;
    let mid = &p[k..p.len() - k];
    mid.iter().fold(f64::MIN, |a, b| a.max(*b)) - mid.iter().fold(f64::MAX, |a, b| a.min(*b))
}

/// Ball-nose scallop h = R - sqrt(R^2 - s^2/4), textbook geometry (from memory); worked example R 3 mm, s 0.5 mm ->
/// 0.010435 mm; 1/4 in ball, s 0.635 mm -> 0.015915 mm. Tolerance 6 %: the grid misses the sharp peak by up to half a
/// cell, s g / (8 R) of 0.5 um.
#[test]
fn made_ball_scallops_have_the_handbook_height() {
    for (d, s, um) in [(6.0, 0.5, 10.435), (6.35, 0.635, 15.915), (6.0, 1.2, 60.6)] {
        let h = range(&bare(tool(d, Bottom::Ball), s), 6.0);
        assert!((h / um - 1.0).abs() < 0.06, "D {d}, s {s}: {h:.2} um, handbook {um}");
    }
    // Bull nose: nothing while the stepover stays within the flat, then the corner's own scallop.
    let h = range(&bare(tool(6.35, Bottom::Bull(0.8)), 2.54), 6.0);
    assert!(h < 0.01, "a bull nose within its flat leaves {h} um");
    let h = range(&bare(tool(6.35, Bottom::Bull(0.8)), 5.5), 8.0);
    assert!((h / 93.335 - 1.0).abs() < 0.05, "bull nose at 5.5 mm: {h:.1} um, computed 93.3");
}

/// A flat bit out of square across the passes: saw of height s tan(tilt) (geometry): s 2.54 mm at 1 degree 44.336 um.
#[test]
fn a_made_tilt_across_leaves_a_saw_of_s_tan_tilt() {
    let mut s = bare(tool(6.35, Bottom::Flat), 2.54);
    s.tilt = [0.0, 1f64.to_radians().tan()];
    let h = range(&s, 8.0);
    assert!((h / 44.336 - 1.0).abs() < 0.02, "{h:.2} um");
    // Along the passes instead: dished, (R - sqrt(R^2 - s^2/4)) sin(tilt): D 6.35, s 2.54 at 1 degree 4.626 um.
    s.tilt = [1f64.to_radians().tan(), 0.0];
    let h = range(&s, 8.0);
    assert!((h / 4.626 - 1.0).abs() < 0.12, "along: {h:.2} um");
}

/// A flat bit, square and stiff, leaves nothing at any stepover.
#[test]
fn a_square_stiff_flat_bit_leaves_no_mark() {
    assert!(range(&bare(tool(6.0, Bottom::Flat), 3.3), 5.0) < 1e-3);
}

/// The floor is the lowest of all passes: a proud first slot keeps the strip that no later pass covers (the stepover
/// from one side, 2 s - D from both), a deep one its full width.
#[test]
fn first_slots_leave_strips_of_the_widths_that_geometry_gives() {
    let (d, s) = (6.0, 3.6);
    for (middle_first, lift, width) in
        [(false, 90.0, s), (true, 90.0, 2.0 * s - d), (false, -90.0, d), (true, -90.0, d)]
    {
        let mut q = bare(tool(d, Bottom::Flat), s);
        q.size = [64.0, 44.0];
        q.lift_um = lift;
        q.pattern = Pattern::Parallel { angle: 0.0, both_ways: false, middle_first };
        let c = support::cut::cut(&q, &Walls::new(&q));
        let p = profile(&c.z);
        let mut sorted: Vec<f32> = p.iter().map(|v| *v as f32).collect();
        let middle = f64::from(quantile(&mut sorted, 0.5));
        let strip = p.iter().filter(|v| (**v - middle) * lift.signum() > 15.0).count() as f64 * q.g;
        assert!(
            (strip - width).abs() < 0.12,
            "middle first {middle_first}, lift {lift}: {strip:.2} mm, geometry {width:.2}"
        );
        let found = truth::strip(&q, &c).expect("a strip");
        assert!(
            (found.area / found.length / width - 1.0).abs() < 0.12,
            "{:.2} against {width}",
            found.area / found.length
        );
    }
}

/// Engagement of a later pass: phi = acos(1 - 2 s/D) of the half circle's 180 degrees: s/D 0.5 -> a half.
#[test]
fn later_passes_meet_the_share_of_the_half_circle_that_geometry_gives() {
    let mut q = bare(tool(6.0, Bottom::Flat), 3.0);
    q.lift_um = 50.0;
    let levels = support::cut::cut(&q, &Walls::new(&q)).levels;
    let straight: Vec<f64> = levels.iter().map(|l| l.0).collect();
    assert!(straight[0] > 0.85, "the first slot meets {:.2}", straight[0]);
    assert!(straight.iter().any(|e| (e - 0.5).abs() < 0.05), "{straight:?}");
}

/// A made photo's own geometry: the report's frames rest on it, so project and back must agree, and the card must come
/// out 85.60 x 53.98 mm (ISO/IEC 7810 ID-1) on the plane it lies on.
#[test]
fn a_made_card_has_its_size_and_the_same_seed_the_same_bytes() {
    let mut s = draw(77, Some("clean"), Size::Small);
    s.camera.px = [640, 480];
    s.refs = vec![Ref { kind: RefKind::Card, on_floor: false, at: [4.0, s.size[1] + 14.0], rot: 10.0, style: 3 }];
    let (a, b) = (make(&s), make(&s));
    assert!(a.jpeg == b.jpeg && a.plan == b.plan && a.truth == b.truth, "the same settings gave another scene");
    let other = make(&Spec { seed: 78, ..s.clone() });
    assert!(other.jpeg != a.jpeg, "another seed must give another photo");
    let corners = points(&a.truth["refs"][0]["corners_mm"]);
    let side = |i: usize, j: usize| (corners[i][0] - corners[j][0]).hypot(corners[i][1] - corners[j][1]);
    assert!((side(0, 1) - 85.60).abs() < 1e-9 && (side(1, 2) - 53.98).abs() < 1e-9);
    for (mm, px) in points(&a.truth["pocket_outline_mm"]).iter().zip(points(&a.truth["pocket_outline_floor_px"])) {
        let back = back_to_floor(&a.truth, px);
        assert!((back[0] - mm[0]).hypot(back[1] - mm[1]) < 1e-3, "{mm:?} came back as {back:?}");
    }
}
