//! Sums to results: rates with limits, tracking, budget, margins and the short answer.

use super::contrast::{Setting, contrasts};
use super::decide::undecided;
use super::estimate::korn_graubard;
use super::plan::{Plan, working_clearance};
use super::saved::Saved;
use super::sums::Sums;
use super::tally::Tally;
use crate::linear;
use crate::model::controller::Kind;
use crate::results::answers::Answers;
use crate::results::reasons::{Believe, LeftOut, Warning};
use crate::results::{
    Answer, BudgetShare, Choice, ControllerNote, Difference, LEVEL, LoopMargins, LostPasses, Rate,
    Results, RowRate, SCHEMA_VERSION, Stretch, Tool, Tracking, Undecided, WorstPass,
};
use crate::scenario::Scenario;

/// Share of distance or frames from which on a limit of stroke or flow is said to bind.
const BINDING_SHARE: f64 = 0.001;

/// Results of a study from its sums.
pub(super) fn results(plan: &Plan, kinds: &[Kind], saved: &Saved, complete: bool) -> Results {
    let (sums, passes) = (&saved.sums, saved.passes());
    let scenario = plan.scenario;
    let study = scenario.study();
    let run = scenario.nominal().run;
    let cells = Cells {
        scenario,
        kinds,
        sums,
        passes,
    };
    let rates = cells.rates();
    let mut warnings = scenario.warnings();
    let lost_passes = cells.lost_passes();
    warnings.extend((!lost_passes.is_empty()).then_some(Warning::LostRow));
    warnings.extend(warn_unresolved(&rates));
    let answer = answer(scenario, kinds, &rates);
    Results {
        schema_version: SCHEMA_VERSION,
        tool: Tool::this(),
        scenario: scenario.stamp(),
        seed: plan.seed,
        passes,
        step_s: run.step_s,
        complete,
        level: LEVEL,
        length_m: run.length_m,
        entry_length_m: run.entry_length_m,
        row_length_m: run.row_length_m,
        allowed_cut_rate: study.allowed_cut_rate,
        working_clearance_m: study.working_clearance_m,
        working_speed_m_s: study.working_speed_m_s,
        speeds_m_s: study.speeds_m_s.clone(),
        clearances_m: study.clearances_m.clone(),
        controllers: controller_notes(scenario),
        rows: cells.rows(),
        differences: cells.differences(),
        worst_passes: cells.worst_passes(),
        lost_passes,
        undecided: cells.undecided(),
        loops: cells.loops(),
        assumptions: scenario.assumptions(),
        tracking: cells.tracking(),
        error_budget: cells.error_budget(),
        rates,
        warnings,
        unknowns: Vec::new(),
        assurance: study.assurance,
        farm_scatter: None,
        no_farms: None,
        answer,
        answers: Answers::default(),
    }
}

fn controller_notes(scenario: &Scenario) -> Vec<ControllerNote> {
    let setup = scenario.nominal();
    Kind::ALL
        .into_iter()
        .map(|kind| {
            let asked = scenario.study().controllers.contains(&kind);
            let left_out = if asked {
                kind.lacks(&setup).map(|part| LeftOut::Lacks { part })
            } else {
                Some(LeftOut::NotAskedFor)
            };
            ControllerNote {
                controller: kind,
                left_out,
            }
        })
        .collect()
}

/// Every speed under every controller.
struct Cells<'a> {
    scenario: &'a Scenario,
    kinds: &'a [Kind],
    sums: &'a Sums,
    passes: u64,
}

