//! Sweep spacing against speed: what every simulated setting costs on the farm.

use crate::farm::fieldwork::{capacity_m2_s, efficiency};
use crate::farm::{Farm, Land, Prices, Ranged, Weeds};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::answers::{
    BestSetting, Bound, GridEnd, Mover, Night, PlantWorth, Recommended, SpacingAnswer, SpacingCell,
    Status,
};
use crate::results::reasons::{FarmNumber, Reason};
use crate::results::{Results, Share};

/// A setting whose cost exceeds the least by no more than this share is as good as the best (our choice, no source).
const NEAR_SHARE: f64 = 0.05;

const M2_PER_HA: f64 = 10_000.0;
const SECONDS_PER_HOUR: f64 = 3600.0;

/// What settings cost on the farm.
///
/// A cut plant counts as lost, a touched one by the scenario's share. The tools are taken to work all ground from
/// clearance to clearance, and between neighbouring passes as far as they reach; weeds stand evenly.
pub struct Priced<'a> {
    land: &'a Land,
    weeds: &'a Weeds,
    prices: &'a Prices,
    setup: &'a Setup,
    farm: &'a Farm,
    numbers: Numbers,
    stand_1_ha: f64,
    hours: f64,
}

impl<'a> Priced<'a> {
    /// Of a farm that gives land, weeds and prices.
    ///
    /// # Errors
    ///
    /// What the scenario should add.
    pub fn new(setup: &'a Setup, farm: &'a Farm) -> Result<Self, Reason> {
        let (Some(land), Some(weeds), Some(prices)) = (&farm.land, &farm.weeds, &farm.prices)
        else {
            let tables: Vec<String> = [
                ("farm", farm.land.is_none()),
                ("weeds", farm.weeds.is_none()),
                ("prices", farm.prices.is_none()),
            ]
            .into_iter()
            .filter(|(_, missing)| *missing)
            .map(|(table, _)| table.to_owned())
            .collect();
            return Err(Reason::TablesMissing { tables });
        };
        let hours = land.day_hours + land.night_hours;
        if hours <= 0.0 {
            return Err(Reason::NoHours);
        }
        Ok(Self {
            land,
            weeds,
            prices,
            setup,
            farm,
            numbers: Numbers::new(weeds, prices),
            stand_1_ha: plants_per_ha(setup, farm),
            hours,
        })
    }

    /// Cost a hectare and round of a setting that cuts and touches these shares of the plants, every row taking so many seconds longer.
    pub fn cost_per_ha(
        &self,
        speed_m_s: f64,
        clearance_m: f64,
        cut_and_touched: [f64; 2],
        longer_s: f64,
    ) -> f64 {
        let [cut, touched] = cut_and_touched.map(|rate| Share {
            rate,
            lower: rate,
            upper: rate,
        });
        let mut setting = self.setting(speed_m_s, clearance_m, cut, touched);
        let land = self.land;
        let turn_s = land.turn_s + longer_s;
        let share = efficiency(speed_m_s, land.row_length_m, turn_s, land.idle_share);
        setting.m2_s = capacity_m2_s(speed_m_s, self.farm.pass_width_m, share);
        self.cost(&setting).sum()
    }

    fn setting(&self, speed_m_s: f64, clearance_m: f64, cut: Share, touched: Share) -> Setting {
        let land = self.land;
        let share = efficiency(speed_m_s, land.row_length_m, land.turn_s, land.idle_share);
        Setting {
            speed_m_s,
            clearance_m,
            cut,
            touched,
            unworked_share: unworked_share(&self.setup.rows.offset_m, self.farm, clearance_m),
            m2_s: capacity_m2_s(speed_m_s, self.farm.pass_width_m, share),
        }
    }

    /// All about a setting that breaks these bounds; `least_per_ha` is the least cost of those that break none.
    fn cell(&self, setting: &Setting, breaks: Vec<Bound>, least_per_ha: f64) -> SpacingCell {
        let numbers = &self.numbers;
        let cost = self.cost(setting);
        let at = |cut: f64, touched: f64| {
            let lost = numbers.lost_share(cut, touched);
            setting.cost(numbers, self.stand_1_ha, lost).sum()
        };
        let (cut, touched) = (setting.cut, setting.touched);
        let days = days(self.land, setting.m2_s, self.hours);
        SpacingCell {
            speed_m_s: setting.speed_m_s,
            clearance_m: setting.clearance_m,
            cost_per_ha: cost.sum(),
            cost_lower: at(cut.lower, touched.lower),
            cost_upper: at(cut.upper, touched.upper),
            machine_per_ha: cost.machine,
            weeding_per_ha: cost.weeding,
            plants_per_ha: cost.plants,
            weeding_h_per_ha: cost.weeding_h,
            hectares_per_hour: setting.m2_s * SECONDS_PER_HOUR / M2_PER_HA,
            days,
            in_time: days <= self.land.workable_days,
            unworked_share: setting.unworked_share,
            weeds_left_share: numbers.weeds_left_share(setting.unworked_share),
            plants_lost_share: numbers.lost_share(cut.rate, touched.rate),
            near_best: cost.sum() <= (1.0 + NEAR_SHARE) * least_per_ha,
            breaks,
        }
    }

