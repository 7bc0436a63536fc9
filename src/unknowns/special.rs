//! Functions of the bell curve and of the gamma distribution, from the crate `libm` alone, so that every platform gives the same bits.
//!
//! Sources: quantile of the bell curve: Wichura, Appl. Statist. 37:477-484, 1988 (algorithm AS 241); its far tail: Abramowitz & Stegun
//! 26.2.12; incomplete gamma function: series and continued fraction, Abramowitz & Stegun 6.5.29 and 6.5.31.

use core::f64::consts::{FRAC_1_SQRT_2, LN_2, PI};

/// Probability that a standard normal number is at most `z`.
pub fn normal_probability(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// Standard normal number that is not exceeded with probability `p`; -inf at 0, +inf at 1, NaN outside.
pub fn normal_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * ratio(&CENTRE, r);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    if tail <= 0.0 {
        return if tail < 0.0 {
            f64::NAN
        } else {
            f64::INFINITY.copysign(q)
        };
    }
    let r = (-libm::log(tail)).sqrt();
    let size = if r <= 5.0 {
        ratio(&NEAR, r - 1.6)
    } else {
        ratio(&FAR, r - 5.0)
    };
    size.copysign(q)
}

/// Coefficients of numerator and denominator, lowest power first.
type Ratio = ([f64; 8], [f64; 8]);

// All digits as published.
#[allow(clippy::excessive_precision)]
const CENTRE: Ratio = (
    [
        3.387_132_872_796_366_608,
        133.141_667_891_784_377_45,
        1_971.590_950_306_551_442_7,
        13_731.693_765_509_461_125,
        45_921.953_931_549_871_457,
        67_265.770_927_008_700_853,
        33_430.575_583_588_128_105,
        2_509.080_928_730_122_672_7,
    ],
    [
        1.0,
        42.313_330_701_600_911_252,
        687.187_007_492_057_908_3,
        5_394.196_021_424_751_107_7,
        21_213.794_301_586_595_867,
        39_307.895_800_092_710_610,
        28_729.085_735_721_942_674,
        5_226.495_278_852_854_561,
    ],
);

#[allow(clippy::excessive_precision)]
const NEAR: Ratio = (
    [
        1.423_437_110_749_683_577_34,
        4.630_337_846_156_545_295_9,
        5.769_497_221_460_691_405_5,
        3.647_848_324_763_204_605_04,
        1.270_458_252_452_368_382_58,
        0.241_780_725_177_450_611_77,
        0.022_723_844_989_269_184_583_3,
        7.745_450_142_783_414_076_4e-4,
    ],
    [
        1.0,
        2.053_191_626_637_758_821_87,
        1.676_384_830_183_803_849_4,
        0.689_767_334_985_100_004_55,
        0.148_103_976_427_480_074_59,
        0.015_198_666_563_616_457_196_6,
        5.475_938_084_995_344_946e-4,
        1.050_750_071_644_416_843_24e-9,
    ],
);

#[allow(clippy::excessive_precision)]
const FAR: Ratio = (
    [
        6.657_904_643_501_103_777_2,
        5.463_784_911_164_114_369_9,
        1.784_826_539_917_291_335_8,
        0.296_560_571_828_504_891_23,
        0.026_532_189_526_576_123_093,
        1.242_660_947_388_078_438_6e-3,
        2.711_555_568_743_487_578_15e-5,
        2.010_334_399_292_288_132_65e-7,
    ],
    [
        1.0,
        0.599_832_206_555_887_937_69,
        0.136_929_880_922_735_805_31,
        0.014_875_361_290_850_614_852_5,
        7.868_691_311_456_132_591e-4,
        1.846_318_317_510_054_681_8e-5,
        1.421_511_758_316_445_888_7e-7,
        2.044_263_103_389_939_785_64e-15,
    ],
);

fn ratio((above, below): &Ratio, r: f64) -> f64 {
    let value = |c: &[f64; 8]| c.iter().rev().fold(0.0, |sum, c| sum * r + c);
    value(above) / value(below)
}

/// Argument from which the tail is taken from its asymptotic series: relative error below 1e-8 there, and `erfc` underflows near 38.
const FAR_OUT: f64 = 30.0;

/// `ln(Q(x) + Q(y))` with Q the upper tail of the bell curve; never above 0, finite for arguments below 1e150.
pub fn ln_two_tails(x: f64, y: f64) -> f64 {
    let (near, far) = if x < y { (x, y) } else { (y, x) };
    if near > FAR_OUT {
        let first = ln_far_tail(near);
        // How much the second adds: 0 where it is below rounding.
        return first + libm::log1p(libm::exp(ln_far_tail(far) - first));
    }
    let second = if far - near > 40.0 {
        0.0
    } else {
        libm::erfc(far * FRAC_1_SQRT_2)
    };
    (libm::log(libm::erfc(near * FRAC_1_SQRT_2) + second) - LN_2).min(0.0)
}

