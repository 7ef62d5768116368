//! Pairs of made photos through the whole program.

use super::make;
use super::other_side::other_side;
use super::spec::Spec;
use lowsun::geometry::Point;
use lowsun::opposite::Pair;
use lowsun::pipeline::{Options, inspect};
use lowsun::plan::{PlanFacts, gather};
use lowsun::rectify::FloorFrame;
use lowsun::report::Inspection;
use lowsun::trace::Trace;

/// Makes the scene, with `pair` a second photo of it lit from the other side, and inspects.
pub fn inspected(s: &Spec, pair: bool) -> lowsun::error::Result<Inspection> {
    inspected_with(s, pair.then(|| other_side(s)).as_ref())
}

/// As [`inspected`], with a scene for the second photo.
pub fn inspected_with(s: &Spec, other: Option<&Spec>) -> lowsun::error::Result<Inspection> {
    let dir = tempfile::tempdir().expect("a folder for the photos");
    let write = |name: &str, bytes: &[u8]| {
        let path = dir.path().join(name);
        std::fs::write(&path, bytes).expect("a photo can be written");
        path
    };
    let made = make(s);
    let (photo, plan) = (write("a.jpg", &made.jpeg), write("plan.toml", made.plan.as_bytes()));
    let opposite = other.map(|o| write("b.jpg", &make(o).jpeg));
    let (plan, caveats) = gather(Some(&plan), &PlanFacts::default())?;
    inspect(&photo, plan, caveats, &Options { opposite, ..Options::default() }, &mut Trace::off())
}

/// Largest distance across the grain, pixels of the second photo, between where a place of the floor is and where the pair
/// says it is. Along straight grain nothing tells, and nothing is lost; off the floor (the stock in an L's corner, a letter)
/// nothing is laid.
pub fn misfit_px(s: &Spec, frame: &FloorFrame, pair: &Pair) -> f64 {
    let (one, two) = (super::view_of(s), super::view_of(&other_side(s)));
    let [w, h] = s.size;
    let walls = super::outline::Walls::new(s);
    let mut worst: f64 = 0.0;
    let places = [(0.25, 0.25), (0.75, 0.25), (0.5, 0.5), (0.25, 0.75), (0.75, 0.75)].map(|(u, v)| [u * w, v * h]);
    for p in places.into_iter().filter(|p| walls.room(*p) > 0.0) {
        let at = [p[0], p[1], -s.depth];
        let (a, b) = (one.project(at), two.project(at));
        let said = pair.to_px.forward(frame.to_px.backward(Point::new(a[0], a[1])));
        let (sin, cos) = s.grain.to_radians().sin_cos();
        let along = two.project([at[0] + cos, at[1] + sin, at[2]]);
        let (gx, gy) = (along[0] - b[0], along[1] - b[1]);
        worst = worst.max(((said.x - b[0]) * gy - (said.y - b[1]) * gx).abs() / gx.hypot(gy));
    }
    worst
}
