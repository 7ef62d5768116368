//! How long each room takes on one 12-megapixel photo, and the whole walk: `cargo bench --bench stages`.
//!
//! With LOWSUN_CHECK_DATA a practice photo; else the largest photo of sample-images.

use lowsun::fit::Fit;
use lowsun::floor::Patch;
use lowsun::photo::Photo;
use lowsun::plan::{self, PlannedCut};
use lowsun::rectify::FloorFrame;
use lowsun::reference::Reference;
use lowsun::trace::Trace;
use lowsun::{draw, expect, explain, fit, floor, marks, photo, pipeline, rectify, reference, report};
use std::path::{Path, PathBuf};

fn main() {
    divan::main();
}

fn files() -> (PathBuf, PathBuf) {
    if let Some(d) = std::env::var_os("LOWSUN_CHECK_DATA") {
        let base = Path::new(&d).join("practice");
        return (base.join("p01-first-slot-proud.jpg"), base.join("p01-first-slot-proud.plan.toml"));
    }
    let largest = std::fs::read_dir("sample-images")
        .unwrap()
        .map(|e| e.unwrap().path().join("photo.jpg"))
        .filter(|p| p.exists())
        .max_by_key(|p| std::fs::metadata(p).unwrap().len())
        .expect("sample-images holds no photo.jpg");
    let plan = largest.with_file_name("plan.toml");
    (largest, plan)
}

struct Walk {
    photo: Photo,
    plan: PlannedCut,
    references: Vec<Reference>,
    frame: FloorFrame,
}

fn walk() -> Walk {
    let (file, plan_file) = files();
    let (photo, _) = photo::read(&file, &photo::Options::default()).unwrap();
    let (plan, _) = plan::read(&plan_file).unwrap();
    let (references, _) = reference::find(&photo, &plan, &reference::Options::default()).unwrap();
    let (frame, _) = rectify::frame(&photo, &references, &plan);
    Walk { photo, plan, references, frame }
}

fn look(w: &Walk) -> marks::Options {
    marks::Options {
        hints: expect::expected(&w.plan).pitches.iter().map(|p| p.pitch_mm).collect(),
        cutter_radius: w.plan.cutter.diameter_mm.map(|d| d / 2.0),
        scaled: w.frame.scale.is_some(),
    }
}

#[divan::bench(sample_count = 10)]
fn reference_room(bencher: divan::Bencher) {
    let w = walk();
    bencher.bench_local(|| reference::find(&w.photo, &w.plan, &reference::Options::default()).unwrap());
}

#[divan::bench(sample_count = 10)]
fn floor_room(bencher: divan::Bencher) {
    let w = walk();
    bencher
        .bench_local(|| floor::find(&w.photo, &w.frame, &w.references, &w.plan, &floor::Options::default()).unwrap());
}

fn fitness(w: &Walk, frame: &FloorFrame, patch: &Patch) -> Fit {
    let r = &w.references;
    let seen = fit::look(&w.photo, frame, r, patch, &w.plan);
    fit::judge((w.photo.width, w.photo.height), frame, r, patch, &w.plan, &seen)
}

#[divan::bench(sample_count = 10)]
fn fit_room(bencher: divan::Bencher) {
    let w = walk();
    let (frame, patch, _) =
        floor::find(&w.photo, &w.frame, &w.references, &w.plan, &floor::Options::default()).unwrap();
    bencher.bench_local(|| fitness(&w, &frame, &patch));
}

#[divan::bench(sample_count = 10)]
fn marks_room(bencher: divan::Bencher) {
    let w = walk();
    let (_, patch, _) = floor::find(&w.photo, &w.frame, &w.references, &w.plan, &floor::Options::default()).unwrap();
    let options = look(&w);
    bencher.bench_local(|| marks::measure(&patch, &options));
}

#[divan::bench(sample_count = 10)]
fn explain_room(bencher: divan::Bencher) {
    let w = walk();
    let (frame, patch, _) =
        floor::find(&w.photo, &w.frame, &w.references, &w.plan, &floor::Options::default()).unwrap();
    let fit = fitness(&w, &frame, &patch);
    let (marks, _) = marks::measure(&patch, &look(&w));
    let expected = expect::expected(&w.plan);
    bencher.bench_local(|| explain::weigh(&frame, &patch, &fit, &marks, &w.plan, &expected));
}

/// What `lowsun check` does, from the file to the text.
#[divan::bench(sample_count = 10)]
fn check(bencher: divan::Bencher) {
    let (file, plan_file) = files();
    bencher.bench_local(|| {
        let (plan, caveats) = plan::read(&plan_file).unwrap();
        let checked = pipeline::check(&file, plan, caveats, &pipeline::Options::default(), &mut Trace::off()).unwrap();
        report::check_text(&checked)
    });
}

#[divan::bench(sample_count = 10)]
fn whole_walk_to_report(bencher: divan::Bencher) {
    let (file, plan_file) = files();
    bencher.bench_local(|| {
        let (plan, caveats) = plan::read(&plan_file).unwrap();
        let inspection =
            pipeline::inspect(&file, plan, caveats, &pipeline::Options::default(), &mut Trace::off()).unwrap();
        let pictures = draw::pictures(&inspection);
        (report::html(&inspection, &pictures).unwrap(), report::json(&inspection))
    });
}
