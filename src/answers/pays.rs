//! What pays: one thing changed at a time, ranked by the speed and the room that it gains.
//!
//! Base and change meet the same passes. The highest speed is where the upper limit of the plants cut reaches the allowed rate, on straight
//! lines through its logarithm between the study's speeds, or where another bound is met before; the smallest clearance likewise. Limits of
//! a gain: delete-a-group jackknife over 16 groups of passes (Kott, J. Official Statistics 17:521-526, 2001), Student's t; the other
//! bounds have none.
//!
//! Every machine is run from the slowest speed on, no further than a number of its answer depends on.

use std::collections::{BTreeMap, BTreeSet};

use super::changes::{Cause, Does, Step};
use super::limits::{self, Limits};
use super::spacing::Priced;
use super::speed::is_stable_with;
use super::trial::{Alter, Ask, Cell, Sample, Stopped, Trials, as_it_is};
use crate::farm::Farm;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::estimate::Estimate;
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
    let place = |kind: Kind| base.kinds.iter().position(|&own| own == kind);
    let Some((chosen, own)) = chosen.and_then(|kind| Some((kind, place(kind)?))) else {
        return Ok(Vec::new());
    };
    let frame = &Frame::of(base.trials.scenario(), Some(design));
    let steps: Vec<Tried> = causes
        .iter()
        .flat_map(|cause| cause.steps.iter().map(|step| (cause.why, step)))
        .map(|(why, step)| Tried {
            why,
            step,
            changed: base.changed(frame, chosen, step),
        })
        .collect();
    // No step depends on the speed.
    let applied: Vec<_> = steps
        .iter()
        .map(|tried| move |setup: &mut Setup| tried.step.apply(setup, 0.0))
        .collect();

    let mut runs: Vec<(Kind, Alter)> = Vec::new();
    let mut machines: Vec<Machine> = Vec::new();
    for &kind in base.kinds {
        machines.push(Machine::new(base, frame, base.bounds, (runs.len(), kind)));
        runs.push((kind, &as_it_is));
    }
    let mut of_steps = Vec::new();
    for (tried, apply) in steps.iter().zip(&applied) {
        of_steps.push(tried.changed.as_ref().map(|changed| {
            let run = match tried.step.does {
                Does::Machine(_) => {
                    runs.push((chosen, apply));
                    runs.len() - 1
                }
                // Thrown soil moves no tool, and another entry is put before the same rest: passes of the machine as it stands.
                Does::Soil(_) | Does::EntersSlowly => own,
            };
            let bounds = changed.bounds(base.bounds);
            machines.push(Machine {
                enters_slowly: matches!(tried.step.does, Does::EntersSlowly),
                ..Machine::new(base, frame, &bounds, (run, chosen))
            });
            machines.len() - 1
        }));
    }
    run_as_far_as_needed(base, frame, &runs, &mut machines)?;

    let mut all = Vec::new();
    for (own, &kind) in base.kinds.iter().enumerate() {
        for &(other, change) in upgrades(kind) {
            if let Some(other) = place(other) {
                let both = [&machines[own], &machines[other]];
                all.push(base.gain(frame, (kind, change), both));
            }
        }
    }
    for (tried, machine) in steps.iter().zip(of_steps) {
        let change = tried.step.change;
        let pays = machine.map_or_else(
            || frame.unstable(chosen, change),
            |machine| {
                base.gain(
                    frame,
                    (chosen, change),
                    [&machines[own], &machines[machine]],
                )
            },
        );
        all.push(Pays {
            against: Some(tried.why),
            ..pays
        });
    }
    rank(&mut all);
    Ok(all)
}

