//! Colours and strokes. The hues are those of Okabe and Ito (Color Universal Design, 2008), which people with any of the
//! common colour deficiencies can tell apart; dashes say the same a second time.

/// What a shape stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// Outline of the floor.
    Outline,
    /// Lines of a family, by its rank.
    Family(usize),
    /// A dark edge: the floor steps down going away from the lamp.
    Shade,
    /// A bright edge: the floor steps up going away from the lamp.
    Lit,
    /// A strip between two edges.
    Strip,
    /// The reference.
    Reference,
    /// Where the light comes from.
    Lamp,
    /// A ragged piece of the rim.
    Ragged,
    /// A ring where the cutter turned.
    Ring,
    /// Where the plan makes a mark likely: nothing that was measured.
    Foretold,
}

const FAMILIES: [[u8; 3]; 3] = [[0, 158, 115], [204, 121, 167], [86, 180, 233]];

impl Ink {
    pub fn rgb(self) -> [u8; 3] {
        match self {
            Self::Outline => [255, 255, 255],
            Self::Family(n) => FAMILIES[n % FAMILIES.len()],
            Self::Shade => [0, 114, 178],
            Self::Lit => [230, 159, 0],
            Self::Strip => [213, 94, 0],
            Self::Reference => [240, 228, 66],
            Self::Lamp => [240, 228, 66],
            Self::Ragged => [213, 94, 0],
            Self::Ring => [204, 121, 167],
            // Outside the eight hues: what is foretold must not pass for what was found.
            Self::Foretold => [255, 0, 255],
        }
    }
    pub fn hex(self) -> String {
        let [r, g, b] = self.rgb();
        format!("#{r:02x}{g:02x}{b:02x}")
    }
    /// Stroke width in screen pixels, whatever the size the picture is shown at.
    pub fn width(self) -> f64 {
        match self {
            Self::Family(_) => 1.0,
            Self::Outline | Self::Reference => 1.5,
            Self::Shade | Self::Lit | Self::Ring => 2.5,
            Self::Strip => 1.0,
            Self::Ragged => 3.0,
            Self::Foretold => 2.0,
            Self::Lamp => 4.0,
        }
    }
    /// Dash pattern, screen pixels; empty for a full line.
    pub fn dash(self) -> &'static str {
        match self {
            Self::Lit => "7 4",
            Self::Outline => "4 3",
            Self::Foretold => "1 4",
            _ => "",
        }
    }
    /// Whether a dark line is laid under it, so that it shows on light ground as well.
    pub fn cased(self) -> bool {
        matches!(self, Self::Outline | Self::Reference | Self::Lamp | Self::Ragged | Self::Ring | Self::Foretold)
    }
}
