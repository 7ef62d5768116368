//! The grid that JPEG's 8 x 8 blocks leave, also where the file was scaled afterwards.
//!
//! At a block's border neighbouring pixels differ by more than elsewhere. Averaged along the border, the differences form
//! a comb across the picture; the comb's spacing is found in its spectrum, with the first two harmonics, and must be the
//! same both ways: ridges and figure repeat one way only. After Fan & de Queiroz, Identification of bitmap compression history, IEEE Trans. Image Process. 12 (2003) 230-235
//! (from memory).

use super::tiles::{SIDE, Tile};
use crate::signal::amplitude_spectrum;
use serde::Serialize;

/// The blocks of one photo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Blocks {
    /// Spacing of the block borders, px: 8 unless the file was scaled after it was compressed.
    pub pitch_px: f64,
    /// Jump of the light at the borders beyond what the texture beside them does, relative: 0.01 is as much as a line that
    /// an eye just sees.
    pub contrast: f64,
}

/// Spacings looked for, px: from a picture scaled to under two thirds to one enlarged threefold.
const PITCHES: (f64, f64) = (4.6, 26.0);
/// Harmonics of a comb must all stand this much over the median round about them. Amplitudes of noise exceed four times
/// their median once in 60000.
const CLEAR: f64 = 4.0;

/// The comb of blocks, where one stands out.
pub fn blocks(tiles: &[Tile]) -> Option<Blocks> {
    // Four tiles: 256 border lines, jumps known to a sixteenth of the texture.
    if tiles.len() < 4 {
        return None;
    }
    let across = spectrum(&comb(tiles, |t, i, j| t.at(i, j), |t| t.x)?);
    let down = spectrum(&comb(tiles, |t, i, j| t.at(j, i), |t| t.y)?);
    let all = tiles.iter().flat_map(|t| &t.code).map(|v| f64::from(*v)).sum::<f64>();
    let level = all / (tiles.len() * SIDE * SIDE) as f64;
    let n = 4 * across.n.max(down.n);
    let (from, to) = (n as f64 / PITCHES.1, n as f64 / PITCHES.0);
    let clear = |f: f64| {
        let of = |s: &Spectrum| (s.at(f) / s.limit(f)).min(s.at(2.0 * f) / s.limit(2.0 * f));
        of(&across).min(of(&down))
    };
    let best = (from.ceil() as usize..=to.floor() as usize)
        .map(|k| k as f64 / n as f64)
        .map(|f| (clear(f), f))
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    if best.0 < CLEAR {
        return None;
    }
    // Enlarged blocks show at half their spacing as well; where the whole one is there too, it is the blocks' own.
    let whole = best.1 / 2.0;
    let f = if whole * n as f64 >= from && clear(whole) > CLEAR.max(0.2 * best.0) { whole } else { best.1 };
    // A comb of height h every P has harmonics of 2 h / P.
    let mean = (across.at(f) + across.at(2.0 * f) + down.at(f) + down.at(2.0 * f)) / 4.0;
    // Relative light is the display curve's power (about 2.2) times relative code value.
    Some(Blocks { pitch_px: 1.0 / f, contrast: 2.2 * mean / (2.0 * f) / level.max(1.0) })
}

/// Mean difference of neighbours by photo column (or row), code values, from the first covered one on, less its mean.
/// `None` on an even grey.
fn comb(tiles: &[Tile], at: impl Fn(&Tile, usize, usize) -> f32, start: impl Fn(&Tile) -> usize) -> Option<Vec<f64>> {
    let first = tiles.iter().map(&start).min()?;
    let last = tiles.iter().map(&start).max()? + SIDE;
    let (mut sum, mut count) = (vec![0.0f64; last - first], vec![0u32; last - first]);
    for t in tiles {
        for i in 0..SIDE - 1 {
            let column = start(t) - first + i;
            let differ: f32 = (0..SIDE).map(|j| (at(t, i, j) - at(t, i + 1, j)).abs()).sum();
            sum[column] += f64::from(differ) / SIDE as f64;
            count[column] += 1;
        }
    }
    let texture = sum.iter().sum::<f64>() / f64::from(count.iter().sum::<u32>().max(1));
    // A twentieth of a code value: an even grey without any texture has no blocks to see.
    (texture > 0.05).then(|| {
        let mean = |(s, c): (&f64, &u32)| if *c > 0 { s / f64::from(*c) - texture } else { 0.0 };
        sum.iter().zip(&count).map(mean).collect()
    })
}

struct Spectrum {
    amplitude: Vec<f64>,
    n: usize,
    /// Median amplitude round about, for frequencies of half a cycle times powers of [`RATIO`].
    limits: Vec<f64>,
}

/// Step between the places where the median is taken.
const RATIO: f64 = 0.87;

fn spectrum(x: &[f64]) -> Spectrum {
    let (amplitude, n) = amplitude_spectrum(x, 2);
    let bin = |f: f64| ((f * n as f64) as usize).min(amplitude.len());
    let limits = (0..24)
        .map(|k| 0.5 * RATIO.powi(k))
        .map(|f| crate::stats::median(&amplitude[bin(f * 0.7)..bin(f * 1.4)]).unwrap_or(f64::INFINITY).max(1e-9))
        .collect();
    Spectrum { amplitude, n, limits }
}

/// A frequency beyond half a cycle per pixel folds back.
fn folded(f: f64) -> f64 {
    if f > 0.5 { 1.0 - f } else { f }
}

impl Spectrum {
    /// Amplitude at a frequency in cycles per pixel.
    fn at(&self, f: f64) -> f64 {
        let k = (folded(f) * self.n as f64).round() as usize;
        self.amplitude.get(k).copied().unwrap_or(0.0)
    }
    /// Median amplitude round about a frequency.
    fn limit(&self, f: f64) -> f64 {
        let k = ((folded(f) / 0.5).ln() / RATIO.ln()).round().max(0.0) as usize;
        self.limits.get(k).or(self.limits.last()).copied().unwrap_or(f64::INFINITY)
    }
}
