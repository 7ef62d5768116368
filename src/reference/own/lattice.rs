//! Saddle corners linked into square lattices, however turned and obliquely seen.

use super::saddles::Saddle;
use crate::geometry::{Homography, Point};
use std::collections::HashMap;
use std::f64::consts::{FRAC_PI_4, PI};

/// A lattice of saddle corners: whole-number coordinates to places in the picture.
#[derive(Debug, Clone)]
pub struct Lattice {
    pub nodes: HashMap<(i32, i32), Point>,
    /// Lattice coordinates to picture pixels.
    pub map: Homography,
    /// Whether the cell between the node (0, 0) and the node (1, 1) is white.
    pub white_at_origin: bool,
}

/// Longest cell looked for, px of the picture searched.
const LONGEST: f64 = 110.0;
/// Largest angle between a link and the edge it follows, radians: the lens and strong perspective bend by under 5 degrees.
const ASIDE: f64 = 0.2;
/// Largest difference of direction of the edges at both ends of a link, radians.
const TURNED: f64 = 0.4;
/// Fewest nodes of a lattice: eight parameters of its map want four; twice as many show whether they belong together.
const FEWEST: usize = 8;
/// Largest distance of a node from the lattice's map, cells: the lens' bend over one card is under a twentieth.
const ASTRAY: f64 = 0.15;

type Links = Vec<[Option<usize>; 4]>;

/// Lattices of at least eight nodes, the largest first. `step` tells the contrast across a point: brightness on the one
/// side less the other's over their sum, for two points.
pub fn lattices(saddles: &[Saddle], contrast: impl Fn(Point, Point) -> f64) -> Vec<Lattice> {
    let links = links(saddles, &contrast);
    let mut seen = vec![false; saddles.len()];
    let mut out: Vec<Lattice> = vec![];
    // The best linked first: their steps are the surest.
    let mut order: Vec<usize> = (0..saddles.len()).collect();
    order.sort_by_key(|n| std::cmp::Reverse(links[*n].iter().flatten().count()));
    for first in order {
        if !seen[first] {
            let nodes = walk(saddles, &links, first, &mut seen);
            if nodes.len() >= FEWEST {
                out.extend(fitted(saddles, &nodes));
            }
        }
    }
    out.sort_by_key(|l| std::cmp::Reverse(l.nodes.len()));
    out
}

/// Signed directions of a saddle's edges, radians: first, second, and both turned round.
fn directions(s: &Saddle) -> [f64; 4] {
    [s.edges[0], s.edges[1], s.edges[0] + PI, s.edges[1] + PI]
}

/// Difference of two angles, radians, in [-pi, pi].
fn between(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(2.0 * PI);
    if d > PI { d - 2.0 * PI } else { d }
}

/// Whether a saddle is bright on the side of a direction, a little way off.
fn bright_towards(s: &Saddle, angle: f64) -> bool {
    (2.0 * (angle - s.bright)).cos() > 0.0
}

/// For every saddle and each of its four directions the nearest fitting neighbour; kept where both choose each other.
fn links(saddles: &[Saddle], contrast: &impl Fn(Point, Point) -> f64) -> Links {
    let key = |p: Point| ((p.x / LONGEST) as i32, (p.y / LONGEST) as i32);
    let mut boxes: HashMap<(i32, i32), Vec<usize>> = HashMap::new();
    for (n, s) in saddles.iter().enumerate() {
        boxes.entry(key(s.at)).or_default().push(n);
    }
    let chosen: Links = saddles
        .iter()
        .enumerate()
        .map(|(n, s)| {
            let (kx, ky) = key(s.at);
            let mut near: Vec<(f64, usize)> = vec![];
            for y in ky - 1..=ky + 1 {
                for x in kx - 1..=kx + 1 {
                    let some = boxes.get(&(x, y)).into_iter().flatten();
                    near.extend(some.map(|&m| (saddles[m].at.distance(s.at), m)).filter(|p| p.0 < LONGEST && p.1 != n));
                }
            }
            near.sort_by(|a, b| a.0.total_cmp(&b.0));
            directions(s).map(|d| near.iter().map(|p| p.1).find(|&m| fits(s, d, &saddles[m], contrast)))
        })
        .collect();
    let mutual = |n: usize, m: usize| chosen[m].contains(&Some(n));
    chosen.iter().enumerate().map(|(n, four)| four.map(|m| m.filter(|&m| mutual(n, m)))).collect()
}

