//! Room 6: a second photo of the same floor, lit from the other side. Relief turns its light and shade round, colour does
//! not: (I1 - I2) / (I1 + I2) keeps the relief, the sum keeps the colour (the small-slope law, see `marks`).

mod correlate;
mod refine;
mod register;
mod start;

pub use register::Registered;

use crate::caveat;
use crate::caveat::Caveat;
use crate::floor::{Light, Patch};
use crate::geometry::{PlaneMap, Point};
use crate::photo::Photo;
use crate::raster::{Mask, Plane, masked_blur};
use crate::rectify::{FloorFrame, FloorView, view};
use crate::units::{Measured, wrap_360};
use rayon::prelude::*;

/// The second photo and what is known of it.
pub struct Second<'a> {
    pub photo: &'a Photo,
    pub frame: &'a FloorFrame,
    pub patch: &'a Patch,
}

/// Two photos of one floor as two pictures on the first one's floor plane.
#[derive(Debug, Clone)]
pub struct Pair {
    pub file: String,
    pub sha256: String,
    /// First floor frame to the second photo's pixels, through the second's lens where it is known.
    pub to_px: PlaneMap,
    /// How well the second photo lies on the first.
    pub registered: Registered,
    /// Share of the first photo's used floor that is lit in both.
    pub shared_fraction: f64,
    /// Angle between the two lamps' directions seen from above, degrees; 180 = opposite. `None` where one is not known.
    pub lamps_apart_deg: Option<f64>,
    /// The difference over the sum, plus one: relief alone. Its `light` is the one lamp that would give this picture.
    pub relief: Patch,
    /// The sum, exposures balanced: colour, and what is left of relief where the lamps were not alike.
    pub colour: Patch,
}

/// Lamps nearer than this to one side each other, degrees, are not opposite: the difference of two lamps 90 degrees
/// apart still holds 0.7 of a slope, but so does their sum.
const LEAST_APART_DEG: f64 = 120.0;
/// From here on the pair is as good as opposite: cos 30 degrees of the slope is kept.
const WELL_APART_DEG: f64 = 150.0;
/// Share of the first photo's floor that must be lit in both: with less, one photo alone shows more.
const LEAST_SHARED: f64 = 0.3;
/// Exposure is balanced over this share of the floor's smaller side (one sigma): lamp fall-off is slower, passes are
/// faster.
const BALANCE: f64 = 1.0 / 8.0;
/// Most of the colour that a tone curve can leave in the difference, share: two exposures a stop apart on a phone's curve
/// differ in contrast by a quarter (from memory), half of which is left.
const MOST_TONE: f32 = 0.15;
/// Doubt of the cotangent of a lamp's elevation that was taken to be that of the other lamp, share: hand-held lamps of one
/// person differ by about a third (10 degrees for 13; common practice, no source).
const SAME_HEIGHT: f64 = 0.3;

