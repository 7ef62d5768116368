use super::*;

/// One block of the print with the checker round it, `dots` per module, as grey values.
fn bitmap(card: &Card, block: &Block, dots: f64) -> (usize, impl Fn(usize, usize) -> u8) {
    let step = MODULE_MM / dots;
    let around = PITCH_MM * 1.5;
    let from = card.point_mm(block.cell.0, block.cell.1) - Point::new(around, around);
    let at = move |k: usize| (k as f64 + 0.5) * step;
    let side = ((f64::from(BLOCK_CELLS) * PITCH_MM + 2.0 * around) / step) as usize;
    (side, move |x, y| if card.dark(from + Point::new(at(x), at(y))) { 10 } else { 240 })
}

#[test]
fn every_code_is_read_back_from_the_print_by_another_crate() {
    for form in Form::ALL {
        let card = Card::of(form);
        for block in card.blocks() {
            for dots in [3.0, 4.3, 9.0] {
                let (side, grey) = bitmap(&card, block, dots);
                let mut picture = rqrr::PreparedImage::prepare_from_greyscale(side, side, grey);
                let grids = picture.detect_grids();
                let read: Vec<String> = grids.iter().filter_map(|g| Some(g.decode().ok()?.1)).collect();
                assert_eq!(read, [block.code.text()], "{dots} dots per module");
                assert_eq!(Code::parse(&read[0]), Some(block.code));
            }
        }
    }
}

#[test]
fn texts_of_others_are_not_ours() {
    assert_eq!(Code::parse("LSAP0:4000"), Some(Code { form: Form::Pocket, block: 0, pitch_um: 4000 }));
    for other in [
        "",
        "LSA",
        "LSAP0",
        "LSAP9:4000",
        "LSBP0:4000",
        "LSAX0:4000",
        "LSAP0:400",
        "LSAP0:40000",
        "LSAP0:+400",
        "LSAP0:0000",
        "https://example.org",
        "LSAP\u{e9}:4000",
    ] {
        assert_eq!(Code::parse(other), None, "{other}");
    }
}

#[test]
fn the_drawn_card_never_changes() {
    // Cards that people printed must stay readable: sizes, blocks and the count of black modules as first released.
    let facts: Vec<_> = Form::ALL
        .iter()
        .map(|f| {
            let c = Card::of(*f);
            let black = c.blocks().iter().flat_map(|b| &b.modules).filter(|m| **m).count();
            (c.cols, c.rows, c.blocks().len(), c.saddles().len(), black)
        })
        .collect();
    assert_eq!(facts, FIRST_RELEASED);
}

const FIRST_RELEASED: [(i32, i32, usize, usize, usize); 3] =
    [(21, 13, 4, 160, 898), (25, 17, 4, 92, 894), (37, 27, 8, 360, 1766)];

#[test]
fn corners_remain_when_any_third_is_covered() {
    for form in Form::ALL {
        let card = Card::of(form);
        let (w, h) = (f64::from(card.cols) * PITCH_MM, f64::from(card.rows) * PITCH_MM);
        // Strips that cover up to a third of the card's rectangle, straight and slanted, moved over it: across the middle
        // of a diagonal 1 - (1 - 0.18)^2 of it.
        let strips =
            [(1.0, 0.0, w, 1.0 / 3.0), (0.0, 1.0, h, 1.0 / 3.0), (h, w, 2.0 * w * h, 0.18), (h, -w, 2.0 * w * h, 0.18)];
        for (nx, ny, span, share) in strips {
            let low = if ny < 0.0 { -w * h } else { 0.0 };
            for k in 0..=20 {
                let from = low + span * (f64::from(k) / 20.0 * (1.0 - share));
                let seen = |p: Point| !(from..from + span * share).contains(&(p.x * nx + p.y * ny));
                let blocks = card.blocks().iter().filter(|b| b.corners_mm().iter().all(|c| seen(*c))).count();
                let saddles = card.saddles().iter().filter(|s| seen(card.point_mm(s.0, s.1))).count();
                assert!(blocks >= 1, "{form}: no block left, normal ({nx}, {ny}) at {from}");
                // A plane and a lens take ten numbers, from two per corner.
                assert!(saddles >= 24, "{form}: {saddles} corners left");
            }
        }
    }
}

/// Blocks after `turns` quarter turns, relative to the first, sorted.
fn turned(form: Form, turns: usize) -> Vec<(i32, i32)> {
    let (mut size, mut v) = (layout::size(form), layout::holes(form).to_vec());
    for _ in 0..turns {
        v = v.iter().map(|&(i, j)| (size.1 - BLOCK_CELLS - j, i)).collect();
        size = (size.1, size.0);
    }
    v.sort_unstable();
    v
}

