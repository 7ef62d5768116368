//! Lines that follow the walls: the floor straightened by its distance from what encloses it.
//!
//! Passes along a contour run at even distances from the pocket's walls and from what stands in it. So every sample is laid
//! out by its distance d from the nearest outline, in sectors of one piece of wall each, and every sector gives a profile
//! of its own. One spacing must show in sectors of walls that run in different directions: passes straight across the
//! floor show beside one pair of walls only. Sectors keep their own phase, since an outline is found to a few tenths of a
//! millimetre, a good part of a spacing.

use super::comb::{Comb, demodulate};
use super::family;
use super::flatten::Flat;
use super::light::Lamp;
use super::search::{Candidate, HARMONICS, Ray, log_gamma_tail};
use super::stack::Stack;
use super::straighten::{AXIS_DEG, Side, TURN_DEG, Walls, nearest, runs_along, straightened};
use super::types::Family;
use crate::floor::Patch;
use crate::geometry::Point;
use crate::signal::{Cells, Harmonic};
use crate::units::{Measured, line_difference};
use rayon::prelude::*;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Walls that differ by less than this count as one direction: one set of straight lines shows beside all of them.
const OTHER_DEG: f64 = 20.0;
/// Sectors of other walls that must be there.
const OTHERS: usize = 2;
/// Periods a sector must hold: with fewer, its background is told by what lies next to the line, and light at a wall's foot or
/// the strip of a first pass passes for one.
const PERIODS: f64 = 6.0;
/// Share of the weight beside the other walls where the lines must show: passes along the walls show beside all of them that
/// the light falls across.
const SHOWING: f64 = 0.5;
/// Least brightness change beside the other walls over that beside the walls of one direction. With the light's direction
/// allowed for, passes along the walls are alike beside all of them; straight lines leave a third there and less (an overtone
/// that happens to fall on their spacing; a fiftieth where they end one by one at the slanting border between two sectors).
const FAINTER: f64 = 0.4;
/// The same where the lamp's place is not known: 12 degrees off one pair of walls it leaves a fifth.
const FAINTER_UNLIT: f64 = 0.2;
/// Straight lines across the floor, oblique to a wall, show beside it at a spacing of their own (and a half, a third ...):
/// within this many cells of it nothing counts. Beside a wall they run along, their lobes reach from the one to the other.
const LEAK: f64 = 1.5;
const LOBES: (f64, f64) = (1.0, 4.0);
/// Overtones of straight lines that are looked at.
const OVERTONES: usize = 8;
/// Power over background of one harmonic in one sector above which it adds no more evidence: no sector decides alone.
const SECTOR_CAP: f64 = 10.0;
/// Harmonics of the fit.
const MOST_HARMONICS: usize = 8;
/// Power over background from which a sector's strongest harmonic tells its phase.
const SPEAKS: f64 = 5.0;
/// Evidence of lines across the wall over that of lines along it from which both are one pattern (a grid, the blocks of a
/// JPEG) and none follows the walls.
const ACROSS_TOO: f64 = 0.5;
/// Largest change of phase, turns, from one sector to the next along a wall, and the share of such neighbours that must keep
/// it: an outline half a millimetre off its place shifts lines a millimetre apart by a tenth of a turn a sector; lines that run
/// oblique to the wall lose step with it from sector to sector, and by chance two of five neighbours agree.
const STEP_TURNS: f64 = 0.2;
const IN_STEP: f64 = 0.7;
/// Segments for the fit of the frequency.
const SEGMENTS: usize = 48;
/// Spacings that differ by less than this share are one: a straight fit to half of the lines is off by a tenth of a line over
/// twenty.
const SAME: f64 = 0.02;
/// Points of the outline a drawn line is made of, per sector.
const DRAWN: usize = 8;

/// One sector's spectrum.
struct Sector {
    band: usize,
    normal_deg: f64,
    ray: Ray,
    /// Frequencies from which straight lines leak in here: (frequency, from, to), distances in cells.
    leaks: Vec<(f64, f64, f64)>,
}

