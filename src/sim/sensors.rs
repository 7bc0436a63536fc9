//! What the sensors report along the drives of passes side by side: camera frames and yaw rate. It does not depend on the controller but
//! for the shift that a shifted camera sees, which the side-shift takes off.

use super::deviates::Deviates;
use super::drive::{Drive, Own};
use super::ground::Ground;
use super::streams::Source;
use crate::model::setup::Setup;
use crate::model::vector::{Lanes, at, one_if};

/// One camera frame of every pass: frames keep step with the ticks, so they are exposed together.
#[derive(Clone, Copy, Debug)]
pub struct Frame<const N: usize> {
    /// Exposure, s from tick 0.
    pub exposed_s: f64,
    /// Row as the fixed frame sees it, noise included, m.
    pub number_m: Lanes<N>,
    /// 1 where the row was found, else 0.
    pub found: Lanes<N>,
    /// Noise of the position reading at exposure, m.
    pub position_noise_exposed_m: Lanes<N>,
    /// Noise of the position reading when the number arrives, m.
    pub position_noise_arrived_m: Lanes<N>,
    /// Mean measured yaw rate since the frame before, rad/s.
    pub yaw_rad_s: Lanes<N>,
}

/// All sensors along the drives.
#[derive(Clone, Debug, Default)]
pub struct Sensors<const N: usize> {
    /// Frames in order of time.
    pub frames: Vec<Frame<N>>,
    /// Integral of the measured yaw rate at every step of the drive, rad; empty without such a sensor.
    pub turn_rad: Vec<Lanes<N>>,
    /// Integral of `turn_rad` at every step, rad s.
    pub turn_integral_rad_s: Vec<Lanes<N>>,
}

impl<const N: usize> Sensors<N> {
    /// Those of one pass alone.
    pub fn lane(&self, lane: usize) -> Sensors<1> {
        let each = |series: &[Lanes<N>]| series.iter().map(|value| value.lane(lane)).collect();
        let frames = self.frames.iter().map(|frame| Frame {
            exposed_s: frame.exposed_s,
            number_m: frame.number_m.lane(lane),
            found: frame.found.lane(lane),
            position_noise_exposed_m: frame.position_noise_exposed_m.lane(lane),
            position_noise_arrived_m: frame.position_noise_arrived_m.lane(lane),
            yaw_rad_s: frame.yaw_rad_s.lane(lane),
        });
        Sensors {
            frames: frames.collect(),
            turn_rad: each(&self.turn_rad),
            turn_integral_rad_s: each(&self.turn_integral_rad_s),
        }
    }

    /// Draws what the sensors report.
    #[inline(always)]
    pub fn observe(
        setup: &Setup,
        ground: &Ground<N>,
        drive: &Drive<N>,
        seed: u64,
        own: &Own<N>,
    ) -> Self {
        let mut sensors = Self::default();
        sensors.observe_again(setup, ground, drive, seed, own);
        sensors
    }

