//! Two-dimensional power spectrum of a plane with the background each cell is judged against.

use crate::raster::{Plane, box_blur};
use rayon::prelude::*;
use realfft::RealFftPlanner;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;

/// Half width of the square a cell's background is averaged over, cells: wide enough for 200 cells (5 % scatter of the
/// mean), narrow enough to follow the slope of a wood-grain spectrum.
const RING: usize = 7;
/// Half width of a second, smaller square: the two means give the bend of the spectrum at the cell (a blurred photo's
/// falls like a Gaussian, and a wide mean alone would lie below its middle).
const NEAR_RING: usize = 4;
/// Distance from zero frequency, cells, within which that bend is looked at: farther out no background changes within
/// a few cells, and a strong line's own lobes would be taken for one.
const BENT: f32 = 40.0;
/// Half width of the square left out round the cell itself: the main lobe of a tapered line.
const CORE: usize = 2;
/// Mean of the natural logarithm of a unit exponential variate is minus this (Euler's constant).
const EULER: f64 = 0.577_215_664_9;

/// Power of a real plane at cells (kx, ky), kx from 0 to `kx_max`, ky from `-ky_max` to `ky_max`; one cell is
/// `1 / fft_width` by `1 / fft_height` cycles per sample. Powers are |sum of x exp(-i k r)|^2, natural logarithm.
pub struct PlaneSpectrum {
    pub fft_width: usize,
    pub fft_height: usize,
    pub kx_max: usize,
    pub ky_max: usize,
    /// ln power; row = kx, column = ky + ky_max.
    pub log_power: Plane,
    /// ln of the mean local background power (log mean over a ring, corrected to the mean of an exponential variate).
    pub log_background: Plane,
}

/// The next size with no prime factor above five.
pub fn fft_size(n: usize) -> usize {
    (n.max(2)..)
        .find(|m| {
            let mut r = *m;
            for p in [2, 3, 5] {
                while r % p == 0 {
                    r /= p;
                }
            }
            r == 1 && m % 2 == 0
        })
        .unwrap_or(n)
}

impl PlaneSpectrum {
    /// Transforms a plane (already tapered) and keeps cells up to `highest` cycles per sample (at most 0.5).
    pub fn of(p: &Plane, highest: f64) -> Self {
        let (w, h) = (fft_size(p.width), fft_size(p.height));
        let kx_max = ((w as f64 * highest) as usize).min(w / 2);
        let ky_max = ((h as f64 * highest) as usize).min(h / 2 - 1);
        let rows = RealFftPlanner::<f32>::new().plan_fft_forward(w);
        // Rows first; only the kept kx go on, stored by columns.
        let mut half = vec![Complex32::default(); h * (kx_max + 1)];
        half.par_chunks_mut(kx_max + 1).enumerate().take(p.height).for_each_init(
            || (rows.make_input_vec(), rows.make_output_vec(), rows.make_scratch_vec()),
            |(input, output, scratch), (y, keep)| {
                input[..p.width].copy_from_slice(p.row(y));
                input[p.width..].fill(0.0);
                // Lengths come from the same plan, so this cannot fail.
                let _ = rows.process_with_scratch(input, output, scratch);
                keep.copy_from_slice(&output[..=kx_max]);
            },
        );
        let columns = FftPlanner::<f32>::new().plan_fft_forward(h);
        let width = 2 * ky_max + 1;
        let mut log_power = Plane::new(width, kx_max + 1);
        // Eight columns at a time, so that each row touched gives a whole cache line.
        log_power.data.par_chunks_mut(width * 8).enumerate().for_each_init(
            || (vec![Complex32::default(); 8 * h], vec![Complex32::default(); columns.get_inplace_scratch_len()]),
            |(buffer, scratch), (block, out)| {
                let k0 = block * 8;
                let n = out.len() / width;
                for y in 0..h {
                    for j in 0..n {
                        buffer[j * h + y] = half[y * (kx_max + 1) + k0 + j];
                    }
                }
                columns.process_with_scratch(&mut buffer[..n * h], scratch);
                for j in 0..n {
                    for (c, v) in out[j * width..(j + 1) * width].iter_mut().enumerate() {
                        let ky = (c + h - ky_max) % h;
                        *v = buffer[j * h + ky].norm_sqr().max(1e-12).ln();
                    }
                }
            },
        );
        let log_background = ring_background(&log_power);
        Self { fft_width: w, fft_height: h, kx_max, ky_max, log_power, log_background }
    }

