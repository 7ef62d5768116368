//! What was measured against the limits, in words.

use super::kinds::*;
use super::{Fit, Flow, Grade, Judgement, Seen};
use crate::floor::Patch;
use crate::geometry::{Point, signed_area};
use crate::plan::{Material, Pattern, PlannedCut};
use crate::rectify::FloorFrame;
use crate::reference::Reference;
use crate::units::line_difference;

/// Floor-frame units per millimetre: 1 with a scale. Without one the pocket tells: its planned size, else it is taken to be
/// 90 mm across (square root of its area), as the floor's own search does.
pub(super) fn units_per_mm(frame: &FloorFrame, patch: &Patch, plan: &PlannedCut) -> f64 {
    if frame.scale.is_some() {
        return 1.0;
    }
    let across = plan.pocket_mm.map_or(90.0, |(w, h)| (w * h).sqrt());
    (signed_area(&patch.outline).abs().sqrt() / across).max(1e-6)
}

/// Coherence from which lines are plain: half of all change lies along one direction.
const CLEAR_LINES: f64 = 0.5;

/// Share of the light that a dark seam takes from which, without a scale, the outline is no pocket's. A second lamp that
/// takes a third is rarer than a picture of something else.
const NOT_A_WALL: f64 = 0.3;

/// Collects judgements in the registry's order.
struct Desk(Vec<Judgement>);

impl Desk {
    fn done(mut self) -> Fit {
        self.0.sort_by_key(|j| ALL.iter().position(|k| k.id == j.id));
        Fit { judgements: self.0 }
    }
    /// A number that is bad when large.
    fn above(&mut self, kind: &'static Kind, value: f64, care: f64, retake: Option<f64>, fact: String) {
        let grade = match (value >= care, retake.is_some_and(|r| value >= r)) {
            (_, true) => Grade::Retake,
            (true, _) => Grade::Care,
            _ => Grade::Ok,
        };
        self.put(kind, grade, Some(value), (Some(care), retake), fact);
    }
    /// A number that is bad when small.
    fn below(&mut self, kind: &'static Kind, value: f64, care: f64, retake: Option<f64>, fact: String) {
        let grade = match (value < care, retake.is_some_and(|r| value < r)) {
            (_, true) => Grade::Retake,
            (true, _) => Grade::Care,
            _ => Grade::Ok,
        };
        self.put(kind, grade, Some(value), (Some(care), retake), fact);
    }
    fn put(
        &mut self,
        kind: &'static Kind,
        grade: Grade,
        value: Option<f64>,
        (care, retake): (Option<f64>, Option<f64>),
        fact: String,
    ) {
        let head = if grade == Grade::Ok { kind.fine } else { kind.fault };
        let text = if fact.is_empty() { head.to_owned() } else { format!("{head}: {fact}") };
        self.0.push(Judgement {
            id: kind.id,
            grade,
            value: value.filter(|v| v.is_finite()),
            unit: kind.unit,
            care,
            retake,
            text,
            change: kind.change,
        });
    }
}

/// Judges one photo by what the rooms have measured ([`Patch`], [`FloorFrame`]) and by what its pixels say ([`Seen`]).
///
/// `size`: width and height of the photo, px. What cannot be known (no scale, no plan, no clear edge) is not judged:
/// its record is missing, it does not count against the photo. Never fails.
pub fn judge(
    size: (usize, usize),
    frame: &FloorFrame,
    references: &[Reference],
    patch: &Patch,
    plan: &PlannedCut,
    seen: &Seen,
) -> Fit {
    let mut desk = Desk(vec![]);
    // A dark seam along walls that cannot cast one, and nothing of known size: not a pocket under one lamp.
    let odd = frame.scale.is_none() && !patch.outline_given && seen.second_shadow.is_some_and(|s| s > NOT_A_WALL);
    if patch.outline_assumed || odd {
        desk.put(&NO_POCKET, Grade::Retake, None, (None, None), String::new());
        // What lamp, floor and passes do cannot be said of something else.
        ridges(&mut desk, frame, patch, plan, seen);
        scale(&mut desk, frame, references, patch);
        return desk.done();
    }
    ridges(&mut desk, frame, patch, plan, seen);
    lamp(&mut desk, frame, patch, plan, seen);
    exposure(&mut desk, patch);
    camera(&mut desk, frame, plan, seen);
    grain(&mut desk, patch, plan, seen);
    scale(&mut desk, frame, references, patch);
    framing(&mut desk, size, frame, patch, plan);
    desk.done()
}

