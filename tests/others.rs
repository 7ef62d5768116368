//! Rules and coins as references: photos by others with known truth, made photos, and a pocket that looks like a card.
//!
//! Photos by others need `LOWSUN_CHECK_DATA` (practice/ and real/ below it); without it those tests say so and pass. The
//! sweeps over made photos look at a few; docs/measured.md was filled with more of them:
//! `COUNT=60 cargo test --release --test others sweep -- --nocapture`.

mod support;

use lowsun::geometry::Point;
use lowsun::photo;
use lowsun::plan;
use lowsun::plan::{Coin, PlannedCut, ReferenceKind, Tick};
use lowsun::reference;
use lowsun::reference::{Options, Reference, Source};
use std::path::{Path, PathBuf};
use support::draw::{Lying, Size, draw_with};
use support::props::{COINS, RULES};
use support::quick::{Quick, photo as quick_photo, quick};
use support::spec::{Outline, RefKind};

fn data(part: &str) -> Option<PathBuf> {
    let Some(root) = std::env::var_os("LOWSUN_CHECK_DATA") else {
        eprintln!("skipped: LOWSUN_CHECK_DATA is not set, so there are no check photos");
        return None;
    };
    Some(Path::new(&root).join(part))
}

fn search(path: &Path, plan: &PlannedCut, options: &Options) -> (Option<Reference>, Vec<String>) {
    let (photo, _) = photo::read(path, &Default::default()).unwrap();
    let (all, caveats) = reference::find(&photo, plan, options).unwrap();
    (all.into_iter().next(), caveats.iter().map(|c| c.id.to_owned()).collect())
}

fn only(kind: ReferenceKind) -> Options {
    Options { kind: Some(kind), ..Default::default() }
}

/// mm per px of the reference's own plane at a photo point.
fn mm_per_px(r: &Reference, px: Point) -> f64 {
    1.0 / r.to_px.scale_at(r.to_px.backward(px))
}

/// The rule of a museum photo, with half-millimetre ticks: 17.51 px per mm by the spectrum of rows 505 to 540, 17.57 by its
/// own numbers 5 and 9; the limit holds both.
#[test]
fn a_real_rule_with_half_millimetres_is_read_in_half_millimetres() {
    let Some(dir) = data("real/ruler-half-mm") else { return };
    let path = dir.join("ruler_test_full.jpg");
    let (r, _) = search(&path, &Default::default(), &Default::default());
    let r = r.expect("the rule is found by itself");
    assert_eq!(r.source, Source::Ruler);
    let px_per_mm = 1.0 / mm_per_px(&r, Point::new(480.0, 500.0));
    assert!((px_per_mm / 17.54 - 1.0).abs() < 0.004, "{px_per_mm} px per mm");
    let edge = Some((Point::new(100.0, 471.0), Point::new(880.0, 471.0)));
    let by_hand = Options { edge_px: edge, ..only(ReferenceKind::Ruler) };
    let (r, _) = search(&path, &Default::default(), &by_hand);
    let px_per_mm = 1.0 / mm_per_px(&r.expect("the rule along the given edge"), Point::new(480.0, 500.0));
    assert!((px_per_mm / 17.51 - 1.0).abs() < 0.01, "{px_per_mm} px per mm along the given edge");
    // A wrong word of the user's wins, and is told.
    let wrong = Options { tick: Some(Tick::Sixteenth), edge_px: edge, ..only(ReferenceKind::Ruler) };
    let (r, caveats) = search(&path, &Default::default(), &wrong);
    assert!(r.is_some() && caveats.iter().any(|c| c == "ruler-unclear"));
}

/// Corners as they lie in the photo read: some made photos are stored turned without a word of it in the file, while the
/// truth is that of the upright one. Of the four turns the one whose middle lies nearest to what was found.
fn as_stored(px: &[Point], truth: &serde_json::Value, at: Point) -> Vec<Point> {
    if truth["photo"]["orientation"] == 1 {
        return px.to_vec();
    }
    let side = |name: &str| truth["photo"][name].as_f64().unwrap() - 1.0;
    let (w, h) = (side("width_px"), side("height_px"));
    let turns: [fn(Point, f64, f64) -> Point; 4] = [
        |p, _, _| p,
        |p, w, _| Point::new(p.y, w - p.x),
        |p, w, h| Point::new(w - p.x, h - p.y),
        |p, _, h| Point::new(h - p.y, p.x),
    ];
    let far = |c: &Vec<Point>| (c.iter().fold(Point::default(), |m, p| m + *p) * 0.25).distance(at);
    let turned = turns.iter().map(|t| px.iter().map(|p| t(*p, w, h)).collect::<Vec<_>>());
    turned.min_by(|a, b| far(a).total_cmp(&far(b))).unwrap()
}

