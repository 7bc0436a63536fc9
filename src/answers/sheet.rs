//! The setting sheet: where every tool stands.

use crate::farm::{Farm, Workshop};
use crate::model::setup::Setup;
use crate::results::answers::{SheetAnswer, Status, ToolPlace};
use crate::results::reasons::{Between, Reason, SheetWarning};

/// Lengths that differ by less are the same, m: a micrometre, far below what anybody can set.
const SAME_M: f64 = 1e-6;

/// Most tools in one space between rows (our choice, no source).
const MOST_TOOLS: usize = 24;

/// Sums of widths closer together than this are not told apart in the search, m (our choice, no source).
const GRAIN_M: f64 = 1e-4;

/// Sets tools on hand, as many of each as it takes, between the rows from clearance to clearance: the fewest that fill a space
/// with at least the least overlap, of those the ones that overlap least beyond it, of those the most even. Overlaps of a space are equal.
/// Tools of
/// different widths stand with the widest nearest to the implement's centre. Beyond the outermost rows the edge near the row stands
/// exactly; the far one reaches at least as far as wanted and keeps the clearance from the next pass's row. The frame is centred.
pub fn answer(setup: &Setup, farm: &Farm, clearance_m: f64) -> SheetAnswer {
    let rows_m = &setup.rows.offset_m;
    let mut sheet = SheetAnswer {
        status: Status::NoData,
        clearance_m,
        rows_m: rows_m.clone(),
        tyres_m: farm.tyres_m().to_vec(),
        depth_m: farm.soil.map(|soil| soil.depth_m),
        ..SheetAnswer::default()
    };
    match &farm.workshop {
        None => {
            sheet.reason = Some(Reason::TablesMissing {
                tables: vec!["workshop".into()],
            });
        }
        Some(workshop) => {
            for space in spaces(rows_m, farm, clearance_m) {
                set(&mut sheet, &space, workshop);
            }
            if sheet.tools.is_empty() {
                sheet.status = Status::NoAnswer;
                sheet.reason = Some(Reason::NoToolFits {
                    clearance_m,
                    narrowest_m: workshop.tool_widths_m.first().copied().unwrap_or(f64::NAN),
                });
            } else {
                sheet.status = Status::Ok;
            }
        }
    }
    around(&mut sheet, setup, farm);
    sheet
}

/// A strip to work.
#[derive(Clone, Copy, Debug)]
struct Space {
    /// Left and right edge, m, left positive.
    edges_m: [f64; 2],
    /// How much further than wanted the tools may reach on the side without a row, m; 0 between rows.
    spare_m: f64,
    /// Row to its left, 0 at the left.
    row_left: Option<usize>,
    /// Row to its right.
    row_right: Option<usize>,
}

impl Space {
    fn width_m(&self) -> f64 {
        self.edges_m[0] - self.edges_m[1]
    }

    /// Where it is, rows counted from 1.
    fn place(&self) -> Between {
        let number = |row: usize| row as u32 + 1;
        Between {
            row_left: self.row_left.map(number),
            row_right: self.row_right.map(number),
        }
    }
}

/// The spaces from the left.
fn spaces(rows_m: &[f64], farm: &Farm, clearance_m: f64) -> Vec<Space> {
    let (Some(first_m), Some(last_m)) = (rows_m.first(), rows_m.last()) else {
        return Vec::new();
    };
    let reach_m = farm.outer_reach_m(rows_m);
    let spare_m = (farm.next_row_m(rows_m) - clearance_m - reach_m).max(0.0);
    let mut spaces = vec![Space {
        edges_m: [first_m + reach_m, first_m + clearance_m],
        spare_m,
        row_left: None,
        row_right: Some(0),
    }];
    spaces.extend(rows_m.windows(2).enumerate().map(|(row, pair)| Space {
        edges_m: [pair[0] - clearance_m, pair[1] + clearance_m],
        spare_m: 0.0,
        row_left: Some(row),
        row_right: Some(row + 1),
    }));
    spaces.push(Space {
        edges_m: [last_m - clearance_m, last_m - reach_m],
        spare_m,
        row_left: Some(rows_m.len() - 1),
        row_right: None,
    });
    spaces
}

