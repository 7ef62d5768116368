//! Robust statistics on small samples.

/// Median of the finite values; `None` when there is none.
pub fn median(values: &[f64]) -> Option<f64> {
    percentile(values, 50.0)
}

/// Linear-interpolated percentile (0 to 100) of the finite values, as numpy's default; `None` when there is none.
pub fn percentile(values: &[f64], p: f64) -> Option<f64> {
    let mut v: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
    if v.is_empty() {
        return None;
    }
    v.sort_by(f64::total_cmp);
    let at = (p / 100.0).clamp(0.0, 1.0) * (v.len() - 1) as f64;
    let (i, f) = (at.floor() as usize, at.fract());
    Some(if i + 1 < v.len() { v[i] * (1.0 - f) + v[i + 1] * f } else { v[i] })
}

/// Median absolute deviation times 1.4826: a standard deviation for normal data that ignores up to half of outliers.
pub fn mad_sigma(values: &[f64]) -> Option<f64> {
    let m = median(values)?;
    let d: Vec<f64> = values.iter().map(|v| (v - m).abs()).collect();
    median(&d).map(|m| 1.4826 * m)
}

/// Mean and sample standard deviation; `None` under two values.
pub fn mean_sd(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let m = values.iter().sum::<f64>() / n;
    let s = values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (n - 1.0);
    Some((m, s.sqrt()))
}

/// Least-squares line y = a + b x with weights; returns (a, b, sigma_a, sigma_b) where the sigmas come from the residual
/// scatter. `None` under three points or when all x agree.
pub fn fit_line(x: &[f64], y: &[f64], w: Option<&[f64]>) -> Option<(f64, f64, f64, f64)> {
    let n = x.len();
    if n < 3 || y.len() != n {
        return None;
    }
    let weight = |i: usize| w.map_or(1.0, |w| w[i]);
    let sw: f64 = (0..n).map(weight).sum();
    let mx = (0..n).map(|i| weight(i) * x[i]).sum::<f64>() / sw;
    let my = (0..n).map(|i| weight(i) * y[i]).sum::<f64>() / sw;
    let sxx: f64 = (0..n).map(|i| weight(i) * (x[i] - mx).powi(2)).sum();
    if !(sxx > 0.0) {
        return None;
    }
    let b = (0..n).map(|i| weight(i) * (x[i] - mx) * (y[i] - my)).sum::<f64>() / sxx;
    let a = my - b * mx;
    let rss: f64 = (0..n).map(|i| weight(i) * (y[i] - a - b * x[i]).powi(2)).sum();
    let s2 = rss / (n as f64 - 2.0).max(1.0) / (sw / n as f64);
    let sb = (s2 * sw / n as f64 / sxx).sqrt();
    Some((a, b, (s2 / n as f64 + (sb * mx).powi(2)).sqrt(), sb))
}

/// Draws in a fixed sequence (Knuth's 64-bit linear congruence), so that one photo always gives one answer.
pub struct Draws(u64);

impl Draws {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }
    /// A number under `n`, which is not 0.
    pub fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % n
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn median_and_mad_of_known_samples() {
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(&[f64::NAN]), None);
        assert_eq!(mad_sigma(&[1.0, 1.0, 1.0]), Some(0.0));
        assert_eq!(percentile(&[0.0, 10.0], 25.0), Some(2.5));
    }
    #[test]
    fn a_clean_line_is_fitted_exactly() {
        let x = [0.0, 1.0, 2.0, 3.0];
        let y = [1.0, 3.0, 5.0, 7.0];
        let (a, b, _, sb) = fit_line(&x, &y, None).unwrap();
        assert!((a - 1.0).abs() < 1e-12 && (b - 2.0).abs() < 1e-12 && sb < 1e-12);
        assert!(fit_line(&[1.0; 4], &y, None).is_none());
    }
}
