//! PID on a proportional valve.

use super::law::{Arrival, Asked, Law, Reach};
use super::linear::{Feedback, Lead, Linear, ShiftResponse};
use super::{Controller, Lack, ValveKind};
use crate::model::actuator::Actuator;
use crate::model::camera::Mount;
use crate::model::sampled::{Complex, Fraction, Frequency, HeldPlant, plus, scaled, times};
use crate::model::setup::Setup;
use crate::model::tracker::Tracked;
use crate::model::tracker::transfer::{Transfer, transfer};
use crate::model::vector::{Lanes, one_if};

/// PID gains in parallel form; error in m, output in m/s of shift speed:
/// `K_p [1 + T_f/(T_i (1 - z⁻¹)) + T_d (1 - z⁻¹)/((T_fd + T_f) - T_fd z⁻¹)]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pid {
    /// Gain K_p, 1/s.
    pub gain_1_s: f64,
    /// Integral time T_i, s (infinite: no integral part).
    pub integral_s: f64,
    /// Derivative time T_d, s.
    pub derivative_s: f64,
    /// Time constant T_fd of the derivative's filter, s.
    pub derivative_filter_s: f64,
}

impl Pid {
    /// SIMC gains for the plant `e^(-dead_time s)/(s (lag s + 1))`, shift speed in, shift out.
    ///
    /// `K_c = 1/(tau_c + th)`, `tau_I = 4 (tau_c + th)`, `tau_D = lag` in series form, converted to the parallel form; `tau_c_s`
    /// is the closed-loop time constant that is asked for (as long as the dead time: tight but robust), `dead_time_s` counts
    /// latency, valve and half a frame, all in s and at least 0, their sum above 0. The derivative's filter is a tenth of T_d
    /// (common practice, no source). Source: Skogestad, J. Process Control 13:291-309, 2003.
    pub fn simc(tau_c_s: f64, dead_time_s: f64, lag_s: f64) -> Pid {
        let sum_s = tau_c_s + dead_time_s;
        // The plant integrates, so its time constant is infinite, and of the rule's two bounds of tau_I the one against slow swinging is
        // left.
        let series_integral_s = 4.0 * sum_s;
        // The rule is for the series form: T_i = tau_I + tau_D, T_d = tau_I tau_D/T_i and K_p = K_c T_i/tau_I make the same controller in
        // parallel.
        let integral_s = series_integral_s + lag_s;
        let derivative_s = series_integral_s * lag_s / integral_s;
        Pid {
            gain_1_s: (1.0 + lag_s / series_integral_s) / sum_s,
            integral_s,
            derivative_s,
            derivative_filter_s: derivative_s / 10.0,
        }
    }
}

/// The PID.
#[derive(Clone, Copy, Debug)]
pub struct Control;

impl Controller for Control {
    const NAME: &'static str = "pid";
    const LOOP: &'static str = "PID loop";
    const VALVE: Option<ValveKind> = Some(ValveKind::Proportional);
    type Law<const N: usize> = PidLaw<N>;

    fn lacks(setup: &Setup) -> Option<Lack> {
        if setup.hydraulics.proportional.is_none() {
            Some(Lack::ProportionalValve)
        } else if setup.controllers.pid.is_none() {
            Some(Lack::Settings)
        } else {
            Lack::position_for_error(setup)
        }
    }

    fn law<const N: usize>(setup: &Setup, speed_m_s: f64) -> Option<PidLaw<N>> {
        Some(PidLaw {
            gains: setup.controllers.pid?,
            tracked: Tracked::new(setup, speed_m_s),
            frame_s: setup.camera.frame_s,
            reach: Reach::of(setup)?,
            ends: Ends::of(setup),
            integral_m_s: Lanes::default(),
            derivative_m_s: Lanes::default(),
            last_error_m: Lanes::default(),
            has_last: Lanes::default(),
        })
    }

    fn linear(setup: &Setup, speed_m_s: f64) -> Option<Box<dyn Linear>> {
        let actuator = Actuator::of(setup)?;
        let latency_s = setup.camera.latency_s;
        let frame_s = setup.camera.frame_s;
        Some(Box::new(LinearPid {
            pid: setup.controllers.pid?,
            actuator,
            plant: HeldPlant::new(latency_s + actuator.dead_s, actuator.lag_s, frame_s),
            tracker: transfer(setup, speed_m_s),
            mount: setup.camera.mount,
            latency_s,
        }))
    }

