//! Hand-made marks, one floor a cause: what the weighing must say of marks that are beyond doubt.

mod bent;
mod contour;
mod first_pass;
mod lean;
mod lines;

use super::*;
use crate::expect::expected;
use crate::fit;
use crate::floor::Light;
use crate::geometry::{Homography, Point};
use crate::marks::{Edge, Family, Figure, Flecks, PeriodKind, Polarity, Quality, Strip};
use crate::raster::{Mask, Plane};
use crate::rectify::FloorView;
use crate::units::LengthUnit;

fn m(value: f64, sigma: f64) -> Measured {
    Measured { value, sigma }
}

pub(super) fn frame() -> FloorFrame {
    FloorFrame {
        residual_px: 0.3,
        floor_offset_corrected: true,
        floor_offset_relative: 0.01,
        ..FloorFrame::from_homography(Homography::identity(), Some(m(0.05, 0.0002)))
    }
}

pub(super) fn patch() -> Patch {
    let outline = vec![Point::new(0.0, 0.0), Point::new(116.0, 0.0), Point::new(116.0, 76.0), Point::new(0.0, 76.0)];
    Patch {
        view: FloorView {
            origin: Point::default(),
            step: 0.05,
            luma: Plane::new(1, 1),
            chroma: None,
            chroma_shrink: 1,
        },
        mask: Mask::new(1, 1, true),
        outline_px: outline.clone(),
        outline,
        islands: vec![],
        pocket_x_deg: Some(0.0),
        light: Light { from_deg: Some(m(90.0, 2.0)), elevation_deg: Some(m(12.0, 1.0)), source: None },
        outline_given: false,
        outline_assumed: false,
        area: 8000.0,
        used_fraction: 0.9,
        burnt_fraction: 0.0,
        black_fraction: 0.0,
        blur_px: Some(1.2),
        shadow_contrast: Some(8.0),
        how: String::new(),
    }
}

pub(super) fn plain_marks() -> Marks {
    Marks {
        quality: Quality {
            texture_rms: 0.02,
            detectable_contrast: 0.01,
            detectable_height_um: Some(4.0),
            ..Default::default()
        },
        ..Default::default()
    }
}

fn profile(of: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..64).map(|i| of((f64::from(i) + 0.5) / 64.0)).collect()
}

/// A strong, even family of symmetric ridges.
fn family(pitch: f64, normal_deg: f64) -> Family {
    Family {
        pitch: m(pitch, pitch * 0.004),
        normal_deg: m(normal_deg, 0.2),
        offset: None,
        along_walls: None,
        curved: false,
        wandering: false,
        strength_db: 25.0,
        false_alarm: 1e-9,
        coherent_passes: 20.0,
        period_kind: PeriodKind::Relief,
        harmonics: [0.1, 0.05, 0.033, 0.025],
        harmonic_noise: 0.05,
        fall_off: None,
        folded: profile(|x| x - 0.5),
        contrast: 0.1,
        skew: 0.1,
        alternation: 0.02,
        jitter: 0.02,
        lines: vec![],
        coverage: 1.0,
        chroma_share: Some(m(0.02, 0.02)),
        by_pair: false,
        height_um: None,
    }
}

fn saw(pitch: f64, normal_deg: f64) -> Family {
    Family {
        harmonics: [0.1, 0.09, 0.08, 0.07],
        skew: -2.0,
        folded: profile(|x| if (x - 0.5).abs() < 0.04 { -1.0 } else { 0.1 }),
        height_um: Some(m(28.0, 5.0)),
        ..family(pitch, normal_deg)
    }
}

fn wave(pitch: f64, normal_deg: f64) -> Family {
    let folded = profile(|x| (std::f64::consts::TAU * x).sin());
    Family { harmonics: [0.1, 0.0, 0.0, 0.0], folded, ..family(pitch, normal_deg) }
}

fn edge(offset: f64, length: f64, normal_deg: f64, polarity: Polarity, height: f64) -> Edge {
    Edge {
        from: Point::new(10.0, offset),
        to: Point::new(10.0 + length, offset),
        offset,
        length,
        normal_deg,
        polarity,
        deficit: m(0.1, 0.005),
        snr: 20.0,
        height_um: Some(m(height, 5.0)),
        chroma_share: None,
        stands_out: false,
    }
}

