use super::*;
use std::f64::consts::PI;

fn path(text: &str) -> Toolpath {
    parse(text, "a.ngc").unwrap_or_else(|e| panic!("{text}: {e}")).0
}
fn ids(text: &str) -> Vec<&'static str> {
    parse(text, "a.ngc").unwrap().1.iter().map(|c| c.id).collect()
}
fn refused(text: &str) -> String {
    let e = parse(text, "a.ngc").expect_err(text);
    assert_eq!(e.stage, Stage::Toolpath);
    e.to_string()
}
fn near(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance
}
/// The ends of the moves after the one that goes to (1, 2, 3).
fn ends_from_123(cycle: &str) -> Vec<(bool, [f64; 3])> {
    let p = path(&format!("G21 F100 S1000 M3\nG0 X1 Y2 Z3\n{cycle}\n"));
    p.moves[1..].iter().map(|m| (m.is_cut(), m.end_mm.map(|v| (v * 1e6).round() / 1e6))).collect()
}

/// The report's section 3.5.3.2: at (7, 7) "G17 G2 x10 y16 i3 j4 z9" turns clockwise about (10, 11) with radius 5.
#[test]
fn a_helix_by_its_centre_runs_as_the_report_says() {
    let p = path("G21 F100 S1 M3\nG0 X7 Y7 Z7\nG17 G2 X10 Y16 I3 J4 Z9");
    let m = &p.moves[1];
    let Kind::Arc(a) = m.kind else { panic!("{m:?}") };
    assert_eq!((a.centre_mm, a.radius_mm, m.end_mm), ([10.0, 11.0], 5.0, [10.0, 16.0, 9.0]));
    assert!(a.turn_rad < 0.0 && near(m.length_mm(), (5.0 * a.turn_rad).hypot(2.0), 1e-9));
    let middle = m.at(0.5);
    assert!(near((middle[0] - 10.0).hypot(middle[1] - 11.0), 5.0, 1e-9) && near(middle[2], 8.0, 1e-9));
}

/// The arcs of program C.1 of the report (its lines n0190, n0320, n0430, n0490, n0590): lengths computed apart from this
/// program; G2 together 44.6710 mm, G3 11.7810 mm.
#[test]
fn the_arcs_of_the_reports_first_program_have_their_lengths() {
    let p = path(
        "G21 F20 S1000 M3\nG0 X16 Y2.5 Z-0.5\nG3 X13.5 Y0 I-2.5\n\
         G0 X30 Y2.5\nG2 I2.5\nG0 X50 Y2.5\nG2 X50 I2.5\nG0 X60 Y0\nG2 X63 Y4 R4\nG0 X70 Y5\nG2 X70 Y0 J-2.5\n",
    );
    assert!(near(p.totals.clockwise_mm, 44.6710, 5e-5), "{:?}", p.totals);
    assert!(near(p.totals.counterclockwise_mm, 11.7810, 5e-5), "{:?}", p.totals);
    assert!(near(p.totals.cut_min, (44.6710 + 11.7810) / 20.0, 1e-5));
}

/// The report's sections 3.5.16.3: G81 by places and by steps.
#[test]
fn drilling_cycles_run_as_the_reports_examples() {
    let rapid = |x, y, z| (false, [x, y, z]);
    let feed = |x, y, z| (true, [x, y, z]);
    assert_eq!(
        ends_from_123("G90 G81 G98 X4 Y5 Z1.5 R2.8"),
        [rapid(4.0, 5.0, 3.0), rapid(4.0, 5.0, 2.8), feed(4.0, 5.0, 1.5), rapid(4.0, 5.0, 3.0)]
    );
    let by_steps = ends_from_123("G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3");
    let mut want = vec![rapid(1.0, 2.0, 4.8)];
    for (x, y) in [(5.0, 7.0), (9.0, 12.0), (13.0, 17.0)] {
        want.extend([rapid(x, y, 4.8), feed(x, y, 4.2), rapid(x, y, 4.8)]);
    }
    assert_eq!(by_steps, want);
}

#[test]
fn pecking_boring_and_sticky_words() {
    let peck = ends_from_123("G83 G99 X4 Y5 Z0 R2 Q0.8\nX8\nG80");
    let feeds: Vec<[f64; 3]> = peck.iter().filter(|m| m.0).map(|m| m.1).collect();
    assert_eq!(feeds[..3], [[4.0, 5.0, 1.2], [4.0, 5.0, 0.4], [4.0, 5.0, 0.0]]);
    assert_eq!(feeds.len(), 6, "Z, R and Q hold for the next hole");
    assert_eq!(peck.last().unwrap().1, [8.0, 5.0, 2.0], "G99 returns to R");
    let bore = ends_from_123("G85 G98 X4 Y5 Z0 R2");
    assert_eq!(bore[3..], [(true, [4.0, 5.0, 2.0]), (false, [4.0, 5.0, 3.0])], "bored out at the feed, then back");
    assert!(path("G21 F1 S1 M3\nG0 X1 Y1 Z9\nG82 X4 Y5 Z1 R2 P3\n").totals.dwell_min > 0.049);
    for (line, part) in [
        ("G81 X4 Y5 R2", "needs the bottom"),
        ("G81 X4 Y5 Z3 R2", "lies above"),
        ("G81 X4 Z1 R2 L0", "L must be"),
        ("G83 X4 Z1 R2", "Q above zero"),
        ("G93 G81 X4 Z1 R2", "under G93"),
        ("G81", "place of its hole"),
    ] {
        let m = refused(&format!("G21 F1\nG0 X1 Y1 Z9\n{line}"));
        assert!(m.contains("line 3: ") && m.contains(part), "{line}: {m}");
    }
}

