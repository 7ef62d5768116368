//! Edges that bend: dark and bright lines followed sample by sample wherever they run, as steps round letters and along walls
//! do.
//!
//! A sample lies on a line where the second derivative of light across it is an extreme along its own direction (Steger,
//! IEEE PAMI 20 (1998) 113, from memory). What stands out is told against the floor's own texture of that direction: grain
//! makes lines too, all of one direction. Samples in reach of each other along their direction are chained.

use super::colour::Colours;
use super::flatten::Flat;
use super::standing::{Kind, Scene};
use super::types::{BENT_DEG, Curve, Curves, Polarity};
use crate::floor::Patch;
use crate::geometry::Point;
use crate::raster::{Mask, Plane, masked_blur};
use crate::stats::{median, percentile};
use crate::units::Measured;
use rayon::prelude::*;
use std::f32::consts::PI;

/// Sample size the floor is reduced to, and one-sigma widths of the lines looked for in such samples, millimetres: steps show
/// as lines 0.2 to 0.6 wide.
const SAMPLE: f64 = 0.1;
const WIDTHS: [f32; 2] = [0.13, 0.25];
/// Directions over half a turn for which the texture's own lines are told.
const DIRECTIONS: usize = 18;
/// Of every so many samples the texture is told.
const SAMPLED: usize = 5;
/// Stretch of a line that is looked at together, millimetres to either side of a sample: a curve as tight as a cutter's
/// radius (1.5) leaves it by a third of its width.
const STRETCH: f64 = 0.8;
/// Noises of its direction from which a sample begins a line, and from which it goes on.
const BEGINS: f32 = 4.5;
const GOES_ON: f32 = 2.5;
/// A line with one this many times as strong and of the other sign beside it, within three widths, is its flank: that of a
/// smooth line is 0.45 of it, the two of a ridge's sides are alike.
const FLANK: f32 = 1.5;
/// Most that the upper fifth of a direction's lines may raise its noise: where the floor is full of steps they are that fifth.
const CROWD: f64 = 1.4;
/// Most that a line may turn from one sample to the next, cosine of 40 degrees.
const BEND: f32 = 0.77;
/// Half width of a blot, millimetres, and light under and over the floor's own that makes one: a step of 0.14 mm casts 0.8 mm
/// of shadow under a lamp at 10 degrees.
const BLOT: f64 = 0.4;
const DARK: f32 = -0.4;
const BRIGHT: f32 = 0.6;
/// What lies this near to the border of the lit floor for half of its length is the wall's or the shadow's own, millimetres.
const BORDER: f64 = 0.8;
/// Shortest curve, millimetres.
const SHORTEST: f64 = 4.0;
/// A curve lies on a circle where its points are off it by less than this (rms), millimetres.
const ROUND: f64 = 0.2;
/// How far beside a curve the ground's colour is taken, millimetres.
pub(super) const BESIDE: f64 = 0.7;
/// Points of a curve lie this far apart, millimetres.
const POINTS: f64 = 0.5;

/// Second derivatives of smoothed light.
struct Bends {
    xx: Plane,
    xy: Plane,
    yy: Plane,
}

