//! What the marks say once they are set in the pocket's frame and sorted: lines, left-over edges, and whether the photo
//! could have shown anything at all.

use super::bent::{self, Bent};
use super::ladder::{self, Ladder};
use super::loose::{self, Loose};
use super::weights::ramp;
use crate::expect::{Expected, PitchRole};
use crate::fit::Fit;
use crate::floor::Patch;
use crate::marks::{Edge, FINEST_PLANNED, Family, Marks, NEITHER_SHARE};
use crate::plan::PlannedCut;
use crate::rectify::FloorFrame;
use crate::reference::Source;
use crate::units::{LengthUnit, Measured, line_difference, wrap_180};

/// A line direction counts as that of the plan within this many degrees: the frame's turn is known to about a degree
/// (straightness of walls in the photo), passes to a few tenths.
pub const ALIGNED_DEG: f64 = 3.0;
/// Beyond this many degrees from both pocket axes a line is oblique.
pub const OBLIQUE_DEG: f64 = 8.0;
/// Smallest relative sigma of a pitch against the plan: axis scale and rounding of a hobby machine (common practice, no
/// source). Smaller would turn a worn belt into a finding.
pub const AXIS_SCALE_SIGMA: f64 = 0.004;
/// Edges weaker than this many sigmas are not counted: at 5, about one in a million by chance per trial.
pub const EDGE_SNR: f64 = 5.0;

/// Chromatic share from which lines may be colour, and surely are.
pub const COLOUR_SHARE: (f64, f64) = (0.12, 0.3);
/// No photo is trusted for ridges under this, micrometres: routed wood is rough by 3 to 5 um (Ra; Sutcu & Karagoz,
/// BioResources 8(4) (2013) 5435).
const LEAST_CLAIM_UM: f64 = 3.0;
/// Under this many passes in step a floor's spectrum is unsure of its lines, and edges are looked at one by one as well.
pub const FEW_PASSES: f64 = 8.0;
/// Rounding of real step edges, mm (wood springs back; common practice, no source).
const EDGE_ROUNDING_MM: f64 = 0.05;
/// Blur of a sharp phone photo, px, one sigma.
pub(super) const USUAL_BLUR_PX: f64 = 1.0;
/// Relative brightness change of lines (rms) from which an eye sees them at all, and sees them at once: contrast
/// sensitivity is about one percent at best (from memory), less on textured wood. Lines fainter than that are no ridges
/// a user would ask about: a floor with only such lines is clean where the lamp is low.
const SEEN_CONTRAST: (f64, f64) = (0.006, 0.015);

/// From which [`Line::real`] on a family is taken for lines of the cutter where nothing in between is possible.
pub const REAL: f64 = 0.4;

/// One family set in the pocket's frame.
#[derive(Debug, Clone)]
pub struct Line<'a> {
    pub index: usize,
    pub family: &'a Family,
    /// Relative sigma of its pitch, with the scale's share.
    pub relative_sigma: f64,
    /// Direction across its lines in the pocket's frame, where the frame is tied.
    pub pocket_deg: Option<f64>,
    /// How surely it is an even, coherent family of relief, 0 to 1.
    pub real: f64,
}

impl Line<'_> {
    /// Degrees off the nearer pocket axis.
    pub fn off_axis(&self) -> Option<f64> {
        self.pocket_deg.map(off_axis)
    }
    /// Degrees off a direction of the pocket's frame.
    pub fn off(&self, wanted_deg: f64) -> Option<f64> {
        Some(line_difference(self.pocket_deg?, wanted_deg).abs())
    }
}

/// Whether the photo could have shown ridges.
#[derive(Debug, Clone, Default)]
pub struct Fitness {
    /// 0: could not have shown anything; 1: a ridge of a few micrometres would have shown.
    pub value: f64,
    /// What is wrong with the photo, each with what to do about it.
    pub faults: Vec<(String, String)>,
    /// Smallest height that would have been found, micrometres.
    pub limit_um: Option<f64>,
}