    fn feedback(setup: &Setup, speed_m_s: f64, more_dead_s: f64) -> Option<Feedback> {
        let actuator = Actuator::of(setup)?;
        let pid = setup.controllers.pid?;
        let frame_s = setup.camera.frame_s;
        let dead_s = setup.camera.latency_s + actuator.dead_s + more_dead_s;
        let plant = HeldPlant::new(dead_s, actuator.lag_s, frame_s).shift_fraction();
        Some(Feedback {
            open_loop: plant
                .times(&pid_fraction(&pid, frame_s))
                .times(&transfer(setup, speed_m_s).number)
                // In the faster direction, where the margin is least.
                .scaled(actuator.largest_gain),
            gain_1_s: pid.gain_1_s,
        })
    }

    fn lead(_: &Setup, _: f64) -> Option<Lead> {
        None
    }
}

/// What a position sensor tells of the cylinder's ends.
#[derive(Clone, Copy, Debug)]
struct Ends {
    /// Reading from which on the cylinder is taken to stand at an end, either way, m.
    from_m: f64,
}

/// How near to its end a cylinder is taken to stand there, m (assumed), and in standard deviations of the reading.
const END_M: f64 = 1e-3;
const END_SD: f64 = 2.0;

impl Ends {
    /// `None` without a sensor.
    fn of(setup: &Setup) -> Option<Ends> {
        let sensor = setup.position_sensor?;
        let near_m = END_M.max(END_SD * sensor.noise_sd_m);
        Some(Ends {
            from_m: 0.5 * setup.hydraulics.stroke_m - near_m,
        })
    }

    /// 1 where the frame is asked further than it can go, else 0.
    #[inline(always)]
    fn block<const N: usize>(self, reading_m: Lanes<N>, error_m: Lanes<N>) -> Lanes<N> {
        let from_m = self.from_m;
        reading_m.zip(error_m, |reading_m, error_m| {
            one_if(
                ((reading_m >= from_m) & (error_m > 0.0))
                    | ((reading_m <= -from_m) & (error_m < 0.0)),
            )
        })
    }
}

/// The PID with its memory.
#[derive(Clone, Debug)]
pub struct PidLaw<const N: usize> {
    gains: Pid,
    tracked: Tracked<N>,
    frame_s: f64,
    reach: Reach,
    ends: Option<Ends>,
    integral_m_s: Lanes<N>,
    derivative_m_s: Lanes<N>,
    last_error_m: Lanes<N>,
    has_last: Lanes<N>,
}

impl<const N: usize> Law<N> for PidLaw<N> {
    #[inline(always)]
    fn command(&mut self, arrival: &Arrival<'_, N>) -> Asked<N> {
        let (error_m, told) = self.tracked.error(arrival);
        let blocked = self.ends.map_or(Lanes::default(), |ends| {
            ends.block(arrival.reading_m, error_m)
        });
        // What nothing is done about must not add up: while the frame is held, or stands at an end.
        let may_add = told * arrival.acts * (1.0 - blocked);
        let wanted_m_s = self.wanted_m_s(error_m, told, may_add);
        let asked = self.reach.ask(wanted_m_s);
        Asked {
            // The error counts down as the frame moves, the one remembered does not: coasting on it would shift past the row. So nothing
            // seen, nothing asked.
            command: asked.command * told,
            speed_m_s: asked.speed_m_s * told,
            saturated: asked.saturated * told,
        }
    }

    #[inline(always)]
    fn applied(&mut self, _: f64, _: Lanes<N>) {}
}

impl<const N: usize> PidLaw<N> {
    /// Wanted shift speed one frame later. The integral runs where `may_add` is 1, and beyond what the valve can give only back; where the
    /// frame told nothing, the next error starts the derivative anew.
    #[inline(always)]
    fn wanted_m_s(&mut self, error_m: Lanes<N>, told: Lanes<N>, may_add: Lanes<N>) -> Lanes<N> {
        let gains = self.gains;
        let nothing = Lanes::default();
        // Against an error of before a gap, or against 0, the derivative would kick.
        let change_m = Lanes::select(self.has_last, error_m - self.last_error_m, nothing);
        let filter_s = gains.derivative_filter_s;
        // The filter by backward difference: stable for any T_fd, 0 included, where a forward one needs T_f < 2 T_fd.
        let derivative = (self.derivative_m_s * filter_s
            + change_m * (gains.gain_1_s * gains.derivative_s))
            / (filter_s + self.frame_s);
        let integral =
            self.integral_m_s + error_m * (gains.gain_1_s * self.frame_s / gains.integral_s);
        let wanted_m_s = error_m * gains.gain_1_s + integral + derivative;
        let (left, right) = (self.reach.left_m_s, self.reach.right_m_s);
        let winds_up = wanted_m_s.zip(error_m, |wanted, error| {
            one_if(
                // Held only while it would wind up further: as soon as the error turns, the integral runs back, or the frame would hang at
                // full speed.
                ((wanted > left) & (error > 0.0)) | ((wanted < -right) & (error < 0.0)),
            )
        });
        let keeps = may_add * (1.0 - winds_up);
        self.integral_m_s = Lanes::select(keeps, integral, self.integral_m_s);
        self.derivative_m_s = Lanes::select(told, derivative, nothing);
        self.last_error_m = error_m;
        self.has_last = told;
        wanted_m_s
    }
}

