//! What a plan would leave under each cause, and how other settings would change it: no photo needed.

use super::cost;
use super::model::{Begin, Free, Model, Nose, Relief};
use super::{Cause, planned_cusp_mm};
use crate::plan::{Cutter, Helix, PlannedCut, Shape, USUAL_SKIM_MM};
use serde::Serialize;

/// The causes that a plan can foretell, in the order they are shown.
const FORETOLD: [Cause; 11] = [
    Cause::FullWidthFirstPass,
    Cause::EngagementSteps,
    Cause::AlternatingPasses,
    Cause::TiltAcrossPasses,
    Cause::TiltAlongPasses,
    Cause::Cusps,
    Cause::CutterChangeStep,
    Cause::OncePerRevolution,
    Cause::OncePerTooth,
    Cause::Chatter,
    Cause::DrivePeriod,
];
/// Ridges under this are taken for none, micrometres: routed wood itself is rougher.
const NONE_UM: f64 = 0.05;

/// One cause on this plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outlook {
    pub relief: Relief,
    /// Height with the free number at its least, as drawn and at its most, micrometres.
    pub low_um: f64,
    pub drawn_um: f64,
    pub high_um: f64,
}

/// What another setting would leave, heights in micrometres with the same free numbers; `None`: the plan does not tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhatIf {
    pub change: String,
    pub first_pass_um: f64,
    pub alternating_um: f64,
    pub lean_across_um: f64,
    pub cusps_um: f64,
    /// Cutting time of all trips over the floor, minutes.
    pub minutes: Option<f64>,
}

/// Stepovers shown beside the wall where the passes begin.
const SHOWN_STEPS: f64 = 8.0;

/// Width shown beside that wall, mm: at least a diameter and a half.
pub fn shown_mm(model: &Model) -> f64 {
    let p = &model.passes;
    (SHOWN_STEPS * p.stepover_mm).max(1.5 * p.diameter_mm).min(p.across_mm())
}

/// The whole forecast.
#[derive(Debug, Clone)]
pub struct Forecast {
    pub model: Model,
    pub outlooks: Vec<Outlook>,
    /// The plan as it is comes first.
    pub what_if: Vec<WhatIf>,
    pub layer: Option<cost::Layer>,
}

/// The floor that a plan leaves under each cause. `None` without a cutter diameter and a stepover, or where the pocket is no
/// wider than the cutter.
pub fn forecast(plan: &PlannedCut) -> Option<Forecast> {
    let model = Model::new(plan, Begin::Near)?;
    let outlooks = FORETOLD.into_iter().filter_map(|cause| outlook(&model, cause, plan)).collect();
    let what_if =
        alternatives(plan).into_iter().filter_map(|(change, p, trips)| what_if(plan, change, &p, trips)).collect();
    Some(Forecast { model, outlooks, what_if, layer: cost::layer(plan) })
}

/// Largest step, or height of what repeats.
fn height(r: &Relief) -> f64 {
    match r.cause {
        Cause::FullWidthFirstPass | Cause::EngagementSteps => {
            r.edges.iter().map(|e| e.height_um.abs()).fold(0.0, f64::max)
        }
        // The section may run along a ripple's crest.
        Cause::OncePerRevolution | Cause::OncePerTooth | Cause::Chatter | Cause::DrivePeriod => r.used,
        Cause::CutterChangeStep => r.used,
        _ => r.height_um,
    }
}

fn outlook(model: &Model, cause: Cause, plan: &PlannedCut) -> Option<Outlook> {
    let rates = plan.feed_mm_min.is_some() && plan.speed_rpm.is_some();
    let applies = match cause {
        Cause::CutterChangeStep => plan.second_cutter.as_ref()?.diameter_mm? < model.passes.diameter_mm,
        Cause::Cusps => plan.cutter.shape != Some(Shape::Flat),
        Cause::OncePerRevolution => rates,
        Cause::OncePerTooth => rates && plan.cutter.flutes.is_some_and(|z| z > 1),
        Cause::DrivePeriod => plan.machine.drive_pitch_mm().is_some(),
        _ => true,
    };
    let relief = applies.then(|| model.relief(cause, plan, None))?;
    let drawn_um = height(&relief);
    let at =
        |of: fn(&Free) -> f64| relief.free.filter(|f| f.drawn > 0.0).map_or(drawn_um, |f| drawn_um * of(&f) / f.drawn);
    let clean = |v: f64| if v < NONE_UM { 0.0 } else { v };
    let (low_um, high_um) = (clean(at(|f| f.low)), clean(at(|f| f.high)));
    Some(Outlook { low_um, drawn_um: clean(drawn_um), high_um, relief })
}

