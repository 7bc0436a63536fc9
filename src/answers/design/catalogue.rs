//! The parts of a machine and what could take their place: the scenario's offers, or else the changes of one part that the program knows.

use super::front::Machine;
use crate::answers::changes::{self, Step};
use crate::answers::control;
use crate::answers::pays::change_name;
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::study::runnable;
use crate::results::answers::Change;
use crate::results::design::{Counted, DesignOption, DesignPart, OptionName, PartName};
use crate::scenario::{Given, Scenario, ScenarioError};

/// What an option does.
enum Does {
    /// The scenario says something else.
    Says(Vec<Given>),
    /// The machine is changed.
    Changes(Step),
    /// A controller more can be chosen.
    Steers(Kind),
}

struct Choice {
    told: DesignOption,
    does: Does,
}

/// All of it.
pub struct Catalogue {
    /// What machines cost.
    pub counted: Counted,
    /// Changes that have no price while others have one.
    pub without_price: Vec<OptionName>,
    parts: Vec<(PartName, Vec<Choice>)>,
}

/// A machine that is put together.
pub struct Built {
    scenario: Scenario,
    changes: Vec<usize>,
    /// Controllers that it can run.
    pub kinds: Vec<Kind>,
}

impl Built {
    /// What no controller steers.
    pub fn nothing(base: &Scenario) -> Self {
        Self {
            scenario: base.clone(),
            changes: Vec::new(),
            kinds: Vec::new(),
        }
    }
}

impl Catalogue {
    /// The scenario's offers; without any the changes that are known, at the prices of `[change_prices]`.
    pub fn of(scenario: &Scenario) -> Self {
        let mut parts = match scenario.offers() {
            [] => known(scenario),
            _ => offered(scenario),
        };
        let choices = || parts.iter().flat_map(|(_, choices)| choices);
        let is_priced = |choice: &&Choice| choice.told.price.is_some() && !choice.told.assumed;
        let counted = if choices().any(|choice| is_priced(&choice)) {
            Counted::Prices
        } else {
            Counted::Parts
        };
        let mut without_price = Vec::new();
        for (_, choices) in &mut parts {
            match counted {
                Counted::Parts => choices.iter_mut().for_each(|choice| {
                    choice.told.price = None;
                    choice.told.assumed = false;
                }),
                Counted::Prices => choices.retain(|choice| {
                    let priced = choice.told.price.is_some();
                    if !priced {
                        without_price.push(choice.told.name.clone());
                    }
                    priced
                }),
            }
        }
        parts.retain(|(_, choices)| !choices.is_empty());
        Self {
            counted,
            without_price,
            parts,
        }
    }

    /// How many options each part has.
    pub fn options(&self) -> Vec<usize> {
        let parts = self.parts.iter();
        parts.map(|(_, choices)| choices.len()).collect()
    }

    /// What a machine costs: the prices of its options, or one for each.
    pub fn cost(&self, machine: &[usize]) -> f64 {
        let prices = self.chosen(machine);
        let prices = prices.map(|choice| choice.told.price.unwrap_or(1.0));
        // A sum of nothing is minus zero.
        prices.fold(0.0, |sum, price| sum + price)
    }

    /// Puts a machine together.
    ///
    /// # Errors
    ///
    /// Offers that the scenario does not take.
    pub fn build(&self, base: &Scenario, machine: &Machine) -> Result<Built, ScenarioError> {
        let said: Vec<Given> = self
            .chosen(machine)
            .filter_map(|choice| match &choice.does {
                Does::Says(said) => Some(said.clone()),
                _ => None,
            })
            .flatten()
            .collect();
        let scenario = if said.is_empty() {
            base.clone()
        } else {
            base.offered(&said)?
        };
        let mut kinds = runnable(&scenario);
        for choice in self.chosen(machine) {
            if let Does::Steers(kind) = choice.does {
                kinds.push(kind);
            }
        }
        Ok(Built {
            scenario,
            changes: machine.clone(),
            kinds,
        })
    }

    /// A machine in a pass.
    pub fn draw(&self, built: &Built, base: &Scenario, seed: u64, pass: u64) -> Setup {
        self.with_steps(built, built.scenario.draw_beside(base, seed, pass))
    }

    /// A machine with everything at its mean.
    pub fn nominal(&self, built: &Built) -> Setup {
        self.with_steps(built, built.scenario.nominal())
    }

    fn with_steps(&self, built: &Built, mut setup: Setup) -> Setup {
        for choice in self.chosen(&built.changes) {
            if let Does::Changes(step) = &choice.does {
                // No step of a part depends on the speed.
                step.apply(&mut setup, 0.0);
            }
        }
        setup
    }

