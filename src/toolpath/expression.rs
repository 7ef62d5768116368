//! Numbers, parameters and expressions of RS274/NGC (NISTIR 6556, sections 3.3.2.1 to 3.3.2.3).

use winnow::ascii::digit0;
use winnow::combinator::{alt, opt, peek};
use winnow::error::ParserError;
use winnow::prelude::*;
use winnow::token::{any, one_of, take_while};

/// How near a value must lie to a whole number to count as one (the report's tolerance).
pub(super) const NEARLY_WHOLE: f64 = 1e-4;
/// Parameters are numbered 1 to this (the report's array has 5400 places, the first unused).
pub(super) const LAST_PARAMETER: usize = 5399;

/// Why a piece of a line cannot be read, in words.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Why(pub String);

impl<'a> ParserError<&'a str> for Why {
    type Inner = Self;
    fn from_input(input: &&'a str) -> Self {
        Self(match input.chars().next() {
            Some(c) => format!("'{c}' stands where a number, a parameter (#) or an expression in [ ] should"),
            None => "the line ends where a number, a parameter (#) or an expression in [ ] should follow".into(),
        })
    }
    fn into_inner(self) -> Result<Self, Self> {
        Ok(self)
    }
}

type Read<T> = std::result::Result<T, Why>;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Op {
    Power,
    Times,
    Over,
    Mod,
    Plus,
    Minus,
    Or,
    Xor,
    And,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Function {
    Abs,
    Acos,
    Asin,
    Cos,
    Exp,
    Fix,
    Fup,
    Ln,
    Round,
    Sin,
    Sqrt,
    Tan,
}

const FUNCTIONS: [(&str, Function); 12] = [
    ("abs", Function::Abs),
    ("acos", Function::Acos),
    ("asin", Function::Asin),
    ("cos", Function::Cos),
    ("exp", Function::Exp),
    ("fix", Function::Fix),
    ("fup", Function::Fup),
    ("ln", Function::Ln),
    ("round", Function::Round),
    ("sin", Function::Sin),
    ("sqrt", Function::Sqrt),
    ("tan", Function::Tan),
];

/// A value as written; parameters take their number only when the line is carried out.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Expression {
    Number(f64),
    Parameter(Box<Expression>),
    /// A sign before a parameter or a bracket, which the report does not have.
    Negative(Box<Expression>),
    Apply(Function, Box<Expression>),
    Atan(Box<Expression>, Box<Expression>),
    /// Operators of equal rank, left to right.
    Chain(Box<Expression>, Vec<(Op, Expression)>),
}

/// One value: a number, `#` and a value, `[` an expression `]`, or a function of one.
pub(super) fn value(input: &mut &str) -> Read<Expression> {
    match peek(opt(any)).parse_next(input)? {
        Some('#') => {
            any(input)?;
            if input.starts_with('<') {
                return Err(Why("named parameters (#<...>) are not part of the report and are not read".into()));
            }
            Ok(Expression::Parameter(Box::new(value(input)?)))
        }
        Some('[') => bracket(input),
        Some('+' | '-') => signed(input),
        Some('a'..='z') => function(input),
        _ => number(input).map(Expression::Number),
    }
}

fn signed(input: &mut &str) -> Read<Expression> {
    if !input[1..].starts_with(['#', '[']) {
        return number(input).map(Expression::Number);
    }
    let minus = any(input)? == '-';
    let v = Box::new(value(input)?);
    Ok(if minus { Expression::Negative(v) } else { *v })
}

/// Optional sign, digits, at most one point, at least one digit; no exponent.
fn number(input: &mut &str) -> Read<f64> {
    let before = *input;
    let text: &str = (opt(one_of(['+', '-'])), digit0, opt(('.', digit0))).take().parse_next(input)?;
    if !text.contains(|c: char| c.is_ascii_digit()) {
        return Err(Why::from_input(&before));
    }
    text.parse().map_err(|_| Why(format!("'{text}' is not a number")))
}

fn bracket(input: &mut &str) -> Read<Expression> {
    expect('[', input)?;
    let inner = sum(input)?;
    expect(']', input)?;
    Ok(inner)
}

fn expect(c: char, input: &mut &str) -> Read<()> {
    match input.strip_prefix(c) {
        Some(rest) => {
            *input = rest;
            Ok(())
        }
        None => Err(Why(match input.chars().next() {
            Some(found) => format!("'{c}' is missing before '{found}'"),
            None => format!("'{c}' is missing at the end of the line"),
        })),
    }
}

