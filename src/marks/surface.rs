//! Surface figures of the floor's ridges, estimated from light.
//!
//! The strongest relief's mean period is integrated to a height profile, brought to the family's height, and repeated over
//! as many sampling lengths as the floor holds. What does not repeat (the wood's own texture, single steps) is averaged
//! out, so these are the figures of the ridges alone: a stylus on the same wood reads more.

use super::types::{Family, PeriodKind, Surface};
use crate::signal::roughness;
use crate::units::Measured;

/// Relative uncertainty of Ra, Rq and Rz beyond the height's own: the ridge's shape is that of its blurred shading. A saw
/// and a sine of one height differ by 27 % in Ra, a saw and cusps by 3 %; blur makes the one look more like the other.
const SHAPE: f64 = 0.1;
/// Samples of one period.
const SAMPLES: usize = 256;

/// Figures of the first family that is not colour. `scaled`: lengths are millimetres. What is not known is left out, and
/// `why` says why.
pub fn of(families: &[Family], scaled: bool) -> Surface {
    let mut known = Surface::default();
    let lacking = |known: Surface, why: &str| Surface { why: Some(why.into()), ..known };
    if !scaled {
        return lacking(known, "without a scale neither widths nor heights are known");
    }
    let Some(f) = families.iter().find(|f| f.period_kind != PeriodKind::Colour) else {
        return lacking(known, "no evenly spaced ridges were found");
    };
    let pitch = f.pitch.value;
    known.rsm_mm = Some(f.pitch);
    let Some(lc) = roughness::cut_off_mm(pitch) else {
        return lacking(known, "the standard's table of cut-offs holds spacings from 0.013 to 4 mm");
    };
    known.cut_off_mm = Some(lc);
    let Some(height) = f.height_um else {
        return lacking(known, "heights need the lamp's elevation, and light that runs across the lines");
    };
    let lengths = ((f.coherent_passes * pitch / lc) as usize).min(roughness::SAMPLING_LENGTHS);
    if lengths == 0 {
        return lacking(known, "the ridges keep in step over less than one sampling length");
    }
    let Some(period) = period(&f.folded, height.value) else { return lacking(known, "the ridges' shape is not known") };
    // A cut-off more at either end, for the filter.
    let dx = pitch / SAMPLES as f64;
    let n = ((lengths as f64 + 2.0) * lc / dx).ceil() as usize;
    let z: Vec<f64> = (0..n).map(|i| period[i % SAMPLES]).collect();
    let r = roughness::roughness(&z, dx, lc);
    let Some(g) = roughness::figures(&r, dx, lc) else { return lacking(known, "the ridges' shape is not known") };
    let relative = height.relative_sigma().hypot(SHAPE);
    let um = |v: f64| Measured::new(v, v * relative);
    Surface { ra_um: um(g.ra), rq_um: um(g.rq), rz_um: um(g.rz), sampling_lengths: Some(lengths), ..known }
}

/// One period of heights from one of relative brightness, `height` from lowest to highest; `None` where there is no shape.
fn period(folded: &[f64], height: f64) -> Option<Vec<f64>> {
    let mean = folded.iter().sum::<f64>() / folded.len().max(1) as f64;
    let mut sum = 0.0;
    let z: Vec<f64> = folded
        .iter()
        .map(|v| {
            sum += v - mean;
            sum
        })
        .collect();
    let (low, high) = z.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    if !(high - low > 0.0 && height > 0.0) {
        return None;
    }
    let k = height / (high - low);
    let n = z.len();
    let at = |i: usize| {
        let t = i as f64 / SAMPLES as f64 * n as f64;
        let (a, b) = (z[t as usize % n], z[(t as usize + 1) % n]);
        k * (a + (b - a) * t.fract())
    };
    Some((0..SAMPLES).map(at).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ridges 2.54 mm apart, 20 +- 4 um high, in step over 36 passes (91 mm).
    fn family(folded: Vec<f64>) -> Family {
        let m = |value, sigma| Measured { value, sigma };
        Family {
            pitch: m(2.54, 0.01),
            normal_deg: m(90.0, 0.1),
            curved: false,
            wandering: false,
            strength_db: 30.0,
            false_alarm: 0.0,
            coherent_passes: 36.0,
            period_kind: PeriodKind::Relief,
            harmonics: [0.1; 4],
            harmonic_noise: 0.0,
            fall_off: None,
            offset: None,
            along_walls: None,
            folded,
            contrast: 0.1,
            skew: 0.0,
            alternation: 0.0,
            jitter: 0.0,
            lines: vec![],
            coverage: 1.0,
            chroma_share: None,
            by_pair: false,
            height_um: Some(m(20.0, 4.0)),
        }
    }
    #[test]
    fn a_saw_and_cusps_of_known_height_have_the_figures_of_their_closed_forms() {
        // Shading of cusps is a saw, that of a saw thin lines. A cut-off of 8 mm keeps 99.9 % of 2.54 mm.
        let s = of(&[family((0..64).map(|i| 0.1 * (f64::from(i) - 31.5)).collect())], true);
        let close = |m: Option<Measured>, v: f64| assert!((m.unwrap().value / v - 1.0).abs() < 0.02, "{m:?}, not {v}");
        close(s.ra_um, 0.2566 * 20.0);
        close(s.rq_um, 0.298_142 * 20.0);
        close(s.rz_um, 20.0);
        let (rsm, lc, n) = (s.rsm_mm.unwrap().value, s.cut_off_mm, s.sampling_lengths);
        assert_eq!((rsm, lc, n, s.why), (2.54, Some(8.0), Some(5), None));
        let mut line = vec![0.0; 64];
        line[30] = -1.0;
        let s = of(&[Family { coherent_passes: 10.0, ..family(line) }], true);
        close(s.ra_um, 5.0);
        assert_eq!(s.sampling_lengths, Some(3));
        assert!((s.ra_um.unwrap().relative_sigma() - 0.2f64.hypot(SHAPE)).abs() < 1e-9);
    }
    #[test]
    fn what_is_not_known_says_why() {
        let f = family((0..64).map(f64::from).collect());
        let why = |f: Family, scaled: bool| {
            let s = of(&[f], scaled);
            assert!(s.ra_um.is_none() && s.rq_um.is_none() && s.rz_um.is_none());
            s.why.unwrap()
        };
        assert!(why(f.clone(), false).contains("scale"));
        assert!(why(Family { coherent_passes: 2.0, ..f.clone() }, true).contains("one sampling length"));
        assert!(why(Family { height_um: None, ..f.clone() }, true).contains("lamp"));
        assert!(why(Family { folded: vec![0.0; 64], ..f.clone() }, true).contains("shape"));
        let wide = Measured { value: 17.0, sigma: 0.1 };
        assert!(why(Family { pitch: wide, ..f.clone() }, true).contains("table"));
        assert!(why(Family { period_kind: PeriodKind::Colour, ..f }, true).contains("no evenly"));
    }
}
