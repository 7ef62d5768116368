//! Lines whose phase wanders: vibration takes up anew in every pass and drifts along it, so no comb over the whole floor holds
//! them, however plain they are. The floor is cut into tiles, and what most tiles' power spectra agree on counts
//! (mean of windowed spectra that overlap by half: Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70-73).

use super::blocks::Blocks;
use super::colour::Colours;
use super::columns::STEEPEST;
use super::families::{FAINTEST, FALSE_ALARM};
use super::family::FOLD;
use super::flatten::{Flat, as_weights};
use super::types::{Family, PeriodKind};
use crate::raster::{Plane, box_blur};
use crate::signal::{PlaneSpectrum, fft_size, half_overlapping, hann};
use crate::units::{Measured, line_difference, wrap_180};
use rayon::prelude::*;
use statrs::distribution::{ContinuousCDF, StudentsT};
use std::collections::BTreeMap;
use std::f64::consts::FRAC_PI_2;

/// Sides of the tiles, shares of the floor's smaller side. Wide ones hold coarse lines, narrow ones those that soon lose
/// their step; under a fifth a tile holds too few periods.
const SIDES: [f64; 2] = [0.4, 0.2];
/// Periods in a tile from which its spectrum tells lines from slow shading: the neighbours at `APART` are then two cells off.
const PERIODS: f64 = 6.0;
/// Ratio of frequencies at which lines must have ended: vibration fills a band of a fifth of its frequency, torn fibre and
/// grain a band as wide as the frequency itself.
const APART: f64 = 1.5;
/// Share of a tile that must be lit floor, and tiles from which their agreement says anything.
const FULL: f64 = 0.6;
const TILES: usize = 8;
/// Least rise of the mean log power over its surroundings, and over the same direction at `APART`: a factor of three and of two.
const RISE: f64 = 1.1;
const RISE_ALONG: f64 = 0.69;
/// A tile shows the lines when its own power there is twice its surroundings', and so many tiles must.
const SHOWS: f64 = 0.69;
const MOST_TILES: f64 = 0.6;
/// Samples above which the floor is halved first.
const PLENTY: usize = 700_000;
/// Under this share of the strongest family's contrast it is that family's own unevenness.
const WEAKEST: f64 = 0.3;
/// ln of the power that runs in the family's direction on other frequencies, over that of other directions: wood figure is
/// never of one period alone, and lies 2 (maple) to 5 (pine) over the rest along all of its band; noise scatters by 0.1.
const LONE: f64 = 0.5;
/// Radius of the band whose middle is the pitch, share of its frequency: short of what lies at `APART`.
const BAND: f64 = 0.25;
/// Mean squared distance of a Hann window's power from its middle, cells: 1/4 a cell to either side, 1 in the middle.
const HANN: f64 = 1.0 / 3.0;
/// Pitch of vibration from place to place, relative: load and speed differ from pass to pass.
const DRIFT: f64 = 0.01;

/// Turn, radians, within which lines of one pitch are one family: what 15 degrees of bent passes and tapered tiles spread.
const SAME: f64 = 0.26;

/// Powers of one tile.
struct Tile {
    corner: (usize, usize),
    spectrum: PlaneSpectrum,
    /// ln of the mean over three by three cells: the lobe of the window.
    lobe: Plane,
    /// Sum of squared weights, and of weights.
    squares: f64,
}

/// What all tiles of one size say.
struct Grid {
    tiles: Vec<Tile>,
    side: f64,
    cells: usize,
}

/// A place of the half plane of frequencies that stands out.
struct Place {
    /// Cell.
    at: (isize, isize),
    chance: f64,
    shows: f64,
}

