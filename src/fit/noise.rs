//! The finest detail of the floor: what noise reduction and compression have left of it.

use super::tiles::{SIDE, Tile};
use rayon::prelude::*;
use serde::Serialize;

/// The finest detail of one photo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Detail {
    /// Standard deviation of the finest detail (noise and texture), 8-bit code values: median over the cells.
    pub sigma_code: f64,
    /// The same of detail four times as coarse.
    pub coarse_code: f64,
    /// Share of the cells without any coarse detail: wiped flat.
    pub wiped: f64,
}

/// Side of a cell, px: four JPEG blocks, the size over which a phone decides what is texture.
const CELL: usize = 32;
/// Coarse detail is that of means over 4 x 4 px: what JPEG of a fair quality leaves alone.
const COARSE: usize = 4;
/// Under this a cell holds nothing but rounding, code values: rounding alone leaves 1 / sqrt(12) / 4 = 0.07.
const NOTHING: f64 = 0.15;

/// Immerkaer's estimate of the noise's standard deviation on a square of `side` samples: the mean absolute response to
/// [1 -2 1; -2 4 -2; 1 -2 1], which no slope or straight even edge excites.
/// Source: J. Immerkaer, Fast noise variance estimation, Computer Vision and Image Understanding 64 (1996) 300-302.
pub fn immerkaer_sigma(at: impl Fn(usize, usize) -> f32, side: usize) -> f64 {
    let mut sum = 0.0f64;
    for j in 1..side - 1 {
        for i in 1..side - 1 {
            let edge = at(i - 1, j) + at(i + 1, j) + at(i, j - 1) + at(i, j + 1);
            let corner = at(i - 1, j - 1) + at(i + 1, j - 1) + at(i - 1, j + 1) + at(i + 1, j + 1);
            sum += f64::from((4.0 * at(i, j) - 2.0 * edge + corner).abs());
        }
    }
    (std::f64::consts::PI / 2.0).sqrt() * sum / (6.0 * ((side - 2) * (side - 2)) as f64)
}

/// `None` where there is no tile.
pub fn detail(tiles: &[Tile]) -> Option<Detail> {
    let n = SIDE / CELL;
    let cells: Vec<(f64, f64)> = tiles
        .par_iter()
        .flat_map_iter(|t| {
            let coarse: Vec<f32> = (0..(SIDE / COARSE).pow(2))
                .map(|k| {
                    let (x, y) = (k % (SIDE / COARSE) * COARSE, k / (SIDE / COARSE) * COARSE);
                    let block = (0..COARSE * COARSE).map(|q| t.at(x + q % COARSE, y + q / COARSE));
                    block.sum::<f32>() / (COARSE * COARSE) as f32
                })
                .collect();
            (0..n * n)
                .map(|k| {
                    let (x, y) = (k % n * CELL, k / n * CELL);
                    let at = |i: usize, j: usize| coarse[(y / COARSE + j) * (SIDE / COARSE) + x / COARSE + i];
                    (immerkaer_sigma(|i, j| t.at(x + i, y + j), CELL), immerkaer_sigma(at, CELL / COARSE))
                })
                .collect::<Vec<_>>()
        })
        .collect();
    let (fine, coarse): (Vec<f64>, Vec<f64>) = cells.into_iter().unzip();
    let wiped = coarse.iter().filter(|s| **s < NOTHING).count() as f64 / coarse.len().max(1) as f64;
    Some(Detail { sigma_code: crate::stats::median(&fine)?, coarse_code: crate::stats::median(&coarse)?, wiped })
}
