//! What a setting between the simulated ones would do, by a stated rule.

use crate::model::controller::Kind;
use crate::results::answers::SpacingCell;
use crate::results::{Rate, Results, Share, Stretch};

/// One setting within the simulated speeds and clearances.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    /// Plants cut on the whole row.
    pub cut: Share,
    /// Plants touched on the whole row.
    pub touched: Share,
    /// True if every simulated setting that it rests on is resolved.
    pub resolved: bool,
    /// On the farm; `None` where the study priced no settings.
    pub farm: Option<BetweenFarm>,
}

/// The same setting on the farm; money in the scenario's currency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BetweenFarm {
    /// Machine's part of the cost, per hectare and round.
    pub machine_per_ha: f64,
    /// Hand weeding's part of it.
    pub weeding_per_ha: f64,
    /// Lost plants' part of it.
    pub plants_per_ha: f64,
    /// Cost a hectare and round: the three together.
    pub cost_per_ha: f64,
    /// The cost with the plants cut and touched at their lower limits.
    pub cost_lower: f64,
    /// The cost with the plants cut and touched at their upper limits.
    pub cost_upper: f64,
    /// Share of the weeds of the whole field that is left.
    pub weeds_left_share: f64,
    /// Field capacity, ha/h.
    pub hectares_per_hour: f64,
    /// Days for one round over the farm.
    pub days: f64,
}

/// What the controller would do at that speed, m/s, and clearance, m, from the four simulated settings around them.
///
/// Shares of plants cut and touched change by factors rather than by steps as speed and clearance change, so the logarithms of share and
/// limits are bilinear in speed and clearance. Nothing has no logarithm: where one of these numbers is zero at a setting that counts,
/// share and limits themselves are bilinear, all three, so that the share stays between its limits. Machine, weeding, weeds left, capacity
/// and days are bilinear; they do not depend on the controller. Lost plants cost in proportion to their share.
///
/// Settings of no weight do not count, and nothing leaves the range of those that do: at a simulated setting its own numbers come
/// out bit for bit, the cost of plants and what holds it to rounding.
///
/// `None` outside the simulated range, for what is not a number, and for a controller that did not run.
pub fn between(
    results: &Results,
    controller: Kind,
    speed_m_s: f64,
    clearance_m: f64,
) -> Option<Between> {
    let corners = corners(results, speed_m_s, clearance_m)?;
    let mut cells = Vec::with_capacity(4);
    for corner in &corners {
        let cell = results.rate(
            Stretch::Whole,
            controller,
            corner.speed_m_s,
            corner.clearance_m,
        )?;
        cells.push((corner.weight, cell));
    }
    let share = |of: fn(&Rate) -> &Share| {
        let mut shares = cells.iter().map(|(_, cell)| of(cell));
        let by_factors = shares.all(|share| share.lower > 0.0 && share.rate > 0.0);
        let mixed = |part: fn(&Share) -> f64| {
            let weighted = cells.iter().map(|&(weight, cell)| (weight, part(of(cell))));
            mean(weighted, by_factors)
        };
        Share {
            rate: mixed(|share| share.rate),
            lower: mixed(|share| share.lower),
            upper: mixed(|share| share.upper),
        }
    };
    let (cut, touched) = (share(|cell| &cell.cut), share(|cell| &cell.touched));
    Some(Between {
        cut,
        touched,
        resolved: cells.iter().all(|(_, cell)| cell.resolved),
        farm: farm(results, &corners, &cut, &touched),
    })
}

/// A simulated setting that counts, and how much.
struct Corner {
    speed_m_s: f64,
    clearance_m: f64,
    weight: f64,
}

/// The simulated settings around that one, those of no weight left out.
fn corners(results: &Results, speed_m_s: f64, clearance_m: f64) -> Option<Vec<Corner>> {
    let (slower, faster, part) = around(&results.speeds_m_s, speed_m_s)?;
    let (closer, wider, share) = around(&results.clearances_m, clearance_m)?;
    let all = [
        (slower, closer, (1.0 - part) * (1.0 - share)),
        (faster, closer, part * (1.0 - share)),
        (slower, wider, (1.0 - part) * share),
        (faster, wider, part * share),
    ];
    // One of no weight could have a share of zero and would then turn the logarithms off for the others.
    let counting = all.into_iter().filter(|&(.., weight)| weight > 0.0);
    let corners = counting.map(|(speed_m_s, clearance_m, weight)| Corner {
        speed_m_s,
        clearance_m,
        weight,
    });
    Some(corners.collect())
}

