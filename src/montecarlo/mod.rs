//! Many passes: sums that add up exactly, in any order, and what they say with their limits.

pub(crate) mod contrast;
pub mod decide;
pub mod estimate;
pub mod exact;
pub mod farms;
pub mod fields;
pub mod histogram;
pub mod learning;
mod linear_sums;
pub mod plan;
pub(crate) mod quantile;
pub(crate) mod readings;
pub mod saved;
pub mod study;
mod summary;
mod sums;
pub mod tally;
pub mod watch;
pub mod workers;
pub mod worst;
pub mod worst_pass;
