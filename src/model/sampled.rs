//! What a controller that runs once a frame meets: held plant and fractions in `z⁻¹`.

/// A complex number.
pub type Complex = nalgebra::Complex<f64>;

/// One frequency and what the frames make of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frequency {
    /// Angular frequency, rad/s, above 0.
    pub w_rad_s: f64,
    /// Frame period T_f, s.
    pub frame_s: f64,
    /// `s = jw`, 1/s.
    pub s: Complex,
    /// `z⁻¹ = e^(-s T_f)`.
    pub back: Complex,
    /// `1 - z⁻¹`, without cancellation at low frequency.
    pub one_minus_back: Complex,
    /// The hold `(1 - z⁻¹)/(s T_f)`.
    pub hold: Complex,
}

impl Frequency {
    /// Everything at `w_rad_s` for frames each `frame_s`.
    pub fn new(w_rad_s: f64, frame_s: f64) -> Frequency {
        let s = Complex::new(0.0, w_rad_s);
        let one_minus_back = one_minus_delay(w_rad_s * frame_s);
        Frequency {
            w_rad_s,
            frame_s,
            s,
            back: delay(w_rad_s * frame_s),
            one_minus_back,
            hold: one_minus_back / (s * frame_s),
        }
    }

    /// `e^(-s time)`; a negative time looks ahead.
    pub fn delay(&self, time_s: f64) -> Complex {
        delay(self.w_rad_s * time_s)
    }
}

/// `e^(-j angle)`.
pub(crate) fn delay(angle_rad: f64) -> Complex {
    Complex::new(libm::cos(angle_rad), -libm::sin(angle_rad))
}

/// `1 - e^(-j angle)` without cancellation.
pub(crate) fn one_minus_delay(angle_rad: f64) -> Complex {
    let half = libm::sin(0.5 * angle_rad);
    Complex::new(2.0 * half * half, libm::sin(angle_rad))
}

/// `z⁻¹` to a power.
pub(crate) fn power(back: Complex, exponent: usize) -> Complex {
    (0..exponent).fold(Complex::new(1.0, 0.0), |product, _| product * back)
}

/// The plant `e^(-dead s)/(s (lag s + 1))` behind a hold, seen at the frames: exact (modified z-transform).
///
/// The command of a frame acts from that frame on; `dead_s` counts everything from there to the spool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeldPlant {
    frame_s: f64,
    lag_s: f64,
    /// Whole frames until the first effect.
    frames: usize,
    /// Time that the effect has had by then, s.
    rest_s: f64,
    /// `lag e^(-rest/lag)`, s.
    rest_lag_s: f64,
    /// `e^(-T_f/lag)`.
    pole: f64,
}

impl HeldPlant {
    /// The plant with that dead time and lag (both at least 0) for frames each `frame_s`.
    pub fn new(dead_s: f64, lag_s: f64, frame_s: f64) -> HeldPlant {
        // Modified z-transform: whole frames of the dead time are powers of z⁻¹; what is left of the last one acts within its frame.
        let frames = libm::ceil(dead_s / frame_s);
        // Rounding may leave a hair below 0 where the dead time is a whole number of frames.
        let rest_s = (frames * frame_s - dead_s).max(0.0);
        let (rest_lag_s, pole) = if lag_s > 0.0 {
            (
                lag_s * libm::exp(-rest_s / lag_s),
                libm::exp(-frame_s / lag_s),
            )
        } else {
            (0.0, 0.0)
        };
        HeldPlant {
            frame_s,
            lag_s,
            frames: frames as usize,
            rest_s,
            rest_lag_s,
            pole,
        }
    }

    /// Shift at the frames per held command in m/s.
    pub fn shift(&self, at: &Frequency) -> Complex {
        let settle = at.one_minus_back / (Complex::new(1.0, 0.0) - at.back * self.pole);
        // A step gives k T_f by whole frames, what the first part frame gave less the lag, and the lag's decay, here times 1 - z⁻¹ each.
        power(at.back, self.frames)
            * (at.back / at.one_minus_back * self.frame_s
                + (self.rest_s - self.lag_s)
                + settle * self.rest_lag_s)
    }

    /// Lag times shift speed at the frames per held command: what the spool still owes.
    pub fn owed_by_lag(&self, at: &Frequency) -> Complex {
        let settle = at.one_minus_back / (Complex::new(1.0, 0.0) - at.back * self.pole);
        power(at.back, self.frames) * (-settle * self.rest_lag_s + self.lag_s)
    }

    /// Integral of the commands still in the dead time, at the frames per held command.
    pub fn owed_by_dead_time(&self, at: &Frequency) -> Complex {
        horner(&self.dead_time_numerator(), at.back)
    }

