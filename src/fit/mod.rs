//! Room 6: is the photo fit for use? Go, usable with care, or take it again, and what to change.
//!
//! [`look`] reads the camera's and the file's doings off the pixels; [`judge`] sets them and what the rooms before have
//! measured against limits ([`ALL`]: where each comes from and what happens on either side). No marks are needed, so the
//! answer is there in a fraction of the time of an inspection.

mod blocks;
mod edge;
mod flow;
mod judge;
mod kinds;
mod lamps;
mod noise;
mod tiles;

pub use blocks::Blocks;
pub use edge::EdgeResponse;
pub use flow::Flow;
pub use judge::judge;
pub use kinds::{ALL, Kind};
pub use noise::{Detail, immerkaer_sigma};

use crate::floor::Patch;
use crate::geometry::Point;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::rectify::FloorFrame;
use crate::reference::Reference;
use serde::Serialize;

/// How good one thing is, or the whole photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Grade {
    Ok,
    Care,
    Retake,
}

/// One judgement.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Judgement {
    pub id: &'static str,
    pub grade: Grade,
    /// The measured number in `unit`; `None` where it is a matter of yes or no.
    pub value: Option<f64>,
    pub unit: &'static str,
    /// Limits of the case, same unit: from where on care, from where on retake.
    pub care: Option<f64>,
    pub retake: Option<f64>,
    pub text: String,
    /// What to change; a standing sentence of the kind.
    pub change: &'static str,
}

/// All judgements of one photo, in the registry's order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fit {
    pub judgements: Vec<Judgement>,
}

impl Fit {
    /// The worst level of all.
    pub fn verdict(&self) -> Grade {
        self.judgements.iter().map(|j| j.grade).max().unwrap_or(Grade::Ok)
    }
    /// Whether nothing in the picture looks like a pocket: what was measured may not be a floor.
    pub fn without_pocket(&self) -> bool {
        self.judgements.iter().any(|j| j.id == kinds::NO_POCKET.id)
    }
    /// What is not in order, the most worthwhile first: retake before care, then the registry's order.
    pub fn faults(&self) -> Vec<&Judgement> {
        let mut all: Vec<&Judgement> = self.judgements.iter().filter(|j| j.grade > Grade::Ok).collect();
        all.sort_by_key(|j| std::cmp::Reverse(j.grade));
        all
    }
}

/// The verdict in one word, as the command line and report.json say it.
pub fn word(grade: Grade) -> &'static str {
    match grade {
        Grade::Ok => "go",
        Grade::Care => "care",
        Grade::Retake => "retake",
    }
}

/// What the pixels say; `None` = could not be read off this photo.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Seen {
    pub edge: Option<EdgeResponse>,
    pub blocks: Option<Blocks>,
    pub detail: Option<Detail>,
    /// Lines of colour (the wood's figure), and of light (ridges and figure together).
    pub colour_lines: Option<Flow>,
    pub light_lines: Option<Flow>,
    /// Share of the light that a second lamp's shadow takes.
    pub second_shadow: Option<f64>,
}

/// Reads the pixels of the lit floor and of the edges round it. Never fails.
pub fn look(photo: &Photo, frame: &FloorFrame, references: &[Reference], patch: &Patch, plan: &PlannedCut) -> Seen {
    let unit = judge::units_per_mm(frame, patch, plan);
    let ((tiles, edge), (colour_lines, light_lines, second_shadow)) = rayon::join(
        || {
            let mut lines: Vec<Vec<Point>> = vec![];
            if !patch.outline_assumed {
                lines.push(patch.outline.iter().map(|p| frame.rim().forward(*p)).collect());
            }
            lines.extend(references.iter().map(|r| r.outline_px.clone()));
            (tiles::lit(photo, frame, patch), edge::response(photo, &lines))
        },
        || {
            let second = if patch.outline_assumed { None } else { lamps::second_shadow(patch, plan, unit) };
            (flow::colour(patch, unit), flow::light(patch, unit), second)
        },
    );
    let (blocks, detail) = rayon::join(|| blocks::blocks(&tiles), || noise::detail(&tiles));
    Seen { edge, blocks, detail, colour_lines, light_lines, second_shadow }
}
