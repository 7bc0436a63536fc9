//! Controllers and side-shift: what shift answers to what the camera sees.

use super::Complex;
use super::sampled::{Fraction, Frequency, HeldPlant, one_minus_delay, pid_fraction, pid_response};
use super::track::{Filter, filter};
use crate::model::camera::Mount;
use crate::model::controller::{Kind, LagCompensation, Pid};
use crate::model::hydraulics::{ProportionalValve, Stroke};
use crate::model::setup::Setup;

/// The proportional side-shift as it is, cold oil in: `gain e^(-dead s)/(s (lag s + 1))`, command in m/s of reckoned shift speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Actuator {
    pub dead_s: f64,
    pub lag_s: f64,
    /// Real over reckoned shift speed, mean of the two directions.
    pub gain: f64,
    /// The larger of the two directions.
    pub largest_gain: f64,
}

impl Actuator {
    pub(super) fn new(setup: &Setup, valve: &ProportionalValve) -> Actuator {
        let oil = &setup.hydraulics;
        let one = valve.speed_ratio(oil, Stroke::Extending);
        let other = valve.speed_ratio(oil, Stroke::Retracting);
        Actuator {
            dead_s: valve.dead_time_s * oil.cold_dead_time_factor,
            lag_s: valve.spool_lag_s * oil.cold_lag_factor,
            gain: 0.5 * (one + other),
            largest_gain: one.max(other),
        }
    }

    fn response(&self, at: &Frequency) -> Complex {
        at.delay(self.dead_s) * self.gain / (at.s * (at.s * self.lag_s + 1.0))
    }
}

/// Shift per command of the proportional side-shift, m per m/s, at an angular frequency above 0: the mean of both directions
/// where load or cold oil make them differ. `None` without a proportional valve.
pub fn actuator_response(setup: &Setup, w_rad_s: f64) -> Option<Complex> {
    let valve = setup.hydraulics.proportional.as_ref()?;
    let at = Frequency::new(w_rad_s, setup.camera.frame_s);
    Some(Actuator::new(setup, valve).response(&at))
}

/// Shift at `time_s` after the command steps from 0 to 1 m/s, m.
pub fn actuator_step(setup: &Setup, time_s: f64) -> Option<f64> {
    let actuator = Actuator::new(setup, setup.hydraulics.proportional.as_ref()?);
    let t = (time_s - actuator.dead_s).max(0.0);
    let owed = if actuator.lag_s > 0.0 {
        -actuator.lag_s * libm::expm1(-t / actuator.lag_s)
    } else {
        0.0
    };
    Some(actuator.gain * (t - owed))
}

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
    const NONE: ShiftResponse = {
        let zero = Complex::new(0.0, 0.0);
        ShiftResponse {
            seen: zero,
            heading: zero,
            yaw_rate_error: zero,
            position_now: zero,
            position_at_exposure: zero,
        }
    };
}

/// One controller on one machine at one speed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SideShift {
    speed_m_s: f64,
    lever_m: f64,
    mount: Mount,
    latency_s: f64,
    law: Law,
}

#[derive(Clone, Debug, PartialEq)]
enum Law {
    Locked,
    Pid {
        pid: Pid,
        actuator: Actuator,
        plant: HeldPlant,
        filter: Filter,
    },
    Lag {
        lag: LagCompensation,
        actuator: Actuator,
        inner: InnerLoop,
        filter: Filter,
        age_s: f64,
        whole_frames: usize,
        share: f64,
        with_yaw_rate: bool,
    },
}

/// Position loop with a Smith predictor; the predictor's plant may differ from the real one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct InnerLoop {
    plant: HeldPlant,
    believed: HeldPlant,
}

