//! Cylinders of the standard series against what tractor, valve, hose and load allow.

use crate::farm::Farm;
use crate::model::hydraulics::{BUCKLING_SAFETY, Hydraulics, Stroke};
use crate::model::series::greatest_hose_speed_m_s;
use crate::model::setup::Setup;
use crate::results::answers::{Combination, HydraulicsAnswer, Status};
use crate::results::reasons::{CylinderLimit as Limit, LeastOil, NoCylinder, Reason, Remedy};
use crate::scenario::Units;

/// Longest short list.
const LISTED: usize = 6;

/// No shorter stroke is told as one that would do, m (our choice).
const LEAST_STROKE_M: f64 = 0.01;

/// What is asked of every cylinder.
#[derive(Clone, Copy)]
struct Demand<'a> {
    oil: &'a Hydraulics,
    /// Rated flow per edge of the valve, cold oil in, m³/s.
    valve_m3_s: f64,
    /// Pressure drop per edge at that flow, Pa.
    valve_drop_pa: f64,
    /// Share of the rated flow that cold oil leaves.
    cold_share: f64,
    speed_m_s: f64,
    /// Sideways load without the reserve, N.
    load_n: f64,
    /// The same with it, N.
    force_n: f64,
    hose_bore_m: f64,
    units: Units,
}

/// A cylinder with what each limit allows over what is asked, the tightest first.
struct Judged {
    combination: Combination,
    limits: Vec<(Limit, f64)>,
}

/// Bores and rods of the standard series at the tractor's flow and pressure and the fitted valve (the proportional one if there is
/// one, else the directional one), against the shift speed that the rows ask for, m/s, above 0.
///
/// The sideways force of the setup counts against either way, so that the side does not matter; speeds are those against it. The rod
/// must not buckle ([`Hydraulics::buckling_reserve`]): of a cylinder of the series at `stroke_m`, of the fitted one at its own. Frame,
/// mounts, eyes and barrel are not checked for strength. Sizes are those sold to people with `units`. The runs behind `effects` are not
/// made here.
pub fn combinations(
    setup: &Setup,
    farm: &Farm,
    wanted_speed_m_s: f64,
    stroke_m: f64,
    units: Units,
) -> HydraulicsAnswer {
    let oil = &setup.hydraulics;
    let load_n = oil.side_force_n.abs() + oil.friction_n;
    let mut answer = HydraulicsAnswer {
        wanted_speed_m_s,
        wanted_force_n: load_n * farm.force_reserve,
        ..HydraulicsAnswer::default()
    };
    let valve = match (&oil.proportional, &oil.directional) {
        (Some(valve), _) => (valve.rated_flow_m3_s, valve.rated_drop_pa),
        (None, Some(valve)) => (valve.rated_flow_m3_s, valve.rated_drop_pa),
        (None, None) => {
            answer.reason = Some(Reason::NoValve);
            return answer;
        }
    };
    if !(wanted_speed_m_s.is_finite() && wanted_speed_m_s > 0.0) {
        answer.status = Status::NoAnswer;
        answer.reason = Some(Reason::NoShiftSpeed);
        return answer;
    }
    let demand = Demand {
        oil,
        valve_m3_s: valve.0 * oil.cold_flow_factor,
        valve_drop_pa: valve.1,
        cold_share: oil.cold_flow_factor,
        speed_m_s: wanted_speed_m_s,
        load_n,
        force_n: answer.wanted_force_n,
        hose_bore_m: farm.hose_bore_m,
        units,
    };
    // At its own stroke; those of the series at the one that the rows ask for.
    let fitted = demand.judge(oil.bore_m, oil.rod_m);
    let new = Hydraulics { stroke_m, ..*oil };
    let demand = Demand {
        oil: &new,
        ..demand
    };
    let cylinders_m = units.series().cylinders_m();
    let (mut serving, mut failing): (Vec<Judged>, Vec<Judged>) = cylinders_m
        .map(|(bore_m, rod_m)| demand.judge(bore_m, rod_m))
        .partition(|judged| judged.combination.serves);
    if serving.is_empty() {
        // What can be mended before what cannot, then what lacks least.
        let mended = |judged: &Judged| demand.changes(judged).is_some();
        failing.sort_by_cached_key(|judged| {
            let least = (judged.least().1 * 1e9).clamp(0.0, 1e18) as u64;
            (!mended(judged), core::cmp::Reverse(least))
        });
        answer.status = Status::NoAnswer;
        answer.reason = failing
            .first()
            .map(|nearest| Reason::NoCylinder(demand.what_lacks(nearest)));
        answer.combinations = listed(failing);
    } else {
        // Least oil first; of the same oil the thinner rod.
        serving.sort_by(|a, b| {
            (a.combination.flow_m3_s, a.combination.rod_m)
                .partial_cmp(&(b.combination.flow_m3_s, b.combination.rod_m))
                .unwrap_or(core::cmp::Ordering::Equal)
        });
        answer.status = Status::Ok;
        answer.reason = serving
            .first()
            .map(|best| Reason::LeastOil(demand.why(best, serving.len(), &fitted.combination)));
        answer.combinations = listed(thinnest_and_thickest(serving));
    }
    answer.fitted = Some(fitted.combination);
    answer
}

