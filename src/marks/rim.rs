//! The rim: burr and torn fibre along the top edges of the pocket and of what stands in it.
//!
//! A cutter that lifts fibre leaves specks of light and shade a few tenths of a millimetre wide along the edge; a clean
//! edge has there what the stock has beside it. So a band just outside the edge is followed along it, what changes
//! slowly (edge, wall, light) is taken out by a running median, and the rest is held against the same of a band farther
//! out on the stock, which has the wood's figure and the camera's noise but no burr.

use super::ring;
use super::types::{Rim, RimPiece};
use crate::caveat;
use crate::caveat::Caveat;
use crate::floor::Patch;
use crate::geometry::{Point, contains, signed_area, to_outline};
use crate::photo::Photo;
use crate::rectify::FloorFrame;
use crate::reference::Reference;
use crate::units::{Measured, turn};
use rayon::prelude::*;

/// Coarsest photo that shows burr, mm per px: burr is 0.2 to 0.5 mm wide (common practice, no source); at 0.15 the
/// narrowest still fills a pixel beside the edge's own. On made scenes the share found falls to a third from 0.17 on.
const COARSEST_MM: f64 = 0.15;
/// Widest blur (one sigma, mm) that leaves half the contrast of specks 0.8 mm apart: exp(-2 (pi 0.15 / 0.8)^2) = 0.5.
const WIDEST_BLUR_MM: f64 = 0.15;
/// Band of the rim that is looked at, from the edge outwards, mm; its inner end is where the edge's own blur ends.
const BAND_MM: f64 = 0.3;
/// Band of the stock it is held against, mm from the edge: beyond burr, near enough to have the same figure and light.
const STOCK_MM: (f64, f64) = (0.8, 2.3);
/// Length over which edge, wall and light are taken to be even, mm: longer than a torn place's specks, shorter than walls.
const EVEN_MM: f64 = 3.0;
/// How far the edge may lie from the outline that was found, mm, either way.
const OFF_MM: f64 = 0.7;
/// Times the stock's own change from which a place is ragged; under 2.5 wood's pores pass, over 4 only strong burr does.
const OVER_STOCK: f64 = 3.0;
/// Least change of light that counts at all, share of the stock's light: rounding of JPEG at its usual quality is a third.
const LEAST: f64 = 0.03;
/// Doubt of the edge's place, px: so much of the light's slope across the edge may come and go along it.
const EDGE_DOUBT_PX: f64 = 0.1;
/// Gaps closed and pieces dropped, mm: specks of one torn place stand up to about this far apart.
const GAP_MM: f64 = 0.6;
const SHORTEST_MM: f64 = 0.4;
/// Share that clean rims show (made scenes: median 0.04, 9 of 10 under 0.11) and scatter of what is found, as a share of
/// itself; together the sigma.
const CLEAN: f64 = 0.05;
const SCATTER: f64 = 0.35;
/// Least of the rim that must show for a share of it to be given: length in mm, and part of the whole.
const LEAST_JUDGED: (f64, f64) = (30.0, 0.25);

/// Whole turns that a found outline may make, to and fro: a rectangle and a circle make 1, an L 1.5, a T 2, a cross 3. Where
/// no wall was told from shadow and figure, outlines run in steps and make 5 and more.
const MOST_TURNING: f64 = 3.2;

/// A closed edge, walked at even steps, on the plane of the stock's top.
struct Walk {
    at: Vec<Point>,
    /// Towards the stock.
    out: Vec<Point>,
    island: bool,
}

/// What was seen along a walk, one entry a step.
struct Seen {
    ragged: Vec<bool>,
    judged: Vec<bool>,
    edge: Vec<Point>,
}

/// Looks along the rim of the pocket and of what stands in it.
///
/// Without a scale, without a wall, in photos too coarse or blurred, or where too little of the rim shows, nothing is said
/// of it and a caveat says why.
pub fn look(photo: &Photo, frame: &FloorFrame, references: &[Reference], patch: &Patch) -> (Rim, Vec<Caveat>) {
    match judge(photo, frame, references, patch) {
        Ok(rim) => (rim, vec![]),
        Err(why) => (Rim::default(), vec![caveat::RIM_NOT_JUDGED.with(format!("The rim was not judged: {why}."))]),
    }
}

