//! The marks as report.json has them.

use super::super::Inspection;
use super::{pair, points};
use crate::explain::Along;
use crate::geometry::Point;
use crate::marks::{Curve, Edge, Family, PeriodKind, Polarity, Rim, RimPiece, Strip, Surface};
use crate::units::Measured;
use schemars::JsonSchema;
use serde::Serialize;

#[derive(Serialize, JsonSchema)]
pub(super) struct MarksFound {
    families: Vec<FamilyFound>,
    edges: Vec<EdgeFound>,
    curves: CurvesFound,
    strips: Vec<StripFound>,
    quality: QualityFound,
    figure: FigureFound,
    flecks: FlecksFound,
    /// Null where they could not be looked for.
    turns: Option<TurnsFound>,
    rim: RimFound,
    surface: SurfaceFound,
    /// Marks along the passes that this photo could show; null without a scale.
    along_pass: Option<Along>,
}

/// Evenly spaced lines.
#[derive(Serialize, JsonSchema)]
struct FamilyFound {
    pitch_mm: Option<Measured>,
    pitch_px: Option<Measured>,
    /// Across the lines, in [0, 180).
    normal_deg: Measured,
    curved: bool,
    /// Even in any one place, but out of step from place to place, as vibration leaves them.
    wandering: bool,
    /// "walls" where the lines follow the pocket's walls at even distances; null for lines that run straight across or bend
    /// otherwise.
    follows: Option<&'static str>,
    /// Over the floor's own texture.
    strength_db: f64,
    /// Chance that texture alone makes such a line.
    false_alarm: f64,
    coherent_passes: f64,
    period_kind: PeriodKind,
    height_um: Option<Measured>,
    contrast: f64,
    coverage: f64,
    skew: f64,
    jitter: f64,
    alternation: f64,
    harmonics: [f64; 4],
    colour_share: Option<Measured>,
    /// Whether period_kind comes from a second photo.
    kind_by_pair: bool,
}

/// One long, straight edge.
#[derive(Serialize, JsonSchema)]
struct EdgeFound {
    offset_mm: Option<f64>,
    length_mm: Option<f64>,
    normal_deg: f64,
    polarity: Polarity,
    height_um: Option<Measured>,
    ends_px: [[f64; 2]; 2],
}

/// Lines of light or shade that may bend, as steps round letters and along walls do; straight ones are among them.
#[derive(Serialize, JsonSchema)]
struct CurvesFound {
    lines: Vec<CurveFound>,
    /// Walls of letters and other islands.
    walls: Vec<CurveFound>,
    /// Of the bent ones together.
    colour_share: Option<Measured>,
}

/// One of them.
#[derive(Serialize, JsonSchema)]
struct CurveFound {
    length_mm: Option<f64>,
    turn_deg: f64,
    polarity: Polarity,
    /// Over the floor's own texture of that direction.
    stands_out: f64,
    path_px: Vec<[f64; 2]>,
}

/// A strip between two edges.
#[derive(Serialize, JsonSchema)]
struct StripFound {
    offset_mm: Option<f64>,
    width_mm: Option<Measured>,
    width_px: Option<Measured>,
    normal_deg: f64,
    length_mm: Option<f64>,
    proud: bool,
    level_um: Option<Measured>,
}

#[derive(Serialize, JsonSchema)]
struct QualityFound {
    visible_lines_per_10mm: Option<f64>,
    /// Rms relative brightness change of the found marks.
    ridge_contrast: f64,
    height_p95_um: Option<Measured>,
    /// Smallest contrast of even lines that would have been found on this floor.
    detectable_contrast: f64,
    detectable_height_um: Option<f64>,
}

/// Unevenly spaced lines: the wood's own.
#[derive(Serialize, JsonSchema)]
struct FigureFound {
    normal_deg: f64,
    coherence: f64,
    contrast: f64,
    colour_share: Option<f64>,
}

/// Short flecks of torn fibre.
#[derive(Serialize, JsonSchema)]
struct FlecksFound {
    fraction: f64,
    per_cm2: Option<f64>,
    direction_deg: Option<f64>,
}

/// Rings of about the cutter's size, where passes turn.
#[derive(Serialize, JsonSchema)]
struct TurnsFound {
    rings: usize,
    radius_mm: Option<Measured>,
    /// Middles of the rings on the floor.
    places_mm: Vec<[f64; 2]>,
}

/// The pocket's top edges.
#[derive(Serialize, JsonSchema)]
struct RimFound {
    /// Share of the judged length with burr or torn fibre; null where the rim could not be judged.
    ragged_fraction: Option<Measured>,
    /// Share of the rim's length that could be judged.
    judged_fraction: Option<f64>,
    /// The ragged pieces, longest first.
    ragged_pieces: Vec<RaggedPiece>,
}

/// Surface figures of the ridges in the terms of ISO 4287 / ISO 21920-2, estimated from light: the strongest relief's mean
/// period, repeated; what does not repeat is averaged out.
#[derive(Serialize, JsonSchema)]
struct SurfaceFound {
    /// Mean width of the profile elements.
    rsm_mm: Option<Measured>,
    ra_um: Option<Measured>,
    rq_um: Option<Measured>,
    rz_um: Option<Measured>,
    /// Cut-off of the Gaussian filter (ISO 16610-21), by the table of ISO 4288.
    cut_off_mm: Option<f64>,
    /// Of one cut-off each; five make the standard's evaluation length.
    sampling_lengths: Option<usize>,
    /// Where heights come from: light.
    estimated_from: &'static str,
    /// Why a figure is null.
    why: Option<String>,
}

