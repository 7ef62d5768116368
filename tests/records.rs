//! The record book: nothing is lost or doubled, whoever writes and whoever is killed; nothing private enters.

#[path = "support/board.rs"]
mod board;

use assert_cmd::Command;
use board::board;
use image::{ExtendedColorType, ImageEncoder};
use lowsun::plan::{Names, PlannedCut};
use lowsun::records::{self, Added, Book, Entry, Figure, Filter};
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;
use tempfile::TempDir;

/// A made-up report of photo `n` with inputs `inputs`.
fn report(n: usize, inputs: &str) -> Value {
    json!({
        "schema_version": 1,
        "program": { "name": "lowsun", "version": env!("CARGO_PKG_VERSION") },
        "inputs_sha256": inputs,
        "photo": { "file": format!("pocket-{n}.jpg"), "sha256": format!("{n:064x}"), "width_px": 400, "height_px": 300,
            "taken": format!("2026-03-{:02}T10:00:00", n % 28 + 1), "camera": null },
        "scale": { "mm_per_px": { "value": 0.1, "sigma": 0.001 } },
        "marks": {
            "families": [{ "pitch_mm": { "value": 2.5, "sigma": 0.01 } }],
            "quality": { "visible_lines_per_10mm": 4.0, "ridge_contrast": 0.05,
                "height_p95_um": { "value": 40.0 + n as f64, "sigma": 5.0 } },
        },
        "verdict": if n.is_multiple_of(2) { "scallops" } else { "deflection-steps" },
        "headline": "A made-up floor, with \"quotes\", commas",
        "findings": [{ "id": "cusps", "probability": 0.7, "summary": "made up" }],
    })
}

fn plan(job: Option<&str>) -> PlannedCut {
    let mut plan =
        PlannedCut { names: Names { job: job.map(Into::into), ..Names::default() }, ..PlannedCut::default() };
    plan.cutter.diameter_mm = Some(6.0);
    plan
}

fn add(book: &mut Book, report: &Value, job: Option<&str>, html: &str, rename: bool) -> Added {
    let plan = plan(job);
    let entry = Entry { report, html, thumbnail: b"jpeg", plan: &plan, plan_text: Some("units = \"mm\"\n") };
    book.add(&entry, rename).unwrap()
}

/// A book of `n` made-up records whose pages are `size` bytes each.
fn made_book(path: &Path, n: usize, size: usize) {
    let mut book = Book::open(path).unwrap();
    let page = "x".repeat(size);
    for k in 0..n {
        assert!(matches!(add(&mut book, &report(k, "same"), Some("made up"), &page, false), Added::New(_)));
    }
}

fn all(path: &Path) -> Vec<records::Record> {
    Book::read(path).unwrap().list(&Filter::default()).unwrap()
}

fn lowsun() -> Command {
    Command::cargo_bin("lowsun").unwrap()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[test]
fn the_same_inspection_is_kept_once_and_other_inputs_are_a_revision() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("shop.book");
    let mut book = Book::open(&path).unwrap();
    assert_eq!(add(&mut book, &report(1, "plan a"), None, "first", false), Added::New(1));
    assert_eq!(
        add(&mut book, &report(1, "plan a"), Some("door"), "again", false),
        Added::Known { id: 1, left: vec![] }
    );
    let left = vec!["job stays 'door', not 'gate'".to_owned()];
    assert_eq!(add(&mut book, &report(1, "plan a"), Some("gate"), "again", false), Added::Known { id: 1, left });
    assert_eq!(add(&mut book, &report(1, "plan b"), Some("door"), "second", false), Added::New(2));
    assert_eq!(add(&mut book, &report(2, "plan a"), None, "other photo", false), Added::New(3));
    let seen: Vec<_> =
        all(&path).into_iter().map(|r| (r.id, r.revision, r.job.unwrap_or_default(), r.cutter.unwrap())).collect();
    let row = |id, revision, job: &str| (id, revision, job.to_owned(), "6.00 mm".to_owned());
    assert_eq!(seen, [row(1, 1, "door"), row(2, 2, "door"), row(3, 1, "")]);
    let one = Book::read(&path).unwrap().get(1).unwrap();
    assert_eq!((one.report_html.as_str(), one.plan_text.as_deref()), ("first", Some("units = \"mm\"\n")));
    assert_eq!(serde_json::from_str::<Value>(&one.report_json).unwrap(), report(1, "plan a"));
    add(&mut book, &report(1, "plan a"), Some("gate"), "again", true);
    assert_eq!(all(&path)[0].job.as_deref(), Some("gate"));
    let mut broken = report(5, "plan a");
    broken["photo"]["sha256"] = Value::Null;
    let entry = Entry { report: &broken, html: "", thumbnail: b"", plan: &plan(None), plan_text: None };
    assert!(book.add(&entry, false).unwrap_err().to_string().contains("/photo/sha256"));
    assert_eq!(all(&path).len(), 3);
}

