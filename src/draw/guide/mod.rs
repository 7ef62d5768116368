//! Drawings for the page on taking the photo (docs/photographing.md), or for a sheet to hang beside the machine. Each is a
//! whole SVG of 480 px width with labels of 16 px, so that it can be read on a phone; made up, to no scale but that of
//! the angles, which are right.

mod card;
mod lamp;
mod pencil;
mod setup;

pub(super) use pencil::{At, Drawing, INK, Stroke};
use pencil::{CARD, CUT, DARK, LIGHT, Pencil, WOOD};

/// The drawings that a person with a camera needs most: the set-up, the lamp's side, the card's place, the camera.
pub(super) fn essential() -> [Drawing; 4] {
    [setup::side(), lamp::direction(), card::places(), setup::camera()]
}

/// File name (without folder and ending) and the drawing.
pub fn drawings() -> Vec<(&'static str, String)> {
    let all = [
        ("photographing-side", setup::side()),
        ("photographing-above", setup::above()),
        ("photographing-lamp-height", lamp::height()),
        ("photographing-lamp-direction", lamp::direction()),
        ("photographing-card", card::places()),
        ("photographing-camera", setup::camera()),
    ];
    all.map(|(name, d)| (name, d.svg())).to_vec()
}
