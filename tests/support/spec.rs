//! Every setting of one made scene. Millimetres, degrees, micrometres where the name says so; pocket frame: x right,
//! y down, z up, z = 0 at the stock's top, the nominal pocket from (2, 2) to (w - 2, h - 2).

use lowsun::card::Form;

#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Bottom {
    Flat,
    Bull(f64),
    Ball,
}

#[derive(Clone, Debug)]
pub struct Tool {
    pub d: f64,
    pub bottom: Bottom,
    pub up_cut: bool,
    pub flutes: u32,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Outline {
    Rect,
    L,
    Round,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Pattern {
    /// `first`: 0 = starts at one side, 1 = starts in the middle and goes both ways.
    Parallel {
        angle: f64,
        both_ways: bool,
        middle_first: bool,
    },
    Contour {
        inward: bool,
    },
}

/// A wave that the machine leaves on the floor besides the passes' own shape.
#[derive(Clone, Debug)]
pub enum Ripple {
    /// Arcs of the cutter's radius, `pitch` apart along each pass.
    Arcs { pitch: f64, um: f64 },
    /// A plane wave, `normal` in pocket degrees; `wander` = how far its phase strays, in periods.
    Wave { pitch: f64, um: f64, normal: f64, wander: f64 },
}

#[derive(Clone, Debug)]
pub struct Light {
    pub from: f64,
    pub el: f64,
    pub dist: f64,
    pub size: f64,
    pub ambient: f64,
    pub second: Option<(f64, f64, f64)>,
}

#[derive(Clone, Debug)]
pub struct Camera {
    pub px: [usize; 2],
    pub f35: f64,
    pub tilt: f64,
    pub pan: f64,
    pub roll: f64,
    pub k1: f64,
    pub margin: f64,
    pub blur: f64,
    pub noise: f64,
    pub tone: f64,
    pub expo: f64,
    pub balance: [f64; 3],
    pub sharpen: f64,
    pub denoise: f64,
    pub quality: u8,
    pub orientation: u16,
    pub exif: &'static str,
    /// Which photo of the scene this is: each has noise of its own.
    pub shot: u32,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub enum RefKind {
    Card,
    /// Index into `props::COINS`.
    Coin(usize),
    /// Index into `props::RULES`.
    Rule(usize),
    Own(Own),
}

/// Our own printed card: thickness with what it is glued on, what the printer made of 1 mm along x and y, and whether
/// its print comes from the kept picture of the printed page instead of from the drawing.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Own {
    pub form: Form,
    pub thick: f64,
    pub printed: [f64; 2],
    pub from_page: bool,
}

/// `at`: first corner (card, rule; of our own card the first corner of the rectangle round it) or centre (coin).
#[derive(Clone, Debug)]
pub struct Ref {
    pub kind: RefKind,
    pub on_floor: bool,
    pub at: [f64; 2],
    pub rot: f64,
    pub style: u32,
}

/// A loose thing on the stock: block, tape, chip.
#[derive(Clone, Debug)]
pub struct Clutter {
    pub kind: &'static str,
    pub at: [f64; 2],
    pub rot: f64,
    pub len: f64,
    pub wid: f64,
    pub h: f64,
    pub col: [f64; 3],
}

#[derive(Clone, Debug)]
pub struct PlanFile {
    pub omit: Vec<&'static str>,
    pub inches: bool,
    pub percent: bool,
    /// (kind, planned stepover in mm)
    pub slip: Option<(&'static str, f64)>,
    pub screw_lead: Option<f64>,
}

#[derive(Clone, Debug)]
pub struct Spec {
    pub seed: u64,
    pub cause: &'static str,
    pub parts: Option<[&'static str; 2]>,
    /// Why the marks are hidden on purpose.
    pub hidden: Option<&'static str>,
    pub size: [f64; 2],
    pub outline: Outline,
    pub depth: f64,
    pub tool: Tool,
    /// Second cutter: diameter, stepover, height of its zero in um.
    pub tool2: Option<(f64, f64, f64)>,
    pub stepover: f64,
    pub pattern: Pattern,
    pub perimeter: bool,
    pub lift_um: f64,
    pub lean: f64,
    pub tilt: [f64; 2],
    pub ripple: Option<Ripple>,
    pub skim: bool,
    /// Depth of rings where the cutter turns, um (negative = sunken).
    pub turn_um: f64,
    pub turn_burn: f64,
    pub torn_um: f64,
    pub burr: f64,
    pub burr_mm: f64,
    pub fuzz_um: f64,
    pub material: &'static str,
    pub grain: f64,
    pub ring_mm: f64,
    pub figure: f64,
    pub gloss: f64,
    pub letters: Option<(&'static str, f64, f64)>,
    pub feed: f64,
    pub rpm: f64,
    pub g: f64,
    pub light: Light,
    pub camera: Camera,
    pub refs: Vec<Ref>,
    pub clutter: Vec<Clutter>,
    pub chips: u32,
    pub world: &'static str,
    pub difficulty: &'static str,
    pub plan: PlanFile,
}

impl Spec {
    pub fn radius(&self) -> f64 {
        self.tool.d / 2.0
    }
    pub fn centre(&self) -> [f64; 2] {
        [self.size[0] / 2.0, self.size[1] / 2.0]
    }
}
