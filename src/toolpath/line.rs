//! One line of the file into its words (NISTIR 6556, section 3.3), nothing carried out yet.

use super::expression::{Expression, Why, value};
use winnow::Parser;
use winnow::combinator::opt;
use winnow::token::{any, take_while};

/// Longest line the report allows, characters.
const LONGEST: usize = 256;
/// Longest line read at all, characters outside comments: sixteen times the report's; beyond it the file is no list of
/// short lines but something else, and reading on would only give an unreadable message.
const LONGEST_READ: usize = 4096;
/// Largest line number of the report.
const LAST_NUMBER: f64 = 99_999.0;
/// Brackets or parameter signs within one another that are followed. No program comes near; it bounds the stack.
const DEEPEST: usize = 40;

/// How a line goes beyond the report and is read all the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Beyond {
    LongLine,
    SemicolonComment,
    NestedComment,
    LineNumber,
    Sign,
}

#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Line {
    /// The line starts with a slash: it may be left out at the machine.
    pub may_be_skipped: bool,
    /// Letters (lower case, N left out) and their values, in order.
    pub words: Vec<(char, Expression)>,
    /// Parameter numbers and the values they are given.
    pub settings: Vec<(Expression, Expression)>,
    /// The line starts with the letter O (sub-programs, loops), which the report does not have; what it says.
    pub o_word: Option<String>,
    pub beyond: Vec<Beyond>,
}

/// Reads one line without its line end. Fails, in words, on what the report does not allow and no dialect explains.
pub(super) fn read(text: &str) -> Result<Line, String> {
    let mut line = Line::default();
    let packed = pack(text, &mut line.beyond)?;
    let mut rest = packed.as_str();
    grammar(&mut rest, &mut line).map_err(|w| w.0)?;
    let values = line.words.iter().map(|w| &w.1).chain(line.settings.iter().map(|s| &s.1));
    if values.into_iter().any(Expression::has_sign) {
        line.beyond.push(Beyond::Sign);
    }
    Ok(line)
}

/// Comments and white space out, letters in lower case.
fn pack(text: &str, beyond: &mut Vec<Beyond>) -> Result<String, String> {
    let mut out = String::with_capacity(text.len());
    let (mut comment, mut brackets, mut signs) = (0usize, 0usize, 0usize);
    for c in text.chars() {
        match c {
            '(' if comment > 0 => {
                comment += 1;
                beyond.push(Beyond::NestedComment);
            }
            '(' => comment = 1,
            ')' if comment > 0 => comment -= 1,
            _ if comment > 0 => {}
            ')' => return Err("')' closes a comment that was not opened".into()),
            ';' => {
                beyond.push(Beyond::SemicolonComment);
                break;
            }
            ' ' | '\t' | '\r' => {}
            c if c.is_ascii_graphic() => {
                brackets = match c {
                    '[' => brackets + 1,
                    ']' => brackets.saturating_sub(1),
                    _ => brackets,
                };
                signs = if c == '#' { signs + 1 } else { 0 };
                if brackets + signs > DEEPEST {
                    return Err(format!("more than {DEEPEST} brackets or parameter signs stand within one another"));
                }
                out.push(c.to_ascii_lowercase());
            }
            c => return Err(format!("the character '{}' has no meaning here", c.escape_default())),
        }
    }
    if comment > 0 {
        return Err("the comment is not closed with ')'".into());
    }
    if text.chars().count() > LONGEST {
        beyond.push(Beyond::LongLine);
    }
    if out.len() > LONGEST_READ {
        return Err(format!("the line has {} characters; {LONGEST} are allowed", out.len()));
    }
    beyond.dedup();
    Ok(out)
}

