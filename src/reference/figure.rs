//! A figure of known size (a card, the planned pocket's rim) looked at at full size and put to the test.

use super::fit::{EdgeSigma, Fitted, Outline, Seen, fit};
use super::profile::{Profiler, Step};
use super::quads::{CARD_SHAPE, Camera, Quad, RIM_SHAPE, nearest_shape, pose, shape_limits};
use crate::geometry::{PlaneView, Point};

/// A rounded rectangle to be found, and which edge of a bundle is its own.
#[derive(Debug, Clone, Copy)]
pub struct Figure {
    pub outline: Outline,
    /// A card's face ends at the innermost edge: outside of it lie the card's side and its shadow. A pocket's rim is the
    /// outermost: inside of it lie the wall and its foot.
    pub innermost: bool,
}

/// ID-1 of ISO/IEC 7810: 85.60 x 53.98 mm, corner radius 3.18 mm.
pub const CARD: Figure = Figure { outline: Outline { width: 85.60, height: 53.98, radius: 3.18 }, innermost: true };

/// Thickness of ID-1, mm (ISO/IEC 7810: 0.68 to 0.84).
pub const CARD_THICKNESS_MM: f64 = 0.76;

/// Places along each side, and along each corner's arc.
const PLACES: usize = 48;
const ARC_PLACES: usize = 7;

/// How near a step must lie to a line or to the arc to belong to it: px, and mm on the card. 0.15 mm tells the arc of
/// 3.18 mm from one under 2.8 or over 3.5 mm (its middle moves by 0.41 of the difference).
pub(super) const NEAR_PX: f64 = 1.0;
pub(super) const NEAR_MM: f64 = 0.15;

/// A card hypothesis after the look at full size.
#[derive(Debug, Clone)]
pub struct Candidate {
    pub fitted: Fitted,
    /// Share of places with a step on the outline: per side (long, short, long, short) and per corner.
    pub sides: [f64; 4],
    pub corners: [f64; 4],
    /// px per mm at the middle.
    pub px_per_mm: f64,
}

impl Candidate {
    pub fn new(fitted: Fitted, seen: &OnFigure) -> Self {
        let px_per_mm = fitted.view.scale_at(Point::default());
        Self { fitted, sides: seen.sides, corners: seen.corners, px_per_mm }
    }
    pub fn corner_share(&self) -> f64 {
        self.corners.iter().sum::<f64>() / 4.0
    }
    pub fn side_share(&self) -> f64 {
        self.sides.iter().sum::<f64>() / 4.0
    }
    /// Grows with the share of edge; a lens bent beyond what lenses do (k1 over 2 %) speaks against the edges chosen.
    pub fn quality(&self) -> f64 {
        self.corner_share() + self.side_share() - 5.0 * (self.fitted.view.k1.abs() - 0.02).max(0.0)
    }
    /// Rounded outline in photo px.
    pub fn outline_px(&self, outline: Outline) -> Vec<Point> {
        let r = outline.radius;
        let mut out = vec![];
        for (k, (sx, sy)) in [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].into_iter().enumerate() {
            let centre = Point::new(sx * (outline.width / 2.0 - r), sy * (outline.height / 2.0 - r));
            for i in 0..=4 {
                let a = (180.0 + 90.0 * k as f64 + 22.5 * f64::from(i)).to_radians();
                out.push(self.fitted.view.forward(centre + Point::new(a.cos(), a.sin()) * r));
            }
        }
        out
    }
}

/// One straight edge near a side: offset from the side (mm, outwards) = a + b u, u along the side from its middle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub a: f64,
    pub b: f64,
    pub share: f64,
}

/// A place on the outline: where, which way is out, and how many px a millimetre outwards is.
pub(super) struct Place {
    pub u: f64,
    pub px: Point,
    pub out: Point,
    pub px_per_mm: f64,
}

pub(super) fn place(view: &PlaneView, p: Point, normal: Point, u: f64) -> Place {
    let (px, q) = (view.forward(p), view.forward(p + normal * 0.1));
    let d = q - px;
    let n = d.x.hypot(d.y).max(1e-9);
    Place { u, px, out: d * (1.0 / n), px_per_mm: n / 0.1 }
}

