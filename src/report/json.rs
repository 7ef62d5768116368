//! report.json, schema version 1. Units stand in the names; a measured value is {value, sigma}; absent is null.

use super::Inspection;
use crate::fit::{Fit, word};
use crate::geometry::Point;
use crate::marks::{Edge, Family, Polarity, Strip};
use crate::photo::Photo;
use crate::rectify::FloorFrame;
use crate::units::Measured;
use serde_json::{Value, json};

/// Raised only when a key changes its meaning or goes away; new keys may come under the same number.
pub const SCHEMA_VERSION: u32 = 1;

/// Digits kept of every number: seven, one more than the best measured value here can carry.
const SIGNIFICANT: usize = 7;

/// The whole report as JSON. Lengths in millimetres are null where the photo has no scale; the same values in photo
/// pixels then stand under the `_px` names.
pub fn json(inspection: &Inspection) -> Value {
    let i = inspection;
    let e = &i.explanation;
    let mut out = json!({
        "schema_version": SCHEMA_VERSION,
        "program": program(),
        "photo": photo(&i.photo, &i.fit),
        "scale": scale(&i.frame),
        "light": i.patch.light,
        "floor": floor(i),
        "marks": marks(i),
        "cutting_file": i.plan.cutting_file,
        "comparison": e.comparison,
        "verdict": e.verdict,
        "headline": e.headline,
        "findings": e.findings,
        "would_settle": e.would_settle,
        "caveats": i.caveats,
        "retake": e.retake,
    });
    round(&mut out);
    out
}

pub(super) fn program() -> Value {
    json!({ "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") })
}

pub(super) fn scale(f: &FloorFrame) -> Option<Value> {
    f.scale.map(|s| {
        json!({
            "mm_per_px": s,
            "source": f.source,
            "residual_px": f.residual_px,
            "plane": f.level,
            "floor_offset_corrected": f.floor_offset_corrected,
        "floor_offset": floor_offset(f),
            "references": f.compared,
        })
    })
}

/// The photo and how fit it is.
pub(super) fn photo(p: &Photo, fit: &Fit) -> Value {
    json!({
        "file": p.file,
        "sha256": p.sha256,
        "width_px": p.width,
        "height_px": p.height,
        "taken": p.camera.taken,
        "camera": super::camera_name(p),
        "fitness": { "verdict": word(fit.verdict()), "judgements": fit.judgements },
    })
}

/// How the scale was carried from the reference's face down to the floor; null where it was not.
fn floor_offset(f: &FloorFrame) -> Value {
    if !f.floor_offset_corrected {
        return Value::Null;
    }
    let percent = Measured { value: 100.0 * f.floor_offset_relative, sigma: 100.0 * f.floor_offset_sigma };
    json!({
        "down_mm": f.floor_offset_mm,
        "change_percent": percent,
        "camera_distance_mm": f.pose.as_ref().map(|p| p.distance()),
    })
}

fn floor(i: &Inspection) -> Value {
    let scaled = i.frame.scale.is_some();
    json!({
        "area_mm2": scaled.then_some(i.patch.area),
        "used_fraction": i.patch.used_fraction,
        "outline_px": points(&i.patch.outline_px),
        "outline_mm": scaled.then(|| points(&i.patch.outline)),
        "outline_source": if i.patch.outline_given { "given" } else { "found" },
    })
}

fn marks(i: &Inspection) -> Value {
    let scaled = i.frame.scale.is_some();
    let (m, q) = (&i.marks, &i.marks.quality);
    json!({
        "families": m.families.iter().map(|f| family(f, scaled)).collect::<Vec<_>>(),
        "edges": m.edges.iter().map(|e| edge(e, i, scaled)).collect::<Vec<_>>(),
        "strips": m.strips.iter().map(|s| strip(s, scaled)).collect::<Vec<_>>(),
        "quality": {
            "visible_lines_per_10mm": q.visible_lines_per_10mm.filter(|_| scaled),
            "ridge_contrast": q.ridge_contrast,
            "height_p95_um": q.height_p95_um,
            "detectable_contrast": q.detectable_contrast,
            "detectable_height_um": q.detectable_height_um,
        },
        "figure": {
            "normal_deg": m.figure.normal_deg,
            "coherence": m.figure.coherence,
            "contrast": m.figure.contrast,
            "colour_share": m.figure.chroma_share,
        },
        "flecks": {
            "fraction": m.flecks.fraction,
            "per_cm2": scaled.then_some(m.flecks.per_cm2),
            "direction_deg": m.flecks.direction_deg,
        },
        "rim": { "ragged_fraction": m.rim_ragged },
    })
}

fn family(f: &Family, scaled: bool) -> Value {
    json!({
        "pitch_mm": scaled.then_some(f.pitch),
        "pitch_px": (!scaled).then_some(f.pitch),
        "normal_deg": f.normal_deg,
        "curved": f.curved,
        "strength_db": f.strength_db,
        "false_alarm": f.false_alarm,
        "coherent_passes": f.coherent_passes,
        "period_kind": f.period_kind,
        "height_um": f.height_um,
        "contrast": f.contrast,
        "coverage": f.coverage,
        "skew": f.skew,
        "jitter": f.jitter,
        "alternation": f.alternation,
        "harmonics": f.harmonics,
        "colour_share": f.chroma_share,
    })
}

fn edge(e: &Edge, i: &Inspection, scaled: bool) -> Value {
    json!({
        "offset_mm": scaled.then_some(e.offset),
        "length_mm": scaled.then_some(e.length),
        "normal_deg": e.normal_deg,
        "polarity": match e.polarity { Polarity::Shade => "shade", Polarity::Lit => "lit" },
        "height_um": e.height_um,
        "ends_px": points(&[i.frame.to_px.forward(e.from), i.frame.to_px.forward(e.to)]),
    })
}

fn strip(s: &Strip, scaled: bool) -> Value {
    json!({
        "offset_mm": scaled.then_some(s.offset),
        "width_mm": scaled.then_some(s.width),
        "width_px": (!scaled).then_some(s.width),
        "normal_deg": s.normal_deg,
        "length_mm": scaled.then_some(s.length),
        "proud": s.proud,
        "level_um": s.level_um,
    })
}

fn points(p: &[Point]) -> Value {
    p.iter().map(|p| json!([p.x, p.y])).collect()
}

/// Rounds every fraction in the tree; what is not finite is already null.
pub(super) fn round(value: &mut Value) {
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