/// Lays the second photo on the first. `None`, with a caveat that says why, where it cannot be used; a caveat beside the
/// pair where the lamps do not stand as they should.
pub fn pair(frame: &FloorFrame, patch: &Patch, photo: &Photo, second: &Second) -> (Option<Pair>, Vec<Caveat>) {
    let lamps = Lamps::of(patch, second);
    let refuse = |c: Caveat| (None, vec![c]);
    if let Some(apart) = lamps.apart_deg.filter(|a| *a < LEAST_APART_DEG) {
        let text = format!(
            "The lamp of the second photo stands {apart:.0} degrees from that of the first, seen from above; opposite is \
             180. The second photo was left out."
        );
        return refuse(caveat::OPPOSITE_LAMP.with(text));
    }
    let (onto, registered) = match register::register(frame, patch, photo, second) {
        Ok(found) => found,
        Err(why) => {
            let text =
                format!("{} does not show the same floor closely enough: {why}. It was left out.", second.photo.file);
            return refuse(caveat::OPPOSITE_NOT_REGISTERED.with(text));
        }
    };
    let Some(to_px) = second.frame.to_px.after(&onto) else {
        return refuse(caveat::OPPOSITE_NOT_REGISTERED.plain());
    };
    let here = &patch.view;
    let (w, h) = (here.luma.width, here.luma.height);
    let far = here.to_floor(w as f64 - 1.0, h as f64 - 1.0);
    let other =
        view(second.photo, &FloorFrame::from_homography(to_px.clone(), frame.scale), here.origin, far, here.step);
    let back = |p: Point| second.patch.view.to_sample(onto.forward(p));
    let theirs = &second.patch.mask;
    let (ow, oh) = (other.luma.width.min(w), other.luma.height.min(h));
    let mask = Mask::from_fn(w, h, |x, y| {
        if x >= ow || y >= oh || !patch.mask.at(x, y) {
            return false;
        }
        let q = back(here.to_floor(x as f64, y as f64));
        let (i, j) = (q.x.round(), q.y.round());
        i >= 0.0
            && j >= 0.0
            && (i as usize) < theirs.width
            && (j as usize) < theirs.height
            && theirs.at(i as usize, j as usize)
    });
    let shared_fraction = mask.count() as f64 / patch.mask.count().max(1) as f64;
    if shared_fraction < LEAST_SHARED {
        let text = format!(
            "Only {:.0} % of the floor is lit in both photos (the walls' shadows cover the rest); the second was left out.",
            100.0 * shared_fraction
        );
        return refuse(caveat::OPPOSITE_NOT_REGISTERED.with(text));
    }
    let mut caveats = vec![];
    match lamps.apart_deg {
        None => caveats.push(caveat::OPPOSITE_LAMP.with(
            "Which side the lamps of the two photos stand on could not be read from the walls' shadows; they were taken to be opposite.",
        )),
        Some(a) if a < WELL_APART_DEG => caveats.push(caveat::OPPOSITE_LAMP.with(format!(
            "The lamp of the second photo stands {a:.0} degrees from that of the first, seen from above; opposite is 180.",
        ))),
        _ => {}
    }
    let (relief, colour) = pictures(patch, &other, &mask, &lamps);
    let pair = Pair {
        file: second.photo.file.clone(),
        sha256: second.photo.sha256.clone(),
        to_px,
        registered,
        shared_fraction,
        lamps_apart_deg: lamps.apart_deg,
        relief,
        colour,
    };
    (Some(pair), caveats)
}

/// The relief picture and the colour picture.
fn pictures(patch: &Patch, other: &FloorView, mask: &Mask, lamps: &Lamps) -> (Patch, Patch) {
    let (a, b) = (&patch.view.luma, &other.luma);
    let (w, h) = (a.width, a.height);
    let (slow_a, slow_b, k) = (slow(a, mask), slow(b, mask), slow_step(mask));
    let at = |p: &Plane, x: usize, y: usize| {
        p.bilinear((x as f64 + 0.5) / k as f64 - 0.5, (y as f64 + 0.5) / k as f64 - 0.5).max(1e-6)
    };
    // Each photo over its own slow light: exposure and the lamps' fall-off are gone.
    let pair_at = |x: usize, y: usize| {
        let i = y * w + x;
        mask.data[i].then(|| (a.data[i] / at(&slow_a, x, y), b.at(x, y) / at(&slow_b, x, y)))
    };
    let mut relief = Plane::new(w, h);
    let mut colour = Plane::new(w, h);
    relief.data.par_chunks_mut(w).zip(colour.data.par_chunks_mut(w)).enumerate().for_each(|(y, (r, c))| {
        for x in 0..w {
            if let Some((u, v)) = pair_at(x, y) {
                r[x] = 1.0 + (u - v) / (u + v).max(1e-3);
                c[x] = 0.5 * (u + v);
            }
        }
    });
    let tone = |x: usize, y: usize| (at(&slow_a, x, y) / at(&slow_b, x, y)).ln();
    take_tone_off(&mut relief, &colour, mask, tone);
    let area = mask.count() as f64 * patch.view.step.powi(2);
    let used_fraction = patch.used_fraction * area / patch.area.max(1e-9);
    let with = |luma: Plane, chroma: Option<(Plane, Plane)>, light: Light| Patch {
        view: FloorView { luma, chroma, ..empty(&patch.view) },
        mask: mask.clone(),
        area,
        used_fraction,
        light,
        ..shell(patch)
    };
    (with(relief, None, lamps.difference), with(colour, patch.view.chroma.clone(), patch.light))
}