/// Of the rods of each bore, bores together, only the thinnest (most even in speed and force) and the thickest (stiffest).
fn thinnest_and_thickest(by_rod: Vec<Judged>) -> Vec<Judged> {
    let bores_m: Vec<f64> = by_rod.iter().map(|j| j.combination.bore_m).collect();
    by_rod
        .into_iter()
        .enumerate()
        .filter(|&(i, _)| {
            let same = |other: usize| bores_m.get(other) == Some(&bores_m[i]);
            i == 0 || !same(i - 1) || !same(i + 1)
        })
        .map(|(_, judged)| judged)
        .collect()
}

fn listed(judged: Vec<Judged>) -> Vec<Combination> {
    judged
        .into_iter()
        .take(LISTED)
        .map(|judged| judged.combination)
        .collect()
}

impl Judged {
    fn least(&self) -> (Limit, f64) {
        self.limits[0]
    }

    fn broken(&self) -> Vec<(Limit, f64)> {
        let limits = self.limits.iter().copied();
        limits.filter(|limit| limit.1 < 1.0).collect()
    }
}

impl Demand<'_> {
    /// The machine's hydraulics with another cylinder and the side force against one way.
    fn against(&self, bore_m: f64, rod_m: f64, way: Stroke) -> Hydraulics {
        let to_the_left = (way == Stroke::Extending) == self.oil.extends_left;
        let side_n = self.oil.side_force_n.abs();
        Hydraulics {
            bore_m,
            rod_m,
            side_force_n: if to_the_left { -side_n } else { side_n },
            ..*self.oil
        }
    }

    fn judge(&self, bore_m: f64, rod_m: f64) -> Judged {
        let ways = [Stroke::Extending, Stroke::Retracting];
        let oils = ways.map(|way| (self.against(bore_m, rod_m, way), way));
        let valve_m_s = oils.map(|(oil, way)| {
            oil.metered_speed_m_s(self.valve_m3_s, self.valve_drop_pa, way, true)
        });
        let pump_m_s = oils.map(|(oil, way)| oil.pump_speed_m_s(way));
        let force_n = oils
            .map(|(oil, way)| oil.stall_force_n(way))
            .into_iter()
            .fold(f64::INFINITY, f64::min);
        // The way that takes more oil decides for pump and hose.
        let thirst_m2 = oils
            .map(|(oil, way)| oil.driven_area_m2(way))
            .into_iter()
            .fold(0.0, f64::max);
        let flow_m3_s = self.speed_m_s * thirst_m2;
        let hose_m2 = core::f64::consts::FRAC_PI_4 * self.hose_bore_m * self.hose_bore_m;
        let hose_m_s = flow_m3_s / hose_m2;
        // Where the load cannot be pushed at all the valve is not to blame.
        let valve = if force_n > self.load_n {
            valve_m_s[0].min(valve_m_s[1]) / self.speed_m_s
        } else {
            f64::INFINITY
        };
        let force = if self.force_n > 0.0 {
            force_n / self.force_n
        } else {
            f64::INFINITY
        };
        // The rod is pushed only as it comes out.
        let buckling_reserve = oils[0].0.buckling_reserve();
        let mut limits = vec![
            (Limit::Pump, self.oil.pump_m3_s / flow_m3_s),
            (Limit::Valve, valve),
            (Limit::Force, force),
            (
                Limit::Hose,
                greatest_hose_speed_m_s(self.oil.supply_pa) / hose_m_s,
            ),
            (Limit::Buckling, buckling_reserve / BUCKLING_SAFETY),
        ];
        limits.sort_by(|a, b| a.1.total_cmp(&b.1));
        let (limit, least) = limits[0];
        Judged {
            combination: Combination {
                bore_m,
                rod_m,
                extend_m_s: valve_m_s[0].min(pump_m_s[0]),
                retract_m_s: valve_m_s[1].min(pump_m_s[1]),
                force_n,
                flow_m3_s,
                hose_m_s,
                buckling_reserve: Some(buckling_reserve),
                serves: least >= 1.0,
                binding: limit,
            },
            limits,
        }
    }

    fn why(&self, best: &Judged, serving: usize, fitted: &Combination) -> LeastOil {
        let &Combination {
            bore_m,
            rod_m,
            flow_m3_s,
            binding,
            ..
        } = &best.combination;
        let fails_by = (!fitted.serves).then_some(fitted.binding);
        let oil = self.against(bore_m, rod_m, Stroke::Extending);
        LeastOil {
            bore_m,
            rod_m,
            flow_m3_s,
            serving: serving as u32,
            binding,
            buckling_reserve: oil.buckling_reserve(),
            stroke_m: oil.stroke_m,
            between_pins_m: oil.buckling_length_m(),
            fitted_fails_by: fails_by,
            fitted_buckling_reserve: fitted
                .buckling_reserve
                .filter(|_| fails_by == Some(Limit::Buckling)),
        }
    }

    /// What keeps the nearest cylinder from serving, and what to change: all of it together makes it serve.
    fn what_lacks(&self, nearest: &Judged) -> NoCylinder {
        let Combination {
            bore_m,
            rod_m,
            extend_m_s,
            retract_m_s,
            ..
        } = nearest.combination;
        NoCylinder {
            wanted_speed_m_s: self.speed_m_s,
            wanted_force_n: self.force_n,
            bore_m,
            rod_m,
            extend_m_s,
            retract_m_s,
            fails_by: nearest.broken().iter().map(|limit| limit.0).collect(),
            remedies: self.changes(nearest),
        }
    }

    /// All that has to change for a cylinder to serve; `None` if no such change helps.
    fn changes(&self, judged: &Judged) -> Option<Vec<Remedy>> {
        let Combination { bore_m, rod_m, .. } = judged.combination;
        let mut changes = Vec::new();
        let mut oil = *self.oil;
        if judged.broken().iter().any(|limit| limit.0 == Limit::Force) {
            let least_pa = self.supply_that_would_do_pa(&judged.combination);
            oil.supply_pa = next_pressure_pa(least_pa, self.units);
            changes.push(Remedy::SupplyPressure {
                pressure_pa: oil.supply_pa,
            });
        }
        // More pressure speeds the valve's oil up and loads the rod: what else is wanted shows with it.
        let then = Demand { oil: &oil, ..*self };
        let judged = then.judge(bore_m, rod_m);
        for limit in judged.broken() {
            changes.push(then.remedy(limit, &judged.combination)?);
        }
        Some(changes)
    }

    /// What to change where a limit other than force is broken, if it can be said in a number.
    fn remedy(&self, (limit, allowed): (Limit, f64), cylinder: &Combination) -> Option<Remedy> {
        match limit {
            Limit::Pump => Some(Remedy::TractorFlow {
                flow_m3_s: cylinder.flow_m3_s,
            }),
            Limit::Valve if allowed > 0.0 => Some(Remedy::ValveFlow {
                flow_m3_s: self.valve_m3_s / self.cold_share / allowed,
                drop_pa: self.valve_drop_pa,
            }),
            Limit::Valve | Limit::Force => None,
            // The speed of the oil falls with the square of the bore.
            Limit::Hose => Some(Remedy::HoseBore {
                bore_m: self.hose_bore_m / allowed.sqrt(),
            }),
            Limit::Buckling => {
                let oil = self.against(cylinder.bore_m, cylinder.rod_m, Stroke::Extending);
                // Euler: the load that a rod stands falls with the square of its length.
                let length_m = oil.buckling_length_m() * allowed.sqrt();
                let stroke_m = oil.stroke_of_buckling_length_m(length_m);
                (stroke_m >= LEAST_STROKE_M).then_some(Remedy::StrokeAtMost { stroke_m })
            }
        }
    }

    /// Supply at which the weaker way pushes the load with its reserve, Pa.
    fn supply_that_would_do_pa(&self, cylinder: &Combination) -> f64 {
        let oil = self.against(cylinder.bore_m, cylinder.rod_m, Stroke::Extending);
        let (bore_m2, rod_m2) = (oil.bore_area_m2(), oil.rod_side_area_m2());
        let needed = |driven: f64, other: f64| (self.force_n + oil.return_pa * other) / driven;
        needed(bore_m2, rod_m2).max(needed(rod_m2, bore_m2))
    }
}

