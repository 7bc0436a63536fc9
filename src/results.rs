//! What a study found: the one structure that feeds every output.
//!
//! SI units; every key carries its unit in its name. Nothing here computes.

pub mod answers;
pub mod comparison;
pub mod design;
pub(crate) mod finite;
mod kind;
pub mod lesson;
pub mod reasons;
mod sound;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::linear::Source;
use crate::model::controller::Kind;
pub use crate::scenario::{Assumption, Known, ScenarioStamp};
use answers::Answers;
use reasons::{Believe, LeftOut, Warning};

/// Version of the layout of [`Results`], raised when a key changes its meaning or goes.
pub const SCHEMA_VERSION: u32 = 3;

/// Confidence level of every interval.
pub const LEVEL: f64 = 0.95;

/// Rates below this are told as rarer than it only, where farms like this one are spoken of.
pub use crate::unknowns::limits::RAREST;

/// Results of one study.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Results {
    /// [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The program.
    pub tool: Tool,
    /// The scenario.
    pub scenario: ScenarioStamp,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Simulated passes at each speed.
    pub passes: u64,
    /// Tick of valve and frame, s; the tractor takes steps of up to four.
    pub step_s: f64,
    /// False if the study was cut short, by Ctrl-C or by its time.
    pub complete: bool,
    /// Confidence level of every interval.
    pub level: f64,
    /// Length of a pass, m.
    pub length_m: f64,
    /// First stretch after lowering, m: its rates stand beside those of the rest.
    pub entry_length_m: f64,
    /// Length of the rows that every rate, cost and answer holds for, m: the entry stretch once, and the rest at the rates of the pass's
    /// rest.
    pub row_length_m: f64,
    /// Share of the plants that the scenario allows to be cut, on the whole row.
    pub allowed_cut_rate: f64,
    /// Clearance that the scenario works with, m, one of `clearances_m`.
    pub working_clearance_m: f64,
    /// Speed that the scenario works at, m/s, one of `speeds_m_s`.
    pub working_speed_m_s: f64,
    /// Simulated speeds, m/s, rising.
    pub speeds_m_s: Vec<f64>,
    /// Clearances, m, rising.
    pub clearances_m: Vec<f64>,
    /// The controllers in output order, with the reason where one was left out.
    pub controllers: Vec<ControllerNote>,
    /// Shares of plants cut and touched, setting by setting: on the whole row, in its entry stretch and on its rest.
    pub rates: Vec<Rate>,
    /// Share of plants cut in every row, whole, at the working clearance and speed.
    pub rows: Vec<RowRate>,
    /// Differences of the share of plants cut on whole rows, at the working clearance, between settings that met the same passes.
    pub differences: Vec<Difference>,
    /// The pass that cuts most, under every controller at the working clearance and speed.
    pub worst_passes: Vec<WorstPass>,
    /// Passes in which the tractor lost the row: it stood across it, far off it, or fell short of its end. The plants that it never met
    /// count as cut. Speeds at which none did are left out.
    pub lost_passes: Vec<LostPasses>,
    /// Settings at the working clearance of which these passes do not tell whether they keep the allowed rate.
    pub undecided: Vec<Undecided>,
    /// How well the tools follow the row.
    pub tracking: Vec<Tracking>,
    /// Linear error budget by source.
    pub error_budget: Vec<BudgetShare>,
    /// Stability margins of every feedback loop.
    pub loops: Vec<LoopMargins>,
    /// Every value of the scenario with its origin.
    pub assumptions: Vec<Assumption>,
    /// What to look out for.
    pub warnings: Vec<Warning>,
    /// What is not known of the farm, and how much of the doubt each carries; empty where all is known.
    pub unknowns: Vec<UnknownValue>,
    /// Share of farms like this one on which what is recommended must hold, 0 to 1.
    pub assurance: f64,
    /// Standard deviation of the logarithm of the plants cut between fields that no unknown explains, at the setting that the answers speak
    /// of; null where all is known or nothing can be told.
    pub farm_scatter: Option<f64>,
    /// Why nothing is told of farms like this one although something is not known.
    pub no_farms: Option<NoFarms>,
    /// The short answer.
    pub answer: Answer,
    /// What follows for engineer, dealer, grower and workshop.
    pub answers: Answers,
}

