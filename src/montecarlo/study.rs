//! A study: many passes at every speed under every controller. A pass depends on its number alone and the sums are exact, so that
//! neither threads, parts nor the moment of a stop can change a bit of the whole.

use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};

use thiserror::Error;

use super::contrast::{Contrast, contrasts};
use super::decide::{self, undecided};
use super::fields::together;
use super::linear_sums::LinearSums;
use super::plan::working_speed;
use super::saved::Saved;
use super::sums::Sums;
use super::tally::TRADE_ROOM_M;
use super::workers::{NoThreads, Workers};
use crate::linear::{self, Unstable};
use crate::model::controller::{Kind, Lack};
use crate::model::driver::Driver;
use crate::model::setup::Setup;
use crate::model::tractor::LOST_OFFSET_M;
use crate::results::{self, Results};
use crate::scenario::{FIELD_PASSES, Scenario};
use crate::sim::trace::{Trace, View};
use crate::sim::{self, AtSpeeds, Request};

pub(crate) use super::plan::runnable;
pub(super) use super::plan::working_clearance;
pub use super::plan::{BLOCK_PASSES, MOST_PARTS, MOST_PASSES, Part, Plan, Until};
pub use super::watch::{Unwatched, Watch};

/// Of every 64 fields these first ones are checked linearly, where fields differ (our choice): they fill what is not known
/// evenly. On the demo their error agrees with that of all within 0.2 %, the variance of a single source within 1.4 %, while the check of
/// every field took an eighth of a study's processor time.
const LINEAR_FIELDS: u64 = 16;

/// A study whose tractor loses the row in more than this share of the passes at the slowest speed says nothing about the machine (our
/// choice).
const MOST_LOST: f64 = 0.25;

/// What a study gives.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Results.
    pub results: Results,
    /// Pass 0 under every controller at the working speed and clearance.
    pub traces: Vec<Trace>,
    /// One other pass in the same way, in the same order: the worst pass, as `results.worst_passes` has it, of the guided controller
    /// that the answer speaks of (`results.answer.fastest`, else `fewest`; if that is the locked one or missing, the first that
    /// guides, else the first). May be pass 0 again; empty for a run without any pass.
    pub worst: Vec<Trace>,
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
    #[error(transparent)]
    Threads(#[from] NoThreads),
    /// No pass was asked for, or more than sums can hold.
    #[error("a study needs 1 to {MOST_PASSES} passes")]
    Passes,
    /// The tractor does not stay on the field.
    #[error(
        "even at {:.1} km/h, the slowest speed, the tractor loses the row in {lost} of {passes} passes: it stands across it or more than {LOST_OFFSET_M} m off. \
         The likely cause: {cause}",
        3.6 * speed_m_s
    )]
    RowLost {
        /// The slowest speed, m/s.
        speed_m_s: f64,
        /// Passes that lost the row.
        lost: u64,
        /// Passes.
        passes: u64,
        /// What to look at first.
        cause: String,
    },
    /// Nothing that the scenario allows fits its notes.
    #[error(
        "nothing that the scenario says of this farm fits its notes: look for a slip of the pen in [[notes]], or at values that are written as known and are not"
    )]
    Notes,
    /// Notes that nothing can be learned from.
    #[error(
        "nothing can be learned from the notes: the settings that they speak of could not be worked out over many fields"
    )]
    NotesUnfit,
    /// A controller that the machine cannot run was asked for.
    #[error("{} cannot run: {reason}", kind.name())]
    Lacks {
        /// The controller.
        kind: Kind,
        /// What is missing.
        reason: Lack,
    },
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

