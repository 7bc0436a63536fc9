//! Weighted points of the unknowns: what is known of all of them together.

use super::dice::Dice;
use super::points::Sobol;

/// Points in the open unit cube, one coordinate for each unknown and a last one for what the emulator cannot say, with weights that add
/// up to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Cloud {
    dimensions: usize,
    points: Vec<f64>,
    weights: Vec<f64>,
}

impl Cloud {
    /// The first `count` points of the seed's sequence, all of one weight: what is known before anything is measured.
    pub fn new(seed: u64, unknowns: usize, count: usize) -> Self {
        let dimensions = unknowns + 1;
        let sobol = Sobol::new(seed);
        let points = (0..count)
            .flat_map(|i| (0..dimensions).map(move |d| (i, d)))
            .map(|(i, d)| sobol.point(i as u32, d))
            .collect();
        Self {
            dimensions,
            points,
            weights: vec![1.0 / count as f64; count],
        }
    }

    /// Points of one's own, each with `unknowns` + 1 coordinates, and their weights, none below 0; `None` where numbers do not fit or no
    /// weight is above 0.
    pub fn of(unknowns: usize, points: Vec<f64>, mut weights: Vec<f64>) -> Option<Self> {
        let dimensions = unknowns + 1;
        let total: f64 = weights.iter().sum();
        let sound = points.len() == weights.len() * dimensions
            && points.iter().all(|&u| 0.0 < u && u < 1.0)
            && weights.iter().all(|&weight| weight >= 0.0)
            && total > 0.0
            && total.is_finite();
        for weight in &mut weights {
            *weight /= total;
        }
        sound.then_some(Self {
            dimensions,
            points,
            weights,
        })
    }

    /// The same points weighed anew: each weight times a likelihood, given by its logarithm (-inf for "impossible"). `None` where every
    /// point is impossible.
    pub fn weighed(&self, ln_likelihood: &[f64]) -> Option<Self> {
        let most = ln_likelihood
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        if !most.is_finite() {
            return None;
        }
        let weights = self.weights.iter().zip(ln_likelihood);
        let weights = weights.map(|(weight, ln)| weight * libm::exp(ln - most));
        Self::of(self.unknowns(), self.points.clone(), weights.collect())
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        self.weights.len()
    }

    /// True without points.
    pub fn is_empty(&self) -> bool {
        self.weights.is_empty()
    }

    /// Number of unknowns, without the last coordinate.
    pub fn unknowns(&self) -> usize {
        self.dimensions - 1
    }

    /// Coordinates of point `index`: the unknowns, then the last one.
    pub fn point(&self, index: usize) -> &[f64] {
        &self.points[index * self.dimensions..][..self.dimensions]
    }

    /// Weights, adding up to 1.
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// `count` points chosen by their weights, evenly along an order of all points (systematic resampling: Kitagawa, J. Comput. Graph.
    /// Stat. 5:1-25, 1996). A point of much weight comes more than once. Empty without points.
    pub fn choose(&self, seed: u64, order: &[usize], count: usize) -> Vec<usize> {
        let start = Dice::new(seed ^ 0x7a3d_11c8_59e2_04b7).uniform();
        let total: f64 = order.iter().map(|&i| self.weights[i]).sum();
        let mut chosen = Vec::with_capacity(count);
        let mut sum = 0.0;
        for &i in order {
            sum += self.weights[i] / total * count as f64;
            while chosen.len() < count && chosen.len() as f64 + start < sum {
                chosen.push(i);
            }
        }
        // Rounding of the sum may leave the last one out.
        while let Some(&last) = order.last().filter(|_| chosen.len() < count) {
            chosen.push(last);
        }
        chosen
    }

    /// These points, all of one weight: the draws of the next study. `None` without any.
    pub fn only(&self, chosen: &[usize]) -> Option<Self> {
        let points = chosen.iter().flat_map(|&i| self.point(i)).copied();
        Self::of(self.unknowns(), points.collect(), vec![1.0; chosen.len()])
    }

    /// Effective number of points `1 / sum w²` (Kish, Survey Sampling, 1965).
    pub fn effective(&self) -> f64 {
        effective(&self.weights)
    }
}

/// `(sum w)² / sum w²`; 0 without weights.
pub fn effective(weights: &[f64]) -> f64 {
    let sum: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    if squares > 0.0 {
        sum * sum / squares
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_weights_by_hand() {
        let cloud = Cloud::of(1, vec![0.1, 0.2, 0.3, 0.4, 0.5, 0.6], vec![1.0, 2.0, 1.0]).unwrap();
        assert_eq!(cloud.weights(), [0.25, 0.5, 0.25]);
        assert_eq!((cloud.point(1), cloud.unknowns()), (&[0.3, 0.4][..], 1));
        assert!((cloud.effective() - 16.0 / 6.0).abs() < 1e-12);
        let weighed = cloud
            .weighed(&[0.0, libm::log(0.5), f64::NEG_INFINITY])
            .unwrap();
        assert_eq!(weighed.weights(), [0.5, 0.5, 0.0]);
        assert!(cloud.weighed(&[f64::NEG_INFINITY; 3]).is_none());
        assert!(Cloud::of(1, vec![0.1], vec![1.0]).is_none());
        assert!(Cloud::of(0, vec![0.0], vec![1.0]).is_none());
        assert!(Cloud::of(0, vec![0.5], vec![0.0]).is_none());
        let only = cloud.only(&[2, 2]).unwrap();
        assert_eq!(
            (only.point(1), only.weights()),
            (&[0.5, 0.6][..], &[0.5, 0.5][..])
        );
    }

    /// Each point as often as its weight says, to less than one.
    #[test]
    fn prop_systematic_choice() {
        let cloud = Cloud::of(0, vec![0.1, 0.4, 0.6, 0.9], vec![1.0, 0.0, 2.5, 0.5]).unwrap();
        let order = [3, 1, 0, 2];
        for seed in 0..50 {
            let chosen = cloud.choose(seed, &order, 200);
            assert_eq!(chosen.len(), 200);
            for (i, weight) in cloud.weights().iter().enumerate() {
                let times = chosen.iter().filter(|&&c| c == i).count() as f64;
                assert!((times - 200.0 * weight).abs() < 1.0 + 1e-9);
            }
        }
    }
}
