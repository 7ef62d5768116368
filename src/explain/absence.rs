//! The wood's own figure, torn fibre, a clean floor, and a photo that cannot tell.

use super::digest::{COLOUR_SHARE, Digest};
use super::weights::{Case, DECISIVE, FAIR, STRONG, WEAK, ramp};
use crate::plan::Material;
use crate::units::line_difference;

/// Rms relative brightness from which the wood's figure is plain to the eye; half of it is faint (measured figure of
/// pine, oak and maple floors: 0.02 to 0.15; measured on the practice photos, 2026-11).
const FIGURE_CONTRAST: (f64, f64) = (0.015, 0.06);
/// Share of the floor under flecks from which a surface may be torn, and surely is. Of made floors (2026-11) clean ones show
/// none to 0.004, the wood's own figure 0 to 0.006, torn ones 0.003 to 0.023.
const FLECK_FRACTION: (f64, f64) = (0.004, 0.012);

/// Flecks per square centimetre from which they may be torn fibre, and surely are: on made floors with flecks enough and no tool
/// marks (2026-12) chips, dust and plywood's figure leave up to 0.5, torn floors that an eye sees mostly 2.2 to 13; pine's late
/// wood breaks up into three, which only its colour tells.
const FLECKS_PER_CM2: (f64, f64) = (1.5, 3.5);
/// Change of colour per change of light of all lines of a floor from which flecks among them are its late wood, likely and
/// surely: what is torn changes the light alone, and most such floors stay at 0.04 to 0.36; pine's late wood shows 0.5 and more
/// (the same floors).
const FLECKS_COLOURED: (f64, f64) = (0.36, 0.52);

/// Rms relative brightness of streaks along the grain, what goes with colour taken off, from which the surface counts as
/// torn: late wood changes light and colour together, torn fibre only the light (measured on the practice photos and on
/// made scenes, 2026-11).
const STREAK_CONTRAST: (f64, f64) = (0.05, 0.1);
/// Change of colour per change of light of late wood alone (pine 0.4, oak 0.3, maple 0.15 to 0.2).
const FIGURE_COLOUR: f64 = 0.4;

/// Fitness of a photo (0 to 1) under which what it does not show says nothing: the product of all its faults.
const UNFIT: f64 = 0.3;

/// How much marks of any tool there are, 0 to 1.
pub fn tool_marks(d: &Digest) -> f64 {
    1.0 - (1.0 - d.any_line()) * (1.0 - d.loose.amount)
}

/// Uneven lines along one direction, 0 to 1, by their contrast and by how much of them runs one way.
fn uneven_lines(d: &Digest) -> f64 {
    let f = &d.marks.figure;
    ramp(f.contrast, FIGURE_CONTRAST.0, FIGURE_CONTRAST.1) * ramp(f.coherence, 0.15, 0.5)
}

/// The same on a material that has no figure: only a cutter can have left them.
pub fn cut_lines(d: &Digest) -> f64 {
    if d.is_wood() { 0.0 } else { uneven_lines(d) }
}

pub fn figure(d: &Digest, case: &mut Case) {
    let f = &d.marks.figure;
    if !d.is_wood() {
        return case.add(-DECISIVE, "this material has no figure");
    }
    let there = uneven_lines(d);
    let colour_lines = d.lines.iter().any(|l| l.family.colour_evidence().is_some_and(|c| c > COLOUR_SHARE.1));
    let seen = if colour_lines { there.max(0.7) } else { there };
    case.add(
        STRONG * (seen - 0.6) / 0.6,
        format!(
            "uneven lines along one direction (contrast {:.1} percent, {:.0} percent in one direction)",
            100.0 * f.contrast,
            100.0 * f.coherence
        ),
    );
    if let Some(c) = f.chroma_share {
        let words = format!("colour changes with them ({:.0} percent of the change in light)", 100.0 * c);
        case.add(FAIR * (2.0 * ramp(c, 0.08, 0.25) - 1.0), words);
    }
    if d.fitness.value < UNFIT {
        case.add(-FAIR, "the photo could not have shown fine ridges beside it");
    }
    let torn = torn(d);
    if torn > 0.0 {
        case.add(-STRONG * torn, "the light changes by more than the colour explains: the surface itself is rough");
    }
    if let Some(o) = f.outside.filter(|o| *o > 0.3) {
        case.add(FAIR, format!("the same lines go on outside the pocket (likeness {o:.2})"));
    }
    if let (Some(g), Some(x)) = (d.plan.grain_angle_deg, d.patch.pocket_x_deg) {
        // Lines run along the grain; their normal is a quarter turn away.
        let off = line_difference(f.normal_deg - x, g + 90.0).abs();
        if off < 10.0 {
            case.add(WEAK * seen, "they run along the planned grain");
        } else if off > 30.0 {
            case.add(-WEAK * seen, format!("they stand {off:.0} degrees off the planned grain"));
        }
    }
    unexplained(d, case);
}

