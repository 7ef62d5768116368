//! Numbers and ids in words: rounding, units, names.

use super::Inspection;
use crate::expect::Cause;
use crate::explain::findings;
use crate::explain::{Along, Verdict};
use crate::fit::Grade;
use crate::floor::LightSource;
use crate::marks::PeriodKind;
use crate::opposite::Pair;
use crate::reference::{Level, Source};
use crate::units::{LengthUnit, MM_PER_INCH, Measured};

/// `value ± sigma` with the sigma at two digits (one from 3 up) and the value to the same place; a sigma of zero gives
/// four significant digits.
pub fn plus_minus(m: Measured, unit: &str) -> String {
    let place = if m.sigma > 0.0 {
        let power = m.sigma.log10().floor();
        let lead = m.sigma / 10f64.powf(power);
        (if lead < 3.0 { 1.0 } else { 0.0 }) - power
    } else if m.value != 0.0 {
        3.0 - m.value.abs().log10().floor()
    } else {
        0.0
    };
    let decimals = place.clamp(0.0, 9.0) as usize;
    let gap = if unit.is_empty() || unit == "\u{b0}" || unit == "%" { "" } else { " " };
    if m.sigma > 0.0 {
        format!("{:.decimals$} \u{b1} {:.decimals$}{gap}{unit}", m.value, m.sigma)
    } else {
        format!("{:.decimals$}{gap}{unit}", m.value)
    }
}

/// A length on the floor in the user's unit, or in pixels where there is no scale.
pub(super) fn length(i: &Inspection, m: Measured) -> String {
    if i.frame.scale.is_some() { length_in(i.plan.units, m) } else { plus_minus(m, "px") }
}

/// A length in millimetres, in the unit asked for.
pub fn length_in(unit: LengthUnit, mm: Measured) -> String {
    match unit {
        LengthUnit::Mm => plus_minus(mm, "mm"),
        LengthUnit::In => plus_minus(mm.scaled(1.0 / MM_PER_INCH), "in"),
    }
}

/// A height in micrometres, or in thousandths of an inch.
pub fn height(unit: LengthUnit, um: Measured) -> String {
    match unit {
        LengthUnit::Mm => plus_minus(um, "\u{b5}m"),
        LengthUnit::In => plus_minus(um.scaled(1.0 / 25.4), "thousandths of an inch"),
    }
}

pub(super) fn percent(share: f64) -> String {
    match share * 100.0 {
        p if p > 0.0 && p < 1.0 => "under 1%".into(),
        p => format!("{p:.0}%"),
    }
}

pub(super) fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::DeflectionSteps => "deflection steps",
        Verdict::Scallops => "scallops",
        Verdict::Both => "deflection steps and scallops",
        Verdict::Other => "another cause than steps or scallops",
        Verdict::NoneSeen => "no ridges seen",
        Verdict::CannotTell => "cannot tell",
    }
}

/// How good one thing about the photo is, or the photo itself.
pub(super) fn fitness(g: Grade) -> &'static str {
    match g {
        Grade::Ok => "in order",
        Grade::Care => "usable with care",
        Grade::Retake => "take the photo again",
    }
}

/// The cause's name for the reader.
pub(super) fn cause(c: Cause) -> &'static str {
    findings::record(c).title
}

/// How well the second photo lies on the first.
pub(super) fn opposite(p: &Pair) -> String {
    let apart =
        p.lamps_apart_deg.map_or(String::new(), |a| format!(" The lamps stand {a:.0}\u{b0} apart, seen from above."));
    format!(
        "{} was laid on the first photo: {} of {} places agree within {:.2} px (rms). {} of the measured floor is lit in both.{apart}",
        p.file,
        p.registered.agreeing,
        p.registered.pieces,
        p.registered.residual_px,
        percent(p.shared_fraction),
    )
}

/// What could show along the passes, a sentence a kind.
pub(super) fn along(i: &Inspection, a: &Along) -> Vec<String> {
    let show = |mm: f64| i.plan.units.show(mm);
    let first = format!(
        "The floor has {:.1} pixels per millimetre here: marks show from {} apart on.",
        a.px_per_mm,
        show(a.finest_mm)
    );
    let none = a.marks.is_empty().then(|| {
        "Feed and speed are not in the plan, so marks of single turns and teeth cannot be named by their spacing."
            .to_owned()
    });
    let each = a.marks.iter().map(|m| match (m.found_mm, m.shows) {
        (Some(f), _) => format!("The {} is {}: lines {} apart agree with it.", m.what, show(m.pitch_mm), show(f)),
        (None, true) => format!("The {} is {}: no lines of that spacing stand out.", m.what, show(m.pitch_mm)),
        (None, false) => format!(
            "The {} is {}, too fine for this photo: about {:.0} pixels per millimetre would show it.",
            m.what,
            show(m.pitch_mm),
            m.px_per_mm_needed.ceil()
        ),
    });
    std::iter::once(first).chain(none).chain(each).collect()
}

/// What the surface figures are, or why they are missing.
pub(super) fn surface(i: &Inspection) -> String {
    match &i.marks.surface.why {
        Some(why) => format!("Ra, Rq and Rz are not given: {why}."),
        None => "Figures of the evenly spaced ridges alone, by the definitions of ISO 4287 and ISO 21920-2, from heights that the light tells. The wood's own texture is averaged out, so a stylus on the same floor reads more.".into(),
    }
}

