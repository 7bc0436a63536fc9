//! One machine on one field, every number fixed: what a pass simulates and the linear check analyses.

use super::camera::{Camera, PositionSensor, YawSensor};
use super::controller::{Controllers, Kind};
use super::driver::Driver;
use super::hitch::{Hitch, Tools};
use super::hydraulics::Hydraulics;
use super::line::Line;
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
    /// Jump of the rear axle's offset that the headland turn left, m, left positive.
    pub entry_offset_m: f64,
    /// Jump of the heading that the headland turn left, rad, left positive.
    pub entry_heading_rad: f64,
    /// Shift at which the frame was held while lifted, m (0: centred).
    pub entry_shift_m: f64,
    /// Delay from lowering to the start of the controller, s.
    pub start_delay_s: f64,
    /// Longest tick of the simulation, s.
    pub step_s: f64,
}

/// All parameters of one pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
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

impl Setup {
    /// Why this machine cannot run a controller: the part that is missing, in plain words. `None`: it can.
    pub fn lacks(&self, kind: Kind) -> Option<&'static str> {
        let valve = self.hydraulics.proportional.is_some();
        match kind {
            Kind::Locked => None,
            Kind::OnOff if self.hydraulics.directional.is_none() => {
                Some("the machine has no directional valve")
            }
            Kind::OnOff if self.controllers.on_off.is_none() => {
                Some("the scenario sets no switch points")
            }
            Kind::OnOff if self.needs_position_for_error() => {
                Some("a camera on the fixed frame needs a position sensor")
            }
            Kind::OnOff => None,
            _ if !valve => Some("the machine has no proportional valve"),
            Kind::Pid if self.controllers.pid.is_none() => Some("the scenario sets no PID gains"),
            Kind::Pid if self.needs_position_for_error() => {
                Some("a camera on the fixed frame needs a position sensor")
            }
            Kind::Pid => None,
            _ if self.controllers.lag.is_none() => Some("the scenario sets no lag compensation"),
            _ if self.position_sensor.is_none() => {
                Some("the machine has no position sensor on the side-shift")
            }
            Kind::LagCompensatedYaw if self.yaw_sensor.is_none() => {
                Some("the machine has no yaw-rate sensor")
            }
            _ => None,
        }
    }

    fn needs_position_for_error(&self) -> bool {
        self.camera.mount == super::camera::Mount::Fixed && self.position_sensor.is_none()
    }

    /// Distance of the camera's looking point behind the rear axle, m (ahead: negative).
    pub fn camera_point_m(&self) -> f64 {
        self.tools.tool_line_m - self.camera.lookahead_m
    }

    /// The point about which the frame's heading turns it, measured behind the rear axle, m: the tractor's axle (0) if
    /// rigid, the implement's own if drawn.
    pub fn reference_axle_m(&self) -> f64 {
        match self.hitch {
            super::hitch::Hitch::Rigid { .. } => 0.0,
            super::hitch::Hitch::Drawn {
                hitch_m, carrier_m, ..
            } => hitch_m + carrier_m,
        }
    }
}
