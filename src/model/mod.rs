//! The physics, in SI units: constant parameters and the laws that move state.
//!
//! Nothing here knows files, threads, text or the terminal.

pub mod actuator;
pub mod camera;
pub mod controller;
pub mod damped;
pub mod driver;
pub mod hitch;
pub mod hydraulics;
pub mod line;
pub mod noise;
pub mod recent;
pub mod rows;
pub mod sampled;
pub mod series;
pub mod setup;
pub mod tracker;
pub mod tractor;
pub mod vector;
