//! Surface figures of a height profile in the terms of the standards: Gaussian filter (ISO 16610-21), Ra, Rq, Rz and RSm
//! (ISO 4287:1997, kept in ISO 21920-2:2021), cut-off (table of ISO 4288:1996). The standards are cited from memory; the
//! table was seen in a stylus instrument maker's manual.

/// alpha of the Gaussian filter, sqrt(ln 2 / pi): half the amplitude passes at the cut-off.
const ALPHA: f64 = 0.469_718_639_3;
/// Height, as a share of Rz, under which a peak or valley is no profile element of its own (ISO 4287, 4.3.7).
const ELEMENT: f64 = 0.1;

/// Figures of a roughness profile, in the unit of its heights; `rsm` in that of its positions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Arithmetic mean deviation.
    pub ra: f64,
    /// Root mean square deviation.
    pub rq: f64,
    /// Largest peak to valley within one sampling length, mean over all of them.
    pub rz: f64,
    /// Mean width of the profile elements; `None` with fewer than two.
    pub rsm: Option<f64>,
}

/// Cut-off for a periodic profile by its RSm, both mm; `None` outside the standard's table (0.013 to 4 mm).
pub fn cut_off_mm(rsm_mm: f64) -> Option<f64> {
    const TABLE: [(f64, f64); 5] = [(0.04, 0.08), (0.13, 0.25), (0.4, 0.8), (1.3, 2.5), (4.0, 8.0)];
    (rsm_mm > 0.013).then(|| TABLE.iter().find(|row| rsm_mm <= row.0).map(|row| row.1))?
}

/// Sampling lengths that make an evaluation length (ISO 4288).
pub const SAMPLING_LENGTHS: usize = 5;

/// The Gaussian filter's mean line, samples `dx` apart, cut-off `lc` in the same unit. Near the ends the weights that fall
/// on the profile are used alone.
pub fn mean_line(z: &[f64], dx: f64, lc: f64) -> Vec<f64> {
    // Beyond one cut-off the weight is 7e-7 of its peak.
    let reach = (lc / dx).ceil() as usize;
    let weight: Vec<f64> =
        (0..=reach).map(|k| (-std::f64::consts::PI * (k as f64 * dx / (ALPHA * lc)).powi(2)).exp()).collect();
    (0..z.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(reach), (i + reach).min(z.len() - 1));
            let (s, w) = (from..=to).fold((0.0, 0.0), |(s, w), k| {
                let g = weight[i.abs_diff(k)];
                (s + g * z[k], w + g)
            });
            s / w
        })
        .collect()
}

/// The roughness profile: what is left over the mean line, half a cut-off at either end left out. Empty where nothing is
/// left.
pub fn roughness(z: &[f64], dx: f64, lc: f64) -> Vec<f64> {
    let ends = (lc / dx / 2.0).ceil() as usize;
    if z.len() <= 2 * ends {
        return vec![];
    }
    let mean = mean_line(z, dx, lc);
    (ends..z.len() - ends).map(|i| z[i] - mean[i]).collect()
}

/// Figures of a roughness profile over whole sampling lengths `lc`, at most five, from its start; `None` when it is shorter
/// than one.
pub fn figures(r: &[f64], dx: f64, lc: f64) -> Option<Figures> {
    let section = (lc / dx).round() as usize;
    let n = (r.len() / section.max(1)).min(SAMPLING_LENGTHS);
    if n == 0 || section < 2 {
        return None;
    }
    let r = &r[..n * section];
    let mean = |f: &dyn Fn(&[f64]) -> f64| r.chunks_exact(section).map(f).sum::<f64>() / n as f64;
    let ra = mean(&|s| s.iter().map(|v| v.abs()).sum::<f64>() / section as f64);
    let rq = mean(&|s| (s.iter().map(|v| v * v).sum::<f64>() / section as f64).sqrt());
    let rz = mean(&|s| {
        let (low, high) = s.iter().fold((0.0f64, 0.0f64), |(l, h), v| (l.min(*v), h.max(*v)));
        high - low
    });
    Some(Figures { ra, rq, rz, rsm: element_width(r, ELEMENT * rz).map(|w| w * dx) })
}

