//! Machines that between them use every part of the model. Invented.

use rowroom::model::camera::Mount;
use rowroom::model::driver::{Driver, LoggedPath, SatelliteLine};
use rowroom::model::hitch::Hitch;
use rowroom::model::line::{Bend, Line};
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use rowroom::model::tracker::Tracker;

/// Each with its name.
pub fn machines() -> Vec<(&'static str, Setup)> {
    let mut all = Vec::new();
    let mut setup = Setup::plausible();
    setup.run.length_m = 80.0;
    let short = setup.clone();
    all.push(("plausible", setup));

    let mut setup = short.clone();
    let sway = GaussMarkov {
        sd: 0.004,
        reach: 4.0,
    };
    setup.hitch = Hitch::Rigid {
        sway,
        free_play_m: 0.006,
    };
    setup.camera.white_sd_m = 0.003;
    setup.camera.blind_share = 0.05;
    setup.camera.blind_length_m = 1.5;
    setup.camera.outlier_share = 0.02;
    setup.camera.outlier_sd_m = 0.1;
    setup.tracker = Tracker::LowPass {
        time_s: 0.08,
        gate_m: 0.05,
    };
    let hydraulics = &mut setup.hydraulics;
    hydraulics.backlash_m = 0.002;
    hydraulics.side_force_n = 600.0;
    hydraulics.friction_n = 300.0;
    hydraulics.cold_dead_time_factor = 1.4;
    hydraulics.cold_lag_factor = 1.3;
    let valve = hydraulics.proportional.as_mut().unwrap();
    valve.deadband = 0.1;
    valve.deadband_compensation = 0.8;
    hydraulics.directional.as_mut().unwrap().close_s = 0.06;
    setup.run.entry_offset_m = 0.05;
    setup.run.entry_heading_rad = 0.01;
    setup.run.entry_shift_m = -0.03;
    setup.rows.planter_pass = (0..setup.rows.offset_m.len()).map(|row| row / 2).collect();
    setup.rows.guided = vec![0, 1];
    setup.rows.join_sd_m = 0.02;
    setup.rows.unit_sd_m = 0.004;
    setup.tools.left_edge_behind_m = 0.15;
    setup.tools.right_edge_behind_m = -0.1;
    setup.tools.setting_sd_m = 0.002;
    all.push(("everything that can go wrong", setup));

    let mut setup = short.clone();
    setup.tools.tool_line_m = 4.2;
    setup.hitch = Hitch::Drawn {
        hitch_m: 1.0,
        carrier_m: 3.0,
        implement_crab_rad: -0.01,
    };
    setup.tractor.crab_rad = -0.015;
    setup.camera.mount = match setup.camera.mount {
        Mount::Fixed => Mount::Shifted,
        Mount::Shifted => Mount::Fixed,
    };
    setup.tracker = Tracker::KalmanYaw {
        measurement_sd_m: 0.006,
        offset_walk_m_s05: 0.005,
        heading_walk_rad_s05: 0.01,
        gate_m: 0.1,
    };
    setup.line = Line::new(&[
        Bend {
            start_m: 15.0,
            length_m: 25.0,
            curvature_start_1_m: 0.0,
            curvature_end_1_m: 0.02,
        },
        Bend {
            start_m: 40.0,
            length_m: 20.0,
            curvature_start_1_m: 0.02,
            curvature_end_1_m: -0.01,
        },
    ]);
    all.push(("drawn on a slope and a bend", setup));

    let mut setup = short.clone();
    setup.tools.tool_line_m = -3.5;
    setup.driver = Driver::SatelliteLine(SatelliteLine {
        frequency_rad_s: 1.0,
        damping: 0.8,
        receiver: GaussMarkov {
            sd: 0.015,
            reach: 1.0,
        },
        drift: GaussMarkov {
            sd: 0.01,
            reach: 60.0,
        },
        growth_s_m: 0.5,
    });
    setup.tracker = Tracker::Kalman {
        measurement_sd_m: 0.006,
        rate_walk_m_s15: 0.1,
        gate_m: 0.1,
    };
    setup.controllers.lag.as_mut().unwrap().feed_forward = 1.0;
    setup.camera.frame_s = 0.033;
    all.push(("front mounted on a satellite line", setup));

    let mut setup = short.clone();
    setup.run.entry_offset_m = 0.06;
    setup.run.entry_heading_rad = -0.012;
    setup.run.entry_shift_m = 0.02;
    setup.run.approach_m = 6.0;
    setup.run.follows_before_lowering = true;
    all.push(("set before lowering", setup));

    let mut setup = short;
    let station_m: Vec<f64> = (0..200).map(f64::from).collect();
    let offset_m = station_m
        .iter()
        .map(|s| 0.05 * libm::sin(s / 6.0))
        .collect();
    setup.driver = Driver::Replay(LoggedPath::new(station_m, offset_m));
    all.push(("replay", setup));
    all
}
