//! A coin named by the user: found among the ellipses of the photo, its face fitted as a circle seen by the camera.

use super::coin_ellipse::{Ellipse, ellipses};
use super::pose_fit::{Solved, facing, scale_at, solve};
use super::profile::Profiler;
use super::quads::Camera;
use super::search::Search;
use super::{Level, Reference, Source};
use crate::caveat;
use crate::caveat::Caveat;
use crate::geometry::Point;
use crate::geometry::{PlaneMap, PlaneView};
use crate::photo::Photo;
use crate::plan::Coin;
use crate::units::Measured;
use nalgebra::{Rotation3, Unit, Vector3};
use rayon::prelude::*;

/// Places round the coin.
const PLACES: usize = 72;

/// What one of the places is worth, px: an edge is known to 0.15 px, and places share their error over about a ninth of the
/// way round (the light falls on a rim from one side).
const POINT_SIGMA_PX: f64 = 0.45;

/// Least share of the way round that shows the edge. A coin in its own shadow still shows all of its face; shadows,
/// letters and knots are covered or broken for a quarter and more.
const LEAST_SHARE: f64 = 0.5;

/// Least sum of that share and the weighted clear share in the reduced picture. Chance circles in wood and ridges reach
/// 1.6, coins that stand out from the stock 2 to 2.5; a coin as pale as the stock is given up.
const LEAST_QUALITY: f64 = 1.65;

/// Most ellipses looked at at full size, those that stand out most first.
const MOST_EXAMINED: usize = 12;

/// Texture fakes the share at full size more easily than the clear share.
const CLEAR_WEIGHT: f64 = 1.5;

/// How near a step must lie to the circle: px, and a share of the reach, that is about 0.6 px of the reduced picture: a
/// coin's edge is rounded over about a tenth of a millimetre.
const NEAR_PX: f64 = 1.0;
const NEAR_REACH: f64 = 0.22;

/// Weakest step as a share of the strongest within eight px of the circle.
const PLAIN: f32 = 0.3;

/// How much of the side that a tilted coin shows may count as its face (one sigma), and what is left without any tilt:
/// rounded edges and contact shadows. In made scenes most circles come out within 0.3 %, one of twenty 1.4 % off, where a
/// lit side passed for the face.
const SIDE_SHARE: f64 = 0.3;
const EDGE_RELATIVE: f64 = 0.006;

/// Largest rms distance of the edge from the circle, as a share of how near a step must lie: true circles stay under 0.16;
/// one that runs along the coin here and along its shadow there comes to 0.23 and more, steps at random to 0.58.
/// The latter are used only where no other circle is seen, with a sigma that says so: made ones are 1.8 to 7.3 % off.
const TRUE_SHARE: f64 = 0.2;
const UNTRUE_RELATIVE: f64 = 0.05;

/// Relative sigma of the size for a circle of which nothing shows; in proportion where a part does.
const PARTLY: f64 = 0.04;

/// Candidates whose qualities (share at full size plus clear share in the reduced picture) differ by less than this may both be the coin.
const AS_GOOD: f64 = 0.3;

/// Largest relative difference of scale at which another reference speaks for a candidate: sigma of a coin, three times.
const AGREES: f64 = 0.03;

/// A circle of the coin's size after the look at full size.
struct Candidate {
    best: Solved,
    /// The mirrored tilt, which shows nearly the same ellipse.
    other: Option<Solved>,
    share: f64,
    /// Share of the ellipse in the reduced picture above its surroundings.
    clear: f64,
    residual_px: f64,
    centre_px: Point,
    radius_px: f64,
    sunken: bool,
}

impl Candidate {
    /// Whether another metal's disc shows inside: the ring of a 1 EUR coin is 0.70 of its width, of a 2 EUR coin 0.73 (from
    /// memory). Without it the circle may be that disc itself.
    fn has_heart(&self, s: &Search, radius_mm: f64) -> bool {
        let seen = |v: &PlaneView| ring(&s.profiler, v, radius_mm, (0.6, 0.82)).is_some();
        seen(&self.best.view) || self.other.as_ref().is_some_and(|o| seen(&o.view))
    }
    fn is_true(&self, reach_px: f64) -> bool {
        self.residual_px < TRUE_SHARE * tight(reach_px)
    }
    fn quality(&self) -> f64 {
        self.share + CLEAR_WEIGHT * self.clear
    }
}

