//! The lines carried out one after the other: what the machine would do, as moves (NISTIR 6556, sections 3.4 to 3.8).

mod motion;

use super::codes::{self, Code, g_group};
use super::cycle::{self, Cycle};
use super::expression::{LAST_PARAMETER, index, whole};
use super::line::Line;
use super::moves::{Kind, Move, Plane, Spin};
use super::notes::{Note, Notes};
use crate::units::MM_PER_INCH;

/// Farthest place followed, mm: a kilometre. No machine is that long; it keeps slips of the pen from overflowing.
const FARTHEST_MM: f64 = 1e6;
/// Most holes or pecks of one line.
pub(super) const MOST_REPEATS: i64 = 10_000;
/// First parameters of the places of G28 and G30, of the offset of G92, and of the coordinate systems.
const HOME_1: usize = 5161;
const HOME_2: usize = 5181;
const OFFSET: usize = 5211;
const SYSTEM: usize = 5220;

/// Two things a file may leave open, as assumed for one run over it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Assumed {
    pub inch: bool,
    /// I, J and K are places (as some dialects have it), not steps from the arc's start.
    pub absolute_centres: bool,
}

pub(super) struct Machine {
    assumed: Assumed,
    inch: bool,
    plane: Plane,
    steps: bool,
    /// G90.1 or G91.1, where the file has one.
    centres: Option<bool>,
    feed_mode: FeedMode,
    /// F as written, in the unit in force then turned to mm.
    feed: Option<f64>,
    speed_rpm: Option<f64>,
    spin: Spin,
    selected: Option<u32>,
    loaded: Option<u32>,
    pub changes_tools: bool,
    system: usize,
    motion: Code,
    pub cycle: Cycle,
    /// Machine place, mm, with all offsets in it; `known` says along which axes the file tied it down.
    at: [f64; 3],
    known: [bool; 3],
    offset: [f64; 3],
    parameters: Vec<f64>,
    pub moves: Vec<Move>,
    pub notes: Notes,
    pub dwell_min: f64,
    /// Unit of the file's first G20 or G21 (true: inch) and whether a move stood before it.
    pub first_unit: Option<(bool, bool)>,
    /// Arcs that close only with I, J, K as steps, and only as places.
    pub centre_votes: (usize, usize),
    /// Offset in force at the first cut, and the coordinate systems cut in.
    zero: Option<[f64; 3]>,
    cut_in: Option<usize>,
    line: usize,
    pub ended: bool,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum FeedMode {
    PerMinute,
    /// One over the minutes the move shall last.
    InverseTime,
    PerTurn,
}

/// The words of one line by letter, evaluated.
pub(super) struct Words {
    values: [Option<f64>; 26],
    g: Vec<Code>,
    m: Vec<i64>,
}

impl Words {
    pub fn get(&self, c: char) -> Option<f64> {
        self.values[(c as u8 - b'a') as usize]
    }
    fn has(&self, code: Code) -> bool {
        self.g.contains(&code)
    }
    fn axes(&self) -> bool {
        "xyz".chars().any(|c| self.get(c).is_some())
    }
    fn of_group(&self, group: u8) -> Option<Code> {
        self.g.iter().copied().find(|c| g_group(*c) == Some(group))
    }
    /// A whole number from `least` up. Fails, in words, on anything else.
    fn count(&self, c: char, least: i64) -> Result<Option<i64>, String> {
        let Some(v) = self.get(c) else { return Ok(None) };
        match whole(v) {
            Some(n) if n >= least => Ok(Some(n)),
            _ => Err(format!("{}{v} is not a whole number from {least} up", c.to_ascii_uppercase())),
        }
    }
}

impl Machine {
    pub fn new(assumed: Assumed) -> Self {
        let mut parameters = vec![0.0; LAST_PARAMETER + 1];
        parameters[SYSTEM] = 1.0;
        Self {
            assumed,
            inch: assumed.inch,
            plane: Plane::Xy,
            steps: false,
            centres: None,
            feed_mode: FeedMode::PerMinute,
            feed: None,
            speed_rpm: None,
            spin: Spin::Off,
            selected: None,
            loaded: None,
            changes_tools: false,
            system: 1,
            motion: 10,
            cycle: Cycle::default(),
            at: [0.0; 3],
            known: [false; 3],
            offset: [0.0; 3],
            parameters,
            moves: vec![],
            notes: Notes::default(),
            dwell_min: 0.0,
            first_unit: None,
            centre_votes: (0, 0),
            zero: None,
            cut_in: None,
            line: 0,
            ended: false,
        }
    }

    fn scale(&self) -> f64 {
        if self.inch { MM_PER_INCH } else { 1.0 }
    }

