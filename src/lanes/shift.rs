//! The side-shift of passes side by side: see [`crate::sim::shift`], whose steps it takes lane by lane. Frames and ticks keep
//! step, so exposures, arrivals and dead times fall together in all lanes.

use super::drive::{Drive, Own};
use super::sensors::{Frame, Sensors, at, at_each};
use super::vector::Lanes;
use crate::model::camera::Mount;
use crate::model::controller::{Kind, LagCompensation, OnOff, Pid};
use crate::model::setup::Setup;
use crate::model::tracker::{Filter, REJECTIONS_BEFORE_RESTART};

/// What the frames did at the ticks that were asked for.
#[derive(Clone, Debug, Default)]
pub struct Shift<const N: usize> {
    /// Shift of the frame at every `every`-th tick, m.
    pub shift_m: Vec<Lanes<N>>,
    /// 1 where the cylinder stood at an end stop at that tick, else 0.
    pub at_stop: Vec<Lanes<N>>,
    /// For every arrived number: tick of arrival, and 1 where the valve was asked for all it has, else 0.
    pub saturated: Vec<(usize, Lanes<N>)>,
}

/// Runs one controller along the drives; what the frames did at every `every`-th tick goes to `out`. A controller that the setup
/// lacks stays locked.
#[inline(always)]
pub fn run<const N: usize>(
    setup: &Setup,
    own: &Own<N>,
    drive: &Drive<N>,
    sensors: &Sensors<N>,
    kind: Kind,
    every: usize,
    out: &mut Shift<N>,
) {
    out.shift_m.clear();
    out.at_stop.clear();
    out.saturated.clear();
    let ticks = drive.station_m.len();
    if kind == Kind::Locked || setup.lacks(kind).is_some() {
        out.shift_m.resize(ticks.div_ceil(every), Lanes::default());
        out.at_stop.resize(ticks.div_ceil(every), Lanes::default());
        return;
    }
    if kind == Kind::OnOff {
        if let Some(valve) = Directional::of(setup) {
            move_frame(setup, own, drive, sensors, kind, every, valve, out);
        }
    } else if let Some(valve) = Proportional::of(setup) {
        move_frame(setup, own, drive, sensors, kind, every, valve, out);
    }
}

trait Valve<const N: usize> {
    fn take(&mut self, now_s: f64, command: Lanes<N>);
    /// Mean speed of the frame over a tick before end stops, m/s.
    fn speed_over(&mut self, t0: f64, t1: f64) -> Lanes<N>;
}

