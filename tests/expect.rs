//! The floors that plans leave: worked values, strips by hand, and floors stamped by brute force outside the crate.

use lowsun::expect::Cause;
use lowsun::expect::model::engage::Load;
use lowsun::expect::model::{Begin, Model, Relief, laid};
use lowsun::expect::physics;
use lowsun::geometry::Point;
use lowsun::plan::{PlanFacts, PlannedCut, gather, parse};
use serde_json::Value;

fn near(a: f64, b: f64, tol: f64) {
    assert!((a - b).abs() <= tol, "got {a}, expected {b} within {tol}");
}

/// A plan of a 40 x 30 mm pocket.
fn plan(cutter: &str, cut: &str) -> PlannedCut {
    let text = format!("[cutter]\n{cutter}\n[cut]\ndepth = 3\n{cut}\n[pocket]\nwidth = 40\nheight = 30");
    parse(&text, "made-up.toml", Default::default()).unwrap()
}

fn relief(p: &PlannedCut, cause: Cause, begin: Begin, value: f64) -> Relief {
    Model::new(p, begin).unwrap().relief(cause, p, Some(value))
}

const DOWN: &str = "shape = \"flat\"\ndiameter = 6.35\nhelix = \"down-cut\"";
const UP: &str = "shape = \"flat\"\ndiameter = 6.35\nhelix = \"up-cut\"";
const ONE_WAY: &str = "pattern = \"parallel\"\npass_angle_deg = 0\nboth_ways = false\n";
const TO_AND_FRO: &str = "pattern = \"parallel\"\npass_angle_deg = 0\nboth_ways = true\n";

/// A 40 per cent pass has 0.400 of a slot's axial force in the cutting part and 0.4359 in the edge part; its side force
/// is 15.98 N towards the wall when it cuts conventionally and 39.23 N away from it when it climbs, of 72.153 N in a slot
/// (linear edge force model, N 2, a 3 mm, c 0.05 mm, Al6082-T6 coefficients as published, by quadrature).
#[test]
fn loads_match_the_worked_example() {
    let arc = physics::engagement_deg(0.4, 1.0);
    let (conventional, climb) = (Load::of_arc(0.0, arc), Load::of_arc(180.0 - arc, 180.0));
    for l in [conventional, climb] {
        near(l.cutting, 0.400, 1e-4);
        near(l.edge, 0.4359, 1e-4);
        near(l.axial() * 34.470, 14.089, 3e-3);
    }
    near(conventional.left * 72.153, 15.98, 0.01);
    near(climb.left * 72.153, 39.23, 0.01);
    near(Load::of_arc(0.0, 180.0).left, 1.0, 1e-6);
}

/// Along the passes of a plan every pass but the first takes one stepover, the first its full width, the last what is left.
#[test]
fn passes_of_a_plan_meet_what_the_earlier_ones_left() {
    let m = Model::new(&plan(DOWN, &format!("{ONE_WAY}stepover = 2.54")), Begin::Near).unwrap();
    let middle = |lane: usize| {
        let mut of = m.pieces.iter().filter(|p| p.lane == lane && p.a.x.min(p.b.x) < 20.0 && p.a.x.max(p.b.x) >= 20.0);
        of.next().unwrap().load
    };
    let lanes = m.passes.lanes.len();
    near(middle(0).cutting, 1.0, 1e-4);
    for k in 1..lanes - 1 {
        near(middle(k).cutting, 0.4, 0.004);
        near(middle(k).edge, 0.4359, 0.006);
        near(middle(k).left, 39.23 / 72.153, 0.01);
    }
    // (30 - 6.35) / 2.54 leaves 0.31 of a stepover.
    near(middle(lanes - 1).cutting, (23.65 - 9.0 * 2.54) / 6.35, 0.004);
    assert!(m.pieces.iter().all(|p| p.slot == (p.lane == 0)), "only the first pass is a slot");
}

