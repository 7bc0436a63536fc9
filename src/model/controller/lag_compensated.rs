//! Lag compensation: sets the shift when the seen row reaches the tools.

use super::law::{Arrival, Asked, Held, Law, Reach};
use super::linear::{Feedback, Lead, Linear, ShiftResponse};
use super::{Controller, Lack, ValveKind};
use crate::model::actuator::Actuator;
use crate::model::camera::Mount;
use crate::model::recent::Recent;
use crate::model::sampled::{Complex, Fraction, Frequency, HeldPlant, one_minus_delay};
use crate::model::setup::Setup;
use crate::model::tracker::Tracked;
use crate::model::tracker::transfer::{Transfer, transfer};
use crate::model::vector::Lanes;

/// Lag compensation, both kinds.
///
/// `dead_time_s`, `spool_lag_s` and `latency_s` are what the controller believes of the machine; the machine itself may
/// differ (cold oil).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LagCompensation {
    /// Inner-loop gain k_p, 1/s; below 1/T_f, and unstable from 2/T_f.
    pub gain_1_s: f64,
    /// Share f of the wanted shift's rate that is fed forward, 0 to 1.
    pub feed_forward: f64,
    /// Valve dead time that the controller believes, s.
    pub dead_time_s: f64,
    /// Spool lag that the controller believes, s.
    pub spool_lag_s: f64,
}

impl LagCompensation {
    /// The row seen now is wanted at the tools `T_a = T_v + T_s + (1 - f)/k_p` after the command, s.
    pub fn actuation_delay_s(&self) -> f64 {
        // A loop of gain k_p alone follows a ramp 1/k_p late; the share f of that is fed forward. Without the last term every shift comes
        // late.
        self.dead_time_s + self.spool_lag_s + (1.0 - self.feed_forward) / self.gain_1_s
    }
}

/// Without a yaw-rate sensor.
#[derive(Clone, Copy, Debug)]
pub struct Control;

impl Controller for Control {
    const NAME: &'static str = "lag_compensated";
    const LOOP: &'static str = "inner position loop of the lag compensation";
    const VALVE: Option<ValveKind> = Some(ValveKind::Proportional);
    type Law<const N: usize> = Box<LagLaw<N>>;

    fn lacks(setup: &Setup) -> Option<Lack> {
        if setup.hydraulics.proportional.is_none() {
            Some(Lack::ProportionalValve)
        } else if setup.controllers.lag.is_none() {
            Some(Lack::Settings)
        } else if setup.position_sensor.is_none() {
            Some(Lack::PositionSensor)
        } else {
            None
        }
    }

    fn law<const N: usize>(setup: &Setup, speed_m_s: f64) -> Option<Box<LagLaw<N>>> {
        Some(Box::new(LagLaw::new(setup, speed_m_s, false)?))
    }

    fn linear(setup: &Setup, speed_m_s: f64) -> Option<Box<dyn Linear>> {
        Some(Box::new(LinearLag::new(setup, speed_m_s, false)?))
    }

    fn feedback(setup: &Setup, _: f64, more_dead_s: f64) -> Option<Feedback> {
        let actuator = Actuator::of(setup)?;
        let lag = setup.controllers.lag?;
        let inner = InnerLoop::new(&lag, &actuator, more_dead_s, setup.camera.frame_s);
        Some(Feedback {
            open_loop: inner
                // The margin is least in the faster direction: the mean of both would call a loop stable that runs away one way.
                .predicted_fraction(actuator.largest_gain)
                .scaled(lag.gain_1_s),
            gain_1_s: lag.gain_1_s,
        })
    }

    fn lead(setup: &Setup, speed_m_s: f64) -> Option<Lead> {
        Some(Lead {
            actuation_s: setup.controllers.lag?.actuation_delay_s(),
            tracker_s: transfer(setup, speed_m_s).delay_s,
        })
    }
}

/// What a frame told: the tracked number, the exposure for which it holds (an older frame's while coasting), 1 if it is of this
/// very frame, 1 if there is one at all.
#[derive(Clone, Copy, Debug, Default)]
struct Seen<const N: usize> {
    number_m: Lanes<N>,
    at_s: Lanes<N>,
    fresh: Lanes<N>,
    any: Lanes<N>,
}

