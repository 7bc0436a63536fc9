//! What pays: one thing changed at a time, ranked by the speed and the room that it gains.
//!
//! Base and change meet the same passes. The highest speed is where the upper limit of the plants cut reaches the allowed rate, on straight
//! lines through its logarithm between the study's speeds, or where another bound is met before; the smallest clearance likewise. Limits of
//! a gain: delete-a-group jackknife over 16 groups of passes (Kott, J. Official Statistics 17:521-526, 2001), Student's t; the other
//! bounds have none.

use super::changes::{Cause, Does, Step};
use super::limits::{self, Limits};
use super::spacing::Priced;
use super::speed::is_stable_with;
use super::trial::{Alter, Ask, Cell, Sample, Stopped, Trials, as_it_is};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::quantile::student_factor;
use crate::results::LEVEL;
use crate::results::answers::{Bound, Change, Limited, Pays, Status, Why};
use crate::results::reasons::Reason;
use crate::scenario::Scenario;

/// Groups of passes of the jackknife.
const GROUPS: usize = 16;

/// What everything is compared with.
pub struct Base<'a> {
    /// The passes.
    pub trials: &'a Trials<'a>,
    /// The machine's bounds.
    pub bounds: &'a Limits<'a>,
    /// The controllers that run.
    pub kinds: &'a [Kind],
    /// Number of passes, the first ones of the study.
    pub passes: u64,
    /// Costs are worked out.
    pub priced: bool,
}

/// Everything that is compared with one base: the steps against every cause, and other controllers on the same machine. `design` is the
/// setting about which gains are told: speed, m/s, and clearance, m.
///
/// # Errors
///
/// The watch stopped it.
pub fn answer(
    base: &Base,
    chosen: Option<Kind>,
    design: (f64, f64),
    causes: &[Cause],
) -> Result<Vec<Pays>, Stopped> {
    let Some(chosen) = chosen else {
        return Ok(Vec::new());
    };
    let (trials, kinds) = (base.trials, base.kinds);
    let frame = Frame::of(trials.scenario(), Some(design));
    let ask = Ask {
        passes: base.passes,
        speeds_m_s: &frame.speeds_m_s,
        clearances_m: &frame.clearances_m,
    };
    let place = kinds.iter().position(|&kind| kind == chosen);
    let steps: Vec<(Why, &Step, bool)> = causes
        .iter()
        .flat_map(|cause| cause.steps.iter().map(|step| (cause.why, step)))
        .filter(|_| place.is_some())
        .map(|(why, step)| (why, step, base.is_steady_with(&frame, chosen, step)))
        .collect();
    // Those that are run: no step depends on the speed.
    let applied: Vec<_> = steps
        .iter()
        .filter(|(_, step, steady)| *steady && matches!(step.does, Does::Machine(_)))
        .map(|(_, step, _)| move |setup: &mut Setup| step.apply(setup, 0.0))
        .collect();
    let of_chosen: &[Kind] = &[chosen];
    let mut changes: Vec<(&[Kind], Alter)> = vec![(kinds, &as_it_is)];
    changes.extend(applied.iter().map(|apply| (of_chosen, apply as Alter)));
    // Together: both sides of every comparison meet the same passes.
    let mut samples = trials.run_each(&ask, &changes)?.into_iter();
    let Some(as_they_are) = samples.next() else {
        return Ok(Vec::new());
    };
    let mut all = Vec::new();
    for (place, &kind) in kinds.iter().enumerate() {
        let own = Machine::new(base, &frame, base.bounds, &as_they_are, (place, kind));
        for &(other, change) in upgrades(kind) {
            if let Some(other) = kinds.iter().position(|&kind| kind == other) {
                let place = (other, kinds[other]);
                let new = Machine::new(base, &frame, base.bounds, &as_they_are, place);
                all.push(base.gain(&frame, (kind, change), &own, &new));
            }
        }
    }
    let Some(place) = place else {
        return Ok(all);
    };
    let own = Machine::new(base, &frame, base.bounds, &as_they_are, (place, chosen));
    for (why, step, steady) in steps {
        let pays = if !steady {
            frame.unstable(chosen, step.change)
        } else {
            let sample = match step.does {
                Does::Machine(_) => samples.next(),
                _ => None,
            };
            let ran = sample.as_ref();
            base.step(&frame, (place, chosen), &own, &as_they_are, step, ran)
        };
        all.push(Pays {
            against: Some(why),
            ..pays
        });
    }
    rank(&mut all);
    Ok(all)
}

