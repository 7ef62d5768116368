//! A small made-up board for runs of the built program: 480 x 360 px at 8 px per mm, a lit pocket of 40 x 30 mm, black
//! shadow along its left wall, bright right wall, ridges every 2.5 mm across x, speckle of its own for each seed.

use image::{Rgb, RgbImage};

pub fn board(seed: u32) -> RgbImage {
    let mut state = seed;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 16) / 65536.0 - 0.5
    };
    RgbImage::from_fn(480, 360, |x, y| {
        let inside = (80..400).contains(&x) && (60..300).contains(&y);
        let v = match x {
            _ if !inside => 150.0,
            80..120 => 8.0,
            395.. => 235.0,
            _ => 120.0 + 14.0 * (std::f64::consts::TAU * f64::from(x) / 20.0).sin(),
        } + 6.0 * noise();
        Rgb([v as u8, (v * 0.85) as u8, (v * 0.7) as u8])
    })
}
