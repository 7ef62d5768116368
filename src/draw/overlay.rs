//! What was found, as shapes in picture pixels.

use super::Ink;
use crate::explain::Predicted;
use crate::floor::Patch;
use crate::geometry::Point;
use crate::marks::{Edge, Family, Marks, Polarity, RimPiece, Strip};
use crate::reference::Reference;
use crate::report::Inspection;
use crate::units::LengthUnit;

/// A line or a closed outline in picture pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    pub points: Vec<Point>,
    pub closed: bool,
    pub ink: Ink,
}

/// Families drawn; more would hide the floor.
const MOST_FAMILIES: usize = 2;
/// Lines up to which a whole family is drawn from wall to wall. Above, lines would cover the floor they mark, so only
/// ticks are drawn along the middle.
const MOST_FULL_LINES: usize = 60;
/// Lines up to which every one gets its tick: on 1600 pixels, 400 ticks stand 4 pixels apart.
const MOST_TICKS: usize = 400;
/// Half the size of a sign for a corner, mm: well under the least stepover that is laid out.
const SIGN_MM: f64 = 0.6;
/// Length of a tick, share of the floor's reach along the lines.
const TICK: f64 = 0.05;

/// Shapes over the photo reduced by `k`.
pub(super) fn on_photo(i: &Inspection, k: f64) -> Vec<Shape> {
    let place = |p: Point| i.frame.to_px.forward(p) * k;
    let mut out = marks(&i.marks, &i.patch, &place);
    out.extend(floor(&i.patch, &place));
    out.extend(rim(i, &|p| i.frame.rim().forward(p) * k));
    out.extend(i.references.iter().filter_map(|r| reference(r, k)));
    out
}

/// Shapes over the rectified floor reduced by `k`.
pub(super) fn on_floor(i: &Inspection, k: f64) -> Vec<Shape> {
    let place = |p: Point| i.patch.view.to_sample(p) * k;
    let mut out = marks(&i.marks, &i.patch, &place);
    out.extend(floor(&i.patch, &place));
    out
}

/// Ragged pieces of the rim, drawn on the stock beside the edge: `place` brings the plane of the stock's top into the
/// picture.
pub(super) fn rim(i: &Inspection, place: &dyn Fn(Point) -> Point) -> Vec<Shape> {
    // Floor units; a rim is judged with a scale only, so these are mm: burr reaches 0.3 mm, and the line has its own width.
    const BESIDE: f64 = 0.7;
    let shape = |p: &RimPiece| {
        let (s, c) = p.normal_deg.to_radians().sin_cos();
        let points = p.points.iter().map(|q| place(*q + Point::new(c, s) * BESIDE)).collect();
        Shape { points, closed: false, ink: Ink::Ragged }
    };
    i.marks.rim.pieces.iter().map(shape).collect()
}

/// What the plan foretells, with the edges that were found, over the photo reduced by `k`.
pub(super) fn foretold(i: &Inspection, p: &Predicted, k: f64) -> Vec<Shape> {
    let place = |p: Point| i.frame.to_px.forward(p) * k;
    let shape = |points: &[Point], closed| Shape {
        points: points.iter().map(|p| place(*p)).collect(),
        closed,
        ink: Ink::Foretold,
    };
    let sign = |at: &Point, arms: [(f64, f64); 4]| arms.map(|(x, y)| *at + Point::new(x, y) * SIGN_MM);
    let mut out: Vec<Shape> = p.slots.iter().map(|s| shape(s, true)).collect();
    for at in &p.corners {
        let [a, b, c, d] = sign(at, [(-1.0, -1.0), (1.0, 1.0), (-1.0, 1.0), (1.0, -1.0)]);
        out.extend([shape(&[a, b], false), shape(&[c, d], false)]);
    }
    out.extend(p.entries.iter().map(|at| shape(&sign(at, [(-1.5, 0.0), (0.0, -1.5), (1.5, 0.0), (0.0, 1.5)]), true)));
    let edges = Marks { edges: i.marks.edges.clone(), curves: i.marks.curves.clone(), ..Marks::default() };
    out.extend(marks(&edges, &i.patch, &place));
    out
}

/// Outline of the reference in a photo reduced by `k`, where it has one.
pub(super) fn reference(r: &Reference, k: f64) -> Option<Shape> {
    let points: Vec<Point> = r.outline_px.iter().map(|p| *p * k).collect();
    (points.len() > 2).then_some(Shape { points, closed: true, ink: Ink::Reference })
}

