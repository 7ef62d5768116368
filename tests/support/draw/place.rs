//! Where the things of known size lie, and what else lies about.

use super::super::print::Print;
use super::super::props::{CARD, COINS, RULE, RULES};
use super::super::spec::*;
use super::{Draw, Lying};
use rand::Rng;

pub(super) fn place_refs(d: &mut Draw, s: &mut Spec, lying: Lying) {
    let what = d.u(0.0, 1.0);
    let kind = if what < 0.78 {
        RefKind::Card
    } else if what < 0.85 {
        RefKind::Coin(0)
    } else if what < 0.93 {
        RefKind::Rule(0)
    } else {
        s.plan.omit.retain(|k| *k != "pocket");
        if !matches!(lying, Lying::Only(_)) {
            return;
        }
        RefKind::Card
    };
    let kind = match lying {
        Lying::Any => kind,
        Lying::Only(k) => k,
        Lying::Nothing => return,
    };
    let (l, w) = match kind {
        RefKind::Card => (CARD[0], CARD[1]),
        RefKind::Coin(n) => (COINS[n].2, COINS[n].2),
        RefKind::Rule(n) => (RULES[n].4, RULE[0]),
        RefKind::Own(own) => Print::size(own).into(),
    };
    let fits = s.size[0] > 128.0 && s.size[1] > 84.0 && s.letters.is_none() && s.outline == Outline::Rect;
    let on_floor = kind == RefKind::Card && fits && d.yes(0.5);
    let style = d.0.random_range(0..100);
    // Of some places that fit, the one that keeps the frame smallest.
    let mut best: Option<(f64, Ref)> = None;
    for _ in 0..250 {
        let rot = if d.yes(0.6) { d.pick(&[0.0, 90.0, 180.0, 270.0]) + d.u(-14.0, 14.0) } else { d.u(0.0, 360.0) };
        let (sn, cs) = rot.to_radians().sin_cos();
        let reach = if on_floor { 0.5 } else { 1.0 };
        let c = s.centre();
        let (span_x, span_y) = (s.size[0] / 2.0 + 62.0, s.size[1] / 2.0 + 62.0);
        let m = [c[0] + reach * d.u(-span_x, span_x), c[1] + reach * d.u(-span_y, span_y)];
        let round_shape = matches!(kind, RefKind::Coin(_));
        let at = if round_shape { m } else { [m[0] - l / 2.0 * cs + w / 2.0 * sn, m[1] - l / 2.0 * sn - w / 2.0 * cs] };
        let edge: Vec<[f64; 2]> = (0..=8)
            .flat_map(|i| {
                let t = f64::from(i) / 8.0 - 0.5;
                [(t, -0.5), (t, 0.5), (-0.5, t), (0.5, t), (t, 0.0)]
            })
            .map(|(a, b)| [m[0] + a * l * cs - b * w * sn, m[1] + a * l * sn + b * w * cs])
            .collect();
        let inner = edge.iter().all(|p| p[0] > 6.0 && p[1] > 6.0 && p[0] < s.size[0] - 6.0 && p[1] < s.size[1] - 6.0);
        let outer = edge.iter().all(|p| p[0] < -3.0 || p[1] < -3.0 || p[0] > s.size[0] + 3.0 || p[1] > s.size[1] + 3.0);
        if (on_floor && inner) || (!on_floor && outer) {
            let span = |k: usize| {
                let (a, b) = edge.iter().fold((0.0, s.size[k]), |(a, b): (f64, f64), p| (a.min(p[k]), b.max(p[k])));
                b - a
            };
            let frame = span(0).max(span(1) * 4.0 / 3.0) * d.u(0.85, 1.15);
            if best.as_ref().is_none_or(|b| frame < b.0) {
                best = Some((frame, Ref { kind, on_floor, at, rot: rot.rem_euclid(360.0), style }));
            }
        }
    }
    if let Some((_, r)) = best {
        s.refs.push(r);
        return;
    }
    s.plan.omit.retain(|k| *k != "pocket");
}

pub(super) fn place_clutter(d: &mut Draw, s: &mut Spec) {
    let n = match s.world {
        "clean" => 0,
        "moderate" => 2,
        _ => 4,
    };
    let c = s.centre();
    let lamp = s.light.from;
    for _ in 0..n {
        let kind = d.pick(&["block", "block", "tape", "tape", "pencil"]);
        // Tall things stay off the lamp's side, so that they do not darken the pocket.
        let turn = if kind == "block" { d.u(75.0, 285.0) } else { d.u(0.0, 360.0) };
        let (sn, cs) = (lamp + turn).to_radians().sin_cos();
        let r = s.size[0].hypot(s.size[1]) / 2.0 + d.u(22.0, 60.0);
        let col = d.pick(&[
            [0.3, 0.05, 0.03],
            [0.05, 0.06, 0.07],
            [0.1, 0.3, 0.6],
            [0.6, 0.6, 0.58],
            [0.55, 0.45, 0.1],
            [0.5, 0.36, 0.2],
        ]);
        let (len, wid, h) = match kind {
            "block" => (d.u(15.0, 45.0), d.u(10.0, 30.0), d.u(3.0, 14.0)),
            "tape" => (d.u(50.0, 150.0), 25.0, 0.12),
            _ => (d.u(60.0, 140.0), 7.0, 7.0),
        };
        let item =
            Clutter { kind, at: [c[0] + r * cs, c[1] + r * sn], rot: lamp + turn + d.u(-30.0, 30.0), len, wid, h, col };
        let clear = s.refs.iter().all(|q| {
            let (sn, cs) = q.rot.to_radians().sin_cos();
            let m = if matches!(q.kind, RefKind::Coin(_)) {
                q.at
            } else {
                [q.at[0] + 42.0 * cs - 27.0 * sn, q.at[1] + 42.0 * sn + 27.0 * cs]
            };
            (m[0] - item.at[0]).hypot(m[1] - item.at[1]) > 62.0 + len
        });
        if clear {
            s.clutter.push(item);
        }
    }
    for _ in 0..s.chips {
        let floor = d.yes(0.6);
        let (x, y) = if floor {
            (d.u(6.0, s.size[0] - 6.0), d.u(6.0, s.size[1] - 6.0))
        } else {
            (d.u(-25.0, s.size[0] + 25.0), d.u(-25.0, s.size[1] + 25.0))
        };
        let l = d.u(0.5, 2.2);
        s.clutter.push(Clutter {
            kind: if floor { "chip-floor" } else { "chip" },
            at: [x, y],
            rot: d.u(0.0, 360.0),
            len: l,
            wid: l * d.u(0.3, 0.8),
            h: d.u(0.1, 0.5),
            col: [0.5, 0.36, 0.2],
        });
    }
}
