//! Files made here, so that what they hold is known.

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ExtendedColorType, ImageBuffer, ImageEncoder, ImageFormat, Luma, Rgb, RgbImage, Rgba};
use lowsun::caveat::Caveat;
use lowsun::error::Error;
use lowsun::photo::{LUMINANCE, Options, Photo, from_linear, read, to_linear};
use std::path::Path;
use tempfile::TempDir;

/// A picture with no symmetry: smooth, so that JPEG keeps it to a few code values.
fn picture(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        Rgb([(40 + 180 * x / width) as u8, (30 + 200 * y / height) as u8, (60 + 120 * x * y / (width * height)) as u8])
    })
}

/// One entry of an EXIF directory: tag, type (2 text, 3 short, 4 long), values.
enum Entry<'a> {
    Short(u16, u16),
    Long(u16, u32),
    Text(u16, &'a str),
}

/// A little-endian TIFF block with two directories, the second under the EXIF pointer (CIPA DC-008).
fn exif_block(first: &[Entry], second: &[Entry]) -> Vec<u8> {
    let mut block = b"II*\0\x08\0\0\0".to_vec();
    let pointer = 8 + directory_size(first) + 12;
    let mut head = directory(first, 8, Some((0x8769, pointer as u32)));
    block.append(&mut head);
    block.append(&mut directory(second, pointer as u32, None));
    block
}

fn directory_size(entries: &[Entry]) -> usize {
    let text: usize = entries.iter().map(|e| if let Entry::Text(_, t) = e { t.len().max(4) + 1 } else { 0 }).sum();
    2 + 12 * entries.len() + 4 + text
}

fn directory(entries: &[Entry], at: u32, pointer: Option<(u16, u32)>) -> Vec<u8> {
    let n = entries.len() + usize::from(pointer.is_some());
    let mut text_at = at + 2 + 12 * n as u32 + 4;
    let (mut out, mut tail) = ((n as u16).to_le_bytes().to_vec(), Vec::new());
    let mut put = |tag: u16, kind: u16, count: u32, value: u32| {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        out.extend(value.to_le_bytes());
    };
    for e in entries {
        match *e {
            Entry::Short(tag, v) => put(tag, 3, 1, u32::from(v)),
            Entry::Long(tag, v) => put(tag, 4, 1, v),
            Entry::Text(tag, t) => {
                // Padded so that it never fits into the entry itself.
                let mut bytes = t.as_bytes().to_vec();
                bytes.resize(t.len().max(4) + 1, 0);
                put(tag, 2, bytes.len() as u32, text_at);
                text_at += bytes.len() as u32;
                tail.extend(bytes);
            }
        }
    }
    if let Some((tag, offset)) = pointer {
        put(tag, 4, 1, offset);
    }
    out.extend([0; 4]);
    out.extend(tail);
    out
}

fn jpeg(picture: &RgbImage, exif: Option<Vec<u8>>) -> Vec<u8> {
    let mut out = Vec::new();
    let mut e = JpegEncoder::new_with_quality(&mut out, 98);
    if let Some(exif) = exif {
        e.set_exif_metadata(exif).unwrap();
    }
    e.write_image(picture, picture.width(), picture.height(), ExtendedColorType::Rgb8).unwrap();
    out
}

/// Saves the bytes under a name in a fresh folder and reads them.
fn read_bytes(name: &str, data: &[u8]) -> Result<(Photo, Vec<Caveat>), Error> {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, data).unwrap();
    read(&path, &Options::default())
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut out = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut out, format).unwrap();
    out.into_inner()
}

/// Largest difference of code values; pictures of different size differ by 255.
fn difference(a: &RgbImage, b: &RgbImage) -> u8 {
    if a.dimensions() != b.dimensions() {
        return 255;
    }
    a.as_raw().iter().zip(b.as_raw()).map(|(a, b)| a.abs_diff(*b)).max().unwrap()
}

