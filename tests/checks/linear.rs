//! The linear check against closed forms, published margins and first numbers of an independent prototype.

use rowroom::linear::margins::late_by_s;
use rowroom::linear::{
    Complex, Source, Unstable, actuator_response, actuator_step, axle_wander, check_stable,
    critical_speed, loop_response, loop_step, margins, shift_response, tool_error,
    tool_error_response,
};
use rowroom::model::camera::Mount;
use rowroom::model::controller::pid::pid_response;
use rowroom::model::controller::{Kind, Pid};
use rowroom::model::driver::{Driver, HandDriver, LoggedPath, SatelliteLine};
use rowroom::model::hitch::Hitch;
use rowroom::model::line::{Bend, Line};
use rowroom::model::noise::GaussMarkov;
use rowroom::model::sampled::Frequency;
use rowroom::model::setup::Setup;
use rowroom::model::tracker::Tracker;

const LINEAR: [Kind; 4] = [
    Kind::Locked,
    Kind::Pid,
    Kind::LagCompensated,
    Kind::LagCompensatedYaw,
];

fn kmh(speed: f64) -> f64 {
    speed / 3.6
}

fn hand(setup: &mut Setup) -> &mut HandDriver {
    match &mut setup.driver {
        Driver::Hand(driver) => driver,
        _ => panic!("the plausible machine is steered by hand"),
    }
}

/// A machine without a single noise.
fn silent() -> Setup {
    let mut setup = Setup::plausible();
    setup.rows.wander.sd = 0.0;
    hand(&mut setup).seeing.sd = 0.0;
    hand(&mut setup).steering.sd = 0.0;
    setup.camera.appearance.sd = 0.0;
    setup.camera.roll_ground_sd_rad = 0.0;
    setup.position_sensor.as_mut().unwrap().noise_sd_m = 0.0;
    setup.yaw_sensor.as_mut().unwrap().noise.sd = 0.0;
    setup
}

fn drawn(mut setup: Setup, implement_crab_rad: f64) -> Setup {
    setup.hitch = Hitch::Drawn {
        hitch_m: 1.0,
        carrier_m: 3.0,
        implement_crab_rad,
    };
    setup.tools.tool_line_m = 4.0;
    setup
}

fn sd_mm(setup: &Setup, kind: Kind, speed_m_s: f64) -> f64 {
    tool_error(setup, kind, speed_m_s)
        .unwrap()
        .variance_m2()
        .sqrt()
        * 1e3
}

/// Side-shift without spool lag whose loop delay, half a frame included, is one second: 200 frames of 5 ms.
fn one_second_of_delay(pid: Pid) -> Setup {
    let mut setup = Setup::plausible();
    setup.camera.frame_s = 0.005;
    setup.camera.latency_s = 0.5;
    let valve = setup.hydraulics.proportional.as_mut().unwrap();
    valve.dead_time_s = 0.4975;
    valve.spool_lag_s = 0.0;
    setup.controllers.pid = Some(pid);
    setup
}

/// SIMC with tau_c = th, integral time equal to the lag: the loop `e^(-th s)/(2 th s)`. Skogestad, J. Process Control
/// 13:291-309, 2003, table of margins (printed values from memory): GM 3.14, PM 61.35 deg, delay margin 2.14 th, Ms 1.59;
/// by hand pi, 90 deg - 1/2 rad, pi - 1 and 1.59. Tolerance: half a unit of the last printed digit, and (w T_f)² of the hold
/// with w at most pi/2 per second and T_f 5 ms: 6e-5.
#[test]
fn val_margins_of_simc_on_a_lag() {
    let setup = one_second_of_delay(Pid {
        gain_1_s: 0.5,
        integral_s: f64::INFINITY,
        derivative_s: 0.0,
        derivative_filter_s: 0.0,
    });
    let found = margins(&setup, Kind::Pid, 2.0).unwrap();
    assert!(found.stable);
    assert!((found.gain.unwrap() - core::f64::consts::PI).abs() < 3e-4);
    assert!((found.phase_rad.unwrap().to_degrees() - 61.35).abs() < 0.01);
    assert!((found.delay_s.unwrap() - (core::f64::consts::PI - 1.0)).abs() < 1e-3);
    assert!((1.0 / found.modulus - 1.59).abs() < 0.005);
}

