//! Edges across a line at full size: profiles of the photo along a normal, and the places of their steps.

use super::edges::LOG_FLOOR;
use super::edges::linear;
use crate::geometry::Point;
use crate::photo::Photo;

/// Weakest step, natural-log units per px, of the joint gradient of a profile. At full size the noise of one averaged
/// profile is near 0.01; a step of 8 % blurred over three pixels gives 0.03.
const WEAKEST: f32 = 0.02;

/// Weakest step against the strongest of its profile. Sharpening in the camera leaves side steps of a tenth to a sixth.
const FAINTER: f32 = 0.2;

/// Longest half profile, px: a card as large as a 48 MP photo asks for 130.
const LONGEST_PX: f64 = 150.0;

/// Profile samples per px.
const PER_PX: usize = 2;

/// A step across the normal.
#[derive(Debug, Clone, Copy)]
pub struct Step {
    /// Place along the normal, px from the start point, positive outwards.
    pub offset: f64,
    /// Joint gradient, natural-log units per px.
    pub strength: f32,
}

/// Reads profiles of one photo.
pub struct Profiler<'a> {
    photo: &'a Photo,
    linear: [f32; 256],
}

impl<'a> Profiler<'a> {
    pub fn new(photo: &'a Photo) -> Self {
        Self { photo, linear: std::array::from_fn(linear) }
    }
    fn sample(&self, x: f64, y: f64) -> [f32; 3] {
        let (w, h) = (self.photo.rgb.width() as usize, self.photo.rgb.height() as usize);
        let (x, y) = (x.clamp(0.0, (w - 1) as f64), y.clamp(0.0, (h - 1) as f64));
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
        let raw = self.photo.rgb.as_raw();
        let px = |x: usize, y: usize, c: usize| self.linear[raw[3 * (y * w + x) + c] as usize];
        std::array::from_fn(|c| {
            (px(x0, y0, c) * (1.0 - fx) + px(x1, y0, c) * fx) * (1.0 - fy)
                + (px(x0, y1, c) * (1.0 - fx) + px(x1, y1, c) * fx) * fy
        })
    }
    /// Whether a point lies in the photo, `margin` px from its border.
    pub fn holds(&self, p: Point, margin: f64) -> bool {
        let (w, h) = (self.photo.width as f64, self.photo.height as f64);
        p.x >= margin && p.y >= margin && p.x <= w - 1.0 - margin && p.y <= h - 1.0 - margin
    }
    /// Steps within `reach` px on either side of `at` along the unit vector `normal`, averaged over `wide` px along the
    /// edge; from the inside outwards. The place of a step is the centroid of its gradient in linear light, along the
    /// colour direction of its steepest point.
    pub fn steps(&self, at: Point, normal: Point, reach: f64, wide: f64) -> Vec<Step> {
        if !(reach > 0.0 && [at.x, at.y, normal.x, normal.y].iter().all(|v| v.is_finite())) {
            return vec![];
        }
        let n = (reach.min(LONGEST_PX) * PER_PX as f64).ceil() as usize * 2 + 1;
        // Two pixels more on either side for the differences.
        let pad = 2 * PER_PX;
        let taps = (wide.round() as i32).clamp(1, 9);
        let along = Point::new(-normal.y, normal.x);
        let mut values = vec![[0f32; 3]; n + 2 * pad];
        for (i, v) in values.iter_mut().enumerate() {
            let t = (i as f64 - ((n - 1) / 2 + pad) as f64) / PER_PX as f64;
            for s in 0..taps {
                let s = (f64::from(s) - f64::from(taps - 1) / 2.0) * wide / f64::from(taps);
                let p = at + normal * t + along * s;
                let q = self.sample(p.x, p.y);
                for c in 0..3 {
                    v[c] += q[c] / taps as f32;
                }
            }
        }
        let (mut slope, mut weight) = (vec![[0f32; 3]; n], vec![[0f32; 3]; n]);
        let mut strength = vec![0f32; n];
        for i in 0..n {
            let j = i + pad;
            for c in 0..3 {
                slope[i][c] = (values[j + PER_PX][c] - values[j - PER_PX][c]) / 2.0;
                let mean = (values[j - pad][c]
                    + values[j - PER_PX][c]
                    + values[j][c]
                    + values[j + PER_PX][c]
                    + values[j + pad][c])
                    / 5.0;
                weight[i][c] = 1.0 / (mean + LOG_FLOOR);
                strength[i] += (slope[i][c] * weight[i][c]).powi(2);
            }
            strength[i] = (strength[i] / 3.0).sqrt();
        }
        let least = strength.iter().fold(0f32, |a, b| a.max(*b)).mul_add(FAINTER, 0.0).max(WEAKEST);
        let mut out = vec![];
        for i in 1..n.saturating_sub(1) {
            let s = strength[i];
            if s < least || s < strength[i - 1] || s <= strength[i + 1] {
                continue;
            }
            let along: [f32; 3] = std::array::from_fn(|c| slope[i][c] * weight[i][c] * weight[i][c]);
            let joint = |k: usize| (0..3).map(|c| slope[k][c] * along[c]).sum::<f32>();
            let low = 0.2 * joint(i);
            let (mut a, mut b) = (i, i);
            while a > 0 && i - a < 3 * PER_PX && joint(a - 1) > low {
                a -= 1;
            }
            while b + 1 < n && b - i < 3 * PER_PX && joint(b + 1) > low {
                b += 1;
            }
            let (mut m, mut w) = (0.0, 0.0);
            for k in a..=b {
                let g = f64::from(joint(k));
                m += g * k as f64;
                w += g;
            }
            let offset = (m / w - ((n - 1) / 2) as f64) / PER_PX as f64;
            out.push(Step { offset, strength: s });
        }
        out
    }
}
