//! The floor room: drawn pictures with known truth, and the practice photos where `LOWSUN_CHECK_DATA` names them.

use lowsun::floor;
use lowsun::geometry::{Homography, Point, contains};
use lowsun::photo;
use lowsun::photo::Photo;
use lowsun::plan::PlannedCut;
use lowsun::raster::Plane;
use lowsun::rectify;
use lowsun::rectify::FloorFrame;
use lowsun::reference::Level;
use lowsun::reference::Source;
use lowsun::units::Measured;
use serde_json::Value;
use std::path::Path;

/// Distance of the drawn lamp from the picture's middle, px: 0.5 m at 0.1 mm a px, a lamp on the bench.
const LAMP_AT_PX: f64 = 5000.0;

/// A drawn pocket: shadow displaced by `shift` px at the picture's middle (more with the distance from the lamp, as light
/// from a point does it), lit wall opposite, a thin line along the other walls, faint figure.
fn drawn(width: usize, height: usize, shape: impl Fn(Point) -> bool + Sync, shift: Point) -> Photo {
    let length = shift.x.hypot(shift.y);
    let ahead = shift * (1.0 / length);
    let middle = Point::new(width as f64 / 2.0, height as f64 / 2.0);
    let luma = Plane::from_fn(width, height, |x, y| {
        let p = Point::new(x as f64, y as f64);
        let figure =
            1.0 + 0.02 * (0.05 * p.x + 0.31 * p.y).sin() + 0.01 * ((x * 7919 + y * 104_729) % 101) as f64 / 101.0;
        let edge = (0..8).any(|a| {
            let a = f64::from(a) * std::f64::consts::FRAC_PI_4;
            shape(p) && !shape(p + Point::new(a.cos(), a.sin()) * 3.0)
        });
        let shift = shift + (p - middle) * (length / LAMP_AT_PX);
        let shadow = shape(p) && (1..=20).any(|t| !shape(p - shift * (f64::from(t) / 20.0)));
        let light = match (shadow, edge) {
            (true, _) => 0.02,
            (_, true) if !shape(p + ahead * 4.0) => 0.7,
            (_, true) => 0.3,
            _ => 0.4,
        };
        (light * figure) as f32
    });
    let code = |v: f32| (v.powf(1.0 / 2.2) * 255.0).round() as u8;
    let rgb = image::RgbImage::from_fn(width as u32, height as u32, |x, y| {
        image::Rgb([code(luma.at(x as usize, y as usize)); 3])
    });
    Photo {
        file: "drawn".into(),
        sha256: String::new(),
        width,
        height,
        rgb,
        luma,
        has_colour: false,
        camera: Default::default(),
    }
}

/// Floor seen straight from above at `mm` per px.
fn straight(mm: f64) -> FloorFrame {
    let m = nalgebra::Matrix3::new(1.0 / mm, 0.0, 0.0, 0.0, 1.0 / mm, 0.0, 0.0, 0.0, 1.0);
    let map = Homography::from_matrix(m).unwrap();
    FloorFrame {
        source: Some(Source::Points),
        level: Some(Level::Floor),
        floor_offset_corrected: true,
        ..FloorFrame::from_homography(map, Measured::new(mm, 0.001 * mm))
    }
}

fn look(photo: &Photo, frame: &FloorFrame, plan: &PlannedCut) -> floor::Patch {
    floor::find(photo, frame, &[], plan, &floor::Options::default()).unwrap().1
}

fn turn(a: f64, b: f64) -> f64 {
    ((a - b + 180.0).rem_euclid(360.0) - 180.0).abs()
}

/// Area over which two outlines differ, as a share of the first.
fn differ(truth: &dyn Fn(Point) -> bool, found: &[Point], width: usize, height: usize) -> f64 {
    let (mut off, mut of) = (0, 0);
    for y in (0..height).step_by(3) {
        for x in (0..width).step_by(3) {
            let p = Point::new(x as f64, y as f64);
            of += i32::from(truth(p));
            off += i32::from(truth(p) != contains(found, p));
        }
    }
    f64::from(off) / f64::from(of)
}