impl Bends {
    fn of(rel: &Plane, used: &Mask, sigma: f32) -> Self {
        let p = masked_blur(rel, used, sigma);
        let (w, h) = (p.width, p.height);
        // The picture's own border is no floor.
        let inside = |x: usize, y: usize| x > 0 && y > 0 && x + 1 < w && y + 1 < h;
        let at = |x: usize, y: usize| p.data[y * w + x];
        let k = sigma * sigma;
        let xx = |x: usize, y: usize| at(x + 1, y) - 2.0 * at(x, y) + at(x - 1, y);
        let yy = |x: usize, y: usize| at(x, y + 1) - 2.0 * at(x, y) + at(x, y - 1);
        let xy = |x: usize, y: usize| at(x + 1, y + 1) - at(x - 1, y + 1) - at(x + 1, y - 1) + at(x - 1, y - 1);
        Self {
            xx: Plane::from_fn(w, h, |x, y| if inside(x, y) { k * xx(x, y) } else { 0.0 }),
            yy: Plane::from_fn(w, h, |x, y| if inside(x, y) { k * yy(x, y) } else { 0.0 }),
            xy: Plane::from_fn(w, h, |x, y| if inside(x, y) { 0.25 * k * xy(x, y) } else { 0.0 }),
        }
    }
    /// Bend of the light across a direction (unit normal) at a sample: positive where it is darker than beside it.
    fn across(&self, i: usize, (c, s): (f32, f32)) -> f32 {
        self.xx.data[i] * c * c + 2.0 * self.xy.data[i] * c * s + self.yy.data[i] * s * s
    }
    /// Size of the larger of the two extreme bends.
    fn size(&self, i: usize) -> f32 {
        let (a, b, d) = (self.xx.data[i], self.xy.data[i], self.yy.data[i]);
        0.5 * (a + d).abs() + (0.25 * (a - d).powi(2) + b * b).sqrt()
    }
    /// The larger of the two extreme bends, and its normal.
    fn strongest(&self, i: usize) -> (f32, (f32, f32)) {
        let (a, b, d) = (self.xx.data[i], self.xy.data[i], self.yy.data[i]);
        // Half the angle whose tangent is 2 b / (a - d), by the half-angle formulas.
        let size = ((a - d).powi(2) + 4.0 * b * b).sqrt();
        let cos = if size > 0.0 { (a - d) / size } else { 1.0 };
        let (s, c) = ((0.5 * (1.0 - cos)).sqrt().copysign(b), (0.5 * (1.0 + cos)).sqrt());
        let (one, two) = (self.across(i, (c, s)), self.across(i, (-s, c)));
        if one.abs() >= two.abs() { (one, (c, s)) } else { (two, (-s, c)) }
    }
}

/// One sample on a line.
#[derive(Clone, Copy)]
pub(super) struct Bead {
    pub x: f32,
    pub y: f32,
    pub normal: (f32, f32),
    /// Bend over the noise of its direction; the sign is that of the bend.
    stands_out: f32,
}

/// Finds the lines of light and shade that are long and smooth, strongest first; none where the lamp's place is not known.
pub(super) fn find(patch: &Patch, flat: &Flat) -> Curves {
    let k = ((SAMPLE * flat.unit / flat.step).round() as usize).max(1);
    let step = flat.step * k as f64;
    let (rel, used) = flat.reduced(k);
    let Some(scene) = Scene::of(patch, flat, k, used.clone()) else { return Curves::default() };
    let unit = (flat.unit / step) as f32;
    let used = without_blots(&rel, used, (BLOT * f64::from(unit)).round() as usize);
    let mut best: Vec<Option<Bead>> = vec![None; rel.data.len()];
    for width in WIDTHS.map(|w| (w * unit).max(0.9)) {
        let bends = Bends::of(&rel, &used, width);
        let inner = used.erode((1.5 * width).ceil() as usize);
        for (i, bead) in beads(&bends, &inner, width, (STRETCH * f64::from(unit)) as f32) {
            let better = best[i].is_none_or(|b| b.stands_out.abs() < bead.stands_out.abs());
            if better {
                best[i] = Some(bead);
            }
        }
    }
    let deep = used.erode((BORDER * f64::from(unit)).round() as usize);
    let inside = |b: &&Bead| deep.at(b.x as usize, b.y as usize);
    let chains = chains(&best, rel.width);
    let place = |b: &Bead| flat.place(k, b.x as usize, b.y as usize);
    let kinds = scene.kinds(&chains);
    let of = |kind: Kind| -> Vec<Curve> {
        let counts = |c: &[Bead]| kind == Kind::Wall || 2 * c.iter().filter(inside).count() > c.len();
        let chains = chains.iter().zip(&kinds).filter(|(c, k)| **k == kind && counts(c));
        let mut lines: Vec<Curve> = chains.filter_map(|(c, _)| curve(c, &place, flat.unit)).collect();
        lines.sort_by(|a, b| (b.snr * b.length).total_cmp(&(a.snr * a.length)));
        lines
    };
    Curves { lines: of(Kind::Floor), walls: of(Kind::Wall), chroma_share: None }
}

