//! A made-up inspection: a pocket of 120 x 80 mm seen square on at 10 px per mm, ridges every 2.5 mm across x, one
//! proud strip, lamp from the left. All numbers are invented; nothing here was measured.

use image::{Rgb, RgbImage};
use lowsun::caveat;
use lowsun::expect::{Cause, Expected};
use lowsun::explain::{Change, Comparison, Explanation, Finding, PitchMatch, Verdict};
use lowsun::fit::{Fit, Grade, Judgement};
use lowsun::floor::{Light, LightSource, Patch};
use lowsun::geometry::{Homography, Point};
use lowsun::marks::{Edge, Family, Marks, PeriodKind, Polarity, Profile, Quality, Spectrum, Strip};
use lowsun::photo::{Camera, Photo};
use lowsun::plan::PlannedCut;
use lowsun::raster::{Mask, Plane};
use lowsun::rectify::{FloorFrame, FloorView};
use lowsun::reference::{Level, Reference, Source};
use lowsun::report::Inspection;
use lowsun::units::Measured;
use nalgebra::Matrix3;

pub const PITCH: f64 = 2.5;
const PX_PER_MM: f64 = 10.0;
/// Where the floor frame's origin (the card's corner) lies in the photo.
const ORIGIN: Point = Point::new(300.0, 250.0);

pub fn m(value: f64, sigma: f64) -> Measured {
    Measured { value, sigma }
}

fn brightness(x_mm: f64, y_mm: f64) -> f64 {
    let fall = 0.5 - 0.002 * x_mm;
    let ridge = 0.04 * (std::f64::consts::TAU * x_mm / PITCH).cos();
    let grain = 0.015 * ((y_mm * 7.3).sin() * (x_mm * 3.1).cos());
    fall * (1.0 + ridge + grain)
}

fn photo(file: &str) -> Photo {
    let (w, h) = (2000u32, 1500u32);
    let luma = Plane::from_fn(w as usize, h as usize, |x, y| {
        brightness((x as f64 - ORIGIN.x) / PX_PER_MM, (y as f64 - ORIGIN.y) / PX_PER_MM) as f32
    });
    let rgb = RgbImage::from_fn(w, h, |x, y| {
        let v = luma.at(x as usize, y as usize).clamp(0.0, 1.0).powf(1.0 / 2.2) * 255.0;
        Rgb([v as u8, (v * 0.85) as u8, (v * 0.65) as u8])
    });
    Photo {
        file: file.into(),
        sha256: "0123456789abcdef".repeat(4),
        width: w as usize,
        height: h as usize,
        rgb,
        luma,
        has_colour: true,
        camera: Camera {
            make: Some("Example".into()),
            model: Some("Box Camera 1".into()),
            taken: Some("2026-03-01T10:20:30".into()),
            f35_mm: Some(26.0),
        },
    }
}

fn patch(scaled: bool, to_px: &Homography) -> Patch {
    let p = Point::new;
    let corners = [p(10.0, 20.0), p(130.0, 20.0), p(130.0, 100.0), p(10.0, 100.0)];
    let unit = if scaled { 1.0 } else { PX_PER_MM };
    let outline: Vec<Point> = corners.iter().map(|c| *c * unit).collect();
    let step_mm = 0.1;
    let luma = Plane::from_fn(1300, 900, |x, y| brightness(5.0 + x as f64 * step_mm, 15.0 + y as f64 * step_mm) as f32);
    let mask = Mask::from_fn(1300, 900, |x, y| (80..1220).contains(&x) && (60..840).contains(&y));
    Patch {
        view: FloorView { origin: p(5.0, 15.0) * unit, step: step_mm * unit, luma, chroma: None, chroma_shrink: 4 },
        mask,
        outline_px: outline.iter().map(|q| to_px.forward(*q)).collect(),
        outline,
        islands: vec![],
        pocket_x_deg: Some(0.0),
        light: Light {
            from_deg: Some(m(181.0, 2.0)),
            elevation_deg: Some(m(12.0, 0.7)),
            source: Some(LightSource::WallShadow),
        },
        outline_given: false,
        outline_assumed: false,
        area: 8892.0 * unit * unit,
        used_fraction: 0.93,
        burnt_fraction: 0.0,
        black_fraction: 0.02,
        blur_px: Some(1.1),
        shadow_contrast: Some(9.0),
        how: "the largest lit area enclosed by walls".into(),
    }
}

