//! The side-shift along one drive: sensor numbers to controller to valve to cylinder to frame.

use super::frames::{Frame, Frames};
use super::path::Path;
use crate::model::camera::Mount;
use crate::model::controller::{Kind, LagCompensation, OnOff, Pid, PidState};
use crate::model::hydraulics::{DirectionalValve, Hydraulics, ProportionalValve};
use crate::model::setup::Setup;
use crate::model::tracker::{Filter, FilterState};

/// What the frame did, at every tick of the path. Kept between runs so that nothing is allocated twice.
#[derive(Clone, Debug, Default)]
pub struct Shift {
    /// Shift of the frame, m, left positive.
    pub shift_m: Vec<f64>,
    /// Valve command in force, -1 (right) to 1 (left).
    pub command: Vec<f64>,
    /// True while the cylinder stands at an end stop.
    pub at_stop: Vec<bool>,
    /// For every frame whose number arrived: time of arrival, s, and whether the valve was asked for all it has.
    pub saturated: Vec<(f64, bool)>,
}

/// Runs one controller along a path. A controller that the setup lacks stays locked.
///
/// Each tick, in this order:
///
/// ```text
/// expose   frames exposed in this tick note where the frame stands
/// arrive   numbers that arrive in this tick: tracker, controller, new command (held until the next)
/// valve    mean over the tick of the command a dead time ago; spool lag
/// move     flow, pump limit, end stops, backlash
/// ```
///
/// Exposures, arrivals and the dead time fall inside ticks and are interpolated there.
pub fn run(setup: &Setup, path: &Path, sensors: &Frames, kind: Kind, out: &mut Shift) {
    let ticks = path.station_m.len();
    out.shift_m.clear();
    out.command.clear();
    out.at_stop.clear();
    out.saturated.clear();
    let valve = Valve::of(setup, kind);
    let (Some(mut valve), Some(mut brain)) = (valve, Brain::of(setup, path, kind)) else {
        out.shift_m.resize(ticks, 0.0);
        out.command.resize(ticks, 0.0);
        out.at_stop.resize(ticks, false);
        return;
    };
    let dt = path.step_s;
    let half_m = 0.5 * setup.hydraulics.stroke_m;
    let slack_m = 0.5 * setup.hydraulics.backlash_m;
    let mut cylinder_m = setup.run.entry_shift_m.clamp(-half_m, half_m);
    let mut frame_m = cylinder_m;
    let mut speed_m_s = 0.0;
    let mut exposures: Vec<Exposure> = Vec::with_capacity(sensors.frames.len());
    let mut arrived = 0;
    let mut command = 0.0;

    for tick in 0..ticks {
        let t0 = tick as f64 * dt;
        let t1 = t0 + dt;
        out.shift_m.push(frame_m);
        out.command.push(command);
        out.at_stop.push(cylinder_m.abs() >= half_m * (1.0 - 1e-12));

        while let Some(frame) = sensors
            .frames
            .get(exposures.len())
            .filter(|frame| frame.exposed_s < t1)
        {
            let moved_m = speed_m_s * (frame.exposed_s - t0);
            let cylinder_m = (cylinder_m + moved_m).clamp(-half_m, half_m);
            exposures.push(Exposure {
                frame_m: frame_m + moved_m,
                reading_m: cylinder_m + frame.position_noise_exposed_m,
            });
        }
        while arrived < exposures.len() {
            let frame = &sensors.frames[arrived];
            let now_s = frame.exposed_s + setup.camera.latency_s;
            if now_s >= t1 {
                break;
            }
            let reading_m = (cylinder_m + speed_m_s * (now_s - t0)).clamp(-half_m, half_m)
                + frame.position_noise_arrived_m;
            let arrival = Arrival {
                frame,
                exposure: exposures[arrived],
                now_s,
                reading_m,
            };
            let asked = brain.command(setup, path, sensors, &arrival);
            let started = now_s >= setup.run.controller_starts_s(path.lowered_s);
            command = if started { asked.command } else { 0.0 };
            valve.take(now_s, command);
            brain.applied(now_s, if started { asked.speed_m_s } else { 0.0 });
            out.saturated.push((now_s, started && asked.saturated));
            arrived += 1;
        }

        let wanted_m_s = valve.speed_over(t0, t1);
        let before_m = cylinder_m;
        cylinder_m = (cylinder_m + wanted_m_s * dt).clamp(-half_m, half_m);
        speed_m_s = (cylinder_m - before_m) / dt;
        frame_m = frame_m.clamp(cylinder_m - slack_m, cylinder_m + slack_m);
    }
}