impl Sector {
    fn holds(&self, f: f64) -> bool {
        self.ray.reach.length() * f >= PERIODS
    }
    /// Power over background at a frequency; `None` where it is not known or straight lines leak in.
    fn ratio(&self, f: f64) -> Option<f64> {
        let cells = |l: f64| (f - l).abs() * self.ray.reach.length();
        if self.leaks.iter().any(|(l, from, to)| (*from..*to).contains(&cells(*l))) {
            return None;
        }
        let r = self.ray.power.get((f / self.ray.df).round() as usize)? / self.ray.background_at(f)?;
        Some(r).filter(|r| r.is_finite())
    }
    fn loudest(&self, f: f64, harmonics: usize) -> f64 {
        (1..=harmonics).filter_map(|h| self.ratio(h as f64 * f)).fold(0.0, f64::max)
    }
}

fn sectors(s: &Stack, walls: &Walls, straight: &[Family], step: f64) -> Vec<Sector> {
    let leaks = |normal: f64| -> Vec<(f64, f64, f64)> {
        let overtones = straight.iter().flat_map(|f| (1..=OVERTONES).map(move |h| (f, h as f64 / f.pitch.value)));
        overtones
            .map(|(f, frequency)| {
                let seen = frequency * line_difference(f.normal_deg.value, normal).to_radians().cos().abs();
                let (from, to) = if runs_along(f, normal) { LOBES } else { (0.0, LEAK) };
                (seen, from, to)
            })
            .collect()
    };
    let rays = (0..s.bands).into_par_iter().map(|band| {
        let one = s.band(band);
        let reach = one.reach();
        // Of a few samples no spectrum can be made.
        (reach.weight > 100.0 && reach.length() > 40.0 * s.dt).then(|| Sector {
            band,
            normal_deg: walls.normals[band],
            ray: Ray::of(&one, None, step, super::FINEST),
            leaks: leaks(walls.normals[band]),
        })
    });
    rays.collect::<Vec<_>>().into_iter().flatten().collect()
}

/// Evidence of a spacing summed over sectors: the number of harmonics times sectors it comes from, and the sum.
fn evidence<'a>(sectors: impl Iterator<Item = &'a Sector>, f: f64, harmonics: usize) -> (usize, f64) {
    sectors.filter(|s| s.holds(f)).fold((0, 0.0), |(n, sum), s| {
        let t: f64 = (1..=harmonics).map(|h| s.ratio(h as f64 * f).unwrap_or(1.0).min(SECTOR_CAP)).sum();
        (n + harmonics, sum + t)
    })
}

/// Its chance (ln) against background alone.
fn chance((n, t): (usize, f64)) -> f64 {
    if t > n as f64 { log_gamma_tail(n, t) } else { 0.0 }
}

/// The chance (ln) with the walls of whichever one direction speaks most left out; 0 where the lines do not show beside most
/// of the others.
fn without_one_direction(sectors: &[Sector], f: f64, harmonics: usize) -> f64 {
    let worst = sectors.iter().filter(|s| s.holds(f)).map(|one| {
        let others = || {
            let far = |s: &&Sector| line_difference(s.normal_deg, one.normal_deg).abs() > OTHER_DEG;
            sectors.iter().filter(far).filter(|s| s.holds(f))
        };
        let all: f64 = others().map(|s| s.ray.reach.weight).sum();
        let showing: f64 = others().filter(|s| s.loudest(f, harmonics) > SPEAKS).map(|s| s.ray.reach.weight).sum();
        if others().count() < OTHERS || showing < SHOWING * all {
            0.0
        } else {
            chance(evidence(others(), f, harmonics))
        }
    });
    worst.fold(f64::NEG_INFINITY, f64::max).min(0.0)
}

/// Relative brightness amplitude of a spacing over some sectors, all harmonics.
fn amplitude<'a>(sectors: impl Iterator<Item = &'a Sector>, f: f64, harmonics: usize) -> f64 {
    let (power, weight) = sectors.filter(|s| s.holds(f)).fold((0.0, 0.0), |(p, w), s| {
        let over = |h: usize| {
            let (background, ratio) = (s.ray.background_at(h as f64 * f)?, s.ratio(h as f64 * f)?);
            Some(background * (ratio - 1.0).max(0.0))
        };
        (p + (1..=harmonics).filter_map(over).sum::<f64>(), w + s.ray.reach.weight.powi(2))
    });
    2.0 * (power / f64::max(weight, 1e-9)).sqrt()
}