/// The strongest wandering family that `known` ones do not explain, relief by its colour.
pub(super) fn find(
    flat: &Flat,
    known: &[Family],
    colours: Option<&Colours>,
    blocks: Option<&Blocks>,
) -> Option<Family> {
    let k = if flat.used.count() > PLENTY { 2 } else { 1 };
    let weights = Plane { width: flat.used.width, height: flat.used.height, data: as_weights(&flat.used) };
    let (light, weights, step) = (flat.rel.shrink(k), weights.shrink(k), flat.step * k as f64);
    let best = SIDES
        .iter()
        .filter_map(|share| {
            let grid = Grid::of(&light, &weights, step, share * flat.extent)?;
            let place = grid.best(known)?;
            Some((grid, place))
        })
        .min_by(|a, b| a.1.chance.total_cmp(&b.1.chance))?;
    let (grid, place) = best;
    let mut family = grid.family(&place)?;
    let strongest = known.iter().map(|f| f.contrast).fold(0.0, f64::max);
    if grid.explained(1.0 / family.pitch.value, family.normal_deg.value, known)
        || family.contrast < FAINTEST.max(WEAKEST * strongest)
        || blocks.is_some_and(|b| b.own(1.0 / family.pitch.value, family.normal_deg.value, family.contrast, grid.side))
    {
        return None;
    }
    (family.chroma_share, family.period_kind) = colours?.judge_by_tiles(&family, grid.side);
    let relief = match family.period_kind {
        PeriodKind::Relief => true,
        // Phones smooth away the colour of fine lines, which makes ridges look coloured: then their surroundings tell.
        PeriodKind::Unsure => grid.beside(&place) < LONE,
        PeriodKind::Colour => false,
    };
    relief.then_some(family)
}

impl Grid {
    fn of(light: &Plane, weights: &Plane, step: f64, side: f64) -> Option<Self> {
        let n = fft_size((side / step) as usize);
        if n < 32 || n > light.width.min(light.height) {
            return None;
        }
        let window = hann(n);
        let row = |y: usize| half_overlapping(light.width, n).map(move |x| (x, y));
        let corners: Vec<(usize, usize)> = half_overlapping(light.height, n).flat_map(row).collect();
        let full: f64 = window.iter().sum::<f64>().powi(2);
        let tile = |(x, y): (usize, usize)| {
            let w = |i: usize, j: usize| f64::from(weights.at(x + i, y + j)) * window[i] * window[j];
            let (mut sum, mut mean, mut squares) = (0.0, 0.0, 0.0);
            for j in 0..n {
                for i in 0..n {
                    let w = w(i, j);
                    sum += w;
                    squares += w * w;
                    mean += w * f64::from(light.at(x + i, y + j));
                }
            }
            if sum < FULL * full {
                return None;
            }
            let mean = (mean / sum) as f32;
            let bare = Plane::from_fn(n, n, |i, j| w(i, j) as f32 * (light.at(x + i, y + j) - mean));
            let spectrum = PlaneSpectrum::of(&bare, 0.45);
            let p = &spectrum.log_power;
            let power = Plane { width: p.width, height: p.height, data: p.data.iter().map(|v| v.exp()).collect() };
            let mut lobe = box_blur(&power, 1);
            lobe.data.iter_mut().for_each(|v| *v = v.max(1e-30).ln());
            Some(Tile { corner: (x, y), spectrum, lobe, squares })
        };
        let tiles: Vec<Tile> = corners.into_par_iter().filter_map(tile).collect();
        (tiles.len() >= TILES).then_some(Self { tiles, side: n as f64 * step, cells: n })
    }

    /// Frequency of a cell, cycles per floor unit.
    fn frequency(&self, at: (f64, f64)) -> f64 {
        at.0.hypot(at.1) / self.side
    }

