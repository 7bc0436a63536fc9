//! What follows from a study for engineer, dealer, grower and workshop.
//!
//! Each answer is a pure function of simulated results. Where one needs other speeds or a changed machine, [`trial`] runs them on the
//! first passes of the study: the same ground, drivers and plants, so that differences carry their own, much narrower limits.

pub mod assured;
pub mod between;
pub mod changes;
pub mod compare;
pub mod control;
pub mod design;
pub mod effects;
pub mod grid;
pub mod hydraulics;
pub mod limits;
pub mod measure;
pub mod pays;
mod plan;
pub mod recommend;
pub mod sheet;
pub mod soil;
pub mod spacing;
pub mod speed;
pub mod stages;
pub mod stroke;
pub mod sweep;
pub mod trial;

use crate::model::controller::Kind;
use crate::montecarlo::farms::Farms;
use crate::montecarlo::study::{Plan, Watch, runnable};
use crate::results::Results;
use crate::results::answers::{Answers, Bound, Night, Pays, SpeedAnswer, Status};
use crate::results::finite::first_not_finite;
use crate::results::reasons::Reason;
use changes::Step;
use limits::Limits;
use pays::Base;
use recommend::Field;
use spacing::Priced;
use speed::{Runs, Tries};
use trial::{Stopped, Trials};

/// Most passes of the further runs (our choice: the demo's answers take less than a minute on two cores).
const MOST_PASSES: u64 = 256;

