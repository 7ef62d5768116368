//! The built program at its front door: bad input gets a message that says what and what to try, the exit code that
//! --help names, no panic and no folder; good input leaves exactly one report.

use assert_cmd::Command;
use image::{Rgb, RgbImage};
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A folder to work in, gone at the end.
struct Bench(TempDir);

impl Bench {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }
    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.at(name);
        fs::write(&path, bytes).unwrap();
        path
    }
    /// A made-up board of 960 x 720 px at 8 px per mm with a pocket of 80 x 60 mm: black shadow along its left wall,
    /// bright right wall, ridges every 2.5 mm across x, speckle.
    fn board(&self) -> PathBuf {
        let mut state = 1u32;
        let mut noise = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 16) / 65536.0 - 0.5
        };
        let picture = RgbImage::from_fn(960, 720, |x, y| {
            let inside = (160..800).contains(&x) && (120..600).contains(&y);
            let v = match x {
                _ if !inside => 150.0,
                160..240 => 8.0,
                790.. => 235.0,
                _ => 120.0 + 14.0 * (std::f64::consts::TAU * f64::from(x) / 20.0).sin(),
            };
            let v = v + 6.0 * noise();
            Rgb([v as u8, (v * 0.85) as u8, (v * 0.7) as u8])
        });
        let path = self.at("board.png");
        picture.save(&path).unwrap();
        path
    }
    fn picture(&self, name: &str, side: u32, grey: u8) -> PathBuf {
        let path = self.at(name);
        RgbImage::from_pixel(side, side, Rgb([grey; 3])).save(&path).unwrap();
        path
    }
    fn names(&self, folder: &str) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.at(folder))
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

