//! Flags of everything that looks at a photo, into facts of the plan and options of the rooms.

use clap::{Args, ValueEnum};
use lowsun::card::Printed;
use lowsun::error::{Error, Result, Stage};
use lowsun::geometry::Point;
use lowsun::pipeline;
use lowsun::plan::{ByHand, Coin, HandKnown, Helix, Pattern, PlanFacts, ReferenceKind, Shape, Tick};
use lowsun::reference::Level;
use lowsun::trace::Trace;
use lowsun::units::{LengthUnit, parse_length, wrap_360};
use std::path::{Path, PathBuf};

/// Flags of everything that looks at a photo.
#[derive(Debug, Args)]
pub struct Look {
    /// A known point: photo pixels = millimetres. Four or more, no three on one line.
    #[arg(long = "point", value_name = "PX,PY=MM_X,MM_Y", allow_hyphen_values = true, help_heading = "Scale")]
    pub points: Vec<String>,
    /// What was marked by hand on mark.html: points for the scale, the floor's outline. Other flags here win over it.
    #[arg(long, value_name = "FILE", help_heading = "Scale", conflicts_with_all = ["points", "mm_per_px"])]
    pub marks: Option<PathBuf>,
    /// Scale of a flat scan, millimetres per pixel.
    #[arg(long, value_name = "MM", allow_hyphen_values = true, help_heading = "Scale", conflicts_with = "points")]
    pub mm_per_px: Option<f64>,
    /// Length of the 100 mm bars that were printed with the card, as you measured it; x and y apart as 99.4x99.7mm.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true, help_heading = "Scale")]
    pub card_measured: Option<String>,
    /// What gives the scale; nothing else is then looked for [default: whatever is found].
    #[arg(long, value_name = "WHAT", help_heading = "Scale")]
    pub reference: Option<ReferenceKind>,
    /// The coin that lies beside the pocket, such as "1 EUR" or "US quarter". Without a name no coin is used.
    #[arg(long, value_name = "NAME", help_heading = "Scale")]
    pub coin: Option<String>,
    /// What neighbouring ticks of the rule are apart, where the photo leaves it open.
    #[arg(long, value_name = "TICKS", help_heading = "Scale")]
    pub ruler: Option<Tick>,
    /// Two points on the rule's ticked edge, photo pixels [default: looked for].
    #[arg(long, value_names = ["X1,Y1", "X2,Y2"], num_args = 2, help_heading = "Scale")]
    pub ruler_edge: Vec<String>,
    /// How high the reference's face lies above what it lies on; for a printed card on a board, the board's and the paper's
    /// thickness [default: 0.1mm printed card, 0.76mm bank card, the coin's thickness, 0.8mm rule].
    #[arg(long, value_name = "LENGTH", help_heading = "Scale")]
    pub reference_height: Option<String>,
    /// Where the card or the known points lie.
    #[arg(long, value_name = "WHERE", help_heading = "Scale")]
    pub reference_on: Option<Plane>,
    /// Do not look for a card in the photo.
    #[arg(long, help_heading = "Scale")]
    pub no_card_search: bool,

    /// Outline of the pocket's floor, photo pixels: "x,y x,y x,y ...".
    #[arg(long, value_name = "POINTS", allow_hyphen_values = true, help_heading = "Floor and lamp")]
    pub outline: Option<String>,
    /// Where the light comes from: left, right, above, below (in the photo), or degrees (0 = right, 90 = below).
    #[arg(long, value_name = "SIDE", allow_hyphen_values = true, help_heading = "Floor and lamp")]
    pub light_from: Option<String>,
    /// Height of the lamp over the floor, degrees.
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, help_heading = "Floor and lamp")]
    pub light_elevation: Option<f64>,

    /// Cutter diameter, such as 6.35mm or 1/4in.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true, help_heading = "Planned cut")]
    pub cutter: Option<String>,
    /// Shape of the cutter's end.
    #[arg(long, help_heading = "Planned cut")]
    pub shape: Option<Shape>,
    /// Hand of the cutter's helix.
    #[arg(long, help_heading = "Planned cut")]
    pub helix: Option<Helix>,
    /// Stepover, as a length or as a share of the diameter such as 40%.
    #[arg(long, value_name = "LENGTH|PERCENT", allow_hyphen_values = true, help_heading = "Planned cut")]
    pub stepover: Option<String>,
    /// Depth of the pocket.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true, help_heading = "Planned cut")]
    pub depth: Option<String>,
    /// How the passes run.
    #[arg(long, help_heading = "Planned cut")]
    pub pattern: Option<Pattern>,
    /// Outer size of a rectangular pocket, such as 116x76mm.
    #[arg(long, value_name = "WxH", allow_hyphen_values = true, help_heading = "Planned cut")]
    pub pocket: Option<String>,
    /// The cutting file that the machine ran (RS274/NGC): stepover, pattern, depth, feed and speed are read from it.
    #[arg(long, value_name = "FILE", help_heading = "Planned cut")]
    pub toolpath: Option<PathBuf>,
    /// Unit of bare lengths on the command line and of the report [default: the plan's, else mm].
    #[arg(long, help_heading = "Planned cut")]
    pub units: Option<LengthUnit>,

    /// Largest accepted photo, megapixels [default: 200].
    #[arg(long, value_name = "MP", help_heading = "Looking inside")]
    pub max_megapixels: Option<f64>,
    /// Print the time of every stage on standard error.
    #[arg(long, help_heading = "Looking inside")]
    pub timings: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub enum Plane {
    /// On the stock, beside the pocket.
    Rim,
    /// In the pocket, on its floor.
    Floor,
}