fn grammar(rest: &mut &str, line: &mut Line) -> Result<(), Why> {
    line.may_be_skipped = opt('/').parse_next(rest)?.is_some();
    if rest.starts_with('n') {
        any::<_, Why>(rest)?;
        let digits: &str = take_while(0.., |c: char| c.is_ascii_digit() || c == '.').parse_next(rest)?;
        match digits.parse::<f64>() {
            Ok(n) if n > LAST_NUMBER || digits.contains('.') => line.beyond.push(Beyond::LineNumber),
            Ok(_) => {}
            Err(_) => return Err(Why("N is not followed by a line number".into())),
        }
    }
    if let Some(o) = rest.strip_prefix('o') {
        line.o_word = Some(o.to_owned());
        return Ok(());
    }
    while let Some(c) = opt(any).parse_next(rest)? {
        match c {
            '#' => {
                if rest.starts_with('<') {
                    return Err(Why("named parameters (#<...>) are not part of the report and are not read".into()));
                }
                let n = value(rest)?;
                if opt('=').parse_next(rest)?.is_none() {
                    return Err(Why("'=' is missing after a parameter that stands where a word should".into()));
                }
                line.settings.push((n, value(rest)?));
            }
            'n' => return Err(Why("the line number must stand first in its line, and once".into())),
            'a'..='z' => {
                let v = value(rest).map_err(|w| Why(format!("after {}: {}", c.to_ascii_uppercase(), w.0)))?;
                line.words.push((c, v));
            }
            '/' => return Err(Why("'/' may stand only at the start of a line".into())),
            c => return Err(Why(format!("'{c}' stands where a letter should"))),
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<(char, f64)> {
        let l = read(text).unwrap();
        l.words.iter().map(|(c, v)| (*c, v.eval(&[0.0; 5400]).unwrap())).collect()
    }

    /// The report's own example of white space and case: "g0x +0. 12 34y 7" is "g0 x+0.1234 y7".
    #[test]
    fn white_space_and_case_mean_nothing() {
        assert_eq!(words("g0x +0. 12 34y 7"), words("G0 X+0.1234 Y7"));
        assert_eq!(words("g0x +0. 12 34y 7"), [('g', 0.0), ('x', 0.1234), ('y', 7.0)]);
    }

    #[test]
    fn line_numbers_comments_and_slashes_are_set_apart() {
        assert_eq!(words("N0010 (a) G1 (b g7) X-3."), [('g', 1.0), ('x', -3.0)]);
        assert!(words("").is_empty() && words("(MSG, all well)").is_empty());
        let l = read("/N5 g4 p[1+1] #3=15 #[1+1]=#3").unwrap();
        assert!(l.may_be_skipped && l.settings.len() == 2 && l.words.len() == 2 && l.beyond.is_empty());
        assert_eq!(read("O100 while [#1 lt 3]").unwrap().o_word.as_deref(), Some("100while[#1lt3]"));
    }

    #[test]
    fn what_other_dialects_write_is_read_and_noted() {
        assert_eq!(read("G1 X1 ; to the wall (or so").unwrap().beyond, [Beyond::SemicolonComment]);
        assert_eq!(read("G1 X1 (to (the) wall)").unwrap().beyond, [Beyond::NestedComment]);
        assert_eq!(read("N123456 G1").unwrap().beyond, [Beyond::LineNumber]);
        assert_eq!(read("G1 X-#1").unwrap().beyond, [Beyond::Sign]);
        assert_eq!(read(&format!("G1 X1 ({})", "a".repeat(300))).unwrap().beyond, [Beyond::LongLine]);
    }

    #[test]
    fn bad_lines_are_refused_in_words() {
        for (text, part) in [
            ("G1 X", "after X: the line ends"),
            ("G1 XY2", "after X: 'y'"),
            ("hello", "after H"),
            ("G1 (open", "not closed"),
            ("G1 close)", "not opened"),
            ("G1 N5", "must stand first"),
            ("N G1", "line number"),
            ("12", "'1' stands where a letter should"),
            ("G1 X1 / Y2", "start of a line"),
            ("#1", "'=' is missing"),
            ("#<a>=3", "named parameters"),
            ("G1 X\u{e9}", "has no meaning"),
            ("G1 X\0", "has no meaning"),
        ] {
            let e = read(text).expect_err(text);
            assert!(e.contains(part), "{text}: {e}");
        }
        assert!(read(&format!("x{}", "[".repeat(3000))).unwrap_err().contains("within one another"));
        assert!(read(&"x1".repeat(3000)).unwrap_err().contains("256"));
    }
}