#[inline(always)]
#[allow(clippy::too_many_arguments)]
fn move_frame<const N: usize>(
    setup: &Setup,
    own: &Own<N>,
    drive: &Drive<N>,
    sensors: &Sensors<N>,
    kind: Kind,
    every: usize,
    mut valve: impl Valve<N>,
    out: &mut Shift<N>,
) {
    let Some(mut brain) = Brain::of(setup, drive, kind) else {
        return;
    };
    let dt = setup.run.step_s;
    let half_m = 0.5 * setup.hydraulics.stroke_m;
    let (low, high) = (Lanes::all(-half_m), Lanes::all(half_m));
    let slack_m = 0.5 * setup.hydraulics.backlash_m;
    let starts_s = drive
        .lowered_s
        .map(|lowered_s| setup.run.controller_starts_s(lowered_s));
    let mut cylinder_m = own.entry_shift_m.clamp(low, high);
    let mut frame_m = cylinder_m;
    let mut before_m = cylinder_m;
    let mut exposures: Vec<Exposure<N>> = Vec::with_capacity(sensors.frames.len());
    let mut arrived = 0;
    let mut next_look = 0;

    for tick in 0..drive.station_m.len() {
        let t0 = tick as f64 * dt;
        let t1 = t0 + dt;
        if tick == next_look {
            next_look += every;
            out.shift_m.push(frame_m);
            out.at_stop.push(cylinder_m.abs().zip(high, |q, half| {
                f64::from(u8::from(q >= half * (1.0 - 1e-12)))
            }));
        }
        while let Some(frame) = sensors
            .frames
            .get(exposures.len())
            .filter(|frame| frame.exposed_s < t1)
        {
            let moved_m = (cylinder_m - before_m) * ((frame.exposed_s - t0) / dt);
            exposures.push(Exposure {
                frame_m: frame_m + moved_m,
                reading_m: (cylinder_m + moved_m).clamp(low, high) + frame.position_noise_exposed_m,
            });
        }
        while arrived < exposures.len() {
            let frame = &sensors.frames[arrived];
            let now_s = frame.exposed_s + setup.camera.latency_s;
            if now_s >= t1 {
                break;
            }
            let reading_m = (cylinder_m + (cylinder_m - before_m) * ((now_s - t0) / dt))
                .clamp(low, high)
                + frame.position_noise_arrived_m;
            let arrival = Arrival {
                frame,
                exposure: exposures[arrived],
                now_s,
                reading_m,
            };
            let asked = brain.command(setup, drive, sensors, &arrival);
            let started = starts_s.map(|starts_s| f64::from(u8::from(now_s >= starts_s)));
            let nothing = Lanes::default();
            valve.take(now_s, Lanes::select(started, asked.command, nothing));
            brain.applied(now_s, Lanes::select(started, asked.speed_m_s, nothing));
            out.saturated.push((tick, asked.saturated * started));
            arrived += 1;
        }
        let wanted_m_s = valve.speed_over(t0, t1);
        before_m = cylinder_m;
        cylinder_m = (cylinder_m + wanted_m_s * dt).clamp(low, high);
        frame_m = if slack_m > 0.0 {
            frame_m.clamp(cylinder_m - slack_m, cylinder_m + slack_m)
        } else {
            cylinder_m
        };
    }
}

/// Where the frames stood when a camera frame was exposed.
#[derive(Clone, Copy)]
struct Exposure<const N: usize> {
    frame_m: Lanes<N>,
    reading_m: Lanes<N>,
}

/// A number that reaches the controllers.
struct Arrival<'a, const N: usize> {
    frame: &'a Frame<N>,
    exposure: Exposure<N>,
    now_s: f64,
    reading_m: Lanes<N>,
}

/// What the controllers ask of the valves.
#[derive(Clone, Copy)]
struct Asked<const N: usize> {
    command: Lanes<N>,
    speed_m_s: Lanes<N>,
    saturated: Lanes<N>,
}

/// Values that are held from each time on until the next; 0 before the first.
#[derive(Default)]
struct Held<const N: usize> {
    times: Vec<f64>,
    values: Vec<Lanes<N>>,
}

impl<const N: usize> Held<N> {
    #[inline(always)]
    fn push(&mut self, time_s: f64, value: Lanes<N>) {
        self.times.push(time_s);
        self.values.push(value);
    }

    #[inline(always)]
    fn after(&self, cursor: usize, time_s: f64) -> usize {
        let mut next = cursor;
        while self.times.get(next).is_some_and(|&time| time <= time_s) {
            next += 1;
        }
        next
    }

    #[inline(always)]
    fn before(&self, next: usize) -> Lanes<N> {
        if next == 0 {
            Lanes::default()
        } else {
            self.values[next - 1]
        }
    }

    #[inline(always)]
    fn pieces(
        &self,
        cursor: usize,
        from_s: f64,
        to_s: f64,
        mut piece: impl FnMut(Lanes<N>, f64),
    ) -> usize {
        let cursor = self.after(cursor, from_s);
        let (mut next, mut at_s) = (cursor, from_s);
        while let Some(&change_s) = self.times.get(next).filter(|&&time| time < to_s) {
            piece(self.before(next), change_s - at_s);
            at_s = change_s;
            next += 1;
        }
        piece(self.before(next), to_s - at_s);
        cursor
    }
}

fn both_ways(mut speed: impl FnMut(bool) -> f64) -> [f64; 2] {
    [speed(true), speed(false)]
}

