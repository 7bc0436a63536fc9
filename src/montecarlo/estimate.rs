//! What sums over passes say, with limits that take the pass, not the plant, as the sampling unit.
//!
//! Plants of one pass are met together, by the same episode of the same drive: counted as independent they would make the
//! limits far too narrow.
//!
//! Rare rates ride on few passes, and a draw that missed them looks as if there were none: its own spread then promises too much.
//! Smaller clearances, where the bad passes are no longer rare, tell how many plants share the fate of one; see [`korn_graubard`].
//!
//! Sources: Clopper & Pearson, Biometrika 26:404-413, 1934; Korn & Graubard, Survey Methodology 24:193-201, 1998 (effective
//! sample size with the t ratio, never above the sample size); the variance of a ratio over clusters is the usual
//! linearisation (Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6); what a draw without a hit leaves open: Hanley &
//! Lippman-Hand, J. Amer. Med. Assoc. 249:1743-1745, 1983 (from memory). That design effects may be borrowed from a smaller
//! clearance is our choice; `tests/checks/rare_rates.rs` shows how often the limits hold.

use serde::{Deserialize, Serialize};

use super::exact::Exact;
use super::quantile::{beta_quantile, student_factor};
use super::worst::Worst;
use crate::results::Share;

/// Fewest passes with hits on which a counted rate may rest (our choice, no source).
pub const FEWEST_PASSES: u64 = 10;

/// Fewest independent plants hit that a rate must be worth by the design effect of smaller clearances (our choice, no source).
pub const FEWEST_PLANTS: f64 = 10.0;

/// Largest share of a rate of expectations that its worst 1 % of passes (at least one) may carry (our choice, no source).
pub const MOST_BY_THE_WORST: f64 = 0.25;

/// Sums over passes of the plants h that met one fate (cut, say) and of all plants n, at one clearance.
///
/// The sums are [`Exact`]: passes may be added and merged in any order.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RatioSums {
    passes: u64,
    plants: Exact,
    hits: Exact,
    hits_sq: Exact,
    hits_plants: Exact,
    plants_sq: Exact,
    /// Filled by counts alone.
    passes_with_hits: u64,
    /// Filled by expectations alone.
    worst: Worst,
}

impl RatioSums {
    /// Adds one pass in which plants were counted.
    pub fn add(&mut self, hits: f64, plants: f64) {
        self.add_pass(hits, plants);
        self.passes_with_hits += u64::from(hits > 0.0);
    }

    /// Adds one pass of which only expectations are known.
    pub fn add_expected(&mut self, hits: f64, plants: f64) {
        self.add_pass(hits, plants);
        self.worst.add(hits, plants);
    }

    fn add_pass(&mut self, hits: f64, plants: f64) {
        self.passes += 1;
        self.plants.add(plants);
        self.hits.add(hits);
        self.hits_sq.add(hits * hits);
        self.hits_plants.add(hits * plants);
        self.plants_sq.add(plants * plants);
    }

    /// Adds other passes.
    pub fn merge(&mut self, other: &Self) {
        self.passes += other.passes;
        self.plants.merge(other.plants);
        self.hits.merge(other.hits);
        self.hits_sq.merge(other.hits_sq);
        self.hits_plants.merge(other.hits_plants);
        self.plants_sq.merge(other.plants_sq);
        self.passes_with_hits += other.passes_with_hits;
        self.worst.merge(&other.worst);
    }

    /// Number of passes m.
    pub fn passes(&self) -> u64 {
        self.passes
    }

    /// Sum of n.
    pub fn plants(&self) -> f64 {
        self.plants.value()
    }

    /// Sum of h.
    pub fn hits(&self) -> f64 {
        self.hits.value()
    }

    /// Number of passes with h above 0, of counts; 0 of expectations.
    pub fn passes_with_hits(&self) -> u64 {
        self.passes_with_hits
    }

