//! Room 2: what was meant to be cut. A TOML file, or the facts given one by one, become a [`PlannedCut`] in millimetres.
//!
//! [`gather`] is the whole room: plan file ([`read`]), the cutting file over it ([`cutting`]), then single facts over both
//! ([`merge`]), then the look for probable slips and for what is missing ([`check`]).

mod by_hand;
mod check;
mod coins;
mod cutting;
mod facts;
mod file;
#[cfg(test)]
mod tests;

pub use by_hand::{ByHand, HandKnown, HandScale};
pub use check::{USUAL_SKIM_MM, check};
pub use coins::{COINS, Coin};
pub use cutting::CuttingFile;
pub use facts::{PlanFacts, gather, merge};
pub use file::{parse, read};

use crate::card::Printed;
use crate::geometry::Point;
use crate::units::LengthUnit;
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    Flat,
    BullNose,
    BallNose,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Helix {
    UpCut,
    DownCut,
    Compression,
    Straight,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    Parallel,
    Contour,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Material {
    Softwood,
    Hardwood,
    Mdf,
    Plywood,
    Foam,
    Plastic,
    Aluminium,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Cutter {
    pub shape: Option<Shape>,
    pub diameter_mm: Option<f64>,
    pub corner_radius_mm: Option<f64>,
    pub flutes: Option<u32>,
    pub helix: Option<Helix>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Machine {
    pub screw_lead_mm: Option<f64>,
    pub belt_pitch_mm: Option<f64>,
    pub rack_pitch_mm: Option<f64>,
    pub mount_bolt_spacing_mm: Option<f64>,
    pub z_stiffness_n_per_um: Option<f64>,
}

impl Machine {
    /// What the axes are driven by repeats at this, mm: the screw's lead, else the belt's or the rack's pitch.
    pub fn drive_pitch_mm(&self) -> Option<f64> {
        self.screw_lead_mm.or(self.belt_pitch_mm).or(self.rack_pitch_mm)
    }
}

/// The kind of reference the user says is in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum ReferenceKind {
    /// A bank-card sized card.
    Card,
    /// A coin, named.
    Coin,
    /// A rule or tape, by its ticks.
    Ruler,
    /// Known points, listed.
    Points,
    /// The pocket itself, from its planned width and height.
    Pocket,
    /// A flat scan of known millimetres per pixel.
    Scan,
    /// Nothing of known size.
    None,
}

/// What two neighbouring ticks of a rule are apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
pub enum Tick {
    #[serde(rename = "mm")]
    #[value(name = "mm")]
    Mm,
    #[serde(rename = "half-mm")]
    #[value(name = "half-mm")]
    HalfMm,
    #[serde(rename = "1/16in")]
    #[value(name = "1/16in")]
    Sixteenth,
    #[serde(rename = "1/32in")]
    #[value(name = "1/32in")]
    ThirtySecond,
}

impl Tick {
    pub const ALL: [Tick; 4] = [Tick::Mm, Tick::HalfMm, Tick::Sixteenth, Tick::ThirtySecond];
    pub fn mm(self) -> f64 {
        match self {
            Tick::Mm => 1.0,
            Tick::HalfMm => 0.5,
            Tick::Sixteenth => crate::units::MM_PER_INCH / 16.0,
            Tick::ThirtySecond => crate::units::MM_PER_INCH / 32.0,
        }
    }
    pub fn name(self) -> &'static str {
        match self {
            Tick::Mm => "1 mm",
            Tick::HalfMm => "0.5 mm",
            Tick::Sixteenth => "1/16 in",
            Tick::ThirtySecond => "1/32 in",
        }
    }
}

/// What the user calls things; it goes into a record book and bears on nothing that is measured.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Names {
    pub job: Option<String>,
    pub machine: Option<String>,
    pub cutter: Option<String>,
}

impl Names {
    /// These names, and where one is missing or blank, that of `other`.
    pub fn or(&self, other: &Names) -> Names {
        let pick = |a: &Option<String>, b: &Option<String>| {
            let told = |t: &Option<String>| t.as_deref().map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned);
            told(a).or_else(|| told(b))
        };
        Names {
            job: pick(&self.job, &other.job),
            machine: pick(&self.machine, &other.machine),
            cutter: pick(&self.cutter, &other.cutter),
        }
    }
}

/// Known points of the plan: photo pixels to millimetres.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct KnownReference {
    pub kind: Option<ReferenceKind>,
    pub points: Vec<(Point, Point)>,
    pub mm_per_px: Option<f64>,
    pub coin: Option<Coin>,
    pub tick: Option<Tick>,
    /// Two points on the ticked edge of a rule, photo px.
    pub edge_px: Option<(Point, Point)>,
    /// Height of the reference's face above the plane it lies on.
    pub height_mm: Option<f64>,
    /// "rim" or "floor": the plane that the points or the card lie on; `None` = find out / assume rim.
    pub on_floor: Option<bool>,
    /// What the printer made of our own card; `None` = nobody measured.
    pub card_measured: Option<Printed>,
}

/// Everything in millimetres, degrees, millimetres per minute. `None` = the plan does not say.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PlannedCut {
    pub units: LengthUnit,
    #[serde(skip)]
    pub names: Names,
    pub cutter: Cutter,
    pub second_cutter: Option<Cutter>,
    pub pattern: Option<Pattern>,
    /// Direction of the passes in the pocket's own frame (0 along its width).
    pub pass_angle_deg: Option<f64>,
    pub both_ways: Option<bool>,
    pub stepover_mm: Option<f64>,
    /// The stepover as it was written, when it was written as a percentage of the cutter's diameter.
    pub stepover_percent: Option<f64>,
    pub depth_mm: Option<f64>,
    pub skim_mm: Option<f64>,
    pub feed_mm_min: Option<f64>,
    pub speed_rpm: Option<f64>,
    /// Outer width and height of a rectangular pocket.
    pub pocket_mm: Option<(f64, f64)>,
    pub material: Option<Material>,
    pub grain_angle_deg: Option<f64>,
    pub machine: Machine,
    pub light_from_deg: Option<f64>,
    pub light_elevation_deg: Option<f64>,
    pub reference: KnownReference,
    /// Name of the cutting file beside the plan, as the plan has it.
    pub toolpath: Option<String>,
    /// The cutting file, where one was given and read.
    pub cutting_file: Option<CuttingFile>,
}
