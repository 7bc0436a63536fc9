//! What field measurements leave of what is not known, and whether they fit it at all.
//!
//! Weights by likelihood over the points of a cloud (sampling importance: Rubin, in Bayesian Statistics 3, 1988, 395-402). Where these
//! leave too few points, new ones are drawn near them: a bell curve in the normal scores of the unknowns, fitted to flattened weights,
//! with some points of the first law beside it (defensive mixture: Hesterberg, Technometrics 37:185-194, 1995). Conflict: predictive
//! tails before learning (Box, J. R. Stat. Soc. A 143:383-430, 1980).

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::cloud::{Cloud, effective};
use super::measure::{Aspect, Measurement};
use super::points::Sobol;
use super::special::{normal_probability, normal_quantile};

/// Fewest effective points on which limits may rest (our choice): the 95 % point then lies between the 92.7 and 97.2 % points.
pub const FEWEST_EFFECTIVE: f64 = 400.0;

/// Most times that points are drawn anew.
const MOST_ROUNDS: usize = 4;

/// Share of new points that stay with the first law.
const DEFENSIVE: f64 = 0.1;

/// How much wider than the fit new points are drawn, of its standard deviation.
const WIDER: f64 = 1.15;

/// Probability of a false alarm of [`conflict`] (our choice).
pub const FALSE_ALARM: f64 = 0.02;

/// What is known after measuring.
#[derive(Clone, Debug)]
pub struct Learned {
    /// Points and weights.
    pub cloud: Cloud,
    /// Effective number of points.
    pub effective: f64,
    /// How often points were drawn anew.
    pub rounds: usize,
}

impl Learned {
    /// True if enough points are left for limits: [`FEWEST_EFFECTIVE`], of fewer than 4000 points a tenth.
    pub fn is_enough(&self) -> bool {
        self.effective >= enough(self.cloud.len())
    }
}

fn enough(points: usize) -> f64 {
    FEWEST_EFFECTIVE.min(0.1 * points as f64)
}

/// Weighs `count` points of the seed's sequence by a likelihood, given by its logarithm at every point of any cloud; draws points anew
/// where too few are left, which takes the likelihood as often again. `None` where every point is impossible.
pub fn learn(
    seed: u64,
    unknowns: usize,
    count: usize,
    ln_likelihood: impl Fn(&Cloud) -> Vec<f64>,
) -> Option<Learned> {
    let first = Cloud::new(seed, unknowns, count);
    let mut ln = ln_likelihood(&first);
    let mut base = first;
    let mut best = base.weighed(&ln)?;
    let mut rounds = 0;
    while best.effective() < enough(count) && rounds < MOST_ROUNDS {
        rounds += 1;
        let Some(near) = Near::fit(&base, &ln, enough(count)) else {
            break;
        };
        let Some(next) = near.draw(
            seed.wrapping_add(0x9e37_79b9 * rounds as u64),
            unknowns,
            count,
        ) else {
            break;
        };
        let next_ln = ln_likelihood(&next);
        let Some(weighed) = next.weighed(&next_ln) else {
            break;
        };
        (base, ln) = (next, next_ln);
        if weighed.effective() > best.effective() {
            best = weighed;
        }
    }
    Some(Learned {
        effective: best.effective(),
        cloud: best,
        rounds,
    })
}

/// A bell curve in normal scores.
struct Near {
    mean: DVector<f64>,
    /// Lower triangle L with L L' the covariance.
    root: DMatrix<f64>,
}

impl Near {
    /// Mean and covariance of the weighted points, the likelihood flattened (raised to a power below 1) until `wanted` points count.
    fn fit(base: &Cloud, ln: &[f64], wanted: f64) -> Option<Self> {
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let at = |power: f64| -> Vec<f64> {
            let pairs = base.weights().iter().zip(ln);
            pairs
                .map(|(w, ln)| {
                    // What is impossible stays so.
                    let relative = ln - most;
                    if relative == f64::NEG_INFINITY {
                        0.0
                    } else {
                        w * libm::exp(power * relative)
                    }
                })
                .collect()
        };
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if effective(&at(middle)) >= wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        let weights = at(low);
        let total: f64 = weights.iter().sum();
        let d = base.unknowns() + 1;
        let score =
            |i: usize| DVector::from_iterator(d, base.point(i).iter().map(|&u| normal_quantile(u)));
        let mut mean = DVector::zeros(d);
        let mut covariance = DMatrix::zeros(d, d);
        for (i, &weight) in weights.iter().enumerate().filter(|&(_, &w)| w > 0.0) {
            mean += score(i) * (weight / total);
        }
        for (i, &weight) in weights.iter().enumerate().filter(|&(_, &w)| w > 0.0) {
            let off = score(i) - &mean;
            covariance += &off * off.transpose() * (weight / total);
        }
        // A hair of the first law, for directions in which all points say the same.
        covariance += DMatrix::identity(d, d) * 1e-9;
        let root = covariance.cholesky()?.l() * WIDER;
        Some(Self { mean, root })
    }

