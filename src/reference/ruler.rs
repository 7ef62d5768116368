//! A rule or tape: its ticks along a given or found straight edge give the scale, the way along it and the tilt.
//!
//! Ticks are parallel lines a known distance apart. Their places in several rows fix the plane's vanishing line as well,
//! so that a rule gives more than one length; how much more, the sigma says.

use super::pose_fit::{Solved, facing, solve};
use super::quads::Camera;
use super::ruler_comb::{Rail, Spectra, purity, windows};
use super::ruler_read::{Reading, read};
use super::search::Search;
use super::{Level, Reference, Source};
use crate::caveat;
use crate::caveat::Caveat;
use crate::geometry::{PlaneMap, Point};
use crate::photo::Photo;
use crate::plan::Tick;
use crate::units::Measured;
use nalgebra::Vector3;
use rayon::prelude::*;

/// Thickness assumed for a rule, mm, and its sigma: steel rules are 0.5 to 1.2 mm thick (common practice, no source).
const THICKNESS_MM: f64 = 0.8;
const THICKNESS_SIGMA_MM: f64 = 0.3;

/// Relative sigma of a rule's own length: 0.1 mm over 100 mm (common practice for steel rules, no source).
const LENGTH_RELATIVE: f64 = 0.001;

/// Shortest edge looked along, as a share of the photo's long side, and most edges.
const SHORTEST: f64 = 0.15;
const MOST_LINES: usize = 60;

/// Distances from the edge at which ticks are looked for, thousandths of the photo's long side. Ticks start at the edge and
/// are 3 to 5 mm long; a rule that fills the photo has 150 mm in it, one in a corner of it 400.
pub const ROWS: [f64; 7] = [2.0, 4.0, 6.0, 9.0, 13.0, 19.0, 27.0];

/// Distances at which no rule has ticks, thousandths of the photo's long side: beyond the edge, and where the longest have ended.
const NO_TICKS: [f64; 5] = [-19.0, -9.0, 90.0, 120.0, 150.0];

/// Least share of a row's power in one line: ticks are narrow, so that a third is in the first harmonic; wood under 0.1.
/// Beyond that third a row is no more like ticks: ridges of a floor are purer. Of such edges the longer goes first.
const LEAST_PURITY: f64 = 0.12;
const LIKE_TICKS: f64 = 1.0 / 3.0;

/// Candidates looked at closely: a floor's ridges show along the sides of every letter.
const MOST_CANDIDATES: usize = 12;

/// Looks for a rule. `edge`: two points on its ticked edge, where the user gave them. `tick`: what neighbouring ticks are
/// apart, where the user said so. `asked`: whether a failure is worth a caveat.
pub fn find(
    s: &Search,
    edge: Option<(Point, Point)>,
    tick: Option<Tick>,
    asked: bool,
) -> (Option<Reference>, Vec<Caveat>) {
    let unclear = |text: &str| (None, if asked { vec![caveat::RULER_UNCLEAR.with(text)] } else { vec![] });
    let rails = match edge {
        Some((a, b)) => [1.0, -1.0].map(|side| Rail::new(a, b, side)).to_vec(),
        None => promising(s),
    };
    let mut readings: Vec<Reading> = rails.par_iter().filter_map(|r| read(s.photo, r)).collect();
    // Without an edge by hand only the pattern of long ticks tells a rule from a row of ridges.
    readings.retain(|r| edge.is_some() || (even(r) && r.unit.is_some_and(|u| tick.is_none_or(|t| t == u.0))));
    let worth = |r: &Reading| r.unit.map_or(0.0, |u| u.1) + 0.002 * (r.ticks.1 - r.ticks.0).min(200) as f64;
    readings.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    let Some(best) = readings.first() else {
        return unclear(match edge {
            Some(_) => "No even row of ticks was seen along the given edge.",
            None => "No edge with the ticks of a rule was seen.",
        });
    };
    let Some(spacing) = tick.or(best.unit.map(|u| u.0)) else {
        return unclear(
            "Even ticks were seen, but not which of them are longer: half a millimetre, a millimetre or a part of an inch?",
        );
    };
    match solved(best, &s.camera, spacing) {
        Some(fit) => {
            let (level, doubt, new) = s.level(&fit.view, (0.0, 0.0), "rule", true);
            let mut caveats = match best.unit {
                Some((seen, _)) if seen != spacing => vec![caveat::RULER_UNCLEAR.with(format!(
                    "The rule was read in steps of {} as you said; its long ticks look like {}.",
                    spacing.name(),
                    seen.name()
                ))],
                _ => vec![],
            };
            caveats.extend(new);
            (Some(as_reference(s.photo, best, &fit, level).doubted(doubt)), caveats)
        }
        None => unclear("The ticks of the rule do not fit one plane."),
    }
}

