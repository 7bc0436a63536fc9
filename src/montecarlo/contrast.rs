//! Differences between settings that met the same passes: both meet the same ground, driver and plants, so that most of the
//! chance cancels.

use serde::{Deserialize, Serialize};

use super::estimate::RatioSums;
use super::quantile::student_factor;
use crate::scenario::Study;
use crate::sim::PassAtSpeed;

/// Speed and controller by index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Setting {
    pub speed: usize,
    pub kind: usize,
}

/// Two settings to compare at the working clearance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Contrast {
    pub of: Setting,
    pub against: Setting,
}

/// What is compared: at the working speed every controller against each one before it; under every controller each speed against
/// the next slower one.
pub(super) fn contrasts(study: &Study, kinds: usize) -> Vec<Contrast> {
    let at = |speed, kind| Setting { speed, kind };
    let working = study
        .speeds_m_s
        .iter()
        .position(|&v| v == study.working_speed_m_s);
    let controllers = working.into_iter().flat_map(|speed| {
        (0..kinds).flat_map(move |kind| {
            (0..kind).map(move |other| Contrast {
                of: at(speed, kind),
                against: at(speed, other),
            })
        })
    });
    let speeds = (0..kinds).flat_map(|kind| {
        (1..study.speeds_m_s.len()).map(move |speed| Contrast {
            of: at(speed, kind),
            against: at(speed - 1, kind),
        })
    });
    controllers.chain(speeds).collect()
}

/// Sums over passes of the difference d of cut plants and of plants n, contrast by contrast.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub(super) struct Differences(Vec<RatioSums>);

impl Differences {
    pub fn new(contrasts: usize) -> Self {
        Self(vec![RatioSums::default(); contrasts])
    }

    /// Adds one pass at all speeds.
    pub fn add(&mut self, contrasts: &[Contrast], pass: &[PassAtSpeed], clearance: usize) {
        for (sums, contrast) in self.0.iter_mut().zip(contrasts) {
            let whole = |at: Setting| &pass[at.speed].controllers[at.kind].whole;
            let (of, against) = (whole(contrast.of), whole(contrast.against));
            // The plants are those of the same rows: either side has as many.
            sums.add(of.cut[clearance] - against.cut[clearance], of.plants);
        }
    }

    pub fn merge(&mut self, other: &Self) {
        for (mine, theirs) in self.0.iter_mut().zip(&other.0) {
            mine.merge(theirs);
        }
    }

    /// Difference of the rates with its limits, contrast by contrast.
    pub fn limits(&self, level: f64) -> impl Iterator<Item = (f64, f64, f64)> {
        self.0.iter().map(move |sums| paired(sums, level))
    }
}

/// Difference `sum d / sum n` and its limits `± t_{m-1} sqrt(m/(m-1) sum (d - diff n)²) / sum n`, the limits of a ratio over m
/// passes (Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6); with equal n the paired t interval. -1 and 1 below two passes.
pub(crate) fn paired(sums: &RatioSums, level: f64) -> (f64, f64, f64) {
    let difference = sums.rate();
    match sums.variance() {
        Some(variance) => {
            let reach = student_factor(sums.passes() as f64 - 1.0, level) * variance.sqrt();
            let limit = |value: f64| value.clamp(-1.0, 1.0);
            (
                difference,
                limit(difference - reach),
                limit(difference + reach),
            )
        }
        None => (difference, -1.0, 1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::estimate::korn_graubard;
    use crate::results::LEVEL;

    /// Differences 1, 2, 3, 4, 5 of 100 plants each: mean 3, sd sqrt(2.5), t_4 = 2.7764451 (any table), so
    /// 0.03 ± 2.7764451 sqrt(2.5/5)/100.
    #[test]
    fn analytic_equal_plants_give_the_paired_t_interval() {
        let mut sums = RatioSums::default();
        for d in 1..=5 {
            sums.add(f64::from(d), 100.0);
        }
        let (difference, lower, upper) = paired(&sums, LEVEL);
        let reach = 2.7764451 * f64::sqrt(0.5) / 100.0;
        assert!((difference - 0.03).abs() < 1e-15);
        assert!((upper - (0.03 + reach)).abs() < 1e-9);
        assert!((lower - (0.03 - reach)).abs() < 1e-9);
    }

    /// Two settings that share good and bad passes: the paired limits are far narrower than those of the rates together.
    #[test]
    fn analytic_shared_chance_cancels() {
        let (mut first, mut second, mut paired_sums) = Default::default();
        for pass in 0..100 {
            let shared = f64::from(pass % 10);
            let own = 0.1 * f64::from(pass % 3);
            let add = |sums: &mut RatioSums, h: f64| sums.add(h, 1000.0);
            add(&mut first, 20.0 + shared);
            add(&mut second, 15.0 + shared + own);
            add(&mut paired_sums, 5.0 - own);
        }
        let wide = |sums: &RatioSums| {
            let estimate = korn_graubard(std::slice::from_ref(sums), LEVEL)[0];
            estimate.upper - estimate.lower
        };
        let unpaired = wide(&first).hypot(wide(&second));
        let (difference, lower, upper) = paired(&paired_sums, LEVEL);
        assert!((difference - (first.rate() - second.rate())).abs() < 1e-15);
        assert!(upper - lower < 0.1 * unpaired);
        let (_, lower, upper) = paired(&RatioSums::default(), LEVEL);
        assert_eq!((lower, upper), (-1.0, 1.0));
    }
}
