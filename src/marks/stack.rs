//! The floor summed along one direction: a stack of one-dimensional profiles, band by band.

use super::flatten::Flat;
use crate::raster::Plane;
use rayon::prelude::*;

/// Bins per sample of the view: at two, linear splitting keeps 0.93 of the amplitude at three samples a period.
const BINS_PER_SAMPLE: f64 = 2.0;

/// Samples summed along lines that run along the view's rows or columns before they are stacked.
const ALONG: usize = 4;
/// Largest sine of the turn off rows or columns for that: at 0.08 four samples spread by a tenth of a sample (rms).
const TURN: f64 = 0.08;

/// Share of the floor's smaller side over which the weight of lines is evened: half of the taper's ramp, so that a plain
/// pocket's weights stay nearly as the taper has them. Over less the gaps between letters would still show; over more the
/// floor's ends would get their inside's weight.
const EVEN_OVER: f64 = 1.0 / 16.0;
/// Largest factor of a line's weight. Noise falls with the root of what is left of a line: one of which letters leave a ninth
/// is lifted to the noise of a third of a line and no further, so that shreds do not drown whole lines.
const LIFT: f64 = 3.0;
/// Change of the weights, mean over all, from which evening is worth a second look: plain pockets have 0.01 to 0.08, floors
/// round letters 0.15 to 0.5.
const PLAIN: f64 = 0.1;

/// A plane with weights, ready to be stacked along any direction.
pub(super) struct Weighed {
    full: Grid,
    rows: Grid,
    columns: Grid,
}

/// (weight x value, weight), summed over blocks of `kx` by `ky` samples.
struct Grid {
    kx: usize,
    ky: usize,
    width: usize,
    data: Vec<[f32; 2]>,
}

impl Weighed {
    pub fn of(values: &Plane, weights: &Plane) -> Self {
        let full: Vec<[f32; 2]> = values.data.par_iter().zip(&weights.data).map(|(v, w)| [v * w, *w]).collect();
        let full = Grid { kx: 1, ky: 1, width: values.width, data: full };
        let rows = full.blocks(ALONG, 1, values.height);
        let columns = full.blocks(1, ALONG, values.height);
        Self { full, rows, columns }
    }
}

impl Grid {
    fn blocks(&self, kx: usize, ky: usize, height: usize) -> Self {
        let width = self.width.div_ceil(kx);
        let mut data = vec![[0.0f32; 2]; width * height.div_ceil(ky)];
        data.par_chunks_mut(width).enumerate().for_each(|(y, out)| {
            for row in (y * ky)..((y + 1) * ky).min(height) {
                let row = &self.data[row * self.width..(row + 1) * self.width];
                for (o, block) in out.iter_mut().zip(row.chunks(kx)) {
                    for v in block {
                        o[0] += v[0];
                        o[1] += v[1];
                    }
                }
            }
        });
        Self { kx, ky, width, data }
    }
}

/// Weighted sums of relative brightness over bins across the lines (`t`) in bands along them (`u`), both measured from
/// the middle of the used floor, floor-frame units. `t` grows along the normal, `u` a quarter turn further. Where `du` is 0 the
/// bands are no neighbours and there is no second axis.
#[derive(Clone)]
pub(super) struct Stack {
    pub normal_deg: f64,
    /// Where t and u are 0, floor frame.
    pub middle: crate::geometry::Point,
    pub t0: f64,
    pub dt: f64,
    pub bins: usize,
    pub u0: f64,
    pub du: f64,
    pub bands: usize,
    /// `bands` rows of `bins`.
    pub sum: Vec<f64>,
    pub weight: Vec<f64>,
}

