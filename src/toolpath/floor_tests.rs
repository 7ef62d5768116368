//! Made-up files whose passes are known by construction.

use super::*;

const HEAD: &str = "G21 G90 G94 F1500 S16000 M3 T1\n";

/// To and fro along x, `n` passes `s` apart, 80 mm long, at depth `z`.
fn to_and_fro(n: usize, s: f64, z: f64) -> String {
    let mut t = format!("G0 X0 Y0\nG1 Z{z}\n");
    for k in 0..n {
        let (y, x) = (s * k as f64, if k % 2 == 0 { 80 } else { 0 });
        t += &format!("G1 Y{y:.4}\nX{x}\n");
    }
    t + "G0 Z5\n"
}
/// Rectangles round (50, 40), the `k`-th k * s out from a 20 x 0 mm core, left turning, in the given order.
fn loops(order: impl Iterator<Item = usize>, s: f64, z: f64) -> String {
    let mut t = String::from("G0 Z5\n");
    for k in order {
        let r = s * k as f64;
        let (l, rr, b, u) = (40.0 - r, 60.0 + r, 40.0 - r, 40.0 + r);
        t += &format!("G0 X{l} Y{b}\nG1 Z{z}\nX{rr}\nY{u}\nX{l}\nY{b}\nG0 Z5\n");
    }
    t
}
fn floor_of(text: &str, known: Known) -> Floor {
    floor(&parse(&format!("{HEAD}G0 Z5\n{text}"), "made-up.ngc").unwrap().0, &known).unwrap()
}
fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

#[test]
fn parallel_passes_to_and_fro() {
    let f = floor_of(&to_and_fro(20, 2.4, -3.0), Known::default());
    assert_eq!((f.pattern, f.both_ways, f.passes), (Some(PassPattern::Parallel), Some(true), 20));
    assert!(near(f.stepover_mm().unwrap(), 2.4) && near(f.pass_angle_deg.unwrap(), 0.0), "{f:?}");
    assert_eq!((f.depth_mm, f.skim_mm, f.first_pass), (Some(3.0), None, Some(FirstPass::AtTheWall)));
    assert!((f.climb_share.unwrap() - 0.5).abs() < 0.05, "every second pass climbs: {:?}", f.climb_share);
    assert!((f.full_width_mm - 80.0).abs() < 3.0, "the first pass only: {}", f.full_width_mm);
    assert_eq!((f.feed_mm_min, f.speed_rpm, f.tool, f.runs.len()), (Some(1500.0), Some(16000.0), Some(1), 1));
    assert!(!f.is_rectangle, "nothing runs along the short sides");
}

/// With the spindle clockwise and the stock on the right, the teeth move against the feed: climb milling.
#[test]
fn parallel_passes_one_way_climb_or_not() {
    let mut text = String::new();
    for k in 0..12 {
        text += &format!("G0 Z5\nG0 X0 Y{}\nG1 Z-2\nX80\n", 2 * k);
    }
    // Towards +x with the next passes at larger y: stock on the left, conventional.
    let f = floor_of(&text, Known { cutter_mm: Some(5.0), ..Default::default() });
    assert_eq!((f.pattern, f.both_ways, f.climb_share), (Some(PassPattern::Parallel), Some(false), Some(0.0)));
    let f = floor_of(&text.replace("X80\n", "X-80\n"), Known { cutter_mm: Some(5.0), ..Default::default() });
    assert_eq!(f.climb_share, Some(1.0));
    let f = floor_of(&format!("M4\n{text}"), Known::default());
    assert_eq!(f.climb_share, Some(1.0), "the other hand");
}

#[test]
fn loops_from_the_middle_and_from_the_wall() {
    let out = floor_of(&loops(0..10, 2.0, -2.0), Known::default());
    assert_eq!((out.pattern, out.both_ways), (Some(PassPattern::Contour), None));
    assert!(near(out.stepover_mm().unwrap(), 2.0) && out.is_rectangle);
    assert_eq!((out.first_pass, out.climb_share.map(f64::round)), (Some(FirstPass::InTheMiddle), Some(1.0)));
    assert_eq!(out.box_mm, [crate::geometry::Point::new(22.0, 22.0), crate::geometry::Point::new(78.0, 58.0)]);
    let inward = floor_of(&loops((0..10).rev(), 2.0, -2.0), Known::default());
    assert_eq!((inward.first_pass, inward.climb_share.map(f64::round)), (Some(FirstPass::AtTheWall), Some(0.0)));
}

