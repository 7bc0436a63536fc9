//! The damped second-order noise, of which smooth noise and, as a limit, [`super::noise::GaussMarkov`] are cases.

use super::noise::between_points;
use super::vector::Lanes;

/// A stationary Gaussian noise `y'' + 2 damping y' / reach + y / reach² = white`: the response of a mass on a spring and a damper to white
/// noise. At a damping of 1 its autocovariance is `sd² (1 + |d|/l) exp(-|d|/l)` (Matérn ν = 3/2); below 1 it sways; far above 1 it tends to
/// [`super::noise::GaussMarkov`] of the reach `2 damping reach`. Its mean square slope is finite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damped {
    /// Standard deviation, at least 0.
    pub sd: f64,
    /// One over the natural frequency in radians: a length (m) or a time (s), above 0.
    pub reach: f64,
    /// Share of the critical damping, above 0.
    pub damping: f64,
}

/// What a step does to mean and covariance of a [`Damped`] noise, exactly; the state is (value, slope).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transition {
    /// What the mean of the state is multiplied by.
    pub phi: [[f64; 2]; 2],
    /// Covariance that a step adds: (11, 12, 22).
    pub added: [f64; 3],
}

/// The exact recurrence of a [`Damped`] noise over one fixed step; the state is (value, slope).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DampedStep {
    sd: f64,
    slope_sd: f64,
    phi: [[f64; 2]; 2],
    /// Lower Cholesky factor of the step's covariance: (11, 21, 22).
    factor: [f64; 3],
}

impl Damped {
    /// A smooth noise: critically damped.
    pub fn smooth(sd: f64, reach: f64) -> Damped {
        Damped {
            sd,
            reach,
            damping: 1.0,
        }
    }

    /// Variances of value and slope.
    pub fn stationary(&self) -> [f64; 2] {
        let m = 1.0 / self.reach;
        [self.sd * self.sd, self.sd * self.sd * m * m]
    }

    /// Correlation of two values `d` apart, at least 0.
    pub fn correlation(&self, d: f64) -> f64 {
        Fall::over(self, d).phi(d)[0][0]
    }

    /// Two-sided density at `w` (rad per unit of `reach`): the variance is `1 / pi` times its integral from 0 on.
    pub fn density(&self, w: f64) -> f64 {
        let x = w * self.reach;
        let fall = 1.0 - x * x;
        let sway = 2.0 * self.damping * x;
        4.0 * self.damping * self.sd * self.sd * self.reach / (fall * fall + sway * sway)
    }

    /// The same noise where one unit of its way takes so many of another: over time, that of a way at `per` seconds a metre.
    pub fn stretched(&self, per: f64) -> Damped {
        Damped {
            reach: self.reach * per,
            ..*self
        }
    }

    /// About how far it remembers, in the unit of `reach`.
    pub fn memory(&self) -> f64 {
        self.reach * self.damping.max(1.0)
    }

    /// The noise whose straight lines between points `d` apart have this one's variance, on the mean over the way.
    pub fn through_points(&self, d: f64) -> Damped {
        Damped {
            sd: self.sd / between_points(self.correlation(d)),
            ..*self
        }
    }

    /// Mean and covariance over a step of `d`, at least 0.
    pub fn transition(&self, d: f64) -> Transition {
        let fall = Fall::over(self, d);
        Transition {
            phi: fall.phi(d),
            added: fall.added(self),
        }
    }

    /// The recurrence over a step of `d` (same unit as `reach`, above 0).
    pub fn step(&self, d: f64) -> DampedStep {
        let Transition {
            phi,
            added: [q11, q12, q22],
        } = self.transition(d);
        let l11 = q11.sqrt();
        let l21 = if l11 > 0.0 { q12 / l11 } else { 0.0 };
        DampedStep {
            sd: self.sd,
            slope_sd: self.sd * (1.0 / self.reach),
            phi,
            factor: [l11, l21, (q22 - l21 * l21).max(0.0).sqrt()],
        }
    }
}

impl DampedStep {
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

/// What a stretch leaves of a noise: `decay` times `even` and `odd` is `e^-a` times cosine and times sine over its argument, which is the
/// root of `x² - a²`; of a negative one the hyperbolic ones, without their overflow.
struct Fall {
    /// One over the reach.
    m: f64,
    /// Stretch in reaches.
    x: f64,
    /// The damping times it.
    a: f64,
    decay: f64,
    even: f64,
    odd: f64,
}

impl Fall {
    fn over(noise: &Damped, d: f64) -> Fall {
        let m = 1.0 / noise.reach;
        let x = m * d;
        let a = noise.damping * x;
        let square = x * x * (1.0 - noise.damping * noise.damping);
        let root = square.abs().sqrt();
        let (decay, even, odd) = if root < 1e-4 {
            (libm::exp(-a), 1.0 - square / 2.0, 1.0 - square / 6.0)
        } else if square > 0.0 {
            (libm::exp(-a), libm::cos(root), libm::sin(root) / root)
        } else {
            let down = libm::expm1(-2.0 * root);
            (libm::exp(root - a), 1.0 + 0.5 * down, -down / (2.0 * root))
        };
        Fall {
            m,
            x,
            a,
            decay,
            even,
            odd,
        }
    }

