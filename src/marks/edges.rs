//! Single long edges: dark or bright lines found by stacking along a direction, window by window, and chained.

use super::comb::Comb;
use super::family;
use super::flatten::Flat;
use super::light::{self, Lamp};
use super::stack::{Stack, Weighed};
use super::types::{Edge, Polarity};
use crate::geometry::Point;
use crate::stats::{fit_line, mad_sigma, median};
use crate::units::{Measured, line_difference, wrap_180};
use rayon::prelude::*;

/// Length of one band along the lines and of the window that is stacked, millimetres. Eight millimetres stack 100 to
/// 250 pixels; shorter edges than about half of it are lost.
const BAND: f64 = 1.0;
const WINDOW: usize = 8;
/// Bands from window to window.
const HOP: usize = 2;
/// Widths of the line looked for, millimetres: rounded steps blurred by the lens up to cast shadows of deep steps.
const WIDTHS: [f64; 4] = [0.2, 0.35, 0.6, 1.0];
/// Noise sigmas for a window to count, and for a whole chain.
const WINDOW_SNR: f64 = 4.5;
const CHAIN_SNR: f64 = 9.0;
/// Sideways play from window to window, millimetres: a straight edge 1.5 degrees off the direction moves 0.05.
const PLAY: f64 = 0.12;
/// Largest rms departure from a straight line over a chain, millimetres. Grain bends by more.
const CROOKED: f64 = 0.08;
/// Share of its missing light that a line must keep over twice its width to be a step.
const MADE_GOOD: f64 = 0.4;
/// Most edges handed on.
const MOST: usize = 200;
/// Light of an edge that is left once a family is taken off, over that of one of the family's lines, from which it stands out: one
/// line that is missing among its like leaves as much of the other sign.
const OVER: f64 = 1.5;
/// Difference of such an edge from one flank over that from the other under which it is none: beside a strong line the ground
/// itself looks like one of the other sign. (A ridge's lit and dark flank touch: single edges are not asked for this.)
const ONE_SIDED: f64 = 0.4;
/// Length of such an edge, share of the floor's smaller side: half a pass.
const OVER_LENGTH: f64 = 0.5;
/// Combs within this many degrees are taken off together: over 100 mm a hundredth of a millimetre smears nothing.
const SAME_DEG: f64 = 0.02;
/// More of them along one family are its own unevenness: a first pass has two sides, two of them four.
const OVER_MOST: usize = 4;

#[derive(Debug, Clone, Copy)]
struct Hit {
    window: usize,
    t: f64,
    deficit: f64,
    snr: f64,
    width: f64,
}

/// One chain measured.
struct Looked {
    edge: Edge,
    /// The light that it takes or adds is not made good beside it.
    step: bool,
    /// It differs from one flank only.
    one_sided: bool,
}

/// Finds edges along the given directions (normals, degrees); along `regular` ones lines repeat and may crowd the floor. Those
/// along a straight family, and stronger than its lines, are looked for once more with the family taken off.
pub(super) fn find(
    flat: &Flat,
    floor: &Weighed,
    normals: &[f64],
    regular: &[f64],
    combs: &[Comb],
    lamp: &Lamp,
) -> Vec<Edge> {
    let mut all: Vec<Looked> = normals
        .par_iter()
        .flat_map_iter(|n| {
            let crowded = regular.iter().any(|r| line_difference(*n, *r).abs() < 1.0);
            along(flat, &stack(flat, floor, *n), lamp, crowded)
        })
        .collect();
    let first = |(i, c): &(usize, &Comb)| !combs[..*i].iter().any(|o| same_direction(o, c));
    let over: Vec<Looked> =
        combs.par_iter().enumerate().filter(first).flat_map_iter(|(_, c)| over(flat, floor, c, combs, lamp)).collect();
    all.extend(over);
    // Steps first: the bright rim a camera's sharpening draws beside a step must not stand for it.
    all.sort_by(|a, b| b.step.cmp(&a.step).then(b.edge.snr.total_cmp(&a.edge.snr)));
    let mut kept: Vec<Edge> = Vec::new();
    for Looked { edge: e, .. } in all {
        let doubled = kept.iter().any(|k| same_line(k, &e, flat.unit) || echo(k, &e, flat.unit));
        if !doubled {
            kept.push(e);
        }
        if kept.len() == MOST {
            break;
        }
    }
    kept.sort_by(|a, b| b.snr.total_cmp(&a.snr));
    kept
}

