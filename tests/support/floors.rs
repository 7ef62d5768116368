//! Pieces of made floor that go straight to the measuring room: known ridges (or none) on wood, foam or MDF, lit and
//! developed as a phone would, without card, walls and camera pose. Nothing here comes from the program that is tested
//! but the types it is handed.

use super::draw::{Size, draw};
use super::field::Field;
use super::spec::Spec;
use super::{develop, surface, wood};
use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, RgbImage};
use lowsun::floor::{Light, LightSource, Patch};
use lowsun::geometry::Point;
use lowsun::raster::{Mask, Plane};
use lowsun::rectify::FloorView;
use lowsun::units::Measured;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Shape of a ridge over one period; heights run from 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Even ramp and one step.
    Saw,
    /// Arc between sharp crests.
    Cusp,
    /// Levels that stand high and low in turn, half a period each.
    Level,
    Sine,
}

#[derive(Clone, Debug)]
pub struct Ridges {
    pub pitch: f64,
    pub normal_deg: f64,
    pub um: f64,
    pub shape: Shape,
    /// One-sigma scatter of every line about its even place, share of the pitch.
    pub jitter: f64,
    /// Line `.0` (counted from the origin) is shifted by `.1` of a pitch and steps `.2` times as high as the others.
    pub odd: Option<(i64, f64, f64)>,
    /// How far the phase strays, periods: anew in every pass (along x, 2.54 mm wide) and slowly along it.
    pub stray: f64,
}

#[derive(Clone, Debug)]
pub struct Floor {
    pub seed: u64,
    pub width: usize,
    pub height: usize,
    /// Millimetres a sample.
    pub step: f64,
    pub material: &'static str,
    pub grain_deg: f64,
    pub ring_mm: f64,
    pub figure: f64,
    pub fuzz_um: f64,
    pub from_deg: f64,
    pub elevation_deg: f64,
    /// Share of the light that is not the lamp's, over the lamp's.
    pub ambient: f64,
    pub blur: f64,
    pub noise: f64,
    pub sharpen: f64,
    pub denoise: f64,
    pub quality: u8,
    pub ridges: Vec<Ridges>,
}

pub const MATERIALS: [&str; 7] = ["mdf", "foam", "pine", "oak", "beech", "maple", "plywood"];

impl Floor {
    /// A floor without ridges, photographed by an ordinary phone: materials in turn, everything else by chance. Every
    /// second one has rings near `stepover` apart.
    pub fn plain(seed: u64, width: usize, height: usize, step: f64, stepover: f64) -> Self {
        let mut r = ChaCha8Rng::seed_from_u64(seed ^ 0x51ab);
        Self {
            seed,
            width,
            height,
            step,
            material: MATERIALS[seed as usize % MATERIALS.len()],
            // Along and across the picture as often as any other way.
            grain_deg: match r.random_range(0..4) {
                0 => 0.0,
                1 => 90.0,
                _ => r.random_range(0.0..180.0),
            },
            ring_mm: if r.random_bool(0.5) { stepover * r.random_range(0.8..1.25) } else { r.random_range(1.2..6.0) },
            figure: r.random_range(0.3..1.0),
            // The maker's roughness is a lattice of 0.2 mm: where nothing else is on the floor it shows as such.
            fuzz_um: if wood::Stock::is_wood(MATERIALS[seed as usize % MATERIALS.len()]) {
                r.random_range(0.0..12.0)
            } else {
                0.0
            },
            from_deg: r.random_range(0.0..360.0),
            elevation_deg: r.random_range(8.0..20.0),
            ambient: r.random_range(0.02..0.4),
            blur: r.random_range(0.5..1.6),
            noise: r.random_range(0.004..0.02),
            sharpen: r.random_range(0.0..0.8),
            denoise: r.random_range(0.0..0.5),
            quality: if r.random_bool(0.3) { 75 } else { r.random_range(72..95) },
            ridges: vec![],
        }
    }

