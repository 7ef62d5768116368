//! A quick photographer of printed cards: the drawn card through a plain camera onto wood, lit unevenly, partly in shadow,
//! partly covered, blurred, noisy, saved as JPEG. Cheaper than a whole cut floor, so that hundreds can be made.

use super::noise::{hash, octaves, value2};
use super::print::Sheet;
use image::RgbImage;
use lowsun::card::{Card, Form};
use lowsun::geometry::{Point, contains};
use lowsun::raster::{Plane, gaussian_blur};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// What covers a part of the card.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cover {
    None,
    /// One block, by a round thing of this radius in mm.
    Block(usize, f64),
    /// All on one side of a line that leaves two thirds of the card's rectangle: direction of its normal in degrees.
    Third(f64),
}

#[derive(Clone, Debug)]
pub struct Scene {
    pub seed: u32,
    /// `None`: the wood alone, with a chart of something else where the card would lie.
    pub form: Option<Form>,
    /// The print of the kept page in place of the drawing (pocket only).
    pub from_page: bool,
    pub size: [usize; 2],
    pub f35: f64,
    /// Obliquity, where it leans to, and the turn of the card in the photo, degrees.
    pub tilt: f64,
    pub lean: f64,
    pub turn: f64,
    /// Pixels per mm at the card's middle, and where that middle lies in the photo (0 to 1).
    pub px_per_mm: f64,
    pub at: [f64; 2],
    pub k1: f64,
    /// Lamp: side it stands on (degrees in the card frame), elevation in degrees, distance in mm, share of the room's light.
    pub lamp: [f64; 3],
    pub ambient: f64,
    /// Shadow over a third of the card: direction of its border's normal in degrees, and how many times darker.
    pub shadow: Option<(f64, f64)>,
    pub cover: Cover,
    pub blur: f64,
    pub noise: f64,
    pub quality: u8,
    pub wood: [f32; 3],
    pub ring_mm: f64,
}

pub struct Shot {
    pub jpeg: Vec<u8>,
    /// Every saddle corner of the card: lattice point, photo px, and whether it can be seen.
    pub corners: Vec<((i32, i32), Point, bool)>,
}

impl Scene {
    /// A scene from the whole range: any turn, up to 35 degrees obliquely, lamp at 7 to 15 degrees, blur up to 2 px,
    /// every other with a third in shadow, two of three partly covered.
    pub fn draw(seed: u64, size: [usize; 2]) -> Self {
        let mut r = ChaCha8Rng::seed_from_u64(seed);
        let form = Form::ALL[(seed % 3) as usize];
        let card = Card::of(form);
        let long = f64::from(card.cols) * card.pitch_mm();
        let short = f64::from(card.rows) * card.pitch_mm();
        let f35 = r.random_range(24.0..30.0);
        // The whole card fits in whatever way it lies; not under 5 px per mm (codes of 2.7 px a module).
        let most = 0.92 * (size[1] as f64) / long.hypot(0.6 * short);
        let px_per_mm = r.random_range((0.4 * most).max(5.0).min(most)..most);
        let covers = [
            Cover::None,
            Cover::Block(r.random_range(0..card.blocks().len()), r.random_range(6.0..12.0)),
            Cover::Third(r.random_range(0.0..360.0)),
        ];
        Self {
            seed: seed as u32,
            form: Some(form),
            from_page: false,
            size,
            f35,
            tilt: r.random_range(0.0..35.0),
            lean: r.random_range(0.0..360.0),
            turn: r.random_range(0.0..360.0),
            px_per_mm,
            at: [r.random_range(0.42..0.58), r.random_range(0.44..0.56)],
            k1: r.random_range(-0.02..0.02),
            lamp: [r.random_range(0.0..360.0), r.random_range(7.0..15.0), r.random_range(250.0..700.0)],
            ambient: r.random_range(0.05..0.3),
            shadow: r.random_bool(0.5).then(|| (r.random_range(0.0..360.0), r.random_range(5.0..10.0))),
            cover: covers[r.random_range(0..3)],
            blur: r.random_range(0.5..2.0),
            noise: r.random_range(0.004..0.012),
            quality: 75,
            wood: [[0.45, 0.29, 0.16], [0.6, 0.45, 0.28], [0.25, 0.13, 0.07], [0.7, 0.6, 0.45]][r.random_range(0..4)],
            ring_mm: r.random_range(0.8..4.0),
        }
    }
    /// The same place without our card.
    pub fn without(mut self) -> Self {
        self.form = None;
        self
    }

