//! Two photos, lamps on opposite sides: lines are relief where the difference shows them, colour where only the sum does.

use super::types::{Family, Marks, PeriodKind};
use super::{Options, measure};
use crate::caveat::Caveat;
use crate::floor::Patch;
use crate::opposite::Pair;
use crate::raster::Plane;
use crate::signal::wave;
use crate::units::line_difference;
use rayon::prelude::*;

/// Amplitude of lines in the difference over that in the sum: figure leaks into the difference by up to a tenth (tone
/// curves of two exposures, half a pixel of misfit on lines 20 pixels apart), relief into the sum by up to half (one lamp
/// at half the other's height leaves a third).
const COLOUR_UNDER: f64 = 0.2;
const RELIEF_OVER: f64 = 0.35;
/// Noise amplitudes that lines must stand out by in the picture that decides.
const CLEAR: f64 = 3.0;
/// Lamps farther apart than this are opposite enough to call lines colour because the difference does not show them.
const OPPOSITE_DEG: f64 = 140.0;
/// Samples kept of one period.
const SAMPLES: f64 = 8.0;

/// Measures relief on the difference; the sum adds the lines that are colour, and the figure.
pub fn measure_pair(pair: &Pair, options: &Options) -> (Marks, Vec<Caveat>) {
    let ((mut marks, mut caveats), (sum, new)) =
        rayon::join(|| measure(&pair.relief, options), || measure(&pair.colour, options));
    caveats.extend(new);
    let opposite = pair.lamps_apart_deg.is_some_and(|a| a >= OPPOSITE_DEG);
    for f in marks.families.iter_mut() {
        (f.by_pair, f.period_kind, f.chroma_share) = (true, kind(pair, f, opposite), None);
    }
    for mut f in sum.families {
        let known = marks.families.iter().any(|g| same(g, &f));
        if known || f.curved {
            continue;
        }
        f.period_kind = kind(pair, &f, opposite);
        f.by_pair = f.period_kind == PeriodKind::Colour;
        f.height_um = None;
        // What is not clearly colour in the sum is what unlike lamps left there of the ridges.
        if f.by_pair || (!opposite && f.period_kind == PeriodKind::Unsure) {
            marks.families.push(f);
        }
    }
    // Colour first hides what matters: relief leads, each kind in its own order of strength.
    marks.families.sort_by_key(|f| f.period_kind == PeriodKind::Colour);
    marks.figure = sum.figure;
    (marks, caveats)
}

fn same(a: &Family, b: &Family) -> bool {
    let ratio = a.pitch.value / b.pitch.value;
    line_difference(a.normal_deg.value, b.normal_deg.value).abs() < 1.5 && (ratio - 1.0).abs() < 0.02
}

/// What both pictures say of a family.
fn kind(pair: &Pair, f: &Family, opposite: bool) -> PeriodKind {
    if f.curved {
        // No one phase holds over the floor: that the difference shows it at all is what is known.
        return PeriodKind::Relief;
    }
    let (d, dn) = amplitude(&pair.relief, f);
    let (s, sn) = amplitude(&pair.colour, f);
    if d > CLEAR * dn && d > RELIEF_OVER * s {
        PeriodKind::Relief
    } else if s > CLEAR * sn && d < COLOUR_UNDER * s && opposite {
        PeriodKind::Colour
    } else {
        PeriodKind::Unsure
    }
}

/// Amplitude of a family's first three harmonics together on a picture whose slow light is 1, and that of its noise (from
/// frequencies three and five cells to either side).
fn amplitude(patch: &Patch, f: &Family) -> (f64, f64) {
    let view = &patch.view;
    let k = ((f.pitch.value / view.step / SAMPLES) as usize).max(1);
    let light = view.luma.shrink(k);
    let (w, h) = (light.width, light.height);
    let used = |x: usize, y: usize| patch.mask.at(x * k, y * k) && patch.mask.at(x * k + k - 1, y * k + k - 1);
    let count = (0..h).into_par_iter().map(|y| (0..w).filter(|x| used(*x, y)).count()).sum::<usize>().max(1);
    let total: f64 = (0..h)
        .into_par_iter()
        .map(|y| (0..w).filter(|x| used(*x, y)).map(|x| f64::from(light.at(x, y))).sum::<f64>())
        .sum();
    let mean = (total / count as f64) as f32;
    let bare = Plane::from_fn(w, h, |x, y| if used(x, y) { light.at(x, y) - mean } else { 0.0 });
    let step = view.step * k as f64;
    let first = view.to_floor((k as f64 - 1.0) / 2.0, (k as f64 - 1.0) / 2.0);
    let power_at = |frequency: f64| wave([&bare], first, step, frequency, f.normal_deg.value)[0].norm_sqr();
    let cell = 1.0 / (w.min(h) as f64 * step);
    let (mut power, mut noise) = (0.0, 0.0);
    for harmonic in [1.0, 2.0, 3.0].iter().map(|n| n / f.pitch.value).filter(|q| q * step < 0.4) {
        power += power_at(harmonic);
        noise += [-5.0, -3.0, 3.0, 5.0].iter().map(|d| power_at(harmonic + d * cell)).sum::<f64>() / 4.0;
    }
    let scale = 2.0 / count as f64;
    ((power - noise).max(0.0).sqrt() * scale, noise.sqrt() * scale)
}
