//! Lines that start anew from the other side: passes round a contour stand at even distances from the wall beside them, so those
//! beside one wall keep no step with those beside the wall opposite. One comb over both is drawn off by up to half a line over
//! the way from one to the other; here each part keeps its own phase.

use super::comb::{Comb, segment_bounds};
use super::stack::Stack;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Segments across the lines, and the least share of the weight on either side of a split.
const SEGMENTS: usize = 48;
const LEAST_PART: f64 = 0.15;
/// Offsets of frequency looked at, cells of the harmonic that is followed: half a line lost between two parts moves the maximum by
/// one cell at most, and farther off lie the lines' other harmonics.
const REACH: f64 = 1.5;
const PER_CELL: f64 = 20.0;
/// Steps between two of these in the end: a thousandth of a cell is under any comb's sigma.
const FINER: i32 = 40;
/// Least gain over one phase for both parts: as a share of the fainter part's power, and in noise powers. Two parts of one comb
/// gain what its noise and the lens's curving of it leave, a tenth; half a line of shift is worth the whole fainter part.
const LEAST_GAIN: f64 = 0.4;
const LEAST_NATS: f64 = 12.0;
/// Harmonics that may be followed: of a higher one a jump of half a line is several turns, and any jump is some of its own.
const LOW: usize = 3;
/// Least jump of phase, share of a line: the curve that a lens leaves in a comb over the whole floor stays under it.
const LEAST_JUMP: f64 = 0.12;

/// The frequency along the stack, and by what its sigma grows, where two parts of the floor each have a phase of their own.
pub(super) fn frequency(comb: &Comb, stack: &Stack) -> Option<(f64, f64)> {
    let h = (1..=comb.sums.len().min(LOW)).max_by(|a, b| comb.ratio(*a).total_cmp(&comb.ratio(*b)))?;
    let width = stack.bins as f64 * stack.dt / SEGMENTS as f64;
    let starts: Vec<f64> = (0..=SEGMENTS).map(|j| stack.t0 + (j as f64 - 0.01) * width).collect();
    let (z, w) = segment_bounds(stack, &starts, comb.frequency, comb.along, &[h]);
    let parts: Vec<Part> = (0..SEGMENTS)
        .map(|j| Part { t: stack.t0 + (j as f64 + 0.5) * width, z: z[0][j], w: w[j] })
        .filter(|p| p.w > 0.0)
        .collect();
    let noise = comb.noise[h - 1] / comb.reach.weight;
    let offset = jump(&parts, h as f64, comb.reach.length(), noise)?;
    Some((comb.frequency + offset.0, offset.1))
}

/// One segment: its middle, its sum at the comb's frequency, its weight.
#[derive(Clone, Copy)]
struct Part {
    t: f64,
    z: Complex64,
    w: f64,
}

/// Two parts with a phase of their own each: their power together and that of the fainter, by what their phases differ (turns),
/// the frequency's offset, and the first segment of the second part.
#[derive(Default)]
struct Split {
    power: f64,
    fainter: f64,
    turn: f64,
    offset: f64,
    at: usize,
}