/// The same table, lag-dominant or integrating plant, tau_I = 8 th: GM 2.96, PM 46.9 deg, delay margin 1.59 th, Ms 1.70. (Another
/// reading from memory, 46.98 deg, is not what the loop `e^(-th s) (1 + 1/(8 th s))/(2 th s)` has: 46.864 deg at 0.5145/th.)
/// The backward-Euler integrator adds half a frame to the integral part only: w T_f/2 times its share 1/(8 w) of the
/// loop, 0.03 %; 0.1 % allowed, and half a unit of the last printed digit.
#[test]
fn val_margins_of_simc_on_an_integrating_plant() {
    let setup = one_second_of_delay(Pid::simc(1.0, 1.0, 0.0));
    let found = margins(&setup, Kind::Pid, 2.0).unwrap();
    assert!((found.gain.unwrap() - 2.96).abs() < 0.005 + 0.003);
    assert!((found.phase_rad.unwrap().to_degrees() - 46.9).abs() < 0.05 + 0.047);
    assert!((found.delay_s.unwrap() - 1.59).abs() < 0.005 + 0.0016);
    assert!((1.0 / found.modulus - 1.70).abs() < 0.005 + 0.0017);
}

/// The pulse transfer function against the product A C H0 e^(-s T_c), which leaves the images out. An integrating plant behind
/// the hold falls at least like w⁻², so the images add at most the sum of `(w/w_k)²`, `(x/sin x)² - 1` with x = w T_f/2.
#[test]
fn analytic_pulse_loop_agrees_with_the_product_form() {
    let setup = Setup::plausible();
    let pid = setup.controllers.pid.unwrap();
    for w in [0.5, 2.0, 5.0, 10.0, 20.0, 40.0] {
        let at = Frequency::new(w, 0.04);
        let product = actuator_response(&setup, w).unwrap()
            * pid_response(&pid, &at)
            * at.hold
            * at.delay(0.08);
        let exact = loop_response(&setup, Kind::Pid, 2.0, w).unwrap();
        let x: f64 = w * 0.02;
        let bound = (x / x.sin()).powi(2) - 1.0;
        let gap = (exact - product).norm_sqr().sqrt() / product.norm_sqr().sqrt();
        assert!(gap <= bound, "{w}: {gap} > {bound}");
    }
}

/// Where the machine is the one that the controller believes, the lag-compensated shift is the closed product
/// `e^(-s T_v)/(1 + T_s s) H0 (1/s) [k_p + f (1-z⁻¹)/T_f] (1-z⁻¹)/(1 - (1 - k_p T_f) z⁻¹)` behind the interpolation between
/// frames (rounding: 1e-10).
#[test]
fn analytic_matched_lag_compensation_is_the_closed_product() {
    for feed_forward in [0.0, 0.7, 1.0] {
        let mut setup = Setup::plausible();
        setup.controllers.lag.as_mut().unwrap().feed_forward = feed_forward;
        let (v, k, t) = (1.4, 5.0, 0.04);
        let one = Complex::new(1.0, 0.0);
        for w in [0.2, 1.0, 6.0, 30.0, 100.0] {
            let at = Frequency::new(w, t);
            let act = at.delay(0.03) / (at.s * 0.06 + 1.0) * at.hold / at.s
                * (at.one_minus_back * (feed_forward / t) + k)
                * at.one_minus_back
                / (one - at.back * (1.0 - k * t));
            let age: f64 = 0.8 / v - (0.03 + 0.06 + (1.0 - feed_forward) / k);
            let (whole, share) = (((age - 0.08) / t).floor(), ((age - 0.08) / t).fract());
            let between = at.delay(0.08 + whole * t) * (at.back * share + (1.0 - share));
            let expected = act * between;
            let found = shift_response(&setup, Kind::LagCompensated, v, w)
                .unwrap()
                .seen;
            let gap = (found - expected).norm_sqr() / expected.norm_sqr();
            assert!(gap.sqrt() < 1e-10, "{feed_forward} {w}: {found} {expected}");
        }
    }
}

