//! One pass: ground, drive, side-shift, count.

pub mod trace;
