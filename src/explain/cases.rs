//! Every cause on the scales, and the pair of ridges and steps together.

use super::Verdict;
use super::absence;
use super::digest::{Digest, REAL};
use super::periodic::{self, PERIODIC};
use super::prior::prior;
use super::steps::{self, STEPPED};
use super::verdict::Pair;
use super::weights::{Case, STRONG};
use crate::expect::Cause;
use crate::marks::Line;

/// Prior weight of two independent faults on one floor against one alone (common practice, no source).
const BOTH_PRIOR: f64 = 0.2;

/// All causes weighed; the likeliest scallop and the likeliest step cause as a pair where both have marks of their own.
pub fn all(d: &Digest) -> (Vec<Case>, Option<Pair>) {
    let mut cases = vec![];
    // Weight that each cause loses for the other kind of marks, which a pair does not lose.
    let mut lost = vec![];
    for record in super::findings::ALL {
        let cause = record.cause;
        let mut c = Case::new(cause, prior(cause, d.plan));
        let mut missed = 0.0;
        if PERIODIC.contains(&cause) {
            periodic::weigh(d, &mut c);
            missed = -STRONG * d.loose.amount;
            c.add(missed, "single edges stay unexplained");
        } else if STEPPED.contains(&cause) {
            steps::weigh(d, &mut c);
            missed = -STRONG * d.any_line();
            c.add(missed, "even, coherent lines stay unexplained");
        }
        if let (Cause::FullWidthFirstPass, Some(words)) = (cause, level_between_lines(d)) {
            c.add(STRONG, words);
        }
        match cause {
            Cause::TurnMarks => absence::turn_marks(d, &mut c),
            Cause::WoodFigure => absence::figure(d, &mut c),
            Cause::FuzzOrTear => absence::fuzz(d, &mut c),
            Cause::Clean => absence::clean(d, &mut c),
            Cause::CannotTell => absence::cannot_tell(d, &mut c),
            _ => {}
        }
        if cause.verdict() == Verdict::DeflectionSteps {
            steps::deflection_conditions(d, &mut c);
        }
        super::rim::weigh(d, &mut c);
        // Edges one by one, without a family, are too few for more.
        c.faint = d.faint(c.family) || (PERIODIC.contains(&cause) && c.family.is_none());
        cases.push(c);
        lost.push(missed);
    }
    let best = |v: Verdict| {
        let of = |i: &usize| {
            cases[*i].cause.verdict() == v && (v == Verdict::Scallops || STEPPED.contains(&cases[*i].cause))
        };
        (0..cases.len()).filter(of).max_by(|a, b| cases[*a].log_weight.total_cmp(&cases[*b].log_weight))
    };
    let pair = best(Verdict::Scallops).zip(best(Verdict::DeflectionSteps)).map(|(s, t)| {
        let own = |i: usize| cases[i].log_weight - lost[i];
        // Single edges beside even ridges are seldom steps: only a strip, both its edges seen, speaks for a second fault, or a
        // few lines of the ridges themselves that are far stronger than all others.
        let steps = if steps_among(d, cases[s].family) {
            STRONG
        } else {
            own(t) + if cases[t].strips.is_empty() { -STRONG } else { 0.0 }
        };
        Pair { scallop: cases[s].cause, steps: cases[t].cause, log_weight: own(s) + steps + BOTH_PRIOR.ln() }
    });
    (cases, pair)
}

/// A line this many times as strong as its family's others, by this many of its sigmas, has a step beneath it.
const STRONGER: f64 = 1.75;
const SIGMAS: f64 = 4.0;
/// Spacings from a wall within which a strong line must also leave light, as must the first and last that are measured: a wall's
/// own light, or a pass round the walls, makes lines there up to three times as strong and leaves up to 2 sigmas; a step of
/// the floor beneath left 5 to 10 (made floors, 2026-11).
const OUTERMOST: f64 = 1.5;
/// A first pass at full width ends under one line, or two; every second line is something else.
const FEW: usize = 3;

/// Whether a few lines of a family stand out as where a pass of another level ends.
fn steps_among(d: &Digest, family: Option<usize>) -> bool {
    let Some(f) = family.map(|f| &d.marks.families[f]) else { return false };
    let strong = |s: &crate::units::Measured| s.value > STRONGER && s.value - 1.0 > SIGMAS * s.sigma;
    let (near, far) = d.patch.reach(f.normal_deg.value);
    let last = f.lines.len().saturating_sub(1);
    let outermost = |i: usize, at: f64| i == 0 || i == last || (at - near).min(far - at) < OUTERMOST * f.pitch.value;
    let steps = |(i, l): &(usize, &Line)| {
        strong(&l.strength) && (!outermost(*i, l.at) || l.net.value.abs() > SIGMAS * l.net.sigma)
    };
    let n = f.lines.iter().enumerate().filter(steps).count();
    f.lines.len() > 4 * FEW && (1..=FEW).contains(&n) || slot_between(&f.lines).is_some()
}

