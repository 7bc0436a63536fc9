//! What farms like this one may see: the rates of a study at thousands of points among what is not known, from the fields that it
//! simulated.

use super::plan::{Plan, runnable};
use super::saved::Saved;
use super::summary::answer;
use super::tally::{Fates, Tally};
use crate::model::controller::Kind;
use crate::results::{
    FarmRates, FarmShare, LawName, NoFarms, Rate, Results, Stretch, UnknownValue,
};
use crate::scenario::{Scenario, Unknown};
use crate::unknowns::assurance::{Axis, Reach, assurance};
use crate::unknowns::band::{Band, Elsewhere, Stand};
use crate::unknowns::cloud::Cloud;
use crate::unknowns::correct::{Trust, raw_ln_rates};
use crate::unknowns::emulator::{BandAt, Emulator, FEWEST_DRAWS, NoLimits, Simulated};
use crate::unknowns::law::Law;
use crate::unknowns::limits::{RAREST, quantiles};
use crate::unknowns::shapley;

/// Points among what is not known at which rates are told (our choice: another seed's move the 5, 50 and 95 % points by some 2, 1 and 3 %,
/// less than the simulated fields leave open).
pub const POINTS: usize = 8192;

/// Walks behind the shares of the doubt.
const WALKS: usize = 1024;

/// Rates of every simulated setting over farms like this one.
pub struct Farms {
    fields: Fields,
    is_learned: bool,
    speeds_m_s: Vec<f64>,
    ln_allowed: f64,
    /// The points at which rates are told.
    cloud: Cloud,
    /// Logarithms of the rates of cut plants on whole rows: `[controller][speed][clearance][point]`.
    ln_cut: Vec<Vec<Vec<Vec<f64>>>>,
}

/// The simulated fields, and what was found at each setting.
pub struct Fields {
    laws: Vec<Law>,
    stand: StandAt,
    clearances_m: Vec<f64>,
    kinds: Vec<Kind>,
    draws: Cloud,
    passes: Vec<u64>,
    /// `[speed * controllers + controller]`.
    simulated: Vec<Simulated>,
}

impl Fields {
    /// Those of a study; `None` where everything is known.
    pub fn of(plan: &Plan, saved: &Saved) -> Option<Self> {
        let scenario = plan.scenario;
        let fields = saved.sums.fields.as_ref()?;
        let unknowns = scenario.unknowns().iter();
        let laws: Vec<Law> = unknowns.map(|unknown| unknown.law).collect();
        let (kinds, study) = (runnable(scenario), scenario.study());
        let numbers = fields.fields();
        // What the fields cannot tell apart lies in the middle of their own coordinate.
        let points = numbers.iter().flat_map(|&field| {
            let mut point = scenario.point(plan.seed, field);
            point.push(0.5);
            point
        });
        let draws = Cloud::of(laws.len(), points.collect(), vec![1.0; numbers.len()])?;
        let stand = StandAt::of(scenario);
        let medians: Vec<f64> = laws.iter().map(Law::median).collect();
        let band = |cell: usize| stand.band(&study.clearances_m, &medians, cell);
        let places = study.speeds_m_s.len() * kinds.len();
        let simulated: Vec<Simulated> = (0..places)
            .map(|place| {
                let tally = &saved.sums.tallies[place / kinds.len()][place % kinds.len()];
                Simulated {
                    elsewhere: on_entry(scenario, tally, &band),
                    ..fields.simulated(place)
                }
            })
            .collect();
        Some(Self {
            laws,
            stand,
            clearances_m: study.clearances_m.clone(),
            kinds,
            draws,
            passes: fields.passes(),
            simulated,
        })
    }

