//! Scale at the floor from made views: a camera with a lens of its own looks at known points on the stock's top or on the
//! floor. The projection here is written apart from the program's.

use lowsun::geometry::Point;
use lowsun::photo::{Camera, Photo};
use lowsun::plan::PlannedCut;
use lowsun::raster::Plane;
use lowsun::rectify;
use lowsun::reference;
use lowsun::reference::Level;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SIZE: (f64, f64) = (4032.0, 3024.0);
const DIAGONAL: f64 = 5040.0;
/// Diagonal of a 36 x 24 mm frame.
const FRAME_MM: f64 = 43.266_615;

/// A camera over the stock's top: x right, y down, z towards the stock; plane points (x, y) lie `down` mm under the top.
struct Made {
    f: f64,
    k: [f64; 2],
    centre: Point,
    /// Rows: camera x, y, z in stock axes.
    axes: [[f64; 3]; 3],
    distance: f64,
}

impl Made {
    /// Looks at the stock's origin from `distance` mm, tilted by `tilt` towards `pan`, turned by `roll` (degrees).
    fn new(f: f64, k: [f64; 2], distance: f64, [tilt, pan, roll]: [f64; 3]) -> Self {
        let ((st, ct), (sp, cp), (sr, cr)) =
            (tilt.to_radians().sin_cos(), pan.to_radians().sin_cos(), roll.to_radians().sin_cos());
        let z = [st * cp, st * sp, ct];
        let n = (1.0 - z[0] * z[0]).sqrt();
        let x = [n, -z[0] * z[1] / n, -z[0] * z[2] / n];
        let y = [z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0]];
        let axes = [std::array::from_fn(|i| cr * x[i] + sr * y[i]), std::array::from_fn(|i| cr * y[i] - sr * x[i]), z];
        let centre = Point::new((SIZE.0 - 1.0) / 2.0, (SIZE.1 - 1.0) / 2.0);
        Self { f, k, centre, axes, distance }
    }
    fn see(&self, p: Point, down: f64) -> Point {
        let v = [p.x, p.y, down];
        let [x, y, z] = self.axes.map(|a| a[0] * v[0] + a[1] * v[1] + a[2] * v[2]);
        let (x, y) = (x / (z + self.distance), y / (z + self.distance));
        let rr = x * x + y * y;
        let s = self.f * (1.0 + self.k[0] * rr + self.k[1] * rr * rr);
        Point::new(self.centre.x + s * x, self.centre.y + s * y)
    }
}

fn photo(f35_mm: Option<f64>) -> Photo {
    Photo {
        file: "made.jpg".into(),
        sha256: String::new(),
        width: SIZE.0 as usize,
        height: SIZE.1 as usize,
        rgb: image::RgbImage::new(1, 1),
        luma: Plane::new(1, 1),
        has_colour: true,
        camera: Camera { f35_mm, ..Default::default() },
    }
}

/// 4 x 6 points over a card of 86 x 54 mm whose middle lies at `at`.
fn card(at: Point) -> Vec<Point> {
    (0..24).map(|i| at + Point::new(f64::from(i % 6) * 17.2 - 43.0, f64::from(i / 6) * 18.0 - 27.0)).collect()
}

/// Error of the scale over a square of 60 mm round the floor's middle, and the stated sigma (relative).
fn scale_error(
    made: &Made,
    depth: f64,
    photo: &Photo,
    points: Vec<(Point, Point)>,
    level: Level,
    plan: &PlannedCut,
) -> (f64, f64, f64) {
    let options = reference::Options { points, level: Some(level), ..Default::default() };
    let (found, _) = reference::find(photo, plan, &options).unwrap();
    let (frame, _) = rectify::frame(photo, &found, plan);
    let corners = [(-30.0, -30.0), (30.0, -30.0), (30.0, 30.0), (-30.0, 30.0)].map(|(x, y)| Point::new(x, y));
    let frame_at = frame.aligned_at(made.see(Point::default(), depth));
    let seen: Vec<Point> = corners.iter().map(|c| frame_at.to_px.backward(made.see(*c, depth))).collect();
    let error = lowsun::geometry::signed_area(&seen).abs().sqrt() / 60.0 - 1.0;
    (error, frame.scale.unwrap().relative_sigma(), frame.floor_offset_relative)
}

