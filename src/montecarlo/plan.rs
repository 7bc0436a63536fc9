//! What to study: a scenario, a seed, and how many passes of it.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use super::fields::whole_fields;
use crate::model::controller::Kind;
use crate::scenario::Scenario;
use crate::sim;

/// Passes of one block: the unit of work, of stopping and of merging.
pub const BLOCK_PASSES: u64 = sim::LANES as u64;

/// Most passes of a study: far more than decide anything, far less than overflow a sum.
pub const MOST_PASSES: u64 = 1_000_000_000;

/// Most parts of a study.
pub const MOST_PARTS: u64 = 100_000;

/// What to study.
#[derive(Clone, Copy, Debug)]
pub struct Plan<'a> {
    /// Scenario.
    pub scenario: &'a Scenario,
    /// Seed of all random numbers; 0 is a seed like any other.
    pub seed: u64,
    /// How far.
    pub until: Until,
    /// Threads; `None`: as many as the machine has cores. Without the feature `program` there is one, whatever stands here.
    pub threads: Option<usize>,
}

impl Plan<'_> {
    /// The same with passes over whole fields, where something is not known.
    pub(crate) fn in_whole_fields(self) -> Self {
        Self {
            until: self.until.of_scenario(self.scenario),
            ..self
        }
    }
}

/// How far a study goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Until {
    /// Exactly so many passes.
    Passes(u64),
    /// Until every setting that matters is clear, see [`super::decide`].
    Decided {
        /// But no more passes than these.
        most_passes: u64,
    },
    /// The passes of one part.
    Share {
        /// The part.
        part: Part,
        /// Passes of all parts together.
        passes: u64,
    },
}

impl Until {
    /// Number of passes that it may take.
    pub fn most_passes(self) -> u64 {
        match self {
            Until::Passes(passes) => passes,
            Until::Decided { most_passes } => most_passes,
            Until::Share { part, passes } => part.passes_of(passes),
        }
    }

    /// The same for a scenario: where something is not known, with passes over whole fields.
    pub fn of_scenario(self, scenario: &Scenario) -> Until {
        if scenario.unknowns().is_empty() {
            return self;
        }
        match self {
            Until::Passes(passes) => Until::Passes(whole_fields(passes)),
            Until::Decided { most_passes } => Until::Decided {
                most_passes: whole_fields(most_passes),
            },
            Until::Share { part, passes } => Until::Share {
                part,
                passes: whole_fields(passes),
            },
        }
    }

    pub(super) fn share(self) -> Option<(Part, u64)> {
        match self {
            Until::Share { part, passes } => Some((part, passes)),
            _ => None,
        }
    }

    /// Number of the first pass.
    pub(super) fn first_pass(self) -> u64 {
        self.share()
            .map_or(0, |(part, passes)| part.span(passes).start)
    }
}

/// One of several equal parts of a study, such as 3 of 8.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Part {
    /// Which one, from 1.
    pub number: u64,
    /// Of how many.
    pub of: u64,
}

impl Part {
    /// Its passes of so many, whole blocks one after the other; none where there are fewer blocks than parts.
    pub fn span(self, passes: u64) -> Range<u64> {
        let blocks = passes.div_ceil(BLOCK_PASSES);
        let end = |number: u64| {
            let blocks = u128::from(blocks) * u128::from(number) / u128::from(self.of.max(1));
            (blocks as u64 * BLOCK_PASSES).min(passes)
        };
        end(self.number.saturating_sub(1))..end(self.number)
    }

    /// The number of these.
    pub fn passes_of(self, passes: u64) -> u64 {
        let span = self.span(passes);
        span.end - span.start
    }
}

/// Controllers of the scenario that its machine can run, in output order.
pub(crate) fn runnable(scenario: &Scenario) -> Vec<Kind> {
    let setup = scenario.nominal();
    let kinds = scenario.study().controllers.iter().copied();
    kinds.filter(|&kind| kind.lacks(&setup).is_none()).collect()
}

/// Index of the working clearance.
pub(super) fn working_clearance(scenario: &Scenario) -> Option<usize> {
    let study = scenario.study();
    let is_working = |&c: &f64| c == study.working_clearance_m;
    study.clearances_m.iter().position(is_working)
}

/// Index of the working speed.
pub(super) fn working_speed(scenario: &Scenario) -> Option<usize> {
    let study = scenario.study();
    let is_working = |&v: &f64| v == study.working_speed_m_s;
    study.speeds_m_s.iter().position(is_working)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every pass belongs to exactly one part, parts follow one another in whole blocks and differ by one block at most.
    #[test]
    fn prop_parts_share_all_passes() {
        for passes in [1, 8, 9, 100, 1000, 10_000_000] {
            for of in [1, 2, 3, 7, 200] {
                let mut next = 0;
                let mut sizes = Vec::new();
                for number in 1..=of {
                    let span = Part { number, of }.span(passes);
                    assert_eq!(span.start, next, "{number}/{of} of {passes}");
                    assert!(span.start.is_multiple_of(BLOCK_PASSES) || span.start == passes);
                    sizes.push((span.end - span.start).div_ceil(BLOCK_PASSES));
                    next = span.end;
                }
                assert_eq!(next, passes);
                assert!(sizes.iter().max().unwrap() - sizes.iter().min().unwrap() <= 1);
            }
        }
    }
}
