//! Restricted likelihood of a wander over uneven points: a Kalman filter, in time proportional to their number.
//!
//! What a receiver says is trend + wander + drift + white noise. The trend's coefficients are swept out by filtering its columns like the
//! readings (de Jong, Annals of Statistics 19:1073-1083, 1991), so that a line fitted to each pass does not eat the slow part of the
//! wander.

use crate::model::damped::Damped;

/// Most columns of a trend: height, slope, bend.
pub const MOST_COLUMNS: usize = 3;

/// Readings of one pass.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Distances along the planned line, m, rising.
    pub along_m: Vec<f64>,
    /// Times, s; as many, or none at all where the log has none.
    pub times_s: Vec<f64>,
    /// Offsets from the planned line, left positive, m; as many.
    pub offsets_m: Vec<f64>,
    /// Columns of the trend, 1 to 3.
    pub columns: usize,
    /// The antenna is so far ahead of the axle, m.
    pub lever_m: f64,
}

/// What a receiver adds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Standard deviation, m.
    pub sd_m: f64,
    /// Correlation time, s.
    pub time_s: f64,
}

/// Wander and what is seen of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// The wander of the axle.
    pub wander: Damped,
    /// White noise of a reading, m.
    pub white_sd_m: f64,
    /// Slow drift of the receiver.
    pub drift: Option<Drift>,
}

/// Sums over the readings of a pass.
#[derive(Clone, Copy)]
struct Sums {
    ln_spread: f64,
    square: f64,
    cross: [f64; MOST_COLUMNS],
    matrix: [[f64; MOST_COLUMNS]; MOST_COLUMNS],
}

impl Stretch {
    /// Logarithm of the restricted likelihood; minus infinity where the model allows no such reading.
    pub fn ln_likelihood(&self, seen: &Seen) -> f64 {
        let sums = match seen.drift {
            None => self.filtered::<2>(seen),
            Some(_) => self.filtered::<3>(seen),
        };
        let Some((ln_det, rest)) = swept(&sums, self.columns) else {
            return f64::NEG_INFINITY;
        };
        let free = self.offsets_m.len() as f64 - self.columns as f64;
        -0.5 * (free * libm::log(core::f64::consts::TAU) + sums.ln_spread + ln_det + rest)
    }

    /// States: value and slope of the wander, and with `N` = 3 the drift. The first column of `means` is of the readings, the others of
    /// the trend.
    fn filtered<const N: usize>(&self, seen: &Seen) -> Sums {
        let mut sums = Sums {
            ln_spread: 0.0,
            square: 0.0,
            cross: [0.0; MOST_COLUMNS],
            matrix: [[0.0; MOST_COLUMNS]; MOST_COLUMNS],
        };
        let stationary = seen.wander.stationary();
        let drift_variance = seen.drift.map_or(0.0, |drift| drift.sd_m * drift.sd_m);
        let mut covariance = [[0.0; N]; N];
        covariance[0][0] = stationary[0];
        covariance[1][1] = stationary[1];
        let mut watched = [1.0; N];
        watched[1] = self.lever_m;
        if N == 3 {
            covariance[N - 1][N - 1] = drift_variance;
        }
        let mut means = [[0.0; N]; MOST_COLUMNS + 1];
        let white = seen.white_sd_m * seen.white_sd_m;
        let [middle_m, half_m] = self.middle();
        for (i, &at_m) in self.along_m.iter().enumerate() {
            if i > 0 {
                let phi_added = seen.wander.transition(at_m - self.along_m[i - 1]);
                let decay = match (seen.drift, self.times_s.get(i)) {
                    (Some(drift), Some(time_s)) => {
                        libm::exp(-(time_s - self.times_s[i - 1]).abs() / drift.time_s)
                    }
                    _ => 1.0,
                };
                predict(
                    &mut means,
                    &mut covariance,
                    &phi_added,
                    decay,
                    drift_variance,
                );
            }
            let u = (at_m - middle_m) / half_m;
            let read = [self.offsets_m[i], 1.0, u, u * u];
            update(
                &mut means,
                &mut covariance,
                &watched,
                white,
                &read,
                &mut sums,
            );
        }
        sums
    }

