//! Machines that nobody beats on both cost and assured speed: a search over what could be bought or set, on shared passes, checked again
//! on fresh ones.
//!
//! 1. All machines, or by local search those near the front ([`front`]), are run on the first passes.
//! 2. Those that are left behind there, unbeaten in fewer than 1 % of the resamples, are dropped; the others run on all passes of the
//!    choice (successive halving by resamples instead of a fixed share). The front is chosen there.
//! 3. Of the chosen it is known that they did well on just these passes. All contenders run once more on fresh passes, which had no part
//!    in the choice; limits, gains and how often a machine stays unbeaten come from these.
//!
//! All machines meet the same passes: ground, drivers and plants are shared ([`super::trial`]), and what is not known is the same for all,
//! key by key.

pub mod catalogue;
pub mod front;
pub mod reach;

use std::collections::BTreeMap;

use super::compare::How;
use super::limits::Limits;
use super::speed::step_m_s;
use super::trial::{Ask, Draw, Stopped, Trials};
use crate::linear;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::fields::whole_fields;
use crate::montecarlo::study::Watch;
use crate::montecarlo::workers::NoThreads;
use crate::results::answers::{Bound, Limited};
use crate::results::design::{AssuredSpeed, Design, DesignMachine, FieldLimit};
use crate::results::{LEVEL, Tool};
use crate::scenario::{Scenario, ScenarioError};
use catalogue::{Built, Catalogue};
use front::Machine;
use reach::{Asked, Curve, Resamples, limited, unbeaten};

/// So few machines are all tried (our choice: some seconds on the demo).
const TRY_ALL: u64 = 64;

/// Most machines that are simulated (our choice).
const MOST_SIMULATED: usize = 256;

/// Share of the passes of the choice on which machines are looked for.
const SEARCHED: u64 = 4;

/// Fewest passes of the search: eight fields.
const FEWEST_SEARCHED: u64 = 64;

/// A machine unbeaten in fewer of the resamples is dropped (our choice).
const DROPPED_BELOW: f64 = 0.01;

/// Most machines that are run on all passes of the choice, and again on fresh ones (our choice).
const MOST_CONTENDERS: [usize; 2] = [24, 12];

/// Machines that are simulated at once (our choice: memory).
const AT_ONCE: usize = 32;

/// Why no front was found.
#[derive(Debug, thiserror::Error)]
pub enum DesignError {
    /// Nothing could be changed.
    #[error(
        "{file}: there is nothing to choose from: add [[offers]], or prices in [change_prices] for parts that this machine has"
    )]
    NothingToChange {
        /// File of the scenario.
        file: String,
    },
    /// An offer that the scenario does not take.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The machine as it stands has no controller whose loop is stable at the slowest speed.
    #[error("{file}: the machine as it stands runs no controller with a stable loop")]
    NoController {
        /// File of the scenario.
        file: String,
    },
    /// Somebody stopped it.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// The machine gave no threads.
    #[error(transparent)]
    Threads(#[from] NoThreads),
}

/// Parts that are changed, with the option.
fn changed(machine: &[usize]) -> impl Iterator<Item = (usize, usize)> {
    let parts = machine.iter().copied().enumerate();
    parts.filter(|&(_, option)| option > 0)
}

/// A machine on some passes: its controllers, each as far as it was run.
type Ran = Vec<(Kind, Curve)>;

/// What everything is run with.
struct Search<'a> {
    scenario: &'a Scenario,
    catalogue: &'a Catalogue,
    trials: Trials<'a>,
    seed: u64,
    asked: Asked,
    built: BTreeMap<Machine, (Built, Vec<(Kind, f64)>)>,
    /// Controllers of the machine as it stands that are tried with other parts.
    own_kinds: Vec<Kind>,
}

