//! What the ticks of a rule are apart, from the pattern of the longer ones.

use crate::plan::Tick;
use crate::stats::median;

/// How every so many ticks are longer, coarsest first. Metric: every fifth or tenth (with half millimetres every second
/// as well); inches: halved again and again. Common practice of rule makers, no source.
const PATTERNS: [(Tick, &[i64]); 8] = [
    (Tick::Mm, &[10, 5, 1]),
    (Tick::Mm, &[10, 1]),
    (Tick::Mm, &[5, 1]),
    (Tick::HalfMm, &[20, 10, 2, 1]),
    (Tick::HalfMm, &[20, 2, 1]),
    (Tick::HalfMm, &[10, 2, 1]),
    (Tick::Sixteenth, &[16, 8, 4, 2, 1]),
    (Tick::ThirtySecond, &[32, 16, 8, 4, 2, 1]),
];

/// Least difference in length between two grades, spacings: drawn ones differ by one and more.
const GRADE: f64 = 0.35;

/// Least share of the scatter of lengths that a pattern must explain, and the most it may leave unexplained against what
/// the next unit leaves: a sixteenth's pattern explains a 1/32 in rule but for its longest ticks.
const EXPLAINED: f64 = 0.6;
const LEFT_OVER: f64 = 0.7;

/// The unit, and how sure: share of the scatter explained. `lengths`: number and length (in spacings) of every tick seen.
/// `None` when no pattern explains the lengths or two units do nearly as well.
pub fn unit(lengths: &[(i64, f64)]) -> Option<(Tick, f64)> {
    let mut best: Vec<(Tick, f64)> = Tick::ALL
        .iter()
        .map(|t| (*t, PATTERNS.iter().filter(|p| p.0 == *t).map(|p| explained(lengths, p.1)).fold(0.0, f64::max)))
        .collect();
    best.sort_by(|a, b| b.1.total_cmp(&a.1));
    (best[0].1 > EXPLAINED && 1.0 - best[0].1 < LEFT_OVER * (1.0 - best[1].1)).then_some(best[0])
}

/// Share of the scatter of lengths that a pattern explains at its best start; 0 when its grades do not differ.
fn explained(lengths: &[(i64, f64)], pattern: &[i64]) -> f64 {
    let all: Vec<f64> = lengths.iter().map(|l| l.1).collect();
    let Some(middle) = median(&all) else { return 0.0 };
    // A tick merged with a number counts no more than a long one.
    let off = |x: f64, m: f64| (x - m).abs().min(4.0);
    let total: f64 = all.iter().map(|x| off(*x, middle)).sum();
    if total < 0.05 * all.len() as f64 {
        return 0.0;
    }
    let coarsest = pattern[0];
    let one = |start: i64| -> Option<f64> {
        let mut rest = 0.0;
        let mut shorter: Option<f64> = None;
        for (g, m) in pattern.iter().enumerate().rev() {
            let own: Vec<f64> = lengths
                .iter()
                .filter(|(k, _)| {
                    let k = k - start;
                    k.rem_euclid(*m) == 0 && !pattern[..g].iter().any(|c| k.rem_euclid(*c) == 0)
                })
                .map(|l| l.1)
                .collect();
            // Two of the coarsest grade at least, so that one odd tick makes no pattern.
            if own.len() < 2 {
                return None;
            }
            let level = median(&own)?;
            if shorter.is_some_and(|s| level < s + GRADE) {
                return None;
            }
            shorter = Some(level);
            rest += own.iter().map(|x| off(*x, level)).sum::<f64>();
        }
        Some(1.0 - rest / total)
    };
    (0..coarsest).filter_map(one).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(pattern: &[(i64, f64)], from: i64, to: i64) -> Vec<(i64, f64)> {
        (from..to)
            .map(|k| {
                let l = pattern.iter().find(|p| k.rem_euclid(p.0) == 0).map_or(0.0, |p| p.1);
                // Lengths read off a photo scatter by a tenth or two.
                (k, l + 0.15 * ((k * 37).rem_euclid(11) as f64 / 5.0 - 1.0))
            })
            .collect()
    }
    const MM: &[(i64, f64)] = &[(10, 7.5), (5, 5.5), (1, 4.0)];
    const HALF: &[(i64, f64)] = &[(20, 15.0), (10, 11.0), (2, 8.0), (1, 5.6)];
    const SIXTEEN: &[(i64, f64)] = &[(16, 7.5), (8, 5.7), (4, 4.7), (2, 3.8), (1, 2.8)];
    const THIRTY: &[(i64, f64)] = &[(32, 15.0), (16, 11.3), (8, 9.4), (4, 7.5), (2, 5.7), (1, 4.0)];

    #[test]
    fn long_ticks_tell_the_unit() {
        for (pattern, want) in
            [(MM, Tick::Mm), (HALF, Tick::HalfMm), (SIXTEEN, Tick::Sixteenth), (THIRTY, Tick::ThirtySecond)]
        {
            for from in [-43, 0, 17] {
                let got = unit(&drawn(pattern, from, from + 90));
                assert_eq!(got.map(|g| g.0), Some(want), "{want:?} from {from}");
            }
        }
    }
    #[test]
    fn equal_ticks_tell_nothing() {
        assert_eq!(unit(&drawn(&[(1, 4.0)], 0, 90)), None);
        // Every second longer: half millimetres or inches.
        assert_eq!(unit(&drawn(&[(2, 6.0), (1, 4.0)], 0, 90)), None);
    }
}
