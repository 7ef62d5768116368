//! Phase correlation of two square pieces: by how much the second must be moved to lie on the first.

use crate::geometry::Point;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use std::sync::Arc;

/// Frequencies above this (one sigma of a Gaussian, cycles per sample) hold more noise than structure.
const LOWPASS: f32 = 0.12;
/// Share of the mean cross power added to every cell before whitening: without it empty cells speak as loudly as full ones.
const SOFT: f32 = 0.3;

/// Transforms for pieces of one size.
pub(super) struct Correlator {
    pub n: usize,
    forward: Arc<dyn Fft<f32>>,
    backward: Arc<dyn Fft<f32>>,
    window: Vec<f32>,
}

/// How alike two pieces are at each shift of whole samples, up to `reach` either way, over the correlation's own rms: at
/// (dx, dy) for content of the second piece that lies that much farther along than the first's.
#[derive(Debug, Clone)]
pub(super) struct Likeness {
    reach: usize,
    v: Vec<f32>,
}

impl Likeness {
    fn whole(&self, x: isize, y: isize) -> f64 {
        let r = self.reach as isize;
        let at = |v: isize| (v.clamp(-r, r) + r) as usize;
        f64::from(self.v[at(y) * (2 * self.reach + 1) + at(x)])
    }
    /// Bilinear between whole shifts; the border is held.
    pub fn at(&self, p: Point) -> f64 {
        let (x, y) = (p.x.floor(), p.y.floor());
        let (fx, fy) = (p.x - x, p.y - y);
        let (x, y) = (x as isize, y as isize);
        let row = |y: isize| self.whole(x, y) * (1.0 - fx) + self.whole(x + 1, y) * fx;
        row(y) * (1.0 - fy) + row(y + 1) * fy
    }
    /// How far the top lies from `p` along the direction in which the likeness falls off fastest, samples (at most 2).
    pub fn sharp_offset(&self, p: Point) -> f64 {
        let at = |dx: f64, dy: f64| self.at(p + Point::new(dx, dy));
        let here = at(0.0, 0.0);
        let (gx, gy) = ((at(1.0, 0.0) - at(-1.0, 0.0)) / 2.0, (at(0.0, 1.0) - at(0.0, -1.0)) / 2.0);
        let (xx, yy) = (at(1.0, 0.0) + at(-1.0, 0.0) - 2.0 * here, at(0.0, 1.0) + at(0.0, -1.0) - 2.0 * here);
        let xy = (at(1.0, 1.0) + at(-1.0, -1.0) - at(1.0, -1.0) - at(-1.0, 1.0)) / 4.0;
        let bend = 0.5 * (xx + yy) - (0.5 * (xx - yy)).hypot(xy);
        // Axis of the most negative bend.
        let turn = 0.5 * (2.0 * xy).atan2(xx - yy) + std::f64::consts::FRAC_PI_2;
        let rise = gx * turn.cos() + gy * turn.sin();
        if bend < -1e-9 { (rise / -bend).clamp(-2.0, 2.0) } else { 2.0 }
    }
    /// Adds another of the same reach.
    pub fn add(&mut self, other: &Self) {
        self.v.iter_mut().zip(&other.v).for_each(|(a, b)| *a += b);
    }
    /// Shift of the highest likeness within `near` samples of `about`, to a fraction of a sample.
    pub fn peak(&self, about: Point, near: usize) -> Option<(Point, f64)> {
        let (r, n) = (self.reach as isize - 1, near as isize);
        let (cx, cy) = (about.x.round() as isize, about.y.round() as isize);
        let span = |c: isize| (c - n).max(-r)..=(c + n).min(r);
        let shifts = span(cy).flat_map(|y| span(cx).map(move |x| (x, y)));
        let (x, y) = shifts.max_by(|a, b| self.whole(a.0, a.1).total_cmp(&self.whole(b.0, b.1)))?;
        let top = self.whole(x, y);
        if top <= 0.0 {
            return None;
        }
        // A Gaussian peak has a parabola for its logarithm.
        let vertex = |a: f64, b: f64| {
            let l = |v: f64| (v / top).max(1e-3).ln();
            let (a, b) = (l(a), l(b));
            if a + b < -1e-9 { (0.5 * (a - b) / (a + b)).clamp(-0.5, 0.5) } else { 0.0 }
        };
        let dx = vertex(self.whole(x - 1, y), self.whole(x + 1, y));
        let dy = vertex(self.whole(x, y - 1), self.whole(x, y + 1));
        Some((Point::new(x as f64 + dx, y as f64 + dy), top))
    }
}

