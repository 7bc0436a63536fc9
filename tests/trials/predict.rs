//! What the program predicts for a trial, the way the trial measured it, and how far what the report leaves open spreads that.

use rowroom::model::controller::Kind;
use rowroom::montecarlo::fields::together;
use rowroom::scenario::{FIELD_PASSES, Scenario};
use rowroom::sim::{PassAtSpeed, Request, run};
use rowroom::trust::{Comparison, Row, WhatIf};

use crate::parts;
use crate::trial::{If, Machines, Measured, Trial, What};

/// Seed of everything here.
const SEED: u64 = 20;

/// Fields that each machine has to itself, a power of two: an aligned block of Sobol points fills the ranges evenly by itself.
pub const BLOCK: u64 = 128;

/// Mean of a bell curve without its sign, and its 95 % point, over its standard deviation.
const MEAN_ABS: f64 = 0.797_884_560_8;
const P95: f64 = 1.959_963_985;

/// A share of plants cut below this is none: its logarithm must be a number.
const RAREST: f64 = 1e-6;

/// Values of one field, one for each controller and speed.
pub type Field = Vec<f64>;

/// Mean, standard deviation over everything, standard error of the mean over fields.
pub struct Spread {
    pub mean: f64,
    pub sd: f64,
    pub error: f64,
}

