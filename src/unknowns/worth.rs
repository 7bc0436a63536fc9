//! What a measurement is worth before it is made: results are simulated, each is learned from, and the assured speed or clearance that
//! would follow is averaged (expected value of sample information: Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961).

use super::cloud::Cloud;
use super::dice::Dice;
use super::limits::sorted_quantile;
use super::measure::Measurement;

/// Simulated results that are enough to rank measurements.
pub const OUTCOMES: usize = 200;

/// What one wants much, or little, of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// The more the better: an assured speed.
    More,
    /// The less the better: an assured clearance, a cost.
    Less,
}

/// What is assured at each point, and how sure one wants to be.
#[derive(Clone, Copy, Debug)]
pub struct Aim<'a> {
    /// Of each point of the cloud the speed or clearance that it allows, finite: see `Axis::held`. Where what is assured lies at an end of
    /// the axis, before and after, no measurement seems worth anything: ask for clearance beside speed.
    pub reaches: &'a [f64],
    /// Which way is better.
    pub wanted: Wanted,
    /// Share of farms that keep it, 0 to 1.
    pub level: f64,
}

/// A measurement that could be made.
pub struct Plan<'a> {
    /// What is measured, for the points of the cloud.
    pub measurement: &'a dyn Measurement,
    /// Work, minutes, above 0.
    pub minutes: f64,
}

/// What a measurement is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worth {
    /// Which one, in the order given.
    pub plan: usize,
    /// Assured value before it.
    pub before: f64,
    /// Expected assured value after it.
    pub after: f64,
    /// Standard error of `after` over simulated results.
    pub standard_error: f64,
    /// How much better, in the unit of the assured value; below 0 if worse.
    pub gain: f64,
    /// The gain for each minute of work.
    pub per_minute: f64,
}

/// Worth of each plan, greatest gain for each minute first, from `outcomes` simulated results each. Results of every plan come from the
/// same points of the cloud, chosen by their weights. Empty without points.
pub fn worth(seed: u64, cloud: &Cloud, aim: Aim, plans: &[Plan], outcomes: usize) -> Vec<Worth> {
    if cloud.is_empty() || outcomes == 0 {
        return Vec::new();
    }
    let level = match aim.wanted {
        Wanted::More => 1.0 - aim.level,
        Wanted::Less => aim.level,
    };
    let mut order: Vec<usize> = (0..cloud.len()).collect();
    order.sort_by(|&a, &b| aim.reaches[a].total_cmp(&aim.reaches[b]));
    let assured = |weights: &dyn Fn(usize) -> f64| {
        let total: f64 = order.iter().map(|&i| weights(i)).sum();
        let sorted = order.iter().map(|&i| (aim.reaches[i], weights(i)));
        sorted_quantile(sorted, total, level)
    };
    let before = assured(&|i| cloud.weights()[i]);
    let truths = cloud.choose(seed, &order, outcomes);
    let mut all: Vec<Worth> = plans
        .iter()
        .enumerate()
        .map(|(number, plan)| {
            let mut dice = Dice::new(seed);
            let (mut sum, mut squares) = (0.0, 0.0);
            for &truth in &truths {
                let result = plan.measurement.simulate(truth, &mut dice);
                let ln = plan.measurement.ln_likelihood(&result);
                let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                if !most.is_finite() {
                    continue;
                }
                let weights: Vec<f64> = ln
                    .iter()
                    .zip(cloud.weights())
                    .map(|(ln, w)| w * libm::exp(ln - most))
                    .collect();
                let off = assured(&|i| weights[i]) - before;
                sum += off;
                squares += off * off;
            }
            let n = outcomes as f64;
            let mean = sum / n;
            let gain = match aim.wanted {
                Wanted::More => mean,
                Wanted::Less => -mean,
            };
            Worth {
                plan: number,
                before,
                after: before + mean,
                standard_error: ((squares / n - mean * mean).max(0.0) / n).sqrt(),
                gain,
                per_minute: gain / plan.minutes,
            }
        })
        .collect();
    all.sort_by(|a, b| b.per_minute.total_cmp(&a.per_minute));
    all
}

#[cfg(test)]
mod tests {
    use super::super::law::Law;
    use super::super::measure::{Direct, Error};
    use super::*;

    /// Standard normal law, measured with standard deviation s: what is left has s/sqrt(1 + s²), the mean moves about 0: the expected
    /// 95 % point is 1.645 of that. 4 standard errors and 1 % for the points.
    #[test]
    fn analytic_worth_of_a_normal_measurement() {
        let law = Law::normal(0.0, 1.0);
        let cloud = Cloud::new(2, 2, 8192);
        let of = |d: usize| -> Vec<f64> {
            (0..cloud.len())
                .map(|i| law.quantile(cloud.point(i)[d]))
                .collect()
        };
        let reaches = of(0);
        let measured = [(0, 0.5), (0, 1.0), (1, 0.1)].map(|(d, s)| Direct {
            value: of(d),
            error: Error::Absolute(s),
        });
        let plan = |i: usize, minutes| Plan {
            measurement: &measured[i] as &dyn Measurement,
            minutes,
        };
        let plans = [plan(0, 100.0), plan(1, 10.0), plan(2, 1.0)];
        for (wanted, sign) in [(Wanted::Less, 1.0), (Wanted::More, -1.0)] {
            let aim = Aim {
                reaches: &reaches,
                wanted,
                level: 0.95,
            };
            let found = worth(7, &cloud, aim, &plans, OUTCOMES);
            let order: Vec<usize> = found.iter().map(|worth| worth.plan).collect();
            assert_eq!(order, [1, 0, 2]);
            let point = 1.644_853_627;
            for worth in &found {
                assert!((worth.before - sign * point).abs() < 0.01);
                let left = match worth.plan {
                    0 => 0.5 / 1.25_f64.sqrt(),
                    1 => 0.5_f64.sqrt(),
                    _ => 1.0,
                };
                let error = 4.0 * worth.standard_error + 0.015;
                assert!(
                    (worth.after - sign * point * left).abs() < error,
                    "{worth:?}"
                );
                assert!((worth.gain - point * (1.0 - left)).abs() < error);
            }
        }
    }
}