fn marks(unit: f64) -> Marks {
    let folded: Vec<f64> = (0..64).map(|i| 0.04 * (std::f64::consts::TAU * f64::from(i) / 64.0).cos()).collect();
    let family = Family {
        pitch: m(PITCH, 0.004).scaled(unit),
        normal_deg: m(0.2, 0.1),
        curved: false,
        wandering: false,
        strength_db: 31.0,
        false_alarm: 1e-9,
        coherent_passes: 46.0,
        period_kind: PeriodKind::Relief,
        harmonics: [1.0, 0.4, 0.2, 0.1],
        harmonic_noise: 0.03,
        fall_off: None,
        offset: Some(0.0),
        along_walls: None,
        folded,
        contrast: 0.028,
        skew: -0.4,
        alternation: 0.05,
        jitter: 0.02,
        lines: vec![],
        coverage: 0.9,
        chroma_share: Some(m(0.05, 0.03)),
        by_pair: false,
        height_um: (unit == 1.0).then_some(m(24.0, 5.0)),
    };
    let edge = |x: f64, polarity| Edge {
        from: Point::new(x, 35.0) * unit,
        to: Point::new(x, 85.0) * unit,
        offset: x * unit,
        length: 50.0 * unit,
        normal_deg: 0.0,
        polarity,
        deficit: m(0.2, 0.02),
        snr: 20.0,
        height_um: (unit == 1.0).then_some(m(42.0, 6.0)),
        chroma_share: None,
        stands_out: false,
    };
    let at: Vec<f64> = (0..1140).map(|i| (13.0 + 0.1 * f64::from(i)) * unit).collect();
    let value = at.iter().map(|t| 0.04 * (std::f64::consts::TAU * t / (PITCH * unit)).cos()).collect();
    let frequency: Vec<f64> = (1..600).map(|k| f64::from(k) / 120.0 / unit).collect();
    let background: Vec<f64> = frequency.iter().map(|f| 0.002 / (1.0 + f * unit)).collect();
    let peak = |f: f64| 0.04 * (-((f * unit - 1.0 / PITCH) / 0.01).powi(2)).exp();
    Marks {
        families: vec![family],
        edges: vec![edge(60.0, Polarity::Shade), edge(66.0, Polarity::Lit)],
        strips: vec![Strip {
            offset: 63.0 * unit,
            normal_deg: 0.0,
            width: m(6.0, 0.1).scaled(unit),
            length: 50.0 * unit,
            proud: true,
            level_um: (unit == 1.0).then_some(m(42.0, 6.0)),
            wall_distance: Some(50.0 * unit),
            edges: (0, 1),
        }],
        quality: Quality {
            visible_lines_per_10mm: (unit == 1.0).then_some(4.0),
            ridge_contrast: 0.03,
            height_p95_um: (unit == 1.0).then_some(m(31.0, 6.0)),
            texture_rms: 0.012,
            detectable_contrast: 0.004,
            least_false_alarm: 1e-9,
            detectable_height_um: (unit == 1.0).then_some(3.0),
        },
        profile: Profile { normal_deg: 0.0, at, value },
        spectrum: Spectrum {
            normal_deg: 0.0,
            amplitude: frequency.iter().zip(&background).map(|(f, b)| b * 0.8 + peak(*f)).collect(),
            limit: background.iter().map(|b| 3.0 * b).collect(),
            frequency,
            background,
        },
        ..Marks::default()
    }
}

