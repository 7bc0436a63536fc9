//! What passes side by side cut and touched and how they followed the row, as expectations: the path is simulated, the plants' scatter is
//! integrated.
//!
//! Every fifth of a metre of travel (whole steps of the drive, rounded down) each edge of each row stands for the plants of that stretch.
//! With a the clearance that a plant in the middle of its row needs there, an edge comes within the radius r of a plant with the scatter
//! sigma at the clearance c with the probability Q((c - r - a)/sigma): with the radius of the stem the plant is cut, with the protected
//! radius it is cut or touched. The two edges of a row meet different plants, so both add up. One
//! histogram of a answers every clearance. Its bins are 0.25 mm wide and are taken at their middle: the error is the
//! second derivative of Q times width²/24, below 1e-4 of the rate for a scatter of 2 mm or more.

use super::drive::Drive;
use super::ground::Ground;
use super::shift::Shift;
use crate::model::setup::{Run, Setup};
use crate::model::tractor::SHORT_SHARE;
use crate::model::vector::{Lanes, WHOLE, one_if};

/// Width of a bin of needed clearance, m.
const BIN_M: f64 = 0.25e-3;

/// Scatter that the tables reach out to, standard deviations: beyond it the probability is below 1e-15.
const REACH_SD: f64 = 8.0;

/// Distance between two looks at edges and tools, m; a look falls on a step of the drive.
pub const LOOK_M: f64 = 0.2;

/// A pass that comes further than so many times what its speed says from one look to the next has not met what lies between.
const MOST_STEPS: f64 = 3.0;

/// Ticks from look to look: whole steps of the drive.
pub fn ticks_per_look(setup: &Setup, speed_m_s: f64) -> usize {
    let steps = (LOOK_M / (speed_m_s * setup.run.drive_step_s())) as usize;
    steps.max(1) * setup.run.drive_ticks
}

/// Probabilities by clearance and bin of needed clearance.
#[derive(Clone, Debug)]
pub struct Tables {
    low_m: f64,
    bins: usize,
    /// `[clearance][bin]`: a plant is cut or touched, and it is cut.
    met_and_cut: Vec<Vec<[f64; 2]>>,
    /// Clearances at which no plant can be spared, because the protected radii of both sides meet.
    met_all: Vec<bool>,
    cut_all: Vec<bool>,
}

impl Tables {
    /// For the plants of a setup and these clearances, m, rising.
    pub fn new(setup: &Setup, clearances_m: &[f64]) -> Self {
        let plants = &setup.plants;
        let sd_m = plants.scatter_sd_m;
        let first_m = clearances_m.first().copied().unwrap_or(0.0);
        let last_m = clearances_m.last().copied().unwrap_or(0.0);
        // Beyond these ends the probability is 0 or 1 to 1e-15 at every clearance: the outermost bins may take whatever lies outside.
        let low_m = first_m - plants.protected_radius_m - REACH_SD * sd_m - BIN_M;
        let high_m = last_m - plants.stem_radius_m + REACH_SD * sd_m + BIN_M;
        let bins = ((high_m - low_m) / BIN_M).ceil() as usize + 1;
        let radii_m = [plants.protected_radius_m, plants.stem_radius_m];
        let of_clearance = |&clearance_m: &f64| {
            let share = |bin: usize| {
                let needed_m = low_m + (bin as f64 + 0.5) * BIN_M;
                radii_m.map(|radius_m| upper_tail(clearance_m - radius_m - needed_m, sd_m))
            };
            (0..bins).map(share).collect()
        };
        let below = |radius_m: f64| clearances_m.iter().map(|&c| c < radius_m).collect();
        Self {
            low_m,
            bins,
            met_and_cut: clearances_m.iter().map(of_clearance).collect(),
            met_all: below(plants.protected_radius_m),
            cut_all: below(plants.stem_radius_m),
        }
    }
}

/// Probability that a centred normal deviate of this standard deviation exceeds `x_m`.
fn upper_tail(x_m: f64, sd_m: f64) -> f64 {
    if sd_m > 0.0 {
        0.5 * libm::erfc(x_m / (sd_m * core::f64::consts::SQRT_2))
    } else {
        one_if(x_m < 0.0)
    }
}

/// Expected plants of one stretch of a pass by clearance.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expected {
    /// Plants.
    pub plants: f64,
    /// Expected cut plants: an edge passes through the stem.
    pub cut: Vec<f64>,
    /// Expected touched plants: an edge comes within the protected radius and spares the stem.
    pub touched: Vec<f64>,
}