    /// Points of the mixture, weighed by the first law over the mixture.
    fn draw(&self, seed: u64, unknowns: usize, count: usize) -> Option<Cloud> {
        let d = unknowns + 1;
        let sobol = Sobol::new(seed);
        let from_first = (DEFENSIVE * count as f64) as usize;
        let ln_root: f64 = (0..d).map(|i| libm::log(self.root[(i, i)])).sum();
        let mut points = Vec::with_capacity(count * d);
        let mut weights = Vec::with_capacity(count);
        for i in 0..count {
            let z = DVector::from_iterator(
                d,
                (0..d).map(|j| normal_quantile(sobol.point(i as u32, j))),
            );
            let (score, inner) = if i < from_first {
                let inner = self.root.solve_lower_triangular(&(&z - &self.mean))?;
                (z, inner)
            } else {
                (&self.mean + &self.root * &z, z)
            };
            // Density of the bell curve over that of the first law.
            let ln_ratio = 0.5 * (score.norm_squared() - inner.norm_squared()) - ln_root;
            let share = from_first as f64 / count as f64;
            weights.push(1.0 / (share + (1.0 - share) * libm::exp(ln_ratio)));
            // Far out a probability rounds to 0 or 1: the nearest numbers inside.
            points.extend(
                score
                    .iter()
                    .map(|&z| normal_probability(z).clamp(1e-300, 1.0 - f64::EPSILON / 2.0)),
            );
        }
        Cloud::of(unknowns, points, weights)
    }
}

/// Logarithm of the likelihood of several results together.
pub fn ln_likelihood(results: &[(&dyn Measurement, &[f64])], points: usize) -> Vec<f64> {
    let mut sum = vec![0.0; points];
    for (measurement, result) in results {
        for (sum, ln) in sum.iter_mut().zip(measurement.ln_likelihood(result)) {
            *sum += ln;
        }
    }
    sum
}

/// How far the oddest of several results is off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conflict {
    /// Probability of a result as odd as the oddest, over all that were looked at (Bonferroni), 0 to 1.
    pub probability: f64,
    /// Which result is the oddest, in the order given.
    pub result: usize,
    /// In which way.
    pub aspect: Aspect,
    /// True if it is too high, false if it is too low.
    pub high: bool,
}

impl Conflict {
    /// True if what was measured does not fit what was said: rarer than [`FALSE_ALARM`].
    pub fn is_real(&self) -> bool {
        self.probability < FALSE_ALARM
    }
}

/// Looks at results in the light of what was known before them: `before` has the points for which the measurements were made. `None`
/// without results.
pub fn conflict(before: &Cloud, results: &[(&dyn Measurement, &[f64])]) -> Option<Conflict> {
    let mut oddest: Option<Conflict> = None;
    let mut looked = 0;
    for (number, (measurement, result)) in results.iter().enumerate() {
        for (aspect, below) in measurement.below(result) {
            looked += 1;
            let pairs = before.weights().iter().zip(&below);
            let below: f64 = pairs.map(|(w, p)| w * p).sum();
            let probability = (2.0 * below.min(1.0 - below)).max(0.0);
            if oddest.is_none_or(|found| probability < found.probability) {
                oddest = Some(Conflict {
                    probability,
                    result: number,
                    aspect,
                    high: below > 0.5,
                });
            }
        }
    }
    oddest.map(|found| Conflict {
        probability: (found.probability * f64::from(looked)).min(1.0),
        ..found
    })
}

/// How far measuring moved one unknown.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Moved {
    /// Which unknown.
    pub unknown: usize,
    /// How far its mean moved, in standard deviations of what was known before; above 0 to greater values.
    pub by_sd: f64,
    /// Standard deviation that is left, of the one before.
    pub left: f64,
    /// True if most weight lies in the outermost twentieth of its range: it might be further off than it was said it could be.
    pub at_its_end: bool,
}

