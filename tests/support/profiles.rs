//! Made profiles of known frequency, the same numbers as `tests/truth/make.py` makes (splitmix64, Box-Muller).

use lowsun::signal::fundamental;
use std::f64::consts::{PI, TAU};

const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

fn uniform(key: u64, n: usize) -> Vec<f64> {
    (0..n as u64)
        .map(|i| {
            let z = key.wrapping_mul(0xD134_2543_DE82_EF95).wrapping_add((i + 1).wrapping_mul(GOLDEN));
            let z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z ^ (z >> 31)) >> 11) as f64 * 2f64.powi(-53)
        })
        .collect()
}

/// Four harmonics (1, 1/2, 1/3, 1/4) in white noise of unit sd; SNR is A^2 / 2 of the first. Returns the frequency in
/// cycles per sample, and the profile.
pub fn profile(length: usize, snr_db: i64, trial: usize) -> (f64, Vec<f64>) {
    let key = length as u64 * 1_000_000 + (snr_db + 100) as u64 * 1000 + trial as u64;
    let u = uniform(key, 5 + 2 * length);
    let f = 0.05 + 0.05 * u[0];
    let a = (2.0 * 10f64.powf(snr_db as f64 / 10.0)).sqrt();
    let y = (0..length)
        .map(|i| {
            let tones: f64 = (1..=4).map(|h| a / h as f64 * (TAU * (h as f64 * f * i as f64 + u[h])).cos()).sum();
            tones + (-2.0 * (1.0 - u[5 + 2 * i]).ln()).sqrt() * (TAU * u[6 + 2 * i]).cos()
        })
        .collect();
    (f, y)
}

/// Cramer-Rao bound of the frequency for these profiles, cycles per sample: sqrt(24) / (2 pi sqrt(N (N^2 - 1) sum h^2
/// A_h^2)) (Rife and Boorstyn 1974 for one tone; independent harmonics add their information).
pub fn bound(length: usize, snr_db: i64) -> f64 {
    let n = length as f64;
    let squares = 4.0 * 2.0 * 10f64.powf(snr_db as f64 / 10.0);
    24f64.sqrt() / (2.0 * PI * (n * (n * n - 1.0) * squares).sqrt())
}

/// Rms error of our own estimate over `trials` profiles, its rms in stated sigmas, and how many gave none.
pub fn ours(length: usize, snr_db: i64, trials: usize) -> (f64, f64, usize) {
    let (mut square, mut sigmas, mut n) = (0.0, 0.0, 0);
    for trial in 0..trials {
        let (f, y) = profile(length, snr_db, trial);
        if let Some(found) = fundamental(&y) {
            square += (found.frequency - f).powi(2);
            sigmas += ((found.frequency - f) / found.sigma).powi(2);
            n += 1;
        }
    }
    ((square / n as f64).sqrt(), (sigmas / n as f64).sqrt(), trials - n)
}