/// Everything the causes are weighed by.
pub struct Digest<'a> {
    pub plan: &'a PlannedCut,
    pub marks: &'a Marks,
    pub patch: &'a Patch,
    pub expected: &'a Expected,
    /// Millimetres are known.
    pub scaled: bool,
    /// Strongest first; colour families included (with a low `real`).
    pub lines: Vec<Line<'a>>,
    pub loose: Loose,
    /// Lines that bend.
    pub bent: Bent,
    /// Few, wide passes: evenly spaced edges among the loose ones.
    pub ladder: Option<Ladder>,
    pub fitness: Fitness,
    pub units: LengthUnit,
    /// The pocket's measured size over the planned one, where something else than the pocket gives the scale.
    pub pocket_ratio: Option<Measured>,
    /// Blur of a sharp edge on the floor, floor-frame units, one sigma: rounding by the cut and the lens.
    pub edge_blur: f64,
    /// Filled by [`super::place::each_way`] when first asked for.
    pub first_ways: std::cell::OnceCell<Vec<super::place::Way>>,
}

impl<'a> Digest<'a> {
    pub fn new(
        frame: &'a FloorFrame,
        patch: &'a Patch,
        fit: &Fit,
        marks: &'a Marks,
        plan: &'a PlannedCut,
        expected: &'a Expected,
    ) -> Self {
        let mut lines: Vec<Line> = marks
            .families
            .iter()
            .enumerate()
            .filter(|(_, f)| f.pitch.value > 0.0)
            .map(|(index, family)| Line {
                index,
                family,
                relative_sigma: family.pitch.relative_sigma().max(1e-4),
                pocket_deg: patch.pocket_x_deg.map(|x| wrap_180(family.normal_deg.value - x)),
                real: realness(family, has_figure(plan)) * beside_grid(family.normal_deg.value, &marks.families),
            })
            .collect();
        let strength = |l: &Line| l.real * contrast(l.family).max(1e-6);
        lines.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
        let scaled = frame.scale.is_some();
        let mut loose = loose::find(patch, marks, plan, &lines, scaled);
        let roles = [PitchRole::Planned, PitchRole::Rounded, PitchRole::Twice];
        let planned: Vec<f64> = roles.into_iter().flat_map(|r| expected.of(r)).filter(|_| scaled).collect();
        // A family of few lines explains some flanks and leaves others: the rungs are looked for among all of them.
        let few = lines.iter().any(|l| l.real > REAL && l.family.coherent_passes < FEW_PASSES);
        let rung = |e: &&Edge| e.snr >= EDGE_SNR && !loose::fillet(e, patch, plan, scaled);
        let width = |deg: f64| patch.width(deg);
        let mut ladder = if few {
            ladder::find(marks.edges.iter().filter(rung), &planned, width)
        } else {
            ladder::find(loose.indices.iter().map(|i| &marks.edges[*i]), &planned, width)
        };
        if let Some(l) = &mut ladder {
            // Late wood can lie as even as three or four passes; then colour goes with it.
            let colour = ramp(marks.figure.chroma_share.unwrap_or(COLOUR_SHARE.1), COLOUR_SHARE.0, COLOUR_SHARE.1);
            l.real *= 1.0 - along_figure(l.normal_deg, marks) * colour;
            l.real *= beside_grid(l.normal_deg, &marks.families);
        }
        if let Some(l) = &ladder {
            loose.amount *= 1.0 - l.real * l.share;
        }
        let bent = bent::find(patch, marks, plan, scaled);
        loose.amount = 1.0 - (1.0 - loose.amount) * (1.0 - bent.steps);
        let fitness = fitness(frame, patch, fit, marks, plan, scaled);
        let lens = patch.blur_px.unwrap_or(USUAL_BLUR_PX) * frame.scale.map_or(1.0, |s| s.value);
        let edge_blur = if scaled { lens.hypot(EDGE_ROUNDING_MM) } else { lens };
        let pocket_ratio = pocket_ratio(frame, patch, plan);
        Self {
            plan,
            marks,
            patch,
            expected,
            scaled,
            lines,
            loose,
            bent,
            ladder,
            fitness,
            units: plan.units,
            pocket_ratio,
            edge_blur,
            first_ways: Default::default(),
        }
    }
    /// A length of the floor frame for the reader.
    pub fn show(&self, length: f64) -> String {
        if self.scaled { self.units.show(length) } else { format!("{length:.1} px") }
    }
    /// How surely there are evenly spaced lines of relief, 0 to 1.
    pub fn any_line(&self) -> f64 {
        let ladder = self.ladder.as_ref().map_or(0.0, |l| l.real);
        self.lines.iter().map(|l| l.real).fold(ladder, f64::max)
    }
    /// Whether the marks that speak for a cause, a family (index among the marks') or else the single edges, are so faint
    /// that an eye may not see them.
    pub fn faint(&self, family: Option<usize>) -> bool {
        if let Some(f) = family {
            return contrast(&self.marks.families[f]) < FAINT.0;
        }
        let edges = || self.loose.indices.iter().map(|i| &self.marks.edges[*i]);
        let length: f64 = edges().map(|e| e.length).sum();
        let light: f64 = edges().map(|e| e.length * e.deficit.value.abs()).sum();
        self.scaled && length > 0.0 && light < FAINT.1 * length
    }
    /// Whether a line is one of several of nearly one pitch that fan out over directions: arcs or circles.
    pub fn fans_out(&self, l: &Line) -> bool {
        let same = |o: &&Line| {
            let off = line_difference(o.family.normal_deg.value, l.family.normal_deg.value).abs();
            o.index != l.index
                && o.real > 0.2
                && off > ALIGNED_DEG
                && (o.family.pitch.value / l.family.pitch.value).ln().abs() < 0.1
        };
        self.lines.iter().filter(same).count() >= 2
    }
    pub fn is_wood(&self) -> bool {
        has_figure(self.plan)
    }
}