/// Refuses a study whose tractor does not even stay on the field at the slowest speed.
fn check_on_row(scenario: &Scenario, saved: &Saved) -> Result<(), StudyError> {
    let study = scenario.study();
    let (Some(&speed_m_s), Some(&lost)) =
        (study.speeds_m_s.first(), saved.sums.lost_passes.first())
    else {
        return Ok(());
    };
    let passes = saved.passes();
    if lost as f64 <= MOST_LOST * passes as f64 {
        return Ok(());
    }
    let setup = scenario.nominal();
    let sharpest_1_m = setup.line.sharpest_1_m();
    let driver = match &setup.driver {
        Driver::Hand(_) => {
            "a driver whose seeing and steering errors are too large, or whose preview does not suit the speed; look at [driver.hand]"
        }
        Driver::SatelliteLine(_) => {
            "a receiver with too much noise or drift, or a natural frequency that does not suit the speed; look at [driver.satellite_line]"
        }
        Driver::Replay(_) => {
            "a logged pass that lies metres off the planned line; look at the log's units and line"
        }
    };
    let cause = if sharpest_1_m * LOST_OFFSET_M > MOST_BEND {
        format!(
            "a bend of {:.1} m radius; look at the planned line, [line]",
            1.0 / sharpest_1_m
        )
    } else {
        driver.to_owned()
    };
    Err(StudyError::RowLost {
        speed_m_s,
        lost,
        passes,
        cause,
    })
}

/// A bend is sharp where it turns by more than this, rad, over the offset at which a row counts as lost (our choice: a radius below
/// 25 m).
const MOST_BEND: f64 = 0.2;

/// How far a run came.
#[derive(Clone, Debug)]
pub struct Run {
    /// The passes so far.
    pub saved: Saved,
    /// False if it was stopped on its way.
    pub complete: bool,
}

/// Simulates a study from its start to its end, without the answers that follow ([`crate::study::study`] works them out too).
///
/// # Errors
///
/// An unstable loop before any pass; an interrupt; a number of passes that makes no sense; a tractor that loses the row; no threads.
pub fn without_answers(plan: &Plan, watch: &dyn Watch) -> Result<Outcome, StudyError> {
    let run = run(plan, None, watch)?;
    if run.complete {
        Ok(outcome(plan, &run))
    } else {
        Err(StudyError::Interrupted {
            done: run.saved.passes(),
            of: plan.until.most_passes(),
        })
    }
}

/// Runs a study, or goes on with one, until it is complete or stopped. What does not lead to the plan ([`Saved::leads_to`]) is not used.
/// Where something is not known, it takes passes over whole fields.
///
/// # Errors
///
/// An unstable loop before any pass; a number of passes that makes no sense; a tractor that loses the row; no threads.
pub fn run(plan: &Plan, from: Option<Saved>, watch: &dyn Watch) -> Result<Run, StudyError> {
    let plan = &plan.in_whole_fields();
    let most_passes = plan.until.most_passes();
    if !(1..=MOST_PASSES).contains(&most_passes) {
        return Err(StudyError::Passes);
    }
    check_stable(plan.scenario)?;
    let kinds = runnable(plan.scenario);
    let engine = Engine::new(plan, &kinds, watch)?;
    let mut saved = from
        .filter(|saved| saved.leads_to(plan).is_ok())
        .unwrap_or_else(|| Saved::new(plan, Sums::new(plan.scenario)));
    let complete = loop {
        let done = saved.passes();
        if done >= most_passes {
            break true;
        }
        let looks = matches!(plan.until, Until::Decided { .. });
        // Before more passes are taken: a study that was stopped at a look decides as one that was not.
        if looks && decide::is_look(done) && undecided(plan.scenario, &saved.sums).is_empty() {
            break true;
        }
        let goal = if looks {
            decide::next_look(done).min(most_passes)
        } else {
            most_passes
        };
        let (sums, passes) = engine.simulate(done..goal);
        saved.add(&sums, passes);
        check_on_row(plan.scenario, &saved)?;
        if saved.passes() < goal {
            break false;
        }
    };
    Ok(Run { saved, complete })
}

/// What passes add up to, without any pass driven again.
pub fn results(plan: &Plan, run: &Run) -> Results {
    super::summary::results(plan, &runnable(plan.scenario), &run.saved, run.complete)
}

