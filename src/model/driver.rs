//! Who steers the tractor, and how well.

use super::noise::GaussMarkov;

/// The three drivers.
#[derive(Clone, Debug, PartialEq)]
pub enum Driver {
    /// A person sighting along the row.
    Hand(HandDriver),
    /// Automatic steering along the planned line by satellite position.
    SatelliteLine(SatelliteLine),
    /// A logged pass driven again.
    Replay(LoggedPath),
}

/// Hand steering towards a preview point on the row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HandDriver {
    /// Shortest preview distance, m.
    pub preview_min_m: f64,
    /// Preview time, s: the preview distance is `max(preview_min_m, v preview_time_s)`.
    pub preview_time_s: f64,
    /// Reaction time, s.
    pub reaction_s: f64,
    /// Error in seeing the row at the preview point, m over a length in m (before `wander_factor`).
    pub seeing: GaussMarkov,
    /// Hand error of the steering angle, rad over a time in s (before `wander_factor`).
    pub steering: GaussMarkov,
    /// Factor g on the standard deviations of `seeing` and `steering`; 1 where their intensities are given,
    /// else set so that the axle wander at a reference speed meets the observed value.
    pub wander_factor: f64,
}

/// Satellite steering along the planned line (not the row as planted).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SatelliteLine {
    /// Natural frequency of the line following, rad/s.
    pub frequency_rad_s: f64,
    /// Damping ratio.
    pub damping: f64,
    /// Receiver noise, m over a time in s.
    pub receiver: GaussMarkov,
    /// Slow drift of the receiver, m over a time in s.
    pub drift: GaussMarkov,
}

/// A logged pass: cross-track distance of the rear axle against distance along the planned line.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedPath {
    /// Distance along the line, m, strictly increasing.
    pub station_m: Vec<f64>,
    /// Cross-track distance, m, left positive.
    pub offset_m: Vec<f64>,
}
