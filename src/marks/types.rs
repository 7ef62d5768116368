//! What this room hands on.

use crate::geometry::Point;
use crate::units::Measured;
use serde::Serialize;

/// Relief, colour, or not told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PeriodKind {
    Relief,
    Colour,
    Unsure,
}

/// One family of parallel, evenly spaced lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    /// Floor-frame units (mm, or px without scale); the sigma holds the scale's share only after `with_scale`.
    pub pitch: Measured,
    /// Direction across the lines, [0, 180), degrees, floor frame.
    pub normal_deg: Measured,
    pub curved: bool,
    /// Lines that keep their distance in any one place but not their step over the floor: no comb of lines lies over all of
    /// them. `coherent_passes` is then what one place holds.
    pub wandering: bool,
    /// For lines that follow the walls at even distances: the lines themselves, floor frame. Their `folded` profile and
    /// `harmonics` are what a lamp straight across them would show, `normal_deg` that of the wall beside which they show best.
    pub along_walls: Option<Vec<Vec<Point>>>,
    /// Power of the line over the local coloured background, dB.
    pub strength_db: f64,
    /// Chance that background alone makes a peak this strong anywhere in the searched range.
    pub false_alarm: f64,
    /// Number of periods that are in step over the patch.
    pub coherent_passes: f64,
    pub period_kind: PeriodKind,
    /// Relative brightness amplitudes of harmonics 1, 2, 3, 4 of the folded profile (1 = first), with the noise level
    /// of each relative to the first.
    pub harmonics: [f64; 4],
    pub harmonic_noise: f64,
    /// Power k of the harmonics' fall-off as h^-k, lens blur made good: 0 for a saw (thin lines of one sign), 1 for cusps
    /// and dished passes (even slopes between sharp ridges), more for waves; `None` with fewer than two clear harmonics.
    pub fall_off: Option<Measured>,
    /// Position of the first sample of `folded` along the normal, from the floor frame's origin; `None` for curved lines, and
    /// for those that keep no step from one side of the floor to the other.
    pub offset: Option<f64>,
    /// Mean relative brightness over one period, 64 samples along +normal, mean 0.
    pub folded: Vec<f64>,
    /// Rms of `folded`: relative brightness contrast of the family.
    pub contrast: f64,
    /// Skewness of the folded profile: negative = thin dark lines on an even ground, positive = thin bright ones.
    pub skew: f64,
    /// Amplitude of the half-frequency (period twice `pitch`) relative to the first harmonic: alternation of passes.
    pub alternation: f64,
    /// Scatter of single line positions about the even spacing, share of the pitch; noise included.
    pub jitter: f64,
    /// The lines one by one, along the normal; empty for curved lines and where none can be placed.
    pub lines: Vec<Line>,
    /// Share of patch tiles where the family shows by itself: 1 = everywhere.
    pub coverage: f64,
    /// Chromatic share: change of colour ratio in step with the lines over the change of light (0 = pure light).
    pub chroma_share: Option<Measured>,
    /// Whether `period_kind` comes from a second photo lit from the other side, which overrules colour.
    pub by_pair: bool,
    /// Peak-to-valley height, micrometres, where scale and lamp elevation are known.
    pub height_um: Option<Measured>,
}

impl Family {
    /// What speaks for colour: change of colour ratio over change of light, drawn towards neither colour nor light by its own
    /// sigma; with a pair of photos 1 for colour, 0 for relief.
    pub fn colour_evidence(&self) -> Option<f64> {
        match (self.by_pair, self.period_kind) {
            (true, PeriodKind::Colour) => Some(1.0),
            (true, PeriodKind::Relief) => Some(0.0),
            _ => self.chroma_share.map(|c| {
                let known = SPREAD.powi(2) / (SPREAD.powi(2) + c.sigma.powi(2));
                NEITHER_SHARE + known * (c.value - NEITHER_SHARE)
            }),
        }
    }
}

/// Chromatic share that speaks for neither light nor colour (light alone stays under 0.1, wood's colour begins at 0.15), and how
/// far shares of either kind lie from it (up to 0.3 on pine): with a sigma of as much half of what is measured counts.
pub const NEITHER_SHARE: f64 = 0.1;
const SPREAD: f64 = 0.15;