pub fn fuzz(d: &Digest, case: &mut Case) {
    let f = &d.marks.flecks;
    if matches!(d.plan.material, Some(Material::Foam | Material::Plastic | Material::Aluminium)) {
        case.add(-STRONG, "this material has no fibre to tear");
    }
    if d.plan.material == Some(Material::Mdf) {
        case.add(-WEAK, "board of short fibre hardly tears");
    }
    let torn = torn(d);
    let streaks = format!(
        "streaks along the grain change the light by {:.0} percent, {}",
        100.0 * d.marks.figure.contrast,
        if torn > 0.5 { "more than their colour explains" } else { "no more than their colour explains" }
    );
    let flecks = format!(
        "{:.1} percent of the floor is covered by short flecks ({:.0} per square centimetre)",
        100.0 * f.fraction,
        f.per_cm2
    );
    case.add(STRONG * (torn - 0.5) * 2.0, if d.marks.figure.contrast > STREAK_CONTRAST.0 { streaks } else { flecks });
    unexplained(d, case);
}

/// How much the surface is torn, 0 to 1: flecks, or streaks that change the light more than colour does.
fn torn(d: &Digest) -> f64 {
    let f = &d.marks.figure;
    let fine = if d.scaled { ramp(d.marks.flecks.per_cm2, FLECKS_PER_CM2.0, FLECKS_PER_CM2.1) } else { 1.0 };
    let coloured = ramp(f.chroma_share.unwrap_or(0.0), FLECKS_COLOURED.0, FLECKS_COLOURED.1);
    let flecks = ramp(d.marks.flecks.fraction, FLECK_FRACTION.0, FLECK_FRACTION.1)
        * fine
        * (1.0 - coloured)
        * (1.0 - d.any_line());
    let plain = (1.0 - f.chroma_share.unwrap_or(FIGURE_COLOUR) / FIGURE_COLOUR).clamp(0.0, 1.0);
    let streaks = ramp(f.contrast * plain, STREAK_CONTRAST.0, STREAK_CONTRAST.1);
    let torn = if d.is_wood() { flecks.max(streaks * (1.0 - d.any_line())) } else { flecks };
    // Fibre is fine: a soft picture, or one without a pocket, shows none of it.
    torn * d.fitness.value * (1.0 - d.bent.rings)
}

fn unexplained(d: &Digest, case: &mut Case) {
    case.add(-STRONG * d.any_line(), "even, coherent lines stay unexplained");
    case.add(-STRONG * d.loose.amount, "single edges stay unexplained");
}

pub fn clean(d: &Digest, case: &mut Case) {
    case.add(-DECISIVE * d.any_line(), "even lines were found");
    case.add(-DECISIVE * d.loose.amount, "single edges were found");
    case.add(-DECISIVE * d.bent.rings, "rings of the cutter's own size were found");
    case.add(
        -DECISIVE * cut_lines(d),
        "lines along one direction were found, and this material has no figure of its own",
    );
    let torn = torn(d);
    case.add(-STRONG * torn, "torn fibre covers part of the floor");
    let fit = d.fitness.value;
    let limit = d
        .fitness
        .limit_um
        .map_or(String::new(), |h| format!(": ridges of {} would have shown", d.units.show_height(h)));
    if fit > 0.5 {
        case.add(WEAK * (1.0 - tool_marks(d)), format!("lamp, sharpness and light are good enough{limit}"));
    } else {
        case.add((fit.max(1e-3)).ln().max(-DECISIVE), "the photo could not have shown fine ridges");
    }
    if d.plan.skim_mm.is_some_and(|k| k < 0.6) {
        case.add(FAIR * (1.0 - tool_marks(d)), "the plan ends with a skim, which leaves a clean floor");
    }
}

pub fn cannot_tell(d: &Digest, case: &mut Case) {
    let unfit = 1.0 - d.fitness.value;
    for (what, _) in &d.fitness.faults {
        case.note(what.clone());
    }
    case.add(STRONG * (unfit - 0.4) / 0.6, "the photo is not fit for it");
    case.add(-DECISIVE * tool_marks(d), "marks were found all the same");
}

/// Rings from which there may be turn marks, and surely are: of 34 made floors without rings one had five, floors with
/// rings 9 to 22.
const RINGS: (f64, f64) = (5.0, 10.0);

/// Rings of the cutter's size where it turned.
pub fn turn_marks(d: &Digest, case: &mut Case) {
    unexplained(d, case);
    match d.marks.turns.as_ref().map(|t| (t.places.len(), t.radius)) {
        Some((rings, Some(r))) => {
            // Steps round letters are arcs too, but most of them are none of the cutter's size.
            let sure = d.bent.rings.max(ramp(rings as f64, RINGS.0, RINGS.1) * d.bent.rings_likely);
            let words = format!("{rings} rings of about the cutter's own size (radius {})", d.show(r.value));
            // What is seldom needs more than the four steps: texture does this on one floor of some hundreds.
            case.add((DECISIVE + STRONG) * sure, words);
        }
        _ if d.bent.rings > 0.0 => {
            let words = "most of the lines that bend are arcs of the cutter's own size";
            case.add((DECISIVE + STRONG) * d.bent.rings, words);
        }
        Some(_) => case.add(-FAIR, "no rings of the cutter's size were found"),
        None => case.add(-WEAK, "rings of the cutter's size could not be looked for"),
    }
}
