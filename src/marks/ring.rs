//! Values along a closed line: running means and medians, runs of yes and no. The last entry's neighbour is the first.

use crate::geometry::Point;

/// Mean over `half` entries either side.
pub fn mean(v: &[f64], half: usize) -> Vec<f64> {
    let n = v.len();
    let half = half.min(n.saturating_sub(1) / 2);
    let mut sum: f64 = (0..2 * half + 1).map(|i| v.get((i + n - half) % n.max(1)).copied().unwrap_or(0.0)).sum();
    (0..n)
        .map(|k| {
            let m = sum / (2 * half + 1) as f64;
            sum += v[(k + half + 1) % n] - v[(k + n - half) % n];
            m
        })
        .collect()
}

/// [`mean`] of both coordinates.
pub fn points(p: &[Point], half: usize) -> Vec<Point> {
    let of = |f: fn(&Point) -> f64| mean(&p.iter().map(f).collect::<Vec<_>>(), half);
    of(|p| p.x).into_iter().zip(of(|p| p.y)).map(|(x, y)| Point::new(x, y)).collect()
}

/// Median over `half` entries either side, at every quarter of `half`; straight lines between.
pub fn median(v: &[f64], half: usize) -> Vec<f64> {
    let n = v.len();
    let half = half.min(n.saturating_sub(1) / 2);
    let every = (half / 4).max(1);
    let mut window = vec![0.0; 2 * half + 1];
    let at: Vec<f64> = (0..n)
        .step_by(every)
        .map(|k| {
            for (i, w) in window.iter_mut().enumerate() {
                *w = v[(k + n + i - half) % n];
            }
            *window.select_nth_unstable_by(half, f64::total_cmp).1
        })
        .collect();
    (0..n)
        .map(|k| {
            let i = k / every;
            let (a, b) = (at[i], at[(i + 1) % at.len()]);
            // The last gap may be shorter than the others.
            let gap = every.min(n - i * every);
            a + (b - a) * (k - i * every) as f64 / gap as f64
        })
        .collect()
}

/// Runs of true: first entry and count; one that passes the end goes on at the start.
pub fn runs(v: &[bool]) -> Vec<(usize, usize)> {
    let n = v.len();
    let Some(gap) = v.iter().position(|x| !x) else {
        return if n == 0 { vec![] } else { vec![(0, n)] };
    };
    let mut out: Vec<(usize, usize)> = vec![];
    let mut open = false;
    for k in (0..n).map(|i| (gap + i) % n) {
        match (v[k], open) {
            (true, false) => out.push((k, 1)),
            (true, true) => out.iter_mut().last().into_iter().for_each(|r| r.1 += 1),
            _ => {}
        }
        open = v[k];
    }
    out
}

/// Gaps of up to `longest` entries between runs of true filled.
pub fn closed(v: &[bool], longest: usize) -> Vec<bool> {
    if !v.contains(&true) {
        return v.to_vec();
    }
    let gaps: Vec<bool> = v.iter().map(|x| !x).collect();
    without_short(&gaps, longest + 1).iter().map(|x| !x).collect()
}

/// Runs of true shorter than `shortest` entries dropped.
pub fn without_short(v: &[bool], shortest: usize) -> Vec<bool> {
    let mut out = v.to_vec();
    for (from, count) in runs(v).into_iter().filter(|r| r.1 < shortest) {
        (0..count).for_each(|k| out[(from + k) % v.len()] = false);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn windows_go_round_the_end() {
        let v = [6.0, 0.0, 0.0, 0.0, 0.0, 3.0];
        assert_eq!(mean(&v, 1), vec![3.0, 2.0, 0.0, 0.0, 1.0, 3.0]);
        assert_eq!(median(&v, 1), vec![3.0, 0.0, 0.0, 0.0, 0.0, 3.0]);
        assert!(mean(&[], 3).is_empty() && median(&[], 3).is_empty());
        // The median of a straight line is the line.
        let line: Vec<f64> = (0..200).map(f64::from).collect();
        assert!(median(&line, 12)[12..=186].iter().zip(&line[12..=186]).all(|(a, b)| (a - b).abs() < 1e-9));
    }
    #[test]
    fn runs_are_closed_and_dropped_round_the_end() {
        let of = |s: &str| s.chars().map(|c| c == '#').collect::<Vec<_>>();
        assert_eq!(runs(&of("#..##..#")), vec![(3, 2), (7, 2)]);
        assert_eq!(runs(&of("###")), vec![(0, 3)]);
        assert_eq!(closed(&of("#..#...."), 2), of("####...."));
        assert_eq!(closed(&of(".#....#."), 2), of("##....##"));
        assert_eq!(without_short(&of("#.##...#"), 3), of("........"));
        assert_eq!(without_short(&of("#.##...#"), 2), of("#.##...#"));
        assert_eq!(closed(&of("...."), 9), of("...."));
    }
}