/// What two neighbouring lines must leave of their light, of opposite sign, for the pass between them to lie at another level:
/// sigmas, and flanks of the mean line. Other lines leave less than half of it. Among 196 floors with ridges of one cause
/// none reached 5 sigmas; three with a first pass between ridges left 5.5, 10 and 30.
const LEFT_SIGMAS: f64 = 5.0;
const LEFT_FLANKS: f64 = 0.25;
/// Lines from which on the others' scatter says what is usual.
const ENOUGH_LINES: usize = 8;
/// A line whose light is this much less sure than the surest is cut short by a wall and counts for nothing.
const WHOLE: f64 = 1.25;

/// The first of two neighbouring lines between which a single pass lies at another level: one takes light, the other gives as
/// much.
fn slot_between(lines: &[Line]) -> Option<usize> {
    let surest = lines.iter().map(|l| l.net.sigma).fold(f64::INFINITY, f64::min);
    let whole: Vec<usize> = (0..lines.len()).filter(|i| lines[*i].net.sigma <= WHOLE * surest).collect();
    if whole.len() < ENOUGH_LINES {
        return None;
    }
    let left = |i: usize| lines[i].net.value;
    let least = |i: usize| left(i).abs().min(left(i + 1).abs());
    let opposite = whole.windows(2).filter(|w| w[1] == w[0] + 1 && left(w[0]) * left(w[1]) < 0.0).map(|w| w[0]);
    let k = opposite.max_by(|a, b| least(*a).total_cmp(&least(*b)))?;
    let most = left(k).abs().max(left(k + 1).abs());
    let others = whole.iter().filter(|i| **i != k && **i != k + 1).map(|i| left(*i).abs()).fold(0.0, f64::max);
    let clear = least(k) > LEFT_FLANKS.max(LEFT_SIGMAS * surest);
    (clear && most < 2.0 * least(k) && others < 0.5 * least(k)).then_some(k)
}

/// Words for a single pass at another level between two lines of a family, if there is one.
fn level_between_lines(d: &Digest) -> Option<String> {
    let even = d.lines.iter().filter(|l| l.real > REAL);
    even.map(|l| &l.family.lines).find_map(|lines| {
        let k = slot_between(lines)?;
        Some(format!(
            "between two of the even lines, {} apart, one pass lies at another level: one of them leaves {:.0} percent of a \
             flank dark, the other as much bright",
            d.show(lines[k + 1].at - lines[k].at),
            100.0 * lines[k].net.value.abs().min(lines[k + 1].net.value.abs()),
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Measured;

    #[test]
    fn one_pass_at_another_level_leaves_light_of_both_signs_under_two_neighbours() {
        let at = |nets: &[f64]| {
            let m = |value: f64, sigma: f64| Measured { value, sigma };
            let last = nets.len() - 1;
            let line = |(i, n): (usize, &f64)| Line {
                at: 3.0 * i as f64,
                shift: m(0.0, 0.02),
                strength: m(1.0, 0.05),
                net: m(*n, if i == 0 || i == last { 0.2 } else { 0.08 }),
                odd: false,
            };
            slot_between(&nets.iter().enumerate().map(line).collect::<Vec<_>>())
        };
        assert_eq!(at(&[0.0, 0.1, -0.1, 0.0, -0.9, 0.8, 0.1, 0.0, -0.1, 0.0]), Some(4));
        // One step alone, two apart, two of one sign, one of many, or too few lines.
        assert_eq!(at(&[0.0, 0.1, -0.1, 0.0, -0.9, 0.1, 0.1, 0.0, -0.1, 0.0]), None);
        assert_eq!(at(&[0.0, 0.1, -0.1, 0.0, -0.9, 0.1, 0.8, 0.0, -0.1, 0.0]), None);
        assert_eq!(at(&[0.0, 0.1, -0.1, 0.0, 0.9, 0.8, 0.1, 0.0, -0.1, 0.0]), None);
        assert_eq!(at(&[0.0, 0.7, -0.8, 0.7, -0.9, 0.8, -0.7, 0.7, -0.8, 0.0]), None);
        assert_eq!(at(&[0.0, -0.9, 0.8, 0.0, 0.0, 0.0]), None);
        // The outermost lines are cut short.
        assert_eq!(at(&[0.9, -0.9, 0.0, 0.0, 0.1, 0.0, 0.1, 0.0, -0.1, 0.0]), None);
    }
}
