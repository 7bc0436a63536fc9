//! Who steers the tractor, and how well.

use std::ops::Range;
use std::sync::Arc;

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
    /// Receiver noise, m over a time in s, at up to [`STEADY_LINE_M_S`].
    pub receiver: GaussMarkov,
    /// Slow drift of the receiver, m over a time in s, at up to that speed.
    pub drift: GaussMarkov,
    /// By which share both grow for each 1 m/s beyond that speed, 0 or more.
    pub growth_s_m: f64,
}

/// Speed up to which the error of satellite steering does not depend on speed, m/s. Tests of such steering are told as the 95 % point
/// of the error at 1.0, 2.5 and 5.0 m/s (Easterly, Adamchuk, Hoy & Kocher, about 2008 to 2010, excerpt); that it hardly differs between the
/// slow two and is clearly larger at 5 m/s is second hand, that it begins to grow at 3 m/s is assumed.
pub const STEADY_LINE_M_S: f64 = 3.0;

impl SatelliteLine {
    /// Receiver noise and drift at a speed, in m/s: both sds times `1 + growth_s_m max(0, v - STEADY_LINE_M_S)`.
    pub fn noises(&self, speed_m_s: f64) -> [GaussMarkov; 2] {
        let factor = 1.0 + self.growth_s_m * (speed_m_s - STEADY_LINE_M_S).max(0.0);
        [self.receiver, self.drift].map(|noise| GaussMarkov {
            sd: factor * noise.sd,
            reach: noise.reach,
        })
    }
}

/// A logged pass: cross-track distance of the rear axle against the distance along the planned line that the axle has
/// driven since the tools were lowered. It must cover [`Setup::driven_length_m`](super::setup::Setup::driven_length_m):
/// it is resampled, never extrapolated. Copies share its points.
#[derive(Clone, Debug)]
pub struct LoggedPath {
    station_m: Arc<[f64]>,
    offset_m: Arc<[f64]>,
    slope: Arc<[f64]>,
}

impl PartialEq for LoggedPath {
    fn eq(&self, other: &Self) -> bool {
        // Copies share millions of points: the pointers tell most cases. The slope follows from both lists.
        let same = |one: &Arc<[f64]>, other: &Arc<[f64]>| Arc::ptr_eq(one, other) || one == other;
        same(&self.station_m, &other.station_m) && same(&self.offset_m, &other.offset_m)
    }
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

/// Points on either side of the place where evenly spaced points would have a distance.
const NEAR_POINTS: usize = 8;

/// Windows of up to this many points are summed point by point, larger ones by moving sums.
const FEW_POINTS: usize = 64;

impl LoggedPath {
    /// A pass through these points: distances since lowering, m, strictly increasing, from 0 or below, and as many
    /// cross-track distances, m, left positive (of unequal lists the longer one is cut). The slope at every point is that of least squares
    /// over the points within 1.5 m (always at least the two neighbours).
    pub fn new(mut station_m: Vec<f64>, mut offset_m: Vec<f64>) -> Self {
        station_m.truncate(offset_m.len());
        offset_m.truncate(station_m.len());
        let slope = slopes(&station_m, &offset_m);
        Self {
            station_m: station_m.into(),
            offset_m: offset_m.into(),
            slope: slope.into(),
        }
    }

    /// Distances since lowering, m, strictly increasing.
    pub fn station_m(&self) -> &[f64] {
        &self.station_m
    }

    /// Cross-track distances, m, left positive.
    pub fn offset_m(&self) -> &[f64] {
        &self.offset_m
    }

    /// The same pass with every offset times a factor.
    pub fn scaled(&self, factor: f64) -> Self {
        let times = |values: &[f64]| values.iter().map(|value| factor * value).collect();
        Self {
            station_m: self.station_m.clone(),
            offset_m: times(&self.offset_m),
            slope: times(&self.slope),
        }
    }

