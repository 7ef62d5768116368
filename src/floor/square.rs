//! Without a reference: the camera's lean by a found figure with square corners, so that even lines stay even.

use super::outline::focal_lengths;
use crate::geometry::{Homography, Point, Pose};
use crate::photo::Photo;
use crate::rectify::FloorFrame;
use nalgebra::{Matrix3, Vector3};

/// Largest departure from a right angle between the two directions of a figure's sides in space: sides of 200 px found within
/// a pixel, seen from 35 degrees (as where perspective settles a box round a shadow).
const SQUARE_DEG: f64 = 4.0;

/// The frame, still without a scale, in which the sides of `corners` (frame units, in order, an even number, each at a right
/// angle to the next) run in two square directions; one unit is a photo pixel at the photo's centre. The sides' vanishing
/// points give the plane's horizon whatever the focal length, and so the evenness of lines; the shape follows from the focal
/// length at which the directions are squarest. `None` where they are square at none, or the frame has a scale.
pub fn squared(photo: &Photo, frame: &FloorFrame, corners: &[Point]) -> Option<FloorFrame> {
    let n = corners.len();
    if frame.scale.is_some() || n < 4 || n % 2 == 1 {
        return None;
    }
    let centre = photo.centre();
    let seen: Vec<Point> = corners.iter().map(|c| frame.to_px.forward(*c) - centre).collect();
    let lean = |focal: f64| {
        let ray = |p: Point| Vector3::new(p.x, p.y, focal);
        // Planes through the camera and every second side share one direction: the least of their moments.
        let direction = |first: usize| {
            let moment = (first..n).step_by(2).fold(Matrix3::zeros(), |m, i| {
                let plane = ray(seen[i]).cross(&ray(seen[(i + 1) % n]));
                let side = seen[i].distance(seen[(i + 1) % n]);
                let unit = plane.normalize() * side;
                m + unit * unit.transpose()
            });
            let eigen = moment.symmetric_eigen();
            let least = (0..3).min_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]))?;
            Some(eigen.eigenvectors.column(least).into_owned())
        };
        let (d, e) = (direction(0)?, direction(1)?);
        let away = d.cross(&e).normalize();
        Some((d.dot(&e).abs(), d, if away.z < 0.0 { -away } else { away }))
    };
    let tried = focal_lengths(photo).into_iter().filter_map(|f| lean(f).map(|l| (f, l)));
    let (focal_px, (off, d, away)) = tried.min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
    if !(off < SQUARE_DEG.to_radians().sin()) {
        return None;
    }
    let pose = Pose { focal_px, centre, r1: d, r2: away.cross(&d), t: Vector3::new(0.0, 0.0, focal_px) };
    let scale = pose.homography()?.scale_at(Point::default());
    let to_px: Homography = pose.scaled(scale).homography()?;
    Some(FloorFrame::from_homography(to_px, None).aligned_at(centre))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn photo() -> Photo {
        Photo::blank(1600, 1200, Some(26.0))
    }
    /// A plane seen 30 degrees aslant, 500 units away.
    fn aslant() -> Pose {
        let turn = nalgebra::Rotation3::from_euler_angles(0.5, -0.15, 0.0)
            * nalgebra::Rotation3::from_euler_angles(0.0, 0.0, 0.4);
        Pose {
            focal_px: photo().focal_px().unwrap(),
            centre: photo().centre(),
            r1: turn * Vector3::x(),
            r2: turn * Vector3::y(),
            t: Vector3::new(-10.0, 5.0, 500.0),
        }
    }
    fn unscaled() -> FloorFrame {
        FloorFrame::from_homography(Homography::identity(), None)
    }

    #[test]
    fn a_box_and_an_l_give_back_even_lines_and_their_shape() {
        let truth = aslant().homography().unwrap();
        let boxed = [(-90.0, -60.0), (90.0, -60.0), (90.0, 60.0), (-90.0, 60.0)];
        let l = [(-90.0, -60.0), (90.0, -60.0), (90.0, 10.0), (20.0, 10.0), (20.0, 60.0), (-90.0, 60.0)];
        for corners in [&boxed[..], &l[..]] {
            let seen: Vec<Point> = corners.iter().map(|c| truth.forward(Point::new(c.0, c.1))).collect();
            let f = squared(&photo(), &unscaled(), &seen).expect("square");
            let at = |x: f64, y: f64| f.to_px.backward(truth.forward(Point::new(x, y)));
            let one = at(0.0, 0.0).distance(at(10.0, 0.0));
            for (x, y) in [(-90.0, -60.0), (80.0, -60.0), (0.0, 50.0), (-40.0, 20.0)] {
                let (along, across) = (at(x, y).distance(at(x + 10.0, y)), at(x, y).distance(at(x, y + 10.0)));
                assert!(
                    (along / one - 1.0).abs() < 1e-6 && (across / one - 1.0).abs() < 1e-6,
                    "{along} {across} {one}"
                );
            }
            assert!((f.to_px.scale_at(f.to_px.backward(photo().centre())) - 1.0).abs() < 1e-9);
            assert!(f.scale.is_none());
        }
    }
    #[test]
    fn a_figure_that_no_camera_sees_as_square_is_left() {
        let skew = [(300.0, 300.0), (900.0, 420.0), (1000.0, 900.0), (400.0, 700.0)].map(|(x, y)| Point::new(x, y));
        assert!(squared(&photo(), &unscaled(), &skew).is_none());
        let seen = [(300.0, 300.0), (900.0, 300.0), (900.0, 700.0), (300.0, 700.0)].map(|(x, y)| Point::new(x, y));
        let scaled = FloorFrame::from_homography(Homography::identity(), crate::units::Measured::new(0.1, 0.001));
        assert!(squared(&photo(), &scaled, &seen).is_none(), "a scale says more");
    }
}
