//! The search for a reference in the photo itself.

use super::card::{CARD, CARD_THICKNESS_MM, Candidate, examine};
use super::edges::{Edges, edges};
use super::lines::lines;
use super::profile::Profiler;
use super::quads::{Camera, Quad, quads};
use super::{ASSUMED_F35_RELATIVE, CAMERA_F35_RELATIVE, Level, Reference, Source, assumed_focal_px};
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
const MOST_QUADS: usize = 40;

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

/// Looks for an ID-1 card.
pub fn search(photo: &Photo, _plan: &PlannedCut, level: Option<Level>) -> (Option<Reference>, Vec<Caveat>) {
    let Some(edges) = edges(photo) else { return (None, vec![]) };
    let camera = camera(photo);
    let profiler = Profiler::new(photo);
    let card = find_card(&edges, &profiler, &camera);
    (card.and_then(|c| as_reference(photo, &c, level.unwrap_or(Level::Rim))), vec![])
}

fn camera(photo: &Photo) -> Camera {
    let centre = Point::new((photo.width as f64 - 1.0) / 2.0, (photo.height as f64 - 1.0) / 2.0);
    match photo.focal_px() {
        Some(focal_px) => Camera { focal_px, relative: CAMERA_F35_RELATIVE, centre },
        None => Camera { focal_px: assumed_focal_px(photo), relative: ASSUMED_F35_RELATIVE, centre },
    }
}

/// The best figure that passes as a card.
fn find_card(edges: &Edges, profiler: &Profiler, camera: &Camera) -> Option<Candidate> {
    let reduced = Camera {
        focal_px: camera.focal_px / edges.k as f64,
        relative: camera.relative,
        centre: Point::new(edges.reduced(camera.centre.x), edges.reduced(camera.centre.y)),
    };
    let size = (CARD.width, CARD.height);
    let found = quads(&lines(edges), &reduced, size, LEAST_SIDE, COARSE_SHAPE, MOST_QUADS);
    found
        .par_iter()
        .filter_map(|q| {
            let corners = q.corners.map(|c| Point::new(edges.full(c.x), edges.full(c.y)));
            examine(profiler, &Quad { corners, ..q.clone() }, CARD, camera, 2.0 * edges.k as f64 + 3.0)
        })
        .filter(is_card)
        .max_by(|a, b| a.quality().total_cmp(&b.quality()))
}

fn is_card(c: &Candidate) -> bool {
    let least = |v: &[f64; 4]| v.iter().copied().fold(f64::INFINITY, f64::min);
    c.corner_share() >= CORNER_SHARE
        && least(&c.corners) >= ONE_CORNER
        && c.side_share() >= SIDE_SHARE
        && least(&c.sides) >= ONE_SIDE
        && c.fitted.residual_px < (LARGEST_RMS_MM * c.px_per_mm).max(0.5)
}

fn as_reference(photo: &Photo, c: &Candidate, level: Level) -> Option<Reference> {
    let view = c.fitted.view.clone();
    let middle = view.backward(Point::new((photo.width as f64 - 1.0) / 2.0, (photo.height as f64 - 1.0) / 2.0));
    let focal = view.pose.focal_px;
    Some(Reference {
        to_px: view.homography(Point::default(), (CARD.width / 2.0, CARD.height / 2.0))?,
        source: Source::Id1,
        level,
        height_mm: CARD_THICKNESS_MM,
        residual_px: c.fitted.residual_px,
        relative_sigma: c.fitted.scale_sigma(middle).hypot(SIZE_RELATIVE),
        outline_px: c.outline_px(CARD),
        focal_px: Measured::new(focal, focal * c.fitted.focal_sigma()),
        view: Some(view),
    })
}
