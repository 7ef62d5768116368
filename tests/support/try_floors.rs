//! Long runs over pieces of made floor, by hand; `tests/marks.rs` runs a few of each.
//!
//! `cargo run --release --example try-floors -- plain --count 2000` : floors without ridges, how many give a family
//! `cargo run --release --example try-floors -- faint --count 200`  : ridges of 10 um under a lamp at 10 degrees
//! `cargo run --release --example try-floors -- pitch --count 300`  : error of pitch and direction in their own sigmas
//! `cargo run --release --example try-floors -- photo --pictures P ...` : families of whole photos (plan beside: P.plan.toml)
//! `cargo run --release --example try-floors -- bound`              : table of profiles against the Cramer-Rao bound

#[path = "mod.rs"]
mod support;

use clap::{Parser, ValueEnum};
use lowsun::marks::{Family, Marks, Options, PeriodKind, measure};
use lowsun::units::line_difference;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use support::floors::{Floor, Ridges, Shape};
use support::profiles;

#[derive(Clone, Copy, ValueEnum)]
enum What {
    Plain,
    Faint,
    Pitch,
    Bound,
    Photo,
}

#[derive(Parser)]
struct Command {
    what: What,
    #[arg(long, default_value_t = 100)]
    count: u64,
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// One line a floor
    #[arg(long)]
    each: bool,
    /// Writes the pictures of the floors here
    #[arg(long)]
    save: Option<std::path::PathBuf>,
    /// Pictures whose middle piece serves as a floor without ridges (`plain`), or whole photos (`photo`)
    #[arg(long, num_args = 1..)]
    pictures: Vec<std::path::PathBuf>,
}

const STEPOVER: f64 = 2.54;

fn marks(p: &lowsun::floor::Patch) -> Marks {
    measure(p, &Options { hints: vec![STEPOVER], scaled: true, ..Options::default() }).0
}

fn show(f: &Family) -> String {
    format!(
        "{:.3} mm at {:.1}, {:?} {}, {:.1} dB, chance {:.1e}, contrast {:.4}, coverage {:.2}, in step {:.1}, jitter {:.2}",
        f.pitch.value,
        f.normal_deg.value,
        f.period_kind,
        if f.curved { "curved" } else { "straight" },
        f.strength_db,
        f.false_alarm,
        f.contrast,
        f.coverage,
        f.coherent_passes,
        f.jitter
    )
}

fn plain(c: &Command) {
    let (mut any, mut relief, mut least) = (0, 0, Vec::new());
    let mut by: std::collections::BTreeMap<&str, [usize; 2]> = Default::default();
    for seed in c.seed..c.seed + c.count {
        let f = Floor::plain(seed, 1200, 800, 0.05, STEPOVER);
        let m = marks(&f.patch());
        least.push(m.quality.least_false_alarm);
        let real = m.families.iter().find(|f| f.period_kind != PeriodKind::Colour);
        any += usize::from(!m.families.is_empty());
        relief += usize::from(real.is_some());
        let b = by.entry(f.material).or_default();
        b[0] += 1;
        b[1] += usize::from(real.is_some());
        if c.each || real.is_some() {
            println!(
                "{seed} {} grain {:.0} rings {:.2} figure {:.1} blur {:.1} least {:.2e} {}",
                f.material,
                f.grain_deg,
                f.ring_mm,
                f.figure,
                f.blur,
                m.quality.least_false_alarm,
                m.families.iter().map(show).collect::<Vec<_>>().join(" | ")
            );
        }
    }
    println!("{} floors: {any} with a family, {relief} with one that is not colour", least.len());
    for (m, [n, k]) in by {
        println!("  {m}: {k} of {n}");
    }
    least.sort_by(f64::total_cmp);
    for p in [0.001, 0.003, 0.01, 0.03, 0.1, 0.3] {
        let n = least.iter().filter(|v| **v <= p).count();
        println!("  stated chance up to {p}: {:.4} of the floors ({n})", n as f64 / least.len().max(1) as f64);
    }
}

