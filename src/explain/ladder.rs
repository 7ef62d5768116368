//! Few, wide passes: parallel edges at even distances. Under six spacings the floor's spectrum cannot tell ridges from slow
//! shading, but edges one by one can: a large cutter leaves four or five of them.

use super::digest::{ALIGNED_DEG, EDGE_SNR, across};
use super::weights::ramp;
use crate::marks::{Edge, Polarity};
use crate::units::{Measured, line_difference};

/// Edges nearer than this share of the spacing belong to one line. A ridge's lit and dark flank lie a tenth of a wide
/// stepover apart or less; edges of neighbouring passes a whole one.
pub const ONE_LINE: f64 = 0.2;
/// Largest distance of a line from its even place, share of the spacing: short edges at either end of a floor scatter by
/// their direction's error (1 degree over 60 mm is 1 mm), and perspective left in a photo without a scale bends the steps.
const EVEN: f64 = 0.12;
/// Least share of a line's weaker polarity in its stronger for a ridge with two flanks: a camera's sharpening draws an echo
/// of up to a third (see the weight of halos among loose edges).
const TWO_FLANKS: f64 = 0.5;
/// Least length of the other flank of a ridge: level steps show short pieces of edges beside them, a ridge's flanks go together.
const ALONG: f64 = 0.7;
/// Rungs, and share of all single edges' length on them, from which a ladder is possible, and is certain. Three lines are
/// evenly spaced by chance within a tenth in one case of five, five in one of a hundred.
const RUNGS: (f64, f64) = (2.0, 4.0);
const SHARE: (f64, f64) = (0.4, 0.8);

/// Least share of the floor's width that a ladder of no planned spacing spans.
const SPANNED: f64 = 0.3;

/// Evenly spaced edges.
#[derive(Debug, Clone, PartialEq)]
pub struct Ladder {
    pub normal_deg: f64,
    pub pitch: Measured,
    pub rungs: usize,
    /// Share of the rungs with two flanks, one dark and one lit.
    pub two_flanked: f64,
    /// Share of the single edges' length on the ladder.
    pub share: f64,
    /// How surely it is one, 0 to 1.
    pub real: f64,
}

/// One line: mean place, length of edge, and light missing and added.
struct Rung {
    at: f64,
    length: f64,
    shade: f64,
    lit: f64,
}

/// The ladder among `edges` that holds most of their length; `planned` are the spacings a plan lets expect (floor units;
/// empty without scale: then the edges' own gaps are tried, and the rungs must span a third of the floor's width along their
/// normal, which `width` gives for its degrees: passes go on over the whole floor, while pieces of one edge scatter about it as
/// evenly). `None` with fewer than three rungs.
pub fn find<'a>(edges: impl Iterator<Item = &'a Edge>, planned: &[f64], width: impl Fn(f64) -> f64) -> Option<Ladder> {
    let edges: Vec<&Edge> = edges.filter(|e| e.snr >= EDGE_SNR).collect();
    let all: f64 = edges.iter().map(|e| e.length).sum();
    let mut best: Option<Ladder> = None;
    for seed in edges.iter().filter(|e| e.length > 0.1 * all / edges.len() as f64) {
        let along: Vec<&Edge> = edges
            .iter()
            .copied()
            .filter(|e| line_difference(e.normal_deg, seed.normal_deg).abs() < 1.5 * ALIGNED_DEG)
            .collect();
        // The mean direction, about the seed's, by length.
        let sum: f64 = along.iter().map(|e| e.length).sum();
        let turn = along.iter().map(|e| e.length * line_difference(e.normal_deg, seed.normal_deg)).sum::<f64>() / sum;
        let normal_deg = seed.normal_deg + turn;
        let own = gaps(&along, normal_deg);
        for pitch in if planned.is_empty() { &own[..] } else { planned } {
            let Some(l) = ladder(&along, normal_deg, *pitch, all) else { continue };
            if planned.is_empty() && l.rungs as f64 * l.pitch.value < SPANNED * width(normal_deg) {
                continue;
            }
            if best.as_ref().is_none_or(|b| (l.real, l.share) > (b.real, b.share)) {
                best = Some(l);
            }
        }
    }
    best
}

/// Whether an edge is one flank of a ridge: beside it among `edges`, within `reach`, runs one of the other sign that is half as strong or
/// more.
pub fn is_ridge<'a>(e: &Edge, mut edges: impl Iterator<Item = &'a Edge>, reach: f64) -> bool {
    let m = e.from.lerp(e.to, 0.5);
    edges.any(|o| {
        let apart = (across(o, e.normal_deg) - across(e, e.normal_deg)).abs();
        let beside = o.from.lerp(o.to, 0.5).distance(m) < (e.length + o.length) / 2.0;
        let (a, b) = (e.deficit.value.abs(), o.deficit.value.abs());
        o.polarity != e.polarity
            && line_difference(o.normal_deg, e.normal_deg).abs() < ALIGNED_DEG
            && apart < reach
            && beside
            && o.length > ALONG * e.length
            && a.min(b) > TWO_FLANKS * a.max(b)
    })
}

/// Spacings worth a try where nothing is planned: every gap between two edges that could hold three rungs.
fn gaps(edges: &[&Edge], normal_deg: f64) -> Vec<f64> {
    let mut at: Vec<f64> = edges.iter().map(|e| across(e, normal_deg)).collect();
    at.sort_by(f64::total_cmp);
    let span = at.last().unwrap_or(&0.0) - at.first().unwrap_or(&0.0);
    let mut out = vec![];
    for i in 0..at.len() {
        for b in &at[i + 1..] {
            let gap = b - at[i];
            if gap > span / 12.0 && gap < span / 1.8 && !out.iter().any(|o: &f64| (gap / o).ln().abs() < 0.05) {
                out.push(gap);
            }
        }
    }
    out
}

