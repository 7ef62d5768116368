//! Frequency of a periodic signal from all its harmonics together.
//!
//! Non-linear least squares: with noise of power `noise` around harmonic h the likelihood of a fundamental f is
//! sum_h |Z_h(f)|^2 / noise_h, Z_h the signal's sum against exp(-2 pi i h f t), each harmonic with its own amplitude and
//! phase. Its maximum reaches the Cramer-Rao bound (Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591-598, for
//! one tone), var(2 pi f) = 1 / (2 sum_h h^2 rho_h var(t)), rho_h = |Z_h|^2 / noise_h. The same maximum is taken over a
//! second axis u along the lines, where there is one: a wrong direction then leaves no error in the frequency.

use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Newton steps; from within half a cell three are usual.
const STEPS: usize = 12;
/// Points per cell on the grid that is looked through first: between two the power falls by 5 % at most.
const GRID: i32 = 4;

/// Sums of a signal over cells of a grid, demodulated at h times a first frequency: row by row along `u`, `t` fastest.
#[derive(Debug, Clone)]
pub struct Harmonic {
    /// 1 for the fundamental.
    pub number: f64,
    /// Mean power of the noise in the sum over all cells.
    pub noise: f64,
    pub cells: Vec<Complex64>,
}

/// Middles of the cells and the spread of the weight over them, any unit of length.
#[derive(Debug, Clone)]
pub struct Cells {
    pub t: Vec<f64>,
    /// One entry (0) where there is no second axis.
    pub u: Vec<f64>,
    pub var_t: f64,
    pub var_u: f64,
    pub cov: f64,
}

/// Where the likelihood is largest: offsets from the first frequency, cycles per unit, with one-sigma uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Offset {
    pub along_t: f64,
    pub along_u: f64,
    pub sigma_t: f64,
    pub sigma_u: f64,
    /// sum of h^2 rho_h over the harmonics that take part.
    pub information: f64,
}

impl Cells {
    /// A cell of the transform along t and u: the width of a uniform spread's main lobe.
    fn lobe(&self) -> (f64, f64) {
        let of = |var: f64| if var > 0.0 { 1.0 / (12.0 * var).sqrt() } else { 0.0 };
        (of(self.var_t), of(self.var_u))
    }

    /// Sum of one harmonic at an offset.
    pub fn sum(&self, h: &Harmonic, along_t: f64, along_u: f64) -> Complex64 {
        self.moments(h, along_t, along_u, 0)[0]
    }

    /// Sums of z, t z, u z, t t z, t u z, u u z; the first only when `order` is 0.
    fn moments(&self, h: &Harmonic, along_t: f64, along_u: f64, order: usize) -> [Complex64; 6] {
        let turn: Vec<Complex64> =
            self.t.iter().map(|t| Complex64::from_polar(1.0, -TAU * h.number * along_t * t)).collect();
        let mut out = [Complex64::default(); 6];
        for (row, u) in h.cells.chunks(self.t.len()).zip(&self.u) {
            let (mut s, mut st, mut stt) = (Complex64::default(), Complex64::default(), Complex64::default());
            for ((z, e), t) in row.iter().zip(&turn).zip(&self.t) {
                let v = z * e;
                s += v;
                if order > 0 {
                    st += v * t;
                    stt += v * (t * t);
                }
            }
            let e = Complex64::from_polar(1.0, -TAU * h.number * along_u * u);
            let (s, st, stt) = (s * e, st * e, stt * e);
            for (o, v) in out.iter_mut().zip([s, st, s * u, stt, st * u, s * (u * u)]) {
                *o += v;
            }
        }
        out
    }

    /// Likelihood, gradient and Hessian (tt, tu, uu) over the harmonics that take part.
    fn likelihood(&self, these: &[&Harmonic], at: (f64, f64)) -> (f64, [f64; 2], [f64; 3]) {
        let (mut q, mut g, mut c) = (0.0, [0.0; 2], [0.0; 3]);
        for h in these {
            let k = TAU * h.number;
            let [z, t, u, tt, tu, uu] = self.moments(h, at.0, at.1, 1);
            let n = h.noise;
            q += z.norm_sqr() / n;
            // d/dt of z is -i k (t z): the real part of conj(z) times it is k Im(conj(z) t z).
            g[0] += 2.0 * k * (z.conj() * t).im / n;
            g[1] += 2.0 * k * (z.conj() * u).im / n;
            let second =
                |a: Complex64, b: Complex64, ab: Complex64| 2.0 * k * k * ((a.conj() * b).re - (z.conj() * ab).re) / n;
            c[0] += second(t, t, tt);
            c[1] += second(t, u, tu);
            c[2] += second(u, u, uu);
        }
        (q, g, c)
    }

