//! The first-order noise, stationary and Gaussian; the second-order one is [`super::damped`].
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

/// Standard deviation of a straight line between two points of this correlation, on the mean over the way, as share of theirs: at a share u
/// of it the variance is `u² + (1 - u)² + 2 u (1 - u) rho`.
pub(super) fn between_points(correlation: f64) -> f64 {
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
}