impl Base<'_> {
    /// Whether a loop stays stable with a step at every speed.
    fn is_steady_with(&self, frame: &Frame, kind: Kind, step: &Step) -> bool {
        let change = |setup: &mut Setup, v| step.apply(setup, v);
        let mut speeds_m_s = frame.speeds_m_s.iter();
        speeds_m_s.all(|&speed_m_s| is_stable_with(self.bounds.setup, &change, kind, speed_m_s))
    }

    /// What one step gains; the machine as it stands is `own`, its passes `as_it_stands` at `place`, those with the step `changed_passes`
    /// if it took any.
    fn step(
        &self,
        frame: &Frame,
        (place, kind): (usize, Kind),
        own: &Machine,
        as_it_stands: &Sample,
        step: &Step,
        changed_passes: Option<&Sample>,
    ) -> Pays {
        let mut farm = self.bounds.farm.clone();
        let (mut setup, mut on_slope) = (self.bounds.setup.clone(), self.bounds.on_slope.clone());
        step.apply(&mut setup, 0.0);
        step.apply(&mut on_slope, 0.0);
        if let (Does::Soil(factor), Some(soil)) = (&step.does, &mut farm.soil) {
            soil.thrown_m *= factor;
        }
        let changed = Limits {
            setup: &setup,
            on_slope: &on_slope,
            farm: &farm,
            ..*self.bounds
        };
        let of_kind = (0, kind);
        let new = match (&step.does, changed_passes) {
            (Does::EntersSlowly, _) => {
                let sample = as_it_stands.entering_as_the_first(place);
                Machine::entering_slowly(self, frame, &changed, &sample, of_kind)
            }
            (Does::Machine(_), Some(sample)) => {
                Machine::new(self, frame, &changed, sample, of_kind)
            }
            // Thrown soil moves no tool: the same passes under other bounds.
            _ => Machine::new(self, frame, &changed, as_it_stands, (place, kind)),
        };
        self.gain(frame, (kind, step.change), own, &new)
    }

    fn gain(
        &self,
        frame: &Frame,
        (kind, change): (Kind, Change),
        own: &Machine,
        new: &Machine,
    ) -> Pays {
        let farm = self.bounds.farm;
        let price = farm.price_of(&change_name(change));
        let earns_a_year = farm.land.as_ref().and_then(|land| {
            let saved_per_ha = own.least_per_ha? - new.least_per_ha?;
            Some(saved_per_ha * land.area_m2 / M2_PER_HA * land.rounds as f64)
        });
        let earned = earns_a_year.filter(|&earned| earned > 0.0);
        Pays {
            price,
            earns_a_year,
            paid_after_years: price.zip(earned).map(|(price, earned)| price / earned),
            ..frame.gain(
                kind,
                change,
                [&own.curves, &new.curves],
                [own.caps, new.caps],
            )
        }
    }
}

const M2_PER_HA: f64 = 10_000.0;

/// The name of a change in scenario and results.
pub fn change_name(change: Change) -> String {
    match serde_json::to_value(change) {
        Ok(serde_json::Value::String(name)) => name,
        _ => String::new(),
    }
}

/// A machine under one controller: where its plants cut and its other bounds lie, and its least cost.
struct Machine {
    curves: Curves,
    caps: Caps,
    least_per_ha: Option<f64>,
}