/// Outline of the floor and the lamp's arrow; `place` brings the floor frame into the picture.
pub(super) fn floor(patch: &Patch, place: &dyn Fn(Point) -> Point) -> Vec<Shape> {
    let mut out = vec![];
    let outline = &patch.outline;
    if outline.len() > 2 {
        out.push(Shape { points: outline.iter().map(|p| place(*p)).collect(), closed: true, ink: Ink::Outline });
    }
    if let (Some(from), Some((middle, reach))) = (patch.light.from_deg, middle_and_reach(outline)) {
        let (s, c) = from.value.to_radians().sin_cos();
        // From the outline inwards, so that the arrow always lies in the picture.
        let across = middle.y * c - middle.x * s;
        let start = middle.x * c + middle.y * s;
        let wall = crossings(outline, across, |p| p.y * c - p.x * s, |p| p.x * c + p.y * s);
        let far = wall.last().map_or(reach * 0.6, |w| w.1 - start);
        let at = |d: f64| middle + Point::new(c, s) * d;
        out.push(arrow(place(at(far)), place(at(far - reach * 0.3))));
    }
    out
}

/// Strips, lines of families, edges.
pub(super) fn marks(marks: &Marks, patch: &Patch, place: &dyn Fn(Point) -> Point) -> Vec<Shape> {
    let map = |p: &[Point]| p.iter().map(|p| place(*p)).collect::<Vec<_>>();
    let line = |a: Point, b: Point, ink| Shape { points: map(&[a, b]), closed: false, ink };
    let mut out = vec![];
    for s in &marks.strips {
        out.extend(strip_corners(s, &marks.edges).map(|c| Shape { points: map(&c), closed: true, ink: Ink::Strip }));
    }
    for (rank, f) in marks.families.iter().take(MOST_FAMILIES).enumerate() {
        for points in f.along_walls.iter().flatten() {
            out.push(Shape { points: map(points), closed: false, ink: Ink::Family(rank) });
        }
        out.extend(family_lines(f, patch).into_iter().map(|(a, b)| line(a, b, Ink::Family(rank))));
    }
    if let Some((turns, radius)) = marks.turns.as_ref().and_then(|t| Some((t, t.radius?))) {
        out.extend(turns.places.iter().map(|p| {
            let on = |k: i32| {
                let (s, c) = (f64::from(k) * std::f64::consts::TAU / 24.0).sin_cos();
                place(*p + Point::new(c, s) * radius.value)
            };
            Shape { points: (0..24).map(on).collect(), closed: true, ink: Ink::Ring }
        }));
    }
    let ink = |p: Polarity| if p == Polarity::Shade { Ink::Shade } else { Ink::Lit };
    out.extend(marks.edges.iter().map(|e| line(e.from, e.to, ink(e.polarity))));
    // Straight ones are edges already.
    out.extend(marks.curves.bent().map(|c| Shape { points: map(&c.path), closed: false, ink: ink(c.polarity) }));
    out
}

/// A full line of an arrow, with its head, in picture pixels.
fn arrow(tail: Point, tip: Point) -> Shape {
    let d = tip - tail;
    let side = Point::new(-d.y, d.x);
    let barb = |s: f64| tip - d * 0.3 + side * (0.18 * s);
    Shape { points: vec![tail, tip, barb(1.0), tip, barb(-1.0)], closed: false, ink: Ink::Lamp }
}

/// Middle and half diagonal of the outline's box.
fn middle_and_reach(outline: &[Point]) -> Option<(Point, f64)> {
    let first = *outline.first()?;
    let (mut lo, mut hi) = (first, first);
    for p in outline {
        lo = Point::new(lo.x.min(p.x), lo.y.min(p.y));
        hi = Point::new(hi.x.max(p.x), hi.y.max(p.y));
    }
    Some((lo.lerp(hi, 0.5), lo.distance(hi) / 2.0))
}

/// Positions of a family's lines along its normal (from the floor frame's origin) between `from` and `to`: where one
/// period is darkest when its lines are dark, brightest when they are bright. Empty where the phase is not known.
pub(super) fn line_positions(f: &Family, from: f64, to: f64) -> Vec<f64> {
    let n = f.folded.len();
    let best = |sign: f64| (0..n).max_by(|a, b| (sign * f.folded[*a]).total_cmp(&(sign * f.folded[*b])));
    let Some(k) = best(if f.skew > 0.0 { 1.0 } else { -1.0 }) else { return vec![] };
    let pitch = f.pitch.value;
    let count = (to - from) / pitch;
    // Far more lines than a picture has pixels: a broken pitch, nothing to draw.
    if !(pitch > 0.0 && count > 0.0 && count < 1e5) {
        return vec![];
    }
    let Some(offset) = f.offset else { return vec![] };
    let phase = offset + k as f64 / n as f64 * pitch;
    let first = ((from - phase) / pitch).ceil();
    (0..).map(|i| phase + (first + f64::from(i)) * pitch).take_while(|t| *t <= to).collect()
}