    /// Which plants meet the fate of a cell: cut, clearance by clearance, then touched.
    pub fn band(&self) -> impl Fn(&[f64], usize) -> Band + Sync + '_ {
        |values, cell| self.stand.band(&self.clearances_m, values, cell)
    }

    /// Rates at other points among what is not known, setting by setting, speed times controllers and controller; `band` is
    /// [`Fields::band`].
    pub fn emulator<'a>(&self, band: BandAt<'a>) -> Result<Emulator<'a>, NoLimits> {
        Emulator::fit(&self.laws, &self.draws, &self.passes, &self.simulated, band)
    }

    /// Tells rates over the points of a cloud in the results, and gives back the logarithms of plants cut,
    /// `[controller][speed][clearance][point]`.
    fn tell(
        &self,
        cloud: &Cloud,
        level: f64,
        results: &mut Results,
    ) -> Result<Vec<Vec<Vec<Vec<f64>>>>, NoLimits> {
        let band = self.band();
        let emulator = self.emulator(&band)?;
        let emulated = emulator.at(cloud);
        let (kinds, clearances) = (self.kinds.len(), self.clearances_m.len());
        let speeds = self.simulated.len() / kinds.max(1);
        let mut ln_cut = vec![vec![Vec::with_capacity(clearances); speeds]; kinds];
        for (kind, &controller) in self.kinds.iter().enumerate() {
            for (speed, ln_cut) in ln_cut[kind].iter_mut().enumerate() {
                let place = speed * kinds + kind;
                let of_cell = |cell: usize| {
                    let fitted = emulator.fits[place].rates[cell].trust == Trust::Sound;
                    let ln_rates = emulated.ln_rates(place, cell);
                    let levels = [0.05, 0.5, 0.95, level];
                    let points = if fitted {
                        quantiles(cloud.weights(), &ln_rates, levels)
                    } else {
                        let raw = raw_ln_rates(&self.passes, &self.simulated[place].rates[cell]);
                        quantiles(&vec![1.0; raw.len()], &raw, levels)
                    };
                    let told = points.map(|ln_rate| told(libm::exp(ln_rate)));
                    (told, fitted, ln_rates)
                };
                for clearance in 0..clearances {
                    let (cut, fitted_cut, ln_rates) = of_cell(clearance);
                    let (touched, fitted_touched, _) = of_cell(clearances + clearance);
                    let share = |[p05, p50, p95, _]: [f64; 4]| FarmShare { p05, p50, p95 };
                    if let Some(rate) = rate_mut(results, controller, speed, clearance) {
                        rate.known = Some(FarmRates {
                            cut: share(cut),
                            touched: share(touched),
                            assured_cut: cut[3],
                            fitted: fitted_cut && fitted_touched,
                        });
                    }
                    ln_cut.push(ln_rates);
                }
            }
        }
        Ok(ln_cut)
    }

    /// What is known of each unknown.
    pub fn laws(&self) -> &[Law] {
        &self.laws
    }
}

/// A setting by the places of controller, speed and clearance in the study.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The controller.
    pub kind: usize,
    /// The speed.
    pub speed: usize,
    /// The clearance.
    pub clearance: usize,
}

/// Where the plants of a field stand, of which any number may be not known.
struct StandAt {
    scatter_m: Number,
    unit_m: Number,
    edge_m: Number,
    stem_m: Number,
    roots_m: Number,
    rows: f64,
}

/// A number that is known, or the place of one that is not.
enum Number {
    Known(f64),
    Unknown(usize),
}

impl Number {
    fn at(&self, values: &[f64]) -> f64 {
        match *self {
            Number::Known(value) => value,
            Number::Unknown(place) => values[place],
        }
    }
}

impl StandAt {
    fn of(scenario: &Scenario) -> Self {
        let setup = scenario.nominal();
        let number = |key: &str, known: f64| {
            let place = scenario
                .unknowns()
                .iter()
                .position(|unknown| unknown.key() == key);
            place.map_or(Number::Known(known), Number::Unknown)
        };
        let plants = &setup.plants;
        Self {
            scatter_m: number("plants.scatter_sd", plants.scatter_sd_m),
            unit_m: number("rows.unit_error_sd", setup.rows.unit_sd_m),
            edge_m: number("tools.setting_error_sd", setup.tools.setting_sd_m),
            stem_m: number("plants.stem_radius", plants.stem_radius_m),
            roots_m: number(
                "plants.root_margin",
                plants.protected_radius_m - plants.stem_radius_m,
            ),
            rows: setup.rows.guided.len() as f64,
        }
    }

