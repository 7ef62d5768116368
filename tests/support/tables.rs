//! What was said about scenes of known truth, counted: shares that are right, reliability, confusion.

use lowsun::explain::Verdict;
use lowsun::report::Inspection;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write;

/// A found spacing counts as the true one within this share: far beyond any error of a right one, far under the next pitch.
const SAME_PITCH: f64 = 0.015;
/// Bins of the stated probability.
const BINS: usize = 10;
/// From this probability on a wrong answer is a confident one.
const SURE: f64 = 0.8;

/// One scene: its truth and what was said.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Row {
    pub seed: u64,
    pub cause: String,
    pub hidden: Option<String>,
    pub seen: String,
    pub difficulty: String,
    pub material: String,
    pub cutter_mm: f64,
    pub stepover_share: f64,
    pub outline: String,
    /// Top finding and its probability; `None` where the photo was refused.
    pub top: Option<(String, f64)>,
    pub right: bool,
    pub verdict_right: bool,
    pub marks: String,
    pub scaled: bool,
}

fn word(v: &impl Serialize) -> String {
    serde_json::to_value(v).ok().and_then(|v| Some(v.as_str()?.to_owned())).unwrap_or_default()
}

/// What of the marks was given to be explained.
fn marks(t: &Value, i: &Inspection) -> &'static str {
    let main = |q: &&Value| q["role"] == "main";
    let true_pitches: Vec<f64> =
        t["families"].as_array().into_iter().flatten().filter(main).filter_map(|q| q["pitch_mm"].as_f64()).collect();
    let hit = |p: f64| i.frame.scale.is_some() && true_pitches.iter().any(|q| (p / q - 1.0).abs() < SAME_PITCH);
    let edges = i.marks.edges.iter().any(|e| e.snr >= 5.0);
    match (i.marks.families.iter().any(|f| hit(f.pitch.value)), i.marks.families.is_empty(), edges) {
        (true, ..) => "true spacing",
        (_, false, _) => "other lines",
        (_, _, true) => "edges only",
        _ => "nothing",
    }
}

impl Row {
    /// Judges by the truth's list of what an expert could say. Of ridges and steps together both must be said: the verdict,
    /// and one of the two first.
    pub fn new(t: &Value, i: Option<&Inspection>) -> Self {
        let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
        let holds = |list: &Value, id: &str| list.as_array().is_some_and(|l| l.iter().any(|v| v == id));
        let top = i.and_then(|i| i.explanation.findings.first()).map(|f| (word(&f.id), f.probability));
        let verdict = i.map(|i| i.explanation.verdict);
        let right = top.as_ref().is_some_and(|(id, _)| {
            let both = holds(&t["accept"], "both") && verdict == Some(Verdict::Both) && holds(&t["parts"], id);
            holds(&t["accept"], id) || both
        });
        let (d, s) = (t["spec"]["tool"]["d"].as_f64().unwrap_or(0.0), t["spec"]["stepover"].as_f64().unwrap_or(0.0));
        Self {
            seed: t["spec"]["seed"].as_u64().unwrap_or(0),
            cause: text(&t["cause"]),
            hidden: t["hidden_cause"].as_str().map(str::to_owned),
            seen: text(&t["seen"]),
            difficulty: text(&t["difficulty"]),
            material: text(&t["spec"]["material"]),
            cutter_mm: d,
            stepover_share: s / d,
            outline: text(&t["pocket_shape"]),
            top,
            right,
            verdict_right: verdict.is_some_and(|v| holds(&t["verdict_accept"], &word(&v))),
            marks: i.map_or("refused", |i| marks(t, i)).to_owned(),
            scaled: i.is_some_and(|i| i.frame.scale.is_some()),
        }
    }
    fn p(&self) -> f64 {
        self.top.as_ref().map_or(0.0, |t| t.1)
    }
    fn said(&self) -> &str {
        self.top.as_ref().map_or("refused", |t| &t.0)
    }
    fn confidently_wrong(&self) -> bool {
        !self.right && self.p() > SURE
    }
}

/// Scenes whose stated probability falls into one bin.
pub struct Bin {
    pub count: usize,
    pub stated: f64,
    pub right: f64,
}

/// Expected calibration error over the bins of the stated probability, and the bins; `None`: an empty one.
pub fn calibration(rows: &[Row]) -> (f64, Vec<Option<Bin>>) {
    let said: Vec<&Row> = rows.iter().filter(|r| r.top.is_some()).collect();
    let bin = |r: &Row| ((r.p() * BINS as f64) as usize).min(BINS - 1);
    let mut error = 0.0;
    let bins = (0..BINS)
        .map(|b| {
            let these: Vec<&&Row> = said.iter().filter(|r| bin(r) == b).collect();
            if these.is_empty() {
                return None;
            }
            let n = these.len() as f64;
            let stated = these.iter().map(|r| r.p()).sum::<f64>() / n;
            let right = these.iter().filter(|r| r.right).count() as f64 / n;
            error += n / said.len() as f64 * (stated - right).abs();
            Some(Bin { count: these.len(), stated, right })
        })
        .collect();
    (error, bins)
}

fn percent(rows: &[&Row], of: impl Fn(&Row) -> bool) -> f64 {
    100.0 * rows.iter().filter(|r| of(r)).count() as f64 / rows.len().max(1) as f64
}

