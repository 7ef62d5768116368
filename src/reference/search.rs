//! The search for references in the photo itself: what every finder shares, and one line a finder.

use super::about::{CHANCE, by_chance};
use super::beside::{Beside, beside};
use super::edges::{Edges, LONG_SIDE, edges};
use super::figure::{CARD, CARD_THICKNESS_MM, Candidate, Figure, refit};
use super::lines::{Line, lines};
use super::nested::{Rim, outer};
use super::pocket::{Holds, RIM_SIZE_SIGMA_MM, agrees, holds_card, is_rim, rim, rim_quads, rims};
use super::polarity::{Lie, lie};
use super::profile::Profiler;
use super::quads::{Camera, Quad};
use super::{
    ASSUMED_F35_RELATIVE, CAMERA_F35_RELATIVE, Level, Object, Options, Reference, Source, assumed_focal_px, coin, id1,
    own, ruler,
};
use crate::caveat;
use crate::caveat::Caveat;
use crate::geometry::{PlaneView, Point};
use crate::photo::Photo;
use crate::plan::{PlannedCut, ReferenceKind};
use std::sync::OnceLock;

/// Doubt of the radial distortion coefficients k1 and k2 (x_d = x (1 + k1 r^2 + k2 r^4), r in focal lengths) about zero:
/// phones correct their main lens to under 2 % at the corner (r = 0.83; common practice, no source), k1 to within 0.029,
/// which has a standard deviation of 0.017 where every value is as likely. A larger value lets one card's noise bend the
/// whole photo, a smaller one hides a lens that is not corrected. k2 makes a third of that at the corner.
const DISTORTION_SIGMA: (f64, f64) = (0.017, 0.012);

/// What the finders share: the photo's edges and lines, its camera, and where the planned pocket's rim may lie.
pub struct Search<'a> {
    pub photo: &'a Photo,
    pub plan: &'a PlannedCut,
    /// The reduced picture and the straight lines in it.
    pub edges: Edges,
    pub lines: Vec<Line>,
    /// The photo at full size.
    pub profiler: Profiler<'a>,
    /// The camera in photo pixels and in pixels of the reduced picture.
    pub camera: Camera,
    pub reduced: Camera,
    /// How far a line of the reduced picture may lie from its edge in the photo, px.
    pub reach_px: f64,
    /// See [`Search::rim_quads`].
    rim_quads: OnceLock<Vec<Quad>>,
    pub given_level: Option<Level>,
}

