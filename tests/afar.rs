//! Help from afar: what a customer's file says of place, person and device never goes further, and a report becomes a
//! letter that holds nothing of the shop.

use assert_cmd::Command;
use base64::Engine;
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, RgbImage};
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Words that stand nowhere but in the fields that must not get out. All made up.
const SECRETS: [&str; 7] = ["Qzowner", "Qzartist", "Qzserial", "Qzlens", "Qzplace", "Qzcomment", "59.9127"];

/// EXIF (CIPA DC-008) with a place, serial numbers and names in every field meant for them.
fn exif() -> Vec<u8> {
    let text = |t: &str| Value::Ascii(vec![t.as_bytes().to_vec()]);
    let degrees = |d: u32, m: u32, s: u32| {
        Value::Rational([(d, 1), (m, 1), (s, 100)].map(|(n, d)| Rational { num: n, denom: d }).to_vec())
    };
    let fields: Vec<Field> = [
        (Tag::Make, text("Made-up")),
        (Tag::Model, text("Camera 1")),
        (Tag::Artist, text("Qzartist")),
        (Tag::Copyright, text("Qzowner all rights")),
        (Tag::ImageDescription, text("Qzplace jetty")),
        (Tag::CameraOwnerName, text("Qzowner")),
        (Tag::BodySerialNumber, text("Qzserial-4471")),
        (Tag::LensSerialNumber, text("Qzlens-12")),
        (Tag::LensModel, text("Qzlens 26 mm")),
        (Tag::ImageUniqueID, text("Qzserial9f")),
        (Tag::UserComment, Value::Undefined(b"ASCII\0\0\0Qzcomment Qzplace".to_vec(), 0)),
        (Tag::MakerNote, Value::Undefined(b"serial Qzserial owner Qzowner".to_vec(), 0)),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
        (Tag::GPSLatitudeRef, text("N")),
        (Tag::GPSLatitude, degrees(59, 54, 4572)),
        (Tag::GPSLongitudeRef, text("E")),
        (Tag::GPSLongitude, degrees(10, 45, 1234)),
        (Tag::GPSAreaInformation, Value::Undefined(b"ASCII\0\0\0Qzplace".to_vec(), 0)),
    ]
    .into_iter()
    .map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value })
    .collect();
    let mut writer = Writer::new();
    fields.iter().for_each(|f| writer.push_field(f));
    let mut out = std::io::Cursor::new(vec![]);
    writer.write(&mut out, false).unwrap();
    out.into_inner()
}

/// A JPEG segment.
fn segment(marker: u8, body: &[u8]) -> Vec<u8> {
    let mut out = vec![0xff, marker];
    out.extend(((body.len() + 2) as u16).to_be_bytes());
    out.extend(body);
    out
}

/// The picture with those fields in EXIF, in XMP (ISO 16684), in an IPTC block and in a comment.
fn telling_jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut jpeg = vec![];
    JpegEncoder::new_with_quality(&mut jpeg, 95).encode_image(picture).unwrap();
    let mut out = jpeg[..2].to_vec();
    out.extend(segment(0xe1, &[b"Exif\0\0".to_vec(), exif()].concat()));
    let xmp = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta><dc:creator>Qzartist</dc:creator><aux:SerialNumber>Qzserial\
        </aux:SerialNumber><exif:GPSLatitude>59.9127</exif:GPSLatitude><aux:OwnerName>Qzowner</aux:OwnerName></x:xmpmeta>";
    out.extend(segment(0xe1, xmp));
    out.extend(segment(0xed, b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x10\x1c\x02\x50\0\x08Qzartist\x1c\x02\x5a"));
    out.extend(segment(0xfe, b"Qzcomment by Qzowner at Qzplace"));
    out.extend(&jpeg[2..]);
    out
}

fn lowsun(args: &[&str]) -> String {
    let o = Command::cargo_bin("lowsun").unwrap().args(args).output().unwrap();
    assert!(o.status.success(), "{args:?}: {}", String::from_utf8_lossy(&o.stderr));
    String::from_utf8(o.stdout).unwrap()
}

fn text(p: &Path) -> &str {
    p.to_str().unwrap()
}

/// Every file below a folder with its bytes, pictures inside pages unpacked behind them.
fn files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut all = vec![];
    for e in fs::read_dir(folder).unwrap() {
        let path = e.unwrap().path();
        if path.is_dir() {
            all.extend(files(&path));
            continue;
        }
        let mut bytes = fs::read(&path).unwrap();
        let page = String::from_utf8_lossy(&bytes).into_owned();
        for data in page.split(";base64,").skip(1) {
            let code = data.split(['"', ')']).next().unwrap();
            // In a book a page lies in pieces; there it is looked through as it is.
            bytes.extend(base64::engine::general_purpose::STANDARD.decode(code).unwrap_or_default());
        }
        all.push((path, bytes));
    }
    all
}

