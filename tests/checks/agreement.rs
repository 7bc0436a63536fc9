//! Simulated and linear tool error agree where nothing binds: straight level row, no dropouts, outliers, deadband, backlash or
//! load, limits opened wide. Allowed: 3 standard errors of the simulated value and 1 %.

use crate::common::{MeanSquares, mean_square, unlimited};
use rowroom::linear::{axle_wander, tool_error};
use rowroom::model::camera::Mount;
use rowroom::model::controller::Kind;
use rowroom::model::damped::Damped;
use rowroom::model::driver::{Driver, SatelliteLine};
use rowroom::model::hitch::Hitch;
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use rowroom::model::tracker::Tracker;
use rowroom::sim::pass::Pass;

const SEED: u64 = 1234;

const LINEAR: [Kind; 4] = [
    Kind::Locked,
    Kind::Pid,
    Kind::LagCompensated,
    Kind::LagCompensatedYaw,
];

/// The plausible machine with every limit out of reach and every noise on.
fn wide_open() -> Setup {
    let mut setup = unlimited();
    setup.hitch = Hitch::Rigid {
        sway: GaussMarkov {
            sd: 0.005,
            reach: 3.0,
        },
        free_play_m: 1.0,
    };
    setup.camera.white_sd_m = 0.003;
    setup
}

/// Simulates `passes` passes at three speeds under `kinds` and compares the tool error and the axle wander.
fn agree(name: &str, setup: &Setup, kinds: &[Kind], passes: u64) {
    let speeds = [4.0, 8.0, 12.0].map(|speed: f64| speed / 3.6);
    let mut found = vec![vec![MeanSquares::default(); kinds.len() + 1]; speeds.len()];
    for pass in 0..passes {
        for (speed, squares) in speeds.iter().zip(&mut found) {
            let drive = Pass::drive(setup, SEED, pass, *speed);
            let path = &drive.path;
            // The shift starts centred: leave out what it needs to settle.
            let first = (6.0 / path.step_s) as usize;
            let ticks = first..path.station_m.len();
            let satellite = matches!(setup.driver, Driver::SatelliteLine(_));
            squares[0].0.push(mean_square(ticks.clone().map(|k| {
                path.axle_m[k] - if satellite { 0.0 } else { path.axle_row_m[k] }
            })));
            for (kind, square) in kinds.iter().zip(&mut squares[1..]) {
                let shift = drive.shift(setup, *kind);
                square.0.push(mean_square(
                    ticks.clone().map(|k| shift.shift_m[k] - path.wanted_m(k)),
                ));
            }
        }
    }
    let mut misses = Vec::new();
    for (speed, squares) in speeds.iter().zip(&found) {
        let axle = axle_wander(setup, *speed).unwrap().variance_m2().sqrt();
        let tools = kinds.iter().map(|kind| {
            tool_error(setup, *kind, *speed)
                .unwrap()
                .variance_m2()
                .sqrt()
        });
        let names = std::iter::once("axle").chain(kinds.iter().map(|kind| kind.name()));
        for ((what, linear), square) in names.zip(std::iter::once(axle).chain(tools)).zip(squares) {
            let (sd, error) = square.sd_and_error();
            let line = format!(
                "{name} {what} {:.0} km/h: simulated {:.3} mm, standard error {:.2} %, linear {:.3} mm, ratio {:.4}",
                speed * 3.6,
                sd * 1e3,
                100.0 * error / sd,
                linear * 1e3,
                sd / linear
            );
            println!("{line}");
            if (sd / linear - 1.0).abs() > 3.0 * error / sd + 0.01 {
                misses.push(line);
            }
        }
    }
    assert!(misses.is_empty(), "{misses:#?}");
}

#[test]
fn val_agreement_of_every_controller() {
    agree("plausible", &wide_open(), &LINEAR, 100);
}

#[test]
fn val_agreement_with_a_front_mounted_frame() {
    let mut setup = wide_open();
    setup.tools.tool_line_m = -1.5;
    agree("front", &setup, &LINEAR, 24);
}

/// Rows that sway: a planter steered with little damping.
#[test]
fn val_agreement_on_rows_that_sway() {
    let mut setup = wide_open();
    setup.rows.wander = Damped {
        sd: 0.03,
        reach: 5.0,
        damping: 0.35,
    };
    agree("sway", &setup, &LINEAR[..3], 40);
}

#[test]
fn val_agreement_with_a_drawn_implement_and_a_fixed_camera() {
    let mut setup = wide_open();
    setup.hitch = Hitch::Drawn {
        hitch_m: 1.0,
        carrier_m: 3.0,
        implement_crab_rad: 0.0,
    };
    setup.tools.tool_line_m = 4.3;
    setup.camera.mount = Mount::Fixed;
    if let Some(sensor) = &mut setup.position_sensor {
        sensor.noise_sd_m = 0.004;
    }
    agree("drawn", &setup, &LINEAR, 24);
}

#[test]
fn val_agreement_on_a_satellite_line_with_a_low_pass() {
    let mut setup = wide_open();
    setup.driver = Driver::SatelliteLine(SatelliteLine {
        frequency_rad_s: 1.0,
        damping: 0.9,
        receiver: GaussMarkov {
            sd: 0.008,
            reach: 1.0,
        },
        drift: GaussMarkov {
            sd: 0.015,
            reach: 20.0,
        },
        // At the fastest speed, 12 km/h, a third of this.
        growth_s_m: 0.6,
    });
    setup.tracker = Tracker::LowPass {
        time_s: 0.08,
        gate_m: 10.0,
    };
    agree("satellite", &setup, &LINEAR, 24);
}

#[test]
fn val_agreement_with_feed_forward_and_kalman() {
    let mut setup = wide_open();
    if let Some(lag) = &mut setup.controllers.lag {
        lag.feed_forward = 1.0;
    }
    setup.tracker = Tracker::Kalman {
        measurement_sd_m: 0.006,
        rate_walk_m_s15: 0.05,
        gate_m: 10.0,
    };
    agree("kalman", &setup, &LINEAR[1..], 24);
}

#[test]
fn val_agreement_with_a_yaw_rate_kalman() {
    let mut setup = wide_open();
    setup.tracker = Tracker::KalmanYaw {
        measurement_sd_m: 0.006,
        offset_walk_m_s05: 0.01,
        heading_walk_rad_s05: 0.005,
        gate_m: 10.0,
    };
    agree("kalman yaw", &setup, &LINEAR[1..], 24);
}

#[test]
fn val_agreement_with_cold_oil_that_the_controller_does_not_know() {
    let mut setup = wide_open();
    setup.hydraulics.cold_dead_time_factor = 2.0;
    setup.hydraulics.cold_lag_factor = 1.5;
    setup.hydraulics.cold_flow_factor = 0.8;
    agree("cold", &setup, &LINEAR[1..], 24);
}
