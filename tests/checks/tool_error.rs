//! The linear check, source by source, held against transfer functions written out in NumPy.

use crate::common::{assert_near, cases, number, numbers, references};
use rowroom::linear::{Source, axle_wander, tool_error};
use rowroom::model::controller::{Kind, Pid};
use rowroom::model::damped::Damped;
use rowroom::model::driver::{Driver, HandDriver, SatelliteLine};
use rowroom::model::hitch::Hitch;
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use rowroom::model::tracker::Tracker;
use serde_json::Value;

/// Two quadratures of the same integrand: the reference holds 1e-6 against finer panels, the crate promises 1e-5 of the
/// whole variance.
const QUADRATURE: f64 = 1e-5;

fn noise(machine: &Value, key: &str) -> GaussMarkov {
    let pair = numbers(&machine[key]);
    GaussMarkov {
        sd: pair[0],
        reach: pair[1],
    }
}

/// The machine of a reference case; no position sensor noise, which that reference leaves out.
fn setup(machine: &Value) -> Setup {
    let n = |key: &str| number(machine, key);
    let mut setup = Setup::plausible();
    setup.tractor.wheelbase_m = n("wheelbase_m");
    setup.tractor.steer_lag_s = n("steer_lag_s");
    setup.driver = if machine["driver"] == "hand" {
        Driver::Hand(HandDriver {
            preview_min_m: n("preview_min_m"),
            preview_time_s: n("preview_time_s"),
            reaction_s: n("reaction_s"),
            seeing: noise(machine, "seeing"),
            steering: noise(machine, "steering"),
            wander_factor: 1.0,
        })
    } else {
        Driver::SatelliteLine(SatelliteLine {
            frequency_rad_s: n("frequency_rad_s"),
            damping: n("damping"),
            receiver: noise(machine, "receiver"),
            drift: noise(machine, "drift"),
            growth_s_m: 0.0,
        })
    };
    let row = noise(machine, "row");
    setup.rows.wander = Damped::smooth(row.sd, row.reach);
    setup.rows.guided = (0..n("rows_seen") as usize).collect();
    setup.hitch = if n("carrier_m") == 0.0 {
        Hitch::Rigid {
            sway: noise(machine, "sway"),
            free_play_m: 10.0,
        }
    } else {
        Hitch::Drawn {
            hitch_m: n("hitch_m"),
            carrier_m: n("carrier_m"),
            implement_crab_rad: 0.0,
        }
    };
    setup.tools.tool_line_m = n("tool_line_m");
    let camera = &mut setup.camera;
    camera.lookahead_m = n("lookahead_m");
    camera.frame_s = n("frame_s");
    camera.latency_s = n("latency_s");
    camera.white_sd_m = n("white_sd_m");
    camera.appearance = noise(machine, "appearance");
    camera.roll_height_m = n("roll_height_m");
    camera.roll_still_sd_rad = n("roll_still_sd_rad");
    camera.roll_ground_sd_rad = n("roll_ground_sd_rad");
    camera.roll_reference_m_s = n("roll_reference_m_s");
    camera.roll_time_s = n("roll_time_s");
    if n("low_pass_s") > 0.0 {
        setup.tracker = Tracker::LowPass {
            time_s: n("low_pass_s"),
            gate_m: 10.0,
        };
    }
    let valve = setup.hydraulics.proportional.as_mut().unwrap();
    valve.dead_time_s = n("dead_time_s");
    valve.spool_lag_s = n("spool_lag_s");
    setup.controllers.pid = Some(Pid {
        gain_1_s: number(&machine["pid"], "gain_1_s"),
        integral_s: number(&machine["pid"], "integral_s"),
        derivative_s: number(&machine["pid"], "derivative_s"),
        derivative_filter_s: number(&machine["pid"], "derivative_filter_s"),
    });
    let lag = setup.controllers.lag.as_mut().unwrap();
    lag.gain_1_s = n("gain_1_s");
    lag.feed_forward = n("feed_forward");
    lag.dead_time_s = n("dead_time_s");
    lag.spool_lag_s = n("spool_lag_s");
    setup.position_sensor.as_mut().unwrap().noise_sd_m = 0.0;
    setup.yaw_sensor.as_mut().unwrap().noise = noise(machine, "yaw_noise");
    setup
}

fn machine<'a>(file: &'a Value, case: &Value) -> &'a Value {
    cases(file, "machines")
        .iter()
        .find(|machine| machine["name"] == case["machine"])
        .expect("the case's machine")
}

const SOURCES: [(&str, Source); 10] = [
    ("row", Source::RowWander),
    ("seeing", Source::DriverSeeing),
    ("steering", Source::Steering),
    ("receiver", Source::Receiver),
    ("drift", Source::ReceiverDrift),
    ("sway", Source::Sway),
    ("white", Source::CameraWhite),
    ("appearance", Source::RowAppearance),
    ("roll", Source::CameraRoll),
    ("yaw_sensor", Source::YawSensor),
];

/// NumPy 2.4.6 and python-control 0.10.2: rear, front, drawn, satellite line, low-pass, feed forward; every controller with a
/// linear form at 4, 8 and 12 km/h.
#[test]
fn val_tool_error_by_source() {
    let file = references("tool_error");
    let list = cases(&file, "tool_errors");
    assert_eq!(list.len(), 7 * 3 * 4);
    for case in list {
        let setup = setup(machine(&file, case));
        let kind = Kind::from_name(case["controller"].as_str().unwrap()).unwrap();
        let budget = tool_error(&setup, kind, number(case, "speed_m_s")).expect("a linear form");
        let what = format!(
            "{} {} {}",
            case["machine"], case["speed_m_s"], case["controller"]
        );
        let total = number(case, "sd_m").powi(2);
        for (key, source) in SOURCES {
            let expected = number(&case["variance_m2"], key);
            let found = budget.share_m2(source);
            assert_near(
                found,
                expected,
                QUADRATURE,
                QUADRATURE * total,
                format!("{what} {key}"),
            );
        }
        assert_near(budget.variance_m2(), total, QUADRATURE, 0.0, what);
    }
}

#[test]
fn val_axle_wander_by_source() {
    let file = references("tool_error");
    for case in cases(&file, "axles") {
        let setup = setup(machine(&file, case));
        let found = axle_wander(&setup, number(case, "speed_m_s")).expect("a linear form");
        let by_source = &case["variance_m2"];
        let expected = |key: &str| by_source.get(key).and_then(Value::as_f64).unwrap_or(0.0);
        for (key, share) in [
            ("row", found.row),
            ("seeing", found.seeing),
            ("steering", found.steering),
            ("receiver", found.receiver),
            ("drift", found.drift),
        ] {
            assert_near(
                share,
                expected(key),
                QUADRATURE,
                1e-12,
                format!("{case} {key}"),
            );
        }
        assert_near(
            found.variance_m2().sqrt(),
            number(case, "sd_m"),
            QUADRATURE,
            0.0,
            case,
        );
    }
}
