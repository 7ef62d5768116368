//! The reader of cutting files against files made by others, against a second reading of a made-up file (numpy), against
//! the made scenes' own paths, and against rubbish.

mod support;

use lowsun::toolpath::{FirstPass, Floor, Known, PassPattern, Toolpath, floor, parse, read};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use std::path::{Path, PathBuf};
use support::outline::Walls;
use support::samples::samples;

fn check_data() -> Option<PathBuf> {
    let dir = std::env::var_os("LOWSUN_CHECK_DATA").map(PathBuf::from);
    if dir.is_none() {
        println!("skipped: LOWSUN_CHECK_DATA is not set, so the files made by others are not there");
    }
    dir
}

fn near(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance
}

/// numpy's reading of the same file (tests/truth/toolpath.py). Lengths: it sums chords of arcs, short by a millionth.
/// Shares and the full-width length: both look at some thousand places, one place is 0.25 mm of 759.
#[test]
fn a_made_up_pocket_reads_as_numpy_reads_it() {
    let truth: Value = serde_json::from_str(&std::fs::read_to_string("tests/truth/pocket.json").unwrap()).unwrap();
    let t = |k: &str| truth[k].as_f64().unwrap();
    let (path, caveats) = read(Path::new("tests/truth/pocket.ngc")).unwrap();
    assert!(caveats.is_empty(), "{caveats:?}");
    for (have, key) in [
        (path.totals.line_mm, "line_mm"),
        (path.totals.counterclockwise_mm, "counterclockwise_mm"),
        (path.totals.rapid_mm, "rapid_mm"),
        (path.totals.cut_min, "cut_min"),
    ] {
        assert!(near(have / t(key), 1.0, 1e-5), "{key}: {have}, numpy {}", t(key));
    }
    let f = floor(&path, &Known { cutter_mm: Some(6.0), depth_mm: None }).unwrap();
    assert!(near(f.length_mm / t("floor_mm"), 1.0, 1e-5));
    assert!(near(f.spacings[0].mm, t("spacing_mm"), 0.005), "{:?}", f.spacings);
    assert!(near(f.spacings[0].share, t("spacing_share"), 0.01), "{:?}", f.spacings);
    assert!(near(f.climb_share.unwrap(), t("climb_share"), 0.01) && near(f.full_width_mm, t("full_width_mm"), 2.0));
    for (k, v) in [f.box_mm[0].x, f.box_mm[0].y, f.box_mm[1].x, f.box_mm[1].y].into_iter().enumerate() {
        assert!(near(v, truth["box_mm"][k].as_f64().unwrap(), 1e-6));
    }
    // By construction of that file.
    assert_eq!((f.pattern, f.first_pass), (Some(PassPattern::Contour), Some(FirstPass::InTheMiddle)));
    assert!(near(f.depth_mm.unwrap(), 2.2, 1e-9) && near(f.skim_mm.unwrap(), 0.2, 1e-9) && !f.is_rectangle);
    assert_eq!((f.feed_mm_min, f.speed_rpm, f.tool), (Some(1800.0), Some(16000.0), Some(1)));
}

