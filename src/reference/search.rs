//! The search for a reference in the photo itself.

use super::edges::{Edges, edges};
use super::figure::{CARD, CARD_THICKNESS_MM, Candidate, Figure, examine, refit};
use super::lines::{Line, lines};
use super::pocket::{agrees, holds_card, rim, rim_quads, rims};
use super::profile::Profiler;
use super::quads::{Camera, Quad, quads};
use super::three::completed;
use super::{ASSUMED_F35_RELATIVE, CAMERA_F35_RELATIVE, Level, Reference, Source, assumed_focal_px};
use crate::caveat;
use crate::caveat::Caveat;
use crate::geometry::Point;
use crate::photo::Photo;
use crate::plan::PlannedCut;
use crate::units::Measured;
use rayon::prelude::*;

/// Shortest side of a card looked for, px of the reduced picture: 3.5 % of its long side. On a smaller card the rounding of
/// the corners cannot be told.
const LEAST_SIDE: f64 = 30.0;

/// Largest deviation of log aspect and corner cosine of a quad of the reduced picture, and most quads looked at closely.
const COARSE_SHAPE: f64 = 0.06;
const MOST_QUADS: usize = 120;
const MOST_COMPLETED: usize = 60;

/// What makes a candidate a card: least mean share of the corner arcs that show an edge of radius 3.18 mm, least share of
/// one corner, least mean share of the sides and of one side. Practice photos: cards 0.93 and more, 0.7, 0.89, 0.6; the
/// best figure that is none 0.55, 0, 1.0, 0.96. The limits lie nearer to the cards: a wrong scale is worse than none.
const CORNER_SHARE: f64 = 0.75;
const ONE_CORNER: f64 = 0.4;
const SIDE_SHARE: f64 = 0.8;
const ONE_SIDE: f64 = 0.5;

/// Largest rms of the edge points about the outline, mm: the sides of a card are straight to a twentieth.
const LARGEST_RMS_MM: f64 = 0.06;

/// One sigma of a card's own size: ISO/IEC 7810 allows 85.47 to 85.72 mm and 53.92 to 54.03 mm, +-0.15 % and +-0.1 %.
const SIZE_RELATIVE: f64 = 0.001;

/// Doubt of the first radial distortion coefficient k1 (x_d = x (1 + k1 r^2), r in focal lengths) about zero: phones
/// correct their main lens to under 2 % at the corner (common practice, no source). A larger value lets one card's noise
/// bend the whole photo, a smaller one hides a lens that is not corrected.
const DISTORTION_SIGMA: f64 = 0.012;

/// Looks for an ID-1 card (if `card`), else for the planned pocket's rim.
pub fn search(photo: &Photo, plan: &PlannedCut, level: Option<Level>, card: bool) -> (Option<Reference>, Vec<Caveat>) {
    let Some(edges) = edges(photo) else { return (None, vec![]) };
    let camera = camera(photo);
    let reduced = Camera {
        focal_px: camera.focal_px / edges.k as f64,
        relative: camera.relative,
        centre: Point::new(edges.reduced(camera.centre.x), edges.reduced(camera.centre.y)),
        ..camera
    };
    let profiler = Profiler::new(photo);
    let lines = lines(&edges);
    let reach_px = 2.0 * edges.k as f64 + 3.0;
    let rim = rim(plan);
    let rims_seen = rim.as_ref().map(|r| rim_quads(&edges, &lines, &reduced, r)).unwrap_or_default();
    let found = if card { find_card(&edges, &lines, &profiler, &camera, &reduced, reach_px) } else { None };
    let pocket = rim.as_ref().and_then(|figure| {
        // Beside a card only the quads of its own scale can be the rim.
        let fits = |q: &&Quad| found.as_ref().is_none_or(|c| agrees(&c.fitted.view, q, figure, &camera));
        let some: Vec<Quad> = rims_seen.iter().filter(fits).take(if card { 12 } else { 60 }).cloned().collect();
        rims(&profiler, &some, figure, &camera, reach_px).into_iter().find(is_rim)
    });
    match (found, pocket, rim) {
        (Some(mut c), pocket, figure) => {
            if let Some(again) = pocket.as_ref().and_then(|p| {
                // The rim's long straight edges know the lens better than the card does; its size is left out.
                let own = Camera { k1: p.fitted.k1(), ..camera };
                refit(&profiler, &c, CARD.outline, &own)
            }) {
                c = again;
            }
            let (level, caveats) = card_level(&c, level, &rims_seen, figure.as_ref(), &camera);
            (as_reference(photo, &c, &CARD, level), caveats)
        }
        (None, Some(p), Some(figure)) => (as_reference(photo, &p, &figure, Level::Rim), vec![]),
        _ => (None, vec![]),
    }
}