fn ladder(edges: &[&Edge], normal_deg: f64, pitch: f64, all: f64) -> Option<Ladder> {
    let mut lines: Vec<Rung> = vec![];
    let mut sorted: Vec<(f64, &Edge)> = edges.iter().map(|e| (across(e, normal_deg), *e)).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (at, e) in sorted {
        let light = e.deficit.value.abs() * e.length;
        let (shade, lit) = if e.polarity == Polarity::Shade { (light, 0.0) } else { (0.0, light) };
        match lines.last_mut().filter(|r| at - r.at < ONE_LINE * pitch) {
            Some(r) => {
                let length = r.length + e.length;
                r.at += (at - r.at) * e.length / length;
                (r.length, r.shade, r.lit) = (length, r.shade + shade, r.lit + lit);
            }
            None => lines.push(Rung { at, length: e.length, shade, lit }),
        }
    }
    // From the line that most others stand in step with; then place and spacing by least squares.
    let number = |r: &Rung, from: f64, p: f64| ((r.at - from) / p).round();
    let fits = |r: &Rung, from: f64, p: f64| (r.at - from - number(r, from, p) * p).abs() < EVEN * p;
    let held = |from: f64, p: f64| lines.iter().filter(|r| fits(r, from, p)).map(|r| r.length).sum::<f64>();
    let start = lines.iter().map(|r| r.at).max_by(|a, b| held(*a, pitch).total_cmp(&held(*b, pitch)))?;
    let on: Vec<&Rung> = lines.iter().filter(|r| fits(r, start, pitch)).collect();
    let (x, y): (Vec<f64>, Vec<f64>) = on.iter().map(|r| (number(r, start, pitch), r.at)).unzip();
    let mut numbers = x.iter().map(|v| *v as i64).collect::<Vec<_>>();
    numbers.dedup();
    let rungs = numbers.len();
    let spanned = (numbers.last()? - numbers.first()? + 1) as usize;
    // Every second place empty: another spacing, or none.
    if rungs < 3 || 5 * rungs < 3 * spanned {
        return None;
    }
    let (_, slope, _, _) = crate::stats::fit_line(&x, &y, None)?;
    if (slope / pitch).ln().abs() > EVEN {
        return None;
    }
    let two = on.iter().filter(|r| r.shade.min(r.lit) > TWO_FLANKS * r.shade.max(r.lit)).count();
    let share = on.iter().map(|r| r.length).sum::<f64>() / all;
    let real = ramp(rungs as f64, RUNGS.0, RUNGS.1) * ramp(share, SHARE.0, SHARE.1);
    let sigma = 0.3 * EVEN * pitch / (rungs as f64 - 1.0);
    let two_flanked = two as f64 / on.len() as f64;
    // Lines with one flank each are what level steps leave as well: four of them are worth three with two.
    let real = if two_flanked < 0.5 { real * ramp(rungs as f64, 3.0, 5.0) } else { real };
    Some(Ladder { normal_deg, pitch: Measured::new(slope, sigma)?, rungs, two_flanked, share, real })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;

    /// A horizontal edge at height y, 30 long.
    fn edge(y: f64, polarity: Polarity) -> Edge {
        Edge {
            from: Point::new(0.0, y),
            to: Point::new(30.0, y),
            offset: y,
            length: 30.0,
            normal_deg: 90.0,
            polarity,
            deficit: Measured::new(0.1, 0.01).unwrap(),
            snr: 12.0,
            height_um: None,
            chroma_share: None,
            stands_out: false,
        }
    }
    fn ridges(at: &[f64]) -> Vec<Edge> {
        at.iter().flat_map(|y| [edge(y - 0.6, Polarity::Lit), edge(y + 0.6, Polarity::Shade)]).collect()
    }

    #[test]
    fn wide_passes_are_a_ladder_with_and_without_a_plan() {
        let e = ridges(&[-23.4, -7.6, 9.0, 25.1]);
        for planned in [&[16.3][..], &[]] {
            let l = find(e.iter(), planned, |_| 60.0).unwrap();
            assert_eq!((l.rungs, l.two_flanked), (4, 1.0), "{l:?}");
            assert!((l.pitch.value - 16.2).abs() < 3.0 * l.pitch.sigma && l.real == 1.0, "{l:?}");
        }
    }
    #[test]
    fn a_strip_and_uneven_edges_are_none() {
        let strip = [edge(3.0, Polarity::Shade), edge(5.5, Polarity::Lit)];
        assert_eq!(find(strip.iter(), &[2.5], |_| 60.0), None);
        assert!(find(ridges(&[0.0, 4.0, 15.0, 21.0, 40.0]).iter(), &[16.3], |_| 60.0).is_none_or(|l| l.real < 0.2));
        // Three single steps may be even by chance.
        let steps = [0.0, 10.0, 20.0].map(|y| edge(y, Polarity::Shade));
        assert_eq!(find(steps.iter(), &[10.0], |_| 60.0).unwrap().real, 0.0);
        // Without a plan four lines on a sixth of the floor are pieces of one.
        let pieces = ridges(&[-23.4, -7.6, 9.0, 25.1]);
        assert_eq!(find(pieces.iter(), &[], |_| 400.0), None);
        assert!(find(pieces.iter(), &[16.3], |_| 400.0).is_some());
    }
}
