//! From a file's bytes to samples: size first, limits next, then the decoder, with its panics kept inside.

use super::guard::guarded;
use super::open::{Format, SEND_AGAIN};
use super::profile::Space;
use super::upright::{Decoded, Samples};
use super::{heic, jpeg};
use crate::error::{Error, Result, Stage};
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use std::io::Cursor;

/// A shorter side than this (pixels) cannot show a pocket floor: a cutter's mark needs several pixels and a floor
/// several marks. A thumbnail is usually 100 to 200 pixels wide.
const SMALLEST_SIDE: usize = 64;

/// Room beside the picture itself that a decoder may take, bytes: tables, one strip or tile, colour profiles.
const DECODER_ROOM: u64 = 64 << 20;

/// Decodes the (first) picture in `data`, at most `max_pixels` large; says what its colours mean.
pub(super) fn decode(subject: &str, data: &[u8], format: Format, max_pixels: u64) -> Result<(Decoded, Space)> {
    let damaged = |why: String| {
        let what = if jpeg_cut_short(format, data) {
            format!("the {format} file is cut short: it stops at byte {} inside the picture", data.len())
        } else {
            format!("the {format} data ({} bytes) are damaged or of a rare kind: {why}", data.len())
        };
        Error::new(Stage::Photo, subject, what, SEND_AGAIN)
    };
    let failed = |panic: String| format!("the decoder failed on it ({panic})");
    let (width, height) =
        guarded(|| size(data, format, max_pixels)).map_err(failed).and_then(|r| r).map_err(damaged)?;
    check_size(subject, width, height, max_pixels)?;
    let decoder = || {
        guarded(|| match format {
            Format::Jpeg => jpeg::decode(data),
            Format::Heic => heic::decode(data, max_pixels),
            _ => with_image(data, image_format(format), max_pixels),
        })
        .map_err(failed)
        .and_then(|r| r)
    };
    // A decoder may fill up what is missing with grey, so the file's end is looked for beside it.
    let (decoded, cut_short) = rayon::join(decoder, || jpeg_cut_short(format, data));
    let (decoded, space) = match decoded {
        Ok(_) if cut_short => return Err(damaged(String::new())),
        result => result.map_err(damaged)?,
    };
    // What the header said and what came out may differ in a damaged file.
    check_size(subject, decoded.width, decoded.height, max_pixels)?;
    Ok((decoded, space))
}

fn jpeg_cut_short(format: Format, data: &[u8]) -> bool {
    format == Format::Jpeg && jpeg::end_of_picture(data).is_none()
}

fn size(data: &[u8], format: Format, max_pixels: u64) -> std::result::Result<(usize, usize), String> {
    match format {
        Format::Jpeg => jpeg::size(data),
        Format::Heic => heic::size(data),
        _ => {
            let d = reader(data, image_format(format), max_pixels).into_decoder().map_err(|e| e.to_string())?;
            let (w, h) = d.dimensions();
            Ok((w as usize, h as usize))
        }
    }
}

fn check_size(subject: &str, width: usize, height: usize, max_pixels: u64) -> Result<()> {
    let pixels = width as u64 * height as u64;
    let megapixels = pixels as f64 / 1e6;
    if pixels > max_pixels {
        let what = format!(
            "{width} x {height} pixels ({megapixels:.1} megapixels) is more than the limit of {:.1} megapixels",
            max_pixels as f64 / 1e6
        );
        let hint = format!("raise the limit with --max-megapixels {}, or save a smaller copy", megapixels.ceil());
        return Err(Error::new(Stage::Photo, subject, what, hint));
    }
    if width.min(height) < SMALLEST_SIDE {
        let what = format!("{width} x {height} pixels is too small to show a floor");
        let hint = "give the original photo, not its thumbnail; 3000 pixels across the pocket is a good size";
        return Err(Error::new(Stage::Photo, subject, what, hint));
    }
    Ok(())
}

fn image_format(format: Format) -> ImageFormat {
    match format {
        Format::Tiff => ImageFormat::Tiff,
        Format::WebP => ImageFormat::WebP,
        _ => ImageFormat::Png,
    }
}

fn reader(data: &[u8], format: ImageFormat, max_pixels: u64) -> ImageReader<Cursor<&[u8]>> {
    let mut limits = Limits::no_limits();
    // Largest sample layout: four channels of 16 bits; decoders may hold the picture twice.
    limits.max_alloc = Some(max_pixels.saturating_mul(16).saturating_add(DECODER_ROOM));
    let mut r = ImageReader::with_format(Cursor::new(data), format);
    r.limits(limits);
    r
}

fn with_image(data: &[u8], format: ImageFormat, max_pixels: u64) -> std::result::Result<(Decoded, Space), String> {
    let mut decoder = reader(data, format, max_pixels).into_decoder().map_err(|e| e.to_string())?;
    let space = decoder.icc_profile().ok().flatten().map_or(Space::Srgb, Space::Icc);
    let image = DynamicImage::from_decoder(decoder).map_err(|e| e.to_string())?;
    let (width, height) = (image.width() as usize, image.height() as usize);
    let channels = usize::from(image.color().channel_count());
    let samples = match image {
        DynamicImage::ImageLuma8(i) => Samples::Eight(i.into_raw()),
        DynamicImage::ImageLumaA8(i) => Samples::Eight(i.into_raw()),
        DynamicImage::ImageRgb8(i) => Samples::Eight(i.into_raw()),
        DynamicImage::ImageRgba8(i) => Samples::Eight(i.into_raw()),
        DynamicImage::ImageLuma16(i) => Samples::Sixteen(i.into_raw()),
        DynamicImage::ImageLumaA16(i) => Samples::Sixteen(i.into_raw()),
        DynamicImage::ImageRgb16(i) => Samples::Sixteen(i.into_raw()),
        DynamicImage::ImageRgba16(i) => Samples::Sixteen(i.into_raw()),
        _ => return Err("its samples are floating-point numbers, whose light scale is not known".into()),
    };
    Ok((Decoded { width, height, channels, samples }, space))
}