/// The two rising values around one, and its place from the first to the second, 0 to 1.
fn around(values: &[f64], at: f64) -> Option<(f64, f64, f64)> {
    if values.contains(&at) {
        return Some((at, at, 0.0));
    }
    let pair = values
        .windows(2)
        .find(|pair| pair[0] < at && at < pair[1])?;
    let part = (at - pair[0]) / (pair[1] - pair[0]);
    Some((pair[0], pair[1], part))
}

/// Weighted mean, of logarithms where numbers change by factors, never outside their range.
fn mean(weighted: impl Iterator<Item = (f64, f64)>, by_factors: bool) -> f64 {
    let (mut sum, mut least, mut most) = (0.0, f64::INFINITY, f64::NEG_INFINITY);
    for (weight, value) in weighted {
        sum += weight * if by_factors { libm::log(value) } else { value };
        least = least.min(value);
        most = most.max(value);
    }
    let mean = if by_factors { libm::exp(sum) } else { sum };
    // Logarithm and exponential round: the mean must not leave the range for that.
    mean.max(least).min(most)
}

fn farm(
    results: &Results,
    corners: &[Corner],
    cut: &Share,
    touched: &Share,
) -> Option<BetweenFarm> {
    let plants = results.answers.spacing.plants.as_ref()?;
    let mut cells = Vec::with_capacity(4);
    for corner in corners {
        let cell = results.answers.spacing.cells.iter().find(|cell| {
            cell.speed_m_s == corner.speed_m_s && cell.clearance_m == corner.clearance_m
        })?;
        cells.push((corner.weight, cell));
    }
    let mixed = |of: fn(&SpacingCell) -> f64| {
        mean(
            cells.iter().map(|&(weight, cell)| (weight, of(cell))),
            false,
        )
    };
    let machine_per_ha = mixed(|cell| cell.machine_per_ha);
    let weeding_per_ha = mixed(|cell| cell.weeding_per_ha);
    let lost = |cut: f64, touched: f64| {
        plants.value_per_ha * (cut + plants.touched_lost_share * touched).min(1.0)
    };
    let plants_per_ha = lost(cut.rate, touched.rate);
    let cost = |plants_per_ha: f64| machine_per_ha + weeding_per_ha + plants_per_ha;
    Some(BetweenFarm {
        machine_per_ha,
        weeding_per_ha,
        plants_per_ha,
        cost_per_ha: cost(plants_per_ha),
        cost_lower: cost(lost(cut.lower, touched.lower)),
        cost_upper: cost(lost(cut.upper, touched.upper)),
        weeds_left_share: mixed(|cell| cell.weeds_left_share),
        hectares_per_hour: mixed(|cell| cell.hectares_per_hour),
        days: mixed(|cell| cell.days),
    })
}

#[cfg(all(test, feature = "report"))]
mod tests {
    use super::*;
    use crate::report::synthetic;

    const KIND: Kind = Kind::LagCompensated;

    /// Every rate and its limits by a formula.
    fn made_of(rate: impl Fn(f64, f64) -> [f64; 3]) -> Results {
        let mut results = synthetic::results();
        for cell in &mut results.rates {
            let [lower, mean, upper] = rate(cell.speed_m_s, cell.clearance_m);
            cell.cut = Share {
                rate: mean,
                lower,
                upper,
            };
        }
        results
    }

    fn cell(results: &mut Results, speed: usize, clearance: usize) -> &mut Rate {
        let (speed_m_s, clearance_m) = (results.speeds_m_s[speed], results.clearances_m[clearance]);
        results
            .rates
            .iter_mut()
            .find(|cell| {
                cell.stretch == Stretch::Whole
                    && cell.controller == KIND
                    && cell.speed_m_s == speed_m_s
                    && cell.clearance_m == clearance_m
            })
            .unwrap()
    }

