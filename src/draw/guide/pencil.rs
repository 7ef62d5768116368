//! What the guide's drawings are made with: shapes, labels, and the few things that come back (lamp, phone, marks).

use std::fmt::Write;

pub const WOOD: &str = "#e6cda4";
pub const CUT: &str = "#d3b07c";
pub const DARK: &str = "#463527";
pub const INK: &str = "#221d18";
pub const LIGHT: &str = "#ffd75e";
pub const CARD: &str = "#2f6f9f";
const GOOD: &str = "#1b7a43";
const BAD: &str = "#b3261e";

/// A drawing under way; px of its own, x right, y down.
pub struct Pencil {
    out: String,
}

/// Where a label's point lies in its line.
#[derive(Clone, Copy)]
pub enum At {
    Start,
    Middle,
    End,
}

impl Pencil {
    /// White paper with the drawing's name for those who cannot see it.
    pub fn new(width: u32, height: u32, title: &str) -> Self {
        let out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\" \
             font-family=\"Noto Sans, Segoe UI, Arial, sans-serif\" font-size=\"16\" fill=\"{INK}\">\n\
             <title>{title}</title>\n<rect width=\"{width}\" height=\"{height}\" rx=\"10\" fill=\"#fffdf8\"/>\n"
        );
        Self { out }
    }
    pub fn done(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }
    pub fn rect(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), fill: &str) {
        let _ = writeln!(self.out, "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" fill=\"{fill}\"/>");
    }
    /// A rectangle's outline; `dash` empty for a full line.
    pub fn frame(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), stroke: &str, dash: &str) {
        let _ = writeln!(
            self.out,
            "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"4\" fill=\"none\" stroke=\"{stroke}\" \
             stroke-width=\"2\"{}/>",
            dashes(dash)
        );
    }
    pub fn area(&mut self, points: &[(f64, f64)], fill: &str, opacity: f64) {
        let p: Vec<String> = points.iter().map(|p| format!("{:.1},{:.1}", p.0, p.1)).collect();
        let _ = writeln!(self.out, "<polygon points=\"{}\" fill=\"{fill}\" fill-opacity=\"{opacity}\"/>", p.join(" "));
    }
    pub fn line(&mut self, points: &[(f64, f64)], stroke: &str, width: f64, dash: &str) {
        let p: Vec<String> = points.iter().map(|p| format!("{:.1},{:.1}", p.0, p.1)).collect();
        let _ = writeln!(
            self.out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{stroke}\" stroke-width=\"{width}\" \
             stroke-linejoin=\"round\" stroke-linecap=\"round\"{}/>",
            p.join(" "),
            dashes(dash)
        );
    }
    pub fn text(&mut self, (x, y): (f64, f64), at: At, words: &str) {
        self.label((x, y), at, words, 16, INK);
    }
    /// Lines of text, 20 px apart.
    pub fn lines(&mut self, (x, y): (f64, f64), at: At, words: &[&str]) {
        for (n, w) in words.iter().enumerate() {
            self.text((x, y + 20.0 * n as f64), at, w);
        }
    }
    fn label(&mut self, (x, y): (f64, f64), at: At, words: &str, size: u32, fill: &str) {
        let anchor = match at {
            At::Start => "start",
            At::Middle => "middle",
            At::End => "end",
        };
        let _ = writeln!(
            self.out,
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\" font-size=\"{size}\" fill=\"{fill}\">{words}</text>"
        );
    }
    /// A line with an arrow head at its end.
    pub fn arrow(&mut self, from: (f64, f64), to: (f64, f64), stroke: &str) {
        self.line(&[from, to], stroke, 2.0, "");
        self.head(from, to, stroke);
    }
    fn head(&mut self, from: (f64, f64), to: (f64, f64), fill: &str) {
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
    pub fn phone(&mut self, (x, y): (f64, f64), turn: f64) {
        let _ = writeln!(
            self.out,
            "<g transform=\"translate({x} {y}) rotate({turn})\"><rect x=\"-46\" y=\"-11\" width=\"92\" height=\"11\" \
             rx=\"4\" fill=\"{DARK}\"/><rect x=\"-8\" y=\"-1\" width=\"16\" height=\"5\" rx=\"2\" fill=\"{INK}\"/></g>"
        );
    }
    /// A green tick or a red cross.
    pub fn mark(&mut self, (x, y): (f64, f64), good: bool) {
        let colour = if good { GOOD } else { BAD };
        let _ = writeln!(self.out, "<circle cx=\"{x}\" cy=\"{y}\" r=\"12\" fill=\"{colour}\"/>");
        if good {
            self.line(&[(x - 5.5, y + 0.5), (x - 1.5, y + 4.5), (x + 5.5, y - 4.5)], "#fff", 2.8, "");
        } else {
            self.line(&[(x - 4.5, y - 4.5), (x + 4.5, y + 4.5)], "#fff", 2.8, "");
            self.line(&[(x - 4.5, y + 4.5), (x + 4.5, y - 4.5)], "#fff", 2.8, "");
        }
    }
    /// A bank-card sized card seen from above: first corner, size, turned by an angle about its middle (degrees).
    pub fn card(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), turn: f64) {
        let _ = writeln!(
            self.out,
            "<g transform=\"rotate({turn} {} {})\"><rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"5\" \
             fill=\"{CARD}\"/><rect x=\"{x}\" y=\"{}\" width=\"{w}\" height=\"{}\" fill=\"#16364f\"/></g>",
            x + w / 2.0,
            y + h / 2.0,
            y + 0.14 * h,
            0.2 * h
        );
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

fn dashes(dash: &str) -> String {
    if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dash}\"") }
}