fn function(input: &mut &str) -> Read<Expression> {
    let word: &str = take_while(1.., 'a'..='z').parse_next(input)?;
    if word == "atan" {
        let a = bracket(input)?;
        expect('/', input)?;
        return Ok(Expression::Atan(Box::new(a), Box::new(bracket(input)?)));
    }
    match FUNCTIONS.iter().find(|f| f.0 == word) {
        Some(f) => Ok(Expression::Apply(f.1, Box::new(bracket(input)?))),
        None => Err(Why(format!("'{word}' stands where a number should, and is not a function of the report"))),
    }
}

fn chain(
    input: &mut &str,
    next: impl Fn(&mut &str) -> Read<Expression>,
    ops: impl Fn(&mut &str) -> Read<Op>,
) -> Read<Expression> {
    let first = next(input)?;
    let mut rest = vec![];
    while let Some(op) = opt(&ops).parse_next(input)? {
        rest.push((op, next(input)?));
    }
    Ok(if rest.is_empty() { first } else { Expression::Chain(Box::new(first), rest) })
}

fn power(input: &mut &str) -> Read<Expression> {
    chain(input, value, |i| "**".value(Op::Power).parse_next(i))
}

fn product(input: &mut &str) -> Read<Expression> {
    chain(input, power, |i| alt(("*".value(Op::Times), "/".value(Op::Over), "mod".value(Op::Mod))).parse_next(i))
}

fn sum(input: &mut &str) -> Read<Expression> {
    chain(input, product, |i| {
        alt(("+".value(Op::Plus), "-".value(Op::Minus), "or".value(Op::Or), "xor".value(Op::Xor), "and".value(Op::And)))
            .parse_next(i)
    })
}

impl Expression {
    /// The number this stands for, with `parameters[n]` for #n. Fails, in words, where there is none.
    pub fn eval(&self, parameters: &[f64]) -> Result<f64, String> {
        let v = match self {
            Self::Number(v) => *v,
            Self::Parameter(n) => parameters[index(n.eval(parameters)?)?],
            Self::Negative(v) => -v.eval(parameters)?,
            Self::Apply(f, v) => apply(*f, v.eval(parameters)?)?,
            Self::Atan(a, b) => a.eval(parameters)?.atan2(b.eval(parameters)?).to_degrees(),
            Self::Chain(first, rest) => {
                let mut v = first.eval(parameters)?;
                for (op, right) in rest {
                    v = combine(*op, v, right.eval(parameters)?)?;
                }
                v
            }
        };
        if v.is_finite() { Ok(v) } else { Err("the value is not a finite number".into()) }
    }
    /// Whether a sign stands before a parameter or a bracket anywhere in it.
    pub fn has_sign(&self) -> bool {
        match self {
            Self::Number(_) => false,
            Self::Negative(_) => true,
            Self::Parameter(v) | Self::Apply(_, v) => v.has_sign(),
            Self::Atan(a, b) => a.has_sign() || b.has_sign(),
            Self::Chain(a, rest) => a.has_sign() || rest.iter().any(|r| r.1.has_sign()),
        }
    }
}

/// A parameter's number from its value.
pub(super) fn index(v: f64) -> Result<usize, String> {
    match whole(v) {
        Some(n) if (1..=LAST_PARAMETER as i64).contains(&n) => Ok(n as usize),
        _ => Err(format!("there is no parameter #{v}: they are numbered 1 to {LAST_PARAMETER}")),
    }
}

/// The whole number this is, within the report's tolerance.
pub(super) fn whole(v: f64) -> Option<i64> {
    ((v - v.round()).abs() <= NEARLY_WHOLE && v.abs() < 1e15).then(|| v.round() as i64)
}

fn apply(f: Function, v: f64) -> Result<f64, String> {
    Ok(match f {
        Function::Abs => v.abs(),
        Function::Acos | Function::Asin if v.abs() > 1.0 => {
            return Err(format!("the arc sine or arc cosine of {v} does not exist"));
        }
        Function::Acos => v.acos().to_degrees(),
        Function::Asin => v.asin().to_degrees(),
        Function::Cos => v.to_radians().cos(),
        Function::Exp => v.exp(),
        Function::Fix => v.floor(),
        Function::Fup => v.ceil(),
        Function::Ln if v <= 0.0 => return Err(format!("the logarithm of {v} does not exist")),
        Function::Ln => v.ln(),
        Function::Round => v.round(),
        Function::Sin => v.to_radians().sin(),
        Function::Sqrt if v < 0.0 => return Err(format!("the square root of {v} does not exist")),
        Function::Sqrt => v.sqrt(),
        Function::Tan => v.to_radians().tan(),
    })
}

