//! Two photos of one made floor, lamps on opposite sides: figure does not pass as relief, relief stays.
mod support;

use lowsun::marks::PeriodKind;
use support::draw::{Size, draw};
use support::pairs::{inspected, misfit_px};

#[test]
fn ridges_of_a_leaning_spindle_come_out_of_the_difference_and_the_photos_lie_on_each_other() {
    let mut s = draw(32, Some("tilt-across-passes"), Size::Small);
    // A plain, sharp scene: oak, seen whole, lamp low across the passes.
    s.material = "oak";
    (s.figure, s.ring_mm, s.camera.blur, s.camera.noise) = (1.0, s.stepover, 0.7, 0.006);
    let i = inspected(&s, true).unwrap();
    let p = i.opposite.as_ref().unwrap_or_else(|| panic!("not laid: {:?}", i.caveats));
    // A tenth of a millimetre: lines 2 mm apart then leak by a sixth of a radian.
    let off = misfit_px(&s, &i.frame, p);
    assert!(off < 1.5 && p.registered.residual_px < 1.0, "{off} px, {:?}", p.registered);
    let relief = i.marks.families.iter().find(|f| f.period_kind == PeriodKind::Relief && f.by_pair);
    assert!(relief.is_some(), "{:?}", i.marks.families);
}

#[test]
fn figure_near_the_stepover_is_never_relief() {
    for seed in [5, 34] {
        let s = draw(seed, Some("wood-figure"), Size::Small);
        let i = inspected(&s, true).unwrap();
        assert!(i.opposite.is_some(), "seed {seed}: {:?}", i.caveats);
        let wrong = i.marks.families.iter().find(|f| f.period_kind == PeriodKind::Relief);
        assert!(wrong.is_none(), "seed {seed}: {wrong:?}");
    }
}

#[test]
fn a_photo_of_another_floor_is_left_out_and_said_so() {
    let (a, b) = (draw(5, Some("wood-figure"), Size::Small), draw(32, Some("tilt-across-passes"), Size::Small));
    let i = support::pairs::inspected_with(&a, Some(&b)).unwrap();
    assert!(i.opposite.is_none());
    assert!(i.caveats.iter().any(|c| c.id.starts_with("opposite-")), "{:?}", i.caveats);
}
