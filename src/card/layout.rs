//! Where the cells and the blocks of every form lie, and where the paper is cut.

use super::{Form, MARGIN_MM, PITCH_MM};
use crate::geometry::Point;

/// Width of the arms of the L and of the frame's sides, cells: a block and a row of saddle corners beside it.
const ARM: i32 = 6;

/// Cells along x and y.
pub(super) fn size(form: Form) -> (i32, i32) {
    match form {
        Form::Pocket => (21, 13),
        Form::Corner => (25, 17),
        Form::Frame => (37, 27),
    }
}

/// Whether cell (i, j) of the lattice's rectangle belongs to the form.
pub(super) fn on_form(form: Form, i: i32, j: i32) -> bool {
    let (cols, rows) = size(form);
    match form {
        Form::Pocket => true,
        // Cut off where the cutter leaves the pocket's corner round.
        Form::Corner => (i < ARM || j < ARM) && i + j > 1,
        Form::Frame => i < ARM || j < ARM || i >= cols - ARM || j >= rows - ARM,
    }
}

/// Top-left cells of the blocks. A block lies at an edge or at least two cells from it (one row of squares alone has no
/// saddle corner). No form, no turn of it and no part of it without one block has the pattern of another.
pub(super) fn holes(form: Form) -> &'static [(i32, i32)] {
    match form {
        Form::Pocket => &[(3, 0), (14, 0), (2, 9), (12, 9)],
        Form::Corner => &[(2, 2), (12, 0), (21, 2), (0, 10)],
        Form::Frame => &[(4, 0), (15, 2), (27, 0), (0, 10), (33, 12), (8, 23), (19, 21), (30, 23)],
    }
}

fn rectangle(x0: f64, y0: f64, x1: f64, y1: f64) -> Vec<Point> {
    vec![Point::new(x0, y0), Point::new(x1, y0), Point::new(x1, y1), Point::new(x0, y1)]
}

/// Cutting lines, mm in the card frame.
pub(super) fn outlines(form: Form) -> Vec<Vec<Point>> {
    let (cols, rows) = size(form);
    let (w, h, m) = (f64::from(cols) * PITCH_MM, f64::from(rows) * PITCH_MM, MARGIN_MM);
    let arm = f64::from(ARM) * PITCH_MM;
    match form {
        Form::Pocket => vec![rectangle(-m, -m, w + m, h + m)],
        Form::Corner => {
            // The slanted cut runs one margin outside the line from (2, 0) to (0, 2) pitches.
            let cut = 2.0 * PITCH_MM + m - m * std::f64::consts::SQRT_2;
            vec![vec![
                Point::new(cut, -m),
                Point::new(w + m, -m),
                Point::new(w + m, arm + m),
                Point::new(arm + m, arm + m),
                Point::new(arm + m, h + m),
                Point::new(-m, h + m),
                Point::new(-m, cut),
            ]]
        }
        Form::Frame => vec![rectangle(-m, -m, w + m, h + m), rectangle(arm + m, arm + m, w - arm - m, h - arm - m)],
    }
}