/// The planned stepover in photo pixels at the photo's centre.
fn stepover_px(frame: &FloorFrame, plan: &PlannedCut) -> Option<f64> {
    Some(plan.stepover_mm? / frame.scale?.value)
}

fn ridges(desk: &mut Desk, frame: &FloorFrame, patch: &Patch, plan: &PlannedCut, seen: &Seen) {
    let pitch = stepover_px(frame, plan);
    // Without a scale the planned pocket still tells how large the stepover is, to a few per cent.
    let about = plan.pocket_mm.and(plan.stepover_mm).filter(|_| !patch.outline_assumed);
    let about = pitch.or(about.map(|s| s * units_per_mm(frame, patch, plan)));
    // A Gaussian edge rises from 10 to 90 % within 2.563 sigma.
    let blur = patch.blur_px.or(seen.edge.map(|e| e.rise_px / 2.563));
    if let Some(b) = blur {
        let (care, retake) = about.map_or((4.0, 7.0), |p| ((0.2 * p).min(6.0), 0.35 * p));
        let fact = match (frame.scale, plan.stepover_mm) {
            (Some(k), Some(s)) => format!(
                "edges are blurred over {:.1} px, that is {} on the floor; the passes lie {} apart",
                2.0 * b,
                plan.units.show(2.0 * b * k.value),
                plan.units.show(s)
            ),
            _ => format!("edges are blurred over {:.1} px", 2.0 * b),
        };
        desk.above(&SHARPNESS, b, care, Some(retake.max(care)), fact);
    }
    if let Some(p) = pitch {
        desk.below(&PIXELS, p, 8.0, Some(4.0), format!("{p:.0} px from pass to pass"));
    }
}

fn lamp(desk: &mut Desk, frame: &FloorFrame, patch: &Patch, plan: &PlannedCut, seen: &Seen) {
    if let Some(e) = patch.light.elevation_deg {
        let fact = || format!("about {:.0} degrees above the floor (10 to 15 is best)", e.value);
        // In doubt for the photo: one sigma.
        let at_least = e.value - e.sigma;
        desk.above(&LAMP_HIGH, at_least, 27.0, Some(42.0), fact());
        if e.value + e.sigma < 5.0 {
            desk.below(&LAMP_LOW, e.value, 5.0, None, fact());
        }
    } else if patch.light.from_deg.is_none() {
        let doubtful = frame.scale.is_none() && !patch.outline_given;
        let grade = if doubtful { Grade::Retake } else { Grade::Care };
        desk.put(&NO_SHADOW, grade, None, (None, None), String::new());
    }
    if let Some(c) = patch.shadow_contrast {
        let fact = format!("the lit floor is {c:.1} times as bright as the shadow");
        desk.below(&ROOM_LIGHT, c, 2.5, Some(1.4), fact);
    }
    if let Some(s) = seen.second_shadow {
        let p = 100.0 * s;
        desk.above(&SECOND_LAMP, p, 15.0, Some(45.0), format!("a second shadow takes {p:.0} % of the light"));
    }
    if let (Some(from), Some(passes)) = (patch.light.from_deg, pass_direction(patch, plan)) {
        // In doubt for the photo: one sigma.
        let off = line_difference(from.value, passes + 90.0).abs();
        let at_least = (off - from.sigma).max(0.0);
        let fact = format!("{off:.0} degrees off the way across them");
        // Lines that stand across the light are seen all the same: marks along the passes, not between them.
        let other =
            |l: &Flow| line_difference(l.along_deg + 90.0, from.value).abs() < 35.0 && l.coherence > CLEAR_LINES;
        let figure = |l: &Flow| {
            seen.colour_lines
                .is_some_and(|c| c.coherence > CLEAR_LINES && line_difference(c.along_deg, l.along_deg).abs() < 15.0)
        };
        let lines = seen.light_lines.filter(|l| other(l) && !figure(l));
        desk.above(&LAMP_ALONG, at_least, 55.0, lines.is_none().then_some(86.0), fact);
    }
}

/// Direction of the passes in the floor frame, degrees, where plan and picture tie it down.
fn pass_direction(patch: &Patch, plan: &PlannedCut) -> Option<f64> {
    // Contour passes run every way; a plan that does not say "parallel" but names an angle means parallel.
    if plan.pattern == Some(Pattern::Contour) {
        return None;
    }
    Some(plan.pass_angle_deg? + patch.pocket_x_deg?)
}

fn exposure(desk: &mut Desk, patch: &Patch) {
    let (burnt, black, used) =
        (100.0 * patch.burnt_fraction, 100.0 * patch.black_fraction, 100.0 * patch.used_fraction);
    desk.above(&BURNT, burnt, 10.0, Some(50.0), format!("{burnt:.0} % of the floor"));
    desk.above(&BLACK, black, 35.0, Some(75.0), format!("{black:.0} % of the floor is black"));
    desk.below(&LITTLE_FLOOR, used, 20.0, Some(6.0), format!("{used:.0} % of the pocket's floor can be used"));
}

