//! Where the lamp stands, from the shadow that the pocket's wall casts on its floor.
//!
//! A wall of depth d casts a shadow d * cot(elevation) long, away from the lamp. A floor point lies in it when the way
//! towards the lamp leaves the outline within that length. The displacement vector that explains the dark samples best is
//! searched over the whole floor, so that any outline will do: straight, round, with an inner corner. The lamp stands at a
//! finite distance, so the displacement grows linearly with the distance from it.
//!
//! Letters cast shadows too, and one that reaches a wall passes for that wall's. Where the walls leave much of the dark
//! unexplained, the lengths of all shadows count as well: along the true direction most are as long as the walls' and none is
//! longer.

use super::Light;
use super::LightSource;
use super::cut::Piece;
use super::lit::Shade;
use super::runs::{Runs, agree, longest};
use crate::geometry::Point;
use crate::geometry::signed_area;
use crate::plan::PlannedCut;
use crate::units::Measured;
use crate::units::wrap_360;
use rayon::prelude::*;

/// Horizontal distance of a bench lamp from the pocket's middle, mm, and its doubt: a lamp on the same bench stands
/// 0.3 to 0.8 m away (common practice, no source). The walls' own elevation is carried to the middle with it: 38 mm
/// nearer to the lamp the elevation's cotangent is 38/450 smaller.
const LAMP_AT_MM: f64 = 450.0;
const LAMP_AT_RELATIVE: f64 = 0.35;
/// Doubt of the shadow's length, mm: outline and soft edge.
const LENGTH_SIGMA_MM: f64 = 0.35;
/// Doubt of the planned depth, mm (zeroing on paper or a touch plate; common practice, no source).
const DEPTH_SIGMA_MM: f64 = 0.1;

/// Share of all darkness that the walls explain from which the walls alone tell the lamp, and below which by how much the
/// lengths of all shadows come to count as much. Walls of twenty made pockets without letters explain 0.6 to 0.95 (chips and
/// dark wood are the rest) and tell direction and length better alone; with letters it is 0 to 0.9, two thirds under
/// 0.55, and a letter's shadow beside a wall passes for the wall's.
const WALLS_ALONE: f64 = 0.75;
const WALLS_FADE: f64 = 0.25;
/// Share of the shadows' ends by which two directions may differ and still agree as well: a judgement, not
/// measured. With 0 the doubt of the direction would follow the borders' noise, with 1 the walls alone would tell it.
const AGREE_AS_WELL: f64 = 0.1;

/// Agreement of all shadows' lengths from which the walls' own need not be dark all along: among made letters true directions
/// have 0.25 to 0.9, and of those whose walls are half lit the two true ones 0.6. With 0 shapes that are no walls would do.
const MOST_AGREE: f64 = 0.5;

/// The displacement of the wall's shadow at the floor's middle, frame units, and the doubt of its direction,
/// radians.
#[derive(Debug, Clone, Copy)]
pub struct Cast {
    pub shift: Point,
    pub turn_sigma: f64,
}

/// A floor sample: position and darkness less one half (0.5 = full shadow, -0.5 = lit).
struct Spot {
    at: Point,
    dark: f64,
}

/// Direction and elevation of the lamp; what the user gave (options, then plan) stands before what is measured.
pub fn measure(
    given: (Option<f64>, Option<f64>),
    plan: &PlannedCut,
    scaled: bool,
    plain: bool,
    piece: &Piece,
    cast: Option<Cast>,
) -> Light {
    let given_from = given.0.or(plan.light_from_deg);
    let given_elevation = given.1.or(plan.light_elevation_deg);
    // A hand-given direction is read off by eye (5 degrees), an elevation off a rule or a protractor (1.5 degrees).
    let mut light = Light {
        from_deg: given_from.and_then(|v| Measured::new(wrap_360(v), 5.0)),
        elevation_deg: given_elevation.and_then(|v| Measured::new(v, 1.5)),
        source: (given_from.is_some() || given_elevation.is_some()).then_some(LightSource::Given),
    };
    let Some(cast) = cast else { return light };
    let length = cast.shift.x.hypot(cast.shift.y);
    // An outline that follows an odd contour may be off by a millimetre or two here and there.
    let odd = if plain { 1.0 } else { 4.0 };
    let doubt = odd * (LENGTH_SIGMA_MM * piece.mm).hypot(piece.unit() * 0.5);
    if light.from_deg.is_none() {
        // 1 degree: the outline's own turn and the lamp's width.
        let sigma = (doubt / length).atan().hypot(cast.turn_sigma).to_degrees().hypot(1.0);
        light.from_deg = Measured::new(wrap_360((-cast.shift.y).atan2(-cast.shift.x).to_degrees()), sigma);
        light.source = light.source.or(Some(LightSource::WallShadow));
    }
    if let (None, true, Some(d)) = (light.elevation_deg, scaled, plan.depth_mm.filter(|d| *d > 0.0)) {
        // The rim's height over the floor counts too: the lamp is that much higher above the floor than above the rim.
        let e = (d / length + d / LAMP_AT_MM).atan();
        let (min, max) = super::cut::bounds(&piece.outline);
        let reach = 0.25 * min.distance(max);
        let relative = (doubt / length).hypot(DEPTH_SIGMA_MM / d).hypot(reach / LAMP_AT_MM * LAMP_AT_RELATIVE);
        light.elevation_deg = Measured::new(e.to_degrees(), (e.sin() * e.cos() * relative).to_degrees().max(0.3));
        light.source = light.source.or(Some(LightSource::WallShadow));
    }
    light
}