/// The report's section 3.5.18: at X4, "G92 x7" makes the offset -3; at 7 then, "G92 x9" makes it -5.
#[test]
fn g92_shifts_as_the_report_says() {
    let text = "G21 F1 S1 M3\nG0 X4 Y0 Z0\nG92 X7\n#1=#5211\nG92 X9\n#2=#5211\nG1 X[#1] Y[#2]\n";
    let m = path(text).moves.pop().unwrap();
    // Zero of the list is the zero in force at the first cut.
    assert_eq!(m.end_mm, [-3.0, -5.0, 0.0]);
    assert!(near(m.length_mm(), 12f64.hypot(5.0), 1e-9), "from 9 to -3 in the shifted system");
}

#[test]
fn parameters_take_their_new_value_after_the_line() {
    let p = path("G21 F1 S1 M3\n#3=6 #4=1\nG0 X0 Y0 Z0\n#3=15 G1 X#3 Y[#4+1]\nX#3\n");
    assert_eq!((p.moves[1].end_mm, p.moves[2].end_mm), ([6.0, 2.0, 0.0], [15.0, 2.0, 0.0]));
}

#[test]
fn coordinate_systems_set_in_the_file_are_followed() {
    let p = path("G21 F1 S1 M3\nG10 L2 P2 X10 Y20 Z0\nG0 X0 Y0 Z0\nG1 X1\nG0 G55 X0 Y0 Z0\nG1 X1\nG0 G54 X0 Y0");
    assert_eq!(p.moves[3].end_mm, [11.0, 20.0, 0.0]);
    assert_eq!(p.moves[4].end_mm, [0.0, 0.0, 0.0]);
    assert!(ids("G21 F1 S1 M3\nG0 X0 Y0 Z0\nG1 X1\nG55 G0 X0 Y0 Z0\nG1 X1").contains(&"toolpath-place-unknown"));
}

#[test]
fn inches_feeds_and_inverse_time() {
    let p = path("G20 G94 F16 S1000 M3\nG0 X0 Y0 Z0\nG1 X1\nG93 G1 X2 F2\n");
    assert!(near(p.moves[1].feed_mm_min.unwrap(), 406.4, 1e-9), "F16 in inches is 406.4 mm/min (computed)");
    assert!(near(p.totals.cut_min, 25.4 / 406.4 + 0.5, 1e-9), "under G93 F2 lasts half a minute");
    assert_eq!(p.unit, LengthUnit::In);
    assert!(refused("G21\nG0 X0\nG93 G1 X2").contains("line 3: under G93"));
}

#[test]
fn arcs_of_the_other_planes_turn_as_seen_from_their_own_axis() {
    // A run-in as many files write it: from above down to the floor, a quarter circle in the ZX plane.
    let p = path("G21 F1 S1 M3\nG0 X442.557 Y54 Z-1.4\nG18 G3 X441.957 Z-2 I-0.6 K0\nG19 G2 Y54.6 Z-2.6 J0 K-0.6");
    for m in &p.moves[1..] {
        let Kind::Arc(a) = m.kind else { panic!() };
        assert!(near(a.turn_rad.abs(), PI / 2.0, 1e-6), "{a:?}");
    }
    let (low, high) = p.moves[1].z_span_mm();
    assert!(near(low, -2.0, 1e-9) && near(high, -1.4, 1e-9));
}

#[test]
fn lengths_leave_out_what_only_the_machine_knows() {
    let p = path(
        "%\nG21 F60 S1 M3\nG28 G91 Z0\nG90\nG0 X10 Y10\nZ5\nZ1\nG1 X20\nG53 G0 Z0\nG0 X0\nM30\nthis is after the end\n",
    );
    // Only Z5 to Z1 and the way back along X are known rapids.
    assert!(near(p.totals.rapid_mm, 4.0 + 20.0, 1e-9), "{:?}", p.totals);
    assert!(near(p.totals.cut_mm(), 10.0, 1e-9) && near(p.totals.cut_min, 10.0 / 60.0, 1e-9));
}

