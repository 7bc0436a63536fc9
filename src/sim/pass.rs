//! One pass at one speed, simulated alone and written down tick by tick.

use super::drive::{Drive, Own, Stand};
use super::ground::Ground;
use super::plants::{Meeting, PlantPlace, meetings, place};
use super::sensors::Sensors;
use super::shift::{self, Shift};
use crate::model::controller::law::Law;
use crate::model::controller::{Kind, ValveKind};
use crate::model::setup::Setup;
use crate::model::vector::Lanes;

/// One pass at one speed, driven and observed: all that its controllers share.
#[derive(Clone, Debug)]
pub struct Pass {
    /// Motion of tractor and unshifted implement.
    pub path: Path,
    /// What the sensors report.
    pub sensors: Sensors<1>,
    /// Plants of every row, rising stations.
    pub plants: Vec<Vec<PlantPlace>>,
    /// Moments at which edges pass plants.
    pub meetings: Vec<Meeting>,
    /// Stretches (from, to) in which the camera finds no row, m, rising.
    pub blind: Vec<(f64, f64)>,
    own: Own<1>,
    drive: Drive<1>,
}

impl Pass {
    /// Drives one pass at one speed (m/s, above 0 and at most [`super::ground::TOP_SPEED_M_S`]).
    pub fn drive(setup: &Setup, seed: u64, pass: u64, speed_m_s: f64) -> Self {
        let own = Own::of(std::array::from_ref(setup), [pass]);
        let ground = Ground::draw(setup, seed, [pass]);
        let drive = Drive::new(setup, &ground, seed, &own, speed_m_s);
        let sensors = Sensors::observe(setup, &ground, &drive, seed, &own);
        let path = Path::of(setup, &ground, &drive);
        let plants = place(setup, &ground, seed, pass);
        let meetings = meetings(setup, &ground, &drive, &path, &plants);
        let [blind] = <[_; 1]>::try_from(ground.blind).unwrap_or_default();
        Self {
            path,
            sensors,
            plants,
            meetings,
            blind,
            own,
            drive,
        }
    }

    /// Runs one controller; one that the setup lacks stays locked.
    pub fn shift(&self, setup: &Setup, kind: Kind) -> Shifted {
        let mut out = Shift::default();
        let (own, driven, sensors) = (&self.own, self.drive.driven(), &self.sensors);
        shift::run(setup, own, driven, sensors, kind, 1, &mut out);
        Shifted::of(&out)
    }

    /// Runs any law on one of the machine's valves: a controller of one's own.
    pub fn shift_under(&self, setup: &Setup, valve: ValveKind, law: impl Law<1>) -> Shifted {
        let mut out = Shift::default();
        let (own, driven, sensors) = (&self.own, self.drive.driven(), &self.sensors);
        shift::run_law(setup, own, driven, sensors, valve, law, 1, &mut out);
        Shifted::of(&out)
    }
}

/// What one speed makes of the ground: a value at every tick of the side-shift, straight between the steps of the [`Drive`].
#[derive(Clone, Debug)]
pub struct Path {
    /// Speed of the rear axle, m/s.
    pub speed_m_s: f64,
    /// Tick, s.
    pub step_s: f64,
    /// Moment of lowering after tick 0, s: the tool line stands at distance 0.
    pub lowered_s: f64,
    /// Distance of the rear axle along the line, m.
    pub station_m: Vec<f64>,
    /// Offset of the rear axle from the planned line, m.
    pub axle_m: Vec<f64>,
    /// Sine of the heading of the tractor relative to the line.
    pub tractor_sin: Vec<f64>,
    /// Sine of the heading of the frame (tractor's if rigid, implement's if drawn) relative to the line.
    pub frame_sin: Vec<f64>,
    /// Tool line of the unshifted frame from the planned line, m.
    pub frame_m: Vec<f64>,
    /// Guided rows at the tool line from the planned line, m.
    pub row_m: Vec<f64>,
    /// Guided rows at the rear axle from the planned line, m.
    pub axle_row_m: Vec<f64>,
    /// Number of ticks before the tractor loses the row; all of them if it never does.
    pub kept_ticks: usize,
}

impl Path {
    fn of(setup: &Setup, ground: &Ground<1>, drive: &Drive<1>) -> Self {
        let tool_m = setup.tools.tool_line_m;
        let ticks = 0..drive.driven().ticks;
        let stands: Vec<Stand<1>> = ticks
            .map(|tick| drive.at(tick as f64 * setup.run.step_s))
            .collect();
        let each = |value: &dyn Fn(&Stand<1>) -> Lanes<1>| {
            stands.iter().map(|stand| value(stand).0[0]).collect()
        };
        Self {
            speed_m_s: drive.speed_m_s,
            step_s: setup.run.step_s,
            lowered_s: drive.lowered_s.0[0],
            station_m: each(&|stand| stand.station_m),
            axle_m: each(&|stand| stand.axle_m),
            tractor_sin: each(&|stand| stand.sin),
            frame_sin: each(&|stand| stand.frame_sin),
            frame_m: each(&|stand| stand.frame_m(setup, ground, tool_m)),
            row_m: each(&|stand| ground.guided_row_m(stand.station_m - tool_m)),
            axle_row_m: each(&|stand| ground.guided_row_m(stand.station_m)),
            kept_ticks: drive.kept_ticks(0),
        }
    }

    /// Shift that would put the tools on the row at a tick, m.
    pub fn wanted_m(&self, tick: usize) -> f64 {
        self.row_m[tick] - self.frame_m[tick]
    }

    /// True if the tractor loses the row on its way.
    pub fn loses_the_row(&self) -> bool {
        self.kept_ticks < self.station_m.len()
    }

    /// Linear interpolation of a series of this path at a time from tick 0, s; held beyond the ends.
    pub fn at(&self, series: &[f64], time_s: f64) -> f64 {
        let x = (time_s / self.step_s).clamp(0.0, (series.len() - 1) as f64);
        let i = (x as usize).min(series.len() - 2);
        series[i] + (x - i as f64) * (series[i + 1] - series[i])
    }
}

/// What the frame did under one controller, at every tick of the path.
#[derive(Clone, Debug)]
pub struct Shifted {
    /// Shift of the frame, m, left positive.
    pub shift_m: Vec<f64>,
    /// Valve command in force, -1 (right) to 1 (left).
    pub command: Vec<f64>,
    /// True while the cylinder stands at an end stop.
    pub at_stop: Vec<bool>,
    /// For every frame whose number arrived: tick of arrival, and whether the valve was asked for all it has.
    pub saturated: Vec<(usize, bool)>,
}

impl Shifted {
    fn of(shift: &Shift<1>) -> Self {
        let each = |series: &[Lanes<1>]| series.iter().map(|value| value.0[0]).collect();
        let is = |mask: &Lanes<1>| mask.0[0] != 0.0;
        Self {
            shift_m: each(&shift.shift_m),
            command: each(&shift.command),
            at_stop: shift.at_stop.iter().map(is).collect(),
            saturated: shift
                .saturated
                .iter()
                .map(|(tick, mask)| (*tick, is(mask)))
                .collect(),
        }
    }
}
