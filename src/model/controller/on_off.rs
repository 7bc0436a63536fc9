//! Hysteresis switch on a directional valve.

use super::law::{Arrival, Asked, Law};
use super::linear::{Feedback, Lead, Linear};
use super::{Controller, Lack, ValveKind};
use crate::model::setup::Setup;
use crate::model::tracker::Tracked;
use crate::model::vector::Lanes;

/// Hysteresis switch: starts to shift above `on_m`, stops below `off_m`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnOff {
    /// Error at which shifting starts, m.
    pub on_m: f64,
    /// Error at which shifting stops, m, below `on_m`.
    pub off_m: f64,
}

/// The switch. It has no linear form: it swings between its two points.
#[derive(Clone, Copy, Debug)]
pub struct Control;

impl Controller for Control {
    const NAME: &'static str = "on_off";
    const LOOP: &'static str = "";
    const VALVE: Option<ValveKind> = Some(ValveKind::Directional);
    type Law<const N: usize> = Switch<N>;

    fn lacks(setup: &Setup) -> Option<Lack> {
        if setup.hydraulics.directional.is_none() {
            Some(Lack::DirectionalValve)
        } else if setup.controllers.on_off.is_none() {
            Some(Lack::Settings)
        } else {
            Lack::position_for_error(setup)
        }
    }

    fn law<const N: usize>(setup: &Setup, speed_m_s: f64) -> Option<Switch<N>> {
        Some(Switch {
            gains: setup.controllers.on_off?,
            tracked: Tracked::new(setup, speed_m_s),
            now: Lanes::default(),
        })
    }

    fn linear(_: &Setup, _: f64) -> Option<Box<dyn Linear>> {
        None
    }

    fn feedback(_: &Setup, _: f64, _: f64) -> Option<Feedback> {
        None
    }

    fn lead(_: &Setup, _: f64) -> Option<Lead> {
        None
    }
}

/// The switch with its state: -1 shifts right, 0 holds, 1 shifts left.
#[derive(Clone, Debug)]
pub struct Switch<const N: usize> {
    gains: OnOff,
    tracked: Tracked<N>,
    now: Lanes<N>,
}

impl<const N: usize> Law<N> for Switch<N> {
    #[inline(always)]
    fn command(&mut self, arrival: &Arrival<'_, N>) -> Asked<N> {
        let (error_m, told) = self.tracked.error(arrival);
        let gains = self.gains;
        let switched = error_m.zip(self.now, |error_m, now| {
            if error_m > gains.on_m {
                1.0
            } else if error_m < -gains.on_m {
                -1.0
            // Times the direction of travel: an error that has changed sides stops the shift as well, however large it is.
            } else if error_m * now < gains.off_m {
                0.0
            } else {
                now
            }
        });
        // Blind, the valve closes: left open it would run the frame to its stop.
        self.now = switched * told;
        Asked {
            command: self.now,
            speed_m_s: Lanes::default(),
            // A directional valve gives all it has whenever it is open.
            saturated: self.now.abs(),
        }
    }

    #[inline(always)]
    fn applied(&mut self, _: f64, _: Lanes<N>) {}
}
