//! Single edges by their places: the floor that the plan leaves says how far from which wall an edge of a cause lies and which
//! way it steps ([`laid`]); something else leaves edges anywhere, either way.

use super::digest::{ALIGNED_DEG, Digest, OUTLINE_SIGMA_MM, across};
use super::steps::WIDTH_SIGMA;
use super::weights::{FAIR, STRONG, normal};
use crate::expect::Cause;
use crate::expect::model::{Begin, Laid, laid};
use crate::marks::{Edge, Polarity};
use crate::units::line_difference;

/// Share of the edges, by length, that a floor shows beside those of its cause: ends of passes, tears, streaks (common
/// practice, no source). With less, one odd edge would speak against every cause; with more, none would.
const BESIDE: f64 = 0.3;
/// Chance that an edge of a cause is not seen: in the wall's shadow, under a card, facing the lamp (common practice, no
/// source).
const UNSEEN: f64 = 0.4;
/// Chance that the sign of an edge is read wrong: gloss, an echo in a sharpened photo (common practice, no source). The wrong
/// helix in a plan is no excuse: it moves the edge as well.
const MISREAD: f64 = 0.02;
/// An edge that runs along less than this share of the floor is no pass' edge.
const SHORTEST: f64 = 0.2;
/// An edge this near to a stronger one of the other sign, mm, is its echo in a sharpened photo.
const ECHO_MM: f64 = 1.2;
/// Most passes across the pocket that are laid out: more take seconds, and their first one is too narrow to show.
const MOST_PASSES: f64 = 80.0;

/// What the places of the edges say of a cause.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Log-likelihood ratio against edges of something else.
    pub gain: f64,
    pub words: String,
}

/// An edge as seen from one wall.
struct Seen {
    /// Distance from the wall, mm.
    at: f64,
    /// +1: the floor rises going away from the wall.
    rise: f64,
    /// Share of the floor that it runs along, at most 1.
    share: f64,
}

/// One way that the plan's passes may lie on the floor, and what the edges say of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    pub begin: Begin,
    /// How far the plan's pocket is turned against the photo's, degrees.
    pub turned_deg: f64,
    pub placed: Placed,
}

/// Lays the edges of a first pass at full width on the single edges that were found, from every wall that the passes may have
/// begun at. Empty without scale, straight walls, cutter and stepover, or edges. The floor is laid once a photo.
pub fn each_way<'d>(d: &'d Digest) -> &'d [Way] {
    d.first_ways.get_or_init(|| lay(d))
}

fn lay(d: &Digest) -> Vec<Way> {
    let (Some(x), Some(dia), Some(step)) =
        (d.patch.pocket_x_deg, d.plan.cutter.diameter_mm, d.plan.stepover_mm.filter(|_| d.scaled))
    else {
        return vec![];
    };
    let reach = d.plan.pocket_mm.map_or(0.0, |(w, h)| w.max(h));
    if d.patch.outline_assumed || d.loose.indices.is_empty() || reach > MOST_PASSES * step {
        return vec![];
    }
    // A plan that does not give the passes' direction lets them run along either side; neither does a photo tell a pocket
    // from the same one turned half round.
    let turns: &[f64] = match d.plan.pass_angle_deg {
        _ if d.plan.cutting_file.is_some() => &[0.0, 180.0],
        Some(_) => &[0.0],
        None => &[0.0, 90.0],
    };
    let way = |l: &Laid, turned_deg: f64| {
        Some(Way { begin: l.begin, turned_deg, placed: from_wall(d, l, x + l.away_deg + turned_deg, dia)? })
    };
    let all = laid(Cause::FullWidthFirstPass, d.plan);
    all.iter().filter(|l| !l.edges.is_empty()).flat_map(|l| turns.iter().filter_map(move |t| way(l, *t))).collect()
}

/// The best of all ways less what the choice among them is worth. `None` where there is none.
pub fn weigh(d: &Digest) -> Option<Placed> {
    let tried = each_way(d);
    let choices = (tried.len() as f64).ln();
    let best = tried.iter().map(|w| &w.placed).max_by(|a, b| a.gain.total_cmp(&b.gain))?;
    Some(Placed { gain: (best.gain - choices).clamp(-FAIR, STRONG), words: best.words.clone() })
}

