//! Two floors before and after a change: side by side at one scale and one grey scale, and both spectra in one plot.

use super::floor::Levelled;
use super::overlay::scale_bar;
use super::plot::{Area, Drawing, plot, span, spectrum_axes, top_decades};
use super::svg::data_uri;
use crate::compare::Pictures;
use crate::marks::Spectrum;
use crate::report::Inspection;
use plotters::prelude::*;

/// Longest side of each picture, pixels: half a page each.
const SIDE: usize = 1100;
/// Orange and blue of Okabe and Ito (2008).
const BEFORE: RGBColor = RGBColor(230, 159, 0);
const AFTER: RGBColor = RGBColor(0, 114, 178);

/// The pictures of a comparison of two photos.
pub fn pair(before: &Inspection, after: &Inspection) -> Pictures {
    let floors = [Levelled::of(&before.patch, SIDE), Levelled::of(&after.patch, SIDE)];
    let grey = floors[0].span().max(floors[1].span());
    let pictures = [floors[0].grey(grey), floors[1].grey(grey)];
    // Width and height of each picture in millimetres.
    let sizes = [0, 1].map(|n| {
        let i = [before, after][n];
        let step = floors[n].shrunk() as f64 * i.patch.view.step;
        (f64::from(pictures[n].width()) * step, f64::from(pictures[n].height()) * step)
    });
    let scaled = before.frame.scale.is_some() && after.frame.scale.is_some();
    let whole = (sizes[0].0.max(sizes[1].0), sizes[0].1.max(sizes[1].1));
    let draw = |n: usize, i: &Inspection| {
        let (w, h) = sizes[n];
        let (bw, bh) = if scaled { whole } else { (w, h) };
        // One picture unit is a millimetre here.
        let bar = scale_bar(i, i.patch.view.step, w).filter(|_| scaled).map_or(String::new(), |(length, label)| {
            let (x, y, t) = (0.03 * bw, h - 0.03 * bw, 0.008 * bw);
            format!(
                concat!(
                    r##"<rect x="{:.2}" y="{:.2}" width="{:.2}" height="{:.2}" fill="#000" opacity="0.7"/>"##,
                    r##"<rect x="{:.2}" y="{:.2}" width="{:.2}" height="{:.2}" fill="#fff"/>"##,
                    r##"<text x="{:.2}" y="{:.2}" font-size="{:.2}" font-family="sans-serif" fill="#fff" text-anchor="middle">{}</text>"##
                ),
                x - t, y - 5.5 * t, length + 2.0 * t, 7.5 * t, x, y, length, t, x + length / 2.0, y - t, 4.0 * t, label
            )
        });
        let image = data_uri(&pictures[n]);
        format!(
            r#"<svg viewBox="0 0 {bw:.3} {bh:.3}" preserveAspectRatio="xMinYMin" aria-hidden="true"><image width="{w:.3}" height="{h:.3}" href="{image}"/>{bar}</svg>"#
        )
    };
    let floors = Some((draw(0, before), draw(1, after)));
    let spectra = scaled.then(|| spectra(&before.marks.spectrum, &after.marks.spectrum)).flatten();
    Pictures { floors, spectra }
}

/// Both spectra, spacing in millimetres; `None` where one has none.
fn spectra(before: &Spectrum, after: &Spectrum) -> Option<String> {
    let whole = |s: &Spectrum| s.frequency.len() > 3 && s.frequency.len() == s.amplitude.len();
    (whole(before) && whole(after)).then(|| plot(|root| draw_spectra(root, before, after)))?
}

fn draw_spectra(root: &Area, before: &Spectrum, after: &Spectrum) -> Drawing<()> {
    let curve = |s: &Spectrum, v: &[f64]| -> Vec<(f64, f64)> {
        let all = s.frequency.iter().zip(v).filter(|(f, v)| **f > 0.0 && **v > 0.0 && v.is_finite());
        all.map(|(f, v)| (1.0 / f, v * 100.0)).collect()
    };
    let sides = [(before, BEFORE), (after, AFTER)];
    let curves = sides.map(|(s, _)| curve(s, &s.amplitude));
    let x = span(curves.iter().flatten().map(|p| p.0)).unwrap_or(0.1..10.0);
    let y = span(curves.iter().flatten().map(|p| p.1)).unwrap_or(0.01..1.0);
    let mut chart = spectrum_axes(root, x, top_decades(y, 2.0), "mm")?;
    for ((s, hue), points) in sides.iter().zip(curves) {
        chart.draw_series(DashedLineSeries::new(curve(s, &s.limit), 7, 5, hue.mix(0.8).stroke_width(1)))?;
        chart.draw_series(LineSeries::new(points, hue.stroke_width(2)))?;
    }
    Ok(())
}
