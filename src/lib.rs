//! How close to the plants may the sweeps of a camera-guided cultivator run, and how fast?
//!
//! # Axes and signs
//!
//! ISO 8855: x forward, y left, angles counter-clockwise, seen from above.
//!
//! ```text
//!            x forward (direction of travel, distance s along the row line)
//!            ^
//!            |     psi > 0: nose to the left
//!   y left   |
//!   <--------+     rear axle: offset y from the planned row line
//!            |
//!            |     lengths behind the axle positive:
//!            |     camera point  x_c = x_tool - lookahead
//!            |     tool line     x_tool
//!            v
//! ```
//!
//! Positive shift moves the frame to the left, positive steering turns left, a left bend has positive curvature, a
//! positive side slope has its left side higher. SI units and radians everywhere but in scenario files and on screens.
//!
//! # Rooms
//!
//! Data flows down this list; nothing imports upwards.
//!
//! - [`model`]: physics, constant parameters and laws
//! - [`linear`]: the same in the frequency domain: margins, error budget, instant estimate
//! - [`sim`]: one pass
//! - [`fieldlog`]: files of measured and planned paths
//! - [`scenario`]: text to checked values to one draw of the model's parameters
//! - [`montecarlo`]: many passes, rates with their limits
//! - [`results`]: what a study found
//! - [`report`]: results to files and text

pub mod fieldlog;
pub mod linear;
pub mod model;
pub mod montecarlo;
pub mod report;
pub mod results;
pub mod scenario;
pub mod sim;
