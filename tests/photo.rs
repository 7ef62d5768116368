//! The photo room on files made here, and on files made by others (LOWSUN_CHECK_DATA).
#[path = "photo/made.rs"]
mod made;
#[path = "photo/real.rs"]
mod real;