    /// Offset and slope at a distance by cubic Hermite interpolation; beyond the ends the last point's offset and no slope.
    pub fn at(&self, s_m: f64) -> (f64, f64) {
        let Some(last) = self.station_m.len().checked_sub(1) else {
            return (0.0, 0.0);
        };
        if last == 0 || s_m <= self.station_m[0] {
            return (self.offset_m[0], 0.0);
        }
        if s_m >= self.station_m[last] {
            return (self.offset_m[last], 0.0);
        }
        let i = self.point_before(s_m);
        let h = self.station_m[i + 1] - self.station_m[i];
        let t = (s_m - self.station_m[i]) / h;
        // Hermite by the fitted slopes: straight pieces would turn the tractor with a jerk at every point of the log.
        let (y0, y1, m0, m1) = (
            self.offset_m[i],
            self.offset_m[i + 1],
            h * self.slope[i],
            h * self.slope[i + 1],
        );
        let (a, b) = (2.0 * (y0 - y1) + m0 + m1, -3.0 * (y0 - y1) - 2.0 * m0 - m1);
        let offset = y0 + t * (m0 + t * (b + t * a));
        (offset, (m0 + t * (2.0 * b + t * 3.0 * a)) / h)
    }
}

impl LoggedPath {
    /// The last point at this distance or before it, looked for first where evenly spaced points would have it. The distance
    /// lies between the ends.
    fn point_before(&self, s_m: f64) -> usize {
        let (start_m, end) = (self.station_m[0], self.station_m.len());
        let share = (s_m - start_m) / (self.station_m[end - 1] - start_m);
        let guess = (share * end as f64) as usize;
        let near = guess.saturating_sub(NEAR_POINTS)..guess.saturating_add(NEAR_POINTS).min(end);
        // Asked at every tick, so a search of the whole log is only for points that are not evenly spaced.
        let found = match self.station_m.get(near.clone()) {
            Some([first, .., last]) if *first <= s_m && s_m < *last => near,
            _ => 0..end,
        };
        let after = self.station_m[found.clone()].partition_point(|s| *s <= s_m);
        found.start + after - 1
    }
}

/// Slope of the offset at every point, in a time that grows with the number of points alone.
fn slopes(station_m: &[f64], offset_m: &[f64]) -> Vec<f64> {
    let count = station_m.len();
    let (mut first, mut last) = (0, 0);
    let mut moving = MovingSums::default();
    (0..count)
        .map(|i| {
            let here = station_m[i];
            while station_m[first] < here - HEADING_HALF_WINDOW_M {
                first += 1;
            }
            while last < count && station_m[last] <= here + HEADING_HALF_WINDOW_M {
                last += 1;
            }
            // Points farther apart than the window would leave one alone, and one has no slope.
            let window = first.min(i.saturating_sub(1))..last.max((i + 2).min(count));
            if window.len() <= FEW_POINTS {
                fitted_slope(&station_m[window.clone()], &offset_m[window])
            } else {
                moving.shift_to(window, station_m, offset_m);
                moving.slope()
            }
        })
        .collect()
}

/// Slope of the least-squares line through these points.
fn fitted_slope(station_m: &[f64], offset_m: &[f64]) -> f64 {
    let n = station_m.len() as f64;
    let mean_s = station_m.iter().sum::<f64>() / n;
    let mean_y = offset_m.iter().sum::<f64>() / n;
    let (mut sxy, mut sxx) = (0.0, 0.0);
    for (s, y) in station_m.iter().zip(offset_m) {
        let d = s - mean_s;
        sxy += d * (y - mean_y);
        sxx += d * d;
    }
    if sxx > 0.0 { sxy / sxx } else { 0.0 }
}

/// The sums of a least-squares line over a window that moves on, counted from one of its points so that nothing cancels, and
/// begun anew as soon as the window has left that point behind: rounding adds up over two windows at most, and each point is
/// taken in twice at most.
#[derive(Default)]
struct MovingSums {
    window: Range<usize>,
    from: usize,
    s: f64,
    y: f64,
    ss: f64,
    sy: f64,
}

impl MovingSums {
    fn shift_to(&mut self, window: Range<usize>, station_m: &[f64], offset_m: &[f64]) {
        if self.window.is_empty() || window.start > self.from {
            *self = Self {
                window: window.start..window.start,
                // Its last point stays in the window longest.
                from: window.end - 1,
                ..Self::default()
            };
        }
        let left = (self.window.start..window.start).map(|j| (j, -1.0));
        let met = (self.window.end..window.end).map(|j| (j, 1.0));
        for (j, sign) in left.chain(met) {
            let (s, y) = (
                station_m[j] - station_m[self.from],
                offset_m[j] - offset_m[self.from],
            );
            self.s += sign * s;
            self.y += sign * y;
            self.ss += sign * s * s;
            self.sy += sign * s * y;
        }
        self.window = window;
    }

