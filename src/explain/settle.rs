//! The photo or test cut that would tell the leading causes apart best: every option foretells what each cause would show,
//! and the one that takes most doubt away on average is named (expected information, Lindley, Ann. Math. Stat. 27 (1956)
//! 986; from memory).

use super::findings::record;
use crate::expect::Cause;
use crate::expect::physics::{tilt_across_height_mm, tilt_along_height_mm};
use crate::plan::PlannedCut;

/// One photo or test cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Test {
    OppositeLamp,
    LowerLamp,
    WholePocket,
    AfterSkim,
    TurnedPasses,
    OneWay,
    SlotPair,
    OtherSpeed,
    HalfFeed,
    OneCutter,
}

use self::Test::*;

pub const ALL: [Test; 10] =
    [OppositeLamp, LowerLamp, WholePocket, AfterSkim, TurnedPasses, OneWay, SlotPair, OtherSpeed, HalfFeed, OneCutter];

/// How often what a cause foretells is what is then seen; the rest goes to the other outcomes evenly (common practice, no
/// source; with 1 a single odd photo would decide everything, with 0.6 nothing would settle anything).
const FORETOLD: f64 = 0.88;
/// The same where place and strength of marks are judged, which is less sharp than whether a line swaps, stays or goes.
const FORETOLD_BY_LOOKS: f64 = 0.75;
/// Doubt that a test cut must take away beyond what a photo does to be worth its time, nats.
const CUT_COSTS: f64 = 0.06;
/// An option that takes away less than this is not worth naming, nats.
const LEAST: f64 = 0.03;
/// Causes under this probability are left out of the words.
const NAMED: f64 = 0.06;
/// A lean of the spindle that turning the passes leaves with less than this share of its ridges is seen to fade.
const FADES: f64 = 0.5;

