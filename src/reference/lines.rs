//! Straight edges of the reduced picture: segments grown along one direction, and lines of collinear segments.

use super::edges::Edges;
use crate::geometry::Point;

/// Weakest joint gradient that may start or join a segment, log units per reduced px: an edge of 6 % contrast at the blur
/// of the reduction. Lower values chain grain into lines; higher ones lose a pale card on pale stock.
const WEAKEST: f32 = 0.02;

/// Half width of the directions that one segment may hold, radians: 15 degrees. The classic choice for this growth is 22.5
/// degrees (von Gioi et al. 2012, doi:10.5201/ipol.2012.gjmr-lsd); rounded corners ask for less.
const SPREAD: f32 = 0.262;

/// Weakest crest of a segment as a share of its strongest: a strong edge does not leak into the grain it meets.
const FAINTER: f32 = 0.3;

/// Shortest segment kept, reduced px.
const SHORTEST: f64 = 9.0;

/// Most lines handed on, the strongest first.
const MOST_LINES: usize = 180;

/// A straight edge in reduced pixels: `at` + t `along`, with the stretches of t that carry edge.
#[derive(Debug, Clone)]
pub struct Line {
    pub at: Point,
    /// Unit vector.
    pub along: Point,
    /// Sorted, not overlapping.
    pub stretches: Vec<(f64, f64)>,
    /// Sum over segments of length times squared saturated contrast: grain is long but faint.
    pub weight: f64,
}

impl Line {
    /// Share of [a, b] that carries edge.
    pub fn cover(&self, a: f64, b: f64) -> f64 {
        let (a, b) = (a.min(b), a.max(b));
        let s: f64 = self.stretches.iter().map(|(p, q)| (q.min(b) - p.max(a)).max(0.0)).sum();
        if b > a { s / (b - a) } else { 0.0 }
    }
    pub fn t_of(&self, p: Point) -> f64 {
        (p.x - self.at.x) * self.along.x + (p.y - self.at.y) * self.along.y
    }
    pub fn off(&self, p: Point) -> f64 {
        (p.y - self.at.y) * self.along.x - (p.x - self.at.x) * self.along.y
    }
    /// Crossing with another line; `None` within 8 degrees of parallel.
    pub fn crossing(&self, o: &Line) -> Option<Point> {
        let det = self.along.x * o.along.y - self.along.y * o.along.x;
        if det.abs() < 0.14 {
            return None;
        }
        let d = o.at - self.at;
        Some(self.at + self.along * ((d.x * o.along.y - d.y * o.along.x) / det))
    }
}

struct Segment {
    a: Point,
    b: Point,
    /// Mean strength, capped at a contrast beyond which an edge is no better.
    contrast: f64,
}

impl Segment {
    fn length(&self) -> f64 {
        self.a.distance(self.b)
    }
}

/// Lines of the reduced picture, strongest first.
pub fn lines(edges: &Edges) -> Vec<Line> {
    let mut segments = segments(edges);
    segments.sort_by(|a, b| b.length().total_cmp(&a.length()));
    let mut out: Vec<Line> = vec![];
    for seed in segments.iter().take(500) {
        let line = joined(seed, &segments);
        let near = |l: &Line| {
            let turn = (l.along.x * line.along.y - l.along.y * line.along.x).abs();
            let ends = [line.stretches[0].0, line.stretches[line.stretches.len() - 1].1];
            turn < 0.02 && ends.iter().all(|t| l.off(line.at + line.along * *t).abs() < 1.2)
        };
        if !out.iter().any(near) {
            out.push(line);
        }
    }
    out.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    out.truncate(MOST_LINES);
    out
}

/// The seed's line with every segment that lies on it, refitted once.
fn joined(seed: &Segment, all: &[Segment]) -> Line {
    let mut at = seed.a.lerp(seed.b, 0.5);
    let mut along = (seed.b - seed.a) * (1.0 / seed.length());
    let mut members: Vec<&Segment> = vec![seed];
    for tolerance in [1.5, 1.2] {
        let line = Line { at, along, stretches: vec![], weight: 0.0 };
        // How far the seed's own direction is known sets how far it may reach.
        let reach = members.iter().map(|s| s.length()).sum::<f64>();
        members = all
            .iter()
            .filter(|s| {
                let turn = ((s.b.x - s.a.x) * along.y - (s.b.y - s.a.y) * along.x).abs() / s.length();
                let far = line.t_of(s.a).abs().max(line.t_of(s.b).abs());
                let slack = tolerance + 0.004 * (far - reach).max(0.0);
                turn < 0.05 + 1.0 / s.length()
                    && line.off(s.a).abs() < slack
                    && line.off(s.b).abs() < slack
                    && far < 4.0 * reach + 40.0
            })
            .collect();
        if members.is_empty() {
            members.push(seed);
        }
        (at, along) = fitted(&members);
    }
    let line = Line { at, along, stretches: vec![], weight: 0.0 };
    let mut spans: Vec<(f64, f64)> = members
        .iter()
        .map(|s| (line.t_of(s.a), line.t_of(s.b)))
        .map(|(a, b)| (a.min(b) - 1.0, a.max(b) + 1.0))
        .collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut stretches: Vec<(f64, f64)> = vec![];
    for s in spans {
        match stretches.last_mut() {
            Some(last) if s.0 <= last.1 => last.1 = last.1.max(s.1),
            _ => stretches.push(s),
        }
    }
    let weight = members.iter().map(|s| s.length() * s.contrast * s.contrast).sum();
    Line { stretches, weight, ..line }
}