impl<'a> Search<'a> {
    /// `None` for a photo too small to search. `level`: the plane the references lie on, where the user says so.
    pub fn new(photo: &'a Photo, plan: &'a PlannedCut, level: Option<Level>) -> Option<Self> {
        Self::reduced_to(LONG_SIDE, photo, plan, level)
    }
    /// The same photo reduced half as far: four times the work, for edges that merge with others or with grain. `None` where
    /// it is hardly reduced at all.
    pub fn closer(&self) -> Option<Self> {
        (self.edges.k > 1).then(|| Self::reduced_to(2 * LONG_SIDE, self.photo, self.plan, self.given_level)).flatten()
    }
    fn reduced_to(long_side: usize, photo: &'a Photo, plan: &'a PlannedCut, level: Option<Level>) -> Option<Self> {
        let edges = edges(photo, long_side)?;
        let camera = camera(photo);
        let reduced = Camera {
            focal_px: camera.focal_px / edges.k as f64,
            centre: Point::new(edges.reduced(camera.centre.x), edges.reduced(camera.centre.y)),
            ..camera
        };
        let lines = lines(&edges);
        Some(Self {
            photo,
            plan,
            reach_px: 2.0 * edges.k as f64 + 3.0,
            edges,
            lines,
            profiler: Profiler::new(photo),
            camera,
            reduced,
            rim_quads: OnceLock::new(),
            given_level: level,
        })
    }
    /// Where four lines may be the planned pocket's rim; looked for when first asked for, since a rim found beside a card
    /// needs none of them.
    fn rim_quads(&self) -> &[Quad] {
        let look = |r: &Figure| rim_quads(&self.edges, &self.lines, &self.reduced, r);
        self.rim_quads.get_or_init(|| rim(self.plan).as_ref().map(look).unwrap_or_default())
    }
    /// Which plane a reference seen as `view` (plane mm about its middle) lies on: as the user says, else inside or beside
    /// the planned pocket's rim, else the rim is assumed. Where that is not certain: the doubt of the scale (relative, one
    /// sigma) that it leaves, and a caveat that calls the reference `name`. `size`: how far it is known to reach round its
    /// middle, mm; no rim runs there. `rim_seen`: the rim was found and passed as one; else four lines that only may be it
    /// must not put a reference on the floor for certain.
    pub fn level(
        &self,
        view: &PlaneView,
        size: (f64, f64),
        name: &str,
        rim_seen: bool,
    ) -> (Level, f64, Option<Caveat>) {
        if let Some(level) = self.given_level {
            return (level, 0.0, None);
        }
        let other = self.plan.depth_mm.unwrap_or(0.0).max(0.0) / view.pose.distance().max(1.0);
        let doubted = |level: Level, share: f64, text: String| {
            (level, share * other, Some(caveat::REFERENCE_LEVEL_ASSUMED.with(text)))
        };
        let on = |inside: bool| if inside { Level::Floor } else { Level::Rim };
        let holds =
            rim(self.plan).map_or(Holds::Unseen, |f| holds_card(view, size, self.rim_quads(), &f, &self.camera));
        match holds {
            Holds::Inside if !rim_seen => {
                let text = format!(
                    "The {name} was taken to lie on the pocket's floor, for lines round it have the planned pocket's size; \
                     they are not plainly its rim."
                );
                doubted(Level::Floor, TORN, text)
            }
            Holds::Inside | Holds::Beside => (on(holds == Holds::Inside), 0.0, None),
            Holds::Torn(inside) => {
                let place = if inside { "pocket's floor" } else { "stock's top face" };
                let text = format!(
                    "The {name} was taken to lie on the {place}, but outlines of the planned pocket's size are seen both \
                     round it and beside it."
                );
                doubted(on(inside), TORN, text)
            }
            Holds::Unseen => {
                let text = format!(
                    "The {name} was taken to lie on the stock's top face; no rim of the planned pocket's size was seen to \
                     lie round or beside it."
                );
                doubted(Level::Rim, UNSEEN, text)
            }
        }
    }
}

/// One sigma of the level, as a share of the scale's difference between rim and floor. Torn: either may be right, half of
/// the difference. Unseen: references lie on the top but for one in sixteen (two of 34 made scenes), and sqrt(p (1 - p)) of
/// that is a quarter.
const TORN: f64 = 0.5;
const UNSEEN: f64 = 0.25;