/// Where the frame stood when a camera frame was exposed.
#[derive(Clone, Copy, Debug)]
struct Exposure {
    frame_m: f64,
    reading_m: f64,
}

/// A number that reaches the controller.
struct Arrival<'a> {
    frame: &'a Frame,
    exposure: Exposure,
    now_s: f64,
    reading_m: f64,
}

/// What the controller asks of the valve.
#[derive(Clone, Copy, Debug)]
struct Asked {
    command: f64,
    speed_m_s: f64,
    saturated: bool,
}

impl Asked {
    const NOTHING: Asked = Asked {
        command: 0.0,
        speed_m_s: 0.0,
        saturated: false,
    };
}

/// A value that is held from each time on until the next; 0 before the first.
#[derive(Clone, Debug, Default)]
struct Held {
    times: Vec<f64>,
    values: Vec<f64>,
}

impl Held {
    fn push(&mut self, time_s: f64, value: f64) {
        self.times.push(time_s);
        self.values.push(value);
    }

    /// Index of the first change after `time_s`, searched from `cursor` on.
    fn after(&self, cursor: usize, time_s: f64) -> usize {
        let mut next = cursor;
        while self.times.get(next).is_some_and(|&time| time <= time_s) {
            next += 1;
        }
        next
    }

    fn before(&self, next: usize) -> f64 {
        if next == 0 {
            0.0
        } else {
            self.values[next - 1]
        }
    }

