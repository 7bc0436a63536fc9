//! One machine on one field, every number fixed: what a pass simulates and the linear check analyses.

use super::camera::{Camera, Mount, PositionSensor, YawSensor};
use super::controller::{Controllers, LagCompensation, OnOff, Pid};
use super::damped::Damped;
use super::driver::{Driver, HandDriver};
use super::hitch::{Hitch, Tools};
use super::hydraulics::{DirectionalValve, Hydraulics, ProportionalValve};
use super::line::Line;
use super::noise::{GaussMarkov, POINTS_PER_REACH};
use super::rows::{Plants, Rows};
use super::tracker::Tracker;
use super::tractor::Tractor;

/// A pass over the field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// Length of the pass, m.
    pub length_m: f64,
    /// First stretch after lowering that is counted apart, m.
    pub entry_length_m: f64,
    /// Length of the rows that the pass stands for, m: one entry, and the rest at the rates of the pass's rest.
    pub row_length_m: f64,
    /// Jump of the rear axle's offset that the headland turn left, m, left positive.
    pub entry_offset_m: f64,
    /// Jump of the heading that the headland turn left, rad, left positive.
    pub entry_heading_rad: f64,
    /// Distance that the tractor drives along the row between the headland turn and the lowering of the tools, m.
    pub approach_m: f64,
    /// Whether camera and controller move the frame during the approach already. The frame then has the friction and the load of the
    /// soil, which it has not while it is up: it moves no faster than at work.
    pub follows_before_lowering: bool,
    /// Shift at which the frame was held while lifted, m (0: centred).
    pub entry_shift_m: f64,
    /// Delay from lowering, or from the beginning of the approach if the frame follows there, to the start of the controller, s.
    pub start_delay_s: f64,
    /// Tick of the side-shift, s.
    pub step_s: f64,
    /// Ticks to one step of the drive, at least 1: a tractor is slower than a valve, see [`drive_ticks`].
    pub drive_ticks: usize,
    /// Points per correlation length of the noises of the ground, see [`POINTS_PER_REACH`].
    pub ground_points: f64,
}

/// Longest step of the drive, s (our choice; what it changes is held against shorter steps, `tests/checks/steps.rs`).
const LONGEST_DRIVE_STEP_S: f64 = 0.020;

/// Most ticks to one step of the drive, so that a shorter tick makes both finer.
const MOST_DRIVE_TICKS: f64 = 4.0;

/// How many ticks of this length, s, a step of the drive takes.
pub fn drive_ticks(step_s: f64) -> usize {
    // A whole number of ticks that rounding leaves a hair short is still one.
    (LONGEST_DRIVE_STEP_S / step_s * (1.0 + 1e-9)).clamp(1.0, MOST_DRIVE_TICKS) as usize
}

impl Run {
    /// Step of the drive, s.
    pub fn drive_step_s(&self) -> f64 {
        self.drive_ticks as f64 * self.step_s
    }

    /// How many times a row holds the entry stretch of the pass and its rest: 1 and 1 where the pass is as long as the row.
    pub fn of_the_row(&self) -> [f64; 2] {
        let share = |of_m: f64, in_m: f64| if in_m > 0.0 { of_m / in_m } else { 0.0 };
        let entry_m = self.entry_length_m.min(self.row_length_m);
        [
            share(entry_m, self.entry_length_m),
            share(
                self.row_length_m - entry_m,
                self.length_m - self.entry_length_m,
            ),
        ]
    }
}

/// All parameters of one pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Number of the field, where its row units and tool edges have the same errors in all its passes; `None`: every pass has its own.
    pub field: Option<u64>,
    /// The pass.
    pub run: Run,
    /// Planned row line.
    pub line: Line,
    /// Rows as planted.
    pub rows: Rows,
    /// Plants.
    pub plants: Plants,
    /// Tractor.
    pub tractor: Tractor,
    /// Driver.
    pub driver: Driver,
    /// Hitch.
    pub hitch: Hitch,
    /// Tools.
    pub tools: Tools,
    /// Camera.
    pub camera: Camera,
    /// Row tracker.
    pub tracker: Tracker,
    /// Position sensor on the side-shift, if fitted.
    pub position_sensor: Option<PositionSensor>,
    /// Yaw-rate sensor, if fitted.
    pub yaw_sensor: Option<YawSensor>,
    /// Controllers.
    pub controllers: Controllers,
    /// Hydraulics.
    pub hydraulics: Hydraulics,
}

