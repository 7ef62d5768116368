//! Is a photo fit for use: each detector with its fault on and off. Pictures with known numbers come from outside the
//! project (`tests/truth`: numpy, scipy, scikit-image, Pillow), whole photos from the maker of scenes.

mod support;

use image::RgbImage;
use lowsun::fit::{ALL, Fit, Grade, Seen, look};
use lowsun::floor::Patch;
use lowsun::geometry::{Homography, Point};
use lowsun::photo;
use lowsun::pipeline;
use lowsun::plan;
use lowsun::plan::PlannedCut;
use lowsun::rectify::{FloorFrame, FloorView};
use lowsun::trace::Trace;
use lowsun::units::LengthUnit;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use support::spec::Spec;

fn truth_file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth").join(name)
}

fn truth(name: &str) -> Value {
    serde_json::from_slice(&std::fs::read(truth_file(name)).unwrap()).unwrap()
}

/// The picture as a floor: all of it lit and used, one pixel a unit, `outline` for its rim.
fn see(picture: &Path, outline: Vec<Point>) -> Seen {
    let (photo, _) = photo::read(picture, &photo::Options::default()).unwrap();
    let frame = FloorFrame::from_homography(Homography::identity(), None);
    let view =
        FloorView { origin: Point::default(), step: 1.0, luma: photo.luma.clone(), chroma: None, chroma_shrink: 1 };
    let patch = Patch { outline_px: outline.clone(), outline, ..Patch::whole(view) };
    look(&photo, &frame, &[], &patch, &PlannedCut::default())
}

fn whole(side: f64) -> Vec<Point> {
    vec![Point::new(0.0, 0.0), Point::new(side, 0.0), Point::new(side, side), Point::new(0.0, side)]
}

/// Source: ISO 12233 (slanted edge); the numbers in closed form and by numpy, the picture by scipy and scikit-image.
#[test]
fn edges_of_known_blur_and_sharpening_read_true() {
    let t = truth("edges.json");
    let corners: Vec<Point> = t["corners_px"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| Point::new(p[0].as_f64().unwrap(), p[1].as_f64().unwrap()))
        .collect();
    for name in ["plain", "sharpened"] {
        let e = see(&truth_file(&format!("edge-{name}.png")), corners.clone()).edge.expect(name);
        let want = |k: &str| t[name][k].as_f64().unwrap();
        // 0.12 px: half a bin; 0.015: the mean of three bins flattens a peak that is four pixels wide by one percent.
        assert!((e.rise_px - want("rise_px")).abs() < 0.12, "{name}: {e:?} {}", t[name]);
        assert!((e.halo - want("halo")).abs() < 0.015, "{name}: {e:?} {}", t[name]);
        assert!((e.nyquist - want("nyquist")).abs() < 0.02, "{name}: {e:?} {}", t[name]);
        assert!(e.pieces >= 8, "{name}: {e:?}");
    }
}

/// Leaving pixels out instead of averaging them: what the pixels cannot hold folds back.
#[test]
fn a_picture_shrunk_by_leaving_pixels_out_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let fine = image::open(truth_file("edge-plain.png")).unwrap().to_rgb8();
    let by = |name: &str, f: &dyn Fn(u32, u32) -> [u8; 3]| {
        let path = folder.path().join(name);
        RgbImage::from_fn(133, 133, |x, y| image::Rgb(f(x, y))).save(&path).unwrap();
        path
    };
    let corners: Vec<Point> = truth("edges.json")["corners_px"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| Point::new((p[0].as_f64().unwrap() - 1.0) / 3.0, (p[1].as_f64().unwrap() - 1.0) / 3.0))
        .collect();
    let picked = see(&by("picked.png", &|x, y| fine.get_pixel(3 * x + 1, 3 * y + 1).0), corners.clone()).edge;
    let averaged = see(
        &by("averaged.png", &|x, y| {
            let sum: u32 = (0..9).map(|k| u32::from(fine.get_pixel(3 * x + k % 3, 3 * y + k / 3)[0])).sum();
            [((sum + 4) / 9) as u8; 3]
        }),
        corners,
    )
    .edge;
    let (picked, averaged) = (picked.unwrap().nyquist, averaged.unwrap().nyquist);
    // Blur of 0.3 px is left by picking: exp(-2 (pi 0.15)^2) = 0.64 with the box; averaging adds a box of one pixel.
    assert!(picked > 0.55 && averaged < 0.5 && picked > averaged + 0.15, "picked {picked}, averaged {averaged}");
}