impl Stack {
    /// Projects a plane with weights along the lines whose normal is `normal_deg`.
    pub fn of(flat: &Flat, floor: &Weighed, normal_deg: f64, bands: usize) -> Self {
        let (ny, nx) = normal_deg.to_radians().sin_cos();
        let [x0, y0, x1, y1] = flat.bounds;
        let (mut t_max, mut u_max) = (0.0f64, 0.0f64);
        let place = |x: f64, y: f64| {
            let p =
                crate::geometry::Point::new(flat.origin.x + x * flat.step, flat.origin.y + y * flat.step) - flat.middle;
            (p.x * nx + p.y * ny, p.y * nx - p.x * ny)
        };
        for (x, y) in [(x0, y0), (x1, y0), (x0, y1), (x1, y1)] {
            let (t, u) = place(x as f64, y as f64);
            t_max = t_max.max(t.abs());
            u_max = u_max.max(u.abs());
        }
        let du = 2.0 * u_max / bands as f64;
        // Blocks must not reach far over a band's end.
        let grid = if du < 2.0 * ALONG as f64 * flat.step {
            &floor.full
        } else if nx.abs() < TURN {
            &floor.rows
        } else if ny.abs() < TURN {
            &floor.columns
        } else {
            &floor.full
        };
        // A block at the border reaches half its length past the used floor.
        let slack = flat.step * ((grid.kx - 1) as f64 * nx.abs() + (grid.ky - 1) as f64 * ny.abs());
        let dt = flat.step / BINS_PER_SAMPLE;
        t_max += slack;
        let bins = (2.0 * t_max / dt).ceil() as usize + 3;
        let (t0, u0) = (-t_max - dt, -u_max);
        let (c0, c1) = (x0 / grid.kx, x1 / grid.kx);
        let rows: Vec<usize> = (y0 / grid.ky..=y1 / grid.ky).collect();
        let parts = rows.len().div_ceil(rayon::current_num_threads().clamp(1, 8)).max(1);
        let middle = |k: usize, i: usize| (i * k) as f64 + (k - 1) as f64 / 2.0;
        let cells = bins * bands;
        let both = rows
            .par_chunks(parts)
            .map(|rows| {
                let mut both = vec![[0.0f64; 2]; cells];
                for &y in rows {
                    let (t, u) = place(middle(grid.kx, c0), middle(grid.ky, y));
                    let (a0, b0) = ((t - t0) / dt, (u - u0) / du);
                    let (da, db) = (flat.step * nx / dt * grid.kx as f64, -flat.step * ny / du * grid.kx as f64);
                    for (i, v) in grid.data[y * grid.width + c0..=y * grid.width + c1].iter().enumerate() {
                        if v[1] > 0.0 {
                            let (a, b) = (a0 + da * i as f64, (b0 + db * i as f64).max(0.0));
                            let i = a as usize;
                            let f = a - i as f64;
                            let at = (b as usize).min(bands - 1) * bins + i;
                            let v = [f64::from(v[0]), f64::from(v[1])];
                            both[at][0] += v[0] * (1.0 - f);
                            both[at][1] += v[1] * (1.0 - f);
                            both[at + 1][0] += v[0] * f;
                            both[at + 1][1] += v[1] * f;
                        }
                    }
                }
                both
            })
            .reduce_with(|mut a, b| {
                a.iter_mut().zip(&b).for_each(|(x, y)| {
                    x[0] += y[0];
                    x[1] += y[1];
                });
                a
            })
            .unwrap_or_else(|| vec![[0.0; 2]; cells]);
        let (sum, weight) = both.iter().map(|v| (v[0], v[1])).unzip();
        Self { normal_deg, middle: flat.middle, t0, dt, bins, u0, du, bands, sum, weight }
    }
    /// The same lines with weights that change slowly across them, over [`EVEN_OVER`] of the floor's smaller side `extent`; `None`
    /// where that would change them by less than [`PLAIN`] in the mean. Letters and shadows take whole stretches of some lines
    /// out and leave others whole: a strong line's lobes then follow every jump of the weight, far from its own place in the
    /// spectrum. The mean of every line stays; its weight becomes the mean of its neighbours', at most [`LIFT`] times its own.
    pub fn evened(&self, extent: f64) -> Option<Self> {
        let (_, weight) = self.total();
        let row = Plane { width: self.bins, height: 1, data: weight.iter().map(|w| *w as f32).collect() };
        // Over a sample's length the weight is only how samples fell on bins.
        let own = crate::raster::gaussian_blur(&row, BINS_PER_SAMPLE as f32).data;
        let wide = crate::raster::gaussian_blur(&row, (EVEN_OVER * extent / self.dt) as f32).data;
        let moved: f64 = own.iter().zip(&wide).map(|(a, b)| f64::from((a - b).abs())).sum();
        if moved < PLAIN * weight.iter().sum::<f64>() {
            return None;
        }
        let mut out = self.clone();
        for i in 0..self.bins {
            let factor = if own[i] > 0.0 { f64::from(wide[i] / own[i]).min(LIFT) } else { 0.0 };
            for at in (i..out.sum.len()).step_by(self.bins) {
                out.sum[at] *= factor;
                out.weight[at] *= factor;
            }
        }
        Some(out)
    }
    /// One band by itself.
    pub fn band(&self, band: usize) -> Self {
        let row = band * self.bins..(band + 1) * self.bins;
        let (sum, weight) = (self.sum[row.clone()].to_vec(), self.weight[row].to_vec());
        Self { bands: 1, sum, weight, ..*self }
    }
    /// Middle of a band along the lines.
    pub fn u_at(&self, band: usize) -> f64 {
        self.u0 + (band as f64 + 0.5) * self.du
    }
    pub fn t_at(&self, bin: usize) -> f64 {
        self.t0 + bin as f64 * self.dt
    }
    /// Sums over all bands: (sum of weight x value, sum of weight) per bin.
    pub fn total(&self) -> (Vec<f64>, Vec<f64>) {
        let mut s = vec![0.0; self.bins];
        let mut w = vec![0.0; self.bins];
        for band in 0..self.bands {
            let r = band * self.bins..(band + 1) * self.bins;
            s.iter_mut().zip(&self.sum[r.clone()]).for_each(|(a, b)| *a += b);
            w.iter_mut().zip(&self.weight[r]).for_each(|(a, b)| *a += b);
        }
        (s, w)
    }
    /// Mean relative brightness per bin over all bands, `None` where less than a twentieth of the usual weight fell.
    pub fn mean_profile(&self) -> Vec<Option<f64>> {
        let (s, w) = self.total();
        let top = w.iter().copied().fold(0.0, f64::max);
        s.iter().zip(&w).map(|(s, w)| (*w > 0.05 * top && top > 0.0).then(|| s / w)).collect()
    }
    /// Takes an evenly spaced profile (64 samples over one period, phase 0 at t = 0) out of the sums, so that what is
    /// left can be searched again.
    pub fn remove(&mut self, f: f64, folded: &[f64]) {
        let n = folded.len() as f64;
        for i in 0..self.bins {
            let x = (self.t_at(i) * f).rem_euclid(1.0) * n;
            let (a, r) = (x as usize % folded.len(), x.fract());
            let v = folded[a] * (1.0 - r) + folded[(a + 1) % folded.len()] * r;
            for band in 0..self.bands {
                self.sum[band * self.bins + i] -= v * self.weight[band * self.bins + i];
            }
        }
    }
    /// First and last position with weight, and the weighted variances of t and u with their covariance.
    pub fn reach(&self) -> Reach {
        let (_, w) = self.total();
        let top = w.iter().copied().fold(0.0, f64::max);
        let first = w.iter().position(|v| *v > 0.02 * top).unwrap_or(0);
        let last = w.iter().rposition(|v| *v > 0.02 * top).unwrap_or(0);
        let (mut k, mut t1, mut t2, mut u1, mut u2, mut tu) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for band in 0..self.bands {
            let u = self.u_at(band);
            for i in 0..self.bins {
                let v = self.weight[band * self.bins + i];
                let t = self.t_at(i);
                k += v;
                t1 += v * t;
                t2 += v * t * t;
                u1 += v * u;
                u2 += v * u * u;
                tu += v * t * u;
            }
        }
        let k = if k > 0.0 { k } else { 1.0 };
        Reach {
            first: self.t_at(first),
            last: self.t_at(last),
            weight: k,
            var_t: (t2 / k - (t1 / k).powi(2)).max(1e-12),
            var_u: if self.du > 0.0 { (u2 / k - (u1 / k).powi(2)).max(1e-12) } else { 0.0 },
            cov: tu / k - t1 * u1 / (k * k),
        }
    }
}

