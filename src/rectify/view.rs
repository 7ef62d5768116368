//! Resampling of a piece of the floor plane.

use super::{FloorFrame, FloorView};
use crate::geometry::{PlaneMap, Point};
use crate::photo::Photo;
use crate::raster::Plane;
use rayon::prelude::*;

/// Most samples a view may have on one side; a finer step is enlarged to it. 32768 = twice the long side of a 200 MP
/// photo: more could only repeat pixels.
const MAX_SIDE: f64 = 32_768.0;
/// Most samples a view may have in all: a 200 MP photo once more. Above it memory would pass 2 GB.
const MAX_SAMPLES: f64 = 2e8;

/// Added to linear R, G and B before their ratios are taken: sRGB code value 6, below which the ratio of two codes is
/// noise. Larger values pull dark colours towards grey, smaller ones let black pixels flicker.
const RATIO_FLOOR: f32 = 0.002;

/// Resamples the floor rectangle from `min` to `max` (floor frame) with the given step (floor-frame units per sample).
///
/// Each sample of `luma` is the mean over its own footprint where that is larger than a photo pixel (nothing aliases), and
/// bilinear where it is smaller. Chroma planes have samples of at least two photo pixels, since cameras store colour at
/// half resolution. Outside the photo the border pixel is held. Cannot fail: an empty rectangle gives one sample, and a
/// step that is not positive, or would give more than 32768 samples a side or 200 million, is enlarged to the smallest that fits.
pub fn view(photo: &Photo, frame: &FloorFrame, min: Point, max: Point, step: f64) -> FloorView {
    sampled(photo, frame, min, max, step, photo.has_colour)
}

/// As [`view`], without the chroma planes.
pub fn light_view(photo: &Photo, frame: &FloorFrame, min: Point, max: Point, step: f64) -> FloorView {
    sampled(photo, frame, min, max, step, false)
}

fn sampled(photo: &Photo, frame: &FloorFrame, min: Point, max: Point, step: f64, colour: bool) -> FloorView {
    let (dx, dy) = ((max.x - min.x).max(0.0), (max.y - min.y).max(0.0));
    let least = (dx.max(dy) / MAX_SIDE).max((dx * dy / MAX_SAMPLES).sqrt()).max(1e-9);
    let step = if step >= least { step } else { least };
    let (w, h) = ((dx / step).ceil() as usize + 1, (dy / step).ceil() as usize + 1);
    // Photo pixels per sample, where the camera is nearest.
    let corners = [min, Point::new(max.x, min.y), max, Point::new(min.x, max.y)];
    let px = corners.iter().map(|c| frame.to_px.scale_at(*c)).filter(|s| s.is_finite()).fold(0.0, f64::max) * step;
    let rows = |k: usize, half: f64| Rows { map: &frame.to_px, min, step: step * k as f64, half };
    let luma = sample_luma(&photo.luma, &rows(1, 0.0), w, h, px);
    let shrink = if px >= 2.0 { 1 } else { 2 };
    let chroma = colour.then(|| {
        let at = rows(shrink, (shrink as f64 - 1.0) / 2.0 * step);
        sample_chroma(photo, &at, (w / shrink).max(1), (h / shrink).max(1), px * shrink as f64)
    });
    FloorView { origin: min, step, luma, chroma, chroma_shrink: shrink }
}

/// Where samples lie in the photo.
struct Rows<'a> {
    map: &'a PlaneMap,
    min: Point,
    step: f64,
    /// Shift of sample (0, 0) from `min` on both axes.
    half: f64,
}

impl Rows<'_> {
    /// Photo position of fractional sample (i, j).
    #[inline]
    fn at(&self, i: f64, j: f64) -> Point {
        self.map.forward(self.min + Point::new(self.half + i * self.step, self.half + j * self.step))
    }
}

fn sample_luma(luma: &Plane, rows: &Rows, w: usize, h: usize, px: f64) -> Plane {
    // Whole-pixel means first, then what is left of the footprint by a few bilinear taps.
    let k = (px + 1e-6).floor().clamp(1.0, 64.0) as usize;
    let reduced = (k > 1).then(|| luma.shrink(k)).filter(|p| p.width > 1 && p.height > 1);
    let (plane, k) = reduced.as_ref().map_or((luma, 1.0), |p| (p, k as f64));
    let taps = ((px / k) - 0.1).ceil().max(1.0);
    let offsets: Vec<f64> = (0..taps as usize).map(|t| (t as f64 + 0.5) / taps - 0.5).collect();
    let norm = 1.0 / (taps * taps) as f32;
    Plane::from_fn(w, h, |x, y| {
        let mut s = 0.0;
        for dy in &offsets {
            for dx in &offsets {
                let q = rows.at(x as f64 + dx, y as f64 + dy);
                s += plane.bilinear((q.x + 0.5) / k - 0.5, (q.y + 0.5) / k - 0.5);
            }
        }
        s * norm
    })
}

