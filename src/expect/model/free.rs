//! The one number of each cause that no plan gives, with the range it usually lies in.
//!
//! Ranges are common practice, no source, but where a line says otherwise. They only set the scale of what is drawn:
//! places, signs and ratios of what a cause leaves do not depend on them.

use crate::expect::Cause;
use crate::plan::{Material, PlannedCut};

/// A number that is assumed, not known.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Free {
    pub what: &'static str,
    pub unit: &'static str,
    /// The value that is drawn.
    pub drawn: f64,
    pub low: f64,
    pub high: f64,
    pub origin: &'static str,
}

const COMMON: &str = "common practice, no source";
/// Mean axial force of a full-width cut with a 6 mm cutter in hardwood, half a diameter deep, N; and a third and three
/// times of it.
const SLOT_FORCE_N: f64 = 30.0;
/// Lateral force on the bit of that cut, N.
const SIDE_FORCE_N: f64 = 50.0;
/// Stick-out of a bit, mm, its modulus (carbide, N/mm2) and its core as a share of the diameter.
const STICK_OUT_MM: f64 = 30.0;
const CARBIDE: f64 = 600e3;
const CORE: f64 = 0.8;

/// Kinds of machine with the stiffness of their Z axis, N per micrometre, least and most (common practice, no source; two
/// published values, 4.7 for a small mill and 4 to 5.6 for a gantry of extrusions, lie inside).
pub const MACHINES: [(&str, f64, f64); 3] =
    [("belts or extrusions", 0.2, 2.0), ("screws and rails", 1.0, 10.0), ("industrial router", 10.0, 50.0)];

/// Force in a material against hardwood (order of size only).
fn hardness(m: Option<Material>) -> f64 {
    match m {
        Some(Material::Softwood) => 0.6,
        Some(Material::Foam) => 0.05,
        Some(Material::Aluminium) => 3.0,
        _ => 1.0,
    }
}

/// Thickness of the layer that forms the floor against a usual one of half a diameter: forces go with it.
fn layer_share(plan: &PlannedCut) -> f64 {
    let usual = plan.cutter.diameter_mm.unwrap_or(6.0) / 2.0;
    let depth = plan.depth_mm.unwrap_or(usual).min(usual);
    plan.skim_mm.map_or(depth, |k| k.min(depth)) / usual
}

/// Height at full width over an unloaded cutter, micrometres, for a stiffness of the Z axis, N per micrometre.
pub fn full_width_um(plan: &PlannedCut, stiffness: f64) -> f64 {
    SLOT_FORCE_N * hardness(plan.material) * layer_share(plan) * plan.cutter.diameter_mm.unwrap_or(6.0)
        / 6.0
        / stiffness
}

/// The free number of a cause under a plan; `None` for cusps, whose height the plan gives, and for what is no relief.
pub fn free(cause: Cause, plan: &PlannedCut) -> Option<Free> {
    let ripple = |what| Some(Free { what, unit: "um", drawn: 10.0, low: 2.0, high: 30.0, origin: COMMON });
    match cause {
        Cause::FullWidthFirstPass | Cause::EngagementSteps => {
            let at = |k: f64| full_width_um(plan, k);
            let what = "rise or dip of the cutter at full width";
            Some(match plan.machine.z_stiffness_n_per_um {
                Some(k) => Free {
                    what,
                    unit: "um",
                    drawn: at(k),
                    low: at(k) / 3.0,
                    high: at(k) * 3.0,
                    origin: "stiffness from the plan, force: common practice, no source",
                },
                None => {
                    Free { what, unit: "um", drawn: at(1.0), low: at(50.0) / 3.0, high: at(0.2) * 3.0, origin: COMMON }
                }
            })
        }
        Cause::AlternatingPasses => {
            let d = plan.cutter.diameter_mm.unwrap_or(6.0);
            let force = SIDE_FORCE_N * hardness(plan.material) * layer_share(plan) * d / 6.0;
            let inertia = std::f64::consts::PI / 64.0 * (CORE * d).powi(4);
            // Slope at the end of a cantilever: F L2 / (2 E I), in mm per m, which is um per mm.
            let drawn = 1e3 * force * STICK_OUT_MM * STICK_OUT_MM / (2.0 * CARBIDE * inertia);
            let what = "lean of the bent bit at full width";
            Some(Free { what, unit: "mm per m", drawn, low: drawn / 3.0, high: drawn * 10.0, origin: COMMON })
        }
        // 0.25 mm per m is the usual limit for wood; a loose mount leans ten times as much and more.
        Cause::TiltAcrossPasses | Cause::TiltAlongPasses => {
            let what = "lean of the spindle";
            Some(Free { what, unit: "mm per m", drawn: 3.0, low: 0.25, high: 15.0, origin: COMMON })
        }
        Cause::CutterChangeStep => {
            let what = "difference between the two cutters' zeros";
            Some(Free { what, unit: "um", drawn: 50.0, low: 10.0, high: 200.0, origin: COMMON })
        }
        Cause::OncePerRevolution | Cause::OncePerTooth | Cause::Chatter | Cause::DrivePeriod => {
            ripple("height of the ripple")
        }
        Cause::TurnMarks => ripple("depth of the marks"),
        Cause::Cusps | Cause::WoodFigure | Cause::FuzzOrTear | Cause::Clean | Cause::CannotTell => None,
    }
}
