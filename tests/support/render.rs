//! From the cut floor to linear light on the sensor: what each pixel sees, and how the lamp falls on it.

use super::camera::View;
use super::cut::SOLID;
use super::field::{Field, P};
use super::light::{Shade, lambert, lamp_at, shine, sweep};
use super::outline::Walls;
use super::props::Prism;
use super::spec::Spec;
use super::wood::{Rgb, Stock};
use rayon::prelude::*;

/// Colours over a plane.
struct Map {
    w: usize,
    h: usize,
    x0: f64,
    y0: f64,
    g: f64,
    v: Vec<Rgb>,
}

impl Map {
    fn at(&self, x: f64, y: f64) -> Rgb {
        let u = ((x - self.x0) / self.g).clamp(0.0, (self.w - 1) as f64 - 1e-6);
        let v = ((y - self.y0) / self.g).clamp(0.0, (self.h - 1) as f64 - 1e-6);
        let (i, j) = (u as usize, v as usize);
        let (a, b) = ((u - i as f64) as f32, (v - j as f64) as f32);
        let k = j * self.w + i;
        let (p, q, r, s) = (self.v[k], self.v[k + 1], self.v[k + self.w], self.v[k + self.w + 1]);
        std::array::from_fn(|c| (p[c] * (1.0 - a) + q[c] * a) * (1.0 - b) + (r[c] * (1.0 - a) + s[c] * a) * b)
    }
}

/// Light on the floor's own cells.
pub struct Lit {
    /// Absolute heights: floor, stock and things on the floor.
    pub h: Field,
    pub shade: Shade,
    pub e: Field,
}

/// Heights and light of a floor given in mm over nominal (`SOLID` where stock stands).
pub fn light_floor(s: &Spec, z: &Field, burr: Option<&Field>, props: &[Prism], outer: Option<(&Field, &Shade)>) -> Lit {
    let mut h = z.clone();
    for (k, v) in h.v.iter_mut().enumerate() {
        *v = if *v >= SOLID { burr.map_or(0.0, |b| b.v[k]) } else { *v - s.depth as f32 };
    }
    let top = (-s.depth * 0.5) as f32;
    raise(&mut h, props, top);
    let shade = sweep(&h, lamp_at(s), outer);
    let e = shine(s, &h, &shade, top);
    Lit { h, shade, e }
}

/// Lifts a height field where prisms stand on it.
fn raise(h: &mut Field, props: &[Prism], _top: f32) {
    for p in props {
        let (c, r) = (p.centre(), p.reach());
        let span = |o: f64, v: f64, n: usize| {
            let k = |q: f64| (((q - o) / h.g).max(0.0) as usize).min(n);
            (k(v - r), k(v + r + 2.0 * h.g))
        };
        let ((i0, i1), (j0, j1)) = (span(h.x0, c[0], h.w), span(h.y0, c[1], h.h));
        for j in j0..j1 {
            for i in i0..i1 {
                let q = &mut h.v[j * h.w + i];
                if (*q as f64) < p.z1 && p.covers([h.x0 + i as f64 * h.g, h.y0 + j as f64 * h.g]) {
                    *q = p.z1 as f32;
                }
            }
        }
    }
}

pub struct Scene<'a> {
    pub s: &'a Spec,
    pub walls: &'a Walls,
    pub view: &'a View,
    pub stock: &'a Stock,
    /// Cut and roughened floor.
    pub z: &'a Field,
    pub burr: &'a Field,
    pub burn: Option<&'a Field>,
    pub props: &'a [Prism],
}