impl Search<'_> {
    /// Puts machines together that are not yet.
    fn build(&mut self, machines: &[Machine]) -> Result<(), DesignError> {
        for machine in machines {
            if self.built.contains_key(machine) {
                continue;
            }
            let built = match self.catalogue.build(self.scenario, machine) {
                Ok(built) => built,
                // Offers that do alone and contradict one another make no machine.
                Err(_) if changed(machine).count() > 1 => Built::nothing(self.scenario),
                Err(error) => return Err(error.into()),
            };
            let setup = self.catalogue.nominal(&built);
            let kinds = built.kinds.iter().copied();
            let steady = kinds.filter_map(|kind| Some((kind, self.cap_m_s(&setup, kind)?)));
            let steady = steady.collect();
            self.built.insert(machine.clone(), (built, steady));
        }
        Ok(())
    }

    /// Up to which speed a controller's loop is stable, m/s; `None` if it is not even at the slowest one.
    fn cap_m_s(&self, setup: &Setup, kind: Kind) -> Option<f64> {
        kind.lacks(setup).is_none().then_some(())?;
        let speeds_m_s = self.scenario.study().speeds_m_s.iter().copied();
        let steady = |&speed_m_s: &f64| linear::check_stable(setup, kind, speed_m_s).is_ok();
        let last_m_s = speeds_m_s.clone().take_while(steady).last()?;
        let all = speeds_m_s.last() == Some(last_m_s);
        let cap_m_s = if all { f64::INFINITY } else { last_m_s };
        let critical_m_s = linear::critical_speed(setup, kind).unwrap_or(f64::INFINITY);
        Some(cap_m_s.min(critical_m_s))
    }

    /// Controllers under which a machine is run: those that it has and the machine as it stands has not, and of the others the ones that
    /// were not left behind there.
    fn kinds(&self, machine: &Machine) -> Vec<(Kind, f64)> {
        let own = &self.built[&vec![0; machine.len()]].0.kinds;
        let kinds = self.built[machine].1.iter().copied();
        kinds
            .filter(|(kind, _)| !own.contains(kind) || self.own_kinds.contains(kind))
            .collect()
    }

    /// Runs machines on passes from one to before another, at rising speeds as far as their assured speeds depend on them.
    fn run(&mut self, machines: &[Machine], from: u64, to: u64) -> Result<Vec<Ran>, DesignError> {
        self.build(machines)?;
        let mut all = Vec::new();
        for some in machines.chunks(AT_ONCE) {
            all.extend(self.run_some(some, from, to)?);
        }
        Ok(all)
    }

    fn run_some(&self, machines: &[Machine], from: u64, to: u64) -> Result<Vec<Ran>, DesignError> {
        let study = self.scenario.study();
        let mut ran: Vec<Ran> = machines
            .iter()
            .map(|machine| {
                let kinds = self.kinds(machine).into_iter();
                kinds.map(|(kind, cap)| (kind, Curve::new(cap))).collect()
            })
            .collect();
        let draws: Vec<_> = machines
            .iter()
            .map(|machine| {
                let (built, _) = &self.built[machine];
                move |pass| self.catalogue.draw(built, self.scenario, self.seed, pass)
            })
            .collect();
        let base = |pass| self.scenario.draw(self.seed, pass);
        for &speed_m_s in &study.speeds_m_s {
            let going: Vec<Vec<Kind>> = ran
                .iter()
                .map(|curves| {
                    let going = curves.iter().filter(|(_, curve)| curve.goes_on(self.asked));
                    going.map(|(kind, _)| *kind).collect()
                })
                .collect();
            let places: Vec<usize> = (0..ran.len()).filter(|&at| !going[at].is_empty()).collect();
            if places.is_empty() {
                break;
            }
            // The machine as it stands comes first even where nobody asks for it: the others share its ground, drive and sensors.
            let mut asked: Vec<(&[Kind], Draw)> = vec![(&[], &base)];
            asked.extend(places.iter().map(|&at| (&going[at][..], &draws[at] as Draw)));
            let ask = Ask {
                passes: to,
                speeds_m_s: &[speed_m_s],
                clearances_m: &[study.working_clearance_m],
            };
            let samples = self.trials.run_machines(&ask, from, &asked)?;
            for (&at, sample) in places.iter().zip(&samples[1..]) {
                for (place, kind) in going[at].iter().enumerate() {
                    let curve = ran[at].iter_mut().find(|(own, _)| own == kind);
                    if let Some((_, curve)) = curve {
                        curve.add(self.asked, speed_m_s, sample.cell(0, place));
                    }
                }
            }
        }
        Ok(ran)
    }

    /// The controller under which a machine is fastest, with its speed; 0 without any.
    fn best(&self, ran: &Ran) -> Option<(Kind, f64)> {
        let speeds = ran.iter().map(|(kind, curve)| {
            let (speed_m_s, _) = curve.of_all(self.asked);
            (*kind, speed_m_s)
        });
        // Of equal ones the first, which is the simplest.
        speeds.reduce(|best, other| if other.1 > best.1 { other } else { best })
    }
}

