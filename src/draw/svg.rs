//! Shapes as SVG over a JPEG, self-contained.

use super::{Ink, Shape};
use crate::geometry::Point;
use crate::report::{Inspection, KeyEntry};
use base64::Engine;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use std::fmt::Write;

/// JPEG quality of pictures in the report: fine lines survive, and a page stays well under 2 MB.
const QUALITY: u8 = 80;

/// One picture with its shapes and, where given, a scale bar (length in picture pixels, label).
pub(super) fn picture(base: &RgbImage, shapes: &[Shape], bar: Option<(f64, String)>) -> String {
    let (w, h) = base.dimensions();
    let mut out = format!(r#"<svg viewBox="0 0 {w} {h}" preserveAspectRatio="xMinYMin" aria-hidden="true">"#);
    let _ = write!(out, r#"<image width="{w}" height="{h}" href="{}"/>"#, data_uri(base));
    out.push_str(r#"<g fill="none" stroke-linejoin="round" stroke-linecap="round">"#);
    for s in shapes.iter().filter(|s| s.ink.cased()) {
        path(&mut out, s, "#000000", s.ink.width() + 2.0, "");
    }
    // Neighbouring shapes of one ink share a path: a family of sixty lines is one element.
    let mut rest = shapes;
    while let Some(first) = rest.first() {
        let same = rest.iter().take_while(|s| s.ink == first.ink).count();
        group(&mut out, &rest[..same]);
        rest = &rest[same..];
    }
    out.push_str("</g>");
    if let Some((length, label)) = bar {
        let (x, y, t) = (f64::from(w) * 0.03, f64::from(h) * 0.96, f64::from(w) * 0.008);
        let size = f64::from(w) * 0.026;
        let _ = write!(
            out,
            concat!(
                r##"<rect x="{:.1}" y="{:.1}" width="{:.1}" height="{:.1}" fill="#000" opacity="0.7"/>"##,
                r##"<rect x="{:.1}" y="{:.1}" width="{:.1}" height="{:.1}" fill="#fff"/>"##,
                r##"<text x="{:.1}" y="{:.1}" font-size="{:.1}" font-family="sans-serif" fill="#fff" text-anchor="middle">{}</text>"##
            ),
            x - t,
            y - size * 1.3,
            length + 2.0 * t,
            size * 1.3 + 2.0 * t,
            x,
            y,
            length,
            t,
            x + length / 2.0,
            y - t,
            size,
            label,
        );
    }
    out.push_str("</svg>");
    out
}

fn group(out: &mut String, shapes: &[Shape]) {
    let ink = shapes[0].ink;
    let d: String = shapes.iter().map(|s| outline(&s.points, s.closed)).collect();
    let fill = if ink == Ink::Strip { format!(r#" fill="{}" fill-opacity="0.25""#, ink.hex()) } else { String::new() };
    element(out, &d, &ink.hex(), ink.width(), ink.dash(), &fill);
}

fn path(out: &mut String, s: &Shape, colour: &str, width: f64, dash: &str) {
    element(out, &outline(&s.points, s.closed), colour, width, dash, "");
}

fn element(out: &mut String, d: &str, colour: &str, width: f64, dash: &str, more: &str) {
    let dash = if dash.is_empty() { String::new() } else { format!(r#" stroke-dasharray="{dash}""#) };
    let _ = write!(
        out,
        r#"<path d="{d}" stroke="{colour}" stroke-width="{width}" vector-effect="non-scaling-stroke"{dash}{more}/>"#
    );
}

fn outline(points: &[Point], closed: bool) -> String {
    let mut d = String::new();
    for (i, p) in points.iter().filter(|p| p.x.is_finite() && p.y.is_finite()).enumerate() {
        let _ = write!(d, "{}{:.1} {:.1}", if i == 0 { 'M' } else { 'L' }, p.x, p.y);
    }
    if closed {
        d.push('Z');
    }
    d
}

/// What the colours of these shapes mean.
pub(super) fn key(shapes: &[Shape], i: &Inspection) -> Vec<KeyEntry> {
    let families = (0..i.marks.families.len()).map(Ink::Family);
    let rest = [
        Ink::Shade,
        Ink::Lit,
        Ink::Strip,
        Ink::Ragged,
        Ink::Ring,
        Ink::Outline,
        Ink::Reference,
        Ink::Lamp,
        Ink::Foretold,
    ];
    let used = |ink: &Ink| shapes.iter().any(|s| s.ink == *ink);
    families.chain(rest).filter(used).map(|ink| KeyEntry { swatch: swatch(ink), text: meaning(ink, i) }).collect()
}

fn swatch(ink: Ink) -> String {
    let mut out = r#"<svg viewBox="0 0 36 12" aria-hidden="true">"#.to_owned();
    out.push_str(r##"<rect width="36" height="12" fill="#8a8074"/><g fill="none">"##);
    let s = Shape { points: vec![Point::new(2.0, 6.0), Point::new(34.0, 6.0)], closed: false, ink };
    if ink.cased() {
        path(&mut out, &s, "#000000", ink.width() + 2.0, "");
    }
    if ink == Ink::Strip {
        out.push_str(&format!(r#"<rect width="36" height="12" fill="{}" fill-opacity="0.45"/>"#, ink.hex()));
    }
    path(&mut out, &s, &ink.hex(), ink.width(), ink.dash());
    out.push_str("</g></svg>");
    out
}

fn meaning(ink: Ink, i: &Inspection) -> String {
    match ink {
        Ink::Family(n) => match (i.marks.families.get(n), i.frame.scale) {
            (Some(f), Some(_)) => format!("lines every {}", i.plan.units.show(f.pitch.value)),
            (Some(f), None) => format!("lines every {:.1} px", f.pitch.value),
            (None, _) => "lines".into(),
        },
        Ink::Shade => "dark edge: the floor steps down away from the lamp".into(),
        Ink::Lit => "bright edge: the floor steps up away from the lamp".into(),
        Ink::Strip => "strip that lies higher or lower".into(),
        Ink::Outline => "outline of the measured floor".into(),
        Ink::Reference => "reference for the scale".into(),
        Ink::Lamp => "direction of the light".into(),
        Ink::Ragged => "ragged piece of the top edge (drawn beside it)".into(),
        Ink::Ring => "ring of the cutter's size, where it turned".into(),
        Ink::Foretold => "foretold by the plan, not measured: first cuts at full width (bands), corners (crosses), places where the cutter goes in (diamonds)".into(),
    }
}

/// The picture as a JPEG inside an address.
pub(super) fn data_uri(picture: &RgbImage) -> String {
    format!("data:image/jpeg;base64,{}", base64::engine::general_purpose::STANDARD.encode(jpeg(picture)))
}

/// The picture as JPEG, of its pixels alone.
pub(super) fn jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Writing to memory cannot fail for a picture that exists.
    let _ = JpegEncoder::new_with_quality(&mut bytes, QUALITY).encode_image(picture);
    bytes
}
