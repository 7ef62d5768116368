//! The grid that JPEG's 8 x 8 blocks leave, also where the file was scaled afterwards.
//!
//! A block's border is a jump that the pixels on either side do not explain: |a(x) - a(x+1)| against the mean of the two
//! differences beside it. Summed along the border the jumps form a comb across the picture; the comb's spacing is found
//! in its spectrum, with the first two harmonics, and must be the same both ways: ridges and figure repeat one way only.
//! After Fan & de Queiroz, Identification of bitmap compression history, IEEE Trans. Image Process. 12 (2003) 230-235
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
/// Harmonics of a comb must all stand this much over the median of the spectrum. Amplitudes of noise exceed four times
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
    let limits = (across.median().max(1e-9), down.median().max(1e-9));
    let n = 4 * across.n.max(down.n);
    let (from, to) = (n as f64 / PITCHES.1, n as f64 / PITCHES.0);
    let best = (from.ceil() as usize..=to.floor() as usize)
        .map(|k| k as f64 / n as f64)
        .map(|f| {
            let clear = |s: &Spectrum, limit: f64| s.at(f).min(s.at(2.0 * f)) / limit;
            (clear(&across, limits.0).min(clear(&down, limits.1)), f)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    let (clear, f) = best;
    if clear < CLEAR {
        return None;
    }
    // A comb of height h every P has harmonics of 2 h / P.
    let mean = (across.at(f) + across.at(2.0 * f) + down.at(f) + down.at(2.0 * f)) / 4.0;
    // Relative light is the display curve's power (about 2.2) times relative code value.
    Some(Blocks { pitch_px: 1.0 / f, contrast: 2.2 * mean / (2.0 * f) / level.max(1.0) })
}

/// Jumps by photo column (or row), code values, from the first covered one on. `None` on an even grey.
fn comb(tiles: &[Tile], at: impl Fn(&Tile, usize, usize) -> f32, start: impl Fn(&Tile) -> usize) -> Option<Vec<f64>> {
    let first = tiles.iter().map(&start).min()?;
    let last = tiles.iter().map(&start).max()? + SIDE;
    let (mut sum, mut count, mut texture) = (vec![0.0f64; last - first], vec![0u32; last - first], 0.0f64);
    for t in tiles {
        for i in 1..SIDE - 2 {
            let (mut jump, mut plain) = (0.0f32, 0.0f32);
            for j in 0..SIDE {
                let (a, b, c, d) = (at(t, i - 1, j), at(t, i, j), at(t, i + 1, j), at(t, i + 2, j));
                jump += (b - c).abs() - 0.5 * ((a - b).abs() + (c - d).abs());
                plain += (b - c).abs();
            }
            let column = start(t) - first + i;
            sum[column] += f64::from(jump) / SIDE as f64;
            count[column] += 1;
            texture += f64::from(plain) / SIDE as f64;
        }
    }
    let n: u32 = count.iter().sum();
    let texture = texture / f64::from(n.max(1));
    // A twentieth of a code value: an even grey without any texture has no blocks to see.
    (texture > 0.05).then(|| {
        sum.iter().zip(&count).map(|(s, c)| if *c > 0 { s / f64::from(*c) } else { 0.0 }).collect()
    })
}

struct Spectrum {
    amplitude: Vec<f64>,
    n: usize,
}

fn spectrum(x: &[f64]) -> Spectrum {
    let (amplitude, n) = amplitude_spectrum(x, 2);
    Spectrum { amplitude, n }
}

impl Spectrum {
    /// Amplitude at a frequency in cycles per pixel; folded back beyond one half.
    fn at(&self, f: f64) -> f64 {
        let f = if f > 0.5 { 1.0 - f } else { f };
        let k = (f * self.n as f64).round() as usize;
        self.amplitude.get(k).copied().unwrap_or(0.0)
    }
    fn median(&self) -> f64 {
        crate::stats::median(&self.amplitude).unwrap_or(0.0)
    }
}