/// A gain just inside the gain margin rings out, one just outside grows, by the difference equation of the closed loop itself.
#[test]
fn analytic_gain_margin_parts_ringing_out_from_growing() {
    for kind in [Kind::Pid, Kind::LagCompensated] {
        let setup = Setup::plausible();
        let margin = margins(&setup, kind, 2.0).unwrap().gain.unwrap();
        let ripple = |factor: f64| {
            let mut setup = setup.clone();
            setup.controllers.pid.as_mut().unwrap().gain_1_s *= margin * factor;
            setup.controllers.lag.as_mut().unwrap().gain_1_s *= margin * factor;
            assert_eq!(
                check_stable(&setup, kind, 2.0).is_ok(),
                factor < 1.0,
                "{kind:?} {factor}"
            );
            let step = loop_step(&setup, kind, 2.0, 1600).unwrap();
            let largest = |part: &[f64]| part.iter().fold(0.0, |a: f64, b| a.max((b - 1.0).abs()));
            largest(&step[1400..]) / largest(&step[200..400])
        };
        assert!(ripple(0.98) < 0.5, "{kind:?}");
        assert!(ripple(1.02) > 2.0, "{kind:?}");
    }
}

/// The inner loop that believes its plant: gain margin 2/(k_p T_f), modulus margin 1 - k_p T_f/2.
#[test]
fn analytic_margins_of_the_matched_inner_loop() {
    let found = margins(&Setup::plausible(), Kind::LagCompensated, 2.0).unwrap();
    assert!((found.gain.unwrap() - 10.0).abs() < 1e-9);
    assert!((found.modulus - 0.9).abs() < 1e-9);
}

/// Cold oil that the controller does not know of eats into the margins of both loops.
#[test]
fn prop_cold_oil_eats_margins() {
    let warm = Setup::plausible();
    let mut cold = warm.clone();
    cold.hydraulics.cold_dead_time_factor = 3.0;
    cold.hydraulics.cold_lag_factor = 2.0;
    for kind in [Kind::Pid, Kind::LagCompensated] {
        let (warm, cold) = (
            margins(&warm, kind, 2.0).unwrap(),
            margins(&cold, kind, 2.0).unwrap(),
        );
        assert!(cold.phase_rad.unwrap() < 0.9 * warm.phase_rad.unwrap());
        assert!(cold.delay_s.unwrap() < 0.9 * warm.delay_s.unwrap());
        assert!(cold.gain.unwrap() < warm.gain.unwrap() && cold.modulus < warm.modulus);
    }
}

#[test]
fn analytic_unstable_loops_are_refused_with_a_gain_that_does() {
    let mut setup = Setup::plausible();
    setup.controllers.pid.as_mut().unwrap().gain_1_s = 20.0;
    let refused = check_stable(&setup, Kind::Pid, 2.0).unwrap_err();
    let Unstable::Loop {
        gain_margin,
        gain_that_would_do_1_s,
        ..
    } = refused
    else {
        panic!("{refused}");
    };
    let text = refused.to_string();
    assert!(
        text.starts_with("the PID loop is unstable at 7.2 km/h (4.5 mph): gain 20.000 1/s is "),
        "{text}"
    );
    assert!(gain_margin.unwrap() < 1.0);
    assert!(tool_error(&setup, Kind::Pid, 2.0).is_none());
    setup.controllers.pid.as_mut().unwrap().gain_1_s = gain_that_would_do_1_s.unwrap();
    check_stable(&setup, Kind::Pid, 2.0).unwrap();
    let margin = margins(&setup, Kind::Pid, 2.0).unwrap().gain.unwrap();
    assert!((margin - 2.0).abs() < 1e-6, "{margin}");

    // An integral time shorter than the delay: no gain calms a double integrator.
    let mut setup = Setup::plausible();
    setup.controllers.pid = Some(Pid {
        gain_1_s: 4.0,
        integral_s: 0.05,
        derivative_s: 0.0,
        derivative_filter_s: 0.0,
    });
    let refused = check_stable(&setup, Kind::Pid, 2.0).unwrap_err();
    assert!(refused.to_string().contains("no smaller gain would do"));

    // A driver who looks a metre ahead at 12 km/h.
    let mut setup = Setup::plausible();
    hand(&mut setup).preview_min_m = 1.0;
    hand(&mut setup).preview_time_s = 0.0;
    let refused = check_stable(&setup, Kind::Locked, kmh(12.0)).unwrap_err();
    assert!(
        refused
            .to_string()
            .contains("preview of 1.0 m (3.3 ft) is too short")
    );
    assert!(axle_wander(&setup, kmh(12.0)).is_none());
}

