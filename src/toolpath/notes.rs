//! What was noticed while reading, gathered over the file: each thing once, with its first line and how often.

use super::line::Beyond;
use crate::caveat;
use crate::caveat::{Caveat, Kind};
use std::collections::BTreeMap;

/// Something noticed: sorted, so that the caveats stand in one order whatever the file's.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Note {
    Beyond(Beyond),
    MayBeSkipped,
    ArcCentreMode,
    FeedPerTurn,
    FullCircleWithoutEnd,
    CoarseArc,
    AbsoluteCentre,
    UnknownG(String),
    UnknownM(i64),
    UnknownLetter(char),
    OWord,
    Rotary,
    BackBore,
    Probe,
    RadiusCompensation,
    CutAtUnknownPlace,
    SeveralCoordinateSystems,
    NoFeed,
    NoSpeed,
}

impl Note {
    fn kind(&self) -> &'static Kind {
        match self {
            Self::Beyond(_)
            | Self::MayBeSkipped
            | Self::ArcCentreMode
            | Self::FeedPerTurn
            | Self::FullCircleWithoutEnd => &caveat::TOOLPATH_DIALECT,
            Self::CoarseArc => &caveat::TOOLPATH_COARSE_ARCS,
            Self::AbsoluteCentre => &caveat::TOOLPATH_ABSOLUTE_CENTRES,
            Self::UnknownG(_)
            | Self::UnknownM(_)
            | Self::UnknownLetter(_)
            | Self::OWord
            | Self::Rotary
            | Self::BackBore => &caveat::TOOLPATH_SKIPPED,
            Self::RadiusCompensation => &caveat::TOOLPATH_RADIUS_COMPENSATION,
            Self::Probe | Self::CutAtUnknownPlace | Self::SeveralCoordinateSystems => &caveat::TOOLPATH_PLACE_UNKNOWN,
            Self::NoFeed | Self::NoSpeed => &caveat::TOOLPATH_NO_FEED,
        }
    }
    fn text(&self) -> String {
        match self {
            Self::Beyond(Beyond::LongLine) => "Lines of more than 256 characters were read in full".into(),
            Self::Beyond(Beyond::SemicolonComment) => "What stands after a semicolon was taken for a comment".into(),
            Self::Beyond(Beyond::NestedComment) => {
                "Comments within comments were read to the matching bracket".into()
            }
            Self::Beyond(Beyond::LineNumber) => {
                "Line numbers of more than five digits, or with a point, were let stand".into()
            }
            Self::Beyond(Beyond::Sign) => "A sign before a parameter or a bracket was taken to turn its value".into(),
            Self::MayBeSkipped => "Lines that start with a slash were taken as cut".into(),
            Self::ArcCentreMode => "G90.1 or G91.1 was followed: arc centres as places, or as steps".into(),
            Self::FeedPerTurn => "G95 was followed: feeds per turn of the spindle".into(),
            Self::FullCircleWithoutEnd => "Arcs without an end point were taken for full circles".into(),
            Self::CoarseArc => "Arcs whose ends do not lie on one circle were run through all the same".into(),
            Self::AbsoluteCentre => "I, J and K of the arcs were taken as places, not as steps from the start".into(),
            Self::UnknownG(g) => format!("{g} is not known here and was passed over"),
            Self::UnknownM(m) => format!("M{m} is not known here and was passed over"),
            Self::UnknownLetter(c) => format!("{} words were passed over", c.to_ascii_uppercase()),
            Self::OWord => "Sub-programs and loops (O words) were not followed".into(),
            Self::Rotary => "Turning axes (A, B, C) were not followed".into(),
            Self::BackBore => "Boring from behind (G87) was not followed".into(),
            Self::Probe => "After a probing move (G38.2) the place is known only to the machine".into(),
            Self::RadiusCompensation => {
                "Radius compensation (G41, G42) is on: the passes are where the program's line is, and the cutter runs beside it".into()
            }
            Self::CutAtUnknownPlace => {
                "Cuts start from a place that the file does not give along one of the axes".into()
            }
            Self::SeveralCoordinateSystems => {
                "Cuts are made in several coordinate systems whose offsets stand only in the machine; they were laid on one another".into()
            }
            Self::NoFeed => "The file sets no feed before it cuts".into(),
            Self::NoSpeed => "The file sets no spindle speed before it cuts".into(),
        }
    }
}

#[derive(Debug, Default)]
pub(super) struct Notes(BTreeMap<Note, (usize, usize, f64)>);

impl Notes {
    /// Something seen on `line`.
    pub fn add(&mut self, line: usize, note: Note) {
        self.add_size(line, note, 0.0);
    }
    /// Something seen on `line`, `size` big (mm); the biggest is told.
    pub fn add_size(&mut self, line: usize, note: Note, size: f64) {
        let seen = self.0.entry(note).or_insert((line, 0, 0.0));
        seen.1 += 1;
        seen.2 = seen.2.max(size);
    }
    pub fn caveats(&self) -> Vec<Caveat> {
        let text = |(note, (line, times, size)): (&Note, &(usize, usize, f64))| {
            let size = if *size > 0.0 { format!("; the largest gap is {size:.3} mm") } else { String::new() };
            let more = if *times > 1 { format!(", {times} times in all") } else { String::new() };
            note.kind().with(format!("{} (line {line}{more}{size}).", note.text()))
        };
        self.0.iter().map(text).collect()
    }
}
