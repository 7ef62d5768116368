//! Finds the pocket's outline: candidates from the plan's size and from what encloses a region, each tested by its edges.

use super::rectangle;
use super::rectangle::Rectangle;
use super::region;
use super::search::Sight;
use super::shadow;
use crate::geometry::PlaneMap;
use crate::geometry::Point;
use crate::geometry::contains;
use crate::geometry::signed_area;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::raster::Plane;
use crate::rectify::FloorFrame;
use crate::reference;
use crate::reference::{Reference, Source};
use imageproc::geometry::approximate_polygon_dp;
use imageproc::geometry::convex_hull;
use imageproc::geometry::min_area_rect;
use imageproc::point::Point as Pixel;

/// An outline that was found.
pub struct Found {
    /// Floor frame (walls are vertical: the rim's x and y).
    pub outline: Vec<Point>,
    /// Whether the outline is a plain figure (rectangle, circle): its walls are then known to a fraction of a millimetre.
    pub plain: bool,
    /// Direction of the pocket's own width, radians in the same frame, where straight walls show it.
    pub axis: Option<f64>,
    /// The corners of a figure of straight walls that stand square to one another, in order; empty for others.
    pub corners: Vec<Point>,
    pub how: String,
}

impl Found {
    /// The same outline from one frame of the photo to another in which its corners are square.
    pub fn carry(&mut self, from: &PlaneMap, to: &PlaneMap) {
        let there = |p: Point| to.backward(from.forward(p));
        if let (Some(a), Some(at)) = (self.axis, self.corners.first()) {
            let d = there(*at + Point::new(a.cos(), a.sin())) - there(*at);
            self.axis = Some(d.y.atan2(d.x));
        }
        self.outline.iter_mut().chain(&mut self.corners).for_each(|p| *p = there(*p));
        self.how.push_str("; its corners were taken as square to take the camera's lean out");
    }
}

/// A candidate outline on the plane, corner by corner, clockwise on the screen.
struct Candidate {
    outline: Vec<Point>,
    /// Direction of its straight walls, radians, where it has such.
    axis: Option<f64>,
    plain: bool,
    how: String,
    worth: f64,
    /// Share of its length with an edge along it.
    seen: f64,
}

/// Worth of a figure with more freedom (an L, any closed outline) against a plain one as well seen: it must be seen on a fifth
/// more of its length. With less freedom lost figure and shadows' borders pass for walls, with more an L for a rectangle.
const FREE: f64 = 0.7;
/// Worth of the plan's size against any other: a quarter more, for that it fits at all speaks for it.
const PLANNED: f64 = 1.25;
/// Share of an outline that shows an edge from which on its corners are believed: with less some wall is guessed, and a lean by
/// it would be, too (made photos, 2026-11: what was laid square by less was told wrong more often than before).
const SURE: f64 = 2.0 / 3.0;
/// Share of an outline that shows an edge from which on nothing else is looked for.
const CLEAR: f64 = 0.9;