/// Works out all answers of a complete study; with farms like this one, where something is not known.
///
/// # Errors
///
/// The watch stopped it; no threads.
pub fn work_out(
    plan: &Plan,
    results: &Results,
    farms: Option<&Farms>,
    watch: &dyn Watch,
) -> Result<Answers, Stopped> {
    let scenario = plan.scenario;
    let trials = Trials::new(scenario, plan.seed, plan.threads, watch)?;
    let (setup, farm) = (scenario.nominal(), scenario.farm());
    let kinds = runnable(scenario);
    let passes = results.passes.min(MOST_PASSES);

    let slopes_rad = scenario.slopes_rad();
    let steepest_rad = if slopes_rad.1 > -slopes_rad.0 {
        slopes_rad.1
    } else {
        slopes_rad.0
    };
    let on_slope = scenario.nominal_on_slope(steepest_rad);
    let priced = Priced::new(&setup, &farm);
    let field = |bounds| Field {
        results,
        kinds: &kinds,
        bounds,
        units: scenario.units(),
        priced: priced.as_ref().ok(),
    };
    let mut tries = Tries::new(&trials, results, &kinds, passes);
    // What the oil allows is not known yet.
    let without_oil = Limits {
        setup: &setup,
        on_slope: &on_slope,
        farm: &farm,
        demand: &[],
        speeds_m_s: &results.speeds_m_s,
    };
    trials.expect(plan::work_ahead(
        &field(&without_oil),
        &tries,
        slopes_rad,
        passes,
    ));
    let mut demand = stroke::demand(&trials, &results.speeds_m_s, slopes_rad, passes)?;
    let bounds = Limits {
        demand: &demand.clone(),
        ..without_oil
    };

    let mut searches = speed::searches(&mut tries, &bounds)?;
    let recommended = field(&bounds).recommended(&mut tries, &mut searches)?;
    let kind = recommended
        .as_ref()
        .map(|setting| setting.controller)
        .or_else(|| best_at_work(results, &kinds));
    let moves = kind.filter(|kind| kind.moves());
    let design = recommended.as_ref().map_or(
        (results.working_speed_m_s, results.working_clearance_m),
        |setting| (setting.speed_m_s, setting.clearance_m),
    );
    let (speed_m_s, clearance_m) = design;
    if !results.speeds_m_s.contains(&speed_m_s) {
        demand.extend(stroke::demand(&trials, &[speed_m_s], slopes_rad, passes)?);
        demand.sort_by(|a, b| a.speed_m_s.total_cmp(&b.speed_m_s));
    }

    let mut control = control::answer(&setup, kind, speed_m_s);
    let best_lookahead_m = control.best_lookahead_m;
    let causes = changes::causes(
        &setup,
        farm.soil.as_ref(),
        best_lookahead_m,
        scenario.units(),
    );
    let runs = Runs {
        trials: &trials,
        results,
        kinds: &kinds,
        passes,
    };
    let of_answers = (kind, clearance_m);
    let speed = speed::answers(&runs, &bounds, &searches, of_answers, &causes)?;
    let wanted_m_s = limits::wanted_shift_speed_m_s(&demand, speed_m_s);
    let stroke = stroke::answer(&trials, results, &setup, kind, design, demand, passes)?;
    let mut hydraulics = hydraulics::combinations(
        &on_slope,
        &farm,
        wanted_m_s,
        stroke::longest_m(&stroke),
        scenario.units(),
    );
    let mut night = None;
    if let Some(kind) = moves {
        let valves = changes::valves(&setup, kind);
        let lookahead = changes::best_lookahead(&setup, best_lookahead_m);
        let land = farm.land.as_ref().filter(|land| land.night_hours > 0.0);
        let lights = land.map(|land| changes::under_lights(land.night_noise));
        let steps: Vec<&Step> = valves.iter().chain(&lookahead).chain(&lights).collect();
        let mut effects =
            effects::of_steps(&trials, &setup, kind, design, passes, &steps)?.into_iter();
        let of_valves = effects.by_ref().take(valves.len()).flatten();
        hydraulics.effects.extend(of_valves);
        if lookahead.is_some() {
            control.effect = effects.next().flatten();
        }
        if lights.is_some() {
            night = effects.next().flatten().map(|effect| Night {
                passes: effect.passes,
                cut: effect.cut,
                difference: effect.difference,
                days_without: None,
                days_with: 0.0,
            });
        }
    }
    let base = Base {
        trials: &trials,
        bounds: &bounds,
        kinds: &kinds,
        passes,
        priced: priced.is_ok(),
    };
    let pays = pays::answer(&base, moves, design, &causes)?;
    let breaks = |speed_m_s: f64, clearance_m: f64| -> Vec<Bound> {
        let of_setting = speed
            .iter()
            .find(|answer| Some(answer.controller) == kind && answer.clearance_m == clearance_m);
        let limits = of_setting.map_or(&[][..], |answer| &answer.limits);
        let broken = limits
            .iter()
            .filter(|limit| !limits::keeps(limit, speed_m_s));
        broken.map(|limit| limit.cause).collect()
    };
    let spacing = spacing::answer(
        results,
        &priced,
        kind,
        &breaks,
        (speed_m_s, recommended.as_ref()),
        night,
    );
    let setting = kind.map(|kind| assured::Setting {
        kind,
        speed_m_s,
        clearance_m,
    });
    let place = setting.and_then(|setting| setting.place(results));
    let measure = farms.zip(place).map_or_else(Vec::new, |(farms, place)| {
        measure::answer(
            scenario,
            farms,
            results,
            (place, priced.as_ref().ok()),
            plan.seed,
        )
    });
    let strokes_m = match (farms, moves) {
        (Some(_), Some(_)) => {
            stroke::on_farms(&trials, speed_m_s, passes, &assured::levels(results))?
        }
        _ => Vec::new(),
    };
    let keeps = |speed_m_s: f64, clearance_m: f64| {
        let limits = kind.map_or_else(Vec::new, |kind| bounds.of(kind, clearance_m));
        limits.iter().all(|limit| limits::keeps(limit, speed_m_s))
    };
    let rests_on = assured::RestsOn {
        strokes_m: &strokes_m,
        priced: priced.as_ref().ok(),
        keeps: &keeps,
    };
    let of_farms = farms.zip(setting);
    let (assured, keeping) = of_farms.map_or_else(Default::default, |(farms, setting)| {
        let keeping = assured::keeping(farms, results, setting);
        (assured::answer(farms, results, setting, &rests_on), keeping)
    });
    Ok(with_finite_numbers(Answers {
        assured,
        keeping,
        measure,
        passes,
        not_recommended: recommended.is_none().then_some(Reason::NothingKept),
        recommended,
        controller: kind,
        stroke,
        hydraulics,
        control,
        pays,
        spacing,
        stages: stages::answer(&trials, results, kind, speed_m_s, &farm.stages)?,
        soil: soil::answer(results, &setup, &farm, design),
        sheet: sheet::answer(&setup, &farm, clearance_m),
        speed,
    }))
}

