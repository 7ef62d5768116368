//! Two outlines on parallel planes seen by one camera: what each says of tilt, lens and scale is weighed together.

use super::{EdgeSigma, Fitted, LEAST_POINTS, OnOutline, Outline, Seen, Sight, solve};
use crate::geometry::{PlaneView, Point, Pose};
use crate::reference::quads::Camera;
use nalgebra::DMatrix;

/// How a second outline lies on a plane parallel to the first one's.
#[derive(Debug, Clone, Copy)]
pub struct Laid {
    /// Its middle, mm on the first one's plane.
    pub at: Point,
    /// Its turn against the first one, radians.
    pub turn: f64,
    /// How much higher than the first one it lies, mm.
    pub up_mm: f64,
}

impl Laid {
    /// The view of the second outline's plane about its middle, from that of the first.
    pub fn view(&self, first: &PlaneView) -> PlaneView {
        let raised = first.shifted(self.up_mm);
        let pose = &raised.pose;
        let t = pose.t + pose.r1 * self.at.x + pose.r2 * self.at.y;
        PlaneView::new(Pose { t, ..pose.clone() }, raised.k1, raised.k2).turned(self.turn.cos(), self.turn.sin())
    }
    fn moved(&self, own: &[f64]) -> Self {
        match own {
            [x, y, turn] => Self { at: self.at + Point::new(*x, *y), turn: self.turn + turn, ..*self },
            _ => *self,
        }
    }
}

/// Steps of the numeric derivatives along the second one's place (mm) and turn (radians).
const OWN: [f64; 3] = [1e-2, 1e-2, 1e-5];

struct Both<'a> {
    first: OnOutline<'a>,
    second: OnOutline<'a>,
    laid: Laid,
    /// One sigma of the second one's width and height, mm.
    size_sigma_mm: f64,
}

impl Sight for Both<'_> {
    fn own_steps(&self) -> &[f64] {
        &OWN
    }
    fn residuals(&self, v: &PlaneView, own: &[f64]) -> Vec<f64> {
        let mut out = self.first.residuals(v, &[]);
        out.extend(self.second.residuals(&self.laid.moved(own).view(v), &[]));
        out
    }
    /// The sides of the first, the sides of the second, the second one's width and height.
    fn common(&self) -> DMatrix<f64> {
        let (a, b) = (self.first.common(), self.second.common());
        let (n, m) = (a.nrows(), b.nrows());
        let mut out = DMatrix::zeros(n + m, 10);
        out.view_mut((0, 0), (n, 4)).copy_from(&a);
        out.view_mut((n, 4), (m, 4)).copy_from(&b);
        for i in 0..m {
            let half = 0.5 * self.size_sigma_mm * self.second.px_per_mm[i];
            out[(n + i, 8)] = self.second.shift(i, [0.0, half, 0.0, half]);
            out[(n + i, 9)] = self.second.shift(i, [half, 0.0, half, 0.0]);
        }
        out
    }
}

/// What the fit of two outlines gives.
#[derive(Debug, Clone)]
pub struct Together {
    pub first: Fitted,
    pub second: Fitted,
    pub laid: Laid,
    /// The second outline as it was seen.
    pub outline: Outline,
    /// How far its width and height had to give way for that, in their sigmas.
    pub size_off: [f64; 2],
}

