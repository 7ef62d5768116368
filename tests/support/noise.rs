//! Hashed value noise: the same place and seed always give the same value, so a scene is the same bytes every time.

/// A number in [-1, 1) from a lattice place.
pub fn hash(x: i32, y: i32, z: i32, seed: u32) -> f32 {
    let mut h = (x as u32).wrapping_mul(0x8DA6_B343)
        ^ (y as u32).wrapping_mul(0xD816_3841)
        ^ (z as u32).wrapping_mul(0xCB1A_B31F)
        ^ seed.wrapping_mul(0x9E37_79B9);
    h ^= h >> 15;
    h = h.wrapping_mul(0x2C1B_3C6D);
    h ^= h >> 12;
    h = h.wrapping_mul(0x297A_2D39);
    h ^= h >> 15;
    h as f32 * (2.0 / 4_294_967_296.0) - 1.0
}

/// Largest whole number not above `v`, without a library call.
fn whole(v: f64) -> i32 {
    let i = v as i32;
    i - i32::from(v < f64::from(i))
}

fn smooth(t: f32) -> f32 {
    t * t * (3.0 - 2.0 * t)
}

/// Smooth noise in [-1, 1) with a lattice of one unit.
pub fn value2(x: f64, y: f64, seed: u32) -> f32 {
    let (i, j) = (whole(x), whole(y));
    let (tx, ty) = (smooth((x - f64::from(i)) as f32), smooth((y - f64::from(j)) as f32));
    let row = |j: i32| {
        let (a, b) = (hash(i, j, 0, seed), hash(i + 1, j, 0, seed));
        a + (b - a) * tx
    };
    let (a, b) = (row(j), row(j + 1));
    a + (b - a) * ty
}

/// Smooth noise on a line.
pub fn value1(x: f64, seed: u32) -> f32 {
    let i = whole(x);
    let (a, b) = (hash(i, 0, 0, seed), hash(i + 1, 0, 0, seed));
    a + (b - a) * smooth((x - f64::from(i)) as f32)
}

/// Sum of octaves, each half the size and strength; about [-1, 1].
pub fn octaves(x: f64, y: f64, n: u32, seed: u32) -> f32 {
    let (mut s, mut a, mut k, mut norm) = (0.0, 1.0, 1.0, 0.0);
    for o in 0..n {
        s += a * value2(x * k, y * k, seed.wrapping_add(o * 977));
        norm += a;
        a *= 0.55;
        k *= 2.03;
    }
    s / norm
}

/// Close to a unit normal number from a place (sum of three uniforms).
pub fn normal(x: i32, y: i32, z: i32, seed: u32) -> f32 {
    hash(x, y, z, seed) + hash(x, y, z, seed ^ 0x5bd1) + hash(x, y, z, seed ^ 0x91e7)
}