/// Scale at the thing itself, over the truth of its corners; the limit is the larger of the fixed one and 3.5 sigma.
fn local_error(r: &Reference, photo: &serde_json::Value, truth: &serde_json::Value) -> (f64, f64) {
    let point = |v: &serde_json::Value| Point::new(v[0].as_f64().unwrap(), v[1].as_f64().unwrap());
    let px: Vec<Point> = truth["corners_px"].as_array().unwrap().iter().map(point).collect();
    let px = as_stored(&px, photo, r.at_px);
    let mm: Vec<Point> = px.iter().map(|p| r.to_px.backward(*p)).collect();
    let (l, w) = (truth["size_mm"][0].as_f64().unwrap(), truth["size_mm"][1].as_f64().unwrap());
    let error = if r.source == Source::Ruler {
        mm[0].distance(mm[1]) / l - 1.0
    } else {
        (lowsun::geometry::signed_area(&mm).abs() / (l * w)).sqrt() - 1.0
    };
    (error, r.local_sigma)
}

#[test]
fn the_rule_and_the_coin_of_the_practice_photos_give_the_scale() {
    let Some(dir) = data("practice") else { return };
    let truth = |name: &str| -> serde_json::Value {
        serde_json::from_slice(&std::fs::read(dir.join(format!("{name}.json"))).unwrap()).unwrap()
    };
    let name = "p16-half-the-stepover";
    let (r, caveats) = search(&dir.join(format!("{name}.jpg")), &Default::default(), &only(ReferenceKind::Ruler));
    let (error, sigma) =
        local_error(&r.unwrap_or_else(|| panic!("{name}: {caveats:?}")), &truth(name), &truth(name)["refs"][0]);
    eprintln!("{name}: {:+.3} % sigma {:.3} %", 100.0 * error, 100.0 * sigma);
    // The job's own limit.
    assert!(error.abs() < 0.003, "{name}: {error}");
    let name = "p11-once-per-rev";
    let coin = Options { coin: Some(Coin::named("1 EUR").unwrap()), ..only(ReferenceKind::Coin) };
    let (r, caveats) = search(&dir.join(format!("{name}.jpg")), &Default::default(), &coin);
    let (error, sigma) =
        local_error(&r.unwrap_or_else(|| panic!("{name}: {caveats:?}")), &truth(name), &truth(name)["refs"][0]);
    eprintln!("{name}: {:+.3} % sigma {:.3} %", 100.0 * error, 100.0 * sigma);
    // A coin's edge is rounded and its side shows: 3 % at most, and within what it says of itself.
    assert!(error.abs() < 0.03 && error.abs() < 3.0 * sigma, "{name}: {error}");
}

/// Source: chart paper with 1 mm lines (de-identified records, public domain, ecg-image-kit), scanned: 14.02 px per mm by
/// the spectrum of its columns. Its lines are ticks that never end; the edge and the unit are given.
#[test]
fn chart_paper_in_millimetres_gives_its_scale_along_a_given_edge() {
    let Some(dir) = data("real/ecg-grid") else { return };
    let edge_px = Some((Point::new(150.0, 700.0), Point::new(3600.0, 700.0)));
    let options = Options { edge_px, tick: Some(Tick::Mm), ..only(ReferenceKind::Ruler) };
    let (r, caveats) = search(&dir.join("ecg00012.jpg"), &Default::default(), &options);
    let r = r.unwrap_or_else(|| panic!("{caveats:?}"));
    let px_per_mm = 1.0 / mm_per_px(&r, r.at_px);
    eprintln!("chart paper: {px_per_mm:.3} px per mm, sigma {:.2} %", 100.0 * r.local_sigma);
    let error = px_per_mm / 14.02 - 1.0;
    assert!(error.abs() < 0.01 && error.abs() < 3.5 * r.local_sigma, "{px_per_mm} px per mm");
}

