//! A controller with small angles and no limits, at one frequency.

use crate::model::sampled::{Complex, Fraction, Frequency};
use crate::model::tracker::transfer::Transfer;

/// Shift of the frame per unit of each input of the controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShiftResponse {
    /// Per row position that the unshifted frame sees at the camera point, m/m; camera noise enters the same way.
    pub seen: Complex,
    /// Per heading of the frame, m/rad, through a measured yaw rate.
    pub heading: Complex,
    /// Per yaw-rate sensor error, m s/rad.
    pub yaw_rate_error: Complex,
    /// Per error of the position reading that the inner loop uses, m/m.
    pub position_now: Complex,
    /// Per error of the position reading at the exposure, m/m.
    pub position_at_exposure: Complex,
}

impl ShiftResponse {
    /// Of a frame that does not move.
    pub const NONE: ShiftResponse = {
        let zero = Complex::new(0.0, 0.0);
        ShiftResponse {
            seen: zero,
            heading: zero,
            yaw_rate_error: zero,
            position_now: zero,
            position_at_exposure: zero,
        }
    };

    /// What a tracker makes of the seen row and of the yaw rate, through `path`; `number` is the tracker's response.
    pub fn tracked(
        tracker: &Transfer,
        number: Complex,
        path: Complex,
        at: &Frequency,
    ) -> ShiftResponse {
        // The mean yaw rate of a frame is the yaw rate through the hold's (1 - z⁻¹)/(s T_f).
        let per_yaw_rate = tracker
            .yaw_rate
            .as_ref()
            .map_or(Complex::new(0.0, 0.0), |fraction| {
                fraction.at(at.back) * at.hold * path
            });
        ShiftResponse {
            seen: number * path,
            heading: per_yaw_rate * at.s,
            yaw_rate_error: per_yaw_rate,
            ..ShiftResponse::NONE
        }
    }
}

/// One controller on one machine at one speed, as a linear system.
pub trait Linear {
    /// Shift per unit of every input.
    fn response(&self, at: &Frequency) -> ShiftResponse;

    /// Constant shift, m, at a constant measured yaw rate, rad/s, beyond what the tracker makes of it.
    fn standing_m(&self, yaw_rate_rad_s: f64) -> f64;
}

/// A controller's feedback loop.
#[derive(Clone, Debug, PartialEq)]
pub struct Feedback {
    /// The loop opened at the command, as a fraction in `z⁻¹`.
    pub open_loop: Fraction,
    /// The gain that it is proportional to, 1/s.
    pub gain_1_s: f64,
}

/// What a controller that waits for the row takes off the lookahead, beside the camera's latency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lead {
    /// From the command to the shift, s.
    pub actuation_s: f64,
    /// Delay of the tracker, s.
    pub tracker_s: f64,
}

impl Lead {
    /// Age of the measurement that is used, s: the newest (the latency) where more is not to be had.
    pub fn measurement_age_s(&self, lookahead_m: f64, speed_m_s: f64, latency_s: f64) -> f64 {
        self.wanted_age_s(lookahead_m, speed_m_s).max(latency_s)
    }

    /// Age that the measurement should have, s, for the row to be at the tools when the shift is done.
    pub fn wanted_age_s(&self, lookahead_m: f64, speed_m_s: f64) -> f64 {
        // May fall below the latency and below 0: the row is then at the tools before a shift that begins now can be.
        lookahead_m / speed_m_s - self.actuation_s - self.tracker_s
    }
}
