//! Feedback loops: frequency response, margins and the stability verdict, all from the pulse transfer function.

use super::Complex;
use super::unstable::{SUGGESTED_GAIN_MARGIN, Unstable};
use super::vehicle::steering_stable;
use crate::model::controller::Kind;
use crate::model::sampled::{Fraction, delay, roots_inside_unit_circle};
use crate::model::setup::Setup;

/// How far a feedback loop is from instability. The PID's loop runs through camera, tracker and side-shift; that of the
/// lag-compensated kinds is the inner position loop with its predictor (the camera's way is no feedback).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margins {
    /// Factor on the gain at which the verdict changes: above 1 for a stable loop, below 1 for one that a smaller gain would
    /// calm. `None` if no factor from 1/1000 to 1000 does.
    pub gain: Option<f64>,
    /// Phase margin, rad, negative if the loop is unstable; `None` if the loop gain never crosses 1.
    pub phase_rad: Option<f64>,
    /// Further dead time of the valve at which a stable loop turns unstable, s; `None` if none up to 100 frames or 10 s does,
    /// or if the loop is unstable already.
    pub delay_s: Option<f64>,
    /// Smallest distance of the loop from -1, the inverse of the largest sensitivity M_s.
    pub modulus: f64,
    /// The verdict: every root of the closed loop inside the unit circle.
    pub stable: bool,
}

/// Open loop at the frames at an angular frequency between 0 and pi/T_f, rad/s, by the pulse transfer function.
/// `None` where there is no feedback.
pub fn loop_response(setup: &Setup, kind: Kind, speed_m_s: f64, w_rad_s: f64) -> Option<Complex> {
    let around = kind.feedback(setup, speed_m_s, 0.0)?.open_loop;
    Some(around.at(delay(w_rad_s * setup.camera.frame_s)))
}

/// What the closed loop makes of a unit step of what it is to follow, at the frames from the step on: the tracked shift at the
/// exposures for the PID, the predicted shift for the lag-compensated kinds. `None` where there is no feedback.
pub fn loop_step(setup: &Setup, kind: Kind, speed_m_s: f64, frames: usize) -> Option<Vec<f64>> {
    let around = kind.feedback(setup, speed_m_s, 0.0)?.open_loop;
    let denominator = around.characteristic();
    let coefficient = |c: &[f64], k: usize| c.get(k).copied().unwrap_or(0.0);
    let mut pulse: Vec<f64> = Vec::with_capacity(frames);
    let mut step = Vec::with_capacity(frames);
    let mut sum = 0.0;
    for k in 0..frames {
        // Long division of the two polynomials: the quotient is the pulse response, frame by frame.
        let known: f64 = (1..=k)
            .take(denominator.len() - 1)
            .map(|i| denominator[i] * pulse[k - i])
            .sum();
        pulse.push((coefficient(&around.numerator, k) - known) / denominator[0]);
        sum += pulse[k];
        step.push(sum);
    }
    Some(step)
}

/// Margins of the controller's feedback loop at a speed. `None`: no feedback (locked, on-off) or a controller that the setup
/// lacks. Where load makes the directions differ the faster one counts.
pub fn margins(setup: &Setup, kind: Kind, speed_m_s: f64) -> Option<Margins> {
    let around = kind.feedback(setup, speed_m_s, 0.0)?.open_loop;
    let frame_s = setup.camera.frame_s;
    let stable = stable_at(&around, 1.0);
    let (phase_rad, modulus) = phase_and_modulus(&around);
    let delay_s = if stable {
        let holds = |more_s: f64| {
            kind.feedback(setup, speed_m_s, more_s)
                .is_some_and(|more| stable_at(&more.open_loop, 1.0))
        };
        let most = (100.0 * frame_s).max(10.0);
        boundary(holds, 0.02 * frame_s, 1.1, most)
    } else {
        None
    };
    Some(Margins {
        gain: gain_margin(&around, stable),
        phase_rad,
        delay_s,
        modulus,
        stable,
    })
}

/// Whether the driver's and the controller's loop are stable at a speed, m/s.
pub fn check_stable(setup: &Setup, kind: Kind, speed_m_s: f64) -> Result<(), Unstable> {
    steering_stable(setup, speed_m_s)?;
    let Some(feedback) = kind.feedback(setup, speed_m_s, 0.0) else {
        return Ok(());
    };
    let around = &feedback.open_loop;
    if stable_at(around, 1.0) {
        return Ok(());
    }
    let gain_1_s = feedback.gain_1_s;
    let gain_margin = gain_margin(around, false);
    Err(Unstable::Loop {
        kind,
        speed_m_s,
        gain_1_s,
        gain_margin,
        gain_that_would_do_1_s: gain_margin.map(|margin| gain_1_s * margin / SUGGESTED_GAIN_MARGIN),
    })
}

