//! What a comparison of machines and a sweep over keys found.

use crate::linear::Unstable;
use crate::model::controller::Kind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::answers::{Limited, Pays};
use super::{ScenarioStamp, Tool};

/// Machines beside one another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// The program.
    pub tool: Tool,
    /// Confidence level of every interval.
    pub level: f64,
    /// The machines; the others are held against the first.
    pub machines: Vec<Compared>,
}

/// Where the numbers of a machine come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// Simulated for the comparison, on the passes of all other simulated machines.
    Simulated,
    /// A study that was finished before, on its own passes.
    Study,
}

/// One machine with its best controller at work.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Compared {
    /// The scenario.
    pub scenario: ScenarioStamp,
    /// Where the numbers come from.
    pub source: Source,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Passes at each speed.
    pub passes: u64,
    /// False if it is a study that was cut short.
    pub complete: bool,
    /// Share of plants that may be cut.
    pub allowed_cut_rate: f64,
    /// Speed at work, m/s: a study's own, for all simulated machines that of the first of them.
    pub speed_m_s: f64,
    /// Clearance at work, m, likewise.
    pub clearance_m: f64,
    /// The best controller there.
    pub controller: Kind,
    /// Share of plants cut there.
    pub cut: Limited,
    /// Highest speed that keeps the allowed share at that clearance; null if no simulated one does.
    pub highest: Option<Highest>,
    /// Share of plants cut at every simulated speed, at that clearance and under that controller.
    pub rates: Vec<AtSpeed>,
    /// The difference from the first machine; null for that one itself.
    pub against_first: Option<Against>,
}

/// The highest speed that keeps the allowed share of plants cut.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Highest {
    /// The speed, m/s.
    pub speed_m_s: f64,
    /// Its lower limit, m/s; null for a study, which holds none.
    pub lower: Option<f64>,
    /// Its upper limit, m/s; null likewise.
    pub upper: Option<f64>,
    /// True if the simulated speeds end there.
    pub at_least: bool,
}

/// The share of plants cut at a speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AtSpeed {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Share of plants cut.
    pub cut: Limited,
}

/// A machine held against the first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Against {
    /// True if both met the same passes, so that the limits are those of the difference pass by pass; else they are made of the limits
    /// of both shares.
    pub paired: bool,
    /// Share of plants cut at work less that of the first machine.
    pub difference: Limited,
    /// Each machine with its best controller at work, then every controller that both have; only where both met the same passes.
    pub pairs: Vec<Pair>,
}

/// A controller of the first machine and one of another, on the same passes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pair {
    /// Controller of the first machine.
    pub first_controller: Kind,
    /// Controller of the other machine.
    pub other_controller: Kind,
    /// Share of plants cut by the first machine at work.
    pub first_rate: Limited,
    /// Share of plants cut by the other machine at work.
    pub other_rate: Limited,
    /// Rate of the other less that of the first, pass by pass.
    pub difference: Limited,
    /// Speed and room that the other machine gains.
    pub gains: Pays,
}

/// A machine with one or two of its values changed through a list, on the same passes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sweep {
    /// The program.
    pub tool: Tool,
    /// The scenario.
    pub scenario: ScenarioStamp,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Passes with every value.
    pub passes: u64,
    /// Confidence level of every interval.
    pub level: f64,
    /// Share of plants that the scenario allows to be cut.
    pub allowed_cut_rate: f64,
    /// Working speed of the scenario as it stands, m/s.
    pub working_speed_m_s: f64,
    /// Working clearance of the scenario as it stands, m.
    pub working_clearance_m: f64,
    /// The keys, one or two, as in `camera.latency`.
    pub over: Vec<SweptKey>,
    /// The best controller of the scenario as it stands.
    pub controller: Kind,
    /// The scenario as it stands: what the others are held against.
    pub own: Swept,
    /// The scenario with every value, or every pair of values, in the order asked for; the last key runs fastest.
    pub settings: Vec<Swept>,
}

/// A key that was changed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SweptKey {
    /// Key with its table.
    pub key: String,
    /// What it means.
    pub meaning: String,
    /// Its value in the scenario as it stands, as written there or by default; null if nothing holds.
    pub own: Option<String>,
}

/// The scenario with some values.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Swept {
    /// The values, as written.
    pub values: Vec<String>,
    /// The same in SI where they are single numbers.
    pub numbers: Vec<Option<f64>>,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Every controller that the machine can run.
    pub controllers: Vec<SweptController>,
}

/// What one controller makes of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SweptController {
    /// Fixed name.
    pub controller: Kind,
    /// Why it was not run: its loop is unstable, by how much, and what would do.
    pub unstable: Option<Unstable>,
    /// Share of plants cut; null if it was not run.
    pub cut: Option<Limited>,
    /// That share less the one of the scenario as it stands, pass by pass; null where either was not run.
    pub difference: Option<Limited>,
}