/// Logarithm of the upper tail far out.
fn ln_far_tail(x: f64) -> f64 {
    let z = 1.0 / (x * x);
    -0.5 * x * x - libm::log(x) - 0.5 * libm::log(2.0 * PI)
        + libm::log1p(-z * (1.0 - 3.0 * z * (1.0 - 5.0 * z)))
}

/// Probability that a gamma variable of `shape` above 0 and scale 1 is at most `x`.
pub fn gamma_probability(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let kernel = libm::exp(shape * libm::log(x) - x - libm::lgamma(shape));
    // Terms until rounding: their number grows with the root of the shape.
    let most_terms = 200 + (20.0 * shape.sqrt()) as usize;
    if x < shape + 1.0 {
        let mut term = 1.0 / shape;
        let mut sum = term;
        for n in 1..most_terms {
            term *= x / (shape + n as f64);
            sum += term;
            if term < sum * 1e-17 {
                break;
            }
        }
        (kernel * sum).min(1.0)
    } else {
        // Lentz's method.
        const TINY: f64 = 1e-300;
        let mut b = x + 1.0 - shape;
        let mut c = 1.0 / TINY;
        let mut d = 1.0 / b;
        let mut h = d;
        for n in 1..most_terms {
            let n = n as f64;
            let a = -n * (n - shape);
            b += 2.0;
            d = a * d + b;
            d = 1.0 / if d.abs() < TINY { TINY } else { d };
            c = b + a / c;
            c = if c.abs() < TINY { TINY } else { c };
            h *= c * d;
            if (c * d - 1.0).abs() < 1e-15 {
                break;
            }
        }
        (1.0 - kernel * h).clamp(0.0, 1.0)
    }
}

/// Probability that a chi-square variable of `freedom` degrees is at most `x`.
pub fn chi_square_probability(freedom: f64, x: f64) -> f64 {
    gamma_probability(freedom / 2.0, x / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

    /// Crate statrs 0.19.1, whose functions are good to about 1e-10: an allowance of ten times.
    #[test]
    fn val_bell_curve() {
        let law = Normal::new(0.0, 1.0).unwrap();
        for i in 1..4000 {
            let p = f64::from(i) / 4000.0;
            assert!(
                (normal_quantile(p) - law.inverse_cdf(p)).abs() < 1e-9,
                "{p}"
            );
        }
        for z in [-6.0, -2.0, -0.3, 0.0, 0.7, 3.0, 8.0] {
            assert!((normal_probability(z) / law.cdf(z) - 1.0).abs() < 1e-9);
        }
    }

    /// Quantile and probability undo each other, also far out.
    #[test]
    fn analytic_quantile_is_the_inverse() {
        for i in -370..=80 {
            let z = f64::from(i) / 10.0;
            // Above 0 the probability itself has rounded: 1e-16 over the density.
            let tolerance = 1e-13 + 2e-16 * libm::exp(z * z / 2.0) * 2.6;
            let back = normal_quantile(normal_probability(z));
            assert!(
                (back - z).abs() < tolerance * z.abs().max(1.0) || z > 8.2,
                "{z} {back}"
            );
        }
        assert_eq!(normal_quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(normal_quantile(1.0), f64::INFINITY);
        assert!(normal_quantile(1.5).is_nan() && normal_quantile(-0.1).is_nan());
    }

    /// Two tails: 1 at the middle, the same just before and behind the change of formula, and the law of the far tail.
    #[test]
    fn analytic_logarithm_of_two_tails() {
        assert!(ln_two_tails(0.0, 0.0).abs() < 1e-15);
        assert_eq!(ln_two_tails(-3.0, -2.0), 0.0);
        let expected = libm::log(normal_probability(-2.0) + normal_probability(-3.0));
        assert!((ln_two_tails(2.0, 3.0) - expected).abs() < 1e-12);
        // Slope of the far tail is -(x + 1/x).
        let step = 2e-9;
        let before = ln_two_tails(FAR_OUT - step, 90.0);
        let behind = ln_two_tails(FAR_OUT + step, 90.0);
        assert!((behind - before + 2.0 * step * (FAR_OUT + 1.0 / FAR_OUT)).abs() < 1e-8);
        assert!((ln_two_tails(40.0, 40.0) - ln_two_tails(40.0, 400.0) - LN_2).abs() < 1e-12);
        assert!(ln_two_tails(1e6, 1e6).is_finite());
    }

    /// Crate statrs 0.19.1, good to about 1e-10.
    #[test]
    fn val_chi_square() {
        for freedom in [1.0, 2.0, 5.0, 11.0, 40.0, 300.0] {
            let law = ChiSquared::new(freedom).unwrap();
            for ratio in [0.01, 0.3, 0.8, 1.0, 1.2, 2.0, 4.0] {
                let x = freedom * ratio;
                let apart = chi_square_probability(freedom, x) - law.cdf(x);
                assert!(apart.abs() < 1e-9, "{freedom} {x} {apart}");
            }
        }
    }
}
