//! Which families count as lines of a cutter, and as lines that alternate or are out of step.

use super::*;

#[test]
fn a_printed_grid_is_no_ridges() {
    let real = |second: Family| {
        let marks = Marks { families: vec![saw(2.54, 90.0), second], ..plain_marks() };
        let (p, frame, patch) = (plan(&[]), frame(), patch());
        let fit = crate::fit::judge((3000, 2000), &frame, &[], &patch, &p, &Default::default());
        let expected = expected(&p);
        let d = Digest::new(&frame, &patch, &fit, &marks, &p, &expected);
        d.any_line()
    };
    assert!(real(saw(2.54, 0.0)) < 0.3);
    // Another pitch, much weaker lines, or each on its own part of the floor: passes.
    let faint = saw(2.54, 0.0).folded.iter().map(|v| 0.2 * v).collect();
    for other in [
        saw(2.0, 0.0),
        Family { contrast: 0.03, harmonics: [0.02; 4], folded: faint, ..saw(2.54, 0.0) },
        Family { coverage: 0.5, ..saw(2.54, 0.0) },
    ] {
        assert!(real(other) > 0.8);
    }
}

#[test]
fn lines_out_of_step_are_vibration_and_not_passes() {
    let of = |wandering: bool, pitch: f64, deg: f64| {
        let jitter = if wandering { 0.37 } else { 0.02 };
        let (e, _) = look(&with_family(Family { wandering, jitter, ..wave(pitch, deg) }), &plan(&[]));
        e
    };
    let p = |e: &Explanation, c: Cause| e.findings.iter().find(|f| f.id == c).map_or(0.0, |f| f.probability);
    // Oblique, of no pitch of the plan's: vibration either way, and the surer for being out of step.
    let (in_step, out) = (of(false, 0.9, 37.0), of(true, 0.9, 37.0));
    assert!(p(&out, Cause::Chatter) > 0.6 && p(&out, Cause::Chatter) > p(&in_step, Cause::Chatter));
    // At the stepover and along the passes it speaks against them, but alone does not overrule them.
    let (in_step, out) = (of(false, 2.54, 90.0), of(true, 2.54, 90.0));
    let passes = |e: &Explanation| p(e, Cause::TiltAcrossPasses) + p(e, Cause::TiltAlongPasses) + p(e, Cause::Cusps);
    assert!(passes(&out) < passes(&in_step));
}

/// Play in a drive alternates passes without any force: in foam as well, where the spacing is that of two stepovers.
#[test]
fn passes_may_alternate_in_foam() {
    let p = plan(&[("hardwood", "foam")]);
    let e = look(&with_family(saw(5.08, 90.0)), &p).0;
    assert_eq!(e.findings[0].id, Cause::AlternatingPasses, "{:#?}", e.findings);
}

/// A comb found at twice the stepover whose lines are all alike is the stepover's.
#[test]
fn lines_that_are_all_alike_do_not_alternate() {
    let p = plan(&[]);
    let mut marks = with_family(saw(2.54, 90.0));
    marks.families.push(Family { harmonics: [0.004, 0.1, 0.004, 0.08], ..saw(5.08, 90.0) });
    let e = look(&marks, &p).0;
    assert_eq!(e.findings[0].id, Cause::TiltAcrossPasses, "{:#?}", e.findings);
}

/// Thin lines far apart cover little of the floor, and an eye sees them all the same.
#[test]
fn lines_far_apart_are_seen_by_how_dark_each_is() {
    let thin = |depth: f64, passes: f64| Family {
        harmonics: [0.005; 4],
        folded: profile(|x| if (x - 0.5).abs() < 0.04 { -depth } else { 0.1 * depth }),
        contrast: 0.3 * depth,
        coherent_passes: passes,
        ..family(9.0, 90.0)
    };
    assert!(digest::contrast(&thin(0.04, 12.0)) > 0.015);
    // Of few lines one strong one would do it.
    assert!(digest::contrast(&thin(0.04, 3.0)) < 0.015);
}

