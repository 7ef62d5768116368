//! Drilling cycles, run out into plain moves (NISTIR 6556, section 3.5.16).

use super::machine::{MOST_REPEATS, Machine, Words};
use super::moves::Kind;
use super::notes::Note;

/// What of a drilling cycle stays in force from line to line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cycle {
    /// Height that the cutter returns to above the holes (R) and their bottom (Z), as written, mm.
    r: Option<f64>,
    z: Option<f64>,
    peck: Option<f64>,
    dwell_s: f64,
    /// Height across the plane at which the row of holes began, machine mm.
    start: Option<f64>,
    /// Return to where the cycle began (G98) rather than to R (G99).
    pub to_start: bool,
}

impl Default for Cycle {
    fn default() -> Self {
        Self { r: None, z: None, peck: None, dwell_s: 0.0, start: None, to_start: true }
    }
}

impl Cycle {
    pub fn forget(&mut self) {
        *self = Self { to_start: self.to_start, ..Self::default() };
    }
}

/// Where the machine is and how words are meant.
pub(super) struct Place {
    pub at: [f64; 3],
    pub off: [f64; 3],
    pub axes: [usize; 3],
    pub steps: bool,
    pub scale: f64,
}

/// Carries out the cycle in force for the holes of one line. Fails, in words, on what the report forbids.
pub(super) fn run(machine: &mut Machine, w: &Words) -> Result<(), String> {
    let code = machine.motion();
    if machine.inverse_time() {
        return Err("drilling cycles cannot run under G93".into());
    }
    let p = machine.place();
    let across = p.axes[2];
    let word = |k: usize| w.get(['x', 'y', 'z'][k]).map(|v| v * p.scale);
    let c = &mut machine.cycle;
    c.r = w.get('r').map(|v| v * p.scale).or(c.r);
    c.z = word(across).or(c.z);
    c.peck = w.get('q').map(|v| v * p.scale).or(c.peck);
    c.dwell_s = w.get('p').unwrap_or(c.dwell_s);
    let (Some(r), Some(z)) = (c.r, c.z) else {
        return Err("a drilling cycle needs the bottom of its hole (Z) and the height above it (R)".into());
    };
    let repeats = match w.get('l').map(super::expression::whole) {
        None => 1,
        Some(Some(l)) if (1..=MOST_REPEATS).contains(&l) => l,
        Some(_) => return Err(format!("L must be a whole number from 1 to {MOST_REPEATS}")),
    };
    let start = *c.start.get_or_insert(p.at[across]);
    let (clear, bottom) = if p.steps { (start + r, start + r + z) } else { (r + p.off[across], z + p.off[across]) };
    if bottom > clear {
        return Err("the hole's bottom (Z) lies above the height the cutter returns to (R)".into());
    }
    let peck = match (code, c.peck) {
        (830, Some(q)) if q > 0.0 && (clear - bottom) / q < MOST_REPEATS as f64 => q,
        (830, _) => return Err("pecking (G83) needs a sensible step Q above zero".into()),
        _ => f64::INFINITY,
    };
    let (back, dwell_s) = (if c.to_start { clear.max(start) } else { clear }, c.dwell_s);
    if code == 870 {
        machine.notes.add(machine.line(), Note::BackBore);
        return Ok(());
    }
    let mut at = p.at;
    let mut only = [false; 3];
    only[across] = true;
    let mut plane = [true; 3];
    plane[across] = false;
    for _ in 0..repeats {
        let mut go = |machine: &mut Machine, kind: Kind, height: f64| {
            at[across] = height;
            machine.travel(kind, at, only);
        };
        if machine.place().at[across] < clear {
            go(machine, Kind::Rapid, clear);
        }
        let now = machine.place().at[across];
        for k in [p.axes[0], p.axes[1]] {
            if let Some(v) = word(k) {
                at[k] = if p.steps { at[k] + v } else { v + p.off[k] };
            }
        }
        at[across] = now;
        machine.travel(Kind::Rapid, at, plane);
        let mut go = |machine: &mut Machine, kind: Kind, height: f64| {
            at[across] = height;
            machine.travel(kind, at, only);
        };
        if now > clear {
            go(machine, Kind::Rapid, clear);
        }
        let mut depth = clear;
        while depth > bottom {
            let next = (depth - peck).max(bottom);
            if depth < clear {
                go(machine, Kind::Rapid, clear);
                go(machine, Kind::Rapid, depth);
            }
            go(machine, Kind::Line, next);
            depth = next;
        }
        if matches!(code, 820 | 860 | 880 | 890) {
            machine.dwell_min += dwell_s.max(0.0) / 60.0;
        }
        let out = if matches!(code, 840 | 850 | 890) { Kind::Line } else { Kind::Rapid };
        go(machine, out, if out == Kind::Line { clear } else { back });
        if out == Kind::Line && back > clear {
            go(machine, Kind::Rapid, back);
        }
    }
    Ok(())
}