impl Test {
    fn is_cut(self) -> bool {
        !matches!(self, OppositeLamp | LowerLamp | WholePocket)
    }
    /// What to do.
    pub fn what(self) -> &'static str {
        match self {
            OppositeLamp => "a second photo with the lamp on the opposite side",
            LowerLamp => {
                "a sharp photo with the lamp 8 to 15 degrees above the floor, across the passes, in a dark room, with a card beside the pocket"
            }
            WholePocket => "a photo with the whole pocket in view, walls and corners too",
            AfterSkim => "a photo after a skim over the whole floor",
            TurnedPasses => "a test pocket with the passes turned by 90 degrees",
            OneWay => "a test pocket with all passes in one direction",
            SlotPair => {
                "two test slots side by side at one depth, one in a single cut, one widened by a second pass at the planned stepover"
            }
            OtherSpeed => {
                "a short test cut at the same feed with the spindle a third faster, within the cutter maker's limit"
            }
            HalfFeed => "a short test cut at half the feed",
            OneCutter => "a test pocket cut with one cutter only",
        }
    }
    /// What may then be seen.
    pub fn outcomes(self) -> &'static [&'static str] {
        match self {
            OppositeLamp => &[
                "thin dark lines turn bright and bright ones dark",
                "ridges look the same, mirrored",
                "the lines stay as they are",
            ],
            LowerLamp => &["the lines stand out more", "they stay as they are", "still nothing shows"],
            WholePocket => &[
                "the marks lie along one wall or where the first pass ran",
                "they cover the floor evenly",
                "they lie at corners and round letters",
                "they run past the walls or lie without order",
            ],
            AfterSkim => &["the marks are gone or far lower", "they are as before"],
            TurnedPasses => &[
                "the lines turn with the passes and look alike",
                "they turn with the passes and fade",
                "they turn with the passes and grow",
                "they keep their direction on the board",
            ],
            OneWay => &["the lines come twice as close", "they are as before"],
            SlotPair => {
                &["the slots differ in depth", "both floors slope the same way", "both floors are flat and alike"]
            }
            OtherSpeed => &["the lines come closer by a quarter", "they keep their spacing", "they are gone"],
            HalfFeed => &["the lines come twice as close", "they keep their spacing"],
            OneCutter => &["the step is gone", "it is as before"],
        }
    }
    /// The outcome that a cause foretells (an index into [`Test::outcomes`]); `None` where it foretells none.
    pub fn foretold(self, cause: Cause, plan: &PlannedCut) -> Option<usize> {
        use Cause::*;
        let steps = matches!(cause, FullWidthFirstPass | EngagementSteps);
        Some(match (self, cause) {
            (_, CannotTell) => return if self == LowerLamp { Some(0) } else { None },
            (LowerLamp, Clean) => 2,
            (_, Clean) => return None,
            // One-signed edges swap, symmetric ridges do not, colour stays.
            (OppositeLamp, FullWidthFirstPass | EngagementSteps | TiltAcrossPasses | CutterChangeStep) => 0,
            (OppositeLamp, WoodFigure | TurnMarks) => 2,
            (OppositeLamp, FuzzOrTear) => return None,
            (OppositeLamp, _) => 1,
            (LowerLamp, WoodFigure | TurnMarks) => 1,
            (LowerLamp, _) => 0,
            (WholePocket, FullWidthFirstPass) => 0,
            (WholePocket, EngagementSteps | CutterChangeStep | TurnMarks) => 2,
            (WholePocket, WoodFigure | FuzzOrTear) => 3,
            (WholePocket, _) => 1,
            // Force goes with the thickness of the layer; geometry does not.
            (AfterSkim, AlternatingPasses | CutterChangeStep | TurnMarks) => 0,
            (AfterSkim, Chatter) => return None,
            (AfterSkim, _) => usize::from(!steps),
            // A lean across the passes becomes one along them, which shows far less, and the other way round.
            (TurnedPasses, TiltAcrossPasses | TiltAlongPasses) => {
                let ratio = plan
                    .cutter
                    .diameter_mm
                    .zip(plan.stepover_mm)
                    .and_then(|(d, s)| Some(tilt_along_height_mm(d, s, 0.1)? / tilt_across_height_mm(s, 0.1)));
                match ratio {
                    Some(r) if r >= FADES => 0,
                    _ if cause == TiltAcrossPasses => 1,
                    _ => 2,
                }
            }
            (TurnedPasses, DrivePeriod | WoodFigure | FuzzOrTear | CutterChangeStep | TurnMarks) => 3,
            (TurnedPasses, Chatter) => return None,
            (TurnedPasses, _) => 0,
            (OneWay, AlternatingPasses) if plan.both_ways != Some(false) => 0,
            (OneWay, _) => 1,
            (SlotPair, TiltAcrossPasses) => 1,
            (SlotPair, AlternatingPasses) => return None,
            (SlotPair, _) => {
                if steps {
                    0
                } else {
                    2
                }
            }
            (OtherSpeed, OncePerRevolution | OncePerTooth) => 0,
            (OtherSpeed, Chatter) => 2,
            (OtherSpeed, _) => 1,
            // The spacing of a vibration is the feed over its frequency.
            (HalfFeed, OncePerRevolution | OncePerTooth | Chatter) => 0,
            (HalfFeed, _) => 1,
            (OneCutter, CutterChangeStep) => 0,
            (OneCutter, _) => 1,
        })
    }
    /// Probability of each outcome under a cause; what it does not foretell goes to the other ones that are `open`, so that
    /// a finely divided list of outcomes is not worth more by itself.
    fn chances(self, cause: Cause, plan: &PlannedCut, open: &[usize]) -> Vec<f64> {
        let hit = if matches!(self, WholePocket | LowerLamp) { FORETOLD_BY_LOOKS } else { FORETOLD };
        let (foretold, n) = (self.foretold(cause, plan), open.len() as f64);
        let chance = |k: usize| match foretold {
            _ if !open.contains(&k) => 0.0,
            None => 1.0 / n,
            Some(_) if open.len() == 1 => 1.0,
            Some(f) if f == k => hit,
            Some(_) => (1.0 - hit) / (n - 1.0),
        };
        (0..self.outcomes().len()).map(chance).collect()
    }
    /// Doubt that it takes away on average, nats: entropy of its outcomes less what is left of it once the cause is known.
    pub fn information(self, causes: &[(Cause, f64)], plan: &PlannedCut) -> f64 {
        let entropy = |p: &[f64]| -p.iter().filter(|v| **v > 0.0).map(|v| v * v.ln()).sum::<f64>();
        let all: f64 = causes.iter().map(|c| c.1).sum();
        let mut open: Vec<usize> = causes.iter().filter_map(|c| self.foretold(c.0, plan)).collect();
        open.sort_unstable();
        open.dedup();
        if open.is_empty() {
            return 0.0;
        }
        let mut mean = vec![0.0; self.outcomes().len()];
        let mut left = 0.0;
        for (cause, p) in causes {
            let chances = self.chances(*cause, plan, &open);
            mean.iter_mut().zip(&chances).for_each(|(m, c)| *m += p / all * c);
            left += p / all * entropy(&chances);
        }
        entropy(&mean) - left
    }
}

