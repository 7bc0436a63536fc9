//! The tractor: a kinematic single track about the rear-axle centre.

/// Tractor parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tractor {
    /// Wheelbase, m.
    pub wheelbase_m: f64,
    /// First-order lag of the steering, s.
    pub steer_lag_s: f64,
    /// Steering angle limit either way, rad.
    pub steer_limit_rad: f64,
    /// Steering rate limit either way, rad/s.
    pub steer_rate_rad_s: f64,
    /// Steady slip angle that the side slope causes, rad, positive to the left (left side higher: negative).
    pub crab_rad: f64,
}

/// Offset from the planned line at which a pass has lost the row, m: further than any frame shifts and most machines are wide
/// (assumed).
pub const LOST_OFFSET_M: f64 = 5.0;

/// Heading relative to the line at which a pass has lost the row, rad: the tractor stands across it.
pub const LOST_HEADING_RAD: f64 = core::f64::consts::FRAC_PI_2;

/// Share of a stretch by which a pass may fall short of its end without having lost the row: a tractor that weaves along a bend comes
/// less far than its speed says (assumed).
pub const SHORT_SHARE: f64 = 0.02;

/// Motion state of the tractor on its line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TractorState {
    /// Distance of the rear axle along the planned line, m.
    pub station_m: f64,
    /// Offset of the rear axle from the line, m, left positive.
    pub offset_m: f64,
    /// Heading relative to the line, rad.
    pub heading_rad: f64,
    /// Steering angle, rad.
    pub steer_rad: f64,
}

impl TractorState {
    /// True if nothing of the row can be met from here on: too far off, across it, or nowhere at all.
    pub fn has_lost_the_row(&self) -> bool {
        let follows =
            self.offset_m.abs() < LOST_OFFSET_M && self.heading_rad.abs() < LOST_HEADING_RAD;
        !follows
    }
}

impl Tractor {
    /// Steering angle after `dt_s` towards a constant command: first-order lag with limits on angle and rate.
    pub fn steer(&self, steer_rad: f64, command_rad: f64, dt_s: f64) -> f64 {
        let command_rad = command_rad.clamp(-self.steer_limit_rad, self.steer_limit_rad);
        let share = if self.steer_lag_s > 0.0 {
            -libm::expm1(-dt_s / self.steer_lag_s)
        } else {
            1.0
        };
        let most = self.steer_rate_rad_s * dt_s;
        steer_rad + ((command_rad - steer_rad) * share).clamp(-most, most)
    }

    /// Absolute yaw rate at a steering angle, rad/s.
    pub fn yaw_rate_rad_s(&self, steer_rad: f64, speed_m_s: f64) -> f64 {
        speed_m_s * libm::tan(steer_rad) / self.wheelbase_m
    }
}
