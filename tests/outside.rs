//! The crate against numbers made outside it: general-purpose libraries, worked examples, a documented picture.
//! `tests/truth/README.md` says how each file came about.

#[path = "support/profiles.rs"]
mod profiles;

use lowsun::expect::physics;
use lowsun::floor::Patch;
use lowsun::geometry::{Homography, Point};
use lowsun::marks::{self, measure};
use lowsun::photo::{Options, read};
use lowsun::raster::{Plane, gaussian_blur, gradients};
use lowsun::rectify::{FloorFrame, FloorView, view};
use lowsun::signal::amplitude_spectrum;
use lowsun::stats;
use nalgebra::Matrix3;
use serde_json::Value;
use std::path::Path;

fn truth(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth").join(name);
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("no number: {v}"))
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(number).collect()
}

fn points(v: &Value) -> Vec<Point> {
    v.as_array().unwrap().iter().map(|p| Point::new(number(&p[0]), number(&p[1]))).collect()
}

fn largest_difference(a: impl IntoIterator<Item = f64>, b: &[f64]) -> f64 {
    let a: Vec<f64> = a.into_iter().collect();
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// Source: OpenCV's `findHomography` on photos of a real chessboard. Both minimise the distance in the photo, so they meet
/// although lens distortion leaves 0.9 to 1.7 px; a direct linear transformation alone lies 0.1 px and more apart.
#[test]
fn a_homography_from_real_corners_is_opencvs() {
    let t = truth("chessboards.json");
    let board = points(&t["board_mm"]);
    for photo in t["photos"].as_array().unwrap() {
        let corners = points(&photo["corners_px"]);
        let pairs: Vec<(Point, Point)> = board.iter().copied().zip(corners.iter().copied()).collect();
        let h = Homography::from_pairs(&pairs).unwrap();
        let apart = board.iter().zip(points(&photo["mapped_px"])).map(|(b, m)| h.forward(*b).distance(m));
        let apart = apart.fold(0.0, f64::max);
        let rms = (pairs.iter().map(|(b, c)| h.forward(*b).distance(*c).powi(2)).sum::<f64>() / 54.0).sqrt();
        println!("{}: {apart:.4} px apart, rms {rms:.4} (OpenCV {})", photo["photo"], photo["rms_px"]);
        assert!(apart < 0.005, "{}: {apart} px", photo["photo"]);
        assert!((rms - number(&photo["rms_px"])).abs() < 1e-3);
    }
}

/// Source: a worked set computed with numpy from H = [10.2 -1.35 412; 0.85 9.6 655; 0.0004 -0.0011 1]; method: Hartley and
/// Zisserman, Multiple View Geometry, algorithm 4.2 (from memory).
#[test]
fn the_worked_homography_comes_back() {
    let mm = [(0.0, 0.0), (85.60, 0.0), (85.60, 53.98), (0.0, 53.98)];
    let px = [(412.000, 655.000), (1242.574257, 703.666460), (1243.506260, 1278.096797), (360.534838, 1247.268297)];
    let pairs: Vec<(Point, Point)> =
        mm.iter().zip(px).map(|(m, p)| (Point::new(m.0, m.1), Point::new(p.0, p.1))).collect();
    let h = Homography::from_pairs(&pairs).unwrap();
    for (from, to) in [((42.80, 26.99), (822.4610, 962.5827)), ((20.0, 10.0), (604.3129, 770.3109))] {
        assert!(h.forward(Point::new(from.0, from.1)).distance(Point::new(to.0, to.1)) < 1e-4, "{from:?}");
    }
    assert!(h.backward(Point::new(800.0, 900.0)).distance(Point::new(40.28314, 21.27113)) < 1e-5);
    let square = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
    let quad = [(0.0, 0.0), (2.0, 0.2), (1.7, 1.4), (0.1, 1.1)];
    let pairs: Vec<(Point, Point)> =
        square.iter().zip(quad).map(|(m, p)| (Point::new(m.0, m.1), Point::new(p.0, p.1))).collect();
    let h = Homography::from_pairs(&pairs).unwrap();
    assert!(h.forward(Point::new(0.5, 0.5)).distance(Point::new(0.884487, 0.728401)) < 2e-6);
    let m = h.matrix() / h.matrix()[(2, 2)];
    let expected = Matrix3::new(1.721393, 0.122388, 0.0, 0.172139, 1.346269, 0.0, -0.139303, 0.223881, 1.0);
    assert!((m - expected).abs().max() < 2e-6, "{m}");
}

/// Source: the recipe of scikit-image's brick.png (see tests/truth/README.md).
#[test]
fn a_documented_warp_undone_gives_even_courses() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth/brick.png");
    let (photo, _) = read(&path, &Options::default()).unwrap();
    let warp = Matrix3::new(0.54764, -0.00219, 0.0, -0.12822, 0.54688, 0.0, -0.00022, 0.0, 1.0);
    let scale = Matrix3::new(0.5, 0.0, 0.0, 0.0, 0.5, 0.0, 0.0, 0.0, 1.0);
    let quarter_turn = Matrix3::new(0.0, -1.0, 511.5, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0);
    let map = Homography::from_matrix(quarter_turn * scale * warp).unwrap();
    let frame = FloorFrame::from_homography(map, None);
    for strip in truth("brick.json")["strips"].as_array().unwrap() {
        let [x0, x1, y0, y1] = numbers(&strip["window"])[..] else { panic!("four numbers") };
        let v = view(&photo, &frame, Point::new(x0, y0), Point::new(x1, y1), 2.0);
        let rows: Vec<f64> =
            (0..v.luma.height).map(|y| f64::from(v.luma.row(y).iter().sum::<f32>()) / v.luma.width as f64).collect();
        let pitch = v.step / strongest_frequency(&rows);
        println!("x {x0}..{x1}, y {y0}..{y1}: {pitch:.2} px, numpy {}", strip["pitch_px"]);
        // Two ways of resampling: 0.05 px in 108. Without the warp undone the pitch runs from 31 to 40 px.
        assert!((pitch - number(&strip["pitch_px"])).abs() < 0.05, "{pitch} px, {strip}");
        // Single courses of the wall are up to 4 px uneven, so strips differ by some tenths.
        assert!((107.8..=108.8).contains(&pitch), "{pitch} px, {strip}");
        if x1 - x0 < 400.0 {
            // Few head joints: the courses are the strongest lines. Their comb weighs harmonics, to which uneven single
            // courses (sd 4.6 px) matter more than to the first one: 1.5 %.
            let (found, _) = measure(&whole_patch(v), &marks::Options::default());
            let f = &found.families[0];
            println!("   family {:.2} px, {:.2} degrees", f.pitch.value, f.normal_deg.value);
            assert!((f.pitch.value / pitch - 1.0).abs() < 0.015, "{:?}", f.pitch);
            assert!(lowsun::units::line_difference(f.normal_deg.value, 90.0).abs() < 1.0, "{:?}", f.normal_deg);
        }
    }
}