/// Fits one camera to the points of two outlines, each as in [`super::fit`]: the second lies on a plane parallel to the
/// first one's, near `laid`; its place and turn are free, its size is known to `size_sigma_mm`.
///
/// `None` with too few points or when the fit leaves the picture.
pub fn fit_two(
    start: &PlaneView,
    first: (&[Seen], Outline),
    second: (&[Seen], Outline),
    laid: Laid,
    size_sigma_mm: f64,
    camera: &Camera,
    sigma: EdgeSigma,
    rounds: usize,
) -> Option<Together> {
    if first.0.len().min(second.0.len()) < LEAST_POINTS {
        return None;
    }
    let [one, two] = [first, second].map(|(points, outline)| OnOutline::new(points, outline, sigma));
    let mut sight = Both { first: one, second: two, laid, size_sigma_mm };
    let mut view = start.clone();
    for round in 1..=rounds {
        sight.first.aim(&view);
        sight.second.aim(&sight.laid.view(&view));
        let done = solve(&view, &sight, camera, round == rounds)?;
        view = done.view;
        sight.laid = sight.laid.moved(&done.own);
        let (a, b) = done.residuals.split_at(first.0.len());
        if let Some(covariance) = done.covariance {
            let (second_view, size_off) = (sight.laid.view(&view), [done.common[8], done.common[9]]);
            let Outline { width, height, radius } = second.1;
            let [width, height] = [width + size_off[0] * size_sigma_mm, height + size_off[1] * size_sigma_mm];
            return Some(Together {
                outline: Outline { width, height, radius },
                first: Fitted { view, residual_px: sight.first.rms_px(a), covariance: covariance.clone() },
                second: Fitted { view: second_view, residual_px: sight.second.rms_px(b), covariance },
                laid: sight.laid,
                size_off,
            });
        }
        sight.first.reweigh(a);
        sight.second.reweigh(b);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Rotation3, Vector3};

    const CARD: Outline = Outline { width: 85.60, height: 53.98, radius: 3.18 };
    const RIM: Outline = Outline { width: 120.0, height: 80.0, radius: 3.0 };

    /// Points of three or four sides, seen without error.
    fn points(view: &PlaneView, outline: Outline, sides: usize) -> Vec<Seen> {
        let (w, h) = (outline.width / 2.0, outline.height / 2.0);
        let along = |k: usize, t: f64| match k {
            0 => Point::new(0.9 * t * w, -h),
            1 => Point::new(w, 0.9 * t * h),
            2 => Point::new(-0.9 * t * w, h),
            _ => Point::new(-w, -0.9 * t * h),
        };
        let one = |k: usize, i: usize| Seen {
            px: view.forward(along(k, i as f64 / 20.0 - 1.0)),
            weight: 1.0,
            sides: std::array::from_fn(|s| f64::from(u8::from(s == k))),
        };
        (0..sides).flat_map(|k| (0..=40).map(move |i| one(k, i))).collect()
    }
    #[test]
    fn a_second_outline_tells_lens_and_tilt_that_the_first_one_leaves_open() {
        let camera = Camera {
            focal_px: 3000.0,
            relative: 0.03,
            centre: Point::new(2000.0, 1500.0),
            k1: (0.0, 0.012),
            k2: (0.0, 0.012),
        };
        let turn = Rotation3::from_euler_angles(0.2, -0.1, 0.3);
        let pose = Pose {
            focal_px: 3050.0,
            centre: camera.centre,
            r1: turn * Vector3::x(),
            r2: turn * Vector3::y(),
            t: Vector3::new(70.0, -40.0, 250.0),
        };
        let truth = PlaneView::new(pose, -0.02, 0.0);
        let laid = Laid { at: Point::new(-100.0, 20.0), turn: 0.1, up_mm: -0.76 };
        let (card, rim) = (points(&truth, CARD, 4), points(&laid.view(&truth), RIM, 3));
        let sigma = EdgeSigma { point: 0.9, side: 0.4 };
        let start = super::super::moved(&truth, &[0.01, -0.01, 0.0, 0.5, 0.5, 2.0, 0.0, 0.02]);
        let near = laid.moved(&[1.0, -1.0, 0.01]);
        let both = fit_two(&start, (&card, CARD), (&rim, RIM), near, 0.15, &camera, sigma, 3).unwrap();
        let middle = laid.view(&truth).forward(Point::default());
        let off =
            |v: &PlaneView| (v.scale_at(v.backward(middle)) / laid.view(&truth).scale_at(Point::default())).ln().abs();
        assert!(off(&both.second.view) < 3e-4, "{}", off(&both.second.view));
        assert!(
            both.laid.at.distance(laid.at) < 0.1 && both.size_off.iter().all(|o| o.abs() < 0.5),
            "{:?}",
            both.size_off
        );
        let alone = super::super::fit(&start, &card, CARD, &camera, sigma).unwrap();
        assert!(off(&alone.view.shifted(laid.up_mm)) > 1e-3, "fixture is broken: {}", off(&alone.view));
        assert!(both.second.scale_sigma_at(middle) < 0.5 * alone.scale_sigma_at(middle));
        // A rim planned a millimetre higher gives way.
        let wide = Outline { height: RIM.height + 1.0, ..RIM };
        let other = fit_two(&start, (&card, CARD), (&rim, wide), near, 0.15, &camera, sigma, 3).unwrap();
        assert!(other.size_off[1] < -2.5, "{:?}", other.size_off);
        assert!((other.outline.height - RIM.height).abs() < 0.5, "{}", other.outline.height);
    }
}