pub fn find(photo: &Photo, frame: &FloorFrame, references: &[Reference], plan: &PlannedCut) -> Option<Found> {
    let sight = Sight::new(photo, frame, references);
    let edges = sight.edges(1.2);
    let mm = frame.scale.map(|_| 1.0);
    let mut all = Vec::new();
    let (mut clear, mut planned) = (false, None);
    if let (Some((w, h)), Some(_)) = (plan.pocket_mm, mm)
        && let Some((r, _)) = rectangle::find(&sight, (w, h))
    {
        let r = rectangle::refine(&sight, &edges, r);
        let look = looks(&sight, &edges, &r.corners());
        clear = look.seen > CLEAR && look.shadow >= 0.1;
        planned = Some(r);
        let share = look.seen * 100.0;
        let how = format!("the plan's {w:.0} x {h:.0} mm rectangle was found by its edges ({share:.0} % of them seen)");
        all.push(Candidate {
            outline: r.corners().to_vec(),
            axis: Some(r.angle),
            plain: true,
            how,
            worth: PLANNED * if is_reference(frame, references, &r) { look.by_edges(0.35) } else { look.worth(0.35) },
            seen: look.seen,
        });
    }
    if !clear {
        let contours = region::candidates(&sight, &edges);
        for c in &contours {
            all.extend(shaped(&sight, &edges, c));
            all.extend(from_shadow(&sight, &edges, c));
        }
        let soft = sight.edges(4.0);
        let lens = mm.is_none().then(|| focal_lengths(photo));
        let laid = shadow::laid(&sight, &edges, &soft, lens.as_deref());
        all.extend(laid.into_iter().map(|l| by_shadow(&sight, &edges, l)));
        // A pocket of the plan's size with one corner left standing.
        if let Some(r) = planned {
            let (area, axis, what) = (r.width * r.height, Some(r.angle), "an L of the planned pocket's size");
            all.extend(shadow::notched(&sight, &edges, &soft, &r.corners()).into_iter().map(|outline| {
                let c = by_shadow(&sight, &edges, shadow::Laid { outline, area, axis, what });
                Candidate { worth: PLANNED * c.worth, ..c }
            }));
        }
    }
    all.retain(|c| c.worth > 0.0);
    all.sort_by(|a, b| b.worth.total_cmp(&a.worth));
    all.dedup_by(|b, a| {
        b.outline.len() == a.outline.len()
            && b.outline.iter().zip(&a.outline).all(|(p, q)| p.distance(*q) < 2.0 * sight.step)
    });
    all.truncate(LOOKED_AT);
    for c in &mut all {
        c.worth *= if foreign(photo, frame, &sight, &c.outline) { 0.3 } else { 1.0 };
    }
    let best = all.into_iter().max_by(|a, b| a.worth.total_cmp(&b.worth))?;
    let square = best.axis.is_some() && best.plain && best.seen >= SURE && matches!(best.outline.len(), 4 | 6);
    let corners = if square { best.outline.clone() } else { vec![] };
    let (mut outline, mut plain) = (best.outline, best.plain);
    if best.axis.is_some() && outline.len() == 4 {
        let unit = mm.unwrap_or(signed_area(&outline).abs().sqrt() / 90.0);
        let least = plan.cutter.diameter_mm.filter(|_| mm.is_some()).map_or(0.5 * unit, |d| d / 2.0);
        let radius = rectangle::corner_radius(&sight, &edges, &outline, least, unit);
        (outline, plain) = (rectangle::rounded(&outline, radius), true);
    }
    Some(Found { outline, plain, axis: best.axis, corners, how: best.how })
}

/// How far the middles of two finds of one rectangle may lie apart, share of its size.
const SAME: f64 = 0.02;

/// Whether a rectangle is the rim that gave the photo its scale: looked at at full size with its rounded corners, it needs no
/// shadow to be believed.
fn is_reference(frame: &FloorFrame, references: &[Reference], r: &Rectangle) -> bool {
    let middle = frame.rim().forward(r.middle);
    let size = frame.rim().forward(r.corners()[0]).distance(frame.rim().forward(r.corners()[2]));
    let here = |q: Point| q.distance(middle) < SAME * size;
    references.iter().any(|o| o.source == Source::Pocket && here(o.to_px.forward(Point::default())))
}

/// Focal lengths that the photo may have been taken with, px: the file's, else those of the lenses that phones and cameras
/// have, from wide to long (0.8 to 2.5 times the usual one).
pub(super) fn focal_lengths(photo: &Photo) -> Vec<f64> {
    let usual = reference::assumed_focal_px(photo);
    photo.focal_px().map_or([0.8, 1.0, 1.3, 1.7, 2.5].map(|k| k * usual).to_vec(), |f| vec![f])
}

/// A figure that was laid round a shadow, judged by all its edges.
fn by_shadow(sight: &Sight, edges: &(Plane, Plane), laid: shadow::Laid) -> Candidate {
    let look = looks(sight, edges, &laid.outline);
    let how = format!("{} was found round the walls' shadow ({:.0} % of its edges seen)", laid.what, look.seen * 100.0);
    // A standing corner can be laid along many a line.
    let (least, share) = if laid.outline.len() == 6 { (0.75, FREE) } else { (0.5, 1.0) };
    let worth = Look { area: laid.area / sight.whole(), ..look }.worth(least) * share;
    Candidate { outline: laid.outline, axis: laid.axis, plain: true, how, worth, seen: look.seen }
}