    pub fn shoot(&self) -> Shot {
        let drawn = Card::of(self.form.unwrap_or(Form::ALL[self.seed as usize % 3]));
        let half = Point::new(f64::from(drawn.cols), f64::from(drawn.rows)) * (drawn.pitch_mm() / 2.0);
        let [w, h] = self.size;
        let f = (w as f64).hypot(h as f64) * self.f35 / 36f64.hypot(24.0);
        let centre = Point::new((w as f64 - 1.0) / 2.0, (h as f64 - 1.0) / 2.0);
        // Camera axes in the card's frame (x, y, down).
        let (sl, cl) = self.lean.to_radians().sin_cos();
        let (st, ct) = self.tilt.to_radians().sin_cos();
        let z = [st * cl, st * sl, ct];
        let (sr, cr) = self.turn.to_radians().sin_cos();
        let e = [cr, sr, 0.0];
        let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        let k = dot(e, z);
        let x: [f64; 3] = std::array::from_fn(|i| e[i] - k * z[i]);
        let n = dot(x, x).sqrt();
        let x = x.map(|v| v / n);
        let y = [z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0]];
        let distance = f / self.px_per_mm;
        // The ray through the wanted place of the photo hits the card's middle.
        let aim = [self.at[0] * w as f64, self.at[1] * h as f64];
        let ray = |q: Point| {
            let (xd, yd) = ((q.x - centre.x) / f, (q.y - centre.y) / f);
            let (mut a, mut b) = (xd, yd);
            for _ in 0..6 {
                let s = 1.0 + self.k1 * (a * a + b * b);
                (a, b) = (xd / s, yd / s);
            }
            [0, 1, 2].map(|i| x[i] * a + y[i] * b + z[i])
        };
        let d = ray(Point::new(aim[0], aim[1]));
        let eye = [half.x - distance * d[0], half.y - distance * d[1], -distance * d[2]];
        let ground = |q: Point| {
            let d = ray(q);
            let t = -eye[2] / d[2];
            Point::new(eye[0] + t * d[0], eye[1] + t * d[1])
        };
        let project = |p: Point| {
            let v = [p.x - eye[0], p.y - eye[1], -eye[2]];
            let (a, b, c) = (dot(x, v), dot(y, v), dot(z, v));
            let (a, b) = (a / c, b / c);
            let s = f * (1.0 + self.k1 * (a * a + b * b));
            Point::new(centre.x + s * a, centre.y + s * b)
        };
        let third = margin(half, if let Cover::Third(a) = self.cover { a } else { 0.0 });
        let lee = margin(half, self.shadow.map_or(0.0, |s| s.0));
        let covered = |p: Point| match self.cover {
            Cover::None => false,
            Cover::Block(n, r) => drawn.blocks().get(n).is_some_and(|b| {
                let m = b.corners_mm()[0].lerp(b.corners_mm()[2], 0.5);
                p.distance(m + Point::new(1.0, -0.5)) < r
            }),
            Cover::Third(_) => third(p) > 0.0,
        };
        let shade = |p: Point| match self.shadow {
            Some((_, dark)) => {
                let t = lee(p) / 1.5;
                if t.abs() > 4.0 {
                    return if t > 0.0 { 1.0 / dark } else { 1.0 };
                }
                1.0 / (1.0 + (dark - 1.0) / (1.0 + (-4.0 * t).exp()))
            }
            None => 1.0,
        };
        let page = self.from_page.then(Sheet::of_page);
        let inked = |p: Point| page.as_ref().map_or_else(|| drawn.dark(p), |s| s.at(p) < 0.5);
        let outlines = drawn.outlines_mm();
        let [from, elevation, far] = self.lamp;
        let (sf, cf) = from.to_radians().sin_cos();
        let (se, ce) = elevation.to_radians().sin_cos();
        let lamp = [half.x + far * ce * cf, half.y + far * ce * sf, far * se];
        let light = |p: Point| {
            let v = [lamp[0] - p.x, lamp[1] - p.y, lamp[2]];
            let r2 = dot(v, v);
            let direct = lamp[2] / r2.sqrt() / r2 * far * far / se;
            (direct * shade(p) + self.ambient) as f32
        };
        let seed = self.seed;
        // What lies at a place, and how its colour varies there.
        let thing = |p: Point| -> Thing {
            if covered(p) {
                Thing::Cover
            } else if outlines.iter().filter(|o| contains(o, p)).count() != 1 {
                Thing::Wood
            } else if self.form.map_or_else(|| decoy(seed, p), |_| inked(p)) {
                Thing::Ink
            } else {
                Thing::Paper
            }
        };
        let colour = |t: Thing| match t {
            Thing::Cover => [0.42, 0.2, 0.12],
            Thing::Wood => self.wood,
            Thing::Ink => [0.045; 3],
            Thing::Paper => [0.80, 0.79, 0.76],
        };
        let grain = |t: Thing, p: Point| match t {
            Thing::Cover => 0.8 + 0.3 * octaves(p.x / 5.0, p.y / 1.1, 2, seed + 3),
            Thing::Wood => {
                let ring =
                    (p.x / self.ring_mm + 2.0 * f64::from(octaves(p.x / 60.0, p.y / 90.0, 2, seed))).sin() as f32;
                1.0 + 0.16 * ring + 0.12 * octaves(p.x / 0.3, p.y / 4.0, 2, seed + 7)
            }
            Thing::Ink | Thing::Paper => 1.0 + 0.03 * value2(p.x / 0.4, p.y / 0.4, seed + 5),
        };
        // Nine places a pixel where things meet; light and grain once.
        let pixel = |i: usize, j: usize| -> [f32; 3] {
            let p = ground(Point::new(i as f64, j as f64));
            let apart = ((p.x - half.x).abs() - half.x).max((p.y - half.y).abs() - half.y);
            if apart > 3.0 {
                let here = if covered(p) { Thing::Cover } else { Thing::Wood };
                let e = light(p) * grain(here, p);
                return colour(here).map(|v| v * e);
            }
            let here = thing(p);
            let e = light(p) * grain(here, p);
            let u = ground(Point::new(i as f64 + 1.0 / 3.0, j as f64)) - p;
            let v = ground(Point::new(i as f64, j as f64 + 1.0 / 3.0)) - p;
            let at = |a: f64, b: f64| thing(p + u * a + v * b);
            let corners = [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)].map(|(a, b)| at(a, b));
            if corners.iter().all(|c| *c == here) {
                return colour(here).map(|v| v * e);
            }
            let sides = [(-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0)].map(|(a, b)| at(a, b));
            let all = corners.iter().chain(&sides).chain([&here]);
            all.fold([0.0f32; 3], |s, t| {
                let c = colour(*t);
                [0, 1, 2].map(|n| s[n] + c[n] * e / 9.0)
            })
        };
        let mut planes: Vec<Plane> = vec![Plane::new(w, h); 3];
        {
            use rayon::prelude::*;
            let rows: Vec<Vec<[f32; 3]>> =
                (0..h).into_par_iter().map(|j| (0..w).map(|i| pixel(i, j)).collect()).collect();
            for (j, row) in rows.iter().enumerate() {
                for (i, c) in row.iter().enumerate() {
                    (0..3).for_each(|n| planes[n].data[j * w + i] = c[n]);
                }
            }
        }
        let planes: Vec<Plane> = planes.iter().map(|p| gaussian_blur(p, self.blur as f32)).collect();
        // Exposure: the bright part of the paper or wood just short of white.
        let mut some: Vec<f32> = planes[1].data.iter().step_by(97).copied().collect();
        some.sort_by(f32::total_cmp);
        let white = some[some.len() * 985 / 1000].max(1e-6);
        let codes: Vec<u8> =
            (0..=4000).map(|k| (lowsun::photo::from_linear(f64::from(k) / 4000.0) * 255.0).round() as u8).collect();
        let mut picture = RgbImage::new(w as u32, h as u32);
        for (n, px) in picture.pixels_mut().enumerate() {
            let (i, j) = ((n % w) as i32, (n / w) as i32);
            for c in 0..3 {
                let v = planes[c].data[n] * 0.85 / white;
                // An even spread of the same sigma as two of half its width.
                let grain = 1.41 * hash(i, j, c as i32, seed + 11);
                let v = v + self.noise as f32 * (v.max(0.0) + 0.003).sqrt() * grain;
                px[c] = codes[(v.clamp(0.0, 1.0) * 4000.0) as usize];
            }
        }
        let mut jpeg = vec![];
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, self.quality)
            .encode_image(&picture)
            .expect("a picture of this size encodes");
        let corners = drawn.saddles().into_iter().map(|(i, j)| {
            let p = drawn.point_mm(i, j);
            let q = project(p);
            let inside = q.x > 12.0 && q.y > 12.0 && q.x < w as f64 - 13.0 && q.y < h as f64 - 13.0;
            ((i, j), q, inside && !covered(p))
        });
        let corners = if self.form.is_some() { corners.collect() } else { vec![] };
        Shot { jpeg, corners }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Thing {
    Wood,
    Cover,
    Paper,
    Ink,
}

