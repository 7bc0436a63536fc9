//! How fast, here? The highest speed of every controller at every clearance, what binds it and what would be next.
//!
//! Up to which speed the plants cut stay within the allowed rate is searched by simulation, to a tenth of a km/h or mph, with all passes of
//! the study; the other bounds come from [`super::limits`].

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::changes::Cause as Removable;
use super::limits::{self, Limits};
use super::trial::{Alter, Ask, Cell, Stopped, Trials, as_it_is};
use crate::linear;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::estimate::korn_graubard;
use crate::montecarlo::tally::Tally;
use crate::results::answers::{Bound, Cause, Holds, SpeedAnswer, SpeedLimit, Status};
use crate::results::reasons::Reason;
use crate::results::{LEVEL, Rate, Results, Stretch};
use crate::scenario::Units;

/// Most passes with which causes are taken away; their differences are known far better than a rate.
pub const CAUSE_PASSES: u64 = 128;

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

/// Runs at speeds between the simulated ones, whole steps; each is kept for every clearance that asks for it.
pub struct Tries<'a> {
    trials: &'a Trials<'a>,
    results: &'a Results,
    kinds: &'a [Kind],
    step_m_s: f64,
    /// Passes of a first look.
    first: u64,
    ran: BTreeMap<Place, Ran>,
}

/// A controller, by its place, at a speed, in steps.
type Place = (usize, u64);

/// What was run at a place.
struct Ran {
    first: Tally,
    /// With all passes of the study, if they were wanted.
    all: Option<Tally>,
}

/// How many passes are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Depth {
    First,
    All,
}

impl<'a> Tries<'a> {
    /// Of the passes of a study under its controllers; `first` of them are a first look.
    pub fn new(trials: &'a Trials, results: &'a Results, kinds: &'a [Kind], first: u64) -> Self {
        Self {
            trials,
            results,
            kinds,
            step_m_s: step_m_s(trials.scenario().units()),
            first: first.min(results.passes),
            ran: BTreeMap::new(),
        }
    }

    /// A controller, by its place, at a speed that is a multiple of the step, m/s, with all passes of the study.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn tally(&mut self, kind: usize, speed_m_s: f64) -> Result<&Tally, Stopped> {
        let place = (kind, (speed_m_s / self.step_m_s).round() as u64);
        self.run(&BTreeSet::from([(place, Depth::All)]))?;
        // Run just now, or before.
        self.ran
            .get(&place)
            .and_then(|ran| ran.all.as_ref())
            .ok_or(Stopped::Watch)
    }

    /// Runs what is wanted and not there yet.
    fn run(&mut self, wanted: &BTreeSet<(Place, Depth)>) -> Result<(), Stopped> {
        let new = wanted.iter().map(|&(place, _)| place);
        let new = new.filter(|place| !self.ran.contains_key(place)).collect();
        for (place, first) in self.tallies(0..self.first, new)? {
            let all = (self.first == self.results.passes).then(|| first.clone());
            self.ran.insert(place, Ran { first, all });
        }
        let deeper = wanted.iter().filter(|&&(_, depth)| depth == Depth::All);
        let deeper = deeper.map(|&(place, _)| place);
        let deeper = deeper
            .filter(|place| self.ran[place].all.is_none())
            .collect();
        for (place, mut tally) in self.tallies(self.first..self.results.passes, deeper)? {
            if let Some(ran) = self.ran.get_mut(&place) {
                tally.merge(&ran.first);
                ran.all = Some(tally);
            }
        }
        Ok(())
    }

    /// Some passes at these places. Speeds at which the same controllers are wanted are run together: they share the ground.
    fn tallies(
        &self,
        passes: Range<u64>,
        places: BTreeSet<Place>,
    ) -> Result<Vec<(Place, Tally)>, Stopped> {
        let mut by_speed: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
        for (kind, steps) in places {
            by_speed.entry(steps).or_default().push(kind);
        }
        let mut by_kinds: BTreeMap<Vec<usize>, Vec<u64>> = BTreeMap::new();
        for (steps, kinds) in by_speed {
            by_kinds.entry(kinds).or_default().push(steps);
        }
        let mut all = Vec::new();
        for (kinds, speeds) in by_kinds {
            let speeds_m_s: Vec<f64> = speeds.iter().map(|&steps| self.speed_m_s(steps)).collect();
            let own: Vec<Kind> = kinds.iter().map(|&kind| self.kinds[kind]).collect();
            let ask = Ask {
                passes: passes.end,
                speeds_m_s: &speeds_m_s,
                clearances_m: &self.results.clearances_m,
            };
            let tallies = self.trials.tallies(&ask, passes.start, &own)?;
            for (&steps, at_speed) in speeds.iter().zip(tallies) {
                let places = kinds.iter().map(|&kind| (kind, steps));
                all.extend(places.zip(at_speed));
            }
        }
        Ok(all)
    }

    fn speed_m_s(&self, steps: u64) -> f64 {
        steps as f64 * self.step_m_s
    }

    /// What is known of a controller at a clearance, each by its place, in rising order of speed.
    fn tested(&self, kind: usize, clearance: usize) -> Vec<Tested> {
        let upper = |tally: &Tally| korn_graubard(&tally.whole.cut, LEVEL)[clearance].upper;
        let ran = self.ran.range((kind, 0)..(kind + 1, 0));
        let limits: Vec<Looked> = ran
            .map(|(&(_, steps), ran)| Looked {
                speed_m_s: self.speed_m_s(steps),
                first: upper(&ran.first),
                all: ran.all.as_ref().map(upper),
            })
            .collect();
        in_proportion(&limits)
    }
}

