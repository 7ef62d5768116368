//! `lowsun inspect` over many photos: side by side, one bad photo never stops the rest, done ones are kept.

use super::inspect::{Inspect, make, page_to_mark, plan_of};
use super::say;
use crate::save;
use indicatif::{ProgressBar, ProgressStyle};
use lowsun::error::{Error, Result, Stage};
use lowsun::plan::PlanFacts;
use lowsun::records::{Book, Entry};
use lowsun::summary::{self, Outcome, Row};
use lowsun::trace::Trace;
use lowsun::{draw, photo, pipeline, plan};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Endings of the files that are taken from a folder.
const ENDINGS: [&str; 8] = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif"];

/// Photos at once where the user does not say: more than four gain little, since every photo uses all cores by itself,
/// and each needs memory of its own.
const MOST_AT_ONCE: usize = 4;

/// Whether these arguments mean a collection: several, a folder, or a pattern.
pub fn is_many(photos: &[PathBuf]) -> bool {
    photos.len() > 1 || photos.iter().any(|p| p.is_dir() || is_pattern(p))
}

fn is_pattern(path: &Path) -> bool {
    !path.exists() && path.to_string_lossy().contains(['*', '?', '['])
}

/// A part of a collection: number and of how many.
pub fn shard(text: &str) -> std::result::Result<(u32, u32), String> {
    let read = text.split_once('/').and_then(|(k, n)| Some((k.trim().parse().ok()?, n.trim().parse().ok()?)));
    read.filter(|(k, n)| (1..=*n).contains(k))
        .ok_or_else(|| "write number/count with the number from 1 to the count, such as 2/8".into())
}

/// The part that a photo belongs to, by its file name alone: the same on every machine, whatever else is in the folder.
fn part_of(photo: &Path, count: u32) -> u32 {
    let digest = Sha256::digest(name(photo));
    let number = u64::from_be_bytes(std::array::from_fn(|i| digest[i]));
    (number % u64::from(count)) as u32 + 1
}

fn name(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}