/// Mean width of profile elements, samples: from one upward crossing of the mean line to the next, where the profile went
/// past `least` on either side in between.
fn element_width(r: &[f64], least: f64) -> Option<f64> {
    let mut ups: Vec<f64> = vec![];
    // The last upward crossing, taken once the profile has gone high enough after it; whether it was low enough before.
    let (mut crossing, mut was_low) = (None, false);
    for (i, w) in r.windows(2).enumerate() {
        if w[0] <= 0.0 && w[1] > 0.0 {
            crossing = Some(i as f64 + w[0] / (w[0] - w[1]));
        }
        if w[1] < -least {
            was_low = true;
        }
        if w[1] > least && was_low {
            ups.extend(crossing);
            was_low = false;
        }
    }
    match ups[..] {
        [first, .., last] => Some((last - first) / (ups.len() - 1) as f64),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    const DX: f64 = 0.001;
    fn wave(periods: f64, width: f64, shape: impl Fn(f64) -> f64) -> Vec<f64> {
        (0..(periods * width / DX) as usize).map(|i| shape((i as f64 * DX / width).fract())).collect()
    }
    /// Figures about the plain mean, five sampling lengths of four periods each.
    fn of(shape: impl Fn(f64) -> f64) -> Figures {
        let z = wave(21.0, 0.2, shape);
        let mean = z.iter().sum::<f64>() / z.len() as f64;
        figures(&z.iter().map(|v| v - mean).collect::<Vec<_>>(), DX, 0.8).unwrap()
    }
    fn near(a: f64, b: f64, tolerance: f64) {
        assert!((a - b).abs() < tolerance, "{a} against {b}");
    }
    /// Closed forms of the definitions: sine 2 A / pi and A / sqrt 2; saw h / 4 and h / (2 sqrt 3); cusps 4 h / (9 sqrt 3)
    /// and 2 h / (3 sqrt 5). Tolerance: 200 samples a period.
    #[test]
    fn sine_saw_and_cusp_have_the_figures_of_their_closed_forms() {
        let sine = of(|t| (TAU * t).sin());
        near(sine.ra, 2.0 / PI, 1e-3);
        near(sine.rq, 0.5f64.sqrt(), 1e-3);
        near(sine.rz, 2.0, 1e-3);
        near(sine.rsm.unwrap(), 0.2, 1e-3);
        let saw = of(|t| t);
        near(saw.ra, 0.25, 2e-3);
        near(saw.rq, 0.288_675, 2e-3);
        near(saw.rz, 1.0, 6e-3);
        near(saw.rsm.unwrap(), 0.2, 1e-3);
        let cusp = of(|t| (2.0 * t - 1.0).powi(2));
        near(cusp.ra, 0.256_600, 2e-3);
        near(cusp.rq, 0.298_142, 2e-3);
        near(cusp.rz, 1.0, 1e-3);
        near(cusp.rsm.unwrap(), 0.2, 1e-3);
    }
    /// exp(-pi (alpha lc / lambda)^2): 0.5 at the cut-off, 0.840896 at twice it, 0.0625 at half.
    #[test]
    fn the_filter_passes_half_at_the_cut_off() {
        for (width, passes) in [(0.8, 0.5), (1.6, 0.840_896), (2.4, 0.925_875), (0.4, 0.062_5)] {
            let z = wave(6.0 * 2.4 / width, width, |t| (TAU * t).cos());
            let m = mean_line(&z, DX, 0.8);
            let middle = (z.len() / 2 - (width / DX) as usize)..(z.len() / 2 + (width / DX) as usize);
            let top = middle.map(|i| m[i]).fold(0.0, f64::max);
            near(top, passes, 1e-5);
        }
    }
    #[test]
    fn the_cut_off_follows_the_table_and_ends_where_it_ends() {
        for (rsm, lc) in [(0.02, Some(0.08)), (0.13, Some(0.25)), (0.4, Some(0.8)), (1.3, Some(2.5)), (2.54, Some(8.0))]
        {
            assert_eq!(cut_off_mm(rsm), lc);
        }
        assert!(cut_off_mm(4.1).is_none() && cut_off_mm(0.01).is_none() && cut_off_mm(f64::NAN).is_none());
    }
    #[test]
    fn small_wiggles_are_no_elements_and_short_profiles_have_no_figures() {
        let f = of(|t| (TAU * t).sin() + 0.03 * (TAU * 9.0 * t).sin());
        near(f.rsm.unwrap(), 0.2, 2e-3);
        assert!(figures(&[0.0; 10], DX, 0.8).is_none() && roughness(&[1.0; 10], DX, 0.8).is_empty());
        assert!(figures(&[], DX, 0.8).is_none());
    }
}