/// The program that made the results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl Tool {
    /// This program.
    pub fn this() -> Tool {
        Tool {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }
}

/// Whether a controller ran.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ControllerNote {
    /// The controller.
    pub controller: Kind,
    /// Why it was left out, or null.
    pub left_out: Option<LeftOut>,
}

/// A part of the row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Stretch {
    /// All of it.
    Whole,
    /// From lowering to the end of the entry stretch.
    Entry,
    /// What comes after it.
    Rest,
}

impl Stretch {
    /// Every stretch, in output order.
    pub const ALL: [Stretch; 3] = [Stretch::Whole, Stretch::Entry, Stretch::Rest];

    /// Its name in every output.
    pub fn name(self) -> &'static str {
        match self {
            Stretch::Whole => "whole",
            Stretch::Entry => "entry",
            Stretch::Rest => "rest",
        }
    }
}

/// A share of the plants with its limits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Share {
    /// The share: the mean over passes of what is expected of each, given its path, over the scatter of the plants.
    pub rate: f64,
    /// Lower Korn-Graubard limit.
    pub lower: f64,
    /// Upper Korn-Graubard limit.
    pub upper: f64,
}

/// What one controller does at one speed and clearance on one stretch of the row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Rate {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Part of the row.
    pub stretch: Stretch,
    /// Plants cut: an edge passes through the stem. A plant that a lost pass never meets counts as cut.
    pub cut: Share,
    /// Plants touched: an edge comes within the protected radius and spares the stem.
    pub touched: Share,
    /// Plants expected in all passes.
    pub plants: u64,
    /// Passes.
    pub passes: u64,
    /// What farms like this one may see, on whole rows; left out where all is known, or where nothing can be told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known: Option<FarmRates>,
    /// False where the worst 1 % of passes (at least one) carry more than a quarter of the share cut, where it is worth fewer than ten
    /// independent plants by the spread at smaller clearances, or where nothing was cut: the limits then rest on that spread or on the
    /// number of passes alone.
    pub resolved: bool,
}

/// What farms like this one may see of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FarmRates {
    /// Plants cut.
    pub cut: FarmShare,
    /// Plants touched.
    pub touched: FarmShare,
    /// Share of the plants cut that `assurance` of the farms do not exceed.
    pub assured_cut: f64,
    /// True if fields of thousands of points were worked out from those simulated, and left out then; false where these alone tell, with
    /// the scatter of their few passes.
    #[serde(default = "yes", skip_serializing_if = "Clone::clone")]
    pub fitted: bool,
}

fn yes() -> bool {
    true
}

/// A share of plants over farms like this one, to four digits. 0.0001 stands for 1 in 10,000 or rarer: a few passes over each field miss
/// what is rarer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FarmShare {
    /// On 1 farm in 20 it is no more.
    pub p05: f64,
    /// On every second farm.
    pub p50: f64,
    /// On 19 farms in 20 it is no more.
    pub p95: f64,
}

/// A value that is not known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UnknownValue {
    /// Key in the scenario file.
    pub key: String,
    /// Least value, of a normal law its 5 % point, in the SI unit of the key.
    pub from: f64,
    /// Greatest value, of a normal law its 95 % point.
    pub to: f64,
    /// How likely values between are.
    pub law: LawName,
    /// How the range is known.
    pub known: Known,
    /// "scenario", a source, or "assumed".
    pub source: String,
    /// Share of the doubt in the plants cut that it carries, 0 to 1.
    pub share_of_rate: Option<f64>,
    /// Share of the doubt in the assured speed that it carries, 0 to 1.
    pub share_of_speed: Option<f64>,
    /// Share of the doubt in what a setting costs that it carries, 0 to 1: farms differ in cost by the plants lost.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share_of_cost: Option<f64>,
}

/// Name of a law of [`crate::unknowns::law`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LawName {
    /// Every value is as likely.
    Uniform,
    /// Every ratio is as likely.
    LogUniform,
    /// Bell curve.
    Normal,
}

/// Why nothing is told of farms like this one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", tag = "why")]
pub enum NoFarms {
    /// The study went over too few fields.
    FewFields {
        /// Fields.
        fields: u32,
        /// At least so many are needed.
        needed: u32,
    },
    /// Its sums are no numbers.
    Broken,
}

