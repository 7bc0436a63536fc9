//! The demo against what the trade knows and field papers report.

use std::sync::OnceLock;

use rowroom::montecarlo::study::{Plan, Until, Unwatched, study};
use rowroom::results::{Results, Tracking};
use rowroom::scenario::Scenario;

/// The demo with few passes, run once for all tests here.
fn demo() -> &'static Results {
    static DEMO: OnceLock<Results> = OnceLock::new();
    DEMO.get_or_init(|| {
        let scenario = Scenario::demo().unwrap();
        let plan = Plan {
            scenario: &scenario,
            seed: scenario.study().seed,
            until: Until::Passes(60),
            threads: None,
        };
        study(&plan, &Unwatched).unwrap().results
    })
}

/// Tracking of a controller at 4 to 8 km/h.
fn slow(controller: &str) -> impl Iterator<Item = &'static Tracking> {
    let kmh = |v: f64| v * 3.6;
    let found: Vec<_> = demo()
        .tracking
        .iter()
        .filter(|t| t.controller == controller && (3.9..8.1).contains(&kmh(t.speed_m_s)))
        .collect();
    assert!(found.len() >= 3, "the demo must have speeds in the range");
    found.into_iter()
}

/// A working camera-guided side-shift stays within 1.5 in (38 mm) of the row, a locked frame does not: common practice, no
/// source. "Stays": over at least 99 % of the distance at 4 to 8 km/h, entry left out.
#[test]
fn val_the_trade_rule_of_38_mm() {
    for controller in ["pid", "lag_compensated", "lag_compensated_yaw"] {
        for t in slow(controller) {
            assert!(t.within_38mm_share >= 0.99, "{controller} {t:?}");
        }
    }
    for t in slow("locked") {
        assert!(t.within_38mm_share < 0.9, "{t:?}");
    }
}

/// Field accuracy of camera-guided and of satellite-guided side-shifts at 4 to 8 km/h lies between 7 mm (Slaughter, Chen & Curley,
/// Precision Agriculture 1:199-216, 1999: root mean square, low weeds) and 28 mm (Griepentrog et al., CIGR Ejournal 2007: cross-track
/// sd 9 to 28 mm of a hydraulic side-shift; authors and journal from memory). A plausibility check, not a validation: the demo's
/// parameters are assumed. None of these machines had a yaw-rate sensor; with one the demo is more exact than they were.
#[test]
fn val_published_field_accuracy_brackets_pid_and_lag_compensation() {
    for controller in ["pid", "lag_compensated"] {
        for t in slow(controller) {
            // Within two standard errors of the few passes here.
            let doubt_m = 2.0 * t.tool_error_sd_se_m;
            let within = (0.007 - doubt_m..0.028 + doubt_m).contains(&t.tool_error_sd_m);
            assert!(within, "{controller} {t:?}");
        }
    }
}

/// Tractor tracking with the implement down: sd 40 to 60 mm (Bell, Comput. Electron. Agric. 25:53-66, 2000, automatic steering);
/// manual row following 30 to 60 mm (value from memory).
#[test]
fn val_published_tractor_wander_brackets_the_driver() {
    for t in slow("locked") {
        assert!((0.030..0.060).contains(&t.axle_wander_sd_m), "{t:?}");
    }
}

/// No speed effect was found between 4.8 and 8.0 km/h (Performance tests of three-point mounted implement guidance systems II,
/// Appl. Eng. Agric. 16(6), 2000; authors and volume from memory: Kocher et al.): at least 80 % of errors within 50 mm at both, and
/// an error that does not climb steeply. "Not steeply": by less than a quarter from 4 to 8 km/h, half of what the published
/// band of 80 % leaves open.
#[test]
fn val_the_error_grows_gently_with_speed() {
    for controller in ["pid", "lag_compensated", "lag_compensated_yaw"] {
        let sds: Vec<f64> = slow(controller).map(|t| t.tool_error_sd_m).collect();
        let growth = sds[sds.len() - 1] / sds[0];
        assert!((0.9..1.25).contains(&growth), "{controller} {sds:?}");
    }
}

/// Where nothing binds, the linear check with the same draws says what the simulation says: within 3 standard errors and 5 % (play,
/// deadband, blind stretches and outliers of the demo are not in the linear form).
#[test]
fn val_linear_and_simulated_error_agree_for_the_demo() {
    let mut compared = 0;
    for t in demo().tracking.iter().filter(|t| t.believe == "either") {
        let linear = t.linear_tool_error_sd_m.unwrap();
        let allowed = 3.0 * t.tool_error_sd_se_m + 0.05 * linear;
        assert!((t.tool_error_sd_m - linear).abs() < allowed, "{t:?}");
        compared += 1;
    }
    assert!(compared >= 12, "{compared}");
}

/// The shares of the budget add up to the linear variance of the same cell, to rounding.
#[test]
fn analytic_the_budget_adds_up() {
    for t in &demo().tracking {
        let Some(linear) = t.linear_tool_error_sd_m else {
            continue;
        };
        let of_cell = demo()
            .error_budget
            .iter()
            .filter(|share| share.controller == t.controller && share.speed_m_s == t.speed_m_s);
        let sum: f64 = of_cell.map(|share| share.variance_m2).sum();
        assert!((sum / (linear * linear) - 1.0).abs() < 1e-12, "{t:?}");
    }
}