/// What the colour says of the bent ones together.
pub(super) fn coloured(curves: &Curves, flat: &Flat, colours: &Colours) -> Option<Measured> {
    colours.judge_paths(curves.bent().map(|c| c.path.as_slice()), BESIDE * flat.unit, flat.middle)
}

/// The mask without what is so dark or bright, and so wide, that it is a shadow or a wall and no line.
fn without_blots(rel: &Plane, used: Mask, r: usize) -> Mask {
    let w = rel.width;
    let of = |f: &(dyn Fn(f32) -> bool + Sync)| {
        let m = Mask::from_fn(w, rel.height, |x, y| used.at(x, y) && f(rel.at(x, y)));
        m.erode(r).dilate(2 * r)
    };
    let (dark, bright) = (of(&|v| v < DARK), of(&|v| v > BRIGHT));
    Mask::from_fn(w, rel.height, |x, y| used.at(x, y) && !dark.at(x, y) && !bright.at(x, y))
}

/// Samples on lines with how far they stand out.
fn beads(bends: &Bends, inner: &Mask, width: f32, stretch: f32) -> Vec<(usize, Bead)> {
    let (w, h) = (inner.width, inner.height);
    let n = (stretch / width.max(1.0)).ceil().max(1.0);
    // Mean bend along the line through a sample.
    let along = |i: usize, normal: (f32, f32)| -> f32 {
        let (x, y) = ((i % w) as f32, (i / w) as f32);
        let (mut sum, mut count) = (0.0, 0.0);
        let mut k = -n;
        while k <= n {
            let d = k * stretch / n;
            // Half a sample on: cut off, it is the nearest sample.
            let (u, v) = (x - normal.1 * d + 0.5, y + normal.0 * d + 0.5);
            if u >= 0.0 && v >= 0.0 && u < w as f32 && v < h as f32 {
                let j = v as i32 as usize * w + u as i32 as usize;
                if inner.data[j] {
                    sum += bends.across(j, normal);
                    count += 1.0;
                }
            }
            k += 1.0;
        }
        if count > 0.0 { sum / count } else { 0.0 }
    };
    let flanks = (3.0 * width).ceil() as usize;
    let direction = |normal: (f32, f32)| {
        ((normal.1.atan2(normal.0) / PI).rem_euclid(1.0) * DIRECTIONS as f32) as usize % DIRECTIONS
    };
    let top = |i: usize| -> Option<(usize, f32, (f32, f32))> {
        let (v, normal) = bends.strongest(i);
        let beside = |d: f32| {
            let (x, y) = ((i % w) as f32 + d * normal.0, (i / w) as f32 + d * normal.1);
            let j = (y + 0.5).max(0.0) as i32 as usize * w + (x + 0.5).max(0.0) as i32 as usize;
            bends.across(j.min(w * h - 1), normal) * v.signum()
        };
        let top = v.abs() > beside(1.0) && v.abs() >= beside(-1.0);
        // Beside every line the bend has the other sign.
        let flank = || (1..=flanks).flat_map(|d| [d as f32, -(d as f32)]).any(|d| beside(d) < -FLANK * v.abs());
        (top && !flank()).then(|| (i, along(i, normal), normal))
    };
    let sample: Vec<_> =
        (0..w * h).into_par_iter().step_by(SAMPLED).filter(|i| inner.data[*i]).filter_map(top).collect();
    let mut by_direction: Vec<Vec<f64>> = vec![Vec::new(); DIRECTIONS];
    for (_, v, normal) in &sample {
        by_direction[direction(*normal)].push(f64::from(v.abs()));
    }
    let all: Vec<f64> = by_direction.iter().flatten().copied().collect();
    let Some(usual) = median(&all) else { return Vec::new() };
    // The upper fifth of a direction's lines, as of normal noise.
    let noise: Vec<f32> = by_direction
        .iter()
        .map(|v| {
            let own = median(v).zip(percentile(v, 80.0)).filter(|_| v.len() > 50);
            own.map_or(usual / 0.67, |(m, p)| (p / 1.28).min(CROWD * m / 0.67).max(0.8 * usual / 0.67)) as f32
        })
        .collect();
    // What is no more than the median in its own place stands out along no line.
    (0..w * h)
        .into_par_iter()
        .filter(|i| inner.data[*i] && bends.size(*i) > usual as f32)
        .filter_map(top)
        .filter_map(|(i, v, normal)| {
            let d = direction(normal);
            let own = noise[d].max(0.5 * (noise[(d + 1) % DIRECTIONS] + noise[(d + DIRECTIONS - 1) % DIRECTIONS]));
            let stands_out = v / own.max(1e-9);
            (stands_out.abs() > GOES_ON)
                .then_some((i, Bead { x: (i % w) as f32, y: (i / w) as f32, normal, stands_out }))
        })
        .collect()
}

