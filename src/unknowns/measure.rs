//! What can be measured in the field, and how likely each result is at every point of what is not known.
//!
//! Sources: a count with extra scatter between places is beta-binomial (Skellam, J. R. Stat. Soc. B 10:257-261, 1948), with the variance
//! of rates that the negative binomial law of rare counts has, so that also a count of half of all plants cannot pass their number; half
//! of a tie counts as beyond it (mid-p: Lancaster, J. Amer. Stat. Assoc. 56:223-234, 1961).

use serde::{Deserialize, Serialize};

use super::dice::Dice;
use super::special::{chi_square_probability, normal_probability};

/// Something that can be measured. Made for a cloud: every list in it has one entry for each of its points, in their order.
pub trait Measurement {
    /// Logarithm of the likelihood of a result at every point, up to a constant; -inf where the point rules it out.
    fn ln_likelihood(&self, result: &[f64]) -> Vec<f64>;

    /// A result as it might come at a point.
    fn simulate(&self, point: usize, dice: &mut Dice) -> Vec<f64>;

    /// In which ways the result may be off what the points let expect, each with the probability of one as low or lower at every point.
    fn below(&self, result: &[f64]) -> Vec<(Aspect, Vec<f64>)>;
}

/// In which way a result may be off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Aspect {
    /// The mean of readings.
    Mean,
    /// How far readings lie apart.
    Spread,
    /// How many plants were struck.
    Struck,
    /// The value itself.
    Value,
}

/// Readings with a tape: half the difference of the gaps left and right of a row between the tools, in m, at places far enough apart to be
/// independent. A result has one number for each.
#[derive(Clone, Debug, PartialEq)]
pub struct Tape {
    /// Mean of the tool error, m.
    pub mean_m: Vec<f64>,
    /// Variance of tool error, plants and units together, m².
    pub variance_m2: Vec<f64>,
    /// Standard deviation of what the tape adds, m.
    pub tape_sd_m: f64,
    /// How many readings a simulated result has.
    pub readings: usize,
}

impl Tape {
    fn variance_at(&self, point: usize) -> f64 {
        (self.variance_m2[point] + self.tape_sd_m * self.tape_sd_m).max(1e-18)
    }
}

/// Mean of numbers and the sum of squares about it.
fn mean_and_squares(numbers: &[f64]) -> (f64, f64) {
    let mean = numbers.iter().sum::<f64>() / numbers.len() as f64;
    let squares = numbers.iter().map(|x| (x - mean) * (x - mean)).sum();
    (mean, squares)
}

impl Measurement for Tape {
    fn ln_likelihood(&self, result: &[f64]) -> Vec<f64> {
        if result.is_empty() {
            return vec![0.0; self.mean_m.len()];
        }
        let n = result.len() as f64;
        let (mean, squares) = mean_and_squares(result);
        (0..self.mean_m.len())
            .map(|i| {
                let variance = self.variance_at(i);
                let off = mean - self.mean_m[i];
                -0.5 * (n * libm::log(variance) + (squares + n * off * off) / variance)
            })
            .collect()
    }

    fn simulate(&self, point: usize, dice: &mut Dice) -> Vec<f64> {
        let sd = self.variance_at(point).sqrt();
        (0..self.readings)
            .map(|_| self.mean_m[point] + sd * dice.normal())
            .collect()
    }

    fn below(&self, result: &[f64]) -> Vec<(Aspect, Vec<f64>)> {
        if result.is_empty() {
            return Vec::new();
        }
        let n = result.len() as f64;
        let (mean, squares) = mean_and_squares(result);
        let points = 0..self.mean_m.len();
        let of_mean = points.clone().map(|i| {
            normal_probability((mean - self.mean_m[i]) / (self.variance_at(i) / n).sqrt())
        });
        let mut all = vec![(Aspect::Mean, of_mean.collect())];
        if result.len() > 1 {
            let of_spread =
                points.map(|i| chi_square_probability(n - 1.0, squares / self.variance_at(i)));
            all.push((Aspect::Spread, of_spread.collect()));
        }
        all
    }
}

