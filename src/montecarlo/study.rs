//! A study: many passes at every speed under every controller, cut into fixed blocks so that neither the number of threads
//! nor the moment of a stop can change a bit of what a pass adds.

use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;
use thiserror::Error;

use super::linear_sums::LinearSums;
use super::tally::{TRADE_ROOM_M, Tally};
use crate::lanes::deviates::PassStreams;
use crate::lanes::{self, Request};
use crate::linear::{self, Unstable};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::Results;
use crate::scenario::Scenario;
use crate::sim::trace::{Trace, View};

/// Passes of one block: the unit of work, of stopping and of merging.
pub const BLOCK_PASSES: u64 = lanes::LANES as u64;

/// What to study.
#[derive(Clone, Copy, Debug)]
pub struct Plan<'a> {
    /// Scenario.
    pub scenario: &'a Scenario,
    /// Seed of all random numbers; 0 is a seed like any other.
    pub seed: u64,
    /// Number of passes, at least 1.
    pub passes: u64,
    /// Threads; `None`: as many as the machine has cores.
    pub threads: Option<usize>,
}

/// Who watches a study.
pub trait Watch: Sync {
    /// So many passes of so many are done.
    fn passes_done(&self, done: u64, of: u64);
    /// True once the study should stop.
    fn interrupted(&self) -> bool;
}

/// Nobody watches.
pub struct Unwatched;

impl Watch for Unwatched {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn interrupted(&self) -> bool {
        false
    }
}

/// What a study gives.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Results.
    pub results: Results,
    /// Pass 0 under every controller at the working speed and clearance.
    pub traces: Vec<Trace>,
}