impl Expected {
    /// Both stretches of a pass together, each as many times as the row holds it.
    pub fn whole(run: &Run, entry: &Expected, rest: &Expected) -> Expected {
        let [of_entry, of_rest] = run.of_the_row();
        let sum = |entry: &[f64], rest: &[f64]| {
            let pairs = entry.iter().zip(rest);
            pairs.map(|(e, r)| of_entry * e + of_rest * r).collect()
        };
        Expected {
            plants: of_entry * entry.plants + of_rest * rest.plants,
            cut: sum(&entry.cut, &rest.cut),
            touched: sum(&entry.touched, &rest.touched),
        }
    }
}

/// How the tools of one pass followed the row, over the looks in the rest of the row.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Followed {
    /// Number of looks.
    pub looks: f64,
    /// Sum of the tool error, m.
    pub error_m: f64,
    /// Sum of its square, m².
    pub error_sq_m2: f64,
    /// Looks at an end stop.
    pub at_stop: f64,
    /// Looks within the trade's room.
    pub near: f64,
    /// Longest stretch outside it, m.
    pub longest_miss_m: f64,
    /// Camera frames counted, and those at which the valve was asked for all it has.
    pub frames: f64,
    /// See `frames`.
    pub saturated: f64,
}

/// What every controller of the drives meets: the looks.
#[derive(Clone, Debug, Default)]
pub struct Looks<const N: usize> {
    every: usize,
    /// Distance from look to look, m.
    look_m: f64,
    /// 1 where the tool line is in the rest of the row, else 0, by look.
    counted: Vec<Lanes<N>>,
    /// The same for the entry stretch.
    entry: Vec<Lanes<N>>,
    /// Wanted shift, m, by look.
    pub wanted_m: Vec<Lanes<N>>,
    /// Axle from the row (satellite line: from the planned line), m, by look.
    axle_m: Vec<Lanes<N>>,
    /// Clearance that a plant in the middle of its row needs of the left and the right edge with the frame unshifted, m:
    /// `[look * rows + row]`.
    needed_m: Vec<[Lanes<N>; 2]>,
    rows: usize,
    /// Shares of the entry and the rest of the row that a pass which lost the row never meets.
    pub unmet: [Lanes<N>; 2],
}

impl<const N: usize> Looks<N> {
    /// Looks along the drives, in the room that earlier ones took.
    #[inline(always)]
    pub fn along(&mut self, setup: &Setup, ground: &Ground<N>, drive: &Drive<N>, on_line: bool) {
        let every = ticks_per_look(setup, drive.speed_m_s);
        let tools = &setup.tools;
        let tool_m = tools.tool_line_m;
        let edge_x_m = [
            tool_m + tools.left_edge_behind_m,
            tool_m + tools.right_edge_behind_m,
        ];
        let rows = setup.rows.offset_m.len();
        let looks = self;
        looks.every = every;
        looks.look_m = every as f64 * setup.run.step_s * drive.speed_m_s;
        looks.rows = rows;
        for series in [
            &mut looks.counted,
            &mut looks.entry,
            &mut looks.wanted_m,
            &mut looks.axle_m,
        ] {
            series.clear();
        }
        looks.needed_m.clear();
        let run = setup.run;
        let (mut met_m, mut before_m) = ([Lanes::default(); 2], Lanes::all(f64::NEG_INFINITY));
        for tick in (0..drive.driven().ticks).step_by(every) {
            let step = tick / setup.run.drive_ticks;
            let stand = drive.at_step(step);
            let s_m = stand.station_m;
            let tool_station_m = s_m - tool_m;
            let on_row = drive.on_row(step);
            let counted = on_row
                * tool_station_m
                    .map(|s_m| one_if((s_m >= run.entry_length_m) & (s_m <= run.length_m)));
            let entry = on_row
                * tool_station_m.map(|s_m| one_if((s_m >= 0.0) & (s_m < run.entry_length_m)));
            // A pass that is flung along the row meets nothing on the way.
            let step_m = (tool_station_m - before_m)
                .clamp(Lanes::default(), Lanes::all(MOST_STEPS * looks.look_m));
            before_m = tool_station_m;
            met_m[0] += step_m * entry;
            met_m[1] += step_m * counted;
            looks.counted.push(counted);
            looks.entry.push(entry);
            let frame_m = stand.frame_m(setup, ground, tool_m);
            looks
                .wanted_m
                .push(ground.guided_row_m(tool_station_m) - frame_m);
            // A satellite line knows nothing of the row: its wander is told from the line that it follows.
            looks.axle_m.push(if on_line {
                stand.axle_m
            } else {
                stand.axle_m - ground.guided_row_m(s_m)
            });
            let mut edge_frame_m = [frame_m; 2];
            for (edge_m, x_m) in edge_frame_m.iter_mut().zip(edge_x_m) {
                if x_m != tool_m {
                    *edge_m = stand.frame_m(setup, ground, x_m);
                }
            }
            let sin = stand.frame_sin;
            for row in 0..rows {
                let ahead_m = s_m - sin * setup.rows.offset_m[row];
                let pass = setup.rows.planter_pass[row];
                let left_row_m = ground.planter_m(pass, ahead_m - edge_x_m[0]);
                let right_row_m = if edge_x_m[0] == edge_x_m[1] {
                    left_row_m
                } else {
                    ground.planter_m(pass, ahead_m - edge_x_m[1])
                };
                let unit_m = ground.unit_m[row];
                let [left_error_m, right_error_m] = ground.edge_error_m[row];
                // How far the middle of the row stands beyond the left edge, its setting error off; for the right edge the mirror image.
                looks.needed_m.push([
                    left_row_m + unit_m - edge_frame_m[0] - left_error_m,
                    edge_frame_m[1] - right_row_m - unit_m - right_error_m,
                ]);
            }
        }
        let stretches_m = [run.entry_length_m, run.length_m - run.entry_length_m];
        let lost = drive.loses_the_row();
        looks.unmet = std::array::from_fn(|i| {
            // Looks fall on whole steps: one at either end of a stretch may be missing in a pass that lost nothing.
            let least_m = 2.0 * looks.look_m;
            let short_m = Lanes::select(
                lost,
                Lanes::all(least_m),
                Lanes::all(least_m + SHORT_SHARE * stretches_m[i]),
            );
            let unmet = 1.0 - met_m[i] / stretches_m[i];
            let falls_short = Lanes::all(stretches_m[i]).above(met_m[i] + short_m);
            Lanes::select(falls_short, unmet, Lanes::default())
        });
    }