impl Run {
    /// Time at which the controller starts, s from the first tick, where the tools are lowered at `lowered_s`.
    pub fn controller_starts_s(&self, lowered_s: f64) -> f64 {
        let from_s = if self.follows_before_lowering {
            0.0
        } else {
            lowered_s
        };
        from_s + self.start_delay_s
    }
}

impl Setup {
    /// A plausible machine for tests and examples: every value is assumed.
    ///
    /// Four rows 0.45 m apart, rigid rear hitch, hand driver, camera on the shifted frame, no tracker, both valves, both
    /// sensors. Straight level line, no alignment or setting error, no dropouts, outliers, deadband, play or load; about
    /// 0.25 m/s of shift speed either way.
    pub fn plausible() -> Setup {
        let degree = core::f64::consts::PI / 180.0;
        Setup {
            field: None,
            run: Run {
                length_m: 200.0,
                entry_length_m: 10.0,
                row_length_m: 200.0,
                entry_offset_m: 0.0,
                entry_heading_rad: 0.0,
                approach_m: 0.0,
                follows_before_lowering: false,
                entry_shift_m: 0.0,
                start_delay_s: 0.5,
                step_s: 0.005,
                drive_ticks: drive_ticks(0.005),
                ground_points: POINTS_PER_REACH,
            },
            line: Line::straight(),
            rows: Rows {
                offset_m: vec![0.675, 0.225, -0.225, -0.675],
                planter_pass: vec![0; 4],
                guided: vec![0, 1, 2, 3],
                wander: Damped::smooth(0.030, 12.5),
                join_sd_m: 0.0,
                unit_sd_m: 0.0,
            },
            plants: Plants {
                spacing_m: 0.2,
                spacing_cv: 0.1,
                emergence: 0.97,
                scatter_sd_m: 0.010,
                stem_radius_m: 0.005,
                protected_radius_m: 0.015,
            },
            tractor: Tractor {
                wheelbase_m: 2.5,
                steer_lag_s: 0.2,
                steer_limit_rad: 35.0 * degree,
                steer_rate_rad_s: 25.0 * degree,
                crab_rad: 0.0,
            },
            driver: Driver::Hand(HandDriver {
                preview_min_m: 8.0,
                preview_time_s: 1.5,
                reaction_s: 0.25,
                seeing: GaussMarkov {
                    sd: 0.035,
                    reach: 12.0,
                },
                steering: GaussMarkov {
                    sd: 0.4 * degree,
                    reach: 0.5,
                },
                wander_factor: 1.0,
            }),
            hitch: Hitch::Rigid {
                sway: GaussMarkov {
                    sd: 0.0,
                    reach: 3.0,
                },
                free_play_m: 0.03,
            },
            tools: Tools {
                tool_line_m: 2.2,
                left_edge_behind_m: 0.0,
                right_edge_behind_m: 0.0,
                setting_sd_m: 0.0,
            },
            camera: Camera {
                lookahead_m: 0.8,
                mount: Mount::Shifted,
                frame_s: 0.04,
                latency_s: 0.08,
                white_sd_m: 0.0,
                // 12 mm for a row, 6 mm for the mean of four.
                appearance: GaussMarkov {
                    sd: 0.012,
                    reach: 1.0,
                },
                alignment_m: 0.0,
                trim_m: 0.0,
                roll_height_m: 1.2,
                roll_still_sd_rad: 0.0,
                roll_ground_sd_rad: 0.34 * degree,
                roll_reference_m_s: 2.0,
                roll_time_s: 0.15,
                blind_share: 0.0,
                blind_length_m: 1.0,
                outlier_share: 0.0,
                outlier_sd_m: 0.1,
            },
            tracker: Tracker::None,
            position_sensor: Some(PositionSensor { noise_sd_m: 0.0005 }),
            yaw_sensor: Some(YawSensor {
                noise: GaussMarkov {
                    sd: 0.1 * degree,
                    reach: 0.5,
                },
                bias_rad_s: 0.0,
            }),
            controllers: Controllers {
                on_off: Some(OnOff {
                    on_m: 0.020,
                    off_m: 0.008,
                }),
                pid: Some(Pid::simc(0.13, 0.13, 0.06)),
                lag: Some(LagCompensation {
                    gain_1_s: 5.0,
                    feed_forward: 0.0,
                    dead_time_s: 0.03,
                    spool_lag_s: 0.06,
                }),
            },
            hydraulics: Hydraulics {
                supply_pa: 180e5,
                return_pa: 5e5,
                pump_m3_s: 40.0 / 60_000.0,
                bore_m: 0.040,
                rod_m: 0.016,
                stroke_m: 0.4,
                extends_left: true,
                side_force_n: 0.0,
                friction_n: 0.0,
                backlash_m: 0.0,
                proportional: Some(ProportionalValve {
                    rated_flow_m3_s: 4.2 / 60_000.0,
                    rated_drop_pa: 5e5,
                    dead_time_s: 0.03,
                    spool_lag_s: 0.06,
                    deadband: 0.0,
                    deadband_compensation: 0.0,
                }),
                directional: Some(DirectionalValve {
                    rated_flow_m3_s: 2.4 / 60_000.0,
                    rated_drop_pa: 5e5,
                    open_s: 0.04,
                    close_s: 0.04,
                }),
                cold_dead_time_factor: 1.0,
                cold_lag_factor: 1.0,
                cold_flow_factor: 1.0,
            },
        }
    }

