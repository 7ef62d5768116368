//! The cutter's way over the floor, in cutting order: from the cutting file where there is one, else as the plan's pattern
//! lays it.

use crate::geometry::Point;
use crate::plan::{Pattern, PlannedCut};
use crate::toolpath::{Floor, Spin};
use serde::Serialize;

/// Passes drawn where the plan gives no pocket size: enough to see what repeats.
const PASSES_WITHOUT_SIZE: f64 = 12.0;

/// The side that the passes begin at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Begin {
    /// Straight passes: at the wall of the smaller coordinate across them. Loops: at the wall.
    Near,
    /// Straight passes: at the opposite wall. Loops: in the middle.
    Far,
}

/// All passes of one floor, pocket frame, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Passes {
    pub size_mm: (f64, f64),
    pub size_known: bool,
    pub diameter_mm: f64,
    pub stepover_mm: f64,
    /// Direction of straight passes, [0, 180); 0 for loops.
    pub angle_deg: f64,
    pub contour: bool,
    pub begin: Begin,
    /// The cutter's centre along each unbroken cut.
    pub lanes: Vec<Vec<Point>>,
    /// The spindle turns clockwise seen from above.
    pub clockwise: bool,
    pub from_file: bool,
    /// What neither plan nor file says, and what was taken instead.
    pub assumed: Vec<String>,
}

impl Passes {
    /// Unit vector along straight passes.
    pub fn along(&self) -> Point {
        let (s, c) = self.angle_deg.to_radians().sin_cos();
        Point::new(c, s)
    }
    /// Unit vector across the passes, away from the wall where they begin (loops: down the middle).
    pub fn away(&self) -> Point {
        let u = self.along();
        let n = Point::new(-u.y, u.x);
        if self.begin == Begin::Far && !self.contour { n * -1.0 } else { n }
    }
    /// Way from wall to wall across the passes, through the pocket's box, mm.
    pub fn across_mm(&self) -> f64 {
        let n = self.away();
        n.x.abs() * self.size_mm.0 + n.y.abs() * self.size_mm.1
    }
    /// The place on the middle line, `at` mm from the wall where the passes begin.
    pub fn on_middle(&self, at: f64) -> Point {
        let middle = Point::new(self.size_mm.0 / 2.0, self.size_mm.1 / 2.0);
        middle + self.away() * (at - self.across_mm() / 2.0)
    }
    /// Length of all passes, mm.
    pub fn length_mm(&self) -> f64 {
        self.lanes.iter().flat_map(|l| l.windows(2)).map(|w| w[0].distance(w[1])).sum()
    }
}

/// The passes of a plan. `None` without diameter and stepover, or where the cutter does not fit.
pub fn passes(plan: &PlannedCut, begin: Begin) -> Option<Passes> {
    let d = plan.cutter.diameter_mm.filter(|d| *d > 0.0)?;
    let s = plan.stepover_mm.filter(|s| *s > 0.0 && *s <= d * (1.0 + 1e-9))?;
    let file = plan.cutting_file.as_ref().and_then(|c| c.floor.as_ref());
    match file.filter(|f| f.z_mm.is_some() && !f.runs.is_empty()) {
        Some(f) => Some(from_file(f, d, s)),
        None => from_plan(plan, d, s, begin),
    }
}

fn from_file(f: &Floor, d: f64, s: f64) -> Passes {
    let [low, high] = f.box_mm;
    let r = d / 2.0;
    // The file's y runs up the board, the pocket frame's down.
    let place = |p: &Point| Point::new(p.x - low.x + r, high.y + r - p.y);
    let lanes: Vec<Vec<Point>> = f.runs.iter().map(|run| run.points.iter().map(place).collect()).collect();
    let mut out = Passes {
        size_mm: (high.x - low.x + d, high.y - low.y + d),
        size_known: true,
        diameter_mm: d,
        stepover_mm: s,
        angle_deg: f.pass_angle_deg.map_or(0.0, |a| crate::units::wrap_180(-a)),
        contour: f.pass_angle_deg.is_none(),
        begin: Begin::Near,
        lanes,
        clockwise: f.spin != Spin::Counterclockwise,
        from_file: true,
        assumed: vec![],
    };
    if f.spin == Spin::Off {
        out.assumed.push("the spindle turns clockwise seen from above".into());
    }
    let middle = Point::new(out.size_mm.0 / 2.0, out.size_mm.1 / 2.0);
    let across = |p: Point| (p - middle).x * out.away().x + (p - middle).y * out.away().y;
    // A pass begins far when its first point lies on the far side; loops when the first lies nearer the middle.
    if let Some(first) = out.lanes.first().and_then(|l| l.first()) {
        let far = match f.first_pass {
            _ if !out.contour => across(*first) > 0.0,
            first => first == Some(crate::toolpath::FirstPass::InTheMiddle),
        };
        out.begin = if far { Begin::Far } else { Begin::Near };
    }
    out
}