    /// Row and column of a cell; both signs of kx are served, power being even. `None` outside the kept range.
    pub fn place(&self, kx: isize, ky: isize) -> Option<(usize, usize)> {
        let (kx, ky) = if kx < 0 { (-kx, -ky) } else { (kx, ky) };
        let column = ky + self.ky_max as isize;
        (kx as usize <= self.kx_max && column >= 0 && (column as usize) < self.log_power.width)
            .then_some((kx as usize, column as usize))
    }
    /// ln power at a cell.
    pub fn log_power_at(&self, kx: isize, ky: isize) -> Option<f64> {
        self.place(kx, ky).map(|(r, c)| f64::from(self.log_power.at(c, r)))
    }
    /// ln background at a cell.
    pub fn log_background_at(&self, kx: isize, ky: isize) -> Option<f64> {
        self.place(kx, ky).map(|(r, c)| f64::from(self.log_background.at(c, r)))
    }
    /// Cell (fractional) of a frequency in cycles per sample.
    pub fn cell_of(&self, fx: f64, fy: f64) -> (f64, f64) {
        (fx * self.fft_width as f64, fy * self.fft_height as f64)
    }
    /// ln power at a fractional place by parabolas through the cell and its neighbours along both axes around a local
    /// maximum: (kx, ky) of the vertex. `None` at the border of the kept range.
    pub fn vertex(&self, kx: isize, ky: isize) -> Option<(f64, f64)> {
        let c = self.log_power_at(kx, ky)?;
        let along = |a: Option<f64>, b: Option<f64>| -> Option<f64> {
            let (a, b) = (a?, b?);
            let bend = a - 2.0 * c + b;
            Some(if bend < -1e-9 { (0.5 * (a - b) / bend).clamp(-0.5, 0.5) } else { 0.0 })
        };
        let dx = along(self.log_power_at(kx - 1, ky), self.log_power_at(kx + 1, ky))?;
        let dy = along(self.log_power_at(kx, ky - 1), self.log_power_at(kx, ky + 1))?;
        Some((kx as f64 + dx, ky as f64 + dy))
    }
}

/// Log mean over a square ring round every cell; rows below kx = 0 follow from the symmetry of a real plane.
fn ring_background(p: &Plane) -> Plane {
    let (w, h) = (p.width, p.height);
    let padded =
        Plane::from_fn(
            w,
            h + RING,
            |x, y| {
                if y >= RING { p.at(x, y - RING) } else { p.at(w - 1 - x, (RING - y).min(h - 1)) }
            },
        );
    let (wide, near, core) = (box_blur(&padded, RING), box_blur(&padded, NEAR_RING), box_blur(&padded, CORE));
    let count = |r: usize| ((2 * r + 1) * (2 * r + 1)) as f32;
    // Mean squared distance of a square's cells from its middle: 2 r (r + 1) / 3.
    let spread = |r: usize| 2.0 * (r * (r + 1)) as f32 / 3.0;
    let (nw, nn, nc) = (count(RING), count(NEAR_RING), count(CORE));
    let rw = (nw * spread(RING) - nc * spread(CORE)) / (nw - nc);
    let rn = (nn * spread(NEAR_RING) - nc * spread(CORE)) / (nn - nc);
    let bend = rn / (rw - rn);
    Plane::from_fn(w, h, |x, y| {
        let (a, b, c) = (wide.at(x, y + RING) * nw, near.at(x, y + RING) * nn, core.at(x, y + RING) * nc);
        let (a, b) = ((a - c) / (nw - nc), (b - c) / (nn - nc));
        let r = (y as f32).hypot(x as f32 - (w / 2) as f32);
        // The larger of the plain mean and the one carried to the middle: too high a background only costs a faint
        // line, too low a one invents lines.
        if r < BENT { a.max(b + (b - a) * bend) + EULER as f32 } else { a + EULER as f32 }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_wave_lands_on_its_own_cell_with_its_own_power() {
        let (w, h) = (120, 90);
        for (kx, ky) in [(12isize, 7isize), (9, -13), (0, 20)] {
            let p = Plane::from_fn(w, h, |x, y| {
                let phase = kx as f64 * x as f64 / w as f64 + ky as f64 * y as f64 / h as f64;
                (0.3 * (std::f64::consts::TAU * phase).cos()) as f32
            });
            let s = PlaneSpectrum::of(&p, 0.5);
            let expected = (0.15 * (w * h) as f64).powi(2).ln();
            assert!((s.log_power_at(kx, ky).unwrap() - expected).abs() < 1e-3);
            assert!((s.log_power_at(-kx, -ky).unwrap() - expected).abs() < 1e-3);
            assert!(s.log_power_at(kx + 3, ky).unwrap() < expected - 15.0);
        }
    }
    #[test]
    fn white_noise_stands_on_its_own_background() {
        let mut seed = 1u32;
        let mut p = Plane::new(200, 160);
        for v in &mut p.data {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *v = (seed >> 8) as f32 / (1 << 24) as f32 - 0.5;
        }
        let s = PlaneSpectrum::of(&p, 0.5);
        let mut ratio = 0.0;
        for (a, b) in s.log_power.data.iter().zip(&s.log_background.data) {
            ratio += f64::from(a - b).exp() / s.log_power.data.len() as f64;
        }
        // The larger of two estimates lies a little high.
        assert!(ratio > 0.8 && ratio < 1.05, "{ratio}");
    }
}
