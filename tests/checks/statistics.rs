//! Limits of rates and standard errors, held against survey statistics packages.

use crate::common::{assert_near, cases, number, numbers, references};
use rowroom::montecarlo::estimate::{RatioSums, SpreadSums, clopper_pearson, korn_graubard};
use serde_json::Value;

/// Both sides solve for the quantile to rounding; what remains is the rounding of log-gamma, up to 1e-16 times its size
/// (5e7 at three million plants), seen through the slope of the distribution: 1e-8.
const ROUNDING: f64 = 1e-8;

fn sums(passes: &Value) -> RatioSums {
    let mut sums = RatioSums::default();
    for pass in passes.as_array().expect("passes") {
        let pass = numbers(pass);
        sums.add(pass[0], pass[1]);
    }
    sums
}

/// Clopper & Pearson 1934, published: 7 of 50 at 95 % gives 0.0581917 to 0.2673960 (all digits).
#[test]
fn val_clopper_pearson_published() {
    let (lower, upper) = clopper_pearson(7.0, 50.0, 0.95);
    assert_near(lower, 0.0581917, 0.0, 0.5e-7, "lower");
    assert_near(upper, 0.2673960, 0.0, 0.5e-7, "upper");
}

/// statsmodels 0.15.0 `proportion_confint(method="beta")`, SciPy 1.17.1 for real-valued trials.
#[test]
fn val_clopper_pearson_against_statsmodels() {
    let file = references("limits");
    for case in cases(&file, "clopper_pearson") {
        let (successes, trials) = (number(case, "successes"), number(case, "trials"));
        let (lower, upper) = clopper_pearson(successes, trials, number(case, "level"));
        // Tiny limits of tiny real-valued trials underflow in both; 1e-300 is nothing hit.
        assert_near(lower, number(case, "lower"), ROUNDING, 1e-300, case);
        assert_near(upper, number(case, "upper"), ROUNDING, 0.0, case);
    }
}

/// svy 0.35.0, `ci_method="korn-graubard"`, passes as primary units.
#[test]
fn val_korn_graubard_against_a_survey_package() {
    let file = references("limits");
    for case in cases(&file, "korn_graubard") {
        let sums = sums(&case["passes"]);
        let estimate = korn_graubard(std::slice::from_ref(&sums), 0.95)[0];
        assert!(estimate.resolved);
        let standard_error = sums.variance().unwrap().sqrt();
        assert_near(
            standard_error,
            number(case, "standard_error"),
            ROUNDING,
            0.0,
            "standard error",
        );
        assert_near(estimate.rate, number(case, "rate"), ROUNDING, 0.0, "rate");
        assert_near(
            estimate.lower,
            number(case, "lower"),
            ROUNDING,
            0.0,
            "lower",
        );
        assert_near(
            estimate.upper,
            number(case, "upper"),
            ROUNDING,
            0.0,
            "upper",
        );
    }
}

/// The rule for rates that hang on few passes, and what a smaller clearance adds to upper limits, written out with SciPy 1.17.1.
#[test]
fn val_rare_rates_against_scipy() {
    let file = references("limits");
    let mut unresolved = 0;
    for case in cases(&file, "rare") {
        let by_clearance: Vec<_> = cases(case, "by_clearance").iter().map(sums).collect();
        let found = korn_graubard(&by_clearance, 0.95);
        for (estimate, expected) in found.iter().zip(cases(case, "estimates")) {
            assert_eq!(estimate.resolved, expected["resolved"].as_bool().unwrap());
            assert_near(
                estimate.rate,
                number(expected, "rate"),
                ROUNDING,
                0.0,
                "rate",
            );
            assert_near(
                estimate.effective_plants,
                number(expected, "size"),
                ROUNDING,
                0.0,
                "size",
            );
            assert_near(
                estimate.lower,
                number(expected, "lower"),
                ROUNDING,
                1e-300,
                "lower",
            );
            assert_near(
                estimate.upper,
                number(expected, "upper"),
                ROUNDING,
                0.0,
                "upper",
            );
            unresolved += usize::from(!estimate.resolved);
        }
    }
    assert!(unresolved >= 3);
}

/// statsmodels 0.15.0, covariance clustered by pass. Sums of fourth powers cancel to about 1e-16 times (mean of squares over
/// spread)²: 1e-9 is ample.
#[test]
fn val_standard_error_of_a_spread_against_statsmodels() {
    let file = references("limits");
    for case in cases(&file, "spread") {
        let mut sums = SpreadSums::default();
        for pass in cases(case, "passes") {
            let errors = numbers(pass);
            let squares = errors.iter().map(|e| e * e).sum();
            sums.add(errors.len() as f64, errors.iter().sum(), squares);
        }
        let spread = sums.spread().unwrap();
        assert_near(spread.mean, number(case, "mean"), 1e-9, 1e-15, "mean");
        assert_near(spread.sd, number(case, "sd"), 1e-9, 0.0, "sd");
        assert_near(
            spread.sd_se,
            number(case, "sd_se"),
            1e-9,
            0.0,
            "standard error",
        );
    }
}

/// Limits made for 95 % cover the truth that often: 2000 studies of 30 passes whose own rates vary (standard normal on the
/// logit, an invented law). Korn-Graubard is conservative by design; 3 standard errors of a share of 0.95 in 2000 are 0.0146.
#[test]
fn analytic_limits_cover_as_often_as_they_say() {
    use rand::RngExt;
    use rand_distr::{Distribution, StandardNormal};
    use rowroom::sim::streams::{Source, stream};
    let mut rng = stream(11, 0, Source::Plants, 0);
    let own_rate = |normal: f64| 1.0 / (1.0 + (1.5 - normal).exp());
    // Mean of the logistic-normal law by the trapezoid rule (exponentially exact for such a function).
    let truth = (-800..=800)
        .map(|i| {
            let x = f64::from(i) * 0.01;
            own_rate(x) * (-0.5 * x * x).exp() * 0.01
        })
        .sum::<f64>()
        / core::f64::consts::TAU.sqrt();
    let (studies, mut covered) = (2000, 0);
    for _ in 0..studies {
        let mut sums = RatioSums::default();
        for _ in 0..30 {
            let rate = own_rate(StandardNormal.sample(&mut rng));
            let hits = (0..60).filter(|_| rng.random::<f64>() < rate).count();
            sums.add(hits as f64, 60.0);
        }
        let estimate = korn_graubard(&[sums], 0.95)[0];
        covered += usize::from(estimate.lower <= truth && truth <= estimate.upper);
    }
    let share = covered as f64 / f64::from(studies);
    assert!((0.95 - 0.0146..0.995).contains(&share), "{share}");
}
