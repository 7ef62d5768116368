//! From light to relative brightness: lamp fall-off and slow colour divided out.

use super::stack::Weighed;
use crate::floor::Patch;
use crate::geometry::Point;
use crate::raster::{Mask, Plane};
use nalgebra::{SMatrix, SVector};
use rayon::prelude::*;
use std::borrow::Cow;

/// Share of the floor's smaller side that the local mean's Gaussian has as sigma. At 1/8 a period of a third of the
/// floor keeps 0.88 of its amplitude (1 - exp(-2 (pi / 2.67)^2 ...)); larger lets lamp fall-off through, smaller eats
/// wide stepovers.
const MEAN_SIGMA_SHARE: f64 = 1.0 / 8.0;
/// Floor size that stands for a pocket where no scale is known, millimetres across the smaller side: only sets what
/// "about a millimetre" means for margins and short edges.
const USUAL_POCKET: f64 = 76.0;
/// Margin kept from the border of the mask, millimetres: the mask already keeps off walls and shadows, this is for its
/// own coarseness. More would hide the strip a first pass leaves along the wall.
const MARGIN: f64 = 0.3;

/// Least share of the used floor that a taper leaves. A plain pocket keeps three quarters (a square of side 1 with ramps of
/// an eighth), bands round letters a quarter to nothing; with more, pockets of few shadows would be tapered less than
/// their lines' lobes ask for.
const KEPT: f64 = 0.5;
/// Shortest ramp, samples: less tapers nothing.
const SHORTEST_RAMP: f64 = 4.0;

/// Half width that is left out along a letter's wall, millimetres: the wall itself, its glow and its narrow shadow.
const WALL_MARGIN: f64 = 0.8;

/// Samples of the floor above which the view is halved: three million give every line of a pocket more evidence than is
/// needed, at a quarter of the time.
const PLENTY: usize = 3_000_000;
/// Samples of the halved view a planned period must still have.
const SAMPLES: f64 = 4.0;

/// The floor as relative brightness.
#[derive(Clone)]
pub(super) struct Flat {
    /// Light over its local mean, minus one; 0 outside `used`. Clamped to [-1, 3]: shadows end at -1, a flank that faces a
    /// lamp at 12 degrees squarely is 4.8 times as bright as the floor, and what is brighter than 4 times is gloss or
    /// a chip.
    pub rel: Plane,
    pub used: Mask,
    /// Samples of the patch's view per sample along each axis: 1 or 2.
    pub coarse: usize,
    pub step: f64,
    pub origin: Point,
    /// Smaller side of the used floor, floor-frame units.
    pub extent: f64,
    /// One millimetre in floor-frame units (assumed from the floor's size without scale).
    pub unit: f64,
    /// Used floor, samples: first and last column and row.
    pub bounds: [usize; 4],
    /// Middle of the used floor, floor frame.
    pub middle: Point,
}

