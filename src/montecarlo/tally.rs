//! What passes add up to, for one controller at one speed: the only thing that is kept of a pass.

use serde::{Deserialize, Serialize};

use super::estimate::{RatioSums, SpreadSums};
use super::histogram::Histogram;
use crate::lanes::PassUnderController;
use crate::lanes::count::Expected;
use crate::model::driver::Driver;
use crate::model::setup::{Run, Setup};
use crate::results::Stretch;
use crate::sim::count::{Meeting, fate};
use crate::sim::path::Path;
use crate::sim::shift::Shift;
use crate::sim::trace::Fate;

/// Distance from the row within which working tools stay (1.5 in; common practice, no source), m.
pub const TRADE_ROOM_M: f64 = 0.038;

/// Sums over passes of the plants of one stretch, by clearance in the order of the study.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fates {
    /// Cut plants.
    pub cut: Vec<RatioSums>,
    /// Touched plants.
    pub touched: Vec<RatioSums>,
}

impl Fates {
    fn new(clearances: usize) -> Self {
        Self {
            cut: vec![RatioSums::default(); clearances],
            touched: vec![RatioSums::default(); clearances],
        }
    }

    fn add_expected(&mut self, expected: &Expected) {
        for (sums, hits) in [
            (&mut self.cut, &expected.cut),
            (&mut self.touched, &expected.touched),
        ] {
            for (sums, &hits) in sums.iter_mut().zip(hits) {
                sums.add_expected(hits, expected.plants);
            }
        }
    }

    fn add(&mut self, counts: &Counts) {
        for (sums, hits) in [
            (&mut self.cut, &counts.cut),
            (&mut self.touched, &counts.touched),
        ] {
            for (sums, &hits) in sums.iter_mut().zip(hits) {
                sums.add(hits, counts.plants);
            }
        }
    }

    fn merge(&mut self, other: &Fates) {
        merge(&mut self.cut, &other.cut);
        merge(&mut self.touched, &other.touched);
    }
}

fn merge(mine: &mut [RatioSums], theirs: &[RatioSums]) {
    for (mine, theirs) in mine.iter_mut().zip(theirs) {
        mine.merge(theirs);
    }
}

/// Sums over passes for one controller at one speed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tally {
    /// Plants of the whole row.
    pub whole: Fates,
    /// Plants of the entry stretch.
    pub entry: Fates,
    /// Plants of the rest of the pass.
    pub rest: Fates,
    /// Cut plants of every row, whole, at the working speed: `[row][clearance]`.
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
        Self {
            whole: Fates::new(clearances),
            entry: Fates::new(clearances),
            rest: Fates::new(clearances),
            rows: vec![vec![RatioSums::default(); clearances]; rows],
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

    /// Plants of one stretch.
    pub fn on(&self, stretch: Stretch) -> &Fates {
        match stretch {
            Stretch::Whole => &self.whole,
            Stretch::Entry => &self.entry,
            Stretch::Rest => &self.rest,
        }
    }

    /// Adds one pass of the fast engine: expectations instead of counts, looks instead of ticks.
    pub fn add_expected(&mut self, pass: &PassUnderController, axle: [f64; 3]) {
        self.whole.add_expected(&pass.whole);
        self.entry.add_expected(&pass.entry);
        self.rest.add_expected(&pass.rest);
        for (sums, expected) in self.rows.iter_mut().zip(&pass.rows) {
            for (sums, &cut) in sums.iter_mut().zip(&expected.cut) {
                sums.add_expected(cut, expected.plants);
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
        let none = Counts::new(clearances_m.len());
        let mut by_row = vec![[none.clone(), none.clone()]; self.rows.len()];
        for meeting in meetings {
            let stretch = usize::from(!meeting.entry);
            by_row[meeting.row][stretch].add(setup, meeting.needed_m(&shift.shift_m), clearances_m);
        }
        let mut total = [none.clone(), none];
        for (sums, counts) in self.rows.iter_mut().zip(&by_row) {
            let row = Counts::whole(&setup.run, counts);
            for (sums, &cut) in sums.iter_mut().zip(&row.cut) {
                sums.add(cut, row.plants);
            }
            for (total, counts) in total.iter_mut().zip(counts) {
                total.add_times(1.0, counts);
            }
        }
        self.whole.add(&Counts::whole(&setup.run, &total));
        let [entry, rest] = &total;
        self.entry.add(entry);
        self.rest.add(rest);
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
        self.whole.merge(&next.whole);
        self.entry.merge(&next.entry);
        self.rest.merge(&next.rest);
        for (mine, theirs) in self.rows.iter_mut().zip(&next.rows) {
            merge(mine, theirs);
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

/// Counts of one stretch of a pass, or of a row made of them.
#[derive(Clone, Debug)]
struct Counts {
    plants: f64,
    cut: Vec<f64>,
    touched: Vec<f64>,
}

impl Counts {
    fn new(clearances: usize) -> Self {
        Self {
            plants: 0.0,
            cut: vec![0.0; clearances],
            touched: vec![0.0; clearances],
        }
    }

    /// Entry and rest, each as many times as the row holds it.
    fn whole(run: &Run, stretches: &[Counts; 2]) -> Self {
        let mut whole = Counts::new(stretches[0].cut.len());
        for (times, counts) in run.of_the_row().into_iter().zip(stretches) {
            whole.add_times(times, counts);
        }
        whole
    }

    fn add(&mut self, setup: &Setup, needed_m: f64, clearances_m: &[f64]) {
        self.plants += 1.0;
        for (clearance, &clearance_m) in clearances_m.iter().enumerate() {
            match fate(setup, needed_m, clearance_m) {
                Fate::Spared => break,
                Fate::Touched => self.touched[clearance] += 1.0,
                Fate::Cut => self.cut[clearance] += 1.0,
            }
        }
    }

    fn add_times(&mut self, times: f64, other: &Counts) {
        self.plants += times * other.plants;
        for (mine, theirs) in [
            (&mut self.cut, &other.cut),
            (&mut self.touched, &other.touched),
        ] {
            for (mine, theirs) in mine.iter_mut().zip(theirs) {
                *mine += times * theirs;
            }
        }
    }
}
