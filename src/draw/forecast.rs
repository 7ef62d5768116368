//! Pictures of a floor that is only planned: a section with its height drawn larger, and the floor under a made lamp.

use super::svg::data_uri;
use crate::expect::Cause;
use crate::expect::forecast::shown_mm;
use crate::expect::model::{Model, Relief};
use crate::plan::PlannedCut;
use crate::units::LengthUnit;
use image::{Rgb, RgbImage};
use rayon::prelude::*;
use std::fmt::Write;

/// Section: size in drawing units, and the share of it for labels.
const SIZE: (f64, f64) = (760.0, 190.0);
const LEFT: f64 = 12.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 48.0;
/// Periods shown of ripples finer than the stepover.
const PERIODS: f64 = 12.0;
/// Side of the made picture, pixels.
const SIDE: u32 = 440;
/// Colour of bare wood in plain light, linear, and the light that is left in a shadow.
const WOOD: [f64; 3] = [0.52, 0.36, 0.2];
const SHADE: f64 = 0.05;

/// Marks that lie across the feed.
fn is_by_feed(cause: Cause) -> bool {
    matches!(cause, Cause::OncePerRevolution | Cause::OncePerTooth)
}

/// Where the shown part begins, mm: at the wall where the passes begin, or so that the wall where they end is in it, if the
/// highest edge lies there (a narrow last pass).
fn first_shown(model: &Model, relief: &Relief, wide: f64) -> f64 {
    let across = model.passes.across_mm();
    let highest = relief.edges.iter().max_by(|a, b| a.height_um.abs().total_cmp(&b.height_um.abs()));
    match highest {
        Some(e) if relief.cause == Cause::EngagementSteps && e.at_mm > across - wide => (across - wide).max(0.0),
        _ => 0.0,
    }
}

/// A round number of units not above `most`: 1, 2 or 5 times a power of ten.
fn round_down(most: f64) -> f64 {
    let power = 10f64.powf(most.log10().floor());
    [5.0, 2.0, 1.0].into_iter().map(|k| k * power).find(|v| *v <= most * (1.0 + 1e-9)).unwrap_or(power)
}