/// One ragged piece of the rim, along the edge on the floor plane.
#[derive(Serialize, JsonSchema)]
struct RaggedPiece {
    length_mm: f64,
    /// Direction towards the stock at its middle, [0, 360).
    normal_deg: f64,
    /// Whether it is the edge of a letter or island.
    island: bool,
    points_mm: Vec<[f64; 2]>,
}

pub(super) fn marks(i: &Inspection) -> MarksFound {
    let scaled = i.frame.scale.is_some();
    let (m, q) = (&i.marks, &i.marks.quality);
    MarksFound {
        families: m.families.iter().map(|f| family(f, scaled)).collect(),
        edges: m.edges.iter().map(|e| edge(e, i, scaled)).collect(),
        curves: CurvesFound {
            lines: m.curves.lines.iter().map(|c| curve(c, i, scaled)).collect(),
            walls: m.curves.walls.iter().map(|c| curve(c, i, scaled)).collect(),
            colour_share: m.curves.chroma_share,
        },
        strips: m.strips.iter().map(|s| strip(s, scaled)).collect(),
        quality: QualityFound {
            visible_lines_per_10mm: q.visible_lines_per_10mm.filter(|_| scaled),
            ridge_contrast: q.ridge_contrast,
            height_p95_um: q.height_p95_um,
            detectable_contrast: q.detectable_contrast,
            detectable_height_um: q.detectable_height_um,
        },
        figure: FigureFound {
            normal_deg: m.figure.normal_deg,
            coherence: m.figure.coherence,
            contrast: m.figure.contrast,
            colour_share: m.figure.chroma_share,
        },
        flecks: FlecksFound {
            fraction: m.flecks.fraction,
            per_cm2: scaled.then_some(m.flecks.per_cm2),
            direction_deg: m.flecks.direction_deg,
        },
        turns: m.turns.as_ref().map(|t| TurnsFound {
            rings: t.places.len(),
            radius_mm: t.radius,
            places_mm: points(&t.places),
        }),
        rim: rim(&m.rim),
        surface: surface(&m.surface),
        along_pass: i.explanation.along.clone(),
    }
}

fn rim(r: &Rim) -> RimFound {
    let piece = |p: &RimPiece| RaggedPiece {
        length_mm: p.length,
        normal_deg: p.normal_deg,
        island: p.island,
        points_mm: points(&p.points),
    };
    RimFound {
        ragged_fraction: r.ragged,
        judged_fraction: r.ragged.map(|_| r.judged_fraction),
        ragged_pieces: r.pieces.iter().map(piece).collect(),
    }
}

fn surface(s: &Surface) -> SurfaceFound {
    SurfaceFound {
        rsm_mm: s.rsm_mm,
        ra_um: s.ra_um,
        rq_um: s.rq_um,
        rz_um: s.rz_um,
        cut_off_mm: s.cut_off_mm,
        sampling_lengths: s.sampling_lengths,
        estimated_from: "light",
        why: s.why.clone(),
    }
}

fn family(f: &Family, scaled: bool) -> FamilyFound {
    FamilyFound {
        pitch_mm: scaled.then_some(f.pitch),
        pitch_px: (!scaled).then_some(f.pitch),
        normal_deg: f.normal_deg,
        curved: f.curved,
        wandering: f.wandering,
        follows: f.along_walls.as_ref().map(|_| "walls"),
        strength_db: f.strength_db,
        false_alarm: f.false_alarm,
        coherent_passes: f.coherent_passes,
        period_kind: f.period_kind,
        height_um: f.height_um,
        contrast: f.contrast,
        coverage: f.coverage,
        skew: f.skew,
        jitter: f.jitter,
        alternation: f.alternation,
        harmonics: f.harmonics,
        colour_share: f.chroma_share,
        kind_by_pair: f.by_pair,
    }
}

fn edge(e: &Edge, i: &Inspection, scaled: bool) -> EdgeFound {
    let end = |p: Point| pair(&i.frame.to_px.forward(p));
    EdgeFound {
        offset_mm: scaled.then_some(e.offset),
        length_mm: scaled.then_some(e.length),
        normal_deg: e.normal_deg,
        polarity: e.polarity,
        height_um: e.height_um,
        ends_px: [end(e.from), end(e.to)],
    }
}

fn curve(c: &Curve, i: &Inspection, scaled: bool) -> CurveFound {
    CurveFound {
        length_mm: scaled.then_some(c.length),
        turn_deg: c.turn_deg,
        polarity: c.polarity,
        stands_out: c.snr,
        path_px: c.path.iter().map(|p| pair(&i.frame.to_px.forward(*p))).collect(),
    }
}

fn strip(s: &Strip, scaled: bool) -> StripFound {
    StripFound {
        offset_mm: scaled.then_some(s.offset),
        width_mm: scaled.then_some(s.width),
        width_px: (!scaled).then_some(s.width),
        normal_deg: s.normal_deg,
        length_mm: scaled.then_some(s.length),
        proud: s.proud,
        level_um: s.level_um,
    }
}
