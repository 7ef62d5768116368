//! The letter to the person who sent the photo: what was found, how sure, what to try first; for a lay reader. Made from
//! report.json alone, and only from what is listed in [`Told`]: notes of the shop, names of files and of the camera, and
//! the machine's own figures are not among it.

use super::check::wrapped;
use super::render;
use super::words::{self, capital};
use crate::error::{Error, Result, Stage};
use crate::expect::Cause;
use crate::explain::{CAUTIONS, findings, sureness};
use crate::units::{LengthUnit, MM_PER_INCH, Measured};
use askama::Template;
use serde::Deserialize;

/// Under this probability of the leading cause the letter says what would settle it (as the report does).
const OPEN: f64 = 0.8;
/// From this probability on a change is worth trying; below, advice would send people after ghosts.
const LEAST_FOR_CHANGES: f64 = 0.25;
/// Thickness of office paper of 80 g per square metre, micrometres (common practice, no source).
const PAPER_UM: f64 = 100.0;

/// What the letter takes from a report.
#[derive(Debug, Deserialize)]
struct Told {
    schema_version: u32,
    #[serde(default)]
    units: LengthUnit,
    headline: String,
    findings: Vec<ToldFinding>,
    would_settle: Option<String>,
    retake: Option<ToldRetake>,
    marks: ToldMarks,
    comparison: ToldComparison,
}

#[derive(Debug, Deserialize)]
struct ToldFinding {
    id: Cause,
    probability: f64,
    changes: Vec<ToldChange>,
}

#[derive(Debug, Deserialize)]
struct ToldChange {
    what: String,
    from: Option<String>,
    to: String,
    why: String,
    effect: Option<String>,
    cost: Option<String>,
}

#[derive(Debug, Deserialize)]
struct ToldRetake {
    reasons: Vec<String>,
    advice: Vec<String>,
}

#[derive(Debug, Deserialize)]
struct ToldMarks {
    families: Vec<ToldFamily>,
    quality: ToldQuality,
}

#[derive(Debug, Deserialize)]
struct ToldFamily {
    pitch_mm: Option<Measured>,
    height_um: Option<Measured>,
}

#[derive(Debug, Deserialize)]
struct ToldQuality {
    height_p95_um: Option<Measured>,
    detectable_height_um: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct ToldComparison {
    planned_stepover_mm: Option<f64>,
}

/// One part of the letter: a heading (empty for the first), sentences, and points of a list.
#[derive(Debug, Default, PartialEq)]
pub struct Part {
    pub heading: &'static str,
    pub sentences: Vec<String>,
    pub points: Vec<String>,
    /// The pictures stand after this part.
    pub pictures: bool,
}

/// A letter ready to write.
#[derive(Debug, PartialEq)]
pub struct Letter {
    pub greeting: String,
    pub parts: Vec<Part>,
    pub closing: Vec<String>,
}

#[derive(Template)]
#[template(path = "letter.html", config = "src/report/askama.toml")]
struct Page<'a> {
    letter: &'a Letter,
    pictures: &'a [String],
}

/// Captions of the two pictures of a report, in its order.
const CAPTIONS: [&str; 2] = [
    "Your photo, with what was found drawn on it: dashed the floor that was measured, in colour its lines, the yellow arrow the \
     way the light falls.",
    "The floor as seen from straight above, with the slow change of the light taken out so that small ridges show. Darker \
     places were left out.",
];

