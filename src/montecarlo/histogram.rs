//! Fixed-bin histogram of an unsigned length, for quantiles that do not depend on the order of passes.

use serde::{Deserialize, Serialize};

/// Width of a bin, m: a quantile is known to this resolution at worst.
pub const BIN_M: f64 = 0.25e-3;

/// End of the last bin, m. Longer values share one bin of their own.
pub const RANGE_M: f64 = 2.0;

const BINS: usize = 8000;

/// Counts of an unsigned length in bins of [`BIN_M`] up to [`RANGE_M`].
///
/// Counts are whole numbers, so that merging in any order gives the same bits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Histogram {
    #[serde(with = "filled_bins")]
    counts: Vec<u64>,
    beyond: u64,
    largest_m: f64,
}

impl Default for Histogram {
    fn default() -> Self {
        Self::new()
    }
}

impl Histogram {
    /// An empty histogram.
    pub fn new() -> Self {
        Self {
            counts: vec![0; BINS],
            beyond: 0,
            largest_m: 0.0,
        }
    }

    /// Counts the size of a length, whatever its sign. A value that is not finite counts as longer than [`RANGE_M`].
    pub fn add(&mut self, length_m: f64) {
        let size_m = length_m.abs();
        let bin = (size_m / BIN_M) as usize;
        // The cast makes 0 of what is not a number: the first bin must not take that.
        match self.counts.get_mut(bin) {
            Some(count) if size_m.is_finite() => *count += 1,
            _ => self.beyond += 1,
        }
        if size_m.is_finite() {
            self.largest_m = self.largest_m.max(size_m);
        }
    }

    /// Adds the counts of another histogram.
    pub fn merge(&mut self, other: &Self) {
        for (mine, theirs) in self.counts.iter_mut().zip(&other.counts) {
            *mine += theirs;
        }
        self.beyond += other.beyond;
        self.largest_m = self.largest_m.max(other.largest_m);
    }

    /// Number of counted values.
    pub fn count(&self) -> u64 {
        self.counts.iter().sum::<u64>() + self.beyond
    }

    /// Length that the share `p` (0 to 1) of the values stays under, m, by linear interpolation inside the bin and therefore
    /// within [`BIN_M`] of the sample quantile; the largest value where the quantile lies beyond [`RANGE_M`]; `None` if nothing
    /// was counted.
    pub fn quantile_m(&self, p: f64) -> Option<f64> {
        let total = self.count();
        if total == 0 {
            return None;
        }
        let wanted = p.clamp(0.0, 1.0) * total as f64;
        let mut below = 0_u64;
        for (bin, &count) in self.counts.iter().enumerate() {
            if count > 0 && (below + count) as f64 >= wanted {
                let share = ((wanted - below as f64) / count as f64).max(0.0);
                return Some(((bin as f64 + share) * BIN_M).min(self.largest_m));
            }
            below += count;
        }
        Some(self.largest_m)
    }
}

/// Writes the bins that hold something, as pairs of bin and count.
mod filled_bins {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(counts: &[u64], to: S) -> Result<S::Ok, S::Error> {
        let filled = counts.iter().enumerate().filter(|(_, count)| **count > 0);
        to.collect_seq(filled)
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Vec<u64>, D::Error> {
        let mut counts = vec![0; super::BINS];
        for (bin, count) in Vec::<(usize, u64)>::deserialize(from)? {
            let beyond = || D::Error::custom("a bin beyond the range");
            *counts.get_mut(bin).ok_or_else(beyond)? = count;
        }
        Ok(counts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_quantiles_of_an_even_spread() {
        let mut histogram = Histogram::new();
        let n = 100_000;
        for i in 0..n {
            let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
            histogram.add(sign * (i as f64 + 0.5) / n as f64);
        }
        for p in [0.0, 0.001, 0.3, 0.5, 0.95, 0.999] {
            let got = histogram.quantile_m(p).unwrap();
            assert!((got - p).abs() <= BIN_M, "{p} {got}");
        }
    }

    #[test]
    fn analytic_values_beyond_the_range_are_told_by_the_largest() {
        let mut histogram = Histogram::new();
        for value in [0.1001, -3.0, 2.5, RANGE_M] {
            histogram.add(value);
        }
        assert_eq!(histogram.count(), 4);
        assert_eq!(histogram.quantile_m(0.9), Some(3.0));
        assert!((histogram.quantile_m(0.25).unwrap() - 0.1001).abs() <= BIN_M);
        assert_eq!(Histogram::new().quantile_m(0.5), None);
    }

    #[test]
    fn prop_merging_equals_counting_together() {
        let values: Vec<f64> = (0..5000)
            .map(|i| f64::from(i * 7919 % 5003) * 1e-3)
            .collect();
        let mut whole = Histogram::new();
        let mut parts = [Histogram::new(), Histogram::new(), Histogram::new()];
        for (i, &value) in values.iter().enumerate() {
            whole.add(value);
            parts[i % 3].add(value);
        }
        let [first, second, mut last] = parts;
        last.merge(&first);
        last.merge(&second);
        assert_eq!(whole, last);
    }
}
