//! Marking by hand, by real clicks, touches and keys in a headless browser (W3C WebDriver): the page that `inspect` leaves
//! where it finds nothing of known size, the file it saves, and the scale that comes of it against the truth.

use assert_cmd::Command;
use image::{Rgb, RgbImage};
use lowsun::geometry::{Homography, Point};
use nalgebra::{Matrix3, Rotation3, Vector3};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use tempfile::TempDir;

/// chromedriver with one browser; both end with it.
struct Browser {
    driver: Child,
    agent: ureq::Agent,
    session: String,
}

impl Browser {
    /// `None`, and why is printed, where no chromedriver is installed.
    fn open(downloads: &Path) -> Option<Self> {
        let path = std::env::var_os("PATH")?;
        let Some(program) = std::env::split_paths(&path).map(|p| p.join("chromedriver")).find(|p| p.is_file()) else {
            println!(
                "skipped: no chromedriver on the path, so the page cannot be clicked (apt-get install chromium-driver)"
            );
            return None;
        };
        let mut driver = std::process::Command::new(program)
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let said = BufReader::new(driver.stdout.take().unwrap());
        let started = said.lines().map_while(Result::ok).find(|l| l.contains("started successfully on port")).unwrap();
        let port: u16 = started.split_whitespace().last().unwrap().trim_end_matches('.').parse().unwrap();
        let agent = ureq::Agent::config_builder().proxy(None).http_status_as_error(false).build().into();
        let mut b = Self { driver, agent, session: format!("http://127.0.0.1:{port}/session") };
        let profile = downloads.join("profile");
        let args = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--window-size=1280,1000",
            &format!("--user-data-dir={}", profile.display()),
        ];
        let options = json!({ "args": args, "prefs": { "download.default_directory": downloads } });
        let wish =
            json!({ "capabilities": { "alwaysMatch": { "browserName": "chrome", "goog:chromeOptions": options } } });
        let id = b.post("", wish)["sessionId"].as_str().unwrap().to_owned();
        b.session = format!("{}/{id}", b.session);
        Some(b)
    }
    fn post(&self, command: &str, body: Value) -> Value {
        let mut answer = self.agent.post(format!("{}{command}", self.session)).send_json(&body).unwrap();
        let told: Value = answer.body_mut().read_json().unwrap();
        assert!(answer.status().is_success(), "{command}: {told:#}");
        told["value"].clone()
    }
    fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", json!({ "script": script, "args": [] }))
    }
    fn element(&self, css: &str) -> String {
        let e = self.post("/element", json!({ "using": "css selector", "value": css }));
        e.as_object().unwrap().values().next().unwrap().as_str().unwrap().to_owned()
    }
    fn click(&self, css: &str) {
        self.post(&format!("/element/{}/click", self.element(css)), json!({}));
    }
    fn type_in(&self, css: &str, text: &str) {
        let e = self.element(css);
        self.post(&format!("/element/{e}/clear"), json!({}));
        self.post(&format!("/element/{e}/value"), json!({ "text": text }));
    }
    /// Where a photo pixel stands in the window.
    fn in_window(&self, p: Point) -> (i64, i64) {
        let script = "document.getElementById('stage').scrollIntoView();\
            const b = document.getElementById('picture').getBoundingClientRect(); return [b.left, b.top, b.width / facts.width];";
        let b: Vec<f64> = self.run(script).as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        let at = |from: f64, v: f64| (from + (v + 0.5) * b[2]).round() as i64;
        (at(b[0], p.x), at(b[1], p.y))
    }
    /// A press at a photo pixel, by "mouse" or "touch", dragged on by some window pixels.
    fn press(&self, p: Point, by: &str, drag: (i64, i64)) {
        let (x, y) = self.in_window(p);
        let mut steps = vec![
            json!({ "type": "pointerMove", "duration": 0, "x": x, "y": y }),
            json!({ "type": "pointerDown", "button": 0 }),
        ];
        if drag != (0, 0) {
            for n in 1..=4 {
                let (dx, dy) = (drag.0 * n / 4, drag.1 * n / 4);
                steps.push(json!({ "type": "pointerMove", "duration": 20, "x": x + dx, "y": y + dy }));
            }
        }
        steps.push(json!({ "type": "pointerUp", "button": 0 }));
        let hand = json!({ "type": "pointer", "id": by, "parameters": { "pointerType": by }, "actions": steps });
        self.post("/actions", json!({ "actions": [hand] }));
    }
    /// Keys one after the other, `held` all the while.
    fn keys(&self, held: Option<char>, keys: &str) {
        let step = |kind: &str, k: char| json!({ "type": kind, "value": k.to_string() });
        let mut steps: Vec<Value> = held.iter().map(|k| step("keyDown", *k)).collect();
        steps.extend(keys.chars().flat_map(|k| [step("keyDown", k), step("keyUp", k)]));
        steps.extend(held.iter().map(|k| step("keyUp", *k)));
        self.post("/actions", json!({ "actions": [{ "type": "key", "id": "keys", "actions": steps }] }));
    }
    /// Set, number and place of the point that has the focus, as told to a screen reader.
    fn focused(&self) -> (String, Point) {
        let label = self.run("return document.activeElement.getAttribute('aria-label') || ''");
        let label = label.as_str().unwrap().to_owned();
        let (name, place) = label.split_once(": x ").unwrap_or_else(|| panic!("no point has the focus: {label}"));
        let (x, y) = place.split_once(", y ").unwrap();
        (name.to_owned(), Point::new(x.parse().unwrap(), y.parse().unwrap()))
    }
    /// Brings the focused point to the nearest whole pixel of `to`, by keys.
    fn steer(&self, to: Point) {
        let (_, from) = self.focused();
        let way = |d: f64, back: char, forth: char| -> String {
            std::iter::repeat_n(if d < 0.0 { back } else { forth }, d.round().abs() as usize).collect()
        };
        self.keys(None, &(way(to.x - from.x, LEFT, RIGHT) + &way(to.y - from.y, UP, DOWN)));
        let (_, now) = self.focused();
        assert!((now.x - to.x).abs() < 1.0 && (now.y - to.y).abs() < 1.0, "{now:?} is not {to:?}");
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.agent.delete(&self.session).call();
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

// Key codes of the WebDriver standard (W3C WebDriver, section "Keyboard actions").
const LEFT: char = '\u{e012}';
const UP: char = '\u{e013}';
const RIGHT: char = '\u{e014}';
const DOWN: char = '\u{e015}';
const TAB: char = '\u{e004}';
const DELETE: char = '\u{e017}';
const SHIFT: char = '\u{e008}';
const CONTROL: char = '\u{e009}';

const WIDTH: u32 = 1600;
const HEIGHT: u32 = 1200;
/// The made sheet beside the pocket: place and size, mm on the board. No card, coin or rule is like it.
const SHEET: [f64; 4] = [-45.0, 33.0, 90.0, 24.0];
/// The made pocket.
const POCKET: [f64; 4] = [-40.0, -36.0, 80.0, 60.0];

/// Board millimetres to photo pixels: a phone's main lens (26 mm equivalent) 150 mm above the board, leaning by 9 and 4
/// degrees.
fn camera() -> Homography {
    let f = 26.0 * f64::from(WIDTH).hypot(f64::from(HEIGHT)) / 43.266_615;
    let r = Rotation3::from_euler_angles(9f64.to_radians(), 4f64.to_radians(), 0.05);
    let (m, t) = (r.matrix(), Vector3::new(2.0, -3.0, 150.0));
    let k = Matrix3::new(f, 0.0, f64::from(WIDTH - 1) / 2.0, 0.0, f, f64::from(HEIGHT - 1) / 2.0, 0.0, 0.0, 1.0);
    Homography::from_matrix(k * Matrix3::from_columns(&[m.column(0).into_owned(), m.column(1).into_owned(), t]))
        .unwrap()
}

fn inside(r: [f64; 4], p: Point) -> bool {
    (r[0]..r[0] + r[2]).contains(&p.x) && (r[1]..r[1] + r[3]).contains(&p.y)
}

fn corners(r: [f64; 4]) -> [Point; 4] {
    [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(a, b)| Point::new(r[0] + a * r[2], r[1] + b * r[3]))
}

/// A board with a pocket that the light enters from the left, ridges every 2.5 mm, and the sheet; no focal length in the
/// file. `grey` shifts it, to make another file of the same size.
fn photo(path: &Path, grey: f64, size: (u32, u32)) {
    let to_px = camera();
    let mut state = 1u32;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 16) / 65536.0 - 0.5
    };
    let picture = RgbImage::from_fn(size.0, size.1, |x, y| {
        let p = to_px.backward(Point::new(f64::from(x), f64::from(y)));
        let v = match p.x - POCKET[0] {
            _ if inside(SHEET, p) => 225.0,
            _ if !inside(POCKET, p) => 150.0,
            x if x < 10.0 => 8.0,
            x if x > 78.5 => 235.0,
            x => 120.0 + 14.0 * (std::f64::consts::TAU * x / 2.5).sin(),
        };
        let v = v + grey + 6.0 * noise();
        Rgb([v as u8, (v * 0.85) as u8, (v * 0.7) as u8])
    });
    picture.save(path).unwrap();
}