fn from_wall(d: &Digest, l: &Laid, away_deg: f64, dia: f64) -> Option<Placed> {
    let ((near, far), (left, right)) = (d.patch.reach(away_deg), d.patch.reach(away_deg + 90.0));
    let (width, length) = (far - near, right - left);
    let found: Vec<Seen> = seen(d, away_deg, near, length);
    if found.is_empty() || !(width > dia) {
        return None;
    }
    // Without the pocket's size only what lies near the wall is where the plan says.
    let known = l.width_mm.is_some();
    let edges: Vec<(f64, f64)> =
        l.edges.iter().filter(|e| known || e.at_mm <= 1.001 * dia).map(|e| (e.at_mm, e.height_um.signum())).collect();
    let sigma = |at: f64| OUTLINE_SIGMA_MM.hypot(WIDTH_SIGMA * at.min(dia));
    let n = edges.len().max(1) as f64;
    let mut gain = 0.0;
    for e in &found {
        let fit = |(at, rise): &(f64, f64)| {
            let sign = if *rise == e.rise { 1.0 - MISREAD } else { MISREAD };
            normal(e.at, *at, sigma(*at)) * 2.0 * sign
        };
        let here: f64 = edges.iter().map(fit).sum::<f64>() / n;
        gain += e.share * (BESIDE + (1.0 - BESIDE) * width * here).ln();
    }
    let hit = |(at, rise): &(f64, f64)| {
        let near = |e: &&Seen| (e.at - at).abs() < 2.5 * sigma(*at) && e.rise == *rise;
        found.iter().filter(near).max_by(|a, b| a.share.total_cmp(&b.share))
    };
    let hits: Vec<(&Seen, f64)> = edges.iter().filter_map(|e| Some((hit(e)?, e.0))).collect();
    gain += (edges.len() - hits.len()) as f64 * UNSEEN.ln();
    let words = match hits.first() {
        Some((e, at)) => format!(
            "an edge {} from a wall, where the floor steps {} going away from it: a first pass at full width there leaves one at {}",
            d.show(e.at),
            if e.rise > 0.0 { "up" } else { "down" },
            d.show(*at)
        ),
        None => format!(
            "no edge lies where a first pass at full width along a wall would leave one{}",
            edges.first().map_or(String::new(), |e| format!(", {} from it", d.show(e.0)))
        ),
    };
    Some(Placed { gain, words })
}

/// Single edges along one wall, echoes of a sharpened photo left out.
fn seen(d: &Digest, away_deg: f64, wall: f64, length: f64) -> Vec<Seen> {
    let edges: Vec<&Edge> = d
        .loose
        .indices
        .iter()
        .map(|i| &d.marks.edges[*i])
        .filter(|e| line_difference(e.normal_deg, away_deg).abs() < ALIGNED_DEG && e.length > SHORTEST * length)
        .collect();
    let echo = |e: &Edge| {
        edges.iter().any(|o| {
            o.polarity != e.polarity
                && o.deficit.value.abs() > 2.0 * e.deficit.value.abs()
                && (across(o, away_deg) - across(e, away_deg)).abs() < ECHO_MM
        })
    };
    let lamp = d.patch.light.from_deg.map(|l| (l.value - away_deg).to_radians().cos());
    edges
        .iter()
        .filter(|e| !echo(e))
        .filter_map(|e| {
            // A dark line steps down going away from the lamp.
            let rise = match (e.height_um, lamp) {
                (Some(h), _) => h.value.signum() * (e.normal_deg - away_deg).to_radians().cos().signum(),
                (None, Some(towards)) => towards.signum() * if e.polarity == Polarity::Shade { 1.0 } else { -1.0 },
                _ => return None,
            };
            Some(Seen { at: across(e, away_deg) - wall, rise, share: (e.length / length).min(1.0) })
        })
        .collect()
}
