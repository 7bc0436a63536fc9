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
