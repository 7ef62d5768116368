//! The sheet to send to a customer: how to take the photo and which facts to send. One list of words, for PDF and HTML.

use super::render;
use crate::error::Result;
use crate::units::LengthUnit;
use askama::Template;

/// What the sheet says.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    pub title: &'static str,
    pub intro: String,
    pub steps: Vec<String>,
    /// What to write down: name and what is meant.
    pub facts: Vec<(&'static str, String)>,
    pub sending: Vec<String>,
    pub cautions: Vec<String>,
    pub card: String,
}

/// The sheet's page: its words, its drawings and the card's own page as trusted SVG of this crate.
#[derive(Template)]
#[template(path = "request.html", config = "src/report/askama.toml")]
struct Page<'a> {
    r: &'a Request,
    paper: &'a str,
    drawings: &'a [String],
    card: &'a str,
}

impl Request {
    /// The words, with lengths in the reader's unit; `from`: who asks.
    pub fn new(units: LengthUnit, from: Option<&str>) -> Self {
        let (far, near, thick, unit) = match units {
            LengthUnit::Mm => ("30 to 60 cm", "20 to 40 cm", "1 to 3 mm", "mm"),
            LengthUnit::In => ("1 to 2 ft", "8 to 16 in", "1/16 to 1/8 in", "in"),
        };
        let who = from.map_or("us".to_owned(), str::to_owned);
        Self {
            title: "Photo of a pocket floor, please",
            intro: format!(
                "Ridges on a routed floor show only in light that grazes it. Please take one photo this way and send it to \
                 {who} with the facts below."
            ),
            steps: vec![
                "Stop the machine and isolate the spindle. Brush and vacuum the floor.".into(),
                "Cut out the card of the next page and lay it flat beside the pocket, or lay a bank card there (its blank \
                 side up)."
                    .into(),
                "Darken the room. No flash.".into(),
                format!(
                    "One small lamp, {far} away and low, so that it shines across the passes. The wall's shadow on the floor \
                     should be four to six times as long as the pocket is deep."
                ),
                format!("Hold the phone level, {near} above the work. Pocket and card fill the picture, nothing is cut off."),
                "Touch the floor on the screen, so that it is sharp and not too bright. Rest the phone on something.".into(),
                "If you can, take a second photo with the lamp on the opposite side.".into(),
            ],
            facts: vec![
                ("Cutter", "flat, ball or bull nose; number of flutes".into()),
                ("Helix", "up-cut, down-cut, compression, straight".into()),
                ("Diameter", format!("of the cutter ({unit})")),
                ("Stepover", format!("{unit}, or % of the diameter")),
                ("Depth", format!("of the pocket ({unit}); last thin pass, if any")),
                ("Feed", format!("{unit} per minute")),
                ("Speed", "of the spindle, turns per minute".into()),
                ("Pattern", "parallel passes or along the outline; both ways?".into()),
                ("Pocket", format!("its width and height ({unit})")),
                ("Material", "kind of wood or board; direction of the grain".into()),
                ("Card", "the two printed bars as you measured them".into()),
            ],
            sending: vec![
                "Send the file as the phone saved it: by mail as a file, by cable or a cloud folder. Chats shrink photos. The \
                 file that the machine ran helps too."
                    .into(),
                "The place and the names that a phone writes into a photo are not read or kept.".into(),
            ],
            cautions: vec![
                "A spinning cutter takes fingers: isolate the spindle (unplug it or lock it out) and wait until it stands \
                 still before you reach in."
                    .into(),
                "Keep the lamp out of people's eyes, off dust and shavings, and its cable out of the way.".into(),
                "Dust harms the lungs: extract it and wear a fitting mask.".into(),
                "The makers' manuals, local codes and people licensed for the work come first.".into(),
            ],
            card: format!(
                "The next page is the card. Print it at 100 %, not \"fit to page\", measure both bars, glue it on a flat board \
                 of {thick} and write the board's thickness down too."
            ),
        }
    }
    /// One HTML page that prints on `paper` ("a4" or "letter"); fetches nothing. Fails only when the template does.
    pub fn html(&self, paper: &str, drawings: &[String], card: &str) -> Result<String> {
        render(&Page { r: self, paper, drawings, card }, "the request")
    }
}
