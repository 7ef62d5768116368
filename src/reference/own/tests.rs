use super::*;
use std::path::PathBuf;

fn data(part: &str) -> Option<PathBuf> {
    let Some(root) = std::env::var_os("LOWSUN_CHECK_DATA") else {
        eprintln!("skipped: LOWSUN_CHECK_DATA is not set, so there are no check photos");
        return None;
    };
    Some(PathBuf::from(root).join(part))
}

/// A card drawn straight on, `px` per cell, its middle in the middle of a plane.
fn flat(form: Form, px: f64) -> Plane {
    let card = Card::of(form);
    let (w, h) = ((f64::from(card.cols) + 3.0) * px, (f64::from(card.rows) + 3.0) * px);
    let sharp = Plane::from_fn(w as usize, h as usize, |x, y| {
        let p = Point::new((x as f64 + 0.5) / px - 1.5, (y as f64 + 0.5) / px - 1.5) * card.pitch_mm();
        if card.dark(p) { 0.05 } else { 0.8 }
    });
    crate::raster::gaussian_blur(&sharp, 1.0)
}

fn camera(p: &Plane) -> Camera {
    let centre = Point::new(p.width as f64 / 2.0, p.height as f64 / 2.0);
    Camera { focal_px: 1.2 * p.width as f64, relative: 0.03, centre, k1: (0.0, 0.012), k2: (0.0, 0.012) }
}

/// The inner corners of OpenCV's chessboard photos, found, linked and placed here, against those of OpenCV's cornerSubPix
/// (window 11 px; `tests/truth/chessboards.json`). They may differ by 0.15 px: OpenCV's condition takes the code values and
/// feels uneven light. So the same camera (pose, focal length, k1) is fitted to both: ours must lie no farther from it.
#[test]
fn corners_of_real_chessboards_are_opencvs() {
    let Some(dir) = data("real/checkerboards") else { return };
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/truth/chessboards.json");
    let truth: serde_json::Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    let points = |v: &serde_json::Value| -> Vec<Point> {
        let number = |v: &serde_json::Value| v.as_f64().unwrap();
        v.as_array().unwrap().iter().map(|p| Point::new(number(&p[0]), number(&p[1]))).collect()
    };
    let board = points(&truth["board_mm"]);
    let (mut ours_px, mut theirs_px) = (0.0, 0.0);
    for one in truth["photos"].as_array().unwrap() {
        let name = one["photo"].as_str().unwrap();
        let (photo, _) = crate::photo::read(&dir.join(name), &Default::default()).unwrap();
        let found = saddles::saddles(&photo.luma);
        let all = lattice::lattices(&found, step_across(&photo.luma));
        let largest = all.first().unwrap_or_else(|| panic!("{name}: no lattice among {} corners", found.len()));
        let theirs = points(&one["corners_px"]);
        let mut ours = vec![];
        for c in &theirs {
            let near = largest.nodes.values().map(|p| p.distance(*c)).fold(f64::INFINITY, f64::min);
            assert!(near < 1.0, "{name}: the lattice has no corner at {c:?}");
            let rough = refine::place(&photo.luma, *c, 5.5).unwrap();
            ours.push(refine::balance(&photo.luma, rough, 5.5).unwrap().at);
        }
        let off: Vec<f64> = ours.iter().zip(&theirs).map(|(a, b)| a.distance(*b)).collect();
        let median = crate::stats::median(&off).unwrap();
        // Their lens: focal length near 535 px, k1 near -0.27 (OpenCV's own calibration of these photos).
        let centre = Point::new(319.5, 239.5);
        let camera = Camera { focal_px: 535.0, relative: 0.3, centre, k1: (-0.2, 0.3), k2: (0.0, 0.3) };
        let known = pose::Known { camera: &camera, aspect_sigma: 1e-4 };
        let scatter = |corners: &[Point]| {
            let pairs: Vec<Pair> =
                board.iter().zip(corners).map(|(mm, px)| Pair { mm: *mm, px: *px, sigma_px: 0.1 }).collect();
            let some: Vec<(Point, Point)> = pairs.iter().map(|p| (p.mm, p.px)).collect();
            let map = crate::geometry::Homography::from_pairs(&some).unwrap();
            pose::first(&map, &pairs, &known).unwrap().fitted.residual_px
        };
        let (a, b) = (scatter(&ours), scatter(&theirs));
        println!("{name}: {median:.3} px from OpenCV's; {a:.3} px from a camera fitted to ours, {b:.3} to theirs");
        (ours_px, theirs_px) = (ours_px + a, theirs_px + b);
        assert!(median < 0.15 && a < 1.3 * b, "{name}");
        assert!(find(&photo.luma, &camera, None).is_none(), "{name}: a board is no card");
    }
    assert!(ours_px < 1.05 * theirs_px, "{ours_px} against {theirs_px} px");
}