/// Takes off what a camera's tone curve leaves of colour in the difference: where one photo is brighter it shows colour
/// weaker, by a share that follows the ratio of both exposures there. That share is fitted (D = (a + b ln ratio) colour)
/// and bounded, so that relief which two unlike lamps leave in the sum hardly suffers.
fn take_tone_off(relief: &mut Plane, colour: &Plane, mask: &Mask, tone: impl Fn(usize, usize) -> f32 + Sync) {
    let w = mask.width;
    let mut m = [0.0f64; 5];
    for i in (0..mask.data.len()).step_by(7).filter(|i| mask.data[*i]) {
        let (d, c) = (f64::from(relief.data[i] - 1.0), f64::from(colour.data[i] - 1.0));
        if d.abs() > 0.3 || c.abs() > 0.6 {
            continue;
        }
        let q = f64::from(tone(i % w, i / w)) * c;
        for (m, v) in m.iter_mut().zip([c * c, c * q, q * q, c * d, q * d]) {
            *m += v;
        }
    }
    let det = m[0] * m[2] - m[1] * m[1];
    if !(det > 1e-9 * m[0] * m[2]) {
        return;
    }
    let (a, b) = (((m[2] * m[3] - m[1] * m[4]) / det) as f32, ((m[0] * m[4] - m[1] * m[3]) / det) as f32);
    relief.data.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for x in (0..w).filter(|x| mask.at(*x, y)) {
            row[x] -= (a + b * tone(x, y)).clamp(-MOST_TONE, MOST_TONE) * (colour.at(x, y) - 1.0);
        }
    });
}

/// A view's place without its samples.
fn empty(v: &FloorView) -> FloorView {
    FloorView { luma: Plane::new(0, 0), chroma: None, ..*v }
}

/// A patch without its samples.
fn shell(p: &Patch) -> Patch {
    Patch {
        view: empty(&p.view),
        mask: Mask::new(0, 0, false),
        outline: p.outline.clone(),
        outline_px: p.outline_px.clone(),
        islands: p.islands.clone(),
        how: p.how.clone(),
        ..*p
    }
}

/// Samples per sample of the slow light.
fn slow_step(mask: &Mask) -> usize {
    ((BALANCE * mask.width.min(mask.height) as f64 / 6.0) as usize).max(1)
}

/// Slow light of the used floor, reduced by `slow_step`.
fn slow(p: &Plane, mask: &Mask) -> Plane {
    let k = slow_step(mask);
    let (w, h) = (mask.width / k, mask.height / k);
    let mut means = Plane::new(w, h);
    let mut known = Mask::new(w, h, false);
    means.data.par_chunks_mut(w).zip(known.data.par_chunks_mut(w)).enumerate().for_each(|(j, (m, u))| {
        for i in 0..w {
            let (mut sum, mut n) = (0.0, 0);
            for y in j * k..((j + 1) * k).min(p.height) {
                for x in i * k..((i + 1) * k).min(p.width) {
                    if mask.at(x, y) {
                        sum += p.at(x, y);
                        n += 1;
                    }
                }
            }
            if 4 * n >= k * k {
                (m[i], u[i]) = (sum / n as f32, true);
            }
        }
    });
    masked_blur(&means, &known, 6.0)
}

/// Both lamps as vectors on the first photo's floor: length = cotangent of the elevation, pointing to the lamp.
struct Lamps {
    apart_deg: Option<f64>,
    /// The one lamp that gives the difference picture: half of the first's vector less half of the second's.
    difference: Light,
}

