//! Motion of one line: straight moves, arcs, and what a cut notes down.

use super::super::arc::{self, Fit, by_radius, turn};
use super::super::moves::{Arc, Kind, Move};
use super::super::notes::Note;
use super::*;

impl Machine {
    pub(super) fn move_on(&mut self, w: &Words, took_axes: bool) -> Result<(), String> {
        if let Some(c) = w.of_group(1) {
            if self.motion != c {
                self.cycle.forget();
            }
            self.motion = c;
        }
        if took_axes {
            return Ok(());
        }
        let centre_words = ['i', 'j', 'k'].iter().any(|c| w.get(*c).is_some());
        let round = matches!(self.motion, 20 | 30) && centre_words;
        if !w.axes() && !round {
            return match w.of_group(1) {
                Some(810..=890) => Err("a drilling cycle needs the place of its hole".into()),
                Some(20 | 30) => Err("an arc needs its end and its centre or radius".into()),
                _ => Ok(()),
            };
        }
        if w.has(530) {
            // Machine places mean nothing to a reader without the machine.
            let (_, given) = self.target(w, true)?;
            (0..3).filter(|k| given[*k]).for_each(|k| self.known[k] = false);
            return Ok(());
        }
        let (to, given) = self.target(w, false)?;
        let unknown_code = w.g.iter().any(|c| g_group(*c).is_none() && !matches!(c, 901 | 911 | 950));
        if unknown_code && w.of_group(1).is_none() {
            self.arrive(to, given);
            return Ok(());
        }
        match self.motion {
            0 => self.travel(Kind::Rapid, to, given),
            10 => self.cut(Kind::Line, to, given, w)?,
            20 | 30 => {
                let arc = self.arc(w, to)?;
                self.cut(Kind::Arc(arc), to, given, w)?;
            }
            382 => {
                self.notes.add(self.line, Note::Probe);
                self.cut(Kind::Line, to, given, w)?;
                (0..3).filter(|k| given[*k]).for_each(|k| self.known[k] = false);
            }
            800 => return Err("X, Y or Z stand on the line, but G80 has switched motion off".into()),
            _ => cycle::run(self, w)?,
        }
        Ok(())
    }

    pub(super) fn arc(&mut self, w: &Words, to: [f64; 3]) -> Result<Arc, String> {
        let [a, b, _] = self.plane.axes();
        let (start, end, ccw) = ([self.at[a], self.at[b]], [to[a], to[b]], self.motion == 30);
        let fit = match w.get('r') {
            Some(r) => by_radius(start, end, r * self.scale(), ccw)?,
            None => self.centre(w, start, end)?,
        };
        if !fit.good(self.inch) {
            self.notes.add_size(self.line, Note::CoarseArc, fit.off);
        }
        let turn_rad = turn(start, end, fit.centre, ccw);
        Ok(Arc { plane: self.plane, centre_mm: fit.centre, radius_mm: fit.radius, turn_rad })
    }