/// How far the bounds other than cut plants let speed and clearance go: highest speed at the clearance that is asked about, and
/// closest clearance at the speed, m; `None` if nowhere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Caps {
    speed_m_s: Option<f64>,
    clearance_m: Option<f64>,
}

/// No bound but that of cut plants.
pub(super) const NO_CAPS: Caps = Caps {
    speed_m_s: Some(f64::INFINITY),
    clearance_m: Some(0.0),
};

impl Machine {
    fn new(
        base: &Base,
        frame: &Frame,
        bounds: &Limits,
        sample: &Sample,
        (place, kind): (usize, Kind),
    ) -> Self {
        Self::with_turn(base, frame, bounds, sample, (place, kind), &|_| 0.0)
    }

    /// Entering at the slowest simulated speed takes that much longer.
    fn entering_slowly(
        base: &Base,
        frame: &Frame,
        bounds: &Limits,
        sample: &Sample,
        of: (usize, Kind),
    ) -> Self {
        let entry_m = bounds.setup.run.entry_length_m;
        let slowest_m_s = frame.speeds_m_s.first().copied().unwrap_or(1.0);
        let longer_s = move |speed_m_s: f64| entry_m / slowest_m_s - entry_m / speed_m_s;
        Self::with_turn(base, frame, bounds, sample, of, &longer_s)
    }

    fn with_turn(
        base: &Base,
        frame: &Frame,
        bounds: &Limits,
        sample: &Sample,
        (place, kind): (usize, Kind),
        longer_s: &dyn Fn(f64) -> f64,
    ) -> Self {
        let priced = Priced::new(bounds.setup, bounds.farm);
        let priced = priced.as_ref().ok().filter(|_| base.priced);
        Self {
            curves: Curves::of(frame, sample, place),
            caps: frame.caps(bounds, kind),
            least_per_ha: priced.and_then(|priced| {
                let cost = |speed_m_s: f64, clearance_m: f64, rates: [f64; 2]| {
                    priced.cost_per_ha(speed_m_s, clearance_m, rates, longer_s(speed_m_s))
                };
                let (per_ha, ..) = frame.least(bounds, sample, (place, kind), &cost)?;
                Some(per_ha)
            }),
        }
    }
}

/// Best first: by the speed gained, then by the room gained; what has no answer comes last.
fn rank(all: &mut [Pays]) {
    let gained = |gain: Option<Limited>| gain.map_or(f64::NEG_INFINITY, |gain| gain.value);
    let key = |pays: &Pays| (gained(pays.speed_gain_m_s), gained(pays.clearance_gain_m));
    all.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1))
    });
}

/// Controllers that can be bought in the place of one.
fn upgrades(kind: Kind) -> &'static [(Kind, Change)] {
    match kind {
        Kind::Locked => &[
            (Kind::OnOff, Change::OnOffValve),
            (Kind::Pid, Change::ProportionalValve),
        ],
        Kind::OnOff => &[(Kind::Pid, Change::ProportionalValve)],
        Kind::Pid => &[(Kind::LagCompensated, Change::LagCompensation)],
        Kind::LagCompensated => &[(Kind::LagCompensatedYaw, Change::YawRateSensor)],
        Kind::LagCompensatedYaw => &[],
    }
}

/// Where the curves run.
pub(super) struct Frame {
    pub(super) speeds_m_s: Vec<f64>,
    pub(super) clearances_m: Vec<f64>,
    pub(super) working_speed: usize,
    pub(super) working_clearance: usize,
    pub(super) allowed_cut_rate: f64,
}

/// Upper limits over speed at the working clearance and over clearance at the working speed; first of all passes, then without each
/// group of them.
pub(super) struct Curves {
    over_speed: Vec<Vec<f64>>,
    over_clearance: Vec<Vec<f64>>,
}