/// A machine that is still in the race.
struct Runner {
    machine: Machine,
    cost: f64,
    kind: Kind,
    curve: Curve,
    speed_m_s: f64,
    resampled: Vec<f64>,
}

/// Their costs and resampled speeds.
fn standings(runners: &[Runner]) -> Vec<(f64, &[f64])> {
    let all = runners.iter();
    all.map(|runner| (runner.cost, &runner.resampled[..]))
        .collect()
}

/// Looks for the machines that nobody beats. `how.passes` are those on which the front is chosen, and as many fresh ones.
///
/// # Errors
///
/// Nothing to choose from, an offer that the scenario does not take, no controller, all before any pass; a stop; no threads.
pub fn design(
    scenario: &Scenario,
    how: How,
    watch: &dyn Watch,
) -> Result<Design, DesignError> {
    let file = || scenario.file().to_string();
    let catalogue = Catalogue::of(scenario);
    let options = catalogue.options();
    if options.is_empty() {
        return Err(DesignError::NothingToChange { file: file() });
    }
    let study = scenario.study();
    let unknown = !scenario.unknowns().is_empty();
    let chosen = whole_fields(how.passes);
    let searched = whole_fields(chosen / SEARCHED).max(FEWEST_SEARCHED).min(chosen);
    let mut search = Search {
        scenario,
        catalogue: &catalogue,
        trials: Trials::new(scenario, how.seed, how.threads, watch)?,
        seed: how.seed,
        asked: Asked {
            allowed_cut_rate: study.allowed_cut_rate,
            assurance: unknown.then_some(study.assurance),
        },
        built: BTreeMap::new(),
        own_kinds: Vec::new(),
    };
    let cost = |machine: &[usize]| catalogue.cost(machine);
    let own: Machine = vec![0; options.len()];
    search.build(&front::beside(&own, &options))?;
    search.start(&own, searched)?;
    if search.own_kinds.is_empty() {
        return Err(DesignError::NoController { file: file() });
    }

    let mut known: BTreeMap<Machine, Ran> = BTreeMap::new();
    let mut speeds = |machines: &[Machine]| {
        let found = search.run(machines, 0, searched)?;
        let mut speeds = Vec::new();
        for (machine, ran) in machines.iter().zip(found) {
            speeds.push(search.best(&ran).map_or(0.0, |(_, speed_m_s)| speed_m_s));
            known.insert(machine.clone(), ran);
        }
        Ok::<_, DesignError>(speeds)
    };
    let tried = front::search(&options, &cost, &mut speeds, (TRY_ALL, MOST_SIMULATED))?;
    let impossible = known.values().filter(|ran| ran.is_empty()).count() as u64;
    let simulated = tried.all.len() as u64;

    let first: Vec<(Machine, Ran)> = (tried.all.into_iter())
        .filter_map(|(machine, _)| known.remove_entry(&machine))
        .collect();
    let first = search.runners(first, searched);
    let (kept, left_out_searched) = stay(first, &own, MOST_CONTENDERS[0]);
    let contenders = kept.len() as u64;
    let ran = search.run(&kept, 0, chosen)?;
    let second = search.runners(kept.into_iter().zip(ran).collect(), chosen);
    let points: Vec<(f64, f64)> = second
        .iter()
        .map(|runner| (runner.cost, runner.speed_m_s))
        .collect();
    let step_m_s = step_m_s(scenario.units());
    let on_front: Vec<Machine> = front::front(&points, step_m_s)
        .into_iter()
        .map(|place| second[place].machine.clone())
        .collect();
    let told_chosen: BTreeMap<Machine, AssuredSpeed> = second
        .iter()
        .map(|runner| (runner.machine.clone(), search.told(runner)))
        .collect();
    let (mut kept, left_out_chosen) = stay(second, &own, MOST_CONTENDERS[1]);
    for machine in &on_front {
        if !kept.contains(machine) {
            kept.push(machine.clone());
        }
    }
    let ran = search.run(&kept, chosen, 2 * chosen)?;
    let fresh = search.runners(kept.into_iter().zip(ran).collect(), chosen);

    let unbeaten = unbeaten(&standings(&fresh));
    let place = |machine: &Machine| fresh.iter().position(|runner| runner.machine == *machine);
    let gain = |one: &Runner, other: &Runner| {
        let pairs = one.resampled.iter().zip(&other.resampled);
        let gains: Vec<f64> = pairs.map(|(one, other)| one - other).collect();
        limited(one.speed_m_s - other.speed_m_s, &gains)
    };
    let own_place = place(&own);
    let machine = |machine: &Machine, cheaper: Option<&Machine>| {
        let at = place(machine)?;
        let (runner, own) = (&fresh[at], &fresh[own_place?]);
        Some(DesignMachine {
            changed: changed(&runner.machine)
                .map(|(part, option)| [part as u32, option as u32 - 1])
                .collect(),
            controller: runner.kind,
            cost: runner.cost,
            chosen: *told_chosen.get(machine)?,
            fresh: search.told(runner),
            gain_m_s: gain(runner, own),
            step_gain_m_s: cheaper.and_then(|cheaper| Some(gain(runner, &fresh[place(cheaper)?]))),
            unbeaten: unbeaten[at],
        })
    };
    let no_controller = || DesignError::NoController { file: file() };
    let told_own = machine(&own, None).ok_or_else(no_controller)?;
    let told_front: Vec<DesignMachine> = (0..on_front.len())
        .filter_map(|place| {
            let cheaper = place.checked_sub(1).map(|before| &on_front[before]);
            machine(&on_front[place], cheaper)
        })
        .collect();
    let field_limit = field_limit(scenario);
    Ok(Design {
        tool: Tool::this(),
        scenario: scenario.stamp(),
        seed: how.seed,
        level: LEVEL,
        allowed_cut_rate: study.allowed_cut_rate,
        assurance: search.asked.assurance,
        clearance_m: study.working_clearance_m,
        speeds_m_s: [
            study.speeds_m_s.first().copied().unwrap_or(0.0),
            study.speeds_m_s.last().copied().unwrap_or(0.0),
        ],
        parts: catalogue.told(),
        without_price: catalogue.without_price.clone(),
        counted: catalogue.counted.clone(),
        possible: front::possible(&options),
        simulated,
        impossible,
        searched_passes: searched,
        chosen_passes: chosen,
        fresh_passes: chosen,
        contenders,
        left_out_unbeaten: left_out_searched.max(left_out_chosen),
        step_m_s,
        first: first_to_buy(&told_own, &told_front, field_limit),
        field_limit,
        own: told_own,
        front: told_front,
    })
}