/// Whether `q` can be the next corner from `p` along `direction`: on the edge, with its own edge along it, bright where
/// `p` is dark, and with one and the same step all along.
fn fits(p: &Saddle, direction: f64, q: &Saddle, contrast: &impl Fn(Point, Point) -> f64) -> bool {
    let d = q.at - p.at;
    let angle = d.y.atan2(d.x);
    if between(angle, direction).abs() > ASIDE
        || !directions(q).iter().any(|e| between(*e, angle).abs() < TURNED)
        || (2.0 * (p.bright - q.bright)).cos() > -0.3
    {
        return false;
    }
    let sign = if bright_towards(p, direction + FRAC_PI_4) { 1.0 } else { -1.0 };
    let aside = Point::new(-d.y, d.x) * 0.2;
    [0.25, 0.5, 0.75].iter().all(|t| {
        let m = p.at.lerp(q.at, *t);
        sign * contrast(m + aside, m - aside) > LEAST_STEP
    })
}

/// Least contrast of the edge between two corners: a third of that of print in haze.
const LEAST_STEP: f64 = 0.08;

/// How far a step may differ from the last one the same way, relative: perspective and lens change it by under a tenth.
const UNLIKE: f64 = 0.25;
/// Largest ratio of the two sides of a cell: 2 for squares seen 60 degrees obliquely.
const LONGER: f64 = 2.2;

/// Walks the links from a saddle and numbers what it meets. A link that is longer, shorter or otherwise directed than the
/// steps before it (across a code, to a chance corner in it) is left out.
fn walk(saddles: &[Saddle], links: &Links, first: usize, seen: &mut [bool]) -> HashMap<(i32, i32), usize> {
    let mut nodes = HashMap::from([((0, 0), first)]);
    seen[first] = true;
    // Place, saddle, its direction of +u (+v is a quarter turn on), and the steps along +u and +v as far as known.
    let start = (saddles[first].edges[0], [None::<Point>; 2]);
    let mut queue = std::collections::VecDeque::from([((0, 0), first, start)]);
    let nearest = |angle: f64, set: &[f64; 4]| {
        (0..4).min_by(|&a, &b| between(set[a], angle).abs().total_cmp(&between(set[b], angle).abs())).unwrap_or(0)
    };
    while let Some((at, n, (u, mut steps))) = queue.pop_front() {
        let four = directions(&saddles[n]);
        let k0 = nearest(u, &four);
        let mut next: Vec<(f64, usize, usize)> = (0..4)
            .filter_map(|turn| {
                let m = links[n][(k0 + turn) % 4]?;
                Some((saddles[m].at.distance(saddles[n].at), turn, m))
            })
            .collect();
        // The shortest first: a false link is a long one.
        next.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (long, turn, m) in next {
            let axis = turn % 2;
            let step = (saddles[m].at - saddles[n].at) * if turn < 2 { 1.0 } else { -1.0 };
            let fits = match (steps[axis], steps[1 - axis]) {
                (Some(s), _) => s.distance(step) < UNLIKE * s.x.hypot(s.y),
                (None, Some(other)) => (long / other.x.hypot(other.y)).ln().abs() < LONGER.ln(),
                (None, None) => true,
            };
            let there = (at.0 + [1, 0, -1, 0][turn], at.1 + [0, 1, 0, -1][turn]);
            if !fits || seen[m] || nodes.contains_key(&there) {
                continue;
            }
            steps[axis] = Some(step);
            let theirs = directions(&saddles[m]);
            let own = theirs[nearest(four[k0], &theirs)];
            seen[m] = true;
            nodes.insert(there, m);
            queue.push_back((there, m, (own, steps)));
        }
    }
    nodes
}