fn faint(c: &Command) {
    let mut by: std::collections::BTreeMap<String, [usize; 2]> = Default::default();
    for seed in c.seed..c.seed + c.count {
        let mut r = ChaCha8Rng::seed_from_u64(seed ^ 0xfa17);
        let mut f = Floor::plain(seed, 1200, 800, 0.05, STEPOVER);
        f.material = if seed % 2 == 0 { "mdf" } else { "maple" };
        f.elevation_deg = 10.0;
        let normal = r.random_range(0.0..180.0);
        f.from_deg = normal + r.random_range(-40.0..40.0);
        let pitch = r.random_range(0.6..4.0);
        let shape = [Shape::Saw, Shape::Cusp, Shape::Sine][seed as usize / 2 % 3];
        f.ridges = vec![Ridges { pitch, normal_deg: normal, um: 10.0, shape, jitter: 0.01, odd: None, stray: 0.0 }];
        let m = marks(&f.patch());
        let hit = m.families.iter().find(|q| {
            (q.pitch.value / pitch - 1.0).abs() < 0.02
                && line_difference(q.normal_deg.value, normal).abs() < 2.0
                && q.period_kind != PeriodKind::Colour
        });
        let b = by.entry(format!("{} {shape:?}", f.material)).or_default();
        b[0] += 1;
        b[1] += usize::from(hit.is_some());
        if c.each || hit.is_none() {
            println!(
                "{seed} {} {shape:?} {pitch:.3} at {normal:.1}, blur {:.1} noise {:.3} ambient {:.2}: least {:.1e} {}",
                f.material,
                f.blur,
                f.noise,
                f.ambient,
                m.quality.least_false_alarm,
                m.families.iter().map(show).collect::<Vec<_>>().join(" | ")
            );
        }
    }
    let (n, k) = by.values().fold((0, 0), |a, b| (a.0 + b[0], a.1 + b[1]));
    println!("found {k} of {n}");
    for (m, [n, k]) in by {
        println!("  {m}: {k} of {n}");
    }
}

fn pitch(c: &Command) {
    let (mut errors, mut sigmas, mut turns, mut missed) = (vec![], vec![], vec![], 0);
    for seed in c.seed..c.seed + c.count {
        let mut r = ChaCha8Rng::seed_from_u64(seed ^ 0x9172);
        let mut f = Floor::plain(seed, r.random_range(500..1000), r.random_range(400..800), 0.08, STEPOVER);
        let normal = r.random_range(0.0..180.0);
        f.from_deg = normal + r.random_range(-50.0..50.0);
        let pitch = r.random_range(0.7..3.5);
        let shape = [Shape::Saw, Shape::Cusp, Shape::Sine][seed as usize % 3];
        let um = r.random_range(8.0..40.0);
        let jitter = if seed % 4 < 2 { 0.0 } else { r.random_range(0.0..0.08) };
        f.ridges = vec![Ridges { pitch, normal_deg: normal, um, shape, jitter, odd: None, stray: 0.0 }];
        if let Some(dir) = &c.save {
            f.photo().save(dir.join(format!("{seed}.png"))).expect("the folder is there");
        }
        let m = marks(&f.patch());
        let near = m.families.iter().find(|q| (q.pitch.value / pitch - 1.0).abs() < 0.03);
        let Some(q) = near else {
            missed += 1;
            continue;
        };
        let off = (q.pitch.value - pitch) / q.pitch.sigma;
        let turn = line_difference(q.normal_deg.value, normal) / q.normal_deg.sigma;
        if c.each || off.abs() > 3.5 {
            println!(
                "{seed} {} {shape:?} {um:.0} um {pitch:.3} jitter {jitter:.3}: {off:+.2} sigmas ({:+.3} %), turn {turn:+.2}: {}",
                f.material,
                100.0 * (q.pitch.value / pitch - 1.0),
                show(q)
            );
        }
        errors.push((q.pitch.value / pitch - 1.0).abs());
        sigmas.push(off);
        turns.push(turn);
    }
    let rms = |v: &[f64]| (v.iter().map(|x| x * x).sum::<f64>() / v.len().max(1) as f64).sqrt();
    let robust = |v: &[f64]| lowsun::stats::mad_sigma(v).unwrap_or(f64::NAN);
    println!(
        "{} found, {missed} missed; pitch error median {:.4} %, 95 % within {:.4} %",
        errors.len(),
        100.0 * lowsun::stats::median(&errors).unwrap_or(f64::NAN),
        100.0 * lowsun::stats::percentile(&errors, 95.0).unwrap_or(f64::NAN)
    );
    println!(
        "error in own sigmas: rms {:.2}, robust {:.2}; direction rms {:.2}, robust {:.2}",
        rms(&sigmas),
        robust(&sigmas),
        rms(&turns),
        robust(&turns)
    );
}