/// Source: Pillow's JPEG encoder and its bilinear scaling.
#[test]
fn jpeg_blocks_are_found_at_their_spacing_also_after_scaling_and_nowhere_else() {
    let t = truth("fitness.json");
    for (name, pitch) in t["pitches_px"].as_object().unwrap() {
        let pitch = pitch.as_f64().unwrap();
        let b = see(&truth_file(&format!("{name}.png")), whole(56.0 * pitch)).blocks.expect(name);
        assert!((b.pitch_px / pitch - 1.0).abs() < 0.01, "{name}: {b:?}");
        assert!(b.contrast > 0.005, "{name}: {b:?}");
    }
    assert_eq!(see(&truth_file("texture.png"), whole(448.0)).blocks, None);
}

/// Source: Immerkaer 1996, by scipy.
#[test]
fn the_noise_of_the_finest_detail_is_that_of_the_published_estimate() {
    let t = truth("fitness.json");
    let d = see(&truth_file("texture.png"), whole(448.0)).detail.unwrap();
    let want = t["immerkaer_median"].as_f64().unwrap();
    // The tiles cover all but the last row and column of cells.
    assert!((d.sigma_code / want - 1.0).abs() < 0.01, "{d:?} {want}");
    assert!((d.sigma_code / t["added_sigma"].as_f64().unwrap() - 1.0).abs() < 0.05, "{d:?}");
    assert!(d.wiped < 0.01, "{d:?}");
}

/// A saw 2.4 mm apart on maple under a low lamp across it, a card beside the pocket: what all the faults are put on.
fn good() -> Spec {
    let mut s = support::samples::samples().into_iter().find(|q| q.0 == "maple-flat-01").unwrap().1;
    s.camera.px = [2048, 1536];
    s.g = 0.08;
    s.camera.quality = 90;
    s
}

struct Shot {
    picture: RgbImage,
    plan: String,
}

fn shot(s: &Spec) -> Shot {
    let made = support::make(s);
    Shot { picture: image::load_from_memory(&made.jpeg).unwrap().to_rgb8(), plan: made.plan }
}

fn base() -> &'static Shot {
    static SHOT: OnceLock<Shot> = OnceLock::new();
    SHOT.get_or_init(|| shot(&good()))
}

fn plan_of(text: &str) -> PlannedCut {
    plan::parse(text, "made", LengthUnit::Mm).unwrap()
}

fn check_file(path: &Path, plan: &str) -> Fit {
    let options = pipeline::Options::default();
    pipeline::check(path, plan_of(plan), vec![], &options, &mut Trace::off()).unwrap().fit
}

fn check(picture: &RgbImage, plan: &str) -> Fit {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("shot.png");
    picture.save(&path).unwrap();
    check_file(&path, plan)
}

fn grade(fit: &Fit, id: &str) -> Option<Grade> {
    fit.judgements.iter().find(|j| j.id == id).map(|j| j.grade)
}

fn value(fit: &Fit, id: &str) -> f64 {
    let found = fit.judgements.iter().find(|j| j.id == id).and_then(|j| j.value);
    found.unwrap_or_else(|| panic!("{id} was not judged: {fit:#?}"))
}

fn told(fit: &Fit) -> Vec<&str> {
    fit.faults().iter().map(|j| j.text.as_str()).collect()
}

/// Sum of two pictures in linear light, scaled so that it is exposed as the first one.
fn lit_by_both(a: &RgbImage, b: &RgbImage, share: f64) -> RgbImage {
    RgbImage::from_fn(a.width(), a.height(), |x, y| {
        image::Rgb(std::array::from_fn(|k| {
            let light = |p: &RgbImage| photo::to_linear(f64::from(p.get_pixel(x, y)[k]) / 255.0);
            code(light(a) * (1.0 - share) + light(b) * share)
        }))
    })
}

fn code(light: f64) -> u8 {
    (photo::from_linear(light.clamp(0.0, 1.0)) * 255.0).round() as u8
}

/// Every pixel's light changed alike.
fn mapped(p: &RgbImage, f: impl Fn(f64) -> f64) -> RgbImage {
    RgbImage::from_fn(p.width(), p.height(), |x, y| {
        image::Rgb(p.get_pixel(x, y).0.map(|v| code(f(photo::to_linear(f64::from(v) / 255.0)))))
    })
}