    fn cost(&self, setting: &Setting) -> Cost {
        let lost = self
            .numbers
            .lost_share(setting.cut.rate, setting.touched.rate);
        setting.cost(&self.numbers, self.stand_1_ha, lost)
    }
}

/// What every simulated setting of a controller costs, which is cheapest, and what would move it. `breaks` tells the bounds that a
/// setting breaks. `night` passes through; its days are worked out here, at the speed of `design_m_s`.
pub fn answer(
    results: &Results,
    priced: &Result<Priced, Reason>,
    controller: Option<Kind>,
    breaks: &dyn Fn(f64, f64) -> Vec<Bound>,
    (design_m_s, recommended): (f64, Option<&Recommended>),
    night: Option<Night>,
) -> SpacingAnswer {
    let priced = match priced {
        Ok(priced) => priced,
        Err(lack) => return without(Status::NoData, lack.clone()),
    };
    let Some(controller) = controller else {
        return without(Status::NoAnswer, Reason::NoController);
    };
    let rates = results.whole_rows();
    let settings: Vec<Setting> = rates
        .filter(|rate| rate.controller == controller)
        .map(|rate| priced.setting(rate.speed_m_s, rate.clearance_m, rate.cut, rate.touched))
        .collect();
    let (land, numbers) = (priced.land, &priced.numbers);
    let stand_1_ha = priced.stand_1_ha;
    let Some(cheapest) = least_cost(&settings, numbers, stand_1_ha) else {
        return without(Status::NoAnswer, Reason::NotSimulated { controller });
    };
    let broken: Vec<Vec<Bound>> = settings
        .iter()
        .map(|setting| breaks(setting.speed_m_s, setting.clearance_m))
        .collect();
    let kept: Vec<Setting> = settings
        .iter()
        .zip(&broken)
        .filter(|(_, broken)| broken.is_empty())
        .map(|(setting, _)| *setting)
        .collect();
    let cheapest_kept = least_cost(&kept, numbers, stand_1_ha);
    let at_work = settings.iter().find(|setting| {
        setting.speed_m_s == results.working_speed_m_s
            && setting.clearance_m == results.working_clearance_m
    });
    let near = cheapest_kept
        .as_ref()
        .map_or(cheapest.cost_per_ha, |kept| kept.cost_per_ha);
    let cells: Vec<SpacingCell> = settings
        .iter()
        .zip(&broken)
        .map(|(setting, broken)| priced.cell(setting, broken.clone(), near))
        .collect();
    let recommended = recommended.map(|one| {
        let setting = priced.setting(one.speed_m_s, one.clearance_m, one.cut, one.touched);
        priced.cell(&setting, breaks(one.speed_m_s, one.clearance_m), near)
    });
    let movers = cheapest_kept
        .as_ref()
        .map_or_else(Vec::new, |best| movers(&kept, priced, best));
    let night = night.map(|night| {
        let share = efficiency(design_m_s, land.row_length_m, land.turn_s, land.idle_share);
        let m2_s = capacity_m2_s(design_m_s, priced.farm.pass_width_m, share);
        Night {
            days_without: (land.day_hours > 0.0).then(|| days(land, m2_s, land.day_hours)),
            days_with: days(land, m2_s, priced.hours),
            ..night
        }
    });
    let place = |of: &BestSetting| cells.iter().position(|cell| is(cell, of));
    SpacingAnswer {
        status: Status::Ok,
        reason: None,
        controller: Some(controller),
        currency: Some(priced.prices.currency.clone()),
        cost_of_staying_per_ha: at_work
            .zip(recommended.as_ref())
            .map(|(setting, recommended)| priced.cost(setting).sum() - recommended.cost_per_ha),
        plants: Some(PlantWorth {
            value_per_ha: stand_1_ha * numbers.plant,
            touched_lost_share: numbers.touched_lost,
        }),
        cheapest_breaks: place(&cheapest).map_or_else(Vec::new, |i| broken[i].clone()),
        cheapest_at: ends(results, &cheapest),
        cheapest: Some(cheapest),
        recommended,
        cheapest_kept,
        by_hand_per_ha: Some(numbers.weeding_h_per_ha(1.0) * numbers.labour_hour),
        cells,
        movers,
        night,
    }
}

