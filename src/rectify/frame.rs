//! From the reference's plane to the floor plane by the camera's pose.

use super::FloorFrame;
use super::compare::{Depth, HEIGHT_SIGMA_MM, compare};
use crate::caveat;
use crate::caveat::Caveat;
use crate::geometry::{Homography, PlaneMap, Point, Pose};
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::reference::ASSUMED_F35_RELATIVE;
use crate::reference::CAMERA_F35_RELATIVE;
use crate::reference::Level;
use crate::reference::Reference;
use crate::reference::Source;
use crate::reference::assumed_focal_px;
use crate::units::Measured;
use nalgebra::Matrix3;

/// Largest relative sigma with which a focal length from the reference's own perspective needs no caveat: half of the
/// doubt of the assumed lens.
const USABLE_FOCAL_RELATIVE: f64 = 0.08;

/// Carries the references to the floor plane and joins them: the first makes the map, all of them together the scale.
///
/// The camera's pose follows from the first reference's map and the focal length (from the file, else from the
/// reference's own perspective, else assumed, with a caveat); the floor lies parallel to it, lower by the reference's own
/// height and, for a reference on the rim, by the planned depth. Axes: +x along the photo's +x at the photo's centre,
/// origin at the reference's origin. The scale is corrected by the weighted mean of what all references say of it (see
/// [`super::compare::compare`]). Sigma of the scale: those of the references, of the focal length times the offset, and
/// of both heights over the distance, in quadrature. Without a reference: unit pixels about the photo's centre, and a
/// caveat. Cannot fail.
pub fn frame(photo: &Photo, references: &[Reference], plan: &PlannedCut) -> (FloorFrame, Vec<Caveat>) {
    let centre = photo.centre();
    let Some(first) = references.first() else {
        return (unscaled(centre), vec![caveat::NO_REFERENCE.plain()]);
    };
    let mut caveats = vec![];
    let depth = Depth::of(plan);
    let focal = focal(photo, first);
    if depth.mm.is_none() && first.level == Level::Rim {
        caveats.push(caveat::DEPTH_UNKNOWN.plain());
    }
    if focal.assumed && (first.height_mm > 0.0 || first.level == Level::Rim) {
        caveats.push(caveat::NO_FOCAL_LENGTH.plain());
    }
    let mut frame = carried(photo, first, &depth, &focal);
    let (verdict, new) = compare(&frame, references, &depth, focal.relative, centre);
    caveats.extend(new);
    if verdict.correction != 1.0 {
        frame = carried(photo, &first.scaled(verdict.correction), &depth, &focal);
    }
    frame.compared = verdict.compared;
    frame.floor_offset_sigma = offset_sigma(&frame, first, &depth, &focal);
    let scale = 1.0 / frame.to_px.scale_at(frame.to_px.backward(centre));
    frame.scale = Measured::new(scale, scale * verdict.relative_sigma);
    (frame, caveats)
}

/// The frame by one reference, without its scale's figures.
fn carried(photo: &Photo, reference: &Reference, depth: &Depth, focal: &Focal) -> FloorFrame {
    let centre = photo.centre();
    let on_rim = reference.level == Level::Rim;
    // A scale given for the whole photo holds for the floor as it is, unless the user says it is that of the rim.
    let flat = reference.source == Source::Given && !on_rim;
    let pose = match &reference.to_px {
        PlaneMap::Lens(v) => Some(v.pose.clone()),
        PlaneMap::Flat(_) if flat => None,
        PlaneMap::Flat(h) => Pose::from_homography(h, focal.px, centre),
    };
    let drop = reference.height_mm + if on_rim { depth.mm.unwrap_or(0.0) } else { 0.0 };
    let rim_down = reference.height_mm - if on_rim { 0.0 } else { depth.mm.unwrap_or(0.0) };
    let to_px = lowered(&reference.to_px, pose.as_ref(), drop);
    let at = |m: &PlaneMap| 1.0 / m.scale_at(m.backward(centre));
    FloorFrame {
        source: Some(reference.source),
        residual_px: reference.residual_px,
        level: Some(reference.level),
        floor_offset_corrected: pose.is_some() && (depth.mm.is_some() || !on_rim),
        floor_offset_mm: drop,
        floor_offset_relative: at(&to_px) / at(&reference.to_px) - 1.0,
        rim_to_px: Some(lowered(&reference.to_px, pose.as_ref(), rim_down)),
        to_px,
        pose: pose.map(|p| p.shifted(-drop)),
        rim_up_mm: drop - rim_down,
        ..unscaled(centre)
    }
    .aligned_at(centre)
}

