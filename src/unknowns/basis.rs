//! Polynomials of the unknowns, orthonormal under their laws, for fits that a few hundred draws can bear.
//!
//! Products of Legendre and Hermite polynomials up to total degree 2 (Xiu & Karniadakis, SIAM J. Sci. Comput. 24:619-644, 2002).

use super::law::{Law, Polynomials};

/// Fewest draws for products of two unknowns (our choice).
const DRAWS_FOR_PRODUCTS: usize = 256;

/// Fewest draws for each term of a fit (our choice): products, then squares are left out until that holds.
const DRAWS_PER_TERM: usize = 2;

/// The terms of a fit: one, each unknown, and with enough draws its square and the products of two.
#[derive(Clone, Debug, PartialEq)]
pub struct Basis {
    polynomials: Vec<Polynomials>,
    squares: bool,
    products: bool,
}

impl Basis {
    /// The largest that so many draws bear.
    pub fn new(laws: &[Law], draws: usize) -> Self {
        let d = laws.len();
        let fits = |terms: usize| terms * DRAWS_PER_TERM <= draws;
        let products = draws >= DRAWS_FOR_PRODUCTS && fits(1 + 2 * d + d * d.saturating_sub(1) / 2);
        Self {
            polynomials: laws.iter().map(Law::polynomials).collect(),
            squares: products || fits(1 + 2 * d),
            products,
        }
    }

    /// Number of terms.
    pub fn terms(&self) -> usize {
        let d = self.polynomials.len();
        let squares = if self.squares { d } else { 0 };
        let products = if self.products {
            d * d.saturating_sub(1) / 2
        } else {
            0
        };
        1 + d + squares + products
    }

    /// Appends the terms at these coordinates (see [`Law::coordinate`]): 1, the unknowns, squares, products.
    pub fn extend_row(&self, coordinates: &[f64], row: &mut Vec<f64>) {
        row.push(1.0);
        let start = row.len();
        for (&x, polynomials) in coordinates.iter().zip(&self.polynomials) {
            row.push(match polynomials {
                Polynomials::Legendre => 3_f64.sqrt() * x,
                Polynomials::Hermite => x,
            });
        }
        if self.squares {
            for (&x, polynomials) in coordinates.iter().zip(&self.polynomials) {
                row.push(match polynomials {
                    Polynomials::Legendre => 5_f64.sqrt() * (1.5 * x * x - 0.5),
                    Polynomials::Hermite => (x * x - 1.0) / 2_f64.sqrt(),
                });
            }
        }
        if self.products {
            for i in 0..coordinates.len() {
                for j in 0..i {
                    row.push(row[start + i] * row[start + j]);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::points::Sobol;
    use super::*;

    /// Mean of the products of two terms over the law: 1 for the same, else 0. 65,536 Sobol points leave an error of about 1e-3 in the
    /// fourth moment of a bell curve.
    #[test]
    fn analytic_orthonormal() {
        let laws = [
            Law::Uniform { from: 3.0, to: 7.0 },
            Law::normal(1.0, 4.0),
            Law::about(5.0).unwrap(),
        ];
        let basis = Basis::new(&laws, 256);
        assert_eq!(basis.terms(), 10);
        let sobol = Sobol::new(3);
        let n = 65_536;
        let mut sums = vec![0.0; 100];
        for i in 0..n {
            let coordinates: Vec<f64> = laws
                .iter()
                .enumerate()
                .map(|(d, law)| law.coordinate(sobol.point(i, d)))
                .collect();
            let mut row = Vec::new();
            basis.extend_row(&coordinates, &mut row);
            for a in 0..10 {
                for b in 0..10 {
                    sums[10 * a + b] += row[a] * row[b] / f64::from(n);
                }
            }
        }
        for a in 0..10 {
            for b in 0..10 {
                let expected = f64::from(u8::from(a == b));
                assert!((sums[10 * a + b] - expected).abs() < 5e-3, "{a} {b}");
            }
        }
    }

    #[test]
    fn regress_terms_shrink_with_the_draws() {
        let laws = |d| vec![Law::normal(0.0, 1.0); d];
        assert_eq!(Basis::new(&laws(0), 128).terms(), 1);
        assert_eq!(Basis::new(&laws(13), 256).terms(), 105);
        assert_eq!(Basis::new(&laws(13), 255).terms(), 27);
        assert_eq!(Basis::new(&laws(20), 256).terms(), 41);
        assert_eq!(Basis::new(&laws(40), 128).terms(), 41);
    }
}
