//! How much of a rate its worst passes carry.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::exact::Exact;

/// Share of the passes that count as the worst.
pub const WORST_PASSES: f64 = 0.01;

/// Bits of a number that its bin keeps: sign, exponent and two more, so that a bin ends at most a quarter above its start.
const BIN_SHIFT: u32 = 50;

/// Hits of passes, sorted into bins of the passes' own rates. Merging in any order gives the same bits.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Worst(BTreeMap<u16, (u64, Exact)>);

impl Worst {
    /// Adds one pass: plants hit and plants.
    pub fn add(&mut self, hits: f64, plants: f64) {
        let rate = if plants > 0.0 { hits / plants } else { 0.0 };
        // The bits of numbers from 0 on rise as the numbers do: the upper ones are a logarithmic scale.
        let bin = (rate.max(0.0).to_bits() >> BIN_SHIFT) as u16;
        let (passes, sum) = self.0.entry(bin).or_default();
        *passes += 1;
        sum.add(hits);
    }

    /// Adds other passes.
    pub fn merge(&mut self, other: &Self) {
        for (&bin, &(passes, sum)) in &other.0 {
            let mine = self.0.entry(bin).or_default();
            mine.0 += passes;
            mine.1.merge(sum);
        }
    }

    /// True if no pass was added.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Share of all hits, 0 to 1, that the worst passes carry: [`WORST_PASSES`] of them, at least one. Within a bin all
    /// passes count alike, which makes the share too low by a quarter of the last bin's part at most. `None` without hits.
    pub fn share(&self) -> Option<f64> {
        let (passes, hits) = self.0.values().fold((0, 0.0), |(passes, hits), bin| {
            (passes + bin.0, hits + bin.1.value())
        });
        if hits <= 0.0 {
            return None;
        }
        let mut left = (WORST_PASSES * passes as f64).max(1.0);
        let mut carried = 0.0;
        for &(passes, sum) in self.0.values().rev() {
            let passes = passes as f64;
            // Of the last bin no more than what still belongs to the worst passes.
            carried += sum.value() * (left / passes).min(1.0);
            left -= passes;
            if left <= 0.0 {
                break;
            }
        }
        Some((carried / hits).min(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worst(passes: impl IntoIterator<Item = f64>) -> Worst {
        let mut worst = Worst::default();
        for hits in passes {
            worst.add(hits, 1000.0);
        }
        worst
    }

    #[test]
    fn analytic_equal_passes_carry_equal_shares() {
        assert_eq!(worst(vec![3.0; 400]).share(), Some(0.01));
        assert_eq!(worst(vec![3.0; 20]).share(), Some(0.05));
        assert_eq!(worst(vec![3.0]).share(), Some(1.0));
        assert_eq!(worst(vec![0.0; 50]).share(), None);
        assert_eq!(Worst::default().share(), None);
    }

    #[test]
    fn analytic_one_pass_carries_all() {
        let mut passes = vec![0.0; 99];
        passes.push(5.0);
        assert_eq!(worst(passes).share(), Some(1.0));
    }

    /// Log-normal rates of spread s: the worst 1 % carry Phi(s - 2.3263) (Lorenz curve of the log-normal distribution,
    /// Aitchison & Brown 1957). The quantiles are taken at equal steps of probability; their tail ends at 1/(2 m), which leaves
    /// out less than 1 % of the sum, and the bins blur by a tenth at most.
    #[test]
    fn analytic_lognormal_rates() {
        use statrs::distribution::{ContinuousCDF, Normal};
        let normal = Normal::standard();
        let m = 100_000;
        for spread in [0.5, 1.0, 1.5] {
            let passes = (0..m).map(|i| {
                let z = normal.inverse_cdf((f64::from(i) + 0.5) / f64::from(m));
                1e-3 * f64::exp(spread * z)
            });
            let share = worst(passes).share().unwrap();
            let want = normal.cdf(spread - normal.inverse_cdf(0.99));
            assert!((share / want - 1.0).abs() < 0.1, "{spread} {share} {want}");
        }
    }

    #[test]
    fn prop_merging_equals_adding() {
        let passes: Vec<f64> = (0..300).map(|i| f64::from(i * 7919 % 503) * 1e-4).collect();
        let mut parts = worst(passes[100..].iter().copied());
        parts.merge(&worst(passes[..100].iter().copied()));
        assert_eq!(parts, worst(passes.iter().copied()));
        let text = serde_json::to_string(&parts).unwrap();
        assert_eq!(serde_json::from_str::<Worst>(&text).unwrap(), parts);
    }
}
