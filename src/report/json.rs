//! report.json, schema version 1. Units stand in the names; a measured value is {value, sigma}; absent is null. The
//! types here are the contract: the schema is made from them.

mod marks;

use super::Inspection;
use crate::caveat::Caveat;
use crate::explain::{Comparison, Finding, Predicted, Retake, Verdict};
use crate::fit::{Fit, Judgement, word};
use crate::floor::Light;
use crate::geometry::Point;
use crate::opposite::Pair;
use crate::photo::Photo;
use crate::plan::CuttingFile;
use crate::rectify::{Compared, FloorFrame};
use crate::reference::{Level, Source};
use crate::units::{LengthUnit, Measured};
use marks::{MarksFound, marks};
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde::Serialize;
use serde_json::Value;

/// Raised only when a key changes its meaning or goes away; new keys may come under the same number.
pub const SCHEMA_VERSION: u32 = 1;

/// Digits kept of every number: seven, one more than the best measured value here can carry.
const SIGNIFICANT: usize = 7;

/// The whole report as JSON. Lengths in millimetres are null where the photo has no scale; the same values in photo
/// pixels then stand under the `_px` names.
pub fn json(inspection: &Inspection) -> Value {
    value_of(&Report::from(inspection))
}

/// The JSON schema (draft 2020-12) of what [`json`] gives, made from its types: `docs/report.schema.json`.
pub fn schema() -> Value {
    let mut maker = SchemaSettings::draft2020_12().for_serialize().into_generator();
    maker.root_schema_for::<Report>().to_value()
}

/// Serialised and rounded. The types hold only what JSON can hold.
pub(super) fn value_of(report: &impl Serialize) -> Value {
    let mut out = serde_json::to_value(report).unwrap_or_default();
    round(&mut out);
    out
}

/// What lowsun read off one photo. A measured value is {value, sigma}, one standard deviation; null is "not known".
#[derive(Serialize, JsonSchema)]
#[schemars(title = "lowsun report, schema version 1")]
struct Report<'a> {
    /// 1. Keys may be added under the same number, never changed.
    schema_version: u32,
    program: Program,
    /// The unit of lengths in sentences; numbers are in the unit of their name.
    units: LengthUnit,
    /// SHA-256 over plan and options: with the photo's own and the program's version it says what was done.
    inputs_sha256: &'a str,
    photo: PhotoFacts<'a>,
    /// Null where nothing of known size was found or given: lengths then stand under the `_px` names.
    scale: Option<Scale<'a>>,
    light: Light,
    floor: Floor,
    /// The second photo, lit from the other side, where one was given and fits.
    opposite: Option<Opposite<'a>>,
    marks: MarksFound,
    /// What the cutting file says, where one was given.
    cutting_file: Option<&'a CuttingFile>,
    /// Where the planned passes leave marks of their own; null where the plan does not say enough.
    foretold: Option<Foretold<'a>>,
    comparison: &'a Comparison,
    verdict: Verdict,
    /// The finding in one sentence.
    headline: &'a str,
    /// The most probable first; probabilities sum to at most 1.
    findings: &'a [Finding],
    /// The photo or test cut that would tell the leading causes apart.
    would_settle: Option<&'a str>,
    caveats: &'a [Caveat],
    retake: Option<&'a Retake>,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct Program {
    name: &'static str,
    version: &'static str,
}

/// The photo and how fit it is; never where it was taken, by whom or with which device.
#[derive(Serialize, JsonSchema)]
pub(super) struct PhotoFacts<'a> {
    /// Name without its folder.
    file: &'a str,
    sha256: &'a str,
    width_px: usize,
    height_px: usize,
    /// Local time as the camera wrote it, YYYY-MM-DDTHH:MM:SS.
    taken: Option<&'a str>,
    /// Maker and model.
    camera: Option<String>,
    fitness: Fitness<'a>,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct Fitness<'a> {
    /// go, care or retake.
    verdict: &'static str,
    judgements: &'a [Judgement],
}

#[derive(Serialize, JsonSchema)]
pub(super) struct Scale<'a> {
    /// At the photo's centre.
    mm_per_px: Measured,
    source: Option<Source>,
    residual_px: f64,
    /// The plane that the reference lies on.
    plane: Option<Level>,
    floor_offset_corrected: bool,
    floor_offset: Option<FloorOffset>,
    /// Every reference against the first.
    references: &'a [Compared],
}

/// How the scale was carried from the reference's face down to the floor.
#[derive(Serialize, JsonSchema)]
pub(super) struct FloorOffset {
    down_mm: f64,
    change_percent: Measured,
    camera_distance_mm: Option<f64>,
}

/// The floor's outline: the same points in upright photo pixels and on the floor plane.
#[derive(Serialize, JsonSchema)]
struct Floor {
    area_mm2: Option<f64>,
    used_fraction: f64,
    outline_px: Vec<[f64; 2]>,
    outline_mm: Option<Vec<[f64; 2]>>,
    /// given or found.
    outline_source: &'static str,
}