fn combine(op: Op, a: f64, b: f64) -> Result<f64, String> {
    let truth = |t: bool| if t { 1.0 } else { 0.0 };
    Ok(match op {
        Op::Power if a < 0.0 && whole(b).is_none() => {
            return Err(format!("{a} cannot be raised to the power {b}"));
        }
        Op::Power => a.powf(b),
        Op::Times => a * b,
        Op::Over | Op::Mod if b == 0.0 => return Err("divided by zero".into()),
        Op::Over => a / b,
        Op::Mod => a.rem_euclid(b),
        Op::Plus => a + b,
        Op::Minus => a - b,
        Op::Or => truth(a != 0.0 || b != 0.0),
        Op::Xor => truth((a != 0.0) != (b != 0.0)),
        Op::And => truth(a != 0.0 && b != 0.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str, parameters: &[(usize, f64)]) -> Result<f64, String> {
        let mut p = vec![0.0; LAST_PARAMETER + 1];
        parameters.iter().for_each(|(n, v)| p[*n] = *v);
        let mut input = text;
        let e = value(&mut input).map_err(|w| w.0)?;
        assert_eq!(input, "", "{text} was not read to its end");
        e.eval(&p)
    }

    /// Values printed in NISTIR 6556 (section 3.3.2.3 and program C.2), to the digits printed.
    #[test]
    fn expressions_give_the_reports_values() {
        for (text, want, tolerance) in [
            ("fix[2.8]", 2.0, 0.0),
            ("fix[-2.8]", -3.0, 0.0),
            ("fup[2.8]", 3.0, 0.0),
            ("fup[-2.8]", -2.0, 0.0),
            ("[2.0/3*1.5-5.5/11.0]", 0.5, 1e-12),
            ("tan[60]", 1.7321, 5e-5),
            ("atan[1.7321]/[1.0]", 60.0, 1e-3),
            ("acos[0]", 90.0, 1e-9),
            ("asin[0.70710678]", 45.0, 1e-5),
            ("[2**3]", 8.0, 0.0),
        ] {
            let v = at(text, &[]).unwrap();
            assert!((v - want).abs() <= tolerance, "{text} = {v}, the report says {want}");
        }
    }

    /// The ranks the report gives: power; then times, over, mod; then the rest, left to right.
    #[test]
    fn operators_keep_their_rank() {
        for (text, want) in [
            ("[1+2*3**2]", 19.0),
            ("[2**3**2]", 64.0),
            ("[8/4/2]", 1.0),
            ("[1--3]", 4.0),
            ("[7mod4*2]", 6.0),
            ("[-1mod4]", 3.0),
            ("[0or1and0]", 0.0),
            ("[1xor1]", 0.0),
            ("[10-4-3]", 3.0),
            ("##2", 7.0),
            ("#[1+1]", 3.0),
            ("-#2", -3.0),
            ("-[1+1]", -2.0),
        ] {
            assert_eq!(at(text, &[(2, 3.0), (3, 7.0)]), Ok(want), "{text}");
        }
    }

    #[test]
    fn what_is_no_value_is_refused_in_words() {
        for (text, part) in [
            ("", "line ends"),
            ("[1", "']' is missing"),
            ("[1+]", "']' stands where"),
            ("-", "stands where"),
            (".", "stands where"),
            ("sin30", "'[' is missing"),
            ("sine[3]", "not a function"),
            ("atan[1]", "'/' is missing"),
            ("[1/0]", "divided by zero"),
            ("sqrt[-1]", "square root"),
            ("ln[0]", "logarithm"),
            ("asin[2]", "does not exist"),
            ("#0", "no parameter"),
            ("#5400", "no parameter"),
            ("#1.5", "no parameter"),
            ("#<depth>", "named parameters"),
            ("exp[1000]", "finite"),
            ("[-2**0.5]", "cannot be raised"),
        ] {
            let e = at(text, &[]).expect_err(text);
            assert!(e.contains(part), "{text}: {e}");
        }
    }
}
