//! The engine: ground, drive, sensors, side-shift and count of eight passes side by side in plain arrays, or of one alone.
//!
//! ```text
//! for each block of passes:       ground      once for all speeds
//!   for each speed, each machine: drive       once for all controllers: tractor, driver, unshifted implement
//!                                 looks       what the edges would meet with the frame unshifted
//!                                 sensors     camera frames and yaw rate along the drive
//!     for each controller:        shift       numbers to controller to valve to cylinder to frame
//!                                 histogram   of needed clearance: answers every clearance at once
//! ```
//!
//! A machine that differs from the first one in later stages only takes the earlier ones from it (`variants.rs`).
//!
//! The source is compiled for each of [`Registers`] and chosen as the program runs; nothing is fused and no mathematics library of the
//! platform is called, so that every processor gives the same bits, and so does a pass alone or in any company.
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
mod variants;

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
use variants::Shares;

/// Passes side by side.
pub const LANES: usize = 8;

/// What to simulate, the same for all passes.
#[derive(Clone, Copy, Debug)]
pub struct Request<'a> {
    /// Seed of the study.
    pub seed: u64,
    /// Speeds, m/s.
    pub speeds_m_s: &'a [f64],
    /// Clearances, m, rising.
    pub clearances_m: &'a [f64],
    /// Speed at which rows are told apart, m/s.
    pub rows_apart_at_m_s: Option<f64>,
    /// Distance from the row within which tools count as near, m.
    pub room_m: f64,
}

/// A machine, among others that meet the same passes.
#[derive(Clone, Copy, Debug)]
pub struct Variant<'a> {
    /// Controllers; one that the machine lacks stays locked.
    pub kinds: &'a [Kind],
    /// The machine in every pass.
    pub setups: &'a [Setup],
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
    /// The controllers, in the order in which they were asked for.
    pub controllers: Vec<PassUnderController>,
}

/// One pass at every speed that was asked for.
pub type AtSpeeds = Vec<PassAtSpeed>;

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

/// What a block of passes leaves for the next one to write over: fresh memory would cost as much as the passes. Drive, sensors and looks
/// are there twice: those of the first variant, which others may share, and those of the variant at hand.
#[derive(Default)]
struct Scratch<const N: usize> {
    /// Of every variant that has its own.
    grounds: Vec<Ground<N>>,
    drives: [Drive<N>; 2],
    sensors: [Sensors<N>; 2],
    looks: [Looks<N>; 2],
    shift: Shift<N>,
    pooled: Histograms<N>,
    by_row: Histograms<N>,
    /// Tables of the last blocks, with the plants that they are for, and the clearances of all.
    tables: Vec<(Plants, Tables)>,
    clearances_m: Vec<f64>,
}

impl<const N: usize> Scratch<N> {
    /// Works out the tables that are not there yet; gives each machine's place among them.
    fn prepare<'s>(
        &mut self,
        setups: impl Iterator<Item = &'s Setup>,
        clearances_m: &[f64],
    ) -> Vec<usize> {
        if self.clearances_m != clearances_m || self.tables.len() > MOST_TABLES {
            self.tables.clear();
            self.clearances_m = clearances_m.to_vec();
        }
        setups
            .map(|setup| {
                let known = |(plants, _): &(Plants, Tables)| *plants == setup.plants;
                self.tables.iter().position(known).unwrap_or_else(|| {
                    self.tables
                        .push((setup.plants, Tables::new(setup, clearances_m)));
                    self.tables.len() - 1
                })
            })
            .collect()
    }
}

/// Tables that are kept: more than a run has variants of plants.
const MOST_TABLES: usize = 16;

thread_local! {
    static SCRATCH: RefCell<(Scratch<LANES>, Scratch<1>)> = RefCell::default();
}

