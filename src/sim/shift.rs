//! The side-shift of passes side by side: sensor numbers to controller to valve to cylinder to frame. Frames and ticks keep step, so
//! exposures, arrivals and dead times fall together in all lanes.
//!
//! Each tick, in this order:
//!
//! ```text
//! note     where the frame stands
//! expose   frames exposed in this tick note where the frame stands
//! arrive   numbers that arrive in this tick: tracker, controller, new command (held until the next)
//! valve    mean over the tick of the command a dead time ago; spool lag
//! move     flow, pump limit, end stops, backlash
//! ```
//!
//! Exposures, arrivals and the dead time fall inside ticks and are interpolated there. In ticks in which nothing of that happens only the
//! last two steps are taken.

use super::drive::{Driven, Own};
use super::sensors::Sensors;
use super::valve::{Directional, Proportional, Valve};
use crate::model::controller::law::{Arrival, Law, Turns};
use crate::model::controller::{AnyLaw, Kind, ValveKind};
use crate::model::recent::Recent;
use crate::model::setup::Setup;
use crate::model::vector::{Lanes, one_if};

/// What the frames did at the ticks that were asked for.
#[derive(Clone, Debug, Default)]
pub struct Shift<const N: usize> {
    /// Shift of the frame at every `every`-th tick, m.
    pub shift_m: Vec<Lanes<N>>,
    /// Valve command in force at that tick, -1 (right) to 1 (left).
    pub command: Vec<Lanes<N>>,
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
    driven: Driven<N>,
    sensors: &Sensors<N>,
    kind: Kind,
    every: usize,
    out: &mut Shift<N>,
) {
    let law = AnyLaw::of(kind, setup, driven.speed_m_s);
    match (kind.valve(), law) {
        (Some(valve), Some(law)) => {
            run_law(setup, own, driven, sensors, valve, law, every, out);
        }
        _ => stay(driven, every, out),
    }
}

/// The same, pass by pass, for machines whose hydraulics differ from pass to pass.
#[inline(never)]
pub fn run_apart<const N: usize>(
    setups: &[Setup; N],
    own: &Own<N>,
    driven: Driven<N>,
    sensors: &Sensors<N>,
    kind: Kind,
    every: usize,
    out: &mut Shift<N>,
) {
    let alone: [Shift<1>; N] = std::array::from_fn(|lane| {
        let mut one = Shift::default();
        run(
            &setups[lane],
            &own.lane(lane),
            driven.lane(lane),
            &sensors.lane(lane),
            kind,
            every,
            &mut one,
        );
        one
    });
    let together = |series: fn(&Shift<1>) -> &Vec<Lanes<1>>| {
        (0..driven.ticks.div_ceil(every))
            .map(|look| Lanes::from_fn(|lane| series(&alone[lane])[look].0[0]))
            .collect()
    };
    out.shift_m = together(|one| &one.shift_m);
    out.command = together(|one| &one.command);
    out.at_stop = together(|one| &one.at_stop);
    // Arrivals keep step with the ticks, whatever the valve.
    let arrivals = alone[0].saturated.iter().enumerate();
    out.saturated = arrivals
        .map(|(arrival, &(tick, _))| {
            let asked = Lanes::from_fn(|lane| alone[lane].saturated[arrival].1.0[0]);
            (tick, asked)
        })
        .collect();
}

/// The same for any law on one of the machine's valves. Without that valve the frame stays where it is.
#[inline(always)]
#[allow(clippy::too_many_arguments)]
pub fn run_law<const N: usize>(
    setup: &Setup,
    own: &Own<N>,
    driven: Driven<N>,
    sensors: &Sensors<N>,
    valve: ValveKind,
    law: impl Law<N>,
    every: usize,
    out: &mut Shift<N>,
) {
    match valve {
        ValveKind::Directional => match Directional::of(setup) {
            Some(valve) => move_frame(setup, own, driven, sensors, law, every, valve, out),
            None => stay(driven, every, out),
        },
        ValveKind::Proportional => match Proportional::of(setup) {
            Some(valve) => move_frame(setup, own, driven, sensors, law, every, valve, out),
            None => stay(driven, every, out),
        },
    }
}

/// A locked frame.
fn stay<const N: usize>(driven: Driven<N>, every: usize, out: &mut Shift<N>) {
    let looks = driven.ticks.div_ceil(every);
    out.saturated.clear();
    for series in [&mut out.shift_m, &mut out.command, &mut out.at_stop] {
        series.clear();
        series.resize(looks, Lanes::default());
    }
}

