//! Passes counted plant by plant and tick by tick: what the engine's expectations and looks are held against.

use rowroom::model::driver::Driver;
use rowroom::model::setup::{Run, Setup};
use rowroom::montecarlo::tally::{Fates, TRADE_ROOM_M, Tally};
use rowroom::sim::pass::{Pass, Shifted};
use rowroom::sim::plants::{Fate, fate};

/// Adds one pass under one controller. `clearances_m` rising.
pub fn count(
    tally: &mut Tally,
    setup: &Setup,
    pass: &Pass,
    shifted: &Shifted,
    clearances_m: &[f64],
) {
    count_plants(tally, setup, pass, shifted, clearances_m);
    count_tracking(tally, setup, pass, shifted);
}

fn count_plants(
    tally: &mut Tally,
    setup: &Setup,
    pass: &Pass,
    shifted: &Shifted,
    clearances_m: &[f64],
) {
    let none = Counts::new(clearances_m.len());
    let mut by_row = vec![[none.clone(), none.clone()]; tally.rows.len()];
    for meeting in &pass.meetings {
        let stretch = usize::from(!meeting.entry);
        by_row[meeting.row][stretch].add(setup, meeting.needed_m(&shifted.shift_m), clearances_m);
    }
    let mut total = [none.clone(), none];
    for (sums, counts) in tally.rows.iter_mut().zip(&by_row) {
        let row = Counts::whole(&setup.run, counts);
        for (sums, &cut) in sums.iter_mut().zip(&row.cut) {
            sums.add(cut, row.plants);
        }
        for (total, counts) in total.iter_mut().zip(counts) {
            total.add_times(1.0, counts);
        }
    }
    add(&mut tally.whole, &Counts::whole(&setup.run, &total));
    let [entry, rest] = &total;
    add(&mut tally.entry, entry);
    add(&mut tally.rest, rest);
}

fn count_tracking(tally: &mut Tally, setup: &Setup, pass: &Pass, shifted: &Shifted) {
    let path = &pass.path;
    let tool_m = setup.tools.tool_line_m;
    let station = |tick: usize| path.station_m[tick] - tool_m;
    let first = (0..path.station_m.len()).find(|&tick| station(tick) >= setup.run.entry_length_m);
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
        let error_m = shifted.shift_m[tick] - wanted_m;
        sum += error_m;
        sum_sq += error_m * error_m;
        let axle_m = path.axle_m[tick] - if on_line { 0.0 } else { path.axle_row_m[tick] };
        axle_sum += axle_m;
        axle_sq += axle_m * axle_m;
        tally.demand.add(wanted_m);
        tally.stop_ticks += u64::from(shifted.at_stop[tick]);
        if error_m.abs() <= TRADE_ROOM_M {
            tally.near_ticks += 1;
            miss_ticks = 0;
        } else {
            miss_ticks += 1;
            longest = longest.max(miss_ticks);
        }
    }
    let ticks = (last - first) as u64;
    tally.ticks += ticks;
    tally.tool_error.add(ticks as f64, sum, sum_sq);
    tally.axle.add(ticks as f64, axle_sum, axle_sq);
    tally.longest_miss_m = tally.longest_miss_m.max(longest as f64 * per_tick_m);
    for (_, saturated) in shifted
        .saturated
        .iter()
        .filter(|(tick, _)| (first..last).contains(tick))
    {
        tally.frames += 1;
        tally.saturated_frames += u64::from(*saturated);
    }
}

fn add(fates: &mut Fates, counts: &Counts) {
    for (sums, hits) in [
        (&mut fates.cut, &counts.cut),
        (&mut fates.touched, &counts.touched),
    ] {
        for (sums, &hits) in sums.iter_mut().zip(hits) {
            sums.add(hits, counts.plants);
        }
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