    /// True if, by these passes alone, enough of them bear the rate that its spread between passes is known: of counts, at least
    /// [`FEWEST_PASSES`] passes have some; of expectations, the worst 1 % of passes carry at most [`MOST_BY_THE_WORST`].
    pub fn borne_by_enough(&self) -> bool {
        if self.worst.is_empty() {
            self.passes_with_hits >= FEWEST_PASSES
        } else {
            self.worst_share()
                .is_some_and(|share| share <= MOST_BY_THE_WORST)
        }
    }

    /// Share of the expected hits that the worst 1 % of passes (at least one) carry; `None` without hits, or of counts.
    pub fn worst_share(&self) -> Option<f64> {
        self.worst.share()
    }

    /// Rate `sum h / sum n`; 0 where no plant was counted.
    pub fn rate(&self) -> f64 {
        if self.plants() > 0.0 {
            self.hits() / self.plants()
        } else {
            0.0
        }
    }

    /// Variance of the rate over passes, `m/(m-1) sum (h - r n)² / (sum n)²`; `None` below two passes or without plants.
    pub fn variance(&self) -> Option<f64> {
        if self.passes < 2 || self.plants() <= 0.0 {
            return None;
        }
        let (m, r) = (self.passes as f64, self.rate());
        // Multiplied out, because only sums are kept; rounding may leave a hair below nothing.
        let squares = self.hits_sq.value() - 2.0 * r * self.hits_plants.value()
            + r * r * self.plants_sq.value();
        Some(m / (m - 1.0) * squares.max(0.0) / (self.plants() * self.plants()))
    }

    /// How many times the variance of as many independent plants: `var N / (r (1-r))`. `None` without a variance or where
    /// none or all were hit.
    pub fn design_effect(&self) -> Option<f64> {
        let r = self.rate();
        let independent = r * (1.0 - r) / self.plants();
        self.variance()
            .filter(|_| independent > 0.0)
            .map(|variance| variance / independent)
    }
}

/// A rate with its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Rate, 0 to 1; 0 where no plant was counted.
    pub rate: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// Effective number of independent plants n*.
    pub effective_plants: f64,
    /// True if enough passes bear the rate that its spread between passes is known; see [`korn_graubard`].
    pub resolved: bool,
}

impl Estimate {
    /// The rate with its limits.
    pub fn share(&self) -> Share {
        Share {
            rate: self.rate,
            lower: self.lower,
            upper: self.upper,
        }
    }
}

/// Exact two-sided limits of a proportion at confidence `level` (0 to 1), both numbers real; no trials: 0 and 1.
pub fn clopper_pearson(successes: f64, trials: f64, level: f64) -> (f64, f64) {
    let tail = (1.0 - level) / 2.0;
    let failures = trials - successes;
    let lower = if successes > 0.0 {
        beta_quantile(successes, failures.max(0.0) + 1.0, tail)
    } else {
        0.0
    };
    let upper = if failures > 0.0 {
        beta_quantile(successes.max(0.0) + 1.0, failures, 1.0 - tail)
    } else {
        1.0
    };
    (lower, upper)
}