/// Measures every photo that has no report yet, writes reports and summary. Exit code 1 when a photo failed.
///
/// Fails before any photo is measured on arguments that name none, on flags that go with one photo only, and on a folder
/// or book that cannot be used.
pub fn run(args: &Inspect) -> Result<ExitCode> {
    let options = args.look.options()?;
    if args.trace.is_some() {
        let hint = "name one photo, or leave --trace out";
        return Err(Error::new(Stage::Arguments, "--trace", "goes with one photo only", hint));
    }
    let all = photos(&args.photos)?;
    let out = match (&args.out, args.photos.as_slice()) {
        (Some(out), _) => out.clone(),
        (None, [dir]) if dir.is_dir() => {
            dir.with_file_name(format!("{}.lowsun", name(&dir.canonicalize().unwrap_or(dir.clone()))))
        }
        _ => {
            let hint = "name a folder for all reports, such as --out reports";
            return Err(Error::new(Stage::Arguments, "--out", "is missing for several photos", hint));
        }
    };
    let summary = args.shard.map_or("summary".to_owned(), |(k, n)| format!("summary-{k}-of-{n}"));
    check_summary(&out, &summary, args.overwrite)?;
    let jobs: Vec<(PathBuf, String)> = all
        .iter()
        .cloned()
        .zip(folder_names(&all))
        .filter(|(photo, _)| args.shard.is_none_or(|(k, n)| part_of(photo, n) == k))
        .collect();
    let batch = Batch { args, options, out: &out, book: Mutex::new(args.keep.open()?) };
    let rows = batch.rows(&jobs);
    let (json, csv, page) = (summary::json(&rows, args.shard), summary::csv(&rows), summary::html(&rows, args.shard)?);
    let json = format!("{json:#}\n");
    let names = ["html", "json", "csv"].map(|e| format!("{summary}.{e}"));
    let texts = [page.as_bytes(), json.as_bytes(), csv.as_bytes()];
    let files: Vec<(&str, &[u8])> = names.iter().map(String::as_str).zip(texts).collect();
    save::save(&out, &files)?;
    let failed = summary::count(&rows, Outcome::Failed);
    let (measured, kept) = (summary::count(&rows, Outcome::Measured), summary::count(&rows, Outcome::Kept));
    say(&if args.json {
        json
    } else {
        let page = out.join(&names[0]);
        format!("{measured} measured, {kept} kept from earlier, {failed} failed\nsummary: {}\n", page.display())
    });
    Ok(if failed > 0 { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}

/// The photos that the arguments name, in a stable order, each once. A named file that is missing stays in the list: it
/// fails by itself.
fn photos(named: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut all: Vec<PathBuf> = vec![];
    for n in named {
        let subject = n.display().to_string();
        let fail = |what: String, hint: &str| Error::new(Stage::Photo, subject.clone(), what, hint);
        let mut found: Vec<PathBuf> = if n.is_dir() {
            let entries =
                fs::read_dir(n).map_err(|e| fail(format!("cannot be read ({e})"), "check its permissions"))?;
            entries.filter_map(|e| Some(e.ok()?.path())).filter(|p| p.is_file() && is_photo(p)).collect()
        } else if is_pattern(n) {
            let hint = "write * for any characters and ** for any folders, such as \"jobs/**/*.jpg\"";
            let paths = glob::glob(&subject).map_err(|e| fail(format!("is no pattern ({e})"), hint))?;
            paths.filter_map(|p| p.ok()).filter(|p| p.is_file()).collect()
        } else {
            all.push(n.clone());
            continue;
        };
        if found.is_empty() {
            let hint = format!("name photos, or a folder that holds files ending in {}", ENDINGS.join(", "));
            return Err(Error::new(Stage::Photo, subject, "no photo is there", hint));
        }
        found.sort();
        all.append(&mut found);
    }
    let mut seen = std::collections::HashSet::new();
    all.retain(|p| seen.insert(p.clone()));
    Ok(all)
}

fn is_photo(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    !name(path).starts_with('.') && ending.is_some_and(|e| ENDINGS.contains(&e.as_str()))
}

/// A folder name for every photo: its name without ending; with ending where two share that; with a piece of the path's
/// hash where two share even the whole name.
fn folder_names(photos: &[PathBuf]) -> Vec<String> {
    let stem = |p: &PathBuf| p.file_stem().unwrap_or(p.as_os_str()).to_string_lossy().into_owned();
    let whole = |p: &PathBuf| name(p).replace('.', "-");
    let hashed = |p: &PathBuf| {
        let digest = Sha256::digest(p.to_string_lossy().as_bytes());
        format!("{}-{:02x}{:02x}{:02x}{:02x}", whole(p), digest[0], digest[1], digest[2], digest[3])
    };
    let count = |of: &dyn Fn(&PathBuf) -> String| {
        let mut n = std::collections::HashMap::new();
        // Some disks do not tell upper case from lower.
        photos.iter().for_each(|p| *n.entry(of(p).to_lowercase()).or_insert(0) += 1);
        n
    };
    let (stems, wholes) = (count(&stem), count(&whole));
    let pick = |p: &PathBuf| match (stems[&stem(p).to_lowercase()], wholes[&whole(p).to_lowercase()]) {
        (1, _) => stem(p),
        (_, 1) => whole(p),
        _ => hashed(p),
    };
    photos.iter().map(pick).collect()
}

/// A summary is remade by every run, but nothing is replaced that is none of ours.
fn check_summary(out: &Path, summary: &str, overwrite: bool) -> Result<()> {
    save::check_free(out, true, "--out")?;
    let page = out.join(format!("{summary}.html"));
    let json = fs::read_to_string(out.join(format!("{summary}.json"))).ok();
    let ours = json.and_then(|t| serde_json::from_str::<Value>(&t).ok()).is_some_and(|v| v["summary_version"].is_u64());
    let there = ["html", "json", "csv"].iter().any(|e| out.join(format!("{summary}.{e}")).exists());
    if there && !ours && !overwrite {
        let hint = "name another folder with --out, or replace it with --overwrite";
        return Err(Error::new(
            Stage::Arguments,
            page.display().to_string(),
            "is there, and is no summary of ours",
            hint,
        ));
    }
    Ok(())
}

struct Batch<'a> {
    args: &'a Inspect,
    options: pipeline::Options,
    out: &'a Path,
    book: Mutex<Option<Book>>,
}

impl Batch<'_> {
    /// Every photo's row, in the order of the jobs. As many threads as photos at once: that bounds the memory.
    fn rows(&self, jobs: &[(PathBuf, String)]) -> Vec<Row> {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let threads = self.args.at_once.map_or(cores.min(MOST_AT_ONCE), |n| usize::from(n.get())).min(jobs.len());
        let style =
            ProgressStyle::with_template("{bar:30} {pos}/{len} {msg} {eta}").unwrap_or(ProgressStyle::default_bar());
        let bar = ProgressBar::new(jobs.len() as u64).with_style(style);
        let (next, done) = (AtomicUsize::new(0), Mutex::new(vec![None; jobs.len()]));
        std::thread::scope(|s| {
            for _ in 0..threads {
                s.spawn(|| {
                    loop {
                        let at = next.fetch_add(1, Ordering::Relaxed);
                        let Some((photo, folder)) = jobs.get(at) else { break };
                        let row = self.row(photo, folder);
                        self.tell(&bar, &row, jobs.len());
                        lock(&done)[at] = Some(row);
                    }
                });
            }
        });
        bar.finish_and_clear();
        done.into_inner().unwrap_or_else(|e| e.into_inner()).into_iter().flatten().collect()
    }

    /// On a terminal the bar, and a line for what failed; elsewhere a line for every photo.
    fn tell(&self, bar: &ProgressBar, row: &Row, all: usize) {
        bar.inc(1);
        bar.set_message(row.file.clone());
        let line = match (&row.error, row.outcome) {
            (Some(e), _) => format!("lowsun: {e}"),
            (None, Outcome::Kept) => format!("{}: kept", row.file),
            (None, _) => format!("{}: {}", row.file, row.verdict.as_deref().unwrap_or_default()),
        };
        if bar.is_hidden() {
            eprintln!("{}/{all} {line}", bar.position());
        } else if row.error.is_some() {
            bar.println(line);
        }
    }

    /// Never fails: an error, or a fault of the program, goes into the row.
    fn row(&self, photo: &Path, folder: &str) -> Row {
        let failed = |e: String| Row::failed(name(photo), e);
        match catch_unwind(AssertUnwindSafe(|| self.one(photo, folder))) {
            Ok(Ok(row)) => row,
            Ok(Err(e)) => failed(e.to_string()),
            Err(_) => failed(format!(
                "{}: the program itself failed on this photo\n  try: report this as a fault",
                photo.display()
            )),
        }
    }

    fn one(&self, path: &Path, folder: &str) -> Result<Row> {
        let args = self.args;
        let plan_file = plan_of(path, args.plan.as_deref());
        let plan_file = plan_file.as_deref();
        let facts = PlanFacts { names: args.keep.names(), ..args.look.facts() };
        let (plan, caveats) = plan::gather(plan_file, &facts)?;
        let inputs = pipeline::inputs_sha256(&plan, &self.options);
        let sha256 = photo::sha256(path, &self.options.photo)?;
        let dir = self.out.join(folder);
        if let Some(old) = Old::read(&dir, &sha256, &inputs) {
            if let Some(book) = lock(&self.book).as_mut().filter(|_| !args.overwrite)
                && book.holds(&sha256, &inputs)?.is_none()
            {
                let entry = Entry::of(&old.report, &old.page, &old.thumbnail, &plan);
                args.keep.add(book, entry, plan_file, false)?;
            }
            if !args.overwrite {
                return Ok(Row::measured(Outcome::Kept, folder.to_owned(), &old.report, old.thumbnail));
            }
        }
        save::check_free(&dir, args.overwrite, "--out")?;
        let made = make(path, plan, caveats, &self.options, &mut Trace::off())?;
        let thumbnail = draw::thumbnail(&made.inspection.photo);
        if let Some(book) = lock(&self.book).as_mut() {
            args.keep.add(book, made.entry(&thumbnail), plan_file, args.overwrite)?;
        }
        let (json, to_mark) = (made.json(), page_to_mark(&made.inspection)?);
        let mut files = made.files(&json, to_mark.as_deref());
        files.push(("thumbnail.jpg", &thumbnail));
        save::save(&dir, &files)?;
        Ok(Row::measured(Outcome::Measured, folder.to_owned(), &made.report, thumbnail))
    }
}