/// Ends of the drawn lines of one family, floor frame: only over measured floor.
fn family_lines(f: &Family, patch: &Patch) -> Vec<(Point, Point)> {
    let outline = &patch.outline;
    let (s, c) = f.normal_deg.value.to_radians().sin_cos();
    let along = |p: &Point| p.x * c + p.y * s;
    let across = |p: &Point| p.y * c - p.x * s;
    let span = |g: &dyn Fn(&Point) -> f64| {
        let v = outline.iter().map(g);
        (v.clone().fold(f64::INFINITY, f64::min), v.fold(f64::NEG_INFINITY, f64::max))
    };
    let ((t0, t1), (u0, u1)) = (span(&along), span(&across));
    let positions = line_positions(f, t0, t1);
    let ticks = positions.len() > MOST_FULL_LINES;
    let (mid, half) = ((u0 + u1) / 2.0, (u1 - u0) * TICK / 2.0);
    let point = |t: f64, u: f64| Point::new(t * c - u * s, t * s + u * c);
    let mut out = vec![];
    for t in positions.iter().step_by(positions.len().div_ceil(MOST_TICKS).max(1)) {
        for (a, b) in crossings(outline, *t, along, across) {
            let (a, b) = if ticks { (a.max(mid - half), b.min(mid + half)) } else { (a, b) };
            if a < b {
                out.extend(measured_runs(patch, point(*t, a), point(*t, b)));
            }
        }
    }
    out
}

/// Pieces of a line that lie on measured floor, looked at in `LOOKS` places.
fn measured_runs(patch: &Patch, a: Point, b: Point) -> Vec<(Point, Point)> {
    const LOOKS: usize = 200;
    let mask = &patch.mask;
    let lit = |k: usize| {
        let q = patch.view.to_sample(a.lerp(b, k as f64 / LOOKS as f64));
        let (x, y) = (q.x.round(), q.y.round());
        x >= 0.0
            && y >= 0.0
            && (x as usize) < mask.width
            && (y as usize) < mask.height
            && mask.at(x as usize, y as usize)
    };
    let mut out = vec![];
    let mut start = None;
    for k in 0..=LOOKS + 1 {
        match (start, k <= LOOKS && lit(k)) {
            (None, true) => start = Some(k),
            (Some(s), false) => {
                let at = |k: usize| a.lerp(b, k as f64 / LOOKS as f64);
                out.push((at(s), at(k - 1)));
                start = None;
            }
            _ => {}
        }
    }
    out
}

/// Pieces of the line at `t` inside the outline, as positions along it.
fn crossings(
    outline: &[Point],
    t: f64,
    along: impl Fn(&Point) -> f64,
    across: impl Fn(&Point) -> f64,
) -> Vec<(f64, f64)> {
    let n = outline.len();
    let mut hits: Vec<f64> = (0..n)
        .filter_map(|i| {
            let (a, b) = (&outline[i], &outline[(i + 1) % n]);
            let (ta, tb) = (along(a), along(b));
            ((ta > t) != (tb > t)).then(|| across(a) + (across(b) - across(a)) * (t - ta) / (tb - ta))
        })
        .collect();
    hits.sort_by(f64::total_cmp);
    hits.chunks_exact(2).map(|h| (h[0], h[1])).collect()
}

fn strip_corners(s: &Strip, edges: &[Edge]) -> Option<[Point; 4]> {
    let (a, b) = (edges.get(s.edges.0)?, edges.get(s.edges.1)?);
    let crossed = (a.to - a.from).x * (b.to - b.from).x + (a.to - a.from).y * (b.to - b.from).y < 0.0;
    let (c, d) = if crossed { (b.from, b.to) } else { (b.to, b.from) };
    Some([a.from, a.to, c, d])
}

/// A scale bar: its length in picture pixels and its label. `None` without a scale.
pub(super) fn scale_bar(i: &Inspection, k: f64, width: f64) -> Option<(f64, String)> {
    i.frame.scale?;
    let px_per_mm = k / i.patch.view.step;
    let unit = i.plan.units;
    let lengths: &[(f64, &str)] = match unit {
        LengthUnit::Mm => &[(50.0, "50 mm"), (20.0, "20 mm"), (10.0, "10 mm"), (5.0, "5 mm"), (1.0, "1 mm")],
        LengthUnit::In => &[(2.0, "2 in"), (1.0, "1 in"), (0.5, "1/2 in"), (0.25, "1/4 in"), (0.1, "0.1 in")],
    };
    let fits = |l: &f64| l * unit.in_mm() * px_per_mm < 0.3 * width;
    let (length, label) = lengths.iter().find(|(l, _)| fits(l))?;
    Some((length * unit.in_mm() * px_per_mm, (*label).to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_line_across_an_l_shaped_floor_is_drawn_in_its_inside_pieces() {
        let p = Point::new;
        let u = [
            p(0.0, 0.0),
            p(10.0, 0.0),
            p(10.0, 10.0),
            p(7.0, 10.0),
            p(7.0, 3.0),
            p(3.0, 3.0),
            p(3.0, 10.0),
            p(0.0, 10.0),
        ];
        let pieces = crossings(&u, 5.0, |p| p.y, |p| -p.x);
        assert_eq!(pieces, vec![(-10.0, -7.0), (-3.0, 0.0)]);
    }
}