/// Reference: the `image` crate's own orientation code.
#[test]
fn all_eight_orientations_stand_upright() {
    let stored = picture(96, 64);
    for o in 1..=8u8 {
        let mut expected = DynamicImage::ImageRgb8(stored.clone());
        expected.apply_orientation(Orientation::from_exif(o).unwrap());
        let expected = expected.into_rgb8();
        let block = exif_block(&[Entry::Short(0x0112, u16::from(o))], &[]);
        let (p, c) = read_bytes("a.jpg", &jpeg(&stored, Some(block))).unwrap();
        assert!(c.is_empty(), "{c:?}");
        assert!(difference(&p.rgb, &expected) <= 6, "orientation {o}: {}", difference(&p.rgb, &expected));
        assert_eq!((p.luma.width, p.luma.height), (p.width, p.height));
        for (x, y) in [(0, 0), (p.width - 1, 0), (7, p.height - 1)] {
            let [r, g, b] = p.rgb.get_pixel(x as u32, y as u32).0.map(|v| to_linear(f64::from(v) / 255.0));
            let luma = LUMINANCE[0] * r + LUMINANCE[1] * g + LUMINANCE[2] * b;
            assert!((luma - f64::from(p.luma.at(x, y))).abs() < 1e-6);
        }
    }
}

#[test]
fn an_orientation_outside_one_to_eight_counts_as_upright() {
    let block = exif_block(&[Entry::Short(0x0112, 77)], &[]);
    let (p, _) = read_bytes("a.jpg", &jpeg(&picture(96, 64), Some(block))).unwrap();
    assert_eq!((p.width, p.height), (96, 64));
}

#[test]
fn camera_facts_come_without_place_serial_or_owner() {
    let block = exif_block(
        &[
            Entry::Text(0x010f, "Madeup  "),
            Entry::Text(0x0110, "Box 3"),
            Entry::Text(0x013b, "Owner Nameless"),
            Entry::Short(0x0112, 1),
        ],
        &[
            Entry::Text(0x9003, "2026:03:04 05:06:07"),
            Entry::Text(0xa430, "Owner Nameless"),
            Entry::Text(0xa431, "SN-12345"),
            Entry::Short(0xa405, 26),
            Entry::Long(0xa002, 96),
            Entry::Long(0xa003, 64),
        ],
    );
    let (p, c) = read_bytes("a.jpg", &jpeg(&picture(96, 64), Some(block))).unwrap();
    assert!(c.is_empty(), "{c:?}");
    let json = serde_json::to_value(&p.camera).unwrap();
    let expected =
        serde_json::json!({"make": "Madeup", "model": "Box 3", "taken": "2026-03-04T05:06:07", "f35_mm": 26.0});
    assert_eq!(json, expected);
}

#[test]
fn focal_lengths_that_say_nothing_are_left_out() {
    for (f35, expected) in [(0, None), (2, None), (1001, None), (5, Some(5.0)), (77, Some(77.0))] {
        let block = exif_block(&[Entry::Short(0x0112, 1)], &[Entry::Short(0xa405, f35)]);
        let (p, _) = read_bytes("a.jpg", &jpeg(&picture(96, 64), Some(block))).unwrap();
        assert_eq!(p.camera.f35_mm, expected, "{f35}");
    }
}

#[test]
fn a_crop_takes_the_focal_length_away_and_says_so() {
    for (recorded, cropped) in [((960, 640), false), ((640, 960), false), ((960, 540), true)] {
        let second = [Entry::Short(0xa405, 26), Entry::Long(0xa002, recorded.0), Entry::Long(0xa003, recorded.1)];
        let block = exif_block(&[Entry::Short(0x0112, 1)], &second);
        let (p, c) = read_bytes("a.jpg", &jpeg(&picture(96, 64), Some(block))).unwrap();
        assert_eq!(p.camera.f35_mm.is_none(), cropped, "{recorded:?}");
        assert_eq!(c.iter().any(|c| c.id == "photo-cropped"), cropped);
    }
}

#[test]
fn a_broken_exif_block_is_a_caveat() {
    for block in [&b"garbage, not a TIFF block"[..], b"II*\0\xff\xff\xff\x7f"] {
        let data = jpeg(&picture(96, 64), Some(block.to_vec()));
        let (p, c) = read_bytes("a.jpg", &data).unwrap();
        assert_eq!((p.width, p.height), (96, 64));
        assert_eq!(c.iter().map(|c| c.id).collect::<Vec<_>>(), ["exif-unreadable"], "{block:?}");
    }
}

