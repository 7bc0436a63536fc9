//! Checked values to the model's parameters: the nominal pass and every draw.

use super::keys::Id;
use super::layout::Layout;
use super::observed::Observed;
use super::values::Values;
use crate::model::camera::{Camera, Mount, PositionSensor, YawSensor};
use crate::model::controller::{Controllers, LagCompensation, OnOff, Pid};
use crate::model::damped::Damped;
use crate::model::driver::{Driver, HandDriver, LoggedPath, SatelliteLine};
use crate::model::hitch::{Hitch, Tools};
use crate::model::hydraulics::{DirectionalValve, Hydraulics, ProportionalValve};
use crate::model::line::{Bend, Line};
use crate::model::noise::{GaussMarkov, POINTS_PER_REACH};
use crate::model::rows::{Plants, Rows};
use crate::model::setup::{Run, Setup, drive_ticks};
use crate::model::tracker::Tracker;
use crate::model::tractor::Tractor;

/// What does not vary from pass to pass and is worked out once.
#[derive(Clone, Debug)]
pub struct Fixed {
    /// The planned row line.
    pub line: Line,
    /// Length of the chain of points that the line follows, m, if it follows one.
    pub chain_m: Option<f64>,
    /// The rows.
    pub layout: Layout,
    /// The logged pass, if one is driven again.
    pub log: Option<LoggedPath>,
    /// How the observed wander is met, if one was observed.
    pub observed: Option<Observed>,
}

/// An arc reaches this far before and behind the pass, m: beyond any warm-up.
const ARC_BEYOND_M: f64 = 10_000.0;

/// The numbers of one pass: each key's own, or a draw of it.
pub struct Numbers<'a> {
    values: &'a Values,
    drawn: Vec<(Id, f64)>,
}

impl<'a> Numbers<'a> {
    /// Every distribution at its mean.
    pub fn nominal(values: &'a Values) -> Self {
        Self {
            values,
            drawn: Vec::new(),
        }
    }

    /// These keys take these numbers, all others their own.
    pub fn drawn(values: &'a Values, drawn: Vec<(Id, f64)>) -> Self {
        Self { values, drawn }
    }

    fn try_get(&self, id: Id) -> Option<f64> {
        match self.drawn.iter().find(|(drawn, _)| *drawn == id) {
            Some((_, number)) => Some(*number),
            None => self.values.number(id),
        }
    }

    /// Factor on the driver's noises that meets the observed wander; 1 without.
    pub fn wander_factor(&self, fixed: &Fixed) -> f64 {
        (fixed.observed).map_or(1.0, |observed| observed.factor(self.get(observed.id)))
    }

    /// The number of a key that the checks have found to be there.
    fn get(&self, id: Id) -> f64 {
        self.try_get(id).unwrap_or(f64::NAN)
    }
}

/// The bends of the planned line; those of a polyline are worked out from its file.
pub fn bends(values: &Values, polyline: Option<&crate::fieldlog::Polyline>) -> Vec<Bend> {
    let numbers = Numbers::nominal(values);
    let sign = |side: Option<&str>| if side == Some("right") { -1.0 } else { 1.0 };
    let ramp = |start_m, length_m, curvature_start_1_m, curvature_end_1_m| Bend {
        start_m,
        length_m,
        curvature_start_1_m,
        curvature_end_1_m,
    };
    if values.has_table("line.arc") {
        let k = sign(values.text(Id::ArcSide)) / numbers.get(Id::ArcRadius);
        let length_m = numbers.get(Id::PassLength) + 2.0 * ARC_BEYOND_M;
        vec![ramp(-ARC_BEYOND_M, length_m, k, k)]
    } else if values.has_table("line.s_bend") {
        let k = sign(values.text(Id::SBendSide)) / numbers.get(Id::SBendRadius);
        let start_m = numbers.get(Id::SBendStart);
        let quarter_m = numbers.get(Id::SBendLength) / 4.0;
        [(0.0, k), (k, 0.0), (0.0, -k), (-k, 0.0)]
            .iter()
            .enumerate()
            .map(|(i, (from, to))| ramp(start_m + i as f64 * quarter_m, quarter_m, *from, *to))
            .collect()
    } else if let (Some(chain), Some(rounding_m)) = (polyline, values.number(Id::PolylineRounding))
    {
        chain.bends(rounding_m)
    } else {
        Vec::new()
    }
}

