//! Lookahead and loop of a controller at one speed, by the linear check.

use core::f64::consts::{FRAC_PI_2, PI, TAU};

use crate::linear::{Complex, check_stable, loop_response, tool_error};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::answers::{BodePoint, ControlAnswer, LookaheadError, Status};
use crate::results::reasons::Reason;

/// Lookaheads are tried from 0 to this, m, or to three times the scenario's own if that is more (our choice, no source).
const FARTHEST_M: f64 = 2.5;

/// Fine steps a metre, around the best lookahead.
const STEPS_A_METRE: f64 = 100.0;

/// Fine steps between the lookaheads that are tried first.
const COARSE: i64 = 5;

/// Frequencies of a Bode plot.
const FREQUENCIES: usize = 121;

/// Span of a Bode plot from the lowest frequency to the Nyquist frequency of the camera, at least.
const SPAN: f64 = 1000.0;

/// Tool error over the lookahead and the loop's frequency response, for a controller at a speed, m/s, above 0.
///
/// Only the lookahead changes from one to the next; gains and delays stay. The tool error is the standard deviation, so a constant
/// error (slope, alignment) has no say. The run behind `effect` is not made here.
pub fn answer(setup: &Setup, controller: Option<Kind>, speed_m_s: f64) -> ControlAnswer {
    let mut answer = ControlAnswer {
        status: Status::NoAnswer,
        controller,
        speed_m_s,
        lookahead_m: setup.camera.lookahead_m,
        ..ControlAnswer::default()
    };
    let Some(kind) = controller else {
        answer.reason = Some(Reason::NoController);
        return answer;
    };
    if let Some(lack) = kind.lacks(setup) {
        answer.status = Status::NoData;
        answer.reason = Some(Reason::Lacks { part: lack });
        return answer;
    }
    if !kind.moves() {
        answer.reason = Some(Reason::LockedFrame);
        return answer;
    }
    if kind.linear(setup, speed_m_s).is_none() {
        answer.reason = Some(Reason::NoLinearForm);
        return answer;
    }
    answer.bode = bode(setup, kind, speed_m_s);
    if let Err(unstable) = check_stable(setup, kind, speed_m_s) {
        answer.reason = Some(Reason::Unstable { found: unstable });
        return answer;
    }
    answer.lookaheads = lookaheads(setup, kind, speed_m_s);
    let best = best(&answer.lookaheads);
    answer.best_lookahead_m = best.map(|point| point.lookahead_m);
    answer.status = Status::Ok;
    answer.reason = Some(match best {
        None => Reason::ReplayedPath,
        Some(best) => verdict(&answer, best),
    });
    answer
}

/// Share of the tool error below which a gain is not worth a change (our choice, no source).
const WORTH: f64 = 0.01;

/// What the best lookahead gains.
fn verdict(answer: &ControlAnswer, best: &LookaheadError) -> Reason {
    let own = answer
        .lookaheads
        .iter()
        .find(|point| point.lookahead_m == answer.lookahead_m)
        .unwrap_or(best);
    let gain = 1.0 - best.tool_error_sd_m / own.tool_error_sd_m;
    let last = answer.lookaheads.last();
    Reason::Lookahead {
        gain: (gain > WORTH).then_some(gain),
        shorter: best.lookahead_m < own.lookahead_m,
        longest: last.is_some_and(|last| last.lookahead_m == best.lookahead_m),
    }
}

fn best(points: &[LookaheadError]) -> Option<&LookaheadError> {
    points
        .iter()
        .min_by(|a, b| a.tool_error_sd_m.total_cmp(&b.tool_error_sd_m))
}

