//! Decoded samples become the upright RGB picture and its linear luminance, in one pass over the pixels.

use super::colour::LumaTables;
use crate::raster::Plane;
use image::RgbImage;
use rayon::prelude::*;

/// Samples as a decoder gives them: row-major, `channels` to a pixel (1 grey, 2 grey and alpha, 3 RGB, 4 RGBA).
pub(super) struct Decoded {
    pub width: usize,
    pub height: usize,
    pub channels: usize,
    pub samples: Samples,
}

pub(super) enum Samples {
    Eight(Vec<u8>),
    Sixteen(Vec<u16>),
}

/// How the upright picture is read from the stored one: upright (x, y) lies at stored index
/// `start + x * right + y * down`.
#[derive(Clone, Copy)]
struct Walk {
    width: usize,
    height: usize,
    start: isize,
    right: isize,
    down: isize,
}

impl Walk {
    /// The walk for an EXIF orientation 1 to 8 (CIPA DC-008, tag 274); anything else counts as 1.
    fn new(width: usize, height: usize, orientation: u32) -> Self {
        let (w, h) = (width as isize, height as isize);
        let (last_column, last_row) = (w - 1, (h - 1) * w);
        let (start, right, down) = match orientation {
            2 => (last_column, -1, w),
            3 => (last_row + last_column, -1, -w),
            4 => (last_row, 1, -w),
            5 => (0, w, 1),
            6 => (last_row, -w, 1),
            7 => (last_row + last_column, -w, -1),
            8 => (last_column, w, -1),
            _ => (0, 1, w),
        };
        let (width, height) = if (5..=8).contains(&orientation) { (height, width) } else { (width, height) };
        Self { width, height, start, right, down }
    }
}

/// A code value of 8 or 16 bits.
trait Code: Copy + Send + Sync {
    const MAX: u32;
    fn index(self) -> usize;
    fn to_u8(self) -> u8;
    fn from_u32(v: u32) -> Self;
}

impl Code for u8 {
    const MAX: u32 = 255;
    fn index(self) -> usize {
        usize::from(self)
    }
    fn to_u8(self) -> u8 {
        self
    }
    fn from_u32(v: u32) -> Self {
        v as u8
    }
}

impl Code for u16 {
    const MAX: u32 = 65535;
    fn index(self) -> usize {
        usize::from(self)
    }
    fn to_u8(self) -> u8 {
        ((u32::from(self) * 255 + 32767) / 65535) as u8
    }
    fn from_u32(v: u32) -> Self {
        v as u16
    }
}

/// The upright picture and its linear luminance. A see-through pixel is laid on white.
pub(super) fn upright(decoded: Decoded, orientation: u32) -> (RgbImage, Plane) {
    let Decoded { width, height, channels, samples } = decoded;
    let walk = Walk::new(width, height, orientation);
    let (rgb, luma) = match samples {
        Samples::Eight(s) if channels == 3 && walk.right == 1 && walk.down == width as isize => {
            let luma = luma_of_rgb(&s);
            (s, luma)
        }
        Samples::Eight(s) => turn(&s, channels, walk),
        Samples::Sixteen(s) => turn(&s, channels, walk),
    };
    let plane = Plane { width: walk.width, height: walk.height, data: luma };
    // The buffer has exactly width * height * 3 bytes.
    let rgb = RgbImage::from_raw(walk.width as u32, walk.height as u32, rgb).unwrap_or_default();
    (rgb, plane)
}

/// Luminance of an 8-bit picture that already stands upright.
fn luma_of_rgb(rgb: &[u8]) -> Vec<f32> {
    const PIXELS: usize = 1 << 16;
    let t = LumaTables::new(255);
    let mut luma = vec![0.0f32; rgb.len() / 3];
    luma.par_chunks_mut(PIXELS).zip(rgb.par_chunks(3 * PIXELS)).for_each(|(luma, rgb)| {
        for (l, p) in luma.iter_mut().zip(rgb.as_chunks::<3>().0) {
            *l = t.red[p[0].index()] + t.green[p[1].index()] + t.blue[p[2].index()];
        }
    });
    luma
}

fn turn<T: Code>(samples: &[T], channels: usize, walk: Walk) -> (Vec<u8>, Vec<f32>) {
    match channels {
        1 => turn_with(samples, walk, |p: &[T; 1]| [p[0]; 3]),
        2 => turn_with(samples, walk, |p: &[T; 2]| [on_white(p[0], p[1]); 3]),
        3 => turn_with(samples, walk, |p: &[T; 3]| *p),
        _ => turn_with(samples, walk, |p: &[T; 4]| [0, 1, 2].map(|i| on_white(p[i], p[3]))),
    }
}