#[test]
fn a_good_photo_may_go() {
    let fit = check(&base().picture, &base().plan);
    assert_eq!(fit.verdict(), Grade::Ok, "{:#?}", told(&fit));
    // All that a scene with card, plan and shadow lets us judge.
    for id in ["sharpness", "pixels-per-stepover", "lamp-high", "room-light", "lamp-along", "oblique", "sharpened"] {
        assert!(grade(&fit, id).is_some(), "{id} was not judged");
    }
}

#[test]
fn faults_of_the_camera_are_seen_when_they_are_put_on() {
    let (good, plan) = (&base().picture, &base().plan);
    let without = check(good, plan);
    // Blur of a quarter of a stepover and of one (about 10 px a millimetre, 2.5 mm).
    let soft = check(&image::imageops::blur(good, 6.0), plan);
    assert_eq!(grade(&soft, "sharpness"), Some(Grade::Care), "{:#?}", told(&soft));
    let softer = check(&image::imageops::blur(good, 22.0), plan);
    assert_eq!(softer.verdict(), Grade::Retake, "{:#?}", told(&softer));
    // Strong sharpening: radius 1.4 px, twice the difference.
    let sharp = check(&image::imageops::unsharpen(good, 1.4, 0), plan);
    let sharp = check(&image::imageops::unsharpen(&image::imageops::unsharpen(good, 1.4, 0), 1.4, 0), plan)
        .judgements
        .into_iter()
        .chain(sharp.judgements)
        .filter(|j| j.id == "sharpened")
        .collect::<Vec<_>>();
    assert_eq!(sharp[0].grade, Grade::Care, "{sharp:?}");
    assert!(sharp[1].value.unwrap() > 2.0 * value(&without, "sharpened").max(2.0), "{sharp:?}");
    // Noise reduction that takes a small neighbourhood's median over and over.
    let mut smooth = good.clone();
    for _ in 0..3 {
        smooth = imageproc_median(&smooth);
    }
    let smooth = check(&image::imageops::blur(&smooth, 2.5), plan);
    assert!(value(&smooth, "smoothed") > 25.0 && value(&without, "smoothed") < 10.0, "{:#?}", smooth.judgements);
    // A chat's compression.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("chat.jpg");
    let file = std::fs::File::create(&path).unwrap();
    image::codecs::jpeg::JpegEncoder::new_with_quality(file, 8).encode_image(good).unwrap();
    let chat = check_file(&path, plan);
    assert!(grade(&without, "jpeg-blocks").is_none_or(|g| g == Grade::Ok));
    assert!((value(&chat, "jpeg-blocks")) > 1.0, "{:#?}", chat.judgements);
}

/// Median over 5 x 5 px, every channel.
fn imageproc_median(p: &RgbImage) -> RgbImage {
    imageproc::filter::median_filter(p, 2, 2)
}

#[test]
fn faults_of_the_light_are_seen_when_they_are_put_on() {
    let (good, plan) = (&base().picture, &base().plan);
    let without = check(good, plan);
    // Two fifths of the lamp's light left and room light of a fifth of white: the shadow fills up. With more, it or the pocket
    // itself is lost, and that is said.
    let room = check(&mapped(good, |v| 0.4 * v + 0.2), plan);
    assert!(grade(&room, "room-light") >= Some(Grade::Care), "{:#?}", told(&room));
    let flooded = check(&mapped(good, |v| 0.35 * v + 0.25), plan);
    let said = ["room-light", "no-pocket", "no-shadow"].into_iter().filter_map(|id| grade(&flooded, id)).max();
    assert!(said >= Some(Grade::Care), "{:#?}", told(&flooded));
    assert!(value(&without, "room-light") > 4.0);
    // Where so much is burnt that the pocket is lost, that is said instead.
    let burnt = check(&mapped(good, |v| 3.0 * v), plan);
    let seen = grade(&burnt, "burnt").or(grade(&burnt, "no-pocket"));
    assert!(seen >= Some(Grade::Care), "{:#?}", told(&burnt));
    assert_eq!(grade(&without, "burnt"), Some(Grade::Ok));

    let mut s = self::good();
    s.light.from += 90.0;
    let along = shot(&s);
    let fit = check(&along.picture, plan);
    assert!(grade(&fit, "lamp-along") >= Some(Grade::Care), "{:#?}", fit.judgements);
    // The same light as a second lamp: two fifths of the light.
    let two = check(&lit_by_both(good, &along.picture, 0.4), plan);
    assert!(grade(&two, "second-lamp") >= Some(Grade::Care), "{:#?}", two.judgements);
    assert!(value(&without, "second-lamp") < 12.0, "{}", value(&without, "second-lamp"));

    s = self::good();
    s.light.el = 58.0;
    let high = check(&shot(&s).picture, plan);
    assert_eq!(high.verdict(), Grade::Retake, "{:#?}", high.judgements);
}