fn from_plan(plan: &PlannedCut, d: f64, s: f64, begin: Begin) -> Option<Passes> {
    let mut assumed = vec![];
    let contour = plan.pattern == Some(Pattern::Contour);
    let angle = if contour { 0.0 } else { crate::units::wrap_180(plan.pass_angle_deg.unwrap_or(0.0)) };
    if plan.pattern.is_none() {
        assumed.push("straight passes side by side".to_owned());
    }
    if !contour && plan.pass_angle_deg.is_none() {
        assumed.push("passes along the pocket's width".into());
    }
    let size = plan.pocket_mm.unwrap_or_else(|| {
        let across = d + PASSES_WITHOUT_SIZE * s;
        let long = across.max(8.0 * d);
        assumed.push(format!("a piece of floor of {} x {}", plan.units.show(long), plan.units.show(across)));
        if (45.0..135.0).contains(&angle) { (across, long) } else { (long, across) }
    });
    if size.0 < d || size.1 < d {
        return None;
    }
    assumed.push("the spindle turns clockwise seen from above".into());
    let both_ways = plan.both_ways.unwrap_or(true);
    if !contour && plan.both_ways.is_none() {
        assumed.push("passes to and fro".into());
    }
    let mut out = Passes {
        size_mm: size,
        size_known: plan.pocket_mm.is_some(),
        diameter_mm: d,
        stepover_mm: s,
        angle_deg: angle,
        contour,
        begin,
        lanes: vec![],
        clockwise: true,
        from_file: false,
        assumed,
    };
    out.lanes = if contour { loops(&out) } else { straight(&out, both_ways) };
    if contour || !both_ways {
        out.assumed.push("climb cutting".into());
    }
    Some(out)
}

/// Straight passes from one wall to the other; the last one may be narrower. One way: with the stock on the right, which
/// is climb cutting for a spindle that turns clockwise.
fn straight(p: &Passes, both_ways: bool) -> Vec<Vec<Point>> {
    let r = p.diameter_mm / 2.0;
    let (u, n) = (p.along(), p.away());
    let middle = Point::new(p.size_mm.0 / 2.0, p.size_mm.1 / 2.0);
    let half = (middle.x - r, middle.y - r);
    // Ways between the walls that the cutter's centre has, from the middle: along n, and along u at a place across.
    let reach = n.x.abs() * half.0 + n.y.abs() * half.1;
    let piece = |t: f64| {
        let (mut from, mut to) = (f64::NEG_INFINITY, f64::INFINITY);
        for (nn, uu, h) in [(n.x * t, u.x, half.0), (n.y * t, u.y, half.1)] {
            if uu.abs() > 1e-9 {
                let (a, b) = ((-h - nn) / uu, (h - nn) / uu);
                (from, to) = (from.max(a.min(b)), to.min(a.max(b)));
            }
        }
        (from <= to + 1e-9).then(|| [middle + n * t + u * from, middle + n * t + u * to.max(from)])
    };
    // On the right of a heading u lies, y being down, the side (-u.y, u.x).
    let forward = n.x * -u.y + n.y * u.x > 0.0;
    let count = (2.0 * reach / p.stepover_mm - 1e-9).ceil().max(0.0) as usize;
    let mut lanes: Vec<Vec<Point>> = vec![];
    for k in 0..=count {
        let Some([a, b]) = piece((k as f64 * p.stepover_mm - reach).min(reach)) else { continue };
        let ends = if forward == (!both_ways || k % 2 == 0) { [a, b] } else { [b, a] };
        match lanes.last_mut().filter(|_| both_ways) {
            Some(lane) => lane.extend(ends),
            None => lanes.push(ends.to_vec()),
        }
    }
    lanes
}

/// Loops at one stepover from another, turning so that they climb.
fn loops(p: &Passes) -> Vec<Vec<Point>> {
    let (r, s, (w, h)) = (p.diameter_mm / 2.0, p.stepover_mm, p.size_mm);
    let half = w.min(h) / 2.0;
    let mut insets = vec![];
    let mut inset = r;
    while inset < half - 1e-9 {
        insets.push(inset);
        inset += s;
    }
    // What the innermost loop leaves in the middle takes one pass along it.
    if insets.last().is_none_or(|last| half - last > r) {
        insets.push(half);
    }
    let ring = |i: f64| {
        let c = [(i, i), (w - i, i), (w - i, h - i), (i, h - i), (i, i)].map(|(x, y)| Point::new(x, y));
        c.to_vec()
    };
    let mut lanes: Vec<Vec<Point>> = insets.into_iter().map(ring).collect();
    if p.begin == Begin::Far {
        // From the middle the stock lies outside, and is on the right of a loop that turns the other way.
        lanes.reverse();
        lanes.iter_mut().for_each(|l| l.reverse());
    }
    lanes
}
