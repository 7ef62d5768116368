//! Widths of the standard fonts' letters, to break lines and centre labels, and the bytes that stand for them.

/// Plain or bold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::draw) enum Face {
    Plain,
    Bold,
}

/// Widths of Helvetica for the codes 32 to 126, thousandths of the font size (Adobe Font Metrics, Core 14 fonts).
const PLAIN: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556, 556, 556,
    556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833,
    722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556,
    556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334,
    260, 334, 584,
];
/// Bold letters are wider by at most this share of the font size each (mean of the same tables: 0.03).
const BOLDER: f64 = 0.03;
/// Width of a letter outside that table, share of the size: accented ones are as wide as their plain ones at most.
const OTHER: f64 = 0.6;

/// Width of some words at font size 1.
pub(in crate::draw) fn width(words: &str, face: Face) -> f64 {
    let more = if face == Face::Bold { BOLDER } else { 0.0 };
    let one = |c: char| match c {
        ' '..='~' => f64::from(PLAIN[c as usize - 32]) / 1000.0,
        '\u{2019}' => 0.222,
        '\u{b0}' => 0.4,
        _ => OTHER,
    };
    words.chars().map(|c| one(c) + more).sum()
}

/// Lines of at most `most` (in font sizes), broken at spaces.
pub(in crate::draw) fn broken(words: &str, most: f64, face: Face) -> Vec<String> {
    let mut out = vec![String::new()];
    for word in words.split(' ') {
        let last = out.last_mut().expect("never empty");
        let longer = if last.is_empty() { word.to_owned() } else { format!("{last} {word}") };
        if last.is_empty() || width(&longer, face) <= most {
            *last = longer;
        } else {
            out.push(word.to_owned());
        }
    }
    out
}

/// The bytes of WinAnsiEncoding (ISO 32000, annex D); a question mark for what it does not hold.
pub(in crate::draw) fn win_ansi(words: &str) -> Vec<u8> {
    words
        .chars()
        .map(|c| match c {
            '\u{2019}' => 0x92,
            '\u{2013}' => 0x96,
            c => u8::try_from(c as u32).ok().filter(|b| !(0x80..0xa0).contains(b)).unwrap_or(b'?'),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    /// From the font's published metrics: H 722, e 556, l 222, l 222, o 556.
    #[test]
    fn widths_are_those_of_the_font() {
        assert!((width("Hello", Face::Plain) - 2.278).abs() < 1e-9);
        assert_eq!(broken("aa bb cc", width("aa bb", Face::Plain), Face::Plain), ["aa bb", "cc"]);
        assert_eq!(win_ansi("10\u{b0} \u{2019}\u{4e00}"), b"10\xb0 \x92?");
    }
}
