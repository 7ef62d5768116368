//! How strongly marks show in the photo: a matched filter of their relative brightness against everything else that
//! changes the brightness, tile by tile. Written in the spirit of a signal-to-noise figure for an ideal observer, with
//! an eye noise on top that sets the scale (36 dB: seen at once; under 29 dB: not at all).

use super::field::{Field, quantile};
use super::spec::Spec;

const N: usize = 128;

/// Contrast noise of the eye on a cell of 0.1 mm, as a share. Origin: set so that scenes like the practice ones get
/// figures within a few dB of theirs; twice the value would lower every figure by up to 6 dB.
const EYE: f64 = 0.15;

#[derive(Clone, Copy, Debug, Default)]
pub struct Seen {
    pub db: f64,
    pub contrast: f64,
    pub area: f64,
}

impl Seen {
    pub fn word(&self) -> &'static str {
        if self.db >= 36.0 {
            "yes"
        } else if self.db >= 29.0 {
            "faint"
        } else {
            "no"
        }
    }
}

fn fft(re: &mut [f64], im: &mut [f64]) {
    let n = re.len();
    let mut j = 0;
    for i in 1..n {
        let mut bit = n >> 1;
        while j & bit != 0 {
            j ^= bit;
            bit >>= 1;
        }
        j |= bit;
        if i < j {
            re.swap(i, j);
            im.swap(i, j);
        }
    }
    let mut len = 2;
    while len <= n {
        let (ws, wc) = (-std::f64::consts::TAU / len as f64).sin_cos();
        for i in (0..n).step_by(len) {
            let (mut a, mut b) = (1.0, 0.0);
            for k in 0..len / 2 {
                let (p, q) = (i + k, i + k + len / 2);
                let (x, y) = (re[q] * a - im[q] * b, re[q] * b + im[q] * a);
                (re[q], im[q]) = (re[p] - x, im[p] - y);
                re[p] += x;
                im[p] += y;
                (a, b) = (a * wc - b * ws, a * ws + b * wc);
            }
        }
        len <<= 1;
    }
}

/// Power of a windowed tile, per frequency.
fn power(tile: &[f64]) -> Vec<f64> {
    let mut re = tile.to_vec();
    let mut im = vec![0.0; N * N];
    for j in 0..N {
        fft(&mut re[j * N..(j + 1) * N], &mut im[j * N..(j + 1) * N]);
    }
    let (mut a, mut b) = (vec![0.0; N], vec![0.0; N]);
    for i in 0..N {
        for j in 0..N {
            (a[j], b[j]) = (re[j * N + i], im[j * N + i]);
        }
        fft(&mut a, &mut b);
        for j in 0..N {
            (re[j * N + i], im[j * N + i]) = (a[j], b[j]);
        }
    }
    re.iter().zip(&im).map(|(x, y)| x * x + y * y).collect()
}

/// Planes for the rating, all on the same grid.
pub struct Rating {
    /// Cell size, mm.
    g: f64,
    w: usize,
    h: usize,
    texture: Vec<f64>,
    lit: Vec<bool>,
    /// White noise of one cell (variance of the relative brightness).
    white: f64,
    /// Slope of the camera's curve: how much of a relative change survives.
    keep: f64,
    sigma: f64,
    pub lit_fraction: f64,
    pub texture_rms: f64,
}

fn reduce(f: &Field, c: usize) -> (usize, usize, Vec<f64>) {
    let (w, h) = (f.w / c, f.h / c);
    let mut v = vec![0.0; w * h];
    for j in 0..h {
        for i in 0..w {
            let mut s = 0.0;
            for b in 0..c {
                let k = (j * c + b) * f.w + i * c;
                s += f.v[k..k + c].iter().sum::<f32>() as f64;
            }
            v[j * w + i] = s / (c * c) as f64;
        }
    }
    (w, h, v)
}

