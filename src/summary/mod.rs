//! Many photos on one page, and as JSON and CSV. Like `report`: no arithmetic, bytes only.

use crate::units::Measured;
use askama::Template;
use base64::Engine;
use serde::Serialize;
use serde_json::{Value, json};

/// Raised only when a key changes its meaning or goes away.
pub const SUMMARY_VERSION: u32 = 1;

/// What came of one photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// Measured in this run.
    Measured,
    /// Its report was there already.
    Kept,
    Failed,
}

/// One photo; what is not known is `None`.
#[derive(Debug, Clone, Serialize)]
pub struct Row {
    /// The photo's name without its folder.
    pub file: String,
    pub outcome: Outcome,
    /// Folder of its report, beside the summary.
    pub folder: Option<String>,
    /// What went wrong, and what to try.
    pub error: Option<String>,
    pub sha256: Option<String>,
    pub verdict: Option<String>,
    pub headline: Option<String>,
    pub top_finding: Option<String>,
    pub top_probability: Option<f64>,
    pub pitch_mm: Option<Measured>,
    pub height_p95_um: Option<Measured>,
    pub visible_lines_per_10mm: Option<f64>,
    /// Fitness of the photo: go, care or retake.
    pub fitness: Option<String>,
    #[serde(skip)]
    pub thumbnail: Vec<u8>,
}

impl Row {
    /// A photo that was measured, from its report.json.
    pub fn measured(outcome: Outcome, folder: String, report: &Value, thumbnail: Vec<u8>) -> Self {
        let text = |at: &str| report.pointer(at).and_then(Value::as_str).map(str::to_owned);
        let number = |at: &str| report.pointer(at).and_then(Value::as_f64);
        let both = |at: &str| report.pointer(at).and_then(|v| serde_json::from_value(v.clone()).ok());
        Self {
            file: text("/photo/file").unwrap_or_default(),
            outcome,
            folder: Some(folder),
            error: None,
            sha256: text("/photo/sha256"),
            verdict: text("/verdict"),
            headline: text("/headline"),
            top_finding: text("/findings/0/id"),
            top_probability: number("/findings/0/probability"),
            pitch_mm: both("/marks/families/0/pitch_mm"),
            height_p95_um: both("/marks/quality/height_p95_um"),
            visible_lines_per_10mm: number("/marks/quality/visible_lines_per_10mm"),
            fitness: text("/photo/fitness/verdict"),
            thumbnail,
        }
    }
    /// A photo that could not be measured.
    pub fn failed(file: String, error: String) -> Self {
        let nothing = Self::measured(Outcome::Failed, String::new(), &Value::Null, vec![]);
        Self { file, error: Some(error), folder: None, ..nothing }
    }
    /// The way to its report, for a link.
    fn link(&self) -> String {
        let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
        let code = |b: u8| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") };
        self.folder.iter().flat_map(|f| f.bytes()).map(code).collect::<String>() + "/report.html"
    }
    fn picture(&self) -> String {
        format!("data:image/jpeg;base64,{}", base64::engine::general_purpose::STANDARD.encode(&self.thumbnail))
    }
    fn in_words(id: &str) -> String {
        id.replace('-', " ")
    }
}

/// How many photos had each outcome.
pub fn count(rows: &[Row], outcome: Outcome) -> usize {
    rows.iter().filter(|r| r.outcome == outcome).count()
}

/// The whole as JSON; `shard` is (number, of how many).
pub fn json(rows: &[Row], shard: Option<(u32, u32)>) -> Value {
    json!({
        "summary_version": SUMMARY_VERSION,
        "program": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        "shard": shard.map(|(k, n)| format!("{k}/{n}")),
        "photos": rows.len(),
        "measured": count(rows, Outcome::Measured),
        "kept": count(rows, Outcome::Kept),
        "failed": count(rows, Outcome::Failed),
        "rows": rows,
    })
}

/// RFC 4180, one photo a line; what is not known stays empty.
pub fn csv(rows: &[Row]) -> String {
    let mut out = csv::Writer::from_writer(vec![]);
    // Writing to memory does not fail.
    let _ = out.write_record([
        "file",
        "outcome",
        "folder",
        "error",
        "sha256",
        "verdict",
        "headline",
        "top_finding",
        "top_probability",
        "pitch_mm",
        "pitch_mm_sigma",
        "height_p95_um",
        "height_p95_um_sigma",
        "visible_lines_per_10mm",
        "fitness",
    ]);
    for r in rows {
        let text = |v: &Option<String>| v.clone().unwrap_or_default();
        let number = |v: Option<f64>| v.map(|v| v.to_string()).unwrap_or_default();
        let outcome = match r.outcome {
            Outcome::Measured => "measured",
            Outcome::Kept => "kept",
            Outcome::Failed => "failed",
        };
        let _ = out.write_record([
            r.file.clone(),
            outcome.to_owned(),
            text(&r.folder),
            text(&r.error),
            text(&r.sha256),
            text(&r.verdict),
            text(&r.headline),
            text(&r.top_finding),
            number(r.top_probability),
            number(r.pitch_mm.map(|m| m.value)),
            number(r.pitch_mm.map(|m| m.sigma)),
            number(r.height_p95_um.map(|m| m.value)),
            number(r.height_p95_um.map(|m| m.sigma)),
            number(r.visible_lines_per_10mm),
            text(&r.fitness),
        ]);
    }
    out.into_inner().ok().and_then(|b| String::from_utf8(b).ok()).unwrap_or_default()
}

#[derive(Template)]
#[template(path = "summary.html", config = "src/summary/askama.toml")]
struct Page<'a> {
    rows: &'a [Row],
    failed: Vec<&'a Row>,
    verdicts: Vec<(String, usize)>,
    shard: Option<(u32, u32)>,
    measured: usize,
    kept: usize,
}

/// The page: one file, no scripts, nothing fetched; it links to the reports in the folders beside it. Fails only when
/// the template does, which the build has checked.
pub fn html(rows: &[Row], shard: Option<(u32, u32)>) -> crate::error::Result<String> {
    let mut verdicts: Vec<(String, usize)> = vec![];
    for v in rows.iter().filter_map(|r| r.verdict.as_deref()).map(Row::in_words) {
        match verdicts.iter_mut().find(|x| x.0 == v) {
            Some(x) => x.1 += 1,
            None => verdicts.push((v, 1)),
        }
    }
    verdicts.sort_by_key(|v| std::cmp::Reverse(v.1));
    let failed = rows.iter().filter(|r| r.outcome == Outcome::Failed).collect();
    let (measured, kept) = (count(rows, Outcome::Measured), count(rows, Outcome::Kept));
    crate::report::render(&Page { rows, failed, verdicts, shard, measured, kept }, "the summary")
}
