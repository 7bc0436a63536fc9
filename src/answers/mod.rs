//! What follows from a study for those who ask.

pub mod control;
pub mod hydraulics;
