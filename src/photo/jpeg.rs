//! JPEG: the first picture of the file, decoded strictly, so that a damaged file is never taken for a grey floor.

use super::profile::Space;
use super::upright::{Decoded, Samples};
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Width and height from the header, pixels.
pub(super) fn size(data: &[u8]) -> Result<(usize, usize), String> {
    let mut d = JpegDecoder::new_with_options(ZCursor::new(data), options(false));
    d.decode_headers().map_err(|e| words(&e))?;
    d.dimensions().ok_or_else(|| "no size in the header".to_owned())
}

/// Decodes to grey or RGB. Fails on any damage in the picture's data.
pub(super) fn decode(data: &[u8]) -> Result<(Decoded, Space), String> {
    match attempt(data, true) {
        // Stray bytes between header segments leave the picture whole.
        Err(DecodeErrors::FormatStatic(s)) if s.contains("between headers") => attempt(data, false),
        result => result,
    }
    .map_err(|e| words(&e))
}

fn attempt(data: &[u8], strict: bool) -> Result<(Decoded, Space), DecodeErrors> {
    let mut d = JpegDecoder::new_with_options(ZCursor::new(data), options(strict));
    d.decode_headers()?;
    let grey = d.input_colorspace() == Some(ColorSpace::Luma);
    let channels = if grey { 1 } else { 3 };
    d.set_options(options(strict).jpeg_set_out_colorspace(if grey { ColorSpace::Luma } else { ColorSpace::RGB }));
    let samples = d.decode()?;
    let (width, height) = d.dimensions().unwrap_or_default();
    if samples.len() != width * height * channels {
        return Err(DecodeErrors::FormatStatic("the picture has another number of samples than its header says"));
    }
    let space = d.icc_profile().map_or(Space::Srgb, Space::Icc);
    Ok((Decoded { width, height, channels, samples: Samples::Eight(samples) }, space))
}

fn options(strict: bool) -> DecoderOptions {
    DecoderOptions::default().set_strict_mode(strict).set_max_width(usize::MAX).set_max_height(usize::MAX)
}

fn words(e: &DecodeErrors) -> String {
    e.to_string().replace("[strict-mode]: ", "").trim_matches('"').to_owned()
}

/// Where the first picture ends (byte after its end marker), walking segments and scans; `None` if the file stops
/// before that. The picture's own previews lie inside segments and are stepped over.
pub(super) fn end_of_picture(data: &[u8]) -> Option<usize> {
    let mut at = 2;
    loop {
        // Between segments: the next marker, after any fill bytes.
        at += data.get(at..)?.iter().position(|b| *b == 0xff)?;
        let marker = *data.get(at + 1)?;
        match marker {
            0xff => at += 1,
            0x00 | 0x01 | 0xd0..=0xd8 => at += 2,
            0xd9 => return Some(at + 2),
            _ => {
                let length = usize::from(u16::from_be_bytes([*data.get(at + 2)?, *data.get(at + 3)?]));
                at += 2 + length;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn the_first_end_marker_outside_segments_ends_the_picture() {
        let mut d = b"\xff\xd8\xff\xe1\x00\x06\xff\xd9\xff\xd9\xff\xda\x00\x02ab\xff\x00c\xff\xd0d\xff\xd9".to_vec();
        let n = d.len();
        d.extend_from_slice(b"\xff\xd8 second \xff\xd9");
        assert_eq!(end_of_picture(&d), Some(n));
        assert_eq!(end_of_picture(&d[..n - 1]), None);
        assert_eq!(end_of_picture(b"\xff\xd8"), None);
    }
}
