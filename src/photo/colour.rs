//! The sRGB transfer curve and tables of it (IEC 61966-2-1:1999), luminance weights (ITU-R BT.709).

/// Share of red, green and blue light in luminance (ITU-R BT.709, primaries of sRGB).
pub const LUMINANCE: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Light (0 to 1) of an sRGB value (0 to 1).
pub fn to_linear(v: f64) -> f64 {
    if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

/// sRGB value (0 to 1) of light (0 to 1).
pub fn from_linear(l: f64) -> f64 {
    if l <= 0.003_130_8 { 12.92 * l } else { 1.055 * l.powf(1.0 / 2.4) - 0.055 }
}

/// Light of every code value, once for each colour, times that colour's share in luminance.
pub(super) struct LumaTables {
    pub red: Vec<f32>,
    pub green: Vec<f32>,
    pub blue: Vec<f32>,
    /// Light of a grey value.
    pub grey: Vec<f32>,
}

impl LumaTables {
    /// Tables for code values 0 to `max` (255 or 65535).
    pub fn new(max: u32) -> Self {
        let light: Vec<f64> = (0..=max).map(|v| to_linear(f64::from(v) / f64::from(max))).collect();
        let times = |k: f64| light.iter().map(|l| (l * k) as f32).collect();
        Self { red: times(LUMINANCE[0]), green: times(LUMINANCE[1]), blue: times(LUMINANCE[2]), grey: times(1.0) }
    }
}