/// Upper limits of the plants cut at a speed, of a first look and of all passes, if they were run.
struct Looked {
    speed_m_s: f64,
    first: f64,
    all: Option<f64>,
}

/// Where all passes were not run, their limit is expected in the proportion to that of a first look that both have at the nearest speed
/// where they were.
fn in_proportion(looked: &[Looked]) -> Vec<Tested> {
    let tested = |own: &Looked| {
        let off = |other: &Looked| (other.speed_m_s - own.speed_m_s).abs();
        let known = looked.iter().filter(|other| other.all.is_some());
        let nearest = known.min_by(|a, b| off(a).total_cmp(&off(b)))?;
        Some(Tested {
            speed_m_s: own.speed_m_s,
            upper: own.all.unwrap_or(own.first * nearest.all? / nearest.first),
            sure: own.all.is_some(),
        })
    };
    looked.iter().filter_map(tested).collect()
}

/// Up to which speed one controller at one clearance keeps the allowed rate.
#[derive(Clone, Debug)]
pub struct Search {
    /// Place of the controller.
    pub kind: usize,
    /// Place of the clearance.
    pub clearance: usize,
    /// Fastest speed that keeps it, as every slower one tested does, m/s.
    kept_m_s: Option<f64>,
    /// The study's own speeds.
    simulated: Vec<Tested>,
    allowed_cut_rate: f64,
    step_m_s: f64,
    /// What decides is a rate over farms like this one: between simulated speeds it is interpolated, as a run would tell only its mean.
    over_farms: bool,
}

/// A speed with the upper limit of the plants cut there on the whole row.
#[derive(Clone, Copy, Debug)]
struct Tested {
    speed_m_s: f64,
    upper: f64,
    /// From all passes of the study; else expected of them after a first look.
    sure: bool,
}

