//! The page to mark points and an outline by hand: one file with its script, nothing fetched, nothing sent.

use super::render;
use crate::error::Result;
use crate::photo::Photo;
use askama::Template;
use serde::Serialize;
use std::path::Path;

#[derive(Template)]
#[template(path = "mark.html", config = "src/report/askama.toml")]
struct Page<'a> {
    file: &'a str,
    saved: &'a str,
    width: usize,
    height: usize,
    picture: &'a str,
    facts: String,
}

/// What the page's script knows of the photo.
#[derive(Serialize)]
struct Facts<'a> {
    file: &'a str,
    saved: &'a str,
    width: usize,
    height: usize,
    sha256: &'a str,
}

/// The page as UTF-8 text. `picture`: the photo as a data URI, at any size; places are told in the pixels of `photo`.
/// Fails only when the template does, which the build has checked.
pub fn mark_page(photo: &Photo, picture: &str) -> Result<String> {
    let stem = Path::new(&photo.file).file_stem().map_or("photo".into(), |s| s.to_string_lossy());
    let saved = format!("{stem}.marks.toml");
    let facts =
        Facts { file: &photo.file, saved: &saved, width: photo.width, height: photo.height, sha256: &photo.sha256 };
    // A name with "</script>" in it must not end the block.
    let facts = serde_json::to_string(&facts).unwrap_or_default().replace('<', "\\u003c");
    let page = Page { file: &photo.file, saved: &saved, width: photo.width, height: photo.height, picture, facts };
    render(&page, &photo.file)
}
