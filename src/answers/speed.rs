//! How fast, here? The highest speed of every controller at every clearance, what binds it and what would be next.
//!
//! Up to which speed the plants cut stay within the allowed rate is searched by simulation, to a tenth of a km/h or mph; the other bounds
//! come from [`super::limits`].

use super::changes::Cause as Removable;
use super::limits::{self, Limits};
use super::trial::{Alter, Ask, Cell, Stopped, Trials, as_it_is};
use crate::linear;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::estimate::korn_graubard;
use crate::results::answers::{Bound, Cause, Holds, SpeedAnswer, SpeedLimit, Status};
use crate::results::reasons::Reason;
use crate::results::{LEVEL, Rate, Results, Share, Stretch};
use crate::scenario::Units;

/// Most passes with which causes are taken away; their differences are known far better than a rate.
const CAUSE_PASSES: u64 = 128;

/// Step to which speeds are told, m/s: a tenth of a km/h or mph.
pub fn step_m_s(units: Units) -> f64 {
    match units {
        Units::Metric => 1.0 / 36.0,
        Units::Us => 0.044704,
    }
}

/// The last whole step up to a speed, m/s.
pub fn stepped_down(speed_m_s: f64, step_m_s: f64) -> f64 {
    (speed_m_s / step_m_s + 1e-6).floor() * step_m_s
}

/// What speeds are looked for with.
pub struct Runs<'a> {
    /// The passes.
    pub trials: &'a Trials<'a>,
    /// The study.
    pub results: &'a Results,
    /// The controllers that ran.
    pub kinds: &'a [Kind],
    /// Number of passes, the first ones of the study.
    pub passes: u64,
}

/// Up to which speed one controller at one clearance keeps the allowed rate.
#[derive(Clone, Debug)]
pub struct Search {
    /// Place of the controller.
    pub kind: usize,
    /// Place of the clearance.
    pub clearance: usize,
    /// Fastest speed that keeps it, as every slower one tested does.
    pub kept: Option<Tested>,
    /// Slowest speed beyond it that does not.
    failed: Option<Tested>,
    /// Index of the study's slowest speed that fails.
    first_failing: Option<usize>,
    step_m_s: f64,
    /// Passes behind the speeds that it knows.
    passes: u64,
}

/// A speed with the plants cut there.
#[derive(Clone, Copy, Debug)]
pub struct Tested {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Plants cut on the whole row.
    pub cut: Share,
}

impl Tested {
    fn of(cell: &Rate) -> Self {
        Self {
            speed_m_s: cell.speed_m_s,
            cut: cell.cut,
        }
    }
}

impl Search {
    /// From the study's own speeds.
    pub fn start(
        results: &Results,
        kinds: &[Kind],
        step_m_s: f64,
        (kind, clearance): (usize, usize),
    ) -> Self {
        let clearance_m = results.clearances_m[clearance];
        let mut search = Self {
            kind,
            clearance,
            kept: None,
            failed: None,
            first_failing: None,
            step_m_s,
            passes: results.passes,
        };
        let cells = results.over_speed(kinds[kind], clearance_m);
        for (speed, cell) in cells.enumerate() {
            if cell.cut.upper > results.allowed_cut_rate {
                search.failed = Some(Tested::of(cell));
                search.first_failing = Some(speed);
                break;
            }
            search.kept = Some(Tested::of(cell));
        }
        search
    }

    /// The next speed to test, a multiple of the step between the two it knows; `None` once they are a step apart.
    fn next_speed(&self, allowed_cut_rate: f64) -> Option<f64> {
        let (kept, failed) = (self.kept?, self.failed?);
        let step_m_s = self.step_m_s;
        let first = (kept.speed_m_s / step_m_s + 1e-6).floor() + 1.0;
        let last = (failed.speed_m_s / step_m_s - 1e-6).ceil() - 1.0;
        if first > last {
            return None;
        }
        let guess = crossing(kept, failed, allowed_cut_rate);
        let steps = (guess / step_m_s + 1e-6).floor().clamp(first, last);
        Some(steps * step_m_s)
    }

    /// Up to which speed the allowed rate is kept.
    pub fn limit(&self) -> SpeedLimit {
        let (holds, speed_m_s) = match (&self.kept, &self.failed) {
            (None, _) => (Holds::Never, None),
            (Some(_), None) => (Holds::Always, None),
            (Some(kept), Some(_)) => (Holds::UpTo, Some(kept.speed_m_s)),
        };
        SpeedLimit {
            cause: Bound::CutPlants,
            holds,
            speed_m_s,
        }
    }

    fn learn(&mut self, tested: Tested, allowed_cut_rate: f64) {
        if tested.cut.upper <= allowed_cut_rate {
            self.kept = Some(tested);
        } else {
            self.failed = Some(tested);
        }
    }
}