    fn chosen<'a>(&'a self, machine: &'a [usize]) -> impl Iterator<Item = &'a Choice> {
        let parts = self.parts.iter().zip(machine);
        parts.filter_map(|((_, choices), &option)| choices.get(option.checked_sub(1)?))
    }

    /// For the results.
    pub fn told(&self) -> Vec<DesignPart> {
        let parts = self.parts.iter();
        parts
            .map(|(part, choices)| DesignPart {
                part: part.clone(),
                options: choices.iter().map(|choice| choice.told.clone()).collect(),
            })
            .collect()
    }
}

fn offered(scenario: &Scenario) -> Vec<(PartName, Vec<Choice>)> {
    let mut parts: Vec<(PartName, Vec<Choice>)> = Vec::new();
    for offer in scenario.offers() {
        let name = PartName::Offered(offer.part.clone());
        let choice = Choice {
            told: DesignOption {
                name: OptionName::Offered(offer.name.clone()),
                price: offer.price,
                assumed: false,
            },
            does: Does::Says(offer.set.clone()),
        };
        match parts.iter_mut().find(|(part, _)| *part == name) {
            Some((_, choices)) => choices.push(choice),
            None => parts.push((name, vec![choice])),
        }
    }
    parts
}

/// The part that a change of the machine takes the place of; `None` for what is no part of it.
fn part_of(change: Change) -> Option<PartName> {
    Some(match change {
        Change::LookFurther | Change::LookNearer => PartName::Lookahead,
        Change::MoreFrames => PartName::Frames,
        Change::LessLatency => PartName::Latency,
        Change::SteadyMount => PartName::Mount,
        Change::FinerCamera => PartName::Camera,
        Change::QuickValve => PartName::Valve,
        Change::MoreStroke => PartName::Stroke,
        Change::MoreOil => PartName::Oil,
        _ => return None,
    })
}

/// What is bought on top of one another until a machine has a controller.
const LADDER: [(Kind, Change); 3] = [
    (Kind::Pid, Change::ProportionalValve),
    (Kind::LagCompensated, Change::LagCompensation),
    (Kind::LagCompensatedYaw, Change::YawRateSensor),
];

fn known(scenario: &Scenario) -> Vec<(PartName, Vec<Choice>)> {
    let (setup, farm) = (scenario.nominal(), scenario.farm());
    let present = runnable(scenario);
    let mut parts = Vec::new();
    let choice = |change: Change, price: Option<f64>, does: Does| Choice {
        told: DesignOption {
            name: OptionName::Change(change),
            price,
            assumed: false,
        },
        does,
    };
    // Controllers that the scenario describes and does not name among those that are there.
    let can = |kind: Kind| !present.contains(&kind) && kind.lacks(&setup).is_none();
    let mut controllers = Vec::new();
    if can(Kind::OnOff) && !present.iter().any(|kind| kind.moves()) {
        let change = Change::OnOffValve;
        let price = farm.price_of(&change_name(change));
        controllers.push(choice(change, price, Does::Steers(Kind::OnOff)));
    }
    let mut price = Some(0.0);
    for (kind, change) in LADDER {
        if present.contains(&kind) {
            // From here on only what lies above is bought.
            price = Some(0.0);
            continue;
        }
        let step = farm.price_of(&change_name(change));
        price = price.zip(step).map(|(below, step)| below + step);
        let above = LADDER.iter().skip_while(|(other, _)| *other != kind);
        let is_above = !above.skip(1).any(|(other, _)| present.contains(other));
        if can(kind) && is_above {
            controllers.push(choice(change, price, Does::Steers(kind)));
        }
    }
    if !controllers.is_empty() {
        parts.push((PartName::Controller, controllers));
    }
    let best_lookahead_m = present.iter().rev().find_map(|&kind| {
        let speed_m_s = scenario.study().working_speed_m_s;
        control::answer(&setup, Some(kind), speed_m_s).best_lookahead_m
    });
    let causes = changes::causes(&setup, None, best_lookahead_m, scenario.units());
    for step in causes.into_iter().flat_map(|cause| cause.steps) {
        let Some(part) = part_of(step.change) else {
            continue;
        };
        let price = farm.price_of(&change_name(step.change));
        // Set with a spanner.
        let assumed = price.is_none() && part == PartName::Lookahead;
        let price = if assumed { Some(0.0) } else { price };
        let mut one = choice(step.change, price, Does::Changes(step));
        one.told.assumed = assumed;
        parts.push((part, vec![one]));
    }
    parts
}
