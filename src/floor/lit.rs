//! Sorts the floor inside the outline: lit floor is used; shadow, lit walls, chips, card, burnt and black are left out.
//!
//! Everything is judged against the lit level, a smooth surface fitted to the logarithm of the light: a lamp at half a
//! metre and a lens's own falloff both change over the whole pocket, shadows and walls do not.

use super::cut::Piece;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::plan::Shape;
use crate::raster::Mask;
use crate::raster::Plane;
use crate::raster::gaussian_blur;
use crate::rectify::FloorFrame;
use crate::reference::Reference;
use image::GrayImage;
use imageproc::region_labelling::{Connectivity, connected_components};
use nalgebra::SMatrix;
use nalgebra::SVector;
use rayon::prelude::*;

/// Linear light of sRGB code 254: at or above it the sensor or the tone curve clipped.
pub const BURNT: f32 = 0.991;
/// Linear light of sRGB code 4: below it JPEG and noise leave nothing to measure.
pub const BLACK: f32 = 0.0012;
/// Narrowest shadow that is left out, mm: ridge shadows are narrower and must stay.
const NARROWEST_SHADOW_MM: f64 = 1.2;

/// What the sorting found, on the reduced copy.
pub struct Shade {
    /// Inside the outline and not on the card.
    pub free: Mask,
    /// Light over the lit level.
    pub ratio: Plane,
    /// Wide shadow.
    pub shadow: Mask,
    /// Left out for other reasons: card, lit walls and their glow, chips, wide burnt and black spots.
    other: Mask,
    /// Flat floor: off the wall's foot.
    inset: Mask,
    pub burnt_fraction: f64,
    pub black_fraction: f64,
    /// Lit floor over shadow, where there is a shadow.
    pub contrast: Option<f64>,
}

pub fn shade(photo: &Photo, frame: &FloorFrame, references: &[Reference], plan: &PlannedCut, piece: &Piece) -> Shade {
    let (w, h) = (piece.small.width, piece.small.height);
    let radius = |mm: f64| piece.samples(mm).round().max(1.0) as usize;
    let mut on_card = Mask::new(w, h, false);
    for r in references.iter().filter(|r| r.outline_px.len() > 2) {
        let here = piece.filled(&r.outline_px.iter().map(|p| frame.to_px.backward(*p)).collect::<Vec<_>>());
        on_card = Mask::from_fn(w, h, |i, j| on_card.at(i, j) || here.at(i, j));
    }
    let free = and_not(&piece.inside, &on_card);
    let (burnt, black) = clipped(photo, frame, piece);
    let ratio = against_lit_level(&piece.small, &and_not(&free, &burnt), piece.samples(12.0) as f32);
    let shadow = wide_shadow(&ratio, &free, piece);
    // Walls and their glow: brighter than any ridge over a wide spot, at the border.
    let smooth = gaussian_blur(&ratio, piece.samples(0.4) as f32);
    let rim = and_not(&piece.inside, &piece.inside.erode(radius(3.0)));
    let glow = Mask::from_fn(w, h, |i, j| rim.at(i, j) && smooth.at(i, j) > 1.45);
    let other = [
        on_card.dilate(radius(1.0)),
        glow.dilate(radius(0.5)),
        chips(&ratio, &free, &shadow, piece).dilate(radius(0.3)),
        wide(&burnt, radius(0.5)).dilate(radius(0.4)),
        wide(&black, radius(0.5)).dilate(radius(0.4)),
    ];
    let n = free.count().max(1) as f64;
    let share = |m: &Mask| m.data.iter().zip(&free.data).filter(|(a, b)| **a && **b).count() as f64 / n;
    Shade {
        burnt_fraction: share(&burnt),
        black_fraction: share(&black),
        contrast: shadow_contrast(&ratio, &shadow),
        other: Mask::from_fn(w, h, |i, j| other.iter().any(|m| m.at(i, j))),
        inset: piece.inside.erode(radius(inset_mm(plan))),
        free,
        ratio,
        shadow,
    }
}

/// The used floor at full resolution, and its share of the area inside the outline.
pub fn used(piece: &Piece, shade: &Shade, tops: &Mask) -> (Mask, f64) {
    let (w, h) = (piece.small.width, piece.small.height);
    let shadow = shade.shadow.dilate(piece.samples(0.4).round().max(1.0) as usize);
    let used =
        Mask::from_fn(w, h, |i, j| shade.inset.at(i, j) && ![&shadow, &shade.other, tops].iter().any(|m| m.at(i, j)));
    (
        enlarged(&used, piece.k, piece.view.luma.width, piece.view.luma.height),
        used.count() as f64 / piece.inside.count().max(1) as f64,
    )
}

/// A mask each of whose samples covers k x k samples of a `width` x `height` picture; what it does not reach is false.
fn enlarged(m: &Mask, k: usize, width: usize, height: usize) -> Mask {
    let mut full = Mask::new(width, height, false);
    full.data.par_chunks_mut(width * k).zip(m.data.par_chunks(m.width)).for_each(|(block, small)| {
        for row in block.chunks_mut(width) {
            for (cells, v) in row.chunks_mut(k).zip(small) {
                cells.fill(*v);
            }
        }
    });
    full
}

