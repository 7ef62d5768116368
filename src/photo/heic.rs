//! HEIC and HEIF as phones write them. The decoder applies the file's own rotation and brings its colours to sRGB, so
//! the EXIF orientation is never applied again.

use super::exif::{self, Facts};
use super::guard::guarded;
use super::upright::{Decoded, Samples};
use heifer::Options;
use heifer::heifer_isobmff::HeifFile;

/// Width and height of the stored picture from the container, pixels.
pub(super) fn size(data: &[u8]) -> Result<(usize, usize), String> {
    let file = HeifFile::parse(data).map_err(|e| e.to_string())?;
    let size = file.image_size(file.primary_id).map_err(|e| e.to_string())?;
    let (w, h) = size.ok_or("no size in the header")?;
    Ok((w as usize, h as usize))
}

/// The camera's facts; the orientation is 1, for the decoder turns the picture itself.
pub(super) fn facts(data: &[u8]) -> Facts {
    let block = guarded(|| {
        let file = HeifFile::parse(data).ok()?;
        file.exif(file.primary_id).ok()?
    });
    match block {
        Ok(Some(block)) => Facts { orientation: 1, ..exif::facts(&block, true) },
        _ => Facts { orientation: 1, ..Facts::default() },
    }
}

/// Decodes to upright sRGB.
pub(super) fn decode(data: &[u8], max_pixels: u64) -> Result<Decoded, String> {
    let options = Options { max_pixels, ..Options::default() };
    let mut image = heifer::decode_srgb_rgba8(data, &options).map_err(|e| e.to_string())?;
    let (width, height) = (image.width as usize, image.height as usize);
    if image.data.len() != width * height * 4 {
        return Err("the picture has another number of samples than its header says".into());
    }
    if !image.has_alpha {
        // Three bytes a pixel, in place: the fourth says nothing.
        for i in 0..width * height {
            image.data.copy_within(4 * i..4 * i + 3, 3 * i);
        }
        image.data.truncate(3 * width * height);
    }
    let channels = if image.has_alpha { 4 } else { 3 };
    Ok(Decoded { width, height, channels, samples: Samples::Eight(image.data) })
}
