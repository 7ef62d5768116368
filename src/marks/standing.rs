//! Which lines are walls of what stands in the pocket: letters' lit walls, and their narrow shadows where a wall runs nearly
//! along the light.
//!
//! Behind whatever stands there lies a shadow of millimetres. From its border on the lamp's side the way to the lamp leads over
//! the letter's top, which is plain stock, to its lit wall: so the first line met on that way is the letter's own. A step of the
//! floor lies further on, or behind no shadow at all.

use super::curves::Bead;
use super::flatten::Flat;
use crate::floor::Patch;
use crate::geometry::{Point, contains};
use crate::raster::{Mask, Plane, masked_blur};
use crate::stats::median;

/// Light under the lit floor's from which a sample lies in shadow, and over it from which it is a lit wall.
const DARK: f32 = 0.5;
const LIT_WALL: f32 = 1.3;
/// The lamp's fall-off is told over this length, millimetres (one sigma).
const SLOW: f64 = 12.0;
/// Shortest shadow that something standing casts, millimetres: a step of 0.2 mm casts 1.6 under a lamp at 7 degrees.
const CAST: f64 = 2.0;
/// Widest top that is crossed, millimetres: a stroke of a letter followed lengthwise.
const WIDEST: f64 = 25.0;
/// How far behind the first line another still belongs to it, millimetres: the flanks that sharpening draws.
const HALO: f64 = 0.6;
/// Width of a letter's wall in the picture, millimetres: a wall 3 deep, seen 20 degrees off the upright, is 1.1 wide.
const WALL: f64 = 1.1;
/// Share of a line that must be met first.
const MET: f64 = 0.25;
/// Lines within this many degrees of the light's own direction show no relief (a quarter of what they would square to it is
/// 15 degrees), but a wall's narrow shadow or glow.
const GRAZED_DEG: f64 = 25.0;
/// Share of its length from which a line is such a one.
const MOSTLY: f64 = 0.6;

/// Most that the lamp's direction is taken to be in doubt, degrees.
const DOUBT_DEG: f64 = 15.0;

/// What a line is.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Floor,
    /// Along the light: says nothing.
    Grazed,
    Wall,
}

/// Light, shadow and lines on the grid that the lines were found on.
pub(super) struct Scene {
    /// Light over the lit floor's.
    light: Plane,
    used: Mask,
    /// One sample towards the lamp, and as far to either side as its direction is in doubt.
    to_lamp: [(f32, f32); 3],
    unit: f32,
    /// The pocket's outline, samples of the grid.
    outline: Vec<Point>,
}

impl Scene {
    /// `k` samples of `flat` a sample of the grid, `used` on that grid; `None` where the lamp is not known.
    pub fn of(patch: &Patch, flat: &Flat, k: usize, used: Mask) -> Option<Self> {
        let from = patch.light.from_deg?;
        let doubt = from.sigma.min(DOUBT_DEG);
        let to_lamp = [0.0, -doubt, doubt].map(|d| (from.value + d).to_radians().sin_cos());
        let luma = patch.view.luma.shrink(k * flat.coarse);
        let (w, h) = (used.width, used.height);
        let luma = Plane::from_fn(w, h, |x, y| luma.at(x.min(luma.width - 1), y.min(luma.height - 1)));
        let lit: Vec<f64> = (0..w * h).filter(|i| used.data[*i]).step_by(13).map(|i| f64::from(luma.data[i])).collect();
        let lit = median(&lit).filter(|l| *l > 0.0)? as f32;
        let step = flat.step * k as f64;
        let unit = (flat.unit / step) as f32;
        let slow = masked_blur(&luma, &used, SLOW as f32 * unit);
        let usual = |i: usize| if slow.data[i] > 0.0 { slow.data[i] } else { lit };
        let half = (k as f64 - 1.0) / 2.0 * flat.step;
        let sample = |p: Point| (p - flat.origin - Point::new(half, half)) * (1.0 / step);
        Some(Self {
            light: Plane::from_fn(w, h, |x, y| luma.at(x, y) / usual(y * w + x)),
            outline: patch.outline.iter().map(|p| sample(*p)).collect(),
            used,
            to_lamp: to_lamp.map(|(s, c)| (c as f32, s as f32)),
            unit,
        })
    }

