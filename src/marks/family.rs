//! What one comb of lines looks like: folded profile, jitter, coverage, alternation.

use super::comb::{Comb, demodulate, segment_weights};
use super::lines;
use super::search::Ray;
use super::stack::Stack;
use super::types::{Family, PeriodKind};
use crate::stats::mad_sigma;
use crate::units::{Measured, wrap_180};
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Samples of a folded profile.
pub(super) const FOLD: usize = 64;

/// Error of phase from one end of the floor to the other for lines of contrast 1, periods, one sigma: a camera's tone curve
/// bends the profile of strong lines more where the floor is brighter. Seen on made floors with a lamp at 40 cm.
const TONE: f64 = 0.04;

/// Share of a harmonic that blur may have left and still be made good, noises it stands out by, and how well any real
/// profile follows a law of its harmonics.
const LEAST_LEFT: f64 = 0.4;
const CLEAR: f64 = 3.0;
const MODEL: f64 = 0.1;

/// Least relative sigma of a pitch, and least sigma of a direction in radians: a tenth of a sample over a thousand. Errors of
/// twice that were seen on made floors whatever the noise.
pub(super) const LEAST_SIGMA: f64 = 1e-4;

/// Describes a fitted comb; `false_alarm` is the chance over the whole search.
pub(super) fn describe(comb: &Comb, stack: &Stack, ray: &Ray, false_alarm: f64) -> Option<Family> {
    let (f, own) = (comb.frequency, comb.own_frequency());
    let mut folded = fold(stack, f);
    let rms = (folded.iter().map(|v| v * v).sum::<f64>() / FOLD as f64).sqrt();
    let skew = if rms > 0.0 { folded.iter().map(|v| v.powi(3)).sum::<f64>() / FOLD as f64 / rms.powi(3) } else { 0.0 };
    let first = comb.amplitude(1, stack.dt);
    let strongest = (1..=comb.sums.len()).map(|h| comb.ratio(h)).fold(0.0, f64::max);
    let periods = comb.reach.length() * f;
    let (jitter, in_step) = steadiness(comb, stack, periods);
    let normal_deg = wrap_180(comb.normal_deg);
    let (sin, cos) = normal_deg.to_radians().sin_cos();
    // A normal that was turned round to lie in [0, 180) runs through the period backwards.
    if (normal_deg - comb.normal_deg).to_radians().cos() < 0.0 {
        folded[1..].reverse();
    }
    Some(Family {
        pitch: Measured::new(1.0 / own, comb.frequency_sigma / (own * own))?,
        normal_deg: Measured::new(normal_deg, comb.normal_sigma_deg)?,
        curved: false,
        wandering: false,
        strength_db: 10.0 * strongest.max(1e-3).log10(),
        false_alarm,
        coherent_passes: periods * in_step,
        period_kind: PeriodKind::Unsure,
        harmonics: std::array::from_fn(|i| comb.amplitude(i + 1, stack.dt)),
        harmonic_noise: if first > 0.0 { comb.amplitude_noise(1) / first } else { 1.0 },
        fall_off: None,
        offset: Some(stack.middle.x * cos + stack.middle.y * sin),
        along_walls: None,
        folded,
        contrast: rms,
        skew,
        alternation: alternation(comb, stack, ray),
        jitter,
        lines: Vec::new(),
        coverage: coverage(comb, stack, periods),
        chroma_share: None,
        by_pair: false,
        height_um: None,
    })
}

/// Gives a family its lines one by one, and its pitch the error that their scatter leaves; `stack` holds the whole floor
/// with even weight, so that lines next to the walls count.
pub(super) fn place(f: &mut Family, comb: &Comb, stack: &Stack) {
    let periods = comb.reach.length() * comb.frequency;
    let mut random = f.pitch.relative_sigma();
    if let Some(found) = lines::of(comb, stack, &fold(stack, comb.frequency)) {
        // Uneven lines raise the background beside their own peak: where lines can be placed, their scatter says it better.
        random = found.pitch_sigma.unwrap_or(random);
        f.lines = found.lines;
        let normal = f.normal_deg.value.to_radians();
        let offset = stack.middle.x * normal.cos() + stack.middle.y * normal.sin();
        if (f.normal_deg.value - comb.normal_deg).to_radians().cos() < 0.0 {
            f.lines.reverse();
            for l in &mut f.lines {
                (l.at, l.shift.value) = (-l.at, -l.shift.value);
            }
        }
        f.lines.iter_mut().for_each(|l| l.at += offset);
    }
    f.pitch.sigma = f.pitch.value * random.hypot(TONE * f.contrast / periods).hypot(LEAST_SIGMA);
    f.normal_deg.sigma = f.normal_deg.sigma.hypot(LEAST_SIGMA.to_degrees());
}

