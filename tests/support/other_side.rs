//! The second photo of a pair: the lamp carried to the other side, the camera held again by hand.

use super::spec::Spec;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// The same floor with the lamp turned by 180 degrees, give or take 10, a fifth higher or lower; the camera a little
/// moved and turned, its exposure and noise of their own.
pub fn other_side(s: &Spec) -> Spec {
    let mut d = ChaCha8Rng::seed_from_u64(s.seed ^ 0x0bb0_517e);
    let mut u = |a: f64, b: f64| d.random_range(a..b);
    let mut o = s.clone();
    o.light.from = (s.light.from + 180.0 + u(-10.0, 10.0)).rem_euclid(360.0);
    o.light.el = s.light.el * u(0.85, 1.2);
    o.light.dist = s.light.dist * u(0.85, 1.2);
    let c = &mut o.camera;
    c.tilt += u(-1.0, 1.0);
    c.pan += u(-4.0, 4.0);
    c.roll += u(-1.5, 1.5);
    c.margin = (c.margin + u(-0.01, 0.015)).max(0.02);
    c.expo *= u(0.8, 1.2);
    c.shot = 1;
    o
}
