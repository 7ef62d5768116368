//! Whether a difference is more than the doubt of its two values.

use super::{Kind, Side};
use crate::units::Measured;
use serde::Serialize;
use statrs::function::erf::erfc;

/// From this many sigmas a difference counts as certain, one in 370 by chance (normal distribution).
pub(super) const CERTAIN: f64 = 3.0;
/// From this many it is mentioned as possible, one in 22 by chance.
const POSSIBLE: f64 = 2.0;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Judged {
    /// Less after than before, three sigmas or more.
    Less,
    More,
    /// Two to three sigmas.
    MaybeLess,
    MaybeMore,
    /// Under two sigmas: not told apart.
    Alike,
    /// Cannot be told; `why` says why.
    Open,
}

/// One figure before and after.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    pub before: Option<Measured>,
    pub after: Option<Measured>,
    /// After minus before.
    pub change: Option<Measured>,
    /// The change in its own sigmas.
    pub sigmas: Option<f64>,
    /// Chance that two floors alike differ by this much, either way.
    pub chance: Option<f64>,
    pub judged: Judged,
    /// What holds a figure that is not known down: nothing above this shows on that side.
    pub limit: Option<f64>,
    pub why: Option<String>,
}

/// Two-sided chance of a normal deviate of `sigmas` or more (Abramowitz and Stegun 1964, 26.2.29 with 7.1.2).
pub fn chance(sigmas: f64) -> f64 {
    erfc(sigmas.abs() / std::f64::consts::SQRT_2)
}

/// Both values known. The change's sigma is the root of the sum of squares.
pub(super) fn both(before: Option<Measured>, after: Option<Measured>) -> Option<Difference> {
    let (a, b) = (before?, after?);
    let change = Measured::new(b.value - a.value, a.sigma.hypot(b.sigma))?;
    if change.sigma == 0.0 {
        return None;
    }
    let sigmas = change.value / change.sigma;
    let judged = match sigmas {
        s if s <= -CERTAIN => Judged::Less,
        s if s >= CERTAIN => Judged::More,
        s if s <= -POSSIBLE => Judged::MaybeLess,
        s if s >= POSSIBLE => Judged::MaybeMore,
        _ => Judged::Alike,
    };
    Some(Difference {
        before,
        after,
        change: Some(change),
        sigmas: Some(sigmas),
        chance: Some(chance(sigmas)),
        judged,
        limit: None,
        why: None,
    })
}

pub(super) fn open(before: Option<Measured>, after: Option<Measured>, why: &str) -> Difference {
    let nothing = Difference {
        before,
        after,
        change: None,
        sigmas: None,
        chance: None,
        judged: Judged::Open,
        limit: None,
        why: None,
    };
    Difference { why: Some(why.to_owned()), ..nothing }
}

/// A height that is known on `high` and not on `low`: how far it lies above what `low` could have shown.
pub(super) fn fell(high: &Side, low: &Side) -> Difference {
    let h = high.cut_height_um();
    let is_even = |s: &Side| s.marks.iter().any(|m| m.kind == Kind::Lines && m.height_um.is_some());
    if !low.is_bare() {
        let why = if low.is_wood {
            "what shows on one of them is the wood's own figure or torn fibre, whose height says nothing of the cutter"
        } else {
            "one of the photos shows marks but gives no height for them"
        };
        return open(h, None, why);
    }
    let (Some(top), Some(limit)) = (h, low.detectable_height_um) else {
        let why = if low.mm_per_px.is_none() {
            "one of the photos has no scale"
        } else if low.light_elevation_deg.is_none() {
            "the height of the lamp is not known on one of the photos"
        } else {
            "nothing shows on one of them, and how small a ridge it could show is not known"
        };
        return open(h, None, why);
    };
    if !is_even(high) {
        return open(
            h,
            None,
            "the height is that of single edges, and how small an edge the other photo can show is not known",
        );
    }
    let sigmas = if top.sigma > 0.0 {
        (limit - top.value) / top.sigma
    } else {
        return open(h, None, "the height has no sigma");
    };
    let judged = if sigmas <= -CERTAIN {
        Judged::Less
    } else if sigmas <= -POSSIBLE {
        Judged::MaybeLess
    } else {
        Judged::Open
    };
    let why = match judged {
        Judged::Open => "nothing shows on one of them, but ridges as high as the other's need not show there",
        _ => "nothing shows on one of them, and ridges as high as the other's would",
    };
    Difference {
        sigmas: (judged != Judged::Open).then_some(sigmas),
        chance: (judged != Judged::Open).then(|| chance(sigmas)),
        judged,
        limit: Some(limit),
        ..open(h, None, why)
    }
}

impl Difference {
    /// The same with before and after exchanged.
    pub(super) fn turned(self) -> Self {
        Self {
            before: self.after,
            after: self.before,
            change: self.change.map(|c| Measured { value: -c.value, ..c }),
            sigmas: self.sigmas.map(|s| -s),
            judged: match self.judged {
                Judged::Less => Judged::More,
                Judged::More => Judged::Less,
                Judged::MaybeLess => Judged::MaybeMore,
                Judged::MaybeMore => Judged::MaybeLess,
                same => same,
            },
            ..self
        }
    }
}