/// The shadow's displacement at the floor's middle; `None` when no side of the outline casts a shadow that shows.
pub fn cast(piece: &Piece, shade: &Shade) -> Option<Cast> {
    let shadow_level = (1.0 / shade.contrast?).min(0.9);
    let size = signed_area(&piece.outline).abs().sqrt();
    let middle = super::centroid(&piece.outline);
    // 0.6 mm off the wall: what lies nearer is the wall's own blur and fillet.
    let open = shade.free.erode(piece.samples(0.6).round() as usize);
    let all = |stride: usize| -> Vec<Spot> {
        let (w, h) = (piece.small.width, piece.small.height);
        (0..h)
            .step_by(stride)
            .flat_map(|j| (0..w).step_by(stride).map(move |i| (i, j)))
            .filter(|(i, j)| open.at(*i, *j))
            .map(|(i, j)| {
                let r = f64::from(shade.ratio.at(i, j));
                Spot { at: piece.floor_at(i, j), dark: ((1.0 - r) / (1.0 - shadow_level)).clamp(0.0, 1.0) - 0.5 }
            })
            .collect()
    };
    let stride = ((piece.inside.count() as f64 / 2000.0).sqrt().round() as usize).max(1);
    let coarse = all(stride);
    let fine = all((stride / 2).max(1));
    // Both parts as shares: of all darkness, and of all shadows' ends.
    let darkness_of = |spots: &[Spot]| spots.iter().map(|s| s.dark + 0.5).sum::<f64>().max(1.0);
    let (coarse_dark, fine_dark) = (darkness_of(&coarse), darkness_of(&fine));
    let mut tries = tries(piece, &coarse, middle, size);
    let walls = tries.iter().map(|t| &t.walls).max_by(|a, b| a.value.total_cmp(&b.value))?;
    let weight = ((WALLS_ALONE - walls.darkness * walls.count as f64 / coarse_dark) / WALLS_FADE).clamp(0.0, 1.0);
    let runs = (weight > 0.0).then(|| Runs::of(piece, shade, middle, LAMP_AT_MM * piece.mm));
    if let Some(runs) = &runs {
        tries.par_chunks_mut(LENGTHS).for_each(|along| agreements(runs, along));
    }
    let rough = |t: &Try| 2.0 * t.walls.value / coarse_dark + weight * t.agree;
    let start = tries.iter().max_by(|a, b| rough(a).total_cmp(&rough(b)))?.shift;
    let parts = |s: Point| {
        let all = runs.as_ref().map_or(0.0, |r| r.agree(s));
        (explained(piece, &fine, middle, s), all)
    };
    let share = |walls: &Explained| 2.0 * walls.value / fine_dark;
    let value = |s: Point| {
        let (walls, all) = parts(s);
        share(&walls) + weight * all
    };
    let mut best = (value(start), start);
    let mut step = 0.12 * start.x.hypot(start.y);
    while step > 0.1 * piece.unit() {
        let around: Vec<(f64, Point)> = (0..8)
            .into_par_iter()
            .map(|i| best.1 + polar(f64::from(i) * std::f64::consts::FRAC_PI_4, step))
            .map(|s| (value(s), s))
            .collect();
        match around.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
            Some(b) if b.0 > best.0 => best = b,
            _ => step /= 2.0,
        }
    }
    let (walls, every) = parts(best.1);
    // A real wall shadow is dark nearly everywhere; half of it lit means that something else was matched, or, where most
    // shadows are as long as that, that the outline lies off.
    let enough = if every > MOST_AGREE { 0.5 } else { 0.65 };
    if walls.count < 20 || walls.darkness < enough {
        return None;
    }
    // With one wall in shadow a turn changes little until a second wall would have to cast one. All directions whose
    // value falls short by less than the doubt of the length along half a side are equally good: their middle is taken.
    let spacing = piece.unit() * (stride / 2).max(1) as f64;
    let short = LENGTH_SIGMA_MM * piece.mm * 0.5 * size / (spacing * spacing) / fine_dark;
    let (length, at) = (best.1.x.hypot(best.1.y), best.1.y.atan2(best.1.x));
    let good: Vec<f64> = (-30..=30)
        .into_par_iter()
        .map(|i| f64::from(i).to_radians())
        .filter(|turn| {
            let (w, e) = parts(polar(at + turn, length));
            share(&w) > share(&walls) - short && e > every - AGREE_AS_WELL
        })
        .collect();
    let (a, b) = good.iter().fold((0.0f64, 0.0f64), |(a, b), v| (a.min(*v), b.max(*v)));
    Some(Cast { shift: polar(at + (a + b) / 2.0, length), turn_sigma: (b - a) / 12f64.sqrt() })
}