#[test]
fn lists_filter_and_exports_carry_every_figure() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("shop.book");
    made_book(&path, 6, 10);
    let count = |f: Filter| Book::read(&path).unwrap().list(&f).unwrap().len();
    let some = |t: &str| Some(t.to_owned());
    assert_eq!(count(Filter { verdict: some("Scallops"), ..Filter::default() }), 3);
    assert_eq!(count(Filter { job: some("MADE UP"), cutter: some("6.00 mm"), ..Filter::default() }), 6);
    assert_eq!(count(Filter { job: some("made"), ..Filter::default() }), 0);
    assert_eq!(count(Filter { since: some("2026-03-03"), until: some("2026-03-05"), ..Filter::default() }), 3);
    let bad = Filter { since: some("March"), ..Filter::default() };
    assert_eq!(Book::read(&path).unwrap().list(&bad).unwrap_err().stage, lowsun::error::Stage::Arguments);

    let run = lowsun().args(["records", "export", text(&path)]).output().unwrap();
    let mut table = csv::Reader::from_reader(run.stdout.as_slice());
    let head = table.headers().unwrap().clone();
    let at = |name: &str| head.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 6);
    assert_eq!(&rows[2][at("headline")], "A made-up floor, with \"quotes\", commas");
    assert_eq!((&rows[2][at("height_p95_um")], &rows[2][at("height_p95_um_sigma")]), ("42", "5"));
    assert_eq!(&rows[2][at("top_finding")], "cusps");

    let run =
        lowsun().args(["records", "export", text(&path), "--as", "json", "--verdict", "scallops"]).output().unwrap();
    let json: Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(json.as_array().unwrap().len(), 3);
    assert_eq!(json[1]["height_p95_um"], json!({ "value": 42.0, "sigma": 5.0 }));
    assert_eq!(json[1]["machine"], Value::Null);

    let svg = folder.path().join("height.svg");
    lowsun()
        .args(["records", "plot", text(&path), "--figure", "height", "--by", "job", "--out", text(&svg)])
        .assert()
        .success();
    let drawn = fs::read_to_string(&svg).unwrap();
    assert!(drawn.starts_with("<svg") && drawn.contains("<title>ridge height") && drawn.contains("made up"));
    assert_eq!(drawn.matches("<circle").count(), 6 + 1, "six points and one in the key");
    let again = ["records", "plot", text(&path), "--out", text(&svg)];
    lowsun().args(again).assert().code(2);
    assert_eq!(fs::read_to_string(&svg).unwrap(), drawn, "a file was replaced unasked");
    // Pitch never changes in this book, and days are counted from 1970 (UTC): 2026-03-01T10:00 is day 20513.4167
    // (Python 3.11, datetime.timestamp() / 86400).
    let first = &all(&path)[0];
    assert!((first.day().unwrap() - 20_513.416_667).abs() < 1e-5, "{:?}", first.day());
    assert_eq!(Figure::Pitch.of(first).unwrap().value, 2.5);

    let out = folder.path().join("shown");
    let run = lowsun().args(["records", "show", text(&path), "3", "--out", text(&out)]).output().unwrap();
    assert!(String::from_utf8_lossy(&run.stdout).contains("record     3"));
    let json: Value = serde_json::from_slice(&fs::read(out.join("report.json")).unwrap()).unwrap();
    assert_eq!(json, report(2, "same"));
    lowsun().args(["records", "show", text(&path), "77"]).assert().code(1);
}