#[inline(always)]
#[allow(clippy::too_many_arguments)]
fn move_frame<const N: usize>(
    setup: &Setup,
    own: &Own<N>,
    driven: Driven<N>,
    sensors: &Sensors<N>,
    mut law: impl Law<N>,
    every: usize,
    mut valve: impl Valve<N>,
    out: &mut Shift<N>,
) {
    out.shift_m.clear();
    out.command.clear();
    out.at_stop.clear();
    out.saturated.clear();
    let dt = setup.run.step_s;
    let half_m = 0.5 * setup.hydraulics.stroke_m;
    let (low, high) = (Lanes::all(-half_m), Lanes::all(half_m));
    let starts_s = driven
        .lowered_s
        .map(|lowered_s| setup.run.controller_starts_s(lowered_s));
    let entry_m = own.entry_shift_m.clamp(low, high);
    let mut rod = Rod {
        ends_m: (low, high),
        slack_m: 0.5 * setup.hydraulics.backlash_m,
        cylinder_m: entry_m,
        before_m: entry_m,
        frame_m: entry_m,
    };
    // Frames on their way to the controller, and some more: several may be exposed in one tick.
    let on_their_way = (setup.camera.latency_s + dt) / setup.camera.frame_s;
    let mut exposures = Recent::of(on_their_way as usize + 3);
    let mut arrived = 0;
    let mut command = Lanes::default();
    let mut next_look = 0;

    let mut tick = 0;
    while tick < driven.ticks {
        let t0 = tick as i64 as f64 * dt;
        let t1 = t0 + dt;
        if tick == next_look {
            next_look += every;
            out.shift_m.push(rod.frame_m);
            out.command.push(command);
            out.at_stop.push(
                rod.cylinder_m
                    .abs()
                    .zip(high, |q, half| one_if(q >= half * (1.0 - 1e-12))),
            );
        }
        while let Some(frame) = sensors
            .frames
            .get(exposures.len())
            .filter(|frame| frame.exposed_s < t1)
        {
            // Within the tick the frame goes on at the last one's speed: this tick's own needs commands that are yet to come. That speed is
            // the way made: at its stop the cylinder stands, whatever the valve gives.
            let moved_m = rod.way_m() * ((frame.exposed_s - t0) / dt);
            exposures.push(Exposure {
                frame_m: rod.frame_m + moved_m,
                reading_m: (rod.cylinder_m + moved_m).clamp(low, high)
                    + frame.position_noise_exposed_m,
            });
        }
        while arrived < exposures.len() {
            let frame = &sensors.frames[arrived];
            let now_s = frame.exposed_s + setup.camera.latency_s;
            if now_s >= t1 {
                break;
            }
            let reading_m = (rod.cylinder_m + rod.way_m() * ((now_s - t0) / dt)).clamp(low, high)
                + frame.position_noise_arrived_m;
            let exposure: Exposure<N> = *exposures.at(arrived);
            let started = starts_s.map(|starts_s| one_if(now_s >= starts_s));
            // Also before it starts, so that tracker and memory are full by then; its command is dropped below.
            let asked = law.command(&Arrival {
                exposed_s: frame.exposed_s,
                now_s,
                number_m: frame.number_m,
                found: frame.found,
                frame_exposed_m: exposure.frame_m,
                reading_exposed_m: exposure.reading_m,
                reading_m,
                yaw_rad_s: frame.yaw_rad_s,
                acts: started,
                turns: Turns {
                    turn_rad: &sensors.turn_rad,
                    turn_integral_rad_s: &sensors.turn_integral_rad_s,
                    step_s: setup.run.drive_step_s(),
                },
            });
            let nothing = Lanes::default();
            command = Lanes::select(started, asked.command, nothing);
            valve.take(now_s, command);
            // What the valve really got: a predictor fed with commands that were dropped would wait for a shift that never comes.
            law.applied(now_s, Lanes::select(started, asked.speed_m_s, nothing));
            out.saturated.push((tick, asked.saturated * started));
            arrived += 1;
        }
        rod.go(valve.speed_over(t0, t1) * dt);
        tick += 1;
        // Until something happens only spool, cylinder and frame go on.
        let next_s = |frame: usize| {
            sensors
                .frames
                .get(frame)
                .map_or(f64::INFINITY, |frame| frame.exposed_s)
        };
        let quiet_s = valve
            .steady_until(t1)
            .min(next_s(exposures.len()))
            .min(next_s(arrived) + setup.camera.latency_s);
        let (next_tick, first) = (next_look.min(driven.ticks), tick);
        while tick < next_tick && tick as i64 as f64 * dt + dt <= quiet_s {
            tick += 1;
        }
        valve.steadily(tick - first, dt, &mut rod);
    }
}

/// Cylinder and frame.
pub(super) struct Rod<const N: usize> {
    /// End stops of the cylinder, m.
    ends_m: (Lanes<N>, Lanes<N>),
    /// Play of the frame about the cylinder, either way, m.
    slack_m: f64,
    cylinder_m: Lanes<N>,
    /// The cylinder a tick ago.
    before_m: Lanes<N>,
    frame_m: Lanes<N>,
}

impl<const N: usize> Rod<N> {
    /// Way of the cylinder in the last tick, m.
    #[inline(always)]
    fn way_m(&self) -> Lanes<N> {
        self.cylinder_m - self.before_m
    }

    /// Goes on by a tick, as far as the end stops let it.
    #[inline(always)]
    pub(super) fn go(&mut self, way_m: Lanes<N>) {
        let ((low, high), slack_m) = (self.ends_m, self.slack_m);
        self.before_m = self.cylinder_m;
        self.cylinder_m = (self.cylinder_m + way_m).clamp(low, high);
        // With play the frame stays where it is until the cylinder takes it along.
        self.frame_m = if slack_m > 0.0 {
            let (cylinder_m, frame_m) = (self.cylinder_m, self.frame_m);
            frame_m.clamp(cylinder_m - slack_m, cylinder_m + slack_m)
        } else {
            self.cylinder_m
        };
    }
}

/// Where the frames stood when a camera frame was exposed.
#[derive(Clone, Copy, Default)]
struct Exposure<const N: usize> {
    frame_m: Lanes<N>,
    reading_m: Lanes<N>,
}