/// Outward normal and tangent of side k (0 top, 1 right, 2 bottom, 3 left; clockwise), half length and distance.
pub(super) fn side(outline: Outline, k: usize) -> (Point, Point, f64, f64) {
    let (w, h) = (outline.width / 2.0, outline.height / 2.0);
    match k {
        0 => (Point::new(0.0, -1.0), Point::new(1.0, 0.0), w, h),
        1 => (Point::new(1.0, 0.0), Point::new(0.0, 1.0), h, w),
        2 => (Point::new(0.0, 1.0), Point::new(-1.0, 0.0), w, h),
        _ => (Point::new(-1.0, 0.0), Point::new(0.0, -1.0), h, w),
    }
}

pub(super) fn side_places(view: &PlaneView, outline: Outline, k: usize) -> Vec<Place> {
    let (normal, tangent, half, far) = side(outline, k);
    let straight = half - outline.radius - 0.5;
    (0..PLACES)
        .map(|i| {
            let u = straight * (2.0 * (i as f64 + 0.5) / PLACES as f64 - 1.0);
            place(view, normal * far + tangent * u, normal, u)
        })
        .collect()
}

fn arc_places(view: &PlaneView, outline: Outline, k: usize) -> Vec<Place> {
    let (sx, sy) = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)][k];
    let r = outline.radius;
    let centre = Point::new(sx * (outline.width / 2.0 - r), sy * (outline.height / 2.0 - r));
    (0..ARC_PLACES)
        .map(|i| {
            let angle = (15.0 + 60.0 * i as f64 / (ARC_PLACES - 1) as f64).to_radians();
            let normal = Point::new(sx * angle.cos(), sy * angle.sin());
            place(view, centre + normal * r, normal, angle)
        })
        .collect()
}

/// Looks at a quad (photo px) at full size. `reach_px`: how far the true edges may lie from the quad's.
/// `None` when its sides do not show or the shape is not that of the outline.
pub fn examine(profiler: &Profiler, quad: &Quad, figure: &Figure, camera: &Camera, reach_px: f64) -> Option<Candidate> {
    let outline = figure.outline;
    let own = pose(&quad.corners, camera, (outline.width, outline.height))?;
    let start = PlaneView::new(own, camera.k1.0, camera.k2.0);
    if !quad.corners.iter().all(|c| profiler.holds(*c, -2.0)) {
        return None;
    }
    let (mut found, mut sides): (Vec<Vec<Edge>>, Vec<_>) = (vec![], vec![]);
    for k in 0..4 {
        let places = side_places(&start, outline, k);
        let steps: Vec<Vec<Step>> = steps_at(profiler, &places, reach_px);
        let edges = straight_edges(&places, &steps);
        if edges.is_empty() {
            return None;
        }
        found.push(edges);
        sides.push((places, steps));
    }
    let most = if figure.innermost { CARD_SHAPE } else { RIM_SHAPE };
    let most = shape_limits(&quad.corners, camera, (outline.width, outline.height), most)?;
    let mut ranked: Vec<(f64, [Edge; 4])> = vec![];
    for combo in combinations(&found) {
        let corners = crossings(&start, outline, &combo);
        let Some((aspect, skew)) = nearest_shape(&corners, camera, (outline.width, outline.height)) else { continue };
        if aspect.abs() > most.0 || skew.abs() > most.1 {
            continue;
        }
        let off = aspect.abs() / most.0 + skew.abs() / most.1;
        let mut score = combo.iter().map(|e| e.share).sum::<f64>() / 4.0 - 0.2 * off;
        let sign = if figure.innermost { 1.0 } else { -1.0 };
        for (edges, e) in found.iter().zip(&combo) {
            let before = |o: &&Edge| (0.05..BUNDLE_MM).contains(&(sign * (e.a - o.a)));
            if edges.iter().filter(before).any(|o| o.share > e.share - 0.1) {
                score -= 0.1;
            }
        }
        ranked.push((score, combo));
    }
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    // The corners tell edges of one border from another's: a look at them costs little against a fit.
    let best = ranked.first()?.0;
    let mut views: Vec<(f64, PlaneView, &[Edge; 4])> = ranked
        .iter()
        .take_while(|r| r.0 > best - LOOKED_AT.0)
        .take(LOOKED_AT.1)
        .filter_map(|(score, edges)| {
            let corners = crossings(&start, outline, edges);
            let pose = pose(&corners, camera, (outline.width, outline.height))?;
            let view = PlaneView::new(pose, camera.k1.0, camera.k2.0);
            let rough = rough_corners(profiler, &view, outline);
            // A rim's corners are often torn or in shadow.
            let score = score + if figure.innermost { rough } else { 0.0 };
            (rough >= ROUGH_CORNERS).then_some((score, view, edges))
        })
        .collect();
    views.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best = views.first()?.0;
    views
        .into_iter()
        .take_while(|v| v.0 > best - 0.12)
        .take(3)
        .filter_map(|(score, view, edges)| {
            // A rim's long sides are bent by the lens away from straight edges, and its borders lie far apart.
            if !figure.innermost {
                return Some((score, traced(profiler, view, outline, camera, 0)?));
            }
            let points: Vec<Seen> = (0..4).flat_map(|k| on_edge(&edges[k], k, &sides[k].0, &sides[k].1)).collect();
            let led = fit(&view, &points, outline, camera, EDGE_SIGMA)?;
            Some((score, traced(profiler, led.view, outline, camera, 1)?))
        })
        .max_by(|a, b| (a.0 + a.1.quality()).total_cmp(&(b.0 + b.1.quality())))
        .map(|r| r.1)
}