    /// 1 in the lanes that lost the row or fell short of its end, else 0.
    #[inline(always)]
    pub fn lost(&self) -> Lanes<N> {
        (self.unmet[0] + self.unmet[1]).above(Lanes::default())
    }

    /// Ticks from look to look.
    pub fn every(&self) -> usize {
        self.every
    }

    /// Sum and sum of squares of the axle's offset over the counted looks, and their number, by lane.
    #[inline(always)]
    pub fn axle(&self) -> [Lanes<N>; 3] {
        let mut sums = [Lanes::default(); 3];
        for (&axle_m, &counted) in self.axle_m.iter().zip(&self.counted) {
            // What a lost pass does need not be a number.
            let axle_m = Lanes::select(counted, axle_m, Lanes::default());
            sums[0] += counted;
            sums[1] += axle_m;
            sums[2] += axle_m * axle_m;
        }
        sums
    }

    /// True if a lane's look lies in the rest of the row.
    pub fn is_counted(&self, look: usize, lane: usize) -> bool {
        self.counted[look].0[lane] != 0.0
    }

    /// How the tools followed under one controller, by lane.
    #[inline(always)]
    pub fn followed(&self, shift: &Shift<N>, room_m: f64) -> [Followed; N] {
        let nothing = Lanes::default();
        let (mut looks, mut error_m, mut error_sq_m2) = (nothing, nothing, nothing);
        let (mut at_stop, mut near, mut run, mut longest) = (nothing, nothing, nothing, nothing);
        for (look, &counted) in self.counted.iter().enumerate() {
            let error = shift.shift_m[look] - self.wanted_m[look];
            let error = Lanes::select(counted, error, Lanes::default());
            looks += counted;
            error_m += error;
            error_sq_m2 += error * error;
            at_stop += shift.at_stop[look] * counted;
            let misses = error.abs().above(Lanes::all(room_m));
            near += counted - misses;
            // Counts up as long as the tools are outside and falls back to nothing at the first look inside.
            run = (run + 1.0) * misses;
            longest = longest.max(run);
        }
        let (mut frames, mut saturated) = (nothing, nothing);
        for &(tick, asked) in &shift.saturated {
            let counted = self.counted[(tick / self.every).min(self.counted.len() - 1)];
            frames += counted;
            saturated += asked * counted;
        }
        std::array::from_fn(|lane| Followed {
            looks: looks.0[lane],
            error_m: error_m.0[lane],
            error_sq_m2: error_sq_m2.0[lane],
            at_stop: at_stop.0[lane],
            near: near.0[lane],
            longest_miss_m: longest.0[lane] * self.look_m,
            frames: frames.0[lane],
            saturated: saturated.0[lane],
        })
    }
}

/// Histograms of needed clearance, `[row][bin]` (one row for all where rows need not be told apart), and the numbers of looks at rows
/// in them.
#[derive(Clone, Debug, Default)]
pub struct Histograms<const N: usize> {
    bins: usize,
    /// Whole numbers, which take half the room: the bins that a row meets should lie in the nearest cache.
    counts: Vec<[i32; N]>,
    looks: Vec<Lanes<N>>,
    /// The filled counts of one row as numbers to reckon with.
    filled: Vec<Lanes<N>>,
}

