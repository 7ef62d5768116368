//! The reduced picture in which references are looked for: three logarithmic colour planes and their joint gradient.

use crate::geometry::Point;
use crate::photo::Photo;
use crate::raster::Plane;
use crate::raster::gaussian_blur;
use crate::raster::gradients;
use rayon::prelude::*;

/// Long side of the reduced picture, px. At 850 a card that fills a fifth of the photo has 90 px on its short side, enough
/// for lines to a quarter of a pixel; twice as much costs four times the time.
pub const LONG_SIDE: usize = 850;

/// Added to linear light before the logarithm: about sRGB code 25. Smaller values lift the noise of black shadows, larger
/// ones hide a black card in its own shadow.
pub const LOG_FLOOR: f32 = 0.01;

/// The reduced picture and its edges.
pub struct Edges {
    /// Photo pixels per reduced pixel (whole blocks).
    pub k: usize,
    /// Joint gradient of the three planes, natural-log units per reduced pixel.
    pub strength: Plane,
    /// Direction of steepest change, radians in (-pi/2, pi/2].
    pub normal: Plane,
    /// Logarithm of linear red, green and blue, row by row.
    colour: Vec<[f32; 3]>,
}

impl Edges {
    /// Photo pixel to reduced pixel coordinate (either axis).
    pub fn reduced(&self, px: f64) -> f64 {
        (px + 0.5) / self.k as f64 - 0.5
    }
    /// Mean of the logarithmic colour at `places` along the middle nine tenths of a stretch (the ends are rounded corners).
    pub fn mean_colour(&self, a: Point, b: Point, places: usize) -> [f64; 3] {
        let (w, h) = (self.strength.width, self.strength.height);
        let mut sum = [0.0; 3];
        for i in 0..places {
            let p = a.lerp(b, 0.05 + 0.9 * (i as f64 + 0.5) / places as f64);
            let (x, y) = ((p.x + 0.5) as usize, (p.y + 0.5) as usize);
            let here = self.colour[y.min(h - 1) * w + x.min(w - 1)];
            for c in 0..3 {
                sum[c] += f64::from(here[c]) / places as f64;
            }
        }
        sum
    }
    /// Reduced pixel coordinate to photo pixel.
    pub fn full(&self, px: f64) -> f64 {
        (px + 0.5) * self.k as f64 - 0.5
    }
}

/// sRGB code value to linear light (IEC 61966-2-1).
pub fn linear(code: usize) -> f32 {
    let c = code as f32 / 255.0;
    if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
}

/// Reduces the photo and takes the joint gradient of its logarithmic colour planes (Di Zenzo 1986: largest eigenvalue of
/// the summed gradient tensor). `long_side`: that of the reduced picture, px, to whole blocks. `None` for a photo under 64 px
/// on a side.
pub fn edges(photo: &Photo, long_side: usize) -> Option<Edges> {
    let (w, h) = (photo.rgb.width() as usize, photo.rgb.height() as usize);
    let k = ((w.max(h) as f64 / long_side as f64).round() as usize).max(1);
    let (rw, rh) = (w / k, h / k);
    if rw < 64 || rh < 64 {
        return None;
    }
    let codes: [f32; 256] = std::array::from_fn(linear);
    let raw = photo.rgb.as_raw();
    let norm = 1.0 / (k * k) as f32;
    let mut rows: Vec<[f32; 3]> = vec![[0.0; 3]; rw * rh];
    rows.par_chunks_mut(rw).enumerate().for_each(|(y, out)| {
        for j in 0..k {
            let row = &raw[3 * (y * k + j) * w..][..3 * rw * k];
            for (o, block) in out.iter_mut().zip(row.chunks_exact(3 * k)) {
                for p in block.chunks_exact(3) {
                    for c in 0..3 {
                        o[c] += codes[p[c] as usize];
                    }
                }
            }
        }
        for o in out.iter_mut() {
            *o = o.map(|v| (v * norm + LOG_FLOOR).ln());
        }
    });
    let (mut xx, mut yy, mut xy) = (vec![0f32; rw * rh], vec![0f32; rw * rh], vec![0f32; rw * rh]);
    for c in 0..3 {
        let plane = Plane { width: rw, height: rh, data: rows.iter().map(|v| v[c]).collect() };
        let (gx, gy) = gradients(&gaussian_blur(&plane, 0.8));
        for i in 0..rw * rh {
            xx[i] += gx.data[i] * gx.data[i];
            yy[i] += gy.data[i] * gy.data[i];
            xy[i] += gx.data[i] * gy.data[i];
        }
        if !photo.has_colour {
            break;
        }
    }
    let strength = Plane::from_fn(rw, rh, |x, y| {
        let i = y * rw + x;
        let (s, d) = ((xx[i] + yy[i]) / 2.0, (xx[i] - yy[i]) / 2.0);
        (s + d.hypot(xy[i])).sqrt()
    });
    let normal = Plane::from_fn(rw, rh, |x, y| {
        let i = y * rw + x;
        0.5 * (2.0 * xy[i]).atan2(xx[i] - yy[i])
    });
    Some(Edges { k, strength, normal, colour: rows })
}
