//! Makes photos of routed pocket floors with plan and truth files, for calibrating and testing.
//!
//! `cargo run --release --example make-scenes -- --out DIR --count N --seed S [--cause ID] [--size small|phone]
//! [--card FORM [--misprinted] [--from-page]] [--k1 K1] [--letters]`, or
//! with `--samples` the folders of sample-images/ again.

#[path = "mod.rs"]
mod support;

use clap::Parser;
use lowsun::card::Form;
use std::path::PathBuf;
use support::draw::own::{Lay, lay};
use support::draw::{CAUSES, Lying, Size, draw_with, letter};
use support::props::{COINS, RULES};
use support::spec::RefKind;

#[derive(Parser)]
struct Options {
    /// Folder for the scenes; made if it is missing
    #[arg(long)]
    out: PathBuf,
    #[arg(long, default_value_t = 1)]
    count: u64,
    /// Seed of the first scene; the next ones count up
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Only this cause
    #[arg(long)]
    cause: Option<String>,
    #[arg(long, default_value = "small")]
    size: String,
    /// Our own printed card gives the scale in every scene
    #[arg(long)]
    card: Option<Form>,
    /// The card came out up to 2 % too large or small; the plan files tell by how much
    #[arg(long, requires = "card")]
    misprinted: bool,
    /// The card's print is the kept picture of a printed page (form pocket only)
    #[arg(long, requires = "card")]
    from_page: bool,
    /// First term of the lens' distortion in every scene, in place of a drawn one
    #[arg(long, allow_negative_numbers = true)]
    k1: Option<f64>,
    /// What lies beside the pocket: any, card, coin, rule (kinds in turn) or none
    #[arg(long, default_value = "any")]
    lying: String,
    /// Only stock, a plain pocket and what lies beside it: fast, for trying references
    #[arg(long)]
    quick: bool,
    /// Letters stand in every pocket that has room for them, whatever the cause
    #[arg(long)]
    letters: bool,
    /// Beside each scene NAME.other.jpg and .json: the same floor, lamp on the other side, camera a little moved
    #[arg(long)]
    opposite: bool,
    /// Instead: the project's sample photos, a folder each
    #[arg(long)]
    samples: bool,
}

fn main() -> anyhow::Result<()> {
    let o = Options::parse();
    let size = match o.size.as_str() {
        "small" => Size::Small,
        "phone" => Size::Phone,
        other => anyhow::bail!("size {other:?}: small or phone"),
    };
    let lying = |seed: u64| {
        let seed = seed as usize;
        Ok(match o.lying.as_str() {
            "any" => Lying::Any,
            "card" => Lying::Only(RefKind::Card),
            "coin" => Lying::Only(RefKind::Coin(seed % COINS.len())),
            "rule" => Lying::Only(RefKind::Rule(seed % RULES.len())),
            "none" => Lying::Nothing,
            other => anyhow::bail!("lying {other:?}: any, card, coin, rule or none"),
        })
    };
    if let Some(c) = &o.cause
        && CAUSES.iter().all(|q| q.0 != c)
    {
        anyhow::bail!("cause {c:?} is not one of {}", CAUSES.map(|q| q.0).join(", "));
    }
    if o.samples {
        for (folder, s) in support::samples::samples() {
            let dir = o.out.join(folder);
            if dir.exists() {
                println!("{folder}: already there, left alone");
                continue;
            }
            let made = support::make(&s);
            std::fs::create_dir_all(&dir)?;
            std::fs::write(dir.join("photo.jpg"), &made.jpeg)?;
            std::fs::write(dir.join("plan.toml"), &made.plan)?;
            std::fs::write(dir.join("truth.json"), format!("{:#}\n", made.truth))?;
            println!(
                "{folder}: {} {} dB, {} kB",
                made.truth["cause"],
                made.truth["visible_db"],
                made.jpeg.len() / 1024
            );
        }
        return Ok(());
    }
    std::fs::create_dir_all(&o.out)?;
    for seed in o.seed..o.seed + o.count {
        if o.quick {
            let made = support::quick::quick(seed, size, lying(seed)?);
            let name = format!("q{seed:05}");
            std::fs::write(o.out.join(format!("{name}.jpg")), &made.jpeg)?;
            std::fs::write(o.out.join(format!("{name}.plan.toml")), &made.plan)?;
            std::fs::write(o.out.join(format!("{name}.json")), serde_json::to_string_pretty(&made.truth)?)?;
            continue;
        }
        let mut s = draw_with(seed, o.cause.as_deref(), size, lying(seed)?);
        if o.letters {
            letter(&mut s, seed);
        }
        if o.from_page && o.card != Some(Form::Pocket) {
            anyhow::bail!("--from-page: only the pocket card's printed page is kept, add --card pocket");
        }
        if let Some(form) = o.card {
            lay(&mut s, Lay { form, misprinted: o.misprinted, from_page: o.from_page }, size);
        }
        s.camera.k1 = o.k1.unwrap_or(s.camera.k1);
        let clock = std::time::Instant::now();
        let made = support::make(&s);
        let name = format!("m{seed:05}-{}", if s.hidden.is_some() { "hidden" } else { s.cause });
        std::fs::write(o.out.join(format!("{name}.jpg")), &made.jpeg)?;
        std::fs::write(o.out.join(format!("{name}.plan.toml")), &made.plan)?;
        std::fs::write(o.out.join(format!("{name}.json")), serde_json::to_string_pretty(&made.truth)?)?;
        if o.opposite {
            let other = support::make(&support::other_side::other_side(&s));
            std::fs::write(o.out.join(format!("{name}.other.jpg")), &other.jpeg)?;
            std::fs::write(o.out.join(format!("{name}.other.json")), serde_json::to_string_pretty(&other.truth)?)?;
        }
        println!(
            "{name}: {} {} dB {} ({} kB, {:.1} s)",
            made.truth["cause"],
            made.truth["visible_db"],
            s.material,
            made.jpeg.len() / 1024,
            clock.elapsed().as_secs_f64()
        );
    }
    Ok(())
}