/// Looks for the coin. `known`: references found otherwise, to choose between several circles.
///
/// `None` with a caveat when no circle can be the coin, or when several can and nothing tells which.
pub fn find(s: &Search, coin: &Coin, known: &[Reference]) -> (Option<Reference>, Vec<Caveat>) {
    let radius = coin.diameter_mm / 2.0;
    let mut all: Vec<Candidate> = ellipses(&s.edges)
        .into_iter()
        // Even one that shows all the way round at full size must stand out in the reduced picture.
        .filter(|e| 1.0 + CLEAR_WEIGHT * e.clear > LEAST_QUALITY)
        .take(MOST_EXAMINED)
        .collect::<Vec<_>>()
        .par_iter()
        .filter_map(|e| examine(s, e, radius))
        .filter(|c| !coin.ringed || c.has_heart(s, radius))
        .filter(|c| c.share >= LEAST_SHARE && c.quality() > LEAST_QUALITY && !c.sunken)
        .collect();
    all.sort_by(|a, b| b.quality().total_cmp(&a.quality()));
    // Circles that run along one edge all the way round come before those that change from edge to edge.
    if all.iter().any(|c| c.is_true(s.reach_px)) {
        all.retain(|c| c.is_true(s.reach_px));
    }
    let all = outermost(all);
    let Some(best) = all.first() else {
        let text = format!("No circle that could be the named coin ({}) was seen.", coin.name);
        return (None, vec![caveat::COIN_UNCLEAR.with(text)]);
    };
    let rivals: Vec<&Candidate> = all.iter().filter(|c| c.quality() > best.quality() - AS_GOOD).collect();
    let agrees = |c: &&&Candidate| {
        let own = scale_at(&c.best.view, c.centre_px);
        known.iter().any(|r| (r.to_px.scale_at(r.to_px.backward(c.centre_px)) / own).ln().abs() < AGREES)
    };
    let same = |c: &&Candidate| (c.radius_px / best.radius_px).ln().abs() < AGREES;
    let chosen = match rivals.iter().find(agrees) {
        Some(c) => c,
        // Two coins of one kind tell the same.
        None if rivals.iter().all(same) => best,
        None => {
            let text = format!("{} circles could be the named coin ({}); none was used.", rivals.len(), coin.name);
            return (None, vec![caveat::COIN_UNCLEAR.with(text)]);
        }
    };
    // The square inside the circle.
    let side = std::f64::consts::FRAC_1_SQRT_2 * coin.diameter_mm;
    let (level, doubt, new) = s.level(&chosen.best.view, (side, side), "coin", true);
    (Some(as_reference(s, chosen, coin, level).doubted(doubt)), new.into_iter().collect())
}

/// A coin's face and the outline of face and side together differ by up to 5 % of the radius.
const SIDE: f64 = 0.06;

/// Of circles about one centre the largest that shows as well as any: a coin's rim has inner edges too.
fn outermost(all: Vec<Candidate>) -> Vec<Candidate> {
    let mut out: Vec<Candidate> = vec![];
    for c in all {
        match out.iter_mut().find(|o| o.centre_px.distance(c.centre_px) < 0.4 * o.radius_px.max(c.radius_px)) {
            Some(o) => {
                let better = if (c.radius_px / o.radius_px).ln().abs() < SIDE {
                    // Face or side of one coin: the truer circle.
                    c.residual_px < o.residual_px
                } else {
                    c.radius_px > o.radius_px
                };
                if better && c.quality() > o.quality() - AS_GOOD {
                    *o = c;
                }
            }
            None => out.push(c),
        }
    }
    out
}