/// The next whole bar or psi upwards, Pa.
fn next_pressure_pa(pressure_pa: f64, units: Units) -> f64 {
    let a_unit_pa = match units {
        Units::Metric => 1e5,
        Units::Us => 6894.757293168361,
    };
    libm::ceil(pressure_pa / a_unit_pa - 1e-9) * a_unit_pa
}

#[cfg(all(test, feature = "report"))]
mod tests {
    use super::*;
    use crate::model::series::Series;
    use crate::report::words::reasons;
    use crate::scenario::units::{Quantity, parse};
    use proptest::prelude::*;

    const L_MIN: f64 = 60_000.0;
    const MM: f64 = 1000.0;

    /// The answer for cylinders of the machine's own stroke in metric units.
    fn answer(setup: &Setup, farm: &Farm, wanted_m_s: f64) -> HydraulicsAnswer {
        let stroke_m = setup.hydraulics.stroke_m;
        combinations(setup, farm, wanted_m_s, stroke_m, Units::Metric)
    }

    fn near(found: f64, wanted: f64, relative: f64) -> bool {
        (found / wanted - 1.0).abs() <= relative
    }

    /// A machine whose valve holds nothing back, with a stroke so short that no usual rod buckles.
    fn wide_open() -> Setup {
        let mut setup = Setup::plausible();
        setup.hydraulics.stroke_m = 0.025;
        setup
            .hydraulics
            .proportional
            .as_mut()
            .unwrap()
            .rated_flow_m3_s = 1.0;
        setup
    }

