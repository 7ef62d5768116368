//! Light or colour: relief changes all channels alike, wood figure changes their ratios.

use super::flatten::{Flat, slow_mean};
use super::types::{Edge, Family, PeriodKind};
use crate::floor::Patch;
use crate::geometry::Point;
use crate::photo::LUMINANCE;
use crate::raster::{Mask, Plane};
use crate::signal::{half_overlapping, hann, wave};
use crate::units::Measured;
use rustfft::num_complex::Complex64;

/// Change of ln(R/G) and ln(B/G) together per relative change of light, beyond what light alone does in this photo,
/// above which lines are colour. Late wood of pine changes by 0.3 to 0.5, of maple and oak by 0.15 to 0.2; what is left
/// of relief after taking out the photo's own tone curve stays under 0.08 (measured on the practice photos).
const COLOURED: f64 = 0.13;
/// A camera's tone curve works channel by channel, so light alone moves the colour ratios too: by (-0.10, 0.10) per
/// relative change of light, give or take 0.06, where the photo's own slow shading does not tell.
const USUAL_TONE: [f64; 2] = [-0.10, 0.10];
const USUAL_TONE_SIGMA: f64 = 0.06;
/// The photo's own figure counts from this much slow shading (rms of relative brightness) ...
const SHADING: f64 = 0.03;
/// ... with at least this sigma: lamp and room light differ in colour.
const TONE_SIGMA: f64 = 0.03;

/// Linear light from which a channel counts as burnt out (1 = white; 244 of 255 after sRGB's curve), and the share of the
/// floor that may be: a channel that cannot rise any more makes ridges look coloured. Warm lamps on pale wood burn red out
/// long before the picture looks too bright.
const BURNT: f32 = 0.9;
const BURNT_SHARE: f64 = 0.05;

/// Length of a piece of an edge, mm, with samples a quarter of a millimetre apart, and the fewest: their scatter is the noise.
const PIECE: f64 = 2.0;
const SAMPLES: usize = 8;
const LEAST_PIECES: usize = 4;

/// Luma and colour ratios of the used floor at the chroma planes' resolution, slow changes taken out.
pub(super) struct Colours {
    /// Relative brightness, ln(R/G), ln(B/G), each free of slow changes.
    planes: [Plane; 3],
    /// Where they say something; 0 elsewhere.
    used: Mask,
    step: f64,
    /// Place of sample (0, 0) from the floor's middle.
    first: Point,
    /// Change of ln(R/G) and ln(B/G) per relative change of light alone, with its sigma.
    tone: [f64; 2],
    tone_sigma: f64,
    /// Weight of either ratio: 1 and 1; 0 where its channel is burnt out, the other then stands for both (2).
    weight: [f64; 2],
}

impl Colours {
    /// `None` for grey photos and where burnt-out channels leave no ratio.
    pub fn of(patch: &Patch, flat: &Flat) -> Option<Self> {
        let (red, blue) = patch.view.chroma.as_ref()?;
        let k0 = patch.view.chroma_shrink.max(1);
        let luma = patch.view.luma.shrink(k0);
        let weight = unburnt(patch, &luma, (red, blue))?;
        // To about 0.15 mm: figure and ridges alike are wider, and noise in the ratios averages out.
        // A whole number of the floor's own samples.
        let least = if k0.is_multiple_of(flat.coarse) { 1 } else { flat.coarse };
        let more = ((0.15 * flat.unit * flat.coarse as f64 / (flat.step * k0 as f64)) as usize).max(1) * least;
        let k = k0 * more / flat.coarse;
        let light = flat.rel.shrink(k);
        let logs = |p: &Plane| {
            let p = Plane { width: p.width, height: p.height, data: p.data.iter().map(|v| v.max(1e-3).ln()).collect() };
            p.shrink(more)
        };
        let ratios = (red, blue);
        let (red, blue) = (logs(red), logs(blue));
        let (w, h) = (light.width.min(red.width), light.height.min(red.height));
        if w < 8 || h < 8 {
            return None;
        }
        let white = near_white(&luma, ratios, weight, more);
        let used = Mask::from_fn(w, h, |x, y| {
            [(0, 0), (k - 1, 0), (0, k - 1), (k - 1, k - 1)].iter().all(|(a, b)| flat.used.at(x * k + a, y * k + b))
                && !white.at(x, y)
        });
        if used.count() < 100 {
            return None;
        }
        let step = flat.step * k as f64;
        let sigma = (4.0 * flat.unit / step) as f32;
        let cut = |p: &Plane| {
            let p = Plane::from_fn(w, h, |x, y| p.at(x, y));
            let slow = slow_mean(&p, &used, sigma);
            Plane::from_fn(w, h, |x, y| if used.at(x, y) { p.at(x, y) - slow.at(x, y) } else { 0.0 })
        };
        let half = (k as f64 - 1.0) / 2.0 * flat.step;
        let first = Point::new(flat.origin.x + half - flat.middle.x, flat.origin.y + half - flat.middle.y);
        let (tone, tone_sigma) = tone(patch, k0 * more, [&red, &blue], &used, step, flat.unit);
        let planes = [cut(&light), cut(&red), cut(&blue)];
        Some(Self { planes, used, step, first, tone, tone_sigma, weight })
    }

