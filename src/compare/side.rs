//! One side of a comparison, read from report.json.

use crate::error::{Error, Result, Stage};
use crate::units::Measured;
use serde::Serialize;
use serde_json::Value;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A family of evenly spaced lines; its size is the spacing.
    Lines,
    /// A strip at another level; its size is the width.
    Strip,
}

/// One kind of mark of a floor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mark {
    pub kind: Kind,
    pub size_mm: Measured,
    /// Direction across the lines.
    pub normal_deg: f64,
    /// Ridge height, or the strip's level (negative = below).
    pub height_um: Option<Measured>,
    pub contrast: Option<f64>,
}

/// What one report says that can be compared.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Side {
    pub file: String,
    pub sha256: String,
    pub taken: Option<String>,
    pub verdict: String,
    pub said: String,
    pub fitness: Option<String>,
    pub mm_per_px: Option<Measured>,
    pub light_from_deg: Option<Measured>,
    pub light_elevation_deg: Option<Measured>,
    pub planned_stepover_mm: Option<f64>,
    pub height_um: Option<Measured>,
    /// What shows is above all the wood's own figure or torn fibre: then its height says nothing of the cutter.
    pub is_wood: bool,
    /// Spacing of the finest visible lines.
    pub visible_pitch_mm: Option<Measured>,
    pub ridge_contrast: f64,
    pub detectable_contrast: f64,
    pub detectable_height_um: Option<f64>,
    /// Edges that stand alone or beside strips.
    pub edges: usize,
    pub marks: Vec<Mark>,
}

impl Side {
    /// Reads a report.json of schema version 1; `name` stands in messages.
    ///
    /// Fails at [`Stage::Compare`] on what is no such report.
    pub fn read(report: &Value, name: &str) -> Result<Self> {
        let at = |p: &str| report.pointer(p).filter(|v| !v.is_null());
        let text = |p: &str| at(p).and_then(Value::as_str).map(str::to_owned);
        let number = |p: &str| at(p).and_then(Value::as_f64);
        let measured = |p: &str| at(p).and_then(of);
        let fail = |what: &str| {
            let hint = "give a photo, a report.json of this program, or the folder that holds one";
            Error::new(Stage::Compare, name, what, hint)
        };
        if report["schema_version"] != crate::report::SCHEMA_VERSION {
            return Err(fail("is no report of this program's kind (schema_version is not 1)"));
        }
        let lost = || fail("lacks a part of a report");
        let list = |p: &str| at(p).and_then(Value::as_array).cloned();
        let families = list("/marks/families").ok_or_else(lost)?;
        let strips = list("/marks/strips").ok_or_else(lost)?;
        let lines = number("/marks/quality/visible_lines_per_10mm");
        let mut marks: Vec<Mark> =
            families.iter().filter_map(|f| mark(f, Kind::Lines, "pitch_mm", "height_um")).collect();
        // The finest visible family is the one that gave the count of lines.
        let visible_pitch_mm = lines.and_then(|n| {
            let off = |m: &&Mark| (10.0 / m.size_mm.value / n - 1.0).abs();
            marks.iter().filter(|m| off(m) < 1e-3).min_by(|a, b| off(a).total_cmp(&off(b))).map(|m| m.size_mm)
        });
        marks.extend(strips.iter().filter_map(|s| mark(s, Kind::Strip, "width_mm", "level_um")));
        Ok(Self {
            file: text("/photo/file").ok_or_else(lost)?,
            sha256: text("/photo/sha256").ok_or_else(lost)?,
            taken: text("/photo/taken"),
            verdict: text("/verdict").ok_or_else(lost)?,
            said: text("/headline").unwrap_or_default(),
            fitness: text("/photo/fitness/verdict"),
            mm_per_px: measured("/scale/mm_per_px"),
            light_from_deg: measured("/light/from_deg"),
            light_elevation_deg: measured("/light/elevation_deg"),
            planned_stepover_mm: number("/comparison/planned_stepover_mm"),
            height_um: measured("/marks/quality/height_p95_um"),
            is_wood: matches!(text("/findings/0/id").as_deref(), Some("wood-figure" | "fuzz-or-tear")),
            visible_pitch_mm,
            ridge_contrast: number("/marks/quality/ridge_contrast").unwrap_or(0.0),
            detectable_contrast: number("/marks/quality/detectable_contrast").unwrap_or(0.0),
            detectable_height_um: number("/marks/quality/detectable_height_um"),
            edges: list("/marks/edges").map_or(0, |e| e.len()),
            marks,
        })
    }
    /// The height of what the cutter left, where it is known.
    pub fn cut_height_um(&self) -> Option<Measured> {
        self.height_um.filter(|_| !self.is_wood)
    }
    /// Whether the floor shows nothing at all: neither even lines nor strips nor long edges.
    pub fn is_bare(&self) -> bool {
        self.marks.is_empty() && self.edges == 0
    }
}

fn of(v: &Value) -> Option<Measured> {
    Measured::new(v["value"].as_f64()?, v["sigma"].as_f64()?)
}

fn mark(v: &Value, kind: Kind, size: &str, height: &str) -> Option<Mark> {
    let normal_deg = v["normal_deg"].as_f64().or(v["normal_deg"]["value"].as_f64())?;
    let size_mm = of(&v[size]).filter(|m| m.value > 0.0)?;
    Some(Mark { kind, size_mm, normal_deg, height_um: of(&v[height]), contrast: v["contrast"].as_f64() })
}