/// How far from the wall's foot the floor is flat: 0.7 mm for blur and the wall's glow, and the fillet that a rounded
/// cutter leaves at the wall's foot.
fn inset_mm(plan: &PlannedCut) -> f64 {
    let c = &plan.cutter;
    let fillet = match c.shape {
        Some(Shape::BallNose) => c.diameter_mm.map_or(0.0, |d| d / 2.0),
        Some(Shape::BullNose) => c.corner_radius_mm.unwrap_or(0.0),
        _ => 0.0,
    };
    // Half of the fillet's radius: beyond it the fillet is flatter than the cusps' own flanks.
    0.7 + 0.5 * fillet
}

pub fn and_not(a: &Mask, b: &Mask) -> Mask {
    Mask { width: a.width, height: a.height, data: a.data.iter().zip(&b.data).map(|(a, b)| *a && !*b).collect() }
}

/// The wide parts of a mask: what a square of half width `r` fits into. Burnt flanks of ridges are narrower and stay in
/// (clipped, but where they lie is what counts).
fn wide(m: &Mask, r: usize) -> Mask {
    m.erode(r).dilate(r)
}

/// Reduced samples that hold a burnt-out (any channel) and a black photo pixel. Four photo pixels a sample are looked at.
fn clipped(photo: &Photo, frame: &FloorFrame, piece: &Piece) -> (Mask, Mask) {
    let k = piece.k as f64;
    let look = |i: usize, j: usize, f: &dyn Fn([u8; 3]) -> bool| {
        [0.25, 0.75].iter().any(|a| {
            [0.25, 0.75].iter().any(|b| {
                let p = piece.view.to_floor((i as f64 + a) * k - 0.5, (j as f64 + b) * k - 0.5);
                let q = frame.to_px.forward(p);
                let (x, y) = (q.x.round(), q.y.round());
                let inside = x >= 0.0 && y >= 0.0 && x < photo.width as f64 && y < photo.height as f64;
                inside && f(photo.rgb.get_pixel(x as u32, y as u32).0)
            })
        })
    };
    let (w, h) = (piece.small.width, piece.small.height);
    (
        Mask::from_fn(w, h, |i, j| piece.inside.at(i, j) && look(i, j, &|c| c.iter().any(|v| *v >= 254))),
        Mask::from_fn(w, h, |i, j| piece.inside.at(i, j) && piece.small.at(i, j) < BLACK),
    )
}

/// Light over the lit level. The level: a quadratic surface fitted to ln(light) of the samples near it (start: the 70th
/// percentile, so that up to two thirds of the floor may lie in shadow), then followed locally over `sigma` samples.
fn against_lit_level(p: &Plane, good: &Mask, sigma: f32) -> Plane {
    let (w, h) = (p.width, p.height);
    let log = |v: f32| v.max(BLACK * 0.25).ln();
    let terms = |i: usize, j: usize| {
        let (x, y) = (i as f64 / w as f64 * 2.0 - 1.0, j as f64 / h as f64 * 2.0 - 1.0);
        SVector::<f64, 6>::from([1.0, x, y, x * x, x * y, y * y])
    };
    let stride = ((w * h) as f64 / 20_000.0).sqrt().ceil().max(1.0) as usize;
    let picked: Vec<(SVector<f64, 6>, f64)> = (0..h)
        .step_by(stride)
        .flat_map(|j| (0..w).step_by(stride).map(move |i| (i, j)))
        .filter(|(i, j)| good.at(*i, *j))
        .map(|(i, j)| (terms(i, j), f64::from(log(p.at(i, j)))))
        .collect();
    let values: Vec<f64> = picked.iter().map(|v| v.1).collect();
    let mut c = SVector::<f64, 6>::zeros();
    c[0] = crate::stats::percentile(&values, 70.0).unwrap_or(0.0);
    // First within a factor two of the start (a lamp at four pocket widths falls off by less), then closer.
    for gate in [0.7, 0.6, 0.5, 0.4, 0.35, 0.3] {
        let (mut a, mut b) = (SMatrix::<f64, 6, 6>::identity() * 1e-3, c * 1e-3);
        for (t, v) in &picked {
            if (v - t.dot(&c)).abs() < gate {
                a += t * t.transpose();
                b += t * *v;
            }
        }
        if let Some(s) = a.cholesky().map(|f| f.solve(&b)) {
            c = s;
        }
    }
    let coarse = Plane::from_fn(w, h, |i, j| p.at(i, j) / terms(i, j).dot(&c).exp() as f32);
    let near = Mask::from_fn(w, h, |i, j| good.at(i, j) && (0.7..1.4).contains(&coarse.at(i, j)));
    // Followed on a quarter of the samples: 12 mm are some 50 of them.
    let k = 4;
    let part = Plane::from_fn(w, h, |i, j| f32::from(u8::from(near.at(i, j)))).shrink(k);
    let light = Plane::from_fn(w, h, |i, j| if near.at(i, j) { coarse.at(i, j) } else { 0.0 }).shrink(k);
    let (light, part) = (gaussian_blur(&light, sigma / k as f32), gaussian_blur(&part, sigma / k as f32));
    let level = |l: f32, p: f32| if p > 1e-4 { l / p } else { 0.0 };
    let local = Plane {
        width: part.width,
        height: part.height,
        data: light.data.iter().zip(&part.data).map(|(l, p)| level(*l, *p)).collect(),
    };
    if local.data.is_empty() {
        return coarse;
    }
    let at = |i: usize| (i as f64 + 0.5) / k as f64 - 0.5;
    Plane::from_fn(w, h, |i, j| {
        let l = local.bilinear(at(i), at(j));
        coarse.at(i, j) / if l > 0.0 { l.clamp(0.7, 1.4) } else { 1.0 }
    })
}