/// Lag compensation with its memory.
#[derive(Clone, Debug)]
pub struct LagLaw<const N: usize> {
    gains: LagCompensation,
    tracked: Tracked<N>,
    reach: Reach,
    mount: Mount,
    frame_s: f64,
    speed_m_s: f64,
    /// The tools behind the point about which the frame's heading turns it, m.
    lever_m: f64,
    dead_reckons: bool,
    /// How long ago the measurement to use was exposed, s.
    age_s: f64,
    tracker_s: f64,
    /// What the last frames told, as far back as the age goes.
    seen: Recent<Seen<N>>,
    /// The first number that each lane ever found.
    first: Seen<N>,
    /// Commands as speeds.
    commands: Held<N>,
    pending_cursor: usize,
    model_cursor: usize,
    /// Shift speed by the controller's own model of the valve, m/s, at `model_at_s`.
    model_m_s: Lanes<N>,
    model_at_s: f64,
    wanted_m: Lanes<N>,
    has_wanted: Lanes<N>,
}

impl<const N: usize> LagLaw<N> {
    pub(super) fn new(setup: &Setup, speed_m_s: f64, dead_reckons: bool) -> Option<Self> {
        let gains = setup.controllers.lag?;
        let tracker_s = setup.tracker.delay_s(setup.camera.frame_s);
        let delay_s = gains.actuation_delay_s() + tracker_s;
        // Below the critical speed there is time to wait for the row; above it the newest number serves, and the loop is late by the
        // rest.
        let age_s = (setup.camera.lookahead_m / speed_m_s - delay_s).max(setup.camera.latency_s);
        let frame_s = setup.camera.frame_s;
        Some(Self {
            gains,
            tracked: Tracked::new(setup, speed_m_s),
            reach: Reach::of(setup)?,
            mount: setup.camera.mount,
            frame_s,
            speed_m_s,
            // x_t if rigid, b - l if drawn: one formula serves both, as the lever is counted from the axle that the frame turns about.
            lever_m: setup.tools.tool_line_m - setup.reference_axle_m(),
            dead_reckons,
            age_s,
            tracker_s,
            // The number that is asked for and its neighbour, and one more, as the age may fall between two of them.
            seen: Recent::of((age_s / frame_s) as usize + 3),
            first: Seen::default(),
            commands: Held::for_commands(setup, gains.dead_time_s + frame_s),
            pending_cursor: 0,
            model_cursor: 0,
            model_m_s: Lanes::default(),
            model_at_s: 0.0,
            wanted_m: Lanes::default(),
            has_wanted: Lanes::default(),
        })
    }
}

impl<const N: usize> Law<N> for LagLaw<N> {
    #[inline(always)]
    fn command(&mut self, arrival: &Arrival<'_, N>) -> Asked<N> {
        let mut number = arrival.number_m;
        // A wanted shift is counted from the middle of the stroke. A camera that shifts along sees only what is lacking: its true shift
        // goes off, and the reading, with the error of its sensor, is added back.
        if self.mount == Mount::Shifted {
            number = number - arrival.frame_exposed_m + arrival.reading_exposed_m;
        }
        let (tracked, told) = self
            .tracked
            .update(number, arrival.found, arrival.yaw_rad_s);
        self.note(tracked, told, arrival.exposed_s);

        let now_s = arrival.now_s;
        // What is still on its way through valve and spool is not in the reading: without it the same shift would be asked for twice.
        let expected_m = arrival.reading_m + self.still_to_come_m(now_s);
        let (number_m, seen_s, any) = self.number_at(now_s - self.age_s);
        let mut wanted_m = number_m;
        if self.dead_reckons {
            // A tracked number lags by the tracker's delay: the way counts from that much before its exposure.
            wanted_m += self.dead_reckoned_m(arrival, seen_s - self.tracker_s);
        }
        // The first wanted shift is no change: a step from 0 would go through the feed-forward as one burst of speed.
        let last_m = Lanes::select(self.has_wanted, self.wanted_m, wanted_m);
        let rate_m_s = (wanted_m - last_m) / self.frame_s;
        self.wanted_m = Lanes::select(any, wanted_m, self.wanted_m);
        self.has_wanted = self.has_wanted.max(any);
        let asked = self.reach.ask(
            (wanted_m - expected_m) * self.gains.gain_1_s + rate_m_s * self.gains.feed_forward,
        );
        asked.only_where(any)
    }

    #[inline(always)]
    fn applied(&mut self, now_s: f64, speed_m_s: Lanes<N>) {
        self.commands.push(now_s, speed_m_s);
    }
}