impl Flat {
    /// Flattens the patch; `None` when less than 200 samples or less than 12 samples across are usable.
    ///
    /// `finest` is the shortest period looked for on purpose, floor-frame units.
    pub fn of(patch: &Patch, scaled: bool, finest: f64) -> Option<Self> {
        let view = &patch.view;
        let coarse = if patch.mask.count() > PLENTY && finest > 2.0 * SAMPLES * view.step { 2 } else { 1 };
        let (luma, mask) = if coarse == 1 {
            (Cow::Borrowed(&view.luma), Cow::Borrowed(&patch.mask))
        } else {
            // Whole blocks only, so that no used sample is part shadow.
            let (w, h) = (view.luma.width / coarse, view.luma.height / coarse);
            let small = view.luma.shrink(coarse);
            let whole = |x: usize, y: usize| (0..4).all(|i| patch.mask.at(2 * x + i % 2, 2 * y + i / 2));
            (Cow::Owned(Plane::from_fn(w, h, |x, y| small.at(x, y))), Cow::Owned(Mask::from_fn(w, h, whole)))
        };
        let step = view.step * coarse as f64;
        let half = (coarse - 1) as f64 / 2.0 * view.step;
        let origin = Point::new(view.origin.x + half, view.origin.y + half);
        let w = luma.width;
        let rough = bounds(&mask)?;
        let side = |b: [usize; 4]| ((b[2] - b[0]).min(b[3] - b[1]) + 1) as f64 * step;
        let unit = if scaled { 1.0 } else { side(rough) / USUAL_POCKET };
        let blur = patch.blur_px.unwrap_or(1.0).min(10.0) / coarse as f64;
        let margin = (MARGIN * unit / step).max(2.0 * blur).min(side(rough) / step / 12.0).round() as usize;
        let mut used = border_closed(&mask).erode(margin.max(1));
        for (u, v) in used.data.iter_mut().zip(&luma.data) {
            *u &= *v > 0.0;
        }
        let b = bounds(&used)?;
        if used.count() < 200 || (b[2] - b[0]).min(b[3] - b[1]) < 12 {
            return None;
        }
        let extent = side(b);
        let mean = local_mean(&luma, &used, extent * MEAN_SIGMA_SHARE / step)?;
        let mut rel = Plane::from_fn(w, luma.height, |x, y| {
            let i = y * w + x;
            if used.data[i] { (luma.data[i] / mean.at(x, y).max(1e-6) - 1.0).clamp(-1.0, 3.0) } else { 0.0 }
        });
        let n = used.count() as f64;
        let left = (rel.data.iter().map(|v| f64::from(*v)).sum::<f64>() / n) as f32;
        for (v, u) in rel.data.iter_mut().zip(&used.data) {
            if *u {
                *v -= left;
            }
        }
        let middle =
            Point::new(origin.x + (b[0] + b[2]) as f64 / 2.0 * step, origin.y + (b[1] + b[3]) as f64 / 2.0 * step);
        Some(Self { rel, used, coarse, step, origin, extent, unit, bounds: b, middle })
    }
    /// The floor without lines and what lies beside them; paths in the floor frame, points half a millimetre apart.
    pub fn without<'a>(&self, paths: impl Iterator<Item = &'a [Point]>) -> Self {
        let mut out = self.clone();
        let r = WALL_MARGIN * self.unit / self.step;
        for p in paths.flatten() {
            let q = (*p - self.origin) * (1.0 / self.step);
            let (x0, x1) = ((q.x - r).floor().max(0.0) as usize, (q.x + r).ceil().max(0.0) as usize);
            let (y0, y1) = ((q.y - r).floor().max(0.0) as usize, (q.y + r).ceil().max(0.0) as usize);
            for (y, x) in (y0..=y1.min(self.used.height - 1)).flat_map(|y| (x0..=x1).map(move |x| (y, x))) {
                if x < self.used.width && (x as f64 - q.x).hypot(y as f64 - q.y) <= r {
                    out.used.data[y * self.used.width + x] = false;
                    out.rel.data[y * self.used.width + x] = 0.0;
                }
            }
        }
        out
    }
    /// Every used sample with the same weight.
    pub fn evenly(&self) -> Weighed {
        Weighed::of(&self.rel, &self.weights())
    }
    /// 1 on the used floor, 0 elsewhere.
    fn weights(&self) -> Plane {
        Plane { width: self.used.width, height: self.used.height, data: as_weights(&self.used) }
    }
    /// The floor by blocks of `k` by `k` samples: relative brightness, and where the whole block is used.
    pub fn reduced(&self, k: usize) -> (Plane, Mask) {
        let weights = self.weights().shrink(k);
        (self.rel.shrink(k), Mask::from_fn(weights.width, weights.height, |x, y| weights.at(x, y) > 0.99))
    }
    /// The middle of block (x, y) of them, floor frame.
    pub fn place(&self, k: usize, x: usize, y: usize) -> Point {
        let at = |i: usize| ((i * k) as f64 + (k as f64 - 1.0) / 2.0) * self.step;
        Point::new(self.origin.x + at(x), self.origin.y + at(y))
    }
    /// Weight that falls from 1 inside to 0 at the border of the used floor over about an eighth of its smaller side; over
    /// less where the floor is so narrow, round letters, that under [`KEPT`] of it would be left.
    pub fn taper(&self) -> Plane {
        let grid = self.weights();
        let all = |p: &Plane| p.data.iter().map(|v| f64::from(*v)).sum::<f64>();
        let least = KEPT * all(&grid);
        let mut ramp = self.extent / self.step / 8.0;
        while ramp >= SHORTEST_RAMP {
            let out = self.tapered(&grid, ramp);
            if all(&out) >= least {
                return out;
            }
            ramp /= 2.0;
        }
        // A floor in shreds has no inside: every used sample then counts alike.
        grid
    }
    fn tapered(&self, grid: &Plane, ramp: f64) -> Plane {
        let k = ((ramp / 8.0) as usize).max(1);
        // The mean of the mask over a square as wide as two ramps is 1/2 on a straight border and 1 a ramp inside.
        let small = crate::raster::box_blur(&grid.shrink(k), (ramp / k as f64) as usize);
        let mut out = upsample(&small, k, grid.width, grid.height);
        for (v, u) in out.data.iter_mut().zip(&self.used.data) {
            let t = (2.0 * *v - 1.0).clamp(0.0, 1.0);
            *v = if *u { t * t * (3.0 - 2.0 * t) } else { 0.0 };
        }
        out
    }
}

/// The mask with its outermost row and column off, so that the picture's own border counts as a border of the floor.
fn border_closed(m: &Mask) -> Mask {
    let (w, h) = (m.width, m.height);
    Mask::from_fn(w, h, |x, y| x > 0 && y > 0 && x + 1 < w && y + 1 < h && m.at(x, y))
}

pub(super) fn as_weights(m: &Mask) -> Vec<f32> {
    m.data.iter().map(|b| f32::from(u8::from(*b))).collect()
}