fn explanation(scaled: bool) -> Explanation {
    let change = Change {
        what: "stepover".into(),
        from: Some("2.50 mm".into()),
        to: "1.90 mm".into(),
        why: "the ridge left between two passes falls with the square of the stepover".into(),
        effect: Some("ridges fall from 60 to 35 \u{b5}m".into()),
        cost: Some("a third more passes".into()),
        cautions: vec!["Clamp the work again before a second pass.".into()],
        lever: Default::default(),
    };
    let finding = |id, probability, summary: &str, changes| Finding {
        id,
        probability,
        summary: summary.into(),
        evidence: vec!["lines repeat at the planned stepover within one sigma".into()],
        against: vec!["no ridge is sharper than the lens can show".into()],
        changes,
    };
    Explanation {
        along: None,
        verdict: Verdict::Scallops,
        findings: vec![
            finding(Cause::Cusps, 0.72, "Sharp ridges stand between the passes.", vec![change]),
            finding(Cause::TiltAcrossPasses, 0.18, "Every pass slopes the same way.", vec![]),
        ],
        comparison: Comparison {
            planned_stepover_mm: Some(PITCH),
            nearest_pitch_mm: scaled.then_some(PITCH),
            ratio: scaled.then_some(m(1.0, 0.002)),
            deviation_sigmas: scaled.then_some(0.2),
            matches: if scaled {
                vec![PitchMatch { what: "planned stepover".into(), expected_mm: PITCH, pitch_mm: PITCH, sigmas: 0.2 }]
            } else {
                vec![]
            },
        },
        retake: None,
        headline: "Scallops: the cutter's rounded end leaves a ridge between passes, about 24 \u{b5}m high.".into(),
        would_settle: Some("A second photo with the lamp on the other side.".into()),
        predicted: None,
    }
}

/// One thing in order, one with care.
fn fit() -> Fit {
    let judgement = |id, grade, value, text: &str| Judgement {
        id,
        grade,
        value: Some(value),
        unit: "px",
        care: Some(5.0),
        retake: None,
        text: text.into(),
        change: "hold the camera still",
    };
    Fit {
        judgements: vec![
            judgement("sharpness", Grade::Ok, 1.1, "edges are blurred over 2.2 px"),
            judgement("smoothed", Grade::Care, 70.0, "Noise reduction has wiped the finest detail"),
        ],
    }
}

/// The inspection of a photo called `file`, with or without a scale.
pub fn made_up(file: &str, scaled: bool) -> Inspection {
    let k = if scaled { PX_PER_MM } else { 1.0 };
    let to_px = Homography::from_matrix(Matrix3::new(k, 0.0, ORIGIN.x, 0.0, k, ORIGIN.y, 0.0, 0.0, 1.0)).unwrap();
    let card = [(0.0, -20.0), (85.6, -20.0), (85.6, 33.98), (0.0, 33.98)];
    let reference = Reference {
        to_px: to_px.clone().into(),
        source: Source::Id1,
        level: Level::Rim,
        height_mm: 0.76,
        residual_px: 0.3,
        relative_sigma: 0.002,
        at_px: to_px.forward(Point::new(42.8, 3.0)),
        local_sigma: 0.002,
        outline_px: card.iter().map(|c| to_px.forward(Point::new(c.0, c.1 - 4.0))).collect(),
        focal_px: None,
        together: false,
    };
    Inspection {
        inputs_sha256: "fedcba9876543210".repeat(4),
        photo: photo(file),
        plan: PlannedCut { stepover_mm: Some(PITCH), depth_mm: Some(3.0), ..PlannedCut::default() },
        references: if scaled { vec![reference] } else { vec![] },
        frame: FloorFrame {
            source: scaled.then_some(Source::Id1),
            residual_px: 0.3,
            level: scaled.then_some(Level::Rim),
            floor_offset_corrected: scaled,
            floor_offset_relative: if scaled { 0.011 } else { 0.0 },
            rim_to_px: None,
            ..FloorFrame::from_homography(to_px.clone(), scaled.then_some(m(0.1, 0.0002)))
        },
        patch: patch(scaled, &to_px),
        fit: fit(),
        opposite: None,
        marks: marks(if scaled { 1.0 } else { PX_PER_MM }),
        expected: Expected::default(),
        explanation: explanation(scaled),
        caveats: if scaled { vec![caveat::NO_FOCAL_LENGTH.plain()] } else { vec![caveat::NO_REFERENCE.plain()] },
    }
}
