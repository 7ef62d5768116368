//! How often the program is right, and whether its probabilities are: made scenes of every cause through the whole library,
//! judged by their truth, written as tables.
//!
//! `cargo run --release --example calibrate -- --count 600 --seed 50000 --out docs/calibration.md`
//!
//! With `--scenes DIR` the scenes are kept there, and whatever lies there is judged; `--count 0` makes none.

#[path = "mod.rs"]
mod support;

use anyhow::Context;
use clap::Parser;
use lowsun::marks::{Edge, Family, Polarity};
use lowsun::pipeline::{Options, inspect};
use lowsun::plan::{PlanFacts, gather};
use lowsun::trace::Trace;
use rayon::prelude::*;
use serde_json::{Value, json};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use support::draw::draw_wide;
use support::tables::{Row, page};

#[derive(Parser)]
struct Command {
    #[arg(long, default_value_t = 600)]
    count: u64,
    /// Seed of the first scene; the next ones count up
    #[arg(long, default_value_t = 50000)]
    seed: u64,
    /// The page with the tables; printed if not given
    #[arg(long)]
    out: Option<PathBuf>,
    /// Folder in which scenes are kept; all that lie there are judged
    #[arg(long)]
    scenes: Option<PathBuf>,
    /// A line a scene as JSON: what was said and why
    #[arg(long)]
    each: Option<PathBuf>,
    /// Makes the page again from the lines that --each wrote, and nothing else
    #[arg(long)]
    again: Option<PathBuf>,
    /// Scenes at a time
    #[arg(long, default_value_t = 2)]
    jobs: usize,
}

/// Makes the scene where it does not lie in `dir` yet.
fn scene(seed: u64, dir: &Path) -> anyhow::Result<()> {
    let s = draw_wide(seed);
    let name = format!("w{seed:05}-{}", if s.hidden.is_some() { "hidden" } else { s.cause });
    let [photo, plan, truth] = files(dir, &name);
    if !truth.exists() {
        let made = support::make(&s);
        std::fs::write(&photo, &made.jpeg)?;
        std::fs::write(&plan, &made.plan)?;
        std::fs::write(&truth, made.truth.to_string())?;
    }
    Ok(())
}

fn files(dir: &Path, name: &str) -> [PathBuf; 3] {
    ["jpg", "plan.toml", "json"].map(|e| dir.join(format!("{name}.{e}")))
}

/// Inspects a scene of the folder and judges it.
fn judged(dir: &Path, name: &str) -> anyhow::Result<(Row, Value)> {
    let [photo, plan, truth] = files(dir, name);
    let truth: Value = serde_json::from_slice(&std::fs::read(&truth)?)?;
    let (plan, caveats) = gather(Some(&plan), &PlanFacts::default())?;
    // A photo that is refused, or breaks the program, is counted and named; the others go on.
    let look = AssertUnwindSafe(|| inspect(&photo, plan, caveats, &Options::default(), &mut Trace::off()));
    let inspection = match catch_unwind(look) {
        Ok(Ok(i)) => Some(i),
        Ok(Err(e)) => {
            eprintln!("{name}: {e}");
            None
        }
        Err(_) => {
            eprintln!("{name}: the program broke");
            None
        }
    };
    let row = Row::new(&truth, inspection.as_ref());
    let said = inspection.map(|i| {
        let families: Vec<Value> = i.marks.families.iter().map(family).collect();
        let edges: Vec<Value> = i.marks.edges.iter().map(edge).collect();
        json!({
            "findings": i.explanation.findings, "verdict": i.explanation.verdict, "caveats": i.caveats,
            "families": families, "edges": edges, "texture": i.marks.quality.texture_rms,
            "figure": [i.marks.figure.contrast, i.marks.figure.coherence], "flecks": i.marks.flecks.fraction,
        })
    });
    Ok((row.clone(), json!({ "name": name, "row": row, "said": said })))
}

fn family(f: &Family) -> Value {
    json!({
        "pitch": f.pitch.value, "normal_deg": f.normal_deg.value, "contrast": f.contrast, "strength_db": f.strength_db,
        "false_alarm": f.false_alarm, "coverage": f.coverage, "coherent_passes": f.coherent_passes, "jitter": f.jitter,
        "odd": f.lines.iter().enumerate().filter(|(_, l)| l.odd || (l.strength.value - 1.0).abs() > 0.25)
            .map(|(k, l)| json!([k, f.lines.len(), l.strength.value, l.strength.sigma, l.odd])).collect::<Vec<_>>(),
        "chroma": f.chroma_share.map(|c| c.value), "curved": f.curved, "skew": f.skew, "height_um": f.height_um,
    })
}

fn edge(e: &Edge) -> Value {
    json!({
        "at": e.offset, "normal_deg": e.normal_deg, "length": e.length, "shade": e.polarity == Polarity::Shade, "snr": e.snr,
        "deficit": e.deficit.value, "height_um": e.height_um.map(|h| h.value),
    })
}

fn main() -> anyhow::Result<()> {
    let o = Command::parse();
    if let Some(path) = &o.again {
        let row = |line: &str| Ok(serde_json::from_value(serde_json::from_str::<Value>(line)?["row"].take())?);
        let rows: Vec<Row> = std::fs::read_to_string(path)?.lines().map(row).collect::<anyhow::Result<_>>()?;
        return write(&o, &rows);
    }
    let temporary = tempfile::tempdir()?;
    let dir = o.scenes.as_deref().unwrap_or(temporary.path());
    std::fs::create_dir_all(dir).context("the folder for the scenes")?;
    let pool = rayon::ThreadPoolBuilder::new().num_threads(o.jobs).build()?;
    pool.install(|| (o.seed..o.seed + o.count).into_par_iter().try_for_each(|seed| scene(seed, dir)))?;
    let mut names: Vec<String> = std::fs::read_dir(dir)?
        .filter_map(|e| e.ok()?.file_name().to_str()?.strip_suffix(".json").map(str::to_owned))
        .collect();
    names.sort();
    let rows: Vec<(Row, Value)> =
        pool.install(|| names.par_iter().map(|name| judged(dir, name)).collect::<anyhow::Result<_>>())?;
    if let Some(path) = &o.each {
        let lines: String = rows.iter().map(|(_, v)| format!("{v}\n")).collect();
        std::fs::write(path, lines)?;
    }
    let all: Vec<Row> = rows.into_iter().map(|r| r.0).collect();
    write(&o, &all)
}

fn write(o: &Command, rows: &[Row]) -> anyhow::Result<()> {
    let text = page(rows);
    match &o.out {
        Some(path) => std::fs::write(path, text)?,
        None => print!("{text}"),
    }
    Ok(())
}