/// A strip and its two edges, 100 mm long across the pocket.
fn with_strip(mut marks: Marks, width: f64, proud: bool) -> Marks {
    let (a, b) = if proud { (Polarity::Lit, Polarity::Shade) } else { (Polarity::Shade, Polarity::Lit) };
    marks.edges.push(edge(30.0, 100.0, 90.0, a, 35.0));
    marks.edges.push(edge(30.0 + width, 100.0, 90.0, b, 35.0));
    let n = marks.edges.len();
    marks.strips.push(Strip {
        offset: 30.0 + width / 2.0,
        normal_deg: 90.0,
        width: m(width, 0.05),
        length: 100.0,
        proud,
        level_um: Some(m(if proud { 35.0 } else { -35.0 }, 5.0)),
        wall_distance: None,
        edges: (n - 2, n - 1),
    });
    marks
}

const PLAN: &str = "[cutter]\nshape = \"flat\"\ndiameter = 6.35\nflutes = 2\nhelix = \"down-cut\"\n[cut]\npattern = \"parallel\"\npass_angle_deg = 0\nboth_ways = true\nstepover = 2.54\ndepth = 2.5\nfeed = 3600\nspeed_rpm = 12000\n[pocket]\nwidth = 116\nheight = 76\n[material]\nkind = \"hardwood\"\n[machine]\nscrew_lead = 5";

pub(super) fn plan(change: &[(&str, &str)]) -> PlannedCut {
    let mut text = PLAN.to_owned();
    for (from, to) in change {
        assert!(text.contains(from), "{from} is not in the plan");
        text = text.replace(from, to);
    }
    crate::plan::parse(&text, "plan", LengthUnit::Mm).unwrap()
}

fn weighed(frame: &FloorFrame, patch: &Patch, marks: &Marks, plan: &PlannedCut) -> (Explanation, Vec<Caveat>) {
    let fit = fit::judge((3000, 2000), frame, &[], patch, plan, &fit::Seen::default());
    weigh(frame, patch, &fit, marks, plan, &expected(plan))
}

fn look(marks: &Marks, plan: &PlannedCut) -> (Explanation, Vec<Caveat>) {
    let got = weighed(&frame(), &patch(), marks, plan);
    let e = &got.0;
    assert!(e.findings.iter().map(|f| f.probability).sum::<f64>() <= 1.0);
    assert!(e.findings.windows(2).all(|w| w[0].probability >= w[1].probability));
    assert!(!e.headline.is_empty() && e.headline.len() < 300, "{}", e.headline);
    got
}

fn says(marks: &Marks, plan: &PlannedCut, cause: Cause, verdict: Verdict) -> (Explanation, Vec<Caveat>) {
    let got = look(marks, plan);
    let f = &got.0.findings[0];
    let all: Vec<_> = got.0.findings.iter().map(|f| (f.id, f.probability)).collect();
    assert_eq!((f.id, got.0.verdict), (cause, verdict), "{all:?}\n{f:#?}");
    assert!(f.probability > 0.5 && f.probability <= verdict::CAP, "{all:?}\n{f:#?}");
    got
}

fn ids(caveats: &[Caveat]) -> Vec<&'static str> {
    caveats.iter().map(|c| c.id).collect()
}

fn with_family(f: Family) -> Marks {
    Marks { families: vec![f], ..plain_marks() }
}

#[test]
fn a_saw_at_the_stepover_is_a_lean_across() {
    let (e, c) = says(&with_family(saw(2.54, 90.0)), &plan(&[]), Cause::TiltAcrossPasses, Verdict::Scallops);
    assert!(ids(&c).is_empty(), "{c:?}");
    assert!((e.comparison.ratio.unwrap().value - 1.0).abs() < 1e-9);
    // 28 um over 2.54 mm is 0.63 degrees: 1.10 mm per 100 mm. Dark lines, the lamp at the lower side.
    let square = &e.findings[0].changes[0];
    assert!(square.to.contains("0.63 degrees") && square.to.contains("1.10 mm per 100 mm (0.044 in per 4 in)"));
    assert!(square.to.contains("leans towards the side that the lamp stood on"), "{}", square.to);
    assert_eq!(
        square.effect.as_deref(),
        Some("ridges fall from 28 \u{b5}m to under 1 \u{b5}m at the usual 0.25 mm per m")
    );
}