/// Struck plants among those counted at one or several places. A result is one number: all that were struck.
#[derive(Clone, Debug, PartialEq)]
pub struct Count {
    /// Logarithm of the rate.
    pub ln_rate: Vec<f64>,
    /// Square of the coefficient of variation of the rate of one of the study's passes, `phi rate^(p-2)`.
    pub pass_variation: Vec<f64>,
    /// Plants counted in all.
    pub plants: u64,
    /// Places at which they were counted, at least 1, of like size.
    pub places: u64,
    /// Length of a study's pass over that of a place: how much more a place varies.
    pub pass_over_place: f64,
}

/// Parameters of the beta law of the rate over all places; `None` where it does not vary.
type Beta = Option<(f64, f64)>;

impl Count {
    /// Rate and its law: variance `rate² / shape`, shape = places / (variation * pass_over_place), which the beta law has too.
    fn law(&self, point: usize) -> (f64, Beta) {
        let rate = libm::exp(self.ln_rate[point]).clamp(1e-300, 1.0);
        let variation = self.pass_variation[point] * self.pass_over_place;
        let squared = rate * variation / self.places.max(1) as f64;
        if rate >= 1.0 || squared < 1e-9 * (1.0 - rate) {
            return (rate, None);
        }
        // More than the beta law can hold would be all or nothing: a little short of that.
        let sum = ((1.0 - rate) / squared - 1.0).max(0.01);
        (rate, Some((rate * sum, (1.0 - rate) * sum)))
    }

    /// Logarithm of the probability of `struck`, without the binomial coefficient.
    fn ln_kernel(&self, point: usize, struck: f64) -> f64 {
        let spared = self.plants as f64 - struck;
        let (rate, beta) = self.law(point);
        match beta {
            None => {
                let part = |count: f64, ln: f64| if count > 0.0 { count * ln } else { 0.0 };
                part(struck, libm::log(rate)) + part(spared, libm::log1p(-rate))
            }
            Some((a, b)) => {
                ln_rise(a, struck) + ln_rise(b, spared) - ln_rise(a + b, struck + spared)
            }
        }
    }

    /// Probability of fewer than `struck` and half that of as many, by the ratios of neighbouring probabilities from `struck` to the
    /// nearer end.
    fn mid_probability(&self, point: usize, struck: f64) -> f64 {
        let n = self.plants as f64;
        let (rate, beta) = self.law(point);
        let coefficient =
            libm::lgamma(n + 1.0) - libm::lgamma(struck + 1.0) - libm::lgamma(n - struck + 1.0);
        let same = libm::exp(self.ln_kernel(point, struck) + coefficient);
        // Probability of k + 1 over that of k.
        let step = |k: f64| match beta {
            None => (n - k) / (k + 1.0) * rate / (1.0 - rate).max(1e-300),
            Some((a, b)) => (n - k) / (k + 1.0) * (a + k) / (b + n - k - 1.0),
        };
        let downwards = struck <= n / 2.0;
        let mut k = struck;
        let mut probability = same;
        let mut sum = 0.0;
        while (downwards && k > 0.0) || (!downwards && k < n) {
            let next = if downwards { k - 1.0 } else { k };
            let ratio = step(next);
            probability *= if downwards { 1.0 / ratio } else { ratio };
            k = if downwards { next } else { k + 1.0 };
            sum += probability;
            if probability < 1e-18 * sum {
                break;
            }
        }
        let below = if downwards {
            sum + 0.5 * same
        } else {
            1.0 - sum - 0.5 * same
        };
        below.clamp(0.0, 1.0)
    }
}

/// `ln(gamma(x + n) / gamma(x))`: where x is large against n, by Stirling's series, which does not lose digits.
fn ln_rise(x: f64, n: f64) -> f64 {
    if x > 1e6 {
        let tail = |y: f64| 1.0 / (12.0 * y);
        n * libm::log(x) + (x + n - 0.5) * libm::log1p(n / x) - n + tail(x + n) - tail(x)
    } else {
        libm::lgamma(x + n) - libm::lgamma(x)
    }
}