/// Whether the ticks lie where an even row has them. Ruled ticks scatter by 0.007 to 0.025 of their spacing in made photos
/// and by 0.08 on a real rule of half millimetres, noise along the edge of a card in a dark photo by 0.11 to 0.19.
fn even(r: &Reading) -> bool {
    let v = r.points.iter().map(|p| p.1).sum::<f64>() / r.points.len().max(1) as f64;
    let spacing_px = r.map.spacing_px(r.map.u(((r.ticks.0 + r.ticks.1) / 2) as f64, v), v);
    r.scatter_px < MOST_SCATTER * spacing_px.abs()
}

const MOST_SCATTER: f64 = 0.095;

/// Edges with an even comb beside them, best first.
fn promising(s: &Search) -> Vec<Rail> {
    let (photo, edges) = (s.photo, &s.edges);
    let long = photo.width.max(photo.height) as f64;
    let mut spans: Vec<(Point, Point)> = s
        .lines
        .iter()
        .filter_map(|l| {
            let (a, b) = (l.stretches.first()?.0, l.stretches.last()?.1);
            let full = |t: f64| {
                let p = l.at + l.along * t;
                Point::new(edges.full(p.x), edges.full(p.y))
            };
            Some((full(a), full(b)))
        })
        .filter(|(a, b)| a.distance(*b) > SHORTEST * long)
        .collect();
    spans.sort_by(|a, b| b.0.distance(b.1).total_cmp(&a.0.distance(a.1)));
    spans.truncate(MOST_LINES);
    let mut scored: Vec<(f64, Rail)> = spans
        .par_iter()
        .flat_map_iter(|(a, b)| {
            let mut spectra = Spectra::default();
            [1.0, -1.0].map(|side| {
                let rail = Rail::new(*a, *b, side);
                let even = evenness(photo, &rail, long, &mut spectra);
                let even = if even > LEAST_PURITY && goes_on(photo, &rail, long, &mut spectra) { 0.0 } else { even };
                (even, rail)
            })
        })
        .filter(|s| s.0 > LEAST_PURITY)
        .collect();
    let worth = |s: &(f64, Rail)| (s.0.min(LIKE_TICKS), s.1.half);
    scored.sort_by(|a, b| worth(b).partial_cmp(&worth(a)).unwrap_or(std::cmp::Ordering::Equal));
    // Lines of one border lie close together.
    let mut apart: Vec<(f64, Rail)> = vec![];
    for (even, rail) in scored {
        let same = |o: &(f64, Rail)| {
            o.1.across.x * rail.across.x + o.1.across.y * rail.across.y > 0.99
                && o.1.at.distance(rail.at) < 0.004 * long
        };
        if !apart.iter().any(same) {
            apart.push((even, rail));
        }
    }
    let scored = apart;
    scored.into_iter().take(MOST_CANDIDATES).map(|s| s.1).collect()
}

/// Purity of the best row: the second best of three windows, so that one chance window is not enough.
fn evenness(photo: &Photo, rail: &Rail, long: f64, spectra: &mut Spectra) -> f64 {
    ROWS[1..5]
        .iter()
        .filter_map(|v| {
            let mut seen: Vec<(f64, f64)> = vec![];
            for x in windows(photo, rail, v * long / 1000.0, 3, (60, 400))? {
                seen.push(purity(&x, spectra));
                // Two poor ones leave no good second.
                if seen.iter().filter(|s| s.0 < LEAST_PURITY).count() == 2 {
                    return None;
                }
            }
            seen.sort_by(|a, b| b.0.total_cmp(&a.0));
            // Neighbouring windows of one comb have nearly one spacing.
            ((seen[0].1 / seen[1].1).ln().abs() < 0.2).then_some(seen[1].0)
        })
        .fold(0.0, f64::max)
}

