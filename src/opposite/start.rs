//! First guesses of where the second photo shows the first one's floor.

use super::Second;
use crate::floor::Patch;
use crate::geometry::{Homography, Point, signed_area};
use crate::photo::Photo;
use crate::rectify::FloorFrame;
use nalgebra::Matrix3;

/// By how much the first floor frame must be turned to lie as the second's, degrees: by the pocket's own axis (a camera
/// that moved a little turned by less than 45 degrees), 0 where it is not known.
pub(super) fn turn_deg(first: &Patch, second: &Patch) -> f64 {
    match (first.pocket_x_deg, second.pocket_x_deg) {
        (Some(a), Some(b)) => (b - a + 45.0).rem_euclid(90.0) - 45.0,
        _ => 0.0,
    }
}

/// Maps from the first floor frame to the second one's.
pub(super) fn guesses(frame: &FloorFrame, patch: &Patch, photo: &Photo, second: &Second) -> Vec<Homography> {
    let turn = turn_deg(patch, second.patch);
    let mut out = vec![];
    let (here, there) = (middle(&patch.outline), middle(&second.patch.outline));
    let both = frame.scale.is_some() && second.frame.scale.is_some();
    if !patch.outline_assumed && !second.patch.outline_assumed {
        let ratio = signed_area(&second.patch.outline).abs() / signed_area(&patch.outline).abs().max(1e-9);
        let k = if both { 1.0 } else { ratio.sqrt() };
        out.extend(similarity(here, there, k, turn));
    }
    if both && frame.source == second.frame.source {
        // The same thing gave both frames their origin.
        out.extend(similarity(Point::default(), Point::default(), 1.0, turn));
    }
    // The camera hardly moved: the same share of the picture.
    let k = second.photo.width as f64 / photo.width as f64;
    let there_px = |q: Point| second.photo.centre() + (q - photo.centre()) * k;
    out.extend(over(&patch.outline, |p| second.frame.to_px.backward(there_px(frame.to_px.forward(p)))));
    out
}

/// The homography nearest to a map over the box of an outline.
fn over(outline: &[Point], map: impl Fn(Point) -> Point) -> Option<Homography> {
    let (lo, hi) = crate::floor::bounds(outline);
    let place =
        |i: usize| Point::new(lo.x + (hi.x - lo.x) * (i % 4) as f64 / 3.0, lo.y + (hi.y - lo.y) * (i / 4) as f64 / 3.0);
    let pairs: Vec<(Point, Point)> = (0..16).map(place).map(|p| (p, map(p))).collect();
    Homography::from_pairs(&pairs)
}

/// Turned by `deg` and enlarged by `k` about `here`, which comes to lie on `there`.
pub(super) fn similarity(here: Point, there: Point, k: f64, deg: f64) -> Option<Homography> {
    let (s, c) = deg.to_radians().sin_cos();
    let (s, c) = (k * s, k * c);
    let (tx, ty) = (there.x - c * here.x + s * here.y, there.y - s * here.x - c * here.y);
    Homography::from_matrix(Matrix3::new(c, -s, tx, s, c, ty, 0.0, 0.0, 1.0))
}

fn middle(outline: &[Point]) -> Point {
    let (lo, hi) = crate::floor::bounds(outline);
    lo.lerp(hi, 0.5)
}
