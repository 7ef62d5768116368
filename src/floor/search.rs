//! The picture on which the outline is looked for: the rim's plane, reduced, with its edges.
//!
//! The rim is looked for, not the wall's foot: on the lamp's side the foot lies in the shadow. Walls are vertical, so that
//! an outline found on the rim's plane has the same x and y on the floor's.

use crate::geometry::Point;
use crate::photo::Photo;
use crate::raster::Mask;
use crate::raster::Plane;
use crate::raster::gaussian_blur;
use crate::raster::gradients;
use crate::rectify::FloorFrame;
use crate::rectify::FloorView;
use crate::rectify::light_view;
use crate::reference::Reference;

/// Samples along the longer side of the search picture: 0.25 to 0.4 mm each on a photo of a pocket and a card.
const ACROSS: f64 = 900.0;

/// The search picture.
pub struct Sight {
    pub view: FloorView,
    /// Natural logarithm of the light: edges then do not depend on how brightly a place is lit.
    pub log: Plane,
    /// Samples that show the photo, and neither a reference nor its close surroundings.
    pub valid: Mask,
    /// Light over that round about.
    pub ratio: Plane,
    /// Samples in deep shadow (or painted black): under 0.3 of the light round about.
    pub dark: Mask,
    /// Frame units per sample.
    pub step: f64,
}

impl Sight {
    pub fn new(photo: &Photo, frame: &FloorFrame, references: &[Reference]) -> Self {
        let rim = FloorFrame { to_px: frame.rim().clone(), ..frame.clone() };
        let (w, h) = (photo.width as f64 - 1.0, photo.height as f64 - 1.0);
        let centre = rim.to_px.backward(Point::new(w / 2.0, h / 2.0));
        let unit = 1.0 / rim.to_px.scale_at(centre);
        // A tilted photo's corners can lie far away on the plane; nothing beyond 1.2 photo sizes from the middle is kept.
        let reach = Point::new(0.6 * w, 0.6 * h) * unit * 1.2;
        let corners = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)].map(|(x, y)| rim.to_px.backward(Point::new(x, y)));
        let (a, b) = super::cut::bounds(&corners);
        let min = Point::new(a.x.max(centre.x - reach.x), a.y.max(centre.y - reach.y));
        let max = Point::new(b.x.min(centre.x + reach.x), b.y.min(centre.y + reach.y));
        let step = ((max.x - min.x).max(max.y - min.y) / ACROSS).max(unit);
        let view = light_view(photo, &rim, min, max, step);
        let log = Plane {
            width: view.luma.width,
            height: view.luma.height,
            data: view.luma.data.iter().map(|v| v.max(super::lit::BLACK).ln()).collect(),
        };
        let edge = 0.004 * w.max(h);
        let shown = Mask::from_fn(log.width, log.height, |i, j| {
            let p = view.to_floor(i as f64, j as f64);
            let q = rim.to_px.forward(p);
            rim.to_px.holds(p) && q.x > edge && q.y > edge && q.x < w - edge && q.y < h - edge
        });
        let mut valid = shown;
        for r in references.iter().filter(|r| r.outline_px.len() > 2) {
            let corners: Vec<Point> = r.outline_px.iter().map(|p| view.to_sample(rim.to_px.backward(*p))).collect();
            let covered = super::cut::filled(&corners, log.width, log.height).dilate(3);
            valid = super::lit::and_not(&valid, &covered);
        }
        // 60 samples: wider than any wall's shadow, narrower than the lamp's own falloff.
        // So smooth a picture is made from a quarter of the samples.
        let k = if view.luma.width.min(view.luma.height) < 8 { 1 } else { 4 };
        let local = gaussian_blur(&view.luma.shrink(k), 60.0 / k as f32);
        let at = |i: usize| (i as f64 + 0.5) / k as f64 - 0.5;
        let ratio = Plane::from_fn(log.width, log.height, |i, j| {
            view.luma.at(i, j) / local.bilinear(at(i), at(j)).max(super::lit::BLACK)
        });
        let dark = Mask::from_fn(log.width, log.height, |i, j| valid.at(i, j) && ratio.at(i, j) < 0.3);
        Self { log, valid, ratio, dark, step: view.step, view }
    }

    /// Area of the whole picture on the plane.
    pub fn whole(&self) -> f64 {
        self.step.powi(2) * (self.log.width * self.log.height) as f64
    }

    /// Gradient of the logarithm after smoothing by `sigma` samples, per sample; 0 where nothing valid is shown.
    pub fn edges(&self, sigma: f32) -> (Plane, Plane) {
        let (mut gx, mut gy) = gradients(&gaussian_blur(&self.log, sigma));
        for ((x, y), v) in gx.data.iter_mut().zip(&mut gy.data).zip(&self.valid.data) {
            if !v {
                (*x, *y) = (0.0, 0.0);
            }
        }
        (gx, gy)
    }
    pub fn to_sample(&self, p: Point) -> Point {
        self.view.to_sample(p)
    }
    pub fn to_plane(&self, i: f64, j: f64) -> Point {
        self.view.to_floor(i, j)
    }
    /// Light at a point of the rim's plane.
    pub fn log_at(&self, p: Point) -> f64 {
        let q = self.to_sample(p);
        f64::from(self.log.bilinear(q.x, q.y))
    }
    /// How much darker (natural logarithm) a place `samples` inwards of a border is than one as far outwards; `inward`: unit.
    pub fn drop(&self, p: Point, inward: Point, samples: f64) -> f64 {
        let off = inward * (samples * self.step);
        self.log_at(p - off) - self.log_at(p + off)
    }
    /// Light over that round about at a point of the rim's plane.
    pub fn ratio_at(&self, p: Point) -> f32 {
        let q = self.to_sample(p);
        self.ratio.bilinear(q.x, q.y)
    }
    pub fn is_dark(&self, q: Point) -> bool {
        let at = |v: f64, n: usize| v.round().clamp(0.0, n as f64 - 1.0) as usize;
        self.dark.at(at(q.x, self.dark.width), at(q.y, self.dark.height))
    }
    pub fn shows(&self, p: Point) -> bool {
        let q = self.to_sample(p);
        let (x, y) = (q.x.round(), q.y.round());
        x >= 0.0
            && y >= 0.0
            && x < self.valid.width as f64
            && y < self.valid.height as f64
            && self.valid.at(x as usize, y as usize)
    }
}
