//! Many photos in one run: every photo has its row, a bad one stops nothing, what is done is kept.

#[path = "support/board.rs"]
mod board;

use assert_cmd::Command;
use board::board;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const SCALE: [&str; 2] = ["--mm-per-px", "0.125"];

struct Bench(TempDir);

impl Bench {
    /// A folder `in` with `n` boards.
    fn new(n: u32) -> Self {
        let bench = Self(TempDir::new().unwrap());
        fs::create_dir(bench.at("in")).unwrap();
        for k in 0..n {
            board(k + 1).save(bench.at(&format!("in/pocket-{k}.png"))).unwrap();
        }
        bench
    }
    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn inspect(&self, args: &[&str]) -> Output {
        Command::cargo_bin("lowsun")
            .unwrap()
            .current_dir(self.0.path())
            .arg("inspect")
            .args(args)
            .args(SCALE)
            .output()
            .unwrap()
    }
    fn json(&self, name: &str) -> Value {
        serde_json::from_slice(&fs::read(self.at(name)).unwrap()).unwrap()
    }
}

fn code(o: &Output) -> i32 {
    assert!(!String::from_utf8_lossy(&o.stderr).contains("panicked"), "{o:?}");
    o.status.code().unwrap()
}

/// File name to outcome.
fn outcomes(summary: &Value) -> BTreeMap<String, String> {
    let word = |v: &Value| v.as_str().unwrap().to_owned();
    summary["rows"].as_array().unwrap().iter().map(|r| (word(&r["file"]), word(&r["outcome"]))).collect()
}

#[test]
fn a_bad_photo_stops_nothing_and_what_is_done_is_kept() {
    let b = Bench::new(3);
    fs::write(b.at("in/broken.jpg"), "no photo").unwrap();
    fs::write(b.at("in/notes.txt"), "not meant").unwrap();
    fs::write(b.at("in/.hidden.png"), "not meant").unwrap();
    fs::write(b.at("in/pocket-1.plan.toml"), "[cut]\nstepover = 2.5\n").unwrap();
    let o = b.inspect(&["in"]);
    assert_eq!(code(&o), 1);
    let said = String::from_utf8_lossy(&o.stdout).into_owned();
    assert!(said.starts_with("3 measured, 0 kept from earlier, 1 failed\n") && said.contains("summary.html"), "{said}");
    let s = b.json("in.lowsun/summary.json");
    assert_eq!((&s["photos"], &s["measured"], &s["failed"]), (&4.into(), &3.into(), &1.into()));
    let names: Vec<_> = s["rows"].as_array().unwrap().iter().map(|r| r["file"].as_str().unwrap()).collect();
    assert_eq!(names, ["broken.jpg", "pocket-0.png", "pocket-1.png", "pocket-2.png"]);
    assert!(s["rows"][0]["error"].as_str().is_some_and(|e| e.contains("try: ")));
    // The plan beside a photo is that photo's own.
    let stepover =
        |n: usize| b.json(&format!("in.lowsun/pocket-{n}/report.json"))["comparison"]["planned_stepover_mm"].clone();
    assert_eq!((stepover(0), stepover(1)), (Value::Null, 2.5.into()));

    let page = fs::read_to_string(b.at("in.lowsun/summary.html")).unwrap();
    assert_eq!(page.matches("src=\"data:image/jpeg;base64,").count(), 3);
    for link in page.split("href=\"").skip(1).map(|t| &t[..t.find('"').unwrap()]) {
        assert!(b.at("in.lowsun").join(link).is_file(), "{link} leads nowhere");
    }
    assert!(
        page.contains("broken.jpg") && !page.contains("<script") && !page.contains("http:") && !page.contains("https:")
    );
    let mut table = csv::Reader::from_path(b.at("in.lowsun/summary.csv")).unwrap();
    assert_eq!(table.records().map(Result::unwrap).filter(|r| &r[1] == "measured").count(), 3);

    // Once more: nothing is measured again, nothing written again but the summary; a book gets what it lacks.
    let when = |n: usize| fs::metadata(b.at(&format!("in.lowsun/pocket-{n}/report.json"))).unwrap().modified().unwrap();
    let before = [when(0), when(1), when(2)];
    let o = b.inspect(&["in", "--record", "shop.book"]);
    assert!(String::from_utf8_lossy(&o.stdout).starts_with("0 measured, 3 kept from earlier, 1 failed\n"));
    assert_eq!([when(0), when(1), when(2)], before);
    let book = lowsun::records::Book::read(&b.at("shop.book")).unwrap();
    assert_eq!(book.list(&Default::default()).unwrap().len(), 3);

    // With another plan the old reports stand in the way, and are only replaced when asked.
    fs::write(b.at("plan.toml"), "[cut]\nstepover = 3\n").unwrap();
    fs::remove_file(b.at("in/broken.jpg")).unwrap();
    let o = b.inspect(&["in", "--plan", "plan.toml"]);
    assert_eq!(code(&o), 1);
    assert!(String::from_utf8_lossy(&o.stdout).starts_with("0 measured, 1 kept from earlier, 2 failed\n"));
    assert_eq!([when(0), when(1), when(2)], before);
    let o = b.inspect(&["in", "--plan", "plan.toml", "--overwrite", "--at-once", "1"]);
    assert_eq!(code(&o), 0);
    assert_eq!((stepover(0), stepover(1)), (3.0.into(), 2.5.into()));
}

