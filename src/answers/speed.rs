//! How fast, here? The highest simulated speed of every controller at every clearance, and what stands in the way.

use super::changes::{self, Change};
use super::trial::{Ask, Cell, Stopped, Trials, as_it_is};
use super::words::{self, Words};
use crate::linear;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::answers::{Cause, SpeedAnswer, Status};
use crate::results::{Results, StrikeRate};

/// Step to which the highest speed is refined, m/s: 0.1 km/h.
pub const STEP_M_S: f64 = 1.0 / 36.0;

/// Most passes with which causes are taken away; their differences are known far better than a rate.
const CAUSE_PASSES: u64 = 128;

/// Where one controller stands at one clearance.
#[derive(Clone, Debug)]
struct Search {
    kind: usize,
    clearance: usize,
    /// Fastest speed that keeps the allowed rate, as every slower one tested does.
    kept: Option<Tested>,
    /// Slowest speed beyond it that does not.
    failed: Option<Tested>,
    /// Index of the study's slowest speed that fails.
    first_failing: Option<usize>,
}

/// A speed with the rate there.
#[derive(Clone, Copy, Debug)]
struct Tested {
    speed_m_s: f64,
    rate: f64,
    upper: f64,
}

impl Tested {
    fn of(cell: &StrikeRate) -> Self {
        Self {
            speed_m_s: cell.speed_m_s,
            rate: cell.rate,
            upper: cell.upper,
        }
    }
}

impl Search {
    /// From the study's own speeds.
    fn start(results: &Results, kinds: &[Kind], kind: usize, clearance: usize) -> Self {
        let clearance_m = results.clearances_m[clearance];
        let mut search = Self {
            kind,
            clearance,
            kept: None,
            failed: None,
            first_failing: None,
        };
        let cells = results.strike_rates.iter().filter(|cell| {
            cell.controller == kinds[kind].name() && cell.clearance_m == clearance_m
        });
        for (speed, cell) in cells.enumerate() {
            if cell.upper > results.allowed_rate {
                search.failed = Some(Tested::of(cell));
                search.first_failing = Some(speed);
                break;
            }
            search.kept = Some(Tested::of(cell));
        }
        search
    }

    /// The next speed to test, a multiple of the step between the two it knows; `None` once they are a step apart.
    fn next_speed(&self, allowed_rate: f64) -> Option<f64> {
        let (kept, failed) = (self.kept?, self.failed?);
        let on_grid = |steps: f64| steps * STEP_M_S;
        let first = (kept.speed_m_s / STEP_M_S + 1e-6).floor() + 1.0;
        let last = (failed.speed_m_s / STEP_M_S - 1e-6).ceil() - 1.0;
        if first > last {
            return None;
        }
        let guess = crossing(kept, failed, allowed_rate);
        Some(on_grid(
            (guess / STEP_M_S + 1e-6).floor().clamp(first, last),
        ))
    }

    fn learn(&mut self, tested: Tested, allowed_rate: f64) {
        if tested.upper <= allowed_rate {
            self.kept = Some(tested);
        } else {
            self.failed = Some(tested);
        }
    }
}

/// Where the upper limit reaches the allowed rate, on a straight line through its logarithm.
fn crossing(kept: Tested, failed: Tested, allowed_rate: f64) -> f64 {
    let least = allowed_rate * 1e-6;
    let (low, high) = (
        libm::log(kept.upper.max(least)),
        libm::log(failed.upper.max(least)),
    );
    let part = (libm::log(allowed_rate) - low) / (high - low);
    kept.speed_m_s + part.clamp(0.0, 1.0) * (failed.speed_m_s - kept.speed_m_s)
}

/// The answers, controller by controller, clearances rising. `passes`: the first ones of the study with which new speeds are run.
///
/// # Errors
///
/// The watch stopped it.
pub fn answer(
    trials: &Trials,
    results: &Results,
    setup: &Setup,
    kinds: &[Kind],
    passes: u64,
) -> Result<Vec<SpeedAnswer>, Stopped> {
    let clearances = results.clearances_m.len();
    let mut searches: Vec<Search> = (0..kinds.len())
        .flat_map(|kind| (0..clearances).map(move |clearance| (kind, clearance)))
        .map(|(kind, clearance)| Search::start(results, kinds, kind, clearance))
        .collect();
    refine(trials, results, kinds, passes, &mut searches)?;
    let causes = causes(trials, results, setup, kinds, passes, &searches)?;
    let answers = searches.iter().zip(causes);
    Ok(answers
        .map(|(search, causes)| told(results, kinds, search, causes))
        .collect())
}

