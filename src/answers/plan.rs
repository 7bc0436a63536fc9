//! How much work the answers will be, so that their progress can be told: what is known beforehand, and about how far the study's own rates
//! let the rest be run.

use super::changes::{self, Cause};
use super::limits;
use super::recommend::Field;
use super::speed::{CAUSE_PASSES, Search, Tries, started};
use super::trial::work;

/// Machines of the answer on stroke: without an end, and the standard series.
const STROKES: usize = 12;

/// Speeds that a search runs in a first look, and those that it runs in all passes (measured on the shipped scenarios).
const OF_A_SEARCH: (f64, f64) = (2.5, 1.5);

/// Part of the steps that are run at the speed after the one at which the machine as it stands fails (measured likewise).
const RUN_FURTHER: f64 = 0.7;

/// All of it, as [`work`] reckons; the bounds of the field lack what the oil allows. `passes`: the first ones of the study, with which most
/// is run.
pub fn work_ahead(field: &Field, tries: &Tries, slopes_rad: (f64, f64), passes: u64) -> f64 {
    let results = field.results;
    let places = if slopes_rad == (0.0, 0.0) { 1.0 } else { 3.0 };
    let demand = places * work(passes, &results.speeds_m_s, 0, 0);
    let searches = started(tries);
    let found = of_searches(field, &searches, passes);
    let (place, speed_m_s) = field.guess(&searches).unwrap_or_else(|| {
        let at_work = searches
            .iter()
            .rposition(|search| is_at_work(field, search));
        (at_work.unwrap_or(0), results.working_speed_m_s)
    });
    let own = searches.get(place);
    let Some(own) = own.filter(|own| field.kinds[own.kind].moves()) else {
        return demand + found;
    };
    let setup = field.bounds.setup;
    let causes = changes::causes(setup, field.bounds.farm.soil.as_ref(), None, field.units);
    demand
        + found
        + of_causes(field, &searches, own, &causes, passes)
        + of_one_setting(field, own, speed_m_s, passes)
        + of_pays(field, own, speed_m_s, &causes, passes)
}

fn is_at_work(field: &Field, search: &Search) -> bool {
    field.results.clearances_m[search.clearance] == field.results.working_clearance_m
}

fn of_searches(field: &Field, searches: &[Search], passes: u64) -> f64 {
    let Field {
        results,
        kinds,
        bounds,
        ..
    } = field;
    let (looks, deeper) = OF_A_SEARCH;
    let further = results.passes - passes;
    let of_search = looks * work(passes, &[1.0], 0, 1) + deeper * work(further, &[1.0], 0, 1);
    let ends = searches.iter();
    let ends = ends.filter_map(|search| search.about(results, kinds, bounds));
    ends.map(|speed_m_s| of_search / speed_m_s).sum()
}

/// What is behind the cut plants, at the recommended clearance and the working one.
fn of_causes(
    field: &Field,
    searches: &[Search],
    own: &Search,
    causes: &[Cause],
    passes: u64,
) -> f64 {
    let asked = searches.iter().filter(|search| {
        search.kind == own.kind && (search.clearance == own.clearance || is_at_work(field, search))
    });
    let mut failing: Vec<usize> = asked.filter_map(Search::first_failing).collect();
    failing.sort_unstable();
    failing.dedup();
    let speeds = failing.into_iter();
    let speeds_m_s: Vec<f64> = speeds.map(|at| field.results.speeds_m_s[at]).collect();
    let removable = causes.iter().filter(|cause| cause.remove.is_some());
    let removed = removable.count();
    let passes = passes.min(CAUSE_PASSES);
    work(passes, &speeds_m_s, most(removed), 1 + removed)
}

/// Stroke, valves with lookahead and lights, and stages of growth at the recommended setting.
fn of_one_setting(field: &Field, own: &Search, speed_m_s: f64, passes: u64) -> f64 {
    let valves = changes::valves(field.bounds.setup, field.kinds[own.kind]).len();
    let stages = match field.bounds.farm.stages.len() {
        0 => 0.0,
        stages => work(field.results.passes, &[speed_m_s], 0, stages),
    };
    work(passes, &[speed_m_s], 0, STROKES) + work(passes, &[speed_m_s], 2, 3 + valves) + stages
}

/// What pays: up to the speed at which the machine as it stands fails or breaks another bound, most steps one further.
fn of_pays(field: &Field, own: &Search, speed_m_s: f64, causes: &[Cause], passes: u64) -> f64 {
    let speeds_m_s = &field.results.speeds_m_s;
    let steps: usize = causes.iter().map(|cause| cause.steps.len()).sum();
    let clearance_m = field.results.clearances_m[own.clearance];
    let bounds = field.bounds.of(field.kinds[own.kind], clearance_m);
    let (cap_m_s, ..) = limits::lowest(&bounds);
    let breaks = |v: &f64| cap_m_s.is_none_or(|cap_m_s| *v > cap_m_s);
    let ends = [own.first_failing(), speeds_m_s.iter().position(breaks)];
    let last = ends.into_iter().flatten().min();
    let needed = last.map_or(speeds_m_s.len(), |last| last + 1);
    let (needed_m_s, further_m_s) = speeds_m_s.split_at(needed);
    let mut needed_m_s = needed_m_s.to_vec();
    if !speeds_m_s.contains(&speed_m_s) {
        needed_m_s.push(speed_m_s);
    }
    let further_m_s = further_m_s.get(..1).unwrap_or_default();
    work(passes, &needed_m_s, most(steps), field.kinds.len() + steps)
        + RUN_FURTHER * work(passes, further_m_s, most(steps), steps)
}

/// How many of so many changes make a machine drive or see otherwise: about three of four do.
fn most(changes: usize) -> usize {
    3 * changes / 4
}