/// The spacing that shows beside walls of different directions, with the number of harmonics that shows it best.
fn best(sectors: &[Sector]) -> Option<(Candidate, usize)> {
    let lowest = sectors.iter().map(|s| PERIODS / s.ray.reach.length()).fold(f64::INFINITY, f64::min);
    let highest = sectors.iter().map(|s| s.ray.highest).fold(f64::INFINITY, f64::min);
    let (df, longest) =
        sectors.iter().fold((f64::INFINITY, 0.0f64), |(d, l), s| (d.min(s.ray.df), l.max(s.ray.reach.length())));
    let steps = ((highest - lowest) / df * 2.0).max(0.0) as usize;
    // Independent frequencies, and about three independent numbers of harmonics.
    let trials = (3.0 * (highest - lowest) * longest).max(1.0).ln();
    (0..steps)
        .into_par_iter()
        .filter_map(|k| {
            let f = lowest + k as f64 * df / 2.0;
            HARMONICS
                .iter()
                .filter(|h| **h <= 4 && **h as f64 * f <= highest)
                .filter_map(|h| {
                    let all = chance(evidence(sectors.iter(), f, *h));
                    let limit = super::families::FALSE_ALARM.ln() - trials;
                    (all < limit).then(|| (all, without_one_direction(sectors, f, *h) + trials, *h))
                })
                .filter(|q| q.1 < super::families::FALSE_ALARM.ln())
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(all, log_p, h)| (all, Candidate { frequency: f, log_p }, h))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|q| (q.1, q.2))
}

/// The lines that follow the walls, where there are any; `straight`: the families that were found before.
pub(super) fn find(patch: &Patch, flat: &Flat, lamp: &Lamp, straight: &[Family]) -> Option<Family> {
    if patch.outline_assumed || patch.outline.len() < 3 {
        return None;
    }
    let walls = Walls::of(patch);
    let reach = [0.0, 90.0].map(|deg| patch.width(deg));
    let deepest = reach[0].min(reach[1]) / 2.0 + flat.step;
    let from = lamp.light.from_deg.map(|d| d.value);
    let [along, across] = straightened(flat, &walls, straight, from, deepest);
    let these = sectors(&along, &walls, straight, flat.step);
    let (candidate, count) = best(&these)?;
    let sum = |s: &[Sector]| {
        let (n, t) = evidence(s.iter(), candidate.frequency, count);
        (t / n.max(1) as f64 - 1.0).max(0.0)
    };
    if sum(&sectors(&across, &walls, &[], flat.step)) > ACROSS_TOO * sum(&these) {
        return None;
    }
    let least = if from.is_some() { FAINTER } else { FAINTER_UNLIT };
    let fainter = |one: &Sector| {
        let (near, far): (Vec<&Sector>, Vec<&Sector>) =
            these.iter().partition(|s| line_difference(s.normal_deg, one.normal_deg).abs() <= OTHER_DEG);
        let of = |s: Vec<&Sector>| amplitude(s.into_iter(), candidate.frequency, count);
        of(far) < least * of(near)
    };
    if these.iter().any(fainter) {
        return None;
    }
    let (f, sigma) = refined(&along, &these, candidate.frequency, count)?;
    let (stack, shifts) = in_step(&along, &these, f)?;
    if !keeps_step(&walls, &shifts, f) {
        return None;
    }
    let ray = Ray::of(&stack, None, flat.step, super::FINEST);
    let most = ((ray.highest / f) as usize).clamp(1, MOST_HARMONICS);
    let comb = Comb::fit(&stack, &ray, f, most)?;
    let mut family = family::describe(&comb, &stack, &ray, candidate.log_p.exp().min(1.0))?;
    family.pitch = Measured::new(1.0 / f, (sigma / f).hypot(family::LEAST_SIGMA) / f)?;
    family.normal_deg = Measured::new(stack.normal_deg, 1.0)?;
    family.curved = true;
    family.offset = None;
    family.period_kind = super::types::PeriodKind::Relief;
    family.along_walls = Some(drawn(flat, &walls, &family, &shifts, deepest));
    Some(family)
}