/// Facts of files made by others, read off them by hand (first and last lane over their count, F and S words, Z words)
/// or from what stands beside them.
#[test]
fn files_made_by_others_are_read_as_they_stand() {
    let Some(dir) = check_data() else { return };
    let real = dir.join("real");
    let open = |name: &str, cutter: f64| -> (Toolpath, Floor) {
        let (p, caveats) = read(&real.join(name)).unwrap_or_else(|e| panic!("{e}"));
        assert!(caveats.is_empty(), "{name}: {caveats:?}");
        let f = floor(&p, &Known { cutter_mm: Some(cutter), depth_mm: None }).unwrap();
        (p, f)
    };
    // A faced board: Y54.616 to Y359.015 in 55 lanes, 5.637 apart, to and fro, Z-2, 6 mm cutter, S14000, F350.
    let (p, f) = open("faced-guitar-blank/FaceTop.nc", 6.0);
    assert_eq!((f.pattern, f.both_ways, f.passes), (Some(PassPattern::Parallel), Some(true), 55));
    assert!(near(f.spacings[0].mm, 5.637, 0.002) && near(f.pass_angle_deg.unwrap(), 0.0, 0.01));
    assert_eq!((f.depth_mm, f.feed_mm_min, f.speed_rpm), (Some(2.0), Some(350.0), Some(14000.0)));
    // 55 lanes of 425 mm, the way in of 3.3 mm, the way down of 2 x 0.6 + 6.4 and 54 half circles of 2.819 mm.
    assert!(near(p.totals.line_mm, 55.0 * 425.0 + 3.3 + 6.4, 1.0), "{:?}", p.totals);
    let arcs = p.totals.clockwise_mm + p.totals.counterclockwise_mm;
    assert!(near(arcs, 54.0 * std::f64::consts::PI * 2.8185 + std::f64::consts::PI * 0.6, 0.5), "{arcs}");
    let (_, f) = open("faced-guitar-blank/FaceBottom.nc", 6.0);
    assert!(near(f.spacings[0].mm, 5.67, 0.002) && f.depth_mm == Some(4.0) && f.feed_mm_min == Some(420.0));
    // A pocket in steps of 2 mm and a last one of 1, loops from the middle outwards, G3 with the spindle clockwise.
    let (_, f) = open("faced-guitar-blank/NeckPocket.nc", 6.0);
    assert_eq!((f.pattern, f.first_pass), (Some(PassPattern::Contour), Some(FirstPass::InTheMiddle)));
    assert!(near(f.depth_mm.unwrap(), 19.0, 1e-6) && f.skim_mm.is_none() && near(f.last_layer_mm.unwrap(), 1.0, 1e-6));
    // Corners of neighbouring loops: 96.782 to 102.105 and so on is 4.685 to 4.893 along x; the commonest is 4.9.
    assert!(near(f.spacings[0].mm, 4.9, 0.05) && f.climb_share.unwrap() > 0.99 && f.levels.len() == 10, "{f:?}");
    // A sloping face: lanes along x every 3 mm.
    let (_, f) = open("faced-guitar-blank/SlopeParallel.nc", 6.0);
    assert!(f.z_mm.is_none() && near(f.spacings[0].mm, 3.0, 0.002) && f.pattern == Some(PassPattern::Parallel));
    let (_, f) = open("faced-guitar-blank/SlopePocket.nc", 6.0);
    assert_eq!((f.pattern, f.levels.len(), f.speed_rpm), (Some(PassPattern::Contour), 7, Some(14000.0)));
    // A dial: rings on its face at Z4 about 1.89 mm apart, irregular on the outer half of the top one; 2 mm cutter.
    let (_, f) = open("cast-dial/01-dial-mold-bottom-2mm.gcode", 2.0);
    assert!(near(f.z_mm.unwrap(), 4.0, 0.001) && near(f.spacings[0].mm, 1.89, 0.01) && f.spacings[0].share > 0.6);
    assert_eq!((f.pattern, f.depth_mm, f.speed_rpm), (Some(PassPattern::Contour), None, Some(16400.0)));
    let (_, f) = open("cast-dial/03-dial-mold-top-2mm.gcode", 2.0);
    assert!(near(f.z_mm.unwrap(), 4.0, 0.001) && near(f.spacings[0].mm, 1.89, 0.01) && f.spacings[0].share < 0.5);
    // A relief: 281 rows along x every 0.317 mm, by the second tool.
    let (p, f) = open("wood-relief/relief.nc", 3.175);
    assert!(
        f.z_mm.is_none() && near(f.spacings[0].mm, 0.317, 0.001) && f.passes == 281,
        "{} {:?}",
        f.passes,
        f.spacings
    );
    assert_eq!((f.tool, f.both_ways, f.speed_rpm), (Some(6), Some(true), Some(14000.0)));
    let reach = p.moves.iter().filter(|m| m.is_cut()).map(|m| m.end_mm[0]).fold(f64::MIN, f64::max);
    assert!(near(reach, 63.5, 1e-9));
}

