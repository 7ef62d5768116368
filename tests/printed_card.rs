//! The file that people print is what was tested: the pocket card's PDF, turned into a picture by another program at the
//! dots of a printer (`tests/truth/print.py`), lies in made photos and is found there.
//!
//! `LOWSUN_SCENES` sets how many (6 unless set).

mod support;

use lowsun::card::{Card, Form};
use lowsun::geometry::Point;
use lowsun::photo;
use lowsun::reference::own;
use support::warp::Scene;

#[test]
fn the_print_of_the_pdf_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let count = std::env::var("LOWSUN_SCENES").ok().and_then(|v| v.parse().ok()).unwrap_or(6);
    let card = Card::of(Form::Pocket);
    let (mut missed, mut medians) = (vec![], vec![]);
    // Every third scene lays the pocket card.
    for seed in (0..3 * count as u64).step_by(3) {
        let scene = Scene { from_page: true, ..Scene::draw(seed, [1600, 1200]) };
        assert_eq!(scene.form, Some(Form::Pocket));
        let shot = scene.shoot();
        let path = dir.path().join(format!("print{seed:03}.jpg"));
        std::fs::write(&path, &shot.jpeg).unwrap();
        let (photo, _) = photo::read(&path, &Default::default()).unwrap();
        let Some(found) = own::search(&photo, None).filter(|f| f.form == Form::Pocket) else {
            missed.push(seed);
            continue;
        };
        let off: Vec<f64> = found
            .pairs
            .iter()
            .map(|p| {
                let mm = p.mm + own::origin(found.form);
                let of = |c: &&((i32, i32), Point, bool)| card.point_mm(c.0.0, c.0.1).distance(mm);
                shot.corners.iter().min_by(|a, b| of(a).total_cmp(&of(b))).unwrap().1.distance(p.px)
            })
            .collect();
        let median = lowsun::stats::median(&off).unwrap();
        println!("{seed}: {} corners, off by {median:.3} px at {:.1} px per mm", off.len(), scene.px_per_mm);
        medians.push(median / scene.px_per_mm);
    }
    let middle = lowsun::stats::median(&medians).unwrap();
    println!("{} of {count} found, corners off by {middle:.4} mm", count - missed.len());
    assert!(missed.len() as f64 <= 0.02 * count as f64, "missed {missed:?}");
    // A dot of 600 dpi is 0.042 mm: the corners of the picture itself lie up to half a dot off along x and along y, in the
    // middle 0.018 mm. The finder may add a little to that, not as much again.
    assert!(middle < 0.027, "{middle} mm");
}
