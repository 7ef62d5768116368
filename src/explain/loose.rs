//! Edges that no family explains.

use super::bent::on_ring;
use super::digest::{ALIGNED_DEG, COLOUR_SHARE, EDGE_SNR, Line, REAL, across, along_figure, has_figure};
use super::weights::ramp;
use crate::floor::Patch;
use crate::geometry::{Point, to_outline};
use crate::marks::{Edge, Marks, Polarity};
use crate::plan::{Pattern, PlannedCut, Shape};
use crate::units::line_difference;

/// An edge is in step with a family within this share of the period: edges are located to a few hundredths of it.
const IN_STEP: f64 = 0.15;

/// Edges that no family explains.
#[derive(Debug, Clone, Default)]
pub struct Loose {
    pub indices: Vec<usize>,
    /// Total length, floor-frame units.
    pub length: f64,
    /// Share of the length that is shade.
    pub shade_share: f64,
    /// 0 to 1: how much there is, against the size of the floor.
    pub amount: f64,
    /// Scatter of their heights (median absolute deviation over the median), where heights are known.
    pub height_scatter: Option<f64>,
    pub median_height_um: Option<f64>,
    /// Share of the length close to an island (letter) or a corner of the outline.
    pub near_islands: Option<f64>,
}

/// Where the edges of one polarity stand within the period of a line, turns; `None` where they scatter.
fn phase(edges: &[&Edge], l: &Line, period: f64) -> Option<f64> {
    let (mut x, mut y, mut sum) = (0.0, 0.0, 0.0);
    for e in edges {
        let (s, c) = (std::f64::consts::TAU * across(e, l.family.normal_deg.value) / period).sin_cos();
        (x, y, sum) = (x + e.length * c, y + e.length * s, sum + e.length);
    }
    // A resultant of 0.6: most edges within a sixth of a turn of each other.
    (edges.len() >= 3 && x.hypot(y) > 0.6 * sum).then(|| y.atan2(x) / std::f64::consts::TAU)
}

/// Share of a line's own brightness change under which an edge beside it is an echo of the camera's sharpening (halos
/// hold a tenth to a third of the line they belong to; a step of its own that is so weak would not decide anything).
const HALO: f64 = 0.4;

/// Which edges the families explain: those along a line that stand in step with it. Where edges along a line keep no
/// step among themselves, all of them count as explained.
///
/// Edges along a line that are far weaker than its own count as explained too.
///
/// Lines that follow the walls explain the edges that keep one distance from the nearest wall.
fn explained(marks: &Marks, lines: &[Line], outline: &[Point]) -> Vec<bool> {
    let edges = &marks.edges;
    let mut out = vec![false; edges.len()];
    for l in lines.iter().filter(|l| l.real > REAL) {
        if l.family.along_walls.is_some() {
            let off = |p: Point| to_outline(p, outline);
            let along = |e: &Edge| (off(e.from) - off(e.to)).abs() < e.length * ALIGNED_DEG.to_radians().sin();
            out.iter_mut().zip(edges).for_each(|(o, e)| *o |= along(e));
            continue;
        }
        let along = |e: &Edge| line_difference(e.normal_deg, l.family.normal_deg.value).abs() < ALIGNED_DEG;
        for polarity in [Polarity::Shade, Polarity::Lit] {
            let of: Vec<usize> =
                (0..edges.len()).filter(|i| along(&edges[*i]) && edges[*i].polarity == polarity).collect();
            let these: Vec<&Edge> = of.iter().map(|i| &edges[*i]).collect();
            let p = l.family.pitch.value;
            let steps: Vec<(f64, f64)> =
                [p, p / 2.0].into_iter().filter_map(|q| Some((q, phase(&these, l, q)?))).collect();
            for (i, e) in of.iter().zip(these) {
                let in_step = |(q, at): &(f64, f64)| {
                    let off = (across(e, l.family.normal_deg.value) / q - at).rem_euclid(1.0);
                    off.min(1.0 - off) < IN_STEP
                };
                out[*i] |= steps.is_empty() || steps.iter().any(in_step);
            }
        }
        // Beside every strong line the phone's sharpening draws a weak one of the other sign.
        let of: Vec<usize> = (0..edges.len()).filter(|i| along(&edges[*i])).collect();
        let strong: Vec<f64> = of.iter().filter(|i| out[**i]).map(|i| edges[*i].deficit.value.abs()).collect();
        let usual = crate::stats::percentile(&strong, 75.0).unwrap_or(0.0);
        for i in of {
            out[i] |= edges[i].deficit.value.abs() < HALO * usual;
        }
    }
    // What stands out of a family is its own unevenness, unless two of them bound a strip.
    out.iter_mut().zip(edges).for_each(|(o, e)| *o |= e.stands_out);
    for (a, b) in marks.strips.iter().map(|s| s.edges).filter(|(a, b)| edges[*a].stands_out && edges[*b].stands_out) {
        (out[a], out[b]) = (false, false);
    }
    out
}