/// Doubt of k1 while a circle is fitted. Bent by more, the circle of a knot or of a coin's own ring passes for the edge of a
/// coin; less, and one at the corner of a photo that is not corrected is missed.
const LENS: f64 = 0.012;

/// The camera as a circle is fitted with it: one circle says nothing of the lens, which only lets it fit what is not round.
fn stiff(s: &Search) -> Camera {
    Camera { k1: (s.camera.k1.0, LENS), ..s.camera }
}

fn examine(s: &Search, e: &Ellipse, radius_mm: f64) -> Option<Candidate> {
    let large = e.enlarged(&s.edges);
    let from = [1.0, -1.0].map(|side| start(&large, &s.camera, radius_mm, side));
    let first = both_tilts(s, from, radius_mm, s.reach_px, e.clear)?;
    // A coin's own rings lie inside its edge: look farther out about the same centre.
    let mut best = first;
    for _ in 0..2 {
        let out = |v: &PlaneView| ring(&s.profiler, v, radius_mm, (1.03, FARTHEST));
        let Some(k) = out(&best.best.view).or_else(|| out(&best.other.as_ref()?.view)) else { break };
        let larger = |v: &PlaneView| {
            let mut v = v.clone();
            v.pose.t /= k;
            v
        };
        let from = [Some(larger(&best.best.view)), best.other.as_ref().map(|o| larger(&o.view))];
        match both_tilts(s, from, radius_mm, 0.02 * best.radius_px * k + 3.0, best.clear) {
            Some(c) if c.share >= LEAST_SHARE && c.radius_px > 1.02 * best.radius_px => best = c,
            _ => break,
        }
    }
    Some(best)
}

fn both_tilts(
    s: &Search,
    from: [Option<PlaneView>; 2],
    radius_mm: f64,
    reach_px: f64,
    clear: f64,
) -> Option<Candidate> {
    let mut both: Vec<(Solved, f64, f64)> =
        from.iter().flatten().filter_map(|v| traced(&s.profiler, v, &stiff(s), radius_mm, reach_px)).collect();
    both.sort_by(|a, b| a.0.cost.total_cmp(&b.0.cost));
    let mut both = both.into_iter();
    let (best, share, residual_px) = both.next()?;
    let centre_px = best.view.forward(Point::default());
    Some(Candidate {
        share,
        clear,
        residual_px,
        centre_px,
        radius_px: radius_mm * scale_at(&best.view, centre_px),
        sunken: sunken(s.photo, &best.view, radius_mm),
        best,
        other: both.next().map(|b| b.0),
    })
}

/// Radius of a circle about the same centre that shows on most of its way round, looked for between two radii; in radii.
fn ring(profiler: &Profiler, view: &PlaneView, radius_mm: f64, (near, far): (f64, f64)) -> Option<f64> {
    // Of two mirrored tilts the wrong one foretells a larger circle wrongly by some per cent.
    const BINS: usize = 26;
    let mut seen = [0usize; BINS];
    for i in 0..PLACES {
        let a = std::f64::consts::TAU * (i as f64 + 0.5) / PLACES as f64;
        let normal = Point::new(a.cos(), a.sin());
        let (from, to) = (view.forward(normal * (near * radius_mm)), view.forward(normal * (far * radius_mm)));
        if !profiler.holds(from, 2.0) || !profiler.holds(to, 2.0) {
            continue;
        }
        let length = from.distance(to);
        let dir = (to - from) * (1.0 / length.max(1e-9));
        let steps = profiler.steps(from.lerp(to, 0.5), dir, length / 2.0, 3.0);
        let strongest = steps.iter().map(|s| s.strength).fold(0.0, f32::max);
        let mut own = [false; BINS];
        for s in steps.iter().filter(|s| s.strength >= 0.5 * PLAIN * strongest) {
            let k = ((s.offset / length + 0.5) * BINS as f64) as usize;
            own[k.min(BINS - 1)] = true;
        }
        (0..BINS).for_each(|k| seen[k] += usize::from(own[k]));
    }
    // Two bins, so that a ring on their border counts whole; the outermost of those that show.
    let (k, n) = (0..BINS - 1).map(|k| (k, seen[k] + seen[k + 1])).max_by_key(|b| b.1)?;
    let share = n as f64 / PLACES as f64;
    (share > 0.5).then(|| near + (far - near) * (k as f64 + 1.0) / BINS as f64)
}

