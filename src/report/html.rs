//! The page for people: one file, no scripts, nothing fetched. `page.html` holds the layout.

use super::{Inspection, Pictures, cutting, numbers, render, words};
use crate::explain;
use crate::explain::findings::record;
use crate::explain::{Change, Finding};
use crate::fit::{Grade, Judgement};
use askama::Template;

/// Changes are listed for findings from this probability up: below, advice would send people after ghosts.
const LEAST_FOR_CHANGES: f64 = 0.1;

#[derive(Template)]
#[template(path = "page.html", config = "src/report/askama.toml")]
struct Page<'a> {
    i: &'a Inspection,
    pictures: &'a Pictures,
    verdict: &'static str,
    sure: Option<String>,
    first: Vec<&'a Change>,
    numbers: Vec<(&'static str, String)>,
    families: Vec<numbers::FamilyRow>,
    surface: Vec<(&'static str, String)>,
    cut: Vec<(&'static str, String)>,
    findings: Vec<Row<'a>>,
    to_change: Vec<Row<'a>>,
    /// All that stand with the changes, and the lamp's.
    cautions: [&'a str; 4],
    scale: String,
    fit: &'static str,
    photo: Vec<(&'static str, &'a Judgement)>,
    facts: Vec<(&'static str, String)>,
}

/// A finding with its name and its probability in whole per cent.
struct Row<'a> {
    name: &'static str,
    percent: String,
    bar: String,
    /// What the cause is, at length; for the leading one only.
    long: Option<&'static str>,
    finding: &'a Finding,
}

impl<'a> From<&'a Finding> for Row<'a> {
    fn from(finding: &'a Finding) -> Self {
        Self {
            name: words::cause(finding.id),
            percent: words::percent(finding.probability),
            bar: format!("{:.1}", (finding.probability * 100.0).clamp(0.0, 100.0)),
            long: None,
            finding,
        }
    }
}

/// The page as UTF-8 text. Fails only when the template does, which the build has checked.
pub fn html(i: &Inspection, pictures: &Pictures) -> crate::error::Result<String> {
    let e = &i.explanation;
    let top = e.findings.first();
    let acted = |f: &&Finding| f.probability >= LEAST_FOR_CHANGES && !f.changes.is_empty();
    let mut findings: Vec<Row> = e.findings.iter().map(Row::from).collect();
    if let Some(first) = findings.first_mut() {
        first.long = Some(record(first.finding.id).long);
    }
    let page = Page {
        i,
        pictures,
        verdict: words::verdict(e.verdict),
        sure: top.map(|f| {
            format!("{}: {} ({})", words::cause(f.id), explain::sureness(f.probability), words::percent(f.probability))
        }),
        first: top.map(|f| f.changes.iter().take(2).collect()).unwrap_or_default(),
        numbers: numbers::main_numbers(i),
        families: numbers::family_rows(i),
        surface: numbers::surface(i),
        cut: cutting::rows(&i.plan),
        findings,
        to_change: e.findings.iter().filter(acted).map(Row::from).collect(),
        cautions: explain::CAUTIONS,
        scale: words::scale(i),
        fit: words::fitness(i.fit.verdict()),
        photo: i.fit.judgements.iter().map(|j| (words::fitness(j.grade), j)).collect(),
        facts: facts(i),
    };
    render(&page, &i.photo.file)
}

fn facts(i: &Inspection) -> Vec<(&'static str, String)> {
    let unknown = || "not in the file".to_owned();
    vec![
        ("File", i.photo.file.clone()),
        ("SHA-256", i.photo.sha256.clone()),
        ("Size", format!("{} \u{d7} {} pixels", i.photo.width, i.photo.height)),
        ("Camera", i.camera_name().unwrap_or_else(unknown)),
        ("Taken", i.photo.camera.taken.clone().unwrap_or_else(unknown)),
        (
            "Measured floor",
            format!(
                "{} of the outlined floor; outline {}: {}",
                words::percent(i.patch.used_fraction),
                if i.patch.outline_given { "as given" } else { "found" },
                i.patch.how
            ),
        ),
        ("Program", format!("{} {}", env!("CARGO_PKG_NAME"), env!("CARGO_PKG_VERSION"))),
    ]
}
