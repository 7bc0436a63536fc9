//! Mean and variance of the tool error as polynomials of the unknowns, from the draws' sums.
//!
//! Least squares with a ridge on all terms but the first (Hoerl & Kennard, Technometrics 12:55-67, 1970), as strong as the noise of few
//! passes over what a term is expected to be.

use serde::{Deserialize, Serialize};

use nalgebra::{DMatrix, DVector};

use super::correct::RateFit;

/// Standard deviation of a term of ln variance that the fit expects beforehand (our choice).
const EXPECTED_TERM: f64 = 0.1;

/// Standard deviation of a term of the mean, over that of the tool error, that the fit expects beforehand (our choice): wide, so that it
/// counts only where draws do not tell terms apart.
const EXPECTED_MEAN: f64 = 0.5;

/// Sums over the passes of a draw at one speed under one controller: of a pass the mean e and the mean square s of the tool error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ToolSums {
    /// Sum of e, m.
    pub e_m: f64,
    /// Sum of s, m².
    pub s_m2: f64,
    /// Sum of e², m².
    pub e_e_m2: f64,
    /// Sum of s², m⁴.
    pub s_s_m4: f64,
    /// Sum of e s, m³.
    pub e_s_m3: f64,
}

impl ToolSums {
    /// Adds a pass with this mean and mean square of the tool error.
    pub fn add(&mut self, mean_m: f64, mean_square_m2: f64) {
        self.e_m += mean_m;
        self.s_m2 += mean_square_m2;
        self.e_e_m2 += mean_m * mean_m;
        self.s_s_m4 += mean_square_m2 * mean_square_m2;
        self.e_s_m3 += mean_m * mean_square_m2;
    }
}

/// Fits of one speed and controller.
#[derive(Clone, Debug, PartialEq)]
pub struct ToolFit {
    mean_m: Vec<f64>,
    ln_variance: Vec<f64>,
    /// Least and greatest fitted logarithm among the draws: points may leave it by 1.
    ln_variance_met: (f64, f64),
    /// One for each cell.
    pub rates: Vec<RateFit>,
}

impl ToolFit {
    pub(super) fn mean_m(&self, row: &[f64]) -> f64 {
        dot(&self.mean_m, row)
    }

    pub(super) fn variance_m2(&self, row: &[f64]) -> f64 {
        let (low, high) = self.ln_variance_met;
        libm::exp(dot(&self.ln_variance, row).clamp(low - 1.0, high + 1.0))
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    // Four sums side by side, in a fixed order.
    let mut sums = [0.0; 4];
    let (mut a4, mut b4) = (a.chunks_exact(4), b.chunks_exact(4));
    for (a, b) in (&mut a4).zip(&mut b4) {
        for i in 0..4 {
            sums[i] += a[i] * b[i];
        }
    }
    let rest = a4.remainder().iter().zip(b4.remainder());
    let rest: f64 = rest.map(|(a, b)| a * b).sum();
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + rest
}

/// The draws' points of the unknowns in every form that the fits need.
pub(super) struct Draws {
    pub passes: Vec<f64>,
    pub values: Vec<Vec<f64>>,
    pub rows: DMatrix<f64>,
    /// `rows' rows`.
    pub gram: DMatrix<f64>,
}

impl Draws {
    /// Polynomials of mean and ln variance of the tool error; `None` for sums that are not numbers.
    pub fn tool(&self, sums: &[ToolSums]) -> Option<ToolFit> {
        let n = sums.len();
        let mut means = Vec::with_capacity(n);
        let mut variances = Vec::with_capacity(n);
        let mut noises = Vec::with_capacity(n);
        let mut mean_noises = Vec::with_capacity(n);
        for (sums, &k) in sums.iter().zip(&self.passes) {
            let mean = sums.e_m / k;
            let between = |xy: f64, x: f64, y: f64| (xy - x * y / k) / (k - 1.0).max(1.0);
            let of_e = between(sums.e_e_m2, sums.e_m, sums.e_m).max(0.0);
            let of_s = between(sums.s_s_m4, sums.s_m2, sums.s_m2);
            let of_both = between(sums.e_s_m3, sums.e_m, sums.s_m2);
            // The square of a mean over k passes is too large by its own variance.
            let variance = sums.s_m2 / k - mean * mean + of_e / k;
            if !(mean.is_finite() && variance.is_finite()) {
                return None;
            }
            if k > 1.0 && variance > 0.0 {
                let moved = of_s - 4.0 * mean * of_both + 4.0 * mean * mean * of_e;
                noises.push(moved.max(0.0) / (k * variance * variance));
                mean_noises.push(of_e / (k * variance));
            }
            means.push(mean);
            variances.push(variance);
        }
        // A draw without variance has no logarithm: it gets that of the least other, far below which nothing is told apart.
        let floor = variances
            .iter()
            .copied()
            .filter(|&v| v > 0.0)
            .fold(f64::INFINITY, f64::min);
        let floor = if floor.is_finite() { floor } else { 1e-12 };
        let logs: Vec<f64> = variances.iter().map(|&v| libm::log(v.max(floor))).collect();
        // Noise over what a term is expected to be; a hair at least, for terms that say the same.
        let ridge = |seen: &[f64], noises: &mut [f64], expected: f64| {
            let noise = median(noises).unwrap_or(0.0);
            self.ridge(seen, (noise / (expected * expected)).max(1e-9 * n as f64))
        };
        let mean_m = ridge(&means, &mut mean_noises, EXPECTED_MEAN)?;
        let ln_variance = ridge(&logs, &mut noises, EXPECTED_TERM)?;
        let mut fit = ToolFit {
            mean_m,
            ln_variance,
            ln_variance_met: (f64::NEG_INFINITY, f64::INFINITY),
            rates: Vec::new(),
        };
        let fitted = &self.rows * DVector::from_column_slice(&fit.ln_variance);
        fit.ln_variance_met = (fitted.min(), fitted.max());
        Some(fit)
    }

    /// Coefficients that minimise the squared residuals plus `strength` times the squares of all coefficients but the first.
    fn ridge(&self, seen: &[f64], strength: f64) -> Option<Vec<f64>> {
        let mut gram = self.gram.clone();
        for term in 1..gram.nrows() {
            gram[(term, term)] += strength;
        }
        let right = self.rows.tr_mul(&DVector::from_column_slice(seen));
        let found = gram.cholesky()?.solve(&right);
        let found: Vec<f64> = found.iter().copied().collect();
        found.iter().all(|x| x.is_finite()).then_some(found)
    }

    /// Fitted mean and variance of the tool error at the draws themselves.
    pub fn fitted(&self, fit: &ToolFit) -> (Vec<f64>, Vec<f64>) {
        let rows = self.rows.row_iter().map(|row| {
            let row: Vec<f64> = row.iter().copied().collect();
            (fit.mean_m(&row), fit.variance_m2(&row))
        });
        rows.unzip()
    }
}

/// Sorts and gives the middle value.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[half]),
        _ => Some(0.5 * (values[half - 1] + values[half])),
    }
}
