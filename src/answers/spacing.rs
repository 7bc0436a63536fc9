//! Sweep spacing against speed: what every simulated setting costs on the farm.

use super::words::{Words, add_tables, trimmed};
use crate::farm::fieldwork::{capacity_m2_s, efficiency};
use crate::farm::{Farm, Land, Prices, Ranged, Weeds};
use crate::model::setup::Setup;
use crate::results::answers::{BestSetting, Mover, Night, SpacingAnswer, SpacingCell, Status};
use crate::results::{Results, StrikeRate};

/// A setting whose cost exceeds the least by no more than this share is as good as the best (our choice, no source).
const NEAR_SHARE: f64 = 0.05;

const M2_PER_HA: f64 = 10_000.0;
const SECONDS_PER_HOUR: f64 = 3600.0;

/// What every simulated setting of a controller costs, which is best and what would move it.
///
/// Every struck plant counts as lost, at the rate by day without the entry stretch. The tools are taken to work all ground from
/// clearance to clearance, and between neighbouring passes as far as they reach; weeds stand evenly. `night` passes through; its
/// days are worked out here.
pub fn answer(
    results: &Results,
    setup: &Setup,
    farm: &Farm,
    controller: Option<&str>,
    night: Option<Night>,
) -> SpacingAnswer {
    let (land, weeds, prices) = match (&farm.land, &farm.weeds, &farm.prices) {
        (Some(land), Some(weeds), Some(prices)) => (land, weeds, prices),
        (land, weeds, prices) => {
            let missing: Vec<&str> = [
                ("farm", land.is_none()),
                ("weeds", weeds.is_none()),
                ("prices", prices.is_none()),
            ]
            .into_iter()
            .filter_map(|(table, missing)| missing.then_some(table))
            .collect();
            return without(Status::NoData, add_tables(&missing));
        }
    };
    let hours = land.day_hours + land.night_hours;
    if hours <= 0.0 {
        return without(
            Status::NoData,
            "Set farm.day_hours or farm.night_hours above 0.".into(),
        );
    }
    let Some(controller) = controller else {
        return without(Status::NoAnswer, "No controller ran.".into());
    };
    let settings: Vec<Setting> = results
        .strike_rates
        .iter()
        .filter(|rate| rate.controller == controller)
        .map(|rate| Setting::new(rate, setup, farm, land))
        .collect();
    let stand_1_ha = plants_per_ha(setup, farm);
    let numbers = Numbers::new(weeds, prices);
    let Some(best) = cheapest(&settings, &numbers, stand_1_ha) else {
        return without(
            Status::NoAnswer,
            format!("No setting of {controller} was simulated."),
        );
    };
    let all_keep = |setting: &&Setting| {
        settings.iter().all(|slower| {
            slower.clearance_m != setting.clearance_m
                || slower.speed_m_s > setting.speed_m_s
                || slower.upper <= results.allowed_rate
        })
    };
    let allowed: Vec<Setting> = settings.iter().filter(all_keep).copied().collect();
    let best_allowed = cheapest(&allowed, &numbers, stand_1_ha);
    let at_work = settings.iter().find(|setting| {
        setting.speed_m_s == results.working_speed_m_s
            && setting.clearance_m == results.working_clearance_m
    });
    let cells: Vec<SpacingCell> = settings
        .iter()
        .map(|setting| {
            let cost = setting.cost(&numbers, stand_1_ha, setting.rate);
            let days = days(land, setting.m2_s, hours);
            SpacingCell {
                speed_m_s: setting.speed_m_s,
                clearance_m: setting.clearance_m,
                cost_per_ha: cost.sum(),
                cost_lower: setting.cost(&numbers, stand_1_ha, setting.lower).sum(),
                cost_upper: setting.cost(&numbers, stand_1_ha, setting.upper).sum(),
                machine_per_ha: cost.machine,
                weeding_per_ha: cost.weeding,
                plants_per_ha: cost.plants,
                weeding_h_per_ha: cost.weeding_h,
                hectares_per_hour: setting.m2_s * SECONDS_PER_HOUR / M2_PER_HA,
                days,
                in_time: days <= land.workable_days,
                unworked_share: setting.unworked_share,
                weeds_left_share: numbers.weeds_left_share(setting.unworked_share),
                plants_lost_share: setting.rate,
                near_best: cost.sum() <= (1.0 + NEAR_SHARE) * best.cost_per_ha,
                keeps_allowed: setting.upper <= results.allowed_rate,
            }
        })
        .collect();
    let movers = movers(&settings, weeds, prices, stand_1_ha, &best);
    let night = night.zip(at_work).map(|(night, setting)| Night {
        days_without: (land.day_hours > 0.0).then(|| days(land, setting.m2_s, land.day_hours)),
        days_with: days(land, setting.m2_s, hours),
        ..night
    });
    let words = Words::of(results);
    let mut reason = why(&cells, &best, &movers, words, &prices.currency);
    match &best_allowed {
        None => reason += &nearest_allowed(&settings, results, words),
        Some(allowed)
            if allowed.speed_m_s != best.speed_m_s || allowed.clearance_m != best.clearance_m =>
        {
            reason += &format!(
                " It, or a slower speed there, may strike more plants than allowed; the cheapest setting that keeps the allowed rate is {} at {}, for {} {} more.",
                words.length(allowed.clearance_m),
                words.speed(allowed.speed_m_s),
                words.per_land(allowed.cost_per_ha - best.cost_per_ha),
                prices.currency
            );
        }
        _ => {}
    }
    if let Some(cell) = cells.iter().find(|cell| is(cell, &best) && !cell.in_time) {
        reason += &format!(
            " The best setting does not finish in time: a round takes {} days, soil and weather allow {}.",
            trimmed(cell.days, 1),
            trimmed(land.workable_days, 1)
        );
    }
    SpacingAnswer {
        status: Status::Ok,
        reason: Some(reason),
        controller: Some(controller.to_string()),
        currency: Some(prices.currency.clone()),
        cost_of_staying_per_ha: at_work.map(|setting| {
            setting.cost(&numbers, stand_1_ha, setting.rate).sum() - best.cost_per_ha
        }),
        best: Some(best),
        best_allowed,
        by_hand_per_ha: Some(numbers.weeding_h_per_ha(1.0) * numbers.labour_hour),
        cells,
        movers,
        night,
    }
}