    fn wave(&self, frequency: f64, normal_deg: f64) -> [Complex64; 3] {
        wave(self.planes.each_ref(), self.first, self.step, frequency, normal_deg)
    }

    /// Chromatic share of a straight family and what it says.
    pub fn judge(&self, f: &Family, extent: f64) -> (Option<Measured>, PeriodKind) {
        let (mut light, mut red, mut blue, mut red_noise, mut blue_noise) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for h in [1.0, 2.0] {
            let frequency = h / f.pitch.value;
            if frequency * self.step > 0.4 {
                continue;
            }
            let [l, r, b] = self.wave(frequency, f.normal_deg.value);
            light += l.norm_sqr();
            red += (r * l.conj()).re;
            blue += (b * l.conj()).re;
            for d in [-5.0, -3.0, 3.0, 5.0] {
                let [_, r, b] = self.wave(frequency + d / extent, f.normal_deg.value);
                red_noise += r.norm_sqr() / 8.0 * l.norm_sqr();
                blue_noise += b.norm_sqr() / 8.0 * l.norm_sqr();
            }
        }
        self.decide(light, [red, blue], [red_noise, blue_noise])
    }

    /// The same for lines that keep their step only within a tile of side `side`: the tiles' sums are taken together, each
    /// with its own phase.
    pub fn judge_by_tiles(&self, f: &Family, side: f64) -> (Option<Measured>, PeriodKind) {
        let n = (side / self.step) as usize;
        let [light_plane, ..] = &self.planes;
        if n < 8 || self.step / f.pitch.value > 0.4 {
            return (None, PeriodKind::Unsure);
        }
        let window = hann(n);
        let (mut light, mut ratios, mut noise) = (0.0, [0.0; 2], [0.0; 2]);
        for y in half_overlapping(light_plane.height, n) {
            for x in half_overlapping(light_plane.width, n) {
                let cut = |p: &Plane| Plane::from_fn(n, n, |i, j| p.at(x + i, y + j) * (window[i] * window[j]) as f32);
                let tiles = self.planes.each_ref().map(cut);
                let [l, red, blue] =
                    wave(tiles.each_ref(), Point::default(), self.step, 1.0 / f.pitch.value, f.normal_deg.value);
                light += l.norm_sqr();
                for (k, z) in [red, blue].into_iter().enumerate() {
                    ratios[k] += (z * l.conj()).re;
                    // What does not go with the light as light alone does: noise, and colour of its own.
                    noise[k] += (z - l * self.tone[k]).norm_sqr() / 2.0 * l.norm_sqr();
                }
            }
        }
        self.decide(light, ratios, noise)
    }

