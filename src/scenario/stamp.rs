//! What results say of the scenario that they are of.

use crate::model::series::Series;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Units that a scenario shows its numbers in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Units {
    /// Millimetres and kilometres per hour.
    Metric,
    /// Inches and miles per hour.
    Us,
}

impl Units {
    /// Its name in scenario files and results.
    pub fn name(self) -> &'static str {
        match self {
            Units::Metric => "metric",
            Units::Us => "us",
        }
    }

    /// The standard sizes that people with these units buy.
    pub fn series(self) -> Series {
        match self {
            Units::Metric => Series::Metric,
            Units::Us => Series::Inch,
        }
    }
}

/// Which scenario it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ScenarioStamp {
    /// Name from the file.
    pub name: String,
    /// Description from the file.
    pub description: String,
    /// File name without folders.
    pub file: String,
    /// SHA-256 of the text with line ends folded to LF, followed by the values set beside it and by the files it reads.
    pub sha256: String,
    /// Units that the scenario shows its numbers in.
    pub units: Units,
    /// Values that took the place of the file's, as `camera.latency = "80 ms"`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub set: Vec<String>,
}

/// How a value of the scenario is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// The scenario states it.
    Scenario,
    /// It was set on the command line.
    CommandLine,
    /// A default with a source.
    Source,
    /// A default without one.
    Assumed,
    /// Worked out from other values.
    WorkedOut,
}

/// A value of the scenario and where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Assumption {
    /// Key in the scenario file.
    pub key: String,
    /// Value as the scenario or the default states it.
    pub value: String,
    /// How it is known.
    pub known: Known,
    /// The same in words, with the source where there is one.
    pub origin: String,
    /// Range in which the default may plausibly lie, of a distribution that of its sd; null for what the scenario states, and
    /// where nothing is in doubt.
    pub range: Option<String>,
    /// What it means.
    pub meaning: String,
}
