//! The sheet as PDF (ISO 32000): one page, two of the 14 standard fonts, nothing embedded.

use super::{Item, Sheet};
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

/// Points per millimetre.
const POINTS: f64 = 72.0 / 25.4;

const PLAIN: Name = Name(b"Plain");
const BOLD: Name = Name(b"Bold");

pub(super) fn write(sheet: &Sheet) -> Vec<u8> {
    let [catalog, tree, page, plain, bold, drawing, info] = [1, 2, 3, 4, 5, 6, 7].map(Ref::new);
    let (w, h) = sheet.paper.size_mm();
    let mut pdf = Pdf::new();
    let mut root = pdf.catalog(catalog);
    root.pages(tree);
    // Asks the reader's print dialog to start at 100 %.
    root.viewer_preferences().pair(Name(b"PrintScaling"), Name(b"None"));
    root.finish();
    pdf.pages(tree).kids([page]).count(1);
    let mut one = pdf.page(page);
    one.media_box(Rect::new(0.0, 0.0, (w * POINTS) as f32, (h * POINTS) as f32));
    one.parent(tree);
    one.contents(drawing);
    one.resources().fonts().pair(PLAIN, plain).pair(BOLD, bold);
    one.finish();
    pdf.type1_font(plain).base_font(Name(b"Helvetica"));
    pdf.type1_font(bold).base_font(Name(b"Helvetica-Bold"));
    let mut facts = pdf.document_info(info);
    facts.title(TextStr(&sheet.name()));
    facts.creator(TextStr(concat!("lowsun ", env!("CARGO_PKG_VERSION"))));
    facts.finish();
    pdf.stream(drawing, &content(sheet));
    pdf.finish()
}

/// The drawing itself, in millimetres from the page's top-left corner with y down: the numbers of the sheet as they are.
fn content(sheet: &Sheet) -> Vec<u8> {
    let mut c = Content::new();
    let k = POINTS as f32;
    c.transform([k, 0.0, 0.0, -k, 0.0, (sheet.paper.size_mm().1 * POINTS) as f32]);
    for item in &sheet.items {
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
                for (n, p) in points.iter().enumerate() {
                    let (x, y) = (p.x as f32, p.y as f32);
                    if n == 0 {
                        c.move_to(x, y)
                    } else {
                        c.line_to(x, y)
                    };
                }
                c.close_and_stroke();
            }
            Item::Text { at, size, bold, up, words } => {
                let (x, y) = (at.x as f32, at.y as f32);
                c.begin_text();
                c.set_font(if *bold { BOLD } else { PLAIN }, *size as f32);
                // The page's y runs down; letters stand up again.
                let turn = if *up { [0.0, -1.0, -1.0, 0.0] } else { [1.0, 0.0, 0.0, -1.0] };
                c.set_text_matrix([turn[0], turn[1], turn[2], turn[3], x, y]);
                c.show(Str(words.as_bytes()));
                c.end_text();
            }
        }
    }
    c.finish().to_vec()
}
