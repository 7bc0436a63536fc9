//! The side-shift with small commands and no limits. What controllers make of it stands with them.

use super::Complex;
use crate::model::actuator::Actuator;
use crate::model::sampled::Frequency;
use crate::model::setup::Setup;

/// Shift per command of the proportional side-shift, m per m/s, at an angular frequency above 0: the mean of both directions
/// where load or cold oil make them differ. `None` without a proportional valve.
pub fn actuator_response(setup: &Setup, w_rad_s: f64) -> Option<Complex> {
    let at = Frequency::new(w_rad_s, setup.camera.frame_s);
    Some(Actuator::of(setup)?.response(&at))
}

/// Shift at `time_s` after the command steps from 0 to 1 m/s, m.
pub fn actuator_step(setup: &Setup, time_s: f64) -> Option<f64> {
    Some(Actuator::of(setup)?.step_m(time_s))
}