#[test]
fn a_drawn_rectangle_of_the_plans_size_is_found() {
    let shape = |p: Point| (200.0..900.0).contains(&p.x) && (150.0..600.0).contains(&p.y);
    let photo = drawn(1200, 800, shape, Point::new(25.0, 60.0));
    let plan = PlannedCut { pocket_mm: Some((70.0, 45.0)), depth_mm: Some(2.0), ..PlannedCut::default() };
    let patch = look(&photo, &straight(0.1), &plan);
    let off = differ(&shape, &patch.outline_px, 1200, 800);
    assert!(off < 0.03, "{off}");
    // The lamp stands against the shadow's displacement; 2 mm deep with a shadow of 6.5 mm.
    let from = patch.light.from_deg.unwrap();
    // A drawn shadow has no penumbra and a second wall's shadow of 2 mm only: the stated sigmas must cover it.
    assert!(turn(from.value, 60f64.atan2(25.0).to_degrees() + 180.0) < 3.0 * from.sigma, "{from:?}");
    let e = patch.light.elevation_deg.unwrap();
    assert!((e.value - (2.0f64 / 6.5).atan().to_degrees()).abs() < 3.0 * e.sigma, "{e:?}");
    assert!(patch.used_fraction > 0.6 && patch.used_fraction < 0.9, "{}", patch.used_fraction);
    assert!(patch.shadow_contrast.unwrap() > 8.0);
}

#[test]
fn without_scale_no_elevation_is_made_up() {
    let shape = |p: Point| (200.0..900.0).contains(&p.x) && (150.0..600.0).contains(&p.y);
    let photo = drawn(1200, 800, shape, Point::new(-40.0, 50.0));
    let frame = rectify::frame(&photo, &[], &PlannedCut::default()).0;
    let patch = look(&photo, &frame, &PlannedCut { depth_mm: Some(2.0), ..PlannedCut::default() });
    if let Some(from) = patch.light.from_deg {
        assert!(turn(from.value, 50f64.atan2(-40.0).to_degrees() + 180.0) < 3.0 * from.sigma, "{from:?}");
    }
    assert!(patch.light.elevation_deg.is_none());
}

#[test]
fn round_and_angled_pockets_are_found_by_what_encloses_them() {
    let round = |p: Point| p.distance(Point::new(600.0, 400.0)) < 280.0;
    let angled =
        |p: Point| (200.0..900.0).contains(&p.x) && (150.0..650.0).contains(&p.y) && !(p.x > 560.0 && p.y < 400.0);
    let shapes: [&(dyn Fn(Point) -> bool + Sync); 2] = [&round, &angled];
    for (i, shape) in shapes.into_iter().enumerate() {
        let photo = drawn(1200, 800, shape, Point::new(30.0, 55.0));
        let plan = PlannedCut { depth_mm: Some(2.0), ..PlannedCut::default() };
        let patch = look(&photo, &straight(0.1), &plan);
        let off = differ(&shape, &patch.outline_px, 1200, 800);
        assert!(off < 0.04, "shape {i}: {off}: {}", patch.how);
        let from = patch.light.from_deg.unwrap();
        assert!(turn(from.value, 55f64.atan2(30.0).to_degrees() + 180.0) < 6.0, "shape {i}: {from:?}");
    }
}

/// Inside a convex polygon given clockwise on the screen.
fn within(corners: &[(f64, f64)], p: Point) -> bool {
    (0..corners.len()).all(|i| {
        let (a, b) = (corners[i], corners[(i + 1) % corners.len()]);
        (b.0 - a.0) * (p.y - a.1) - (b.1 - a.1) * (p.x - a.0) > 0.0
    })
}

#[test]
fn pockets_of_unknown_size_are_found_round_their_shadow() {
    let turned = [(450.0, 100.0), (935.0, 380.0), (775.0, 657.1), (290.0, 377.1)];
    // What perspective makes of a rectangle seen from 35 degrees off: without a scale nothing sets it upright.
    let aslant = [(330.0, 160.0), (880.0, 190.0), (1010.0, 640.0), (180.0, 600.0)];
    let plan = PlannedCut { depth_mm: Some(2.0), ..PlannedCut::default() };
    for (corners, scaled) in [(turned, true), (aslant, false)] {
        let shape = |p: Point| within(&corners, p);
        let photo = drawn(1200, 800, shape, Point::new(28.0, 50.0));
        let frame = if scaled { straight(0.1) } else { rectify::frame(&photo, &[], &plan).0 };
        let patch = look(&photo, &frame, &plan);
        let off = differ(&shape, &patch.outline_px, 1200, 800);
        // Drawn corners are sharp, found ones round as a cutter leaves them; sides within a hundredth of the pocket's size.
        assert!(off < 0.06, "{off}: {}", patch.how);
    }
}

