//! Unevenly spaced lines: direction and strength of what is not a family.

use super::colour::Colours;
use super::comb::Comb;
use super::flatten::Flat;
use super::types::Figure;
use crate::raster::Plane;
use crate::signal::PlaneSpectrum;
use crate::units::{line_difference, wrap_180};
use rayon::prelude::*;

/// What the plane's spectrum says about everything but the families.
pub(super) struct Rest {
    pub figure: Figure,
    /// Rms relative brightness between a tenth and three cycles per millimetre, families taken out.
    pub texture_rms: f64,
}

pub(super) fn of(s: &PlaneSpectrum, flat: &Flat, taper: &Plane, combs: &[Comb], colours: Option<&Colours>) -> Rest {
    let cell = (1.0 / (s.fft_width as f64 * flat.step), 1.0 / (s.fft_height as f64 * flat.step));
    let (lowest, highest) = (0.1 / flat.unit, (3.0 / flat.unit).min(1.0 / (super::FINEST * flat.step)));
    let vectors: Vec<(f64, f64)> = combs
        .iter()
        .map(|c| {
            let (y, x) = c.normal_deg.to_radians().sin_cos();
            (c.frequency * x, c.frequency * y)
        })
        .collect();
    let near = 3.0 / flat.extent;
    // Power by direction, one degree a bin, half plane counted twice.
    let bins = (0..=s.kx_max)
        .into_par_iter()
        .map(|kx| {
            let mut bins = vec![0.0f64; 180];
            for c in 0..s.log_power.width {
                let (x, y) = (kx as f64 * cell.0, (c as f64 - s.ky_max as f64) * cell.1);
                let f = x.hypot(y);
                let taken = || {
                    vectors.iter().any(|v| {
                        let m = ((x * v.0 + y * v.1) / (v.0 * v.0 + v.1 * v.1)).round();
                        m != 0.0 && (x - m * v.0).hypot(y - m * v.1) < near
                    })
                };
                if f >= lowest && f <= highest && !taken() {
                    let deg = wrap_180(y.atan2(x).to_degrees()) as usize % 180;
                    bins[deg] += f64::from(s.log_power.at(c, kx)).exp() * if kx == 0 { 1.0 } else { 2.0 };
                }
            }
            bins
        })
        .reduce(|| vec![0.0; 180], |a, b| a.iter().zip(&b).map(|(x, y)| x + y).collect());
    // Parseval: sum over all cells of |X|^2 = cells x sum of (weight x value)^2.
    let weight: f64 = taper.data.iter().map(|w| f64::from(w * w)).sum::<f64>().max(1e-9);
    let square = |p: f64| (p / (s.fft_width * s.fft_height) as f64 / weight).max(0.0);
    let total: f64 = bins.iter().sum();
    let (mut re, mut im) = (0.0, 0.0);
    for (d, p) in bins.iter().enumerate() {
        let a = 2.0 * (d as f64 + 0.5).to_radians();
        re += p * a.cos();
        im += p * a.sin();
    }
    let normal_deg = wrap_180(0.5 * im.atan2(re).to_degrees());
    let lines: f64 = bins
        .iter()
        .enumerate()
        .filter(|(d, _)| line_difference(*d as f64 + 0.5, normal_deg).abs() <= 12.0)
        .map(|(_, p)| p)
        .sum();
    let figure = Figure {
        normal_deg,
        coherence: if total > 0.0 { re.hypot(im) / total } else { 0.0 },
        contrast: square(lines).sqrt(),
        chroma_share: colours.and_then(Colours::overall),
        outside: None,
    };
    Rest { figure, texture_rms: square(total).sqrt() }
}
