//! Passes side by side.
pub mod deviates;
pub mod ground;
pub mod vector;