#[test]
fn faults_of_the_framing_are_seen_when_they_are_put_on() {
    let (good, plan) = (&base().picture, &base().plan);
    let small = image::imageops::thumbnail(good, 260, 195);
    let fit = check(&small, plan);
    assert!(grade(&fit, "pixels-per-stepover").is_none_or(|g| g > Grade::Ok), "{:#?}", fit.judgements);
    // The card painted over with the stock's mean colour: nothing of known size but the pocket, which the plan does not name.
    let (w, h) = good.dimensions();
    let upper = image::imageops::crop_imm(good, 0, 0, w, h * 58 / 100).to_image();
    let no_pocket: String =
        plan.lines().filter(|l| !l.starts_with("width") && !l.starts_with("height")).fold(String::new(), |mut s, l| {
            s += l;
            s += "\n";
            s
        });
    let fit = check(&upper, &no_pocket);
    assert_eq!(grade(&fit, "no-reference"), Some(Grade::Care), "{:#?}", fit.judgements);
    // A picture of something else.
    let noise = RgbImage::from_fn(900, 700, |x, y| image::Rgb([(90 + (x * 7919 + y * 104_729) % 61) as u8; 3]));
    assert_eq!(check(&noise, plan).verdict(), Grade::Retake);
}

#[test]
fn the_registry_is_whole() {
    let mut ids: Vec<_> = ALL.iter().map(|k| k.id).collect();
    // Frozen: a program may have read them.
    assert_eq!(
        ids,
        [
            "no-pocket",
            "sharpness",
            "pixels-per-stepover",
            "lamp-high",
            "lamp-low",
            "no-shadow",
            "room-light",
            "second-lamp",
            "lamp-along",
            "burnt",
            "black",
            "little-floor",
            "oblique",
            "aliased",
            "jpeg-blocks",
            "sharpened",
            "smoothed",
            "grain-along",
            "no-reference",
            "reference-small",
            "reference-far",
            "pocket-small",
            "few-passes"
        ]
    );
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), ALL.len());
}

fn practice(name: &str) -> Option<Fit> {
    let Some(dir) = std::env::var_os("LOWSUN_CHECK_DATA") else {
        println!("skipped: LOWSUN_CHECK_DATA is not set");
        return None;
    };
    let at = PathBuf::from(dir).join("practice");
    let plan = std::fs::read_to_string(at.join(format!("{name}.plan.toml"))).unwrap();
    Some(check_file(&at.join(format!("{name}.jpg")), &plan))
}

#[test]
fn practice_photos_that_hide_their_marks_are_sent_back_and_good_ones_are_not() {
    for (name, id) in [("p14-too-blurred", "sharpness"), ("p15-lamp-too-high", "lamp-high")] {
        let Some(fit) = practice(name) else { return };
        assert_eq!(grade(&fit, id), Some(Grade::Retake), "{name}: {:#?}", fit.judgements);
    }
    for name in ["p01-first-slot-proud", "p03-square-off-lamp-low", "p05-clean-skim", "p07-letters-contour"] {
        let Some(fit) = practice(name) else { return };
        assert_eq!(fit.verdict(), Grade::Ok, "{name}: {:#?}", told(&fit));
    }
}

/// What a photo is not: with nothing of a pocket in it, it must not pass.
#[test]
fn pictures_of_other_things_do_not_pass() {
    let Some(dir) = std::env::var_os("LOWSUN_CHECK_DATA") else {
        println!("skipped: LOWSUN_CHECK_DATA is not set");
        return;
    };
    let real = PathBuf::from(dir).join("real");
    for name in [
        "skimage-textures/brick.png",
        "skimage-textures/grass.png",
        "skimage-textures/text.png",
        "skimage-textures/chessboard_GRAY.png",
        "wood-textures/red-wood.png",
        "growth-rings/F02c-urudendro.jpg",
        "checkerboards/left01.jpg",
        "ecg-grid/ecg00012.jpg",
        "spruce-boards/crop_r1c3_left.png",
    ] {
        let options = pipeline::Options::default();
        if let Ok(c) = pipeline::check(&real.join(name), PlannedCut::default(), vec![], &options, &mut Trace::off()) {
            assert_eq!(c.fit.verdict(), Grade::Retake, "{name}: {:#?}", c.fit.judgements);
        }
    }
}