#[test]
fn files_that_are_no_book_and_newer_books_are_refused_and_left_alone() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("letter"), "Dear Sir or Madam, this is no book. ".repeat(60)).unwrap();
    let other = rusqlite::Connection::open(at("other")).unwrap();
    other.execute_batch("CREATE TABLE price (id INTEGER); PRAGMA user_version = 1;").unwrap();
    drop(other);
    made_book(&at("newer"), 1, 10);
    rusqlite::Connection::open(at("newer")).unwrap().execute_batch("PRAGMA user_version = 999;").unwrap();
    for (name, words) in
        [("letter", "is no record book"), ("other", "not a record book"), ("newer", "layout 999, made by a newer")]
    {
        let before = fs::read(at(name)).unwrap();
        for said in [Book::open(&at(name)).unwrap_err().to_string(), Book::read(&at(name)).unwrap_err().to_string()] {
            assert!(said.contains(words) && said.contains(name) && said.contains("try: "), "{said}");
        }
        assert_eq!(fs::read(at(name)).unwrap(), before, "{name} was changed");
    }
    assert!(Book::open(&at("missing/folder.book")).unwrap_err().to_string().contains("cannot be opened"));
    assert!(Book::open(folder.path()).is_err() && Book::read(&at("nothing")).is_err());
    lowsun().args(["records", "list", text(&at("nothing"))]).assert().code(1);
    assert!(!at("nothing").exists());
}

/// The first layout as it was released, written out here by hand: a book of that time.
const FIRST_LAYOUT: &str = "
CREATE TABLE photo (sha256 TEXT NOT NULL PRIMARY KEY, file TEXT NOT NULL, width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL, taken TEXT, camera TEXT, thumbnail_jpeg BLOB NOT NULL);
CREATE TABLE inspection (id INTEGER PRIMARY KEY AUTOINCREMENT, photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    inputs_sha256 TEXT NOT NULL, program_version TEXT NOT NULL, recorded_at TEXT NOT NULL, job TEXT, machine TEXT,
    cutter TEXT, material TEXT, plan_text TEXT, plan_json TEXT NOT NULL, verdict TEXT NOT NULL, headline TEXT NOT NULL,
    findings_json TEXT NOT NULL, pitch_mm REAL, pitch_mm_sigma REAL, height_p95_um REAL, height_p95_um_sigma REAL,
    visible_lines_per_10mm REAL, ridge_contrast REAL, mm_per_px REAL, mm_per_px_sigma REAL, report_json TEXT NOT NULL,
    report_html TEXT NOT NULL, UNIQUE (photo_sha256, inputs_sha256, program_version));
CREATE INDEX inspection_by_job ON inspection (job);
PRAGMA application_id = 1819244403;
PRAGMA user_version = 1;
INSERT INTO photo VALUES ('ab', 'old.jpg', 400, 300, '2025-12-31T23:59:59', NULL, x'ffd8');
INSERT INTO inspection VALUES (7, 'ab', 'cd', '0.1.0', '2026-01-02T03:04:05Z', 'door', NULL, 'no. 7', 'mdf', 'units = 1', '{}',
    'scallops', 'An old one', '[{\"id\":\"cusps\",\"probability\":0.625}]', 2.5, 0.01, 40, 5, 4, 0.05, 0.1, 0.001, '{\"a\":1}', '<html>');
INSERT INTO inspection VALUES (9, 'ab', 'ef', '0.1.0', '2026-01-03T03:04:05Z', NULL, NULL, NULL, NULL, NULL, '{}',
    'cannot-tell', 'Another', '[]', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '{}', '');
";

