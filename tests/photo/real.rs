//! Photos and malformed files made by others, outside this tree: they are read where LOWSUN_CHECK_DATA points.

use lowsun::photo::{Options, Photo, read};
use std::io::Read;
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// A folder of check data, or a printed reason why the test does nothing.
fn check_data(sub: &str) -> Option<PathBuf> {
    match std::env::var_os("LOWSUN_CHECK_DATA") {
        Some(d) => Some(PathBuf::from(d).join(sub)),
        None => {
            println!("skipped: LOWSUN_CHECK_DATA is not set, and {sub} lies outside this tree");
            None
        }
    }
}

/// Mean code value of each colour.
fn means(p: &Photo) -> [f64; 3] {
    let n = (p.width * p.height) as f64;
    [0, 1, 2].map(|k| p.rgb.pixels().map(|q| f64::from(q[k])).sum::<f64>() / n)
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
        let (p, caveats) = read(&path, &Options::default()).unwrap();
        assert_eq!(p.width as u64, truth["photo"]["width_px"].as_u64().unwrap(), "{path:?}");
        assert_eq!(p.height as u64, truth["photo"]["height_px"].as_u64().unwrap(), "{path:?}");
        assert!(caveats.is_empty(), "{path:?}: {caveats:?}");
        assert!(p.has_colour, "{path:?}");
        assert_eq!(p.camera.taken.is_some(), truth["photo"]["exif"] != "none", "{path:?}");
        assert_eq!(p.camera.f35_mm.is_some(), truth["photo"]["exif"] == "full", "{path:?}");
        if let Some(f) = p.focal_px() {
            // The 35 mm equivalent is written in whole millimetres: half of one in 26 is 2 %.
            let f_true = truth["f_px"].as_f64().unwrap();
            assert!((f / f_true - 1.0).abs() < 0.021, "{path:?}: {f} px, truth {f_true} px");
        }
        seen += 1;
    }
    assert!(seen > 0, "no photo in {folder:?}");
}

/// Mean difference of light.
fn apart(a: &[f32], b: &[f32]) -> f64 {
    a.iter().zip(b).map(|(a, b)| f64::from(a - b).abs()).sum::<f64>() / a.len() as f64
}

#[test]
fn eight_orientations_of_one_photo_are_one_picture() {
    let Some(folder) = check_data("real/exif-odd") else { return };
    for kind in ["landscape", "portrait"] {
        let photo = |o: u32| {
            let path = folder.join(format!("orientation_{kind}_{o}.jpg"));
            read(&path, &Options::default()).unwrap().0
        };
        let first = photo(1);
        let mut turned = first.luma.data.clone();
        turned.reverse();
        assert!(apart(&turned, &first.luma.data) > 0.1, "the picture would not show a wrong turn");
        for o in 2..=8 {
            let p = photo(o);
            assert_eq!((p.width, p.height), (first.width, first.height), "{kind} {o}");
            // The eight were compressed one by one (their light differs by 0.011 at most in the mean).
            let light = apart(&p.luma.data, &first.luma.data);
            assert!(light < 0.02, "{kind} {o}: mean difference of light {light}");
        }
    }
}

#[test]
fn broken_camera_notes_do_not_stop_a_photo() {
    let Some(folder) = check_data("real/exif-odd") else { return };
    let mut seen = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if name.ends_with(".jpg") {
            match read(&path, &Options::default()) {
                Ok((p, c)) => println!("{name}: {} x {}, {:?}, {c:?}", p.width, p.height, p.camera),
                Err(e) => assert!(e.to_string().contains("too small"), "{name}: {e}"),
            }
            seen += 1;
        }
    }
    assert!(seen >= 26, "{seen} files");
}

#[test]
fn of_a_phones_double_picture_the_first_is_read_upright() {
    let Some(folder) = check_data("real/wood-relief") else { return };
    let (p, c) = read(&folder.join("relief.jpg"), &Options::default()).unwrap();
    assert_eq!((p.width, p.height), (3024, 4032));
    assert!(c.is_empty(), "{c:?}");
}

