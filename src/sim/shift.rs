//! The side-shift along one drive: sensor numbers to controller to valve to cylinder to frame.

use super::frames::Frames;
use super::path::Path;
use crate::model::controller::law::{Arrival, Held, Law, Turns};
use crate::model::controller::{AnyLaw, Kind, ValveKind};
use crate::model::hydraulics::{DirectionalValve, Hydraulics, ProportionalValve};
use crate::model::setup::Setup;
use crate::model::vector::Lanes;

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
    match (kind.valve(), AnyLaw::of(kind, setup, path.speed_m_s)) {
        (Some(valve), Some(law)) => run_law(setup, path, sensors, valve, law, out),
        _ => stay(path, out),
    }
}

/// A locked frame.
fn stay(path: &Path, out: &mut Shift) {
    let ticks = path.station_m.len();
    *out = Shift {
        shift_m: vec![0.0; ticks],
        command: vec![0.0; ticks],
        at_stop: vec![false; ticks],
        saturated: Vec::new(),
    };
}

/// The same for any law on one of the machine's valves. Without that valve the frame stays where it is.
pub fn run_law(
    setup: &Setup,
    path: &Path,
    sensors: &Frames,
    valve: ValveKind,
    mut law: impl Law<1>,
    out: &mut Shift,
) {
    let Some(mut valve) = Valve::of(setup, valve) else {
        return stay(path, out);
    };
    let ticks = path.station_m.len();
    out.shift_m.clear();
    out.command.clear();
    out.at_stop.clear();
    out.saturated.clear();
    let lane = |series: &[f64]| series.iter().map(|&x| Lanes([x])).collect::<Vec<_>>();
    let (turn_rad, integral) = (lane(&sensors.turn_rad), lane(&sensors.turn_integral_rad_s));
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
            // Within the tick the frame goes on at the last one's speed: this tick's own needs commands that are yet to come.
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
            let exposure = exposures[arrived];
            // Also before it starts, so that tracker and memory are full by then; its command is dropped below.
            let asked = law.command(&Arrival {
                exposed_s: frame.exposed_s,
                now_s,
                number_m: Lanes([frame.number_m.unwrap_or(0.0)]),
                found: Lanes([f64::from(u8::from(frame.number_m.is_some()))]),
                frame_exposed_m: Lanes([exposure.frame_m]),
                reading_exposed_m: Lanes([exposure.reading_m]),
                reading_m: Lanes([reading_m]),
                yaw_rad_s: Lanes([frame.yaw_rad_s]),
                turns: Turns {
                    turn_rad: &turn_rad,
                    turn_integral_rad_s: &integral,
                    step_s: dt,
                },
            });
            let started = now_s >= setup.run.controller_starts_s(path.lowered_s);
            command = if started { asked.command.0[0] } else { 0.0 };
            valve.take(now_s, command);
            let speed_m_s = if started { asked.speed_m_s.0[0] } else { 0.0 };
            // What the valve really got: a predictor fed with commands that were dropped would wait for a shift that never comes.
            law.applied(now_s, Lanes([speed_m_s]));
            out.saturated
                .push((now_s, started && asked.saturated.0[0] != 0.0));
            arrived += 1;
        }

        let wanted_m_s = valve.speed_over(t0, t1);
        let before_m = cylinder_m;
        cylinder_m = (cylinder_m + wanted_m_s * dt).clamp(-half_m, half_m);
        // From the way made: at its stop the cylinder stands, whatever the valve gives.
        speed_m_s = (cylinder_m - before_m) / dt;
        // With play the frame stays where it is until the cylinder takes it along.
        frame_m = frame_m.clamp(cylinder_m - slack_m, cylinder_m + slack_m);
    }
}

/// Where the frame stood when a camera frame was exposed.
#[derive(Clone, Copy, Debug)]
struct Exposure {
    frame_m: f64,
    reading_m: f64,
}

/// The valve with its memory; speeds of the frame to the left and right.
enum Valve {
    Proportional {
        commands: Held<1>,
        cursor: usize,
        dead_s: f64,
        lag: Option<Lag>,
        spool: f64,
        law: FlowLaw,
    },
    Directional {
        commands: Held<1>,
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
    fn of(setup: &Setup, kind: ValveKind) -> Option<Valve> {
        let hydraulics = &setup.hydraulics;
        match kind {
            ValveKind::Directional => hydraulics
                .directional
                .map(|valve| Valve::directional(&valve, hydraulics)),
            ValveKind::Proportional => hydraulics
                .proportional
                .map(|valve| Valve::proportional(&valve, hydraulics, setup.run.step_s)),
        }
    }

    fn proportional(valve: &ProportionalValve, hydraulics: &Hydraulics, step_s: f64) -> Valve {
        let lag_s = valve.spool_lag_s * hydraulics.cold_lag_factor;
        let lag = (lag_s > 0.0).then(|| {
            let decay = libm::exp(-step_s / lag_s);
            Lag {
                decay,
                // Mean of the decay over the tick, exact for any tick; the spool's place at its end would run ahead.
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
                // At 0 nothing is jumped over, or the valve would never close.
                let jumped = if command == 0.0 {
                    0.0
                } else {
                    law.jump.copysign(command) + (1.0 - law.jump) * command
                };
                commands.push(now_s, Lanes([jumped]));
            }
            Valve::Directional { commands, .. } => commands.push(now_s, Lanes([command])),
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
                        sum += value.0[0] * duration
                    });
                let input = sum / (t1 - t0);
                let mean = match lag {
                    // Mean first: it needs the spool's place at the beginning of the tick.
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
                    // Opening and closing take different times: where the spool stands follows from two moments of the past, and either may
                    // fall inside the tick.
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
                    // Rounding must not leave a step of 0: the loop would not end.
                    let next = next_open.min(next_close).min(t1).max(t + 1e-12);
                    let position = directional_position(
                        commands.before(cursor[0]).0[0],
                        commands.before(cursor[1]).0[0],
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
