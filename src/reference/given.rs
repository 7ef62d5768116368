//! References that the user gives: known points, or a known scale.

use super::fit::{Fitted, Pair, ROBUST_FROM, fit_pairs};
use super::search::camera;
use super::{Level, Object, Reference, Source, assumed_focal_px};
use crate::caveat;
use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::geometry::{Homography, Point, signed_area};
use crate::photo::Photo;
use nalgebra::Matrix3;

/// How well a person marks a point in a photo, px (one sigma on each axis; common practice, no source).
const MARKED_SIGMA_PX: f64 = 1.0;

/// As well as corners of a printed pattern are placed, px: interpolation scatters by 0.1 to 0.2 px (OpenCV's cornerSubPix on
/// its own calibration pictures), and no print is flat. With less, one view's focal length strays from that of seven views
/// by more than four of its sigmas.
const BEST_MARKED_PX: f64 = 0.25;

/// Doubt of a scale given without a sigma: three significant figures.
const GIVEN_RELATIVE: f64 = 0.002;

/// A plane from four or more known points (photo px, mm with y down). The level is assumed to be the rim (with a caveat)
/// where it is not given; the points lie `height_mm` above it.
///
/// Fails on fewer than four points, points that are not finite or outside the photo, points on one line or on one spot,
/// and on millimetres that run the other way round (y up).
pub fn from_points(
    photo: &Photo,
    points: &[(Point, Point)],
    level: Option<Level>,
    height_mm: f64,
) -> Result<(Reference, Vec<Caveat>)> {
    let fail = |what: String, hint: &str| Error::new(Stage::Reference, &photo.file, what, hint);
    if points.len() < 4 {
        return Err(fail(
            format!("{} known point{} given, four are needed", points.len(), if points.len() == 1 { "" } else { "s" }),
            "give at least four points, no three of them on one line; or the scale of a flat scan in mm per px",
        ));
    }
    for (n, (px, mm)) in points.iter().enumerate() {
        if ![px.x, px.y, mm.x, mm.y].iter().all(|v| v.is_finite()) {
            return Err(fail(format!("known point {} is not a number", n + 1), "write plain numbers"));
        }
        if !photo.holds(*px) {
            return Err(fail(
                format!(
                    "known point {} at ({}, {}) px lies outside the photo of {} x {} px",
                    n + 1,
                    px.x,
                    px.y,
                    photo.width,
                    photo.height
                ),
                "count pixels in the upright photo, from the top-left corner, x to the right, y down",
            ));
        }
    }
    let pairs: Vec<_> = points.iter().map(|(px, mm)| (*mm, *px)).collect();
    if mirrored(points) {
        return Err(fail(
            "the known points run round the other way in millimetres than in the photo".into(),
            "let the millimetres grow to the right and downwards (y down), and check that no two points are swapped",
        ));
    }
    let to_px = Homography::from_pairs(&pairs).filter(|h| upright(h, points)).ok_or_else(|| {
        fail(
            "the known points do not fix a plane: three or more lie on one line, two agree, or two are swapped".into(),
            "give four points spread like the corners of a rectangle, in any order, each with its own millimetres",
        )
    })?;
    let squares: f64 = pairs.iter().map(|(mm, px)| to_px.forward(*mm).distance(*px).powi(2)).sum();
    let residual_px = (squares / points.len() as f64).sqrt();
    // Scatter of one coordinate over the 2 n - 8 degrees of freedom, never under half a marking error.
    let freedom = 2.0 * points.len() as f64 - 8.0;
    let scatter = if freedom > 0.0 { (squares / freedom).sqrt() } else { MARKED_SIGMA_PX };
    let middle = points.iter().fold(Point::default(), |a, p| a + p.0) * (1.0 / points.len() as f64);
    let radius = (points.iter().map(|p| p.0.distance(middle).powi(2)).sum::<f64>() / points.len() as f64).sqrt();
    // A similarity's scale from n points: sigma / (radius sqrt(n)).
    let relative_sigma = scatter.max(MARKED_SIGMA_PX / 2.0) / (radius * (points.len() as f64).sqrt());
    let caveats = if level.is_some() {
        vec![]
    } else {
        vec![caveat::REFERENCE_LEVEL_ASSUMED.with("The known points were taken to lie on the stock's top face.")]
    };
    // Where a camera fits the points it knows more of the plane than they do alone.
    let (lo, hi) = points.iter().map(|p| p.1).fold((points[0].1, points[0].1), |(a, b), p| {
        (Point::new(a.x.min(p.x), a.y.min(p.y)), Point::new(b.x.max(p.x), b.y.max(p.y)))
    });
    let object = Object {
        source: Source::Points,
        level: level.unwrap_or(Level::Rim),
        height_mm,
        size_sigma: 0.0,
        about: lo.lerp(hi, 0.5),
        outline_px: vec![],
    };
    if let Some(fitted) = camera_of(photo, points, residual_px) {
        let (reference, new) = Reference::from_fit(&fitted, photo, object);
        return Ok((reference, caveats.into_iter().chain(new).collect()));
    }
    let level = level.unwrap_or(Level::Rim);
    let local_sigma = relative_sigma;
    let at_px = middle;
    Ok((
        Reference {
            to_px: to_px.into(),
            source: Source::Points,
            level,
            height_mm,
            residual_px,
            relative_sigma,
            at_px,
            local_sigma,
            ..flat()
        },
        caveats,
    ))
}

