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
//! - [`sim`]: the engine: passes side by side or one alone
//! - [`farm`]: land, time, prices and soil around the machine, laws of field work
//! - [`quote`]: texts of others in messages
//! - [`files`]: text files of the operating system, with a limit
//! - [`fieldlog`]: files of measured and planned paths
//! - [`unknowns`]: what is known of a number that is not known, and what follows for rates and speeds
//! - [`scenario`]: text to checked values to one draw of the model's parameters
//! - [`montecarlo`]: many passes, rates with their limits
//! - [`field`]: logs, tape and counts from the field: wander, errors of the setting and what to move
//! - [`results`]: what a study found
//! - [`answers`]: what follows from it for engineer, dealer, grower and workshop, with the runs that this takes
//! - [`mod@study`]: all of that in one call
//! - [`report`]: results to files and text
//! - [`page`]: what the page that holds the whole tool asks of the library
//! - [`trust`]: how far to trust it: predictions against published trials
//!
//! # Features
//!
//! `program`, on by default: terminal, threads and files. Without it everything else runs where there are none, as in a browser.
//! `report`, part of it: results to texts and pages, and [`page`].
//!
//! # Example
//!
//! A whole study with its answers is one call: [`study::study`]. Below it every room can be used by itself: a machine built in
//! code, forty passes under lag compensation at 8 km/h, and the share of plants that a clearance of 60 mm costs:
//!
//! ```
//! use rowroom::model::{controller::Kind, setup::Setup};
//! use rowroom::montecarlo::estimate::korn_graubard;
//! use rowroom::montecarlo::tally::{TRADE_ROOM_M, Tally};
//! use rowroom::results::LEVEL;
//! use rowroom::sim::{Request, run};
//!
//! let mut setup = Setup::plausible();
//! setup.camera.lookahead_m = 0.9;
//! setup.run.length_m = 100.0;
//! let request = Request {
//!     seed: 1,
//!     speeds_m_s: &[8.0 / 3.6],
//!     clearances_m: &[0.04, 0.06],
//!     rows_apart_at_m_s: None,
//!     room_m: TRADE_ROOM_M,
//! };
//! let passes: Vec<u64> = (0..40).collect();
//!
//! let mut tally = Tally::new(0, request.clearances_m.len());
//! for pass in run(&request, &[Kind::LagCompensated], &vec![setup; passes.len()], &passes) {
//!     let at_speed = &pass[0];
//!     tally.add(&at_speed.controllers[0], at_speed.axle);
//! }
//! let estimate = korn_graubard(&tally.whole.cut, LEVEL)[1];
//! assert!(estimate.lower <= estimate.rate && estimate.rate <= estimate.upper);
//! assert!(estimate.upper < 0.02);
//! ```

pub mod answers;
pub mod farm;
pub mod field;
pub mod fieldlog;
#[cfg(feature = "program")]
pub mod files;
pub mod linear;
pub mod model;
pub mod montecarlo;
#[cfg(feature = "report")]
pub mod page;
pub mod quote;
#[cfg(feature = "report")]
pub mod report;
pub mod results;
pub mod scenario;
pub mod sim;
pub mod study;
pub mod trust;
pub mod unknowns;
