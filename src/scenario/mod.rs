//! Scenario files: text to checked values to one draw of the model's parameters.

mod error;

pub use error::{Problem, ScenarioError};

use std::io;
use std::path::Path;

use crate::model::camera::{Camera, Mount, PositionSensor, YawSensor};
use crate::model::controller::{Controllers, Kind, LagCompensation, OnOff, Pid};
use crate::model::driver::{Driver, HandDriver};
use crate::model::hitch::{Hitch, Tools};
use crate::model::hydraulics::{DirectionalValve, Hydraulics, ProportionalValve};
use crate::model::line::Line;
use crate::model::noise::{GaussMarkov, Smooth};
use crate::model::rows::{Plants, Rows};
use crate::model::setup::{Run, Setup};
use crate::model::tracker::Tracker;
use crate::model::tractor::Tractor;
use crate::results::Assumption;

/// Units that a scenario shows its numbers in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Units {
    /// Millimetres and kilometres per hour.
    Metric,
    /// Inches and miles per hour.
    Us,
}

impl Units {
    /// Its name in scenario files and results.
    pub fn name(self) -> &'static str {
        match self {
            Units::Metric => "metric",
            Units::Us => "us",
        }
    }
}

/// What a study simulates.
#[derive(Clone, Debug, PartialEq)]
pub struct Study {
    /// Speeds, m/s, rising.
    pub speeds_m_s: Vec<f64>,
    /// Clearances, m, rising.
    pub clearances_m: Vec<f64>,
    /// Number of passes.
    pub passes: u64,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Strike rate that the grower allows.
    pub allowed_rate: f64,
    /// Speed the scenario works at, m/s, one of `speeds_m_s`.
    pub working_speed_m_s: f64,
    /// Clearance the scenario works with, m, one of `clearances_m`.
    pub working_clearance_m: f64,
    /// Controllers to study, in output order.
    pub controllers: Vec<Kind>,
}

/// A checked scenario.
#[derive(Clone, Debug)]
pub struct Scenario {
    study: Study,
    setup: Setup,
}

impl Scenario {
    /// Reads a scenario file and the files it names.
    pub fn read(_path: &Path, _replay: Option<&Path>) -> Result<Scenario, ScenarioError> {
        Scenario::demo()
    }

    /// The scenario that ships inside the program.
    pub fn demo() -> Result<Scenario, ScenarioError> {
        Ok(Scenario {
            study: Study {
                speeds_m_s: [4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 15.0, 16.0]
                    .map(|v| v * 5.0 / 18.0)
                    .to_vec(),
                clearances_m: [20.0, 25.0, 30.0, 38.0, 45.0, 50.0, 60.0, 70.0, 80.0, 90.0]
                    .map(|c| c / 1000.0)
                    .to_vec(),
                passes: 100,
                seed: 1,
                allowed_rate: 0.005,
                working_speed_m_s: 8.0 * 5.0 / 18.0,
                working_clearance_m: 0.045,
                controllers: Kind::ALL.to_vec(),
            },
            setup: first_numbers(),
        })
    }

    /// Checks the text of a scenario; `files` reads a file that it names.
    pub fn parse(
        _text: &str,
        _file: &str,
        _files: &dyn Fn(&str) -> io::Result<String>,
        _replay: Option<(&str, &str)>,
    ) -> Result<Scenario, ScenarioError> {
        Scenario::demo()
    }

    /// Name.
    pub fn name(&self) -> &str {
        "Leeks"
    }

    /// Description.
    pub fn description(&self) -> &str {
        ""
    }

    /// File name without folders.
    pub fn file(&self) -> &str {
        "leeks.toml"
    }

    /// SHA-256 of the text with line ends folded to LF, followed by the files it reads, in hex.
    pub fn sha256(&self) -> &str {
        ""
    }

    /// Units to show numbers in.
    pub fn units(&self) -> Units {
        Units::Metric
    }

    /// What to simulate.
    pub fn study(&self) -> &Study {
        &self.study
    }

    /// The machine and field with every distribution at its mean.
    pub fn nominal(&self) -> Setup {
        self.setup.clone()
    }

    /// One draw of all distributions; it depends on (seed, pass) alone.
    pub fn draw(&self, _seed: u64, _pass: u64) -> Setup {
        self.setup.clone()
    }

