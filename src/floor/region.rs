//! An outline of any shape: what a closed line of edges and shadow encloses.
//!
//! At a falling edge threshold the lines grow together; the pocket's contour closes at some level before the stock's own
//! figure does. Everything that the picture's border cannot reach is enclosed. Each level's enclosed regions are
//! candidates; the caller tests them by their edges and shadow.

use super::search::Sight;
use crate::geometry::Point;
use crate::raster::Mask;
use crate::raster::Plane;
use image::GrayImage;
use imageproc::contours::BorderType;
use imageproc::contours::find_contours;
use rayon::prelude::*;

/// Edge thresholds, change of ln(light) per sample: from a shadow's border (above 0.3) to a wall seen only by its thin
/// line (0.03); under that, wood figure encloses everything.
const LEVELS: [f32; 9] = [0.3, 0.22, 0.16, 0.12, 0.09, 0.07, 0.055, 0.042, 0.032];
/// Smallest region, as a share of the picture: under it a pocket is too small to be the photo's subject.
const SMALLEST: f64 = 0.015;

/// Outer contours of the enclosed regions, samples of the search picture, all levels; of nearly equal ones the first.
pub fn candidates(sight: &Sight, edges: &(Plane, Plane)) -> Vec<Vec<Point>> {
    // Half the resolution: a contour's place is settled by its edges later.
    let (w, h) = (sight.log.width / 2, sight.log.height / 2);
    let four = |i: usize, j: usize| [(2 * i, 2 * j), (2 * i + 1, 2 * j), (2 * i, 2 * j + 1), (2 * i + 1, 2 * j + 1)];
    let strength = Plane::from_fn(w, h, |i, j| {
        four(i, j).iter().map(|(x, y)| edges.0.at(*x, *y).hypot(edges.1.at(*x, *y))).fold(0.0, f32::max)
    });
    let dark = Mask::from_fn(w, h, |i, j| four(i, j).iter().any(|(x, y)| sight.dark.at(*x, *y)));
    let valid = Mask::from_fn(w, h, |i, j| four(i, j).iter().all(|(x, y)| sight.valid.at(*x, *y)));
    let jobs: Vec<(f32, usize)> = LEVELS.iter().flat_map(|t| [(*t, 1), (*t, 3)]).collect();
    let all: Vec<Vec<Point>> = jobs
        .into_par_iter()
        .flat_map_iter(|(level, close)| {
            let line = Mask::from_fn(w, h, |i, j| dark.at(i, j) || strength.at(i, j) > level).dilate(close);
            let solid = filled(&line, &valid).erode(close);
            // 3 samples (about 2 mm): lines of figure that hang on the contour are thinner, a pocket's arms are not.
            contours(&solid.erode(3).dilate(3), SMALLEST)
        })
        .collect();
    let mut kept: Vec<(Point, Point, Vec<Point>)> = Vec::new();
    for c in all {
        let c: Vec<Point> = c.into_iter().map(|p| p * 2.0 + Point::new(0.5, 0.5)).collect();
        let (a, b) = super::cut::bounds(&c);
        // 4 samples, 1.2 mm: within the reach of the snapping to edges.
        if !kept.iter().any(|k| k.0.distance(a) < 4.0 && k.1.distance(b) < 4.0) {
            kept.push((a, b, c));
        }
    }
    kept.into_iter().map(|k| k.2).collect()
}

/// The mask with everything that the border (or what is not valid) cannot reach.
fn filled(line: &Mask, valid: &Mask) -> Mask {
    let (w, h) = (line.width, line.height);
    let mut out = Mask::new(w, h, true);
    let mut stack: Vec<usize> = Vec::new();
    let visit = |at: usize, out: &mut Mask, stack: &mut Vec<usize>| {
        if out.data[at] && !line.data[at] {
            out.data[at] = false;
            stack.push(at);
        }
    };
    for j in 0..h {
        for i in 0..w {
            if i == 0 || j == 0 || i + 1 == w || j + 1 == h || !valid.at(i, j) {
                visit(j * w + i, &mut out, &mut stack);
            }
        }
    }
    while let Some(at) = stack.pop() {
        let (i, j) = (at % w, at / w);
        if i > 0 {
            visit(at - 1, &mut out, &mut stack);
        }
        if i + 1 < w {
            visit(at + 1, &mut out, &mut stack);
        }
        if j > 0 {
            visit(at - w, &mut out, &mut stack);
        }
        if j + 1 < h {
            visit(at + w, &mut out, &mut stack);
        }
    }
    out
}

/// Outer contours of a mask's parts that hold at least `least` of the picture.
pub fn contours(m: &Mask, least: f64) -> Vec<Vec<Point>> {
    let data = m.data.iter().map(|v| u8::from(*v) * 255).collect();
    let Some(picture) = GrayImage::from_raw(m.width as u32, m.height as u32, data) else { return vec![] };
    let least = least * (m.width * m.height) as f64;
    find_contours::<i32>(&picture)
        .into_iter()
        .filter(|c| c.border_type == BorderType::Outer)
        .map(|c| c.points.iter().map(|p| Point::new(f64::from(p.x), f64::from(p.y))).collect::<Vec<_>>())
        .filter(|c| c.len() > 8 && crate::geometry::signed_area(c).abs() > least)
        .collect()
}