impl Search<'_> {
    /// Runs the machine as it stands under all its controllers, and keeps those that are not left behind.
    fn start(&mut self, own: &Machine, searched: u64) -> Result<(), DesignError> {
        self.build(std::slice::from_ref(own))?;
        self.own_kinds = self.built[own].1.iter().map(|(kind, _)| *kind).collect();
        let mut ran = self.run(std::slice::from_ref(own), 0, searched)?;
        let ran = ran.pop().unwrap_or_default();
        let draws = Resamples::new(self.seed, self.units(searched));
        let resampled: Vec<Vec<f64>> = ran
            .iter()
            .map(|(_, curve)| curve.resampled(self.asked, &draws))
            .collect();
        // All cost the same: the fastest is unbeaten.
        let costs: Vec<(f64, &[f64])> = resampled.iter().map(|speeds| (0.0, &speeds[..])).collect();
        let stays = unbeaten(&costs);
        let kinds = ran.iter().zip(stays);
        self.own_kinds = kinds
            .filter(|(_, share)| *share >= DROPPED_BELOW)
            .map(|((kind, _), _)| *kind)
            .collect();
        Ok(())
    }

    /// What limits count in so many passes.
    fn units(&self, passes: u64) -> usize {
        match self.asked.assurance {
            Some(_) => (passes / crate::scenario::FIELD_PASSES) as usize,
            None => passes as usize,
        }
    }

    /// Machines with what was found on so many passes, each under its best controller; those that run none drop out.
    fn runners(&self, all: Vec<(Machine, Ran)>, passes: u64) -> Vec<Runner> {
        let draws = Resamples::new(self.seed, self.units(passes));
        all.into_iter()
            .filter_map(|(machine, ran)| {
                let (kind, speed_m_s) = self.best(&ran)?;
                let (_, curve) = ran.into_iter().find(|(own, _)| *own == kind)?;
                Some(Runner {
                    cost: self.catalogue.cost(&machine),
                    resampled: curve.resampled(self.asked, &draws),
                    machine,
                    kind,
                    curve,
                    speed_m_s,
                })
            })
            .collect()
    }

    fn told(&self, runner: &Runner) -> AssuredSpeed {
        let (speed_m_s, at_least) = runner.curve.of_all(self.asked);
        AssuredSpeed {
            speed_m_s: limited(speed_m_s, &runner.resampled),
            at_least,
        }
    }
}

