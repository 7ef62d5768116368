//! The cutting file of a made scene: the very paths its floor was cut along. The scene's y runs down the photo, the
//! file's up the board.

use super::field::P;
use super::outline::Walls;
use super::paths::paths;
use super::spec::Spec;

/// Thickness of the skim of scenes that have one, mm (as their plan files say).
const SKIM: f64 = 0.18;
/// Points are left out while the path stays within this of them, mm.
const TOLERANCE: f64 = 0.01;

/// Fewer points for the same line (after Douglas and Peucker, 1973).
fn thin(p: &[P]) -> Vec<P> {
    let (a, b) = (p[0], p[p.len() - 1]);
    let l = (b[0] - a[0]).hypot(b[1] - a[1]);
    let off = |q: &P| match l {
        l if l < 1e-9 => (q[0] - a[0]).hypot(q[1] - a[1]),
        l => ((q[0] - a[0]) * (b[1] - a[1]) - (q[1] - a[1]) * (b[0] - a[0])).abs() / l,
    };
    let far = (1..p.len().saturating_sub(1)).max_by(|i, j| off(&p[*i]).total_cmp(&off(&p[*j])));
    match far.filter(|k| off(&p[*k]) > TOLERANCE) {
        Some(k) => {
            let mut out = thin(&p[..=k]);
            out.pop();
            out.extend(thin(&p[k..]));
            out
        }
        None => vec![a, b],
    }
}

/// RS274/NGC, millimetres, zero at the lower left corner of the stock that the scene shows, on its top.
pub fn ngc(s: &Spec, walls: &Walls, name: &str) -> String {
    let mut t = format!("(made up: {name}, tool 1 of {} mm)\nG21 G90 G94 G17\nT1 M6\nS{} M3\n", s.tool.d, s.rpm);
    let layers = if s.skim { vec![s.depth - SKIM, s.depth] } else { vec![s.depth] };
    let paths = paths(s, walls);
    for z in layers {
        let mut at = [f64::NAN; 2];
        for p in &paths {
            let mut points = p.points.clone();
            if p.closed {
                points.push(points[0]);
            }
            let points = thin(&points);
            let place = |q: P| format!("X{:.3} Y{:.3}", q[0], s.size[1] - q[1]);
            let joined = (at[0] - points[0][0]).hypot(at[1] - points[0][1]) < 1e-6;
            if !joined {
                t += &format!("G0 Z5\n{}\nG1 Z{:.3} F600\n", place(points[0]), -z);
            }
            for (k, q) in points.iter().enumerate().skip(1) {
                let feed = if k == 1 && !joined { format!(" F{}", s.feed) } else { String::new() };
                t += &format!("{}{feed}\n", place(*q));
            }
            at = points[points.len() - 1];
        }
        t += "G0 Z5\n";
    }
    t + "M5\nM30\n"
}