/// Candidates whose colour is looked at, best first.
const LOOKED_AT: usize = 12;
/// Change of colour (distance of the shares of red and green) from stock to floor that cutting alone does not make: fresh wood
/// beside weathered 0.02 to 0.04, a card, a painted part or another material 0.1 and more (made scenes, 2026-11). Painted
/// stock has such a floor; it is found where nothing of the stock's own colour is.
const FOREIGN: f64 = 0.07;

/// Whether what an outline holds has another colour than what lies round it.
fn foreign(photo: &Photo, frame: &FloorFrame, sight: &Sight, outline: &[Point]) -> bool {
    let colour = |p: Point| {
        let q = frame.rim().forward(p);
        let (x, y) = (q.x.round(), q.y.round());
        let there = x >= 0.0 && y >= 0.0 && x < photo.width as f64 && y < photo.height as f64;
        // Shadow takes its colour from the room, burnt spots have none.
        (there && sight.shows(p) && !sight.is_dark(sight.to_sample(p))).then(|| {
            let c = photo.rgb.get_pixel(x as u32, y as u32).0.map(|v| (f64::from(v) / 255.0).powf(2.2));
            let sum = (c[0] + c[1] + c[2]).max(1e-6);
            (c.iter().all(|v| *v < 0.98)).then_some((c[0] / sum, c[1] / sum))
        })?
    };
    let middle = super::centroid(outline);
    // From the middle: three rings well inside, one outside.
    let ring = |share: f64| {
        outline
            .iter()
            .zip(outline.iter().cycle().skip(1))
            .flat_map(move |(a, b)| (0..24).map(move |t| middle + (a.lerp(*b, f64::from(t) / 24.0) - middle) * share))
    };
    let medians = |points: Vec<Point>| {
        let seen: Vec<(f64, f64)> = points.into_iter().filter_map(colour).collect();
        let (r, g): (Vec<f64>, Vec<f64>) = seen.into_iter().unzip();
        Some((crate::stats::median(&r)?, crate::stats::median(&g)?))
    };
    let inside = medians([0.35, 0.55, 0.75].into_iter().flat_map(ring).filter(|p| contains(outline, *p)).collect());
    let outside = medians(ring(1.15).filter(|p| !contains(outline, *p)).collect());
    inside.zip(outside).is_some_and(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1) > FOREIGN)
}

/// What an outline shows of itself.
struct Look {
    /// Share of its length with an edge along it; share with a deep shadow just inside.
    seen: f64,
    shadow: f64,
    /// Share of the area inside that is dark.
    dark: f64,
    /// Area as a share of the picture.
    area: f64,
    /// Whether two walls that face one another both have a shadow at their foot: one lamp cannot throw both, the border of
    /// one is rather the shadow's own far border.
    across: bool,
    /// Sides whose shadow runs on past a corner: a wall's ends where the wall does.
    runs_on: i32,
}

/// Share of a figure's worth left for each end at which a shadow runs on past it. At 1 a figure cut short by a letter's side
/// counts like the whole, at 0 a thing's own shadow that reaches a corner rules the pocket out.
const RUNS_ON: f64 = 0.7;

impl Look {
    /// How much it looks like a pocket's: edges all round first, then size (parts of a pocket are also enclosed by edges).
    /// 0 without a shadow inside, with edges on less than `least` of it, or when most of it is dark (a shadow by itself).
    fn worth(&self, least: f64) -> f64 {
        if self.shadow < 0.05 { 0.0 } else { self.by_edges(least) }
    }
    /// The same where no shadow is asked for.
    fn by_edges(&self, least: f64) -> f64 {
        if self.seen < least || self.dark > 0.6 || self.area > 0.9 {
            0.0
        } else {
            self.seen.powi(2) * self.area.sqrt() * if self.across { 0.4 } else { 1.0 } * RUNS_ON.powi(self.runs_on)
        }
    }
}

