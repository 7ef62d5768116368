//! Pages as PDF (ISO 32000): two of the 14 standard fonts, nothing embedded, nothing that changes from run to run.

use super::metrics::{self, Face};
use super::{Item, Page};
use crate::draw::guide::{At, Stroke};
use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use std::collections::BTreeSet;

/// Points per millimetre.
const POINTS: f64 = 72.0 / 25.4;

const PLAIN: Name = Name(b"Plain");
const BOLD: Name = Name(b"Bold");

pub(super) fn write(title: &str, pages: &[Page]) -> Vec<u8> {
    let [catalog, tree, plain, bold, info] = [1, 2, 3, 4, 5].map(Ref::new);
    let page_id = |n: usize| Ref::new(6 + 2 * n as i32);
    let drawing_id = |n: usize| Ref::new(7 + 2 * n as i32);
    let mut pdf = Pdf::new();
    let mut root = pdf.catalog(catalog);
    root.pages(tree);
    // Asks the reader's print dialog to start at 100 %.
    root.viewer_preferences().pair(Name(b"PrintScaling"), Name(b"None"));
    root.finish();
    pdf.pages(tree).kids((0..pages.len()).map(page_id)).count(pages.len() as i32);
    for (n, page) in pages.iter().enumerate() {
        let (w, h) = page.paper.size_mm();
        let mut one = pdf.page(page_id(n));
        one.media_box(Rect::new(0.0, 0.0, (w * POINTS) as f32, (h * POINTS) as f32));
        one.parent(tree);
        one.contents(drawing_id(n));
        let mut resources = one.resources();
        resources.fonts().pair(PLAIN, plain).pair(BOLD, bold);
        let mut states = resources.ext_g_states();
        for percent in opacities(page.items) {
            states
                .insert(Name(&state(percent)))
                .start::<pdf_writer::writers::ExtGraphicsState>()
                .non_stroking_alpha(f32::from(percent) / 100.0);
        }
        states.finish();
        resources.finish();
        one.finish();
    }
    for (id, name) in [(plain, b"Helvetica".as_slice()), (bold, b"Helvetica-Bold")] {
        pdf.type1_font(id).base_font(Name(name)).encoding_predefined(Name(b"WinAnsiEncoding"));
    }
    let mut facts = pdf.document_info(info);
    facts.title(TextStr(title));
    facts.creator(TextStr(concat!("lowsun ", env!("CARGO_PKG_VERSION"))));
    facts.finish();
    for (n, page) in pages.iter().enumerate() {
        pdf.stream(drawing_id(n), &content(page));
    }
    pdf.finish()
}

/// Opacities in whole per cent that a page's drawings use.
fn opacities(items: &[Item]) -> BTreeSet<u8> {
    let strokes = items.iter().flat_map(|i| match i {
        Item::Drawing { drawing, .. } => drawing.strokes.as_slice(),
        _ => &[],
    });
    let areas = strokes.filter_map(|s| match s {
        Stroke::Area { opacity, .. } => Some(percent(*opacity)),
        _ => None,
    });
    areas.chain([100]).collect()
}

fn percent(opacity: f64) -> u8 {
    (100.0 * opacity).round().clamp(0.0, 100.0) as u8
}

fn state(percent: u8) -> Vec<u8> {
    format!("Alpha{percent}").into_bytes()
}