#[test]
fn without_any_one_block_the_pattern_fits_no_other_form_or_turn() {
    for (form, turn) in Form::ALL.iter().flat_map(|f| (0..4).map(move |t| (*f, t))) {
        let other = turned(form, turn);
        for mine in Form::ALL {
            let all = turned(mine, 0);
            for hidden in 0..all.len() {
                let rest: Vec<_> = all.iter().enumerate().filter(|q| q.0 != hidden).map(|q| *q.1).collect();
                for to in &other {
                    let d = (to.0 - rest[0].0, to.1 - rest[0].1);
                    let fits = rest.iter().all(|p| other.contains(&(p.0 + d.0, p.1 + d.1)));
                    let same = mine == form && turn == 0 && d == (0, 0);
                    assert!(!fits || same, "{mine} without block {hidden} fits {form} turned {turn} times at {d:?}");
                }
            }
        }
    }
}

#[test]
fn ink_covers_what_is_dark_and_nothing_else() {
    for form in Form::ALL {
        let card = Card::of(form);
        let ink = card.ink();
        let area: f64 = ink.iter().map(|k| k.width * k.height).sum();
        let (mut n, mut dark) = (0, 0.0);
        let step = 0.1131;
        for y in (0..(f64::from(card.rows) * PITCH_MM / step) as i32).map(|k| (f64::from(k) + 0.5) * step) {
            for x in (0..(f64::from(card.cols) * PITCH_MM / step) as i32).map(|k| (f64::from(k) + 0.5) * step) {
                let d = card.dark(Point::new(x, y));
                dark += f64::from(u8::from(d)) * step * step;
                if n % 17 == 0 {
                    let inked =
                        ink.iter().filter(|k| (k.x..k.x + k.width).contains(&x) && (k.y..k.y + k.height).contains(&y));
                    assert_eq!(inked.count(), usize::from(d), "{form} at ({x}, {y})");
                }
                n += 1;
            }
        }
        assert!((dark / area - 1.0).abs() < 0.01, "{form}: {dark} mm2 against {area}");
    }
}

#[test]
fn the_print_lies_on_the_paper_one_margin_from_the_cut() {
    for form in Form::ALL {
        let card = Card::of(form);
        for k in card.ink() {
            for (a, b) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
                let p = Point::new(k.x + a * k.width, k.y + b * k.height);
                assert!(card.covers(p), "{form}: ink off the paper at {p:?}");
                for (dx, dy) in [(0.99, 0.0), (-0.99, 0.0), (0.0, 0.99), (0.0, -0.99)] {
                    assert!(card.covers(p + Point::new(dx, dy) * MARGIN_MM), "{form}: {p:?} is too near the cut");
                }
            }
        }
        assert!(!card.covers(Point::new(-1.1, 20.0)));
    }
    assert!(!Card::of(Form::Frame).covers(Point::new(74.0, 54.0)), "the window is open");
    assert!(!Card::of(Form::Corner).covers(Point::new(1.0, 1.0)), "the corner is cut off");
}

#[test]
fn the_kept_picture_of_the_printed_page_shows_this_card() {
    // Made by another program from the PDF; where it lies is written beside it.
    let facts: serde_json::Value = serde_json::from_str(include_str!("../../tests/truth/print.json")).unwrap();
    let pair = |v: &serde_json::Value| [0, 1].map(|k| v[k].as_f64().unwrap());
    let place = &facts["picture"];
    let ([x, y], at, step) =
        (pair(&place["first_px"]), pair(&place["card_at_mm"]), 25.4 / place["dpi"].as_f64().unwrap());
    let page =
        image::load_from_memory(include_bytes!("../../tests/truth/pocket-card-600dpi.png")).unwrap().into_luma8();
    let card = Card::of(Form::Pocket);
    let mut wrong = 0;
    let mut seen = 0;
    for (i, j, grey) in page.enumerate_pixels() {
        let p = Point::new((x + f64::from(i) + 0.5) * step - at[0], (y + f64::from(j) + 0.5) * step - at[1]);
        // Dots at a border fall either way (a dot that is touched at all is black), and the cutting lines are no part of
        // the card.
        let near = |k: i32| Point::new(f64::from(k % 3 - 1), f64::from(k / 3 - 1)) * (1.6 * step);
        let around = (0..9).map(|k| card.dark(p + near(k)));
        let printed = p.x > -0.5 && p.y > -0.5 && p.x < 84.5 && p.y < 52.5;
        if printed && around.clone().all(|d| d == card.dark(p)) {
            seen += 1;
            wrong += usize::from(card.dark(p) != (grey.0[0] < 128));
        }
    }
    assert!(seen > 1_500_000 && wrong == 0, "{wrong} dots of {seen}");
    let corners = facts["sheets"].as_array().unwrap();
    assert_eq!(corners.len(), 6);
    assert!(corners.iter().all(|s| s["largest_mm"].as_f64().unwrap() < 0.05), "{corners:?}");
}