    /// Which plants meet the fate of a cell: cut, clearance by clearance, then touched.
    fn band(&self, clearances_m: &[f64], values: &[f64], cell: usize) -> Band {
        let stand = Stand {
            plants_sd_m: self.scatter_m.at(values),
            units_sd_m: self.unit_m.at(values),
            rows: self.rows,
            edges_sd_m: self.edge_m.at(values),
        };
        let stem_m = self.stem_m.at(values);
        let spared_m = clearances_m[cell % clearances_m.len()] - stem_m;
        let touches = cell >= clearances_m.len();
        Band {
            room_m: if touches {
                spared_m - self.roots_m.at(values)
            } else {
                spared_m
            },
            apart_m: touches.then_some(spared_m),
            other_variance_m2: stand.variance_m2(),
        }
    }
}

impl Farms {
    /// Works them out and tells them in the results: rates, unknowns and what each carries.
    ///
    /// # Errors
    ///
    /// Everything is known, or the study has too few fields; the results then say so.
    pub fn told(plan: &Plan, saved: &Saved, results: &mut Results) -> Option<Farms> {
        let scenario = plan.scenario;
        let unknowns = scenario.unknowns();
        results.unknowns = unknowns.iter().map(value).collect();
        let study = scenario.study();
        let fields = Fields::of(plan, saved)?;
        let cloud = match scenario.learned() {
            Some(learned) => learned.cloud.clone(),
            None => Cloud::new(plan.seed, fields.laws.len(), POINTS),
        };
        let ln_cut = match fields.tell(&cloud, study.assurance, results) {
            Ok(ln_cut) => ln_cut,
            Err(why) => {
                results.no_farms = Some(reason(why));
                return None;
            }
        };
        results.answer = answer(scenario, &fields.kinds, &results.rates);
        Some(Farms {
            speeds_m_s: study.speeds_m_s.clone(),
            ln_allowed: libm::log(study.allowed_cut_rate),
            is_learned: scenario.learned().is_some(),
            fields,
            cloud,
            ln_cut,
        })
    }

    /// Highest speed, m/s, that keeps the allowed rate on a share `level` of the farms, under one controller at one clearance.
    pub fn assured_speed(&self, kind: usize, clearance: usize, level: f64) -> Reach {
        let axis = Axis::Harsher(&self.speeds_m_s);
        let by_speed = &self.ln_cut[kind];
        let reaches = (0..self.cloud.len())
            .map(|point| axis.reach(|speed| by_speed[speed][clearance][point], self.ln_allowed));
        axis.assured(self.cloud.weights(), &reaches.collect::<Vec<_>>(), level)
    }

    /// Least clearance, m, that keeps it, under one controller at one speed.
    pub fn assured_clearance(&self, kind: usize, speed: usize, level: f64) -> Reach {
        let axis = Axis::Milder(&self.fields.clearances_m);
        let by_clearance = &self.ln_cut[kind][speed];
        let reaches = (0..self.cloud.len())
            .map(|point| axis.reach(|clearance| by_clearance[clearance][point], self.ln_allowed));
        axis.assured(self.cloud.weights(), &reaches.collect::<Vec<_>>(), level)
    }

    /// Share of the plants cut that a share `level` of the farms do not exceed at a setting.
    pub fn cut_at_most(&self, place: Place, level: f64) -> f64 {
        let ln_rates = &self.ln_cut[place.kind][place.speed][place.clearance];
        let [ln_rate] = quantiles(self.cloud.weights(), ln_rates, [level]);
        libm::exp(ln_rate).clamp(RAREST, 1.0)
    }

    /// Share of the farms on which a setting keeps the allowed rate.
    pub fn assurance(&self, place: Place) -> f64 {
        let ln_rates = &self.ln_cut[place.kind][place.speed][place.clearance];
        assurance(self.cloud.weights(), ln_rates, self.ln_allowed)
    }

    /// Highest speed, m/s, and least clearance, m, that every point of [`Farms::cloud`] allows around a setting: ends of what was simulated
    /// where it is beyond them.
    pub fn reaches(&self, place: Place) -> [Vec<f64>; 2] {
        let speeds = Axis::Harsher(&self.speeds_m_s);
        let clearances = Axis::Milder(&self.fields.clearances_m);
        let by_speed = &self.ln_cut[place.kind];
        let points = 0..self.cloud.len();
        let speed = points.clone().map(|point| {
            let ln_rate = |speed: usize| by_speed[speed][place.clearance][point];
            speeds.held(speeds.reach(ln_rate, self.ln_allowed))
        });
        let clearance = points.map(|point| {
            let ln_rate = |clearance: usize| by_speed[place.speed][clearance][point];
            clearances.held(clearances.reach(ln_rate, self.ln_allowed))
        });
        [speed.collect(), clearance.collect()]
    }