    fn slope(&self) -> f64 {
        let n = self.window.len() as f64;
        let sxy = self.sy - self.s * self.y / n;
        let sxx = self.ss - self.s * self.s / n;
        if sxx > 0.0 { sxy / sxx } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of moving sums: some 30,000 terms of size 1 in a window of a dense log, 1e-16 each, against sums of squares of
    /// that number of terms.
    #[test]
    fn analytic_moving_sums_fit_what_the_points_alone_do() {
        let dense = |i: usize| 1e-4 * (i as f64 + 0.3 * libm::sin(i as f64));
        let mixed = |i: usize| {
            dense(i)
                + if i < 20_000 {
                    0.0
                } else {
                    0.3 * (i - 20_000) as f64
                }
        };
        for place in [&dense as &dyn Fn(usize) -> f64, &mixed] {
            let station_m: Vec<f64> = (0..40_000).map(place).collect();
            let offset_m: Vec<f64> = (0..40_000)
                .map(|i| {
                    0.4 + 0.05 * libm::sin(0.7 * station_m[i]) + 0.01 * libm::cos(3.1 * i as f64)
                })
                .collect();
            let found = slopes(&station_m, &offset_m);
            for i in (0..40_000).step_by(997).chain(19_900..20_100) {
                let here = station_m[i];
                let first = station_m.partition_point(|&s| s < here - HEADING_HALF_WINDOW_M);
                let last = station_m.partition_point(|&s| s <= here + HEADING_HALF_WINDOW_M);
                let window = first.min(i.saturating_sub(1))..last.max((i + 2).min(40_000));
                let wanted = fitted_slope(&station_m[window.clone()], &offset_m[window]);
                assert!(
                    (found[i] - wanted).abs() < 1e-11,
                    "{i}: {} {wanted}",
                    found[i]
                );
            }
        }
    }

    /// The search finds the same points whether they are evenly spaced or not.
    #[test]
    fn prop_the_point_before_a_distance_is_found() {
        let uneven = (0..500).map(|i| 0.01 * f64::from(i * i) / 7.0).collect();
        let even = (0..500).map(|i| 0.1 * f64::from(i)).collect();
        for station_m in [uneven, even, vec![-0.5, 0.25, 3.0]] {
            let log = LoggedPath::new(station_m.clone(), vec![0.0; station_m.len()]);
            let end_m = station_m[station_m.len() - 1];
            let between = (1..5000).map(|i| f64::from(i) / 5000.0 * end_m);
            for s_m in between.chain(station_m[1..station_m.len() - 1].to_vec()) {
                let wanted = station_m.partition_point(|s| *s <= s_m) - 1;
                assert_eq!(log.point_before(s_m), wanted, "{s_m}");
            }
        }
    }

    /// Point by point this would take 1e12 steps. A constant offset has no slope, whatever the rounding.
    #[test]
    fn analytic_a_million_points_within_a_window_have_a_slope() {
        let station_m: Vec<f64> = (0..1_000_000).map(|i| 1e-6 * f64::from(i)).collect();
        let rising = station_m.iter().map(|s| 0.2 - 0.03 * s).collect();
        let log = LoggedPath::new(station_m.clone(), rising);
        for s_m in [1e-3, 0.5, 0.999] {
            let (offset_m, slope) = log.at(s_m);
            assert!((offset_m - (0.2 - 0.03 * s_m)).abs() < 1e-12 && (slope + 0.03).abs() < 1e-9);
        }
        let level = LoggedPath::new(station_m, vec![0.3; 1_000_000]);
        assert!(level.slope.iter().all(|slope| *slope == 0.0));
    }
}