/// What was seen of the rim; `None` where it was not judged.
pub(super) fn rim(i: &Inspection) -> Option<String> {
    let r = &i.marks.rim;
    let share = r.ragged?;
    let longest = r.pieces.first().map_or(String::new(), |p| {
        format!(" The longest of {} ragged pieces is {} long.", r.pieces.len(), i.plan.units.show(p.length))
    });
    Some(format!(
        "Burr or torn fibre along {} of the top edges that could be judged ({} of their length).{longest} Clean edges of test photos were read as up to a tenth ragged.",
        plus_minus(share.scaled(100.0), "%"),
        percent(r.judged_fraction),
    ))
}

pub(super) fn period_kind(k: PeriodKind) -> &'static str {
    match k {
        PeriodKind::Relief => "relief",
        PeriodKind::Colour => "colour",
        PeriodKind::Unsure => "not told apart",
    }
}

/// How the scale was got: one or two sentences.
pub(super) fn scale(i: &Inspection) -> String {
    let f = &i.frame;
    let Some(s) = f.scale else {
        return "No scale: nothing of known size was found or given, so lengths are in pixels.".into();
    };
    let s = match i.plan.units {
        LengthUnit::Mm => plus_minus(s, "mm per pixel"),
        LengthUnit::In => plus_minus(s.scaled(1.0 / MM_PER_INCH), "inches per pixel"),
    };
    let mut out = format!("{s} at the photo's centre, from {}", f.source.map_or("the reference", Source::name));
    match f.level {
        Some(Level::Rim) => out.push_str(" on the top face"),
        Some(Level::Floor) => out.push_str(" on the pocket's floor"),
        None => {}
    }
    out.push('.');
    if f.floor_offset_corrected {
        let by = Measured { value: 100.0 * f.floor_offset_relative, sigma: 100.0 * f.floor_offset_sigma };
        let how = if f.level == Some(Level::Rim) { "depth and own height" } else { "own height" };
        let change = plus_minus(by, "%");
        out.push_str(&format!(
            " Carried down to the floor by {} (the reference's {how}), which changed it by {change}.",
            i.plan.units.show(f.floor_offset_mm)
        ));
    } else if f.level == Some(Level::Rim) {
        out.push_str(" Not carried down to the floor.");
    }
    for c in f.compared.iter().skip(1) {
        let d = c.relative_difference.scaled(100.0);
        out.push_str(&format!(" {} differs by {}.", capital(c.source.name()), plus_minus(d, "%")));
    }
    if f.compared.iter().filter(|c| c.weight > 0.0).count() > 1 {
        out.push_str(" Those that agree were joined by their weight.");
    }
    if f.residual_px > 0.0 {
        out.push_str(&format!(" The reference fits to {:.1} pixels.", f.residual_px));
    }
    out
}

pub(super) fn capital(s: &str) -> String {
    let mut c = s.chars();
    c.next().map_or(String::new(), |first| first.to_uppercase().chain(c).collect())
}

/// Where the lamp stands: one sentence, or that it is not known.
pub(super) fn lamp(i: &Inspection) -> String {
    let l = &i.patch.light;
    let mut parts = vec![];
    if let Some(d) = l.from_deg {
        parts.push(format!("light from the {} ({})", side(d.value), plus_minus(d, "\u{b0}")));
    }
    if let Some(e) = l.elevation_deg {
        parts.push(format!("lamp {} above the floor", plus_minus(e, "\u{b0}")));
    }
    if parts.is_empty() {
        return "lamp not known".into();
    }
    let how = match l.source {
        Some(LightSource::Given) => " (as you gave it)",
        Some(LightSource::WallShadow) => " (from the shadow of the pocket's wall)",
        None => "",
    };
    format!("{}{how}", parts.join(", "))
}

/// The side of the photo an angle points to (0 = right, 90 = below).
fn side(deg: f64) -> &'static str {
    const SIDES: [&str; 8] =
        ["right", "lower right", "bottom", "lower left", "left", "upper left", "top", "upper right"];
    SIDES[(deg / 45.0).round().rem_euclid(8.0) as usize % 8]
}

#[cfg(test)]
mod tests {
    use super::*;
    fn m(value: f64, sigma: f64) -> Measured {
        Measured { value, sigma }
    }
    #[test]
    fn the_sigma_decides_the_place_of_the_last_digit() {
        assert_eq!(plus_minus(m(2.5412, 0.0123), "mm"), "2.541 \u{b1} 0.012 mm");
        assert_eq!(plus_minus(m(2.5412, 0.047), "mm"), "2.54 \u{b1} 0.05 mm");
        assert_eq!(plus_minus(m(43.9, 12.0), "\u{b5}m"), "44 \u{b1} 12 \u{b5}m");
        assert_eq!(plus_minus(m(0.03721, 0.0), "mm"), "0.03721 mm");
    }
    #[test]
    fn sides_follow_the_photo() {
        assert_eq!((side(0.0), side(91.0), side(268.0), side(359.0)), ("right", "bottom", "top", "right"));
    }
}