/// Proportional valve with spool.
struct Proportional<const N: usize> {
    commands: Held<N>,
    cursor: usize,
    dead_s: f64,
    /// Decay and mean of the spool's lag over one tick; `None`: no lag.
    lag: Option<(f64, f64)>,
    spool: Lanes<N>,
    per_step: f64,
    deadband: f64,
    per_open: f64,
    jump: f64,
    open_m_s: [f64; 2],
    pump_m_s: [f64; 2],
}

impl<const N: usize> Proportional<N> {
    fn of(setup: &Setup) -> Option<Self> {
        let hydraulics = &setup.hydraulics;
        let valve = hydraulics.proportional.as_ref()?;
        let step_s = setup.run.step_s;
        let lag_s = valve.spool_lag_s * hydraulics.cold_lag_factor;
        Some(Self {
            commands: Held::default(),
            cursor: 0,
            dead_s: valve.dead_time_s * hydraulics.cold_dead_time_factor,
            lag: (lag_s > 0.0).then(|| {
                let decay = libm::exp(-step_s / lag_s);
                (decay, (1.0 - decay) * lag_s / step_s)
            }),
            spool: Lanes::default(),
            per_step: 1.0 / step_s,
            deadband: valve.deadband,
            per_open: 1.0 / (1.0 - valve.deadband),
            jump: valve.deadband * valve.deadband_compensation,
            open_m_s: both_ways(|left| valve.open_speed_m_s(hydraulics, hydraulics.way(left))),
            pump_m_s: both_ways(|left| hydraulics.pump_speed_m_s(hydraulics.way(left))),
        })
    }
}

impl<const N: usize> Valve<N> for Proportional<N> {
    #[inline(always)]
    fn take(&mut self, now_s: f64, command: Lanes<N>) {
        let jump = self.jump;
        self.commands.push(
            now_s,
            command.map(|command| {
                if command == 0.0 {
                    0.0
                } else {
                    jump.copysign(command) + (1.0 - jump) * command
                }
            }),
        );
    }

    #[inline(always)]
    fn speed_over(&mut self, t0: f64, t1: f64) -> Lanes<N> {
        let mut sum = Lanes::default();
        let mut pieces = 0;
        let mut held = Lanes::default();
        self.cursor = self.commands.pieces(
            self.cursor,
            t0 - self.dead_s,
            t1 - self.dead_s,
            |value, duration| {
                // Most ticks see one command only.
                pieces += 1;
                held = value;
                sum += value * duration;
            },
        );
        let input = if pieces == 1 {
            held
        } else {
            sum * self.per_step
        };
        let mean = match self.lag {
            Some((decay, mean)) => {
                let off = self.spool - input;
                self.spool = input + off * decay;
                input + off * mean
            }
            None => input,
        };
        let (deadband, per_open) = (self.deadband, self.per_open);
        let (open, pump) = (self.open_m_s, self.pump_m_s);
        mean.map(|spool| {
            let part = (spool.abs() - deadband).max(0.0) * per_open;
            let (open, pump) = if spool < 0.0 {
                (open[1], pump[1])
            } else {
                (open[0], pump[0])
            };
            let speed = open * part;
            (if speed < pump { speed } else { pump }).copysign(spool)
        })
    }
}

/// Directional valve with switching times.
struct Directional<const N: usize> {
    commands: Held<N>,
    cursor: [usize; 2],
    open_s: f64,
    close_s: f64,
    speed_m_s: [f64; 2],
}

impl<const N: usize> Directional<N> {
    fn of(setup: &Setup) -> Option<Self> {
        let hydraulics = &setup.hydraulics;
        let valve = hydraulics.directional.as_ref()?;
        Some(Self {
            commands: Held::default(),
            cursor: [0; 2],
            open_s: valve.open_s * hydraulics.cold_dead_time_factor,
            close_s: valve.close_s * hydraulics.cold_dead_time_factor,
            speed_m_s: both_ways(|left| valve.open_speed_m_s(hydraulics, hydraulics.way(left))),
        })
    }
}

impl<const N: usize> Valve<N> for Directional<N> {
    #[inline(always)]
    fn take(&mut self, now_s: f64, command: Lanes<N>) {
        self.commands.push(now_s, command);
    }