fn lowsun(args: &[&str]) -> std::process::Output {
    Command::cargo_bin("lowsun").unwrap().args(args).output().unwrap()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Runs `inspect PHOTO --out OUT` with more flags; it must fail with this code, say all these words, leave nothing.
fn refused(bench: &Bench, photo: &Path, more: &[&str], code: i32, words: &[&str]) {
    let out = bench.at("out");
    let before = bench.names("");
    let mut args = vec!["inspect", text(photo), "--out", text(&out)];
    args.extend(more);
    let o = lowsun(&args);
    let said = String::from_utf8_lossy(&o.stderr).into_owned();
    assert_eq!(o.status.code(), Some(code), "{args:?} said\n{said}");
    for w in words {
        assert!(said.contains(w), "{args:?}: '{w}' is missing in\n{said}");
    }
    assert!(!said.contains("panicked"), "{said}");
    assert!(o.stdout.is_empty(), "something stands on standard output");
    assert_eq!(bench.names(""), before, "{args:?} left something behind");
}

#[test]
fn photos_that_cannot_be_read_are_named_with_what_to_try() {
    let b = Bench::new();
    let stage = "lowsun: reading the photo: ";
    refused(&b, &b.at("nothing.jpg"), &[], 1, &[stage, "nothing.jpg", "try: "]);
    refused(&b, b.0.path(), &[], 1, &[stage, "try: "]);
    refused(&b, &b.file("empty.jpg", ""), &[], 1, &[stage, "empty.jpg", "try: "]);
    refused(&b, &b.file("noise.png", [7u8; 4000]), &[], 1, &[stage, "noise.png", "try: "]);
    refused(&b, &b.file("letter.jpg", "Dear Sir or Madam,\n"), &[], 1, &[stage, "letter.jpg", "try: "]);
    let board = b.board();
    let whole = fs::read(&board).unwrap();
    refused(&b, &b.file("half.png", &whole[..whole.len() / 2]), &[], 1, &[stage, "half.png", "try: "]);
}

#[test]
fn photos_without_a_lit_floor_are_refused() {
    let b = Bench::new();
    refused(&b, &b.picture("dot.png", 1, 128), &[], 1, &["dot.png", "try: "]);
    refused(&b, &b.picture("black.png", 400, 0), &[], 1, &["black.png", "try: "]);
    refused(&b, &b.picture("white.png", 400, 255), &[], 1, &["white.png", "try: "]);
}

#[test]
fn known_points_that_fix_no_plane_are_refused() {
    let b = Bench::new();
    let board = b.board();
    let run = |points: &[&str], words: &[&str]| {
        let more: Vec<&str> = points.iter().flat_map(|p| ["--point", p]).collect();
        refused(&b, &board, &more, 1, words);
    };
    run(&["160,120=0,0", "800,120=80,0", "800,600=80,60"], &["finding the reference", "four are needed"]);
    run(&["100,100=0,0", "200,200=10,10", "300,300=20,20", "400,400=30,30"], &["do not fix a plane", "try: "]);
    run(&["160,120=80,0", "800,120=0,0", "800,600=0,60", "160,600=80,60"], &["other way", "try: "]);
    run(&["-5,120=0,0", "800,120=80,0", "800,600=80,60", "160,600=0,60"], &["outside the photo", "try: "]);
}

#[test]
fn plans_with_slips_are_refused_with_the_line_that_holds_them() {
    let b = Bench::new();
    let board = b.board();
    let run = |name: &str, toml: &str, words: &[&str]| {
        let plan = b.file(name, toml);
        let mut all = vec!["lowsun: reading the plan: ", name, "try: "];
        all.extend(words);
        refused(&b, &board, &["--plan", text(&plan)], 1, &all);
    };
    run("key.toml", "[cutter]\ndiametre = 6\n", &["diametre", "diameter"]);
    run("unit.toml", "units = \"furlong\"\n", &["furlong"]);
    run("negative.toml", "[cut]\nstepover = -2\n", &["stepover"]);
    run("wide.toml", "[cutter]\ndiameter = 6\n[cut]\nstepover = 7\n", &["stepover", "diameter"]);
    run("both.toml", "[cutter]\ndiameter = 6\n[cut]\nstepover = 2\nstepover_percent = 40\n", &["stepover"]);
    run("broken.toml", "[cutter\n", &["line 1"]);
    refused(&b, &board, &["--plan", text(&b.at("missing.toml"))], 1, &["missing.toml", "try: "]);
    refused(&b, &board, &["--plan", text(&board)], 1, &["board.png", "try: "]);
}

#[test]
fn arguments_that_make_no_sense_end_with_code_2() {
    let b = Bench::new();
    let board = b.board();
    for (more, words) in [
        (vec!["--point", "1,2"], vec!["lowsun: arguments: --point", "'1,2'", "try: "]),
        (vec!["--outline", "1,2 3,4"], vec!["lowsun: arguments: --outline", "2 points", "try: "]),
        (vec!["--light-from", "behind"], vec!["--light-from", "'behind'", "try: "]),
        (vec!["--light-elevation", "95"], vec!["--light-elevation", "95", "try: "]),
        (vec!["--mm-per-px", "-1"], vec!["--mm-per-px", "-1", "try: "]),
        (vec!["--mm-per-px", "0.1", "--point", "1,2=3,4"], vec!["--mm-per-px", "--point"]),
        (vec!["--cutter", "6 furlongs"], vec!["--cutter", "furlongs", "try: "]),
        (vec!["--stepover=-2mm"], vec!["--stepover", "-2mm", "try: "]),
        (vec!["--pocket", "116"], vec!["--pocket", "'116'", "try: "]),
        (vec!["--max-megapixels", "0"], vec!["--max-megapixels", "try: "]),
        (vec!["--shape", "round"], vec!["--shape", "ball-nose"]),
        (vec!["--colour"], vec!["--colour", "--help"]),
    ] {
        refused(&b, &board, &more, 2, &words);
    }
    assert_eq!(lowsun(&[]).status.code(), Some(2));
    assert_eq!(lowsun(&["inspect"]).status.code(), Some(2));
}

#[test]
fn a_photo_above_the_limit_is_refused_before_it_is_decoded() {
    let b = Bench::new();
    refused(&b, &b.board(), &["--max-megapixels", "0.5"], 1, &["board.png", "try: "]);
}

/// A walk that needs nothing found: outline, scale and lamp are given.
const GIVEN: [&str; 8] = [
    "--outline",
    "165,125 785,125 785,595 165,595",
    "--mm-per-px",
    "0.125",
    "--light-from",
    "left",
    "--light-elevation",
    "12",
];

#[test]
fn a_good_photo_leaves_one_report_and_nothing_else() {
    let b = Bench::new();
    let board = b.board();
    let out = b.at("out");
    let mut args = vec!["inspect", text(&board), "--out", text(&out), "--cutter", "6.25mm", "--stepover", "40%"];
    args.extend(GIVEN);
    let o = lowsun(&args);
    let said = String::from_utf8_lossy(&o.stdout).into_owned();
    assert_eq!(o.status.code(), Some(0), "{}", String::from_utf8_lossy(&o.stderr));
    assert_eq!(b.names("out"), ["report.html", "report.json"]);
    assert_eq!(b.names(""), ["board.png", "out"]);
    assert!(said.contains("report.html") && said.contains("planned stepover 2.50 mm"), "{said}");
    let json: serde_json::Value = serde_json::from_slice(&fs::read(b.at("out/report.json")).unwrap()).unwrap();
    assert_eq!(json["schema_version"], 1);
    assert_eq!(json["scale"]["source"], "given");
    let sum: f64 = json["findings"].as_array().unwrap().iter().map(|f| f["probability"].as_f64().unwrap()).sum();
    assert!(sum > 0.0 && sum <= 1.0 + 1e-6, "probabilities add up to {sum}");

    // Once there, it is not replaced unasked; other files in the folder stay.
    let before = fs::read(b.at("out/report.json")).unwrap();
    fs::write(b.at("out/notes.txt"), "mine").unwrap();
    let again = lowsun(&args);
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&again.stderr).contains("--overwrite"));
    assert_eq!(fs::read(b.at("out/report.json")).unwrap(), before);
    args.push("--overwrite");
    assert_eq!(lowsun(&args).status.code(), Some(0));
    assert_eq!(b.names("out"), ["notes.txt", "report.html", "report.json"]);
    assert_eq!(fs::read(b.at("out/notes.txt")).unwrap(), b"mine");
}

