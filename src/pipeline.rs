//! The corridor: one photo through all rooms, one line a room.

use crate::caveat::Caveat;
use crate::draw::record;
use crate::error::Result;
use crate::expect;
use crate::explain;
use crate::fit;
use crate::floor;
use crate::marks;
use crate::photo;
use crate::plan::{ByHand, PlannedCut};
use crate::rectify;
use crate::reference;
use crate::report::Checked;
use crate::report::Inspection;
use crate::trace::Trace;
use sha2::{Digest, Sha256};
use std::path::Path;

/// Options of all rooms.
#[derive(Debug, Clone, Default)]
pub struct Options {
    pub photo: photo::Options,
    pub reference: reference::Options,
    pub floor: floor::Options,
    pub marks: marks::Options,
    /// What was marked by hand, to be held against the photo; its points and outline stand in the rooms' options.
    pub by_hand: Option<ByHand>,
}

/// SHA-256 over plan and options, as 64 hexadecimal digits. Names that the user gave to things are left out.
pub fn inputs_sha256(plan: &PlannedCut, options: &Options) -> String {
    let plan = serde_json::to_string(plan).unwrap_or_default();
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
    let inputs_sha256 = inputs_sha256(&plan, options);
    let Checked { photo, plan, references, frame, patch, fit, mut caveats } =
        check(path, plan, caveats, options, trace)?;
    let expected = trace.stage("expect", || expect::expected(&plan));
    let mut look = options.marks.clone();
    look.scaled = frame.scale.is_some();
    if frame.scale.is_some() {
        look.hints.extend(expected.pitches.iter().map(|p| p.pitch_mm));
    }
    let (marks, mut new) = trace.stage("marks", || marks::measure(&patch, &look))?;
    let marks = marks.with_scale(frame.scale.map_or(0.0, |s| s.relative_sigma()));
    caveats.append(&mut new);
    trace.record("marks", || record::marks(&patch, &marks))?;
    let (explanation, mut new) =
        trace.stage("explain", || explain::weigh(&frame, &patch, &fit, &marks, &plan, &expected));
    caveats.append(&mut new);
    trace.record("explain", || record::explain(&explanation))?;

    let mut seen = std::collections::HashSet::new();
    caveats.retain(|c| seen.insert((c.id, c.text.clone())));
    Ok(Inspection { inputs_sha256, photo, plan, references, frame, patch, fit, marks, expected, explanation, caveats })
}