#[test]
fn a_book_of_the_first_layout_is_brought_up_and_nothing_is_lost() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("old.book");
    rusqlite::Connection::open(&path).unwrap().execute_batch(FIRST_LAYOUT).unwrap();
    let layout = || -> i64 {
        rusqlite::Connection::open(&path).unwrap().query_row("PRAGMA user_version", [], |r| r.get(0)).unwrap()
    };
    let before = fs::read(&path).unwrap();
    let read = all(&path);
    assert_eq!(fs::read(&path).unwrap(), before, "reading changed the old book");
    let mut book = Book::open(&path).unwrap();
    assert_eq!(layout(), 2);
    assert_eq!(all(&path), read, "in memory and on disk the same");
    let ids: Vec<_> = read.iter().map(|r| (r.id, r.revision, r.probability)).collect();
    assert_eq!(ids, [(7, 1, Some(0.625)), (9, 2, None)]);
    let one = book.get(7).unwrap();
    assert_eq!(
        (one.report_json.as_str(), one.report_html.as_str(), one.thumbnail_jpeg),
        ("{\"a\":1}", "<html>", vec![0xff, 0xd8])
    );
    assert_eq!(
        (one.record.job.as_deref(), one.record.cutter.as_deref(), one.record.date.as_str()),
        (Some("door"), Some("no. 7"), "2025-12-31T23:59:59")
    );
    assert!(matches!(add(&mut book, &report(1, "new"), None, "page", false), Added::New(10)));
    whole(&path);
}

#[test]
fn books_merge_without_loss_or_doubling() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name);
    made_book(&at("a"), 5, 1000);
    let mut b = Book::open(&at("b")).unwrap();
    for k in 3..9 {
        add(&mut b, &report(k, "same"), None, "page", false);
    }
    add(&mut b, &report(0, "other plan"), None, "page", false);
    let before = fs::read(at("b")).unwrap();
    for (new, known) in [(7, 0), (0, 7)] {
        let run = lowsun().args(["records", "merge", text(&at("all")), text(&at("b"))]).output().unwrap();
        assert!(String::from_utf8_lossy(&run.stdout).contains(&format!("{new} new, {known} known")), "{run:?}");
    }
    let run = lowsun().args(["records", "merge", text(&at("all")), text(&at("a"))]).output().unwrap();
    assert!(String::from_utf8_lossy(&run.stdout).contains("3 new, 2 known"), "{run:?}");
    let merged = all(&at("all"));
    assert_eq!(merged.len(), 10);
    let key = |r: &records::Record| (r.photo_sha256.clone(), r.inputs_sha256.clone());
    let keys: std::collections::BTreeSet<_> = merged.iter().map(key).collect();
    assert_eq!(keys.len(), 10, "a record is doubled");
    for old in all(&at("a")).iter().chain(&all(&at("b"))) {
        let new = merged.iter().find(|r| key(r) == key(old)).unwrap();
        assert_eq!(
            (&new.recorded_at, &new.headline, new.height_p95_um),
            (&old.recorded_at, &old.headline, old.height_p95_um)
        );
    }
    // The two known by both books had no job in the first; it was filled in.
    assert_eq!(merged.iter().filter(|r| r.job.as_deref() == Some("made up")).count(), 5);
    assert_eq!(fs::read(at("b")).unwrap(), before, "the other book was changed");
}

fn whole(path: &Path) {
    let db = rusqlite::Connection::open(path).unwrap();
    for (pragma, fine) in [("integrity_check", "ok"), ("journal_mode", "delete")] {
        let said: String = db.query_row(&format!("PRAGMA {pragma}"), [], |r| r.get(0)).unwrap();
        assert_eq!(said, fine, "{}", path.display());
    }
    assert!(!db.prepare("PRAGMA foreign_key_check").unwrap().exists([]).unwrap());
}

