//! Lamp light on a height field: Lambert, cast shadows with the penumbra of a small lamp, falling off with distance.

use super::field::Field;
use super::spec::Spec;

/// Height under which a cell's lamp is hidden, and how far away the thing is that hides it (mm).
pub struct Shade {
    pub top: Field,
    pub far: Field,
}

/// Lamp place in the pocket frame: `dist` from the middle of the floor.
pub fn lamp_at(s: &Spec) -> [f64; 3] {
    let (l, c) = (&s.light, s.centre());
    let ((sa, ca), (se, ce)) = (l.from.to_radians().sin_cos(), l.el.to_radians().sin_cos());
    [c[0] + l.dist * ce * ca, c[1] + l.dist * ce * sa, l.dist * se - s.depth]
}

/// Carries shadows away from the lamp, one row of cells at a time. `outer`: a wider, coarser field's result.
pub fn sweep(h: &Field, lamp: [f64; 3], outer: Option<(&Field, &Shade)>) -> Shade {
    let (cx, cy) = (h.x(h.w / 2), h.y(h.h / 2));
    if (lamp[0] - cx).abs() > (lamp[1] - cy).abs() {
        let t = h.transposed();
        let o = outer.map(|(f, s)| (f.transposed(), Shade { top: s.top.transposed(), far: s.far.transposed() }));
        let q = rows(&t, [lamp[1], lamp[0], lamp[2]], o.as_ref().map(|(f, s)| (f, s)));
        Shade { top: q.top.transposed(), far: q.far.transposed() }
    } else {
        rows(h, lamp, outer)
    }
}

fn rows(h: &Field, lamp: [f64; 3], outer: Option<(&Field, &Shade)>) -> Shade {
    let (w, n, g) = (h.w, h.h, h.g);
    let mut s = Shade { top: h.like(-50.0), far: h.like(0.0) };
    let down = lamp[1] < h.y(n / 2);
    for step in 0..n {
        let j = if down { step } else { n - 1 - step };
        let y = h.y(j);
        let ly = lamp[1] - y;
        let jp = if down { j.wrapping_sub(1) } else { j + 1 };
        for i in 0..w {
            let x = h.x(i);
            let lx = lamp[0] - x;
            let shift = lx / ly.abs();
            let len = g * (1.0 + shift * shift).sqrt();
            let q = i as f64 + shift;
            let (mut top, mut far);
            if step == 0 || q < 0.0 || q >= (w - 1) as f64 {
                let Some((oh, os)) = outer else {
                    continue;
                };
                let (qx, qy) = (h.x0 + q * g, y + g * ly.signum());
                (top, far) = (os.top.at(qx, qy), os.far.at(qx, qy));
                let z = oh.near(qx, qy);
                if z > top {
                    (top, far) = (z, 0.0);
                }
            } else {
                let k = q as usize;
                let f = (q - k as f64) as f32;
                let at = jp * w + k;
                let one = |at: usize| {
                    let (z, t) = (h.v[at], s.top.v[at]);
                    if z >= t { (z, 0.0) } else { (t, s.far.v[at]) }
                };
                let ((ta, fa), (tb, fb)) = (one(at), one(at + 1));
                top = ta + (tb - ta) * f;
                far = fa + (fb - fa) * f;
            }
            let d = (lx * lx + ly * ly).sqrt();
            top -= (len * (lamp[2] - f64::from(top)) / d) as f32;
            far += len as f32;
            s.top.v[j * w + i] = top;
            s.far.v[j * w + i] = far;
        }
    }
    s
}

/// Share of the lamp seen from height `z` at a place of `shade`.
pub fn seen(top: f32, far: f32, z: f32, spread: f32, fine: f32) -> f32 {
    (0.5 + (z - top) / (far * spread).max(fine)).clamp(0.0, 1.0)
}

/// Change of tan(elevation) over the lamp's own size.
pub fn spread(s: &Spec) -> f32 {
    let c = s.light.el.to_radians().cos();
    (s.light.size / s.light.dist / (c * c)) as f32
}

/// Light on a surface with unit normal `n` at `p` from the lamp alone, 1 on the flat middle of the floor.
pub fn lambert(s: &Spec, lamp: [f64; 3], p: [f64; 3], n: [f64; 3]) -> f64 {
    let l = [lamp[0] - p[0], lamp[1] - p[1], lamp[2] - p[2]];
    let r2 = l[0] * l[0] + l[1] * l[1] + l[2] * l[2];
    let c = (l[0] * n[0] + l[1] * n[1] + l[2] * n[2]) / r2.sqrt();
    c.max(0.0) * s.light.dist * s.light.dist / r2 / s.light.el.to_radians().sin()
}

/// Light on every cell of a height field (walls excluded: slopes come from cells of the same floor only).
/// `floor_under`: cells above this height are tops and count as flat.
pub fn shine(s: &Spec, h: &Field, shade: &Shade, floor_under: f32) -> Field {
    use rayon::prelude::*;
    let lamp = lamp_at(s);
    let (spread, ambient) = (spread(s), s.light.ambient as f32);
    let slope = s.light.el.to_radians().tan();
    let fine = (h.g * slope * 0.6) as f32;
    let second = s.light.second.map(|(a, e, k)| {
        let ((sa, ca), (se, ce)) = (a.to_radians().sin_cos(), e.to_radians().sin_cos());
        ([ce * ca, ce * sa, se], k / se)
    });
    let mut out = h.like(0.0);
    let (w, n) = (h.w, h.h);
    out.v.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
        for (i, q) in row.iter_mut().enumerate() {
            let k = j * w + i;
            let z = h.v[k];
            let p = [h.x(i), h.y(j), f64::from(z)];
            let mut normal = [0.0, 0.0, 1.0];
            if z < floor_under {
                let ok = |v: f32| if v < floor_under { v } else { z };
                let zx = (ok(h.v[k + usize::from(i + 1 < w)]) - ok(h.v[k - usize::from(i > 0)])) / (2.0 * h.g as f32);
                let down = if j + 1 < n { h.v[k + w] } else { z };
                let up = if j > 0 { h.v[k - w] } else { z };
                let zy = (ok(down) - ok(up)) / (2.0 * h.g as f32);
                let m = f64::from((1.0 + zx * zx + zy * zy).sqrt());
                normal = [f64::from(-zx) / m, f64::from(-zy) / m, 1.0 / m];
            }
            let mut e = seen(shade.top.v[k], shade.far.v[k], z, spread, fine) * lambert(s, lamp, p, normal) as f32;
            if s.gloss > 0.0 {
                // A camera straight above: half-way between lamp and zenith.
                let l = [lamp[0] - p[0], lamp[1] - p[1], lamp[2] - p[2]];
                let r = (l[0] * l[0] + l[1] * l[1] + l[2] * l[2]).sqrt();
                let m = [l[0] / r, l[1] / r, l[2] / r + 1.0];
                let b = (m[0] * m[0] + m[1] * m[1] + m[2] * m[2]).sqrt();
                let c = (m[0] * normal[0] + m[1] * normal[1] + m[2] * normal[2]) / b;
                e *= 1.0 + (s.gloss * c.max(0.0).powi(30)) as f32 * 40.0;
            }
            if let Some((d, k)) = second {
                e += (k * (d[0] * normal[0] + d[1] * normal[1] + d[2] * normal[2]).max(0.0)) as f32;
            }
            *q = e + ambient;
        }
    });
    out
}