    /// Distance that the rear axle drives from lowering until the last edge has passed the last plant, m: what a logged pass
    /// must cover.
    pub fn driven_length_m(&self) -> f64 {
        let behind_m = self
            .tools
            .left_edge_behind_m
            .max(self.tools.right_edge_behind_m)
            .max(0.0);
        let half_width_m = self
            .rows
            .offset_m
            .iter()
            .fold(0.0, |widest: f64, y| widest.max(y.abs()));
        self.run.length_m + behind_m + 0.2 * half_width_m + 1.0
    }

    /// Distance of the camera's looking point behind the rear axle, m (ahead: negative).
    pub fn camera_point_m(&self) -> f64 {
        self.tools.tool_line_m - self.camera.lookahead_m
    }

    /// The point about which the frame's heading turns it, measured behind the rear axle, m: the tractor's axle (0) if
    /// rigid, the implement's own if drawn.
    pub fn reference_axle_m(&self) -> f64 {
        match self.hitch {
            Hitch::Rigid { .. } => 0.0,
            Hitch::Drawn {
                hitch_m, carrier_m, ..
            } => hitch_m + carrier_m,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::controller::Kind;
    use crate::model::hydraulics::Stroke;

    /// Rows of 400 m hold the entry of 10 m once and the remaining 190 m of a pass of 200 m 390/190 times; rows of 8 m hold 8 tenths of
    /// the entry and nothing else (own arithmetic).
    #[test]
    fn analytic_what_a_row_holds_of_a_pass() {
        let run = |row_length_m| Run {
            row_length_m,
            ..Setup::plausible().run
        };
        assert_eq!(run(200.0).of_the_row(), [1.0, 1.0]);
        assert_eq!(run(400.0).of_the_row(), [1.0, 390.0 / 190.0]);
        assert_eq!(run(8.0).of_the_row(), [0.8, 0.0]);
        let no_entry = Run {
            entry_length_m: 0.0,
            ..run(100.0)
        };
        assert_eq!(no_entry.of_the_row(), [0.0, 0.5]);
    }

    #[test]
    fn analytic_plausible_machine_runs_every_controller_at_a_quarter_metre_per_second() {
        let setup = Setup::plausible();
        assert!(
            Kind::ALL
                .into_iter()
                .all(|kind| kind.lacks(&setup).is_none())
        );
        let valve = setup.hydraulics.proportional.unwrap();
        for way in [Stroke::Extending, Stroke::Retracting] {
            let speed = valve.no_load_speed_m_s(&setup.hydraulics, way);
            assert!((speed - 0.25).abs() < 0.015, "{speed}");
            assert_eq!(valve.speed_ratio(&setup.hydraulics, way), 1.0);
        }
    }
}