/// The single edges: clear, of no family, not the foot of a wall.
pub fn find(patch: &Patch, marks: &Marks, plan: &PlannedCut, lines: &[Line], scaled: bool) -> Loose {
    let explained = explained(marks, lines, &patch.outline);
    let mut out = Loose::default();
    let (mut heights, mut shade, mut near, mut weighed) = (vec![], 0.0, 0.0, 0.0);
    // An edge belongs to letters or corners within one cutter diameter of them; 6 mm where the cutter is not known.
    let reach = if scaled { plan.cutter.diameter_mm.unwrap_or(6.0) } else { 0.06 * patch.area.max(0.0).sqrt() };
    for (i, e) in marks.edges.iter().enumerate() {
        let known = || {
            let foot = e.length > 0.0 && fillet(e, patch, plan, scaled);
            foot || on_ring(e, marks, plan, scaled) || turns_round(e, patch, plan, lines, scaled)
        };
        if e.snr < EDGE_SNR || explained[i] || known() {
            continue;
        }
        out.indices.push(i);
        out.length += e.length;
        let figure = like_figure(e, marks, plan);
        weighed += e.length * (1.0 - figure) * if scaled { seen_edge(e) } else { 1.0 };
        if e.polarity == Polarity::Shade {
            shade += e.length;
        }
        // A lit edge stops brightening where it faces the lamp: only shade tells a height. Late wood has none.
        let level = e.polarity == Polarity::Shade && figure < 0.5;
        heights.extend(e.height_um.filter(|_| level).map(|h| h.value.abs()));
        let middle = e.from.lerp(e.to, 0.5);
        if patch.islands.iter().flatten().any(|p| p.distance(middle) < reach + e.length / 2.0) {
            near += e.length;
        }
    }
    if out.length > 0.0 {
        out.shade_share = shade / out.length;
        if !patch.islands.is_empty() {
            out.near_islands = Some(near / out.length);
        }
    }
    out.median_height_um = crate::stats::median(&heights);
    if let (Some(m), true) = (out.median_height_um, heights.len() >= 4) {
        out.height_scatter = crate::stats::mad_sigma(&heights).map(|s| s / m.max(1e-9));
    }
    // A strip from wall to wall has two edges of about the floor's size; half of one is the least worth a mention.
    // Straight lines in a picture without a pocket are seldom a cutter's; without the walls' shadow, letters are not told from
    // steps by theirs.
    let trust = if patch.outline_assumed || patch.light.from_deg.is_none() { 0.4 } else { 1.0 };
    out.amount = trust * ramp(weighed / patch.area.max(1e-9).sqrt(), 0.1, 1.0);
    out
}

/// Missing or added light of an edge, mm, from which an eye sees it at all, and sees it at once. A line of 0.09 mm is what an
/// eye resolves at 0.3 m (one arc minute); a full shadow of 0.01 mm, a step of 2 um under a lamp at 12 degrees, drowns in
/// the texture of any board, one of 0.04 mm (8 um) is a line.
const SEEN_EDGE_MM: (f64, f64) = (0.01, 0.04);

/// How surely an eye sees an edge, 0 to 1; floor frame in mm.
fn seen_edge(e: &Edge) -> f64 {
    ramp(e.deficit.value.abs(), SEEN_EDGE_MM.0, SEEN_EDGE_MM.1)
}

/// Whether an edge is the foot of a wall: its rounding as a round cutter leaves it, or the glow of a lit wall.
pub fn fillet(e: &Edge, patch: &Patch, plan: &PlannedCut, scaled: bool) -> bool {
    let round = matches!(plan.cutter.shape, Some(Shape::BallNose | Shape::BullNose));
    let (Some(d), true) = (plan.cutter.diameter_mm, scaled) else { return false };
    // A flat cutter leaves no rounding, but a lit wall throws light on its foot; no strip of a pass is narrower than half a
    // stepover there.
    let reach = if round { 0.65 * d } else { (0.5 * plan.stepover_mm.unwrap_or(d)).min(0.25 * d) };
    to_outline(e.from.lerp(e.to, 0.5), &patch.outline) < reach
}