/// What is left of lines along a grid: two families of one pitch and strength that cross at a right angle all over the floor.
/// Paper and cloth look so. Of passes both ways the later ones leave nothing of the earlier, and round a contour either way has
/// its own part.
const PRINTED: f64 = 0.2;
/// The same pitch (relative), a right angle (degrees), as strong (ratio) and all over (share of the tiles). Wide enough for a
/// picture taken at a slant; lines along neighbouring walls share the floor, so they cannot both show on three fifths of it.
const ALIKE: (f64, f64, f64, f64) = (0.08, 4.0, 2.0, 0.6);

/// What a grid leaves of lines with this normal: every fifth line of printed paper is a bolder one.
fn beside_grid(normal_deg: f64, all: &[Family]) -> f64 {
    let along = |g: &&Family| line_difference(g.normal_deg.value, normal_deg).abs() < ALIKE.1;
    if all.iter().filter(along).any(|g| crosses_its_like(g, all)) { PRINTED } else { 1.0 }
}

fn crosses_its_like(f: &Family, all: &[Family]) -> bool {
    let (pitch, angle, ratio, everywhere) = ALIKE;
    let straight = |f: &Family| !f.curved && !f.wandering && f.coverage >= everywhere;
    straight(f)
        && all.iter().any(|g| {
            straight(g)
                && (g.pitch.value / f.pitch.value).ln().abs() < pitch
                && line_difference(g.normal_deg.value, f.normal_deg.value).abs() > 90.0 - angle
                && (contrast(g) / contrast(f)).ln().abs() < f64::ln(ratio)
        })
}

/// Whether the stock may have lines of its own colour.
pub fn has_figure(plan: &PlannedCut) -> bool {
    use crate::plan::Material::{Hardwood, Plywood, Softwood};
    plan.material.is_none_or(|m| matches!(m, Hardwood | Plywood | Softwood))
}

