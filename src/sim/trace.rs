//! A pass written down for people: what happened where.

use crate::model::controller::Kind;

/// One pass under one controller at one speed and clearance.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Controller.
    pub kind: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance that decides which plants are struck, m.
    pub clearance_m: f64,
    /// Seed of the study.
    pub seed: u64,
    /// Number of the pass in the study, from 0.
    pub pass: u64,
    /// Nominal lateral position of every row, m, left positive, leftmost first.
    pub row_offset_m: Vec<f64>,
    /// Distance of the tool line at which the counted stretch begins, m.
    pub entry_length_m: f64,
    /// Half of the stroke, m.
    pub half_stroke_m: f64,
    /// One sample per tick, in order of time.
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

/// What became of a plant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// No edge came near.
    Spared,
    /// An edge entered the protected radius.
    Struck,
    /// An edge cut the stem.
    Cut,
}

impl Fate {
    /// Its name in outputs.
    pub fn name(self) -> &'static str {
        match self {
            Fate::Spared => "spared",
            Fate::Struck => "struck",
            Fate::Cut => "cut",
        }
    }
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
    /// Nearest clearance at which it would have been spared, m.
    pub needed_clearance_m: f64,
}
