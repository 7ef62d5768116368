use super::*;
use std::collections::BTreeSet;

fn sheets() -> Vec<Sheet> {
    let all = Form::ALL.iter().flat_map(|f| Paper::ALL.map(|p| (*f, p)));
    all.map(|(f, p)| Sheet::of(f, p, Printed::default()).unwrap()).collect()
}

/// Rectangles (x, y, width, height) of the content stream of a PDF, in its own units under the page's matrix.
fn rectangles_of_pdf(bytes: &[u8]) -> (Vec<f64>, Vec<[f64; 4]>) {
    let text = String::from_utf8_lossy(bytes);
    let stream = text.split("stream\n").nth(1).and_then(|t| t.split("endstream").next()).unwrap();
    let (mut numbers, mut matrix, mut out): (Vec<f64>, Vec<f64>, Vec<[f64; 4]>) = (vec![], vec![], vec![]);
    for word in stream.split_ascii_whitespace() {
        match word {
            "cm" => matrix = numbers.clone(),
            "re" => out.push(numbers[..].try_into().unwrap()),
            _ => {}
        }
        match word.parse() {
            Ok(n) => numbers.push(n),
            Err(_) => numbers.clear(),
        }
    }
    (matrix, out)
}

/// Rectangles of the SVG's filled paths.
fn rectangles_of_svg(text: &str) -> Vec<[f64; 4]> {
    let paths = text.split(r#" d=""#).skip(1).map(|t| t.split('"').next().unwrap());
    let parts = paths.flat_map(|d| d.split('M').skip(1));
    parts
        .map(|one| {
            let n: Vec<f64> = one.split([' ', 'h', 'v', 'z']).filter_map(|n| n.parse().ok()).collect();
            assert_eq!((n.len(), n[4]), (5, -n[2]), "{one}");
            [n[0], n[1], n[2], n[3]]
        })
        .collect()
}

#[test]
fn pdf_and_svg_print_what_the_card_says_is_dark() {
    for sheet in sheets() {
        let card = Card::of(sheet.form);
        let (matrix, in_pdf) = rectangles_of_pdf(&sheet.pdf());
        let (in_svg, height) = (rectangles_of_svg(&sheet.svg()), sheet.paper.size_mm().1);
        // Points to the millimetre (72 to 25.4), y down from the top.
        let page = [72.0 / 25.4, 0.0, 0.0, -72.0 / 25.4, 0.0, height * 72.0 / 25.4];
        assert!(matrix.iter().zip(page).all(|(a, b)| (a - b).abs() < 1e-4), "{matrix:?}");
        assert_eq!(in_pdf.len(), in_svg.len());
        for (a, b) in in_pdf.iter().zip(&in_svg) {
            // A ten-thousandth of a millimetre: what the SVG writes out.
            assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1.1e-4), "{a:?} {b:?}");
        }
        // Every module and every cell, looked at a hair inside its borders.
        let inked = |p: Point| {
            in_pdf.iter().filter(|r| (r[0]..r[0] + r[2]).contains(&p.x) && (r[1]..r[1] + r[3]).contains(&p.y)).count()
        };
        let look = |p: Point| assert_eq!(inked(sheet.place(p)), usize::from(card.dark(p)), "{:?} at {p:?}", sheet.form);
        for (i, j) in (0..card.rows).flat_map(|j| (0..card.cols).map(move |i| (i, j))) {
            for (a, b) in [(0.001, 0.001), (0.999, 0.001), (0.001, 0.999), (0.999, 0.999), (0.5, 0.5)] {
                look(Point::new(f64::from(i) + a, f64::from(j) + b) * card.pitch_mm());
            }
        }
        for b in card.blocks() {
            let module = (b.corners_mm()[1].x - b.origin_mm().x) / 21.0;
            for k in 0..21 * 21 {
                for (dx, dy) in [(0.01, 0.01), (0.99, 0.99)] {
                    look(b.origin_mm() + Point::new(f64::from(k % 21) + dx, f64::from(k / 21) + dy) * module);
                }
            }
        }
    }
}

/// The bars of a sheet: middle of the first to middle of the last end line, mm on the page, along x and along y.
fn bars(sheet: &Sheet) -> [f64; 2] {
    let fills = sheet.items.iter().filter_map(|i| if let Item::Fill(ink) = i { Some(ink) } else { None });
    let bars: Vec<_> = fills.skip(1).collect();
    assert_eq!(bars.len(), 2);
    let middle_x = |k: &Ink| k.x + k.width / 2.0;
    let middle_y = |k: &Ink| k.y + k.height / 2.0;
    [middle_x(&bars[0][10]) - middle_x(&bars[0][0]), middle_y(&bars[1][10]) - middle_y(&bars[1][0])]
}

#[test]
fn bars_are_a_hundred_millimetres() {
    for sheet in sheets() {
        assert!(bars(&sheet).iter().all(|b| (b - 100.0).abs() < 1e-9), "{:?}", bars(&sheet));
    }
}

#[test]
fn a_printers_error_is_made_good() {
    let printed = Printed { x: 0.98, y: 1.004 };
    for form in Form::ALL {
        let sheet = Sheet::of(form, Paper::Letter, printed).unwrap();
        let [x, y] = bars(&sheet);
        assert!((x * printed.x - 100.0).abs() < 1e-9 && (y * printed.y - 100.0).abs() < 1e-9);
        let span = sheet.place(Point::new(40.0, 40.0)) - sheet.place(Point::default());
        assert!((span.x * printed.x - 40.0).abs() < 1e-9 && (span.y * printed.y - 40.0).abs() < 1e-9);
    }
    let refused = Sheet::of(Form::Frame, Paper::A4, Printed { x: 0.8, y: 0.8 }).unwrap_err();
    assert_eq!(refused.stage, Stage::Arguments);
}

#[test]
fn nothing_lies_outside_what_printers_reach_and_nothing_overlaps() {
    for sheet in sheets() {
        let (w, h) = sheet.paper.size_mm();
        let cut: Vec<Point> = sheet
            .items
            .iter()
            .filter_map(|i| if let Item::Cut(p) = i { Some(p.clone()) } else { None })
            .flatten()
            .collect();
        let low = cut.iter().map(|p| p.y).fold(f64::MIN, f64::max);
        for item in &sheet.items {
            if let Item::Text { at, size, words, up, .. } = item {
                // Letters of Helvetica are half as wide as high on the average (its widths lie between 0.28 and 0.94).
                let long = words.len() as f64 * size * 0.52;
                let end = if *up { *at - Point::new(0.0, long) } else { *at + Point::new(long, 0.0) };
                for p in [*at, end] {
                    let inside = p.x > BORDER_MM && p.y > BORDER_MM && p.x < w - BORDER_MM && p.y < h - BORDER_MM;
                    assert!(inside, "{words} reaches {p:?}");
                }
                assert!(*up || at.y < 102.5 || at.y - size > low, "{words} lies on the card");
                assert!(words.is_ascii(), "{words}");
            }
        }
        let reach = sheet.reach();
        assert!(reach.x < w - BORDER_MM && reach.y < h - BORDER_MM);
        assert_eq!(sheet.pdf(), sheet.pdf());
    }
    let names: BTreeSet<String> = sheets().iter().map(Sheet::name).collect();
    assert_eq!(names.len(), 6);
}
