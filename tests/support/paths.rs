//! Where the cutter goes: parallel passes or loops at a constant distance from the walls.

use super::field::{Field, P};
use super::outline::{Walls, contours};
use super::spec::{Pattern, Spec};

#[derive(Clone)]
pub struct Path {
    pub points: Vec<P>,
    pub closed: bool,
    /// Straight pass: its place across and whether it runs along +u (1) or back (-1). `None`: loop or link.
    pub lane: Option<(f64, f64)>,
}

fn lanes(from: f64, to: f64, s: f64, middle_first: bool) -> Vec<f64> {
    let up = |a: f64, b: f64| {
        let d = (b - a).signum();
        let n = (((b - a).abs() / s) - 1e-6).floor() as usize;
        let mut v: Vec<f64> = (0..=n).map(|i| a + d * s * i as f64).collect();
        if (b - v[n]).abs() > 1e-3 {
            v.push(b);
        }
        v
    };
    if middle_first {
        let m = from + ((to - from) / 2.0 / s).round() * s;
        let mut v = up(m, to);
        v.extend(up(m, from).into_iter().skip(1));
        v
    } else {
        up(from, to)
    }
}

/// Straight passes at `angle`, clipped where the cutter of radius `r` fits.
pub fn parallel(
    s: &Spec,
    walls: &Walls,
    r: f64,
    step: f64,
    angle: f64,
    both_ways: bool,
    middle_first: bool,
) -> Vec<Path> {
    let (sn, cs) = angle.to_radians().sin_cos();
    let (u, n) = ([cs, sn], [-sn, cs]);
    let dot = |a: P, b: P| a[0] * b[0] + a[1] * b[1];
    let span =
        |d: P| walls.polygon.iter().map(|q| dot(*q, d)).fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(v), b.max(v)));
    let ((u0, u1), (v0, v1)) = (span(u), span(n));
    let _ = s;
    let mut out: Vec<Path> = vec![];
    let mut dir = 1.0;
    for v in lanes(v0 + r, v1 - r, step, middle_first) {
        let at = |t: f64| [u[0] * t + n[0] * v, u[1] * t + n[1] * v];
        let fits = |t: f64| walls.room(at(t)) >= r - 1e-4;
        let k = ((u1 - u0) / 0.05).ceil() as usize;
        let mut runs: Vec<(f64, f64)> = vec![];
        let mut open: Option<f64> = None;
        for i in 0..=k {
            let t = u0 + i as f64 * 0.05;
            match (fits(t), open) {
                (true, None) => open = Some(t),
                (false, Some(a)) => {
                    runs.push((a, t - 0.05));
                    open = None;
                }
                _ => {}
            }
        }
        runs.retain(|q| q.1 - q.0 > 0.3);
        if dir < 0.0 {
            runs.reverse();
        }
        for (a, b) in runs {
            let points = if dir > 0.0 { vec![at(a), at(b)] } else { vec![at(b), at(a)] };
            if both_ways && let Some(last) = out.last().and_then(|p: &Path| p.points.last().copied()) {
                let fit = (0..=20).all(|i| {
                    let t = f64::from(i) / 20.0;
                    walls.room([last[0] + (points[0][0] - last[0]) * t, last[1] + (points[0][1] - last[1]) * t])
                        > r - 0.05
                });
                if fit && (last[0] - points[0][0]).hypot(last[1] - points[0][1]) < 3.0 * step {
                    out.push(Path { points: vec![last, points[0]], closed: false, lane: None });
                }
            }
            out.push(Path { points, closed: false, lane: Some((v, dir)) });
        }
        if both_ways {
            dir = -dir;
        }
    }
    out
}

/// Loops at r, r + step, ... from the walls; the innermost first unless `inward`.
pub fn loops(walls: &Walls, size: [f64; 2], r: f64, step: f64, inward: bool, reach: f64) -> Vec<Path> {
    let mut f = Field::new(0.0, 0.0, size[0], size[1], 0.2, 0.0);
    f.fill(|x, y| walls.room([x, y]) as f32);
    let deepest = f.v.iter().fold(0.0f32, |a, b| a.max(*b)) as f64;
    let mut levels = vec![];
    let mut l = r + 0.004;
    while l < deepest.min(reach) {
        levels.push(l);
        l += step;
    }
    if let Some(last) = levels.last().copied()
        && reach > 1e6
        && deepest - last > 0.93 * r
    {
        levels.push(deepest - 0.3);
    }
    if !inward {
        levels.reverse();
    }
    let mut out = vec![];
    for l in levels {
        let mut c = contours(&f, l);
        if c.is_empty() && l > deepest - 0.5 {
            c = contours(&f, deepest - 0.8);
        }
        out.extend(c.into_iter().map(|points| Path { points, closed: true, lane: None }));
    }
    out
}

/// Every path of the main cutter, in cutting order.
pub fn paths(s: &Spec, walls: &Walls) -> Vec<Path> {
    let r = s.radius();
    let mut p = match s.pattern {
        Pattern::Parallel { angle, both_ways, middle_first } => {
            parallel(s, walls, r, s.stepover, angle, both_ways, middle_first)
        }
        Pattern::Contour { inward } => loops(walls, s.size, r, s.stepover, inward, 1e9),
    };
    if s.perimeter {
        p.extend(loops(walls, s.size, r, s.stepover, true, r + 0.02));
    }
    p
}