    fn judged(setup: &Setup, wanted_m_s: f64, bore_m: f64, rod_m: f64) -> Combination {
        let mut setup = setup.clone();
        setup.hydraulics.bore_m = bore_m;
        setup.hydraulics.rod_m = rod_m;
        answer(&setup, &Farm::bare(), wanted_m_s).fitted.unwrap()
    }

    /// 36 L/min into a 40 mm bore: 28 648 mm/min (textbook exercise, all digits).
    #[test]
    fn val_forty_millimetre_bore_published() {
        let mut setup = wide_open();
        setup.hydraulics.pump_m3_s = 36.0 / L_MIN;
        let found = judged(&setup, 0.3, 0.040, 0.022);
        assert!((found.extend_m_s * 60e3 - 28_648.0).abs() < 0.5);
    }

    /// v = 0.3208 Q/A in ft/s, gpm and in² (formula sheet, four digits): 10 gpm into a 2 in bore.
    #[test]
    fn val_us_rule_of_the_trade() {
        let mut setup = wide_open();
        let gallon_m3 = 231.0 * 0.0254f64.powi(3);
        setup.hydraulics.pump_m3_s = 10.0 * gallon_m3 / 60.0;
        let found = judged(&setup, 0.3, 0.0508, 0.0254);
        let feet = 0.3208 * 10.0 / core::f64::consts::PI;
        assert!(near(found.extend_m_s / 0.3048, feet, 5e-4 / 3.0));
    }