/// Frequency of the highest line between 1/100 and 1/10 cycles a sample, refined by the parabola through three bins.
fn strongest_frequency(x: &[f64]) -> f64 {
    let (a, n) = amplitude_spectrum(x, 16);
    let k = (n / 100..n / 10).max_by(|i, j| a[*i].total_cmp(&a[*j])).unwrap();
    let (l, m, r) = (a[k - 1], a[k], a[k + 1]);
    (k as f64 + 0.5 * (l - r) / (l - 2.0 * m + r)) / n as f64
}

/// Source: numpy's real FFT with a periodic Hann window.
#[test]
fn the_amplitude_spectrum_is_numpys() {
    let t = truth("spectrum.json");
    let profile = numbers(&t["profile"]);
    let (a, n) = amplitude_spectrum(&profile, 1);
    assert_eq!(n, profile.len());
    let d = largest_difference(a, &numbers(&t["amplitude"]));
    assert!(d < 1e-9, "{d}");
    let (a, n) = amplitude_spectrum(&profile, 4);
    assert_eq!(n, 4 * profile.len());
    let d = largest_difference(a.into_iter().take(200), &numbers(&t["amplitude_padded_4_first_200"]));
    assert!(d < 1e-9, "{d}");
}

/// A lit floor of the given samples, nothing left out.
fn whole_patch(view: FloorView) -> Patch {
    Patch { blur_px: Some(1.0), ..Patch::whole(view) }
}