/// The samples with a cutting file: it is their scene's own path (`REGENERATE=1` writes it anew), and what is read from
/// it is what their scene was cut with.
#[test]
fn the_samples_cutting_files_give_back_the_scenes() {
    let mut seen = 0;
    for (name, spec) in samples() {
        if !["pine-skim-01", "oak-letters-01"].contains(&name) {
            continue;
        }
        seen += 1;
        let file = Path::new("sample-images").join(name).join("cut.ngc");
        let text = support::ngc::ngc(&spec, &Walls::new(&spec), name);
        if std::env::var_os("REGENERATE").is_some() {
            std::fs::write(&file, &text).unwrap();
        }
        assert!(std::fs::read_to_string(&file).unwrap() == text, "{} is not the scene's path", file.display());
        let (path, caveats) = read(&file).unwrap();
        assert!(caveats.is_empty(), "{name}: {caveats:?}");
        let f = floor(&path, &Known { cutter_mm: Some(spec.tool.d), depth_mm: None }).unwrap();
        assert!(near(f.depth_mm.unwrap(), spec.depth, 1e-6), "{name}: {:?}", f.depth_mm);
        // The maker follows walls on a grid of 0.2 mm.
        assert!(near(f.spacings[0].mm, spec.stepover, 0.02), "{name}: {:?}", f.spacings);
        assert_eq!((f.feed_mm_min, f.speed_rpm), (Some(spec.feed), Some(spec.rpm)), "{name}");
        assert_eq!(f.skim_mm.is_some(), spec.skim, "{name}: {:?}", f.last_layer_mm);
        if name == "pine-skim-01" {
            // Its first pass, the only one with stock on both sides: 120 mm less the walls' 2 mm and the cutter's 3 mm
            // at either end.
            assert!(near(f.full_width_mm, 110.0, 2.0), "{}", f.full_width_mm);
        }
        let contour = matches!(spec.pattern, support::spec::Pattern::Contour { .. });
        assert_eq!(f.pattern == Some(PassPattern::Contour), contour, "{name}: {:?}", f.pattern);
    }
    assert_eq!(seen, 2);
}

/// Whatever the bytes: an error with a reason, or moves with finite numbers; never a panic.
fn must_not_panic(text: &str) {
    match parse(text, "rubbish") {
        Ok((p, _)) => {
            assert!(p.moves.iter().all(|m| m.end_mm.iter().chain(&m.start_mm).all(|v| v.is_finite())));
            assert!(p.totals.cut_mm().is_finite());
            let _ = floor(&p, &Known { cutter_mm: Some(6.0), depth_mm: Some(2.2) });
        }
        Err(e) => {
            let told = e.to_string();
            assert!(told.contains("line ") || told.contains("no cutting move"), "{told}");
        }
    }
}

#[test]
fn rubbish_is_refused_and_never_panics() {
    let mut rng = ChaCha8Rng::seed_from_u64(20261125);
    for _ in 0..300 {
        let n = rng.random_range(0..400);
        let bytes: Vec<u8> = (0..n).map(|_| rng.random()).collect();
        must_not_panic(&String::from_utf8_lossy(&bytes));
        const WORDS: &[u8] = b"GGGMXYZIJKRFSTPQLNO#[]=+-*/.0123456789 ()%;\nabsinmod";
        let words: Vec<u8> = (0..n).map(|_| WORDS[rng.random_range(0..WORDS.len())]).collect();
        must_not_panic(&String::from_utf8_lossy(&words));
    }
    // A whole file with a few bytes changed, taken out, doubled or swapped.
    let whole: Vec<u8> = std::fs::read("tests/truth/pocket.ngc").unwrap().into_iter().take(1000).collect();
    for _ in 0..300 {
        let mut b = whole.clone();
        for _ in 0..rng.random_range(1..6) {
            let k = rng.random_range(0..b.len());
            match rng.random_range(0..4) {
                0 => b[k] = rng.random(),
                1 => drop(b.remove(k)),
                2 => b.insert(k, b[k]),
                _ => b[k] = whole[rng.random_range(0..whole.len())],
            }
        }
        must_not_panic(&String::from_utf8_lossy(&b));
    }
    for text in ["G1 X1\n".repeat(3), "G2 X0 Y0 I0 J0".into(), "G81 X1 Y1 Z-1 R1 L9999".into(), "G1 X1 F1e9".into()] {
        must_not_panic(&text);
    }
}