#[test]
fn analytic_no_linear_form_where_there_is_none() {
    let mut setup = Setup::plausible();
    assert!(tool_error(&setup, Kind::OnOff, 2.0).is_none());
    assert!(margins(&setup, Kind::OnOff, 2.0).is_none());
    assert!(margins(&setup, Kind::Locked, 2.0).is_none());
    setup.driver = Driver::Replay(LoggedPath::new(vec![0.0, 100.0], vec![0.0, 0.0]));
    assert!(
        LINEAR
            .iter()
            .all(|kind| tool_error(&setup, *kind, 2.0).is_none())
    );
    assert!(axle_wander(&setup, 2.0).is_none());
    let mut setup = Setup::plausible();
    setup.yaw_sensor = None;
    assert!(tool_error(&setup, Kind::LagCompensatedYaw, 2.0).is_none());
    assert!(tool_error(&setup, Kind::LagCompensated, 2.0).is_some());
}

#[test]
fn analytic_no_noise_no_error() {
    for kind in LINEAR {
        let found = tool_error(&silent(), kind, 2.0).unwrap();
        assert_eq!((found.variance_m2(), found.mean_error_m), (0.0, 0.0));
    }
}

/// The budget is the sum of what each source does alone (the integral's tolerance, 1e-5 of the whole, twice).
#[test]
fn analytic_shares_add_up() {
    let mut all = Setup::plausible();
    all.camera.white_sd_m = 0.003;
    all.hitch = Hitch::Rigid {
        sway: GaussMarkov {
            sd: 0.006,
            reach: 3.0,
        },
        free_play_m: 0.1,
    };
    for kind in LINEAR {
        let budget = tool_error(&all, kind, 2.2).unwrap();
        let whole = budget.variance_m2();
        assert_eq!(budget.shares.len(), Source::ALL.len());
        let mut sum = 0.0;
        for (source, share) in &budget.shares {
            let mut one = silent();
            match source {
                Source::RowWander => one.rows.wander = all.rows.wander,
                Source::DriverSeeing => hand(&mut one).seeing = hand(&mut all).seeing,
                Source::Steering => hand(&mut one).steering = hand(&mut all).steering,
                Source::Sway => one.hitch = all.hitch,
                Source::CameraWhite => one.camera.white_sd_m = all.camera.white_sd_m,
                Source::RowAppearance => one.camera.appearance = all.camera.appearance,
                Source::CameraRoll => one.camera.roll_ground_sd_rad = all.camera.roll_ground_sd_rad,
                Source::YawSensor => one.yaw_sensor = all.yaw_sensor,
                Source::PositionSensor => one.position_sensor = all.position_sensor,
                Source::Receiver | Source::ReceiverDrift => continue,
            }
            let alone = tool_error(&one, kind, 2.2).unwrap().variance_m2();
            assert!((alone - share).abs() < 2e-5 * whole, "{kind:?} {source:?}");
            sum += alone;
        }
        assert!((sum / whole - 1.0).abs() < 1e-4, "{kind:?}");
    }
}

