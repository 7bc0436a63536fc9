//! From the field and back: logs of positions, readings of a tape and counts of plants in; wander, errors of the setting and moves out.
//!
//! [`log::Logs`] reads logs, fix by fix; [`passes`] splits them and takes planned lines off; [`receiver`] says what they can carry;
//! [`wander`] fits the tractor's wander by [`kalman`]; [`notebook`] reads what was typed behind the machine, [`tape`] takes it apart,
//! [`moves()`] says what to do. [`look`] does all of it. Nothing here knows a scenario.

pub mod between;
pub mod climb;
mod clock;
mod geojson;
mod gpx;
pub mod hands;
pub mod kalman;
pub mod line;
pub mod log;
pub mod moves;
mod nmea;
pub mod notebook;
pub mod passes;
pub mod plane;
pub mod receiver;
#[cfg(test)]
mod recovery;
pub mod seen;
pub(crate) mod table;
pub mod tape;
#[cfg(test)]
mod tests;
pub mod wander;

use serde::Serialize;

use kalman::Drift;
use log::{Logs, Quality};
use moves::{Move, moves};
use notebook::{Counts, Reading};
use passes::{Antenna, Pass, PassNumbers, Planned, split, thinned};
use receiver::{Receiver, Verdict, judge};
use tape::{TwoWay, Value, two_way};
use wander::{Estimate, Wander, fit, observed_sd_m};

pub use table::role_names;

/// No number of a log is larger, m.
pub const FARTHEST_M: f64 = 1e8;

/// Points of which the likelihood is worked out, about: more would tell the wander no better than a few passes differ.
pub(crate) const POINTS: usize = 2000;

/// Points that are used stand at least so far apart, m.
pub(crate) const POINT_STEP_M: f64 = 0.4;

/// What is wrong with a file from the field.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FieldError {
    /// A line.
    #[error("{file}:{line}: {what}")]
    Line {
        /// File as the caller named it.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong and what would be right.
        what: String,
    },
    /// It cannot be read on.
    #[error("{file}:{line}: cannot be read: {said}")]
    Read {
        /// File as the caller named it.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What the system said.
        said: String,
    },
}

/// How the logs are to be read.
#[derive(Clone, Debug, Default)]
pub struct How {
    /// Where the antenna stands.
    pub antenna: Antenna,
    /// Planned lines.
    pub planned: Planned,
    /// Quality that the logs do not write.
    pub quality: Option<Quality>,
    /// Drift by a parked log.
    pub drift: Option<Drift>,
}

/// What the logs tell.
#[derive(Clone, Debug)]
pub struct Tracks {
    /// The receiver.
    pub receiver: Receiver,
    /// All passes.
    pub passes: Vec<Pass>,
    /// Their wander; none where the verdict refuses it.
    pub wander: Option<Wander>,
}

/// Judges logs, splits them and fits the wander of their passes.
pub fn tracks(logs: &Logs, how: &How) -> Tracks {
    let least = receiver::quality(logs).filter(|quality| *quality > Quality::Alone);
    let passes = split(logs, least, how.antenna, &how.planned);
    let receiver = judge(logs, how.quality, how.drift, &passes);
    let used = thinned(&passes, POINTS, POINT_STEP_M);
    let drift = how
        .drift
        .filter(|_| used.iter().all(|pass| !pass.times_s.is_empty()));
    let wander = match receiver.verdict {
        Verdict::Wander => fit(&used, drift),
        Verdict::UpperLimit => fit(&used, None)
            .zip(observed_sd_m(&used))
            .map(|(wander, observed_m)| wander.at_most(observed_m)),
        _ => None,
    };
    Tracks {
        receiver,
        passes,
        wander,
    }
}

/// A row and its own error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct RowOffset {
    /// Number of the row.
    pub row: u32,
    /// Tools of this row to the left of those of the mean row, m.
    #[serde(flatten)]
    pub offset_m: Estimate,
}

/// Plants of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct RowCounts {
    /// Number of the row.
    pub row: u32,
    /// Plants looked at.
    pub plants: u64,
    /// Cut.
    pub cut: u64,
    /// Touched, and not cut.
    pub touched: u64,
}

