//! Actuator, PID loop with delay, margins and SIMC, held against python-control and Skogestad's published example; in the
//! frequency domain and in the simulation itself.

use crate::common::{assert_near, cases, driven_at, number, numbers, quiet, references};
use rowroom::linear::{actuator_response, actuator_step, loop_response, loop_step, margins};
use rowroom::model::controller::{Kind, Pid};
use rowroom::model::setup::Setup;
use rowroom::model::vector::Lanes;
use rowroom::sim::pass::Pass;
use rowroom::sim::sensors::Frame;
use serde_json::Value;

const SPEED_M_S: f64 = 2.0;

/// Exposures follow the beginning of a tick by this much, so that rounding cannot put them before it, s.
const LATE_S: f64 = 1e-9;

fn with_valve(dead_time_s: f64, spool_lag_s: f64) -> Setup {
    let mut setup = quiet();
    setup.driver = driven_at(0.0);
    setup.run.length_m = 20.0;
    setup.run.start_delay_s = 0.0;
    setup.hydraulics.stroke_m = 4.0;
    // Equal speed both ways: else a spool that changes sides bends the loop.
    setup.hydraulics.rod_m = 0.0;
    let valve = setup.hydraulics.proportional.as_mut().unwrap();
    valve.dead_time_s = dead_time_s;
    valve.spool_lag_s = spool_lag_s;
    setup
}

fn pid(case: &Value) -> Pid {
    Pid {
        gain_1_s: number(case, "gain_1_s"),
        integral_s: number(case, "integral_s"),
        derivative_s: number(case, "derivative_s"),
        derivative_filter_s: number(case, "derivative_filter_s"),
    }
}

fn with_loop(case: &Value) -> Setup {
    let mut setup = with_valve(number(case, "dead_time_s"), number(case, "spool_lag_s"));
    setup.camera.frame_s = number(case, "frame_s");
    setup.camera.latency_s = number(case, "latency_s");
    setup.controllers.pid = Some(pid(&case["pid"]));
    setup
}

/// The shift of a simulated pass whose camera reports `after_m` from frame `from` on and 0 before, frames exposed at
/// multiples of the period; the shift at any time.
fn simulate(setup: &Setup, from: usize, after_m: f64) -> impl Fn(f64) -> f64 + use<> {
    simulate_numbers(setup, &|k| if k >= from { after_m } else { 0.0 })
}

/// The same for any number by frame.
fn simulate_numbers(setup: &Setup, number_m: &dyn Fn(usize) -> f64) -> impl Fn(f64) -> f64 + use<> {
    let mut drive = Pass::drive(setup, 1, 0, SPEED_M_S);
    let end_s = (drive.path.station_m.len() - 2) as f64 * drive.path.step_s;
    let count = (end_s / setup.camera.frame_s) as usize;
    drive.sensors.frames = (0..count)
        .map(|k| Frame {
            exposed_s: k as f64 * setup.camera.frame_s + LATE_S,
            number_m: Lanes([number_m(k)]),
            found: Lanes([1.0]),
            position_noise_exposed_m: Lanes::default(),
            position_noise_arrived_m: Lanes::default(),
            yaw_rad_s: Lanes::default(),
        })
        .collect();
    let shift = drive.shift(setup, Kind::Pid);
    move |time_s| drive.path.at(&shift.shift_m, time_s)
}

/// python-control 0.10.2. The linear form to rounding (step: 1e-8, the reference interpolates its curve each 50 us). The
/// simulated valve, opened fully by a far-off row, to the linear interpolation between ticks of 1/8 frame: at most
/// `step²/(8 T_s)` of the time run, 5e-5 s.
#[test]
fn val_actuator_step_and_frequency_response() {
    let file = references("control_loops");
    for case in cases(&file, "actuators") {
        let mut setup = with_valve(number(case, "dead_time_s"), number(case, "spool_lag_s"));
        for point in cases(case, "response") {
            let point = numbers(point);
            let found = actuator_response(&setup, point[0]).unwrap();
            let size = point[1].hypot(point[2]);
            assert_near(found.re, point[1], 0.0, 1e-12 * size, case);
            assert_near(found.im, point[2], 0.0, 1e-12 * size, case);
        }
        setup.run.step_s = setup.camera.frame_s / 8.0;
        let from = 3;
        let shift = simulate(&setup, from, 10.0);
        let opened_s = from as f64 * setup.camera.frame_s + setup.camera.latency_s;
        let valve = setup.hydraulics.proportional.unwrap();
        let full_m_s = valve.open_speed_m_s(&setup.hydraulics, setup.hydraulics.way(true));
        let within_s = setup.run.step_s.powi(2) / (8.0 * valve.spool_lag_s) + 1e-9;
        for point in cases(case, "step") {
            let point = numbers(point);
            assert_near(
                actuator_step(&setup, point[0]).unwrap(),
                point[1],
                0.0,
                1e-8,
                case,
            );
            let simulated = shift(opened_s + point[0]) / full_m_s;
            assert_near(
                simulated,
                point[1],
                0.0,
                within_s,
                format!("simulated, {case}"),
            );
        }
    }
}

