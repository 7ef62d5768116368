//! The photo's own grid: JPEG stores blocks of eight pixels, whose borders are lines of even spacing on any floor.

use crate::floor::Patch;

/// Pixels of a block's side (ITU-T T.81).
const BLOCK: f64 = 8.0;
/// Relative tolerance of the spacing: perspective changes it from one end of the floor to the other.
const SPREAD: f64 = 0.015;
/// Strongest contrast (rms) that block borders reach: quality 70 leaves half a per cent on plain floors. Lines stronger
/// than this at just this spacing are real.
const STRONGEST: f64 = 0.012;

/// Turns frequencies on the floor into frequencies in the photo.
pub(super) struct Blocks {
    /// Floor units per photo pixel, transposed: rows are the photo's x and y.
    jacobian: [[f64; 2]; 2],
}

impl Blocks {
    /// From the outline, which is known on the floor and in the photo; `None` where it is not.
    pub fn of(patch: &Patch) -> Option<Self> {
        let (a, b) = (&patch.outline, &patch.outline_px);
        if a.len() < 3 || a.len() != b.len() {
            return None;
        }
        let n = a.len() as f64;
        let mean = |v: &[crate::geometry::Point]| {
            (v.iter().map(|p| p.x).sum::<f64>() / n, v.iter().map(|p| p.y).sum::<f64>() / n)
        };
        let (fa, pa) = (mean(a), mean(b));
        // Least squares of floor = J photo, about both middles.
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        let mut cross = [[0.0; 2]; 2];
        for (f, p) in a.iter().zip(b) {
            let (u, v) = (p.x - pa.0, p.y - pa.1);
            let (x, y) = (f.x - fa.0, f.y - fa.1);
            xx += u * u;
            xy += u * v;
            yy += v * v;
            cross[0][0] += u * x;
            cross[0][1] += u * y;
            cross[1][0] += v * x;
            cross[1][1] += v * y;
        }
        let det = xx * yy - xy * xy;
        if !(det > 1e-6 * xx * yy) {
            return None;
        }
        let row = |a: f64, b: f64| -> [f64; 2] { std::array::from_fn(|k| a * cross[0][k] + b * cross[1][k]) };
        Some(Self { jacobian: [row(yy / det, -xy / det), row(-xy / det, xx / det)] })
    }

    /// Whether lines of this frequency, direction and contrast are a row or column of blocks; `length` is that of the floor (or
    /// of a piece of it) across its lines.
    pub fn own(&self, f: f64, normal_deg: f64, contrast: f64, length: f64) -> bool {
        let (s, c) = normal_deg.to_radians().sin_cos();
        let q = self.jacobian.map(|row| BLOCK * f * (c * row[0] + s * row[1]));
        let pixel = self.jacobian[0][0].hypot(self.jacobian[0][1]);
        let cell = 2.0 * BLOCK * pixel / length.max(1e-9);
        let near = |v: f64| (v - v.round()).abs() < cell + SPREAD * v.abs();
        let (x, y) = (q[0].abs(), q[1].abs());
        contrast < STRONGEST
            && ((x.round() >= 1.0 && near(x) && y < cell + SPREAD * x)
                || (y.round() >= 1.0 && near(y) && x < cell + SPREAD * y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;

    #[test]
    fn the_outline_gives_back_a_turned_and_scaled_map() {
        // Floor = 0.05 mm a pixel, turned by 30 degrees.
        let (s, c) = 30f64.to_radians().sin_cos();
        let px = [(0.0, 0.0), (1000.0, 20.0), (980.0, 700.0), (5.0, 690.0)].map(|(x, y)| Point::new(x, y));
        let floor = px.map(|p| Point::new(0.05 * (c * p.x - s * p.y) + 3.0, 0.05 * (s * p.x + c * p.y)));
        let view = crate::rectify::FloorView {
            origin: Point::new(0.0, 0.0),
            step: 0.05,
            luma: crate::raster::Plane::new(1, 1),
            chroma: None,
            chroma_shrink: 1,
        };
        let patch = Patch { outline: floor.to_vec(), outline_px: px.to_vec(), ..Patch::whole(view) };
        let j = Blocks::of(&patch).unwrap().jacobian;
        let want = [[0.05 * c, 0.05 * s], [-0.05 * s, 0.05 * c]];
        for (a, b) in j.as_flattened().iter().zip(want.as_flattened()) {
            assert!((a - b).abs() < 1e-12, "{j:?}");
        }
    }
}
