//! Two plots as SVG: brightness across the lines, and its spectrum against the limit.

use super::Ink;
use super::overlay::line_positions;
use crate::marks::{Family, Polarity};
use crate::report::Inspection;
use crate::units::{LengthUnit, MM_PER_INCH, line_difference};
use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, ValueFormatter};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use std::ops::Range;

const SIZE: (u32, u32) = (760, 360);
/// On a phone the plot is shown at about half size: 19 units are then 9 pixels high.
pub(super) const TEXT: i32 = 19;
/// Directions closer than this count as the profile's own: a line turned by 10 degrees still crosses the floor once.
const SAME_DIRECTION_DEG: f64 = 10.0;
/// Points drawn of a curve; the plot is 640 units wide, so two a unit lose nothing.
const MOST_POINTS: usize = 1280;
const GREY: RGBColor = RGBColor(60, 60, 60);

pub(super) type Drawing<T> = Result<T, Box<dyn std::error::Error>>;

/// Relative brightness across the lines; `None` when there is no profile.
pub(super) fn profile(i: &Inspection) -> Option<String> {
    let p = &i.marks.profile;
    (p.at.len() > 3 && p.at.len() == p.value.len()).then(|| plot(|root| draw_profile(i, root)))?
}

/// Amplitude spectrum of that profile; `None` when there is no spectrum.
pub(super) fn spectrum(i: &Inspection) -> Option<String> {
    let s = &i.marks.spectrum;
    (s.frequency.len() > 3 && s.frequency.len() == s.amplitude.len()).then(|| plot(|root| draw_spectrum(i, root)))?
}

pub(super) type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;