/// Runs each of `runs` at the slowest speed and at the setting that is asked about, and from there on at rising speeds as long as one of
/// the machines that read it needs them. All that are run at a speed are run together: both sides of every comparison meet the same
/// passes, and what they have in common is worked out once.
fn run_as_far_as_needed(
    base: &Base,
    frame: &Frame,
    runs: &[(Kind, Alter)],
    machines: &mut [Machine],
) -> Result<(), Stopped> {
    let run = |speeds_m_s: &[f64], wanted: &BTreeSet<usize>| {
        let ask = Ask {
            passes: base.passes,
            speeds_m_s,
            clearances_m: &frame.clearances_m,
        };
        // The machine as it stands comes first even where nobody asks for it: the others share its ground, drive and sensors.
        let mut changes: Vec<(&[Kind], Alter)> = vec![(&[], &as_it_is)];
        changes.extend(wanted.iter().map(|&run| {
            let (kind, change) = &runs[run];
            (std::slice::from_ref(kind), *change)
        }));
        let samples = base.trials.run_each(&ask, &changes)?.into_iter().skip(1);
        Ok::<BTreeMap<usize, Sample>, Stopped>(wanted.iter().copied().zip(samples).collect())
    };
    let at_work = frame.working_speed;
    let mut begin_m_s = vec![frame.speeds_m_s[0], frame.speeds_m_s[at_work]];
    begin_m_s.dedup();
    let begun = run(&begin_m_s, &(0..runs.len()).collect())?;
    let at_work_begun = begin_m_s.len() - 1;
    for machine in machines.iter_mut() {
        let sample = &begun[&machine.run];
        machine.learn(frame, sample.cell(0, 0));
        machine.learn_at_work(frame, sample.cell(at_work_begun, 0));
    }
    for (speed, &speed_m_s) in frame.speeds_m_s.iter().enumerate().skip(1) {
        let mut needing: Vec<&mut Machine> = machines
            .iter_mut()
            .filter(|machine| machine.needs_faster(frame))
            .collect();
        if needing.is_empty() {
            break;
        }
        let shown = if speed == at_work {
            None
        } else {
            let wanted = needing.iter().map(|machine| machine.run).collect();
            Some(run(&[speed_m_s], &wanted)?)
        };
        for machine in &mut needing {
            let cell = match &shown {
                Some(shown) => shown[&machine.run].cell(0, 0),
                None => begun[&machine.run].cell(at_work_begun, 0),
            };
            machine.learn(frame, cell);
        }
    }
    Ok(())
}

/// A step that is compared.
struct Tried<'a> {
    why: Why,
    step: &'a Step,
    /// The machine on its field with it; `None` where a loop would run away.
    changed: Option<Changed>,
}

/// A machine on its field after a step.
struct Changed {
    setup: Setup,
    on_slope: Setup,
    farm: Farm,
}

impl Changed {
    fn bounds<'a>(&'a self, before: &Limits<'a>) -> Limits<'a> {
        Limits {
            setup: &self.setup,
            on_slope: &self.on_slope,
            farm: &self.farm,
            ..*before
        }
    }
}