#[test]
fn a_thing_of_another_colour_with_a_shadow_beside_it_is_no_pocket() {
    let shape = |p: Point| (620.0..1100.0).contains(&p.x) && (430.0..740.0).contains(&p.y);
    let mut photo = drawn(1200, 800, shape, Point::new(25.0, 40.0));
    for y in 60..420 {
        for x in 60..580 {
            // A blue card, larger than the pocket, and its shadow on the side away from the lamp.
            let card = x < 550 && y < 380;
            if card || x > 85 && y > 90 {
                let (light, code) = if card { (0.15, [30, 60, 160]) } else { (0.02, [35, 35, 35]) };
                photo.luma.data[y * 1200 + x] = light;
                photo.rgb.put_pixel(x as u32, y as u32, image::Rgb(code));
            }
        }
    }
    let frame = rectify::frame(&photo, &[], &PlannedCut::default()).0;
    let patch = look(&photo, &frame, &PlannedCut::default());
    let off = differ(&shape, &patch.outline_px, 1200, 800);
    assert!(off < 0.05, "{off}: {}", patch.how);
}

#[test]
fn ridge_shadows_stay_in_and_a_letter_goes_out() {
    let shape = |p: Point| {
        let letter = (500.0..580.0).contains(&p.x) && (300.0..450.0).contains(&p.y);
        (200.0..900.0).contains(&p.x) && (150.0..600.0).contains(&p.y) && !letter
    };
    let mut photo = drawn(1200, 800, shape, Point::new(0.0, 60.0));
    // Ridges: a shadow 0.6 mm wide every 3 mm.
    for y in (150..600).filter(|y| y % 30 < 6) {
        for x in 210..890 {
            let v = &mut photo.luma.data[y * 1200 + x];
            *v = v.min(0.05);
        }
    }
    let plan = PlannedCut { pocket_mm: Some((70.0, 45.0)), depth_mm: Some(2.0), ..PlannedCut::default() };
    let patch = look(&photo, &straight(0.1), &plan);
    let used = |x: f64, y: f64| {
        let q = patch.view.to_sample(Point::new(x * 0.1, y * 0.1));
        patch.mask.at(q.x.round() as usize, q.y.round() as usize)
    };
    let ridges = (0..50).filter(|i| used(250.0 + 4.0 * f64::from(*i), 483.0)).count();
    assert!(ridges > 40, "only {ridges} of 50 ridge samples stay in");
    let letter = (0..50).filter(|i| used(502.0 + 1.5 * f64::from(*i), 420.0)).count();
    assert!(letter < 10, "{letter} of 50 letter samples are used");
    assert!(!patch.islands.is_empty());
}

/// Chips and curls on the floor may cast shadows as long as a letter's; what is under 6 mm across the light was not left standing.
#[test]
fn a_chip_is_left_out_of_the_floor_and_is_no_letter() {
    let islands = |across: f64| {
        let shape = |p: Point| {
            let thing = (500.0..500.0 + across).contains(&p.x) && (300.0..330.0).contains(&p.y);
            (200.0..900.0).contains(&p.x) && (150.0..600.0).contains(&p.y) && !thing
        };
        let photo = drawn(1200, 800, shape, Point::new(0.0, 60.0));
        let plan = PlannedCut { pocket_mm: Some((70.0, 45.0)), depth_mm: Some(2.0), ..PlannedCut::default() };
        let patch = look(&photo, &straight(0.1), &plan);
        let q = patch.view.to_sample(Point::new(0.1 * (500.0 + 0.5 * across), 35.0));
        assert!(!patch.mask.at(q.x.round() as usize, q.y.round() as usize), "a shadow counts as floor");
        patch.islands.len()
    };
    assert_eq!(islands(42.0), 0);
    assert_eq!(islands(90.0), 1);
}

/// A letter's shadow that fills the way to a wall passes for that wall's own: the other walls and all other shadows tell.
#[test]
fn letters_whose_shadows_reach_a_wall_do_not_turn_the_lamp_round() {
    // The lamp to the upper right. A stroke near the left wall fills the way to it with its shadow, one near the right wall
    // hides half of that wall's; round ones between them cast theirs on free floor.
    let letters = |p: Point| {
        let upright = |at: f64, to: f64| (at..at + 90.0).contains(&p.x) && (250.0..to).contains(&p.y);
        let round = |x, y| p.distance(Point::new(x, y)) < 55.0;
        let rounds = [(430.0, 330.0), (600.0, 330.0), (770.0, 330.0), (940.0, 330.0), (450.0, 560.0), (650.0, 560.0)];
        upright(175.0, 735.0) || upright(1050.0, 520.0) || rounds.iter().any(|(x, y)| round(*x, *y))
    };
    let shape = |p: Point| (100.0..1150.0).contains(&p.x) && (120.0..740.0).contains(&p.y) && !letters(p);
    let away = Point::new(-92.0, 118.0);
    let photo = drawn(1250, 860, shape, away);
    let plan = PlannedCut { pocket_mm: Some((105.0, 62.0)), depth_mm: Some(3.0), ..PlannedCut::default() };
    let patch = look(&photo, &straight(0.1), &plan);
    let from = patch.light.from_deg.unwrap();
    let true_from = (-away.y).atan2(-away.x).to_degrees();
    assert!(turn(from.value, true_from) < 8.0, "{from:?}, true {true_from:.1}");
}