/// The model's parameters for these numbers.
pub fn setup(values: &Values, fixed: &Fixed, n: &Numbers<'_>) -> Setup {
    let noise = |sd: Id, reach: Id| GaussMarkov {
        sd: n.get(sd),
        reach: n.get(reach),
    };
    let slope_rad = n.get(Id::SideSlope);
    let (hitch, tool_line_m) = hitch(values, n, slope_rad);
    Setup {
        field: None,
        run: Run {
            length_m: n.get(Id::PassLength),
            entry_length_m: n.get(Id::EntryLength),
            row_length_m: n
                .try_get(Id::RowLength)
                .unwrap_or_else(|| n.get(Id::PassLength)),
            entry_offset_m: n.get(Id::EntryOffset),
            entry_heading_rad: n.get(Id::EntryHeading),
            entry_shift_m: n.try_get(Id::HeldShift).unwrap_or(0.0) * n.get(Id::StrokeTotal) / 2.0,
            approach_m: n.get(Id::Approach),
            follows_before_lowering: values.text(Id::WhileLifted) == Some("following"),
            start_delay_s: n.get(Id::StartDelay),
            step_s: n.get(Id::Step),
            drive_ticks: drive_ticks(n.get(Id::Step)),
            ground_points: POINTS_PER_REACH,
        },
        line: fixed.line.clone(),
        rows: Rows {
            offset_m: fixed.layout.offset_m.clone(),
            planter_pass: fixed.layout.planter_pass.clone(),
            guided: fixed.layout.guided.clone(),
            wander: Damped {
                sd: n.get(Id::Wander),
                reach: n.get(Id::WanderLength),
                damping: n.get(Id::WanderDamping),
            },
            join_sd_m: n.get(Id::JoinErrorSd),
            unit_sd_m: n.get(Id::UnitErrorSd),
        },
        plants: Plants {
            spacing_m: n.get(Id::PlantSpacing),
            spacing_cv: n.get(Id::SpacingCv),
            emergence: n.get(Id::Emergence),
            scatter_sd_m: n.get(Id::ScatterSd),
            stem_radius_m: n.get(Id::StemRadius),
            protected_radius_m: n.get(Id::StemRadius) + n.get(Id::RootMargin),
        },
        tractor: Tractor {
            wheelbase_m: n.get(Id::Wheelbase),
            steer_lag_s: n.get(Id::SteerLag),
            steer_limit_rad: n.get(Id::SteerLimit),
            steer_rate_rad_s: n.get(Id::SteerRate),
            crab_rad: downhill(n.get(Id::CrabPerSlope), slope_rad),
        },
        driver: driver(values, fixed, n),
        hitch,
        tools: Tools {
            tool_line_m,
            left_edge_behind_m: n.get(Id::LeftEdge),
            right_edge_behind_m: n.get(Id::RightEdge),
            setting_sd_m: n.get(Id::SettingSd),
        },
        camera: Camera {
            lookahead_m: n.get(Id::Lookahead),
            mount: if values.text(Id::CameraMount) == Some("fixed") {
                Mount::Fixed
            } else {
                Mount::Shifted
            },
            frame_s: n.get(Id::Frames),
            latency_s: n.get(Id::Latency),
            white_sd_m: n.get(Id::NoiseSd),
            appearance: noise(Id::AppearanceSd, Id::AppearanceLength),
            alignment_m: n.get(Id::Alignment),
            trim_m: n.get(Id::Trim),
            roll_height_m: n.get(Id::RollHeight),
            roll_still_sd_rad: n.get(Id::RollStill),
            roll_ground_sd_rad: n.get(Id::RollGround),
            roll_reference_m_s: n.get(Id::RollReference),
            roll_time_s: n.get(Id::RollTime),
            // Seen only where none of the causes blinds it; each of them strikes on its own.
            blind_share: 1.0
                - [Id::BlindGaps, Id::BlindWeeds, Id::BlindDusk, Id::BlindDust]
                    .iter()
                    .map(|id| 1.0 - n.get(*id))
                    .product::<f64>(),
            blind_length_m: n.get(Id::BlindLength),
            outlier_share: n.get(Id::OutlierShare),
            outlier_sd_m: n.get(Id::OutlierSd),
        },
        tracker: tracker(values, n),
        position_sensor: values
            .has_table("sensors.position")
            .then(|| PositionSensor {
                noise_sd_m: n.get(Id::PositionSd),
            }),
        yaw_sensor: values.has_table("sensors.yaw_rate").then(|| YawSensor {
            noise: noise(Id::YawSd, Id::YawTime),
            bias_rad_s: n.get(Id::YawBias),
        }),
        controllers: controllers(values),
        hydraulics: hydraulics(values, n, slope_rad),
    }
}

