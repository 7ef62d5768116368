//! What the codes say, and their modules.

use super::Form;
use fast_qr::{ECL, Mode, QRBuilder, Version};

/// Modules along a side: version 1 of ISO/IEC 18004.
pub const CODE_MODULES: usize = 21;

/// Letter of this format. A later one gets the next letter, and both stay readable.
const FORMAT: char = 'A';

/// What one code says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Code {
    pub form: Form,
    /// Which block of the form it stands in.
    pub block: usize,
    /// Pitch of the lattice as drawn, um.
    pub pitch_um: u32,
}

impl Code {
    /// The text of the code, such as `LSAP0:4000`: name, letter of the format, letter of the form, block, pitch. Ten
    /// characters of the alphanumeric set are what version 1 holds at its highest error level (H, about 30 %).
    pub fn text(&self) -> String {
        let form = match self.form {
            Form::Pocket => 'P',
            Form::Corner => 'C',
            Form::Frame => 'F',
        };
        format!("LS{FORMAT}{form}{}:{:04}", self.block, self.pitch_um)
    }
    /// Reads such a text; `None` for everything else, a code of somebody else's in the picture among it.
    pub fn parse(text: &str) -> Option<Self> {
        let mut rest = text.strip_prefix("LS")?.strip_prefix(FORMAT)?.chars();
        let form = match rest.next()? {
            'P' => Form::Pocket,
            'C' => Form::Corner,
            'F' => Form::Frame,
            _ => return None,
        };
        let block = rest.next()?.to_digit(10)? as usize;
        let digits = rest.as_str().strip_prefix(':')?;
        let plain = digits.len() == 4 && digits.bytes().all(|b| b.is_ascii_digit());
        let code = Self { form, block, pitch_um: digits.parse().ok().filter(|_| plain)? };
        (code.pitch_um > 0 && block < super::layout::holes(form).len()).then_some(code)
    }
    /// Modules row by row, true = black.
    pub(super) fn modules(&self) -> Vec<bool> {
        let mut maker = QRBuilder::new(self.text());
        let made = maker.mode(Mode::Alphanumeric).ecl(ECL::H).version(Version::V01).build();
        let made = made.expect("ten alphanumeric characters fit version 1 at level H");
        (0..CODE_MODULES).flat_map(|row| made[row].iter().map(|m| m.value())).collect()
    }
}