#[test]
fn a_photo_without_walls_is_all_floor_and_a_black_one_is_refused() {
    let photo = drawn(900, 700, |_| true, Point::new(0.0, 40.0));
    let (_, patch, caveats) =
        floor::find(&photo, &straight(0.1), &[], &PlannedCut::default(), &floor::Options::default()).unwrap();
    assert!(caveats.iter().any(|c| c.id == "outline-assumed") && patch.used_fraction > 0.8);
    let mut black = photo.clone();
    black.luma.data.fill(0.0);
    let e = floor::find(&black, &straight(0.1), &[], &PlannedCut::default(), &floor::Options::default()).unwrap_err();
    assert!(e.to_string().contains("black"), "{e}");
}

fn points(v: &Value) -> Vec<Point> {
    v.as_array().unwrap().iter().map(|p| Point::new(p[0].as_f64().unwrap(), p[1].as_f64().unwrap())).collect()
}

/// Practice photos through the rooms above: the outline and the lamp against the truth. Photos without a scale are left
/// out: the planned size is looked for only where there is one.
#[test]
fn practice_photos_give_their_outline_and_their_lamp() {
    let Ok(data) = std::env::var("LOWSUN_CHECK_DATA") else {
        println!("skipped: LOWSUN_CHECK_DATA does not name the folder with practice/");
        return;
    };
    let mut seen = 0;
    for entry in std::fs::read_dir(Path::new(&data).join("practice")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "json") {
            continue;
        }
        let t: Value = serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
        let (photo, _) = photo::read(&path.with_extension("jpg"), &photo::Options::default()).unwrap();
        let (plan, _) = lowsun::plan::read(&path.with_extension("plan.toml")).unwrap();
        let (found, _) = lowsun::reference::find(&photo, &plan, &Default::default()).unwrap();
        let (frame, _) = rectify::frame(&photo, &found, &plan);
        if frame.scale.is_none() {
            continue;
        }
        let (_, patch, _) = floor::find(&photo, &frame, &found, &plan, &floor::Options::default()).unwrap();
        seen += 1;
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        // 0.6 mm: 0.44 mm of the lens's bending, which the truth's pixels leave out, and a photo pixel or two of 0.1 mm.
        let mm = t["mm_per_px"].as_f64().unwrap();
        let truth = points(&t["pocket_outline_floor_px"]);
        let middles = (0..truth.len()).map(|i| truth[i].lerp(truth[(i + 1) % truth.len()], 0.5));
        for m in middles {
            let near = mm
                * (0..patch.outline_px.len())
                    .map(|i| {
                        let (a, b) = (patch.outline_px[i], patch.outline_px[(i + 1) % patch.outline_px.len()]);
                        let d = b - a;
                        let u = (((m.x - a.x) * d.x + (m.y - a.y) * d.y) / (d.x * d.x + d.y * d.y).max(1e-9))
                            .clamp(0.0, 1.0);
                        a.lerp(b, u).distance(m)
                    })
                    .fold(f64::MAX, f64::min);
            assert!(near < 0.6, "{name}: a wall lies {near:.2} mm off");
        }
        let from = patch.light.from_deg.expect(&name);
        let true_from = t["lamp"]["from_deg"].as_f64().unwrap();
        assert!(turn(from.value, true_from) < 3.0 * from.sigma, "{name}: from {from:?}, true {true_from}");
        let e = patch.light.elevation_deg.expect(&name);
        let true_e = t["lamp"]["elevation_deg"].as_f64().unwrap();
        assert!((e.value - true_e).abs() < 3.0 * e.sigma, "{name}: {e:?}, true {true_e}");
    }
    assert!(seen >= 16, "only {seen} practice photos have a scale");
}