/// Whether an edge is another look at one already kept: its middle lies on it and the directions agree.
fn same_line(a: &Edge, b: &Edge, unit: f64) -> bool {
    if line_difference(a.normal_deg, b.normal_deg).abs() > 20.0 {
        return false;
    }
    let (sy, sx) = a.normal_deg.to_radians().sin_cos();
    let m = b.from.lerp(b.to, 0.5) - a.from.lerp(a.to, 0.5);
    let (across, along) = ((m.x * sx + m.y * sy).abs(), (m.y * sx - m.x * sy).abs());
    across < 0.45 * unit && along < 0.5 * a.length.max(b.length)
}

/// Whether an edge is the halo of a far stronger one beside it (sharpening, the filter's own flanks).
fn echo(a: &Edge, b: &Edge, unit: f64) -> bool {
    let (sy, sx) = a.normal_deg.to_radians().sin_cos();
    let m = b.from.lerp(b.to, 0.5) - a.from.lerp(a.to, 0.5);
    let (across, along) = ((m.x * sx + m.y * sy).abs(), (m.y * sx - m.x * sy).abs());
    line_difference(a.normal_deg, b.normal_deg).abs() < 10.0
        && across < 1.6 * unit
        && along < 0.5 * a.length.max(b.length)
        && b.deficit.value.abs() < 0.25 * a.deficit.value.abs()
}

/// The floor in bands about a millimetre wide along lines of this normal.
fn stack(flat: &Flat, floor: &Weighed, normal_deg: f64) -> Stack {
    let reach = {
        let [x0, y0, x1, y1] = flat.bounds;
        let (s, c) = normal_deg.to_radians().sin_cos();
        ((x1 - x0) as f64 * s.abs() + (y1 - y0) as f64 * c.abs()) * flat.step
    };
    let bands = (reach / (BAND * flat.unit)).ceil().clamp(4.0, 400.0) as usize;
    Stack::of(flat, floor, normal_deg, bands)
}

fn same_direction(a: &Comb, b: &Comb) -> bool {
    line_difference(a.normal_deg, b.normal_deg).abs() < SAME_DEG
}

/// Edges that stand out of the lines of the families along one direction.
fn over(flat: &Flat, floor: &Weighed, comb: &Comb, combs: &[Comb], lamp: &Lamp) -> Vec<Looked> {
    let mut stack = stack(flat, floor, comb.normal_deg);
    let mut line = 0.0;
    for c in combs.iter().filter(|c| same_direction(c, comb)) {
        let folded = family::fold(&stack, c.own_frequency());
        // Thin lines of one sign on an even ground hold half of what departs from the mean, their ground the other half.
        let light = folded.iter().map(|v| v.abs()).sum::<f64>() / folded.len() as f64 / (2.0 * c.own_frequency());
        line = f64::max(line, light);
        stack.remove(c.own_frequency(), &folded);
    }
    let mut out: Vec<Looked> = along(flat, &stack, lamp, false);
    out.retain(|l| {
        !l.one_sided && l.edge.deficit.value.abs() > OVER * line && l.edge.length > OVER_LENGTH * flat.extent
    });
    out.iter_mut().for_each(|l| l.edge.stands_out = true);
    if out.len() > OVER_MOST { vec![] } else { out }
}

fn along(flat: &Flat, stack: &Stack, lamp: &Lamp, crowded: bool) -> Vec<Looked> {
    let bands = stack.bands;
    let table = Table::of(stack);
    let hits: Vec<Vec<Hit>> = (0..bands.saturating_sub(WINDOW).max(1))
        .step_by(HOP)
        .map(|b| window_hits(stack, &table, b, (b + WINDOW).min(bands), flat, crowded))
        .collect();
    chains(&hits, flat).into_iter().filter_map(|chain| measured(&chain, stack, &table, flat, lamp, crowded)).collect()
}