impl Base<'_> {
    /// The machine with a step; `None` where its loop does not stay stable at every speed.
    fn changed(&self, frame: &Frame, kind: Kind, step: &Step) -> Option<Changed> {
        let bounds = self.bounds;
        let change = |setup: &mut Setup, v| step.apply(setup, v);
        let mut speeds_m_s = frame.speeds_m_s.iter();
        if !speeds_m_s.all(|&v| is_stable_with(bounds.setup, &change, kind, v)) {
            return None;
        }
        let mut changed = Changed {
            setup: bounds.setup.clone(),
            on_slope: bounds.on_slope.clone(),
            farm: bounds.farm.clone(),
        };
        step.apply(&mut changed.setup, 0.0);
        step.apply(&mut changed.on_slope, 0.0);
        if let (Does::Soil(factor), Some(soil)) = (&step.does, &mut changed.farm.soil) {
            soil.thrown_m *= factor;
        }
        Some(changed)
    }

    fn gain(
        &self,
        frame: &Frame,
        (kind, change): (Kind, Change),
        [own, new]: [&Machine; 2],
    ) -> Pays {
        let farm = self.bounds.farm;
        let price = farm.price_of(&change_name(change));
        let earns_a_year = farm.land.as_ref().and_then(|land| {
            let saved_per_ha = own.least_per_ha(frame)? - new.least_per_ha(frame)?;
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

/// A machine under one controller, as far as it was run from the slowest speed on: where its plants cut and its other bounds lie, and what
/// it costs.
struct Machine<'a> {
    /// Place of its passes among those that are run.
    run: usize,
    /// It enters the row at every speed as at the slowest, so that entering takes longer.
    enters_slowly: bool,
    /// Its passes at the slowest speed.
    slowest: Option<Cell>,
    curves: Curves,
    caps: Caps,
    /// What the other bounds allow, clearance by clearance, m/s.
    caps_m_s: Vec<Option<f64>>,
    rates: Vec<Rates>,
    /// Where costs are worked out.
    priced: Option<Priced<'a>>,
    entry_m: f64,
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

impl<'a> Machine<'a> {
    /// Before any speed was run.
    fn new(base: &Base, frame: &Frame, bounds: &Limits<'a>, (run, kind): (usize, Kind)) -> Self {
        let priced = Priced::new(bounds.setup, bounds.farm).ok();
        Self {
            run,
            enters_slowly: false,
            slowest: None,
            curves: Curves::default(),
            caps: frame.caps(bounds, kind),
            caps_m_s: frame.caps_m_s(bounds, kind),
            rates: Vec::new(),
            priced: priced.filter(|_| base.priced),
            entry_m: bounds.setup.run.entry_length_m,
        }
    }

    /// Adds the next faster speed.
    fn learn(&mut self, frame: &Frame, cell: &Cell) {
        let cell = &self.entered(cell);
        self.curves.add_speed(frame, cell);
        if self.priced.is_some() {
            self.rates.push(Rates::of(cell));
        }
        self.slowest.get_or_insert_with(|| cell.clone());
    }

    /// Adds what is known over clearance at the speed that is asked about.
    fn learn_at_work(&mut self, frame: &Frame, cell: &Cell) {
        let cell = self.entered(cell);
        self.curves.set_clearances(frame, &cell);
    }

    /// The passes as this machine enters them.
    fn entered(&self, cell: &Cell) -> Cell {
        match &self.slowest {
            Some(slowest) if self.enters_slowly => cell.entering_as(slowest),
            _ => cell.clone(),
        }
    }

    /// Whether any number of the answer depends on speeds beyond those that are known.
    fn needs_faster(&self, frame: &Frame) -> bool {
        self.curves.go_on(frame, self.caps.speed_m_s)
            || self.priced.as_ref().is_some_and(|priced| {
                let cost = self.cost(frame, priced);
                frame.may_cost_less_faster(&self.caps_m_s, &self.rates, &cost)
            })
    }

    /// The least cost of a setting that keeps every bound, a hectare and round.
    fn least_per_ha(&self, frame: &Frame) -> Option<f64> {
        let cost = self.cost(frame, self.priced.as_ref()?);
        let (per_ha, ..) = frame.least(&self.caps_m_s, &self.rates, &cost)?;
        Some(per_ha)
    }

    fn cost(&self, frame: &Frame, priced: &Priced) -> impl Fn(f64, f64, [f64; 2]) -> f64 {
        let slowest_m_s = frame.speeds_m_s.first().copied().unwrap_or(1.0);
        let slow_m = if self.enters_slowly {
            self.entry_m
        } else {
            0.0
        };
        move |speed_m_s, clearance_m, rates| {
            let longer_s = slow_m / slowest_m_s - slow_m / speed_m_s;
            priced.cost_per_ha(speed_m_s, clearance_m, rates, longer_s)
        }
    }
}

/// Plants cut and touched at one speed, clearance by clearance.
pub(super) struct Rates {
    cut: Vec<Estimate>,
    touched: Vec<f64>,
}

impl Rates {
    fn of(cell: &Cell) -> Self {
        Self {
            cut: cell.estimates(),
            touched: cell.touched_rates(),
        }
    }

    fn at(&self, clearance: usize) -> [f64; 2] {
        [self.cut[clearance].rate, self.touched[clearance]]
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

/// Upper limits over speed at the working clearance, from the slowest speed on as far as they are known, and over clearance at the working
/// speed; first of all passes, then without each group of them.
pub(super) struct Curves {
    over_speed: Vec<Vec<f64>>,
    over_clearance: Vec<Vec<f64>>,
}

impl Default for Curves {
    fn default() -> Self {
        Self {
            over_speed: vec![Vec::new(); GROUPS + 1],
            over_clearance: vec![Vec::new(); GROUPS + 1],
        }
    }
}

impl Curves {
    /// Of passes at all speeds of a frame.
    pub(super) fn of(frame: &Frame, sample: &Sample, kind: usize) -> Self {
        let mut curves = Self::default();
        for speed in 0..frame.speeds_m_s.len() {
            curves.add_speed(frame, sample.cell(speed, kind));
        }
        curves.set_clearances(frame, sample.cell(frame.working_speed, kind));
        curves
    }

    /// Adds the next faster speed.
    fn add_speed(&mut self, frame: &Frame, cell: &Cell) {
        let limits = upper_limits(cell, frame.working_clearance);
        for (over_speed, limit) in self.over_speed.iter_mut().zip(limits) {
            over_speed.push(limit);
        }
    }

    /// What is known at the working speed.
    fn set_clearances(&mut self, frame: &Frame, cell: &Cell) {
        for clearance in 0..frame.clearances_m.len() {
            let limits = upper_limits(cell, clearance);
            for (over_clearance, limit) in self.over_clearance.iter_mut().zip(limits) {
                over_clearance.push(limit);
            }
        }
    }

    /// Whether a highest speed up to `most_m_s` may depend on speeds beyond those that are known.
    fn go_on(&self, frame: &Frame, most_m_s: Option<f64>) -> bool {
        let mut by_group = self.over_speed.iter();
        by_group.any(|limits| frame.goes_on(limits.iter().copied(), most_m_s))
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

    /// How far speed goes with these limits at the slowest speeds, up to another bound.
    fn speed(&self, limits: &[f64], most_m_s: Option<f64>) -> Reached {
        let slowest_m_s = self.speeds_m_s.first().copied().unwrap_or(0.0);
        let known_m_s = &self.speeds_m_s[..limits.len()];
        reach(known_m_s, limits, self.allowed_cut_rate).capped(most_m_s, slowest_m_s)
    }

    /// Whether [`Frame::speed`] may change with further speeds: neither the allowed rate nor the other bound is passed yet.
    fn goes_on(&self, limits: impl ExactSizeIterator<Item = f64>, most_m_s: Option<f64>) -> bool {
        let slowest_m_s = self.speeds_m_s.first().copied().unwrap_or(0.0);
        let fastest_m_s = self.speeds_m_s[..limits.len()].last().copied();
        let below = |most_m_s| most_m_s >= slowest_m_s && fastest_m_s.is_none_or(|v| v <= most_m_s);
        limits.len() < self.speeds_m_s.len()
            && most_m_s.is_some_and(below)
            && limits
                .into_iter()
                .all(|limit| limit <= self.allowed_cut_rate)
    }

    /// What the bounds other than cut plants allow, clearance by clearance, m/s.
    fn caps_m_s(&self, bounds: &Limits, kind: Kind) -> Vec<Option<f64>> {
        let clearances_m = self.clearances_m.iter();
        let lowest = |&clearance_m: &f64| limits::lowest(&bounds.of(kind, clearance_m)).0;
        clearances_m.map(lowest).collect()
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

    /// The least cost of a setting that keeps every bound, with its speed and clearance: at every clearance the simulated speeds, as far as
    /// their rates are known, and the highest one, whose rates lie on straight lines through their logarithms. `caps_m_s`: up to which
    /// speed the other bounds hold, by clearance. `cost` takes speed, clearance, and the shares cut and touched.
    fn least(
        &self,
        caps_m_s: &[Option<f64>],
        by_speed: &[Rates],
        cost: &dyn Fn(f64, f64, [f64; 2]) -> f64,
    ) -> Option<(f64, f64, f64)> {
        let of_clearance = |(clearance, &clearance_m): (usize, &f64)| {
            let rates = |speed: usize| by_speed[speed].at(clearance);
            let uppers: Vec<f64> = by_speed.iter().map(|at| at.cut[clearance].upper).collect();
            let highest_m_s = self.speed(&uppers, caps_m_s[clearance]).value()?;
            let mut settings = Vec::new();
            for (speed, &speed_m_s) in self.speeds_m_s[..by_speed.len()].iter().enumerate() {
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

    /// Whether [`Frame::least`] may find less with the rates of further speeds: at some clearance the bounds let them, and plants that are
    /// all spared would cost less there than the least so far. Costs rise with the shares cut and touched, and with speed they rise or
    /// fall all along.
    fn may_cost_less_faster(
        &self,
        caps_m_s: &[Option<f64>],
        by_speed: &[Rates],
        cost: &dyn Fn(f64, f64, [f64; 2]) -> f64,
    ) -> bool {
        let least = self.least(caps_m_s, by_speed, cost);
        let [.., fastest_m_s] = self.speeds_m_s[..] else {
            return false;
        };
        let known_m_s = self.speeds_m_s[..by_speed.len()].last().copied();
        let of_clearance = |clearance: usize| {
            let uppers = by_speed.iter().map(|at| at.cut[clearance].upper);
            let cap_m_s = caps_m_s[clearance];
            let ends = [known_m_s, cap_m_s.map(|cap_m_s| cap_m_s.min(fastest_m_s))];
            let costs = ends.into_iter().flatten().map(|speed_m_s| {
                let unharmed = [0.0, 0.0];
                cost(speed_m_s, self.clearances_m[clearance], unharmed)
            });
            let no_less_than = costs.fold(f64::INFINITY, f64::min);
            self.goes_on(uppers, cap_m_s) && least.is_none_or(|(least, ..)| no_less_than < least)
        };
        (0..self.clearances_m.len()).any(of_clearance)
    }

    /// Where a controller's decision lies, after what it is worth: the setting with the least cost of those that keep every bound; without
    /// prices the fastest at the clearance nearest to the working one.
    pub(super) fn decision(
        &self,
        bounds: &Limits,
        sample: &Sample,
        (place, kind): (usize, Kind),
    ) -> Option<(f64, f64, f64)> {
        let priced = Priced::new(bounds.setup, bounds.farm);
        let working_m = self.clearances_m[self.working_clearance];
        let fastest_m_s = self.speeds_m_s.last().copied().unwrap_or(1.0);
        let cost = |speed_m_s: f64, clearance_m: f64, rates: [f64; 2]| match &priced {
            Ok(priced) => priced.cost_per_ha(speed_m_s, clearance_m, rates, 0.0),
            // A tenth of a millimetre further off outweighs all speed.
            Err(_) => (clearance_m - working_m).abs() / 1e-4 - speed_m_s / fastest_m_s,
        };
        let by_speed: Vec<Rates> = (0..self.speeds_m_s.len())
            .map(|speed| Rates::of(sample.cell(speed, place)))
            .collect();
        self.least(&self.caps_m_s(bounds, kind), &by_speed, &cost)
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