/// How far beyond the line that cuts a third of the rectangle (0, 0) to 2 `half` off on the side of direction `a` degrees,
/// mm.
fn margin(half: Point, a: f64) -> impl Fn(Point) -> f64 {
    let (s, c) = a.to_radians().sin_cos();
    let reach = (half.x * c.abs() + half.y * s.abs()) / 3.0;
    move |p| (p.x - half.x) * c + (p.y - half.y) * s - reach
}

/// Black-and-white things that are not our card: a plain chessboard, a chart of lines, bars, a board with holes.
fn decoy(seed: u32, p: Point) -> bool {
    let cell = [4.0, 3.0, 6.0, 4.0][(seed / 4 % 4) as usize];
    let (i, j) = ((p.x / cell).floor() as i32, (p.y / cell).floor() as i32);
    match seed % 4 {
        0 => (i + j).rem_euclid(2) == 0,
        1 => p.x.rem_euclid(cell) < 0.4 || p.y.rem_euclid(cell) < 0.4,
        2 => i.rem_euclid(2) == 0,
        _ => {
            let hole = i.rem_euclid(9) < 4 && j.rem_euclid(9) < 4;
            if hole {
                hash((p.x / 0.55) as i32, (p.y / 0.55) as i32, 1, seed) > 0.0
            } else {
                (i + j).rem_euclid(2) == 0
            }
        }
    }
}
