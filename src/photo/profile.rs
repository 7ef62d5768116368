//! Colours that the file states in another RGB space (Display P3 of many phones, a camera's wide space) are brought to
//! sRGB, so that one curve and one set of luminance weights hold for every photo.

use super::guard::guarded;
use super::upright::{Decoded, Samples};
use moxcms::{ColorProfile, DataColorSpace, Layout, TransformOptions};
use rayon::prelude::*;

/// What a file says about its colours.
#[derive(Debug, Default, PartialEq)]
pub(super) enum Space {
    /// sRGB, or nothing said.
    #[default]
    Srgb,
    /// Primaries of Display P3 (SMPTE EG 432-1) with the sRGB curve, said by a code number.
    DisplayP3,
    /// An ICC profile (ISO 15076-1).
    Icc(Vec<u8>),
}

/// Brings the samples to sRGB in place. Grey pictures and profiles that are not for RGB pixels are left alone.
/// A profile that cannot be used is an `Err` with the reason; the samples are then as they were.
pub(super) fn to_srgb(decoded: &mut Decoded, space: &Space) -> Result<(), String> {
    let layout = match decoded.channels {
        3 => Layout::Rgb,
        4 => Layout::Rgba,
        _ => return Ok(()),
    };
    let profile = match space {
        Space::Srgb => return Ok(()),
        Space::DisplayP3 => ColorProfile::new_display_p3(),
        Space::Icc(bytes) => guarded(|| ColorProfile::new_from_slice(bytes))?.map_err(|e| e.to_string())?,
    };
    if profile.color_space != DataColorSpace::Rgb {
        return Ok(());
    }
    guarded(|| {
        let (srgb, options) = (ColorProfile::new_srgb(), TransformOptions::default());
        match &mut decoded.samples {
            Samples::Eight(s) => {
                let t = profile.create_transform_8bit(layout, &srgb, layout, options).map_err(|e| e.to_string())?;
                convert(s, decoded.channels, |from, to| t.transform(from, to))
            }
            Samples::Sixteen(s) => {
                let t = profile.create_transform_16bit(layout, &srgb, layout, options).map_err(|e| e.to_string())?;
                convert(s, decoded.channels, |from, to| t.transform(from, to))
            }
        }
    })?
}

fn convert<T: Copy + Default + Send + Sync + Into<i32>>(
    samples: &mut [T],
    channels: usize,
    transform: impl Fn(&[T], &mut [T]) -> Result<(), moxcms::CmsError> + Sync,
) -> Result<(), String> {
    const PIXELS: usize = 1 << 14;
    if is_identity(samples, channels, &transform)? {
        return Ok(());
    }
    samples
        .par_chunks_mut(PIXELS * channels)
        .try_for_each_init(Vec::new, |from: &mut Vec<T>, chunk| {
            from.clear();
            from.extend_from_slice(chunk);
            transform(from, chunk)
        })
        .map_err(|e| e.to_string())
}

/// True when a thousand pixels spread over the picture come out as they went in, within one code value of eight bits:
/// most files carry the profile of sRGB itself.
fn is_identity<T: Copy + Default + Into<i32>>(
    samples: &[T],
    channels: usize,
    transform: impl Fn(&[T], &mut [T]) -> Result<(), moxcms::CmsError>,
) -> Result<bool, String> {
    let pixels = samples.len() / channels;
    let from: Vec<T> =
        samples.chunks_exact(channels).step_by((pixels / 1000).max(1)).flat_map(|p| p.iter().copied()).collect();
    let mut to = vec![T::default(); from.len()];
    transform(&from, &mut to).map_err(|e| e.to_string())?;
    let code = if size_of::<T>() == 1 { 1 } else { 257 };
    Ok(from.iter().zip(&to).all(|(a, b)| (Into::<i32>::into(*a) - (*b).into()).abs() <= code))
}