#[test]
fn json_goes_to_standard_output_and_stages_to_their_folder() {
    let b = Bench::new();
    let board = b.board();
    let stages = b.at("stages");
    let mut args = vec!["inspect", text(&board), "--json", "--timings", "--trace", text(&stages)];
    args.extend(GIVEN);
    let o = lowsun(&args);
    assert_eq!(o.status.code(), Some(0), "{}", String::from_utf8_lossy(&o.stderr));
    let printed: serde_json::Value = serde_json::from_slice(&o.stdout).unwrap();
    let saved = fs::read(b.at("board.lowsun/report.json")).unwrap();
    assert_eq!(printed, serde_json::from_slice::<serde_json::Value>(&saved).unwrap());
    let timings = String::from_utf8_lossy(&o.stderr).into_owned();
    assert!(["photo", "floor", "marks", "total"].iter().all(|s| timings.contains(s)), "{timings}");
    let names = b.names("stages");
    for stage in ["01-photo.png", "02-reference.json", "04-floor.png", "05-fit.json", "06-marks.png", "07-explain.json"]
    {
        assert!(names.iter().any(|n| n == stage), "{stage} is missing in {names:?}");
    }
}

#[test]
fn a_file_is_no_folder_to_write_into() {
    let b = Bench::new();
    let board = b.board();
    let file = b.file("taken", "here first");
    let mut args = vec!["inspect", text(&board), "--out", text(&file)];
    args.extend(GIVEN);
    let o = lowsun(&args);
    assert_eq!(o.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&o.stderr).contains("is a file"));
    let below = file.join("out");
    args[3] = text(&below);
    let o = lowsun(&args);
    let said = String::from_utf8_lossy(&o.stderr).into_owned();
    assert_eq!(o.status.code(), Some(2), "{said}");
    assert!(said.contains("stands below a file") && said.contains("try: "), "{said}");
    assert_eq!(b.names(""), ["board.png", "taken"]);
}

