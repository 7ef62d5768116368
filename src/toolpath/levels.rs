//! At which heights a file cuts: flat levels, and slopes or surfaces.

use super::moves::Move;
use serde::Serialize;

/// A move counts as flat when its Z stays within this, mm: coordinates carry three decimals, and a floor that falls by
/// less over one pass cannot be told from a flat one.
const FLAT_MM: f64 = 0.003;
/// Heights within this of a level's lowest belong to it, mm: less than any step that shows on a floor (about 5 um) and well
/// above the rounding of coordinates.
const ONE_LEVEL_MM: f64 = 0.01;
/// Levels with less than this share of the longest one's length are specks: run-ins, ends of slopes.
const SPECK: f64 = 0.02;
/// Slopes steeper than this (rise over run) are ways down or up, not cut surface: 45 degrees.
const STEEPEST: f64 = 1.0;

/// An unbroken cut belongs to a surface when this share of its length slopes: a raster over a carved relief has half and
/// more, a pocket's loops with the ramp that leads down to them a tenth.
const SLOPING_SHARE: f64 = 0.3;

/// A height at which flat cuts run.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
#[schemars(rename = "CutLevel")]
pub struct Level {
    /// Height, mm from the file's zero.
    pub z_mm: f64,
    /// Length of the cuts at it, mm.
    pub length_mm: f64,
    /// Rough area cleared by passes that lie side by side, mm2; 0 for single lines.
    pub area_mm2: f64,
    /// Indices of its moves, in cutting order.
    #[serde(skip)]
    pub(super) moves: Vec<usize>,
}

/// The flat levels from the lowest up (areas still 0), and the moves of cuts that follow a slope or a
/// surface.
pub(super) fn find(moves: &[Move]) -> (Vec<Level>, Vec<usize>) {
    let (mut flat, mut sloping) = (vec![], vec![false; moves.len()]);
    for (k, m) in moves.iter().enumerate().filter(|(_, m)| m.is_cut() && m.from_known && m.z_known && !m.drilling) {
        let (low, high) = m.z_span_mm();
        let run = m.length_mm().powi(2) - (m.end_mm[2] - m.start_mm[2]).powi(2);
        let run = run.max(0.0).sqrt();
        if run <= 0.0 {
            continue;
        }
        if high - low <= FLAT_MM {
            flat.push((m.start_mm[2].midpoint(m.end_mm[2]), k, run));
        } else if high - low <= STEEPEST * run {
            sloping[k] = true;
        }
    }
    flat.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut levels: Vec<Level> = vec![];
    let mut lowest = f64::NEG_INFINITY;
    for (z, k, run) in flat {
        match levels.last_mut().filter(|_| z - lowest <= ONE_LEVEL_MM) {
            Some(l) => {
                l.z_mm += (z - l.z_mm) * run / (l.length_mm + run);
                l.length_mm += run;
                l.moves.push(k);
            }
            None => {
                levels.push(Level { z_mm: z, length_mm: run, area_mm2: 0.0, moves: vec![k] });
                lowest = z;
            }
        }
    }
    let most = levels.iter().map(|l| l.length_mm).fold(0.0, f64::max);
    levels.retain(|l| l.length_mm >= SPECK * most);
    levels.iter_mut().for_each(|l| l.moves.sort_unstable());
    (levels, surface(moves, &sloping))
}

/// The unbroken cuts that slope over a good part of their way. Ramps that lead down to a level are a small part of the
/// cut they begin, and are left out with it.
fn surface(moves: &[Move], sloping: &[bool]) -> Vec<usize> {
    let mut out = vec![];
    let cut = |k: usize| moves[k].is_cut() && moves[k].from_known && !moves[k].drilling;
    let mut k = 0;
    while k < moves.len() {
        let from = k;
        while k < moves.len() && cut(k) && moves[k].tool == moves[from].tool {
            k += 1;
        }
        let length = |all: bool| (from..k).filter(|j| all || sloping[*j]).map(|j| moves[j].length_mm()).sum::<f64>();
        if length(false) > SLOPING_SHARE * length(true) {
            out.extend(from..k);
        }
        k = k.max(from + 1);
    }
    out
}
