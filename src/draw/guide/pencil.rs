//! What the guide's drawings are made with: shapes, labels, and the few things that come back (lamp, phone, marks).

use std::fmt::Write;

pub const WOOD: &str = "#e6cda4";
pub const CUT: &str = "#d3b07c";
pub const DARK: &str = "#463527";
pub const INK: &str = "#221d18";
pub const LIGHT: &str = "#ffd75e";
pub const CARD: &str = "#2f6f9f";
const STRIPE: &str = "#16364f";
const GOOD: &str = "#1b7a43";
const BAD: &str = "#b3261e";
/// Font size of labels, px.
const LABEL: f64 = 16.0;

/// Where a label's point lies in its line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum At {
    Start,
    Middle,
    End,
}

/// One stroke of a drawing; px, x right, y down, colours as #rrggbb or #rgb.
#[derive(Debug, Clone, PartialEq)]
pub enum Stroke {
    Area { points: Vec<(f64, f64)>, fill: &'static str, opacity: f64 },
    Line { points: Vec<(f64, f64)>, colour: &'static str, width: f64, dash: &'static str, closed: bool },
    Disc { at: (f64, f64), radius: f64, fill: &'static str },
    Label { at: (f64, f64), anchor: At, size: f64, words: String },
}

/// A finished drawing: put on paper as SVG here, as PDF by the sheets.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    pub size: (f64, f64),
    /// Its name for those who cannot see it.
    pub title: &'static str,
    pub strokes: Vec<Stroke>,
}

impl Drawing {
    pub fn svg(&self) -> String {
        let (w, h) = self.size;
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" role=\"img\" \
             font-family=\"Noto Sans, Segoe UI, Arial, sans-serif\" font-size=\"{LABEL}\" fill=\"{INK}\">\n\
             <title>{}</title>\n<rect width=\"{w}\" height=\"{h}\" rx=\"10\" fill=\"#fffdf8\"/>\n",
            self.title
        );
        for s in &self.strokes {
            stroke(&mut out, s);
        }
        out.push_str("</svg>\n");
        out
    }
}

fn stroke(out: &mut String, s: &Stroke) {
    let list = |points: &[(f64, f64)]| {
        let p: Vec<String> = points.iter().map(|p| format!("{:.1},{:.1}", p.0, p.1)).collect();
        p.join(" ")
    };
    let _ = match s {
        Stroke::Area { points, fill, opacity } => {
            writeln!(out, "<polygon points=\"{}\" fill=\"{fill}\" fill-opacity=\"{opacity}\"/>", list(points))
        }
        Stroke::Line { points, colour, width, dash, closed } => {
            let dash = if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dash}\"") };
            let tag = if *closed { "polygon" } else { "polyline" };
            writeln!(
                out,
                "<{tag} points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\" \
                 stroke-linejoin=\"round\" stroke-linecap=\"round\"{dash}/>",
                list(points)
            )
        }
        Stroke::Disc { at: (x, y), radius, fill } => {
            writeln!(out, "<circle cx=\"{x}\" cy=\"{y}\" r=\"{radius}\" fill=\"{fill}\"/>")
        }
        Stroke::Label { at: (x, y), anchor, size, words } => {
            let anchor = match anchor {
                At::Start => "start",
                At::Middle => "middle",
                At::End => "end",
            };
            writeln!(out, "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\" font-size=\"{size}\">{words}</text>")
        }
    };
}

/// A drawing under way.
pub struct Pencil(Drawing);

