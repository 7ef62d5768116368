//! lowsun reads a raking-light photo of a routed pocket floor and says what made its ridges.
//!
//! The story of one photo: [`photo`] brings the file in, upright and in linear light. [`plan`] reads what was meant
//! to be cut, with [`toolpath`] where there is a cutting file. [`mod@reference`] finds known points. [`rectify`] turns
//! them into the floor plane at true scale. [`floor`] picks the lit, sharp floor and reads the lamp from the wall's
//! shadow. [`fit`] says whether the photo can carry an answer. [`mod@opposite`] lays a second
//! photo, lit from the other side, on the first. [`marks`] measures line families, edges and strips.
//! [`expect`] says what each cause would leave on this floor. [`explain`] weighs the marks against that.
//! [`report`] writes it down, [`records`] keeps it, [`summary`] sums up many, [`compare`] sets two side by side. [`pipeline`] is that corridor, one line a room.
//!
//! ```
//! use lowsun::expect::physics::cusp_height_mm;
//! // A 6 mm ball nose at a stepover of 0.5 mm leaves ridges of about ten micrometres.
//! assert!((cusp_height_mm(3.0, 0.5).unwrap() - 0.010435).abs() < 1e-6);
//! ```
//!
//! A module may import only modules declared above it here (`tests/layers.rs` checks it).

pub mod units;

pub mod error;

pub mod caveat;

pub mod stats;

pub mod geometry;

pub mod raster;

pub mod signal;

pub mod card;

pub mod photo;

pub mod toolpath;

pub mod plan;

pub mod reference;

pub mod rectify;

pub mod floor;

pub mod fit;

pub mod opposite;

pub mod marks;

pub mod expect;

pub mod explain;

pub mod report;

pub mod records;

pub mod summary;

pub mod compare;

pub mod draw;

pub mod trace;

pub mod pipeline;