#[test]
fn the_floor_is_the_lowest_level_that_clears() {
    let two = to_and_fro(20, 2.4, -2.8) + &to_and_fro(20, 2.4, -3.0);
    let f = floor_of(&two, Known::default());
    assert!(near(f.z_mm.unwrap(), -3.0) && near(f.skim_mm.unwrap(), 0.2), "{:?} {:?}", f.z_mm, f.skim_mm);
    // A lone outline cut through the stock is no floor, and a deep small pocket none where the plan names the other.
    let outline = "G0 X-10 Y-10\nG1 Z-12\nX90\nY60\nX-10\nY-10\nG0 Z5\n";
    let f = floor_of(&format!("{two}{outline}"), Known::default());
    assert!(near(f.z_mm.unwrap(), -3.0), "{:?}", f.z_mm);
    let deep = to_and_fro(8, 2.4, -6.0);
    assert!(near(floor_of(&format!("{two}{deep}"), Known::default()).z_mm.unwrap(), -6.0));
    let known = Known { depth_mm: Some(3.0), cutter_mm: None };
    assert!(near(floor_of(&format!("{two}{deep}"), known).z_mm.unwrap(), -3.0));
    // Layers of equal thickness: no skim.
    let f = floor_of(&(to_and_fro(20, 2.4, -0.4) + &to_and_fro(20, 2.4, -0.8)), Known::default());
    assert_eq!((f.skim_mm, f.last_layer_mm.map(|t| (t * 1e6).round() / 1e6)), (None, Some(0.4)));
}

#[test]
fn a_floor_above_zero_has_no_depth_and_a_surface_no_level() {
    let f = floor_of(&to_and_fro(20, 2.4, 3.0), Known::default());
    assert!(near(f.z_mm.unwrap(), 3.0) && f.depth_mm.is_none());
    let mut text = to_and_fro(20, 2.4, -1.0);
    for k in 0..160 {
        let x = if k % 2 == 0 { [0, 40, 80] } else { [80, 40, 0] };
        text += &format!("G1 Y{}\nX{} Z-6\nX{} Z-2\nX{} Z-6\n", 0.3 * f64::from(k), x[0], x[1], x[2]);
    }
    let f = floor_of(&text, Known::default());
    assert!(f.z_mm.is_none() && near(f.stepover_mm().unwrap(), 0.3), "{:?} {:?}", f.z_mm, f.spacings);
    assert_eq!((f.pattern, f.both_ways), (Some(PassPattern::Parallel), Some(true)));
}

#[test]
fn a_second_cutter_at_the_floor_is_named() {
    let text = to_and_fro(20, 2.4, -3.0) + "T2\nG0 X0 Y46\nG1 Z-3\nX60\nG0 Z5\n";
    let f = floor_of(&text, Known::default());
    assert_eq!((f.tool, f.other_tools.len()), (Some(1), 1));
    assert!(f.other_tools[0].0 == Some(2) && near(f.other_tools[0].1, 60.0), "{:?}", f.other_tools);
}

#[test]
fn turned_passes_and_holes_only() {
    // The same passes turned by 30 degrees.
    let (c, s) = (30f64.to_radians().cos(), 30f64.to_radians().sin());
    let mut text = String::from("G0 X0 Y0\nG1 Z-2\n");
    for k in 0..15 {
        let y = 2.0 * f64::from(k);
        for x in if k % 2 == 0 { [0.0, 70.0] } else { [70.0, 0.0] } {
            text += &format!("G1 X{:.5} Y{:.5}\n", x * c - y * s, x * s + y * c);
        }
    }
    let f = floor_of(&text, Known::default());
    assert!((f.pass_angle_deg.unwrap() - 30.0).abs() < 0.01 && (f.stepover_mm().unwrap() - 2.0).abs() < 1e-4);
    assert_eq!(f.passes, 15);
    let holes = parse("G21 F1 S1 M3\nG0 X0 Y0 Z5\nG81 X1 Y1 Z-3 R2\nX5\n", "a").unwrap().0;
    assert!(floor(&holes, &Known::default()).is_none());
}
