//! The brightness profile over one period that each kind of line leaves under raking light, to set the folded profile
//! against. Small slopes: brightness follows the slope of the floor (change of light = -slope x cot of the lamp's height).

use super::weights::STRONG;

/// Samples of a profile over one period.
const N: usize = 64;
/// Independent numbers in a folded profile: about as many harmonics as stand out of the noise. More would let small
/// misfits of these idealised shapes (cast shadows, gloss) decide.
const FREEDOM: f64 = 4.0;
/// Share of a profile that no idealised shape explains, as variance.
const MISFIT: f64 = 0.05;

/// Kinds of profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// Even slope, one sharp step: a thin line of one sign on an even ground.
    Saw,
    /// Slope that sweeps through zero between sharp ridges; a flat of this share of the period may lie between.
    Ridge { flat: f64 },
    /// A smooth wave.
    Wave,
}

impl Kind {
    /// Words for a reader.
    pub fn words(self) -> &'static str {
        match self {
            Self::Saw => "thin lines of one sign on an even ground, as the steps of a saw leave",
            Self::Ridge { flat } if flat > 0.0 => "pairs of a light and a dark line, as narrow symmetric ridges leave",
            Self::Ridge { .. } => "light that sweeps evenly from bright to dark, as symmetric ridges leave",
            Self::Wave => "a smooth wave",
        }
    }
    /// Ideal profiles of this kind, blurred with `sigma` (share of the period).
    fn profiles(self, sigma: f64) -> Vec<Vec<f64>> {
        let at = |f: &dyn Fn(f64) -> f64, s: f64| {
            let raw: Vec<f64> = (0..N).map(|i| f((i as f64 + 0.5) / N as f64)).collect();
            blurred(&raw, s)
        };
        match self {
            // The dark line of a step is as wide as its shadow: two widths stand for low and high steps.
            Self::Saw => [0.0, 0.08, 0.16]
                .iter()
                .map(|w| at(&|x| if (x - 0.5).abs() <= (0.5 / N as f64).max(w / 2.0) { 1.0 } else { 0.0 }, sigma))
                .collect(),
            Self::Ridge { flat } => {
                let half = (1.0 - flat) / 2.0;
                vec![at(
                    &|x| {
                        if (x - 0.5).abs() < half {
                            (if x < 0.5 { -1.0 } else { 1.0 }) * (half - (x - 0.5).abs())
                        } else {
                            0.0
                        }
                    },
                    sigma,
                )]
            }
            Self::Wave => vec![at(&|x| (std::f64::consts::TAU * x).sin(), 0.0)],
        }
    }
}

/// How well a folded profile has a shape, 0 to 1: largest absolute correlation over all phases. `sigma` is the blur of
/// floor edges and lens together, as a share of the period. 0 for a profile of another length or without any change.
pub fn likeness(folded: &[f64], kind: Kind, sigma: f64) -> f64 {
    if folded.len() != N || folded.iter().any(|v| !v.is_finite()) {
        return 0.0;
    }
    kind.profiles(sigma.clamp(0.0, 0.5)).iter().map(|p| best_correlation(folded, p)).fold(0.0, f64::max)
}

/// Shares of the period that ridges may leave flat between them, where the cutter does not say.
pub const RIDGE_FLATS: [f64; 3] = [0.0, 0.5, 0.75];

/// The best [`likeness`] to symmetric ridges with any of these flats between them.
pub fn ridge_likeness(folded: &[f64], sigma: f64) -> f64 {
    RIDGE_FLATS.map(|flat| likeness(folded, Kind::Ridge { flat }, sigma)).into_iter().fold(0.0, f64::max)
}

/// Log-likelihood of a shape against the best of all, at most 0.
pub fn weight(likeness: f64, best: f64) -> f64 {
    let left = |r: f64| 1.0 - r * r + MISFIT;
    (FREEDOM / 2.0 * (left(best.max(likeness)) / left(likeness)).ln()).max(-STRONG)
}

fn best_correlation(a: &[f64], b: &[f64]) -> f64 {
    let centred = |v: &[f64]| {
        let mean = v.iter().sum::<f64>() / N as f64;
        v.iter().map(|x| x - mean).collect::<Vec<f64>>()
    };
    let (a, b) = (centred(a), centred(b));
    let norm = (a.iter().map(|v| v * v).sum::<f64>() * b.iter().map(|v| v * v).sum::<f64>()).sqrt();
    if !(norm > 0.0) {
        return 0.0;
    }
    let at = |s: usize| (0..N).map(|i| a[i] * b[(i + s) % N]).sum::<f64>().abs();
    ((0..N).map(at).fold(0.0, f64::max) / norm).min(1.0)
}

/// Circular Gaussian blur, `sigma` as a share of the period.
fn blurred(v: &[f64], sigma: f64) -> Vec<f64> {
    let s = sigma * N as f64;
    if s < 0.1 {
        return v.to_vec();
    }
    let kernel: Vec<f64> = (0..N)
        .map(|i| {
            let d = i.min(N - i) as f64;
            (-0.5 * (d / s).powi(2)).exp()
        })
        .collect();
    let sum: f64 = kernel.iter().sum();
    (0..N).map(|i| (0..N).map(|k| v[(i + k) % N] * kernel[k]).sum::<f64>() / sum).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    const ALL: [Kind; 4] = [Kind::Saw, Kind::Ridge { flat: 0.0 }, Kind::Ridge { flat: 0.7 }, Kind::Wave];
    /// A profile shifted, turned over and blurred a little more than the shape is.
    fn seen(kind: Kind) -> Vec<f64> {
        let p = &kind.profiles(0.03)[0];
        (0..N).map(|i| 0.3 - 0.1 * p[(i + 17) % N]).collect()
    }
    #[test]
    fn every_shape_is_most_like_itself() {
        for kind in ALL {
            let own = likeness(&seen(kind), kind, 0.02);
            assert!(own > 0.95, "{kind:?} {own}");
            for other in ALL.into_iter().filter(|o| *o != kind) {
                let r = likeness(&seen(kind), other, 0.02);
                assert!(weight(r, own) < -0.7, "{kind:?} taken for {other:?}: {r} against {own}");
            }
        }
    }
    #[test]
    fn blur_makes_all_shapes_alike() {
        let p = seen(Kind::Wave);
        assert!(likeness(&p, Kind::Ridge { flat: 0.0 }, 0.3) > 0.99 && likeness(&p, Kind::Saw, 0.3) > 0.99);
    }
    #[test]
    fn no_profile_is_like_nothing() {
        assert_eq!((likeness(&[0.0; N], Kind::Saw, 0.0), likeness(&[], Kind::Saw, 0.0)), (0.0, 0.0));
        assert_eq!(weight(0.5, 0.4), 0.0);
    }
}