/// Straight families at the spacing (or a whole part of it) of lines that follow the walls, and along a straight wall, are
/// pieces of those lines; the others stay.
pub(super) fn merge(families: &mut Vec<Family>, walls: Family, pocket_x_deg: Option<f64>) {
    let piece = |f: &Family| {
        let times = walls.pitch.value / f.pitch.value;
        let off = |axis: f64| line_difference(f.normal_deg.value, axis).abs();
        let along_wall = pocket_x_deg.is_none_or(|x| off(x).min(off(x + 90.0)) < AXIS_DEG);
        times > 0.5 && (times / times.round() - 1.0).abs() < SAME && along_wall
    };
    families.retain(|f| !piece(f));
    let at = families.iter().position(|f| f.contrast < walls.contrast).unwrap_or(families.len());
    families.insert(at, walls);
}

/// Frequency and its sigma from all sectors' harmonics together, every one with a phase of its own.
fn refined(s: &Stack, sectors: &[Sector], f: f64, count: usize) -> Option<(f64, f64)> {
    let width = s.bins as f64 * s.dt / SEGMENTS as f64;
    let (mut spread, mut weight) = (0.0, 0.0);
    for sector in sectors {
        spread += sector.ray.reach.weight * sector.ray.reach.var_t;
        weight += sector.ray.reach.weight;
    }
    let cells = Cells {
        t: (0..SEGMENTS).map(|j| s.t0 + (j as f64 + 0.5) * width).collect(),
        u: vec![0.0],
        var_t: spread / f64::max(weight, 1e-9),
        var_u: 0.0,
        cov: 0.0,
    };
    let mut harmonics = Vec::new();
    for h in 1..=count {
        let sums = demodulate(s, h as f64 * f, SEGMENTS);
        for sector in sectors.iter().filter(|s| s.holds(f)) {
            let Some(noise) = sector.ray.background_at(h as f64 * f) else { continue };
            let harmonic = Harmonic {
                number: h as f64,
                noise,
                cells: sums[sector.band * SEGMENTS..(sector.band + 1) * SEGMENTS].to_vec(),
            };
            if cells.sum(&harmonic, 0.0, 0.0).norm_sqr() > SPEAKS * noise {
                harmonics.push(harmonic);
            }
        }
    }
    let at = cells.together(&harmonics, (0.0, 0.0));
    let f = f + at.along_t;
    (!harmonics.is_empty() && f > 0.0).then_some((f, at.sigma_t))
}

/// The sectors that speak, each shifted so that their lines fall on one another; and every band's shift, floor units.
fn in_step(s: &Stack, sectors: &[Sector], f: f64) -> Option<(Stack, Vec<Option<f64>>)> {
    let count = ((0.4 / (f * s.dt)) as usize).clamp(1, 4);
    let sums: Vec<Vec<Complex64>> = (1..=count).map(|h| demodulate(s, h as f64 * f, 1)).collect();
    let loudest = |q: &Sector| q.loudest(f, count);
    let mut order: Vec<&Sector> = sectors.iter().filter(|q| q.holds(f) && loudest(q) > SPEAKS).collect();
    order.sort_by(|a, b| loudest(b).total_cmp(&loudest(a)));
    let mut template = vec![Complex64::default(); count];
    let mut out = s.clone();
    (out.sum, out.weight) = (vec![0.0; s.sum.len()], vec![0.0; s.weight.len()]);
    out.normal_deg = order.first()?.normal_deg;
    let mut shifts = vec![None; s.bands];
    for q in order {
        let like = |tau: f64| -> f64 {
            let turned = |h: usize| sums[h][q.band] * Complex64::from_polar(1.0, TAU * (h + 1) as f64 * tau);
            (0..count).map(|h| (template[h].conj() * turned(h)).re).sum()
        };
        let tau = (-32..32).map(|k| f64::from(k) / 64.0).max_by(|a, b| like(*a).total_cmp(&like(*b))).unwrap_or(0.0);
        let tau = if template[0].norm() > 0.0 { tau } else { 0.0 };
        for (h, z) in template.iter_mut().enumerate() {
            *z += sums[h][q.band] * Complex64::from_polar(1.0, TAU * (h + 1) as f64 * tau);
        }
        // exp(-i 2 pi f t) grows by tau turns where t falls by tau / f.
        let bins = (-tau / f / s.dt).round() as isize;
        for i in 0..s.bins {
            let Some(j) = i.checked_add_signed(bins).filter(|j| *j < s.bins) else { continue };
            out.sum[q.band * s.bins + j] = s.sum[q.band * s.bins + i];
            out.weight[q.band * s.bins + j] = s.weight[q.band * s.bins + i];
        }
        shifts[q.band] = Some(bins as f64 * s.dt);
    }
    Some((out, shifts))
}

