//! Registry of caveats: the number stands, trust it less. Ids are frozen (a test holds the list).

use serde::Serialize;

/// One kind of caveat: frozen id, one line, long text, what to try.
#[derive(Debug, PartialEq)]
pub struct Kind {
    pub id: &'static str,
    pub line: &'static str,
    pub long: &'static str,
    pub hint: &'static str,
}

/// A caveat raised on one photo: its kind and the words that fit the case.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Caveat {
    pub id: &'static str,
    pub text: String,
    #[serde(rename = "try")]
    pub hint: String,
}

impl Kind {
    /// The caveat with its standing words.
    pub fn plain(&self) -> Caveat {
        self.with(self.line)
    }
    /// The caveat with words that fit the case (numbers, names).
    pub fn with(&self, text: impl Into<String>) -> Caveat {
        Caveat { id: self.id, text: text.into(), hint: self.hint.to_owned() }
    }
}

macro_rules! registry {
    ($($name:ident = $id:literal, $line:literal, $long:literal, $hint:literal;)*) => {
        $(pub const $name: Kind = Kind { id: $id, line: $line, long: $long, hint: $hint };)*
        /// Every caveat there is, in the order of the walk.
        pub const ALL: &[&Kind] = &[$(&$name),*];
    };
}

registry! {
    NO_FOCAL_LENGTH = "no-focal-length",
        "The photo does not carry the camera's focal length; a usual phone lens was assumed.",
        "The scale at the floor is carried from the card by the camera's distance, which follows from the focal length. Without it a phone's main lens (26 mm equivalent, one sigma 15 %) is assumed and the scale's sigma grows.",
        "send the original file from the phone, not a copy from a chat, which often loses these data";
    NO_REFERENCE = "no-reference",
        "Nothing of known size was found in the photo; the marks are given in pixels only.",
        "Without a known size no pitch, height or width can be given in millimetres or inches, and the pitch cannot be set against the planned stepover.",
        "lay a bank-card sized card flat on the stock beside the pocket, or give four known points with --point";
    DEPTH_UNKNOWN = "depth-unknown",
        "The pocket's depth is not in the plan, so the scale was not carried from the rim down to the floor.",
        "A card on the stock lies nearer to the camera than the floor; at phone distances this is 0.5 to 2 percent of every length.",
        "give the pocket depth with --depth or in the plan";
}
