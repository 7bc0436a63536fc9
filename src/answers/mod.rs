//! What follows from a study for those who ask.

pub mod control;
pub mod hydraulics;
pub mod sheet;
pub mod soil;
pub mod spacing;
pub mod words;