/// Red / green and blue / green; `px` is photo pixels per chroma sample.
fn sample_chroma(photo: &Photo, rows: &Rows, w: usize, h: usize, px: f64) -> (Plane, Plane) {
    let linear: Vec<f32> = (0..=255).map(srgb_to_linear).collect();
    let (pw, ph) = (photo.rgb.width() as usize, photo.rgb.height() as usize);
    let raw = photo.rgb.as_raw();
    // Nearest-pixel taps, one a pixel or a little less (2 for up to 2.5 px, since the camera's own chroma is that coarse),
    // eight a side at most: 64 taps bring the aliased part of the noise under 1/8.
    let taps = (0.8 * px).ceil().clamp(2.0, 8.0);
    let offsets: Vec<f64> = (0..taps as usize).map(|t| (t as f64 + 0.5) / taps - 0.5).collect();
    let (mut rg, mut bg) = (Plane::new(w, h), Plane::new(w, h));
    if w == 0 || h == 0 || pw == 0 || ph == 0 {
        return (rg, bg);
    }
    rg.data.par_chunks_mut(w).zip(bg.data.par_chunks_mut(w)).enumerate().for_each(|(y, (rg, bg))| {
        for x in 0..w {
            let mut s = [0.0f32; 3];
            for dy in &offsets {
                for dx in &offsets {
                    let q = rows.at(x as f64 + dx, y as f64 + dy);
                    let u = ((q.x + 0.5) as isize).clamp(0, pw as isize - 1) as usize;
                    let v = ((q.y + 0.5) as isize).clamp(0, ph as isize - 1) as usize;
                    let p = &raw[3 * (v * pw + u)..][..3];
                    for c in 0..3 {
                        s[c] += linear[p[c] as usize];
                    }
                }
            }
            let floor = RATIO_FLOOR * (taps * taps) as f32;
            let g = s[1] + floor;
            rg[x] = (s[0] + floor) / g;
            bg[x] = (s[2] + floor) / g;
        }
    });
    (rg, bg)
}

/// sRGB code value to linear light, IEC 61966-2-1.
fn srgb_to_linear(code: u32) -> f32 {
    let c = f64::from(code) / 255.0;
    (if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }) as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Homography;
    use nalgebra::Matrix3;

    fn photo(w: usize, h: usize, f: impl Fn(f64, f64) -> f64 + Sync) -> Photo {
        let luma = Plane::from_fn(w, h, |x, y| f(x as f64, y as f64) as f32);
        let rgb =
            image::RgbImage::from_fn(w as u32, h as u32, |x, _| image::Rgb([200, if x < 60 { 100 } else { 200 }, 50]));
        Photo {
            file: String::new(),
            sha256: String::new(),
            width: w,
            height: h,
            rgb,
            luma,
            has_colour: true,
            camera: Default::default(),
        }
    }
    /// Frame turned by 30 degrees, 4 px per mm.
    fn turned() -> FloorFrame {
        let (s, c) = (2.0, 2.0 * 3f64.sqrt());
        let m = Matrix3::new(c, -s, 60.0, s, c, 40.0, 0.0, 0.0, 1.0);
        FloorFrame::from_homography(Homography::from_matrix(m).unwrap(), None)
    }
    #[test]
    fn samples_lie_where_the_view_says_at_every_step() {
        let photo = photo(160, 120, |x, y| 3.0 * x + 7.0 * y);
        let frame = turned();
        for step in [0.1, 0.25, 0.4, 0.6, 1.3] {
            let v = view(&photo, &frame, Point::new(-5.0, -5.0), Point::new(6.0, 5.0), step);
            for (i, j) in [(0, 0), (v.luma.width - 1, v.luma.height - 1), (v.luma.width / 2, 3)] {
                let px = frame.to_px.forward(v.to_floor(i as f64, j as f64));
                let e = f64::from(v.luma.at(i, j)) - (3.0 * px.x + 7.0 * px.y);
                assert!(e.abs() < 0.02, "step {step}: {e}");
            }
        }
    }
    #[test]
    fn coarse_steps_average_and_do_not_alias() {
        // Stripes of 4 px period seen at 7.2 px a sample: taken as points they would come back at full contrast.
        let photo = photo(400, 400, |x, _| (x * std::f64::consts::FRAC_PI_2).sin());
        let mut frame = turned();
        let m = Matrix3::new(4.0, 0.0, 100.0, 0.0, 4.0, 100.0, 0.0, 0.0, 1.0);
        frame.to_px = Homography::from_matrix(m).unwrap().into();
        let v = view(&photo, &frame, Point::new(0.0, 0.0), Point::new(50.0, 50.0), 1.8);
        assert!(
            v.luma.data.iter().all(|x| x.abs() < 0.25),
            "{:?}",
            v.luma.data.iter().fold(0f32, |a, b| a.max(b.abs()))
        );
    }
    #[test]
    fn chroma_is_a_ratio_of_linear_light_at_the_stated_places() {
        let v = view(&photo(160, 120, |_, _| 0.5), &turned(), Point::new(-6.0, -4.0), Point::new(6.0, 4.0), 0.25);
        let (rg, bg) = v.chroma.as_ref().unwrap();
        let k = v.chroma_shrink as f64;
        // sRGB 200, 100, 50 are 0.5776, 0.1274, 0.0319 in linear light (IEC 61966-2-1).
        for j in 0..rg.height {
            for i in 0..rg.width {
                let p = v.to_floor((i as f64 + 0.5) * k - 0.5, (j as f64 + 0.5) * k - 0.5);
                let x = turned().to_px.forward(p).x;
                if (x - 59.5).abs() > 3.0 {
                    let want = if x < 59.5 { 0.5796 / 0.1294 } else { 1.0 };
                    assert!((rg.at(i, j) - want as f32).abs() < 0.02 * want as f32, "x {x}: {}", rg.at(i, j));
                }
            }
        }
        assert!((bg.at(rg.width - 1, 0) - 0.0339 / 0.5796).abs() < 2e-3);
    }
    #[test]
    fn impossible_steps_are_enlarged() {
        let v = view(&photo(20, 20, |_, _| 1.0), &turned(), Point::new(0.0, 0.0), Point::new(1.0, 1e-9), f64::NAN);
        assert!(v.step > 0.0 && v.luma.width <= 32_769);
        assert_eq!(
            view(&photo(20, 20, |_, _| 1.0), &turned(), Point::new(1.0, 1.0), Point::new(0.0, 0.0), 0.5)
                .luma
                .data
                .len(),
            1
        );
    }
}