/// No rule in photos that show none: ridges, grain, grids and cards are rows of lines too.
#[test]
fn ridges_and_grain_are_no_rule() {
    let Some(dir) = data("practice") else { return };
    for e in std::fs::read_dir(dir).unwrap() {
        let path = e.unwrap().path();
        if path.extension().is_none_or(|e| e != "jpg") || path.to_string_lossy().contains("p16") {
            continue;
        }
        let (r, _) = search(&path, &Default::default(), &only(ReferenceKind::Ruler));
        assert!(r.is_none(), "{}: a rule", path.display());
    }
}

fn kept(q: &Quick, name: &str) -> PathBuf {
    let dir = std::env::temp_dir().join(format!("lowsun-others-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let path = dir.join(format!("{name}.jpg"));
    std::fs::write(&path, &q.jpeg).unwrap();
    path
}

/// A pocket of 90 x 54 mm, no card beside it, nothing in the plan: one scale in two would be 5 % off.
#[test]
fn a_pocket_of_nearly_a_cards_size_is_no_card() {
    for seed in [36001, 36002] {
        let mut s = draw_with(seed, Some("cusps"), Size::Small, Lying::Nothing);
        s.outline = Outline::Rect;
        (s.size, s.letters, s.chips) = ([86.4 + 4.0, 54.5 + 4.0], None, 0);
        (s.tool.d, s.light.el, s.depth) = (6.35, 12.0, 3.0);
        (s.clutter, s.camera.expo, s.camera.tilt) = (vec![], 0.5, 6.0);
        let q = quick_photo(s);
        let (r, _) = search(&kept(&q, &format!("pocket-{seed}")), &Default::default(), &only(ReferenceKind::Card));
        assert!(r.is_none(), "seed {seed}: the pocket passed for a card");
    }
}

fn sweep(kind: &str, count: u64, first: u64) {
    let (mut errors, mut z, mut shown) = (vec![], vec![], 0);
    for seed in first..first + count {
        let n = seed as usize;
        let (lying, mut options) = if kind == "coin" {
            let coin = Coin::named(COINS[n % COINS.len()].1).unwrap();
            (RefKind::Coin(n % COINS.len()), Options { coin: Some(coin), ..only(ReferenceKind::Coin) })
        } else {
            (RefKind::Rule(n % RULES.len()), only(ReferenceKind::Ruler))
        };
        options.no_search = false;
        let q = quick(seed, Size::Small, Lying::Only(lying));
        if q.spec.refs.is_empty() {
            continue;
        }
        shown += 1;
        let path = kept(&q, &format!("{kind}-{seed}"));
        let (plan, _) = plan::gather(None, &Default::default()).unwrap();
        let (r, caveats) = search(&path, &plan, &options);
        let truth = &q.truth["refs"][0];
        match r {
            None => println!("{seed} {}: none {caveats:?}", truth["kind"]),
            Some(r) => {
                let (e, s) = local_error(&r, &q.truth, truth);
                println!(
                    "{seed} {}: {:+.3} % sigma {:.3} %, tilt {}",
                    truth["kind"],
                    100.0 * e,
                    100.0 * s,
                    q.truth["tilt_deg"]
                );
                errors.push(e.abs());
                z.push(e / s);
            }
        }
        std::fs::remove_file(path).unwrap();
    }
    errors.sort_by(f64::total_cmp);
    let at = |p: f64| 100.0 * errors.get((p * errors.len() as f64) as usize).copied().unwrap_or(f64::NAN);
    let rms = (z.iter().map(|z| z * z).sum::<f64>() / z.len().max(1) as f64).sqrt();
    println!(
        "{kind}: {} of {shown} found; error median {:.3} %, 90 % {:.3} %, largest {:.3} %; in sigmas rms {rms:.2}, beyond 3.5: {}",
        errors.len(),
        at(0.5),
        at(0.9),
        at(0.9999),
        z.iter().filter(|z| z.abs() > 3.5).count()
    );
    // Beyond 3.5 sigmas: under one in a thousand of normal errors.
    assert!(z.iter().all(|z| z.abs() < 3.5), "{kind}: errors in sigmas {z:?}");
}

fn number(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().and_then(|t| t.parse().ok()).unwrap_or(otherwise)
}

#[test]
fn sweep_of_coins() {
    sweep("coin", number("COUNT", 3), number("FIRST", 37000));
}

#[test]
fn sweep_of_rules() {
    sweep("rule", number("COUNT", 3), number("FIRST", 38000));
}