fn holds(bytes: &[u8], word: &str) -> bool {
    bytes.windows(word.len()).any(|w| w.eq_ignore_ascii_case(word.as_bytes()))
}

#[test]
fn place_person_and_device_of_a_photo_go_no_further() {
    let bench = TempDir::new().unwrap();
    let at = |n: &str| bench.path().join(n);
    // Two greys and a wave: enough of a floor for the walk to end in a report.
    let picture = RgbImage::from_fn(960, 720, |x, y| {
        let inside = (160..800).contains(&x) && (120..600).contains(&y);
        let wave = 14.0 * (std::f64::consts::TAU * f64::from(x) / 20.0).sin() + f64::from((x * 7 + y * 13) % 11);
        Rgb([if inside { (115.0 + wave) as u8 } else { 150 }; 3])
    });
    let bytes = telling_jpeg(&picture);
    for s in SECRETS {
        assert!(holds(&bytes, s), "{s} is not in the file: the fixture is broken");
    }
    let read = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&bytes)).unwrap();
    assert!(read.get_field(Tag::GPSLatitude, In::PRIMARY).is_some(), "no place in the EXIF: the fixture is broken");
    assert!(read.get_field(Tag::BodySerialNumber, In::PRIMARY).is_some());
    fs::write(at("from-customer.jpg"), bytes).unwrap();

    let (photo, out, trace) = (at("from-customer.jpg"), at("out"), at("trace"));
    let outline = "165,125 795,125 795,595 165,595";
    let mut said =
        lowsun(&["inspect", text(&photo), "--outline", outline, "--out", text(&out), "--trace", text(&trace)]);
    said += &lowsun(&["inspect", text(&photo), "--outline", outline, "--out", text(&at("json")), "--json"]);
    let book = at("book.db");
    said +=
        &lowsun(&["inspect", text(&photo), "--outline", outline, "--out", text(&at("kept")), "--record", text(&book)]);
    said += &lowsun(&["reply", text(&out)]);
    said += &lowsun(&["mark", text(&photo), "--out", text(&at("mark"))]);
    fs::remove_file(&photo).unwrap();
    fs::write(at("said.txt"), said).unwrap();
    let all = files(bench.path());
    for name in [
        "report.json",
        "report.html",
        "letter.txt",
        "letter.html",
        "mark.html",
        "book.db",
        "01-photo.json",
        "01-photo.png",
    ] {
        assert!(all.iter().any(|f| f.0.ends_with(name)), "{name} was not written");
    }
    for (path, bytes) in &all {
        for word in SECRETS.iter().chain(&["Exif\0\0"]) {
            assert!(!holds(bytes, word), "{} holds {word}", path.display());
        }
    }
    // What is kept stays: otherwise nothing was read at all.
    assert!(holds(&fs::read(out.join("report.json")).unwrap(), "Made-up Camera 1"));
}