/// Total least squares through the ends of the segments, weighted by length.
fn fitted(members: &[&Segment]) -> (Point, Point) {
    let total: f64 = members.iter().map(|s| s.length()).sum();
    let middle = members.iter().fold(Point::default(), |m, s| m + s.a.lerp(s.b, 0.5) * (s.length() / total));
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for s in members {
        for p in [s.a, s.b] {
            let (d, w) = (p - middle, s.length());
            xx += w * d.x * d.x;
            yy += w * d.y * d.y;
            xy += w * d.x * d.y;
        }
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    (middle, Point::new(angle.cos(), angle.sin()))
}

/// A crest pixel of the gradient with its place to a fraction of a pixel.
pub struct Crest {
    pub at: Point,
    /// Radians.
    pub normal: f32,
    pub strength: f32,
}

/// All crest pixels of the reduced picture, row by row.
pub fn crests(edges: &Edges) -> Vec<Crest> {
    let (w, h) = (edges.strength.width, edges.strength.height);
    (1..h - 1).flat_map(|y| (1..w - 1).filter_map(move |x| crest(edges, x, y))).collect()
}

/// Chains of crest pixels of one direction grown from the strongest, each a segment (after von Gioi et al. 2012, on the
/// gradient's crests and without its false-alarm count: lines are judged later as sides of a figure).
fn segments(edges: &Edges) -> Vec<Segment> {
    let (w, h) = (edges.strength.width, edges.strength.height);
    let mut place = vec![u32::MAX; w * h];
    let mut crests: Vec<Crest> = vec![];
    for y in 1..h - 1 {
        for x in 1..w - 1 {
            if let Some(c) = crest(edges, x, y) {
                place[y * w + x] = crests.len() as u32;
                crests.push(c);
            }
        }
    }
    let mut order: Vec<u32> = (0..crests.len() as u32).collect();
    order.sort_unstable_by(|a, b| crests[*b as usize].strength.total_cmp(&crests[*a as usize].strength));
    let mut used = vec![false; crests.len()];
    let mut out = vec![];
    let mut chain: Vec<usize> = vec![];
    for seed in order {
        let seed = seed as usize;
        if used[seed] || crests[seed].strength < 1.5 * WEAKEST {
            continue;
        }
        chain.clear();
        chain.push(seed);
        used[seed] = true;
        let least = (FAINTER * crests[seed].strength).max(WEAKEST);
        // Directions are doubled, so that opposite gradients agree.
        let (mut c, mut s) = ((2.0 * crests[seed].normal).cos(), (2.0 * crests[seed].normal).sin());
        let mut mean = crests[seed].normal;
        let mut i = 0;
        while i < chain.len() {
            let p = &crests[chain[i]];
            i += 1;
            let (x, y) = (p.at.x.round() as usize, p.at.y.round() as usize);
            // Two pixels round about: crests on a slope are not always neighbours.
            for yy in y.saturating_sub(2)..=(y + 2).min(h - 1) {
                for xx in x.saturating_sub(2)..=(x + 2).min(w - 1) {
                    let q = place[yy * w + xx] as usize;
                    if q >= crests.len() || used[q] || crests[q].strength < least {
                        continue;
                    }
                    let d = (crests[q].normal - mean).rem_euclid(std::f32::consts::PI);
                    if d.min(std::f32::consts::PI - d) < SPREAD {
                        used[q] = true;
                        chain.push(q);
                        c += (2.0 * crests[q].normal).cos();
                        s += (2.0 * crests[q].normal).sin();
                        mean = 0.5 * s.atan2(c);
                    }
                }
            }
        }
        if let Some(segment) = as_segment(&chain, &crests) {
            out.push(segment);
        }
    }
    out
}

/// The pixel as a crest, if it is no weaker than its two neighbours across the edge; its place by a parabola.
fn crest(edges: &Edges, x: usize, y: usize) -> Option<Crest> {
    let strength = edges.strength.at(x, y);
    if strength < WEAKEST {
        return None;
    }
    let normal = edges.normal.at(x, y);
    let (dx, dy) = (f64::from(normal.cos()), f64::from(normal.sin()));
    let ahead = edges.strength.bilinear(x as f64 + dx, y as f64 + dy);
    let behind = edges.strength.bilinear(x as f64 - dx, y as f64 - dy);
    if strength < ahead || strength < behind {
        return None;
    }
    let bend = 2.0 * strength - ahead - behind;
    let shift = if bend > 0.0 { f64::from(0.5 * (ahead - behind) / bend).clamp(-0.5, 0.5) } else { 0.0 };
    Some(Crest { at: Point::new(x as f64 + shift * dx, y as f64 + shift * dy), normal, strength })
}

fn as_segment(chain: &[usize], crests: &[Crest]) -> Option<Segment> {
    if (chain.len() as f64) < SHORTEST {
        return None;
    }
    let n = chain.len() as f64;
    let points = || chain.iter().map(|i| crests[*i].at);
    let middle = points().fold(Point::default(), |m, p| m + p) * (1.0 / n);
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for d in points().map(|p| p - middle) {
        xx += d.x * d.x / n;
        yy += d.y * d.y / n;
        xy += d.x * d.y / n;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let along = Point::new(angle.cos(), angle.sin());
    let across = ((xx + yy) / 2.0 - ((xx - yy) / 2.0).hypot(xy)).max(0.0).sqrt();
    let (a, b) = points()
        .map(|p| (p.x - middle.x) * along.x + (p.y - middle.y) * along.y)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(t), b.max(t)));
    // A straight edge is thin; a patch of one direction is not an edge.
    if b - a < SHORTEST || across > 0.8 + 0.01 * (b - a) {
        return None;
    }
    let mean = chain.iter().map(|i| f64::from(crests[*i].strength)).sum::<f64>() / n;
    Some(Segment { a: middle + along * a, b: middle + along * b, contrast: mean.min(0.12) / 0.12 })
}
