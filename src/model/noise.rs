//! The two noise shapes, stationary and Gaussian.
//!
//! Both are simulated by their exact recurrence, never by Euler steps, so that variance and
//! correlation do not depend on the step.

use crate::model::vector::Lanes;

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

/// Points per correlation length of a noise of the ground, with straight lines between them (our choice: the finer, the more memory a pass
/// walks through; what it changes is held against ten times as many, `tests/checks/steps.rs`).
pub const POINTS_PER_REACH: f64 = 40.0;

/// The exact recurrence of a [`GaussMarkov`] noise over one fixed step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GaussMarkovStep {
    pub(crate) sd: f64,
    decay: f64,
    spread: f64,
}

impl GaussMarkov {
    /// A noise that is off.
    pub const OFF: GaussMarkov = GaussMarkov {
        sd: 0.0,
        reach: 1.0,
    };

    /// The noise whose straight lines between points `d` apart have this one's variance, on the mean over the way.
    pub fn through_points(&self, d: f64) -> GaussMarkov {
        GaussMarkov {
            sd: self.sd / between_points(libm::exp(-d / self.reach)),
            ..*self
        }
    }

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
    /// A value of the stationary law from a standard normal deviate: begun at 0 it would take some lengths to grow to its sd.
    #[inline(always)]
    pub fn start<const N: usize>(&self, normal: Lanes<N>) -> Lanes<N> {
        normal * self.sd
    }

    /// The value one step later.
    #[inline(always)]
    pub fn next<const N: usize>(&self, value: Lanes<N>, normal: Lanes<N>) -> Lanes<N> {
        value * self.decay + normal * self.spread
    }
}

/// The exact recurrence of a [`Smooth`] noise over one fixed step; the state is (value, slope).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SmoothStep {
    pub(crate) sd: f64,
    slope_sd: f64,
    phi: [[f64; 2]; 2],
    /// Lower Cholesky factor of the step's covariance: (11, 21, 22).
    factor: [f64; 3],
}

impl Smooth {
    /// See [`GaussMarkov::through_points`].
    pub fn through_points(&self, d: f64) -> Smooth {
        let x = d / self.reach;
        Smooth {
            sd: self.sd / between_points((1.0 + x) * libm::exp(-x)),
            ..*self
        }
    }

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
    #[inline(always)]
    pub fn start<const N: usize>(&self, normal: [Lanes<N>; 2]) -> [Lanes<N>; 2] {
        [normal[0] * self.sd, normal[1] * self.slope_sd]
    }

    /// The state one step later.
    #[inline(always)]
    pub fn next<const N: usize>(
        &self,
        state: [Lanes<N>; 2],
        normal: [Lanes<N>; 2],
    ) -> [Lanes<N>; 2] {
        let ([a, b], [l11, l21, l22]) = (self.phi, self.factor);
        [
            state[0] * a[0] + state[1] * a[1] + normal[0] * l11,
            state[0] * b[0] + state[1] * b[1] + normal[0] * l21 + normal[1] * l22,
        ]
    }
}

/// Standard deviation of a straight line between two points of this correlation, on the mean over the way, as share of theirs: at a share u
/// of it the variance is `u² + (1 - u)² + 2 u (1 - u) rho`.
fn between_points(correlation: f64) -> f64 {
    ((2.0 + correlation) / 3.0).sqrt()
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
}