impl Correlator {
    pub fn new(n: usize) -> Self {
        let mut planner = FftPlanner::new();
        let window = crate::signal::hann(n).iter().map(|v| *v as f32).collect();
        Self { n, forward: planner.plan_fft_forward(n), backward: planner.plan_fft_inverse(n), window }
    }

    fn both_ways(&self, fft: &Arc<dyn Fft<f32>>, a: &mut [Complex32]) {
        let n = self.n;
        fft.process(a);
        let mut t: Vec<Complex32> = (0..n * n).map(|i| a[(i % n) * n + i / n]).collect();
        fft.process(&mut t);
        for (i, v) in a.iter_mut().enumerate() {
            *v = t[(i % n) * n + i / n];
        }
    }

    /// Likeness of two n x n pieces, mean taken off; `None` where one is empty.
    pub fn likeness(&self, a: &[f32], b: &[f32], reach: usize) -> Option<Likeness> {
        let n = self.n;
        // Both real pieces in one complex transform.
        let mut z: Vec<Complex32> =
            (0..n * n).map(|i| Complex32::new(a[i], b[i]) * (self.window[i % n] * self.window[i / n])).collect();
        self.both_ways(&self.forward, &mut z);
        let mut cross: Vec<Complex32> = (0..n * n)
            .map(|i| {
                let j = ((n - i / n) % n) * n + (n - i % n) % n;
                let (p, q) = (z[i], z[j].conj());
                let (x, y) = ((p + q) * 0.5, (p - q) * Complex32::new(0.0, -0.5));
                x.conj() * y
            })
            .collect();
        let mean = cross.iter().map(|c| c.norm()).sum::<f32>() / (n * n) as f32;
        let cycles = |k: usize| (if k > n / 2 { k as f32 - n as f32 } else { k as f32 }) / n as f32;
        for (i, c) in cross.iter_mut().enumerate() {
            let (u, v) = (cycles(i % n), cycles(i / n));
            *c *= (-(u * u + v * v) / (2.0 * LOWPASS * LOWPASS)).exp() / (c.norm() + SOFT * mean).max(1e-30);
        }
        cross[0] = Complex32::default();
        self.both_ways(&self.backward, &mut cross);
        let rms = (cross.iter().map(|v| v.re.powi(2)).sum::<f32>() / (n * n) as f32).sqrt();
        let reach = reach.min(n / 2 - 2);
        let side = 2 * reach + 1;
        let place = |k: usize| (k + n - reach) % n;
        let v = (0..side * side).map(|i| cross[place(i / side) * n + place(i % side)].re / rms).collect();
        (rms > 0.0 && rms.is_finite()).then_some(Likeness { reach, v })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::raster::{Plane, gaussian_blur};

    #[test]
    fn a_known_shift_comes_back_to_a_twentieth_of_a_sample() {
        let mut seed = 7u32;
        let mut p = Plane::new(180, 180);
        for v in &mut p.data {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *v = (seed >> 8) as f32 / (1 << 24) as f32 - 0.5;
        }
        let p = gaussian_blur(&p, 1.5);
        let piece = |dx: f64, dy: f64| -> Vec<f32> {
            (0..128 * 128).map(|i| p.bilinear((i % 128) as f64 + 20.0 + dx, (i / 128) as f64 + 20.0 + dy)).collect()
        };
        let c = Correlator::new(128);
        // Content that is found at larger places moved along: the second piece is cut earlier.
        let likeness = c.likeness(&piece(0.0, 0.0), &piece(-3.3, 1.6), 20).unwrap();
        let (shift, sigmas) = likeness.peak(Point::default(), 20).unwrap();
        assert!(shift.distance(Point::new(3.3, -1.6)) < 0.05, "{shift:?}");
        assert!(sigmas > 10.0);
    }
}
