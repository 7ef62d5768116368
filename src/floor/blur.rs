//! How sharp the photo is near the floor: the width of its sharpest edges.

use crate::geometry::Point;
use crate::photo::Photo;
use crate::raster::Plane;
use rayon::prelude::*;
use std::borrow::Cow;

/// One-sigma width (photo px) of a Gaussian edge for the sharpest quarter of the edges along closed lines (photo px):
/// the pocket's rim, the card's outline. `None` where no clear edge is seen.
///
/// A blurred step of height A has the slope A / (sigma sqrt(2 pi)) at its middle. Edges are followed over wider and wider
/// windows until the step fits into one (a badly blurred photo has edges tens of pixels wide).
pub fn edge_sigma(photo: &Photo, lines: &[Vec<Point>]) -> Option<f64> {
    let points: Vec<(Point, Point)> = lines.iter().flat_map(|l| normals(l)).collect();
    let mut widest = None;
    for k in [1usize, 3, 8] {
        let plane = if k == 1 { Cow::Borrowed(&photo.luma) } else { Cow::Owned(photo.luma.shrink(k)) };
        let sigmas: Vec<f64> =
            points.par_iter().filter_map(|(p, n)| sigma_at(&plane, k as f64, *p, *n)).map(|s| s * k as f64).collect();
        if sigmas.len() < 12 {
            continue;
        }
        let s = crate::stats::percentile(&sigmas, 25.0)?;
        // The step must fit: 10 samples either way hold 3 sigma of up to 3 samples.
        if s < 3.0 * k as f64 {
            return Some(s);
        }
        widest = Some(s);
    }
    widest
}

/// About 100 points along a closed line with their normals.
fn normals(line: &[Point]) -> Vec<(Point, Point)> {
    let n = line.len();
    if n < 3 {
        return vec![];
    }
    let length: f64 = (0..n).map(|i| line[i].distance(line[(i + 1) % n])).sum();
    let spacing = (length / 100.0).max(1.0);
    (0..n)
        .flat_map(|i| {
            let (a, b) = (line[i], line[(i + 1) % n]);
            let l = a.distance(b);
            let count = (l / spacing).floor() as usize;
            let d = (b - a) * (1.0 / l.max(1e-9));
            (0..count).map(move |t| (a + d * ((t as f64 + 0.5) * spacing), Point::new(-d.y, d.x)))
        })
        .collect()
}

/// Sigma of the edge at a photo point in samples of the plane (shrunk by k).
fn sigma_at(plane: &Plane, k: f64, p: Point, n: Point) -> Option<f64> {
    let d = Point::new(-n.y, n.x);
    let q = Point::new((p.x + 0.5) / k - 0.5, (p.y + 0.5) / k - 0.5);
    let reach = 10.0;
    if q.x < reach || q.y < reach || q.x > plane.width as f64 - 1.0 - reach || q.y > plane.height as f64 - 1.0 - reach {
        return None;
    }
    // Mean of five lines side by side, half a sample apart along the edge's normal.
    let v: Vec<f64> = (-20..=20)
        .map(|t| {
            let at = q + n * (f64::from(t) * 0.5);
            (-2..=2).map(|s| at + d * f64::from(s)).map(|c| f64::from(plane.bilinear(c.x, c.y))).sum::<f64>() / 5.0
        })
        .collect();
    let (slope, at) = (2..v.len() - 2).map(|i| ((v[i + 1] - v[i - 1]).abs(), i)).max_by(|a, b| a.0.total_cmp(&b.0))?;
    if at < 8 || at + 9 > v.len() {
        return None;
    }
    // The step: as far as the light keeps rising (or falling) to either side of its steepest place, by a twentieth of the
    // steepest slope at least. A bright wall between two even sides is then a step up and a step down, not a small one.
    let sign = (v[at + 1] - v[at - 1]).signum();
    let rises = |i: usize| (v[i + 1] - v[i - 1]) * sign > 0.05 * slope;
    let high = (at..v.len() - 1).find(|i| !rises(*i))?;
    let low = (1..=at).rev().find(|i| !rises(*i))?;
    let step = (v[high] - v[low]).abs();
    // A step of a third of the brighter side: noise and figure do not reach it.
    if step < 0.33 * v[high].max(v[low]) {
        return None;
    }
    // The slope over one sample (two halves); its own width, and bilinear reading, widen an edge by about 0.45 samples.
    let s = step / (slope * (2.0 * std::f64::consts::PI).sqrt());
    Some((s * s - 0.2).max(0.04).sqrt())
}
