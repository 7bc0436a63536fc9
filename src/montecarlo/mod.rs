//! Many passes: sums that add up in a fixed order, and what they say with their limits.

pub mod estimate;
pub mod histogram;
mod linear_sums;
mod quantile;
pub mod study;
mod summary;
pub mod tally;