/// How far below the best combination of edges others are looked at by their corners, and how many: where a card's thickness
/// or its shadow outshines two of its sides the true combination was the fifth, 0.35 below.
const LOOKED_AT: (f64, usize) = (0.4, 16);

/// What moves a point of side k: that side alone.
fn side_only(k: usize) -> [f64; 4] {
    std::array::from_fn(|s| if s == k { 1.0 } else { 0.0 })
}

/// The steps along side k that lie on one straight edge.
pub(super) fn on_edge(e: &Edge, k: usize, places: &[Place], steps: &[Vec<Step>]) -> Vec<Seen> {
    let one = |(p, steps): (&Place, &Vec<Step>)| {
        let o = nearest(steps, (e.a + e.b * p.u) * p.px_per_mm, NEAR_PX)?;
        Some(Seen { px: p.px + p.out * o, weight: 1.0, sides: side_only(k) })
    };
    places.iter().zip(steps).filter_map(one).collect()
}

/// Edges closer together than this belong to one border (face, side of the card, contact shadow), mm.
pub const BUNDLE_MM: f64 = 1.0;

pub(super) fn steps_at(profiler: &Profiler, places: &[Place], reach_px: f64) -> Vec<Vec<Step>> {
    places.iter().map(|p| profiler.steps(p.px, p.out, reach_px, 5.0)).collect()
}