/// Tool error over the lookahead, rising: even steps, the scenario's own, and fine steps around the best of these. Lookaheads
/// without a stable loop are left out.
fn lookaheads(setup: &Setup, kind: Kind, speed_m_s: f64) -> Vec<LookaheadError> {
    let own_m = setup.camera.lookahead_m;
    let at = |lookahead_m: f64| -> Option<LookaheadError> {
        let mut other = setup.clone();
        other.camera.lookahead_m = lookahead_m;
        let variance_m2 = tool_error(&other, kind, speed_m_s)?.variance_m2();
        variance_m2.is_finite().then(|| LookaheadError {
            lookahead_m,
            tool_error_sd_m: variance_m2.sqrt(),
        })
    };
    let fine = |steps: i64| steps as f64 / STEPS_A_METRE;
    let most = (FARTHEST_M.max(3.0 * own_m) * STEPS_A_METRE / COARSE as f64).ceil() as i64;
    let own_step = (own_m * STEPS_A_METRE).round() as i64;
    let own_fits = (fine(own_step) - own_m).abs() < 1e-9;
    // One name for one place: the scenario's own number stands for the step that it falls on.
    let place = |steps: i64| {
        if own_fits && steps == own_step {
            own_m
        } else {
            fine(steps)
        }
    };
    let mut points: Vec<LookaheadError> = (0..=most)
        .map(|i| place(i * COARSE))
        .chain((!own_fits || own_step % COARSE != 0).then_some(own_m))
        .filter_map(at)
        .collect();
    if let Some(around_m) = best(&points).map(|point| point.lookahead_m) {
        let middle = (around_m * STEPS_A_METRE).round() as i64;
        let between = (middle - COARSE..=middle + COARSE)
            .filter(|step| *step >= 0 && *step <= most * COARSE)
            .map(place)
            .filter(|lookahead_m| points.iter().all(|p| p.lookahead_m != *lookahead_m))
            .collect::<Vec<_>>();
        points.extend(between.into_iter().filter_map(at));
    }
    points.sort_by(|a, b| a.lookahead_m.total_cmp(&b.lookahead_m));
    points
}

/// The loop opened at the valve, from a frequency at which its gain is well above 1 up to half the frame rate, in even steps of the
/// logarithm. The phase is followed from the lowest frequency, where integrators hold it between -3/2 pi and pi/2, in steps of
/// 0.01 rad a frame: a dead time of up to a hundred frames turns it by no more than 1 rad in each.
fn bode(setup: &Setup, kind: Kind, speed_m_s: f64) -> Vec<BodePoint> {
    const STEP_RAD: f64 = 0.01;
    let frame_s = setup.camera.frame_s;
    // By the angle that a frame turns.
    let value = |angle: f64| loop_response(setup, kind, speed_m_s, angle / frame_s);
    let mut lowest = PI / SPAN;
    while value(10.0 * lowest).is_some_and(|l| l.norm_sqr() < 1.0) && lowest > 1e-9 {
        lowest *= 0.1;
    }
    let span = libm::log(PI / lowest);
    let angle = |i: usize| lowest * libm::exp(span * i as f64 / (FREQUENCIES - 1) as f64);
    let Some(first) = value(lowest) else {
        return Vec::new();
    };
    let mut phase_rad = argument(first);
    if phase_rad > FRAC_PI_2 {
        phase_rad -= TAU;
    }
    let mut before = first;
    let mut points = Vec::with_capacity(FREQUENCIES);
    for i in 0..FREQUENCIES {
        let (from, to) = (angle(i.saturating_sub(1)), angle(i).min(PI));
        let steps = libm::ceil((to - from) / STEP_RAD).max(1.0) as usize;
        for k in 1..=steps {
            let here = from + (to - from) * k as f64 / steps as f64;
            let Some(now) = value(here) else {
                return points;
            };
            phase_rad += argument(now * before.conj());
            before = now;
        }
        points.push(BodePoint {
            frequency_hz: to / (TAU * frame_s),
            gain: before.norm_sqr().sqrt(),
            phase_rad,
        });
    }
    points
}