/// How far out a coin's edge lies from its innermost ring, in radii: 1.43 (1 EUR), with room.
const FARTHEST: f64 = 1.55;

/// The circle's pose from its ellipse: as far as the long axis says, tilted about it to either side.
fn start(e: &Ellipse, camera: &Camera, radius_mm: f64, side: f64) -> Option<PlaneView> {
    let d = e.centre - camera.centre;
    let ray = Vector3::new(d.x / camera.focal_px, d.y / camera.focal_px, 1.0);
    let t = ray * (camera.focal_px * radius_mm / e.long);
    let sight = ray.normalize();
    let along = Vector3::new(e.angle.cos(), e.angle.sin(), 0.0);
    let along = Unit::try_new(along - sight * along.dot(&sight), 1e-9)?;
    // At least two degrees, so that both sides are tried.
    let tilt = (e.short / e.long).clamp(0.0, 1.0).acos().max(0.035);
    let normal = Rotation3::from_axis_angle(&along, side * tilt) * sight;
    Some(facing(camera, along.into_inner(), normal, t))
}

/// How near a step must lie to the circle in the end, px.
fn tight(reach_px: f64) -> f64 {
    NEAR_PX.max(NEAR_REACH * reach_px)
}

/// Steps of the photo next to the circle, and the pose fitted to them. Gives the share of places that show one, and their
/// rms distance in px.
fn traced(
    profiler: &Profiler,
    from: &PlaneView,
    camera: &Camera,
    radius_mm: f64,
    reach_px: f64,
) -> Option<(Solved, f64, f64)> {
    let mut view = from.clone();
    let mut out = None;
    for round in 0..4 {
        let centre = view.forward(Point::default());
        if !profiler.holds(centre, 0.0) {
            return None;
        }
        let tight = tight(reach_px);
        let near = [reach_px, 3.0 * tight, tight, tight][round];
        let mut points: Vec<(Point, f64, f64)> = vec![];
        for i in 0..PLACES {
            let a = std::f64::consts::TAU * (i as f64 + 0.5) / PLACES as f64;
            let normal = Point::new(a.cos(), a.sin());
            let (at, ahead) = (view.forward(normal * radius_mm), view.forward(normal * (radius_mm + 0.1)));
            if !profiler.holds(at, 2.0) {
                continue;
            }
            let n = at.distance(ahead).max(1e-9);
            let dir = (ahead - at) * (1.0 / n);
            let steps = profiler.steps(at, dir, near + 3.0, 3.0);
            // The strongest while the circle is not yet in its place; then the nearest that is not faint beside others:
            // texture has steps everywhere.
            let strongest = steps.iter().map(|s| s.strength).fold(0.0, f32::max);
            let own = steps.iter().filter(|s| s.offset.abs() <= near);
            let step = if round < 2 {
                own.max_by(|a, b| a.strength.total_cmp(&b.strength))
            } else {
                own.filter(|s| s.strength >= PLAIN * strongest).min_by(|a, b| a.offset.abs().total_cmp(&b.offset.abs()))
            }
            .map(|s| s.offset);
            if let Some(o) = step {
                points.push((at + dir * o, n / 0.1, o));
            }
        }
        if points.len() < PLACES / 3 {
            return None;
        }
        // Huber weights about the circle as it was.
        let limit = 0.5 * near;
        let weights: Vec<f64> =
            points.iter().map(|p| if p.2.abs() > limit { (limit / p.2.abs()).sqrt() } else { 1.0 }).collect();
        let solved = solve(&view, camera, |v| {
            points
                .iter()
                .zip(&weights)
                .map(|((q, px_per_mm, _), w)| {
                    let p = v.backward(*q);
                    (p.x.hypot(p.y) - radius_mm) * px_per_mm * w / POINT_SIGMA_PX
                })
                .collect()
        })?;
        let within = |r: &&f64| r.abs() * POINT_SIGMA_PX <= tight;
        let share = solved.residuals.iter().filter(within).count() as f64 / PLACES as f64;
        let rms = (solved.residuals.iter().map(|r| r * r).sum::<f64>() / points.len() as f64).sqrt() * POINT_SIGMA_PX;
        view = solved.view.clone();
        out = Some((solved, share, rms));
    }
    out
}