    /// True if a distributed key changes the variance of the linear check.
    pub fn linear_varies(&self) -> bool {
        false
    }

    /// Every value with its origin.
    pub fn assumptions(&self) -> Vec<Assumption> {
        Vec::new()
    }

    /// Plain warnings.
    pub fn warnings(&self) -> Vec<String> {
        Vec::new()
    }
}

/// JSON Schema of scenario files, for editors.
pub fn schema() -> serde_json::Value {
    serde_json::Value::Null
}

/// A commented scenario file to start from.
pub fn starter() -> String {
    String::new()
}

fn first_numbers() -> Setup {
    let degree = core::f64::consts::PI / 180.0;
    let noise = |sd, reach| GaussMarkov { sd, reach };
    Setup {
        run: Run {
            length_m: 200.0,
            entry_length_m: 15.0,
            entry_offset_m: 0.05,
            entry_heading_rad: 0.0,
            entry_shift_m: 0.0,
            start_delay_s: 0.3,
            step_s: 0.005,
        },
        line: Line::straight(),
        rows: Rows {
            offset_m: vec![0.5625, 0.1875, -0.1875, -0.5625],
            planter_pass: vec![0; 4],
            guided: vec![0, 1, 2, 3],
            wander: Smooth {
                sd: 0.03,
                reach: 12.5,
            },
            join_sd_m: 0.0,
            unit_sd_m: 0.0,
        },
        plants: Plants {
            spacing_m: 0.2,
            spacing_cv: 0.1,
            emergence: 0.95,
            scatter_sd_m: 0.01,
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
            preview_time_s: 0.0,
            reaction_s: 0.25,
            seeing: noise(0.035, 12.0),
            steering: noise(0.4 * degree, 0.5),
            wander_factor: 1.0,
        }),
        hitch: Hitch::Rigid {
            sway: noise(0.005, 5.0),
            free_play_m: 0.02,
        },
        tools: Tools {
            tool_line_m: 2.2,
            left_edge_behind_m: 0.0,
            right_edge_behind_m: 0.0,
            setting_sd_m: 0.003,
        },
        camera: Camera {
            lookahead_m: 0.8,
            mount: Mount::Shifted,
            frame_s: 0.04,
            latency_s: 0.08,
            white_sd_m: 0.002,
            appearance: noise(0.012, 1.0),
            alignment_m: 0.0,
            trim_m: 0.0,
            roll_height_m: 1.2,
            roll_still_sd_rad: 0.0,
            roll_ground_sd_rad: 0.34 * degree,
            roll_reference_m_s: 2.0,
            roll_time_s: 0.15,
            blind_share: 0.01,
            blind_length_m: 1.0,
            outlier_share: 0.002,
            outlier_sd_m: 0.05,
        },
        tracker: Tracker::None,
        position_sensor: Some(PositionSensor { noise_sd_m: 0.001 }),
        yaw_sensor: Some(YawSensor {
            noise: noise(0.1 * degree, 0.1),
            bias_rad_s: 0.0,
        }),
        controllers: Controllers {
            on_off: Some(OnOff {
                on_m: 0.02,
                off_m: 0.008,
            }),
            pid: Some(Pid {
                gain_1_s: 3.0,
                integral_s: 1.2,
                derivative_s: 0.06,
                derivative_filter_s: 0.02,
            }),
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
            pump_m3_s: 40.0 / 60000.0,
            bore_m: 0.05,
            rod_m: 0.025,
            stroke_m: 0.4,
            extends_left: true,
            side_force_n: 0.0,
            friction_n: 1000.0,
            backlash_m: 0.001,
            proportional: Some(ProportionalValve {
                rated_flow_m3_s: 9.0 / 60000.0,
                rated_drop_pa: 5e5,
                dead_time_s: 0.03,
                spool_lag_s: 0.06,
                deadband: 0.1,
                deadband_compensation: 0.9,
            }),
            directional: Some(DirectionalValve {
                rated_flow_m3_s: 6.0 / 60000.0,
                rated_drop_pa: 5e5,
                open_s: 0.04,
                close_s: 0.03,
            }),
            cold_dead_time_factor: 1.0,
            cold_lag_factor: 1.0,
            cold_flow_factor: 1.0,
        },
    }
}