/// Why a study did not come to an end.
#[derive(Debug, Error)]
pub enum StudyError {
    /// A loop is unstable.
    #[error(transparent)]
    Unstable(#[from] Unstable),
    /// Somebody stopped it.
    #[error("stopped after {done} of {of} passes")]
    Interrupted {
        /// Passes done.
        done: u64,
        /// Passes wanted.
        of: u64,
    },
    /// The machine gave no threads.
    #[error("no worker threads: {0}")]
    Threads(#[from] rayon::ThreadPoolBuildError),
    /// No pass was asked for.
    #[error("a study needs at least 1 pass")]
    NoPasses,
    /// A controller that the machine cannot run was asked for.
    #[error("{} cannot run: {reason}", kind.name())]
    Lacks {
        /// The controller.
        kind: Kind,
        /// What is missing.
        reason: &'static str,
    },
}

/// Everything that passes add up to: `tallies[speed][controller]`.
#[derive(Clone, Debug)]
pub(super) struct Sums {
    pub tallies: Vec<Vec<Tally>>,
    pub linear: LinearSums,
}

impl Sums {
    fn new(rows: usize, speeds: usize, kinds: usize, clearances: usize) -> Self {
        Self {
            tallies: vec![vec![Tally::new(rows, clearances); kinds]; speeds],
            linear: LinearSums::default(),
        }
    }

    fn merge(&mut self, next: &Sums) {
        for (mine, theirs) in self.tallies.iter_mut().zip(&next.tallies) {
            for (mine, theirs) in mine.iter_mut().zip(theirs) {
                mine.merge(theirs);
            }
        }
        self.linear.merge(&next.linear);
    }
}

/// Controllers of the scenario that its machine can run, in output order.
pub(super) fn runnable(scenario: &Scenario) -> Vec<Kind> {
    let setup = scenario.nominal();
    let kinds = scenario.study().controllers.iter().copied();
    kinds.filter(|&kind| setup.lacks(kind).is_none()).collect()
}

/// Refuses an unstable loop before any run.
fn check_stable(scenario: &Scenario) -> Result<(), Unstable> {
    let setup = scenario.nominal();
    for kind in runnable(scenario) {
        for &speed_m_s in &scenario.study().speeds_m_s {
            linear::check_stable(&setup, kind, speed_m_s)?;
        }
    }
    Ok(())
}

/// Runs a study.
///
/// # Errors
///
/// An unstable loop before any pass; an interrupt; no passes; no threads.
pub fn study(plan: &Plan, watch: &dyn Watch) -> Result<Outcome, StudyError> {
    if plan.passes == 0 {
        return Err(StudyError::NoPasses);
    }
    check_stable(plan.scenario)?;
    let kinds = runnable(plan.scenario);
    let sums = simulate(plan, &kinds, watch)?;
    let results = super::summary::results(plan, &kinds, &sums);
    let study = plan.scenario.study();
    let traces = kinds
        .iter()
        .map(|&kind| {
            let view = View {
                kind,
                speed_m_s: study.working_speed_m_s,
                clearance_m: study.working_clearance_m,
                seed: plan.seed,
                pass: 0,
            };
            trace(&plan.scenario.draw(plan.seed, 0), view)
        })
        .collect();
    Ok(Outcome { results, traces })
}

/// Simulates one pass of a study.
///
/// # Errors
///
/// An unstable loop; a controller that the machine cannot run.
pub fn one_pass(scenario: &Scenario, view: View) -> Result<Trace, StudyError> {
    let setup = scenario.draw(view.seed, view.pass);
    if let Some(reason) = setup.lacks(view.kind) {
        return Err(StudyError::Lacks {
            kind: view.kind,
            reason,
        });
    }
    linear::check_stable(&setup, view.kind, view.speed_m_s)?;
    Ok(trace(&setup, view))
}

/// The reference walks through the pass that the fast engine simulates, on its deviates.
fn trace(setup: &Setup, view: View) -> Trace {
    Trace::of(
        setup,
        view,
        &PassStreams {
            seed: view.seed,
            pass: view.pass,
        },
    )
}

fn simulate(plan: &Plan, kinds: &[Kind], watch: &dyn Watch) -> Result<Sums, StudyError> {
    let study = plan.scenario.study();
    let nominal = plan.scenario.nominal();
    let nominal_linear = LinearSums::of(&nominal, &study.speeds_m_s, kinds);
    let empty = Sums::new(
        nominal.rows.offset_m.len(),
        study.speeds_m_s.len(),
        kinds.len(),
        study.clearances_m.len(),
    );

    let mut builder = rayon::ThreadPoolBuilder::new();
    if let Some(threads) = plan.threads {
        builder = builder.num_threads(threads);
    }
    let pool = builder.build()?;
    let done = AtomicU64::new(0);
    let block = |index: u64| {
        let mut sums = empty.clone();
        if watch.interrupted() {
            return None;
        }
        let first = index * BLOCK_PASSES;
        let passes: Vec<u64> = (first..(first + BLOCK_PASSES).min(plan.passes)).collect();
        add_passes(plan, kinds, &nominal_linear, &passes, &mut sums);
        let count = passes.len() as u64;
        watch.passes_done(
            done.fetch_add(count, Ordering::Relaxed) + count,
            plan.passes,
        );
        Some(sums)
    };

    let blocks = plan.passes.div_ceil(BLOCK_PASSES);
    let wave = 4 * pool.current_num_threads() as u64;
    let mut total = empty.clone();
    let mut next = 0;
    while next < blocks {
        let end = (next + wave).min(blocks);
        let finished: Vec<Option<Sums>> =
            pool.install(|| (next..end).into_par_iter().map(block).collect());
        for sums in finished {
            let interrupted = StudyError::Interrupted {
                done: done.load(Ordering::Relaxed),
                of: plan.passes,
            };
            total.merge(&sums.ok_or(interrupted)?);
        }
        next = end;
    }
    Ok(total)
}

/// Simulates the passes of one block side by side and adds them in order.
fn add_passes(
    plan: &Plan,
    kinds: &[Kind],
    nominal_linear: &LinearSums,
    passes: &[u64],
    sums: &mut Sums,
) {
    let study = plan.scenario.study();
    let setups: Vec<Setup> = passes
        .iter()
        .map(|&pass| plan.scenario.draw(plan.seed, pass))
        .collect();
    let request = Request {
        seed: plan.seed,
        speeds_m_s: &study.speeds_m_s,
        kinds,
        clearances_m: &study.clearances_m,
        rows_apart_at_m_s: Some(study.working_speed_m_s),
        room_m: TRADE_ROOM_M,
    };
    for (pass, setup) in lanes::run(&request, &setups, passes).iter().zip(&setups) {
        sums.linear.merge(&if plan.scenario.linear_varies() {
            LinearSums::of(setup, &study.speeds_m_s, kinds)
        } else {
            nominal_linear.with_means_of(setup, &study.speeds_m_s, kinds)
        });
        for (by_kind, at_speed) in sums.tallies.iter_mut().zip(pass) {
            for (tally, under_controller) in by_kind.iter_mut().zip(&at_speed.controllers) {
                tally.add_expected(under_controller, at_speed.axle);
            }
            if let Some(first) = by_kind.first_mut() {
                for &demand_m in &at_speed.demand_m {
                    first.demand.add(demand_m);
                }
            }
        }
    }
}
