//! The bell curve's rate, corrected by the simulated rates of the draws: `ln rate = a + b t + corrections`, t the trend.
//!
//! Quasi-likelihood with pass variance `phi rate^p` (Wedderburn, Biometrika 61:439-447, 1974; McCullagh & Nelder, Generalized Linear
//! Models, 2nd ed., 1989, chapter 9). What still scatters between draws beyond their passes is the nugget tau.

use serde::{Deserialize, Serialize};

use nalgebra::{DMatrix, DVector};

use super::band::Elsewhere;
use super::limits::RAREST;
use super::tool::median;

/// Fewest draws with struck plants on which a fitted rate may rest (our choice).
pub const FEWEST_STRUCK: usize = 32;

/// Largest nugget, as a standard deviation of ln rate, with which a fitted rate is shown (a guess).
pub const MOST_NUGGET: f64 = 0.5;

/// Slopes b with which a fitted rate is shown. Below 0.6 fits were still nearer to nested studies than simulated fields alone, whose own
/// scatter widens every limit (`tests/checks/fields.rs`, `tests/checks/unknowns.rs`); the ends are a guess.
pub const SLOPES: (f64, f64) = (0.25, 1.3);

/// Standard deviation about 1 of the slope that the fit expects beforehand (our choice): it counts where the draws share one trend.
const EXPECTED_SLOPE: f64 = 0.5;

/// Standard deviation of a correction of degree 1 that the fit expects beforehand (our choice).
const EXPECTED_CORRECTION: f64 = 0.1;

/// Variance of ln rate between draws that the weights allow for before the nugget is known (our choice).
const ALLOWED: f64 = 0.02;

/// Logarithm of the rate of a draw without struck plants, where one has to be given.
pub const NONE_STRUCK: f64 = -690.0;

/// Sums over the passes of a draw at one speed, controller, clearance and fate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RateSums {
    /// Sum of the passes' rates.
    pub rate: f64,
    /// Sum of their squares.
    pub rate_sq: f64,
}

impl RateSums {
    /// Adds a pass.
    pub fn add(&mut self, rate: f64) {
        self.rate += rate;
        self.rate_sq += rate * rate;
    }
}

/// Whether a fitted rate may be shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trust {
    /// It may.
    Sound,
    /// Fewer than [`FEWEST_STRUCK`] draws have struck plants.
    FewStruck {
        /// How many have.
        draws: usize,
    },
    /// The nugget is above [`MOST_NUGGET`].
    Scattered,
    /// The slope without corrections is outside [`SLOPES`].
    OffTrend,
}

/// A fitted rate: `ln rate = intercept + slope trend + corrections`, and what scatters about it.
#[derive(Clone, Debug, PartialEq)]
pub struct RateFit {
    /// a.
    pub intercept: f64,
    /// b.
    pub slope: f64,
    /// b as it is without corrections.
    pub slope_alone: f64,
    /// What the trend misses of each unknown: factors of the terms of degree 1, for the unknowns in their order.
    pub corrections: Vec<f64>,
    /// phi: variance of the rate between passes of a draw is `phi rate^power`.
    pub phi: f64,
    /// p, 1 to 2.
    pub power: f64,
    /// tau: standard deviation of ln rate between draws that share all unknowns.
    pub tau: f64,
    /// Plants that the trend counts beside those of the band.
    pub elsewhere: Elsewhere,
    /// Whether it may be shown; if not, the draws' own rates ([`raw_ln_rates`]) are.
    pub trust: Trust,
}

impl RateFit {
    /// Logarithm of the rate at a trend, with the terms of the basis and the nugget's standard normal deviate; mean 1 of what the nugget
    /// multiplies. At most 0.
    pub fn ln_rate(&self, trend: f64, row: &[f64], deviate: f64) -> f64 {
        (self.fitted(trend, row) + self.tau * (deviate - 0.5 * self.tau)).min(0.0)
    }

    /// The same without the nugget, not yet held to 0.
    fn fitted(&self, trend: f64, row: &[f64]) -> f64 {
        let corrections = self.corrections.iter().zip(&row[1..]);
        let corrections: f64 = corrections.map(|(factor, term)| factor * term).sum();
        self.intercept + self.slope * trend + corrections
    }