/// Closes in on the highest speeds, all searches side by side: a speed that one of them asks for is run once.
fn refine(
    trials: &Trials,
    results: &Results,
    kinds: &[Kind],
    passes: u64,
    searches: &mut [Search],
) -> Result<(), Stopped> {
    loop {
        let mut wanted: Vec<(f64, usize)> = searches
            .iter()
            .filter_map(|search| Some((search.next_speed(results.allowed_rate)?, search.kind)))
            .collect();
        wanted.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        wanted.dedup();
        if wanted.is_empty() {
            return Ok(());
        }
        for at_speed in wanted.chunk_by(|a, b| a.0 == b.0) {
            let speed_m_s = at_speed[0].0;
            let asked: Vec<Kind> = at_speed.iter().map(|&(_, kind)| kinds[kind]).collect();
            let ask = Ask {
                passes,
                speeds_m_s: &[speed_m_s],
                kinds: &asked,
                clearances_m: &results.clearances_m,
            };
            let sample = trials.run(&ask, &as_it_is)?;
            for (place, &(_, kind)) in at_speed.iter().enumerate() {
                let estimates = sample.cell(0, place).estimates();
                let concerned = searches.iter_mut().filter(|search| {
                    search.kind == kind
                        && search.next_speed(results.allowed_rate) == Some(speed_m_s)
                });
                for search in concerned {
                    let estimate = estimates[search.clearance];
                    search.learn(
                        Tested {
                            speed_m_s,
                            rate: estimate.rate,
                            upper: estimate.upper,
                        },
                        results.allowed_rate,
                    );
                }
            }
        }
    }
}

/// What each cause does at the study's slowest failing speed, search by search, most helpful first.
fn causes(
    trials: &Trials,
    results: &Results,
    setup: &Setup,
    kinds: &[Kind],
    passes: u64,
    searches: &[Search],
) -> Result<Vec<Vec<Cause>>, Stopped> {
    let mut found: Vec<Vec<Cause>> = vec![Vec::new(); searches.len()];
    let changes = changes::causes(setup);
    for (speed, &speed_m_s) in results.speeds_m_s.iter().enumerate() {
        let concerned: Vec<usize> = (0..searches.len())
            .filter(|&search| searches[search].first_failing == Some(speed))
            .collect();
        let mut asked: Vec<usize> = concerned.iter().map(|&i| searches[i].kind).collect();
        asked.dedup();
        if asked.is_empty() {
            continue;
        }
        let asked_kinds: Vec<Kind> = asked.iter().map(|&kind| kinds[kind]).collect();
        let ask = Ask {
            passes: passes.min(CAUSE_PASSES),
            speeds_m_s: &[speed_m_s],
            kinds: &asked_kinds,
            clearances_m: &results.clearances_m,
        };
        let base = trials.run(&ask, &as_it_is)?;
        for change in &changes {
            let stays_stable = |kind: Kind| is_stable_with(setup, change, kind, speed_m_s);
            let without = trials.run(&ask, &|setup| (change.apply)(setup, speed_m_s))?;
            for &search in &concerned {
                let Search {
                    kind, clearance, ..
                } = searches[search];
                let Some(place) = asked.iter().position(|&asked| asked == kind) else {
                    continue;
                };
                if !stays_stable(kinds[kind]) {
                    continue;
                }
                let cell =
                    |sample: &super::trial::Sample| -> Cell { sample.cell(0, place).clone() };
                let difference = cell(&without).less(&cell(&base), clearance);
                found[search].push(Cause {
                    cause: change.words.clone(),
                    speed_m_s,
                    difference: difference.value,
                    lower: difference.lower,
                    upper: difference.upper,
                });
            }
        }
    }
    for causes in &mut found {
        causes.sort_by(|a, b| a.difference.total_cmp(&b.difference));
    }
    Ok(found)
}

/// Whether a machine's loop stays stable with a change.
pub fn is_stable_with(setup: &Setup, change: &Change, kind: Kind, speed_m_s: f64) -> bool {
    let mut changed = setup.clone();
    (change.apply)(&mut changed, speed_m_s);
    linear::check_stable(&changed, kind, speed_m_s).is_ok()
}

