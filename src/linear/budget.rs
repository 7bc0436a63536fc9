//! What stable loops do: the answer of the shift, and the tool error by source.

use super::Complex;
use super::margins::check_stable;
use super::spectrum::{gauss_markov, sampled_gauss_markov, variances};
use super::vehicle::{DriverNoises, axle_response, band, frame_heading, frame_position};
use crate::model::controller::Kind;
use crate::model::controller::linear::{Linear, ShiftResponse};
use crate::model::driver::Driver;
use crate::model::hitch::Hitch;
use crate::model::sampled::Frequency;
use crate::model::setup::Setup;
use crate::model::tracker::transfer::transfer;

/// What moves the tools off the row.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// The row as the planter left it.
    RowWander,
    /// The driver's sight of the row.
    DriverSeeing,
    /// The driver's hand on the wheel.
    Steering,
    /// Noise of the satellite receiver.
    Receiver,
    /// Drift of the satellite receiver.
    ReceiverDrift,
    /// Sway of the implement on its linkage.
    Sway,
    /// White noise of the camera.
    CameraWhite,
    /// Uneven look of the rows.
    RowAppearance,
    /// Roll of the camera.
    CameraRoll,
    /// Noise of the yaw-rate sensor.
    YawSensor,
    /// Noise of the position sensor.
    PositionSensor,
}

impl Source {
    /// All sources, in the order of every budget.
    pub const ALL: [Source; 11] = [
        Source::RowWander,
        Source::DriverSeeing,
        Source::Steering,
        Source::Receiver,
        Source::ReceiverDrift,
        Source::Sway,
        Source::CameraWhite,
        Source::RowAppearance,
        Source::CameraRoll,
        Source::YawSensor,
        Source::PositionSensor,
    ];
}

/// Variance of the tool error by source, and its mean.
#[derive(Clone, Debug, PartialEq)]
pub struct ErrorBudget {
    /// Every source with its variance, m², in the order of [`Source::ALL`]; 0 where the machine does not know it.
    pub shares: Vec<(Source, f64)>,
    /// Constant error, m, left positive: alignment less trim, slope, one arc, bias of the yaw-rate sensor.
    pub mean_error_m: f64,
}

impl ErrorBudget {
    /// Sum of the shares, m².
    pub fn variance_m2(&self) -> f64 {
        self.shares.iter().map(|(_, variance)| variance).sum()
    }

    /// Variance of one source, m².
    pub fn share_m2(&self, source: Source) -> f64 {
        self.shares
            .iter()
            .filter(|(other, _)| *other == source)
            .map(|(_, variance)| variance)
            .sum()
    }
}

/// Response of the shift at an angular frequency above 0, rad/s. `None` for on-off, for a controller that the setup lacks, and
/// for a loop that is not stable.
pub fn shift_response(
    setup: &Setup,
    kind: Kind,
    speed_m_s: f64,
    w_rad_s: f64,
) -> Option<ShiftResponse> {
    check_stable(setup, kind, speed_m_s).ok()?;
    let control = kind.linear(setup, speed_m_s)?;
    Some(control.response(&Frequency::new(w_rad_s, setup.camera.frame_s)))
}

/// Tool error of a controller at a speed (m/s, above 0). `None` where there is no linear form (on-off, replayed path), where the
/// setup lacks the controller, and where a loop is not stable.
pub fn tool_error(setup: &Setup, kind: Kind, speed_m_s: f64) -> Option<ErrorBudget> {
    check_stable(setup, kind, speed_m_s).ok()?;
    let control = kind.linear(setup, speed_m_s)?;
    let mut found = variances_under(setup, control.as_ref(), speed_m_s)?;
    // The mean setting error of the guided row units stands still through a pass: only an axle on the planned line under a
    // frame that does not follow leaves it standing.
    if !kind.moves() && matches!(setup.driver, Driver::SatelliteLine(_)) {
        let unit = setup.rows.unit_sd_m;
        found[0] += unit * unit / rows_seen(setup);
    }
    Some(ErrorBudget {
        shares: Source::ALL.into_iter().zip(found).collect(),
        mean_error_m: mean_error_m(setup, kind, speed_m_s),
    })
}