/// Fills a space, or as much of it as can be.
fn set(sheet: &mut SheetAnswer, space: &Space, workshop: &Workshop) {
    let width_m = space.width_m();
    let place = space.place();
    if width_m <= SAME_M {
        sheet.warnings.push(SheetWarning::NoRoom { space: place });
        return;
    }
    let most_m = width_m + space.spare_m;
    if let Some(widths_m) = choose(&workshop.tool_widths_m, width_m, most_m, workshop.overlap_m) {
        stand(sheet, space, &widths_m, workshop.overlap_m);
        return;
    }
    let fits = |width: &&f64| **width <= most_m + SAME_M;
    match workshop.tool_widths_m.iter().rfind(fits) {
        None => {
            sheet.gaps_m.push(space.edges_m);
            sheet.warnings.push(SheetWarning::NoToolFits {
                space: place,
                free_m: width_m,
            });
        }
        Some(&widest_m) => {
            // In the middle between rows, else beside the row.
            let free_m = width_m - widest_m;
            let left_free_m = match (space.row_left, space.row_right) {
                (Some(_), Some(_)) => free_m / 2.0,
                (None, _) => free_m,
                _ => 0.0,
            };
            let left_m = space.edges_m[0] - left_free_m;
            let edges_m = [left_m, left_m - widest_m];
            let gaps_m = [
                [space.edges_m[0], edges_m[0]],
                [edges_m[1], space.edges_m[1]],
            ];
            let open = |gap: &[f64; 2]| gap[0] - gap[1] > SAME_M;
            sheet.gaps_m.extend(gaps_m.into_iter().filter(open));
            sheet.tools.push(tool(space, edges_m, None));
            sheet.warnings.push(SheetWarning::NotFilled {
                space: place,
                width_m,
                tool_m: widest_m,
                unworked_m: free_m,
            });
        }
    }
}

fn tool(space: &Space, edges_m: [f64; 2], overlap_m: Option<f64>) -> ToolPlace {
    ToolPlace {
        left_edge_m: edges_m[0],
        right_edge_m: edges_m[1],
        width_m: edges_m[0] - edges_m[1],
        overlap_m,
        row_left: space.row_left.map(|row| row as u32),
        row_right: space.row_right.map(|row| row as u32),
    }
}

/// Stands tools that fill a space side by side.
fn stand(sheet: &mut SheetAnswer, space: &Space, widths_m: &[f64], least_m: f64) {
    let [left_m, right_m] = space.edges_m;
    let joints = widths_m.len() - 1;
    let sum_m: f64 = widths_m.iter().sum();
    let excess_m = sum_m - joints as f64 * least_m - space.width_m();
    // What is too much goes outwards where it may, else into the overlaps.
    let outwards_m = excess_m.clamp(0.0, space.spare_m);
    let overlap_m = if joints > 0 {
        least_m + (excess_m - outwards_m) / joints as f64
    } else {
        0.0
    };
    let mut widths_m = widths_m.to_vec();
    widths_m.sort_by(f64::total_cmp);
    if left_m + right_m < -SAME_M {
        widths_m.reverse();
    }
    let mut edge_m = if space.row_left.is_none() {
        left_m + outwards_m
    } else {
        left_m
    };
    for (at, width_m) in widths_m.iter().enumerate() {
        let overlap = (at < joints).then_some(overlap_m);
        sheet
            .tools
            .push(tool(space, [edge_m, edge_m - width_m], overlap));
        edge_m -= width_m - overlap_m;
    }
    if joints > 0 && overlap_m > widths_m.iter().fold(f64::INFINITY, |a, b| a.min(*b)) / 2.0 {
        sheet.warnings.push(SheetWarning::WideOverlap {
            space: space.place(),
            overlap_m,
        });
    }
}

/// A sum of as many widths as its level counts.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    sum_m: f64,
    /// Sum of their squares: of equal sums the one of the most even widths has the least.
    squares_m2: f64,
    last_m: f64,
    /// Place of the sum without the last width, one level down.
    before: usize,
}

