//! What notes from the field teach: what farms like this one may see before and after them.

use serde::{Deserialize, Serialize};

use super::FarmShare;
use crate::model::controller::Kind;
use crate::scenario::Units;
use crate::unknowns::measure::Aspect;

/// What was learned.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lesson {
    /// Units to show numbers in; the numbers here are SI.
    pub units: Units,
    /// The setting that before and after speak of: controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Share of the plants that may be cut.
    pub allowed_cut_rate: f64,
    /// Share of the farms on which it is to be kept.
    pub assurance: f64,
    /// What was found, visit by visit.
    pub found: Vec<Found>,
    /// Share of the plants cut that farms like this one may see, before the new notes.
    pub cut_before: FarmShare,
    /// After them.
    pub cut_after: FarmShare,
    /// Least clearance that keeps the allowed rate on the assured share of the farms at this speed, before the new notes.
    pub clearance_before: Reached,
    /// After them.
    pub clearance_after: Reached,
    /// Plants cut at that speed, clearance by clearance.
    pub over_clearance: Vec<Band>,
    /// What was predicted of all that was found.
    pub predicted: Vec<Predicted>,
    /// What does not fit what the scenario says; null where all does.
    pub odd: Option<Odd>,
    /// Every unknown, the one that moved most first.
    pub values: Vec<Value>,
    /// Effective number of points that are left.
    pub points: f64,
    /// False where so few are left that the limits after are rough.
    pub enough: bool,
}

/// Plants cut on farms like this one at one clearance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// Clearance, m.
    pub clearance_m: f64,
    /// Share of the plants cut before the new notes.
    pub before: FarmShare,
    /// After them.
    pub after: FarmShare,
}

/// What was found at one setting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// Controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Places with gaps.
    pub gaps: u64,
    /// Mean of the tool error that they tell, m, left positive; null without gaps.
    pub mean_error_m: Option<f64>,
    /// Its standard deviation, m; null below two gaps.
    pub error_sd_m: Option<f64>,
    /// Places with counted plants.
    pub places: u64,
    /// Plants counted.
    pub plants: u64,
    /// Those of them that were cut.
    pub cut: u64,
}

/// A clearance that is assured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "reached", rename_all = "snake_case")]
pub enum Reached {
    /// This one.
    At {
        /// Clearance, m.
        clearance_m: f64,
    },
    /// Every clearance of the study keeps the allowed rate.
    All,
    /// None does.
    None,
}

/// What a study predicted for farms like this one, beside what was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Predicted {
    /// What was found.
    pub which: Which,
    /// What of it.
    pub aspect: Aspect,
    /// The number that was found: m, plants, or the unit of its key.
    pub found: f64,
    /// What 9 in 10 such findings lie between, before this one; chance of counting and reading is in it.
    pub predicted: FarmShare,
    /// Whether it lies there.
    pub agrees: bool,
}

/// A result that does not fit what the scenario says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Odd {
    /// Probability of a result as odd as the oddest, 0 to 1.
    pub probability: f64,
    /// Which result.
    pub which: Which,
    /// In which way it is off.
    pub aspect: Aspect,
    /// True if it is too high, false if it is too low.
    pub high: bool,
    /// Key of the unknown that it moved most: the likeliest cause within what the scenario says.
    pub likeliest: Option<String>,
}

/// Something that was found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Which {
    /// The gaps of a visit.
    Gaps {
        /// Its number, from 0.
        notes: usize,
    },
    /// The counts of a visit.
    Counts {
        /// Its number, from 0.
        notes: usize,
    },
    /// A value that was measured itself.
    Measured {
        /// Its key.
        key: String,
    },
    /// How far the tractor wanders about its line, by a log.
    Wander,
}

/// An unknown, SI.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Value {
    /// Its key.
    pub key: String,
    /// Before the new notes.
    pub before: FarmShare,
    /// After them.
    pub after: FarmShare,
    /// True if it went up.
    pub up: bool,
    /// By how much its mean moved, in standard deviations of what the scenario says, in normal scores.
    pub moved_sd: f64,
    /// True if most weight lies at the very end of its range: it may lie beyond what was said.
    pub at_its_end: bool,
}
