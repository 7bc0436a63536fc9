//! How sure? Speeds and clearances that keep the allowed rate on most farms like this one, and what carries the doubt.

use super::spacing::Priced;
use crate::model::controller::Kind;
use crate::montecarlo::farms::{Farms, Place};
use crate::results::answers::{Answers, Assured, AssuredCost, Edge, Keeping};
use crate::results::{FarmRates, FarmShare, Results, Stretch};
use crate::unknowns::assurance::Reach;

/// Shares of the farms that are told: every second one, 4 in 5, 19 in 20.
pub const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];

/// A setting, by controller, speed, m/s, and clearance, m; the speed need not be a simulated one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// The controller.
    pub kind: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
}

impl Setting {
    /// The one that the answers speak of; `None` if no controller runs.
    pub fn of(answers: &Answers, results: &Results) -> Option<Self> {
        let recommended = answers.recommended.as_ref();
        Some(Self {
            kind: answers.controller?,
            speed_m_s: recommended.map_or(results.working_speed_m_s, |one| one.speed_m_s),
            clearance_m: recommended.map_or(results.working_clearance_m, |one| one.clearance_m),
        })
    }

    /// Where it stands in the study, at the next slower simulated speed.
    pub fn place(&self, results: &Results) -> Option<Place> {
        Some(Place {
            kind: results.ran().position(|kind| kind == self.kind)?,
            speed: results
                .speeds_m_s
                .iter()
                .rposition(|&speed_m_s| speed_m_s <= self.speed_m_s * (1.0 + 1e-9))
                .unwrap_or(0),
            clearance: results
                .clearances_m
                .iter()
                .position(|&clearance_m| clearance_m == self.clearance_m)?,
        })
    }
}

/// The shares of the farms that are told, the study's own among them, rising.
pub fn levels(results: &Results) -> Vec<f64> {
    let mut levels = LEVELS.to_vec();
    if !levels.contains(&results.assurance) {
        levels.push(results.assurance);
        levels.sort_by(f64::total_cmp);
    }
    levels
}

/// What stroke and cost rest on.
pub struct RestsOn<'a> {
    /// Total stroke that so many farms do not ask more of, m, level by level; empty where the frame does not move.
    pub strokes_m: &'a [f64],
    /// Costs, where the farm gives what they need.
    pub priced: Option<&'a Priced<'a>>,
    /// Whether a setting keeps every limit beside plants cut: speed, m/s, and clearance, m.
    pub keeps: &'a dyn Fn(f64, f64) -> bool,
}

/// The assured speed at the setting's clearance, the assured clearance at its speed (the next slower simulated one), the stroke there, and
/// the cheapest setting, level by level.
pub fn answer(
    farms: &Farms,
    results: &Results,
    setting: Setting,
    rests_on: &RestsOn,
) -> Vec<Assured> {
    let Some(place) = setting.place(results) else {
        return Vec::new();
    };
    let told = |(level, assurance): (usize, f64)| {
        let (speed_m_s, speed_edge) =
            number(farms.assured_speed(place.kind, place.clearance, assurance));
        let (clearance_m, clearance_edge) =
            number(farms.assured_clearance(place.kind, place.speed, assurance));
        Assured {
            assurance,
            controller: setting.kind,
            at_clearance_m: setting.clearance_m,
            speed_m_s,
            speed_edge,
            at_speed_m_s: results.speeds_m_s[place.speed],
            clearance_m,
            clearance_edge,
            stroke_m: rests_on.strokes_m.get(level).copied(),
            cheapest: cheapest(
                farms,
                results,
                setting.kind,
                place.kind,
                rests_on,
                assurance,
            ),
        }
    };
    levels(results).into_iter().enumerate().map(told).collect()
}

/// The simulated setting that costs least on a share of the farms, of those that keep every limit there.
fn cheapest(
    farms: &Farms,
    results: &Results,
    controller: Kind,
    kind: usize,
    rests_on: &RestsOn,
    assurance: f64,
) -> Option<AssuredCost> {
    let priced = rests_on.priced?;
    let mut best: Option<AssuredCost> = None;
    for (speed, &speed_m_s) in results.speeds_m_s.iter().enumerate() {
        for (clearance, &clearance_m) in results.clearances_m.iter().enumerate() {
            let place = Place {
                kind,
                speed,
                clearance,
            };
            let cut = farms.cut_at_most(place, assurance);
            if cut > results.allowed_cut_rate || !(rests_on.keeps)(speed_m_s, clearance_m) {
                continue;
            }
            let touched = results
                .rate_at(Stretch::Whole, controller, speed, clearance)?
                .touched
                .rate;
            let cost_per_ha = priced.cost_per_ha(speed_m_s, clearance_m, [cut, touched], 0.0);
            if best.is_none_or(|best| cost_per_ha < best.cost_per_ha) {
                best = Some(AssuredCost {
                    speed_m_s,
                    clearance_m,
                    cost_per_ha,
                });
            }
        }
    }
    best
}

/// On how many farms each simulated speed keeps the allowed rate at the setting's clearance.
pub fn keeping(farms: &Farms, results: &Results, setting: Setting) -> Vec<Keeping> {
    let Some(place) = setting.place(results) else {
        return Vec::new();
    };
    let speeds = results.speeds_m_s.iter().enumerate();
    speeds
        .map(|(speed, &speed_m_s)| Keeping {
            speed_m_s,
            farms: farms.assurance(Place { speed, ..place }),
        })
        .collect()
}

/// What farms like this one may see at a speed between simulated ones, m/s: straight in the logarithm of the rate. `None` where all is
/// known.
pub fn known_between(
    results: &Results,
    kind: Kind,
    speed_m_s: f64,
    clearance_m: f64,
) -> Option<FarmRates> {
    let known: Vec<(f64, FarmRates)> = results
        .over_speed(kind, clearance_m)
        .filter_map(|rate| Some((rate.speed_m_s, rate.known?)))
        .collect();
    let above = known
        .iter()
        .position(|(known_m_s, _)| *known_m_s >= speed_m_s)?;
    let (fast_m_s, fast) = known[above];
    let (slow_m_s, slow) = known[above.saturating_sub(1)];
    let share = if fast_m_s > slow_m_s {
        (speed_m_s - slow_m_s) / (fast_m_s - slow_m_s)
    } else {
        0.0
    };
    let between =
        |slow: f64, fast: f64| libm::exp((1.0 - share) * libm::log(slow) + share * libm::log(fast));
    let of = |slow: FarmShare, fast: FarmShare| FarmShare {
        p05: between(slow.p05, fast.p05),
        p50: between(slow.p50, fast.p50),
        p95: between(slow.p95, fast.p95),
    };
    Some(FarmRates {
        cut: of(slow.cut, fast.cut),
        touched: of(slow.touched, fast.touched),
        assured_cut: between(slow.assured_cut, fast.assured_cut),
        fitted: slow.fitted && fast.fitted,
    })
}

fn number(reach: Reach) -> (Option<f64>, Edge) {
    match reach {
        Reach::At(value) => (Some(value), Edge::Within),
        Reach::None => (None, Edge::NoneKeeps),
        Reach::All => (None, Edge::AllKeep),
    }
}