#[test]
fn every_form_is_found_with_nearly_all_its_corners() {
    for form in Form::ALL {
        let plane = flat(form, 20.0);
        let f = find(&plane, &camera(&plane), None).unwrap_or_else(|| panic!("{form} not found"));
        assert_eq!(f.form, form);
        assert_eq!(f.expected, Card::of(form).saddles().len());
        assert!(f.pairs.len() as f64 > 0.97 * f.expected as f64, "{form}: {} of {}", f.pairs.len(), f.expected);
        // 20 px are 4 mm.
        let scale =
            f.fit.fitted.view.forward(Point::new(1.0, 0.0)).distance(f.fit.fitted.view.forward(Point::default()));
        assert!((scale / 5.0 - 1.0).abs() < 1e-3, "{form}: {scale} px per mm");
    }
}

#[test]
fn a_sheet_printed_too_small_is_measured_in_its_own_millimetres() {
    let plane = flat(Form::Pocket, 20.0);
    // Twenty px are 4 mm as drawn; the bars say 3.92 mm along x and 3.9 mm along y: 5.115 px per mm by area.
    let f = find(&plane, &camera(&plane), Some(Printed { x: 0.98, y: 0.975 })).unwrap();
    let scale = f.fit.fitted.view.scale_at(Point::default());
    assert!((scale / 5.115 - 1.0).abs() < 1e-3, "{scale}");
}

#[test]
fn the_reference_covers_the_paper_but_not_the_window() {
    let plane = flat(Form::Frame, 12.0);
    let f = find(&plane, &camera(&plane), None).unwrap();
    let photo = Photo::blank(plane.width, plane.height, None);
    let r = f.reference(&photo, None, Level::Floor);
    let card = Card::of(Form::Frame);
    let px = |i: f64, j: f64| r.to_px.forward(Point::new(i, j) * card.pitch_mm() - origin(Form::Frame));
    // Lattice point (i, j) was drawn at ((i + 1.5) 12 - 0.5, (j + 1.5) 12 - 0.5).
    assert!(px(20.0, 3.0).distance(Point::new(257.5, 53.5)) < 0.1, "{:?}", px(20.0, 3.0));
    assert!(crate::geometry::contains(&r.outline_px, px(3.0, 20.0)));
    assert!(!crate::geometry::contains(&r.outline_px, px(18.0, 13.0)), "the window shows the floor");
    assert!(!crate::geometry::contains(&r.outline_px, px(-0.6, 3.0)));
    // What the printer did is not known, or to a tenth of a per cent.
    let measured = f.reference(&photo, Some(Printed::default()), Level::Floor);
    assert!(r.relative_sigma >= 0.003 && measured.relative_sigma >= 0.001 && measured.relative_sigma < 0.002);
    assert!(r.source == Source::Card && r.height_mm == PAPER_MM);
}

#[test]
fn a_checker_without_codes_is_no_card() {
    let mut plane = flat(Form::Pocket, 20.0);
    // Every block is painted over with checker.
    let card = Card::of(Form::Pocket);
    for b in card.blocks() {
        for y in 0..80 {
            for x in 0..80 {
                let (i, j) = (b.cell.0 + x / 20, b.cell.1 + y / 20);
                let at = (30 + b.cell.1 * 20 + y) as usize * plane.width + (30 + b.cell.0 * 20 + x) as usize;
                plane.data[at] = if (i + j) % 2 == 0 { 0.05 } else { 0.8 };
            }
        }
    }
    assert!(find(&plane, &camera(&plane), None).is_none());
    // Blank holes in the right places are no card either: somebody else's board may have them.
    for b in card.blocks() {
        for k in 0..80 * 80 {
            let at = (30 + b.cell.1 * 20 + k / 80) as usize * plane.width + (30 + b.cell.0 * 20 + k % 80) as usize;
            plane.data[at] = 0.8;
        }
    }
    assert!(find(&plane, &camera(&plane), None).is_none());
}
