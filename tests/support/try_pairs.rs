//! Long runs over pairs of made photos, lamp on opposite sides, by hand; `tests/opposite.rs` runs a few.
//!
//! `cargo run --release --example try-pairs -- --cause wood-figure --count 60` : does figure pass as relief?

#[path = "mod.rs"]
mod support;

use clap::Parser;
use lowsun::marks::PeriodKind;
use support::draw::{Size, draw};
use support::pairs::{inspected, misfit_px};

#[derive(Parser)]
struct Command {
    #[arg(long, default_value_t = 20)]
    count: u64,
    #[arg(long, default_value_t = 1)]
    seed: u64,
    #[arg(long)]
    cause: Option<String>,
    /// One photo alone, for comparison
    #[arg(long)]
    alone: bool,
}

fn main() -> anyhow::Result<()> {
    let o = Command::parse();
    let (mut laid, mut as_relief, mut seen) = (0, 0, 0);
    let mut misfits = vec![];
    for seed in o.seed..o.seed + o.count {
        let s = draw(seed, o.cause.as_deref(), Size::Small);
        let i = inspected(&s, !o.alone)?;
        let families: Vec<String> = i
            .marks
            .families
            .iter()
            .map(|f| {
                let kind = if f.by_pair { "by pair" } else { "by colour" };
                format!(
                    "{:.3} mm {:.0} deg {:?} {kind} c {:.3}",
                    f.pitch.value, f.normal_deg.value, f.period_kind, f.contrast
                )
            })
            .collect();
        let misfit = i.opposite.as_ref().map(|p| misfit_px(&s, &i.frame, p));
        laid += usize::from(misfit.is_some());
        misfits.extend(misfit);
        seen += usize::from(!i.marks.families.is_empty());
        as_relief += usize::from(i.marks.families.iter().any(|f| f.period_kind == PeriodKind::Relief));
        let why: Vec<&str> =
            i.caveats.iter().filter(|c| c.id.starts_with("opposite")).map(|c| c.text.as_str()).collect();
        println!(
            "{seed} {} {} stepover {:.2}: misfit {} px, stated {}, verdict {:?}\n    {}\n    {}",
            s.cause,
            s.material,
            s.stepover,
            misfit.map_or("-".into(), |m| format!("{m:.2}")),
            i.opposite.as_ref().map_or("-".into(), |p| format!(
                "{:.2} ({} of {})",
                p.registered.residual_px, p.registered.agreeing, p.registered.pieces
            )),
            i.explanation.verdict,
            families.join("; "),
            why.join(" ")
        );
    }
    println!(
        "{} pairs, {laid} laid, worst misfit {:.2} px, {seen} with families, {as_relief} with a relief family",
        o.count,
        misfits.iter().copied().fold(0.0, f64::max)
    );
    Ok(())
}
