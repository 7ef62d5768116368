//! A figure of the record book over time, as an SVG file of its own: one line for each name, bars of one sigma.

use super::plot::{Area, Drawing, TEXT, drawing, span};
use crate::records::{Figure, Point};
use plotters::prelude::*;

const SIZE: (u32, u32) = (900, 480);
/// Lines differ in hue (Okabe and Ito, 2008), neighbours also by discs and rings, which tell them apart on grey paper. More names than this start over.
const HUES: [RGBColor; 6] = [
    RGBColor(0, 114, 178),
    RGBColor(213, 94, 0),
    RGBColor(0, 158, 115),
    RGBColor(204, 121, 167),
    RGBColor(230, 159, 0),
    RGBColor(60, 60, 60),
];

/// The plot; `None` when there is no point at all.
pub fn history(figure: Figure, series: &[(String, Vec<Point>)]) -> Option<String> {
    let points = || series.iter().flat_map(|s| &s.1);
    points().next()?;
    // Three days of room on either side: a single day is no range, and the axis is marked in whole days.
    let days = span(points().flat_map(|p| [p.day - 3.0, p.day + 3.0]))?;
    let k = figure.factor();
    let reach = points().flat_map(|p| [p.value.value - p.value.sigma, p.value.value + p.value.sigma]).map(|v| v * k);
    // From zero where that is near, so that a small change is not drawn as a large one.
    let (low, high) = reach.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    let room = ((high - low) * 0.08).max(high.abs() * 0.02).max(1e-9);
    let values = (if low < 0.7 * high { low.min(0.0) } else { low - room })..high + room;
    let svg = drawing(SIZE, |root| draw(root, figure, series, days, values))?;
    let title = format!("<title>{} over time</title>", figure.title());
    svg.find('>').map(|at| format!("{}{title}{}", &svg[..=at], &svg[at + 1..]))
}

fn draw(
    root: &Area,
    figure: Figure,
    series: &[(String, Vec<Point>)],
    days: std::ops::Range<f64>,
    values: std::ops::Range<f64>,
) -> Drawing<()> {
    root.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(root)
        .margin(10)
        .margin_right(40)
        .set_label_area_size(LabelAreaPosition::Left, 84)
        .set_label_area_size(LabelAreaPosition::Bottom, 48)
        .build_cartesian_2d(days, values)?;
    chart
        .configure_mesh()
        .x_labels(6)
        .y_labels(7)
        .x_label_formatter(&|d| day_name(*d))
        .y_desc(figure.title())
        .label_style(("sans-serif", TEXT))
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(225, 225, 225))
        .draw()?;
    let k = figure.factor();
    for (n, (name, points)) in series.iter().enumerate() {
        let hue = HUES[n % HUES.len()];
        let at = |p: &Point| (p.day, p.value.value * k);
        chart.draw_series(LineSeries::new(points.iter().map(at), hue.mix(0.6)))?;
        chart.draw_series(points.iter().filter(|p| p.value.sigma > 0.0).map(|p| {
            let (v, s) = (p.value.value * k, p.value.sigma * k);
            PathElement::new([(p.day, v - s), (p.day, v + s)], hue.stroke_width(2))
        }))?;
        let (size, style) = if n % 2 == 0 { (5, hue.filled()) } else { (6, hue.stroke_width(2)) };
        let dot = move |(x, y): (i32, i32)| Circle::new((x + 10, y), size, style);
        chart.draw_series(points.iter().map(|p| Circle::new(at(p), size, style)))?.label(name.as_str()).legend(dot);
    }
    chart
        .configure_series_labels()
        .position(SeriesLabelPosition::UpperRight)
        .background_style(WHITE.mix(0.85))
        .border_style(RGBColor(200, 200, 200))
        .label_font(("sans-serif", TEXT))
        .draw()?;
    Ok(())
}

/// The day `days` after 1970-01-01 as year-month-day.
fn day_name(days: f64) -> String {
    let at = jiff::Timestamp::from_second((days * 86_400.0).round() as i64).ok();
    at.map_or(String::new(), |t| jiff::tz::Offset::UTC.to_datetime(t).date().to_string())
}