fn looks(sight: &Sight, edges: &(Plane, Plane), outline: &[Point]) -> Look {
    let s = sight.step;
    let (mut seen, mut shadow, mut total) = (0.0, 0.0, 0.0);
    let mut shaded: Vec<Point> = Vec::new();
    let mut runs_on = 0;
    let n = outline.len();
    // A shadow just inside: darker than outside by half, and dark for the place (beside a bright wall the floor only looks so).
    let shady =
        |p: Point, inward: Point| sight.ratio_at(p + inward * (5.0 * s)) < 0.6 && sight.drop(p, inward, 5.0) > 0.7;
    for i in 0..n {
        let (a, b) = (outline[i], outline[(i + 1) % n]);
        let length = a.distance(b);
        let d = (b - a) * (1.0 / length.max(1e-12));
        let inward = Point::new(-d.y, d.x);
        let before = (shadow, total);
        for t in 0..(length / (2.0 * s)).ceil() as usize {
            let p = a + d * (2.0 * s * t as f64);
            total += 1.0;
            // Against the picture's border nothing can be told from what lies outside.
            if !sight.shows(p) || !sight.shows(p - inward * (11.0 * s)) {
                continue;
            }
            let strongest = |from: i32, to: i32| {
                (from..=to)
                    .map(|t| rectangle::across(sight, edges, p + inward * (f64::from(t) * s * 0.5), inward).abs())
                    .fold(0.0, f64::max)
            };
            // Nine samples farther out on the stock: the same grain, but no line along this outline.
            let here = strongest(-5, 5);
            seen += f64::from(u8::from(here > 0.025 && here > 1.3 * strongest(-22, -12)));
            shadow += f64::from(u8::from(shady(p, inward)));
        }
        // A whole side of 24 samples or more: short of an end, where another wall's shadow reaches it.
        if total - before.1 > 12.0 && shadow - before.0 > 0.85 * (total - before.1) {
            shaded.push(inward);
        }
        // Of straight-sided figures: in shadow for half of it, and for four fifths of ten samples past a standing corner.
        if n <= 12 && shadow - before.0 > 0.5 * (total - before.1) {
            let out = |end: Point, way: f64, next: Point| {
                let turned = (next - end).x * inward.x + (next - end).y * inward.y > 0.0;
                let on = (6..16).filter(|k| shady(end + d * (way * f64::from(*k) * s), inward)).count();
                i32::from(turned && on >= 8)
            };
            runs_on += out(a, -1.0, outline[(i + n - 1) % n]) + out(b, 1.0, outline[(i + 2) % n]);
        }
    }
    let faces = |a: &Point| shaded.iter().any(|b| a.x * b.x + a.y * b.y < -0.7);
    let across = shaded.iter().any(faces);
    let (a, b) = super::cut::bounds(outline);
    let (mut dark, mut inside) = (0.0, 0.0);
    for j in 0..40 {
        for i in 0..40 {
            let p = Point::new(
                a.x + (b.x - a.x) * (f64::from(i) + 0.5) / 40.0,
                a.y + (b.y - a.y) * (f64::from(j) + 0.5) / 40.0,
            );
            if contains(outline, p) {
                inside += 1.0;
                // Half-way between the blackest shadow and one that a blurred picture or a bright room leaves.
                dark += f64::from(u8::from(sight.ratio_at(p) < 0.45));
            }
        }
    }
    let area = signed_area(outline).abs() / sight.whole();
    let share = |v: f64, of: f64| v / f64::max(of, 1.0);
    Look { seen: share(seen, total), shadow: share(shadow, total), dark: share(dark, inside), area, across, runs_on }
}

/// The smallest rectangle round a contour (samples), on the plane, and the share of it that the contour fills.
fn boxed(sight: &Sight, contour: &[Point]) -> (Rectangle, f64) {
    let pixels: Vec<Pixel<i32>> = pixels(contour);
    let c = min_area_rect(&convex_hull(pixels)).map(|p| sight.to_plane(f64::from(p.x), f64::from(p.y)));
    let (a, b) = (c[1] - c[0], c[2] - c[1]);
    let (long, short) = if a.x.hypot(a.y) >= b.x.hypot(b.y) { (a, b) } else { (b, a) };
    let r = Rectangle {
        middle: (c[0] + c[2]) * 0.5,
        angle: long.y.atan2(long.x),
        width: long.x.hypot(long.y),
        height: short.x.hypot(short.y),
    };
    let area = signed_area(contour).abs() * sight.step.powi(2);
    (r, area / (r.width * r.height).max(1e-12))
}