    /// Calls `piece(value, duration)` for every constant piece from `from_s` to `to_s`; returns the new cursor for `from_s`.
    fn pieces(
        &self,
        cursor: usize,
        from_s: f64,
        to_s: f64,
        mut piece: impl FnMut(f64, f64),
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

/// The valve with its memory; speeds of the frame to the left and right.
enum Valve {
    Proportional {
        commands: Held,
        cursor: usize,
        dead_s: f64,
        lag: Option<Lag>,
        spool: f64,
        law: FlowLaw,
    },
    Directional {
        commands: Held,
        cursor: [usize; 2],
        open_s: f64,
        close_s: f64,
        speed_m_s: [f64; 2],
    },
}

/// First-order lag over one tick.
struct Lag {
    decay: f64,
    mean: f64,
}

/// Spool position to frame speed.
struct FlowLaw {
    deadband: f64,
    jump: f64,
    open_m_s: [f64; 2],
    pump_m_s: [f64; 2],
}

fn both_ways(mut speed: impl FnMut(bool) -> f64) -> [f64; 2] {
    [speed(true), speed(false)]
}

impl Valve {
    fn of(setup: &Setup, kind: Kind) -> Option<Valve> {
        if kind == Kind::Locked || setup.lacks(kind).is_some() {
            return None;
        }
        let hydraulics = &setup.hydraulics;
        if kind == Kind::OnOff {
            hydraulics
                .directional
                .map(|valve| Valve::directional(&valve, hydraulics))
        } else {
            hydraulics
                .proportional
                .map(|valve| Valve::proportional(&valve, hydraulics, setup.run.step_s))
        }
    }

    fn proportional(valve: &ProportionalValve, hydraulics: &Hydraulics, step_s: f64) -> Valve {
        let lag_s = valve.spool_lag_s * hydraulics.cold_lag_factor;
        let lag = (lag_s > 0.0).then(|| {
            let decay = libm::exp(-step_s / lag_s);
            Lag {
                decay,
                mean: (1.0 - decay) * lag_s / step_s,
            }
        });
        Valve::Proportional {
            commands: Held::default(),
            cursor: 0,
            dead_s: valve.dead_time_s * hydraulics.cold_dead_time_factor,
            lag,
            spool: 0.0,
            law: FlowLaw {
                deadband: valve.deadband,
                jump: valve.deadband * valve.deadband_compensation,
                open_m_s: both_ways(|left| valve.open_speed_m_s(hydraulics, hydraulics.way(left))),
                pump_m_s: both_ways(|left| hydraulics.pump_speed_m_s(hydraulics.way(left))),
            },
        }
    }

    fn directional(valve: &DirectionalValve, hydraulics: &Hydraulics) -> Valve {
        Valve::Directional {
            commands: Held::default(),
            cursor: [0; 2],
            open_s: valve.open_s * hydraulics.cold_dead_time_factor,
            close_s: valve.close_s * hydraulics.cold_dead_time_factor,
            speed_m_s: both_ways(|left| valve.open_speed_m_s(hydraulics, hydraulics.way(left))),
        }
    }

    fn take(&mut self, now_s: f64, command: f64) {
        match self {
            Valve::Proportional { commands, law, .. } => {
                let jumped = if command == 0.0 {
                    0.0
                } else {
                    law.jump.copysign(command) + (1.0 - law.jump) * command
                };
                commands.push(now_s, jumped);
            }
            Valve::Directional { commands, .. } => commands.push(now_s, command),
        }
    }

    /// Mean speed of the frame over a tick before end stops, m/s.
    fn speed_over(&mut self, t0: f64, t1: f64) -> f64 {
        match self {
            Valve::Proportional {
                commands,
                cursor,
                dead_s,
                lag,
                spool,
                law,
            } => {
                let mut sum = 0.0;
                *cursor =
                    commands.pieces(*cursor, t0 - *dead_s, t1 - *dead_s, |value, duration| {
                        sum += value * duration
                    });
                let input = sum / (t1 - t0);
                let mean = match lag {
                    Some(lag) => {
                        let mean = input + (*spool - input) * lag.mean;
                        *spool = input + (*spool - input) * lag.decay;
                        mean
                    }
                    None => input,
                };
                law.speed_m_s(mean)
            }
            Valve::Directional {
                commands,
                cursor,
                open_s,
                close_s,
                speed_m_s,
            } => {
                let mut moved_m = 0.0;
                let mut t = t0;
                while t < t1 {
                    cursor[0] = commands.after(cursor[0], t - *open_s);
                    cursor[1] = commands.after(cursor[1], t - *close_s);
                    let next_open = commands
                        .times
                        .get(cursor[0])
                        .map_or(t1, |time| time + *open_s);
                    let next_close = commands
                        .times
                        .get(cursor[1])
                        .map_or(t1, |time| time + *close_s);
                    let next = next_open.min(next_close).min(t1).max(t + 1e-12);
                    let position = directional_position(
                        commands.before(cursor[0]),
                        commands.before(cursor[1]),
                        *open_s >= *close_s,
                    );
                    let speed = if position > 0.0 {
                        speed_m_s[0]
                    } else {
                        speed_m_s[1]
                    };
                    moved_m += position * speed * (next - t);
                    t = next;
                }
                moved_m / (t1 - t0)
            }
        }
    }
}

/// Position of a directional valve from the commands an opening time and a closing time ago. Slow to open: both must ask for
/// it. Slow to close: either does, and the opening wins.
fn directional_position(opening: f64, closing: f64, slow_to_open: bool) -> f64 {
    if opening == closing || (!slow_to_open && opening != 0.0) {
        opening
    } else if slow_to_open {
        0.0
    } else {
        closing
    }
}

impl FlowLaw {
    fn speed_m_s(&self, spool: f64) -> f64 {
        let open = (spool.abs() - self.deadband).max(0.0) / (1.0 - self.deadband);
        let side = usize::from(spool < 0.0);
        (self.open_m_s[side] * open)
            .min(self.pump_m_s[side])
            .copysign(spool)
    }
}

/// The controller with its memory.
enum Brain {
    Switch {
        gains: OnOff,
        track: Track,
        now: i8,
    },
    Pid {
        gains: Pid,
        track: Track,
        state: PidState,
        reach: Reach,
    },
    Lag(Box<LagBrain>),
}

/// Tracker with its memory.
struct Track {
    filter: Filter,
    state: FilterState,
}

/// No-load speeds that the controller reckons with, m/s, to the left and right.
#[derive(Clone, Copy)]
struct Reach {
    left_m_s: f64,
    right_m_s: f64,
}

impl Reach {
    fn ask(&self, speed_m_s: f64) -> Asked {
        let cut_m_s = speed_m_s.clamp(-self.right_m_s, self.left_m_s);
        let full_m_s = if cut_m_s > 0.0 {
            self.left_m_s
        } else {
            self.right_m_s
        };
        let saturated = speed_m_s >= self.left_m_s || speed_m_s <= -self.right_m_s;
        Asked {
            command: cut_m_s / full_m_s,
            speed_m_s: cut_m_s,
            saturated,
        }
    }
}

impl Brain {
    fn of(setup: &Setup, path: &Path, kind: Kind) -> Option<Brain> {
        let lever_m = setup.camera_point_m() - setup.reference_axle_m();
        let track = Track {
            filter: setup
                .tracker
                .filter(setup.camera.frame_s, path.speed_m_s, lever_m),
            state: FilterState::default(),
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
                now: 0,
            }),
            Kind::Pid => Some(Brain::Pid {
                gains: setup.controllers.pid?,
                track,
                state: PidState::default(),
                reach: reach?,
            }),
            Kind::LagCompensated | Kind::LagCompensatedYaw => {
                let gains = setup.controllers.lag?;
                let delay_s =
                    gains.actuation_delay_s() + setup.tracker.delay_s(setup.camera.frame_s);
                let age_s = (setup.camera.lookahead_m / path.speed_m_s - delay_s)
                    .max(setup.camera.latency_s);
                Some(Brain::Lag(Box::new(LagBrain {
                    gains,
                    track,
                    reach: reach?,
                    dead_reckons: kind == Kind::LagCompensatedYaw,
                    age_s,
                    numbers: Vec::new(),
                    commands: Held::default(),
                    pending_cursor: 0,
                    model_cursor: 0,
                    model_m_s: 0.0,
                    model_at_s: 0.0,
                    wanted_m: None,
                })))
            }
        }
    }

