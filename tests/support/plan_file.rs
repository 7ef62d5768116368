//! The plan file that the user of the scene would have: right, or with the slips and gaps of the spec.

use super::spec::{Bottom, Pattern, Spec};
use std::fmt::Write;

/// TOML text.
pub fn plan_file(s: &Spec) -> String {
    let has = |k: &str| !s.plan.omit.contains(&k);
    let unit = if s.plan.inches { 25.4 } else { 1.0 };
    let len = |mm: f64| {
        let v = mm / unit;
        let q = if s.plan.inches { 1e4 } else { 1e3 };
        format!("{}", (v * q).round() / q)
    };
    let mut o = String::new();
    let mut line = |t: String| {
        let _ = writeln!(o, "{t}");
    };
    line(format!("units = \"{}\"", if s.plan.inches { "in" } else { "mm" }));
    line("[cutter]".into());
    if has("shape") {
        let n = match s.tool.bottom {
            Bottom::Flat => "flat",
            Bottom::Bull(_) => "bull-nose",
            Bottom::Ball => "ball-nose",
        };
        line(format!("shape = \"{n}\""));
    }
    if has("diameter") {
        line(format!("diameter = {}", len(s.tool.d)));
    }
    if let Bottom::Bull(rc) = s.tool.bottom {
        line(format!("corner_radius = {}", len(rc)));
    }
    if has("flutes") {
        line(format!("flutes = {}", s.tool.flutes));
    }
    if has("helix") {
        line(format!("helix = \"{}\"", if s.tool.up_cut { "up-cut" } else { "down-cut" }));
    }
    if let Some((d2, ..)) = s.tool2 {
        line(format!("[second_cutter]\nshape = \"flat\"\ndiameter = {}", len(d2)));
    }
    line("[cut]".into());
    match s.pattern {
        Pattern::Parallel { angle, both_ways, .. } => {
            if has("pattern") {
                line("pattern = \"parallel\"".into());
            }
            if has("pass_angle_deg") {
                line(format!("pass_angle_deg = {angle}"));
            }
            if has("both_ways") {
                line(format!("both_ways = {both_ways}"));
            }
        }
        Pattern::Contour { .. } => {
            if has("pattern") {
                line("pattern = \"contour\"".into());
            }
        }
    }
    let planned = s.plan.slip.map_or(s.stepover, |q| q.1);
    if has("stepover") {
        if s.plan.percent && has("diameter") {
            line(format!("stepover_percent = {}", (planned / s.tool.d * 1e5).round() / 1e3));
        } else {
            line(format!("stepover = {}", len(planned)));
        }
    }
    if has("depth") {
        line(format!("depth = {}", len(s.depth)));
    }
    if s.skim {
        line(format!("skim = {}", len(0.18)));
    }
    if has("feed") {
        line(format!("feed = {}", (s.feed / unit * 100.0).round() / 100.0));
    }
    if has("speed_rpm") {
        line(format!("speed_rpm = {}", s.rpm));
    }
    if has("pocket") {
        line(format!("[pocket]\nwidth = {}\nheight = {}", len(pocket_mm(s)[0]), len(pocket_mm(s)[1])));
    }
    if has("material") {
        let kind = match s.material {
            "pine" => "softwood",
            "oak" | "maple" | "beech" => "hardwood",
            other => other,
        };
        line(format!("[material]\nkind = \"{kind}\""));
        if super::wood::Stock::is_wood(s.material) && has("grain_angle_deg") {
            line(format!("grain_angle_deg = {}", s.grain.round()));
        }
    }
    if let Some(l) = s.plan.screw_lead {
        line(format!("[machine]\nscrew_lead = {}", len(l)));
    }
    for r in &s.refs {
        if let super::spec::RefKind::Own(own) = r.kind
            && own.printed != [1.0; 2]
        {
            let [x, y] = own.printed.map(|k| (k * 1e4).round() / 100.0);
            line(format!("[reference]\ncard_measured = \"{x}x{y}mm\""));
        }
    }
    o
}

/// Outer size of the nominal pocket.
pub fn pocket_mm(s: &Spec) -> [f64; 2] {
    match s.outline {
        super::spec::Outline::Round => [s.size[1] - 4.0; 2],
        _ => [s.size[0] - 4.0, s.size[1] - 4.0],
    }
}