/// One line of a family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Its even place along the family's normal, from the floor frame's origin.
    pub at: f64,
    /// How far it stands from there, floor-frame units.
    pub shift: Measured,
    /// Its brightness change against that of its neighbours: 1 = alike.
    pub strength: Measured,
    /// Light left over from half a spacing before it to half a spacing after, against one flank of the mean line: 0 for a
    /// ridge or a groove, about 1 or -1 where the floor steps by as much as a flank drops.
    pub net: Measured,
    /// Off its place or in strength by more than the family's own scatter explains.
    pub odd: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Polarity {
    /// A dark line: the floor steps down going away from the lamp.
    Shade,
    /// A bright line: the floor steps up going away from the lamp.
    Lit,
}

/// One long, straight edge.
#[derive(Debug, Clone, PartialEq)]
pub struct Edge {
    pub from: Point,
    pub to: Point,
    /// Distance of the line from the floor frame's origin along its normal.
    pub offset: f64,
    pub length: f64,
    pub normal_deg: f64,
    pub polarity: Polarity,
    /// Integrated missing (positive) or extra (negative) light across the edge, in floor-frame length units.
    pub deficit: Measured,
    /// Signal to noise of the deficit.
    pub snr: f64,
    /// Step height; positive = higher on the side the normal points to.
    pub height_um: Option<Measured>,
    /// Change of colour ratio over the change of light across it (0 = pure light); `None` without colour, or where all of it is burnt out.
    pub chroma_share: Option<Measured>,
    /// Seen only once a family of lines along it is taken off the floor: stronger than those lines, or of the other sign.
    pub stands_out: bool,
}

/// One edge that may bend: a line of light or shade followed over the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Points half a millimetre apart, floor frame.
    pub path: Vec<Point>,
    pub length: f64,
    /// How far its direction turns from one end to the other at most, degrees.
    pub turn_deg: f64,
    /// Radius of the circle that all of it lies on, where it does.
    pub radius: Option<f64>,
    pub polarity: Polarity,
    /// Median bend of the light across it, over the noise of the texture's own lines of that direction.
    pub snr: f64,
}

/// The edges that may bend, longer and stronger first; straight ones are among them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Curves {
    pub lines: Vec<Curve>,
    /// Lines that are walls of letters and other islands, or their narrow shadows.
    pub walls: Vec<Curve>,
    /// Change of colour ratio over the change of light of the bent ones together (0 = pure light).
    pub chroma_share: Option<Measured>,
}

/// From this turn on, degrees, a curve is bent: straight lines followed sample by sample waver by a third of it.
pub const BENT_DEG: f64 = 25.0;

impl Curves {
    pub fn bent(&self) -> impl Iterator<Item = &Curve> {
        self.lines.iter().filter(|c| c.turn_deg > BENT_DEG)
    }
}

/// A strip between two edges.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Middle of the strip along the normal of its edges.
    pub offset: f64,
    pub normal_deg: f64,
    pub width: Measured,
    pub length: f64,
    /// Level against the floor beside it; sign alone is meaningful when the height is `None`.
    pub proud: bool,
    pub level_um: Option<Measured>,
    /// Distance of the strip's middle from the nearest parallel wall, where there is one.
    pub wall_distance: Option<f64>,
    /// Indices of its two edges in `Marks::edges`.
    pub edges: (usize, usize),
}

#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Quality {
    pub visible_lines_per_10mm: Option<f64>,
    /// Rms relative brightness change of the found marks.
    pub ridge_contrast: f64,
    pub height_p95_um: Option<Measured>,
    /// Rms relative brightness texture of the floor between 0.3 and 10 mm, marks removed.
    pub texture_rms: f64,
    /// Smallest family contrast that would have been found on this floor (at the significance limit).
    pub detectable_contrast: f64,
    /// Smallest chance, over all directions and spacings looked at, that the background alone makes what is there: on
    /// floors without evenly spaced lines it is spread evenly from 0 to 1.
    pub least_false_alarm: f64,
    /// The same as a height at the planned stepover, where scale and lamp are known.
    pub detectable_height_um: Option<f64>,
}

/// Evidence of torn fibre: short dark or bright flecks along one direction.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Flecks {
    /// Share of the lit floor covered by flecks.
    pub fraction: f64,
    pub per_cm2: f64,
    pub direction_deg: Option<f64>,
}