/// Running sums over bins, band by band, so that any window's mean is two look-ups.
struct Table {
    bins: usize,
    sum: Vec<f64>,
    weight: Vec<f64>,
}

impl Table {
    fn of(stack: &Stack) -> Self {
        let n = stack.bins + 1;
        let (mut sum, mut weight) = (vec![0.0; n * stack.bands], vec![0.0; n * stack.bands]);
        for b in 0..stack.bands {
            for i in 0..stack.bins {
                sum[b * n + i + 1] = sum[b * n + i] + stack.sum[b * stack.bins + i];
                weight[b * n + i + 1] = weight[b * n + i] + stack.weight[b * stack.bins + i];
            }
        }
        Self { bins: n, sum, weight }
    }
    /// (sum, weight) of bins from `a` to `b` in one band.
    fn between(&self, band: usize, a: usize, b: usize) -> (f64, f64) {
        let (a, b) = (a.min(self.bins - 1), b.min(self.bins - 1));
        let r = band * self.bins;
        (self.sum[r + b] - self.sum[r + a], self.weight[r + b] - self.weight[r + a])
    }
}

/// Missing light across a line of `width` bins centred at bin `c`, from prefix sums: core mean below the mean of both
/// flanks, times the width in floor units. `None` where core or a flank is not floor.
fn deficit(between: impl Fn(usize, usize) -> (f64, f64), c: usize, width: usize, dt: f64, full: f64) -> Option<f64> {
    sides(between, c, width, dt, full).map(both)
}

/// Against both flanks together.
fn both(sides: [f64; 2]) -> f64 {
    0.5 * (sides[0] + sides[1])
}

/// The same against each flank alone.
fn sides(between: impl Fn(usize, usize) -> (f64, f64), c: usize, width: usize, dt: f64, full: f64) -> Option<[f64; 2]> {
    let half = width / 2;
    let gap = half + width / 2 + 1;
    let outer = gap + width.max(6);
    if c < outer {
        return None;
    }
    let core = between(c - half, c - half + width);
    let left = between(c - outer, c - gap);
    let right = between(c + gap + 1, c + outer + 1);
    // `full` is the weight of one bin wholly on the floor.
    let enough = |v: (f64, f64), bins: usize| v.1 > 0.6 * full * bins as f64;
    if !enough(core, width) || !enough(left, outer - gap) || !enough(right, outer - gap) {
        return None;
    }
    Some([left, right].map(|f| (f.0 / f.1 - core.0 / core.1) * width as f64 * dt))
}

fn window_hits(stack: &Stack, table: &Table, from: usize, to: usize, flat: &Flat, crowded: bool) -> Vec<Hit> {
    let n = table.bins;
    let (mut sum, mut weight) = (vec![0.0; n], vec![0.0; n]);
    for b in from..to {
        for i in 0..n {
            sum[i] += table.sum[b * n + i];
            weight[i] += table.weight[b * n + i];
        }
    }
    let full = full_bin(stack, flat) * (to - from) as f64;
    let between = |a: usize, b: usize| {
        let (a, b) = (a.min(n - 1), b.min(n - 1));
        (sum[b] - sum[a], weight[b] - weight[a])
    };
    let mut hits: Vec<Hit> = Vec::new();
    for w in WIDTHS {
        let width = ((w * flat.unit).max(3.0 * flat.step) / stack.dt).round() as usize;
        let d: Vec<Option<f64>> = (0..stack.bins).map(|c| deficit(between, c, width, stack.dt, full)).collect();
        let known: Vec<f64> = d.iter().flatten().copied().collect();
        if known.len() < 8 * width {
            continue;
        }
        // Grain is a population of lines without gaps: its upper fifth sets the noise. Single edges cover less than
        // that; a family with its halos may cover half, so there the median alone counts.
        let sizes: Vec<f64> = known.iter().map(|v| v.abs()).collect();
        let crowd = crate::stats::percentile(&sizes, 80.0).map_or(0.0, |p| p / 1.2816);
        let Some(noise) = mad_sigma(&known).map(|s| if crowded { s } else { s.max(crowd) }).filter(|s| *s > 0.0) else {
            continue;
        };
        for c in 1..stack.bins - 1 {
            let Some(v) = d[c] else { continue };
            let snr = v.abs() / noise;
            let beside = |i: usize| d[i].map_or(0.0, |x| x * v.signum());
            if snr < WINDOW_SNR || v.abs() < beside(c - 1) || v.abs() <= beside(c + 1) {
                continue;
            }
            hits.push(Hit { window: from / HOP, t: stack.t_at(c), deficit: v, snr, width: width as f64 * stack.dt });
        }
    }
    // One hit per place: the strongest within its own width; opposite flanks of a strong line are its own doing.
    hits.sort_by(|a, b| b.snr.total_cmp(&a.snr));
    let mut kept: Vec<Hit> = Vec::new();
    for h in hits {
        let shadowed = kept.iter().any(|k| {
            let wide = k.width.max(h.width);
            let reach = 2.5 * wide + 0.1 * flat.unit;
            (k.t - h.t).abs() < if k.deficit * h.deficit > 0.0 { 0.8 * wide } else { reach }
                && (k.deficit * h.deficit > 0.0 || h.deficit.abs() < 0.5 * k.deficit.abs())
        });
        if !shadowed {
            kept.push(h);
        }
    }
    kept
}