#[test]
fn real_files_with_places_and_owners_leave_none_of_it() {
    let Some(data) = std::env::var_os("LOWSUN_CHECK_DATA") else {
        println!("skipped: LOWSUN_CHECK_DATA is not set");
        return;
    };
    let mut looked_at = 0;
    for entry in fs::read_dir(Path::new(&data).join("real/exif-odd")).unwrap() {
        let path = entry.unwrap().path();
        let Ok(bytes) = fs::read(&path) else { continue };
        let Ok(known) = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&bytes)) else { continue };
        let private = [Tag::Artist, Tag::Copyright, Tag::CameraOwnerName, Tag::BodySerialNumber, Tag::LensSerialNumber];
        let is_private = |f: &&Field| f.tag.context() == exif::Context::Gps || private.contains(&f.tag);
        let values: Vec<String> = known
            .fields()
            .filter(is_private)
            .map(|f| f.display_value().to_string().trim_matches(['"', ' ']).to_owned())
            .filter(|v| v.len() > 4)
            .collect();
        let Ok((photo, _)) = lowsun::photo::read(&path, &Default::default()) else { continue };
        looked_at += usize::from(!values.is_empty());
        let (_, trace) = lowsun::draw::record::photo(&photo);
        let page = lowsun::report::mark_page(&photo, "data:").unwrap();
        let told = format!("{trace} {:?} {page}", photo.camera);
        for v in values {
            assert!(!told.contains(&v), "{}: {v} got out", path.display());
        }
    }
    println!("{looked_at} files with private fields");
    assert!(looked_at > 0);
}

/// The letter on a made photo: the finding, how sure, the pictures, one change, the cautions; in the report's unit.
#[test]
fn a_report_becomes_a_letter_for_a_lay_person() {
    let bench = TempDir::new().unwrap();
    let sample = Path::new("sample-images/maple-flat-01");
    let plan = bench.path().join("job-4711.toml");
    let shop = "\n[machine]\nname = \"Hidden machine\"\nz_stiffness_n_per_um = 5.125\n";
    let planned = fs::read_to_string(sample.join("plan.toml")).unwrap();
    fs::write(&plan, format!("job = \"Hidden job\"\n{planned}{shop}")).unwrap();
    let photo = bench.path().join("job-4711-oar.jpg");
    fs::copy(sample.join("photo.jpg"), &photo).unwrap();
    for (unit, other) in [("mm", " in."), ("in", " mm")] {
        let out = bench.path().join(unit);
        lowsun(&["inspect", text(&photo), "--plan", text(&plan), "--units", unit, "--out", text(&out)]);
        let said = lowsun(&["reply", text(&out), "--to", "Ann & Co", "--from", "The boathouse"]);
        let letter = fs::read_to_string(out.join("letter.txt")).unwrap();
        let page = fs::read_to_string(out.join("letter.html")).unwrap();
        assert!(said.starts_with(&letter) && letter.starts_with("Dear Ann & Co,\n"));
        assert!(page.contains("Dear Ann &#38; Co,") || page.contains("Dear Ann &amp; Co,"));
        let json: serde_json::Value = serde_json::from_slice(&fs::read(out.join("report.json")).unwrap()).unwrap();
        let words = |t: &str| t.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in [
            json["headline"].as_str().unwrap(),
            "How sure that is",
            "chances in 10",
            "What to try first",
            json["findings"][0]["changes"][0]["what"].as_str().unwrap(),
            "switch the spindle off",
            "manuals",
            "The boathouse",
        ] {
            assert!(words(&letter).to_lowercase().contains(&words(part).to_lowercase()), "{part} is not in {letter}");
        }
        // A change may name a shim or a skim in both units; the letter's own figures are in the report's.
        let figures = letter.split("In numbers").nth(1).unwrap().split("What to try first").next().unwrap();
        assert!(figures.contains(&format!(" {unit}")) && !figures.contains(other), "{figures}");
        assert_eq!(page.matches("<figure>").count(), 2, "the pictures are missing");
        assert!(!page.contains("<script") && !page.contains("http:") && !page.contains("https:"));
        for secret in
            ["4711", "Hidden", "5.125", "toml", "job-", text(bench.path()), json["photo"]["sha256"].as_str().unwrap()]
        {
            assert!(!letter.contains(secret) && !page.contains(secret), "{secret} is in the letter");
        }
        // Nothing is replaced unasked, and without the page beside it the letter goes without pictures.
        let again = Command::cargo_bin("lowsun").unwrap().args(["reply", text(&out)]).output().unwrap();
        assert_eq!(again.status.code(), Some(2));
        let bare = bench.path().join(format!("{unit}-bare"));
        fs::create_dir(&bare).unwrap();
        fs::copy(out.join("report.json"), bare.join("r.json")).unwrap();
        assert!(lowsun(&["reply", text(&bare.join("r.json"))]).contains("no pictures"));
        assert!(!fs::read_to_string(bare.join("letter.html")).unwrap().contains("<figure>"));
    }
}