fn polar(a: f64, l: f64) -> Point {
    Point::new(a.cos(), a.sin()) * l
}

/// One displacement looked at.
struct Try {
    shift: Point,
    walls: Explained,
    /// [`agree`]; 0 where it was not asked for.
    agree: f64,
}

/// Lengths looked at along one direction.
const LENGTHS: usize = 36;

/// Displacements all round, a hundred and fiftieth of the floor's size long to four fifths of it: fine enough for the lengths
/// of letters' shadows, which agree within a seventh. [`LENGTHS`] of one direction stand together.
fn tries(piece: &Piece, spots: &[Spot], middle: Point, size: f64) -> Vec<Try> {
    let length = |l: usize| 0.006 * 1.149f64.powi(l as i32) * size;
    (0..48 * LENGTHS)
        .into_par_iter()
        .map(|i| {
            let shift = polar(((i / LENGTHS) as f64 * 7.5).to_radians(), length(i % LENGTHS));
            Try { shift, walls: explained(piece, spots, middle, shift), agree: 0.0 }
        })
        .collect()
}

/// Tells how well all shadows agree with displacements of one direction, the longest last.
fn agreements(runs: &Runs, along: &mut [Try]) {
    let length = |t: &Try| t.shift.x.hypot(t.shift.y);
    let Some(last) = along.last() else { return };
    let found = runs.lengths(last.shift * (1.0 / length(last)), longest(length(last) / runs.unit()));
    along.iter_mut().for_each(|t| t.agree = agree(&found, length(t) / runs.unit()));
}

/// What a displacement puts into the walls' shadow: sum of (darkness - 1/2) over its samples, their number and mean darkness.
struct Explained {
    value: f64,
    count: usize,
    darkness: f64,
}

fn explained(piece: &Piece, spots: &[Spot], middle: Point, s: Point) -> Explained {
    let kappa = s.x.hypot(s.y) / (LAMP_AT_MM * piece.mm);
    let inside = |p: Point| {
        let q = piece.view.to_sample(p) * (1.0 / piece.k as f64);
        q.x >= 0.0
            && q.y >= 0.0
            && (q.x as usize) < piece.inside.width
            && (q.y as usize) < piece.inside.height
            && piece.inside.at(q.x as usize, q.y as usize)
    };
    let (mut sum, mut n) = (0.0, 0);
    for spot in spots {
        let back = (s + (spot.at - middle) * kappa) * (1.0 / (1.0 + kappa));
        // The far end first (it decides on a convex floor), then the way to it (inner corners).
        if [1.0, 0.75, 0.5, 0.25].iter().any(|t| !inside(spot.at - back * *t)) {
            sum += spot.dark;
            n += 1;
        }
    }
    Explained { value: sum, count: n, darkness: if n > 0 { sum / n as f64 + 0.5 } else { 0.0 } }
}
