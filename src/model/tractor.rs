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
