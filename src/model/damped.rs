//! The damped second-order noise, of which the two other shapes are cases.

/// A stationary Gaussian noise `y'' + 2 damping y' / reach + y / reach² = white`: the response of a mass on a spring and a damper to white
/// noise. At a damping of 1 it is [`super::noise::Smooth`] of the same reach; below 1 it sways; far above 1 it tends to
/// [`super::noise::GaussMarkov`] of the reach `2 damping reach`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damped {
    /// Standard deviation, at least 0.
    pub sd: f64,
    /// One over the natural frequency in radians: a length (m) or a time (s), above 0.
    pub reach: f64,
    /// Share of the critical damping, above 0.
    pub damping: f64,
}

/// The exact transition of a [`Damped`] noise over one step; the state is (value, slope).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DampedStep {
    /// What the mean of the state is multiplied by.
    pub phi: [[f64; 2]; 2],
    /// Covariance that a step adds: (11, 12, 22).
    pub added: [f64; 3],
}

impl Damped {
    /// Variances of value and slope.
    pub fn stationary(&self) -> [f64; 2] {
        let variance = self.sd * self.sd;
        [variance, variance / (self.reach * self.reach)]
    }

    /// Correlation of two values `d` apart, at least 0.
    pub fn correlation(&self, d: f64) -> f64 {
        self.phi(d)[0][0]
    }

    /// Two-sided density at `w` (rad per unit of `reach`): the variance is `1 / pi` times its integral from 0 on.
    pub fn density(&self, w: f64) -> f64 {
        let x = w * self.reach;
        let fall = 1.0 - x * x;
        let sway = 2.0 * self.damping * x;
        4.0 * self.damping * self.sd * self.sd * self.reach / (fall * fall + sway * sway)
    }

    /// The transition over a step of `d`, at least 0.
    pub fn step(&self, d: f64) -> DampedStep {
        let phi = self.phi(d);
        let [p0, p1] = self.stationary();
        let [[a, b], [c, e]] = phi;
        DampedStep {
            phi,
            // Rounding may leave a variance a hair below 0 for a very short step.
            added: [
                (p0 - a * a * p0 - b * b * p1).max(0.0),
                -a * c * p0 - b * e * p1,
                (p1 - c * c * p0 - e * e * p1).max(0.0),
            ],
        }
    }

    fn phi(&self, d: f64) -> [[f64; 2]; 2] {
        let x = d / self.reach;
        let fall = self.damping * x;
        let square = x * x * (1.0 - self.damping * self.damping);
        let (even, odd) = fallen(square, fall);
        [
            [even + fall * odd, d * odd],
            [-d * odd / (self.reach * self.reach), even - fall * odd],
        ]
    }
}

/// `e^-fall` times cosine and times sine over its argument, of the root of `square`; of a negative one the hyperbolic ones.
fn fallen(square: f64, fall: f64) -> (f64, f64) {
    let root = square.abs().sqrt();
    if root < 1e-4 {
        let decay = libm::exp(-fall);
        return (decay * (1.0 - square / 2.0), decay * (1.0 - square / 6.0));
    }
    if square > 0.0 {
        let decay = libm::exp(-fall);
        return (decay * libm::cos(root), decay * libm::sin(root) / root);
    }
    // Each by itself would overflow where the product is small.
    let (up, down) = (libm::exp(root - fall), libm::exp(-root - fall));
    ((up + down) / 2.0, (up - down) / (2.0 * root))
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
            let (half, whole) = (noise.step(0.7), noise.step(1.4));
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
}
