//! The floor by brute force: the cutter's bottom is stamped along every path and the lowest stays.

use super::field::{Field, P, median};
use super::noise;
use super::outline::Walls;
use super::paths::{Path, loops, paths};
use super::spec::{Bottom, Pattern, Ripple, Spec};
use rayon::prelude::*;
use std::collections::HashMap;

/// One placed cutter: centre, level over nominal (mm), which bottom.
struct Stamp {
    at: P,
    level: f32,
    bottom: usize,
    first: bool,
}

pub struct Cut {
    /// Height over the nominal floor in mm where the pocket is, `SOLID` where stock stands.
    pub z: Field,
    /// The same with nothing but the passes that ran at full width.
    pub first: Field,
    /// (median engagement of the leading half circle, median level in um) of each path.
    pub levels: Vec<(f64, f64)>,
    /// Where the cutter turned sharply.
    pub turns: Vec<P>,
    /// How burnt the floor is, 0..1.
    pub burn: Option<Field>,
}

/// Marks cells that no pass covered.
pub const SOLID: f32 = 100.0;

/// The bottom of a cutter on cells of `g`, for eight by eight places of its centre within a cell.
struct Shape {
    rows: Vec<Vec<(i32, i32, Vec<f32>)>>,
}

impl Shape {
    fn new(d: f64, bottom: Bottom, slope: P, g: f64) -> Self {
        let r = d / 2.0;
        let n = (r / g).ceil() as i32 + 1;
        let rows = (0..64)
            .map(|k| {
                let (ox, oy) = (f64::from(k % 8) / 8.0 * g, f64::from(k / 8) / 8.0 * g);
                let mut rows = vec![];
                for j in -n..=n {
                    let y = f64::from(j) * g - oy;
                    let c = r * r - y * y;
                    if c <= 0.0 {
                        continue;
                    }
                    let c = c.sqrt();
                    let (i0, i1) = (((ox - c) / g).ceil() as i32, ((ox + c) / g).floor() as i32);
                    let z: Vec<f32> = (i0..=i1)
                        .map(|i| {
                            let x = f64::from(i) * g - ox;
                            let rho = x.hypot(y);
                            let b = match bottom {
                                Bottom::Flat => 0.0,
                                Bottom::Ball => r - (r * r - rho * rho).max(0.0).sqrt(),
                                Bottom::Bull(rc) => {
                                    let e = (rho - (r - rc)).max(0.0);
                                    rc - (rc * rc - e * e).max(0.0).sqrt()
                                }
                            };
                            (b + slope[0] * x + slope[1] * y) as f32
                        })
                        .collect();
                    if !z.is_empty() {
                        rows.push((j, i0, z));
                    }
                }
                rows
            })
            .collect();
        Self { rows }
    }
}

/// Share of the leading half circle that is still stock, and left minus right of it.
fn engagement(done: &Field, at: P, dir: P, r: f64) -> (f64, f64) {
    let (mut all, mut side) = (0.0, 0.0);
    let n = 72;
    for i in 0..n {
        let a = (f64::from(i) + 0.5) / f64::from(n) * std::f64::consts::PI - std::f64::consts::FRAC_PI_2;
        let (s, c) = a.sin_cos();
        let p = [at[0] + 1.02 * r * (dir[0] * c - dir[1] * s), at[1] + 1.02 * r * (dir[1] * c + dir[0] * s)];
        if done.near(p[0], p[1]) < 0.5 {
            all += 1.0;
            side += s.signum();
        }
    }
    (all / f64::from(n), side / f64::from(n))
}

fn mark(done: &mut Field, at: P, r: f64) {
    let k = |v: f64, o: f64, n: usize| (((v - o) / done.g).round().max(0.0) as usize).min(n - 1);
    let (j0, j1) = (k(at[1] - r, done.y0, done.h), k(at[1] + r, done.y0, done.h));
    for j in j0..=j1 {
        let dy = done.y(j) - at[1];
        let c = r * r - dy * dy;
        if c > 0.0 {
            let c = c.sqrt();
            let (i0, i1) = (k(at[0] - c, done.x0, done.w), k(at[0] + c, done.x0, done.w));
            done.v[j * done.w + i0..=j * done.w + i1].fill(1.0);
        }
    }
}

fn walk(path: &Path, step: f64) -> Vec<(P, P)> {
    let mut pts = path.points.clone();
    if path.closed {
        pts.push(pts[0]);
    }
    let mut out = vec![];
    let mut left = 0.0;
    for q in pts.windows(2) {
        let d = [q[1][0] - q[0][0], q[1][1] - q[0][1]];
        let l = d[0].hypot(d[1]);
        if l < 1e-9 {
            continue;
        }
        let u = [d[0] / l, d[1] / l];
        let mut t = left;
        while t < l {
            out.push(([q[0][0] + u[0] * t, q[0][1] + u[1] * t], u));
            t += step;
        }
        left = t - l;
    }
    if !path.closed
        && let (Some(e), Some(last)) = (pts.last(), out.last().copied())
    {
        out.push((*e, last.1));
    }
    out
}

