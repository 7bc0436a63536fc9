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
const MOST_CONTENDERS: [usize; 2] = [12, 8];

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
    /// The controller of every machine that was looked at: chosen on the first passes, so that no later ones have a say in it.
    settled: BTreeMap<Machine, Kind>,
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
    /// were not left behind there; the best one alone once it is settled.
    fn kinds(&self, machine: &Machine) -> Vec<(Kind, f64)> {
        let own = &self.built[&vec![0; machine.len()]].0.kinds;
        let kinds = self.built[machine].1.iter().copied();
        kinds
            .filter(|(kind, _)| match self.settled.get(machine) {
                Some(settled) => settled == kind,
                None => !own.contains(kind) || self.own_kinds.contains(kind),
            })
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
            asked.extend(
                places
                    .iter()
                    .map(|&at| (&going[at][..], &draws[at] as Draw)),
            );
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
pub fn design(scenario: &Scenario, how: How, watch: &dyn Watch) -> Result<Design, DesignError> {
    let file = || scenario.file().to_string();
    let catalogue = Catalogue::of(scenario);
    let options = catalogue.options();
    if options.is_empty() {
        return Err(DesignError::NothingToChange { file: file() });
    }
    let study = scenario.study();
    let unknown = !scenario.unknowns().is_empty();
    let chosen = whole_fields(how.passes);
    let searched = whole_fields(chosen / SEARCHED)
        .max(FEWEST_SEARCHED)
        .min(chosen);
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
        settled: BTreeMap::new(),
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
    for runner in &first {
        search.settled.insert(runner.machine.clone(), runner.kind);
    }
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
        counted: catalogue.counted,
        currency: scenario.farm().prices.map(|prices| prices.currency),
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
        let (speed_m_s, edge) = runner.curve.of_all(self.asked);
        AssuredSpeed {
            speed_m_s: limited(speed_m_s, &runner.resampled),
            edge,
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
    let free = front
        .iter()
        .rfind(|machine| machine.cost <= 0.0)
        .unwrap_or(own);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::study::Unwatched;
    use crate::results::answers::Edge;
    use crate::results::design::{Counted, OptionName, PartName};
    use crate::scenario::Given;
    use std::io;

    const HOW: How = How {
        seed: 5,
        passes: 64,
        threads: Some(1),
    };

    /// The demo on short passes at few speeds with more text, where everything is known or not.
    fn scenario(known: bool, more: &str) -> Scenario {
        let demo = match known {
            true => crate::scenario::known_demo(),
            false => Scenario::demo().unwrap(),
        };
        let text = demo
            .texts()
            .text
            .replace("length = \"200 m\"\nentry", "length = \"60 m\"\nentry")
            .replace("entry_length = \"15 m\"", "entry_length = \"5 m\"")
            .replace("cut_rate = \"0.5 %\"", "cut_rate = \"1 %\"")
            .replace("row_length = \"200 m\"", "row_length = \"60 m\"")
            .replace(
                "\"5 km/h\", \"6 km/h\", \"8 km/h\", \"10 km/h\", ",
                "\"8 km/h\", ",
            )
            .replace(
                "working_clearance = \"60 mm\"",
                "working_clearance = \"55 mm\"",
            )
            + more;
        let no_files = |_: &str| Err(io::ErrorKind::NotFound.into());
        Scenario::parse(&text, "leeks.toml", &no_files, None).unwrap_or_else(|why| panic!("{why}"))
    }

    /// Prices for a test, no catalogue of anything.
    const OFFERS: &str = r#"
[[offers]]
part = "controller"
name = "delay allowed for"
price = 900
set = { study.controllers = ["lag_compensated"] }

[[offers]]
part = "camera"
name = "quick"
price = 500
set = { camera.frames = "50 Hz", camera.latency = "40 ms" }

[[offers]]
part = "camera"
name = "slow"
price = 10
set = { camera.frames = "10 Hz" }

[[offers]]
part = "stroke"
name = "600 mm"
price = 200
set.hydraulics.stroke = "600 mm"
"#;

    fn with_offers(known: bool) -> Scenario {
        let pid = Given::parse("study.controllers=pid").unwrap();
        scenario(known, OFFERS).changed(&[pid]).unwrap()
    }

    /// Another way to the same speeds: each machine as a scenario of its own, its rate at each speed from its own passes, straight on the
    /// logarithm between them; then the front by its definition. The speeds are the same to rounding, for the passes are.
    #[test]
    fn prop_a_small_catalogue_has_the_front_of_all_its_machines() {
        let base = with_offers(true);
        let found = design(&base, HOW, &Unwatched).unwrap();
        assert_eq!((found.possible, found.simulated), (12, 12));
        assert_eq!((found.assurance, found.impossible), (None, 0));
        let mut all: Vec<(Machine, f64, f64)> = Vec::new();
        for controller in 0..2 {
            for camera in 0..3 {
                for stroke in 0..2 {
                    let mut set = Vec::new();
                    let mut given = |text: &str| set.push(Given::parse(text).unwrap());
                    if controller == 1 {
                        given("study.controllers=lag_compensated");
                    }
                    match camera {
                        1 => {
                            given("camera.frames=50 Hz");
                            given("camera.latency=40 ms");
                        }
                        2 => given("camera.frames=10 Hz"),
                        _ => {}
                    }
                    if stroke == 1 {
                        given("hydraulics.stroke=600 mm");
                    }
                    let cost = [0.0, 900.0][controller]
                        + [0.0, 500.0, 10.0][camera]
                        + [0.0, 200.0][stroke];
                    let one = base.changed(&set).unwrap();
                    all.push((vec![controller, camera, stroke], cost, crossing(&one)));
                }
            }
        }
        let beaten = |own: &(Machine, f64, f64)| {
            all.iter()
                .any(|other| front::beats((other.1, other.2), (own.1, own.2)))
        };
        let mut unbeaten: Vec<_> = all.iter().filter(|own| !beaten(own)).collect();
        unbeaten.sort_by(|a, b| a.1.total_cmp(&b.1));
        // What gains less than is told does not count.
        let mut wanted: Vec<&(Machine, f64, f64)> = Vec::new();
        for one in unbeaten {
            if wanted
                .last()
                .is_none_or(|last| one.2 > last.2 + found.step_m_s)
            {
                wanted.push(one);
            }
        }
        assert!(wanted.len() > 1, "{wanted:?}");
        assert_eq!(
            found.front.len(),
            wanted.len(),
            "{:?} {wanted:?}",
            found.front
        );
        for (machine, (choice, cost, speed_m_s)) in found.front.iter().zip(wanted) {
            let mut own = vec![0; 3];
            for &[part, option] in &machine.changed {
                own[part as usize] = option as usize + 1;
            }
            assert_eq!((&own, machine.cost), (choice, *cost));
            assert!((machine.chosen.speed_m_s.value - speed_m_s).abs() < 1e-9);
        }
        let first = found.first.map(|place| &found.front[place as usize]);
        assert!(first.is_none_or(|machine| machine.cost > 0.0));
    }

    /// The speed at which the rate of the passes of a scenario's best controller reaches the allowed one.
    fn crossing(one: &Scenario) -> f64 {
        let kinds = crate::montecarlo::study::runnable(one);
        let study = one.study();
        let trials = Trials::new(one, HOW.seed, HOW.threads, &Unwatched).unwrap();
        let ask = Ask {
            passes: HOW.passes,
            speeds_m_s: &study.speeds_m_s,
            clearances_m: &[study.working_clearance_m],
        };
        let sample = trials.run(&ask, &kinds, &super::super::trial::as_it_is);
        let sample = sample.unwrap();
        let mut best = 0.0_f64;
        for (place, &kind) in kinds.iter().enumerate() {
            let rates: Vec<f64> = (0..study.speeds_m_s.len())
                .map(|speed| sample.cell(speed, place).estimates()[0].rate)
                .collect();
            let failed = rates.iter().position(|&rate| rate > study.allowed_cut_rate);
            let speed_m_s = match failed {
                Some(0) => study.speeds_m_s[0],
                None => *study.speeds_m_s.last().unwrap(),
                Some(at) => {
                    let ln = |rate: f64| libm::log(rate / study.allowed_cut_rate);
                    let (a, b) = (ln(rates[at - 1]), ln(rates[at]));
                    let (slow, fast) = (study.speeds_m_s[at - 1], study.speeds_m_s[at]);
                    slow + (fast - slow) * a / (a - b)
                }
            };
            let critical = linear::critical_speed(&one.nominal(), kind);
            best = best.max(speed_m_s.min(critical.unwrap_or(f64::INFINITY)));
        }
        best
    }

    /// The same to the last bit on any number of threads, where fields are not known too.
    #[test]
    fn prop_threads_change_nothing() {
        let base = with_offers(false);
        let of = |threads| design(&base, How { threads, ..HOW }, &Unwatched).unwrap();
        let one = of(Some(1));
        assert_eq!(one, of(Some(3)));
        assert_eq!(one.assurance, Some(0.8));
        // Every number is one.
        assert_eq!(crate::results::finite::first_not_finite(&one), None);
        for machine in std::iter::once(&one.own).chain(&one.front) {
            let of = machine.fresh.speed_m_s;
            assert!(of.lower <= of.value && of.value <= of.upper);
            assert!((0.0..=1.0).contains(&machine.unbeaten));
        }
        assert!(one.own.gain_m_s.is_nothing());
    }

    /// Without offers: what the scenario has no price for is counted where nothing has a price, and left out where something has.
    #[test]
    fn regress_known_changes_are_counted_or_priced() {
        let bare = Catalogue::of(&scenario(true, ""));
        assert_eq!(bare.counted, Counted::Parts);
        let parts: Vec<PartName> = bare.told().into_iter().map(|part| part.part).collect();
        for part in [PartName::Frames, PartName::Valve, PartName::Stroke] {
            assert!(parts.contains(&part), "{parts:?}");
        }
        // The demo runs every controller already.
        assert!(!parts.contains(&PartName::Controller));
        let all = vec![1; parts.len()];
        assert_eq!(bare.cost(&all), parts.len() as f64);
        let priced = "\n[change_prices]\nmore_frames = 700\nproportional_valve = 2000\nlag_compensation = 800\n";
        let locked = Given::parse("study.controllers=locked").unwrap();
        let priced = scenario(true, priced).changed(&[locked]).unwrap();
        let priced = Catalogue::of(&priced);
        assert_eq!(priced.counted, Counted::Prices);
        let told = priced.told();
        let frames = told.iter().find(|part| part.part == PartName::Frames);
        assert_eq!(frames.unwrap().options[0].price, Some(700.0));
        let controllers = &told
            .iter()
            .find(|part| part.part == PartName::Controller)
            .unwrap()
            .options;
        let prices: Vec<Option<f64>> = controllers.iter().map(|option| option.price).collect();
        // Lag compensation rests on the valve; the yaw-rate sensor and the on-off valve have no price.
        assert_eq!(prices, [Some(2000.0), Some(2800.0)]);
        let quick = OptionName::Change(crate::results::answers::Change::QuickValve);
        assert!(priced.without_price.contains(&quick));
    }

    /// By hand: 300 for 0.5 m/s is more for the money than 900 for 1 m/s, but where the field allows 0.3 m/s only, 900 buys no more than
    /// 300 does; a gain that may be none is no answer.
    #[test]
    fn analytic_what_to_buy_first() {
        let machine = |cost: f64, speed_m_s: f64, sure: bool| {
            let of = |value: f64, by: f64| Limited {
                value,
                lower: value - by,
                upper: value + by,
            };
            let assured = AssuredSpeed {
                speed_m_s: of(speed_m_s, 0.1),
                edge: Edge::Within,
            };
            DesignMachine {
                changed: Vec::new(),
                controller: Kind::Pid,
                cost,
                chosen: assured,
                fresh: assured,
                gain_m_s: of(speed_m_s - 2.0, if sure { 0.01 } else { 9.0 }),
                step_gain_m_s: (cost > 0.0).then(|| of(0.2, if sure { 0.01 } else { 9.0 })),
                unbeaten: 1.0,
            }
        };
        let own = machine(0.0, 2.0, true);
        let front = [
            own.clone(),
            machine(300.0, 2.5, true),
            machine(900.0, 3.0, true),
        ];
        assert_eq!(first_to_buy(&own, &front, None), Some(1));
        let limit = |speed_m_s: f64| {
            Some(FieldLimit {
                cause: Bound::ThrownSoil,
                speed_m_s,
            })
        };
        assert_eq!(first_to_buy(&own, &front, limit(2.3)), Some(1));
        assert_eq!(first_to_buy(&own, &front, limit(1.9)), None);
        let unsure = [
            own.clone(),
            machine(300.0, 2.5, false),
            machine(900.0, 3.0, true),
        ];
        assert_eq!(first_to_buy(&own, &unsure, None), Some(2));
        assert_eq!(first_to_buy(&own, std::slice::from_ref(&own), None), None);
    }
}