fn camera(desk: &mut Desk, frame: &FloorFrame, plan: &PlannedCut, seen: &Seen) {
    if let Some(a) = frame.pose.as_ref().map(crate::geometry::Pose::obliquity_deg) {
        desk.above(&OBLIQUE, a, 32.0, Some(52.0), format!("{a:.0} degrees off square"));
    }
    if let Some(e) = seen.edge {
        let (n, h) = (100.0 * e.nyquist, 100.0 * e.halo);
        desk.above(&ALIASED, n, 55.0, None, format!("{n:.0} % of the detail is left at the pixels' own limit"));
        desk.above(&SHARPENED, h, 14.0, None, format!("edges overshoot by {h:.0} %"));
    }
    if let Some(b) = seen.blocks {
        let near = stepover_px(frame, plan)
            .is_some_and(|p| [0.5, 1.0, 2.0].iter().any(|k| (p / (k * b.pitch_px)).ln().abs() < 0.15));
        let c = 100.0 * b.contrast;
        let fact = format!(
            "blocks of {:.1} px with seams of {c:.1} % of the light{}",
            b.pitch_px,
            if near { ", close to the spacing of the passes" } else { "" }
        );
        desk.above(&JPEG_BLOCKS, c, if near { 0.8 } else { 3.0 }, None, fact);
    }
    if let Some(d) = seen.detail {
        let w = 100.0 * d.wiped;
        desk.above(&SMOOTHED, w, 25.0, None, format!("{w:.0} % of the lit floor is wiped flat"));
    }
}

fn grain(desk: &mut Desk, patch: &Patch, plan: &PlannedCut, seen: &Seen) {
    let Some(passes) = pass_direction(patch, plan) else { return };
    let planned = plan.grain_angle_deg.zip(patch.pocket_x_deg).map(|(g, x)| g + x);
    let wood = plan.material.is_none_or(|m| matches!(m, Material::Softwood | Material::Hardwood | Material::Plywood));
    let found = seen.colour_lines.filter(|g| wood && g.coherence > CLEAR_LINES).map(|g| g.along_deg);
    let Some(found) = found else { return };
    // Plan and picture must agree where both speak.
    if planned.is_some_and(|p| line_difference(p, found).abs() > 25.0) {
        return;
    }
    let off = line_difference(found, passes).abs();
    desk.below(&GRAIN_ALONG, off, 12.0, None, format!("{off:.0} degrees between them"));
}

fn scale(desk: &mut Desk, frame: &FloorFrame, references: &[Reference], patch: &Patch) {
    let Some(s) = frame.scale else {
        return desk.put(&NO_REFERENCE, Grade::Care, None, (None, None), String::new());
    };
    let p = 100.0 * s.relative_sigma();
    desk.above(&REFERENCE_SMALL, p, 1.0, None, format!("lengths are sure to {p:.2} %"));
    // The nearest of all that can be seen, each in its own lengths.
    let middle = mean(&patch.outline_px);
    let far = |r: &Reference| {
        let o = &r.outline_px;
        let pairs = (0..o.len()).flat_map(|i| (0..i).map(move |j| (i, j)));
        mean(o).distance(middle) / pairs.map(|(i, j)| o[i].distance(o[j])).fold(1.0, f64::max)
    };
    let Some(far) = references.iter().filter(|r| r.outline_px.len() >= 3).map(far).reduce(f64::min) else { return };
    desk.above(&REFERENCE_FAR, far, 3.0, None, format!("{far:.1} times its own length away"));
}

fn mean(points: &[Point]) -> Point {
    points.iter().fold(Point::default(), |s, p| s + *p) * (1.0 / points.len().max(1) as f64)
}

fn framing(desk: &mut Desk, size: (usize, usize), frame: &FloorFrame, patch: &Patch, plan: &PlannedCut) {
    let share = 100.0 * signed_area(&patch.outline_px).abs() / (size.0 * size.1).max(1) as f64;
    desk.below(&POCKET_SMALL, share, 7.0, None, format!("it covers {share:.0} % of the picture"));
    if let (Some(s), true) = (plan.stepover_mm, frame.scale.is_some()) {
        let n = patch.area.max(0.0).sqrt() / s;
        desk.below(&FEW_PASSES, n, 5.0, None, format!("about {n:.0} stepovers across the lit floor"));
    }
}