fn without(status: Status, reason: String) -> SpacingAnswer {
    SpacingAnswer {
        status,
        reason: Some(reason),
        ..SpacingAnswer::default()
    }
}

fn is(cell: &SpacingCell, setting: &BestSetting) -> bool {
    cell.speed_m_s == setting.speed_m_s && cell.clearance_m == setting.clearance_m
}

/// Days for one round at that capacity.
fn days(land: &Land, m2_s: f64, hours_a_day: f64) -> f64 {
    land.area_m2 / (m2_s * SECONDS_PER_HOUR * hours_a_day)
}

/// Crop plants a hectare: the rows of one pass, their plants that came up, over the ground that the pass covers.
fn plants_per_ha(setup: &Setup, farm: &Farm) -> f64 {
    let per_m = setup.rows.offset_m.len() as f64 * setup.plants.emergence / setup.plants.spacing_m;
    per_m / farm.pass_width_m * M2_PER_HA
}

/// Share of the ground of a pass that the tools leave alone: the bands of the rows, and what neighbouring passes do not reach.
fn unworked_share(rows_m: &[f64], farm: &Farm, clearance_m: f64) -> f64 {
    let room_m = |space_m: f64| (space_m - 2.0 * clearance_m).max(0.0);
    let between_m: f64 = rows_m
        .windows(2)
        .map(|pair| room_m(pair[0] - pair[1]))
        .sum();
    let outside_m = room_m(2.0 * farm.outer_reach_m(rows_m)).min(room_m(farm.next_row_m(rows_m)));
    1.0 - (between_m + outside_m) / farm.pass_width_m
}

/// Everything that has a price or a range.
#[derive(Clone, Copy, Debug)]
struct Numbers {
    density_1_m2: f64,
    undercut_share: f64,
    pulled_an_hour: f64,
    plant: f64,
    labour_hour: f64,
    machine_hour: f64,
}

impl Numbers {
    fn new(weeds: &Weeds, prices: &Prices) -> Numbers {
        Numbers {
            density_1_m2: weeds.density_1_m2.value,
            undercut_share: weeds.undercut_share.value,
            pulled_an_hour: weeds.pulled_an_hour.value,
            plant: prices.plant.value,
            labour_hour: prices.labour_hour.value,
            machine_hour: prices.machine_hour.value,
        }
    }

    fn weeds_left_share(&self, unworked_share: f64) -> f64 {
        1.0 - (1.0 - unworked_share) * self.undercut_share
    }

    /// Hours in proportion to weeds (Melander and Rasmussen, Weed Research 2001: linear).
    fn weeding_h_per_ha(&self, weeds_left_share: f64) -> f64 {
        weeds_left_share * self.density_1_m2 * M2_PER_HA / self.pulled_an_hour
    }
}

/// What one hectare takes.
struct Cost {
    machine: f64,
    weeding: f64,
    plants: f64,
    weeding_h: f64,
}

impl Cost {
    fn sum(&self) -> f64 {
        self.machine + self.weeding + self.plants
    }
}

/// One simulated setting on the farm, without prices.
#[derive(Clone, Copy, Debug)]
struct Setting {
    speed_m_s: f64,
    clearance_m: f64,
    rate: f64,
    lower: f64,
    upper: f64,
    unworked_share: f64,
    m2_s: f64,
}

impl Setting {
    fn new(rate: &StrikeRate, setup: &Setup, farm: &Farm, land: &Land) -> Setting {
        let share = efficiency(
            rate.speed_m_s,
            land.row_length_m,
            land.turn_s,
            land.idle_share,
        );
        Setting {
            speed_m_s: rate.speed_m_s,
            clearance_m: rate.clearance_m,
            rate: rate.rate,
            lower: rate.lower,
            upper: rate.upper,
            unworked_share: unworked_share(&setup.rows.offset_m, farm, rate.clearance_m),
            m2_s: capacity_m2_s(rate.speed_m_s, farm.pass_width_m, share),
        }
    }

