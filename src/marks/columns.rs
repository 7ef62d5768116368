//! Curved marks: arcs that repeat along the passes (once a turn, once a tooth). In the plane's spectrum they are not a
//! point but a column: one frequency along the passes, any frequency across them.

use super::flatten::Flat;
use crate::signal::PlaneSpectrum;
use crate::units::wrap_180;
use rayon::prelude::*;

/// How far a column is followed across the passes, share of its own frequency: arcs of a cutter of diameter D cut at
/// stepover s are as steep as s / D at their ends, so 0.5 covers stepovers up to the usual half diameter.
const SLOPE: f64 = 0.5;
/// How steep the ends of arcs that later passes leave may run: they reach to two thirds of the way round to the cutter's side.
pub(super) const STEEPEST: f64 = 2.0;
/// Cells next to the column's middle that are left out: a straight family would fill them.
const MIDDLE: f64 = 4.0;
/// Standard errors a column must stand over its neighbours. The log mean over a column is close to normal; a search of
/// some thousand frequencies and some hundred angles reaches five by chance.
const LEAST: f64 = 6.0;

/// Share of a column's power in one place up to which its lines are bent. Straight lines have nearly all of it there, one
/// family's lobes included, and of two crossing families the stronger has half or more; arcs as steep as a cutter leaves them
/// have a tenth to a third. Under a smaller value arcs pass for straight families, over a larger one two families for arcs.
const BENT: f64 = 0.4;

/// A column.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column {
    pub frequency: f64,
    pub frequency_sigma: f64,
    pub normal_deg: f64,
    pub normal_sigma_deg: f64,
    /// Standard errors above its surroundings.
    pub score: f64,
    /// Mean power over background along the column.
    pub ratio: f64,
    /// Relative brightness amplitude (root of the summed power of its cells).
    pub amplitude: f64,
    /// Share of its power that lies in one place of it. Lines of one direction, whichever, are one place; arcs, whose
    /// direction changes within every pass, are many.
    pub in_one_place: f64,
}

impl Column {
    /// Whether its lines change their direction; else they are straight, and the column is the trace of their lobes.
    pub fn bent(&self) -> bool {
        self.in_one_place < BENT
    }
}

/// Mean of ln(power / background) along the column and the number of cells.
fn log_mean(s: &PlaneSpectrum, flat: &Flat, f: f64, normal_deg: f64, from: f64, to: f64) -> (f64, f64) {
    let (ny, nx) = normal_deg.to_radians().sin_cos();
    // Steps of one cell of the smaller side: finer ones would count the same cell twice.
    let (step, cell) = (flat.step, 1.0 / flat.extent);
    let count = (SLOPE * f / cell) as i32;
    let (mut sum, mut n) = (0.0, 0.0);
    for i in -count..=count {
        let g = f64::from(i) * cell;
        if g.abs() < MIDDLE * cell || g < from * f || g > to * f {
            continue;
        }
        let (x, y) = s.cell_of((f * nx - g * ny) * step, (f * ny + g * nx) * step);
        let (x, y) = (x.round() as isize, y.round() as isize);
        if let (Some(p), Some(b)) = (s.log_power_at(x, y), s.log_background_at(x, y)) {
            sum += (p - b).min(6.0);
            n += 1.0;
        }
    }
    (if n > 0.0 { sum / n } else { 0.0 }, n)
}

/// Whether the column is filled along its length: at least three of its four quarters stand out by themselves.
fn filled(s: &PlaneSpectrum, flat: &Flat, f: f64, normal_deg: f64) -> bool {
    let quarter = SLOPE / 2.0;
    let clear = |i: i32| {
        let from = quarter * f64::from(i - 2);
        let (m, n) = log_mean(s, flat, f, normal_deg, from, from + quarter);
        (m + 0.5772) * n.sqrt() / 1.283 / 1.5 > 2.0
    };
    (0..4).filter(|i| clear(*i)).count() >= 3
}

/// Columns along one rough direction (turned by up to `within` degrees), strongest first.
pub(super) fn find(s: &PlaneSpectrum, flat: &Flat, rough_deg: f64, within: f64, weight: f64) -> Vec<Column> {
    let step = flat.step;
    let cell = 1.0 / (step * s.fft_width.max(s.fft_height) as f64);
    // Twenty cells each side at least, or a column cannot be told from a point.
    let lowest = 20.0 / flat.extent / SLOPE;
    let highest = 1.0 / (super::FINEST * step);
    let mut out: Vec<Column> = Vec::new();
    let count = ((highest - lowest) / cell).max(0.0) as usize;
    if count < 30 {
        return out;
    }
    let score_at = |f: f64, normal: f64| {
        let (m, n) = log_mean(s, flat, f, normal, -1.0, 1.0);
        // ln of an exponential variate scatters by pi / sqrt 6 about its mean; neighbouring cells of a tapered floor
        // are not independent, which costs a factor of about 1.5.
        (m + 0.5772) * n.sqrt() / 1.283 / 1.5
    };
    let turns: Vec<f64> = (-3i32..=3).map(|i| rough_deg + within * f64::from(i) / 3.0).collect();
    let rows: Vec<Vec<f64>> =
        turns.par_iter().map(|t| (0..count).map(|i| score_at(lowest + i as f64 * cell, *t)).collect()).collect();
    let mut blocked: Vec<f64> = Vec::new();
    for _ in 0..8 {
        if out.len() == 3 {
            break;
        }
        let mut best = (0usize, 0usize, LEAST * 0.7);
        for (t, row) in rows.iter().enumerate() {
            for i in 2..count - 2 {
                let f = lowest + i as f64 * cell;
                let near = out.iter().any(|c| {
                    let n = (f / c.frequency).round().max(1.0);
                    (f - n * c.frequency).abs() < 6.0 * cell
                }) || blocked.iter().any(|b| (f - b).abs() < 6.0 * cell);
                // Over its neighbours a few cells away, so that a broad hump (grain) does not count.
                let beside = 0.5 * (row[i.saturating_sub(5)] + row[(i + 5).min(count - 1)]);
                if !near && row[i] - beside.max(0.0) > best.2 {
                    best = (t, i, row[i] - beside.max(0.0));
                }
            }
        }
        if best.2 <= LEAST * 0.7 {
            break;
        }
        let (mut f, mut n) = (lowest + best.1 as f64 * cell, turns[best.0]);
        let mut top = score_at(f, n);
        let (mut sf, mut sn) = (cell / 2.0, within / 6.0);
        while sf > cell / 16.0 {
            let mut moved = false;
            for (a, b) in [(sf, 0.0), (-sf, 0.0), (0.0, sn), (0.0, -sn)] {
                let v = score_at(f + a, n + b);
                if v > top {
                    (f, n, top, moved) = (f + a, n + b, v, true);
                }
            }
            if !moved {
                sf /= 2.0;
                sn /= 2.0;
            }
        }
        let c = Column { in_one_place: in_one_place(s, flat, f, n), ..measured(s, step, f, n, top, weight) };
        if top < LEAST {
            break;
        }
        if !filled(s, flat, f, n) {
            // A strong straight family next to this place: block it and go on.
            blocked.push(f);
            continue;
        }
        out.push(c);
    }
    out
}

