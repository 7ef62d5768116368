//! The pocket's plan view: how far a point is from the nearest wall or letter, and the paths that keep a distance.

use super::field::{Field, P};
use super::spec::{Outline, Spec};

/// Strokes of capital letters in a box one unit high, baseline at y = 1, with the box's width.
fn glyph(c: char) -> (f64, Vec<[f64; 4]>) {
    let s: &[[f64; 4]] = match c {
        'A' => &[[0.0, 1.0, 0.35, 0.0], [0.35, 0.0, 0.7, 1.0], [0.12, 0.65, 0.58, 0.65]],
        'E' => &[[0.0, 0.0, 0.0, 1.0], [0.0, 0.0, 0.6, 0.0], [0.0, 0.5, 0.5, 0.5], [0.0, 1.0, 0.6, 1.0]],
        'F' => &[[0.0, 0.0, 0.0, 1.0], [0.0, 0.0, 0.6, 0.0], [0.0, 0.5, 0.5, 0.5]],
        'H' => &[[0.0, 0.0, 0.0, 1.0], [0.65, 0.0, 0.65, 1.0], [0.0, 0.5, 0.65, 0.5]],
        'I' => &[[0.0, 0.0, 0.0, 1.0]],
        'K' => &[[0.0, 0.0, 0.0, 1.0], [0.0, 0.55, 0.6, 0.0], [0.15, 0.45, 0.65, 1.0]],
        'L' => &[[0.0, 0.0, 0.0, 1.0], [0.0, 1.0, 0.6, 1.0]],
        'M' => &[[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 0.4, 0.6], [0.4, 0.6, 0.8, 0.0], [0.8, 0.0, 0.8, 1.0]],
        'N' => &[[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 0.65, 1.0], [0.65, 1.0, 0.65, 0.0]],
        'O' => &[
            [0.2, 0.0, 0.5, 0.0],
            [0.5, 0.0, 0.7, 0.25],
            [0.7, 0.25, 0.7, 0.75],
            [0.7, 0.75, 0.5, 1.0],
            [0.5, 1.0, 0.2, 1.0],
            [0.2, 1.0, 0.0, 0.75],
            [0.0, 0.75, 0.0, 0.25],
            [0.0, 0.25, 0.2, 0.0],
        ],
        'R' => &[
            [0.0, 0.0, 0.0, 1.0],
            [0.0, 0.0, 0.5, 0.0],
            [0.5, 0.0, 0.62, 0.12],
            [0.62, 0.12, 0.62, 0.4],
            [0.62, 0.4, 0.5, 0.52],
            [0.5, 0.52, 0.0, 0.52],
            [0.28, 0.52, 0.64, 1.0],
        ],
        'T' => &[[0.0, 0.0, 0.7, 0.0], [0.35, 0.0, 0.35, 1.0]],
        'V' => &[[0.0, 0.0, 0.35, 1.0], [0.35, 1.0, 0.7, 0.0]],
        'X' => &[[0.0, 0.0, 0.65, 1.0], [0.65, 0.0, 0.0, 1.0]],
        'Y' => &[[0.0, 0.0, 0.35, 0.5], [0.7, 0.0, 0.35, 0.5], [0.35, 0.5, 0.35, 1.0]],
        _ => &[[0.0, 0.0, 0.6, 0.0], [0.6, 0.0, 0.0, 1.0], [0.0, 1.0, 0.6, 1.0]],
    };
    (s.iter().fold(0.0, |a: f64, q| a.max(q[0]).max(q[2])), s.to_vec())
}

pub struct Walls {
    pub polygon: Vec<P>,
    circle: Option<(P, f64)>,
    pub strokes: Vec<(P, P, f64)>,
}

fn to_segment(p: P, a: P, b: P) -> f64 {
    let (d, q) = ([b[0] - a[0], b[1] - a[1]], [p[0] - a[0], p[1] - a[1]]);
    let t = ((q[0] * d[0] + q[1] * d[1]) / (d[0] * d[0] + d[1] * d[1]).max(1e-12)).clamp(0.0, 1.0);
    ((q[0] - t * d[0]).powi(2) + (q[1] - t * d[1]).powi(2)).sqrt()
}

