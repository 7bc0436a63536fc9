//! The two noise shapes, stationary and Gaussian.
//!
//! Both are simulated by their exact recurrence, never by Euler steps, so that variance and
//! correlation do not depend on the step.

/// A noise with the autocovariance `sd² exp(-|d| / l)`: first-order Gauss-Markov
/// (Ornstein-Uhlenbeck, Matérn ν = 1/2).
///
/// `reach` is the correlation length (m) where the cause lies in the ground and the correlation
/// time (s) where it lies in a person, a machine part or a sensor. `sd` is in the unit of the
/// disturbed quantity. An `sd` of 0 switches the noise off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GaussMarkov {
    /// Standard deviation, at least 0.
    pub sd: f64,
    /// Correlation length (m) or time (s), above 0.
    pub reach: f64,
}

/// A noise with the autocovariance `sd² (1 + |d|/l) exp(-|d| / l)` (Matérn ν = 3/2): smooth,
/// with a finite mean square slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Smooth {
    /// Standard deviation, at least 0.
    pub sd: f64,
    /// Correlation length (m), above 0.
    pub reach: f64,
}

/// Finest resolution of a ground noise: its correlation length over this. Linear interpolation between such points
/// loses 0.17 % of a Gauss-Markov variance.
const POINTS_PER_REACH: f64 = 200.0;

/// The exact recurrence of a [`GaussMarkov`] noise over one fixed step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GaussMarkovStep {
    pub(crate) sd: f64,
    pub(crate) decay: f64,
    pub(crate) spread: f64,
}

impl GaussMarkov {
    /// A noise that is off.
    pub const OFF: GaussMarkov = GaussMarkov {
        sd: 0.0,
        reach: 1.0,
    };

    /// The recurrence over a step of `d` (same unit as `reach`, at least 0).
    pub fn step(&self, d: f64) -> GaussMarkovStep {
        let decay = libm::exp(-d / self.reach);
        GaussMarkovStep {
            sd: self.sd,
            decay,
            // sqrt(1 - decay²), which would cancel for a short step.
            spread: self.sd * (-libm::expm1(-2.0 * d / self.reach)).sqrt(),
        }
    }
}

impl GaussMarkovStep {
    /// A value of the stationary law from a standard normal deviate.
    pub fn start(&self, normal: f64) -> f64 {
        self.sd * normal
    }

    /// The value one step later.
    pub fn next(&self, value: f64, normal: f64) -> f64 {
        self.decay * value + self.spread * normal
    }
}

/// The exact recurrence of a [`Smooth`] noise over one fixed step; the state is (value, slope).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SmoothStep {
    pub(crate) sd: f64,
    pub(crate) slope_sd: f64,
    pub(crate) phi: [[f64; 2]; 2],
    /// Lower Cholesky factor of the step's covariance: (11, 21, 22).
    pub(crate) factor: [f64; 3],
}

impl Smooth {
    /// The recurrence over a step of `d` (same unit as `reach`, above 0).
    pub fn step(&self, d: f64) -> SmoothStep {
        let m = 1.0 / self.reach;
        let x = m * d;
        let decay = libm::exp(-x);
        let phi = [
            [decay * (1.0 + x), decay * d],
            [-decay * m * x, decay * (1.0 - x)],
        ];
        let (p0, p1) = (self.sd * self.sd, self.sd * self.sd * m * m);
        // Q = P - Phi P Phi^T cancels to the third order in x: written out, only the exponential cancels.
        let fall = -libm::expm1(-2.0 * x);
        let rest = decay * decay;
        let q11 = p0 * (fall - rest * (2.0 * x + 2.0 * x * x));
        let q12 = p0 * m * rest * 2.0 * x * x;
        let q22 = p1 * (fall + rest * (2.0 * x - 2.0 * x * x));
        // Rounding may leave a variance a hair below 0 for a very short step.
        let l11 = q11.max(0.0).sqrt();
        let l21 = if l11 > 0.0 { q12 / l11 } else { 0.0 };
        let l22 = (q22 - l21 * l21).max(0.0).sqrt();
        SmoothStep {
            sd: self.sd,
            slope_sd: self.sd * m,
            phi,
            factor: [l11, l21, l22],
        }
    }
}

impl SmoothStep {
    /// A state of the stationary law from two standard normal deviates.
    pub fn start(&self, normal: [f64; 2]) -> [f64; 2] {
        [self.sd * normal[0], self.slope_sd * normal[1]]
    }

    /// The state one step later.
    pub fn next(&self, state: [f64; 2], normal: [f64; 2]) -> [f64; 2] {
        [
            self.phi[0][0] * state[0] + self.phi[0][1] * state[1] + self.factor[0] * normal[0],
            self.phi[1][0] * state[0]
                + self.phi[1][1] * state[1]
                + self.factor[1] * normal[0]
                + self.factor[2] * normal[1],
        ]
    }
}

/// A noise of the ground, drawn once on a fixed distance grid, linear between its points.
#[derive(Clone, Debug, PartialEq)]
pub struct Track {
    start_m: f64,
    per_m: f64,
    values: Vec<f64>,
}