/// Real processes: three merge 40 records each into one new book at the same time, while another that does the same with
/// 300 larger ones is killed; in every second round it works alone, and is killed while its transaction is under way. What
/// was reported as done is there, what was killed is there whole or not at all.
#[test]
fn writers_at_once_lose_nothing_and_a_killed_one_leaves_a_whole_book() {
    let folder = TempDir::new().unwrap();
    let at = |name: String| folder.path().join(name);
    let (book, big, journal) = (at("shop.book".into()), at("big".into()), at("shop.book-journal".into()));
    let mut b = Book::open(&big).unwrap();
    let page = "y".repeat(60_000);
    for k in 1000..1300 {
        add(&mut b, &report(k, "same"), None, &page, false);
    }
    for w in 0..3 {
        let mut own = Book::open(&at(format!("own-{w}"))).unwrap();
        for k in 0..40 {
            add(&mut own, &report(100 * w + k, "same"), None, "page", false);
        }
    }
    let merge = |from: &Path| {
        let mut c = std::process::Command::new(assert_cmd::cargo::cargo_bin("lowsun"));
        c.args(["records", "merge", text(&book), text(from)]).stdout(Stdio::null()).spawn().unwrap()
    };
    let (mut killed, mut in_the_middle) = (0, 0);
    for round in 0..12 {
        let alone = round % 2 == 1;
        let mut writers: Vec<_> = if alone { vec![] } else { (0..3).map(|w| merge(&at(format!("own-{w}")))).collect() };
        let mut victim = merge(&big);
        while !journal.exists() && victim.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_millis(1));
        }
        std::thread::sleep(Duration::from_millis(4 * round));
        victim.kill().unwrap();
        killed += usize::from(victim.wait().unwrap().code().is_none());
        in_the_middle += usize::from(alone && journal.exists());
        for w in &mut writers {
            assert!(w.wait().unwrap().success());
        }
        let records = all_of(&book);
        assert_eq!(records.0, 120, "round {round}");
        assert!([0, 300].contains(&records.1), "half of a transaction is there: {} of 300", records.1);
        whole(&book);
        if records.1 == 300 && in_the_middle > 0 {
            break;
        }
    }
    println!("{killed} killed, {in_the_middle} of them alone and in the middle of a transaction");
    assert!(in_the_middle > 0, "no process was killed in the middle: the test shows nothing");
    assert!(merge(&big).wait().unwrap().success());
    assert_eq!(all_of(&book), (120, 300));
}

/// How many records of small and of large photo numbers a book has.
fn all_of(path: &Path) -> (usize, usize) {
    let files: Vec<String> = all(path).into_iter().map(|r| r.file).collect();
    let large = files.iter().filter(|f| f.len() == "pocket-1000.jpg".len()).count();
    (files.len() - large, large)
}

#[test]
fn inspections_recorded_by_several_processes_at_once_are_all_there() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name);
    let book = at("shop.book");
    let photos: Vec<PathBuf> = (0..3)
        .map(|n| {
            let path = at(&format!("board-{n}.png"));
            board(n + 1).save(&path).unwrap();
            path
        })
        .collect();
    // The first photo twice: two processes race to record the same.
    let mut running: Vec<_> = photos
        .iter()
        .chain([&photos[0]])
        .enumerate()
        .map(|(k, photo)| {
            let mut c = std::process::Command::new(assert_cmd::cargo::cargo_bin("lowsun"));
            c.args(["inspect", text(photo), "--mm-per-px", "0.125", "--record", text(&book), "--job", "boathouse"]);
            c.arg("--out").arg(at(&format!("report-{k}"))).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
        })
        .collect();
    for r in &mut running {
        assert!(r.wait().unwrap().success());
    }
    let records = all(&book);
    assert_eq!(records.len(), 3);
    whole(&book);
    for k in 0..4 {
        let report: Value = serde_json::from_slice(&fs::read(at(&format!("report-{k}/report.json"))).unwrap()).unwrap();
        let sha = report["photo"]["sha256"].as_str().unwrap();
        let id = records.iter().find(|r| r.photo_sha256 == sha).unwrap().id;
        let stored = Book::read(&book).unwrap().get(id).unwrap();
        assert_eq!(serde_json::from_str::<Value>(&stored.report_json).unwrap(), report);
        assert!(image::load_from_memory(&stored.thumbnail_jpeg).unwrap().width() == 320);
    }
}