    /// The place that most tiles agree on best.
    fn best(&self, known: &[Family]) -> Option<Place> {
        let s = &self.tiles[0].spectrum;
        let last = self.cells as f64 / super::FINEST;
        let places: Vec<(isize, isize)> = (0..=s.kx_max as isize)
            .flat_map(|x| (-(s.ky_max as isize)..=s.ky_max as isize).map(move |y| (x, y)))
            .filter(|(x, y)| *x > 0 || *y > 0)
            .filter(|(x, y)| {
                (PERIODS..=last.min(s.kx_max.min(s.ky_max) as f64 - 1.0)).contains(&(*x as f64).hypot(*y as f64))
            })
            .collect();
        let trials = (places.len() * SIDES.len()) as f64;
        let agree = StudentsT::new(0.0, 1.0, self.tiles.len() as f64 - 1.0).ok()?;
        let looked = places
            .into_par_iter()
            .filter(|(x, y)| {
                let (x, y) = (*x as f64, *y as f64);
                !self.explained(self.frequency((x, y)), y.atan2(x).to_degrees(), known)
            })
            .filter_map(|at| {
                let apart = |k: f64| ((at.0 as f64 * k).round() as isize, (at.1 as f64 * k).round() as isize);
                let (low, high) = (apart(1.0 / APART), apart(APART));
                let rise = |of: &dyn Fn(&Tile) -> Option<f64>| -> Option<(f64, f64)> {
                    let v: Vec<f64> = self.tiles.iter().filter_map(of).collect();
                    let (mean, sd) = crate::stats::mean_sd(&v)?;
                    (v.len() == self.tiles.len()).then(|| (mean, mean / (sd / (v.len() as f64).sqrt()).max(1e-9)))
                };
                let (m, t) = rise(&|t| t.over(at))?;
                if m < RISE {
                    return None;
                }
                let (ml, tl) = rise(&|t| Some(t.lobe_at(at)? - t.lobe_at(low)?))?;
                // Beyond the finest cells kept there is nothing to hold against.
                let (mh, th) = rise(&|t| Some(t.lobe_at(at)? - t.lobe_at(high)?)).unwrap_or((m, t));
                if ml.min(mh) < RISE_ALONG {
                    return None;
                }
                let chance = (agree.sf(t.min(tl).min(th)) * trials).min(1.0);
                let shows = self.tiles.iter().filter(|t| t.over(at).is_some_and(|v| v > SHOWS)).count();
                let shows = shows as f64 / self.tiles.len() as f64;
                (chance < FALSE_ALARM && shows >= MOST_TILES).then_some((Place { at, chance, shows }, m))
            });
        looked.max_by(|a, b| a.1.total_cmp(&b.1)).map(|p| p.0)
    }

    /// Whether a place belongs to a family that was found: its direction and a multiple of its frequency.
    fn explained(&self, f: f64, deg: f64, known: &[Family]) -> bool {
        let cell = 2.0 / self.side;
        known.iter().any(|k| {
            let turn = line_difference(deg, k.normal_deg.value).to_radians().abs();
            // Arcs fill a column: one frequency along the passes, whatever the direction. Lines along the walls stand both ways.
            let along = if k.curved { f * turn.cos() } else { f };
            let on = if k.curved { turn.tan().abs() < STEEPEST } else { turn < SAME };
            let other = k.along_walls.is_some() && turn > FRAC_PI_2 - SAME;
            [(on, along), (other, f)].into_iter().any(|(on, f)| {
                let n = (f * k.pitch.value).round();
                on && n >= 1.0 && (f - n / k.pitch.value).abs() < cell.max(0.08 * f)
            })
        })
    }

    /// Mean ln power of the place's direction below and above its band, over that of all directions at the same frequencies.
    fn beside(&self, p: &Place) -> f64 {
        let (x, y) = (p.at.0 as f64, p.at.1 as f64);
        let (f, own) = (x.hypot(y), y.atan2(x));
        let radii: Vec<f64> = (0..)
            .map(|i| 2.5 + f64::from(i))
            .take_while(|r| *r < 1.75 * f)
            .filter(|r| *r > f / 3.0 && (*r < f / APART || *r > f * APART))
            .collect();
        let mean = |deg: f64| {
            let (s, c) = (own + deg.to_radians()).sin_cos();
            let at = |t: &Tile, r: f64| t.lobe_at(((r * c).round() as isize, (r * s).round() as isize));
            let all: Vec<f64> = self.tiles.iter().flat_map(|t| radii.iter().filter_map(move |r| at(t, *r))).collect();
            crate::stats::mean_sd(&all).map(|m| m.0)
        };
        let others: Vec<f64> = (1..12).filter_map(|i| mean(15.0 * f64::from(i))).collect();
        match (mean(0.0), crate::stats::median(&others)) {
            (Some(own), Some(others)) => own - others,
            _ => f64::INFINITY,
        }
    }

