//! Surface figures against numpy and scipy on the same profiles (`tests/truth/roughness.py`): a made one, and rows of a real
//! height map where the check data lies.

use lowsun::signal::roughness::{figures, roughness};
use serde_json::Value;
use std::io::Read;
use std::path::Path;

fn truth() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth/roughness.json");
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

/// Agreement to a thousandth: both cut the Gaussian's tails, at 1 and 1.5 cut-offs.
fn agrees(z: &[f64], case: &Value) {
    let number = |v: &Value| v.as_f64().unwrap();
    let (dx, lc) = (number(&case["dx"]), number(&case["lc"]));
    let got = figures(&roughness(z, dx, lc), dx, lc).unwrap();
    for (what, value) in [("ra", got.ra), ("rq", got.rq), ("rz", got.rz), ("rsm", got.rsm.unwrap())] {
        let want = number(&case["figures"][what]);
        println!("lc {lc}: {what} {value:.5}, scipy {want:.5}");
        assert!((value / want - 1.0).abs() < 1e-3, "lc {lc}: {what} {value}, not {want}");
    }
}

#[test]
fn a_made_profile_has_scipys_figures() {
    let t = truth();
    let z: Vec<f64> = t["profile"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
    let cases = t["made"].as_array().unwrap();
    assert_eq!(cases.len(), 2);
    cases.iter().for_each(|c| agrees(&z, c));
}

#[test]
fn rows_of_a_real_height_map_have_scipys_figures() {
    let Some(folder) = std::env::var_os("LOWSUN_CHECK_DATA") else {
        println!("skipped: LOWSUN_CHECK_DATA is not set");
        return;
    };
    let file = std::fs::read(Path::new(&folder).join("real/relief-x3p/SkiInfiniteFocus.x3p")).unwrap();
    let t = truth();
    let cases = t["ski"].as_array().unwrap();
    assert_eq!(cases.len(), 4);
    for c in cases {
        agrees(&row(&file, c["row"].as_u64().unwrap() as usize, 1197), c);
    }
}

/// A row of the height map in micrometres, holes bridged, a straight line taken out. The heights are the archive's first
/// file: little-endian f32 metres, row by row.
fn row(archive: &[u8], row: usize, width: usize) -> Vec<f64> {
    let at = |k: usize| usize::from(u16::from_le_bytes([archive[k], archive[k + 1]]));
    // Local header: 30 bytes, lengths of name and extra field at 26 and 28.
    let start = 30 + at(26) + at(28);
    let mut bytes = vec![0; 4 * width * (row + 1)];
    flate2::read::DeflateDecoder::new(&archive[start..]).read_exact(&mut bytes).unwrap();
    let mut z: Vec<f64> = bytes[4 * width * row..]
        .chunks_exact(4)
        .map(|b| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]])) * 1e6)
        .collect();
    let known: Vec<usize> = (0..width).filter(|i| z[*i].is_finite()).collect();
    for i in (0..width).filter(|i| !known.contains(i)) {
        let right = known.iter().copied().find(|k| *k > i);
        let left = known.iter().copied().rfind(|k| *k < i);
        z[i] = match (left, right) {
            (Some(a), Some(b)) => z[a] + (z[b] - z[a]) * (i - a) as f64 / (b - a) as f64,
            (a, b) => z[a.or(b).unwrap()],
        };
    }
    let n = width as f64;
    let (mx, mz) = ((n - 1.0) / 2.0, z.iter().sum::<f64>() / n);
    let slope = z.iter().enumerate().map(|(i, v)| (i as f64 - mx) * (v - mz)).sum::<f64>()
        / (0..width).map(|i| (i as f64 - mx).powi(2)).sum::<f64>();
    z.iter().enumerate().map(|(i, v)| v - mz - slope * (i as f64 - mx)).collect()
}