/// The camera over the known points, where one fits them about as well as the free map does: a cropped or straightened
/// picture is none that a camera saw. `residual_px`: of the free map.
fn camera_of(photo: &Photo, points: &[(Point, Point)], residual_px: f64) -> Option<Fitted> {
    // With many points their own scatter tells how well they were marked; the fit raises the sigma to it.
    let sigma_px = if points.len() < ROBUST_FROM { MARKED_SIGMA_PX.max(residual_px) } else { BEST_MARKED_PX };
    let pairs: Vec<Pair> = points.iter().map(|(px, mm)| Pair { mm: *mm, px: *px, sigma_px }).collect();
    fit_pairs(&pairs, &camera(photo)).filter(|f| f.residual_px < 2.0 * MARKED_SIGMA_PX.max(residual_px))
}

/// How far a phone held by hand leans from square, degrees (one sigma; common practice, no source: four photos in five stay
/// within twice of it). More would drown the mark's own error, less would hide the lean.
const LEAN_DEG: f64 = 5.0;

/// One distance between two points (photo px, mm), where nothing tells the camera's lean: the photo is taken for square,
/// and the lean is part of the sigma. The level is assumed to be the rim where it is not given.
///
/// Fails on points that are not in the photo or coincide, and on a distance that is not above zero.
pub fn from_distance(
    photo: &Photo,
    (a, b, mm): (Point, Point, f64),
    level: Option<Level>,
    height_mm: f64,
) -> Result<(Reference, Vec<Caveat>)> {
    let (middle, px) = (a.lerp(b, 0.5), a.distance(b));
    let map = Homography::from_matrix(Matrix3::new(px / mm, 0.0, middle.x, 0.0, px / mm, middle.y, 0.0, 0.0, 1.0));
    let Some(to_px) = map.filter(|_| px >= 1.0 && mm > 0.0 && mm.is_finite() && photo.holds(a) && photo.holds(b))
    else {
        let what = format!("{mm} mm between ({}, {}) and ({}, {}) px gives no scale", a.x, a.y, b.x, b.y);
        let hint = "mark two points apart, inside the photo, and give the distance between them";
        return Err(Error::new(Stage::Reference, &photo.file, what, hint));
    };
    let lean = LEAN_DEG.to_radians();
    // Along the lean a length looks shorter by its cosine; across the photo the scale changes with the tangent.
    let local_sigma = (2f64.sqrt() * MARKED_SIGMA_PX / px).hypot(1.0 - lean.cos());
    let focal = photo.focal_px().unwrap_or_else(|| assumed_focal_px(photo));
    let relative_sigma = local_sigma.hypot(lean.tan() * middle.distance(photo.centre()) / focal);
    let mut caveats = vec![caveat::SCALE_FROM_DISTANCE.plain()];
    if level.is_none() {
        caveats.push(caveat::REFERENCE_LEVEL_ASSUMED.with("The two points were taken to lie on the stock's top face."));
    }
    let level = level.unwrap_or(Level::Rim);
    let (source, at_px) = (Source::Points, middle);
    Ok((
        Reference { to_px: to_px.into(), relative_sigma, local_sigma, at_px, source, level, height_mm, ..flat() },
        caveats,
    ))
}