/// python-control 0.10.2 on the exact sampled loop. Rounding of a polynomial of some ten roots near 1: 1e-8.
#[test]
fn val_closed_loop_step_and_frequency_response() {
    let file = references("control_loops");
    for case in cases(&file, "loops") {
        let setup = with_loop(case);
        for point in cases(case, "response") {
            let point = numbers(point);
            let open = loop_response(&setup, Kind::Pid, SPEED_M_S, point[0]).unwrap();
            let closed = open / (open + 1.0);
            assert_near(closed.re, point[1], 0.0, 1e-8, case);
            assert_near(closed.im, point[2], 0.0, 1e-8, case);
        }
        let expected = numbers(&case["step_of_shift"]);
        let found = loop_step(&setup, Kind::Pid, SPEED_M_S, expected.len()).unwrap();
        for (k, (found, expected)) in found.iter().zip(&expected).enumerate() {
            assert_near(*found, *expected, 0.0, 1e-8, format!("frame {k} of {case}"));
        }
    }
}

/// The simulated loop against python-control's step response. With ticks of 1/8 frame latency and dead time are whole ticks and
/// the simulation is exact but for [`LATE_S`] times a slope of at most 30 steps a second: 1e-7 of the step. With 7 ticks a
/// frame they are not: a command that changes inside a tick counts by its mean over the tick, which moves the shift by at
/// most `tick²/(8 T_s)` times the speed asked for (3 K_p with the derivative's kick) at each change, 0.2 % of the step in
/// the slowest-sampled case; changes of both signs follow: 1 %.
#[test]
fn val_simulated_loop_step() {
    let file = references("control_loops");
    let (from, step_m) = (4, 0.002);
    for case in cases(&file, "loops") {
        for (ticks, within) in [(8.0, 1e-7), (7.0, 0.01)] {
            let mut setup = with_loop(case);
            setup.run.step_s = setup.camera.frame_s / ticks;
            let shift = simulate(&setup, from, step_m);
            for (k, expected) in numbers(&case["step_of_shift"]).iter().enumerate() {
                let time_s = (from + k) as f64 * setup.camera.frame_s;
                let found = shift(time_s) / step_m;
                assert_near(
                    found,
                    *expected,
                    0.0,
                    within,
                    format!("frame {k} of {case}"),
                );
            }
        }
    }
}

/// python-control 0.10.2 and SciPy 1.17.1 on the exact loop. The crate's searches stop at 1e-6.
#[test]
fn val_margins() {
    let file = references("control_loops");
    for case in cases(&file, "loops") {
        let found = margins(&with_loop(case), Kind::Pid, SPEED_M_S).unwrap();
        assert!(found.stable);
        assert_near(
            found.gain.unwrap(),
            number(case, "gain_margin"),
            1e-6,
            0.0,
            case,
        );
        assert_near(
            found.phase_rad.unwrap(),
            number(case, "phase_margin_rad"),
            1e-6,
            0.0,
            case,
        );
        assert_near(
            found.modulus,
            number(case, "modulus_margin"),
            1e-6,
            0.0,
            case,
        );
    }
}

/// SIMC, Skogestad, J. Process Control 13:291-309, 2003: the rule for integrating plants written out in Python.
#[test]
fn val_simc_gains() {
    let file = references("control_loops");
    for case in cases(&file["simc"], "integrating") {
        let [tau_c, dead, lag] = ["tau_c_s", "dead_time_s", "lag_s"].map(|key| number(case, key));
        let (found, expected) = (Pid::simc(tau_c, dead, lag), pid(case));
        for (found, expected) in [
            (found.gain_1_s, expected.gain_1_s),
            (found.integral_s, expected.integral_s),
            (found.derivative_s, expected.derivative_s),
            (found.derivative_filter_s, expected.derivative_filter_s),
        ] {
            assert_near(found, expected, 1e-12, 0.0, case);
        }
    }
}

