//! Letters and other islands left standing in the pocket: found by the shadow that each casts away from the lamp.
//!
//! An island's top is stock, lit as the floor is; only its shadow tells it apart, and the lit wall on its lamp's side where
//! the camera sees that. So from each shadow's border on the lamp's side the way to the lamp is followed until a lit wall,
//! another shadow or a stroke's width: what is passed is left out. A strip of floor too much costs little, a letter's edges
//! among the marks would cost the diagnosis.

use super::cut::Piece;
use super::light::Cast;
use super::lit::Shade;
use crate::geometry::Point;
use crate::raster::Mask;
use image::GrayImage;
use imageproc::region_labelling::{Connectivity, connected_components};

/// Widest stroke of a letter that is followed where no lit wall ends it, mm (letters up to about 60 mm high).
const WIDEST_STROKE_MM: f64 = 10.0;
/// Shortest shadow of an island, as a share of the wall's own: an island reaches the stock's height, ridges stay far
/// under it; its shadow may be cut short by the next letter.
const SHORTEST: f64 = 0.3;
/// Narrowest shadow, across the light, of what is left standing on purpose, mm. Chips and curls that lie on the floor cast shadows
/// as long as letters do: on 38 made floors without letters such shadows, clear of the walls, were 2.0 to 5.8 mm wide (one more,
/// of 88 mm, came of a lamp wrongly told); 32 floors with letters showed 127 of 6.4 mm and more, and eleven narrower ones, chips
/// or ends of strokes. A stroke that falls under it is left out of the floor all the same and only does not count as a letter.
const NARROWEST_MM: f64 = 6.0;
/// Light over the lit level that marks a lit wall.
const LIT_WALL: f32 = 1.3;

/// What is passed on the way from shadows to the lamp (reduced samples).
pub struct Tops {
    /// All of it: no floor.
    pub all: Mask,
    /// What is wide enough to have been left standing; chips are not.
    pub standing: Mask,
}

impl Tops {
    pub fn none(piece: &Piece) -> Self {
        let empty = Mask::new(piece.small.width, piece.small.height, false);
        Self { all: empty.clone(), standing: empty }
    }
}

/// The tops of islands; also takes from the shade's shadow what only ridges cast.
pub fn find(piece: &Piece, shade: &mut Shade, cast: Cast) -> Tops {
    let (w, h) = (piece.small.width, piece.small.height);
    let Tops { mut all, mut standing } = Tops::none(piece);
    let length = cast.shift.x.hypot(cast.shift.y);
    let sample = piece.unit();
    // Towards the lamp, one sample.
    let to_lamp = cast.shift * (-1.0 / length.max(1e-12));
    let data = shade.shadow.data.iter().map(|v| u8::from(*v) * 255).collect();
    let Some(picture) = GrayImage::from_raw(w as u32, h as u32, data) else { return Tops { all, standing } };
    let labels = connected_components(&picture, Connectivity::Eight, image::Luma([0]));
    let label = |i: usize, j: usize| labels.get_pixel(i as u32, j as u32).0[0] as usize;
    let step = |i: usize, j: usize, n: f64| -> Option<(usize, usize)> {
        let (x, y) = (i as f64 + to_lamp.x * n + 0.5, j as f64 + to_lamp.y * n + 0.5);
        (x >= 0.0 && y >= 0.0 && (x as usize) < w && (y as usize) < h).then_some((x as usize, y as usize))
    };
    // Fronts: shadow samples that are lit on the lamp's side, with the shadow's length behind them.
    let near_wall = super::lit::and_not(&piece.inside, &piece.inside.erode(piece.samples(2.5).round() as usize));
    let mut longest: Vec<f64> = Vec::new();
    let mut at_wall: Vec<bool> = Vec::new();
    let mut fronts: Vec<(usize, usize)> = Vec::new();
    for j in 0..h {
        for i in 0..w {
            let l = label(i, j);
            if l == 0 {
                continue;
            }
            if longest.len() < l {
                longest.resize(l, 0.0);
                at_wall.resize(l, false);
            }
            at_wall[l - 1] |= near_wall.at(i, j);
            if step(i, j, 1.5).is_some_and(|(x, y)| shade.free.at(x, y) && label(x, y) == 0) {
                fronts.push((i, j));
                let mut n = 0.0;
                while step(i, j, -n).is_some_and(|(x, y)| label(x, y) == l) {
                    n += 1.0;
                }
                longest[l - 1] = longest[l - 1].max(n * sample);
            }
        }
    }
    let island = |l: usize| longest[l - 1] >= SHORTEST * length;
    let (reach, narrowest) = (piece.samples(WIDEST_STROKE_MM), piece.samples(NARROWEST_MM));
    let wide = widths(&fronts, |i, j| label(i, j) - 1, longest.len(), to_lamp);
    for (i, j) in fronts {
        // At the wall the outline's own doubt leaves lit slivers on the lamp's side of its shadow: no island there.
        if !island(label(i, j)) || near_wall.at(i, j) {
            continue;
        }
        let stands = wide[label(i, j) - 1] >= narrowest;
        let mut n = 1.0;
        while n < reach {
            let Some((x, y)) = step(i, j, n) else { break };
            if !piece.inside.at(x, y) || (n > 3.0 && label(x, y) > 0) {
                break;
            }
            all.data[y * w + x] = true;
            standing.data[y * w + x] |= stands;
            if n > 3.0 && shade.ratio.at(x, y) > LIT_WALL {
                break;
            }
            n += 0.7;
        }
    }
    for j in 0..h {
        for i in 0..w {
            let l = label(i, j);
            if l > 0 && !island(l) && !at_wall[l - 1] {
                shade.shadow.data[j * w + i] = false;
            }
        }
    }
    let r = piece.samples(0.6).round().max(1.0) as usize;
    Tops { all: all.dilate(r), standing: standing.dilate(r) }
}

/// How far the fronts of each shadow reach across the light, samples; of those with gaps (slivers along a wall) no more than they
/// have samples.
fn widths(fronts: &[(usize, usize)], of: impl Fn(usize, usize) -> usize, n: usize, to_lamp: Point) -> Vec<f64> {
    let mut reach = vec![(f64::INFINITY, f64::NEG_INFINITY, 0.0f64); n];
    for (i, j) in fronts {
        let across = *i as f64 * to_lamp.y - *j as f64 * to_lamp.x;
        let r = &mut reach[of(*i, *j)];
        *r = (r.0.min(across), r.1.max(across), r.2 + 1.0);
    }
    reach.iter().map(|(a, b, n)| (b - a + 1.0).min(*n).max(0.0)).collect()
}

/// Outlines of what stands inside, floor frame: tops with their shadows.
pub fn outlines(piece: &Piece, tops: &Mask) -> Vec<Vec<Point>> {
    // 0.15 % of the picture, 10 mm2 on the usual pocket: the smallest letter worth cutting.
    super::region::contours(tops, 1.5e-3)
        .into_iter()
        .map(|c| {
            let k = piece.k as f64;
            let at = |v: f64| (v + 0.5) * k - 0.5;
            c.iter().step_by(2).map(|p| piece.view.to_floor(at(p.x), at(p.y))).collect()
        })
        .collect()
}