/// Weight of one bin of one band wholly on the floor: samples per bin area.
fn full_bin(stack: &Stack, flat: &Flat) -> f64 {
    stack.dt * stack.du / (flat.step * flat.step)
}

/// Chains of hits from window to window with the same sign and little sideways play.
fn chains(hits: &[Vec<Hit>], flat: &Flat) -> Vec<Vec<Hit>> {
    let mut order: Vec<(usize, usize)> =
        hits.iter().enumerate().flat_map(|(w, h)| (0..h.len()).map(move |i| (w, i))).collect();
    order.sort_by(|a, b| hits[b.0][b.1].snr.total_cmp(&hits[a.0][a.1].snr));
    let mut used: Vec<Vec<bool>> = hits.iter().map(|h| vec![false; h.len()]).collect();
    let mut out = Vec::new();
    for (w, i) in order {
        if used[w][i] {
            continue;
        }
        used[w][i] = true;
        let seed = hits[w][i];
        let mut chain = vec![seed];
        for forward in [true, false] {
            let mut last = seed;
            let mut missed = 0;
            let mut at = w;
            loop {
                let next = if forward { at + 1 } else { at.wrapping_sub(1) };
                if next >= hits.len() || missed > 2 {
                    break;
                }
                at = next;
                let play = PLAY * flat.unit * (1.0 + f64::from(missed) * 0.5) + 0.5 * flat.step;
                let best = (0..hits[at].len())
                    .filter(|j| !used[at][*j] && hits[at][*j].deficit * seed.deficit > 0.0)
                    .filter(|j| (hits[at][*j].t - last.t).abs() < play)
                    .min_by(|a, b| (hits[at][*a].t - last.t).abs().total_cmp(&(hits[at][*b].t - last.t).abs()));
                match best {
                    Some(j) => {
                        used[at][j] = true;
                        last = hits[at][j];
                        chain.push(last);
                        missed = 0;
                    }
                    None => missed += 1,
                }
            }
        }
        chain.sort_by_key(|h| h.window);
        out.push(chain);
    }
    out
}