fn judge(photo: &Photo, frame: &FloorFrame, references: &[Reference], patch: &Patch) -> Result<Rim, String> {
    if frame.scale.is_none() {
        return Err("without a scale the width of burr is not known".into());
    }
    if patch.outline_assumed {
        return Err("no wall of the pocket was found".into());
    }
    if !patch.outline_given && turning(&patch.outline) > MOST_TURNING {
        return Err("the outline that was found is too crooked to be an edge that a cutter left".into());
    }
    let rim = frame.rim();
    let scales: Vec<f64> = patch.outline.iter().map(|p| 1.0 / rim.scale_at(*p)).collect();
    let px = crate::stats::median(&scales).filter(|p| *p > 0.0).ok_or("its outline does not lie in the photo")?;
    if px > COARSEST_MM {
        return Err(format!(
            "the photo has {:.1} px per mm there, and burr of a quarter of a millimetre shows from {:.0} on",
            1.0 / px,
            (1.0 / COARSEST_MM).ceil()
        ));
    }
    let blur = patch.blur_px.unwrap_or(1.0);
    if blur * px > WIDEST_BLUR_MM {
        return Err(format!("its edges are blurred over {:.2} mm (one sigma)", blur * px));
    }
    // Half a pixel, or a fifteenth of the band where pixels are finer.
    let step = (0.5 * px).max(0.02);
    let mut walks: Vec<Walk> = vec![Walk::along(&patch.outline, step, false)];
    // Islands were outlined on the floor's map; what is seen of them is their top.
    let top = |p: &Point| rim.backward(frame.to_px.forward(*p));
    walks.extend(patch.islands.iter().map(|i| Walk::along(&i.iter().map(top).collect::<Vec<_>>(), step, true)));
    walks.retain(|w| w.at.len() as f64 * step > 2.0 * EVEN_MM);
    let covers: Vec<Vec<Point>> =
        references.iter().map(|r| r.outline_px.iter().map(|p| rim.backward(*p)).collect()).collect();
    let look = Look { photo, frame, px, step, blur, covers };
    let seen: Vec<Seen> = walks.iter().map(|w| look.along(w)).collect();
    let length = |f: &dyn Fn(&Seen) -> usize| seen.iter().map(f).sum::<usize>() as f64 * step;
    let (all, judged) = (length(&|s| s.judged.len()), length(&|s| s.judged.iter().filter(|j| **j).count()));
    let ragged = length(&|s| s.ragged.iter().filter(|r| **r).count());
    if judged < LEAST_JUDGED.0 || judged < LEAST_JUDGED.1 * all {
        return Err(format!("only {judged:.0} mm of its {all:.0} mm show free, evenly lit stock beside it"));
    }
    let share = ragged / judged;
    let mut pieces: Vec<RimPiece> = walks.iter().zip(&seen).flat_map(|(w, s)| pieces(w, s, step)).collect();
    pieces.sort_by(|a, b| b.length.total_cmp(&a.length));
    Ok(Rim { ragged: Measured::new(share, CLEAN.hypot(SCATTER * share)), judged_fraction: judged / all, pieces })
}

impl Walk {
    fn along(outline: &[Point], step: f64, island: bool) -> Self {
        let n = outline.len();
        let way = signed_area(outline).signum() * if island { -1.0 } else { 1.0 };
        let (mut at, mut out) = (vec![], vec![]);
        // Length walked past the last step.
        let mut over = 0.0;
        for i in 0..n {
            let (a, b) = (outline[i], outline[(i + 1) % n]);
            let length = a.distance(b);
            if length < 1e-9 {
                continue;
            }
            let d = (b - a) * (1.0 / length);
            let mut t = over;
            while t < length {
                at.push(a + d * t);
                out.push(Point::new(d.y, -d.x) * way);
                t += step;
            }
            over = t - length;
        }
        if island {
            // Traced on coarse samples: their steps are not the edge's.
            let half = (0.6 / step) as usize;
            at = ring::points(&at, half);
            out = ring::points(&out, half);
        }
        Self { at, out, island }
    }
}

struct Look<'a> {
    photo: &'a Photo,
    frame: &'a FloorFrame,
    px: f64,
    step: f64,
    blur: f64,
    /// Things that lie on the stock, on the plane of its top.
    covers: Vec<Vec<Point>>,
}