impl Search {
    /// From the study's own speeds.
    fn start(tries: &Tries, (kind, clearance): (usize, usize)) -> Self {
        let results = tries.results;
        let cells = results.over_speed(tries.kinds[kind], results.clearances_m[clearance]);
        let simulated = cells.map(|cell| Tested {
            speed_m_s: cell.speed_m_s,
            upper: cell.decisive(),
            sure: true,
        });
        let over_farms = results.rates.iter().any(|rate| rate.known.is_some());
        let mut search = Self {
            over_farms,
            kind,
            clearance,
            kept_m_s: None,
            simulated: simulated.collect(),
            allowed_cut_rate: results.allowed_cut_rate,
            step_m_s: tries.step_m_s,
        };
        search.kept_m_s = search.kept_of(&search.simulated);
        search
    }

    /// Whether plants cut may be what binds, or the clearance is the working one.
    fn may_bind(&self, results: &Results, kinds: &[Kind], bounds: &Limits) -> bool {
        let clearance_m = results.clearances_m[self.clearance];
        let (other_m_s, ..) = limits::lowest(&bounds.of(kinds[self.kind], clearance_m));
        let kept_m_s = self.kept_m_s.unwrap_or(0.0);
        clearance_m == results.working_clearance_m
            || other_m_s.is_some_and(|other_m_s| kept_m_s < other_m_s)
    }

    fn fails(&self, tested: &Tested) -> bool {
        tested.upper > self.allowed_cut_rate
    }

    /// Index of the study's slowest speed that fails.
    pub fn first_failing(&self) -> Option<usize> {
        self.simulated.iter().position(|tested| self.fails(tested))
    }

    /// The fastest of the speeds before one fails, from all passes.
    fn kept_of(&self, rising: &[Tested]) -> Option<f64> {
        let keep = rising.iter().take_while(|tested| !self.fails(tested));
        keep.filter(|tested| tested.sure)
            .map(|tested| tested.speed_m_s)
            .last()
    }

    /// About where it will end, m/s; `None` where there is nothing to search for.
    pub fn about(&self, results: &Results, kinds: &[Kind], bounds: &Limits) -> Option<f64> {
        let failed = self.first_failing()?;
        let asked_about = self.may_bind(results, kinds, bounds);
        (asked_about && failed > 0).then(|| self.crossing(&self.simulated, failed))
    }

    /// Learns from what was run, and tells what to run next; `None` once it is known which speed keeps the allowed rate with all passes
    /// and that the next step does not.
    fn learn(&mut self, tries: &Tries) -> Option<(Place, Depth)> {
        if self.over_farms {
            let failed = self.first_failing().filter(|&failed| failed > 0)?;
            let crossing_m_s = self.crossing(&self.simulated, failed);
            let stepped_m_s = stepped_down(crossing_m_s, self.step_m_s);
            self.kept_m_s = self.kept_m_s.map(|kept_m_s| kept_m_s.max(stepped_m_s));
            return None;
        }
        let rising = self.with(&tries.tested(self.kind, self.clearance));
        self.kept_m_s = self.kept_of(&rising);
        let (steps, depth) = self.next(&rising)?;
        Some(((self.kind, steps), depth))
    }

    /// The study's own speeds and others, rising.
    fn with(&self, others: &[Tested]) -> Vec<Tested> {
        let mut rising = [&self.simulated, others].concat();
        rising.sort_by(|a, b| a.speed_m_s.total_cmp(&b.speed_m_s));
        rising
    }

    /// The next speed to test, in steps: between the fastest that is kept and the slowest that fails until they are a step apart, then
    /// these two with all passes.
    fn next(&self, rising: &[Tested]) -> Option<(u64, Depth)> {
        let place = rising.iter().position(|tested| self.fails(tested))?;
        let (kept, failed) = (rising[place.checked_sub(1)?], rising[place]);
        let steps = |tested: Tested| tested.speed_m_s / self.step_m_s;
        let first = (steps(kept) + 1e-6).floor() as u64 + 1;
        let last = (steps(failed) - 1e-6).ceil() as u64 - 1;
        if first <= last {
            let guess = (self.crossing(rising, place) / self.step_m_s + 1e-6).floor() as u64;
            // A first look tells nothing before it is known how it compares with all passes.
            let compares = rising.len() > self.simulated.len();
            let depth = if compares { Depth::First } else { Depth::All };
            return Some((guess.clamp(first, last), depth));
        }
        let unsure = [kept, failed].into_iter().find(|tested| !tested.sure);
        unsure.map(|tested| (steps(tested).round() as u64, Depth::All))
    }

