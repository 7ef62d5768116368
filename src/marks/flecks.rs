//! Torn fibre: short, strong flecks of light and dark, longer along the grain.

use super::flatten::{Flat, slow_mean};
use super::types::Flecks;
use crate::raster::Plane;
use crate::stats::{mad_sigma, median};
use crate::units::wrap_180;
use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

/// Least relative brightness change of a fleck: a fibre lifted by 4 um over a quarter of a millimetre under a lamp at 12
/// degrees. A rough cut has as much.
const LEAST: f32 = 0.08;
/// What is wider than this is no fibre, millimetres (one sigma of the mean that is taken off): growth rings, ridges.
const WIDE_MM: f64 = 0.5;
/// Noise sigmas a fleck stands out by.
const SIGMAS: f32 = 4.0;
/// Length of a fleck, millimetres: shorter is dust or noise, longer is a line or an edge.
const LENGTH: (f64, f64) = (0.8, 8.0);
/// Least length over width.
const SLENDER: f64 = 2.0;

pub(super) fn find(flat: &Flat) -> Flecks {
    // About 0.15 mm a sample.
    let k = ((0.15 * flat.unit / flat.step) as usize).max(1);
    let p = flat.rel.shrink(k);
    let (w, h) = (p.width, p.height);
    let step = flat.step * k as f64;
    let used = crate::raster::Mask::from_fn(w, h, |x, y| flat.used.at(x * k + k / 2, y * k + k / 2));
    let slow = slow_mean(&p, &used, (WIDE_MM * flat.unit / step) as f32);
    let fast = Plane::from_fn(w, h, |x, y| if used.at(x, y) { p.at(x, y) - slow.at(x, y) } else { 0.0 });
    let sample: Vec<f64> =
        fast.data.iter().zip(&used.data).filter(|(_, u)| **u).step_by(7).map(|(v, _)| f64::from(*v)).collect();
    let Some(noise) = mad_sigma(&sample) else { return Flecks::default() };
    let limit = LEAST.max(SIGMAS * noise as f32);
    // Dark and bright apart, so that the two flanks of one fibre are not one blob.
    let mut out = Flecks::default();
    let (mut areas, mut count, mut re, mut im) = ([0.0; 2], 0.0, 0.0, 0.0);
    let mut lengths = Vec::new();
    for (area, sign) in areas.iter_mut().zip([1.0f32, -1.0]) {
        let picture = GrayImage::from_fn(w as u32, h as u32, |x, y| {
            Luma([if fast.at(x as usize, y as usize) * sign > limit { 255 } else { 0 }])
        });
        let labels = connected_components(&picture, Connectivity::Eight, Luma([0u8]));
        let most = labels.pixels().map(|p| p.0[0]).max().unwrap_or(0) as usize;
        let mut m = vec![[0.0f64; 6]; most + 1];
        for (x, y, l) in labels.enumerate_pixels() {
            let i = l.0[0] as usize;
            if i > 0 {
                let (x, y) = (f64::from(x), f64::from(y));
                for (a, v) in m[i].iter_mut().zip([1.0, x, y, x * x, x * y, y * y]) {
                    *a += v;
                }
            }
        }
        for [n, x, y, xx, xy, yy] in m.into_iter().skip(1) {
            let (vx, vy, c) = (xx / n - (x / n).powi(2), yy / n - (y / n).powi(2), xy / n - x * y / (n * n));
            // A sample is one wide: its own variance is 1/12.
            let (mid, gap) = ((vx + vy) / 2.0 + 1.0 / 12.0, ((vx - vy) / 2.0).hypot(c));
            let (long, short) = ((mid + gap).sqrt(), (mid - gap).max(1.0 / 12.0).sqrt());
            // Length of a uniform bar: sqrt(12) standard deviations.
            let length = 12f64.sqrt() * long * step / flat.unit;
            if length < LENGTH.0 || length > LENGTH.1 || long / short < SLENDER {
                continue;
            }
            *area += n;
            count += 1.0;
            let a = 2.0 * 0.5 * (2.0 * c).atan2(vx - vy);
            re += n * a.cos();
            im += n * a.sin();
            lengths.push(length);
        }
    }
    let floor = used.count().max(1) as f64;
    // A lifted fibre has a lit and a dark flank; pores and dust are dark alone, chips of foil bright alone.
    out.fraction = 2.0 * areas[0].min(areas[1]) / floor;
    let area: f64 = areas.iter().sum();
    out.per_cm2 = count / (floor * (step / flat.unit).powi(2) / 100.0);
    // A common direction only: random directions of n flecks leave 1 / sqrt n.
    let common = re.hypot(im) / area.max(1.0) > (2.0 / f64::sqrt(count.max(1.0))).max(0.3);
    out.direction_deg = (common && median(&lengths).is_some()).then(|| wrap_180(0.5 * im.atan2(re).to_degrees()));
    out
}
