//! What an edge looks like at a quarter of a pixel: how fast it rises, how far it overshoots, what is left at the finest
//! frequency the pixels can hold.
//!
//! A straight edge that stands a little askew to the pixels is sampled at every fraction of a pixel along its length.
//! Method: slanted edge, ISO 12233 (edge spread function, line spread function, spatial frequency response).

use super::tiles::code;
use crate::geometry::Point;
use crate::photo::Photo;
use crate::stats::{mad_sigma, median, percentile};
use rayon::prelude::*;
use serde::Serialize;

/// The edges of one photo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgeResponse {
    /// Way from 10 to 90 % of the sharpest quarter of the edges, px.
    pub rise_px: f64,
    /// Overshoot beyond both levels (the smaller of the two), share of the step: halo of the camera's sharpening.
    pub halo: f64,
    /// Response at half a cycle per pixel (the Nyquist frequency) of the sharpest quarter of the edges: what lies above
    /// folds back into the picture as false lines.
    pub nyquist: f64,
    /// Pieces of edge that were read.
    pub pieces: usize,
}

/// Length of a piece of edge, px: long enough to fall on every quarter of a pixel, short enough to be straight under any
/// lens.
const LENGTH: f64 = 72.0;
/// Half width of what is read across the edge, px.
const REACH: f64 = 14.0;
/// Width of a bin, px.
const BIN: f64 = 0.25;
const BINS: usize = (2.0 * REACH / BIN) as usize;
/// Least step, code values: twenty times the usual noise.
const LEAST_STEP: f64 = 30.0;

/// Reads the edges along closed lines (photo px); `None` under four good pieces.
pub fn response(photo: &Photo, lines: &[Vec<Point>]) -> Option<EdgeResponse> {
    if photo.rgb.width() as usize != photo.width {
        return None;
    }
    let read: Vec<[f64; 3]> = lines
        .iter()
        .flat_map(|l| pieces(l))
        .collect::<Vec<_>>()
        .into_par_iter()
        .filter_map(|(a, b)| piece(photo, a, b))
        .collect();
    if read.len() < 4 {
        return None;
    }
    let of = |k: usize| read.iter().map(|r| r[k]).collect::<Vec<_>>();
    Some(EdgeResponse {
        rise_px: percentile(&of(0), 25.0)?,
        halo: median(&of(1))?,
        nyquist: percentile(&of(2), 75.0)?,
        pieces: read.len(),
    })
}

/// Pieces of the straight sides of a closed line.
fn pieces(line: &[Point]) -> Vec<(Point, Point)> {
    let n = line.len();
    (0..n)
        .flat_map(|i| {
            let (a, b) = (line[i], line[(i + 1) % n]);
            let count = (a.distance(b) / LENGTH).floor() as usize;
            let d = (b - a) * (1.0 / a.distance(b).max(1e-9));
            // At most twenty a side: enough for a quartile.
            let every = count.div_ceil(20).max(1);
            (0..count).step_by(every).map(move |k| {
                let from = a + d * (LENGTH * k as f64);
                (from, from + d * LENGTH)
            })
        })
        .collect()
}

/// Rise, overshoot, Nyquist response of one piece.
fn piece(photo: &Photo, a: Point, b: Point) -> Option<[f64; 3]> {
    let margin = REACH + 4.0;
    let inside = |p: Point| {
        p.x > margin && p.y > margin && p.x < photo.width as f64 - margin && p.y < photo.height as f64 - margin
    };
    if !inside(a) || !inside(b) {
        return None;
    }
    let d = (b - a) * (1.0 / a.distance(b));
    let n = Point::new(-d.y, d.x);
    // Where the edge lies in every scan across, then a straight line through these places.
    let scans: Vec<(f64, f64)> =
        (0..LENGTH as usize).filter_map(|s| place(photo, a + d * s as f64, n, s as f64)).collect();
    let (offset, slope) = straight(scans)?;
    let bins = spread(photo, a, d, n, offset, slope)?;
    let (low, high) = (level(&bins, -13.0, -7.0)?, level(&bins, 7.0, 13.0)?);
    let (step, up) = ((high.0 - low.0).abs(), high.0 > low.0);
    if step < LEAST_STEP || low.1.max(high.1) > 0.1 * step {
        return None;
    }
    let esf: Vec<f64> = bins.iter().map(|v| if up { (v - low.0) / step } else { (low.0 - v) / step }).collect();
    let at = |t: f64| ((t + REACH) / BIN) as usize;
    let middle = (at(-4.0)..at(4.0)).find(|i| esf[*i] < 0.5 && esf[i + 1] >= 0.5)?;
    let back = (0..middle).rev().find(|i| esf[*i] < 0.1)?;
    let ahead = (middle..BINS).find(|i| esf[*i] > 0.9)?;
    let cross = |i: usize, v: f64| i as f64 + ((v - esf[i]) / (esf[i + 1] - esf[i])).clamp(0.0, 1.0);
    let rise = (cross(ahead - 1, 0.9) - cross(back, 0.1)) * BIN;
    // Mean of three bins: one bin's noise would always overshoot a little.
    let smooth = |i: usize| (esf[i - 1] + esf[i] + esf[i + 1]) / 3.0;
    let over = (middle..at(6.0)).map(smooth).fold(1.0, f64::max) - 1.0;
    let under = -(at(-6.0)..middle).map(smooth).fold(0.0, f64::min);
    Some([rise, over.min(under), nyquist(&esf)])
}