/// Cuts the pocket of `s`.
pub fn cut(s: &Spec, walls: &Walls) -> Cut {
    let r = s.radius();
    let z = Field::new(0.0, 0.0, s.size[0], s.size[1], s.g, SOLID);
    let mut done = Field::new(0.0, 0.0, s.size[0], s.size[1], 0.15, 0.0);
    let tilted = s.tilt != [0.0, 0.0] || s.lean != 0.0;
    let step = if tilted || s.tool.bottom != Bottom::Flat { s.g } else { 2.0 * s.g };
    let (mut shapes, mut index): (Vec<Shape>, HashMap<[i64; 2], usize>) = (vec![], HashMap::new());
    let mut shape_of = |slope: P| {
        let key = [(slope[0] * 5e3).round() as i64, (slope[1] * 5e3).round() as i64];
        *index.entry(key).or_insert_with(|| {
            shapes.push(Shape::new(s.tool.d, s.tool.bottom, [key[0] as f64 / 5e3, key[1] as f64 / 5e3], s.g));
            shapes.len() - 1
        })
    };
    let mut stamps: Vec<Stamp> = vec![];
    let (mut levels, mut turns) = (vec![], vec![]);
    let lift = if s.skim { 0.0 } else { s.lift_um };
    // The bit and the frame give way over about a millimetre of path.
    let lag = 1.0 - (-step / 1.2).exp();
    let all = paths(s, walls);
    for path in &all {
        let mut e_now = f64::NAN;
        let (mut es, mut ls) = (vec![], vec![]);
        for (k, (at, dir)) in walk(path, step).into_iter().enumerate() {
            let (e, side) =
                if lift == 0.0 && s.lean == 0.0 && k % 8 != 0 { (e_now, 0.0) } else { engagement(&done, at, dir, r) };
            e_now = if e_now.is_nan() { e } else { e_now + (e - e_now) * lag };
            let mut level = lift * e_now;
            let mut slope = s.tilt;
            if s.lean != 0.0 && path.lane.is_some() {
                // Climb passes bend away from the stock, conventional ones less and towards it.
                let way = if side > 0.0 { 1.0 } else { -0.6 };
                let load = (side.abs() * 24.0).round() / 24.0;
                let toward = side.signum();
                let k = s.lean * load * way * toward;
                slope = [slope[0] - dir[1] * k, slope[1] + dir[0] * k];
                level += 150.0 * s.lean * load * way;
            }
            es.push(e_now as f32);
            ls.push(level as f32);
            // Where the leading half circle is (nearly) all stock, the bit slots at full width. 0.8: the half circle's
            // ends graze the slot's own walls, so that a true slot reads about 0.9, and the next wider case 0.7.
            let first = e_now > 0.8;
            stamps.push(Stamp { at, level: (level / 1e3) as f32, bottom: shape_of(slope), first });
            if k % 2 == 0 {
                mark(&mut done, at, r);
            }
        }
        let e = f64::from(median(&mut es));
        levels.push((e, f64::from(median(&mut ls))));
        turns.extend(sharp_turns(path));
    }
    if !s.perimeter && matches!(s.pattern, Pattern::Parallel { .. }) {
        // An earlier trip along the walls at the highest level: it trims the ends of the passes and nothing else.
        let (high, b) = (((lift.max(0.0) + 300.0 * s.lean.abs()) / 1e3) as f32, shape_of(s.tilt));
        for path in loops(walls, s.size, r, s.stepover, true, r + 0.02) {
            let level = |(at, _)| Stamp { at, level: high, bottom: b, first: false };
            stamps.extend(walk(&path, step).into_iter().map(level));
        }
    }
    let b = shape_of(s.tilt);
    let spikes = matches!(s.pattern, Pattern::Contour { .. });
    for at in if spikes { left_standing(&mut done, walls, r) } else { Default::default() } {
        stamps.push(Stamp { at, level: (0.3 * lift / 1e3) as f32, bottom: b, first: false });
    }
    if let Some((d2, s2, dz)) = s.tool2 {
        shapes.push(Shape::new(d2, Bottom::Flat, [0.0, 0.0], s.g));
        let b = shapes.len() - 1;
        for path in loops(walls, s.size, d2 / 2.0, s2, true, d2 / 2.0 + 2.2 * s2) {
            stamps.extend(
                walk(&path, 2.0 * s.g).into_iter().filter(|(p, _)| near_leftover(&done, *p, d2)).map(|(at, _)| Stamp {
                    at,
                    level: (dz / 1e3) as f32,
                    bottom: b,
                    first: false,
                }),
            );
        }
    }
    let mut out = Cut { first: z.like(SOLID), z, levels, turns, burn: None };
    stamp(&mut out.z, &stamps, &shapes, false);
    stamp(&mut out.first, &stamps, &shapes, true);
    if let Some(Ripple::Arcs { pitch, um }) = s.ripple {
        arcs(s, &mut out.z, &all, pitch, um);
    }
    if let Some(Ripple::Wave { pitch, um, normal, wander }) = s.ripple {
        wave(s, &mut out.z, [pitch, um, normal, wander]);
    }
    rings(s, &mut out);
    out
}