/// The fewest widths that make up a space with that overlap, of those the least sum, of those the most even; none wider than `most_m`.
/// `None` if no number up to [`MOST_TOOLS`] does.
fn choose(on_hand_m: &[f64], space_m: f64, most_m: f64, overlap_m: f64) -> Option<Vec<f64>> {
    let usable_m: Vec<f64> = on_hand_m
        .iter()
        .copied()
        .filter(|width_m| *width_m <= most_m + SAME_M)
        .collect();
    let widest_m = *usable_m.last()?;
    let wanted_m = |count: usize| space_m + (count - 1) as f64 * overlap_m - SAME_M;
    let count = (1..=MOST_TOOLS).find(|count| *count as f64 * widest_m >= wanted_m(*count))?;
    let mut levels = vec![vec![Sum::default()]];
    for level in 0..count {
        let mut sums = Vec::new();
        for (before, sum) in levels[level].iter().enumerate() {
            sums.extend(usable_m.iter().map(|&last_m| Sum {
                sum_m: sum.sum_m + last_m,
                squares_m2: sum.squares_m2 + last_m * last_m,
                last_m,
                before,
            }));
        }
        // Sums that agree to a nanometre are equal but for rounding.
        let nanometres = |sum: &Sum| (1e9 * sum.sum_m).round() as i64;
        sums.sort_by(|a, b| {
            let even = a.squares_m2.total_cmp(&b.squares_m2);
            nanometres(b).cmp(&nanometres(a)).then(even)
        });
        sums.dedup_by(|next, kept| kept.sum_m - next.sum_m < GRAIN_M);
        levels.push(sums);
    }
    let mut place = levels[count]
        .iter()
        .rposition(|sum| sum.sum_m >= wanted_m(count))?;
    let mut widths_m = Vec::new();
    for level in levels[1..].iter().rev() {
        widths_m.push(level[place].last_m);
        place = level[place].before;
    }
    Some(widths_m)
}

/// Warnings about what lies around the tools: tyres, guess rows and the neighbouring passes.
fn around(sheet: &mut SheetAnswer, setup: &Setup, farm: &Farm) {
    let rows_m = &setup.rows.offset_m;
    let (Some(first_m), Some(last_m)) = (rows_m.first(), rows_m.last()) else {
        return;
    };
    let run_over = farm.rows_under_tyres(rows_m, setup.plants.protected_radius_m);
    if !run_over.is_empty() {
        sheet.warnings.push(SheetWarning::TyreOnRows {
            tyre_m: farm.tyre_m,
            from_centre_m: farm.track_m / 2.0,
            rows: run_over.iter().map(|&row| row as u32 + 1).collect(),
        });
    }
    let next_m = farm.next_rows_under_tyres(rows_m, setup.plants.protected_radius_m);
    if let Some(nearest_m) = next_m.iter().map(|row_m| row_m.abs()).reduce(f64::min) {
        sheet.warnings.push(SheetWarning::TyreOnNextRow {
            tyre_m: farm.tyre_m,
            from_centre_m: farm.track_m / 2.0,
            row_m: nearest_m,
        });
    }
    let guess = setup.rows.planter_pass.windows(2).enumerate();
    for (row, _) in guess.filter(|(_, pair)| pair[0] != pair[1]) {
        sheet.warnings.push(SheetWarning::GuessRow {
            after_row: row as u32 + 1,
        });
    }
    if let Some(planter) = farm
        .planter_rows
        .filter(|_| farm.guess_rows_move(rows_m.len()))
    {
        sheet.warnings.push(SheetWarning::RowsDoNotDivide {
            rows: rows_m.len() as u32,
            planter_rows: planter as u32,
        });
    }
    let next_m = farm.next_row_m(rows_m);
    let reaches_m = match (sheet.tools.first(), sheet.tools.last()) {
        (Some(left), Some(right)) => {
            [left.left_edge_m - first_m, last_m - right.right_edge_m].map(|m| m.max(0.0))
        }
        _ => return,
    };
    let closest_m = next_m - reaches_m[0].max(reaches_m[1]);
    if closest_m < sheet.clearance_m - SAME_M {
        sheet.warnings.push(SheetWarning::NearNextPass {
            closest_m: closest_m.max(0.0),
        });
    }
    let left_m = next_m - reaches_m[0] - reaches_m[1];
    if left_m > SAME_M {
        sheet
            .warnings
            .push(SheetWarning::StripBetweenPasses { width_m: left_m });
    }
}

#[cfg(all(test, feature = "report"))]
mod tests;
