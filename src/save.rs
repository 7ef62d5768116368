//! The files of one run into their folder: all of them or none, and nothing replaced that was not asked for.

use lowsun::error::{Error, Result, Stage};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The folder of a report when none is named: `NAME.lowsun` beside the photo.
pub fn default_folder(photo: &Path) -> PathBuf {
    photo.with_extension("lowsun")
}

/// Fails when `folder` is a file, or holds something and `overwrite` was not asked for.
pub fn check_free(folder: &Path, overwrite: bool, option: &str) -> Result<()> {
    let name = folder.display().to_string();
    let in_use = |what: &str, hint: String| Err(Error::new(Stage::Arguments, name.clone(), what, hint));
    if let Some(there) = folder.ancestors().find(|a| a.exists()).filter(|a| !a.is_dir()) {
        let what = if there == folder { "is a file, not a folder" } else { "stands below a file" };
        return in_use(what, format!("name another folder with {option}"));
    }
    let used = fs::read_dir(folder).is_ok_and(|mut d| d.next().is_some());
    if used && !overwrite {
        let hint = format!("name another folder with {option}, or replace the older report with --overwrite");
        return in_use("already holds something", hint);
    }
    Ok(())
}

/// Fails when one of `files` is in `folder` already and `overwrite` was not asked for, or no folder can stand there.
pub fn check_new(folder: &Path, files: &[(&str, &[u8])], overwrite: bool) -> Result<()> {
    check_free(folder, true, "--out")?;
    match files.iter().map(|f| folder.join(f.0)).find(|f| f.exists()) {
        Some(there) if there.is_dir() => {
            let hint = "name another place with --out";
            Err(Error::new(Stage::Arguments, there.display().to_string(), "is a folder", hint))
        }
        Some(there) if !overwrite => {
            let hint = "name another place with --out, or replace the older file with --overwrite";
            Err(Error::new(Stage::Arguments, there.display().to_string(), "is there already", hint))
        }
        _ => Ok(()),
    }
}

/// Writes one file. Fails when it is there already and `overwrite` was not asked for, or cannot be written.
pub fn save_file(path: &Path, bytes: &[u8], overwrite: bool) -> Result<()> {
    let Some(name) = path.file_name() else {
        return Err(Error::new(
            Stage::Arguments,
            path.display().to_string(),
            "is no file name",
            "name a file with --out",
        ));
    };
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let name = name.to_string_lossy();
    let files = [(&*name, bytes)];
    check_new(folder, &files, overwrite)?;
    save(folder, &files)
}

/// Writes `files` (name, bytes) into `folder`. They are written to a folder beside it first and moved in when all are
/// there, so a failure leaves no half report. Fails when a file cannot be written or moved.
pub fn save(folder: &Path, files: &[(&str, &[u8])]) -> Result<()> {
    let parent = match folder.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    let name = folder.file_name().map_or("report".into(), |n| n.to_string_lossy());
    let staging = parent.join(format!(".{name}.{}", std::process::id()));
    let done = fill(&staging, folder, parent, files);
    let _ = fs::remove_dir_all(&staging);
    done.map_err(|e| {
        Error::new(
            Stage::Output,
            folder.display().to_string(),
            format!("cannot be saved: {e}"),
            "check that the disk has room and that you may write there, or name another folder with --out",
        )
    })
}

fn fill(staging: &Path, folder: &Path, parent: &Path, files: &[(&str, &[u8])]) -> io::Result<()> {
    fs::create_dir_all(parent)?;
    fs::create_dir(staging)?;
    for (name, bytes) in files {
        fs::write(staging.join(name), bytes)?;
    }
    if !folder.exists() {
        return fs::rename(staging, folder);
    }
    for (name, _) in files {
        fs::rename(staging.join(name), folder.join(name))?;
    }
    Ok(())
}
