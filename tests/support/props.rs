//! Things with straight sides that lie on the stock or in the pocket: cards, coins, rules, blocks, tape, chips.

use super::field::P;
use super::noise::{hash, octaves, value2};
use super::print::Print;
use super::spec::{Ref, RefKind, Spec};
use super::wood::Rgb;
use std::sync::Arc;

pub const CARD: [f64; 2] = [85.60, 53.98];
pub const CARD_R: f64 = 3.18;
pub const CARD_H: f64 = 0.76;
/// Coins: kind, the name a user would give, diameter and thickness in mm. Euro: Reg. (EU) 729/2014 (from memory); US: the
/// mint's coin specifications.
pub const COINS: [(&str, &str, f64, f64); 5] = [
    ("coin-1eur", "1 EUR", 23.25, 2.33),
    ("coin-us-quarter", "US quarter", 24.26, 1.75),
    ("coin-50-cent", "50 euro cent", 24.25, 2.38),
    ("coin-us-cent", "US cent", 19.05, 1.52),
    ("coin-2eur", "2 EUR", 25.75, 2.20),
];
/// Rules: kind, the name a user would give, ticks per unit, unit in mm, length of the rule, mm.
pub const RULES: [(&str, &str, f64, f64, f64); 4] = [
    ("rule", "mm", 10.0, 10.0, 150.0),
    ("rule-half-mm", "half-mm", 20.0, 10.0, 150.0),
    ("rule-16", "1/16in", 16.0, 25.4, 152.4),
    ("rule-32", "1/32in", 32.0, 25.4, 152.4),
];
/// Width and thickness of a rule, mm.
pub const RULE: [f64; 2] = [24.0, 0.8];

#[derive(Clone, Debug)]
pub struct Prism {
    pub kind: &'static str,
    /// First corner (centre for a coin).
    pub at: P,
    rot: (f64, f64),
    pub len: f64,
    pub wid: f64,
    pub z0: f64,
    pub z1: f64,
    style: u32,
    col: [f64; 3],
    pub print: Option<Arc<Print>>,
}

