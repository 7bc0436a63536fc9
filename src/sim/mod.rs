//! One pass: ground, drive, side-shift, count.

pub mod streams;
pub mod trace;
