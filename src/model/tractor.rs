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
