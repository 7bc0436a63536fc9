//! The farm around the machine: land, time, weeds, prices, soil and tools on hand, and the laws of field work.
//!
//! SI units; money in the scenario's currency.

pub mod fieldwork;

/// A number with the range in which it may lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranged {
    /// What is reckoned with.
    pub value: f64,
    /// Least that is tried.
    pub low: f64,
    /// Greatest that is tried.
    pub high: f64,
}

/// Land and time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Land {
    /// Land to work in one round, m².
    pub area_m2: f64,
    /// Length of the rows, m.
    pub row_length_m: f64,
    /// From lifting to lowering, s.
    pub turn_s: f64,
    /// Share of the time in the field lost beside turning.
    pub idle_share: f64,
    /// Rounds a season.
    pub rounds: u64,
    /// Days that soil and weather allow for one round.
    pub workable_days: f64,
    /// Hours of work by daylight on such a day.
    pub day_hours: f64,
    /// Hours under lights on such a day.
    pub night_hours: f64,
    /// Factor on the camera's noise under lights.
    pub night_noise: f64,
}

/// Weeds and the work they make.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weeds {
    /// Weeds before the pass, 1/m².
    pub density_1_m2: Ranged,
    /// Share of the weeds in the worked strip that the tools undercut.
    pub undercut_share: Ranged,
    /// Weeds that one person pulls in an hour.
    pub pulled_an_hour: Ranged,
}

/// Prices in one currency.
#[derive(Clone, Debug, PartialEq)]
pub struct Prices {
    /// Name of the currency.
    pub currency: String,
    /// One crop plant.
    pub plant: Ranged,
    /// An hour of weeding by hand.
    pub labour_hour: Ranged,
    /// An hour in the field.
    pub machine_hour: Ranged,
}

/// One stage of the crop's growth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    /// Height of the plants, m.
    pub height_m: f64,
    /// Radius that must stay untouched, m.
    pub protected_radius_m: f64,
}

/// Texture of the soil.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Texture {
    /// Clay.
    Fine,
    /// Loam.
    Medium,
    /// Sand.
    Coarse,
}

/// Kind of row-crop cultivator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shank {
    /// Spring tines.
    STine,
    /// Curved shanks.
    CShank,
    /// One heavy sweep a row, for soil under residue.
    NoTill,
}

/// What the tools do to the soil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Soil {
    /// How far beyond the edge of the tools soil was seen to fly, m.
    pub thrown_m: f64,
    /// Speed at which that was seen, m/s.
    pub thrown_at_m_s: f64,
    /// True if soil may reach the plants.
    pub may_cover: bool,
    /// Working depth, m.
    pub depth_m: f64,
    /// Texture.
    pub texture: Texture,
    /// Kind of cultivator.
    pub shank: Shank,
    /// Share of the axle's power that becomes pull.
    pub traction: f64,
    /// Rated power of the tractor at the power take-off, W.
    pub tractor_w: f64,
}

/// Tools on hand and where wheels run.
#[derive(Clone, Debug, PartialEq)]
pub struct Workshop {
    /// Cutting widths, m, rising.
    pub tool_widths_m: Vec<f64>,
    /// Least overlap of tools side by side, m.
    pub overlap_m: f64,
    /// How far beyond the outermost rows the tools work, m.
    pub outer_reach_m: f64,
}

/// All that a scenario says of it; a part that it does not give is `None`.
#[derive(Clone, Debug, PartialEq)]
pub struct Farm {
    /// Land and time.
    pub land: Option<Land>,
    /// Weeds.
    pub weeds: Option<Weeds>,
    /// Prices.
    pub prices: Option<Prices>,
    /// Stages of growth, rising; empty if the scenario gives none.
    pub stages: Vec<Stage>,
    /// Soil.
    pub soil: Option<Soil>,
    /// Tools on hand.
    pub workshop: Option<Workshop>,
    /// Distance between the centres of left and right tyres, m.
    pub track_m: f64,
    /// Width of a tyre, m.
    pub tyre_m: f64,
    /// Rows that the planter set in one pass; `None`: all of the implement's.
    pub planter_rows: Option<u64>,
    /// Inner diameter of the hoses to the side-shift's cylinder, m.
    pub hose_bore_m: f64,
    /// How many times the sideways load the cylinder must be able to push.
    pub force_reserve: f64,
}