    #[inline(always)]
    fn speed_over(&mut self, t0: f64, t1: f64) -> Lanes<N> {
        let slow_to_open = self.open_s >= self.close_s;
        let [left_m_s, right_m_s] = self.speed_m_s;
        let mut moved_m = Lanes::default();
        let mut t = t0;
        while t < t1 {
            self.cursor[0] = self.commands.after(self.cursor[0], t - self.open_s);
            self.cursor[1] = self.commands.after(self.cursor[1], t - self.close_s);
            let next_open = self
                .commands
                .times
                .get(self.cursor[0])
                .map_or(t1, |time| time + self.open_s);
            let next_close = self
                .commands
                .times
                .get(self.cursor[1])
                .map_or(t1, |time| time + self.close_s);
            let next = next_open.min(next_close).min(t1).max(t + 1e-12);
            let opening = self.commands.before(self.cursor[0]);
            let closing = self.commands.before(self.cursor[1]);
            moved_m += opening.zip(closing, |opening, closing| {
                let position = if opening == closing || (!slow_to_open && opening != 0.0) {
                    opening
                } else if slow_to_open {
                    0.0
                } else {
                    closing
                };
                position * if position > 0.0 { left_m_s } else { right_m_s } * (next - t)
            });
            t = next;
        }
        moved_m / (t1 - t0)
    }
}

/// The controllers with their memory.
enum Brain<const N: usize> {
    Switch {
        gains: OnOff,
        track: Track<N>,
        now: Lanes<N>,
    },
    Pid {
        gains: Pid,
        track: Track<N>,
        state: PidState<N>,
        reach: Reach,
    },
    Lag(Box<LagBrain<N>>),
}

/// Memory of the PIDs.
#[derive(Default)]
struct PidState<const N: usize> {
    integral_m_s: Lanes<N>,
    derivative_m_s: Lanes<N>,
    last_error_m: Lanes<N>,
    has_last: Lanes<N>,
}

/// Tracker with its memory.
struct Track<const N: usize> {
    filter: Filter,
    x: [Lanes<N>; 2],
    rejected: Lanes<N>,
    started: Lanes<N>,
}

impl<const N: usize> Track<N> {
    /// As [`Filter::update`]: the tracked number, and 1 where the frame told something.
    #[inline(always)]
    fn update(
        &mut self,
        number: Lanes<N>,
        found: Lanes<N>,
        yaw_rad_s: Lanes<N>,
    ) -> (Lanes<N>, Lanes<N>) {
        let Filter {
            a,
            b,
            c,
            gain,
            gate_m,
        } = self.filter;
        let [x0, x1] = self.x;
        let x0 = x0 * a[0][0] + self.x[1] * a[0][1] + yaw_rad_s * b[0];
        let x1 = self.x[0] * a[1][0] + x1 * a[1][1] + yaw_rad_s * b[1];
        let surprise = number - (x0 * c[0] + x1 * c[1]);
        let one = Lanes::all(1.0);
        let within = surprise.map(|surprise| f64::from(u8::from(surprise.abs() <= gate_m)));
        let patient = self
            .rejected
            .map(|n| f64::from(u8::from(n < f64::from(REJECTIONS_BEFORE_RESTART))));
        // Of the lanes that found something: correct, reject, or start anew.
        let corrects = found * self.started * within;
        let rejects = found * self.started * (one - within) * patient;
        let restarts = found - corrects - rejects;
        let nothing = Lanes::default();
        let x0 = Lanes::select(
            corrects,
            x0 + surprise * gain[0],
            Lanes::select(restarts, number, x0),
        );
        let x1 = Lanes::select(
            corrects,
            x1 + surprise * gain[1],
            Lanes::select(restarts, nothing, x1),
        );
        self.rejected = Lanes::select(
            rejects,
            self.rejected + 1.0,
            Lanes::select(found, nothing, self.rejected),
        );
        self.started = self.started.max(restarts);
        self.x = [x0, x1];
        (x0 * c[0] + x1 * c[1], found - rejects)
    }

