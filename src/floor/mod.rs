//! Room 5: which pixels are lit, sharp pocket floor; the walls' shadow; the lamp's side and height.

mod blur;
mod cut;
mod islands;
mod light;
mod lit;
mod outline;
mod rectangle;
mod region;
mod round;
mod runs;
mod search;
mod settle;
mod shadow;
mod square;

pub use cut::bounds;

use crate::caveat;
use crate::caveat::Caveat;
use crate::error::{Error, Result, Stage};
use crate::geometry::{PlaneMap, Point};
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::raster::Mask;
use crate::rectify::{FloorFrame, FloorView};
use crate::reference::Reference;
use crate::units::Measured;
use crate::units::wrap_180;
use serde::Serialize;

#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Outline given by the user, photo pixels; three or more points.
    pub outline_px: Vec<Point>,
    /// Lamp given by the user.
    pub light_from_deg: Option<f64>,
    pub light_elevation_deg: Option<f64>,
}

/// How the lamp's place is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LightSource {
    Given,
    WallShadow,
}

/// The lamp: direction the light comes from (floor frame, degrees) and elevation above the floor at its middle.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, schemars::JsonSchema)]
pub struct Light {
    pub from_deg: Option<Measured>,
    pub elevation_deg: Option<Measured>,
    pub source: Option<LightSource>,
}

/// The lit floor, ready to be measured.
#[derive(Debug, Clone)]
pub struct Patch {
    /// Full-resolution piece of the floor plane that holds the whole outline.
    pub view: FloorView,
    /// True where `view` shows lit, sharp, flat pocket floor (walls, shadows, letters, card, chips, clipped left out).
    pub mask: Mask,
    /// Outline of the pocket's floor, floor frame and photo pixels, same points.
    pub outline: Vec<Point>,
    pub outline_px: Vec<Point>,
    /// Outlines of what stands inside (letters, islands, card), floor frame.
    pub islands: Vec<Vec<Point>>,
    /// Direction of the pocket's own +x (its width) in the floor frame, degrees, where the outline shows straight walls.
    pub pocket_x_deg: Option<f64>,
    pub light: Light,
    /// True where the outline was given, false where it was found.
    pub outline_given: bool,
    /// True where no outline could be found and the whole picture was taken for the floor.
    pub outline_assumed: bool,
    /// Area of the used floor, floor-frame units squared.
    pub area: f64,
    /// Used share of the area inside the outline.
    pub used_fraction: f64,
    /// Share of the floor inside the outline that is burnt out / black.
    pub burnt_fraction: f64,
    pub black_fraction: f64,
    /// Width of the blur of the sharpest edges around the floor (one-sigma of a Gaussian edge), photo pixels.
    pub blur_px: Option<f64>,
    /// Mean linear luminance of the lit floor over that of the walls' shadow: 1 = no shadow at all.
    pub shadow_contrast: Option<f64>,
    /// How the outline was found, for the reader: one short sentence.
    pub how: String,
}

impl Patch {
    /// A piece of floor from elsewhere, all of it lit and used: nothing is known of the lamp, the outline is that of the
    /// samples (given, not found), the pocket's +x is the view's. `outline_px` is empty.
    pub fn whole(view: FloorView) -> Self {
        let (w, h) = (view.luma.width, view.luma.height);
        let (right, low) = (w as f64 - 1.0, h as f64 - 1.0);
        Self {
            mask: Mask::new(w, h, true),
            outline: [(0.0, 0.0), (right, 0.0), (right, low), (0.0, low)].map(|(i, j)| view.to_floor(i, j)).to_vec(),
            outline_px: Vec::new(),
            islands: Vec::new(),
            pocket_x_deg: Some(0.0),
            light: Light::default(),
            outline_given: true,
            outline_assumed: false,
            area: (w * h) as f64 * view.step * view.step,
            used_fraction: 1.0,
            burnt_fraction: 0.0,
            black_fraction: 0.0,
            blur_px: None,
            shadow_contrast: None,
            how: String::new(),
            view,
        }
    }