    /// The same three as fractions.
    pub fn shift_fraction(&self) -> Fraction {
        let one = [1.0, -1.0];
        let pole = [1.0, -self.pole];
        let sum = plus(
            &plus(
                &scaled(&times(&one, &pole), self.rest_s - self.lag_s),
                &scaled(&times(&[0.0, 1.0], &pole), self.frame_s),
            ),
            &scaled(&times(&one, &one), self.rest_lag_s),
        );
        Fraction {
            numerator: self.delayed(&sum),
            denominator: times(&one, &pole),
        }
    }

    /// See [`HeldPlant::owed_by_lag`].
    pub fn owed_by_lag_fraction(&self) -> Fraction {
        let pole = [1.0, -self.pole];
        let sum = plus(
            &scaled(&pole, self.lag_s),
            &scaled(&[1.0, -1.0], -self.rest_lag_s),
        );
        Fraction {
            numerator: self.delayed(&sum),
            denominator: pole.to_vec(),
        }
    }

    /// See [`HeldPlant::owed_by_dead_time`].
    pub fn owed_by_dead_time_fraction(&self) -> Fraction {
        Fraction {
            numerator: self.dead_time_numerator(),
            denominator: vec![1.0],
        }
    }

    fn dead_time_numerator(&self) -> Vec<f64> {
        (0..=self.frames)
            .map(|k| match k {
                // The command of this very frame is only being worked out.
                0 => 0.0,
                // The oldest one has partly come through.
                k if k == self.frames => self.frame_s - self.rest_s,
                _ => self.frame_s,
            })
            .collect()
    }

    fn delayed(&self, polynomial: &[f64]) -> Vec<f64> {
        let mut shifted = vec![0.0; self.frames];
        shifted.extend_from_slice(polynomial);
        shifted
    }
}

/// A fraction of two polynomials in `z⁻¹`, coefficients by rising power.
#[derive(Clone, Debug, PartialEq)]
pub struct Fraction {
    /// Coefficients above the line.
    pub numerator: Vec<f64>,
    /// Coefficients below it.
    pub denominator: Vec<f64>,
}

impl Fraction {
    /// The number 1.
    pub fn one() -> Fraction {
        Fraction {
            numerator: vec![1.0],
            denominator: vec![1.0],
        }
    }

    /// Value at one `z⁻¹`.
    pub fn at(&self, back: Complex) -> Complex {
        horner(&self.numerator, back) / horner(&self.denominator, back)
    }

    /// Product.
    pub fn times(&self, other: &Fraction) -> Fraction {
        Fraction {
            numerator: times(&self.numerator, &other.numerator),
            denominator: times(&self.denominator, &other.denominator),
        }
    }

    /// Sum over the product of the denominators.
    pub fn plus(&self, other: &Fraction) -> Fraction {
        Fraction {
            // Not reduced: what could cancel are poles of the spool, inside the unit circle, which change no verdict on stability.
            numerator: plus(
                &times(&self.numerator, &other.denominator),
                &times(&other.numerator, &self.denominator),
            ),
            denominator: times(&self.denominator, &other.denominator),
        }
    }

    /// The fraction times a number.
    pub fn scaled(&self, factor: f64) -> Fraction {
        Fraction {
            numerator: scaled(&self.numerator, factor),
            denominator: self.denominator.clone(),
        }
    }

    /// Numerator plus denominator: the closed loop's characteristic polynomial where this is the open loop.
    pub fn characteristic(&self) -> Vec<f64> {
        plus(&self.numerator, &self.denominator)
    }

    /// Delay of a filter of unit gain at low frequency, s: minus the slope of its phase over w at 0.
    pub fn low_frequency_delay_s(&self, frame_s: f64) -> f64 {
        // From the coefficients: the phase at some small frequency would be its rounding over that frequency.
        let sum = |c: &[f64]| c.iter().sum::<f64>();
        let slope = |c: &[f64]| {
            c.iter()
                .enumerate()
                .map(|(k, value)| k as f64 * value)
                .sum::<f64>()
        };
        frame_s
            * (slope(&self.numerator) / sum(&self.numerator)
                - slope(&self.denominator) / sum(&self.denominator))
    }
}

/// True if every root z of `c_0 z^n + c_1 z^(n-1) + ... + c_n` lies inside the unit circle (Schur-Cohn recursion, Jury's test):
/// exact up to rounding, no root is computed.
pub fn roots_inside_unit_circle(coefficients: &[f64]) -> bool {
    let mut c = coefficients.to_vec();
    while c.len() > 1 {
        let last = c.len() - 1;
        let reflection = c[last] / c[0];
        // A NaN is not >= 1 either and would pass for stable.
        if reflection.is_nan() || reflection.abs() >= 1.0 {
            return false;
        }
        c = (0..last).map(|k| c[k] - reflection * c[last - k]).collect();
    }
    true
}

fn horner(coefficients: &[f64], back: Complex) -> Complex {
    coefficients
        .iter()
        .rev()
        .fold(Complex::new(0.0, 0.0), |sum, &c| sum * back + c)
}