/// Speed above which the newest measurement comes too late, `a/(T_c + T_a + tau_F)`, m/s. `None` but for the
/// controllers that wait for the row.
pub fn critical_speed(setup: &Setup, kind: Kind) -> Option<f64> {
    // The delay of every tracker is the same at all speeds.
    let lead = kind.lead(setup, 1.0)?;
    let total_s = setup.camera.latency_s + lead.actuation_s + lead.tracker_s;
    Some(setup.camera.lookahead_m / total_s)
}

/// Time by which the controllers that wait for the row come too late at a speed, s: 0 up to the critical speed.
pub fn late_by_s(setup: &Setup, kind: Kind, speed_m_s: f64) -> Option<f64> {
    let lead = kind.lead(setup, speed_m_s)?;
    let (lookahead_m, latency_s) = (setup.camera.lookahead_m, setup.camera.latency_s);
    let used_s = lead.measurement_age_s(lookahead_m, speed_m_s, latency_s);
    Some(used_s - lead.wanted_age_s(lookahead_m, speed_m_s))
}

fn stable_at(around: &Fraction, factor: f64) -> bool {
    roots_inside_unit_circle(&around.scaled(factor).characteristic())
}

/// Nearest factor on the gain at which the verdict changes, upwards from a stable loop, downwards from an unstable one.
fn gain_margin(around: &Fraction, stable: bool) -> Option<f64> {
    if stable {
        boundary(|x| stable_at(around, 1.0 + x), 0.01, 1.05, 1000.0).map(|x| 1.0 + x)
    } else {
        boundary(|x| !stable_at(around, 1.0 / (1.0 + x)), 0.01, 1.05, 1000.0)
            .map(|x| 1.0 / (1.0 + x))
    }
}

/// Smallest x at which `holds` turns false, sought from `first` in steps of `ratio` up to `most`, then halved to 1e-12 of it.
fn boundary(holds: impl Fn(f64) -> bool, first: f64, ratio: f64, most: f64) -> Option<f64> {
    let (mut good, mut bad) = (0.0, first);
    while holds(bad) {
        if bad > most {
            return None;
        }
        good = bad;
        bad *= ratio;
    }
    while bad - good > 1e-12 * bad {
        let middle = 0.5 * (good + bad);
        if middle <= good || middle >= bad {
            break;
        }
        if holds(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(bad)
}

/// Phase margin nearest to 0 among the crossings of 1, and the smallest distance from -1, on the upper half of the unit circle.
fn phase_and_modulus(around: &Fraction) -> (Option<f64>, f64) {
    const STEPS: usize = 4000;
    let value = |angle: f64| around.at(delay(angle));
    let size = |angle: f64| value(angle).norm_sqr();
    let distance = |angle: f64| (value(angle) + 1.0).norm_sqr();
    // Even steps in the logarithm from 1e-4 rad a frame up to half the frame rate.
    let span = libm::log(core::f64::consts::PI / 1e-4);
    let angle = |i: usize| 1e-4 * libm::exp(span * i as f64 / STEPS as f64);
    let mut phase: Option<f64> = None;
    let mut nearest = (0, f64::INFINITY);
    let mut before = size(angle(0));
    for i in 0..=STEPS {
        let here = angle(i);
        let d = distance(here);
        if d < nearest.1 {
            nearest = (i, d);
        }
        let now = size(here);
        if i > 0 && (before > 1.0) != (now > 1.0) {
            let (mut a, mut b) = (angle(i - 1), here);
            for _ in 0..60 {
                let middle = 0.5 * (a + b);
                if (size(middle) > 1.0) == (before > 1.0) {
                    a = middle;
                } else {
                    b = middle;
                }
            }
            // Measured from -1, so that a phase of nothing is the verge.
            let turned = -value(b);
            let margin = libm::atan2(turned.im, turned.re);
            if phase.is_none_or(|other| margin.abs() < other.abs()) {
                phase = Some(margin);
            }
        }
        before = now;
    }
    // Golden section around the nearest step.
    let (mut a, mut b) = (
        angle(nearest.0.saturating_sub(1)),
        angle((nearest.0 + 1).min(STEPS)),
    );
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    for _ in 0..60 {
        let (c, d) = (b - golden * (b - a), a + golden * (b - a));
        if distance(c) < distance(d) {
            b = d;
        } else {
            a = c;
        }
    }
    let modulus = distance(0.5 * (a + b)).min(nearest.1).sqrt();
    (phase, modulus)
}