/// Whether the circle is the rim of a hole: dark just inside on the lamp's side, and dark nowhere outside.
fn sunken(photo: &Photo, view: &PlaneView, radius_mm: f64) -> bool {
    const SECTORS: usize = 24;
    let ring = |from: f64, to: f64| -> Vec<f64> {
        (0..SECTORS)
            .map(|i| {
                let mut sum = 0.0;
                for j in 0..3 {
                    for k in 0..4 {
                        let a = std::f64::consts::TAU * (i as f64 + (f64::from(j) + 0.5) / 3.0) / SECTORS as f64;
                        let r = radius_mm * (from + (to - from) * f64::from(k) / 3.0);
                        let q = view.forward(Point::new(a.cos(), a.sin()) * r);
                        let x = q.x.clamp(0.0, photo.width as f64 - 1.0);
                        let y = q.y.clamp(0.0, photo.height as f64 - 1.0);
                        sum += f64::from(photo.luma.bilinear(x, y)) / 12.0;
                    }
                }
                (sum + 0.003).ln()
            })
            .collect()
    };
    let darkest = |ring: &[f64]| {
        let middle = crate::stats::median(ring).unwrap_or(0.0);
        ring.iter().copied().fold(f64::INFINITY, f64::min) - middle
    };
    // A third of the light is a cast shadow; two thirds is shading.
    darkest(&ring(0.84, 0.92)) < -1.1 && darkest(&ring(1.04, 1.14)) > -0.4
}

fn as_reference(s: &Search, c: &Candidate, coin: &Coin, level: Level) -> Reference {
    let (view, photo) = (c.best.view.clone(), s.photo);
    let middle = photo.centre();
    // Wear; the coin's side taken for its face; a rounded edge; a circle that shows on part of its way only.
    let side = SIDE_SHARE * coin.thickness_mm * view.pose.obliquity_deg().to_radians().sin();
    let partly = PARTLY * (1.0 - c.share).max(0.0);
    let edge = if c.is_true(s.reach_px) { EDGE_RELATIVE } else { UNTRUE_RELATIVE };
    let size = (coin.tolerance_mm.hypot(side) / coin.diameter_mm).hypot(partly).hypot(edge);
    // Both tilts by their weights: the sigma of a mixture.
    let mixed = |px: Point| {
        let own = c.best.scale_sigma(px);
        let Some(o) = &c.other else { return own };
        let w = (-0.5 * (o.cost - c.best.cost)).exp();
        let apart = (scale_at(&o.view, px) / scale_at(&view, px)).ln();
        ((own * own + w * (o.scale_sigma(px).powi(2) + apart * apart)) / (1.0 + w)).sqrt()
    };
    let focal = view.pose.focal_px;
    let radius = coin.diameter_mm / 2.0;
    let outline_px = (0..48)
        .map(|i| {
            let a = std::f64::consts::TAU * f64::from(i) / 48.0;
            view.forward(Point::new(a.cos(), a.sin()) * radius)
        })
        .collect();
    Reference {
        together: false,
        source: Source::Coin,
        level,
        height_mm: coin.thickness_mm,
        residual_px: c.residual_px,
        relative_sigma: mixed(middle).hypot(size),
        at_px: c.centre_px,
        local_sigma: mixed(c.centre_px).hypot(size),
        outline_px,
        focal_px: Measured::new(focal, focal * c.best.focal_sigma()),
        to_px: PlaneMap::Lens(view),
    }
}