pub(crate) fn times(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut product = vec![0.0; a.len() + b.len() - 1];
    for (i, x) in a.iter().enumerate() {
        for (k, y) in b.iter().enumerate() {
            product[i + k] += x * y;
        }
    }
    product
}

pub(crate) fn plus(a: &[f64], b: &[f64]) -> Vec<f64> {
    (0..a.len().max(b.len()))
        .map(|k| a.get(k).unwrap_or(&0.0) + b.get(k).unwrap_or(&0.0))
        .collect()
}

pub(crate) fn scaled(a: &[f64], factor: f64) -> Vec<f64> {
    a.iter().map(|value| value * factor).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::controller::Pid;
    use crate::model::controller::pid::{pid_fraction, pid_response};

    fn near(a: Complex, b: Complex, relative: f64) -> bool {
        (a - b).norm_sqr().sqrt() <= relative * b.norm_sqr().sqrt()
    }

    /// The response at a frequency and the fraction are the same function (rounding; 1e-9 where 1 - z⁻¹ is small).
    #[test]
    fn analytic_responses_and_fractions_agree() {
        let pid = Pid::simc(0.13, 0.13, 0.06);
        for (dead, lag) in [(0.11, 0.06), (0.08, 0.0), (0.0, 0.05), (0.03, 0.2)] {
            let plant = HeldPlant::new(dead, lag, 0.04);
            for w in [0.3, 3.0, 30.0, 70.0] {
                let at = Frequency::new(w, 0.04);
                let pairs = [
                    (plant.shift(&at), plant.shift_fraction()),
                    (plant.owed_by_lag(&at), plant.owed_by_lag_fraction()),
                    (
                        plant.owed_by_dead_time(&at),
                        plant.owed_by_dead_time_fraction(),
                    ),
                    (pid_response(&pid, &at), pid_fraction(&pid, 0.04)),
                ];
                for (response, fraction) in pairs {
                    let value = fraction.at(at.back);
                    assert!(
                        (response - value).norm_sqr().sqrt()
                            <= 1e-9 * response.norm_sqr().sqrt() + 1e-15
                    );
                }
            }
        }
    }

    /// Poisson sum: the pulse transfer function is the sum of `e^(-s dead)/(s (lag s + 1)) hold` over w + 2 pi k/T_f. The tail
    /// beyond 2000 terms falls like k⁻³: below 1e-7.
    #[test]
    fn analytic_held_plant_is_the_sum_of_its_images() {
        let t = 0.04;
        let plant = HeldPlant::new(0.11, 0.06, t);
        for w in [1.0, 8.0, 40.0] {
            let mut sum = Complex::new(0.0, 0.0);
            for k in -2000..=2000 {
                let image = w + core::f64::consts::TAU * f64::from(k) / t;
                let s = Complex::new(0.0, image);
                let hold = one_minus_delay(image * t) / (s * t);
                sum += delay(image * 0.11) / (s * (s * 0.06 + 1.0)) * hold;
            }
            let found = plant.shift(&Frequency::new(w, t));
            assert!(near(found, sum, 1e-7), "{w}: {found} {sum}");
        }
    }

    /// With the plant that the controller believes, shift + owed by lag + owed by dead time is the plain sum of the commands,
    /// `T_f z⁻¹/(1 - z⁻¹)`: the Smith predictor is exact.
    #[test]
    fn analytic_smith_predictor_undoes_the_plant() {
        for (dead, lag) in [(0.03, 0.06), (0.08, 0.02), (0.0, 0.1), (0.123, 0.0)] {
            let plant = HeldPlant::new(dead, lag, 0.04);
            for w in [0.01, 2.0, 50.0] {
                let at = Frequency::new(w, 0.04);
                let predicted =
                    plant.shift(&at) + plant.owed_by_lag(&at) + plant.owed_by_dead_time(&at);
                assert!(near(
                    predicted,
                    at.back / at.one_minus_back * 0.04,
                    1e-12 + 1e-13 / w
                ));
            }
        }
    }

    #[test]
    fn analytic_schur_cohn_knows_the_roots() {
        let from_roots = |roots: &[f64]| {
            roots
                .iter()
                .fold(vec![1.0], |c, root| times(&c, &[1.0, -root]))
        };
        assert!(roots_inside_unit_circle(&from_roots(&[
            0.999, -0.5, 0.2, -0.99, 0.0
        ])));
        assert!(!roots_inside_unit_circle(&from_roots(&[0.5, -1.001, 0.2])));
        assert!(!roots_inside_unit_circle(&from_roots(&[1.0, 0.3])));
        // A complex pair of radius r: 1 - 2 r cos(a) z⁻¹ + r² z⁻².
        assert!(roots_inside_unit_circle(&[1.0, -1.2, 0.998]));
        assert!(!roots_inside_unit_circle(&[1.0, -1.2, 1.002]));
    }
}
