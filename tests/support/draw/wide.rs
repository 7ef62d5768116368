//! Cutters of every size and stepovers of every share, in place of the usual ones.

use super::super::spec::*;
use super::{Draw, round};

/// Diameters, mm, and shares of the diameter that passes step over.
pub const CUTTERS_MM: (f64, f64) = (3.0, 32.0);
pub const SHARES: (f64, f64) = (0.1, 0.8);

/// Half of the scenes keep the usual cutters: people own more of them. Letters, bull noses and passes that are dished, or laid
/// to the figure, keep theirs as well: their other numbers follow from them.
pub(super) fn widen(d: &mut Draw, s: &mut Spec) {
    let bound = s.letters.is_some() || matches!(s.cause, "tilt-along-passes" | "wood-figure");
    if d.yes(0.5) || bound || matches!(s.tool.bottom, Bottom::Bull(_)) {
        return;
    }
    let old = s.tool.d;
    // A pocket holds three widths of its cutter at least.
    let widest = CUTTERS_MM.1.min(s.size[0].min(s.size[1]) / 3.0);
    s.tool.d = round(d.log(CUTTERS_MM.0, widest), 0.5);
    s.stepover = match s.tool.bottom {
        // Cusps as high as before.
        Bottom::Ball => s.stepover * (s.tool.d / old).sqrt(),
        // Loops further apart than this leave stock in the corners.
        _ if matches!(s.pattern, Pattern::Contour { .. }) => s.tool.d * d.u(SHARES.0, 0.65),
        _ => s.tool.d * d.u(SHARES.0, SHARES.1),
    };
    s.stepover = round(s.stepover, 0.05);
}