#[test]
fn a_copy_that_nobody_may_write_can_be_read() {
    let folder = TempDir::new().unwrap();
    let disk = folder.path().join("disk");
    fs::create_dir(&disk).unwrap();
    let book = disk.join("shop.book");
    made_book(&book, 3, 100);
    let lock = |mode: u32| {
        use std::os::unix::fs::PermissionsExt;
        let of = |m| fs::Permissions::from_mode(m);
        fs::set_permissions(&book, of(mode & 0o666)).unwrap();
        fs::set_permissions(&disk, of(mode)).unwrap();
    };
    let before = fs::read(&book).unwrap();
    lock(0o555);
    assert_eq!(all(&book).len(), 3);
    let out = lowsun().args(["records", "export", text(&book)]).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&out.stdout).lines().count(), 4);
    let into = folder.path().join("own.book");
    lowsun().args(["records", "merge", text(&into), text(&book)]).assert().success();
    assert_eq!(all(&into).len(), 3);
    // Root may write anywhere, so the folder is looked at as well: reading made no second file and changed nothing.
    assert_eq!(fs::read_dir(&disk).unwrap().count(), 1);
    assert_eq!(fs::read(&book).unwrap(), before);
    lock(0o755);
}

/// A photo that carries place, serial number and owner: no byte of them is in book or report.
#[test]
fn place_serial_number_and_owner_never_enter_the_book() {
    use exif::{Field, In, Rational, Tag, Value as Exif, experimental::Writer};
    let ascii = |tag, text: &str| Field { tag, ifd_num: In::PRIMARY, value: Exif::Ascii(vec![text.into()]) };
    let secrets = ["Owner-Nameless-77", "SERIAL-98765-A", "LENS-SN-4242", "Artist-Nobody-55", "Made-up Place 12"];
    let degrees = |d: u32| Exif::Rational([d, 7, 13].map(|n| Rational { num: n, denom: 1 }).to_vec());
    let fields = [
        ascii(Tag::Make, "Example"),
        ascii(Tag::CameraOwnerName, secrets[0]),
        ascii(Tag::BodySerialNumber, secrets[1]),
        ascii(Tag::LensSerialNumber, secrets[2]),
        ascii(Tag::Artist, secrets[3]),
        Field { tag: Tag::GPSLatitude, ifd_num: In::PRIMARY, value: degrees(47) },
        Field { tag: Tag::GPSAreaInformation, ifd_num: In::PRIMARY, value: Exif::Undefined(secrets[4].into(), 0) },
    ];
    let mut writer = Writer::new();
    fields.iter().for_each(|f| writer.push_field(f));
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, false).unwrap();
    let mut jpeg = Vec::new();
    let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 95);
    encoder.set_exif_metadata(block.into_inner()).unwrap();
    encoder.write_image(&board(9), 480, 360, ExtendedColorType::Rgb8).unwrap();
    let holds = |bytes: &[u8], secret: &str| bytes.windows(secret.len()).any(|w| w == secret.as_bytes());
    for s in secrets {
        assert!(holds(&jpeg, s), "fixture is broken: {s} is not in the photo");
    }
    let folder = TempDir::new().unwrap();
    let photo = folder.path().join("pocket.jpg");
    fs::write(&photo, &jpeg).unwrap();
    let (book, out) = (folder.path().join("shop.book"), folder.path().join("report"));
    let more = ["--mm-per-px", "0.125", "--record", text(&book), "--out", text(&out)];
    lowsun().args(["inspect", text(&photo)]).args(more).assert().success();
    let stored = Book::read(&book).unwrap().get(1).unwrap();
    assert!(stored.report_json.contains("Example"), "the camera's make is no secret and should be there");
    assert!(!holds(&stored.thumbnail_jpeg, "Exif"));
    for file in [&book, &out.join("report.html"), &out.join("report.json")] {
        let bytes = fs::read(file).unwrap();
        for s in secrets {
            assert!(!holds(&bytes, s), "{} holds {s}", file.display());
        }
        // Latitude as EXIF stores it: 47/1 7/1 13/1, little endian.
        let place: Vec<u8> = [47u32, 1, 7, 1, 13, 1].iter().flat_map(|v| v.to_le_bytes()).collect();
        assert!(!bytes.windows(place.len()).any(|w| w == place));
    }
}