/// What a run found, with the first pass of the study and the worst one under every controller. A run without any pass says nothing.
pub fn outcome(plan: &Plan, run: &Run) -> Outcome {
    let kinds = runnable(plan.scenario);
    let results = results(plan, run);
    let study = plan.scenario.study();
    // Drawn and driven again: nothing but sums is kept of a pass.
    let under_all = |pass: u64| -> Vec<Trace> {
        let setup = plan.scenario.draw(plan.seed, pass);
        let under = |&kind: &Kind| {
            let view = View {
                kind,
                speed_m_s: study.working_speed_m_s,
                clearance_m: study.working_clearance_m,
                seed: plan.seed,
                pass,
            };
            Trace::of(&setup, view)
        };
        kinds.iter().map(under).collect()
    };
    let worst = answering(&results, &kinds).and_then(|kind| {
        let of_kind = |worst: &&results::WorstPass| worst.controller == kind;
        results.worst_passes.iter().find(of_kind)
    });
    let worst = worst.map_or_else(Vec::new, |worst| under_all(worst.pass));
    Outcome {
        traces: under_all(0),
        worst,
        results,
    }
}

/// The guided controller that the answer speaks of, else the first that guides, else the first.
fn answering(results: &Results, kinds: &[Kind]) -> Option<Kind> {
    let answer = &results.answer;
    let guides = |kind: &Kind| kind.moves();
    let answered = answer.fastest.as_ref().or(answer.fewest.as_ref());
    answered
        .map(|choice| choice.controller)
        .filter(guides)
        .or_else(|| kinds.iter().copied().find(guides))
        .or_else(|| kinds.first().copied())
}

/// Simulates one pass of a study.
///
/// # Errors
///
/// An unstable loop; a controller that the machine cannot run.
pub fn one_pass(scenario: &Scenario, view: View) -> Result<Trace, StudyError> {
    let setup = scenario.draw(view.seed, view.pass);
    if let Some(reason) = view.kind.lacks(&setup) {
        return Err(StudyError::Lacks {
            kind: view.kind,
            reason,
        });
    }
    linear::check_stable(&setup, view.kind, view.speed_m_s)?;
    Ok(Trace::of(&setup, view))
}

/// What all blocks need.
struct Engine<'a> {
    plan: &'a Plan<'a>,
    kinds: &'a [Kind],
    watch: &'a dyn Watch,
    workers: Workers,
    nominal_linear: LinearSums,
    contrasts: Vec<Contrast>,
    working_speed: usize,
    working_clearance: usize,
}

impl<'a> Engine<'a> {
    fn new(
        plan: &'a Plan<'a>,
        kinds: &'a [Kind],
        watch: &'a dyn Watch,
    ) -> Result<Self, StudyError> {
        let study = plan.scenario.study();
        Ok(Self {
            plan,
            kinds,
            watch,
            workers: Workers::new(plan.threads)?,
            nominal_linear: LinearSums::of(&plan.scenario.nominal(), &study.speeds_m_s, kinds),
            contrasts: contrasts(study, kinds.len()),
            working_speed: working_speed(plan.scenario).unwrap_or(0),
            working_clearance: working_clearance(plan.scenario).unwrap_or(0),
        })
    }

    /// Simulates these passes of the plan, or as many of the first of them as there is time for, and says how many. Each thread
    /// keeps sums of its own.
    fn simulate(&self, passes: Range<u64>) -> (Sums, u64) {
        let first = self.plan.until.first_pass();
        let start = first + passes.start;
        let end = first + passes.end;
        let blocks = (end - start).div_ceil(BLOCK_PASSES);
        let most_passes = self.plan.until.most_passes();
        let next = AtomicU64::new(0);
        let done = AtomicU64::new(passes.start);
        let empty = Sums::new(self.plan.scenario);
        let by_thread = self.workers.each(|| {
            let mut sums = empty.clone();
            while !self.watch.stop() {
                // A block that is taken is finished: what is done has no gaps.
                let block = next.fetch_add(1, Ordering::Relaxed);
                if block >= blocks {
                    break;
                }
                let from = start + block * BLOCK_PASSES;
                let passes: Vec<u64> = (from..(from + BLOCK_PASSES).min(end)).collect();
                self.add_passes(&passes, &mut sums);
                let count = passes.len() as u64;
                let before = done.fetch_add(count, Ordering::Relaxed);
                self.watch.passes_done(before + count, most_passes);
            }
            sums
        });
        let mut total = empty;
        for sums in &by_thread {
            total.merge(sums);
        }
        (total, done.load(Ordering::Relaxed) - passes.start)
    }