/// Straight edges among the steps, best first, at most three: pairs of steps from either end vote (deterministic search).
pub(super) fn straight_edges(places: &[Place], steps: &[Vec<Step>]) -> Vec<Edge> {
    let mm = |i: usize, s: &Step| s.offset / places[i].px_per_mm;
    let mut pairs: Vec<Edge> = vec![];
    let n = places.len();
    for i in (0..n / 3).step_by(2) {
        for j in (n - n / 3..n).step_by(2) {
            for s in &steps[i] {
                for t in &steps[j] {
                    let (p, q) = (mm(i, s), mm(j, t));
                    let b = (q - p) / (places[j].u - places[i].u);
                    // A quad's side is known to about a degree.
                    if b.abs() < 0.025 {
                        pairs.push(Edge { a: p - b * places[i].u, b, share: 0.0 });
                    }
                }
            }
        }
    }
    let member = |e: &Edge, i: usize| {
        let near = NEAR_PX / places[i].px_per_mm;
        steps[i]
            .iter()
            .map(|s| mm(i, s))
            .filter(|t| (t - e.a - e.b * places[i].u).abs() < near)
            .min_by(|a, b| (a - e.a - e.b * places[i].u).abs().total_cmp(&(b - e.a - e.b * places[i].u).abs()))
    };
    // A coarse count on every third place first.
    let mut ranked: Vec<(usize, Edge)> =
        pairs.into_iter().map(|e| ((0..n).step_by(3).filter(|i| member(&e, *i).is_some()).count(), e)).collect();
    ranked.sort_by_key(|r| std::cmp::Reverse(r.0));
    let mut out: Vec<Edge> = vec![];
    for (_, e) in ranked.iter().take(150) {
        let mut e = *e;
        for _ in 0..2 {
            let (mut x, mut y) = (vec![], vec![]);
            for (i, p) in places.iter().enumerate() {
                if let Some(t) = member(&e, i) {
                    x.push(p.u);
                    y.push(t);
                }
            }
            let Some((a, b, _, _)) = crate::stats::fit_line(&x, &y, None) else { break };
            e = Edge {
                a,
                b,
                share: (0..n).filter(|i| member(&Edge { a, b, share: 0.0 }, *i).is_some()).count() as f64 / n as f64,
            };
        }
        let apart = 2.0 / places[n / 2].px_per_mm;
        if e.share >= 0.45 && !out.iter().any(|o| (o.a - e.a).abs() < apart) {
            out.push(e);
        }
    }
    out.sort_by(|a, b| b.share.total_cmp(&a.share));
    out.truncate(3);
    out
}

fn combinations(found: &[Vec<Edge>]) -> Vec<[Edge; 4]> {
    let mut out = vec![];
    for a in &found[0] {
        for b in &found[1] {
            for c in &found[2] {
                for d in &found[3] {
                    out.push([*a, *b, *c, *d]);
                }
            }
        }
    }
    out
}

/// Corners (photo px, order of the outline) where the four edges cross.
fn crossings(view: &PlaneView, outline: Outline, edges: &[Edge; 4]) -> [Point; 4] {
    let line = |k: usize| {
        let (normal, tangent, half, far) = side(outline, k);
        let e = &edges[k];
        let at = |u: f64| normal * (far + e.a + e.b * u) + tangent * u;
        (at(-half), at(half))
    };
    std::array::from_fn(|k| {
        let ((p, q), (r, s)) = (line((k + 3) % 4), line(k));
        let (d, e) = (q - p, s - r);
        let det = d.x * e.y - d.y * e.x;
        let t = ((r.x - p.x) * e.y - (r.y - p.y) * e.x) / det;
        view.forward(p + d * t)
    })
}

/// Least share of corner arcs before the fit, within a looser limit: chance figures have sharp or other corners and are
/// dropped here, before the costly fit.
const ROUGH_CORNERS: f64 = 0.5;

fn rough_corners(profiler: &Profiler, view: &PlaneView, outline: Outline) -> f64 {
    let mut n = 0;
    for k in 0..4 {
        for p in arc_places(view, outline, k) {
            let near = 2.0 * NEAR_PX + 1.3 * NEAR_MM * p.px_per_mm;
            n += usize::from(nearest(&profiler.steps(p.px, p.out, near + 4.0, 2.0), 0.0, near).is_some());
        }
    }
    n as f64 / (4 * ARC_PLACES) as f64
}

/// The candidate fitted once more, with a camera better known.
pub fn refit(profiler: &Profiler, c: &Candidate, outline: Outline, camera: &Camera) -> Option<Candidate> {
    let view = PlaneView::new(c.fitted.view.pose.clone(), camera.k1.0, camera.k2.0);
    traced(profiler, view, outline, camera, 0)
}