/// Three planes of linear light, upright photo.
pub fn render(q: &Scene, pixel: f64) -> (Vec<Vec<f32>>, Lit) {
    let (s, view) = (q.s, q.view);
    let [w, h] = view.size;
    // The part of the stock that the photo takes in.
    let edge: Vec<P> = (0..=8)
        .flat_map(|k| {
            let t = f64::from(k) / 8.0;
            let (x, y) = (t * w as f64, t * h as f64);
            [[x, 0.0], [x, h as f64], [0.0, y], [w as f64, y]]
        })
        .map(|p| view.ground(p, 0.0))
        .collect();
    let lim = |k: usize, lo: bool| {
        let v = edge.iter().map(|p| p[k]);
        let c = s.centre()[k];
        if lo {
            v.fold(f64::MAX, f64::min).max(c - 420.0).min(-1.0)
        } else {
            v.fold(f64::MIN, f64::max).min(c + 420.0).max(s.size[k] + 1.0)
        }
    };
    let g = (1.15 * pixel).clamp(0.08, 0.3);
    let mut coarse =
        Field::new(lim(0, true) - 1.0, lim(1, true) - 1.0, lim(0, false) + 1.0, lim(1, false) + 1.0, g, 0.0);
    {
        let z = q.z;
        let depth = s.depth as f32;
        coarse.fill(|x, y| if z.inside(x, y) && z.near(x, y) < SOLID { -depth } else { 0.0 });
    }
    raise(&mut coarse, q.props, 0.0);
    let lamp = lamp_at(s);
    let shade = sweep(&coarse, lamp, None);
    let light = shine(s, &coarse, &shade, -1e9);
    let rim = colours(&light, 1, |x, y| q.stock.colour(x, y, 0.0));
    let lit = light_floor(s, q.z, Some(q.burr), q.props, Some((&coarse, &shade)));
    let cells = ((pixel * 0.45 / s.g).round() as usize).max(1);
    let floor = colours(&lit.e, cells, |x, y| {
        let c = q.stock.colour(x, y, -s.depth);
        let b = q.burn.map_or(0.0, |f| f.near(x, y));
        [c[0] * (1.0 - 0.75 * b), c[1] * (1.0 - 0.85 * b), c[2] * (1.0 - 0.88 * b)]
    });
    let buckets = Buckets::new(q.props, &coarse);
    let rays = Rays::new(view);
    let look = |px: P| -> Rgb {
        let d = rays.at(px);
        let at = |z: f64| view.meet(d, z);
        let ground = at(0.0);
        let mut best: Option<(f64, usize, bool)> = None;
        for &k in buckets.near(ground) {
            let p = &q.props[k as usize];
            if p.z0 < -0.01 && q.z.near(ground[0], ground[1]) >= SOLID {
                continue;
            }
            let n = if p.z1 - p.z0 > 3.0 { 24 } else { 6 };
            for i in 0..=n {
                let z = p.z1 + (p.z0 - p.z1) * f64::from(i) / f64::from(n);
                if p.covers(at(z)) {
                    if best.is_none_or(|b| z > b.0) {
                        best = Some((z, k as usize, i == 0));
                    }
                    break;
                }
            }
        }
        if let Some((z, k, top)) = best {
            let (p, at) = (&q.props[k], at(z));
            let e = if p.z0 < -0.01 { lit.e.at(at[0], at[1]) } else { light.at(at[0], at[1]) };
            if top {
                return p.face(at).map(|c| c * e);
            }
            let c = p.centre();
            let n = [at[0] - c[0], at[1] - c[1]];
            let m = n[0].hypot(n[1]).max(1e-9);
            let e = lambert(s, lamp, [at[0], at[1], z], [n[0] / m, n[1] / m, 0.0]) + s.light.ambient * 0.8;
            return p.side().map(|c| c * e as f32);
        }
        if !q.z.inside(ground[0], ground[1]) || q.z.near(ground[0], ground[1]) >= SOLID {
            let mut c = rim.at(ground[0], ground[1]);
            if q.z.inside(ground[0], ground[1]) && q.burr.near(ground[0], ground[1]) > 0.0 {
                let k = if ((ground[0] * 7.0).sin() + (ground[1] * 9.0).cos()) > 0.0 { 1.35 } else { 0.6 };
                c = c.map(|v| v * k);
            }
            return c;
        }
        let mut low = at(-s.depth);
        let n = (((low[0] - ground[0]).hypot(low[1] - ground[1]) / 0.08).ceil() as usize).max(1);
        for i in 1..=n {
            let t = i as f64 / n as f64;
            let p = [ground[0] + (low[0] - ground[0]) * t, ground[1] + (low[1] - ground[1]) * t];
            if q.z.near(p[0], p[1]) >= SOLID {
                return wall(q, &lit, lamp, p, -s.depth * t);
            }
        }
        let dz = q.z.near(low[0], low[1]);
        if dz < SOLID {
            let p = at(f64::from(dz) - s.depth);
            if q.z.near(p[0], p[1]) < SOLID {
                low = p;
            }
        }
        floor.at(low[0], low[1])
    };
    let mut px = vec![[0.0f32; 3]; w * h];
    px.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        for (i, c) in row.iter_mut().enumerate() {
            // Bare stock is as coarse as the map of it: one look will do.
            let middle = view.meet(rays.at([i as f64, j as f64]), 0.0);
            if !q.z.inside(middle[0], middle[1]) && buckets.near(middle).is_empty() {
                *c = rim.at(middle[0], middle[1]);
                continue;
            }
            for (a, b) in [(-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)] {
                let l = look([i as f64 + a, j as f64 + b]);
                (0..3).for_each(|k| c[k] += 0.25 * l[k]);
            }
        }
    });
    ((0..3).map(|k| px.iter().map(|c| c[k]).collect()).collect(), lit)
}

