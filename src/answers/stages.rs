//! A clearance for each stage of the crop's growth.

use super::trial::{Alter, Ask, Sample, Stopped, Trials};
use crate::farm::Stage;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::Results;
use crate::results::answers::{StageClearance, StagesAnswer, Status};
use crate::results::reasons::Reason;

/// The answer for one controller at a speed, m/s, from all passes of the study, like the recommended setting.
///
/// # Errors
///
/// The watch stopped it.
pub fn answer(
    trials: &Trials,
    results: &Results,
    kind: Option<Kind>,
    speed_m_s: f64,
    stages: &[Stage],
) -> Result<StagesAnswer, Stopped> {
    let mut answer = StagesAnswer {
        speed_m_s,
        passes: results.passes,
        controller: kind,
        ..StagesAnswer::default()
    };
    let Some(kind) = kind.filter(|_| !stages.is_empty()) else {
        answer.reason = Some(Reason::TablesMissing {
            tables: vec!["growth".into()],
        });
        return Ok(answer);
    };
    let ask = Ask {
        passes: results.passes,
        speeds_m_s: &[speed_m_s],
        clearances_m: &results.clearances_m,
    };
    let grown: Vec<_> = stages
        .iter()
        .map(|stage| {
            move |setup: &mut Setup| {
                setup.plants.protected_radius_m = stage.protected_radius_m;
                setup.plants.stem_radius_m = stage.stem_radius_m;
            }
        })
        .collect();
    let kinds: &[Kind] = &[kind];
    let changes: Vec<(&[Kind], Alter)> = grown.iter().map(|grow| (kinds, grow as Alter)).collect();
    let samples = trials.run_each(&ask, &changes)?;
    answer.stages = stages
        .iter()
        .zip(&samples)
        .map(|(stage, sample)| at(results, sample, stage))
        .collect();
    let heights_m: Vec<f64> = answer
        .stages
        .iter()
        .filter(|stage| stage.clearance_m.is_none())
        .map(|stage| stage.height_m)
        .collect();
    answer.status = if heights_m.len() < answer.stages.len() {
        Status::Ok
    } else {
        Status::NoAnswer
    };
    if !heights_m.is_empty() {
        answer.reason = Some(Reason::NoClearanceFor {
            speed_m_s,
            heights_m,
        });
    }
    Ok(answer)
}

/// The smallest simulated clearance from which on every wider one keeps the allowed rate.
fn at(results: &Results, sample: &Sample, stage: &Stage) -> StageClearance {
    let estimates = sample.cell(0, 0).estimates();
    let first = estimates
        .iter()
        .rposition(|estimate| estimate.upper > results.allowed_cut_rate)
        .map_or(0, |last| last + 1);
    let found = estimates.get(first);
    StageClearance {
        height_m: stage.height_m,
        stem_radius_m: stage.stem_radius_m,
        protected_radius_m: stage.protected_radius_m,
        clearance_m: found.map(|_| results.clearances_m[first]),
        rate: found.map(|estimate| estimate.rate),
        rate_upper: found.map(|estimate| estimate.upper),
    }
}