impl Pencil {
    /// White paper.
    pub fn new(width: u32, height: u32, title: &'static str) -> Self {
        Self(Drawing { size: (f64::from(width), f64::from(height)), title, strokes: vec![] })
    }
    pub fn done(self) -> Drawing {
        self.0
    }
    pub fn rect(&mut self, at: (f64, f64), size: (f64, f64), fill: &'static str) {
        self.area(&corners(at, size), fill, 1.0);
    }
    /// A rectangle's outline; `dash` empty for a full line.
    pub fn frame(&mut self, at: (f64, f64), size: (f64, f64), colour: &'static str, dash: &'static str) {
        let points = corners(at, size).to_vec();
        self.0.strokes.push(Stroke::Line { points, colour, width: 2.0, dash, closed: true });
    }
    pub fn area(&mut self, points: &[(f64, f64)], fill: &'static str, opacity: f64) {
        self.0.strokes.push(Stroke::Area { points: points.to_vec(), fill, opacity });
    }
    pub fn line(&mut self, points: &[(f64, f64)], colour: &'static str, width: f64, dash: &'static str) {
        self.0.strokes.push(Stroke::Line { points: points.to_vec(), colour, width, dash, closed: false });
    }
    pub fn text(&mut self, at: (f64, f64), anchor: At, words: &str) {
        self.0.strokes.push(Stroke::Label { at, anchor, size: LABEL, words: words.into() });
    }
    /// Lines of text, 20 px apart.
    pub fn lines(&mut self, (x, y): (f64, f64), at: At, words: &[&str]) {
        for (n, w) in words.iter().enumerate() {
            self.text((x, y + 20.0 * n as f64), at, w);
        }
    }
    /// A line with an arrow head at its end.
    pub fn arrow(&mut self, from: (f64, f64), to: (f64, f64), colour: &'static str) {
        self.line(&[from, to], colour, 2.0, "");
        self.head(from, to, colour);
    }
    fn head(&mut self, from: (f64, f64), to: (f64, f64), fill: &'static str) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let n = dx.hypot(dy).max(1e-9);
        let (u, v) = (dx / n, dy / n);
        let back = (to.0 - 10.0 * u, to.1 - 10.0 * v);
        let tip = (to.0 + 1.5 * u, to.1 + 1.5 * v);
        self.area(&[tip, (back.0 - 4.5 * v, back.1 + 4.5 * u), (back.0 + 4.5 * v, back.1 - 4.5 * u)], fill, 1.0);
    }
    /// A measure between two points, heads at both ends.
    pub fn measure(&mut self, a: (f64, f64), b: (f64, f64)) {
        self.arrow(a, b, INK);
        self.head(b, a, INK);
    }
    /// A lamp's head at a point, shining along a direction (unit vector).
    pub fn lamp(&mut self, (x, y): (f64, f64), (u, v): (f64, f64)) {
        let at = |along: f64, side: f64| (x + along * u - side * v, y + along * v + side * u);
        self.area(
            &[at(0.0, -11.0), at(0.0, 11.0), at(-14.0, 7.0), at(-30.0, 7.0), at(-30.0, -7.0), at(-14.0, -7.0)],
            DARK,
            1.0,
        );
        self.area(&[at(0.0, -11.0), at(0.0, 11.0), at(4.0, 9.0), at(4.0, -9.0)], LIGHT, 1.0);
    }
    /// A phone seen edge on, lens down, middle of its lower face at a point, turned by an angle (degrees).
    pub fn phone(&mut self, at: (f64, f64), turn: f64) {
        let lay = |from, size| corners(from, size).map(|(x, y)| turned((at.0 + x, at.1 + y), at, turn));
        self.area(&lay((-46.0, -11.0), (92.0, 11.0)), DARK, 1.0);
        self.area(&lay((-8.0, -1.0), (16.0, 5.0)), INK, 1.0);
    }
    /// A green tick or a red cross.
    pub fn mark(&mut self, (x, y): (f64, f64), good: bool) {
        self.0.strokes.push(Stroke::Disc { at: (x, y), radius: 12.0, fill: if good { GOOD } else { BAD } });
        if good {
            self.line(&[(x - 5.5, y + 0.5), (x - 1.5, y + 4.5), (x + 5.5, y - 4.5)], "#fff", 2.8, "");
        } else {
            self.line(&[(x - 4.5, y - 4.5), (x + 4.5, y + 4.5)], "#fff", 2.8, "");
            self.line(&[(x - 4.5, y + 4.5), (x + 4.5, y - 4.5)], "#fff", 2.8, "");
        }
    }
    /// A bank-card sized card seen from above: first corner, size, turned by an angle about its middle (degrees).
    pub fn card(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), turn: f64) {
        let middle = (x + w / 2.0, y + h / 2.0);
        let lay = |from, size| corners(from, size).map(|p| turned(p, middle, turn));
        self.area(&lay((x, y), (w, h)), CARD, 1.0);
        self.area(&lay((x, y + 0.14 * h), (w, 0.2 * h)), STRIPE, 1.0);
    }
    /// A pocket's floor seen from above with upright ridges: `show` 0 (none to be seen) to 1.
    pub fn floor(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), spacing: f64, show: f64) {
        self.rect((x, y), (w, h), CUT);
        let mut at = x + spacing;
        while at < x + w - 1.0 {
            self.area(&[(at - 2.0, y), (at, y), (at, y + h), (at - 2.0, y + h)], "#fff3d6", show);
            self.area(&[(at, y), (at + 2.5, y), (at + 2.5, y + h), (at, y + h)], DARK, 0.75 * show);
            at += spacing;
        }
    }
}

fn corners((x, y): (f64, f64), (w, h): (f64, f64)) -> [(f64, f64); 4] {
    [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
}

/// A point turned about another, degrees from x towards y.
fn turned(p: (f64, f64), about: (f64, f64), deg: f64) -> (f64, f64) {
    let (s, c) = deg.to_radians().sin_cos();
    let (x, y) = (p.0 - about.0, p.1 - about.1);
    (about.0 + x * c - y * s, about.1 + x * s + y * c)
}
