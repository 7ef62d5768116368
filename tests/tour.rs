//! The tour in docs/tour.md shows what the program does today: every stage that leaves a picture has it there, and the
//! picture is alike to what a trace saves now.

use image::imageops::{FilterType, resize};
use image::{DynamicImage, RgbImage};
use lowsun::pipeline;
use lowsun::plan::{PlanFacts, gather};
use lowsun::trace::Trace;
use std::fs;
use std::path::Path;

const SAMPLE: &str = "sample-images/maple-flat-01";
/// Width of the pictures, px: half a page on a screen.
const WIDTH: u32 = 640;
/// Mean difference of code values up to which a picture still shows the same: JPEG and resizing leave about 3, a line family
/// that is no longer drawn changes more than 8.
const ALIKE: f64 = 6.0;

fn small(picture: &RgbImage) -> RgbImage {
    resize(picture, WIDTH, WIDTH * picture.height() / picture.width(), FilterType::Triangle)
}

fn difference(a: &RgbImage, b: &RgbImage) -> f64 {
    if a.dimensions() != b.dimensions() {
        return 255.0;
    }
    let sum: u64 = a.as_raw().iter().zip(b.as_raw()).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    sum as f64 / a.as_raw().len() as f64
}

#[test]
fn the_tour_shows_what_the_rooms_leave() {
    let bench = tempfile::TempDir::new().unwrap();
    let sample = Path::new(SAMPLE);
    let (plan, caveats) = gather(Some(&sample.join("plan.toml")), &PlanFacts::default()).unwrap();
    let mut trace = Trace::into_folder(bench.path()).unwrap();
    pipeline::inspect(&sample.join("photo.jpg"), plan, caveats, &Default::default(), &mut trace).unwrap();
    let text = fs::read_to_string("docs/tour.md").unwrap();
    let (mut stages, mut pictures, mut stale) = (0, 0, vec![]);
    for entry in fs::read_dir(bench.path()).unwrap() {
        let path = entry.unwrap().path();
        let stage = path.file_stem().unwrap().to_str().unwrap().to_owned();
        if path.extension().is_some_and(|e| e == "json") {
            stages += 1;
            assert!(text.contains(&format!("## {stage}\n")), "docs/tour.md does not stop at {stage}");
            continue;
        }
        pictures += 1;
        assert!(text.contains(&format!("](tour/{stage}.jpg)")), "docs/tour.md does not show {stage}");
        let now = small(&image::open(&path).unwrap().to_rgb8());
        let kept = Path::new("docs/tour").join(format!("{stage}.jpg"));
        let alike = image::open(&kept).map_or(255.0, |old| difference(&now, &old.to_rgb8()));
        println!("{stage}: {alike:.2}");
        if alike > ALIKE {
            stale.push((kept, now));
        }
    }
    assert!(stages >= 7 && pictures >= 5, "{stages} stages and {pictures} pictures only");
    assert_eq!(fs::read_dir("docs/tour").map_or(0, Iterator::count).max(pictures), pictures, "pictures of no stage");
    if stale.is_empty() {
        return;
    }
    if std::env::var_os("REGENERATE").is_some() {
        for (path, picture) in &stale {
            let mut out = fs::File::create(path).unwrap();
            let jpeg = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 72);
            DynamicImage::from(picture.clone()).write_with_encoder(jpeg).unwrap();
        }
    }
    let names: Vec<_> = stale.iter().map(|s| &s.0).collect();
    panic!("out of date: {names:?}: run REGENERATE=1 cargo test --release --test tour and look at docs/tour.md");
}