/// A report that is there already for the same photo, inputs and program.
struct Old {
    report: Value,
    page: String,
    thumbnail: Vec<u8>,
}

impl Old {
    fn read(dir: &Path, sha256: &str, inputs: &str) -> Option<Self> {
        let report: Value = serde_json::from_str(&fs::read_to_string(dir.join("report.json")).ok()?).ok()?;
        let same = report["photo"]["sha256"] == sha256
            && report["inputs_sha256"] == inputs
            && report["program"]["version"] == env!("CARGO_PKG_VERSION");
        if !same {
            return None;
        }
        let page = fs::read_to_string(dir.join("report.html")).ok()?;
        let thumbnail = fs::read(dir.join("thumbnail.jpg")).ok()?;
        Some(Self { report, page, thumbnail })
    }
}

/// A thread that failed while it held the lock left nothing half done: the book takes a record whole or not at all.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(|e| e.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn every_photo_belongs_to_one_part_and_always_the_same() {
        assert_eq!(shard("2/8"), Ok((2, 8)));
        for bad in ["0/8", "9/8", "2", "a/b", "-1/2", "1/0", ""] {
            assert!(shard(bad).is_err(), "{bad}");
        }
        // SHA-256 of "pocket-1.jpg" and "pocket-2.jpg", first eight bytes, modulo 8 (Python 3.11, hashlib).
        assert_eq!((part_of(Path::new("a/pocket-1.jpg"), 8), part_of(Path::new("/b/pocket-2.jpg"), 8)), (1, 5));
        let mut counts = [0; 5];
        for k in 0..1000 {
            counts[part_of(Path::new(&format!("{k}.jpg")), 5) as usize - 1] += 1;
        }
        // 200 each; four standard deviations of a fair draw are 51.
        assert!(counts.iter().all(|c| (149..=251).contains(c)), "{counts:?}");
    }
    #[test]
    fn photos_of_one_name_get_folders_of_their_own() {
        let of = |names: &[&str]| folder_names(&names.iter().map(PathBuf::from).collect::<Vec<_>>());
        assert_eq!(of(&["x/a.jpg", "x/b.jpg"]), ["a", "b"]);
        assert_eq!(of(&["x/a.jpg", "x/A.png"]), ["a-jpg", "A-png"]);
        let twice = of(&["x/a.jpg", "y/a.jpg"]);
        assert!(twice[0] != twice[1] && twice.iter().all(|t| t.starts_with("a-jpg-")), "{twice:?}");
    }
}
