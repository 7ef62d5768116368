//! The two containers.

use rayon::prelude::*;

/// A plane of f32 samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    pub width: usize,
    pub height: usize,
    pub data: Vec<f32>,
}

impl Plane {
    pub fn new(width: usize, height: usize) -> Self {
        Self { width, height, data: vec![0.0; width * height] }
    }
    /// Fills a plane row by row in parallel: `f(x, y)`.
    pub fn from_fn(width: usize, height: usize, f: impl Fn(usize, usize) -> f32 + Sync) -> Self {
        let mut p = Self::new(width, height);
        if width > 0 {
            p.data
                .par_chunks_mut(width)
                .enumerate()
                .for_each(|(y, row)| row.iter_mut().enumerate().for_each(|(x, v)| *v = f(x, y)));
        }
        p
    }
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.data[y * self.width + x]
    }
    pub fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width..(y + 1) * self.width]
    }
    /// Bilinear sample at a fractional position; the border sample is held outside.
    #[inline]
    pub fn bilinear(&self, x: f64, y: f64) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f64);
        let y = y.clamp(0.0, (self.height - 1) as f64);
        // Over i32: a direct cast to usize costs more than the sample itself.
        let (x0, y0) = (x as i32 as usize, y as i32 as usize);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let (r0, r1) = (y0 * self.width, y1 * self.width);
        let top = self.data[r0 + x0] * (1.0 - fx) + self.data[r0 + x1] * fx;
        let bottom = self.data[r1 + x0] * (1.0 - fx) + self.data[r1 + x1] * fx;
        top * (1.0 - fy) + bottom * fy
    }
    /// Mean over whole `k` x `k` blocks (a remainder at the right and lower border is dropped).
    /// Sample (i, j) of the result is centred at ((i + 0.5) k - 0.5, (j + 0.5) k - 0.5) of the input.
    pub fn shrink(&self, k: usize) -> Self {
        if k <= 1 {
            return self.clone();
        }
        let (w, h) = (self.width / k, self.height / k);
        let norm = 1.0 / (k * k) as f32;
        let mut out = Self::new(w, h);
        if w > 0 {
            out.data.par_chunks_mut(w).enumerate().for_each(|(y, out)| {
                for j in 0..k {
                    for (o, block) in out.iter_mut().zip(self.row(y * k + j).chunks_exact(k)) {
                        *o += block.iter().sum::<f32>();
                    }
                }
                out.iter_mut().for_each(|o| *o *= norm);
            });
        }
        out
    }
}

/// A plane of yes and no.
#[derive(Debug, Clone, PartialEq)]
pub struct Mask {
    pub width: usize,
    pub height: usize,
    pub data: Vec<bool>,
}

impl Mask {
    pub fn new(width: usize, height: usize, value: bool) -> Self {
        Self { width, height, data: vec![value; width * height] }
    }
    pub fn from_fn(width: usize, height: usize, f: impl Fn(usize, usize) -> bool + Sync) -> Self {
        let mut m = Self::new(width, height, false);
        if width > 0 {
            m.data
                .par_chunks_mut(width)
                .enumerate()
                .for_each(|(y, row)| row.iter_mut().enumerate().for_each(|(x, v)| *v = f(x, y)));
        }
        m
    }
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> bool {
        self.data[y * self.width + x]
    }
    pub fn count(&self) -> usize {
        self.data.iter().filter(|v| **v).count()
    }
    /// True where any sample within the square of half width `r` is true (separable, exact).
    pub fn dilate(&self, r: usize) -> Self {
        self.spread(r, true)
    }
    /// True where every sample within the square of half width `r` is true.
    pub fn erode(&self, r: usize) -> Self {
        self.spread(r, false)
    }
    fn spread(&self, r: usize, value: bool) -> Self {
        let w = self.width;
        if r == 0 || !self.data.contains(&value) {
            return self.clone();
        }
        let r = u32::try_from(r).unwrap_or(u32::MAX - 1);
        // `last` = distance since the value was seen, first forwards, then backwards; columns go side by side, row by row.
        let mut m = self.clone();
        m.data.par_chunks_mut(w).zip(self.data.par_chunks(w)).for_each(|(out, src)| {
            let mut pass = |last: &mut u32, x: usize| {
                *last = if src[x] == value { 0 } else { last.saturating_add(1) };
                if *last <= r {
                    out[x] = value;
                }
            };
            let (mut ahead, mut back) = (u32::MAX, u32::MAX);
            (0..w).for_each(|x| pass(&mut ahead, x));
            (0..w).rev().for_each(|x| pass(&mut back, x));
        });
        let src = m.data.clone();
        let mut pass = |last: &mut [u32], y: usize| {
            let (out, src) = (&mut m.data[y * w..(y + 1) * w], &src[y * w..(y + 1) * w]);
            for ((o, s), last) in out.iter_mut().zip(src).zip(last) {
                *last = if *s == value { 0 } else { last.saturating_add(1) };
                *o = if *last <= r { value } else { *o };
            }
        };
        let (mut ahead, mut back) = (vec![u32::MAX; w], vec![u32::MAX; w]);
        (0..self.height).for_each(|y| pass(&mut ahead, y));
        (0..self.height).rev().for_each(|y| pass(&mut back, y));
        m
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn shrink_averages_blocks() {
        let p = Plane::from_fn(4, 2, |x, y| (x + 10 * y) as f32);
        let s = p.shrink(2);
        assert_eq!((s.width, s.height), (2, 1));
        assert_eq!(s.data, vec![5.5, 7.5]);
    }
    #[test]
    fn bilinear_is_exact_on_a_ramp() {
        let p = Plane::from_fn(5, 5, |x, y| x as f32 + 2.0 * y as f32);
        assert!((p.bilinear(1.25, 2.5) - 6.25).abs() < 1e-6);
        assert_eq!(p.bilinear(-3.0, 0.0), 0.0);
    }
    #[test]
    fn erosion_undoes_dilation_of_a_block() {
        let m = Mask::from_fn(20, 20, |x, y| (8..12).contains(&x) && (8..12).contains(&y));
        assert_eq!(m.dilate(3).count(), 100);
        assert_eq!(m.dilate(3).erode(3), m);
        assert_eq!(m.erode(2).count(), 0);
    }
}