    /// Own arithmetic: bore 50 mm, rod 28 mm, 180 bar against 5 bar: A1 = 19.635 cm², A2 = 13.477 cm². Retracting is the weaker way:
    /// 18 MPa x 13.477 cm² - 0.5 MPa x 19.635 cm² = 24 259 - 982 = 23 277 N. 0.2 m/s takes 19.635 cm² x 0.2 m/s = 23.56 L/min,
    /// through a 10 mm hose (0.7854 cm²) 5.00 m/s.
    #[test]
    fn analytic_force_flow_and_hose_by_hand() {
        let found = judged(&wide_open(), 0.2, 0.050, 0.028);
        assert!(near(found.force_n, 23_277.0, 5e-5), "{found:?}");
        assert!(near(found.flow_m3_s * L_MIN, 23.56, 5e-4), "{found:?}");
        assert!(near(found.hose_m_s, 5.0, 1e-12), "{found:?}");
        assert!(found.serves);
        // 6.096 / 5.00 is closer than 40 / 23.56.
        assert_eq!(found.binding, Limit::Hose);
    }

    /// Own arithmetic: half of the reserve's force is friction, half the frame on a slope, which side does not matter.
    #[test]
    fn analytic_load_counts_against_both_ways() {
        let mut setup = Setup::plausible();
        setup.hydraulics.friction_n = 1500.0;
        setup.hydraulics.side_force_n = -1500.0;
        let one = answer(&setup, &Farm::bare(), 0.1);
        assert_eq!(one.wanted_force_n, 6000.0);
        setup.hydraulics.side_force_n = 1500.0;
        assert_eq!(one, answer(&setup, &Farm::bare(), 0.1));
        setup.hydraulics.extends_left = false;
        assert_eq!(one, answer(&setup, &Farm::bare(), 0.1));
        // The metered speed that the model gives against the load, not with it.
        let own = one.fitted.unwrap();
        let valve = setup.hydraulics.proportional.unwrap();
        assert_eq!(
            own.extend_m_s,
            valve.open_speed_m_s(&setup.hydraulics, Stroke::Extending)
        );
        setup.hydraulics.extends_left = true;
        assert_eq!(
            own.retract_m_s,
            valve.open_speed_m_s(&setup.hydraulics, Stroke::Retracting)
        );
    }

