//! The camera behind the lens: blur, exposure, noise, tone, sharpening, JPEG and the facts in its header.

use super::field::blur;
use super::noise::normal;
use super::spec::Spec;
use image::codecs::jpeg::JpegEncoder;
use image::{RgbImage, imageops};

/// Linear planes of the upright photo to an 8-bit picture.
pub fn develop(s: &Spec, mut planes: Vec<Vec<f32>>, floor_light: f64) -> RgbImage {
    use rayon::prelude::*;
    let c = &s.camera;
    let [w, h] = c.px;
    let gain = (c.expo / floor_light) as f32;
    let seed = (s.seed as u32) ^ 0xABCD ^ c.shot.wrapping_mul(0x9E37_79B9);
    for (k, p) in planes.iter_mut().enumerate() {
        blur(p, w, h, c.blur);
        let g = gain * c.balance[k] as f32;
        p.par_chunks_mut(w).enumerate().for_each(|(j, row)| {
            for (i, v) in row.iter_mut().enumerate() {
                let l = (*v * g).max(0.0);
                let sd = c.noise as f32 * (0.7 * l + 0.03).sqrt();
                *v = l + sd * normal(i as i32, j as i32, k as i32, seed);
            }
        });
        if c.denoise > 0.0 {
            let mut soft = p.clone();
            blur(&mut soft, w, h, 0.9);
            let a = c.denoise as f32;
            p.iter_mut().zip(&soft).for_each(|(v, q)| *v += (q - *v) * a);
        }
        // A shoulder, the display curve, then a little S-curve.
        let tone = c.tone as f32;
        p.par_iter_mut().for_each(|v| {
            let l = v.max(0.0);
            let l = if l > 0.75 { 0.75 + 0.25 * (1.0 - (-(l - 0.75) / 0.3).exp()) } else { l };
            let e = if l <= 0.003_130_8 { 12.92 * l } else { 1.055 * l.powf(1.0 / 2.4) - 0.055 };
            *v = e + tone * (e * e * (3.0 - 2.0 * e) - e);
        });
        if c.sharpen > 0.0 {
            let mut soft = p.clone();
            blur(&mut soft, w, h, 1.4);
            let a = c.sharpen as f32;
            p.iter_mut().zip(&soft).for_each(|(v, q)| *v += (*v - q) * a);
        }
    }
    let mut img = RgbImage::new(w as u32, h as u32);
    for (i, px) in img.pixels_mut().enumerate() {
        px.0 = std::array::from_fn(|k| (planes[k][i] * 255.0 + 0.5).clamp(0.0, 255.0) as u8);
    }
    img
}

/// JPEG bytes with the header a telephone would write; the stored picture is turned as the orientation says.
pub fn encode(s: &Spec, upright: RgbImage) -> Vec<u8> {
    assert!(s.camera.exif != "none" || s.camera.orientation == 1, "a turned picture needs a header that says so");
    let stored = match s.camera.orientation {
        3 => imageops::rotate180(&upright),
        6 => imageops::rotate270(&upright),
        8 => imageops::rotate90(&upright),
        _ => upright,
    };
    let mut out = vec![];
    JpegEncoder::new_with_quality(&mut out, s.camera.quality)
        .encode_image(&stored)
        .expect("a picture in memory encodes");
    if s.camera.exif != "none" {
        let e = exif(s);
        let mut head = vec![0xFF, 0xE1];
        head.extend(((e.len() + 8) as u16).to_be_bytes());
        head.extend(b"Exif\0\0");
        head.extend(e);
        out.splice(2..2, head);
    }
    out
}

enum Value {
    Short(u16),
    Long(u32),
    Text(&'static str),
    Ratio(Vec<(u32, u32)>),
}

/// A TIFF block: orientation, time, focal length, and an invented place on purpose (it must never come out again).
fn exif(s: &Spec) -> Vec<u8> {
    use Value::{Long, Ratio, Short, Text};
    let c = &s.camera;
    let mut main = vec![
        (0x010F, Text("Made up")),
        (0x0110, Text("Made scene")),
        (0x0112, Short(c.orientation)),
        (0x8769, Long(0)),
        (0x8825, Long(0)),
    ];
    let mut facts = vec![(0x9003, Text("2026:03:14 09:26:53"))];
    if c.exif == "full" {
        let mm = c.f35 * 0.22;
        facts.push((0x920A, Ratio(vec![((mm * 100.0).round() as u32, 100)])));
        facts.push((0xA405, Short(c.f35.round() as u16)));
    }
    // In the open sea.
    let place = vec![
        (0x0001, Text("S")),
        (0x0002, Ratio(vec![(12, 1), (34, 1), (5520, 100)])),
        (0x0003, Text("E")),
        (0x0004, Ratio(vec![(65, 1), (43, 1), (2100, 100)])),
    ];
    let size = |d: &[(u16, Value)]| 2 + 12 * d.len() + 4;
    let extra = |d: &[(u16, Value)]| -> usize {
        d.iter()
            .map(|q| match &q.1 {
                Text(t) if t.len() + 1 > 4 => (t.len() + 2) & !1,
                Ratio(v) => 8 * v.len(),
                _ => 0,
            })
            .sum()
    };
    let at_facts = 8 + size(&main) + extra(&main);
    let at_place = at_facts + size(&facts) + extra(&facts);
    main[3].1 = Long(at_facts as u32);
    main[4].1 = Long(at_place as u32);
    let mut out = b"II*\0\x08\0\0\0".to_vec();
    for d in [&main, &facts, &place] {
        let mut tail: Vec<u8> = vec![];
        let base = out.len() + size(d);
        out.extend((d.len() as u16).to_le_bytes());
        for (tag, v) in d.iter() {
            out.extend(tag.to_le_bytes() as [u8; 2]);
            let (kind, count, bytes): (u16, usize, Vec<u8>) = match v {
                Short(n) => (3, 1, n.to_le_bytes().to_vec()),
                Long(n) => (4, 1, n.to_le_bytes().to_vec()),
                Text(t) => (2, t.len() + 1, t.bytes().chain([0]).collect()),
                Ratio(r) => {
                    (5, r.len(), r.iter().flat_map(|q| [q.0.to_le_bytes(), q.1.to_le_bytes()].concat()).collect())
                }
            };
            out.extend(kind.to_le_bytes());
            out.extend((count as u32).to_le_bytes());
            if bytes.len() <= 4 {
                let mut b = bytes;
                b.resize(4, 0);
                out.extend(b);
            } else {
                out.extend(((base + tail.len()) as u32).to_le_bytes());
                tail.extend(bytes);
                if tail.len() % 2 == 1 {
                    tail.push(0);
                }
            }
        }
        out.extend(0u32.to_le_bytes());
        out.extend(tail);
    }
    out
}