    fn phi(&self, d: f64) -> [[f64; 2]; 2] {
        let Fall {
            m,
            x,
            a,
            decay,
            even,
            odd,
        } = *self;
        [
            [decay * (even + a * odd), decay * d * odd],
            [-decay * m * x * odd, decay * (even - a * odd)],
        ]
    }

    /// Q = P - Phi P Phi^T cancels to the third order in x: written out, only the exponential cancels.
    fn added(&self, noise: &Damped) -> [f64; 3] {
        let Fall {
            m,
            a,
            decay,
            even,
            odd,
            ..
        } = *self;
        let [p0, p1] = noise.stationary();
        let fall = -libm::expm1(-2.0 * a);
        let rest = decay * decay;
        let (cross, square) = (2.0 * a * even * odd, 2.0 * a * a * odd * odd);
        // Rounding may leave a variance a hair below 0 for a very short step.
        [
            (p0 * (fall - rest * (cross + square))).max(0.0),
            p0 * m * rest * 2.0 * a * self.x * odd * odd,
            (p1 * (fall + rest * (cross - square))).max(0.0),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Damping 1: the smooth noise; far above: the Gauss-Markov, to the order of 1 / damping².
    #[test]
    fn analytic_the_other_shapes_are_cases() {
        for d in [0.0, 0.1, 1.0, 4.0] {
            let one = Damped {
                sd: 2.0,
                reach: 1.5,
                damping: 1.0,
            };
            let x = d / 1.5;
            assert!((one.correlation(d) - (1.0 + x) * libm::exp(-x)).abs() < 1e-12);
            let near = Damped {
                damping: 1.0 + 1e-9,
                ..one
            };
            assert!((near.correlation(d) - one.correlation(d)).abs() < 1e-7);
            let stiff = Damped {
                reach: 1.5 / 400.0,
                damping: 200.0,
                ..one
            };
            assert!((stiff.correlation(d) - libm::exp(-x)).abs() < 3e-5);
        }
    }

    /// Two steps do what one of their length does.
    #[test]
    fn analytic_steps_compose() {
        for damping in [0.3, 1.0, 2.5] {
            let noise = Damped {
                sd: 0.04,
                reach: 3.0,
                damping,
            };
            let (half, whole) = (noise.transition(0.7), noise.transition(1.4));
            for i in 0..2 {
                for j in 0..2 {
                    let twice: f64 = (0..2).map(|k| half.phi[i][k] * half.phi[k][j]).sum();
                    assert!((twice - whole.phi[i][j]).abs() < 1e-12, "{damping}");
                }
            }
            let [[a, b], _] = half.phi;
            let [q0, q1, q2] = half.added;
            let variance = a * a * q0 + 2.0 * a * b * q1 + b * b * q2 + q0;
            assert!((variance / whole.added[0] - 1.0).abs() < 1e-9, "{damping}");
        }
    }

    /// The density adds up to the variance; the step of the sum leaves 1e-4.
    #[test]
    fn analytic_the_density_adds_up() {
        for damping in [0.3, 1.0, 2.5] {
            let noise = Damped {
                sd: 0.04,
                reach: 3.0,
                damping,
            };
            let step = 1e-3;
            let sum: f64 = (0..200_000)
                .map(|i| noise.density((f64::from(i) + 0.5) * step))
                .sum();
            let variance = sum * step / core::f64::consts::PI;
            assert!(
                (variance / 0.0016 - 1.0).abs() < 1e-3,
                "{damping} {variance}"
            );
        }
    }

    /// A stretch leaves the stationary covariance as it is, however short or long it is and however far from critical the damping. Q of the
    /// value falls like the third power of the stretch: rounding of its terms, which are of the size of the stretch times the damping.
    #[test]
    fn analytic_a_step_keeps_the_stationary_covariance() {
        for damping in [0.05, 0.68, 1.0, 3.0, 400.0] {
            for d in [1e-3, 0.05, 1.0, 30.0, 3000.0] {
                let noise = Damped {
                    sd: 0.03,
                    reach: 12.5,
                    damping,
                };
                let ([p0, p1], of) = (noise.stationary(), noise.transition(d));
                let ([[a, b], [c, e]], [q11, q12, q22]) = (of.phi, of.added);
                let v = [
                    (a * a * p0 + b * b * p1 + q11) / p0,
                    (a * c * p0 + b * e * p1 + q12) / (p0 * p1).sqrt(),
                    (c * c * p0 + e * e * p1 + q22) / p1,
                ];
                assert!((v[0] - 1.0).abs() < 1e-12, "{damping} {d} {v:?}");
                assert!(v[1].abs() < 1e-12, "{damping} {d} {v:?}");
                assert!((v[2] - 1.0).abs() < 1e-12, "{damping} {d} {v:?}");
            }
        }
    }
}
