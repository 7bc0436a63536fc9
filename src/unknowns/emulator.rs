//! From a few hundred draws of the unknowns, simulated, to the rate of struck plants at any other point.
//!
//! Mean and variance of the tool error are fitted by polynomials of the unknowns ([`super::tool`]). With them the bell curve gives a rate
//! ([`Band::ln_share`]), and simulated rates correct that ([`super::correct`]). Polynomials in the logarithm of the rate itself miss its
//! shape: it is far from quadratic. A trend from simple physics with a statistical correction: Kennedy & O'Hagan, Biometrika 87:1-13,
//! 2000.

use nalgebra::DMatrix;

use super::band::{Band, Elsewhere};
use super::basis::Basis;
use super::cloud::Cloud;
use super::correct::{RateFit, RateSums, fit_rate};
use super::law::Law;
use super::special::normal_quantile;
use super::tool::{Draws, ToolFit, ToolSums};

/// Fewest draws (our choice).
pub const FEWEST_DRAWS: usize = 128;

/// Why no limits can be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoLimits {
    /// Fewer than [`FEWEST_DRAWS`] draws have passes.
    FewDraws {
        /// How many have.
        draws: usize,
    },
    /// Draws of a single pass do not show what passes add.
    SinglePasses,
    /// Sums that are not numbers, or lists that do not fit.
    Broken,
}

/// What was simulated at one speed under one controller, one entry for each draw.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Simulated {
    /// The tool error.
    pub tool: Vec<ToolSums>,
    /// `[cell][draw]`: a cell is a clearance and a fate, in the caller's order.
    pub rates: Vec<Vec<RateSums>>,
    /// By cell, plants that do not stand where the tool error is known; none where the list ends.
    pub elsewhere: Vec<Elsewhere>,
}

/// Where plants meet the fate of a cell when the unknowns have these values: the second number is the cell.
pub type BandAt<'a> = &'a (dyn Fn(&[f64], usize) -> Band + Sync);

/// Rates at any point of the unknowns, for every speed, controller and cell that was simulated.
pub struct Emulator<'a> {
    laws: Vec<Law>,
    basis: Basis,
    band: BandAt<'a>,
    /// In the order in which they were given.
    pub fits: Vec<ToolFit>,
}

impl<'a> Emulator<'a> {
    /// Fits everything. `draws` holds the simulated points (weights are not used), `passes` how many passes each had; draws without any are
    /// left out. Trust in each rate is judged on its own, see [`super::correct::RateFit::trust`].
    pub fn fit(
        laws: &[Law],
        draws: &Cloud,
        passes: &[u64],
        simulated: &[Simulated],
        band: BandAt<'a>,
    ) -> Result<Self, NoLimits> {
        let fits_in = |len: usize| len == draws.len();
        let whole = draws.unknowns() == laws.len()
            && fits_in(passes.len())
            && simulated.iter().all(|one| {
                fits_in(one.tool.len()) && one.rates.iter().all(|cell| fits_in(cell.len()))
            });
        if !whole {
            return Err(NoLimits::Broken);
        }
        let used: Vec<usize> = (0..draws.len()).filter(|&i| passes[i] > 0).collect();
        if used.len() < FEWEST_DRAWS {
            return Err(NoLimits::FewDraws { draws: used.len() });
        }
        if used.iter().filter(|&&i| passes[i] > 1).count() < FEWEST_DRAWS {
            return Err(NoLimits::SinglePasses);
        }
        let basis = Basis::new(laws, used.len());
        let mut rows = Vec::with_capacity(used.len() * basis.terms());
        for &i in &used {
            basis.extend_row(&coordinates(laws, draws.point(i)), &mut rows);
        }
        let lines: Vec<&[f64]> = rows.chunks_exact(basis.terms()).collect();
        let rows = DMatrix::from_row_slice(used.len(), basis.terms(), &rows);
        let prepared = Draws {
            passes: used.iter().map(|&i| passes[i] as f64).collect(),
            values: used.iter().map(|&i| values(laws, draws.point(i))).collect(),
            gram: rows.tr_mul(&rows),
            rows,
        };
        let fits: Option<Vec<ToolFit>> = simulated
            .iter()
            .map(|one| {
                let tool: Vec<ToolSums> = used.iter().map(|&i| one.tool[i]).collect();
                let mut fit = prepared.tool(&tool)?;
                let (mean_m, variance_m2) = prepared.fitted(&fit);
                fit.rates = (0..one.rates.len())
                    .map(|cell| {
                        let elsewhere = one.elsewhere.get(cell).copied().unwrap_or_default();
                        let trend = |i: usize| {
                            let band = band(&prepared.values[i], cell);
                            elsewhere.with(band.ln_share(mean_m[i], variance_m2[i]), &band)
                        };
                        let trends: Vec<f64> = (0..used.len()).map(trend).collect();
                        let sums: Vec<RateSums> =
                            used.iter().map(|&i| one.rates[cell][i]).collect();
                        let fit = fit_rate(&trends, &lines, laws.len(), &prepared.passes, &sums)?;
                        Some(RateFit { elsewhere, ..fit })
                    })
                    .collect::<Option<_>>()?;
                Some(fit)
            })
            .collect();
        Ok(Self {
            laws: laws.to_vec(),
            basis,
            band,
            fits: fits.ok_or(NoLimits::Broken)?,
        })
    }