    /// The new command when a number arrives.
    fn command(
        &mut self,
        setup: &Setup,
        path: &Path,
        sensors: &Frames,
        arrival: &Arrival,
    ) -> Asked {
        let frame = arrival.frame;
        let shifted = setup.camera.mount == Mount::Shifted;
        match self {
            Brain::Switch { gains, track, now } => {
                let error_m = track.error(arrival, shifted);
                *now = error_m.map_or(0, |error_m| gains.update(*now, error_m));
                Asked {
                    command: f64::from(*now),
                    speed_m_s: 0.0,
                    saturated: *now != 0,
                }
            }
            Brain::Pid {
                gains,
                track,
                state,
                reach,
            } => match track.error(arrival, shifted) {
                Some(error_m) => {
                    let period_s = setup.camera.frame_s;
                    reach.ask(gains.update(
                        state,
                        error_m,
                        period_s,
                        -reach.right_m_s,
                        reach.left_m_s,
                    ))
                }
                None => {
                    gains.coast(state);
                    Asked::NOTHING
                }
            },
            Brain::Lag(brain) => {
                let number = frame.number_m.map(|number_m| {
                    if shifted {
                        number_m - arrival.exposure.frame_m + arrival.exposure.reading_m
                    } else {
                        number_m
                    }
                });
                let tracked =
                    brain
                        .track
                        .filter
                        .update(&mut brain.track.state, number, frame.yaw_rad_s);
                brain.note(tracked);
                brain.ask(setup, path, sensors, arrival)
            }
        }
    }

    /// The command that went to the valve, m/s of wanted speed.
    fn applied(&mut self, now_s: f64, speed_m_s: f64) {
        if let Brain::Lag(brain) = self {
            brain.commands.push(now_s, speed_m_s);
        }
    }
}

impl Track {
    /// Row as the shifted frame sees it, tracked, m.
    fn error(&mut self, arrival: &Arrival, shifted: bool) -> Option<f64> {
        let number = arrival.frame.number_m.map(|number_m| {
            number_m
                - if shifted {
                    arrival.exposure.frame_m
                } else {
                    arrival.exposure.reading_m
                }
        });
        self.filter
            .update(&mut self.state, number, arrival.frame.yaw_rad_s)
    }
}

/// Lag compensation with its memory.
struct LagBrain {
    gains: LagCompensation,
    track: Track,
    reach: Reach,
    dead_reckons: bool,
    /// How long ago the measurement to use was exposed, s.
    age_s: f64,
    /// Tracked fixed-frame number of every frame, with the newest frame up to it that found the row.
    numbers: Vec<(f64, Option<usize>)>,
    /// Commands as speeds.
    commands: Held,
    pending_cursor: usize,
    model_cursor: usize,
    /// Shift speed by the controller's own model of the valve, m/s, at `model_at_s`.
    model_m_s: f64,
    model_at_s: f64,
    wanted_m: Option<f64>,
}

impl LagBrain {
    fn note(&mut self, tracked: Option<f64>) {
        let newest = self.numbers.last().and_then(|&(_, newest)| newest);
        let index = self.numbers.len();
        let found = if tracked.is_some() {
            Some(index)
        } else {
            newest
        };
        self.numbers.push((tracked.unwrap_or(0.0), found));
    }