#[test]
fn dialects_are_read_and_each_named() {
    let usual = "G21 S1 M3 F1\nG0 X0 Y0 Z0\nG1 X5\n";
    assert!(ids(usual).is_empty(), "{:?}", ids(usual));
    for (line, id) in [
        ("G1 X5 ; over", "toolpath-dialect"),
        ("N123456 X5", "toolpath-dialect"),
        ("/X5", "toolpath-dialect"),
        ("G91.1", "toolpath-dialect"),
        ("G2 I5", "toolpath-dialect"),
        ("G95 F0.2 X9", "toolpath-dialect"),
        ("G187 P2", "toolpath-skipped"),
        ("M98 P100", "toolpath-skipped"),
        ("O<sub> call", "toolpath-skipped"),
        ("A90", "toolpath-skipped"),
        ("U3", "toolpath-skipped"),
        ("G41 D1", "toolpath-radius-compensation"),
        ("G38.2 Z-5", "toolpath-place-unknown"),
        ("G3 X10.02 Y5 J5", "toolpath-coarse-arcs"),
    ] {
        assert!(ids(&format!("{usual}{line}\n")).contains(&id), "{line}: {:?}", ids(&format!("{usual}{line}\n")));
    }
    assert_eq!(ids("G21\nG0 X0 Y0 Z0\nG1 X5\n"), ["toolpath-no-feed"; 2]);
    assert_eq!(ids("G21 F1 S1 M3\nG0 X0 Y0\nG1 X5\n"), ["toolpath-place-unknown"]);
    assert!(ids("O1001\nG21 S1 M3 F1\nG0 X0 Y0 Z0\nG1 X5\n").is_empty(), "a plain program number");
}

/// The report knows only steps; files with places are told by which of the two closes the circle, full circles by the
/// other arcs of their file.
#[test]
fn centres_given_as_places_are_found_out() {
    let text = "G21 F1 S1 M3\nG0 X15 Y10 Z0\nG2 X15 Y10 I10 J10\nG2 X5 Y10 I10 J10\nG2 X15 Y10 I10 J10\n";
    let (p, caveats) = parse(text, "a").unwrap();
    for m in &p.moves[1..] {
        let Kind::Arc(a) = m.kind else { panic!() };
        assert!(near(a.centre_mm[0], 10.0, 1e-9) && near(a.radius_mm, 5.0, 1e-9), "{a:?}");
    }
    assert_eq!(caveats[0].id, "toolpath-absolute-centres");
    assert!(
        refused("G21\nG0 X15 Y10\nG2 X5 Y10 I-3 J1").contains("line 3: the arc's start is 3.1623 mm from its centre")
    );
    assert!(refused("G21\nG0 X15 Y10\nG91.1 G2 X5 Y10 I10 J10").contains("do not lie on one circle"));
}

#[test]
fn a_missing_unit_is_guessed_and_said() {
    for (text, unit) in [
        ("S1 M3\nG0 X0 Y0 Z0\nG1 X4 F100\n", LengthUnit::In),
        ("S1 M3\nG0 X0 Y0 Z0\nG1 X4 F2400\n", LengthUnit::Mm),
        ("S1 M3\nG0 X0 Y0 Z0\nG1 X200 F100\n", LengthUnit::Mm),
    ] {
        let (p, caveats) = parse(text, "a").unwrap();
        assert_eq!(p.unit, unit, "{text}");
        assert!(caveats[0].id == "toolpath-units" && caveats[0].text.contains("guessed"), "{caveats:?}");
    }
    let (p, caveats) = parse("S1 M3 F1\nG0 X0 Y0 Z0\nG20\nG1 X1\n", "a").unwrap();
    assert!(near(p.totals.line_mm, 25.4, 1e-9) && caveats[0].text.contains("before it names"), "{caveats:?}");
}

#[test]
fn bad_lines_are_told_with_number_and_reason() {
    for (line, part) in [
        ("G0 G1 X1", "cannot share a line"),
        ("G1 X1 X2", "X stands twice"),
        ("G1 G92 X1", "cannot share a line"),
        ("G80 X1", "G80 has switched motion off"),
        ("G2 X1", "centre (I, J) or its radius"),
        ("G18 G2 X1", "centre (K, I) or its radius"),
        ("G2 R5", "end and its centre"),
        ("F-1", "below zero"),
        ("S-1", "below zero"),
        ("T1.5", "whole number"),
        ("M3.5", "not a code"),
        ("G1 X1e3", "no exponent"),
        ("G1 X[1/0]", "divided by zero"),
        ("G1 X99999999", "beyond a kilometre"),
        ("G4 P-1", "less than nothing"),
        ("G10 L2 P12", "P1 to P9"),
        ("G92", "needs X"),
        ("hello", "after H"),
        ("G1 X\u{0}", "has no meaning"),
    ] {
        let m = refused(&format!("G21\nG0 X0 Y0 Z0\n{line}\n"));
        assert!(m.contains("line 3: ") && m.contains(part) && m.contains("\n  try: "), "{line}: {m}");
    }
    assert!(refused("").contains("no cutting move") && refused("M30").contains("no cutting move"));
}

#[test]
fn old_line_ends_and_byte_order_marks_are_read() {
    let unix = path("G21 F1 S1 M3\nG0 X0 Y0 Z0\nG1 X5\n");
    for text in ["G21 F1 S1 M3\rG0 X0 Y0 Z0\rG1 X5", "\u{feff}G21 F1 S1 M3\r\nG0 X0 Y0 Z0\r\nG1 X5\r\n"] {
        assert_eq!(path(text).moves, unix.moves);
    }
}
