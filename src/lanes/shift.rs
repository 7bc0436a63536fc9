//! The side-shift of passes side by side: see [`crate::sim::shift`], whose steps it takes lane by lane. Frames and ticks keep
//! step, so exposures, arrivals and dead times fall together in all lanes.

use super::drive::{Drive, Own};
use super::sensors::Sensors;
use crate::model::controller::law::{Arrival, Held, Law, Turns};
use crate::model::controller::{AnyLaw, Kind, ValveKind};
use crate::model::setup::Setup;
use crate::model::vector::Lanes;

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
    let law = AnyLaw::of(kind, setup, drive.speed_m_s);
    match (kind.valve(), law) {
        (Some(valve), Some(law)) => {
            run_law(setup, own, drive, sensors, valve, law, every, out);
        }
        _ => stay(drive, every, out),
    }
}

/// The same for any law on one of the machine's valves. Without that valve the frame stays where it is.
#[inline(always)]
#[allow(clippy::too_many_arguments)]
pub fn run_law<const N: usize>(
    setup: &Setup,
    own: &Own<N>,
    drive: &Drive<N>,
    sensors: &Sensors<N>,
    valve: ValveKind,
    law: impl Law<N>,
    every: usize,
    out: &mut Shift<N>,
) {
    match valve {
        ValveKind::Directional => match Directional::of(setup) {
            Some(valve) => move_frame(setup, own, drive, sensors, law, every, valve, out),
            None => stay(drive, every, out),
        },
        ValveKind::Proportional => match Proportional::of(setup) {
            Some(valve) => move_frame(setup, own, drive, sensors, law, every, valve, out),
            None => stay(drive, every, out),
        },
    }
}

/// A locked frame.
fn stay<const N: usize>(drive: &Drive<N>, every: usize, out: &mut Shift<N>) {
    let looks = drive.station_m.len().div_ceil(every);
    out.saturated.clear();
    for series in [&mut out.shift_m, &mut out.at_stop] {
        series.clear();
        series.resize(looks, Lanes::default());
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
    mut law: impl Law<N>,
    every: usize,
    mut valve: impl Valve<N>,
    out: &mut Shift<N>,
) {
    out.shift_m.clear();
    out.at_stop.clear();
    out.saturated.clear();
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
            let exposure = exposures[arrived];
            let asked = law.command(&Arrival {
                exposed_s: frame.exposed_s,
                now_s,
                number_m: frame.number_m,
                found: frame.found,
                frame_exposed_m: exposure.frame_m,
                reading_exposed_m: exposure.reading_m,
                reading_m,
                yaw_rad_s: frame.yaw_rad_s,
                turns: Turns {
                    turn_rad: &sensors.turn_rad,
                    turn_integral_rad_s: &sensors.turn_integral_rad_s,
                    step_s: dt,
                },
            });
            let started = starts_s.map(|starts_s| f64::from(u8::from(now_s >= starts_s)));
            let nothing = Lanes::default();
            valve.take(now_s, Lanes::select(started, asked.command, nothing));
            law.applied(now_s, Lanes::select(started, asked.speed_m_s, nothing));
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