/// Places on the floor plane, mm, that the plan or the cutting file foretells; all empty where it was not laid on the photo.
#[derive(Serialize, JsonSchema)]
struct Foretold<'a> {
    /// How it was laid, or why it was not.
    text: &'a str,
    /// Outlines of the first cuts at full width.
    first_cuts_mm: Vec<Vec<[f64; 2]>>,
    /// Where the cutter turns by more than 30 degrees.
    corners_mm: Vec<[f64; 2]>,
    /// Where it goes down into the floor's layer.
    entries_mm: Vec<[f64; 2]>,
}

/// The second photo and how well it lies on the first.
#[derive(Serialize, JsonSchema)]
struct Opposite<'a> {
    file: &'a str,
    sha256: &'a str,
    /// Rms of single places, pixels of the first photo.
    residual_px: f64,
    places_agreeing: usize,
    places: usize,
    /// Share of the measured floor that is lit in both.
    shared_fraction: f64,
    /// Between the lamps, seen from above; 180 = opposite.
    lamps_apart_deg: Option<f64>,
}

impl<'a> From<&'a Inspection> for Report<'a> {
    fn from(i: &'a Inspection) -> Self {
        let e = &i.explanation;
        Self {
            schema_version: SCHEMA_VERSION,
            program: program(),
            units: i.plan.units,
            inputs_sha256: &i.inputs_sha256,
            photo: photo(&i.photo, &i.fit),
            scale: scale(&i.frame),
            light: i.patch.light,
            floor: floor(i),
            opposite: i.opposite.as_ref().map(opposite),
            marks: marks(i),
            cutting_file: i.plan.cutting_file.as_ref(),
            foretold: e.predicted.as_ref().map(foretold),
            comparison: &e.comparison,
            verdict: e.verdict,
            headline: &e.headline,
            findings: &e.findings,
            would_settle: e.would_settle.as_deref(),
            caveats: &i.caveats,
            retake: e.retake.as_ref(),
        }
    }
}

pub(super) fn program() -> Program {
    Program { name: env!("CARGO_PKG_NAME"), version: env!("CARGO_PKG_VERSION") }
}

pub(super) fn scale(f: &FloorFrame) -> Option<Scale<'_>> {
    f.scale.map(|s| Scale {
        mm_per_px: s,
        source: f.source,
        residual_px: f.residual_px,
        plane: f.level,
        floor_offset_corrected: f.floor_offset_corrected,
        floor_offset: floor_offset(f),
        references: &f.compared,
    })
}

pub(super) fn photo<'a>(p: &'a Photo, fit: &'a Fit) -> PhotoFacts<'a> {
    PhotoFacts {
        file: &p.file,
        sha256: &p.sha256,
        width_px: p.width,
        height_px: p.height,
        taken: p.camera.taken.as_deref(),
        camera: super::camera_name(p),
        fitness: Fitness { verdict: word(fit.verdict()), judgements: &fit.judgements },
    }
}

fn floor_offset(f: &FloorFrame) -> Option<FloorOffset> {
    f.floor_offset_corrected.then(|| FloorOffset {
        down_mm: f.floor_offset_mm,
        change_percent: Measured { value: 100.0 * f.floor_offset_relative, sigma: 100.0 * f.floor_offset_sigma },
        camera_distance_mm: f.pose.as_ref().map(|p| p.distance()),
    })
}

fn floor(i: &Inspection) -> Floor {
    let scaled = i.frame.scale.is_some();
    Floor {
        area_mm2: scaled.then_some(i.patch.area),
        used_fraction: i.patch.used_fraction,
        outline_px: points(&i.patch.outline_px),
        outline_mm: scaled.then(|| points(&i.patch.outline)),
        outline_source: if i.patch.outline_given { "given" } else { "found" },
    }
}

fn foretold(p: &Predicted) -> Foretold<'_> {
    Foretold {
        text: &p.text,
        first_cuts_mm: p.slots.iter().map(|s| points(s)).collect(),
        corners_mm: points(&p.corners),
        entries_mm: points(&p.entries),
    }
}

fn opposite(p: &Pair) -> Opposite<'_> {
    Opposite {
        file: &p.file,
        sha256: &p.sha256,
        residual_px: p.registered.residual_px,
        places_agreeing: p.registered.agreeing,
        places: p.registered.pieces,
        shared_fraction: p.shared_fraction,
        lamps_apart_deg: p.lamps_apart_deg,
    }
}

fn pair(p: &Point) -> [f64; 2] {
    [p.x, p.y]
}

fn points(p: &[Point]) -> Vec<[f64; 2]> {
    p.iter().map(pair).collect()
}

/// Rounds every fraction in the tree; what is not finite is already null.
fn round(value: &mut Value) {
    match value {
        Value::Array(list) => list.iter_mut().for_each(round),
        Value::Object(map) => map.values_mut().for_each(round),
        Value::Number(n) if n.is_f64() => {
            let x = n.as_f64().unwrap_or(0.0);
            if x != 0.0 {
                let text = format!("{x:.*e}", SIGNIFICANT - 1);
                *value = text.parse::<f64>().map_or(Value::Null, Value::from);
            }
        }
        _ => {}
    }
}