impl Rate {
    /// What decides whether a setting keeps the allowed rate: on farms like this one the assured share, where all is known the upper limit.
    pub fn decisive(&self) -> f64 {
        self.known.map_or(self.cut.upper, |known| known.assured_cut)
    }
}

impl Results {
    /// Rates on whole rows, in the order of `rates`.
    pub fn whole_rows(&self) -> impl Iterator<Item = &Rate> {
        self.rates
            .iter()
            .filter(|rate| rate.stretch == Stretch::Whole)
    }

    /// The rate of one simulated setting on one stretch; `None` if it was not simulated.
    pub fn rate(
        &self,
        stretch: Stretch,
        controller: Kind,
        speed_m_s: f64,
        clearance_m: f64,
    ) -> Option<&Rate> {
        let speed = place(&self.speeds_m_s, speed_m_s)?;
        let clearance = place(&self.clearances_m, clearance_m)?;
        self.rate_at(stretch, controller, speed, clearance)
    }

    /// The same by the places of speed and clearance in their lists. The rates stand controller by controller, speed by speed, stretch by
    /// stretch, clearance by clearance.
    pub fn rate_at(
        &self,
        stretch: Stretch,
        controller: Kind,
        speed: usize,
        clearance: usize,
    ) -> Option<&Rate> {
        let kind = self.ran().position(|ran| ran == controller)?;
        let (speeds, clearances) = (self.speeds_m_s.len(), self.clearances_m.len());
        if speed >= speeds || clearance >= clearances {
            return None;
        }
        let cell = (kind * speeds + speed) * Stretch::ALL.len() + stretch as usize;
        self.rates.get(cell * clearances + clearance)
    }

    /// Rates on whole rows under one controller at one clearance, speed by speed.
    pub fn over_speed(&self, controller: Kind, clearance_m: f64) -> impl Iterator<Item = &Rate> {
        let clearance = place(&self.clearances_m, clearance_m);
        (0..self.speeds_m_s.len())
            .filter_map(move |speed| self.rate_at(Stretch::Whole, controller, speed, clearance?))
    }

    /// Rates on whole rows under one controller at one speed, clearance by clearance.
    pub fn over_clearance(&self, controller: Kind, speed_m_s: f64) -> impl Iterator<Item = &Rate> {
        let speed = place(&self.speeds_m_s, speed_m_s);
        (0..self.clearances_m.len()).filter_map(move |clearance| {
            self.rate_at(Stretch::Whole, controller, speed?, clearance)
        })
    }

    /// The controllers that ran, in output order.
    pub fn ran(&self) -> impl Iterator<Item = Kind> {
        self.controllers
            .iter()
            .filter(|note| note.left_out.is_none())
            .map(|note| note.controller)
    }

    /// The rate of one controller at the working speed and clearance, on the whole row.
    pub fn at_work(&self, controller: Kind) -> Option<&Rate> {
        let (speed_m_s, clearance_m) = (self.working_speed_m_s, self.working_clearance_m);
        self.rate(Stretch::Whole, controller, speed_m_s, clearance_m)
    }
}

/// Where a simulated value stands in its list.
fn place(values: &[f64], value: f64) -> Option<usize> {
    values.iter().position(|&one| one == value)
}

/// Difference of the shares of plants cut on whole rows, over the same passes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Difference {
    /// Controller of the setting.
    pub controller: Kind,
    /// Its speed, m/s.
    pub speed_m_s: f64,
    /// Controller that it is compared with.
    pub against: Kind,
    /// Speed that it is compared with, m/s.
    pub against_speed_m_s: f64,
    /// Clearance of both, m.
    pub clearance_m: f64,
    /// Share of the setting less that of the other: negative if it cuts less.
    pub difference: f64,
    /// Lower limit: Student's interval over the differences pass by pass.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
}

/// A setting that is not clear: its 99 % limits enclose the allowed rate and lie further apart than a fifth of it. Speeds beyond
/// the first that clearly cuts too often are not asked about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Undecided {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Passes that would make it clear, roughly.
    pub passes_needed: u64,
}