/// Which plane a card lies on: as the user says, else inside or beside the planned pocket's rim, else the rim is assumed.
fn card_level(
    card: &Candidate,
    given: Option<Level>,
    rims: &[Quad],
    figure: Option<&Figure>,
    camera: &Camera,
) -> (Level, Vec<Caveat>) {
    if let Some(level) = given {
        return (level, vec![]);
    }
    match figure.and_then(|f| holds_card(&card.fitted.view, rims, f, camera)) {
        Some(inside) => (if inside { Level::Floor } else { Level::Rim }, vec![]),
        None => {
            let text = "The card was taken to lie on the stock's top face; no rim of the planned pocket's size was seen \
                        to lie round or beside it.";
            (Level::Rim, vec![caveat::REFERENCE_LEVEL_ASSUMED.with(text)])
        }
    }
}

fn camera(photo: &Photo) -> Camera {
    let centre = Point::new((photo.width as f64 - 1.0) / 2.0, (photo.height as f64 - 1.0) / 2.0);
    let k1 = (0.0, DISTORTION_SIGMA);
    match photo.focal_px() {
        Some(focal_px) => Camera { focal_px, relative: CAMERA_F35_RELATIVE, centre, k1 },
        None => Camera { focal_px: assumed_focal_px(photo), relative: ASSUMED_F35_RELATIVE, centre, k1 },
    }
}

/// The best figure that passes as a card: of four straight edges, else of three and a fourth that is broken.
fn find_card(
    edges: &Edges,
    lines: &[Line],
    profiler: &Profiler,
    camera: &Camera,
    reduced: &Camera,
    reach_px: f64,
) -> Option<Candidate> {
    let size = (CARD.outline.width, CARD.outline.height);
    let best = |found: &[Quad]| best_card(found, edges, profiler, camera, reach_px);
    best(&quads(lines, reduced, size, LEAST_SIDE, COARSE_SHAPE, MOST_QUADS)).or_else(|| {
        let mut some = completed(edges, lines, reduced, size, LEAST_SIDE, COARSE_SHAPE, MOST_COMPLETED);
        some.retain(|q| stands_out(q, edges));
        // Three sides say less than four: only a card seen in every corner and all along will do.
        best(&some).filter(|c| c.quality() > FULL_SCORE)
    })
}

/// Whether the mean colour differs between a strip just inside and one just outside of every side: a card is another
/// thing than what it lies on, while a piece of a grid of lines is not.
fn stands_out(q: &Quad, edges: &Edges) -> bool {
    let middle = q.corners.iter().fold(Point::default(), |a, p| a + *p) * 0.25;
    (0..4).all(|k| {
        let (a, b) = (q.corners[k], q.corners[(k + 1) % 4]);
        let t = STRIP_PX / a.lerp(b, 0.5).distance(middle).max(1.0);
        let [inside, outside] = [t, -t].map(|t| edges.mean_colour(a.lerp(middle, t), b.lerp(middle, t), 40));
        (0..3).map(|c| (inside[c] - outside[c]).powi(2)).sum::<f64>().sqrt() > OTHER_COLOUR
    })
}

/// How far the strips lie from the side, reduced px: clear of the edge's own blur.
const STRIP_PX: f64 = 4.0;
/// Least difference of the mean colours, log units (about the same as a fraction of the light): paper under grid lines
/// differs by under 0.02 from square to square; white card on pale wood by 0.1 and more.
const OTHER_COLOUR: f64 = 0.05;