/// Fits the view to the steps along the outline, rounds `from` to 2 (see [`on_figure`]).
pub(super) fn traced(
    profiler: &Profiler,
    mut view: PlaneView,
    outline: Outline,
    camera: &Camera,
    from: usize,
) -> Option<Candidate> {
    let (mut fitted, mut seen) = (None, OnFigure::default());
    for round in from..3 {
        seen = on_figure(profiler, &view, outline, round);
        if round == 1 && seen.corners.iter().sum::<f64>() < 4.0 * ROUGH_CORNERS {
            return None;
        }
        let f = fit(&view, &seen.points, outline, camera, EDGE_SIGMA)?;
        view = f.view.clone();
        fitted = Some(f);
    }
    Some(Candidate::new(fitted.filter(|f| plausible(f, camera))?, &seen))
}

/// Mean and least of the best three of four shares.
pub fn best_three(mut shares: [f64; 4]) -> (f64, f64) {
    shares.sort_by(f64::total_cmp);
    (shares[1..].iter().sum::<f64>() / 3.0, shares[1])
}

/// The steps of the photo that lie on a figure's outline.
#[derive(Debug, Clone, Default)]
pub struct OnFigure {
    pub points: Vec<Seen>,
    /// Share of places with a step, as in [`Candidate`].
    pub sides: [f64; 4],
    pub corners: [f64; 4],
}

/// What is seen of a figure near its place by `view`. Round 0 reaches farther and leaves out the corners.
pub fn on_figure(profiler: &Profiler, view: &PlaneView, outline: Outline, round: usize) -> OnFigure {
    let mut out = OnFigure::default();
    let near_px = |p: &Place| NEAR_PX.max(0.5 * NEAR_MM * p.px_per_mm) + if round == 0 { 1.5 } else { 0.0 };
    for k in 0..4 {
        let places = side_places(view, outline, k);
        let steps = steps_at(profiler, &places, 6.0);
        let mut n = 0;
        for (p, s) in places.iter().zip(&steps) {
            if let Some(o) = nearest(s, 0.0, near_px(p)) {
                out.points.push(Seen { px: p.px + p.out * o, weight: 1.0, sides: side_only(k) });
                n += 1;
            }
        }
        out.sides[k] = f64::from(n) / PLACES as f64;
    }
    for k in (0..4).filter(|_| round > 0) {
        let places = arc_places(view, outline, k);
        let mut n = 0;
        for p in &places {
            let near = NEAR_PX.max(NEAR_MM * p.px_per_mm);
            // Wide reach, so that a weak step next to a strong one elsewhere is not taken for the arc.
            let steps = profiler.steps(p.px, p.out, (1.4 * p.px_per_mm).max(6.0), 2.0);
            if let Some(o) = nearest(&steps, 0.0, near) {
                let sides = std::array::from_fn(|s| if s == k || s == (k + 3) % 4 { 0.5 } else { 0.0 });
                out.points.push(Seen { px: p.px + p.out * o, weight: 0.7, sides });
                n += 1;
            }
        }
        out.corners[k] = f64::from(n) / ARC_PLACES as f64;
    }
    out
}

/// Whether the fit's focal length and lens term lie within four of their sigmas: chance figures bend the camera to fit.
fn plausible(f: &Fitted, camera: &Camera) -> bool {
    let focal = (f.view.pose.focal_px / camera.focal_px).ln() / camera.relative;
    let lens = (f.view.k1 - camera.k1.0) / camera.k1.1;
    focal.abs() < 4.0 && lens.abs() < 4.0
}

/// Errors of a side's points, px. `point`: they scatter by 0.3 px, but neighbours err alike (grain and print beside the
/// edge, a card that is not flat), so that 48 of them are worth no more than five: 0.3 sqrt(48 / 5). A smaller value lets
/// such a bend of one side pass for the lens and bends the whole photo. `side`: what moves a whole side alike (shadow at the
/// card's foot, its own thickness, sharpening): on made photos of 5 to 13 px per mm sides lie off by 0.4 px.
pub const EDGE_SIGMA: EdgeSigma = EdgeSigma { point: 0.9, side: 0.4 };

/// Offset of the step nearest to `about`, px from the place.
pub(super) fn nearest(steps: &[Step], about: f64, within: f64) -> Option<f64> {
    let off = |o: &f64| (o - about).abs();
    steps.iter().map(|s| s.offset).filter(|o| off(o) <= within).min_by(|a, b| off(a).total_cmp(&off(b)))
}
