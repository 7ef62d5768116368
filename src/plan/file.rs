//! The plan file: TOML with units, every key optional, unknown keys refused by name.

use super::{
    Coin, Cutter, Helix, KnownReference, Machine, Material, Names, Pattern, PlannedCut, ReferenceKind, Shape, Tick,
    check, facts::Stepover,
};
use crate::card::Printed;
use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::geometry::Point;
use crate::units::{LengthUnit, parse_length};
use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};
use std::fmt;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;

/// Largest plan file read, bytes. A plan is under 2 kB; a megabyte is a wrong file, and reading it would only produce
/// an unreadable message.
const MAX_BYTES: u64 = 1_000_000;

/// A length as typed: a bare number in the file's units, or text with its own unit.
#[derive(Debug, Clone)]
enum Typed {
    Number(f64),
    Text(String),
}

impl<'de> Deserialize<'de> for Typed {
    fn deserialize<D: Deserializer<'de>>(d: D) -> std::result::Result<Self, D::Error> {
        struct V;
        impl Visitor<'_> for V {
            type Value = Typed;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a number, or text with a unit such as \"6.35mm\" or \"0.25in\"")
            }
            fn visit_f64<E: de::Error>(self, v: f64) -> std::result::Result<Typed, E> {
                Ok(Typed::Number(v))
            }
            fn visit_i64<E: de::Error>(self, v: i64) -> std::result::Result<Typed, E> {
                Ok(Typed::Number(v as f64))
            }
            fn visit_u64<E: de::Error>(self, v: u64) -> std::result::Result<Typed, E> {
                Ok(Typed::Number(v as f64))
            }
            fn visit_str<E: de::Error>(self, v: &str) -> std::result::Result<Typed, E> {
                Ok(Typed::Text(v.to_owned()))
            }
        }
        d.deserialize_any(V)
    }
}

