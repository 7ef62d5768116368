//! Columns of the plane's spectrum become curved families.

use super::columns::{Column, STEEPEST};
use super::families::{FAINTEST, Found};
use super::family::FOLD;
use super::flatten::Flat;
use super::types::{Family, PeriodKind};
use crate::units::{Measured, line_difference};

/// A column this much weaker than the strongest is its echo (sums with JPEG blocks and with the view's own sampling).
const WEAKEST: f64 = 0.2;
/// A column this much weaker than the strongest straight family is that family's echo.
const WEAKEST_BESIDE: f64 = 0.05;

/// Adds the columns to the straight families. A bent column swallows the straight families that lie on it: they are single
/// places of it. Of another column, one at a multiple of a straight family along the same direction is that family's own, and
/// a straight family at a multiple of the column is the column's.
pub(super) fn merge(found: &mut Found, columns: &[Column], flat: &Flat) {
    let multiple = |a: f64, b: f64, most: f64| {
        let n = (a / b).round();
        n >= 1.0 && n <= most && (a - n * b).abs() < 2.0 / flat.extent
    };
    let strongest = columns.iter().map(|c| c.amplitude).fold(0.0, f64::max);
    let straight = found.families.iter().map(|f| f.contrast).fold(0.0, f64::max);
    let whole = |r: f64| (0.7..4.3).contains(&r) && (r - r.round()).abs() < 0.15;
    for c in columns.iter().filter(|c| {
        c.amplitude > (WEAKEST * strongest).max(WEAKEST_BESIDE * straight).max(FAINTEST * std::f64::consts::SQRT_2)
    }) {
        let bent = c.bent();
        let turn = |f: &Family| line_difference(f.normal_deg.value, c.normal_deg).to_radians();
        let along: Vec<usize> =
            (0..found.families.len()).filter(|i| turn(&found.families[*i]).abs() < 3f64.to_radians()).collect();
        let frequency = |i: &usize| 1.0 / found.families[*i].pitch.value;
        // A straight family's own lobes, seen from another direction: its frequency along this one is the column's.
        let lobe = found.families.iter().any(|f| {
            let seen = (turn(f).cos() / f.pitch.value).abs();
            !f.curved && turn(f).abs() > 0.05 && (whole(seen / c.frequency) || whole(c.frequency / seen))
        });
        if lobe && !bent {
            continue;
        }
        let host = along.iter().copied().find(|i| multiple(c.frequency, frequency(i), 40.0));
        let same = |i: &usize| (c.frequency / frequency(i)).round() == 1.0;
        if host.is_some_and(|i| !(bent && same(&i)))
            || columns.iter().any(|d| d.frequency < 0.9 * c.frequency && multiple(c.frequency, d.frequency, 8.0))
        {
            continue;
        }
        let Some(family) = family(c, columns, flat) else { continue };
        let family = Family { coverage: host.map_or(family.coverage, |i| found.families[i].coverage), ..family };
        let on = |f: &Family| {
            let (across, seen) = turn(f).sin_cos();
            bent && !f.curved && across.abs() <= STEEPEST * seen && multiple(seen / f.pitch.value, c.frequency, 8.0)
        };
        let drop: Vec<usize> = (0..found.families.len())
            .filter(|i| on(&found.families[*i]) || along.contains(i) && multiple(frequency(i), c.frequency, 8.0))
            .collect();
        for i in drop.into_iter().rev() {
            found.families.remove(i);
        }
        let at = found.families.iter().position(|f| f.contrast < family.contrast).unwrap_or(found.families.len());
        found.families.insert(at, family);
    }
}

fn family(c: &Column, columns: &[Column], flat: &Flat) -> Option<Family> {
    let level = |h: f64| {
        let near = |d: &&Column| (d.frequency / (h * c.frequency) - 1.0).abs() < 0.01;
        columns.iter().find(near).map_or(0.0, |d| d.amplitude)
    };
    let turn = |k: usize| (std::f64::consts::TAU * k as f64 / FOLD as f64).cos();
    // Phases differ from pass to pass: the folded profile can only be a cosine of the right size.
    let folded: Vec<f64> = (0..FOLD).map(|k| c.amplitude * turn(k)).collect();
    Some(Family {
        pitch: Measured::new(1.0 / c.frequency, c.frequency_sigma / c.frequency.powi(2))?,
        normal_deg: Measured::new(c.normal_deg, c.normal_sigma_deg)?,
        curved: true,
        wandering: false,
        strength_db: 10.0 * c.ratio.max(1e-3).log10(),
        // Normal tail, some ten thousand frequencies and angles tried.
        false_alarm: (1e4f64.ln() - c.score * c.score / 2.0).exp().min(1.0),
        coherent_passes: flat.extent * c.frequency,
        period_kind: PeriodKind::Unsure,
        harmonics: [c.amplitude, level(2.0), level(3.0), level(4.0)],
        harmonic_noise: 1.0 / c.score,
        fall_off: None,
        offset: None,
        along_walls: None,
        folded,
        contrast: c.amplitude * std::f64::consts::FRAC_1_SQRT_2,
        skew: 0.0,
        alternation: 0.0,
        jitter: 0.0,
        lines: Vec::new(),
        coverage: 1.0,
        chroma_share: None,
        by_pair: false,
        height_um: None,
    })
}
