//! The row tracker between camera and controller.

/// The three trackers.
///
/// It works on the number that the controller uses: the row as the shifted frame sees it for `on_off` and
/// `pid`, the row as the fixed frame sees it for the lag-compensated kinds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tracker {
    /// The raw number, outliers included.
    None,
    /// First-order low-pass with the discrete gain `1 - exp(-T_f / time_s)`.
    LowPass {
        /// Time constant, s.
        time_s: f64,
        /// A number further than this from the filtered one is taken for an outlier, m.
        gate_m: f64,
    },
    /// Steady-state Kalman filter with the state (offset, offset rate); `offset_rate` walks at random.
    Kalman {
        /// Standard deviation of a measurement that the filter believes, m.
        measurement_sd_m: f64,
        /// Intensity of the random walk of the offset rate, m/s per root second.
        rate_walk_m_s15: f64,
        /// A number further than this from the predicted one is taken for an outlier, m.
        gate_m: f64,
    },
    /// Steady-state Kalman filter with a yaw-rate sensor as input: the state is (offset, heading to the row) at the
    /// reference axle (the tractor's, or the implement's own if drawn).
    KalmanYaw {
        /// Standard deviation of a measurement that the filter believes, m.
        measurement_sd_m: f64,
        /// Intensity of the random walk of the offset, m per root second.
        offset_walk_m_s05: f64,
        /// Intensity of the random walk of the heading, rad per root second.
        heading_walk_rad_s05: f64,
        /// A number further than this from the predicted one is taken for an outlier, m.
        gate_m: f64,
    },
}