/// Samples within `r` of a bead's along either axis, but for its own.
fn around(b: Bead, r: isize, w: usize, h: usize) -> impl Iterator<Item = usize> {
    let there = |at: f32, d: isize, n: usize| (at as usize).checked_add_signed(d).filter(|v| *v < n);
    let rows = (-r..=r).filter_map(move |dy| Some((dy, there(b.y, dy, h)?)));
    rows.flat_map(move |(dy, y)| (-r..=r).filter_map(move |dx| Some((dx, dy, y * w + there(b.x, dx, w)?))))
        .filter(|(dx, dy, _)| (*dx, *dy) != (0, 0))
        .map(|(_, _, i)| i)
}

/// Chains of beads of one sign in reach of each other, from the strongest on.
fn chains(beads: &[Option<Bead>], w: usize) -> Vec<Vec<Bead>> {
    let h = beads.len() / w.max(1);
    let mut used = vec![false; beads.len()];
    let mut order: Vec<usize> =
        (0..beads.len()).filter(|i| beads[*i].is_some_and(|b| b.stands_out.abs() > BEGINS)).collect();
    let size = |i: usize| beads[i].map_or(0.0, |b| b.stands_out.abs());
    order.sort_by(|a, b| size(*b).total_cmp(&size(*a)));
    let mut out = Vec::new();
    for i in order {
        if used[i] {
            continue;
        }
        let Some(seed) = beads[i] else { continue };
        used[i] = true;
        let mut halves = [Vec::new(), Vec::new()];
        for (half, sign) in halves.iter_mut().zip([1.0f32, -1.0]) {
            let (mut at, mut along) = (seed, (-seed.normal.1 * sign, seed.normal.0 * sign));
            loop {
                let mut next: Option<(f32, usize, (f32, f32))> = None;
                for j in around(at, 3, w, h) {
                    let Some(b) = beads[j].filter(|b| !used[j] && b.stands_out * seed.stands_out > 0.0) else {
                        continue;
                    };
                    let (dx, dy) = (b.x - at.x, b.y - at.y);
                    let d = dx.hypot(dy);
                    let ahead = (dx * along.0 + dy * along.1) / d;
                    let t = (-b.normal.1, b.normal.0);
                    let turn = t.0 * along.0 + t.1 * along.1;
                    if ahead < BEND || turn.abs() < BEND {
                        continue;
                    }
                    // Near, straight ahead, strong.
                    let cost = d * (2.0 - ahead) / b.stands_out.abs().min(2.0 * BEGINS);
                    if next.is_none_or(|n| cost < n.0) {
                        next = Some((cost, j, (t.0 * turn.signum(), t.1 * turn.signum())));
                    }
                }
                let Some((_, j, t)) = next else { break };
                // Beads beside the one taken are the same line.
                used[j] = true;
                let Some(b) = beads[j] else { break };
                for q in around(b, 1, w, h) {
                    let weaker =
                        |o: Bead| o.stands_out * b.stands_out > 0.0 && o.stands_out.abs() <= b.stands_out.abs();
                    used[q] |= beads[q].is_some_and(weaker);
                }
                (at, along) = (b, t);
                half.push(b);
            }
        }
        let [forward, back] = halves;
        let chain: Vec<Bead> = back.into_iter().rev().chain([seed]).chain(forward).collect();
        if chain.len() > 3 {
            out.push(chain);
        }
    }
    out
}

