//! The rectified floor with the slow fall of the light taken out, so that small steps show.

use crate::floor::Patch;
use crate::raster::{Mask, Plane, masked_blur};
use crate::stats::mad_sigma;
use image::{Rgb, RgbImage};

/// Share of the picture's width over which brightness is levelled. A tenth keeps every pass of a usual pocket (ten or
/// more passes) and takes out the lamp's fall-off.
const LEVELLING: f32 = 0.1;
/// The slow light is worked out on blocks of this side: a tenth of a picture is many blocks.
const COARSE: usize = 8;
/// Grey runs from black to white over this many robust sigmas either side of the middle: texture keeps its shades and
/// only the strongest few per thousand clip.
const SPAN: f32 = 4.0;

/// The floor, flattened, at most `side` pixels on its longer side, and the factor it was reduced by. Left-out places
/// are shown dark and unlevelled.
pub(super) fn flattened(patch: &Patch, side: usize) -> (RgbImage, f64) {
    let floor = Levelled::of(patch, side);
    (floor.grey(floor.span()), 1.0 / floor.k as f64)
}

/// The floor with the slow fall of the light taken out, before it is turned into grey.
pub(super) struct Levelled {
    relative: Plane,
    luma: Plane,
    mask: Mask,
    k: usize,
}

impl Levelled {
    /// At most `side` samples on the longer side.
    pub(super) fn of(patch: &Patch, side: usize) -> Self {
        let k = patch.view.luma.width.max(patch.view.luma.height).div_ceil(side).max(1);
        let luma = patch.view.luma.shrink(k);
        let (w, h) = (luma.width, luma.height);
        let mask = Mask::from_fn(w, h, |x, y| reduced_mask(patch, k, x, y));
        let slow = slow_light(&luma, &mask);
        let ratio = |x: usize, y: usize| {
            let s = slow.bilinear((x as f64 + 0.5) / COARSE as f64 - 0.5, (y as f64 + 0.5) / COARSE as f64 - 0.5);
            if s > 0.0 { luma.at(x, y) / s - 1.0 } else { 0.0 }
        };
        Self { relative: Plane::from_fn(w, h, ratio), luma, mask, k }
    }
    /// View samples a side that became one.
    pub(super) fn shrunk(&self) -> usize {
        self.k
    }
    /// Relative brightness that runs from middle grey to white.
    pub(super) fn span(&self) -> f32 {
        let lit = self.relative.data.iter().zip(&self.mask.data).step_by(17).filter(|(_, m)| **m);
        let sample: Vec<f64> = lit.map(|(v, _)| f64::from(*v)).collect();
        // Never stretched beyond 1 % of contrast: below that only noise would be shown.
        SPAN * (mad_sigma(&sample).unwrap_or(0.0) as f32).max(0.0025)
    }
    pub(super) fn grey(&self, span: f32) -> RgbImage {
        let top = sample_top(&self.luma);
        RgbImage::from_fn(self.luma.width as u32, self.luma.height as u32, |x, y| {
            let (x, y) = (x as usize, y as usize);
            let v = if self.mask.at(x, y) {
                0.55 + 0.45 * (self.relative.at(x, y) / span).clamp(-1.0, 1.0)
            } else {
                0.45 * (self.luma.at(x, y) / top).clamp(0.0, 1.0).powf(1.0 / 2.2)
            };
            Rgb([(v * 255.0).round() as u8; 3])
        })
    }
}

/// The slow fall of the light over the floor, on every `COARSE`-th sample.
fn slow_light(luma: &Plane, mask: &Mask) -> Plane {
    let (w, h) = (luma.width.div_ceil(COARSE), luma.height.div_ceil(COARSE));
    let block = |x: usize, y: usize| {
        let rows = y * COARSE..((y + 1) * COARSE).min(luma.height);
        let (mut sum, mut n) = (0.0, 0);
        for j in rows {
            for i in x * COARSE..((x + 1) * COARSE).min(luma.width) {
                if mask.at(i, j) {
                    sum += luma.at(i, j);
                    n += 1;
                }
            }
        }
        if n > 0 { sum / n as f32 } else { -1.0 }
    };
    let coarse = Plane::from_fn(w, h, block);
    let known = Mask::from_fn(w, h, |x, y| coarse.at(x, y) >= 0.0);
    masked_blur(&coarse, &known, LEVELLING * w.max(h) as f32)
}

/// Which samples are measured (white) on the dark picture of the rest.
pub(super) fn mask_picture(patch: &Patch, side: usize) -> (RgbImage, f64) {
    let (mut picture, k) = flattened(patch, side);
    let step = (1.0 / k).round() as usize;
    for (x, y, p) in picture.enumerate_pixels_mut() {
        if !reduced_mask(patch, step, x as usize, y as usize) {
            p.0 = [p.0[0], p.0[1] / 2, p.0[2] / 2];
        }
    }
    (picture, k)
}

fn sample_top(luma: &Plane) -> f32 {
    luma.data.iter().step_by(17).copied().fold(1e-6, f32::max)
}

/// The mask at the middle of a `k` x `k` block.
fn reduced_mask(patch: &Patch, k: usize, x: usize, y: usize) -> bool {
    let m = &patch.mask;
    m.at((x * k + k / 2).min(m.width - 1), (y * k + k / 2).min(m.height - 1))
}
