//! Several references in one photo: what each says of the scale, which of them agree, and their weighted mean.

use super::{Compared, FloorFrame};
use crate::caveat;
use crate::caveat::Caveat;
use crate::geometry::{Homography, PlaneMap, Point};
use crate::plan::PlannedCut;
use crate::reference::Level;
use crate::reference::Reference;
use crate::units::Measured;
use nalgebra::DMatrix;

/// Doubt of the height of a reference's face above the plane it lies on, mm: limits of ISO/IEC 7810 are 0.68 to 0.84 mm,
/// and a card seldom lies closer than this.
pub const HEIGHT_SIGMA_MM: f64 = 0.03;

/// Doubt of the planned depth against the one cut, mm: zeroing on paper or a touch plate (common practice, no source).
const DEPTH_SIGMA_MM: f64 = 0.1;

/// What an unknown depth can cost: pockets of signs are 2 to 10 mm deep (common practice, no source), half of that range
/// as the expected offset's sigma.
const UNKNOWN_DEPTH_SIGMA_MM: f64 = 5.0;

/// From how many sigmas of their difference on two references disagree: of a hundred pairs that are right, fewer than one
/// is called wrong (one in 370 for normal errors).
const DISAGREE_SIGMAS: f64 = 3.0;

/// The pocket's depth as far as it is known.
pub struct Depth {
    pub mm: Option<f64>,
    pub sigma_mm: f64,
}

impl Depth {
    pub fn of(plan: &PlannedCut) -> Self {
        let mm = plan.depth_mm.filter(|d| *d > 0.0);
        Self { mm, sigma_mm: if mm.is_some() { DEPTH_SIGMA_MM } else { UNKNOWN_DEPTH_SIGMA_MM } }
    }
}

/// What the references say together.
pub struct Verdict {
    /// Factor on the first reference's millimetres.
    pub correction: f64,
    /// Of the corrected scale at the photo's centre.
    pub relative_sigma: f64,
    pub compared: Vec<Compared>,
}

/// One reference's scale at the floor: log ratio to the frame's, own sigma, and how it moves with what all share.
struct Says {
    log_ratio: f64,
    own: f64,
    /// Change of ln scale per sigma of the depth and of ln focal length.
    depth: f64,
    focal: f64,
}

impl Says {
    fn apart(&self, o: &Says) -> Measured {
        let shared = (self.depth - o.depth).powi(2) + (self.focal - o.focal).powi(2);
        let sigma = (self.own.powi(2) + o.own.powi(2) + shared).sqrt();
        Measured { value: o.log_ratio - self.log_ratio, sigma }
    }
    fn agrees(&self, o: &Says) -> bool {
        let d = self.apart(o);
        d.value.abs() <= DISAGREE_SIGMAS * d.sigma
    }
}

/// Compares the references' scales (the first is the one `frame` was made from) and joins those that agree.
///
/// Each is compared at its own place in the photo, on its own plane as the frame's camera sees it. The covariance of the
/// log scales at the floor holds the reference's own sigma and its height over the distance (each for itself), the depth's
/// sigma over the distance and the focal length's sigma times the offset (shared: they do not average out). The weights
/// are those of generalised least squares, none below zero; references that one camera was fitted to count as one. The largest set of references that agree with one of them within three sigmas of the difference is used; among equal sets
/// the one with the earliest reference; a reference given by hand is always the only one used. Where any reference
/// disagrees with the first, a caveat names both values, and half of the largest difference is added to the sigma in
/// quadrature: as if the other were the right one in one case of four.
pub fn compare(
    frame: &FloorFrame,
    references: &[Reference],
    depth: &Depth,
    focal_relative: f64,
    centre: Point,
) -> (Verdict, Vec<Caveat>) {
    let says: Vec<Says> =
        references.iter().enumerate().map(|(k, r)| says(frame, r, k == 0, depth, focal_relative)).collect();
    let used = if references[0].source.by_hand() { vec![0] } else { agreeing(&says) };
    // Those that one camera was fitted to say one and the same: the surest speaks for them, and they share its weight.
    let (together, mut lone): (Vec<usize>, Vec<usize>) = used.into_iter().partition(|k| references[*k].together);
    let speaker = together.iter().copied().min_by(|a, b| says[*a].own.total_cmp(&says[*b].own));
    lone.extend(speaker);
    lone.sort_unstable();
    let mut weights = weights(&says, lone);
    let mean = |f: &dyn Fn(&Says) -> f64| weights.iter().zip(&says).map(|(w, s)| w * f(s)).sum::<f64>();
    let own = weights.iter().zip(&says).map(|(w, s)| (w * s.own).powi(2)).sum::<f64>();
    let mut relative_sigma = (own + mean(&|s| s.depth).powi(2) + mean(&|s| s.focal).powi(2)).sqrt();
    let correction = mean(&|s| s.log_ratio).exp();
    if let Some(k) = speaker {
        let share = weights[k] / together.len() as f64;
        together.iter().for_each(|k| weights[*k] = share);
    }
    let mut caveats = vec![];
    let others: Vec<usize> = (1..says.len()).filter(|k| !says[0].agrees(&says[*k])).collect();
    let at_centre = 1.0 / frame.to_px.scale_at(frame.to_px.backward(centre));
    for k in &others {
        let d = says[0].apart(&says[*k]);
        caveats.push(caveat::REFERENCES_DISAGREE.with(format!(
            "By {} a pixel at the photo's centre is {:.5} mm of floor, by {} {:.5} mm: {:.2} % apart, {:.1} times the doubt of \
             the difference.",
            references[0].source.name(),
            at_centre,
            references[*k].source.name(),
            at_centre * d.value.exp(),
            100.0 * d.value.exp_m1().abs(),
            d.value.abs() / d.sigma,
        )));
    }
    let widest = others.iter().map(|k| says[*k].log_ratio.abs()).fold(0.0, f64::max);
    relative_sigma = relative_sigma.hypot(widest / 2.0);
    let compared = references.iter().enumerate().map(|(k, r)| {
        let d = says[0].apart(&says[k]);
        let sigma = if k == 0 { 0.0 } else { d.sigma };
        Compared {
            source: r.source,
            level: r.level,
            relative_difference: Measured { value: d.value.exp_m1(), sigma },
            weight: weights[k],
        }
    });
    let verdict = Verdict { correction, relative_sigma, compared: compared.collect() };
    (verdict, caveats)
}

