//! Photos and malformed files made by others, outside this tree: they are read where LOWSUN_CHECK_DATA points.

use lowsun::photo::{Options, read};
use std::path::PathBuf;

/// The folder of check data, or a printed reason why the test does nothing.
fn check_data(sub: &str) -> Option<PathBuf> {
    match std::env::var_os("LOWSUN_CHECK_DATA") {
        Some(d) => Some(PathBuf::from(d).join(sub)),
        None => {
            println!("skipped: LOWSUN_CHECK_DATA is not set, and {sub} lies outside this tree");
            None
        }
    }
}

#[test]
fn practice_photos_have_the_size_and_focal_length_of_their_truth() {
    let Some(folder) = check_data("practice") else { return };
    let mut seen = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "jpg") {
            continue;
        }
        let truth: serde_json::Value =
            serde_json::from_slice(&std::fs::read(path.with_extension("json")).unwrap()).unwrap();
        let truth = &truth["photo"];
        let (photo, caveats) = read(&path, &Options::default()).unwrap();
        assert_eq!(photo.width as u64, truth["width_px"].as_u64().unwrap(), "{path:?}");
        assert_eq!(photo.height as u64, truth["height_px"].as_u64().unwrap(), "{path:?}");
        assert!(caveats.is_empty(), "{path:?}: {caveats:?}");
        println!("{} {:?} {truth}", photo.file, photo.camera);
        seen += 1;
    }
    assert!(seen > 0, "no photo in {folder:?}");
}

#[test]
fn heic_agrees_with_another_decoder() {
    let Some(folder) = check_data("real/heic") else { return };
    for line in std::fs::read_to_string(folder.join("EXPECT.tsv")).unwrap().lines().skip(1) {
        let field: Vec<&str> = line.split('\t').collect();
        match read(&folder.join(field[0]), &Options::default()) {
            Ok((p, c)) => {
                let n = (p.width * p.height) as f64;
                let mean = |k: usize| p.rgb.pixels().map(|q| f64::from(q[k])).sum::<f64>() / n;
                println!(
                    "{line} | {} {} {:.3} {:.3} {:.3} {:?} {c:?}",
                    p.width,
                    p.height,
                    mean(0),
                    mean(1),
                    mean(2),
                    p.camera
                );
            }
            Err(e) => println!("{line} | {e}"),
        }
    }
}