/// How far the floor reaches across and along the lines.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reach {
    pub first: f64,
    pub last: f64,
    /// Sum of all weights, samples.
    pub weight: f64,
    pub var_t: f64,
    pub var_u: f64,
    pub cov: f64,
}

impl Reach {
    pub fn length(&self) -> f64 {
        self.last - self.first
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;

    /// Letters take most of every third stretch of lines: of the power of one wave, what lies away from its place falls to
    /// under a third, and its mean profile stays.
    #[test]
    fn evened_weights_keep_a_wave_in_its_place() {
        let (bins, dt, extent, f) = (1200, 0.05, 60.0, 0.5);
        let weight: Vec<f64> = (0..bins).map(|i| if i / 70 % 3 == 0 { 40.0 } else { 100.0 }).collect();
        let sum = (0..bins).map(|i| weight[i] * (std::f64::consts::TAU * f * i as f64 * dt).cos()).collect();
        let stack = Stack {
            normal_deg: 0.0,
            middle: Point::new(0.0, 0.0),
            t0: 0.0,
            dt,
            bins,
            u0: 0.0,
            du: 1.0,
            bands: 1,
            sum,
            weight,
        };
        let share_away = |s: &Stack| {
            let ray = super::super::search::Ray::of(s, None, dt, 4.0);
            let (mut away, mut all) = (0.0, 0.0);
            for (k, p) in ray.power.iter().enumerate() {
                all += p;
                if (k as f64 * ray.df - f).abs() > 3.0 / extent {
                    away += p;
                }
            }
            away / all
        };
        let evened = stack.evened(extent).unwrap();
        let (before, after) = (share_away(&stack), share_away(&evened));
        assert!(before > 0.05 && after < 0.3 * before, "{before} {after}");
        let (a, b) = (stack.mean_profile(), evened.mean_profile());
        for (a, b) in a.iter().zip(&b) {
            assert!((a.unwrap_or(0.0) - b.unwrap_or(0.0)).abs() < 1e-9);
        }
    }
}