    /// Least and largest place of the outline along a direction of the floor frame, degrees.
    pub fn reach(&self, deg: f64) -> (f64, f64) {
        let (s, c) = deg.to_radians().sin_cos();
        let along = self.outline.iter().map(|p| p.x * c + p.y * s);
        (along.clone().fold(f64::INFINITY, f64::min), along.fold(f64::NEG_INFINITY, f64::max))
    }
    /// Width of the outline along a direction of the floor frame, degrees.
    pub fn width(&self, deg: f64) -> f64 {
        let (from, to) = self.reach(deg);
        to - from
    }
}

/// Finds the floor. Fails when nothing in the photo can be a lit floor at all (all black, all burnt out, too small).
pub fn find(
    photo: &Photo,
    frame: &FloorFrame,
    references: &[Reference],
    plan: &PlannedCut,
    options: &Options,
) -> Result<(FloorFrame, Patch, Vec<Caveat>)> {
    refuse_hopeless(photo)?;
    let mut caveats = Vec::new();
    let outline_given = options.outline_px.len() >= 3;
    let mut found = if outline_given { None } else { outline::find(photo, frame, references, plan) };
    let outline_assumed = !outline_given && found.is_none();
    let level = found.as_mut().and_then(|f| {
        let level = square::squared(photo, frame, &f.corners)?;
        // Walls cast shadows; a figure in a pattern does not.
        let outline_px: Vec<Point> = f.outline.iter().map(|p| frame.to_px.forward(*p)).collect();
        let piece = cut::piece(photo, &level, &outline_px).ok()?;
        light::cast(&piece, &lit::shade(photo, &level, references, plan, &piece))?;
        f.carry(&frame.to_px, &level.to_px);
        Some(level)
    });
    let old = level.as_ref().unwrap_or(frame);
    let (plain, axis, how) = match &found {
        Some(f) => (f.plain, f.axis, f.how.clone()),
        None if outline_given => (true, None, "the outline was given".to_owned()),
        None => (false, None, "the whole photo was taken as floor".to_owned()),
    };
    // What was seen is the rim; the floor's outline has the same x and y, lower.
    let seen = |map: &PlaneMap| found.as_ref().map(|f| f.outline.iter().map(|p| map.forward(*p)).collect::<Vec<_>>());
    let given = || if outline_given { options.outline_px.clone() } else { whole_photo(photo) };
    let middle_px = centroid(&seen(old.rim()).unwrap_or_else(given));
    let outline_px = seen(&old.to_px).unwrap_or_else(given);
    let frame = old.aligned_at(middle_px);
    let pocket_x_deg = axis.map(|a| {
        let ahead = old.to_px.forward(old.to_px.backward(middle_px) + Point::new(a.cos(), a.sin()));
        let d = frame.to_px.backward(ahead) - frame.to_px.backward(middle_px);
        wrap_180(d.y.atan2(d.x).to_degrees())
    });
    let piece = cut::piece(photo, &frame, &outline_px)?;
    let mut shade = lit::shade(photo, &frame, references, plan, &piece);
    let cast = if outline_assumed { None } else { light::cast(&piece, &shade) };
    let tops = match cast {
        Some(cast) => islands::find(&piece, &mut shade, cast),
        None => islands::Tops::none(&piece),
    };
    let (mask, used_fraction) = lit::used(&piece, &shade, &tops.all);
    let given = (options.light_from_deg, options.light_elevation_deg);
    let light = light::measure(given, plan, frame.scale.is_some(), plain, &piece, cast);
    let mut lines = vec![piece.outline.iter().map(|p| frame.rim().forward(*p)).collect::<Vec<_>>()];
    lines.extend(references.iter().map(|r| r.outline_px.clone()));
    let patch = Patch {
        area: mask.count() as f64 * piece.view.step.powi(2),
        used_fraction,
        burnt_fraction: shade.burnt_fraction,
        black_fraction: shade.black_fraction,
        mask,
        islands: islands::outlines(&piece, &tops.standing),
        view: piece.view,
        outline: piece.outline,
        outline_px,
        pocket_x_deg,
        light,
        outline_given,
        outline_assumed,
        blur_px: blur::edge_sigma(photo, &lines),
        shadow_contrast: shade.contrast,
        how,
    };
    caveats.extend(doubts(&patch, outline_assumed));
    Ok((frame, patch, caveats))
}

