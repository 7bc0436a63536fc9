//! Which speeds and clearances to simulate, where the scenario names none: coarse ones over the whole range, finer ones around the
//! decision, and further ones where the decision lies at an end.

use super::limits::Limits;
use super::pays::Frame;
use super::trial::{Ask, Stopped, Trials, as_it_is};
use crate::linear;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::study::{Watch, runnable};
use crate::scenario::{Scenario, Units};

/// Passes of the first look (our choice): the grid needs no more than to lie about right.
const LOOK_PASSES: u64 = 64;

/// Most rounds in which a range is extended.
const ROUNDS: usize = 3;

/// The scenario with the speeds and clearances to simulate. One that names both, or was settled before, comes back as it is. The same
/// scenario and seed always give the same ones.
///
/// # Errors
///
/// The watch stopped it; no threads.
pub fn settled(
    scenario: Scenario,
    seed: u64,
    threads: Option<usize>,
    watch: &dyn Watch,
) -> Result<Scenario, Stopped> {
    let open = scenario.open_grid();
    let kinds = runnable(&scenario);
    if open == [false, false] || scenario.has_grid() || kinds.is_empty() {
        return Ok(scenario);
    }
    let mut scenario = steady(scenario, &kinds);
    for _ in 0..ROUNDS {
        let found = look(&scenario, seed, threads, watch, &kinds)?;
        let study = scenario.study();
        let steps = Steps::of(scenario.units());
        let (mut speeds_m_s, mut clearances_m) =
            (study.speeds_m_s.clone(), study.clearances_m.clone());
        let (speed_m_s, clearance_m) = found;
        if open[0] {
            add(
                &mut speeds_m_s,
                speed_m_s,
                steps.speed_m_s,
                steps.speeds_m_s,
            );
        }
        if open[1] {
            let most_m = steps.clearances_m.1.min(scenario.widest_clearance_m());
            let range_m = (steps.clearances_m.0, most_m);
            add(&mut clearances_m, clearance_m, steps.clearance_m, range_m);
        }
        let same = speeds_m_s == study.speeds_m_s && clearances_m == study.clearances_m;
        scenario = steady(scenario.with_grid(speeds_m_s, clearances_m), &kinds);
        if same {
            break;
        }
    }
    Ok(scenario)
}

/// Without the chosen speeds at which a loop would run away: what the scenario names is refused, what the program chose is not
/// simulated.
fn steady(scenario: Scenario, kinds: &[Kind]) -> Scenario {
    if !scenario.open_grid()[0] {
        return scenario;
    }
    let (setup, study) = (scenario.nominal(), scenario.study());
    let runs = |speed_m_s: &f64| {
        let stable = |&kind: &Kind| linear::check_stable(&setup, kind, *speed_m_s).is_ok();
        *speed_m_s == study.working_speed_m_s || kinds.iter().all(stable)
    };
    let speeds_m_s = study.speeds_m_s.iter().copied().filter(runs).collect();
    let clearances_m = study.clearances_m.clone();
    scenario.with_grid(speeds_m_s, clearances_m)
}

/// How far apart settings around the decision lie, and how far a range may be extended.
struct Steps {
    speed_m_s: f64,
    speeds_m_s: (f64, f64),
    clearance_m: f64,
    clearances_m: (f64, f64),
}

impl Steps {
    fn of(units: Units) -> Steps {
        let (speed_m_s, clearance_m) = match units {
            Units::Metric => (0.5 / 3.6, 0.005),
            Units::Us => (0.25 * 0.44704, 0.25 * 0.0254),
        };
        Steps {
            speed_m_s,
            // 1 to 25 km/h, half to 15 mph.
            speeds_m_s: (2.0 * speed_m_s, 50.0 * speed_m_s),
            clearance_m,
            // 10 to 150 mm, half to 6 in.
            clearances_m: (2.0 * clearance_m, 30.0 * clearance_m),
        }
    }
}

/// Adds the steps next to a place, on either side, as far as the range goes.
fn add(values: &mut Vec<f64>, place: f64, step: f64, (low, high): (f64, f64)) {
    let at = (place / step).round();
    for i in -2..=2 {
        let value = (at + f64::from(i)) * step;
        let within = value >= low * (1.0 - 1e-9) && value <= high * (1.0 + 1e-9);
        let near = |known: &f64| (known - value).abs() < 0.4 * step;
        if within && !values.iter().any(near) {
            values.push(value);
        }
    }
    values.sort_by(f64::total_cmp);
}

/// Where the decision lies: the setting with the least cost of those that keep every bound, without prices the highest speed at the
/// working clearance. Where nothing keeps them, the slowest speed at the widest clearance.
fn look(
    scenario: &Scenario,
    seed: u64,
    threads: Option<usize>,
    watch: &dyn Watch,
    kinds: &[Kind],
) -> Result<(f64, f64), Stopped> {
    let study = scenario.study();
    let (setup, farm): (Setup, _) = (scenario.nominal(), scenario.farm());
    let trials = Trials::new(scenario, seed, threads, watch)?;
    let ask = Ask {
        passes: LOOK_PASSES,
        speeds_m_s: &study.speeds_m_s,
        clearances_m: &study.clearances_m,
    };
    let sample = trials.run(&ask, kinds, &as_it_is)?;
    let bounds = Limits {
        setup: &setup,
        on_slope: &setup,
        farm: &farm,
        // What the oil allows is looked at in the study itself.
        demand: &[],
        speeds_m_s: &study.speeds_m_s,
    };
    let frame = Frame::of(scenario, None);
    let best = (kinds.iter().enumerate())
        .filter_map(|of| frame.decision(&bounds, &sample, (of.0, *of.1)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let nothing = || {
        let slowest_m_s = study.speeds_m_s.first().copied();
        let widest_m = study.clearances_m.last().copied();
        (
            slowest_m_s.unwrap_or(study.working_speed_m_s),
            widest_m.unwrap_or(study.working_clearance_m),
        )
    };
    Ok(best.map_or_else(nothing, |(_, speed_m_s, clearance_m)| {
        (speed_m_s, clearance_m)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Steps of 5 about 37: 25 to 45 in fives; 38 stands for none of them, 40.5 for 40; nothing beyond the range.
    #[test]
    fn analytic_steps_about_a_place() {
        let mut values = vec![20.0, 38.0, 40.5, 60.0];
        add(&mut values, 37.0, 5.0, (10.0, 42.0));
        assert_eq!(values, [20.0, 25.0, 30.0, 35.0, 38.0, 40.5, 60.0]);
        let same = values.clone();
        add(&mut values, 37.0, 5.0, (10.0, 42.0));
        assert_eq!(values, same);
    }
}
