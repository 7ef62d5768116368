//! HEIC and HEIF as phones write them. The decoder applies the file's own rotation so the
//! EXIF orientation is never applied again.

use super::exif::{self, Facts};
use super::guard::guarded;
use super::profile::Space;
use super::upright::{Decoded, Samples};
use heifer::Options;
use heifer::heifer_isobmff::HeifFile;
use heifer::heifer_isobmff::boxes::{ColorInfo, Property};

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

/// Decodes upright, with what the file says about its colours.
///
/// Code numbers for the curve (BT.709, sRGB, gamma) are not told apart: cameras write them loosely and viewers take all
/// of them for the sRGB curve. The curves of high dynamic range are refused.
pub(super) fn decode(data: &[u8], max_pixels: u64) -> Result<(Decoded, Space), String> {
    let space = space(data).map_err(|e| e.to_string())?.ok_or("its brightness curve is for high dynamic range")?;
    let options = Options { max_pixels, ..Options::default() };
    let mut image = heifer::decode_rgba8(data, &options).map_err(|e| e.to_string())?;
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
    Ok((Decoded { width, height, channels, samples: Samples::Eight(image.data) }, space))
}

/// The colour space of the main picture or, for a tiled one, of its first tile; `None` for high dynamic range
/// (code numbers of ITU-T H.273: primaries 12 = Display P3; transfer 16 and 18 = PQ and HLG).
fn space(data: &[u8]) -> Result<Option<Space>, heifer::heifer_isobmff::Error> {
    let file = HeifFile::parse(data)?;
    let id = file.primary_id;
    if let Some(icc) = file.icc_profile(id)? {
        return Ok(Some(Space::Icc(icc.to_vec())));
    }
    for item in std::iter::once(id).chain(file.referenced_items(id, b"dimg").first().copied()) {
        for property in file.item_properties(item)? {
            if let Property::Color(ColorInfo::Nclx { primaries, transfer, .. }) = property {
                return Ok(match (primaries, transfer) {
                    (_, 16 | 18) => None,
                    (12, _) => Some(Space::DisplayP3),
                    _ => Some(Space::Srgb),
                });
            }
        }
    }
    Ok(Some(Space::Srgb))
}