/// Ends of the simulated range at which a setting lies; a range of one value has none.
fn ends(results: &Results, setting: &BestSetting) -> Vec<GridEnd> {
    let at = |values: &[f64], one: f64, [low, high]: [GridEnd; 2]| {
        let more = values.len() > 1;
        [
            (more && values.first() == Some(&one)).then_some(low),
            (more && values.last() == Some(&one)).then_some(high),
        ]
    };
    let speeds = at(
        &results.speeds_m_s,
        setting.speed_m_s,
        [GridEnd::Slowest, GridEnd::Fastest],
    );
    let clearances = at(
        &results.clearances_m,
        setting.clearance_m,
        [GridEnd::Closest, GridEnd::Widest],
    );
    speeds.into_iter().chain(clearances).flatten().collect()
}

fn without(status: Status, reason: Reason) -> SpacingAnswer {
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
    touched_lost: f64,
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
            touched_lost: prices.touched_lost.value,
            labour_hour: prices.labour_hour.value,
            machine_hour: prices.machine_hour.value,
        }
    }

    /// Share of the plants that is lost: the cut ones, and some of the touched ones.
    fn lost_share(&self, cut: f64, touched: f64) -> f64 {
        (cut + self.touched_lost * touched).min(1.0)
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

/// One setting on the farm, without prices.
#[derive(Clone, Copy, Debug)]
struct Setting {
    speed_m_s: f64,
    clearance_m: f64,
    cut: Share,
    touched: Share,
    unworked_share: f64,
    m2_s: f64,
}

impl Setting {
    fn cost(&self, numbers: &Numbers, stand_1_ha: f64, lost_share: f64) -> Cost {
        let hours = M2_PER_HA / (self.m2_s * SECONDS_PER_HOUR);
        let left = numbers.weeds_left_share(self.unworked_share);
        let weeding_h = numbers.weeding_h_per_ha(left);
        Cost {
            machine: hours * numbers.machine_hour,
            weeding: weeding_h * numbers.labour_hour,
            plants: stand_1_ha * lost_share * numbers.plant,
            weeding_h,
        }
    }
}

/// The setting with the least cost, the first of equals.
fn least_cost(settings: &[Setting], numbers: &Numbers, stand_1_ha: f64) -> Option<BestSetting> {
    settings
        .iter()
        .map(|setting| {
            let lost = numbers.lost_share(setting.cut.rate, setting.touched.rate);
            BestSetting {
                speed_m_s: setting.speed_m_s,
                clearance_m: setting.clearance_m,
                cost_per_ha: setting.cost(numbers, stand_1_ha, lost).sum(),
            }
        })
        .min_by(|a, b| a.cost_per_ha.total_cmp(&b.cost_per_ha))
}

/// The cheapest setting that keeps every bound with each number at either end of its range, all others as they are.
fn movers(settings: &[Setting], priced: &Priced, best: &BestSetting) -> Vec<Mover> {
    type Place = fn(&mut Numbers) -> &mut f64;
    let (weeds, prices) = (priced.weeds, priced.prices);
    let ranges: [(FarmNumber, Ranged, Place); 7] = [
        (FarmNumber::WeedDensity, weeds.density_1_m2, |n| {
            &mut n.density_1_m2
        }),
        (FarmNumber::UndercutShare, weeds.undercut_share, |n| {
            &mut n.undercut_share
        }),
        (FarmNumber::PulledAnHour, weeds.pulled_an_hour, |n| {
            &mut n.pulled_an_hour
        }),
        (FarmNumber::PlantValue, prices.plant, |n| &mut n.plant),
        (FarmNumber::TouchedLost, prices.touched_lost, |n| {
            &mut n.touched_lost
        }),
        (FarmNumber::LabourHour, prices.labour_hour, |n| {
            &mut n.labour_hour
        }),
        (FarmNumber::MachineHour, prices.machine_hour, |n| {
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
            if let Some(then) = least_cost(settings, &numbers, priced.stand_1_ha) {
                movers.push(Mover {
                    what,
                    set_to,
                    moves: then.speed_m_s != best.speed_m_s || then.clearance_m != best.clearance_m,
                    best: then,
                });
            }
        }
    }
    movers
}

#[cfg(all(test, feature = "report"))]
mod tests;
