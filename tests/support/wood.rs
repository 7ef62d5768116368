//! Colours of the stock: growth rings cut by the plane, fibre along the grain, mottling. Linear light, not sRGB.

use super::noise::{hash, octaves, value1, value2};
use super::spec::Spec;

pub type Rgb = [f32; 3];

pub struct Stock {
    kind: &'static str,
    grain: (f64, f64),
    ring: f64,
    figure: f32,
    pith: (f64, f64),
    slope: f64,
    seed: u32,
    tint: [f32; 3],
}

fn mix(a: Rgb, b: Rgb, t: f32) -> Rgb {
    std::array::from_fn(|k| a[k] + (b[k] - a[k]) * t)
}

impl Stock {
    pub fn new(s: &Spec) -> Self {
        let seed = (s.seed as u32).wrapping_mul(31) ^ 0x77;
        let u = |k: i32| f64::from(hash(k, 1, 2, seed)) * 0.5 + 0.5;
        // Pith far below (flat-sawn, bent figure) or to the side (quarter-sawn, straight lines).
        let side = u(1);
        let pith = ((side - 0.5) * 180.0, 30.0 + 90.0 * u(2));
        let tint = std::array::from_fn(|k| 1.0 + 0.06 * hash(k as i32, 9, 9, seed));
        Self {
            kind: s.material,
            grain: s.grain.to_radians().sin_cos(),
            ring: s.ring_mm,
            figure: s.figure as f32,
            pith,
            slope: 0.03 + 0.12 * u(3),
            seed,
            tint,
        }
    }
    fn along(&self, x: f64, y: f64) -> (f64, f64) {
        (x * self.grain.1 + y * self.grain.0, y * self.grain.1 - x * self.grain.0)
    }
    /// Share of late wood at a place, 0..1: uneven, bent rings.
    pub fn late(&self, x: f64, y: f64, z: f64) -> f32 {
        let (a, c) = self.along(x, y);
        let sd = self.seed;
        let bend =
            7.0 * f64::from(value2(a / 95.0, c / 50.0, sd + 3)) + 0.7 * f64::from(value2(a / 24.0, c / 10.0, sd + 4));
        let d = (c - self.pith.0 + 0.35 * bend, z + self.pith.1 + self.slope * a + bend);
        let r = d.0.hypot(d.1) / self.ring;
        let r = r + 0.8 * f64::from(value1(r / 2.3, sd + 8)) + 0.35 * f64::from(value1(r, sd + 9));
        let t = (r - r.floor()) as f32;
        let strong = 0.7 + 0.3 * hash(r.floor() as i32, 4, 4, sd);
        // Slow rise through the year, quick fall.
        strong * if t < 0.86 { (t / 0.86).powi(3) } else { (1.0 - t) / 0.14 }
    }
    fn fibre(&self, x: f64, y: f64) -> f32 {
        let (a, c) = self.along(x, y);
        0.6 * value2(a / 7.0, c / 0.28, self.seed + 20) + 0.4 * value2(a / 2.2, c / 0.13, self.seed + 21)
    }
    fn pores(&self, x: f64, y: f64, wide: f64, long: f64, share: f32) -> f32 {
        let (a, c) = self.along(x, y);
        let k = (c / wide).floor();
        let off = f64::from(hash(k as i32, 0, 6, self.seed));
        let cell = ((a + off * long * 3.0) / long).floor();
        if hash(cell as i32, k as i32, 7, self.seed) > 1.0 - 2.0 * share { 1.0 } else { 0.0 }
    }
    /// Colour at a place of the stock.
    pub fn colour(&self, x: f64, y: f64, z: f64) -> Rgb {
        let c = match self.kind {
            "mdf" => {
                let m =
                    octaves(x / 6.0, y / 6.0, 4, self.seed) * 0.15 + value2(x / 0.45, y / 0.45, self.seed + 1) * 0.05;
                let speck = if hash((x / 0.3).floor() as i32, (y / 0.3).floor() as i32, 0, self.seed + 2) > 0.985 {
                    -0.12
                } else {
                    0.0
                };
                let k = 1.0 + self.figure * (m + speck);
                [0.46 * k, 0.335 * k, 0.20 * (k * 1.02 - 0.02)]
            }
            "foam" => {
                let k = 1.0
                    + 0.035 * octaves(x / 0.6, y / 0.6, 2, self.seed)
                    + 0.02 * octaves(x / 25.0, y / 25.0, 2, self.seed + 1);
                [0.56 * k, 0.53 * k, 0.40 * k]
            }
            "plastic" => {
                let k = 1.0 + 0.012 * octaves(x / 20.0, y / 20.0, 2, self.seed);
                if self.tint[0] > 1.0 { [0.62 * k, 0.63 * k, 0.64 * k] } else { [0.07 * k, 0.18 * k, 0.30 * k] }
            }
            "aluminium" => {
                let k = 1.0 + 0.10 * self.fibre(x, y) + 0.03 * octaves(x / 12.0, y / 12.0, 2, self.seed);
                [0.50 * k, 0.505 * k, 0.515 * k]
            }
            wood => {
                let late = self.late(x, y, z) * self.figure;
                let f = self.fibre(x, y);
                let cloud = octaves(x / 38.0, y / 38.0, 2, self.seed + 12);
                let (early, dark, fib, pore): (Rgb, Rgb, f32, f32) = match wood {
                    "pine" => ([0.66, 0.50, 0.28], [0.43, 0.25, 0.095], 0.05, 0.0),
                    "oak" => {
                        ([0.50, 0.36, 0.20], [0.37, 0.245, 0.12], 0.07, self.pores(x, y, 0.22, 2.6, 0.05 + 0.10 * late))
                    }
                    "beech" => {
                        ([0.52, 0.345, 0.225], [0.44, 0.275, 0.165], 0.05, self.pores(x, y, 0.2, 1.1, 0.05) * 0.6)
                    }
                    "plywood" => ([0.60, 0.47, 0.31], [0.51, 0.37, 0.22], 0.06, 0.0),
                    _ => ([0.60, 0.49, 0.345], [0.51, 0.385, 0.245], 0.04, 0.0),
                };
                let c = mix(early, dark, late.clamp(0.0, 1.0));
                let k = (1.0 + fib * f + 0.05 * cloud) * (1.0 - 0.22 * pore);
                [c[0] * k, c[1] * k, c[2] * (k - 0.3 * fib * f)]
            }
        };
        std::array::from_fn(|k| (c[k] * self.tint[k]).clamp(0.004, 0.95))
    }
    /// Relative brightness change of the figure alone, for rating how strongly it shows.
    pub fn figure_at(&self, x: f64, y: f64, z: f64) -> f32 {
        self.late(x, y, z) * self.figure
    }
    pub fn is_wood(kind: &str) -> bool {
        matches!(kind, "pine" | "oak" | "beech" | "maple" | "plywood")
    }
}
