//! Beds and planter passes: where the rows lie under the implement and which pass of the planter set each.

use super::keys::Id;
use super::values::Values;

/// Planter passes that one implement may span.
pub const MOST_PLANTER_PASSES: u64 = 8;

/// The rows under the implement.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Lateral position of every row, m, left positive, leftmost first.
    pub offset_m: Vec<f64>,
    /// Planter pass of every row, 0 at the left.
    pub planter_pass: Vec<usize>,
    /// Rows that driver and camera follow, 0 at the left.
    pub guided: Vec<usize>,
}

impl Layout {
    /// Lays the rows out; `None` where a value is missing.
    pub fn new(values: &Values) -> Option<Layout> {
        let beds = values.count(Id::Beds)?;
        let per_bed = values.count(Id::RowsPerBed)?;
        let spacing_m = values.number(Id::RowSpacing)?;
        let bed_spacing_m = values.number(Id::BedSpacing).unwrap_or(0.0);
        let rows = beds * per_bed;
        let planter_rows = values.count(Id::PlanterRows).unwrap_or(rows);
        let first_rows = values.count(Id::FirstPlanterRows).unwrap_or(planter_rows);
        // Row 0 is the leftmost and left is positive, so that offsets fall as numbers rise.
        let from_middle = |at: u64, of: u64| (of - 1) as f64 / 2.0 - at as f64;
        let offset_m = (0..rows)
            .map(|row| {
                from_middle(row / per_bed, beds) * bed_spacing_m
                    + from_middle(row % per_bed, per_bed) * spacing_m
            })
            .collect();
        let planter_pass = (0..rows)
            .map(|row| {
                // An implement may begin inside a planter pass: the first one has what is left of it.
                if row < first_rows {
                    0
                } else {
                    (1 + (row - first_rows) / planter_rows) as usize
                }
            })
            .collect();
        let guided = values
            .counts(Id::SeenRows)?
            .iter()
            // The check tells of a row beyond the last; here it must not reach past the lists.
            .filter(|row| (1..=rows).contains(row))
            .map(|row| (row - 1) as usize)
            .collect();
        Some(Layout {
            offset_m,
            planter_pass,
            guided,
        })
    }

    /// Least distance between neighbouring rows, m; infinite for a single row.
    pub fn nearest_rows_m(&self) -> f64 {
        self.offset_m
            .windows(2)
            .map(|pair| pair[0] - pair[1])
            .fold(f64::INFINITY, f64::min)
    }

    /// Widest clearance on either side of the rows, m: there the tools between the nearest rows have no width left; infinite for a single
    /// row.
    pub fn widest_clearance_m(&self) -> f64 {
        self.nearest_rows_m() / 2.0
    }

    /// Numbers of the rows (1 at the left) on whose right a guess row begins.
    pub fn guess_rows(&self) -> Vec<usize> {
        self.planter_pass
            .windows(2)
            .enumerate()
            .filter(|(_, pair)| pair[0] != pair[1])
            .map(|(row, _)| row + 1)
            .collect()
    }
}