/// Where the upper limit reaches the allowed rate, on a straight line through its logarithm.
fn crossing(kept: Tested, failed: Tested, allowed_cut_rate: f64) -> f64 {
    let least = allowed_cut_rate * 1e-6;
    let (low, high) = (
        libm::log(kept.cut.upper.max(least)),
        libm::log(failed.cut.upper.max(least)),
    );
    let part = (libm::log(allowed_cut_rate) - low) / (high - low);
    kept.speed_m_s + part.clamp(0.0, 1.0) * (failed.speed_m_s - kept.speed_m_s)
}

/// A search for every controller and clearance, controller by controller, clearances rising. `passes`: the first ones of the study with
/// which speeds between the simulated ones are run. Where another bound is met before, up to which speed plants cut allow is told to the
/// next simulated speed only, but for the working clearance.
///
/// # Errors
///
/// The watch stopped it.
pub fn searches(
    trials: &Trials,
    results: &Results,
    bounds: &Limits,
    kinds: &[Kind],
    passes: u64,
) -> Result<Vec<Search>, Stopped> {
    let step_m_s = step_m_s(trials.scenario().units());
    let mut searches: Vec<Search> = (0..kinds.len())
        .flat_map(|kind| (0..results.clearances_m.len()).map(move |clearance| (kind, clearance)))
        .map(|place| Search::start(results, kinds, step_m_s, place))
        .collect();
    let may_bind = |search: &Search| {
        let clearance_m = results.clearances_m[search.clearance];
        let (other_m_s, ..) = limits::lowest(&bounds.of(kinds[search.kind], clearance_m));
        let kept_m_s = search.kept.map_or(0.0, |kept| kept.speed_m_s);
        clearance_m == results.working_clearance_m
            || other_m_s.is_some_and(|other_m_s| kept_m_s < other_m_s)
    };
    refine(trials, results, kinds, passes, &mut searches, &may_bind)?;
    Ok(searches)
}

/// Closes in on the highest speeds of those searches that are asked about, all side by side: a speed that one of them asks for is run
/// once.
///
/// # Errors
///
/// The watch stopped it.
pub fn refine(
    trials: &Trials,
    results: &Results,
    kinds: &[Kind],
    passes: u64,
    searches: &mut [Search],
    asked_about: &dyn Fn(&Search) -> bool,
) -> Result<(), Stopped> {
    loop {
        let mut wanted: Vec<(f64, usize)> = searches
            .iter()
            .filter(|search| asked_about(search))
            .filter_map(|search| Some((search.next_speed(results.allowed_cut_rate)?, search.kind)))
            .collect();
        wanted.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        wanted.dedup();
        if wanted.is_empty() {
            return Ok(());
        }
        for at_speed in wanted.chunk_by(|a, b| a.0 == b.0) {
            let speed_m_s = at_speed[0].0;
            let asked: Vec<Kind> = at_speed.iter().map(|&(_, kind)| kinds[kind]).collect();
            let tallies = trials.tallies(passes, speed_m_s, &asked, &results.clearances_m)?;
            for (tally, &(_, kind)) in tallies.iter().zip(at_speed) {
                let estimates = korn_graubard(&tally.whole.cut, LEVEL);
                let concerned = searches.iter_mut().filter(|search| {
                    search.kind == kind
                        && search.next_speed(results.allowed_cut_rate) == Some(speed_m_s)
                });
                for search in concerned {
                    let estimate = estimates[search.clearance];
                    let cut = estimate.share();
                    search.learn(Tested { speed_m_s, cut }, results.allowed_cut_rate);
                    search.passes = passes;
                }
            }
        }
    }
}

/// The answer of every search. What is behind the cut plants is looked for under one controller only, at one clearance, m, and at the
/// working one.
///
/// # Errors
///
/// The watch stopped it.
pub fn answers(
    runs: &Runs,
    bounds: &Limits,
    searches: &[Search],
    (kind, clearance_m): (Option<Kind>, f64),
    removable: &[Removable],
) -> Result<Vec<SpeedAnswer>, Stopped> {
    let (results, kinds) = (runs.results, runs.kinds);
    let asked = |search: &Search| {
        let own_m = results.clearances_m[search.clearance];
        Some(kinds[search.kind]) == kind
            && (own_m == clearance_m || own_m == results.working_clearance_m)
    };
    let causes = causes(runs, bounds.setup, searches, &asked, removable)?;
    let answers = searches.iter().zip(causes);
    Ok(answers
        .map(|(search, causes)| told(results, kinds, bounds, search, causes))
        .collect())
}