    /// Square of the coefficient of variation of a pass's rate, `phi rate^(p-2)`.
    pub fn pass_variation(&self, ln_rate: f64) -> f64 {
        if self.phi > 0.0 {
            self.phi * libm::exp((self.power - 2.0) * ln_rate)
        } else {
            0.0
        }
    }
}

/// The draws' own mean rates as logarithms, in the order given, [`NONE_STRUCK`] where no plant was struck; draws without passes are left
/// out. All of one weight. They hold the scatter of few passes too: limits from them are too wide rather than too narrow.
pub fn raw_ln_rates(passes: &[u64], sums: &[RateSums]) -> Vec<f64> {
    let with_passes = passes.iter().zip(sums).filter(|&(&passes, _)| passes > 0);
    with_passes
        .map(|(&passes, sums)| {
            let rate = sums.rate / passes as f64;
            if rate > 0.0 {
                libm::log(rate).clamp(NONE_STRUCK, 0.0)
            } else {
                NONE_STRUCK
            }
        })
        .collect()
}

/// Corrects the trend by the draws' rates; `None` for sums that are not numbers. `rows` has the basis' terms at the draws, of which the
/// first `unknowns` after the constant are those of degree 1.
pub(super) fn fit_rate(
    trends: &[f64],
    rows: &[&[f64]],
    unknowns: usize,
    passes: &[f64],
    sums: &[RateSums],
) -> Option<RateFit> {
    let n = sums.len();
    let mut rates = Vec::with_capacity(n);
    let mut variances = Vec::with_capacity(n);
    for (sums, &k) in sums.iter().zip(passes) {
        if !(sums.rate >= 0.0 && sums.rate_sq.is_finite()) {
            return None;
        }
        rates.push(sums.rate / k);
        let variance = (sums.rate_sq - sums.rate * sums.rate / k) / (k - 1.0);
        variances.push(if k > 1.0 { variance.max(0.0) } else { 0.0 });
    }
    let struck = rates.iter().filter(|&&rate| rate > 0.0).count();
    let (phi, power) = pass_variance(&rates, &variances, passes);
    let mut fit = RateFit {
        intercept: 0.0,
        slope: 1.0,
        slope_alone: 1.0,
        corrections: Vec::new(),
        phi,
        power,
        tau: 0.0,
        elsewhere: Elsewhere::default(),
        trust: Trust::FewStruck { draws: struck },
    };
    if struck == 0 {
        fit.intercept = NONE_STRUCK;
        return Some(fit);
    }
    let seen = Seen {
        trends,
        rows,
        passes,
        rates: &rates,
    };
    let expected: f64 = trends.iter().map(|&t| libm::exp(t)).sum();
    let all: f64 = rates.iter().sum();
    fit.intercept = libm::log(all / expected.max(1e-300));
    // First the trend alone: far from the solution, corrections would run after single draws.
    for corrections in [0, unknowns] {
        fit.corrections.resize(corrections, 0.0);
        for _ in 0..30 {
            let moved = seen.reweighted(&mut fit)?;
            if moved < 1e-6 {
                break;
            }
        }
        if corrections == 0 {
            fit.slope_alone = fit.slope;
        }
    }
    fit.tau = seen.nugget(&fit);
    fit.trust = if struck < FEWEST_STRUCK {
        Trust::FewStruck { draws: struck }
    } else if fit.tau > MOST_NUGGET {
        Trust::Scattered
    } else if !(SLOPES.0..=SLOPES.1).contains(&fit.slope_alone) {
        Trust::OffTrend
    } else {
        Trust::Sound
    };
    Some(fit)
}

/// phi and p of the variance between passes: slope of ln variance on ln rate, 1 to 2, then the ratio of sums.
fn pass_variance(rates: &[f64], variances: &[f64], passes: &[f64]) -> (f64, f64) {
    let both = || {
        let pairs = rates.iter().zip(variances);
        pairs
            .filter(|&(&rate, &variance)| rate > 0.0 && variance > 0.0)
            .map(|(&rate, &variance)| (libm::log(rate), libm::log(variance)))
    };
    let count = both().count();
    if count == 0 {
        return (0.0, 1.0);
    }
    let n = count as f64;
    let mean_x = both().map(|(x, _)| x).sum::<f64>() / n;
    let mean_y = both().map(|(_, y)| y).sum::<f64>() / n;
    let squares: f64 = both().map(|(x, _)| (x - mean_x) * (x - mean_x)).sum();
    let products: f64 = both().map(|(x, y)| (x - mean_x) * (y - mean_y)).sum();
    let power = if squares > 1e-9 {
        (products / squares).clamp(1.0, 2.0)
    } else {
        2.0
    };
    let mut above = 0.0;
    let mut below = 0.0;
    for ((&rate, &variance), &k) in rates.iter().zip(variances).zip(passes) {
        if k > 1.0 && rate > 0.0 {
            above += variance;
            below += libm::exp(power * libm::log(rate));
        }
    }
    (if below > 0.0 { above / below } else { 0.0 }, power)
}