#[test]
fn sixteen_bits_keep_their_steps_in_luminance() {
    let ramp = ImageBuffer::<Luma<u16>, _>::from_fn(256, 64, |x, _| Luma([30_000 + x as u16]));
    let (p, _) = read_bytes("a.png", &encoded(&DynamicImage::ImageLuma16(ramp), ImageFormat::Png)).unwrap();
    assert!(!p.has_colour);
    for x in [0usize, 1, 100, 255] {
        let light = to_linear((30_000 + x) as f64 / 65_535.0);
        assert!((f64::from(p.luma.at(x, 3)) - light).abs() < 3e-8, "{x}");
    }
    assert!(p.luma.row(0).windows(2).all(|w| w[1] > w[0]), "neighbouring 16-bit codes must differ");
    let rgb = ImageBuffer::<Rgb<u16>, _>::from_fn(70, 64, |x, y| Rgb([257 * x as u16, 20_000 + y as u16, 999]));
    let (p, _) = read_bytes("a.tif", &encoded(&DynamicImage::ImageRgb16(rgb), ImageFormat::Tiff)).unwrap();
    assert_eq!(p.rgb.get_pixel(5, 0).0, [5, 78, 4]);
    assert!(p.luma.at(9, 1) > p.luma.at(9, 0));
}

#[test]
fn lossless_kinds_give_the_same_picture() {
    let stored = DynamicImage::ImageRgb8(picture(96, 64));
    for format in [ImageFormat::Png, ImageFormat::Tiff, ImageFormat::WebP] {
        // The name never decides.
        let (p, c) = read_bytes("a.jpg", &encoded(&stored, format)).unwrap();
        assert!(c.is_empty() && p.has_colour);
        assert_eq!(p.rgb, picture(96, 64), "{format:?}");
    }
}

#[test]
fn a_see_through_picture_lies_on_white() {
    let half = ImageBuffer::<Rgba<u8>, _>::from_pixel(64, 64, Rgba([100, 0, 200, 51]));
    let (p, _) = read_bytes("a.png", &encoded(&DynamicImage::ImageRgba8(half), ImageFormat::Png)).unwrap();
    assert_eq!(p.rgb.get_pixel(1, 1).0, [224, 204, 244]);
}

#[test]
fn grey_is_seen_as_grey_even_in_rgb() {
    let grey = RgbImage::from_fn(96, 64, |x, y| Rgb([(x + y) as u8; 3]));
    assert!(!read_bytes("a.jpg", &jpeg(&grey, None)).unwrap().0.has_colour);
    assert!(read_bytes("a.jpg", &jpeg(&picture(96, 64), None)).unwrap().0.has_colour);
}

#[test]
fn of_two_pictures_in_one_file_the_first_is_read() {
    let mut data = jpeg(&picture(96, 64), None);
    data.extend(jpeg(&RgbImage::new(200, 100), None));
    let (p, c) = read_bytes("a.jpg", &data).unwrap();
    assert!(difference(&p.rgb, &picture(96, 64)) <= 6 && c.is_empty());
}

/// A cut file must never become a grey floor.
#[test]
fn a_file_cut_short_is_refused_wherever_it_is_cut() {
    let files = [
        ("a.jpg", jpeg(&picture(160, 120), None)),
        ("a.png", encoded(&DynamicImage::ImageRgb8(picture(160, 120)), ImageFormat::Png)),
        ("a.tif", encoded(&DynamicImage::ImageRgb8(picture(160, 120)), ImageFormat::Tiff)),
        ("a.webp", encoded(&DynamicImage::ImageRgb8(picture(160, 120)), ImageFormat::WebP)),
    ];
    for (name, data) in files {
        for part in 1..40 {
            let n = data.len() * part / 40;
            let e = read_bytes(name, &data[..n]).expect_err(name).to_string();
            assert!(e.starts_with("reading the photo: ") && e.contains("try: "), "{e}");
            assert!(e.contains(&n.to_string()), "{name} cut at {n}: {e}");
        }
    }
    let e = read_bytes("a.jpg", &jpeg(&picture(160, 120), None)[..2000]).unwrap_err().to_string();
    assert!(e.contains("cut short: it stops at byte 2000"), "{e}");
}

/// Damaged bytes may pass where they only change colours, and must otherwise be refused; nothing may break.
#[test]
fn damaged_bytes_never_panic() {
    let whole = jpeg(&picture(160, 120), None);
    let mut refused = 0;
    for i in (0..whole.len()).step_by(7) {
        let mut data = whole.clone();
        data[i] ^= 0x5a;
        refused += usize::from(read_bytes("a.jpg", &data).is_err());
    }
    assert!(refused > 20, "{refused}");
}