    /// What each chain is.
    pub fn kinds(&self, chains: &[Vec<Bead>]) -> Vec<Kind> {
        let met = self.met_first(chains);
        let mut kinds: Vec<Kind> = chains
            .iter()
            .zip(met)
            .map(|(chain, met)| {
                let n = chain.len() as f64;
                let grazed = chain.iter().filter(|b| self.grazed(b)).count() as f64;
                if met as f64 > MET * n {
                    Kind::Wall
                } else if grazed > MOSTLY * n {
                    if self.ends_in_shadow(chain) { Kind::Wall } else { Kind::Grazed }
                } else {
                    Kind::Floor
                }
            })
            .collect();
        // A wall that is wide in the picture shows as several lines.
        let walls = chains.iter().zip(&kinds).filter(|(_, k)| **k == Kind::Wall).flat_map(|(c, _)| c);
        let walls = self.marked(walls).dilate((WALL * f64::from(self.unit)).round() as usize);
        for (kind, chain) in kinds.iter_mut().zip(chains) {
            if 2 * chain.iter().filter(|b| walls.at(b.x as usize, b.y as usize)).count() > chain.len() {
                *kind = Kind::Wall;
            }
        }
        kinds
    }

    /// True where beads lie.
    fn marked<'a>(&self, beads: impl Iterator<Item = &'a Bead>) -> Mask {
        let mut out = Mask::new(self.light.width, self.light.height, false);
        beads.for_each(|b| out.data[b.y as usize * out.width + b.x as usize] = true);
        out
    }

    /// Whether a line runs nearly along the light here.
    fn grazed(&self, b: &Bead) -> bool {
        let across = b.normal.0 * self.to_lamp[0].0 + b.normal.1 * self.to_lamp[0].1;
        f64::from(across.abs()) < GRAZED_DEG.to_radians().sin()
    }

    fn dark(&self, x: f32, y: f32) -> Option<bool> {
        let (x, y) = (x.round(), y.round());
        let there = x >= 0.0 && y >= 0.0 && (x as usize) < self.light.width && (y as usize) < self.light.height;
        there.then(|| self.light.at(x as usize, y as usize) < DARK)
    }

    /// Whether a chain becomes the border of a shadow at either end, as a letter's wall does. A step runs into the shadow of a
    /// wall that stands across it: then it is dark on both sides.
    fn ends_in_shadow(&self, chain: &[Bead]) -> bool {
        let last = chain.len() - 1;
        [(0, 3.min(last)), (last, last.saturating_sub(3))].into_iter().any(|(end, inner)| {
            let (b, inner) = (&chain[end], &chain[inner]);
            let (dx, dy) = (b.x - inner.x, b.y - inner.y);
            let ahead = self.unit / dx.hypot(dy).max(1e-6);
            let (dx, dy) = (dx * ahead, dy * ahead);
            let (mut border, mut across) = (0, 0);
            for d in (1..=10).map(|n| n as f32 * 0.25) {
                let dark = |side: f32| self.dark(b.x + dx * d - dy * side, b.y + dy * d + dx * side) == Some(true);
                let [left, middle, right] = [-1.0, 0.0, 1.0].map(dark);
                across += usize::from(left && right);
                border += usize::from((left || middle || right) && !(left && right));
            }
            border > across
        })
    }

    /// How many beads of each chain are the first met on the way from a shadow to the lamp.
    fn met_first(&self, chains: &[Vec<Bead>]) -> Vec<usize> {
        let (w, h) = (self.light.width, self.light.height);
        // Every bead with the samples around it, so that no ray slips through.
        let lines = self.marked(chains.iter().flatten()).dilate(1);
        let mut hit = Mask::new(w, h, false);
        let (widest, cast, halo) = (WIDEST as f32 * self.unit, CAST as f32 * self.unit, HALO as f32 * self.unit);
        for (tx, ty) in self.to_lamp {
            for (i, dark) in self.light.data.iter().map(|v| *v < DARK).enumerate() {
                let (x, y) = ((i % w) as f32, (i / w) as f32);
                if !dark || self.dark(x + 1.5 * tx, y + 1.5 * ty) != Some(false) {
                    continue;
                }
                let mut back = 1.0;
                while back < cast && self.dark(x - tx * back, y - ty * back) == Some(true) {
                    back += 1.0;
                }
                if back < cast || !contains(&self.outline, Point::new(f64::from(x), f64::from(y))) {
                    continue;
                }
                let (mut n, mut first) = (1.5, None);
                while n < widest && first.is_none_or(|f| n < f + halo) {
                    let (u, v) = (x + tx * n, y + ty * n);
                    if self.dark(u, v) != Some(false) {
                        break;
                    }
                    let j = v.round() as usize * w + u.round() as usize;
                    if lines.data[j] {
                        hit.data[j] = true;
                        first = first.or(Some(n));
                    } else if !self.used.data[j] && self.light.data[j] > LIT_WALL {
                        break;
                    }
                    n += 0.7;
                }
            }
        }
        let near = hit.dilate(1);
        chains.iter().map(|c| c.iter().filter(|b| near.at(b.x as usize, b.y as usize)).count()).collect()
    }
}