fn argument(value: Complex) -> f64 {
    libm::atan2(value.im, value.re)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::{critical_speed, margins};

    const KINDS: [Kind; 3] = [Kind::Pid, Kind::LagCompensated, Kind::LagCompensatedYaw];

    fn answered(setup: &Setup, kind: Kind, speed_m_s: f64) -> ControlAnswer {
        let answer = answer(setup, Some(kind), speed_m_s);
        assert_eq!(answer.status, Status::Ok, "{:?}", answer.reason);
        answer
    }

    /// A machine whose predictor is wrong, so that the inner loop has margins worth the name.
    fn cold() -> Setup {
        let mut setup = Setup::plausible();
        setup.hydraulics.cold_dead_time_factor = 2.0;
        setup.hydraulics.cold_lag_factor = 2.0;
        setup
    }

    /// Where `along` crosses 0, by straight lines over the logarithm of the frequency: `other` there, and by how much a straight line
    /// may miss it. A line through two points misses a curve by an eighth of its second difference at most; the one of `along` moves
    /// the crossing, which counts by the slopes. Second differences are read off the points around and doubled, as they change from
    /// point to point.
    fn crossings(along: &[f64], other: &[f64]) -> Vec<(f64, f64)> {
        let bend = |c: &[f64], i: usize| {
            let second = |k: usize| (c[k + 1] - 2.0 * c[k] + c[k - 1]).abs();
            second(i.max(1)).max(second((i + 1).min(c.len() - 2))) / 8.0 * 2.0
        };
        (0..along.len() - 1)
            .filter(|&i| (along[i] > 0.0) != (along[i + 1] > 0.0))
            .map(|i| {
                let (rise, other_rise) = (along[i + 1] - along[i], other[i + 1] - other[i]);
                let share = -along[i] / rise;
                let miss = bend(other, i) + (other_rise / rise).abs() * bend(along, i);
                (other[i] + share * other_rise, miss)
            })
            .collect()
    }

    #[test]
    fn analytic_margins_read_off_the_bode_points_are_the_linear_check_s() {
        for setup in [Setup::plausible(), cold()] {
            for kind in KINDS {
                let answer = answered(&setup, kind, 2.0);
                let margins = margins(&setup, kind, 2.0).unwrap();
                let gain: Vec<f64> = answer.bode.iter().map(|p| libm::log(p.gain)).collect();
                let past: Vec<f64> = answer.bode.iter().map(|p| p.phase_rad + PI).collect();
                let at_one = crossings(&gain, &past);
                assert_eq!(at_one.len(), 1);
                let (found, miss) = at_one[0];
                assert!(miss < 0.02, "{miss}");
                let wanted = margins.phase_rad.unwrap();
                assert!(
                    (found - wanted).abs() <= miss,
                    "{kind:?} {found} {wanted} {miss}"
                );
                // The ideal predictor turns the phase by half a circle at the very last point.
                let last = (gain[gain.len() - 1], 1e-9);
                let at_half_turn = crossings(&past, &gain);
                let (found, miss) = at_half_turn.first().copied().unwrap_or(last);
                assert!(miss < 0.02, "{miss}");
                let wanted = -libm::log(margins.gain.unwrap());
                assert!(
                    (found - wanted).abs() <= miss,
                    "{kind:?} {found} {wanted} {miss}"
                );
            }
        }
    }

    /// With an exact predictor the loop is the gain times the plain sum of the commands: `k_p T_f / (2 sin(a/2))`, phase `-(pi + a)/2`,
    /// a the angle that a frame turns (rounding: 1e-9).
    #[test]
    fn analytic_ideal_predictor_s_bode_plot() {
        let setup = Setup::plausible();
        let frame_s = setup.camera.frame_s;
        let gain_1_s = setup.controllers.lag.unwrap().gain_1_s;
        let bode = answered(&setup, Kind::LagCompensated, 2.0).bode;
        assert_eq!(bode.len(), FREQUENCIES);
        for point in &bode {
            let angle = TAU * point.frequency_hz * frame_s;
            let gain = gain_1_s * frame_s / (2.0 * libm::sin(0.5 * angle));
            assert!((point.gain / gain - 1.0).abs() < 1e-9, "{point:?}");
            assert!(
                (point.phase_rad + 0.5 * (PI + angle)).abs() < 1e-9,
                "{point:?}"
            );
        }
        let last_hz = bode.last().unwrap().frequency_hz;
        assert!((last_hz * 2.0 * frame_s - 1.0).abs() < 1e-12);
    }

    /// Twenty more frames of latency turn the phase by twenty times the angle of a frame, and leave the gain alone: the phase has no
    /// jumps even there.
    #[test]
    fn analytic_a_long_dead_time_is_followed() {
        let setup = Setup::plausible();
        let mut late = setup.clone();
        late.camera.latency_s += 20.0 * setup.camera.frame_s;
        let soon = bode(&setup, Kind::Pid, 2.0);
        let late = bode(&late, Kind::Pid, 2.0);
        for (soon, late) in soon.iter().zip(&late) {
            assert_eq!(soon.frequency_hz, late.frequency_hz);
            assert!((soon.gain / late.gain - 1.0).abs() < 1e-9);
            let turned = 20.0 * TAU * soon.frequency_hz * setup.camera.frame_s;
            let found = soon.phase_rad - late.phase_rad;
            assert!((found - turned).abs() < 1e-6, "{found} {turned}");
        }
    }

    /// The best one is the best of every centimetre of the range, and the scenario's own stands in the list.
    #[test]
    fn prop_best_lookahead_beats_all_others() {
        let mut setup = Setup::plausible();
        setup.camera.lookahead_m = 0.775;
        for (kind, speed_m_s) in [(Kind::Pid, 3.0), (Kind::LagCompensated, 2.0)] {
            let answer = answered(&setup, kind, speed_m_s);
            let sd_at = |lookahead_m: f64| {
                let mut other = setup.clone();
                other.camera.lookahead_m = lookahead_m;
                let budget = tool_error(&other, kind, speed_m_s).unwrap();
                budget.variance_m2().sqrt()
            };
            let best_m = answer.best_lookahead_m.unwrap();
            let best = sd_at(best_m);
            for step in 0..=250 {
                assert!(
                    sd_at(f64::from(step) / 100.0) >= best,
                    "{kind:?} {step} {best_m}"
                );
            }
            assert!(answer.lookaheads.iter().any(|p| p.lookahead_m == 0.775));
            assert!(
                answer
                    .lookaheads
                    .windows(2)
                    .all(|pair| pair[0].lookahead_m < pair[1].lookahead_m)
            );
            for point in &answer.lookaheads {
                assert_eq!(point.tool_error_sd_m, sd_at(point.lookahead_m));
            }
        }
    }

    /// Lag compensation wants the row as it was seen one latency and one actuation delay before it reaches the tools, `v (T_c + T_a)`: a
    /// shorter lookahead comes too late, a longer one leaves the tractor more time to wander. Tolerance: the way of one frame, which is
    /// how finely the loop can time anything, and half a fine step.
    #[test]
    fn analytic_best_lookahead_of_lag_compensation() {
        let setup = Setup::plausible();
        let lag = setup.controllers.lag.unwrap();
        let delay_s = setup.camera.latency_s + lag.actuation_delay_s();
        for kind in [Kind::LagCompensated, Kind::LagCompensatedYaw] {
            for speed_m_s in [1.0, 2.0, 3.0] {
                let best_m = answered(&setup, kind, speed_m_s).best_lookahead_m.unwrap();
                let miss_m = best_m - speed_m_s * delay_s;
                let tolerance_m = speed_m_s * setup.camera.frame_s + 0.5 / STEPS_A_METRE;
                assert!(miss_m.abs() <= tolerance_m, "{kind:?} {speed_m_s} {miss_m}");
                // The same as the lookahead at which this speed is the critical one.
                let mut other = setup.clone();
                other.camera.lookahead_m = speed_m_s * delay_s;
                let critical = critical_speed(&other, kind).unwrap();
                assert!((critical / speed_m_s - 1.0).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn regress_controllers_without_a_linear_form_say_so() {
        let mut setup = Setup::plausible();
        for (kind, why) in [
            (Kind::Locked, Reason::LockedFrame),
            (Kind::OnOff, Reason::NoLinearForm),
        ] {
            let answer = answer(&setup, Some(kind), 2.0);
            assert_eq!(answer.status, Status::NoAnswer);
            assert_eq!(answer.reason, Some(why));
            assert!(answer.bode.is_empty() && answer.lookaheads.is_empty());
        }
        assert_eq!(answer(&setup, None, 2.0).status, Status::NoAnswer);
        setup.yaw_sensor = None;
        let lacking = answer(&setup, Some(Kind::LagCompensatedYaw), 2.0);
        assert_eq!(lacking.status, Status::NoData);
    }

    /// An unstable loop is told with what would calm it, and still has its picture.
    #[test]
    fn regress_an_unstable_loop_is_no_answer() {
        let mut setup = Setup::plausible();
        setup.controllers.pid.as_mut().unwrap().gain_1_s *= 3.0;
        let answer = answer(&setup, Some(Kind::Pid), 2.0);
        assert_eq!(answer.status, Status::NoAnswer);
        let Some(Reason::Unstable { found }) = answer.reason else {
            panic!("{:?}", answer.reason)
        };
        assert!(found.to_string().contains("would do"));
        assert!(answer.lookaheads.is_empty() && answer.best_lookahead_m.is_none());
        assert_eq!(answer.bode.len(), FREQUENCIES);
    }
}