/// Whether lines keep their distance from the walls from one sector to the next.
fn keeps_step(walls: &Walls, shifts: &[Option<f64>], f: f64) -> bool {
    let neighbours = shifts.windows(2).zip(walls.normals.windows(2));
    let changes: Vec<f64> = neighbours
        .filter(|(_, n)| line_difference(n[0], n[1]).abs() <= TURN_DEG)
        .filter_map(|(s, _)| Some((s[1]? - s[0]?) * f))
        .map(|turns| (turns - turns.round()).abs())
        .collect();
    let kept = changes.iter().filter(|c| **c < STEP_TURNS).count();
    !changes.is_empty() && kept as f64 >= IN_STEP * changes.len() as f64
}

/// The lines on the used floor, sector by sector, where they are nearest to their own wall.
fn drawn(flat: &Flat, walls: &Walls, f: &Family, shifts: &[Option<f64>], deepest: f64) -> Vec<Vec<Point>> {
    let n = f.folded.len();
    let sign = if f.skew > 0.0 { 1.0 } else { -1.0 };
    let darkest = (0..n).max_by(|a, b| (sign * f.folded[*a]).total_cmp(&(sign * f.folded[*b]))).unwrap_or(0);
    let pitch = f.pitch.value;
    let mut out = Vec::new();
    for (sector, shift) in shifts.iter().enumerate().filter_map(|(i, s)| Some((i, (*s)?))) {
        let sides: Vec<&Side> = walls.sides.iter().filter(|s| s.sector == sector).collect();
        let start = (darkest as f64 / n as f64 * pitch - shift).rem_euclid(pitch);
        let places = sides.iter().flat_map(|s| (0..=DRAWN).map(move |k| (s.a.lerp(s.b, k as f64 / DRAWN as f64), s)));
        let places: Vec<(Point, Point)> = places
            .map(|(p, s)| {
                let along = (s.b - s.a) * (1.0 / s.a.distance(s.b));
                (p, Point::new(-along.y, along.x))
            })
            .collect();
        for d in (0..).map(|k| start + f64::from(k) * pitch).take_while(|d| *d < deepest) {
            for side in [1.0, -1.0] {
                let at = places.iter().map(|(p, normal)| *p + *normal * (side * d));
                let own = |p: &Point| {
                    let q = (*p - flat.origin) * (1.0 / flat.step);
                    let (x, y) = (q.x.round(), q.y.round());
                    let there = x >= 0.0 && y >= 0.0 && x < flat.used.width as f64 && y < flat.used.height as f64;
                    there
                        && flat.used.at(x as usize, y as usize)
                        && nearest(*p, &walls.sides).is_some_and(|q| q.2.sector == sector && q.0 > 0.95 * d)
                };
                // A line may stop at a shadow and go on behind it.
                let at: Vec<Point> = at.collect();
                out.extend(at.split(|p| !own(p)).filter(|piece| piece.len() > 1).map(<[Point]>::to_vec));
            }
        }
    }
    out
}