#[test]
fn symmetric_ridges_of_a_wide_flat_cutter_are_a_lean_along() {
    let p = plan(&[("diameter = 6.35", "diameter = 25.4"), ("stepover = 2.54", "stepover = 17.5")]);
    let marks = with_family(Family { height_um: Some(m(50.0, 10.0)), coherent_passes: 5.0, ..family(17.5, 90.0) });
    says(&marks, &p, Cause::TiltAlongPasses, Verdict::Scallops);
}

#[test]
fn a_ball_nose_leaves_cusps_and_half_the_stepover_is_named() {
    let p = plan(&[("\"flat\"", "\"ball-nose\""), ("stepover = 2.54", "stepover = 2.4")]);
    let marks = with_family(Family { height_um: Some(m(57.0, 10.0)), ..family(1.2, 90.0) });
    let (e, c) = says(&marks, &p, Cause::Cusps, Verdict::Scallops);
    assert_eq!(ids(&c), ["plan-slip-twice"]);
    assert!(c[0].text.contains("half"), "{}", c[0].text);
    assert!(e.findings[0].changes.iter().any(|c| c.what == "cutter for the floor"));
}

#[test]
fn a_rounded_stepover_is_no_slip() {
    let (_, c) = says(&with_family(saw(69.65 / 28.0, 90.0)), &plan(&[]), Cause::TiltAcrossPasses, Verdict::Scallops);
    assert_eq!(ids(&c), ["stepover-rounded"]);
    // Six sigmas off the plan: still the likeliest, but less sure than a spacing that fits.
    let (e, c) = look(&with_family(saw(2.60, 90.0)), &plan(&[]));
    assert_eq!((e.findings[0].id, e.verdict), (Cause::TiltAcrossPasses, Verdict::Scallops));
    assert_eq!(ids(&c), ["axis-scale"]);
}

#[test]
fn a_period_of_two_stepovers_is_alternation() {
    let roof = Family { folded: profile(|x| (x - 0.5).signum()), ..family(5.08, 90.0) };
    let p = plan(&[("screw_lead = 5", "")]);
    says(&with_family(roof), &p, Cause::AlternatingPasses, Verdict::DeflectionSteps);
    let at_one = Family { alternation: 0.9, ..family(2.54, 90.0) };
    says(&with_family(at_one), &plan(&[]), Cause::AlternatingPasses, Verdict::DeflectionSteps);
}

#[test]
fn a_proud_strip_of_one_stepover_is_the_first_pass() {
    let (e, c) =
        says(&with_strip(plain_marks(), 2.5, true), &plan(&[]), Cause::FullWidthFirstPass, Verdict::DeflectionSteps);
    assert!(ids(&c).is_empty());
    let skim = e.findings[0].changes.iter().find(|c| c.to.contains("skim")).unwrap();
    assert!(skim.to.contains("0.13 to 0.25 mm"), "{}", skim.to);
    assert!(skim.cautions.iter().any(|c| c.contains("unplug")));
}

#[test]
fn a_deep_strip_of_the_full_diameter_is_an_up_cuts_first_pass() {
    let p = plan(&[("down-cut", "up-cut")]);
    says(&with_strip(plain_marks(), 6.3, false), &p, Cause::FullWidthFirstPass, Verdict::DeflectionSteps);
    // The same under a down-cut is named as odd.
    let (_, c) = look(&with_strip(plain_marks(), 6.3, false), &plan(&[]));
    assert!(ids(&c).contains(&"plan-slip-helix"), "{c:?}");
}

fn letters() -> Patch {
    let islands = vec![vec![Point::new(30.0, 30.0), Point::new(60.0, 30.0), Point::new(60.0, 45.0)]];
    Patch { islands, ..patch() }
}

fn round_letters(scatter: bool) -> Marks {
    let heights = if scatter { [20.0, 60.0, 35.0, 80.0, 45.0, 15.0] } else { [70.0; 6] };
    let mut marks = plain_marks();
    for (i, h) in heights.iter().enumerate() {
        let polarity = if i % 2 == 0 { Polarity::Shade } else { Polarity::Lit };
        marks.edges.push(edge(28.0 + 3.0 * i as f64, 20.0, 90.0 + 25.0 * i as f64, polarity, *h));
    }
    marks
}

#[test]
fn uneven_steps_round_letters_are_engagement() {
    let p = plan(&[("parallel", "contour"), ("pass_angle_deg = 0", "")]);
    let (e, _) = weighed(&frame(), &letters(), &round_letters(true), &p);
    assert_eq!((e.findings[0].id, e.verdict), (Cause::EngagementSteps, Verdict::DeflectionSteps), "{:#?}", e.findings);
}

