//! One function per room: what it hands on, as a picture and as values, for `--trace`.

use super::{Ink, Shape, floor, overlay, raster, reduced};
use crate::explain::Explanation;
use crate::fit::{Fit, Seen, word};
use crate::floor::Patch;
use crate::geometry::{Homography, PlaneMap, Point};
use crate::marks::Marks;
use crate::opposite::Pair;
use crate::photo::Photo;
use crate::rectify::FloorFrame;
use crate::reference::Reference;
use image::RgbImage;
use serde_json::{Value, json};

type Record = (Option<RgbImage>, Value);

/// Longest side of a picture, pixels: one pixel of a 12 MP photo is then a third of a pixel.
const SIDE: u32 = 1600;
/// Spacing of the grid that shows a frame, and its reach from the middle of the photo.
const GRID_MM: f64 = 10.0;
const GRID_LINES: i32 = 10;

/// The relief that two photos show together.
pub fn opposite(p: &Pair) -> Record {
    let values = json!({
        "file": p.file, "registered": p.registered, "shared_fraction": p.shared_fraction,
        "lamps_apart_deg": p.lamps_apart_deg, "light": p.relief.light,
    });
    (Some(floor::flattened(&p.relief, SIDE as usize).0), values)
}

pub fn photo(p: &Photo) -> Record {
    let values = json!({
        "file": p.file, "sha256": p.sha256, "width_px": p.width, "height_px": p.height,
        "has_colour": p.has_colour, "camera": p.camera, "focal_px": p.focal_px(),
    });
    (Some(reduced(p, SIDE).0), values)
}

/// Every reference with its outline, and a grid of 10 mm on the plane of the first.
pub fn references(p: &Photo, all: &[Reference]) -> Record {
    let (mut picture, k) = reduced(p, SIDE);
    let mut shapes = all.first().map(|r| grid(&r.to_px, k, p)).unwrap_or_default();
    shapes.extend(all.iter().filter_map(|r| overlay::reference(r, k)));
    raster::draw_shapes(&mut picture, &shapes);
    let values = all.iter().map(|r| {
        json!({
            "source": r.source, "level": r.level, "height_mm": r.height_mm, "residual_px": r.residual_px,
            "relative_sigma": r.relative_sigma, "local_sigma": r.local_sigma, "at_px": r.at_px,
            "focal_px": r.focal_px, "outline_px": r.outline_px, "to_px": map(&r.to_px),
        })
    });
    (Some(picture), values.collect())
}

/// The photo with a grid of 10 mm on the floor plane.
pub fn rectify(p: &Photo, f: &FloorFrame) -> Record {
    let (mut picture, k) = reduced(p, SIDE);
    if f.scale.is_some() {
        raster::draw_shapes(&mut picture, &grid(&f.to_px, k, p));
    }
    let values = json!({
        "mm_per_px": f.scale, "source": f.source, "residual_px": f.residual_px, "level": f.level,
        "compared": f.compared,
        "floor_offset_corrected": f.floor_offset_corrected, "floor_offset_relative": f.floor_offset_relative,
        "floor_offset_sigma": f.floor_offset_sigma, "floor_offset_mm": f.floor_offset_mm,
        "to_px": map(&f.to_px), "camera_distance_mm": f.pose.as_ref().map(|p| p.distance()),
        "obliquity_deg": f.pose.as_ref().map(|p| p.obliquity_deg()),
    });
    (Some(picture), values)
}

/// The floor's piece: what is measured in grey, what is left out in red, outline and lamp.
pub fn floor(p: &Patch) -> Record {
    let (mut picture, k) = floor::mask_picture(p, SIDE as usize);
    let place = |q: Point| p.view.to_sample(q) * k;
    let mut shapes = overlay::floor(p, &place);
    let island = |i: &Vec<Point>| Shape { points: i.iter().map(|q| place(*q)).collect(), closed: true, ink: Ink::Lit };
    shapes.extend(p.islands.iter().map(island));
    raster::draw_shapes(&mut picture, &shapes);
    let values = json!({
        "how": p.how, "outline": p.outline, "outline_px": p.outline_px, "islands": p.islands.len(),
        "pocket_x_deg": p.pocket_x_deg, "light": p.light, "area": p.area, "used_fraction": p.used_fraction,
        "burnt_fraction": p.burnt_fraction, "black_fraction": p.black_fraction, "blur_px": p.blur_px,
        "shadow_contrast": p.shadow_contrast, "step": p.view.step,
    });
    (Some(picture), values)
}

/// What the photo is judged by.
pub fn fit(f: &Fit, seen: &Seen) -> Record {
    (None, json!({ "verdict": word(f.verdict()), "judgements": f.judgements, "pixels": seen }))
}