    /// Row as the shifted frame sees it, tracked, m.
    #[inline(always)]
    fn error(&mut self, arrival: &Arrival<N>, shifted: bool) -> (Lanes<N>, Lanes<N>) {
        let seen_from = if shifted {
            arrival.exposure.frame_m
        } else {
            arrival.exposure.reading_m
        };
        self.update(
            arrival.frame.number_m - seen_from,
            arrival.frame.found,
            arrival.frame.yaw_rad_s,
        )
    }
}

/// No-load speeds that the controllers reckon with, m/s.
#[derive(Clone, Copy)]
struct Reach {
    left_m_s: f64,
    right_m_s: f64,
}

impl Reach {
    #[inline(always)]
    fn ask<const N: usize>(&self, speed_m_s: Lanes<N>) -> Asked<N> {
        let (left, right) = (self.left_m_s, self.right_m_s);
        let cut_m_s = speed_m_s.clamp(Lanes::all(-right), Lanes::all(left));
        Asked {
            command: cut_m_s.map(|cut| cut / if cut > 0.0 { left } else { right }),
            speed_m_s: cut_m_s,
            saturated: speed_m_s.map(|speed| f64::from(u8::from(speed >= left || speed <= -right))),
        }
    }
}

impl<const N: usize> Brain<N> {
    fn of(setup: &Setup, drive: &Drive<N>, kind: Kind) -> Option<Self> {
        let lever_m = setup.camera_point_m() - setup.reference_axle_m();
        let track = Track {
            filter: setup
                .tracker
                .filter(setup.camera.frame_s, drive.speed_m_s, lever_m),
            x: [Lanes::default(); 2],
            rejected: Lanes::default(),
            started: Lanes::default(),
        };
        let hydraulics = &setup.hydraulics;
        let reach = hydraulics.proportional.map(|valve| Reach {
            left_m_s: valve.no_load_speed_m_s(hydraulics, hydraulics.way(true)),
            right_m_s: valve.no_load_speed_m_s(hydraulics, hydraulics.way(false)),
        });
        match kind {
            Kind::Locked => None,
            Kind::OnOff => Some(Brain::Switch {
                gains: setup.controllers.on_off?,
                track,
                now: Lanes::default(),
            }),
            Kind::Pid => Some(Brain::Pid {
                gains: setup.controllers.pid?,
                track,
                state: PidState::default(),
                reach: reach?,
            }),
            Kind::LagCompensated | Kind::LagCompensatedYaw => {
                let gains = setup.controllers.lag?;
                let filter_s = setup.tracker.delay_s(setup.camera.frame_s);
                let delay_s = gains.actuation_delay_s() + filter_s;
                Some(Brain::Lag(Box::new(LagBrain {
                    gains,
                    track,
                    reach: reach?,
                    dead_reckons: kind == Kind::LagCompensatedYaw,
                    age_s: (setup.camera.lookahead_m / drive.speed_m_s - delay_s)
                        .max(setup.camera.latency_s),
                    filter_s,
                    seen: Vec::new(),
                    first: Seen::default(),
                    commands: Held::default(),
                    pending_cursor: 0,
                    model_cursor: 0,
                    model_m_s: Lanes::default(),
                    model_at_s: 0.0,
                    wanted_m: Lanes::default(),
                    has_wanted: Lanes::default(),
                })))
            }
        }
    }

    #[inline(always)]
    fn command(
        &mut self,
        setup: &Setup,
        drive: &Drive<N>,
        sensors: &Sensors<N>,
        arrival: &Arrival<N>,
    ) -> Asked<N> {
        let shifted = setup.camera.mount == Mount::Shifted;
        match self {
            Brain::Switch { gains, track, now } => {
                let (error_m, told) = track.error(arrival, shifted);
                let gains = *gains;
                let switched = error_m.zip(*now, |error_m, now| {
                    if error_m > gains.on_m {
                        1.0
                    } else if error_m < -gains.on_m {
                        -1.0
                    } else if error_m * now < gains.off_m {
                        0.0
                    } else {
                        now
                    }
                });
                *now = switched * told;
                Asked {
                    command: *now,
                    speed_m_s: Lanes::default(),
                    saturated: now.abs(),
                }
            }
            Brain::Pid {
                gains,
                track,
                state,
                reach,
            } => {
                let (error_m, told) = track.error(arrival, shifted);
                let wanted_m_s = state.update(gains, error_m, told, setup.camera.frame_s, reach);
                let mut asked = reach.ask(wanted_m_s);
                asked.command = asked.command * told;
                asked.speed_m_s = asked.speed_m_s * told;
                asked.saturated = asked.saturated * told;
                asked
            }
            Brain::Lag(brain) => brain.command(setup, drive, sensors, arrival, shifted),
        }
    }