/// Source: scipy's least squares of a sinusoid in coloured noise; here every row of a floor holds that profile's value.
#[test]
fn a_familys_pitch_is_scipys_least_squares() {
    let t = truth("spectrum.json");
    let profile = numbers(&t["profile"]);
    let luma = Plane::from_fn(400, profile.len(), |_, y| profile[y] as f32);
    let v = FloorView { origin: Point::new(0.0, 0.0), step: 1.0, luma, chroma: None, chroma_shrink: 1 };
    let (marks, _) = measure(&whole_patch(v), &marks::Options::default());
    let f = &marks.families[0];
    let (expected, sigma) = (number(&t["fitted_frequency"]), number(&t["fitted_frequency_sigma"]));
    println!(
        "{:?} against {:.4}; frequency off by {:.2} sigma",
        f.pitch,
        1.0 / expected,
        (1.0 / f.pitch.value - expected) / sigma
    );
    // The two weigh the ends of the profile differently, so they differ by the noise's own size.
    assert!((1.0 / f.pitch.value - expected).abs() < 2.0 * sigma, "{:?}", f.pitch);
    assert!(lowsun::units::line_difference(f.normal_deg.value, 90.0).abs() < 0.1, "{:?}", f.normal_deg);
}

/// Source: scipy's `ndimage.gaussian_filter` with held borders.
#[test]
fn smoothing_is_scipys() {
    let t = truth("smoothing.json");
    let data: Vec<f32> = numbers(&t["plane"]).iter().map(|v| *v as f32).collect();
    let plane = Plane { width: 64, height: 48, data };
    // White noise of uniform values (sd 0.29) keeps 0.29 / (2 sigma sqrt(pi)) of its sd: 0.054 and 0.0136.
    // Sigma 1.5: kernel cut at 4 sigma, f32. Sigma 6: three boxes instead of the curve, 3 % of the kernel's peak.
    for (sigma, key, limit) in [(1.5f32, "sigma_1_5", 1e-4), (6.0, "sigma_6", 5e-3)] {
        let smooth = gaussian_blur(&plane, sigma);
        // The boxes hold the border each for itself, so the longer blur is compared where no border reaches: 3 sigma.
        let rim = if sigma < 3.0 { 0 } else { 18 };
        let inner = |i: &usize| (rim..64 - rim).contains(&(i % 64)) && (rim..48 - rim).contains(&(i / 64));
        let expected = numbers(&t[key]);
        let at: Vec<usize> = (0..64 * 48).filter(inner).collect();
        let expected: Vec<f64> = at.iter().map(|i| expected[*i]).collect();
        let d = largest_difference(at.iter().map(|i| f64::from(smooth.data[*i])), &expected);
        println!("sigma {sigma}: {d:.6} at {} samples", at.len());
        assert!(d < limit, "sigma {sigma}: {d}");
    }
}

/// Source: numpy and scipy; 1.4826 makes the median deviation a standard deviation for normal data.
#[test]
fn robust_statistics_are_numpys() {
    let t = truth("statistics.json");
    for set in t["sets"].as_array().unwrap() {
        let v = numbers(&set["values"]);
        assert!((stats::median(&v).unwrap() - number(&set["median"])).abs() < 1e-12);
        for (p, expected) in set["percentiles"].as_object().unwrap() {
            let got = stats::percentile(&v, p.parse().unwrap()).unwrap();
            assert!((got - number(expected)).abs() < 1e-12, "{p} of {}: {got}", v.len());
        }
        assert!((stats::mad_sigma(&v).unwrap() - number(&set["mad_sigma"])).abs() < 1e-12);
    }
    let line = &t["line"];
    let (a, b, sigma_a, sigma_b) = stats::fit_line(&numbers(&line["x"]), &numbers(&line["y"]), None).unwrap();
    for (got, key) in [(a, "a"), (b, "b"), (sigma_a, "sigma_a"), (sigma_b, "sigma_b")] {
        assert!((got - number(&line[key])).abs() < 1e-9, "{key}: {got} against {}", line[key]);
    }
}