/// Depths and distances as in a shop; the focal length is in the file. The limit is the aim: under 0.1 %.
#[test]
fn the_floor_offset_is_right_where_the_focal_length_is_known() {
    let mut largest = 0f64;
    for depth in [1.0, 3.0, 6.0, 12.0, 20.0] {
        for distance in [150.0, 250.0, 400.0, 600.0] {
            for tilt in [0.0, 12.0, 30.0] {
                let made = Made::new(26.0 / FRAME_MM * DIAGONAL, [0.0; 2], distance, [tilt, 40.0, 10.0]);
                let plan = PlannedCut { depth_mm: Some(depth), ..Default::default() };
                let pairs: Vec<(Point, Point)> = card(Point::new(0.0, 60.0))
                    .into_iter()
                    .map(|mm| (made.see(mm, 0.0), mm))
                    .filter(|p| inside(p.0))
                    .collect();
                if pairs.len() < 12 {
                    continue;
                }
                let (error, sigma, offset) = scale_error(&made, depth, &photo(Some(26.0)), pairs, Level::Rim, &plan);
                assert!(error.abs() < 0.001, "depth {depth}, distance {distance}, tilt {tilt}: {:.3} %", 100.0 * error);
                assert!(offset > 0.5 * depth / distance && sigma < 0.02, "{offset} {sigma}");
                largest = largest.max(offset);
            }
        }
    }
    println!("largest correction {:.1} %", 100.0 * largest);
    assert!(largest > 0.1, "fixture is broken: {largest}");
}

fn inside(p: Point) -> bool {
    (0.0..SIZE.0 - 1.0).contains(&p.x) && (0.0..SIZE.1 - 1.0).contains(&p.y)
}

fn normal(r: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - r.random::<f64>(), r.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// A thousand made views: everything the sigma speaks of is drawn at random with the spread that it assumes (points 0.25 px,
/// focal length in the file 3 %, or none and 15 % about 26 mm; lens terms 0.012, depth 0.1 mm), everything else as it comes. The stated
/// sigma is true if error over sigma has a standard deviation of 0.8 to 1.2 and fewer than 1 % lie beyond 3.5.
#[test]
fn the_sigma_of_the_scale_is_true() {
    let mut r = ChaCha8Rng::seed_from_u64(20_000);
    let (mut z, mut errors) = (vec![], vec![]);
    for n in 0.. {
        if z.len() == 1000 {
            break;
        }
        assert!(n < 4000, "fixture is broken: too few views hold the card");
        let known = n % 5 != 0;
        let f35 = if known { r.random_range(24.0..29.0f64).round() } else { 26.0 };
        let spread = if known { 0.03 } else { 0.15 };
        let f = f35 / FRAME_MM * DIAGONAL * (spread * normal(&mut r)).exp();
        let k = [0.012 * normal(&mut r), 0.012 * normal(&mut r)];
        let turns = [r.random_range(0.0..35.0), r.random_range(0.0..360.0), r.random_range(0.0..360.0)];
        let made = Made::new(f, k, r.random_range(150.0..600.0), turns);
        let planned = r.random_range(1.0..20.0);
        let depth = planned + 0.1 * normal(&mut r);
        let on_floor = r.random::<f64>() < 0.3;
        let angle: f64 = r.random_range(0.0..std::f64::consts::TAU);
        let at = Point::new(angle.cos(), angle.sin()) * r.random_range(0.0..80.0);
        let mut pairs = vec![];
        for mm in card(at) {
            let seen =
                made.see(mm, if on_floor { depth } else { 0.0 }) + Point::new(normal(&mut r), normal(&mut r)) * 0.25;
            if inside(seen) {
                // The frame of the points is turned and shifted against the floor's: only sizes may come back.
                pairs.push((seen, mm));
            }
        }
        if pairs.len() < 24 {
            continue;
        }
        let plan = PlannedCut { depth_mm: Some(planned), ..Default::default() };
        let level = if on_floor { Level::Floor } else { Level::Rim };
        let (error, sigma, _) = scale_error(&made, depth, &photo(known.then_some(f35)), pairs, level, &plan);
        z.push(error / sigma);
        errors.push(error.abs());
    }
    let count = z.len() as f64;
    let mean = z.iter().sum::<f64>() / count;
    let sd = (z.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt();
    let far = z.iter().filter(|v| v.abs() > 3.5).count() as f64 / count;
    errors.sort_by(f64::total_cmp);
    println!(
        "error over sigma: mean {mean:+.2}, sd {sd:.2}, beyond 3.5: {:.1} %; error: median {:.3} %, 95 of 100 under {:.3} %",
        100.0 * far,
        100.0 * errors[500],
        100.0 * errors[950]
    );
    assert!((0.8..1.2).contains(&sd), "{sd}");
    assert!(far < 0.01, "{far}");
    assert!(mean.abs() < 0.2, "{mean}");
}