/// Whether the same comb goes on beyond the edge or far from it: ridges of a floor and a printed grid do, ticks end.
fn goes_on(photo: &Photo, rail: &Rail, long: f64, spectra: &mut Spectra) -> bool {
    let mut of = |v: &f64| {
        let x = windows(photo, rail, v * long / 1000.0, 1, (60, 600))?.next()?;
        Some(purity(&x, spectra)).filter(|p| p.0 > LEAST_PURITY)
    };
    let near: Vec<(f64, f64)> = ROWS[1..5].iter().filter_map(&mut of).collect();
    NO_TICKS.iter().filter_map(&mut of).any(|far| near.iter().any(|near| (far.1 / near.1).ln().abs() < 0.25))
}

/// The camera over the rule's plane: x along the ticks' numbers, tick 0 of the base at (0, 0).
fn solved(r: &Reading, camera: &Camera, spacing: Tick) -> Option<Solved> {
    let mm = spacing.mm();
    let middle_v = r.points.iter().map(|p| p.1).sum::<f64>() / r.points.len() as f64;
    let middle_k = ((r.ticks.0 + r.ticks.1) / 2) as f64;
    let centre = r.rail.px(r.map.u(middle_k, middle_v), middle_v);
    // Numbers grow along +x, whichever way the rail runs.
    let sign = r.map.a.signum();
    let px_per_mm = r.map.spacing_px(r.map.u(middle_k, middle_v), middle_v) / mm;
    let z = camera.focal_px / px_per_mm;
    let d = (centre - camera.centre) * (1.0 / camera.focal_px);
    let along = r.rail.along * sign;
    let x = Vector3::new(along.x, along.y, 0.0);
    // The spacing changes by g along the rule: the distance does too.
    let lean = Vector3::new(0.0, 0.0, 1.0);
    let start = facing(camera, x, lean, Vector3::new(d.x, d.y, 1.0) * z);
    let sigma = (r.scatter_px.max(0.1)) * (r.rows as f64).sqrt();
    let line = r.rail.across;
    solve(&start, camera, |v| {
        let mut out: Vec<f64> = r
            .points
            .iter()
            .map(|(u, w, k)| {
                let p = v.backward(r.rail.px(*u, *w));
                (p.x - (k - middle_k) * mm) * px_per_mm / sigma
            })
            .collect();
        // Where across the ticks the origin lies is free; hold it at the middle row.
        let o = v.forward(Point::default()) - centre;
        out.push((o.x * line.x + o.y * line.y) / 1.0);
        out
    })
}

fn as_reference(photo: &Photo, r: &Reading, s: &Solved, level: Level) -> Reference {
    let view = s.view.clone();
    let middle = photo.centre();
    let (k0, k1) = (r.ticks.0 as f64, r.ticks.1 as f64);
    let far = r.longest_px;
    let outline_px = [(k0, 0.0), (k1, 0.0), (k1, far), (k0, far)].map(|(k, v)| r.rail.px(r.map.u(k, v), v)).to_vec();
    let focal = view.pose.focal_px;
    let own = LENGTH_RELATIVE.hypot(THICKNESS_SIGMA_MM / view.pose.distance().max(1.0));
    Reference {
        together: false,
        source: Source::Ruler,
        level,
        height_mm: THICKNESS_MM,
        residual_px: r.scatter_px,
        relative_sigma: s.scale_sigma(middle).hypot(own),
        at_px: view.forward(Point::default()),
        local_sigma: s.scale_sigma(view.forward(Point::default())).hypot(own),
        outline_px,
        focal_px: Measured::new(focal, focal * s.focal_sigma()),
        to_px: PlaneMap::Lens(view),
    }
}
