//! One frequency of planes, in any direction.

use crate::geometry::Point;
use crate::raster::Plane;
use rayon::prelude::*;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Sums of planes of one size times exp(-2 pi i f t), t the place along the direction `normal_deg`. Sample (0, 0) lies at
/// `first`, samples are `step` apart; `frequency` in cycles per unit of both.
pub fn wave<const N: usize>(
    planes: [&Plane; N],
    first: Point,
    step: f64,
    frequency: f64,
    normal_deg: f64,
) -> [Complex64; N] {
    let Some(size) = planes.first().map(|p| (p.width, p.height)) else { return [Complex64::default(); N] };
    let (ny, nx) = normal_deg.to_radians().sin_cos();
    let turn = Complex64::from_polar(1.0, -TAU * frequency * nx * step);
    let row = |y: usize| {
        let t = first.x * nx + (first.y + y as f64 * step) * ny;
        let mut e = Complex64::from_polar(1.0, -TAU * frequency * t);
        let mut sums = [Complex64::default(); N];
        for x in 0..size.0 {
            for (s, p) in sums.iter_mut().zip(planes) {
                *s += e * f64::from(p.at(x, y));
            }
            e *= turn;
        }
        sums
    };
    let add = |a: [Complex64; N], b: [Complex64; N]| std::array::from_fn(|k| a[k] + b[k]);
    (0..size.1).into_par_iter().map(row).reduce(|| [Complex64::default(); N], add)
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_cosine_has_half_its_amplitude_at_its_frequency() {
        // Ten periods of 8 samples of 0.5 along y, from y = 3: the sum over 80 x 10 samples is half of each.
        let p = Plane::from_fn(10, 80, |_, y| (TAU * (3.0 + 0.5 * y as f64) / 4.0).cos() as f32);
        let [z] = wave([&p], Point::new(7.0, 3.0), 0.5, 0.25, 90.0);
        assert!((z.re / 800.0 - 0.5).abs() < 1e-6 && (z.im / 800.0).abs() < 1e-6, "{z}");
        let [other] = wave([&p], Point::new(7.0, 3.0), 0.5, 0.5, 90.0);
        assert!(other.norm() / 800.0 < 1e-6);
    }
}
