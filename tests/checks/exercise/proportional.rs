//! Plain proportional control: shift speed in proportion to the error, with the PID's gain. The exercise of DEVELOPERS.md.

use rowroom::model::actuator::Actuator;
use rowroom::model::camera::Mount;
use rowroom::model::controller::law::{Arrival, Asked, Law, Reach};
use rowroom::model::controller::linear::{Feedback, Lead, Linear, ShiftResponse};
use rowroom::model::controller::{Controller, Lack, ValveKind};
use rowroom::model::sampled::{Complex, Frequency, HeldPlant};
use rowroom::model::setup::Setup;
use rowroom::model::tracker::Tracked;
use rowroom::model::tracker::transfer::{Transfer, transfer};
use rowroom::model::vector::Lanes;

/// Plain proportional control.
#[derive(Clone, Copy, Debug)]
pub struct Control;

impl Controller for Control {
    const NAME: &'static str = "proportional";
    const LOOP: &'static str = "proportional loop";
    const VALVE: Option<ValveKind> = Some(ValveKind::Proportional);
    type Law<const N: usize> = Proportional<N>;

    fn lacks(setup: &Setup) -> Option<Lack> {
        if setup.hydraulics.proportional.is_none() {
            Some(Lack::ProportionalValve)
        } else if setup.controllers.pid.is_none() {
            Some(Lack::Settings)
        } else {
            Lack::position_for_error(setup)
        }
    }

    fn law<const N: usize>(setup: &Setup, speed_m_s: f64) -> Option<Proportional<N>> {
        Some(Proportional {
            gain_1_s: setup.controllers.pid?.gain_1_s,
            tracked: Tracked::new(setup, speed_m_s),
            reach: Reach::of(setup)?,
        })
    }

    fn linear(setup: &Setup, speed_m_s: f64) -> Option<Box<dyn Linear>> {
        let actuator = Actuator::of(setup)?;
        let (frame_s, latency_s) = (setup.camera.frame_s, setup.camera.latency_s);
        Some(Box::new(LinearProportional {
            gain_1_s: setup.controllers.pid?.gain_1_s,
            actuator,
            plant: HeldPlant::new(latency_s + actuator.dead_s, actuator.lag_s, frame_s),
            tracker: transfer(setup, speed_m_s),
            latency_s,
            mount: setup.camera.mount,
        }))
    }

    fn feedback(setup: &Setup, speed_m_s: f64, more_dead_s: f64) -> Option<Feedback> {
        let actuator = Actuator::of(setup)?;
        let gain_1_s = setup.controllers.pid?.gain_1_s;
        let dead_s = setup.camera.latency_s + actuator.dead_s + more_dead_s;
        let plant = HeldPlant::new(dead_s, actuator.lag_s, setup.camera.frame_s);
        Some(Feedback {
            open_loop: plant
                .shift_fraction()
                .times(&transfer(setup, speed_m_s).number)
                .scaled(gain_1_s * actuator.largest_gain),
            gain_1_s,
        })
    }

    fn lead(_: &Setup, _: f64) -> Option<Lead> {
        None
    }
}

/// The law with its memory: the tracker's alone.
#[derive(Clone, Debug)]
pub struct Proportional<const N: usize> {
    gain_1_s: f64,
    tracked: Tracked<N>,
    reach: Reach,
}

impl<const N: usize> Law<N> for Proportional<N> {
    #[inline(always)]
    fn command(&mut self, arrival: &Arrival<'_, N>) -> Asked<N> {
        let (error_m, told) = self.tracked.error(arrival);
        self.reach.ask(error_m * self.gain_1_s).only_where(told)
    }

    #[inline(always)]
    fn applied(&mut self, _: f64, _: Lanes<N>) {}
}

struct LinearProportional {
    gain_1_s: f64,
    actuator: Actuator,
    plant: HeldPlant,
    tracker: Transfer,
    latency_s: f64,
    mount: Mount,
}

impl Linear for LinearProportional {
    fn response(&self, at: &Frequency) -> ShiftResponse {
        let number = self.tracker.number.at(at.back);
        let around = self.plant.shift(at) * number * (self.gain_1_s * self.actuator.gain);
        let path = self.actuator.response(at) * at.hold * at.delay(self.latency_s) * self.gain_1_s
            / (Complex::new(1.0, 0.0) + around);
        let mut response = ShiftResponse::tracked(&self.tracker, number, path, at);
        if self.mount == Mount::Fixed {
            response.position_at_exposure = response.seen;
        }
        response
    }

    fn standing_m(&self, _: f64) -> f64 {
        0.0
    }
}
