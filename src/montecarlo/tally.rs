//! What passes add up to, for one controller at one speed: the only thing that is kept of a pass.

use serde::{Deserialize, Serialize};

use super::estimate::{RatioSums, SpreadSums};
use super::histogram::Histogram;
use crate::results::Stretch;
use crate::sim::PassUnderController;
use crate::sim::count::Expected;

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
    /// Size of the wanted shift; filled for the first controller only, since it is the same for all.
    pub demand: Histogram,
    /// Looks counted, entry stretch left out.
    pub ticks: u64,
    /// Looks at an end stop.
    pub stop_ticks: u64,
    /// Looks with the tools within [`TRADE_ROOM_M`] of the row.
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

    /// Adds one pass, with the sums of its axle's offset.
    pub fn add(&mut self, pass: &PassUnderController, axle: [f64; 3]) {
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
