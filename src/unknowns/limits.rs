//! What a rate may be, once for all that is not known and once for the scatter of the computation.
//!
//! Sources: one-way random effects by mean squares: Searle, Casella & McCulloch, Variance Components, 1992, chapter 3. The mean over draws
//! with its standard error takes the draw as the sampling unit, a ratio over clusters (Cochran, Sampling Techniques, 3rd ed., 1977,
//! chapter 6).

use serde::{Deserialize, Serialize};

/// Rates below this are given as "rarer than" only: a few passes a draw miss the rare episodes that such rates ride on (our choice).
pub const RAREST: f64 = 1e-4;

/// Probabilities of the three points that are given.
pub const LEVELS: [f64; 3] = [0.05, 0.5, 0.95];

/// One point of what a rate may be.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rate {
    /// Share of plants, [`RAREST`] to 1.
    About(f64),
    /// Less than [`RAREST`]; by how much is not known.
    Rarer,
}

impl Rate {
    /// From a logarithm.
    pub fn of_ln(ln_rate: f64) -> Self {
        let rate = libm::exp(ln_rate);
        if rate < RAREST {
            Rate::Rarer
        } else {
            Rate::About(rate.min(1.0))
        }
    }
}

/// The 5, 50 and 95 % points of a rate over what is not known.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// 19 farms of 20 like this one lie above.
    pub low: Rate,
    /// Half of the farms like this one lie above.
    pub median: Rate,
    /// 19 farms of 20 like this one lie below.
    pub high: Rate,
}

/// Limits over weighted points, from the logarithm of the rate at each.
pub fn limits(weights: &[f64], ln_rates: &[f64]) -> Limits {
    let [low, median, high] = quantiles(weights, ln_rates, LEVELS).map(Rate::of_ln);
    Limits { low, median, high }
}

/// Weighted quantiles: a point stands in the middle of its own weight, linear between; beyond the outermost, these. A quantile between a
/// finite and an infinite value is the nearer of them. NaN without points. Same bits in any order of points of one weight.
pub fn quantiles<const N: usize>(weights: &[f64], values: &[f64], levels: [f64; N]) -> [f64; N] {
    let mut sorted: Vec<(f64, f64)> = values
        .iter()
        .copied()
        .zip(weights.iter().copied())
        .collect();
    sorted.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let total: f64 = sorted.iter().map(|&(_, weight)| weight).sum();
    levels.map(|level| sorted_quantile(sorted.iter().copied(), total, level))
}

/// The same of points that rise already.
pub(super) fn sorted_quantile(
    sorted: impl Iterator<Item = (f64, f64)>,
    total: f64,
    level: f64,
) -> f64 {
    let wanted = level * total;
    let mut below = 0.0;
    let mut last: Option<(f64, f64)> = None;
    for (value, weight) in sorted {
        if weight <= 0.0 {
            continue;
        }
        let middle = below + weight / 2.0;
        if middle >= wanted {
            let Some((before, at)) = last else {
                return value;
            };
            let share = (wanted - at) / (middle - at);
            return if before.is_finite() && value.is_finite() {
                before + (value - before) * share
            } else if share < 0.5 {
                before
            } else {
                value
            };
        }
        last = Some((value, middle));
        below += weight;
    }
    last.map_or(f64::NAN, |(value, _)| value)
}

/// Mean rate over draws with what the computation leaves open of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OverDraws {
    /// Mean over all passes.
    pub mean: f64,
    /// Standard error of the mean with the draw as sampling unit; `None` with a single draw.
    pub standard_error: Option<f64>,
    /// Variance between passes of one draw; `None` where no draw has two.
    pub within: Option<f64>,
    /// Variance between draws, without what passes add; 0 where their scatter explains all of it.
    pub between: Option<f64>,
    /// Number of draws with passes.
    pub draws: usize,
}

impl OverDraws {
    /// From the number of passes of each draw, the sum over its passes and the sum of their squares. `None` without passes.
    pub fn of(draws: impl Iterator<Item = (u64, f64, f64)> + Clone) -> Option<Self> {
        let draws = draws.filter(|&(passes, _, _)| passes > 0);
        let (mut count, mut n, mut sum, mut n_n) = (0_usize, 0.0, 0.0, 0.0);
        for (passes, x, _) in draws.clone() {
            let k = passes as f64;
            count += 1;
            n += k;
            n_n += k * k;
            sum += x;
        }
        if count == 0 {
            return None;
        }
        let mean = sum / n;
        let (mut inside, mut among, mut off) = (0.0, 0.0, 0.0);
        for (passes, x, xx) in draws {
            let k = passes as f64;
            inside += (xx - x * x / k).max(0.0);
            let apart = x - mean * k;
            among += apart * apart / k;
            off += apart * apart;
        }
        let m = count as f64;
        let within = (n > m).then(|| inside / (n - m));
        let between = within.filter(|_| count > 1).map(|within| {
            let size = (n - n_n / n) / (m - 1.0);
            ((among / (m - 1.0) - within) / size).max(0.0)
        });
        Some(Self {
            mean,
            standard_error: (count > 1).then(|| (m / (m - 1.0) * off).sqrt() / n),
            within,
            between,
            draws: count,
        })
    }

