//! Seeded random numbers for simulated outcomes, by inversion and rejection with the crate `libm`.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::special::normal_quantile;

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub struct Dice(ChaCha8Rng);

impl Dice {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Uniform, above 0 and below 1.
    pub fn uniform(&mut self) -> f64 {
        let bits: u64 = self.0.random();
        ((bits >> 12) as f64 + 0.5) / 4_503_599_627_370_496.0
    }

    /// Whole number from 0 to below `count`.
    pub fn below(&mut self, count: usize) -> usize {
        ((self.uniform() * count as f64) as usize).min(count.saturating_sub(1))
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    /// Gamma of `shape` above 0 and scale 1: Marsaglia & Tsang, ACM Trans. Math. Softw. 26:363-372, 2000.
    pub fn gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            let boost = libm::exp(libm::log(self.uniform()) / shape);
            return self.gamma(shape + 1.0) * boost;
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let z = self.normal();
            let root = 1.0 + c * z;
            if root > 0.0 {
                let v = root * root * root;
                if libm::log(self.uniform()) < 0.5 * z * z + d - d * v + d * libm::log(v) {
                    return d * v;
                }
            }
        }
    }

    /// Beta with both parameters above 0.
    pub fn beta(&mut self, a: f64, b: f64) -> f64 {
        let x = self.gamma(a);
        let y = self.gamma(b);
        if x + y > 0.0 { x / (x + y) } else { 0.0 }
    }

    /// Successes among `trials`, one by one.
    pub fn binomial(&mut self, trials: u64, probability: f64) -> u64 {
        (0..trials)
            .map(|_| u64::from(self.uniform() < probability))
            .sum()
    }

    /// Puts the numbers 0 to below `order.len()` into random order (Fisher & Yates).
    pub fn shuffle(&mut self, order: &mut [usize]) {
        for (i, place) in order.iter_mut().enumerate() {
            *place = i;
        }
        for last in (1..order.len()).rev() {
            order.swap(last, self.below(last + 1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean and variance of gamma and beta variables, within 4 standard errors of the mean and 5 % of the variance.
    #[test]
    fn analytic_moments() {
        let mut dice = Dice::new(4);
        let n = 100_000;
        let mut check = |draw: &mut dyn FnMut(&mut Dice) -> f64, mean: f64, variance: f64| {
            let x: Vec<f64> = (0..n).map(|_| draw(&mut dice)).collect();
            let m = x.iter().sum::<f64>() / f64::from(n);
            let v = x.iter().map(|x| (x - m) * (x - m)).sum::<f64>() / f64::from(n);
            assert!((m - mean).abs() < 4.0 * (variance / f64::from(n)).sqrt());
            assert!((v / variance - 1.0).abs() < 0.05, "{v} {variance}");
        };
        for shape in [0.3, 1.0, 7.5] {
            check(&mut |dice| dice.gamma(shape), shape, shape);
        }
        let (a, b) = (0.5, 3.0);
        let variance = a * b / ((a + b) * (a + b) * (a + b + 1.0));
        check(&mut |dice| dice.beta(a, b), a / (a + b), variance);
        check(&mut |dice| dice.binomial(20, 0.3) as f64, 6.0, 4.2);
    }

    #[test]
    fn prop_shuffled_numbers_are_all_there() {
        let mut dice = Dice::new(1);
        let mut order = [0; 9];
        dice.shuffle(&mut order);
        let first = order;
        dice.shuffle(&mut order);
        assert_ne!(first, order);
        order.sort_unstable();
        assert_eq!(order, [0, 1, 2, 3, 4, 5, 6, 7, 8]);
    }
}