/// Places where the cutter still has to plunge, because loops left a spike that it can reach.
fn left_standing(done: &mut Field, walls: &Walls, r: f64) -> Vec<P> {
    let mut out = vec![];
    for k in 0..done.v.len() {
        let p = [done.x(k % done.w), done.y(k / done.w)];
        if done.v[k] > 0.5 {
            continue;
        }
        let room = walls.room(p);
        if room < 0.2 {
            continue;
        }
        let (away, go) = (walls.away(p), (r - room).max(0.0) + 0.02);
        let c = [p[0] + away[0] * go, p[1] + away[1] * go];
        if go < 0.98 * r && walls.room(c) >= r {
            mark(done, c, r);
            out.push(c);
        }
    }
    out
}

/// The second cutter only goes where the first left stock within its reach.
fn near_leftover(done: &Field, p: P, d2: f64) -> bool {
    (0..24).any(|i| {
        let (s, c) = (f64::from(i) / 24.0 * std::f64::consts::TAU).sin_cos();
        (1..=3).any(|k| {
            let q = 0.3 * f64::from(k) * d2;
            done.near(p[0] + q * c, p[1] + q * s) < 0.5
        })
    })
}

fn stamp(z: &mut Field, stamps: &[Stamp], shapes: &[Shape], only_first: bool) {
    let (w, g, x0, y0) = (z.w, z.g, z.x0, z.y0);
    const BAND: usize = 64;
    let bands = z.h.div_ceil(BAND);
    // Which stamps touch which band of rows.
    let mut lists: Vec<Vec<u32>> = vec![vec![]; bands];
    for (k, q) in stamps.iter().enumerate() {
        if only_first && !q.first {
            continue;
        }
        let n = shapes[q.bottom].rows[0].len() as f64 / 2.0 + 2.0;
        let j = (q.at[1] - y0) / g;
        let (a, b) = (((j - n).max(0.0) as usize) / BAND, ((j + n).max(0.0) as usize) / BAND);
        (a..=b.min(bands - 1)).for_each(|i| lists[i].push(k as u32));
    }
    z.v.par_chunks_mut(w * BAND).zip(lists).enumerate().for_each(|(band, (rows, list))| {
        let j0 = (band * BAND) as i32;
        let n = (rows.len() / w) as i32;
        for k in list {
            let q = &stamps[k as usize];
            let (u, v) = ((q.at[0] - x0) / g, (q.at[1] - y0) / g);
            // Nearest eighth of a cell.
            let (u8, v8) = ((u * 8.0).round() as i32, (v * 8.0).round() as i32);
            let (ci, cj) = (u8.div_euclid(8), v8.div_euclid(8) - j0);
            for (dj, di, shape) in &shapes[q.bottom].rows[(u8.rem_euclid(8) + 8 * v8.rem_euclid(8)) as usize] {
                let (j, i) = (cj + dj, ci + di);
                if j < 0 || j >= n || i < 0 || i as usize + shape.len() > w {
                    continue;
                }
                let from = j as usize * w + i as usize;
                for (c, s) in rows[from..from + shape.len()].iter_mut().zip(shape) {
                    let t = s + q.level;
                    *c = if t < *c { t } else { *c };
                }
            }
        }
    });
}