impl Cells<'_> {
    /// Calls `cell(controller, speed, indices, tally)` controller by controller, speed by speed.
    fn each<T>(&self, mut cell: impl FnMut(Kind, f64, (usize, usize), &Tally) -> T) -> Vec<T> {
        let speeds = &self.scenario.study().speeds_m_s;
        let mut all = Vec::with_capacity(self.kinds.len() * speeds.len());
        for (k, &kind) in self.kinds.iter().enumerate() {
            for (v, &speed_m_s) in speeds.iter().enumerate() {
                all.push(cell(kind, speed_m_s, (v, k), &self.sums.tallies[v][k]));
            }
        }
        all
    }

    fn rates(&self) -> Vec<Rate> {
        let clearances_m = &self.scenario.study().clearances_m;
        let by_cell = self.each(|kind, speed_m_s, _, tally| {
            let of_stretch = |stretch: Stretch| {
                let fates = tally.on(stretch);
                let cut = korn_graubard(&fates.cut, LEVEL);
                let touched = korn_graubard(&fates.touched, LEVEL);
                let cells = clearances_m.iter().zip(cut).zip(touched).zip(&fates.cut);
                let rates = cells.map(|(((&clearance_m, cut), touched), sums)| Rate {
                    controller: kind,
                    speed_m_s,
                    clearance_m,
                    stretch,
                    cut: cut.share(),
                    touched: touched.share(),
                    plants: sums.plants().round() as u64,
                    passes: self.passes,
                    known: None,
                    resolved: cut.resolved,
                });
                rates.collect::<Vec<_>>()
            };
            Stretch::ALL.map(of_stretch).concat()
        });
        by_cell.into_iter().flatten().collect()
    }

    fn rows(&self) -> Vec<RowRate> {
        let study = self.scenario.study();
        let offset_m = self.scenario.nominal().rows.offset_m;
        let working = working_clearance(self.scenario);
        let by_cell = self.each(|kind, speed_m_s, _, tally| {
            if speed_m_s != study.working_speed_m_s {
                return Vec::new();
            }
            let rows = tally.rows.iter().enumerate().filter_map(|(row, sums)| {
                let clearance = working?;
                let estimate = korn_graubard(sums, LEVEL)[clearance];
                Some(RowRate {
                    controller: kind,
                    speed_m_s,
                    clearance_m: study.working_clearance_m,
                    row: row as u32 + 1,
                    offset_m: offset_m[row],
                    cut: estimate.share(),
                    plants: sums[clearance].plants().round() as u64,
                    resolved: estimate.resolved,
                })
            });
            rows.collect()
        });
        by_cell.into_iter().flatten().collect()
    }

    fn differences(&self) -> Vec<Difference> {
        let study = self.scenario.study();
        let name = |at: Setting| self.kinds[at.kind];
        let speed_m_s = |at: Setting| study.speeds_m_s[at.speed];
        contrasts(study, self.kinds.len())
            .into_iter()
            .zip(self.sums.differences.limits(LEVEL))
            .map(|(contrast, (difference, lower, upper))| Difference {
                controller: name(contrast.of),
                speed_m_s: speed_m_s(contrast.of),
                against: name(contrast.against),
                against_speed_m_s: speed_m_s(contrast.against),
                clearance_m: study.working_clearance_m,
                difference,
                lower,
                upper,
            })
            .collect()
    }

    fn worst_passes(&self) -> Vec<WorstPass> {
        let by_kind = self.kinds.iter().zip(&self.sums.worst_passes);
        by_kind
            .filter_map(|(kind, worst)| {
                let (pass, rate) = worst.found()?;
                Some(WorstPass {
                    controller: *kind,
                    pass,
                    rate,
                })
            })
            .collect()
    }

    fn lost_passes(&self) -> Vec<LostPasses> {
        let speeds = self.scenario.study().speeds_m_s.iter();
        speeds
            .zip(&self.sums.lost_passes)
            .filter(|&(_, &passes)| passes > 0)
            .map(|(&speed_m_s, &passes)| LostPasses { speed_m_s, passes })
            .collect()
    }

    fn undecided(&self) -> Vec<Undecided> {
        let study = self.scenario.study();
        undecided(self.scenario, self.sums)
            .into_iter()
            .map(|(kind, open)| Undecided {
                controller: self.kinds[kind],
                speed_m_s: study.speeds_m_s[open.speed],
                clearance_m: study.working_clearance_m,
                passes_needed: open.passes_needed,
            })
            .collect()
    }

    fn tracking(&self) -> Vec<Tracking> {
        self.each(|kind, speed_m_s, (v, k), tally| {
            let spread = tally.tool_error.spread().unwrap_or(NO_SPREAD);
            let linear = self.sums.linear.cell(v, k);
            // Kept with the first controller only: the rows want the same under all.
            let demand = &self.sums.tallies[v][0].demand;
            let share = |count: u64, of: u64| count as f64 / of.max(1) as f64;
            let end_stop_share = share(tally.stop_ticks, tally.ticks);
            let valve_saturated_share = share(tally.saturated_frames, tally.frames);
            // The linear check knows no limit: where one binds, the simulation alone is right.
            let binds = end_stop_share > BINDING_SHARE || valve_saturated_share > BINDING_SHARE;
            let believe = match linear {
                None => Believe::SimulatedOnly,
                Some(_) if binds => Believe::Simulated,
                Some(_) => Believe::Either,
            };
            Tracking {
                controller: kind,
                speed_m_s,
                tool_error_mean_m: spread.mean,
                tool_error_sd_m: spread.sd,
                tool_error_sd_se_m: spread.sd_se,
                linear_tool_error_sd_m: linear.map(|cell| cell.variance_m2().sqrt()),
                axle_wander_sd_m: tally.axle.spread().unwrap_or(NO_SPREAD).sd,
                linear_axle_wander_sd_m: self.sums.linear.axle_m2(v).map(f64::sqrt),
                demand_p999_m: demand.quantile_m(0.999).unwrap_or(0.0),
                demand_p50_m: demand.quantile_m(0.5).unwrap_or(0.0),
                demand_p95_m: demand.quantile_m(0.95).unwrap_or(0.0),
                end_stop_share,
                valve_saturated_share,
                within_38mm_share: share(tally.near_ticks, tally.ticks),
                longest_miss_m: tally.longest_miss_m,
                believe,
            }
        })
    }

    fn error_budget(&self) -> Vec<BudgetShare> {
        let by_cell = self.each(|kind, speed_m_s, (v, k), _| {
            let Some(cell) = self.sums.linear.cell(v, k) else {
                return Vec::new();
            };
            let between = (cell.between_passes_m2 > 0.0).then_some((None, cell.between_passes_m2));
            let shares = cell
                .shares
                .iter()
                .map(|&(source, variance_m2)| (Some(source), variance_m2));
            shares
                .filter(|share| share.1 > 0.0)
                .chain(between)
                .map(|(source, variance_m2)| BudgetShare {
                    controller: kind,
                    speed_m_s,
                    source,
                    variance_m2,
                })
                .collect()
        });
        by_cell.into_iter().flatten().collect()
    }

    fn loops(&self) -> Vec<LoopMargins> {
        let setup = self.scenario.nominal();
        let by_cell = self.each(|kind, speed_m_s, _, _| {
            linear::margins(&setup, kind, speed_m_s).map(|margins| LoopMargins {
                controller: kind,
                speed_m_s,
                gain_margin: margins.gain,
                phase_margin_rad: margins.phase_rad,
                modulus_margin: margins.modulus,
                critical_speed_m_s: linear::critical_speed(&setup, kind),
            })
        });
        by_cell.into_iter().flatten().collect()
    }
}