fn told(results: &Results, kinds: &[Kind], search: &Search, causes: Vec<Cause>) -> SpeedAnswer {
    let kind = kinds[search.kind];
    let clearance_m = results.clearances_m[search.clearance];
    let binding = causes
        .first()
        .filter(|cause| cause.upper < 0.0)
        .map(|cause| cause.cause.clone());
    SpeedAnswer {
        status: if search.kept.is_some() {
            Status::Ok
        } else {
            Status::NoAnswer
        },
        reason: match search.kept {
            Some(_) => None,
            None => Some(nearest(results, kind, clearance_m)),
        },
        controller: kind.name().into(),
        clearance_m,
        allowed_rate: results.allowed_rate,
        highest_speed_m_s: search.kept.map(|kept| kept.speed_m_s),
        at_least: search.kept.is_some() && search.failed.is_none(),
        rate: search.kept.map(|kept| kept.rate),
        rate_upper: search.kept.map(|kept| kept.upper),
        binding: match (&search.failed, binding) {
            (None, _) => None,
            (Some(_), Some(cause)) => Some(cause),
            (Some(_), None) => Some("no single cause".into()),
        },
        causes,
    }
}

/// Why no simulated speed will do, and the nearest setting that would.
fn nearest(results: &Results, kind: Kind, clearance_m: f64) -> String {
    let slowest_m_s = results.speeds_m_s.first().copied().unwrap_or(0.0);
    let will_do =
        |cell: &&StrikeRate| cell.speed_m_s == slowest_m_s && cell.upper <= results.allowed_rate;
    let narrowest = |cells: &mut dyn Iterator<Item = &StrikeRate>| {
        cells
            .min_by(|a, b| a.clearance_m.total_cmp(&b.clearance_m))
            .map(|cell| (cell.controller.clone(), cell.clearance_m))
    };
    let why = "even the slowest simulated speed strikes more than allowed here";
    let own = narrowest(
        &mut results
            .strike_rates
            .iter()
            .filter(will_do)
            .filter(|cell| cell.controller == kind.name() && cell.clearance_m > clearance_m),
    );
    if let Some((_, wider_m)) = own {
        return format!(
            "{why}; with the tools {} from the row it would keep the allowed rate",
            Words::of(results).length(wider_m)
        );
    }
    let other = narrowest(
        &mut results
            .strike_rates
            .iter()
            .filter(will_do)
            .filter(|cell| cell.clearance_m >= clearance_m),
    );
    match other {
        Some((controller, wider_m)) => format!(
            "{why}, at any simulated clearance; {} would keep the allowed rate with the tools {} from the row",
            Kind::from_name(&controller).map_or("another controller", words::controller),
            Words::of(results).length(wider_m)
        ),
        None => format!(
            "{why}, at any simulated clearance and with any controller; allow more, or simulate slower speeds or wider clearances"
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tested(kmh: f64, upper: f64) -> Tested {
        Tested {
            speed_m_s: kmh / 3.6,
            rate: upper / 2.0,
            upper,
        }
    }

    /// A search over a limit that grows steadily ends at the last tenth of a km/h below the true crossing, in a few tests.
    #[test]
    fn prop_the_search_ends_a_step_below_the_crossing() {
        for (rate_at_8, per_kmh) in [(0.004, 0.1), (0.0049, 0.3), (0.001, 1.2), (0.0049999, 0.01)] {
            let upper = |kmh: f64| rate_at_8 * libm::exp(per_kmh * (kmh - 8.0));
            let true_kmh = 8.0 + libm::log(0.005 / rate_at_8) / per_kmh;
            if true_kmh > 10.0 {
                continue;
            }
            let mut search = Search {
                kind: 0,
                clearance: 0,
                kept: Some(tested(8.0, upper(8.0))),
                failed: Some(tested(10.0, upper(10.0))),
                first_failing: Some(1),
            };
            let mut tests = 0;
            while let Some(speed_m_s) = search.next_speed(0.005) {
                search.learn(tested(3.6 * speed_m_s, upper(3.6 * speed_m_s)), 0.005);
                tests += 1;
            }
            let kmh = 3.6 * search.kept.unwrap().speed_m_s;
            assert!(
                kmh <= true_kmh + 1e-9 && true_kmh < kmh + 0.1 + 1e-9,
                "{kmh} {true_kmh}"
            );
            assert!(tests <= 4, "{tests}");
        }
    }
}