/// A table of shares for each value of a property.
fn by(out: &mut String, what: &str, rows: &[Row], key: impl Fn(&Row) -> String) {
    let mut groups: BTreeMap<String, Vec<&Row>> = BTreeMap::new();
    rows.iter().for_each(|r| groups.entry(key(r)).or_default().push(r));
    let _ = writeln!(
        out,
        "\n## By {what}\n\n| {what} | scenes | cause right % | verdict right % | mean p | wrong over 0.8 |"
    );
    out.push_str("|---|---|---|---|---|---|\n");
    for (k, g) in &groups {
        let p = g.iter().map(|r| r.p()).sum::<f64>() / g.len() as f64;
        let _ = writeln!(
            out,
            "| {k} | {} | {:.1} | {:.1} | {p:.2} | {} |",
            g.len(),
            percent(g, |r| r.right),
            percent(g, |r| r.verdict_right),
            g.iter().filter(|r| r.confidently_wrong()).count()
        );
    }
}

/// Truth against top finding. Cells: how often, of those how many count as right where not all do.
fn confusion(out: &mut String, rows: &[Row]) {
    let mut cells: BTreeMap<&str, BTreeMap<&str, (usize, usize)>> = BTreeMap::new();
    for r in rows {
        let c = cells.entry(&r.cause).or_default().entry(r.said()).or_default();
        *c = (c.0 + 1, c.1 + usize::from(r.right));
    }
    out.push_str("\n| what was cut | said, right | said, wrong |\n|---|---|---|\n");
    for (cause, said) in cells {
        let list = |count: fn(&(usize, usize)) -> usize| {
            let mut v: Vec<(&str, usize)> = said.iter().map(|(k, c)| (*k, count(c))).filter(|q| q.1 > 0).collect();
            v.sort_by_key(|q| std::cmp::Reverse(q.1));
            v.iter().map(|(k, n)| format!("{k} {n}")).collect::<Vec<_>>().join(", ")
        };
        let _ = writeln!(out, "| {cause} | {} | {} |", list(|c| c.1), list(|c| c.0 - c.1));
    }
}

/// The seeds as ranges.
fn seeds(rows: &[Row]) -> String {
    let mut all: Vec<u64> = rows.iter().map(|r| r.seed).collect();
    all.sort_unstable();
    let ranges = all.chunk_by(|a, b| a + 1 >= *b).map(|c| match (c[0], c[c.len() - 1]) {
        (a, b) if a == b => a.to_string(),
        (a, b) => format!("{a} to {b}"),
    });
    ranges.collect::<Vec<_>>().join(", ")
}

/// All tables as one page.
pub fn page(rows: &[Row]) -> String {
    let all: Vec<&Row> = rows.iter().collect();
    let (error, bins) = calibration(rows);
    let sure = rows.iter().filter(|r| r.confidently_wrong()).count();
    let mut out = format!(
        "# Calibration\n\nWritten by `cargo run --release --example calibrate`: {} made scenes (seeds {}) of every cause through the whole \
         program. The scenes are those of `tests/support`: 1600 x 1200 and 2048 x 1536 pixels, half of them with the usual cutters, half \
         with cutters of 3 to 32 mm and stepovers of 10 to 80 % of them where no round nose decides it; ten materials; easy to hard \
         photos, one cause in nine hidden on purpose; plans with gaps and slips. A scene is right when its top finding is one that its \
         truth says an expert could not rule out from photo and plan; of ridges and steps together both must be said. A photo that is \
         refused counts as wrong.\n\n| | |\n|---|---|\n",
        rows.len(),
        seeds(rows)
    );
    for (what, value) in [
        ("scenes", rows.len().to_string()),
        ("top cause right", format!("{:.1} %", percent(&all, |r| r.right))),
        ("verdict right", format!("{:.1} %", percent(&all, |r| r.verdict_right))),
        ("expected calibration error", format!("{error:.3}")),
        ("wrong with a probability over 0.8", format!("{sure} ({:.1} %)", percent(&all, Row::confidently_wrong))),
        ("scale found", format!("{:.1} %", percent(&all, |r| r.scaled))),
    ] {
        let _ = writeln!(out, "| {what} | {value} |");
    }
    out.push_str("\n## Stated probability against share right\n\n| stated | scenes | mean stated | share right |\n|---|---|---|---|\n");
    for (b, bin) in bins.iter().enumerate() {
        if let Some(Bin { count, stated, right }) = bin {
            let (from, to) = (b as f64 / BINS as f64, (b + 1) as f64 / BINS as f64);
            let _ = writeln!(out, "| {from:.1} to {to:.1} | {count} | {stated:.2} | {right:.2} |");
        }
    }
    out.push_str("\n## Confusion\n\nTop findings for each cause. `cannot-tell` in the first column: an ideal eye sees no marks in the photo.\n");
    confusion(&mut out, rows);
    out.push_str("\nThe same where the true spacing was among the marks, so that only the explanation can be wrong:\n");
    let given: Vec<Row> = rows.iter().filter(|r| r.marks == "true spacing").cloned().collect();
    confusion(&mut out, &given);
    by(&mut out, "cause", rows, |r| r.cause.clone());
    by(&mut out, "photo", rows, |r| r.difficulty.clone());
    by(&mut out, "marks in the photo", rows, |r| r.seen.clone());
    by(&mut out, "marks found", rows, |r| r.marks.clone());
    by(&mut out, "scale", rows, |r| if r.scaled { "found" } else { "none" }.to_owned());
    by(&mut out, "pocket", rows, |r| r.outline.clone());
    by(&mut out, "material", rows, |r| r.material.clone());
    let bands = |v: f64, limits: &[f64], unit: &str| {
        let k = limits.iter().filter(|l| v >= **l).count().clamp(1, limits.len() - 1);
        format!("{:02.0} to {:02.0} {unit}", limits[k - 1], limits[k])
    };
    by(&mut out, "cutter", rows, |r| bands(r.cutter_mm, &[2.0, 5.0, 8.0, 14.0, 32.0], "mm"));
    by(&mut out, "stepover", rows, |r| bands(100.0 * r.stepover_share, &[5.0, 20.0, 40.0, 60.0, 90.0], "%"));
    out
}