/// What each cause does at the study's slowest failing speed, search by search, most helpful first; of those asked about.
fn causes(
    runs: &Runs,
    setup: &Setup,
    searches: &[Search],
    asked_about: &dyn Fn(&Search) -> bool,
    removable: &[Removable],
) -> Result<Vec<Vec<Cause>>, Stopped> {
    let Runs {
        trials,
        results,
        kinds,
        passes,
    } = *runs;
    let mut found: Vec<Vec<Cause>> = vec![Vec::new(); searches.len()];
    for (speed, &speed_m_s) in results.speeds_m_s.iter().enumerate() {
        let concerned: Vec<usize> = (0..searches.len())
            .filter(|&search| searches[search].first_failing == Some(speed))
            .filter(|&search| asked_about(&searches[search]))
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
            clearances_m: &results.clearances_m,
        };
        let removes: Vec<_> = removable
            .iter()
            .filter_map(|cause| Some((cause.why, cause.remove.as_ref()?)))
            .collect();
        let removed: Vec<_> = removes
            .iter()
            .map(|(_, remove)| move |setup: &mut Setup| remove(setup, speed_m_s))
            .collect();
        let mut changes: Vec<(&[Kind], Alter)> = vec![(&asked_kinds, &as_it_is)];
        changes.extend(
            removed
                .iter()
                .map(|remove| (&asked_kinds[..], remove as Alter)),
        );
        let samples = trials.run_each(&ask, &changes)?;
        let base = &samples[0];
        for ((why, remove), without) in removes.iter().zip(&samples[1..]) {
            let stays_stable = |kind: Kind| is_stable_with(setup, remove, kind, speed_m_s);
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
                let difference = cell(without).less(&cell(base), clearance);
                found[search].push(Cause {
                    cause: *why,
                    speed_m_s,
                    difference,
                });
            }
        }
    }
    for causes in &mut found {
        causes.sort_by(|a, b| a.difference.value.total_cmp(&b.difference.value));
    }
    Ok(found)
}

/// Whether a machine's loop stays stable with a change.
pub fn is_stable_with(
    setup: &Setup,
    change: &dyn Fn(&mut Setup, f64),
    kind: Kind,
    speed_m_s: f64,
) -> bool {
    let mut changed = setup.clone();
    change(&mut changed, speed_m_s);
    linear::check_stable(&changed, kind, speed_m_s).is_ok()
}

/// The answer of a search.
fn told(
    results: &Results,
    kinds: &[Kind],
    bounds: &Limits,
    search: &Search,
    causes: Vec<Cause>,
) -> SpeedAnswer {
    let kind = kinds[search.kind];
    let clearance_m = results.clearances_m[search.clearance];
    let mut limits = bounds.of(kind, clearance_m);
    limits.push(search.limit());
    limits::sort(&mut limits);
    let (highest_speed_m_s, binding, next_binding) = limits::lowest(&limits);
    // A bound below every simulated speed names a speed of which nothing was simulated.
    let slowest_m_s = results.speeds_m_s.first().copied().unwrap_or(0.0);
    let highest_speed_m_s = highest_speed_m_s.filter(|&highest_m_s| highest_m_s >= slowest_m_s);
    let days = limits
        .iter()
        .find(|limit| limit.cause == Bound::DaysAvailable);
    SpeedAnswer {
        status: if highest_speed_m_s.is_some() {
            Status::Ok
        } else {
            Status::NoAnswer
        },
        reason: match (highest_speed_m_s, binding) {
            (None, Some(Bound::CutPlants)) => Some(nearest(results, kind, clearance_m)),
            (None, _) => Some(Reason::BelowSlowest),
            _ => None,
        },
        controller: kind,
        clearance_m,
        allowed_cut_rate: results.allowed_cut_rate,
        highest_speed_m_s,
        at_least: binding == Some(Bound::SimulatedSpeeds),
        binding,
        next_binding,
        in_time: days
            .zip(highest_speed_m_s)
            .map(|(days, highest_m_s)| limits::keeps(days, highest_m_s)),
        limits,
        passes: search.passes,
        causes,
    }
}

/// Why no simulated speed will do, and the nearest setting that would.
fn nearest(results: &Results, kind: Kind, clearance_m: f64) -> Reason {
    let slowest_m_s = results.speeds_m_s.first().copied().unwrap_or(0.0);
    let will_do = |cell: &&Rate| {
        cell.stretch == Stretch::Whole
            && cell.speed_m_s == slowest_m_s
            && cell.cut.upper <= results.allowed_cut_rate
    };
    let narrowest = |cells: &mut dyn Iterator<Item = &Rate>| {
        cells
            .min_by(|a, b| a.clearance_m.total_cmp(&b.clearance_m))
            .map(|cell| (cell.controller, cell.clearance_m))
    };
    let own = narrowest(
        &mut results
            .rates
            .iter()
            .filter(will_do)
            .filter(|cell| cell.controller == kind && cell.clearance_m > clearance_m),
    );
    if let Some((_, wider_m)) = own {
        return Reason::CutsTooMany {
            wider_m: Some(wider_m),
            under: None,
        };
    }
    let other = narrowest(
        &mut results
            .rates
            .iter()
            .filter(will_do)
            .filter(|cell| cell.clearance_m >= clearance_m),
    );
    Reason::CutsTooMany {
        wider_m: other.map(|(_, wider_m)| wider_m),
        under: other.map(|(controller, _)| controller),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tested(kmh: f64, upper: f64) -> Tested {
        Tested {
            speed_m_s: kmh / 3.6,
            cut: Share {
                rate: upper / 2.0,
                lower: 0.0,
                upper,
            },
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
                step_m_s: step_m_s(Units::Metric),
                passes: 64,
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