/// One chain becomes an edge: straight line, deficit with its scatter, height.
fn measured(chain: &[Hit], stack: &Stack, table: &Table, flat: &Flat, lamp: &Lamp, crowded: bool) -> Option<Looked> {
    if chain.len() < 2 {
        return None;
    }
    let centre = |h: &Hit| stack.u0 + ((h.window * HOP) as f64 + WINDOW as f64 / 2.0) * stack.du;
    let (u, t): (Vec<f64>, Vec<f64>) = chain.iter().map(|h| (centre(h), h.t)).unzip();
    let (a, b) = match fit_line(&u, &t, None) {
        Some((a, b, _, _)) => (a, b),
        None => {
            let b = (t[1] - t[0]) / (u[1] - u[0]);
            (t[0] - b * u[0], b)
        }
    };
    let off: f64 = u.iter().zip(&t).map(|(u, t)| (t - a - b * u).powi(2)).sum::<f64>() / u.len() as f64;
    if off.sqrt() > CROOKED * flat.unit + 0.3 * flat.step || b.abs() > 0.05 {
        return None;
    }
    // A window reaches half its length past the edge's end before the edge fades out of it.
    let ends = (u[0] - 0.25 * WINDOW as f64 * stack.du, u[u.len() - 1] + 0.25 * WINDOW as f64 * stack.du);
    let width = median(&chain.iter().map(|h| h.width).collect::<Vec<_>>())?;
    let full = full_bin(stack, flat);
    let bands: Vec<usize> = (0..stack.bands).filter(|b| (ends.0..=ends.1).contains(&stack.u_at(*b))).collect();
    let flanks = |wide: f64| -> Vec<[f64; 2]> {
        let bins = (wide / stack.dt).round() as usize;
        bands
            .iter()
            .filter_map(|&k| {
                let c = ((a + b * stack.u_at(k) - stack.t0) / stack.dt).round().max(0.0) as usize;
                sides(|x, y| table.between(k, x, y), c, bins, stack.dt, full)
            })
            .collect()
    };
    let value = |wide: f64| flanks(wide).into_iter().map(both).collect::<Vec<f64>>();
    // Twice the width that stands out best holds the whole line, rounded flanks and blur included; where neighbours or
    // a sharpened rim reach into that, a narrower one holds more of it, and a wide cast shadow needs more.
    let widths: &[f64] = if crowded { &[2.0, 1.4, 1.0] } else { &[2.0, 2.8, 1.4, 1.0] };
    let tried: Vec<(f64, f64)> = widths
        .iter()
        .map(|k| value(k * width))
        .filter(|v| v.len() >= 4)
        .filter_map(|v| crate::stats::mean_sd(&v).map(|(m, sd)| (m, sd / (v.len() as f64).sqrt())))
        .collect();
    let usual = tried.first()?.0;
    let (mean, scatter) = tried.iter().copied().max_by(|a, b| (a.0 * usual).total_cmp(&(b.0 * usual)))?;
    let sigma = scatter.hypot(0.5 * (mean - usual));
    // Light made good right beside the line: a groove or a rim, no step.
    let step = usual.abs() > MADE_GOOD * mean.abs();
    let by_flank = flanks(width);
    let narrow: Vec<f64> = by_flank.iter().copied().map(both).collect();
    let one = |k: usize| by_flank.iter().map(|s| s[k]).sum::<f64>() / by_flank.len().max(1) as f64 * mean.signum();
    let one_sided = one(0).min(one(1)) < ONE_SIDED * one(0).max(one(1));
    let (nm, ns) = crate::stats::mean_sd(&narrow)?;
    let snr = nm.abs() / (ns / (narrow.len() as f64).sqrt()).max(1e-9);
    let windows = (chain.iter().map(|h| h.snr * h.snr).sum::<f64>() * HOP as f64 / WINDOW as f64).sqrt();
    if snr.min(windows) < CHAIN_SNR.min(WINDOW_SNR * 1.6) || usual * chain[0].deficit <= 0.0 {
        return None;
    }
    let turn = b.atan();
    let normal = stack.normal_deg.to_radians();
    let point = |u: f64| {
        let t = a + b * u;
        Point::new(
            flat.middle.x + t * normal.cos() - u * normal.sin(),
            flat.middle.y + t * normal.sin() + u * normal.cos(),
        )
    };
    let (from, to) = (point(ends.0), point(ends.1));
    // t = a + b u: the line leans by atan(b), its normal turns back by it.
    let normal_deg = wrap_180(stack.normal_deg - turn.to_degrees());
    let (s, c) = normal_deg.to_radians().sin_cos();
    let deficit = Measured::new(mean, sigma)?;
    let edge = Edge {
        from,
        to,
        offset: from.x * c + from.y * s,
        length: from.distance(to),
        normal_deg,
        polarity: if mean > 0.0 { Polarity::Shade } else { Polarity::Lit },
        deficit,
        snr: snr.min(windows),
        height_um: light::step_height(deficit, lamp, normal_deg, width).filter(|_| step),
        chroma_share: None,
        stands_out: false,
    };
    Some(Looked { edge, step, one_sided })
}