    /// Carries out one line; `n` is its number in the file. Fails in words.
    pub fn run(&mut self, n: usize, line: &Line) -> Result<(), String> {
        self.line = n;
        for b in &line.beyond {
            self.notes.add(n, Note::Beyond(*b));
        }
        if let Some(o) = &line.o_word {
            // A plain number only names the program.
            if o.is_empty() || !o.chars().all(|c| c.is_ascii_digit()) {
                self.notes.add(n, Note::OWord);
            }
            return Ok(());
        }
        if line.may_be_skipped {
            self.notes.add(n, Note::MayBeSkipped);
        }
        let words = self.evaluate(line)?;
        let mut set = vec![];
        for (p, v) in &line.settings {
            set.push((index(p.eval(&self.parameters)?)?, v.eval(&self.parameters)?));
        }
        set.into_iter().for_each(|(p, v)| self.parameters[p] = v);
        self.carry_out(&words)
    }

    fn evaluate(&mut self, line: &Line) -> Result<Words, String> {
        let mut w = Words { values: [None; 26], g: vec![], m: vec![] };
        for (c, e) in &line.words {
            let v = e.eval(&self.parameters)?;
            match c {
                'g' => {
                    let code = codes::g_code(v)?;
                    if g_group(code).is_none() && !matches!(code, 901 | 911 | 950) {
                        self.notes.add(self.line, Note::UnknownG(codes::show(code)));
                    }
                    w.g.push(code);
                }
                'm' => {
                    let code = whole(v).filter(|m| *m >= 0).ok_or_else(|| format!("M{v} is not a code"))?;
                    if codes::m_group(code).is_none() {
                        self.notes.add(self.line, Note::UnknownM(code));
                    }
                    w.m.push(code);
                }
                'e' => return Err("E has no meaning here (numbers have no exponent)".into()),
                c => {
                    if w.get(*c).is_some() {
                        return Err(format!("{} stands twice on the line", c.to_ascii_uppercase()));
                    }
                    match c {
                        'a' | 'b' | 'c' => self.notes.add(self.line, Note::Rotary),
                        'u' | 'v' | 'w' => self.notes.add(self.line, Note::UnknownLetter(*c)),
                        _ => {}
                    }
                    w.values[(*c as u8 - b'a') as usize] = Some(v);
                }
            }
        }
        codes::check(&w.g, &w.m, w.axes())?;
        Ok(w)
    }

    /// The report's order of doing things on one line (table 8).
    fn carry_out(&mut self, w: &Words) -> Result<(), String> {
        match w.of_group(5) {
            Some(930) => self.feed_mode = FeedMode::InverseTime,
            Some(_) => self.feed_mode = FeedMode::PerMinute,
            None if w.has(950) => {
                self.feed_mode = FeedMode::PerTurn;
                self.notes.add(self.line, Note::FeedPerTurn);
            }
            None => {}
        }
        let unit = w.of_group(6);
        if let Some(f) = w.get('f') {
            if f < 0.0 {
                return Err(format!("F{f} is below zero"));
            }
            // The report sets the unit after F, but a line that holds both means its own unit.
            let inch = unit.map_or(self.inch, |u| u == 200);
            self.feed = Some(if self.feed_mode == FeedMode::InverseTime || !inch { f } else { f * MM_PER_INCH });
        }
        if let Some(s) = w.get('s') {
            if s < 0.0 {
                return Err(format!("S{s} is below zero"));
            }
            self.speed_rpm = Some(s);
        }
        if let Some(t) = w.count('t', 0)? {
            self.selected = Some(t.min(i64::from(u32::MAX)) as u32);
        }
        if w.m.contains(&6) {
            self.loaded = self.selected;
            self.changes_tools = true;
        }
        for m in &w.m {
            match m {
                3 => self.spin = Spin::Clockwise,
                4 => self.spin = Spin::Counterclockwise,
                5 => self.spin = Spin::Off,
                _ => {}
            }
        }
        if w.has(40) {
            let seconds = w.get('p').unwrap_or(0.0);
            if seconds < 0.0 {
                return Err("a dwell (G4) cannot last less than nothing".into());
            }
            self.dwell_min += seconds / 60.0;
        }
        match w.of_group(2) {
            Some(170) => self.plane = Plane::Xy,
            Some(180) => self.plane = Plane::Zx,
            Some(_) => self.plane = Plane::Yz,
            None => {}
        }
        if let Some(u) = unit {
            self.inch = u == 200;
            self.first_unit.get_or_insert((self.inch, !self.moves.is_empty()));
        }
        if matches!(w.of_group(7), Some(410 | 420)) {
            self.notes.add(self.line, Note::RadiusCompensation);
        }
        if let Some(c) = w.of_group(12) {
            self.system = if c % 10 == 0 { (c / 10 - 53) as usize } else { 6 + (c % 10) as usize };
            self.parameters[SYSTEM] = self.system as f64;
        }
        match w.of_group(3) {
            Some(c) => self.steps = c == 910,
            None if w.has(901) || w.has(911) => {
                self.centres = Some(w.has(901));
                self.notes.add(self.line, Note::ArcCentreMode);
            }
            None => {}
        }
        if let Some(c) = w.of_group(10) {
            self.cycle.to_start = c == 980;
        }
        let took_axes = self.set_up(w)?;
        self.move_on(w, took_axes)?;
        if w.m.iter().any(|m| matches!(m, 2 | 30)) {
            self.ended = true;
        }
        Ok(())
    }

