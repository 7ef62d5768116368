//! First passes by the places of single edges.

use super::*;

fn first_pass(edges: &[Edge], helix: &str) -> f64 {
    let marks = Marks { edges: edges.to_vec(), ..plain_marks() };
    let (e, _) = look(&marks, &plan(&[("down-cut", helix)]));
    e.findings.iter().find(|f| f.id == Cause::FullWidthFirstPass).map_or(0.0, |f| f.probability)
}

/// The lamp stands at +y, so a floor that falls towards +y shows a lit line.
#[test]
fn a_single_edge_speaks_for_a_first_pass_where_the_plan_leaves_one() {
    let falls = |y: f64| edge(y, 100.0, 90.0, Polarity::Lit, -35.0);
    let rises = |y: f64| edge(y, 100.0, 90.0, Polarity::Shade, 35.0);
    // The first pass of a down-cut stands proud, one stepover wide, at the wall at y = 0 or at y = 76.
    for there in [falls(2.54), rises(76.0 - 2.54)] {
        assert!(first_pass(&[there], "down-cut") > 0.7);
    }
    for not in [falls(30.0), rises(2.54), falls(6.35), falls(76.0 - 2.54)] {
        let p = first_pass(std::slice::from_ref(&not), "down-cut");
        assert!(p < 0.55, "{p}: {not:?}");
    }
    // An up-cut's lies deep, one cutter wide.
    assert!(first_pass(&[rises(6.35)], "up-cut") > 0.7 && first_pass(&[falls(2.54)], "up-cut") < 0.5);
}

#[test]
fn a_strip_on_the_wrong_side_of_the_helix_is_less_surely_a_first_pass() {
    let p = |helix: &str| {
        let (e, _) = look(&with_strip(plain_marks(), 6.35, false), &plan(&[("down-cut", helix)]));
        e.findings.iter().find(|f| f.id == Cause::FullWidthFirstPass).map_or(0.0, |f| f.probability)
    };
    assert!(p("up-cut") > 0.9 && p("down-cut") < p("up-cut") - 0.05, "{} {}", p("up-cut"), p("down-cut"));
}

/// The pocket of the plan is the found one, so its first pass is laid at the wall that the edge speaks for, and at none where
/// no edge speaks.
#[test]
fn the_first_cut_is_foretold_where_the_edges_say() {
    let laid = |edges: &[Edge]| {
        let marks = Marks { edges: edges.to_vec(), ..plain_marks() };
        look(&marks, &plan(&[])).0.predicted.unwrap()
    };
    let edge_at = |y: f64, p: Polarity, h: f64| edge(y, 100.0, 90.0, p, h);
    for (edge, from) in
        [(edge_at(2.54, Polarity::Lit, -35.0), 0.0), (edge_at(76.0 - 2.54, Polarity::Shade, 35.0), 76.0 - 6.35)]
    {
        let p = laid(&[edge]);
        let y = p.slots[0].iter().map(|q| q.y);
        let (low, high) = (y.clone().fold(f64::INFINITY, f64::min), y.fold(f64::NEG_INFINITY, f64::max));
        assert!((low - from).abs() < 1e-6 && (high - from - 6.35).abs() < 1e-6, "{low} {high}");
        assert!(p.slots.len() == 1 && p.entries.len() == 1 && p.text.contains("one first cut"), "{p:?}");
        // To and fro: two corners at every end of a pass but the first and the last.
        assert!(p.corners.iter().all(|c| (c.x - 3.175).abs() < 1e-6 || (c.x - 116.0 + 3.175).abs() < 1e-6));
    }
    for edges in [vec![], vec![edge_at(30.0, Polarity::Lit, -35.0)]] {
        let p = laid(&edges);
        assert!(p.slots.is_empty() && p.entries.is_empty() && p.text.contains("more than one way"), "{p:?}");
    }
    // Another pocket than the planned one.
    let marks = Marks { edges: vec![edge_at(2.54, Polarity::Lit, -35.0)], ..plain_marks() };
    let p = look(&marks, &plan(&[("width = 116", "width = 130")])).0.predicted.unwrap();
    assert!(p.slots.is_empty() && p.text.contains("planned size"), "{p:?}");
}

/// Even passes that run into a wall at an angle end at the lap that was cut round the walls: no first pass lies there.
#[test]
fn a_lap_round_the_walls_is_no_first_pass() {
    let verdict = |wall_distance: Option<f64>, turned: f64| {
        let p = plan(&[("down-cut", "up-cut"), ("pass_angle_deg = 0", &format!("pass_angle_deg = {turned}"))]);
        let mut marks = with_strip(with_family(saw(2.54, 90.0 + turned)), 6.35, false);
        marks.strips[0].wall_distance = wall_distance;
        look(&marks, &p).0.verdict
    };
    assert_eq!(verdict(Some(3.2), 30.0), Verdict::Scallops);
    assert_eq!(verdict(None, 30.0), Verdict::Both);
    // Nearly along the passes it is where a first pass lies.
    assert_eq!(verdict(Some(3.2), 5.0), Verdict::Both);
}
