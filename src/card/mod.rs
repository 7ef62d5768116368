//! The reference card of our own: what is printed where. One description feeds the sheet to print, the finder and the
//! tests, so that they cannot drift apart.
//!
//! Every form is a set of cells on one square lattice of [`PITCH_MM`]. A cell is blank paper, a square of the checker
//! (black where i + j is even, over the whole lattice) or part of a block of 4 x 4 cells with a QR code (ISO/IEC
//! 18004) in its middle. Where four checker cells meet stands a saddle corner, which can be placed to a small part of a
//! pixel. Every code tells the form, its own place in it and the pitch, so any one of them is enough to know where
//! everything else lies; without any, the places of the blocks among the checker tell forms and turns apart.
//!
//! Card frame: millimetres as printed, x right, y down, origin at the top-left corner of the lattice (the printed area);
//! cell (i, j) spans x from i to i + 1 pitches and y from j to j + 1.

mod code;
mod layout;
mod printed;

pub use code::{CODE_MODULES, Code};
pub use printed::{BAR_MM, Printed};

use crate::geometry::{Point, contains};
use layout::{holes, on_form};
use serde::{Deserialize, Serialize};

/// Pitch of the lattice, mm. At 8 px per mm (a 12-megapixel photo of 0.5 m) a square is 32 px; at 3 px per mm it is
/// 12 px and its corners can still be placed. Twice the pitch would leave a quarter of the corners.
pub const PITCH_MM: f64 = 4.0;

/// Side of a module of the codes, mm: 21 modules and the quiet zone of 4 on both sides that ISO/IEC 18004 asks for are
/// 15.95 mm, and a block has 16.
pub const MODULE_MM: f64 = 0.55;

/// Cells along the side of a block.
pub const BLOCK_CELLS: i32 = 4;

/// White paper between the print and the cut, mm: a cut that strays by half of it harms nothing.
pub const MARGIN_MM: f64 = 1.0;

/// Paper of 80 to 160 g/m2 is 0.1 to 0.2 mm thick (common practice, no source), mm.
pub const PAPER_MM: f64 = 0.1;

/// Which card it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Form {
    /// 86 x 54 mm, to lie beside the pocket or in it.
    Pocket,
    /// An L, 102 x 70 mm, to lie in a corner of the pocket.
    Corner,
    /// 150 x 110 mm with a window of 98 x 58 mm, to lie round the place of interest.
    Frame,
}

impl Form {
    pub const ALL: [Self; 3] = [Self::Pocket, Self::Corner, Self::Frame];
    /// The word on the command line, in file names and in report.json.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pocket => "pocket",
            Self::Corner => "corner",
            Self::Frame => "frame",
        }
    }
}

impl std::fmt::Display for Form {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// What is printed on a cell of the lattice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cell {
    /// Off the form, or bare paper.
    Blank,
    /// A square of the checker.
    Check { black: bool },
    /// Part of the block of this index.
    Code(usize),
}

/// A block of 4 x 4 cells with a code in its middle.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    pub index: usize,
    /// The block's top-left cell.
    pub cell: (i32, i32),
    pub code: Code,
    /// 21 rows of 21 modules, true = black.
    pub modules: Vec<bool>,
}

impl Block {
    /// Top-left corner of the code's first module, card frame.
    pub fn origin_mm(&self) -> Point {
        let inset = (f64::from(BLOCK_CELLS) * PITCH_MM - CODE_MODULES as f64 * MODULE_MM) / 2.0;
        Point::new(f64::from(self.cell.0) * PITCH_MM + inset, f64::from(self.cell.1) * PITCH_MM + inset)
    }
    /// The code's corners (top-left, top-right, bottom-right, bottom-left as printed), card frame.
    pub fn corners_mm(&self) -> [Point; 4] {
        let (o, s) = (self.origin_mm(), CODE_MODULES as f64 * MODULE_MM);
        [o, o + Point::new(s, 0.0), o + Point::new(s, s), o + Point::new(0.0, s)]
    }
    fn dark(&self, p: Point) -> bool {
        let q = (p - self.origin_mm()) * (1.0 / MODULE_MM);
        let inside = |v: f64| v >= 0.0 && v < CODE_MODULES as f64;
        inside(q.x) && inside(q.y) && self.modules[q.y as usize * CODE_MODULES + q.x as usize]
    }
}

/// One form, laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    pub form: Form,
    /// Cells along x and y of the lattice's bounding rectangle.
    pub cols: i32,
    pub rows: i32,
    cells: Vec<Cell>,
    blocks: Vec<Block>,
}

