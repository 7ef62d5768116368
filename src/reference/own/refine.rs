//! The exact place of a saddle corner: where the brightness gradients all round look past it.

use crate::geometry::Point;
use crate::raster::Plane;
use nalgebra::{Matrix2, Vector2};

/// A saddle corner placed to a fraction of a pixel.
#[derive(Debug, Clone, Copy)]
pub struct Placed {
    pub at: Point,
    /// One sigma of either coordinate, px, from the scatter of the gradients themselves.
    pub sigma_px: f64,
}

/// Most steps; three are enough from within two pixels.
const STEPS: usize = 12;

/// Places the saddle near `start`: the point q with the smallest sum of w (g . (p - q))^2 over the samples p of a window,
/// g the gradient at p, w a Gaussian of sigma `radius` / 2 cut at `radius` px.
///
/// On the edges that meet in a saddle every gradient is square to the line to it, so the sum is smallest there whatever the
/// contrast and the blur. `None` when the window leaves the plane, has no edges in two directions, or the point walks off
/// by more than `radius` / 2. Source of the condition: Foerstner & Guelch 1987 (interest points, corner case).
pub fn place(plane: &Plane, start: Point, radius: f64) -> Option<Placed> {
    let (w, h) = (plane.width as f64, plane.height as f64);
    let mut q = start;
    let mut last = None;
    for _ in 0..STEPS {
        if !(q.x - radius > 1.0 && q.y - radius > 1.0 && q.x + radius < w - 2.0 && q.y + radius < h - 2.0) {
            return None;
        }
        let (next, sums) = step(plane, q, radius)?;
        if next.distance(start) > radius / 2.0 {
            return None;
        }
        let moved = next.distance(q);
        q = next;
        last = Some(sums);
        if moved < 0.003 {
            break;
        }
    }
    let sums = last?;
    Some(Placed { at: q, sigma_px: sums })
}

/// One step, with the sigma that the scatter of the gradients gives.
fn step(plane: &Plane, q: Point, radius: f64) -> Option<(Point, f64)> {
    let (x0, x1) = ((q.x - radius).ceil() as usize, (q.x + radius).floor() as usize);
    let (y0, y1) = ((q.y - radius).ceil() as usize, (q.y + radius).floor() as usize);
    let k = 2.0 / (radius * radius);
    let wx: Vec<f64> = (x0..=x1).map(|x| (-(x as f64 - q.x).powi(2) * k).exp()).collect();
    let (mut a, mut b, mut rr, mut n) = (Matrix2::zeros(), Vector2::zeros(), 0.0, 0.0);
    for y in y0..=y1 {
        let dy = y as f64 - q.y;
        let wy = (-dy * dy * k).exp();
        let (up, here, down) = (plane.row(y - 1), plane.row(y), plane.row(y + 1));
        for (x, wx) in (x0..=x1).zip(&wx) {
            let dx = x as f64 - q.x;
            let (gx, gy) = (f64::from(here[x + 1] - here[x - 1]), f64::from(down[x] - up[x]));
            let wt = wx * wy;
            let along = gx * dx + gy * dy;
            a[(0, 0)] += wt * gx * gx;
            a[(0, 1)] += wt * gx * gy;
            a[(1, 1)] += wt * gy * gy;
            b += Vector2::new(gx, gy) * (wt * along);
            rr += wt * wt * along * along * (gx * gx + gy * gy);
            n += wt * wt * (gx * gx + gy * gy);
        }
    }
    a[(1, 0)] = a[(0, 1)];
    let (trace, det) = (a.trace(), a.determinant());
    // Edges in two directions: the smaller eigenvalue at least a fiftieth of the larger.
    if !(det > 0.02 * trace * trace) || !(n > 0.0) {
        return None;
    }
    let d = a.try_inverse()? * b;
    // Covariance of a weighted sum of noisy terms, mean of both axes.
    let sigma = rr.sqrt() * 2.0 / trace;
    Some((q + Point::new(d.x, d.y), sigma))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A saddle of two straight edges that are `sigma` px soft, lit unevenly.
    fn made(at: Point, turn: f64, sigma: f64) -> Plane {
        Plane::from_fn(64, 60, |x, y| {
            let p = Point::new(x as f64, y as f64) - at;
            let a = p.x * turn.cos() + p.y * turn.sin();
            let b = p.y * (turn + 0.3).cos() - p.x * (turn + 0.3).sin();
            let soft = |d: f64| (1.2 * d / sigma).tanh();
            ((0.425 + 0.375 * soft(a) * soft(b)) * (0.4 + 0.01 * x as f64)) as f32
        })
    }

    #[test]
    fn a_made_saddle_is_placed_to_a_twentieth_of_a_pixel() {
        for (k, sigma) in [1.0, 1.5, 2.5].into_iter().enumerate() {
            let at = Point::new(31.3 + 0.2 * k as f64, 28.7 - 0.3 * k as f64);
            for turn in [0.0, 0.4, 0.8, 2.0] {
                let plane = made(at, turn, sigma);
                let got = place(&plane, at + Point::new(1.4, -1.2), 9.0).unwrap();
                assert!(got.at.distance(at) < 0.05, "turn {turn} sigma {sigma}: {:?} for {at:?}", got.at);
            }
        }
    }
    #[test]
    fn an_edge_is_no_saddle() {
        let plane = Plane::from_fn(40, 40, |x, _| if x < 20 { 0.1 } else { 0.9 });
        assert!(place(&plane, Point::new(19.5, 20.0), 6.0).is_none());
    }
}