/// What speaks against the floor's figures.
fn doubts(patch: &Patch, outline_assumed: bool) -> Vec<Caveat> {
    let mut all = Vec::new();
    if outline_assumed {
        all.push(caveat::OUTLINE_ASSUMED.plain());
    }
    // A fifth: half of what a usual pocket leaves beside a low lamp's shadow.
    if patch.used_fraction < 0.2 {
        let share = patch.used_fraction * 100.0;
        all.push(
            caveat::LITTLE_FLOOR_LEFT.with(format!("Only {share:.0} % of the pocket's area shows lit, free floor.")),
        );
    }
    if patch.burnt_fraction > 0.2 {
        let share = patch.burnt_fraction * 100.0;
        all.push(caveat::FLOOR_BURNT.with(format!("{share:.0} % of the floor is burnt out to white.")));
    }
    // Above 35 degrees a slope of 1:100 changes the light by under 1.5 %, as much as plain wood does.
    let high = patch.light.elevation_deg.filter(|e| e.value > 35.0);
    if let Some(e) = high {
        let text = format!("The lamp stands {:.0} degrees above the floor; raking light comes from 5 to 20.", e.value);
        all.push(caveat::LAMP_HIGH_OR_DIFFUSE.with(text));
    } else if !outline_assumed && patch.light.source.is_none() {
        all.push(caveat::LAMP_HIGH_OR_DIFFUSE.plain());
    }
    all
}

/// A photo in which no floor can be seen, whatever is in it.
fn refuse_hopeless(photo: &Photo) -> Result<()> {
    let refuse = |what: String, hint: &str| Err(Error::new(Stage::Floor, photo.file.clone(), what, hint));
    // 64 px: eight ridges of the finest kind that can be told apart (8 px each); under that nothing can be measured.
    if photo.width.min(photo.height) < 64 {
        let what = format!("the photo is {} x {} px: too small to show a floor", photo.width, photo.height);
        return refuse(what, "use the photo as the camera saved it, at least 1000 px on its shorter side");
    }
    // One pixel in 97 (a prime, so that they do not fall into columns) tells a share to a tenth of a per cent.
    let some = || photo.luma.data.iter().step_by(97);
    let share = |f: fn(f32) -> bool| some().filter(|v| f(**v)).count() as f64 / some().count().max(1) as f64;
    if share(|v| v < lit::BLACK) > 0.98 {
        let what = "almost every pixel is black".to_owned();
        return refuse(
            what,
            "light the floor from one side with a lamp held low, and let the camera expose for the floor",
        );
    }
    if share(|v| v >= lit::BURNT) > 0.98 {
        let what = "almost every pixel is burnt out to white".to_owned();
        return refuse(what, "expose for the floor: touch it on the phone's screen, or move the lamp away");
    }
    Ok(())
}

/// The photo's frame less 1 % on each side.
fn whole_photo(photo: &Photo) -> Vec<Point> {
    let (w, h) = (photo.width as f64 - 1.0, photo.height as f64 - 1.0);
    let m = 0.01 * w.min(h);
    vec![Point::new(m, m), Point::new(w - m, m), Point::new(w - m, h - m), Point::new(m, h - m)]
}

/// Middle of a polygon's area.
fn centroid(polygon: &[Point]) -> Point {
    let n = polygon.len();
    let (mut c, mut a) = (Point::default(), 0.0);
    for i in 0..n {
        let (p, q) = (polygon[i], polygon[(i + 1) % n]);
        let k = p.x * q.y - q.x * p.y;
        c = c + (p + q) * k;
        a += k;
    }
    if a.abs() > 1e-9 {
        c * (1.0 / (3.0 * a))
    } else {
        polygon.iter().fold(Point::default(), |s, p| s + *p) * (1.0 / n as f64)
    }
}