/// Down-cut: what the first pass leaves high stays where no later pass reaches, one stepover along a wall. Up-cut: the
/// full diameter lies deep. Heights: rise times what its force exceeds that of a usual pass.
#[test]
fn the_first_pass_leaves_strips_as_wide_as_the_envelope_says() {
    for (s, begin) in [(2.54, Begin::Near), (2.54, Begin::Far), (4.0, Begin::Near)] {
        let cut = format!("{ONE_WAY}stepover = {s}");
        let step = 30.0 * (1.0 - Load::of_share(s / 6.35).axial());
        let proud = relief(&plan(DOWN, &cut), Cause::FullWidthFirstPass, begin, 30.0);
        assert_eq!(proud.strips.len(), 1, "{:?}", proud.edges);
        near(proud.strips[0].width_mm, physics::strip_widths(6.35, s).proud_one_side_mm, 1e-4);
        near(proud.strips[0].level_um, step, 0.05);
        near(proud.edges[0].at_mm, s, 1e-4);
        assert!(proud.edges[0].height_um < 0.0, "the floor falls going away from the wall");
        let deep = relief(&plan(UP, &cut), Cause::FullWidthFirstPass, begin, 30.0);
        near(deep.strips[0].width_mm, 6.35, 1e-4);
        near(deep.strips[0].level_um, -step, 0.05);
    }
    // In the middle, with passes on both sides: 2 s - D stays, or nothing under half the diameter.
    let file = |s: f64| {
        let order = [3, 4, 5, 6, 2, 1, 0].map(|k| f64::from(k) * s);
        let mut t = String::from("G21 F1500 S16000 M3\nG0 Z5\n");
        for y in order {
            t += &format!("G0 X0 Y{y}\nG1 Z-3\nX60\nG0 Z5\n");
        }
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("made-up.ngc");
        std::fs::write(&path, t).unwrap();
        let facts = PlanFacts {
            cutter: Some("6.35mm".into()),
            helix: Some(lowsun::plan::Helix::DownCut),
            toolpath: Some(path),
            ..Default::default()
        };
        gather(None, &facts).unwrap().0
    };
    let r = relief(&file(4.0), Cause::FullWidthFirstPass, Begin::Near, 30.0);
    assert_eq!(r.strips.len(), 1, "{:?}", r.edges);
    near(r.strips[0].width_mm, 2.0 * 4.0 - 6.35, 1e-4);
    assert!(r.strips[0].level_um > 10.0);
    assert_eq!(relief(&file(2.54), Cause::FullWidthFirstPass, Begin::Near, 30.0).edges, []);
}

/// Saw, dish and cusp heights of the closed forms (worked values of src/expect/physics.rs), and the light's harmonics: a
/// saw's slope has 1, 1, 1, a cusp's 1, 1/2, 1/3.
#[test]
fn heights_and_harmonics_are_those_of_the_closed_forms() {
    let flat = plan(DOWN, &format!("{TO_AND_FRO}stepover = 2.54"));
    let lean = 1e3 * 1f64.to_radians().tan();
    let saw = relief(&flat, Cause::TiltAcrossPasses, Begin::Near, lean);
    near(saw.height_um, 44.336, 0.01);
    let inner: Vec<f64> = saw.edges.iter().filter(|e| (7.0..20.0).contains(&e.at_mm)).map(|e| e.height_um).collect();
    assert!(inner.len() >= 4 && inner.iter().all(|h| (h + 44.336).abs() < 0.01), "all of one sign: {inner:?}");
    for a in saw.slope_harmonics.unwrap() {
        near(a, 1.0, 0.01);
    }
    let dish = relief(&flat, Cause::TiltAlongPasses, Begin::Near, lean);
    near(dish.height_um, 4.626, 0.005);
    assert_eq!(dish.strips, []);
    let ball = plan("shape = \"ball-nose\"\ndiameter = 6", &format!("{TO_AND_FRO}stepover = 0.5"));
    let cusp = relief(&ball, Cause::Cusps, Begin::Near, 0.0);
    near(cusp.height_um, 10.435, 1e-3);
    for (a, expected) in cusp.slope_harmonics.unwrap().into_iter().zip([1.0, 0.5, 1.0 / 3.0]) {
        near(a, expected, 0.01);
    }
    let bull =
        plan("shape = \"bull-nose\"\ndiameter = 6.35\ncorner_radius = 0.8", &format!("{TO_AND_FRO}stepover = 5.5"));
    near(relief(&bull, Cause::Cusps, Begin::Near, 0.0).height_um, 93.335, 1e-3);
    let bent = relief(&flat, Cause::AlternatingPasses, Begin::Near, 5.0);
    let h = bent.slope_harmonics.unwrap();
    assert!(bent.period_mm == Some(5.08) && h[0] > 0.2, "the period of two stepovers shows: {h:?}");
    let one_way = plan(DOWN, &format!("{ONE_WAY}stepover = 2.54"));
    let p = relief(&one_way, Cause::AlternatingPasses, Begin::Near, 5.0).period_mm;
    assert_eq!(p, Some(2.54), "one way every pass leans alike");
}

/// The evidence's view: signs and places for both walls, and an up-cut against a down-cut.
#[test]
fn edges_are_given_from_either_wall() {
    let cut = format!("{TO_AND_FRO}stepover = 2.54");
    let both = laid(Cause::FullWidthFirstPass, &plan(DOWN, &cut));
    assert_eq!(both.iter().map(|l| l.away_deg).collect::<Vec<_>>(), [90.0, 270.0]);
    for l in &both {
        assert_eq!((l.width_mm, l.edges.len()), (Some(30.0), 1));
        near(l.edges[0].at_mm, 2.54, 1e-4);
        assert!(l.edges[0].height_um < 0.0);
    }
    assert!(laid(Cause::FullWidthFirstPass, &plan(UP, &cut))[0].edges[0].height_um > 0.0);
    assert!(laid(Cause::Clean, &plan(UP, &cut)).iter().all(|l| l.edges.is_empty()));
    assert!(laid(Cause::Cusps, &PlannedCut::default()).is_empty());
}