/// A reference of which only the map is known.
fn flat() -> Reference {
    Reference {
        to_px: Homography::identity().into(),
        source: Source::Given,
        level: Level::Floor,
        height_mm: 0.0,
        residual_px: 0.0,
        relative_sigma: GIVEN_RELATIVE,
        at_px: Point::default(),
        local_sigma: GIVEN_RELATIVE,
        outline_px: vec![],
        focal_px: None,
        together: false,
    }
}

/// A flat picture of known scale, mm per px. Holds for the floor unless the level says rim.
///
/// Fails on a scale that is not positive and finite.
pub fn from_scale(photo: &Photo, mm_per_px: f64, level: Option<Level>) -> Result<Reference> {
    if !(mm_per_px > 0.0) || !mm_per_px.is_finite() {
        return Err(Error::new(
            Stage::Reference,
            &photo.file,
            format!("a scale of {mm_per_px} mm per px is not possible"),
            "give a positive number: a known length in mm divided by its length in photo pixels",
        ));
    }
    let Point { x: cx, y: cy } = photo.centre();
    let k = 1.0 / mm_per_px;
    let to_px = Homography::from_matrix(Matrix3::new(k, 0.0, cx, 0.0, k, cy, 0.0, 0.0, 1.0)).ok_or_else(|| {
        Error::new(
            Stage::Reference,
            &photo.file,
            format!("a scale of {mm_per_px} mm per px is not possible"),
            "check the unit",
        )
    })?;
    Ok(Reference { to_px: to_px.into(), level: level.unwrap_or(Level::Floor), at_px: Point::new(cx, cy), ..flat() })
}

/// Whether the polygon through the points (by angle round their middle in the photo) runs the other way in millimetres.
fn mirrored(points: &[(Point, Point)]) -> bool {
    let middle = points.iter().fold(Point::default(), |a, p| a + p.0) * (1.0 / points.len() as f64);
    let mut order: Vec<_> = points.to_vec();
    order.sort_by(|a, b| {
        let angle = |p: Point| (p.y - middle.y).atan2(p.x - middle.x);
        angle(a.0).total_cmp(&angle(b.0))
    });
    let mm: Vec<Point> = order.iter().map(|p| p.1).collect();
    // A ring of swapped points has nearly no area: left to the plane fit, which says so.
    let extent = mm.iter().map(|p| p.distance(mm[0])).fold(0.0, f64::max);
    signed_area(&mm) < -1e-3 * extent * extent
}