impl Letter {
    /// The letter on a report. `json`: the text of report.json, `name`: its file, for messages; `to` and `from`: names for
    /// greeting and signature.
    ///
    /// Fails at [`Stage::Report`] on text that is not a report of schema version 1.
    pub fn new(json: &str, name: &str, to: Option<&str>, from: Option<&str>) -> Result<Self> {
        let fail = |what: String| {
            let hint = "give the report.json that lowsun inspect wrote, or its folder";
            Error::new(Stage::Report, name, what, hint)
        };
        let told: Told = serde_json::from_str(json).map_err(|e| fail(format!("is not a report of lowsun ({e})")))?;
        if told.schema_version != super::json::SCHEMA_VERSION {
            return Err(fail(format!("is a report of schema version {}", told.schema_version)));
        }
        let parts = [Some(found(&told)), numbers(&told), change(&told), open(&told), retake(&told), Some(cautions())];
        Ok(Self {
            greeting: to.map_or("Hello,".into(), |t| format!("Dear {t},")),
            parts: parts.into_iter().flatten().collect(),
            closing: ["With kind regards".to_owned()].into_iter().chain(from.map(str::to_owned)).collect(),
        })
    }
    /// Plain text for a mail, ending in a line break.
    pub fn text(&self) -> String {
        let mut out = format!("{}\n", self.greeting);
        for p in &self.parts {
            if !p.heading.is_empty() {
                out += &format!("\n{}\n{}\n", p.heading, "-".repeat(p.heading.len()));
            } else {
                out.push('\n');
            }
            p.sentences.iter().for_each(|s| out += &wrapped("", s));
            p.points.iter().for_each(|s| out += &wrapped("  - ", s));
        }
        out + "\n" + &self.closing.join("\n") + "\n"
    }
    /// One HTML page; `report_html`: the page beside the report, from which its pictures are taken. Fails only when the
    /// template does.
    pub fn html(&self, report_html: Option<&str>) -> Result<String> {
        let pictures = report_html.map(pictures).unwrap_or_default();
        render(&Page { letter: self, pictures: &pictures }, "the letter")
    }
}

/// The pictures of a report's page with the letter's captions; none where they hold anything but drawing.
fn pictures(page: &str) -> Vec<String> {
    let one = |(figure, caption): (&str, &str)| {
        let svg = figure.find("<svg")?;
        let end = figure.find("</svg>")? + "</svg>".len();
        let svg = figure.get(svg..end)?;
        let foreign = ["<script", "<foreignObject", "javascript:", " on", "http"];
        // Long data between quotes is left out of the look, or chance would find such a word in it.
        let drawn: String =
            svg.split('"').enumerate().filter(|(n, t)| n % 2 == 0 || t.len() < 500).map(|t| t.1).collect();
        let plain = !foreign.iter().any(|w| drawn.contains(w)) && svg.contains("href=\"data:image/jpeg;base64,");
        plain.then(|| format!("<figure>{svg}<figcaption>{caption}</figcaption></figure>"))
    };
    page.split("<figure class=\"photo\"").skip(1).zip(CAPTIONS).filter_map(one).collect()
}

fn found(t: &Told) -> Part {
    let mut sentences =
        vec!["Thank you for the photo of the pocket floor. This is what it shows.".to_owned(), t.headline.clone()];
    if let Some(f) = t.findings.first().filter(|f| f.id != Cause::CannotTell) {
        let of_ten = (f.probability * 10.0).round().clamp(0.0, 10.0);
        let share = match of_ten as u32 {
            10 => "all but certain".to_owned(),
            0 => "under one chance in ten".to_owned(),
            n => format!("about {n} chances in 10"),
        };
        sentences.push(format!(
            "How sure that is: {} ({share}). {}",
            sureness(f.probability),
            findings::record(f.id).long
        ));
    }
    Part { sentences, pictures: true, ..Part::default() }
}

fn length(u: LengthUnit, m: Measured) -> String {
    match u {
        LengthUnit::Mm => words::plus_minus(m, "mm"),
        LengthUnit::In => words::plus_minus(m.scaled(1.0 / MM_PER_INCH), "in"),
    }
}

fn numbers(t: &Told) -> Option<Part> {
    let mut points = vec![];
    let line = t.marks.families.first();
    if let Some(p) = line.and_then(|f| f.pitch_mm) {
        let planned =
            t.comparison.planned_stepover_mm.map(|s| format!("; the planned stepover is {}", t.units.show(s)));
        points.push(format!("The lines repeat every {}{}.", length(t.units, p), planned.unwrap_or_default()));
    }
    if let Some(h) = line.and_then(|f| f.height_um).or(t.marks.quality.height_p95_um) {
        points.push(format!(
            "The ridges are {} high; a sheet of office paper is about {} thick.",
            words::height(t.units, h),
            t.units.show_height(PAPER_UM)
        ));
    } else if let Some(h) = t.marks.quality.detectable_height_um {
        points.push(format!("A ridge of {} or more would have shown in this photo.", t.units.show_height(h)));
    }
    if points.is_empty() {
        return None;
    }
    let sentences = vec!["Behind ± stands by how much a number may well be off (one standard deviation).".into()];
    Some(Part { heading: "In numbers", sentences, points, ..Part::default() })
}