type Length = Option<Spanned<Typed>>;
type Number = Option<Spanned<f64>>;

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawCutter {
    name: Option<String>,
    shape: Option<Shape>,
    diameter: Length,
    corner_radius: Length,
    flutes: Option<Spanned<u32>>,
    helix: Option<Helix>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawCut {
    pattern: Option<Pattern>,
    pass_angle_deg: Number,
    both_ways: Option<bool>,
    stepover: Length,
    stepover_percent: Number,
    depth: Length,
    skim: Length,
    feed: Length,
    speed_rpm: Number,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawPocket {
    width: Length,
    height: Length,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawMaterial {
    kind: Option<Material>,
    grain_angle_deg: Number,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawMachine {
    name: Option<String>,
    screw_lead: Length,
    belt_pitch: Length,
    rack_pitch: Length,
    mount_bolt_spacing: Length,
    z_stiffness_n_per_um: Number,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawLight {
    from_deg: Number,
    elevation_deg: Number,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "lowercase")]
enum PlaneName {
    Rim,
    Floor,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawPoint {
    px: [f64; 2],
    at: [Spanned<Typed>; 2],
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawReference {
    kind: Option<ReferenceKind>,
    plane: Option<PlaneName>,
    points: Vec<RawPoint>,
    mm_per_px: Number,
    card_measured: Length,
    coin: Option<Spanned<String>>,
    ruler: Option<Tick>,
    ruler_edge: Option<Spanned<[[f64; 2]; 2]>>,
    height: Length,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Raw {
    units: Option<LengthUnit>,
    toolpath: Option<String>,
    job: Option<String>,
    cutter: RawCutter,
    second_cutter: Option<RawCutter>,
    cut: RawCut,
    pocket: RawPocket,
    material: RawMaterial,
    machine: RawMachine,
    light: RawLight,
    reference: RawReference,
}

/// Reads a plan file and looks it over.
///
/// Gives the plan in millimetres and the caveats of [`check`](super::check()). A file without `units` is taken in
/// millimetres. Fails at [`Stage::Plan`] on a file that cannot be read or is not TOML, on an unknown key or word (named
/// with its line and the nearest known one), on a number that is negative or not finite, on a stepover given both ways,
/// and on what no cutter can do (stepover above the diameter).
pub fn read(path: &Path) -> Result<(PlannedCut, Vec<Caveat>)> {
    let name = path.display().to_string();
    let plan = parse(&text_of(path)?, &name, LengthUnit::Mm)?;
    let caveats = check(&plan, &name)?;
    Ok((plan, caveats))
}

/// The plan's own text. Fails as [`read`] does.
pub(super) fn text_of(path: &Path) -> Result<String> {
    TextFile { stage: Stage::Plan, option: "--plan", what: "plan" }.read(path)
}

/// A small text file that the user names, and how its faults are told.
pub(super) struct TextFile {
    pub stage: Stage,
    pub option: &'static str,
    pub what: &'static str,
}

impl TextFile {
    pub fn read(&self, path: &Path) -> Result<String> {
        let (name, what) = (path.display().to_string(), self.what);
        let fail = |told: String, hint: String| Error::new(self.stage, name.clone(), told, hint);
        let meta = std::fs::metadata(path).map_err(|e| {
            fail(
                format!("cannot be opened ({e})"),
                format!("check the path given with {}, or leave it out", self.option),
            )
        })?;
        if !meta.is_file() {
            return Err(fail("is not a file".into(), format!("give the {what} itself, not its folder")));
        }
        if meta.len() > MAX_BYTES {
            let kb = meta.len() / 1000;
            let hint = "was another file given in its place?";
            return Err(fail(format!("is {kb} kB, far too long for a {what}"), hint.into()));
        }
        let bytes =
            std::fs::read(path).map_err(|e| fail(format!("cannot be read ({e})"), "check its permissions".into()))?;
        let text = String::from_utf8(bytes).map_err(|_| {
            let hint = format!("save the {what} as plain text; was a photo given in its place?");
            fail("is not text (UTF-8)".into(), hint)
        })?;
        Ok(text.trim_start_matches('\u{feff}').to_owned())
    }
}

/// The text of a plan file into a [`PlannedCut`], not yet looked over; `name` stands in messages, `default` is the unit
/// of bare lengths where the text has no `units`. Fails as [`read`] does, except for what [`check`](super::check())
/// finds.
pub fn parse(text: &str, name: &str, default: LengthUnit) -> Result<PlannedCut> {
    let raw: Raw = toml::from_str(text).map_err(|e| explain_toml(text, name, &e))?;
    let units = raw.units.unwrap_or(default);
    let r = Reader { text, name, units };
    let cut = &raw.cut;
    let (stepover_mm, stepover_percent) = r.stepover(cut)?;
    let size = |a, b, key_a, key_b| -> Result<Option<(f64, f64)>> {
        match (r.length(a, key_a, Sign::Positive)?, r.length(b, key_b, Sign::Positive)?) {
            (Some(a), Some(b)) => Ok(Some((a, b))),
            _ => Ok(None),
        }
    };
    let mut points = vec![];
    for p in &raw.reference.points {
        let at = |k: usize| r.typed(p.at[k].get_ref(), p.at[k].span(), "points", Sign::Any);
        let px = Point::new(p.px[0], p.px[1]);
        if !(px.x.is_finite() && px.y.is_finite()) {
            return Err(r.fail(
                Some(p.at[0].span()),
                "a known point's px is not finite",
                "give the pixel as read off the photo",
            ));
        }
        points.push((px, Point::new(at(0)?, at(1)?)));
    }
    let names = Names { job: raw.job.clone(), machine: raw.machine.name.clone(), cutter: raw.cutter.name.clone() };
    let mut plan = PlannedCut {
        units,
        names: names.or(&Names::default()),
        cutter: r.cutter(&raw.cutter)?,
        second_cutter: raw.second_cutter.as_ref().map(|c| r.cutter(c)).transpose()?,
        pattern: cut.pattern,
        pass_angle_deg: r.number(&cut.pass_angle_deg, "pass_angle_deg", Sign::Any)?,
        both_ways: cut.both_ways,
        stepover_mm,
        stepover_percent,
        depth_mm: r.length(&cut.depth, "depth", Sign::Positive)?,
        skim_mm: r.length(&cut.skim, "skim", Sign::Zero)?,
        feed_mm_min: r.length(&cut.feed, "feed", Sign::Positive)?,
        speed_rpm: r.number(&cut.speed_rpm, "speed_rpm", Sign::Positive)?,
        pocket_mm: size(&raw.pocket.width, &raw.pocket.height, "width", "height")?,
        material: raw.material.kind,
        grain_angle_deg: r.number(&raw.material.grain_angle_deg, "grain_angle_deg", Sign::Any)?,
        machine: r.machine(&raw.machine)?,
        light_from_deg: r.number(&raw.light.from_deg, "from_deg", Sign::Any)?,
        light_elevation_deg: r.number(&raw.light.elevation_deg, "elevation_deg", Sign::Positive)?,
        reference: KnownReference {
            kind: raw.reference.kind,
            points,
            mm_per_px: r.number(&raw.reference.mm_per_px, "mm_per_px", Sign::Positive)?,
            coin: raw.reference.coin.as_ref().map(|c| r.coin(c)).transpose()?,
            tick: raw.reference.ruler,
            edge_px: raw.reference.ruler_edge.as_ref().map(|e| r.edge(e)).transpose()?,
            height_mm: r.length(&raw.reference.height, "height", Sign::Zero)?,
            on_floor: raw.reference.plane.map(|p| matches!(p, PlaneName::Floor)),
            card_measured: r.printed(&raw.reference.card_measured)?,
        },
        toolpath: raw.toolpath.clone(),
        cutting_file: None,
    };
    plan.resolve_stepover();
    Ok(plan)
}

/// What a number may be.
#[derive(Clone, Copy, PartialEq)]
enum Sign {
    Any,
    Zero,
    Positive,
}

struct Reader<'a> {
    text: &'a str,
    name: &'a str,
    units: LengthUnit,
}

impl Reader<'_> {
    fn fail(&self, at: Option<Range<usize>>, what: impl fmt::Display, hint: impl Into<String>) -> Error {
        let line = at.map_or(String::new(), |s| format!("line {}: ", line_of(self.text, s.start)));
        Error::new(Stage::Plan, self.name, format!("{line}{what}"), hint)
    }
    fn signed(&self, v: f64, at: Range<usize>, key: &str, sign: Sign) -> Result<f64> {
        let what = match sign {
            _ if !v.is_finite() => "is not a finite number",
            Sign::Positive if v == 0.0 => "is zero",
            Sign::Positive | Sign::Zero if v < 0.0 => "is negative",
            _ => return Ok(v),
        };
        Err(self.fail(Some(at), format!("{key} {what}"), format!("give {key} as planned, or leave the line out")))
    }
    fn typed(&self, v: &Typed, at: Range<usize>, key: &str, sign: Sign) -> Result<f64> {
        let mm = match v {
            Typed::Number(n) => n * self.units.in_mm(),
            Typed::Text(t) => parse_length(t, self.units).map_err(|e| {
                self.fail(Some(at.clone()), format!("{key}: {e}"), "write a bare number or one with mm or in")
            })?,
        };
        self.signed(mm, at, key, sign)
    }
    fn length(&self, v: &Length, key: &str, sign: Sign) -> Result<Option<f64>> {
        v.as_ref().map(|v| self.typed(v.get_ref(), v.span(), key, sign)).transpose()
    }
    fn number(&self, v: &Number, key: &str, sign: Sign) -> Result<Option<f64>> {
        v.as_ref().map(|v| self.signed(*v.get_ref(), v.span(), key, sign)).transpose()
    }
    /// The printed bars: one length, or `"99.4x99.7mm"`.
    fn printed(&self, v: &Length) -> Result<Option<Printed>> {
        let Some(v) = v else { return Ok(None) };
        let text = match v.get_ref() {
            Typed::Number(n) => n.to_string(),
            Typed::Text(t) => t.clone(),
        };
        let read = Printed::parse(&text, self.units);
        read.map(Some).map_err(|e| self.fail(Some(v.span()), format!("card_measured: {e}"), Printed::HINT))
    }
    fn coin(&self, name: &Spanned<String>) -> Result<Coin> {
        Coin::named(name.get_ref())
            .map_err(|e| self.fail(Some(name.span()), format!("coin: {e}"), "write it as in docs/plan-file.md"))
    }
    fn edge(&self, e: &Spanned<[[f64; 2]; 2]>) -> Result<(Point, Point)> {
        let [a, b] = e.get_ref().map(|p| Point::new(p[0], p[1]));
        if !(a.distance(b) > 0.0 && a.distance(b).is_finite()) {
            let hint = "write two points in photo pixels, such as ruler_edge = [[310, 2140], [2980, 2205]]";
            return Err(self.fail(Some(e.span()), "ruler_edge is not a line", hint));
        }
        Ok((a, b))
    }
    /// (millimetres, percent): one of them, or neither.
    fn stepover(&self, cut: &RawCut) -> Result<(Option<f64>, Option<f64>)> {
        if let (Some(a), Some(_)) = (&cut.stepover, &cut.stepover_percent) {
            return Err(self.fail(
                Some(a.span()),
                "stepover and stepover_percent are both given",
                "keep one of them: a length, or a percentage of the cutter's diameter",
            ));
        }
        if let Some(s) = &cut.stepover {
            if let Typed::Text(t) = s.get_ref()
                && t.trim_end().ends_with('%')
            {
                return match super::facts::parse_stepover(t, self.units) {
                    Ok(Stepover::Percent(p)) => Ok((None, Some(self.signed(p, s.span(), "stepover", Sign::Positive)?))),
                    _ => {
                        Err(self.fail(Some(s.span()), format!("stepover: '{t}' is not a percentage"), "write \"40%\""))
                    }
                };
            }
            return Ok((self.length(&cut.stepover, "stepover", Sign::Positive)?, None));
        }
        Ok((None, self.number(&cut.stepover_percent, "stepover_percent", Sign::Positive)?))
    }
    fn cutter(&self, c: &RawCutter) -> Result<Cutter> {
        if let Some(f) = &c.flutes
            && *f.get_ref() == 0
        {
            return Err(self.fail(
                Some(f.span()),
                "flutes is zero",
                "give the number of cutting edges, or leave it out",
            ));
        }
        Ok(Cutter {
            shape: c.shape,
            diameter_mm: self.length(&c.diameter, "diameter", Sign::Positive)?,
            corner_radius_mm: self.length(&c.corner_radius, "corner_radius", Sign::Zero)?,
            flutes: c.flutes.as_ref().map(|f| *f.get_ref()),
            helix: c.helix,
        })
    }
    fn machine(&self, m: &RawMachine) -> Result<Machine> {
        Ok(Machine {
            screw_lead_mm: self.length(&m.screw_lead, "screw_lead", Sign::Positive)?,
            belt_pitch_mm: self.length(&m.belt_pitch, "belt_pitch", Sign::Positive)?,
            rack_pitch_mm: self.length(&m.rack_pitch, "rack_pitch", Sign::Positive)?,
            mount_bolt_spacing_mm: self.length(&m.mount_bolt_spacing, "mount_bolt_spacing", Sign::Positive)?,
            z_stiffness_n_per_um: self.number(&m.z_stiffness_n_per_um, "z_stiffness_n_per_um", Sign::Positive)?,
        })
    }
}

fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes()[..at.min(text.len())].iter().filter(|b| **b == b'\n').count() + 1
}

/// A parser's message into ours: the line, and for an unknown key or word the nearest known one.
pub(super) fn explain_toml(text: &str, name: &str, e: &toml::de::Error) -> Error {
    let line = e.span().map_or(String::new(), |s| format!("line {}: ", line_of(text, s.start)));
    let message = e.message();
    let words: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
    let (what, hint) = match words.split_first() {
        Some((bad, known)) if message.starts_with("unknown field") => {
            (format!("'{bad}' is not a key here"), nearest(bad, known))
        }
        Some((bad, known)) if message.starts_with("unknown variant") => {
            (format!("'{bad}' is not one of the words this key takes"), nearest(bad, known))
        }
        _ => (message.replace('\n', "; "), "write keys as key = value, words in double quotes".to_owned()),
    };
    Error::new(Stage::Plan, name, format!("{line}{what}"), hint)
}

fn nearest(bad: &str, known: &[&str]) -> String {
    // 0.7 of full likeness (Jaro-Winkler): lower pairs words that share little, higher misses a swapped syllable.
    let best = known.iter().map(|k| (strsim::jaro_winkler(bad, k), *k)).max_by(|a, b| a.0.total_cmp(&b.0));
    match best {
        Some((like, k)) if like > 0.7 => format!("did you mean '{k}'? Known here: {}", known.join(", ")),
        Some(_) => format!("known here: {}", known.join(", ")),
        None => "nothing is known here".to_owned(),
    }
}
