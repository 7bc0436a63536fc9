//! Which pass cut most.

use serde::{Deserialize, Serialize};

/// The pass with the highest share of cut plants of those added; of several alike the one with the smallest number. Merging in any order
/// gives the same bits.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct WorstPass(Option<(u64, f64)>);

impl WorstPass {
    /// Adds one pass: its number in the study, cut plants and plants. A pass that cuts nothing counts with the rate 0.
    pub fn add(&mut self, pass: u64, cut: f64, plants: f64) {
        let rate = if plants > 0.0 { cut / plants } else { 0.0 };
        self.meet(pass, rate.max(0.0));
    }

    /// Adds other passes.
    pub fn merge(&mut self, other: &Self) {
        if let Some((pass, rate)) = other.0 {
            self.meet(pass, rate);
        }
    }

    /// Its number and rate; `None` if no pass was added.
    pub fn found(&self) -> Option<(u64, f64)> {
        self.0
    }

    fn meet(&mut self, pass: u64, rate: f64) {
        let worse = self
            .0
            .is_none_or(|(worst, highest)| rate > highest || (rate == highest && pass < worst));
        if worse {
            self.0 = Some((pass, rate));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worst(passes: impl IntoIterator<Item = (u64, f64)>) -> WorstPass {
        let mut worst = WorstPass::default();
        for (pass, strikes) in passes {
            worst.add(pass, strikes, 1000.0);
        }
        worst
    }

    #[test]
    fn analytic_ties_and_passes_without_strikes() {
        assert_eq!(WorstPass::default().found(), None);
        assert_eq!(worst([(9, 0.0), (4, 0.0)]).found(), Some((4, 0.0)));
        assert_eq!(
            worst([(7, 3.0), (5, 3.0), (0, 0.0)]).found(),
            Some((5, 0.003))
        );
        let mut bare = WorstPass::default();
        bare.add(2, 0.0, 0.0);
        assert_eq!(bare.found(), Some((2, 0.0)));
    }

    #[test]
    fn prop_merging_in_any_order_equals_adding() {
        // Few different rates, so that the highest stands on several passes.
        let passes: Vec<(u64, f64)> = (0..300).map(|i| (i, (i * 7919 % 17) as f64)).collect();
        let all = worst(passes.iter().copied());
        assert_eq!(all, worst(passes.iter().rev().copied()));
        let parts: Vec<WorstPass> = passes
            .chunks(7)
            .map(|part| worst(part.iter().copied()))
            .collect();
        let merged = |parts: &mut dyn Iterator<Item = &WorstPass>| {
            let mut total = WorstPass::default();
            parts.for_each(|part| total.merge(part));
            total
        };
        assert_eq!(merged(&mut parts.iter()), all);
        assert_eq!(merged(&mut parts.iter().rev()), all);
        assert_eq!(merged(&mut parts[20..].iter().chain(&parts[..20])), all);
        for one in [&all, &WorstPass::default()] {
            let text = serde_json::to_string(one).unwrap();
            assert_eq!(serde_json::from_str::<WorstPass>(&text).unwrap(), *one);
        }
    }
}