/// Arcs of the cutter's radius `pitch` apart along each straight pass; where passes overlap the lowest stays.
fn arcs(s: &Spec, z: &mut Field, all: &[Path], pitch: f64, um: f64) {
    let Pattern::Parallel { angle, .. } = s.pattern else { return };
    let (sn, cs) = angle.to_radians().sin_cos();
    let lanes: Vec<(f64, f64, f64)> = all
        .iter()
        .filter_map(|p| p.lane)
        .enumerate()
        .map(|(k, (v, d))| (v, d, f64::from(noise::hash(k as i32, 3, 1, s.seed as u32))))
        .collect();
    let (r, heel) = (s.radius(), if s.seed.is_multiple_of(2) { 1.0 } else { -1.0 });
    let (w, x0, y0, g) = (z.w, z.x0, z.y0, z.g);
    z.v.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        for (i, c) in row.iter_mut().enumerate().filter(|c| *c.1 < SOLID) {
            let (x, y) = (x0 + i as f64 * g, y0 + j as f64 * g);
            let (u, v) = (x * cs + y * sn, y * cs - x * sn);
            let mut low = f64::MAX;
            for (k, &(lane, dir, phase)) in lanes.iter().enumerate() {
                let dv = v - lane;
                if dv.abs() < r {
                    let t = dir * u - heel * (r * r - dv * dv).sqrt();
                    let wander = 0.04 * f64::from(noise::value1(t / 6.0, k as u32 + 7));
                    low = low.min(1.0 - (std::f64::consts::PI * (t / pitch + phase + wander)).sin().abs());
                }
            }
            if low < 2.0 {
                *c += (um / 1e3 * low) as f32;
            }
        }
    });
}

fn wave(s: &Spec, z: &mut Field, [pitch, um, normal, wander]: [f64; 4]) {
    let (sn, cs) = normal.to_radians().sin_cos();
    let seed = s.seed as u32;
    let (w, x0, y0, g) = (z.w, z.x0, z.y0, z.g);
    z.v.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        for (i, c) in row.iter_mut().enumerate().filter(|c| *c.1 < SOLID) {
            let (x, y) = (x0 + i as f64 * g, y0 + j as f64 * g);
            let stray = if wander > 0.0 { wander * f64::from(noise::value2(x / 22.0, y / 9.0, seed + 5)) } else { 0.0 };
            let t = std::f64::consts::TAU * ((x * cs + y * sn) / pitch + stray);
            let swell =
                1.0 + if wander > 0.0 { 0.35 * f64::from(noise::value2(x / 16.0, y / 7.0, seed + 6)) } else { 0.0 };
            *c += (um / 2e3 * swell * (t.sin() + 0.18 * (2.0 * t + 1.0).sin())) as f32;
        }
    });
}

fn sharp_turns(path: &Path) -> Vec<P> {
    let p = &path.points;
    if !path.closed {
        return if path.lane.is_some() { vec![p[0], p[p.len() - 1]] } else { vec![] };
    }
    let n = p.len();
    let back = 5.min(n / 4).max(1);
    let bend: Vec<f64> = (0..n)
        .map(|i| {
            let (a, b, c) = (p[(i + n - back) % n], p[i], p[(i + back) % n]);
            let (d, e) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
            (d[0] * e[1] - d[1] * e[0]).atan2(d[0] * e[0] + d[1] * e[1]).abs()
        })
        .collect();
    (0..n)
        .filter(|&i| {
            bend[i] > 0.7 && (1..=2 * back).all(|k| bend[i] >= bend[(i + k) % n] && bend[i] > bend[(i + n - k) % n])
        })
        .map(|i| p[i])
        .collect()
}

/// Rings of the cutter's diameter where it turned: a groove, and burnt wood.
fn rings(s: &Spec, c: &mut Cut) {
    if s.turn_um == 0.0 && s.turn_burn == 0.0 {
        return;
    }
    let r = s.radius();
    let mut burn = c.z.like(0.0);
    for (k, t) in c.turns.iter().enumerate() {
        let strength = 0.65 + 0.35 * noise::hash(k as i32, 5, 5, s.seed as u32);
        let n = (r / s.g).ceil() as i32 + 2;
        let (ci, cj) = (((t[0] - c.z.x0) / s.g).round() as i32, ((t[1] - c.z.y0) / s.g).round() as i32);
        for j in (cj - n).max(0)..(cj + n + 1).min(c.z.h as i32) {
            for i in (ci - n).max(0)..(ci + n + 1).min(c.z.w as i32) {
                let at = j as usize * c.z.w + i as usize;
                let d = (c.z.x(i as usize) - t[0]).hypot(c.z.y(j as usize) - t[1]);
                if d > r || c.z.v[at] >= SOLID {
                    continue;
                }
                let rim = (1.0 - ((r - 0.35 - d) / 0.45).powi(2)).max(0.0) as f32;
                let low = (s.turn_um / 1e3) as f32 * rim * strength;
                c.z.v[at] = c.z.v[at].min(low);
                burn.v[at] = burn.v[at].max(s.turn_burn as f32 * strength * (0.25 + 0.75 * rim));
            }
        }
    }
    c.burn = Some(burn);
}
