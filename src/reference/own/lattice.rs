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
    for first in 0..saddles.len() {
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

/// Walks the links from a saddle and numbers what it meets.
fn walk(saddles: &[Saddle], links: &Links, first: usize, seen: &mut [bool]) -> HashMap<(i32, i32), usize> {
    let mut nodes = HashMap::from([((0, 0), first)]);
    seen[first] = true;
    // Place, saddle, its direction of +u; +v is a quarter turn on.
    let mut queue = std::collections::VecDeque::from([((0, 0), first, saddles[first].edges[0])]);
    while let Some((at, n, u)) = queue.pop_front() {
        let four = directions(&saddles[n]);
        let nearest = |angle: f64, set: &[f64; 4]| {
            (0..4).min_by(|&a, &b| between(set[a], angle).abs().total_cmp(&between(set[b], angle).abs())).unwrap_or(0)
        };
        let k0 = nearest(u, &four);
        for turn in 0..4 {
            let Some(m) = links[n][(k0 + turn) % 4] else { continue };
            if seen[m] {
                continue;
            }
            let next = (at.0 + [1, 0, -1, 0][turn], at.1 + [0, 1, 0, -1][turn]);
            if nodes.contains_key(&next) {
                continue;
            }
            let theirs = directions(&saddles[m]);
            let own = theirs[nearest(four[k0], &theirs)];
            seen[m] = true;
            nodes.insert(next, m);
            queue.push_back((next, m, own));
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