impl FloorFrame {
    /// The same frame turned about its origin so that +x runs along the photo's +x at the photo point `middle`.
    pub fn aligned_at(&self, middle: Point) -> Self {
        let [a, b, c, d] = self.to_px.jacobian(self.to_px.backward(middle));
        // First column of the inverse Jacobian: the plane direction seen as the photo's +x.
        let det = a * d - b * c;
        let (x, y) = (d / det, -c / det);
        let n = x.hypot(y);
        let (cos, sin) = (x / n, y / n);
        Self {
            to_px: self.to_px.turned(cos, sin),
            rim_to_px: self.rim_to_px.as_ref().map(|m| m.turned(cos, sin)),
            pose: self.pose.as_ref().map(|p| p.turned(cos, sin)),
            ..self.clone()
        }
    }
}

/// One sigma of the relative change of scale from the reference's face to the floor.
fn offset_sigma(frame: &FloorFrame, reference: &Reference, depth: &Depth, focal: &Focal) -> f64 {
    let Some(pose) = &frame.pose else { return 0.0 };
    let depth = if reference.level == Level::Rim { depth.sigma_mm } else { 0.0 };
    let height = if reference.height_mm > 0.0 { HEIGHT_SIGMA_MM } else { 0.0 };
    (frame.floor_offset_relative * focal.relative).hypot(depth.hypot(height) / pose.distance().max(1.0))
}

struct Focal {
    px: f64,
    relative: f64,
    assumed: bool,
}

fn focal(photo: &Photo, reference: &Reference) -> Focal {
    match (photo.focal_px(), reference.focal_px) {
        // A fitted camera has weighed the file's value already.
        (file, Some(m)) if file.is_some() || m.relative_sigma() < USABLE_FOCAL_RELATIVE => {
            Focal { px: m.value, relative: m.relative_sigma(), assumed: false }
        }
        (Some(px), _) => Focal { px, relative: CAMERA_F35_RELATIVE, assumed: false },
        _ => Focal { px: assumed_focal_px(photo), relative: ASSUMED_F35_RELATIVE, assumed: true },
    }
}

/// Map of the plane `down_mm` below the one of `map`, in the same axes. Without a lens the change from plane to plane comes
/// from the pose, and the map itself is kept as measured.
fn lowered(map: &PlaneMap, pose: Option<&Pose>, down_mm: f64) -> PlaneMap {
    match map {
        PlaneMap::Lens(v) => PlaneMap::Lens(v.shifted(-down_mm)),
        PlaneMap::Flat(h) => {
            let change = pose.filter(|_| down_mm != 0.0).and_then(|p| {
                let (here, there) = (p.homography()?, p.shifted(-down_mm).homography()?);
                h.after(&here.inverse().after(&there)?)
            });
            PlaneMap::Flat(change.unwrap_or_else(|| h.clone()))
        }
    }
}

