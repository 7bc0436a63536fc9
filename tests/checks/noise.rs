//! The noise shapes, held against densities and state equations evaluated by SciPy.

use crate::common::{assert_near, cases, number, numbers, references};
use rowroom::model::damped::Damped;
use rowroom::model::noise::{GaussMarkov, POINTS_PER_REACH};
use rowroom::model::vector::Lanes;
use rowroom::sim::deviates::Deviates;
use rowroom::sim::ground::Track;
use rowroom::sim::streams::Source;
use serde_json::Value;

fn deviates(seed: u64) -> Deviates<1> {
    Deviates::new(seed, [0], Source::Sway, 0)
}

/// The second-order noise of a case, if it is one.
fn damped(case: &Value, sd: f64, reach: f64) -> Option<Damped> {
    let damping = case["damping"].as_f64()?;
    Some(Damped { sd, reach, damping })
}

/// Phi by the matrix exponential and Q by Van Loan, SciPy 1.17.1. Q of the smooth shape falls like the third power of the step:
/// 2e-13 of its stationary value is what cancellation leaves, in theirs as in ours.
#[test]
fn val_recurrences_against_the_state_equation() {
    let file = references("noises");
    for case in cases(&file, "recurrence") {
        let (sd, reach, step) = (
            number(case, "sd"),
            number(case, "reach"),
            number(case, "step"),
        );
        let row = |key: &str, i: usize| numbers(&case[key][i]);
        let (phi, spread) = (row("phi", 0), row("spread", 0));
        if let Some(noise) = damped(case, sd, reach) {
            let law = noise.step(step);
            let next = |state: [f64; 2], normal: [f64; 2]| {
                let lanes = |pair: [f64; 2]| pair.map(|value| Lanes([value]));
                law.next(lanes(state), lanes(normal))
                    .map(|lanes| lanes.0[0])
            };
            let (of_value, of_slope) = (next([1.0, 0.0], [0.0; 2]), next([0.0, 1.0], [0.0; 2]));
            let (first, second) = (next([0.0; 2], [1.0, 0.0]), next([0.0; 2], [0.0, 1.0]));
            let phi_1 = row("phi", 1);
            let spread_1 = row("spread", 1);
            for (found, expected, size) in [
                (of_value[0], phi[0], 1.0),
                (of_slope[0], phi[1], reach),
                (of_value[1], phi_1[0], 1.0 / reach),
                (of_slope[1], phi_1[1], 1.0),
            ] {
                assert_near(found, expected, 1e-12, 1e-14 * size, case);
            }
            let product = |i: usize, j: usize| first[i] * first[j] + second[i] * second[j];
            let power = sd * sd;
            for (found, expected, size) in [
                (product(0, 0), spread[0], power),
                (product(0, 1), spread[1], power / reach),
                (product(1, 1), spread_1[1], power / (reach * reach)),
            ] {
                assert_near(found, expected, 1e-9, 2e-13 * size, case);
            }
        } else {
            let law = GaussMarkov { sd, reach }.step(step);
            let next = |value, normal| law.next(Lanes([value]), Lanes([normal])).0[0];
            assert_near(next(1.0, 0.0), phi[0], 1e-12, 1e-14, case);
            assert_near(
                next(0.0, 1.0).powi(2),
                spread[0],
                1e-12,
                1e-14 * sd * sd,
                case,
            );
        }
    }
}

/// Mean of x(s) x(s + lag) over a long record with its standard error from 40 blocks far longer than the correlation.
fn lagged_product(values: &[f64], lag: usize) -> (f64, f64) {
    let blocks = 40;
    let length = (values.len() - lag) / blocks;
    let means: Vec<f64> = (0..blocks)
        .map(|b| {
            (b * length..(b + 1) * length)
                .map(|i| values[i] * values[i + lag])
                .sum::<f64>()
                / length as f64
        })
        .collect();
    let mean = means.iter().sum::<f64>() / blocks as f64;
    let square = means.iter().map(|m| (m - mean).powi(2)).sum::<f64>();
    (mean, (square / (blocks * (blocks - 1)) as f64).sqrt())
}

/// Autocovariance of simulated records at three steps against the Fourier integral of the density (SciPy 1.17.1). The variance
/// and every correlation hold within 3 standard errors at a fixed seed.
#[test]
fn val_autocovariance_does_not_depend_on_the_step() {
    let file = references("noises");
    for per_reach in [20_usize, 60, 200] {
        for case in cases(&file, "autocovariance")
            .iter()
            .filter(|case| number(case, "sd") > 0.01)
        {
            let (sd, reach) = (number(case, "sd"), number(case, "reach"));
            let step = reach / per_reach as f64;
            let mut deviates = deviates(per_reach as u64);
            let mut normal = || deviates.normal();
            let count = 20_000 * per_reach;
            let values: Vec<f64> = if let Some(noise) = damped(case, sd, reach) {
                let law = noise.step(step);
                let mut state = law.start([normal(), normal()]);
                (0..count)
                    .map(|_| {
                        state = law.next(state, [normal(), normal()]);
                        state[0].0[0]
                    })
                    .collect()
            } else {
                let law = GaussMarkov { sd, reach }.step(step);
                let mut value = law.start(normal());
                (0..count)
                    .map(|_| {
                        value = law.next(value, normal());
                        value.0[0]
                    })
                    .collect()
            };
            let lag = (number(case, "lag") / step).round();
            assert_near(
                lag * step,
                number(case, "lag"),
                1e-9,
                0.0,
                "lag on the grid",
            );
            let (found, standard_error) = lagged_product(&values, lag as usize);
            let expected = number(case, "covariance");
            assert!(
                (found - expected).abs() < 3.0 * standard_error,
                "{per_reach} per reach, {case}: {found:e} +- {standard_error:e}"
            );
            // The test would notice a variance wrong by a tenth.
            assert!(3.0 * standard_error < 0.1 * sd * sd);
        }
    }
}

/// Straight lines between points keep the share `1 - (1 - rho)/3` of their variance; points of the ground have so much more that the lines
/// have the noise's own, and a ground track keeps exactly that, on many points and on few.
#[test]
fn val_interpolation_keeps_the_variance() {
    let file = references("noises");
    let (sd, reach) = (0.03, 12.0);
    for case in cases(&file, "interpolation") {
        let kept = number(case, "kept");
        assert!(kept > 0.998, "more than 0.2 % lost");
        let raised = if let Some(noise) = damped(case, sd, reach) {
            noise.through_points(reach / 200.0).sd
        } else {
            GaussMarkov { sd, reach }.through_points(reach / 200.0).sd
        };
        assert_near(raised * raised * kept, sd * sd, 1e-9, 0.0, case);
        for per_reach in [POINTS_PER_REACH, 5.0] {
            let end_m = 3000.0 * reach;
            let (span_m, mut deviates) = ((0.0, end_m), deviates(5));
            let track = if let Some(noise) = damped(case, sd, reach) {
                Track::damped(&noise, span_m, per_reach, &mut deviates, Vec::new())
            } else {
                let noise = GaussMarkov { sd, reach };
                Track::gauss_markov(&noise, span_m, per_reach, &mut deviates, Vec::new())
            };
            // Off the grid, so that all parts of a gap are met.
            let step = reach / 37.3;
            let values: Vec<f64> = (0..(end_m / step) as usize)
                .map(|i| track.at(Lanes([i as f64 * step])).0[0])
                .collect();
            let (found, standard_error) = lagged_product(&values, 0);
            assert_near(found, sd * sd, 0.0, 4.0 * standard_error, case);
        }
    }
}
