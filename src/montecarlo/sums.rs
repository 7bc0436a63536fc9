//! Everything that the passes of a study add up to, exactly.

use serde::{Deserialize, Serialize};

use super::contrast::{Differences, contrasts};
use super::fields::FieldSums;
use super::linear_sums::LinearSums;
use super::plan::{Plan, runnable};
use super::tally::Tally;
use super::worst_pass::WorstPass;
use crate::scenario::Scenario;

/// Everything that passes add up to: `tallies[speed][controller]`, `worst_passes[controller]` at the working speed and clearance,
/// entry stretch left out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Sums {
    pub tallies: Vec<Vec<Tally>>,
    pub linear: LinearSums,
    pub differences: Differences,
    pub worst_passes: Vec<WorstPass>,
    /// Passes in which the tractor lost the row, by speed.
    pub lost_passes: Vec<u64>,
    /// The first fields one by one; `None` where all is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fields: Option<FieldSums>,
}

impl Sums {
    /// Of no pass.
    pub fn new(scenario: &Scenario) -> Self {
        let study = scenario.study();
        let kinds = runnable(scenario).len();
        let rows = scenario.nominal().rows.offset_m.len();
        let tally = Tally::new(rows, study.clearances_m.len());
        Self {
            tallies: vec![vec![tally; kinds]; study.speeds_m_s.len()],
            linear: LinearSums::default(),
            differences: Differences::new(contrasts(study, kinds).len()),
            worst_passes: vec![WorstPass::default(); kinds],
            lost_passes: vec![0; study.speeds_m_s.len()],
            fields: (!scenario.unknowns().is_empty()).then(FieldSums::default),
        }
    }

    /// Adds other passes; in which order they come does not matter.
    pub fn merge(&mut self, other: &Sums) {
        for (mine, theirs) in self.tallies.iter_mut().zip(&other.tallies) {
            for (mine, theirs) in mine.iter_mut().zip(theirs) {
                mine.merge(theirs);
            }
        }
        self.linear.merge(&other.linear);
        self.differences.merge(&other.differences);
        for (mine, theirs) in self.worst_passes.iter_mut().zip(&other.worst_passes) {
            mine.merge(theirs);
        }
        for (mine, theirs) in self.lost_passes.iter_mut().zip(&other.lost_passes) {
            *mine += theirs;
        }
        if let (Some(mine), Some(theirs)) = (&mut self.fields, &other.fields) {
            mine.merge(theirs);
        }
    }

    /// True if it has the speeds, controllers and clearances of a plan.
    pub fn has_the_shape_of(&self, plan: &Plan) -> bool {
        let shape = |sums: &Sums| -> Vec<Vec<usize>> {
            let kinds =
                |kinds: &Vec<Tally>| kinds.iter().map(|tally| tally.whole.cut.len()).collect();
            sums.tallies.iter().map(kinds).collect()
        };
        let empty = Sums::new(plan.scenario);
        let lists = |sums: &Sums| (sums.worst_passes.len(), sums.lost_passes.len());
        let fields = |sums: &Sums| sums.fields.is_some();
        shape(self) == shape(&empty)
            && lists(self) == lists(&empty)
            && fields(self) == fields(&empty)
    }
}