/// Looks for every kind of reference, or only for the one the user asks for: the printed card or else an ID-1 card, the
/// planned pocket's rim, a rule, the named coin.
pub fn search(
    photo: &Photo,
    plan: &PlannedCut,
    level: Option<Level>,
    options: &Options,
) -> (Vec<Reference>, Vec<Caveat>) {
    let Some(s) = Search::new(photo, plan, level) else { return (vec![], vec![]) };
    let (mut all, mut caveats) = (vec![], vec![]);
    let asked = options.kind.or(plan.reference.kind);
    let wants = |kind: ReferenceKind| asked.is_none_or(|a| a == kind);
    let card = !options.skip_card && wants(ReferenceKind::Card);
    let printed = options.card_measured.or(plan.reference.card_measured);
    let own = if card { own::find(&photo.luma, &s.camera, printed) } else { None };
    // Beside the printed card an ID-1 card would add little and cost as much as all the rest.
    let found = if card && own.is_none() { id1::find(&s) } else { None };
    let seen = own.as_ref().map(|o| &o.fit.fitted.view).or(found.as_ref().map(|c| &c.fitted.view));
    let rim = rim(s.plan).filter(|_| wants(ReferenceKind::Pocket));
    let height_mm = options.height_mm.or(plan.reference.height_mm);
    // Where a card lies its scale says what size the rim must have; without one the rim is looked for by itself.
    let both = found.as_ref().zip(rim.as_ref()).and_then(|(c, f)| beside(&s, c, height_mm, f));
    // Corners by the hundred know the camera better than the file and four sides do.
    let camera = own.as_ref().map_or(s.camera, |o| o.fit.fitted.camera(&s.camera));
    let pocket = rim.as_ref().filter(|_| both.is_none()).and_then(|figure| {
        // Beside a card only the quads of its own scale can be the rim.
        let fits = |q: &&Quad| seen.is_none_or(|v| agrees(v, q, figure, &camera));
        let some: Vec<Quad> = s.rim_quads().iter().filter(fits).take(if card { 12 } else { 60 }).cloned().collect();
        let best = rims(&s.profiler, &some, figure, &camera, s.reach_px)
            .into_iter()
            // A card of about the planned shape is no pocket: its shadow falls outside.
            .find(|c| {
                is_rim(c)
                    && lie(s.photo, &c.fitted.view, figure.outline) != Lie::Proud
                    && by_chance(&s.profiler, c, figure) < CHANCE
            })?;
        Some(outer(&s.profiler, best, figure, &camera, s.plan.depth_mm))
    });
    if let Some(o) = own {
        let (level, doubt, new) = s.level(&o.fit.fitted.view, (0.0, 0.0), "printed card", pocket.is_some());
        caveats.extend(new);
        if printed.is_none() {
            caveats.push(caveat::PRINT_NOT_MEASURED.plain());
        }
        all.push(o.reference(photo, printed, level).doubted(doubt));
    }
    if let (Some(Beside { card, rim, level, .. }), Some(figure)) = (both, &rim) {
        for (c, figure, level) in [(card, &CARD, level), (rim, figure, Level::Rim)] {
            let (reference, new) = as_reference(s.photo, &c, figure, level, true);
            all.push(reference);
            caveats.extend(new);
        }
    } else if let Some(mut c) = found {
        let same_lens =
            |p: &&Rim| (p.candidate.fitted.view.pose.focal_px / c.fitted.view.pose.focal_px).ln().abs() < 0.3;
        if let Some(again) = pocket.as_ref().filter(same_lens).and_then(|p| {
            // The rim's long straight edges know the lens better than the card does; its size is left out.
            let own = Camera { k1: p.candidate.fitted.k1(), k2: p.candidate.fitted.k2(), ..s.camera };
            refit(&s.profiler, &c, CARD.outline, &own)
        }) {
            c = again;
        }
        let (reference, new) = card_alone(&s, &c, pocket.is_some());
        all.push(reference);
        caveats.extend(new);
    }
    if let (Some(Rim { candidate, doubt }), Some(figure)) = (pocket, &rim) {
        if doubt > FOOT_DOUBT && all.is_empty() {
            caveats.push(caveat::REFERENCE_LEVEL_ASSUMED.with(
                "The outline of the planned pocket's size was taken for its rim; it may be the foot of the walls, for the \
                 photo does not show that no second outline lies round it.",
            ));
        }
        all.push(as_reference(s.photo, &candidate, figure, Level::Rim, false).0.doubted(doubt));
    }
    let edge = options.edge_px.or(plan.reference.edge_px);
    let tick = options.tick.or(plan.reference.tick);
    let named = asked.is_some() || edge.is_some() || tick.is_some();
    // Beside a card, or points by hand, a rule nobody speaks of would add little and cost time in every photo.
    let whole = given(plan, options) || all.iter().any(|r| matches!(r.source, Source::Card | Source::Id1));
    if wants(ReferenceKind::Ruler) && (named || !whole) {
        let (found, new) = ruler::find(&s, edge, tick, named);
        all.extend(found);
        caveats.extend(new);
    }
    // Where nothing else gives a scale a closer look is worth its time.
    if card
        && all.is_empty()
        && !given(plan, options)
        && let Some(c) = id1::find_closer(&s)
    {
        let (reference, new) = card_alone(&s, &c, false);
        all.push(reference);
        caveats.extend(new);
    }
    if wants(ReferenceKind::Coin) {
        let (found, new) = match options.coin.or(plan.reference.coin) {
            Some(coin) => coin::find(&s, &coin, &all),
            None if asked.is_some() => (None, vec![caveat::COIN_UNCLEAR.with("Which coin it is was not said.")]),
            None => (None, vec![]),
        };
        all.extend(found);
        caveats.extend(new);
    }
    if let Some(height) = height_mm {
        raise(&mut all, height);
    }
    (all, caveats)
}

/// A height by hand is that of our own printed card, which may be glued on any board, or else of the only thing there is
/// that lies on the work: the pocket's rim does not.
fn raise(all: &mut [Reference], height_mm: f64) {
    if let Some(card) = all.iter_mut().find(|r| r.source == Source::Card) {
        card.height_mm = height_mm;
        return;
    }
    let mut lying: Vec<&mut Reference> = all.iter_mut().filter(|r| r.source != Source::Pocket).collect();
    if let [only] = lying.as_mut_slice() {
        only.height_mm = height_mm;
    }
}

