//! Cuts the piece of the floor plane that holds the outline, and a reduced copy on which the floor is sorted.

use crate::error::{Error, Result, Stage};
use crate::geometry::Point;
use crate::geometry::signed_area;
use crate::photo::Photo;
use crate::raster::Mask;
use crate::raster::Plane;
use crate::rectify::FloorFrame;
use crate::rectify::FloorView;
use crate::rectify::view;
use rayon::prelude::*;

/// Largest view, samples: 48 MP, a whole photo of the largest usual phone. Above it the step grows.
const MAX_SAMPLES: f64 = 48e6;

/// The floor's piece and its reduced copy.
pub struct Piece {
    pub view: FloorView,
    pub outline: Vec<Point>,
    /// Floor-frame units per millimetre (an estimate without scale: see [`units_per_mm`]).
    pub mm: f64,
    /// Samples of the view per sample of the reduced copy.
    pub k: usize,
    /// Mean of the view over k x k samples.
    pub small: Plane,
    /// Reduced samples inside the outline.
    pub inside: Mask,
}

impl Piece {
    /// Frame units per reduced sample.
    pub fn unit(&self) -> f64 {
        self.view.step * self.k as f64
    }
    /// A length in mm as reduced samples.
    pub fn samples(&self, mm: f64) -> f64 {
        mm * self.mm / self.unit()
    }
    /// Reduced samples inside a polygon of the floor frame.
    pub fn filled(&self, polygon: &[Point]) -> Mask {
        let k = self.k as f64;
        let at = |v: f64| (v + 0.5) / k - 0.5;
        let corners: Vec<Point> =
            polygon.iter().map(|p| self.view.to_sample(*p)).map(|q| Point::new(at(q.x), at(q.y))).collect();
        filled(&corners, self.small.width, self.small.height)
    }
    /// Floor-frame position of a reduced sample.
    pub fn floor_at(&self, i: usize, j: usize) -> Point {
        let at = |v: usize| (v as f64 + 0.5) * self.k as f64 - 0.5;
        self.view.to_floor(at(i), at(j))
    }
}

/// Floor-frame units per millimetre: 1 with a scale. Without one, lengths such as "a ridge is under 1 mm wide" are needed
/// all the same; a pocket is then taken to be 90 mm across (square root of its area), within a factor two of most signs.
pub fn units_per_mm(frame: &FloorFrame, outline: &[Point]) -> f64 {
    if frame.scale.is_some() { 1.0 } else { (signed_area(outline).abs().sqrt() / 90.0).max(1e-6) }
}

pub fn piece(photo: &Photo, frame: &FloorFrame, outline_px: &[Point]) -> Result<Piece> {
    let outline: Vec<Point> = outline_px.iter().map(|p| frame.to_px.backward(*p)).collect();
    let (min, max) = bounds(&outline);
    let middle = (min + max) * 0.5;
    let mut step = 1.0 / frame.to_px.scale_at(middle);
    let size = max - min;
    let fine = |v: f64| v.is_finite() && v > 0.0;
    if !(fine(step) && fine(size.x) && fine(size.y)) || size.x.min(size.y) < 32.0 * step {
        let what = "the floor's outline is too small or does not lie on the floor plane";
        let hint = "give the outline's corners in photo pixels, in order, at least 32 px across";
        return Err(Error::new(Stage::Floor, photo.file.clone(), what, hint));
    }
    let count = size.x * size.y / (step * step);
    if count > MAX_SAMPLES {
        step *= (count / MAX_SAMPLES).sqrt();
    }
    let mm = units_per_mm(frame, &outline);
    let view = view(photo, frame, min, max, step);
    // 0.22 mm: under half the narrowest shadow or chip that is left out, and at most about 900 samples across.
    let across = view.luma.width.max(view.luma.height);
    let k = ((0.22 * mm / step).round() as usize).clamp(1, 16).max(across.div_ceil(900));
    let small = view.luma.shrink(k);
    let mut piece = Piece { inside: Mask::new(0, 0, false), view, outline, mm, k, small };
    piece.inside = piece.filled(&piece.outline);
    let holds = |i: usize, j: usize| piece.inside.at(i, j) && frame.to_px.holds(piece.floor_at(i, j));
    piece.inside = Mask::from_fn(piece.small.width, piece.small.height, holds);
    Ok(piece)
}

/// Samples of a `w` x `h` picture inside a polygon given in samples, as [`crate::geometry::contains`] tells each.
pub fn filled(polygon: &[Point], w: usize, h: usize) -> Mask {
    let n = polygon.len();
    let mut m = Mask::new(w, h, false);
    if n < 3 || w == 0 {
        return m;
    }
    m.data.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        let y = j as f64;
        let mut cuts: Vec<f64> = (0..n)
            .map(|i| (polygon[i], polygon[(i + n - 1) % n]))
            .filter(|(a, b)| (a.y > y) != (b.y > y))
            .map(|(a, b)| (b.x - a.x) * (y - a.y) / (b.y - a.y) + a.x)
            .collect();
        cuts.sort_by(f64::total_cmp);
        for pair in cuts.chunks_exact(2) {
            let at = |v: f64| v.ceil().clamp(0.0, w as f64) as usize;
            let (from, to) = (at(pair[0]), at(pair[1]));
            row[from..to.max(from)].fill(true);
        }
    });
    m
}

/// Smallest and largest coordinates of a set of points.
pub fn bounds(points: &[Point]) -> (Point, Point) {
    let far = Point::new(f64::INFINITY, f64::INFINITY);
    points.iter().fold((far, far * -1.0), |(a, b), p| {
        (Point::new(a.x.min(p.x), a.y.min(p.y)), Point::new(b.x.max(p.x), b.y.max(p.y)))
    })
}