fn lowsun(args: &[&str]) -> std::process::Output {
    Command::cargo_bin("lowsun").unwrap().args(args).output().unwrap()
}

fn report(folder: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(folder.join("report.json")).unwrap()).unwrap()
}

fn has_caveat(report: &Value, id: &str) -> bool {
    report["caveats"].as_array().unwrap().iter().any(|c| c["id"] == id)
}

/// The saved file, as soon as the browser has written it (half a minute is given up after).
fn saved(path: &Path) -> Option<String> {
    (0..300).find_map(|_| {
        std::thread::sleep(std::time::Duration::from_millis(100));
        std::fs::read_to_string(path).ok().filter(|t| !t.is_empty())
    })
}

#[test]
fn corners_and_outline_marked_by_hand_give_the_true_scale() {
    let bench = TempDir::new().unwrap();
    let at = |name: &str| -> PathBuf { bench.path().join(name) };
    let text = |p: &PathBuf| p.to_str().unwrap().to_owned();
    photo(&at("board.png"), 0.0, (WIDTH, HEIGHT));
    let o = lowsun(&["inspect", &text(&at("board.png")), "--out", &text(&at("first"))]);
    assert!(o.status.success(), "{}", String::from_utf8_lossy(&o.stderr));
    assert!(String::from_utf8_lossy(&o.stdout).contains("mark.html"));
    assert!(report(&at("first"))["scale"].is_null(), "something of known size was found: the fixture is broken");
    let page = std::fs::read_to_string(at("first/mark.html")).unwrap();
    assert!(!page.contains("http:") && !page.contains("https:"), "the page names something to fetch");

    let Some(b) = Browser::open(bench.path()) else { return };
    b.post("/url", json!({ "url": format!("file://{}", at("first/mark.html").display()) }));
    b.type_in("#width", "24");
    b.type_in("#height", "90");
    b.type_in("#thick", "0");
    b.post(&format!("/element/{}/value", b.element("#level")), json!({ "text": "in the pocket" }));

    // Four corners, set roughly and in no good order, by mouse and by touch, then brought to the pixel by keys.
    let truth = corners(SHEET).map(|p| camera().forward(p));
    for (n, k) in [2, 0, 3, 1].into_iter().enumerate() {
        b.press(truth[k] + Point::new(3.0, -2.0), if n == 1 { "touch" } else { "mouse" }, (0, 0));
        b.steer(truth[k]);
    }
    assert_eq!(b.run("return marks.ref.length"), 4);
    // A drag moves a point as far as the hand, wherever it took hold of it; undo takes the whole drag back.
    let before = b.run("return JSON.stringify(marks.ref)");
    b.press(truth[1], "touch", (40, 20));
    let moved = b.run("return JSON.stringify(marks.ref)");
    assert_ne!(before, moved);
    b.click("#undo");
    assert_eq!(b.run("return JSON.stringify(marks.ref)"), before);

    b.click("#set-floor");
    let floor =
        corners([POCKET[0] + 1.0, POCKET[1] + 1.0, POCKET[2] - 3.0, POCKET[3] - 2.0]).map(|p| camera().forward(p));
    for p in floor {
        b.press(p, "mouse", (0, 0));
        b.steer(p);
    }
    // Fine steps, Tab from point to point, a point too many taken away again and brought back by undo.
    let (name, from) = b.focused();
    assert_eq!(name, "outline 4");
    b.keys(Some(SHIFT), &RIGHT.to_string());
    let (_, to) = b.focused();
    assert!((to.x - from.x - 0.1).abs() < 0.005 && to.y == from.y, "{from:?} {to:?}");
    b.keys(Some(SHIFT), &TAB.to_string());
    assert_eq!(b.focused().0, "outline 3");
    b.keys(None, &TAB.to_string());
    assert_eq!(b.focused().0, "outline 4");
    b.press(Point::new(700.0, 500.0), "mouse", (0, 0));
    b.keys(None, &DELETE.to_string());
    assert_eq!(b.run("return marks.floor.length"), 4);
    b.keys(Some(CONTROL), "z");
    assert_eq!(b.run("return marks.floor.length"), 5);
    b.press(Point::new(700.0, 500.0), "mouse", (0, 0));
    b.keys(None, &DELETE.to_string());

    assert_eq!(b.run("return missing().length"), 0, "{}", b.run("return missing().join()"));
    b.click("#save");
    let file = at("board.marks.toml");
    let written = saved(&file).expect("no file was saved");
    assert_eq!(Value::from(written.clone()), b.run("return written()"));

    let o = lowsun(&["inspect", &text(&at("board.png")), "--marks", &text(&file), "--out", &text(&at("second"))]);
    assert!(o.status.success(), "{}", String::from_utf8_lossy(&o.stderr));
    let r = report(&at("second"));
    let middle = Point::new(f64::from(WIDTH - 1) / 2.0, f64::from(HEIGHT - 1) / 2.0);
    let true_scale = 1.0 / camera().scale_at(camera().backward(middle));
    let got = |k: &str| r["scale"]["mm_per_px"][k].as_f64().unwrap();
    println!("scale {} +- {} mm per px, true {true_scale:.6}\n{written}", got("value"), got("sigma"));
    // Within two sigmas, and the sigma itself under half a per cent: the test would see a side taken for the other
    // (a factor of 3.75), a pixel's centre taken for its corner, or a picture's scale left out.
    assert!((got("value") - true_scale).abs() < 2.0 * got("sigma"), "{} is not {true_scale}", got("value"));
    assert!(got("sigma") < 0.005 * true_scale);
    assert_eq!(r["floor"]["outline_source"], "given");
    assert_eq!(r["scale"]["plane"], "floor");
    assert!(!has_caveat(&r, "marks-of-another-file") && !at("second/mark.html").exists());

    // Another picture of the same size is a caveat, one of another size an error.
    photo(&at("again.png"), 3.0, (WIDTH, HEIGHT));
    photo(&at("small.png"), 0.0, (WIDTH / 2, HEIGHT));
    let o = lowsun(&["inspect", &text(&at("again.png")), "--marks", &text(&file), "--out", &text(&at("third"))]);
    assert!(o.status.success() && has_caveat(&report(&at("third")), "marks-of-another-file"));
    let o = lowsun(&["inspect", &text(&at("small.png")), "--marks", &text(&file)]);
    let said = String::from_utf8_lossy(&o.stderr).into_owned();
    assert_eq!(o.status.code(), Some(1));
    assert!(said.contains("1600 x 1200") && said.contains("800 x 1200") && said.contains("try: "), "{said}");
}