impl Track {
    /// The same value everywhere.
    pub fn constant(value: f64) -> Self {
        Self {
            start_m: 0.0,
            per_m: 0.0,
            values: vec![value, value],
        }
    }

    /// Draws a Gauss-Markov noise from `start_m` to at least `end_m`; `normal` gives standard normal deviates.
    pub fn gauss_markov(
        noise: &GaussMarkov,
        start_m: f64,
        end_m: f64,
        mut normal: impl FnMut() -> f64,
    ) -> Self {
        if noise.sd == 0.0 {
            return Self::constant(0.0);
        }
        let grid_m = grid_m(noise.reach);
        let step = noise.step(grid_m);
        // From the stationary law: begun at 0 it would take some lengths to grow to its sd.
        let mut value = step.start(normal());
        let values = core::iter::once(value)
            .chain((1..points(start_m, end_m, grid_m)).map(|_| {
                value = step.next(value, normal());
                value
            }))
            .collect();
        Self {
            start_m,
            per_m: 1.0 / grid_m,
            values,
        }
    }

    /// Draws a smooth noise from `start_m` to at least `end_m`; `normal` gives standard normal deviates.
    pub fn smooth(
        noise: &Smooth,
        start_m: f64,
        end_m: f64,
        mut normal: impl FnMut() -> f64,
    ) -> Self {
        if noise.sd == 0.0 {
            return Self::constant(0.0);
        }
        let grid_m = grid_m(noise.reach);
        let step = noise.step(grid_m);
        let mut state = step.start([normal(), normal()]);
        let values = core::iter::once(state[0])
            .chain((1..points(start_m, end_m, grid_m)).map(|_| {
                state = step.next(state, [normal(), normal()]);
                state[0]
            }))
            .collect();
        Self {
            start_m,
            per_m: 1.0 / grid_m,
            values,
        }
    }

    /// The same track with every value moved by `offset` and kept within `limit` either way.
    pub fn shifted_and_limited(mut self, offset: f64, limit: f64) -> Self {
        for value in &mut self.values {
            *value = (*value + offset).clamp(-limit, limit);
        }
        self
    }

    /// The value at a distance; beyond the ends the nearest point's.
    pub fn at(&self, s_m: f64) -> f64 {
        // A constant has per_m = 0 and always falls on its first two points.
        let x = ((s_m - self.start_m) * self.per_m).max(0.0);
        let i = (x as usize).min(self.values.len() - 2);
        let f = (x - i as f64).min(1.0);
        self.values[i] + f * (self.values[i + 1] - self.values[i])
    }
}

/// Distance between the points of a ground noise, m.
pub(crate) fn grid_m(reach_m: f64) -> f64 {
    reach_m / POINTS_PER_REACH
}

/// Number of points from `start_m` to at least `end_m`, at least two.
pub(crate) fn points(start_m: f64, end_m: f64, grid_m: f64) -> usize {
    // Two at least: between them is interpolated.
    ((end_m - start_m) / grid_m).ceil().max(1.0) as usize + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_gauss_markov_recurrence_composes() {
        // Two half steps must do what one whole step does: decay multiplies, variances add.
        let noise = GaussMarkov {
            sd: 0.035,
            reach: 12.0,
        };
        let (half, whole) = (noise.step(0.7), noise.step(1.4));
        assert!((half.decay * half.decay - whole.decay).abs() < 1e-15);
        let variance = half.spread * half.spread * (1.0 + half.decay * half.decay);
        assert!((variance / (whole.spread * whole.spread) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn analytic_smooth_recurrence_keeps_the_stationary_covariance() {
        for d in [1e-3, 0.05, 1.0, 30.0] {
            let noise = Smooth {
                sd: 0.03,
                reach: 12.5,
            };
            let step = noise.step(d);
            let (p0, p1) = (0.03f64.powi(2), (0.03f64 / 12.5).powi(2));
            let [a, b] = step.phi;
            let [l11, l21, l22] = step.factor;
            let v00 = a[0] * a[0] * p0 + a[1] * a[1] * p1 + l11 * l11;
            let v01 = a[0] * b[0] * p0 + a[1] * b[1] * p1 + l11 * l21;
            let v11 = b[0] * b[0] * p0 + b[1] * b[1] * p1 + l21 * l21 + l22 * l22;
            assert!((v00 / p0 - 1.0).abs() < 1e-12, "{d}");
            assert!((v11 / p1 - 1.0).abs() < 1e-12, "{d}");
            assert!(v01.abs() < 1e-12 * (p0 * p1).sqrt(), "{d}");
        }
    }

    #[test]
    fn analytic_track_interpolates_and_holds_its_ends() {
        let mut count = 0.0;
        let track = Track::gauss_markov(
            &GaussMarkov {
                sd: 1.0,
                reach: 200.0,
            },
            -2.0,
            3.0,
            || {
                count += 1.0;
                count
            },
        );
        let middle = 0.5 * (track.values[1] + track.values[2]);
        assert!((track.at(-0.5) - middle).abs() < 1e-12);
        assert_eq!(track.at(-50.0), track.values[0]);
        assert_eq!(track.at(50.0), *track.values.last().unwrap());
    }
}