/// White noise in a sampled proportional loop around a held integrator without delay, c = K T_f: at the frames the variance is
/// `sd² c/(2 - c)`, neighbours correlate by 1 - c, and the mean over the ramps between is `(3 - c)/3` of it. The same for the
/// inner loop of the lag compensation, where camera and position reading enter alike. Tolerance: the integral's 1e-5, and what
/// ripples beyond the last octave (w⁻⁴): 1e-5.
#[test]
fn analytic_white_noise_in_an_undelayed_loop() {
    let mut setup = silent();
    setup.camera.white_sd_m = 0.01;
    setup.camera.latency_s = 0.0;
    let valve = setup.hydraulics.proportional.as_mut().unwrap();
    (valve.dead_time_s, valve.spool_lag_s) = (0.0, 0.0);
    let lag = setup.controllers.lag.as_mut().unwrap();
    (lag.dead_time_s, lag.spool_lag_s) = (0.0, 0.0);
    let closed = |gain: f64| {
        let c = gain * 0.04;
        1e-4 * c / (2.0 - c) * (3.0 - c) / 3.0
    };
    setup.controllers.pid = Some(Pid {
        gain_1_s: 9.0,
        integral_s: f64::INFINITY,
        derivative_s: 0.0,
        derivative_filter_s: 0.0,
    });
    let pid = tool_error(&setup, Kind::Pid, 2.0).unwrap().variance_m2();
    assert!(
        (pid / closed(9.0) - 1.0).abs() < 2e-5,
        "{pid} {}",
        closed(9.0)
    );
    // Age of the measurement a whole number of frames, or interpolation would smooth the noise.
    setup.camera.lookahead_m = 2.0 * (0.2 + 0.08);
    let lag = tool_error(&setup, Kind::LagCompensated, 2.0).unwrap();
    assert!((lag.variance_m2() / closed(5.0) - 1.0).abs() < 2e-5);
    setup.camera.white_sd_m = 0.0;
    setup.camera.mount = Mount::Fixed;
    setup.position_sensor.as_mut().unwrap().noise_sd_m = 0.01;
    let position = tool_error(&setup, Kind::LagCompensated, 2.0).unwrap();
    assert!((position.variance_m2() / closed(5.0) - 1.0).abs() < 2e-5);
    assert_eq!(
        position.share_m2(Source::PositionSensor),
        position.variance_m2()
    );
}

/// A locked frame passes sway on as it is; camera and sensors do nothing to it.
#[test]
fn analytic_locked_frame_passes_sway_on() {
    let mut setup = silent();
    setup.camera.white_sd_m = 0.01;
    setup.hitch = Hitch::Rigid {
        sway: GaussMarkov {
            sd: 0.02,
            reach: 4.0,
        },
        free_play_m: 1.0,
    };
    let found = tool_error(&setup, Kind::Locked, 2.0).unwrap();
    assert!((found.share_m2(Source::Sway) / 4e-4 - 1.0).abs() < 1e-5);
    assert!((found.variance_m2() / 4e-4 - 1.0).abs() < 1e-5);
}

/// On the planned line under a locked frame at the axle the tool error is the row itself.
#[test]
fn analytic_satellite_line_and_locked_frame_leave_the_row() {
    let mut setup = Setup::plausible();
    setup.rows.unit_sd_m = 0.006;
    setup.driver = Driver::SatelliteLine(SatelliteLine {
        frequency_rad_s: 1.0,
        damping: 0.9,
        receiver: GaussMarkov {
            sd: 0.0,
            reach: 1.0,
        },
        drift: GaussMarkov {
            sd: 0.015,
            reach: 600.0,
        },
        growth_s_m: 0.0,
    });
    let found = tool_error(&setup, Kind::Locked, 2.0).unwrap();
    let row = 9e-4 + 3.6e-5 / 4.0;
    assert!((found.share_m2(Source::RowWander) / row - 1.0).abs() < 1e-5);
    // So slow a drift passes the line following nearly whole: T/(T + 2 z/wc) by the closed form of a second-order system.
    assert!((found.share_m2(Source::ReceiverDrift) / 2.25e-4 - 1.0).abs() < 0.005);
    let follows = tool_error(&setup, Kind::Pid, 2.0).unwrap();
    assert!(follows.share_m2(Source::RowWander) < 0.01 * row);
}