impl Spread {
    pub fn of(fields: &[Field]) -> Spread {
        let all: Vec<f64> = fields.iter().flatten().copied().collect();
        let means: Vec<f64> = fields.iter().map(|field| mean(field)).collect();
        Spread {
            mean: mean(&all),
            sd: sd(&all),
            error: sd(&means) / (means.len() as f64).sqrt(),
        }
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn sd(values: &[f64]) -> f64 {
    let middle = mean(values);
    let squares: f64 = values.iter().map(|value| (value - middle).powi(2)).sum();
    (squares / (values.len() as f64 - 1.0).max(1.0)).sqrt()
}

/// Every line of the table that a trial gives, over so many fields of each machine.
pub fn rows(trial: &Trial, machines: &Machines, fields: u64) -> Vec<Row> {
    let measured = trial.measured.iter();
    measured
        .map(|one| row(trial, machines, one, fields))
        .collect()
}

fn row(trial: &Trial, machines: &Machines, measured: &Measured, fields: u64) -> Row {
    let what = measured.quantity;
    let scenarios = trial.scenarios(machines, measured);
    let simulated = Spread::of(&values(
        &scenarios,
        measured,
        &kinds(trial, &scenarios),
        fields,
    ));
    let scale: f64 = match what.unit().1 {
        "mm" | "ms" => 1e3,
        "%" => 1e2,
        "kW" => 1e-3,
        _ => 1.0,
    };
    let logarithmic = what == What::Cut;
    // Simulated shares are logarithms already.
    let shown = |value: f64| match logarithmic {
        true => rounded(value + scale.ln()),
        false => rounded(scale * value),
    };
    let spread = |value: f64| rounded(if logarithmic { value } else { scale * value });
    let (value, error) = (measured.value(), measured.error());
    let numbers = Comparison {
        measured: shown(if logarithmic { value.ln() } else { value }),
        u_data: spread(if logarithmic { error / value } else { error }),
        bound: measured.bound,
        simulated: shown(simulated.mean),
        u_input: spread(simulated.sd),
        u_numerics: spread(simulated.error),
        alternatives: (alternatives(trial, machines, measured, &scenarios, fields).into_iter())
            .map(shown)
            .collect(),
    };
    Row {
        trial: trial.name.clone(),
        title: trial.title.clone(),
        what: measured.words(),
        unit: what.unit().1.to_owned(),
        logarithmic,
        known: measured.known.clone().unwrap_or(trial.known.clone()),
        informed: Some(trial.informed.clone()).filter(|which| !which.is_empty()),
        verdict: numbers.verdict(),
        numbers,
        // Nothing is held against them: the full run has them alone.
        what_if: (measured.what_if.iter().filter(|_| fields == BLOCK))
            .map(|one| WhatIf {
                changed: one.what.clone(),
                simulated: shown(changed(trial, machines, measured, one, fields)),
            })
            .collect(),
    }
}

/// The mean prediction with something changed, over a quarter of the fields.
fn changed(trial: &Trial, machines: &Machines, measured: &Measured, one: &If, fields: u64) -> f64 {
    let scenarios = trial.scenarios_if(machines, measured, one);
    let kinds = kinds(trial, &scenarios);
    let mut all = values(&scenarios, measured, &kinds, few(fields));
    if one.against_plants {
        let plants_m = mean_plants_m(&scenarios);
        for value in all.iter_mut().flatten() {
            *value = value.hypot(plants_m);
        }
    }
    Spread::of(&all).mean
}

/// How far single plants stand off their row, row units in it, root mean square over what may be.
fn mean_plants_m(scenarios: &[Scenario]) -> f64 {
    let squares: Vec<f64> = (0..BLOCK)
        .map(|field| {
            let setup = scenarios[0].draw(SEED, field * FIELD_PASSES);
            setup.plants.scatter_sd_m.powi(2) + setup.rows.unit_sd_m.powi(2)
        })
        .collect();
    mean(&squares).sqrt()
}

/// A quarter of the fields: enough for what nothing is held against.
fn few(fields: u64) -> u64 {
    fields.div_ceil(4).max(2)
}

/// Four digits: more than any of them is worth, and enough that a table can be read again.
fn rounded(value: f64) -> f64 {
    format!("{value:.3e}").parse().expect("a number")
}

fn kinds(trial: &Trial, scenarios: &[Scenario]) -> Vec<Kind> {
    let of = |name: &String| Kind::from_name(name).expect(name);
    match trial.controllers.as_slice() {
        // Which law a machine had is hardly ever told.
        [] => (scenarios[0].study().controllers.iter().copied())
            .filter(|kind| matches!(kind, Kind::Pid | Kind::LagCompensated))
            .collect(),
        names => names.iter().map(of).collect(),
    }
}

/// What models predict that know nothing of guidance: tools always in place, a frame that never moves, another driver, growth in proportion
/// to speed.
fn alternatives(
    trial: &Trial,
    machines: &Machines,
    measured: &Measured,
    scenarios: &[Scenario],
    fields: u64,
) -> Vec<f64> {
    let what = measured.quantity;
    let mut found = Vec::new();
    if what.is_growth() {
        let speeds = measured.speeds_m_s();
        return vec![speeds[speeds.len() - 1] / speeds[0]];
    }
    if measured.bound.is_none() {
        found.push(if what == What::ToolWithin { 1.0 } else { 0.0 });
    }
    let mut locked = |scenarios: &[Scenario]| {
        found.push(Spread::of(&values(scenarios, measured, &[Kind::Locked], few(fields))).mean);
    };
    if trial.is_guided() && !what.is_part() {
        locked(scenarios);
    }
    if let Some(driver) = &trial.alternative_driver {
        locked(&trial.scenarios_under(machines, measured, driver));
    }
    found
}

fn values(scenarios: &[Scenario], measured: &Measured, kinds: &[Kind], fields: u64) -> Vec<Field> {
    if measured.quantity == What::PullPower {
        return parts::pull_power_w();
    }
    let each = (4 * fields).div_ceil(scenarios.len() as u64).max(1);
    let mut all = Vec::new();
    for (place, scenario) in scenarios.iter().enumerate() {
        for field in 0..each {
            let number = place as u64 * BLOCK + field;
            all.push(if measured.quantity.is_part() {
                parts::values(scenario, SEED, number, measured)
            } else {
                of_field(scenario, number, measured, kinds)
            });
        }
    }
    all
}

fn of_field(scenario: &Scenario, field: u64, measured: &Measured, kinds: &[Kind]) -> Field {
    let study = scenario.study();
    let request = Request {
        seed: SEED,
        speeds_m_s: &study.speeds_m_s,
        clearances_m: &study.clearances_m,
        rows_apart_at_m_s: None,
        room_m: measured.band_m(),
    };
    let passes: Vec<u64> = (field * FIELD_PASSES..(field + 1) * FIELD_PASSES).collect();
    let setups: Vec<_> = passes
        .iter()
        .map(|&pass| scenario.draw(SEED, pass))
        .collect();
    let at_speeds = together(run(&request, kinds, &setups, &passes)).expect("passes");
    let what = measured.quantity;
    if what.is_growth() {
        let (first, last) = (&at_speeds[..1], &at_speeds[at_speeds.len() - 1..]);
        let pairs = single(what, last).into_iter().zip(single(what, first));
        pairs.map(|(last, first)| last / first).collect()
    } else {
        single(what, &at_speeds)
    }
}

/// One value for each speed and controller; the axle has no controller.
fn single(what: What, at_speeds: &[PassAtSpeed]) -> Field {
    let mut values = Field::new();
    for at_speed in at_speeds {
        if what.is_axle() {
            let [looks, sum, squares] = at_speed.axle;
            values.push(of_moments(what, looks, sum, squares));
            continue;
        }
        for under in &at_speed.controllers {
            let followed = &under.followed;
            values.push(match what {
                What::Cut => (under.rest.cut[0] / under.rest.plants).max(RAREST).ln(),
                What::ToolWithin => followed.near / followed.looks,
                _ => of_moments(what, followed.looks, followed.error_m, followed.error_sq_m2),
            });
        }
    }
    values
}

fn of_moments(what: What, count: f64, sum: f64, squares: f64) -> f64 {
    let rms = (squares / count).sqrt();
    let sd = (squares / count - (sum / count).powi(2)).max(0.0).sqrt();
    match what {
        What::ToolRms => rms,
        What::ToolMeanAbs => MEAN_ABS * rms,
        What::ToolPeak => std::f64::consts::SQRT_2 * sd,
        What::ToolP95 | What::AxleP95 => P95 * rms,
        _ => sd,
    }
}
