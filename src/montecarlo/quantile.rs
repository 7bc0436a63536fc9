//! Quantiles of the beta and Student distributions for real-valued parameters of any size.
//!
//! Written here because the general libraries at hand cut the continued fraction short: the number of terms grows with the
//! root of the larger parameter, and a study counts millions of plants.

/// Logarithm of the gamma function of a positive number.
fn ln_gamma(x: f64) -> f64 {
    libm::lgamma(x)
}

/// Logarithm of `x^a (1-x)^b / B(a, b)`.
fn ln_kernel(a: f64, b: f64, x: f64) -> f64 {
    ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * libm::log(x) + b * libm::log1p(-x)
}

/// Continued fraction of the incomplete beta function (Abramowitz & Stegun 26.5.8) by Lentz's method, for x below
/// `(a+1)/(a+b+2)`.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    // Lentz divides by every term: one of nothing is moved off it.
    let keep_off_zero = |value: f64| if value.abs() < TINY { TINY } else { value };
    let most_terms = 200.0 + 20.0 * (a + b).sqrt();
    let mut c = 1.0;
    let mut d = 1.0 / keep_off_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut h = d;
    let mut m = 1.0;
    while m < most_terms {
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / keep_off_zero(1.0 + even * d);
        c = keep_off_zero(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / keep_off_zero(1.0 + odd * d);
        c = keep_off_zero(1.0 + odd / c);
        h *= d * c;
        if (d * c - 1.0).abs() < 2.0 * f64::EPSILON {
            break;
        }
        m += 1.0;
    }
    h
}

/// Probability that a beta variable with parameters a, b above 0 is at most x, 0 to 1.
pub(super) fn beta_probability(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    // The fraction converges fast on this side; beyond it the mirror image does.
    } else if x < (a + 1.0) / (a + b + 2.0) {
        libm::exp(ln_kernel(a, b, x)) * fraction(a, b, x) / a
    } else {
        1.0 - libm::exp(ln_kernel(a, b, x)) * fraction(b, a, 1.0 - x) / b
    }
}

/// Value that a beta variable with parameters a, b above 0 stays under with probability p, 0 to 1: Newton steps, and halving
/// of the bracket in floating-point order where a step leaves it.
pub(crate) fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    if p <= 0.0 {
        return 0.0;
    }
    if p >= 1.0 {
        return 1.0;
    }
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    let mut x = a / (a + b);
    for _ in 0..200 {
        let excess = beta_probability(a, b, x) - p;
        if excess == 0.0 {
            return x;
        }
        if excess < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let density = libm::exp(ln_kernel(a, b, x)) / (x * (1.0 - x));
        let newton = x - excess / density;
        let next = if newton > low && newton < high {
            newton
        } else {
            // Half way between the bits halves the exponent as well: a quantile may lie at 1e-300.
            f64::from_bits(low.to_bits().midpoint(high.to_bits()))
        };
        if (next - x).abs() <= f64::EPSILON * x || next == low || next == high {
            return next;
        }
        x = next;
    }
    x
}

/// Two-sided Student factor: a variable with `freedom` degrees above 0 stays within it either way with probability `level`.
pub(crate) fn student_factor(freedom: f64, level: f64) -> f64 {
    let share = beta_quantile(0.5, freedom / 2.0, level);
    (freedom * share / (1.0 - share)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed forms: I_x(a, 1) = x^a, I_x(1, b) = 1 - (1-x)^b. Tolerance: 1e-16 on the logarithms times their size.
    #[test]
    fn analytic_quantiles_with_one_parameter_at_one() {
        for size in [0.05_f64, 0.7, 3.0, 50.0, 4000.0, 3e5] {
            for p in [0.001_f64, 0.025, 0.5, 0.975] {
                let want = p.powf(1.0 / size);
                let got = beta_quantile(size, 1.0, p);
                assert!((got / want - 1.0).abs() < 1e-11, "{size} {p} {got} {want}");
                let want = -f64::exp_m1(f64::ln_1p(-p) / size);
                let got = beta_quantile(1.0, size, p);
                assert!((got / want - 1.0).abs() < 1e-9, "{size} {p} {got} {want}");
            }
        }
    }

    /// Student with 1 and 2 degrees of freedom: tan(pi level / 2) and level sqrt(2 / (1 - level^2)).
    #[test]
    fn analytic_student_factors() {
        for level in [0.5, 0.6, 0.8, 0.95, 0.99] {
            let want = f64::tan(core::f64::consts::FRAC_PI_2 * level);
            assert!((student_factor(1.0, level) / want - 1.0).abs() < 1e-11);
            let want = level * f64::sqrt(2.0 / (1.0 - level * level));
            assert!((student_factor(2.0, level) / want - 1.0).abs() < 1e-11);
        }
    }

    /// Median of a symmetric beta distribution: one half, at every size.
    #[test]
    fn analytic_symmetric_medians() {
        for size in [0.3, 1.0, 12.0, 1e3, 1e5, 1e7] {
            assert!(
                (beta_quantile(size, size, 0.5) - 0.5).abs() < 1e-10,
                "{size}"
            );
        }
    }
}