struct LinearPid {
    pid: Pid,
    actuator: Actuator,
    plant: HeldPlant,
    tracker: Transfer,
    mount: Mount,
    latency_s: f64,
}

impl Linear for LinearPid {
    fn response(&self, at: &Frequency) -> ShiftResponse {
        let one = Complex::new(1.0, 0.0);
        let control = pid_response(&self.pid, at);
        let number = self.tracker.number.at(at.back);
        // Around the loop only the instants of the frames count (exact pulse response); what leaves it moves the frame between them too.
        let around = self.plant.shift(at) * control * number * self.actuator.gain;
        let path = self.actuator.response(at) * at.hold * at.delay(self.latency_s) * control
            / (one + around);
        let mut response = ShiftResponse::tracked(&self.tracker, number, path, at);
        // Error = number - reading with a fixed camera: an error of the reading goes the way of the row. A shifted camera needs no reading.
        if self.mount == Mount::Fixed {
            response.position_at_exposure = response.seen;
        }
        response
    }

    fn standing_m(&self, _: f64) -> f64 {
        0.0
    }
}

/// The PID of [`Pid`] at one frequency, 1/s.
pub fn pid_response(pid: &Pid, at: &Frequency) -> Complex {
    let t = at.frame_s;
    let filter = Complex::new(pid.derivative_filter_s + t, 0.0) - at.back * pid.derivative_filter_s;
    let derivative = at.one_minus_back / filter * pid.derivative_s;
    // Summed with the newest error in it, as the law does; 1/(T_i s) would differ in phase by half a frame.
    let integral = Complex::new(t / pid.integral_s, 0.0) / at.one_minus_back;
    (derivative + integral + 1.0) * pid.gain_1_s
}

/// The same as a fraction, without a spare integrator where the PID has none.
pub fn pid_fraction(pid: &Pid, frame_s: f64) -> Fraction {
    let filter = [pid.derivative_filter_s + frame_s, -pid.derivative_filter_s];
    let one = [1.0, -1.0];
    let proportional = plus(&filter, &scaled(&one, pid.derivative_s));
    let whole = if pid.integral_s.is_finite() {
        Fraction {
            numerator: plus(
                &times(&proportional, &one),
                &scaled(&filter, frame_s / pid.integral_s),
            ),
            denominator: times(&filter, &one),
        }
    } else {
        Fraction {
            // A root at 1 in numerator and denominator would still stand on the unit circle and fail every test of stability.
            numerator: proportional,
            denominator: filter.to_vec(),
        }
    };
    Fraction {
        numerator: scaled(&whole.numerator, pid.gain_1_s),
        ..whole
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Skogestad 2003, second-order half-rule example: dead time 0.77, lag to cancel 1.2. The rule's series form
    /// `K_c (1 + 1/(tau_I s)) (1 + tau_D s)` and ours are the same polynomial, checked at an arbitrary real s
    /// (rounding only: 1e-12).
    #[test]
    fn analytic_simc_parallel_form_is_the_series_form() {
        let pid = Pid::simc(0.77, 0.77, 1.2);
        let s: f64 = 0.9;
        let series = 1.0 / 1.54 * (1.0 + 1.0 / (4.0 * 1.54 * s)) * (1.0 + 1.2 * s);
        let parallel = pid.gain_1_s * (1.0 + 1.0 / (pid.integral_s * s) + pid.derivative_s * s);
        assert!((parallel / series - 1.0).abs() < 1e-12);
    }

    /// Without a lag SIMC is a PI controller: K_c = 1/(tau_c + th), tau_I = 4 (tau_c + th).
    #[test]
    fn analytic_simc_without_lag_is_pi() {
        let pid = Pid::simc(0.2, 0.3, 0.0);
        assert!((pid.gain_1_s - 2.0).abs() < 1e-15 && (pid.integral_s - 2.0).abs() < 1e-15);
        assert_eq!((pid.derivative_s, pid.derivative_filter_s), (0.0, 0.0));
    }
}