    /// Everything that the fits need of the points of a cloud, worked out once for all speeds, controllers and cells.
    pub fn at(&self, cloud: &Cloud) -> Emulated<'_> {
        let terms = self.basis.terms();
        let mut rows = Vec::with_capacity(cloud.len() * terms);
        let mut all = Vec::with_capacity(cloud.len() * self.laws.len());
        let mut deviates = Vec::with_capacity(cloud.len());
        for i in 0..cloud.len() {
            let point = cloud.point(i);
            self.basis
                .extend_row(&coordinates(&self.laws, point), &mut rows);
            all.extend(values(&self.laws, point));
            deviates.push(normal_quantile(point[self.laws.len()]));
        }
        let of = |number: &dyn Fn(&ToolFit, &[f64]) -> f64| -> Vec<Vec<f64>> {
            let fits = self.fits.iter();
            fits.map(|fit| {
                let rows = rows.chunks_exact(terms);
                rows.map(|row| number(fit, row)).collect()
            })
            .collect()
        };
        Emulated {
            mean_m: of(&ToolFit::mean_m),
            variance_m2: of(&ToolFit::variance_m2),
            emulator: self,
            values: all,
            degree_1: {
                let d = self.laws.len();
                let rows = rows.chunks_exact(terms);
                rows.flat_map(|row| &row[..=d]).copied().collect()
            },
            deviates,
        }
    }

    /// A single point, for walks that change one coordinate at a time.
    pub fn at_point(&self, point: &[f64]) -> Point<'_, 'a> {
        let mut row = Vec::with_capacity(self.basis.terms());
        self.basis
            .extend_row(&coordinates(&self.laws, point), &mut row);
        Point {
            row,
            values: values(&self.laws, point),
            deviate: normal_quantile(point[self.laws.len()]),
            emulator: self,
        }
    }
}

/// A point of the unknowns under all fits.
pub struct Point<'e, 'a> {
    emulator: &'e Emulator<'a>,
    row: Vec<f64>,
    values: Vec<f64>,
    deviate: f64,
}

impl Point<'_, '_> {
    /// Mean, m, and variance, m², of the tool error under fit `tool`.
    pub fn tool_error(&self, tool: usize) -> (f64, f64) {
        let fit = &self.emulator.fits[tool];
        (fit.mean_m(&self.row), fit.variance_m2(&self.row))
    }

    /// Logarithm of the rate of a cell, for a tool error from [`Point::tool_error`].
    pub fn ln_rate(&self, tool: usize, cell: usize, (mean_m, variance_m2): (f64, f64)) -> f64 {
        let fit = &self.emulator.fits[tool].rates[cell];
        let band = (self.emulator.band)(&self.values, cell);
        let trend = fit
            .elsewhere
            .with(band.ln_share(mean_m, variance_m2), &band);
        fit.ln_rate(trend, &self.row, self.deviate)
    }

    /// The unknowns' values.
    pub fn values(&self) -> &[f64] {
        &self.values
    }
}

