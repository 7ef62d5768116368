//! Planes of f32 samples (linear light unless said), masks, resampling, smoothing, gradients.
//!
//! Row-major, index `y * width + x`; sample (0, 0) sits at the centre of the top-left pixel. Outside the plane the
//! nearest border sample is used.

mod filter;
mod plane;

pub use filter::{box_blur, gaussian_blur, gradients, masked_blur};
pub use plane::{Mask, Plane};
