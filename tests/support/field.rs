//! A plain grid of numbers over the pocket frame (millimetres), cell centres at `x0 + i g`.

pub type P = [f64; 2];

#[derive(Clone)]
pub struct Field {
    pub w: usize,
    pub h: usize,
    pub x0: f64,
    pub y0: f64,
    pub g: f64,
    pub v: Vec<f32>,
}

impl Field {
    pub fn new(x0: f64, y0: f64, x1: f64, y1: f64, g: f64, fill: f32) -> Self {
        let (w, h) = (((x1 - x0) / g).ceil() as usize + 1, ((y1 - y0) / g).ceil() as usize + 1);
        Self { w, h, x0, y0, g, v: vec![fill; w * h] }
    }
    pub fn like(&self, fill: f32) -> Self {
        Self { v: vec![fill; self.v.len()], ..*self }
    }
    pub fn x(&self, i: usize) -> f64 {
        self.x0 + i as f64 * self.g
    }
    pub fn y(&self, j: usize) -> f64 {
        self.y0 + j as f64 * self.g
    }
    /// Fills every cell from its place; rows in parallel.
    pub fn fill(&mut self, f: impl Fn(f64, f64) -> f32 + Sync) {
        use rayon::prelude::*;
        let (w, x0, y0, g) = (self.w, self.x0, self.y0, self.g);
        self.v.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
            for (i, q) in row.iter_mut().enumerate() {
                *q = f(x0 + i as f64 * g, y0 + j as f64 * g);
            }
        });
    }
    pub fn inside(&self, x: f64, y: f64) -> bool {
        let (u, v) = ((x - self.x0) / self.g, (y - self.y0) / self.g);
        u >= 0.0 && v >= 0.0 && u <= (self.w - 1) as f64 && v <= (self.h - 1) as f64
    }
    /// Nearest cell, clamped.
    pub fn near(&self, x: f64, y: f64) -> f32 {
        let i = ((x - self.x0) / self.g + 0.5).clamp(0.0, (self.w - 1) as f64) as usize;
        let j = ((y - self.y0) / self.g + 0.5).clamp(0.0, (self.h - 1) as f64) as usize;
        self.v[j * self.w + i]
    }
    /// Bilinear, clamped.
    pub fn at(&self, x: f64, y: f64) -> f32 {
        let u = ((x - self.x0) / self.g).clamp(0.0, (self.w - 1) as f64 - 1e-6);
        let v = ((y - self.y0) / self.g).clamp(0.0, (self.h - 1) as f64 - 1e-6);
        let (i, j) = (u as usize, v as usize);
        let (a, b) = ((u - i as f64) as f32, (v - j as f64) as f32);
        let k = j * self.w + i;
        let (p, q) = (self.v[k] + (self.v[k + 1] - self.v[k]) * a, self.v[k + self.w]);
        let q = q + (self.v[k + self.w + 1] - q) * a;
        p + (q - p) * b
    }
    pub fn transposed(&self) -> Self {
        let mut t = Self { w: self.h, h: self.w, x0: self.y0, y0: self.x0, g: self.g, v: vec![0.0; self.v.len()] };
        for jb in (0..self.h).step_by(32) {
            for ib in (0..self.w).step_by(32) {
                for j in jb..(jb + 32).min(self.h) {
                    for i in ib..(ib + 32).min(self.w) {
                        t.v[i * self.h + j] = self.v[j * self.w + i];
                    }
                }
            }
        }
        t
    }
    /// Gaussian blur, sigma in cells, edges clamped.
    pub fn blur(&mut self, sigma: f64) {
        if sigma > 0.05 {
            blur(&mut self.v, self.w, self.h, sigma);
        }
    }
}

/// Separable Gaussian on a plane of `w` x `h`, sigma in cells, edges clamped.
pub fn blur(v: &mut [f32], w: usize, h: usize, sigma: f64) {
    use rayon::prelude::*;
    let r = (3.2 * sigma).ceil() as usize;
    let mut k: Vec<f32> = (0..=2 * r).map(|i| (-0.5 * ((i as f64 - r as f64) / sigma).powi(2)).exp() as f32).collect();
    let s: f32 = k.iter().sum();
    k.iter_mut().for_each(|q| *q /= s);
    v.par_chunks_mut(w).for_each(|row| {
        let mut p = vec![row[0]; r];
        p.extend_from_slice(row);
        p.extend(std::iter::repeat_n(row[w - 1], r));
        for (i, q) in row.iter_mut().enumerate() {
            *q = p[i..i + 2 * r + 1].iter().zip(&k).map(|(a, b)| a * b).sum();
        }
    });
    let src = v.to_vec();
    v.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        row.fill(0.0);
        for (t, kk) in k.iter().enumerate() {
            let jj = (j + t).saturating_sub(r).min(h - 1);
            for (q, s) in row.iter_mut().zip(&src[jj * w..jj * w + w]) {
                *q += kk * s;
            }
        }
    });
}

pub fn median(v: &mut [f32]) -> f32 {
    quantile(v, 0.5)
}

/// Quantile of a list (it is partly sorted); 0 for an empty one.
pub fn quantile(v: &mut [f32], q: f64) -> f32 {
    if v.is_empty() {
        return 0.0;
    }
    let k = ((v.len() - 1) as f64 * q).round() as usize;
    *v.select_nth_unstable_by(k, |a, b| a.total_cmp(b)).1
}
