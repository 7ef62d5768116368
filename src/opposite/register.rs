//! Where the second photo shows the first one's floor: rough guesses, one phase correlation of the whole, then piece by
//! piece on ever finer views, all pieces together.
//!
//! Compared is only what stays when the lamp moves: how strongly the light changes from place to place, whichever way
//! (relief swaps light and shade, the strength stays). Ratios of colours do not serve: a camera's tone curve lets light
//! and shade into them.

use super::Second;
use super::correlate::{Correlator, Likeness};
use super::refine;
use super::start;
use crate::floor::Patch;
use crate::geometry::{Homography, Point};
use crate::photo::Photo;
use crate::raster::{Plane, box_blur, gaussian_blur, gradients};
use crate::rectify::{FloorFrame, FloorView, light_view};
use rayon::prelude::*;
use serde::Serialize;

/// How well one photo lies on the other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Registered {
    /// Rms distance of single pieces from the common map, each along the direction in which it can be told best (across
    /// the grain, not along it), pixels of the first photo.
    pub residual_px: f64,
    /// Pieces that agree, and pieces looked at.
    pub agreeing: usize,
    pub pieces: usize,
}

/// Longer side of the views worked on, samples: the whole first; the last is about a pixel of a 12 MP photo. Sides of the
/// pieces there and how far they may be off, samples.
const LEVELS: [(usize, usize, usize); 4] = [(400, 64, 12), (900, 128, 12), (2400, 128, 10), (2400, 128, 6)];
/// Pieces along each side of the floor, at most.
const MOST: usize = 9;
/// Likeness (over the correlation's rms) that a piece agrees from: noise alone passes it once in 150 pieces.
const AGREES: f64 = 2.5;
/// Mean likeness and share of agreeing pieces from which the map is believed, and the least number of pieces. Maps fitted
/// to photos of different floors reach 1.3 and a sixth. Of made pairs of the same floor those laid well have three fifths
/// and more, those laid two to three pixels off, along straight grain, a half: refused, too, for rings laid wrong leave
/// lines in the difference.
const BELIEVED: f64 = 1.8;
const AGREEING: f64 = 0.57;
const FEWEST: usize = 5;
/// Largest rms residual, samples: what lies on the floor is found within one.
const LARGEST_RESIDUAL: f64 = 1.0;
/// Likeness that a change of one sample costs on the finer levels: the level before knew the place to about one.
const PULL: f64 = 0.02;
/// Share of the likeness that the last step must keep.
const KEPT: f64 = 0.95;
/// Half width of the square over which structure is judged as weak or strong, samples.
const NEAR: usize = 10;
/// Turns tried about each guess, degrees.
const TURNS: [f64; 5] = [0.0, -2.0, 2.0, -4.0, 4.0];

const NO_INVERSE: &str = "the map has no inverse";

/// One piece: where its middle lies on the floor, and how alike the photos are there at each shift.
struct Piece {
    at: Point,
    likeness: Likeness,
}

/// The map from the first floor frame to the second one's: the lenses' shares of both are in the frames.
pub(super) fn register(
    frame: &FloorFrame,
    patch: &Patch,
    photo: &Photo,
    second: &Second,
) -> Result<(Homography, Registered), String> {
    let mut map = whole(frame, patch, photo, second).ok_or("no likeness was found")?;
    let mut last = Err("the floor is too small in the photo".to_owned());
    for (side, n, reach) in LEVELS {
        let mine = Level::of(patch, side);
        let other = mine.resampled(second, &map).ok_or(NO_INVERSE)?;
        let pieces = pieces(&mine, &mine.structure(&mine.view), &mine.structure(&other), n, reach);
        if pieces.len() < FEWEST {
            continue;
        }
        let found = Fit::of(&pieces, mine.view.step, side == LEVELS[0].0);
        map = map.after(&found.map).ok_or(NO_INVERSE)?;
        last = Ok((found, mine.k));
    }
    let (found, k) = last?;
    if let Some(finer) = refined(patch, second, &map, found.likeness) {
        map = finer;
    }
    let (agreeing, pieces) = (found.agreeing, found.pieces);
    if found.likeness < BELIEVED || agreeing < FEWEST || (agreeing as f64) < AGREEING * pieces as f64 {
        return Err(format!("only {agreeing} of {pieces} places agree"));
    }
    let residual_px = found.residual * k as f64;
    if found.residual > LARGEST_RESIDUAL {
        return Err(format!("places scatter by {residual_px:.1} px"));
    }
    Ok((map, Registered { residual_px, agreeing, pieces }))
}

