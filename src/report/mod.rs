//! Room 9: an [`Inspection`] becomes bytes: JSON for programs, text for the terminal, one HTML page for people.
//! No arithmetic beyond rounding and the change of unit; pictures and plots are handed in.

mod ask;
mod check;
mod cutting;
mod expect;
mod html;
mod json;
mod letter;
mod mark;
mod numbers;
mod text;
mod words;

use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::expect::Expected;
use crate::explain::Explanation;
use crate::fit::Fit;
use crate::floor::Patch;
use crate::marks::Marks;
use crate::opposite::Pair;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::rectify::FloorFrame;
use crate::reference::Reference;

pub use ask::Request;
pub use check::{check_json, check_text};
pub use expect::{OutlookPictures, expect_html, expect_json, expect_text};
pub use html::html;
pub use json::{SCHEMA_VERSION, json, schema};
pub use letter::{Letter, Part};
pub use mark::mark_page;
pub use text::text;
pub use words::{height, length_in, plus_minus};

/// What every room handed on for one photo. Lengths are millimetres on the floor plane, or photo pixels where
/// `frame.scale` is `None`.
#[derive(Debug, Clone)]
pub struct Inspection {
    /// SHA-256 over plan and options: with the photo's own and the program's version it says what was done.
    pub inputs_sha256: String,
    pub photo: Photo,
    pub plan: PlannedCut,
    /// Best first; empty without any.
    pub references: Vec<Reference>,
    pub frame: FloorFrame,
    pub patch: Patch,
    pub fit: Fit,
    /// The second photo laid on this one, where there is one that fits.
    pub opposite: Option<Pair>,
    pub marks: Marks,
    pub expected: Expected,
    pub explanation: Explanation,
    pub caveats: Vec<Caveat>,
}

/// What the rooms before the marks handed on for one photo, and how fit it is.
#[derive(Debug, Clone)]
pub struct Checked {
    pub photo: Photo,
    pub plan: PlannedCut,
    pub references: Vec<Reference>,
    pub frame: FloorFrame,
    pub patch: Patch,
    pub fit: Fit,
    pub caveats: Vec<Caveat>,
}

/// One entry of a picture's key: a small SVG and what it stands for.
#[derive(Debug, Clone, Default)]
pub struct KeyEntry {
    pub swatch: String,
    pub text: String,
}

/// A picture with its key. `svg` and `swatch` are trusted markup made by this crate; `text` is plain and gets escaped.
#[derive(Debug, Clone, Default)]
pub struct Picture {
    pub svg: String,
    pub key: Vec<KeyEntry>,
}

/// The pictures of a page; a plot is absent where there was nothing to plot.
#[derive(Debug, Clone, Default)]
pub struct Pictures {
    pub photo: Picture,
    pub floor: Picture,
    /// Difference and sum with a second photo lit from the other side.
    pub relief: Option<Picture>,
    pub colour: Option<Picture>,
    /// Where the plan makes marks likely, over the photo.
    pub foretold: Option<Picture>,
    pub profile: Option<String>,
    pub spectrum: Option<String>,
    /// The most ragged stretch of the rim.
    pub rim: Option<Picture>,
}

impl Inspection {
    /// Maker and model as the camera wrote them, where it did.
    pub fn camera_name(&self) -> Option<String> {
        camera_name(&self.photo)
    }
}

/// A template's text. Fails only when the template does, which the build has checked.
pub(crate) fn render(page: &impl askama::Template, file: &str) -> Result<String> {
    page.render().map_err(|e| Error::new(Stage::Report, file, e.to_string(), "report this as a fault"))
}

fn camera_name(photo: &Photo) -> Option<String> {
    let c = &photo.camera;
    let words: Vec<&str> =
        [&c.make, &c.model].into_iter().flatten().map(|s| s.trim()).filter(|s| !s.is_empty()).collect();
    (!words.is_empty()).then(|| words.join(" "))
}