/// Simulates passes of one machine with its setup in each; gives `[pass][speed]`, in the order given.
///
/// Passes whose setups differ only in entry, alignment, sensor bias and hydraulics run side by side, others alone: what a pass gives does
/// not depend on it.
pub fn run(request: &Request, kinds: &[Kind], setups: &[Setup], passes: &[u64]) -> Vec<AtSpeeds> {
    let mut all = run_variants(request, &[Variant { kinds, setups }], passes);
    all.pop().unwrap_or_default()
}

/// Whether a machine drives and sees as another one in the same passes, so that [`run_variants`] works that out once for both.
pub fn drives_and_sees_as(first: &Setup, other: &Setup) -> bool {
    let own = |setup: &Setup| Own::of(std::array::from_ref(setup), [0]);
    Shares::of((first, &own(first)), (other, &own(other))).sensors
}

/// The same for several machines: `[variant][pass][speed]`. What a machine shares with the first one, from the ground to the sensors, is
/// worked out once; what each gives does not depend on it.
pub fn run_variants(request: &Request, variants: &[Variant], passes: &[u64]) -> Vec<Vec<AtSpeeds>> {
    SCRATCH.with_borrow_mut(|(side_by_side, alone)| {
        run_in(request, variants, passes, side_by_side, alone)
    })
}

fn run_in(
    request: &Request,
    variants: &[Variant],
    passes: &[u64],
    scratch: &mut Scratch<LANES>,
    scratch_alone: &mut Scratch<1>,
) -> Vec<Vec<AtSpeeds>> {
    let mut all = vec![Vec::with_capacity(passes.len()); variants.len()];
    let mut add = |found: Vec<Vec<AtSpeeds>>, count: usize| {
        for (all, found) in all.iter_mut().zip(found) {
            all.extend(found.into_iter().take(count));
        }
    };
    for first in (0..passes.len()).step_by(LANES) {
        let block = first..(first + LANES).min(passes.len());
        let alike = |variant: &Variant| {
            let setups = &variant.setups[block.clone()];
            setups.iter().all(|setup| side_by_side(&setups[0], setup))
        };
        if block.len() > 1 && variants.iter().all(alike) {
            // Lanes without a pass of their own repeat the first one.
            let lane = |i: usize| first + if i < block.len() { i } else { 0 };
            let machines: Vec<Machine<LANES>> = variants
                .iter()
                .map(|one| Machine {
                    kinds: one.kinds,
                    setups: std::array::from_fn(|i| one.setups[lane(i)].clone()),
                })
                .collect();
            let numbers = std::array::from_fn(|i| passes[lane(i)]);
            add(widest(request, &machines, numbers, scratch), block.len());
        } else {
            for pass in block {
                let machines: Vec<Machine<1>> = variants
                    .iter()
                    .map(|one| Machine {
                        kinds: one.kinds,
                        setups: [one.setups[pass].clone()],
                    })
                    .collect();
                add(widest(request, &machines, [passes[pass]], scratch_alone), 1);
            }
        }
    }
    all
}

/// A variant in the passes of one block.
struct Machine<'a, const N: usize> {
    kinds: &'a [Kind],
    setups: [Setup; N],
}

/// Registers that the engine is compiled for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Registers {
    /// Those that every processor of the platform has.
    Baseline,
    /// Four passes in one of AVX2.
    Avx2,
}

impl Registers {
    /// All that this processor has, the narrowest first.
    pub fn here() -> Vec<Registers> {
        let all = [Registers::Baseline, Registers::Avx2];
        all.into_iter().filter(|one| one.is_here()).collect()
    }

    #[inline]
    fn is_here(self) -> bool {
        // The library's unit tests do without: each copy of the engine takes time to build, and tests/checks/engine.rs holds all of them
        // against each other.
        #[cfg(all(target_arch = "x86_64", not(test)))]
        return match self {
            Registers::Baseline => true,
            Registers::Avx2 => std::arch::is_x86_feature_detected!("avx2"),
        };
        #[cfg(not(all(target_arch = "x86_64", not(test))))]
        return self == Registers::Baseline;
    }
}