/// Variance of the tool error, m², by source in the order of [`Source::ALL`], under any controller whose loop is stable, one of the
/// kinds or one of your own, at a speed (m/s, above 0). `None` for a replayed path.
pub fn variances_under(
    setup: &Setup,
    control: &dyn Linear,
    speed_m_s: f64,
) -> Option<[f64; Source::ALL.len()]> {
    // At any one frequency: a replayed path has no response at all.
    axle_response(setup, speed_m_s, 1.0)?;
    let paths = Paths::new(setup, control, speed_m_s);
    let densities = Densities::new(setup, speed_m_s);
    let (low, high) = band(setup, speed_m_s);
    Some(variances(
        |w| {
            let at = Frequency::new(w, setup.camera.frame_s);
            let Some(gains) = paths.squared(&at) else {
                return [0.0; 11];
            };
            let density = densities.at(&at);
            core::array::from_fn(|i| gains[i] * density[i])
        },
        low,
        high,
    ))
}

/// Tool error per unit of one source at an angular frequency above 0: m per m, rad or rad/s (roll: per rad). The two readings of
/// the position sensor are independent noises; theirs is the root of the sum of squares. `None` as for [`tool_error`].
pub fn tool_error_response(
    setup: &Setup,
    kind: Kind,
    speed_m_s: f64,
    source: Source,
    w_rad_s: f64,
) -> Option<Complex> {
    check_stable(setup, kind, speed_m_s).ok()?;
    let control = kind.linear(setup, speed_m_s)?;
    let paths = Paths::new(setup, control.as_ref(), speed_m_s);
    let at = Frequency::new(w_rad_s, setup.camera.frame_s);
    let responses = paths.responses(&at)?;
    let index = Source::ALL.iter().position(|other| *other == source)?;
    Some(responses[index])
}

fn rows_seen(setup: &Setup) -> f64 {
    setup.rows.guided.len().max(1) as f64
}

/// From every source to the tool error `e = q - D`.
struct Paths<'a> {
    setup: &'a Setup,
    speed_m_s: f64,
    camera_m: f64,
    control: &'a dyn Linear,
}

impl<'a> Paths<'a> {
    fn new(setup: &'a Setup, control: &'a dyn Linear, speed_m_s: f64) -> Paths<'a> {
        Paths {
            setup,
            speed_m_s,
            camera_m: setup.camera_point_m(),
            control,
        }
    }

    fn responses(&self, at: &Frequency) -> Option<[Complex; 11]> {
        let (setup, v) = (self.setup, self.speed_m_s);
        let tool_m = setup.tools.tool_line_m;
        let q: ShiftResponse = self.control.response(at);
        let axle = axle_response(setup, v, at.w_rad_s)?;
        // Per offset of the axle: shift by what camera and yaw rate see, less the wanted shift -(position of the tool line).
        let from_axle = frame_position(setup, v, tool_m, at.w_rad_s)
            - q.seen * frame_position(setup, v, self.camera_m, at.w_rad_s)
            + q.heading * frame_heading(setup, v, at.w_rad_s);
        let from_row = q.seen * at.delay(self.camera_m / v) - at.delay(tool_m / v);
        let zero = Complex::new(0.0, 0.0);
        let from_sway = match setup.hitch {
            Hitch::Rigid { .. } => -q.seen + 1.0,
            Hitch::Drawn { .. } => zero,
        };
        let position = (q.position_now.norm_sqr() + q.position_at_exposure.norm_sqr()).sqrt();
        Some([
            from_row + axle.row * from_axle,
            axle.seeing * from_axle,
            axle.steering * from_axle,
            axle.receiver * from_axle,
            axle.receiver * from_axle,
            from_sway,
            q.seen,
            q.seen,
            q.seen * setup.camera.roll_height_m,
            q.yaw_rate_error,
            Complex::new(position, 0.0),
        ])
    }

    fn squared(&self, at: &Frequency) -> Option<[f64; 11]> {
        Some(self.responses(at)?.map(|response| response.norm_sqr()))
    }
}

/// Densities of every source at one speed.
struct Densities<'a> {
    setup: &'a Setup,
    speed_m_s: f64,
    driver: DriverNoises,
    roll_sd_rad: f64,
    appearance_sd_m: f64,
}

