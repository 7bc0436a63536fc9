//! Readings of a tape at places and rows: what is common to all, what is each row's own, what moves from place to place, what is left over.
//!
//! All rows at one place share the tool error of that moment, so that the readings there are not independent: a two-way analysis with the
//! rows fixed and the places random, by restricted likelihood (Patterson & Thompson, Biometrika 58:545-554, 1971), unbalanced.

use super::climb::Hill;
use super::wander::Estimate;
use crate::montecarlo::quantile::{beta_quantile, student_factor};
use crate::unknowns::special::chi_square_probability;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// Place, from 0.
    pub place: usize,
    /// Row, from 0.
    pub row: usize,
    /// What was read.
    pub value: f64,
}

/// What the readings say.
#[derive(Clone, Debug, PartialEq)]
pub struct TwoWay {
    /// Mean over the rows.
    pub mean: Estimate,
    /// Standard error of it.
    pub mean_se: f64,
    /// Each row less that mean.
    pub rows: Vec<Estimate>,
    /// Standard deviation from place to place; none with a single place or nothing to hold it against.
    pub place_sd: Estimate,
    /// Standard deviation left over.
    pub scatter_sd: Estimate,
    /// Limits of the share of the places in the variance of a reading.
    pub share_of_places: Estimate,
    /// Number of places.
    pub places: usize,
    /// Degrees of freedom left for the scatter.
    pub free: usize,
}

struct Design<'a> {
    values: &'a [Value],
    places: usize,
    rows: usize,
    counts: Vec<Vec<f64>>,
    sums: Vec<Vec<f64>>,
}

/// Solution at one ratio of variances.
struct Solved {
    means: Vec<f64>,
    factor: Vec<Vec<f64>>,
    square: f64,
    ln_det: f64,
}

impl Design<'_> {
    fn new(values: &[Value]) -> Design<'_> {
        let places = values.iter().map(|v| v.place + 1).max().unwrap_or(0);
        let rows = values.iter().map(|v| v.row + 1).max().unwrap_or(0);
        let mut counts = vec![vec![0.0; rows]; places];
        let mut sums = counts.clone();
        for v in values {
            counts[v.place][v.row] += 1.0;
            sums[v.place][v.row] += v.value;
        }
        Design {
            values,
            places,
            rows,
            counts,
            sums,
        }
    }

    /// Means of the rows where the variance of the places is `ratio` times that of the scatter, by generalised least squares.
    fn at(&self, ratio: f64) -> Option<Solved> {
        let p = self.rows;
        let mut matrix = vec![vec![0.0; p]; p];
        let mut right = vec![0.0; p];
        let mut ln_det = 0.0;
        for (counts, sums) in self.counts.iter().zip(&self.sums) {
            let n: f64 = counts.iter().sum();
            let sum: f64 = sums.iter().sum();
            let weight = ratio / (1.0 + ratio * n);
            ln_det += libm::log1p(ratio * n);
            for i in 0..p {
                matrix[i][i] += counts[i];
                right[i] += sums[i] - weight * counts[i] * sum;
                for j in 0..p {
                    matrix[i][j] -= weight * counts[i] * counts[j];
                }
            }
        }
        let factor = factored(&matrix)?;
        ln_det += 2.0 * (0..p).map(|i| libm::log(factor[i][i])).sum::<f64>();
        let means = solve(&factor, &right);
        let mut square = 0.0;
        let mut left = vec![(0.0, 0.0); self.places];
        for v in self.values {
            let rest = v.value - means[v.row];
            square += rest * rest;
            left[v.place].0 += rest;
            left[v.place].1 += 1.0;
        }
        for (sum, n) in left {
            square -= ratio / (1.0 + ratio * n) * sum * sum;
        }
        Some(Solved {
            means,
            factor,
            square: square.max(0.0),
            ln_det,
        })
    }
}

fn factored(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let mut factor = matrix.to_vec();
    for i in 0..matrix.len() {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
            let left = matrix[i][j] - sum;
            factor[i][j] = match i == j {
                true if left <= 1e-13 * matrix[i][i] => return None,
                true => left.sqrt(),
                false => left / factor[j][j],
            };
        }
    }
    Some(factor)
}

fn solve(factor: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let n = right.len();
    let mut x = right.to_vec();
    for i in 0..n {
        let sum: f64 = (0..i).map(|k| factor[i][k] * x[k]).sum();
        x[i] = (x[i] - sum) / factor[i][i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| factor[k][i] * x[k]).sum();
        x[i] = (x[i] - sum) / factor[i][i];
    }
    x
}

