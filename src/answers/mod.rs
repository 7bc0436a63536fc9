//! What follows from a study for engineer, dealer, grower and workshop.
//!
//! Each answer is a pure function of simulated results. Where one needs other speeds or a changed machine, [`trial`] runs them on the
//! first passes of the study: the same ground, drivers and plants, so that differences carry their own, much narrower limits.

pub mod between;
pub mod changes;
pub mod compare;
pub mod control;
pub mod effects;
pub mod hydraulics;
pub mod pays;
pub mod sheet;
pub mod soil;
pub mod spacing;
pub mod speed;
pub mod stages;
pub mod stroke;
pub mod trial;
pub mod words;

use crate::model::controller::Kind;
use crate::montecarlo::study::{Plan, Watch, runnable};
use crate::results::Results;
use crate::results::answers::{Answers, Night, Pays, SpeedAnswer, Status};
use crate::results::finite::first_not_finite;
use effects::AtWork;
use trial::{Stopped, Trials};

/// Most passes of the further runs (our choice: the demo's answers take less than a minute on two cores).
const MOST_PASSES: u64 = 256;

/// Works out all answers of a complete study.
///
/// # Errors
///
/// The watch stopped it; no threads.
pub fn work_out(plan: &Plan, results: &Results, watch: &dyn Watch) -> Result<Answers, Stopped> {
    let scenario = plan.scenario;
    let trials = Trials::new(scenario, plan.seed, plan.threads, watch)?;
    let (setup, farm) = (scenario.nominal(), scenario.farm());
    let kinds = runnable(scenario);
    let passes = results.passes.min(MOST_PASSES);
    let kind = chosen(results, &kinds);
    let moves = kind.filter(|&kind| kind != Kind::Locked);

    let mut control = control::answer(&setup, kind, results.working_speed_m_s);
    let best_lookahead_m = control.best_lookahead_m;
    let at_work = kind
        .map(|kind| AtWork::new(&trials, results, &setup, kind, passes))
        .transpose()?;
    let stroke = stroke::answer(
        &trials,
        results,
        &setup,
        kind,
        scenario.slopes_rad(),
        passes,
    )?;
    let (low_rad, high_rad) = scenario.slopes_rad();
    let steepest_rad = if high_rad > -low_rad {
        high_rad
    } else {
        low_rad
    };
    let mut hydraulics = hydraulics::combinations(
        &scenario.nominal_on_slope(steepest_rad),
        &farm,
        stroke::wanted_speed_m_s(&stroke).value,
        stroke::longest_m(&stroke),
        scenario.units(),
    );
    let mut night = None;
    if let (Some(at_work), Some(kind)) = (&at_work, moves) {
        for change in changes::valves(&setup, kind) {
            hydraulics.effects.extend(at_work.with(&change)?);
        }
        if let Some(change) = changes::best_lookahead(&setup, best_lookahead_m) {
            control.effect = at_work.with(&change)?;
        }
        if let Some(land) = farm.land.as_ref().filter(|land| land.night_hours > 0.0) {
            let effect = at_work.with(&changes::under_lights(land.night_noise))?;
            night = effect.map(|effect| Night {
                rate: effect.rate,
                lower: effect.lower,
                upper: effect.upper,
                difference: effect.difference,
                difference_lower: effect.difference_lower,
                difference_upper: effect.difference_upper,
                days_without: None,
                days_with: 0.0,
            });
        }
    }
    let speed = speed::answer(&trials, results, &setup, &kinds, passes)?;
    let steps = changes::steps(&setup, best_lookahead_m, scenario.units());
    let pays = pays::answer(&trials, &setup, &kinds, moves, &steps, passes)?;
    let name = kind.map(Kind::name);
    Ok(with_finite_numbers(Answers {
        passes,
        controller: name.map(Into::into),
        stroke,
        hydraulics,
        control,
        speed,
        pays,
        spacing: spacing::answer(results, &setup, &farm, name, night),
        stages: stages::answer(&trials, results, kind, &farm.stages, passes)?,
        soil: soil::answer(results, &setup, &farm),
        sheet: sheet::answer(&setup, &farm, results.working_clearance_m, scenario.units()),
    }))
}

/// An answer with a number that is not finite becomes none: the passes behind it are not lost for that.
fn with_finite_numbers(mut answers: Answers) -> Answers {
    let why = |key: String| {
        Some(format!(
            "The values of the scenario lead to no finite number here ({key}): look for one that is far too large or too small."
        ))
    };
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
    for speed in &mut answers.speed {
        if let Some(key) = first_not_finite(speed) {
            *speed = SpeedAnswer {
                status: Status::NoAnswer,
                reason: why(key),
                controller: std::mem::take(&mut speed.controller),
                clearance_m: speed.clearance_m,
                allowed_rate: speed.allowed_rate,
                highest_speed_m_s: None,
                at_least: false,
                rate: None,
                rate_upper: None,
                binding: None,
                causes: Vec::new(),
            };
        }
    }
    for pays in &mut answers.pays {
        if let Some(key) = first_not_finite(pays) {
            *pays = Pays {
                reason: why(key),
                change: std::mem::take(&mut pays.change),
                controller: std::mem::take(&mut pays.controller),
                clearance_m: pays.clearance_m,
                ..Pays::no_answer()
            };
        }
    }
    answers
}

/// The controller that the answers speak of.
fn chosen(results: &Results, kinds: &[Kind]) -> Option<Kind> {
    let fastest = results.answer.fastest.as_ref();
    let named = fastest.and_then(|choice| Kind::from_name(&choice.controller));
    named.or_else(|| {
        let upper = |kind: Kind| {
            let at_work = results.strike_rates.iter().find(|cell| {
                cell.controller == kind.name()
                    && cell.speed_m_s == results.working_speed_m_s
                    && cell.clearance_m == results.working_clearance_m
            });
            at_work.map_or(1.0, |cell| cell.upper)
        };
        let kinds = kinds.iter().copied();
        kinds.min_by(|&a, &b| upper(a).total_cmp(&upper(b)))
    })
}

/// Answers of a study that was cut short: none, and why.
pub fn none(reason: &str) -> Answers {
    let mut answers = Answers::default();
    let reason = Some(reason.to_owned());
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

#[cfg(all(test, feature = "program"))]
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
            |a| a.speed[1].rate = Some(f64::NAN),
            |a| a.pays[1].upper = Some(f64::INFINITY),
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
                .filter(|why| why.contains("no finite number"));
            assert_eq!(told.count(), 1);
        }
    }
}
