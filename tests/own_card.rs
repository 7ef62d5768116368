//! The printed card found by itself, in made photos with truth and in real ones that show none.
//!
//! `LOWSUN_SCENES` sets how many made scenes each test takes (40 unless set; the figures of docs/measured.md are from 500)
//! and `LOWSUN_SCENE_SIZE` their width in px (1600 unless set; 4000 is a phone's 12 megapixels).

mod support;

use lowsun::geometry::Point;
use lowsun::photo;
use lowsun::reference::own;
use std::path::{Path, PathBuf};
use support::warp::Scene;

fn number(name: &str, otherwise: usize) -> usize {
    std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(otherwise)
}

fn size() -> [usize; 2] {
    let w = number("LOWSUN_SCENE_SIZE", 1600);
    [w, w * 3 / 4]
}

/// The scene as a file read back by the program.
fn taken(jpeg: &[u8], dir: &Path, name: &str) -> photo::Photo {
    let path = dir.join(name);
    std::fs::write(&path, jpeg).unwrap();
    let (photo, _) = photo::read(&path, &Default::default()).unwrap();
    photo
}

fn keep(dir: &Path) -> PathBuf {
    std::env::var_os("LOWSUN_KEEP").map_or(dir.to_owned(), PathBuf::from)
}

#[test]
fn the_card_is_found_in_made_photos() {
    let dir = tempfile::tempdir().unwrap();
    let dir = keep(dir.path());
    let count = number("LOWSUN_SCENES", 40);
    let first = number("LOWSUN_FIRST", 0);
    let mut missed = vec![];
    let mut medians = vec![];
    let mut times = vec![];
    for seed in first..first + count {
        let scene = Scene::draw(seed as u64, size());
        let shot = scene.shoot();
        let photo = taken(&shot.jpeg, &dir, &format!("card{seed:03}.jpg"));
        let clock = std::time::Instant::now();
        let found = own::search(&photo, None);
        times.push(clock.elapsed().as_secs_f64());
        let Some(f) = found.filter(|f| Some(f.form) == scene.form) else {
            println!("{seed}: missed, {scene:?}");
            missed.push(seed);
            continue;
        };
        // Corners against the truth: by the lattice point nearest to each pair's place on the print.
        let card = lowsun::card::Card::of(f.form);
        let off: Vec<f64> = f
            .pairs
            .iter()
            .map(|p| {
                let mm = p.mm + own::origin(f.form);
                let (_, px, _) = shot
                    .corners
                    .iter()
                    .min_by(|a, b| {
                        let d = |c: &((i32, i32), Point, bool)| card.point_mm(c.0.0, c.0.1).distance(mm);
                        d(a).total_cmp(&d(b))
                    })
                    .unwrap();
                px.distance(p.px)
            })
            .collect();
        let median = lowsun::stats::median(&off).unwrap();
        let worst = off.iter().copied().fold(0.0, f64::max);
        let visible = shot.corners.iter().filter(|c| c.2).count();
        println!(
            "{seed}: {} {} of {visible} corners, off {median:.3} px (worst {worst:.2}), residual {:.3}, {:.0} ms",
            f.form,
            f.pairs.len(),
            f.median_px,
            times.last().unwrap() * 1e3
        );
        if median > 1.0 {
            missed.push(seed);
        }
        medians.push(median);
    }
    let middle = lowsun::stats::median(&medians).unwrap();
    println!(
        "{} of {count} found, corners off by {middle:.3} px (90 %: {:.3}), {:.0} ms (median)",
        count - missed.len(),
        lowsun::stats::percentile(&medians, 90.0).unwrap(),
        1e3 * lowsun::stats::median(&times).unwrap()
    );
    assert!(missed.len() as f64 <= 0.02 * count as f64 + 1.0, "missed {missed:?}");
    assert!(middle < 0.15, "{middle} px");
}

#[test]
fn nothing_is_found_where_there_is_no_card() {
    let dir = tempfile::tempdir().unwrap();
    let dir = keep(dir.path());
    let count = number("LOWSUN_SCENES", 40);
    let mut times = vec![];
    for seed in 0..count {
        let shot = Scene::draw(seed as u64, size()).without().shoot();
        let photo = taken(&shot.jpeg, &dir, &format!("none{seed:03}.jpg"));
        let clock = std::time::Instant::now();
        let found = own::search(&photo, None);
        times.push(clock.elapsed().as_secs_f64());
        assert!(found.is_none(), "seed {seed}: a {} that is not there", found.unwrap().form);
    }
    println!("{:.0} ms (median)", 1e3 * lowsun::stats::median(&times).unwrap());
}

fn pictures(dir: &Path, out: &mut Vec<PathBuf>) {
    for e in std::fs::read_dir(dir).unwrap() {
        let p = e.unwrap().path();
        let kind = p.extension().map(|e| e.to_string_lossy().to_lowercase());
        if p.is_dir() {
            pictures(&p, out);
        } else if kind.is_some_and(|k| ["jpg", "jpeg", "png", "heic", "heif", "tiff"].contains(&k.as_str())) {
            out.push(p);
        }
    }
    out.sort();
}

/// Real pictures (chessboards, chart paper, rules, printed text, wood) and the practice photos: none shows the card.
#[test]
fn nothing_is_found_in_real_pictures() {
    let Some(root) = std::env::var_os("LOWSUN_CHECK_DATA") else {
        eprintln!("skipped: LOWSUN_CHECK_DATA is not set, so there are no check photos");
        return;
    };
    let mut all = vec![];
    for part in ["real", "practice"] {
        pictures(&Path::new(&root).join(part), &mut all);
    }
    let mut looked = 0;
    for path in &all {
        let Ok((photo, _)) = photo::read(path, &Default::default()) else { continue };
        looked += 1;
        let clock = std::time::Instant::now();
        let found = own::search(&photo, None);
        let ms = 1e3 * clock.elapsed().as_secs_f64();
        println!("{} x {} {ms:.0} ms {}", photo.width, photo.height, path.display());
        assert!(found.is_none(), "{}: a {} card", path.display(), found.unwrap().form);
    }
    assert!(looked >= 60, "fixture is broken: only {looked} pictures could be read");
}