    #[test]
    fn prop_short_list_serves_smallest_flow_first() {
        let mut setup = wide_open();
        setup.hydraulics.friction_n = 4000.0;
        let found = answer(&setup, &Farm::bare(), 0.15);
        assert_eq!(found.status, Status::Ok);
        assert_eq!(found.combinations.len(), LISTED);
        assert!(found.combinations.iter().all(|c| c.serves));
        assert!(
            found
                .combinations
                .windows(2)
                .all(|pair| pair[0].flow_m3_s <= pair[1].flow_m3_s)
        );
        // Own arithmetic: 8 kN on 18 MPa takes 4.4 cm² of the rod's side and a little for the return: 25 mm (4.9 cm² less rod) is
        // too small, 32 mm with 14 mm rod (6.5 cm²) is not.
        let first = &found.combinations[0];
        assert_eq!((first.bore_m, first.rod_m), (0.032, 0.014));
        // Two rods a bore.
        let bores_mm: Vec<f64> = found
            .combinations
            .iter()
            .map(|c| (c.bore_m * MM).round())
            .collect();
        assert_eq!(bores_mm, [32.0, 32.0, 40.0, 40.0, 50.0, 50.0]);
    }

    /// One limit at a time made the only tight one.
    #[test]
    fn prop_the_limit_that_was_made_tight_binds() {
        let mut easy = wide_open();
        easy.hydraulics.pump_m3_s = 1.0;
        easy.hydraulics.friction_n = 1.0;
        let mut wide = Farm::bare();
        wide.hose_bore_m = 1.0;
        let binding = |setup: &Setup, farm: &Farm| {
            let found = answer(setup, farm, 0.2);
            let fitted = found.fitted.unwrap();
            assert!(!fitted.serves);
            assert_eq!(found.status, Status::NoAnswer);
            let Some(Reason::NoCylinder(lack)) = found.reason else {
                panic!("{:?}", found.reason)
            };
            assert!(lack.fails_by.contains(&fitted.binding));
            fitted.binding
        };
        let mut pump = easy.clone();
        pump.hydraulics.pump_m3_s = 1.0 / L_MIN;
        assert_eq!(binding(&pump, &wide), Limit::Pump);
        let mut valve = easy.clone();
        valve
            .hydraulics
            .proportional
            .as_mut()
            .unwrap()
            .rated_flow_m3_s = 0.2 / L_MIN;
        assert_eq!(binding(&valve, &wide), Limit::Valve);
        let mut force = easy.clone();
        force.hydraulics.side_force_n = 1e6;
        assert_eq!(binding(&force, &wide), Limit::Force);
        let mut hose = Farm::bare();
        hose.hose_bore_m = 0.002;
        assert_eq!(binding(&easy, &hose), Limit::Hose);
        let mut long = easy.clone();
        long.hydraulics.stroke_m = 10.0;
        assert_eq!(binding(&long, &wide), Limit::Buckling);
    }

    /// The quantity that follows a word of the reason, SI; inches as on a tape.
    fn asked_for(reason: &str, words: &str, quantity: Quantity) -> Option<f64> {
        let mut rest = reason.split_once(words)?.1.split([' ', ',']);
        let (number, unit) = (rest.next()?, rest.next()?);
        let parts = number.split('-').map(|part| match part.split_once('/') {
            Some((of, parts)) => of.parse::<f64>().unwrap() / parts.parse::<f64>().unwrap(),
            None => part.parse().unwrap(),
        });
        let number: f64 = parts.sum();
        Some(parse(&format!("{number} {unit}"), quantity).unwrap().si)
    }