/// The first change of the leading finding.
fn change(t: &Told) -> Option<Part> {
    let c = t.findings.first().filter(|f| f.probability >= LEAST_FOR_CHANGES)?.changes.first()?;
    let from = c.from.as_deref().map(|f| format!("from {f} to ")).unwrap_or_default();
    let mut sentences = vec![format!("{}: {from}{}.", capital(&c.what), c.to.trim_end_matches('.'))];
    sentences.extend(public(&c.why).map(|w| format!("Why: {w}")));
    sentences.extend(c.effect.as_deref().and_then(public).map(|w| format!("What it does: {w}")));
    sentences.extend(c.cost.as_deref().and_then(public).map(|w| format!("What it costs: {w}")));
    sentences.push("Change this one thing only, cut a piece of scrap, and take the photo again the same way.".into());
    Some(Part { heading: "What to try first", sentences, ..Part::default() })
}

/// The text without sentences on the shop's own machine; `None` where nothing is left.
fn public(text: &str) -> Option<String> {
    let internal = |s: &str| ["stiffness", "N per", "N/"].iter().any(|w| s.contains(w));
    let kept: Vec<&str> =
        text.trim_end_matches('.').split(". ").map(|s| s.trim_end_matches('.')).filter(|s| !internal(s)).collect();
    (!kept.is_empty()).then(|| capital(&kept.join(". ")) + ".")
}

fn open(t: &Told) -> Option<Part> {
    let settled = t.retake.is_some() || t.findings.first().is_some_and(|f| f.probability >= OPEN);
    let settle = t.would_settle.as_ref().filter(|_| !settled)?;
    Some(Part { heading: "What would make it certain", sentences: vec![capital(settle)], ..Part::default() })
}

fn retake(t: &Told) -> Option<Part> {
    let r = t.retake.as_ref()?;
    let sentences =
        vec![format!("{}.", r.reasons.iter().map(|s| capital(s.trim_end_matches('.'))).collect::<Vec<_>>().join(". "))];
    let points = r.advice.iter().map(|s| capital(s)).collect();
    Some(Part { heading: "A better photo, please", sentences, points, ..Part::default() })
}

fn cautions() -> Part {
    let points = CAUTIONS.iter().map(|s| (*s).to_owned()).collect();
    Part { heading: "Before you change anything", points, ..Part::default() }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn sentences_on_the_shops_machine_are_left_out() {
        let why = "The bite falls by half. At a stiffness of 5 N/um that is 12 um. Less push, less step.";
        assert_eq!(public(why).unwrap(), "The bite falls by half. Less push, less step.");
        assert_eq!(public("The stiffness of the machine is low."), None);
    }
    #[test]
    fn pictures_that_hold_more_than_drawing_are_left_out() {
        let good =
            "<figure class=\"photo\" role=\"group\"><svg><image href=\"data:image/jpeg;base64,AA\"/></svg></figure>";
        assert_eq!(pictures(good).len(), 1);
        for bad in ["<script>", "<a onclick=\"x\">", "<image href=\"https://a\"/>"] {
            assert!(pictures(&good.replace("<svg>", &format!("<svg>{bad}"))).is_empty(), "{bad}");
        }
    }
    #[test]
    fn what_is_no_report_is_refused() {
        for (text, word) in [("{}", "not a report"), ("hello", "not a report")] {
            let e = Letter::new(text, "x.json", None, None).unwrap_err();
            assert!(e.what.contains(word) && e.subject == "x.json", "{e}");
        }
    }
}