/// Steepest place of a scan across, px from the given line; `None` without a clear one.
fn place(photo: &Photo, p: Point, n: Point, s: f64) -> Option<(f64, f64)> {
    let v: Vec<f64> = (-20..=20).map(|t| bilinear(photo, p + n * (f64::from(t) * 0.5))).collect();
    let slope = |i: usize| v[i + 1] - v[i - 1];
    let i = (2..v.len() - 2).max_by(|a, b| slope(*a).abs().total_cmp(&slope(*b).abs()))?;
    let (l, m, r) = (slope(i - 1).abs(), slope(i).abs(), slope(i + 1).abs());
    let bend = l - 2.0 * m + r;
    let shift = if bend < 0.0 { (0.5 * (l - r) / bend).clamp(-0.5, 0.5) } else { 0.0 };
    (m > 4.0).then_some((s, (i as f64 + shift - 20.0) * 0.5))
}

fn bilinear(photo: &Photo, p: Point) -> f64 {
    let (x, y) = (p.x as usize, p.y as usize);
    let (fx, fy) = ((p.x - x as f64) as f32, (p.y - y as f64) as f32);
    let top = code(photo, x, y) * (1.0 - fx) + code(photo, x + 1, y) * fx;
    let low = code(photo, x, y + 1) * (1.0 - fx) + code(photo, x + 1, y + 1) * fx;
    f64::from(top * (1.0 - fy) + low * fy)
}

/// Line offset + slope s through most of the places; `None` when a third or more do not lie on one.
fn straight(mut scans: Vec<(f64, f64)>) -> Option<(f64, f64)> {
    let need = 0.67 * LENGTH;
    let middle = median(&scans.iter().map(|s| s.1).collect::<Vec<_>>())?;
    scans.retain(|s| (s.1 - middle).abs() < 4.0);
    let mut fit = (middle, 0.0);
    for gate in [2.0, 1.0, 0.7] {
        let (x, y): (Vec<f64>, Vec<f64>) = scans.iter().copied().unzip();
        let (a, b, _, _) = crate::stats::fit_line(&x, &y, None)?;
        fit = (a, b);
        scans.retain(|s| (s.1 - a - b * s.0).abs() < gate);
        if (scans.len() as f64) < need {
            return None;
        }
    }
    Some(fit)
}

/// Mean code value by distance from the edge, all photo pixels of the piece, nothing resampled. `None` where the edge runs
/// so straight along the pixels that bins near it stay empty.
fn spread(photo: &Photo, a: Point, d: Point, n: Point, offset: f64, slope: f64) -> Option<Vec<f64>> {
    let ends = [a, a + d * LENGTH].map(|p| [p + n * (REACH + 2.0), p - n * (REACH + 2.0)]).concat();
    let bound = |f: fn(f64, f64) -> f64, c: fn(&Point) -> f64| ends.iter().map(c).reduce(f).unwrap_or(0.0);
    let (x0, x1) = (bound(f64::min, |p| p.x).max(0.0) as usize, bound(f64::max, |p| p.x) as usize);
    let (y0, y1) = (bound(f64::min, |p| p.y).max(0.0) as usize, bound(f64::max, |p| p.y) as usize);
    let (mut sum, mut count) = (vec![0.0f64; BINS], vec![0u32; BINS]);
    let turn = 1.0 / slope.hypot(1.0);
    for y in y0..=y1.min(photo.height - 1) {
        for x in x0..=x1.min(photo.width - 1) {
            let q = Point::new(x as f64, y as f64) - a;
            let (s, t) = (q.x * d.x + q.y * d.y, q.x * n.x + q.y * n.y);
            if !(0.0..LENGTH).contains(&s) {
                continue;
            }
            let k = ((t - offset - slope * s) * turn + REACH) / BIN;
            if k >= 0.0 && (k as usize) < BINS {
                sum[k as usize] += f64::from(code(photo, x, y));
                count[k as usize] += 1;
            }
        }
    }
    count.iter().all(|c| *c >= 4).then(|| sum.iter().zip(&count).map(|(s, c)| s / f64::from(*c)).collect())
}

/// Median and scatter of the bins between two distances from the edge, px.
fn level(bins: &[f64], from: f64, to: f64) -> Option<(f64, f64)> {
    let at = |t: f64| ((t + REACH) / BIN) as usize;
    let v = &bins[at(from)..at(to)];
    Some((median(v)?, mad_sigma(v)?))
}

/// Response at half a cycle per pixel over that at zero: the line spread's transform, corrected for the difference of
/// neighbouring bins and for the bin's own width.
fn nyquist(esf: &[f64]) -> f64 {
    let middle = BINS / 2;
    let half = (6.0 / BIN) as usize;
    let (mut re, mut im, mut zero) = (0.0, 0.0, 0.0);
    for i in middle - half..middle + half {
        // Hann window of 12 px, and half a cycle per px.
        let u = (i as f64 + 0.5 - middle as f64) * BIN;
        let w = 0.5 + 0.5 * (std::f64::consts::PI * u / 6.0).cos();
        let v = (esf[i + 1] - esf[i]) * w;
        let (s, c) = (std::f64::consts::PI * u).sin_cos();
        (re, im, zero) = (re + v * c, im + v * s, zero + v);
    }
    // sinc of a quarter of a pixel at half a cycle per pixel, for the bin and for the difference.
    let half_angle = std::f64::consts::PI * 0.5 * BIN;
    let sinc = half_angle.sin() / half_angle;
    re.hypot(im) / zero.abs().max(1e-9) / (sinc * sinc)
}
