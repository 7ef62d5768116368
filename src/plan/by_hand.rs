//! What a person marked on the photo: the file that `mark.html` saves (`docs/marking.md`).

use super::file::{TextFile, explain_toml};
use crate::caveat::{Caveat, MARKS_OF_ANOTHER_FILE};
use crate::error::{Error, Result, Stage};
use crate::geometry::Point;
use crate::photo::Photo;
use serde::Deserialize;
use std::path::Path;

/// The format written and read.
const FORMAT: u32 = 1;

/// Points and outline marked on one photo.
#[derive(Debug, Clone, PartialEq)]
pub struct ByHand {
    /// The file they stand in, as the user named it.
    name: String,
    photo: RawPhoto,
    pub scale: Option<HandScale>,
    /// Outline of the pocket's floor, photo px; empty without one.
    pub outline_px: Vec<Point>,
}

/// What was marked to give the scale, and where it lies.
#[derive(Debug, Clone, PartialEq)]
pub struct HandScale {
    pub on_floor: bool,
    /// How high its face lies above what it lies on, mm.
    pub height_mm: f64,
    pub known: HandKnown,
}

#[derive(Debug, Clone, PartialEq)]
pub enum HandKnown {
    /// Photo px and millimetres (y down).
    Points(Vec<(Point, Point)>),
    /// Two photo points and the millimetres between them.
    Distance(Point, Point, f64),
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    format: u32,
    photo: RawPhoto,
    reference: Option<RawScale>,
    floor: Option<RawFloor>,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawPhoto {
    file: String,
    width_px: usize,
    height_px: usize,
    sha256: String,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Kind {
    Rectangle,
    Points,
    Distance,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum PlaneName {
    Rim,
    Floor,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawScale {
    kind: Kind,
    plane: PlaneName,
    px: Vec<[f64; 2]>,
    size_mm: Option<[f64; 2]>,
    at_mm: Option<Vec<[f64; 2]>>,
    distance_mm: Option<f64>,
    #[serde(default)]
    height_mm: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFloor {
    outline_px: Vec<[f64; 2]>,
}

impl ByHand {
    /// Reads a file of marks.
    ///
    /// Fails at [`Stage::ByHand`] on a file that cannot be read, is not TOML or of another format, on an unknown key, on
    /// the wrong number of points, on points outside the photo it names, on sizes that are not above zero, and on a file
    /// in which nothing is marked.
    pub fn read(path: &Path) -> Result<Self> {
        let name = path.display().to_string();
        let text = TextFile { stage: Stage::ByHand, option: "--marks", what: "file of marks" }.read(path)?;
        Self::parse(&text, &name)
    }
    /// The text of a file of marks; `name` stands in messages.
    pub fn parse(text: &str, name: &str) -> Result<Self> {
        let again = "save it again from mark.html, or see docs/marking.md";
        let fail = |what: String| Error::new(Stage::ByHand, name, what, again);
        let raw: Raw =
            toml::from_str(text).map_err(|e| Error { stage: Stage::ByHand, ..explain_toml(text, name, &e) })?;
        if raw.format != FORMAT {
            return Err(fail(format!("is of format {}; {FORMAT} is read here", raw.format)));
        }
        let (w, h) = (raw.photo.width_px as f64, raw.photo.height_px as f64);
        let inside = |what: &str, list: &[[f64; 2]]| -> Result<Vec<Point>> {
            list.iter()
                .enumerate()
                .map(|(n, [x, y])| {
                    let good = (-0.5..=w - 0.5).contains(x) && (-0.5..=h - 0.5).contains(y);
                    let told =
                        || fail(format!("{what} {} at ({x}, {y}) lies outside the photo of {w} x {h} px", n + 1));
                    good.then_some(Point::new(*x, *y)).ok_or_else(told)
                })
                .collect()
        };
        let scale = raw
            .reference
            .as_ref()
            .map(|r| {
                let px = inside("point", &r.px)?;
                let known = known(r, &px).map_err(fail)?;
                if !(r.height_mm >= 0.0 && r.height_mm.is_finite()) {
                    return Err(fail("height_mm is below zero".into()));
                }
                Ok(HandScale { on_floor: matches!(r.plane, PlaneName::Floor), height_mm: r.height_mm, known })
            })
            .transpose()?;
        let outline_px = match &raw.floor {
            Some(f) if f.outline_px.len() < 3 => {
                return Err(fail(format!("an outline of {} points does not enclose anything", f.outline_px.len())));
            }
            Some(f) => inside("outline point", &f.outline_px)?,
            None => vec![],
        };
        if scale.is_none() && outline_px.is_empty() {
            return Err(fail("holds neither points for the scale nor an outline".into()));
        }
        Ok(Self { name: name.into(), photo: raw.photo, scale, outline_px })
    }
    /// Whether the marks were made on this photo. A picture of another size is an error, another file of the same size a
    /// caveat (the photo may have been saved again).
    pub fn fits(&self, photo: &Photo) -> Result<Vec<Caveat>> {
        let p = &self.photo;
        if (p.width_px, p.height_px) != (photo.width, photo.height) {
            let what = format!(
                "was made on {} of {} x {} px, but {} has {} x {} px",
                p.file, p.width_px, p.height_px, photo.file, photo.width, photo.height
            );
            let hint = "give the photo that was marked, or mark this one: lowsun mark writes the page";
            return Err(Error::new(Stage::ByHand, &self.name, what, hint));
        }
        if p.sha256 == photo.sha256 {
            return Ok(vec![]);
        }
        let text = format!("The marks were made on {}, which is not the same file as {}.", p.file, photo.file);
        Ok(vec![MARKS_OF_ANOTHER_FILE.with(text)])
    }
}

fn known(r: &RawScale, px: &[Point]) -> std::result::Result<HandKnown, String> {
    let above = |v: f64, name: &str| {
        if v > 0.0 && v.is_finite() { Ok(v) } else { Err(format!("{name} is not above zero")) }
    };
    let count = |n: usize, what: &str| {
        if px.len() == n { Ok(()) } else { Err(format!("{} points are marked, {what} has {n}", px.len())) }
    };
    let together = |at: Vec<Point>| HandKnown::Points(px.iter().copied().zip(at).collect());
    match r.kind {
        Kind::Rectangle => {
            let [w, h] = r.size_mm.ok_or("size_mm is missing")?;
            let (w, h) = (above(w, "size_mm")?, above(h, "size_mm")?);
            count(4, "a rectangle")?;
            Ok(together([(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)].map(|(x, y)| Point::new(x, y)).to_vec()))
        }
        Kind::Points => {
            let at = r.at_mm.as_ref().ok_or("at_mm is missing")?;
            if px.len() < 4 {
                return Err(format!("{} points are marked, four are needed", px.len()));
            }
            count(at.len(), "at_mm")?;
            Ok(together(at.iter().map(|p| Point::new(p[0], p[1])).collect()))
        }
        Kind::Distance => {
            let d = above(r.distance_mm.ok_or("distance_mm is missing")?, "distance_mm")?;
            count(2, "a distance")?;
            if px[0].distance(px[1]) < 1.0 {
                return Err("the two points lie on one spot".into());
            }
            Ok(HandKnown::Distance(px[0], px[1], d))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "format = 1\n[photo]\nfile = \"a.jpg\"\nwidth_px = 800\nheight_px = 600\nsha256 = \"ab\"\n";

    fn scale(kind: &str, px: &str, more: &str) -> String {
        format!("{HEAD}[reference]\nkind = \"{kind}\"\nplane = \"rim\"\npx = {px}\n{more}\n")
    }
    const FOUR: &str = "[[10, 10], [100, 12], [101, 60], [11, 61]]";

    #[test]
    fn a_rectangle_becomes_four_known_points() {
        let text = scale("rectangle", FOUR, "size_mm = [85.6, 53.98]") + "[floor]\noutline_px = [[1,1],[9,1],[5,9]]\n";
        let m = ByHand::parse(&text, "m.toml").unwrap();
        let scale = m.scale.unwrap();
        let HandKnown::Points(p) = scale.known else { panic!("{:?}", scale.known) };
        assert_eq!(p[2], (Point::new(101.0, 60.0), Point::new(85.6, 53.98)));
        assert_eq!((m.outline_px.len(), scale.on_floor), (3, false));
    }
    #[test]
    fn what_cannot_be_is_named() {
        let refused = |text: &str, word: &str| {
            let e = ByHand::parse(text, "m.toml").unwrap_err();
            assert!(e.stage == Stage::ByHand && e.to_string().contains(word), "{e} / {word}");
        };
        refused(HEAD, "neither points");
        refused(&HEAD.replace("format = 1", "format = 2"), "format 2");
        refused(&HEAD.replace("sha256", "sha265"), "sha256");
        refused(&scale("rectangle", "[[1, 1], [2, 2]]", "size_mm = [1, 2]"), "2 points are marked");
        refused(&scale("rectangle", FOUR, ""), "size_mm is missing");
        refused(&scale("rectangle", FOUR, "size_mm = [0, 3]"), "not above zero");
        refused(&scale("rectangle", "[[900, 10], [100, 12], [101, 60], [11, 61]]", "size_mm = [1, 2]"), "outside");
        refused(&scale("rectangle", "[[nan, 10], [100, 12], [101, 60], [11, 61]]", "size_mm = [1, 2]"), "outside");
        refused(&scale("distance", "[[5, 5], [5, 5]]", "distance_mm = 3"), "one spot");
        refused(&scale("points", FOUR, "at_mm = [[0, 0]]"), "4 points are marked, at_mm has 1");
        refused(&format!("{HEAD}[floor]\noutline_px = [[1, 1], [2, 2]]\n"), "does not enclose");
    }
}
