//! What a change does to the plants cut at one setting, on the same passes.

use super::changes::Step;
use super::speed::is_stable_with;
use super::trial::{Alter, Ask, Stopped, Trials, as_it_is};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::answers::Effect;

/// What each of some steps does to a machine under a controller at a speed, m/s, and clearance, m; `None` where that makes a loop unstable.
///
/// # Errors
///
/// The watch stopped it.
pub fn of_steps(
    trials: &Trials,
    setup: &Setup,
    kind: Kind,
    (speed_m_s, clearance_m): (f64, f64),
    passes: u64,
    steps: &[&Step],
) -> Result<Vec<Option<Effect>>, Stopped> {
    let steady = |step: &Step| {
        let change = |setup: &mut Setup, v| step.apply(setup, v);
        is_stable_with(setup, &change, kind, speed_m_s)
    };
    let (kinds, steady): (&[Kind], Vec<bool>) =
        (&[kind], steps.iter().map(|step| steady(step)).collect());
    if !steady.contains(&true) {
        return Ok(vec![None; steps.len()]);
    }
    let ask = Ask {
        passes,
        speeds_m_s: &[speed_m_s],
        clearances_m: &[clearance_m],
    };
    let applied: Vec<_> = steps
        .iter()
        .map(|step| move |setup: &mut Setup| step.apply(setup, speed_m_s))
        .collect();
    let mut changes: Vec<(&[Kind], Alter)> = vec![(kinds, &as_it_is)];
    let runs = applied.iter().zip(&steady).filter(|(_, steady)| **steady);
    changes.extend(runs.map(|(apply, _)| (kinds, apply as Alter)));
    let samples = trials.run_each(&ask, &changes)?;
    let base = samples[0].cell(0, 0);
    let mut changed = samples[1..].iter();
    let effects = steps.iter().zip(steady).map(|(step, steady)| {
        let cell = if steady {
            changed.next()?.cell(0, 0)
        } else {
            return None;
        };
        Some(Effect {
            change: step.change,
            passes,
            cut: cell.estimates()[0].share(),
            difference: cell.less(base, 0),
        })
    });
    Ok(effects.collect())
}
