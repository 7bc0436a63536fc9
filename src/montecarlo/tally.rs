//! What passes add up to, for one controller at one speed: the only thing that is kept of a pass.

use serde::{Deserialize, Serialize};

use super::estimate::{RatioSums, SpreadSums};
use super::histogram::Histogram;
use crate::lanes::PassUnderController;
use crate::lanes::count::Expected;
use crate::model::driver::Driver;
use crate::model::setup::Setup;
use crate::sim::count::{Meeting, fate};
use crate::sim::path::Path;
use crate::sim::shift::Shift;
use crate::sim::trace::Fate;

/// Distance from the row within which working tools stay (1.5 in; common practice, no source), m.
pub const TRADE_ROOM_M: f64 = 0.038;

/// Sums over passes for one controller at one speed. Clearances in the order of the study.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tally {
    /// Struck plants by clearance, entry stretch left out.
    pub struck: Vec<RatioSums>,
    /// Cut plants by clearance, entry stretch left out.
    pub cut: Vec<RatioSums>,
    /// Struck plants by clearance in the entry stretch.
    pub entry_struck: Vec<RatioSums>,
    /// Cut plants by clearance in the entry stretch.
    pub entry_cut: Vec<RatioSums>,
    /// Struck plants by row at the working clearance and the smaller ones, entry stretch left out: `[row][clearance]`.
    pub rows: Vec<Vec<RatioSums>>,
    /// Tool error, entry stretch left out.
    pub tool_error: SpreadSums,
    /// Axle's offset from the row (satellite line: from the planned line), entry stretch left out.
    pub axle: SpreadSums,
    /// Size of the wanted shift; the fast engine fills it for the first controller only, since it is the same for all.
    pub demand: Histogram,
    /// Ticks (fast engine: looks) counted, entry stretch left out.
    pub ticks: u64,
    /// Ticks at an end stop.
    pub stop_ticks: u64,
    /// Ticks with the tools within [`TRADE_ROOM_M`] of the row.
    pub near_ticks: u64,
    /// Camera frames counted.
    pub frames: u64,
    /// Camera frames at which the valve was asked for all it has.
    pub saturated_frames: u64,
    /// Longest stretch with the tools further from the row than [`TRADE_ROOM_M`], m.
    pub longest_miss_m: f64,
}

impl Tally {
    /// An empty tally.
    pub fn new(rows: usize, clearances: usize) -> Self {
        let none = vec![RatioSums::default(); clearances];
        Self {
            struck: none.clone(),
            cut: none.clone(),
            entry_struck: none.clone(),
            entry_cut: none.clone(),
            rows: vec![none; rows],
            tool_error: SpreadSums::default(),
            axle: SpreadSums::default(),
            demand: Histogram::new(),
            ticks: 0,
            stop_ticks: 0,
            near_ticks: 0,
            frames: 0,
            saturated_frames: 0,
            longest_miss_m: 0.0,
        }
    }

    /// Adds one pass of the fast engine: expectations instead of counts, looks instead of ticks.
    pub fn add_expected(&mut self, pass: &PassUnderController, axle: [f64; 3]) {
        let counted = &pass.counted;
        let entry = &pass.entry;
        for clearance in 0..self.struck.len() {
            add_expected(&mut self.struck[clearance], counted, clearance);
            add_expected(&mut self.entry_struck[clearance], entry, clearance);
            self.cut[clearance].add(counted.cut[clearance], counted.plants);
            self.entry_cut[clearance].add(entry.cut[clearance], entry.plants);
            for (row, expected) in self.rows.iter_mut().zip(&pass.rows) {
                add_expected(&mut row[clearance], expected, clearance);
            }
        }
        let followed = &pass.followed;
        self.tool_error
            .add(followed.looks, followed.error_m, followed.error_sq_m2);
        let [looks, sum, sum_sq] = axle;
        self.axle.add(looks, sum, sum_sq);
        self.ticks += followed.looks as u64;
        self.stop_ticks += followed.at_stop as u64;
        self.near_ticks += followed.near as u64;
        self.frames += followed.frames as u64;
        self.saturated_frames += followed.saturated as u64;
        self.longest_miss_m = self.longest_miss_m.max(followed.longest_miss_m);
    }

    /// Adds one pass. `clearances_m` rising.
    pub fn add(
        &mut self,
        setup: &Setup,
        path: &Path,
        meetings: &[Meeting],
        shift: &Shift,
        clearances_m: &[f64],
    ) {
        self.add_plants(setup, meetings, shift, clearances_m);
        self.add_tracking(setup, path, shift);
    }

    fn add_plants(
        &mut self,
        setup: &Setup,
        meetings: &[Meeting],
        shift: &Shift,
        clearances_m: &[f64],
    ) {
        let mut counts = vec![Counts::new(clearances_m.len()); self.rows.len()];
        let mut entry = Counts::new(clearances_m.len());
        for meeting in meetings {
            let needed_m = meeting.needed_m(&shift.shift_m);
            let counts = if meeting.entry {
                &mut entry
            } else {
                &mut counts[meeting.row]
            };
            counts.add(setup, needed_m, clearances_m);
        }
        let mut total = Counts::new(clearances_m.len());
        for (row, counts) in counts.iter().enumerate() {
            total.merge(counts);
            for (clearance, sums) in self.rows[row].iter_mut().enumerate() {
                sums.add(counts.struck[clearance] as f64, counts.plants as f64);
            }
        }
        for clearance in 0..clearances_m.len() {
            self.struck[clearance].add(total.struck[clearance] as f64, total.plants as f64);
            self.cut[clearance].add(total.cut[clearance] as f64, total.plants as f64);
            self.entry_struck[clearance].add(entry.struck[clearance] as f64, entry.plants as f64);
            self.entry_cut[clearance].add(entry.cut[clearance] as f64, entry.plants as f64);
        }
    }

