//! One pass: ground, drive, side-shift, count.

pub mod count;
pub mod frames;
pub mod ground;
pub mod path;
pub mod shift;
pub mod streams;
pub mod trace;