/// The points of a cloud under all fits.
pub struct Emulated<'e> {
    emulator: &'e Emulator<'e>,
    /// `[fit][point]`: mean of the tool error, m.
    pub mean_m: Vec<Vec<f64>>,
    /// `[fit][point]`: variance of the tool error, m².
    pub variance_m2: Vec<Vec<f64>>,
    values: Vec<f64>,
    /// Of each point the constant and the terms of degree 1.
    degree_1: Vec<f64>,
    deviates: Vec<f64>,
}

impl Emulated<'_> {
    /// Number of points.
    pub fn len(&self) -> usize {
        self.deviates.len()
    }

    /// True without points.
    pub fn is_empty(&self) -> bool {
        self.deviates.is_empty()
    }

    /// Values of the unknowns at a point, in their own units.
    pub fn values(&self, point: usize) -> &[f64] {
        let d = self.emulator.laws.len();
        &self.values[point * d..][..d]
    }

    /// Where plants meet the fate of a cell, at a point.
    pub fn band(&self, point: usize, cell: usize) -> Band {
        (self.emulator.band)(self.values(point), cell)
    }

    /// Logarithm of the rate at every point, nugget included.
    pub fn ln_rates(&self, tool: usize, cell: usize) -> Vec<f64> {
        let fit = &self.emulator.fits[tool].rates[cell];
        let d = self.emulator.laws.len();
        (0..self.len())
            .map(|i| {
                let band = self.band(i, cell);
                let share = band.ln_share(self.mean_m[tool][i], self.variance_m2[tool][i]);
                fit.ln_rate(
                    fit.elsewhere.with(share, &band),
                    &self.degree_1[i * (d + 1)..][..d + 1],
                    self.deviates[i],
                )
            })
            .collect()
    }

    /// Square of the coefficient of variation of a pass's rate at every point, where the logarithms of the rates are these.
    pub fn pass_variations(&self, tool: usize, cell: usize, ln_rates: &[f64]) -> Vec<f64> {
        let fit = &self.emulator.fits[tool].rates[cell];
        let rates = ln_rates.iter();
        rates.map(|&ln_rate| fit.pass_variation(ln_rate)).collect()
    }
}

fn coordinates(laws: &[Law], point: &[f64]) -> Vec<f64> {
    let pairs = laws.iter().zip(point);
    pairs.map(|(law, &u)| law.coordinate(u)).collect()
}

