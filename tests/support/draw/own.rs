//! Puts our own printed card into a drawn scene, in place of what gave the scale there.

use super::super::field::P;
use super::super::props::Prism;
use super::super::spec::*;
use super::{Draw, Size, grid};
use lowsun::card::{Form, PAPER_MM};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// What to lay.
#[derive(Clone, Copy, Debug)]
pub struct Lay {
    pub form: Form,
    /// True: the printer shrank or stretched it by up to 2 %, and the plan file tells by how much.
    pub misprinted: bool,
    /// True: the print of the kept page, where there is one.
    pub from_page: bool,
}

/// Lays the card beside the pocket or on its floor, somewhere that fits; the L in a corner of the floor, the frame round
/// a small pocket or on the floor of a large one where it can. The same arguments always give the same scene.
pub fn lay(s: &mut Spec, what: Lay, size: Size) {
    let mut d = Draw(ChaCha8Rng::seed_from_u64(s.seed.wrapping_mul(0x2545_F491_4F6C_DD1D) ^ 0x0CA2_D000));
    let thick = if d.yes(0.6) { PAPER_MM } else { d.u(1.0, 3.0) };
    let by = |d: &mut Draw| if what.misprinted { 1.0 + (d.u(-0.02, 0.02) * 1e4).round() / 1e4 } else { 1.0 };
    let printed = [by(&mut d), by(&mut d)];
    let kind = RefKind::Own(Own { form: what.form, thick, printed, from_page: what.from_page });
    let style = (d.u(0.0, 1.0) * 100.0) as u32;
    let plain = s.outline == Outline::Rect && s.letters.is_none();
    if what.form == Form::Frame && plain && s.plan.slip.is_none() && d.yes(0.5) {
        s.size = [s.size[0].max(172.0), s.size[1].max(132.0)];
        s.g = grid(s, size);
    }
    let floor_first = plain && d.yes(0.6);
    let places = [floor_first, !floor_first && plain, false];
    for on_floor in places {
        let probe = Ref { kind, on_floor, at: [0.0; 2], rot: 0.0, style };
        if let Some((at, rot)) = place(&mut d, s, what.form, &probe) {
            s.refs = vec![Ref { at, rot: rot.rem_euclid(360.0), ..probe }];
            break;
        }
    }
    let own = Prism::from_ref(s, &s.refs[0]);
    let (c, r) = (own.centre(), own.reach());
    s.clutter.retain(|q| {
        let (sn, cs) = q.rot.to_radians().sin_cos();
        let m = [q.at[0] + q.len / 2.0 * cs - q.wid / 2.0 * sn, q.at[1] + q.len / 2.0 * sn + q.wid / 2.0 * cs];
        q.kind.starts_with("chip") || (m[0] - c[0]).hypot(m[1] - c[1]) > r + q.len.hypot(q.wid) / 2.0 + 2.0
    });
}

/// First corner and turn of the place, of some that fit, that keeps the picture smallest.
fn place(d: &mut Draw, s: &Spec, form: Form, probe: &Ref) -> Option<(P, f64)> {
    let flat = Prism::from_ref(s, probe);
    // The paper's own points, first corner at the origin.
    let step = 3.0;
    let (nu, nv) = ((flat.len / step) as i32, (flat.wid / step) as i32);
    let mut paper: Vec<P> = (0..=nv)
        .flat_map(|j| (0..=nu).map(move |i| [f64::from(i) / f64::from(nu), f64::from(j) / f64::from(nv)]))
        .map(|t| [(t[0] * flat.len).clamp(0.01, flat.len - 0.01), (t[1] * flat.wid).clamp(0.01, flat.wid - 0.01)])
        .filter(|p| flat.covers(*p))
        .collect();
    // The slanted cut of the L lies between them.
    if form == Form::Corner {
        paper.extend([[8.8, 0.01], [0.01, 8.8]]);
    }
    let (w, h) = (s.size[0], s.size[1]);
    let middle = s.centre();
    let mut best: Option<(f64, P, f64)> = None;
    for n in 0..500 {
        let quarter = d.pick(&[0.0, 90.0, 180.0, 270.0]);
        let mut rot = if d.yes(0.6) { quarter + d.u(-14.0, 14.0) } else { d.u(0.0, 360.0) };
        let reach = if probe.on_floor { 0.6 } else { 1.0 };
        let mut m = [
            middle[0] + reach * d.u(-w / 2.0 - 85.0, w / 2.0 + 85.0),
            middle[1] + reach * d.u(-h / 2.0 - 85.0, h / 2.0 + 85.0),
        ];
        let mut clear = if probe.on_floor { 4.0 } else { 3.0 };
        match form {
            // Pushed into a corner of the pocket: the arms a little off the walls.
            Form::Corner if probe.on_floor => {
                rot = quarter + d.u(-0.3, 0.3);
                clear = 0.15;
                let corner =
                    [[2.0, 2.0], [w - 2.0, 2.0], [w - 2.0, h - 2.0], [2.0, h - 2.0]][(quarter / 90.0) as usize];
                let (sn, cs) = rot.to_radians().sin_cos();
                let (a, b) = (d.u(0.4, 1.2), d.u(0.4, 1.2));
                let (u, v) = (flat.len / 2.0 + a, flat.wid / 2.0 + b);
                m = [corner[0] + u * cs - v * sn, corner[1] + u * sn + v * cs];
            }
            Form::Frame if n % 2 == 0 => {
                rot = quarter + d.u(-4.0, 4.0);
                m = [middle[0] + d.u(-3.0, 3.0), middle[1] + d.u(-3.0, 3.0)];
            }
            _ => {}
        }
        let (sn, cs) = rot.to_radians().sin_cos();
        let put = |u: f64, v: f64| {
            let (u, v) = (u - flat.len / 2.0, v - flat.wid / 2.0);
            [m[0] + u * cs - v * sn, m[1] + u * sn + v * cs]
        };
        let fits = paper.iter().all(|p| {
            let q = put(p[0], p[1]);
            let inside = |c: f64| q[0] > 2.0 + c && q[1] > 2.0 + c && q[0] < w - 2.0 - c && q[1] < h - 2.0 - c;
            if probe.on_floor { inside(clear) } else { !inside(-clear) }
        });
        if !fits {
            continue;
        }
        let corners = [put(0.0, 0.0), put(flat.len, 0.0), put(flat.len, flat.wid), put(0.0, flat.wid)];
        let span = |k: usize| {
            let (a, b) = corners.iter().fold((0.0, s.size[k]), |(a, b): (f64, f64), p| (a.min(p[k]), b.max(p[k])));
            b - a
        };
        let frame = span(0).max(span(1) * 4.0 / 3.0) * d.u(0.85, 1.15);
        if best.as_ref().is_none_or(|b| frame < b.0) {
            best = Some((frame, corners[0], rot));
        }
    }
    best.map(|b| (b.1, b.2))
}