/// Reach of a turn from one pass to the next, cutter diameters from the wall.
const TURN: f64 = 1.2;

/// Whether an edge is where parallel passes turn round: it runs across even lines, along the wall at which they end, as far from
/// it as the cutter is wide.
fn turns_round(e: &Edge, patch: &Patch, plan: &PlannedCut, lines: &[Line], scaled: bool) -> bool {
    let (Some(d), Some(Pattern::Parallel), true) = (plan.cutter.diameter_mm, plan.pattern, scaled) else {
        return false;
    };
    let across = |l: &Line| line_difference(l.family.normal_deg.value, e.normal_deg).abs() > 90.0 - 2.0 * ALIGNED_DEG;
    to_outline(e.from.lerp(e.to, 0.5), &patch.outline) < TURN * d && lines.iter().any(|l| l.real > REAL && across(l))
}

/// How much an edge may be a streak of the wood's own figure, 0 to 1: along the figure's lines, where there is one, or coloured by
/// more than the light explains, by itself or with all the edges that run as it does.
fn like_figure(e: &Edge, marks: &Marks, plan: &PlannedCut) -> f64 {
    let own = e.chroma_share.filter(|_| has_figure(plan));
    let all = own.and_then(|own| {
        let shares = || {
            let along = |o: &&Edge| line_difference(o.normal_deg, e.normal_deg).abs() < 2.0 * ALIGNED_DEG;
            marks.edges.iter().filter(along).filter_map(|o| o.chroma_share).filter(|c| c.sigma > 0.0)
        };
        let weight: f64 = shares().map(|c| c.sigma.powi(-2)).sum();
        let mean = shares().map(|c| c.value * c.sigma.powi(-2)).sum::<f64>() / weight;
        // A step among streaks has its light without their colour.
        ((own.value - mean).abs() < 2.0 * own.sigma).then_some(mean - weight.sqrt().recip())
    });
    let share = own.map_or(0.0, |c| c.value - c.sigma).max(all.unwrap_or(0.0));
    0.8 * along_figure(e.normal_deg, marks).max(ramp(share, COLOUR_SHARE.0, COLOUR_SHARE.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{LengthUnit, Measured};

    #[test]
    fn an_edge_with_a_colour_of_its_own_is_figure_in_wood_alone() {
        let of = |kind: &str| crate::plan::parse(&format!("[material]\nkind = \"{kind}\""), "made", LengthUnit::Mm);
        let edge = |share: Option<Measured>| Edge {
            from: Point::default(),
            to: Point::new(30.0, 0.0),
            offset: 0.0,
            length: 30.0,
            normal_deg: 90.0,
            polarity: Polarity::Shade,
            deficit: Measured { value: 0.1, sigma: 0.01 },
            snr: 12.0,
            height_um: None,
            chroma_share: share,
            stands_out: false,
        };
        let like = |share, kind| like_figure(&edge(share), &Marks::default(), &of(kind).unwrap());
        let among = |share, other: &[Option<Measured>]| {
            let marks = Marks { edges: other.iter().map(|o| edge(*o)).collect(), ..Marks::default() };
            like_figure(&edge(share), &marks, &of("softwood").unwrap())
        };
        let faint = Measured::new(0.45, 0.25);
        assert!(among(faint, &[faint; 9]) > 0.7, "nine streaks say what one cannot");
        assert!(among(faint, &[faint]) < 0.5);
        assert_eq!(among(Measured::new(0.02, 0.05), &[faint; 9]), 0.0, "a step among them has no colour");
        let late_wood = Measured::new(0.45, 0.05);
        assert_eq!(like(late_wood, "softwood"), 0.8);
        assert_eq!(like(late_wood, "mdf"), 0.0);
        assert_eq!(like(Measured::new(0.08, 0.05), "softwood"), 0.0);
        assert_eq!(like(Measured::new(0.45, 0.4), "softwood"), 0.0, "noise");
        assert_eq!(like(None, "softwood"), 0.0);
    }
}