    #[inline(always)]
    fn applied(&mut self, now_s: f64, speed_m_s: Lanes<N>) {
        if let Brain::Lag(brain) = self {
            brain.commands.push(now_s, speed_m_s);
        }
    }
}

impl<const N: usize> PidState<N> {
    /// As [`Pid::update`] where the frame told something, [`Pid::coast`] elsewhere.
    #[inline(always)]
    fn update(
        &mut self,
        gains: &Pid,
        error_m: Lanes<N>,
        told: Lanes<N>,
        frame_s: f64,
        reach: &Reach,
    ) -> Lanes<N> {
        let nothing = Lanes::default();
        let change_m = Lanes::select(self.has_last, error_m - self.last_error_m, nothing);
        let filter_s = gains.derivative_filter_s;
        let derivative = (self.derivative_m_s * filter_s
            + change_m * (gains.gain_1_s * gains.derivative_s))
            / (filter_s + frame_s);
        let integral = self.integral_m_s + error_m * (gains.gain_1_s * frame_s / gains.integral_s);
        let wanted_m_s = error_m * gains.gain_1_s + integral + derivative;
        let (left, right) = (reach.left_m_s, reach.right_m_s);
        let winds_up = wanted_m_s.zip(error_m, |wanted, error| {
            f64::from(u8::from(
                (wanted > left && error > 0.0) || (wanted < -right && error < 0.0),
            ))
        });
        let keeps = told * (1.0 - winds_up);
        self.integral_m_s = Lanes::select(keeps, integral, self.integral_m_s);
        self.derivative_m_s = Lanes::select(told, derivative, nothing);
        self.last_error_m = error_m;
        self.has_last = told;
        wanted_m_s
    }
}

/// What a frame told: the tracked number, the exposure for which it holds (an older frame's while coasting), 1 if it is of this
/// very frame, 1 if there is one at all.
#[derive(Clone, Copy, Default)]
struct Seen<const N: usize> {
    number_m: Lanes<N>,
    at_s: Lanes<N>,
    fresh: Lanes<N>,
    any: Lanes<N>,
}

/// Lag compensation with its memory.
struct LagBrain<const N: usize> {
    gains: LagCompensation,
    track: Track<N>,
    reach: Reach,
    dead_reckons: bool,
    age_s: f64,
    filter_s: f64,
    seen: Vec<Seen<N>>,
    /// The first number that each lane ever found.
    first: Seen<N>,
    commands: Held<N>,
    pending_cursor: usize,
    model_cursor: usize,
    model_m_s: Lanes<N>,
    model_at_s: f64,
    wanted_m: Lanes<N>,
    has_wanted: Lanes<N>,
}

