//! What wood does after the cut: rough fibre, torn patches, ragged rims.

use super::cut::SOLID;
use super::field::Field;
use super::noise::{octaves, value2};
use super::outline::Walls;
use super::spec::Spec;

/// Adds fibre roughness (and torn patches) to a cut floor given in mm over nominal.
pub fn roughen(s: &Spec, z: &mut Field) {
    use rayon::prelude::*;
    let (sn, cs) = s.grain.to_radians().sin_cos();
    let seed = (s.seed as u32) ^ 0x3131;
    let (w, x0, y0, g) = (z.w, z.x0, z.y0, z.g);
    let wood = super::wood::Stock::is_wood(s.material);
    let long = if wood { 2.4 } else { 0.22 };
    z.v.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        for (i, c) in row.iter_mut().enumerate().filter(|c| *c.1 < SOLID) {
            let (x, y) = (x0 + i as f64 * g, y0 + j as f64 * g);
            let (a, b) = (x * cs + y * sn, y * cs - x * sn);
            let mut d = s.fuzz_um as f32 * 0.5 * value2(a / long, b / 0.2, seed);
            if s.torn_um > 0.0 {
                let patch = (octaves(a / 16.0, b / 5.0, 3, seed + 1) * 2.6 - 0.15).clamp(0.0, 1.0);
                let tear = value2(a / 3.2, b / 0.5, seed + 2) + 0.6 * value2(a / 1.2, b / 0.28, seed + 3);
                d += s.torn_um as f32 * patch * (0.55 * tear - 0.4 * tear.max(0.0));
            }
            *c += d / 1e3;
        }
    });
}

/// Height (mm) of raised fibre on the rim around the pocket; 0 where the rim is clean. Returns the ragged share too.
pub fn burr(s: &Spec, walls: &Walls, z: &Field) -> (Field, f64) {
    let mut out = z.like(0.0);
    if s.burr <= 0.0 {
        return (out, 0.0);
    }
    let seed = (s.seed as u32) ^ 0x9911;
    let (mut rim, mut ragged) = (0usize, 0usize);
    for j in 0..z.h {
        for i in 0..z.w {
            let k = j * z.w + i;
            if z.v[k] < SOLID {
                continue;
            }
            let p = [z.x(i), z.y(j)];
            let d = -walls.room(p);
            if d > s.burr_mm || d < -1.0 {
                continue;
            }
            let here = (value2(p[0] / 2.1, p[1] / 2.1, seed) * 0.5 + 0.5) < s.burr as f32 * 0.9;
            rim += 1;
            if here {
                ragged += 1;
                let t = value2(p[0] / 0.25, p[1] / 0.25, seed + 1);
                if t > -0.2 {
                    out.v[k] = (s.burr_mm * 0.9 * (1.0 - d.max(0.0) / s.burr_mm)) as f32 * (0.5 + 0.5 * t);
                }
            }
        }
    }
    let share = if rim == 0 { 0.0 } else { ragged as f64 / rim as f64 };
    (out, share)
}