/// Centres the column by power, cell by cell, and reads its amplitude.
fn measured(s: &PlaneSpectrum, step: f64, f: f64, normal_deg: f64, score: f64, weight: f64) -> Column {
    let (ny, nx) = normal_deg.to_radians().sin_cos();
    let cell = 1.0 / (step * s.fft_width.max(s.fft_height) as f64);
    let count = (SLOPE * f / cell) as i32;
    // Straight line df = a + b g through the power-weighted positions over +-2 cells.
    let (mut sw, mut sg, mut sd, mut sgg, mut sgd, mut power, mut ratio, mut n) =
        (0.0f64, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0f64);
    for i in -count..=count {
        let g = f64::from(i) * cell;
        if g.abs() < 2.0 * MIDDLE * cell {
            // A straight family of the same spacing is not the column's.
            continue;
        }
        n += 1.0;
        for j in -4i32..=4 {
            let d = f64::from(j) * 0.5 * cell;
            let (x, y) = s.cell_of(((f + d) * nx - g * ny) * step, ((f + d) * ny + g * nx) * step);
            let (x, y) = (x.round() as isize, y.round() as isize);
            let (Some(p), Some(b)) = (s.log_power_at(x, y), s.log_background_at(x, y)) else { continue };
            let over = ((p - b).exp() - 1.0).max(0.0);
            if j == 0 {
                ratio += over + 1.0;
            }
            if over > 6.0 {
                let k = over;
                sw += k;
                sg += k * g;
                sd += k * d;
                sgg += k * g * g;
                sgd += k * g * d;
                // Half-cell samples: each cell is met about twice.
                power += (p.exp() - b.exp()).max(0.0) / 2.0;
            }
        }
    }
    let (mut a, mut b, mut sa, mut sb) = (0.0, 0.0, cell, cell / f);
    let det = sw * sgg - sg * sg;
    if sw > 0.0 && det > 0.0 {
        b = (sw * sgd - sg * sd) / det;
        a = (sd - b * sg) / sw;
        // Each cell over the background fixes its centre to about 0.4 cell / sqrt(ratio); sw sums the ratios.
        sa = 0.55 * cell / sw.sqrt();
        sb = 0.55 * cell / (det / sw).sqrt();
    }
    Column {
        frequency: f + a,
        frequency_sigma: sa.max(0.005 * cell),
        // Moving along +g must move f by b: the normal turns back by b.
        normal_deg: wrap_180(normal_deg - b.atan().to_degrees()),
        normal_sigma_deg: sb.atan().to_degrees(),
        score,
        ratio: ratio / n.max(1.0),
        amplitude: 2.0 * power.sqrt() / weight,
        in_one_place: 1.0,
    }
}

/// Largest share of a column's power, its middle included, within a place as wide as straight lines that waver by three
/// degrees (0.05 of the frequency), and never under the column's left-out middle. Cells under seven times their background
/// do not count (noise does that once in a thousand).
fn in_one_place(s: &PlaneSpectrum, flat: &Flat, f: f64, normal_deg: f64) -> f64 {
    let (ny, nx) = normal_deg.to_radians().sin_cos();
    let (step, cell) = (flat.step, 1.0 / flat.extent);
    let count = (STEEPEST * f / cell) as i32;
    let along: Vec<f64> = (-count..=count)
        .map(|i| {
            let g = f64::from(i) * cell;
            let power = |j: i32| {
                let h = f + f64::from(j) * 0.5 * cell;
                let (x, y) = s.cell_of((h * nx - g * ny) * step, (h * ny + g * nx) * step);
                let (x, y) = (x.round() as isize, y.round() as isize);
                let (p, b) = (s.log_power_at(x, y)?, s.log_background_at(x, y)?);
                (p - b > 7f64.ln()).then(|| p.exp() - b.exp())
            };
            (-2..=2).filter_map(power).sum()
        })
        .collect();
    let width = 2 * (0.05 * f / cell).max(MIDDLE) as usize + 1;
    let most = along.windows(width.min(along.len())).map(|w| w.iter().sum::<f64>()).fold(0.0, f64::max);
    let all: f64 = along.iter().sum();
    if all > 0.0 { most / all } else { 1.0 }
}