    fn found(&self, index: usize) -> bool {
        self.numbers
            .get(index)
            .is_some_and(|&(_, newest)| newest == Some(index))
    }

    /// The number of the exposure nearest to `time_s` that the camera found, interpolated between two neighbours, with the
    /// time for which it holds. Where frames are missing the newest before serves (coasting), at the start the oldest there is.
    fn number_at(&self, sensors: &Frames, period_s: f64, time_s: f64) -> Option<(f64, f64)> {
        let last = self.numbers.len() - 1;
        let x = time_s / period_s;
        let j = (x.max(0.0) as usize).min(last);
        let part = x - j as f64;
        if part >= 0.0 && self.found(j) {
            if j < last && self.found(j + 1) {
                let (a, b) = (self.numbers[j].0, self.numbers[j + 1].0);
                return Some((a + part * (b - a), time_s));
            }
            return Some((self.numbers[j].0, sensors.frames[j].exposed_s));
        }
        let index = self.numbers[j]
            .1
            .or_else(|| (0..=last).find(|&index| self.found(index)))?;
        Some((self.numbers[index].0, sensors.frames[index].exposed_s))
    }

    fn ask(&mut self, setup: &Setup, path: &Path, sensors: &Frames, arrival: &Arrival) -> Asked {
        let period_s = setup.camera.frame_s;
        let now_s = arrival.now_s;
        let expected_m = arrival.reading_m + self.still_to_come_m(now_s);
        let Some((number_m, seen_s)) = self.number_at(sensors, period_s, now_s - self.age_s) else {
            return Asked::NOTHING;
        };
        let reckoned_m = if self.dead_reckons {
            let from_s = seen_s - setup.tracker.delay_s(period_s);
            self.dead_reckoned_m(setup, path, sensors, from_s, now_s)
        } else {
            0.0
        };
        let wanted_m = number_m + reckoned_m;
        let rate_m_s = (wanted_m - self.wanted_m.unwrap_or(wanted_m)) / period_s;
        self.wanted_m = Some(wanted_m);
        self.reach
            .ask(self.gains.gain_1_s * (wanted_m - expected_m) + self.gains.feed_forward * rate_m_s)
    }

    /// How far the frame will still move by the commands given so far (Smith predictor), m.
    fn still_to_come_m(&mut self, now_s: f64) -> f64 {
        let (dead_s, lag_s) = (self.gains.dead_time_s, self.gains.spool_lag_s);
        let mut model_m_s = self.model_m_s;
        let advance = |value: f64, duration: f64| {
            model_m_s = if lag_s > 0.0 {
                value + (model_m_s - value) * libm::exp(-duration / lag_s)
            } else {
                value
            };
        };
        self.model_cursor = self.commands.pieces(
            self.model_cursor,
            self.model_at_s - dead_s,
            now_s - dead_s,
            advance,
        );
        self.model_m_s = model_m_s;
        self.model_at_s = now_s;
        let mut pending_m = 0.0;
        self.pending_cursor = self.commands.pieces(
            self.pending_cursor,
            now_s - dead_s,
            now_s,
            |value, duration| pending_m += value * duration,
        );
        lag_s * model_m_s + pending_m
    }

    /// Sideways way of the tools from `from_s` until the command takes effect, because the heading changed, m.
    fn dead_reckoned_m(
        &self,
        setup: &Setup,
        path: &Path,
        sensors: &Frames,
        from_s: f64,
        now_s: f64,
    ) -> f64 {
        let lever_m = setup.tools.tool_line_m - setup.reference_axle_m();
        let ahead_s = self.gains.actuation_delay_s();
        let (turn, integral) = (&sensors.turn_rad, &sensors.turn_integral_rad_s);
        let tick = ((now_s / path.step_s) as usize).min(turn.len() - 2);
        let rate_rad_s = (turn[tick + 1] - turn[tick]) / path.step_s;
        let turn_from = path.at(turn, from_s);
        let turned_rad = path.at(turn, now_s) - turn_from;
        let swept_rad_s =
            path.at(integral, now_s) - path.at(integral, from_s) - turn_from * (now_s - from_s);
        let turned_then_rad = turned_rad + rate_rad_s * ahead_s;
        let swept_then_rad_s =
            swept_rad_s + turned_rad * ahead_s + 0.5 * rate_rad_s * ahead_s * ahead_s;
        lever_m * turned_then_rad - path.speed_m_s * swept_then_rad_s
    }
}