    /// The points at which rates are told, with their weights.
    pub fn cloud(&self) -> &Cloud {
        &self.cloud
    }

    /// Fits every speed under the controller of a setting at its clearance anew and hands them over: cell 0 of fit `speed` is the cut
    /// plants there. `None` where nothing can be fitted.
    pub fn fitted<T>(&self, place: Place, with: impl FnOnce(&Emulator) -> T) -> Option<T> {
        let of_speed = |speed: usize| {
            let all = &self.fields.simulated[speed * self.fields.kinds.len() + place.kind];
            Simulated {
                tool: all.tool.clone(),
                rates: vec![all.rates[place.clearance].clone()],
                elsewhere: vec![all.elsewhere[place.clearance]],
            }
        };
        let simulated: Vec<Simulated> = (0..self.speeds_m_s.len()).map(of_speed).collect();
        let all = self.fields.band();
        let band = |values: &[f64], _: usize| all(values, place.clearance);
        let fields = &self.fields;
        let emulator = Emulator::fit(
            &fields.laws,
            &fields.draws,
            &fields.passes,
            &simulated,
            &band,
        )
        .ok()?;
        Some(with(&emulator))
    }

    /// Tells in the results how much of the doubt each unknown carries, in [`UnknownValue::share_of_rate`] and
    /// its fellows: of the logarithm of the plants cut at a setting, and of the highest speed that keeps the allowed
    /// rate there. Shares of the variance; what no unknown carries is left out.
    pub fn tell_what_carries(&self, seed: u64, place: Place, results: &mut Results) {
        let axis = Axis::Harsher(&self.speeds_m_s);
        let speeds = self.speeds_m_s.len();
        let unknowns = self.fields.laws.len();
        let alone: Option<Vec<Alone>> = (self.is_learned).then(|| {
            (0..unknowns)
                .map(|unknown| Alone::of(&self.cloud, unknown))
                .collect()
        });
        let found = self.fitted(place, |emulator| {
            let mut ln_rates = vec![0.0; speeds];
            let shares = shapley::shares(seed, unknowns, 3, WALKS, |point, outputs| {
                let of_cloud = point.iter().enumerate();
                let mut whole: Vec<f64> = match &alone {
                    Some(alone) => of_cloud.map(|(place, &u)| alone[place].at(u)).collect(),
                    None => point.to_vec(),
                };
                // In the middle of what no unknown carries.
                whole.push(0.5);
                let at = emulator.at_point(&whole);
                for (speed, ln_rate) in ln_rates.iter_mut().enumerate() {
                    *ln_rate = at.ln_rate(speed, 0, at.tool_error(speed));
                }
                outputs[0] = ln_rates[place.speed];
                // The cost of a setting differs from farm to farm by the plants lost alone.
                outputs[2] = libm::exp(ln_rates[place.speed]);
                outputs[1] = axis.held(axis.reach(|speed| ln_rates[speed], self.ln_allowed));
            });
            (shares, emulator.fits[place.speed].rates[0].tau)
        });
        let Some((shares, scatter)) = found else {
            return;
        };
        results.farm_scatter = Some(scatter);
        let [rate, speed, cost] = &shares[..] else {
            return;
        };
        let share = |found: &shapley::Shares, place: usize| {
            (found.variance > 0.0).then(|| found.shares[place] / found.variance)
        };
        for (place, unknown) in results.unknowns.iter_mut().enumerate() {
            unknown.share_of_rate = share(rate, place);
            unknown.share_of_speed = share(speed, place);
            unknown.share_of_cost = share(cost, place);
        }
    }
}

/// One unknown by itself, in coordinates of its law, as weighted points have it.
struct Alone {
    /// Rising, each with the weight of all up to the middle of its own.
    points: Vec<(f64, f64)>,
}