/// An answer with a number that is not finite becomes none: the passes behind it are not lost for that.
fn with_finite_numbers(mut answers: Answers) -> Answers {
    let why = |key: String| Some(Reason::NotFinite { key });
    macro_rules! none_if_not_finite {
        ($($name:ident),*) => {$(
            if let Some(key) = first_not_finite(&answers.$name) {
                answers.$name = Default::default();
                answers.$name.status = Status::NoAnswer;
                answers.$name.reason = why(key);
            }
        )*};
    }
    none_if_not_finite!(stroke, hydraulics, control, spacing, stages, soil, sheet);
    if let Some(key) = first_not_finite(&answers.recommended) {
        answers.recommended = None;
        answers.not_recommended = why(key);
    }
    for speed in &mut answers.speed {
        if let Some(key) = first_not_finite(speed) {
            *speed = SpeedAnswer {
                status: Status::NoAnswer,
                reason: why(key),
                controller: speed.controller,
                clearance_m: speed.clearance_m,
                allowed_cut_rate: speed.allowed_cut_rate,
                highest_speed_m_s: None,
                at_least: false,
                binding: None,
                next_binding: None,
                in_time: None,
                limits: Vec::new(),
                passes: speed.passes,
                causes: Vec::new(),
            };
        }
    }
    for pays in &mut answers.pays {
        if let Some(key) = first_not_finite(pays) {
            *pays = Pays {
                reason: why(key),
                change: pays.change,
                against: pays.against,
                controller: pays.controller,
                clearance_m: pays.clearance_m,
                ..Pays::no_answer()
            };
        }
    }
    answers
}

/// The controller with the lowest upper limit at work.
fn best_at_work(results: &Results, kinds: &[Kind]) -> Option<Kind> {
    let upper = |kind: Kind| {
        let at_work = results.at_work(kind);
        at_work.map_or(1.0, |cell| cell.decisive())
    };
    let kinds = kinds.iter().copied();
    kinds.min_by(|&a, &b| upper(a).total_cmp(&upper(b)))
}

/// Answers of a study that was cut short: none, and why.
pub fn none() -> Answers {
    let mut answers = Answers::default();
    let reason = Some(Reason::CutShort);
    for (status, why) in [
        (&mut answers.stroke.status, &mut answers.stroke.reason),
        (
            &mut answers.hydraulics.status,
            &mut answers.hydraulics.reason,
        ),
        (&mut answers.control.status, &mut answers.control.reason),
        (&mut answers.spacing.status, &mut answers.spacing.reason),
        (&mut answers.stages.status, &mut answers.stages.reason),
        (&mut answers.soil.status, &mut answers.soil.reason),
        (&mut answers.sheet.status, &mut answers.sheet.reason),
    ] {
        *status = Status::NoData;
        why.clone_from(&reason);
    }
    answers
}

#[cfg(all(test, feature = "report"))]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn regress_an_answer_without_a_finite_number_says_so_and_the_others_stay() {
        let answers = synthetic::results().answers;
        assert_eq!(with_finite_numbers(answers.clone()), answers);
        let spoil: [fn(&mut Answers); 6] = [
            |a| a.stroke.demand[0].shift_p95_m.value = f64::NAN,
            |a| a.spacing.cells[0].days = f64::INFINITY,
            |a| a.soil.speeds[0].speed_m_s = f64::NAN,
            |a| a.sheet.tools[0].left_edge_m = f64::NEG_INFINITY,
            |a| a.speed[1].highest_speed_m_s = Some(f64::NAN),
            |a| a.pays[1].speed_gain_m_s.as_mut().unwrap().upper = f64::INFINITY,
        ];
        for spoil in spoil {
            let mut spoilt = answers.clone();
            spoil(&mut spoilt);
            assert!(first_not_finite(&spoilt).is_some());
            let mended = with_finite_numbers(spoilt);
            assert_eq!(first_not_finite(&mended), None);
            let kept = [
                mended.stroke == answers.stroke,
                mended.spacing == answers.spacing,
                mended.soil == answers.soil,
                mended.sheet == answers.sheet,
                mended.speed == answers.speed,
                mended.pays == answers.pays,
            ];
            assert_eq!(kept.iter().filter(|kept| !**kept).count(), 1);
            let reasons = [
                &mended.stroke.reason,
                &mended.spacing.reason,
                &mended.soil.reason,
                &mended.sheet.reason,
                &mended.speed[1].reason,
                &mended.pays[1].reason,
            ];
            let told = reasons
                .into_iter()
                .flatten()
                .filter(|why| matches!(why, Reason::NotFinite { .. }));
            assert_eq!(told.count(), 1);
        }
    }
}