    fn cost(&self, numbers: &Numbers, stand_1_ha: f64, rate: f64) -> Cost {
        let hours = M2_PER_HA / (self.m2_s * SECONDS_PER_HOUR);
        let left = numbers.weeds_left_share(self.unworked_share);
        let weeding_h = numbers.weeding_h_per_ha(left);
        Cost {
            machine: hours * numbers.machine_hour,
            weeding: weeding_h * numbers.labour_hour,
            plants: stand_1_ha * rate * numbers.plant,
            weeding_h,
        }
    }
}

/// The setting with the least cost, the first of equals.
fn cheapest(settings: &[Setting], numbers: &Numbers, stand_1_ha: f64) -> Option<BestSetting> {
    settings
        .iter()
        .map(|setting| BestSetting {
            speed_m_s: setting.speed_m_s,
            clearance_m: setting.clearance_m,
            cost_per_ha: setting.cost(numbers, stand_1_ha, setting.rate).sum(),
        })
        .min_by(|a, b| a.cost_per_ha.total_cmp(&b.cost_per_ha))
}

/// The best setting with each number at either end of its range, all others as they are.
fn movers(
    settings: &[Setting],
    weeds: &Weeds,
    prices: &Prices,
    stand_1_ha: f64,
    best: &BestSetting,
) -> Vec<Mover> {
    type Place = fn(&mut Numbers) -> &mut f64;
    let ranges: [(&str, Ranged, Place); 6] = [
        ("weeds before the pass, per m²", weeds.density_1_m2, |n| {
            &mut n.density_1_m2
        }),
        (
            "share of the weeds in the worked strip that the tools undercut",
            weeds.undercut_share,
            |n| &mut n.undercut_share,
        ),
        (
            "weeds that one person pulls in an hour",
            weeds.pulled_an_hour,
            |n| &mut n.pulled_an_hour,
        ),
        ("value of a plant", prices.plant, |n| &mut n.plant),
        (
            "price of an hour of weeding by hand",
            prices.labour_hour,
            |n| &mut n.labour_hour,
        ),
        ("price of an hour in the field", prices.machine_hour, |n| {
            &mut n.machine_hour
        }),
    ];
    let mut movers = Vec::new();
    for (what, range, place) in ranges {
        for set_to in [range.low, range.high] {
            if set_to == range.value {
                continue;
            }
            let mut numbers = Numbers::new(weeds, prices);
            *place(&mut numbers) = set_to;
            if let Some(then) = cheapest(settings, &numbers, stand_1_ha) {
                movers.push(Mover {
                    what: what.to_string(),
                    set_to,
                    moves: then.speed_m_s != best.speed_m_s || then.clearance_m != best.clearance_m,
                    best: then,
                });
            }
        }
    }
    movers
}

/// What the best setting's cost is made of, how sure it is and what would move it.
fn why(
    cells: &[SpacingCell],
    best: &BestSetting,
    movers: &[Mover],
    words: Words,
    currency: &str,
) -> String {
    let mut text = String::new();
    if let Some(cell) = cells.iter().find(|cell| is(cell, best)) {
        text = format!(
            "At {} and {} {} takes {} {currency} for the machine, {} for weeding by hand and {} for lost plants; within the limits of the strike rate {} to {} in all.",
            words.speed(best.speed_m_s),
            words.length(best.clearance_m),
            words.land(),
            words.per_land(cell.machine_per_ha),
            words.per_land(cell.weeding_per_ha),
            words.per_land(cell.plants_per_ha),
            words.per_land(cell.cost_lower),
            words.per_land(cell.cost_upper)
        );
    }
    let rivals = cells
        .iter()
        .filter(|cell| cell.near_best && !is(cell, best))
        .count();
    if rivals > 0 {
        text += &format!(
            " {rivals} other setting{} within 5 % of it.",
            if rivals == 1 { " lies" } else { "s lie" }
        );
    }
    let mut moving: Vec<String> = movers
        .iter()
        .filter(|mover| mover.moves)
        .map(|mover| mover.what.clone())
        .collect();
    moving.dedup();
    text += &if moving.is_empty() {
        " No price or number moves it within its range.".to_string()
    } else {
        format!(" Within its range it is moved by: {}.", moving.join("; "))
    };
    text
}

/// Why no setting keeps the allowed rate, and which comes nearest.
fn nearest_allowed(settings: &[Setting], results: &Results, words: Words) -> String {
    let nearest = settings.iter().min_by(|a, b| a.upper.total_cmp(&b.upper));
    nearest.map_or(String::new(), |nearest| {
        format!(
            " No simulated setting keeps the allowed strike rate of {} %; the nearest is {} at {}, with an upper limit of {} %.",
            trimmed(100.0 * results.allowed_rate, 4),
            words.length(nearest.clearance_m),
            words.speed(nearest.speed_m_s),
            trimmed(100.0 * nearest.upper, 4)
        )
    })
}

#[cfg(all(test, feature = "program"))]
mod tests;