    /// Height in micrometres at a place.
    fn ridge(&self, r: &Ridges, x: f64, y: f64) -> f64 {
        let (s, c) = r.normal_deg.to_radians().sin_cos();
        let pass = (y / 2.54).floor();
        let stray = if r.stray > 0.0 {
            r.stray * f64::from(super::noise::value2(x / 20.0, pass, self.seed as u32 ^ 0x5b))
        } else {
            0.0
        };
        let u = (x * c + y * s) / r.pitch + stray;
        let line = |k: i64| {
            let shift = f64::from(super::noise::normal(k as i32, 7, 7, self.seed as u32 ^ 0x77aa));
            let odd = r.odd.filter(|o| o.0 == k).map_or(0.0, |o| o.1);
            k as f64 + r.jitter * shift + odd
        };
        // The lines on either side of this place.
        let mut k = u.floor() as i64 - 1;
        while line(k + 1) <= u {
            k += 1;
        }
        let (a, b) = (line(k), line(k + 1));
        let t = ((u - a) / (b - a)).clamp(0.0, 1.0);
        let tall = r.um * r.odd.filter(|o| o.0 == k).map_or(1.0, |o| o.2);
        tall * match r.shape {
            Shape::Saw => t,
            Shape::Cusp => (2.0 * t - 1.0).powi(2),
            Shape::Level => {
                if t < 0.5 {
                    1.0
                } else {
                    0.0
                }
            }
            Shape::Sine => 0.5 - 0.5 * (std::f64::consts::TAU * t).cos(),
        }
    }

    fn spec(&self) -> Spec {
        let mut s = draw(self.seed, Some("clean"), Size::Small);
        s.material = self.material;
        s.grain = self.grain_deg;
        s.ring_mm = self.ring_mm;
        s.figure = self.figure;
        s.fuzz_um = self.fuzz_um;
        s.torn_um = 0.0;
        s.camera.px = [self.width, self.height];
        s.camera.blur = self.blur;
        s.camera.noise = self.noise;
        s.camera.sharpen = self.sharpen;
        s.camera.denoise = self.denoise;
        s
    }

    /// The developed picture, as its JPEG gives it back.
    pub fn photo(&self) -> RgbImage {
        let s = self.spec();
        let stock = wood::Stock::new(&s);
        let (w, h, g) = (self.width, self.height, self.step);
        let mut z = Field::new(0.0, 0.0, (w - 1) as f64 * g, (h - 1) as f64 * g, g, 0.0);
        (z.w, z.h) = (w, h);
        z.v.resize(w * h, 0.0);
        z.fill(|x, y| (self.ridges.iter().map(|r| self.ridge(r, x, y)).sum::<f64>() / 1e3) as f32);
        // Real edges are rounded over about 0.05 mm (common practice, no source).
        z.blur(0.05 / g);
        surface::roughen(&s, &mut z);
        let (ly, lx) = self.from_deg.to_radians().sin_cos();
        let cot = 1.0 / self.elevation_deg.to_radians().tan();
        let middle = (w as f64 * g / 2.0, h as f64 * g / 2.0);
        let shade = |x: usize, y: usize| {
            let at = |i: usize, j: usize| f64::from(z.v[j.min(h - 1) * w + i.min(w - 1)]);
            let dx = (at(x + 1, y) - at(x.saturating_sub(1), y)) / (2.0 * g);
            let dy = (at(x, y + 1) - at(x, y.saturating_sub(1))) / (2.0 * g);
            let (px, py) = (x as f64 * g - middle.0, y as f64 * g - middle.1);
            // Lamp 400 mm away: brighter near it.
            let fall = 1.0 + (px * lx + py * ly) / 250.0;
            (fall * (1.0 - (dx * lx + dy * ly) * cot).max(0.0) + self.ambient).max(0.0)
        };
        let mut planes = vec![vec![0.0f32; w * h]; 3];
        for y in 0..h {
            for x in 0..w {
                let c = stock.colour(x as f64 * g, y as f64 * g, -s.depth);
                let k = shade(x, y) as f32;
                for (p, c) in planes.iter_mut().zip(c) {
                    p[y * w + x] = c * k;
                }
            }
        }
        let bright: f64 = (0..w * h)
            .step_by(97)
            .map(|i| f64::from(0.2126 * planes[0][i] + 0.7152 * planes[1][i] + 0.0722 * planes[2][i]))
            .sum::<f64>()
            / (w * h).div_ceil(97) as f64;
        let mut img = develop::develop(&s, planes, bright);
        halve_colour(&mut img);
        let mut bytes = vec![];
        JpegEncoder::new_with_quality(&mut bytes, self.quality)
            .encode_image(&img)
            .expect("a picture in memory encodes");
        image::load_from_memory(&bytes).expect("our own JPEG decodes").to_rgb8()
    }

