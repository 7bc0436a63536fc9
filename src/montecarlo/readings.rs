//! What gaps and counts would be at every point among what is not known.

use crate::model::setup::Setup;
use crate::unknowns::emulator::Emulated;
use crate::unknowns::measure::{Count, Tape};

/// What a reading with a tape adds, m (common practice, no source: half of the difference of two readings to the millimetre or two).
const TAPE_SD_M: f64 = 0.002;

/// Tape readings at so many places, at the setting at place `tool` of the emulator; `cell` is any clearance.
pub fn tape(at: &Emulated, tool: usize, cell: usize, readings: usize) -> Tape {
    let (mean_m, variance_m2) = (&at.mean_m[tool], &at.variance_m2[tool]);
    let other = |point: usize| at.band(point, cell).other_variance_m2;
    Tape {
        mean_m: mean_m.clone(),
        variance_m2: (0..at.len())
            .map(|point| variance_m2[point] + other(point))
            .collect(),
        tape_sd_m: TAPE_SD_M,
        readings,
    }
}

/// Cut plants among so many at so many places of like size, at the setting at place `tool` of the emulator and the clearance at `cell`;
/// `row_m` is the length of a simulated row.
pub fn count(
    at: &Emulated,
    (tool, cell): (usize, usize),
    setup: &Setup,
    row_m: f64,
    (plants, places): (u64, u64),
) -> Count {
    let ln_rate = at.ln_rates(tool, cell);
    let variation = at.pass_variations(tool, cell, &ln_rate);
    let at_place = plants as f64 / places.max(1) as f64;
    let place_m = at_place * setup.plants.spacing_m / setup.plants.emergence;
    let rows = setup.rows.offset_m.len() as f64;
    Count {
        ln_rate,
        pass_variation: variation,
        plants,
        places,
        pass_over_place: (row_m * rows / place_m).max(1.0),
    }
}