/// One row, whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RowRate {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Row, 1 at the left.
    pub row: u32,
    /// Lateral position from the implement's centre, m, left positive.
    pub offset_m: f64,
    /// Its plants cut.
    pub cut: Share,
    /// Its plants expected in all passes.
    pub plants: u64,
    /// See `rates`.
    pub resolved: bool,
}

/// The pass of the study with the highest share of plants cut under one controller at the working clearance and speed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WorstPass {
    /// The controller.
    pub controller: Kind,
    /// Number of the pass in the study, from 0; of several alike the smallest.
    pub pass: u64,
    /// Share of the plants of the whole row expected to be cut; 0 if no pass cuts any.
    pub rate: f64,
}

/// Passes of one speed in which the tractor lost the row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LostPasses {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Number of passes.
    pub passes: u64,
}

/// How the tools follow the row, entry stretch left out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tracking {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Mean tool error, m, left positive.
    pub tool_error_mean_m: f64,
    /// Standard deviation of the tool error about that mean, over all passes, m.
    pub tool_error_sd_m: f64,
    /// Standard error of that standard deviation, m.
    pub tool_error_sd_se_m: f64,
    /// The same standard deviation by the linear check, m; null where there is no linear form.
    pub linear_tool_error_sd_m: Option<f64>,
    /// Standard deviation of the axle's offset from the row (satellite line: from the line), m.
    pub axle_wander_sd_m: f64,
    /// The same by the linear check, m; null for a replay.
    pub linear_axle_wander_sd_m: Option<f64>,
    /// 99.9 % quantile of the unsigned wanted shift, m.
    pub demand_p999_m: f64,
    /// Median of the unsigned wanted shift, m.
    pub demand_p50_m: f64,
    /// 95 % quantile of the unsigned wanted shift, m.
    pub demand_p95_m: f64,
    /// Share of distance with the cylinder at an end stop.
    pub end_stop_share: f64,
    /// Share of camera frames at which the valve is fully open or the command beyond it.
    pub valve_saturated_share: f64,
    /// Share of distance with the tools within 38 mm of the row.
    pub within_38mm_share: f64,
    /// Longest stretch with the tools further than 38 mm from the row, m.
    pub longest_miss_m: f64,
    /// Which to believe where linear and simulated error differ.
    pub believe: Believe,
}

/// Share of one source in the variance of the tool error by the linear check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BudgetShare {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// The source; null for alignment and other errors that are set once a pass.
    pub source: Option<Source>,
    /// Its variance, m²; the shares of a controller and speed add up to the linear variance.
    pub variance_m2: f64,
}

/// Margins of one feedback loop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoopMargins {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Factor on the gain at which the loop turns unstable; null if none does.
    pub gain_margin: Option<f64>,
    /// Phase margin, rad; null if the loop gain never crosses 1.
    pub phase_margin_rad: Option<f64>,
    /// Smallest distance of the loop from the critical point.
    pub modulus_margin: f64,
    /// Speed above which the camera comes too late, `a/(T_c + T_a + tau_F)`, m/s; null for a PID.
    pub critical_speed_m_s: Option<f64>,
}

/// The short answer for the terminal and the top of the report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Answer {
    /// The setting that cuts fewest plants of all simulated ones.
    pub fewest: Option<Choice>,
    /// The fastest setting at the working clearance whose upper limit, and that of every slower speed, keeps the allowed rate,
    /// over all controllers.
    pub fastest: Option<Choice>,
}

/// One simulated setting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Choice {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Plants cut on the whole row.
    pub cut: Share,
}

/// JSON Schema of [`Results`] as they stand in `results.json`.
pub fn schema() -> serde_json::Value {
    schemars::generate::SchemaSettings::draft2020_12()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<Results>()
        .to_value()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_the_schema_asks_for_every_key_with_its_meaning() {
        let schema = schema();
        let required = schema["required"].as_array().unwrap();
        assert!(required.iter().any(|key| key == "rates"));
        let tracking = &schema["$defs"]["Tracking"];
        let keys = tracking["properties"].as_object().unwrap();
        assert_eq!(keys.len(), tracking["required"].as_array().unwrap().len());
        assert!(keys.values().all(|key| key["description"].is_string()));
    }
}