    /// Chromatic share of lines that may bend: on each path (floor frame, its middle at `middle`)
    /// against the ground `beside` it on either hand.
    pub fn judge_paths<'a>(
        &self,
        paths: impl Iterator<Item = &'a [Point]>,
        beside: f64,
        middle: Point,
    ) -> Option<Measured> {
        let at = |p: &Plane, q: Point| {
            let (x, y) = ((q.x / self.step).round(), (q.y / self.step).round());
            let inside = x >= 0.0 && y >= 0.0 && (x as usize) < p.width && (y as usize) < p.height;
            (inside && self.used.at(x as usize, y as usize)).then(|| f64::from(p.at(x as usize, y as usize)))
        };
        let (mut light, mut ratios, mut noise) = (0.0, [0.0; 2], [0.0; 2]);
        for path in paths {
            let (mut sums, mut n) = ([0.0; 3], 0.0);
            for w in path.windows(2) {
                let (d, q) = (w[1] - w[0], w[0] - middle - self.first);
                let l = d.x.hypot(d.y).max(1e-9);
                let off = Point::new(-d.y / l * beside, d.x / l * beside);
                let change = |p: &Plane| Some(at(p, q)? - 0.5 * (at(p, q + off)? + at(p, q - off)?));
                let [a, b, c] = self.planes.each_ref().map(change);
                if let (Some(a), Some(b), Some(c)) = (a, b, c) {
                    sums.iter_mut().zip([a, b, c]).for_each(|(s, v)| *s += v);
                    n += 1.0;
                }
            }
            if n > 0.0 {
                let l = sums[0] / n;
                light += n * l * l;
                for k in 0..2 {
                    let r = sums[k + 1] / n;
                    ratios[k] += n * r * l;
                    noise[k] += n * n * (r - self.tone[k] * l).powi(2) * l * l;
                }
            }
        }
        self.decide(light, ratios, noise).0
    }

    /// Chromatic share of one straight edge against the ground `beside` it, from pieces of it by themselves.
    pub fn judge_edge(&self, e: &Edge, beside: f64, flat: &Flat) -> Option<Measured> {
        let count = ((e.length / (PIECE * flat.unit)) as usize).max(LEAST_PIECES);
        let at = |k: usize| e.from.lerp(e.to, k as f64 / (count * SAMPLES) as f64);
        let pieces: Vec<Vec<Point>> = (0..count).map(|i| (i * SAMPLES..=(i + 1) * SAMPLES).map(at).collect()).collect();
        self.judge_paths(pieces.iter().map(Vec::as_slice), beside, flat.middle)
    }

    /// Chromatic share and what it says, from sums of |light|^2, of the ratios' part in step with the light, and the variance of
    /// the latter.
    fn decide(
        &self,
        light: f64,
        [red, blue]: [f64; 2],
        [red_noise, blue_noise]: [f64; 2],
    ) -> (Option<Measured>, PeriodKind) {
        if light <= 0.0 {
            return (None, PeriodKind::Unsure);
        }
        let [wr, wb] = self.weight;
        let variance = (wr * red_noise + wb * blue_noise) / (light * light) + self.tone_sigma.powi(2);
        let square = self.square(red / light, blue / light);
        let Some(share) = Measured::new((square - variance).max(0.0).sqrt(), variance.sqrt()) else {
            return (None, PeriodKind::Unsure);
        };
        let kind = if share.value - 2.0 * share.sigma > COLOURED {
            PeriodKind::Colour
        } else if share.value + share.sigma < COLOURED {
            PeriodKind::Relief
        } else {
            PeriodKind::Unsure
        };
        (Some(share), kind)
    }

    /// Change of colour ratio per relative change of light over the whole floor between about 0.3 and 8 mm.
    pub fn overall(&self) -> Option<f64> {
        let [l, r, b] = &self.planes;
        let dot = |p: &Plane, q: &Plane| p.data.iter().zip(&q.data).map(|(a, b)| f64::from(a * b)).sum::<f64>();
        let power = dot(l, l);
        (power > 0.0).then(|| self.square(dot(r, l) / power, dot(b, l) / power).sqrt())
    }

    /// Squared change of both ratios beyond what light alone does.
    fn square(&self, red: f64, blue: f64) -> f64 {
        self.weight[0] * (red - self.tone[0]).powi(2) + self.weight[1] * (blue - self.tone[1]).powi(2)
    }
}

/// Red, green and blue of one sample of the chroma planes, linear; `light` is the luma at their resolution.
fn channels(light: &Plane, (red, blue): (&Plane, &Plane), x: usize, y: usize) -> [f32; 3] {
    let (r, b) = (red.at(x, y), blue.at(x, y));
    let [of_r, of_g, of_b] = LUMINANCE.map(|v| v as f32);
    let green = light.at(x, y) / (of_r * r + of_g + of_b * b);
    [r * green, green, b * green]
}

/// Where, at `more` times the chroma planes' step, a channel that counts (see [`unburnt`]) is burnt out in or beside a sample:
/// flanks of steps that face the lamp turn white on any wood, a JPEG's colours are twice as coarse as its light, and the lens
/// spreads the line.
fn near_white(light: &Plane, ratios: (&Plane, &Plane), weight: [f64; 2], more: usize) -> Mask {
    let (w, h) = (light.width.min(ratios.0.width), light.height.min(ratios.0.height));
    let counts = [weight[0] > 0.0, true, weight[1] > 0.0];
    let white = Plane::from_fn(w, h, |x, y| {
        let burnt = channels(light, ratios, x, y).iter().zip(counts).any(|(v, counts)| counts && *v > BURNT);
        f32::from(u8::from(burnt))
    })
    .shrink(more);
    Mask::from_fn(white.width, white.height, |x, y| white.at(x, y) > 0.0).dilate(1)
}