impl<const N: usize> Histograms<N> {
    /// Makes room for so many rows.
    pub fn reset(&mut self, tables: &Tables, rows: usize) {
        self.bins = tables.bins;
        self.counts.clear();
        self.counts.resize(rows * tables.bins, [0; N]);
        self.looks.clear();
        self.looks.resize(rows, Lanes::default());
    }

    /// Fills them with what one controller's edges met in the counted or the entry stretch.
    #[inline(always)]
    pub fn fill(&mut self, tables: &Tables, looks: &Looks<N>, shift: &Shift<N>, in_entry: bool) {
        self.counts.fill([0; N]);
        self.looks.fill(Lanes::default());
        let apart = self.looks.len() > 1;
        let stretch = if in_entry {
            &looks.entry
        } else {
            &looks.counted
        };
        let last = self.bins - 1;
        let most = Lanes::all(last as f64);
        for (look, &weights) in stretch.iter().enumerate() {
            if weights == Lanes::default() {
                continue;
            }
            let mut counted = [0; N];
            for (counted, weight) in counted.iter_mut().zip(weights.0) {
                *counted = weight as i32;
            }
            let shift_m = shift.shift_m[look];
            let edges = &looks.needed_m[look * looks.rows..(look + 1) * looks.rows];
            for (row, &[left_m, right_m]) in edges.iter().enumerate() {
                let row = if apart { row } else { 0 };
                let counts = &mut self.counts[row * self.bins..(row + 1) * self.bins];
                // The bin below, in the lowest bits of the sum. What a lost pass needs may be no number: that falls into bin 0 with the
                // weight 0.
                let bin = |needed_m: Lanes<N>| {
                    let x = (needed_m - tables.low_m) * (1.0 / BIN_M) - 0.5;
                    x.clamp(Lanes::default(), most) + WHOLE
                };
                let (left, right) = (bin(left_m - shift_m), bin(right_m + shift_m));
                // Every lane falls into a bin of its own, which no wide register does: one by one.
                for lane in 0..N {
                    for bin in [left.0[lane], right.0[lane]] {
                        let bin = (bin.to_bits() as u32 as usize).min(last);
                        counts[bin][lane] += counted[lane];
                    }
                }
                self.looks[row] += weights;
            }
        }
    }

    /// Expected plants of a row, lane by lane, where `plants` of them stand and this share of them is never met: those count as cut.
    #[inline(always)]
    pub fn expected(
        &mut self,
        tables: &Tables,
        row: usize,
        plants: f64,
        unmet: Lanes<N>,
    ) -> [Expected; N] {
        let counts = &self.counts[row * self.bins..(row + 1) * self.bins];
        let looks = self.looks[row];
        // Passes fill few of the bins: the sums run over these alone.
        let is_filled = |count: &[i32; N]| *count != [0; N];
        let first = counts.iter().position(is_filled).unwrap_or(0);
        let end = counts
            .iter()
            .rposition(is_filled)
            .map_or(0, |last| last + 1);
        let first = first.min(end);
        self.filled.clear();
        for count in &counts[first..end] {
            self.filled
                .push(Lanes::from_fn(|lane| f64::from(count[lane])));
        }
        let (all, none) = (Lanes::all(plants), Lanes::default());
        let lost = unmet * plants;
        let weight = (all - lost) / looks;
        let mut expected: [Expected; N] = std::array::from_fn(|_| Expected {
            plants,
            cut: Vec::with_capacity(tables.met_and_cut.len()),
            touched: Vec::with_capacity(tables.met_and_cut.len()),
        });
        for (clearance, table) in tables.met_and_cut.iter().enumerate() {
            let (mut met, mut cut) = (none, none);
            for (&count, &[is_met, is_cut]) in self.filled.iter().zip(&table[first..end]) {
                met += count * is_met;
                cut += count * is_cut;
            }
            // Where both sides' radii meet none is spared; nor in a stretch that was never met.
            let share = |none_spared: bool, sum: Lanes<N>| {
                let some = if none_spared {
                    all
                } else {
                    (lost + weight * sum).min(all)
                };
                Lanes::select(looks, some, all)
            };
            let cut = share(tables.cut_all[clearance], cut);
            let touched = (share(tables.met_all[clearance], met) - cut).max(none);
            for (lane, expected) in expected.iter_mut().enumerate() {
                expected.cut.push(cut.0[lane]);
                expected.touched.push(touched.0[lane]);
            }
        }
        expected
    }
}