/// The lattice's map by least squares, nodes astray left out, and its colour.
fn fitted(saddles: &[Saddle], nodes: &HashMap<(i32, i32), usize>) -> Option<Lattice> {
    let mut pairs: Vec<((i32, i32), usize)> = nodes.iter().map(|(k, n)| (*k, *n)).collect();
    pairs.sort();
    let grid = |k: (i32, i32)| Point::new(f64::from(k.0), f64::from(k.1));
    let mut map = None;
    for _ in 0..3 {
        let some: Vec<(Point, Point)> = pairs.iter().map(|(k, n)| (grid(*k), saddles[*n].at)).collect();
        let m = Homography::from_pairs(&some)?;
        let before = pairs.len();
        pairs.retain(|(k, n)| {
            let p = m.forward(grid(*k));
            p.distance(saddles[*n].at) < ASTRAY * m.scale_at(grid(*k))
        });
        let done = pairs.len() == before;
        map = Some(m);
        if pairs.len() < FEWEST {
            return None;
        }
        if done {
            break;
        }
    }
    let map = map?;
    // Every node says which colour the first cell has; they must agree.
    let says = |k: (i32, i32), n: usize| {
        let s = &saddles[n];
        let d = map.forward(grid(k) + Point::new(0.5, 0.5)) - s.at;
        bright_towards(s, d.y.atan2(d.x)) == ((k.0 + k.1).rem_euclid(2) == 0)
    };
    let yes = pairs.iter().filter(|(k, n)| says(*k, *n)).count();
    let white_at_origin = 2 * yes > pairs.len();
    pairs.retain(|(k, n)| says(*k, *n) == white_at_origin);
    if pairs.len() < FEWEST {
        return None;
    }
    let nodes = pairs.iter().map(|(k, n)| (*k, saddles[*n].at)).collect();
    Some(Lattice { nodes, map, white_at_origin })
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Matrix3;

    /// Corners of a board of 9 x 7 seen obliquely and turned, without those of a hole of 3 x 3; the contrast of its edges.
    fn board() -> (Vec<(i32, i32)>, Vec<Saddle>, Homography) {
        let (s, c) = 0.7f64.sin_cos();
        let m = Matrix3::new(20.0 * c, -14.0 * s, 300.0, 20.0 * s, 14.0 * c, 120.0, 0.004, 0.012, 1.0);
        let map = Homography::from_matrix(m).unwrap();
        let keys: Vec<(i32, i32)> = (0..9)
            .flat_map(|i| (0..7).map(move |j| (i, j)))
            .filter(|(i, j)| !((3..6).contains(i) && (2..5).contains(j)))
            .collect();
        let saddles = keys.iter().map(|&(i, j)| {
            let p = Point::new(f64::from(i), f64::from(j));
            let at = map.forward(p);
            let angle = |d: Point| {
                let q = map.forward(p + d * 0.01) - at;
                q.y.atan2(q.x).rem_euclid(PI)
            };
            let mut edges = [angle(Point::new(1.0, 0.0)), angle(Point::new(0.0, 1.0))];
            edges.sort_by(f64::total_cmp);
            let bright = angle(Point::new(1.0, if (i + j) % 2 == 0 { 1.0 } else { -1.0 }));
            Saddle { at, bright, edges }
        });
        let saddles = saddles.collect();
        (keys, saddles, map)
    }
    fn contrast(map: &Homography) -> impl Fn(Point, Point) -> f64 {
        |a, b| {
            let white = |p: Point| {
                let q = map.backward(p);
                f64::from(u8::from((q.x.floor() + q.y.floor()).rem_euclid(2.0) == 0.0))
            };
            white(a) - white(b)
        }
    }
    #[test]
    fn a_turned_and_oblique_board_is_numbered_whole() {
        let (keys, saddles, map) = board();
        let all = lattices(&saddles, contrast(&map));
        assert_eq!(all.len(), 1);
        assert_eq!(all[0].nodes.len(), keys.len());
        for (k, p) in &all[0].nodes {
            let there = all[0].map.forward(Point::new(f64::from(k.0), f64::from(k.1)));
            assert!(there.distance(*p) < 0.01, "{k:?}");
        }
        // The cell between (0, 0) and (1, 1) has the colour that the board shows there.
        let q = map.backward(all[0].map.forward(Point::new(0.5, 0.5)));
        let white = (q.x.floor() + q.y.floor()).rem_euclid(2.0) == 0.0;
        assert_eq!(all[0].white_at_origin, white);
    }
    #[test]
    fn a_link_across_a_hole_does_not_break_the_numbering() {
        let (keys, saddles, map) = board();
        let mut links = links(&saddles, &contrast(&map));
        let n = |k: (i32, i32)| keys.iter().position(|q| *q == k).unwrap();
        // The corners on both sides of the hole taken for neighbours, as over a code's quiet zone.
        for (a, b) in [((2, 3), (6, 3)), ((4, 1), (4, 5))] {
            for (from, to) in [(n(a), n(b)), (n(b), n(a))] {
                let d = saddles[to].at - saddles[from].at;
                let angle = d.y.atan2(d.x);
                let k = (0..4).find(|k| between(directions(&saddles[from])[*k], angle).abs() < 0.3).unwrap();
                assert!(links[from][k].is_none());
                links[from][k] = Some(to);
            }
        }
        let nodes = walk(&saddles, &links, n((2, 3)), &mut vec![false; saddles.len()]);
        assert_eq!(nodes.len(), keys.len());
        assert_eq!(fitted(&saddles, &nodes).unwrap().nodes.len(), keys.len());
    }
    #[test]
    fn strewn_corners_are_no_lattice() {
        let (_, saddles, map) = board();
        let strewn: Vec<Saddle> = (0..60)
            .map(|k| {
                let t = f64::from(k);
                let at = Point::new(200.0 + 90.0 * (t * 2.4).sin(), 150.0 + 80.0 * (t * 1.7).cos());
                Saddle { at, bright: (t * 0.9) % PI, ..saddles[0] }
            })
            .collect();
        assert!(lattices(&strewn, contrast(&map)).is_empty());
    }
}
