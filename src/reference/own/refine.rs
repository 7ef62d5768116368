//! The exact place of a saddle corner: first where the brightness gradients all round look past it ([`place`]), then where
//! opposite sides are alike ([`balance`]).

use crate::geometry::Point;
use crate::raster::Plane;
use nalgebra::{Matrix2, Matrix4, Vector2, Vector4};

/// A saddle corner placed to a fraction of a pixel.
#[derive(Debug, Clone, Copy)]
pub struct Placed {
    pub at: Point,
    /// One sigma of either coordinate, px, from what opposite sides differ by.
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
pub fn place(plane: &Plane, start: Point, radius: f64) -> Option<Point> {
    let (w, h) = (plane.width as f64, plane.height as f64);
    let mut q = start;
    for _ in 0..STEPS {
        if !(q.x - radius > 1.0 && q.y - radius > 1.0 && q.x + radius < w - 2.0 && q.y + radius < h - 2.0) {
            return None;
        }
        let next = step(plane, q, radius)?;
        if !(next.distance(start) < radius / 2.0) {
            return None;
        }
        let moved = next.distance(q);
        q = next;
        if moved < 0.003 {
            break;
        }
    }
    Some(q)
}

fn step(plane: &Plane, q: Point, radius: f64) -> Option<Point> {
    let (x0, x1) = ((q.x - radius).ceil() as usize, (q.x + radius).floor() as usize);
    let (y0, y1) = ((q.y - radius).ceil() as usize, (q.y + radius).floor() as usize);
    let k = 2.0 / (radius * radius);
    let wx: Vec<f64> = (x0..=x1).map(|x| (-(x as f64 - q.x).powi(2) * k).exp()).collect();
    let (mut a, mut b) = (Matrix2::zeros(), Vector2::zeros());
    for y in y0..=y1 {
        let dy = y as f64 - q.y;
        let wy = (-dy * dy * k).exp();
        let (up, here, down) = (plane.row(y - 1), plane.row(y), plane.row(y + 1));
        for (x, wx) in (x0..=x1).zip(&wx) {
            let dx = x as f64 - q.x;
            let (gx, gy) = (f64::from(here[x + 1] - here[x - 1]), f64::from(down[x] - up[x]));
            let wt = wx * wy;
            a[(0, 0)] += wt * gx * gx;
            a[(0, 1)] += wt * gx * gy;
            a[(1, 1)] += wt * gy * gy;
            b += Vector2::new(gx, gy) * (wt * (gx * dx + gy * dy));
        }
    }
    a[(1, 0)] = a[(0, 1)];
    let (trace, det) = (a.trace(), a.determinant());
    // Edges in two directions: the smaller eigenvalue at least a fiftieth of the larger.
    if !(det > 0.02 * trace * trace) {
        return None;
    }
    let d = a.try_inverse()? * b;
    Some(q + Point::new(d.x, d.y))
}

/// Added to the light before the logarithm, share of the window's mean: under black print on white paper (0.06 to 0.1 of
/// the mean). Smaller lifts the noise of black, larger keeps the lamp's falloff from being a plain factor.
const LOG_FLOOR: f32 = 0.1;

/// Places a saddle that is known to half a pixel or so by its symmetry: the point q about which the logarithm of light is
/// the same on opposite sides, but for a slope g that the lamp's falloff leaves. Smallest sum over the samples p of
/// w (L(p) - L(2 q - p) - 2 g . (p - q))^2, w as in [`place`], by Gauss-Newton steps.
///
/// Lens blur, the ink's spread and a plane's perspective leave a saddle alike on opposite sides; uneven light does not, and
/// moves the point that the gradients alone give by some tenths of a pixel. `None` as for [`place`].
pub fn balance(plane: &Plane, start: Point, radius: f64) -> Option<Placed> {
    let r = radius.ceil() as usize + 3;
    let (cx, cy) = (start.x.round() as usize, start.y.round() as usize);
    if !(start.x > 0.0 && start.y > 0.0) || cx < r || cy < r || cx + r >= plane.width || cy + r >= plane.height {
        return None;
    }
    let n = 2 * r + 1;
    let rows = || (cy - r..=cy + r).map(|y| &plane.row(y)[cx - r..=cx + r]);
    let floor = LOG_FLOOR * rows().flatten().sum::<f32>() / (n * n) as f32;
    let light: Vec<f32> = rows().flatten().map(|v| (v.max(0.0) + floor).max(1e-9).ln()).collect();
    // Window coordinates from here on.
    let off = Point::new((cx - r) as f64, (cy - r) as f64);
    let mut q = start - off;
    let mut sigma_px = f64::INFINITY;
    for _ in 0..STEPS {
        // The mirror images 2 q - p all fall between the same four samples.
        let (mx, my) = (2.0 * q.x, 2.0 * q.y);
        let (fx, fy) = (mx.fract(), my.fract());
        let (mx, my) = (mx.floor() as usize, my.floor() as usize);
        let (x0, x1) = ((q.x - radius).ceil() as usize, (q.x + radius).floor() as usize);
        let (y0, y1) = ((q.y - radius).ceil() as usize, (q.y + radius).floor() as usize);
        if q.x < radius
            || q.y < radius
            || x1 + 2 >= n
            || y1 + 2 >= n
            || mx < x1
            || my < y1
            || mx - x0 + 1 >= n
            || my - y0 + 1 >= n
        {
            return None;
        }
        let k = 2.0 / (radius * radius);
        let wx: Vec<f64> = (x0..=x1).map(|x| (-(x as f64 - q.x).powi(2) * k).exp()).collect();
        let (mut jj, mut jr) = (Matrix4::<f64>::zeros(), Vector4::<f64>::zeros());
        let (mut squares, mut weights) = (0.0, 0.0);
        for y in y0..=y1 {
            let dy = y as f64 - q.y;
            let wy = (-dy * dy * k).exp();
            let (top, low) = (&light[(my - y) * n..], &light[(my - y + 1) * n..]);
            for (x, wx) in (x0..=x1).zip(&wx) {
                let i = mx - x;
                let [a, b, c, d] = [top[i], top[i + 1], low[i], low[i + 1]].map(f64::from);
                let mirrored = (a * (1.0 - fx) + b * fx) * (1.0 - fy) + (c * (1.0 - fx) + d * fx) * fy;
                let gx = (b - a) * (1.0 - fy) + (d - c) * fy;
                let gy = (c - a) * (1.0 - fx) + (d - b) * fx;
                let j = Vector4::new(-2.0 * gx, -2.0 * gy, -2.0 * (x as f64 - q.x), -2.0 * dy);
                let e = f64::from(light[y * n + x]) - mirrored;
                let w = wx * wy;
                jj += j * j.transpose() * w;
                jr += j * (w * e);
                squares += w * e * e;
                weights += w;
            }
        }
        let inverse = jj.try_inverse()?;
        let step = -(inverse * jr);
        q = q + Point::new(step[0], step[1]);
        if !(q.distance(start - off) < radius / 2.0) {
            return None;
        }
        // What the four unknowns leave, spread over pairs that are each met twice.
        let left = (squares + jr.dot(&step)).max(0.0) / weights.max(1e-9);
        sigma_px = (left * (inverse[(0, 0)] + inverse[(1, 1)])).sqrt();
        if step[0].hypot(step[1]) < 0.002 {
            break;
        }
    }
    sigma_px.is_finite().then_some(Placed { at: q + off, sigma_px: sigma_px.max(1e-4) })
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
        for (k, sigma) in [0.7, 1.5, 2.5].into_iter().enumerate() {
            let at = Point::new(31.3 + 0.2 * k as f64, 28.7 - 0.3 * k as f64);
            for turn in [0.0, 0.4, 0.8, 2.0] {
                let plane = made(at, turn, sigma);
                // The light grows by 1.4 % a pixel, ten times what a lamp beside the card does: the gradients feel it.
                let rough = place(&plane, at + Point::new(1.4, -1.2), 9.0).unwrap();
                assert!(rough.distance(at) < 0.6, "turn {turn} sigma {sigma}: {:?} for {at:?}", rough);
                let got = balance(&plane, rough, 9.0).unwrap();
                assert!(got.at.distance(at) < 0.05, "turn {turn} sigma {sigma}: {:?} for {at:?}", got.at);
            }
        }
    }
    #[test]
    fn an_edge_is_no_saddle() {
        let plane = Plane::from_fn(40, 40, |x, _| if x < 20 { 0.1 } else { 0.9 });
        assert!(place(&plane, Point::new(19.5, 20.0), 6.0).is_none());
        assert!(balance(&plane, Point::new(5.0, 20.0), 6.0).is_none());
    }
}