    /// The same in the room that earlier ones took.
    #[inline(always)]
    pub fn observe_again(
        &mut self,
        setup: &Setup,
        ground: &Ground<N>,
        drive: &Drive<N>,
        seed: u64,
        own: &Own<N>,
    ) {
        self.measure_turn(setup, drive, seed, own);
        let turn_rad = &self.turn_rad;
        let camera = &setup.camera;
        let x_c_m = setup.camera_point_m();
        let count = (drive.end_s() / camera.frame_s).floor() as usize + 1;
        let stream = |source| Deviates::<N>::new(seed, own.passes, source, 0);
        let (mut white, mut outliers) = (stream(Source::CameraWhite), stream(Source::Outliers));
        let (mut position, mut roll) = (stream(Source::PositionSensor), stream(Source::Roll));
        let position_sd_m = setup
            .position_sensor
            .map_or(0.0, |sensor| sensor.noise_sd_m);
        let roll_noise = camera.roll(drive.speed_m_s);
        let roll_step = roll_noise.step(camera.frame_s);
        let mut roll_rad = Lanes::default();
        let mut blind = [0; N];
        let mut turn_before = Lanes::default();

        let frames = &mut self.frames;
        frames.clear();
        for k in 0..count {
            let exposed_s = k as f64 * camera.frame_s;
            let stand = drive.at(exposed_s);
            let looked_m = stand.station_m - x_c_m;
            let frame_m = stand.frame_m(setup, ground, x_c_m);
            let mut number_m = ground.guided_row_m(looked_m) - frame_m;
            if camera.white_sd_m > 0.0 {
                number_m += white.normal() * camera.white_sd_m;
            }
            number_m += ground.appearance.at(looked_m);
            if roll_noise.sd > 0.0 {
                let normal = roll.normal();
                roll_rad = if k == 0 {
                    roll_step.start(normal)
                } else {
                    roll_step.next(roll_rad, normal)
                };
                number_m += roll_rad * camera.roll_height_m;
            }
            number_m += own.alignment_m;
            if camera.outlier_share > 0.0 {
                // Both are drawn at every frame: the stream must not depend on what came of it before.
                let uniform = outliers.uniform();
                let stray_m = outliers.normal() * camera.outlier_sd_m;
                number_m += uniform.zip(stray_m, |u, stray_m| {
                    if u < camera.outlier_share {
                        stray_m
                    } else {
                        0.0
                    }
                });
            }
            // A gap or a nest of weeds lies in the field: the place looked at decides, not the time.
            let found = if camera.blind_share > 0.0 {
                sighted(&ground.blind, &mut blind, looked_m)
            } else {
                Lanes::all(1.0)
            };
            let mut yaw_rad_s = Lanes::default();
            if !turn_rad.is_empty() {
                let turn = at(turn_rad, exposed_s / setup.run.drive_step_s());
                if k > 0 {
                    yaw_rad_s = (turn - turn_before) / camera.frame_s;
                }
                turn_before = turn;
            }
            let (mut noise_exposed_m, mut noise_arrived_m) = (Lanes::default(), Lanes::default());
            if position_sd_m > 0.0 {
                noise_exposed_m = position.normal() * position_sd_m;
                noise_arrived_m = position.normal() * position_sd_m;
            }
            frames.push(Frame {
                exposed_s,
                number_m,
                found,
                position_noise_exposed_m: noise_exposed_m,
                position_noise_arrived_m: noise_arrived_m,
                yaw_rad_s,
            });
        }
    }

    /// Integrates the measured yaw rate twice over the steps of the drive.
    #[inline(always)]
    fn measure_turn(&mut self, setup: &Setup, drive: &Drive<N>, seed: u64, own: &Own<N>) {
        self.turn_rad.clear();
        self.turn_integral_rad_s.clear();
        let Some(sensor) = setup.yaw_sensor else {
            return;
        };
        let dt = setup.run.drive_step_s();
        let mut deviates = Deviates::new(seed, own.passes, Source::YawSensor, 0);
        let step = sensor.noise.step(dt);
        let mut noise = step.start(deviates.normal());
        let (mut drift_rad, mut integral, mut before) =
            (Lanes::default(), Lanes::default(), Lanes::default());
        let start_rad = drive.turn_rad[0];
        for (place, &turn) in drive.turn_rad.iter().enumerate() {
            // What the sensor adds is integrated with the turn, because the controller uses angles and their integral.
            let now = turn - start_rad + drift_rad;
            if place > 0 {
                integral += (before + now) * (0.5 * dt);
            }
            self.turn_rad.push(now);
            self.turn_integral_rad_s.push(integral);
            before = now;
            let next = step.next(noise, deviates.normal());
            // The sensor errs in its rate: the angle out of it walks away, which a noise on the angle would not.
            drift_rad += ((noise + next) * 0.5 + own.yaw_bias_rad_s) * dt;
            noise = next;
        }
    }
}

/// 1 where the camera looks at no blind stretch, else 0. `next` remembers the stretch ahead of every lane.
fn sighted<const N: usize>(
    blind: &[Vec<(f64, f64)>],
    next: &mut [usize; N],
    looked_m: Lanes<N>,
) -> Lanes<N> {
    Lanes::from_fn(|lane| {
        while blind[lane]
            .get(next[lane])
            .is_some_and(|&(_, to)| to <= looked_m.0[lane])
        {
            next[lane] += 1;
        }
        let sees = blind[lane]
            .get(next[lane])
            .is_none_or(|&(from, _)| looked_m.0[lane] < from);
        one_if(sees)
    })
}
