//! How long the shadows on a floor are, measured along one direction: letters cast them as long as the walls do.

use super::cut::Piece;
use super::lit::Shade;
use crate::geometry::Point;

/// Light over the lit level from which a sample behind a shadow counts as lit.
const LIT: f64 = 0.7;
/// Samples behind a shadow's border at which it must be lit: the border itself is soft.
const BEHIND: f64 = 3.0;
/// How far a shadow's length may lie from the one asked for, as a share of it: the lamp's distance is not known, and letters'
/// fillets shorten their shadows. Of 45 lamps of made scenes with letters, 6 are more than 10 degrees off (2.6 in the middle);
/// with 0.05 it is 10 (3.2), with 0.3 again 6 (3.0).
const NEAR: f64 = 0.15;

/// Samples by which a shadow's length is uncertain at any length.
const SOFT: f64 = 1.5;

/// The shadows of a floor with their borders.
pub(super) struct Runs<'a> {
    piece: &'a Piece,
    shade: &'a Shade,
    /// Shadow samples with a neighbour that is none.
    border: Vec<(usize, usize)>,
    /// The floor's middle, and how far from it the lamp is taken to stand, samples.
    middle: Point,
    lamp: f64,
}

impl<'a> Runs<'a> {
    /// `middle`: the floor's, frame units. `lamp`: the lamp's horizontal distance from it, frame units.
    pub fn of(piece: &'a Piece, shade: &'a Shade, middle: Point, lamp: f64) -> Self {
        let (w, h) = (piece.small.width, piece.small.height);
        let open = |i: usize, j: usize| !shade.shadow.at(i, j);
        let at_border = |i: usize, j: usize| open(i - 1, j) || open(i + 1, j) || open(i, j - 1) || open(i, j + 1);
        let border = (1..h.saturating_sub(1))
            .flat_map(|j| (1..w.saturating_sub(1)).map(move |i| (i, j)))
            .filter(|(i, j)| !open(*i, *j) && at_border(*i, *j))
            .collect();
        let middle = piece.view.to_sample(middle) * (1.0 / piece.k as f64);
        Self { piece, shade, border, middle, lamp: lamp / piece.unit() }
    }
    /// Lengths of the shadows along `towards` (a unit vector away from the lamp), samples, one for each border sample with lit
    /// floor behind it; each followed to `most` samples, and given as it would be at the floor's middle: farther from the
    /// lamp they are longer.
    pub fn lengths(&self, towards: Point, most: f64) -> Vec<f64> {
        let (c, d) = (towards.x, towards.y);
        let mask = &self.shade.shadow;
        let at = |x: f64, y: f64| {
            let there = x >= 0.0 && y >= 0.0 && x < mask.width as f64 && y < mask.height as f64;
            there.then_some((x as usize, y as usize))
        };
        let dark = |x: f64, y: f64| at(x, y).is_some_and(|(i, j)| mask.at(i, j));
        let lit = |x: f64, y: f64| {
            at(x, y).is_some_and(|(i, j)| {
                self.piece.inside.at(i, j) && !mask.at(i, j) && f64::from(self.shade.ratio.at(i, j)) > LIT
            })
        };
        let middles = self.border.iter().map(|(i, j)| (*i as f64 + 0.5, *j as f64 + 0.5));
        middles
            .filter(|(x, y)| !dark(x + c, y + d) && lit(x + BEHIND * c, y + BEHIND * d))
            .map(|(x, y)| {
                let mut run = 1.0;
                while run < most && dark(x - run * c, y - run * d) {
                    run += 1.0;
                }
                let farther = (x - run * c - self.middle.x) * c + (y - run * d - self.middle.y) * d;
                run / (1.0 + farther / self.lamp).max(0.5)
            })
            .collect()
    }
    /// How well shadows agree with a displacement `s`, frame units: see [`agree`].
    pub fn agree(&self, s: Point) -> f64 {
        let length = s.x.hypot(s.y);
        let wanted = length / self.unit();
        agree(&self.lengths(s * (1.0 / length), longest(wanted)), wanted)
    }
    /// Frame units per sample.
    pub fn unit(&self) -> f64 {
        self.piece.unit()
    }
}

/// A share of the length, and the border's own softness.
fn width(wanted: f64) -> f64 {
    NEAR * wanted + SOFT
}

/// Length, samples, from which on a shadow is simply too long.
pub(super) fn longest(wanted: f64) -> f64 {
    wanted + 2.0 * width(wanted)
}

/// Share of the shadows whose length (samples) is `wanted`, less the share of those that are longer: no shadow can be, whatever
/// casts it; a shorter one may end at a letter. From -1 to 1; 0 where fewer than 20 show.
pub(super) fn agree(lengths: &[f64], wanted: f64) -> f64 {
    let one = |run: &f64| {
        let off = (run - wanted) / width(wanted);
        if off > 0.0 { (1.0 - off).max(-1.0) } else { (1.0 + off).max(0.0) }
    };
    if lengths.len() < 20 { 0.0 } else { lengths.iter().map(one).sum::<f64>() / lengths.len() as f64 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shadows_agree_by_their_length_and_none_may_be_longer() {
        let all = |n: usize, length: f64| vec![length; n];
        assert_eq!(agree(&all(50, 40.0), 40.0), 1.0);
        assert_eq!(agree(&all(50, 80.0), 40.0), -1.0);
        assert_eq!(agree(&all(50, 10.0), 40.0), 0.0, "cut short by a letter");
        assert_eq!(agree(&all(19, 40.0), 40.0), 0.0, "too few");
        let half = [all(25, 40.0), all(25, 10.0)].concat();
        assert_eq!(agree(&half, 40.0), 0.5);
        assert!(agree(&all(50, 43.0), 40.0) > 0.5 && agree(&all(50, 52.0), 40.0) < 0.0);
    }
}
