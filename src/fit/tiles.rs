//! Square pieces of the lit floor as the camera stored them: photo pixels, code values, nothing resampled. What the camera
//! and the file's compression did can only be seen there.

use crate::floor::Patch;
use crate::geometry::Point;
use crate::photo::Photo;
use crate::rectify::FloorFrame;
use rayon::prelude::*;

/// Side of a tile, px: eight of a JPEG's blocks.
pub const SIDE: usize = 64;
/// Most tiles looked at: 1.6 million pixels, a few hundredths of a second.
const MOST: usize = 400;

/// One tile: its first column and row in the photo, and its luma in 8-bit code values (ITU-R BT.601 weights, those of JPEG).
pub struct Tile {
    pub x: usize,
    pub y: usize,
    pub code: Vec<f32>,
}

impl Tile {
    pub fn at(&self, i: usize, j: usize) -> f32 {
        self.code[j * SIDE + i]
    }
}

/// Code value of luma at a pixel.
#[inline]
pub fn code(photo: &Photo, x: usize, y: usize) -> f32 {
    let at = (y * photo.width + x) * 3;
    let p = &photo.rgb.as_raw()[at..at + 3];
    0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2])
}

/// Tiles that lie wholly on the lit floor, spread evenly over it; empty where the floor is smaller than one.
pub fn lit(photo: &Photo, frame: &FloorFrame, patch: &Patch) -> Vec<Tile> {
    if photo.rgb.width() as usize != photo.width || photo.rgb.height() as usize != photo.height {
        return vec![];
    }
    let all = patch.outline_px.iter();
    let (x0, y0, x1, y1) =
        all.fold((f64::MAX, f64::MAX, 0.0f64, 0.0f64), |b, p| (b.0.min(p.x), b.1.min(p.y), b.2.max(p.x), b.3.max(p.y)));
    let first = |v: f64| v.max(0.0) as usize;
    let last = |v: f64, n: usize| (v.max(0.0) as usize).min(n);
    let (x1, y1) = (last(x1, photo.width), last(y1, photo.height));
    let on_floor = |x: f64, y: f64| {
        let s = patch.view.to_sample(frame.to_px.backward(Point::new(x, y)));
        let (i, j) = (s.x.round(), s.y.round());
        i >= 0.0
            && j >= 0.0
            && (i as usize) < patch.mask.width
            && (j as usize) < patch.mask.height
            && patch.mask.at(i as usize, j as usize)
    };
    let corners: Vec<(usize, usize)> = (first(y0)..y1.saturating_sub(SIDE - 1))
        .step_by(SIDE)
        .flat_map(|y| (first(x0)..x1.saturating_sub(SIDE - 1)).step_by(SIDE).map(move |x| (x, y)))
        .filter(|(x, y)| {
            // Five by five points: holes in the floor (chips, ridges' shadows left out) are wider than 16 px or do not matter.
            (0..25).all(|k| on_floor((x + k % 5 * 15) as f64, (y + k / 5 * 15) as f64))
        })
        .collect();
    let every = corners.len().div_ceil(MOST).max(1);
    corners
        .par_iter()
        .enumerate()
        .filter(|(k, _)| k % every == 0)
        .map(|(_, (x, y))| Tile {
            x: *x,
            y: *y,
            code: (0..SIDE * SIDE).map(|k| code(photo, x + k % SIDE, y + k / SIDE)).collect(),
        })
        .collect()
}