impl Prism {
    pub fn from_ref(s: &Spec, r: &Ref) -> Self {
        let (kind, len, wid, h) = match r.kind {
            RefKind::Card => ("id1", CARD[0], CARD[1], CARD_H),
            RefKind::Coin(n) => (COINS[n].0, COINS[n].2, COINS[n].2, COINS[n].3),
            RefKind::Rule(n) => (RULES[n].0, RULES[n].4, RULE[0], RULE[1]),
            RefKind::Own(own) => {
                let size = Print::size(own);
                ("card", size[0], size[1], own.thick)
            }
        };
        let print = match r.kind {
            RefKind::Own(own) => Some(Arc::new(Print::new(own, r.style))),
            _ => None,
        };
        let z0 = if r.on_floor { -s.depth } else { 0.0 };
        let rot = r.rot.to_radians().sin_cos();
        Self { kind, at: r.at, rot, len, wid, z0, z1: z0 + h, style: r.style, col: [0.5; 3], print }
    }
    pub fn all(s: &Spec) -> Vec<Self> {
        let mut v: Vec<Self> = s.refs.iter().map(|r| Self::from_ref(s, r)).collect();
        v.extend(s.clutter.iter().map(|c| {
            let z0 = if c.kind == "chip-floor" { -s.depth } else { 0.0 };
            let rot = c.rot.to_radians().sin_cos();
            Self {
                kind: c.kind,
                at: c.at,
                rot,
                len: c.len,
                wid: c.wid,
                z0,
                z1: z0 + c.h,
                style: 0,
                col: c.col,
                print: None,
            }
        }));
        v
    }
    pub fn is_coin(&self) -> bool {
        self.kind.starts_with("coin")
    }
    pub fn corner(&self, k: usize) -> P {
        let (u, v) = [(0.0, 0.0), (self.len, 0.0), (self.len, self.wid), (0.0, self.wid)][k];
        if self.is_coin() {
            return self.out(u - self.len / 2.0, v - self.wid / 2.0);
        }
        self.out(u, v)
    }
    /// From the thing's own frame (first corner, along the long side) to the pocket frame.
    pub fn out(&self, u: f64, v: f64) -> P {
        let (s, c) = self.rot;
        [self.at[0] + u * c - v * s, self.at[1] + u * s + v * c]
    }
    fn local(&self, p: P) -> P {
        let (s, c) = self.rot;
        let d = [p[0] - self.at[0], p[1] - self.at[1]];
        [d[0] * c + d[1] * s, d[1] * c - d[0] * s]
    }
    pub fn centre(&self) -> P {
        if self.is_coin() { self.at } else { self.out(self.len / 2.0, self.wid / 2.0) }
    }
    pub fn reach(&self) -> f64 {
        self.len.hypot(self.wid) / 2.0
    }
    pub fn covers(&self, p: P) -> bool {
        let [u, v] = self.local(p);
        if let Some(print) = &self.print {
            return print.covers(u, v);
        }
        match self.kind {
            _ if self.is_coin() => u.hypot(v) < self.len / 2.0,
            "id1" => {
                let (a, b) = ((u - self.len / 2.0).abs(), (v - self.wid / 2.0).abs());
                let (a, b) = (a - self.len / 2.0 + CARD_R, b - self.wid / 2.0 + CARD_R);
                a.max(0.0).hypot(b.max(0.0)) < CARD_R && a < CARD_R && b < CARD_R
            }
            "chip" | "chip-floor" => (u / self.len - 0.5).abs() + (v / self.wid - 0.5).abs() < 0.5,
            _ => u > 0.0 && v > 0.0 && u < self.len && v < self.wid,
        }
    }
    pub fn side(&self) -> Rgb {
        match self.kind {
            "id1" | "card" => [0.7, 0.7, 0.7],
            "coin-us-cent" => [0.4, 0.2, 0.1],
            _ if self.is_coin() => [0.45, 0.44, 0.42],
            _ if self.kind.starts_with("rule") => [0.5, 0.5, 0.5],
            _ => self.col.map(|v| v as f32 * 0.9),
        }
    }
    /// Colour of the upper face.
    pub fn face(&self, p: P) -> Rgb {
        let [u, v] = self.local(p);
        if let Some(print) = &self.print {
            return print.colour(u, v);
        }
        match self.kind {
            "id1" => card(self.style, u, v),
            _ if self.is_coin() => {
                let r = u.hypot(v) / (self.len / 2.0);
                let k = 1.0 + 0.25 * octaves(u / 1.6, v / 1.6, 2, 91);
                let silver: Rgb = [0.55, 0.54, 0.52];
                let gold: Rgb = [0.56, 0.42, 0.17];
                let (ring, heart) = match self.kind {
                    "coin-1eur" => (silver, gold),
                    "coin-2eur" => (gold, silver),
                    "coin-50-cent" => (gold, gold),
                    "coin-us-cent" => ([0.36, 0.17, 0.08], [0.36, 0.17, 0.08]),
                    _ => (silver, silver),
                };
                if r > 0.93 { ring.map(|c| 1.13 * c) } else { (if r > 0.68 { ring } else { heart }).map(|c| c * k) }
            }
            _ if self.kind.starts_with("rule") => rule(self.kind, self.style, u, v),
            _ => {
                let k = 1.0 + 0.08 * value2(u / 3.0, v / 3.0, 5);
                self.col.map(|c| c as f32 * k)
            }
        }
    }
}

fn rule(kind: &str, style: u32, u: f64, v: f64) -> Rgb {
    let base: Rgb = match style % 3 {
        0 => [0.55, 0.55, 0.56],
        1 => [0.78, 0.70, 0.30],
        _ => [0.80, 0.80, 0.80],
    };
    let (_, _, per, unit, _) = RULES.into_iter().find(|r| r.0 == kind).unwrap_or(RULES[0]);
    let n = (u * per / unit).round();
    let at = n * unit / per;
    let is = |k: f64| n.rem_euclid(k) == 0.0;
    // Length by the largest share of the unit that the tick marks.
    let long = match kind {
        "rule-16" | "rule-32" => {
            let steps: [(f64, f64); 5] = [(1.0, 12.0), (2.0, 9.0), (4.0, 7.5), (8.0, 6.0), (16.0, 4.5)];
            steps.into_iter().find(|q| is(per / q.0)).map_or(3.2, |q| q.1)
        }
        _ if is(per) => 7.5,
        _ if is(per / 2.0) => 5.5,
        "rule-half-mm" if !is(2.0) => 2.8,
        _ => 4.0,
    };
    let half = if per / unit > 1.1 { 0.07 } else { 0.09 };
    let tick = (u - at).abs() < half && v < long;
    let number = is(per) && v > long + 1.5 && v < long + 4.5 && (u - at).abs() < 0.7;
    if tick || number { [0.03, 0.03, 0.03] } else { base.map(|c| c * (1.0 + 0.05 * value2(u / 9.0, v / 0.2, 3))) }
}