/// The unknowns in the order in which measuring moved them, furthest first: the likeliest cause of a conflict. Scales are normal scores of
/// the first law.
pub fn moved(after: &Cloud) -> Vec<Moved> {
    let mut all: Vec<Moved> = (0..after.unknowns())
        .map(|unknown| {
            let (mut mean, mut square, mut low, mut high) = (0.0, 0.0, 0.0, 0.0);
            for (i, &weight) in after.weights().iter().enumerate() {
                let u = after.point(i)[unknown];
                let z = normal_quantile(u);
                mean += weight * z;
                square += weight * z * z;
                if u < 0.05 {
                    low += weight;
                } else if u > 0.95 {
                    high += weight;
                }
            }
            Moved {
                unknown,
                by_sd: mean,
                left: (square - mean * mean).max(0.0).sqrt(),
                at_its_end: low.max(high) > 0.5,
            }
        })
        .collect();
    all.sort_by(|a, b| b.by_sd.abs().total_cmp(&a.by_sd.abs()));
    all
}

#[cfg(test)]
mod tests {
    use super::super::law::Law;
    use super::super::measure::{Count, Direct, Error, Tape};
    use super::*;
    use statrs::distribution::{Beta, ContinuousCDF};

    fn values(law: Law, cloud: &Cloud) -> Vec<f64> {
        (0..cloud.len())
            .map(|i| law.quantile(cloud.point(i)[0]))
            .collect()
    }

    /// Weighted mean and standard deviation.
    fn moments(cloud: &Cloud, values: &[f64]) -> (f64, f64) {
        let sum = |of: &dyn Fn(f64) -> f64| -> f64 {
            cloud
                .weights()
                .iter()
                .zip(values)
                .map(|(w, &x)| w * of(x))
                .sum()
        };
        let mean = sum(&|x| x);
        (mean, sum(&|x| (x - mean) * (x - mean)).sqrt())
    }

    /// Normal law, normal measurements: precisions add up. Once measured itself, once by a tape whose mean it is.
    #[test]
    fn analytic_normal_and_normal() {
        let law = Law::normal(1.0, 2.0);
        let seen = [3.1, 2.2, 2.9];
        let sd = 1.5;
        let learned = learn(3, 2, 16_384, |cloud| {
            let value = values(law, cloud);
            let direct = Direct {
                value: value.clone(),
                error: Error::Absolute(sd),
            };
            let first: Vec<f64> = direct.ln_likelihood(&seen[..1]);
            let tape = Tape {
                variance_m2: vec![sd * sd - 0.25; value.len()],
                mean_m: value,
                tape_sd_m: 0.5,
                readings: 2,
            };
            let rest = tape.ln_likelihood(&seen[1..]);
            first.iter().zip(&rest).map(|(a, b)| a + b).collect()
        })
        .unwrap();
        let precision = 1.0 / 4.0 + 3.0 / (sd * sd);
        let mean = (1.0 / 4.0 + seen.iter().sum::<f64>() / (sd * sd)) / precision;
        let (found, spread) = moments(&learned.cloud, &values(law, &learned.cloud));
        assert_eq!(learned.rounds, 0);
        assert!((found - mean).abs() < 2e-3, "{found} {mean}");
        assert!((spread * precision.sqrt() - 1.0).abs() < 2e-3);
        let moved = moved(&learned.cloud);
        assert_eq!(moved[0].unknown, 0);
        assert!((moved[0].by_sd - (mean - 1.0) / 2.0).abs() < 2e-3);
        assert!((moved[0].left - 0.5 / precision.sqrt()).abs() < 2e-3);
        assert!(moved[1].by_sd.abs() < 0.02 && !moved[0].at_its_end);
    }