impl Rating {
    /// `flat`: light on a floor without marks; `whole`: with marks and roughness; `clean`: with marks alone; `colour`:
    /// luminance of the floor's own colour; `pixel`: mm per photo pixel; `wide`: tile width wanted (mm).
    pub fn new(
        s: &Spec,
        flat: &Field,
        clean: &Field,
        whole: &Field,
        colour: impl Fn(f64, f64) -> f64,
        floor: &Field,
        pixel: f64,
        wide: f64,
    ) -> Self {
        let tile = wide.max(12.8);
        let c = ((tile / N as f64 / s.g).round() as usize).max(1);
        let g = c as f64 * s.g;
        let (w, h, e0) = reduce(flat, c);
        let (_, _, e1) = reduce(clean, c);
        let (_, _, e2) = reduce(whole, c);
        let ambient = s.light.ambient;
        let (mut lit, mut floor_cells) = (vec![false; w * h], 0);
        for j in 0..h {
            for i in 0..w {
                let (x, y) = (flat.x(i * c + c / 2), flat.y(j * c + c / 2));
                let on = [-0.35, 0.35].iter().all(|d| floor.near(x + d, y) < 50.0 && floor.near(x, y + d) < 50.0);
                floor_cells += usize::from(on);
                lit[j * w + i] = on && e0[j * w + i] > ambient + 0.55;
            }
        }
        let n = lit.iter().filter(|l| **l).count();
        let lum: Vec<f64> = (0..w * h)
            .map(|k| if lit[k] { colour(flat.x((k % w) * c + c / 2), flat.y((k / w) * c + c / 2)) } else { 0.0 })
            .collect();
        let mean = lum.iter().zip(&lit).filter(|q| *q.1).map(|q| q.0).sum::<f64>() / n.max(1) as f64;
        let texture: Vec<f64> = (0..w * h)
            .map(|k| if lit[k] { lum[k] / mean.max(1e-9) * e2[k] / e1[k].max(1e-9) - 1.0 } else { 0.0 })
            .collect();
        let cam = &s.camera;
        let l = cam.expo * 1.0;
        let keep = if l > 0.75 {
            let x = (-(l - 0.75) / 0.3).exp();
            l * 0.25 / 0.3 * x / (0.75 + 0.25 * (1.0 - x))
        } else {
            1.0
        };
        // Camera noise of a pixel, and what eight bits and the JPEG leave (about 0.8 %), brought to one cell.
        let shot = cam.noise * (0.7 * l + 0.03).sqrt() / l;
        let eight = 0.008 / l.min(1.0).powf(0.45);
        let white = (shot * shot + eight * eight) * (pixel / g).powi(2) + EYE * EYE * (0.1 / g).powi(2);
        let sigma = (cam.blur.powi(2) + 0.3).sqrt() * pixel / g;
        let mut q = Self {
            g,
            w,
            h,
            texture: vec![],
            lit,
            white,
            keep,
            sigma,
            lit_fraction: n as f64 / floor_cells.max(1) as f64,
            texture_rms: 0.0,
        };
        q.texture = q.soften(texture);
        let ss = q.texture.iter().map(|t| t * t).sum::<f64>();
        q.texture_rms = (ss / n.max(1) as f64).sqrt();
        q
    }
    fn soften(&self, v: Vec<f64>) -> Vec<f64> {
        let mut f: Vec<f32> = v.into_iter().map(|q| q as f32).collect();
        super::field::blur(&mut f, self.w, self.h, self.sigma.max(0.1));
        f.into_iter().map(f64::from).collect()
    }
    /// Relative change between two lights of the same floor, cell by cell, kept where `keep` says.
    pub fn change(&self, with: &Field, without: &Field, keep: impl Fn(f64, f64) -> bool) -> Vec<f64> {
        let c = (self.g / with.g).round() as usize;
        let ((_, _, a), (_, _, b)) = (reduce(with, c), reduce(without, c));
        let v = (0..self.w * self.h)
            .map(|k| {
                let on = self.lit[k] && keep(with.x((k % self.w) * c), with.y((k / self.w) * c));
                if on { (a[k] / b[k].max(1e-9) - 1.0).clamp(-1.0, 3.0) * self.keep } else { 0.0 }
            })
            .collect();
        self.soften(v)
    }
    /// A change of colour instead of light: `f` gives the relative change.
    pub fn colour_change(&self, f: impl Fn(f64, f64) -> f64) -> Vec<f64> {
        let v = (0..self.w * self.h).map(|k| {
            if self.lit[k] { f((k % self.w) as f64 * self.g, (k / self.w) as f64 * self.g) * self.keep } else { 0.0 }
        });
        self.soften(v.collect())
    }
    pub fn rate(&self, change: &[f64], against_texture: bool) -> Seen {
        let hann: Vec<f64> =
            (0..N).map(|i| 0.5 - 0.5 * (std::f64::consts::TAU * (i as f64 + 0.5) / N as f64).cos()).collect();
        let energy: f64 = hann.iter().map(|v| v * v).sum::<f64>().powi(2);
        let at = |v: &[f64], j0: usize, i0: usize| -> Vec<f64> {
            let mut t = vec![0.0; N * N];
            let (mut sum, mut wsum) = (0.0, 0.0);
            for j in 0..N.min(self.h - j0) {
                for i in 0..N.min(self.w - i0) {
                    let k = (j0 + j) * self.w + i0 + i;
                    if self.lit[k] {
                        let w = hann[j] * hann[i];
                        t[j * N + i] = v[k];
                        sum += w * v[k];
                        wsum += w;
                    }
                }
            }
            let m = sum / f64::max(wsum, 1e-9);
            for j in 0..N.min(self.h - j0) {
                for i in 0..N.min(self.w - i0) {
                    if self.lit[(j0 + j) * self.w + i0 + i] {
                        t[j * N + i] = (t[j * N + i] - m) * hann[j] * hann[i];
                    }
                }
            }
            t
        };
        let mut places = vec![];
        let step = N * 5 / 8;
        let last = |n: usize| n.saturating_sub(N);
        let along = |n: usize| {
            let mut v: Vec<usize> = (0..last(n)).step_by(step).collect();
            v.push(last(n));
            v
        };
        for j in along(self.h) {
            for i in along(self.w) {
                let mut n = 0;
                for b in 0..N.min(self.h - j) {
                    let k = (j + b) * self.w + i;
                    n += self.lit[k..k + N.min(self.w - i)].iter().filter(|l| **l).count();
                }
                if n * 10 > N * N * 4 {
                    places.push((j, i));
                }
            }
        }
        let n = self.lit.iter().filter(|l| **l).count().max(1) as f64;
        let contrast = (change.iter().map(|c| c * c).sum::<f64>() / n).sqrt();
        if places.is_empty() {
            return Seen { db: 0.0, contrast, area: 0.0 };
        }
        let mut noise = vec![0.0; N * N];
        if against_texture {
            for &(j, i) in &places {
                power(&at(&self.texture, j, i)).iter().zip(&mut noise).for_each(|(p, q)| *q += p / places.len() as f64);
            }
            noise = smooth(&noise);
        }
        let base = self.white * energy;
        let mut db: Vec<f32> = places
            .iter()
            .map(|&(j, i)| {
                let p = power(&at(change, j, i));
                let d2: f64 = p.iter().zip(&noise).skip(1).map(|(p, q)| p / (q + base)).sum();
                // The Hann window keeps 0.14 of the tile's power: back to the whole tile.
                (10.0 * (d2 / 0.14 / 1.0).max(1e-3).log10()) as f32
            })
            .collect();
        let area = db.iter().filter(|v| **v >= 36.0).count() as f64 / db.len() as f64;
        Seen { db: f64::from(quantile(&mut db, 0.93)), contrast, area }
    }
}

/// Means over five by five neighbouring frequencies, round the corner.
fn smooth(p: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; N * N];
    for j in 0..N {
        for i in 0..N {
            let mut s = 0.0;
            for b in 0..5 {
                for a in 0..5 {
                    s += p[(j + N + b - 2) % N * N + (i + N + a - 2) % N];
                }
            }
            out[j * N + i] = s / 25.0;
        }
    }
    out
}