/// Every floor of tests/truth/stamp.json: the same cutter stamped along the same passes by numpy. Places within one cell
/// (0.05 mm) are let pass, since the stamps stand 0.1 mm apart on cells of 0.05; loads read off those cells are good to
/// one per cent of a slot.
#[test]
fn floors_match_brute_force_stamping() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/stamp.json");
    let truth: Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    let f = |v: &Value| v.as_f64().unwrap();
    let size = "[pocket]\nwidth = 40\nheight = 30";
    for (name, case) in truth["cases"].as_object().unwrap() {
        let shape = match case["kind"].as_str() {
            Some("ball") => "ball-nose",
            Some("bull") => "bull-nose",
            _ => "flat",
        };
        let (d, corner) = (f(&case["d"]), case["corner"].as_f64());
        let corner = corner.map_or(String::new(), |c| format!("corner_radius = {c}\n"));
        let up = case["rise"].as_f64().is_some_and(|r| r < 0.0);
        let helix = if up { "up-cut" } else { "down-cut" };
        let cutter = format!("[cutter]\nshape = \"{shape}\"\ndiameter = {d}\n{corner}helix = \"{helix}\"\n");
        let (pattern, s) = match name.as_str() {
            "loops" => ("pattern = \"contour\"", 2.54),
            "proud" => (ONE_WAY, 4.0),
            "deep" => (ONE_WAY, 2.54),
            "ball" => (TO_AND_FRO, 2.0),
            "bull" => (TO_AND_FRO, 5.5),
            _ => (TO_AND_FRO, 2.54),
        };
        let text = format!("{cutter}[cut]\n{pattern}\nstepover = {s}\n{size}");
        let plan = parse(&text, "made-up.toml", Default::default()).unwrap();
        let lean = case["tilt"].as_array().map(|t| (f(&t[0]), f(&t[1])));
        let (cause, value) = match (lean, case["lean"].as_f64(), case["rise"].as_f64()) {
            (Some((along, 0.0)), ..) => (Cause::TiltAlongPasses, along),
            (Some((_, across)), ..) => (Cause::TiltAcrossPasses, across),
            (_, Some(lean), _) => (Cause::AlternatingPasses, lean),
            (_, _, Some(rise)) => (Cause::EngagementSteps, rise.abs()),
            _ => (Cause::Cusps, 0.0),
        };
        let model = Model::new(&plan, Begin::Near).unwrap();
        let floor = match case["rise"].as_f64() {
            Some(rise) => model.giving_way(rise),
            None => model.floor(cause, &plan, Some(value)),
        };
        // A stamp may stand 0.05 mm off along the pass, at its end 0.1: a leaning or round bottom is then that much higher.
        let round = if case["kind"].is_null() { 0.05 } else { 1.0 };
        let tolerance = if case["rise"].is_null() { 0.1 } else { 0.012 } * value + round;
        let (mut worst, mut over) = ((0.0, 0.0, 0.0), 0);
        let x0 = f(&case["middle_x"]);
        let section = case["section"].as_array().unwrap().iter().map(|q| (x0, f(&q[0]), f(&q[1])));
        let probes = case["probes"].as_array().unwrap().iter().map(|q| (f(&q[0]), f(&q[1]), f(&q[2])));
        let mut looked_at = 0;
        for (x, y, z) in section.chain(probes) {
            let off = |dx: f64, dy: f64| floor.at(Point::new(x + dx, y + dy)).map_or(f64::INFINITY, |v| (v - z).abs());
            let steps = [-0.05, -0.025, 0.0, 0.025, 0.05];
            let best = steps.iter().flat_map(|a| steps.map(|b| off(*a, b))).fold(f64::INFINITY, f64::min);
            looked_at += 1;
            over += usize::from(best > tolerance);
            if best > worst.0 {
                worst = (best, x, y);
            }
        }
        println!("{name}: {over} of {looked_at} over {tolerance}, worst {worst:?}");
        // Loads stand for an eighth of the diameter of path: where they change within it (ends, corners) a few places differ.
        let (few, far) = if case["rise"].is_null() && case["lean"].is_null() {
            (0, tolerance)
        } else {
            (looked_at / 8, 0.25 * value * if case["lean"].is_null() { 1.0 } else { d / 2.0 })
        };
        assert!(over <= few && worst.0 <= far, "{name}: {over} off, worst {worst:?}");
    }
}