/// Whether points or a scale are given by hand.
fn given(plan: &PlannedCut, options: &Options) -> bool {
    !(options.points.is_empty() && plan.reference.points.is_empty())
        || options.mm_per_px.or(plan.reference.mm_per_px).is_some()
}

/// What is known of the photo's camera beforehand.
pub fn camera(photo: &Photo) -> Camera {
    let centre = photo.centre();
    let (k1, k2) = ((0.0, DISTORTION_SIGMA.0), (0.0, DISTORTION_SIGMA.1));
    match photo.focal_px() {
        Some(focal_px) => Camera { focal_px, relative: CAMERA_F35_RELATIVE, centre, k1, k2 },
        None => Camera { focal_px: assumed_focal_px(photo), relative: ASSUMED_F35_RELATIVE, centre, k1, k2 },
    }
}

/// How much more doubt a card's scale carries to the photo's middle where the file names no focal length, as a factor on the
/// fit's own sigma. The fit reckons with small errors, but a small card's tilt and a focal length free by 15 % trade for one
/// another far beyond that; the focal lengths themselves keep to the 15 %. Of 19 made scenes the errors were 2.0 of the
/// fit's sigmas (rms). A smaller factor leaves that tail, a larger one makes cards near the middle look worse than they are.
const UNKNOWN_FOCAL: f64 = 2.0;

/// From which doubt of rim or foot on, relative, a caveat is due: the error that 95 of 100 photos are to stay under.
const FOOT_DOUBT: f64 = 0.003;

/// A card that was not fitted together with a rim, its level settled. `rim_seen`: see [`Search::level`].
fn card_alone(s: &Search, c: &Candidate, rim_seen: bool) -> (Reference, Vec<Caveat>) {
    let (level, doubt, first) = s.level(&c.fitted.view, (CARD.outline.width, CARD.outline.height), "card", rim_seen);
    let (reference, new) = as_reference(s.photo, c, &CARD, level, false);
    (reference.doubted(doubt.hypot(id1::doubt(c))), first.into_iter().chain(new).collect())
}

/// `together`: the card and the rim were fitted as one, which has weighed the rim's own size against the card's.
fn as_reference(
    photo: &Photo,
    c: &Candidate,
    figure: &Figure,
    level: Level,
    together: bool,
) -> (Reference, Option<Caveat>) {
    let outline = figure.outline;
    let card = figure.innermost;
    let (source, height_mm, outline_px) =
        if card { (Source::Id1, CARD_THICKNESS_MM, c.outline_px(outline)) } else { (Source::Pocket, 0.0, vec![]) };
    let size_sigma =
        if card || together { id1::SIZE_RELATIVE } else { RIM_SIZE_SIGMA_MM / (outline.width * outline.height).sqrt() };
    let object = Object { source, level, height_mm, size_sigma, about: Point::default(), outline_px };
    let (mut reference, caveat) = Reference::from_fit(&c.fitted, photo, object);
    if photo.focal_px().is_none() && card && !together {
        reference.relative_sigma *= UNKNOWN_FOCAL;
    }
    reference.together = together;
    (reference, caveat)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Homography;

    fn seen(source: Source) -> Reference {
        Reference {
            to_px: Homography::identity().into(),
            source,
            level: Level::Rim,
            height_mm: 0.0,
            residual_px: 0.1,
            relative_sigma: 0.001,
            at_px: Point::default(),
            local_sigma: 0.001,
            outline_px: vec![],
            focal_px: None,
            together: false,
        }
    }

    #[test]
    fn a_height_by_hand_is_that_of_what_lies_on_the_work() {
        let raised = |sources: &[Source]| {
            let mut all: Vec<Reference> = sources.iter().map(|s| seen(*s)).collect();
            raise(&mut all, 3.0);
            all.iter().map(|r| r.height_mm).collect::<Vec<_>>()
        };
        assert_eq!(raised(&[Source::Card, Source::Pocket, Source::Coin]), [3.0, 0.0, 0.0]);
        assert_eq!(raised(&[Source::Coin, Source::Pocket]), [3.0, 0.0]);
        assert_eq!(raised(&[Source::Pocket]), [0.0]);
        // Which of the two is meant is not known.
        assert_eq!(raised(&[Source::Coin, Source::Ruler]), [0.0, 0.0]);
    }
}
