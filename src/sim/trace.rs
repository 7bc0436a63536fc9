//! A pass written down for people: what happened where.

use super::pass::{Pass, Shifted};
pub use super::plants::Fate;
use super::plants::fate;
use crate::model::controller::Kind;
use crate::model::setup::Setup;

/// One pass under one controller at one speed and clearance.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Controller.
    pub kind: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance that decides which plants are cut and touched, m.
    pub clearance_m: f64,
    /// Seed of the study.
    pub seed: u64,
    /// Number of the pass in the study, from 0.
    pub pass: u64,
    /// Nominal lateral position of every row, m, left positive, leftmost first.
    pub row_offset_m: Vec<f64>,
    /// Distance of the tool line at which the entry stretch ends, m.
    pub entry_length_m: f64,
    /// How many times the row holds the entry stretch, and the rest of the pass ([`crate::model::setup::Run::of_the_row`]).
    pub of_the_row: [f64; 2],
    /// Half of the stroke, m.
    pub half_stroke_m: f64,
    /// Distance of the rear axle ahead of the tool line, m.
    pub axle_ahead_m: f64,
    /// Distance of the camera's looking point ahead of the tool line, m.
    pub camera_ahead_m: f64,
    /// Radius about a plant that no edge may enter, m.
    pub protected_radius_m: f64,
    /// Radius of a stem, m.
    pub stem_radius_m: f64,
    /// One sample per tick, in order of time, as long as the tractor has not lost the row.
    pub samples: Vec<Sample>,
    /// Every plant.
    pub plants: Vec<Plant>,
}

/// State at one tick. Lateral values in m, left positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Time since lowering, s.
    pub time_s: f64,
    /// Distance of the tool line along the row line, m.
    pub station_m: f64,
    /// Rear axle from the planned line.
    pub axle_m: f64,
    /// Heading of the tractor relative to the line, rad.
    pub heading_rad: f64,
    /// Guided rows from the planned line, at the tool line.
    pub row_m: f64,
    /// Tool line of the unshifted frame from the planned line.
    pub frame_m: f64,
    /// Shift that would put the tools on the row.
    pub wanted_shift_m: f64,
    /// Shift of the frame.
    pub shift_m: f64,
    /// Tools from the guided rows: `frame_m + shift_m - row_m`.
    pub tool_error_m: f64,
    /// Valve command, -1 (right) to 1 (left).
    pub command: f64,
    /// False while the camera finds no row.
    pub seen: bool,
}

/// One plant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plant {
    /// Row, 0 at the left.
    pub row: usize,
    /// Distance along the row line, m.
    pub station_m: f64,
    /// Lateral position from the planned line of its row, m, left positive.
    pub lateral_m: f64,
    /// What became of it.
    pub fate: Fate,
    /// Nearest clearance at which it would have been spared, m; `None` where no edge passed it: a frame lowered askew spares it, a pass
    /// that lost the row counts it as cut.
    pub needed_clearance_m: Option<f64>,
}

/// Which pass, controller, speed and clearance a trace shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Controller.
    pub kind: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Seed of the study.
    pub seed: u64,
    /// Number of the pass, from 0.
    pub pass: u64,
}

impl Trace {
    /// Simulates one pass and writes down what happened where.
    pub fn of(setup: &Setup, view: View) -> Trace {
        let pass = Pass::drive(setup, view.seed, view.pass, view.speed_m_s);
        let shifted = pass.shift(setup, view.kind);
        Trace {
            kind: view.kind,
            speed_m_s: view.speed_m_s,
            clearance_m: view.clearance_m,
            seed: view.seed,
            pass: view.pass,
            row_offset_m: setup.rows.offset_m.clone(),
            entry_length_m: setup.run.entry_length_m,
            of_the_row: setup.run.of_the_row(),
            half_stroke_m: 0.5 * setup.hydraulics.stroke_m,
            axle_ahead_m: setup.tools.tool_line_m,
            camera_ahead_m: setup.tools.tool_line_m - setup.camera_point_m(),
            protected_radius_m: setup.plants.protected_radius_m,
            stem_radius_m: setup.plants.stem_radius_m,
            samples: samples(setup, &pass, &shifted),
            plants: plants(setup, &pass, &shifted, view.clearance_m),
        }
    }
}

fn samples(setup: &Setup, pass: &Pass, shifted: &Shifted) -> Vec<Sample> {
    let path = &pass.path;
    let tool_m = setup.tools.tool_line_m;
    let camera_m = setup.camera_point_m();
    let mut blind = pass.blind.iter().peekable();
    (0..path.kept_ticks)
        .filter(|&tick| (0.0..=setup.run.length_m).contains(&(path.station_m[tick] - tool_m)))
        .map(|tick| {
            let looked_m = path.station_m[tick] - camera_m;
            while blind.peek().is_some_and(|&&(_, to)| to <= looked_m) {
                blind.next();
            }
            Sample {
                time_s: tick as f64 * path.step_s - path.lowered_s,
                station_m: path.station_m[tick] - tool_m,
                axle_m: path.axle_m[tick],
                // As long as the row is not lost the heading is less than a right angle.
                heading_rad: libm::asin(path.tractor_sin[tick]),
                row_m: path.row_m[tick],
                frame_m: path.frame_m[tick],
                wanted_shift_m: path.wanted_m(tick),
                shift_m: shifted.shift_m[tick],
                tool_error_m: shifted.shift_m[tick] - path.wanted_m(tick),
                command: shifted.command[tick],
                seen: blind.peek().is_none_or(|&&(from, _)| looked_m < from),
            }
        })
        .collect()
}

fn plants(setup: &Setup, pass: &Pass, shifted: &Shifted, clearance_m: f64) -> Vec<Plant> {
    pass.meetings
        .iter()
        .map(|meeting| {
            let place = pass.plants[meeting.row][meeting.plant];
            let centre_m = meeting.needed_m(&shifted.shift_m);
            Plant {
                row: meeting.row,
                station_m: place.station_m,
                lateral_m: place.lateral_m,
                fate: fate(setup, centre_m, clearance_m),
                needed_clearance_m: Some(centre_m + setup.plants.protected_radius_m)
                    // Infinity is how counting says that no edge came by; it is no length to show.
                    .filter(|needed_m| needed_m.is_finite()),
            }
        })
        .collect()
}