/// One list of words makes the PDF and the page; the card stands on the second page as `lowsun card` prints it.
#[test]
fn the_request_says_the_same_on_paper_and_on_screen_with_the_card_behind() {
    use lowsun::card::{Form, Printed};
    use lowsun::draw::{Paper, Sheet};
    use lowsun::report::Request;
    use lowsun::units::LengthUnit;
    for (paper, units, unit, size) in
        [(Paper::A4, LengthUnit::Mm, "mm", (210.0, 297.0)), (Paper::Letter, LengthUnit::In, "in", (215.9, 279.4))]
    {
        let bench = TempDir::new().unwrap();
        let flags = ["request", "--paper", paper.name(), "--units", unit, "--from", "A & B", "--out"];
        lowsun(&[&flags[..], &[text(bench.path())]].concat());
        let at = |ending: &str| bench.path().join(format!("lowsun-request-{}.{ending}", paper.name()));
        let html = fs::read_to_string(at("html")).unwrap();
        let pdf: String = fs::read(at("pdf")).unwrap().iter().map(|b| char::from(*b)).collect();
        let boxes: Vec<&str> = pdf.split("/MediaBox [").skip(1).map(|t| t.split(']').next().unwrap()).collect();
        assert_eq!(boxes.len(), 2, "two pages");
        for b in boxes {
            let n: Vec<f64> = b.split_whitespace().map(|n| n.parse().unwrap()).collect();
            // Points to the millimetre: 72 to 25.4.
            assert!((n[2] * 25.4 / 72.0 - size.0).abs() < 0.01 && (n[3] * 25.4 / 72.0 - size.1).abs() < 0.01, "{n:?}");
        }
        let words = Request::new(units, Some("A & B"));
        let shown = |t: &str| t.replace('&', "&#38;").replace('\'', "&#39;").replace('"', "&#34;");
        let all = words.steps.iter().chain(&words.sending).chain(&words.cautions).chain([&words.card, &words.intro]);
        for s in all.chain(words.facts.iter().map(|f| &f.1)) {
            assert!(html.contains(&shown(s)), "{s} is not on the page");
            let start: String = s.split(' ').take(3).collect::<Vec<_>>().join(" ");
            assert!(pdf.contains(&start.replace('(', "\\(")) || pdf.contains(&start), "{start} is not on paper");
        }
        let card = Sheet::of(Form::Pocket, paper, Printed::default()).unwrap();
        assert!(html.contains(&card.svg()) && html.matches("<svg").count() == 5 && !html.contains("<script"));
        let drawn = String::from_utf8_lossy(&card.pdf()).into_owned();
        let stream = |t: &str| t.split("stream\n").nth(1).unwrap().split("\nendstream").next().unwrap().to_owned();
        assert!(pdf.contains(&stream(&drawn)[..2000]), "the card's page differs from that of lowsun card");
    }
}