/// Number that a chi-square variable stays under with probability `p`.
fn chi_square_quantile(freedom: f64, p: f64) -> f64 {
    let (mut low, mut high) = (0.0, freedom + 40.0 * (2.0 * freedom).sqrt() + 40.0);
    for _ in 0..100 {
        let middle = (low + high) / 2.0;
        if chi_square_probability(freedom, middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

/// Number that a ratio of mean squares stays under with probability `p`.
fn ratio_quantile(above: f64, below: f64, p: f64) -> f64 {
    let share = beta_quantile(above / 2.0, below / 2.0, p);
    below * share / (above * (1.0 - share))
}

const NOT_KNOWN: Estimate = Estimate {
    value: None,
    lower: None,
    upper: None,
};

/// Largest ratio of the variance of places to that of the scatter that is told from the places being fixed.
const FIXED_RATIO: f64 = 1e7;

/// Analyses readings; `None` if there are none, or so few that nothing is left to judge by.
pub fn two_way(values: &[Value]) -> Option<TwoWay> {
    let design = Design::new(values);
    let (n, p, places) = (values.len(), design.rows, design.places);
    if n == 0 || n <= p {
        return None;
    }
    // Readings less rows less places, of which one is in the rows already.
    let free = (n + 1).saturating_sub(p + places);
    let several = places > 1;
    let ratio = if several && free > 0 {
        likeliest_ratio(&design, n - p)
    } else {
        0.0
    };
    let solved = design.at(ratio)?;
    let variance = solved.square / (n - p) as f64;
    let mean = solved.means.iter().sum::<f64>() / p as f64;
    let level = 0.95;
    let with = |value: f64, error: f64, freedom: usize| {
        let by = (freedom > 0).then(|| student_factor(freedom as f64, level) * error);
        Estimate {
            value: Some(value),
            lower: by.map(|by| value - by),
            upper: by.map(|by| value + by),
        }
    };
    let error = |weights: &[f64]| {
        let across = solve(&solved.factor, weights);
        let square: f64 = across.iter().zip(weights).map(|(a, b)| a * b).sum();
        (variance * square).max(0.0).sqrt()
    };
    let even = vec![1.0 / p as f64; p];
    let mean_se = error(&even);
    let rows = (0..p).map(|row| {
        let mut weights: Vec<f64> = even.iter().map(|share| -share).collect();
        weights[row] += 1.0;
        with(solved.means[row] - mean, error(&weights), free)
    });
    let rows = rows.collect();
    let [place_sd, scatter_sd, share_of_places] = spreads(&design, ratio, variance, free);
    Some(TwoWay {
        mean: with(mean, mean_se, places.saturating_sub(1)),
        mean_se,
        rows,
        place_sd,
        scatter_sd,
        share_of_places,
        places,
        free,
    })
}

fn likeliest_ratio(design: &Design, freedom: usize) -> f64 {
    let height = |at: &[f64]| match design.at(libm::exp(at[0])) {
        Some(solved) => {
            -0.5 * (freedom as f64 * libm::log(solved.square.max(1e-300)) + solved.ln_det)
        }
        None => f64::NEG_INFINITY,
    };
    let bounds = [[-16.0, 16.0]];
    let hill = Hill {
        height: &height,
        bounds: &bounds,
    };
    let starts = [[-2.0], [0.0], [2.0], [5.0]];
    let best = starts
        .iter()
        .max_by(|a, b| height(&a[..]).total_cmp(&height(&b[..])));
    let top = hill.top(best.unwrap_or(&starts[0]), None);
    // Nothing is better than next to nothing: the likelihood falls on towards no variance at all.
    if height(&[bounds[0][0]]) >= top.height - 1e-9 {
        0.0
    } else {
        libm::exp(top.at[0])
    }
}

/// Sd of places and of scatter and the share of the places, with limits: of the scatter by chi-square, of the ratio by the exact test of
/// Wald (Annals of Mathematical Statistics 18:586-589, 1947), of the places by both together (Williams, Biometrika 49:278-281, 1962).
fn spreads(design: &Design, ratio: f64, variance: f64, free: usize) -> [Estimate; 3] {
    let fixed = design.at(FIXED_RATIO).map(|solved| solved.square);
    let (Some(within), true, true) = (fixed, free > 0, design.places > 1) else {
        return [NOT_KNOWN; 3];
    };
    let (freedom, between_free) = (free as f64, design.places as f64 - 1.0);
    let scatter = Estimate {
        value: Some(variance.sqrt()),
        lower: Some((within / chi_square_quantile(freedom, 0.975)).sqrt()),
        upper: Some((within / chi_square_quantile(freedom, 0.025)).sqrt()),
    };
    let between = |ratio: f64| {
        design
            .at(ratio)
            .map_or(0.0, |solved| (solved.square - within).max(0.0))
    };
    let limit = |p: f64| {
        let wanted = ratio_quantile(between_free, freedom, p) * between_free * within / freedom;
        // The sum between falls as the ratio grows.
        let (mut low, mut high) = (0.0_f64, FIXED_RATIO);
        if between(0.0) <= wanted {
            return 0.0;
        }
        for _ in 0..80 {
            let middle = if low < 1e-6 {
                high * 1e-2
            } else {
                (low * high).sqrt()
            };
            if between(middle) > wanted {
                low = middle;
            } else {
                high = middle;
            }
            if high < 1e-9 || high / low.max(1e-300) < 1.0 + 1e-9 {
                break;
            }
        }
        high
    };
    let (least, most) = (limit(0.975), limit(0.025));
    let sd =
        |ratio: f64, p: f64| (ratio * between(ratio) / chi_square_quantile(between_free, p)).sqrt();
    let share = |ratio: f64| ratio / (1.0 + ratio);
    [
        Estimate {
            value: Some((ratio * variance).sqrt()),
            lower: Some(sd(least, 0.975)),
            upper: (most < 0.5 * FIXED_RATIO).then(|| sd(most, 0.025)),
        },
        scatter,
        Estimate {
            value: Some(share(ratio)),
            lower: Some(share(least)),
            upper: Some(share(most)),
        },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers far out of the table: 1 % of the roundings there.
    #[test]
    fn val_quantiles_of_tables() {
        assert!((chi_square_quantile(3.0, 0.95) - 7.815).abs() < 1e-3);
        assert!((chi_square_quantile(12.0, 0.025) - 4.404).abs() < 1e-3);
        assert!((ratio_quantile(3.0, 12.0, 0.975) - 4.474).abs() < 1e-3);
    }
}