/// Rates with Korn-Graubard limits, for one speed and controller; `by_clearance` in rising order of clearance.
///
/// Clopper-Pearson with `n* = min(N, r(1-r)/var (t_{N-1}/t_{m-1})²)`, N plants, m passes.
///
/// A draw may have missed the passes that bear a rare rate. What it is worth if plants share their fate in groups as large as closer
/// to the row: `n_c = N/deff` independent plants, with the largest design effect (at least 1) at a smaller clearance whose rate is
/// resolved. A rate is resolved if [`RatioSums::borne_by_enough`] and `r n_c` is at least [`FEWEST_PLANTS`]. The upper limit of a
/// resolved rate then lies higher than Korn-Graubard's by what n_c plants leave open of which none was hit, Clopper-Pearson's
/// `1 - ((1 - level)/2)^(1/n_c)`: groups of that size may be out there. Where a rate is not resolved, `n* = n_c`.
///
/// If no smaller clearance has a resolved rate, the limits are Korn-Graubard's of these passes alone, and those of a rate that is not
/// resolved count every pass as one plant (`n* = m`): the smallest clearance of a study has none to be compared with.
///
/// Where every plant was hit the spread is not known either: `n* = m`. A single pass gives `n* = 1`; no plants, the limits
/// 0 and 1.
pub fn korn_graubard(by_clearance: &[RatioSums], level: f64) -> Vec<Estimate> {
    let mut largest_effect: Option<f64> = None;
    by_clearance
        .iter()
        .map(|sums| {
            let rate = sums.rate();
            let passes = sums.passes() as f64;
            let worth = largest_effect.map(|effect| sums.plants() / effect);
            let resolved =
                sums.borne_by_enough() && worth.is_none_or(|worth| rate * worth >= FEWEST_PLANTS);
            let effective_plants = if sums.plants() <= 0.0 {
                0.0
            } else if resolved {
                adjusted_size(sums, level).unwrap_or(passes)
            } else {
                worth.unwrap_or(passes)
            }
            .min(sums.plants());
            let (lower, upper) = clopper_pearson(rate * effective_plants, effective_plants, level);
            let unseen = match worth {
                Some(worth) if resolved => clopper_pearson(0.0, worth, level).1,
                _ => 0.0,
            };
            // Clearances rise: what is known by now comes from closer settings, where more is hit.
            if resolved && let Some(effect) = sums.design_effect() {
                largest_effect = Some(largest_effect.unwrap_or(1.0).max(effect));
            }
            Estimate {
                rate,
                lower,
                upper: (upper + unseen).min(1.0),
                effective_plants,
                resolved,
            }
        })
        .collect()
}

/// `r(1-r)/var (t_{N-1}/t_{m-1})²`; infinite where all passes have the same rate; `None` where it says nothing.
fn adjusted_size(sums: &RatioSums, level: f64) -> Option<f64> {
    let effect = sums.design_effect()?;
    let plants_factor = student_factor((sums.plants() - 1.0).max(1.0), level);
    let passes_factor = student_factor(sums.passes() as f64 - 1.0, level);
    let ratio = plants_factor / passes_factor;
    Some(sums.plants() / effect * ratio * ratio)
}

/// Sums over passes for the mean and spread of a sampled error e: per pass the number n of samples, `sum e` and `sum e²`.
///
/// The sums are [`Exact`]: passes may be added and merged in any order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SpreadSums {
    passes: u64,
    n: Exact,
    e: Exact,
    ee: Exact,
    n_n: Exact,
    n_e: Exact,
    n_ee: Exact,
    e_e: Exact,
    e_ee: Exact,
    ee_ee: Exact,
}

/// Mean and standard deviation of an error over all passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Mean over all samples.
    pub mean: f64,
    /// Standard deviation of all samples about that mean.
    pub sd: f64,
    /// Standard error of `sd` over passes; 0 with a single pass, which shows no spread between passes.
    pub sd_se: f64,
}

impl SpreadSums {
    /// Adds one pass: number of samples, their sum, the sum of their squares.
    pub fn add(&mut self, samples: f64, sum: f64, sum_sq: f64) {
        self.merge(&Self {
            passes: 1,
            n: Exact::of(samples),
            e: Exact::of(sum),
            ee: Exact::of(sum_sq),
            n_n: Exact::of(samples * samples),
            n_e: Exact::of(samples * sum),
            n_ee: Exact::of(samples * sum_sq),
            e_e: Exact::of(sum * sum),
            e_ee: Exact::of(sum * sum_sq),
            ee_ee: Exact::of(sum_sq * sum_sq),
        });
    }

    /// Adds other passes.
    pub fn merge(&mut self, other: &Self) {
        self.passes += other.passes;
        self.n.merge(other.n);
        self.e.merge(other.e);
        self.ee.merge(other.ee);
        self.n_n.merge(other.n_n);
        self.n_e.merge(other.n_e);
        self.n_ee.merge(other.n_ee);
        self.e_e.merge(other.e_e);
        self.e_ee.merge(other.e_ee);
        self.ee_ee.merge(other.ee_ee);
    }

    /// Number of passes.
    pub fn passes(&self) -> u64 {
        self.passes
    }

