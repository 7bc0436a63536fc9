//! The whole study in one call: many passes, what they add up to, and the answers that follow from it.
//!
//! ```
//! use rowroom::scenario::Scenario;
//! use rowroom::study::{Plan, Until, Unwatched, study};
//!
//! let scenario = Scenario::demo()?;
//! let plan = Plan {
//!     scenario: &scenario,
//!     seed: 1,
//!     until: Until::Passes(8),
//!     threads: None,
//! };
//! let found = study(&plan, None, &Unwatched)?;
//! assert!(found.results.complete);
//! match &found.results.answers.recommended {
//!     Some(setting) => println!("{:.1} km/h", 3.6 * setting.speed_m_s),
//!     None => println!("no simulated setting keeps every limit"),
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::answers::assured::Setting;
use crate::answers::grid::settled;
use crate::answers::trial::Stopped;
use crate::answers::{none, work_out};
use crate::montecarlo::farms::Farms;
use crate::montecarlo::learning::learned;
use crate::montecarlo::study::{Outcome, Run, outcome, results, run};
use crate::results::Results;
use crate::sim::trace::Trace;

pub use crate::montecarlo::saved::Saved;
pub use crate::montecarlo::study::{Part, Plan, StudyError, Until, Unwatched, Watch};

/// What a study found.
#[derive(Clone, Debug)]
pub struct Study {
    /// Every number, with the answers. Where the study was cut short, `complete` is false and every answer says so instead.
    pub results: Results,
    /// Pass 0 under every controller at the working speed and clearance.
    pub traces: Vec<Trace>,
    /// The worst pass in the same way, see [`Outcome::worst`].
    pub worst: Vec<Trace>,
    /// The passes themselves, exact sums, for a study that goes on from here.
    pub saved: Saved,
}

/// Simulates a study, or goes on with one, and works out its answers. Speeds and clearances that the scenario leaves open are chosen first,
/// and what its notes teach is worked out. Passes that do not lead to the plan ([`Saved::leads_to`]) are not used; those of all parts of a
/// study put together ([`Saved::put_together`]) lead to the answers at once. For the passes of one part alone take [`run`].
///
/// # Errors
///
/// An unstable loop before any pass; a number of passes that makes no sense; a tractor that loses the row; no threads; the watch
/// stopped it before any pass was done, or did not want the answers ([`Watch::simulated`]).
pub fn study(plan: &Plan, from: Option<Saved>, watch: &dyn Watch) -> Result<Study, StudyError> {
    let plan = &plan.in_whole_fields();
    let most_passes = plan.until.most_passes();
    let stopped_after = |done| StudyError::Interrupted {
        done,
        of: most_passes,
    };
    let scenario = learned(plan.scenario.clone(), plan.seed, plan.threads, watch)?;
    let scenario = match settled(scenario, plan.seed, plan.threads, watch) {
        Ok(scenario) => scenario,
        Err(Stopped::Watch) => return Err(stopped_after(0)),
        Err(Stopped::Threads(none)) => return Err(none.into()),
    };
    let plan = &Plan {
        scenario: &scenario,
        ..*plan
    };
    let run = run(plan, from, watch)?;
    let passes = run.saved.passes();
    if passes == 0 || !watch.simulated(&run.saved, run.complete) {
        return Err(stopped_after(passes));
    }
    let found = outcome(plan, &run);
    with_answers(plan, run, found, watch)
}

/// What passes so far say, and what farms like this one may see of it where something is not known, without the answers that follow.
pub fn so_far(plan: &Plan, saved: &Saved) -> (Results, Option<Farms>) {
    let plan = &plan.in_whole_fields();
    let run = Run {
        saved: saved.clone(),
        complete: false,
    };
    let mut results = results(plan, &run);
    let farms = Farms::told(plan, saved, &mut results);
    (results, farms)
}

fn with_answers(
    plan: &Plan,
    run: Run,
    found: Outcome,
    watch: &dyn Watch,
) -> Result<Study, StudyError> {
    let Outcome {
        mut results,
        traces,
        worst,
    } = found;
    let answers = if run.complete {
        let farms = Farms::told(plan, &run.saved, &mut results);
        match work_out(plan, &results, farms.as_ref(), watch) {
            Ok(answers) => {
                let setting = Setting::of(&answers, &results);
                let place = setting.and_then(|setting| setting.place(&results));
                if let (Some(farms), Some(place)) = (&farms, place) {
                    farms.tell_what_carries(plan.seed, place, &mut results);
                }
                Some(answers)
            }
            Err(Stopped::Watch) => None,
            Err(Stopped::Threads(none)) => return Err(none.into()),
        }
    } else {
        None
    };
    results.complete = answers.is_some();
    results.answers = answers.unwrap_or_else(none);
    Ok(Study {
        results,
        traces,
        worst,
        saved: run.saved,
    })
}
