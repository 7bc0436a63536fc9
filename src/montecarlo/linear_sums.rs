//! The linear check over draws that a study simulates (where fields differ, over the first of them): with distributed parameters its value
//! is the root of the mean variance, and mean errors that differ between passes add their own.

use serde::{Deserialize, Serialize};

use super::exact::Exact;
use crate::linear::{self, ErrorBudget, Source};
use crate::model::controller::Kind;
use crate::model::setup::Setup;

/// Sums over draws: `tool[speed][controller]`, `axle[speed]`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct LinearSums {
    draws: u64,
    tool: Vec<Vec<Option<ToolSums>>>,
    axle: Vec<Option<Exact>>,
}

/// Sums of one cell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct ToolSums {
    shares: Vec<(Source, Exact)>,
    mean_m: Exact,
    mean_sq_m2: Exact,
}

/// What the draws say of one cell.
#[derive(Clone, Debug)]
pub(super) struct LinearCell {
    /// Mean variance by source, m².
    pub shares: Vec<(Source, f64)>,
    /// Variance of the mean error between passes, m².
    pub between_passes_m2: f64,
}

impl LinearCell {
    /// All sources together, m².
    pub fn variance_m2(&self) -> f64 {
        self.shares.iter().map(|share| share.1).sum::<f64>() + self.between_passes_m2
    }
}

impl ToolSums {
    fn new(budget: ErrorBudget) -> Self {
        let mean_m = budget.mean_error_m;
        Self {
            shares: budget
                .shares
                .into_iter()
                .map(|(source, variance_m2)| (source, Exact::of(variance_m2)))
                .collect(),
            mean_m: Exact::of(mean_m),
            mean_sq_m2: Exact::of(mean_m * mean_m),
        }
    }

    fn merge(&mut self, next: &Self) {
        for (mine, theirs) in self.shares.iter_mut().zip(&next.shares) {
            mine.1.merge(theirs.1);
        }
        self.mean_m.merge(next.mean_m);
        self.mean_sq_m2.merge(next.mean_sq_m2);
    }
}

impl LinearSums {
    /// The check of one draw.
    pub fn of(setup: &Setup, speeds_m_s: &[f64], kinds: &[Kind]) -> Self {
        let cell = |kind: Kind, speed_m_s: f64| {
            linear::tool_error(setup, kind, speed_m_s).map(ToolSums::new)
        };
        Self {
            draws: 1,
            tool: speeds_m_s
                .iter()
                .map(|&v| kinds.iter().map(|&kind| cell(kind, v)).collect())
                .collect(),
            axle: speeds_m_s
                .iter()
                .map(|&v| {
                    linear::axle_wander(setup, v).map(|wander| Exact::of(wander.variance_m2()))
                })
                .collect(),
        }
    }

    /// The check of one draw whose variances are known from another: only the mean errors are new.
    pub fn with_means_of(&self, setup: &Setup, speeds_m_s: &[f64], kinds: &[Kind]) -> Self {
        let mut next = self.clone();
        for (cells, &speed_m_s) in next.tool.iter_mut().zip(speeds_m_s) {
            for (cell, &kind) in cells.iter_mut().zip(kinds) {
                if let Some(cell) = cell {
                    let mean_m = linear::mean_error_m(setup, kind, speed_m_s);
                    cell.mean_m = Exact::of(mean_m);
                    cell.mean_sq_m2 = Exact::of(mean_m * mean_m);
                }
            }
        }
        next
    }

    /// Adds other draws.
    pub fn merge(&mut self, next: &LinearSums) {
        if next.draws == 0 {
            return;
        }
        if self.draws == 0 {
            *self = next.clone();
            return;
        }
        self.draws += next.draws;
        for (mine, theirs) in self
            .tool
            .iter_mut()
            .flatten()
            .zip(next.tool.iter().flatten())
        {
            match (mine.as_mut(), theirs) {
                (Some(mine), Some(theirs)) => mine.merge(theirs),
                // One draw without a linear form, and the whole has none.
                _ => *mine = None,
            }
        }
        for (mine, theirs) in self.axle.iter_mut().zip(&next.axle) {
            *mine = mine.zip(*theirs).map(|(mut sum, other)| {
                sum.merge(other);
                sum
            });
        }
    }

    /// One cell; `None` without a linear form.
    pub fn cell(&self, speed: usize, kind: usize) -> Option<LinearCell> {
        let sums = self.tool.get(speed)?.get(kind)?.as_ref()?;
        let draws = self.draws as f64;
        let mean_m = sums.mean_m.value() / draws;
        Some(LinearCell {
            shares: sums
                .shares
                .iter()
                .map(|&(source, sum)| (source, sum.value() / draws))
                .collect(),
            between_passes_m2: (sums.mean_sq_m2.value() / draws - mean_m * mean_m).max(0.0),
        })
    }

    /// Mean variance of the axle's wander, m²; `None` for a replay.
    pub fn axle_m2(&self, speed: usize) -> Option<f64> {
        self.axle
            .get(speed)
            .copied()
            .flatten()
            .map(|sum| sum.value() / self.draws as f64)
    }
}
