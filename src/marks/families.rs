//! The search for line families: along the pocket's axes first, then wherever the plane's spectrum has points.

use super::blocks::Blocks;
use super::columns::{self, Column};
use super::comb::Comb;
use super::curved;
use super::family;
use super::flatten::Flat;
use super::peaks::{self, Peak};
use super::search::{Candidate, Ray};
use super::stack::{Stack, Weighed};
use super::types::Family;
use crate::raster::Plane;
use crate::signal::PlaneSpectrum;
use crate::units::line_difference;

/// Families are kept when the background alone would make one in fewer than one floor of a hundred.
pub(super) const FALSE_ALARM: f64 = 0.01;
/// Faintest contrast (rms) of a family, half of what an eye needs at best: under it a camera's own patterns (sampling,
/// compression) are as strong, and no user would ask.
pub(super) const FAINTEST: f64 = 0.003;
/// Most families reported.
const MOST: usize = 6;
/// Directions looked at beyond the axes.
const MOST_DIRECTIONS: usize = 8;
/// Bands along the lines.
const BANDS: usize = 16;
/// The same where lines may drift or change from pass to pass.
const FINE_BANDS: usize = 48;
/// Odd harmonics of a doubled period count when they hold this share of the lines' brightness change (rms); below it
/// they are reported as alternation of the shorter period.
const ODD_SHARE: f64 = 0.3;

/// ln of power over background from which a point's lobes reach the axes: two tapered lobes away a line is down by as
/// much.
const LOUD: f64 = 7.0;
/// Combs looked at along one direction, those that turn out to be nothing among them.
const TRIES: usize = 5;
/// Turn, radians, from which lines of another direction show along this one as lobes.
const LOBES_FROM: f64 = 0.01;
/// Turn left between stack and comb, cells of its highest harmonic: a fifth of a cell smears nothing.
const TURN_LEFT: f64 = 0.2;

/// What the search leaves behind: `combs` holds the straight families' fits (curved ones have none).
pub(super) struct Found {
    pub families: Vec<Family>,
    pub combs: Vec<Comb>,
    /// Stack and ray of the leading direction.
    pub lead: Option<(Stack, Ray)>,
    /// Normals of the pocket's axes (snapped to the lines) and of the families found.
    pub directions: Vec<f64>,
    /// Smallest false-alarm chance met.
    pub least: f64,
}

pub(super) struct Search<'a> {
    pub flat: &'a Flat,
    pub taper: &'a Plane,
    pub tapered: &'a Weighed,
    /// The used floor with even weight.
    pub whole: &'a Weighed,
    pub spectrum: &'a PlaneSpectrum,
    pub peaks: Vec<Peak>,
    /// Independent cells of the searched half plane: the number of trials.
    pub trials: f64,
    pub blocks: Option<Blocks>,
    /// Shortest period looked for, samples.
    pub shortest: f64,
}

impl<'a> Search<'a> {
    pub fn new(
        flat: &'a Flat,
        taper: &'a Plane,
        tapered: &'a Weighed,
        whole: &'a Weighed,
        spectrum: &'a PlaneSpectrum,
        blocks: Option<Blocks>,
        shortest: f64,
    ) -> Self {
        let area: f64 = taper.data.iter().map(|v| f64::from(*v)).sum::<f64>() * flat.step.powi(2);
        let highest = 1.0 / (shortest * flat.step);
        let trials = (std::f64::consts::FRAC_PI_2 * highest * highest * area).max(10.0);
        let least = (trials.ln() + 2.0).ln();
        let peaks = peaks::find(spectrum, flat, least, shortest);
        Self { flat, taper, tapered, whole, spectrum, peaks, trials, blocks, shortest }
    }

    pub fn stack(&self, normal_deg: f64) -> Stack {
        Stack::of(self.flat, self.tapered, normal_deg, BANDS)
    }