#[test]
fn help_names_the_exit_codes() {
    let o = lowsun(&["inspect", "--help"]);
    let help = String::from_utf8_lossy(&o.stdout).into_owned();
    assert!(help.contains("Exit codes:") && help.contains("--reference-on") && help.contains("left, right"), "{help}");
}

#[test]
fn a_card_is_written_once_and_never_over_another_file() {
    let bench = Bench::new();
    let folder = bench.at("to print");
    let args = ["card", "--form", "corner", "--paper", "letter", "--out", text(&folder)];
    let o = lowsun(&args);
    assert_eq!(o.status.code(), Some(0), "{}", String::from_utf8_lossy(&o.stderr));
    let names = ["lowsun-card-corner-letter.pdf", "lowsun-card-corner-letter.svg"];
    assert_eq!(bench.names("to print"), names);
    let said = String::from_utf8_lossy(&o.stdout).into_owned();
    assert!(names.iter().all(|n| said.contains(n)) && said.contains("100 %"), "{said}");
    let before = fs::read(folder.join(names[0])).unwrap();
    assert!(before.starts_with(b"%PDF-"));

    // Another card in the same folder is welcome, the same one only when asked for.
    assert_eq!(lowsun(&["card", "--out", text(&folder)]).status.code(), Some(0));
    fs::write(folder.join(names[1]), "mine").unwrap();
    let again = lowsun(&args);
    let said = String::from_utf8_lossy(&again.stderr).into_owned();
    assert_eq!(again.status.code(), Some(2));
    assert!(said.contains("is there already") && said.contains("--overwrite"), "{said}");
    assert_eq!(fs::read(folder.join(names[1])).unwrap(), b"mine");
    assert_eq!(lowsun(&[&args[..], &["--overwrite"]].concat()).status.code(), Some(0));
    assert_eq!(fs::read(folder.join(names[0])).unwrap(), before);
    assert_ne!(fs::read(folder.join(names[1])).unwrap(), b"mine");
}

#[test]
fn a_card_goes_into_one_file_by_its_ending() {
    let bench = Bench::new();
    for (name, start) in [("a.pdf", "%PDF-"), ("b.SVG", "<svg")] {
        let file = bench.at(name);
        assert_eq!(lowsun(&["card", "--form", "frame", "--out", text(&file)]).status.code(), Some(0));
        assert!(fs::read(&file).unwrap().starts_with(start.as_bytes()), "{name}");
        assert_eq!(lowsun(&["card", "--out", text(&file)]).status.code(), Some(2));
    }
    let other = bench.file("notes.txt", "mine");
    for (more, word) in [
        (["--out", text(&other)], "neither .pdf nor .svg"),
        (["--card-measured", "9.94mm"], "100 mm"),
        (["--card-measured", "99.4mmx"], "not a length"),
        (["--form", "hexagon"], "corner"),
        (["--paper", "a5"], "letter"),
    ] {
        let mut args = vec!["card"];
        args.extend(more);
        if more[0] != "--out" {
            args.extend(["--out", text(bench.0.path())]);
        }
        let o = lowsun(&args);
        let said = String::from_utf8_lossy(&o.stderr).into_owned();
        assert!(o.status.code() == Some(2) && said.contains(word), "{args:?} said\n{said}");
    }
    assert_eq!(bench.names(""), ["a.pdf", "b.SVG", "notes.txt"]);
}

#[test]
fn measured_bars_that_cannot_be_are_refused() {
    let bench = Bench::new();
    let board = bench.board();
    refused(&bench, &board, &["--card-measured", "994mm"], 2, &["--card-measured", "994.0 mm", "100 mm"]);
    refused(&bench, &board, &["--card-measured", "99.4x"], 2, &["--card-measured", "99.4x99.7mm"]);
}