/// Gives a family the brightness change its lines have tile by tile, where drift hides part of it from the whole floor.
pub(super) fn localise(f: &mut Family, comb: &Comb, stack: &Stack) {
    if let Some((harmonics, gain)) = local_amplitudes(comb, stack) {
        f.harmonics = harmonics;
        f.contrast *= gain;
        f.folded.iter_mut().for_each(|v| *v *= gain);
    }
}

/// Gives a family that starts anew from the other side its own spacing; no even places are left to draw its lines at.
pub(super) fn apart(f: &mut Family, comb: &Comb, stack: &Stack) {
    if let Some((frequency, grown)) = super::halves::frequency(comb, stack) {
        let own = frequency.hypot(comb.along);
        f.pitch = Measured { value: 1.0 / own, sigma: f.pitch.sigma * grown };
        f.coherent_passes *= 0.5;
        f.offset = None;
        f.lines.clear();
    }
}

/// Least-squares slope of ln(amplitude) on ln(number) over the clear harmonics, with the sigma that their noise leaves.
///
/// `blur` is the lens's one-sigma width in floor units: what it took off each harmonic is put back, as far as 0.4 was left.
pub(super) fn fall_off(f: &Family, blur: f64) -> Option<Measured> {
    let noise = f.harmonics[0] * f.harmonic_noise;
    let (mut w, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let mut used = 0;
    for (i, a) in f.harmonics.iter().enumerate() {
        let h = (i + 1) as f64;
        let left = super::comb::blur_loss(h * blur / f.pitch.value);
        if left < LEAST_LEFT || *a < CLEAR * noise || *a <= 0.0 {
            continue;
        }
        // Relative noise of an amplitude is that of its logarithm; profiles are no better than a tenth of the model.
        let k = 1.0 / ((noise / a).powi(2) + MODEL * MODEL);
        let (u, v) = (h.ln(), (a / left).ln());
        (w, x, y, xx, xy) = (w + k, x + k * u, y + k * v, xx + k * u * u, xy + k * u * v);
        used += 1;
    }
    let det = w * xx - x * x;
    if used < 2 || !(det > 0.0) {
        return None;
    }
    Measured::new(-(w * xy - x * y) / det, (w / det).sqrt())
}

/// Amplitudes tile by tile, phases free, and their gain over the whole-floor ones; `None` unless the lines drift so much
/// (lens, perspective) that the whole floor loses a fifth of them. Noise is taken off tile by tile.
fn local_amplitudes(comb: &Comb, stack: &Stack) -> Option<([f64; 4], f64)> {
    let periods = comb.reach.length() * comb.frequency;
    let segments = ((periods / 6.0) as usize).min(32);
    if segments < 3 {
        return None;
    }
    let weights = segment_weights(stack, segments);
    let usual = comb.reach.weight / weights.len() as f64;
    let local: Vec<(f64, f64)> = (1..=comb.sums.len().min(4))
        .map(|h| {
            let one = (h as f64, Complex64::default(), 0.0);
            let z = turn_bands(comb, stack, &[one], segments).remove(0);
            // Lines that drift raise the whole floor's background themselves: noise is looked for tile by tile, more than
            // two cells of a tile to either side.
            let tiles = |h: f64| -> f64 {
                let one = (h, Complex64::default(), 0.0);
                let z = turn_bands(comb, stack, &[one], segments).remove(0);
                z.iter().zip(&weights).filter(|(_, w)| **w > 0.3 * usual).map(|(z, w)| z.norm_sqr() / w).sum()
            };
            let beside = tiles(h as f64 - 0.4).min(tiles(h as f64 + 0.4));
            let (mut power, mut noise, mut all) = (0.0, 0.0, 0.0);
            for (z, w) in z.iter().zip(&weights).filter(|(_, w)| **w > 0.3 * usual) {
                // |z|^2 / w is amplitude^2 w / 4; the background's share of it is even over the floor.
                power += z.norm_sqr() / w;
                noise += comb.noise[h - 1] / comb.reach.weight;
                all += w;
            }
            let noise = noise.min(beside);
            let loss = super::comb::bin_loss(h as f64 * comb.frequency * stack.dt);
            (2.0 * ((power - noise).max(0.0) / all.max(1e-9)).sqrt() / loss, power / noise.max(1e-12))
        })
        .collect();
    let lead = (1..=local.len()).max_by(|a, b| comb.ratio(*a).total_cmp(&comb.ratio(*b)))?;
    let whole = comb.amplitude(lead, stack.dt);
    let gain = local[lead - 1].0 / whole.max(1e-12);
    let clear = |l: &&(f64, f64)| l.1 > 2.0;
    let harmonics = std::array::from_fn(|i| local.get(i).filter(clear).map_or(0.0, |l| l.0));
    (local[lead - 1].1 > 3.0 && gain > 1.25).then(|| (harmonics, gain.min(30.0)))
}

/// Mean over all periods, 64 samples, mean 0; phase 0 at the middle of the floor.
pub(super) fn fold(stack: &Stack, f: f64) -> Vec<f64> {
    let (s, w) = stack.total();
    let (mut num, mut den) = (vec![0.0; FOLD], vec![0.0; FOLD]);
    for i in 0..stack.bins {
        // Each bin is spread over the fold samples it covers.
        let x = (stack.t_at(i) * f).rem_euclid(1.0) * FOLD as f64;
        let (a, r) = (x as usize % FOLD, x.fract());
        num[a] += s[i] * (1.0 - r);
        den[a] += w[i] * (1.0 - r);
        num[(a + 1) % FOLD] += s[i] * r;
        den[(a + 1) % FOLD] += w[i] * r;
    }
    let top = den.iter().copied().fold(0.0, f64::max);
    let mut out: Vec<f64> = num.iter().zip(&den).map(|(n, d)| if *d > 0.02 * top { n / d } else { f64::NAN }).collect();
    // A pitch of few bins can leave gaps: fill from the neighbours.
    for k in 0..FOLD {
        if out[k].is_nan() {
            let near = (1..FOLD).flat_map(|d| [(k + d) % FOLD, (k + FOLD - d) % FOLD]).find(|j| !out[*j].is_nan());
            out[k] = near.map_or(0.0, |j| out[j]);
        }
    }
    let mean = out.iter().sum::<f64>() / FOLD as f64;
    out.iter_mut().for_each(|v| *v -= mean);
    out
}

/// Least share of the strongest harmonic that one must have to say where a single line stands. A window of one spacing
/// never holds just one: up to a tenth of the strong ones leaks into the weak. Thin lines keep all their harmonics, a
/// wave only its first.
const LEAKS: f64 = 0.2;

/// Harmonics that carry the comb, as (number, conjugate template over noise).
fn template(comb: &Comb) -> Vec<(f64, Complex64, f64)> {
    let strongest = comb.sums.iter().map(|z| z.norm()).fold(0.0, f64::max);
    (1..=comb.sums.len().min(8))
        .filter(|h| comb.ratio(*h) > 6.0 && comb.sums[h - 1].norm() >= LEAKS * strongest)
        .map(|h| (h as f64, comb.sums[h - 1].conj() / comb.noise[h - 1], comb.noise[h - 1]))
        .collect()
}

/// Scatter of single lines about the even spacing (share of the pitch) and share of periods in step.
fn steadiness(comb: &Comb, stack: &Stack, periods: f64) -> (f64, f64) {
    let t = template(comb);
    let segments = (periods.round() as usize).clamp(3, 400);
    let turned = turn_bands(comb, stack, &t, segments);
    let weights = segment_weights(stack, segments);
    let full =
        (0..segments).map(|j| (0..stack.bands).map(|b| weights[b * segments + j]).sum::<f64>()).collect::<Vec<_>>();
    let top = full.iter().copied().fold(0.0, f64::max);
    let mut shifts = Vec::new();
    for j in (0..segments).filter(|j| full[*j] > 0.3 * top) {
        let at = |tau: f64| -> f64 {
            t.iter()
                .zip(&turned)
                .map(|((h, c, _), z)| {
                    let z: Complex64 = (0..stack.bands).map(|b| z[b * segments + j]).sum();
                    (z * c * Complex64::from_polar(1.0, TAU * h * tau)).re
                })
                .sum()
        };
        let best = (-32..32).map(|k| f64::from(k) / 64.0).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap_or(0.5);
        shifts.push(best);
    }
    let near = shifts.iter().filter(|s| s.abs() < 0.2).count() as f64 / (shifts.len().max(1)) as f64;
    // Lines anywhere at all fall within a fifth of a period in two cases of five.
    (mad_sigma(&shifts).unwrap_or(0.37), ((near - 0.4) / 0.6).clamp(0.0, 1.0))
}

/// Demodulated sums of the template's harmonics with the fitted frequency and direction taken out.
fn turn_bands(comb: &Comb, stack: &Stack, t: &[(f64, Complex64, f64)], segments: usize) -> Vec<Vec<Complex64>> {
    let g = comb.frequency * (comb.normal_deg - stack.normal_deg).to_radians().tan();
    t.iter()
        .map(|(h, _, _)| {
            let mut z = demodulate(stack, h * comb.frequency, segments);
            for b in 0..stack.bands {
                let e = Complex64::from_polar(1.0, -TAU * h * g * stack.u_at(b));
                z[b * segments..(b + 1) * segments].iter_mut().for_each(|v| *v *= e);
            }
            z
        })
        .collect()
}

/// Share of tiles (a band by at least two periods) whose own lines agree with the comb at two sigma.
fn coverage(comb: &Comb, stack: &Stack, periods: f64) -> f64 {
    let t = template(comb);
    let segments = ((periods / 2.0) as usize).clamp(2, 8);
    let turned = turn_bands(comb, stack, &t, segments);
    let weights = segment_weights(stack, segments);
    let group = (stack.bands / 6).max(1);
    let (mut yes, mut all) = (0, 0);
    let usual = comb.reach.weight / (segments as f64 * stack.bands as f64 / group as f64);
    for b in (0..stack.bands).step_by(group) {
        for j in 0..segments {
            let cells = (b..(b + group).min(stack.bands)).map(|b| b * segments + j);
            let w: f64 = cells.clone().map(|c| weights[c]).sum();
            if w < 0.3 * usual {
                continue;
            }
            let (mut s, mut var) = (0.0, 0.0);
            for ((_, c, noise), z) in t.iter().zip(&turned) {
                s += (cells.clone().map(|i| z[i]).sum::<Complex64>() * c).re;
                var += c.norm_sqr() * noise * w / comb.reach.weight / 2.0;
            }
            all += 1;
            if s > 2.0 * var.sqrt() {
                yes += 1;
            }
        }
    }
    if all == 0 { 0.0 } else { f64::from(yes) / f64::from(all) }
}

/// Amplitude at half the frequency over the first harmonic's, noise taken off.
fn alternation(comb: &Comb, stack: &Stack, ray: &Ray) -> f64 {
    let first = comb.sums.first().map_or(0.0, |z| z.norm());
    let half = comb.frequency / 2.0;
    if first <= 0.0 || half < ray.lowest {
        return 0.0;
    }
    let g = comb.frequency * (comb.normal_deg - stack.normal_deg).to_radians().tan() / 2.0;
    let z = demodulate(stack, half, 1);
    let z: Complex64 = (0..stack.bands).map(|b| z[b] * Complex64::from_polar(1.0, -TAU * g * stack.u_at(b))).sum();
    let noise = ray.background_at(half).unwrap_or(0.0);
    (z.norm_sqr() - 2.0 * noise).max(0.0).sqrt() / first
}