    /// All families, strongest brightness change first.
    pub fn run(&self, axis_deg: f64) -> Found {
        let mut found =
            Found { families: Vec::new(), combs: Vec::new(), lead: None, directions: Vec::new(), least: 1.0 };
        let mut looked: Vec<f64> = Vec::new();
        let mut columns = Vec::new();
        let weight: f64 = self.taper.data.iter().map(|v| f64::from(*v)).sum();
        // The strongest point first, wherever it lies: its lobes reach far along the axes.
        if let Some(p) = self.peaks.first().filter(|p| p.log_ratio > LOUD) {
            let turn = line_difference(p.normal_deg(), axis_deg).abs();
            if turn > 2.0 && turn < 88.0 {
                self.along(p.normal_deg(), &mut found);
                looked.push(p.normal_deg());
            }
        }
        for axis in [axis_deg, axis_deg + 90.0] {
            let normal = peaks::snap(axis, &self.peaks, 2.0);
            self.along(normal, &mut found);
            looked.push(normal);
            columns.extend(columns::find(self.spectrum, self.flat, normal, 1.2, weight));
        }
        found.directions = looked.clone();
        for p in &self.peaks {
            if looked.len() >= 2 + MOST_DIRECTIONS {
                break;
            }
            // Within a cell of a direction already looked at, or explained by what is found: nothing new.
            let cell_deg = (1.0 / (p.frequency() * self.flat.extent)).to_degrees();
            let near = looked.iter().any(|d| line_difference(p.normal_deg(), *d).abs() < cell_deg.max(0.5));
            if near || self.in_column(p, &columns) || self.is_sum(p, &found.combs) {
                continue;
            }
            let normal = p.normal_deg();
            self.along(normal, &mut found);
            looked.push(normal);
        }
        self.weed(&mut found);
        for (f, c) in found.families.iter_mut().zip(&found.combs) {
            let fine = Stack::of(self.flat, self.whole, c.normal_deg, FINE_BANDS);
            family::place(f, c, &fine);
            family::localise(f, c, &fine);
            family::apart(f, c, &fine);
        }
        let counts =
            |f: &Family| f.contrast >= FAINTEST && super::is_looked_for(f.pitch.value / self.flat.step, self.shortest);
        let mut order: Vec<usize> = (0..found.families.len()).filter(|i| counts(&found.families[*i])).collect();
        let rank: Vec<f64> = (0..found.families.len()).map(|i| own_contrast(&found, i)).collect();
        order.sort_by(|a, b| rank[*b].total_cmp(&rank[*a]));
        found.families = order.iter().map(|i| found.families[*i].clone()).collect();
        found.combs = order.iter().map(|i| found.combs[*i].clone()).collect();
        for c in &found.combs {
            if found.directions.iter().all(|d| line_difference(c.normal_deg, *d).abs() > 0.5) {
                found.directions.push(c.normal_deg);
            }
        }
        curved::merge(&mut found, &columns, self.flat);
        found.families.truncate(MOST);
        found
    }

    fn in_column(&self, p: &Peak, columns: &[Column]) -> bool {
        columns.iter().any(|c| {
            let (s, k) = c.normal_deg.to_radians().sin_cos();
            let f = (p.fx * k + p.fy * s).abs() / c.frequency;
            f.round() >= 1.0 && (f - f.round()).abs() * c.frequency < 3.0 / self.flat.extent
        })
    }