    /// Correlation of two passes of one draw, 0 to 1.
    pub fn correlation(&self) -> Option<f64> {
        let (within, between) = self.within.zip(self.between)?;
        (within + between > 0.0).then(|| between / (within + between))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Five points of one weight: the middle one, and halves of the way between; a weight of two is two points.
    #[test]
    fn analytic_quantiles_by_hand() {
        let one = [1.0; 5];
        let values = [5.0, 1.0, 4.0, 2.0, 3.0];
        let [low, middle, between] = quantiles(&one, &values, [0.0, 0.5, 0.6]);
        assert_eq!((low, middle), (1.0, 3.0));
        assert!((between - 3.5_f64).abs() < 1e-12);
        let [middle] = quantiles(&[1.0, 0.0, 2.0, 1.0], &[1.0, 9.0, 2.0, 3.0], [0.5]);
        assert_eq!(middle, 2.0);
        assert!(quantiles(&[], &[], [0.5])[0].is_nan());
        let [open] = quantiles(&[1.0, 1.0], &[1.0, f64::INFINITY], [0.7]);
        assert_eq!(open, f64::INFINITY);
    }

    #[test]
    fn analytic_rare_rates_are_only_rarer() {
        let ln = |rate: f64| libm::log(rate);
        let values = [ln(1e-6), ln(5e-5), ln(0.02), ln(0.5)];
        let found = limits(&[1.0; 4], &values);
        assert_eq!(found.low, Rate::Rarer);
        assert!(matches!(found.median, Rate::About(rate) if (rate - 1e-3).abs() < 1e-9));
        assert!(matches!(found.high, Rate::About(rate) if (rate - 0.5).abs() < 1e-9));
    }

    /// Dyestuff, six batches of five (Davies, Statistical Methods in Research and Production, 3rd ed., 1957; Box & Tiao, Bayesian
    /// Inference, 1973, table 5.1.1): mean 1527.5, variance between batches 1764.05 and within 2451.25, as published; standard error of
    /// the mean 19.38 as given by R's lme4 (Bates et al., J. Stat. Softw. 67(1), 2015). Values from memory.
    #[test]
    fn val_one_way_random_effects() {
        let batches = [
            [1545.0, 1440.0, 1440.0, 1520.0, 1580.0],
            [1540.0, 1555.0, 1490.0, 1560.0, 1495.0],
            [1595.0, 1550.0, 1605.0, 1510.0, 1560.0],
            [1445.0, 1440.0, 1595.0, 1465.0, 1545.0],
            [1595.0, 1630.0, 1515.0, 1635.0, 1625.0],
            [1520.0, 1455.0, 1450.0, 1480.0, 1445.0],
        ];
        let sums = batches.iter().map(|batch: &[f64; 5]| {
            let squares = batch.iter().map(|x| x * x).sum::<f64>();
            (5, batch.iter().sum::<f64>(), squares)
        });
        let found = OverDraws::of(sums).unwrap();
        assert!((found.mean - 1527.5).abs() < 1e-9);
        assert!((found.within.unwrap() - 2451.25).abs() < 1e-6);
        assert!((found.between.unwrap() - 1764.05).abs() < 1e-6);
        assert!((found.standard_error.unwrap() - 19.38).abs() < 0.005);
        assert!((found.correlation().unwrap() - 1764.05 / 4215.3).abs() < 1e-6);
    }

    #[test]
    fn analytic_few_draws_say_less() {
        let single = OverDraws::of([(4, 2.0, 1.5)].into_iter()).unwrap();
        assert_eq!((single.mean, single.standard_error), (0.5, None));
        assert!(single.within.is_some() && single.between.is_none());
        assert!(OverDraws::of([(0, 0.0, 0.0)].into_iter()).is_none());
        let singles = OverDraws::of([(1, 1.0, 1.0), (1, 3.0, 9.0)].into_iter()).unwrap();
        assert_eq!((singles.within, singles.standard_error), (None, Some(1.0)));
    }
}
