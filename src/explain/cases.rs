//! Every cause on the scales, and the pair of ridges and steps together.

use super::Verdict;
use super::absence;
use super::digest::Digest;
use super::periodic::{self, PERIODIC};
use super::prior::prior;
use super::steps::{self, STEPPED};
use super::verdict::Pair;
use super::weights::{Case, STRONG};
use crate::expect::Cause;

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

/// A line this many times as strong as its family's others, by this many of its sigmas, has a step beneath it: lights of a
/// wall make the outermost lines up to one and a half times as strong (made floors, 2026-11).
const STRONGER: f64 = 1.75;
const SIGMAS: f64 = 4.0;
/// A first pass at full width ends under one line, or two; every second line is something else.
const FEW: usize = 3;

/// Whether a few lines of a family stand out as where a pass of another level ends.
fn steps_among(d: &Digest, family: Option<usize>) -> bool {
    let Some(f) = family.map(|f| &d.marks.families[f]) else { return false };
    let strong = |s: &crate::units::Measured| s.value > STRONGER && s.value - 1.0 > SIGMAS * s.sigma;
    let n = f.lines.iter().filter(|l| strong(&l.strength)).count();
    f.lines.len() > 4 * FEW && (1..=FEW).contains(&n)
}