/// The map once more by the slopes of the colour; `None` where the places are then less alike than before (`likeness`):
/// steep ridges leave something of themselves in what passes for colour, and that would pull.
fn refined(patch: &Patch, second: &Second, map: &Homography, likeness: f64) -> Option<Homography> {
    let mut map = map.clone();
    let level = Level::of(patch, refine::SIDE);
    for _ in 0..refine::ROUNDS {
        let other = level.resampled(second, &map)?;
        map = map.after(&refine::step(&level.view, &other, |x, y| level.lit(x, y))?)?;
    }
    let (side, n, reach) = LEVELS[LEVELS.len() - 1];
    let mine = Level::of(patch, side);
    let other = mine.structure(&mine.resampled(second, &map)?);
    let pieces = pieces(&mine, &mine.structure(&mine.view), &other, n, reach);
    let now = pieces.iter().map(|p| p.likeness.at(Point::default())).sum::<f64>() / pieces.len().max(1) as f64;
    (now > KEPT * likeness).then_some(map)
}

/// The first photo's floor, reduced.
struct Level<'a> {
    view: FloorView,
    patch: &'a Patch,
    /// Samples of the patch's view per sample.
    k: usize,
}

impl<'a> Level<'a> {
    fn of(patch: &'a Patch, side: usize) -> Self {
        let v = &patch.view;
        let k = v.luma.width.max(v.luma.height).div_ceil(side).max(1);
        let half = (k as f64 - 1.0) / 2.0;
        let view = FloorView {
            origin: v.to_floor(half, half),
            step: v.step * k as f64,
            luma: v.luma.shrink(k),
            chroma: None,
            chroma_shrink: v.chroma_shrink,
        };
        Self { view, patch, k }
    }
    fn lit(&self, x: usize, y: usize) -> bool {
        let mask = &self.patch.mask;
        mask.at((x * self.k).min(mask.width - 1), (y * self.k).min(mask.height - 1))
    }
    fn size(&self) -> (usize, usize) {
        (self.view.luma.width, self.view.luma.height)
    }
    /// The second photo on the same samples.
    fn resampled(&self, second: &Second, map: &Homography) -> Option<FloorView> {
        let (w, h) = self.size();
        let far = self.view.to_floor(w as f64 - 1.0, h as f64 - 1.0);
        let frame = FloorFrame::from_homography(second.frame.to_px.after(map)?, None);
        Some(light_view(second.photo, &frame, self.view.origin, far, self.view.step))
    }
    /// How strongly the light changes, against the neighbourhood.
    fn structure(&self, v: &FloorView) -> Plane {
        let (w, h) = self.size();
        let l = &v.luma;
        let log = Plane { width: l.width, height: l.height, data: l.data.iter().map(|v| v.max(1e-4).ln()).collect() };
        let (gx, gy) = gradients(&gaussian_blur(&log, 1.0));
        let slopes = gx.data.iter().zip(&gy.data).map(|(a, b)| a.hypot(*b)).collect();
        let slope = Plane { width: gx.width, height: gx.height, data: slopes };
        let near = box_blur(&slope, NEAR);
        Plane::from_fn(w, h, |x, y| {
            let (x, y) = (x.min(slope.width - 1), y.min(slope.height - 1));
            (slope.at(x, y) / near.at(x, y).max(1e-4) - 1.0).min(3.0)
        })
    }
}

/// The best of the guesses, moved by what the correlation of the whole picture says.
fn whole(frame: &FloorFrame, patch: &Patch, photo: &Photo, second: &Second) -> Option<Homography> {
    let level = Level::of(patch, LEVELS[0].0);
    let mine = level.structure(&level.view);
    let (w, h) = level.size();
    let correlator = Correlator::new(w.max(h).next_power_of_two());
    let n = correlator.n;
    let middle = level.view.to_floor(w as f64 / 2.0, h as f64 / 2.0);
    let tries: Vec<Homography> = start::guesses(frame, patch, photo, second)
        .iter()
        .flat_map(|g| TURNS.map(|t| start::similarity(middle, middle, 1.0, t).and_then(|turn| g.after(&turn))))
        .flatten()
        .collect();
    let best = tries
        .par_iter()
        .filter_map(|map| {
            let other = level.structure(&level.resampled(second, map)?);
            let all = correlator.likeness(&piece(&mine, 0, 0, n), &piece(&other, 0, 0, n), n / 4)?;
            all.peak(Point::default(), n / 4).map(|(shift, height)| (map, shift, height))
        })
        .max_by(|a, b| a.2.total_cmp(&b.2))?;
    best.0.after(&moved(best.1 * level.view.step))
}

/// Samples of an n x n piece from (x, y), mean taken off; 0 outside.
fn piece(p: &Plane, x: usize, y: usize, n: usize) -> Vec<f32> {
    let mut out = vec![0.0; n * n];
    for j in 0..n.min(p.height.saturating_sub(y)) {
        let row = &p.row(y + j)[x.min(p.width)..(x + n).min(p.width)];
        out[j * n..j * n + row.len()].copy_from_slice(row);
    }
    let mean = out.iter().sum::<f32>() / (n * n) as f32;
    out.iter_mut().for_each(|v| *v -= mean);
    out
}

