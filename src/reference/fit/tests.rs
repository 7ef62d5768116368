//! Fits to made views: what comes back, and whether the stated sigmas are true.

use super::*;
const CARD: Outline = Outline { width: 85.60, height: 53.98, radius: 3.18 };

fn phone() -> Camera {
    Camera { focal_px: 3000.0, relative: 0.03, centre: Point::new(2000.0, 1500.0), k1: (0.0, 0.012), k2: (0.0, 0.012) }
}

#[test]
fn distances_to_the_outline_are_as_drawn() {
    assert!((CARD.distance(Point::new(42.80, 0.0))).abs() < 1e-12);
    assert!((CARD.distance(Point::new(0.0, 28.0)) - 1.01).abs() < 1e-12);
    // The sharp corner lies (sqrt 2 - 1) r outside.
    let gap = (2f64.sqrt() - 1.0) * 3.18;
    assert!((CARD.distance(Point::new(-42.80, 26.99)) - gap).abs() < 1e-12);
    assert!((CARD.distance(Point::default()) + 26.99).abs() < 1e-12);
}
#[test]
fn a_made_view_is_found_again() {
    let turn = Rotation3::from_euler_angles(0.4, -0.2, 0.3);
    let pose = Pose {
        focal_px: 3000.0,
        centre: Point::new(2000.0, 1500.0),
        r1: turn * Vector3::x(),
        r2: turn * Vector3::y(),
        t: Vector3::new(30.0, -20.0, 220.0),
    };
    let truth = PlaneView { pose, k1: -0.01, k2: 0.0 };
    let p = Point::new(11.0, -7.0);
    assert!(truth.backward(truth.forward(p)).distance(p) < 1e-6);
    let mut points = vec![];
    for i in 0..60 {
        let u = -39.0 + 78.0 * f64::from(i) / 59.0;
        let v = u * 0.6;
        for q in [Point::new(u, 26.99), Point::new(u, -26.99), Point::new(42.8, v), Point::new(-42.8, v)] {
            let sides = [q.y == -26.99, q.x == 42.8, q.y == 26.99, q.x == -42.8].map(|b| f64::from(u8::from(b)));
            points.push(Seen { px: truth.forward(q), weight: 1.0, sides });
        }
    }
    let start = moved(&truth, &[0.02, -0.03, 0.01, 1.0, -1.0, 3.0, 0.0, 0.01, 0.0, 0.0, 0.0]);
    let got = fit(&start, &points, CARD, &phone(), EdgeSigma { point: 0.3, side: 0.1 }).unwrap();
    assert!(got.residual_px < 0.02, "{}", got.residual_px);
    assert!((got.view.k1 + 0.01).abs() < 0.003, "k1 {}", got.view.k1);
    assert!(got.view.forward(p).distance(truth.forward(p)) < 0.05);
    let s = got.scale_sigma_at(truth.forward(Point::default()));
    assert!(s > 1e-5 && s < 2e-3, "{s}");
}