impl InnerLoop {
    pub(super) fn new(
        lag: &LagCompensation,
        actuator: &Actuator,
        more_dead_s: f64,
        frame_s: f64,
    ) -> InnerLoop {
        InnerLoop {
            plant: HeldPlant::new(actuator.dead_s + more_dead_s, actuator.lag_s, frame_s),
            believed: HeldPlant::new(lag.dead_time_s, lag.spool_lag_s, frame_s),
        }
    }

    /// Predicted shift per command: `q + T_s q'_model + commands in the dead time`, s.
    fn predicted(&self, gain: f64, at: &Frequency) -> Complex {
        self.plant.shift(at) * gain
            + self.believed.owed_by_lag(at)
            + self.believed.owed_by_dead_time(at)
    }

    pub(super) fn predicted_fraction(&self, gain: f64) -> Fraction {
        self.plant
            .shift_fraction()
            .scaled(gain)
            .plus(&self.believed.owed_by_lag_fraction())
            .plus(&self.believed.owed_by_dead_time_fraction())
    }
}

/// Age of the measurement that the lag-compensated kinds use, s: the newest (the latency) where more is not to be had.
pub(super) fn measurement_age_s(
    setup: &Setup,
    lag: &LagCompensation,
    speed_m_s: f64,
    filter_delay_s: f64,
) -> f64 {
    let wanted = setup.camera.lookahead_m / speed_m_s - lag.actuation_delay_s() - filter_delay_s;
    wanted.max(setup.camera.latency_s)
}

impl SideShift {
    pub(super) fn new(setup: &Setup, kind: Kind, speed_m_s: f64) -> Option<SideShift> {
        if setup.lacks(kind).is_some() {
            return None;
        }
        let frame_s = setup.camera.frame_s;
        let latency_s = setup.camera.latency_s;
        let actuator = setup
            .hydraulics
            .proportional
            .as_ref()
            .map(|valve| Actuator::new(setup, valve));
        let law = match kind {
            Kind::Locked => Law::Locked,
            Kind::OnOff => return None,
            Kind::Pid => {
                let actuator = actuator?;
                Law::Pid {
                    pid: setup.controllers.pid?,
                    actuator,
                    plant: HeldPlant::new(latency_s + actuator.dead_s, actuator.lag_s, frame_s),
                    filter: filter(setup, speed_m_s),
                }
            }
            Kind::LagCompensated | Kind::LagCompensatedYaw => {
                let actuator = actuator?;
                let lag = setup.controllers.lag?;
                let filter = filter(setup, speed_m_s);
                let age_s = measurement_age_s(setup, &lag, speed_m_s, filter.delay_s);
                let frames = (age_s - latency_s) / frame_s;
                let whole = libm::floor(frames);
                Law::Lag {
                    lag,
                    actuator,
                    inner: InnerLoop::new(&lag, &actuator, 0.0, frame_s),
                    filter,
                    age_s,
                    whole_frames: whole as usize,
                    share: frames - whole,
                    with_yaw_rate: kind == Kind::LagCompensatedYaw,
                }
            }
        };
        Some(SideShift {
            speed_m_s,
            lever_m: setup.tools.tool_line_m - setup.reference_axle_m(),
            mount: setup.camera.mount,
            latency_s,
            law,
        })
    }