#[test]
fn parts_cover_every_photo_once_and_a_last_run_sums_them_up() {
    let b = Bench::new(2);
    for k in 0..20 {
        fs::write(b.at(&format!("in/bad-{k}.jpg")), "no photo").unwrap();
    }
    let mut seen: BTreeMap<String, String> = BTreeMap::new();
    for k in 1..=3 {
        b.inspect(&["in", "--out", "all", "--shard", &format!("{k}/3")]);
        let part = b.json(&format!("all/summary-{k}-of-3.json"));
        assert_eq!(part["shard"], format!("{k}/3"));
        for (file, outcome) in outcomes(&part) {
            assert!(seen.insert(file.clone(), outcome).is_none(), "{file} is in two parts");
        }
    }
    assert_eq!(seen.len(), 22);
    assert_eq!(code(&b.inspect(&["in", "--out", "all"])), 1);
    let whole = b.json("all/summary.json");
    assert_eq!((&whole["kept"], &whole["failed"]), (&2.into(), &20.into()));
}

#[test]
fn patterns_and_lists_are_followed_and_bad_arguments_refused_before_any_work() {
    let b = Bench::new(2);
    let text = |p: PathBuf| p.to_str().unwrap().to_owned();
    fs::write(b.at("in/other.jpg"), "no photo").unwrap();
    assert_eq!(code(&b.inspect(&["in/pocket-*.png", "--out", "globbed"])), 0);
    assert_eq!(outcomes(&b.json("globbed/summary.json")).len(), 2);
    assert_eq!(code(&b.inspect(&["in/pocket-0.png", "in/missing.png", "--out", "listed"])), 1);
    assert_eq!(b.json("listed/summary.json")["failed"], 1);

    fs::create_dir(b.at("empty")).unwrap();
    fs::create_dir(b.at("mine")).unwrap();
    fs::write(b.at("mine/summary.html"), "my own page").unwrap();
    let refused = |args: &[&str], exit: i32, words: &str| {
        let o = b.inspect(args);
        let said = String::from_utf8_lossy(&o.stderr).into_owned();
        assert_eq!(code(&o), exit, "{args:?}: {said}");
        assert!(said.contains(words), "{args:?}: {said}");
    };
    refused(&["empty"], 1, "no photo is there");
    refused(&["in/*.bmp", "--out", "x"], 1, "no photo is there");
    refused(&["in/pocket-0.png", "in/pocket-1.png"], 2, "--out");
    refused(&["in", "--out", "mine"], 2, "no summary of ours");
    refused(&["in", "--out", "x", "--trace", "t"], 2, "one photo only");
    refused(&["in", "--out", "x", "--shard", "9/8"], 2, "2/8");
    refused(&["in", "--out", "x", "--at-once", "0"], 2, "at-once");
    refused(&["in", "--out", "x", "--record", &text(b.at("no/such/folder/book"))], 1, "record book");
    assert!(!b.at("x").exists());
    assert_eq!(fs::read_to_string(b.at("mine/summary.html")).unwrap(), "my own page");
}

/// A run that is killed leaves whole reports or none, and the next one does only the rest.
#[test]
fn a_killed_run_goes_on_where_it_stopped() {
    let b = Bench::new(5);
    let mut run = std::process::Command::new(assert_cmd::cargo::cargo_bin("lowsun"))
        .current_dir(b.0.path())
        .args(["inspect", "in", "--out", "all", "--record", "shop.book", "--at-once", "1"])
        .args(SCALE)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let patience = Instant::now();
    let reports = || (0..5).filter(|k| b.at(&format!("all/pocket-{k}/report.json")).exists()).count();
    while reports() < 2 && patience.elapsed() < Duration::from_secs(120) {
        std::thread::sleep(Duration::from_millis(5));
    }
    run.kill().unwrap();
    run.wait().unwrap();
    let done = reports();
    assert!(done >= 2, "the run got nowhere");
    for e in fs::read_dir(b.at("all")).unwrap().map(|e| e.unwrap().path()).filter(|p| !is_staging(p)) {
        for file in ["report.html", "report.json", "thumbnail.jpg"] {
            assert!(e.join(file).is_file(), "half a report in {}", e.display());
        }
    }
    assert_eq!(code(&b.inspect(&["in", "--out", "all", "--record", "shop.book"])), 0);
    let s = b.json("all/summary.json");
    assert_eq!((s["kept"].as_u64(), s["measured"].as_u64()), (Some(done as u64), Some(5 - done as u64)));
    let book = lowsun::records::Book::read(&b.at("shop.book")).unwrap();
    assert_eq!(book.list(&Default::default()).unwrap().len(), 5);
}

/// The hidden folder in which a report is put together before it is moved to its place.
fn is_staging(path: &Path) -> bool {
    path.file_name().unwrap().to_string_lossy().starts_with('.')
}