#[test]
fn what_is_not_a_photo_is_told_apart() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str, data: Option<&[u8]>| {
        let path = folder.path().join(name);
        if let Some(data) = data {
            std::fs::write(&path, data).unwrap();
        }
        read(&path, &Options::default()).unwrap_err().to_string()
    };
    for (error, word) in [
        (at("none.jpg", None), "no such file"),
        (at("empty.jpg", Some(b"")), "empty (0 bytes)"),
        (at("note.jpg", Some(b"this is a note about a pocket\n")), "this is text"),
        (at("film.mov", Some(b"\0\0\0\x14ftypqt  \0\0\0\0qt  ")), "film"),
        (at("what.jpg", Some(b"\x01\x02\x03\x04\x05\x06\x07\x08\x09")), "begins with the bytes 01 02"),
        (read(Path::new(folder.path()), &Options::default()).unwrap_err().to_string(), "folder"),
    ] {
        assert!(error.contains(word) && error.contains("try: "), "{error}");
    }
}

#[test]
fn size_limits_are_judged_by_the_header() {
    let mut png = encoded(&DynamicImage::ImageRgb8(picture(96, 64)), ImageFormat::Png);
    png[16..20].copy_from_slice(&60_000u32.to_be_bytes());
    png[20..24].copy_from_slice(&60_000u32.to_be_bytes());
    // The header's check sum (CRC-32 of "IHDR" and its 13 bytes) must fit, or the damage is named instead.
    let crc = png[12..29].iter().fold(!0u32, |mut crc, b| {
        crc ^= u32::from(*b);
        (0..8).for_each(|_| crc = (crc >> 1) ^ (0xedb8_8320 & (crc & 1).wrapping_neg()));
        crc
    });
    png[29..33].copy_from_slice(&(!crc).to_be_bytes());
    let mut bomb = jpeg(&picture(96, 64), None);
    let frame = bomb.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    bomb[frame + 5..frame + 9].copy_from_slice(&[0xff, 0xdc, 0xff, 0xdc]);
    for (data, size) in [(png, "60000 x 60000"), (bomb, "65500 x 65500")] {
        let e = read_bytes("a", &data).unwrap_err().to_string();
        assert!(e.contains(size) && e.contains("--max-megapixels"), "{e}");
    }
    let e = read_bytes("a.png", &encoded(&DynamicImage::ImageRgb8(picture(1, 1)), ImageFormat::Png)).unwrap_err();
    assert!(e.to_string().contains("1 x 1 pixels is too small to show a floor"), "{e}");
}

/// Reference: LittleCMS 2.19 through Pillow 13.0.0 (ImageCms, relative colorimetric) with a phone's Display P3 profile.
#[test]
fn display_p3_is_brought_to_srgb() {
    for (stored, expected) in [([200, 150, 100], [209, 147, 91]), ([30, 60, 90], [17, 61, 93])] {
        let flat = RgbImage::from_pixel(64, 64, Rgb(stored));
        let mut data = Vec::new();
        let mut e = image::codecs::png::PngEncoder::new(&mut data);
        e.set_icc_profile(moxcms::ColorProfile::new_display_p3().encode().unwrap()).unwrap();
        e.write_image(&flat, 64, 64, ExtendedColorType::Rgb8).unwrap();
        let (p, c) = read_bytes("a.png", &data).unwrap();
        assert!(c.is_empty(), "{c:?}");
        assert!(difference(&p.rgb, &RgbImage::from_pixel(64, 64, Rgb(expected))) <= 1, "{:?}", p.rgb.get_pixel(0, 0));
    }
}

/// Values: IEC 61966-2-1:1999, its formula from memory; 0.18 -> 0.461356129500442 is the worked example of the
/// colour-science documentation (v0.3.9, sRGB module); the rest follows from the formula at 30 digits.
/// Luminance weights: ITU-R BT.709, from memory.
#[test]
fn the_srgb_curve_is_the_standards() {
    for (light, value) in [(0.18, 0.461_356_129_500_442), (0.5, 0.735_356_983_052_449)] {
        assert!((from_linear(light) - value).abs() < 1e-9 && (to_linear(value) - light).abs() < 1e-9);
    }
    for (code, light) in [
        (127.5, 0.214_041_140),
        (128.0, 0.215_860_500),
        (188.0, 0.502_886_458),
        (10.0, 0.003_035_270),
        (11.0, 0.003_346_536),
    ] {
        assert!((to_linear(code / 255.0) - light).abs() < 1e-9, "{code}: {}", to_linear(code / 255.0));
    }
    let flat = RgbImage::from_pixel(64, 64, Rgb([200, 150, 100]));
    let (p, _) = read_bytes("a.png", &encoded(&DynamicImage::ImageRgb8(flat), ImageFormat::Png)).unwrap();
    assert!((f64::from(p.luma.at(5, 5)) - 0.350_121_529).abs() < 1e-7);
}