impl Look {
    /// The facts of the planned cut that were given one by one.
    pub fn facts(&self) -> PlanFacts {
        PlanFacts {
            units: self.units,
            cutter: self.cutter.clone(),
            shape: self.shape,
            helix: self.helix,
            stepover: self.stepover.clone(),
            depth: self.depth.clone(),
            pattern: self.pattern,
            pocket: self.pocket.clone(),
            toolpath: self.toolpath.clone(),
            ..PlanFacts::default()
        }
    }
    /// Options of the rooms. Fails at [`Stage::Arguments`] on a value that cannot be read or cannot be true.
    pub fn options(&self) -> Result<pipeline::Options> {
        let mut o = pipeline::Options::default();
        if let Some(mp) = self.max_megapixels {
            positive("--max-megapixels", mp)?;
            o.photo.max_pixels = (mp * 1e6) as u64;
        }
        o.reference.points = self.points.iter().map(|t| known_point(t)).collect::<Result<_>>()?;
        if let Some(s) = self.mm_per_px {
            positive("--mm-per-px", s)?;
        }
        o.reference.mm_per_px = self.mm_per_px;
        if let Some(path) = &self.marks {
            o.by_hand = Some(marked(path, &mut o)?);
        }
        match self.reference_on {
            Some(Plane::Rim) => o.reference.level = Some(Level::Rim),
            Some(Plane::Floor) => o.reference.level = Some(Level::Floor),
            None => {}
        }
        o.reference.no_search = self.no_card_search;
        o.reference.card_measured = measured(self.card_measured.as_deref(), self.units)?;
        o.reference.kind = self.reference;
        o.reference.coin = self.coin.as_deref().map(coin).transpose()?;
        o.reference.tick = self.ruler;
        o.reference.edge_px = if self.ruler_edge.is_empty() { None } else { Some(edge(&self.ruler_edge)?) };
        if let Some(t) = &self.reference_height {
            o.reference.height_mm = Some(height(t)?);
        }
        if let Some(t) = &self.outline {
            o.floor.outline_px = outline(t)?;
        }
        o.floor.light_from_deg = self.light_from.as_deref().map(side).transpose()?;
        if let Some(e) = self.light_elevation.filter(|e| !(*e > 0.0 && *e < 90.0)) {
            return Err(bad(
                "--light-elevation",
                format!("{e} is not between 0 and 90 degrees"),
                "give the lamp's height over the floor in degrees, such as 12",
            ));
        }
        o.floor.light_elevation_deg = self.light_elevation;
        Ok(o)
    }
    /// Prints the time of every stage on standard error, where it was asked for.
    pub fn timings(&self, trace: &Trace) {
        if !self.timings {
            return;
        }
        for (stage, took) in trace.stamps() {
            eprintln!("{stage:>12} {:>8.1} ms", took.as_secs_f64() * 1e3);
        }
        let total: f64 = trace.stamps().iter().map(|s| s.1.as_secs_f64()).sum();
        eprintln!("{:>12} {:>8.1} ms", "total", total * 1e3);
    }
}

/// The file of marks, and what it says in the rooms' options.
fn marked(path: &Path, o: &mut pipeline::Options) -> Result<ByHand> {
    let by_hand = ByHand::read(path)?;
    if let Some(scale) = &by_hand.scale {
        o.reference.height_mm = Some(scale.height_mm);
        o.reference.level = Some(if scale.on_floor { Level::Floor } else { Level::Rim });
        match &scale.known {
            HandKnown::Points(p) => o.reference.points = p.clone(),
            HandKnown::Distance(a, b, mm) => o.reference.distance = Some((*a, *b, *mm)),
        }
    }
    o.floor.outline_px = by_hand.outline_px.clone();
    Ok(by_hand)
}