impl Lamps {
    fn of(patch: &Patch, second: &Second) -> Self {
        let (one, two) = (&patch.light, &second.patch.light);
        // The same way on the floor in both frames: by the pocket's own axis, else by the photos' (held alike).
        let turn = start::turn_deg(patch, second.patch);
        let from = two.from_deg.map(|d| Measured { value: wrap_360(d.value - turn), ..d });
        let apart = |a: Measured, b: Measured| {
            let d = wrap_360(a.value - b.value);
            d.min(360.0 - d)
        };
        let apart_deg = one.from_deg.zip(from).map(|(a, b)| apart(a, b));
        let cot = |l: &Light| {
            let e = l.elevation_deg.filter(|e| e.value > 0.5 && e.value < 89.0)?;
            let r = e.value.to_radians();
            Some(Measured { value: 1.0 / r.tan(), sigma: e.sigma.to_radians() / r.sin().powi(2) })
        };
        let (c1, c2) = match (cot(one), cot(two)) {
            (Some(a), Some(b)) => (Some(a), Some(b)),
            (Some(a), None) | (None, Some(a)) => {
                (Some(a), Some(Measured { value: a.value, sigma: SAME_HEIGHT * a.value }))
            }
            _ => (None, None),
        };
        let a1 = one.from_deg.or(from.map(|d| Measured { value: wrap_360(d.value + 180.0), ..d }));
        let a2 = from.or(one.from_deg.map(|d| Measured { value: wrap_360(d.value + 180.0), ..d }));
        let mut difference = Light { source: one.source.or(two.source), ..Light::default() };
        if let (Some(a1), Some(a2)) = (a1, a2) {
            let (l1, l2) = (c1.map_or(1.0, |c| c.value), c2.map_or(1.0, |c| c.value));
            let unit = |a: f64| Point::new(a.to_radians().cos(), a.to_radians().sin());
            let v = unit(a1.value) * (0.5 * l1) - unit(a2.value) * (0.5 * l2);
            let length = v.x.hypot(v.y);
            difference.from_deg = Measured::new(wrap_360(v.y.atan2(v.x).to_degrees()), 0.5 * a1.sigma.hypot(a2.sigma));
            if let (Some(c1), Some(c2)) = (c1, c2) {
                // d(elevation) = d(cot) sin^2.
                let e = (1.0 / length.max(1e-6)).atan();
                let sigma = 0.5 * c1.sigma.hypot(c2.sigma) * e.sin().powi(2);
                difference.elevation_deg = Measured::new(e.to_degrees(), sigma.to_degrees());
            }
        }
        Self { apart_deg, difference }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn patch(from: f64, elevation: f64) -> Patch {
        let view =
            FloorView { origin: Point::default(), step: 0.1, luma: Plane::new(8, 8), chroma: None, chroma_shrink: 1 };
        let light =
            Light { from_deg: Measured::new(from, 1.0), elevation_deg: Measured::new(elevation, 0.5), source: None };
        Patch { light, ..Patch::whole(view) }
    }

    fn lamps(a: &Patch, b: &Patch) -> Lamps {
        let frame = FloorFrame::from_homography(crate::geometry::Homography::identity(), None);
        let photo = Photo {
            file: String::new(),
            sha256: String::new(),
            width: 8,
            height: 8,
            rgb: image::RgbImage::new(8, 8),
            luma: Plane::new(8, 8),
            has_colour: false,
            camera: crate::photo::Camera::default(),
        };
        Lamps::of(a, &Second { photo: &photo, frame: &frame, patch: b })
    }

    #[test]
    fn the_difference_has_the_mean_cotangent_of_two_opposite_lamps() {
        let l = lamps(&patch(10.0, 10.0), &patch(190.0, 20.0));
        assert!((l.apart_deg.unwrap() - 180.0).abs() < 1e-9);
        // Half of cot 10 + cot 20 = 4.2094: 13.363 degrees.
        let e = l.difference.elevation_deg.unwrap();
        assert!((e.value - 13.363).abs() < 0.002, "{e:?}");
        assert!((l.difference.from_deg.unwrap().value - 10.0).abs() < 1e-9);
        // Two lamps at right angles: the difference is as one half-way between the first and the far side of the second.
        let l = lamps(&patch(0.0, 10.0), &patch(90.0, 10.0));
        assert!((l.apart_deg.unwrap() - 90.0).abs() < 1e-9);
        assert!((l.difference.from_deg.unwrap().value - 315.0).abs() < 1e-9);
    }
}