/// Whether the map keeps its hand at every known point.
fn upright(h: &Homography, points: &[(Point, Point)]) -> bool {
    points.iter().all(|(_, mm)| {
        let [a, b, c, d] = h.jacobian(*mm);
        let det = a * d - b * c;
        det.is_finite() && det > 0.0
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn photo() -> Photo {
        Photo::blank(1600, 1400, None)
    }
    // ID-1 corners under the worked map of geometry.rs.
    const PX: [(f64, f64); 4] =
        [(412.0, 655.0), (1242.574257, 703.666460), (1243.506260, 1278.096797), (360.534838, 1247.268297)];
    const MM: [(f64, f64); 4] = [(0.0, 0.0), (85.60, 0.0), (85.60, 53.98), (0.0, 53.98)];
    fn pairs(px: [(f64, f64); 4], mm: [(f64, f64); 4]) -> Vec<(Point, Point)> {
        px.iter().zip(&mm).map(|(a, b)| (Point::new(a.0, a.1), Point::new(b.0, b.1))).collect()
    }
    fn what(points: &[(Point, Point)]) -> String {
        from_points(&photo(), points, None, 0.0).unwrap_err().what
    }
    #[test]
    fn four_points_fix_the_plane() {
        let (r, caveats) = from_points(&photo(), &pairs(PX, MM), None, 0.0).unwrap();
        assert_eq!(caveats[0].id, "reference-level-assumed");
        assert!(r.residual_px < 2.0 && r.relative_sigma > 5e-4 && r.relative_sigma < 5e-3, "{}", r.relative_sigma);
        assert!(r.to_px.backward(Point::new(822.4610, 962.5827)).distance(Point::new(42.80, 26.99)) < 1e-3);
        assert!(from_points(&photo(), &pairs(PX, MM), Some(Level::Floor), 0.0).unwrap().1.is_empty());
    }
    #[test]
    fn bad_points_are_named() {
        assert!(what(&pairs(PX, MM)[..3]).contains("four are needed"));
        assert!(what(&pairs([(-5.0, 3.0), PX[1], PX[2], PX[3]], MM)).contains("outside the photo"));
        let line = [(0.0, 0.0), (10.0, 10.0), (20.0, 20.0), (30.0, 30.0)];
        assert!(what(&pairs(line, MM)).contains("do not fix a plane"), "{}", what(&pairs(line, MM)));
        assert!(what(&pairs(PX, line)).contains("do not fix a plane"));
        assert!(what(&pairs([PX[0]; 4], MM)).contains("do not fix a plane"));
        assert!(what(&pairs(PX, [MM[0], MM[2], MM[1], MM[3]])).contains("do not fix a plane"));
        let up = MM.map(|(x, y)| (x, -y));
        assert!(what(&pairs(PX, up)).contains("other way"));
        assert!(what(&pairs([(f64::NAN, 0.0), PX[1], PX[2], PX[3]], MM)).contains("not a number"));
    }
    /// Worked by hand: 400 px for 50 mm is 8 px per mm; two marks of 1 px each leave sqrt(2) / 400 = 0.354 %, a lean of
    /// 5 degrees shortens by 1 - cos 5 = 0.381 %: 0.519 % together.
    #[test]
    fn one_distance_gives_a_scale_with_the_lean_in_its_doubt() {
        let (a, b) = (Point::new(600.0, 700.0), Point::new(1000.0, 700.0));
        let (r, caveats) = from_distance(&photo(), (a, b, 50.0), Some(Level::Floor), 0.0).unwrap();
        assert!((r.to_px.scale_at(Point::default()) - 8.0).abs() < 1e-9);
        assert!((r.local_sigma - 0.005192).abs() < 2e-5 && r.relative_sigma >= r.local_sigma, "{}", r.local_sigma);
        assert_eq!(caveats.len(), 1);
        for bad in [(a, a, 50.0), (a, b, 0.0), (a, b, f64::NAN), (Point::new(-9.0, 0.0), b, 5.0)] {
            assert!(from_distance(&photo(), bad, None, 0.0).is_err(), "{bad:?}");
        }
    }
    #[test]
    fn a_scale_must_be_positive() {
        for bad in [0.0, -0.1, f64::NAN, f64::INFINITY] {
            assert!(from_scale(&photo(), bad, None).is_err(), "{bad}");
        }
        let r = from_scale(&photo(), 0.05, None).unwrap();
        assert!((r.to_px.scale_at(Point::default()) - 20.0).abs() < 1e-9 && r.level == Level::Floor);
    }
}
