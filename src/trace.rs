//! Stage clock and numbered stage records: `NN-stage.png` and `NN-stage.json`. Off, it does nothing but read the clock.

use crate::error::{Error, Result, Stage};
use image::RgbImage;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// What one stage leaves to look at: a picture, where there is something to see, and values.
pub type Record = (Option<RgbImage>, serde_json::Value);

/// Times every stage; with a folder also saves what each stage hands on.
#[derive(Debug)]
pub struct Trace {
    folder: Option<PathBuf>,
    saved: usize,
    stamps: Vec<(&'static str, Duration)>,
}

impl Trace {
    /// Clock only; nothing is saved.
    pub fn off() -> Self {
        Self { folder: None, saved: 0, stamps: Vec::new() }
    }
    /// Saves into `folder`, which is made when missing. Fails when it cannot be made.
    pub fn into_folder(folder: &Path) -> Result<Self> {
        std::fs::create_dir_all(folder).map_err(|e| refused(folder, &e))?;
        Ok(Self { folder: Some(folder.to_owned()), ..Self::off() })
    }
    /// Runs one stage and notes its own time.
    pub fn stage<T>(&mut self, name: &'static str, work: impl FnOnce() -> T) -> T {
        let start = Instant::now();
        let out = work();
        self.stamps.push((name, start.elapsed()));
        out
    }
    /// Saves the record of the last stage; `record` is only called when a folder was given.
    ///
    /// Fails when a file cannot be written.
    pub fn record(&mut self, name: &str, record: impl FnOnce() -> Record) -> Result<()> {
        let Some(folder) = &self.folder else { return Ok(()) };
        self.saved += 1;
        let (picture, values) = record();
        let base = folder.join(format!("{:02}-{name}", self.saved));
        let json = base.with_extension("json");
        std::fs::write(&json, format!("{values:#}\n")).map_err(|e| refused(&json, &e))?;
        if let Some(picture) = picture {
            let png = base.with_extension("png");
            picture.save(&png).map_err(|e| refused(&png, &e))?;
        }
        Ok(())
    }
    /// Stages in the order they ran, with their own times.
    pub fn stamps(&self) -> &[(&'static str, Duration)] {
        &self.stamps
    }
}

fn refused(path: &Path, why: &dyn std::fmt::Display) -> Error {
    Error::new(
        Stage::Output,
        path.display().to_string(),
        format!("cannot be written: {why}"),
        "choose a folder you may write to with --trace",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_trace_that_is_off_never_asks_for_a_record() {
        let mut t = Trace::off();
        assert_eq!(t.stage("photo", || 7), 7);
        t.record("photo", || panic!("asked for a record")).unwrap();
        assert_eq!(t.stamps().len(), 1);
    }
}
