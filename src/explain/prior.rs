//! What the plan alone makes likely, before any mark is looked at. Relative weights; common practice, no source. A factor
//! of two either way moves a stated probability by a tenth or so where the marks are silent, and hardly where they speak.

use crate::expect::{Cause, stepover_past_flat};
use crate::plan::{Material, Pattern, PlannedCut, Shape};

/// Weight left for causes that are not in the list at all.
pub const SOMETHING_ELSE: f64 = 0.25;

/// Relative prior weight of a cause under a plan.
pub fn prior(cause: Cause, plan: &PlannedCut) -> f64 {
    let shape = plan.cutter.shape;
    let contour = plan.pattern == Some(Pattern::Contour);
    match cause {
        Cause::FullWidthFirstPass => 1.0,
        Cause::EngagementSteps => 0.7,
        // One-way cutting and contours keep their hand.
        Cause::AlternatingPasses => match (plan.both_ways, contour) {
            (Some(false), _) => 0.03,
            (_, true) => 0.15,
            (Some(true), _) => 0.7,
            _ => 0.4,
        },
        // A round tip that leans leaves the same cusps: a lean cannot show with a ball.
        Cause::TiltAcrossPasses => match (shape, stepover_past_flat(plan)) {
            (Some(Shape::BallNose), _) => 0.03,
            (Some(Shape::BullNose), Some(true)) => 0.15,
            _ => 1.0,
        },
        Cause::TiltAlongPasses => match (shape, stepover_past_flat(plan)) {
            (Some(Shape::BallNose), _) => 0.01,
            (Some(Shape::BullNose), Some(true)) => 0.05,
            _ => 0.5,
        },
        Cause::Cusps => match (shape, stepover_past_flat(plan)) {
            (Some(Shape::BallNose), _) => 3.0,
            (Some(Shape::BullNose), Some(false)) => 0.05,
            (Some(Shape::BullNose), _) => 2.0,
            (Some(Shape::Flat), _) => 0.01,
            (None, _) => 0.7,
        },
        Cause::CutterChangeStep => {
            if plan.second_cutter.is_some() {
                2.0
            } else {
                0.04
            }
        }
        Cause::OncePerRevolution => 0.4,
        Cause::OncePerTooth => 0.15,
        Cause::Chatter => 0.5,
        Cause::DrivePeriod => {
            if plan.machine.drive_pitch_mm().is_some() {
                0.5
            } else {
                0.1
            }
        }
        Cause::TurnMarks => 0.05,
        Cause::WoodFigure => 0.8,
        Cause::FuzzOrTear => match plan.material {
            Some(Material::Softwood) => 0.5,
            Some(Material::Hardwood | Material::Plywood) | None => 0.3,
            Some(Material::Mdf) => 0.1,
            _ => 0.02,
        },
        Cause::Clean => 1.5,
        Cause::CannotTell => 1.0,
    }
}