fn values(laws: &[Law], point: &[f64]) -> Vec<f64> {
    let pairs = laws.iter().zip(point);
    pairs.map(|(law, &u)| law.quantile(u)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::correct::{Trust, raw_ln_rates};
    use super::super::dice::Dice;
    use super::*;

    /// Draws of eight passes each: tool error from `tool` (mean, standard deviation of a draw), rate from `rate`.
    struct Made {
        draws: Cloud,
        passes: Vec<u64>,
        simulated: Vec<Simulated>,
    }

    fn made(
        laws: &[Law],
        count: usize,
        tool: impl Fn(&[f64]) -> (f64, f64),
        rate: impl Fn(&[f64], f64, f64) -> f64,
    ) -> Made {
        let draws = Cloud::new(5, laws.len(), count);
        let mut dice = Dice::new(2);
        let mut one = Simulated {
            tool: vec![ToolSums::default(); count],
            rates: vec![vec![RateSums::default(); count]],
            elsewhere: Vec::new(),
        };
        for i in 0..count {
            let x = values(laws, draws.point(i));
            let (mean, sd) = tool(&x);
            for _ in 0..8 {
                let mean = mean + 0.2 * sd * dice.normal();
                let sd = sd * libm::exp(0.1 * dice.normal());
                one.tool[i].add(mean, mean * mean + sd * sd);
                one.rates[0][i].add(rate(&x, mean, sd));
            }
        }
        Made {
            draws,
            passes: vec![8; count],
            simulated: vec![one],
        }
    }

    impl Made {
        fn fit<'a>(&self, laws: &[Law], band: BandAt<'a>) -> Result<Emulator<'a>, NoLimits> {
            Emulator::fit(laws, &self.draws, &self.passes, &self.simulated, band)
        }
    }

    const ROOM_M: f64 = 0.04;

    fn band(_: &[f64], _: usize) -> Band {
        Band {
            room_m: ROOM_M,
            apart_m: None,
            other_variance_m2: 1e-4,
        }
    }

    fn bell(mean: f64, sd: f64) -> f64 {
        libm::exp(band(&[], 0).ln_share(mean, sd * sd))
    }

    /// Quantiles of the emulated rate and of the true one of `truth`.
    fn compare(
        laws: &[Law],
        emulator: &Emulator,
        truth: impl Fn(&[f64]) -> f64,
    ) -> Vec<(f64, f64)> {
        let points = Cloud::new(9, laws.len(), 4096);
        let found = emulator.at(&points).ln_rates(0, 0);
        let known: Vec<f64> = (0..points.len())
            .map(|i| libm::log(truth(&values(laws, points.point(i)))))
            .collect();
        assert!(found.iter().all(|ln| ln.is_finite() && *ln <= 0.0));
        let of = |list: &[f64]| {
            super::super::limits::quantiles(points.weights(), list, [0.05, 0.5, 0.95])
        };
        of(&found).into_iter().zip(of(&known)).collect()
    }

    /// Mean over the passes of `made`, by the middles of 20 x 20 equal probabilities.
    fn over_passes(share: impl Fn(f64, f64) -> f64, mean: f64, sd: f64) -> f64 {
        let z = |i: usize| normal_quantile((i as f64 + 0.5) / 20.0);
        let grid =
            (0..400).map(|i| share(mean + 0.2 * sd * z(i / 20), sd * libm::exp(0.1 * z(i % 20))));
        grid.sum::<f64>() / 400.0
    }

    #[test]
    fn regress_reasons_for_no_limits() {
        let laws = [Law::about(0.01).unwrap()];
        let good = made(&laws, 128, |x| (0.0, x[0]), |_, mean, sd| bell(mean, sd));
        assert!(good.fit(&laws, &band).is_ok());
        let mut few = made(&laws, 128, |x| (0.0, x[0]), |_, mean, sd| bell(mean, sd));
        few.passes[7] = 0;
        let reason = few.fit(&laws, &band).err();
        assert_eq!(reason, Some(NoLimits::FewDraws { draws: 127 }));
        few.passes = vec![1; 128];
        assert_eq!(few.fit(&laws, &band).err(), Some(NoLimits::SinglePasses));
        few.passes = vec![8; 127];
        assert_eq!(few.fit(&laws, &band).err(), Some(NoLimits::Broken));
        few.passes = vec![8; 128];
        few.simulated[0].rates[0][3].rate = f64::NAN;
        assert_eq!(few.fit(&laws, &band).err(), Some(NoLimits::Broken));
        few.simulated[0].rates[0][3].rate = 0.1;
        few.simulated[0].tool[3].e_m = f64::NAN;
        assert_eq!(few.fit(&laws, &band).err(), Some(NoLimits::Broken));
    }

    /// Nothing unknown: the mean rate, at every point, within what 1024 passes leave open.
    #[test]
    fn analytic_no_unknown() {
        let made = made(&[], 128, |_| (0.0, 0.012), |_, mean, sd| bell(mean, sd));
        let emulator = made.fit(&[], &band).unwrap();
        let fit = &emulator.fits[0].rates[0];
        let rates = made.simulated[0].rates[0].iter();
        let mean = rates.map(|sums| sums.rate).sum::<f64>() / 1024.0;
        let off = compare(&[], &emulator, |_| mean);
        assert!(fit.tau < 0.1 && (fit.slope - 1.0).abs() < 1e-3, "{fit:?}");
        for (found, known) in off {
            // The nugget's 5 and 95 % points, and 3 standard errors of the mean.
            let within = 1.645 * fit.tau + 0.05;
            assert!((found - known).abs() < within, "{found} {known}");
        }
    }

    #[test]
    fn analytic_one_unknown() {
        let laws = [Law::about(0.012).unwrap()];
        let made = made(&laws, 256, |x| (0.002, x[0]), |_, mean, sd| bell(mean, sd));
        let emulator = made.fit(&laws, &band).unwrap();
        assert_eq!(emulator.fits[0].rates[0].trust, Trust::Sound);
        let truth = |x: &[f64]| over_passes(bell, 0.002, x[0]);
        for (found, known) in compare(&laws, &emulator, truth) {
            assert!((found - known).abs() < 0.1, "{found} {known}");
        }
    }

    /// Touched but not cut: between the rooms of two radii.
    #[test]
    fn analytic_a_fate_between_two_rooms() {
        let laws = [Law::about(0.012).unwrap(), Law::normal(0.0, 0.004)];
        let between = |_: &[f64], _: usize| Band {
            apart_m: Some(0.05),
            ..band(&[], 0)
        };
        let share = |mean: f64, sd: f64| libm::exp(between(&[], 0).ln_share(mean, sd * sd));
        let made = made(&laws, 256, |x| (x[1], x[0]), |_, mean, sd| share(mean, sd));
        let emulator = made.fit(&laws, &between).unwrap();
        assert_eq!(emulator.fits[0].rates[0].trust, Trust::Sound);
        for (found, known) in compare(&laws, &emulator, |x| over_passes(share, x[1], x[0])) {
            assert!((found - known).abs() < 0.1, "{found} {known}");
        }
    }

    /// A locked machine strikes a third to nine tenths of all plants: never more than all, and limits as known.
    #[test]
    fn analytic_rates_near_one() {
        let laws = [Law::about(0.06).unwrap(), Law::normal(0.0, 0.03)];
        let rate = |_: &[f64], mean: f64, sd: f64| bell(mean, sd);
        let made = made(&laws, 256, |x| (x[1], x[0]), rate);
        let emulator = made.fit(&laws, &band).unwrap();
        assert_eq!(emulator.fits[0].rates[0].trust, Trust::Sound);
        for (found, known) in compare(&laws, &emulator, |x| over_passes(bell, x[1], x[0])) {
            assert!((found - known).abs() < 0.05, "{found} {known}");
        }
    }

    /// No plant is struck in nine draws of ten, or in none at all: finite, not trusted.
    #[test]
    fn regress_hardly_any_strikes() {
        let laws = [Law::about(0.01).unwrap(), Law::normal(0.0, 1.0)];
        for least in [1.3, 9.0] {
            let rate = |x: &[f64], _: f64, _: f64| if x[1] > least { 0.01 } else { 0.0 };
            let made = made(&laws, 256, |x| (0.0, x[0]), rate);
            let emulator = made.fit(&laws, &band).unwrap();
            let trust = emulator.fits[0].rates[0].trust;
            assert!(matches!(trust, Trust::FewStruck { draws } if draws < 32));
            compare(&laws, &emulator, |_| 1e-5);
            let raw = raw_ln_rates(&made.passes, &made.simulated[0].rates[0]);
            assert!(raw.len() == 256 && raw.iter().all(|ln| ln.is_finite()));
        }
    }

    /// Draws without any scatter of the tool, an unknown that does nothing, two that say the same to the model, and more than the draws
    /// bear terms for.
    #[test]
    fn regress_poor_data_stays_finite() {
        let many = vec![Law::about(0.01).unwrap(); 40];
        let tool = |x: &[f64]| (0.0, if x[0] > 0.012 { 0.0 } else { x[0] });
        for laws in [&many[..2], &many[..40]] {
            let made = made(laws, 130, tool, |_, mean, sd| bell(mean, sd));
            let emulator = made.fit(laws, &band).unwrap();
            compare(laws, &emulator, |_| 0.01);
        }
        let still = made(&many[..2], 130, |_| (0.0, 0.0), |_, _, _| 0.2);
        let emulator = still.fit(&many[..2], &band).unwrap();
        for (found, _) in compare(&many[..2], &emulator, |_| 0.2) {
            assert!((found - libm::log(0.2)).abs() < 1e-3, "{found}");
        }
    }

    /// Again the same bits, and a single point as in company.
    #[test]
    fn prop_same_bits_again_and_alone() {
        let laws = [Law::about(0.012).unwrap(), Law::normal(0.0, 0.004)];
        let rate = |_: &[f64], mean: f64, sd: f64| bell(mean, sd);
        let made = made(&laws, 256, |x| (x[1], x[0]), rate);
        let (one, two) = (
            made.fit(&laws, &band).unwrap(),
            made.fit(&laws, &band).unwrap(),
        );
        assert_eq!(one.fits, two.fits);
        let points = Cloud::new(3, 2, 100);
        let together = one.at(&points).ln_rates(0, 0);
        for (i, &ln_rate) in together.iter().enumerate() {
            let point = one.at_point(points.point(i));
            assert_eq!(point.ln_rate(0, 0, point.tool_error(0)), ln_rate);
        }
    }
}
