//! The engine: ground, drive, sensors, side-shift and count of eight passes side by side in plain arrays, or of one alone.
//!
//! ```text
//! for each block of passes:   ground      once for all speeds
//!   for each speed:           drive       once for all controllers: tractor, driver, unshifted implement
//!                             sensors     camera frames and yaw rate along it
//!                             looks       what the edges would meet with the frame unshifted
//!     for each controller:    shift       numbers to controller to valve to cylinder to frame
//!                             histogram   of needed clearance: answers every clearance at once
//! ```
//!
//! The source is compiled twice, for the baseline and for AVX2, and chosen as the program runs; nothing is fused and no mathematics library of
//! the platform is called, so that every processor gives the same bits, and so does a pass alone or in any company.
//!
//! Everything on the way from [`run`] to the ticks must be inlined into the function with the wide registers: what is not (a
//! closure, a helper without the mark) silently falls back to the narrow ones.
//!
//! [`pass::Pass`] is one pass written down tick by tick, with its plants; [`trace::Trace`] the same for people.

pub mod count;
pub mod deviates;
pub mod drive;
pub mod ground;
mod hands;
pub mod pass;
pub mod plants;
pub mod sensors;
pub mod shift;
pub mod streams;
pub mod trace;
mod valve;

use std::cell::RefCell;

use crate::model::controller::Kind;
use crate::model::driver::Driver;
use crate::model::rows::Plants;
use crate::model::setup::Setup;
use count::{Expected, Followed, Histograms, Looks, Tables};
use drive::{Drive, Own, side_by_side};
use ground::Ground;
use sensors::Sensors;
use shift::Shift;

/// Passes side by side.
pub const LANES: usize = 8;

/// What to simulate, the same for all passes.
#[derive(Clone, Copy, Debug)]
pub struct Request<'a> {
    /// Seed of the study.
    pub seed: u64,
    /// Speeds, m/s.
    pub speeds_m_s: &'a [f64],
    /// Controllers; one that a machine lacks stays locked.
    pub kinds: &'a [Kind],
    /// Clearances, m, rising.
    pub clearances_m: &'a [f64],
    /// Speed at which rows are told apart, m/s.
    pub rows_apart_at_m_s: Option<f64>,
    /// Distance from the row within which tools count as near, m.
    pub room_m: f64,
}

/// One pass at one speed.
#[derive(Clone, Debug)]
pub struct PassAtSpeed {
    /// Wanted shift at every look of the counted stretch, m.
    pub wanted_m: Vec<f64>,
    /// Number of looks, sum and sum of squares of the axle's offset, m and m².
    pub axle: [f64; 3],
    /// True if the tractor lost the row or fell short of its end.
    pub lost: bool,
    /// The controllers, in the order of the request.
    pub controllers: Vec<PassUnderController>,
}

/// One pass at one speed under one controller.
#[derive(Clone, Debug)]
pub struct PassUnderController {
    /// How the tools followed the row.
    pub followed: Followed,
    /// Plants of the whole row.
    pub whole: Expected,
    /// Plants of the entry stretch.
    pub entry: Expected,
    /// Plants of the rest of the pass.
    pub rest: Expected,
    /// Plants of every row, whole, at the speed at which rows are told apart; else empty.
    pub rows: Vec<Expected>,
}

/// What a block of passes leaves for the next one to write over: fresh memory would cost as much as the passes.
#[derive(Default)]
struct Scratch<const N: usize> {
    drive: Drive<N>,
    sensors: Sensors<N>,
    looks: Looks<N>,
    shift: Shift<N>,
    pooled: Histograms<N>,
    by_row: Histograms<N>,
    /// The tables of the last block, with the plants and clearances that they are for.
    tables: Option<(Plants, Vec<f64>, Tables)>,
}

impl<const N: usize> Scratch<N> {
    /// Works the tables out unless the last block used the same ones.
    fn prepare(&mut self, setup: &Setup, clearances_m: &[f64]) {
        let same = |(plants, of_m, _): &(Plants, Vec<f64>, Tables)| {
            *plants == setup.plants && of_m == clearances_m
        };
        if !self.tables.as_ref().is_some_and(same) {
            let tables = Tables::new(setup, clearances_m);
            self.tables = Some((setup.plants, clearances_m.to_vec(), tables));
        }
    }
}

thread_local! {
    static SCRATCH: RefCell<(Scratch<LANES>, Scratch<1>)> = RefCell::default();
}

/// Simulates passes with their setups; gives `[pass][speed]`, in the order given.
///
/// Passes whose setups differ only in entry, alignment and sensor bias run side by side, others alone: what a pass gives does not depend on
/// it.
pub fn run(request: &Request, setups: &[Setup], passes: &[u64]) -> Vec<Vec<PassAtSpeed>> {
    SCRATCH.with_borrow_mut(|(side_by_side, alone)| {
        run_in(request, setups, passes, side_by_side, alone)
    })
}

fn run_in(
    request: &Request,
    setups: &[Setup],
    passes: &[u64],
    scratch: &mut Scratch<LANES>,
    scratch_alone: &mut Scratch<1>,
) -> Vec<Vec<PassAtSpeed>> {
    let mut all = Vec::with_capacity(passes.len());
    for (setups, passes) in setups.chunks(LANES).zip(passes.chunks(LANES)) {
        if setups.len() > 1 && setups.iter().all(|setup| side_by_side(&setups[0], setup)) {
            // Lanes without a pass of their own repeat the first one.
            let lane = |i: usize| if i < passes.len() { i } else { 0 };
            let setups: [Setup; LANES] = std::array::from_fn(|i| setups[lane(i)].clone());
            let numbers = std::array::from_fn(|i| passes[lane(i)]);
            let mut together = widest(request, &setups, numbers, scratch);
            together.truncate(passes.len());
            all.extend(together);
        } else {
            for (setup, &pass) in setups.iter().zip(passes) {
                all.extend(widest(
                    request,
                    std::array::from_ref(setup),
                    [pass],
                    scratch_alone,
                ));
            }
        }
    }
    all
}

