//! Row trackers as transfer functions.

use nalgebra::{Matrix2, RowVector2, Vector2};

use super::{Tracker, rate_gains, yaw_gains};
use crate::model::sampled::Fraction;
use crate::model::setup::Setup;

/// A tracker without its gate.
#[derive(Clone, Debug, PartialEq)]
pub struct Transfer {
    /// From the number that it gets to the number that it gives, F.
    pub number: Fraction,
    /// From the mean yaw rate of a frame (rad/s) to the number that it gives (m), if it has that input.
    pub yaw_rate: Option<Fraction>,
    /// Delay tau_F at low frequency, s.
    pub delay_s: f64,
}

/// The setup's tracker at a speed (m/s, above 0).
pub fn transfer(setup: &Setup, speed_m_s: f64) -> Transfer {
    let frame_s = setup.camera.frame_s;
    let (number, yaw_rate) = match setup.tracker {
        Tracker::None => (Fraction::one(), None),
        Tracker::LowPass { time_s, .. } => {
            let kept = if time_s > 0.0 {
                libm::exp(-frame_s / time_s)
            } else {
                0.0
            };
            let number = Fraction {
                numerator: vec![1.0 - kept],
                denominator: vec![1.0, -kept],
            };
            (number, None)
        }
        Tracker::Kalman {
            measurement_sd_m,
            rate_walk_m_s15,
            ..
        } => {
            let gains = rate_gains(measurement_sd_m, rate_walk_m_s15, frame_s);
            let seen = RowVector2::new(1.0, 0.0);
            let step = Matrix2::new(1.0, frame_s, 0.0, 1.0);
            (observer(step, seen, gains.into(), gains.into()), None)
        }
        Tracker::KalmanYaw {
            measurement_sd_m,
            offset_walk_m_s05,
            heading_walk_rad_s05,
            ..
        } => {
            let lever_m = setup.camera_point_m() - setup.reference_axle_m();
            let gain = Vector2::from(yaw_gains(
                measurement_sd_m,
                offset_walk_m_s05,
                heading_walk_rad_s05,
                frame_s,
                speed_m_s,
                lever_m,
            ));
            let seen = RowVector2::new(1.0, lever_m);
            let step = Matrix2::new(1.0, -speed_m_s * frame_s, 0.0, 1.0);
            let turned = Vector2::new(-0.5 * speed_m_s * frame_s * frame_s, frame_s);
            // The yaw rate moves the state before the number corrects it, so the correction takes its share of that too.
            let input = (Matrix2::identity() - gain * seen) * turned;
            (
                observer(step, seen, gain, gain),
                Some(observer(step, seen, gain, input)),
            )
        }
    };
    let delay_s = number.low_frequency_delay_s(frame_s);
    Transfer {
        number,
        yaw_rate,
        delay_s,
    }
}

/// `C (I - (I - K C) A z⁻¹)⁻¹ input` for two states.
fn observer(
    step: Matrix2<f64>,
    seen: RowVector2<f64>,
    gain: Vector2<f64>,
    input: Vector2<f64>,
) -> Fraction {
    let m = (Matrix2::identity() - gain * seen) * step;
    // Two states: adj(I - M z⁻¹) = I + (M - tr(M) I) z⁻¹, so that no matrix has to be inverted at every frequency.
    let straight = (seen * input)[0];
    Fraction {
        numerator: vec![straight, (seen * m * input)[0] - m.trace() * straight],
        denominator: vec![1.0, -m.trace(), m.determinant()],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(tracker: Tracker) -> Setup {
        Setup {
            tracker,
            ..Setup::plausible()
        }
    }

    fn kalman() -> Tracker {
        Tracker::Kalman {
            measurement_sd_m: 0.006,
            rate_walk_m_s15: 0.05,
            gate_m: 0.1,
        }
    }

    fn kalman_yaw() -> Tracker {
        Tracker::KalmanYaw {
            measurement_sd_m: 0.006,
            offset_walk_m_s05: 0.01,
            heading_walk_rad_s05: 0.005,
            gate_m: 0.1,
        }
    }

    /// Low-pass: T_f (1 - al)/al. Both Kalman filters follow a ramp without lag: 0 (conditioning of the fraction: 1e-8 s).
    #[test]
    fn analytic_delays_at_low_frequency() {
        let low = transfer(
            &with(Tracker::LowPass {
                time_s: 0.1,
                gate_m: 0.1,
            }),
            2.0,
        );
        let share = 1.0 - (-0.4_f64).exp();
        assert!((low.delay_s - 0.04 * (1.0 - share) / share).abs() < 1e-14);
        for tracker in [kalman(), kalman_yaw()] {
            let found = transfer(&with(tracker), 2.0);
            assert!(found.delay_s.abs() < 1e-8, "{}", found.delay_s);
            let gain: f64 = found.number.numerator.iter().sum::<f64>()
                / found.number.denominator.iter().sum::<f64>();
            assert!((gain - 1.0).abs() < 1e-9);
        }
    }

    /// The fractions are the recursion `x = (I - K C)(A x + B w) + K m` itself: impulse responses of both inputs, term by term.
    #[test]
    fn analytic_fractions_are_the_recursion() {
        let (v, t) = (2.0, 0.04);
        let setup = with(kalman_yaw());
        let found = transfer(&setup, v);
        let lever = 2.2 - 0.8;
        let k = yaw_gains(0.006, 0.01, 0.005, t, v, lever);
        for yaw in [false, true] {
            let fraction = if yaw {
                found.yaw_rate.clone().unwrap()
            } else {
                found.number.clone()
            };
            let (mut e, mut psi) = (0.0, 0.0);
            let mut outputs: Vec<f64> = Vec::new();
            for i in 0..20 {
                let pulse = if i == 0 { 1.0 } else { 0.0 };
                let (w, m) = if yaw { (pulse, 0.0) } else { (0.0, pulse) };
                e += -v * t * psi - 0.5 * v * t * t * w;
                psi += t * w;
                let miss = m - (e + lever * psi);
                e += k[0] * miss;
                psi += k[1] * miss;
                outputs.push(e + lever * psi);
                // The fraction's series: denominator * outputs = numerator.
                let series: f64 = fraction
                    .denominator
                    .iter()
                    .enumerate()
                    .filter(|(j, _)| *j <= i)
                    .map(|(j, d)| d * outputs[i - j])
                    .sum();
                let expected = fraction.numerator.get(i).copied().unwrap_or(0.0);
                assert!((series - expected).abs() < 1e-13, "{yaw} {i}");
            }
        }
    }
}