/// The drawing itself, in millimetres from the page's top-left corner with y down: the numbers of the page as they are.
fn content(page: &Page) -> Vec<u8> {
    let mut c = Content::new();
    let k = POINTS as f32;
    c.transform([k, 0.0, 0.0, -k, 0.0, (page.paper.size_mm().1 * POINTS) as f32]);
    for item in page.items {
        match item {
            Item::Fill(ink) => {
                for r in ink {
                    c.rect(r.x as f32, r.y as f32, r.width as f32, r.height as f32);
                }
                c.fill_nonzero();
            }
            Item::Cut(points) => {
                c.set_line_width(0.1);
                c.set_dash_pattern([2.0, 1.5], 0.0);
                trace(&mut c, points.iter().map(|p| (p.x, p.y)));
                c.close_and_stroke();
            }
            Item::Text { at, size, bold, up, words } => {
                text(&mut c, (at.x, at.y), *size, if *bold { BOLD } else { PLAIN }, *up, words);
            }
            Item::Drawing { at, width, drawing } => {
                c.save_state();
                let k = (width / drawing.size.0) as f32;
                c.transform([k, 0.0, 0.0, k, at.x as f32, at.y as f32]);
                c.set_line_join(LineJoinStyle::RoundJoin).set_line_cap(LineCapStyle::RoundCap);
                drawing.strokes.iter().for_each(|s| stroke(&mut c, s));
                c.restore_state();
            }
        }
    }
    c.finish().to_vec()
}

fn trace(c: &mut Content, points: impl Iterator<Item = (f64, f64)>) {
    for (n, (x, y)) in points.enumerate() {
        if n == 0 {
            c.move_to(x as f32, y as f32)
        } else {
            c.line_to(x as f32, y as f32)
        };
    }
}

/// Words from a place to the right, or upwards. The page's y runs down; letters stand up again.
fn text(c: &mut Content, (x, y): (f64, f64), size: f64, font: Name, up: bool, words: &str) {
    let turn = if up { [0.0, -1.0, -1.0, 0.0] } else { [1.0, 0.0, 0.0, -1.0] };
    c.begin_text();
    c.set_font(font, size as f32);
    c.set_text_matrix([turn[0], turn[1], turn[2], turn[3], x as f32, y as f32]);
    c.show(Str(&metrics::win_ansi(words)));
    c.end_text();
}

fn stroke(c: &mut Content, s: &Stroke) {
    match s {
        Stroke::Area { points, fill, opacity } => {
            c.set_parameters(Name(&state(percent(*opacity))));
            let [r, g, b] = colour(fill);
            c.set_fill_rgb(r, g, b);
            trace(c, points.iter().copied());
            c.close_path().fill_nonzero();
        }
        Stroke::Line { points, colour: ink, width, dash, closed } => {
            let [r, g, b] = colour(ink);
            let dash: Vec<f32> = dash.split(' ').filter_map(|d| d.parse().ok()).collect();
            c.set_stroke_rgb(r, g, b).set_line_width(*width as f32).set_dash_pattern(dash, 0.0);
            trace(c, points.iter().copied());
            if *closed {
                c.close_and_stroke()
            } else {
                c.stroke()
            };
        }
        Stroke::Disc { at: (x, y), radius, fill } => {
            let ring = (0..48).map(|n| (f64::from(n) * std::f64::consts::TAU / 48.0).sin_cos());
            let points: Vec<(f64, f64)> = ring.map(|(s, k)| (x + radius * k, y + radius * s)).collect();
            stroke(c, &Stroke::Area { points, fill, opacity: 1.0 });
        }
        Stroke::Label { at: (x, y), anchor, size, words } => {
            let share = match anchor {
                At::Start => 0.0,
                At::Middle => 0.5,
                At::End => 1.0,
            };
            let [r, g, b] = colour(super::super::guide::INK);
            c.set_parameters(Name(&state(100))).set_fill_rgb(r, g, b);
            text(c, (x - share * metrics::width(words, Face::Plain) * size, *y), *size, PLAIN, false, words);
        }
    }
}

/// #rrggbb or #rgb, 0 to 1 each; black for anything else.
fn colour(hex: &str) -> [f32; 3] {
    let digits: Vec<f32> = hex.chars().skip(1).filter_map(|c| c.to_digit(16)).map(|d| d as f32).collect();
    match digits.as_slice() {
        [r, g, b] => [r / 15.0, g / 15.0, b / 15.0],
        [a, b, c, d, e, f] => [16.0 * a + b, 16.0 * c + d, 16.0 * e + f].map(|v| v / 255.0),
        _ => [0.0; 3],
    }
}
