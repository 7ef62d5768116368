//! The corridor: one photo through all rooms, one line a room.

use crate::caveat;
use crate::caveat::Caveat;
use crate::draw::record;
use crate::error::Result;
use crate::expect;
use crate::explain;
use crate::fit;
use crate::floor;
use crate::floor::Patch;
use crate::marks;
use crate::opposite;
use crate::opposite::{Pair, Second};
use crate::photo;
use crate::photo::Photo;
use crate::plan::{ByHand, PlannedCut};
use crate::rectify;
use crate::rectify::FloorFrame;
use crate::reference;
use crate::report::Checked;
use crate::report::Inspection;
use crate::trace::Trace;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

/// Options of all rooms.
#[derive(Debug, Clone, Default)]
pub struct Options {
    pub photo: photo::Options,
    pub reference: reference::Options,
    pub floor: floor::Options,
    pub marks: marks::Options,
    /// What was marked by hand, to be held against the photo; its points and outline stand in the rooms' options.
    pub by_hand: Option<ByHand>,
    /// A second photo of the same floor with the lamp on the other side, and where its lamp stands if that was given.
    pub opposite: Option<PathBuf>,
    pub opposite_light_from_deg: Option<f64>,
}

impl Options {
    /// For the second photo: what was given in pixels of the first, or of its lamp, does not hold there.
    fn for_the_other_side(&self) -> Self {
        let reference = reference::Options { points: vec![], edge_px: None, ..self.reference.clone() };
        let light_from_deg = self.opposite_light_from_deg;
        let floor = floor::Options { outline_px: vec![], light_from_deg, ..self.floor.clone() };
        Self { reference, floor, by_hand: None, opposite: None, ..self.clone() }
    }
}

/// SHA-256 over plan and options, as 64 hexadecimal digits. Names that the user gave to things are left out; a second
/// photo's own digest is added once it is laid on the first.
pub fn inputs_sha256(plan: &PlannedCut, options: &Options) -> String {
    let plan = serde_json::to_string(plan).unwrap_or_default();
    let options = Options { opposite: None, ..options.clone() };
    format!("{:x}", Sha256::digest(format!("{plan}\n{options:?}")))
}

/// Looks at one photo without measuring its marks: is it fit for an inspection? `caveats` are those the plan already
/// raised.
///
/// Fails when the file cannot be read as a photo, given points cannot carry a scale, or no lit floor can be seen.
pub fn check(
    path: &Path,
    plan: PlannedCut,
    mut caveats: Vec<Caveat>,
    options: &Options,
    trace: &mut Trace,
) -> Result<Checked> {
    let mut keep = |mut new: Vec<Caveat>| caveats.append(&mut new);

    let (photo, new) = trace.stage("photo", || photo::read(path, &options.photo))?;
    keep(new);
    trace.record("photo", || record::photo(&photo))?;
    keep(options.by_hand.as_ref().map_or(Ok(vec![]), |m| m.fits(&photo))?);
    let (references, new) = trace.stage("reference", || reference::find(&photo, &plan, &options.reference))?;
    keep(new);
    trace.record("reference", || record::references(&photo, &references))?;
    let (frame, new) = trace.stage("rectify", || rectify::frame(&photo, &references, &plan));
    keep(new);
    let (frame, patch, new) =
        trace.stage("floor", || floor::find(&photo, &frame, &references, &plan, &options.floor))?;
    keep(new);
    trace.record("rectify", || record::rectify(&photo, &frame))?;
    trace.record("floor", || record::floor(&patch))?;
    let (fit, seen) = trace.stage("fit", || {
        let seen = fit::look(&photo, &frame, &references, &patch, &plan);
        (fit::judge((photo.width, photo.height), &frame, &references, &patch, &plan, &seen), seen)
    });
    trace.record("fit", || record::fit(&fit, &seen))?;
    Ok(Checked { photo, plan, references, frame, patch, fit, caveats })
}

/// Inspects one photo against what was meant to be cut; `caveats` are those the plan already raised.
///
/// Lengths in the result are millimetres on the floor plane, or photo pixels where `frame.scale` is `None`.
/// Fails as [`check`] does.
pub fn inspect(
    path: &Path,
    plan: PlannedCut,
    caveats: Vec<Caveat>,
    options: &Options,
    trace: &mut Trace,
) -> Result<Inspection> {
    let mut inputs_sha256 = inputs_sha256(&plan, options);
    let Checked { photo, plan, references, frame, patch, fit, mut caveats } =
        check(path, plan, caveats, options, trace)?;
    let mut pair = None;
    if let Some(path) = &options.opposite {
        let (found, mut new) = trace.stage("opposite", || other_side(path, &photo, &frame, &patch, &plan, options))?;
        caveats.append(&mut new);
        pair = found;
    }
    if let Some(p) = &pair {
        trace.record("opposite", || record::opposite(p))?;
        inputs_sha256 = format!("{:x}", Sha256::digest(format!("{inputs_sha256}\n{}", p.sha256)));
    }
    let expected = trace.stage("expect", || expect::expected(&plan));
    let mut look = options.marks.clone();
    look.scaled = frame.scale.is_some();
    if frame.scale.is_some() {
        look.cutter_radius = plan.cutter.diameter_mm.map(|d| d / 2.0);
        look.hints.extend(expected.pitches.iter().map(|p| p.pitch_mm));
    }
    let (marks, mut new) = trace.stage("marks", || match &pair {
        Some(pair) => marks::measure_pair(pair, &look),
        None => marks::measure(&patch, &look),
    });
    let mut marks = marks.with_scale(frame.scale.map_or(0.0, |s| s.relative_sigma()));
    caveats.append(&mut new);
    marks.surface = marks::surface(&marks.families, frame.scale.is_some());
    (marks.rim, new) = trace.stage("rim", || marks::rim(&photo, &frame, &references, &patch));
    caveats.append(&mut new);
    trace.record("marks", || record::marks(&patch, &marks))?;
    let (explanation, mut new) =
        trace.stage("explain", || explain::weigh(&frame, &patch, &fit, &marks, &plan, &expected));
    caveats.append(&mut new);
    trace.record("explain", || record::explain(&explanation))?;

    let mut seen = std::collections::HashSet::new();
    caveats.retain(|c| seen.insert((c.id, c.text.clone())));
    Ok(Inspection {
        inputs_sha256,
        photo,
        plan,
        references,
        frame,
        patch,
        fit,
        opposite: pair,
        marks,
        expected,
        explanation,
        caveats,
    })
}

/// The second photo through the first rooms, laid on the first. Fails when it cannot be read as a photo; whatever else
/// keeps it from being used is a caveat.
fn other_side(
    path: &Path,
    photo: &Photo,
    frame: &FloorFrame,
    patch: &Patch,
    plan: &PlannedCut,
    options: &Options,
) -> Result<(Option<Pair>, Vec<Caveat>)> {
    let options = options.for_the_other_side();
    let (other, _) = photo::read(path, &options.photo)?;
    let found = reference::find(&other, plan, &options.reference).and_then(|(references, _)| {
        let (frame, _) = rectify::frame(&other, &references, plan);
        floor::find(&other, &frame, &references, plan, &options.floor)
    });
    match found {
        Ok((its_frame, its_patch, _)) => {
            let second = Second { photo: &other, frame: &its_frame, patch: &its_patch };
            Ok(opposite::pair(frame, patch, photo, &second))
        }
        Err(e) => {
            Ok((None, vec![caveat::OPPOSITE_NOT_REGISTERED.with(format!("The second photo was left out: {e}."))]))
        }
    }
}
