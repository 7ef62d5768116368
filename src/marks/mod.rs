//! Room 7: line families (pitch, direction, strength), signed edges, strips, levels, and what the colour says.

mod blocks;
mod colour;
mod columns;
mod comb;
mod curved;
mod curves;
mod edges;
mod families;
mod family;
mod figure;
mod flatten;
mod flecks;
mod halves;
mod heights;
mod light;
mod lines;
mod pair;
mod peaks;
mod plots;
mod quality;
mod rim;
mod ring;
mod search;
mod stack;
mod standing;
mod straighten;
mod streaks;
mod strips;
mod surface;
mod turns;
mod types;
mod walls;
mod wander;

pub use pair::measure_pair;
pub use rim::look as rim;
pub use surface::of as surface;
pub use types::*;

use crate::caveat;
use crate::caveat::Caveat;
use crate::floor::Patch;
use crate::signal::PlaneSpectrum;
use families::Search;
use flatten::Flat;
use light::Lamp;
use stack::Weighed;

#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Pitches (floor-frame units) worth a look even under the usual limit: stepover, feed per turn ... Used only to
    /// aim the search and to sample finely enough, never to lower a significance limit.
    pub hints: Vec<f64>,
    /// Radius of the cutter, floor-frame units: rings of about its size are looked for.
    pub cutter_radius: Option<f64>,
    /// Whether the floor frame is in millimetres (false: photo pixels). Heights need it.
    pub scaled: bool,
}

/// Finest pitch looked for, samples of the view (photo pixels): below it the camera's own colour filter and the JPEG's
/// rounding make lines of their own (seen at 3.1 to 3.3 px in photos of plain oak and of printed text).
pub const FINEST: f64 = 3.5;

/// Finest planned stepover looked for, samples, and how near to the plan (a share) lines finer than [`FINEST`] must lie: the
/// camera's and the JPEG's own lines lie where the plan says only by chance. At two samples nothing is left of a line.
pub const FINEST_PLANNED: f64 = 2.4;
const AS_PLANNED: f64 = 0.03;

/// Shortest period looked for where the plan says `planned`, both in samples.
fn shortest_period(planned: Option<f64>) -> f64 {
    match planned {
        Some(p) if (FINEST_PLANNED..FINEST * (1.0 + AS_PLANNED)).contains(&p) => (p / (1.0 + AS_PLANNED)).min(FINEST),
        _ => FINEST,
    }
}

/// Whether lines of this period (samples) are among those looked for, from `shortest` on.
fn is_looked_for(period: f64, shortest: f64) -> bool {
    period >= FINEST || (period / shortest / (1.0 + AS_PLANNED) - 1.0).abs() <= AS_PLANNED
}