/// Source: numpy's `gradient`; direction by the structure tensor (Bigun and Granlund 1987, from memory). Central
/// differences shorten steep waves, so oblique directions are off by up to a degree on both sides of the comparison.
#[test]
fn gradients_give_a_gratings_direction_as_numpys_do() {
    for case in truth("grating.json")["cases"].as_array().unwrap() {
        let (sin, cos) = number(&case["normal_deg"]).to_radians().sin_cos();
        let period = number(&case["period_px"]);
        let plane = Plane::from_fn(256, 256, |x, y| {
            (std::f64::consts::TAU * (x as f64 * cos + y as f64 * sin) / period).sin() as f32
        });
        let (gx, gy) = gradients(&plane);
        let sum = |a: &Plane, b: &Plane| -> f64 {
            a.data.iter().zip(&b.data).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum()
        };
        let (jxx, jyy, jxy) = (sum(&gx, &gx), sum(&gy, &gy), sum(&gx, &gy));
        let direction = lowsun::units::wrap_180(0.5 * (2.0 * jxy).atan2(jxx - jyy).to_degrees());
        let coherence = (jxx - jyy).hypot(2.0 * jxy) / (jxx + jyy);
        assert!(lowsun::units::line_difference(direction, number(&case["direction_deg"])).abs() < 1e-3, "{direction}");
        assert!((coherence - number(&case["coherence"])).abs() < 1e-5, "{coherence}");
    }
}

/// Source: the lowest of all passes on a fine grid (numpy), no closed form used.
#[test]
fn ridge_heights_are_those_of_the_lowest_pass() {
    let ridges = truth("floors.json")["ridges"].as_array().unwrap().clone();
    assert_eq!(ridges.len(), 14);
    for r in ridges {
        let n = |key: &str| number(&r[key]);
        let s = n("stepover_mm");
        let got = match r["kind"].as_str().unwrap() {
            "ball" => physics::cusp_height_mm(n("radius_mm"), s),
            "bull" => physics::bull_nose_height_mm(n("diameter_mm"), n("corner_mm"), s),
            "tilt-across" => Some(physics::tilt_across_height_mm(s, n("tilt_deg"))),
            _ => physics::tilt_along_height_mm(n("diameter_mm"), s, n("tilt_deg")),
        };
        // The grid's step is 1e-5 of the stepover.
        assert!((got.unwrap() - n("height_mm")).abs() < 1e-6, "{r}: {got:?}");
    }
}

/// Source: quadrature (scipy) of the linear edge force model of Altintas, Manufacturing Automation, 2nd ed., ch. 2 (the
/// model from memory). At 40 % of the diameter a pass pushes with 0.40 to 0.44 of a full-width pass.
#[test]
fn axial_force_shares_are_the_quadratures() {
    for f in truth("floors.json")["forces"].as_array().unwrap() {
        let share = number(&f["width_over_diameter"]);
        let (cutting, edge) = physics::axial_force_ratio(share * 6.35, 6.35);
        assert!((physics::engagement_deg(share * 6.35, 6.35) - number(&f["engagement_deg"])).abs() < 1e-9);
        assert!((cutting - number(&f["cutting"])).abs() < 1e-9 && (edge - number(&f["edge"])).abs() < 1e-9, "{f}");
    }
    let (low, high) = physics::axial_force_ratio(0.4, 1.0);
    assert!((low - 0.400).abs() < 5e-4 && (high - 0.4359).abs() < 5e-5);
}