fn pixels(contour: &[Point]) -> Vec<Pixel<i32>> {
    contour.iter().map(|p| Pixel::new(p.x.round() as i32, p.y.round() as i32)).collect()
}

/// A contour (samples) as a rectangle, a circle or a polygon.
fn shaped(sight: &Sight, edges: &(Plane, Plane), contour: &[Point]) -> Option<Candidate> {
    let (r, fill) = boxed(sight, contour);
    if r.width.min(r.height) < 20.0 * sight.step {
        return None;
    }
    let candidate = |outline: Vec<Point>, axis, what: &str| {
        let own = looks(sight, edges, &outline);
        // The box of what fills half of it counts for its size, as for an L.
        let look = if fill > 0.5 { Look { area: r.width * r.height / sight.whole(), ..own } } else { own };
        let how = format!("{what} was found, closed by walls and shadow on {:.0} % of its length", look.seen * 100.0);
        // Most pockets are plain figures; figure and ridges close outlines of any shape.
        let plain = what != "a closed outline";
        let worth = look.worth(0.5) * if plain { 1.0 } else { FREE };
        Candidate { outline, axis, plain, how, worth, seen: look.seen }
    };
    // A rectangle with corners rounded by a quarter of its height still fills 0.95 of its box; a circle fills 0.79.
    if fill > 0.93 {
        let r = rectangle::refine_size(sight, edges, r);
        return Some(candidate(r.corners().to_vec(), Some(r.angle), "a rectangle"));
    }
    let on_plane: Vec<Point> = contour.iter().map(|p| sight.to_plane(p.x, p.y)).collect();
    let middle = super::centroid(&on_plane);
    let radii: Vec<f64> = on_plane.iter().map(|p| p.distance(middle)).collect();
    let (mean, spread) = crate::stats::mean_sd(&radii)?;
    if spread < 0.03 * mean {
        let circle = |r: f64| -> Vec<Point> {
            (0..72)
                .map(|i| f64::from(i).to_radians() * 5.0)
                .map(|a| middle + Point::new(a.cos(), a.sin()) * r)
                .collect()
        };
        return Some(candidate(rectangle::snapped(sight, edges, &circle(mean)), None, "a circle"));
    }
    let simple = approximate_polygon_dp(&pixels(contour), 2.5, true);
    let mut polygon: Vec<Point> = simple.iter().map(|p| sight.to_plane(f64::from(p.x), f64::from(p.y))).collect();
    if signed_area(&polygon) < 0.0 {
        polygon.reverse();
    }
    (polygon.len() >= 3).then(|| candidate(rectangle::snapped(sight, edges, &polygon), None, "a closed outline"))
}

/// A contour that is mostly shadow (one straight dark band) as the lamp's side of a rectangle whose other sides are looked
/// for.
fn from_shadow(sight: &Sight, edges: &(Plane, Plane), contour: &[Point]) -> Vec<Candidate> {
    let (band, fill) = boxed(sight, contour);
    // A band: filled, at least three times as long as wide.
    if fill < 0.7 || band.width < 2.5 * band.height || !sight.is_dark(sight.to_sample(band.middle)) {
        return vec![];
    }
    [false, true]
        .into_iter()
        .filter_map(|other_side| {
            let q = band.corners();
            let (a, b) = if other_side { (q[2], q[3]) } else { (q[0], q[1]) };
            let r = rectangle::extend(sight, edges, a, b, band.height)?;
            let r = rectangle::refine_size(sight, edges, r);
            let look = looks(sight, edges, &r.corners());
            let how = format!(
                "a rectangle was found from the wall's shadow and the other walls ({:.0} % of its edges seen)",
                look.seen * 100.0
            );
            Some(Candidate {
                outline: r.corners().to_vec(),
                axis: Some(r.angle),
                plain: true,
                how,
                worth: look.worth(0.5),
                seen: look.seen,
            })
        })
        .collect()
}
