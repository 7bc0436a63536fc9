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

/// A logged pass: cross-track distance of the rear axle against the distance along the planned line that the axle has
/// driven since the tools were lowered. It must cover [`Setup::driven_length_m`](super::setup::Setup::driven_length_m):
/// it is resampled, never extrapolated.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedPath {
    /// Distance since lowering, m, strictly increasing, from 0 or below.
    pub station_m: Vec<f64>,
    /// Cross-track distance, m, left positive.
    pub offset_m: Vec<f64>,
}

impl HandDriver {
    /// Distance ahead of the rear axle at which the driver looks, m.
    pub fn preview_m(&self, speed_m_s: f64) -> f64 {
        self.preview_min_m.max(speed_m_s * self.preview_time_s)
    }
}

/// Half of the window over which the heading of a logged pass is fitted, m: about half a wheelbase, so that the
/// receiver's noise between two points does not turn the tractor.
const HEADING_HALF_WINDOW_M: f64 = 1.5;

impl LoggedPath {
    /// Slope of the offset at every point: least squares over the points within 1.5 m (always at least the two neighbours).
    pub fn slopes(&self) -> Vec<f64> {
        let count = self.station_m.len();
        (0..count)
            .map(|i| {
                let here = self.station_m[i];
                let first = self
                    .station_m
                    .partition_point(|&s| s < here - HEADING_HALF_WINDOW_M);
                let last = self
                    .station_m
                    .partition_point(|&s| s <= here + HEADING_HALF_WINDOW_M);
                let range = first.min(i.saturating_sub(1))..last.max((i + 2).min(count));
                let n = range.len() as f64;
                let mean_s = self.station_m[range.clone()].iter().sum::<f64>() / n;
                let mean_y = self.offset_m[range.clone()].iter().sum::<f64>() / n;
                let (mut sxy, mut sxx) = (0.0, 0.0);
                for j in range {
                    let d = self.station_m[j] - mean_s;
                    sxy += d * (self.offset_m[j] - mean_y);
                    sxx += d * d;
                }
                if sxx > 0.0 { sxy / sxx } else { 0.0 }
            })
            .collect()
    }

    /// Offset and slope at a distance by cubic Hermite interpolation with these `slopes`; beyond the ends the last point's
    /// offset and no slope.
    pub fn at(&self, slopes: &[f64], s_m: f64) -> (f64, f64) {
        let last = self.station_m.len() - 1;
        if last == 0 || s_m <= self.station_m[0] {
            return (self.offset_m[0], 0.0);
        }
        if s_m >= self.station_m[last] {
            return (self.offset_m[last], 0.0);
        }
        let i = self.station_m.partition_point(|&s| s <= s_m) - 1;
        let h = self.station_m[i + 1] - self.station_m[i];
        let t = (s_m - self.station_m[i]) / h;
        let (y0, y1, m0, m1) = (
            self.offset_m[i],
            self.offset_m[i + 1],
            h * slopes[i],
            h * slopes[i + 1],
        );
        let (a, b) = (2.0 * (y0 - y1) + m0 + m1, -3.0 * (y0 - y1) - 2.0 * m0 - m1);
        let offset = y0 + t * (m0 + t * (b + t * a));
        (offset, (m0 + t * (2.0 * b + t * 3.0 * a)) / h)
    }
}