/// The engine as compiled for the widest registers that this processor has.
fn widest<const N: usize>(
    request: &Request,
    machines: &[Machine<N>],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<AtSpeeds>> {
    // One pass alone fills no wide register.
    let registers = if N > 1 && Registers::Avx2.is_here() {
        Registers::Avx2
    } else {
        Registers::Baseline
    };
    on(registers, request, machines, passes, scratch)
}

fn on<const N: usize>(
    registers: Registers,
    request: &Request,
    machines: &[Machine<N>],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<AtSpeeds>> {
    #[cfg(all(target_arch = "x86_64", not(test)))]
    if registers == Registers::Avx2 && registers.is_here() {
        #[allow(unsafe_code)]
        // SAFETY: the processor has what the function asks for.
        return unsafe { with_avx2(request, machines, passes, scratch) };
    }
    let _ = registers;
    on_baseline(request, machines, passes, scratch)
}

// Never inlined, so that whoever calls it shares one copy.
#[inline(never)]
fn on_baseline<const N: usize>(
    request: &Request,
    machines: &[Machine<N>],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<AtSpeeds>> {
    simulate(request, machines, passes, scratch)
}

#[cfg(all(target_arch = "x86_64", not(test)))]
#[target_feature(enable = "avx2")]
fn with_avx2<const N: usize>(
    request: &Request,
    machines: &[Machine<N>],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<AtSpeeds>> {
    simulate(request, machines, passes, scratch)
}

/// [`run`] on registers of choice, for tests and benchmarks; where the processor lacks them on the baseline.
pub fn run_on(
    registers: Registers,
    request: &Request,
    kinds: &[Kind],
    setups: &[Setup; LANES],
    passes: [u64; LANES],
) -> Vec<AtSpeeds> {
    let machine = Machine {
        kinds,
        setups: setups.clone(),
    };
    SCRATCH.with_borrow_mut(|(scratch, _)| {
        let mut all = on(registers, request, &[machine], passes, scratch);
        all.pop().unwrap_or_default()
    })
}

#[inline(always)]
fn simulate<const N: usize>(
    request: &Request,
    machines: &[Machine<N>],
    passes: [u64; N],
    scratch: &mut Scratch<N>,
) -> Vec<Vec<AtSpeeds>> {
    let places = scratch.prepare(
        machines.iter().map(|machine| &machine.setups[0]),
        request.clearances_m,
    );
    let Scratch {
        grounds,
        drives,
        sensors,
        looks,
        shift,
        pooled,
        by_row,
        tables,
        ..
    } = scratch;
    let owns: Vec<Own<N>> = machines
        .iter()
        .map(|machine| Own::of(&machine.setups, passes))
        .collect();
    let shares: Vec<Shares> = machines
        .iter()
        .enumerate()
        .map(|(place, machine)| match place {
            0 => Shares::default(),
            _ => Shares::of(
                (&machines[0].setups[0], &owns[0]),
                (&machine.setups[0], &owns[place]),
            ),
        })
        .collect();
    let same_valves: Vec<bool> = machines
        .iter()
        .map(|machine| {
            let mut others = machine.setups.iter();
            others.all(|other| other.hydraulics == machine.setups[0].hydraulics)
        })
        .collect();
    if grounds.len() < machines.len() {
        grounds.resize_with(machines.len(), Ground::default);
    }
    for (place, machine) in machines.iter().enumerate() {
        if !shares[place].ground {
            grounds[place].draw_again(&machine.setups[0], request.seed, passes);
        }
    }
    let mut all = vec![vec![Vec::with_capacity(request.speeds_m_s.len()); N]; machines.len()];

    for &speed_m_s in request.speeds_m_s {
        for (place, machine) in machines.iter().enumerate() {
            let (setup, own, shares) = (&machine.setups[0], &owns[place], shares[place]);
            let ground = &grounds[if shares.ground { 0 } else { place }];
            // What all controllers share comes first: a drive with its frames takes as long as three of them.
            let mine = usize::from(place > 0);
            let of = |shared: bool| if shared { 0 } else { mine };
            if !shares.drive {
                drives[mine].again(setup, ground, request.seed, own, speed_m_s);
                let on_line = matches!(setup.driver, Driver::SatelliteLine(_));
                looks[mine].along(setup, ground, &drives[mine], on_line);
            }
            let (drive, looks) = (&drives[of(shares.drive)], &looks[of(shares.drive)]);
            if !shares.sensors {
                sensors[mine].observe_again(setup, ground, drive, request.seed, own);
            }
            let sensors = &sensors[of(shares.sensors)];
            let (_, tables) = &tables[places[place]];
            let rows = setup.rows.offset_m.len();
            let apart = request.rows_apart_at_m_s == Some(speed_m_s);
            pooled.reset(tables, 1);
            by_row.reset(tables, if apart { rows } else { 0 });
            // No plant is drawn here: so many are expected to stand, and the tables integrate over where each of them does.
            let per_metre = rows as f64 / setup.plants.spacing_m * setup.plants.emergence;
            let run = &setup.run;
            let stand = [
                per_metre * run.entry_length_m,
                per_metre * (run.length_m - run.entry_length_m),
            ];
            let axle = looks.axle();
            let lost = looks.lost();
            let unmet = looks.unmet;
            for (lane, passes) in all[place].iter_mut().enumerate() {
                let wanted_m = looks
                    .wanted_m
                    .iter()
                    .enumerate()
                    .filter(|&(look, _)| looks.is_counted(look, lane));
                passes.push(PassAtSpeed {
                    wanted_m: wanted_m.map(|(_, wanted_m)| wanted_m.0[lane]).collect(),
                    axle: axle.map(|sum| sum.0[lane]),
                    lost: lost.0[lane] != 0.0,
                    controllers: Vec::with_capacity(machine.kinds.len()),
                });
            }
            for &kind in machine.kinds {
                let driven = drive.driven();
                if same_valves[place] {
                    shift::run(setup, own, driven, sensors, kind, looks.every(), shift);
                } else {
                    let setups = &machine.setups;
                    shift::run_apart(setups, own, driven, sensors, kind, looks.every(), shift);
                }
                let followed = looks.followed(shift, request.room_m);
                // Entry and rest: of all rows, then of each, by lane. Loops, as what a closure does may stay in narrow registers.
                let mut stretches: [Vec<[Expected; N]>; 2] = [Vec::new(), Vec::new()];
                for (stretch, found) in stretches.iter_mut().enumerate() {
                    let (in_entry, plants, unmet) = (stretch == 0, stand[stretch], unmet[stretch]);
                    pooled.fill(tables, looks, shift, in_entry);
                    found.push(pooled.expected(tables, 0, plants, unmet));
                    if apart {
                        by_row.fill(tables, looks, shift, in_entry);
                        for row in 0..rows {
                            found.push(by_row.expected(tables, row, plants / rows as f64, unmet));
                        }
                    }
                }
                let [of_entry, of_rest] = stretches;
                for (lane, passes) in all[place].iter_mut().enumerate() {
                    let Some(pass) = passes.last_mut() else {
                        continue;
                    };
                    let both = of_entry.iter().zip(&of_rest);
                    let mut whole = both.map(|(e, r)| Expected::whole(run, &e[lane], &r[lane]));
                    pass.controllers.push(PassUnderController {
                        followed: followed[lane],
                        whole: whole.next().unwrap_or_default(),
                        rows: whole.collect(),
                        entry: of_entry[0][lane].clone(),
                        rest: of_rest[0][lane].clone(),
                    });
                }
            }
        }
    }
    all
}
