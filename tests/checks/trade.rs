//! The demo against what the trade knows and field papers report.

use crate::common::known;
use rowroom::results::reasons::Believe;
use std::sync::OnceLock;

use rowroom::model::controller::Kind;
use rowroom::montecarlo::study::{Plan, Until, Unwatched, without_answers};
use rowroom::results::{Results, Stretch, Tracking};
use rowroom::scenario::Scenario;

/// The demo with few passes, run once for all tests here.
fn demo() -> &'static Results {
    static DEMO: OnceLock<Results> = OnceLock::new();
    DEMO.get_or_init(|| {
        let scenario = Scenario::demo().unwrap().all_known();
        let plan = Plan {
            scenario: &scenario,
            seed: scenario.study().seed,
            until: Until::Passes(60),
            threads: None,
        };
        without_answers(&plan, &Unwatched).unwrap().results
    })
}

/// Tracking of a controller at 4 to 8 km/h.
fn slow(controller: Kind) -> impl Iterator<Item = &'static Tracking> {
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
    for controller in [Kind::Pid, Kind::LagCompensated, Kind::LagCompensatedYaw] {
        for t in slow(controller) {
            assert!(t.within_38mm_share >= 0.99, "{controller} {t:?}");
        }
    }
    for t in slow(Kind::Locked) {
        assert!(t.within_38mm_share < 0.9, "{t:?}");
    }
}

/// The demo at 8 km/h with the tools at the trade's 38 mm, the camera aligned this well, in sd.
fn at_38_mm(alignment: &str) -> Results {
    let text = known::known_leeks();
    let lines = text.lines().map(|line| match line.split_once(" = ") {
        Some(("speeds", _)) => "speeds = [\"8 km/h\"]".to_owned(),
        Some(("clearances", _)) => "clearances = [\"38 mm\", \"60 mm\"]".to_owned(),
        Some(("mount", _)) => {
            format!("{line}\nalignment = {{ mean = \"0 mm\", sd = \"{alignment}\" }}")
        }
        _ => line.to_owned(),
    });
    let text = lines.collect::<Vec<_>>().join("\n");
    let scenario = Scenario::parse(&text, "leeks.toml", &|_| unreachable!(), None).unwrap();
    let plan = Plan {
        scenario: &scenario,
        seed: 1,
        until: Until::Passes(120),
        threads: None,
    };
    without_answers(&plan, &Unwatched).unwrap().results
}

/// Sweeps 1.5 in off the row on each side, and a working camera-guided side-shift stays inside that room: common practice, no source. A
/// camera that is aligned does; one that is 20 mm off (one sd) does not, and cuts more than five times as many plants. Nothing was tuned
/// for it: how many plants stand in the way of tools that stay in that room hangs on how far they stand off their line.
#[test]
fn val_the_trades_room_is_kept_with_an_aligned_camera_alone() {
    let (aligned, askew) = (at_38_mm("0.01 mm"), at_38_mm("20 mm"));
    for controller in [Kind::Pid, Kind::LagCompensatedYaw] {
        let of = |results: &Results| {
            let mut tracking = results.tracking.iter();
            let within = tracking.find(|t| t.controller == controller).unwrap();
            let rate = results
                .rate(Stretch::Whole, controller, results.speeds_m_s[0], 0.038)
                .unwrap();
            (within.within_38mm_share, rate.cut.rate)
        };
        let ((inside, few), (outside, many)) = (of(&aligned), of(&askew));
        assert!(inside > 0.999 && outside < 0.97, "{inside} {outside}");
        assert!(many > 5.0 * few, "{few} {many}");
    }
}

/// Field accuracy of camera-guided and of satellite-guided side-shifts at 4 to 8 km/h lies between 7 mm (Slaughter, Chen & Curley,
/// Precision Agriculture 1:199-216, 1999: root mean square, low weeds) and 28 mm (Griepentrog et al., CIGR Ejournal 2007: cross-track
/// sd 9 to 28 mm of a hydraulic side-shift; authors and journal from memory). A plausibility check, not a validation: the demo's
/// parameters are assumed. None of these machines had a yaw-rate sensor; with one the demo is more exact than they were.
#[test]
fn val_published_field_accuracy_brackets_pid_and_lag_compensation() {
    for controller in [Kind::Pid, Kind::LagCompensated] {
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
    for t in slow(Kind::Locked) {
        assert!((0.030..0.060).contains(&t.axle_wander_sd_m), "{t:?}");
    }
}

/// No speed effect was found between 4.8 and 8.0 km/h (Performance tests of three-point mounted implement guidance systems II,
/// Appl. Eng. Agric. 16(6), 2000; authors and volume from memory: Kocher et al.): at least 80 % of errors within 50 mm at both, and
/// an error that does not climb steeply. "Not steeply": by less than a quarter from 4 to 8 km/h, half of what the published
/// band of 80 % leaves open.
#[test]
fn val_the_error_grows_gently_with_speed() {
    for controller in [Kind::Pid, Kind::LagCompensated, Kind::LagCompensatedYaw] {
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
    for t in demo()
        .tracking
        .iter()
        .filter(|t| t.believe == Believe::Either)
    {
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