/// A black rectangle of the print, mm in the card frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ink {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

impl Card {
    /// The card of a form. Always the same one.
    pub fn of(form: Form) -> Self {
        let (cols, rows) = layout::size(form);
        let mut cells: Vec<Cell> = (0..rows)
            .flat_map(|j| (0..cols).map(move |i| (i, j)))
            .map(|(i, j)| if on_form(form, i, j) { Cell::Check { black: (i + j) % 2 == 0 } } else { Cell::Blank })
            .collect();
        let mut blocks = vec![];
        for (index, &(i0, j0)) in holes(form).iter().enumerate() {
            for (i, j) in (0..BLOCK_CELLS * BLOCK_CELLS).map(|k| (i0 + k % BLOCK_CELLS, j0 + k / BLOCK_CELLS)) {
                cells[(j * cols + i) as usize] = Cell::Code(index);
            }
            let code = Code { form, block: index, pitch_um: (PITCH_MM * 1e3) as u32 };
            blocks.push(Block { index, cell: (i0, j0), modules: code.modules(), code });
        }
        Self { form, cols, rows, cells, blocks }
    }
    /// Pitch of the lattice as drawn, mm. What a printer made of it is [`Printed`]'s to say.
    pub fn pitch_mm(&self) -> f64 {
        PITCH_MM
    }
    /// What is printed on cell (i, j); blank outside the lattice.
    pub fn cell(&self, i: i32, j: i32) -> Cell {
        if i < 0 || j < 0 || i >= self.cols || j >= self.rows {
            return Cell::Blank;
        }
        self.cells[(j * self.cols + i) as usize]
    }
    pub fn blocks(&self) -> &[Block] {
        &self.blocks
    }
    /// Whether lattice point (i, j), the top-left corner of cell (i, j), is a saddle corner: four checker cells meet.
    pub fn is_saddle(&self, i: i32, j: i32) -> bool {
        [(i - 1, j - 1), (i, j - 1), (i - 1, j), (i, j)]
            .iter()
            .all(|&(a, b)| matches!(self.cell(a, b), Cell::Check { .. }))
    }
    /// Every saddle corner as a lattice point, row by row.
    pub fn saddles(&self) -> Vec<(i32, i32)> {
        let points = (1..self.rows).flat_map(|j| (1..self.cols).map(move |i| (i, j)));
        points.filter(|&(i, j)| self.is_saddle(i, j)).collect()
    }
    /// Place of lattice point (i, j), mm in the card frame.
    pub fn point_mm(&self, i: i32, j: i32) -> Point {
        Point::new(f64::from(i) * PITCH_MM, f64::from(j) * PITCH_MM)
    }
    /// Outlines of the paper once it is cut, mm in the card frame: the outer one first, then the window if there is one.
    pub fn outlines_mm(&self) -> Vec<Vec<Point>> {
        layout::outlines(self.form)
    }
    /// Whether the cut paper covers a place of the card frame.
    pub fn covers(&self, p: Point) -> bool {
        self.outlines_mm().iter().filter(|o| contains(o, p)).count() == 1
    }
    /// Whether the print is black at a place of the card frame.
    pub fn dark(&self, p: Point) -> bool {
        match self.cell((p.x / PITCH_MM).floor() as i32, (p.y / PITCH_MM).floor() as i32) {
            Cell::Blank => false,
            Cell::Check { black } => black,
            Cell::Code(k) => self.blocks[k].dark(p),
        }
    }
    /// The black rectangles that make up the print. They touch but never overlap: squares of the checker, and the runs
    /// of black modules in every row of the codes.
    pub fn ink(&self) -> Vec<Ink> {
        let mut out = vec![];
        for (i, j) in (0..self.rows).flat_map(|j| (0..self.cols).map(move |i| (i, j))) {
            if self.cell(i, j) == (Cell::Check { black: true }) {
                let p = self.point_mm(i, j);
                out.push(Ink { x: p.x, y: p.y, width: PITCH_MM, height: PITCH_MM });
            }
        }
        for b in &self.blocks {
            let o = b.origin_mm();
            for (row, line) in b.modules.chunks(CODE_MODULES).enumerate() {
                let mut at = 0;
                for run in line.chunk_by(|a, b| a == b) {
                    if run[0] {
                        let (x, y) = (o.x + at as f64 * MODULE_MM, o.y + row as f64 * MODULE_MM);
                        out.push(Ink { x, y, width: run.len() as f64 * MODULE_MM, height: MODULE_MM });
                    }
                    at += run.len();
                }
            }
        }
        out
    }
}

#[cfg(test)]
mod tests;