/// The section from the wall where the passes begin, as SVG. Heights are drawn larger; bars give both scales.
pub fn section(model: &Model, relief: &Relief, units: LengthUnit) -> String {
    let by_feed = is_by_feed(relief.cause);
    let last = relief.section.last().map_or(1.0, |q| q.0);
    let wide = shown_mm(model).min(last.max(1e-3));
    let from = first_shown(model, relief, wide);
    let shown = |q: &(f64, f64)| (from..=from + wide).contains(&q.0);
    let points: Vec<(f64, f64)> = relief.section.iter().copied().filter(shown).map(|q| (q.0 - from, q.1)).collect();
    let (low, high) = points.iter().fold((0f64, 0f64), |m, q| (m.0.min(q.1), m.1.max(q.1)));
    let span = (high - low).max(1.0);
    let (w, h) = (SIZE.0 - 2.0 * LEFT, SIZE.1 - TOP - BOTTOM);
    let (kx, ky) = (w / wide, h / span);
    let place = |q: &(f64, f64)| (LEFT + q.0 * kx, TOP + (high - q.1) * ky);
    let base = SIZE.1 - BOTTOM + 10.0;
    let mut out = format!(
        r#"<svg viewBox="0 0 {} {}" aria-hidden="true" font-family="sans-serif" font-size="15">"#,
        SIZE.0, SIZE.1
    );
    let _ = write!(out, r##"<path d="M{LEFT} {base:.1}"##);
    for q in &points {
        let (x, y) = place(q);
        let _ = write!(out, "L{x:.1} {y:.1}");
    }
    let _ = write!(
        out,
        r##"L{:.1} {base:.1}Z" fill="#d9bd92" stroke="#5a4326" stroke-width="1.5" stroke-linejoin="round"/>"##,
        LEFT + w
    );
    if !by_feed {
        // The wall where the passes begin, or end.
        let x = if from > 0.0 { SIZE.0 - LEFT } else { 0.0 };
        let _ = write!(out, r##"<rect x="{x}" y="4" width="{LEFT}" height="{:.1}" fill="#8a6a3d"/>"##, base - 4.0);
    }
    let unit = units.in_mm();
    let along = round_down(wide / 4.0 / unit);
    let y = SIZE.1 - 12.0;
    let _ = write!(
        out,
        r##"<path d="M{LEFT} {y}h{:.1}" stroke="#221d18" stroke-width="3"/><text x="{:.1}" y="{:.1}">{along} {units}</text>"##,
        along * unit * kx,
        LEFT + along * unit * kx + 8.0,
        y + 5.0
    );
    let um = match units {
        LengthUnit::Mm => 1.0,
        LengthUnit::In => 25.4,
    };
    let tall = round_down((span / um).max(0.1));
    let x = SIZE.0 - LEFT - 8.0;
    let label = match units {
        LengthUnit::Mm => format!("{tall} \u{b5}m"),
        LengthUnit::In => format!("{tall} thou"),
    };
    let _ = write!(
        out,
        r##"<path d="M{x} {:.1}v{:.1}" stroke="#0072b2" stroke-width="3"/><text x="{:.1}" y="18" text-anchor="end" fill="#0072b2">height {label}, drawn {:.0} times</text></svg>"##,
        TOP,
        tall * um * ky,
        x,
        (ky * 1000.0 / kx).max(1.0)
    );
    out
}

/// The floor beside the wall where the passes begin (at the top), lit at `elevation_deg` across the passes from that wall; marks
/// of turns and teeth are lit along the passes. Lambert's law without cast shadows.
pub fn lit(model: &Model, relief: &Relief, plan: &PlannedCut, elevation_deg: f64) -> String {
    let cause = relief.cause;
    let floor = model.floor(cause, plan, None);
    let p = &model.passes;
    // A ripple finer than the passes is shown enlarged, from the middle of the floor.
    let fine = relief.period_mm.filter(|t| *t < 0.5 * p.stepover_mm);
    let near = (shown_mm(model), first_shown(model, relief, shown_mm(model)));
    let (wide, from) = fine.map_or(near, |t| (PERIODS * t, p.across_mm() / 2.0));
    let step = wide / f64::from(SIDE);
    let along = p.along();
    let n = SIDE as usize + 1;
    let heights: Vec<Option<f64>> = (0..n * n)
        .into_par_iter()
        .map(|k| {
            let (i, j) = ((k % n) as f64 - n as f64 / 2.0, (k / n) as f64);
            floor.at(p.on_middle(from + (j + 0.5) * step) + along * (i * step)).map(|um| um / 1000.0)
        })
        .collect();
    let cot = 1.0 / elevation_deg.to_radians().tan();
    let by_feed = is_by_feed(cause);
    let picture = RgbImage::from_fn(SIDE, SIDE, |x, y| {
        let at = |i: u32, j: u32| heights[j as usize * n + i as usize];
        let (i, j) = if by_feed { (x + 1, y) } else { (x, y + 1) };
        // Light comes from the smaller coordinate: a floor that rises away from it faces the lamp.
        let light = match (at(x, y), at(i, j)) {
            (Some(a), Some(b)) => (0.6 * (1.0 + (b - a) / step * cot)).clamp(SHADE, 1.6),
            _ => SHADE,
        };
        Rgb(WOOD.map(|c| (255.0 * (c * light).clamp(0.0, 1.0).powf(1.0 / 2.2)) as u8))
    });
    let size = SIDE;
    format!(
        r#"<svg viewBox="0 0 {size} {size}" aria-hidden="true"><image width="{size}" height="{size}" href="{}"/></svg>"#,
        data_uri(&picture)
    )
}