    fn add_tracking(&mut self, setup: &Setup, path: &Path, shift: &Shift) {
        let tool_m = setup.tools.tool_line_m;
        let station = |tick: usize| path.station_m[tick] - tool_m;
        let first =
            (0..path.station_m.len()).find(|&tick| station(tick) >= setup.run.entry_length_m);
        let Some(first) = first else { return };
        let last = (first..path.station_m.len())
            .find(|&tick| station(tick) > setup.run.length_m)
            .unwrap_or(path.station_m.len())
            .min(path.kept_ticks);
        let on_line = matches!(setup.driver, Driver::SatelliteLine(_));
        let per_tick_m = path.speed_m_s * path.step_s;
        let (mut sum, mut sum_sq, mut axle_sum, mut axle_sq) = (0.0, 0.0, 0.0, 0.0);
        let mut miss_ticks = 0_u64;
        let mut longest = 0_u64;
        let first = first.min(last);
        for tick in first..last {
            let wanted_m = path.wanted_m(tick);
            let error_m = shift.shift_m[tick] - wanted_m;
            sum += error_m;
            sum_sq += error_m * error_m;
            let axle_m = path.axle_m[tick] - if on_line { 0.0 } else { path.axle_row_m[tick] };
            axle_sum += axle_m;
            axle_sq += axle_m * axle_m;
            self.demand.add(wanted_m);
            self.stop_ticks += u64::from(shift.at_stop[tick]);
            if error_m.abs() <= TRADE_ROOM_M {
                self.near_ticks += 1;
                miss_ticks = 0;
            } else {
                miss_ticks += 1;
                longest = longest.max(miss_ticks);
            }
        }
        let ticks = (last - first) as u64;
        self.ticks += ticks;
        self.tool_error.add(ticks as f64, sum, sum_sq);
        self.axle.add(ticks as f64, axle_sum, axle_sq);
        self.longest_miss_m = self.longest_miss_m.max(longest as f64 * per_tick_m);
        let span_s = first as f64 * path.step_s..last as f64 * path.step_s;
        for (_, saturated) in shift
            .saturated
            .iter()
            .filter(|(time_s, _)| span_s.contains(time_s))
        {
            self.frames += 1;
            self.saturated_frames += u64::from(*saturated);
        }
    }

    /// Adds other passes.
    pub fn merge(&mut self, next: &Tally) {
        let ratios = [
            (&mut self.struck, &next.struck),
            (&mut self.cut, &next.cut),
            (&mut self.entry_struck, &next.entry_struck),
            (&mut self.entry_cut, &next.entry_cut),
        ];
        for (mine, theirs) in ratios
            .into_iter()
            .chain(self.rows.iter_mut().zip(&next.rows))
        {
            for (mine, theirs) in mine.iter_mut().zip(theirs) {
                mine.merge(theirs);
            }
        }
        self.tool_error.merge(&next.tool_error);
        self.axle.merge(&next.axle);
        self.demand.merge(&next.demand);
        self.ticks += next.ticks;
        self.stop_ticks += next.stop_ticks;
        self.near_ticks += next.near_ticks;
        self.frames += next.frames;
        self.saturated_frames += next.saturated_frames;
        self.longest_miss_m = self.longest_miss_m.max(next.longest_miss_m);
    }
}

fn add_expected(sums: &mut RatioSums, expected: &Expected, clearance: usize) {
    sums.add_expected(
        expected.struck[clearance],
        expected.plants,
        expected.any_struck[clearance],
    );
}

/// Counts of one pass.
#[derive(Clone, Debug)]
struct Counts {
    plants: u64,
    struck: Vec<u64>,
    cut: Vec<u64>,
}

impl Counts {
    fn new(clearances: usize) -> Self {
        Self {
            plants: 0,
            struck: vec![0; clearances],
            cut: vec![0; clearances],
        }
    }

    fn add(&mut self, setup: &Setup, needed_m: f64, clearances_m: &[f64]) {
        self.plants += 1;
        for (clearance, &clearance_m) in clearances_m.iter().enumerate() {
            match fate(setup, needed_m, clearance_m) {
                Fate::Spared => break,
                Fate::Struck => self.struck[clearance] += 1,
                Fate::Cut => {
                    self.struck[clearance] += 1;
                    self.cut[clearance] += 1;
                }
            }
        }
    }

    fn merge(&mut self, other: &Counts) {
        self.plants += other.plants;
        for (mine, theirs) in self.struck.iter_mut().zip(&other.struck) {
            *mine += theirs;
        }
        for (mine, theirs) in self.cut.iter_mut().zip(&other.cut) {
            *mine += theirs;
        }
    }
}