#[test]
fn check_prints_its_verdict_first_and_writes_nothing() {
    let b = Bench::new();
    let board = b.board();
    let mut args = vec!["check", text(&board), "--cutter", "6.25mm", "--stepover", "40%"];
    args.extend(GIVEN);
    let o = lowsun(&args);
    let said = String::from_utf8_lossy(&o.stdout).into_owned();
    assert_eq!(o.status.code(), Some(0), "{said}{}", String::from_utf8_lossy(&o.stderr));
    let first = said.lines().next().unwrap_or_default();
    assert!(first.starts_with("go: ") || first.starts_with("usable with care: "), "{said}");
    assert!(said.lines().all(|l| l.chars().count() <= 100), "{said}");
    assert_eq!(b.names(""), ["board.png"]);

    // Over nothing but noise, no pocket: retake, its own exit code, and what to do.
    let noise = b.at("noise.png");
    image::RgbImage::from_fn(900, 700, |x, y| image::Rgb([(90 + (x * 7919 + y * 104_729) % 61) as u8; 3]))
        .save(&noise)
        .unwrap();
    let o = lowsun(&["check", text(&noise)]);
    let said = String::from_utf8_lossy(&o.stdout).into_owned();
    assert_eq!(o.status.code(), Some(3), "{said}");
    assert!(said.starts_with("retake: ") && said.contains("What to do: "), "{said}");
    assert!(said.contains("stop the spindle"), "{said}");
    let o = lowsun(&["check", text(&noise), "--json"]);
    assert_eq!(o.status.code(), Some(3));
    let json: serde_json::Value = serde_json::from_slice(&o.stdout).unwrap();
    assert_eq!(json["verdict"], "retake");
    assert!(json["change_first"].as_array().is_some_and(|c| !c.is_empty() && c.len() <= 3), "{json}");
    assert_eq!(json["photo"]["fitness"]["verdict"], "retake");
    let missing = b.at("missing.jpg");
    assert_eq!(lowsun(&["check", text(&missing)]).status.code(), Some(1));
    assert_eq!(lowsun(&["check", text(&noise), "--stepover=-2mm"]).status.code(), Some(2));
}

#[test]
fn a_cutting_file_is_read_and_a_bad_line_of_it_is_named() {
    let b = Bench::new();
    let board = b.board();
    let bad = b.file("bad.ngc", "G21\nG0 X0 Y0 Z5\nG1 X[1/0]\n");
    let mut run = Command::cargo_bin("lowsun").unwrap();
    let out =
        run.arg("inspect").arg(&board).arg("--toolpath").arg(&bad).arg("--out").arg(b.at("bad")).output().unwrap();
    let told = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(1), "{told}");
    assert!(told.contains("reading the cutting file") && told.contains("line 3: divided by zero"), "{told}");
    assert!(!b.at("bad").exists());
    let mut text = String::from("G21 S16000 M3 F2400\nG0 X0 Y0 Z5\nG1 Z-2\n");
    for k in 0..24 {
        text += &format!("G1 X{}\nY{}\n", 2.5 * f64::from(k), if k % 2 == 0 { 54 } else { 0 });
    }
    let good = b.file("good.ngc", text);
    let mut run = Command::cargo_bin("lowsun").unwrap();
    let out = run
        .args(["inspect", "--mm-per-px", "0.125", "--cutter", "6mm", "--light-from", "left", "--toolpath"])
        .arg(&good)
        .arg(&board)
        .arg("--out")
        .arg(b.at("good"))
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let json: serde_json::Value = serde_json::from_slice(&fs::read(b.at("good").join("report.json")).unwrap()).unwrap();
    assert_eq!(json["comparison"]["planned_stepover_mm"], 2.5);
    assert_eq!(json["cutting_file"]["floor"]["passes"], 24);
    let foretold = &json["foretold"];
    assert!(
        foretold["text"].as_str().is_some_and(|t| !t.is_empty()) && foretold["first_cuts_mm"].is_array(),
        "{foretold}"
    );
    let page = fs::read_to_string(b.at("good").join("report.html")).unwrap();
    assert!(page.contains("What the cutting file says") && page.contains("24 straight passes, to and fro"));
}

