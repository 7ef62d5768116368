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
/// Light over the lit level that marks a lit wall.
const LIT_WALL: f32 = 1.3;

/// The tops of islands (reduced samples); also takes from the shade's shadow what only ridges cast.
pub fn find(piece: &Piece, shade: &mut Shade, cast: Cast) -> Mask {
    let (w, h) = (piece.small.width, piece.small.height);
    let mut tops = Mask::new(w, h, false);
    let length = cast.shift.x.hypot(cast.shift.y);
    let sample = piece.unit();
    // Towards the lamp, one sample.
    let to_lamp = cast.shift * (-1.0 / length.max(1e-12));
    let data = shade.shadow.data.iter().map(|v| u8::from(*v) * 255).collect();
    let Some(picture) = GrayImage::from_raw(w as u32, h as u32, data) else { return tops };
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
    let reach = piece.samples(WIDEST_STROKE_MM);
    for (i, j) in fronts {
        // At the wall the outline's own doubt leaves lit slivers on the lamp's side of its shadow: no island there.
        if !island(label(i, j)) || near_wall.at(i, j) {
            continue;
        }
        let mut n = 1.0;
        while n < reach {
            let Some((x, y)) = step(i, j, n) else { break };
            if !piece.inside.at(x, y) || (n > 3.0 && label(x, y) > 0) {
                break;
            }
            tops.data[y * w + x] = true;
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
    tops.dilate(r)
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
