//! One pass: ground, drive, side-shift, count.

pub mod ground;
pub mod path;
pub mod streams;
pub mod trace;
