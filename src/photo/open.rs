//! The photo's file: its bytes, and what kind of picture they hold (judged by content, never by the name).

use crate::error::{Error, Result, Stage};
use std::fs;
use std::io::ErrorKind;
use std::path::Path;

/// What this room can read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    Jpeg,
    Png,
    Tiff,
    WebP,
    Heic,
}

impl std::fmt::Display for Format {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Tiff => "TIFF",
            Self::WebP => "WebP",
            Self::Heic => "HEIC",
        })
    }
}

pub(super) const READABLE: &str = "give the photo as JPEG, HEIC, PNG, TIFF or WebP";
pub(super) const SEND_AGAIN: &str =
    "copy the original from the camera or phone again (a cable or a cloud folder, not a chat), or open and re-save it";

/// Reads the whole file; `limit` (bytes) guards against a file that no photo within the pixel limit can fill.
pub(super) fn bytes(path: &Path, limit: u64) -> Result<Vec<u8>> {
    let fail = |what: &str, hint: &str| Error::new(Stage::Photo, path.display().to_string(), what, hint);
    let facts = match fs::metadata(path) {
        Ok(f) => f,
        Err(e) if e.kind() == ErrorKind::NotFound => {
            return Err(fail("there is no such file", "check the spelling and the folder"));
        }
        Err(e) => {
            return Err(fail(&format!("cannot be looked at ({e})"), "check the name and your rights to the folder"));
        }
    };
    if facts.is_dir() {
        return Err(fail("this is a folder, not a photo", "name one photo inside it"));
    }
    if !facts.is_file() {
        return Err(fail("this is not an ordinary file", "save the photo to a file first"));
    }
    if facts.len() > limit {
        let what = format!("{} bytes, more than the largest accepted photo can fill", facts.len());
        return Err(fail(&what, "raise --max-megapixels if this really is one photo"));
    }
    let data = fs::read(path).map_err(|e| {
        fail(&format!("cannot be read ({e})"), "check that the file is yours to read and the disk is sound")
    })?;
    if data.is_empty() {
        return Err(fail("the file is empty (0 bytes)", SEND_AGAIN));
    }
    Ok(data)
}

/// The picture format of a file's bytes, or a sentence on what they are instead.
pub(super) fn format_of(data: &[u8]) -> std::result::Result<Format, String> {
    let starts = |s: &[u8]| data.starts_with(s);
    let at = |i: usize, s: &[u8]| data.get(i..i + s.len()) == Some(s);
    if starts(b"\xff\xd8\xff") {
        return Ok(Format::Jpeg);
    }
    if starts(b"\x89PNG\r\n\x1a\n") {
        return Ok(Format::Png);
    }
    if starts(b"II*\0") && at(8, b"CR") {
        return Err("this is a raw camera file".into());
    }
    if starts(b"II*\0") || starts(b"MM\0*") || starts(b"II+\0") || starts(b"MM\0+") {
        return Ok(Format::Tiff);
    }
    if starts(b"RIFF") && at(8, b"WEBP") {
        return Ok(Format::WebP);
    }
    if at(4, b"ftyp") {
        return match data.get(8..12) {
            Some(b"heic" | b"heix" | b"heim" | b"heis" | b"mif1" | b"mif2" | b"hevc" | b"hevx" | b"msf1") => {
                Ok(Format::Heic)
            }
            Some(b"avif" | b"avis") => Err("this is an AVIF picture".into()),
            Some(b"crx ") => Err("this is a raw camera file".into()),
            _ => Err("this is a film or another file in a film's container".into()),
        };
    }
    let known: [(&[u8], &str); 9] = [
        (b"GIF8", "this is a GIF picture"),
        (b"BM", "this is a BMP picture"),
        (b"%PDF", "this is a PDF file"),
        (b"\xff\x0a", "this is a JPEG XL picture"),
        (b"\0\0\0\x0cJXL ", "this is a JPEG XL picture"),
        (b"\0\0\0\x0cjP  ", "this is a JPEG 2000 picture"),
        (b"PK\x03\x04", "this is a packed archive (zip)"),
        (b"8BPS", "this is a layered picture of an image editor"),
        (b"IIU\0", "this is a raw camera file"),
    ];
    if let Some((_, what)) = known.iter().find(|(magic, _)| starts(magic)) {
        return Err((*what).to_owned());
    }
    let head = &data[..data.len().min(256)];
    if head.iter().all(|b| matches!(b, b'\t' | b'\n' | b'\r' | 0x20..=0x7e)) {
        return Err("this is text, not a picture, whatever its name says".into());
    }
    let first: Vec<String> = head.iter().take(8).map(|b| format!("{b:02x}")).collect();
    Err(format!("not a picture of a kind known here (it begins with the bytes {})", first.join(" ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn the_content_decides_the_format() {
        assert_eq!(format_of(b"\xff\xd8\xff\xe0"), Ok(Format::Jpeg));
        assert_eq!(format_of(b"\0\0\0\x18ftypheic"), Ok(Format::Heic));
        for (data, word) in [
            (&b"hello, I am no photo\n"[..], "text"),
            (b"GIF89a", "GIF"),
            (b"\0\0\0\x18ftypqt  ", "film"),
            (b"II*\0\x10\0\0\0CR\x02", "raw"),
            (b"\x01\x02\x03", "01 02 03"),
        ] {
            let e = format_of(data).unwrap_err();
            assert!(e.contains(word), "{e}");
        }
    }
}
