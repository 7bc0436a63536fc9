//! What the sensors report along one drive: camera frames and yaw rate. It does not depend on the controller but for the
//! shift that a shifted camera sees, which the side-shift takes off.

use super::ground::Ground;
use super::path::Path;
use super::streams::{Draws, Reference, Source, Streams};
use crate::model::setup::Setup;

/// One camera frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Exposure, s from the first tick of the path.
    pub exposed_s: f64,
    /// Row as the fixed frame sees it, noise included, m; `None`: no row found.
    pub number_m: Option<f64>,
    /// Noise of the position reading at exposure, m.
    pub position_noise_exposed_m: f64,
    /// Noise of the position reading when the number arrives, m.
    pub position_noise_arrived_m: f64,
    /// Mean measured yaw rate since the frame before, rad/s.
    pub yaw_rad_s: f64,
}

/// All sensors along one drive.
#[derive(Clone, Debug)]
pub struct Frames {
    /// Frames in order of time.
    pub frames: Vec<Frame>,
    /// Integral of the measured yaw rate from the first tick on, at every tick, rad. Empty without such a sensor.
    pub turn_rad: Vec<f64>,
    /// Integral of `turn_rad`, at every tick, rad s.
    pub turn_integral_rad_s: Vec<f64>,
}

impl Frames {
    /// Draws what the sensors report.
    pub fn observe(setup: &Setup, ground: &Ground, path: &Path, seed: u64, pass: u64) -> Self {
        Self::observe_from(setup, ground, path, &Reference { seed, pass })
    }

    /// Draws what the sensors report from the streams of the pass.
    pub fn observe_from(
        setup: &Setup,
        ground: &Ground,
        path: &Path,
        streams: &impl Streams,
    ) -> Self {
        let (turn_rad, turn_integral_rad_s) = measure_turn(setup, path, streams);
        let camera = &setup.camera;
        let x_c_m = setup.camera_point_m();
        let end_s = (path.station_m.len() - 1) as f64 * path.step_s;
        let count = (end_s / camera.frame_s).floor() as usize + 1;

        let mut white = streams.of(Source::CameraWhite, 0);
        let mut outliers = streams.of(Source::Outliers, 0);
        let mut position = streams.of(Source::PositionSensor, 0);
        let position_sd_m = setup
            .position_sensor
            .map_or(0.0, |sensor| sensor.noise_sd_m);
        let mut roll = streams.of(Source::Roll, 0);
        let roll_step = camera.roll(path.speed_m_s).step(camera.frame_s);
        let mut roll_rad = roll_step.start(roll.normal());
        let mut blind = 0;
        let mut turn_before = 0.0;

        let frames = (0..count)
            .map(|k| {
                let exposed_s = k as f64 * camera.frame_s;
                if k > 0 {
                    roll_rad = roll_step.next(roll_rad, roll.normal());
                }
                // A gap or a nest of weeds lies in the field: the place looked at decides, not the time.
                let looked_m = path.at(&path.station_m, exposed_s) - x_c_m;
                while ground
                    .blind
                    .get(blind)
                    .is_some_and(|&(_, to)| to <= looked_m)
                {
                    blind += 1;
                }
                let found = ground
                    .blind
                    .get(blind)
                    .is_none_or(|&(from, _)| looked_m < from);
                // Drawn in every frame, used or not: another share of outliers then leaves all other draws as they are.
                let strays = outliers.uniform() < camera.outlier_share;
                let stray_m = camera.outlier_sd_m * outliers.normal();
                let number_m = ground.guided_row_m(looked_m)
                    - frame_at_camera_m(setup, path, exposed_s)
                    + camera.white_sd_m * white.normal()
                    + ground.appearance.at(looked_m)
                    + camera.roll_height_m * roll_rad
                    + camera.alignment_m
                    - camera.trim_m
                    + if strays { stray_m } else { 0.0 };
                let turn = if turn_rad.is_empty() {
                    0.0
                } else {
                    path.at(&turn_rad, exposed_s)
                };
                let yaw_rad_s = if k > 0 {
                    (turn - turn_before) / camera.frame_s
                } else {
                    0.0
                };
                turn_before = turn;
                Frame {
                    exposed_s,
                    number_m: found.then_some(number_m),
                    position_noise_exposed_m: position_sd_m * position.normal(),
                    position_noise_arrived_m: position_sd_m * position.normal(),
                    yaw_rad_s,
                }
            })
            .collect();
        Self {
            frames,
            turn_rad,
            turn_integral_rad_s,
        }
    }
}

/// The unshifted frame at the camera's looking point from the planned line, between ticks, m.
fn frame_at_camera_m(setup: &Setup, path: &Path, time_s: f64) -> f64 {
    let x = (time_s / path.step_s).clamp(0.0, (path.station_m.len() - 1) as f64);
    let tick = (x as usize).min(path.station_m.len() - 2);
    let x_c_m = setup.camera_point_m();
    let (a, b) = (
        path.frame_at_m(setup, tick, x_c_m),
        path.frame_at_m(setup, tick + 1, x_c_m),
    );
    a + (x - tick as f64) * (b - a)
}

/// Integrates the measured yaw rate twice over the ticks.
fn measure_turn(setup: &Setup, path: &Path, streams: &impl Streams) -> (Vec<f64>, Vec<f64>) {
    let Some(sensor) = setup.yaw_sensor else {
        return (Vec::new(), Vec::new());
    };
    let dt = path.step_s;
    let mut rng = streams.of(Source::YawSensor, 0);
    let step = sensor.noise.step(dt);
    let mut noise = step.start(rng.normal());
    let mut drift_rad = 0.0;
    let mut integral = 0.0;
    let start_rad = path.frame_turn_rad[0];
    let mut turns = Vec::with_capacity(path.frame_turn_rad.len());
    let mut integrals = Vec::with_capacity(path.frame_turn_rad.len());
    let mut before = 0.0;
    for (tick, &turn) in path.frame_turn_rad.iter().enumerate() {
        let now = turn - start_rad + drift_rad;
        if tick > 0 {
            integral += 0.5 * dt * (before + now);
        }
        turns.push(now);
        integrals.push(integral);
        before = now;
        let next = step.next(noise, rng.normal());
        // The sensor errs in its rate: the angle out of it walks away, which a noise on the angle would not.
        drift_rad += dt * (0.5 * (noise + next) + sensor.bias_rad_s);
        noise = next;
    }
    (turns, integrals)
}
