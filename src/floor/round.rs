//! Round pockets, from the crescent of shadow inside their rim.

use super::rectangle;
use super::search::Sight;
use super::shadow::Laid;
use crate::geometry::{Point, signed_area};
use crate::raster::Plane;
use crate::stats::Draws;
use nalgebra::{SMatrix, SVector};

/// A round whose rim the group's contour follows for at least a quarter of the way round.
pub fn round(sight: &Sight, edges: &(Plane, Plane), contour: &[Point]) -> Option<Laid> {
    let near = 1.5 * sight.step;
    let (a, b) = super::cut::bounds(contour);
    let size = a.distance(b);
    let n = contour.len();
    if n < 60 {
        return None;
    }
    // Three points a third of the contour's stretch apart at most: 400 draws meet an arc that holds a quarter of the points
    // with near certainty (1 - (1 - 1/64)^400 = 0.998).
    let mut draws = Draws::new(12345);
    let mut draw = || contour[draws.below(n)];
    let mut best: Option<(usize, Point, f64)> = None;
    for _ in 0..400 {
        let Some((m, r)) = through([draw(), draw(), draw()]) else { continue };
        if r < 0.25 * size || r > 1.2 * size {
            continue;
        }
        let on = contour.iter().step_by(3).filter(|p| (p.distance(m) - r).abs() < near).count();
        if best.is_none_or(|b| on > b.0) {
            best = Some((on, m, r));
        }
    }
    let (on, middle, radius) = best?;
    let covered = on as f64 * 3.0 * contour[0].distance(contour[1]).max(2.0 * sight.step);
    if covered < 0.25 * std::f64::consts::TAU * radius {
        return None;
    }
    // Perspective makes it an ellipse: radius over the angle up to the second order.
    let terms = |a: f64| SVector::<f64, 5>::from([1.0, a.cos(), a.sin(), (2.0 * a).cos(), (2.0 * a).sin()]);
    let mut shape = terms(0.0) * 0.0;
    shape[0] = radius;
    for reach in [0.1, 0.05, 0.03] {
        let (mut m, mut v) = (SMatrix::<f64, 5, 5>::identity() * 1e-6, SVector::<f64, 5>::zeros());
        for k in 0..180 {
            let a = f64::from(k).to_radians() * 2.0;
            let out = Point::new(a.cos(), a.sin());
            let expected = terms(a).dot(&shape);
            let steps = (reach * radius / (0.5 * sight.step)).ceil() as i32;
            let found = (-steps..=steps)
                .map(|t| expected + f64::from(t) * 0.5 * sight.step)
                .map(|r| (rectangle::across(sight, edges, middle + out * r, out).abs().min(0.25), r))
                .max_by(|x, y| {
                    (x.0 - 0.3 * (x.1 - expected).abs() / radius)
                        .total_cmp(&(y.0 - 0.3 * (y.1 - expected).abs() / radius))
                });
            if let Some((strength, r)) = found.filter(|f| f.0 > 0.025) {
                m += terms(a) * terms(a).transpose() * strength;
                v += terms(a) * (r * strength);
            }
        }
        shape = m.cholesky()?.solve(&v);
    }
    let flat = shape[3].hypot(shape[4]) / shape[0];
    // 0.2: a circle seen 48 degrees from above its plane.
    if !(flat < 0.2 && shape[0] > 0.0) {
        return None;
    }
    let outline: Vec<Point> = (0..72)
        .map(|k| f64::from(k).to_radians() * 5.0)
        .map(|a| middle + Point::new(a.cos(), a.sin()) * terms(a).dot(&shape))
        .collect();
    Some(Laid { area: signed_area(&outline).abs(), outline, axis: None, what: "a circle" })
}

/// Middle and radius of the circle through three points.
fn through([a, b, c]: [Point; 3]) -> Option<(Point, f64)> {
    let (p, q) = (b - a, c - a);
    let d = 2.0 * (p.x * q.y - p.y * q.x);
    let (pp, qq) = (p.x * p.x + p.y * p.y, q.x * q.x + q.y * q.y);
    let m = Point::new(q.y * pp - p.y * qq, p.x * qq - q.x * pp) * (1.0 / d);
    (d.abs() > 1e-9 * (pp + qq)).then(|| (a + m, m.x.hypot(m.y)))
}