/// What was simulated of one rate, one entry for each draw.
struct Seen<'a> {
    trends: &'a [f64],
    rows: &'a [&'a [f64]],
    passes: &'a [f64],
    rates: &'a [f64],
}

impl Seen<'_> {
    /// Logarithm of the fitted rate of a draw.
    fn fitted(&self, fit: &RateFit, draw: usize) -> f64 {
        fit.fitted(self.trends[draw], self.rows[draw]).min(0.0)
    }

    /// One step of iteratively reweighted least squares; the largest change of a number, or `None` where there is no solution.
    fn reweighted(&self, fit: &mut RateFit) -> Option<f64> {
        let terms = 2 + fit.corrections.len();
        let mut gram: DMatrix<f64> = DMatrix::zeros(terms, terms);
        let mut right: DVector<f64> = DVector::zeros(terms);
        let mut row = vec![1.0; terms];
        for draw in 0..self.rates.len() {
            let ln_fitted = self.fitted(fit, draw);
            let noise = fit.pass_variation(ln_fitted) / self.passes[draw];
            let weight = 1.0 / (ALLOWED + noise);
            // A rate far above what is fitted must not throw the fit, nor one of nothing.
            let residual = (self.rates[draw] * libm::exp(-ln_fitted) - 1.0).clamp(-1.0, 4.0);
            row[1] = self.trends[draw];
            row[2..].copy_from_slice(&self.rows[draw][1..terms - 1]);
            for i in 0..terms {
                let weighted = weight * row[i];
                right[i] += weighted * (ln_fitted + residual);
                for j in 0..=i {
                    gram[(i, j)] += weighted * row[j];
                }
            }
        }
        // The slope is expected to be 1, corrections to be 0; a hair on the first, for draws that all weigh nothing.
        gram[(0, 0)] += 1e-9;
        let slope = 1.0 / (EXPECTED_SLOPE * EXPECTED_SLOPE);
        gram[(1, 1)] += slope;
        right[1] += slope;
        for i in 2..terms {
            gram[(i, i)] += 1.0 / (EXPECTED_CORRECTION * EXPECTED_CORRECTION);
        }
        let found = gram.cholesky()?.solve(&right);
        let mut moved = 0.0_f64;
        let old = [&mut fit.intercept, &mut fit.slope];
        for (old, &new) in old.into_iter().chain(&mut fit.corrections).zip(&found) {
            if !new.is_finite() {
                return None;
            }
            moved = moved.max((*old - new).abs());
            *old = new;
        }
        Some(moved)
    }

    /// tau: scatter of ln rate about the fit, by the median absolute deviation, less what few passes explain. Only draws whose fitted rate
    /// is not rare are asked, where there are enough of them: nothing is said about the others.
    fn nugget(&self, fit: &RateFit) -> f64 {
        let rarest = libm::log(RAREST);
        let draws = 0..self.rates.len();
        let is_common = |&draw: &usize| self.fitted(fit, draw) >= rarest;
        let choose = draws.clone().filter(is_common).count() >= FEWEST_STRUCK;
        let mut off = Vec::new();
        let mut explained = Vec::new();
        for draw in draws.filter(|draw| !choose || is_common(draw)) {
            let ln_fitted = self.fitted(fit, draw);
            let rate = self.rates[draw];
            off.push(if rate > 0.0 {
                libm::log(rate) - ln_fitted
            } else {
                NONE_STRUCK
            });
            explained.push(fit.pass_variation(ln_fitted) / self.passes[draw]);
        }
        let Some(middle) = median(&mut off) else {
            return 0.0;
        };
        for value in &mut off {
            *value = (*value - middle).abs();
        }
        let sd = 1.4826 * median(&mut off).unwrap_or(0.0);
        (sd * sd - median(&mut explained).unwrap_or(0.0))
            .max(0.0)
            .sqrt()
    }
}
