//! What the camera wrote: how the picture stands, make, model, date, focal length. Place, serial numbers and names are
//! not read.

use super::Camera;
use super::guard::guarded;
use ::exif::{Exif, In, Reader, Tag, Value};

/// The facts of one photo's EXIF block.
#[derive(Debug, Default)]
pub(super) struct Facts {
    /// 1 to 8; 1 where the file says nothing sensible.
    pub orientation: u32,
    pub camera: Camera,
    /// Size that the camera recorded, pixels; differs from the file's own size in shape after a crop.
    pub recorded: Option<(u32, u32)>,
    /// Set when an EXIF block is there but could not be read in full.
    pub trouble: Option<String>,
    /// A TIFF that only holds the preview of a raw picture.
    pub raw_preview: bool,
}

/// 35 mm equivalents outside this range (mm) are taken for nonsense: the shortest fisheyes are near 6 mm, the longest
/// telephotos near 1000 mm; 0 means unknown (CIPA DC-008).
const F35_RANGE_MM: std::ops::RangeInclusive<f64> = 5.0..=1000.0;
/// Longest make or model kept, characters.
const LONGEST_TEXT: usize = 64;

/// Reads the facts from a whole JPEG, PNG, TIFF or WebP file, or (`bare`) from the EXIF block alone.
/// A block that is missing or broken never fails: it gives facts that say nothing.
pub(super) fn facts(data: &[u8], bare: bool) -> Facts {
    let mut trouble = None;
    let read = guarded(|| {
        let mut reader = Reader::new();
        reader.continue_on_error(true);
        if bare { reader.read_raw(data.to_vec()) } else { reader.read_from_container(&mut std::io::Cursor::new(data)) }
    });
    let exif = match read {
        Ok(Ok(exif)) => Some(exif),
        Ok(Err(::exif::Error::NotFound(_))) => None,
        Ok(Err(::exif::Error::PartialResult(part))) => {
            let (exif, errors) = part.into_inner();
            trouble = errors.first().map(ToString::to_string);
            Some(exif)
        }
        Ok(Err(e)) => {
            trouble = Some(e.to_string());
            None
        }
        Err(panic) => {
            trouble = Some(panic);
            None
        }
    };
    let Some(exif) = exif else {
        return Facts { orientation: 1, trouble, ..Facts::default() };
    };
    let number = |tag| uint(&exif, tag);
    let dng_version = Tag(::exif::Context::Tiff, 0xc612);
    let subfile_type = Tag(::exif::Context::Tiff, 0x00fe);
    if number(Tag::Orientation).is_some() {
        // What is needed was read; the damage lies elsewhere in the block (maker's notes, a preview).
        trouble = None;
    }
    Facts {
        orientation: number(Tag::Orientation).filter(|o| (1..=8).contains(o)).unwrap_or(1),
        camera: Camera {
            make: text(&exif, Tag::Make),
            model: text(&exif, Tag::Model),
            taken: [Tag::DateTimeOriginal, Tag::DateTimeDigitized, Tag::DateTime].iter().find_map(|t| date(&exif, *t)),
            f35_mm: number(Tag::FocalLengthIn35mmFilm).map(f64::from).filter(|f| F35_RANGE_MM.contains(f)),
        },
        recorded: number(Tag::PixelXDimension).zip(number(Tag::PixelYDimension)).filter(|(w, h)| *w > 0 && *h > 0),
        trouble,
        raw_preview: exif.get_field(dng_version, In::PRIMARY).is_some() || number(subfile_type) == Some(1),
    }
}

/// True when the camera recorded a picture of another shape (over 2 % in the ratio of sides, either way round): then
/// the frame's diagonal, and with it the focal length in pixels, is not known any more. Editors that scale keep the
/// shape; a phone's own crop to 16:9 is 33 %.
pub(super) fn cropped(recorded: Option<(u32, u32)>, width: usize, height: usize) -> bool {
    let shape = |a: f64, b: f64| a.max(b) / a.min(b);
    recorded.is_some_and(|(w, h)| {
        (shape(f64::from(w), f64::from(h)) / shape(width as f64, height as f64) - 1.0).abs() > 0.02
    })
}

fn uint(exif: &Exif, tag: Tag) -> Option<u32> {
    exif.get_field(tag, In::PRIMARY)?.value.get_uint(0)
}

/// First line of a text field: printable characters only, trimmed, `None` if nothing is left.
fn text(exif: &Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(lines) = &exif.get_field(tag, In::PRIMARY)?.value else {
        return None;
    };
    let line = String::from_utf8_lossy(lines.first()?);
    let clean: String = line.chars().filter(|c| !c.is_control() && *c != '\u{fffd}').take(LONGEST_TEXT).collect();
    let clean = clean.trim();
    (!clean.is_empty()).then(|| clean.to_owned())
}

/// `YYYY:MM:DD HH:MM:SS` as ISO 8601 local time; `None` unless every field is in its range.
fn date(exif: &Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(lines) = &exif.get_field(tag, In::PRIMARY)?.value else {
        return None;
    };
    let d = ::exif::DateTime::from_ascii(lines.first()?).ok()?;
    let sensible = d.year >= 1900
        && (1..=12).contains(&d.month)
        && (1..=31).contains(&d.day)
        && d.hour < 24
        && d.minute < 60
        && d.second <= 60;
    sensible.then(|| format!("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", d.year, d.month, d.day, d.hour, d.minute, d.second))
}
