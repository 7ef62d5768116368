//! Light or colour: relief changes all channels alike, wood figure changes their ratios.

use super::flatten::Flat;
use super::types::{Family, PeriodKind};
use crate::floor::Patch;
use crate::raster::{Mask, Plane, masked_blur};
use crate::units::Measured;
use rayon::prelude::*;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Change of ln(R/G) or ln(B/G) per relative change of light above which lines are colour. Relief stays under a few per
/// cent (tone curves work channel by channel); stained or late wood changes by a tenth and more.
const COLOURED: f64 = 0.08;

/// Luma and colour ratios of the used floor at the chroma planes' resolution, slow changes taken out.
pub(super) struct Colours {
    used: Mask,
    /// Relative brightness, ln(R/G), ln(B/G), each free of slow changes.
    planes: [Plane; 3],
    step: f64,
    origin: (f64, f64),
}

impl Colours {
    /// `None` for grey photos.
    pub fn of(patch: &Patch, flat: &Flat) -> Option<Self> {
        let (red, blue) = patch.view.chroma.as_ref()?;
        // To about 0.15 mm: figure and ridges alike are wider, and noise in the ratios averages out.
        let k0 = patch.view.chroma_shrink.max(1);
        let more = ((0.15 * flat.unit / (flat.step * k0 as f64)) as usize).max(1);
        let k = k0 * more;
        let light = flat.rel.shrink(k);
        let logs = |p: &Plane| {
            let p = Plane { width: p.width, height: p.height, data: p.data.iter().map(|v| v.max(1e-3).ln()).collect() };
            p.shrink(more)
        };
        let (red, blue) = (logs(red), logs(blue));
        let (w, h) = (light.width.min(red.width), light.height.min(red.height));
        if w < 8 || h < 8 {
            return None;
        }
        let used = Mask::from_fn(w, h, |x, y| {
            [(0, 0), (k - 1, 0), (0, k - 1), (k - 1, k - 1)].iter().all(|(a, b)| flat.used.at(x * k + a, y * k + b))
        });
        if used.count() < 100 {
            return None;
        }
        let step = flat.step * k as f64;
        let sigma = (4.0 * flat.unit / step) as f32;
        let cut = |p: &Plane| {
            let p = Plane::from_fn(w, h, |x, y| p.at(x, y));
            let slow = masked_blur(&p, &used, sigma);
            Plane::from_fn(w, h, |x, y| if used.at(x, y) { p.at(x, y) - slow.at(x, y) } else { 0.0 })
        };
        let half = (k as f64 - 1.0) / 2.0 * flat.step;
        let origin = (flat.origin.x + half - flat.middle.x, flat.origin.y + half - flat.middle.y);
        Some(Self { planes: [cut(&light), cut(&red), cut(&blue)], used, step, origin })
    }

    /// Sums of all three planes times exp(-2 pi i f t).
    fn wave(&self, f: f64, normal_deg: f64) -> [Complex64; 3] {
        let (ny, nx) = normal_deg.to_radians().sin_cos();
        let turn = Complex64::from_polar(1.0, -TAU * f * nx * self.step);
        (0..self.used.height)
            .into_par_iter()
            .map(|y| {
                let t = self.origin.0 * nx + (self.origin.1 + y as f64 * self.step) * ny;
                let mut e = Complex64::from_polar(1.0, -TAU * f * t);
                let mut s = [Complex64::default(); 3];
                for x in 0..self.used.width {
                    for (s, p) in s.iter_mut().zip(&self.planes) {
                        *s += e * f64::from(p.at(x, y));
                    }
                    e *= turn;
                }
                s
            })
            .reduce(|| [Complex64::default(); 3], |a, b| [a[0] + b[0], a[1] + b[1], a[2] + b[2]])
    }

    /// Chromatic share of a straight family and what it says.
    pub fn judge(&self, f: &Family, extent: f64) -> (Option<Measured>, PeriodKind) {
        let (mut light, mut red, mut blue, mut red_noise, mut blue_noise) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for h in [1.0, 2.0] {
            let frequency = h / f.pitch.value;
            if frequency * self.step > 0.4 {
                continue;
            }
            let [l, r, b] = self.wave(frequency, f.normal_deg.value);
            light += l.norm_sqr();
            red += (r * l.conj()).re;
            blue += (b * l.conj()).re;
            for d in [-5.0, -3.0, 3.0, 5.0] {
                let [_, r, b] = self.wave(frequency + d / extent, f.normal_deg.value);
                red_noise += r.norm_sqr() / 8.0 * l.norm_sqr();
                blue_noise += b.norm_sqr() / 8.0 * l.norm_sqr();
            }
        }
        if light <= 0.0 {
            return (None, PeriodKind::Unsure);
        }
        let variance = (red_noise + blue_noise) / (light * light);
        let square = (red * red + blue * blue) / (light * light);
        let Some(share) = Measured::new((square - variance).max(0.0).sqrt(), variance.sqrt()) else {
            return (None, PeriodKind::Unsure);
        };
        let kind = if share.value - 2.0 * share.sigma > COLOURED {
            PeriodKind::Colour
        } else if share.value + share.sigma < COLOURED {
            PeriodKind::Relief
        } else {
            PeriodKind::Unsure
        };
        (Some(share), kind)
    }

    /// Change of colour ratio per relative change of light over the whole floor between about 0.3 and 8 mm.
    pub fn overall(&self) -> Option<f64> {
        let [l, r, b] = &self.planes;
        let dot = |p: &Plane, q: &Plane| p.data.iter().zip(&q.data).map(|(a, b)| f64::from(a * b)).sum::<f64>();
        let power = dot(l, l);
        (power > 0.0).then(|| (dot(r, l) / power).hypot(dot(b, l) / power))
    }
}