impl<const N: usize> LagLaw<N> {
    #[inline(always)]
    fn note(&mut self, tracked: Lanes<N>, told: Lanes<N>, exposed_s: f64) {
        let before = match self.seen.len() {
            0 => Seen::default(),
            count => *self.seen.at(count - 1),
        };
        let now = Seen {
            number_m: Lanes::select(told, tracked, before.number_m),
            // While coasting the number keeps the exposure that it came from: dead reckoning has to cover the whole way since then.
            at_s: Lanes::select(told, Lanes::all(exposed_s), before.at_s),
            fresh: told,
            any: before.any.max(told),
        };
        let is_first = told * (1.0 - before.any);
        self.first.number_m = Lanes::select(is_first, tracked, self.first.number_m);
        self.first.at_s = Lanes::select(is_first, Lanes::all(exposed_s), self.first.at_s);
        self.first.any = now.any;
        self.seen.push(now);
    }

    /// The number of the exposure nearest to `time_s`, interpolated between two neighbours, the time for which it holds, and 1
    /// where there is one. Where frames are missing the newest before serves (coasting), at the start the oldest there is.
    #[inline(always)]
    fn number_at(&self, time_s: f64) -> (Lanes<N>, Lanes<N>, Lanes<N>) {
        let last = self.seen.len() - 1;
        let x = time_s / self.frame_s;
        let j = (x.max(0.0) as usize).min(last);
        let part = x - j as f64;
        let here = *self.seen.at(j);
        // Before the first number the first one serves: nearer to the row than the 0 of an empty memory.
        let number_m = Lanes::select(here.any, here.number_m, self.first.number_m);
        let at_s = Lanes::select(here.any, here.at_s, self.first.at_s);
        // Never extrapolated: the slope through two noisy numbers, carried on, enlarges the noise of the camera.
        if part < 0.0 || j == last {
            return (number_m, at_s, self.first.any);
        }
        let next = *self.seen.at(j + 1);
        // A coasting entry repeats an older number: a line drawn to it would put that number at a time at which nothing was seen.
        let between = here.fresh * next.fresh;
        let number_m = Lanes::select(
            between,
            here.number_m + (next.number_m - here.number_m) * part,
            number_m,
        );
        let at_s = Lanes::select(between, Lanes::all(time_s), at_s);
        (number_m, at_s, self.first.any)
    }

    /// How far the frame will still move by the commands given so far (Smith predictor), m.
    #[inline(always)]
    fn still_to_come_m(&mut self, now_s: f64) -> Lanes<N> {
        let (dead_s, lag_s) = (self.gains.dead_time_s, self.gains.spool_lag_s);
        // The spool obeys the command of a dead time ago. Exact for held commands, whatever lengths the pieces have.
        let mut model_m_s = self.model_m_s;
        self.model_cursor = self.commands.pieces(
            self.model_cursor,
            self.model_at_s - dead_s,
            now_s - dead_s,
            |value, duration| {
                model_m_s = if lag_s > 0.0 {
                    value + (model_m_s - value) * libm::exp(-duration / lag_s)
                } else {
                    value
                };
            },
        );
        self.model_m_s = model_m_s;
        self.model_at_s = now_s;
        // Commands within the dead time have moved nothing yet: they count with their whole time.
        let mut pending_m = Lanes::default();
        self.pending_cursor = self.commands.pieces(
            self.pending_cursor,
            now_s - dead_s,
            now_s,
            |value, duration| {
                pending_m += value * duration;
            },
        );
        // A first-order lag that moves at q' still runs on by T_s q' after its input is gone.
        model_m_s * lag_s + pending_m
    }

    /// Sideways way of the tools from `from_s` until the command takes effect, because the heading changed, m.
    #[inline(always)]
    fn dead_reckoned_m(&self, arrival: &Arrival<'_, N>, from_s: Lanes<N>) -> Lanes<N> {
        let ahead_s = self.gains.actuation_delay_s();
        let (turned_rad, swept_rad_s, rate_rad_s) = arrival.turns.since(from_s, arrival.now_s);
        // The sensor knows the past only: until the command takes effect the frame is taken to turn on at the present rate.
        let turned_then_rad = turned_rad + rate_rad_s * ahead_s;
        let swept_then_rad_s =
            swept_rad_s + turned_rad * ahead_s + rate_rad_s * (0.5 * ahead_s * ahead_s);
        turned_then_rad * self.lever_m - swept_then_rad_s * self.speed_m_s
    }
}