/// Slip angle of wheels on a side slope, rad: downhill, to the right where the left side is higher.
fn downhill(per_slope: f64, slope_rad: f64) -> f64 {
    if slope_rad == 0.0 {
        0.0
    } else {
        -per_slope * slope_rad
    }
}

fn driver(values: &Values, fixed: &Fixed, n: &Numbers<'_>) -> Driver {
    let wander_factor = n.wander_factor(fixed);
    let scaled = |sd: Id, reach: Id| GaussMarkov {
        sd: wander_factor * n.get(sd),
        reach: n.get(reach),
    };
    if let (true, Some(log)) = (values.has_table("driver.replay"), &fixed.log) {
        Driver::Replay(log.clone())
    } else if values.has_table("driver.satellite_line") {
        Driver::SatelliteLine(SatelliteLine {
            frequency_rad_s: n.get(Id::LineFrequency),
            damping: n.get(Id::LineDamping),
            receiver: scaled(Id::ReceiverSd, Id::ReceiverTime),
            drift: scaled(Id::DriftSd, Id::DriftTime),
            growth_s_m: n.get(Id::LineGrowth),
        })
    } else {
        Driver::Hand(HandDriver {
            preview_min_m: n.get(Id::PreviewMin),
            preview_time_s: n.get(Id::PreviewTime),
            reaction_s: n.get(Id::Reaction),
            seeing: GaussMarkov {
                sd: n.get(Id::SeeingSd),
                reach: n.get(Id::SeeingLength),
            },
            steering: GaussMarkov {
                sd: n.get(Id::SteeringSd),
                reach: n.get(Id::SteeringTime),
            },
            wander_factor,
        })
    }
}

fn hitch(values: &Values, n: &Numbers<'_>, slope_rad: f64) -> (Hitch, f64) {
    if values.has_table("hitch.drawn") {
        let hitch_m = n.get(Id::DrawnHitch);
        let drawn = Hitch::Drawn {
            hitch_m,
            carrier_m: n.get(Id::DrawnCarrier),
            implement_crab_rad: downhill(n.get(Id::DrawnCrab), slope_rad),
        };
        // Tools of a drawn implement are measured from the hitch point, those of a mounted one from the axle.
        return (drawn, hitch_m + n.get(Id::DrawnTools));
    }
    let (sway, reach, play, tool_line_m) = if values.has_table("hitch.front") {
        (
            Id::FrontSway,
            Id::FrontSwayLength,
            Id::FrontPlay,
            -n.get(Id::FrontTools),
        )
    } else {
        (
            Id::RearSway,
            Id::RearSwayLength,
            Id::RearPlay,
            n.get(Id::RearTools),
        )
    };
    let rigid = Hitch::Rigid {
        sway: GaussMarkov {
            sd: n.get(sway),
            reach: n.get(reach),
        },
        free_play_m: n.get(play),
    };
    (rigid, tool_line_m)
}