    /// Middle and half of the length, so that the trend's columns run from -1 to 1.
    fn middle(&self) -> [f64; 2] {
        match (self.along_m.first(), self.along_m.last()) {
            (Some(first), Some(last)) if last > first => {
                [(first + last) / 2.0, (last - first) / 2.0]
            }
            _ => [0.0, 1.0],
        }
    }
}

fn predict<const N: usize>(
    means: &mut [[f64; N]; MOST_COLUMNS + 1],
    covariance: &mut [[f64; N]; N],
    step: &crate::model::damped::Transition,
    decay: f64,
    drift_variance: f64,
) {
    let [[a, b], [c, e]] = step.phi;
    for mean in means.iter_mut() {
        let (value, slope) = (mean[0], mean[1]);
        mean[0] = a * value + b * slope;
        mean[1] = c * value + e * slope;
        if N == 3 {
            mean[N - 1] *= decay;
        }
    }
    let (p00, p01, p11) = (covariance[0][0], covariance[0][1], covariance[1][1]);
    covariance[0][0] = a * a * p00 + 2.0 * a * b * p01 + b * b * p11 + step.added[0];
    covariance[0][1] = a * c * p00 + (a * e + b * c) * p01 + b * e * p11 + step.added[1];
    covariance[1][1] = c * c * p00 + 2.0 * c * e * p01 + e * e * p11 + step.added[2];
    covariance[1][0] = covariance[0][1];
    if N == 3 {
        let (p02, p12) = (covariance[0][N - 1], covariance[1][N - 1]);
        covariance[0][N - 1] = decay * (a * p02 + b * p12);
        covariance[1][N - 1] = decay * (c * p02 + e * p12);
        covariance[N - 1][0] = covariance[0][N - 1];
        covariance[N - 1][1] = covariance[1][N - 1];
        let last = covariance[N - 1][N - 1];
        covariance[N - 1][N - 1] = drift_variance + decay * decay * (last - drift_variance);
    }
}

fn update<const N: usize>(
    means: &mut [[f64; N]; MOST_COLUMNS + 1],
    covariance: &mut [[f64; N]; N],
    watched: &[f64; N],
    white: f64,
    read: &[f64; MOST_COLUMNS + 1],
    sums: &mut Sums,
) {
    let mut reach = [0.0; N];
    for (i, reach) in reach.iter_mut().enumerate() {
        *reach = (0..N).map(|j| covariance[i][j] * watched[j]).sum();
    }
    let spread = (0..N).map(|i| watched[i] * reach[i]).sum::<f64>() + white;
    let spread = spread.max(1e-18);
    let mut surprise = [0.0; MOST_COLUMNS + 1];
    for ((surprise, mean), read) in surprise.iter_mut().zip(means.iter_mut()).zip(read) {
        *surprise = read - (0..N).map(|i| watched[i] * mean[i]).sum::<f64>();
        for i in 0..N {
            mean[i] += reach[i] / spread * *surprise;
        }
    }
    for i in 0..N {
        for j in 0..N {
            covariance[i][j] -= reach[i] * reach[j] / spread;
        }
    }
    sums.ln_spread += libm::log(spread);
    sums.square += surprise[0] * surprise[0] / spread;
    for i in 0..MOST_COLUMNS {
        sums.cross[i] += surprise[0] * surprise[i + 1] / spread;
        for j in 0..=i {
            sums.matrix[i][j] += surprise[i + 1] * surprise[j + 1] / spread;
        }
    }
}

/// Logarithm of the determinant of the trend's matrix, and the square that the trend leaves; `None` where the readings do not carry the
/// trend.
fn swept(sums: &Sums, columns: usize) -> Option<(f64, f64)> {
    let mut factor = sums.matrix;
    let mut solved = sums.cross;
    let (mut ln_det, mut rest) = (0.0, sums.square);
    for i in 0..columns {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
            let left = sums.matrix[i][j] - sum;
            factor[i][j] = if i == j {
                if left <= 1e-12 * sums.matrix[i][i] {
                    return None;
                }
                left.sqrt()
            } else {
                left / factor[j][j]
            };
        }
        ln_det += 2.0 * libm::log(factor[i][i]);
        let sum: f64 = (0..i).map(|k| factor[i][k] * solved[k]).sum();
        solved[i] = (sums.cross[i] - sum) / factor[i][i];
        rest -= solved[i] * solved[i];
    }
    rest.is_finite().then_some((ln_det, rest.max(0.0)))
}
