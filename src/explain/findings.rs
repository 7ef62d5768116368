//! Registry of findings: one record a cause, frozen ids, from which the report's texts and the documentation come.

use super::Verdict;
use crate::expect::Cause;

/// One cause for the reader.
#[derive(Debug, PartialEq)]
pub struct Record {
    pub cause: Cause,
    pub id: &'static str,
    pub title: &'static str,
    pub line: &'static str,
    pub long: &'static str,
}

macro_rules! registry {
    ($($cause:ident = $id:literal, $title:literal, $line:literal, $long:literal;)*) => {
        /// Every finding there is, in the order of the causes.
        pub const ALL: &[Record] = &[$(Record { cause: Cause::$cause, id: $id, title: $title, line: $line, long: $long }),*];
    };
}

registry! {
    FullWidthFirstPass = "full-width-first-pass", "First pass at full width",
        "The first pass cut its full width and sat at another depth than the rest.",
        "A cutter in a full-width cut feels about two and a half times the axial force of a pass at 40 percent width. A down-cut is pushed up by it and leaves the first pass high, an up-cut pulls itself deeper. Later passes cut away what stands high wherever they reach, so a proud strip is one stepover wide along a wall (or twice the stepover less the diameter between two passes), while a deep strip keeps the full diameter.";
    EngagementSteps = "engagement-steps", "Steps where the load changes",
        "The floor steps where the cutter meets corners, slots or islands and its load changes.",
        "Axial force follows how much of the cutter is in the wood. In inside corners, between letters, round islands and in the last narrow pass it changes, the cutter is pushed up or pulled down, and the floor steps. The steps have no even spacing and differ in height.";
    AlternatingPasses = "alternating-passes", "Passes that differ there and back",
        "Every second pass sits or leans differently: the bit bends one way going there and the other way coming back.",
        "In both-ways cutting every second pass is a climb cut. The side force then points the other way, the bit bends the other way, and the floor repeats every two stepovers.";
    TiltAcrossPasses = "tilt-across-passes", "Spindle out of square across the passes",
        "A flat cutter that leans across the passes leaves a saw: one small step per stepover, all the same way.",
        "Each pass is cut slightly lower on one side. Neighbouring passes meet in a step of stepover times the tangent of the lean, all of one sign, whatever the order or direction of the passes. With small cutters a visible saw needs half a degree or more: a loose mount, or a bit that bends.";
    TiltAlongPasses = "tilt-along-passes", "Spindle out of square along the passes",
        "A flat cutter that leans along the passes dishes each pass; sharp ridges stand between them.",
        "A leaning disc that moves along its lean cuts a shallow trough. Where two troughs meet a sharp, symmetric ridge is left, one per stepover. It grows with the square of the stepover over the diameter and shows mostly with wide cutters.";
    Cusps = "cusps", "Cusps of a round cutter",
        "A ball or bull nose leaves a ridge between every two passes; its height follows from the radius and the stepover.",
        "Round tips leave cusps: height R - sqrt(R squared - s squared / 4). They are no fault of the machine. A smaller stepover lowers them with its square; a flat cutter leaves none.";
    CutterChangeStep = "cutter-change-step", "Step between two cutters",
        "Two cutters were set to slightly different depths; one step follows the border of what the larger one could reach.",
        "After a change of cutter its length is measured again. A difference shows as one step of the same height everywhere along the border between the two cutters' areas: arcs round letters and in corners.";
    OncePerRevolution = "once-per-revolution", "Marks once per turn",
        "One mark per turn of the spindle: one edge of the cutter runs lower or farther out than the other.",
        "Runout of bit, collet or spindle makes one cutting edge do the finishing alone. It leaves arcs along the pass, spaced feed over speed.";
    OncePerTooth = "once-per-tooth", "Marks once per tooth",
        "One mark per cutting edge: the plain feed marks of the cutter.",
        "Every cutting edge leaves an arc, spaced feed over speed and number of edges. They shrink with a slower feed or a faster spindle.";
    Chatter = "chatter", "Chatter",
        "Fine even ripples that fit neither stepover nor feed: bit, spindle mount or work vibrated.",
        "Vibration leaves ripples spaced feed over frequency, often oblique and of the same direction over large parts of the floor. They change with spindle speed, stick-out and clamping.";
    DrivePeriod = "drive-period", "Period of the drive",
        "Bands along a machine axis at the pitch of its screw, belt or rack.",
        "A bent or badly aligned screw, a worn belt or an unclean rack lifts or shifts the axis once per turn or tooth. The bands keep their spacing whatever stepover and feed are used.";
    TurnMarks = "turn-marks", "Marks where the cutter turned",
        "Rings or burns where the cutter slowed or stood still.",
        "Where passes turn, at corners and letter ends, a cutter that dwells rubs or cuts a little deeper and leaves rings of its own diameter, often with a change of colour.";
    WoodFigure = "wood-figure", "The wood's own figure",
        "The lines are the wood's own growth and colour, not tool marks.",
        "Growth lines vary in spacing, bend, follow the grain, run under walls and passes and change colour, not only light. They do not flip when the lamp moves to the other side.";
    FuzzOrTear = "fuzz-or-tear", "Torn or fuzzy fibre",
        "Fibres were torn or stand up; the floor is rough rather than stepped.",
        "A dull edge, a cut against the grain or damp, soft wood tears fibre out or leaves it standing: short flecks along the grain, without spacing.";
    Clean = "clean", "Nothing seen",
        "No ridge above the stated limit shows in this photo.",
        "With this lamp, sharpness and scale, ridges above the stated height would have shown. None did.";
    CannotTell = "cannot-tell", "Cannot tell",
        "This photo does not decide it.",
        "Either the photo could not have shown the ridges, or what it shows fits several causes alike. The report says which photo or test cut would settle it.";
}

/// The record of a cause.
pub fn record(cause: Cause) -> &'static Record {
    ALL.iter().find(|r| r.cause == cause).expect("every cause has a record (held by a test)")
}

impl Cause {
    /// The verdict a cause belongs to.
    pub fn verdict(self) -> Verdict {
        match self {
            Self::FullWidthFirstPass | Self::EngagementSteps | Self::AlternatingPasses => Verdict::DeflectionSteps,
            Self::TiltAcrossPasses | Self::TiltAlongPasses | Self::Cusps => Verdict::Scallops,
            Self::Clean => Verdict::NoneSeen,
            Self::CannotTell => Verdict::CannotTell,
            _ => Verdict::Other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn every_cause_has_one_record_under_its_frozen_id() {
        let frozen = [
            "full-width-first-pass",
            "engagement-steps",
            "alternating-passes",
            "tilt-across-passes",
            "tilt-along-passes",
            "cusps",
            "cutter-change-step",
            "once-per-revolution",
            "once-per-tooth",
            "chatter",
            "drive-period",
            "turn-marks",
            "wood-figure",
            "fuzz-or-tear",
            "clean",
            "cannot-tell",
        ];
        assert_eq!(ALL.iter().map(|r| r.id).collect::<Vec<_>>(), frozen);
        for r in ALL {
            assert_eq!(serde_json::to_value(r.cause).unwrap(), r.id);
            assert_eq!(record(r.cause), r);
        }
    }
}
