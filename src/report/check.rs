//! What `lowsun check` says: the verdict first, then what to change, then what was looked at.

use super::{Checked, json};
use crate::caveat::Caveat;
use crate::fit::{ALL, Grade, Judgement, Kind, word};
use crate::floor::Light;
use serde::Serialize;
use serde_json::Value;
use std::fmt::Write;

/// Faults told with advice. Two or three changes are what a person makes before the next photo.
const MOST_FAULTS: usize = 3;
/// Width of the text, characters.
const WIDTH: usize = 96;

/// The text, ending in a line break.
pub fn check_text(c: &Checked) -> String {
    let faults = c.fit.faults();
    let mut out = match c.fit.verdict() {
        Grade::Ok => format!("go: {} is fit for an inspection\n", c.photo.file),
        Grade::Care => format!("usable with care: {} can be inspected, with these doubts\n", c.photo.file),
        Grade::Retake => format!("retake: {} cannot carry an answer; take it again\n", c.photo.file),
    };
    for (n, j) in faults.iter().take(MOST_FAULTS).enumerate() {
        let _ = write!(out, "\n{}", wrapped(&format!("{}. ", n + 1), &format!("{}.", j.text)));
        let _ = write!(out, "{}", wrapped("   What to do: ", &format!("{}.", j.change)));
    }
    if faults.len() > MOST_FAULTS {
        let rest: Vec<&str> = faults[MOST_FAULTS..].iter().filter_map(|j| Some(kind(j)?.fault)).collect();
        let _ = write!(out, "\n{}", wrapped("Also: ", &format!("{}.", rest.join("; "))));
    }
    let good: Vec<&str> =
        c.fit.judgements.iter().filter(|j| j.grade == Grade::Ok).filter_map(|j| Some(kind(j)?.fine)).collect();
    if !good.is_empty() {
        let _ = write!(out, "\n{}", wrapped("In order: ", &format!("{}.", good.join(", "))));
    }
    if !faults.is_empty() {
        out.push_str("\nBefore you lean over the table: stop the spindle and cut its power. Keep the lamp out of people's\neyes and off dust and chips. How to take the photo, with drawings: docs/photographing.md\n");
    }
    out
}

fn kind(j: &Judgement) -> Option<&'static Kind> {
    ALL.iter().find(|k| k.id == j.id).copied()
}

/// Text broken at spaces, the first line after `head`, the others set in as far.
pub(super) fn wrapped(head: &str, text: &str) -> String {
    let indent = head.chars().count();
    let (mut out, mut column) = (head.to_owned(), indent);
    for (n, word) in text.split(' ').enumerate() {
        let length = word.chars().count();
        if n > 0 && column + 1 + length > WIDTH {
            out.push('\n');
            out.push_str(&" ".repeat(indent));
            column = indent;
        } else if n > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out.push('\n');
    out
}

#[derive(Serialize)]
struct Judged<'a> {
    schema_version: u32,
    program: json::Program,
    photo: json::PhotoFacts<'a>,
    scale: Option<json::Scale<'a>>,
    light: Light,
    verdict: &'static str,
    change_first: Vec<Advised<'a>>,
    caveats: &'a [Caveat],
}

#[derive(Serialize)]
struct Advised<'a> {
    id: &'static str,
    what: &'a str,
    change: &'static str,
}

fn advised(j: &Judgement) -> Advised<'_> {
    Advised { id: j.id, what: &j.text, change: j.change }
}

/// The same for programs: `photo` and `scale` as in report.json, and the caveats of the rooms that ran.
pub fn check_json(c: &Checked) -> Value {
    json::value_of(&Judged {
        schema_version: json::SCHEMA_VERSION,
        program: json::program(),
        photo: json::photo(&c.photo, &c.fit),
        scale: json::scale(&c.frame),
        light: c.patch.light,
        verdict: word(c.fit.verdict()),
        change_first: c.fit.faults().into_iter().take(MOST_FAULTS).map(advised).collect(),
        caveats: &c.caveats,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn long_lines_break_at_spaces_and_keep_their_indent() {
        let text = "word ".repeat(40);
        let out = wrapped("1. ", text.trim());
        assert!(out.lines().all(|l| l.chars().count() <= WIDTH), "{out}");
        assert!(out.lines().count() > 2 && out.lines().skip(1).all(|l| l.starts_with("   word")), "{out}");
    }
}
