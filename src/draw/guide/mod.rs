//! Drawings for the page on taking the photo (docs/photographing.md), or for a sheet to hang beside the machine. Each is a
//! whole SVG of 480 px width with labels of 16 px, so that it can be read on a phone; made up, to no scale but that of
//! the angles, which are right.

mod card;
mod lamp;
mod pencil;
mod setup;

use pencil::{At, CARD, CUT, DARK, INK, LIGHT, Pencil, WOOD};

/// File name (without folder and ending) and the drawing.
pub fn drawings() -> Vec<(&'static str, String)> {
    vec![
        ("photographing-side", setup::side()),
        ("photographing-above", setup::above()),
        ("photographing-lamp-height", lamp::height()),
        ("photographing-lamp-direction", lamp::direction()),
        ("photographing-card", card::places()),
        ("photographing-camera", setup::camera()),
    ]
}
