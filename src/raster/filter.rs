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
        return columns_kernel(&rows_kernel(p, &k), &k);
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
    if r == 0 || p.data.is_empty() {
        return p.clone();
    }
    columns_box(&rows_box(p, r), r)
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
    let (mut gx, mut gy) = (Plane::new(w, h), Plane::new(w, h));
    if w == 0 || h == 0 {
        return (gx, gy);
    }
    gx.data.par_chunks_mut(w).zip(p.data.par_chunks(w)).for_each(|(o, row)| {
        if w == 1 {
            return;
        }
        for (o, v) in o[1..w - 1].iter_mut().zip(row.windows(3)) {
            *o = (v[2] - v[0]) * 0.5;
        }
        o[0] = row[1] - row[0];
        o[w - 1] = row[w - 1] - row[w - 2];
    });
    gy.data.par_chunks_mut(w).enumerate().for_each(|(y, o)| {
        let (above, below) = (y.saturating_sub(1), (y + 1).min(h - 1));
        let k = if below - above == 2 { 0.5 } else { 1.0 };
        for ((o, a), b) in o.iter_mut().zip(p.row(above)).zip(p.row(below)) {
            *o = (b - a) * k;
        }
    });
    (gx, gy)
}

/// Samples that are summed side by side: their sums stay in registers.
const BESIDE: usize = 32;

/// Sums `weights` times what `sample` holds for each of them, [`BESIDE`] samples at a time.
fn weigh<'a>(out: &mut [f32], weights: &[f32], sample: impl Fn(usize) -> &'a [f32]) {
    for (block, o) in out.chunks_mut(BESIDE).enumerate() {
        let from = block * BESIDE;
        let mut sums = [0f32; BESIDE];
        for (j, weight) in weights.iter().enumerate() {
            let values = &sample(j)[from..from + o.len()];
            // The same sums twice: of a length known beforehand, they become few wide instructions.
            if let Ok(values) = <&[f32; BESIDE]>::try_from(values) {
                sums.iter_mut().zip(values).for_each(|(s, v)| *s += v * weight);
            } else {
                sums.iter_mut().zip(values).for_each(|(s, v)| *s += v * weight);
            }
        }
        o.copy_from_slice(&sums[..o.len()]);
    }
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
            weigh(o, k, |j| &pad[j..j + w]);
        },
    );
    out
}

fn columns_kernel(p: &Plane, k: &[f32]) -> Plane {
    let (w, r) = (p.width, k.len() / 2);
    let mut out = Plane::new(w, p.height);
    out.data
        .par_chunks_mut(w)
        .enumerate()
        .for_each(|(y, o)| weigh(o, k, |j| p.row((y + j).saturating_sub(r).min(p.height - 1))));
    out
}

/// Rows whose running sums go side by side: each waits for its own last sum alone.
const ROWS: usize = 4;

fn rows_box(p: &Plane, r: usize) -> Plane {
    let w = p.width;
    let mut out = Plane::new(w, p.height);
    let norm = 1.0 / (2 * r + 1) as f64;
    let last = w as isize - 1;
    out.data.par_chunks_mut(ROWS * w).zip(p.data.par_chunks(ROWS * w)).for_each(|(o, i)| {
        let rows = i.len() / w;
        let at = |k: usize, x: isize| f64::from(i[k * w + x.clamp(0, last) as usize]);
        let mut sums = [0f64; ROWS];
        for (k, s) in sums[..rows].iter_mut().enumerate() {
            *s = (-(r as isize)..=r as isize).map(|x| at(k, x)).sum();
        }
        for x in 0..w {
            for (k, s) in sums[..rows].iter_mut().enumerate() {
                o[k * w + x] = (*s * norm) as f32;
                *s += at(k, (x + r + 1) as isize) - at(k, x as isize - r as isize);
            }
        }
    });
    out
}

/// Columns whose running sums go side by side: a cache line of samples, four times.
const STRIP: usize = 64;

fn columns_box(p: &Plane, r: usize) -> Plane {
    let (w, h) = (p.width, p.height);
    let norm = 1.0 / (2 * r + 1) as f64;
    let strips: Vec<Vec<f32>> = (0..w.div_ceil(STRIP))
        .into_par_iter()
        .map(|strip| {
            let (from, to) = (strip * STRIP, ((strip + 1) * STRIP).min(w));
            let row = |y: isize| &p.row(y.clamp(0, h as isize - 1) as usize)[from..to];
            let mut sums = [0f64; STRIP];
            for y in -(r as isize)..=r as isize {
                sums.iter_mut().zip(row(y)).for_each(|(s, v)| *s += f64::from(*v));
            }
            let mut out = vec![0f32; (to - from) * h];
            for (y, o) in out.chunks_mut(to - from).enumerate() {
                let (next, past) = (row((y + r + 1) as isize), row(y as isize - r as isize));
                for (((o, s), n), p) in o.iter_mut().zip(&mut sums).zip(next).zip(past) {
                    *o = (*s * norm) as f32;
                    *s += f64::from(*n) - f64::from(*p);
                }
            }
            out
        })
        .collect();
    let mut out = Plane::new(w, h);
    out.data.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for (o, strip) in row.chunks_mut(STRIP).zip(&strips) {
            o.copy_from_slice(&strip[y * o.len()..(y + 1) * o.len()]);
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
    /// A filter's sums in the plainest way, border samples held.
    fn plain(p: &Plane, k: &[f32]) -> Plane {
        let r = k.len() as isize / 2;
        let held = |v: isize, n: usize| v.clamp(0, n as isize - 1) as usize;
        let rows = Plane::from_fn(p.width, p.height, |x, y| {
            k.iter().zip(-r..).map(|(k, d)| k * p.at(held(x as isize + d, p.width), y)).sum()
        });
        Plane::from_fn(p.width, p.height, |x, y| {
            k.iter().zip(-r..).map(|(k, d)| k * rows.at(x, held(y as isize + d, p.height))).sum()
        })
    }
    #[test]
    fn filters_are_the_sums_of_their_definition_whatever_the_size() {
        // Wider and narrower than what is summed side by side, and than the filter.
        for (w, h) in [(150, 70), (33, 5), (3, 131), (1, 1), (2, 6)] {
            let p = Plane::from_fn(w, h, |x, y| ((x * 31 + y * 17) % 23) as f32 - 0.1 * x as f32);
            let near = |a: &Plane, b: &Plane| a.data.iter().zip(&b.data).all(|(a, b)| (a - b).abs() < 1e-4);
            for r in [1, 4, 40] {
                assert!(near(&box_blur(&p, r), &plain(&p, &vec![1.0 / (2 * r + 1) as f32; 2 * r + 1])), "{w} {h} {r}");
            }
            let k: Vec<f32> = (-6..=6).map(|i| (-(i as f32).powi(2) / 4.5).exp()).collect();
            let sum: f32 = k.iter().sum();
            let k: Vec<f32> = k.iter().map(|v| v / sum).collect();
            assert!(near(&gaussian_blur(&p, 1.5), &plain(&p, &k)), "{w} {h}");
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