fn bad(option: &str, what: String, hint: &str) -> Error {
    Error::new(Stage::Arguments, option, what, hint)
}

fn measured(text: Option<&str>, units: Option<LengthUnit>) -> Result<Option<Printed>> {
    let Some(t) = text else { return Ok(None) };
    let read = Printed::parse(t, units.unwrap_or_default());
    read.map(Some).map_err(|e| bad("--card-measured", e, Printed::HINT))
}

fn positive(option: &str, value: f64) -> Result<()> {
    if value > 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(bad(option, format!("{value} is not above zero"), "give a number above zero"))
}

fn pair(text: &str, read: impl Fn(&str) -> Option<f64>) -> Option<Point> {
    let (x, y) = text.trim().split_once(',')?;
    Some(Point::new(read(x)?, read(y)?))
}

fn pixels(text: &str) -> Option<f64> {
    text.trim().parse().ok().filter(|v: &f64| v.is_finite())
}

fn known_point(text: &str) -> Result<(Point, Point)> {
    let read = || {
        let (px, mm) = text.split_once('=')?;
        Some((pair(px, pixels)?, pair(mm, |t| parse_length(t, LengthUnit::Mm).ok())?))
    };
    read().ok_or_else(|| {
        let what = format!("'{text}' is not a known point");
        bad("--point", what, "write photo pixels = millimetres, such as --point 812,455=0,0 --point 3120,470=85.6,0")
    })
}

fn coin(name: &str) -> Result<Coin> {
    Coin::named(name).map_err(|e| bad("--coin", e, "write it as docs/plan-file.md lists it, such as --coin \"1 EUR\""))
}

fn height(text: &str) -> Result<f64> {
    let hint = "write a length such as 1.2mm";
    match parse_length(text, LengthUnit::Mm) {
        Ok(h) if h >= 0.0 => Ok(h),
        Ok(_) => Err(bad("--reference-height", format!("'{text}' is below zero"), hint)),
        Err(e) => Err(bad("--reference-height", e, hint)),
    }
}

fn edge(ends: &[String]) -> Result<(Point, Point)> {
    match (pair(&ends[0], pixels), ends.get(1).and_then(|t| pair(t, pixels))) {
        (Some(a), Some(b)) if a.distance(b) > 0.0 => Ok((a, b)),
        _ => Err(bad(
            "--ruler-edge",
            format!("'{}' is not a line", ends.join(" ")),
            "write two points in photo pixels, such as --ruler-edge 310,2140 2980,2205",
        )),
    }
}

fn outline(text: &str) -> Result<Vec<Point>> {
    let hint = "write three or more points in photo pixels, such as --outline \"820,610 2950,640 2930,2080 800,2040\"";
    let points: Option<Vec<Point>> = text.split_whitespace().map(|t| pair(t, pixels)).collect();
    match points {
        Some(p) if p.len() >= 3 => Ok(p),
        Some(p) => Err(bad("--outline", format!("{} points do not enclose anything", p.len()), hint)),
        None => Err(bad("--outline", format!("'{text}' is not a list of points"), hint)),
    }
}

/// A side of the photo by word or angle, degrees. Fails at [`Stage::Arguments`].
pub fn side(text: &str) -> Result<f64> {
    let deg = match text.trim().to_ascii_lowercase().as_str() {
        "right" => Some(0.0),
        "below" => Some(90.0),
        "left" => Some(180.0),
        "above" => Some(270.0),
        number => pixels(number).map(wrap_360),
    };
    deg.ok_or_else(|| {
        let what = format!("'{text}' is neither a side nor an angle");
        bad("--light-from", what, "write left, right, above or below, or degrees (0 = from the right, 90 = from below)")
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn known_points_and_outlines_are_read_as_written() {
        let (px, mm) = known_point("812,455.5=-3,1in").unwrap();
        assert_eq!((px, mm), (Point::new(812.0, 455.5), Point::new(-3.0, 25.4)));
        assert_eq!(outline("1,2 3,4  5,6").unwrap()[2], Point::new(5.0, 6.0));
        assert!(known_point("812,455").is_err() && outline("1,2 3,4").is_err() && outline("1,2 3 4,5").is_err());
    }
    #[test]
    fn sides_are_told_by_word_or_angle() {
        assert_eq!(side("Left").unwrap(), 180.0);
        assert_eq!(side("-90").unwrap(), 270.0);
        assert!(side("behind").is_err() && side("nan").is_err());
    }
}