fn best_card(found: &[Quad], edges: &Edges, profiler: &Profiler, camera: &Camera, reach_px: f64) -> Option<Candidate> {
    // A few at a time: the best quads come first, and a full score cannot be beaten.
    let mut best: Option<Candidate> = None;
    for some in found.chunks(8) {
        let here = some
            .par_iter()
            .filter_map(|q| {
                let corners = q.corners.map(|c| Point::new(edges.full(c.x), edges.full(c.y)));
                examine(profiler, &Quad { corners, ..q.clone() }, &CARD, camera, reach_px)
            })
            .filter(is_card)
            .max_by(|a, b| a.quality().total_cmp(&b.quality()));
        if here.as_ref().map_or(-1.0, Candidate::quality) > best.as_ref().map_or(-1.0, Candidate::quality) {
            best = here;
        }
        if best.as_ref().is_some_and(|b| b.quality() > FULL_SCORE) {
            break;
        }
    }
    best
}

/// Quality (2 = every place of every side and corner) above which no better card is looked for.
const FULL_SCORE: f64 = 1.9;

/// Least px per mm on a card: the arc leaves the sharp corner by 1.3 mm at most, which must be six pixels to be told from
/// it. Below this any grid of lines would do for a card.
const LEAST_PX_PER_MM: f64 = 4.5;

fn is_card(c: &Candidate) -> bool {
    if c.px_per_mm < LEAST_PX_PER_MM {
        return false;
    }
    let least = |v: &[f64; 4]| v.iter().copied().fold(f64::INFINITY, f64::min);
    c.corner_share() >= CORNER_SHARE
        && least(&c.corners) >= ONE_CORNER
        && c.side_share() >= SIDE_SHARE
        && least(&c.sides) >= ONE_SIDE
        && c.fitted.residual_px < (LARGEST_RMS_MM * c.px_per_mm).max(0.5)
}

/// What makes a candidate the planned pocket: torn rims and worn edges leave gaps, but its four sides must show for the
/// most part, and its corners with the cutter's radius. Practice photos: true rims 0.95 and more, 0.9, 0.71; a floor taken
/// for the rim 0.95, 0.81, 0.54.
fn is_rim(c: &Candidate) -> bool {
    let least = c.sides.iter().copied().fold(f64::INFINITY, f64::min);
    c.side_share() >= RIM_SIDES
        && least >= RIM_ONE_SIDE
        && c.corner_share() >= RIM_CORNERS
        && c.fitted.residual_px < LARGEST_RIM_RMS_MM * c.px_per_mm
}

const RIM_SIDES: f64 = 0.7;
const RIM_ONE_SIDE: f64 = 0.5;
const RIM_CORNERS: f64 = 0.65;
const LARGEST_RIM_RMS_MM: f64 = 0.12;

/// One sigma of a pocket's width as cut, mm: runout, a spring pass, a rounded top edge (common practice, no source).
const RIM_SIZE_SIGMA_MM: f64 = 0.15;

fn as_reference(photo: &Photo, c: &Candidate, figure: &Figure, level: Level) -> Option<Reference> {
    let view = c.fitted.view.clone();
    let middle = view.backward(Point::new((photo.width as f64 - 1.0) / 2.0, (photo.height as f64 - 1.0) / 2.0));
    let focal = view.pose.focal_px;
    let outline = figure.outline;
    let (source, height_mm, size, outline_px) = if figure.innermost {
        (Source::Id1, CARD_THICKNESS_MM, SIZE_RELATIVE, c.outline_px(outline))
    } else {
        (Source::Pocket, 0.0, RIM_SIZE_SIGMA_MM / (outline.width * outline.height).sqrt(), vec![])
    };
    Some(Reference {
        to_px: view.homography(Point::default(), (outline.width / 2.0, outline.height / 2.0))?,
        source,
        level,
        height_mm,
        residual_px: c.fitted.residual_px,
        relative_sigma: c.fitted.scale_sigma(middle).hypot(size),
        outline_px,
        focal_px: Measured::new(focal, focal * c.fitted.focal_sigma()),
        view: Some(view),
    })
}