/// The published half-rule example: first-order model tau 2.5, theta 1.47 gives K_c 0.850. An integrating plant stands for a
/// lag-dominant one of slope k/tau, so that its gain times tau is the published one (three digits).
#[test]
fn val_simc_published_example() {
    let file = references("control_loops");
    let first = &file["simc"]["first_order"];
    let (tau, theta) = (number(first, "lag_s"), number(first, "dead_time_s"));
    assert_near(tau, 2.5, 1e-12, 0.0, "published tau");
    assert_near(theta, 1.47, 1e-12, 0.0, "published theta");
    assert_near(
        Pid::simc(theta, theta, 0.0).gain_1_s * tau,
        0.850,
        0.0,
        0.5e-3,
        "published K_c",
    );

    let second = &file["simc"]["second_order"];
    let [tau, lag, theta] = ["lag_s", "second_lag_s", "dead_time_s"].map(|key| number(second, key));
    for (found, published) in [(tau, 2.0), (lag, 1.2), (theta, 0.77)] {
        assert_near(found, published, 1e-12, 0.0, "published second-order model");
    }
    let pid = Pid::simc(theta, theta, lag);
    // Back to the series form: K_p = K_c (1 + tau_D/tau_I), T_i = tau_I + tau_D.
    let series_gain = pid.gain_1_s * (pid.integral_s - lag) / pid.integral_s;
    let expected = number(&file["simc"], "k_c_second_order");
    assert_near(
        series_gain * tau,
        expected,
        1e-12,
        0.0,
        "K_c of the second-order model",
    );
}

/// Published margins of SIMC on an integrating plant with tau_c = theta (tau_I = 8 theta): gain 2.96, phase 46.9 deg, delay
/// 1.59 theta, M_s 1.70 (values from memory, computed again by python-control). Frames of theta/100 with half a frame counted into
/// theta: the rest of sampling is of the order (w T_f)², below 1e-3.
#[test]
fn val_simc_margins_on_an_integrating_plant() {
    let file = references("control_loops");
    let expected = &file["simc"]["integrating_margins"];
    let mut setup = with_valve(0.0, 0.0);
    setup.camera.frame_s = 0.01;
    setup.camera.latency_s = 1.0 - 0.5 * setup.camera.frame_s;
    setup.controllers.pid = Some(Pid::simc(1.0, 1.0, 0.0));
    let found = margins(&setup, Kind::Pid, SPEED_M_S).unwrap();
    let phase_deg = found.phase_rad.unwrap().to_degrees();
    for (found, reference, published, digit) in [
        (
            found.gain.unwrap(),
            number(expected, "gain_margin"),
            2.96,
            0.01,
        ),
        (
            phase_deg,
            number(expected, "phase_margin_rad").to_degrees(),
            46.9,
            0.1,
        ),
        (
            found.delay_s.unwrap(),
            number(expected, "delay_margin_s"),
            1.59,
            0.01,
        ),
        (
            1.0 / found.modulus,
            1.0 / number(expected, "modulus_margin"),
            1.70,
            0.01,
        ),
    ] {
        assert_near(found, reference, 1e-3, 0.0, "python-control");
        assert_near(found, published, 0.0, digit, "published");
    }
}

/// A machine with a PID that integrates, from the references.
fn integrating() -> Setup {
    let file = references("control_loops");
    let with_integral = |case: &&Value| number(&case["pid"], "integral_s").is_finite();
    with_loop(cases(&file, "loops").iter().find(with_integral).unwrap())
}

/// A frame that was held answers a standing row as one that was held for less: nothing adds up meanwhile. To rounding over the ticks.
#[test]
fn regress_the_integral_waits_while_the_frame_is_held() {
    let mut setup = integrating();
    let frame_s = setup.camera.frame_s;
    let [briefly, long] = [10.0, 60.0].map(|frames| {
        setup.run.start_delay_s = frames * frame_s;
        simulate_numbers(&setup, &|_| 0.02)
    });
    for time_s in [0.1, 0.3, 0.6, 1.0, 2.0] {
        let (a, b) = (
            briefly(10.0 * frame_s + time_s),
            long(60.0 * frame_s + time_s),
        );
        assert!((a - b).abs() < 1e-9, "{time_s} s: {a} {b}");
    }
    assert!(long(60.0 * frame_s + 2.0) > 0.015);
}

/// A row that lies out of reach for long, by too little to ask the valve for all it has, leaves nothing behind: a second after it is back
/// in reach the frame follows it as it would have without that time, within a millimetre.
#[test]
fn regress_the_integral_waits_at_an_end_of_the_stroke() {
    let mut setup = integrating();
    setup.run.start_delay_s = 0.0;
    setup.run.length_m = 200.0;
    setup.hydraulics.stroke_m = 0.2;
    let end_m = 0.5 * setup.hydraulics.stroke_m;
    let back = |wait_s: f64| (wait_s / setup.camera.frame_s) as usize;
    let [briefly, long] = [4.0, 20.0].map(|wait_s| {
        let back = back(wait_s);
        simulate_numbers(&setup, &|k| end_m + if k < back { 0.01 } else { -0.02 })
    });
    for after_s in [0.5, 1.0] {
        let (a, b) = (briefly(4.0 + after_s), long(20.0 + after_s));
        assert!((a - b).abs() < 1e-3, "{after_s} s: {a} {b}");
    }
    assert!(long(21.0) < end_m - 0.01, "{}", long(21.0));
}
