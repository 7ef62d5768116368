//! Smoothing and gradients. Long Gaussians are three box passes; short ones are a sampled kernel.

use super::{Mask, Plane};
use rayon::prelude::*;

/// Gaussian smoothing, sigma in samples. Under 3 samples: sampled kernel cut at 4 sigma. Above: three box passes of
/// matching variance (Wells 1986), whose error against the Gaussian is under 3 % of its peak. Border samples are held (by each box for itself, so within 3
/// sigma of the border the boxes give the border sample less weight than one long kernel would).
pub fn gaussian_blur(p: &Plane, sigma: f32) -> Plane {
    if !(sigma > 0.0) || p.data.is_empty() {
        return p.clone();
    }
    if sigma < 3.0 {
        let r = (4.0 * sigma).ceil() as isize;
        let k: Vec<f32> = (-r..=r).map(|i| (-(i as f32).powi(2) / (2.0 * sigma * sigma)).exp()).collect();
        let s: f32 = k.iter().sum();
        let k: Vec<f32> = k.iter().map(|v| v / s).collect();
        return transpose(&rows_kernel(&transpose(&rows_kernel(p, &k)), &k));
    }
    // Widths of three boxes with total variance sigma^2.
    let ideal = (4.0 * sigma * sigma + 1.0).sqrt();
    let lo = ((ideal as usize).max(1) - 1) | 1;
    let m = ((12.0 * sigma * sigma - (3 * lo * lo + 12 * lo + 9) as f32) / -(4.0 * lo as f32 + 4.0))
        .round()
        .clamp(0.0, 3.0) as usize;
    let mut q = p.clone();
    for pass in 0..3 {
        q = box_blur(&q, if pass < m { lo / 2 } else { lo / 2 + 1 });
    }
    q
}

/// Mean over a square of half width `r` (side 2 r + 1), border samples held.
pub fn box_blur(p: &Plane, r: usize) -> Plane {
    transpose(&rows_box(&transpose(&rows_box(p, r)), r))
}

/// Gaussian-weighted mean of the samples under the mask only; where nothing is near, 0.
pub fn masked_blur(p: &Plane, mask: &Mask, sigma: f32) -> Plane {
    let m =
        Plane { width: p.width, height: p.height, data: mask.data.iter().map(|b| f32::from(u8::from(*b))).collect() };
    let v = Plane {
        width: p.width,
        height: p.height,
        data: p.data.iter().zip(&m.data).map(|(v, m)| if *m > 0.0 { *v } else { 0.0 }).collect(),
    };
    let (num, den) = (gaussian_blur(&v, sigma), gaussian_blur(&m, sigma));
    Plane {
        width: p.width,
        height: p.height,
        data: num.data.iter().zip(&den.data).map(|(n, d)| if *d > 1e-4 { n / d } else { 0.0 }).collect(),
    }
}

/// Central differences (dx, dy), value per sample; one-sided at the border.
pub fn gradients(p: &Plane) -> (Plane, Plane) {
    let (w, h) = (p.width, p.height);
    let gx = Plane::from_fn(w, h, |x, y| {
        let (a, b) = (x.saturating_sub(1), (x + 1).min(w - 1));
        if a == b { 0.0 } else { (p.at(b, y) - p.at(a, y)) / (b - a) as f32 }
    });
    let gy = Plane::from_fn(w, h, |x, y| {
        let (a, b) = (y.saturating_sub(1), (y + 1).min(h - 1));
        if a == b { 0.0 } else { (p.at(x, b) - p.at(x, a)) / (b - a) as f32 }
    });
    (gx, gy)
}

fn rows_kernel(p: &Plane, k: &[f32]) -> Plane {
    let (w, r) = (p.width, k.len() / 2);
    let mut out = Plane::new(w, p.height);
    out.data.par_chunks_mut(w).zip(p.data.par_chunks(w)).for_each_init(
        || vec![0.0f32; w + 2 * r],
        |pad, (o, i)| {
            pad[..r].fill(i[0]);
            pad[r..r + w].copy_from_slice(i);
            pad[r + w..].fill(i[w - 1]);
            for (x, v) in o.iter_mut().enumerate() {
                *v = pad[x..x + k.len()].iter().zip(k).map(|(a, b)| a * b).sum();
            }
        },
    );
    out
}

fn rows_box(p: &Plane, r: usize) -> Plane {
    let w = p.width;
    let mut out = Plane::new(w, p.height);
    if r == 0 {
        out.data.copy_from_slice(&p.data);
        return out;
    }
    let norm = 1.0 / (2 * r + 1) as f64;
    out.data.par_chunks_mut(w).zip(p.data.par_chunks(w)).for_each(|(o, i)| {
        let at = |x: isize| f64::from(i[x.clamp(0, w as isize - 1) as usize]);
        let mut s: f64 = (-(r as isize)..=r as isize).map(at).sum();
        for x in 0..w {
            o[x] = (s * norm) as f32;
            s += at((x + r + 1) as isize) - at(x as isize - r as isize);
        }
    });
    out
}

fn transpose(p: &Plane) -> Plane {
    let (w, h) = (p.width, p.height);
    let mut out = Plane::new(h, w);
    // Blocks of 32 rows keep both sides in cache.
    out.data.par_chunks_mut(h * 32).enumerate().for_each(|(b, chunk)| {
        for y0 in (0..h).step_by(32) {
            for (i, row) in chunk.chunks_mut(h).enumerate() {
                let x = b * 32 + i;
                for y in y0..(y0 + 32).min(h) {
                    row[y] = p.data[y * w + x];
                }
            }
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn blurs_keep_the_mean_and_have_the_stated_width() {
        for sigma in [1.5f32, 6.0] {
            let mut p = Plane::new(101, 101);
            p.data[50 * 101 + 50] = 1.0;
            let b = gaussian_blur(&p, sigma);
            let total: f32 = b.data.iter().sum();
            assert!((total - 1.0).abs() < 1e-3, "{total}");
            let var: f32 =
                (0..101).map(|x| (0..101).map(|y| b.at(x, y)).sum::<f32>() * (x as f32 - 50.0).powi(2)).sum();
            assert!((var.sqrt() / sigma - 1.0).abs() < 0.05, "sigma {sigma}: {}", var.sqrt());
        }
    }
    #[test]
    fn gradients_of_a_ramp_are_its_slopes() {
        let p = Plane::from_fn(9, 7, |x, y| 2.0 * x as f32 - 3.0 * y as f32);
        let (gx, gy) = gradients(&p);
        assert!(gx.data.iter().all(|v| (v - 2.0).abs() < 1e-5) && gy.data.iter().all(|v| (v + 3.0).abs() < 1e-5));
    }
    #[test]
    fn a_masked_mean_does_not_see_what_is_masked() {
        let p = Plane::from_fn(40, 40, |x, _| if x < 20 { 1.0 } else { 100.0 });
        let m = Mask::from_fn(40, 40, |x, _| x < 20);
        assert!(masked_blur(&p, &m, 4.0).data[5 * 40 + 19] - 1.0 < 1e-3);
    }
}