    /// Beta law of a rate and a count without extra scatter: the beta law with both counts added; its predictive tail is beta-binomial.
    #[test]
    fn analytic_beta_and_binomial() {
        let law = Beta::new(2.0, 38.0).unwrap();
        let rates = |cloud: &Cloud| -> Vec<f64> {
            (0..cloud.len())
                .map(|i| law.inverse_cdf(cloud.point(i)[0]))
                .collect()
        };
        let count = |rates: &[f64]| Count {
            ln_rate: rates.iter().map(|&rate| libm::log(rate)).collect(),
            pass_variation: vec![0.0; rates.len()],
            plants: 100,
            places: 5,
            pass_over_place: 1.0,
        };
        let learned = learn(4, 1, 8192, |cloud| {
            count(&rates(cloud)).ln_likelihood(&[9.0])
        })
        .unwrap();
        let (a, b): (f64, f64) = (2.0 + 9.0, 38.0 + 91.0);
        let (mean, sd) = moments(&learned.cloud, &rates(&learned.cloud));
        assert!((mean / (a / (a + b)) - 1.0).abs() < 2e-3);
        let variance = a * b / ((a + b) * (a + b) * (a + b + 1.0));
        assert!((sd / variance.sqrt() - 1.0).abs() < 5e-3);
        // P(k) = C(100, k) B(2 + k, 138 - k) / B(2, 38).
        let ln = |x: f64| libm::lgamma(x);
        let of = |k: f64| {
            let ways = ln(101.0) - ln(k + 1.0) - ln(101.0 - k);
            let with = ln(2.0 + k) + ln(138.0 - k) - ln(140.0);
            libm::exp(ways + with - (ln(2.0) + ln(38.0) - ln(40.0)))
        };
        let before = Cloud::new(4, 1, 8192);
        let measured = count(&rates(&before));
        let found = conflict(&before, &[(&measured, &[19.0])]).unwrap();
        let above = 0.5 * of(19.0) + (20..=100).map(|k| of(f64::from(k))).sum::<f64>();
        assert!((found.probability / (2.0 * above) - 1.0).abs() < 0.01);
        assert!(found.high && found.aspect == Aspect::Struck && found.is_real());
    }

    /// A measurement a hundred times sharper than what was known, far out, among ten unknowns: points are drawn anew and meet the closed
    /// form, within 4 standard errors of so many effective points, and what was not measured stays as it was.
    #[test]
    fn analytic_new_points_where_few_are_left() {
        let law = Law::normal(0.0, 1.0);
        let sd = 0.01;
        for seed in 0..5 {
            let learned = learn(seed, 10, 4096, |cloud| {
                let value = (0..cloud.len()).map(|i| {
                    let point = cloud.point(i);
                    law.quantile(point[0]) + 0.5 * law.quantile(point[3])
                });
                let direct = Direct {
                    value: value.collect(),
                    error: Error::Absolute(sd),
                };
                direct.ln_likelihood(&[2.4])
            })
            .unwrap();
            assert!(
                learned.rounds > 0 && learned.is_enough(),
                "{}",
                learned.effective
            );
            let error = 4.0 / learned.effective.sqrt();
            // The sum of variance 1.25 is seen with variance sd²: 4/5 of it goes to the first, half of that to the other.
            let total = 1.25 + sd * sd;
            let cloud = &learned.cloud;
            let (mean, spread) = moments(cloud, &values(law, cloud));
            let left = (1.0 - 1.0 / total).sqrt();
            assert!((mean - 2.4 / total).abs() < error * left, "{mean}");
            assert!((spread / left - 1.0).abs() < error, "{spread}");
            let score = |d: usize| -> Vec<f64> {
                (0..cloud.len())
                    .map(|i| normal_quantile(cloud.point(i)[d]))
                    .collect()
            };
            let (mean, _) = moments(cloud, &score(3));
            assert!((mean - 1.2 / total).abs() < error);
            for d in [1, 7, 10] {
                let (mean, spread) = moments(cloud, &score(d));
                assert!(
                    mean.abs() < error && (spread - 1.0).abs() < error,
                    "{mean} {spread}"
                );
            }
        }
    }

    #[test]
    fn analytic_impossible_everywhere() {
        let nowhere = |cloud: &Cloud| vec![f64::NEG_INFINITY; cloud.len()];
        assert!(learn(1, 1, 128, nowhere).is_none());
        let cloud = Cloud::new(1, 1, 128);
        assert!(conflict(&cloud, &[]).is_none());
    }

    /// A value beyond the range that was said: most weight in its last twentieth.
    #[test]
    fn analytic_an_unknown_at_its_end() {
        let law = Law::Uniform { from: 0.0, to: 1.0 };
        let learned = learn(1, 1, 4096, |cloud| {
            let direct = Direct {
                value: values(law, cloud),
                error: Error::Absolute(0.1),
            };
            direct.ln_likelihood(&[1.5])
        })
        .unwrap();
        let moved = moved(&learned.cloud)[0];
        assert!(moved.at_its_end && moved.by_sd > 1.645);
    }
}