#[test]
fn even_steps_round_letters_with_two_cutters_are_the_change() {
    let p = plan(&[
        ("parallel", "contour"),
        ("pass_angle_deg = 0", ""),
        ("[cut]", "[second_cutter]\ndiameter = 3.175\n[cut]"),
        ("hardwood", "foam"),
    ]);
    let (e, _) = weighed(&frame(), &letters(), &round_letters(false), &p);
    assert_eq!((e.findings[0].id, e.verdict), (Cause::CutterChangeStep, Verdict::Other), "{:#?}", e.findings);
    assert!(e.findings[0].changes[0].to.contains("70 µm"));
}

#[test]
fn marks_along_the_pass_follow_feed_and_drive() {
    let p = plan(&[]);
    says(&with_family(Family { curved: true, ..family(0.3, 0.0) }), &p, Cause::OncePerRevolution, Verdict::Other);
    says(&with_family(Family { curved: true, ..family(0.15, 0.0) }), &p, Cause::OncePerTooth, Verdict::Other);
    says(&with_family(wave(5.0, 0.0)), &p, Cause::DrivePeriod, Verdict::Other);
    says(&with_family(wave(0.83, 18.0)), &p, Cause::Chatter, Verdict::Other);
}

#[test]
fn figure_and_torn_fibre_are_no_tool_marks() {
    let p = plan(&[("stepover = 2.54", "stepover = 2.54\nskim = 0.18"), ("hardwood", "softwood")]);
    let colour = Family {
        period_kind: PeriodKind::Colour,
        chroma_share: Some(m(0.6, 0.05)),
        jitter: 0.3,
        coverage: 0.3,
        ..family(3.1, 91.0)
    };
    let figure =
        Figure { normal_deg: 91.0, coherence: 0.8, contrast: 0.12, chroma_share: Some(0.4), outside: Some(0.8) };
    let marks = Marks { families: vec![colour], figure, ..plain_marks() };
    says(&marks, &p, Cause::WoodFigure, Verdict::Other);
    let flecks = Flecks { fraction: 0.12, per_cm2: 40.0, direction_deg: Some(35.0) };
    says(&Marks { flecks, ..plain_marks() }, &p, Cause::FuzzOrTear, Verdict::Other);
    // A few chips, and late wood that breaks up into flecks, are none.
    for (per_cm2, chroma_share) in [(1.4, 0.1), (40.0, 0.7)] {
        let flecks = Flecks { fraction: 0.012, per_cm2, direction_deg: None };
        let figure = Figure { contrast: 0.02, coherence: 0.6, chroma_share: Some(chroma_share), ..Figure::default() };
        says(&Marks { flecks, figure, ..plain_marks() }, &p, Cause::Clean, Verdict::NoneSeen);
    }
}

#[test]
fn an_empty_floor_is_clean_only_in_a_photo_that_would_have_shown_ridges() {
    let p = plan(&[("hardwood", "mdf")]);
    says(&plain_marks(), &p, Cause::Clean, Verdict::NoneSeen);
    let soft = Patch { blur_px: Some(25.0), ..patch() };
    let blind = Quality { detectable_height_um: Some(60.0), ..plain_marks().quality };
    let marks = Marks { quality: blind, ..plain_marks() };
    let (e, _) = weighed(&frame(), &soft, &marks, &p);
    assert_eq!((e.findings[0].id, e.verdict), (Cause::CannotTell, Verdict::CannotTell), "{:#?}", e.findings);
    let retake = e.retake.unwrap();
    assert!(retake.reasons.iter().any(|r| r.contains("soft")) && !retake.advice.is_empty(), "{retake:?}");
}