/// Viewing directions every 16 pixels; between them straight lines are good to a thousandth of a pixel.
struct Rays {
    w: usize,
    v: Vec<[f64; 3]>,
}

impl Rays {
    const STEP: f64 = 16.0;
    fn new(view: &View) -> Self {
        let n = |s: usize| (s as f64 / Self::STEP) as usize + 3;
        let (w, h) = (n(view.size[0]), n(view.size[1]));
        let at = |k: usize| view.ray([((k % w) as f64 - 1.0) * Self::STEP, ((k / w) as f64 - 1.0) * Self::STEP]);
        Self { w, v: (0..w * h).map(at).collect() }
    }
    fn at(&self, px: P) -> [f64; 3] {
        let (u, v) = (px[0] / Self::STEP + 1.0, px[1] / Self::STEP + 1.0);
        let k = v as usize * self.w + u as usize;
        let (a, b) = (u.fract(), v.fract());
        let (p, q, r, s) = (&self.v[k], &self.v[k + 1], &self.v[k + self.w], &self.v[k + self.w + 1]);
        std::array::from_fn(|i| (p[i] * (1.0 - a) + q[i] * a) * (1.0 - b) + (r[i] * (1.0 - a) + s[i] * a) * b)
    }
}

/// A pocket wall: steep, so bright where the lamp reaches it.
fn wall(q: &Scene, lit: &Lit, lamp: [f64; 3], p: P, z: f64) -> Rgb {
    let s = q.s;
    let away = q.walls.away(p);
    let foot = [p[0] + 0.12 * away[0], p[1] + 0.12 * away[1]];
    let hidden = lit.shade.top.near(foot[0], foot[1]);
    let see = ((z as f32 - hidden) / (0.02 + lit.shade.far.near(foot[0], foot[1]) * super::light::spread(s)) + 0.5)
        .clamp(0.0, 1.0);
    let e = f64::from(see) * lambert(s, lamp, [p[0], p[1], z], [away[0], away[1], 0.0]) + s.light.ambient * 0.7;
    q.stock.colour(p[0], p[1], z).map(|c| c * e as f32)
}

fn colours(e: &Field, cells: usize, f: impl Fn(f64, f64) -> Rgb + Sync) -> Map {
    let (w, h) = (e.w / cells, e.h / cells);
    let g = e.g * cells as f64;
    let off = (cells - 1) as f64 / 2.0 * e.g;
    let mut m = Map { w, h, x0: e.x0 + off, y0: e.y0 + off, g, v: vec![[0.0; 3]; w * h] };
    let (x0, y0) = (m.x0, m.y0);
    m.v.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        for (i, c) in row.iter_mut().enumerate() {
            let mut sum = 0.0;
            for b in 0..cells {
                let k = (j * cells + b) * e.w + i * cells;
                sum += e.v[k..k + cells].iter().sum::<f32>();
            }
            let light = sum / (cells * cells) as f32;
            *c = f(x0 + i as f64 * g, y0 + j as f64 * g).map(|v| v * light);
        }
    });
    m
}

/// Which things a ray through a place of the rim plane could meet.
struct Buckets {
    x0: f64,
    y0: f64,
    w: usize,
    h: usize,
    lists: Vec<Vec<u16>>,
}

const BUCKET: f64 = 4.0;

impl Buckets {
    fn new(props: &[Prism], over: &Field) -> Self {
        let (w, h) = ((over.w as f64 * over.g / BUCKET) as usize + 1, (over.h as f64 * over.g / BUCKET) as usize + 1);
        let mut b = Self { x0: over.x0, y0: over.y0, w, h, lists: vec![vec![]; w * h] };
        for (k, p) in props.iter().enumerate() {
            // Rays run at up to about 60 degrees from the vertical.
            let r = p.reach() + 1.8 * p.z1.abs().max(p.z0.abs()) + 0.75 * BUCKET;
            let c = p.centre();
            for j in 0..h {
                for i in 0..w {
                    let (x, y) = (b.x0 + (i as f64 + 0.5) * BUCKET, b.y0 + (j as f64 + 0.5) * BUCKET);
                    if (x - c[0]).hypot(y - c[1]) < r {
                        b.lists[j * w + i].push(k as u16);
                    }
                }
            }
        }
        b
    }
    fn near(&self, p: P) -> &[u16] {
        let i = (((p[0] - self.x0) / BUCKET).max(0.0) as usize).min(self.w - 1);
        let j = (((p[1] - self.y0) / BUCKET).max(0.0) as usize).min(self.h - 1);
        &self.lists[j * self.w + i]
    }
}