fn on_white<T: Code>(v: T, alpha: T) -> T {
    let (v, a, max) = (v.index() as u64, alpha.index() as u64, u64::from(T::MAX));
    T::from_u32(((v * a + max * (max - a) + max / 2) / max) as u32)
}

/// Reads blocks of 32 x 32 so that both a row and a column of the stored picture stay in cache.
fn turn_with<T: Code, const N: usize>(
    samples: &[T],
    walk: Walk,
    colour: impl Fn(&[T; N]) -> [T; 3] + Sync,
) -> (Vec<u8>, Vec<f32>) {
    const BLOCK: usize = 32;
    let t = LumaTables::new(T::MAX);
    let pixels = samples.as_chunks::<N>().0;
    let (w, n) = (walk.width, walk.width * walk.height);
    let (mut rgb, mut luma) = (vec![0u8; 3 * n], vec![0.0f32; n]);
    rgb.par_chunks_mut(3 * w * BLOCK).zip(luma.par_chunks_mut(w * BLOCK)).enumerate().for_each(
        |(band, (rgb, luma))| {
            let rgb = rgb.as_chunks_mut::<3>().0;
            let rows = luma.len() / w;
            for x0 in (0..w).step_by(BLOCK) {
                let x1 = (x0 + BLOCK).min(w);
                for row in 0..rows {
                    let y = (band * BLOCK + row) as isize;
                    let mut at = walk.start + y * walk.down + x0 as isize * walk.right;
                    for i in row * w + x0..row * w + x1 {
                        let c = colour(&pixels[at as usize]);
                        rgb[i] = c.map(T::to_u8);
                        luma[i] = if N < 3 {
                            t.grey[c[0].index()]
                        } else {
                            t.red[c[0].index()] + t.green[c[1].index()] + t.blue[c[2].index()]
                        };
                        at += walk.right;
                    }
                }
            }
        },
    );
    (rgb, luma)
}

/// True when some pixels differ between their colours by more than JPEG's rounding (2 code values); every 61st pixel
/// is looked at.
pub(super) fn has_colour(rgb: &RgbImage) -> bool {
    const ROUNDING: u8 = 2;
    rgb.as_raw().as_chunks::<3>().0.iter().step_by(61).any(|[r, g, b]| {
        let (low, high) = (r.min(g).min(b), r.max(g).max(b));
        high - low > ROUNDING
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    /// The stored picture of each orientation, made by the TIFF 6.0 wording (where row 0 and column 0 of the stored
    /// picture lie when seen upright), from the upright letters `abc/def`.
    #[test]
    fn every_orientation_shows_the_same_picture() {
        for (orientation, width, stored) in [
            (1, 3, "abcdef"),
            (2, 3, "cbafed"),
            (3, 3, "fedcba"),
            (4, 3, "defabc"),
            (5, 2, "adbecf"),
            (6, 2, "cfbead"),
            (7, 2, "fcebda"),
            (8, 2, "daebfc"),
            (0, 3, "abcdef"),
            (9, 3, "abcdef"),
        ] {
            for channels in [1, 3] {
                let samples = stored.bytes().flat_map(|b| std::iter::repeat_n(b, channels)).collect();
                let d = Decoded { width, height: 6 / width, channels, samples: Samples::Eight(samples) };
                let (rgb, luma) = upright(d, orientation);
                assert_eq!((rgb.width(), rgb.height()), (3, 2));
                let seen: String = rgb.pixels().map(|p| char::from(p[0])).collect();
                assert_eq!(seen, "abcdef", "orientation {orientation}, {channels} channels");
                let light = super::super::colour::to_linear(f64::from(b'f') / 255.0) as f32;
                assert!((luma.data[5] - light).abs() < 1e-6);
            }
        }
    }
    #[test]
    fn a_see_through_pixel_lies_on_white() {
        let d = Decoded { width: 3, height: 1, channels: 2, samples: Samples::Eight(vec![10, 255, 10, 0, 0, 51]) };
        assert_eq!(upright(d, 1).0.as_raw()[..], [10, 10, 10, 255, 255, 255, 204, 204, 204]);
    }
}