/// How surely a family is an even, coherent family of relief lines: the product of what each property leaves.
fn realness(f: &Family, figured: bool) -> f64 {
    // One in ten thousand counts as certain: marks already allow for the number of places searched.
    let sure = ramp(-(f.false_alarm.max(1e-12)).log10(), 0.5, 4.0);
    let everywhere = 0.3 + 0.7 * ramp(f.coverage, 0.1, 0.5);
    let in_step = 0.3 + 0.7 * ramp(f.coherent_passes, 2.0, 4.0);
    // Lines placed at random scatter by 0.37 of their spacing (uniform); passes by a few hundredths, chatter that
    // wanders by up to a fifth.
    let even = if f.wandering { 1.0 } else { 1.0 - 0.6 * ramp(f.jitter, 0.2, 0.35) };
    // Beyond what the photo's own tone curve does, relief shows a chromatic share under 0.1, colour of the wood itself 0.15
    // (maple) to 0.4 (pine); both measured on the practice photos, 2026-11.
    // In a material without a figure a channel that burns out on the lit flanks is likelier than lines of colour.
    let colour = if figured || f.by_pair { 0.85 } else { 0.25 };
    let relief = 1.0 - colour * ramp(f.colour_evidence().unwrap_or(NEITHER_SHARE), COLOUR_SHARE.0, COLOUR_SHARE.1);
    sure * everywhere * in_step * even * relief * ramp(contrast(f), SEEN_CONTRAST.0, SEEN_CONTRAST.1)
}

/// Relative brightness change of a family's lines, rms: of the mean profile, of its harmonics taken one by one, which also
/// holds where the lines wander and the mean profile washes out, or of a wave that swings as far as the mean profile does: an
/// eye sees thin lines far apart by how dark each is, not by how much of the floor they cover. The mean of few lines is that
/// of the one or two that are strong.
pub fn contrast(f: &Family) -> f64 {
    let harmonics = f.harmonics.iter().map(|h| h * h).sum::<f64>();
    let (low, high) = f.folded.iter().fold((0.0f64, 0.0f64), |(a, b), v| (a.min(*v), b.max(*v)));
    let swing = if f.coherent_passes < FEW_PASSES { 0.0 } else { (high - low) / 8f64.sqrt() };
    f.contrast.max((harmonics / 2.0).sqrt()).max(swing)
}

/// One side of a found outline against the wall's foot, mm, one sigma: chips, a fillet, the shadow's border (common
/// practice, no source).
pub const OUTLINE_SIGMA_MM: f64 = 0.4;

/// The pocket's measured size over the planned one: root of the ratio of the areas of the boxes along its walls. `None`
/// where the pocket itself gave the scale, or its outline was not found along straight walls.
fn pocket_ratio(frame: &FloorFrame, patch: &Patch, plan: &PlannedCut) -> Option<Measured> {
    let by_pocket = |s: Source, share: f64| s == Source::Pocket && share > 0.0;
    let circular =
        frame.source.is_some_and(|s| by_pocket(s, 1.0)) || frame.compared.iter().any(|c| by_pocket(c.source, c.weight));
    let (Some((w, h)), Some(scale), Some(x)) = (plan.pocket_mm, frame.scale, patch.pocket_x_deg) else { return None };
    if circular || patch.outline_given || patch.outline_assumed {
        return None;
    }
    let extent = |deg: f64| {
        let (near, far) = patch.reach(deg);
        far - near
    };
    let ratio = (extent(x) * extent(x + 90.0) / (w * h)).sqrt();
    let sides = OUTLINE_SIGMA_MM * std::f64::consts::SQRT_2 * (1.0 / w).hypot(1.0 / h) / 2.0;
    // A tenth off is another pocket, or a piece of one.
    Measured::new(ratio, sides.hypot(scale.relative_sigma())).filter(|m| (m.value - 1.0).abs() < 0.1)
}

/// Degrees between a direction of the pocket's frame and the nearer of its axes.
pub fn off_axis(pocket_deg: f64) -> f64 {
    let d = line_difference(pocket_deg, 0.0).abs();
    d.min(90.0 - d)
}

/// Distance of an edge's middle from the origin along a normal.
pub fn across(e: &Edge, normal_deg: f64) -> f64 {
    let (s, c) = normal_deg.to_radians().sin_cos();
    let m = e.from.lerp(e.to, 0.5);
    m.x * c + m.y * s
}