/// Dashes like printed words in a box of the card.
fn words(u: f64, v: f64, u0: f64, v0: f64, u1: f64, v1: f64, seed: u32) -> bool {
    if u < u0 || u > u1 || v < v0 || v > v1 {
        return false;
    }
    let row = ((v - v0) / 3.6).floor();
    let dash = ((u - u0) / 1.5).floor();
    (v - v0 - row * 3.6) < 1.5 && hash(dash as i32, row as i32, 0, seed) > -0.5 && (u - u0 - dash * 1.5) < 1.25
}

fn chip(u: f64, v: f64) -> Option<Rgb> {
    let (a, b) = (u - 9.0, v - 20.0);
    if !(0.0..12.0).contains(&a) || !(0.0..10.0).contains(&b) {
        return None;
    }
    let line = (a % 4.0 < 0.35) || (b % 3.3 < 0.35);
    Some(if line { [0.25, 0.2, 0.08] } else { [0.62, 0.5, 0.22] })
}

fn card(style: u32, u: f64, v: f64) -> Rgb {
    let white: Rgb = [0.80, 0.81, 0.83];
    let black: Rgb = [0.018, 0.018, 0.02];
    match style % 14 {
        0 => {
            if words(u, v, 52.0, 42.0, 76.0, 45.0, 3) {
                [0.4, 0.4, 0.4]
            } else {
                [0.74, 0.73, 0.69]
            }
        }
        1 => {
            if (6.0..18.5).contains(&v) {
                black
            } else if words(u, v, 8.0, 26.0, 44.0, 46.0, 4) {
                [0.2, 0.2, 0.25]
            } else {
                white
            }
        }
        2 => chip(u, v).unwrap_or(if words(u, v, 10.0, 36.0, 64.0, 38.0, 5) { white } else { [0.012, 0.014, 0.09] }),
        3 => {
            if (12.0..17.0).contains(&v) || words(u, v, 52.0, 26.0, 76.0, 34.0, 6) {
                [0.85, 0.85, 0.85]
            } else {
                [0.52, 0.01, 0.012]
            }
        }
        4 => std::array::from_fn(|k| (0.28 + 0.4 * octaves(u / 13.0, v / 13.0, 3, 40 + k as u32)).clamp(0.02, 0.8)),
        5 => {
            let t = ((u / 85.6 + v / 54.0) / 2.0) as f32;
            chip(u, v).unwrap_or([0.16 * (1.0 - t) + 0.01, 0.02 + 0.22 * t, 0.22])
        }
        6 => {
            if (u + v).rem_euclid(14.0) < 7.0 {
                [0.68, 0.48, 0.04]
            } else {
                [0.02, 0.02, 0.03]
            }
        }
        7 => {
            if v < 5.0 {
                [0.03, 0.08, 0.4]
            } else if (8.0..26.0).contains(&u) && (12.0..36.0).contains(&v) {
                [0.32, 0.36, 0.42]
            } else if words(u, v, 32.0, 14.0, 72.0, 44.0, 8) {
                [0.04, 0.04, 0.05]
            } else {
                [0.72, 0.74, 0.76]
            }
        }
        8 => {
            let k = 1.0 + 0.35 * value2(u / 60.0, v / 0.35, 9) + 0.15 * value2(u / 20.0, v / 0.15, 10);
            [0.42 * k, 0.42 * k, 0.43 * k]
        }
        9 => {
            let star = ((v - 27.0).atan2(u - 55.0) * 5.0).sin() as f32;
            if (u - 55.0).hypot(v - 27.0) < 12.0 + 7.0 * f64::from(star) {
                [0.10, 0.5, 0.2]
            } else {
                [0.008, 0.12, 0.045]
            }
        }
        // Close to bare wood.
        10 => {
            let k = 1.0 + 0.08 * octaves(u / 5.0, v / 5.0, 2, 11);
            if words(u, v, 10.0, 12.0, 30.0, 16.0, 12) { [0.3, 0.2, 0.11] } else { [0.52 * k, 0.37 * k, 0.23 * k] }
        }
        11 => chip(u, v).unwrap_or(if (46.0..46.6).contains(&v) { [0.5, 0.38, 0.1] } else { [0.012, 0.012, 0.013] }),
        12 => {
            let (a, b) = (u.rem_euclid(6.0) - 3.0, v.rem_euclid(6.0) - 3.0);
            if v < 14.0 {
                white
            } else if a.hypot(b) < 1.2 {
                [0.02, 0.1, 0.1]
            } else {
                [0.75, 0.55, 0.06]
            }
        }
        _ => {
            if u < 30.0 {
                [0.78, 0.78, 0.78]
            } else {
                chip(u - 40.0, v).unwrap_or([0.72, 0.16, 0.015])
            }
        }
    }
}