impl Walls {
    pub fn new(s: &Spec) -> Self {
        let [w, h] = s.size;
        let (x1, y1) = (w - 2.0, h - 2.0);
        let mut circle = None;
        let polygon = match s.outline {
            Outline::Rect => vec![[2.0, 2.0], [x1, 2.0], [x1, y1], [2.0, y1]],
            Outline::L => {
                let (xm, ym) = (2.0 + (x1 - 2.0) * 0.52, 2.0 + (y1 - 2.0) * 0.45);
                vec![[2.0, 2.0], [x1, 2.0], [x1, ym], [xm, ym], [xm, y1], [2.0, y1]]
            }
            Outline::Round => {
                let r = (y1 - 2.0) / 2.0;
                circle = Some(([w / 2.0, h / 2.0], r));
                (0..96)
                    .map(|i| (i as f64 / 96.0 * std::f64::consts::TAU).sin_cos())
                    .map(|(b, a)| [w / 2.0 + r * a, h / 2.0 + r * b])
                    .collect()
            }
        };
        let mut strokes = vec![];
        if let Some((text, height, stroke)) = s.letters {
            let gap = stroke * 1.55 + 0.12 * height;
            let glyphs: Vec<_> = text.chars().map(glyph).collect();
            let total: f64 = glyphs.iter().map(|q| q.0 * height).sum::<f64>() + gap * (glyphs.len() - 1) as f64;
            let (mut x, y) = (w / 2.0 - total / 2.0, h / 2.0 - height / 2.0);
            for (gw, lines) in glyphs {
                for l in lines {
                    let at = |a: f64, b: f64| [x + a * height, y + b * height];
                    strokes.push((at(l[0], l[1]), at(l[2], l[3]), stroke / 2.0));
                }
                x += gw * height + gap;
            }
        }
        Self { polygon, circle, strokes }
    }
    /// Distance to the nearest wall or letter, negative outside the pocket or in a letter.
    pub fn room(&self, p: P) -> f64 {
        let n = self.polygon.len();
        let outer = if let Some((c, r)) = self.circle {
            r - (p[0] - c[0]).hypot(p[1] - c[1])
        } else {
            let (mut d, mut inside) = (f64::MAX, false);
            for i in 0..n {
                let (a, b) = (self.polygon[i], self.polygon[(i + 1) % n]);
                d = d.min(to_segment(p, a, b));
                if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0] {
                    inside = !inside;
                }
            }
            if inside { d } else { -d }
        };
        self.strokes.iter().fold(outer, |m, (a, b, hw)| m.min(to_segment(p, *a, *b) - hw))
    }
    /// Unit vector away from the nearest wall.
    pub fn away(&self, p: P) -> P {
        let e = 0.05;
        let g = [
            self.room([p[0] + e, p[1]]) - self.room([p[0] - e, p[1]]),
            self.room([p[0], p[1] + e]) - self.room([p[0], p[1] - e]),
        ];
        let n = g[0].hypot(g[1]).max(1e-9);
        [g[0] / n, g[1] / n]
    }
}

/// Closed lines where `f` crosses `level` (marching squares, linear between cells), higher values on the left hand side
/// when walking (x right, y down).
pub fn contours(f: &Field, level: f64) -> Vec<Vec<P>> {
    use std::collections::HashMap;
    let l = level as f32;
    let mut next: HashMap<(usize, bool), ((usize, bool), P)> = HashMap::new();
    let point = |key: (usize, bool)| -> P {
        let k = key.0;
        let (a, b) = (f.v[k], f.v[if key.1 { k + f.w } else { k + 1 }]);
        let t = f64::from((l - a) / (b - a));
        let (x, y) = (f.x(k % f.w), f.y(k / f.w));
        if key.1 { [x, y + t * f.g] } else { [x + t * f.g, y] }
    };
    for j in 0..f.h - 1 {
        for i in 0..f.w - 1 {
            let k = j * f.w + i;
            let c = [f.v[k] > l, f.v[k + 1] > l, f.v[k + f.w + 1] > l, f.v[k + f.w] > l];
            // Edges: top, right, bottom, left; (cell, true) = the edge that runs down from the cell.
            let e = [(k, false), (k + 1, true), (k + f.w, false), (k, true)];
            // Enter where the corner order goes out -> in, leave at the next in -> out, walking round the cell.
            for s in 0..4 {
                if !c[s] && c[(s + 1) % 4] {
                    let mut t = (s + 1) % 4;
                    while !c[t] || c[(t + 1) % 4] {
                        t = (t + 1) % 4;
                    }
                    next.insert(e[s], (e[t], point(e[s])));
                }
            }
        }
    }
    let mut keys: Vec<_> = next.keys().copied().collect();
    keys.sort_unstable();
    let mut loops = vec![];
    for start in keys {
        let (mut k, mut line) = (start, vec![]);
        while let Some((n, p)) = next.remove(&k) {
            line.push(p);
            k = n;
        }
        if line.len() > 8 && k == start {
            loops.push(line);
        }
    }
    loops
}