fn unscaled(centre: Point) -> FloorFrame {
    let shift = Matrix3::new(1.0, 0.0, centre.x, 0.0, 1.0, centre.y, 0.0, 0.0, 1.0);
    FloorFrame::from_homography(Homography::from_matrix(shift).unwrap_or_else(Homography::identity), None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;

    fn photo(f35_mm: Option<f64>) -> Photo {
        Photo::blank(400, 300, f35_mm)
    }
    /// A camera of 26 mm equivalent, 30 degrees oblique, the plane turned by 200 degrees.
    fn pose() -> Pose {
        let turn = nalgebra::Rotation3::from_euler_angles(0.5235987755982988, 0.0, 0.0)
            * nalgebra::Rotation3::from_euler_angles(0.0, 0.0, 200f64.to_radians());
        Pose {
            focal_px: 26.0 * 500.0 / 43.266_615,
            centre: Point::new(199.5, 149.5),
            r1: turn * Vector3::x(),
            r2: turn * Vector3::y(),
            t: Vector3::new(-20.0, 10.0, 200.0),
        }
    }
    fn card(pose: &Pose, level: Level) -> Reference {
        Reference {
            to_px: pose.homography().unwrap().into(),
            source: Source::Id1,
            level,
            height_mm: 0.76,
            residual_px: 0.1,
            relative_sigma: 0.001,
            at_px: pose.homography().unwrap().forward(Point::default()),
            local_sigma: 0.001,
            outline_px: vec![],
            focal_px: None,
            together: false,
        }
    }
    #[test]
    fn the_floor_lies_lower_by_depth_and_thickness_and_shares_axes_with_the_rim() {
        let (pose, plan) = (pose(), PlannedCut { depth_mm: Some(6.0), ..Default::default() });
        let (f, caveats) = frame(&photo(Some(26.0)), &[card(&pose, Level::Rim)], &plan);
        assert!(caveats.is_empty() && f.floor_offset_corrected);
        let (floor, rim) = (pose.shifted(-6.76).homography().unwrap(), pose.shifted(-0.76).homography().unwrap());
        // One plane point, seen at both heights, keeps its x and y in the frame.
        for p in [Point::new(0.0, 0.0), Point::new(60.0, 25.0)] {
            let (a, b) = (f.to_px.backward(floor.forward(p)), f.rim_to_px.as_ref().unwrap().backward(rim.forward(p)));
            assert!(a.distance(b) < 1e-6, "{a:?} {b:?}");
            assert!((a.distance(Point::default()) - p.distance(Point::default())).abs() < 1e-6);
        }
        let mid = Point::new(199.5, 149.5);
        let truth = 1.0 / floor.scale_at(floor.backward(mid));
        let scale = f.scale.unwrap();
        assert!((scale.value / truth - 1.0).abs() < 1e-9);
        assert!((f.floor_offset_mm - 6.76).abs() < 1e-12 && f.floor_offset_sigma > 0.03 * f.floor_offset_relative);
        assert!(scale.relative_sigma() > 0.0011 && scale.relative_sigma() < 0.002, "{}", scale.relative_sigma());
        // +x of the frame runs along the photo's +x at the centre, +y downwards.
        let [a, b, c, d] = f.to_px.jacobian(f.to_px.backward(mid));
        assert!(a > 0.0 && c.abs() < 1e-9 * a && a * d - b * c > 0.0);
        assert!(
            f.pose
                .unwrap()
                .homography()
                .unwrap()
                .forward(Point::new(5.0, 3.0))
                .distance(f.to_px.forward(Point::new(5.0, 3.0)))
                < 1e-6
        );
    }
    #[test]
    fn a_card_on_the_floor_needs_no_depth_and_one_on_the_rim_says_so() {
        let (pose, plan) = (pose(), PlannedCut::default());
        let (f, caveats) = frame(&photo(Some(26.0)), &[card(&pose, Level::Floor)], &plan);
        assert!(caveats.is_empty() && f.floor_offset_corrected && f.floor_offset_relative < 0.006);
        let (g, caveats) = frame(&photo(Some(26.0)), &[card(&pose, Level::Rim)], &plan);
        assert_eq!(caveats.iter().map(|c| c.id).collect::<Vec<_>>(), ["depth-unknown"]);
        assert!(!g.floor_offset_corrected && g.scale.unwrap().relative_sigma() > 0.02);
    }
    #[test]
    fn without_a_focal_length_the_sigma_grows() {
        let (pose, plan) = (pose(), PlannedCut { depth_mm: Some(6.0), ..Default::default() });
        let (f, _) = frame(&photo(Some(26.0)), &[card(&pose, Level::Rim)], &plan);
        let (g, caveats) = frame(&photo(None), &[card(&pose, Level::Rim)], &plan);
        assert_eq!(caveats.iter().map(|c| c.id).collect::<Vec<_>>(), ["no-focal-length"]);
        assert!(g.scale.unwrap().sigma > 2.0 * f.scale.unwrap().sigma);
        let mut own = card(&pose, Level::Rim);
        own.focal_px = Measured::new(pose.focal_px, 0.05 * pose.focal_px);
        assert!(frame(&photo(None), &[own], &plan).1.is_empty());
    }
    /// The same plane by a pocket whose size is off by a share.
    fn pocket(pose: &Pose, off: f64) -> Reference {
        Reference { source: Source::Pocket, height_mm: 0.0, ..card(&pose.shifted(-0.76), Level::Rim).scaled(1.0 + off) }
    }
    #[test]
    fn two_references_share_the_scale_by_weight() {
        let (pose, plan) = (pose(), PlannedCut { depth_mm: Some(6.0), ..Default::default() });
        let photo = photo(Some(26.0));
        let one = frame(&photo, &[card(&pose, Level::Rim)], &plan).0.scale.unwrap();
        let same = frame(&photo, &[card(&pose, Level::Rim), pocket(&pose, 0.0)], &plan);
        assert!(same.1.is_empty() && (same.0.scale.unwrap().value / one.value - 1.0).abs() < 1e-9);
        assert!(same.0.scale.unwrap().sigma < 0.9 * one.sigma);
        // Equal sigmas: the mean lies in the middle, but for the card's own height (0.03 mm of doubt) and the smaller share
        // of the focal length's doubt in the pocket's lower plane: a tenth.
        let (f, caveats) = frame(&photo, &[card(&pose, Level::Rim), pocket(&pose, 0.002)], &plan);
        assert!(caveats.is_empty(), "{caveats:?}");
        assert!((f.scale.unwrap().value / one.value - 1.001).abs() < 1.5e-4, "{}", f.scale.unwrap().value / one.value);
        // The rim keeps its height over the floor.
        let (rim, floor) = (f.rim_to_px.as_ref().unwrap(), f.pose.as_ref().unwrap());
        let again = floor.shifted(6.0).homography().unwrap();
        assert!(again.forward(Point::new(30.0, 20.0)).distance(rim.forward(Point::new(30.0, 20.0))) < 1e-6);
        // A pocket given as twice as sure draws four times as much.
        let mut sure = pocket(&pose, 0.002);
        (sure.relative_sigma, sure.local_sigma) = (0.0005, 0.0005);
        let sure = frame(&photo, &[card(&pose, Level::Rim), sure], &plan).0.scale.unwrap();
        assert!(sure.value / one.value > 1.0014, "{}", sure.value / one.value);
    }
    #[test]
    fn references_of_one_fit_say_it_once() {
        let (pose, plan) = (pose(), PlannedCut { depth_mm: Some(6.0), ..Default::default() });
        let photo = photo(Some(26.0));
        let together = |r: Reference| Reference { together: true, ..r };
        let both = [together(card(&pose, Level::Rim)), together(pocket(&pose, 0.0))];
        let f = frame(&photo, &both, &plan).0;
        // Their doubts are one: no smaller than the pocket's alone. They share the weight, as both made the scale.
        let alone = frame(&photo, &[pocket(&pose, 0.0)], &plan).0.scale.unwrap();
        let sigma = f.scale.unwrap().relative_sigma();
        assert!((sigma / alone.relative_sigma() - 1.0).abs() < 0.02, "{sigma} {}", alone.relative_sigma());
        assert!(f.compared.iter().all(|c| c.weight == 0.5), "{:?}", f.compared);
        // A third one that is independent counts for itself.
        let third = [both[0].clone(), both[1].clone(), pocket(&pose, 0.0)];
        let f = frame(&photo, &third, &plan).0;
        assert!(f.scale.unwrap().relative_sigma() < 0.95 * sigma && f.compared[2].weight > 0.4, "{:?}", f.compared);
    }
    #[test]
    fn references_that_disagree_are_named_and_widen_the_sigma() {
        let (pose, plan) = (pose(), PlannedCut { depth_mm: Some(6.0), ..Default::default() });
        let photo = photo(Some(26.0));
        let one = frame(&photo, &[card(&pose, Level::Rim)], &plan).0.scale.unwrap();
        let (f, caveats) = frame(&photo, &[card(&pose, Level::Rim), pocket(&pose, 0.02)], &plan);
        assert_eq!(caveats.iter().map(|c| c.id).collect::<Vec<_>>(), ["references-disagree"]);
        assert!((f.scale.unwrap().value / one.value - 1.0).abs() < 1e-9);
        assert!(f.scale.unwrap().relative_sigma() > 0.01);
        // Two that agree outvote the first.
        let both = [card(&pose, Level::Rim), pocket(&pose, 0.02), pocket(&pose, 0.02)];
        let f = frame(&photo, &both, &plan).0;
        // On the rim 2 % more; the floor's share of it is smaller by the offset, 4 %, which does not grow.
        assert!((f.scale.unwrap().value / one.value - 1.0193).abs() < 2e-4, "{}", f.scale.unwrap().value / one.value);
        // But not what the user gave.
        let mut by_hand = both.clone();
        by_hand[0].source = Source::Points;
        let f = frame(&photo, &by_hand, &plan).0;
        assert!((f.scale.unwrap().value / one.value - 1.0).abs() < 1e-9);
    }
    #[test]
    fn references_on_both_planes_are_compared_at_the_floor() {
        let (pose, plan) = (pose(), PlannedCut { depth_mm: Some(6.0), ..Default::default() });
        let photo = photo(Some(26.0));
        let below = Reference { level: Level::Floor, ..card(&pose.shifted(-6.0), Level::Floor) };
        let (f, caveats) = frame(&photo, &[card(&pose, Level::Rim), below], &plan);
        assert!(caveats.is_empty() && f.compared[1].relative_difference.value.abs() < 1e-9, "{:?}", f.compared);
        // Depth and focal length make their difference less sure than that of two on one plane.
        assert!(f.compared[1].relative_difference.sigma > 0.0015, "{:?}", f.compared);
    }
    #[test]
    fn without_a_reference_the_frame_is_the_photo_about_its_centre() {
        let (f, caveats) = frame(&photo(None), &[], &PlannedCut::default());
        assert_eq!(caveats[0].id, "no-reference");
        assert!(f.scale.is_none() && f.to_px.forward(Point::default()) == Point::new(199.5, 149.5));
        assert_eq!(f.aligned_at(Point::new(10.0, 10.0)).to_px, f.to_px);
    }
}
