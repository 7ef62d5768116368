//! Lines that bend: steps round letters, rings of turns, rings of wood.

use super::*;
use crate::marks::{Curve, Curves};

/// `n` arcs, each 12 mm long and turned by 90 degrees.
fn arcs(n: usize, polarity: Polarity, radius: f64) -> Vec<Curve> {
    let one = |i: usize| Curve {
        path: vec![Point::new(10.0 + 5.0 * i as f64, 20.0), Point::new(14.0 + 5.0 * i as f64, 24.0)],
        length: 12.0,
        turn_deg: 90.0,
        radius: Some(radius),
        polarity,
        snr: 8.0,
    };
    (0..n).map(one).collect()
}

fn with_curves(lines: Vec<Curve>, chroma_share: Option<Measured>) -> Marks {
    Marks { curves: Curves { lines, walls: vec![], chroma_share }, ..plain_marks() }
}

#[test]
fn bent_lines_are_steps_and_arcs_of_the_cutters_size_are_turn_marks() {
    let p = plan(&[("parallel", "contour")]);
    let radius = p.cutter.diameter_mm.unwrap() / 2.0;
    let of = |r: f64| {
        let lines = [arcs(6, Polarity::Shade, r), arcs(6, Polarity::Lit, r)].concat();
        look(&with_curves(lines, None), &p).0
    };
    let steps = of(3.0 * radius);
    assert_eq!(steps.verdict, Verdict::DeflectionSteps, "{:#?}", steps.findings);
    let rings = of(0.9 * radius);
    assert_eq!(rings.findings[0].id, Cause::TurnMarks, "{:#?}", rings.findings);
    assert!(rings.findings[0].evidence.iter().any(|t| t.contains("arcs of the cutter's own size")), "{rings:#?}");
    // A few millimetres of bent lines are on any floor.
    let few = look(&with_curves(arcs(1, Polarity::Shade, 3.0 * radius), None), &p).0;
    assert_eq!(few.findings[0].id, Cause::Clean, "{:#?}", few.findings);
}

#[test]
fn rings_of_wood_are_no_steps() {
    let steps = |material: &str, polarity, share: Option<f64>| {
        let plan = plan(&[("parallel", "contour"), ("hardwood", material)]);
        let marks = with_curves(arcs(12, polarity, 9.0), share.map(|s| m(s, 0.02)));
        let (p, expected) = (patch(), expected(&plan));
        let fit = fit::judge((3000, 2000), &frame(), &[], &p, &plan, &fit::Seen::default());
        Digest::new(&frame(), &p, &fit, &marks, &plan, &expected).bent.steps
    };
    assert!(steps("softwood", Polarity::Lit, None) > 0.9);
    // Dark all round, or of another colour: only wood has rings.
    assert!(steps("softwood", Polarity::Shade, None) < 0.1 && steps("mdf", Polarity::Shade, None) > 0.9);
    assert!(steps("softwood", Polarity::Lit, Some(0.5)) < 0.1 && steps("mdf", Polarity::Lit, Some(0.5)) > 0.9);
}