/// The levelled floor with lines, edges and strips.
pub fn marks(p: &Patch, m: &Marks) -> Record {
    let (mut picture, k) = floor::flattened(p, SIDE as usize);
    let place = |q: Point| p.view.to_sample(q) * k;
    raster::draw_shapes(&mut picture, &overlay::marks(m, p, &place));
    let families: Vec<Value> = m
        .families
        .iter()
        .map(|f| {
            json!({
                "pitch": f.pitch, "normal_deg": f.normal_deg, "curved": f.curved, "strength_db": f.strength_db,
                "false_alarm": f.false_alarm, "coherent_passes": f.coherent_passes, "period_kind": f.period_kind,
                "harmonics": f.harmonics, "harmonic_noise": f.harmonic_noise, "contrast": f.contrast, "skew": f.skew,
                "alternation": f.alternation, "jitter": f.jitter, "coverage": f.coverage,
                "lines": f.lines.iter().map(|l| json!({"at": l.at, "shift": l.shift, "strength": l.strength, "net": l.net, "odd": l.odd}))
                    .collect::<Vec<_>>(),
                "chroma_share": f.chroma_share, "height_um": f.height_um,
            })
        })
        .collect();
    let edges: Vec<Value> = m
        .edges
        .iter()
        .map(|e| {
            json!({
                "from": e.from, "to": e.to, "normal_deg": e.normal_deg, "polarity": e.polarity, "deficit": e.deficit,
                "snr": e.snr, "height_um": e.height_um,
            })
        })
        .collect();
    let strips: Vec<Value> = m
        .strips
        .iter()
        .map(|s| {
            json!({
                "offset": s.offset, "normal_deg": s.normal_deg, "width": s.width, "length": s.length, "proud": s.proud,
                "level_um": s.level_um, "wall_distance": s.wall_distance, "edges": s.edges,
            })
        })
        .collect();
    let (q, g) = (&m.quality, &m.figure);
    let values = json!({
        "families": families, "edges": edges, "strips": strips, "rim_ragged": m.rim.ragged,
        "quality": {
            "visible_lines_per_10mm": q.visible_lines_per_10mm, "ridge_contrast": q.ridge_contrast,
            "height_p95_um": q.height_p95_um, "texture_rms": q.texture_rms,
            "detectable_contrast": q.detectable_contrast, "detectable_height_um": q.detectable_height_um,
        },
        "flecks": {
            "fraction": m.flecks.fraction, "per_cm2": m.flecks.per_cm2, "direction_deg": m.flecks.direction_deg,
        },
        "figure": {
            "normal_deg": g.normal_deg, "coherence": g.coherence, "contrast": g.contrast,
            "chroma_share": g.chroma_share, "outside": g.outside,
        },
    });
    (Some(picture), values)
}

pub fn explain(e: &Explanation) -> Record {
    let values = json!({
        "verdict": e.verdict, "headline": e.headline, "findings": e.findings, "comparison": e.comparison,
        "retake": e.retake, "would_settle": e.would_settle,
    });
    (None, values)
}

/// A grid of the plane round the middle of the photo: a wrong frame shows at once.
fn grid(to_px: &PlaneMap, k: f64, p: &Photo) -> Vec<Shape> {
    let middle = to_px.backward(Point::new(p.width as f64 / 2.0, p.height as f64 / 2.0));
    let round = |v: f64| (v / GRID_MM).round() * GRID_MM;
    let (cx, cy) = (round(middle.x), round(middle.y));
    let reach = GRID_MM * f64::from(GRID_LINES);
    let line = |a: Point, b: Point| Shape {
        points: vec![to_px.forward(a) * k, to_px.forward(b) * k],
        closed: false,
        ink: Ink::Family(0),
    };
    (-GRID_LINES..=GRID_LINES)
        .flat_map(|n| {
            let d = f64::from(n) * GRID_MM;
            [
                line(Point::new(cx + d, cy - reach), Point::new(cx + d, cy + reach)),
                line(Point::new(cx - reach, cy + d), Point::new(cx + reach, cy + d)),
            ]
        })
        .collect()
}

/// A map's projective part, row by row, and its lens where it has one.
fn map(m: &PlaneMap) -> Value {
    let rows = |h: Homography| h.matrix().row_iter().map(|r| r.iter().copied().collect()).collect::<Vec<Vec<f64>>>();
    let lens =
        m.camera().map(|v| json!({ "focal_px": v.pose.focal_px, "centre_px": v.pose.centre, "k1": v.k1, "k2": v.k2 }));
    json!({ "projective": m.projective().map(rows), "lens": lens })
}