/// Offset of the frequency and growth of its sigma under two phases, where these explain clearly more than one.
fn jump(parts: &[Part], h: f64, length: f64, noise: f64) -> Option<(f64, f64)> {
    let turned = |p: &Part, offset: f64| p.z * Complex64::from_polar(1.0, -TAU * h * offset * p.t);
    let steps = (REACH * PER_CELL) as i32;
    let mut one = 0.0f64;
    let mut two = Split::default();
    for k in -steps..=steps {
        let offset = f64::from(k) / PER_CELL / length / h;
        let mut sums = vec![(Complex64::default(), 0.0)];
        for p in parts {
            let last = sums[sums.len() - 1];
            sums.push((last.0 + turned(p, offset), last.1 + p.w));
        }
        let (all, weight) = sums[sums.len() - 1];
        for (i, (s, w)) in sums.iter().enumerate() {
            if w.min(weight - w) < LEAST_PART * weight {
                continue;
            }
            let (a, b) = (*s, all - s);
            one = one.max(in_phase(a, *w, b, weight - w));
            let (near, far) = (a.norm_sqr() / w, b.norm_sqr() / (weight - w));
            if near + far > two.power {
                let turn = (a * b.conj()).arg().abs() / TAU;
                two = Split { power: near + far, fainter: near.min(far), turn, offset, at: i };
            }
        }
    }
    // Power that grows to the end of what is looked at belongs to something else.
    let inside = two.offset.abs() * PER_CELL * length * h < f64::from(steps) - 0.5;
    let clear =
        inside && two.power - one > (LEAST_GAIN * two.fainter).max(LEAST_NATS * noise) && two.turn > LEAST_JUMP * h;
    clear.then(|| {
        let (near, far) = parts.split_at(two.at);
        let power = |offset: f64, of: &[Part]| {
            of.iter().map(|p| turned(p, offset)).sum::<Complex64>().norm_sqr() / of.iter().map(|p| p.w).sum::<f64>()
        };
        let both = |offset: &f64| power(*offset, near) + power(*offset, far);
        let finer = (-FINER..=FINER).map(|k| two.offset + f64::from(k) / f64::from(FINER) / PER_CELL / length / h);
        let offset = finer.max_by(|a, b| both(a).total_cmp(&both(b))).unwrap_or(two.offset);
        let inner = (spread(near) + spread(far)).max(1e-300);
        (offset, (spread(parts) / inner).sqrt())
    })
}

/// Power of two parts that share one phase, each with an amplitude of its own (light falls off across a floor).
fn in_phase(a: Complex64, wa: f64, b: Complex64, wb: f64) -> f64 {
    // max over phi of (Re a e^-i phi)^2 / wa + (Re b e^-i phi)^2 / wb, both of one sign.
    let power = 0.5 * (a.norm_sqr() / wa + b.norm_sqr() / wb);
    let turned = 0.5 * (a * a / wa + b * b / wb);
    let phi = 0.5 * turned.arg();
    let e = Complex64::from_polar(1.0, -phi);
    if (a * e).re * (b * e).re >= 0.0 { power + turned.norm() } else { (a.norm_sqr() / wa).max(b.norm_sqr() / wb) }
}

/// Sum of weight times squared distance from the middle.
fn spread(parts: &[Part]) -> f64 {
    let w: f64 = parts.iter().map(|p| p.w).sum();
    let mean = parts.iter().map(|p| p.w * p.t).sum::<f64>() / w.max(1e-300);
    parts.iter().map(|p| p.w * (p.t - mean).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lines of spacing 1 seen at `seen` lines a unit, 60 long, those from 35 on shifted by `shift`, fainter by `fall`.
    fn parts(seen: f64, shift: f64, fall: f64) -> Vec<Part> {
        let z = |t: f64| {
            let phase = if t > 35.0 { shift } else { 0.0 };
            Complex64::from_polar(if t > 35.0 { fall } else { 1.0 }, TAU * ((1.0 - seen) * t + phase))
        };
        (0..48).map(|j| (f64::from(j) + 0.5) * 1.25).map(|t| Part { t, z: z(t), w: 1.0 }).collect()
    }

    #[test]
    fn lines_counted_from_two_walls_keep_their_own_spacing() {
        // One comb over both: half a line over the thirty between the middles of the parts.
        let drawn = 1.0 + 0.5 / 30.0;
        let (offset, grown) = jump(&parts(drawn, 0.5, 0.8), 1.0, 60.0, 1e-3).expect("two phases");
        assert!((drawn + offset - 1.0).abs() < 1e-4, "{offset}");
        assert!(grown > 1.5 && grown < 3.0, "{grown}");
    }

    #[test]
    fn one_comb_stays_one() {
        assert!(jump(&parts(1.0, 0.0, 0.3), 1.0, 60.0, 1e-3).is_none(), "light falls off");
        assert!(jump(&parts(1.0, 0.05, 1.0), 1.0, 60.0, 1e-3).is_none(), "a lens");
        assert!(jump(&parts(1.0, 0.5, 0.8), 1.0, 60.0, 10.0).is_none(), "noise");
        // A tenth of a line is three tenths of its third harmonic.
        assert!(jump(&parts(1.0, 0.3, 1.0), 3.0, 60.0, 1e-3).is_none(), "uneven lines");
    }
}