fn tracker(values: &Values, n: &Numbers<'_>) -> Tracker {
    if values.has_table("tracker.low_pass") {
        Tracker::LowPass {
            time_s: n.get(Id::LowPassTime),
            gate_m: n.get(Id::LowPassGate),
        }
    } else if values.has_table("tracker.kalman") {
        Tracker::Kalman {
            measurement_sd_m: n.get(Id::KalmanSd),
            rate_walk_m_s15: n.get(Id::KalmanRate),
            gate_m: n.get(Id::KalmanGate),
        }
    } else if values.has_table("tracker.kalman_yaw") {
        Tracker::KalmanYaw {
            measurement_sd_m: n.get(Id::KalmanYawSd),
            offset_walk_m_s05: n.get(Id::KalmanYawOffset),
            heading_walk_rad_s05: n.get(Id::KalmanYawHeading),
            gate_m: n.get(Id::KalmanYawGate),
        }
    } else {
        Tracker::None
    }
}

/// The controllers' settings: the same in every pass, tuned to the nominal machine with warm oil.
fn controllers(values: &Values) -> Controllers {
    let n = Numbers::nominal(values);
    let fitted = values.has_table("valve.proportional");
    let on_off = values.has_table("controller.on_off").then(|| OnOff {
        on_m: n.get(Id::OnOffStart),
        off_m: n.get(Id::OnOffStop),
    });
    let by_rule = n.try_get(Id::SimcTime).filter(|_| fitted).map(|time_s| {
        let frame_s = n.get(Id::Frames);
        // What the rule calls dead time: camera, tracker, valve, and half a frame for the command that holds.
        let seen_s = n.get(Id::Latency) + tracker(values, &n).delay_s(frame_s);
        let dead_s = seen_s + n.get(Id::PropDead) + frame_s / 2.0;
        Pid::simc(time_s, dead_s, n.get(Id::PropLag))
    });
    let pid = by_rule.or_else(|| {
        n.try_get(Id::PidGain).map(|gain_1_s| {
            let derivative_s = n.try_get(Id::PidDerivative).unwrap_or(0.0);
            Pid {
                gain_1_s,
                integral_s: n.try_get(Id::PidIntegral).unwrap_or(f64::INFINITY),
                derivative_s,
                derivative_filter_s: n.try_get(Id::PidFilter).unwrap_or(derivative_s / 10.0),
            }
        })
    });
    let lag = (fitted && values.has_table("controller.lag")).then(|| LagCompensation {
        gain_1_s: n.get(Id::LagGain),
        feed_forward: n.get(Id::FeedForward),
        dead_time_s: n.get(Id::PropDead),
        spool_lag_s: n.get(Id::PropLag),
    });
    Controllers { on_off, pid, lag }
}

fn hydraulics(values: &Values, n: &Numbers<'_>, slope_rad: f64) -> Hydraulics {
    Hydraulics {
        supply_pa: n.get(Id::Supply),
        return_pa: n.get(Id::Return),
        pump_m3_s: n.get(Id::Pump),
        bore_m: n.get(Id::Bore),
        rod_m: n.get(Id::Rod),
        stroke_m: n.get(Id::StrokeTotal),
        extends_left: values.text(Id::Extension) != Some("right"),
        // Where the left side is higher, weight pulls to the right.
        side_force_n: n.get(Id::SideForce) - n.get(Id::FrameWeight) * libm::sin(slope_rad),
        friction_n: n.get(Id::Friction),
        backlash_m: n.get(Id::Backlash),
        proportional: values
            .has_table("valve.proportional")
            .then(|| ProportionalValve {
                rated_flow_m3_s: n.get(Id::PropFlow),
                rated_drop_pa: n.get(Id::PropDrop),
                dead_time_s: n.get(Id::PropDead),
                spool_lag_s: n.get(Id::PropLag),
                deadband: n.get(Id::Deadband),
                deadband_compensation: n.get(Id::DeadbandJump),
            }),
        directional: values
            .has_table("valve.directional")
            .then(|| DirectionalValve {
                rated_flow_m3_s: n.get(Id::DirFlow),
                rated_drop_pa: n.get(Id::DirDrop),
                open_s: n.get(Id::DirOpen),
                close_s: n.get(Id::DirClose),
            }),
        cold_dead_time_factor: n.get(Id::ColdDead),
        cold_lag_factor: n.get(Id::ColdLag),
        cold_flow_factor: n.get(Id::ColdFlow),
    }
}
