//! Finds the pocket's outline: candidates from the plan's size and from what encloses a region, each tested by its edges.

use super::rectangle;
use super::rectangle::Rectangle;
use super::region;
use super::search::Sight;
use crate::geometry::Point;
use crate::geometry::contains;
use crate::geometry::signed_area;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::raster::Plane;
use crate::rectify::FloorFrame;
use crate::reference::Reference;
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
    pub how: String,
}

/// A candidate outline on the plane, corner by corner, clockwise on the screen.
struct Candidate {
    outline: Vec<Point>,
    rectangle: Option<Rectangle>,
    plain: bool,
    how: String,
    worth: f64,
}

/// Share of an outline that shows an edge from which on nothing else is looked for.
const CLEAR: f64 = 0.9;

pub fn find(photo: &Photo, frame: &FloorFrame, references: &[Reference], plan: &PlannedCut) -> Option<Found> {
    let sight = Sight::new(photo, frame, references);
    let edges = sight.edges(1.2);
    let mm = frame.scale.map(|_| 1.0);
    let mut all = Vec::new();
    let mut clear = false;
    if let (Some((w, h)), Some(_)) = (plan.pocket_mm, mm)
        && let Some((r, _)) = rectangle::find(&sight, (w, h))
    {
        let r = rectangle::refine(&sight, &edges, r);
        let look = looks(&sight, &edges, &r.corners());
        clear = look.seen > CLEAR && look.shadow >= 0.1;
        let share = look.seen * 100.0;
        let how = format!("the plan's {w:.0} x {h:.0} mm rectangle was found by its edges ({share:.0} % of them seen)");
        // A quarter more than its edges alone: that the plan's size fits at all speaks for it.
        all.push(Candidate {
            outline: r.corners().to_vec(),
            rectangle: Some(r),
            plain: true,
            how,
            worth: 1.25 * look.worth(0.35),
        });
    }
    if !clear {
        let contours = region::candidates(&sight, &edges);
        for c in &contours {
            all.extend(shaped(&sight, &edges, c));
            all.extend(from_shadow(&sight, &edges, c));
        }
    }
    let best = all.into_iter().filter(|c| c.worth > 0.0).max_by(|a, b| a.worth.total_cmp(&b.worth))?;
    let Some(r) = best.rectangle else {
        return Some(Found { outline: best.outline, plain: best.plain, axis: None, how: best.how });
    };
    let unit = mm.unwrap_or((r.width * r.height).sqrt() / 90.0);
    let least = plan.cutter.diameter_mm.filter(|_| mm.is_some()).map_or(0.5 * unit, |d| d / 2.0);
    let radius = rectangle::corner_radius(&sight, &edges, &best.outline, least, unit);
    Some(Found { outline: rectangle::rounded(&best.outline, radius), plain: true, axis: Some(r.angle), how: best.how })
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
}

impl Look {
    /// How much it looks like a pocket's: edges all round first, then size (parts of a pocket are also enclosed by edges).
    /// 0 without a shadow inside, with edges on less than `least` of it, or when most of it is dark (a shadow by itself).
    fn worth(&self, least: f64) -> f64 {
        if self.shadow < 0.05 || self.seen < least || self.dark > 0.6 || self.area > 0.9 {
            0.0
        } else {
            self.seen.powf(1.5) * self.area.sqrt()
        }
    }
}

fn looks(sight: &Sight, edges: &(Plane, Plane), outline: &[Point]) -> Look {
    let s = sight.step;
    let (mut seen, mut shadow, mut total) = (0.0, 0.0, 0.0);
    let n = outline.len();
    for i in 0..n {
        let (a, b) = (outline[i], outline[(i + 1) % n]);
        let length = a.distance(b);
        let d = (b - a) * (1.0 / length.max(1e-12));
        let inward = Point::new(-d.y, d.x);
        for t in 0..(length / (2.0 * s)).ceil() as usize {
            let p = a + d * (2.0 * s * t as f64);
            total += 1.0;
            if !sight.shows(p) {
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
            let drop = sight.log_at(p - inward * (5.0 * s)) - sight.log_at(p + inward * (5.0 * s));
            shadow += f64::from(u8::from(drop > 0.7));
        }
    }
    let (a, b) = super::cut::bounds(outline);
    let (mut dark, mut inside) = (0.0, 0.0);
    for j in 0..40 {
        for i in 0..40 {
            let p = Point::new(
                a.x + (b.x - a.x) * (f64::from(i) + 0.5) / 40.0,
                a.y + (b.y - a.y) * (f64::from(j) + 0.5) / 40.0,
            );
            if contains(outline, p) {
                let q = sight.to_sample(p);
                inside += 1.0;
                dark += f64::from(u8::from(sight.is_dark(q)));
            }
        }
    }
    let area = signed_area(outline).abs() / (s * s * (sight.log.width * sight.log.height) as f64);
    let share = |v: f64, of: f64| v / f64::max(of, 1.0);
    Look { seen: share(seen, total), shadow: share(shadow, total), dark: share(dark, inside), area }
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
    let candidate = |outline: Vec<Point>, rectangle, what: &str| {
        let look = looks(sight, edges, &outline);
        let how = format!("{what} was found, closed by walls and shadow on {:.0} % of its length", look.seen * 100.0);
        Candidate { outline, rectangle, plain: what != "a closed outline", how, worth: look.worth(0.5) }
    };
    // A rectangle with corners rounded by a quarter of its height still fills 0.95 of its box; a circle fills 0.79.
    if fill > 0.93 {
        let r = rectangle::refine_size(sight, edges, r);
        return Some(candidate(r.corners().to_vec(), Some(r), "a rectangle"));
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
                rectangle: Some(r),
                plain: true,
                how,
                worth: look.worth(0.5),
            })
        })
        .collect()
}