/// The largest set of references that agree with one of them; of equal sets the one round the earliest.
fn agreeing(says: &[Says]) -> Vec<usize> {
    let mut best: Vec<usize> = vec![];
    for s in says {
        let set: Vec<usize> = (0..says.len()).filter(|k| s.agrees(&says[*k])).collect();
        if set.len() > best.len() {
            best = set;
        }
    }
    best
}

/// Weights of generalised least squares (sum 1) for the references in `used`, 0 for the others. A reference whose weight
/// would be negative only mirrors another's shared error: it is left out.
fn weights(says: &[Says], mut used: Vec<usize>) -> Vec<f64> {
    let mut out = vec![0.0; says.len()];
    while used.len() > 1 {
        let n = used.len();
        let covariance = DMatrix::from_fn(n, n, |i, j| {
            let (a, b) = (&says[used[i]], &says[used[j]]);
            a.depth * b.depth + a.focal * b.focal + if i == j { a.own.powi(2) } else { 0.0 }
        });
        let Some(inverse) = covariance.try_inverse() else { break };
        let row: Vec<f64> = (0..n).map(|i| inverse.row(i).sum() / inverse.sum()).collect();
        let least = (0..n).min_by(|i, j| row[*i].total_cmp(&row[*j])).unwrap_or(0);
        if row[least] >= 0.0 {
            used.iter().zip(row).for_each(|(k, w)| out[*k] = w);
            return out;
        }
        used.remove(least);
    }
    out[used[0]] = 1.0;
    out
}

fn says(frame: &FloorFrame, r: &Reference, first: bool, depth: &Depth, focal_relative: f64) -> Says {
    let on_rim = r.level == Level::Rim;
    let up = r.height_mm + if on_rim { depth.mm.unwrap_or(0.0) } else { 0.0 };
    let distance = frame.pose.as_ref().map(|p| p.distance().max(1.0));
    let per_mm = distance.map_or(0.0, |d| 1.0 / d);
    let log_ratio = if first { 0.0 } else { -(px_per_mm(r) / frame_px_per_mm(frame, up, r.at_px)).ln() };
    let height = if r.height_mm > 0.0 { HEIGHT_SIGMA_MM * per_mm } else { 0.0 };
    Says {
        log_ratio,
        own: if first { r.relative_sigma } else { r.local_sigma }.hypot(height),
        depth: if on_rim { depth.sigma_mm * per_mm } else { 0.0 },
        focal: up * per_mm * focal_relative,
    }
}

/// Scale of a reference on its own plane at its own place.
fn px_per_mm(r: &Reference) -> f64 {
    r.to_px.scale_at(r.to_px.backward(r.at_px))
}

/// Scale of the plane `up` mm over the frame's floor at a photo point, as the frame's camera sees it.
fn frame_px_per_mm(frame: &FloorFrame, up: f64, at: Point) -> f64 {
    let own = |m: &PlaneMap| m.scale_at(m.backward(at));
    if let PlaneMap::Lens(v) = &frame.to_px {
        return own(&PlaneMap::Lens(v.shifted(up)));
    }
    let on = |h: &Homography| h.scale_at(h.backward(at));
    // The pose's own map differs from the measured one by what does not fit a camera; only its change with height is used.
    let change = frame.pose.as_ref().and_then(|p| Some(on(&p.shifted(up).homography()?) / on(&p.homography()?)));
    own(&frame.to_px) * change.unwrap_or(1.0)
}