impl Curves {
    pub(super) fn of(frame: &Frame, sample: &Sample, kind: usize) -> Self {
        let clearance = frame.working_clearance;
        let by_speed: Vec<Vec<f64>> = (0..frame.speeds_m_s.len())
            .map(|speed| upper_limits(sample.cell(speed, kind), clearance))
            .collect();
        let cell = sample.cell(frame.working_speed, kind);
        let by_clearance: Vec<Vec<f64>> = (0..frame.clearances_m.len())
            .map(|clearance| upper_limits(cell, clearance))
            .collect();
        let turned = |by: &[Vec<f64>]| -> Vec<Vec<f64>> {
            (0..=GROUPS)
                .map(|group| by.iter().map(|limits| limits[group]).collect())
                .collect()
        };
        Self {
            over_speed: turned(&by_speed),
            over_clearance: turned(&by_clearance),
        }
    }
}

/// Sums over passes that can be taken away from one another.
#[derive(Clone, Copy, Default)]
struct Moments {
    m: f64,
    h: f64,
    n: f64,
    hh: f64,
    hn: f64,
    nn: f64,
}

impl Moments {
    fn add(&mut self, cut: f64, plants: f64) {
        self.m += 1.0;
        self.h += cut;
        self.n += plants;
        self.hh += cut * cut;
        self.hn += cut * plants;
        self.nn += plants * plants;
    }

    fn without(self, other: Self) -> Self {
        Self {
            m: self.m - other.m,
            h: self.h - other.h,
            n: self.n - other.n,
            hh: self.hh - other.hh,
            hn: self.hn - other.hn,
            nn: self.nn - other.nn,
        }
    }

    /// Upper Student limit of the ratio over passes (Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6).
    fn upper(self) -> f64 {
        if self.m < 2.0 || self.n <= 0.0 {
            return 1.0;
        }
        let r = self.h / self.n;
        let squares = (self.hh - 2.0 * r * self.hn + r * r * self.nn).max(0.0);
        let variance = self.m / (self.m - 1.0) * squares / (self.n * self.n);
        r + student_factor(self.m - 1.0, LEVEL) * variance.sqrt()
    }
}

/// Upper limits of all passes, then without each group of them.
fn upper_limits(cell: &Cell, clearance: usize) -> Vec<f64> {
    let mut groups = [Moments::default(); GROUPS];
    let mut all = Moments::default();
    for (pass, (cut, plants)) in cell.passes(clearance).enumerate() {
        groups[pass % GROUPS].add(cut, plants);
        all.add(cut, plants);
    }
    let without = groups.iter().map(|&group| all.without(group).upper());
    std::iter::once(all.upper()).chain(without).collect()
}

/// Where something that was asked for lies: in the range, or at least at its end.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Reached {
    At(f64),
    /// The range ends before.
    Beyond(f64),
    /// Not even its beginning will do.
    Nowhere,
}

impl Reached {
    /// No further than another bound lets it; nowhere if that lies before `first`.
    fn capped(self, most: Option<f64>, first: f64) -> Self {
        let Some(most) = most.filter(|&most| most >= first) else {
            return Reached::Nowhere;
        };
        match self {
            Reached::At(x) | Reached::Beyond(x) if most < x => Reached::At(most),
            other => other,
        }
    }

    fn value(self) -> Option<f64> {
        match self {
            Reached::At(value) | Reached::Beyond(value) => Some(value),
            Reached::Nowhere => None,
        }
    }
}

/// How far along `x` the limits stay within what is allowed.
fn reach(x: &[f64], limits: &[f64], allowed: f64) -> Reached {
    let Some(first) = limits.iter().position(|&limit| limit > allowed) else {
        return x
            .last()
            .map_or(Reached::Nowhere, |&last| Reached::Beyond(last));
    };
    if first == 0 {
        return Reached::Nowhere;
    }
    // A limit of nothing has no logarithm: a millionth of what is allowed stands for it.
    let ln = |limit: f64| libm::log(limit.max(allowed * 1e-6));
    let (low, high) = (ln(limits[first - 1]), ln(limits[first]));
    let part = (libm::log(allowed) - low) / (high - low);
    Reached::At(x[first - 1] + part.clamp(0.0, 1.0) * (x[first] - x[first - 1]))
}