/// Position loop with a Smith predictor; the predictor's plant may differ from the real one.
#[derive(Clone, Copy, Debug, PartialEq)]
struct InnerLoop {
    plant: HeldPlant,
    believed: HeldPlant,
}

impl InnerLoop {
    fn new(
        lag: &LagCompensation,
        actuator: &Actuator,
        more_dead_s: f64,
        frame_s: f64,
    ) -> InnerLoop {
        InnerLoop {
            // Cold oil slows the plant and not what the controller believes of it: only where both are equal does the prediction cancel the
            // delays.
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

    fn predicted_fraction(&self, gain: f64) -> Fraction {
        self.plant
            .shift_fraction()
            .scaled(gain)
            .plus(&self.believed.owed_by_lag_fraction())
            .plus(&self.believed.owed_by_dead_time_fraction())
    }
}

/// Both kinds without limits.
pub(super) struct LinearLag {
    lag: LagCompensation,
    actuator: Actuator,
    inner: InnerLoop,
    tracker: Transfer,
    mount: Mount,
    speed_m_s: f64,
    lever_m: f64,
    latency_s: f64,
    age_s: f64,
    whole_frames: usize,
    share: f64,
    with_yaw_rate: bool,
}

impl LinearLag {
    pub(super) fn new(setup: &Setup, speed_m_s: f64, with_yaw_rate: bool) -> Option<LinearLag> {
        let (frame_s, latency_s) = (setup.camera.frame_s, setup.camera.latency_s);
        let actuator = Actuator::of(setup)?;
        let lag = setup.controllers.lag?;
        let lead = Control::lead(setup, speed_m_s)?;
        let age_s = lead.measurement_age_s(setup.camera.lookahead_m, speed_m_s, latency_s);
        let frames = (age_s - latency_s) / frame_s;
        // age = T_c + (j + l) T_f: j frames are a plain delay, l is the law's interpolation between two neighbours, which also damps.
        let whole = libm::floor(frames);
        Some(LinearLag {
            lag,
            actuator,
            inner: InnerLoop::new(&lag, &actuator, 0.0, frame_s),
            tracker: transfer(setup, speed_m_s),
            mount: setup.camera.mount,
            speed_m_s,
            lever_m: setup.tools.tool_line_m - setup.reference_axle_m(),
            latency_s,
            age_s,
            whole_frames: whole as usize,
            share: frames - whole,
            with_yaw_rate,
        })
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

impl Linear for LinearLag {
    fn response(&self, at: &Frequency) -> ShiftResponse {
        let one = Complex::new(1.0, 0.0);
        let lag = &self.lag;
        let around = self.inner.predicted(self.actuator.gain, at) * lag.gain_1_s;
        let per_command = self.actuator.response(at) * at.hold / (one + around);
        // The law's backward difference over a frame, not f s: that one would come half a frame too early.
        let forward = at.one_minus_back * (lag.feed_forward / at.frame_s) + lag.gain_1_s;
        let wanted = per_command * forward;
        let between = at.delay(self.latency_s + self.whole_frames as f64 * at.frame_s)
            * (one - at.one_minus_back * self.share);
        let number = self.tracker.number.at(at.back);
        let mut response = ShiftResponse::tracked(&self.tracker, number, wanted * between, at);
        // The loop subtracts what it reads: an error of the sensor moves the frame the other way.
        response.position_now = -per_command * lag.gain_1_s;
        // The reading was added to a shifted camera's number, so its error passes for a row that is seen.
        if self.mount == Mount::Shifted {
            response.position_at_exposure = response.seen;
        }
        if self.with_yaw_rate {
            let ahead_s = lag.actuation_delay_s();
            let turned = wanted * self.turned(self.age_s + self.tracker.delay_s, ahead_s, at);
            // A yaw rate is reckoned with, s psi, and not the heading.
            response.heading += turned * at.s;
            response.yaw_rate_error += turned;
        }
        response
    }

    fn standing_m(&self, yaw_rate_rad_s: f64) -> f64 {
        if !self.with_yaw_rate {
            return 0.0;
        }
        // A steady rate w turns by w W and sweeps w W²/2 over the window W, so that x - v W/2 of it is left standing.
        let window_s = self.age_s + self.tracker.delay_s + self.lag.actuation_delay_s();
        yaw_rate_rad_s * window_s * (self.lever_m - 0.5 * self.speed_m_s * window_s)
    }
}