    pub(super) fn response(&self, at: &Frequency) -> ShiftResponse {
        let one = Complex::new(1.0, 0.0);
        match &self.law {
            Law::Locked => ShiftResponse::NONE,
            Law::Pid {
                pid,
                actuator,
                plant,
                filter,
            } => {
                let control = pid_response(pid, at);
                let number = filter.number.at(at.back);
                let around = plant.shift(at) * control * number * actuator.gain;
                let path = actuator.response(at) * at.hold * at.delay(self.latency_s) * control
                    / (one + around);
                let mut response = self.tracked(filter, number, path, at);
                if self.mount == Mount::Fixed {
                    response.position_at_exposure = response.seen;
                }
                response
            }
            Law::Lag {
                lag,
                actuator,
                inner,
                filter,
                age_s,
                whole_frames,
                share,
                with_yaw_rate,
            } => {
                let around = inner.predicted(actuator.gain, at) * lag.gain_1_s;
                let per_command = actuator.response(at) * at.hold / (one + around);
                let forward = at.one_minus_back * (lag.feed_forward / at.frame_s) + lag.gain_1_s;
                let wanted = per_command * forward;
                let between = at.delay(self.latency_s + *whole_frames as f64 * at.frame_s)
                    * (one - at.one_minus_back * *share);
                let number = filter.number.at(at.back);
                let mut response = self.tracked(filter, number, wanted * between, at);
                response.position_now = -per_command * lag.gain_1_s;
                if self.mount == Mount::Shifted {
                    response.position_at_exposure = response.seen;
                }
                if *with_yaw_rate {
                    let ahead_s = lag.actuation_delay_s();
                    let turned = wanted * self.turned(age_s + filter.delay_s, ahead_s, at);
                    response.heading += turned * at.s;
                    response.yaw_rate_error += turned;
                }
                response
            }
        }
    }

    /// What the tracker makes of the seen row and of the yaw rate, through `path`.
    fn tracked(
        &self,
        filter: &Filter,
        number: Complex,
        path: Complex,
        at: &Frequency,
    ) -> ShiftResponse {
        // The mean yaw rate of a frame is the yaw rate through the hold's (1 - z⁻¹)/(s T_f).
        let per_yaw_rate = filter
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

    /// Wanted shift per yaw rate by dead reckoning over the `window_s` until now and `ahead_s` on with the present rate, m s/rad:
    /// `x [(1-E)/s + T_a] - v [(1-E)/s² - W E/s + T_a (1-E)/s + T_a²/2]`, E = e^(-s W).
    fn turned(&self, window_s: f64, ahead_s: f64, at: &Frequency) -> Complex {
        let angle = at.w_rad_s * window_s;
        let past = one_minus_delay(angle) / at.s;
        // Below 1e-3 rad the closed form cancels; its series is W²/2 - s W³/3.
        let ramp = if angle < 1e-3 {
            Complex::new(0.5, 0.0) * (window_s * window_s)
                - at.s * (window_s * window_s * window_s / 3.0)
        } else {
            (past - at.delay(window_s) * window_s) / at.s
        };
        (past + ahead_s) * self.lever_m
            - (ramp + past * ahead_s + 0.5 * ahead_s * ahead_s) * self.speed_m_s
    }
}

/// Open feedback loop of a controller: what multiplies the gain, as a fraction in `z⁻¹`, cut at the command. `more_dead_s` is
/// added to the real dead time only. `None` where there is no feedback (locked, on-off, or a controller that the setup lacks).
pub(super) fn open_loop(
    setup: &Setup,
    kind: Kind,
    speed_m_s: f64,
    more_dead_s: f64,
) -> Option<Fraction> {
    if setup.lacks(kind).is_some() {
        return None;
    }
    let frame_s = setup.camera.frame_s;
    let actuator = Actuator::new(setup, setup.hydraulics.proportional.as_ref()?);
    match kind {
        Kind::Locked | Kind::OnOff => None,
        Kind::Pid => {
            let pid = setup.controllers.pid?;
            let dead_s = setup.camera.latency_s + actuator.dead_s + more_dead_s;
            let plant = HeldPlant::new(dead_s, actuator.lag_s, frame_s).shift_fraction();
            Some(
                plant
                    .times(&pid_fraction(&pid, frame_s))
                    .times(&filter(setup, speed_m_s).number)
                    .scaled(actuator.largest_gain),
            )
        }
        Kind::LagCompensated | Kind::LagCompensatedYaw => {
            let lag = setup.controllers.lag?;
            let inner = InnerLoop::new(&lag, &actuator, more_dead_s, frame_s);
            Some(
                inner
                    .predicted_fraction(actuator.largest_gain)
                    .scaled(lag.gain_1_s),
            )
        }
    }
}
