//! Which marks went, stayed, are new.

use super::judge::{self, CERTAIN, Difference};
use super::{Mark, Side};
use serde::Serialize;

/// Marks whose size differs by less than this share are taken for the same, beyond what their sigmas allow: rounding a
/// stepover to whole passes or another scale shifts a spacing by up to about 3 %; other settings shift it by more.
const SAME_SIZE: f64 = 0.03;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fate {
    Stayed,
    /// The photo after would have shown it.
    Went,
    /// The photo before would have shown it.
    New,
    /// Seen before only, and the photo after may not be able to show it.
    NotSeenAfter,
    NotSeenBefore,
}

/// One kind of mark on both floors.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkPair {
    pub fate: Fate,
    pub before: Option<Mark>,
    pub after: Option<Mark>,
    /// Spacing or width, mm.
    pub size_mm: Option<Difference>,
    pub height_um: Option<Difference>,
}

/// Pairs the marks by kind and size, the nearest first. Directions are not compared: the photos may be turned.
pub(super) fn pair(before: &Side, after: &Side) -> Vec<MarkPair> {
    let mut near: Vec<(f64, usize, usize)> = vec![];
    for (i, a) in before.marks.iter().enumerate() {
        for (j, b) in after.marks.iter().enumerate().filter(|(_, b)| b.kind == a.kind) {
            let room = (CERTAIN * a.size_mm.sigma.hypot(b.size_mm.sigma)).max(SAME_SIZE * a.size_mm.value);
            let off = (a.size_mm.value - b.size_mm.value).abs() / room;
            if off <= 1.0 {
                near.push((off, i, j));
            }
        }
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut of_before, mut of_after) = (vec![None; before.marks.len()], vec![false; after.marks.len()]);
    for (_, i, j) in near {
        if of_before[i].is_none() && !of_after[j] {
            of_before[i] = Some(j);
            of_after[j] = true;
        }
    }
    let mut out: Vec<MarkPair> = vec![];
    for (a, pair) in before.marks.iter().zip(of_before) {
        out.push(match pair {
            Some(j) => both(a, &after.marks[j]),
            None => {
                let fate = if shows(after, a) { Fate::Went } else { Fate::NotSeenAfter };
                MarkPair { fate, before: Some(a.clone()), after: None, size_mm: None, height_um: None }
            }
        });
    }
    for (b, _) in after.marks.iter().zip(of_after).filter(|x| !x.1) {
        let fate = if shows(before, b) { Fate::New } else { Fate::NotSeenBefore };
        out.push(MarkPair { fate, before: None, after: Some(b.clone()), size_mm: None, height_um: None });
    }
    out
}

fn both(a: &Mark, b: &Mark) -> MarkPair {
    let size_mm = judge::both(Some(a.size_mm), Some(b.size_mm));
    let height_um = judge::both(a.height_um, b.height_um);
    MarkPair { fate: Fate::Stayed, before: Some(a.clone()), after: Some(b.clone()), size_mm, height_um }
}

/// Whether the other photo would have shown this mark, by its height two sigmas down. Not for strips, whose limit is not
/// known; nor by contrast, whose limit holds across that photo's own strongest lines only.
fn shows(other: &Side, mark: &Mark) -> bool {
    let known = mark.height_um.zip(other.detectable_height_um).filter(|_| mark.kind == super::Kind::Lines);
    known.is_some_and(|(h, limit)| h.value - 2.0 * h.sigma > limit)
}