    /// Drops what is no family of its own: lines that keep step over too little of the floor, satellites of a stronger
    /// family (its own irregularity seen as a second direction), sums of two others.
    fn weed(&self, found: &mut Found) {
        let mut order: Vec<usize> = (0..found.families.len()).collect();
        order.sort_by(|a, b| found.families[*b].contrast.total_cmp(&found.families[*a].contrast));
        let mut kept: Vec<usize> = Vec::new();
        for i in order {
            let (f, c) = (&found.families[i], &found.combs[i]);
            let share = f.coherent_passes / (c.reach.length() * c.frequency);
            let steady = (f.coverage >= 0.45 && share >= 0.25) || (f.coverage >= 0.3 && share >= 0.5 && f.jitter < 0.1);
            if !steady {
                continue;
            }
            let v = vector(c);
            let satellite = kept.iter().any(|k| {
                let host = &found.combs[*k];
                let h = vector(host);
                (1..=4).any(|m| {
                    let m = f64::from(m);
                    let apart = ((v.0 - m * h.0).hypot(v.1 - m * h.1)).min((v.0 + m * h.0).hypot(v.1 + m * h.1));
                    apart > 0.0
                        && line_difference(c.normal_deg, host.normal_deg).abs() > 0.3
                        && apart < 0.3 * host.frequency
                        && f.contrast < 0.3 * found.families[*k].contrast
                })
            });
            // The same lines once more (bent by the lens, they fit two straight combs), or a stronger comb's harmonic.
            let again = kept.iter().any(|k| {
                let host = &found.combs[*k];
                let (turn, ratio) =
                    (line_difference(c.normal_deg, host.normal_deg).abs(), c.frequency / host.frequency);
                let harmonic = ratio.round() >= 2.0
                    && (ratio - ratio.round()).abs() < 0.03
                    && turn < 1.0
                    && f.contrast < 0.5 * found.families[*k].contrast;
                harmonic || (turn < 3.0 && (ratio - 1.0).abs() < 0.03)
            });
            let axes: Vec<Comb> =
                found.combs.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, c)| c.clone()).collect();
            let p = Peak { fx: v.0, fy: v.1, log_ratio: 0.0, log_power: 0.0 };
            let oblique = kept.iter().all(|k| {
                let d = line_difference(c.normal_deg, found.combs[*k].normal_deg).abs();
                d > 1.0 && d < 89.0
            });
            // An oblique line a fiftieth as strong as the strongest is an echo of it (arcs, JPEG blocks), not a cause.
            let echo = oblique && kept.first().is_some_and(|k| f.contrast < 0.02 * found.families[*k].contrast);
            if again || echo || satellite || (oblique && self.is_pair_sum(&p, &axes)) {
                continue;
            }
            kept.push(i);
        }
        found.families = kept.iter().map(|k| found.families[*k].clone()).collect();
        found.combs = kept.iter().map(|k| found.combs[*k].clone()).collect();
    }

    /// Whether a peak is a whole-number sum of two combs of different directions.
    fn is_pair_sum(&self, p: &Peak, combs: &[Comb]) -> bool {
        let tolerance = 1.5 / self.flat.extent;
        combs.iter().enumerate().any(|(i, a)| {
            let va = vector(a);
            combs.iter().skip(i + 1).filter(|b| line_difference(a.normal_deg, b.normal_deg).abs() > 20.0).any(|b| {
                let vb = vector(b);
                (-8i32..=8).filter(|m| *m != 0).any(|m| {
                    (-8i32..=8).filter(|n| *n != 0).any(|n| {
                        let (m, n) = (f64::from(m), f64::from(n));
                        (m * va.0 + n * vb.0 - p.fx).hypot(m * va.1 + n * vb.1 - p.fy) < tolerance
                    })
                })
            })
        })
    }

    /// Whether a peak lies in the side lobes of a comb's multiples or is a whole-number sum of two combs.
    fn is_sum(&self, p: &Peak, combs: &[Comb]) -> bool {
        let lobes = 5.0 / self.flat.extent;
        let multiple = combs.iter().any(|c| {
            let v = vector(c);
            (1..=8).any(|m| {
                let m = f64::from(m);
                (m * v.0 - p.fx).hypot(m * v.1 - p.fy).min((m * v.0 + p.fx).hypot(m * v.1 + p.fy)) < lobes
            })
        });
        multiple || self.is_pair_sum(p, combs)
    }

    /// Looks for combs along one direction and adds what it finds. Among letters a second look, with the lines' weights evened,
    /// where the first finds nothing: evening lifts the noise of lines of which little is left.
    fn along(&self, normal_deg: f64, found: &mut Found) {
        let before = found.families.len();
        let stack = self.stack(normal_deg);
        let evened = stack.evened(self.flat.extent);
        self.look(stack, 1.0, found);
        if let Some(evened) = evened.filter(|_| found.families.len() == before) {
            self.look(evened, 2.0, found);
        }
    }

    /// One look along a stack's direction; `looks`: how many there are with this one.
    fn look(&self, mut stack: Stack, looks: f64, found: &mut Found) {
        let normal_deg = stack.normal_deg;
        let mut ray = Ray::of(&stack, Some(self.spectrum), self.flat.step, self.shortest);
        let mut whole: Option<(Stack, Ray)> = None;
        // Lobes of what runs in other directions are no lines of this one.
        let mut taken: Vec<f64> = found
            .combs
            .iter()
            .filter_map(|c| {
                let turn = line_difference(c.normal_deg, normal_deg).to_radians();
                let seen = c.own_frequency() * turn.cos();
                (turn.abs() > LOBES_FROM && seen > ray.lowest).then_some(seen)
            })
            .collect();
        let mut own = 0;
        for _ in 0..TRIES {
            let Some(candidate) = ray.best(&taken) else { break };
            let rough = self.false_alarm(candidate.log_p, looks);
            if rough > FALSE_ALARM {
                found.least = found.least.min(rough);
                break;
            }
            let Some(mut comb) = self.settle(&stack, &ray, &candidate, &taken) else { break };
            if own == 0 {
                match self.aligned(&mut stack, &mut ray, comb, looks > 1.0) {
                    Some(c) => comb = c,
                    None => break,
                }
            }
            taken.push(comb.frequency);
            let false_alarm = rough.max(self.false_alarm(comb.log_chance(), looks));
            if false_alarm > FALSE_ALARM {
                found.least = found.least.min(false_alarm);
                continue;
            }
            let known = found.combs.iter().any(|c| {
                line_difference(c.normal_deg, comb.normal_deg).abs() < 1.0
                    && (c.own_frequency() / comb.own_frequency() - 1.0).abs() < 0.02
            });
            let described = family::describe(&comb, &stack, &ray, false_alarm);
            let Some(f) = described.filter(|_| !known && enough(&comb)) else { break };
            if self
                .blocks
                .as_ref()
                .is_some_and(|b| b.own(comb.own_frequency(), comb.normal_deg, f.contrast, comb.reach.length()))
            {
                continue;
            }
            found.least = found.least.min(false_alarm);
            own += 1;
            let mut rest = stack.clone();
            rest.remove(comb.frequency, &family::fold(&stack, comb.frequency));
            self.with_shorter(&stack, &ray, &comb, false_alarm, found);
            found.families.push(f);
            found.combs.push(comb);
            if let Some((all, all_ray)) = &whole {
                lengthen(found, all, all_ray);
            }
            let again = Ray::of(&rest, Some(self.spectrum), self.flat.step, self.shortest);
            let before = (std::mem::replace(&mut stack, rest), std::mem::replace(&mut ray, again));
            whole.get_or_insert(before);
        }
        let lead = whole.unwrap_or((stack, ray));
        if found.lead.is_none() || (found.combs.len() == own && own > 0) {
            found.lead = Some(lead);
        }
    }

    /// Turns the stack onto a comb's own direction and fits it anew, until the direction stands still: it sharpens
    /// everything that follows.
    fn aligned(&self, stack: &mut Stack, ray: &mut Ray, mut comb: Comb, evenly: bool) -> Option<Comb> {
        for _ in 0..4 {
            let turn = line_difference(comb.normal_deg, stack.normal_deg).abs();
            let cell_deg = (1.0 / (comb.frequency * self.flat.extent)).to_degrees();
            if turn < (TURN_LEFT * cell_deg / comb.sums.len() as f64).max(0.01) {
                break;
            }
            let turned = self.stack(comb.normal_deg);
            let evened = turned.evened(self.flat.extent).filter(|_| evenly);
            *stack = evened.unwrap_or(turned);
            *ray = Ray::of(stack, Some(self.spectrum), self.flat.step, self.shortest);
            comb = Comb::fit(stack, ray, comb.own_frequency(), comb.sums.len())?;
        }
        Some(comb)
    }

    /// Where every second line of a comb is much like the first, the shorter period is true as well: it is reported
    /// beside the longer. An odd share under 0.6 means a folded profile that repeats at half its length (correlation
    /// 1 - 2 x 0.36 = 0.28); evenly spaced single lines have 0.71.
    fn with_shorter(&self, stack: &Stack, ray: &Ray, comb: &Comb, false_alarm: f64, found: &mut Found) {
        if comb.sums.len() < 2 || comb.share_off(2) > 0.6 {
            return;
        }
        let f = comb.frequency * 2.0;
        if f > ray.highest || comb.share_off(2) < ODD_SHARE {
            return;
        }
        let Some(half) = Comb::fit(stack, ray, f, comb.sums.len() / 2) else { return };
        if let Some(d) = family::describe(&half, stack, ray, false_alarm) {
            found.families.push(d);
            found.combs.push(half);
        }
    }

    fn false_alarm(&self, log_p: f64, looks: f64) -> f64 {
        // Seven numbers of harmonics are tried at each frequency, strongly dependent: counted as three.
        (log_p + (3.0 * looks * self.trials).ln()).exp().min(1.0)
    }

    /// The fundamental of a candidate: the longest period whose odd harmonics matter, the shortest otherwise.
    fn settle(&self, stack: &Stack, ray: &Ray, c: &Candidate, taken: &[f64]) -> Option<Comb> {
        let count = |f: f64| ((ray.highest / f) as usize).clamp(1, 16);
        let mut comb = Comb::fit(stack, ray, c.frequency, count(c.frequency))?;
        // Every k-th harmonic only: the period is k times shorter. All primes up to the most harmonics that a candidate may have: one
        // strong line (its evidence is capped) among noise looks like the seventh of a longer period.
        for k in [11usize, 7, 5, 3, 2] {
            while comb.sums.len() >= k && comb.share_off(k) < ODD_SHARE {
                let f = comb.frequency * k as f64;
                comb = Comb::fit(stack, ray, f, count(f))?;
            }
        }
        // Lines between the lines: the period is k times longer.
        for k in [2usize, 3] {
            let f = comb.frequency / k as f64;
            if f < ray.lowest || taken.iter().any(|t| (t / f - 1.0).abs() < 0.05) {
                continue;
            }
            let longer = Comb::fit(stack, ray, f, count(f))?;
            if longer.share_off(k) >= ODD_SHARE && longer.evidence_off(k) > (3.0 * self.trials).ln() {
                comb = longer;
            }
        }
        Some(comb)
    }
}