impl Measurement for Count {
    fn ln_likelihood(&self, result: &[f64]) -> Vec<f64> {
        let points = 0..self.ln_rate.len();
        match result {
            &[struck] if (0.0..=self.plants as f64).contains(&struck) => {
                points.map(|i| self.ln_kernel(i, struck)).collect()
            }
            _ => vec![0.0; self.ln_rate.len()],
        }
    }

    fn simulate(&self, point: usize, dice: &mut Dice) -> Vec<f64> {
        let (rate, beta) = self.law(point);
        let rate = beta.map_or(rate, |(a, b)| dice.beta(a, b));
        vec![dice.binomial(self.plants, rate) as f64]
    }

    fn below(&self, result: &[f64]) -> Vec<(Aspect, Vec<f64>)> {
        match result {
            &[struck] if (0.0..=self.plants as f64).contains(&struck) => {
                let points = 0..self.ln_rate.len();
                let below = points.map(|i| self.mid_probability(i, struck)).collect();
                vec![(Aspect::Struck, below)]
            }
            _ => Vec::new(),
        }
    }
}

/// How the error of a direct measurement is meant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Error {
    /// Standard deviation in the unit of the input.
    Absolute(f64),
    /// Standard deviation of the logarithm: 0.1 is about 10 %.
    Relative(f64),
}

/// One input measured itself: plants off a string, a timed latency, a logged wander. A result is one number in the unit of the input.
#[derive(Clone, Debug, PartialEq)]
pub struct Direct {
    /// The input's value.
    pub value: Vec<f64>,
    /// Standard deviation of the measurement, above 0.
    pub error: Error,
}

impl Direct {
    /// Distance of the result from the point's value in standard deviations; `None` where logarithms are asked of what has none.
    fn distance(&self, point: usize, seen: f64) -> Option<f64> {
        let value = self.value[point];
        match self.error {
            Error::Absolute(sd) => Some((seen - value) / sd),
            Error::Relative(sd) => {
                (seen > 0.0 && value > 0.0).then(|| libm::log(seen / value) / sd)
            }
        }
    }
}

impl Measurement for Direct {
    fn ln_likelihood(&self, result: &[f64]) -> Vec<f64> {
        let points = 0..self.value.len();
        match result {
            &[seen] => points
                .map(|i| {
                    self.distance(i, seen)
                        .map_or(f64::NEG_INFINITY, |z| -0.5 * z * z)
                })
                .collect(),
            _ => vec![0.0; self.value.len()],
        }
    }

    fn simulate(&self, point: usize, dice: &mut Dice) -> Vec<f64> {
        let value = self.value[point];
        vec![match self.error {
            Error::Absolute(sd) => value + sd * dice.normal(),
            Error::Relative(sd) => value * libm::exp(sd * dice.normal()),
        }]
    }