/// The option that settles most between these causes (with their probabilities), and what each of its outcomes would mean,
/// as one sentence. `None` where no option takes away enough.
pub fn settle(causes: &[(Cause, f64)], plan: &PlannedCut) -> Option<String> {
    // A photo that shows too little is taken again before anything is cut.
    if causes.first().is_some_and(|c| c.0 == Cause::CannotTell) {
        return Some(LowerLamp.what().to_owned());
    }
    let worth = |o: Test| o.information(causes, plan) - if o.is_cut() { CUT_COSTS } else { 0.0 };
    let best = ALL.into_iter().max_by(|a, b| worth(*a).total_cmp(&worth(*b))).filter(|o| worth(*o) >= LEAST)?;
    let meanings: Vec<String> = (0..best.outcomes().len())
        .filter_map(|k| {
            let of = |c: &&(Cause, f64)| c.1 >= NAMED && best.foretold(c.0, plan) == Some(k);
            let names: Vec<String> = causes.iter().filter(of).map(|c| record(c.0).title.to_lowercase()).collect();
            (!names.is_empty()).then(|| format!("if {}, {}", best.outcomes()[k], names.join(" or ")))
        })
        .collect();
    Some(format!("{}: {}", best.what(), meanings.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::expect::model::{Begin, Model};

    fn plan() -> PlannedCut {
        let text = "[cutter]\nshape = \"flat\"\ndiameter = 6.35\nhelix = \"down-cut\"\n[second_cutter]\ndiameter = 3\n[cut]\npattern = \"parallel\"\npass_angle_deg = 0\nboth_ways = true\nstepover = 2.54\ndepth = 3\n[pocket]\nwidth = 60\nheight = 50";
        crate::plan::parse(text, "made-up.toml", Default::default()).unwrap()
    }
    fn best(a: Cause, b: Cause) -> String {
        settle(&[(a, 0.45), (b, 0.4)], &plan()).unwrap_or_else(|| panic!("nothing settles {a:?} and {b:?}"))
    }

    /// Every cause foretells something for every option or nothing at all, and every outcome is foretold by some cause.
    #[test]
    fn the_table_is_whole() {
        let causes: Vec<Cause> = crate::explain::findings::ALL.iter().map(|r| r.cause).collect();
        for o in ALL {
            let told: Vec<_> = causes.iter().filter_map(|c| o.foretold(*c, &plan())).collect();
            for k in 0..o.outcomes().len() {
                assert!(told.contains(&k), "{o:?}: '{}' is never foretold", o.outcomes()[k]);
            }
            assert!(told.iter().all(|k| *k < o.outcomes().len()));
            for c in &causes {
                let all: Vec<usize> = (0..o.outcomes().len()).collect();
                assert!((o.chances(*c, &plan(), &all).iter().sum::<f64>() - 1.0).abs() < 1e-12);
            }
        }
    }

    /// What the table says of light and of passes is what the forward model gives.
    #[test]
    fn the_table_agrees_with_the_forward_model() {
        use Cause::*;
        let p = plan();
        let model = Model::new(&p, Begin::Near).unwrap();
        for cause in [FullWidthFirstPass, TiltAcrossPasses, TiltAlongPasses, Cusps] {
            let cut = if cause == Cusps {
                PlannedCut {
                    cutter: crate::plan::Cutter { shape: Some(crate::plan::Shape::BallNose), ..p.cutter.clone() },
                    ..p.clone()
                }
            } else {
                p.clone()
            };
            let r = model.relief(cause, &cut, None);
            let inner: Vec<_> = r.edges.iter().filter(|e| (2.0..40.0).contains(&e.at_mm)).collect();
            let one_signed = !inner.is_empty() && inner.iter().all(|e| e.height_um * inner[0].height_um > 0.0);
            assert_eq!(OppositeLamp.foretold(cause, &cut) == Some(0), one_signed, "{cause:?}: {inner:?}");
        }
        // Turned by a quarter, a lean across the passes is one along them.
        let (saw, dish) = (model.relief(TiltAcrossPasses, &p, Some(3.0)), model.relief(TiltAlongPasses, &p, Some(3.0)));
        assert!(dish.height_um < 0.5 * saw.height_um);
        // A skim a tenth as thick leaves a tenth of a step and all of a saw.
        let thin = PlannedCut { skim_mm: Some(0.3), ..p.clone() };
        let ratio = |c| model.relief(c, &thin, None).height_um / model.relief(c, &p, None).height_um;
        assert!((ratio(FullWidthFirstPass) - 0.1).abs() < 0.01 && (ratio(TiltAcrossPasses) - 1.0).abs() < 1e-9);
        let one = PlannedCut { both_ways: Some(false), ..p.clone() };
        let period = |p: &PlannedCut| Model::new(p, Begin::Near).unwrap().relief(AlternatingPasses, p, None).period_mm;
        assert_eq!((period(&p), period(&one)), (Some(5.08), Some(2.54)));
    }

    #[test]
    fn the_option_that_parts_the_two_leading_causes_is_named() {
        use Cause::*;
        let s = best(TiltAcrossPasses, Cusps);
        assert!(s.starts_with("a second photo with the lamp on the opposite side"), "{s}");
        assert!(s.contains("turn bright and bright ones dark, spindle out of square across the passes"), "{s}");
        assert!(best(Cusps, WoodFigure).starts_with("a second photo with the lamp on the opposite side"));
        assert!(best(FullWidthFirstPass, EngagementSteps).contains("whole pocket"));
        assert!(best(OncePerRevolution, Chatter).contains("a third faster"));
        assert!(
            best(AlternatingPasses, Cusps).contains("skim") || best(AlternatingPasses, Cusps).contains("one direction")
        );
        assert!(best(CutterChangeStep, EngagementSteps).contains("one cutter only"));
        assert_eq!(best(CannotTell, FullWidthFirstPass), LowerLamp.what());
        assert!(best(Clean, CannotTell).contains("8 to 15 degrees"));
        assert!(best(TiltAlongPasses, Cusps).contains("turned by 90 degrees"));
        assert_eq!(settle(&[(Cusps, 0.79)], &plan()), None, "one cause alone needs no settling");
    }

    #[test]
    fn information_is_that_of_a_noisy_channel() {
        // Two even causes, two outcomes, 0.88 right: ln 2 less the entropy of (0.88, 0.12), by hand 0.6931 - 0.3669.
        let even = [(Cause::CutterChangeStep, 0.5), (Cause::Cusps, 0.5)];
        assert!((OneCutter.information(&even, &plan()) - 0.3262).abs() < 1e-3);
        assert!(OneCutter.information(&[(Cause::Cusps, 0.5), (Cause::TiltAcrossPasses, 0.5)], &plan()).abs() < 1e-12);
    }
}