    fn family(&self, p: &Place) -> Option<Family> {
        // Cells of the band: what the window spreads, and what the wandering does.
        let radius = (BAND * (p.at.0 as f64).hypot(p.at.1 as f64)).max(2.0);
        let r = radius.ceil() as isize;
        let band: Vec<(isize, isize)> = (-r..=r)
            .flat_map(|i| (-r..=r).map(move |j| (i, j)))
            .filter(|(i, j)| (*i as f64).hypot(*j as f64) <= radius)
            .map(|(i, j)| (p.at.0 + i, p.at.1 + j))
            .collect();
        // Power of the band in one tile, its centre and the spread about the place: (power, x, y, xx, xy, yy).
        let middle = |t: &Tile| {
            let mut m = [0.0; 6];
            for (x, y) in &band {
                let (Some(v), Some(b)) = (t.spectrum.log_power_at(*x, *y), t.spectrum.log_background_at(*x, *y)) else {
                    continue;
                };
                let over = (v.exp() - b.exp()).max(0.0);
                let (x, y) = ((*x - p.at.0) as f64, (*y - p.at.1) as f64);
                m.iter_mut().zip([1.0, x, y, x * x, x * y, y * y]).for_each(|(m, v)| *m += over * v);
            }
            m.map(|v| v / t.squares)
        };
        let each: Vec<[f64; 6]> = self.tiles.iter().map(middle).collect();
        let mean: [f64; 6] = std::array::from_fn(|k| each.iter().map(|m| m[k]).sum());
        let [total, ..] = mean;
        let [_, dx, dy, xx, xy, yy] = mean.map(|v| v / total.max(1e-300));
        let (x, y) = (p.at.0 as f64 + dx, p.at.1 as f64 + dy);
        let f = self.frequency((x, y));
        let (ux, uy) = (x / x.hypot(y), y / x.hypot(y));
        // All tiles along a pass see the same passes: what counts is how groups of tiles scatter, and how wide a band that no pass
        // fills alone is spread (the window's own spread taken off). Half of the groups are independent: they overlap by half.
        let sigma = |px: f64, py: f64| {
            let by = |key: &dyn Fn(&Tile) -> usize| {
                let mut groups: BTreeMap<usize, f64> = BTreeMap::new();
                for (t, m) in self.tiles.iter().zip(&each) {
                    *groups.entry(key(t)).or_default() +=
                        (px * (m[1] - m[0] * dx) + py * (m[2] - m[0] * dy)) / total.max(1e-300);
                }
                (2.0 * groups.values().map(|v| v * v).sum::<f64>(), 0.5 * groups.len() as f64)
            };
            let (a, b) = (by(&|t| t.corner.0), by(&|t| t.corner.1));
            let spread = px * px * (xx - dx * dx) + 2.0 * px * py * (xy - dx * dy) + py * py * (yy - dy * dy);
            (a.0.max(b.0) + (spread - HANN).max(0.0) / a.1.min(b.1).max(1.0)).sqrt() / self.side
        };
        // Both halves of the plane hold half of a wave each: sum of power = cells^2 x squares x amplitude^2 / 4.
        let amplitude = (4.0 * total / each.len() as f64).sqrt() / self.cells as f64;
        let turn = |k: usize| (std::f64::consts::TAU * k as f64 / FOLD as f64).cos();
        let mean_rise = self.tiles.iter().filter_map(|t| t.over(p.at)).sum::<f64>() / self.tiles.len() as f64;
        Some(Family {
            pitch: Measured::new(1.0 / f, sigma(ux, uy).hypot(DRIFT * f) / (f * f))?,
            normal_deg: Measured::new(
                wrap_180(y.atan2(x).to_degrees()),
                (sigma(-uy, ux) / f).hypot(DRIFT).to_degrees(),
            )?,
            curved: false,
            wandering: true,
            strength_db: 10.0 * mean_rise / std::f64::consts::LN_10,
            false_alarm: p.chance,
            coherent_passes: self.side * f,
            period_kind: PeriodKind::Unsure,
            harmonics: [amplitude, 0.0, 0.0, 0.0],
            harmonic_noise: (-mean_rise / 2.0).exp(),
            fall_off: None,
            offset: None,
            along_walls: None,
            folded: (0..FOLD).map(|k| amplitude * turn(k)).collect(),
            contrast: amplitude * std::f64::consts::FRAC_1_SQRT_2,
            skew: 0.0,
            alternation: 0.0,
            jitter: 0.37,
            lines: Vec::new(),
            coverage: p.shows,
            chroma_share: None,
            by_pair: false,
            height_um: None,
        })
    }
}

impl Tile {
    fn lobe_at(&self, (x, y): (isize, isize)) -> Option<f64> {
        self.spectrum.place(x, y).map(|(row, column)| f64::from(self.lobe.at(column, row)))
    }
    /// ln of the power about a cell over its background.
    fn over(&self, at: (isize, isize)) -> Option<f64> {
        Some(self.lobe_at(at)? - self.spectrum.log_background_at(at.0, at.1)?)
    }
}
