//! The linear check: the same machine with small angles and no limits, in the frequency domain.
//!
//! It serves three times: as an independent check of the simulation, as the error budget by source, and as the instant
//! estimate. Margins and the stability verdict come from the same functions, so that an unstable loop is told before any run.
//!
//! Leaves out: limits of stroke, flow, steering and play, deadband, backlash, dropouts, outliers and the limit cycle of an
//! on-off switch. The bend of the line enters the mean error only, and only where the whole pass lies on one arc.
//!
//! Delays are exact. The controller is sampled: with `z⁻¹ = e^(-s T_f)` and the hold `(1 - z⁻¹)/(s T_f)`. The feedback loops
//! use the pulse transfer function of the held plant (modified z-transform; Åström & Wittenmark, Computer-Controlled Systems,
//! ch. 2 and 3), which is exact at the frames; what a sampled path folds down from above half the frame rate is left out for
//! signals in continuous time (row, driver, sway, yaw-rate sensor) and exact for noises that exist at frames only (camera, position
//! sensor).
//!
//! - [`spectrum`]: densities of the noises and the variance integral
//! - [`vehicle`]: driver, tractor and hitch
//! - [`shift`]: the side-shift; the linear forms of controllers stand beside their laws in [`crate::model::controller`]
//! - [`unstable`]: what is said of a loop that would run away
//! - [`mod@margins`]: loops, their margins and verdicts
//! - [`budget`]: what stable loops do: the answer of the shift, and the tool error by source

pub mod budget;
pub mod margins;
pub mod shift;
pub mod spectrum;
pub mod unstable;
pub mod vehicle;

pub use budget::{
    ErrorBudget, Source, mean_error_m, shift_response, tool_error, tool_error_response,
    variances_under,
};
pub use margins::{Margins, check_stable, critical_speed, loop_response, loop_step, margins};
pub use shift::{actuator_response, actuator_step};
pub use unstable::Unstable;
pub use vehicle::{
    AxleResponse, AxleWander, axle_about_line, axle_density, axle_response, axle_wander,
};

pub use crate::model::controller::linear::ShiftResponse;
pub use crate::model::sampled::Complex;
