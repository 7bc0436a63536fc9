//! What a search for machines found: those that nobody beats on both, cost and assured speed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::answers::{Bound, Change, Edge, Limited};
use super::{ScenarioStamp, Tool};
use crate::model::controller::Kind;

/// The search and its front.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Design {
    /// The program.
    pub tool: Tool,
    /// The scenario: the machine as it stands.
    pub scenario: ScenarioStamp,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Confidence level of every interval.
    pub level: f64,
    /// Share of plants that the scenario allows to be cut.
    pub allowed_cut_rate: f64,
    /// Share of farms like this one on which an assured speed keeps it; null where everything is known.
    pub assurance: Option<f64>,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Slowest and fastest speed that was simulated, m/s.
    pub speeds_m_s: [f64; 2],
    /// What machines cost.
    pub counted: Counted,
    /// Currency of the prices; null if the scenario names none.
    pub currency: Option<String>,
    /// The parts and what could take their place.
    pub parts: Vec<DesignPart>,
    /// Changes that were left out because they have no price while others have one.
    pub without_price: Vec<OptionName>,
    /// Machines that can be put together.
    pub possible: u64,
    /// Machines that were simulated.
    pub simulated: u64,
    /// Of these, those that cannot be: their offers contradict one another, or no loop is stable at the slowest speed.
    pub impossible: u64,
    /// Passes on which machines were looked for.
    pub searched_passes: u64,
    /// Passes on which the front was chosen, the former among them.
    pub chosen_passes: u64,
    /// Further passes, met by no machine before, on which the contenders were run again.
    pub fresh_passes: u64,
    /// Machines that were run on all passes of the choice: every simulated one that is not left behind on the first passes.
    pub contenders: u64,
    /// Greatest share of resamples in which a machine that was left out on the way was unbeaten.
    pub left_out_unbeaten: f64,
    /// A faster machine belongs to the front only if it gains this much, m/s: speeds are told to it.
    pub step_m_s: f64,
    /// What bounds the speed on this field beside plants cut, whatever the machine: the lowest such bound.
    pub field_limit: Option<FieldLimit>,
    /// The machine as it stands.
    pub own: DesignMachine,
    /// The front, cheapest first.
    pub front: Vec<DesignMachine>,
    /// Place in the front of the machine to buy first: the one that gains most for its cost, of those whose gain is sure; null if none
    /// is.
    pub first: Option<u32>,
}

/// What machines cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Counted {
    /// Prices of the scenario.
    Prices,
    /// One for every part that is changed: the scenario has no prices.
    Parts,
}

/// A part of the machine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DesignPart {
    /// Which.
    pub part: PartName,
    /// What could take its place.
    pub options: Vec<DesignOption>,
}

/// A part by the scenario's word or ours.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PartName {
    /// As the scenario's offers call it.
    Offered(String),
    /// What steers the frame.
    Controller,
    /// Where the camera looks.
    Lookahead,
    /// How often the camera looks.
    Frames,
    /// How quick its numbers are.
    Latency,
    /// How it is mounted.
    Mount,
    /// How fine its numbers are.
    Camera,
    /// The valve.
    Valve,
    /// The travel of the side-shift.
    Stroke,
    /// Pump, valve size: the oil.
    Oil,
}

/// What could take the place of a part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DesignOption {
    /// Which.
    pub name: OptionName,
    /// Price in the scenario's currency; null if machines are counted by parts.
    pub price: Option<f64>,
    /// True if the price is our assumption: a setting with a spanner costs nothing unless the scenario says so.
    pub assumed: bool,
}

/// What could take the place of a part, by the scenario's word or ours.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OptionName {
    /// As the scenario's offer calls it.
    Offered(String),
    /// A change that the program knows.
    Change(Change),
}

/// What bounds the speed on the field.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FieldLimit {
    /// What.
    pub cause: Bound,
    /// Up to this speed, m/s.
    pub speed_m_s: f64,
}

/// A machine: the one that stands there with some of its parts changed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DesignMachine {
    /// What is changed: place of the part and of the option in it.
    pub changed: Vec<[u32; 2]>,
    /// Its best controller.
    pub controller: Kind,
    /// What the changes cost, in the unit of `counted`.
    pub cost: f64,
    /// On the passes on which the front was chosen: too good on average, for it was chosen there.
    pub chosen: AssuredSpeed,
    /// On fresh passes.
    pub fresh: AssuredSpeed,
    /// Fresh passes: assured speed less that of the machine as it stands, m/s, on the same passes.
    pub gain_m_s: Limited,
    /// The same against the next cheaper machine of the front; null for the cheapest.
    pub step_gain_m_s: Option<Limited>,
    /// Share of resamples of the fresh passes in which no contender that costs no more is as fast.
    pub unbeaten: f64,
}

/// An assured speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AssuredSpeed {
    /// The speed, m/s; the slowest or fastest simulated one where it lies beyond them.
    pub speed_m_s: Limited,
    /// Whether it lies within the simulated speeds.
    pub edge: Edge,
}
