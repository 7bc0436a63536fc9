//! The proportional side-shift with small commands and no limits.

use super::hydraulics::{ProportionalValve, Stroke};
use super::sampled::{Complex, Frequency};
use super::setup::Setup;

/// The proportional side-shift as it is, cold oil in: `gain e^(-dead s)/(s (lag s + 1))`, command in m/s of reckoned shift speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Actuator {
    /// Dead time, s.
    pub dead_s: f64,
    /// Lag of the spool, s.
    pub lag_s: f64,
    /// Real over reckoned shift speed, mean of the two directions.
    pub gain: f64,
    /// The larger of the two directions.
    pub largest_gain: f64,
}

impl Actuator {
    /// Of a machine with a proportional valve.
    pub fn of(setup: &Setup) -> Option<Actuator> {
        let valve = setup.hydraulics.proportional.as_ref()?;
        Some(Actuator::new(setup, valve))
    }

    fn new(setup: &Setup, valve: &ProportionalValve) -> Actuator {
        let oil = &setup.hydraulics;
        let one = valve.speed_ratio(oil, Stroke::Extending);
        let other = valve.speed_ratio(oil, Stroke::Retracting);
        Actuator {
            dead_s: valve.dead_time_s * oil.cold_dead_time_factor,
            lag_s: valve.spool_lag_s * oil.cold_lag_factor,
            // A frame that goes both ways alike meets the mean; margins have to hold in the faster direction.
            gain: 0.5 * (one + other),
            largest_gain: one.max(other),
        }
    }

    /// Shift per command, m per m/s.
    pub fn response(&self, at: &Frequency) -> Complex {
        at.delay(self.dead_s) * self.gain / (at.s * (at.s * self.lag_s + 1.0))
    }

    /// Shift at `time_s` after the command steps from 0 to 1 m/s, m.
    pub fn step_m(&self, time_s: f64) -> f64 {
        let t = (time_s - self.dead_s).max(0.0);
        let owed = if self.lag_s > 0.0 {
            // 1 - exp would cancel right after the dead time.
            -self.lag_s * libm::expm1(-t / self.lag_s)
        } else {
            0.0
        };
        self.gain * (t - owed)
    }
}