    /// The strongest harmonic's maximum within `reach` cells of where the sums were made: (along t, along u).
    pub fn coarse(&self, harmonics: &[Harmonic], reach: f64) -> Option<(f64, f64)> {
        let ratio = |h: &Harmonic| self.sum(h, 0.0, 0.0).norm_sqr() / h.noise;
        let lead = harmonics.iter().max_by(|a, b| ratio(a).total_cmp(&ratio(b)))?;
        let (ct, cu) = self.lobe();
        let n = (reach * f64::from(GRID)).ceil() as i32;
        let m = if cu > 0.0 { n } else { 0 };
        let scale = 1.0 / f64::from(GRID) / lead.number;
        // Row sums for every step along t once, then every step along u.
        let mut best = (0.0, 0.0, 0.0);
        for i in -n..=n {
            let a = f64::from(i) * ct * scale;
            let turn: Vec<Complex64> =
                self.t.iter().map(|t| Complex64::from_polar(1.0, -TAU * lead.number * a * t)).collect();
            let rows: Vec<Complex64> = lead
                .cells
                .chunks(self.t.len())
                .map(|row| row.iter().zip(&turn).map(|(z, e)| z * e).sum::<Complex64>())
                .collect();
            for j in -m..=m {
                let b = f64::from(j) * cu * scale;
                let z: Complex64 = rows
                    .iter()
                    .zip(&self.u)
                    .map(|(z, u)| z * Complex64::from_polar(1.0, -TAU * lead.number * b * u))
                    .sum();
                if z.norm_sqr() > best.2 {
                    best = (a, b, z.norm_sqr());
                }
            }
        }
        Some((best.0, best.1))
    }

    /// Moves `at` to the likelihood's nearest maximum.
    fn climb(&self, these: &[&Harmonic], at: &mut (f64, f64)) {
        let (ct, cu) = self.lobe();
        let top = these.iter().map(|h| h.number).fold(1.0, f64::max);
        let (mut q, mut g, mut c) = self.likelihood(these, *at);
        for _ in 0..STEPS {
            let mut step = newton(g, c, (ct / top, cu / top));
            let mut moved = false;
            for _ in 0..6 {
                let next = (at.0 + step.0, at.1 + step.1);
                let (nq, ng, nc) = self.likelihood(these, next);
                if nq >= q {
                    (*at, q, g, c, moved) = (next, nq, ng, nc, true);
                    break;
                }
                step = (step.0 / 4.0, step.1 / 4.0);
            }
            if !moved || (step.0.abs() < 1e-4 * ct / top && step.1.abs() <= 1e-4 * cu / top) {
                break;
            }
        }
    }

    /// The maximum of all harmonics together near `start`; `None` without harmonics. A harmonic takes part when its power is
    /// `least` times its noise where the others place it: a peak of the noise would pull, and the more the higher its number.
    pub fn refine(&self, harmonics: &[Harmonic], start: (f64, f64), least: f64) -> Option<Offset> {
        let strongest = harmonics
            .iter()
            .max_by(|a, b| {
                let r = |h: &Harmonic| self.sum(h, start.0, start.1).norm_sqr() / h.noise;
                r(a).total_cmp(&r(b))
            })?
            .number;
        let mut at = start;
        let mut these: Vec<&Harmonic> = harmonics.iter().filter(|h| h.number == strongest).collect();
        // Alone first, then one by one with those that stand out where the ones before them lead.
        self.climb(&these, &mut at);
        let mut rest: Vec<&Harmonic> = harmonics.iter().filter(|h| h.number != strongest).collect();
        rest.sort_by(|a, b| a.number.total_cmp(&b.number));
        for h in rest {
            if self.sum(h, at.0, at.1).norm_sqr() > least * h.noise {
                these.push(h);
                self.climb(&these, &mut at);
            }
        }
        Some(self.at_maximum(&these, at))
    }

    /// The maximum of all harmonics together near `start`, within half a cell: where they are chosen already.
    pub fn together(&self, harmonics: &[Harmonic], start: (f64, f64)) -> Offset {
        let these: Vec<&Harmonic> = harmonics.iter().collect();
        let mut at = start;
        self.climb(&these, &mut at);
        self.at_maximum(&these, at)
    }

    /// What the Cramer-Rao bound leaves of doubt at a maximum.
    fn at_maximum(&self, these: &[&Harmonic], at: (f64, f64)) -> Offset {
        let information: f64 = these
            .iter()
            .map(|h| h.number * h.number * (self.sum(h, at.0, at.1).norm_sqr() / h.noise - 1.0).max(0.0))
            .sum::<f64>()
            .max(0.5);
        // Inverse of the 2 x 2 information; without a second axis only the first counts.
        let k = 2.0 * information * TAU * TAU;
        let det = self.var_t * self.var_u - self.cov * self.cov;
        let (vt, vu) = if det > 0.0 {
            (self.var_u / det / k, self.var_t / det / k)
        } else {
            (1.0 / self.var_t.max(1e-300) / k, 0.0)
        };
        Offset { along_t: at.0, along_u: at.1, sigma_t: vt.sqrt(), sigma_u: vu.sqrt(), information }
    }
}

/// One step towards the maximum, at most half a cell of the highest harmonic.
fn newton(g: [f64; 2], c: [f64; 3], cell: (f64, f64)) -> (f64, f64) {
    let limit = |v: f64, cell: f64| v.clamp(-0.5 * cell, 0.5 * cell);
    if cell.1 <= 0.0 {
        let step = if c[0] < 0.0 { -g[0] / c[0] } else { 0.25 * cell.0 * g[0].signum() };
        return (limit(step, cell.0), 0.0);
    }
    let det = c[0] * c[2] - c[1] * c[1];
    let step = if c[0] < 0.0 && det > 0.0 {
        (-(c[2] * g[0] - c[1] * g[1]) / det, -(c[0] * g[1] - c[1] * g[0]) / det)
    } else {
        // Not yet on the top: uphill by a quarter of a cell.
        let n = (g[0] * cell.0).hypot(g[1] * cell.1).max(1e-300);
        (0.25 * cell.0 * cell.0 * g[0] / n, 0.25 * cell.1 * cell.1 * g[1] / n)
    };
    (limit(step.0, cell.0), limit(step.1, cell.1))
}