fn pictures(c: &Command) {
    for path in &c.pictures {
        let Ok(img) = image::open(path) else {
            println!("{}: not read", path.display());
            continue;
        };
        let img = img.to_rgb8();
        let (w, h) = img.dimensions();
        let (cw, ch) = (w.min(1600), h.min(1200));
        let piece = image::imageops::crop_imm(&img, (w - cw) / 2, (h - ch) / 2, cw, ch).to_image();
        let m = marks(&support::floors::patch_of(&piece, 0.05));
        println!(
            "{}: least {:.1e} {}",
            path.display(),
            m.quality.least_false_alarm,
            m.families.iter().map(show).collect::<Vec<_>>().join(" | ")
        );
    }
}

fn photos(c: &Command) {
    for path in &c.pictures {
        let plan =
            [path.with_extension("plan.toml"), path.with_file_name("plan.toml")].into_iter().find(|p| p.exists());
        let (plan, caveats) = lowsun::plan::gather(plan.as_deref(), &Default::default()).expect("a good plan");
        let mut trace = lowsun::trace::Trace::off();
        let i = match lowsun::pipeline::inspect(path, plan, caveats, &Default::default(), &mut trace) {
            Ok(i) => i,
            Err(e) => {
                println!("{}: {e}", path.display());
                continue;
            }
        };
        println!("{} least {:.1e}", path.display(), i.marks.quality.least_false_alarm);
        for f in &i.marks.families {
            println!("  {} height {:?}", show(f), f.height_um.map(|h| (h.value.round(), h.sigma.round())));
            println!("    {}", shape(f));
            for (k, l) in f.lines.iter().enumerate().filter(|l| l.1.odd || c.each) {
                println!(
                    "    line {k} of {} at {:.2}: shift {:+.3} ({:.3}), strength {:.2} ({:.2}) {}",
                    f.lines.len(),
                    l.at,
                    l.shift.value,
                    l.shift.sigma,
                    l.strength.value,
                    l.strength.sigma,
                    if l.odd { "odd" } else { "" }
                );
            }
        }
        for e in &i.marks.edges {
            println!(
                "  edge {:?} {:.1} mm at {:.2}, {:.1} deg, deficit {:.3} ({:.3}), snr {:.1}, height {:?}",
                e.polarity,
                e.length,
                e.offset,
                e.normal_deg,
                e.deficit.value,
                e.deficit.sigma,
                e.snr,
                e.height_um.map(|h| (h.value.round(), h.sigma.round()))
            );
        }
    }
}

fn shape(f: &Family) -> String {
    format!(
        "skew {:.2}, alternation {:.2}, harmonics {:.4?}, noise {:.3}",
        f.skew, f.alternation, f.harmonics, f.harmonic_noise
    )
}

/// Errors over the Cramer-Rao bound: ours / periodogram / Lomb-Scargle (those of tests/truth/pitch.json).
fn bound() {
    let text = std::fs::read_to_string("tests/truth/pitch.json").expect("run in the project's folder");
    let truth: serde_json::Value = serde_json::from_str(&text).expect("tests/truth/pitch.json is JSON");
    let trials = truth["trials"].as_u64().unwrap_or(0) as usize;
    let mut last = 0;
    for r in truth["rows"].as_array().into_iter().flatten() {
        let (length, snr) = (r["length"].as_u64().unwrap_or(0) as usize, r["snr_db"].as_i64().unwrap_or(0));
        if length != last {
            print!("\n| {length} |");
            last = length;
        }
        let limit = profiles::bound(length, snr);
        let (rms, sigmas, none) = profiles::ours(length, snr, trials);
        let other = |k: &str| r[k].as_f64().unwrap_or(f64::NAN) / limit;
        let missed = if none > 0 { format!(" ({none} none)") } else { String::new() };
        print!(
            " {:.2} / {:.2} / {:.2}{missed} [{sigmas:.2}] |",
            rms / limit,
            other("periodogram"),
            other("lomb_scargle")
        );
    }
    println!();
}

fn main() {
    let c = Command::parse();
    match c.what {
        What::Plain if !c.pictures.is_empty() => pictures(&c),
        What::Plain => plain(&c),
        What::Faint => faint(&c),
        What::Pitch => pitch(&c),
        What::Bound => bound(),
        What::Photo => photos(&c),
    }
}