/// The engine as compiled for the widest registers that this processor has.
fn widest<const N: usize>(
    request: &Request,
    setups: &[Setup; N],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<PassAtSpeed>> {
    // One pass alone fills no wide register: a second copy of it would only take time to build.
    #[cfg(target_arch = "x86_64")]
    if N > 1 && std::arch::is_x86_feature_detected!("avx2") {
        #[allow(unsafe_code)]
        // SAFETY: the processor has what the function asks for.
        return unsafe { with_avx2(request, setups, passes, scratch) };
    }
    on_baseline(request, setups, passes, scratch)
}

// Never inlined, so that whoever calls it shares one copy.
#[inline(never)]
fn on_baseline<const N: usize>(
    request: &Request,
    setups: &[Setup; N],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<PassAtSpeed>> {
    simulate(request, setups, passes, scratch)
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn with_avx2<const N: usize>(
    request: &Request,
    setups: &[Setup; N],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<PassAtSpeed>> {
    simulate(request, setups, passes, scratch)
}

/// The engine as compiled for the baseline: for tests that hold it against [`run`].
pub fn run_on_baseline(
    request: &Request,
    setups: &[Setup; LANES],
    passes: [u64; LANES],
) -> Vec<Vec<PassAtSpeed>> {
    on_baseline(request, setups, passes, &mut Scratch::default())
}

#[inline(always)]
fn simulate<const N: usize>(
    request: &Request,
    setups: &[Setup; N],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<PassAtSpeed>> {
    let setup = &setups[0];
    let own = Own::of(setups, passes);
    let ground = Ground::draw(setup, request.seed, passes);
    scratch.prepare(setup, request.clearances_m);
    let rows = setup.rows.offset_m.len();
    let Scratch {
        drive,
        sensors,
        looks,
        shift,
        pooled,
        by_row,
        tables,
    } = scratch;
    let Some((_, _, tables)) = tables.as_ref() else {
        return Vec::new();
    };
    pooled.reset(tables, 1);
    by_row.reset(
        tables,
        if request.rows_apart_at_m_s.is_some() {
            rows
        } else {
            0
        },
    );
    let mut all: Vec<Vec<PassAtSpeed>> = vec![Vec::with_capacity(request.speeds_m_s.len()); N];
    // No plant is drawn here: so many are expected to stand, and the tables integrate over where each of them does.
    let per_metre = rows as f64 / setup.plants.spacing_m * setup.plants.emergence;
    let run = &setup.run;
    let stand = [
        per_metre * run.entry_length_m,
        per_metre * (run.length_m - run.entry_length_m),
    ];

    for &speed_m_s in request.speeds_m_s {
        // What all controllers share comes first: a drive with its frames takes as long as three of them.
        drive.again(setup, &ground, request.seed, &own, speed_m_s);
        sensors.observe_again(setup, &ground, drive, request.seed, &own);
        let on_line = matches!(setup.driver, Driver::SatelliteLine(_));
        looks.along(setup, &ground, drive, on_line);
        let axle = looks.axle();
        let lost = looks.lost();
        let unmet = looks.unmet;
        for (lane, passes) in all.iter_mut().enumerate() {
            let wanted_m = looks
                .wanted_m
                .iter()
                .enumerate()
                .filter(|&(look, _)| looks.is_counted(look, lane));
            passes.push(PassAtSpeed {
                wanted_m: wanted_m.map(|(_, wanted_m)| wanted_m.0[lane]).collect(),
                axle: axle.map(|sum| sum.0[lane]),
                lost: lost.0[lane] != 0.0,
                controllers: Vec::with_capacity(request.kinds.len()),
            });
        }
        for &kind in request.kinds {
            shift::run(setup, &own, drive, sensors, kind, looks.every(), shift);
            let followed = looks.followed(shift, request.room_m);
            let apart = request.rows_apart_at_m_s == Some(speed_m_s);
            // Entry and rest, each by lane; rows by row and lane.
            let [entry, rest] = [true, false].map(|in_entry| {
                pooled.fill(tables, looks, shift, in_entry);
                if apart {
                    by_row.fill(tables, looks, shift, in_entry);
                }
                let stretch = usize::from(!in_entry);
                let unmet = unmet[stretch];
                let pooled: [Expected; N] = std::array::from_fn(|lane| {
                    pooled.expected(tables, 0, lane, stand[stretch], unmet.0[lane])
                });
                let in_row = stand[stretch] / rows as f64;
                let by_row: Vec<[Expected; N]> = (0..if apart { rows } else { 0 })
                    .map(|row| {
                        std::array::from_fn(|lane| {
                            by_row.expected(tables, row, lane, in_row, unmet.0[lane])
                        })
                    })
                    .collect();
                (pooled, by_row)
            });
            let (entry_rows, rest_rows) = (entry.1, rest.1);
            let by_lane = entry.0.into_iter().zip(rest.0).enumerate();
            for ((lane, (entry, rest)), passes) in by_lane.zip(&mut all) {
                let Some(pass) = passes.last_mut() else {
                    continue;
                };
                let rows = entry_rows.iter().zip(&rest_rows);
                pass.controllers.push(PassUnderController {
                    followed: followed[lane],
                    whole: Expected::whole(run, &entry, &rest),
                    entry,
                    rest,
                    rows: rows
                        .map(|(entry, rest)| Expected::whole(run, &entry[lane], &rest[lane]))
                        .collect(),
                });
            }
        }
    }
    all
}