    /// The centre from I, J and K: as steps from the start, as the report has it, or as places where only that closes.
    pub(super) fn centre(&mut self, w: &Words, start: [f64; 2], end: [f64; 2]) -> Result<Fit, String> {
        let [a, b, _] = self.plane.axes();
        let word = |axis: usize| w.get(['i', 'j', 'k'][axis]);
        if word(a).is_none() && word(b).is_none() {
            let (p, q) = (["I", "J", "K"][a], ["I", "J", "K"][b]);
            return Err(format!("an arc in this plane needs its centre ({p}, {q}) or its radius (R)"));
        }
        if ![a, b].iter().any(|k| w.get(['x', 'y', 'z'][*k]).is_some()) {
            self.notes.add(self.line, Note::FullCircleWithoutEnd);
        }
        let (off, s) = (self.offsets(), self.scale());
        let v = |axis: usize| word(axis).unwrap_or(0.0) * s;
        let steps = Fit::of(start, end, [start[0] + v(a), start[1] + v(b)]);
        // A centre word left out keeps, as a place, the start's own.
        let place = |axis: usize, k: usize| word(axis).map_or(start[k], |c| c * s + off[axis]);
        let places = Fit::of(start, end, [place(a, 0), place(b, 1)]);
        let (first, second) =
            if self.centres.unwrap_or(self.assumed.absolute_centres) { (places, steps) } else { (steps, places) };
        match (steps.coarse(), places.coarse()) {
            (true, false) => self.centre_votes.0 += 1,
            (false, true) => self.centre_votes.1 += 1,
            _ => {}
        }
        // The file's own way first; the other only where it closes as well as the report asks.
        let other = !first.coarse() && self.centres.is_none() && second.good(self.inch);
        let fit = if other { second } else { first };
        if !fit.coarse() {
            let r = |p: [f64; 2]| (p[0] - fit.centre[0]).hypot(p[1] - fit.centre[1]);
            return Err(format!(
                "the arc's start is {:.4} mm from its centre and its end {:.4} mm: they do not lie on one circle \
                 ({} mm is allowed)",
                r(start),
                r(end),
                arc::tolerance_mm(self.inch)
            ));
        }
        if fit == places && fit != steps && self.centres.is_none() {
            self.notes.add(self.line, Note::AbsoluteCentre);
        }
        Ok(fit)
    }

    /// A cutting move, with its feed.
    pub(super) fn cut(&mut self, kind: Kind, to: [f64; 3], given: [bool; 3], w: &Words) -> Result<(), String> {
        if self.feed_mode == FeedMode::InverseTime && w.get('f').is_none() {
            return Err("under G93 every cutting line needs its own F".into());
        }
        self.travel(kind, to, given);
        Ok(())
    }

    /// Feed along the path for a cutting move, mm/min.
    pub(super) fn feed_of(&self, m: &Move) -> Option<f64> {
        let f = self.feed.filter(|f| *f > 0.0)?;
        match self.feed_mode {
            FeedMode::PerMinute => Some(f),
            FeedMode::InverseTime => Some(m.length_mm() * f),
            FeedMode::PerTurn => Some(f * self.speed_rpm?),
        }
    }

    /// Goes to `to` (machine mm) and keeps the move.
    pub(in crate::toolpath) fn travel(&mut self, kind: Kind, to: [f64; 3], given: [bool; 3]) {
        let from_known = (0..3).all(|k| self.known[k] || !given[k]);
        let mut m = Move {
            line: self.line,
            kind,
            start_mm: self.at,
            end_mm: to,
            from_known,
            z_known: self.known[2] || (given[2] && !self.steps),
            drilling: matches!(self.motion, 810..=890),
            feed_mm_min: None,
            speed_rpm: self.speed_rpm.filter(|_| self.spin != Spin::Off),
            spin: self.spin,
            tool: if self.changes_tools { self.loaded } else { self.selected },
        };
        if m.is_cut() {
            m.feed_mm_min = self.feed_of(&m);
            self.note_cut(&m);
        }
        self.moves.push(m);
        self.arrive(to, given);
    }

    pub(super) fn note_cut(&mut self, m: &Move) {
        if m.feed_mm_min.is_none() {
            self.notes.add(self.line, Note::NoFeed);
        }
        if m.speed_rpm.is_none() {
            self.notes.add(self.line, Note::NoSpeed);
        }
        if !m.from_known || !m.z_known {
            self.notes.add(self.line, Note::CutAtUnknownPlace);
        }
        self.zero.get_or_insert(self.offsets());
        let other = *self.cut_in.get_or_insert(self.system);
        let set = |s: usize| (1..=3).any(|k| self.parameters[SYSTEM + 20 * (s - 1) + k] != 0.0);
        if other != self.system && !set(other) && !set(self.system) {
            self.notes.add(self.line, Note::SeveralCoordinateSystems);
        }
    }

    pub(super) fn arrive(&mut self, to: [f64; 3], given: [bool; 3]) {
        self.at = to;
        if !self.steps {
            (0..3).filter(|k| given[*k]).for_each(|k| self.known[k] = true);
        }
    }
}
