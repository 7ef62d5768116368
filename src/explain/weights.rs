//! Weight of evidence: natural-log likelihood ratios on a short fixed scale, and the densities they come from.
//!
//! Four steps are used throughout, after the categories of Kass & Raftery, "Bayes factors", J. Am. Stat. Assoc. 90
//! (1995) 773 (from memory: 3 and 20 are their limits for "positive" and "strong"). Coarse steps keep the weights
//! from being tuned to any one photo.

use crate::expect::Cause;

/// Barely worth a mention: twice as likely.
pub const WEAK: f64 = 0.7;
/// Fair: five times as likely.
pub const FAIR: f64 = 1.6;
/// Strong: twenty times.
pub const STRONG: f64 = 3.0;
/// Decisive: a hundred times.
pub const DECISIVE: f64 = 4.6;

/// Span of ln(pitch) over which a pitch that nothing ties down may fall, 0.1 to 40 mm: the reference that every named
/// pitch is weighed against. Wider makes a match speak louder (by the log of the factor, so hardly).
pub const LN_PITCH_SPAN: f64 = 5.99;

/// One cause on the scales.
#[derive(Debug, Clone)]
pub struct Case {
    pub cause: Cause,
    /// Natural log of prior times likelihoods.
    pub log_weight: f64,
    notes: Vec<(f64, String)>,
    /// The family (index in `Marks::families`) that speaks for the cause.
    pub family: Option<usize>,
    /// The strips that speak for the cause.
    pub strips: Vec<usize>,
    /// The marks that speak for it may escape an eye, or are few.
    pub faint: bool,
}

impl Case {
    pub fn new(cause: Cause, prior: f64) -> Self {
        Self { cause, log_weight: prior.ln(), notes: vec![], family: None, strips: vec![], faint: false }
    }
    /// Adds a weight with its words; the words are kept where the weight is worth a mention.
    pub fn add(&mut self, nats: f64, words: impl Into<String>) {
        // An infinite or undefined weight would silence every other one.
        let nats = if nats.is_finite() { nats.clamp(-3.0 * DECISIVE, 3.0 * DECISIVE) } else { 0.0 };
        self.log_weight += nats;
        if nats.abs() >= WEAK / 2.0 {
            self.notes.push((nats, words.into()));
        }
    }
    /// Takes over another case's words with the weight they came to in the end.
    pub fn absorb(&mut self, nats: f64, other: Case) {
        self.log_weight += nats.clamp(-3.0 * DECISIVE, 3.0 * DECISIVE);
        self.notes.extend(other.notes);
    }
    /// Words without weight, for the evidence.
    pub fn note(&mut self, words: impl Into<String>) {
        self.notes.push((WEAK / 2.0, words.into()));
    }
    /// The words for it, heaviest first.
    pub fn evidence(&self) -> Vec<String> {
        self.words(|w| w > 0.0)
    }
    /// The words against it, heaviest first.
    pub fn against(&self) -> Vec<String> {
        self.words(|w| w < 0.0)
    }
    fn words(&self, keep: impl Fn(f64) -> bool) -> Vec<String> {
        let mut n: Vec<&(f64, String)> = self.notes.iter().filter(|(w, _)| keep(*w)).collect();
        n.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
        n.into_iter().map(|(_, t)| t.clone()).collect()
    }
}

/// Density of a normal distribution.
pub fn normal(x: f64, mean: f64, sigma: f64) -> f64 {
    (-0.5 * ((x - mean) / sigma).powi(2)).exp() / (sigma * (2.0 * std::f64::consts::PI).sqrt())
}

/// Log-likelihood ratio of `x` being from the first of two normal distributions rather than the second, held within
/// plus and minus `limit` so that one odd number cannot decide alone.
pub fn between(x: f64, first: (f64, f64), second: (f64, f64), limit: f64) -> f64 {
    let (a, b) = (normal(x, first.0, first.1), normal(x, second.0, second.1));
    ((a + 1e-300) / (b + 1e-300)).ln().clamp(-limit, limit)
}

/// One pitch (or width) a cause may leave: its size, relative one-sigma, and share of probability.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    pub at: f64,
    pub relative_sigma: f64,
    pub share: f64,
}

/// Log-likelihood ratio of a size under a mixture of targets (what is left of their shares is spread evenly over
/// `LN_PITCH_SPAN`) against the even spread alone.
pub fn size_gain(size: f64, relative_sigma: f64, targets: &[Target]) -> f64 {
    let free = 1.0 - targets.iter().map(|t| t.share).sum::<f64>();
    let mixture: f64 = targets
        .iter()
        .map(|t| t.share * LN_PITCH_SPAN * normal((size / t.at).ln(), 0.0, relative_sigma.hypot(t.relative_sigma)))
        .sum();
    (mixture + free.max(0.0)).ln()
}

/// A ramp from 0 at `zero` to 1 at `one` (either may be the larger).
pub fn ramp(x: f64, zero: f64, one: f64) -> f64 {
    ((x - zero) / (one - zero)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_size_on_its_target_gains_and_one_off_it_loses() {
        let t = [Target { at: 2.54, relative_sigma: 0.004, share: 0.9 }];
        // 0.9 * 5.99 / (0.005 sqrt(2 pi)) = 430 to one at the middle (sigma 0.003 and 0.004 in quadrature).
        assert!((size_gain(2.54, 0.003, &t) - 430.2_f64.ln()).abs() < 0.01);
        assert!((size_gain(3.5, 0.003, &t) - 0.1_f64.ln()).abs() < 1e-9);
    }
    #[test]
    fn weights_keep_their_words_by_side_and_size() {
        let mut c = Case::new(Cause::Cusps, 1.0);
        c.add(WEAK, "a");
        c.add(STRONG, "b");
        c.add(-FAIR, "c");
        c.add(0.01, "not worth a word");
        c.add(f64::NAN, "no weight at all");
        assert_eq!((c.evidence(), c.against()), (vec!["b".to_owned(), "a".into()], vec!["c".to_owned()]));
        assert!((c.log_weight - (WEAK + STRONG - FAIR + 0.01)).abs() < 1e-12);
    }
    #[test]
    fn ramps_run_both_ways() {
        assert_eq!((ramp(5.0, 0.0, 10.0), ramp(5.0, 10.0, 0.0), ramp(20.0, 0.0, 10.0)), (0.5, 0.5, 1.0));
    }
}