/// Steady turns and slopes, left arc of 100 m: the text's closed forms, to their last digit (0.05 mm).
#[test]
fn analytic_steady_errors_on_an_arc() {
    let arc = |mut setup: Setup| {
        setup.line = Line::new(&[Bend {
            start_m: -1000.0,
            length_m: 3000.0,
            curvature_start_1_m: 0.01,
            curvature_end_1_m: 0.01,
        }]);
        setup
    };
    let mean_mm = |setup: &Setup, kind| tool_error(setup, kind, 2.0).unwrap().mean_error_m * 1e3;
    let rigid = arc(silent());
    // Rigid tools 24.2 mm outside, the driver 0.07 mm inside.
    assert!((mean_mm(&rigid, Kind::Locked) - (0.07 - 24.2)).abs() < 0.05);
    assert!((mean_mm(&rigid, Kind::Pid) - -14.4).abs() < 0.05);
    assert!((mean_mm(&rigid, Kind::LagCompensated) - -14.4).abs() < 0.05);
    assert!(mean_mm(&rigid, Kind::LagCompensatedYaw).abs() < 1e-9);
    let drawn = arc(drawn(silent(), 0.0));
    assert!((mean_mm(&drawn, Kind::Locked) - (0.07 + 40.0)).abs() < 0.05);
    assert!((mean_mm(&drawn, Kind::Pid) - 3.2).abs() < 0.05);
    assert!(mean_mm(&drawn, Kind::LagCompensatedYaw).abs() < 1e-9);
    // A pass that is only partly bent has no single closed form.
    let mut partly = silent();
    partly.line = Line::new(&[Bend {
        start_m: 50.0,
        length_m: 50.0,
        curvature_start_1_m: 0.01,
        curvature_end_1_m: 0.01,
    }]);
    assert_eq!(mean_mm(&partly, Kind::Pid), 0.0);
}

/// Lookahead times crab, alignment less trim, and `bias a (x_t - a/2)/v`.
#[test]
fn analytic_steady_errors_of_slope_alignment_and_bias() {
    let mean_m = |setup: &Setup, kind| tool_error(setup, kind, 2.0).unwrap().mean_error_m;
    let mut slope = silent();
    slope.tractor.crab_rad = -0.03;
    assert!((mean_m(&slope, Kind::Pid) - -0.8 * 0.03).abs() < 1e-5);
    assert!((mean_m(&slope, Kind::Locked) - -2.2 * 0.03).abs() < 2e-5);
    let drawn = drawn(silent(), -0.03);
    assert!((mean_m(&drawn, Kind::Pid) - -0.8 * 0.03).abs() < 1e-5);
    assert!((mean_m(&drawn, Kind::Locked) - -3.0 * 0.03).abs() < 2e-5);
    let mut aimed = silent();
    (aimed.camera.alignment_m, aimed.camera.trim_m) = (0.009, 0.002);
    for kind in [Kind::Pid, Kind::LagCompensated, Kind::LagCompensatedYaw] {
        assert!((mean_m(&aimed, kind) - 0.007).abs() < 1e-12);
    }
    assert_eq!(mean_m(&aimed, Kind::Locked), 0.0);
    let mut biased = silent();
    biased.yaw_sensor.as_mut().unwrap().bias_rad_s = 0.002;
    let expected = 0.002 * 0.8 * (2.2 - 0.4) / 2.0;
    assert!((mean_m(&biased, Kind::LagCompensatedYaw) - expected).abs() < 1e-12);
    assert_eq!(mean_m(&biased, Kind::LagCompensated), 0.0);
}