impl Frame {
    /// The speeds and clearances of a scenario and what it allows, about a setting: speed, m/s, and one of the clearances, m; without one
    /// the working setting.
    pub(super) fn of(scenario: &Scenario, setting: Option<(f64, f64)>) -> Self {
        let study = scenario.study();
        let place = |all: &[f64], one: f64| all.iter().position(|&x| x == one).unwrap_or(0);
        let working = (study.working_speed_m_s, study.working_clearance_m);
        let (speed_m_s, clearance_m) = setting.unwrap_or(working);
        let mut speeds_m_s = study.speeds_m_s.clone();
        if !speeds_m_s.contains(&speed_m_s) {
            speeds_m_s.push(speed_m_s);
            speeds_m_s.sort_by(f64::total_cmp);
        }
        Self {
            working_speed: place(&speeds_m_s, speed_m_s),
            working_clearance: place(&study.clearances_m, clearance_m),
            speeds_m_s,
            clearances_m: study.clearances_m.clone(),
            allowed_cut_rate: study.allowed_cut_rate,
        }
    }

    fn unstable(&self, kind: Kind, change: Change) -> Pays {
        Pays {
            reason: Some(Reason::UnstableWithChange { controller: kind }),
            change,
            controller: kind,
            clearance_m: self.clearances_m[self.working_clearance],
            ..Pays::no_answer()
        }
    }

    fn speed(&self, limits: &[f64], most_m_s: Option<f64>) -> Reached {
        let slowest_m_s = self.speeds_m_s.first().copied().unwrap_or(0.0);
        reach(&self.speeds_m_s, limits, self.allowed_cut_rate).capped(most_m_s, slowest_m_s)
    }

    /// How far other bounds let speed and clearance go.
    fn caps(&self, bounds: &Limits, kind: Kind) -> Caps {
        let at = |clearance_m: f64| bounds.of(kind, clearance_m);
        let (most_m_s, binding, _) = limits::lowest(&at(self.clearances_m[self.working_clearance]));
        let speed_m_s = match binding {
            // The end of the list of speeds is no bound of the machine.
            Some(Bound::SimulatedSpeeds) => Some(f64::INFINITY),
            _ => most_m_s,
        };
        let kept_at = |clearance_m: f64| {
            let limits = at(clearance_m);
            let own_m_s = self.speeds_m_s[self.working_speed];
            let mut upwards = limits
                .iter()
                // That one asks for more speed, which no clearance mends.
                .filter(|limit| limit.cause != Bound::DaysAvailable);
            upwards.all(|limit| limits::keeps(limit, own_m_s))
        };
        let (closest_m, widest_m) = match self.clearances_m[..] {
            [first, .., last] => (first, last),
            [one] => (one, one),
            [] => (0.0, 0.0),
        };
        let clearance_m = if kept_at(closest_m) {
            Some(closest_m)
        } else if !kept_at(widest_m) {
            None
        } else {
            // Bounds only loosen with more room: halve the span.
            let (mut broken_m, mut kept_m) = (closest_m, widest_m);
            for _ in 0..HALVINGS {
                let middle_m = 0.5 * (broken_m + kept_m);
                if kept_at(middle_m) {
                    kept_m = middle_m;
                } else {
                    broken_m = middle_m;
                }
            }
            Some(kept_m)
        };
        Caps {
            speed_m_s,
            clearance_m,
        }
    }

