//! What the sheet says.

use super::{Item, Sheet};
use crate::card::{BAR_MM, Form};
use crate::geometry::Point;

/// Font size and line height of running words, mm.
const SIZE: f64 = 3.3;
const LINE: f64 = 4.7;

fn purpose(form: Form) -> [&'static str; 2] {
    match form {
        Form::Pocket => [
            "Lay it flat beside the pocket, or in the pocket on its floor, and take it into the photo.",
            "lowsun finds it by itself and knows the scale and how the camera stood.",
        ],
        Form::Corner => [
            "Lay it flat on the pocket's floor, its arms along two walls, and take it into the photo.",
            "There it gives the floor's scale directly; from the rim the pocket's depth comes in.",
        ],
        Form::Frame => [
            "Lay it flat round the place of interest, which shows in the window, and take it into the photo.",
            "With print on all four sides it gives the best scale, and shows what the lens does.",
        ],
    }
}

fn size(form: Form) -> &'static str {
    match form {
        Form::Pocket => "86 x 54 mm",
        Form::Corner => "L, 102 x 70 mm",
        Form::Frame => "150 x 110 mm, window 98 x 58 mm",
    }
}

const PRINT: [&str; 9] = [
    "1. Print at 100 % (\"actual size\"), not \"fit to page\", in black on white matt paper, best quality.",
    "2. Measure both bars with a caliper, from the middle of one end line to the middle of the other.",
    "    Both should be 100.0 mm. If they are not, give lowsun what you measured (the bar along x first):",
    "    lowsun inspect ... --card-measured 99.4mm     or     --card-measured 99.4x99.7mm",
    "3. Glue the sheet all over on a flat, stiff board 1 to 3 mm thick, without folds, then cut along the",
    "    dashed lines. Bare paper curls, and a curled card gives a wrong scale. Write the two lengths and the",
    "    thickness of the whole on its back.",
    "4. Use it clean, dry and lying flat. Some of it may be covered or in shadow: every code tells the rest.",
    "    Keep a narrow white edge all round.",
];

const CAUTIONS: [&str; 3] = [
    "Switch the machine off and isolate the spindle before you lay anything in the pocket. Keep the lamp out of",
    "people's eyes (it stands low, at eye level for whoever bends over the board) and off dust and shavings.",
    "The makers' manuals, local codes and people licensed for the work come first.",
];

pub(super) fn write(sheet: &mut Sheet, left: f64) {
    let mut y = 18.0;
    let mut line = |y: f64, size: f64, bold: bool, words: String| {
        sheet.items.push(Item::Text { at: Point::new(left, y), size, bold, up: false, words });
    };
    line(y, 5.2, true, format!("Reference card for lowsun: {} ({})", sheet.form.name(), size(sheet.form)));
    y += 7.2;
    for words in purpose(sheet.form) {
        line(y, SIZE, false, words.into());
        y += LINE;
    }
    y += 2.2;
    for words in PRINT {
        line(y, SIZE, false, words.into());
        y += LINE;
    }
    if sheet.factor != (1.0, 1.0) {
        let (x, y_) = (BAR_MM / sheet.factor.0, BAR_MM / sheet.factor.1);
        let words = format!(
            "This sheet is drawn for a printer that makes {x:.2} x {y_:.2} mm of 100: both bars should now be 100.0 mm."
        );
        line(y, SIZE, true, words);
    }
    y = 238.0;
    for words in CAUTIONS {
        line(y, SIZE, false, words.into());
        y += LINE;
    }
    let (paper, version) = (sheet.paper.name(), env!("CARGO_PKG_VERSION"));
    let words = format!("lowsun {version}, form {}, {paper}; squares 4.000 mm", sheet.form.name());
    line(y + 2.0, 2.6, false, words);
}