/// A chain as a curve; `None` where it is short.
fn curve(chain: &[Bead], place: &impl Fn(&Bead) -> Point, unit: f64) -> Option<Curve> {
    let points: Vec<Point> = chain.iter().map(place).collect();
    let length: f64 = points.windows(2).map(|p| p[0].distance(p[1])).sum();
    if length < SHORTEST * unit {
        return None;
    }
    let every = ((POINTS * unit / (length / (points.len() - 1) as f64)).round() as usize).max(1);
    let mut path: Vec<Point> = points.iter().copied().step_by(every).collect();
    if !(points.len() - 1).is_multiple_of(every) {
        path.push(points[points.len() - 1]);
    }
    let snr = median(&chain.iter().map(|b| f64::from(b.stands_out)).collect::<Vec<_>>())?;
    let length = path.windows(2).map(|p| p[0].distance(p[1])).sum();
    let mut deg = f64::NAN;
    let headings = path.windows(3).map(|p| (p[2].y - p[0].y).atan2(p[2].x - p[0].x).to_degrees());
    let (low, high) = headings.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), h| {
        // Unrolled: a direction goes on from the last.
        deg = if deg.is_nan() { h } else { deg + crate::units::turn(deg, h) };
        (low.min(deg), high.max(deg))
    });
    let turn_deg = (high - low).max(0.0);
    let radius = circle(&path).filter(|(_, off)| turn_deg > BENT_DEG && *off < ROUND * unit).map(|(r, _)| r);
    Some(Curve {
        path,
        length,
        turn_deg,
        radius,
        polarity: if snr > 0.0 { Polarity::Shade } else { Polarity::Lit },
        snr: snr.abs(),
    })
}

/// Radius of the circle through points, and their rms distance from it: least squares of x^2 + y^2 = 2 a x + 2 b y + c (Kasa,
/// IEEE Trans. Instrum. Meas. 25 (1976) 8, from memory).
fn circle(path: &[Point]) -> Option<(f64, f64)> {
    let n = path.len() as f64;
    let m = path.iter().fold(Point::default(), |a, p| a + *p) * (1.0 / n);
    let (mut xx, mut xy, mut yy, mut xz, mut yz, mut z) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for p in path.iter().map(|p| *p - m) {
        let q = p.x * p.x + p.y * p.y;
        (xx, xy, yy) = (xx + p.x * p.x, xy + p.x * p.y, yy + p.y * p.y);
        (xz, yz, z) = (xz + p.x * q, yz + p.y * q, z + q);
    }
    let det = xx * yy - xy * xy;
    if path.len() < 4 || !(det > 1e-9 * (xx + yy).powi(2)) {
        return None;
    }
    let (a, b) = (0.5 * (xz * yy - yz * xy) / det, 0.5 * (yz * xx - xz * xy) / det);
    let r = (z / n + a * a + b * b).sqrt();
    let off = path.iter().map(|p| ((p.x - m.x - a).hypot(p.y - m.y - b) - r).powi(2)).sum::<f64>();
    Some((r, (off / n).sqrt()))
}
