//! G and M codes: their modal groups, and which of them may share a line (NISTIR 6556, tables 4 to 6).

use super::expression::NEARLY_WHOLE;

/// A G code in tenths: G38.2 is 382.
pub(super) type Code = i64;

/// Modal group of a G code of the report; `None`: the report does not have it. 0 is the group of codes that hold for
/// their own line only.
pub(super) fn g_group(code: Code) -> Option<u8> {
    Some(match code {
        0 | 10 | 20 | 30 | 382 | 800 | 810 | 820 | 830 | 840 | 850 | 860 | 870 | 880 | 890 => 1,
        170 | 180 | 190 => 2,
        900 | 910 => 3,
        930 | 940 => 5,
        200 | 210 => 6,
        400 | 410 | 420 => 7,
        430 | 490 => 8,
        980 | 990 => 10,
        540 | 550 | 560 | 570 | 580 | 590 | 591 | 592 | 593 => 12,
        610 | 611 | 640 => 13,
        40 | 100 | 280 | 300 | 530 | 920 | 921 | 922 | 923 => 0,
        _ => return None,
    })
}

/// Modal group of an M code of the report; `None`: the report does not have it.
pub(super) fn m_group(code: i64) -> Option<u8> {
    Some(match code {
        0 | 1 | 2 | 30 | 60 => 4,
        6 => 6,
        3..=5 => 7,
        7..=9 => 8,
        48 | 49 => 9,
        _ => return None,
    })
}

/// A code as it is written.
pub(super) fn show(code: Code) -> String {
    if code % 10 == 0 { format!("G{}", code / 10) } else { format!("G{}.{}", code / 10, code % 10) }
}

/// The code of a G word's value. Fails on what is not a number of tenths from 0 up.
pub(super) fn g_code(value: f64) -> Result<Code, String> {
    let tenths = value * 10.0;
    // Ten times the report's tolerance of a whole number, the value being in tenths.
    if (tenths - tenths.round()).abs() <= 10.0 * NEARLY_WHOLE && (-0.5..9999.5).contains(&tenths) {
        return Ok(tenths.round() as Code);
    }
    Err(format!("G{value} is not a code"))
}

/// Codes that hold axis words of their own and therefore cannot share a line with a motion that needs them.
fn takes_axes(code: Code) -> bool {
    matches!(code, 100 | 280 | 300 | 920)
}

/// Most M words on a line.
const MOST_M: usize = 4;

/// Refuses two codes of one modal group on a line, motions that quarrel with other codes over the axis words, and more
/// than four M words. M7 and M8 go together. `axes`: whether the line has X, Y or Z words.
///
/// One thing is laxer than the report: G0 beside G28 or G30, which many programs write, is let through (G28 and G30 move
/// at the rapid rate anyway).
pub(super) fn check(g: &[Code], m: &[i64], axes: bool) -> Result<(), String> {
    for (k, a) in g.iter().enumerate() {
        for b in &g[..k] {
            if let (Some(ga), Some(gb)) = (g_group(*a), g_group(*b)) {
                if ga == gb && (ga != 0 || (takes_axes(*a) && takes_axes(*b))) {
                    return Err(format!("{} and {} cannot share a line: both {}", show(*b), show(*a), what(ga)));
                }
                let (motion, other) = if ga == 1 { (*a, *b) } else { (*b, *a) };
                let rapid_home = motion == 0 && matches!(other, 280 | 300);
                if axes && (ga == 1) != (gb == 1) && takes_axes(other) && motion != 800 && !rapid_home {
                    return Err(format!(
                        "{} and {} cannot share a line: both want its X, Y and Z",
                        show(motion),
                        show(other)
                    ));
                }
            }
        }
    }
    if m.len() > MOST_M {
        return Err(format!("{} M words stand on one line; {MOST_M} are allowed", m.len()));
    }
    for (k, a) in m.iter().enumerate() {
        for b in &m[..k] {
            let mist_and_flood = (*a, *b) == (7, 8) || (*a, *b) == (8, 7);
            if m_group(*a).is_some() && m_group(*a) == m_group(*b) && !mist_and_flood {
                return Err(format!("M{b} and M{a} cannot share a line: they are of one group"));
            }
        }
    }
    if g.contains(&530) && g.iter().any(|c| g_group(*c) == Some(1) && !matches!(c, 0 | 10)) {
        return Err("G53 goes with G0 or G1 only".into());
    }
    Ok(())
}

fn what(group: u8) -> &'static str {
    match group {
        0 => "want its X, Y and Z",
        1 => "say how to move",
        2 => "choose the plane",
        3 => "say whether lengths are places or steps",
        5 => "say how the feed is meant",
        6 => "choose the unit",
        7 => "set the radius compensation",
        8 => "set the length compensation",
        10 => "set the height a drilling cycle returns to",
        12 => "choose the coordinate system",
        _ => "choose how corners are run",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_of_one_group_cannot_share_a_line() {
        for (g, axes) in [
            (vec![0, 10], false),
            (vec![170, 180], false),
            (vec![900, 910], true),
            (vec![10, 920], true),
            (vec![280, 300], false),
        ] {
            assert!(check(&g, &[], axes).is_err(), "{g:?}");
        }
        assert!(check(&[], &[3, 5], false).is_err() && check(&[], &[6, 3, 8, 48, 0], false).is_err());
        assert!(check(&[530, 20], &[], true).is_err());
    }

    #[test]
    fn codes_of_different_groups_can() {
        for g in
            [vec![0, 900, 940, 170, 210, 540], vec![280, 910], vec![0, 530], vec![40, 10], vec![0, 280], vec![10, 640]]
        {
            assert_eq!(check(&g, &[6, 3, 7, 8], true), Ok(()), "{g:?}");
        }
        assert_eq!(check(&[], &[98, 99], false), Ok(()), "unknown codes are left to the reader");
    }

    #[test]
    fn codes_are_read_in_tenths() {
        assert_eq!((g_code(38.2), g_code(59.1), g_code(0.00005)), (Ok(382), Ok(591), Ok(0)));
        assert!(g_code(1.25).is_err() && g_code(-1.0).is_err());
        assert_eq!((show(382), show(10)), ("G38.2".into(), "G1".into()));
    }
}