/// Weights of ln(R/G) and ln(B/G) by the channels that are burnt out over the lit floor; `None` when no ratio is left. `light`
/// as in [`channels`].
fn unburnt(patch: &Patch, light: &Plane, ratios: (&Plane, &Plane)) -> Option<[f64; 2]> {
    let k = patch.view.chroma_shrink.max(1);
    let (mut burnt, mut all) = ([0usize; 3], 0usize);
    for y in 0..light.height.min(ratios.0.height) {
        for x in 0..light.width.min(ratios.0.width) {
            let middle = (x * k + k / 2, y * k + k / 2);
            if middle.0 >= patch.mask.width || middle.1 >= patch.mask.height || !patch.mask.at(middle.0, middle.1) {
                continue;
            }
            for (n, v) in burnt.iter_mut().zip(channels(light, ratios, x, y)) {
                *n += usize::from(v > BURNT);
            }
            all += 1;
        }
    }
    let [r, g, b] = burnt.map(|n| n as f64 > BURNT_SHARE * all as f64);
    match (r, b) {
        _ if g => None,
        (false, false) => Some([1.0, 1.0]),
        (true, false) => Some([0.0, 2.0]),
        (false, true) => Some([2.0, 0.0]),
        _ => None,
    }
}

/// What light alone does to the colour ratios, from the slow shading of the floor (over 6 mm): the lamp's fall-off
/// changes the light and not the wood. Returns the slopes of ln(R/G) and ln(B/G) on ln(light), and a sigma.
fn tone(patch: &Patch, k: usize, ratios: [&Plane; 2], used: &Mask, step: f64, unit: f64) -> ([f64; 2], f64) {
    let (w, h) = (used.width, used.height);
    let light = patch.view.luma.shrink(k);
    let sigma = (6.0 * unit / step) as f32;
    let slow = |at: &(dyn Fn(usize, usize) -> f32 + Sync)| slow_mean(&Plane::from_fn(w, h, at), used, sigma);
    let light = slow(&|x, y| light.at(x, y).max(1e-4).ln());
    let n = used.count() as f64;
    let mean = |p: &Plane| p.data.iter().zip(&used.data).filter(|q| *q.1).map(|q| f64::from(*q.0)).sum::<f64>() / n;
    let middle = mean(&light);
    let about = |p: &Plane, m: f64| {
        let pairs = p.data.iter().zip(&light.data).zip(&used.data).filter(|q| *q.1);
        pairs.map(|((v, l), _)| (f64::from(*v) - m) * (f64::from(*l) - middle)).sum::<f64>() / n
    };
    let power = about(&light, middle);
    if power.sqrt() < SHADING {
        return (USUAL_TONE, USUAL_TONE_SIGMA);
    }
    let mut slopes = [0.0; 2];
    let mut scatter: f64 = 0.0;
    for (slope, ratio) in slopes.iter_mut().zip(ratios) {
        let ratio = slow(&|x, y| ratio.at(x, y));
        let m = mean(&ratio);
        *slope = about(&ratio, m) / power;
        let left = ratio.data.iter().zip(&light.data).zip(&used.data).filter(|q| *q.1);
        let left =
            left.map(|((v, l), _)| (f64::from(*v) - m - *slope * (f64::from(*l) - middle)).powi(2)).sum::<f64>() / n;
        // About a dozen independent slow patches on a floor.
        scatter = scatter.max((left / power / 12.0).sqrt());
    }
    // Weigh the photo's own slopes with what is usual.
    let own = scatter.hypot(TONE_SIGMA);
    let share = USUAL_TONE_SIGMA.powi(2) / (USUAL_TONE_SIGMA.powi(2) + own.powi(2));
    for (slope, usual) in slopes.iter_mut().zip(USUAL_TONE) {
        *slope = share * *slope + (1.0 - share) * usual;
    }
    (slopes, own * share.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rectify::FloorView;
    #[test]
    fn a_burnt_out_channel_is_no_witness() {
        let of = |r: f64, g: f64, b: f64| {
            let light = LUMINANCE[0] * r + LUMINANCE[1] * g + LUMINANCE[2] * b;
            let flat = |v: f64| Plane::from_fn(20, 20, |_, _| v as f32);
            let chroma = Some((flat(r / g), flat(b / g)));
            let (origin, luma) = (Point::default(), flat(light));
            let patch = Patch::whole(FloorView { origin, step: 0.1, luma, chroma, chroma_shrink: 1 });
            let (red, blue) = patch.view.chroma.as_ref().unwrap();
            unburnt(&patch, &patch.view.luma, (red, blue))
        };
        assert_eq!(of(0.6, 0.5, 0.3), Some([1.0, 1.0]));
        // A warm lamp on pale wood.
        assert_eq!(of(0.97, 0.6, 0.3), Some([0.0, 2.0]));
        assert_eq!(of(0.97, 0.95, 0.3), None);
    }
}