    /// Bore 50 mm with rod 28 mm, which buckles at 1.605 times the push of 180 bar with a stroke of 400 mm (by hand, beside
    /// [`Hydraulics::buckling_reserve`]): 1.05 m x root(1.605/3.5) = 0.711 m between the pins leave a stroke of 230.5 mm.
    #[test]
    fn analytic_a_rod_too_thin_does_not_serve() {
        let mut setup = wide_open();
        let mut with = |stroke_m: f64| {
            setup.hydraulics.stroke_m = stroke_m;
            judged(&setup, 0.1, 0.050, 0.028)
        };
        let long = with(0.4);
        assert!(!long.serves);
        assert_eq!(long.binding, Limit::Buckling);
        assert!(near(long.buckling_reserve.unwrap(), 1.605, 5e-4));
        assert!(!with(0.231).serves);
        assert!(with(0.230).serves);
        // Nothing that buckles is on the list, and thicker rods are.
        setup.hydraulics.stroke_m = 0.4;
        let found = answer(&setup, &Farm::bare(), 0.1);
        assert_eq!(found.status, Status::Ok);
        assert!(!found.fitted.as_ref().unwrap().serves);
        let holds = |one: &Combination| one.buckling_reserve.unwrap() >= 3.5;
        assert!(found.combinations.iter().all(holds));
        let reason = reasons::reason(&found.reason.unwrap(), Units::Metric);
        assert!(reason.contains("where 3.5 is asked for"), "{reason}");
        assert!(!reason.contains("without buckling"), "{reason}");
        assert!(
            reason.contains("its rod buckles at 0.3 times its greatest push"),
            "{reason}"
        );
    }

    /// A longer stroke than the machine's asks for thicker rods; the machine's own cylinder is judged as it is.
    #[test]
    fn prop_a_new_cylinder_is_judged_at_its_stroke() {
        let setup = wide_open();
        let of = |stroke_m: f64| combinations(&setup, &Farm::bare(), 0.1, stroke_m, Units::Metric);
        let (short, long) = (of(0.05), of(0.5));
        assert_eq!(short.fitted, long.fitted);
        assert!(long.combinations[0].rod_m > short.combinations[0].rod_m);
    }

    /// Words of one system only, and sizes of its shelf, whether a cylinder serves or not.
    #[test]
    fn prop_reasons_and_sizes_are_in_the_scenarios_units() {
        const METRIC: [&str; 6] = ["mm", "mm/s", "m/s", "L/min", "bar", "kN"];
        const US: [&str; 6] = ["in", "in/s", "ft/s", "gal/min", "psi", "lbf"];
        let mut easy = wide_open();
        easy.hydraulics.stroke_m = 0.2;
        let mut hard = easy.clone();
        hard.hydraulics.friction_n = 60_000.0;
        hard.hydraulics.pump_m3_s = 5.0 / L_MIN;
        let valve = hard.hydraulics.proportional.as_mut().unwrap();
        valve.rated_flow_m3_s = 1.0 / L_MIN;
        hard.hydraulics.stroke_m = 2.0;
        for (setup, serves) in [(&easy, true), (&hard, false)] {
            for (units, series, own, other) in [
                (Units::Metric, Series::Metric, METRIC, US),
                (Units::Us, Series::Inch, US, METRIC),
            ] {
                let stroke_m = setup.hydraulics.stroke_m;
                let found = combinations(setup, &Farm::bare(), 0.3, stroke_m, units);
                assert_eq!(found.status == Status::Ok, serves);
                for one in &found.combinations {
                    assert!(series.bores_m().contains(&one.bore_m));
                    assert!(series.rods_m().contains(&one.rod_m));
                }
                let reason = reasons::reason(&found.reason.unwrap(), units);
                let mut any = false;
                // A unit is what stands behind a number.
                let mut after_number = false;
                for word in reason.split([' ', ',', ';', '.']) {
                    assert!(!(after_number && other.contains(&word)), "{word}: {reason}");
                    any |= after_number && own.contains(&word);
                    after_number = word.starts_with(|c: char| c.is_ascii_digit());
                }
                assert!(any, "{reason}");
            }
        }
    }