/// What a notebook tells.
#[derive(Clone, Debug, PartialEq)]
pub struct NotebookFindings {
    /// The two-way analysis; none without enough readings.
    pub found: Option<TwoWay>,
    /// Each row's own error.
    pub row_offsets: Vec<RowOffset>,
    /// What to do.
    pub moves: Vec<Move>,
    /// Plants counted by row.
    pub counts: Vec<RowCounts>,
    /// Readings of the tape.
    pub readings: usize,
}

/// Takes a notebook apart.
pub fn notes(readings: &[Reading]) -> NotebookFindings {
    let mut rows: Vec<u32> = readings
        .iter()
        .filter(|reading| reading.gaps_m.is_some())
        .map(|reading| reading.row)
        .collect();
    rows.sort_unstable();
    rows.dedup();
    let mut places: Vec<&str> = readings
        .iter()
        .filter(|reading| reading.gaps_m.is_some())
        .map(|reading| reading.place.as_str())
        .collect();
    places.sort_unstable();
    places.dedup();
    let value = |reading: &Reading| {
        Some(Value {
            value: reading.tools_left_m()?,
            place: places.binary_search(&reading.place.as_str()).ok()?,
            row: rows.binary_search(&reading.row).ok()?,
        })
    };
    let values: Vec<Value> = readings.iter().filter_map(value).collect();
    let found = two_way(&values);
    let offsets = found.iter().flat_map(|found| &found.rows);
    let row_offsets = rows.iter().zip(offsets).map(|(row, offset_m)| RowOffset {
        row: *row,
        offset_m: *offset_m,
    });
    NotebookFindings {
        row_offsets: row_offsets.collect(),
        moves: found
            .as_ref()
            .map_or_else(Vec::new, |found| moves(found, &rows)),
        found,
        counts: counted(readings),
        readings: values.len(),
    }
}

fn counted(readings: &[Reading]) -> Vec<RowCounts> {
    let mut counts: std::collections::BTreeMap<u32, Counts> = std::collections::BTreeMap::new();
    for reading in readings {
        if let Some(more) = reading.counts {
            let sum = counts.entry(reading.row).or_default();
            sum.plants = sum.plants.saturating_add(more.plants);
            sum.cut = sum.cut.saturating_add(more.cut);
            sum.touched = sum.touched.saturating_add(more.touched);
        }
    }
    let row = |(row, sum): (u32, Counts)| RowCounts {
        row,
        plants: sum.plants,
        cut: sum.cut,
        touched: sum.touched,
    };
    counts.into_iter().map(row).collect()
}

/// All that logs and notebook tell, in SI units, as `--json` prints it.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Findings {
    /// The receiver; none without a log.
    pub receiver: Option<Receiver>,
    /// Passes.
    pub passes: Vec<PassNumbers>,
    /// Wander; none without a log that carries it.
    pub wander: Option<Wander>,
    /// Alignment common to all rows, tools left of the rows positive; none without a notebook.
    pub alignment_error_m: Option<Estimate>,
    /// Each row's own.
    pub row_offsets: Vec<RowOffset>,
    /// Tool error of the moment, from place to place.
    pub tool_error_sd_m: Option<Estimate>,
    /// Scatter left over.
    pub scatter_sd_m: Option<Estimate>,
    /// What to do.
    pub moves: Vec<Move>,
    /// Plants counted by row.
    pub counts: Vec<RowCounts>,
    /// Places at which the tape was read.
    pub places: usize,
}

/// Puts both together.
pub fn look(tracks: Option<&Tracks>, notes: Option<&NotebookFindings>) -> Findings {
    let found = notes.and_then(|notes| notes.found.as_ref());
    Findings {
        receiver: tracks.map(|tracks| tracks.receiver),
        passes: tracks.map_or_else(Vec::new, |tracks| {
            tracks.passes.iter().map(Pass::numbers).collect()
        }),
        wander: tracks.and_then(|tracks| tracks.wander),
        alignment_error_m: found.map(|found| found.mean),
        row_offsets: notes.map_or_else(Vec::new, |notes| notes.row_offsets.clone()),
        tool_error_sd_m: found.map(|found| found.place_sd),
        scatter_sd_m: found.map(|found| found.scatter_sd),
        moves: notes.map_or_else(Vec::new, |notes| notes.moves.clone()),
        counts: notes.map_or_else(Vec::new, |notes| notes.counts.clone()),
        places: found.map_or(0, |found| found.places),
    }
}