    /// Mean, standard deviation and its standard error by the delta method: pass i moves the variance V by
    /// `z_i = (sum e² - 2 mean sum e + (mean² - V) n) / sum n`, and `se(sd) = sqrt(m/(m-1) sum z²) / (2 sd)`.
    /// `None` without samples.
    pub fn spread(&self) -> Option<Spread> {
        if self.n.value() <= 0.0 {
            return None;
        }
        let mean = self.e.value() / self.n.value();
        let variance = (self.ee.value() / self.n.value() - mean * mean).max(0.0);
        let sd = variance.sqrt();
        let on_e = -2.0 * mean;
        let on_n = mean * mean - variance;
        // The squares of z multiplied out, because only sums are kept.
        let squares = self.ee_ee.value()
            + on_e * on_e * self.e_e.value()
            + on_n * on_n * self.n_n.value()
            + 2.0
                * (on_e * self.e_ee.value()
                    + on_n * self.n_ee.value()
                    + on_e * on_n * self.n_e.value());
        let m = self.passes as f64;
        let sd_se = if self.passes < 2 || sd == 0.0 {
            0.0
        } else {
            (m / (m - 1.0) * squares.max(0.0)).sqrt() / self.n.value() / (2.0 * sd)
        };
        Some(Spread { mean, sd, sd_se })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::results::LEVEL;
    use proptest::prelude::*;

    fn sums(passes: &[(f64, f64)]) -> RatioSums {
        let mut sums = RatioSums::default();
        for &(strikes, plants) in passes {
            sums.add(strikes, plants);
        }
        sums
    }

    /// No strikes: upper limit 1 - (tail)^(1/n*), n* = m where no smaller clearance helps. All struck: the mirror image.
    #[test]
    fn analytic_none_and_all_struck() {
        let m = 40;
        let tail = (1.0 - LEVEL) / 2.0;
        let none = korn_graubard(&[sums(&vec![(0.0, 100.0); m])], LEVEL)[0];
        assert_eq!((none.rate, none.lower, none.resolved), (0.0, 0.0, false));
        assert!((none.upper - (1.0 - tail.powf(1.0 / m as f64))).abs() < 1e-12);
        let all = korn_graubard(&[sums(&vec![(100.0, 100.0); m])], LEVEL)[0];
        assert_eq!((all.rate, all.upper, all.resolved), (1.0, 1.0, true));
        assert!((all.lower - tail.powf(1.0 / m as f64)).abs() < 1e-12);
    }

    #[test]
    fn analytic_nothing_counted_says_nothing() {
        for empty in [RatioSums::default(), sums(&[(0.0, 0.0); 3])] {
            let estimate = korn_graubard(&[empty], LEVEL)[0];
            assert_eq!(
                (
                    estimate.rate,
                    estimate.lower,
                    estimate.upper,
                    estimate.resolved
                ),
                (0.0, 0.0, 1.0, false)
            );
        }
    }

    /// One pass is one draw of the field: its limits are those of a single trial.
    #[test]
    fn analytic_a_single_pass_is_one_trial() {
        let estimate = korn_graubard(&[sums(&[(30.0, 100.0)])], LEVEL)[0];
        assert_eq!(estimate.effective_plants, 1.0);
        assert!(!estimate.resolved && estimate.lower < 0.02 && estimate.upper > 0.97);
    }

    /// Plants struck all or none in each pass: the design effect is the number of plants in a pass times m/(m-1).
    #[test]
    fn analytic_design_effect_of_whole_clusters() {
        let passes: Vec<_> = (0..50)
            .map(|i| (if i % 2 == 0 { 80.0 } else { 0.0 }, 80.0))
            .collect();
        let effect = sums(&passes).design_effect().unwrap();
        assert!((effect - 80.0 * 50.0 / 49.0).abs() < 1e-9);
    }

    /// A rare rate borrows the design effect of a smaller clearance.
    #[test]
    fn analytic_rare_rates_borrow_the_design_effect() {
        let often: Vec<_> = (0..50)
            .map(|i| (if i % 2 == 0 { 80.0 } else { 0.0 }, 80.0))
            .collect();
        let mut seldom = vec![(0.0, 80.0); 50];
        seldom[7] = (3.0, 80.0);
        let estimates = korn_graubard(&[sums(&often), sums(&seldom)], LEVEL);
        assert!(estimates[0].resolved && !estimates[1].resolved);
        assert!((estimates[1].effective_plants - 49.0).abs() < 1e-9);
        let alone = korn_graubard(&[sums(&seldom)], LEVEL)[0];
        assert_eq!(alone.effective_plants, 50.0);
    }

    /// Against the sums written out pass by pass, and the known standard error sd/sqrt(2 N) of independent Gaussian samples.
    #[test]
    fn analytic_spread_of_independent_samples() {
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = crate::sim::streams::stream(3, 0, crate::sim::streams::Source::Plants, 0);
        let (m, n, mean, sd) = (2000, 50, 0.01, 0.02);
        let mut total = SpreadSums::default();
        let mut passes = Vec::new();
        for _ in 0..m {
            let e: Vec<f64> = (0..n)
                .map(|_| {
                    let normal: f64 = StandardNormal.sample(&mut rng);
                    mean + sd * normal
                })
                .collect();
            let (sum, sum_sq) = (e.iter().sum(), e.iter().map(|e| e * e).sum());
            total.add(f64::from(n), sum, sum_sq);
            passes.push((sum, sum_sq));
        }
        let spread = total.spread().unwrap();
        let all = f64::from(m * n);
        let z: f64 = passes
            .iter()
            .map(|(sum, sum_sq)| {
                let shift = spread.mean * spread.mean - spread.sd * spread.sd;
                let z: f64 = sum_sq - 2.0 * spread.mean * sum + shift * f64::from(n);
                z * z
            })
            .sum();
        let written_out = (f64::from(m) / f64::from(m - 1) * z).sqrt() / all / (2.0 * spread.sd);
        assert!((spread.sd_se / written_out - 1.0).abs() < 1e-9);
        let known = sd / (2.0 * all).sqrt();
        // 4 standard errors of a variance from 2000 passes with the kurtosis of a chi-square of 50 degrees.
        assert!((spread.sd_se / known - 1.0).abs() < 4.0 * (2.24_f64 / 4.0 / 2000.0).sqrt());
        assert!((spread.mean - mean).abs() < 4.0 * sd / all.sqrt());
        assert!((spread.sd - sd).abs() < 4.0 * known);
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, rng_seed: proptest::test_runner::RngSeed::Fixed(1), failure_persistence: None, ..ProptestConfig::default() })]

        /// Never NaN, limits in order around the rate, whatever the counts.
        #[test]
        fn prop_limits_enclose_the_rate(
            passes in prop::collection::vec((0_u32..=60, 0_u32..=60), 1..80),
            scale in prop::sample::select(vec![1.0, 100.0]),
        ) {
            let wide: Vec<_> = passes.iter().map(|&(a, b)| (f64::from(a.min(b)) * scale, f64::from(a.max(b)) * scale)).collect();
            let rare: Vec<_> = wide.iter().enumerate().map(|(i, &(h, n))| (if i < 3 { h } else { 0.0 }, n)).collect();
            for estimate in korn_graubard(&[sums(&wide), sums(&rare)], LEVEL) {
                prop_assert!(0.0 <= estimate.lower && estimate.lower <= estimate.rate);
                prop_assert!(estimate.rate <= estimate.upper && estimate.upper <= 1.0);
                prop_assert!(estimate.effective_plants >= 0.0);
            }
        }

        /// Merging blocks equals adding pass by pass, to the last bit for whole counts.
        #[test]
        fn prop_merging_equals_adding(
            passes in prop::collection::vec((0_u32..=3000, 0_u32..=3000), 2..40), cut in 1_usize..39,
        ) {
            let all: Vec<_> = passes.iter().map(|&(a, b)| (f64::from(a.min(b)), f64::from(a.max(b)))).collect();
            let cut = cut.min(all.len());
            let mut merged = sums(&all[cut..]);
            merged.merge(&sums(&all[..cut]));
            prop_assert_eq!(merged, sums(&all));
        }
    }
}