/// Where the newest comb has two or three times the period of one found before it along the same direction (which was
/// then taken out), it is described anew with all harmonics, and the shorter one goes if it no longer repeats by itself.
fn lengthen(found: &mut Found, stack: &Stack, ray: &Ray) {
    let Some(newest) = found.combs.last() else { return };
    let last = found.combs.len() - 1;
    for i in 0..last {
        let ratio = found.combs[i].frequency / newest.frequency;
        let k = ratio.round();
        let same = line_difference(found.combs[i].normal_deg, newest.normal_deg).abs() < 0.5;
        if !same || !(k == 2.0 || k == 3.0) || (ratio - k).abs() > 0.03 {
            continue;
        }
        let count = ((ray.highest / newest.frequency) as usize).clamp(1, 16);
        let Some(comb) = Comb::fit(stack, ray, newest.frequency, count) else { return };
        let Some(family) = family::describe(&comb, stack, ray, found.families[last].false_alarm) else { return };
        let alone = comb.share_off(k as usize) > 0.6;
        found.combs[last] = comb;
        found.families[last] = family;
        if alone {
            found.combs.remove(i);
            found.families.remove(i);
        }
        return;
    }
}

/// Contrast of what a family adds over a shorter period of the same direction.
fn own_contrast(found: &Found, i: usize) -> f64 {
    let (f, c) = (&found.families[i], &found.combs[i]);
    let shorter = found.combs.iter().find_map(|d| {
        let k = (d.frequency / c.frequency).round();
        let same = line_difference(d.normal_deg, c.normal_deg).abs() < 0.5;
        (same && k >= 2.0 && (d.frequency / c.frequency - k).abs() < 0.03).then_some(k as usize)
    });
    shorter.map_or(f.contrast, |k| f.contrast * c.share_off(k))
}

/// Frequency vector of a comb, cycles per floor-frame unit.
fn vector(c: &Comb) -> (f64, f64) {
    let (s, k) = c.normal_deg.to_radians().sin_cos();
    (c.frequency * k, c.frequency * s)
}

/// Whether a comb of few periods shows in enough harmonics: under six periods the first harmonics alone cannot be told
/// from slow shading, so four harmonics must stand out; under three and a half nothing is periodic.
fn enough(comb: &Comb) -> bool {
    let clear = (1..=comb.sums.len()).filter(|h| comb.ratio(*h) > 8.0).count();
    let periods = comb.reach.length() * comb.frequency;
    periods >= 6.0 || (periods >= 3.5 && clear >= 4)
}