/// Measures the marks of a patch.
///
/// Where less than about 200 samples of lit floor are left once the margin along walls and shadows is taken off, no mark was
/// looked for, and a caveat says so ([`Marks::unmeasured`]).
pub fn measure(patch: &Patch, options: &Options) -> (Marks, Vec<Caveat>) {
    let finest = options.hints.iter().copied().filter(|h| *h > 0.0).fold(f64::INFINITY, f64::min);
    let Some(flat) = Flat::of(patch, options.scaled, finest) else {
        let text = "Once its borders are left out, too little of the lit floor remains to look for marks on.";
        return (Marks::unmeasured(), vec![caveat::LITTLE_FLOOR_LEFT.with(text)]);
    };
    let mut curves = curves::find(patch, &flat);
    // Walls of letters are no edges of the floor; lines that go on across them are left whole.
    let own = (!curves.walls.is_empty()).then(|| flat.without(curves.walls.iter().map(|c| c.path.as_slice())));
    let free = own.as_ref().unwrap_or(&flat);
    let planned = options.hints.first().copied();
    let shortest = shortest_period(planned.map(|p| p / flat.step));
    let taper = flat.taper();
    let weighted = crate::raster::Plane {
        width: taper.width,
        height: taper.height,
        data: taper.data.iter().zip(&flat.rel.data).map(|(a, b)| a * b).collect(),
    };
    let spectrum_plane = PlaneSpectrum::of(&weighted, 1.05 / shortest);
    let tapered = Weighed::of(&flat.rel, &taper);
    let whole = flat.evenly();
    let search = Search::new(&flat, &taper, &tapered, &whole, &spectrum_plane, blocks::Blocks::of(patch), shortest);
    let mut found = search.run(patch.pocket_x_deg.unwrap_or(0.0));
    let (profile, spectrum) = plots::of(&found, &search);
    let lamp = Lamp::of(patch, options.scaled);
    if let Some(f) = walls::find(patch, &flat, &lamp, &found.families) {
        walls::merge(&mut found.families, f, patch.pocket_x_deg);
    }
    let turns = turns::find(free, options.cutter_radius);
    if turns.as_ref().is_some_and(|t| !t.places.is_empty()) {
        found.families.retain(|f| !turns::row_of_rings(f, planned));
    }
    let mut normals = found.directions.clone();
    normals.extend(streaks::find(&spectrum_plane, &flat, &normals));
    let mut regular: Vec<f64> =
        found.families.iter().filter(|f| f.coherent_passes > 5.0).map(|f| f.normal_deg.value).collect();
    if found.families.iter().any(|f| f.along_walls.is_some()) {
        regular.extend(patch.pocket_x_deg.into_iter().flat_map(|x| [x, x + 90.0]));
    }
    let evenly = own.as_ref().map(Flat::evenly);
    let mut edges = edges::find(free, evenly.as_ref().unwrap_or(&whole), &normals, &regular, &found.combs, &lamp);
    let limits = (0.3 * flat.unit, 15.0 * flat.unit);
    let strips = strips::find(&edges, &patch.outline, &patch.light, limits, &regular);
    let colours = colour::Colours::of(patch, &flat);
    curves.chroma_share = colours.as_ref().and_then(|c| curves::coloured(&curves, &flat, c));
    for e in &mut edges {
        e.chroma_share = colours.as_ref().and_then(|c| c.judge_edge(e, curves::BESIDE * flat.unit, &flat));
    }
    for f in &mut found.families {
        f.fall_off = if f.curved { None } else { family::fall_off(f, lamp.blur) };
        f.height_um = heights::of(f, &lamp);
        if let Some(c) = colours.as_ref().filter(|_| !f.curved) {
            (f.chroma_share, f.period_kind) = c.judge(f, flat.extent);
        }
    }
    if let Some(mut f) = wander::find(&flat, &found.families, colours.as_ref(), search.blocks.as_ref()) {
        f.height_um = heights::of(&f, &lamp);
        let at = found.families.iter().position(|o| o.contrast < f.contrast).unwrap_or(found.families.len());
        found.families.insert(at, f);
    }
    let rest = figure::of(&spectrum_plane, &flat, &taper, &found.combs, colours.as_ref());
    let quality = quality::of(&flat, &found, search.trials, &edges, rest.texture_rms, planned, &lamp);
    let marks = Marks {
        families: found.families,
        edges,
        curves,
        strips,
        quality,
        flecks: flecks::find(free),
        turns,
        figure: rest.figure,
        rim: Rim::default(),
        surface: Surface::default(),
        profile,
        spectrum,
    };
    (marks, Vec::new())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_finer_than_usual_count_only_as_planned() {
        assert_eq!([None, Some(8.0), Some(2.0)].map(shortest_period), [FINEST; 3]);
        let shortest = shortest_period(Some(2.9));
        assert!(shortest > 2.8 && shortest < 2.9);
        assert!(is_looked_for(2.85, shortest) && is_looked_for(2.95, shortest) && is_looked_for(5.0, shortest));
        // What printed text and plain oak showed.
        assert!(!is_looked_for(3.2, shortest) && !is_looked_for(3.2, FINEST));
    }
}