    /// The floor as the measuring room takes it.
    pub fn patch(&self) -> Patch {
        let mut p = patch_of(&self.photo(), self.step);
        p.light = Light {
            from_deg: Measured::new(self.from_deg, 1.0),
            elevation_deg: Measured::new(self.elevation_deg, 0.3),
            source: Some(LightSource::Given),
        };
        p.blur_px = Some(self.blur);
        p.shadow_contrast = Some((1.0 + self.ambient) / self.ambient.max(1e-3));
        p
    }
}

/// Chroma at half resolution, as phones store it (4:2:0).
fn halve_colour(img: &mut RgbImage) {
    let (w, h) = img.dimensions();
    for y in (0..h).step_by(2) {
        for x in (0..w).step_by(2) {
            let places: Vec<(u32, u32)> = [(0, 0), (1, 0), (0, 1), (1, 1)]
                .into_iter()
                .map(|(i, j)| (x + i, y + j))
                .filter(|p| p.0 < w && p.1 < h)
                .collect();
            let grey = |p: &Rgb<u8>| 0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2]);
            let n = places.len() as f32;
            let mut off = [0.0f32; 3];
            for (i, j) in &places {
                let p = img.get_pixel(*i, *j);
                let l = grey(p);
                for k in 0..3 {
                    off[k] += (f32::from(p[k]) - l) / n;
                }
            }
            for (i, j) in places {
                let l = grey(img.get_pixel(i, j));
                img.put_pixel(i, j, Rgb(std::array::from_fn(|k| (l + off[k]).round().clamp(0.0, 255.0) as u8)));
            }
        }
    }
}

/// A whole picture as a lit floor of `step` millimetres a pixel.
pub fn patch_of(img: &RgbImage, step: f64) -> Patch {
    let (w, h) = (img.width() as usize, img.height() as usize);
    let table: Vec<f32> = (0..256)
        .map(|v| {
            let e = v as f32 / 255.0;
            if e <= 0.04045 { e / 12.92 } else { ((e + 0.055) / 1.055).powf(2.4) }
        })
        .collect();
    let light = |x: usize, y: usize, k: usize| table[img.get_pixel(x as u32, y as u32)[k] as usize];
    let luma = Plane::from_fn(w, h, |x, y| 0.2126 * light(x, y, 0) + 0.7152 * light(x, y, 1) + 0.0722 * light(x, y, 2));
    let ratio = |k: usize| {
        Plane::from_fn(w / 2, h / 2, |x, y| {
            let sum = |k: usize| (0..4).map(|i| light(2 * x + i % 2, 2 * y + i / 2, k)).sum::<f32>() + 0.004;
            sum(k) / sum(1)
        })
    };
    let (wide, high) = (w as f64 * step, h as f64 * step);
    let view =
        FloorView { origin: Point::new(0.0, 0.0), step, luma, chroma: Some((ratio(0), ratio(2))), chroma_shrink: 2 };
    Patch {
        outline: [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)].map(|(x, y)| Point::new(x, y)).to_vec(),
        outline_px: [(0, 0), (w, 0), (w, h), (0, h)].map(|(x, y)| Point::new(x as f64, y as f64)).to_vec(),
        blur_px: Some(1.0),
        ..Patch::whole(view)
    }
}