const NO_SPREAD: super::estimate::Spread = super::estimate::Spread {
    mean: 0.0,
    sd: 0.0,
    sd_se: 0.0,
};

fn warn_unresolved(rates: &[Rate]) -> Option<Warning> {
    let whole: Vec<&Rate> = (rates.iter())
        .filter(|rate| rate.stretch == Stretch::Whole)
        .collect();
    let none = whole.iter().filter(|rate| rate.cut.rate == 0.0).count();
    let hanging = whole.iter().filter(|rate| !rate.resolved).count() - none;
    (hanging > 0 || none > 0).then_some(Warning::FewPasses {
        hanging: hanging as u32,
        none: none as u32,
        of: whole.len() as u32,
    })
}

/// The short answer.
pub(super) fn answer(scenario: &Scenario, kinds: &[Kind], rates: &[Rate]) -> Answer {
    let study = scenario.study();
    let choice = |rate: &Rate| Choice {
        controller: rate.controller,
        speed_m_s: rate.speed_m_s,
        clearance_m: rate.clearance_m,
        cut: rate.cut,
    };
    let whole = || (rates.iter()).filter(|rate| rate.stretch == Stretch::Whole);
    // Where several settings cut nothing, the narrowest and then the fastest of them says most.
    let fewest = whole().min_by(|a, b| {
        (a.cut.rate.total_cmp(&b.cut.rate))
            .then(a.clearance_m.total_cmp(&b.clearance_m))
            .then(b.speed_m_s.total_cmp(&a.speed_m_s))
            .then(a.cut.upper.total_cmp(&b.cut.upper))
    });
    let at_work = |kind: Kind| {
        whole().filter(move |rate| {
            rate.controller == kind && rate.clearance_m == study.working_clearance_m
        })
    };
    let keeps = |rate: &&Rate| rate.decisive() <= study.allowed_cut_rate;
    let fastest = kinds
        .iter()
        .filter_map(|&kind| at_work(kind).take_while(keeps).last())
        .min_by(|a, b| {
            b.speed_m_s
                .total_cmp(&a.speed_m_s)
                .then(a.cut.upper.total_cmp(&b.cut.upper))
        });
    Answer {
        fewest: fewest.map(choice),
        fastest: fastest.map(choice),
    }
}
