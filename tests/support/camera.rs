//! The photo's geometry: a pin-hole camera with a little radial distortion over the pocket frame.

use super::field::P;
use super::spec::Spec;

pub struct View {
    /// Rows: camera x, y, z (forward) in (x, y, down).
    r: [[f64; 3]; 3],
    eye: [f64; 3],
    pub f: f64,
    pub c: P,
    pub k1: f64,
    pub size: [usize; 2],
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

impl View {
    /// A camera that takes in all `points` (x, y, z up) with the spec's margin.
    pub fn framing(s: &Spec, points: &[[f64; 3]]) -> Self {
        let cam = &s.camera;
        let ((st, ct), (sp, cp)) = (cam.tilt.to_radians().sin_cos(), cam.pan.to_radians().sin_cos());
        let z = [st * cp, st * sp, ct];
        let x = {
            let v = [1.0 - z[0] * z[0], -z[0] * z[1], -z[0] * z[2]];
            let n = dot(v, v).sqrt();
            [v[0] / n, v[1] / n, v[2] / n]
        };
        let y = [z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0]];
        let (sr, cr) = cam.roll.to_radians().sin_cos();
        let r = [std::array::from_fn(|k| cr * x[k] + sr * y[k]), std::array::from_fn(|k| cr * y[k] - sr * x[k]), z];
        let [w, h] = cam.px.map(|v| v as f64);
        // By the diagonal of a 36 x 24 mm frame.
        let f = w.hypot(h) * cam.f35 / 36f64.hypot(24.0);
        let c = [(w - 1.0) / 2.0, (h - 1.0) / 2.0];
        let (mut d, mut aim) = (250.0, [s.centre()[0], s.centre()[1]]);
        let mut v = Self { r, eye: [0.0; 3], f, c, k1: cam.k1, size: cam.px };
        for _ in 0..60 {
            v.eye = [aim[0] - d * z[0], aim[1] - d * z[1], -d * z[2]];
            let px: Vec<P> = points.iter().map(|p| v.project(*p)).collect();
            let (mut a, mut b) = ([f64::MAX; 2], [f64::MIN; 2]);
            for p in &px {
                for k in 0..2 {
                    a[k] = a[k].min(p[k]);
                    b[k] = b[k].max(p[k]);
                }
            }
            let q = ((b[0] - a[0]) / w).max((b[1] - a[1]) / h) / (1.0 - 2.0 * cam.margin);
            d *= q.clamp(0.5, 2.0).sqrt();
            let m = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
            let (at, now) = (v.ground(m, 0.0), v.ground(c, 0.0));
            aim = [aim[0] + 0.7 * (at[0] - now[0]), aim[1] + 0.7 * (at[1] - now[1])];
        }
        v
    }
    /// Point (x, y, z up) to photo pixels.
    pub fn project(&self, p: [f64; 3]) -> P {
        let q = [p[0] - self.eye[0], p[1] - self.eye[1], -p[2] - self.eye[2]];
        let [x, y, z] = self.r.map(|r| dot(r, q));
        let (x, y) = (x / z.max(1.0), y / z.max(1.0));
        let k = 1.0 + self.k1 * (x * x + y * y);
        [self.c[0] + self.f * x * k, self.c[1] + self.f * y * k]
    }
    /// Viewing direction of a pixel in (x, y, down).
    pub fn ray(&self, px: P) -> [f64; 3] {
        let (xd, yd) = ((px[0] - self.c[0]) / self.f, (px[1] - self.c[1]) / self.f);
        let (mut x, mut y) = (xd, yd);
        for _ in 0..6 {
            let k = 1.0 + self.k1 * (x * x + y * y);
            (x, y) = (xd / k, yd / k);
        }
        std::array::from_fn(|k| self.r[0][k] * x + self.r[1][k] * y + self.r[2][k])
    }
    /// Where the ray of direction `d` meets the plane at height `z` (up).
    pub fn meet(&self, d: [f64; 3], z: f64) -> P {
        let t = (-z - self.eye[2]) / d[2];
        [self.eye[0] + t * d[0], self.eye[1] + t * d[1]]
    }
    pub fn ground(&self, px: P, z: f64) -> P {
        self.meet(self.ray(px), z)
    }
    /// Plane at height `z`, mm (x, y, 1) to undistorted pixels.
    pub fn homography(&self, z: f64) -> [[f64; 3]; 3] {
        let col = |v: [f64; 3]| self.r.map(|r| dot(r, v));
        let (a, b) = (col([1.0, 0.0, 0.0]), col([0.0, 1.0, 0.0]));
        let t = col([-self.eye[0], -self.eye[1], -z - self.eye[2]]);
        let row = |k: usize| [a[k], b[k], t[k]];
        let z = row(2);
        let mix = |k: usize| {
            let q = row(k);
            std::array::from_fn(|i| self.f * q[i] + self.c[k] * z[i])
        };
        [mix(0), mix(1), z]
    }
    /// Distance from the camera to the stock along its axis, mm.
    pub fn distance(&self) -> f64 {
        -self.eye[2] / self.r[2][2]
    }
    /// Local size of a pixel on the plane at height `z`: mm per pixel (geometric mean), and the direction of the photo's
    /// +x there in pocket degrees.
    pub fn scale(&self, at: P, z: f64) -> (f64, f64) {
        let px = self.project([at[0], at[1], z]);
        let (a, b) = (self.ground([px[0] + 0.5, px[1]], z), self.ground([px[0] - 0.5, px[1]], z));
        let (c, d) = (self.ground([px[0], px[1] + 0.5], z), self.ground([px[0], px[1] - 0.5], z));
        let (u, v) = ([a[0] - b[0], a[1] - b[1]], [c[0] - d[0], c[1] - d[1]]);
        ((u[0] * v[1] - u[1] * v[0]).abs().sqrt(), u[1].atan2(u[0]).to_degrees())
    }
}