fn bounds(m: &Mask) -> Option<[usize; 4]> {
    let mut b = [usize::MAX, usize::MAX, 0, 0];
    for y in 0..m.height {
        let row = &m.data[y * m.width..(y + 1) * m.width];
        let (Some(a), Some(z)) = (row.iter().position(|v| *v), row.iter().rposition(|v| *v)) else { continue };
        b = [b[0].min(a), b[1].min(y), b[2].max(z), y];
    }
    (b[0] != usize::MAX).then_some(b)
}

/// Local mean under the mask: a quadratic surface in ln light (lamp fall-off), then a masked Gaussian of what is left.
fn local_mean(luma: &Plane, used: &Mask, sigma: f64) -> Option<Plane> {
    let k = ((sigma / 6.0) as usize).clamp(1, 64);
    let weights = Plane { width: used.width, height: used.height, data: as_weights(used) };
    let lit = Plane {
        width: luma.width,
        height: luma.height,
        data: luma.data.iter().zip(&weights.data).map(|(v, w)| v * w).collect(),
    };
    let (num, den) = (lit.shrink(k), weights.shrink(k));
    let surface = quadratic(&num, &den)?;
    let (w, h) = (num.width as f64, num.height as f64);
    let fitted = |x: f64, y: f64| surface.dot(&terms(x / w - 0.5, y / h - 0.5)).exp();
    let rest =
        Plane::from_fn(num.width, num.height, |x, y| (f64::from(num.at(x, y)) / fitted(x as f64, y as f64)) as f32);
    let s = (sigma / k as f64) as f32;
    let (num, den) = (crate::raster::gaussian_blur(&rest, s), crate::raster::gaussian_blur(&den, s));
    let ratio = Plane::from_fn(num.width, num.height, |x, y| {
        let d = den.at(x, y);
        if d > 1e-4 { (f64::from(num.at(x, y) / d) * fitted(x as f64, y as f64)) as f32 } else { 0.0 }
    });
    Some(upsample(&ratio, k, luma.width, luma.height))
}

fn terms(x: f64, y: f64) -> SVector<f64, 6> {
    SVector::<f64, 6>::from([1.0, x, y, x * x, x * y, y * y])
}

/// Weighted least-squares quadratic in ln(num / den) over blocks that are at least a quarter used.
fn quadratic(num: &Plane, den: &Plane) -> Option<SVector<f64, 6>> {
    let mut a = SMatrix::<f64, 6, 6>::identity() * 1e-9;
    let mut b = SVector::<f64, 6>::zeros();
    for y in 0..num.height {
        for x in 0..num.width {
            let (n, d) = (f64::from(num.at(x, y)), f64::from(den.at(x, y)));
            if d >= 0.25 && n > 0.0 {
                let t = terms(x as f64 / num.width as f64 - 0.5, y as f64 / num.height as f64 - 0.5);
                a += t * t.transpose() * d;
                b += t * (n / d).ln() * d;
            }
        }
    }
    a.cholesky().map(|c| c.solve(&b))
}

/// Bilinear enlargement of a plane made by `shrink(k)`.
pub(super) fn upsample(p: &Plane, k: usize, width: usize, height: usize) -> Plane {
    if k == 1 {
        return p.clone();
    }
    // Sample and share of its successor for every place along one axis.
    let place = |v: usize, n: usize| {
        let at = ((v as f32 + 0.5) / k as f32 - 0.5).clamp(0.0, (n - 1) as f32);
        (at as usize, at.fract())
    };
    let columns: Vec<(usize, f32)> = (0..width).map(|x| place(x, p.width)).collect();
    let mut out = Plane::new(width, height);
    out.data.par_chunks_mut(width.max(1)).enumerate().for_each(|(y, row)| {
        let (j, f) = place(y, p.height);
        let (a, b) = (p.row(j), p.row((j + 1).min(p.height - 1)));
        let mut mixed: Vec<f32> = a.iter().zip(b).map(|(a, b)| a + (b - a) * f).collect();
        mixed.extend(mixed.last().copied());
        for (v, (i, f)) in row.iter_mut().zip(&columns) {
            *v = mixed[*i] + (mixed[*i + 1] - mixed[*i]) * f;
        }
    });
    out
}

/// Mean of a plane under a mask over a Gaussian of `sigma` samples, worked out at a size where sigma is about four samples.
pub(super) fn slow_mean(p: &Plane, mask: &Mask, sigma: f32) -> Plane {
    let k = ((sigma / 4.0) as usize).max(1);
    if k == 1 || p.width < 4 * k || p.height < 4 * k {
        return crate::raster::masked_blur(p, mask, sigma);
    }
    let weights = Plane { width: mask.width, height: mask.height, data: as_weights(mask) };
    let held = Plane {
        width: p.width,
        height: p.height,
        data: p.data.iter().zip(&weights.data).map(|(v, w)| if *w > 0.0 { *v } else { 0.0 }).collect(),
    };
    let s = sigma / k as f32;
    let num = crate::raster::gaussian_blur(&held.shrink(k), s);
    let den = crate::raster::gaussian_blur(&weights.shrink(k), s);
    let ratio = Plane::from_fn(num.width, num.height, |x, y| num.at(x, y) / den.at(x, y).max(1e-6));
    upsample(&ratio, k, p.width, p.height)
}
