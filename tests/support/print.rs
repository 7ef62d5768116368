//! Our own printed card as a thing in the scene: where its paper is, and how light it is where.

use super::spec::Own;
use super::wood::Rgb;
use lowsun::card::{Card, Form};
use lowsun::geometry::{Point, contains};
use serde_json::{Value, json};

/// The print as a picture: how much of each small square is paper white, 0 to 255.
#[derive(Clone)]
pub struct Sheet {
    /// Card frame, middle of the first square, mm.
    first: Point,
    step: f64,
    w: usize,
    h: usize,
    white: Vec<u8>,
}

impl Sheet {
    /// Straight from the drawing: squares of 0.05 mm, each looked at in 6 x 6 places.
    fn drawn(card: &Card, (low, high): (Point, Point)) -> Self {
        use rayon::prelude::*;
        const N: usize = 6;
        let step = 0.05;
        let size = |a: f64, b: f64| ((b - a) / step).ceil() as usize;
        let (w, h) = (size(low.x, high.x), size(low.y, high.y));
        let at = |o: f64, k: usize, sub: usize| o + (k as f64 + (sub as f64 + 0.5) / N as f64) * step;
        let share = |k: usize| {
            let places = (0..N * N).map(|s| Point::new(at(low.x, k % w, s % N), at(low.y, k / w, s / N)));
            let white = places.filter(|p| !card.dark(*p)).count();
            (white * 255 / (N * N)) as u8
        };
        let white = (0..w * h).into_par_iter().map(share).collect();
        Self { first: low + Point::new(step / 2.0, step / 2.0), step, w, h, white }
    }
    /// From the picture that a general PDF tool made of the printed page, at the dots of a printer: `tests/truth/print.py`
    /// makes it and says where it lies.
    pub fn of_page() -> Self {
        let facts: Value = serde_json::from_str(include_str!("../truth/print.json")).expect("print.json is JSON");
        let picture = &facts["picture"];
        let pair = |v: &Value| [0, 1].map(|k| v[k].as_f64().expect("a pair of numbers"));
        let step = 25.4 / picture["dpi"].as_f64().expect("a number");
        let ([x, y], [card_x, card_y]) = (pair(&picture["first_px"]), pair(&picture["card_at_mm"]));
        let bytes = include_bytes!("../truth/pocket-card-600dpi.png");
        let page = image::load_from_memory(bytes).expect("a PNG").into_luma8();
        Self {
            first: Point::new((x + 0.5) * step - card_x, (y + 0.5) * step - card_y),
            step,
            w: page.width() as usize,
            h: page.height() as usize,
            white: page.into_raw(),
        }
    }
    /// How white the sheet is at a place of the card frame, 0 to 1.
    pub fn at(&self, p: Point) -> f64 {
        let u = ((p.x - self.first.x) / self.step).clamp(0.0, (self.w - 1) as f64 - 1e-6);
        let v = ((p.y - self.first.y) / self.step).clamp(0.0, (self.h - 1) as f64 - 1e-6);
        let (i, j) = (u as usize, v as usize);
        let (a, b) = (u.fract(), v.fract());
        let q = |i: usize, j: usize| f64::from(self.white[j * self.w + i]) / 255.0;
        (q(i, j) * (1.0 - a) + q(i + 1, j) * a) * (1.0 - b) + (q(i, j + 1) * (1.0 - a) + q(i + 1, j + 1) * a) * b
    }
}

/// The cut card. Its own frame here: mm on the paper from the first corner of the rectangle round it.
#[derive(Clone)]
pub struct Print {
    pub own: Own,
    pub card: Card,
    outlines: Vec<Vec<Point>>,
    low: Point,
    sheet: Sheet,
    ink: [Rgb; 2],
}

impl std::fmt::Debug for Print {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "{:?}", self.own)
    }
}

fn bounds(card: &Card) -> (Point, Point) {
    let all = card.outlines_mm().concat();
    let fold = |f: fn(f64, f64) -> f64, from: f64| {
        all.iter().fold(Point::new(from, from), |a, p| Point::new(f(a.x, p.x), f(a.y, p.y)))
    };
    (fold(f64::min, f64::MAX), fold(f64::max, f64::MIN))
}

impl Print {
    /// Width and height of the rectangle round the paper.
    pub fn size(own: Own) -> [f64; 2] {
        let (low, high) = bounds(&Card::of(own.form));
        [(high.x - low.x) * own.printed[0], (high.y - low.y) * own.printed[1]]
    }
    /// Paper and ink differ a little by `style`.
    pub fn new(own: Own, style: u32) -> Self {
        let card = Card::of(own.form);
        let (low, high) = bounds(&card);
        let page = own.from_page && own.form == Form::Pocket;
        let sheet = if page { Sheet::of_page() } else { Sheet::drawn(&card, (low, high)) };
        let t = (style % 7) as f32 / 6.0;
        let paper = [0.74 + 0.1 * t, 0.74 + 0.1 * t, 0.72 + 0.14 * t];
        let ink = [[0.022 + 0.04 * t; 3], paper];
        Self { own, outlines: card.outlines_mm(), card, low, sheet, ink }
    }
    fn drawn(&self, u: f64, v: f64) -> Point {
        Point::new(u / self.own.printed[0] + self.low.x, v / self.own.printed[1] + self.low.y)
    }
    /// From the card frame as drawn to this frame.
    pub fn on_paper(&self, p: Point) -> [f64; 2] {
        [(p.x - self.low.x) * self.own.printed[0], (p.y - self.low.y) * self.own.printed[1]]
    }
    pub fn covers(&self, u: f64, v: f64) -> bool {
        let p = self.drawn(u, v);
        self.outlines.iter().filter(|o| contains(o, p)).count() == 1
    }
    pub fn colour(&self, u: f64, v: f64) -> Rgb {
        let w = self.sheet.at(self.drawn(u, v)) as f32;
        std::array::from_fn(|k| self.ink[0][k] * (1.0 - w) + self.ink[1][k] * w)
    }
    /// What a perfect finder would report, added to the reference's truth; `out` leads from this frame to the pocket's,
    /// `px` from there to the photo.
    pub fn tell(&self, o: &mut Value, out: impl Fn(f64, f64) -> [f64; 2], px: impl Fn([f64; 2]) -> Value) {
        let card = &self.card;
        let at = |m: Point| {
            let [u, v] = self.on_paper(m);
            out(u, v)
        };
        let lattice = [(0, 0), (card.cols, 0), (card.cols, card.rows), (0, card.rows)];
        let lattice = lattice.map(|(i, j)| at(card.point_mm(i, j)));
        let line = |l: &Vec<Point>| l.iter().map(|m| px(at(*m))).collect::<Vec<_>>();
        let corner = |(i, j): (i32, i32)| json!([i, j, px(at(card.point_mm(i, j)))]);
        o["form"] = json!(card.form);
        o["printed"] = json!(self.own.printed);
        o["from_page"] = json!(self.own.from_page);
        o["lattice"] = json!([card.cols, card.rows]);
        o["lattice_corners_mm"] = json!(lattice);
        o["lattice_corners_px"] = json!(lattice.map(&px));
        o["outlines_px"] = json!(self.outlines.iter().map(line).collect::<Vec<_>>());
        o["saddles_px"] = json!(card.saddles().into_iter().map(corner).collect::<Vec<_>>());
    }
}