    /// Where the upper limit reaches the allowed rate before the speed at `failed`: speed as a parabola over its logarithm through three
    /// tested speeds (inverse quadratic interpolation: Brent, Algorithms for Minimization without Derivatives, 1973, chapter 4), or
    /// straight between two.
    fn crossing(&self, rising: &[Tested], failed: usize) -> f64 {
        // A limit of nothing has no logarithm: a millionth of what is allowed stands for it.
        let ln = |tested: &Tested| libm::log((tested.upper / self.allowed_cut_rate).max(1e-6));
        let point = |place: usize| {
            rising
                .get(place)
                .map(|tested| (tested.speed_m_s, ln(tested)))
        };
        let (Some((slow, a)), Some((fast, b))) = (point(failed.wrapping_sub(1)), point(failed))
        else {
            return 0.0;
        };
        let beside = [failed.checked_sub(2), Some(failed + 1)];
        let beside = beside.into_iter().flatten().filter_map(point);
        let nearest = beside.min_by(|one, other| one.1.abs().total_cmp(&other.1.abs()));
        let parabola = nearest.map(|(beside, c)| {
            slow * b * c / ((a - b) * (a - c))
                + fast * a * c / ((b - a) * (b - c))
                + beside * a * b / ((c - a) * (c - b))
        });
        let between = parabola.filter(|v| (slow..fast).contains(v));
        between.unwrap_or_else(|| slow + (-a / (b - a)).clamp(0.0, 1.0) * (fast - slow))
    }

    /// Up to which speed the allowed rate is kept.
    pub fn limit(&self) -> SpeedLimit {
        let (holds, speed_m_s) = match (self.kept_m_s, self.first_failing()) {
            (None, _) => (Holds::Never, None),
            (Some(_), None) => (Holds::Always, None),
            (Some(kept_m_s), Some(_)) => (Holds::UpTo, Some(kept_m_s)),
        };
        SpeedLimit {
            cause: Bound::CutPlants,
            holds,
            speed_m_s,
        }
    }
}

/// A search for every controller and clearance, controller by controller, clearances rising. Where another bound is met before, up to which
/// speed plants cut allow is told to the next simulated speed only, but for the working clearance.
///
/// # Errors
///
/// The watch stopped it.
pub fn searches(tries: &mut Tries, bounds: &Limits) -> Result<Vec<Search>, Stopped> {
    let mut searches = started(tries);
    let (results, kinds) = (tries.results, tries.kinds);
    let asked_about = |search: &Search| search.may_bind(results, kinds, bounds);
    refine(tries, &mut searches, &asked_about)?;
    Ok(searches)
}

/// The same searches with what the study itself found.
pub fn started(tries: &Tries) -> Vec<Search> {
    let clearances = tries.results.clearances_m.len();
    (0..tries.kinds.len())
        .flat_map(|kind| (0..clearances).map(move |clearance| (kind, clearance)))
        .map(|place| Search::start(tries, place))
        .collect()
}

/// Closes in on the highest speeds of those searches that are asked about, all side by side.
///
/// # Errors
///
/// The watch stopped it.
pub fn refine(
    tries: &mut Tries,
    searches: &mut [Search],
    asked_about: &dyn Fn(&Search) -> bool,
) -> Result<(), Stopped> {
    loop {
        let asked = searches.iter_mut().filter(|search| asked_about(search));
        let wanted: BTreeSet<_> = asked.filter_map(|search| search.learn(tries)).collect();
        if wanted.is_empty() {
            return Ok(());
        }
        tries.run(&wanted)?;
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
            .filter(|&search| searches[search].first_failing() == Some(speed))
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
        passes: results.passes,
        causes,
    }
}

