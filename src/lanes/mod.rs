//! Passes side by side.
pub mod deviates;
pub mod drive;
pub mod ground;
pub mod sensors;
pub mod shift;
pub mod vector;