pub(super) fn plot(draw: impl FnOnce(&Area) -> Drawing<()>) -> Option<String> {
    // Inside HTML no namespace is needed; the figure's own text says what the picture shows.
    Some(
        drawing(SIZE, draw)?
            .replacen("<svg ", r#"<svg aria-hidden="true" "#, 1)
            .replace(r#" xmlns="http://www.w3.org/2000/svg""#, ""),
    )
}

/// A drawing as an SVG file of its own.
pub(super) fn drawing(size: (u32, u32), draw: impl FnOnce(&Area) -> Drawing<()>) -> Option<String> {
    let mut out = String::new();
    {
        let root = SVGBackend::with_string(&mut out, size).into_drawing_area();
        draw(&root).and_then(|()| Ok(root.present()?)).ok()?;
    }
    Some(out)
}

pub(super) fn colour(ink: Ink) -> RGBColor {
    let [r, g, b] = ink.rgb();
    RGBColor(r, g, b)
}

fn unit(i: &Inspection) -> (f64, &'static str) {
    match (i.frame.scale, i.plan.units) {
        (None, _) => (1.0, "px"),
        (_, LengthUnit::Mm) => (1.0, "mm"),
        (_, LengthUnit::In) => (1.0 / MM_PER_INCH, "in"),
    }
}

fn draw_profile(i: &Inspection, root: &Area) -> Drawing<()> {
    let p = &i.marks.profile;
    let (k, unit) = unit(i);
    let step = p.at.len().div_ceil(MOST_POINTS).max(1);
    let curve: Vec<(f64, f64)> =
        p.at.iter()
            .zip(&p.value)
            .step_by(step)
            .filter(|(_, v)| v.is_finite())
            .map(|(t, v)| (t * k, v * 100.0))
            .collect();
    let x = span(curve.iter().map(|c| c.0)).unwrap_or(0.0..1.0);
    let y = span(curve.iter().map(|c| c.1)).unwrap_or(-1.0..1.0);
    let room = (y.end - y.start).max(0.1) * 0.08;
    let y = (y.start - room)..(y.end + room);
    let mut chart = ChartBuilder::on(root)
        .margin(8)
        .set_label_area_size(LabelAreaPosition::Left, 74)
        .set_label_area_size(LabelAreaPosition::Bottom, 54)
        .build_cartesian_2d::<RangedCoordf64, RangedCoordf64>((x.start..x.end).into(), (y.start..y.end).into())?;
    chart
        .configure_mesh()
        .x_desc(format!("position across the lines, {unit}"))
        .y_desc("brightness, %")
        .x_labels(7)
        .y_labels(6)
        .label_style(("sans-serif", TEXT))
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(225, 225, 225))
        .draw()?;
    let here = |deg: f64| line_difference(deg, p.normal_deg).abs() < SAME_DIRECTION_DEG;
    let own = |(_, f): &(usize, &Family)| here(f.normal_deg.value);
    if let Some((rank, f)) = i.marks.families.iter().enumerate().take(2).find(own) {
        for t in line_positions(f, x.start / k, x.end / k) {
            let at = |v: f64| (t * k, v);
            chart.draw_series(LineSeries::new([at(y.start), at(y.end)], colour(Ink::Family(rank)).mix(0.55)))?;
        }
    }
    for e in i.marks.edges.iter().filter(|e| here(e.normal_deg)) {
        let ink = colour(if e.polarity == Polarity::Shade { Ink::Shade } else { Ink::Lit });
        // The offset is told along the edge's own normal, which may point the other way.
        let sign = if (e.normal_deg - p.normal_deg).to_radians().cos() < 0.0 { -1.0 } else { 1.0 };
        let at = |v: f64| (sign * e.offset * k, v);
        chart.draw_series(LineSeries::new([at(y.start), at(y.end)], ink.stroke_width(2)))?;
    }
    chart.draw_series(LineSeries::new(curve, GREY.stroke_width(1)))?;
    Ok(())
}

fn draw_spectrum(i: &Inspection, root: &Area) -> Drawing<()> {
    let s = &i.marks.spectrum;
    let (k, unit) = unit(i);
    let curve = |v: &[f64]| -> Vec<(f64, f64)> {
        let all: Vec<_> = s.frequency.iter().zip(v).filter(|(f, v)| **f > 0.0 && **v > 0.0 && v.is_finite()).collect();
        all.into_iter().map(|(f, v)| (k / f, v * 100.0)).rev().collect()
    };
    let (amplitude, background, limit) = (curve(&s.amplitude), curve(&s.background), curve(&s.limit));
    let x = span(amplitude.iter().map(|c| c.0)).unwrap_or(0.1..10.0);
    let y = span([&amplitude, &background, &limit].iter().flat_map(|c| c.iter().map(|p| p.1))).unwrap_or(0.01..1.0);
    let y = top_decades(y, 4.0);
    let mut chart = spectrum_axes(root, x.clone(), y.clone(), unit)?;
    let text = ("sans-serif", TEXT).into_font();
    if let (Some(planned), Some(_)) = (i.explanation.comparison.planned_stepover_mm, i.frame.scale) {
        let marks = [(0.5, "1/2 \u{d7}"), (1.0, "stepover"), (2.0, "2 \u{d7}")];
        for (factor, name) in marks {
            let at = planned * factor * k;
            if !(x.start..x.end).contains(&at) {
                continue;
            }
            let line = [(at, y.start), (at, y.end)];
            chart.draw_series(DashedLineSeries::new(line, 6, 5, colour(Ink::Strip).stroke_width(2)))?;
            let style = text.clone().color(&colour(Ink::Strip));
            let rise = if factor == 1.0 { 0.9 } else { 0.5 };
            chart.draw_series([Text::new(format!(" {name}"), (at, y.end * rise), style)])?;
        }
    }
    chart.draw_series(LineSeries::new(background, colour(Ink::Shade).stroke_width(1)))?;
    chart.draw_series(DashedLineSeries::new(limit, 7, 5, colour(Ink::Shade).stroke_width(2)))?;
    chart.draw_series(LineSeries::new(amplitude, GREY.stroke_width(2)))?;
    for (rank, f) in i.marks.families.iter().enumerate().take(2) {
        let at = f.pitch.value * k;
        if (x.start..x.end).contains(&at) {
            chart.draw_series([TriangleMarker::new((at, y.start * 1.25), 9, colour(Ink::Family(rank)).filled())])?;
        }
    }
    Ok(())
}

/// Three decades under the top, what lies deeper is far below any background, and `room` times the top above it.
pub(super) fn top_decades(y: Range<f64>, room: f64) -> Range<f64> {
    y.start.max(y.end * 1e-3)..y.end * room
}

/// The axes of a spectrum, both logarithmic.
pub(super) fn spectrum_axes<'r, 'a>(
    root: &'r Area<'a>,
    x: Range<f64>,
    y: Range<f64>,
    unit: &str,
) -> Drawing<ChartContext<'r, SVGBackend<'a>, Cartesian2d<LogAxis, LogAxis>>> {
    let mut chart = ChartBuilder::on(root)
        .margin(8)
        .set_label_area_size(LabelAreaPosition::Left, 74)
        .set_label_area_size(LabelAreaPosition::Bottom, 54)
        .build_cartesian_2d(LogAxis(x), LogAxis(y))?;
    chart
        .configure_mesh()
        .x_desc(format!("spacing of lines, {unit}"))
        .y_desc("brightness, %")
        .x_labels(14)
        .y_labels(8)
        .label_style(("sans-serif", TEXT))
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(225, 225, 225))
        .draw()?;
    Ok(chart)
}

pub(super) fn span(values: impl Iterator<Item = f64>) -> Option<Range<f64>> {
    let (lo, hi) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    (lo.is_finite() && hi > lo).then_some(lo..hi)
}

/// A logarithmic axis with key points at 1, 2 and 5 of every decade (1 alone where there is no room).
pub(super) struct LogAxis(Range<f64>);

impl Ranged for LogAxis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;
    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        let share = (value / self.0.start).ln() / (self.0.end / self.0.start).ln();
        limit.0 + (f64::from(limit.1 - limit.0) * share.clamp(-0.1, 1.1)).round() as i32
    }
    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        let (a, b) = (self.0.start.log10().floor() as i32, self.0.end.log10().ceil() as i32);
        let points = |steps: &[f64]| -> Vec<f64> {
            let all = (a..=b).flat_map(|d| steps.iter().map(move |s| s * 10f64.powi(d)));
            all.filter(|v| self.0.contains(v)).collect()
        };
        let fine = points(&[1.0, 2.0, 5.0]);
        if fine.len() <= hint.max_num_points() { fine } else { points(&[1.0]) }
    }
    fn range(&self) -> Range<f64> {
        self.0.clone()
    }
}

impl ValueFormatter<f64> for LogAxis {
    fn format_ext(&self, value: &f64) -> String {
        let decimals = (-value.log10().floor()).clamp(0.0, 6.0) as usize;
        format!("{value:.decimals$}")
    }
}
