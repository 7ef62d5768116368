//! The sheet as SVG.

use super::{Item, Sheet};
use std::fmt::Write;

pub(super) fn write(sheet: &Sheet) -> String {
    let (w, h) = sheet.paper.size_mm();
    let mut out = format!(
        concat!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{0}mm" height="{1}mm" viewBox="0 0 {0} {1}">"#,
            "\n<title>{2}</title>\n",
            r##"<rect width="{0}" height="{1}" fill="#fff"/>"##,
            "\n"
        ),
        w,
        h,
        sheet.name()
    );
    for item in &sheet.items {
        let _ = match item {
            Item::Fill(ink) => {
                let mut d = String::new();
                for k in ink {
                    let _ = write!(d, "M{:.4} {:.4}h{:.4}v{:.4}h{:.4}z", k.x, k.y, k.width, k.height, -k.width);
                }
                writeln!(out, r##"<path fill="#000" d="{d}"/>"##)
            }
            Item::Cut(points) => {
                let d: String = points.iter().map(|p| format!("{:.4},{:.4} ", p.x, p.y)).collect();
                let look = r##"fill="none" stroke="#000" stroke-width="0.1" stroke-dasharray="2 1.5""##;
                writeln!(out, r#"<polygon {look} points="{}"/>"#, d.trim_end())
            }
            Item::Drawing { at, width, drawing } => {
                let placed = format!(
                    r#"<svg x="{}" y="{}" width="{width}" height="{}" "#,
                    at.x,
                    at.y,
                    width * drawing.size.1 / drawing.size.0
                );
                write!(out, "{}", drawing.svg().replacen("<svg ", &placed, 1))
            }
            Item::Text { at, size, bold, up, words } => {
                let weight = if *bold { r#" font-weight="bold""# } else { "" };
                let turn = if *up { format!(r#" transform="rotate(-90 {} {})""#, at.x, at.y) } else { String::new() };
                let words = words.replace('&', "&amp;").replace('<', "&lt;");
                writeln!(
                    out,
                    r#"<text x="{}" y="{}" font-family="Helvetica, Arial, sans-serif" font-size="{size}" xml:space="preserve"{weight}{turn}>{words}</text>"#,
                    at.x, at.y
                )
            }
        };
    }
    out.push_str("</svg>\n");
    out
}
