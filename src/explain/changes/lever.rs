//! What changes pull on, so that none contradicts another.

use super::super::Finding;

/// What a change acts on, and which way: two changes that pull one lever apart are never given together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Lever {
    #[default]
    Free,
    Skim,
    FirstPass,
    UpCut,
    DownCut,
    SlowerCorners,
    FasterCorners,
    SlowerFeed,
    SmallerStepover,
    WiderStepover,
    /// Leave everything as it is.
    Nothing,
}

impl Lever {
    fn against(self, other: Self) -> bool {
        use Lever::*;
        let apart = |a, b| (self, other) == (a, b) || (self, other) == (b, a);
        apart(UpCut, DownCut)
            || apart(SlowerCorners, FasterCorners)
            || apart(SmallerStepover, WiderStepover)
            || (self == Nothing) != (other == Nothing)
    }
}

/// Takes out every change that pulls against one of a more probable finding; `findings` are sorted, most probable first.
pub fn agree(findings: &mut [Finding]) {
    let mut kept: Vec<Lever> = vec![];
    for f in findings {
        f.changes.retain(|c| !kept.iter().any(|k| k.against(c.lever)));
        kept.extend(f.changes.iter().map(|c| c.lever));
    }
}