/// Sources beside each value.
#[test]
fn worked_examples_from_print() {
    let close = |got: f64, printed: f64, half_digit: f64| {
        assert!((got - printed).abs() <= half_digit, "{got} against {printed}");
    };
    // Ball nose: public worked examples (R 3, s 0.5 -> 0.0104; R 3, h 0.005 -> s 0.346; R 5, s 0.5 -> 0.0063).
    close(physics::cusp_height_mm(3.0, 0.5).unwrap(), 0.0104, 5e-5);
    close(physics::stepover_for_cusp_mm(3.0, 0.005).unwrap(), 0.346, 5e-4);
    close(physics::cusp_height_mm(5.0, 0.5).unwrap(), 0.0063, 5e-5);
    // Round-nose feed marks: Sumitomo insert catalogue p. L100, Rth = f^2 / (8 r): r 0.8 against 2.4 at f 0.2 leaves a third;
    // 6.25 um by the parabola, the exact arc 6.2746 um.
    let (small, large) = (physics::cusp_height_mm(0.8, 0.2).unwrap(), physics::cusp_height_mm(2.4, 0.2).unwrap());
    close(1000.0 * small, 6.25, 0.03);
    close(small / large, 3.0, 0.02);
    // Spindle squareness: 0.05 mm over a sweep of 200 mm and bolts 80 mm apart ask for a shim of 0.020 mm (computed).
    close(physics::shim_mm(0.05 / 200.0, 80.0), 0.020, 1e-12);
    // Chip load table of a router-bit seller (carbideprocessors.com, router-bit-chip-load-chart, read 2026): F / (2 n).
    for (feed, rpm, printed) in [(100.0, 10_000.0, 0.005), (100.0, 13_000.0, 0.004), (300.0, 18_000.0, 0.008)] {
        close(physics::feed_per_tooth_mm(feed, rpm, 2), printed, 5e-4);
    }
    // Vibration: F 2500 mm/min at 120 Hz -> 0.3472 mm (computed from F / (60 f)).
    close(physics::vibration_spacing_mm(2500.0, 120.0), 0.3472, 5e-5);
}

/// Source: the Cramer-Rao bound, sd(omega) = sqrt(24) sd / (A sqrt(N (N^2 - 1))) for one tone (Rife and Boorstyn, IEEE Trans.
/// Inf. Theory 20 (1974) 591-598; the form for a real tone from memory, checked there against a numeric Fisher matrix), and
/// scipy's periodogram and Lomb-Scargle on the same profiles.
#[test]
fn the_fundamental_of_a_profile_stays_near_the_bound_and_beats_scipys_single_tones() {
    // One tone: N 1024, A = sd = 1 gives 2.379447e-5 cycles per sample.
    let one = profiles::bound(1024, 0) * (4.0 * 2.0f64).sqrt();
    assert!((one / 2.379_447e-5 - 1.0).abs() < 1e-6, "{one}");
    let t = truth("pitch.json");
    let e = &t["example"];
    let (f, y) = profiles::profile(128, 5, 3);
    assert!((f - number(&e["frequency"])).abs() < 1e-12);
    assert!(largest_difference(y, &numbers(&e["profile"])) < 1e-8, "not the profiles scipy was given");
    for r in t["rows"].as_array().unwrap() {
        let (length, snr) = (r["length"].as_u64().unwrap() as usize, r["snr_db"].as_i64().unwrap());
        // One length in two and one noise in three; all of them stand in docs/measured.md.
        // At -4 dB and 128 samples the higher harmonics are under the noise: no estimator that must find them uses them.
        if ![128, 512, 2048].contains(&length) || snr.rem_euclid(9) != 5 || (length, snr) == (128, -4) {
            continue;
        }
        let (rms, sigmas, none) = profiles::ours(length, snr, number(&t["trials"]) as usize);
        let limit = profiles::bound(length, snr);
        println!("N {length}, {snr} dB: {:.2} of the bound, {sigmas:.2} of the stated sigma", rms / limit);
        assert_eq!(none, 0, "N {length}, {snr} dB");
        // Over 60 trials an rms scatters by a tenth.
        assert!(rms < 1.5 * limit, "N {length}, {snr} dB: {:.2} of the bound", rms / limit);
        assert!((0.65..1.35).contains(&sigmas), "N {length}, {snr} dB: errors are {sigmas:.2} of the stated sigma");
        let best = number(&r["periodogram"]).min(number(&r["lomb_scargle"]));
        assert!(rms < best, "N {length}, {snr} dB: {rms:.2e} against scipy's {best:.2e}");
    }
}