    fn below(&self, result: &[f64]) -> Vec<(Aspect, Vec<f64>)> {
        match result {
            &[seen] => {
                let points = 0..self.value.len();
                let below = points.map(|i| self.distance(i, seen).map_or(0.0, normal_probability));
                vec![(Aspect::Value, below.collect())]
            }
            _ => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Binomial, DiscreteCDF};
    use statrs::function::gamma::ln_gamma;

    fn count(rate: f64, variation: f64, plants: u64) -> Count {
        Count {
            ln_rate: vec![libm::log(rate)],
            pass_variation: vec![variation],
            plants,
            places: 4,
            pass_over_place: 2.0,
        }
    }

    fn probability(count: &Count, struck: u64) -> f64 {
        let (n, k) = (count.plants as f64, struck as f64);
        let coefficient = ln_gamma(n + 1.0) - ln_gamma(k + 1.0) - ln_gamma(n - k + 1.0);
        libm::exp(count.ln_likelihood(&[k])[0] + coefficient)
    }

    /// All probabilities add up to 1; mean n r, variance n r (1-r) + n (n-1) r²/shape.
    #[test]
    fn analytic_moments_of_a_count() {
        for (rate, variation) in [(0.01, 0.0), (0.02, 1.0), (0.5, 0.2), (0.3, 1e-7)] {
            let count = count(rate, variation, 60);
            let p: Vec<f64> = (0..=60).map(|k| probability(&count, k)).collect();
            let moment = |power: i32| {
                let terms = p.iter().enumerate();
                terms.map(|(k, p)| p * (k as f64).powi(power)).sum::<f64>()
            };
            assert!((moment(0) - 1.0).abs() < 1e-9);
            assert!((moment(1) - 60.0 * rate).abs() < 1e-7);
            let shape = 4.0 / (2.0 * variation);
            let variance = 60.0 * rate * (1.0 - rate) + 60.0 * 59.0 * rate * rate / shape;
            assert!((moment(2) - moment(1) * moment(1) - variance).abs() < 1e-6);
        }
    }

    /// For rare strikes the count is negative binomial: (k + s - 1)!/(k! (s-1)!) (s/(s+m))^s (m/(s+m))^k.
    #[test]
    fn analytic_rare_counts_are_negative_binomial() {
        let count = count(1e-5, 1.0, 300_000);
        let (mean, shape) = (3.0, 2.0);
        for k in 0..12 {
            let x = f64::from(k);
            let ln = ln_gamma(x + shape) - ln_gamma(x + 1.0) - ln_gamma(shape)
                + shape * libm::log(shape / (shape + mean))
                + x * libm::log(mean / (shape + mean));
            let ours = probability(&count, k as u64);
            assert!((ours / libm::exp(ln) - 1.0).abs() < 1e-3, "{k}");
        }
    }

    /// Cumulated from either end: against sums of all probabilities, and of the binomial against crate statrs 0.19.1.
    #[test]
    fn val_cumulated_counts() {
        for (rate, variation) in [(0.02, 1.0), (0.5, 0.2), (0.9, 0.01), (0.2, 0.0)] {
            let count = count(rate, variation, 60);
            for struck in [0, 1, 7, 30, 45, 60] {
                let less: f64 = (0..struck).map(|k| probability(&count, k)).sum();
                let expected = less + 0.5 * probability(&count, struck);
                let (_, below) = &count.below(&[struck as f64])[0];
                assert!((below[0] - expected).abs() < 1e-9, "{rate} {struck}");
                if variation == 0.0 {
                    let law = Binomial::new(rate, 60).unwrap();
                    let less = struck.checked_sub(1).map_or(0.0, |k| law.cdf(k));
                    let expected = 0.5 * (less + law.cdf(struck));
                    assert!((below[0] - expected).abs() < 1e-8);
                }
            }
        }
    }

    /// Simulated results are as low or lower as often as said: mean of the probability 1/2, variance 1/12 for what is continuous.
    #[test]
    fn analytic_simulated_results_meet_their_law() {
        let tape = Tape {
            mean_m: vec![0.01],
            variance_m2: vec![0.02 * 0.02],
            tape_sd_m: 0.005,
            readings: 7,
        };
        let direct = Direct {
            value: vec![3.0],
            error: Error::Relative(0.2),
        };
        let count = count(0.3, 0.1, 2000);
        let n = 2000;
        for measurement in [&tape as &dyn Measurement, &direct, &count] {
            let mut dice = Dice::new(11);
            let mut sums: Vec<(f64, f64)> = vec![(0.0, 0.0); 2];
            let mut aspects = 0;
            for _ in 0..n {
                let result = measurement.simulate(0, &mut dice);
                let below = measurement.below(&result);
                aspects = below.len();
                for (sum, (_, p)) in sums.iter_mut().zip(&below) {
                    sum.0 += (p[0] - 0.5) / f64::from(n);
                    sum.1 += (p[0] - 0.5) * (p[0] - 0.5) / f64::from(n);
                }
            }
            for &(mean, square) in &sums[..aspects] {
                assert!(mean.abs() < 4.0 * (1.0 / 12.0 / f64::from(n)).sqrt());
                // Variance of a squared uniform number: 1/180.
                let error = (1.0 / 180.0 / f64::from(n)).sqrt();
                assert!((square - 1.0 / 12.0).abs() < 4.0 * error, "{square}");
            }
        }
    }
}