    /// Simulates passes side by side and adds them.
    fn add_passes(&self, passes: &[u64], sums: &mut Sums) {
        let Plan { scenario, seed, .. } = *self.plan;
        let study = scenario.study();
        let setups: Vec<Setup> = passes
            .iter()
            .map(|&pass| scenario.draw(seed, pass))
            .collect();
        let request = Request {
            seed,
            speeds_m_s: &study.speeds_m_s,
            clearances_m: &study.clearances_m,
            rows_apart_at_m_s: Some(study.working_speed_m_s),
            room_m: TRADE_ROOM_M,
        };
        let simulated = sim::run(&request, self.kinds, &setups, passes);
        let field = passes.first().copied().unwrap_or(0) / FIELD_PASSES;
        self.add_linear(field, &setups, sums);
        for (pass, &number) in simulated.iter().zip(passes) {
            for (lost, at_speed) in sums.lost_passes.iter_mut().zip(pass) {
                *lost += u64::from(at_speed.lost);
            }
            let at_work = &pass[self.working_speed].controllers;
            for (worst, under_controller) in sums.worst_passes.iter_mut().zip(at_work) {
                let whole = &under_controller.whole;
                worst.add(number, whole.cut[self.working_clearance], whole.plants);
            }
        }
        match &mut sums.fields {
            // Passes over one field share what is not known: all limits count them as one.
            Some(fields) => {
                fields.add(field, &simulated);
                let together = together(simulated);
                together.iter().for_each(|field| self.add_unit(field, sums));
            }
            None => simulated.iter().for_each(|pass| self.add_unit(pass, sums)),
        }
    }

    /// Adds the linear check of passes side by side, which go over a field.
    fn add_linear(&self, field: u64, setups: &[Setup], sums: &mut Sums) {
        let scenario = self.plan.scenario;
        let speeds_m_s = &scenario.study().speeds_m_s;
        let anew = |setup: &Setup| LinearSums::of(setup, speeds_m_s, self.kinds);
        // The linear check is dear: worked out for every pass only where what it depends on is drawn anew.
        if scenario.linear_varies() {
            setups
                .iter()
                .for_each(|setup| sums.linear.merge(&anew(setup)));
            return;
        }
        let differs = scenario.linear_differs_by_field();
        if differs && field % 64 >= LINEAR_FIELDS {
            return;
        }
        let of_field = differs.then(|| anew(&setups[0]));
        let variances = of_field.as_ref().unwrap_or(&self.nominal_linear);
        for setup in setups {
            let own = variances.with_means_of(setup, speeds_m_s, self.kinds);
            sums.linear.merge(&own);
        }
    }

    /// Adds a pass, or a field with all its passes: what limits count as one.
    fn add_unit(&self, unit: &AtSpeeds, sums: &mut Sums) {
        sums.differences
            .add(&self.contrasts, unit, self.working_clearance);
        for (by_kind, at_speed) in sums.tallies.iter_mut().zip(unit) {
            for (tally, under_controller) in by_kind.iter_mut().zip(&at_speed.controllers) {
                tally.add(under_controller, at_speed.axle);
            }
            // What the rows want is the same under every controller: kept once.
            if let Some(first) = by_kind.first_mut() {
                for &wanted_m in &at_speed.wanted_m {
                    first.demand.add(wanted_m);
                }
            }
        }
    }
}