impl Look<'_> {
    /// Light at `u` mm from the edge towards the stock, all along it.
    fn row(&self, w: &Walk, edge: Option<&[f64]>, u: f64) -> Vec<f64> {
        let luma = &self.photo.luma;
        (0..w.at.len())
            .into_par_iter()
            .map(|k| {
                let q = self.frame.rim().forward(w.at[k] + w.out[k] * (u + edge.map_or(0.0, |e| e[k])));
                f64::from(luma.bilinear(q.x, q.y))
            })
            .collect()
    }
    /// Rows from `from` to `to` mm, `step` apart.
    fn rows(&self, w: &Walk, edge: Option<&[f64]>, (from, to): (f64, f64), step: f64) -> Vec<Vec<f64>> {
        let n = ((to - from) / step).floor().max(0.0) as usize + 1;
        (0..n).map(|i| self.row(w, edge, from + i as f64 * step)).collect()
    }
    /// Samples in so many mm, half a window.
    fn half(&self, mm: f64) -> usize {
        (mm / self.step / 2.0).round().max(1.0) as usize
    }
    /// Where the edge is, mm from the walk, and how strongly it shows (change of ln light over two pixels; positive where
    /// the stock is the brighter side).
    fn edge(&self, w: &Walk) -> (Vec<f64>, Vec<f64>) {
        // An island's outline was drawn about 0.6 mm outside its foot.
        let (from, to) = if w.island { (-0.3, 1.8) } else { (-OFF_MM, OFF_MM) };
        let near = |u: f64| if w.island { 1.0 } else { (-0.5 * (u / (0.5 * OFF_MM)).powi(2)).exp() };
        let logs: Vec<Vec<f64>> = self
            .rows(w, None, (from - 2.0 * self.step, to + 2.0 * self.step), self.step)
            .into_iter()
            .map(|r| r.into_iter().map(|v| v.max(2e-3).ln()).collect())
            .collect();
        let slopes: Vec<Vec<f64>> = (4..logs.len())
            .into_par_iter()
            .map(|i| {
                let d: Vec<f64> = logs[i].iter().zip(&logs[i - 4]).map(|(a, b)| a - b).collect();
                ring::mean(&d, self.half(2.0))
            })
            .collect();
        let at = |i: f64| from + i * self.step;
        let n = w.at.len();
        let worth = |i: usize, k: usize| {
            let s = slopes[i][k];
            // Inside an island's outline only its dark side tells the edge; the little more draws to the outline where
            // nothing shows.
            (if w.island { s.max(0.0) } else { s.abs() } + 0.02) * near(at(i as f64))
        };
        let (mut e, mut strength) = (Vec::with_capacity(n), Vec::with_capacity(n));
        for k in 0..n {
            let best = (0..slopes.len()).max_by(|a, b| worth(*a, k).total_cmp(&worth(*b, k))).unwrap_or(0);
            let mut i = best as f64;
            if best > 0 && best + 1 < slopes.len() {
                let (a, b, c) = (worth(best - 1, k), worth(best, k), worth(best + 1, k));
                i += (0.5 * (a - c) / (a - 2.0 * b + c).min(-1e-9)).clamp(-0.5, 0.5);
            }
            e.push(at(i));
            strength.push(slopes.get(best).map_or(0.0, |s| s[k]));
        }
        let e = ring::mean(&ring::median(&e, self.half(EVEN_MM)), self.half(2.0));
        (e, strength)
    }
    fn along(&self, w: &Walk) -> Seen {
        let (edge, strength) = self.edge(w);
        // 1.5 px: the edge's own blur in a sharp photo (0.8 px, one sigma) falls to 3 % there.
        let inner = self.px * (1.5f64).max(1.2 * self.blur);
        let near = self.rows(w, Some(&edge), (inner, BAND_MM.max(inner + self.px)), self.step);
        let far = self.rows(w, Some(&edge), STOCK_MM, 2.0 * self.step);
        let n = w.at.len();
        let level: Vec<f64> = (0..n)
            .into_par_iter()
            .map(|k| crate::stats::median(&far.iter().map(|r| r[k]).collect::<Vec<_>>()).unwrap_or(0.0))
            .collect();
        let level = ring::mean(&level, self.half(EVEN_MM));
        let usual = crate::stats::median(&level).unwrap_or(0.0);
        let even = |rows: &[Vec<f64>]| -> Vec<(Vec<f64>, Vec<f64>)> {
            rows.par_iter()
                .map(|r| {
                    let r: Vec<f64> = r.iter().zip(&level).map(|(v, l)| v / l.max(1e-4)).collect();
                    let slow = ring::median(&r, self.half(EVEN_MM));
                    (r.iter().zip(&slow).map(|(v, s)| v - s).collect(), slow)
                })
                .collect()
        };
        let rms = |rows: &[(Vec<f64>, Vec<f64>)], mm: f64| -> Vec<f64> {
            let mean = |k: usize| rows.iter().map(|r| r.0[k] * r.0[k]).sum::<f64>() / rows.len().max(1) as f64;
            ring::mean(&(0..n).map(mean).collect::<Vec<_>>(), self.half(mm)).iter().map(|v| v.max(0.0).sqrt()).collect()
        };
        let (near, far) = (even(&near), even(&far));
        let (here, stock) = (rms(&near, 0.5), rms(&far, 2.0));
        // Light's slope across the edge, per pixel, within the band.
        let slope = |k: usize| {
            let d = near.windows(2).map(|p| ((p[1].1[k] - p[0].1[k]) * self.px / self.step).powi(2)).sum::<f64>();
            (d / (near.len().max(2) - 1) as f64).sqrt()
        };
        let limit: Vec<f64> =
            (0..n).map(|k| (OVER_STOCK * stock[k]).hypot(LEAST).hypot(EDGE_DOUBT_PX * slope(k))).collect();
        let at: Vec<Point> = (0..n).map(|k| w.at[k] + w.out[k] * edge[k]).collect();
        let judged: Vec<bool> = (0..n)
            .into_par_iter()
            .map(|k| {
                // Lit stock beside it, as elsewhere along this edge; not burnt out, not so restless that burr would pass.
                (0.4..2.2).contains(&(level[k] / usual.max(1e-6)))
                    && level[k] < 0.9
                    && limit[k] < 0.3
                    && (!w.island || strength[k] > 0.5)
                    && self.is_free(w.at[k] + w.out[k] * STOCK_MM.1)
                    && self.is_free(at[k])
            })
            .collect();
        let over: Vec<bool> = (0..n).map(|k| judged[k] && here[k] > limit[k]).collect();
        let closed = ring::closed(&over, 2 * self.half(GAP_MM));
        let kept = ring::without_short(&closed, 2 * self.half(SHORTEST_MM));
        let ragged = (0..n).map(|k| kept[k] && judged[k]).collect();
        Seen { ragged, judged, edge: at }
    }
    /// Whether the place is in the photo and nothing lies on it.
    fn is_free(&self, p: Point) -> bool {
        let q = self.frame.rim().forward(p);
        let inside =
            q.x >= 1.0 && q.y >= 1.0 && q.x < self.photo.width as f64 - 2.0 && q.y < self.photo.height as f64 - 2.0;
        inside && !self.covers.iter().any(|c| contains(c, p) || to_outline(p, c) < 2.0)
    }
}

