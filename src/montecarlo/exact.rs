//! Sums that do not round: in whatever order passes are added, by whatever threads, machines and parts, the bits are the same.

use serde::{Deserialize, Serialize};

/// Bits behind the point: a summand is kept to 2⁻⁶⁰, about 9e-19.
const FRACTION_BITS: i32 = 60;

/// Stands for a sum that is not a number, or that left the range of about ±1.5e20.
const BROKEN: i128 = i128::MIN;

/// A sum in fixed point.
///
/// Every summand is rounded once, to 9e-19, and the sum of the rounded ones is exact. One that is not finite, or a sum beyond
/// ±1.5e20, turns the sum into NaN for good: nothing broken is lost on the way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Exact(i128);

impl Exact {
    /// One summand.
    pub fn of(value: f64) -> Self {
        let scaled = value * scale(FRACTION_BITS);
        // The cast saturates: what does not fit is broken.
        // What is not a number compares with nothing and is broken too.
        let fits = scaled.abs() < scale(127);
        Self(if fits {
            scaled.round_ties_even() as i128
        } else {
            BROKEN
        })
    }

    /// Adds a number.
    pub fn add(&mut self, value: f64) {
        self.merge(Self::of(value));
    }

    /// Adds another sum.
    pub fn merge(&mut self, other: Self) {
        let broken = self.0 == BROKEN || other.0 == BROKEN;
        self.0 = match self.0.checked_add(other.0) {
            Some(sum) if !broken => sum,
            _ => BROKEN,
        };
    }

    /// The sum, rounded to the nearest number; NaN if it broke.
    pub fn value(self) -> f64 {
        if self.0 == BROKEN {
            f64::NAN
        } else {
            self.0 as f64 * scale(-FRACTION_BITS)
        }
    }
}

/// Two to the power of `bits`.
fn scale(bits: i32) -> f64 {
    f64::from_bits(((1023 + bits) as u64) << 52)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn analytic_nothing_is_lost_beside_something_large() {
        let mut sum = Exact::of(1e15);
        for _ in 0..1000 {
            sum.add(2.0_f64.powi(-50));
        }
        sum.add(-1e15);
        assert_eq!(sum.value(), 1000.0 * 2.0_f64.powi(-50));
        assert_eq!(Exact::default().value(), 0.0);
    }

    #[test]
    fn analytic_what_is_broken_stays_broken() {
        for value in [f64::NAN, f64::INFINITY, -f64::INFINITY, 1e30, -1e30] {
            let mut sum = Exact::of(value);
            sum.add(1.0);
            assert!(sum.value().is_nan(), "{value}");
            let mut other = Exact::of(1.0);
            other.merge(sum);
            assert!(other.value().is_nan(), "{value}");
        }
        let mut overflow = Exact::of(1.2e20);
        overflow.add(1.2e20);
        assert!(overflow.value().is_nan());
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, rng_seed: proptest::test_runner::RngSeed::Fixed(1), failure_persistence: None, ..ProptestConfig::default() })]

        /// Any order and any cut gives the same bits; JSON keeps them.
        #[test]
        fn prop_order_does_not_matter(values in prop::collection::vec(-1e9..1e9_f64, 1..60), cut in 0_usize..60) {
            let sum = |values: &mut dyn Iterator<Item = &f64>| {
                let mut sum = Exact::default();
                values.for_each(|&value| sum.add(value));
                sum
            };
            let whole = sum(&mut values.iter());
            let cut = cut.min(values.len());
            let mut parts = sum(&mut values[cut..].iter().rev());
            parts.merge(sum(&mut values[..cut].iter()));
            prop_assert_eq!(whole, parts);
            let text = serde_json::to_string(&whole).unwrap();
            prop_assert_eq!(serde_json::from_str::<Exact>(&text).unwrap(), whole);
            // Half a unit of the last place for each summand, and the rounding of the plain sum.
            let plain: f64 = values.iter().sum();
            prop_assert!((whole.value() - plain).abs() <= 60.0 * (f64::EPSILON * 6e10 + 1e-18));
        }
    }
}