/// Those that stay in the race, the machine as it stands always, and the greatest share of resamples in which one that does not was
/// unbeaten.
fn stay(runners: Vec<Runner>, own: &Machine, most: usize) -> (Vec<Machine>, f64) {
    let shares = unbeaten(&standings(&runners));
    let mut order: Vec<usize> = (0..runners.len()).collect();
    order.sort_by(|&a, &b| shares[b].total_cmp(&shares[a]).then(a.cmp(&b)));
    let mut kept: Vec<Machine> = vec![own.clone()];
    let mut left_out = 0.0_f64;
    for place in order {
        let machine = &runners[place].machine;
        if machine == own {
            continue;
        }
        if shares[place] >= DROPPED_BELOW && kept.len() < most {
            kept.push(machine.clone());
        } else {
            left_out = left_out.max(shares[place]);
        }
    }
    (kept, left_out)
}

/// The lowest bound of the field beside plants cut: the machine's own are in the search.
fn field_limit(scenario: &Scenario) -> Option<FieldLimit> {
    let (setup, farm) = (scenario.nominal(), scenario.farm());
    let bounds = Limits {
        setup: &setup,
        on_slope: &setup,
        farm: &farm,
        demand: &[],
        speeds_m_s: &[],
    };
    let of_field = |cause: Bound| matches!(cause, Bound::ThrownSoil | Bound::TractorPower);
    let limits = bounds.of(Kind::Locked, scenario.study().working_clearance_m);
    let limits = limits.into_iter().filter(|limit| of_field(limit.cause));
    let limits = limits.filter_map(|limit| {
        Some(FieldLimit {
            cause: limit.cause,
            speed_m_s: limit.speed_m_s?,
        })
    });
    limits.min_by(|a, b| a.speed_m_s.total_cmp(&b.speed_m_s))
}

/// The machine that gains most for its cost, as far as the field lets it, of those that cost something and surely gain; it is held against
/// the fastest that costs nothing.
fn first_to_buy(
    own: &DesignMachine,
    front: &[DesignMachine],
    limit: Option<FieldLimit>,
) -> Option<u32> {
    let most_m_s = limit.map_or(f64::INFINITY, |limit| limit.speed_m_s);
    let usable_m_s = |machine: &DesignMachine| machine.fresh.speed_m_s.value.min(most_m_s);
    let free = front.iter().rfind(|machine| machine.cost <= 0.0).unwrap_or(own);
    let sure = |machine: &DesignMachine| {
        let over: Option<Limited> = match machine.step_gain_m_s {
            Some(gain) => Some(gain),
            None => Some(machine.gain_m_s),
        };
        machine.cost > 0.0 && over.is_some_and(|gain| gain.lower > 0.0)
    };
    let rated = front.iter().enumerate().filter_map(|(place, machine)| {
        let gained_m_s = usable_m_s(machine) - usable_m_s(free);
        (sure(machine) && gained_m_s > 0.0).then_some((place, gained_m_s / machine.cost))
    });
    let best = rated.reduce(|best, other| if other.1 > best.1 { other } else { best });
    best.map(|(place, _)| place as u32)
}