    proptest! {
        /// An impossible demand is answered with changes that together make the cylinder named serve, its rod too.
        #[test]
        fn prop_what_the_reason_asks_for_would_do(
            wanted_m_s in 0.05f64..0.8,
            pump_l_min in 2.0f64..40.0,
            valve_l_min in 0.5f64..6.0,
            friction_n in 0.0f64..30_000.0,
            hose_mm in 4.0f64..10.0,
            stroke_m in 0.05f64..1.5,
            us in any::<bool>(),
        ) {
            let units = if us { Units::Us } else { Units::Metric };
            let mut setup = Setup::plausible();
            setup.hydraulics.pump_m3_s = pump_l_min / L_MIN;
            setup.hydraulics.proportional.as_mut().unwrap().rated_flow_m3_s = valve_l_min / L_MIN;
            setup.hydraulics.friction_n = friction_n;
            setup.hydraulics.stroke_m = stroke_m;
            let mut farm = Farm::bare();
            farm.hose_bore_m = hose_mm / MM;
            let found = combinations(&setup, &farm, wanted_m_s, stroke_m, units);
            prop_assert!(found.combinations.len() <= LISTED);
            if found.status == Status::NoAnswer {
                let reason = reasons::reason(&found.reason.unwrap(), units);
                prop_assert!(reason.contains("It would do with "), "{reason}");
                let nearest = found.combinations[0].clone();
                let asked = |words: &str, quantity| asked_for(&reason, words, quantity);
                let oil = &mut setup.hydraulics;
                if let Some(supply_pa) = asked("a supply pressure of ", Quantity::Pressure) {
                    oil.supply_pa = supply_pa;
                }
                if let Some(flow_m3_s) = asked("a tractor flow of ", Quantity::Flow) {
                    oil.pump_m3_s = flow_m3_s;
                }
                if let Some(flow_m3_s) = asked("a valve of ", Quantity::Flow) {
                    oil.proportional.as_mut().unwrap().rated_flow_m3_s = flow_m3_s;
                }
                if let Some(bore_m) = asked("hoses of ", Quantity::Length) {
                    farm.hose_bore_m = bore_m;
                }
                if let Some(stroke_m) = asked("a stroke of ", Quantity::Length) {
                    oil.stroke_m = stroke_m;
                }
                let now = combinations(&setup, &farm, wanted_m_s, setup.hydraulics.stroke_m, units);
                prop_assert_eq!(now.status, Status::Ok, "{} {:?}", reason, now);
                setup.hydraulics.bore_m = nearest.bore_m;
                setup.hydraulics.rod_m = nearest.rod_m;
                let now = combinations(&setup, &farm, wanted_m_s, setup.hydraulics.stroke_m, units);
                prop_assert!(now.fitted.as_ref().unwrap().serves, "{reason} {now:?}");
            }
        }

        /// More bore at the same area ratio: more force, slower, more oil.
        #[test]
        fn prop_more_bore_more_force_less_speed(
            bore_m in 0.025f64..0.08,
            more in 1.05f64..1.3,
            rod_share in 0.45f64..0.7,
        ) {
            let mut setup = Setup::plausible();
            setup.hydraulics.friction_n = 200.0;
            let small = judged(&setup, 0.2, bore_m, rod_share * bore_m);
            let large = judged(&setup, 0.2, more * bore_m, rod_share * more * bore_m);
            prop_assert!(large.force_n > small.force_n);
            prop_assert!(large.flow_m3_s > small.flow_m3_s);
            // Free of load the speed falls like 1/bore², 9 % at least; the load takes at most 200 N of the 4.5 kN that the smallest rod's
            // side pushes, which is 2.3 % of its speed.
            prop_assert!(large.extend_m_s < small.extend_m_s);
            prop_assert!(large.retract_m_s < small.retract_m_s);
        }
    }

    #[test]
    fn regress_nothing_to_judge_says_what_lacks() {
        let mut setup = Setup::plausible();
        assert_eq!(answer(&setup, &Farm::bare(), 0.0).status, Status::NoAnswer);
        setup.hydraulics.proportional = None;
        let directional = answer(&setup, &Farm::bare(), 0.05);
        assert_ne!(directional.status, Status::NoData);
        setup.hydraulics.directional = None;
        let none = answer(&setup, &Farm::bare(), 0.05);
        assert_eq!(none.status, Status::NoData);
        assert_eq!(none.reason, Some(Reason::NoValve));
    }
}