/// Why no simulated speed will do, and the nearest setting that would.
fn nearest(results: &Results, kind: Kind, clearance_m: f64) -> Reason {
    let slowest_m_s = results.speeds_m_s.first().copied().unwrap_or(0.0);
    let will_do = |cell: &&Rate| {
        cell.stretch == Stretch::Whole
            && cell.speed_m_s == slowest_m_s
            && cell.decisive() <= results.allowed_cut_rate
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

    /// A search over a limit that grows steadily ends at the last tenth of a km/h below the true crossing, with few speeds in all passes,
    /// whatever the proportion in which a first look stands to them.
    #[test]
    fn prop_the_search_ends_a_step_below_the_crossing() {
        let allowed = 0.005;
        let mut searched = 0;
        for (rate_at_8, per_kmh) in [(0.004, 0.1), (0.0049, 0.3), (0.001, 1.2), (0.0049999, 0.01)] {
            for (bend, proportion) in [(0.0, 0.7), (0.02, 1.0), (-0.02, 1.4)] {
                let upper = |kmh: f64| {
                    let over = kmh - 8.0;
                    rate_at_8 * libm::exp(per_kmh * over * (1.0 + bend * over))
                };
                if upper(10.0) <= allowed {
                    continue;
                }
                searched += 1;
                let simulated = |kmh: f64| Tested {
                    speed_m_s: kmh / 3.6,
                    upper: upper(kmh),
                    sure: true,
                };
                let search = Search {
                    over_farms: false,
                    kind: 0,
                    clearance: 0,
                    kept_m_s: Some(8.0 / 3.6),
                    simulated: [6.0, 8.0, 10.0].map(simulated).to_vec(),
                    allowed_cut_rate: allowed,
                    step_m_s: step_m_s(Units::Metric),
                };
                let mut ran: BTreeMap<u64, bool> = BTreeMap::new();
                let kept_m_s = loop {
                    let looked: Vec<Looked> = ran
                        .iter()
                        .map(|(&steps, &all)| {
                            let kmh = steps as f64 / 10.0;
                            Looked {
                                speed_m_s: kmh / 3.6,
                                first: proportion * upper(kmh),
                                all: all.then(|| upper(kmh)),
                            }
                        })
                        .collect();
                    let rising = search.with(&in_proportion(&looked));
                    let Some((steps, depth)) = search.next(&rising) else {
                        break search.kept_of(&rising).unwrap();
                    };
                    let before = ran.insert(steps, depth == Depth::All);
                    assert!(before.is_none_or(|all| !all && depth == Depth::All));
                };
                let kmh = 3.6 * kept_m_s;
                assert!(upper(kmh) <= allowed && upper(kmh + 0.1) > allowed, "{kmh}");
                let in_all = ran.values().filter(|&&all| all).count();
                assert!(in_all <= 3 && ran.len() <= 5, "{ran:?}");
            }
        }
        assert!(searched >= 8);
    }

    /// Own arithmetic: 0.004 of a first look beside one of 0.005 that became 0.006 at the nearest speed lets 0.0048 expect.
    #[test]
    fn analytic_what_a_first_look_lets_expect() {
        let looked = |speed_m_s, first, all| Looked {
            speed_m_s,
            first,
            all,
        };
        let tested = in_proportion(&[
            looked(1.0, 0.001, Some(0.003)),
            looked(2.0, 0.004, None),
            looked(2.5, 0.005, Some(0.006)),
        ]);
        assert_eq!(tested[2].upper, 0.006);
        assert!((tested[1].upper - 0.0048).abs() < 1e-15 && !tested[1].sure);
        assert!(in_proportion(&[looked(1.0, 0.001, None)]).is_empty());
    }
}
