//! Passes round a contour: lines that follow the walls, and rings where they turn.

use super::*;
use crate::marks::Turns;

/// A saw like [`super::saw`] whose lines follow the walls.
fn along_walls(pitch: f64) -> Family {
    let line = vec![Point::new(10.0, 5.0), Point::new(90.0, 5.0)];
    Family { along_walls: Some(vec![line]), curved: true, offset: None, ..saw(pitch, 90.0) }
}

#[test]
fn lines_along_the_walls_are_passes_where_the_plan_goes_round() {
    let round = plan(&[("parallel", "contour")]);
    let (e, _) = look(&with_family(along_walls(2.54)), &round);
    assert_eq!(e.verdict, Verdict::Scallops, "{:#?}", e.findings);
    assert!(e.findings[0].evidence.iter().any(|t| t.contains("follow the walls")), "{:#?}", e.findings[0]);
    // At the feed per turn: marks across a pass do not follow the walls, arcs of the cutter's radius are just that.
    let p = |family| {
        let (e, _) = look(&with_family(family), &plan(&[]));
        e.findings.iter().find(|f| f.id == Cause::OncePerRevolution).map_or(0.0, |f| f.probability)
    };
    let bent = Family { along_walls: None, ..along_walls(0.3) };
    let (bent, along) = (p(bent), p(along_walls(0.3)));
    assert!(bent > 0.5 && along < bent, "{bent} {along}");
}

#[test]
fn edges_along_the_walls_belong_to_lines_along_them_and_oblique_ones_do_not() {
    let edges = |to: Point| Edge { to, ..edge(9.0, 60.0, 90.0, Polarity::Shade, 30.0) };
    let of = |to: Point| {
        let marks = Marks { edges: vec![edges(to)], ..with_family(along_walls(2.54)) };
        let (p, plan) = (patch(), plan(&[]));
        let expected = expected(&plan);
        let fit = fit::judge((3000, 2000), &frame(), &[], &p, &plan, &fit::Seen::default());
        Digest::new(&frame(), &p, &fit, &marks, &plan, &expected).loose.indices.len()
    };
    assert_eq!(of(Point::new(70.0, 9.0)), 0);
    assert_eq!(of(Point::new(70.0, 20.0)), 1);
}

#[test]
fn rings_of_the_cutters_size_are_turn_marks() {
    let turns = |n: usize| Turns {
        places: (0..n).map(|i| Point::new(10.0 + 5.0 * i as f64, 8.0)).collect(),
        radius: Some(m(2.9, 0.2)),
    };
    let p = plan(&[]);
    says(&Marks { turns: Some(turns(12)), ..plain_marks() }, &p, Cause::TurnMarks, Verdict::Other);
    // Few places may be texture, and none speak against it.
    for turns in [Some(turns(3)), Some(Turns::default()), None] {
        let (e, _) = look(&Marks { turns, ..plain_marks() }, &p);
        assert_ne!(e.findings[0].id, Cause::TurnMarks);
    }
    // Rings beside even ridges: the ridges stay what they are.
    let both = Marks { turns: Some(turns(12)), ..with_family(saw(2.54, 90.0)) };
    says(&both, &p, Cause::TiltAcrossPasses, Verdict::Scallops);
}
