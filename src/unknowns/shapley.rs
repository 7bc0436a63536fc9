//! Which unknown carries the doubt: Shapley shares of a variance.
//!
//! By walks from one random point to another that replace the coordinates in random order (Goda, J. Comput. Appl. Math. 391, 2021, "A
//! simple algorithm for global sensitivity analysis with Shapley effects"; the shares: Owen, SIAM/ASA J. Uncertain. Quantif. 2:245-251,
//! 2014). Unknowns are taken as independent: after learning they are not, and these shares are those before it.

use super::dice::Dice;
use super::points::Sobol;

/// Walks that leave shares a standard error of at most about 2 % of the variance (Ishigami's function, our measurement).
pub const WALKS: usize = 4096;

/// Shares of one output's variance.
#[derive(Clone, Debug, PartialEq)]
pub struct Shares {
    /// One for each coordinate, in the square of the output's unit. Add up to `variance`. One near nothing may come out a little below 0.
    pub shares: Vec<f64>,
    /// Standard errors of the shares as of random walks; points that fill the cube evenly do better.
    pub standard_errors: Vec<f64>,
    /// Sampled variance of the output.
    pub variance: f64,
}

/// Walks over `outputs` outputs at once: `f` gives them at a point with `dimensions` coordinates, each above 0 and below 1. At least one
/// walk. Infinite outputs make shares that are not numbers: give ends instead.
pub fn shares(
    seed: u64,
    dimensions: usize,
    outputs: usize,
    walks: usize,
    mut f: impl FnMut(&[f64], &mut [f64]),
) -> Vec<Shares> {
    // Both points of a walk come from one sequence, so that they are independent.
    let sobol = Sobol::new(seed);
    let mut dice = Dice::new(seed);
    let mut order = vec![0; dimensions];
    let mut sums = vec![(0.0, 0.0); outputs * dimensions];
    let mut variances = vec![0.0; outputs];
    let mut at_start = vec![0.0; outputs];
    let mut before = vec![0.0; outputs];
    let mut now = vec![0.0; outputs];
    let mut point = vec![0.0; dimensions];
    for walk in 0..walks as u32 {
        dice.shuffle(&mut order);
        for (j, x) in point.iter_mut().enumerate() {
            *x = sobol.point(walk, j);
        }
        f(&point, &mut at_start);
        before.copy_from_slice(&at_start);
        for &j in &order {
            point[j] = sobol.point(walk, dimensions + j);
            f(&point, &mut now);
            for output in 0..outputs {
                let middle = 0.5 * (before[output] + now[output]);
                let part = (at_start[output] - middle) * (before[output] - now[output]);
                let sum = &mut sums[output * dimensions + j];
                sum.0 += part;
                sum.1 += part * part;
            }
            before.copy_from_slice(&now);
        }
        for output in 0..outputs {
            let apart = at_start[output] - before[output];
            variances[output] += 0.5 * apart * apart;
        }
    }
    let n = walks as f64;
    (0..outputs)
        .map(|output| {
            let of = &sums[output * dimensions..][..dimensions];
            let error = |&(sum, square): &(f64, f64)| {
                ((square / n - sum / n * (sum / n)).max(0.0) / n).sqrt()
            };
            Shares {
                shares: of.iter().map(|(sum, _)| sum / n).collect(),
                standard_errors: of.iter().map(error).collect(),
                variance: variances[output] / n,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::PI;

    fn worst(found: &Shares, expected: &[f64]) -> f64 {
        let total: f64 = expected.iter().sum();
        let pairs = found.shares.iter().zip(expected);
        pairs
            .map(|(a, b)| (a - b).abs() / total)
            .fold(0.0, f64::max)
    }

    /// Ishigami with a = 7, b = 0.1: V1 = (1 + b pi⁴/5)²/2, V2 = a²/8, V13 = 8 b² pi⁸/225 shared by two. Published rounded: .4358, .4424,
    /// .1219 of 13.845. 4 standard errors, and these below 2.5 %.
    #[test]
    fn val_ishigami() {
        let (a, b) = (7.0, 0.1);
        let angle = |u: f64| PI * (2.0 * u - 1.0);
        let found = &shares(5, 3, 1, WALKS, |u, out| {
            let [x, y, z] = [0, 1, 2].map(|i| angle(u[i]));
            let sin = libm::sin;
            out[0] = sin(x) + a * sin(y) * sin(y) + b * z * z * z * z * sin(x);
        })[0];
        let pi4 = PI * PI * PI * PI;
        let alone = 0.5 * (1.0 + b * pi4 / 5.0) * (1.0 + b * pi4 / 5.0);
        let both = 8.0 * b * b * pi4 * pi4 / 225.0;
        let expected = [alone + both / 2.0, a * a / 8.0, both / 2.0];
        let total: f64 = expected.iter().sum();
        assert!((total - 13.845).abs() < 5e-4);
        for (share, published) in expected.iter().zip([0.4358, 0.4424, 0.1219]) {
            assert!((share / total - published).abs() < 1e-4);
        }
        for ((share, error), expected) in found
            .shares
            .iter()
            .zip(&found.standard_errors)
            .zip(expected)
        {
            assert!((share - expected).abs() < 4.0 * error);
            assert!(*error < 0.025 * total);
        }
        assert!((found.variance / total - 1.0).abs() < 0.05);
    }

    /// The g-function of Sobol with a = 0, 1, 4.5, 9, 99, 99, 99, 99: the part of a set's interaction is the product of
    /// V_i = 1/3/(1 + a_i)², and each of its members gets an equal part of it: summed over all 255 sets.
    #[test]
    fn analytic_g_function() {
        let a = [0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0];
        let v = a.map(|a: f64| 1.0 / 3.0 / ((1.0 + a) * (1.0 + a)));
        let mut expected = [0.0; 8];
        for set in 1_u32..256 {
            let members = || (0..8).filter(|i| set >> i & 1 == 1);
            let part: f64 = members().map(|i| v[i]).product();
            for i in members() {
                expected[i] += part / f64::from(set.count_ones());
            }
        }
        let found = &shares(9, 8, 1, WALKS, |u, out| {
            let factors = u.iter().zip(a);
            out[0] = factors
                .map(|(u, a)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a))
                .product();
        })[0];
        for ((share, error), expected) in found
            .shares
            .iter()
            .zip(&found.standard_errors)
            .zip(expected)
        {
            assert!(
                (share - expected).abs() < 4.0 * error + 1e-9,
                "{share} {expected}"
            );
        }
        assert!(
            worst(found, &expected) < 0.02,
            "{}",
            worst(found, &expected)
        );
    }

    /// A sum of independent terms: each share is the variance of its term. Several outputs in one walk are the same as one by one.
    #[test]
    fn analytic_sums_and_several_outputs() {
        let weights = [1.0, 2.0, 0.0, 3.0];
        let linear = |u: &[f64]| -> f64 { u.iter().zip(weights).map(|(u, w)| u * w).sum() };
        let both = shares(2, 4, 2, 1024, |u, out| {
            out[0] = linear(u);
            out[1] = u[2];
        });
        let alone = shares(2, 4, 1, 1024, |u, out| out[0] = linear(u));
        assert_eq!(both[0], alone[0]);
        let expected = weights.map(|w| w * w / 12.0);
        assert!(worst(&both[0], &expected) < 0.05);
        assert_eq!(both[0].shares[2], 0.0);
        assert_eq!(both[1].shares[0], 0.0);
    }

    /// More coordinates than the sequence holds twice: of a sum of 40 each has a fortieth, within 4 standard errors.
    #[test]
    fn analytic_many_coordinates() {
        let found = &shares(8, 40, 1, WALKS, |u, out| out[0] = u.iter().sum())[0];
        for (share, error) in found.shares.iter().zip(&found.standard_errors) {
            assert!((share - 1.0 / 12.0).abs() < 4.0 * error, "{share} {error}");
            assert!(*error < 0.02);
        }
        assert!((found.variance / (40.0 / 12.0) - 1.0).abs() < 0.1);
    }

    /// Shares add up to the sampled variance, to rounding.
    #[test]
    fn prop_shares_add_up() {
        for dimensions in [1, 5, 40] {
            let found = &shares(3, dimensions, 1, 200, |u, out| {
                out[0] = u.iter().map(|u| libm::log(0.1 + u)).product::<f64>() + u[0];
            })[0];
            let sum: f64 = found.shares.iter().sum();
            assert!((sum / found.variance - 1.0).abs() < 1e-9);
        }
    }
}