/// `--help`, the manual and the completions come from one definition: every subcommand has its page, and every flag of
/// `inspect` stands in all three.
#[test]
fn manual_and_completions_hold_what_help_holds() {
    let b = Bench::new();
    let printed = |args: &[&str]| {
        let out = Command::cargo_bin("lowsun").unwrap().args(args).output().unwrap();
        assert!(out.status.success(), "{args:?}");
        String::from_utf8(out.stdout).unwrap()
    };
    let out = b.at("man");
    printed(&["manual", "--out", out.to_str().unwrap()]);
    let pages = b.names("man");
    let help = printed(&["--help"]);
    let listed: Vec<&str> = help
        .lines()
        .skip_while(|l| *l != "Commands:")
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter(|l| l.starts_with("  ") && !l.starts_with("   "))
        .map(|l| l.split_whitespace().next().unwrap())
        .collect();
    assert!(listed.len() >= 6, "{listed:?}");
    for name in listed.iter().filter(|n| **n != "help") {
        assert!(pages.contains(&format!("lowsun-{name}.1")), "{name} has no page in {pages:?}");
    }
    let flags: Vec<String> = printed(&["inspect", "--help"])
        .split_whitespace()
        .filter(|w| w.starts_with("--") && w[2..].chars().all(|c| c.is_ascii_lowercase() || c == '-') && w.len() > 2)
        .map(str::to_owned)
        .collect();
    assert!(flags.contains(&"--stepover".into()));
    let page = fs::read_to_string(out.join("lowsun-inspect.1")).unwrap().replace("\\-", "-");
    let completions: Vec<String> = ["bash", "zsh", "fish"].iter().map(|s| printed(&["completions", s])).collect();
    for f in flags {
        assert!(page.contains(&f), "{f} is not in the manual");
        assert!(completions.iter().all(|c| c.contains(f.trim_start_matches('-'))), "{f} is not completed");
    }
    // Nothing is replaced unasked.
    Command::cargo_bin("lowsun").unwrap().args(["manual", "--out", out.to_str().unwrap()]).assert().failure().code(2);
}

#[test]
fn a_forecast_needs_a_plan_and_no_photo() {
    let b = Bench::new();
    let plan = b.file(
        "plan.toml",
        "[cutter]\nshape = \"flat\"\ndiameter = 6\nflutes = 2\nhelix = \"down-cut\"\n[cut]\npattern = \"parallel\"\nstepover = 2.4\ndepth = 3\nfeed = 1500\nspeed_rpm = 18000\n[pocket]\nwidth = 40\nheight = 30",
    );
    let (plan, out) = (plan.to_str().unwrap(), b.at("forecast"));
    let got = lowsun(&["expect", "--plan", plan, "--out", out.to_str().unwrap()]);
    assert!(got.status.success(), "{}", String::from_utf8_lossy(&got.stderr));
    let text = String::from_utf8_lossy(&got.stdout).into_owned();
    assert!(text.contains("a strip 2.40 mm wide lies high, at the wall"), "{text}");
    let json: serde_json::Value = serde_json::from_slice(&fs::read(out.join("expect.json")).unwrap()).unwrap();
    let first = &json["causes"][0];
    assert_eq!((first["id"].as_str(), json["schema_version"].as_u64()), (Some("full-width-first-pass"), Some(1)));
    assert!((first["strips"][0]["width_mm"].as_f64().unwrap() - 2.4).abs() < 1e-3);
    let page = fs::read_to_string(out.join("expect.html")).unwrap();
    assert!(page.contains("<svg") && page.contains("as planned") && !page.contains("<script"));
    // The folder is in use now; and a plan without a cutter lays nothing.
    let again = lowsun(&["expect", "--plan", plan, "--out", out.to_str().unwrap()]);
    assert_eq!(again.status.code(), Some(2));
    let bare = b.file("bare.toml", "[cut]\nstepover = 2.4");
    let got = lowsun(&["expect", "--plan", bare.to_str().unwrap(), "--out", b.at("none").to_str().unwrap()]);
    let err = String::from_utf8_lossy(&got.stderr).into_owned();
    assert!(got.status.code() == Some(1) && err.contains("diameter") && err.contains("try:"), "{err}");
    assert!(!b.at("none").exists());
}