/// Other settings: their name, the plan with them, and trips over the floor.
fn alternatives(plan: &PlannedCut) -> Vec<(String, PlannedCut, f64)> {
    let u = plan.units;
    // A cutting file holds one way of cutting; another setting is laid out by the plan's pattern.
    let with = |change: &dyn Fn(&mut PlannedCut)| {
        let mut p = PlannedCut { cutting_file: None, stepover_percent: None, ..plan.clone() };
        change(&mut p);
        p
    };
    let mut out = vec![("as planned".to_owned(), plan.clone(), 1.0)];
    let (Some(d), Some(s)) = (plan.cutter.diameter_mm, plan.stepover_mm) else { return out };
    if plan.skim_mm.is_none() {
        let skim = (USUAL_SKIM_MM.0 + USUAL_SKIM_MM.1) / 2.0;
        out.push((
            format!("a skim of {} after it", u.show(skim)),
            PlannedCut { skim_mm: Some(skim), ..plan.clone() },
            2.0,
        ));
    }
    for share in [0.5, 0.75, 1.5] {
        if s * share <= 0.9 * d {
            out.push((format!("stepover {}", u.show(s * share)), with(&|p| p.stepover_mm = Some(s * share)), 1.0));
        }
    }
    if plan.both_ways != Some(false) {
        out.push(("passes one way only".into(), with(&|p| p.both_ways = Some(false)), 2.0));
    }
    let other = match plan.cutter.helix {
        Some(Helix::DownCut) => Some(("an up-cut", Helix::UpCut)),
        Some(Helix::UpCut) => Some(("a down-cut", Helix::DownCut)),
        _ => None,
    };
    if let Some((name, helix)) = other {
        out.push((name.into(), with(&|p| p.cutter.helix = Some(helix)), 1.0));
    }
    if plan.cutter.shape.is_some_and(|k| k != Shape::Flat) {
        let flat = Cutter { shape: Some(Shape::Flat), corner_radius_mm: None, ..plan.cutter.clone() };
        out.push((format!("a flat cutter of {}", u.show(d)), with(&|p| p.cutter = flat.clone()), 1.0));
    }
    let wide = with(&|p| {
        p.cutter.diameter_mm = Some(1.5 * d);
        p.cutter.corner_radius_mm = p.cutter.corner_radius_mm.map(|r| 1.5 * r);
        p.stepover_mm = Some(1.5 * s);
    });
    out.push((format!("a cutter of {}, the same share of it", u.show(1.5 * d)), wide, 1.0));
    out
}

fn what_if(plan: &PlannedCut, change: String, p: &PlannedCut, trips: f64) -> Option<WhatIf> {
    let model = Model::new(p, Begin::Near)?;
    let of = |cause| height(&model.relief(cause, p, None));
    // Leans are looked at on a flat end: a round one's own cusps stand in their own column.
    let flat = PlannedCut {
        cutter: Cutter { shape: Some(Shape::Flat), corner_radius_mm: None, ..p.cutter.clone() },
        ..p.clone()
    };
    let lean = |cause| height(&model.relief(cause, &flat, None));
    let s = p.stepover_mm?;
    let cusp = if Nose::of(&p.cutter) == Nose::Flat { Some(0.0) } else { planned_cusp_mm(p, s) };
    let minutes = cost::layer(plan).map(|l| l.minutes * plan.stepover_mm.map_or(1.0, |planned| planned / s) * trips);
    Some(WhatIf {
        change,
        first_pass_um: of(Cause::FullWidthFirstPass),
        alternating_um: if p.both_ways == Some(false) { 0.0 } else { lean(Cause::AlternatingPasses) },
        lean_across_um: lean(Cause::TiltAcrossPasses),
        cusps_um: 1000.0 * cusp?,
        minutes,
    })
}

#[cfg(test)]
mod tests {
    use super::super::physics::cusp_height_mm;
    use super::*;
    fn plan(cutter: &str) -> PlannedCut {
        let text = format!(
            "[cutter]\n{cutter}\n[cut]\npattern = \"parallel\"\npass_angle_deg = 0\nboth_ways = true\nstepover = 2.54\ndepth = 3\nfeed = 2500\nspeed_rpm = 18000\n[pocket]\nwidth = 60\nheight = 50"
        );
        crate::plan::parse(&text, "made-up.toml", Default::default()).unwrap()
    }
    #[test]
    fn other_settings_change_what_they_act_on() {
        let f = forecast(&plan("shape = \"flat\"\ndiameter = 6.35\nhelix = \"down-cut\"")).unwrap();
        let of = |name: &str| f.what_if.iter().find(|w| w.change.starts_with(name)).unwrap_or_else(|| panic!("{name}"));
        let planned = of("as planned");
        // 0.19 of a layer of 3 mm.
        assert!((of("a skim").first_pass_um / planned.first_pass_um - 0.1905 / 3.0).abs() < 0.01);
        assert!((of("a skim").minutes.unwrap() / planned.minutes.unwrap() - 2.0).abs() < 1e-9);
        // A saw goes with the stepover, its time against it.
        let half = of("stepover 1.27");
        assert!((half.lean_across_um / planned.lean_across_um - 0.5).abs() < 0.01, "{half:?}");
        assert!((half.minutes.unwrap() / planned.minutes.unwrap() - 2.0).abs() < 1e-9);
        assert_eq!((of("passes one way").alternating_um, planned.cusps_um), (0.0, 0.0));
        assert!(f.outlooks.iter().all(|o| o.low_um <= o.drawn_um && o.drawn_um <= o.high_um));
        let ball = forecast(&plan("shape = \"ball-nose\"\ndiameter = 6")).unwrap();
        assert!((ball.what_if[0].cusps_um - 1000.0 * cusp_height_mm(3.0, 2.54).unwrap()).abs() < 1e-9);
        assert!(ball.what_if.iter().any(|w| w.change.starts_with("a flat cutter") && w.cusps_um == 0.0));
    }
    #[test]
    fn a_plan_without_a_cutter_foretells_nothing() {
        assert!(forecast(&PlannedCut::default()).is_none());
    }
}