/// References: EXPECT.tsv beside the files (pillow-heif 1.x on libheif, colours as stored); for the two photos in
/// Display P3 LittleCMS 2.19 through Pillow 13.0.0 (ImageCms, relative colorimetric) on what pillow-heif 1.8.1 decodes.
/// 0.6 code values: the decoders interpolate colour between its half-resolution samples differently.
#[test]
fn heic_agrees_with_another_decoder() {
    const IN_SRGB: [(&str, [f64; 3]); 2] =
        [("arrow.heic", [164.126, 159.121, 154.515]), ("pug.heic", [163.713, 159.357, 152.452])];
    let Some(folder) = check_data("real/heic") else { return };
    let mut photos = 0;
    for line in std::fs::read_to_string(folder.join("EXPECT.tsv")).unwrap().lines().skip(1) {
        let field: Vec<&str> = line.split('\t').collect();
        let name = field[0];
        let result = read(&folder.join(name), &Options::default());
        match name {
            // Too small for a floor, damaged, or without a picture: a clear error.
            "RGB_8__29x100.heif" | "corrupted.heic" | "corrupted.hif" | "truncated.heic" => {
                let e = result.unwrap_err().to_string();
                assert!(e.contains("try: ") && (e.contains("damaged") || e.contains("too small")), "{e}");
            }
            // Its main picture's number is wrong: decoders take one or the other of its pictures.
            "invalid_id.heic" => {}
            _ => {
                let (p, _) = result.unwrap();
                assert_eq!([p.width.to_string(), p.height.to_string()], field[1..3], "{name}");
                let stored = [3, 4, 5].map(|i| field[i].parse::<f64>().unwrap());
                let expected = IN_SRGB.iter().find(|(n, _)| *n == name).map_or(stored, |(_, m)| *m);
                // Few pixels, 10 bits: edges weigh more.
                let limit = if p.width < 1000 { 1.2 } else { 0.6 };
                for (got, want) in means(&p).iter().zip(expected) {
                    assert!((got - want).abs() < limit, "{name}: {:?} against {expected:?}", means(&p));
                }
                photos += usize::from(p.width > 1000);
            }
        }
    }
    assert_eq!(photos, 3);
}

/// 3,695 malformed pictures by others: each is read or refused with a clear error, soon, in bounded memory.
#[test]
fn malformed_pictures_are_refused_or_read_but_never_break() {
    let Some(folder) = check_data("real/fuzz-images") else { return };
    let work = tempfile::TempDir::new().unwrap();
    let path = work.path().join("picture");
    let options = Options { max_pixels: 20_000_000 };
    let (mut read_well, mut refused, mut slowest) = (0, 0, (Duration::ZERO, String::new()));
    for entry in std::fs::read_dir(&folder).unwrap() {
        let archive = entry.unwrap().path();
        if archive.extension().is_none_or(|e| e != "gz") {
            continue;
        }
        let mut tar = tar::Archive::new(flate2::read::GzDecoder::new(std::fs::File::open(&archive).unwrap()));
        for member in tar.entries().unwrap() {
            let mut member = member.unwrap();
            if !member.header().entry_type().is_file() {
                continue;
            }
            let name = member.path().unwrap().display().to_string();
            let mut data = Vec::new();
            member.read_to_end(&mut data).unwrap();
            std::fs::write(&path, data).unwrap();
            let start = Instant::now();
            match read(&path, &options) {
                Ok((p, _)) => {
                    assert_eq!(p.rgb.as_raw().len(), 3 * p.luma.data.len(), "{name}");
                    assert!(p.luma.data.iter().all(|v| (0.0..=1.0001).contains(v)), "{name}");
                    read_well += 1;
                }
                Err(e) => {
                    let e = e.to_string();
                    assert!(e.starts_with("reading the photo: ") && e.contains("try: "), "{name}: {e}");
                    refused += 1;
                }
            }
            if start.elapsed() > slowest.0 {
                slowest = (start.elapsed(), name);
            }
        }
    }
    println!("{read_well} read, {refused} refused; slowest {:?} ({})", slowest.0, slowest.1);
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        // 20 MP need 140 MB for the result and at most 320 MB in a decoder.
        let peak = status.lines().find_map(|l| l.strip_prefix("VmHWM:")).unwrap_or_default();
        println!("peak memory {}", peak.trim());
        let kb: u64 = peak.trim().trim_end_matches(" kB").parse().unwrap_or(0);
        assert!(kb < 2_000_000, "{kb} kB");
    }
    assert!(refused > 500 && read_well > 10, "{read_well} read, {refused} refused");
}