/// Shadows wider than a ridge's own: dark over a wide spot, then grown back to their soft edge.
fn wide_shadow(ratio: &Plane, free: &Mask, piece: &Piece) -> Mask {
    let (w, h) = (ratio.width, ratio.height);
    let smooth = gaussian_blur(ratio, piece.samples(0.25) as f32);
    let half = (piece.samples(NARROWEST_SHADOW_MM) / 2.0).round().max(1.0) as usize;
    let grow = |limit: f32, soft: f32| {
        // Outside the outline counts as dark, so that a shadow along the wall is not eaten from that side.
        let dark = Mask::from_fn(w, h, |i, j| !free.at(i, j) || smooth.at(i, j) < limit);
        let core = and_not(&dark.erode(half), &free_not(free)).dilate(half + 1);
        let near = core.dilate(piece.samples(1.5).round() as usize);
        Mask::from_fn(w, h, |i, j| {
            free.at(i, j) && (core.at(i, j) && dark.at(i, j) || near.at(i, j) && smooth.at(i, j) < soft)
        })
    };
    let first = grow(0.6, 0.8);
    // The shadow's own level sets the border: halfway to the lit floor, 85 % of the way for what is left out.
    let levels: Vec<f64> =
        smooth.data.iter().zip(&first.data).filter(|(_, s)| **s).map(|(v, _)| f64::from(*v)).collect();
    match crate::stats::median(&levels) {
        Some(s) if levels.len() > 20 => grow((0.5 + 0.5 * s as f32).min(0.75), 1.0 - 0.15 * (1.0 - s as f32)),
        _ => first,
    }
}

fn free_not(free: &Mask) -> Mask {
    Mask { width: free.width, height: free.height, data: free.data.iter().map(|v| !*v).collect() }
}

/// Lit level over the shadow's level (its darker half, away from the soft edge).
fn shadow_contrast(ratio: &Plane, shadow: &Mask) -> Option<f64> {
    let v: Vec<f64> = ratio.data.iter().zip(&shadow.data).filter(|(_, s)| **s).map(|(v, _)| f64::from(*v)).collect();
    if v.len() < 50 {
        return None;
    }
    crate::stats::percentile(&v, 30.0).map(|s| 1.0 / s.max(1e-3))
}

/// Small dark compact spots: chips with their shadows, knots, dirt. Lines are left alone.
fn chips(ratio: &Plane, free: &Mask, shadow: &Mask, piece: &Piece) -> Mask {
    let (w, h) = (ratio.width, ratio.height);
    let dark = Mask::from_fn(w, h, |i, j| free.at(i, j) && !shadow.at(i, j) && ratio.at(i, j) < 0.5);
    let picture = GrayImage::from_raw(w as u32, h as u32, dark.data.iter().map(|v| u8::from(*v) * 255).collect());
    let Some(picture) = picture else { return Mask::new(w, h, false) };
    let labels = connected_components(&picture, Connectivity::Eight, image::Luma([0]));
    let mut moments: Vec<[f64; 6]> = Vec::new();
    for (x, y, l) in labels.enumerate_pixels() {
        let l = l.0[0] as usize;
        if l > 0 {
            if moments.len() < l {
                moments.resize(l, [0.0; 6]);
            }
            let (x, y) = (f64::from(x), f64::from(y));
            for (m, v) in moments[l - 1].iter_mut().zip([1.0, x, y, x * x, x * y, y * y]) {
                *m += v;
            }
        }
    }
    let largest = piece.samples(5.0).powi(2);
    let compact: Vec<bool> = moments
        .iter()
        .map(|m| {
            let [n, x, y, xx, xy, yy] = *m;
            // 1/12: the spread of one sample itself.
            let (a, b, c) =
                (xx / n - (x / n).powi(2) + 1.0 / 12.0, xy / n - x * y / n / n, yy / n - (y / n).powi(2) + 1.0 / 12.0);
            let (mean, half) = ((a + c) / 2.0, ((a - c) / 2.0).hypot(b));
            let elongation = ((mean + half) / (mean - half).max(1e-9)).sqrt();
            n >= 2.0 && n <= largest && elongation < 3.5
        })
        .collect();
    Mask::from_fn(w, h, |i, j| {
        let l = labels.get_pixel(i as u32, j as u32).0[0] as usize;
        l > 0 && compact[l - 1]
    })
}