impl<'a> Densities<'a> {
    fn new(setup: &'a Setup, speed_m_s: f64) -> Densities<'a> {
        let camera = &setup.camera;
        let ground = camera.roll_ground_sd_rad * camera.roll_ground_sd_rad * speed_m_s
            / camera.roll_reference_m_s;
        Densities {
            setup,
            speed_m_s,
            driver: DriverNoises::new(setup, speed_m_s),
            roll_sd_rad: (camera.roll_still_sd_rad * camera.roll_still_sd_rad + ground).sqrt(),
            appearance_sd_m: camera.appearance.sd / rows_seen(setup).sqrt(),
        }
    }

    fn at(&self, at: &Frequency) -> [f64; 11] {
        let setup = self.setup;
        let [row, seeing, steering, receiver, drift] = self.driver.densities(at.w_rad_s);
        let sway = match setup.hitch {
            Hitch::Rigid { sway, .. } => {
                gauss_markov(sway.sd, sway.reach / self.speed_m_s, at.w_rad_s)
            }
            Hitch::Drawn { .. } => 0.0,
        };
        let appearance_s = setup.camera.appearance.reach / self.speed_m_s;
        let yaw = setup.yaw_sensor.map_or(0.0, |sensor| {
            gauss_markov(sensor.noise.sd, sensor.noise.reach, at.w_rad_s)
        });
        let position = setup
            .position_sensor
            .map_or(0.0, |sensor| sensor.noise_sd_m);
        [
            row,
            seeing,
            steering,
            receiver,
            drift,
            sway,
            sampled_gauss_markov(setup.camera.white_sd_m, 0.0, at),
            sampled_gauss_markov(self.appearance_sd_m, appearance_s, at),
            sampled_gauss_markov(self.roll_sd_rad, setup.camera.roll_time_s, at),
            yaw,
            sampled_gauss_markov(position, 0.0, at),
        ]
    }
}

/// Constant tool error, m, left positive, by the closed forms: alignment less trim; slope (the camera sees another point of an
/// oblique frame); the bend of the line if the whole pass lies on one arc, else 0; bias of the yaw-rate sensor.
pub fn mean_error_m(setup: &Setup, kind: Kind, speed_m_s: f64) -> f64 {
    let curvature_1_m = setup
        .line
        .constant_curvature_1_m(0.0, setup.run.length_m)
        .unwrap_or(0.0);
    let tool_m = standing_m(setup, setup.tools.tool_line_m, curvature_1_m);
    if !kind.moves() {
        return axle_standing_m(setup, curvature_1_m, speed_m_s) + tool_m;
    }
    let camera_m = standing_m(setup, setup.camera_point_m(), curvature_1_m);
    let mut mean_m = tool_m - camera_m + setup.camera.alignment_m - setup.camera.trim_m;
    let bias_rad_s = setup.yaw_sensor.map_or(0.0, |sensor| sensor.bias_rad_s);
    let yaw_rate_rad_s = bias_rad_s + speed_m_s * curvature_1_m;
    if let Some(yaw_rate) = &transfer(setup, speed_m_s).yaw_rate {
        mean_m += yaw_rate.at(Complex::new(1.0, 0.0)).re * yaw_rate_rad_s;
    }
    if let Some(control) = kind.linear(setup, speed_m_s) {
        mean_m += control.standing_m(yaw_rate_rad_s);
    }
    mean_m
}

/// Steady position of the frame `x_m` behind the axle relative to the axle's own offset, on a slope and an arc, m.
fn standing_m(setup: &Setup, x_m: f64, curvature_1_m: f64) -> f64 {
    let bend_m = 0.5 * curvature_1_m * x_m * x_m;
    // The heading stands against the crab so that the axle keeps to the line.
    match setup.hitch {
        Hitch::Rigid { .. } => x_m * setup.tractor.crab_rad - bend_m,
        Hitch::Drawn {
            hitch_m,
            carrier_m,
            implement_crab_rad,
        } => {
            let heading_rad = -implement_crab_rad - curvature_1_m * (hitch_m + carrier_m);
            hitch_m * setup.tractor.crab_rad - (x_m - hitch_m) * heading_rad - bend_m
        }
    }
}

/// Steady offset of the axle on an arc, m: the hand driver's `(d²/2L) (L k - atan(L k))` towards the inside.
fn axle_standing_m(setup: &Setup, curvature_1_m: f64, speed_m_s: f64) -> f64 {
    let wheelbase_m = setup.tractor.wheelbase_m;
    let turn = wheelbase_m * curvature_1_m;
    match &setup.driver {
        Driver::Hand(hand) => {
            let d = hand.preview_m(speed_m_s);
            d * d / (2.0 * wheelbase_m) * (turn - libm::atan(turn))
        }
        Driver::SatelliteLine(_) | Driver::Replay(_) => 0.0,
    }
}