/// Edges that stand out of a family are its own unevenness; two that bound a strip are a fault of their own.
#[test]
fn a_strip_that_stands_out_of_ridges_is_both_and_one_edge_is_none() {
    let p = plan(&[("down-cut", "up-cut")]);
    let mut marks = with_strip(with_family(saw(2.54, 90.0)), 6.35, false);
    marks.edges.iter_mut().for_each(|e| e.stands_out = true);
    let e = look(&marks, &p).0;
    assert_eq!(e.verdict, Verdict::Both, "{:#?}", e.findings);
    marks.strips.clear();
    let e = look(&marks, &p).0;
    assert_eq!(e.verdict, Verdict::Scallops, "{:#?}", e.findings);
}

/// One line twice as strong as the others has a step beneath it; beside a wall only where it leaves light as well, else it is the
/// wall's light or the last pass's end.
#[test]
fn a_strong_line_is_a_step_unless_a_wall_explains_it() {
    let verdict = |(strong, net): (usize, f64)| {
        let line = |i: usize| crate::marks::Line {
            at: 1.3 + 2.54 * i as f64,
            shift: m(0.0, 0.02),
            strength: m(if i == strong { 2.5 } else { 1.0 }, 0.05),
            net: m(if i == strong { net } else { 0.0 }, 0.1),
            odd: false,
        };
        let lines = (0..29).map(line).collect();
        let mut marks = with_family(Family { lines, ..saw(2.54, 90.0) });
        marks
            .edges
            .push(Edge { stands_out: true, ..edge(1.3 + 2.54 * strong as f64, 100.0, 90.0, Polarity::Shade, 35.0) });
        look(&marks, &plan(&[])).0.verdict
    };
    let (ridges, both) = (Verdict::Scallops, Verdict::Both);
    assert_eq!([(0, 0.1), (12, 0.1), (28, 0.1), (28, -0.9)].map(verdict), [ridges, both, ridges, both]);
}

/// Passes cut twice as wide as planned leave ridges that are all alike; passes that alternate do not.
#[test]
fn ridges_of_one_kind_at_twice_the_stepover_are_wide_passes() {
    let p = plan(&[("\"flat\"", "\"bull-nose\"\ncorner_radius = 1.5")]);
    let roof = profile(|x| (x - 0.5).signum());
    let alternating = |folded: Vec<f64>| {
        let f = Family { folded, harmonics: [0.1, 0.09, 0.07, 0.06], ..family(5.08, 90.0) };
        let (e, _) = look(&with_family(f), &p);
        e.findings.iter().find(|f| f.id == Cause::AlternatingPasses).map_or(0.0, |f| f.probability)
    };
    let narrow = profile(|x| if (x - 0.5).abs() < 0.25 { (x - 0.5).signum() * (0.25 - (x - 0.5).abs()) } else { 0.0 });
    let uneven = profile(|x| {
        if (x - 0.3).abs() < 0.04 {
            -1.0
        } else if (x - 0.75).abs() < 0.02 {
            0.6
        } else {
            0.0
        }
    });
    let (ridges, uneven, roof) = (alternating(narrow), alternating(uneven), alternating(roof));
    assert!(uneven > ridges + 0.2 && roof > ridges + 0.2, "{ridges} {uneven} {roof}");
}

#[test]
fn what_is_no_pocket_is_not_called_clean() {
    let (p, patch, marks) = (plan(&[]), patch(), plain_marks());
    let of = |seen: fit::Seen| {
        let frame = FloorFrame { scale: None, ..frame() };
        let fit = fit::judge((3000, 2000), &frame, &[], &patch, &p, &seen);
        weigh(&frame, &patch, &fit, &marks, &p, &expected(&p)).0.findings[0].id
    };
    assert_eq!(of(fit::Seen::default()), Cause::Clean);
    // A dark seam along walls that cannot cast one.
    assert_eq!(of(fit::Seen { second_shadow: Some(0.6), ..Default::default() }), Cause::CannotTell);
}