/// Sum of all changes of direction along a closed line, in whole turns.
fn turning(outline: &[Point]) -> f64 {
    let n = outline.len();
    let way = |i: usize| {
        let d = outline[(i + 1) % n] - outline[i % n];
        d.y.atan2(d.x).to_degrees()
    };
    (0..n).map(|i| turn(way(i), way(i + 1)).abs()).sum::<f64>() / 360.0
}

/// The ragged runs of a walk, each a line on the floor (walls are vertical: the rim's x and y).
fn pieces(w: &Walk, s: &Seen, step: f64) -> Vec<RimPiece> {
    ring::runs(&s.ragged)
        .into_iter()
        .map(|(from, count)| {
            let n = s.edge.len();
            let index = |k: usize| (from + k) % n;
            // A point a millimetre: chords of arcs of a 3 mm cutter stay within 0.1 mm.
            let every = (1.0 / step).ceil() as usize;
            let mut points: Vec<Point> = (0..count).step_by(every).map(|k| s.edge[index(k)]).collect();
            points.push(s.edge[index(count - 1)]);
            let out = w.out[index(count / 2)];
            RimPiece {
                points,
                length: count as f64 * step,
                normal_deg: crate::units::wrap_360(out.y.atan2(out.x).to_degrees()),
                island: w.island,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Homography;
    use crate::raster::Plane;
    use crate::rectify::light_view;
    use nalgebra::Matrix3;

    /// 20 px per mm; a 30 x 20 mm pocket in shadow on grained stock, sharp to a pixel; `burr` gives the light of the rim's
    /// specks by the way along it in mm, 0 = none.
    fn scene(px_per_mm: f64, burr: impl Fn(f64) -> f64 + Sync) -> (Photo, FloorFrame, Patch) {
        let (w, h) = ((44.0 * px_per_mm) as usize, (34.0 * px_per_mm) as usize);
        let luma = Plane::from_fn(w, h, |i, j| {
            let (x, y) = (i as f64 / px_per_mm - 7.0, j as f64 / px_per_mm - 7.0);
            let out = (-x).max(x - 30.0).max(-y).max(y - 20.0);
            let wood = 0.4 * (1.0 + 0.02 * (3.1 * x + 0.7 * y).sin());
            let along = x + y;
            let speck = if (0.0..0.3).contains(&out) { burr(along) * (along * 12.0).sin() } else { 0.0 };
            let edge = 0.5 + 0.5 * (out * px_per_mm / 0.8).tanh();
            (0.05 + (wood * (1.0 + speck) - 0.05) * edge) as f32
        });
        let m = Matrix3::new(px_per_mm, 0.0, 7.0 * px_per_mm, 0.0, px_per_mm, 7.0 * px_per_mm, 0.0, 0.0, 1.0);
        let scale = Measured::new(1.0 / px_per_mm, 0.0);
        let frame = FloorFrame::from_homography(Homography::from_matrix(m).unwrap(), scale);
        let photo = Photo {
            file: String::new(),
            sha256: String::new(),
            width: w,
            height: h,
            rgb: image::RgbImage::new(w as u32, h as u32),
            luma,
            has_colour: false,
            camera: Default::default(),
        };
        let corners = [(0.0, 0.0), (30.0, 0.0), (30.0, 20.0), (0.0, 20.0)].map(|(x, y)| Point::new(x, y));
        let view = light_view(&photo, &frame, corners[0], corners[2], 1.0 / px_per_mm);
        let patch = Patch { outline: corners.to_vec(), outline_given: false, blur_px: Some(0.8), ..Patch::whole(view) };
        (photo, frame, patch)
    }
    fn found(burr: impl Fn(f64) -> f64 + Sync) -> Rim {
        let (photo, frame, patch) = scene(20.0, burr);
        look(&photo, &frame, &[], &patch).0
    }
    #[test]
    fn a_clean_edge_is_clean_and_torn_places_are_found_where_they_are() {
        let clean = found(|_| 0.0);
        assert!(clean.ragged.unwrap().value < 0.02 && clean.judged_fraction > 0.9, "{clean:?}");
        // Torn where x + y is 12 to 18: on the upper side from 12 to 18, on the left one likewise: 12 of 100 mm.
        let torn = found(|s| if (12.0..18.0).contains(&s) { 0.3 } else { 0.0 });
        assert!((torn.ragged.unwrap().value - 0.12).abs() < 0.02, "{:?}", torn.ragged);
        let places: Vec<f64> = torn.pieces.iter().flat_map(|p| &p.points).map(|p| p.x + p.y).collect();
        assert!(places.iter().all(|s| (11.4..18.6).contains(s)), "{places:?}");
        let sides: Vec<f64> = torn.pieces.iter().map(|p| p.normal_deg).collect();
        assert_eq!(sides.len(), 2, "{sides:?}");
        assert!(sides.iter().any(|d| (d - 270.0).abs() < 1.0) && sides.iter().any(|d| (d - 180.0).abs() < 1.0));
    }
    #[test]
    fn where_burr_could_not_show_nothing_is_said() {
        let why = |photo: &Photo, frame: &FloorFrame, patch: &Patch| {
            let (rim, caveats) = look(photo, frame, &[], patch);
            assert_eq!((rim.ragged, caveats.len(), caveats[0].id), (None, 1, "rim-not-judged"));
            caveats[0].text.clone()
        };
        let (photo, frame, patch) = scene(5.0, |_| 0.3);
        assert!(why(&photo, &frame, &patch).contains("5.0 px per mm"));
        let (photo, mut frame, patch) = scene(20.0, |_| 0.3);
        assert!(why(&photo, &frame, &Patch { blur_px: Some(4.0), ..patch.clone() }).contains("blurred over 0.20 mm"));
        assert!(why(&photo, &frame, &Patch { outline_assumed: true, ..patch.clone() }).contains("no wall"));
        let steps: Vec<Point> = (0..40)
            .map(|k| Point::new(f64::from(k / 2), f64::from((k + 1) / 2)))
            .chain([Point::new(20.0, 0.0)])
            .collect();
        assert!(why(&photo, &frame, &Patch { outline: steps, ..patch.clone() }).contains("crooked"));
        frame.scale = None;
        assert!(why(&photo, &frame, &patch).contains("without a scale"));
    }
}