/// Under this relative brightness change (rms) lines, and under this missing light single edges (mm), may escape an eye: twice
/// the contrast that an eye sees on even ground, half the width that it resolves at 0.3 m. Wood is no even ground.
const FAINT: (f64, f64) = (0.02, 0.05);

/// How much lines of this direction run along a plain figure, 0 to 1.
pub fn along_figure(normal_deg: f64, marks: &Marks) -> f64 {
    let f = &marks.figure;
    let along = ramp(line_difference(normal_deg, f.normal_deg).abs(), 12.0, 4.0);
    along * ramp(f.coherence, 0.2, 0.5) * ramp(f.contrast, 0.01, 0.04)
}

/// How much of what there is the photo can have shown: the product of what each fault leaves. The words on the photo are
/// those of the fit room; only the smallest height that would have shown comes from the marks.
fn fitness(frame: &FloorFrame, patch: &Patch, fit: &Fit, marks: &Marks, plan: &PlannedCut, scaled: bool) -> Fitness {
    let (quality, s) = (&marks.quality, plan.stepover_mm.filter(|_| scaled));
    // 5 to 10 um is what shows under stain or gloss (common practice, no source): a photo that would have missed 25 um
    // says nothing about a clean floor.
    let (shows, missed) = match quality.detectable_height_um {
        Some(h) => (ramp(h, 25.0, 8.0), format!("Ridges under about {}", plan.units.show_height(h))),
        None => (
            ramp(quality.detectable_contrast, 0.06, 0.02),
            format!("Lines weaker than {:.1} percent in brightness", 100.0 * quality.detectable_contrast),
        ),
    };
    let sharp = match (patch.blur_px, s, frame.scale) {
        // A Gaussian blur of sigma 0.2 pitches leaves 45 percent of a line's contrast, of 0.35 pitches 9 percent.
        (Some(blur), Some(s), Some(k)) => ramp(blur * k.value / s, 0.4, 0.2),
        // A sharp phone photo has a blur near one pixel, and a stepover of two to three millimetres takes 30 to 60: a blur
        // of 7 px leaves a third of the contrast of lines 30 px apart, exp(-2 (pi 7 / 30)^2).
        (Some(blur), _, _) => ramp(blur, 7.0, 3.0),
        _ => 1.0,
    };
    let keeps = [
        // Anything at all may be in the picture; what was measured may not be a floor.
        if fit.without_pocket() { 0.2 } else { 1.0 },
        shows,
        sharp,
        patch.light.elevation_deg.map_or(1.0, |e| ramp(e.value, 55.0, 25.0)),
        patch.shadow_contrast.map_or(1.0, |c| 0.3 + 0.7 * ramp(c, 1.2, 2.0)),
        ramp(patch.burnt_fraction, 0.7, 0.3),
        ramp(patch.used_fraction, 0.03, 0.15),
        // Passes finer than that are not looked for; at 4 px a sharp lens and the camera's colour filter leave half of them.
        s.zip(frame.scale).map_or(1.0, |(s, k)| ramp(s / k.value, FINEST_PLANNED, 4.0)),
        s.map_or(1.0, |s| ramp(patch.area.max(0.0).sqrt() / s, 2.0, 5.0)),
    ];
    let mut faults: Vec<(String, String)> =
        fit.faults().iter().map(|j| (j.text.clone(), j.change.to_owned())).collect();
    if shows < FAULTY {
        let advice = "put the lamp lower (10 to 15 degrees above the floor), darken the room, come closer";
        faults.push((format!("{missed} would not have shown in this photo"), advice.to_owned()));
    }
    Fitness {
        value: keeps.iter().filter(|k| **k < FAULTY).product(),
        faults,
        limit_um: quality.detectable_height_um.map(|h| h.max(LEAST_CLAIM_UM)),
    }
}

/// A fault that leaves more than this is none.
const FAULTY: f64 = 0.9;
