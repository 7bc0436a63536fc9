//! Every check of the library and of the program but the campaign and the trials, one room for each subject. One program, so that it is
//! built and linked once: `cargo test --release --test checks`, and `-- engine::` for one room.
#![allow(missing_docs)]

#[path = "../common/mod.rs"]
mod common;

mod agreement;
#[cfg(feature = "program")]
mod answers;
#[cfg(feature = "program")]
mod command;
mod control;
mod engine;
mod entry;
#[cfg(feature = "program")]
mod field;
mod fields;
mod geometry;
mod grid;
mod hydraulics;
mod laws;
mod learning;
mod linear;
mod new_controller;
mod noise;
mod one_pass;
#[cfg(feature = "program")]
mod passes;
mod rare_rates;
mod scenario_applied;
mod scenario_defaults;
mod scenario_draws;
#[cfg(feature = "program")]
mod scenario_files;
mod scenario_lines;
mod scenario_random;
mod scenario_units;
mod statistics;
mod steps;
mod tool_error;
mod trade;
mod unknowns;
#[cfg(feature = "program")]
mod us_units;
#[cfg(feature = "program")]
mod variants;
#[cfg(feature = "program")]
mod whole_rows;
mod worst_pass;