    /// The least cost of a setting that keeps every bound, with its speed and clearance: at every clearance the simulated speeds and the
    /// highest one, whose rates lie on straight lines through their logarithms. `cost` takes speed, clearance, and the shares cut and
    /// touched.
    fn least(
        &self,
        bounds: &Limits,
        sample: &Sample,
        (place, kind): (usize, Kind),
        cost: &dyn Fn(f64, f64, [f64; 2]) -> f64,
    ) -> Option<(f64, f64, f64)> {
        let by_speed: Vec<_> = (0..self.speeds_m_s.len())
            .map(|speed| {
                let cell = sample.cell(speed, place);
                (cell.estimates(), cell.touched())
            })
            .collect();
        let of_clearance = |(clearance, &clearance_m): (usize, &f64)| {
            let rates = |speed: usize| {
                let (cut, touched) = &by_speed[speed];
                [cut[clearance].rate, touched[clearance].rate]
            };
            let uppers: Vec<f64> = by_speed
                .iter()
                .map(|(cut, _)| cut[clearance].upper)
                .collect();
            let (cap_m_s, ..) = limits::lowest(&bounds.of(kind, clearance_m));
            let highest_m_s = self.speed(&uppers, cap_m_s).value()?;
            let mut settings = Vec::new();
            for (speed, &speed_m_s) in self.speeds_m_s.iter().enumerate() {
                if speed_m_s <= highest_m_s {
                    settings.push((speed_m_s, rates(speed)));
                } else {
                    // The highest speed lies between two simulated ones; beyond it nothing keeps the bounds.
                    let slower_m_s = self.speeds_m_s[speed.checked_sub(1)?];
                    let part = (highest_m_s - slower_m_s) / (speed_m_s - slower_m_s);
                    let (low, high) = (rates(speed - 1), rates(speed));
                    let there = [0, 1].map(|i| between(low[i], high[i], part));
                    settings.push((highest_m_s, there));
                    break;
                }
            }
            let costs = settings.into_iter().map(|(speed_m_s, rates)| {
                (cost(speed_m_s, clearance_m, rates), speed_m_s, clearance_m)
            });
            costs.min_by(|a, b| a.0.total_cmp(&b.0))
        };
        let clearances = self.clearances_m.iter().enumerate();
        clearances
            .filter_map(of_clearance)
            .min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// Where a controller's decision lies, after what it is worth: the setting with the least cost of those that keep every bound; without
    /// prices the fastest at the clearance nearest to the working one.
    pub(super) fn decision(
        &self,
        bounds: &Limits,
        sample: &Sample,
        of: (usize, Kind),
    ) -> Option<(f64, f64, f64)> {
        let priced = Priced::new(bounds.setup, bounds.farm);
        let working_m = self.clearances_m[self.working_clearance];
        let fastest_m_s = self.speeds_m_s.last().copied().unwrap_or(1.0);
        let cost = |speed_m_s: f64, clearance_m: f64, rates: [f64; 2]| match &priced {
            Ok(priced) => priced.cost_per_ha(speed_m_s, clearance_m, rates, 0.0),
            // A tenth of a millimetre further off outweighs all speed.
            Err(_) => (clearance_m - working_m).abs() / 1e-4 - speed_m_s / fastest_m_s,
        };
        self.least(bounds, sample, of, &cost)
    }
    /// Clearances from the widest on, as lengths by which the tools come closer.
    fn closer(&self, limits: &[f64], closest_m: Option<f64>) -> Reached {
        let x: Vec<f64> = self.clearances_m.iter().rev().map(|c| -c).collect();
        let limits: Vec<f64> = limits.iter().rev().copied().collect();
        let widest = x.first().copied().unwrap_or(0.0);
        reach(&x, &limits, self.allowed_cut_rate).capped(closest_m.map(|m| -m), widest)
    }

    /// Highest speed at which plants cut keep the allowed rate, m/s, with the limits of the jackknife, and whether the speeds end there.
    pub(super) fn highest(&self, curves: &Curves) -> Option<(Limited, bool)> {
        let by_group = curves.over_speed.iter();
        let speeds: Vec<Reached> = by_group
            .map(|limits| self.speed(limits, NO_CAPS.speed_m_s))
            .collect();
        let at_least = matches!(speeds[0], Reached::Beyond(_));
        let nothing = vec![Reached::At(0.0); speeds.len()];
        Some((difference(&nothing, &speeds)?, at_least))
    }

    pub(super) fn gain(
        &self,
        kind: Kind,
        change: Change,
        [base, changed]: [&Curves; 2],
        [base_caps, changed_caps]: [Caps; 2],
    ) -> Pays {
        let speed = |curves: &Curves, caps: Caps| -> Vec<Reached> {
            let by_group = curves.over_speed.iter();
            by_group
                .map(|limits| self.speed(limits, caps.speed_m_s))
                .collect()
        };
        let closer = |curves: &Curves, caps: Caps| -> Vec<Reached> {
            let by_group = curves.over_clearance.iter();
            by_group
                .map(|limits| self.closer(limits, caps.clearance_m))
                .collect()
        };
        let (base_speed, new_speed) = (speed(base, base_caps), speed(changed, changed_caps));
        let (base_room, new_room) = (closer(base, base_caps), closer(changed, changed_caps));
        let by_speed = difference(&base_speed, &new_speed);
        let by_room = difference(&base_room, &new_room);
        let beyond = |reached: Reached| matches!(reached, Reached::Beyond(_));
        let clearance_m = self.clearances_m[self.working_clearance];
        let (without_m_s, with_m_s) = (base_speed[0].value(), new_speed[0].value());
        let missing = without_m_s.is_none() || with_m_s.is_none();
        let reason = missing.then_some(Reason::SpeedsKept {
            without_m_s,
            with_m_s,
            clearance_m,
            machines: change == Change::OtherMachine,
        });
        Pays {
            status: if by_speed.is_some() || by_room.is_some() {
                Status::Ok
            } else {
                Status::NoAnswer
            },
            reason,
            change,
            against: None,
            controller: kind,
            clearance_m,
            base_speed_m_s: without_m_s,
            speed_gain_m_s: by_speed,
            clearance_gain_m: by_room,
            at_least: [base_speed[0], new_speed[0], base_room[0], new_room[0]]
                .into_iter()
                .any(beyond),
            price: None,
            earns_a_year: None,
            paid_after_years: None,
        }
    }
}

/// Halvings of the span of clearances: 1 m becomes a nanometre.
const HALVINGS: usize = 30;

/// A rate part of the way from one to another, straight on its logarithm; straight itself where one is nothing.
fn between(low: f64, high: f64, part: f64) -> f64 {
    if low > 0.0 && high > 0.0 {
        libm::exp(libm::log(low) + part * (libm::log(high) - libm::log(low)))
    } else {
        low + part * (high - low)
    }
}

/// New less base, with the limits of the jackknife; `None` where either is nowhere. A group without which either is nowhere counts with
/// the difference of all passes.
fn difference(base: &[Reached], new: &[Reached]) -> Option<Limited> {
    let value = new[0].value()? - base[0].value()?;
    let without: Vec<f64> = (1..base.len())
        .map(|group| {
            let both = new[group].value().zip(base[group].value());
            both.map_or(value, |(new, base)| new - base)
        })
        .collect();
    let groups = without.len() as f64;
    let mean = without.iter().sum::<f64>() / groups;
    // The groups share all passes but their own: their scatter counts (G - 1)/G times, not as that of independent values.
    let squares: f64 = without.iter().map(|x| (x - mean) * (x - mean)).sum();
    let se = ((groups - 1.0) / groups * squares).sqrt();
    let reach = student_factor(groups - 1.0, LEVEL) * se;
    Some(Limited {
        value,
        lower: value - reach,
        upper: value + reach,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Limits 0.001 at 2 m/s and 0.01 at 3 m/s: 0.00316 lies half way on the logarithm.
    #[test]
    fn analytic_the_limit_is_reached_on_its_logarithm() {
        let allowed = libm::sqrt(0.001 * 0.01);
        let Reached::At(speed) = reach(&[1.0, 2.0, 3.0], &[1e-4, 1e-3, 1e-2], allowed) else {
            panic!()
        };
        assert!((speed - 2.5).abs() < 1e-12);
        assert_eq!(reach(&[1.0, 2.0], &[0.1, 0.2], 0.05), Reached::Nowhere);
        assert_eq!(
            reach(&[1.0, 2.0], &[0.01, 0.02], 0.05),
            Reached::Beyond(2.0)
        );
    }

    /// What is told where a speed is missing before or after the change: never "with or without" where one of the two keeps every limit.
    #[test]
    fn regress_a_missing_speed_is_told_on_its_own_side() {
        let frame = Frame {
            speeds_m_s: vec![1.0, 2.0],
            clearances_m: vec![0.04],
            working_speed: 0,
            working_clearance: 0,
            allowed_cut_rate: 0.01,
        };
        let curves = |over_speed: [f64; 2]| Curves {
            over_speed: vec![over_speed.to_vec(); GROUPS + 1],
            over_clearance: vec![vec![over_speed[0]]; GROUPS + 1],
        };
        let (keeps, breaks) = (curves([0.001, 0.002]), curves([0.02, 0.03]));
        let told = |base: &Curves, new: &Curves| {
            let caps = [NO_CAPS, NO_CAPS];
            let gains = frame.gain(Kind::Pid, Change::OtherMachine, [base, new], caps);
            gains.reason.map(|reason| match reason {
                Reason::SpeedsKept {
                    without_m_s,
                    with_m_s,
                    machines,
                    ..
                } => (without_m_s, with_m_s, machines),
                other => panic!("{other:?}"),
            })
        };
        assert_eq!(told(&keeps, &breaks), Some((Some(2.0), None, true)));
        assert_eq!(told(&breaks, &keeps), Some((None, Some(2.0), true)));
        assert_eq!(told(&breaks, &breaks), Some((None, None, true)));
        assert_eq!(told(&keeps, &keeps), None);
    }

    /// Another limit that is met before ends a gain; one below the slowest speed leaves none.
    #[test]
    fn analytic_other_limits_cap_what_cut_plants_allow() {
        assert_eq!(Reached::At(3.0).capped(Some(2.0), 1.0), Reached::At(2.0));
        assert_eq!(
            Reached::Beyond(3.0).capped(Some(2.5), 1.0),
            Reached::At(2.5)
        );
        assert_eq!(Reached::At(3.0).capped(Some(4.0), 1.0), Reached::At(3.0));
        assert_eq!(Reached::At(3.0).capped(Some(0.5), 1.0), Reached::Nowhere);
        assert_eq!(Reached::At(3.0).capped(None, 1.0), Reached::Nowhere);
    }

    /// The jackknife of a mean is its standard error: differences of group means about their own.
    #[test]
    fn analytic_the_jackknife_of_a_mean() {
        let groups: Vec<f64> = (0..GROUPS).map(|i| (i as f64 * 1.7).sin()).collect();
        let sum: f64 = groups.iter().sum();
        let all = sum / GROUPS as f64;
        let new: Vec<Reached> = std::iter::once(all)
            .chain(groups.iter().map(|x| (sum - x) / (GROUPS as f64 - 1.0)))
            .map(Reached::At)
            .collect();
        let base = vec![Reached::At(0.0); GROUPS + 1];
        let gain = difference(&base, &new).unwrap();
        let variance = groups.iter().map(|x| (x - all).powi(2)).sum::<f64>()
            / (GROUPS as f64 - 1.0)
            / GROUPS as f64;
        let reach = student_factor(GROUPS as f64 - 1.0, LEVEL) * variance.sqrt();
        assert!((gain.value - all).abs() < 1e-15);
        assert!((gain.upper - gain.value - reach).abs() < 1e-12);
    }

    /// Twice the pass, twice the rate: no change gains nothing, for certain.
    #[test]
    fn analytic_no_change_gains_nothing() {
        let reached: Vec<Reached> = (0..=GROUPS)
            .map(|i| Reached::At(2.0 + i as f64 * 0.01))
            .collect();
        let gain = difference(&reached, &reached).unwrap();
        assert_eq!((gain.value, gain.lower, gain.upper), (0.0, 0.0, 0.0));
    }
}