/// `a/(T_c + T_a + tau_F)`; beyond it the loop is late by the rest.
#[test]
fn analytic_critical_speed() {
    let mut setup = Setup::plausible();
    let critical = critical_speed(&setup, Kind::LagCompensated).unwrap();
    assert!((critical - 0.8 / (0.08 + 0.03 + 0.06 + 0.2)).abs() < 1e-12);
    let late = |v| late_by_s(&setup, Kind::LagCompensated, v).unwrap();
    assert!(late(0.99 * critical).abs() < 1e-12);
    assert!((late(2.0 * critical) - 0.37 / 2.0).abs() < 1e-12);
    assert!(critical_speed(&setup, Kind::Pid).is_none());
    setup.tracker = Tracker::LowPass {
        time_s: 0.1,
        gate_m: 0.1,
    };
    assert!(critical_speed(&setup, Kind::LagCompensated).unwrap() < critical);
}

/// Far below every bandwidth the shift follows the row and no tool error is left; a locked frame keeps it.
#[test]
fn analytic_slow_rows_are_followed() {
    let mut setup = Setup::plausible();
    setup.tracker = Tracker::KalmanYaw {
        measurement_sd_m: 0.006,
        offset_walk_m_s05: 0.01,
        heading_walk_rad_s05: 0.005,
        gate_m: 0.1,
    };
    for kind in [Kind::Pid, Kind::LagCompensated, Kind::LagCompensatedYaw] {
        let q = shift_response(&setup, kind, 2.0, 1e-4).unwrap();
        assert!((q.seen - 1.0).norm_sqr().sqrt() < 1e-3, "{kind:?}");
        let e = tool_error_response(&setup, kind, 2.0, Source::RowWander, 1e-4).unwrap();
        assert!(e.norm_sqr().sqrt() < 1e-3);
    }
}

/// The actuator's step is the integral of what its frequency response says: slope g at once after the dead time and lag,
/// standing back by T_s.
#[test]
fn analytic_actuator_step() {
    let setup = Setup::plausible();
    assert_eq!(actuator_step(&setup, 0.03).unwrap(), 0.0);
    let late = actuator_step(&setup, 5.0).unwrap();
    assert!((late - (5.0 - 0.03 - 0.06)).abs() < 1e-12);
    let one_lag = actuator_step(&setup, 0.09).unwrap();
    assert!((one_lag - 0.06 * (-1.0_f64).exp()).abs() < 1e-12);
}

/// First numbers of a plausible machine from an independent prototype simulation (plausibility; the prototype's own
/// standard error and its unknown small settings, sensor noises among them: 2 % for the axle, 4 % for the tools).
#[test]
fn val_first_numbers_of_a_plausible_machine() {
    let setup = Setup::plausible();
    let expected = [
        (4.0, 39.0, [9.2, 7.3, 6.5]),
        (8.0, 46.0, [10.5, 8.0, 7.0]),
        (12.0, 54.0, [11.7, 10.5, 8.7]),
    ];
    for (speed, axle_mm, tools_mm) in expected {
        let v = kmh(speed);
        let axle = axle_wander(&setup, v).unwrap().variance_m2().sqrt() * 1e3;
        assert!((axle / axle_mm - 1.0).abs() < 0.02, "{speed}: {axle}");
        for (kind, expected_mm) in LINEAR[1..].iter().zip(tools_mm) {
            let found = sd_mm(&setup, *kind, v);
            assert!(
                (found / expected_mm - 1.0).abs() < 0.04,
                "{speed} {kind:?}: {found}"
            );
        }
        let locked = sd_mm(&setup, Kind::Locked, v);
        assert!(locked > axle && locked < 1.1 * axle);
    }
    // Simple margins of that PID: gain 2.7, phase 47 deg, of the loop in continuous time; frames take some of the gain.
    let found = margins(&setup, Kind::Pid, 2.0).unwrap();
    assert!((found.gain.unwrap() / 2.7 - 1.0).abs() < 0.1);
    assert!((found.phase_rad.unwrap().to_degrees() - 47.0).abs() < 1.5);
}