impl<const N: usize> LagBrain<N> {
    #[inline(always)]
    fn command(
        &mut self,
        setup: &Setup,
        drive: &Drive<N>,
        sensors: &Sensors<N>,
        arrival: &Arrival<N>,
        shifted: bool,
    ) -> Asked<N> {
        let frame = arrival.frame;
        let mut number = frame.number_m;
        if shifted {
            number = number - arrival.exposure.frame_m + arrival.exposure.reading_m;
        }
        let (tracked, told) = self.track.update(number, frame.found, frame.yaw_rad_s);
        self.note(tracked, told, frame.exposed_s);

        let period_s = setup.camera.frame_s;
        let now_s = arrival.now_s;
        let expected_m = arrival.reading_m + self.still_to_come_m(now_s);
        let (number_m, seen_s, any) = self.number_at(period_s, now_s - self.age_s);
        let mut wanted_m = number_m;
        if self.dead_reckons {
            wanted_m += self.dead_reckoned_m(setup, drive, sensors, seen_s - self.filter_s, now_s);
        }
        let last_m = Lanes::select(self.has_wanted, self.wanted_m, wanted_m);
        let rate_m_s = (wanted_m - last_m) / period_s;
        self.wanted_m = Lanes::select(any, wanted_m, self.wanted_m);
        self.has_wanted = self.has_wanted.max(any);
        let mut asked = self.reach.ask(
            (wanted_m - expected_m) * self.gains.gain_1_s + rate_m_s * self.gains.feed_forward,
        );
        asked.command = Lanes::select(any, asked.command, Lanes::default());
        asked.speed_m_s = Lanes::select(any, asked.speed_m_s, Lanes::default());
        asked.saturated = asked.saturated * any;
        asked
    }

    #[inline(always)]
    fn note(&mut self, tracked: Lanes<N>, told: Lanes<N>, exposed_s: f64) {
        let before = self.seen.last().copied().unwrap_or_default();
        let now = Seen {
            number_m: Lanes::select(told, tracked, before.number_m),
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

    /// The number of the exposure nearest to `time_s`, the time for which it holds, and 1 where there is one.
    #[inline(always)]
    fn number_at(&self, period_s: f64, time_s: f64) -> (Lanes<N>, Lanes<N>, Lanes<N>) {
        let last = self.seen.len() - 1;
        let x = time_s / period_s;
        let j = (x.max(0.0) as usize).min(last);
        let part = x - j as f64;
        let here = self.seen[j];
        let number_m = Lanes::select(here.any, here.number_m, self.first.number_m);
        let at_s = Lanes::select(here.any, here.at_s, self.first.at_s);
        if part < 0.0 || j == last {
            return (number_m, at_s, self.first.any);
        }
        let next = self.seen[j + 1];
        let between = here.fresh * next.fresh;
        let number_m = Lanes::select(
            between,
            here.number_m + (next.number_m - here.number_m) * part,
            number_m,
        );
        let at_s = Lanes::select(between, Lanes::all(time_s), at_s);
        (number_m, at_s, self.first.any)
    }

    #[inline(always)]
    fn still_to_come_m(&mut self, now_s: f64) -> Lanes<N> {
        let (dead_s, lag_s) = (self.gains.dead_time_s, self.gains.spool_lag_s);
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
        let mut pending_m = Lanes::default();
        self.pending_cursor = self.commands.pieces(
            self.pending_cursor,
            now_s - dead_s,
            now_s,
            |value, duration| {
                pending_m += value * duration;
            },
        );
        model_m_s * lag_s + pending_m
    }

    #[inline(always)]
    fn dead_reckoned_m(
        &self,
        setup: &Setup,
        drive: &Drive<N>,
        sensors: &Sensors<N>,
        from_s: Lanes<N>,
        now_s: f64,
    ) -> Lanes<N> {
        let dt = setup.run.step_s;
        let lever_m = setup.tools.tool_line_m - setup.reference_axle_m();
        let ahead_s = self.gains.actuation_delay_s();
        let (turn, integral) = (&sensors.turn_rad, &sensors.turn_integral_rad_s);
        let tick = ((now_s / dt) as usize).min(turn.len() - 2);
        let rate_rad_s = (turn[tick + 1] - turn[tick]) / dt;
        let from = from_s / dt;
        let turn_from = at_each(turn, from);
        let turned_rad = at(turn, now_s / dt) - turn_from;
        let swept_rad_s =
            at(integral, now_s / dt) - at_each(integral, from) - turn_from * (now_s - from_s);
        let turned_then_rad = turned_rad + rate_rad_s * ahead_s;
        let swept_then_rad_s =
            swept_rad_s + turned_rad * ahead_s + rate_rad_s * (0.5 * ahead_s * ahead_s);
        turned_then_rad * lever_m - swept_then_rad_s * drive.speed_m_s
    }
}
