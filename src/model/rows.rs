//! Rows as planted and the plants in them.

use super::damped::Damped;

/// The rows under the implement and how exactly the planter put them there.
#[derive(Clone, Debug, PartialEq)]
pub struct Rows {
    /// Nominal lateral position of every row from the implement's centre, m, left positive,
    /// from the leftmost row to the rightmost.
    pub offset_m: Vec<f64>,
    /// The planter pass that planted each row (0, 1, ...), same order as `offset_m`.
    pub planter_pass: Vec<usize>,
    /// Indices of the rows that camera and driver see; all belong to one planter pass.
    pub guided: Vec<usize>,
    /// The planter's wander from the planned line, common to the rows of one planter pass, m.
    pub wander: Damped,
    /// Standard deviation of the joining error of every planter pass but the guided one, m.
    pub join_sd_m: f64,
    /// Standard deviation of the lateral setting error of each planter row unit, m.
    pub unit_sd_m: f64,
}

/// The plants of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plants {
    /// Mean distance between planted stations along the row, m.
    pub spacing_m: f64,
    /// Coefficient of variation of that distance, 0 to 0.5.
    pub spacing_cv: f64,
    /// Share of stations that carry a plant, above 0, at most 1.
    pub emergence: f64,
    /// Standard deviation of the lateral scatter of single plants about their row, m.
    pub scatter_sd_m: f64,
    /// Stem radius, m: a tool inside it cuts the plant.
    pub stem_radius_m: f64,
    /// Protected radius, m, at least the stem radius: stem and the shallow roots that a tool must not prune.
    pub protected_radius_m: f64,
}