/// Rings of about the cutter's size.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Turns {
    /// Middles of the rings, floor frame.
    pub places: Vec<Point>,
    /// Their radius, floor-frame units; `None` without rings.
    pub radius: Option<Measured>,
}

/// Unevenly spaced lines: grain, streaks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Figure {
    /// Direction across the strongest uneven lines, degrees, and coherence 0 to 1.
    pub normal_deg: f64,
    pub coherence: f64,
    /// Rms relative brightness contrast of lines along that direction.
    pub contrast: f64,
    /// Colour change that goes with them (0 = pure light), where the photo has colour.
    pub chroma_share: Option<f64>,
    /// Whether the same lines go on outside the pocket (correlation of direction and spacing), where it can be seen.
    pub outside: Option<f64>,
}

/// The top edges of the pocket and of what stands in it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rim {
    /// Share of the judged length with burr or torn fibre; `None` where the rim could not be judged.
    pub ragged: Option<Measured>,
    /// Share of the rim's length that could be judged.
    pub judged_fraction: f64,
    /// The ragged pieces, longest first.
    pub pieces: Vec<RimPiece>,
}

/// One ragged piece of the rim.
#[derive(Debug, Clone, PartialEq)]
pub struct RimPiece {
    /// Along the edge, floor frame (walls are vertical: the rim's x and y are the floor's).
    pub points: Vec<Point>,
    pub length: f64,
    /// Direction towards the stock at its middle, [0, 360).
    pub normal_deg: f64,
    /// Whether it is the edge of something standing in the pocket.
    pub island: bool,
}

/// Surface figures of the ridges in the standards' terms (see `signal::roughness`), estimated from light.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Surface {
    /// Mean width of the profile elements: the spacing of the strongest relief.
    pub rsm_mm: Option<Measured>,
    pub ra_um: Option<Measured>,
    pub rq_um: Option<Measured>,
    pub rz_um: Option<Measured>,
    /// Cut-off of the Gaussian filter, by the standard's table.
    pub cut_off_mm: Option<f64>,
    /// Sampling lengths (each one cut-off long) that the floor holds, five at most.
    pub sampling_lengths: Option<usize>,
    /// Why a figure is missing.
    pub why: Option<String>,
}

/// A one-dimensional profile across a direction.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Profile {
    pub normal_deg: f64,
    /// Positions along the normal (floor frame) and relative brightness (mean 0).
    pub at: Vec<f64>,
    pub value: Vec<f64>,
}

/// Spectrum of a profile with the background it is tested against.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Spectrum {
    pub normal_deg: f64,
    /// Cycles per floor-frame unit, relative amplitude, background amplitude, limit amplitude.
    pub frequency: Vec<f64>,
    pub amplitude: Vec<f64>,
    pub background: Vec<f64>,
    pub limit: Vec<f64>,
}

#[derive(Debug, Clone, Default)]
pub struct Marks {
    pub families: Vec<Family>,
    pub edges: Vec<Edge>,
    pub curves: Curves,
    pub strips: Vec<Strip>,
    pub quality: Quality,
    pub flecks: Flecks,
    /// `None` where rings could not be looked for: no scale, no cutter in the plan, too few samples across it.
    pub turns: Option<Turns>,
    pub figure: Figure,
    pub rim: Rim,
    pub surface: Surface,
    pub profile: Profile,
    pub spectrum: Spectrum,
}

impl Marks {
    /// Nothing was looked at: no line of any contrast would have been found.
    pub fn unmeasured() -> Self {
        Self { quality: Quality { detectable_contrast: 1.0, ..Quality::default() }, ..Self::default() }
    }
    /// Adds the scale's relative sigma to every length and height (it is common to all of them).
    pub fn with_scale(mut self, relative: f64) -> Self {
        let add = |m: &mut Measured| *m = m.with_relative(relative);
        for f in &mut self.families {
            add(&mut f.pitch);
            f.height_um.iter_mut().for_each(add);
        }
        for e in &mut self.edges {
            add(&mut e.deficit);
            e.height_um.iter_mut().for_each(add);
        }
        for s in &mut self.strips {
            add(&mut s.width);
            s.level_um.iter_mut().for_each(add);
        }
        self.quality.height_p95_um.iter_mut().for_each(add);
        self
    }
}