    /// Offset in force: coordinate system and G92, mm.
    fn offsets(&self) -> [f64; 3] {
        let p = |k: usize| self.parameters[SYSTEM + 20 * (self.system - 1) + 1 + k] * self.scale();
        [0, 1, 2].map(|k| p(k) + self.offset[k])
    }

    /// G10, G28, G30, G92 and its kin. True when the axis words are used up.
    fn set_up(&mut self, w: &Words) -> Result<bool, String> {
        let axis = |k: usize| w.get(['x', 'y', 'z'][k]);
        if w.has(100) {
            match (w.count('l', 0)?, w.count('p', 1)?) {
                (Some(2), Some(p @ 1..=9)) => {
                    for k in 0..3 {
                        if let Some(v) = axis(k) {
                            self.parameters[SYSTEM + 20 * (p as usize - 1) + 1 + k] = v;
                        }
                    }
                }
                (Some(2), _) => return Err("G10 L2 needs P1 to P9, the coordinate system to set".into()),
                _ => self.notes.add(self.line, Note::UnknownG("G10 other than L2".into())),
            }
            return Ok(true);
        }
        for (code, home) in [(280, HOME_1), (300, HOME_2)] {
            if w.has(code) {
                self.go_home(w, home)?;
                return Ok(true);
            }
        }
        if w.has(920) {
            if !w.axes() {
                return Err("G92 needs X, Y or Z".into());
            }
            for k in 0..3 {
                if let Some(v) = axis(k) {
                    self.offset[k] += self.at[k] - self.offsets()[k] - v * self.scale();
                    self.known[k] = true;
                }
                self.parameters[OFFSET + k] = self.offset[k] / self.scale();
            }
            return Ok(true);
        }
        if w.has(921) || w.has(922) {
            self.offset = [0.0; 3];
            if w.has(921) {
                self.parameters[OFFSET..OFFSET + 3].fill(0.0);
            }
        }
        if w.has(923) {
            self.offset = [0, 1, 2].map(|k| self.parameters[OFFSET + k] * self.scale());
        }
        Ok(false)
    }

    /// Rapid to the place given, then to the reference point, which stands only in the machine unless the file sets it.
    fn go_home(&mut self, w: &Words, first: usize) -> Result<(), String> {
        if w.axes() {
            let (to, given) = self.target(w, false)?;
            self.travel(Kind::Rapid, to, given);
        }
        let home = [0, 1, 2].map(|k| self.parameters[first + k] * self.scale());
        if home != [0.0; 3] {
            self.travel(Kind::Rapid, home, [true; 3]);
            return Ok(());
        }
        // The report sends all axes home; many machines only those named. Either way nothing more is known of them.
        for k in 0..3 {
            if !w.axes() || w.get(['x', 'y', 'z'][k]).is_some() {
                self.known[k] = false;
            }
        }
        Ok(())
    }

    /// Where the axis words lead, in machine millimetres, and which axes they name.
    fn target(&self, w: &Words, in_machine: bool) -> Result<([f64; 3], [bool; 3]), String> {
        let (mut to, mut given, off) = (self.at, [false; 3], self.offsets());
        for k in 0..3 {
            if let Some(v) = w.get(['x', 'y', 'z'][k]) {
                let v = v * self.scale();
                to[k] = if in_machine {
                    v
                } else if self.steps {
                    self.at[k] + v
                } else {
                    v + off[k]
                };
                given[k] = true;
                if to[k].abs() > FARTHEST_MM {
                    return Err(format!("{} leads beyond a kilometre", ["X", "Y", "Z"][k]));
                }
            }
        }
        Ok((to, given))
    }

    /// What a drilling cycle needs to know.
    pub(super) fn place(&self) -> cycle::Place {
        cycle::Place {
            at: self.at,
            off: self.offsets(),
            axes: self.plane.axes(),
            steps: self.steps,
            scale: self.scale(),
        }
    }
    pub(super) fn motion(&self) -> Code {
        self.motion
    }
    pub(super) fn line(&self) -> usize {
        self.line
    }
    pub(super) fn inverse_time(&self) -> bool {
        self.feed_mode == FeedMode::InverseTime
    }

    /// The moves with the program's zero (in force at the first cut) as theirs.
    pub fn take_moves(&mut self) -> Vec<Move> {
        let zero = self.zero.unwrap_or_default();
        let mut moves = std::mem::take(&mut self.moves);
        for m in &mut moves {
            for k in 0..3 {
                m.start_mm[k] -= zero[k];
                m.end_mm[k] -= zero[k];
            }
            if let Kind::Arc(a) = &mut m.kind {
                let [p, q, _] = a.plane.axes();
                a.centre_mm[0] -= zero[p];
                a.centre_mm[1] -= zero[q];
            }
        }
        moves
    }
}
