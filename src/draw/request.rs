//! The sheet to send to a customer, as PDF: words and drawings on page one, the reference card on page two.

use super::guide;
use super::sheet::metrics::{Face, broken};
use super::sheet::{Item, Page, Sheet, pages};
use crate::card::Ink;
use crate::geometry::Point;
use crate::report::Request;

/// Left and upper border, mm: more than printers leave white.
const LEFT: f64 = 12.0;
const TOP: f64 = 16.0;
/// Width of the drawings and the gap beside them, mm. Their labels are then 2.5 mm (7 points) high.
const DRAWN: f64 = 74.0;
const GAP: f64 = 6.0;
/// Width of the words beside them, mm: what A4, the narrower paper, leaves.
const WORDS: f64 = 210.0 - 2.0 * LEFT - DRAWN - GAP;
/// Font sizes and the height of a line, mm.
const SIZE: f64 = 2.95;
const HEAD: f64 = 3.7;
const TITLE: f64 = 5.6;
const LINE: f64 = 3.85;

/// Where the pen stands in the column of words.
struct Column {
    items: Vec<Item>,
    x: f64,
    y: f64,
    width: f64,
}

impl Column {
    fn put(&mut self, x: f64, size: f64, bold: bool, words: String) {
        self.items.push(Item::Text { at: Point::new(x, self.y), size, bold, up: false, words });
    }
    /// A paragraph set in by `indent`, its first line after `mark`.
    fn paragraph(&mut self, mark: &str, indent: f64, words: &str) {
        if !mark.is_empty() {
            self.put(self.x, SIZE, false, mark.into());
        }
        for line in broken(words, (self.width - indent) / SIZE, Face::Plain) {
            self.put(self.x + indent, SIZE, false, line);
            self.y += LINE;
        }
        self.y += 0.25 * LINE;
    }
    fn heading(&mut self, words: &str) {
        self.y += 0.75 * LINE;
        self.put(self.x, HEAD, true, words.into());
        self.y += 1.25 * LINE;
    }
    /// A fact to fill in: its name, what is meant, a line to write on.
    fn fact(&mut self, name: &str, hint: &str) {
        self.put(self.x, SIZE, true, name.into());
        self.put(self.x + 18.0, SIZE * 0.9, false, hint.into());
        self.items.push(Item::Fill(vec![Ink { x: self.x, y: self.y + 1.2, width: self.width, height: 0.15 }]));
        self.y += 1.5 * LINE;
    }
}

/// Page one's items.
pub(super) fn first_page(r: &Request) -> Vec<Item> {
    let mut c = Column { items: vec![], x: LEFT, y: TOP, width: DRAWN + GAP + WORDS };
    c.put(LEFT, TITLE, true, r.title.into());
    c.y += 6.5;
    c.paragraph("", 0.0, &r.intro);
    let top = c.y;
    let mut y = top;
    for drawing in guide::essential() {
        let height = DRAWN * drawing.size.1 / drawing.size.0;
        c.items.push(Item::Drawing { at: Point::new(LEFT, y), width: DRAWN, drawing });
        y += height + 1.0;
    }
    (c.x, c.y, c.width) = (LEFT + DRAWN + GAP, top, WORDS);
    c.heading("How to take it");
    for (n, s) in r.steps.iter().enumerate() {
        c.paragraph(&format!("{}.", n + 1), 5.0, s);
    }
    c.heading("Facts to send with it");
    c.y += 0.25 * LINE;
    r.facts.iter().for_each(|(name, hint)| c.fact(name, hint));
    c.heading("Sending");
    r.sending.iter().for_each(|s| c.paragraph("", 0.0, s));
    c.heading("Take care");
    r.cautions.iter().for_each(|s| c.paragraph("-", 3.0, s));
    c.heading("The card");
    c.paragraph("", 0.0, &r.card);
    c.items
}

/// Both pages as PDF.
pub fn request_pdf(r: &Request, card: &Sheet) -> Vec<u8> {
    let first = first_page(r);
    pages(r.title, &[Page { paper: card.paper, items: &first }, Page { paper: card.paper, items: &card.items }])
}

/// The drawings of page one as SVG.
pub fn request_drawings() -> Vec<String> {
    guide::essential().iter().map(guide::Drawing::svg).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::Paper;
    use crate::units::LengthUnit;
    /// Everything of page one keeps within the smaller of both papers, the borders left white.
    #[test]
    fn page_one_fits_on_either_paper() {
        for units in [LengthUnit::Mm, LengthUnit::In] {
            let items = first_page(&Request::new(units, Some("The boathouse, made up, with a long name")));
            for item in items {
                let (low, right) = match &item {
                    Item::Text { at, size, words, bold, .. } => {
                        let face = if *bold { Face::Bold } else { Face::Plain };
                        (at.y + 0.3 * size, at.x + size * super::super::sheet::metrics::width(words, face))
                    }
                    Item::Drawing { at, width, drawing } => {
                        (at.y + width * drawing.size.1 / drawing.size.0, at.x + width)
                    }
                    Item::Fill(ink) => (ink[0].y, ink[0].x + ink[0].width),
                    Item::Cut(_) => continue,
                };
                let (width, height) = (Paper::A4.size_mm().0, Paper::Letter.size_mm().1);
                assert!(low < height - 6.0 && right < width - 6.0, "{low:.1} {right:.1}: {item:?}");
            }
        }
    }
}