#[test]
fn cusps_with_a_deep_strip_are_both() {
    let p = plan(&[
        ("\"flat\"", "\"bull-nose\"\ncorner_radius = 1.5"),
        ("down-cut", "up-cut"),
        ("stepover = 2.54", "stepover = 4.4"),
        ("hardwood", "mdf"),
    ]);
    let narrow = profile(|x| if (x - 0.5).abs() < 0.12 { if x < 0.5 { -1.0 } else { 1.0 } } else { 0.0 });
    let cusps = Family { height_um: Some(m(90.0, 20.0)), folded: narrow, ..family(4.4, 90.0) };
    let mut marks = with_family(cusps);
    for k in 0..12 {
        let at = 4.4 * f64::from(k);
        marks.edges.push(edge(at + 2.2, 90.0, 90.0, Polarity::Shade, 80.0));
        marks.edges.push(edge(at + 2.7, 90.0, 90.0, Polarity::Lit, 80.0));
    }
    let (e, _) = look(&marks, &p);
    assert_eq!(e.verdict, Verdict::Scallops, "edges in step belong to the ridges: {:#?}", e.findings);
    let marks = with_strip(marks, 6.3, false);
    let (e, _) = look(&marks, &p);
    assert_eq!(e.verdict, Verdict::Both, "{:#?}", e.findings);
    let two: Vec<Cause> = e.findings[..2].iter().map(|f| f.id).collect();
    assert_eq!(two, [Cause::Cusps, Cause::FullWidthFirstPass]);
}

#[test]
fn foam_rules_deflection_out() {
    let wood = look(&with_strip(plain_marks(), 2.5, true), &plan(&[])).0;
    let foam = look(&with_strip(plain_marks(), 2.5, true), &plan(&[("hardwood", "foam")])).0;
    let of =
        |e: &Explanation| e.findings.iter().find(|f| f.id == Cause::FullWidthFirstPass).map_or(0.0, |f| f.probability);
    assert!(of(&wood) > 0.9 && of(&foam) < 0.8, "{} {}", of(&wood), of(&foam));
}

#[test]
fn without_a_scale_no_tool_mark_is_called_sure() {
    let p = plan(&[]);
    let mut f = frame();
    f.scale = None;
    let (e, _) = weighed(&f, &patch(), &with_family(saw(50.0, 90.0)), &p);
    assert!(e.findings[0].probability <= verdict::CAP_UNSCALED && e.comparison.ratio.is_none());
    assert_eq!(e.findings[0].id, Cause::TiltAcrossPasses);
}

#[test]
fn an_empty_plan_and_empty_marks_do_not_panic() {
    for marks in [Marks::default(), plain_marks(), with_family(saw(2.54, 30.0)), with_strip(plain_marks(), 3.0, true)] {
        look(&marks, &PlannedCut::default());
    }
    let odd = Family {
        contrast: f64::NAN,
        alternation: f64::INFINITY,
        skew: f64::NAN,
        harmonics: [0.0; 4],
        ..family(1e-9, f64::NAN)
    };
    look(&with_family(odd), &plan(&[]));
}

/// Whatever two causes lead, no two changes pull one lever apart, and cautions stand with every change at the machine.
#[test]
fn advice_never_contradicts_itself() {
    use super::changes::{agree, changes};
    let causes: Vec<Cause> = findings::ALL.iter().map(|r| r.cause).collect();
    let (f, pa, ex) = (frame(), patch(), fit::Fit::default());
    for helix in ["down-cut", "up-cut"] {
        let plan = plan(&[("down-cut", helix)]);
        let (marks, expected) = (with_strip(with_family(saw(2.54, 90.0)), 2.5, true), expected(&plan));
        let d = Digest::new(&f, &pa, &ex, &marks, &plan, &expected);
        for a in &causes {
            for b in &causes {
                let of = |id: Cause, probability: f64| Finding {
                    id,
                    probability,
                    summary: String::new(),
                    evidence: vec![],
                    against: vec![],
                    changes: changes(&d, id, d.lines.first(), d.marks.strips.first()),
                };
                let mut both = [of(*a, 0.5), of(*b, 0.4)];
                let own = both[0].changes.len();
                agree(&mut both);
                assert_eq!(both[0].changes.len(), own, "{a:?} alone contradicts itself");
                let what: Vec<&Change> = both.iter().flat_map(|f| &f.changes).collect();
                let idle = what.iter().filter(|c| c.what == "nothing at the machine").count();
                assert!(idle == 0 || idle == what.len(), "{a:?}, {b:?}: leave alone and change");
                let told = |w: &str, t: &str| what.iter().any(|c| c.what == w && c.to.contains(t));
                assert!(!(told("helix", "up-cut for") && told("helix", "down-cut, whose")));
                assert!(
                    !(told("feed in corners and slots", "less") && told("turns of the path", "keep its speed")),
                    "{a:?}, {b:?}"
                );
                assert!(what.iter().all(|c| c.what == "nothing at the machine" || !c.cautions.is_empty()));
            }
        }
    }
}
