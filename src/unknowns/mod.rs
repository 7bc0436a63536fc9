//! What is not known: one value for a farm and its machine, of which only a range or a distribution is known. From a few hundred simulated
//! draws of all of it to limits of a rate, assured speeds and clearances, what carries the doubt, and what measurements take of it away.
//!
//! Model form and unknowns that hang together are in no limit.

pub mod assurance;
pub mod band;
pub mod basis;
pub mod cloud;
pub mod correct;
pub mod dice;
pub mod emulator;
pub mod law;
pub mod learn;
pub mod limits;
pub mod measure;
pub mod points;
pub mod shapley;
pub mod special;
pub mod tool;
pub mod worth;
