//! Spectra in one and two dimensions.
//!
//! Conventions: frequencies in cycles per sample unless a name says otherwise; [`amplitude_spectrum`] returns one-sided
//! amplitudes scaled so that a sinusoid of amplitude A at a bin centre reads A whatever the window; bin k of a padded
//! length n is k / n cycles per sample.

mod fundamental;
mod harmonic;
mod plane;
pub mod roughness;
mod wave;

pub use fundamental::{Fundamental, background, fundamental};
pub use harmonic::{Cells, Harmonic, Offset};
pub use plane::{PlaneSpectrum, fft_size};
pub use wave::wave;

use realfft::RealFftPlanner;

/// Hann window of `n` samples (periodic form).
pub fn hann(n: usize) -> Vec<f64> {
    (0..n).map(|i| 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos()).collect()
}

/// First samples of the windows of `n` that overlap by half and lie wholly within `size` samples.
pub fn half_overlapping(size: usize, n: usize) -> impl Iterator<Item = usize> {
    (0..).map(move |i| i * n / 2).take_while(move |start| start + n <= size)
}

/// One-sided amplitude spectrum of mean-free `x` times a Hann window, zero-padded by `pad` (at least 1) times.
/// Returns amplitudes for bins 0..=n/2 and the padded length n.
pub fn amplitude_spectrum(x: &[f64], pad: usize) -> (Vec<f64>, usize) {
    let n0 = x.len();
    if n0 < 4 {
        return (Vec::new(), 0);
    }
    let n = (n0 * pad.max(1)).next_multiple_of(2);
    let w = hann(n0);
    let sum: f64 = w.iter().sum();
    let mean = x.iter().zip(&w).map(|(v, w)| v * w).sum::<f64>() / sum;
    let mut buf = vec![0.0; n];
    for i in 0..n0 {
        buf[i] = (x[i] - mean) * w[i];
    }
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(n);
    let mut out = fft.make_output_vec();
    // Lengths come from the same plan, so this cannot fail.
    let _ = fft.process(&mut buf, &mut out);
    (out.iter().map(|c| 2.0 * c.norm() / sum).collect(), n)
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_sine_reads_its_own_amplitude() {
        let x: Vec<f64> = (0..1000).map(|i| 3.0 * (std::f64::consts::TAU * 0.05 * i as f64).sin()).collect();
        let (a, n) = amplitude_spectrum(&x, 4);
        let k = (0.05 * n as f64).round() as usize;
        assert!((a[k] - 3.0).abs() < 1e-6, "{}", a[k]);
    }
}