/// Pieces of the floor that are lit in the first photo.
fn pieces(level: &Level, mine: &Plane, other: &Plane, n: usize, reach: usize) -> Vec<Piece> {
    let (w, h) = level.size();
    if w < n || h < n {
        return vec![];
    }
    let correlator = Correlator::new(n);
    let count = |side: usize| ((side - n) / (n / 2) + 1).min(MOST);
    let at = |i: usize, side: usize| if count(side) < 2 { (side - n) / 2 } else { i * (side - n) / (count(side) - 1) };
    let places: Vec<(usize, usize)> =
        (0..count(h)).flat_map(|j| (0..count(w)).map(move |i| (i, j))).map(|(i, j)| (at(i, w), at(j, h))).collect();
    let on_floor = |x: usize, y: usize| {
        let looks = 8;
        let seen = (0..looks * looks).filter(|q| level.lit(x + (q % looks) * n / looks, y + (q / looks) * n / looks));
        2 * seen.count() >= looks * looks
    };
    places
        .par_iter()
        .filter(|(x, y)| on_floor(*x, *y))
        .filter_map(|(x, y)| {
            let likeness = correlator.likeness(&piece(mine, *x, *y, n), &piece(other, *x, *y, n), reach)?;
            let half = (n as f64 - 1.0) / 2.0;
            Some(Piece { at: level.view.to_floor(*x as f64 + half, *y as f64 + half), likeness })
        })
        .collect()
}

fn moved(by: Point) -> Homography {
    start::similarity(Point::default(), by, 1.0, 0.0).unwrap_or_else(Homography::identity)
}

/// The map under which all pieces together are most alike.
struct Fit {
    /// Floor place to floor place of the same content in the second photo.
    map: Homography,
    likeness: f64,
    /// Rms distance of single pieces from the map, samples.
    residual: f64,
    agreeing: usize,
    pieces: usize,
}

impl Fit {
    /// Climbs by shifting, turning, stretching, shearing and tilting, from no change or from the best shift of all. Unless
    /// `first`, no change is worth something (along straight grain nothing else holds the map). `step`: floor units per
    /// sample.
    fn of(pieces: &[Piece], step: f64, first: bool) -> Self {
        let (lo, hi) = crate::floor::bounds(&pieces.iter().map(|p| p.at).collect::<Vec<_>>());
        let margin = Point::new(step, step);
        let (lo, hi) = (lo - margin, hi + margin);
        let corners = [lo, Point::new(hi.x, lo.y), hi, Point::new(lo.x, hi.y)];
        let map_of = |off: &[Point; 4]| {
            let pairs: Vec<(Point, Point)> = corners.iter().zip(off).map(|(c, o)| (*c, *c + *o * step)).collect();
            Homography::from_pairs(&pairs)
        };
        let off = |m: &Homography, p: &Piece| (m.forward(p.at) - p.at) * (1.0 / step);
        let pull = if first { 0.0 } else { PULL };
        let worth = |m: &Homography| {
            let one = |p: &Piece| {
                let o = off(m, p);
                p.likeness.at(o) - pull * (o.x * o.x + o.y * o.y)
            };
            pieces.iter().map(one).sum::<f64>() / pieces.len() as f64
        };
        let mut all = pieces[0].likeness.clone();
        pieces[1..].iter().for_each(|p| all.add(&p.likeness));
        let common = all.peak(Point::default(), usize::MAX / 4).map_or(Point::default(), |p| p.0);
        let mut best = ([Point::default(); 4], Homography::identity());
        let mut top = worth(&best.1);
        let moved_all = moved(common * step);
        if worth(&moved_all) > top {
            top = worth(&moved_all);
            best = ([common; 4], moved_all);
        }
        let mut size = 4.0;
        while size > 0.02 {
            let mut higher = false;
            for way in WAYS {
                for sign in [size, -size] {
                    let next: [Point; 4] = std::array::from_fn(|k| best.0[k] + Point::new(way[k].0, way[k].1) * sign);
                    let Some(map) = map_of(&next) else { continue };
                    let height = worth(&map);
                    if height > top {
                        (best, top, higher) = ((next, map), height, true);
                    }
                }
            }
            if !higher {
                size *= 0.5;
            }
        }
        let map = best.1;
        let agree: Vec<&Piece> = pieces.iter().filter(|p| p.likeness.at(off(&map, p)) > AGREES).collect();
        let away = agree.iter().map(|p| p.likeness.sharp_offset(off(&map, p)).powi(2));
        let residual = (away.sum::<f64>() / agree.len().max(1) as f64).sqrt();
        Self { map, likeness: top, residual, agreeing: agree.len(), pieces: pieces.len() }
    }
}

/// Moves of the four corners (left top, right top, right foot, left foot): along x and y, turn, stretch, both shears, and
/// the two tilts that only perspective does.
const WAYS: [[(f64, f64); 4]; 8] = [
    [(1.0, 0.0); 4],
    [(0.0, 1.0); 4],
    [(1.0, -1.0), (1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0)],
    [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)],
    [(-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)],
    [(1.0, 1.0), (1.0, -1.0), (-1.0, -1.0), (-1.0, 1.0)],
    [(1.0, 0.0), (-1.0, 0.0), (1.0, 0.0), (-1.0, 0.0)],
    [(0.0, 1.0), (0.0, -1.0), (0.0, 1.0), (0.0, -1.0)],
];
