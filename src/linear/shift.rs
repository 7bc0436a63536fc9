//! Controllers and side-shift: what shift answers to what the camera sees. The linear forms stand with the controllers.

use super::Complex;
use super::margins::check_stable;
use crate::model::actuator::Actuator;
use crate::model::controller::Kind;
use crate::model::controller::linear::ShiftResponse;
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

/// Response of the shift at an angular frequency above 0, rad/s. `None` for on-off, for a controller that the setup lacks, and
/// for a loop that is not stable.
pub fn shift_response(
    setup: &Setup,
    kind: Kind,
    speed_m_s: f64,
    w_rad_s: f64,
) -> Option<ShiftResponse> {
    check_stable(setup, kind, speed_m_s).ok()?;
    let control = kind.linear(setup, speed_m_s)?;
    Some(control.response(&Frequency::new(w_rad_s, setup.camera.frame_s)))
}
