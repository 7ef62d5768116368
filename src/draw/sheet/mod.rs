//! The sheet to print: the reference card in its cutting lines, two bars to measure, and what to do with them. One list
//! of shapes in millimetres makes both the PDF and the SVG.
//!
//! Page frame: millimetres, origin at the page's top-left corner, x right, y down.

pub(super) mod metrics;
mod pdf;
mod svg;
mod words;

use super::guide::Drawing;
use crate::card::{BAR_MM, Card, Form, Ink, Printed};
use crate::error::{Error, Result, Stage};
use crate::geometry::Point;
use serde::{Deserialize, Serialize};

/// Paper of home and office printers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Paper {
    /// 210 x 297 mm (ISO 216).
    A4,
    /// 8 1/2 x 11 in = 215.9 x 279.4 mm (ANSI/ASME Y14.1).
    Letter,
}

impl Paper {
    pub const ALL: [Self; 2] = [Self::A4, Self::Letter];
    pub fn name(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "letter",
        }
    }
    /// Width and height, mm.
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }
}

/// One shape of the sheet, black.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// Filled rectangles that make up one figure: drawn as one path, so that no seam shows between neighbours.
    Fill(Vec<Ink>),
    /// A thin dashed closed line: cut here.
    Cut(Vec<Point>),
    /// Words from `at` (left end of the base line) to the right, or upwards where `up`; `size` is the font size.
    Text { at: Point, size: f64, bold: bool, up: bool, words: String },
    /// A drawing of the guide, its top-left corner and its width.
    Drawing { at: Point, width: f64, drawing: Drawing },
}

/// A page of a PDF.
pub(super) struct Page<'a> {
    pub paper: Paper,
    pub items: &'a [Item],
}

/// Pages as one PDF file.
pub(super) fn pages(title: &str, pages: &[Page]) -> Vec<u8> {
    pdf::write(title, pages)
}

/// Borders that many printers leave white, mm (common practice, no source: 3 to 6 mm on home printers).
const BORDER_MM: f64 = 6.0;

/// Width of the card's place on the page (the frame's 150 mm, a gap, the upright bar), mm.
const CONTENT_MM: f64 = 168.0;

/// Width of the lines that end a bar, mm: thin enough to set a caliper on its middle by eye.
const TICK_MM: f64 = 0.2;

/// A page ready to write.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    pub form: Form,
    pub paper: Paper,
    /// Where the card frame's origin lies on the page.
    pub card_at: Point,
    /// Page millimetres per drawn millimetre along x and y; 1 unless a printer's error is made good.
    pub factor: (f64, f64),
    pub items: Vec<Item>,
}

impl Sheet {
    /// Lays out a form on a paper. `printed` is what the printer made of an earlier sheet: the card is drawn larger or
    /// smaller so that it comes out true on that printer.
    ///
    /// Fails at [`Stage::Arguments`] when the card so changed no longer fits on the paper.
    pub fn of(form: Form, paper: Paper, printed: Printed) -> Result<Self> {
        let (width, height) = paper.size_mm();
        let card = Card::of(form);
        let left = (width - CONTENT_MM) / 2.0;
        let factor = (1.0 / printed.x, 1.0 / printed.y);
        let mut sheet = Self { form, paper, card_at: Point::new(left + 1.0, 111.0), factor, items: vec![] };
        sheet.print(&card);
        sheet.bar(Point::new(left + 1.0, 101.0), false);
        // The frame reaches 150 mm to the right, the others leave the upright bar nearer to them.
        let across = f64::from(card.cols) * card.pitch_mm() * factor.0;
        sheet.bar(Point::new(sheet.card_at.x + across + 13.0, 112.0), true);
        words::write(&mut sheet, left);
        let low = sheet.reach();
        if low.x > width - BORDER_MM || low.y > height - BORDER_MM {
            let what = format!("the {form} card, made larger by that much, does not fit on {}", paper.name());
            let hint = "find out why the printer shrinks so much: print at 100 %, not \"fit to page\"";
            return Err(Error::new(Stage::Arguments, "--card-measured", what, hint));
        }
        Ok(sheet)
    }
    /// Name of the files without their ending.
    pub fn name(&self) -> String {
        format!("lowsun-card-{}-{}", self.form.name(), self.paper.name())
    }
    /// The page as a PDF file: fonts every reader has, nothing that changes from run to run.
    pub fn pdf(&self) -> Vec<u8> {
        pages(&self.name(), &[Page { paper: self.paper, items: &self.items }])
    }
    /// The page as an SVG file, a user unit to the millimetre.
    pub fn svg(&self) -> String {
        svg::write(self)
    }
    /// Place on the page of a place of the card frame.
    pub fn place(&self, drawn: Point) -> Point {
        self.card_at + Point::new(drawn.x * self.factor.0, drawn.y * self.factor.1)
    }
    fn print(&mut self, card: &Card) {
        let ink =
            card.ink().iter().map(|k| self.changed(self.place(Point::new(k.x, k.y)), k.width, k.height)).collect();
        self.items.push(Item::Fill(ink));
        for outline in card.outlines_mm() {
            self.items.push(Item::Cut(outline.iter().map(|p| self.place(*p)).collect()));
        }
    }
    fn changed(&self, at: Point, width: f64, height: f64) -> Ink {
        Ink { x: at.x, y: at.y, width: width * self.factor.0, height: height * self.factor.1 }
    }
    /// A bar from the middle of one end line to the middle of the other, with a line every 10 mm.
    fn bar(&mut self, from: Point, upright: bool) {
        let (kx, ky) = self.factor;
        let end = BAR_MM * if upright { ky } else { kx };
        let lines = (0..=10).map(|n| {
            let (at, reach) = (end * f64::from(n) / 10.0, if n % 10 == 0 { 3.0 } else { 1.0 });
            match upright {
                false => Ink { x: from.x + at - TICK_MM / 2.0, y: from.y - reach, width: TICK_MM, height: 2.0 * reach },
                true => Ink { x: from.x - reach, y: from.y + at - TICK_MM / 2.0, width: 2.0 * reach, height: TICK_MM },
            }
        });
        let along = match upright {
            false => Ink { x: from.x, y: from.y - TICK_MM / 2.0, width: end, height: TICK_MM },
            true => Ink { x: from.x - TICK_MM / 2.0, y: from.y, width: TICK_MM, height: end },
        };
        let ink = lines.chain([along]).collect();
        self.items.push(Item::Fill(ink));
        let at = match upright {
            false => Point::new(from.x + end + 4.0, from.y + 1.0),
            true => Point::new(from.x + 7.0, from.y + end * 0.62),
        };
        let words = if upright { "100 mm along y" } else { "100 mm along x" };
        self.items.push(Item::Text { at, size: 3.2, bold: true, up: upright, words: words.into() });
    }
    /// Lowest and rightmost place that ink or a cut reaches.
    fn reach(&self) -> Point {
        let far = |i: &Item| match i {
            Item::Fill(ink) => ink.iter().map(|k| Point::new(k.x + k.width, k.y + k.height)).collect(),
            Item::Cut(p) => p.clone(),
            Item::Text { at, .. } | Item::Drawing { at, .. } => vec![*at],
        };
        let all = self.items.iter().flat_map(far);
        all.fold(Point::default(), |a, p| Point::new(a.x.max(p.x), a.y.max(p.y)))
    }
}

#[cfg(test)]
mod tests;
