//! Lag compensation, corrected by what the measured yaw rate moved the implement since the exposure.

use super::lag_compensated::{self, LagLaw, LinearLag};
use super::linear::{Feedback, Lead, Linear};
use super::{Controller, Lack, ValveKind};
use crate::model::setup::Setup;

/// With a yaw-rate sensor.
#[derive(Clone, Copy, Debug)]
pub struct Control;

impl Controller for Control {
    const NAME: &'static str = "lag_compensated_yaw";
    const LOOP: &'static str = lag_compensated::Control::LOOP;
    const VALVE: Option<ValveKind> = Some(ValveKind::Proportional);
    type Law<const N: usize> = Box<LagLaw<N>>;

    fn lacks(setup: &Setup) -> Option<Lack> {
        lag_compensated::Control::lacks(setup)
            .or_else(|| setup.yaw_sensor.is_none().then_some(Lack::YawRateSensor))
    }

    fn law<const N: usize>(setup: &Setup, speed_m_s: f64) -> Option<Box<LagLaw<N>>> {
        Some(Box::new(LagLaw::new(setup, speed_m_s, true)?))
    }

    fn linear(setup: &Setup, speed_m_s: f64) -> Option<Box<dyn Linear>> {
        Some(Box::new(LinearLag::new(setup, speed_m_s, true)?))
    }

    fn feedback(setup: &Setup, speed_m_s: f64, more_dead_s: f64) -> Option<Feedback> {
        // Dead reckoning adds what the tractor does and nothing that the frame does: it closes no loop, and the margins stay those of the
        // plain kind.
        lag_compensated::Control::feedback(setup, speed_m_s, more_dead_s)
    }

    fn lead(setup: &Setup, speed_m_s: f64) -> Option<Lead> {
        lag_compensated::Control::lead(setup, speed_m_s)
    }
}
