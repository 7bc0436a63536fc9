//! How much side-shift: what the rows ask for, and the smallest stroke of the standard series that is good enough.

use super::changes::UNLIMITED_STROKE_M;
use super::trial::{Alter, Ask, Stopped, Trials};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::answers::{Demand, Status, StrokeAnswer, StrokeCandidate};
use crate::results::reasons::{Reason, Slope, StrokeBinding};
use crate::results::{LEVEL, Results};

/// Share of the allowed rate that a shorter stroke may add (our choice, no source).
const WORTH: f64 = 0.1;

/// The answer for one controller at a speed, m/s, and clearance, m; `demand` is what the rows ask.
///
/// # Errors
///
/// The watch stopped it.
pub fn answer(
    trials: &Trials,
    results: &Results,
    setup: &Setup,
    kind: Option<Kind>,
    (speed_m_s, clearance_m): (f64, f64),
    demand: Vec<Demand>,
    passes: u64,
) -> Result<StrokeAnswer, Stopped> {
    let mut answer = StrokeAnswer {
        clearance_m,
        design_speed_m_s: speed_m_s,
        fitted_m: setup.hydraulics.stroke_m,
        demand,
        passes,
        ..StrokeAnswer::default()
    };
    let Some(kind) = kind.filter(|kind| kind.moves()) else {
        answer.reason = Some(Reason::NothingMoves);
        return Ok(answer);
    };
    answer.controller = Some(kind);
    let ask = Ask {
        passes,
        speeds_m_s: &[speed_m_s],
        clearances_m: &[clearance_m],
    };
    let with = |stroke_m: f64| {
        move |setup: &mut Setup| {
            setup.hydraulics.stroke_m = stroke_m;
            let half_m = 0.5 * stroke_m;
            setup.run.entry_shift_m = setup.run.entry_shift_m.clamp(-half_m, half_m);
        }
    };
    let strokes_m = results.scenario.units.series().strokes_m();
    let longest = std::iter::once(&UNLIMITED_STROKE_M);
    let fitted: Vec<_> = longest.chain(strokes_m).map(|&m| with(m)).collect();
    let kinds: &[Kind] = &[kind];
    let changes: Vec<(&[Kind], Alter)> = fitted.iter().map(|fit| (kinds, fit as Alter)).collect();
    let samples = trials.run_each(&ask, &changes)?;
    let unlimited = samples[0].cell(0, 0);
    for (&stroke_m, sample) in strokes_m.iter().zip(&samples[1..]) {
        let cell = sample.cell(0, 0);
        let estimate = cell.estimates()[0];
        let difference = cell.less(unlimited, 0);
        answer.candidates.push(StrokeCandidate {
            stroke_m,
            end_stop_share: cell.end_stop_share,
            cut: estimate.share(),
            difference,
            good_enough: difference.upper <= WORTH * results.allowed_cut_rate,
        });
    }
    decide(results, kind, unlimited.estimates()[0].upper, &mut answer);
    Ok(answer)
}

/// The smallest stroke from which on every longer one is good enough too.
fn decide(results: &Results, kind: Kind, unlimited_upper: f64, answer: &mut StrokeAnswer) {
    let candidates = &answer.candidates;
    let good = candidates
        .iter()
        .rposition(|candidate| !candidate.good_enough)
        .map_or(0, |last_bad| last_bad + 1);
    let adds_at_most = WORTH * results.allowed_cut_rate;
    match candidates.get(good) {
        Some(recommended) => {
            answer.status = Status::Ok;
            answer.recommended_m = Some(recommended.stroke_m);
            answer.binding = Some(match good.checked_sub(1).map(|below| &candidates[below]) {
                Some(below) => StrokeBinding::ShorterAtItsEnd {
                    stroke_m: below.stroke_m,
                    end_stop_share: below.end_stop_share,
                },
                None => StrokeBinding::SeriesBegins,
            });
            answer.reason = Some(Reason::GoodStroke {
                adds_at_most,
                never_kept_at_m_s: (unlimited_upper > results.allowed_cut_rate)
                    .then_some(answer.design_speed_m_s),
                controller: kind,
            });
        }
        None => {
            answer.status = Status::NoAnswer;
            answer.reason = Some(Reason::StrokesTooShort {
                longest_m: candidates.last().map_or(0.0, |last| last.stroke_m),
                adds_at_most,
            });
        }
    }
}

/// What is asked of the side-shift at these speeds, m/s; on the steepest slopes too where the field has any.
///
/// # Errors
///
/// The watch stopped it.
pub fn demand(
    trials: &Trials,
    speeds_m_s: &[f64],
    slopes_rad: (f64, f64),
    passes: u64,
) -> Result<Vec<Demand>, Stopped> {
    let steepest_rad = slopes_rad.0.abs().max(slopes_rad.1.abs());
    let mut slopes = vec![(Slope::AsSimulated, None)];
    if steepest_rad > 0.0 {
        slopes.push((Slope::LeftHigher, Some(steepest_rad)));
        slopes.push((Slope::RightHigher, Some(-steepest_rad)));
    }
    let mut all = Vec::new();
    for (slope, slope_rad) in slopes {
        for &speed_m_s in speeds_m_s {
            let wanted = trials.wanted(passes, speed_m_s, slope_rad)?;
            let [shift_p50_m, shift_p95_m, shift_p999_m] =
                wanted.shift_m.quantiles([0.5, 0.95, 0.999], LEVEL);
            let [shift_speed_p95_m_s, shift_speed_p999_m_s] =
                wanted.speed_m_s.quantiles([0.95, 0.999], LEVEL);
            all.push(Demand {
                speed_m_s,
                slope,
                shift_p50_m,
                shift_p95_m,
                shift_p999_m,
                shift_speed_p95_m_s,
                shift_speed_p999_m_s,
            });
        }
    }
    Ok(all)
}

/// Share of the way on which a stroke must do for a farm (as the demand has it).
const OF_THE_WAY: f64 = 0.999;

/// Total stroke that so many farms do not ask more of at a speed, m/s, level by level: twice the shift wanted over eight passes.
///
/// # Errors
///
/// The watch stopped it.
pub fn on_farms(
    trials: &Trials,
    speed_m_s: f64,
    passes: u64,
    levels: &[f64],
) -> Result<Vec<f64>, Stopped> {
    let asked_m = trials
        .wanted(passes, speed_m_s, None)?
        .shift_m
        .of_each(OF_THE_WAY);
    let at = |level: &f64| {
        let place = (level * asked_m.len() as f64).ceil() as usize;
        asked_m
            .get(place.saturating_sub(1))
            .map(|shift_m| 2.0 * shift_m)
    };
    Ok(levels.iter().filter_map(at).collect())
}

/// Stroke that a new cylinder may get, m: the machine's or the recommended one, whichever is longer.
pub fn longest_m(answer: &StrokeAnswer) -> f64 {
    answer.recommended_m.unwrap_or(0.0).max(answer.fitted_m)
}
