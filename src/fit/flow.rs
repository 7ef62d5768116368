//! Which way lines run on the floor: those of the light (ridges and figure) and those of the colour (figure alone).

use crate::floor::Patch;
use crate::raster::Plane;
use crate::raster::gaussian_blur;
use crate::raster::gradients;
use crate::units::wrap_180;
use serde::Serialize;

/// Direction of the lines that fill a floor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Flow {
    /// Direction the lines run in, floor frame, degrees, [0, 180).
    pub along_deg: f64,
    /// 0: changes alike in all directions; 1: along one only.
    pub coherence: f64,
}

/// Lines of colour over the lit floor; `None` for grey photos and where there is little floor. `unit`: floor-frame units
/// per millimetre.
pub fn colour(patch: &Patch, unit: f64) -> Option<Flow> {
    let (red, blue) = patch.view.chroma.as_ref()?;
    flow(patch, &[red, blue], patch.view.chroma_shrink, unit)
}

/// Lines of light over the lit floor: ridges and figure together.
pub fn light(patch: &Patch, unit: f64) -> Option<Flow> {
    let k = ((0.15 * unit / patch.view.step).round() as usize).max(1);
    flow(patch, &[&patch.view.luma.shrink(k)], k, unit)
}

/// Structure tensor of planes whose samples are `k` of the view's, over the lit floor.
fn flow(patch: &Patch, planes: &[&Plane], k: usize, unit: f64) -> Option<Flow> {
    // 0.4 mm: finer is the camera's colour noise, late wood is wider.
    let sigma = (0.4 * unit / (patch.view.step * k as f64)) as f32;
    let used = |x: usize, y: usize| {
        let (i, j) = (x * k + k / 2, y * k + k / 2);
        i < patch.mask.width && j < patch.mask.height && patch.mask.at(i, j)
    };
    let reach = (3.0 * sigma).ceil() as usize + 1;
    let (mut xx, mut xy, mut yy, mut n) = (0.0f64, 0.0f64, 0.0f64, 0usize);
    for plane in planes {
        let (gx, gy) = gradients(&gaussian_blur(plane, sigma));
        for y in (reach..plane.height.saturating_sub(reach)).step_by(2) {
            for x in (reach..plane.width.saturating_sub(reach)).step_by(2) {
                let round = [(x - reach, y), (x + reach, y), (x, y - reach), (x, y + reach)];
                if !used(x, y) || !round.iter().all(|(x, y)| used(*x, *y)) {
                    continue;
                }
                let (a, b) = (f64::from(gx.at(x, y)), f64::from(gy.at(x, y)));
                (xx, xy, yy, n) = (xx + a * a, xy + a * b, yy + b * b, n + 1);
            }
        }
    }
    if n < 200 || !(xx + yy > 0.0) {
        return None;
    }
    let across = 0.5 * (2.0 * xy).atan2(xx - yy).to_degrees();
    Some(Flow { along_deg: wrap_180(across + 90.0), coherence: (xx - yy).hypot(2.0 * xy) / (xx + yy) })
}
