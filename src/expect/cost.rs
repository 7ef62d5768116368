//! Cutting time of the floor's last layer, from the cutting file where there is one, else from the pocket and the feed.

use super::physics::floor_minutes;
use crate::plan::PlannedCut;

/// Time of one trip over the floor, and where it was taken from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    pub minutes: f64,
    pub from: &'static str,
}

/// Time of the floor's last layer at its feed; turns, ramps and slowing down are left out. `None` where neither the
/// cutting file nor pocket, cutter, stepover and feed are known.
pub fn layer(plan: &PlannedCut) -> Option<Layer> {
    let feed = plan.feed_mm_min.filter(|f| *f > 0.0)?;
    let file = plan.cutting_file.as_ref().and_then(|c| c.floor.as_ref());
    if let Some(f) = file.filter(|f| f.length_mm > 0.0) {
        return Some(Layer { minutes: f.length_mm / feed, from: "the cutting file" });
    }
    let (d, s) = (plan.cutter.diameter_mm?, plan.stepover_mm?);
    Some(Layer { minutes: floor_minutes(plan.pocket_mm?, d, s, feed), from: "the pocket's size and the feed" })
}

impl Layer {
    /// What `times` that layer's time costs more, for the reader.
    pub fn more(&self, times: f64) -> String {
        format!("about {} more, by {}", minutes(self.minutes * times), self.from)
    }
}

/// A time for a person.
pub fn minutes(m: f64) -> String {
    match m {
        m if m < 1.0 => format!("{:.0} seconds", (m * 60.0).ceil()),
        m if m < 90.0 => format!("{m:.1} minutes"),
        m => format!("{:.1} hours", m / 60.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_layer_takes_its_length_over_the_feed() {
        // 100 x 50, cutter 10, stepover 5: 850 mm, by hand.
        let text = "[cutter]\ndiameter = 10\n[cut]\nstepover = 5\nfeed = 425\n[pocket]\nwidth = 100\nheight = 50";
        let plan = crate::plan::parse(text, "made-up.toml", Default::default()).unwrap();
        let l = layer(&plan).unwrap();
        assert!((l.minutes - 2.0).abs() < 1e-12);
        assert_eq!(l.more(0.5), "about 1.0 minutes more, by the pocket's size and the feed");
        assert_eq!((minutes(0.5), minutes(120.0)), ("30 seconds".into(), "2.0 hours".into()));
        assert_eq!(layer(&PlannedCut { feed_mm_min: None, ..plan }), None);
    }
}