impl Alone {
    fn of(cloud: &Cloud, unknown: usize) -> Self {
        let pairs = cloud.weights().iter().enumerate();
        let mut points: Vec<(f64, f64)> = pairs
            .map(|(point, &weight)| (cloud.point(point)[unknown], weight))
            .filter(|(_, weight)| *weight > 0.0)
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut sum = 0.0;
        for (_, weight) in &mut points {
            let own = *weight;
            *weight = sum + 0.5 * own;
            sum += own;
        }
        Self { points }
    }

    /// The coordinate below which a share `u` of the weight lies, straight between points.
    fn at(&self, u: f64) -> f64 {
        let above = self.points.partition_point(|(_, sum)| *sum < u);
        let nearest = |place: usize| self.points.get(place).map_or(0.5, |point| point.0);
        let (Some(&(low, below)), Some(&(high, beyond))) = (
            self.points.get(above.wrapping_sub(1)),
            self.points.get(above),
        ) else {
            return nearest(above.min(self.points.len().saturating_sub(1)));
        };
        low + (high - low) * (u - below) / (beyond - below)
    }
}

/// Plants of the entry stretch, which the tool error of the rest does not tell of: cut, clearance by clearance, then touched. `band` is
/// that of the median farm, by cell.
fn on_entry(scenario: &Scenario, tally: &Tally, band: &dyn Fn(usize) -> Band) -> Vec<Elsewhere> {
    let [of_entry, _] = scenario.nominal().run.of_the_row();
    let clearances = tally.entry.cut.len();
    let all = |fates: &Fates| [fates.cut.clone(), fates.touched.clone()].concat();
    let pairs = all(&tally.entry).into_iter().zip(all(&tally.whole));
    pairs
        .enumerate()
        .map(|(cell, (entry, whole))| {
            let clearance = cell % clearances;
            let cut = tally.entry.cut[clearance].rate();
            let variance_m2 = Elsewhere::variance_m2(&band(clearance), cut);
            Elsewhere {
                share: of_entry * entry.plants() / whole.plants(),
                rate: entry.rate(),
                variance_m2,
                ln_median: band(cell).ln_share(0.0, variance_m2),
            }
        })
        .collect()
}

/// A rate as it is told: no rarer than can be told, no more than all, to four digits.
fn told(rate: f64) -> f64 {
    digits(rate.clamp(RAREST, 1.0))
}

/// A number above 0 to four digits.
fn digits(value: f64) -> f64 {
    if value <= 0.0 {
        return 0.0;
    }
    let unit = libm::exp10(3.0 - libm::floor(libm::log10(value)));
    (value * unit).round() / unit
}

fn rate_mut(
    results: &mut Results,
    controller: crate::model::controller::Kind,
    speed: usize,
    clearance: usize,
) -> Option<&mut Rate> {
    let (speed_m_s, clearance_m) = (results.speeds_m_s[speed], results.clearances_m[clearance]);
    results.rates.iter_mut().find(|rate| {
        rate.stretch == Stretch::Whole
            && rate.controller == controller
            && rate.speed_m_s == speed_m_s
            && rate.clearance_m == clearance_m
    })
}

fn value(unknown: &Unknown) -> UnknownValue {
    let (law, (from, to)) = match unknown.law {
        Law::Uniform { from, to } => (LawName::Uniform, (from, to)),
        Law::LogUniform { from, to } => (LawName::LogUniform, (from, to)),
        Law::Normal { .. } => (LawName::Normal, unknown.law.likely()),
    };
    UnknownValue {
        key: unknown.key(),
        from,
        to,
        law,
        known: unknown.known,
        source: unknown.origin.clone(),
        share_of_rate: None,
        share_of_speed: None,
        share_of_cost: None,
    }
}

fn reason(why: NoLimits) -> NoFarms {
    match why {
        NoLimits::FewDraws { draws } => NoFarms::FewFields {
            fields: draws as u32,
            needed: FEWEST_DRAWS as u32,
        },
        NoLimits::SinglePasses | NoLimits::Broken => NoFarms::Broken,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_four_digits() {
        for (value, told) in [
            (0.001_234_56, 0.001_235),
            (0.5, 0.5),
            (1.0, 1.0),
            (0.099_999, 0.1),
            (0.0, 0.0),
        ] {
            assert!((digits(value) - told).abs() < 1e-15, "{value}");
        }
        assert_eq!((told(1e-9), told(3.0)), (RAREST, 1.0));
    }
}