    /// The setting `part` of the way from one simulated speed to the next, `share` of the way from one clearance to the next.
    fn at(results: &Results, speed: usize, part: f64, clearance: usize, share: f64) -> Between {
        let on_the_way = |values: &[f64], i: usize, part: f64| {
            values[i] + (values.get(i + 1).unwrap_or(&values[i]) - values[i]) * part
        };
        let speed_m_s = on_the_way(&results.speeds_m_s, speed, part);
        let clearance_m = on_the_way(&results.clearances_m, clearance, share);
        between(results, KIND, speed_m_s, clearance_m).unwrap()
    }

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
    }

    #[test]
    fn analytic_what_grows_by_factors_is_met_between() {
        let rate = |v: f64, c: f64| {
            let rate = 0.02 * (0.7 * v - 60.0 * c).exp();
            [0.5 * rate, rate, 1.8 * rate]
        };
        let results = made_of(rate);
        for (v, c) in [(1.0, 0.0312), (1.3, 0.055), (2.917, 0.0377), (3.1, 0.0741)] {
            let found = between(&results, KIND, v, c).unwrap();
            let [lower, mean, upper] = rate(v, c);
            assert!(
                near(found.cut.lower, lower)
                    && near(found.cut.rate, mean)
                    && near(found.cut.upper, upper)
            );
        }
    }

    #[test]
    fn analytic_half_way_between_four_settings_by_hand() {
        // The fourth root of 1 * 2 * 4 * 8 is 2^1.5; their mean is 15 / 4.
        let mut results = made_of(|_, _| [0.1; 3]);
        for (speed, clearance, rate) in [(2, 4, 1.0), (3, 4, 2.0), (2, 5, 4.0), (3, 5, 8.0)] {
            let cut = &mut cell(&mut results, speed, clearance).cut;
            (cut.lower, cut.rate, cut.upper) = (1e-3 * rate, 1e-2 * rate, 1e-2 * (rate + 1.0));
        }
        let found = at(&results, 2, 0.5, 4, 0.5);
        assert!(
            near(found.cut.rate, 0.02 * 2f64.sqrt()),
            "{}",
            found.cut.rate
        );
        // A lower limit of zero anywhere: all three straight.
        cell(&mut results, 3, 5).cut.lower = 0.0;
        let found = at(&results, 2, 0.5, 4, 0.5);
        assert!(near(found.cut.lower, 7e-3 / 4.0) && near(found.cut.rate, 0.15 / 4.0));
        assert!(near(found.cut.upper, 0.19 / 4.0));
        // A setting of no weight does not count, on the edge of its cell as at the end of the range.
        let found = at(&results, 2, 0.5, 4, 0.0);
        assert!(
            near(found.cut.rate, 0.01 * 2f64.sqrt()),
            "{}",
            found.cut.rate
        );
    }

    #[test]
    fn analytic_costs_between_two_speeds_by_hand() {
        let results = synthetic::results();
        let cells = &results.answers.spacing.cells;
        let n = results.clearances_m.len();
        let (slow, fast) = (&cells[4], &cells[n + 4]);
        let found = at(&results, 0, 0.25, 4, 0.0);
        let farm = found.farm.unwrap();
        let straight = |a: f64, b: f64| 0.75 * a + 0.25 * b;
        assert!(near(
            farm.machine_per_ha,
            straight(slow.machine_per_ha, fast.machine_per_ha)
        ));
        assert!(near(farm.days, straight(slow.days, fast.days)));
        assert!(near(
            farm.hectares_per_hour,
            straight(slow.hectares_per_hour, fast.hectares_per_hour)
        ));
        // 100 000 plants of 0.04; a tenth of the touched ones is lost.
        let lost = |cut: f64, touched: f64| 4000.0 * (cut + 0.1 * touched);
        let (cut, touched) = (found.cut, found.touched);
        let rest = farm.machine_per_ha + farm.weeding_per_ha;
        assert!(near(farm.plants_per_ha, lost(cut.rate, touched.rate)));
        assert!(near(farm.cost_per_ha, rest + lost(cut.rate, touched.rate)));
        assert!(near(farm.cost_lower, rest + lost(cut.lower, touched.lower)));
        assert!(near(farm.cost_upper, rest + lost(cut.upper, touched.upper)));
    }

    #[test]
    fn prop_a_simulated_setting_keeps_its_numbers() {
        let results = synthetic::results();
        for cell in results.whole_rows() {
            let found =
                between(&results, cell.controller, cell.speed_m_s, cell.clearance_m).unwrap();
            assert_eq!(found.cut.rate.to_bits(), cell.cut.rate.to_bits());
            assert_eq!(found.cut.lower.to_bits(), cell.cut.lower.to_bits());
            assert_eq!(found.cut.upper.to_bits(), cell.cut.upper.to_bits());
            assert_eq!(found.touched, cell.touched);
            assert_eq!(found.resolved, cell.resolved);
        }
        let priced = results.answers.spacing.controller.unwrap();
        for cell in &results.answers.spacing.cells {
            let found = between(&results, priced, cell.speed_m_s, cell.clearance_m).unwrap();
            let farm = found.farm.unwrap();
            assert_eq!(farm.machine_per_ha, cell.machine_per_ha);
            assert_eq!(farm.weeding_per_ha, cell.weeding_per_ha);
            assert_eq!(farm.weeds_left_share, cell.weeds_left_share);
            assert_eq!(farm.hectares_per_hour, cell.hectares_per_hour);
            assert_eq!(farm.days, cell.days);
            assert!(near(farm.plants_per_ha, cell.plants_per_ha));
            assert!(near(farm.cost_per_ha, cell.cost_per_ha));
        }
    }

    #[test]
    fn prop_between_lies_within_the_settings_around_and_the_rate_within_its_limits() {
        // The synthetic study has rates of zero at its wide clearances.
        let results = synthetic::results();
        for controller in [Kind::Locked, KIND, Kind::LagCompensatedYaw] {
            for speed in 0..results.speeds_m_s.len() - 1 {
                for clearance in 0..results.clearances_m.len() - 1 {
                    for (part, share) in [(0.1, 0.0), (0.3, 0.9), (0.5, 0.5), (0.7, 0.2)] {
                        let v = &results.speeds_m_s[speed..=speed + 1];
                        let c = &results.clearances_m[clearance..=clearance + 1];
                        let found = between(
                            &results,
                            controller,
                            v[0] + part * (v[1] - v[0]),
                            c[0] + share * (c[1] - c[0]),
                        )
                        .unwrap();
                        let around = results.whole_rows().filter(|cell| {
                            cell.controller == controller
                                && v.contains(&cell.speed_m_s)
                                && c.contains(&cell.clearance_m)
                        });
                        let rates: Vec<f64> = around.map(|cell| cell.cut.rate).collect();
                        let least = rates.iter().copied().fold(f64::INFINITY, f64::min);
                        let most = rates.iter().copied().fold(0.0, f64::max);
                        assert!(least <= found.cut.rate && found.cut.rate <= most);
                        assert!(
                            found.cut.lower <= found.cut.rate && found.cut.rate <= found.cut.upper
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn prop_one_setting_in_doubt_leaves_all_around_it_in_doubt() {
        let mut results = made_of(|_, _| [0.1; 3]);
        for cell in &mut results.rates {
            cell.resolved = true;
        }
        cell(&mut results, 3, 5).resolved = false;
        assert!(!at(&results, 2, 0.5, 4, 0.5).resolved);
        assert!(!at(&results, 3, 0.5, 5, 0.0).resolved);
        assert!(at(&results, 2, 0.0, 4, 0.5).resolved);
        assert!(at(&results, 3, 0.0, 4, 0.0).resolved);
    }

    #[test]
    fn prop_nothing_is_told_beyond_what_was_simulated() {
        let mut results = synthetic::results();
        let (v, c) = (results.working_speed_m_s, results.working_clearance_m);
        assert!(between(&results, KIND, v, c).is_some());
        for (v, c) in [
            (f64::NAN, c),
            (v, f64::NAN),
            (f64::INFINITY, c),
            (0.999 * results.speeds_m_s[0], c),
            (1.001 * results.speeds_m_s[7], c),
            (v, 0.999 * results.clearances_m[0]),
            (v, 1.0),
        ] {
            assert_eq!(between(&results, KIND, v, c), None);
        }
        results
            .controllers
            .retain(|note| note.controller != Kind::OnOff);
        assert_eq!(between(&results, Kind::OnOff, v, c), None);
        let results = synthetic::without_data(results);
        assert_eq!(between(&results, KIND, v, c).unwrap().farm, None);
    }
}
